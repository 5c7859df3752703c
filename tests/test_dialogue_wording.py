"""How things are said: numbers that cannot be confused, dates, serials, units, the same sentences every time."""

from __future__ import annotations

import re
from decimal import Decimal
from pathlib import Path

import pytest
from dialogue_story import language, plan_named, play_until, story, the_job
from hypothesis import given
from hypothesis import strategies as st

import handsfree.dialogue
from handsfree.dialogue.state import State
from handsfree.dialogue.turn import Turn
from handsfree.dialogue.wording import (
    emergency_steps,
    fill_number,
    holds_number,
    may_be_misheard,
    rounded,
    say_characters,
    say_date,
    say_digits,
    say_seconds,
    say_verdict,
    short_name,
    templates,
    unsafe_questions,
    word,
)
from handsfree.model import Expectation, Reading, Readings

HERE = Path(handsfree.dialogue.__file__).parent


def test_every_sentence_of_the_wording_is_used_and_every_one_used_is_there() -> None:
    """The wording file has no dead sentence, and the code names none that is missing."""
    code = "".join(p.read_text(encoding="utf-8") for p in HERE.glob("*.py"))
    named = set(re.findall(r'"([a-z_]+)"', code))
    assert set(templates()) <= named
    for key in re.findall(r'(?:turn\.say|word)\(\s*"([a-z_]+)"', code):
        assert key in templates()


@pytest.mark.parametrize(
    ("value", "confusable"),
    [
        ("13", True),
        ("30", True),
        ("113", True),
        ("340", True),
        ("30.5", True),
        ("12", False),
        ("20", False),
        ("85", False),
        ("9.2", False),
    ],
)
def test_teens_and_bare_tens_can_be_misheard(value: str, confusable: bool) -> None:
    """Thirteen to nineteen and thirty to ninety, also after hundreds."""
    assert may_be_misheard(Decimal(value)) is confusable


def test_a_teen_is_read_back_digit_by_digit_as_well() -> None:
    """Thirteen comes back as thirteen, one three: it cannot be taken for thirty."""
    visit = play_until(story(), "co_max").hear("thirteen")
    assert "thirteen p p m, one three" in visit.said


def test_a_meter_index_is_read_back_digit_by_digit() -> None:
    """The index comes back in the digits that stand on the meter."""
    visit = play_until(story(), "meter_start").hear("four eight one two three point four five six")
    assert "four eight one two three point four five six" in visit.said


@given(st.decimals(min_value=0, max_value=99999, places=3))
def test_digits_said_are_the_digits(value: Decimal) -> None:
    """What is said digit by digit is understood as the same value with the same digits."""
    outcome = language().understand(say_digits(value), Expectation("number"))
    assert isinstance(outcome, Readings)
    assert format(outcome.readings[0].value, "f") == format(value, "f")


def test_characters_are_said_in_groups_of_three() -> None:
    """Letters by the ICAO alphabet, digits one by one, a pause after three."""
    assert say_characters("QH24815") == "quebec hotel two, four eight one, five"
    assert say_characters("a-1") == "alfa dash one"


@pytest.mark.parametrize(
    ("seconds", "words"), [(1, "1 second"), (60, "1 minute"), (90, "90 seconds"), (300, "5 minutes")]
)
def test_times_are_said_in_whole_units(seconds: float, words: str) -> None:
    """Minutes where they are whole, else seconds."""
    assert say_seconds(seconds) == words


def test_dates_are_said_day_month_year() -> None:
    """British order; a text that is no date stays as it is."""
    assert say_date("2026-11-25") == "25 November 2026"
    assert say_date("soon") == "soon"


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        ("0.000924", "-", "0.0009"),
        ("27.816", "kW", "27.8"),
        ("2.5352", "m3/h", "2.54"),
        ("0.0141", "m3", "0.0141"),
        ("0", "kW", "0.0"),
    ],
)
def test_results_are_said_to_three_figures_and_ratios_to_four_decimals(value: str, unit: str, said: str) -> None:
    """As the trade reads them; the record keeps every digit."""
    assert str(rounded(value, unit)) == said
    assert rounded("2027-11-25", "date") is None


def test_verdicts_are_spoken_with_words_for_numbers_and_units() -> None:
    """No sign or abbreviation is left to the voice."""
    spoken = say_verdict("outside the maker's limit, 8.8 to 9.8 %", language())
    assert spoken == "outside the maker's limit, eight point eight to nine point eight percent"


def test_emergency_steps_come_with_the_number_to_ring() -> None:
    """Natural gas: the emergency number; LPG: the supplier's own where the job has it."""
    assert any("0 8 0 0" in step for step in emergency_steps("smell_of_gas", "ng", None))
    assert any("01 23" in step for step in emergency_steps("smell_of_gas", "lpg", "01 23"))
    assert any("tank or cylinder" in step for step in emergency_steps("smell_of_gas", "lpg", None))
    assert fill_number(("Ring {number}.",), "ng", "01 23") == ("Ring 0 8 0 0, 1 1 1, 9 9 9.",)
    assert "gas off" in emergency_steps("smell_of_gas", "ng", None)[0]


def test_no_question_of_the_unsafe_path_offers_a_class() -> None:
    """The engineer is asked for the class without one being named."""
    for question in unsafe_questions():
        assert not re.search(r"risk|dangerous|immediate", question.ask, re.IGNORECASE)


def test_a_sentence_never_calls_anything_safe() -> None:
    """No sentence of the program says that something is safe."""
    for key, text in templates().items():
        assert not re.search(r"\bsafe\b", text, re.IGNORECASE), key


def test_a_slot_that_is_missing_is_an_error_of_ours() -> None:
    """A sentence is never spoken with a hole in it."""
    with pytest.raises(KeyError):
        word("saved")


@pytest.mark.parametrize(
    ("value", "quantity", "said"),
    [
        ("9.23", "co2", "C O two max, nine point two three percent"),
        ("3320", "sensor_resistance", "sensor, three three two zero ohms"),
        ("0.75", "vessel_charge", "vessel charge, zero point seven five bar"),
        ("13.5", "hot_water_flow", "hot water flow, one three point five litres a minute"),
        ("15", "cold_temperature", "cold water, fifteen degrees, one five"),
        ("200", "co", "C O max, two hundred p p m"),
    ],
)
def test_a_read_back_says_quantity_digits_and_unit_and_no_more(value: str, quantity: str, said: str) -> None:
    """Short name, qualifier, value, unit; digit by digit where a number could be taken for another, or is longer."""
    known = language().quantities[quantity]
    qualifier = "maximum" if quantity in ("co", "co2") else None
    turn = Turn(plan_named("service"), the_job(), language(), State())
    assert turn.say_reading(Reading(Decimal(value), quantity, known.unit, qualifier)) == said


def test_short_names_are_those_of_quantities_and_no_two_are_the_same() -> None:
    """A short name belongs to one quantity."""
    names = [short_name(id, quantity.said) for id, quantity in language().quantities.items()]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize(
    ("text", "slow"),
    [
        ("Read the C O two at maximum.", False),
        ("Flue test point: read the C O two.", False),
        ("Pressure cold, one bar right?", True),
        ("Ring 0 8 0 0.", True),
        ("Nine point two percent.", True),
        ("Quebec hotel two.", True),
        ("Wait two minutes.", True),
    ],
)
def test_a_sentence_with_a_number_is_never_hurried(text: str, slow: bool) -> None:
    """Only what holds no number may be spoken quicker."""
    assert holds_number(text) is slow
