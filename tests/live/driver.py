"""A sound system whose driver is the test."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from handsfree.audio.portaudio import Device, FillSamples, OnSamples
from handsfree.errors import MissingPart

RATE = 48_000
BLOCK = RATE // 50


@dataclass
class FakeStream:
    device: Device
    rate: int = RATE
    channels: int = 1
    latency_s: float = 0.02
    closed: bool = False

    def close(self) -> None:
        self.closed = True


@dataclass
class FakeSystem:
    """A sound system whose driver is this test. Its clock moves when the test says so."""

    now: float = 100.0
    channels: int = 1
    gone: bool = False
    restarts: int = 0
    opened: list[str] = field(default_factory=list)
    streams: list[FakeStream] = field(default_factory=list)
    deliver: OnSamples | None = None

    def clock(self) -> float:
        return self.now

    def open_input(self, name: str, on_samples: OnSamples) -> FakeStream:
        self.opened.append(name)
        if self.gone:
            raise MissingPart(f"no microphone named {name!r}", "there are: none")
        self.deliver = on_samples
        self.streams.append(FakeStream(Device(0, "Headset", self.channels, 0, RATE), channels=self.channels))
        return self.streams[-1]

    def open_output(self, name: str, make: Callable[[int], FillSamples], on_end: Callable[[], None]) -> FakeStream:
        raise NotImplementedError

    def restart(self) -> None:
        self.restarts += 1

    def playing(self) -> contextlib.AbstractContextManager[None]:
        return contextlib.nullcontext()

    def send_sound(self, sound: NDArray[np.float64], *, age_s: float = 0.02) -> None:
        """The driver calls back with the blocks of a sound (-1..1, at RATE)."""
        assert self.deliver is not None
        samples = np.rint(sound * 32767).astype(np.int16)
        for at in range(0, len(samples), BLOCK):
            self.now += BLOCK / RATE
            self.deliver(samples[at : at + BLOCK].tobytes(), age_s, False)

    def send(self, value: int = 7, *, blocks: int = 1, overflowed: bool = False, age_s: float = 0.02) -> None:
        """The driver calls back."""
        assert self.deliver is not None
        for _ in range(blocks):
            self.now += BLOCK / RATE
            samples = np.full(BLOCK * self.channels, value, np.int16)
            self.deliver(samples.tobytes(), age_s, overflowed)
