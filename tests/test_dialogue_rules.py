"""The twenty rules of the dialogue, each as a check; the number of the rule stands in the test's name."""

from __future__ import annotations

import random
import re

import pytest
from dialogue_simulation import COMMANDS, Simulation
from dialogue_story import SHORT_VISIT, plan_named, play_until, story, the_job

from handsfree.dialogue.effects import LAST, Cue, Listen, Wait
from handsfree.dialogue.inputs import HeardInput, Silence, WaitOver
from handsfree.dialogue.wording import templates
from handsfree.events import (
    ChunkCompleted,
    Computed,
    Finished,
    Held,
    ItemEntered,
    Judged,
    OutsideAccepted,
    Proposed,
    ReadingConfirmed,
    Said,
    SilenceHeard,
    Voided,
    WaitEnded,
    WaitStarted,
)
from handsfree.model import Command, Heard
from handsfree.plans import plan_names

PLANS = plan_names()


def test_rule_01_the_reply_to_a_measured_value_is_the_value() -> None:
    """A measured value is answered with quantity, value and unit, never with "done"."""
    visit = play_until(story(), "vessel_charge").hear("nought point seven five bar")
    assert "zero point seven five bar" in visit.said
    assert "done" not in visit.said.lower()


@pytest.mark.parametrize("name", PLANS)
def test_rule_02_a_prompt_names_something_to_touch_or_look_at(name: str) -> None:
    """Every prompt has a thing in it: more than its verb and its quantity's name alone."""
    for item in plan_named(name).items():
        assert len(item.prompt.split()) >= 3, item.id


@pytest.mark.parametrize("name", PLANS)
def test_rule_03_chunks_are_small_and_have_a_place(name: str) -> None:
    """A chunk asks at most eight items besides those of a branch, all at one named place."""
    for chunk in plan_named(name).chunks:
        assert chunk.place
        assert len([i for i in chunk.items if i.expect.kind != "wait" and not i.when.terms]) <= 8, chunk.id


def test_rule_04_items_come_in_the_order_of_the_work() -> None:
    """When every answer is good the items are asked in the order of the plan, none twice."""
    visit = play_until(story(), None)
    entered = [e.item for e in visit.events(ItemEntered) if e.item]
    order = [i.id for i in plan_named("short_commissioning").items()]
    assert entered == order


@pytest.mark.parametrize("name", PLANS)
def test_rule_05_killer_items_are_repeated_or_say_why_nothing_undoes_them(name: str) -> None:
    """Every killer item has a later item that asks it again, or says why once is enough."""
    plan = plan_named(name)
    for item in plan.items():
        if item.killer:
            assert item.once or any(other.repeats == item.id for other in plan.items()), item.id


def test_rule_05_a_killer_item_cannot_be_left_for_later() -> None:
    """A killer item is asked until it is answered: "later" is refused."""
    visit = play_until(story(), "air_inlet_o2").hear("later")
    assert "cannot be left for later" in visit.said
    assert visit.state.item == "air_inlet_o2"


def test_rule_06_a_chunk_ends_with_a_spoken_completion() -> None:
    """The completion is spoken once every item of the chunk is answered, and not before."""
    visit = play_until(story(), "trap_filled")
    assert "Water complete." not in " ".join(visit.transcript)
    visit.hear(*SHORT_VISIT["trap_filled"])
    assert "Water complete." in visit.said


def test_rule_06_absence_of_the_completion_means_not_complete() -> None:
    """A chunk with an open item says what is open instead of its completion."""
    visit = play_until(story(), "vessel_charge").hear("later")
    for item in ("cold_pressure", "trap_filled"):
        visit.hear(*SHORT_VISIT[item])
    visit.hear("later")
    assert "Water complete." not in " ".join(visit.transcript)
    assert "not complete. Open: vessel charge" in visit.said


@pytest.mark.parametrize("name", PLANS)
def test_rule_07_a_chunk_is_read_do_or_do_confirm(name: str) -> None:
    """A do-confirm chunk takes no readings."""
    for chunk in plan_named(name).chunks:
        if chunk.way == "do-confirm":
            assert {i.expect.kind for i in chunk.items} <= {"state", "yes_no", "choice", "wait"}


