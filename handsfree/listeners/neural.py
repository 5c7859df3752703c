"""A segment and an expectation in, the values that a speech model holds possible out: the same for every model with
tokens."""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from handsfree.listeners.base import FREE_AGREES, Candidate, Opinion, Words, outcome_key
from handsfree.listeners.beam import Decoder, Text, Value, by_value, search
from handsfree.listeners.compiled import Compiled
from handsfree.listeners.levels import could_take, levelled, speech_seconds
from handsfree.listeners.memory import give_back
from handsfree.listeners.spelling import Surfaces
from handsfree.listeners.tokens import TokenGrammar, TokenTrie
from handsfree.model import SAMPLE_RATE, Expectation, Nothing, Outcome, Segment, Unsure

_VALUES_KEPT = 8


class TokenModel(Protocol):
    """A speech model that writes tokens."""

    name: str

    @property
    def texts(self) -> Sequence[str]: ...

    def decode(self, samples: NDArray[np.float32]) -> Decoder: ...

    def longest(self, seconds: float) -> int: ...


class NeuralListener:
    """A `Listener`: the model's beam search, kept inside the grammar that `Language` gives for the expectation."""

    def __init__(self, model: TokenModel, language: Words, surfaces: Surfaces | None = None) -> None:
        self.name = model.name
        self._model = model
        self._language = language
        self._surfaces = surfaces or Surfaces(language)
        self._trie = TokenTrie(model.texts)
        self._grammars: Compiled[TokenGrammar] = Compiled()

    def prepare(self, expectation: Expectation) -> None:
        grammar = self._grammar(expectation)
        grammar.arcs(grammar.start)
        # Now, while a prompt is spoken, and not when an answer is waited for.
        give_back()

    def listen(self, segment: Segment, expectation: Expectation) -> Opinion:
        began = time.perf_counter()
        samples = levelled(segment.samples)
        if samples is None:
            return Opinion(self.name, (), refused=True, seconds=time.perf_counter() - began)
        grammar = self._grammar(expectation)
        decoder = self._model.decode(samples)
        found = search(decoder, grammar, self._model.longest(len(samples) / SAMPLE_RATE))
        spoken_s = speech_seconds(samples)
        values = self._values(found.texts, grammar, expectation, spoken_s)
        free_words = "".join(
            self._model.texts[t] if t < len(self._model.texts) else "" for t in found.free.tokens
        ).strip()
        return Opinion(
            self.name,
            values,
            free_words=free_words,
            free_score=found.free.score,
            scores={
                "steps": float(found.steps),
                "speech_s": round(spoken_s, 2),
                FREE_AGREES: self._free_agrees(free_words, values, expectation),
            },
            seconds=time.perf_counter() - began,
        )

    def _free_agrees(self, free_words: str, values: Sequence[Candidate], expectation: Expectation) -> float:
        if not values:
            return 0.0
        freely = self._language.understand(free_words, expectation)
        return float(outcome_key(freely) == outcome_key(values[0].outcome))

    def _grammar(self, expectation: Expectation) -> TokenGrammar:
        surface = self._surfaces.surface(expectation)
        return self._grammars.of(surface, lambda: TokenGrammar(surface, self._trie))

    def _values(
        self, texts: Sequence[Text], grammar: TokenGrammar, expectation: Expectation, spoken_s: float
    ) -> tuple[Candidate, ...]:
        meant: dict[Text, tuple[str, Outcome]] = {}

        def key_of(text: Text) -> str | None:
            words, outcome = self._meaning(grammar.surface.words_of(grammar.text_of(text.tokens)), expectation)
            if isinstance(outcome, Nothing) or not could_take(words, spoken_s):
                return None
            meant[text] = words, outcome
            return outcome_key(outcome)

        def candidate(value: Value) -> Candidate:
            words, outcome = meant[value.best]
            return Candidate(words, outcome, value.score, self._language.plausibility(outcome, expectation))

        ranked = sorted(map(candidate, by_value(texts, key_of)), key=lambda c: -c.weight)
        return tuple(ranked[:_VALUES_KEPT])

    def _meaning(self, readings: Sequence[tuple[str, ...]], expectation: Expectation) -> tuple[str, Outcome]:
        """The outcome of a text that may stand for several word sequences: the shortest one that has a plain
        meaning."""
        fallback: tuple[str, Outcome] = ("", Nothing("no words"))
        for words in readings:
            spoken = " ".join(words)
            outcome = self._language.understand(spoken, expectation)
            if not isinstance(outcome, Unsure | Nothing):
                return spoken, outcome
            if isinstance(fallback[1], Nothing):
                fallback = spoken, outcome
        return fallback
