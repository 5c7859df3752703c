"""Conversations, told as they are held."""

from __future__ import annotations

import random
import tomllib
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from dialogue_engineer import good_answer, work_through
from dialogue_simulation import COMMANDS, Watch
from dialogue_story import SHORT_VISIT, Story, language, plan_named, play_until, story, the_job

from handsfree.dialogue.effects import Faster, Listen, Louder, Quieter, Slower
from handsfree.dialogue.inputs import HeardInput, SoundCameBack, SoundWentAway
from handsfree.dialogue.state import fold
from handsfree.errors import BadInput
from handsfree.events import (
    AnswerConfirmed,
    Computed,
    Finished,
    Judged,
    NotApplicable,
    NoteTaken,
    NotJudged,
    ProposalDropped,
    Questioned,
    ReadAgain,
    ReadingConfirmed,
    SoundLost,
    UnsafeAnswer,
    UnsafeCleared,
    UnsafeDeclared,
    event_from_json,
    event_to_json,
)
from handsfree.model import Command, Expectation, Heard, Reading, Readings, Unsure
from handsfree.plans import Job, job_from_text, plan_from_text
from handsfree.plans.sample_plan import SAMPLE_PLAN


def test_the_short_visit_from_its_first_word_to_its_last() -> None:
    """A whole visit over typed words ends complete, with every result worked out and within its limit."""
    visit = play_until(story(), None).hear("finish")
    assert visit.state.finished == Finished(complete=True)
    results = {e.item: e for e in visit.events(Computed)}
    assert set(results) == {r.id for r in plan_named("short_commissioning").results}
    assert {e.result for e in visit.events(Judged)} == {"within"}


def test_results_agree_with_sums_done_by_hand() -> None:
    """Gas rate, heat input, ratio and installation volume agree with the formulas of the trade reference.

    Sources: 3600 x 0.100 / 142 (volume over time); x 39.5 / 3.6 (calorific value); 0.9004 net over gross (EN 437,
    G20); CO/CO2 = ppm / (% x 10 000); volume 0.009386 m3 and 4 mbar (certification body's pocket guide; Edition 4 as
    quoted by trade summaries).
    """
    visit = play_until(story(), None)
    rows = {e.item: e.results for e in visit.events(Computed)}

    def number(id: str, basis: str | None = None) -> float:
        return next(float(r["value"]) for r in rows[id] if basis is None or r["basis"] == basis)

    assert number("gas_rate") == pytest.approx(3600 * 0.100 / 142, rel=1e-6)
    assert number("heat_input_gross", "gross") == pytest.approx(3600 * 0.100 / 142 * 39.5 / 3.6, rel=1e-4)
    assert number("heat_input_net", "net") == pytest.approx(3600 * 0.100 / 142 * 39.5 / 3.6 * 0.9004, rel=1e-3)
    assert number("co_ratio_max") == pytest.approx(85 / 92_000, rel=1e-6)
    assert number("installation_volume") == pytest.approx(0.009386, rel=1e-4)
    assert number("tightness_limit") == 4.0


def test_a_correction_in_one_breath() -> None:
    """ "no, nine point four" replaces the proposal, is read back, and only its yes saves it."""
    visit = play_until(story(), "co2_max").hear("nine point two", "no nine point four")
    assert "nine point four percent" in visit.said
    assert visit.value("co2_max") is None
    visit.hear("yes")
    assert visit.value("co2_max") == "9.4"


def test_saying_the_same_value_again_is_not_a_yes() -> None:
    """A value repeated is read back again."""
    visit = play_until(story(), "co2_max").hear("nine point two", "nine point two")
    assert visit.value("co2_max") is None
    assert "right?" in visit.said


def test_a_plain_no_asks_again() -> None:
    """No without a value drops the proposal and asks again."""
    visit = play_until(story(), "co2_max").hear("nine point two", "no")
    assert [e.reason for e in visit.events(ProposalDropped)] == ["no"]
    assert plan_named("short_commissioning").item("co2_max").prompt in visit.said


