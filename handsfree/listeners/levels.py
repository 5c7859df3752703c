"""Samples as they came in, samples at a usual level out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


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
