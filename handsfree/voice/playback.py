"""Samples in, sound out of the loudspeaker, with the time at which it ends."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray

from handsfree.audio.portaudio import FillSamples, PortAudio, SoundSystem
from handsfree.errors import MissingPart

_LEAD_S = 0.05
"""s of silence before the sound: some loudspeakers swallow the first moment after they are opened"""
_FADE_S = 0.01
_STOP_S = 0.05
_START_DEADLINE_S = 3.0
_END_DEADLINE_S = 3.0


@dataclass(frozen=True, slots=True)
class Played:
    """What became of a sound."""

    start_s: float
    """s on the clock, when it began to sound"""
    end_s: float
    """s on the clock, when the last of it sounded"""
    ok: bool
    """False when the loudspeaker failed"""
    reason: str = ""


class Loudspeaker:
    """Plays one sound at a time, and waits until it has sounded.

    Args:
        name: the device's name or a part of it; empty = the system's default.
        clock: s, the microphone's clock.
        system: the machine's sound.
    """

    def __init__(
        self, name: str = "", clock: Callable[[], float] = time.monotonic, *, system: SoundSystem | None = None
    ) -> None:
        self._name = name
        self._clock = clock
        self._system: SoundSystem = system or PortAudio()
        self._stop = threading.Event()
        self._wake = threading.Event()

    def play(self, samples: NDArray[np.float32], rate: int, on_start: Callable[[float], None] | None = None) -> Played:
        """Play to the end, or until `stop`; never raises because of the device.

        Args:
            samples: mono, -1..1.
            rate: Hz.
            on_start: called just before the device opens, with the time: sound may leave from now on.
        """
        self._stop.clear()
        self._wake.clear()
        asked = self._clock()
        feed: _Feed | None = None

        def make(device_rate: int) -> FillSamples:
            nonlocal feed
            feed = _Feed(_prepared(samples, rate, device_rate), device_rate, self._clock, self._stop, self._wake)
            return feed.fill

        with self._system.playing():
            if on_start is not None:
                on_start(asked)
            try:
                stream = self._system.open_output(self._name, make, self._wake.set)
            except MissingPart as error:
                return Played(asked, self._clock(), False, str(error))
            assert feed is not None
            try:
                reason = self._wait(feed)
            finally:
                stream.close()
        if reason:
            return Played(asked, self._clock(), False, reason)
        if self._stop.is_set():
            return Played(feed.start_s or asked, self._clock(), True, "stopped")
        return Played(feed.start_s or asked, feed.end_s, True)

    def stop(self) -> None:
        """Fall silent now; `play` returns. May be called from any thread."""
        self._stop.set()
        self._wake.set()

    def _wait(self, feed: _Feed) -> str:
        """Wait until all has sounded, or `stop`; why it has not, or empty."""
        patience = self._clock() + _START_DEADLINE_S
        while not feed.done and not self._stop.is_set():
            if self._clock() >= patience:
                started = feed.start_s is not None
                return (
                    "the loudspeaker has stopped taking sound" if started else "the loudspeaker does not take any sound"
                )
            self._wake.wait(0.1)
            self._wake.clear()
            if feed.start_s is not None:
                patience = feed.start_s + feed.seconds + _END_DEADLINE_S
        if self._stop.is_set():
            # The next block fades out; a driver that takes none in this time is cut off hard.
            time.sleep(_STOP_S)
            return ""
        while (left := feed.end_s - self._clock()) > 0 and not self._stop.wait(min(left, 0.1)):
            pass
        return ""


class _Feed:
    """Hands samples to the driver, and notes when they will sound. `fill` runs in the driver's thread."""

    def __init__(
        self,
        samples: NDArray[np.int16],
        rate: int,
        clock: Callable[[], float],
        stop: threading.Event,
        wake: threading.Event,
    ) -> None:
        self._samples = samples
        self._rate = rate
        self._clock = clock
        self._stop = stop
        self._at = 0
        self._wake = wake
        self.start_s: float | None = None
        self.end_s = 0.0
        self.done = False

    @property
    def seconds(self) -> float:
        return len(self._samples) / self._rate

    def fill(self, frames: int, delay_s: float) -> tuple[bytes, bool]:
        sounds_at = self._clock() + min(delay_s, 5.0)
        if self.start_s is None:
            self.start_s = sounds_at
        piece = self._samples[self._at : self._at + frames]
        if self._stop.is_set():
            piece = _faded(piece, round(_FADE_S * self._rate))
            self._at = len(self._samples)
        self._at += len(piece)
        self.end_s = sounds_at + len(piece) / self._rate
        last = self._at >= len(self._samples)
        if last:
            self.done = True
            self._wake.set()
        return piece.tobytes() + bytes(2 * (frames - len(piece))), last


def _prepared(samples: NDArray[np.float32], rate: int, device_rate: int) -> NDArray[np.int16]:
    """At the device's rate, limited, with a moment of silence before."""
    if rate != device_rate:
        samples = np.asarray(soxr.resample(samples, rate, device_rate), dtype=np.float32)
    padded = np.concatenate([np.zeros(round(_LEAD_S * device_rate), np.float32), samples])
    limited: NDArray[np.int16] = np.clip(np.rint(padded * 32767.0), -32767, 32767).astype(np.int16)
    return limited


def _faded(piece: NDArray[np.int16], length: int) -> NDArray[np.int16]:
    """The first `length` samples, falling to nothing: a hard stop clicks."""
    head = piece[:length]
    faded: NDArray[np.int16] = (head * np.linspace(1.0, 0.0, len(head))).astype(np.int16)
    return faded
