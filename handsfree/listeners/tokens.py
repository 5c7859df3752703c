"""The grammar's word automaton and a speech model's tokens in, an automaton over those tokens out, built only where
the search goes.

Two steps, each lazy and cached:

- `SurfaceAutomaton` spells the words in all the ways in which a speech model writes them ("nine point two", "9.2",
  "CO2: 9.2%"), letter by letter, and makes the result deterministic (a state is a set of places in the grammar);
- `TokenGrammar` walks the model's tokens (a trie of their letters) through it.

Written digits stand in groups of two at most, behind a point four, unless a spelling says otherwise: in longer groups
speech models lose repeated digits. Two marks in a spelling say more than its letters: see BEHIND_DIGITS and
NEEDS_DIGIT. Capitals and small letters mean the same, but for letters that are written without a separator ("QH24"):
only capitals may be joined, or every word would be a spelled serial number too.
"""

from __future__ import annotations

import threading
from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from handsfree.listeners.base import WordAutomaton

SEPARATORS = (" ", ", ", "-", ". ", ": ", "; ", " - ", "... ")
"""What a model may write between two words."""
ENDINGS = ".?!,"
LONGEST_GROUP = 2
LONGEST_DECIMALS = 4
"""Behind a point figures are written in one group whatever is said; a shorter limit would only make the search end
too early."""
BEHIND_DIGITS = "|"
"""First letter of a spelling that may stand only directly behind written digits ("|,000" for "thousand")."""
NEEDS_DIGIT = "~"
"""Last letters of a spelling that must be followed directly by so many digits ("2~~" for "two hundred and": "230")."""
_CLOSING = -1

Glue = Literal["any", "digits", "one digit", "two digits", "letter", "symbol", "unit"]


class _Context(NamedTuple):
    """What the text so far ends in; it decides what may follow without a separator."""

    last: Literal["start", "word", "digit", "letter", "point", "open"]
    run: int = 0
    """written digits in the group so far; behind "open": digits that must follow"""
    decimal: bool = False
    """True behind a written point: no second one may follow"""


class _Boundary(NamedTuple):
    """Between two words."""

    state: Hashable
    context: _Context


class _Separator(NamedTuple):
    """Inside a separator that ends in the full choice of words."""

    state: Hashable
    rest: str


class _Inside(NamedTuple):
    """Inside the spelling of some words."""

    trie: int
    run: int
    """digits of the group before this form, when it was glued to one"""
    decimal: bool


class _Ended(NamedTuple):
    """Behind the closing punctuation."""


_UNFINISHED = frozenset({"start", "point", "open"})
_Item = _Boundary | _Separator | _Inside | _Ended


@dataclass(slots=True)
class _Node:
    """A place in the trie of the spellings that may follow a state of the grammar."""

    number: int
    children: dict[str, _Node] = field(default_factory=dict)
    ends: list[tuple[Hashable, str, tuple[str, ...]]] = field(default_factory=list)
    """grammar state behind, the spelling, the words it stands for"""


