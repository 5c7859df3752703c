"""Words and what the step expects in, an outcome out.

Nothing is guessed: what can be read two ways is unsure, with every reading.
An utterance is a command, an answer of the kind that is expected, or claims (one number with what was said about
it). Exactly one reading that fits is certain; words that belong to nothing make it unsure.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import islice, product

from handsfree.language.commands import Commands, Leading
from handsfree.language.doubts import Doubts, two_values_for_one
from handsfree.language.durations import joined_times
from handsfree.language.grammar import Grammar
from handsfree.language.numbers import ARTICLE, ORDINAL, POINT
from handsfree.language.phrases import ASK_FROM, Likeness, LikePhrases, spoken_forms
from handsfree.language.pieces import Claim, Cut, Cutter
from handsfree.language.roles import pieces_trie
from handsfree.language.texts import EXCLAMATIONS, MOST_ALTERNATIVES, TEXT_KINDS, Texts, texts_outcome
from handsfree.language.weighing import Scales, Weighed
from handsfree.language.written import Written
from handsfree.model import Command, Expectation, Nothing, Outcome, Reading, Readings, Text, Unsure

MOST_WORDS = 80
"""Longer talk is no answer."""

_MOST_WORDS_OF_A_NAME = 5
_NOBODY = ["no", "one"]
_CHANCE_WORDS = frozenset(("one", "oh", "o", "first", "second"))


class Interpreter:
    """Understands one language."""

    def __init__(self, grammar: Grammar) -> None:
        self._numbers = grammar.numbers
        self._quantities = grammar.quantities
        self._units = grammar.units
        self._homophones = grammar.homophones
        self._written = Written(grammar)
        self._commands = Commands(grammar)
        self._texts = Texts(grammar)
        self._cutter = Cutter(grammar)
        self._scales = Scales(grammar)
        self._doubts = Doubts(grammar)
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
        line = self._written.time_of_day(text) if expectation.kind == "time" else text
        words = self._written.words(line, listed=expectation.kind in TEXT_KINDS)
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
                return self._texts.of_length([typed], expectation.kind, expectation.length) or Nothing()
        for way in (self._by_kind, self._asked, self._with_command, self._none_said):
            outcome = way(words, expectation)
            if outcome is not None:
                return outcome
        found = self._values(words, expectation)
        if type(found) is not Nothing:
            return found
        return self._by_likeness(words, expectation) or found

    def _by_kind(self, words: list[str], expectation: Expectation) -> Outcome | None:
        if expectation.kind in TEXT_KINDS:
            return self._texts.answer(words, expectation)
        return self._ordinal(words) if expectation.kind == "number" and words[-1] in self._ordinals else None

    def _ordinal(self, words: list[str]) -> Outcome | None:
        readings = self._numbers.parse(words[1:] if words[0] == "the" else words)
        return Readings((Reading(readings[0].value),)) if readings else None

    def _asked(self, words: list[str], expectation: Expectation) -> Outcome | None:
        asked = self._commands.asked(words)
        if asked is None:
            return None
        found = self._values(words, expectation)  # "two minutes": a time, or a wish to wait
        if isinstance(found, Readings) and expectation.quantity is not None:
            return found
        return _either(asked, found, reason=asked.reason)

    def _by_likeness(self, words: list[str], expectation: Expectation) -> Outcome | None:
        if expectation.kind == "choice" and (liked := self._like_choice(words, expectation)) is not None:
            return liked
        if expectation.kind in ("letters", "serial"):
            return None
        return self._commands.like(words)

    # ------------------------------------------------------------------------------------------ choices

    def _exact_choice(self, words: list[str], expectation: Expectation) -> Outcome | None:
        said = (" ".join(words), " ".join(self._commands.bare(words)))
        phrases = expectation.phrases
        found = [c for c in expectation.choices if any(s in spoken_forms(phrases.get(c, ())) for s in said)]
        return texts_outcome(found, "choice", "it can be two answers")

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
        rest = words[found.end :]
        if found.takes == "words":
            return Command(found.command, target=" ".join(rest))
        if found.takes == "value":
            return self._with_value(found, words, expectation)
        return self._with_target(found.command, rest, expectation)

    def _with_value(self, found: Leading, words: list[str], expectation: Expectation) -> Outcome | None:
        """ "no nine point four"; asked where the phrase reads on otherwise ("no reading nine", "no drop two")."""
        rest = words[found.end :]
        if len(rest) == 1 and rest[0] in EXCLAMATIONS:
            return _unsure([Command(found.command)], "an exclamation, or a zero")
        text = self._texts.answer(rest, expectation) if expectation.kind in TEXT_KINDS else None
        if text is not None:  # no command carries a string: it is said again alone
            return _either(text, reason=f"{' '.join(words[: found.end])} was said before it")
        outcome = _as_command(found.command, self._values(rest, expectation))
        if outcome is None:
            return None
        end, roles = self._trie.longest(words, found.start)
        if roles is not None and "zero" in roles and end > found.end:
            plain = self._values(words, expectation)
            return plain if isinstance(plain, Readings) and isinstance(outcome, Unsure) else _either(plain, outcome)
        if found.other is not None:
            return _either(Command(found.other), outcome)
        if found.command == "no" and words[found.start :] == _NOBODY:
            return _either(outcome, reason="no one, or the number")
        if found.command == "no" and self._numbers.classes_of(rest[:1]) == POINT:
            return _either(outcome, reason="only the part behind the point was said")
        return outcome

    def _with_target(self, command: str, rest: list[str], expectation: Expectation) -> Outcome | None:
        """ "change the flue temperature to fifty eight": target, its qualifier, and what it is changed to."""
        value: list[str] = []
        for at, word in enumerate(rest):
            if at and word in ("to", "is"):
                rest, value = rest[:at], rest[at + 1 :]
                if "from" in rest[1:]:
                    rest = rest[: rest.index("from", 1)]  # "from nine point two": what it was
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
        if len(claims) > 1:
            claims = joined_times(self._doubts.said_once(cut), self._units)
        if expectation.quantity is not None:
            claims = [c for c in claims if c.said != ORDINAL]
        if len(words) == 1 and cut.classes == "o" and words[0] in EXCLAMATIONS:
            return Nothing("an exclamation, or a zero")
        if not claims:
            if cut.broken and expectation.kind not in ("any", "number"):
                return Unsure((), cut.broken)
            return Nothing(cut.broken or "no value was said")
        if expectation.kind in TEXT_KINDS and not all(c.names or c.either for c in claims):
            return Nothing("talk") if cut.unknown else Unsure((), f"that is no {expectation.kind}")
        if cut.unknown and len(claims) == 1:
            self._name_by_likeness(cut, claims[0])
        if cut.unknown:
            claims = _worth_asking(claims)
            named = any((c.names and not c.shared) or c.units or c.either for c in claims)
            if not claims or (expectation.kind != "any" and len(cut.unknown) > 3 and not named):
                return Nothing("talk that is no value")
            doubts.append(f"other words were said: {' '.join(cut.unknown[:6])}")
        if len(claims) > 1 and (inverted := self._scales.name_pair(claims, expectation)):
            doubts.append(inverted)
        doubts += self._doubts.about(cut, claims)
        weigh = self._scales.weigh
        named = len(claims) > 1 and any(expectation.quantity in c.names for c in claims)
        weighed = [weigh(c, expectation, claims[i - 1] if i else None, named) for i, c in enumerate(claims)]
        for one in weighed:
            doubts += one.doubts
        if len(weighed) > 1 and two_values_for_one(weighed):
            doubts.append("two values were said for one quantity")
        if not doubts and all(len(one.fitting) == 1 for one in weighed):
            return Readings(tuple([one.fitting[0] for one in weighed]))
        return _undecided(weighed, doubts)

    def _name_by_likeness(self, cut: Cut, claim: Claim) -> None:
        """Take the words before the only value for the name that they sound like, when one name alone does.

        The quantity that a name turns out to be is read back with the value; a near miss stays unknown words.
        """
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


def _either(*outcomes: Outcome, reason: str = "it can be read two ways") -> Unsure:
    """Unsure with everything that the outcomes can be."""
    alternatives: list[Readings | Command | Text] = []
    for outcome in outcomes:
        if isinstance(outcome, Unsure):
            alternatives += outcome.alternatives
        elif not isinstance(outcome, Nothing):
            alternatives.append(outcome)
    return _unsure(list(dict.fromkeys(alternatives))[:MOST_ALTERNATIVES], reason)


def _undecided(weighed: Sequence[Weighed], doubts: Sequence[str]) -> Outcome:
    """Unsure, with every reading; those that were refused stand for a claim that nothing fits."""
    choices = [one.fitting or one.refused for one in weighed]
    alternatives = [Readings(readings) for readings in islice(product(*[c for c in choices if c]), MOST_ALTERNATIVES)]
    refused = [reason for one in weighed if not one.fitting for reason in one.reasons]
    reason = (refused or list(doubts) or ["it can be read two ways"])[0]
    return Unsure(tuple(dict.fromkeys(a for a in alternatives if a.readings)), reason)


def _unsure(alternatives: Sequence[Readings | Command | Text], reason: str) -> Unsure:
    return Unsure(tuple(alternatives), reason)


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
