"""What happens to a visit from outside: something heard, silence, a wait over, sound lost and back."""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.model import Heard


@dataclass(frozen=True, slots=True)
class HeardInput:
    """An utterance, understood. Its clip is already saved."""

    heard: Heard
    waited_s: float = 0.0
    """s that had passed of the `Wait` on hand; 0 begins what was left of it anew, which is longer, never shorter"""


@dataclass(frozen=True, slots=True)
class Silence:
    """Nothing was said."""

    seconds: float


@dataclass(frozen=True, slots=True)
class WaitOver:
    """The wait on hand ran to its end."""

    seconds: float
    """s that passed of the last stretch"""


@dataclass(frozen=True, slots=True)
class SoundWentAway:
    """The microphone was lost."""

    reason: str


@dataclass(frozen=True, slots=True)
class SoundCameBack:
    """The microphone works again."""


Input = HeardInput | Silence | WaitOver | SoundWentAway | SoundCameBack
