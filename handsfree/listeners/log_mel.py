"""Samples at 16 kHz in, Whisper's log-mel features out (frames of 10 ms)."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from handsfree.model import SAMPLE_RATE

WINDOW = 400
HOP = 160
BANDS = 80


def _hz_to_mel(frequency: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slaney's scale: linear below 1 kHz, logarithmic above."""
    linear = frequency * 3 / 200
    logarithmic = 15 + np.log(np.maximum(frequency, 1e-9) / 1000) * 27 / np.log(6.4)
    return np.where(frequency < 1000, linear, logarithmic)


def _mel_to_hz(mel: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.where(mel < 15, mel * 200 / 3, 1000 * np.exp((mel - 15) * np.log(6.4) / 27))


@lru_cache(maxsize=1)
def mel_filters() -> NDArray[np.float32]:
    """[BANDS, WINDOW // 2 + 1] triangles of equal area (Slaney, Auditory Toolbox, 1998; the filters that Whisper was
    trained with)."""
    bins = np.linspace(0, SAMPLE_RATE / 2, WINDOW // 2 + 1)
    edges = _mel_to_hz(np.linspace(0, _hz_to_mel(np.array([SAMPLE_RATE / 2]))[0], BANDS + 2))
    rising = (bins[None] - edges[:-2, None]) / np.diff(edges)[:-1, None]
    falling = (edges[2:, None] - bins[None]) / np.diff(edges)[1:, None]
    triangles = np.maximum(0, np.minimum(rising, falling))
    return (triangles * (2 / (edges[2:] - edges[:-2]))[:, None]).astype(np.float32)


def log_mel(samples: NDArray[np.float32], frames: int) -> NDArray[np.float32]:
    """Whisper's features of `samples`, filled up with silence or cut to `frames`.

    Args:
        samples: mono at 16 kHz, -1..1.
        frames: of 10 ms.

    Returns:
        [1, BANDS, frames]
    """
    wanted = frames * HOP
    filled = np.zeros(wanted, np.float32)
    filled[: min(len(samples), wanted)] = samples[:wanted]
    padded = np.pad(filled, WINDOW // 2, mode="reflect")
    rows = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)[: frames * HOP : HOP]
    hann = (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(WINDOW) / WINDOW)).astype(np.float32)
    power = np.abs(np.fft.rfft(rows * hann, axis=1)).astype(np.float32) ** 2
    logarithm = np.log10(np.maximum(mel_filters() @ power.T, 1e-10))
    logarithm = np.maximum(logarithm, logarithm.max() - 8)
    features: NDArray[np.float32] = ((logarithm + 4) / 4)[None].astype(np.float32)
    return features
