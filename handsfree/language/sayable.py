"""The grammar and what the step expects in, what can be said in answer out: as an automaton, as spellings, as samples.

Listeners search along it, so it holds what people say, not all that `understand` would take: no millions, one word for
each sound. Whatever it accepts, `understand` makes something of.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Mapping, Sequence

from handsfree.language.automaton import Net, WordAutomaton, determinised
from handsfree.language.grammar import Grammar
from handsfree.language.numbers import FORMS
from handsfree.language.phrases import spoken_forms
from handsfree.model import Expectation

_LINKS = ("is", "it's", "that's", "it is", "at", "reads", "reading", "the reading is")
_LED = ("it's", "that's", "it is")


_FIRST_YEAR, _LAST_YEAR = 1980, 2059
"""Years that a date on a boiler can have: made, fitted, serviced, due."""
_SHORT_ZERO = "oh"


class _Builder:
    """Builds the net of one expectation."""

    def __init__(self, grammar: Grammar, expectation: Expectation) -> None:
        self.grammar, self.expectation = grammar, expectation
        self.net = Net()
        self.start, self.end = self.net.state(), self.net.state()
        phrases = [p for c in grammar.commands for p in (*c.phrases, *c.before, *c.asked)]
        phrases += [n for q in grammar.quantities.values() for n in (*q.names, *q.shared, *q.zero)]
        phrases += [n for u in grammar.units.by_id.values() for n in (*u.names, *u.short)]
        phrases += [n for q in grammar.qualifiers for n in q.names] + [n for g in grammar.generics for n in g.names]
        phrases += [p for spoken in expectation.phrases.values() for p in spoken_forms(spoken)]
        phrases += [*grammar.letters, *_LINKS, "to", "of", "over", "the", "ray"]
        alone = {word for phrase in phrases for word in phrase.split()}
        self.labels: dict[str, list[str]] = {}
        self.groups: dict[str, list[str]] = {}
        left_out = grammar.not_listened_for
        for word, letter in grammar.numbers.classes.items():
            if word in left_out:
                continue
            if word in alone:
                self.labels.setdefault(letter, []).append(word)
            else:
                group = f"#{letter}"
                if group not in self.groups:
                    self.labels.setdefault(letter, []).append(group)
                self.groups.setdefault(group, []).append(word)

    def build(self) -> WordAutomaton:
        kind = self.expectation.kind
        self._commands()
        if kind in ("digits", "letters", "serial"):
            self._string(kind)
        elif kind == "date":
            self._date()
        elif kind == "time":
            self._time()
        else:
            for phrases in self.expectation.phrases.values():
                self.net.phrases(self.start, spoken_forms(phrases), self.end)
            self._values()
        return determinised(self.net, self.start, frozenset((self.end,)), self.groups)

    def _commands(self) -> None:
        said = self.net.state()
        for command in self.grammar.commands:
            self.net.phrases(self.start, (*command.phrases, *command.asked), said)
        self.net.link(said, self.end)
        self.net.word(said, "please", self.end)

    # ------------------------------------------------------------------------------------------ values

    def _values(self) -> None:
        net, grammar = self.net, self.grammar
        value, led, named, number = net.state(), net.state(), net.state(), net.state()
        counted, done = net.state(), net.state()
        net.link(self.start, value)
        names = [n for q in grammar.quantities.values() for n in (*q.names, *q.shared)]
        names += [n for g in grammar.generics for n in g.names]
        qualifiers = [n for q in grammar.qualifiers for n in q.names]
        for command in grammar.commands:
            if command.takes == "value":
                net.phrases(self.start, command.before, led)
            elif command.takes == "target":
                self._targets(command.before, names, qualifiers, number, takes_value=command.id == "change")
        net.link(led, value)
        net.phrases(value, names, named)
        net.link(value, named)
        qualified = net.state()
        net.phrases(named, qualifiers, qualified)
        net.link(named, qualified)
        net.phrases(qualified, _LINKS, number)
        net.link(qualified, number)
        self._number(number, counted)
        self._units(number, counted, done)
        net.phrases(done, qualifiers, self.end)
        at = net.state()
        net.word(done, "at", at)
        net.phrases(at, qualifiers, self.end)
        net.link(done, self.end)
        second, second_counted = net.state(), net.state()
        net.word(done, "over", second)
        self._number(second, second_counted)
        net.link(second_counted, self.end)
        net.phrases(value, [z for q in grammar.quantities.values() for z in q.zero], self.end)

    def _targets(
        self, before: Sequence[str], names: Sequence[str], qualifiers: Sequence[str], number: int, takes_value: bool
    ) -> None:
        net = self.net
        target, named = net.state(), net.state()
        net.phrases(self.start, before, target)
        net.phrases(target, names, named)
        qualified = net.state()
        net.phrases(named, qualifiers, qualified)
        net.link(named, qualified)
        net.link(qualified, self.end)
        if takes_value:
            net.word(qualified, "to", number)

    def _number(self, source: int, target: int) -> None:
        net = self.net
        signed = net.state()
        net.link(source, signed)
        for label in self.labels.get("-", ()):
            net.word(source, label, signed)
        for name, form in FORMS.items():
            if name not in ("scaled", "mixed_scaled", "fraction_of_scale", "scale_and_fraction"):
                net.form(signed, form, target, self.labels)

    def _units(self, number: int, counted: int, done: int) -> None:
        """Units behind numbers, and the ways of halves: "half a bar", "a bar and a half"."""
        net, grammar = self.net, self.grammar
        units = [n for u in grammar.units.by_id.values() for n in (*u.names, *u.short)]
        net.link(counted, done)
        after_unit = net.state()
        net.phrases(counted, units, after_unit)
        net.link(after_unit, done)
        fraction = net.state()
        for label in self.labels["&"]:
            net.word(after_unit, label, fraction)
        net.form(fraction, "a[HQ]", done, self.labels)
        minutes, ten, tenth = net.state(), net.state(), net.state()
        times = [u for u in grammar.units.by_id.values() if u.dimension == "time"]
        net.phrases(counted, [n for u in times if u.id == "min" for n in u.names], minutes)
        for label in self.labels["&"]:
            net.word(minutes, label, ten)
        net.link(minutes, ten)
        net.form(ten, FORMS["cardinal"], tenth, self.labels)
        net.phrases(tenth, [n for u in times if u.id == "s" for n in u.names], done)
        one, one_unit = net.state(), net.state()
        net.form(number, "a", one, self.labels)
        net.phrases(one, [n for u in grammar.units.by_id.values() for n in u.names], one_unit)
        for label in self.labels["&"]:
            net.word(one_unit, label, fraction)
        of, article, unit = net.state(), net.state(), net.state()
        net.form(number, "[ad]?[HQ]", of, self.labels)
        net.word(of, "of", article)
        net.link(of, article)
        net.form(article, "a", unit, self.labels)
        net.phrases(unit, units, done)

    # ------------------------------------------------------------------------------------------ strings

    def _string(self, kind: str) -> None:
        """Spelled strings; of the expected length where it is known."""
        length = self.expectation.length
        states = [self.net.state() for _ in range((length or 1) + 1)]
        lead = self.net.state()
        self.net.link(self.start, lead)
        self.net.link(lead, states[0])
        for at, state in enumerate(states):
            last = length is not None and at == length
            if last or (length is None and at == 1):
                self.net.link(state, self.end)
            if not last:
                self._characters(kind, states, at, length)
        if kind == "digits" and length is None:
            behind = self.net.state()
            for label in self.labels["p"]:
                self.net.word(states[1], label, behind)
            self.net.form(behind, "([do]|[DR][do])+", self.end, self.labels)

    def _characters(self, kind: str, states: Sequence[int], at: int, length: int | None) -> None:
        net = self.net
        source = states[at]

        def after(characters: int) -> int | None:
            if length is None:
                return states[1]
            return states[at + characters] if at + characters <= length else None

        letters = list(self.grammar.letters) if kind != "digits" else []
        letters = [w for w in letters if w not in self.grammar.not_listened_for]
        for times, repeat in ((1, ""), (2, "D"), (3, "R")):
            target = after(times)
            if target is None:
                continue
            first = source
            if repeat:
                first = net.state()
                net.form(source, repeat, first, self.labels)
            for word in letters:
                net.word(first, word, target)
            if letters:
                net.phrases(first, ["x ray"], target)
            if kind != "letters":
                net.form(first, "[do]", target, self.labels)
        pair = after(2)
        if pair is not None and kind != "letters":
            net.form(source, "e|Td?", pair, self.labels)

    # ------------------------------------------------------------------------------------------ dates and times

    def _date(self) -> None:
        net, dates = self.net, self.grammar.dates
        months = list(dates["months"])
        ordinals = [w for w, n in self.grammar.numbers.ordinals.items() if 0 < n <= 20 or n == 30]
        units = [w for w, n in self.grammar.numbers.ordinals.items() if 0 < n < 10]
        twenty = next(w for w, n in self._amounts() if n == 20)
        thirty = next(w for w, n in self._amounts() if n == 30)
        days = [*ordinals, *(f"{twenty} {u}" for u in units), f"{thirty} {units[0]}"]
        of, month, year, day = net.state(), net.state(), net.state(), net.state()
        article = net.state()
        net.word(self.start, "the", article)
        net.link(self.start, article)
        net.phrases(article, days, of)
        net.word(of, "of", month)
        net.link(of, month)
        net.phrases(month, months, year)
        net.phrases(self.start, months, day)
        net.phrases(day, days, year)
        net.link(year, self.end)
        net.phrases(year, self._years(), self.end)

    def _years(self) -> Iterable[str]:
        """Years as they are said: "twenty twenty six", "twenty oh five", "two thousand and nineteen", "twenty six"."""
        numbers = self.grammar.numbers
        for year in range(_FIRST_YEAR, _LAST_YEAR + 1):
            century, rest = divmod(year, 100)
            full, tail = numbers.say_whole(str(year)), numbers.say_whole(str(rest))
            if rest >= 10:
                yield " ".join([*numbers.say_whole(str(century)), *tail])
            elif rest:
                yield " ".join([*numbers.say_whole(str(century)), _SHORT_ZERO, *tail])
            if year >= 2000:
                yield " ".join(full)
            if year >= 2010:
                yield " ".join(tail)

    def _amounts(self) -> Iterable[tuple[str, int]]:
        for word, letter in self.grammar.numbers.classes.items():
            if letter == "T":
                yield word, int(self.grammar.numbers.digit_string([word]) or 0)

    def _single_words(self) -> Mapping[str, Sequence[str]]:
        """Class letter -> its words, each on its own."""
        left_out = self.grammar.not_listened_for
        labels: dict[str, list[str]] = {}
        for word, letter in self.grammar.numbers.classes.items():
            if word not in left_out:
                labels.setdefault(letter, []).append(word)
        return labels

    def _time(self) -> None:
        net, words = self.net, self.grammar.dates["words"]
        labels = self._single_words()
        hours = [" ".join(self.grammar.numbers.say_whole(str(h))) for h in range(1, 24)]
        minutes = [" ".join(self.grammar.numbers.say_whole(str(m))) for m in range(10, 60)]
        zeros = [w for w in labels["o"] if w in ("oh", "zero")]
        ones = labels["d"]
        hour, done = net.state(), net.state()
        net.phrases(self.start, hours, hour)
        net.phrases(hour, minutes, done)
        net.phrases(hour, [f"{z} {d}" for z in zeros for d in ones], done)
        net.phrases(hour, [*words["clock"], *(h for h in labels["h"][:1])], done)
        net.link(hour, done)
        past = [f"{m} {p}" for m in ("five", "ten", "twenty", "twenty five", "quarter") for p in ("past", "to")]
        small, to_hour = hours[:12], net.state()
        net.phrases(self.start, [*past, "half past", "a quarter past", "a quarter to", "half"], to_hour)
        net.phrases(to_hour, small, done)
        net.phrases(self.start, [*words["noon"], *words["midnight"]], self.end)
        net.phrases(done, ["a m", "p m", "in the morning", "in the afternoon"], self.end)
        net.link(done, self.end)


def compile_automaton(grammar: Grammar, expectation: Expectation) -> WordAutomaton:
    """What can be said in answer to a step."""
    return _Builder(grammar, expectation).build()


def spellings_of(grammar: Grammar) -> Mapping[tuple[str, ...], tuple[str, ...]]:
    """Words -> other surface forms that a speech model writes for them. Figures stand for at most two digits."""
    numbers = grammar.numbers
    forms: dict[tuple[str, ...], list[str]] = {}

    def add(words: Sequence[str], written: str) -> None:
        if " ".join(words) != written:
            forms.setdefault(tuple(words), []).append(written)

    for word, letter in numbers.classes.items():
        if letter in "doeT":
            add([word], numbers.digit_string([word]) or "")
        if letter == "T":
            for one, of in numbers.classes.items():
                if of == "d":
                    add([word, one], numbers.digit_string([word, one]) or "")
    add(numbers.words_of("p")[:1], ".")
    _add_dates(grammar, add)
    for quantity in grammar.quantities.values():
        for written in quantity.written:
            for name in quantity.names:
                if sorted(name.replace("two", "2").split()) == sorted(written.lower().replace("₂", "2")):
                    add(name.split(), written)
    for unit in grammar.units.by_id.values():
        for name in (*unit.names, *unit.short):
            for written in unit.written:
                add(name.split(), written)
    for written, spoken in grammar.written.items():
        add(spoken.split(), written)
        if len(spoken.split()) > 1 and all(len(w) == 1 for w in spoken.split()):
            add(spoken.split(), written.upper())
    return {words: tuple(dict.fromkeys(written)) for words, written in forms.items()}


def _add_dates(grammar: Grammar, add: Callable[[Sequence[str], str], None]) -> None:
    """Days as figures ("14th") and the years of certificates as one group ("2027"): speech models write them so."""
    numbers = grammar.numbers
    endings = {1: "st", 2: "nd", 3: "rd"}
    ordinals = {number: word for word, number in numbers.ordinals.items()}
    for day in range(1, 32):
        tens, ones = day - day % 10, day % 10
        words = [ordinals[day]] if day in ordinals else [*numbers.say_whole(str(tens)), ordinals[ones]]
        add(words, f"{day}{'th' if 10 < day < 20 else endings.get(ones, 'th')}")
    for year in range(2020, 2040):
        short = numbers.say_whole(str(year % 100))
        add([*numbers.say_whole("20"), *short], str(year))
        add([*numbers.say_whole(str(year))], str(year))


def random_words(automaton: WordAutomaton, rng: random.Random, most: int = 14) -> tuple[str, ...]:
    """A random walk through the automaton to one of its ends; from `most` words on it takes the shortest way out."""
    state = automaton.start
    words: list[str] = []
    while True:
        arcs = automaton.arcs(state)
        if automaton.final(state) and (not arcs or len(words) >= most or rng.random() < 0.5):
            return tuple(words)
        choices = sorted(arcs.items())
        if len(words) >= most:
            distance = automaton.distances()
            nearest = min(distance[target] for _, target in choices)
            choices = [(word, target) for word, target in choices if distance[target] == nearest]
        word, state = rng.choice(choices)
        words.append(word)