def test_two_readings_in_one_utterance() -> None:
    """ "nine two at max, eight seven at min" is read back whole and saved to both items with one yes."""
    visit = play_until(story(), "co2_max").hear("nine two at max eight seven at min")
    assert "nine point two percent" in visit.said
    assert "eight point seven percent" in visit.said
    assert visit.value("co2_max") is None
    visit.hear("yes")
    assert (visit.value("co2_max"), visit.value("co2_min")) == ("9.2", "8.7")
    assert visit.state.item == "co_max"


def test_a_reading_of_another_quantity_is_not_taken_for_the_one_asked() -> None:
    """A flue temperature in answer to the CO2 prompt is named and not saved."""
    visit = play_until(story(), "co2_max").hear("flue temperature sixty five degrees")
    assert "I asked for CO2 at maximum rate" in visit.said
    assert visit.state.proposal is None


def test_a_killer_item_is_not_jumped_by_a_reading_that_comes_early() -> None:
    """The CO2 cannot be given before the air-inlet test is answered."""
    visit = play_until(story(), "max_rate").hear("C O two nine point two percent")
    assert visit.state.proposal is None
    assert visit.value("co2_max") is None


def test_change_names_the_item_and_asks_when_it_is_not_clear() -> None:
    """A change goes to the item named; a name that fits several is asked; an unknown one is said to be unknown."""
    visit = play_until(story(), "hot_flow").hear("change C O two")
    assert "Which one" in visit.said
    visit.hear("change C O two at minimum rate")
    assert visit.state.item == "co2_min"
    visit.hear("eight point seven", "yes")
    assert visit.value("co2_min") == "8.7"
    assert visit.state.item == "hot_flow"


def test_change_never_goes_forward() -> None:
    """An item that was not asked yet comes when its turn comes."""
    visit = play_until(story(), "cold_pressure").hear("change hot water flow")
    assert "comes later" in visit.said
    assert visit.state.item == "cold_pressure"


def test_an_unsure_hearing_is_asked_in_words() -> None:
    """Two readings that fit are both said; nothing is chosen."""
    visit = play_until(story(), "co_max")
    both = Unsure(
        tuple(Readings((Reading(v, "co", "ppm", "maximum"),)) for v in (Decimal(30), Decimal(13))), "two readings fit"
    )
    visit.give(HeardInput(Heard("thirty", both)))
    assert "thirty" in visit.said
    assert "thirteen" in visit.said
    assert visit.state.proposal is None


def test_no_reading_wants_a_reason_and_a_yes() -> None:
    """ "No access" asks for the reason, reads back, and is kept as an answer of its own, apart from zero."""
    visit = play_until(story(), "vessel_charge").hear("no access", "the cupboard is in front of it")
    assert visit.value("vessel_charge") is None
    visit.hear("yes")
    answer = next(e for e in visit.events(AnswerConfirmed) if e.item == "vessel_charge")
    assert (answer.answer, answer.answer_kind) == ("no_access", "absent")
    assert answer.said_as == "the cupboard is in front of it"


def test_zero_is_a_value() -> None:
    """ "Zero" is saved as a reading, not as no reading."""
    visit = play_until(story(), "let_by_rise").hear("zero", "yes")
    assert visit.value("let_by_rise") == "0"
    assert visit.state.values["let_by_rise"].kind == "quantity"


def test_a_killer_without_a_value_keeps_the_visit_open() -> None:
    """A killer item that could not be read stays open, reason or not."""
    visit = play_until(story(), "air_inlet_o2").hear("not fitted", "there is no test point", "yes")
    assert "stays open" in visit.said
    play_until(visit, None).hear("finish", "yes")
    assert visit.state.finished == Finished(complete=False, open_items=("air_inlet_o2",))


def test_the_voice_stopwatch_takes_the_time_of_the_words() -> None:
    """Two marks give the time between the beginnings of the words, read back like any value."""
    visit = play_until(story(), "rate_time").hear("mark")
    visit.clock_s += 139.0
    visit.hear("mark")
    assert "one four two" in visit.said
    visit.hear("yes")
    saved = next(e for e in visit.events(ReadingConfirmed) if e.item == "rate_time")
    assert (saved.value, saved.how) == ("142.0", "timed by the program")


