"""Text in, sound out: spoken, printed or not at all."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Literal

from handsfree.audio.gate import Gate
from handsfree.errors import BadInput
from handsfree.settings import Settings
from handsfree.voice.playback import Loudspeaker
from handsfree.voice.printed import PrintedSpeaker
from handsfree.voice.silent import SilentSpeaker
from handsfree.voice.speaker import Change, Speaker, Spoken
from handsfree.voice.spoken import SpokenSpeaker
from handsfree.voice.synthesis import Synthesiser

__all__ = ["Change", "Speaker", "SpeakerKind", "Spoken", "open_speaker"]

SpeakerKind = Literal["spoken", "printed", "none"]


def open_speaker(
    kind: SpeakerKind,
    settings: Settings,
    write: Callable[[str], None],
    clock: Callable[[], float] = time.monotonic,
    gate: Gate | None = None,
) -> Speaker:
    """The voice of a visit.

    Args:
        kind: spoken (needs a loudspeaker and a system voice), printed, or none.
        settings: voice, loudspeaker, words a minute, cache folder.
        write: prints one line; the spoken voice falls back to it when it dies.
        clock: s, the microphone's clock.
        gate: closed while the spoken voice sounds.

    Raises:
        BadInput: `kind` is none of these.
    """
    if kind == "printed":
        return PrintedSpeaker(write, clock=clock)
    if kind == "none":
        return SilentSpeaker(clock=clock)
    if kind == "spoken":
        return SpokenSpeaker(
            Synthesiser(settings.cache_folder, settings.voice),
            Loudspeaker(settings.loudspeaker, clock),
            write,
            words_a_minute=settings.words_a_minute,
            gate=gate,
            clock=clock,
        )
    raise BadInput(f"unknown voice {kind!r}", "use spoken, printed or none")
