"""A visit's folder and a format in, a finished file out; what stood there before stays until the new one is whole."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Literal, get_args

from handsfree.errors import BadInput
from handsfree.record.folder import write_whole
from handsfree.record.journal import cannot_write
from handsfree.record.reading import read_visit
from handsfree.record.visit import VisitRecord
from handsfree.report.clips import ClipsAs, ClipSounds

Format = Literal["html", "pdf", "csv", "json", "ics"]
FORMATS: tuple[Format, ...] = get_args(Format)


def write_report(folder: Path, format: Format = "html", *, out: Path | None = None, clips: ClipsAs = "embed") -> Path:
    """Writes one report of a visit.

    Args:
        folder: the visit's folder.
        format: html, pdf, csv, json or ics (the calendar entries of what falls due).
        out: the file to write; by default report.FORMAT in the visit's folder.
        clips: whether the HTML page holds the clips itself, names them in the visit's folder, or leaves players out.

    Returns:
        The file written.

    Raises:
        BadInput: not a visit, an unknown format, or a visit in which nothing falls due (ics).
        MissingPart: a library for the format is not installed, or the disk is full.
    """
    return write_record(read_visit(folder), format, out=out, clips=clips)


def write_record(record: VisitRecord, format: Format, *, out: Path | None = None, clips: ClipsAs = "embed") -> Path:
    """As `write_report`, of a record that was read already."""
    if format not in FORMATS:
        raise BadInput(f"unknown report format {format!r}", f"use one of {', '.join(FORMATS)}")
    path = out or record.path / f"report.{format}"
    content = _RENDER[format](record, clips)
    try:
        write_whole(path, content)
    except OSError as error:
        raise cannot_write(str(path), error) from None
    return path


def _html(record: VisitRecord, clips: ClipsAs) -> bytes:
    from handsfree.report.page import render_page

    return render_page(record, ClipSounds(record.path, clips)).encode("utf-8", "replace")


def _pdf(record: VisitRecord, clips: ClipsAs) -> bytes:
    from handsfree.report.paper import render_paper

    return render_paper(record)


def _csv(record: VisitRecord, clips: ClipsAs) -> bytes:
    from handsfree.report.tables import render_csv

    return render_csv(record).encode("utf-8-sig", "replace")


def _json(record: VisitRecord, clips: ClipsAs) -> bytes:
    from handsfree.report.tables import render_json

    return render_json(record).encode("utf-8", "replace")


def _ics(record: VisitRecord, clips: ClipsAs) -> bytes:
    from handsfree.report.due import render_calendar

    return render_calendar(record)


_RENDER: dict[Format, Callable[[VisitRecord, ClipsAs], bytes]] = {
    "html": _html,
    "pdf": _pdf,
    "csv": _csv,
    "json": _json,
    "ics": _ics,
}
