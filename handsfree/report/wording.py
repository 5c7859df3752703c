"""Ids, units, numbers and times in, the words and signs that a reader expects out."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from handsfree.record.visit import ResultValue, Value
from handsfree.trade.given import unit_of

UNITS = {
    "degC": "°C",
    "m3": "m³",
    "m3/h": "m³/h",
    "ft3/h": "ft³/h",
    "ft3": "ft³",
    "MJ/m3": "MJ/m³",
    "kg/m3": "kg/m³",
    "uA": "µA",
    "uS/cm": "µS/cm",
    "ohm": "Ω",
    "kohm": "kΩ",
    "Mohm": "MΩ",
    "-": "",
    "date": "",
}

SURE = {
    "published": "published, and seen by us",
    "second-hand": "published, but seen only as quoted elsewhere",
    "common practice": "common practice, no published source",
    "from memory": "from memory, not looked up",
    "computed": "computed from published data",
}
"""How sure a source is, in a reader's words."""

# Spoken spellings of the gases, as labels have them, and their signs; the longest first.
_SIGNS = (
    (re.compile(r"\bC ?O ?2\b", re.IGNORECASE), "CO₂"),
    (re.compile(r"\bC O\b", re.IGNORECASE), "CO"),
    (re.compile(r"\bco\b"), "CO"),
    (re.compile(r"\bO ?2\b", re.IGNORECASE), "O₂"),
    (re.compile(r"\bph\b"), "pH"),
)

_UNIT_IDS = re.compile(
    "|".join(rf"(?<![\w/]){re.escape(u)}(?![\w/])" for u in sorted(UNITS, key=len, reverse=True) if UNITS[u])
)

# A unit at the end must not stand alone on the next line.
_LAST_UNIT = re.compile(r"(?<=\d) (?=[^\s\d]{1,6}$)")

_ACRONYMS = {"gc": "GC", "url": "URL", "id": "ID", "kw": "kW"}


def print_unit(unit: str) -> str:
    """The sign of a unit: degC -> °C; empty for a bare ratio."""
    return UNITS.get(unit, unit)


def print_signs(text: str) -> str:
    """The signs for the gases' spoken spellings and for units' ids: C O 2 -> CO₂, degC -> °C."""
    for pattern, sign in _SIGNS:
        text = pattern.sub(sign, text)
    text = _UNIT_IDS.sub(lambda found: UNITS[found[0]], text)
    return _LAST_UNIT.sub("\u00a0", text)


def print_label(text: str) -> str:
    """A label to begin a line with: signs set, first letter large (pH stays)."""
    text = print_signs(text)
    return text if text.startswith("pH") else text[:1].upper() + text[1:]


def print_key(key: str) -> str:
    """A key of the job file as a label: gc_number -> GC number."""
    words = [_ACRONYMS.get(w, w) for w in key.split("_")]
    return print_label(" ".join(words))


def print_number(value: object) -> str:
    """A computed number (or its digits) to about four figures, never in exponent form; texts and dates as they are."""
    try:
        number = float(str(value))
    except ValueError:
        return print_date(str(value))
    if not math.isfinite(number):
        return str(value)
    if 0.00001 <= abs(number) < 0.1:
        text = f"{number:.5f}"
    else:
        text = f"{number:.4g}"
        text = f"{number:.0f}" if "e+" in text else f"{number:.7f}".rstrip("0") if "e-" in text else text
    return text.replace("-", "−")


def print_spread(row: Mapping[str, Any]) -> str:
    """± what the readings' resolution leaves, where it is known."""
    spread = row.get("spread")
    # A fixed space keeps the sign with its number; Decimal keeps the exponent away.
    return "" if spread is None else f"±\u00a0{format(Decimal(f'{float(str(spread)):.2g}'), 'f')}"


def print_given(given: Mapping[str, str]) -> str:
    """What a computation was given, in words: gas_rate_m3_h = 2.52 -> gas rate 2.52 m³/h."""
    return ", ".join(_print_key_value(key, value) for key, value in given.items())


def _print_key_value(key: str, value: str) -> str:
    unit = unit_of(key)
    words = key.split("_")
    tails = [i for i in range(len(words) - 1, 0, -1) if unit != "-" and unit_of("_" + "_".join(words[i:])) == unit]
    name = " ".join(words[: tails[0]] if tails else words)
    # A number that was worked out before comes with all its digits; what was read has few, and keeps them.
    printed = print_number(value) if unit != "-" and len(value) > 8 else value
    return f"{print_signs(name)} {printed} {print_unit(unit)}".strip()


def print_date(text: str) -> str:
    """2026-11-25 -> 25 November 2026; anything else as it is."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return text
    return f"{day.day} {day:%B %Y}"


def print_time(time: str) -> str:
    """The time of day of an entry, to the second."""
    try:
        return f"{datetime.fromisoformat(time):%H:%M:%S}"
    except ValueError:
        return time


def print_moment(time: str) -> str:
    """Day and time of an entry, to the minute."""
    try:
        moment = datetime.fromisoformat(time)
    except ValueError:
        return time
    return f"{moment.day} {moment:%B %Y, %H:%M}"


def print_value(value: Value) -> str:
    """A value with its unit's sign, or an answer in words."""
    if value.kind == "date":
        return print_date(value.value)
    if value.kind in ("digits", "letters", "serial", "number", "time"):
        return value.value
    if value.kind == "text":
        return "recorded in words"
    if value.kind != "reading":
        return value.printed or value.value
    return f"{value.value} {print_unit(value.unit)}".strip()


def print_result(result: ResultValue) -> str:
    """The result that counts, with unit and basis."""
    if not result.results:
        return ""
    row = result.results[0]
    parts = [print_number(row.get("value", "")), print_unit(str(row.get("unit", ""))), str(row.get("basis") or "")]
    return " ".join(p for p in parts if p)


def print_row(row: Mapping[str, Any], first: Mapping[str, Any]) -> str:
    """A further result of the same computation: with its basis, or its name where that tells it from the first."""
    name = str(row.get("name", ""))
    own_name = "" if row.get("basis") or name.startswith(str(first.get("name", ""))) else name.replace("_", " ")
    unit = print_unit(str(row.get("unit", "")))
    parts = (print_number(row.get("value", "")), unit, str(row.get("basis") or ""), own_name)
    return " ".join(part for part in parts if part)


def print_bounds(limit: Mapping[str, Any]) -> str:
    """A limit's bounds in words, with its unit."""
    low, high = limit.get("low"), limit.get("high")
    unit = print_unit(str(limit.get("unit", "")))
    if low is not None and high is not None:
        text = f"{low} to {high}"
    elif low is not None:
        text = f"{'more than' if limit.get('low_strict') else 'at least'} {low}"
    elif high is not None:
        text = f"{'less than' if limit.get('high_strict') else 'at most'} {high}"
    else:
        return ""
    return f"{text} {unit}".strip()