class SurfaceAutomaton:
    """Deterministic over letters. States are small whole numbers. Listeners in several threads may share one."""

    def __init__(self, words: WordAutomaton, spellings: Mapping[tuple[str, ...], tuple[str, ...]]) -> None:
        self._lock = threading.RLock()
        self._words = words
        self._by_first: dict[str, list[tuple[tuple[str, ...], tuple[str, ...]]]] = {}
        for spoken, written in spellings.items():
            lower = tuple(dict.fromkeys(w.lower() for w in written))
            self._by_first.setdefault(spoken[0], []).append((spoken, lower))
        self._nodes: list[_Node] = []
        self._roots: dict[tuple[Hashable, Glue], _Node] = {}
        self._forms: dict[Hashable, list[tuple[str, Hashable, tuple[str, ...]]]] = {}
        self._sets: list[frozenset[_Item]] = []
        self._numbers: dict[frozenset[_Item], int] = {}
        self._moves: dict[int, dict[str, int]] = {}
        self.start = self._intern(frozenset({_Boundary(words.start, _Context("start"))}))

    def moves(self, state: int) -> dict[str, int]:
        """Letter -> state, for all letters that may come next."""
        found = self._moves.get(state)
        return self._find_moves(state) if found is None else found

    def _find_moves(self, state: int) -> dict[str, int]:
        by_letter: dict[str, set[_Item]] = {}
        with self._lock:
            for item in self._sets[state]:
                for letter, after in self._item_moves(item):
                    if after:
                        by_letter.setdefault(letter, set()).update(after)
            found = {letter: self._intern(frozenset(items)) for letter, items in by_letter.items()}
            self._moves[state] = found
        return found

    def final(self, state: int) -> bool:
        """Whether the text so far is complete."""
        return any(self._item_final(item) for item in self._sets[state])

    def words_of(self, text: str, most: int = 6) -> list[tuple[str, ...]]:
        """The word sequences that `text` may stand for: several when the writing hides the difference ("52").

        Those with the fewest spellings come first ("sixty five" before "six five" for "65"), and among them those
        with the fewest words.
        """
        with self._lock:
            return self._words_of(text, most)

    def _words_of(self, text: str, most: int) -> list[tuple[str, ...]]:
        paths: dict[_Item, list[tuple[tuple[str, ...], ...]]] = {item: [()] for item in self._sets[self.start]}
        for letter in text:
            following: dict[_Item, list[tuple[tuple[str, ...], ...]]] = {}
            for item, said in paths.items():
                for moved, new_words in self._item_steps(item, letter):
                    kept = following.setdefault(moved, [])
                    kept.extend((*s, new_words) if new_words else s for s in said)
                    if len(kept) > most:
                        kept.sort(key=_plainness)
                        del kept[most:]
            paths = following
        complete = {said for item, many in paths.items() if self._item_final(item) for said in many}
        plain = [tuple(w for group in said for w in group) for said in sorted(complete, key=_plainness)]
        return list(dict.fromkeys(plain))[:most]

    # ------------------------------------------------------------------------------------------ inside

    def _intern(self, items: frozenset[_Item]) -> int:
        number = self._numbers.get(items)
        if number is None:
            number = len(self._sets)
            self._sets.append(items)
            self._numbers[items] = number
        return number

    def _item_final(self, item: _Item) -> bool:
        return isinstance(item, _Ended) or (
            isinstance(item, _Boundary) and item.context.last not in _UNFINISHED and self._words.final(item.state)
        )

    def _item_moves(self, item: _Item) -> Iterator[tuple[str, list[_Item]]]:
        for letter in self._item_letters(item):
            small = [moved for moved, _ in self._item_steps(item, letter)]
            yield letter, small
            capital = letter.upper()
            if capital != letter:
                same = not (isinstance(item, _Boundary) and item.context.last == "letter")
                yield capital, small if same else [moved for moved, _ in self._item_steps(item, capital)]

    def _item_letters(self, item: _Item) -> set[str]:
        match item:
            case _Inside(trie=trie):
                return set(self._nodes[trie].children)
            case _Separator(state=state, rest=rest):
                return {rest[0]} if rest else set(self._root(state, "any").children)
            case _Boundary(state=state, context=context):
                letters = {s[0] for s in SEPARATORS} if context.last != "start" else {" "}
                letters = set() if context.last in {"point", "open"} else letters
                if context.last not in _UNFINISHED and self._words.final(state):
                    letters |= set(ENDINGS)
                for glue in self._glues(context):
                    letters |= self._root(state, glue).children.keys()
                return letters
        return set()

    def _item_steps(self, item: _Item, letter: str) -> Iterator[tuple[_Item, tuple[str, ...]]]:
        """Where `letter` leads from `item`, with the words completed on the way."""
        as_written, letter = letter, letter.lower()
        match item:
            case _Inside(trie=trie, run=run, decimal=decimal):
                yield from self._enter(self._nodes[trie], letter, run, decimal)
            case _Separator(state=state, rest=rest):
                if rest:
                    if rest[0] == letter:
                        yield _Separator(state, rest[1:]), ()
                else:
                    yield from self._enter(self._root(state, "any"), letter, 0, False)
            case _Boundary(state=state, context=context):
                yield from self._leave(state, context, letter, as_written)

    def _leave(
        self, state: Hashable, context: _Context, letter: str, as_written: str
    ) -> Iterator[tuple[_Item, tuple[str, ...]]]:
        if context.last == "start":
            if letter == " ":
                yield _Separator(state, ""), ()
        elif context.last not in _UNFINISHED:
            if self._words.arcs(state):
                for separator in SEPARATORS:
                    if separator[0] == letter:
                        yield _Separator(state, separator[1:]), ()
            if letter in ENDINGS and self._words.final(state):
                yield _Ended(), ()
        run = context.run if context.last == "digit" else _CLOSING if context.last == "open" else 0
        for glue in self._glues(context):
            if glue != "letter" or as_written.isupper():
                yield from self._enter(self._root(state, glue), letter, run, context.decimal)

    def _enter(self, node: _Node, letter: str, run: int, decimal: bool) -> Iterator[tuple[_Item, tuple[str, ...]]]:
        child = node.children.get(letter)
        if child is None:
            return
        if child.children:
            yield _Inside(child.number, run, decimal), ()
        for state, form, words in child.ends:
            context = _context_after(form, run, decimal)
            if context is not None:
                yield _Boundary(state, context), words

    @staticmethod
    def _glues(context: _Context) -> tuple[Glue, ...]:
        """Which spellings may follow without a separator."""
        match context.last:
            case "start":
                return ("any",)
            case "word":
                return ("symbol",)
            case "letter":
                return ("letter", "digits", "symbol")
            case "point":
                return ("digits",)
            case "open":
                return ("one digit",) if context.run == 1 else ("two digits",)
            case "digit":
                longest = LONGEST_DECIMALS if context.decimal else LONGEST_GROUP
                return ("symbol", "unit", "digits") if context.run < longest else ("symbol", "unit")

    def _root(self, state: Hashable, glue: Glue) -> _Node:
        root = self._roots.get((state, glue))
        if root is None:
            root = self._new_node()
            for form, after, words in self._forms_from(state):
                if _fits(form, words, glue):
                    self._add(root, form, after, words)
            self._roots[state, glue] = root
        return root

    def _new_node(self) -> _Node:
        node = _Node(len(self._nodes))
        self._nodes.append(node)
        return node

    def _add(self, root: _Node, form: str, after: Hashable, words: tuple[str, ...]) -> None:
        node = root
        for letter in form.removeprefix(BEHIND_DIGITS).rstrip(NEEDS_DIGIT):
            child = node.children.get(letter)
            if child is None:
                child = node.children[letter] = self._new_node()
            node = child
        node.ends.append((after, form, words))

    def _forms_from(self, state: Hashable) -> list[tuple[str, Hashable, tuple[str, ...]]]:
        """Every spelling that may follow `state`: each word as it stands, and the other spellings of one or more
        words."""
        forms = self._forms.get(state)
        if forms is None:
            arcs = self._words.arcs(state)
            forms = [(word, after, (word,)) for word, after in arcs.items()]
            for word in arcs:
                for spoken, written in self._by_first.get(word, ()):
                    after = self._after(state, spoken)
                    if after is not None:
                        forms.extend((form, after, spoken) for form in written if form)
            self._forms[state] = forms
        return forms

    def _after(self, state: Any, words: Sequence[str]) -> Any:
        for word in words:
            state = self._words.arcs(state).get(word)
            if state is None:
                return None
        return state


