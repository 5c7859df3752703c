"""What every voice can do, and what it tells afterwards."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from handsfree.dialogue.effects import Faster, Louder, Quieter, Slower

Change = Louder | Quieter | Slower | Faster
"""What the engineer may ask of the voice."""


@dataclass(frozen=True, slots=True)
class Spoken:
    """A text or a cue has been put out."""

    start_s: float
    """s on the speaker's clock (the microphone's clock, live), when the sound began to leave the loudspeaker"""
    end_s: float
    """s on the same clock, when the last of it left"""
    ok: bool
    """False when nothing could be heard of it"""
    reason: str = ""
    """why not, or why it was cut short; plain words"""


class Speaker(Protocol):
    """Puts out what the visit says.

    A speaker never raises because of its own troubles: a visit must go on without a voice. One thread calls `say` and
    `cue`; `stop` may be called from any.
    """

    def say(self, text: str, *, brisk: bool = False) -> Spoken:
        """Say `text`; return when it has been said, or stopped. `brisk`: such words are familiar and may be quick."""

    def cue(self, name: str) -> Spoken:
        """Sound a cue (see `cues`), or what stands for it."""

    def adjust(self, change: Change) -> bool:
        """Speak louder, quieter, slower or faster from now on; False when it cannot go further that way."""

    def stop(self) -> None:
        """Fall silent now."""

    def close(self) -> None:
        """Give back devices and processes. The speaker cannot be used afterwards."""
