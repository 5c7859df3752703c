"""Text in, sound out: spoken, printed or not at all."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Literal

from handsfree.errors import BadInput
from handsfree.settings import Settings
from handsfree.voice.printed import PrintedSpeaker
from handsfree.voice.silent import SilentSpeaker
from handsfree.voice.speaker import Change, Speaker, Spoken

__all__ = ["Change", "Speaker", "SpeakerKind", "Spoken", "open_speaker"]

SpeakerKind = Literal["spoken", "printed", "none"]


def open_speaker(
    kind: SpeakerKind,
    settings: Settings,
    write: Callable[[str], None],
    clock: Callable[[], float] = time.monotonic,
) -> Speaker:
    """The voice of a visit.

    Args:
        kind: spoken (needs a loudspeaker and a system voice), printed, or none.
        settings: voice, loudspeaker, words a minute, cache folder.
        write: prints one line; the spoken voice falls back to it when it dies.
        clock: s, the microphone's clock.

    Raises:
        BadInput: `kind` is none of these.
    """
    if kind == "printed":
        return PrintedSpeaker(write, clock=clock)
    if kind == "none":
        return SilentSpeaker(clock=clock)
    raise BadInput(f"unknown voice {kind!r}", "use spoken, printed or none")
