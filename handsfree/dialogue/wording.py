"""A key and its slots in, the words that are spoken out: the same words every time, from wording.toml."""

from __future__ import annotations

import datetime as dt
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import cache, lru_cache
from pathlib import Path
from typing import Any, Protocol

from handsfree.model import Reading

_ICAO = dict(
    zip(
        "ABCDEFGHIJKLMNOPQRSTUVWXYZ",
        [
            "alfa",
            "bravo",
            "charlie",
            "delta",
            "echo",
            "foxtrot",
            "golf",
            "hotel",
            "india",
            "juliett",
            "kilo",
            "lima",
            "mike",
            "november",
            "oscar",
            "papa",
            "quebec",
            "romeo",
            "sierra",
            "tango",
            "uniform",
            "victor",
            "whiskey",
            "x-ray",
            "yankee",
            "zulu",
        ],
        strict=True,
    )
)
_DIGITS = dict(
    zip("0123456789", ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"], strict=True)
)
_SLOW = frozenset(
    [*_DIGITS.values(), *(w for w in _ICAO.values()), "oh", "ten", "eleven", "twelve", "hundred", "thousand"]
    + [ten + "ty" for ten in ("twen", "thir", "for", "fif", "six", "seven", "eigh", "nine")]
    + [teen + "teen" for teen in ("thir", "four", "fif", "six", "seven", "eigh", "nine")]
)
"""words of numbers and serials, without "point": it is as often a place to measure at, and in a number never alone"""
_NUMBER_IN_TEXT = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?![\w.])")


class Words(Protocol):
    """What the dialogue needs of the language to speak numbers."""

    def say_number(self, value: Decimal) -> str: ...

    def say_reading(self, reading: Reading) -> str: ...


@dataclass(frozen=True, slots=True)
class UnsafeQuestion:
    """One thing asked once the emergency steps are said."""

    id: str
    ask: str
    kind: str
    """yes_no, choice, text"""
    choice: Mapping[str, tuple[str, ...]]


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads((Path(__file__).parent / "wording.toml").read_text(encoding="utf-8"))


def templates() -> Mapping[str, str]:
    """Every sentence of the program, by key, with its {slots}."""
    row: dict[str, str] = _table()["say"]
    return row


@lru_cache(maxsize=1024)
def word(key: str, **slots: str) -> str:
    """The sentence of that key. Raises KeyError for a key or slot that the file does not know."""
    filled: str = templates()[key].format(**slots)
    return " ".join(filled.split()).replace("..", ".").replace(":.", ".")


def absent_words(answer: str) -> str:
    """ "no_reading" -> "no reading"."""
    return str(_table()["absent"].get(answer, answer))


def short_name(quantity: str, said: str) -> str:
    """The short name of a quantity in a read-back; `said`, the name that prompts use, where it has none shorter."""
    return str(_table()["short"].get(quantity, said))


def short_qualifier(qualifier: str | None) -> str:
    """ "maximum" -> "max"; empty without a qualifier."""
    return str(_table()["short_qualifier"].get(qualifier, qualifier or ""))


def key_words(key: str) -> str:
    """What a key of the job file stands for, in words: "supply.meter" -> "meter type"."""
    return str(_table()["job_key"].get(key, key.rpartition(".")[2].replace("_", " ")))


@cache
def unsafe_questions() -> tuple[UnsafeQuestion, ...]:
    """What is asked in an unsafe situation, in order."""
    return tuple(
        UnsafeQuestion(r["id"], r["ask"], r["kind"], {k: tuple(v) for k, v in r.get("choice", {}).items()})
        for r in _table()["unsafe_question"]
    )


def emergency_steps(id: str, gas: str, supplier_number: str | None) -> tuple[str, ...]:
    """The steps said first; an id that the file does not know gets the general ones."""
    table = _table()["emergency"]
    return fill_number(tuple(table.get(id) or table["unsafe"]), gas, supplier_number)


def fill_number(steps: tuple[str, ...], gas: str, supplier_number: str | None) -> tuple[str, ...]:
    """The steps with the number to ring: the gas emergency number, or for LPG the supplier's own."""
    numbers = _table()["number"]
    number = supplier_number if gas == "lpg" and supplier_number else numbers.get(gas, numbers["ng"])
    return tuple(s.format(number=number) for s in steps)


def say_unit(unit: str) -> str:
    """The unit in words; an unknown one as it is written."""
    return str(_table()["unit"].get(unit, unit))


@cache
def _units_in_text() -> tuple[tuple[re.Pattern[str], str], ...]:
    """Where a unit stands behind a number, and how it is spoken; the longest unit first."""
    units = sorted(_table()["unit"].items(), key=lambda row: -len(row[0]))
    return tuple((re.compile(rf"(?<=\d) {re.escape(unit)}(?![\w/])"), said) for unit, said in units if unit != "-")


def say_verdict(words: str, language: Words) -> str:
    """A verdict's words with its numbers and units spoken."""
    for unit, spoken in _units_in_text():
        words = unit.sub(f" {spoken}", words)
    return _NUMBER_IN_TEXT.sub(lambda m: language.say_number(Decimal(m[0])), words)


def say_characters(text: str) -> str:
    """A serial or a string of digits, in groups of three: "AB1482" -> "alfa bravo one, four eight two"."""
    words = [_ICAO.get(c.upper()) or _DIGITS.get(c) or ("dash" if c == "-" else c) for c in text if not c.isspace()]
    return ", ".join(" ".join(words[i : i + 3]) for i in range(0, len(words), 3))


@lru_cache(maxsize=1024)
def holds_number(text: str) -> bool:
    """A number, a number word or a letter of a serial stands in the sentence; the two of C O two is none."""
    words = re.findall(r"[a-z]+|\d+", text.lower().replace("c o two", ""))
    return not _SLOW.isdisjoint(words) or any(map(str.isdigit, words))


def say_digits(value: Decimal) -> str:
    """A number digit by digit: 48123.456 -> "four eight one two three point four five six"."""
    names = {**_DIGITS, ".": "point", "-": "minus"}
    return " ".join(names[c] for c in format(value, "f"))


def may_be_misheard(value: Decimal) -> bool:
    """Its whole part ends in a teen or a bare ten (13 to 19, 30, 40 ... 90): thirteen and thirty sound alike."""
    ending = int(abs(value)) % 100
    return 13 <= ending <= 19 or (ending >= 30 and ending % 10 == 0)


def say_date(text: str) -> str:
    """An ISO date as day, month, year: "25 November 2026"."""
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        return text
    return f"{day.day} {day:%B} {day.year}"


def say_seconds(seconds: float) -> str:
    """ "one minute", "2 minutes", "90 seconds"."""
    whole = round(seconds)
    if whole >= 60 and whole % 60 == 0:
        minutes = whole // 60
        return "1 minute" if minutes == 1 else f"{minutes} minutes"
    return "1 second" if whole == 1 else f"{whole} seconds"


def rounded(value: str, unit: str, decimals: int | None = None) -> Decimal | None:
    """A computed number as it is said: four decimals for a ratio, else three figures and no more decimals than the
    trade reads of that unit; None when it is no number."""
    try:
        number = Decimal(value)
    except InvalidOperation:
        return None
    if not number.is_finite():
        return None
    if decimals is None:
        figures = max(0, 2 - number.adjusted()) if number else 1
        decimals = 4 if unit == "-" else min(figures, _table()["most_decimals"].get(unit, figures))
    return number.quantize(Decimal(1).scaleb(-decimals))


def join(words: tuple[str, ...] | list[str]) -> str:
    """Names in a row: "a; b; c"."""
    return "; ".join(words)
