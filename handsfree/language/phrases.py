"""Words in, the phrases they hold out: exactly by a trie, and by sound and spelling with a threshold and a margin.

Number words are never matched by likeness: a phrase that holds one is only found exactly, and words that hold one
are only looked up exactly.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

THRESHOLD = 86.0
"""Likeness, 0 to 100, from which a phrase can be meant. Set on pairs that must stay apart ("inlet", "outlet
pressure": 83) and slips that must be found."""
MARGIN = 8.0
"""How much the best must lead over the best of any other meaning."""
ASK_FROM = 80.0
"""Likeness from which a phrase is asked about."""

Node = dict[str, Any]
ROLES = ""
"""The key under which a node keeps what ends there: role -> meaning. No word is empty."""


def spoken_forms(phrases: Iterable[str]) -> list[str]:
    """Phrases of a plan as they are said: a hyphen parts two words."""
    return [phrase.replace("-", " ") for phrase in phrases]


class Trie:
    """Phrases by their words; several roles may end at one place."""

    def __init__(self) -> None:
        self.root: Node = {}

    def add(self, phrase: str, role: str, meaning: Any) -> None:
        """Let `phrase` have `meaning` in `role`; tuples of one role add up."""
        node = self.root
        for word in phrase.split():
            node = node.setdefault(word, {})
        roles = node.setdefault(ROLES, {})
        if isinstance(meaning, tuple) and role in roles:
            meaning = tuple(dict.fromkeys(roles[role] + meaning))
        roles[role] = meaning

    def longest(self, words: Sequence[str], start: int) -> tuple[int, Mapping[str, Any] | None]:
        """(end, roles) of the longest phrase that starts at `start`; (start, None) when there is none."""
        node = self.root
        end, roles = start, None
        for index in range(start, len(words)):
            following = node.get(words[index])
            if following is None:
                break
            node = following
            if ROLES in node:
                end, roles = index + 1, node[ROLES]
        return end, roles


class Sounds:
    """How the words of a language sound, roughly: two spellings of one sound get one key.

    Args:
        rules: (as it is written, as it sounds), applied in order; a space stands for the end of a word.
        negations: words that turn a phrase into its contrary.
        prefixes: beginnings of words that do.
    """

    def __init__(
        self, rules: Iterable[tuple[str, str]], negations: Iterable[str] = (), prefixes: Iterable[str] = ()
    ) -> None:
        self._rules = tuple(rules)
        self._negations = frozenset(negations)
        self._prefixes = tuple(prefixes)

    def key(self, text: str) -> str:
        """The sound of a phrase."""
        key = " ".join(text.split()) + " "
        for written, sounded in self._rules:
            key = key.replace(written, sounded)
        squeezed: list[str] = []
        for letter in key:
            if not squeezed or letter != squeezed[-1]:
                squeezed.append(letter)
        return "".join(squeezed).replace(" ", "")

    def contrary(self, text: str, other: str) -> bool:
        """Whether one of two phrases that are alike denies what the other says."""
        words, others = text.split(), other.split()
        if self._negations.intersection(words) != self._negations.intersection(others):
            return True
        return any(
            prefix + word in apart for prefix in self._prefixes for word, apart in _each_with_other(words, others)
        )


def _each_with_other(words: Sequence[str], others: Sequence[str]) -> Iterator[tuple[str, Sequence[str]]]:
    for word in words:
        yield word, others
    for word in others:
        yield word, words


@dataclass(frozen=True, slots=True)
class Likeness:
    """The outcome of matching by likeness."""

    meaning: str
    """of the best phrase"""
    score: float
    """0 to 100"""
    runner_up: str | None
    """the best other meaning"""
    runner_up_score: float
    contrary: bool = False
    """True when what was said may be the contrary of the phrase"""

    @property
    def certain(self) -> bool:
        """Good enough to be taken without a question."""
        return not self.contrary and self.score >= THRESHOLD and self.score - self.runner_up_score >= MARGIN


class LikePhrases:
    """Phrases with meanings, found by sound and spelling."""

    def __init__(self, phrases: Iterable[tuple[str, str]], sounds: Sounds) -> None:
        rows = list(phrases)
        self._sounds = sounds
        self._spelled = [phrase for phrase, _ in rows]
        self._sounded = [sounds.key(phrase) for phrase, _ in rows]
        self._meanings = [meaning for _, meaning in rows]

    def find(self, text: str) -> Likeness | None:
        """The likest phrase, the mean of the likeness by spelling and by sound; None when nothing comes near."""
        from rapidfuzz import fuzz, process  # late: an exact answer needs no likeness

        if not self._spelled or not text:
            return None
        sound = self._sounds.key(text)
        best: dict[str, tuple[float, int]] = {}
        spelled = process.extract(text, self._spelled, scorer=fuzz.ratio, processor=None, limit=12, score_cutoff=60)
        sounded = process.extract(sound, self._sounded, scorer=fuzz.ratio, processor=None, limit=12, score_cutoff=60)
        for index in {row[2] for row in (*spelled, *sounded)}:
            score = (fuzz.ratio(text, self._spelled[index]) + fuzz.ratio(sound, self._sounded[index])) / 2
            meaning = self._meanings[index]
            if score > best.get(meaning, (0.0, 0))[0]:
                best[meaning] = (score, index)
        if not best:
            return None
        order = sorted(best.items(), key=lambda item: (-item[1][0], item[0]))
        meaning, (score, index) = order[0]
        runner_up, (runner_up_score, _) = order[1] if len(order) > 1 else (None, (0.0, 0))
        return Likeness(meaning, score, runner_up, runner_up_score, self._sounds.contrary(text, self._spelled[index]))
