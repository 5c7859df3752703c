"""How likely an outcome is in answer to a step."""

from __future__ import annotations

import random
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.language import load_language
from handsfree.language.plausible import IMPOSSIBLE, UNUSUAL
from handsfree.model import Expectation, Nothing, Reading, Readings, Unsure

LANGUAGE = load_language()
QUANTITIES = sorted(LANGUAGE.quantities)


def weight(words: str, quantity: str | None, **more: object) -> float:
    expectation = Expectation("quantity" if quantity else "any", quantity, **more)  # type: ignore[arg-type]
    return LANGUAGE.plausibility(LANGUAGE.understand(words, expectation), expectation)


@pytest.mark.parametrize(
    ("words", "quantity", "expected"),
    [
        ("nine point two percent", "co2", 0.0),
        ("ninety percent", "co2", IMPOSSIBLE),
        ("nine point two bar", "co2", IMPOSSIBLE),
        ("two and a half hours", "mains_pressure", IMPOSSIBLE),
        ("two and a half bar", "mains_pressure", 0.0),
        ("five point oh percent", "co2", UNUSUAL),
        ("system pressure one point two bar", "co2", 0.0),
        ("system pressure ninety bar", "co2", IMPOSSIBLE),
        ("one point two bar", None, 0.0),
        ("yes", "co2", 0.0),
        ("smell of gas", "co2", 0.0),
    ],
)
def test_sense_is_weighed(words: str, quantity: str | None, expected: float) -> None:
    """A usual value, a command and another quantity's usual value weigh nothing against; an unusual value a little; one
    that cannot be, or a unit that does not go with what was asked, more."""
    assert weight(words, quantity) == expected


def test_the_weights_are_small_and_the_impossible_weighs_more() -> None:
    """What was heard clearly (some ten nats) stands against both."""
    assert -5 < IMPOSSIBLE < UNUSUAL < 0


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_bounds_belong_to_what_is_usual_and_to_what_can_be(quantity: str) -> None:
    """A value on a typical bound is usual, one beyond it unusual; one on a hard bound can be true, one beyond cannot."""
    known, expectation = LANGUAGE.quantities[quantity], Expectation("quantity", quantity)

    def plain(value: Decimal) -> float:
        return LANGUAGE.plausibility(Readings((Reading(value, quantity, known.unit),)), expectation)

    def asked(value: Decimal, unit: str | None = None) -> float:
        reading = Readings((Reading(value, quantity, unit or known.unit),))
        return LANGUAGE.plausibility(Unsure((reading,), "asked"), expectation)

    little = Decimal("0.001")
    assert [plain(v) for v in known.typical()] == [0.0, 0.0]
    assert [plain(known.typical_low - little), plain(known.typical_high + little)] == [UNUSUAL, UNUSUAL]
    assert [asked(v) for v in known.hard()] == [0.0, 0.0]
    assert [asked(known.hard_low - little), asked(known.hard_high + little)] == [IMPOSSIBLE, IMPOSSIBLE]
    assert asked(known.typical_low, "kg" if known.unit != "kg" else "bar") == IMPOSSIBLE


def test_a_question_without_alternatives_weighs_nothing() -> None:
    """Nothing is known against it."""
    assert LANGUAGE.plausibility(Unsure((), "other words were said"), Expectation("quantity", "co2")) == 0.0


def test_the_steps_own_bounds_count() -> None:
    """A value outside the bounds of the step is as impossible as one outside those of its quantity."""
    assert weight("one point two bar", "system_pressure") == 0.0
    assert weight("one point two bar", "system_pressure", high=Decimal("1.0")) == IMPOSSIBLE


def test_a_gas_has_its_own_bounds() -> None:
    """What is usual for LPG is not unusual there."""
    assert weight("thirty seven millibar", "standing_pressure", gas="lpg") == 0.0
    assert weight("thirty seven millibar", "standing_pressure", gas="ng") < 0.0


@given(seed=st.integers(0, 10**6), quantity=st.sampled_from(QUANTITIES))
def test_nothing_that_is_accepted_counts_as_impossible(seed: int, quantity: str) -> None:
    """Whatever is sampled from the grammar weighs 0 or less, and only what is asked about weighs as impossible: a value
    that would be taken is at most unusual."""
    expectation = Expectation("quantity", quantity)
    words, outcome = LANGUAGE.sample(random.Random(seed), expectation)
    found = LANGUAGE.plausibility(outcome, expectation)
    assert found in (0.0, UNUSUAL, IMPOSSIBLE), words
    assert found != IMPOSSIBLE or isinstance(outcome, Unsure), words
    assert found != UNUSUAL or not isinstance(outcome, Unsure | Nothing), words
    assert isinstance(outcome, Readings) or found != UNUSUAL or hasattr(outcome, "readings")
