"""Samples as they came in, samples at a usual level out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from handsfree.model import SAMPLE_RATE


def levelled(samples: NDArray[np.float32]) -> NDArray[np.float32] | None:
    """The samples without offset and at a usual level; None when there is nothing in them (silence, no numbers)."""
    clean = np.nan_to_num(np.asarray(samples, np.float32), nan=0.0, posinf=1.0, neginf=-1.0)
    if not len(clean):
        return None
    clean = clean - clean.mean()
    peak = float(np.abs(clean).max())
    if peak < 1e-4:
        return None
    result: NDArray[np.float32] = clean * np.float32(0.5 / peak)
    return result


FRAME = SAMPLE_RATE // 50
SLOWEST = 5.0
"""letters a second of speech, beyond the first six. Of 400 real and synthetic clips, clean to 5 dB, only "no" and the
like come near it."""
FASTEST = 45.0
"""letters a second; in noise speech seems shorter than it is (39 seen at 5 dB)"""
SHORTEST_S = 0.5
"""s: below this the estimate of how long was spoken is too rough to rule anything out"""


def speech_seconds(samples: NDArray[np.float32]) -> float:
    """How long is spoken in the samples, pauses left out, in s: frames of 20 ms nearer to the loud ones than to the
    quiet ones."""
    frames = samples[: len(samples) // FRAME * FRAME].reshape(-1, FRAME)
    if not len(frames):
        return 0.0
    level = 10 * np.log10((frames**2).mean(1) + 1e-9)
    quiet, loud = np.percentile(level, 10), np.percentile(level, 95)
    threshold = max(loud - 30, quiet + (loud - quiet) * 0.3)
    return float((level > threshold).sum() * FRAME / SAMPLE_RATE)


def could_take(words: str, spoken_s: float) -> bool:
    """Whether these words can be what was said for so long. Speech models end too early, or repeat themselves; both
    show here."""
    letters = sum(3 if len(w) == 1 else len(w) for w in words.split())
    if letters > FASTEST * (spoken_s + 0.3):
        return False
    return spoken_s < SHORTEST_S or letters + 6 >= SLOWEST * spoken_s