def _plainness(said: tuple[tuple[str, ...], ...]) -> tuple[int, int, tuple[tuple[str, ...], ...]]:
    return len(said), sum(len(group) for group in said), said


def _fits(form: str, words: tuple[str, ...], glue: Glue) -> bool:
    if form[0] == BEHIND_DIGITS:
        return glue == "symbol"
    if glue == "any":
        return True
    if glue == "digits":
        return form.isdigit() and len(form) <= LONGEST_GROUP
    if glue in ("one digit", "two digits"):
        return form.isdigit() and len(form) == (1 if glue == "one digit" else 2)
    if glue == "letter":
        return len(form) == 1 and form.isalpha()
    if glue == "symbol":
        return not form[0].isalnum()
    return form[0].isalpha() and (words != (form,) or len(form) <= 4)


def _context_after(form: str, run: int, decimal: bool) -> _Context | None:
    """What the text ends in behind `form`; None when it may not stand there."""
    if form == ".":
        return None if decimal else _Context("point", 0, True)
    if form.endswith(NEEDS_DIGIT):
        return _Context("open", form.count(NEEDS_DIGIT), decimal)
    bare = form.lstrip(BEHIND_DIGITS + ",")
    if bare.isdigit() and (len(bare) == 3 or run == _CLOSING):
        # The end of a number in figures: nothing may be glued to it.
        return _Context("digit", LONGEST_GROUP, decimal)
    if form.isdigit():
        longest = LONGEST_DECIMALS if decimal else LONGEST_GROUP
        return None if run and run + len(form) > longest else _Context("digit", run + len(form), decimal)
    if len(form) == 1 and form.isalpha():
        return _Context("letter")
    if form[-1].isdigit() and form.replace(".", "").replace(",", "").isdigit():
        return _Context("digit", LONGEST_GROUP, True)
    return _Context("word")


