"""The name of a cue in, a short tone out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

RATE = 48_000
"""Hz"""
_LOUDNESS = 0.4
_EDGE_S = 0.008


@dataclass(frozen=True, slots=True)
class _Note:
    hz: float
    """0 = a rest"""
    seconds: float


# Rising asks, falling ends, one note states. All lie below 1.5 kHz, where hearing holds longest.
_CUES = {
    "listening": (_Note(660, 0.07), _Note(880, 0.09)),
    "hold": (_Note(880, 0.09), _Note(0, 0.03), _Note(660, 0.09), _Note(0, 0.03), _Note(440, 0.16)),
    "pardon": (_Note(440, 0.09), _Note(0, 0.05), _Note(440, 0.09)),
    "mark": (_Note(1200, 0.06),),
    "wait_over": (_Note(660, 0.12), _Note(0, 0.04), _Note(880, 0.12), _Note(0, 0.04), _Note(1100, 0.22)),
}
_ANY = (_Note(770, 0.12),)


def cue_names() -> tuple[str, ...]:
    """The cues that have a tone of their own."""
    return tuple(_CUES)


def cue_samples(name: str) -> NDArray[np.float32]:
    """The tone of a cue, mono at RATE; a name without a tone of its own gets a plain one, for a cue must never fail."""
    return np.concatenate([_sound(note) for note in _CUES.get(name, _ANY)])


def _sound(note: _Note) -> NDArray[np.float32]:
    t = np.arange(round(note.seconds * RATE)) / RATE
    if not note.hz:
        return np.zeros(len(t), np.float32)
    edge = np.minimum(1.0, np.minimum(t, t[-1] - t) / _EDGE_S)
    return np.asarray(_LOUDNESS * edge * np.sin(2 * np.pi * note.hz * t), dtype=np.float32)
