"""Speech made clearer before it is played: same length, same peak, more of the sounds that noise hides."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

from handsfree.voice.clarity import clearer

RATE = 22_050


def tone(hz: float, seconds: float = 0.3, height: float = 0.5) -> NDArray[np.float32]:
    return np.asarray(height * np.sin(2 * np.pi * hz * np.arange(round(seconds * RATE)) / RATE), np.float32)


def power(samples: NDArray[np.float32]) -> float:
    return float((samples.astype(np.float64) ** 2).mean())


@given(arrays(np.float32, st.integers(1, 2000), elements=st.floats(-1, 1, width=32)), st.sampled_from([16_000, RATE]))
def test_length_and_peak_stay_as_they_were(samples: NDArray[np.float32], rate: int) -> None:
    """Nothing is added or cut away, nothing grows louder than it was at its loudest, and every sample is a number."""
    clear = clearer(samples, rate)
    assert clear.dtype == np.float32
    assert clear.shape == samples.shape
    assert np.isfinite(clear).all()
    assert float(np.abs(clear).max()) == pytest.approx(float(np.abs(samples).max()), rel=1e-5, abs=1e-30)


def test_high_sounds_are_lifted_over_low_ones() -> None:
    """Of a low and a high tone of the same strength the high one is the stronger afterwards."""
    both = np.concatenate([tone(200), tone(3000)])
    clear = clearer(both, RATE)
    half = len(both) // 2
    assert power(clear[half:]) > 3 * power(clear[:half])


def test_weak_sounds_are_brought_nearer_the_strong_and_silence_stays_silent() -> None:
    """A tone 20 dB below another is less far below it afterwards; where there was nothing there is nothing."""
    samples = np.concatenate([tone(1000), np.zeros(RATE // 10, np.float32), tone(1000, height=0.05)])
    clear = clearer(samples, RATE)
    length = len(tone(1000))
    assert power(samples[:length]) / power(samples[-length:]) == pytest.approx(100, rel=0.01)
    assert power(clear[:length]) / power(clear[-length:]) < 40
    assert not clear[length + 500 : length + RATE // 10 - 500].any()