def test_a_result_outside_is_read_again_and_twice_outside_is_the_unsafe_path() -> None:
    """A ratio outside its limit opens its readings again; outside a second time stops the data dialogue."""
    visit = play_until(story(), "co_max")
    visit.hear("four hundred", "four hundred", "yes")
    assert "outside the trade's limit" in visit.said
    assert [e.items for e in visit.events(ReadAgain)] == [("co2_max", "co_max")]
    visit.hear("nine point two", "yes", "four hundred", "four hundred", "yes")
    assert visit.state.unsafe is not None
    assert "Turn the boiler off." in visit.said
    runs = [e.round for e in visit.events(ReadingConfirmed) if e.item == "co_max"]
    assert runs == [1, 2]


def test_an_analyser_out_of_date_gives_no_verdict() -> None:
    """With the certificate out of date the readings are kept and no combustion verdict is given."""
    answers = {
        **SHORT_VISIT,
        "analyser_until": ("third of march twenty twenty five", "third of march twenty twenty five", "yes"),
    }
    visit = play_until(story(), None, answers)
    judged = {e.item for e in visit.events(Judged)}
    assert not judged & {"air_inlet_o2", "co2_max", "co_max", "co_ratio_max", "co_ratio_min"}
    assert {"co2_max", "co_ratio_max"} <= {e.item for e in visit.events(NotJudged)}
    assert visit.value("co2_max") == "9.2"


def test_correcting_the_certificate_brings_the_verdicts_back() -> None:
    """When the date was misread and is corrected the results are judged."""
    answers = {
        **SHORT_VISIT,
        "analyser_until": ("third of march twenty twenty five", "third of march twenty twenty five", "yes"),
    }
    visit = play_until(story(), "min_rate", answers)
    visit.hear("change analyser certificate date", "third of march twenty twenty seven", "yes")
    assert visit.state.verdict("co_ratio_max") == "within"


def test_a_serial_that_differs_from_the_job_is_asked_about_and_never_changed() -> None:
    """What was read stays what was read; the difference is put as a question."""
    visit = play_until(story(), "boiler_serial").hear("quebec hotel two four eight one six", "yes")
    assert "The job says" in visit.said
    visit.hear("yes")
    assert visit.value("boiler_serial") == "QH24816"
    assert [e.answer for e in visit.events(Questioned)] == ["", "yes"]


def test_readings_that_do_not_go_together_are_asked_about() -> None:
    """Hot water colder than the mains is asked about; "no" goes back to the reading, "yes" lets it stand."""
    visit = play_until(story(), "hot_temp").hear("nine degrees")
    visit = play_until(story(), "cold_temp").hear("thirty five degrees", "yes", "thirty degrees", "yes")
    assert "no warmer than cold" in visit.said
    visit.hear("no")
    assert visit.state.item == "hot_temp"
    visit.hear("forty four degrees", "yes")
    assert visit.state.question is None
    assert visit.value("hot_temp") == "44"


def test_smell_of_gas_stops_everything_at_once() -> None:
    """Emergency steps come first, the proposal is dropped, and no value is taken afterwards."""
    visit = play_until(story(), "cold_pressure").hear("one point two bar", "i can smell gas")
    first = next(e.text for e in visit.effects if hasattr(e, "text"))
    assert "gas off" in first
    assert "0 8 0 0" in visit.said
    assert visit.state.proposal is None
    visit.hear("one point two bar", "yes", "yes", "yes")
    assert visit.value("cold_pressure") is None


@pytest.mark.parametrize("item", list(SHORT_VISIT))
def test_smell_of_gas_works_at_every_item(item: str) -> None:
    """At every item of the visit a smell of gas ends the data dialogue."""
    visit = play_until(story(), item).hear("i can smell gas")
    assert visit.state.unsafe is not None
    assert visit.events(UnsafeDeclared)


