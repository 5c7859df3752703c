"""A value and a limit in, a verdict in plain words out. Limits are data, looked up by the day of the visit.

Order of authority: the maker's own data (a `Limit` with authority "maker", made by `maker_limit`), then the trade's
published default, then common practice; the last two stand in `limits.toml`. A verdict never says that anything is
safe.
"""

from __future__ import annotations

import datetime
import functools
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from importlib import resources
from typing import Literal

from handsfree.errors import BadInput
from handsfree.model import Gas, Limit, Verdict, decimal_string
from handsfree.trade.given import nearest
from handsfree.trade.tightness import EDITION_4_FROM, permissible_drop_mbar, tables

_WHOSE = {"maker": "the maker's limit", "trade": "the trade's limit", "practice": "common practice"}
_TIMED_UNITS = {"m3/h", "ft3/h", "kW", "kg/h"}
"""units of results that come from a timed run: a longer run narrows the spread"""


@dataclass(frozen=True, slots=True)
class LimitRow:
    """A limit with the days it is in force and what it is for."""

    limit: Limit
    about: str
    quantity: str | None
    gas: str | None
    qualifier: str | None
    first: datetime.date
    last: datetime.date


@functools.cache
def limit_rows() -> tuple[LimitRow, ...]:
    """Every limit of `limits.toml`, in the file's order."""
    return read_limits(resources.files(__package__).joinpath("limits.toml").read_text(encoding="utf-8"))


def read_limits(text: str) -> tuple[LimitRow, ...]:
    """The limits of a text laid out like `limits.toml`, in its order."""
    return tuple(_row(row) for row in tomllib.loads(text)["limit"])


def _row(row: Mapping[str, str | bool | datetime.date]) -> LimitRow:
    def text(key: str) -> str | None:
        value = row.get(key)
        return None if value is None else str(value)

    def bound(key: str) -> Decimal | None:
        value = row.get(key)
        return None if value is None else Decimal(str(value))

    def day(key: str, default: datetime.date) -> datetime.date:
        value = row.get(key, default)
        assert isinstance(value, datetime.date)
        return value

    limit = Limit(
        id=str(row["id"]),
        unit=str(row["unit"]),
        low=bound("low"),
        high=bound("high"),
        low_strict=bool(row.get("low_strict", False)),
        high_strict=bool(row.get("high_strict", False)),
        authority=str(row["authority"]),
        source=str(row["source"]),
        sure=str(row["sure"]),
    )
    return LimitRow(
        limit,
        str(row["about"]),
        text("quantity"),
        text("gas"),
        text("qualifier"),
        day("from", datetime.date.min),
        day("to", datetime.date.max),
    )


def limit_ids() -> tuple[str, ...]:
    """Every id that `trade_limit` knows."""
    return tuple(dict.fromkeys(row.limit.id for row in limit_rows()))


@functools.cache
def _rows_by_id() -> Mapping[str, tuple[LimitRow, ...]]:
    return {id: tuple(row for row in limit_rows() if row.limit.id == id) for id in limit_ids()}


def trade_limit(id: str, on: datetime.date) -> Limit:
    """The trade's limit of this id as in force on a day.

    Raises:
        BadInput: no such limit, or none in force on that day.
    """
    rows = _rows_by_id().get(id)
    if rows is None:
        raise BadInput(f"there is no limit {id!r}; there are {', '.join(limit_ids())}", nearest(id, limit_ids()))
    for row in rows:
        if row.first <= on <= row.last:
            return row.limit
    days = ", ".join(f"{row.first} to {row.last}" for row in rows)
    raise BadInput(f"limit {id} is not in force on {on}; it is from {days}", "check the date of the visit")


def limit_of(quantity: str, gas: Gas, qualifier: str | None, on: datetime.date) -> Limit | None:
    """The trade's limit for a reading of this quantity (id, gas, qualifier) on a day; None where the trade has none."""
    for row in limit_rows():
        fits = row.quantity == quantity and row.gas in (None, gas) and row.qualifier in (None, qualifier)
        if fits and row.first <= on <= row.last:
            return row.limit
    return None


def maker_limit(
    id: str,
    unit: str,
    low: Decimal | None = None,
    high: Decimal | None = None,
    *,
    high_strict: bool = False,
    source: str = "maker's data of this job",
) -> Limit:
    """A limit out of the maker's data for the model. It goes before the trade's.

    Raises:
        BadInput: no bound at all, or low above high.
    """
    if low is None and high is None:
        raise BadInput(f"the maker's limit {id} has neither low nor high", "give at least one bound")
    if low is not None and high is not None and low > high:
        raise BadInput(f"the maker's limit {id} has low {low} above high {high}", "swap the bounds")
    return Limit(id, unit, low, high, False, high_strict, "maker", source, "published")


def around_plate(
    id: str, unit: str, nominal: Decimal, below_pct: Decimal = Decimal(5), above_pct: Decimal = Decimal(5)
) -> Limit:
    """A band around a number on the maker's plate, by default 5 % either side.

    Source: common practice for the heat input (10 % below and 5 % above is taught too); no single source.
    """
    if nominal <= 0:
        raise BadInput(f"the plate's {id} is {nominal} {unit}; it must be more than 0", "read the plate again")
    low = nominal * (100 - below_pct) / 100
    high = nominal * (100 + above_pct) / 100
    return Limit(
        id, unit, low, high, False, False, "practice", "common practice around the maker's plate", "common practice"
    )


