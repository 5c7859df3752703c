"""The language's spellings in, the spellings that the listeners use out: larger numbers in figures too; automata
shared by all listeners."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping
from decimal import Decimal

from handsfree.listeners.base import Words
from handsfree.listeners.compiled import Compiled
from handsfree.listeners.tokens import BEHIND_DIGITS, NEEDS_DIGIT, SurfaceAutomaton
from handsfree.model import Expectation

_APART = frozenset({"digits", "letters", "serial", "date", "time"})
"""Kinds with a grammar of their own; every other kind takes the whole one, so that a wrong expectation hides nothing."""
_DIGIT_BY_DIGIT = frozenset({"digits", "letters", "serial"})

Spellings = Mapping[tuple[str, ...], tuple[str, ...]]


class Surfaces:
    """One `SurfaceAutomaton` for each automaton of the language, shared by the listeners."""

    def __init__(self, language: Words) -> None:
        self._language = language
        self._lock = threading.Lock()
        self._kept: Compiled[SurfaceAutomaton] = Compiled()

    def surface(self, expectation: Expectation) -> SurfaceAutomaton:
        """The automaton for what an expectation can take."""
        if expectation.kind not in _APART and not expectation.phrases:
            expectation = Expectation()
        with self._lock:
            automaton = self._language.automaton(expectation)
            return self._kept.of(
                automaton, lambda: SurfaceAutomaton(automaton, spellings_for(self._language, expectation))
            )


def spellings_for(language: Words, expectation: Expectation) -> Spellings:
    """Words -> other ways in which a speech model writes them.

    Numbers from 100 on are written in figures ("230", "21,478") where a number is meant as a whole. Where characters
    are said one by one they are not: there a longer group of figures hides that the model lost a repeated one.
    """
    forms = {words: list(written) for words, written in language.spellings.items()}
    if expectation.kind not in _DIGIT_BY_DIGIT:
        for words, written in _large_numbers(language):
            forms.setdefault(words, []).append(written)
    return {words: tuple(written) for words, written in forms.items()}


def _large_numbers(language: Words) -> Iterator[tuple[tuple[str, ...], str]]:
    """Hundreds, thousands, and both with the tens and ones that are to follow in figures too."""

    def said(number: int) -> tuple[str, ...]:
        return tuple(language.say_number(Decimal(number)).split())

    tens = said(30)
    for hundreds in range(1, 10):
        yield said(100 * hundreds), f"{hundreds}00"
        for opened in _with_and_without(said(100 * hundreds + 30)[: -len(tens)]):
            yield opened, f"{hundreds}{NEEDS_DIGIT * 2}"
            yield opened, f"{hundreds}0{NEEDS_DIGIT}"
    one = len(said(1))
    for comma in ("", ","):
        behind = BEHIND_DIGITS + comma
        thousand = said(1000)[one:]
        yield thousand, behind + "000"
        for opened in _with_and_without(said(1030)[one : -len(tens)]):
            yield opened, f"{behind}0{NEEDS_DIGIT * 2}"
            yield opened, f"{behind}00{NEEDS_DIGIT}"
        for hundreds in range(1, 10):
            yield said(1000 + 100 * hundreds)[one:], f"{behind}{hundreds}00"
            for opened in _with_and_without(said(1030 + 100 * hundreds)[one : -len(tens)]):
                yield opened, f"{behind}{hundreds}{NEEDS_DIGIT * 2}"
                yield opened, f"{behind}{hundreds}0{NEEDS_DIGIT}"


def _with_and_without(words: tuple[str, ...]) -> set[tuple[str, ...]]:
    """People say "two hundred and thirty" and "two hundred thirty"."""
    return {words, tuple(w for w in words if w != "and")}