def test_the_program_never_classes_and_never_clears() -> None:
    """The class is the engineer's own full words, read back; the situation is cleared only by their explicit yes."""
    visit = play_until(story(), "cold_pressure").hear("i can smell gas", "yes", "yes", "yes")
    assert "immediately" not in visit.said.lower()
    assert "at risk" not in visit.said.lower()
    visit.hear("at risk")
    assert not [e for e in visit.events(UnsafeAnswer) if e.question == "class"]
    visit.hear("yes", "a union was loose")
    answers = {e.question: e.answer for e in visit.events(UnsafeAnswer)}
    assert answers["class"] == "at_risk"
    for words in ("...", "yes", "one point two bar", "repeat", "back", "later"):
        visit.hear(words)
        assert visit.state.unsafe is not None
    visit.hear("carry on", "no")
    assert visit.state.unsafe is not None
    visit.hear("carry on", "yes")
    assert visit.state.unsafe is None
    assert len(visit.events(UnsafeCleared)) == 1
    assert visit.state.unsafe_declared


def test_a_visit_that_ends_unsafe_is_never_complete() -> None:
    """Even with every item answered, an open unsafe situation keeps the visit from being complete."""
    visit = play_until(story(), None).hear("this is unsafe", "finish", "yes")
    assert visit.state.finished is not None
    assert not visit.state.finished.complete


def test_a_denied_smell_of_gas_is_asked_never_dropped() -> None:
    """ "There is no smell of gas" out of turn is asked about."""
    visit = play_until(story(), "cold_pressure").hear("there is no smell of gas")
    assert "smell of gas" in visit.said
    visit.hear("yes")
    assert visit.state.unsafe is not None


def test_a_note_is_kept_unchecked() -> None:
    """A note keeps the words as unchecked and changes nothing else."""
    visit = play_until(story(), "cold_pressure").hear("note the lagging is loose", "note", "pipe clip is missing")
    assert [(e.words, e.checked) for e in visit.events(NoteTaken)] == [
        ("the lagging is loose", False),
        ("pipe clip is missing", False),
    ]
    assert visit.state.item == "cold_pressure"


def test_louder_quieter_slower_are_effects() -> None:
    """The voice is changed by effects; the item stays."""
    for words, effect in (("louder", Louder()), ("quieter", Quieter()), ("slower", Slower()), ("faster", Faster())):
        visit = play_until(story(), "cold_pressure").hear(words)
        assert effect in visit.effects
        assert visit.state.item == "cold_pressure"


def test_the_microphone_lost_and_back() -> None:
    """Losing the sound is said and kept; when it is back the place is said and the same item asked."""
    visit = play_until(story(), "cold_pressure").give(SoundWentAway("unplugged"))
    assert visit.events(SoundLost)
    assert isinstance(visit.effects[-1], Listen)
    visit.give(SoundCameBack())
    assert "cold system pressure" in visit.said


def test_a_cut_drops_the_proposal() -> None:
    """A value that was read back but not confirmed is gone after a cut."""
    visit = play_until(story(), "cold_pressure").hear("one point two bar").cut()
    assert visit.state.proposal is None
    visit.hear("yes", "yes")
    assert visit.value("cold_pressure") is None


def test_resuming_an_unsafe_visit_says_the_steps_again() -> None:
    """After a cut in an unsafe situation the emergency steps come first again."""
    visit = play_until(story(), "cold_pressure").hear("i can smell gas").cut()
    assert "gas off" in visit.said
    assert visit.state.unsafe is not None


def test_resuming_a_finished_visit_stops() -> None:
    """A finished visit stays finished."""
    visit = play_until(story(), None).hear("finish").cut()
    assert visit.stopped


def test_lpg_leaves_out_what_does_not_apply() -> None:
    """On LPG the let-by items and the gas meter are left out, and the supplier's number is the one to ring."""
    text = (
        the_job()
        .text.replace('gas = "ng"', 'gas = "lpg"')
        .replace("[supply]", '[supply]\nsupplier_telephone = "0 1 2 3"')
    )
    text = text.replace("low = 8.8\nhigh = 9.8", "low = 10.0\nhigh = 11.0").replace(
        "low = 8.4\nhigh = 9.4", "low = 9.6\nhigh = 10.6"
    )
    job = job_from_text(text)
    answers = {
        **SHORT_VISIT,
        "plate_gas": ("propane", "yes"),
        "tightness_drop": ("zero", "yes"),
        "co2_max": ("ten point four percent", "yes"),
        "co2_min": ("ten point one percent", "yes"),
    }
    visit = play_until(Story(plan_named("short_commissioning"), job).begin(), None, answers)
    assert not {"let_by_rise", "meter_start", "rate_time"} & set(visit.state.values)
    assert {"let_by_rise", "meter_start"} <= visit.state.left_out
    visit.hear("i can smell gas")
    assert "0 1 2 3" in visit.said


