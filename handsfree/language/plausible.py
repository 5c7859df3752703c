"""An outcome and what the step expects in, how likely anybody is to say it there out.

Listeners weigh sounds; this weighs sense. "Ninety" and "nineteen" sound alike, and only one of them is a standing
pressure. The weights are small, so that what was heard clearly stands, however strange: a strange value is asked about,
never replaced.
"""

from __future__ import annotations

from collections.abc import Iterator

from handsfree.language.grammar import Grammar
from handsfree.language.units import NO_UNIT, Quantity
from handsfree.model import Command, Expectation, Outcome, Reading, Readings, Text, Unsure

IMPOSSIBLE = -3.0
"""nats: the value cannot be true, or its unit does not go with what was asked; one such answer in twenty"""
UNUSUAL = -1.0
"""nats: outside the band in which a value asks no question"""


def plausibility(outcome: Outcome, expectation: Expectation, grammar: Grammar) -> float:
    """Logarithm of how likely it is that this is said in answer to the step, against a usual answer: 0 or less, in nats.

    Chosen from counts on tuning material; common practice, no source.
    """
    if isinstance(outcome, Unsure):
        possible = any(not _is_impossible(each, expectation, grammar) for each in outcome.alternatives)
        return 0.0 if possible or not outcome.alternatives else IMPOSSIBLE
    return UNUSUAL if any(_is_unusual(r, expectation, grammar) for r in _readings(outcome)) else 0.0


def _readings(outcome: Outcome) -> tuple[Reading, ...]:
    return outcome.readings if isinstance(outcome, Readings | Command) else ()


def _is_impossible(outcome: Readings | Command | Text, expectation: Expectation, grammar: Grammar) -> bool:
    return any(_is_untrue(r, expectation, grammar) for r in _readings(outcome))


def _is_untrue(reading: Reading, expectation: Expectation, grammar: Grammar) -> bool:
    for quantity in _meant(reading, expectation, grammar):
        if reading.unit and reading.unit != quantity.unit:
            return quantity.unit == NO_UNIT or not grammar.units.fits(reading.unit, quantity.unit)
        low, high = quantity.hard(expectation.gas)
        if quantity.id == expectation.quantity:
            low = low if expectation.low is None else expectation.low
            high = high if expectation.high is None else expectation.high
        return not low <= reading.value <= high
    return False


def _is_unusual(reading: Reading, expectation: Expectation, grammar: Grammar) -> bool:
    for quantity in _meant(reading, expectation, grammar):
        low, high = quantity.typical(expectation.gas)
        return reading.unit in (None, quantity.unit) and not low <= reading.value <= high
    return False


def _meant(reading: Reading, expectation: Expectation, grammar: Grammar) -> Iterator[Quantity]:
    """The quantity that the reading names, else the step's own."""
    named = reading.quantity or expectation.quantity
    if named is not None and named in grammar.quantities:
        yield grammar.quantities[named]
