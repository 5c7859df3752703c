"""Words and what the step expects in, an outcome out.

Nothing is guessed: what can be read two ways is unsure, with every reading.
An utterance is a command, an answer of the kind that is expected, or claims (one number with what was said about
it). Exactly one reading that fits is certain; words that belong to nothing make it unsure.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from itertools import islice, product

from handsfree.language.commands import Commands
from handsfree.language.dates import Dates
from handsfree.language.grammar import Grammar
from handsfree.language.letters import Spelling
from handsfree.language.numbers import ARTICLE, ORDINAL
from handsfree.language.phrases import ASK_FROM, Likeness, LikePhrases, spoken_forms
from handsfree.language.pieces import Claim, Cut, Cutter, pieces_trie
from handsfree.language.weighing import Scales, Weighed, outside_step
from handsfree.language.written import Written
from handsfree.model import Command, Expectation, Nothing, Outcome, Reading, Readings, Text, Unsure

MOST_WORDS = 80
"""Longer talk is no answer."""
MOST_ALTERNATIVES = 6

_TEXT_KINDS = ("digits", "letters", "serial", "date", "time")
_MOST_WORDS_OF_A_NAME = 5
_EXCLAMATIONS = ("oh", "o")
_CHANCE_WORDS = frozenset(("one", "oh", "o", "first", "second"))


class Interpreter:
    """Understands one language."""

    def __init__(self, grammar: Grammar) -> None:
        self._numbers = grammar.numbers
        self._quantities = grammar.quantities
        self._homophones = grammar.homophones
        self._written = Written(grammar)
        self._commands = Commands(grammar)
        self._spelling = Spelling(grammar)
        self._dates = Dates(grammar)
        self._cutter = Cutter(grammar)
        self._scales = Scales(grammar)
        self._trie = pieces_trie(grammar)
        self._sounds = grammar.sounds
        self._nothing = frozenset(grammar.nothing)
        names = ((name, q.id) for q in grammar.quantities.values() for name in (*q.names, *q.shared))
        self._like_names = LikePhrases(
            (n for n in names if not _holds_number(n[0], grammar.numbers.classes)), grammar.sounds
        )
        self._ordinals = frozenset(grammar.numbers.ordinals)
        self._like_choices: dict[tuple[tuple[str, tuple[str, ...]], ...], LikePhrases] = {}

    def understand(self, text: str, expectation: Expectation) -> Outcome:
        """The outcome of an utterance. Never raises; its time is bounded by MOST_WORDS and by what `written` reads."""
        words = self._written.words(self._written.time_of_day(text) if expectation.kind == "time" else text)
        if not words:
            return Nothing("nothing was said")
        emergency = self._commands.emergency(words)
        if emergency is not None:
            return emergency
        if len(words) > MOST_WORDS:
            return Nothing("too long for an answer")
        if expectation.kind == "choice" and (choice := self._exact_choice(words, expectation)) is not None:
            return choice
        command = self._commands.exact(words)
        if command is not None:
            return Command(command)
        if expectation.kind in ("letters", "serial"):
            typed = self._written.characters(text, digits=expectation.kind == "serial")
            if typed is not None:
                return self._of_length([typed], expectation.kind, expectation.length) or Nothing()
        for way in (self._by_kind, self._asked, self._with_command, self._none_said):
            outcome = way(words, expectation)
            if outcome is not None:
                return outcome
        found = self._values(words, expectation)
        if type(found) is not Nothing:
            return found
        return self._by_likeness(words, expectation) or found

    def _asked(self, words: list[str], expectation: Expectation) -> Outcome | None:
        return self._commands.asked(words)

    def _by_likeness(self, words: list[str], expectation: Expectation) -> Outcome | None:
        if expectation.kind == "choice" and (liked := self._like_choice(words, expectation)) is not None:
            return liked
        if expectation.kind in ("letters", "serial"):
            return None
        return self._commands.like(words)

    # ------------------------------------------------------------------------------------------ kinds that are no value

    def _by_kind(self, words: list[str], expectation: Expectation) -> Outcome | None:
        """What the kinds that are no measured value make of the words; None to go on."""
        kind = expectation.kind
        if kind in ("any", "number", "quantity", "choice", "yes_no"):
            return self._ordinal(words) if kind == "number" and words[-1] in self._ordinals else None
        if kind == "date":
            found = _texts(self._dates.dates(words), kind, "it can be two dates")
            return found or (Unsure((), "that is no date") if self._dates.speaks_of_a_date(words) else None)
        if kind == "time":
            found = _texts(self._dates.times(words), kind, "morning or afternoon")
            return found or (Unsure((), "that is no time") if self._dates.speaks_of_a_time(words) else None)
        if kind == "digits":
            return _within_step(self._digits(words, expectation.length), expectation)
        spelled = self._spelling.spelled(words, letters=True, digits=kind == "serial")
        return self._of_length(spelled, kind, expectation.length)

    def _ordinal(self, words: list[str]) -> Outcome | None:
        readings = self._numbers.parse(words[1:] if words[0] == "the" else words)
        return Readings((Reading(readings[0].value),)) if readings else None

    def _digits(self, words: list[str], length: int | None) -> Outcome | None:
        core = [self._homophones.get(w, w) for w in self._without_lead_in(words)]
        text = self._numbers.digit_string(core)
        if text is None:
            return None
        texts = [text]
        classes = self._numbers.classes_of(core)
        if len(classes) > 2 and "Td" in classes and not re.search("[hkmbtp]", classes):
            texts += [t for t in self._spelling.spelled(core, letters=False, digits=True) if t != text]
        outcome = self._of_length(texts, "digits", length)
        if isinstance(outcome, Text) and "ed" in classes and length is None:
            return _unsure([outcome], "single digits or pairs")
        return outcome

    def _of_length(self, texts: Sequence[str], kind: str, length: int | None) -> Outcome | None:
        fitting = [t for t in texts if length is None or len(t.replace(".", "")) == length]
        if texts and not fitting:
            return _unsure([Text(t, kind) for t in texts], f"{length} characters are expected")
        return _texts(fitting, kind, "a letter or a digit" if kind == "serial" else "single digits or pairs")

    def _without_lead_in(self, words: list[str]) -> list[str]:
        start = 0
        while start < len(words):
            end, roles = self._trie.longest(words, start)
            if (
                roles is None
                or not ("filler" in roles or "name" in roles or "generic" in roles)
                or words[start] in ("o", "oh")
            ):
                break
            start = end
        return words[start:]

    # ------------------------------------------------------------------------------------------ choices

    def _exact_choice(self, words: list[str], expectation: Expectation) -> Outcome | None:
        said = (" ".join(words), " ".join(self._commands.bare(words)))
        phrases = expectation.phrases
        found = [c for c in expectation.choices if any(s in spoken_forms(phrases.get(c, ())) for s in said)]
        return _texts(found, "choice", "it can be two answers")

    def _like_choice(self, words: list[str], expectation: Expectation) -> Outcome | None:
        number_words = self._numbers.classes
        if any(number_words.get(w, "a") not in "a&" for w in words):
            return None
        key = tuple((c, tuple(expectation.phrases.get(c, ()))) for c in expectation.choices)
        like = self._like_choices.get(key)
        if like is None:
            rows = [(phrase, choice) for choice, phrases in key for phrase in spoken_forms(phrases)]
            wordy = (r for r in rows if all(number_words.get(w, "a") in "a&" for w in r[0].split()))
            like = LikePhrases(wordy, self._sounds)
            self._like_choices[key] = like
        return _liked(like.find(" ".join(self._commands.bare(words))), lambda choice: Text(choice, "choice"))

    # ------------------------------------------------------------------------------------------ commands with more

    def _with_command(self, words: list[str], expectation: Expectation) -> Outcome | None:
        found = self._commands.leading(words)
        if found is None:
            return None
        command, takes, end = found
        rest = words[end:]
        if takes == "words":
            return Command(command, target=" ".join(rest))
        if takes == "value":
            if len(rest) == 1 and rest[0] in _EXCLAMATIONS:
                return _unsure([Command(command)], "an exclamation, or a zero")
            return _as_command(command, self._values(rest, expectation))
        return self._with_target(command, rest, expectation)

    def _with_target(self, command: str, rest: list[str], expectation: Expectation) -> Outcome | None:
        """ "change the flue temperature to fifty eight": target, its qualifier, and what it is changed to."""
        value: list[str] = []
        for at, word in enumerate(rest):
            if at and word in ("to", "is"):
                rest, value = rest[:at], rest[at + 1 :]
                break
        target, qualifier, known = self._target(rest)
        plain = Command(command, target=target, qualifier=qualifier)
        if not value:
            return plain
        if known:
            expectation = Expectation("quantity", target, qualifier, expectation.gas)
        return _as_command(command, self._values(value, expectation), target, qualifier) or _unsure(
            [plain], "what it changes to is not clear"
        )

    def _target(self, words: list[str]) -> tuple[str, str | None, bool]:
        """(quantity id or spoken name, qualifier, whether it is a quantity)."""
        names: tuple[str, ...] = ()
        qualifier = None
        at = 0
        known = True
        while at < len(words):
            end, roles = self._trie.longest(words, at)
            if roles is None:
                known, at = False, at + 1
                continue
            if "name" in roles or "shared" in roles:
                names = roles.get("name") or roles["shared"]
            elif "qualifier" in roles:
                qualifier = roles["qualifier"]
            elif "filler" not in roles:
                known = False
            at = end
        if len(names) == 1 and known:
            return names[0], qualifier, True
        return " ".join(words[1:] if words[0] == "the" and len(words) > 1 else words), None, False

    # ------------------------------------------------------------------------------------------ values

    def _none_said(self, words: list[str], expectation: Expectation) -> Outcome | None:
        """ "none" where a quantity is asked: a measured zero, or nothing measured."""
        if expectation.quantity is None or " ".join(self._commands.bare(words)) not in self._nothing:
            return None
        quantity = self._quantities[expectation.quantity]
        zero = self._numbers.parse([self._numbers.words_of("o")[0]])[0].value
        reading = Reading(zero, quantity.id, quantity.unit, expectation.qualifier)
        return Unsure((Readings((reading,)), Command("no_reading")), "a measured zero, or no reading")

    def _values(self, words: list[str], expectation: Expectation) -> Outcome:
        """Readings, unsure, or nothing."""
        cut = self._cutter.cut(words)
        claims, doubts = cut.claims, cut.doubts
        if expectation.quantity is not None:
            claims = [c for c in claims if c.said != ORDINAL]
        if len(words) == 1 and cut.classes == "o" and words[0] in _EXCLAMATIONS:
            return Nothing("an exclamation, or a zero")
        if not claims:
            if cut.broken and expectation.kind not in ("any", "number"):
                return Unsure((), cut.broken)
            return Nothing(cut.broken or "no value was said")
        if expectation.kind in _TEXT_KINDS and not all(c.names or c.either for c in claims):
            return Nothing("talk") if cut.unknown else Unsure((), f"that is no {expectation.kind}")
        if cut.unknown and len(claims) == 1:
            self._name_by_likeness(cut)
        if cut.unknown:
            claims = _worth_asking(claims)
            named = any((c.names and not c.shared) or c.units or c.either for c in claims)
            if not claims or (expectation.kind != "any" and len(cut.unknown) > 3 and not named):
                return Nothing("talk that is no value")
            doubts.append(f"other words were said: {' '.join(cut.unknown[:6])}")
        if len(claims) > 1:
            self._scales.name_pair(claims, expectation)
        if any(len(c.words) == 1 and c.words[0] in _EXCLAMATIONS and not (c.names or c.units) for c in claims):
            doubts.append("an exclamation, or a zero")
        weigh = self._scales.weigh
        weighed = [weigh(c, expectation, claims[i - 1] if i else None) for i, c in enumerate(claims)]
        for one in weighed:
            doubts += one.doubts
        if not doubts and all(len(one.fitting) == 1 for one in weighed):
            return Readings(tuple([one.fitting[0] for one in weighed]))
        return _undecided(weighed, doubts)

    def _name_by_likeness(self, cut: Cut) -> None:
        """Take the words before the only value for the name that they sound like, when one name alone does.

        The quantity that a name turns out to be is read back with the value; a near miss stays unknown words.
        """
        claim = cut.claims[0]
        if not 0 < cut.before_number <= _MOST_WORDS_OF_A_NAME:
            return
        words = cut.words[: cut.before_number]
        if not set(cut.unknown) <= set(words) or any(c not in "xao" for c in cut.classes[: cut.before_number]):
            return
        found = self._like_names.find(" ".join(words))
        if found is None or not found.certain:
            return
        claim.names, claim.shared, claim.dimension = (found.meaning,), False, ""
        cut.unknown.clear()


def _worth_asking(claims: Sequence[Claim]) -> list[Claim]:
    """Claims that are no chance word of talk."""
    return [
        c
        for c in claims
        if (c.names and not c.shared) or (c.units and c.said != ARTICLE) or c.either or not _chance_word(c)
    ]


def _chance_word(claim: Claim) -> bool:
    """A lone "one", "oh", "first", "second" or "a unit" between other words is no value."""
    return claim.said == ARTICLE or (len(claim.words) == 1 and claim.words[0] in _CHANCE_WORDS)


def _as_command(
    command: str, outcome: Outcome, target: str | None = None, qualifier: str | None = None
) -> Outcome | None:
    """A command with the values behind it; None when there are none."""
    match outcome:
        case Readings(readings):
            return Command(command, readings, target, qualifier)
        case Unsure(alternatives, reason):
            commands = [
                Command(command, a.readings, target, qualifier) for a in alternatives if isinstance(a, Readings)
            ]
            return Unsure(tuple(commands), reason)
        case _:
            return None


def _undecided(weighed: Sequence[Weighed], doubts: Sequence[str]) -> Outcome:
    """Unsure, with every reading; those that were refused stand for a claim that nothing fits."""
    choices = [one.fitting or one.refused for one in weighed]
    alternatives = [Readings(readings) for readings in islice(product(*[c for c in choices if c]), MOST_ALTERNATIVES)]
    refused = [reason for one in weighed if not one.fitting for reason in one.reasons]
    reason = (refused or list(doubts) or ["it can be read two ways"])[0]
    return Unsure(tuple(dict.fromkeys(a for a in alternatives if a.readings)), reason)


def _within_step(outcome: Outcome | None, expectation: Expectation) -> Outcome | None:
    """Digits that are a number outside the step's bounds are asked."""
    if isinstance(outcome, Text) and (outside := outside_step(Decimal(outcome.text), expectation)):
        return _unsure([outcome], outside)
    return outcome


def _unsure(alternatives: Sequence[Readings | Command | Text], reason: str) -> Unsure:
    return Unsure(tuple(alternatives), reason)


def _texts(texts: Sequence[str], kind: str, reason: str) -> Outcome | None:
    """Text when there is one, unsure when there are several, None when there is none."""
    if not texts:
        return None
    if len(texts) == 1:
        return Text(texts[0], kind)
    return Unsure(tuple(Text(t, kind) for t in texts), reason)


def _liked(found: Likeness | None, outcome: Callable[[str], Text | Command]) -> Outcome | None:
    """A likeness as an outcome: certain, asked, or None."""
    if found is None or found.score < ASK_FROM:
        return None
    if found.certain:
        return outcome(found.meaning)
    alternatives = [outcome(found.meaning)]
    if found.runner_up and found.runner_up_score >= ASK_FROM:
        alternatives.append(outcome(found.runner_up))
    return Unsure(tuple(alternatives), "it sounds like an answer")


def _holds_number(phrase: str, classes: Mapping[str, str]) -> bool:
    """Whether a phrase holds a number word: such a phrase is only found exactly."""
    return any(classes.get(word, "a") not in "a&o" for word in phrase.split())