def test_without_a_job_only_the_trades_limits_apply() -> None:
    """An empty job still gives a whole visit; limits are then the trade's."""
    visit = play_until(Story(plan_named("short_commissioning"), Job()).begin(), "vessel_charge")
    visit.hear("nought point six bar", "yes")
    judged = [e for e in visit.events(Judged) if e.item == "vessel_charge"]
    assert judged[0].limit["authority"] == "practice"


def test_start_without_a_visit_started_is_refused() -> None:
    """The caller writes VisitStarted first."""
    visit = story()
    with pytest.raises(BadInput):
        visit.engine.start(replace(visit.state, started=None))


def test_replay_through_the_journals_form_gives_the_same_state() -> None:
    """Events written as JSON and read back fold to the live state."""
    visit = play_until(story(), "hot_flow").hear("i can smell gas", "yes", "no", "carry on")
    again = []
    for entry in visit.entries:
        data = event_to_json(entry.event)
        again.append(replace(entry, event=event_from_json(entry.event.kind, data)))
    assert fold(visit.plan, visit.job, again) == visit.state


def test_every_command_of_the_grammar_has_an_answer() -> None:
    """Every command that the language knows is dealt with: none is met with "I did not catch that"."""
    grammar = tomllib.loads(
        (Path(__file__).parents[1] / "grammars" / "en-GB" / "commands.toml").read_text(encoding="utf-8")
    )
    assert {row["id"] for row in grammar["command"]} == set(COMMANDS)
    for command in COMMANDS:
        visit = play_until(story(), "cold_pressure")
        visit.give(HeardInput(Heard(command, Command(command))))
        assert "did not catch" not in visit.said, command


def adjustable_job() -> Job:
    """The example job on a boiler whose maker allows adjustment, with last year's values."""
    maker = 'adjustable = true\nadjust_order = "maximum first"\nscrew_max = "the brass screw"\nsettle_s = 60\n'
    last = "\n[last_visit]\ndate = 2025-11-20\n[last_visit.values]\nco2_max = 8.9\nco_max = 40\n"
    return job_from_text(the_job().text.replace("registration_days = 30", maker + "registration_days = 30") + last)


def at_combustion(name: str = "commissioning") -> Story:
    visit = Story(plan_named(name), adjustable_job()).begin()
    while visit.state.item != "at_maximum":
        visit.give(HeardInput(Heard("some words", good_answer(visit), start_s=1.0, end_s=2.0)))
    return visit


def test_adjusting_goes_round_until_both_ends_are_inside_in_the_same_round() -> None:
    """An end outside leads to a recheck, a counted adjustment and another round in which both ends are read again."""
    visit = at_combustion().hear("at maximum", "ten point two", "ten point two", "yes", "eighty", "yes", "yes")
    visit.hear("at minimum", "eight point nine", "yes", "twenty", "yes")
    assert visit.state.item == "checked_again"
    visit.hear("inlet pressure nineteen millibar, seals fine")
    assert visit.state.item == "adjust_maximum"
    assert "the brass screw" in visit.said
    visit.hear("two", "yes")
    assert "Round 2" in visit.said
    visit.hear("at maximum", "nine point three", "yes", "seventy", "yes")
    assert visit.state.item == "at_minimum", "the other end is read again, although it was inside before"
    visit.hear("at minimum", "eight point eight", "yes", "eighteen", "yes")
    assert visit.state.item == "sealed_again"
    assert [v.text for v in visit.state.past["co2_max"]] == ["10.2"]


