"""Visits' folders in, what their journals and clips are worth out: intact, torn at the end, or altered and where."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from handsfree.errors import BadInput, NeedsEngineer
from handsfree.record.folder import JOURNAL, check_visit, clip_faults
from handsfree.record.journal import Altered, Intact, Torn, read_journal


@dataclass(frozen=True, slots=True)
class Checked:
    """One folder, checked."""

    folder: Path
    ending: str
    """intact, torn, altered, no visit"""
    words: str
    events: int = 0
    line: int | None = None
    last_hash: str = ""
    clip_faults: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        return {
            "folder": str(self.folder),
            "journal": self.ending,
            "events": self.events,
            "line": self.line,
            "words": self.words,
            "last_hash": self.last_hash,
            "clip_faults": list(self.clip_faults),
        }


@click.command("verify")
@click.argument("folders", nargs=-1, required=True, metavar="DIR...", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def command(folders: tuple[Path, ...], as_json: bool) -> None:
    """Check the journals of visits, and that every clip is there and is the sound that was recorded.

    Exit code: 0 intact, 1 torn at the end or altered, 2 not a visit.
    """
    checked = [check_folder(folder) for folder in folders]
    for found in checked:
        click.echo(json.dumps(found.as_json()) if as_json else f"{found.folder}: {found.words}")
        for fault in () if as_json else found.clip_faults:
            click.echo(f"  {fault}")
    if strangers := [str(c.folder) for c in checked if c.ending == "no visit"]:
        raise BadInput(f"not a visit: {', '.join(strangers)}", "name folders that hold journal.jsonl")
    if bad := [c for c in checked if c.ending != "intact" or c.clip_faults]:
        hint = "a torn end is mended by handsfree resume; what was altered cannot be trusted from that line on"
        raise NeedsEngineer(f"{len(bad)} of {len(checked)} visits do not check out", hint)


def check_folder(folder: Path) -> Checked:
    """What one folder's journal and clips are worth. Never changes anything."""
    try:
        check_visit(folder)
        reading = read_journal(folder / JOURNAL)
    except BadInput as error:
        return Checked(folder, "no visit", error.message)
    faults = tuple(f"event {number}: {fault}" for number, fault in clip_faults(folder, reading.entries))
    events = len(reading.entries)
    match reading.ending:
        case Intact():
            ending, line, words = "intact", None, f"intact, {events} events"
        case Torn(at_line, _, tail, whole):
            what = "lacks its line end" if whole else f"was cut after {len(tail)} bytes"
            ending, line, words = "torn", at_line, f"torn at the end: line {at_line} {what}; {events} events stand"
        case Altered(at_line, why):
            ending, line, words = (
                "altered",
                at_line,
                f"altered at line {at_line}: {why}; {events} events stand before it",
            )
    return Checked(folder, ending, words, events, line, reading.last_hash, faults)
