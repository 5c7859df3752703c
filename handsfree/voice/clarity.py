"""Speech in, the same speech out as it is easier to hear in noise: high sounds lifted, weak ones brought nearer the strong.

Vowels carry most of a voice's power and little of what tells words apart; the noise of a fan and of water hides the
consonants first. Lifting the high part and evening out the loudness, at the same peak, is the method of Zorila, Kandia
and Stylianou, "Speech-in-noise intelligibility improvement based on spectral shaping and dynamic range compression",
Interspeech 2012; this is a plain form of it. `benchmarks/read_backs.py` measures what it gives.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_TILT = 0.7
"""share of the sample before that is taken away: at 22 kHz some 15 dB between the lowest and the highest sounds"""
_EVEN = 0.35
"""power by which a weak moment is lifted: 10 dB below the loudest, by 3.5 dB"""
_WINDOW_S = 0.02
_FLOOR = 0.03
"""of the loudest moment; what is weaker, such as the silence between words, is lifted no further"""


def clearer(samples: NDArray[np.float32], rate: int) -> NDArray[np.float32]:
    """The same speech, clearer, with the same peak.

    Args:
        samples: mono, not silent.
        rate: Hz.
    """
    lifted = samples - np.float32(_TILT) * np.concatenate([np.zeros(1, np.float32), samples[:-1]])
    loudness = _loudness(lifted, max(1, round(_WINDOW_S * rate)))
    top = float(loudness.max())
    if not top > 0:
        return samples
    even = lifted * (np.maximum(loudness, _FLOOR * top) / top) ** -_EVEN
    return np.asarray(even * (float(np.abs(samples).max()) / float(np.abs(even).max())), np.float32)


def _loudness(samples: NDArray[np.floating], window: int) -> NDArray[np.float64]:
    """Root of the mean square over a window around each sample."""
    padded = np.pad(samples.astype(np.float64) ** 2, (window // 2 + 1, window - window // 2 - 1))
    total = np.cumsum(padded)
    return np.sqrt(np.maximum(total[window:] - total[:-window], 0.0)[: len(samples)] / window)
