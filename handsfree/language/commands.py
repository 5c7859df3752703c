"""Words in, the spoken command that they are or begin with out; emergencies anywhere in an utterance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from handsfree.language.grammar import Grammar
from handsfree.language.phrases import ASK_FROM, LikePhrases, Trie
from handsfree.model import Command, Outcome, Unsure

_POLITE = frozenset(
    ("er", "um", "uh", "erm", "well", "so", "please", "now", "then", "okay", "right", "just", "thanks", "mate", "and")
)
"""Said before or after a command; mean nothing there."""
_MOST_WORDS_BY_LIKENESS = 6
_DENIED_WITHIN = 5
"""A denial this many words before an emergency's phrase is about it."""


@dataclass(frozen=True, slots=True)
class Leading:
    """A command that an utterance begins with."""

    command: str
    takes: str
    start: int
    """where its phrase begins, politeness left out"""
    end: int
    """where what it takes begins"""
    other: str | None
    """the command that a longer phrase at the same place is ("no", "no reading")"""


class Commands:
    """The commands of one language."""

    def __init__(self, grammar: Grammar) -> None:
        self._exact = {phrase: c.id for c in grammar.commands for phrase in c.phrases}
        self._asked = {phrase: c.id for c in grammar.commands for phrase in c.asked}
        self._never_by_likeness = frozenset(c.id for c in grammar.commands if not c.by_likeness)
        self._plain_answers = frozenset(
            phrase.split()[0] for phrase, command in self._exact.items() if command in self._never_by_likeness
        )
        self._leading = Trie()
        for command in grammar.commands:
            for phrase in command.before:
                self._leading.add(phrase, "leading", (command.id, command.takes))
        self._whole = Trie()
        for command in grammar.commands:
            for phrase in command.phrases:
                self._whole.add(phrase, "whole", command.id)
        self._emergencies = Trie()
        for command in grammar.commands:
            for phrase in command.phrases if command.emergency else ():
                self._emergencies.add(phrase, "emergency", command.id)
        self._emergency_first = frozenset(self._emergencies.root)
        self._denials = grammar.denials
        self._number_words = grammar.numbers.classes
        self._like = LikePhrases(((p, c.id) for c in grammar.commands for p in c.phrases), grammar.sounds)

    def bare(self, words: Sequence[str]) -> Sequence[str]:
        """The words without politeness and hesitation around them; all of them when nothing else is there."""
        start, end = _edges(words)
        return words[start:end] if start < end else words

    def exact(self, words: Sequence[str]) -> str | None:
        """The id of the command that the whole utterance is, politeness around it aside."""
        found = _found(self._exact, words)
        return found if found is not None or words[0] not in self._plain_answers else self._said_twice(words)

    def _said_twice(self, words: Sequence[str]) -> str | None:
        """ "yes that's right": two phrases of one answer."""
        for middle in range(1, len(words)):
            first = self._exact.get(" ".join(words[:middle]))
            if first in self._never_by_likeness and _found(self._exact, words[middle:]) == first:
                return first
        return None

    def leading(self, words: Sequence[str]) -> Leading | None:
        """A command with something behind it."""
        start = 0
        while start < len(words) - 1 and words[start] in _POLITE:
            start += 1
        end, roles = self._leading.longest(words, start)
        if roles is None or end == len(words):
            return None
        command, takes = roles["leading"]
        stop, whole = self._whole.longest(words, start)
        other = whole["whole"] if whole is not None and stop > end and whole["whole"] != command else None
        return Leading(command, takes, start, end, other)

    def emergency(self, words: Sequence[str]) -> Outcome | None:
        """An emergency said anywhere; unsure when it was denied or asked ("no smell of gas")."""
        if self._emergency_first.isdisjoint(words):
            return None
        for at in range(len(words)):
            _, roles = self._emergencies.longest(words, at)
            if roles is None:
                continue
            command = Command(roles["emergency"])
            before = words[max(0, at - _DENIED_WITHIN) : at]
            if not self._denials.isdisjoint(before):
                return Unsure((command,), "an emergency was named but denied")
            return command
        return None

    def asked(self, words: Sequence[str]) -> Unsure | None:
        """Unsure when the whole utterance may be a command or talk ("okay"), None otherwise."""
        command = _found(self._asked, words)
        return None if command is None else Unsure((Command(command),), "it may be a command or talk")

    def like(self, words: Sequence[str]) -> Outcome | None:
        """A command by sound and spelling: the command, unsure when it is near or tied, None when nothing is near."""
        bare = self.bare(words)
        if len(bare) > _MOST_WORDS_BY_LIKENESS or any(self._number_words.get(w, "&") not in "&a" for w in bare):
            return None
        found = self._like.find(" ".join(bare))
        if found is None or found.score < ASK_FROM:
            return None
        if found.certain and found.meaning not in self._never_by_likeness:
            return Command(found.meaning)
        commands = [Command(found.meaning)]
        if found.runner_up and found.runner_up_score >= ASK_FROM:
            commands.append(Command(found.runner_up))
        return Unsure(tuple(commands), "it sounds like a command")


def _edges(words: Sequence[str]) -> tuple[int, int]:
    """Where the first and behind the last word is that is no politeness."""
    start, end = 0, len(words)
    while start < end and words[start] in _POLITE:
        start += 1
    while end > start and words[end - 1] in _POLITE:
        end -= 1
    return start, end


def _found(phrases: Mapping[str, str], words: Sequence[str]) -> str | None:
    """The meaning of the words as one phrase, with no more politeness left out than must be ("what now please")."""
    found = phrases.get(" ".join(words))
    if found is not None or not (words[0] in _POLITE or words[-1] in _POLITE):
        return found
    first, last = _edges(words)
    if first == last:  # "okay please": all of it is politeness, and some of it may be the phrase
        first, last = len(words) - 1, 1
    for end in range(len(words), last - 1, -1):
        for start in range(min(first, end) + 1):
            found = phrases.get(" ".join(words[start:end]))
            if found is not None:
                return found
    return None
