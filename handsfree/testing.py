"""Fakes for tests: a source with a script, ears with a script, a voice that remembers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from handsfree.model import Expectation, Heard, Segment
from handsfree.sources import Arrival, Ended, Quiet, Typed
from handsfree.voice.speaker import Change, Spoken


class ScriptedSource:
    """Gives what a test wrote down, one arrival each time the visit listens; timed waits end at once.

    Args:
        arrivals: words, or arrivals as they are.
    """

    def __init__(self, arrivals: Iterable[str | Arrival], name: str = "typed, waits skipped") -> None:
        self._arrivals: Iterator[str | Arrival] = iter(arrivals)
        self.name = name
        self.asked: list[Expectation] = []
        self.closed = False

    def listen(self, expectation: Expectation, timeout_s: float | None) -> Arrival:
        self.asked.append(expectation)
        arrival = next(self._arrivals, None)
        if arrival is None:
            return Ended()
        return Typed(arrival, float(len(self.asked))) if isinstance(arrival, str) else arrival

    def wait(self, seconds: float) -> Arrival:
        return Quiet(seconds)

    def close(self) -> None:
        self.closed = True


class ScriptedEars:
    """Hears what a test wrote down, whatever the samples."""

    def __init__(self, heard: Sequence[Heard]) -> None:
        self._heard = iter(heard)
        self.prepared: list[Expectation] = []

    def prepare(self, expectation: Expectation) -> None:
        self.prepared.append(expectation)

    def hear(self, segment: Segment, expectation: Expectation) -> Heard:
        return next(self._heard)


@dataclass(slots=True)
class RememberingSpeaker:
    """Says nothing and remembers everything."""

    said: list[str] = field(default_factory=list)
    cues: list[str] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)

    def say(self, text: str, *, brisk: bool = False) -> Spoken:
        self.said.append(text)
        return Spoken(0.0, 0.0, True)

    def cue(self, name: str) -> Spoken:
        self.cues.append(name)
        return Spoken(0.0, 0.0, True)

    def adjust(self, change: Change) -> bool:
        self.changes.append(change)
        return True

    def stop(self) -> None:
        return

    def close(self) -> None:
        return
