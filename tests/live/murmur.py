"""Sound that rises and falls as speech does, made by arithmetic: tests of cutting and playing need no recordings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from handsfree.model import SAMPLE_RATE


def voice(seconds: float, seed: int = 1, rate: int = SAMPLE_RATE) -> NDArray[np.float64]:
    """A 120 Hz voice in syllables of 0.2 s, each with its own vowel: it rises and falls as speech does. Peak 0.3."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * rate)) / rate
    syllable = np.minimum((t / 0.2).astype(int), 999)
    sound = np.zeros(len(t))
    for k in range(1, 30):
        formants = (rng.uniform(300, 900, 1000), rng.uniform(1000, 2600, 1000))
        weight = sum(np.exp(-(((120 * k - formant) / 200.0) ** 2)) for formant in formants)
        sound += weight[syllable] * np.sin(2 * np.pi * 120 * k * t)
    sound *= 0.15 + 0.85 * np.abs(np.sin(np.pi * t / 0.2))
    return 0.3 * sound / np.abs(sound).max()
