"""A visit's folder in, its record out. Never changes the folder and takes no lock, so that a report can be made while
the visit runs."""

from __future__ import annotations

from pathlib import Path

from handsfree.errors import BadInput
from handsfree.record.folder import JOURNAL, check_visit
from handsfree.record.gathering import gather
from handsfree.record.journal import Altered, read_journal
from handsfree.record.kept_plan import read_kept_plan
from handsfree.record.visit import VisitRecord


def read_visit(path: Path) -> VisitRecord:
    """The record of the visit in a folder.

    Args:
        path: the visit's folder.

    Returns:
        The record; where the journal was altered, of what stands before the altered line, with a remark that says so.

    Raises:
        BadInput: not a visit, or a visit without a single event.
    """
    check_visit(path)
    reading = read_journal(path / JOURNAL)
    if not reading.entries:
        why = f", line 1: {reading.ending.why}" if isinstance(reading.ending, Altered) else " holds no event"
        raise BadInput(f"{path / JOURNAL}{why}", "nothing was recorded in this visit; hold it, then make its report")
    plan, remark = read_kept_plan(path)
    return gather(path, reading, plan, (remark,) if remark else ())
