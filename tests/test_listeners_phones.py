"""Sounds: how well the phones of a text fit what was heard."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from handsfree.audio.wav import read_sound
from handsfree.listeners.base import Candidate, Opinion
from handsfree.listeners.levels import levelled
from handsfree.listeners.phones import (
    PHONES,
    PhoneListener,
    PhoneNetwork,
    Pronunciations,
    fits,
    free_fit,
    free_phones,
    read_pronunciations,
)
from handsfree.model import Segment, Text

FIXTURES = Path(__file__).parents[1] / "audio_fixtures"
FEW = 4
"""phones in the small cases, the blank included"""


def chances(frames: int, seed: int) -> NDArray[np.float32]:
    scores = np.random.default_rng(seed).normal(0, 2, (frames, FEW))
    return np.asarray(scores - np.logaddexp.reduce(scores, axis=1, keepdims=True), np.float32)


def collapsed(path: tuple[int, ...]) -> tuple[int, ...]:
    """What a row of phones and blanks stands for: runs are one, blanks are none."""
    return tuple(p for p, _ in itertools.groupby(path) if p)


def counted(phones: NDArray[np.float32], wanted: set[tuple[int, ...]]) -> float:
    """The chance of all rows that stand for one of the wanted, by looking at every row."""
    total = 0.0
    for path in itertools.product(range(FEW), repeat=len(phones)):
        if collapsed(path) in wanted:
            total += math.exp(sum(float(phones[t, p]) for t, p in enumerate(path)))
    return total


def _fixture(said: str) -> NDArray[np.float32]:
    """The clean recording of these words, levelled."""
    rows = [r.split("\t") for r in (FIXTURES / "manifest.tsv").read_text(encoding="utf-8").splitlines()]
    samples = levelled(read_sound(FIXTURES / next(r[0] for r in rows if r[1] == said)).samples)
    assert samples is not None
    return samples


words = st.lists(st.lists(st.integers(1, FEW - 1), min_size=1, max_size=3), min_size=1, max_size=3)


@given(words=words, frames=st.integers(1, 6), seed=st.integers(0, 999))
def test_a_fit_is_the_chance_of_every_alignment(words: list[list[int]], frames: int, seed: int) -> None:
    """The score of a text is what all rows of phones that stand for it have together, counted one by one."""
    phones = chances(frames, seed)
    sounds: Pronunciations = {f"w{n}": (tuple(word),) for n, word in enumerate(words)}
    wanted = tuple(p for word in words for p in word)
    (score,) = fits(phones, [" ".join(sounds)], sounds)
    expected = counted(phones, {wanted})
    assert (0.0 if score is None else math.exp(score)) == pytest.approx(expected, rel=1e-3, abs=1e-9)


def test_every_pronunciation_counts() -> None:
    """A word with two pronunciations has the chance of both."""
    phones = chances(5, 3)
    both = {"a": ((1, 2), (3,)), "b": ((2,),)}
    (score,) = fits(phones, ["a b"], both)
    assert score is not None
    assert math.exp(score) == pytest.approx(counted(phones, {(1, 2, 2), (3, 2)}), rel=1e-3)


def test_texts_do_not_disturb_each_other() -> None:
    """A text's score is the same alone and among others; a text with an unknown word, and one without words, have none."""
    phones = chances(6, 5)
    sounds = {"a": ((1, 2),), "b": ((2,), (3, 1)), "c": ((3,),)}
    texts = ["a b", "c", "d a", "", "b b c"]
    together = fits(phones, texts, sounds)
    for text, score in zip(texts, together, strict=True):
        (alone,) = fits(phones, [text], sounds)
        assert alone == pytest.approx(score)
    assert together[2] is None
    assert together[3] is None


def test_more_sounds_than_time_have_no_score() -> None:
    """A text with more phones than there are frames cannot have been said."""
    assert fits(chances(2, 1), ["a"], {"a": ((1, 2, 3),)}) == [None]
    assert fits(np.zeros((0, FEW), np.float32), ["a"], {"a": ((1,),)}) == [None]


def test_nothing_fits_better_than_the_likeliest_sounds() -> None:
    """No single row of phones can reach the free fit, which is the likeliest phone at each moment; its phones are named."""
    phones = np.log(np.array([[0.1, 0.8, 0.1], [0.1, 0.8, 0.1], [0.8, 0.1, 0.1], [0.1, 0.1, 0.8]], np.float32))
    assert free_fit(phones) == pytest.approx(4 * math.log(0.8))
    assert free_phones(phones) == f"{PHONES[1]} {PHONES[2]}"
    assert free_fit(phones[:0]) == 0.0
    assert free_phones(phones[:0]) == ""


def test_an_opinion_puts_values_in_the_order_of_their_sounds() -> None:
    """Each value once, by the best of its texts; free words that fit better than any value make the free ratio positive;
    a value that no sound fits is not among them, and nothing heard is refused."""
    said, other = Text("12", "digits"), Text("13", "digits")
    phones = PhoneNetwork().listen(_fixture("one point two bar"))
    ear = PhoneListener()
    first = Opinion(
        "moonshine", (Candidate("one point three bar", other, -1.0), Candidate("one point two", said, -2.0))
    )
    second = Opinion("whisper", (Candidate("one point two bar", said, -1.0),), "One point two bar.")
    opinion = ear.weigh(phones, [first, second])
    assert [v.outcome for v in opinion.values] == [said, other]
    assert opinion.values[0].words == "one point two bar"
    assert opinion.free_ratio == 0.0
    worse = ear.weigh(phones, [first, Opinion("whisper", (), "one point two bar")])
    assert worse.free_ratio > 3
    unknown = Opinion("vosk", (Candidate("xyzzy", said, 0.0),), "[unk]")
    assert ear.weigh(phones, [unknown]).refused
    assert ear.weigh(np.zeros((0, len(PHONES)), np.float32), [first, second]).refused


def test_silence_has_no_phones() -> None:
    """Digital silence and a few samples give no frames instead of an error."""
    ear = PhoneListener()
    for samples in (np.zeros(16000, np.float32), np.ones(10, np.float32)):
        assert len(ear.listen(Segment(samples, 0.0, 1.0))) == 0


def test_the_packaged_network_tells_near_words_apart() -> None:
    """On a recording of the fixtures the words that were said fit far better than words that sound like them."""
    said = "one point two bar"
    phones = PhoneNetwork().listen(_fixture(said))
    sounds = read_pronunciations()
    right, *others = fits(phones, [said, "one point three bar", "nine point two bar", "one point two five bar"], sounds)
    assert right is not None
    assert all(other is None or right > other + 3 for other in others)
    assert free_fit(phones) - right < 12
