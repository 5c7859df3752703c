"""The values that travel between stages: blocks, segments, what was heard, outcomes, results, verdicts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:  # words are understood without numpy: it would double the start-up time
    import numpy as np
    from numpy.typing import NDArray

SAMPLE_RATE = 16_000
"""Hz. Every segment is mono at this rate; sources resample to it."""

Gas = Literal["ng", "lpg"]
"""What the appliance burns: natural gas or liquefied petroleum gas."""

ExpectationKind = Literal[
    "any", "number", "digits", "letters", "serial", "date", "time", "quantity", "choice", "yes_no"
]


# ---------------------------------------------------------------------------------------------------- sound


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """A run of samples as captured."""

    samples: NDArray[np.int16]
    """mono, -32768..32767"""
    rate: int
    """Hz"""
    captured_at: float
    """s on the source's clock, of the first sample (monotonic clock live, 0 = start of file otherwise)"""
    overflowed: bool = False
    """True when samples were lost just before or in this block"""


@dataclass(frozen=True, slots=True, eq=False)
class Segment:
    """One utterance, cut out of the stream."""

    samples: NDArray[np.float32]
    """mono at SAMPLE_RATE, -1..1"""
    start_s: float
    """s on the source's clock, of the first sample"""
    end_s: float
    """s on the source's clock, just after the last sample"""
    damaged: str = ""
    """why the segment must not be trusted ("samples were lost", "clipped"), or empty"""
    speech_start_s: float | None = None
    """s on the source's clock, where speech begins within the segment; None where that is not known"""


# ------------------------------------------------------------------------------------------------- language


@dataclass(frozen=True, slots=True)
class Expectation:
    """What the step on hand can take. It narrows meaning; it never makes a guess certain."""

    kind: ExpectationKind = "any"
    quantity: str | None = None
    """id of a quantity (kind "quantity")"""
    qualifier: str | None = None
    """maximum, minimum, cold, hot, before, after; the step's own, taken when none is spoken"""
    gas: Gas = "ng"
    choices: tuple[str, ...] = ()
    """ids of the answers that fit (kind "choice"); their spoken forms stand in `phrases`"""
    phrases: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """choice id -> spoken forms, lower case words"""
    length: int | None = None
    """number of characters where it is known (kinds digits, letters, serial)"""
    low: Decimal | None = None
    """lowest plausible value of this step, in the quantity's unit; None = the quantity's own"""
    high: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """One value with its quantity and unit. `value` keeps the digits as spoken (2.50)."""

    value: Decimal
    """in `unit`"""
    quantity: str | None = None
    unit: str | None = None
    qualifier: str | None = None
    spoken_value: Decimal | None = None
    """as spoken, when it was converted"""
    spoken_unit: str | None = None


@dataclass(frozen=True, slots=True)
class Readings:
    """Outcome `reading`: one or more readings, in the order spoken."""

    readings: tuple[Reading, ...]


@dataclass(frozen=True, slots=True)
class Command:
    """Outcome `command`: a spoken command, with the readings that came in the same breath."""

    command: str
    readings: tuple[Reading, ...] = ()
    target: str | None = None
    """what a `change`, `where`, `why` names: a quantity id or a plan item's spoken name"""
    qualifier: str | None = None
    """qualifier spoken with the target"""


@dataclass(frozen=True, slots=True)
class Text:
    """Outcome `text`: a string of digits or letters, a date (ISO), a time (HH:MM), or the id of a choice."""

    text: str
    kind: str
    """digits, letters, serial, date, time, choice"""


@dataclass(frozen=True, slots=True)
class Unsure:
    """Outcome `unsure`: more than one reading fits, or the one that fits is not supported well enough."""

    alternatives: tuple[Readings | Command | Text, ...]
    reason: str
    """plain words, fit to be spoken"""


@dataclass(frozen=True, slots=True)
class Nothing:
    """Outcome `nothing`: silence, noise, or talk that is not for us."""

    reason: str = ""


Outcome = Readings | Command | Text | Unsure | Nothing


@dataclass(frozen=True, slots=True)
class ListenerReport:
    """What one listener made of a segment, kept so that a disagreement can be looked into."""

    listener: str
    words: str
    """best words, lower case, spoken form"""
    outcome: Outcome
    scores: Mapping[str, float] = field(default_factory=dict)
    """the listener's own numbers, by name: margin (nats to the next value), free_ratio (nats against free decoding) ..."""
    seconds: float = 0.0
    """s of work"""


