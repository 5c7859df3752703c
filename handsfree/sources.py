"""A microphone, typed lines or recordings in; one utterance out each time the visit listens."""

from __future__ import annotations

import select
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, TextIO

from handsfree.audio.endpointing import HoldOpen, segments_of
from handsfree.audio.gate import Gate
from handsfree.audio.microphone import Microphone, SoundBack, SoundLost
from handsfree.audio.utterances import LiveUtterances
from handsfree.audio.wav import read_sound
from handsfree.errors import BadInput
from handsfree.model import SAMPLE_RATE, Expectation, Segment

SOUND_ENDINGS = {".wav", ".flac", ".ogg", ".opus", ".mp3", ".aiff", ".aif"}


@dataclass(frozen=True, slots=True, eq=False)
class Spoken:
    """An utterance as sound."""

    segment: Segment


@dataclass(frozen=True, slots=True)
class Typed:
    """An utterance as words."""

    words: str
    at_s: float
    """s on the source's clock"""


@dataclass(frozen=True, slots=True)
class Quiet:
    """Nobody spoke."""

    seconds: float


@dataclass(frozen=True, slots=True)
class Lost:
    """Sound stopped arriving."""

    reason: str


@dataclass(frozen=True, slots=True)
class Back:
    """Sound arrives again."""


@dataclass(frozen=True, slots=True)
class Ended:
    """Nothing more will come: the typed lines or the recordings ran out."""


Arrival = Spoken | Typed | Quiet | Lost | Back | Ended


class Source(Protocol):
    """Something a visit can listen to."""

    name: str
    """as recorded in the journal: "mic", "typed", "recordings"; with ", waits skipped" where timed waits are not waited for"""

    def listen(self, expectation: Expectation, timeout_s: float | None) -> Arrival:
        """The next utterance, or Quiet after `timeout_s` s."""

    def wait(self, seconds: float) -> Arrival:
        """Wait `seconds` s while listening; Quiet with the seconds that passed, or what was said meanwhile."""

    def close(self) -> None: ...


class TypedSource:
    """Lines of words from a terminal, a pipe or a list.

    Args:
        stream: a text stream with one utterance a line.
        waits: False = timed waits end at once (and the record says so).
    """

    def __init__(self, stream: TextIO, *, waits: bool, clock: Callable[[], float] = time.monotonic) -> None:
        self._stream = stream
        self._waits = waits
        self._clock = clock
        self.name = "typed" if waits else "typed, waits skipped"

    def listen(self, expectation: Expectation, timeout_s: float | None) -> Arrival:
        line = self._stream.readline()
        return Typed(line.strip(), self._clock()) if line else Ended()

    def wait(self, seconds: float) -> Arrival:
        if not self._waits:
            return Quiet(seconds)
        start = self._clock()
        # select sees only what the terminal has not handed over yet; lines typed ahead wait until the end of the wait, which is safe.
        if self._stream.isatty() and select.select([self._stream], [], [], seconds)[0]:
            return self.listen(Expectation(), None)
        if not self._stream.isatty():
            time.sleep(seconds)
        return Quiet(self._clock() - start)

    def close(self) -> None:
        return


class RecordingSource:
    """Recordings, one utterance each time the visit listens. Timed waits end at once, and the record says so.

    Args:
        path: a folder of sound files, used in the order of their names; or one long recording, cut into utterances.

    Raises:
        BadInput: nothing there, or a file that does not read.
    """

    name = "recordings, waits skipped"

    def __init__(self, path: Path) -> None:
        if not path.exists():
            raise BadInput(f"{path} does not exist", "give a folder of recordings, or one recording")
        self._pause_behind: HoldOpen = lambda segment: 0.0
        self._segments = self._from_folder(path) if path.is_dir() else self._from_file(path)

    def hold_open(self, pause_behind: HoldOpen) -> None:
        """Give the pause behind the beginning of a longer answer more time, in one long recording.

        Args:
            pause_behind: asked when a pause is long enough to end an utterance; must know the answer.
        """
        self._pause_behind = pause_behind

    def _from_folder(self, folder: Path) -> Iterator[Segment]:
        files = sorted(p for p in folder.iterdir() if p.suffix.lower() in SOUND_ENDINGS)
        if not files:
            raise BadInput(
                f"{folder} holds no recordings", f"put sound files there ({', '.join(sorted(SOUND_ENDINGS))})"
            )
        return self._whole_files(files)

    def _whole_files(self, files: Sequence[Path]) -> Iterator[Segment]:
        """Each file is one utterance, whatever pauses it holds: whoever cut the files decided that."""
        at_s = 0.0
        for path in files:
            samples = read_sound(path).samples
            end_s = at_s + len(samples) / SAMPLE_RATE
            yield Segment(samples, at_s, end_s)
            at_s = end_s

    def _from_file(self, path: Path) -> Iterator[Segment]:
        """Each utterance is cut when the visit listens for it: whether it is finished hangs on what is expected then."""
        samples = read_sound(path).samples
        if next(segments_of(samples), None) is None:
            raise BadInput(f"{path} holds no utterance", "check the level of the recording")
        return segments_of(samples, hold_open=lambda segment: self._pause_behind(segment))

    def listen(self, expectation: Expectation, timeout_s: float | None) -> Arrival:
        segment = next(self._segments, None)
        return Ended() if segment is None else Spoken(segment)

    def wait(self, seconds: float) -> Arrival:
        return Quiet(seconds)

    def close(self) -> None:
        return


class MicrophoneSource:
    """What is spoken into the microphone, less what was captured while our own voice sounded.

    Args:
        name: name of the device, or part of it; empty = the system's default.
        gate: closed by the speaker while it sounds.

    Raises:
        MissingPart: no sound library or no microphone; the message names the cure.
    """

    name = "mic"

    def __init__(self, name: str, gate: Gate, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._microphone = Microphone(name)
        self._microphone.__enter__()
        self._utterances = LiveUtterances(self._microphone, gate, clock=clock)

    def listen_ahead(self, begin: Callable[[Segment], None], pause_behind: HoldOpen) -> None:
        """Let listening begin within the pause behind an utterance, and give the pause of an unfinished one more time.

        Args:
            begin: called with an utterance as soon as it may be over; must return at once.
            pause_behind: asked when a pause is long enough to end an utterance.
        """
        self._utterances.ahead = begin
        self._utterances.endpointer.hold_open = pause_behind

    def listen(self, expectation: Expectation, timeout_s: float | None) -> Arrival:
        start = self._clock()
        arrival = self._utterances.next(timeout_s)
        match arrival:
            case Segment():
                return Spoken(arrival)
            case SoundLost(reason=reason):
                return Lost(reason)
            case SoundBack():
                return Back()
            case _:
                return Quiet(self._clock() - start)

    def wait(self, seconds: float) -> Arrival:
        return self.listen(Expectation(), seconds)

    def close(self) -> None:
        self._microphone.__exit__(None, None, None)


def standard_input() -> TextIO:
    """Standard input as a text stream that survives any bytes."""
    if hasattr(sys.stdin, "reconfigure"):
        sys.stdin.reconfigure(errors="replace")
    return sys.stdin
