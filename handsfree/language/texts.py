"""Words in, the string, date or time that they are out, where the step asks for one."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from handsfree.language.dates import Dates
from handsfree.language.grammar import Grammar
from handsfree.language.letters import Spelling
from handsfree.language.roles import pieces_trie
from handsfree.language.weighing import outside_step
from handsfree.model import Expectation, Outcome, Text, Unsure

MOST_ALTERNATIVES = 6
EXCLAMATIONS = ("oh", "o")
TEXT_KINDS = ("digits", "letters", "serial", "date", "time")


class Texts:
    """The strings, dates and times of one language."""

    def __init__(self, grammar: Grammar) -> None:
        self._numbers = grammar.numbers
        self._homophones = grammar.homophones
        self._spelling = Spelling(grammar)
        self._dates = Dates(grammar)
        self._trie = pieces_trie(grammar)
        self._digit_by_digit = frozenset(q.id for q in grammar.quantities.values() if q.digit_by_digit)

    def answer(self, words: list[str], expectation: Expectation) -> Outcome | None:
        """What a kind of answer that is no measured value makes of the words; None when they are none."""
        kind = expectation.kind
        if kind == "date":
            return texts_outcome(self._dates.dates(words), kind, "it can be two dates") or self._among_others(
                words, kind
            )
        if kind == "time":
            return texts_outcome(self._dates.times(words), kind, "morning or afternoon") or self._among_others(
                words, kind
            )
        if kind == "digits":
            return _within_step(self._digits(words, expectation.length), expectation)
        spelled = self._spelling.spelled(words, letters=True, digits=kind == "serial")
        return self.of_length(spelled, kind, expectation.length)

    def _among_others(self, words: list[str], kind: str) -> Unsure | None:
        """Unsure with the dates or times that stand between other words; None when none is spoken of."""
        dates = self._dates
        speaks, read = (
            (dates.speaks_of_a_date, dates.dates) if kind == "date" else (dates.speaks_of_a_time, dates.times)
        )
        if not speaks(words):
            return None
        runs: list[list[str]] = [[]]
        for word in words:
            if word in dates.words:
                runs[-1].append(word)
            else:
                runs.append([])
        found = [text for run in runs if run for text in read(run)] if len(runs) > 1 else []
        reason = "other words were said" if found else f"that is no {kind}"
        return Unsure(tuple(Text(t, kind) for t in dict.fromkeys(found))[:MOST_ALTERNATIVES], reason)

    def _digits(self, words: list[str], length: int | None) -> Outcome | None:
        core = [self._homophones.get(w, w) for w in self._without_lead_in(words)]
        text = self._numbers.digit_string(core)
        if text is None:
            return None
        if len(words) == 1 and (words[0] in EXCLAMATIONS or words[0] in self._homophones):
            return Unsure((Text(text, "digits"),), "a word, or a digit")
        texts = [text]
        classes = self._numbers.classes_of(core)
        if len(classes) > 2 and "Td" in classes and not re.search("[hkmbtp]", classes):
            texts += [t for t in self._spelling.spelled(core, letters=False, digits=True) if t != text]
        outcome = self.of_length(texts, "digits", length)
        if isinstance(outcome, Text) and length is None and ("ed" in classes or _has_lone_ten(classes)):
            return Unsure((outcome,), "single digits or pairs")
        return outcome

    def of_length(self, texts: Sequence[str], kind: str, length: int | None) -> Outcome | None:
        """The strings that have the expected length, as an outcome; unsure when none has it."""
        fitting = [t for t in texts if length is None or len(t.replace(".", "")) == length]
        if texts and not fitting:
            return Unsure(tuple(Text(t, kind) for t in texts), f"{length} characters are expected")
        return texts_outcome(fitting, kind, "a letter or a digit" if kind == "serial" else "single digits or pairs")

    def _without_lead_in(self, words: list[str]) -> list[str]:
        start = 0
        while start < len(words):
            end, roles = self._trie.longest(words, start)
            if roles is None or words[start] in EXCLAMATIONS:
                break
            if "filler" not in roles and not (set(roles.get("name", ())) & self._digit_by_digit):
                break
            start = end
        return words[start:]


def _has_lone_ten(classes: str) -> bool:
    """Whether "ninety" stands by itself among single digits: "nine three" and "nine two" sound like it."""
    return bool(re.search("T(?!d)", classes)) and len(re.findall("(?<!T)d", classes)) > 1


def _within_step(outcome: Outcome | None, expectation: Expectation) -> Outcome | None:
    """Digits that are a number outside the step's bounds are asked."""
    if isinstance(outcome, Text) and (outside := outside_step(Decimal(outcome.text), expectation)):
        return Unsure((outcome,), outside)
    return outcome


def texts_outcome(texts: Sequence[str], kind: str, reason: str) -> Outcome | None:
    """Text when there is one, unsure when there are several, None when there is none."""
    if not texts:
        return None
    if len(texts) == 1:
        return Text(texts[0], kind)
    return Unsure(tuple(Text(t, kind) for t in texts), reason)
