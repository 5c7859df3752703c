"""A microphone in, blocks of samples with their capture times out."""

from __future__ import annotations

import contextlib
import queue
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from types import TracebackType

import numpy as np

from handsfree.audio.portaudio import OpenStream, PortAudio, SoundSystem
from handsfree.errors import MissingPart
from handsfree.model import Block


@dataclass(frozen=True, slots=True)
class SoundLost:
    """No sound arrives any more; the microphone is being opened again and again until it does."""

    reason: str
    """plain words, fit to be spoken"""
    at_s: float
    """s on the microphone's clock"""


@dataclass(frozen=True, slots=True)
class SoundBack:
    """Sound arrives again."""

    at_s: float
    """s on the microphone's clock"""


Arrival = Block | SoundLost | SoundBack


@dataclass(frozen=True, slots=True)
class MicrophoneOptions:
    """When a microphone counts as lost. Times in s."""

    no_callback_s: float = 2.0
    """the driver has not called for this long"""
    zeros_s: float = 5.0
    """every sample was exactly zero for this long: no microphone is that quiet; it is muted or disconnected"""
    retry_s: float = 1.0
    """between two attempts to open it again"""
    backlog_s: float = 60.0
    """sound that waits to be read; more is dropped, and the drop is marked"""


@dataclass(frozen=True, slots=True)
class _Delivery:
    """What the driver's callback leaves behind."""

    samples: bytes
    age_s: float
    arrived_s: float
    overflowed: bool
    stream: int
    """number of the stream it came from"""


class Microphone:
    """Captures at the device's own rate, 16-bit mono. Use it as a context manager; one thread reads.

    Args:
        name: the device's name or a part of it; empty = the system's default.
        clock: s, monotonic; capture times are on this clock.
        system: the machine's sound.
        options: when it counts as lost.

    Raises:
        MissingPart: on entering, when there is no PortAudio or no such microphone.
    """

    def __init__(
        self,
        name: str = "",
        clock: Callable[[], float] = time.monotonic,
        *,
        system: SoundSystem | None = None,
        options: MicrophoneOptions | None = None,
    ) -> None:
        self._name = name
        self._clock = clock
        self._system: SoundSystem = system or PortAudio()
        self._options = options or MicrophoneOptions()
        self._queue: queue.SimpleQueue[_Delivery] = queue.SimpleQueue()
        self._stream: OpenStream | None = None
        self._stream_number = 0
        self._place = _CaptureClock()
        self._last_callback_s = 0.0
        self._dropped = False
        self._zeros_s = 0.0
        self._lost = False
        self._next_try_s = 0.0
        self._waiting: list[Arrival] = []

    def __enter__(self) -> Microphone:
        self._open()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._close()

    def __iter__(self) -> Iterator[Arrival]:
        """Blocks, and what happened to the microphone, without end."""
        while True:
            arrival = self.read(1.0)
            if arrival is not None:
                yield arrival

    @property
    def device_name(self) -> str:
        """Full name of the open device; empty while it is lost."""
        return self._stream.device.name if self._stream is not None else ""

    def read(self, timeout_s: float) -> Arrival | None:
        """The next block, or news that sound went away or came back; None when nothing came within `timeout_s` s."""
        until = self._clock() + timeout_s
        while True:
            if self._waiting:
                return self._waiting.pop(0)
            now = self._clock()
            if self._stream is None and now >= self._next_try_s:
                self._reopen(now)
            left = min(until - now, self._watch_s(now))
            delivery = self._next(max(left, 0.0))
            if delivery is not None:
                self._take(delivery)
            elif self._stream is not None and self._clock() - self._last_callback_s >= self._options.no_callback_s:
                self._lose("the microphone has stopped delivering sound")
            elif self._clock() >= until:
                return None

    def discard(self) -> None:
        """Forget what was captured and not read yet."""
        while self._next(0.0) is not None:
            pass

    # ---- from the driver

    def _arrived(self, number: int, samples: bytes, age_s: float, overflowed: bool) -> None:
        """Runs in the driver's thread: stamp, queue, nothing else."""
        now = self._clock()
        self._last_callback_s = now
        if self._queue.qsize() > self._options.backlog_s * 50:  # blocks of 20 ms
            self._dropped = True
            return
        overflowed, self._dropped = overflowed or self._dropped, False
        self._queue.put(_Delivery(samples, age_s, now, overflowed, number))

    def _next(self, timeout_s: float) -> _Delivery | None:
        try:
            if timeout_s <= 0:
                return self._queue.get_nowait()
            return self._queue.get(timeout=timeout_s)
        except queue.Empty:
            return None

    # ---- to the reader

    def _take(self, delivery: _Delivery) -> None:
        stream = self._stream
        if stream is None or delivery.stream != self._stream_number:
            return
        samples = np.frombuffer(delivery.samples, np.int16)
        if stream.channels > 1:
            samples = samples.reshape(-1, stream.channels).mean(axis=1).astype(np.int16)
        if not len(samples):
            return
        if samples.any():
            self._zeros_s = 0.0
        else:
            self._zeros_s += len(samples) / stream.rate
            if self._zeros_s >= self._options.zeros_s:
                self._lose("the microphone delivers nothing but zeros; it may be muted")
                return
            if self._lost:
                return
        block = self._place.block(samples, stream.rate, delivery.age_s, delivery.arrived_s, delivery.overflowed)
        if self._lost:
            self._lost = False
            self._waiting.append(SoundBack(block.captured_at))
        self._waiting.append(block)

    def _watch_s(self, now: float) -> float:
        """s until something is to be looked at again."""
        if self._stream is None:
            return self._next_try_s - now
        return self._last_callback_s + self._options.no_callback_s - now

    def _lose(self, reason: str) -> None:
        self._close()
        self._next_try_s = self._clock() + self._options.retry_s
        if not self._lost:
            self._lost = True
            self._waiting.append(SoundLost(reason, self._clock()))

    def _reopen(self, now: float) -> None:
        self._next_try_s = now + self._options.retry_s
        with contextlib.suppress(MissingPart):
            self._system.restart()
            self._open()

    def _open(self) -> None:
        self._stream_number += 1
        number = self._stream_number
        self._zeros_s = 0.0
        self._place = _CaptureClock()
        self._last_callback_s = self._clock()
        self._stream = self._system.open_input(
            self._name, lambda samples, age_s, overflowed: self._arrived(number, samples, age_s, overflowed)
        )
        self._last_callback_s = self._clock()

    def _close(self) -> None:
        stream, self._stream = self._stream, None
        if stream is not None:
            stream.close()


