"""The grammar and what the step expects in, a deterministic automaton over words out: what can be said in answer.

Listeners search along it, so it holds what people say, not all that `understand` would take: no millions, one word for each sound. Whatever
it accepts, `understand` makes something of.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from handsfree.language.grammar import Grammar
from handsfree.language.numbers import FORMS
from handsfree.model import Expectation

_EMPTY: Mapping[str, int] = {}


class WordAutomaton:
    """Deterministic and minimal. States are whole numbers."""

    def __init__(self, start: int, arcs: Sequence[Mapping[str, int]], finals: frozenset[int]) -> None:
        self.start = start
        self._arcs = arcs
        self._finals = finals

    def __len__(self) -> int:
        return len(self._arcs)

    def arcs(self, state: int) -> Mapping[str, int]:
        """Word -> state behind it."""
        return self._arcs[state]

    def final(self, state: int) -> bool:
        """Whether an utterance may end here."""
        return state in self._finals

    def accepts(self, words: Iterable[str]) -> bool:
        """Whether the words can be said from start to end."""
        state = self.start
        for word in words:
            following = self._arcs[state].get(word)
            if following is None:
                return False
            state = following
        return state in self._finals

    def words(self) -> tuple[str, ...]:
        """Every word on an arc, in alphabetical order."""
        return tuple(sorted({word for arcs in self._arcs for word in arcs}))


class Net:
    """A non-deterministic automaton under construction. Labels are words, or groups of words that always stand together."""

    def __init__(self) -> None:
        self.labelled: list[list[tuple[str, int]]] = []
        self.silent: list[list[int]] = []

    def state(self) -> int:
        """A new state."""
        self.labelled.append([])
        self.silent.append([])
        return len(self.labelled) - 1

    def link(self, source: int, target: int) -> None:
        """Let `target` follow without a word."""
        self.silent[source].append(target)

    def word(self, source: int, label: str, target: int) -> None:
        """Let `target` follow behind a word."""
        self.labelled[source].append((label, target))

    def phrases(self, source: int, phrases: Iterable[str], target: int) -> None:
        """Let `target` follow behind each of the phrases."""
        for phrase in phrases:
            words = phrase.split()
            at = source
            for word in words[:-1]:
                following = self.state()
                self.word(at, word, following)
                at = following
            self.word(at, words[-1], target)

    def form(self, source: int, form: str, target: int, labels: Mapping[str, Sequence[str]]) -> None:
        """Let `target` follow behind a form of `numbers` (see there for the syntax); a class letter stands for its labels."""
        _FormReader(self, form, labels).read(source, target)


class _FormReader:
    """Reads a form into a net, by recursive descent."""

    def __init__(self, net: Net, form: str, labels: Mapping[str, Sequence[str]]) -> None:
        self._net, self._form, self._labels = net, form, labels
        self._at = 0

    def read(self, source: int, target: int) -> None:
        self._choice(source, target)
        if self._at != len(self._form):
            raise ValueError(f"form {self._form!r} does not read at {self._at}")

    def _peek(self) -> str:
        return self._form[self._at] if self._at < len(self._form) else ""

    def _choice(self, source: int, target: int) -> None:
        while True:
            self._sequence(source, target)
            if self._peek() != "|":
                return
            self._at += 1

    def _sequence(self, source: int, target: int) -> None:
        at = source
        while self._peek() not in ("", "|", ")"):
            at = self._repeated(at)
        self._net.link(at, target)

    def _repeated(self, source: int) -> int:
        net = self._net
        inner, after = net.state(), net.state()
        net.link(source, inner)
        self._one(inner, after)
        sign = self._peek()
        if sign and sign in "?*+":
            self._at += 1
            if sign in "?*":
                net.link(inner, after)
            if sign in "*+":
                net.link(after, inner)
        end = net.state()
        net.link(after, end)
        return end

    def _one(self, source: int, target: int) -> None:
        letter = self._peek()
        self._at += 1
        if letter == "(":
            self._choice(source, target)
            self._at += 1
        elif letter == "[":
            close = self._form.index("]", self._at)
            for member in self._form[self._at : close]:
                self._letter(source, member, target)
            self._at = close + 1
        else:
            self._letter(source, letter, target)

    def _letter(self, source: int, letter: str, target: int) -> None:
        for label in self._labels.get(letter, ()):
            self._net.word(source, label, target)


def determinised(net: Net, start: int, finals: frozenset[int], groups: Mapping[str, Sequence[str]]) -> WordAutomaton:
    """The deterministic, minimal automaton of a net; group labels are spread into their words."""
    closures: dict[int, frozenset[int]] = {}

    def closure(state: int) -> frozenset[int]:
        found = closures.get(state)
        if found is None:
            reached, waiting = {state}, [state]
            while waiting:
                for following in net.silent[waiting.pop()]:
                    if following not in reached:
                        reached.add(following)
                        waiting.append(following)
            found = closures[state] = frozenset(s for s in reached if net.labelled[s] or s in finals)
        return found

    first = closure(start)
    numbers = {first: 0}
    arcs: list[dict[str, int]] = []
    accepting: list[bool] = []
    waiting = [first]
    for states in waiting:  # grows while it is walked
        targets: dict[str, set[int]] = {}
        for state in states:
            for label, target in net.labelled[state]:
                targets.setdefault(label, set()).update(closure(target))
        row: dict[str, int] = {}
        for label, reached in targets.items():
            key = frozenset(reached)
            number = numbers.get(key)
            if number is None:
                number = numbers[key] = len(waiting)
                waiting.append(key)
            row[label] = number
        arcs.append(row)
        accepting.append(not finals.isdisjoint(states))
    return _minimised(arcs, accepting, groups)


def _minimised(arcs: list[dict[str, int]], accepting: list[bool], groups: Mapping[str, Sequence[str]]) -> WordAutomaton:
    """States that nothing tells apart made one (Moore's refinement), and states that lead nowhere left out."""
    block = [int(a) for a in accepting]
    count = len(set(block))
    rows = [sorted(row.items()) for row in arcs]
    while True:
        signatures: dict[tuple[int, tuple[tuple[str, int], ...]], int] = {}
        block = [
            signatures.setdefault((block[s], tuple([(label, block[t]) for label, t in row])), len(signatures))
            for s, row in enumerate(rows)
        ]
        if len(signatures) == count:
            break
        count = len(signatures)
    merged: list[dict[str, int]] = [{} for _ in range(count)]
    finals = set()
    for state, row in enumerate(arcs):
        if accepting[state]:
            finals.add(block[state])
        if not merged[block[state]]:
            merged[block[state]] = {word: block[t] for label, t in row.items() for word in groups.get(label, (label,))}
    return WordAutomaton(block[0], merged, frozenset(finals))


# --------------------------------------------------------------------------------------------------- the grammar's net

_LINKS = ("is", "it's", "that's", "it is", "at", "reads", "reading", "the reading is")
_LED = ("it's", "that's", "it is")


class _Builder:
    """Builds the net of one expectation."""

    def __init__(self, grammar: Grammar, expectation: Expectation) -> None:
        self.grammar, self.expectation = grammar, expectation
        self.net = Net()
        self.start, self.end = self.net.state(), self.net.state()
        phrases = [p for c in grammar.commands for p in (*c.phrases, *c.before)]
        phrases += [n for q in grammar.quantities.values() for n in (*q.names, *q.shared, *q.zero)]
        phrases += [n for u in grammar.units.by_id.values() for n in (*u.names, *u.short)]
        phrases += [n for q in grammar.qualifiers for n in q.names] + [n for g in grammar.generics for n in g.names]
        phrases += [p for spoken in expectation.phrases.values() for p in spoken]
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
                self.net.phrases(self.start, phrases, self.end)
            self._values()
        return determinised(self.net, self.start, frozenset((self.end,)), self.groups)

    def _commands(self) -> None:
        for command in self.grammar.commands:
            self.net.phrases(self.start, command.phrases, self.end)

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
        of, article, unit = net.state(), net.state(), net.state()
        net.form(number, "[HQ]", of, self.labels)
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
        ordinals = [w for w, n in self.grammar.numbers.ordinals.items() if n <= 30 and (n <= 20 or n == 30)]
        units = [w for w, n in self.grammar.numbers.ordinals.items() if n < 10]
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
        net.form(year, "e(Td?|e|od)|T(Td?|e|od)|Td|dk(&?(Td?|e|d))?", self.end, self._split_labels())

    def _amounts(self) -> Iterable[tuple[str, int]]:
        for word, letter in self.grammar.numbers.classes.items():
            if letter == "T":
                yield word, int(self.grammar.numbers.digit_string([word]) or 0)

    def _split_labels(self) -> Mapping[str, Sequence[str]]:
        """Labels with every word on its own: day words and year words share arcs."""
        left_out = self.grammar.not_listened_for
        labels: dict[str, list[str]] = {}
        for word, letter in self.grammar.numbers.classes.items():
            if word not in left_out:
                labels.setdefault(letter, []).append(word)
        return labels

    def _time(self) -> None:
        net, words = self.net, self.grammar.dates["words"]
        labels = self._split_labels()
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
