"""The search: best texts of the grammar, values from texts, and the free text beside them."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from numpy.typing import NDArray

from handsfree.listeners.beam import Text, by_value, search

LETTERS = "abcde"
END = 5


class ToyDecoder:
    """A model whose next token depends on the text so far, in a way that only its seed knows."""

    end = END

    def __init__(self, seed: int, ends: float = 0.0) -> None:
        self._seed = seed
        self._ends = ends
        self.rows: list[tuple[int, ...]] = [()]

    def log_probs(self, text: tuple[int, ...]) -> NDArray[np.float32]:
        rng = np.random.default_rng([self._seed, len(text), *text])
        x = rng.normal(0, 2, END + 1)
        x[END] += self._ends
        result: NDArray[np.float32] = (x - np.log(np.exp(x).sum())).astype(np.float32)
        return result

    def start(self) -> NDArray[np.float32]:
        return self.log_probs(())[None]

    def step(self, parents: NDArray[np.int64], tokens: NDArray[np.int64]) -> NDArray[np.float32]:
        self.rows = [(*self.rows[p], int(t)) for p, t in zip(parents, tokens, strict=True)]
        return np.stack([self.log_probs(r) for r in self.rows])

    def score(self, text: tuple[int, ...]) -> float:
        return sum(float(self.log_probs(text[:i])[t]) for i, t in enumerate((*text, END)))


class ToyGrammar:
    """Texts of two or three letters out of a, b, c; states are lengths."""

    start = 0

    def arcs(self, state: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        return (np.arange(3), np.full(3, state + 1)) if state < 3 else (np.array([], np.int64), np.array([], np.int64))

    def final(self, state: int) -> bool:
        return state >= 2

    def written(self, token: int) -> str:
        return LETTERS[token]


@pytest.mark.parametrize("seed", range(20))
def test_a_wide_search_finds_the_best_text_of_the_grammar(seed: int) -> None:
    """With a beam as wide as the grammar the result is that of trying every text."""
    decoder = ToyDecoder(seed)
    found = search(decoder, ToyGrammar(), longest=6, width=30)
    texts = [t for n in (2, 3) for t in itertools.product(range(3), repeat=n)]
    best = max(texts, key=decoder.score)
    assert found.texts[0].tokens == best
    assert found.texts[0].score == pytest.approx(decoder.score(best), abs=1e-4)


@pytest.mark.parametrize("seed", range(20))
def test_every_score_is_the_whole_probability_of_its_text(seed: int) -> None:
    """Also in a narrow search, whose rows change places at every step."""
    decoder = ToyDecoder(seed)
    for text in search(decoder, ToyGrammar(), longest=6, width=3).texts:
        assert text.score == pytest.approx(decoder.score(text.tokens), abs=1e-4)
        assert set(text.tokens) <= {0, 1, 2}


@pytest.mark.parametrize("seed", range(20))
def test_free_decoding_is_greedy_or_silent(seed: int) -> None:
    """The free text takes the likeliest token each time, unless saying nothing at all is likelier."""
    decoder = ToyDecoder(seed, ends=1.5)
    greedy: tuple[int, ...] = ()
    while (token := int(decoder.log_probs(greedy).argmax())) != END and len(greedy) < 12:
        greedy = (*greedy, token)
    free = search(decoder, ToyGrammar(), longest=12, width=30).free
    if free.tokens:
        assert greedy[: len(free.tokens)] == free.tokens
    else:
        assert free.score == pytest.approx(float(decoder.log_probs(())[END]), abs=1e-5)


def test_work_is_bounded() -> None:
    """A grammar without an end stops at the longest text."""

    class Endless(ToyGrammar):
        def arcs(self, state: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
            return np.arange(3), np.full(3, state)

        def final(self, state: int) -> bool:
            return False

    found = search(ToyDecoder(1), Endless(), longest=9)
    assert found.steps == 9
    assert found.texts == ()


def test_spellings_of_one_value_are_added() -> None:
    """Two spellings at half the probability each make the value as likely as one at the whole."""
    texts = [Text((1,), math.log(0.2)), Text((2,), math.log(0.2)), Text((3,), math.log(0.3)), Text((4,), math.log(0.3))]
    values = by_value(texts, lambda text: {1: "x", 2: "x", 3: "y"}.get(text.tokens[0]))
    assert [(v.key, round(math.exp(v.score), 6)) for v in values] == [("x", 0.4), ("y", 0.3)]
    assert values[0].best.tokens in {(1,), (2,)}
