"""Written text in ("CO2 9.2%", "1.2 bar", "52"), spoken words out ("c o two nine point two percent"), digits kept.

Speech models and keyboards write figures; the grammar knows only words. What this does not know becomes a word that
no phrase holds, so that it is never dropped in silence.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping

from handsfree.language.grammar import Grammar
from handsfree.language.numbers import Numbers

UNKNOWN = "?"
"""Stands for something written that has no spoken form here."""
UNKNOWN_SIGN = "§"
"""Any sign that is read as UNKNOWN."""
MOST_CHARACTERS = 4000
"""Longer lines are cut: nobody says so much in one breath."""
MOST_TYPED = 120
"""Characters: what is longer is no serial number."""

_PLAIN = re.compile(r"(?:[a-z ]|(?<=[a-z])'(?=[a-z]))*")
_TIME = re.compile(r"\b([01]?[0-9]|2[0-3]):([0-5][0-9])\b")
_DATE = re.compile(r"\b(0?[1-9]|[12][0-9]|3[01])[/.](0?[1-9]|1[0-2])[/.]((?:19|20)?[0-9]{2})\b")
_ISO_DATE = re.compile(r"\b((?:19|20)[0-9]{2})-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])\b")
_ORDINAL = re.compile(r"\b([1-9][0-9]?)(?:st|nd|rd|th)\b")
_PAIR = re.compile(r"\b([0-9]{2})\s?/\s?([0-9]{2})\b(?!/)")
_DOTTED_TIME = re.compile(r"([01]?[0-9]|2[0-3])\.([0-5][0-9])(?=\s|$)")
_INITIAL = re.compile(r"(?<![a-z0-9'])([a-z])\.(?=[a-z0-9])")
_CHARACTERS = re.compile(r"[A-Z0-9]+(?:[ /-][A-Z0-9]+)*|[a-z]{0,3}[0-9][a-z0-9]*")
_BETWEEN = re.compile(r"(?:(?<=[0-9])|^)[\s.,;:_–−-]+(?=[0-9])")
_JOINS = re.compile(r"\s*|\.|\s*[-–−]\.?")
"""Before a figure: a gap, a decimal point, a minus."""
_THOUSANDS = re.compile(r"[0-9]{3}(?![0-9])")
_HALVES = {"½": "half", "¼": "a quarter", "¾": "three quarters"}
_MINUS = re.compile(r"(?:(?<=\s)|^)[-−–](?=[.]?[0-9])")
_TOKEN = re.compile(
    r"[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]+)?|[0-9]*\.[0-9]+|[0-9]+|[a-z][a-z']*|[^\sa-z0-9.,;:!?'\"()\[\]_-]+"
)


class Written:
    """The written forms of one language."""

    def __init__(self, grammar: Grammar) -> None:
        self._numbers: Numbers = grammar.numbers
        self._words = {word: tuple(spoken.split()) for word, spoken in grammar.written.items()}
        self._keys = frozenset(self._words)
        self._months = {number: word for word, number in grammar.dates["months"].items()}
        self._ordinals = {number: word for word, number in grammar.numbers.ordinals.items()}
        self._spelling_words = frozenset(grammar.letters) | frozenset(grammar.numbers.classes)
        self._names = [*self._written_names(grammar)]
        units = {w.lower(): unit.plural for unit in reversed([*grammar.units.by_id.values()]) for w in unit.written}
        self._units: Mapping[str, str] = units
        long = "|".join(re.escape(u) for u in sorted(units, key=len, reverse=True) if len(u) > 1)
        short = "".join(re.escape(u) for u in units if len(u) == 1 and u not in "a%°")
        behind = r"(?![a-z0-9/])"
        # one letter is a unit only right behind a figure: "3 a" may go on as "3 and a half"
        self._unit = re.compile(rf"(?<=[0-9\s])({long}){behind}|(?<=[0-9])\s?([{short}]){behind}|(?<=[0-9])(a){behind}")

    def _written_names(self, grammar: Grammar) -> Iterator[tuple[re.Pattern[str], str]]:
        """Patterns of written names that hold a figure ("CO2"), each with its spoken words.

        A figure may be glued to it: "CO29.2" becomes "c o two nine point two", and `pieces` decides whose the two is.
        """
        for quantity in grammar.quantities.values():
            for written in (w.lower() for w in quantity.written if re.search("[0-9₂]", w)):
                plain = unicodedata.normalize("NFKC", written)
                same = (n for n in quantity.names if n.replace(" ", "").replace("two", "2") == plain)
                spoken = next(same, quantity.names[0])
                yield re.compile(rf"(?<![a-z]){re.escape(plain)}(?![a-z])"), f" {spoken} "

    def words(self, text: str, listed: bool = True) -> list[str]:
        """The spoken words of a line, lower case. Never raises; at most MOST_CHARACTERS are read.

        Args:
            listed: whether figures may stand one by one with signs between them, as those of a serial number. If not,
                "9, 2", "9. 2", "2-3" and "- 2" hold UNKNOWN: a list, a range or a slip, and whoever reads it would ask.
        """
        text = text[:MOST_CHARACTERS].lower()
        if not _PLAIN.fullmatch(text):
            return self._words_of_written(text, listed)
        words = text.split()
        return words if self._keys.isdisjoint(words) else self._expand(words)

    def characters(self, text: str, digits: bool) -> str | None:
        """A serial number or letters as typed ("AB12 C3"), in capitals, without spaces; None for anything else."""
        text = text.strip()
        if len(text) > MOST_TYPED:
            return None
        if not _CHARACTERS.fullmatch(text) or (not digits and any(c.isdigit() for c in text)):
            return None
        if any(len(word) > 1 and word in self._spelling_words for word in re.split("[ /-]", text.lower())):
            return None  # "KILO 7" spells K7
        return text.upper().replace(" ", "")

    def time_of_day(self, text: str) -> str:
        """A time with a full stop ("14.30") as one with a colon."""
        return _DOTTED_TIME.sub(r" \1:\2", text[:MOST_CHARACTERS], count=1)

    def _expand(self, words: list[str]) -> list[str]:
        expanded: list[str] = []
        for word in words:
            expanded += self._words.get(word, (word,))
        return expanded

    def _words_of_written(self, text: str, listed: bool) -> list[str]:
        text = "".join(" " if unicodedata.category(c) in ("Cc", "Cf", "Zl", "Zp") else c for c in text)
        for sign, spoken in _HALVES.items():
            text = re.sub(rf"(?<=[0-9])\s?{sign}", f" and {'a ' if sign == '½' else ''}{spoken}", text).replace(
                sign, spoken
            )
        text = (
            unicodedata.normalize("NFKC", text)
            .replace("’", "'")
            .replace("μ", "u")
            .replace("°", " ° ")
            .replace("° c", "°c")
        )
        text = re.sub(r"(?<=[ap])\.\s?m\.?(?![a-z])", " m", text)
        text = _INITIAL.sub(r"\1 ", text)
        text = _ISO_DATE.sub(lambda m: self._date(int(m[3]), int(m[2]), m[1]), text)
        text = _DATE.sub(lambda m: self._date(int(m[1]), int(m[2]), m[3]), text)
        text = _PAIR.sub(r"\1 over \2", text)
        text = _TIME.sub(lambda m: self._time(int(m[1]), m[2]), text)
        text = _ORDINAL.sub(lambda m: f" {self._ordinal(int(m[1]))} ", text)
        for pattern, spoken in self._names:
            text = pattern.sub(spoken, text)
        if not listed:
            text = _BETWEEN.sub(_what_stands_between, text)
        text = self._unit.sub(lambda m: f" {self._units[m[m.lastindex or 0]]} ", text)
        text = _MINUS.sub(" minus ", text)
        words: list[str] = []
        for token in _TOKEN.findall(text):
            if token[0] in "0123456789" or (token[0] == "." and len(token) > 1):
                words += self._figure(token)
            elif "a" <= token[0] <= "z":
                words.append(token.strip("'"))
            elif token == "%":
                words.append("percent")
            elif token == "°":
                words.append("degrees")
            else:
                words.append(UNKNOWN)
        return self._expand(words)

    def _figure(self, figure: str) -> list[str]:
        """A figure as it is said: up to four digits as a number, more of them or a leading zero digit by digit."""
        grouped = "," in figure
        whole, point, after = figure.replace(",", "").partition(".")
        words: list[str] = []
        if whole:
            one_by_one = (len(whole) > 1 and whole[0] == "0") or (len(whole) > 4 and not grouped)
            words += self._numbers.say_digits(whole).split() if one_by_one else self._numbers.say_whole(whole)
        if point:
            words += self._numbers.say_digits("." + after).split()
        return words

    def _date(self, day: int, month: int, year: str) -> str:
        full = year if len(year) == 4 else f"20{year}"
        return f" {self._ordinal(day)} of {self._months[month]} {' '.join(self._numbers.say_whole(full))} "

    def _ordinal(self, number: int) -> str:
        """ "twenty first"; for a number below a hundred that is no ten, or has an ordinal word of its own."""
        tens, ones = number - number % 10, number % 10
        return self._ordinals.get(number) or " ".join([*self._numbers.say_whole(str(tens)), self._ordinals[ones]])

    def _time(self, hour: int, minute: str) -> str:
        hours = " ".join(self._numbers.say_whole(str(hour))) if hour >= 10 else self._numbers.say_digits(f"0{hour}")
        if minute == "00":
            return f" {hours} hundred "
        minutes = self._numbers.say_digits(minute) if minute[0] == "0" else " ".join(self._numbers.say_whole(minute))
        return f" {hours} {minutes} "


def _what_stands_between(found: re.Match[str]) -> str:
    """The signs before a figure, or a mark that is read as UNKNOWN where they make no one number."""
    signs = found[0] if found.start() else found[0].lstrip()
    if signs == "," and found.start():
        joins = _THOUSANDS.match(found.string, found.end()) is not None
    elif found.start() and signs[0] in "-–−":
        joins = False  # "2-3"
    else:
        joins = _JOINS.fullmatch(signs) is not None
    return found[0] if joins else f" {UNKNOWN_SIGN} "
