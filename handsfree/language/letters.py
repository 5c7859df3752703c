"""Spelled letters and digits in, one string out: serial numbers, postcodes, codes."""

from __future__ import annotations

from collections.abc import Sequence

from handsfree.language.grammar import Grammar


class Spelling:
    """The alphabet and digits of one language."""

    def __init__(self, grammar: Grammar) -> None:
        self._letters = grammar.letters
        self._numbers = grammar.numbers
        self._homophones = grammar.homophones
        self._lead_ins = frozenset(w for phrase in grammar.letter_lead_ins for w in phrase.split())
        self._joints = frozenset({"for"})

    def spelled(self, words: Sequence[str], letters: bool, digits: bool) -> tuple[str, ...]:
        """Every string that the words spell, the plainest first; empty when some word spells nothing.

        Args:
            letters: whether letters may stand in it; then "o" is the letter and "oh" may be either.
            digits: whether digits may.
        """
        start = 0
        while start < len(words) and words[start] in self._lead_ins and not self._spells(words[start], digits):
            start += 1
        words = words[start:]
        options: list[tuple[str, ...]] = []
        at, count = 0, len(words)
        while at < count:
            word = words[at]
            if word == "x" and at + 1 < count and words[at + 1] == "ray" and letters:
                options.append(("X",))
                at += 2
                continue
            if (
                letters
                and word in self._letters
                and len(word) == 1
                and at + 2 < count
                and words[at + 1] in self._joints
            ):
                if words[at + 2][0] != word:
                    return ()
                options.append((self._letters[word],))
                at += 3
                continue
            piece, at = self._piece(words, at, letters, digits)
            if piece is None:
                return ()
            if piece:
                options.append(piece)
        strings = [""]
        for choice in options:
            strings = [s + c for s in strings for c in choice][:8]
        return tuple(dict.fromkeys(strings)) if options else ()

    def _spells(self, word: str, digits: bool) -> bool:
        return digits and word in self._numbers.classes and self._numbers.classes[word] in "doeT"

    def _piece(self, words: Sequence[str], at: int, letters: bool, digits: bool) -> tuple[tuple[str, ...] | None, int]:
        """What the words at `at` add, each way; () for a word that adds nothing, None for one that does not belong."""
        word = words[at]
        classes = self._numbers.classes
        letter = classes.get(word)
        if letter in ("D", "R") and at + 1 < len(words):
            piece, end = self._piece(words, at + 1, letters, digits)
            if piece is None or any(len(p) != 1 for p in piece):
                return None, at
            return tuple(p * (2 if letter == "D" else 3) for p in piece), end
        if letters and digits and word in ("o", "oh"):
            return (("O", "0") if word == "o" else ("0", "O")), at + 1
        if letters and word in self._letters:
            return (self._letters[word],), at + 1
        if digits and letter in ("d", "o"):
            return (str(self._digit(word)),), at + 1
        if digits and letter == "e":
            return (self._numbers.digit_string([word]) or "",), at + 1
        if digits and letter == "T":
            if at + 1 < len(words) and classes.get(words[at + 1]) == "d":
                together = self._numbers.digit_string(words[at : at + 2]) or ""
                apart = (self._numbers.digit_string([word]) or "") + self._digit(words[at + 1])
                return (together, apart), at + 2
            return (self._numbers.digit_string([word]) or "",), at + 1
        if digits and word in self._homophones and classes[self._homophones[word]] in "do":
            return (self._digit(self._homophones[word]),), at + 1
        if word in self._lead_ins:
            return (), at + 1
        return None, at

    def _digit(self, word: str) -> str:
        return self._numbers.digit_string([word]) or ""
