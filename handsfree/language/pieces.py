"""Words in, claims out: one number each, with the name, unit and qualifier that were said about it.

A claim is what was said, not yet what is meant: shared names keep all their quantities, short units all their units,
ambiguous numbers all their readings. Words that belong to nothing are kept too, because they make the whole doubtful.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from handsfree.language.grammar import Grammar
from handsfree.language.numbers import ARTICLE, ORDINAL, NumberReading, Numbers
from handsfree.language.roles import pieces_trie

_CORE = "[doeThkmbtpDRHQ]"
_RUN = re.compile(rf"[-+]?(?:a(?=[hkmbtHQ]))?{_CORE}(?:&?a?{_CORE})*")
_FRACTION_AFTER_UNIT = re.compile("&[ad]?[HQ]")
_WHOLE_FIRST = re.compile("[do]p")
_STRONG = re.compile("[deThkmbtHQ]")

_OVER = "over"
"""Parts a pair behind its first value ("sixty five over forty eight"); in front of one it means "more than"."""

Roles = Mapping[str, Any]


@dataclass(slots=True)
class Claim:
    """One number, and what was said about it."""

    numbers: tuple[NumberReading, ...] = ()
    said: str = ""
    """classes of the number words"""
    words: Sequence[str] = ()
    """the number words"""
    at: int = 0
    """where they begin in the utterance"""
    names: tuple[str, ...] = ()
    """ids of the quantities that were named; several when the name is shared"""
    name: Sequence[str] = ()
    """the words of the name"""
    shared: bool = False
    """the name is an everyday word too ("current", "flow")"""
    dimension: str = ""
    """when a generic name gave no more than this"""
    qualifier: str | None = None
    units: tuple[str, ...] = ()
    """that the word names in full"""
    short: tuple[str, ...] = ()
    """that the word may be short for, once the quantity is known"""
    sounds_like: tuple[str, ...] = ()
    """units that a word behind the number sounds like ("ten okay")"""
    qualifier_or_unit: str | None = None
    """the qualifier that the unit's word may be ("min")"""
    over: bool = False
    """said behind "over", as the second of a pair"""
    parted: bool = False
    """a separator was said before the number"""
    either: tuple[tuple[str | None, tuple[NumberReading, ...]], ...] = ()
    """(quantity, numbers): what it can be when a number word may belong to the name or to the value"""


@dataclass(slots=True)
class Cut:
    """An utterance, cut."""

    words: Sequence[str]
    classes: str
    claims: list[Claim] = field(default_factory=list)
    claim: Claim = field(default_factory=Claim)
    doubts: list[str] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)
    before_number: int = 0
    """how many words stand before the first number"""
    broken: str = ""
    """what was no complete number"""
    parted: bool = False
    """a separator was just said"""
    after_number: bool = False
    seam: bool = False
    """ "and" or "a" was said behind a number, and nothing that it joins has come yet"""
    over_in_the_air: bool = False
    """ "over" was said behind a number, and no second one has come yet"""
    name_in_the_air: bool = False
    """a name was said that no value came to"""

    def close(self) -> None:
        """End the claim on hand; what has no number is dropped."""
        if self.claim.numbers or self.claim.either:
            self.claims.append(self.claim)
        elif self.claim.names or self.claim.dimension:
            self.name_in_the_air = True
        elif self.claim.qualifier and not (self.claims and self.claims[-1].qualifier == self.claim.qualifier):
            self.doubts.append("a state was said without a value")
        self.claim = Claim()
        self.seam = False

    def finish(self) -> None:
        """Close the last claim, and doubt what is left in the air."""
        if self.seam:
            self.doubts.append("a part of the number is missing")
        if self.over_in_the_air:
            self.doubts.append("the end is missing")
        self.close()
        if self.name_in_the_air and self.claims:
            self.doubts.append("a name was said without a value")


