"""Number words in, every decimal number they can mean out, digits kept; and a decimal number in, its spoken words out.

A word has a class (digit, teen, tens, hundred ...), written as one letter, so that a run of words is a short string
and the forms in which numbers are said are regular expressions over classes. The same expressions make the
listeners' automaton, so they use no more than letters, `[]`, `()`, `|`, `?`, `*` and `+`.

Nothing here guesses: words that can be read two ways give two readings, words that make no number give none.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

DIGIT, ZERO, TEEN, TENS = "d", "o", "e", "T"
HUNDRED, THOUSAND, MILLION, BILLION, TRILLION = "h", "k", "m", "b", "t"
POINT, DOUBLE, TREBLE, MINUS, PLUS = "p", "D", "R", "-", "+"
AND, ARTICLE, HALF, QUARTER, ORDINAL = "&", "a", "H", "Q", "r"
OTHER = "x"

_SCALE_CLASS = {2: HUNDRED, 3: THOUSAND, 6: MILLION, 9: BILLION, 12: TRILLION}

# ------------------------------------------------------------------------------------------- the forms of a number
# Below a hundred; "two hundred and five"; the same in front of a scale, where "a" or nothing may stand for one.
_TWO = "(Td?|e|d)"
_THREE = f"(dh(&?{_TWO})?|{_TWO})"
_FIRST = f"([da]?h(&?{_TWO})?|{_TWO}|a)?"
_LAST = f"(&?{_THREE})?"
_TO_K = f"(&?{_THREE}k)?(&?{_THREE}|&(e|Td?)h)?"
_TO_M = f"(&?{_THREE}m)?{_TO_K}"
_TO_B = f"(&?{_THREE}b)?{_TO_M}"
_HUNDREDS = f"((e|Td?)h(&?{_TWO})?|[da]?h(&?{_TWO})?)"
_BARE_SCALE = f"({_FIRST}[kmbt]|(e|Td|d|a)?h)"
_CARDINAL = f"({_FIRST}k{_LAST}|{_FIRST}m{_TO_K}|{_FIRST}b{_TO_M}|{_FIRST}t{_TO_B}|{_HUNDREDS}|{_TWO}|o)"
_JOINED = "d(Td?|e)"
_PAIR = "e(Td?|e|od)"
_ITEM = "([do]|[DR][do])"
_DIGITS = f"([do]{_ITEM}+|[DR][do]{_ITEM}*)"
_WHOLE = f"({_CARDINAL}|{_JOINED}|{_PAIR}|{_DIGITS})"
_AFTER_POINT = f"({_ITEM}+|e|Td?)"
_FRACTION = "[ad]?[HQ]"

FORMS: Mapping[str, str] = {
    "cardinal": _CARDINAL,
    "decimal": f"{_WHOLE}?p{_AFTER_POINT}",
    "digits": _DIGITS,
    "joined": _JOINED,
    "pair": _PAIR,
    "scaled": f"{_CARDINAL}p{_AFTER_POINT}[kmbt]",
    "thousand_million": f"{_FIRST}km",
    "fraction": _FRACTION,
    # "a million and a half" before "... and a half": the first has two readings
    "scale_and_fraction": f"{_BARE_SCALE}&{_FRACTION}",
    "mixed": f"({_CARDINAL}|{_JOINED})&{_FRACTION}",
    "scale_and_part": f"({_FIRST}m&{_FRACTION}k|{_FIRST}b&{_FRACTION}[km]|{_FIRST}t&{_FRACTION}[kmb])",
    "mixed_scaled": f"{_TWO}&{_FRACTION}[kmbt]",
    "fraction_of_scale": f"{_FRACTION}a?[kmbt]",
}
"""How numbers are said, over word classes, without their sign. An earlier form wins."""

GROUPS = "(e|Td?|[do]|[DR][do])+"
"""Digits said in groups ("forty seven eleven three"): one string, never one sum."""

_FORM = re.compile("|".join(f"(?P<{name}>{form})" for name, form in FORMS.items()))
_GROUPS = re.compile(GROUPS)
_ORDINAL = re.compile(_CARDINAL)
_DROPPED_POINT_MOST_DIGITS = 4
LOOSE_FRACTION = "loose_fraction"
"""Form of "nine half": nine halves, or nine and a half of which a part was lost. Never certain."""


@dataclass(frozen=True, slots=True)
class NumberReading:
    """One way to read a run of number words."""

    value: Decimal
    """digits as spoken"""
    form: str
    """name of the form in FORMS, or "groups", "ordinal", "dropped_point", LOOSE_FRACTION"""


class Numbers:
    """The number words of one language.

    Args:
        table: the content of numbers.toml: digits, zeros, teens, tens, scales, repeats, fractions, signs, joints,
        ordinals.
    """

    def __init__(self, table: Mapping[str, Any]) -> None:
        self.classes: dict[str, str] = {}
        """word -> class letter"""
        self._amount: dict[str, int] = {}
        for name, letter in (("digits", DIGIT), ("teens", TEEN), ("tens", TENS)):
            for word, amount in table[name].items():
                self._add(word, letter, amount)
        for word in table["zeros"]["words"]:
            self._add(word, ZERO, 0)
        for word, power in table["scales"].items():
            self._add(word, _SCALE_CLASS[power], 10**power)
        for word, times in table["repeats"].items():
            self._add(word, DOUBLE if times == 2 else TREBLE, times)
        for word, hundredths in table["fractions"].items():
            self._add(word, HALF if hundredths == 50 else QUARTER, hundredths)
        for word, sign in table["signs"].items():
            self._add(word, MINUS if sign == "-" else PLUS, 0)
        for name, letter in (("point", POINT), ("and", AND), ("article", ARTICLE)):
            for word in table["joints"][name]:
                self._add(word, letter, 1 if letter == ARTICLE else 0)
        first_of = {hundredths: word for word, hundredths in reversed(table["fractions"].items())}
        self._one_part = frozenset(first_of.values())
        """ "half" and "quarter", without "halves" and "quarters" """
        self.ordinals: dict[str, int] = dict(table["ordinals"])
        """ordinal word -> number"""
        self._say_digit = [table["zeros"]["words"][0], *list(table["digits"])[:9]]
        self._say_teen = list(table["teens"])
        self._say_tens = list(table["tens"])
        self._say_scale = {power: word for word, power in reversed(list(table["scales"].items()))}
        self._say_point, self._say_minus = table["joints"]["point"][0], next(iter(table["signs"]))
        self._say_and = table["joints"]["and"][0]

    def _add(self, word: str, letter: str, amount: int) -> None:
        self.classes[word] = letter
        self._amount[word] = amount

    def words_of(self, letter: str) -> tuple[str, ...]:
        """The words of a class, the one that the program says first."""
        return tuple(word for word, of in self.classes.items() if of == letter)

    def classes_of(self, words: Sequence[str]) -> str:
        """The classes of the words, one letter each; OTHER for a word that is part of no number."""
        get = self.classes.get
        return "".join([get(word, OTHER) for word in words])

    # ------------------------------------------------------------------------------------------------ parsing

    def parse(self, words: Sequence[str]) -> tuple[NumberReading, ...]:
        """Every reading of the words as one number, the plainest first; empty when they are no number.

        An ordinal at the end ("twenty first") is read as its number, form "ordinal".
        """
        if not words:
            return ()
        if words[-1] in self.ordinals:
            return self._parse_ordinal(words)
        return self.parse_run(words, self.classes_of(words))

    def parse_run(self, words: Sequence[str], classes: str) -> tuple[NumberReading, ...]:
        """As `parse`, for words whose classes are known; no ordinals."""
        negative = classes[0] == MINUS
        if negative or classes[0] == PLUS:
            words, classes = words[1:], classes[1:]
        match = _FORM.fullmatch(classes)
        if match is None:
            if len(classes) < 2 or not _GROUPS.fullmatch(classes):
                return ()
            joined = self._joined_digits(words, classes)
            readings = _with_dropped_points(joined, "groups", negative, (len(str(self._amount[words[0]])),))
            return readings
        form = match.lastgroup
        assert form is not None
        if form == "cardinal":
            return (NumberReading(_signed(str(self._cardinal(words, classes)), negative), form),)
        if form == "decimal":
            return (NumberReading(_signed(self._decimal(words, classes), negative), form),)
        if form == "digits":
            return _with_dropped_points(self._joined_digits(words, classes), form, negative)
        if form in ("joined", "pair"):
            # "one twenty" may be 1.20 said without its point
            first = len(str(self._amount[words[0]]))
            return _with_dropped_points(self._joined_digits(words, classes), form, negative, (first,))
        values = self._with_fraction(words, classes, form)
        if form not in ("scaled", "thousand_million") and self._is_loose(words, classes, form):
            if form == "fraction" and classes[0] == DIGIT:
                values += (self._amount[words[0]] + self._fraction(words[1:]),)
            form = LOOSE_FRACTION
        return tuple(NumberReading(-value if negative else value, form) for value in values)

    def _parse_ordinal(self, words: Sequence[str]) -> tuple[NumberReading, ...]:
        amount = self.ordinals[words[-1]]
        letter = _class_of_ordinal(amount)
        classes = self.classes_of(words[:-1]) + letter
        sign = classes[0] if classes[0] in (MINUS, PLUS) else ""
        if not _ORDINAL.fullmatch(classes[len(sign) :]):
            return ()
        value = self._cardinal(words[len(sign) :], classes[len(sign) :], amount)
        return (NumberReading(_signed(str(value), sign == MINUS), "ordinal"),)

    def digit_string(self, words: Sequence[str]) -> str | None:
        """The words as one string of digits, leading zeros kept ("double oh seven" -> "007"); None when they are not
        one.

        Digits, groups ("forty seven eleven" -> "4711"), whole numbers ("two hundred and five" -> "205"), each with
        digits after a point if one is said.
        """
        if not words:
            return None
        classes = self.classes_of(words)
        if classes[0] == PLUS:
            words, classes = words[1:], classes[1:]
        whole, point, after = classes.partition(POINT)
        tail = ""
        if point:
            if not re.fullmatch(_AFTER_POINT, after):
                return None
            tail = "." + self._joined_digits(words[len(whole) + 1 :], after)
        if _GROUPS.fullmatch(whole):
            return self._joined_digits(words[: len(whole)], whole) + tail
        if whole and _ORDINAL.fullmatch(whole):
            return str(self._cardinal(words[: len(whole)], whole)) + tail
        return None

    def _cardinal(self, words: Sequence[str], classes: str, last_amount: int | None = None) -> int:
        total = current = 0
        last = len(words) - 1
        for index, letter in enumerate(classes):
            if letter in "&a":
                continue
            word = words[index]
            amount = last_amount if index == last and last_amount is not None else self._amount[word]
            if letter == HUNDRED:
                current = (current or 1) * 100
            elif letter in "kmbt":
                total += (current or 1) * amount
                current = 0
            else:
                current += amount
        return total + current

    def _joined_digits(self, words: Sequence[str], classes: str) -> str:
        digits: list[str] = []
        times = 1
        tens = -1
        amount_of = self._amount
        for word, letter in zip(words, classes, strict=True):
            amount = amount_of[word]
            if letter in "DR":
                times, tens = amount, -1
            elif letter == TENS:
                digits.append(str(amount))
                tens = amount
            elif letter == DIGIT and tens > 0:
                digits[-1] = str(tens + amount)
                tens = -1
            else:
                digits.append(str(amount) * times)
                times, tens = 1, -1
        return "".join(digits)

    def _decimal(self, words: Sequence[str], classes: str) -> str:
        at = classes.index(POINT)
        after = self._joined_digits(words[at + 1 :], classes[at + 1 :])
        return (self._whole(words[:at], classes[:at]) if at else "0") + "." + after

    def _whole(self, words: Sequence[str], classes: str) -> str:
        if _ORDINAL.fullmatch(classes):
            return str(self._cardinal(words, classes))
        return self._joined_digits(words, classes)

    def _with_fraction(self, words: Sequence[str], classes: str, form: str) -> tuple[Decimal, ...]:
        """Values of the forms with a half, a quarter or a scale at the end."""
        if form == "scaled":
            return (_times(Decimal(self._decimal(words[:-1], classes[:-1])), self._amount[words[-1]]),)
        if form == "thousand_million":
            return (Decimal(self._cardinal(words[:-1], classes[:-1]) * self._amount[words[-1]]),)
        if form == "fraction":
            return (self._fraction(words),)
        if form == "fraction_of_scale":
            scale = self._amount[words[-1]]
            end = len(words) - (2 if classes[-2] == ARTICLE else 1)
            return (_times(self._fraction(words[:end]), scale),)
        at = classes.rindex(AND)
        if form == "mixed_scaled":
            whole = self._cardinal(words[:at], classes[:at])
            return (_times(whole + self._fraction(words[at + 1 : -1]), self._amount[words[-1]]),)
        if form == "scale_and_part":
            part = self._fraction(words[at + 1 : -1]) * self._amount[words[-1]]
            return (_plain(self._cardinal(words[:at], classes[:at]) + part),)
        fraction = self._fraction(words[at + 1 :])
        whole = int(self._whole(words[:at], classes[:at]))
        if form == "mixed":
            return (whole + fraction,)
        return (whole + fraction, _plain(whole + fraction * self._amount[words[at - 1]]))

    def _is_loose(self, words: Sequence[str], classes: str, form: str) -> bool:
        """Whether nobody forms the fraction so: "nine half", "two and three halves", "quarters" of which the number
        was lost; "three quarter" is formed."""
        at = next(index for index, letter in enumerate(classes) if letter in "HQ")
        if not at or classes[at - 1] != DIGIT:
            return words[at] not in self._one_part
        parts = self._amount[words[at - 1]]
        if parts * self._amount[words[at]] < 100:
            return parts == 2 and words[at] in self._one_part
        return form != "fraction" or words[at] in self._one_part

    def _fraction(self, words: Sequence[str]) -> Decimal:
        hundredths = self._amount[words[-1]] * (self._amount[words[0]] if len(words) > 1 else 1)
        return _plain(Decimal(hundredths) / 100)

    # ------------------------------------------------------------------------------------------------- saying

    def say(self, value: Decimal) -> str:
        """The words of a number: whole part as a cardinal, digits after the point one by one.

        `parse(say(x).split())` has exactly one reading, x with the same digits, for every finite x below 10 ** 15.

        Raises:
            ValueError: the value is not finite.
        """
        if not value.is_finite():
            raise ValueError(f"{value} is no number that can be said")
        text = format(value, "f")
        words = [self._say_minus] if text.startswith("-") else []
        whole, point, after = text.lstrip("-").partition(".")
        words += self.say_whole(whole)
        if point:
            words.append(self._say_point)
            words += [self._say_digit[int(digit)] for digit in after]
        return " ".join(words)

    def say_digits(self, digits: str) -> str:
        """Digit by digit, a full stop as the point: "048.5" -> "zero four eight point five"."""
        return " ".join(self._say_point if c == "." else self._say_digit[int(c)] for c in digits)

    def say_whole(self, digits: str) -> list[str]:
        """The words of a whole number; digit by digit from 10 ** 15 on."""
        number = int(digits)
        if number >= 10**15:
            return [self._say_digit[int(digit)] for digit in digits]
        words: list[str] = []
        for power in (12, 9, 6, 3):
            if number >= 10**power:
                words += [*self._say_below_thousand(number // 10**power), self._say_scale[power]]
                number %= 10**power
        if number or not words:
            if words and number < 100:
                words.append(self._say_and)
            words += self._say_below_thousand(number)
        return words

    def _say_below_thousand(self, number: int) -> list[str]:
        words: list[str] = []
        if number >= 100:
            words = [self._say_digit[number // 100], self._say_scale[2]]
            number %= 100
            if not number:
                return words
            words.append(self._say_and)
        if number < 10:
            return [*words, self._say_digit[number]]
        if number < 20:
            return [*words, self._say_teen[number - 10]]
        tens = self._say_tens[number // 10 - 2]
        return [*words, tens] if number % 10 == 0 else [*words, tens, self._say_digit[number % 10]]


def _class_of_ordinal(amount: int) -> str:
    if amount < 10:
        return DIGIT
    if amount < 20:
        return TEEN
    if amount < 100:
        return TENS
    return _SCALE_CLASS[len(str(amount)) - 1]


def _signed(digits: str, negative: bool) -> Decimal:
    return Decimal("-" + digits if negative else digits)


def _plain(value: Decimal) -> Decimal:
    """Without zeros at the end that nobody spoke, and never in exponent form."""
    value = value.normalize()
    return value.quantize(Decimal(1)) if value == value.to_integral_value() else value


def _times(value: Decimal, scale: int) -> Decimal:
    return _plain(value * scale)


def _with_dropped_points(
    digits: str, form: str, negative: bool, places: Sequence[int] | None = None
) -> tuple[NumberReading, ...]:
    """The digits as a whole number, then with the point that may have been left out at each of the places."""
    readings = [NumberReading(_signed(digits, negative), form)]
    if 2 <= len(digits) <= _DROPPED_POINT_MOST_DIGITS:
        first = 0 if digits[0] == "0" else 1
        for place in range(first, len(digits)) if places is None else places:
            readings.append(
                NumberReading(_signed(f"{digits[:place] or '0'}.{digits[place:]}", negative), "dropped_point")
            )
    return tuple(readings)
