"""Two values of one boiler, this visit's and that of the visit before, in; whether the change is worth looking into, out.

It compares and reminds; what to make of it is the engineer's. Data, not rules: `trends.toml`.
"""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from importlib import resources


@dataclass(frozen=True, slots=True)
class Trend:
    """How far a quantity may move between visits before it is worth looking into. Bounds that do not apply are None."""

    quantity: str
    unit: str
    rises: Decimal | None
    """in `unit`; more than that upwards"""
    falls: Decimal | None
    """in `unit`; more than that downwards"""
    grows_by: Decimal | None
    """times the value before; as much or more"""
    falls_by: Decimal | None
    """share of the value before; as little or less"""
    least: Decimal
    """in `unit`; a smaller difference never counts with a share"""
    source: str
    sure: str


@functools.cache
def trends() -> Mapping[str, Trend]:
    """Quantity -> its trend, in the file's order."""
    text = resources.files(__package__).joinpath("trends.toml").read_text(encoding="utf-8")
    return {row["quantity"]: _trend(row) for row in tomllib.loads(text)["trend"]}


def _trend(row: Mapping[str, str]) -> Trend:
    def number(key: str) -> Decimal | None:
        value = row.get(key, row.get("moves") if key in ("rises", "falls") else None)
        return None if value is None else Decimal(value)

    return Trend(
        row["quantity"],
        row["unit"],
        number("rises"),
        number("falls"),
        number("grows_by"),
        number("falls_by"),
        number("least") or Decimal(0),
        row["source"],
        row["sure"],
    )


def worth_looking_into(quantity: str, unit: str, before: Decimal, now: Decimal) -> str:
    """Why the change should be looked into, in plain words with the source; empty when it need not be.

    Args:
        unit: of both values; another than the trend's own is not judged.
    """
    trend = trends().get(quantity)
    if trend is None or unit != trend.unit:
        return ""
    change = now - before
    enough = abs(change) >= trend.least
    if trend.rises is not None and change > trend.rises:
        why = f"up by more than {trend.rises:f}"
    elif trend.falls is not None and -change > trend.falls:
        why = f"down by more than {trend.falls:f}"
    elif trend.grows_by is not None and enough and now >= before * trend.grows_by:
        why = f"at least {trend.grows_by:f} times the value before"
    elif trend.falls_by is not None and enough and now <= before * trend.falls_by:
        why = f"down to {trend.falls_by:.0%} of the value before, or less"
    else:
        return ""
    return f"investigate: {why} ({trend.source})"
