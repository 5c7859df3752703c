"""Samples before the models: levels, features, and how long was spoken."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from handsfree.listeners.levels import could_take, levelled, speech_seconds
from handsfree.listeners.log_mel import log_mel, mel_filters

RNG = np.random.default_rng(1)


def tone(seconds: float, level: float = 0.3) -> NDArray[np.float32]:
    t = np.arange(int(seconds * 16000)) / 16000
    return (level * np.sin(2 * np.pi * 440 * t)).astype(np.float32)


@pytest.mark.parametrize("factor", [0.001, 0.1, 1.0, 3.0])
@pytest.mark.parametrize("offset", [-0.5, 0.0, 0.2])
def test_level_and_offset_do_not_matter(factor: float, offset: float) -> None:
    """A quiet recording with an offset becomes the same samples as a loud one without."""
    wanted, found = levelled(tone(0.5)), levelled(tone(0.5) * factor + offset)
    assert wanted is not None
    assert found is not None
    np.testing.assert_allclose(found, wanted, atol=2e-3)


@pytest.mark.parametrize(
    "samples", [np.zeros(0), np.zeros(16000), np.full(100, 0.4), np.full(100, np.nan)], ids=["none", "0", "dc", "nan"]
)
def test_nothing_in_it_is_said_to_be_nothing(samples: NDArray[np.float64]) -> None:
    """Silence, a constant and no numbers at all are no sound."""
    assert levelled(samples.astype(np.float32)) is None


def test_broken_samples_do_not_spread() -> None:
    """Not-a-numbers and infinities in the samples leave finite numbers."""
    samples = tone(0.2)
    samples[[3, 9, 20]] = [np.nan, np.inf, -np.inf]
    found = levelled(samples)
    assert found is not None
    assert np.isfinite(found).all()


def test_pauses_are_not_spoken_time() -> None:
    """Two tones of half a second with silence between are about one second of speech, noise or not."""
    quiet = np.zeros(8000, np.float32)
    sound = np.concatenate([quiet, tone(0.5), quiet, tone(0.5), quiet])
    for noise in (0.0, 0.01):
        noisy = (sound + RNG.normal(0, noise + 1e-6, len(sound))).astype(np.float32)
        assert speech_seconds(noisy) == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize(
    ("words", "seconds", "possible"),
    [
        ("no", 0.3, True),
        ("no", 1.0, True),
        ("one", 4.0, False),
        ("five two one four nine five four", 3.0, True),
        ("five two one four nine five four five two one four nine five four", 0.6, False),
        ("p i t t s b u r g h", 3.5, True),
        ("c o two nine point two percent", 2.2, True),
    ],
)
def test_words_must_fit_into_the_time(words: str, seconds: float, possible: bool) -> None:
    """A model that ends too early or repeats itself is found out by how long was spoken."""
    assert could_take(words, seconds) is possible


def test_mel_filters_are_those_of_the_published_ones() -> None:
    """Slaney's filters: unit area in Hz, peaks in order, nothing above 8 kHz (as in librosa's documentation)."""
    filters = mel_filters()
    assert filters.shape == (80, 201)
    peaks = filters.argmax(1)
    assert (np.diff(peaks) >= 0).all()
    # A triangle of height 2 / width has area 1; sampled every 40 Hz the wide ones come near it.
    np.testing.assert_allclose(filters[60:].sum(1) * 40, 1, atol=0.05)


def test_features_have_whispers_range_and_shape() -> None:
    """Eight decades below the loudest band and no more, scaled by four; filled up to the window."""
    features = log_mel(tone(1.0), 300)
    assert features.shape == (1, 80, 300)
    assert features.max() - features.min() == pytest.approx(2.0, abs=1e-5)
    assert int(features[0, :, 50].argmax()) == int(mel_filters()[:, 11].argmax())
