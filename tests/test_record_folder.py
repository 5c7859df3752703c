"""The visit's folder: clips before events, one copy at a time, kills survived."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
import wave
from pathlib import Path

import numpy as np
import pytest

from handsfree.errors import BadInput, MissingPart
from handsfree.events import Said, UtteranceHeard
from handsfree.record import Altered, Intact, Torn, VisitFolder, folder, read_journal
from handsfree.record.folder import check_visit, clip_faults, clip_path

PLAN = 'name = "combi_short"\n'
JOB = '[boiler]\nmaker = "Fernhill"\n'


def tone(seconds: float = 0.2) -> np.ndarray:
    return (0.3 * np.sin(np.arange(int(16_000 * seconds)) / 5)).astype(np.float32)


def heard(clip: str) -> UtteranceHeard:
    return UtteranceHeard(item="co2_max", words="nine point two", outcome={"outcome": "nothing"}, clip=clip)


# ---------------------------------------------------------------------------------------------- whole life


def test_a_visit_is_made_closed_and_opened_again(tmp_path: Path) -> None:
    """What was appended and saved before closing is there after opening, and numbers go on."""
    path = tmp_path / "deep" / "visit"
    with VisitFolder.create(path, PLAN, JOB) as visit:
        assert visit.entries == ()
        clip = visit.save_clip(tone())
        first = visit.append(heard(clip))
    assert (path / "plan.toml").read_text() == PLAN
    assert (path / "job.toml").read_text() == JOB
    with VisitFolder.open(path) as visit:
        assert visit.entries == (first,)
        assert visit.ending == Intact()
        assert visit.save_clip(tone()).startswith("audio/0002-")
        assert visit.append(Said(text="hello")).number == 2


def test_a_clip_is_a_wav_file_as_recorded(tmp_path: Path) -> None:
    """A clip holds the samples as 16-bit mono at its rate."""
    samples = tone()
    with VisitFolder.create(tmp_path / "v", PLAN) as visit:
        name = visit.save_clip(samples, 16_000)
        ints = visit.save_clip(np.array([0, 1, -32768, 32767], np.int16), 8_000)
    with wave.open(str(tmp_path / "v" / name)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, 16_000)
        got = np.frombuffer(file.readframes(10**6), "<i2") / 32768
        assert np.abs(got - samples).max() < 1e-4
    with wave.open(str(tmp_path / "v" / ints)) as file:
        assert file.getframerate() == 8_000
        assert list(np.frombuffer(file.readframes(9), "<i2")) == [0, 1, -32768, 32767]


def test_a_clip_that_no_event_names_is_not_overwritten(tmp_path: Path) -> None:
    """A clip saved just before a kill keeps its number; the next one takes a new number."""
    with VisitFolder.create(tmp_path / "v", PLAN) as visit:
        orphan = visit.save_clip(tone())
    with VisitFolder.open(tmp_path / "v") as visit:
        assert visit.save_clip(tone()) != orphan
    assert (tmp_path / "v" / orphan).exists()


# ------------------------------------------------------------------------------------------------ refusals


def test_a_second_copy_is_refused_with_what_to_do(tmp_path: Path) -> None:
    """While a visit is open, opening it again is bad input that names the process and the way out."""
    with VisitFolder.create(tmp_path / "v", PLAN) as visit:
        with pytest.raises(BadInput, match=f"open in another copy of handsfree .process {os.getpid()}.*end that copy"):
            VisitFolder.open(tmp_path / "v")
        visit.append(Said(text="still mine"))
    VisitFolder.open(tmp_path / "v").close()


def test_a_second_start_in_the_same_folder_is_refused(tmp_path: Path) -> None:
    """A folder in which a visit is being made takes no second one."""
    with VisitFolder.create(tmp_path / "v", PLAN), pytest.raises(BadInput, match="another copy"):
        VisitFolder.create(tmp_path / "v", PLAN)


def test_a_folder_with_a_visit_takes_no_new_one(tmp_path: Path) -> None:
    """Starting a visit where one is points to resume."""
    with VisitFolder.create(tmp_path / "v", PLAN) as visit:
        visit.append(Said(text="a"))
    with pytest.raises(BadInput, match="handsfree resume"):
        VisitFolder.create(tmp_path / "v", PLAN)


def test_a_folder_with_other_files_takes_no_visit(tmp_path: Path) -> None:
    """A folder that holds somebody's files is refused, naming one."""
    (tmp_path / "photo.jpg").touch()
    with pytest.raises(BadInput, match=r"photo\.jpg"):
        VisitFolder.create(tmp_path, PLAN)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["photo.jpg"]


def test_a_start_that_was_cut_off_before_its_first_event_can_be_repeated(tmp_path: Path) -> None:
    """What is left of a start without events is no obstacle to the next start."""
    VisitFolder.create(tmp_path / "v", PLAN).close()
    (tmp_path / "v" / ".job.toml.part").touch()
    with VisitFolder.create(tmp_path / "v", PLAN) as visit:
        assert visit.append(Said(text="a")).number == 1


