"""The archive: an index that can be thrown away, visits that fit, values through the years."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner
from visit_builder import JOB, VisitBuilder, build_visit, plan_text

from handsfree.commands.archive import command
from handsfree.errors import BadInput
from handsfree.events import ReadingConfirmed
from handsfree.record import VisitFolder
from handsfree.record.archive import Archive


def small_visit(path: Path, date: str, co2: str, serial: str = "FH2600417") -> Path:
    job = {**JOB, "boiler": {**JOB["boiler"], "serial": serial}}
    with VisitFolder.create(path, plan_text()) as folder:
        VisitBuilder(folder).start(plan_text(), job, date)
        folder.append(ReadingConfirmed(item="co2_max", quantity="co2", qualifier="maximum", value=co2, unit="%"))
    return path


@pytest.fixture
def visits(tmp_path: Path) -> Path:
    root = tmp_path / "visits"
    small_visit(root / "b", "2027-11-20", "9.5")
    small_visit(root / "a", "2026-11-25", "9.2")
    small_visit(root / "other" / "c", "2026-12-01", "8.9", "ZZ1")
    return root


def test_visits_are_found_by_any_words(tmp_path: Path, visits: Path) -> None:
    """Every word must be there, in any case; days bound the search; the latest comes first."""
    with Archive(tmp_path / "index.sqlite") as archive:
        assert archive.index([visits]).taken == 3
        assert [v.date for v in archive.find(("WEXCOMBE", "quillfeather"))] == [
            "2027-11-20",
            "2026-12-01",
            "2026-11-25",
        ]
        assert [v.serial for v in archive.find(("zz1",))] == ["ZZ1"]
        assert [v.date for v in archive.find(since="2026-12-01", until="2027-01-01")] == ["2026-12-01"]
        assert archive.find(("nobody",)) == []
        assert len(archive.find(needing=True)) == 3


def test_values_are_followed_boiler_by_boiler(tmp_path: Path, visits: Path) -> None:
    """A quantity's values come in the order of the visits, each with its digits."""
    with Archive(tmp_path / "index.sqlite") as archive:
        archive.index([visits])
        assert [(v.serial, v.date, v.value) for v in archive.trend("co2", qualifier="maximum")] == [
            ("FH2600417", "2026-11-25", "9.2"),
            ("FH2600417", "2027-11-20", "9.5"),
            ("ZZ1", "2026-12-01", "8.9"),
        ]
        assert len(archive.trend("co2_max", ("zz1",))) == 1
        with pytest.raises(BadInput, match="no visit in the archive has a value for 'tightness'"):
            archive.trend("tightness")


def test_the_index_follows_the_folders(tmp_path: Path, visits: Path) -> None:
    """Unchanged visits are skipped, changed ones taken anew, vanished ones dropped."""
    with Archive(tmp_path / "index.sqlite") as archive:
        archive.index([visits])
        assert archive.index([visits]).unchanged == 3
        with VisitFolder.open(visits / "a") as folder:
            folder.append(
                ReadingConfirmed(item="co2_max", quantity="co2", qualifier="maximum", value="9.3", unit="%", replaces=2)
            )
        shutil.rmtree(visits / "b")
        done = archive.index([visits])
        assert (done.taken, done.unchanged, done.gone) == (1, 1, 1)
        assert [v.value for v in archive.trend("co2", ("FH2600417",))] == ["9.3"]


@pytest.mark.parametrize("content", [b"", b"not a database at all, but long enough to be looked at" * 20])
def test_a_spoilt_index_is_made_anew(tmp_path: Path, visits: Path, content: bytes) -> None:
    """Whatever the cache file holds, the index is built again from the folders."""
    file = tmp_path / "index.sqlite"
    file.write_bytes(content)
    with Archive(file) as archive:
        assert archive.index([visits]).taken == 3


def test_a_folder_that_cannot_be_read_is_named(tmp_path: Path, visits: Path) -> None:
    """One bad folder does not keep the others out; a place that is no folder is bad input."""
    (visits / "a" / "journal.jsonl").write_bytes(b"nonsense\n")
    with Archive(tmp_path / "index.sqlite") as archive:
        done = archive.index([visits])
        assert done.taken == 2
        assert len(done.refused) == 1
        with pytest.raises(BadInput, match="is not a folder"):
            archive.index([tmp_path / "nowhere"])


def test_a_whole_visit_is_indexed_with_its_results(tmp_path: Path) -> None:
    """Results are followed like readings, and what needs the engineer is counted."""
    build_visit(tmp_path / "v" / "whole")
    with Archive(tmp_path / "index.sqlite") as archive:
        archive.index([tmp_path / "v"])
        assert archive.trend("heat_input")[0].unit == "kW"
        found = archive.find(needing=True)[0]
        assert (found.open, found.outside, found.unsafe, found.complete) == (1, 1, 1, False)


def test_a_trend_names_what_is_worth_looking_into(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On the command line a change beyond common practice is named under its value, never across boilers or states."""
    monkeypatch.setenv("HANDSFREE_HOME", str(tmp_path / "home"))
    for path, date, co2, serial in (
        ("a", "2026-11-25", "9.2", "FH2600417"),
        ("b", "2027-11-20", "9.4", "FH2600417"),
        ("c", "2028-11-20", "8.6", "FH2600417"),
        ("d", "2026-12-01", "4.9", "ZZ1"),
        ("e", "2026-12-01", "4.9", ""),
        ("f", "2027-12-01", "9.9", ""),
    ):
        small_visit(tmp_path / "visits" / path, date, co2, serial)
    assert CliRunner().invoke(command, ["index", str(tmp_path / "visits")]).exit_code == 0
    lines = CliRunner().invoke(command, ["trend", "co2"]).output.splitlines()
    named = [at for at, line in enumerate(lines) if "investigate: down by more than 0.5" in line]
    assert len(named) == 1
    assert "2028-11-20" in lines[named[0] - 1]
    assert sum("investigate" in line for line in lines) == 1
    rows = [json.loads(line) for line in CliRunner().invoke(command, ["trend", "co2", "--json"]).output.splitlines()]
    assert [row["date"] for row in rows if row["investigate"]] == ["2028-11-20"]
