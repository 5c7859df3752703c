"""Text in, nothing out: for recordings and tests, where the journal alone tells what was said."""

from __future__ import annotations

import time
from collections.abc import Callable

from handsfree.voice.speaker import Change, Spoken


class SilentSpeaker:
    """Says nothing, and says so: `Spoken.ok` is False.

    Args:
        clock: s, monotonic.
    """

    def __init__(self, *, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock

    def say(self, text: str, *, brisk: bool = False) -> Spoken:
        return self._nothing()

    def cue(self, name: str) -> Spoken:
        return self._nothing()

    def adjust(self, change: Change) -> bool:
        return False

    def stop(self) -> None:
        """It is silent already."""

    def close(self) -> None:
        """Nothing is held."""

    def _nothing(self) -> Spoken:
        now = self._clock()
        return Spoken(now, now, False, "the voice is switched off")
