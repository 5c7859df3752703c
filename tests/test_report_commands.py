"""verify, report, review and archive on the command line: what they print and how they end."""

from __future__ import annotations

import contextlib
import json
import os
import pty
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from visit_builder import build_visit

from handsfree.cli import group
from handsfree.errors import BadInput, MissingPart, NeedsEngineer
from handsfree.record import VisitFolder
from handsfree.record.reading import read_visit


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_visit(tmp_path_factory.mktemp("visits") / "invented")


@pytest.fixture
def visit(built: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HANDSFREE_HOME", str(tmp_path / "home"))
    return shutil.copytree(built, tmp_path / "visit")


def run(*arguments: object, say: str = "") -> Result:
    return CliRunner().invoke(group, [str(a) for a in arguments], input=say)


def value_number(visit: Path, item: str) -> int:
    return next(v.number for v in read_visit(visit).values() if v.item == item)


# ----------------------------------------------------------------------------------------------------- verify


def test_an_intact_visit_verifies(visit: Path) -> None:
    """Intact: said in words, exit code 0."""
    result = run("verify", visit)
    assert (result.exit_code, result.output) == (0, f"{visit}: intact, {read_visit(visit).events} events\n")


def test_torn_altered_and_clips_show_with_their_place(visit: Path, tmp_path: Path) -> None:
    """Torn at the end, altered at a line and a changed clip each say where; any of them ends with exit code 1."""
    torn, altered, clips = (shutil.copytree(visit, tmp_path / name) for name in ("torn", "altered", "clips"))
    content = (visit / "journal.jsonl").read_bytes()
    (torn / "journal.jsonl").write_bytes(content[:-7])
    (altered / "journal.jsonl").write_bytes(content.replace(b'"9.20"', b'"9.10"'))
    next((clips / "audio").glob("0005-*")).write_bytes(b"another sound")
    result = run("verify", visit, torn, altered, clips)
    assert isinstance(result.exception, NeedsEngineer)
    assert result.exception.message == "3 of 4 visits do not check out"
    lines = result.output.splitlines()
    assert f"torn at the end: line {read_visit(visit).events} was cut" in lines[1]
    assert "altered at line" in lines[2]
    assert "is not the sound that was recorded" in lines[4]


def test_verify_speaks_json(visit: Path, tmp_path: Path) -> None:
    """One JSON object a folder, also for a folder that is no visit; that one ends with exit code 2."""
    result = run("verify", "--json", visit, tmp_path)
    rows = [json.loads(line) for line in result.output.splitlines()]
    assert [row["journal"] for row in rows] == ["intact", "no visit"]
    assert rows[0]["last_hash"] == read_visit(visit).last_hash
    assert isinstance(result.exception, BadInput)


# ----------------------------------------------------------------------------------------------------- report


def test_a_report_is_written_beside_the_journal(visit: Path) -> None:
    """The files' paths are printed, one a line."""
    result = run("report", visit, "--format", "html", "--format", "csv")
    assert result.output.splitlines() == [str(visit / "report.html"), str(visit / "report.csv")]
    assert (visit / "report.html").stat().st_size < 3_000_000


def test_a_report_of_an_altered_visit_says_so_and_ends_with_1(visit: Path) -> None:
    """The report is written as far as the journal can be trusted, with exit code 1."""
    journal = visit / "journal.jsonl"
    journal.write_bytes(journal.read_bytes().replace(b'"9.20"', b'"9.10"'))
    result = run("report", visit)
    assert isinstance(result.exception, NeedsEngineer)
    assert "The journal was altered at line" in (visit / "report.html").read_text(encoding="utf-8")


def test_a_report_can_be_made_while_the_visit_runs(visit: Path) -> None:
    """A visit that is open in another copy can be reported."""
    with VisitFolder.open(visit):
        assert run("report", visit).exit_code == 0


def test_one_file_for_several_formats_is_refused(visit: Path, tmp_path: Path) -> None:
    """--out with two formats is bad input."""
    result = run("report", visit, "--format", "html", "--format", "csv", "--out", tmp_path / "x")
    assert isinstance(result.exception, BadInput)


@pytest.mark.parametrize("command", ["report", "review"])
def test_what_is_no_visit_is_bad_input(command: str, tmp_path: Path) -> None:
    """A folder that is no visit is named, with what to do."""
    result = run(command, tmp_path)
    assert isinstance(result.exception, BadInput)
    assert "is not a visit" in result.exception.message


# ----------------------------------------------------------------------------------------------------- review


def test_review_lists_values_and_what_needs_attention(visit: Path) -> None:
    """Each value with its number, digits, unit and verdict; JSON lines on request."""
    result = run("review", visit)
    assert result.exit_code == 0
    assert "9.20 %" in result.output
    assert "Open: Magnetic filter." in result.output
    rows = [json.loads(line) for line in run("review", visit, "--json").output.splitlines()]
    assert {"co2", "flue_temperature"} <= {row["quantity"] for row in rows}


def test_an_amendment_is_asked_about_and_kept(visit: Path) -> None:
    """The change is said in words and written only on yes; the old value stays in the record."""
    number = value_number(visit, "co2_max")
    before = (visit / "journal.jsonl").read_bytes()
    refused = run("review", visit, "--amend", number, "9.4", "--reason", "wrong line", say="n\n")
    assert "9.20 % becomes 9.4 %. Reason: wrong line" in refused.output
    assert "Nothing was changed." in refused.output
    assert (visit / "journal.jsonl").read_bytes() == before
    taken = run("review", visit, "--amend", number, "9.4", "--reason", "wrong line", say="y\n")
    assert taken.exit_code == 0, taken.output
    value = next(v for v in read_visit(visit).values() if v.item == "co2_max")
    assert (value.value, value.replaces, value.reason) == ("9.4", number, "wrong line")
    assert run("verify", visit).exit_code == 0


def test_an_amendment_without_a_reason_is_refused(visit: Path) -> None:
    """No reason, no change."""
    result = run("review", visit, "--amend", value_number(visit, "co2_max"), "9.4", "--yes")
    assert isinstance(result.exception, BadInput)


def test_a_visit_that_is_open_elsewhere_is_not_amended(visit: Path) -> None:
    """The lock of a running visit keeps review out, with what to do."""
    with VisitFolder.open(visit):
        result = run("review", visit, "--amend", value_number(visit, "co2_max"), "9.4", "--reason", "x", "--yes")
    assert isinstance(result.exception, BadInput)
    assert "another copy" in result.exception.message


def test_signing_off_shows_what_is_open_and_asks(visit: Path) -> None:
    """The points that need attention are shown before the yes; the program claims nothing."""
    result = run("review", visit, "--sign", "Tam Brackenridge", "--statement", "filter follows", say="y\n")
    assert "Open: Magnetic filter." in result.output
    assert "does not state that anything is safe" in result.output
    assert [s.name for s in read_visit(visit).signatures] == ["Tam Brackenridge"]


def test_a_value_without_a_clip_cannot_be_heard(visit: Path) -> None:
    """Listening to what has no clip is bad input."""
    assert isinstance(run("review", visit, "--listen", 1).exception, BadInput)


def test_listening_plays_the_clip_or_names_the_file(visit: Path) -> None:
    """Where no loudspeaker is, the clip's file is named for another player."""
    result = run("review", visit, "--listen", value_number(visit, "co2_max"))
    if result.exception is not None:
        assert isinstance(result.exception, MissingPart)
        assert "audio/" in result.exception.hint


# ---------------------------------------------------------------------------------------------------- archive


def test_the_archive_finds_and_follows(visit: Path) -> None:
    """Indexed, found by a word, followed by a quantity."""
    assert "1 taken in" in run("archive", "index", visit).output
    assert str(visit) in run("archive", "find", "wexcombe").output
    assert "no visit fits" in run("archive", "find", "nobody").output
    rows = [json.loads(line) for line in run("archive", "trend", "co2", "--json").output.splitlines()]
    assert [row["value"] for row in rows] == ["9.20", "8.7"] or [row["value"] for row in rows] == ["8.7", "9.20"]
    assert "CO₂ at maximum rate" in run("archive", "trend", "co2", "--qualifier", "maximum").output
    assert isinstance(run("archive", "trend", "nonsense").exception, BadInput)


def converse(visit: Path, *lines: str) -> str:
    """What a terminal shows when these lines are typed into review."""
    master, terminal = pty.openpty()
    child = subprocess.Popen(
        [sys.executable, "-m", "handsfree", "review", str(visit)], stdin=terminal, stdout=terminal, stderr=terminal
    )
    os.close(terminal)
    os.write(master, "".join(f"{line}\n" for line in lines).encode())
    shown = b""
    with contextlib.suppress(OSError):  # the terminal is gone when the child ends
        while piece := os.read(master, 4096):
            shown += piece
    os.close(master)
    assert child.wait(timeout=30) == 0, shown.decode()
    return shown.decode()


def test_on_a_terminal_review_takes_commands_until_quit(visit: Path) -> None:
    """An error is said and the next command is taken; reason and yes are asked for; what was asked for is done."""
    number = value_number(visit, "co2_max")
    shown = converse(
        visit,
        "listen 1",
        "amend x 1",
        "nonsense",
        f"amend {number} 9.4",
        "wrong line",
        "y",
        "sign Tam Brackenridge",
        "y",
        "quit",
    )
    assert "event 1 has no clip" in shown
    assert "'x' is not the number of a value" in shown
    assert "9.20 % becomes 9.4 %. Reason: wrong line" in shown
    record = read_visit(visit)
    assert next(v.value for v in record.values() if v.item == "co2_max") == "9.4"
    assert [s.name for s in record.signatures] == ["Tam Brackenridge"]
