"""Phrases and forms of numbers in, a deterministic, minimal automaton over words out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence


class WordAutomaton:
    """Deterministic and minimal. States are whole numbers."""

    def __init__(self, start: int, arcs: Sequence[Mapping[str, int]], finals: frozenset[int]) -> None:
        self.start = start
        self._arcs = arcs
        self._finals = finals
        self._distances: list[int] = []

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

    def distances(self) -> Sequence[int]:
        """Words to the nearest end, for every state; counted once."""
        if not self._distances:
            far = len(self._arcs)
            distances = [0 if state in self._finals else far for state in range(far)]
            changed = True
            while changed:
                changed = False
                for state, arcs in enumerate(self._arcs):
                    best = min((distances[target] + 1 for target in arcs.values()), default=far)
                    if best < distances[state]:
                        distances[state], changed = best, True
            self._distances = distances
        return self._distances

    def words(self) -> tuple[str, ...]:
        """Every word on an arc, in alphabetical order."""
        return tuple(sorted({word for arcs in self._arcs for word in arcs}))


class Net:
    """A non-deterministic automaton under construction. Labels are words, or groups that stand together."""

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
        """Let `target` follow behind a form of `numbers` (syntax there); a class letter stands for its labels."""
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
