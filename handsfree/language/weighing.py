"""A claim and what the step expects in, the readings that fit and those that do not out, each with its reason."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from handsfree.language.durations import stopwatch_seconds
from handsfree.language.grammar import Grammar
from handsfree.language.numbers import NumberReading
from handsfree.language.pieces import Claim
from handsfree.language.units import NO_UNIT, Quantity
from handsfree.model import Expectation, Reading, decimal_string

_PLACES_BEHIND_A_LEADING_ZERO = 4
"""Digits that a value below one may show whose point was dropped ("double oh one two")."""

SAID_AGAIN = "it may be one number said again"
_FAR = 10
"""A value without its unit that is so many times smaller than any typical one is asked."""


@dataclass(slots=True)
class Weighed:
    """A claim held against quantities."""

    fitting: list[Reading] = field(default_factory=list)
    refused: list[Reading] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)
    """why those were refused"""
    doubts: list[str] = field(default_factory=list)
    """why even a single fitting one is not certain"""


class Scales:
    """Weighs the claims of one language."""

    def __init__(self, grammar: Grammar) -> None:
        self._quantities = grammar.quantities
        self._units = grammar.units
        self._alike = grammar.alike
        self._pairs = dict(grammar.pairs)

    def name_pair(self, claims: Sequence[Claim], expectation: Expectation) -> str:
        """Name two nameless values said one "over" the other ("sixty five over forty eight": flow, return).

        Returns:
            A doubt when the first, which should be the higher, is the lower; else nothing.
        """
        if len(claims) != 2 or not claims[1].over or any(c.names or c.either or c.dimension for c in claims):
            return ""
        for first, second in self._pairs.items():
            if expectation.quantity in (None, first, second):
                claims[0].names, claims[1].names = (first,), (second,)
                lower = claims[0].numbers[0].value < claims[1].numbers[0].value
                return f"{self._said(first)} is the lower of the two" if lower else ""
        return ""

    def weigh(
        self, claim: Claim, expectation: Expectation, before: Claim | None = None, expected_is_named: bool = False
    ) -> Weighed:
        """What the claim can mean.

        Args:
            before: the claim said just before it in the same utterance.
            expected_is_named: another claim of the utterance names the step's quantity.
        """
        weighed = Weighed()
        if claim.either:
            for quantity, numbers in claim.either:
                self._against(claim, numbers, quantity or self._expected(expectation, claim), expectation, weighed)
            return weighed
        names: Sequence[str | None] = claim.names
        if len(names) > 1:
            names = self._shared(claim, expectation)
        elif not names:
            names = (self._unnamed(claim, expectation, before, weighed),)
        for quantity in names:
            self._against(claim, claim.numbers, quantity, expectation, weighed)
        if len(names) > 1 and len(weighed.fitting) == 1 and not self._usual(weighed.fitting[0], expectation):
            weighed.doubts.append("the name fits several quantities")
        if len(claim.names) == 1 and expectation.quantity not in (None, claim.names[0]) and not expected_is_named:
            self._sounds_like_expected(claim, expectation, weighed)
        return weighed

    def _usual(self, reading: Reading, expectation: Expectation) -> bool:
        """Whether a reading lies in the typical band of its quantity."""
        low, high = self._quantities[reading.quantity or ""].typical(expectation.gas)
        return low <= reading.value <= high

    def _is_far_below(self, reading: Reading, expectation: Expectation) -> bool:
        """Whether a reading lies so far below the typical band that a part left out, or another unit, is likelier.

        Never above it: parts are lost, none are added, and a dangerous reading is not to be held up.
        """
        low, _ = self._quantities[reading.quantity or ""].typical(expectation.gas)
        return 0 < reading.value * _FAR < low

    def _sounds_like_expected(self, claim: Claim, expectation: Expectation, weighed: Weighed) -> None:
        """The name of another quantity may be a slip of the ear: asked when the step's own would fit too."""
        named, expected = claim.names[0], expectation.quantity
        name = " ".join(claim.name)
        if any(named in group and expected in group and name not in clear for group, clear in self._alike):
            other = Weighed()
            self._against(claim, claim.numbers, expected, expectation, other)
            if other.fitting:
                weighed.doubts.append(f"{self._said(named)} sounds like {self._said(expected)}")
                weighed.fitting += other.fitting

    def _expected(self, expectation: Expectation, claim: Claim) -> str | None:
        """The step's quantity, unless a generic name or nothing of it fits the claim's dimension."""
        quantity = expectation.quantity
        if quantity is not None and claim.dimension:
            return quantity if self._dimension_of(quantity) == claim.dimension else None
        return quantity

    def _unnamed(self, claim: Claim, expectation: Expectation, before: Claim | None, weighed: Weighed) -> str | None:
        expected = self._expected(expectation, claim)
        if before is None:
            return expected
        names = before.names if len(before.names) < 2 else self._shared(before, expectation)
        if claim.over and len(names) == 1 and names[0] in self._pairs:
            return self._pairs[names[0]]
        if claim.qualifier is None or claim.qualifier == before.qualifier:
            weighed.doubts.append("two values were said and only one is asked")
        return names[0] if len(names) == 1 else expected

    def _shared(self, claim: Claim, expectation: Expectation) -> Sequence[str | None]:
        """Quantities that a shared name may mean: the step's own if it is one of them, else those that the unit
        allows."""
        if expectation.quantity in claim.names and self._unit_options(claim, self._quantities[expectation.quantity]):
            return (expectation.quantity,)
        return tuple(n for n in claim.names if self._unit_options(claim, self._quantities[n])) or claim.names

    def _dimension_of(self, quantity: str) -> str:
        return self._units.dimension(self._quantities[quantity].unit)

    def _said(self, quantity: str | None) -> str:
        return self._quantities[quantity].said if quantity else "the value"

    def _unit_options(self, claim: Claim, quantity: Quantity) -> tuple[str, ...]:
        """Units that the claim may be in for this quantity; empty when the spoken one does not go with it."""
        if not claim.units and not claim.short:
            return (quantity.unit,)
        fits = self._units.fits
        options = tuple(u for u in claim.units + claim.short if quantity.unit != NO_UNIT and fits(u, quantity.unit))
        if quantity.unit in options:
            return (quantity.unit,)
        if not options and claim.qualifier_or_unit and claim.qualifier is None:
            return (quantity.unit,)
        return options

    def _against(
        self,
        claim: Claim,
        numbers: Sequence[NumberReading],
        quantity_id: str | None,
        expectation: Expectation,
        weighed: Weighed,
    ) -> None:
        if quantity_id is None:
            self._without_quantity(claim, numbers, expectation, weighed)
            return
        quantity = self._quantities[quantity_id]
        units = self._unit_options(claim, quantity)
        if not units:
            unit = (claim.units + claim.short)[0]
            name = self._units.by_id[unit].plural
            weighed.refused += [Reading(n.value, None, unit, claim.qualifier) for n in numbers[:1]]
            weighed.reasons.append(f"{name} does not go with {quantity.said}")
            return
        own = expectation.quantity == quantity_id
        qualifier = claim.qualifier or (expectation.qualifier if own else None)
        if claim.qualifier is None and claim.qualifier_or_unit and not self._spoken_fits(claim, quantity):
            qualifier = claim.qualifier_or_unit
        low, high = self._range(quantity, expectation)
        spoken_unit = units[0] if claim.units or claim.short else quantity.unit
        for number in self._plausible(numbers, quantity, spoken_unit, low, high):
            reading = self._reading(number.value, spoken_unit, quantity, qualifier)
            if not low <= reading.value <= high:
                weighed.refused.append(reading)
                bounds = f"{decimal_string(low)} to {decimal_string(high)}"
                weighed.reasons.append(f"{decimal_string(reading.value)} is outside {bounds} for {quantity.said}")
            else:
                weighed.fitting.append(reading)
                if number.form == "dropped_point" and ("D" in claim.said or not self._usual(reading, expectation)):
                    weighed.doubts.append("a point may have been left out")
                if number.form == "groups":
                    weighed.doubts.append("single digits or one number")
        for reason, value, unit in self._otherwise(claim, numbers, quantity, spoken_unit, weighed, expectation):
            reading = self._reading(value, unit, quantity, qualifier)
            if low <= reading.value <= high and reading not in weighed.fitting:
                weighed.fitting.append(reading)
                weighed.doubts.append(reason)
        if not (claim.units or claim.short) and any(self._is_far_below(r, expectation) for r in weighed.fitting):
            weighed.doubts.append("no unit was said, and that is far below the usual")

    def _reading(self, value: Decimal, unit: str, quantity: Quantity, qualifier: str | None) -> Reading:
        if unit == quantity.unit:
            return Reading(value, quantity.id, unit, qualifier)
        converted = self._units.convert(value, unit, quantity.unit)
        return Reading(converted, quantity.id, quantity.unit, qualifier, value, unit)

    def _otherwise(
        self,
        claim: Claim,
        numbers: Sequence[NumberReading],
        quantity: Quantity,
        unit: str,
        weighed: Weighed,
        expectation: Expectation,
    ) -> Iterator[tuple[str, Decimal, str]]:
        """(reason to ask, value, unit): what the words can mean beside their plain sense."""
        plain = numbers[0]
        if unit == "s" and (seconds := stopwatch_seconds(claim.said, plain)) is not None:
            yield "seconds, or minutes and seconds", seconds, unit
        if said_again(claim) and not quantity.digit_by_digit:
            point_left_out = any(r.value != plain.value for r in weighed.fitting)
            if len(claim.words) == 2 or point_left_out:
                yield SAID_AGAIN, plain.value % 10 if plain.form == "digits" else plain.value % 100, unit
        if not claim.units and not claim.short:
            fits = self._units.fits
            for other in claim.sounds_like:
                if fits(other, quantity.unit):
                    yield f"{self._units.by_id[other].plural} may have been said", plain.value, other
            if not all(self._usual(r, expectation) for r in weighed.fitting):
                for other in quantity.scales:
                    yield (
                        f"{self._units.by_id[quantity.unit].plural} or {self._units.by_id[other].plural}",
                        plain.value,
                        other,
                    )

    def _spoken_fits(self, claim: Claim, quantity: Quantity) -> bool:
        return any(quantity.unit != NO_UNIT and self._units.fits(u, quantity.unit) for u in claim.units + claim.short)

    def _range(self, quantity: Quantity, expectation: Expectation) -> tuple[Decimal, Decimal]:
        low, high = quantity.hard(expectation.gas)
        if expectation.quantity == quantity.id:
            if expectation.low is not None:
                low = expectation.low
            if expectation.high is not None:
                high = expectation.high
        return low, high

    def _plausible(
        self, numbers: Sequence[NumberReading], quantity: Quantity, unit: str, low: Decimal, high: Decimal
    ) -> Sequence[NumberReading]:
        """The number as said, and the readings with a dropped point that an instrument of this quantity can show.

        Never for an index, which is said digit by digit, nor in a unit that is not the quantity's own.
        """
        if len(numbers) == 1:
            return numbers
        if quantity.digit_by_digit or unit != quantity.unit:
            return [n for n in numbers if n.form != "dropped_point"]
        most = max(quantity.decimals, _PLACES_BEHIND_A_LEADING_ZERO if _leading_zero(numbers) else 0)
        possible = [
            n
            for n in numbers
            if n.form != "dropped_point" or (low <= n.value <= high and -int(n.value.as_tuple().exponent) <= most)
        ]
        if len(possible) > 1 and not low <= possible[0].value <= high:
            del possible[0]
        return possible

    def _without_quantity(
        self, claim: Claim, numbers: Sequence[NumberReading], expectation: Expectation, weighed: Weighed
    ) -> None:
        """A value of which nobody said what it measures: kept with its unit, for whoever asked for a bare number."""
        units: Sequence[str | None] = claim.units[:1] or claim.short or (None,)
        if not claim.units and claim.short:
            weighed.doubts.append("the unit is short for several")
        if claim.dimension and claim.units and self._units.dimension(claim.units[0]) != claim.dimension:
            weighed.doubts.append("name and unit do not go together")
        if expectation.quantity and claim.dimension:
            weighed.doubts.append(f"{self._said(expectation.quantity)} is asked")
        if numbers[0].form == "groups":
            weighed.doubts.append("single digits or one number")
        if said_again(claim) and numbers[0].form == "pair":
            weighed.doubts.append(SAID_AGAIN)
        for number in self._two_ways(numbers):
            for unit in units:
                reading = Reading(number.value, None, unit, claim.qualifier)
                if outside := outside_step(number.value, expectation):
                    weighed.refused.append(reading)
                    weighed.reasons.append(outside)
                else:
                    weighed.fitting.append(reading)
                if number.form == "ordinal" and expectation.kind != "number":
                    weighed.doubts.append("an ordinal is no measured value")

    def _two_ways(self, numbers: Sequence[NumberReading]) -> Sequence[NumberReading]:
        """Two digits in a row may be a number with its point dropped; longer rows and "one twenty" are read as said."""
        if len(numbers) > 1 and numbers[1].form == "dropped_point":
            two_digits = numbers[0].form == "digits" and len(numbers) == 2 + _leading_zero(numbers)
            return numbers if two_digits or numbers[0].form == "groups" else numbers[:1]
        return numbers


def said_again(claim: Claim) -> bool:
    """ "nine nine", "ten ten": 99 and 1010, or one number and the same again."""
    return len(claim.words) > 1 and len(set(claim.words)) == 1


def _leading_zero(numbers: Sequence[NumberReading]) -> bool:
    """Whether the digits began with a zero: then the point may have been dropped in front of it too."""
    return len(numbers) > 1 and numbers[1].form == "dropped_point" and abs(numbers[1].value) < 1


def outside_step(value: Decimal, expectation: Expectation) -> str:
    """Why a bare number cannot be the answer to a step without a quantity; empty when it can."""
    low, high = expectation.low, expectation.high
    if expectation.quantity is not None or (low is None and high is None):
        return ""
    if low is not None and value < low:
        return f"{decimal_string(value)} is below {decimal_string(low)}"
    if high is not None and value > high:
        return f"{decimal_string(value)} is above {decimal_string(high)}"
    return ""
