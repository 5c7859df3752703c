"""Claims in, minutes and seconds that belong together as one claim out; and clock figures of a stopwatch."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from handsfree.language.numbers import NumberReading
from handsfree.language.pieces import Claim
from handsfree.language.units import Units

_STOPWATCH = re.compile("o?[de](Td?|e|od)")
"""Word classes of "one thirty" and "two oh five": 130 and 205, or what a stopwatch shows as 1:30 and 2:05."""
_MINUTE = 60


def joined_times(claims: Sequence[Claim], units: Units) -> list[Claim]:
    """ "two minutes ten seconds" and "two minutes ten" as one claim, in the smaller unit."""
    joined: list[Claim] = []
    for claim in claims:
        last = joined[-1] if joined else None
        whole = None if last is None else _whole(last, claim, units)
        if whole is None:
            joined.append(claim)
        else:
            joined[-1] = whole
    return joined


def _whole(first: Claim, second: Claim, units: Units) -> Claim | None:
    """The two as one time; None when they are not the parts of one."""
    if len(first.units) != 1 or units.dimension(first.units[0]) != "time" or second.names or second.dimension:
        return None
    if len(first.numbers) != 1 or len(second.numbers) != 1:
        return None
    unit = second.units[0] if len(second.units) == 1 else ""
    if not unit and first.units[0] == "min" and second.numbers[0].form == "cardinal" and not second.short:
        unit = "s"  # "two minutes ten"
    if not unit or units.dimension(unit) != "time" or second.over or (second.parted and not second.units):
        return None
    big, small = units.by_id[first.units[0]].factor, units.by_id[unit].factor
    if (
        big <= small
        or second.numbers[0].value * small >= big
        or min(first.numbers[0].value, second.numbers[0].value) < 0
    ):
        return None
    total = first.numbers[0].value * (big / small) + second.numbers[0].value
    qualifier = second.qualifier or first.qualifier
    return replace(first, numbers=(NumberReading(total, "cardinal"),), units=(unit,), qualifier=qualifier)


def stopwatch_seconds(said: str, number: NumberReading) -> Decimal | None:
    """Seconds, when the figures can also be minutes and seconds as a stopwatch shows them ("one thirty": 90)."""
    if not _STOPWATCH.fullmatch(said) or number.value % 100 >= _MINUTE or number.form == "dropped_point":
        return None
    return number.value // 100 * _MINUTE + number.value % 100
