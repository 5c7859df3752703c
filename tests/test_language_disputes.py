"""Phrases that can be misunderstood, and what a careful listener makes of each (`language_disputes.txt`)."""

from __future__ import annotations

import random
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from handsfree.language import load_language
from handsfree.language.samples import expectation_of, outcome_line
from handsfree.language.units import Quantity
from handsfree.model import Command, Expectation, Outcome, Reading, Readings

LANGUAGE = load_language()
TABLE = Path(__file__).with_name("language_disputes.txt")


def groups() -> Iterator[tuple[str, list[tuple[str, str, str]]]]:
    """(heading, rows of words, step, outcome)."""
    for block in TABLE.read_text(encoding="utf-8").split("\n\n")[1:]:
        heading, *lines = block.splitlines()
        rows = (line.split(" | ", 2) for line in lines)
        yield heading.removeprefix("# "), [(words, step, outcome) for words, step, outcome in rows]


GROUPS = dict(groups())


@pytest.mark.parametrize("heading", GROUPS)
def test_what_can_be_disputed_is_asked(heading: str) -> None:
    """A phrase that two listeners could take differently is unsure or nothing; the rest is certain, as it stands there."""
    differing = []
    for words, step, expected in GROUPS[heading]:
        got = outcome_line(LANGUAGE.understand(words, expectation_of(step, LANGUAGE.quantities)))
        if got != expected:
            differing.append((words, step, expected, got))
    assert not differing


def test_the_table_is_large_and_of_both_kinds() -> None:
    """More than a thousand phrases, certain ones and asked ones, under more than twenty headings, none twice."""
    rows = [row for group in GROUPS.values() for row in group]
    assert len(GROUPS) > 20
    assert len(rows) > 1000
    assert len({row[:2] for row in rows}) == len(rows)
    asked = sum(outcome.startswith(("unsure", "nothing")) for _, _, outcome in rows)
    assert 0.3 < asked / len(rows) < 0.9


# ------------------------------------------------------------------------------------------------------------- laws


def certain(outcome: Outcome) -> tuple[Reading, ...]:
    """The readings of a certain outcome; none of any other."""
    return outcome.readings if isinstance(outcome, Readings | Command) else ()


def typical_value(quantity: Quantity, rng: random.Random) -> Decimal:
    steps = int((quantity.typical_high - quantity.typical_low) * 10**quantity.decimals)
    return quantity.typical_low + Decimal(rng.randint(0, min(steps, 10**9))).scaleb(-quantity.decimals)


QUANTITIES = st.sampled_from(sorted(LANGUAGE.quantities))
SEEDS = st.integers(0, 10**9)
CORRECTIONS = [
    "no",
    "sorry",
    "i mean",
    "make that",
    "scrap that",
    "no wait",
    "or",
    "rather",
    "correction",
    "to",
    "er no",
]


@given(QUANTITIES, SEEDS, st.sampled_from(CORRECTIONS), st.booleans(), st.booleans())
def test_two_values_in_one_breath_are_never_one(
    quantity_id: str, seed: int, correction: str, with_unit: bool, expected: bool
) -> None:
    """A value and another behind a word of correction are asked, whatever they are."""
    quantity, rng = LANGUAGE.quantities[quantity_id], random.Random(seed)
    first, second = (LANGUAGE.say_number(typical_value(quantity, rng)) for _ in range(2))
    unit = LANGUAGE.grammar.units.by_id.get(quantity.unit)
    words = f"{first} {correction} {second}{f' {unit.plural}' if unit and with_unit else ''}".lower()
    step = Expectation("quantity", quantity_id) if expected else Expectation()
    assert first == second or not certain(LANGUAGE.understand(words, step)), words


@given(QUANTITIES, SEEDS, st.sampled_from(["er", "um", "erm", "er er", "right", "so", "now"]))
def test_a_hesitation_inside_a_number_never_makes_another(quantity_id: str, seed: int, hesitation: str) -> None:
    """A number with a hesitation inside comes to itself or is asked."""
    quantity, rng = LANGUAGE.quantities[quantity_id], random.Random(seed)
    value = typical_value(quantity, rng)
    words = LANGUAGE.say_number(value).split()
    at = rng.randint(1, len(words))
    said = " ".join([*words[:at], hesitation, *words[at:]])
    found = certain(LANGUAGE.understand(said, Expectation("quantity", quantity_id)))
    assert all(reading.value == value for reading in found), said


@given(
    QUANTITIES,
    SEEDS,
    st.sampled_from(["about", "nearly", "not", "less than", "over", "up to", "maybe", "or so", "ish"]),
)
def test_a_hedge_is_never_dropped(quantity_id: str, seed: int, hedge: str) -> None:
    """A value said with a hedge before or behind it is asked."""
    quantity, rng = LANGUAGE.quantities[quantity_id], random.Random(seed)
    number = LANGUAGE.say_number(typical_value(quantity, rng))
    behind = hedge in ("or so", "ish", "maybe") or rng.random() < 0.2
    words = f"{number} {hedge}" if behind else f"{hedge} {number}"
    assert not certain(LANGUAGE.understand(words, Expectation("quantity", quantity_id))), words


@given(QUANTITIES, SEEDS)
def test_a_lost_end_never_makes_a_fraction(quantity_id: str, seed: int) -> None:
    """A number that breaks off at its point, its "and" or its minus is asked."""
    quantity, rng = LANGUAGE.quantities[quantity_id], random.Random(seed)
    words = LANGUAGE.say_number(typical_value(quantity, rng)).split()
    for at, word in enumerate(words):
        if word in ("point", "and", "minus"):
            broken = " ".join(words[: at + 1])
            assert not certain(LANGUAGE.understand(broken, Expectation("quantity", quantity_id))), broken


GRAMMAR = LANGUAGE.grammar
PHRASES = sorted(
    {
        *(p for c in GRAMMAR.commands for p in (*c.phrases, *c.before, *c.asked)),
        *(n for q in LANGUAGE.quantities.values() for n in (*q.names, *q.shared, *q.zero, *q.heard)),
        *(n for u in GRAMMAR.units.by_id.values() for n in (*u.names, *u.short, *u.heard)),
        *(n for q in GRAMMAR.qualifiers for n in q.names),
        *(*GRAMMAR.fillers, *GRAMMAR.separators, *GRAMMAR.hedges, *GRAMMAR.below, *GRAMMAR.nothing),
        *(*GRAMMAR.numbers.classes, *GRAMMAR.numbers.ordinals, *GRAMMAR.homophones, *GRAMMAR.dates["months"]),
    }
)
STEPS = sorted({*LANGUAGE.quantities, "any", "number", "digits", "letters", "serial", "date", "time", "yes_no"})


@given(st.lists(st.sampled_from(PHRASES), max_size=9), st.sampled_from(STEPS))
@example(["c o two", "nine", "below zero"], "co2")
def test_any_list_of_phrases_is_answered(phrases: list[str], step: str) -> None:
    """No list of phrases and number words raises, whatever is expected; every value of an answer is finite."""
    outcome = LANGUAGE.understand(" ".join(phrases), expectation_of(step, LANGUAGE.quantities))
    assert all(reading.value.is_finite() for reading in certain(outcome))
