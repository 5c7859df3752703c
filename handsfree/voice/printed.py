"""Text in, a line on the screen out."""

from __future__ import annotations

import time
from collections.abc import Callable

from handsfree.voice.speaker import Change, Spoken

BELL = "\a"


class PrintedSpeaker:
    """Writes what would be said.

    Args:
        write: takes one line, without its end.
        bell: ring the terminal's bell with every line, for one who does not look at the screen.
        clock: s, monotonic.
    """

    def __init__(
        self, write: Callable[[str], None], *, bell: bool = False, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._write = write
        self._bell = BELL if bell else ""
        self._clock = clock

    def say(self, text: str, *, brisk: bool = False) -> Spoken:
        start = self._clock()
        self._write(self._bell + text)
        return Spoken(start, self._clock(), True)

    def cue(self, name: str) -> Spoken:
        """A cue has no words; on paper the line that follows it says as much. With a bell, it rings."""
        start = self._clock()
        if self._bell:
            self._write(self._bell)
        return Spoken(start, self._clock(), bool(self._bell))

    def adjust(self, change: Change) -> bool:
        return False

    def stop(self) -> None:
        """What is written stays."""

    def close(self) -> None:
        """Nothing is held."""