def test_rounds_that_are_used_up_end_on_the_unsafe_path() -> None:
    """After the last round with an end still outside the dialogue stops and the maker is to be rung."""
    visit = at_combustion()
    for _ in range(4):
        visit.hear("at maximum", "ten point two", "ten point two", "yes")
        if visit.state.question is not None:
            visit.hear("yes")
        visit.hear("eighty", "yes")
        if visit.state.question is not None:
            visit.hear("yes")
        visit.hear("at minimum", "eight point nine", "yes", "twenty", "yes", "nothing found", "one", "yes")
    assert visit.state.unsafe is not None
    assert "ring the maker" in visit.said


def test_last_years_values_are_said_as_they_are_needed_and_a_large_change_is_asked_about() -> None:
    """The value of the last visit is spoken with its item; a CO2 far from it is questioned, never changed."""
    visit = at_combustion("service")
    visit.hear("at maximum")
    assert "Last visit: eight point nine percent." in visit.said
    visit.hear("nine point seven", "yes")
    assert "differs by more than nought point five from last year" in visit.said
    visit.hear("yes")
    assert visit.value("co2_max") == "9.7"


def test_every_appliance_of_the_landlord_is_asked_for() -> None:
    """The items of an appliance are asked again for the next one, and each appliance's answers are kept."""
    visit = Story(plan_named("landlord_check"), the_job()).begin()
    for kind, another in (("boiler", "yes"), ("gas fire", "yes"), ("hob", "no")):
        while visit.state.item != "appliance":
            visit.give(HeardInput(Heard("some words", good_answer(visit), start_s=1.0, end_s=2.0)))
        visit.hear(kind, "yes")
        while visit.state.item != "another":
            visit.give(HeardInput(Heard("some words", good_answer(visit), start_s=1.0, end_s=2.0)))
        visit.hear(another)
    assert visit.state.chunk == "close"
    assert [v.text for v in (*visit.state.past["appliance"], visit.state.values["appliance"])] == [
        "boiler",
        "fire",
        "hob",
    ]


def test_a_bare_number_in_another_unit_is_not_taken() -> None:
    """A number without a name but with a unit that the item does not have fits nothing."""
    bar = Readings((Reading(Decimal("1.2"), None, "bar"),))
    visit = play_until(story(), "co_max").give(HeardInput(Heard("one point two bar", bar)))
    assert visit.state.proposal is None


def test_a_result_that_cannot_be_worked_out_is_said_once() -> None:
    """A value that the computation refuses leaves no result; the engineer hears why, once."""
    text = the_job().text.replace('pipes = "9m of 15mm"', 'pipes = "some pipe"')
    visit = Story(plan_named("short_commissioning"), job_from_text(text)).begin()
    assert "cannot be worked out" in visit.said
    play_until(visit, "cold_pressure")
    assert sum("cannot be worked out" in line for line in visit.transcript) == 1


def test_a_shared_note_comes_from_the_messages() -> None:
    """A note that begins with @ is the message of that name."""
    plan = plan_from_text(
        SAMPLE_PLAN.replace(
            'source = "common practice"\n\n[[chunk.item]]\nid = "hot"',
            'note = "@hot"\nsource = "common practice"\n\n[[chunk.item]]\nid = "hot"',
        )
        + '\n[messages]\nhot = "The pipes get hot."\n'
    )
    visit = Story(plan, the_job()).begin().hear("one point two bar", "yes")
    assert "The pipes get hot." in visit.said


def test_the_work_does_not_go_past_a_killer_item_that_is_not_right() -> None:
    """ "Not proved dead" is kept as said, and the item is asked again until it is right."""
    visit = Story(plan_named("service"), the_job()).begin()
    while visit.state.item != "electrics_off":
        visit.give(HeardInput(Heard("some words", good_answer(visit), start_s=1.0, end_s=2.0)))
    visit.hear("no", "yes")
    assert "must be right before the work goes on" in visit.said
    assert visit.state.item == "electrics_off"
    assert [v.text for v in visit.state.past["electrics_off"]] == ["no"]
    visit.hear("yes", "yes")
    assert visit.state.item == "gas_off"


