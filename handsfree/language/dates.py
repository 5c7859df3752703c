"""Spoken dates and times in, ISO dates (2026-11-25) and clock times (14:30) out.

A date without a year is MM-DD, a month with a year YYYY-MM. A time without "a m" or "p m" keeps the hour that was
said from seven to twelve (a working day); one to six can be morning or afternoon and gives both. Common practice, no
source.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date as calendar_date

from handsfree.language.grammar import Grammar
from handsfree.language.numbers import Numbers
from handsfree.language.phrases import Trie

_FIRST_WORKING_HOUR = 7
_FIRST_YEAR, _LAST_YEAR = 1900, 2099
_LAST_CENTURY_FROM = 60
"""Two digits from here on are a year of the last century: "march ninety nine" is 1999."""
"""An earlier year behind a day is no date of a visit; alone it may be one."""


class Dates:
    """Date and time words of one language."""

    def __init__(self, grammar: Grammar) -> None:
        self._numbers: Numbers = grammar.numbers
        self._months: dict[str, int] = dict(grammar.dates["months"])
        words = grammar.dates["words"]
        self._of = frozenset(words["of"]) | frozenset(words["article"])
        self._weekdays = frozenset(words["weekdays"])
        self._past, self._to = frozenset(words["past"]), frozenset(words["to"])
        self._hours = frozenset(words["hours"])
        self._noon, self._midnight = frozenset(words["noon"]), frozenset(words["midnight"])
        self._minutes = frozenset(words["minutes"])
        self.words = frozenset(w for key in words for phrase in words[key] for w in phrase.split()) | {
            *self._months,
            *self._numbers.ordinals,
            *self._numbers.classes,
        }
        """every word that a date or a time can hold"""
        self._trie = Trie()
        for role in ("half_day_morning", "half_day_afternoon", "clock"):
            for phrase in words[role]:
                self._trie.add(phrase, role, role)
        self._lead_ins = Trie()
        for phrase in words["lead_ins"]:
            self._lead_ins.add(phrase, "lead_in", phrase)

    # -------------------------------------------------------------------------------------------------- dates

    def dates(self, words: Sequence[str]) -> tuple[str, ...]:
        """Every date that the words can mean, the plainest first; empty when they are no date."""
        words = [w for w in self._without_lead_in(words) if w not in self._weekdays]
        months = [i for i, w in enumerate(words) if w in self._months]
        if len(months) > 1:
            return ()
        if not months:
            return self._figures(words) or tuple(f"{y:04d}" for y in self._year(words))
        at = months[0]
        month = self._months[words[at]]
        before = [w for w in words[:at] if w not in self._of]
        after = [w for w in words[at + 1 :] if w not in self._of]
        if before:
            day = self._day(before)
            if day is None:
                return ()
            years = self._year(after) if after else (0,)
            return tuple(filter(None, (_iso(y, month, day) for y in years)))
        found = [_iso(0, month, day)] if after and (day := self._day(after)) is not None else []
        for split in range(1, len(after)):
            day = self._day(after[:split])
            if day is not None:
                found += [_iso(y, month, day) for y in self._year(after[split:]) if y >= _FIRST_YEAR]
        found += [f"{y:04d}-{month:02d}" for y in self._year(after)]
        return tuple(dict.fromkeys(f for f in found if f))

    def _day(self, words: Sequence[str]) -> int | None:
        readings = self._numbers.parse(words)
        if len(readings) == 1 and readings[0].value == int(readings[0].value) and 1 <= readings[0].value <= 31:
            return int(readings[0].value)
        if len(words) == 2:  # "oh three"
            text = self._numbers.digit_string(words)
            if text and len(text) == 2 and 1 <= int(text) <= 31:
                return int(text)
        return None

    def _year(self, words: Sequence[str]) -> tuple[int, ...]:
        """A year said in full, as two pairs, or by its last two digits."""
        classes = self._numbers.classes_of(words)
        if not words or any(c in "x-+pDR" for c in classes):
            return ()
        text = self._numbers.digit_string(words)
        if text and len(text) == 4 and text[0] != "0":
            said_as_a_year = classes[0] == "e" or "k" in classes or _FIRST_YEAR <= int(text) <= _LAST_YEAR
            return (int(text),) if said_as_a_year else ()  # "four two twenty six" is no year
        if text and len(text) == 2:
            return ((1900 if int(text) >= _LAST_CENTURY_FROM else 2000) + int(text),)
        return ()

    def _figures(self, words: Sequence[str]) -> tuple[str, ...]:
        """Day and month in digits: "oh three oh three twenty six"."""
        if len(words) < 4 or any(c not in "doeT" for c in self._numbers.classes_of(words)):
            return ()
        text = self._numbers.digit_string(words) or ""
        if len(text) not in (6, 8):
            return ()
        day, month = int(text[:2]), int(text[2:4])
        year = int(text[4:]) if len(text) == 8 else 2000 + int(text[4:])
        return tuple(filter(None, (_iso(year, month, day),)))

    def speaks_of_a_date(self, words: Sequence[str]) -> bool:
        """Whether a month is named: then words that are no date are a slip, not talk."""
        return not self._months.keys().isdisjoint(words)

    # -------------------------------------------------------------------------------------------------- times

    def speaks_of_a_time(self, words: Sequence[str]) -> bool:
        """Whether a half of the day or the clock is named."""
        return any(self._trie.longest(words, start)[1] for start in range(len(words)))

    def times(self, words: Sequence[str]) -> tuple[str, ...]:
        """Every clock time that the words can mean, the plainest first; empty when they are no time."""
        words, half_day = self._half_day(self._without_lead_in(words))
        if len(words) > 1 and words[-1] in self._hours and self._class(words[-2]) == "h":
            words = words[:-1]
        if not words:
            return ()
        if len(words) == 1 and words[0] in self._noon:
            return ("12:00",)
        if len(words) == 1 and words[0] in self._midnight:
            return ("00:00",)
        found = self._relative(words) or self._direct(words)
        return tuple(
            dict.fromkeys(t for hour, minute, certain in found for t in _clock(hour, minute, half_day, certain))
        )

    def _half_day(self, words: Sequence[str]) -> tuple[list[str], str]:
        for start in range(len(words)):
            end, roles = self._trie.longest(words, start)
            if roles and end == len(words):
                role = next(iter(roles))
                if role == "clock":
                    return [*words[:start], "o'clock"], ""
                rest, _ = self._half_day(words[:start])
                return rest, role
        return list(words), ""

    def _relative(self, words: Sequence[str]) -> list[tuple[int, int, bool]]:
        """ "ten past four", "quarter to one", "half past three", "half three"."""
        words = [w for w in words if w not in ("a",)]
        found: list[tuple[int, int, bool]] = []
        if len(words) == 2 and self._class(words[0]) == "H" and (hour := self._hour(words[1:])) is not None:
            return [(hour, 30, False)]
        for at, word in enumerate(words):
            if word in self._past or word in self._to:
                minute = self._minute([w for w in words[:at] if w not in self._minutes])
                hour = self._hour(words[at + 1 :])
                if minute is None or hour is None or not minute:
                    continue
                exact = words[at + 1] in self._noon or words[at + 1] in self._midnight
                if word in self._to:
                    found.append(((hour - 1) % 24 if hour > 1 or exact else 12, 60 - minute, exact))
                else:
                    found.append((hour, minute, exact))
        return found[:1]

    def _direct(self, words: Sequence[str]) -> list[tuple[int, int, bool]]:
        if words[-1] == "o'clock":
            hour = self._hour(words[:-1])
            return [] if hour is None else [(hour, 0, False)]
        classes = self._numbers.classes_of(words)
        if any(c not in "doeTh" for c in classes):
            return []
        if classes[-1] == "h":  # "oh nine hundred", "fourteen hundred hours"
            hour = self._hour(words[:-1])
            return [] if hour is None else [(hour, 0, True)]
        for split in range(1, len(words) + 1):
            hour = self._hour(words[:split])
            if hour is None:
                continue
            rest = words[split:]
            if not rest:
                return [(hour, 0, False)]
            minute = self._two_digit_minute(rest)
            if minute is not None:
                return [(hour, minute, classes[0] == "o")]
        return []

    def _class(self, word: str) -> str:
        return self._numbers.classes.get(word, "x")

    def _hour(self, words: Sequence[str]) -> int | None:
        if len(words) == 1 and words[0] in self._noon:
            return 12
        if len(words) == 1 and words[0] in self._midnight:
            return 0
        number = self._small(words, 23)
        return number

    def _minute(self, words: Sequence[str]) -> int | None:
        if len(words) == 1 and self._class(words[0]) == "Q":
            return 15
        if len(words) == 1 and self._class(words[0]) == "H":
            return 30
        return self._small(words, 59)

    def _two_digit_minute(self, words: Sequence[str]) -> int | None:
        classes = self._numbers.classes_of(words)
        if classes in ("e", "T", "Td", "od", "oo"):
            return self._small(words, 59)
        return None

    def _small(self, words: Sequence[str], most: int) -> int | None:
        text = self._numbers.digit_string(words) if words else None
        classes = self._numbers.classes_of(words)
        if text is None or classes not in ("d", "o", "e", "T", "Td", "od", "oo") or int(text) > most:
            return None
        return int(text)

    def _without_lead_in(self, words: Sequence[str]) -> list[str]:
        start = 0
        while True:
            end, roles = self._lead_ins.longest(words, start)
            if roles is None or end == len(words):
                return list(words[start:])
            start = end


def _iso(year: int, month: int, day: int) -> str:
    try:
        calendar_date(year or 2000, month, day)  # 2000 has a 29 February
    except ValueError:
        return ""
    return f"{year:04d}-{month:02d}-{day:02d}" if year else f"{month:02d}-{day:02d}"


def _clock(hour: int, minute: int, half_day: str, exact: bool) -> tuple[str, ...]:
    if half_day == "half_day_afternoon":
        return (f"{hour % 12 + 12:02d}:{minute:02d}",) if 1 <= hour <= 12 else ()
    if half_day == "half_day_morning":
        return (f"{hour % 12:02d}:{minute:02d}",) if 1 <= hour <= 12 else ()
    if exact or hour >= _FIRST_WORKING_HOUR or hour == 0:
        return (f"{hour:02d}:{minute:02d}",)
    return (f"{hour + 12:02d}:{minute:02d}", f"{hour:02d}:{minute:02d}")
