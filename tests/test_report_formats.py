"""Reports as JSON, CSV, calendar and PDF; files that are whole or the old ones."""

from __future__ import annotations

import csv
import datetime
import errno
import io
import json
import os
from pathlib import Path

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st
from visit_builder import VisitBuilder, build_visit, plan_text

from handsfree import events as ev
from handsfree.errors import BadInput, MissingPart
from handsfree.record import VisitFolder
from handsfree.record.reading import read_visit
from handsfree.report import FORMATS, write_report
from handsfree.report.attention import points_of
from handsfree.report.paper import paper_facts
from handsfree.report.tables import COLUMNS, _harmless
from handsfree.report.wording import print_given, print_label, print_number, print_signs, print_spread, print_unit


@pytest.fixture(scope="module")
def visit(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_visit(tmp_path_factory.mktemp("visits") / "invented")


# ---------------------------------------------------------------------------------------------------- tables


def test_json_holds_the_whole_record(visit: Path) -> None:
    """Every value with its history, the conversation and the results are in the JSON, in the journal's ids."""
    row = json.loads(write_report(visit, "json").read_text(encoding="utf-8"))
    record = read_visit(visit)
    items = {i["id"]: i for chunk in row["chunks"] for i in chunk["items"]}
    assert items["co2_max"]["values"][0]["value"] == "9.20"
    assert items["co2_max"]["earlier"][0]["value"] == "9.6"
    assert items["flue_max"]["values"][0]["unit"] == "degC"
    assert row["open_items"] == ["filter"]
    assert len(row["conversation"]) == len(record.conversation)
    assert row["last_hash"] == record.last_hash
    assert row["ending"] == "intact"


def test_csv_has_a_row_for_every_value_result_and_open_item(visit: Path) -> None:
    """A spreadsheet gets every value, the replaced ones marked as such."""
    text = write_report(visit, "csv").read_text(encoding="utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert tuple(rows[0]) == COLUMNS
    mine = [r for r in rows if r["item"] == "co2_max"]
    assert [(r["value"], r["state"]) for r in mine] == [("9.6", "no longer stands"), ("9.20", "stands")]
    assert mine[1]["limit"] == "8.8 to 9.8 %"
    assert mine[1]["limit_source"] == "Fernhill Compact 28 installation book, page 31"
    assert [r["state"] for r in rows if r["item"] == "filter"] == ["open"]
    assert {r["basis"] for r in rows if r["item"] == "input"} >= {"net", "gross"}
    standing = [v for v in read_visit(visit).values() if v.kind == "reading"]
    assert [r["value"] for r in rows if r["kind"] == "reading" and r["state"] == "stands"] == [
        v.value for v in standing
    ]


@pytest.mark.parametrize(
    ("cell", "kept"),
    [
        ("=1+1", "'=1+1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("-3", "-3"),
        ("-0.5", "-0.5"),
        ("+cmd", "'+cmd"),
        ("nine", "nine"),
        (7, 7),
        ("", ""),
    ],
)
def test_a_spreadsheet_runs_nothing(cell: object, kept: object) -> None:
    """Words that a spreadsheet would take for a formula are kept as words; negative numbers stay numbers."""
    assert _harmless(cell) == kept


# --------------------------------------------------------------------------------------------------- calendar


def test_what_falls_due_is_in_the_calendar(visit: Path) -> None:
    """Next service and registration are all-day entries with a reminder, readable by another calendar reader."""
    calendar = icalendar.Calendar.from_ical(write_report(visit, "ics").read_bytes())
    entries = list(calendar.walk("VEVENT"))
    assert [(e["SUMMARY"].split(":")[0], e["DTSTART"].dt) for e in entries] == [
        ("Next service due", datetime.date(2027, 11, 25)),
        ("Guarantee registration due", datetime.date(2026, 12, 25)),
    ]
    for entry in entries:
        assert entry["DTEND"].dt - entry["DTSTART"].dt == datetime.timedelta(days=1)
        assert entry.walk("VALARM")[0]["TRIGGER"].dt < datetime.timedelta(0)


def test_the_calendar_can_be_taken_in_twice(visit: Path) -> None:
    """The entries of one visit keep their ids, so that a second import changes nothing; other visits have other ids."""
    first = write_report(visit, "ics").read_bytes()
    assert write_report(visit, "ics").read_bytes() == first
    assert read_visit(visit).identity.encode() in first


def test_a_visit_in_which_nothing_falls_due_has_no_calendar(tmp_path: Path) -> None:
    """An empty calendar is bad input that says why, and no file is left."""
    with VisitFolder.create(tmp_path / "v", plan_text()) as folder:
        VisitBuilder(folder).start(plan_text())
    with pytest.raises(BadInput, match="nothing falls due"):
        write_report(tmp_path / "v", "ics")
    assert not (tmp_path / "v" / "report.ics").exists()


# -------------------------------------------------------------------------------------------------------- PDF


def test_the_pdf_is_tagged_and_made_without_a_network(visit: Path) -> None:
    """The PDF declares PDF/UA-1, which the typesetter checks while it makes it."""
    content = write_report(visit, "pdf").read_bytes()
    assert content.startswith(b"%PDF-")
    assert b"pdfuaid" in content


def test_the_paper_says_what_the_page_says(visit: Path) -> None:
    """Values, attention, corrections and cautions reach the paper too."""
    facts = paper_facts(read_visit(visit))
    rows = {row["label"]: row for chunk in facts["chunks"] for row in chunk["rows"]}
    assert rows["CO₂ at maximum rate"]["value"] == "9.20 %"
    assert rows["Working pressure at the appliance inlet"]["outside"]
    assert rows["Magnetic filter"]["value"] == "open"
    assert any("18.1 mbar" in p["heading"] for p in facts["points"])
    assert facts["unsafe"][0]["heading"] == "Unsafe situation recorded: smell of gas"
    assert facts["corrections"] == [
        "CO₂ at maximum rate: 9.6 % became 9.20 % at 09:23:10. Reason: probe was not fully in the test point."
    ]
    assert any("0800 111 999" in c for c in facts["cautions"])


HOSTILE = '#panic("x") *_ $x$ @a <b> \\ "quoted" // [ ] `'


def test_words_cannot_become_typesetting(tmp_path: Path) -> None:
    """Whatever stands in job, words and reasons is printed on paper, never run."""
    with VisitFolder.create(tmp_path / "v", plan_text()) as folder:
        VisitBuilder(folder).start(plan_text(), {"customer": {"name": HOSTILE}, "engineer": {"name": HOSTILE}})
        folder.append(ev.NoteTaken(item=None, words=HOSTILE))
        folder.append(ev.UnsafeDeclared(item=None, trigger=HOSTILE, words=HOSTILE))
        folder.append(ev.Deferred(item="filter", reason=HOSTILE))
    assert write_report(tmp_path / "v", "pdf").read_bytes().startswith(b"%PDF-")


# ---------------------------------------------------------------------------------------------- files, wording


@pytest.mark.parametrize("format", FORMATS)
def test_a_report_goes_where_it_is_told(visit: Path, tmp_path: Path, format: str) -> None:
    """Each format can be written to a file of one's choice."""
    out = tmp_path / f"handover.{format}"
    assert write_report(visit, format, out=out) == out  # type: ignore[arg-type]
    assert out.stat().st_size > 500


def test_a_full_disk_leaves_the_old_report(visit: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A report that could not be written whole leaves the one before, and says that the disk is full."""
    out = tmp_path / "report.csv"
    out.write_text("the old one")

    def full(descriptor: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(MissingPart, match="disk is full"):
        write_report(visit, "csv", out=out)
    assert out.read_text() == "the old one"
    assert [p.name for p in tmp_path.iterdir()] == ["report.csv"]


def test_an_unknown_format_is_bad_input(visit: Path) -> None:
    """The formats that there are stand in the message."""
    with pytest.raises(BadInput, match="use one of html, pdf"):
        write_report(visit, "docx")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("C O 2 at maximum", "CO₂ at maximum"),
        ("C O at maximum", "CO at maximum"),
        ("co2 maximum", "CO₂ maximum"),
        ("ph of the water", "pH of the water"),
        ("O 2 in the air", "O₂ in the air"),
        ("flow temperature", "Flow temperature"),
        ("cover screws", "Cover screws"),
    ],
)
def test_labels_are_printed_with_the_signs_of_the_trade(text: str, printed: str) -> None:
    """Spoken spellings of the gases become their signs; other words are left alone."""
    assert print_label(text) == printed


@pytest.mark.parametrize(
    ("value", "printed"),
    [
        (27.1536, "27.15"), (0.00093478, "0.00093"), ("0.00008046", "0.00008"), (1234.56, "1235"), (123456.0, "123456"),
        (-5, "−5"), (0, "0"), ("2027-11-25", "25 November 2027"), ("no finite answer", "no finite answer"),
    ],
)  # fmt: skip
def test_computed_numbers_are_printed_for_people(value: object, printed: str) -> None:
    """About four figures, never an exponent; dates in words."""
    assert print_number(value) == printed


@given(st.floats(-1e9, 1e9))
def test_a_printed_number_is_near_the_number(value: float) -> None:
    """What is printed is within a thousandth of the number, or a hundred-thousandth where it is small."""
    printed = float(print_number(value).replace("−", "-"))
    assert printed == pytest.approx(value, rel=1e-3, abs=1e-5)


def test_units_and_givens_are_printed_with_their_signs() -> None:
    """Ids of units become signs wherever they stand; keys lose the unit that they carry."""
    assert print_unit("degC") == "°C"
    assert print_unit("-") == ""
    assert print_signs("at most 60 degC") == "at most 60\u00a0°C"
    assert (
        print_given({"gas_rate_m3_h": "2.52", "gas": "G20", "time_s": "120"})
        == "gas rate 2.52 m³/h, gas G20, time 120 s"
    )


def test_a_spread_is_printed_without_an_exponent() -> None:
    """Two figures, in plain digits."""
    assert print_spread({"spread": 0.0000071}) == "±\u00a00.0000071"
    assert print_spread({"spread": "0.0432"}) == "±\u00a00.043"
    assert print_spread({"spread": None}) == ""


def test_items_that_were_not_reached_are_told_in_one_point(tmp_path: Path) -> None:
    """A visit that stopped early does not bury what was found under a line for each item that is left."""
    with VisitFolder.create(tmp_path / "v", plan_text()) as folder:
        VisitBuilder(folder).start(plan_text())
        folder.append(ev.Deferred(item="filter", reason="part comes on Friday"))
    points = [(p.heading, p.words) for p in points_of(read_visit(tmp_path / "v"))]
    assert points[0] == ("Open: Magnetic filter.", "Left for later: part comes on Friday.")
    assert points[1][0] == "Not reached (29):"
    assert "CO₂ at maximum rate" in points[1][1]
    assert len(points) == 2