@pytest.mark.parametrize("name", PLANS)
def test_rule_08_one_item_asks_one_thing(name: str) -> None:
    """No prompt has "and"."""
    for item in plan_named(name).items():
        assert not re.search(r"\band\b", item.prompt, re.IGNORECASE), item.prompt


def test_rule_09_deferred_items_come_back_and_block_completion() -> None:
    """An item left for later is spoken at the chunk's end, asked again, and blocks completion while open."""
    visit = play_until(story(), "vessel_charge").hear("later")
    for item in ("cold_pressure", "trap_filled"):
        visit.hear(*SHORT_VISIT[item])
    assert visit.state.item == "vessel_charge"
    assert "Left open before: vessel charge." in visit.said
    visit.hear("later")
    play_until(visit, None)
    assert "Open: vessel charge" in visit.said
    visit.hear("finish", "yes")
    finished = visit.state.finished
    assert finished is not None
    assert not finished.complete
    assert finished.open_items == ("vessel_charge",)


def test_rule_10_after_ten_seconds_of_silence_the_place_is_said() -> None:
    """A pause of 10 s brings chunk, last confirmed item with its value, next item, and then listening."""
    visit = play_until(story(), "cold_pressure").hear("...")
    assert "Water" in visit.said
    assert "vessel charge" in visit.said
    assert "zero point seven five bar" in visit.said
    assert "cold system pressure" in visit.said
    assert isinstance(visit.effects[-1], Listen)


def test_rule_10_after_a_restart_the_place_is_said() -> None:
    """A restart brings chunk, last confirmed item with its value and the next item."""
    visit = play_until(story(), "cold_pressure").cut()
    for words in ("Water", "vessel charge", "zero point seven five bar", "Next: cold system pressure"):
        assert words in visit.said


@pytest.mark.parametrize("item", [i for i in SHORT_VISIT if i != "boiler_serial"])
def test_rule_11_resuming_goes_back_one_item_never_forward(item: str) -> None:
    """After a cut the item confirmed last is looked at again; a yes, or the same yes or no, keeps it and comes to the same item
    as before."""
    visit = play_until(story(), item)
    last = visit.state.last_value()
    assert last is not None
    saved = len(visit.events(ReadingConfirmed))
    visit.cut()
    assert visit.state.item == last.item
    visit.hear(last.text if last.kind == "yes_no" else "yes")
    assert visit.state.item == item
    assert len(visit.events(ReadingConfirmed)) == saved


def test_rule_12_hold_leaves_a_marker_and_a_cue() -> None:
    """Hold is kept as an event with its item, sounds a cue, and takes no value until carried on."""
    visit = play_until(story(), "cold_pressure").hear("hold")
    assert [e.item for e in visit.events(Held)] == ["cold_pressure"]
    assert Cue("hold") in visit.effects
    visit.hear("one point two bar", "yes")
    assert visit.value("cold_pressure") is None
    visit.hear("carry on")
    assert visit.state.item == "vessel_charge"


def test_rule_13_outside_says_value_limit_consequence_then_wants_a_re_read_and_an_accept() -> None:
    """A value outside its limit is saved only after it was read again and accepted in so many words."""
    visit = play_until(story(), "vessel_charge").hear("nought point four bar")
    for words in ("zero point four bar", "outside the maker's limit", "zero point seven", "Pump up", "Read it again"):
        assert words in visit.said
    visit.hear("yes")
    assert visit.value("vessel_charge") is None
    visit.hear("nought point four bar")
    assert "Yes to record it outside" in visit.said
    assert visit.value("vessel_charge") is None
    visit.hear("yes")
    assert visit.value("vessel_charge") == "0.4"
    assert [e.result for e in visit.events(Judged) if e.item == "vessel_charge"] == ["outside"]
    assert [e.item for e in visit.events(OutsideAccepted)] == ["vessel_charge"]


def test_rule_13_a_re_read_that_is_within_needs_no_accept() -> None:
    """When the second reading is within the limit it goes the usual way."""
    visit = play_until(story(), "vessel_charge").hear("nought point four bar", "nought point seven four bar", "yes")
    assert visit.value("vessel_charge") == "0.74"
    assert not visit.events(OutsideAccepted)


