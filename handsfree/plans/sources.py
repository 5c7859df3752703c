"""A source written in a plan ("item.end - item.start", "job.supply.cv_mj_m3 | 39.5") in, its terms out."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import cache

_SUM = re.compile(r"\s+([+-])\s+")
_REFERENCE = re.compile(r"(item|result|job|visit)\.[A-Za-z0-9_.]+")
_REQUIRE = re.compile(r"^(?P<left>.+?)\s+(?P<op><=|>=|<|>|near)\s+(?P<right>.+?)(?:\s+by\s+(?P<by>[0-9.]+))?$")
VISIT_KEYS = ("visit.date", "visit.gas", "visit.reference_gas")


@cache
def references(source: str) -> tuple[str, ...]:
    """Every reference (item.ID, result.ID, job.KEY, visit.KEY) of a source."""
    return tuple(match[0] for match in _REFERENCE.finditer(source))


def value_of(source: str, look_up: Callable[[str], str | None]) -> str | None:
    """The value of a source, or None while something that it needs is missing.

    Args:
        look_up: a reference -> its value as text, or None.
    """
    for first, rest in _taken_apart(source):
        if (value := _sum(first, rest, look_up)) is not None:
            return value
    return None


@dataclass(frozen=True, slots=True)
class _Term:
    """One term of a sum."""

    text: str
    is_reference: bool

    def value(self, look_up: Callable[[str], str | None]) -> str | None:
        return look_up(self.text) if self.is_reference else self.text


@cache
def _taken_apart(source: str) -> tuple[tuple[_Term, tuple[tuple[str, _Term], ...]], ...]:
    """The choices of a source, each as its first term and the signed ones after it: a plan has a few dozen sources, and
    each is asked for at every step of a visit."""
    choices = []
    for choice in source.split("|"):
        parts = _SUM.split(choice.strip())
        terms = [_Term(part, _REFERENCE.fullmatch(part) is not None) for part in parts[::2]]
        choices.append((terms[0], tuple(zip(parts[1::2], terms[1:], strict=True))))
    return tuple(choices)


def _sum(first: _Term, rest: tuple[tuple[str, _Term], ...], look_up: Callable[[str], str | None]) -> str | None:
    value = first.value(look_up)
    if not rest or value is None:
        return value
    total = as_decimal(value)
    if total is None:
        return None
    for sign, term in rest:
        text = term.value(look_up)
        amount = None if text is None else as_decimal(text)
        if amount is None:
            return None
        total = total + amount if sign == "+" else total - amount
    return format(total, "f")


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


@cache
def comparison(require: str) -> Comparison | None:
    """The requirement taken apart; None when it is not one."""
    match = _REQUIRE.match(require.strip())
    if match is None:
        return None
    by = None if match["by"] is None else as_decimal(match["by"])
    if (match["op"] == "near") != (by is not None):
        return None
    return Comparison(match["left"], match["op"], match["right"], by)
