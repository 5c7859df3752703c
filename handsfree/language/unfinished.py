"""What was said so far and what the step expects in, whether more of it is to come out: "nine point", "pressure",
four of seven digits.

Only for the endpointing, which then waits longer for the rest. It never changes what words mean, and it never says so
of words that are not ours: noise and talk are not waited for.
"""

from __future__ import annotations

from collections.abc import Sequence

from handsfree.language.grammar import Grammar
from handsfree.language.language import Language
from handsfree.language.numbers import DIGIT, HUNDRED, POINT, TENS, THOUSAND
from handsfree.language.written import Written
from handsfree.model import Command, Expectation, Outcome, Reading, Readings, Text, Unsure

_STRINGS = ("digits", "letters", "serial")
_OPEN_ENDED = (TENS, HUNDRED, THOUSAND)
"""Classes of words behind which a whole number often goes on ("eighty ... five")."""
_FIRST_DECIMAL = 1


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
        self._digits = frozenset(grammar.numbers.words_of(DIGIT))
        self._names = frozenset(n for q in grammar.quantities.values() for n in (*q.names, *q.shared))

    def __call__(self, text: str, expectation: Expectation) -> bool:
        """True when more is to be waited for.

        Args:
            text: words, spoken or as a speech model writes them.
            expectation: of the step.
        """
        words = self._written.words(text)
        if not words:
            return False
        automaton = self._language.automaton(expectation)
        state = automaton.start
        for word in words:
            following = automaton.arcs(state).get(word)
            if following is None:
                return False
            state = following
        next_words = automaton.arcs(state)
        if not next_words:
            return False
        if not automaton.final(state) or " ".join(words) in self._names:
            return True
        outcome = self._language.understand(" ".join(words), expectation)
        if expectation.kind in _STRINGS:
            # Of unknown length: every string may go on. With a known length the automaton has said so already.
            return isinstance(outcome, Text)
        if expectation.kind in ("date", "time"):
            return isinstance(outcome, Text) and not self._is_half_of_day(next_words)
        return not self._digits.isdisjoint(next_words) and self._number_goes_on(words, outcome, expectation)

    @staticmethod
    def _is_half_of_day(next_words: object) -> bool:
        """A time to which only morning or afternoon can be added is whole."""
        return isinstance(next_words, dict) and set(next_words) <= {"a", "p", "in"}

    def _number_goes_on(self, words: Sequence[str], outcome: Outcome, expectation: Expectation) -> bool:
        """For words that end in a number to which more can be added."""
        if isinstance(outcome, Command) and not outcome.readings:
            return False
        reading = _last_reading(outcome)
        quantity = reading.quantity if reading is not None else None
        quantity = quantity or expectation.quantity
        behind_point = [self._classes.get(word) == POINT for word in words]
        decimals = len(words) - 1 - max(k for k, point in enumerate(behind_point) if point) if any(behind_point) else 0
        if quantity is None:
            # A bare number answers a step that expects none only with what comes behind it.
            return not decimals and (expectation.kind != "number" or self._classes.get(words[-1]) in _OPEN_ENDED)
        known = self._language.quantities[quantity]
        if known.digit_by_digit:
            return decimals < known.decimals
        if decimals:
            return False
        return known.decimals >= _FIRST_DECIMAL or self._classes.get(words[-1]) in _OPEN_ENDED


def _last_reading(outcome: Outcome) -> Reading | None:
    match outcome:
        case Readings(readings) | Command(readings=readings) if readings:
            return readings[-1]
        case Unsure(alternatives) if alternatives:
            return _last_reading(alternatives[0])
    return None
