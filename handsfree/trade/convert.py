"""A value in one unit in, the same in another out. Exact fractions inside: a round trip gives the same digits."""

from __future__ import annotations

import functools
import math
import tomllib
from dataclasses import dataclass
from fractions import Fraction
from importlib import resources

from handsfree.errors import BadInput
from handsfree.trade.given import nearest

LARGEST = 1e12
"""a value beyond it is refused as a slip of the hand"""


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: value in the kind's first unit = value x size + zero."""

    name: str
    kind: str
    size: Fraction
    zero: Fraction
    below_zero: bool


def _fraction(text: str) -> Fraction:
    top, _, bottom = text.partition("/")
    return Fraction(top) / Fraction(bottom or "1")


@functools.cache
def units() -> dict[str, Unit]:
    """Every unit by every name it goes by, from `units.toml`."""
    table = tomllib.loads(resources.files(__package__).joinpath("units.toml").read_text(encoding="utf-8"))
    found: dict[str, Unit] = {}
    for kind, row in table["kind"].items():
        for unit in row["units"]:
            made = Unit(
                unit["names"][0],
                kind,
                _fraction(unit["is"]),
                _fraction(unit.get("zero", "0")),
                row.get("below_zero", False),
            )
            found |= dict.fromkeys(unit["names"], made)
    return found


def find_unit(key: str, text: str) -> Unit:
    """The unit that `text` names: as written, else whatever the case when only one fits.

    Raises:
        BadInput: no such unit, or two that differ by case alone.
    """
    known = units()
    wanted = text.strip().replace(" ", "_").replace("³", "3").replace("°", "deg").replace("µ", "u").replace("Ω", "ohm")
    if wanted in known:
        return known[wanted]
    alike = {known[name] for name in known if name.lower() == wanted.lower()}
    if len(alike) == 1:
        return alike.pop()
    names = sorted({unit.name for unit in (alike or known.values())})
    raise BadInput(f"{key} is {text!r}; it must be one of {', '.join(names)}", nearest(wanted, known))


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """`value` of `from_unit` in `to_unit`. Values to 1e12; negative only where a unit goes below zero.

    Source: definitions of the units, see `units.toml`.

    Raises:
        BadInput: unknown unit, units of different kinds, a value out of range or below absolute zero.
    """
    start, end = find_unit("from", from_unit), find_unit("to", to_unit)
    if start.kind != end.kind:
        raise BadInput(
            f"to is {to_unit!r}, a unit of {end.kind}; {from_unit!r} is a unit of {start.kind}",
            f"name a unit of {start.kind}",
        )
    lowest = -LARGEST if start.below_zero else 0.0
    if not math.isfinite(value) or not lowest <= value <= LARGEST:
        raise BadInput(
            f"value is {value:g} {start.name}; it must be from {lowest:g} to {LARGEST:g} {start.name}",
            "check the value and its unit",
        )
    in_first = Fraction(repr(value)) * start.size + start.zero
    if start.kind == "temperature" and in_first < 0:
        raise BadInput(f"value is {value:g} {start.name}; that is below absolute zero", "read the value again")
    return float((in_first - end.zero) / end.size)
