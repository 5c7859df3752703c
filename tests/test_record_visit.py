"""The record of a visit: nothing is guessed, nothing goes out of sight."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from visit_builder import JOB_TEXT, Clock, VisitBuilder, build_visit, plan_text

from handsfree import events as ev
from handsfree.errors import BadInput
from handsfree.events import Event
from handsfree.record import VisitFolder
from handsfree.record.gathering import gather
from handsfree.record.journal import Intact, JournalReading, read_journal
from handsfree.record.kept_plan import read_kept_plan
from handsfree.record.reading import read_visit
from handsfree.record.visit import ItemRecord, VisitRecord

PLAN = plan_text()


@pytest.fixture(scope="module")
def visit(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_visit(tmp_path_factory.mktemp("visits") / "invented")


@pytest.fixture(scope="module")
def record(visit: Path) -> VisitRecord:
    return read_visit(visit)


def visit_of(path: Path, *events: Event) -> VisitRecord:
    """A visit of the invented plan with just these events."""
    with VisitFolder.create(path, PLAN, JOB_TEXT, Clock()) as folder:
        VisitBuilder(folder).start(PLAN)
        for event in events:
            folder.append(event)
    return read_visit(path)


def reading(item: str, value: str, **more: Any) -> ev.ReadingConfirmed:
    kept = {"quantity": "co2", "qualifier": "maximum", "unit": "%", "how": "spoken yes", **more}
    return ev.ReadingConfirmed(item=item, value=value, **kept)


def judged(item: str, result: str, value: str, round: int = 1) -> ev.Judged:
    limit = {
        "id": "x",
        "low": "8.8",
        "high": "9.8",
        "unit": "%",
        "authority": "maker",
        "source": "book",
        "sure": "published",
    }
    return ev.Judged(
        item=item, result=result, value=value, unit="%", limit=limit, words=f"{result} the limit", round=round
    )


def item(record: VisitRecord, id: str) -> ItemRecord:
    return next(i for i in record.items() if i.id == id)


# --------------------------------------------------------------------------------------- the whole visit


def test_the_invented_visit_is_told_as_it_was(record: VisitRecord) -> None:
    """Values, what is open, outside, unsafe, corrected, noted and asked are all found."""
    assert sum(v.kind == "reading" for v in record.values()) == 25
    assert [i.id for i in record.open_items] == ["filter"]
    assert [v.item for v in record.outside if hasattr(v, "value")] == ["inlet"]
    assert [u.trigger for u in record.unsafe] == ["smell_of_gas"]
    assert record.unsafe[0].answers[0][0] == "Say what you found, for the record."
    assert record.unsafe[0].cleared_words == "carry on with the visit"
    assert [(c.old.value, c.new.value if c.new else "", c.reason) for c in record.corrections] == [
        ("9.6", "9.20", "probe was not fully in the test point")
    ]
    assert len(record.notes) == 1
    assert [q.answer for q in record.queries] == ["yes"]
    assert record.finished
    assert not record.complete
    assert record.remarks == ()


def test_digits_stay_as_spoken(record: VisitRecord) -> None:
    """Trailing zeros and leading zeros of a value are kept."""
    assert item(record, "co2_max").values[0].value == "9.20"
    assert item(record, "meter_start").values[0].value == "04821.346"


def test_an_accepted_value_outside_keeps_the_acceptance_and_stays_outside(record: VisitRecord) -> None:
    """Acceptance does not make a value go within its limit."""
    value = item(record, "inlet").values[0]
    assert value.accepted == "eighteen point one, accept it"
    assert value.judgement is not None
    assert value.judgement.result == "outside"
    assert value in record.outside


def test_any_part_of_a_visit_can_be_told(visit: Path) -> None:
    """At any point of the visit the record can be made, and each confirmed value is there once, standing or not."""
    entries = read_journal(visit / "journal.jsonl").entries
    plan, _ = read_kept_plan(visit)
    confirmed: set[int] = set()
    for n, entry in enumerate(entries, start=1):
        if isinstance(entry.event, ev.ReadingConfirmed | ev.AnswerConfirmed):
            confirmed.add(entry.number)
        if n % 5 and n != len(entries):
            continue
        record = gather(visit, JournalReading(entries[:n], Intact()), plan)
        told = [v.number for i in record.items() for v in (*i.values, *i.earlier)]
        assert sorted(told) == sorted(confirmed)
        assert not record.complete


# ------------------------------------------------------------------------------------- values and verdicts


def test_a_value_read_again_puts_the_earlier_one_into_the_history(tmp_path: Path) -> None:
    """Two values for one item and round never both stand, even when the later one does not say what it replaces."""
    record = visit_of(tmp_path / "v", reading("co2_max", "9.1"), reading("co2_max", "9.4"))
    told = item(record, "co2_max")
    assert [v.value for v in told.values] == ["9.4"]
    assert [v.value for v in told.earlier] == ["9.1"]
    assert len(record.corrections) == 1


def test_no_reading_takes_the_place_of_a_reading(tmp_path: Path) -> None:
    """An answer "no reading" ends the reading it replaces, and says why."""
    gone = ev.AnswerConfirmed(
        item="co2_max", answer="no_reading", answer_kind="absent", said_as="probe broken", replaces=2
    )
    record = visit_of(tmp_path / "v", reading("co2_max", "9.1"), gone)
    told = item(record, "co2_max")
    assert [(v.value, v.printed, v.absent) for v in told.values] == [("no_reading", "no reading (probe broken)", True)]
    assert [v.value for v in told.earlier] == ["9.1"]


def test_two_quantities_in_one_breath_both_stand(tmp_path: Path) -> None:
    """An item that takes flow and return keeps both."""
    record = visit_of(
        tmp_path / "v",
        reading("flow", "65", quantity="flow_temperature", qualifier=None, unit="degC"),
        reading("flow", "48", quantity="return_temperature", qualifier=None, unit="degC"),
    )
    assert [v.value for v in item(record, "flow").values] == ["65", "48"]


@pytest.mark.parametrize("before", [True, False])
def test_a_verdict_goes_to_the_value_that_it_judged(tmp_path: Path, before: bool) -> None:
    """A verdict given before or after the confirmation reaches its value."""
    events = [reading("co2_max", "9.10"), judged("co2_max", "within", "9.1")]
    record = visit_of(tmp_path / "v", *(reversed(events) if before else events))
    judgement = item(record, "co2_max").values[0].judgement
    assert judgement is not None
    assert judgement.result == "within"


def test_a_verdict_does_not_pass_to_another_value(tmp_path: Path) -> None:
    """A new value without a verdict of its own has none."""
    record = visit_of(
        tmp_path / "v", reading("co2_max", "9.1"), judged("co2_max", "within", "9.1"), reading("co2_max", "10.4")
    )
    assert item(record, "co2_max").values[0].judgement is None
    other = visit_of(tmp_path / "w", reading("co2_max", "10.4"), judged("co2_max", "within", "9.1"))
    assert item(other, "co2_max").values[0].judgement is None


def test_rounds_are_kept_apart_and_only_the_last_one_needs_attention(tmp_path: Path) -> None:
    """A value outside in the first round and within in the second is shown in both, and needs no attention."""
    record = visit_of(
        tmp_path / "v",
        reading("co2_max", "10.4"),
        judged("co2_max", "outside", "10.4"),
        ev.ReadAgain(items=("co2_max",), round=2, because="adjust"),
        reading("co2_max", "9.3", round=2),
        judged("co2_max", "within", "9.3", 2),
    )
    assert [(v.round, v.value) for v in item(record, "co2_max").values] == [(1, "10.4"), (2, "9.3")]
    assert record.outside == ()


def test_an_item_to_be_read_again_is_open(tmp_path: Path) -> None:
    """Until the further round is answered the item is open, although the round before has a value."""
    again = ev.ReadAgain(items=("co2_max",), round=2, because="adjust")
    record = visit_of(tmp_path / "v", reading("co2_max", "10.4"), again)
    assert item(record, "co2_max").state == "open"


def test_a_voided_result_does_not_stand(tmp_path: Path) -> None:
    """A voided result is history, with the reason in words."""
    done = ev.Computed(
        item="ratio_max", computation="co_co2_ratio", given={}, results=({"name": "co_co2_ratio", "value": "0.001"},)
    )
    record = visit_of(tmp_path / "v", done, ev.Voided(item="ratio_max", event=2, because="co2_max changed"))
    told = next(r for r in record.results if r.earlier)
    assert told.current is None
    assert told.earlier[0].ended_why == "C O 2 at maximum rate changed"
    assert list(record.standing_results()) == []


def test_a_voided_cause_is_no_cause_any_more(tmp_path: Path) -> None:
    """A cause whose conditions no longer hold leaves the record's causes and stays in the conversation."""
    found = ev.CauseFound(cause="no_gas", words="no gas to the house", action="Ring the supplier.")
    record = visit_of(tmp_path / "v", found, ev.CauseFound(cause="fan", words="the fan", action="Change it."))
    number = record.causes[0].number
    void = ev.Voided(item="no_gas", event=number, because="what led to it changed")
    record = visit_of(tmp_path / "w", found, ev.CauseFound(cause="fan", words="the fan", action="Change it."), void)
    assert [cause.words for cause in record.causes] == ["the fan"]
    assert any("no gas to the house" in turn.text for turn in record.conversation)