def test_what_led_to_the_unsafe_path_is_tested_again_after_it_is_cleared() -> None:
    """A failed air-inlet test is asked again once the engineer has cleared the situation."""
    visit = play_until(story(), "air_inlet_o2").hear("twenty point two", "twenty point two", "yes")
    assert visit.state.unsafe is not None
    visit.hear("yes", "yes", "yes", "at risk", "yes", "a torn seal", "carry on", "yes")
    assert visit.state.unsafe is None
    assert visit.state.item == "air_inlet_o2"
    assert visit.value("air_inlet_o2") is None
    visit.hear("twenty point nine", "yes")
    assert visit.state.item == "co2_max"


def test_the_trades_own_cross_checks_are_asked_too() -> None:
    """Readings that the trade finds at odds are asked about where the plan has no question of its own."""
    visit = Story(plan_named("commissioning"), the_job()).begin()
    while visit.state.item != "inlet":
        visit.give(HeardInput(Heard("some words", good_answer(visit), start_s=1.0, end_s=2.0)))
    visit.hear("twenty one point five millibar", "yes")
    assert "Inlet pressure reads above the meter's" in visit.said
    visit.hear("yes")
    assert visit.value("inlet") == "21.5"


def test_change_that_goes_to_the_value_confirmed_last() -> None:
    """Without a name, a change goes to the last value, which a yes keeps and a new value replaces."""
    visit = play_until(story(), "cold_pressure").hear("change that")
    assert visit.state.item == "vessel_charge"
    visit.hear("nought point eight bar", "yes")
    assert visit.value("vessel_charge") == "0.8"
    assert visit.state.item == "cold_pressure"


def test_items_of_a_chunk_that_does_not_apply_are_named_as_left_out() -> None:
    """The journal says which items the conditions left out, and why."""
    text = the_job().text.replace('type = "combi"', 'type = "system"')
    visit = work_through(Story(plan_named("commissioning"), job_from_text(text)).begin())
    left = {e.item: e.because for e in visit.events(NotApplicable)}
    assert {"hot_flow", "cold_temp", "hot_temp"} <= set(left)
    assert "job.boiler.type" in left["hot_flow"]


def test_an_item_left_for_later_in_a_loop_that_ended_stays_open() -> None:
    """The end of a loop does not swallow what was left for later inside it."""
    visit = Story(plan_named("landlord_check"), the_job()).begin()
    while visit.state.item != "air_supply":
        visit.give(HeardInput(Heard("some words", good_answer(visit), start_s=1.0, end_s=2.0)))
    visit.hear("later")
    while visit.state.item != "another":
        visit.give(HeardInput(Heard("some words", good_answer(visit), start_s=1.0, end_s=2.0)))
    visit.hear("no")
    assert visit.state.item == "air_supply"
    visit.hear("later")
    while visit.state.item:
        visit.give(HeardInput(Heard("some words", good_answer(visit), start_s=1.0, end_s=2.0)))
    visit.hear("finish", "yes")
    assert visit.state.finished == Finished(complete=False, open_items=("air_supply",))


@pytest.mark.parametrize("seed", range(6))
def test_any_words_whatever_leave_the_dialogue_standing(seed: int) -> None:
    """Words drawn at random from all that the listeners can hear never stop the dialogue, and nothing is saved
    without a yes."""
    rng = random.Random(seed)
    vocabulary = language().vocabulary(Expectation())
    visit = story()
    watch = Watch(visit.plan)
    seen = 0
    for _ in range(150):
        if visit.stopped:
            break
        if rng.random() < 0.4 and visit.state.item in SHORT_VISIT:
            visit.hear(rng.choice(SHORT_VISIT[visit.state.item]))
        else:
            visit.hear(" ".join(rng.choices(vocabulary, k=rng.randint(1, 6))))
        for entry in visit.entries[seen:]:
            watch.see(entry.event)
        seen = len(visit.entries)
    assert watch.wrong == []


