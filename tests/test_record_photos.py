"""Photos put beside an item in review: kept byte for byte, in the chain, in every report, marked unchecked."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import shutil
import struct
import zlib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from visit_builder import build_visit

from handsfree.cli import group
from handsfree.commands.review import _split
from handsfree.errors import BadInput, MissingPart, NeedsEngineer
from handsfree.events import PhotoKept
from handsfree.record import VisitFolder
from handsfree.record.folder import clip_faults, photo_path
from handsfree.record.photo import LARGEST_MB, read_picture
from handsfree.record.reading import read_visit
from handsfree.report import write_report
from handsfree.report.clips import LARGEST_EMBEDDED, ClipsAs, ClipSounds
from handsfree.report.paper import paper_facts

_PREVIEW = b"\xff\xd8\xff\xda\x00\x02\x00\xff\xd9"
SCAN = b"\xff\xda\x00\x08\x01\x01\x00\x00\x3f\x00" + bytes(40)
JPEG_START = b"\xff\xd8\xff\xe1" + struct.pack(">H", 2 + len(_PREVIEW)) + _PREVIEW + SCAN
"""to its scan, which has no end yet; the preview inside has one of its own"""
JPEG = JPEG_START + b"\xff\xd9"


def png(grey: int = 128) -> bytes:
    """A picture of one grey dot."""

    def part(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    dot = zlib.compress(bytes([0, grey]))
    return b"\x89PNG\r\n\x1a\n" + part(b"IHDR", header) + part(b"IDAT", dot) + part(b"IEND", b"")


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_visit(tmp_path_factory.mktemp("visits") / "invented")


@pytest.fixture
def visit(built: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HANDSFREE_HOME", str(tmp_path / "home"))
    return shutil.copytree(built, tmp_path / "visit")


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    file = tmp_path / "IMG 1.jpeg"
    file.write_bytes(png())
    return file


def run(*arguments: object) -> Result:
    return CliRunner().invoke(group, [str(a) for a in arguments])


def kept(visit: Path, photo: Path, item: str = "filter", words: str = "behind the case") -> str:
    """The name of a photo put beside an item."""
    result = run("review", visit, "--photo", photo, "--about", item, "--words", words)
    assert result.exit_code == 0, result.output
    return read_visit(visit).photos[-1].file


def test_a_photo_is_kept_byte_for_byte_under_the_hash_of_its_content(visit: Path, photo: Path) -> None:
    """The name holds the hash, the ending what the file really is, and the chain the event, marked unchecked."""
    name = kept(visit, photo)
    assert name == f"photos/0001-{hashlib.sha256(png()).hexdigest()[:12]}.png"
    assert (visit / name).read_bytes() == png()
    found = read_visit(visit).photos[0]
    assert (found.item, found.label, found.words, found.checked) == (
        "filter",
        "magnetic filter",
        "behind the case",
        False,
    )
    assert run("verify", visit).exit_code == 0
    photo.write_bytes(JPEG)
    assert kept(visit, photo, "co2_max").endswith(".jpg")
    assert [p.file[:11] for p in read_visit(visit).photos] == ["photos/0001", "photos/0002"]


def test_a_photo_that_was_changed_or_lost_shows(visit: Path, photo: Path) -> None:
    """`verify` and the report name the event whose photo is not the one that was kept, or is missing."""
    name = kept(visit, photo)
    number = read_visit(visit).photos[0].number
    (visit / name).write_bytes(png(7))
    result = run("verify", visit)
    assert isinstance(result.exception, NeedsEngineer)
    assert f"event {number}: photo {name} is not the picture that was kept" in result.output
    (visit / name).unlink()
    assert f"Event {number}: photo {name} is missing." in read_visit(visit).remarks


@pytest.mark.parametrize("name", ["../journal.jsonl", "photos/../job.toml", "audio/0001-x.wav", "/etc/hostname"])
def test_a_forged_name_reaches_no_other_file(tmp_path: Path, name: str) -> None:
    """Only what lies in photos/ itself is a photo, for the report as for `verify`."""
    assert photo_path(tmp_path, name) is None
    assert ClipSounds(tmp_path).picture(name) == ""


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is no photo"),
        (b"GIF89a" + bytes(20), "is no photo"),
        (bytes(30), "is no photo"),
        (JPEG_START, "was cut short"),
        (JPEG[:20], "was cut short"),
        (JPEG[:3], "was cut short"),
        (png()[:-12], "was cut short"),
        (png()[:9], "was cut short"),
        (None, "cannot be read"),
    ],
)
def test_what_is_no_photo_is_refused_with_its_name(
    visit: Path, tmp_path: Path, content: bytes | None, said: str
) -> None:
    """JPEG and PNG by how they begin, whatever the file is called; nothing is written otherwise."""
    file = tmp_path / "plate.png"
    if content is not None:
        file.write_bytes(content)
    before = (visit / "journal.jsonl").read_bytes()
    result = run("review", visit, "--photo", file, "--about", "filter")
    assert isinstance(result.exception, BadInput)
    assert str(file) in result.exception.message
    assert said in result.exception.message
    assert (visit / "journal.jsonl").read_bytes() == before
    assert not (visit / "photos").exists()


@pytest.mark.parametrize("kind", ["pipe", "device", "folder"])
def test_what_is_no_file_is_refused_at_once(tmp_path: Path, kind: str) -> None:
    """A pipe without a writer would be waited for, a device would never end."""
    path = {"pipe": tmp_path / "p.jpg", "device": Path("/dev/zero"), "folder": tmp_path}[kind]
    if kind == "pipe":
        os.mkfifo(path)
    with pytest.raises(BadInput, match="is not a file"):
        read_picture(path)


@pytest.mark.parametrize("name", ["pipe.jpg", "link.jpg", "a\0.jpg", "x" * 300 + ".jpg", "\udcff.jpg"])
def test_a_forged_photo_stops_no_report_and_brings_no_other_file_into_it(
    visit: Path, tmp_path: Path, name: str
) -> None:
    """A pipe, a link out of the folder, a name that no file can have: `verify` names the event, reports are written."""
    (visit / "photos").mkdir()
    os.mkfifo(visit / "photos" / "pipe.jpg")
    other = tmp_path / "other"
    other.write_bytes(b"private")
    (visit / "photos" / "link.jpg").symlink_to(other)
    with VisitFolder.open(visit) as folder:
        number = folder.append(PhotoKept(item="filter", file=f"photos/{name}")).number
    assert f"event {number}: photo" in run("verify", visit, "--json").output
    for clips in ("embed", "link"):
        page = write_report(visit, "html", clips=clips).read_text(encoding="utf-8")  # type: ignore[arg-type]
        figure = page[page.index('<figure class="photo"') :].split("</figure>")[0]
        assert "<img" not in figure
    for form in ("json", "csv", "pdf"):
        assert write_report(visit, form).stat().st_size  # type: ignore[arg-type]


def test_words_that_are_no_letters_stop_no_report(visit: Path, photo: Path) -> None:
    """Bytes that a terminal hands on as halves of characters are replaced before the chain keeps them for good."""
    kept(visit, photo, words="seal \udcff\x1b[31m <b> \u6f22 \U0001f600")
    assert read_visit(visit).photos[0].words == "seal ? [31m <b> \u6f22 \U0001f600"
    run("review", visit, "--sign", "R. Quilter \udce9", "--yes")
    for form in ("html", "json", "csv", "pdf"):
        assert write_report(visit, form).stat().st_size  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (
            "photo a.jpg filter the boiler's and the case's seal",
            ["a.jpg", "filter", "the boiler's and the case's seal"],
        ),
        ("photo 'IMG 1.jpg' filter", ["IMG 1.jpg", "filter", ""]),
        ('photo IMG\\ 1.jpg filter "two words"', ["IMG 1.jpg", "filter", "two words"]),
        ("photo a.jpg", ["a.jpg"]),
        ("sign S. O'Quilter", ["S. O'Quilter"]),
        ("amend 5 'no reading'", ["5", "no reading"]),
    ],
)
def test_an_apostrophe_in_what_is_said_is_no_quote(line: str, words: list[str]) -> None:
    """File names take quotes as in a shell; words about a photo and names stand as they are typed."""
    assert _split(line)[1:] == words


def test_nothing_is_changed_by_a_command_that_lacks_the_photo(visit: Path) -> None:
    """What else the same command asks for waits until all of it makes sense."""
    value = next(v for v in read_visit(visit).values() if v.kind == "reading")
    before = (visit / "journal.jsonl").read_bytes()
    result = run("review", visit, "--amend", value.number, "1", "--reason", "x", "--yes", "--words", "seal")
    assert isinstance(result.exception, BadInput)
    assert (visit / "journal.jsonl").read_bytes() == before


def test_the_list_names_the_photos(visit: Path, photo: Path) -> None:
    """With their item, file and words."""
    name = kept(visit, photo)
    line = next(text for text in run("review", visit).output.splitlines() if name in text)
    assert "Magnetic filter" in line
    assert line.endswith("behind the case")


def test_a_photo_that_is_too_large_is_refused(tmp_path: Path) -> None:
    """20 MB at most, and the message says how large it is."""
    file = tmp_path / "large.jpg"
    with file.open("wb") as large:
        large.write(JPEG)
        large.truncate(LARGEST_MB * 1_000_000)
    assert read_picture(file).ending == ".jpg"
    with file.open("ab") as large:
        large.write(b"x")
    with pytest.raises(BadInput, match=r"20\.0 MB: a photo may have 20 MB"):
        read_picture(file)


@pytest.mark.parametrize(
    ("options", "said", "hint"),
    [
        (["--about", "filtre"], "no item 'filtre'", "use filter"),
        ([], "--photo alone", "give --about ITEM"),
    ],
)
def test_a_photo_belongs_to_an_item_of_the_plan(
    visit: Path, photo: Path, options: list[str], said: str, hint: str
) -> None:
    """Without an item, or with one that the plan does not know, nothing is kept; the nearest ones are offered."""
    result = run("review", visit, "--photo", photo, *options)
    assert isinstance(result.exception, BadInput)
    assert said in result.exception.message
    assert hint in result.exception.hint
    assert not (visit / "photos").exists()


@pytest.mark.parametrize("options", [["--about", "filter"], ["--words", "behind the case"]])
def test_an_item_or_words_without_a_photo_are_refused(visit: Path, options: list[str]) -> None:
    """What would be said about no photo is not passed by in silence."""
    result = run("review", visit, *options)
    assert isinstance(result.exception, BadInput)
    assert "--photo FILE" in result.exception.hint


def test_a_photo_changes_no_value_and_closes_no_item(visit: Path, photo: Path) -> None:
    """What was open stays open, and every value stands as it stood."""
    before = read_visit(visit)
    kept(visit, photo, "filter")
    after = read_visit(visit)
    assert [i.id for i in after.open_items] == [i.id for i in before.open_items]
    assert list(after.values()) == list(before.values())


def test_a_photo_after_the_sign_off_shows_as_a_change(visit: Path, photo: Path) -> None:
    """As with an amendment, the report says that the record changed after it was signed."""
    run("review", visit, "--sign", "R. Quilter", "--yes")
    assert not read_visit(visit).changed_after_signing
    kept(visit, photo)
    assert read_visit(visit).changed_after_signing


@pytest.mark.parametrize(
    ("clips", "source"), [("embed", "data:image/png;base64,"), ("link", "photos/0001-"), ("none", "")]
)
@pytest.mark.parametrize("item", ["filter", "co2_max"])
def test_the_page_shows_a_photo_beside_its_item(
    visit: Path, photo: Path, item: str, clips: ClipsAs, source: str
) -> None:
    """Embedded, linked or only named, as the clips are; its words are marked unchecked; open or answered item alike."""
    name = kept(visit, photo, item, "<b>seal</b>")
    page = write_report(visit, "html", clips=clips).read_text(encoding="utf-8")
    assert page.count(f'<img src="{source}') == (1 if source else 0)
    caption = page[page.index('<figure class="photo"') :].split("</figure>")[0]
    assert "&lt;b&gt;seal&lt;/b&gt;" in caption
    assert name in caption
    assert "unchecked" in caption
    assert page.index("<figure") < page.index('id="notes"')


def test_a_photo_too_large_for_the_page_is_named(visit: Path, tmp_path: Path) -> None:
    """A page that is sent by mail stays small; the photo is in the folder under the name that stands there."""
    large = tmp_path / "large.jpg"
    large.write_bytes(JPEG + bytes(LARGEST_EMBEDDED))
    name = kept(visit, large)
    assert ClipSounds(visit, "embed").picture(name) == ""
    assert ClipSounds(visit, "link").picture(name) == name
    assert name in write_report(visit, "html").read_text(encoding="utf-8")


def test_a_photo_whose_item_the_page_does_not_list_stands_among_the_notes(visit: Path, photo: Path) -> None:
    """Without its plan a visit shows only what was asked; a photo of something else is not lost."""
    with VisitFolder.open(visit) as folder:
        folder.append(PhotoKept(item="elsewhere", file=folder.save_photo(png(), ".png"), words="the flue"))
    page = write_report(visit, "html").read_text(encoding="utf-8")
    assert page.index('id="notes"') < page.index("<figure")
    assert page.count("<figure") == 1


def test_json_csv_and_paper_list_photos(visit: Path, photo: Path) -> None:
    """Every format tells the file, the item, the words and that they are unchecked."""
    name = kept(visit, photo)
    row = json.loads(write_report(visit, "json").read_text(encoding="utf-8"))["photos"][0]
    assert (row["file"], row["item"], row["words"], row["checked"]) == (name, "filter", "behind the case", False)
    table = list(csv.DictReader(io.StringIO(write_report(visit, "csv").read_text(encoding="utf-8-sig"))))
    line = next(r for r in table if r["kind"] == "photo")
    assert (line["value"], line["item"], line["confirmed"]) == (name, "filter", "unchecked")
    assert f"Magnetic filter: “behind the case” (photo {name}, unchecked)" in paper_facts(read_visit(visit))["notes"]


def test_a_full_disk_keeps_no_photo_and_writes_no_event(visit: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file comes first: when it cannot be kept whole, the journal does not name it."""
    with VisitFolder.open(visit) as folder:
        before = (visit / "journal.jsonl").read_bytes()

        def full(descriptor: int) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr("os.fsync", full)
        with pytest.raises(MissingPart, match="disk is full"):
            folder.save_photo(png(), ".png")
    assert list((visit / "photos").iterdir()) == []
    assert (visit / "journal.jsonl").read_bytes() == before


def test_a_kill_between_photo_and_event_loses_nothing(visit: Path, photo: Path) -> None:
    """A photo without an event harms nothing, and the next one gets a number of its own."""
    with VisitFolder.open(visit) as folder:
        orphan = folder.save_photo(png(), ".png")
    name = kept(visit, photo)
    assert (orphan[:11], name[:11]) == ("photos/0001", "photos/0002")
    with VisitFolder.open(visit) as folder:
        assert list(clip_faults(visit, folder.entries)) == []
    assert run("verify", visit).exit_code == 0
