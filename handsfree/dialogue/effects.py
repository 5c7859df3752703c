"""What the engine wants done after its events are kept: say, sound a cue, listen, wait, stop."""

from __future__ import annotations

from dataclasses import dataclass, field

from handsfree.model import Expectation


@dataclass(frozen=True, slots=True)
class Say:
    """Speak. The engine has put a `Said` event with the same text among the decision's events: do not write another."""

    text: str
    purpose: str
    """prompt, read_back, value, warning, emergency, status"""
    brisk: bool = False
    """a prompt, a status, a plain read-back: familiar words, so it may be quick; a warning and what is said again may not"""


@dataclass(frozen=True, slots=True)
class Cue:
    """A short sound: saved, hold, pardon, mark, wait_over."""

    name: str


@dataclass(frozen=True, slots=True)
class Louder:
    """The voice louder from now on."""


@dataclass(frozen=True, slots=True)
class Quieter:
    """The voice quieter from now on."""


@dataclass(frozen=True, slots=True)
class Slower:
    """The voice slower from now on."""


@dataclass(frozen=True, slots=True)
class Faster:
    """The voice faster from now on."""


@dataclass(frozen=True, slots=True)
class Listen:
    """Listen; answer with `HeardInput`, or with `Silence` after `timeout_s`."""

    expectation: Expectation
    timeout_s: float


@dataclass(frozen=True, slots=True)
class Wait:
    """A timed wait; listening goes on. Answer with `WaitOver` when it is over, or with `HeardInput` (and how long was
    waited)."""

    seconds: float
    """s that are left"""
    what: str
    expectation: Expectation = field(default_factory=Expectation)


@dataclass(frozen=True, slots=True)
class Stop:
    """The visit is over."""

    complete: bool


Effect = Say | Cue | Louder | Quieter | Slower | Faster | Listen | Wait | Stop
LAST = (Listen, Wait, Stop)
"""Exactly one of these ends a decision."""
