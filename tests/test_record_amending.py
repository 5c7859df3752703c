"""Amending in review: the old value is kept, and what rests on it is worked out again."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from visit_builder import build_visit

from handsfree.dialogue.working import Trade
from handsfree.errors import BadInput
from handsfree.events import Computed, Judged, ReadingConfirmed, Voided
from handsfree.language import load_language
from handsfree.record import VisitFolder
from handsfree.record.amending import Review
from handsfree.record.reading import read_visit
from handsfree.record.visit import Value
from handsfree.trade import judge, trade_limit, work_out

TRADE = Trade(work_out, trade_limit, judge)


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_visit(tmp_path_factory.mktemp("visits") / "invented")


@pytest.fixture
def visit(built: Path, tmp_path: Path) -> Path:
    return shutil.copytree(built, tmp_path / "visit")


@pytest.fixture
def review(visit: Path) -> Iterator[Review]:
    with VisitFolder.open(visit) as folder:
        yield Review(folder, load_language(), TRADE)


def value_of(path: Path, item: str) -> Value:
    return next(v for v in read_visit(path).values() if v.item == item)


def test_nothing_is_owed_after_a_visit_that_went_through(review: Review) -> None:
    """Opening a visit for review writes nothing when every result and verdict is up to date."""
    assert review.catch_up() == ()


def test_an_amendment_keeps_the_old_value_and_works_out_what_rests_on_it(visit: Path, review: Review) -> None:
    """A changed CO2 is judged anew, and the ratio and the efficiency are voided and worked out from it."""
    old = value_of(visit, "co2_max")
    entries = review.amend(review.prepare(old.number, "10.40", "read off the wrong line"))
    kinds = [type(e.event) for e in entries]
    assert kinds[:2] == [ReadingConfirmed, Judged]
    assert kinds.count(Voided) == kinds.count(Computed) == 2
    record = read_visit(visit)
    new = value_of(visit, "co2_max")
    assert (new.value, new.replaces, new.reason, new.how) == (
        "10.40",
        old.number,
        "read off the wrong line",
        "amended in review",
    )
    assert new.judgement is not None
    assert new.judgement.result == "outside"
    ratio = next(r for r in record.standing_results() if r.item == "ratio_max")
    # 86 ppm over 10.40 % times 10 000, by hand
    assert float(ratio.results[0]["value"]) == pytest.approx(86 / 104_000)
    assert ratio.judgement is not None
    assert any(c.old.number == old.number and c.new and c.new.number == new.number for c in record.corrections)
    assert review.catch_up() == ()


@pytest.mark.parametrize("kept", range(1, 7))
def test_an_amendment_that_was_cut_off_is_caught_up(visit: Path, kept: int) -> None:
    """Wherever a kill cuts an amendment, the next review works out what is owed and ends with the same results."""
    journal = visit / "journal.jsonl"
    with VisitFolder.open(visit) as folder:
        before = len(folder.entries)
        review = Review(folder, load_language(), TRADE)
        review.amend(review.prepare(value_of(visit, "co2_max").number, "9.4", "typo"))
    whole = read_visit(visit)
    lines = journal.read_bytes().splitlines(keepends=True)
    assert len(lines) > before + kept
    journal.write_bytes(b"".join(lines[: before + kept]))
    with VisitFolder.open(visit) as folder:
        Review(folder, load_language(), TRADE).catch_up()
    caught = read_visit(visit)
    told = [(v.item, v.value, v.judgement and v.judgement.result) for v in caught.values()]
    assert told == [(v.item, v.value, v.judgement and v.judgement.result) for v in whole.values()]
    assert [(r.item, r.results) for r in caught.standing_results()] == [
        (r.item, r.results) for r in whole.standing_results()
    ]


def test_an_answer_can_become_absent(visit: Path, review: Review) -> None:
    """A reading that should not have been given becomes no reading, and results without it no longer stand."""
    review.amend(review.prepare(value_of(visit, "test_time").number, "no_reading", "stopwatch failed"))
    record = read_visit(visit)
    assert value_of(visit, "test_time").absent
    assert not {"gas_rate", "input"} & {r.item for r in record.standing_results()}


@pytest.mark.parametrize(
    ("item", "text", "reason", "why"),
    [
        ("co2_max", "9,4", "typo", "is not a number"),
        ("co2_max", "94", "typo", "is not from"),
        ("co2_max", "NaN", "typo", "is not from"),
        ("co2_max", "9.20", "typo", "holds 9.20 already"),
        ("co2_max", "9.4", "  ", "needs a reason"),
        ("controls", "perhaps", "typo", "is not an answer"),
        ("analyser_date", "14 March", "typo", "is not a date"),
        ("serial", "", "typo", "is empty"),
    ],
)
def test_what_does_not_fit_is_refused_and_nothing_is_written(
    visit: Path, review: Review, item: str, text: str, reason: str, why: str
) -> None:
    """A change that does not fit is bad input, and the journal stays as it was."""
    before = (visit / "journal.jsonl").read_bytes()
    with pytest.raises(BadInput, match=why):
        review.prepare(value_of(visit, item).number, text, reason)
    assert (visit / "journal.jsonl").read_bytes() == before


def test_a_number_that_holds_no_value_is_refused(review: Review) -> None:
    """Numbers of other events, and of values that no longer stand, cannot be amended."""
    with pytest.raises(BadInput, match="holds no value that stands"):
        review.prepare(2, "9.4", "typo")


def test_a_visit_with_another_plan_is_not_amended(visit: Path) -> None:
    """Without the very plan of the visit nothing can be worked out again, so nothing is changed."""
    (visit / "plan.toml").write_text((visit / "plan.toml").read_text() + "# changed\n")
    with VisitFolder.open(visit) as folder, pytest.raises(BadInput, match="not the plan that the visit was held with"):
        Review(folder, load_language(), TRADE)


def test_a_sign_off_is_kept_and_needs_a_name(visit: Path, review: Review) -> None:
    """The engineer's name stands in the record."""
    with pytest.raises(BadInput, match="needs a name"):
        review.sign("  ")
    review.sign("Tam Brackenridge", "filter to follow")
    assert [(s.name, s.statement) for s in read_visit(visit).signatures] == [("Tam Brackenridge", "filter to follow")]