def test_rule_14_timed_waits_are_run_and_announced() -> None:
    """The engine starts a timed wait, says so, and says when it is over; nothing else ends it."""
    visit = play_until(story(skip_waits=False), "let_by_set").hear("gauge set")
    assert isinstance(visit.effects[-1], Wait)
    assert visit.effects[-1].seconds == 60
    assert "1 minute" in visit.said
    visit.hear("carry on", waited_s=20.0)
    assert isinstance(visit.effects[-1], Wait)
    assert visit.effects[-1].seconds == 40
    assert not visit.events(WaitEnded)
    visit.give(WaitOver(40.0))
    assert "1 minute over" in visit.said
    assert [e.seconds for e in visit.events(WaitEnded)] == [60.0]
    assert visit.state.item == "let_by_rise"


def test_rule_14_a_wait_that_is_stopped_does_not_count() -> None:
    """A wait cut short stays open and starts from its beginning."""
    visit = play_until(story(skip_waits=False), "let_by_set").hear("gauge set")
    visit.hear("cancel", waited_s=50.0)
    assert "does not count" in visit.said
    visit.hear("carry on", "yes")
    assert isinstance(visit.effects[-1], Wait)
    assert visit.effects[-1].seconds == 60
    assert len(visit.events(WaitStarted)) == 2


def test_rule_15_the_same_thing_is_said_in_the_same_words() -> None:
    """Everything spoken comes from the plan, the wording file, or a value in words; a prompt asked twice is the
    same."""
    visit = play_until(story(), "cold_pressure")
    first = visit.said
    visit.hear("repeat")
    assert visit.said in first
    again = visit.said
    visit.hear("repeat")
    assert visit.said == again


@pytest.mark.parametrize("name", PLANS)
def test_rule_16_a_prompt_has_at_most_twelve_words(name: str) -> None:
    """No prompt of a plan is longer than twelve words."""
    for item in plan_named(name).items():
        assert len(item.prompt.split()) <= 12, item.prompt


STATES = {
    "asking": ("cold_pressure", ()),
    "proposal": ("cold_pressure", ("one point two bar",)),
    "outside": ("vessel_charge", ("nought point four bar",)),
    "accept": ("vessel_charge", ("nought point four bar", "nought point four bar")),
    "held": ("cold_pressure", ("hold",)),
    "revisit": ("cold_pressure", ("back",)),
    "reason": ("cold_pressure", ("no reading",)),
    "note": ("cold_pressure", ("note",)),
    "finishing": ("cold_pressure", ("finish",)),
    "unsafe": ("cold_pressure", ("i can smell gas",)),
    "unsafe recorded": ("cold_pressure", ("i can smell gas", "yes", "yes", "yes", "at risk", "yes", "loose union")),
    "choice": ("plate_gas", ("natural gas",)),
    "yes or no": ("flue_sound", ()),
    "first item": ("boiler_serial", ()),
}


@pytest.mark.parametrize("command", ["repeat", "back", "hold", "where am i", "cancel"])
@pytest.mark.parametrize("place", STATES)
def test_rule_17_the_five_commands_work_in_every_state(place: str, command: str) -> None:
    """Repeat, back, hold, where am I and cancel are answered in every state, and none of them saves a value."""
    item, lead = STATES[place]
    visit = play_until(story(), item).hear(*lead)
    saved = len(visit.events(ReadingConfirmed))
    visit.hear(command)
    assert visit.said
    assert isinstance(visit.effects[-1], LAST)
    assert len(visit.events(ReadingConfirmed)) == saved


def test_rule_17_the_five_commands_work_during_a_wait() -> None:
    """During a timed wait they are answered too; repeat and where leave the wait running."""
    for command in ("repeat", "where am i", "back", "hold", "cancel"):
        visit = play_until(story(skip_waits=False), "let_by_set").hear("gauge set").hear(command, waited_s=5.0)
        assert visit.said
        assert isinstance(visit.effects[-1], Wait) == (command in ("repeat", "where am i"))


def test_rule_18_a_correction_voids_what_rests_on_it_and_says_so() -> None:
    """Changing an input voids the result worked out from it, works it out again and says it."""
    visit = play_until(story(), "min_rate")
    before = [e for e in visit.events(Computed) if e.item == "co_ratio_max"]
    visit.hear("change C O two at maximum rate to nine point four", "yes")
    voided = [e.item for e in visit.events(Voided)]
    after = [e for e in visit.events(Computed) if e.item == "co_ratio_max"]
    assert voided == ["co_ratio_max"]
    assert len(after) == len(before) + 1
    assert "CO to CO2 ratio at maximum" in visit.said
    assert visit.state.item == "min_rate"


