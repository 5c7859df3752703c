"""Samples in, levels out: peak, clipping, offset, and band by band how far sound stands above the steady noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsfree.model import SAMPLE_RATE

FRAME = 160
"""samples from one frame to the next: 10 ms"""
WINDOW = 400
"""samples that a frame looks at: 25 ms"""
SILENCE_DB = -85.0
"""dB of full scale in one band: quieter than any microphone; the floor never falls below it, so that the last bit of a
digital silence does not look like speech"""

_EDGES_HZ = (200, 320, 440, 600, 780, 1000, 1280, 1600, 2000, 2500, 3150, 4000, 5300, 7000)
"""Bands about as wide as the ear's. Below 200 Hz is mains hum and fan rumble, above 7000 Hz only hiss."""
BANDS = len(_EDGES_HZ) - 1

_FULL_SCALE = 0.999
_CLIP_RUN = 3
_OFFSET = 0.003


@dataclass(frozen=True, slots=True)
class Levels:
    """What a stretch of sound measures."""

    peak_db: float
    """dB of full scale, of the loudest sample once the offset is taken away"""
    rms_db: float
    """dB of full scale"""
    offset: float
    """mean, -1..1"""
    clipped_share: float
    """0..1, share of samples that stand in a row of three or more at full scale"""


def measure_levels(samples: NDArray[np.float32]) -> Levels:
    """Measure a stretch of sound.

    Args:
        samples: mono, -1..1, finite.
    """
    if not len(samples):
        return Levels(-200.0, -200.0, 0.0, 0.0)
    offset = float(samples.mean(dtype=np.float64))
    around = samples - np.float32(offset)
    peak = float(np.abs(around).max())
    rms = float(np.sqrt(np.square(around, dtype=np.float64).mean()))
    return Levels(_decibels(peak), _decibels(rms), offset, clipped_share(samples))


def clipped_share(samples: NDArray[np.float32]) -> float:
    """Share (0..1) of samples in rows of three or more at full scale; a single one is a loud peak, no clipping."""
    if len(samples) < _CLIP_RUN:
        return 0.0
    full = np.abs(samples) >= _FULL_SCALE
    run = full[2:] & full[1:-1] & full[:-2]
    within = np.zeros(len(samples), bool)
    for shift in range(_CLIP_RUN):
        within[shift : len(samples) - 2 + shift] |= run
    return float(within.mean())


def without_offset(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    """The samples without their direct-current offset, where it is worth the name (over 0.3 % of full scale)."""
    offset = float(samples.mean(dtype=np.float64)) if len(samples) else 0.0
    return samples - np.float32(offset) if abs(offset) > _OFFSET else samples


def _decibels(amplitude: float) -> float:
    return 20.0 * float(np.log10(max(amplitude, 1e-10)))


_HANN = np.hanning(WINDOW).astype(np.float64)
_SCALE = 2.0 / float(np.square(_HANN).sum()) / WINDOW
_FFT = 512
_CUTS = np.array([round(edge * _FFT / SAMPLE_RATE) for edge in _EDGES_HZ])


def band_levels(samples: NDArray[np.float32]) -> NDArray[np.float64]:
    """Level of every band in every whole frame.

    Args:
        samples: mono at SAMPLE_RATE; frame i looks at samples i*FRAME to i*FRAME+WINDOW.

    Returns:
        dB of full scale, one row a frame, BANDS columns, never below SILENCE_DB.
    """
    count = (len(samples) - WINDOW) // FRAME + 1
    if count <= 0:
        return np.zeros((0, BANDS))
    frames = np.lib.stride_tricks.sliding_window_view(samples, WINDOW)[::FRAME][:count]
    spectrum = np.fft.rfft(frames * _HANN, _FFT, axis=1)
    power = np.square(spectrum.real) + np.square(spectrum.imag)
    bands = np.add.reduceat(power[:, : _CUTS[-1]], _CUTS[:-1], axis=1) * _SCALE
    return np.asarray(np.maximum(10.0 * np.log10(np.maximum(bands, 1e-20)), SILENCE_DB))


class NoiseFloor:
    """The steady noise in every band, followed by the lowest level of the last second and a half.

    A minimum over time follows a fan that starts or stops, and no speech, as speech leaves each band free again and
    again. The idea is R. Martin, "Noise power spectral density estimation based on optimal smoothing and minimum
    statistics", IEEE Trans. Speech and Audio Processing 9 (2001), here in its simplest form: levels in dB, smoothed, a
    fixed allowance for the minimum lying below the mean.
    """

    PARTS = 6
    """pieces of the window; the oldest is dropped when a new one is full"""
    PART_FRAMES = 25
    """frames in a piece: 0.25 s, so the window is 1.5 s"""
    SMOOTH = 0.7
    """share of the old level that stays at each frame"""
    ALLOWANCE_DB = 3.5
    """dB by which the lowest of 150 smoothed levels of steady noise lies below their mean"""

    def __init__(self) -> None:
        self._smoothed: NDArray[np.float64] | None = None
        self._parts: list[NDArray[np.float64]] = []
        self._lowest = np.full(BANDS, np.inf)
        self._count = 0

    def above(self, levels: NDArray[np.float64]) -> NDArray[np.float64]:
        """Take in one frame's levels; how far each band, smoothed, stands above the floor (dB; negative = below).

        Until a whole window has been seen, the floor is silence: what begins with speech must not lose its first word.
        Noise taken for speech by this is found out by `floor` later.
        """
        if self._smoothed is None:
            self._smoothed = levels
        else:
            self._smoothed = self.SMOOTH * self._smoothed + (1.0 - self.SMOOTH) * levels
        np.minimum(self._lowest, self._smoothed, out=self._lowest)
        self._count += 1
        if self._count % self.PART_FRAMES == 0:
            self._parts = [*self._parts[-(self.PARTS - 1) :], self._lowest]
            self._lowest = np.full(BANDS, np.inf)
        return self._smoothed - self.floor()

    def resume(self) -> None:
        """Sound goes on behind a hole: the floor stays, but no level is smoothed across the hole."""
        self._smoothed = None

    @property
    def smoothed(self) -> NDArray[np.float64]:
        """dB of full scale of every band at the last frame, smoothed."""
        return np.full(BANDS, SILENCE_DB) if self._smoothed is None else self._smoothed

    @property
    def settled(self) -> bool:
        """True once a whole window has been seen."""
        return len(self._parts) == self.PARTS

    def floor(self) -> NDArray[np.float64]:
        """dB of full scale of every band."""
        if not self.settled:
            return np.full(BANDS, SILENCE_DB + self.ALLOWANCE_DB)
        lowest = np.minimum(np.min(self._parts, axis=0), self._lowest)
        return np.asarray(np.maximum(lowest, SILENCE_DB) + self.ALLOWANCE_DB)
