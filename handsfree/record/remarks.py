"""A visit's folder and its entries in, what is wrong with the record itself out, a sentence each."""

from __future__ import annotations

from pathlib import Path

from handsfree.events import VisitStarted
from handsfree.record.folder import clip_faults
from handsfree.record.journal import Altered, JournalReading, Torn
from handsfree.record.kept_plan import plan_hash


def remarks_on(path: Path, reading: JournalReading, started: VisitStarted) -> tuple[str, ...]:
    """Remarks on the journal, the plan kept beside it and the clips; none when all of it checks out."""
    return (*_on_journal(reading), *_on_plan(path, started), *_on_clips(path, reading))


def _on_journal(reading: JournalReading) -> tuple[str, ...]:
    match reading.ending:
        case Altered(line, why):
            return (f"The journal was altered at line {line} ({why}). What stands here ends before that line.",)
        case Torn(line, whole=False):
            return (f"The journal's last line ({line}) was cut while it was written; nothing confirmed was lost.",)
    return ()


def _on_plan(path: Path, started: VisitStarted) -> tuple[str, ...]:
    kept = plan_hash(path)
    if kept and started.plan_sha256 and kept != started.plan_sha256:
        return ("The plan kept in the folder is not the one that the visit was held with; names and order may differ.",)
    return ()


def _on_clips(path: Path, reading: JournalReading) -> tuple[str, ...]:
    return tuple(f"Event {number}: {fault}." for number, fault in clip_faults(path, reading.entries))
