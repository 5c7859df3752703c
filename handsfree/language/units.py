"""A value in one unit in, the same value in another unit out; what quantities and units are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import ROUND_HALF_EVEN, Context, Decimal

from handsfree.model import Gas

NO_UNIT = "-"
"""The unit of a pure number."""


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit and how it is said."""

    id: str
    dimension: str
    """two units convert into one another exactly when they share it"""
    factor: Decimal
    """base unit of the dimension = value * factor"""
    names: tuple[str, ...]
    """spoken forms; the first is for one of it"""
    plural: str
    short: tuple[str, ...] = ()
    """spoken forms that other units share ("mil"): they need a quantity"""
    written: tuple[str, ...] = ()
    heard: tuple[str, ...] = ()
    """what listeners write for it, directly behind a number only"""


@dataclass(frozen=True, slots=True)
class Quantity:
    """Something that is measured."""

    id: str
    unit: str
    said: str
    """how a prompt names it"""
    names: tuple[str, ...]
    """spoken forms that belong to this quantity alone"""
    hard_low: Decimal
    """in `unit`; a value outside is asked again, never taken"""
    hard_high: Decimal
    typical_low: Decimal
    """in `unit`; natural gas where the gas matters"""
    typical_high: Decimal
    decimals: int
    """digits after the point that the usual instrument shows"""
    shared: tuple[str, ...] = ()
    """spoken forms that other quantities have too"""
    zero: tuple[str, ...] = ()
    """phrases that say a measured zero ("no drop")"""
    digit_by_digit: bool = False
    """an index: never read with a point that was not said"""
    written: tuple[str, ...] = ()
    heard: tuple[str, ...] = ()
    """what listeners write for its names"""
    scales: tuple[str, ...] = ()
    """units that the usual instrument changes to by itself"""
    hard_lpg: tuple[Decimal, Decimal] | None = None
    typical_lpg: tuple[Decimal, Decimal] | None = None

    def hard(self, gas: Gas = "ng") -> tuple[Decimal, Decimal]:
        """Lowest and highest value that can be true, in `unit`."""
        return self.hard_lpg if gas == "lpg" and self.hard_lpg else (self.hard_low, self.hard_high)

    def typical(self, gas: Gas = "ng") -> tuple[Decimal, Decimal]:
        """The band in which a value asks no question, in `unit`."""
        return self.typical_lpg if gas == "lpg" and self.typical_lpg else (self.typical_low, self.typical_high)


@dataclass(frozen=True, slots=True)
class Units:
    """All units, with conversion."""

    by_id: Mapping[str, Unit] = field(default_factory=dict)

    def dimension(self, unit: str) -> str:
        """Dimension of a unit id; empty for NO_UNIT."""
        return "" if unit == NO_UNIT else self.by_id[unit].dimension

    def fits(self, unit: str, other: str) -> bool:
        """Whether a value in `unit` can be given in `other`."""
        return unit == other or (self.dimension(unit) == self.dimension(other) != "")

    def convert(self, value: Decimal, unit: str, to: str) -> Decimal:
        """The value in `to`.

        Between units that differ by a power of ten the digits stay; otherwise the result has one significant digit
        more than was spoken (at least four), so that converting back gives the spoken value.

        Raises:
            ValueError: the units measure different things.
        """
        if unit == to:
            return value
        if not self.fits(unit, to):
            raise ValueError(f"{unit} cannot be given in {to}")
        ratio = self.by_id[unit].factor / self.by_id[to].factor
        exponent = ratio.adjusted()
        if ratio == Decimal(1).scaleb(exponent):
            return _without_exponent(value.scaleb(exponent))
        digits = max(4, len(value.as_tuple().digits) + 1)
        return _without_exponent((value * ratio).normalize(Context(prec=digits, rounding=ROUND_HALF_EVEN)))


def _without_exponent(value: Decimal) -> Decimal:
    return value.quantize(Decimal(1)) if int(value.as_tuple().exponent) > 0 else value