def test_what_may_not_be_judged_says_why(tmp_path: Path) -> None:
    """A value that no verdict may be given on carries the reason."""
    record = visit_of(
        tmp_path / "v", reading("co2_max", "9.1"), ev.NotJudged(item="co2_max", because="certificate run out")
    )
    assert item(record, "co2_max").not_judged == "certificate run out"


# --------------------------------------------------------------------------------------- open and unsafe


def test_a_mandatory_item_that_was_not_reached_is_open(tmp_path: Path) -> None:
    """A visit that stopped early lists everything that the plan still wants."""
    record = visit_of(tmp_path / "v", reading("co2_max", "9.1"))
    assert len(record.open_items) == len(list(record.items())) - 1
    assert not record.finished


def test_a_deferred_item_is_open_until_it_is_answered(tmp_path: Path) -> None:
    """Deferred, then answered, is answered; a finish that claims completeness does not hide an open item."""
    left = ev.Deferred(item="co2_max", reason="analyser warming up")
    finished = ev.Finished(complete=True)
    still = visit_of(tmp_path / "a", left, finished)
    assert (item(still, "co2_max").state, item(still, "co2_max").why) == ("open", "analyser warming up")
    assert not still.complete
    done = visit_of(tmp_path / "b", left, reading("co2_max", "9.1"), finished)
    assert item(done, "co2_max").state == "answered"


