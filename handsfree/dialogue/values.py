"""What the state of a visit holds: confirmed values, a proposal that waits, verdicts, an unsafe situation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from handsfree.events import Proposed


@dataclass(frozen=True, slots=True)
class Value:
    """A confirmed value or answer of an item."""

    number: int
    """of the event that confirmed it"""
    item: str
    text: str
    """decimal string, choice id, ISO date, text, or why there is none (no_reading, not_fitted, no_access)"""
    kind: str
    """quantity, choice, yes_no, state, digits, letters, serial, date, time, number, text, wait, absent"""
    quantity: str | None = None
    qualifier: str | None = None
    unit: str = ""
    said_as: str = ""
    round: int = 1

    @property
    def absent(self) -> bool:
        """There is an answer, and it is that there is no value."""
        return self.kind == "absent"


@dataclass(frozen=True, slots=True)
class Pending:
    """A proposal that waits for the engineer."""

    number: int
    event: Proposed


@dataclass(frozen=True, slots=True)
class Ruling:
    """The last verdict on an item or result."""

    number: int
    result: str
    """within, outside, too_close"""
    value: str
    words: str
    limit: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Unsafe:
    """The data dialogue is stopped."""

    trigger: str
    answers: tuple[tuple[str, str], ...] = ()
    """question id, answer"""