def test_a_cause_waits_until_a_result_outside_was_read_again_and_accepted() -> None:
    """A sensor is not blamed on one reading: the readings are taken again, and only an accepted verdict is a cause."""
    visit = Story(plan_named("hot_water_fault"), the_job()).begin()
    visit.hear(
        "no",
        "yes",
        "yes",
        "yes",
        "plate exchanger",
        "yes",
        "lukewarm",
        "yes",
        "eight point zero litres a minute",
        "yes",
    )
    visit.hear("yes", "yes", "no", "yes", "yes", "fifty degrees", "yes", "twelve thousand ohms", "yes")
    assert "Read again: temperature at the sensor; sensor resistance." in visit.said
    assert visit.state.causes == {}
    visit.hear("fifty degrees", "yes", "eleven thousand nine hundred ohms", "yes")
    assert visit.state.causes == {}
    visit.hear("yes")
    assert set(visit.state.causes) == {"sensor_off"}
    assert "Cause: Sensor does not fit its temperature." in visit.said


def test_every_value_is_judged_once_when_nothing_changes() -> None:
    """A verdict is not repeated while its value and limit stand."""
    visit = play_until(story(), None)
    judged = [e.item for e in visit.events(Judged)]
    assert len(judged) == len(set(judged))


def test_a_corrected_certificate_judges_the_readings_too() -> None:
    """Readings taken under an expired certificate are judged once the date is corrected, and one outside is said."""
    answers = {
        **SHORT_VISIT,
        "analyser_until": ("third of march twenty twenty five", "third of march twenty twenty five", "yes"),
        "co2_max": ("ten point two percent", "yes"),
    }
    visit = play_until(story(), "min_rate", answers)
    assert visit.state.verdict("co2_max") == ""
    visit.hear("change analyser certificate date", "third of march twenty twenty seven", "yes")
    assert visit.state.verdict("co2_max") == "outside"
    assert "CO2 at maximum rate: ten point two percent, outside the maker's limit" in visit.said


def test_a_no_can_be_changed_to_a_yes_and_a_yes_never_keeps_a_no() -> None:
    """Looked at again, a yes-or-no question is asked again: the other answer is read back, the same one keeps it."""
    visit = work_through(Story(plan_named("service"), the_job()).begin(), until="lit")
    visit.hear("change leaks")
    assert visit.said == "Leaks: you said no. Any water leak at boiler, pipes, valves?"
    visit.hear("yes")
    assert "Leaks: you say yes, right?" in visit.said
    assert visit.value("leaks") == "no"
    visit.hear("yes")
    assert visit.value("leaks") == "yes"
    assert "Leaks changed: yes, was no." in visit.said
    visit.hear("change leaks", "no")
    assert visit.value("leaks") == "yes"
    visit.hear("yes", "change leaks", "no")
    assert visit.value("leaks") == "no"
    assert visit.state.item == "lit"


def test_after_a_cut_a_no_is_asked_again_in_its_own_words() -> None:
    """Resumed at a question answered no, the same question comes again with the answer, the place and what is next."""
    visit = work_through(Story(plan_named("service"), the_job()).begin(), until="lit")
    visit.hear("change leaks", "no").cut()
    work_through(visit, until="lit")
    visit = play_until(story(), "max_rate").cut()
    assert "Last: smell of gas, no." in visit.said
    assert visit.said.endswith("Again: Is there any smell of gas, anywhere?")
    visit.hear("no")
    assert visit.state.item == "max_rate"


def test_a_part_of_which_nothing_was_asked_is_not_called_complete() -> None:
    """A branch that was not taken says nothing."""
    visit = work_through(Story(plan_named("hot_water_fault"), the_job()).begin())
    assert visit.value("lights") == "no"
    assert "Sensor complete." not in visit.transcript
    assert "Heat complete." not in visit.transcript


def test_a_drop_that_can_be_seen_with_no_movement_is_asked_about() -> None:
    """Without movement the pipework is not tested alone: a drop beyond what can be perceived puts that in question."""
    visit = work_through(Story(plan_named("tightness_test"), the_job()).begin(), until="tightness_drop")
    visit.hear("one point five millibar", "yes", "no")
    assert "yet the gauge did not move. Are both right?" in visit.said
    visit.hear("no")
    assert visit.said == "Movement of the gauge: you said no. Did the gauge move at all?"
    visit.hear("yes", "yes")
    assert visit.state.item == "isolated_set"