def test_an_unsafe_situation_that_nobody_cleared_stays_so(tmp_path: Path) -> None:
    """Without the engineer's words an unsafe situation is not cleared."""
    record = visit_of(tmp_path / "v", ev.UnsafeDeclared(item="drop", trigger="unsafe", words="this is unsafe"))
    assert (record.unsafe[0].label, record.unsafe[0].cleared_at) == ("called unsafe by the engineer", "")


def test_a_change_after_signing_shows(tmp_path: Path) -> None:
    """A value amended after the sign-off is marked until the visit is signed again."""
    signed = ev.SignedOff(name="Tam Brackenridge")
    changed = visit_of(
        tmp_path / "a", reading("co2_max", "9.1"), signed, reading("co2_max", "9.2", replaces=2, reason="typo")
    )
    assert changed.changed_after_signing
    again = visit_of(tmp_path / "b", signed, reading("co2_max", "9.2"), signed)
    assert not again.changed_after_signing


# ------------------------------------------------------------------------------------ the record's own health


def test_without_a_plan_items_are_named_by_their_ids(tmp_path: Path) -> None:
    """A visit whose plan is gone or spoilt can still be read, and says so."""
    visit_of(tmp_path / "v", reading("co2_max", "9.1"), ev.Deferred(item="filter"))
    for text in (None, "name = ["):
        (tmp_path / "v" / "plan.toml").unlink() if text is None else (tmp_path / "v" / "plan.toml").write_text(text)
        record = read_visit(tmp_path / "v")
        assert [v.label for v in record.values()] == ["co2 max"]
        assert any("named by their ids" in remark for remark in record.remarks)


