"""What was said so far and what the step expects in, whether more of it is to come out: "nine point", "pressure",
four of seven digits.

Only for the endpointing, which then waits longer for the rest. It never changes what words mean, and it never says so
of words that are not ours: noise and talk are not waited for.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import IntEnum

from handsfree.language.grammar import Grammar
from handsfree.language.language import Language
from handsfree.language.numbers import DIGIT, HUNDRED, POINT, TEEN, TENS, THOUSAND, ZERO
from handsfree.language.units import Quantity
from handsfree.language.written import Written
from handsfree.model import Command, Expectation, Outcome, Reading, Readings, Text, Unsure

_STRINGS = ("digits", "letters", "serial")
_OPEN_ENDED = (TENS, HUNDRED, THOUSAND)
"""Classes of words behind which a whole number often goes on ("eighty ... five")."""
_OFTEN_FOLLOWED = [[one, other] for one in (DIGIT, ZERO, THOUSAND) for other in (DIGIT, ZERO)]
"""Classes of two words behind which one more is likely: digits said one by one, "four thousand five ... hundred"."""
_OF_NUMBERS = (DIGIT, ZERO, TEEN, TENS, HUNDRED, THOUSAND, POINT)
_HUNDREDS = 100
_ONE_DIGIT = 9


class Rest(IntEnum):
    """Whether more is to come; the greater, the longer to wait."""

    NONE = 0
    """the answer is whole, or is none"""
    UNCLEAR = 1
    """it begins with a number as an answer does, and then fits nothing: it may have been heard wrong"""
    POSSIBLE = 2
    """the answer may be whole, and may go on"""
    DUE = 3
    """an answer only when more comes, or likely to go on"""


class Unfinished:
    """Whether an utterance can be the beginning of a longer answer only, or is likely to be.

    Args:
        language: its automaton says what can follow.
    """

    def __init__(self, language: Language) -> None:
        self._language = language
        grammar: Grammar = language.grammar
        self._written = Written(grammar)
        self._classes = grammar.numbers.classes
        self._numbers = frozenset(word for word, kind in self._classes.items() if kind in _OF_NUMBERS)
        self._digits = frozenset(grammar.numbers.words_of(DIGIT))
        self._names = frozenset(n for q in grammar.quantities.values() for n in (*q.names, *q.shared))

    def __call__(self, text: str, expectation: Expectation) -> Rest:
        """What is to be waited for.

        Args:
            text: words, spoken or as a speech model writes them.
            expectation: of the step.
        """
        words = self._written.words(text)
        if not words:
            return Rest.NONE
        automaton = self._language.automaton(expectation)
        state = automaton.start
        for k, word in enumerate(words):
            following = automaton.arcs(state).get(word)
            if following is None:
                return Rest.NONE if self._numbers.isdisjoint(words[: k + 1]) else Rest.UNCLEAR
            state = following
        next_words = automaton.arcs(state)
        if not next_words:
            return Rest.NONE
        if not automaton.final(state) or " ".join(words) in self._names:
            return Rest.DUE
        outcome = self._language.understand(" ".join(words), expectation)
        if expectation.kind in _STRINGS:
            # Of unknown length: every string may go on. With a known length the automaton has said so already.
            return Rest.DUE if isinstance(outcome, Text | Unsure) else Rest.NONE
        if expectation.kind in ("date", "time"):
            return Rest.DUE if isinstance(outcome, Text) and not self._is_half_of_day(next_words) else Rest.NONE
        if self._numbers.isdisjoint(next_words) or (isinstance(outcome, Command) and not outcome.readings):
            return Rest.NONE
        return self._rest_of_number(words, next_words, outcome, expectation)

    @staticmethod
    def _is_half_of_day(next_words: Mapping[str, int]) -> bool:
        """A time to which only morning or afternoon can be added is whole."""
        return set(next_words) <= {"a", "p", "in"}

    def _rest_of_number(
        self, words: Sequence[str], next_words: Mapping[str, int], outcome: Outcome, expectation: Expectation
    ) -> Rest:
        """For words that end in a number to which more can be added."""
        reading = _last_reading(outcome)
        quantity = reading.quantity if reading is not None else None
        quantity = quantity or expectation.quantity
        decimals = self._decimals(words)
        opened = self._classes.get(words[-1]) in _OPEN_ENDED
        if quantity is None:
            # A bare number answers a step that expects none only with what comes behind it.
            return Rest.DUE if not decimals and (expectation.kind != "number" or opened) else Rest.NONE
        known = self._language.quantities[quantity]
        if known.digit_by_digit:
            return Rest.DUE if decimals < known.decimals else Rest.NONE
        if decimals:
            return Rest.POSSIBLE if decimals < known.decimals else Rest.NONE
        if opened or (known.decimals and not self._digits.isdisjoint(next_words)):
            return Rest.DUE
        last_two = [self._classes.get(word) for word in words[-2:]]
        goes_on = last_two in _OFTEN_FOLLOWED or _is_small(reading, known)
        return Rest.POSSIBLE if known.decimals or goes_on else Rest.NONE

    def _decimals(self, words: Sequence[str]) -> int:
        """Words behind the last point."""
        points = [k for k, word in enumerate(words) if self._classes.get(word) == POINT]
        return len(words) - 1 - points[-1] if points else 0


def _is_small(reading: Reading | None, known: Quantity) -> bool:
    """A number that hundreds or thousands are likely to follow: less than is usual, or one digit where hundreds are usual."""
    if reading is None:
        return False
    return reading.value < known.typical_low or (known.typical_high >= _HUNDREDS and reading.value <= _ONE_DIGIT)


def _last_reading(outcome: Outcome) -> Reading | None:
    match outcome:
        case Readings(readings) | Command(readings=readings) if readings:
            return readings[-1]
        case Unsure(alternatives) if alternatives:
            return _last_reading(alternatives[0])
    return None
