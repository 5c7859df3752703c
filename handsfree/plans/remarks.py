"""What a check knows and what it finds, before the key's line is looked up."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Knowledge:
    """What a plan may refer to outside itself."""

    quantities: Mapping[str, str]
    """id -> unit"""
    computations: Mapping[str, tuple[str, ...]]
    """name -> keys"""
    has_limit: Callable[[str], bool]
    limit_ids: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Found:
    """A finding before its key's line is looked up."""

    weight: Literal["error", "warning"]
    line: int
    """of the header of the table"""
    message: str
    hint: str
    key: str
    """the key of that table that is wrong; empty: the table itself"""


def error(line: int, message: str, hint: str = "", key: str = "") -> Found:
    return Found("error", line, message, hint, key)


def warning(line: int, message: str, hint: str = "", key: str = "") -> Found:
    return Found("warning", line, message, hint, key)
