"""An automaton in, what a listener compiled of it out; of the last few automata, so that memory does not grow with the visit."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from typing import Generic, TypeVar

KEPT = 4
"""16 made the whole program grow by 350 MB over a long visit; a step is compiled while it is prompted."""

T = TypeVar("T")


class Compiled(Generic[T]):
    """What was made of the automata used last. One thread at a time."""

    def __init__(self) -> None:
        # The automaton is kept beside what was made of it: an id counts only while its object lives.
        self._kept: OrderedDict[int, tuple[object, T]] = OrderedDict()

    def of(self, automaton: object, make: Callable[[], T]) -> T:
        """What `make` makes of the automaton, made once as long as it is kept."""
        kept = self._kept.get(id(automaton))
        if kept is None:
            kept = self._kept[id(automaton)] = automaton, make()
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        self._kept.move_to_end(id(automaton))
        return kept[1]