@pytest.mark.parametrize(
    ("make", "why"), [("nothing", "does not exist"), ("file", "is a file"), ("empty", "holds no journal")]
)
def test_what_is_not_a_visit_is_said_to_be_none(tmp_path: Path, make: str, why: str) -> None:
    """A path that is no visit is bad input, and says why."""
    path = tmp_path / "x"
    if make == "file":
        path.touch()
    elif make == "empty":
        path.mkdir()
    for check in (check_visit, VisitFolder.open):
        with pytest.raises(BadInput, match=why):
            check(path)


def test_an_altered_journal_is_refused_and_let_go(tmp_path: Path) -> None:
    """Opening an altered visit fails with the line, and leaves the lock free for those who look into it."""
    with VisitFolder.create(tmp_path / "v", PLAN) as visit:
        visit.append(Said(text="nine"))
    journal = tmp_path / "v" / "journal.jsonl"
    journal.write_bytes(journal.read_bytes().replace(b"nine", b"five"))
    for _ in range(2):
        with pytest.raises(BadInput, match="line 1"):
            VisitFolder.open(tmp_path / "v")
    assert isinstance(read_journal(journal).ending, Altered)


# ----------------------------------------------------------------------------------------------- full disk


def test_a_full_disk_leaves_no_clip_under_a_clip_s_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A clip that could not be made safe is MissingPart, and no file stands under a clip's name."""

    def full(descriptor: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with VisitFolder.create(tmp_path / "v", PLAN) as visit:
        monkeypatch.setattr(folder.os, "fsync", full)
        with pytest.raises(MissingPart, match="disk is full: the clip"):
            visit.save_clip(tone())
        monkeypatch.undo()
        assert list((tmp_path / "v" / "audio").iterdir()) == []
        assert visit.save_clip(tone()).startswith("audio/0001-")


def test_a_file_is_replaced_in_one_step(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Until the very last step the old file stands whole; when that step fails nothing else is left."""
    path = tmp_path / "report.html"
    folder.write_whole(path, b"old")

    def fails(self: Path, target: Path) -> None:
        assert target.read_bytes() == b"old"
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(Path, "replace", fails)
    with pytest.raises(OSError, match="Input/output"):
        folder.write_whole(path, b"new")
    assert [p.read_bytes() for p in tmp_path.iterdir()] == [b"old"]


def test_a_visit_on_a_disk_that_cannot_be_written_is_a_missing_part(tmp_path: Path) -> None:
    """A place that takes no folder is MissingPart, not a traceback."""
    with pytest.raises(MissingPart):
        VisitFolder.create(Path("/proc/nowhere/visit"), PLAN)


# --------------------------------------------------------------------------------------------- clip checks


def test_clips_that_are_missing_or_changed_show(tmp_path: Path) -> None:
    """A clip that is gone, changed or elsewhere is found, with the event that names it."""
    path = tmp_path / "v"
    with VisitFolder.create(path, PLAN) as visit:
        names = [visit.save_clip(tone(0.1 * n)) for n in (1, 2, 3)]
        for name in [*names, "../plan.toml"]:
            visit.append(heard(name))
    (path / names[1]).unlink()
    sound = bytearray((path / names[2]).read_bytes())
    sound[-1] ^= 1
    (path / names[2]).write_bytes(sound)
    faults = list(clip_faults(path, read_journal(path / "journal.jsonl").entries))
    assert faults == [
        (2, f"clip {names[1]} is missing"),
        (3, f"clip {names[2]} is not the sound that was recorded"),
        (4, "clip ../plan.toml lies outside audio/"),
    ]


@pytest.mark.parametrize("name", ["../audio/x.wav", "/etc/passwd", "audio/../plan.toml", "audio/a/b.wav", "x.wav"])
def test_a_clip_s_name_never_leads_out_of_the_folder(tmp_path: Path, name: str) -> None:
    """Names in a journal cannot reach files outside audio/."""
    assert clip_path(tmp_path, name) is None


# -------------------------------------------------------------------------------------------------- kills

KILLS = 320
FOLDERS = 8


def test_every_kill_is_survived(tmp_path: Path) -> None:
    """Killed at random points, a visit keeps every acknowledged event and clip, opens again, and carries on."""
    script = Path(__file__).with_name("kill_loop.py")
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    run = subprocess.run(
        [sys.executable, str(script), str(tmp_path), str(KILLS), str(FOLDERS)],
        capture_output=True,
        text=True,
        env=environment,
        check=False,
    )
    assert run.returncode == 0, run.stdout + run.stderr
    kills, torn, events, clips = (int(n) for n in run.stdout.split())
    assert kills == KILLS
    # The kills must have hit something: torn lines, and plenty of work between them.
    assert torn >= 1
    assert events >= KILLS // 2
    assert clips >= KILLS // 2
    for path in tmp_path.iterdir():
        got = read_journal(path / "journal.jsonl")
        assert isinstance(got.ending, Intact | Torn)
        assert list(clip_faults(path, got.entries)) == []
