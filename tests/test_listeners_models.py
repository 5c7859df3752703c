"""Models: found, verified, taken in; nothing lands outside its folder."""

from __future__ import annotations

import importlib.util
import stat
import struct
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest

from handsfree.errors import BadInput, MissingPart
from handsfree.listeners import models, moonshine, whisper, whisper_weights
from handsfree.listeners.models import add_model, check_sums, examine_vosk, find_vosk_models, unpack

NEWER_SPLIT = ["am/final.mdl", "conf/mfcc.conf", "graph/HCLr.fst", "graph/Gr.fst"]
NEWER_WHOLE = ["am/final.mdl", "conf/mfcc.conf", "graph/HCLG.fst", "graph/words.txt", "ivector/final.ie"]
FLAT = ["final.mdl", "mfcc.conf", "HCLG.fst", "words.txt", "final.ie"]
FLAT_SPLIT = ["final.mdl", "mfcc.conf", "HCLr.fst", "Gr.fst"]


def layout(folder: Path, files: list[str]) -> Path:
    for name in files:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(b"x" * 10)
    return folder


def zipped(path: Path, members: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return path


@pytest.mark.parametrize(
    ("files", "grammar", "ivector"),
    [(NEWER_SPLIT, True, False), (NEWER_WHOLE, False, True), (FLAT, False, True), (FLAT_SPLIT, True, False)],
)
def test_all_layouts_of_vosk_models_are_known(tmp_path: Path, files: list[str], grammar: bool, ivector: bool) -> None:
    """Newer and older folders, graph in one piece or split, with and without ivectors."""
    model = examine_vosk(layout(tmp_path / "m", files))
    assert (model.runtime_grammar, model.ivector, model.bytes) == (grammar, ivector, 10 * len(files))


@pytest.mark.parametrize("files", [NEWER_SPLIT, NEWER_WHOLE, FLAT])
def test_the_first_missing_file_is_named(tmp_path: Path, files: list[str]) -> None:
    """A folder without its network or its graph is refused, and the message says what is missing."""
    for number in range(len(files) - ("ivector" in files[-1] or files[-1] == "final.ie")):
        folder = layout(tmp_path / str(number), [f for i, f in enumerate(files) if i != number])
        with pytest.raises(BadInput, match=Path(files[number]).name.split(".")[0]):
            examine_vosk(folder)


def test_a_folder_and_its_zip_are_taken_in(tmp_path: Path) -> None:
    """Both kinds of source become a model in the model folder; the newest is found first."""
    source = layout(tmp_path / "from-folder", NEWER_SPLIT)
    members = {f"inner/{name}": b"x" for name in NEWER_WHOLE}
    store = tmp_path / "store"
    assert add_model(source, store).folder == store / "from-folder"
    assert add_model(zipped(tmp_path / "from-zip.zip", members), store).folder == store / "from-zip"
    assert {m.name for m in find_vosk_models(store) if m.source == "added"} == {"from-folder", "from-zip"}
    assert not list(store.glob(".adding-*"))


def test_a_name_that_is_taken_is_refused(tmp_path: Path) -> None:
    """Nothing that is there is overwritten."""
    source = layout(tmp_path / "m", NEWER_SPLIT)
    add_model(source, tmp_path / "store")
    with pytest.raises(BadInput, match="there already"):
        add_model(source, tmp_path / "store")


@pytest.mark.parametrize("member", ["../evil", "a/../../evil", "/evil", "..\\evil", "C:\\evil", "a\\..\\..\\evil"])
def test_an_archive_cannot_write_outside_its_folder(tmp_path: Path, member: str) -> None:
    """Paths that lead outside are refused before anything is written."""
    archive = zipped(tmp_path / "m.zip", {"am/final.mdl": b"x", member: b"x"})
    with pytest.raises(BadInput, match="outside"):
        unpack(archive, tmp_path / "a" / "goal")
    assert not (tmp_path / "a").exists()
    assert not list(tmp_path.rglob("evil*"))


def test_an_archive_cannot_smuggle_a_link(tmp_path: Path) -> None:
    """Symbolic links in an archive are refused."""
    with zipfile.ZipFile(tmp_path / "m.zip", "w") as archive:
        link = zipfile.ZipInfo("am")
        link.external_attr = (stat.S_IFLNK | 0o777) << 16
        archive.writestr(link, "/etc")
    with pytest.raises(BadInput, match="outside"):
        unpack(tmp_path / "m.zip", tmp_path / "goal")


@pytest.mark.parametrize("content", [b"", b"no zip at all", b"PK\x03\x04 broken"])
def test_what_is_no_zip_is_refused(tmp_path: Path, content: bytes) -> None:
    """Damaged and foreign files are located errors, and leave nothing behind."""
    (tmp_path / "m.zip").write_bytes(content)
    with pytest.raises(BadInput, match=r"m\.zip"):
        add_model(tmp_path / "m.zip", tmp_path / "store")
    assert not [f for f in (tmp_path / "store").iterdir() if not f.name.startswith(".")]


def test_altered_weights_are_refused(tmp_path: Path) -> None:
    """A file whose sha256 differs from the known one is not loaded."""
    (tmp_path / "w").write_bytes(b"weights")
    check_sums(tmp_path, {"w": models.sha256_of(tmp_path / "w")})
    with pytest.raises(BadInput, match="not the file we know"):
        check_sums(tmp_path, {"w": "0" * 64})


@pytest.mark.parametrize("name", ["moonshine", "whisper"])
def test_wheels_are_found_without_importing_them(name: str) -> None:
    """The weights are the known ones; their packages, which would import sound and network libraries, stay out."""
    package = models.wheel_models()[name].package
    if importlib.util.find_spec(package) is None:
        pytest.skip("the extra 'hear' is not installed")
    check_sums(models.find_wheel_model(name), models.wheel_models()[name].files)
    assert package not in sys.modules


def test_a_missing_wheel_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """The message says which wheel and version, the hint how to install it."""
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(MissingPart, match=r"moonshine_voice 0\.0\.59") as error:
        models.find_wheel_model("moonshine")
    assert "pip install" in error.value.hint


def test_the_moonshine_tokenizer_reads_its_format(tmp_path: Path) -> None:
    """A length of one or two bytes, then the text; special tokens and parts of characters read as nothing."""
    tokens = [b"<unk>", b"<s>", b"</s>", "▁nine".encode(), b"\xc2", b"y" * 200]
    data = b"".join(
        (bytes([len(t)]) if len(t) < 128 else bytes([128 + len(t) % 128, len(t) // 128])) + t for t in tokens
    )
    (tmp_path / "t.bin").write_bytes(data)
    assert moonshine.read_tokens(tmp_path / "t.bin") == ["", "", "", " nine", "", "y" * 200]
    (tmp_path / "t.bin").write_bytes(data[:-3])
    with pytest.raises(BadInput, match="ends inside a token"):
        moonshine.read_tokens(tmp_path / "t.bin")


def ctranslate_file(path: Path, variables: dict[str, np.ndarray]) -> Path:
    kinds = {"float32": 0, "int8": 1, "int16": 2, "int32": 3, "float16": 4}

    def text(value: str) -> bytes:
        return struct.pack("<H", len(value) + 1) + value.encode() + b"\0"

    data = struct.pack("<I", 6) + text("WhisperSpec") + struct.pack("<II", 3, len(variables))
    for name, value in variables.items():
        data += text(name) + struct.pack("<B", value.ndim) + struct.pack(f"<{value.ndim}I", *value.shape)
        data += struct.pack("<BI", kinds[value.dtype.name], value.nbytes) + value.tobytes()
    path.write_bytes(data)
    return path


def test_a_ctranslate2_file_reads_back(tmp_path: Path) -> None:
    """Names, shapes, kinds and values of the variables survive; a cut file is a located error."""
    wanted = {"a/weight": np.arange(6, dtype=np.float16).reshape(2, 3), "b": np.array(3, np.int8)}
    path = ctranslate_file(tmp_path / "model.bin", wanted)
    found = whisper_weights.read_weights(path)
    assert {k: v.tolist() for k, v in found.items()} == {k: v.tolist() for k, v in wanted.items()}
    path.write_bytes(path.read_bytes()[:-1])
    with pytest.raises(BadInput, match=r"model\.bin"):
        whisper_weights.read_weights(path)


def test_a_foreign_tokenizer_is_refused(tmp_path: Path) -> None:
    """Whatever is no tokenizer of the kind is a located error."""
    (tmp_path / "t.json").write_text('{"model": {}}', encoding="utf-8")
    with pytest.raises(BadInput, match=r"t\.json"):
        whisper.read_tokens(tmp_path / "t.json")