# ------------------------------------------------------------------------------------------------- tokens


@dataclass(slots=True)
class _TokenNode:
    children: dict[str, _TokenNode | int] = field(default_factory=dict)
    """a letter that only one token goes on with, and ends with, leads to that token: most nodes of a trie are its leaves"""
    tokens: tuple[int, ...] = ()


class TokenTrie:
    """A model's tokens by their letters."""

    def __init__(self, texts: Sequence[str]) -> None:
        self.texts = texts
        self.lower = [text if text == text.lower() else text.lower() for text in texts]
        self.root = _TokenNode()
        for number, text in enumerate(texts):
            if text:
                self._add(text, number)

    def _add(self, text: str, number: int) -> None:
        node = self.root
        for letter in text[:-1]:
            node = self._inner(node, letter)
        if text[-1] in node.children:
            node = self._inner(node, text[-1])
            node.tokens += (number,)
        else:
            node.children[text[-1]] = number

    @staticmethod
    def _inner(node: _TokenNode, letter: str) -> _TokenNode:
        """The node behind a letter; what was a leaf there becomes one."""
        child = node.children.get(letter)
        if not isinstance(child, _TokenNode):
            child = node.children[letter] = _TokenNode(tokens=() if child is None else (child,))
        return child


class TokenGrammar:
    """Deterministic over the tokens of one model, for one expectation. States are those of the surface automaton."""

    def __init__(self, surface: SurfaceAutomaton, trie: TokenTrie) -> None:
        self.surface = surface
        self._trie = trie
        self._arcs: dict[int, tuple[NDArray[np.int64], NDArray[np.int64]]] = {}
        self.start = surface.start

    def arcs(self, state: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Tokens that may come next, and the state behind each."""
        found = self._arcs.get(state)
        if found is None:
            tokens: list[int] = []
            states: list[int] = []
            stack = [(self._trie.root, state)]
            while stack:
                node, here = stack.pop()
                for letter, after in self.surface.moves(here).items():
                    child = node.children.get(letter)
                    if isinstance(child, int):
                        tokens.append(child)
                        states.append(after)
                    elif child is not None:
                        tokens.extend(child.tokens)
                        states.extend([after] * len(child.tokens))
                        if child.children:
                            stack.append((child, after))
            found = np.array(tokens, np.int64), np.array(states, np.int64)
            self._arcs[state] = found
        return found

    def final(self, state: int) -> bool:
        """Whether the model may end here."""
        return self.surface.final(state)

    def written(self, token: int) -> str:
        """What a token writes, lower case."""
        return self._trie.lower[token]

    def text_of(self, tokens: Sequence[int]) -> str:
        """The text that the tokens write."""
        return "".join(self._trie.texts[t] for t in tokens)
