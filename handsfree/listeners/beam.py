"""A decoder and a token grammar in, the likeliest texts of the grammar out, beside the likeliest text of all.

Scores are sums of log-probabilities over the whole vocabulary, so that a text of the grammar and a free one can be
compared. The free text is decoded greedily in the same batches, as one more row.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

WIDTH = 8
"""hypotheses kept in each step"""
GIVE_UP = 8.0
"""nats: an open hypothesis this far behind the best complete one can no longer matter"""


class Decoder(Protocol):
    """One utterance in one model."""

    end: int
    """the token that ends a text"""

    def start(self) -> NDArray[np.float32]:
        """Log-probabilities of the first token: [1, tokens]."""
        ...

    def step(self, parents: NDArray[np.int64], tokens: NDArray[np.int64]) -> NDArray[np.float32]:
        """Log-probabilities of the next token, for rows that continue row `parents` of the step before with
        `tokens`."""
        ...


class Grammar(Protocol):
    """What the search needs of a `TokenGrammar`."""

    start: int

    def arcs(self, state: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]: ...

    def final(self, state: int) -> bool: ...

    def written(self, token: int) -> str: ...


@dataclass(frozen=True, slots=True)
class Text:
    """A complete text as tokens, without the end token."""

    tokens: tuple[int, ...]
    score: float
    """natural logarithm of its probability, the end included"""


@dataclass(frozen=True, slots=True)
class Search:
    """What came out."""

    texts: tuple[Text, ...]
    """complete texts of the grammar, best first"""
    free: Text
    """the greedy text; its score is an upper bound when it was cut off"""
    steps: int


@dataclass(slots=True)
class _Open:
    tokens: tuple[int, ...]
    score: float
    state: int
    row: int
    text: str = ""
    """lower case"""


def search(decoder: Decoder, grammar: Grammar, longest: int, width: int = WIDTH) -> Search:
    """The best texts of the grammar, by beam search.

    Args:
        decoder: one utterance.
        grammar: over the decoder's tokens.
        longest: number of tokens after which to stop.
        width: hypotheses kept in each step.
    """
    rows = decoder.start()
    beams = [_Open((), 0.0, grammar.start, 0)]
    free: _Open | None = _Open((), 0.0, -1, 0)
    silent = Text((), float(rows[0, decoder.end]))
    free_text = Text((), 0.0)
    done: list[Text] = []
    steps = 0
    for steps in range(1, longest + 1):  # noqa: B007 - its last value is part of the result
        chosen = _extend(beams, rows, grammar, decoder.end, done, width)
        best = max((t.score for t in done), default=-np.inf)
        beams = [b for b in chosen if b.score > best - GIVE_UP]
        free, free_text = _extend_free(free, free_text, rows, decoder.end, best if not beams else -np.inf)
        following = ([free] if free else []) + beams
        if not following:
            break
        rows = decoder.step(
            np.array([b.row for b in following], np.int64), np.array([b.tokens[-1] for b in following], np.int64)
        )
        for row, hypothesis in enumerate(following):
            hypothesis.row = row
    done.sort(key=lambda t: -t.score)
    return Search(tuple(done), silent if silent.score > free_text.score else free_text, steps)


def _extend(
    beams: Sequence[_Open], rows: NDArray[np.float32], grammar: Grammar, end: int, done: list[Text], width: int
) -> list[_Open]:
    """The best continuations of all open hypotheses; those that may end here go to `done` as well."""
    candidates: list[tuple[float, int, int, int]] = []
    for number, beam in enumerate(beams):
        row = rows[beam.row]
        if beam.tokens and grammar.final(beam.state):
            done.append(Text(beam.tokens, beam.score + float(row[end])))
        tokens, states = grammar.arcs(beam.state)
        if not len(tokens):
            continue
        scores = row[tokens]
        if len(tokens) > 3 * width:
            kept = np.argpartition(-scores, 3 * width)[: 3 * width]
            tokens, states, scores = tokens[kept], states[kept], scores[kept]
        candidates.extend(
            (beam.score + float(s), number, int(t), int(q)) for s, t, q in zip(scores, tokens, states, strict=True)
        )
    candidates.sort(reverse=True)
    extended: list[_Open] = []
    seen: set[str] = set()
    for score, number, token, state in candidates:
        beam = beams[number]
        text = beam.text + grammar.written(token)
        # Tokens that differ in case or in how they cut a text would fill the beam with one and the same hypothesis.
        if text not in seen:
            seen.add(text)
            extended.append(_Open((*beam.tokens, token), score, state, beam.row, text))
            if len(extended) == width:
                break
    return extended


def _extend_free(
    free: _Open | None, text: Text, rows: NDArray[np.float32], end: int, enough: float
) -> tuple[_Open | None, Text]:
    """One more greedy token. Stops at the end token, or once it is behind a finished search and cannot beat it any
    more."""
    if free is None:
        return None, text
    row = rows[free.row]
    token = int(row.argmax())
    score = free.score + float(row[token])
    if token == end or score < enough:
        return None, Text(free.tokens, score)
    grown = _Open((*free.tokens, token), score, -1, free.row)
    return grown, Text(grown.tokens, score)


@dataclass(frozen=True, slots=True)
class Value:
    """All texts of one value together."""

    key: Hashable
    score: float
    best: Text


def by_value(texts: Sequence[Text], key_of: Callable[[Text], Hashable | None]) -> list[Value]:
    """The scores of all texts of one value added (log-sum-exp): distinct values, best first. Texts without a key are
    left out."""
    totals: dict[Hashable, tuple[float, Text]] = {}
    for text in texts:
        key = key_of(text)
        if key is None:
            continue
        before, best = totals.get(key, (-np.inf, text))
        totals[key] = float(np.logaddexp(before, text.score)), best if best.score >= text.score else text
    return sorted((Value(k, s, t) for k, (s, t) in totals.items()), key=lambda v: -v.score)
