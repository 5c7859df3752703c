"""An utterance that is cut in, what a careful listener would still ask about it out.

Each of these can be right as said, and each has been said with another meaning: they are asked, never taken.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from handsfree.language.grammar import Grammar
from handsfree.language.numbers import LOOSE_FRACTION
from handsfree.language.pieces import Claim, Cut
from handsfree.language.texts import EXCLAMATIONS
from handsfree.language.weighing import Weighed

_THE = "the"
_LONGEST_PHRASE = 5


class Doubts:
    """What is asked about the utterances of one language."""

    def __init__(self, grammar: Grammar) -> None:
        self._announce = frozenset(grammar.announce)
        self._around = frozenset((*grammar.fillers, *grammar.separators))
        words = {word for phrase in grammar.announce for word in phrase.split()} | {"that's", "that"}
        self._between = {w for phrase in self._around for w in phrase.split()} - words | {"at"}
        """words that may not stand between a value and the same value said again"""
        self._unfinished = frozenset(grammar.unfinished)
        self._one = grammar.numbers.parse(grammar.numbers.words_of("d")[:1])

    def about(self, cut: Cut, claims: Sequence[Claim]) -> Iterator[str]:
        """Reasons to ask about the claims as they were said."""
        if self._phrase_before(cut.words, len(cut.words)) in self._unfinished:
            yield "the end is missing"
        for claim in claims:
            unitless = not (claim.short or (claim.units and claim.qualifier_or_unit is None))
            nameless = unitless and not (claim.names or claim.dimension)
            if len(claim.words) == 1 and claim.words[0] in EXCLAMATIONS and (nameless or (unitless and not claim.at)):
                yield "an exclamation, or a zero"
            if nameless and self._is_pronoun(cut, claim):
                yield f"{' '.join(claim.words)} may be no value"
            if claim.numbers and claim.numbers[0].value.is_signed() and not claim.numbers[0].value:
                yield "minus zero is no reading"
            if claim.numbers and claim.numbers[0].form == LOOSE_FRACTION:
                yield "a part of the number is missing"
            if _teen_then_ty(claim):
                yield f"{' '.join(claim.words)} may be a correction"

    def _is_pronoun(self, cut: Cut, claim: Claim) -> bool:
        """ "the two"; "the right one", "i've got one": behind a filler that announces no reading."""
        before = self._phrase_before(cut.words, claim.at)
        return before == _THE or (bool(before) and before not in self._announce and claim.numbers == self._one)

    def _phrase_before(self, words: Sequence[str], end: int) -> str:
        """The longest filler or separator that stands directly before `end`; empty when none does."""
        for start in range(max(0, end - _LONGEST_PHRASE), end):
            phrase = " ".join(words[start:end])
            if phrase in self._around:
                return phrase
        return ""

    def said_once(self, cut: Cut) -> list[Claim]:
        """The claims, with one that was said twice in the same words taken once ("two bar two bar")."""
        once: list[Claim] = []
        for claim in cut.claims:
            last = once[-1] if once else None
            if last is None or claim.over or claim.parted or claim.either or _content(last) != _content(claim):
                once.append(claim)
            elif not self._between.isdisjoint(cut.words[last.at : claim.at]):
                once.append(claim)  # "two of two"
        return once


def _teen_then_ty(claim: Claim) -> bool:
    """ "fifteen fifty": 1550, or a slip of the tongue and its correction."""
    if claim.said != "eT":
        return False
    teen, ten = divmod(int(claim.numbers[0].value), 100)
    return ten == (teen - 10) * 10


def _content(claim: Claim) -> tuple[object, ...]:
    return (
        tuple(claim.words),
        claim.names,
        claim.dimension,
        claim.qualifier,
        claim.units,
        claim.short,
        claim.numbers,
    )


def two_values_for_one(weighed: Sequence[Weighed]) -> bool:
    """Whether one quantity in one state was given two values in one breath ("c o forty c o fifty")."""
    seen: dict[tuple[str | None, str | None], object] = {}
    for one in weighed:
        if len(one.fitting) == 1:
            reading = one.fitting[0]
            key = (reading.quantity, reading.qualifier)
            if key in seen and seen[key] != reading.value:
                return True
            seen[key] = reading.value
    return False
