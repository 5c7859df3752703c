"""A source written in a plan ("item.end - item.start", "job.supply.cv_mj_m3 | 39.5") in, its terms out."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

_SUM = re.compile(r"\s+([+-])\s+")
_REFERENCE = re.compile(r"(item|result|job|visit)\.[A-Za-z0-9_.]+")
_REQUIRE = re.compile(r"^(?P<left>.+?)\s+(?P<op><=|>=|<|>|near)\s+(?P<right>.+?)(?:\s+by\s+(?P<by>[0-9.]+))?$")
VISIT_KEYS = ("visit.date", "visit.gas", "visit.reference_gas")


def references(source: str) -> Iterator[str]:
    """Every reference (item.ID, result.ID, job.KEY, visit.KEY) of a source."""
    for match in _REFERENCE.finditer(source):
        yield match[0]


def value_of(source: str, look_up: Callable[[str], str | None]) -> str | None:
    """The value of a source, or None while something that it needs is missing.

    Args:
        look_up: a reference -> its value as text, or None.
    """
    for choice in source.split("|"):
        if (value := _sum(choice.strip(), look_up)) is not None:
            return value
    return None


def _sum(text: str, look_up: Callable[[str], str | None]) -> str | None:
    parts = _SUM.split(text)
    first = _term(parts[0], look_up)
    if len(parts) == 1 or first is None:
        return first
    total = as_decimal(first)
    if total is None:
        return None
    for sign, part in zip(parts[1::2], parts[2::2], strict=True):
        term = _term(part, look_up)
        amount = None if term is None else as_decimal(term)
        if amount is None:
            return None
        total = total + amount if sign == "+" else total - amount
    return format(total, "f")


def _term(text: str, look_up: Callable[[str], str | None]) -> str | None:
    return look_up(text) if _REFERENCE.fullmatch(text) else text


_SLOT = re.compile(r"\{([^{}|]+)(?:\|([^{}]*))?\}")


def fill_slots(text: str, look_up: Callable[[str], str | None]) -> str:
    """A note with its {job.KEY|words when there is none} filled in."""
    return _SLOT.sub(lambda m: look_up(m[1].strip()) or m[2] or "not given", text)


def as_decimal(text: str) -> Decimal | None:
    """The number, or None where the text is none."""
    try:
        value = Decimal(text)
    except InvalidOperation:
        return None
    return value if value.is_finite() else None


@dataclass(frozen=True, slots=True)
class Comparison:
    """A question's requirement, taken apart."""

    left: str
    op: str
    right: str
    by: Decimal | None

    def holds(self, left: Decimal, right: Decimal) -> bool:
        match self.op:
            case "<=":
                return left <= right
            case ">=":
                return left >= right
            case "<":
                return left < right
            case ">":
                return left > right
            case _:
                return abs(left - right) <= (self.by or Decimal(0))


def comparison(require: str) -> Comparison | None:
    """The requirement taken apart; None when it is not one."""
    match = _REQUIRE.match(require.strip())
    if match is None:
        return None
    by = None if match["by"] is None else as_decimal(match["by"])
    if (match["op"] == "near") != (by is not None):
        return None
    return Comparison(match["left"], match["op"], match["right"], by)