@dataclass(frozen=True, slots=True)
class Heard:
    """One utterance, understood: what the listeners together support."""

    words: str
    outcome: Outcome
    listeners: tuple[ListenerReport, ...] = ()
    start_s: float = 0.0
    end_s: float = 0.0
    reason: str = ""
    """why the outcome is unsure or nothing, in plain words"""
    clip: str | None = None
    """file name inside the visit folder, once saved"""
    free_words: tuple[str, ...] = ()
    """what each listener heard without a grammar; never a basis for a value"""


# ---------------------------------------------------------------------------------------------------- trade


@dataclass(frozen=True, slots=True)
class Result:
    """One computed number."""

    name: str
    value: float | str
    """a number in `unit`, an ISO date, or "no finite answer" """
    unit: str
    basis: str | None = None
    """gross or net, dry or humid, where it matters"""
    spread: float | None = None
    """half-width in `unit` that the readings' resolution leaves, where known"""


@dataclass(frozen=True, slots=True)
class WorkedOut:
    """A computation done: what went in, what came out, how, and on whose authority."""

    computation: str
    given: Mapping[str, str]
    results: tuple[Result, ...]
    formula: str
    source: str
    sure: str
    """published, second-hand, common practice, from memory, computed"""


@dataclass(frozen=True, slots=True)
class Limit:
    """A bound on a value, with its authority."""

    id: str
    unit: str
    low: Decimal | None = None
    high: Decimal | None = None
    low_strict: bool = False
    """True: the value must be greater than `low`, not equal to it"""
    high_strict: bool = False
    authority: str = "trade"
    """maker, trade, practice"""
    source: str = ""
    sure: str = "from memory"
    """published, second-hand, common practice, from memory"""


@dataclass(frozen=True, slots=True)
class Verdict:
    """A value held against a limit. Never a statement that anything is safe."""

    result: Literal["within", "outside", "too_close"]
    limit: Limit
    value: Decimal
    words: str
    """e.g. "within the maker's limit, 8.8 to 9.8 %", fit to be spoken and printed"""


def decimal_string(value: Decimal) -> str:
    """The digits of `value` as spoken, never in exponent form: Decimal("0.00080") -> "0.00080"."""
    return format(value, "f")


def outcome_to_json(outcome: Outcome) -> dict[str, Any]:
    """The JSON object of an outcome as the interface describes it (keys outcome, readings, command, text, alternatives, reason)."""
    match outcome:
        case Readings(readings):
            return {"outcome": "reading", "readings": [_reading_to_json(r) for r in readings], "reason": None}
        case Command():
            row: dict[str, Any] = {"outcome": "command", "command": outcome.command, "reason": None}
            if outcome.readings:
                row["readings"] = [_reading_to_json(r) for r in outcome.readings]
            if outcome.target is not None:
                row["target"] = outcome.target
            if outcome.qualifier is not None:
                row["qualifier"] = outcome.qualifier
            return row
        case Text():
            return {"outcome": "text", "text": outcome.text, "kind": outcome.kind, "reason": None}
        case Unsure():
            return {
                "outcome": "unsure",
                "alternatives": [outcome_to_json(a) for a in outcome.alternatives],
                "reason": outcome.reason,
            }
        case Nothing():
            return {"outcome": "nothing", "reason": outcome.reason or None}


def outcome_from_json(row: Mapping[str, Any]) -> Outcome:
    """The inverse of `outcome_to_json`."""
    match row["outcome"]:
        case "reading":
            return Readings(tuple(_reading_from_json(r) for r in row["readings"]))
        case "command":
            return Command(
                row["command"],
                tuple(_reading_from_json(r) for r in row.get("readings", ())),
                row.get("target"),
                row.get("qualifier"),
            )
        case "text":
            return Text(row["text"], row["kind"])
        case "unsure":
            alternatives = tuple(outcome_from_json(a) for a in row["alternatives"])
            return Unsure(tuple(a for a in alternatives if isinstance(a, Readings | Command | Text)), row["reason"])
        case "nothing":
            return Nothing(row.get("reason") or "")
        case other:
            raise ValueError(f"unknown outcome {other!r}")


def _reading_to_json(reading: Reading) -> dict[str, Any]:
    row: dict[str, Any] = {
        "quantity": reading.quantity,
        "qualifier": reading.qualifier,
        "value": decimal_string(reading.value),
        "unit": reading.unit,
    }
    if reading.spoken_value is not None:
        row["spoken_value"] = decimal_string(reading.spoken_value)
        row["spoken_unit"] = reading.spoken_unit
    return row


def _reading_from_json(row: Mapping[str, Any]) -> Reading:
    spoken = row.get("spoken_value")
    return Reading(
        Decimal(row["value"]),
        row["quantity"],
        row["unit"],
        row["qualifier"],
        None if spoken is None else Decimal(spoken),
        row.get("spoken_unit"),
    )
