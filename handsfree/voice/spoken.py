"""Text in, speech out of the loudspeaker; text and bell on the screen when the voice dies."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from handsfree.audio.gate import Gate
from handsfree.dialogue.effects import Faster, Louder, Quieter, Slower
from handsfree.dialogue.wording import holds_number
from handsfree.voice.cues import RATE, cue_samples
from handsfree.voice.playback import Played
from handsfree.voice.printed import PrintedSpeaker
from handsfree.voice.speaker import Change, Spoken
from handsfree.voice.synthesis import NotRendered, Rendered

_GAINS = (0.18, 0.25, 0.35, 0.5, 0.71, 1.0)
_USUAL_GAIN = 3
USUAL = 130
"""words a minute"""
_SLOWER = 0.85
_SLOWEST = 90
"""words a minute"""
FASTER = 1.15
FASTEST = 175
"""words a minute, of what is spoken with care"""
BRISK_NUMBERS = 1.35
"""how much faster a familiar sentence with a number is spoken: at 130 words a minute it has the synthesiser's own usual pace.
The listeners hear it better than the careful pace before speech was made clearer (`benchmarks/read_backs.py`)"""
BRISK_WORDS = 1.7
"""how much faster a familiar sentence without a number is spoken"""
FASTEST_NUMBERS = 190
"""words a minute; more and digits run into each other: our own ear, no source"""
_FAILURES_TO_REST = 2
_REST_S = 60.0
"""s without an attempt to speak once it has failed several times running: each attempt costs the engineer seconds"""


class Renderer(Protocol):
    """What a spoken voice needs of a synthesiser."""

    def render(self, text: str, words_a_minute: int) -> Rendered | NotRendered: ...
    def close(self) -> None: ...


class Player(Protocol):
    """What a spoken voice needs of a loudspeaker."""

    def play(
        self, samples: NDArray[np.float32], rate: int, on_start: Callable[[float], None] | None = None
    ) -> Played: ...
    def stop(self) -> None: ...


def pace_of(text: str, words_a_minute: int, *, brisk: bool) -> int:
    """Words a minute for a sentence.

    Args:
        text: the whole sentence.
        words_a_minute: of what is spoken with care.
        brisk: the engineer knows such sentences; quicker still where no number is in it.
    """
    if not brisk:
        return words_a_minute
    if holds_number(text):
        return max(words_a_minute, min(round(words_a_minute * BRISK_NUMBERS), FASTEST_NUMBERS))
    return round(words_a_minute * BRISK_WORDS)


class SpokenSpeaker:
    """Speaks; what cannot be spoken is written, with a bell, and the visit goes on.

    Args:
        renderer: text to samples.
        player: samples to sound.
        write: takes one line of text.
        words_a_minute: speed of warnings and of what is said again; a brisk sentence is quicker, see `pace_of`.
        gate: closed while the voice sounds, where the microphone is on.
        clock: s, the microphone's clock.
    """

    def __init__(
        self,
        renderer: Renderer,
        player: Player,
        write: Callable[[str], None],
        *,
        words_a_minute: int = USUAL,
        gate: Gate | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._renderer = renderer
        self._player = player
        self._write = write
        self._printed = PrintedSpeaker(write, bell=True, clock=clock)
        self._words_a_minute = words_a_minute
        self._gate = gate
        self._clock = clock
        self._gain = _USUAL_GAIN
        self._failures = 0
        self._told = False
        self._silent_until = float("-inf")

    def say(self, text: str, *, brisk: bool = False) -> Spoken:
        if not text.strip():
            now = self._clock()
            return Spoken(now, now, True)
        if self._resting():
            return self._printed.say(text)
        rendered = self._renderer.render(text, pace_of(text, self._words_a_minute, brisk=brisk))
        if isinstance(rendered, NotRendered):
            self._failed(rendered.reason, for_good=rendered.for_good)
            return self._printed.say(text)
        spoken = self._play(rendered)
        return spoken if spoken.ok else self._printed.say(text)

    def cue(self, name: str) -> Spoken:
        if self._resting():
            return self._printed.cue(name)
        spoken = self._play(Rendered(cue_samples(name), RATE))
        return spoken if spoken.ok else self._printed.cue(name)

    def adjust(self, change: Change) -> bool:
        match change:
            case Louder():
                gain = min(self._gain + 1, len(_GAINS) - 1)
            case Quieter():
                gain = max(self._gain - 1, 0)
            case Slower():
                slower = max(round(self._words_a_minute * _SLOWER), min(_SLOWEST, self._words_a_minute))
                changed, self._words_a_minute = slower != self._words_a_minute, slower
                return changed
            case Faster():
                faster = min(round(self._words_a_minute * FASTER), max(FASTEST, self._words_a_minute))
                changed, self._words_a_minute = faster != self._words_a_minute, faster
                return changed
        changed, self._gain = gain != self._gain, gain
        return changed

    def stop(self) -> None:
        self._player.stop()

    def close(self) -> None:
        self._player.stop()
        self._renderer.close()

    def _play(self, sound: Rendered) -> Spoken:
        gain = np.float32(_GAINS[self._gain])
        if self._gate is None:
            played = self._player.play(sound.samples * gain, sound.rate)
        else:
            played = self._player.play(sound.samples * gain, sound.rate, self._gate.close_from)
            self._gate.open_from(played.end_s)
        if played.ok:
            self._failures = 0
        else:
            self._failed(played.reason)
        return Spoken(played.start_s, played.end_s, played.ok, played.reason)

    # ---- when the voice dies

    def _resting(self) -> bool:
        return self._clock() < self._silent_until

    def _failed(self, reason: str, *, for_good: bool = False) -> None:
        self._failures += 1
        if not self._told:
            self._told = True
            self._write(f"The voice has failed: {reason}. What it cannot speak is written here, with a bell.")
        if for_good:
            self._silent_until = float("inf")
        elif self._failures >= _FAILURES_TO_REST:
            self._silent_until = self._clock() + _REST_S