def test_another_plan_is_remarked(tmp_path: Path) -> None:
    """A plan that is not the one of the visit is pointed out."""
    visit_of(tmp_path / "v", reading("co2_max", "9.1"))
    (tmp_path / "v" / "plan.toml").write_text(PLAN + "# changed\n")
    assert any("not the one that the visit was held with" in remark for remark in read_visit(tmp_path / "v").remarks)


def test_an_altered_journal_is_told_up_to_the_alteration(tmp_path: Path) -> None:
    """The record of an altered journal ends before the altered line and says so first."""
    visit_of(tmp_path / "v", reading("co2_max", "9.1"), reading("co2_min", "8.6"))
    journal = tmp_path / "v" / "journal.jsonl"
    journal.write_bytes(journal.read_bytes().replace(b'"8.6"', b'"8.9"'))
    record = read_visit(tmp_path / "v")
    assert [v.value for v in record.values()] == ["9.1"]
    assert record.remarks[0].startswith("The journal was altered at line 3")


def test_a_missing_clip_is_remarked(tmp_path: Path) -> None:
    """A clip that an event names and that is gone is pointed out."""
    record = visit_of(tmp_path / "v", reading("co2_max", "9.1", clip="audio/0009-000000000000.wav"))
    assert record.remarks == ("Event 2: clip audio/0009-000000000000.wav is missing.",)


def test_a_visit_without_an_event_is_bad_input(tmp_path: Path) -> None:
    """There is no report of nothing."""
    VisitFolder.create(tmp_path / "v", PLAN).close()
    with pytest.raises(BadInput, match="holds no event"):
        read_visit(tmp_path / "v")


def test_a_timed_wait_is_done_when_it_ended(tmp_path: Path) -> None:
    """A wait has no value; it counts as answered with the time that passed, and says when it was cut short."""
    entered = ev.ItemEntered(item="filter", chunk="handover")
    waiting = visit_of(tmp_path / "a", entered, ev.WaitStarted(item="filter", seconds=60))
    assert item(waiting, "filter").state == "open"
    waited = visit_of(tmp_path / "b", entered, ev.WaitEnded(item="filter", seconds=60))
    assert (item(waited, "filter").state, item(waited, "filter").why) == ("answered", "waited 60 s")
    cut = visit_of(tmp_path / "c", entered, ev.WaitEnded(item="filter", seconds=12, cut_short=True))
    assert item(cut, "filter").why == "waited 12 s, cut short"


def test_entering_no_item_makes_none(tmp_path: Path) -> None:
    """The end of the plan, where no item is on hand, is no item."""
    record = visit_of(tmp_path / "v", ev.ItemEntered(item="", chunk=""))
    assert all(i.id for i in record.items())


def test_what_an_ended_visit_did_not_list_as_open_was_left_out(tmp_path: Path) -> None:
    """An item whose condition never held is not open once the visit has ended; the ones that the end lists are."""
    ended = visit_of(tmp_path / "v", reading("co2_max", "9.1"), ev.Finished(complete=False, open_items=("filter",)))
    assert [i.id for i in ended.open_items] == ["filter"]
    assert item(ended, "co2_min").state == "not applicable"
