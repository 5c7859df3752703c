"""An outcome in, one line that a person can read and a grammar file can hold out."""

from __future__ import annotations

from handsfree.model import Command, Nothing, Outcome, Reading, Readings, Text, Unsure, decimal_string


def outcome_line(outcome: Outcome) -> str:
    """ "co2 maximum 9.2 %", "command no: co2 9.4 %", "text 482", "unsure 92 | 9.2", "nothing"; several readings parted by "; "."""
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