class Cutter:
    """Cuts the utterances of one language."""

    def __init__(self, grammar: Grammar) -> None:
        self._numbers: Numbers = grammar.numbers
        self._homophones = grammar.homophones
        self._homophone_words = frozenset(grammar.homophones)
        self._trie = pieces_trie(grammar)
        self._one = (NumberReading(Decimal(1), "cardinal"),)
        self._ordinals = frozenset(grammar.numbers.ordinals)
        self._sounds_like_unit = grammar.sounds_like_unit
        self._remarks = frozenset(grammar.remarks)
        self._none_said = (NumberReading(Decimal(0), "cardinal"),)

    def cut(self, words: Sequence[str]) -> Cut:
        """Claims, doubts and words that belong to nothing."""
        classes = self._numbers.classes_of(words)
        if not self._homophone_words.isdisjoint(words):
            words, classes = self._with_homophones(list(words), classes)
        cut = Cut(words, classes)
        longest = self._trie.longest
        at, count = 0, len(words)
        while at < count:
            letter = classes[at]
            end, roles = longest(words, at)
            if roles is not None and (letter == "x" or "name" in roles):
                at = self._take_phrase(cut, roles, at, end)
                continue
            match = _RUN.match(classes, at) if letter != "x" else None
            if match is not None:
                at = self._take_number(cut, at, match.end())
            elif letter == "a" and (past := self._one_of_a_unit(cut, at)) is not None:
                at = past
            elif letter == "x" and words[at] in self._ordinals:
                at = self._take_ordinal(cut, at, at + 1)
            else:
                if letter == "&":
                    self._take_and(cut, at)
                elif letter == "a" and cut.classes[at + 1 : at + 2] not in ("", "x", "&", "a"):
                    cut.doubts.append("a part of the number is missing")  # "a point two": eight point two
                elif letter != "a":
                    cut.unknown.append(words[at])
                if letter in "&a":
                    cut.seam = cut.seam or bool(cut.claim.numbers)
                cut.after_number = False
                at += 1
        cut.finish()
        return cut

    def _with_homophones(self, words: list[str], classes: str) -> tuple[list[str], str]:
        """ "nine point to": behind "point", "double" or "treble" only a digit can stand."""
        letters = list(classes)
        for at in range(1, len(words)):
            if words[at] in self._homophone_words and classes[at - 1] in "pDR":
                words[at] = self._homophones[words[at]]
                letters[at] = self._numbers.classes[words[at]]
        return words, "".join(letters)

    # ------------------------------------------------------------------------------------------ numbers

    def _take_number(self, cut: Cut, at: int, end: int) -> int:
        if end < len(cut.words) and cut.words[end] in self._ordinals and not self._unit_at(cut, end):
            return self._take_ordinal(cut, at, end + 1)
        numbers = self._numbers.parse_run(cut.words[at:end], cut.classes[at:end])
        said = cut.classes[at:end]
        if not numbers:
            return self._take_broken_number(cut, at, end)
        if cut.claim.numbers or cut.claim.either:
            over = cut.claim.over
            cut.close()
            cut.claim.over = over
        if not cut.claims:
            cut.before_number = at
        cut.claim.numbers, cut.claim.said, cut.claim.words = numbers, said, cut.words[at:end]
        cut.claim.at, cut.claim.parted = at, cut.parted
        cut.parted, cut.after_number, cut.seam, cut.over_in_the_air = False, True, False, False
        return self._skip_to_unit(cut, end) if said[-1] in "HQ" else end

    def _take_ordinal(self, cut: Cut, at: int, end: int) -> int:
        """ "twenty first": a number, but none that was measured; "one" behind it is a pronoun."""
        numbers = self._numbers.parse(cut.words[at:end])
        if not numbers:
            cut.unknown += cut.words[at:end]
            return end
        cut.close()
        start = at - 1 if at and cut.words[at - 1] == "the" else at
        cut.claim.numbers, cut.claim.said, cut.claim.words = numbers, ORDINAL, cut.words[start:end]
        cut.doubts.append("an ordinal is no measured value")
        cut.after_number = False
        return end + 1 if end < len(cut.words) and self._numbers.parse(cut.words[end : end + 1]) == self._one else end

    def _take_and(self, cut: Cut, at: int) -> None:
        """ "and" that joins no number: a separator, or the seam at which a part of a number was lost."""
        cut.parted = True
        first = at == 0 or cut.classes[at - 1] == ARTICLE
        if first and at + 1 < len(cut.words) and cut.classes[at + 1] != "x":
            cut.doubts.append("a part of the number is missing")

    def _take_broken_number(self, cut: Cut, at: int, end: int) -> int:
        """Two numbers joined by "and", one number said twice, or words that make no number."""
        middle = (at + end) // 2
        if (
            middle > at + 1
            and cut.words[at:middle] == cut.words[middle:end]
            and self._numbers.parse(cut.words[at:middle])
        ):
            self._take_number(cut, at, middle)
            return end
        for middle in range(at + 1, end - 1):
            if cut.classes[middle] == "&":
                first = self._numbers.parse_run(cut.words[at:middle], cut.classes[at:middle])
                second = self._numbers.parse_run(cut.words[middle + 1 : end], cut.classes[middle + 1 : end])
                if first and second:
                    cut.doubts.append("two numbers were said")
                    self._take_number(cut, at, middle)
                    return self._take_number(cut, middle + 1, end)
        if _STRONG.search(cut.classes, at, end):
            cut.broken = f"{' '.join(cut.words[at:end])} is no complete number"
            cut.doubts.append(cut.broken)
        else:
            cut.unknown += cut.words[at:end]
        cut.after_number = False
        return end

    def _skip_to_unit(self, cut: Cut, at: int) -> int:
        """Past the "of a" of "quarter of a bar" and the "a" of "half a bar", when a unit follows."""
        start = at
        if at < len(cut.words) and cut.words[at] == "of":
            at += 1
        if at < len(cut.words) and cut.classes[at] == "a":
            at += 1
        if at > start and not self._unit_at(cut, at):
            return start
        return at

    def _unit_at(self, cut: Cut, at: int) -> int:
        """End of the unit's name at `at`, 0 when there is none."""
        end, roles = self._trie.longest(cut.words, at)
        return end if roles is not None and ("unit" in roles or "short" in roles) else 0

    def _one_of_a_unit(self, cut: Cut, at: int) -> int | None:
        """ "a bar and a half": one of the unit; without a fraction behind it ("a bar") only asked. None when no unit
        follows."""
        end, roles = self._trie.longest(cut.words, at + 1)
        if roles is None or "unit" not in roles:
            return None
        if cut.claim.numbers or cut.claim.either:
            cut.close()
        cut.claim.numbers, cut.claim.said = self._one, ARTICLE
        cut.after_number = True
        if not _FRACTION_AFTER_UNIT.match(cut.classes, end):
            cut.doubts.append("a unit was said without a number")
        return at + 1

    def _and_fraction(self, cut: Cut, at: int) -> int:
        """Past the fraction behind a unit ("one bar and a quarter"), which is added."""
        match = _FRACTION_AFTER_UNIT.match(cut.classes, at)
        if match is None or len(cut.claim.numbers) != 1 or cut.claim.numbers[0].form != "cardinal":
            return at
        end = match.end()
        if self._unit_at(cut, end):
            return at  # "one hour and a half minute"
        fraction = self._numbers.parse_run(cut.words[at + 1 : end], cut.classes[at + 1 : end])
        if fraction[0].form != "fraction" or fraction[0].value >= 1:
            return at
        cut.claim.numbers = (NumberReading(cut.claim.numbers[0].value + fraction[0].value, "mixed"),)
        return end

    # ------------------------------------------------------------------------------------------ phrases

    def _take_phrase(self, cut: Cut, roles: Roles, at: int, end: int) -> int:
        after_number, cut.after_number = cut.after_number, False
        claim = cut.claim
        if "below" in roles and after_number and claim.numbers and claim.numbers[0].value > 0:
            claim.numbers = tuple([replace(n, value=-n.value) for n in claim.numbers])
            return end
        if after_number and ("unit" in roles or "short" in roles) and not (claim.units or claim.short):
            claim.units, claim.short = roles.get("unit", ()), roles.get("short", ())
            claim.qualifier_or_unit = roles.get("qualifier")
            cut.after_number = True
            return self._and_fraction(cut, end) if end < len(cut.words) else end
        if "filler" in roles:
            cut.after_number = after_number and cut.words[at] in ("of",)
            if after_number and not (claim.units or claim.short):
                claim.sounds_like = self._unit_that_sounds_like(cut.words[at])
            if "separator" in roles:
                cut.parted = True
        elif "name" in roles or "shared" in roles or "generic" in roles:
            return self._take_name(cut, roles, at, end)
        elif "qualifier" in roles:
            self._take_qualifier(cut, roles["qualifier"], at)
        elif "separator" in roles:
            cut.parted = True
            claim.over = cut.over_in_the_air = cut.words[at] == _OVER
            if claim.over and not (claim.numbers or claim.either):
                cut.doubts.append("over is no exact value")
        elif "hedge" in roles:
            cut.doubts.append(f"{' '.join(cut.words[at:end])} is no exact value")
        elif "zero" in roles:
            if claim.numbers or claim.either or claim.names or claim.dimension:
                cut.close()
            cut.claim.numbers, cut.claim.said = self._none_said, "o"
            cut.claim.names = roles["zero"]
        else:
            cut.unknown += cut.words[at:end]
        return end

    def _take_qualifier(self, cut: Cut, qualifier: str, at: int) -> None:
        claim = cut.claim
        if (claim.numbers or claim.either) and (claim.qualifier or cut.parted):
            cut.close()
        elif claim.qualifier not in (None, qualifier):
            cut.doubts.append("two states were said with one value")
        if any(" ".join(cut.words[max(0, at - n) : at]) in self._remarks for n in (1, 2)):
            cut.doubts.append("it may be a remark")
        cut.claim.qualifier, cut.seam = qualifier, False

    def _unit_that_sounds_like(self, word: str) -> tuple[str, ...]:
        """Units that the word may have been ("ten okay": ten k)."""
        unit = self._sounds_like_unit.get(word)
        _, roles = self._trie.longest([unit], 0) if unit else (0, None)
        return roles.get("unit", ()) + roles.get("short", ()) if roles else ()

    def _take_name(self, cut: Cut, roles: Roles, at: int, end: int) -> int:
        claim = cut.claim
        if (claim.numbers or claim.either) and (claim.names or claim.dimension or cut.parted):
            cut.close()
            claim = cut.claim
        elif claim.names and not claim.numbers:
            cut.doubts.append("two names were said with one value")
        cut.parted = cut.seam = False
        names = roles.get("name") or roles.get("shared")
        if names:
            claim.names, claim.shared, claim.name = names, "name" not in roles, cut.words[at:end]
        else:
            claim.dimension = roles["generic"]
        if "name" in roles and cut.classes[end - 1] == "d" and not claim.numbers:
            return self._name_or_value(cut, at, end)
        return end

    def _name_or_value(self, cut: Cut, at: int, end: int) -> int:
        """ "c o two nine": the name ends in a number word, which may belong to the value instead.

        The value behind the name is certain when something stands between them, or when it is a decimal with its own
        whole part.
        """
        words, classes = cut.words, cut.classes
        run = _RUN.match(classes, end) if end < len(words) else None
        if run is None and any(c in "doeTHQ" for c in classes[end:]):
            return end
        stop = run.end() if run else end
        other = self._other_name(words, at, end)
        first = end - 2 if other is None and classes[end - 2] == "o" else end - 1  # "o two" alone may be the digits 02
        whole = self._numbers.parse_run(words[first:stop], classes[first:stop])
        behind = self._numbers.parse_run(words[end:stop], classes[end:stop]) if run else ()
        if behind and behind[0].form == "decimal" and classes[end] != "p":
            cut.claim.numbers, cut.claim.said = behind, classes[end:stop]
        elif behind or whole:
            name = cut.claim.names[0]
            pairs = ((name, behind), (other, whole))
            cut.claim.either = tuple((quantity, numbers) for quantity, numbers in pairs if numbers)
            cut.claim.names = ()
            cut.claim.said = classes[first:stop]
            cut.doubts.append("the two may belong to the name or to the value")
        else:
            cut.broken = f"{' '.join(words[end:stop])} is no complete number"
            cut.doubts.append(cut.broken)
        cut.after_number = True
        return stop

    def _other_name(self, words: Sequence[str], at: int, end: int) -> str | None:
        """The quantity whose name is the same without its last word."""
        stop, roles = self._trie.longest(words[: end - 1], at)
        names = roles.get("name") if roles is not None and stop == end - 1 else None
        return names[0] if names else None
