"""Outcomes and expectations as one line that a person can read and a grammar file can hold."""

from __future__ import annotations

from collections.abc import Collection
from typing import get_args

from handsfree.errors import BadInput
from handsfree.model import (
    Command,
    Expectation,
    ExpectationKind,
    Gas,
    Nothing,
    Outcome,
    Reading,
    Readings,
    Text,
    Unsure,
    decimal_string,
)

_NEED_MORE = ("quantity", "choice")
"""Kinds that a name alone does not settle."""
KINDS: tuple[ExpectationKind, ...] = tuple(k for k in get_args(ExpectationKind) if k not in _NEED_MORE)
"""Kinds of answers that can be expected by name."""


def expectation_of(what: str, quantities: Collection[str], gas: Gas = "ng") -> Expectation:
    """The expectation that a name stands for: a kind of answer, or the id of a quantity.

    Raises:
        BadInput: it is neither.
    """
    for kind in KINDS:
        if what == kind:
            return Expectation(kind, gas=gas)
    if what in quantities:
        return Expectation("quantity", what, gas=gas)
    from rapidfuzz import fuzz, process  # late: only to help with a slip

    near = process.extractOne(what, [*KINDS, *quantities], scorer=fuzz.ratio)
    hint = f"did you mean {near[0]}? " if near and near[1] > 60 else ""
    raise BadInput(
        f"{what!r} is neither a kind of answer nor a quantity",
        f"{hint}kinds are {', '.join(KINDS)}; quantities are {', '.join(quantities)}",
    )


def outcome_line(outcome: Outcome) -> str:
    """One line, such as "co2 maximum 9.2 %", "command no: co2 9.4 %", "text 482" or "unsure 92 | 9.2"."""
    match outcome:
        case Readings(readings):
            return "; ".join(_reading_line(r) for r in readings)
        case Command():
            parts = ["command", outcome.command, outcome.target, outcome.qualifier]
            line = " ".join(p for p in parts if p)
            return f"{line}: {outcome_line(Readings(outcome.readings))}" if outcome.readings else line
        case Text(text):
            return f"text {text}"
        case Unsure(alternatives):
            return f"unsure {' | '.join(outcome_line(a) for a in alternatives)}".rstrip()
        case Nothing():
            return "nothing"


def _reading_line(reading: Reading) -> str:
    unit = reading.unit if reading.unit != "-" else None
    parts = [reading.quantity, reading.qualifier, decimal_string(reading.value), unit]
    return " ".join(p for p in parts if p)