class _CaptureClock:
    """Capture times that run with the samples, and follow the driver's jittery statements slowly."""

    _GAIN = 0.02
    _STEP_S = 0.002
    _JUMP_S = 0.2
    _JUMP_BLOCKS = 10

    def __init__(self) -> None:
        self._next_s: float | None = None
        self._blocks = 0
        self._astray = 0

    def block(
        self, samples: np.ndarray[tuple[int], np.dtype[np.int16]], rate: int, age_s: float, arrived_s: float, lost: bool
    ) -> Block:
        length_s = len(samples) / rate
        # A driver that does not know the age has at least captured the whole block before it calls.
        measured = arrived_s - (age_s if 0 < age_s < 5.0 else length_s)
        at, jumped = self._follow(measured, lost)
        self._next_s = at + length_s
        self._blocks += 1
        return Block(samples, rate, at, lost or jumped)

    def _follow(self, measured: float, lost: bool) -> tuple[float, bool]:
        """The time to believe, and whether it jumped ahead without the driver saying that it lost samples."""
        if self._next_s is None:
            return measured, False
        error = measured - self._next_s
        if lost:
            return max(measured, self._next_s), False
        self._astray = self._astray + 1 if abs(error) > self._JUMP_S else 0
        if self._astray >= self._JUMP_BLOCKS:
            self._astray = 0
            return measured, True
        gain = max(self._GAIN, 1.0 / (self._blocks + 1))
        step = self._STEP_S * (5 if self._blocks < 20 else 1)
        return self._next_s + min(max(gain * error, -step), step), False