def test_rule_18_readings_that_rest_on_a_changed_one_are_open_again() -> None:
    """The cold pressure is asked again when the vessel's charge is changed, and the engineer is told."""
    visit = play_until(story(), "trap_filled").hear("change vessel charge to nought point eight bar", "yes")
    assert "No longer standing: cold system pressure" in visit.said
    assert visit.state.item == "cold_pressure"


def test_rule_19_every_change_keeps_the_old_value_and_the_reason() -> None:
    """The event of the new value names the event of the old one and why; the old one stays in the state's history."""
    visit = play_until(story(), "cold_pressure").hear("change vessel charge", "nought point eight bar", "yes")
    old, new = (e for e in visit.entries if isinstance(e.event, ReadingConfirmed) and e.event.item == "vessel_charge")
    assert isinstance(new.event, ReadingConfirmed)
    assert new.event.replaces == old.number
    assert new.event.reason == "change"
    assert [v.text for v in visit.state.past["vessel_charge"]] == ["0.75"]
    assert old.time
    assert new.time


def test_rule_20_no_visit_is_complete_with_a_mandatory_item_open() -> None:
    """Ending at any item, whatever is open, never gives a complete visit; only the last item done does."""
    for item in SHORT_VISIT:
        visit = play_until(story(), item).hear("finish", "yes")
        assert visit.stopped
        assert visit.state.finished is not None
        assert not visit.state.finished.complete
        assert item in visit.state.finished.open_items
    done = play_until(story(), None).hear("finish")
    assert done.state.finished == Finished(complete=True)


def test_silence_is_never_a_yes() -> None:
    """However long nothing is said to a read-back, no value is saved."""
    visit = play_until(story(), "cold_pressure").hear("one point two bar")
    for _ in range(12):
        visit.give(Silence(60.0))
    assert visit.value("cold_pressure") is None
    assert len(visit.events(SilenceHeard)) == 12
    assert visit.events(Proposed)


def test_a_decision_ends_in_exactly_one_of_listen_wait_stop() -> None:
    """In every state every command gives one such effect, at the end."""
    for item, lead in STATES.values():
        for command in COMMANDS:
            visit = play_until(story(), item).hear(*lead)
            visit.skip_waits = False
            visit.give(HeardInput(Heard("words", Command(command))))
            assert [isinstance(e, LAST) for e in visit.effects].index(True) == len(visit.effects) - 1


@pytest.mark.parametrize("seed", range(60))
def test_rules_hold_for_a_random_engineer(seed: int) -> None:
    """Nothing is saved without a yes after its read-back, nothing is complete with an item open, replay gives the live
    state."""
    rng = random.Random(seed)
    sim = Simulation(plan_named(rng.choice(PLANS)), the_job(), rng, care=rng.choice([0.3, 0.6, 0.9, 0.97])).run()
    assert sim.watch.wrong == []


def test_the_watch_sees_a_value_saved_without_a_yes() -> None:
    """The check of the random engineer is one that can fail."""
    sim = Simulation(plan_named("short_commissioning"), the_job(), random.Random(1))
    sim.watch.see(Proposed(item="co2_max", read_back="x", readings=({"value": "9.2"},), items=("co2_max",)))
    sim.watch.see(ReadingConfirmed(item="co2_max", quantity="co2", qualifier="maximum", value="9.2", unit="%"))
    sim.watch.see(Said(text="x"))
    assert len(sim.watch.wrong) == 1


def test_the_wording_has_no_long_sentence_without_a_full_stop() -> None:
    """Every sentence that is not filled with an item's own text has at most 16 words."""
    for key, text in templates().items():
        for part in re.split(r"[.?:]", text):
            assert len(part.split()) <= 16, key


def test_chunk_completion_is_an_event_too() -> None:
    """The journal names each chunk closed and what was open in it."""
    visit = play_until(story(), "let_by_set")
    assert [(e.chunk, e.open_items) for e in visit.events(ChunkCompleted)] == [("details", ()), ("water", ())]