def tightness_limit(
    volume_m3: Decimal, on: datetime.date, *, gas: Gas, appliances_connected: bool, electronic_gauge: bool = True
) -> Limit:
    """The drop that the tightness test permits in 2 minutes, as a limit, by the edition in force on the day.

    Where the table has "no perceptible movement" the bound is the smallest movement that the gauge shows.

    Raises:
        BadInput: volume out of IGEM/UP/1B's scope, or a day before Edition 4, whose tables go by meter and pipe.
    """
    if on < EDITION_4_FROM:
        raise BadInput(
            f"the test is dated {on}; by installation volume the limits are from {EDITION_4_FROM} on",
            "for an old record use work-out tightness_limit with on=, meter= and pipe_mm=",
        )
    drop = permissible_drop_mbar(gas == "lpg", float(volume_m3), appliances_connected)
    if drop == 0.0:
        return trade_limit(
            "perceptible_movement_electronic" if electronic_gauge else "perceptible_movement_water_gauge", on
        )
    edition = tables()["edition_4"]
    return Limit("tightness_drop", "mbar", None, Decimal(str(drop)), source=edition["source"], sure=edition["sure"])


def is_weakly_sourced(limit: Limit) -> bool:
    """Whether a report is to mark the limit: its source was not seen in print by the project."""
    return limit.sure != "published"


def limit_words(limit: Limit) -> str:
    """The limit in words: "8.8 to 9.8 %", "below 0.004", "at least 20.6 %"."""
    unit = "" if limit.unit == "-" else f" {limit.unit}"
    low = None if limit.low is None else decimal_string(limit.low)
    high = None if limit.high is None else decimal_string(limit.high)
    if low is not None and high is not None:
        if limit.low == limit.high:
            return f"exactly {low}{unit}"
        if limit.low_strict or limit.high_strict:
            return f"{'above' if limit.low_strict else 'at least'} {low} and {_up_to(limit)} {high}{unit}"
        return f"{low} to {high}{unit}"
    if high is not None:
        return f"{_up_to(limit)} {high}{unit}"
    return f"{'above' if limit.low_strict else 'at least'} {low}{unit}"


def _up_to(limit: Limit) -> str:
    return "below" if limit.high_strict else "at most"


def _inside(value: Decimal, limit: Limit) -> bool:
    if limit.low is not None and (value < limit.low or (limit.low_strict and value == limit.low)):
        return False
    return not (limit.high is not None and (value > limit.high or (limit.high_strict and value == limit.high)))


def judge(value: Decimal, limit: Limit, spread: Decimal | None = None, run_s: Decimal | None = None) -> Verdict:
    """Hold a value against a limit.

    Args:
        value: in the limit's unit, not rounded.
        spread: how far the value may be off either way, in the same unit. A bound inside it makes the verdict
        "too_close".
        run_s: s of the timed run that the value comes from, where there was one: then the words name the length, in
        minutes, of the run that would settle it.

    Raises:
        BadInput: value or spread is not a number, or the spread is negative.
    """
    if not value.is_finite():
        raise BadInput(f"{limit.id} is {value}; it must be a number", "read the value again")
    off = Decimal(0) if spread is None else spread
    if not off.is_finite() or off < 0:
        raise BadInput(
            f"the spread of {limit.id} is {off}; it must be a number from 0 up", "leave it out when it is not known"
        )
    lowest, highest = value - off, value + off
    inside = _inside(value, limit)
    spans = any(bound is not None and lowest < bound < highest for bound in (limit.low, limit.high))
    settled = not spans and _inside(lowest, limit) == inside == _inside(highest, limit)
    whose = f"{_WHOSE[limit.authority]}, {limit_words(limit)}"
    result: Literal["within", "outside", "too_close"]
    if settled:
        result = "within" if inside else "outside"
        words = f"{result} {whose}"
    else:
        result = "too_close"
        cure = _cure(value, limit, off, run_s)
        words = f"too close to call: {_give_or_take(value, off, limit.unit)} against {whose}; {cure}"
    return Verdict(result, limit, value, words)


def _cure(value: Decimal, limit: Limit, spread: Decimal, run_s: Decimal | None) -> str:
    """What settles it: a run so many times as long, for its spread falls as its length grows; or a finer instrument."""
    distance = min(abs(value - bound) for bound in (limit.low, limit.high) if bound is not None)
    if distance == 0:
        return "it stands on the limit: measure again"
    if limit.unit not in _TIMED_UNITS:
        return "read it again with a finer instrument"
    times = int(spread / distance) + 1
    finer = ", or read it finer" if limit.unit == "kW" else ""
    if run_s is not None:
        return f"time it for at least {math.ceil(times * run_s / 60)} min{finer}"
    return f"time it at least {times} times as long{finer}"


def _give_or_take(value: Decimal, spread: Decimal, unit: str) -> str:
    place = Decimal(1).scaleb(spread.adjusted())
    shown = "" if unit == "-" else f" {unit}"
    return f"{decimal_string(value.quantize(place))} give or take {decimal_string(spread.quantize(place))}{shown}"


def as_decimal(value: float) -> Decimal:
    """A computed number as a Decimal with the digits that it prints with, for `judge`."""
    return Decimal(repr(float(value)))
