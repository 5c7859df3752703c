"""The record of a visit in, JSON and CSV out: every value with its history, notes, photos; nothing need be typed off."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from handsfree.record.visit import Judgement, ResultValue, Value, VisitRecord
from handsfree.report.wording import print_bounds

COLUMNS = (
    "event", "time", "part", "item", "label", "round", "kind", "quantity", "qualifier", "value", "unit", "basis",
    "spread", "spoken_value", "spoken_unit", "state", "verdict", "limit", "limit_authority", "limit_source",
    "limit_sure", "accepted", "confirmed", "words", "clip", "formula", "source", "sure", "replaces", "reason",
)  # fmt: skip
"""`state`: stands, no longer stands, open, not applicable, not asked."""


def render_json(record: VisitRecord) -> str:
    """The whole record as one JSON object; ids and units as in the journal."""
    row = asdict(record)
    row["path"] = record.path.name
    row["ending"] = type(record.ending).__name__.lower()
    row["identity"] = record.identity
    row["open_items"] = [item.id for item in record.open_items]
    row["outside"] = [value.number for value in record.outside]
    return json.dumps(row, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def render_csv(record: VisitRecord) -> str:
    """A line a value, answer, note, photo, result and open item; what no longer stands is there too, marked as such."""
    buffer = io.StringIO()
    writer = csv.DictWriter(buffer, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    for row in rows_of(record):
        writer.writerow({k: _harmless(v) for k, v in row.items() if v is not None})
    return buffer.getvalue()


def rows_of(record: VisitRecord) -> Iterator[dict[str, Any]]:
    """The rows of the CSV, with the keys of `COLUMNS`."""
    for chunk in record.chunks:
        for item in chunk.items:
            for value in sorted((*item.values, *item.earlier), key=lambda v: v.number):
                yield {"part": chunk.title, **_value_row(value)}
            if not item.values:
                yield {
                    "part": chunk.title,
                    "item": item.id,
                    "label": item.label,
                    "state": item.state,
                    "reason": item.why,
                }
    for note in record.notes:
        yield {
            "event": note.number, "time": note.time, "part": "notes", "label": note.label, "kind": "note",
            "state": "stands", "confirmed": _checked(note.checked), "words": note.words, "clip": note.clip,
        }  # fmt: skip
    for photo in record.photos:
        yield {
            "event": photo.number, "time": photo.time, "part": "photos", "item": photo.item, "label": photo.label,
            "kind": "photo", "value": photo.file, "state": "stands", "confirmed": _checked(photo.checked),
            "words": photo.words,
        }  # fmt: skip
    for result in record.results:
        for done in (*result.earlier, *([result.current] if result.current else [])):
            yield from _result_rows(done)


def _value_row(value: Value) -> dict[str, Any]:
    return {
        "event": value.number, "time": value.time, "item": value.item, "label": value.label, "round": value.round,
        "kind": value.kind, "quantity": value.quantity, "qualifier": value.qualifier, "value": value.value,
        "unit": value.unit, "spoken_value": value.spoken_value, "spoken_unit": value.spoken_unit,
        "state": _state(value), **_verdict(value.judgement), "accepted": value.accepted, "confirmed": value.how,
        "words": value.words, "clip": value.clip, "replaces": value.replaces, "reason": value.reason or value.ended_why,
    }  # fmt: skip


def _result_rows(done: ResultValue) -> Iterator[dict[str, Any]]:
    for place, row in enumerate(done.results):
        yield {
            "event": done.number, "time": done.time, "part": "results", "item": done.item, "label": done.label,
            "kind": "result", "quantity": row.get("name"), "value": row.get("value"), "unit": row.get("unit"),
            "basis": row.get("basis"), "spread": row.get("spread"), "state": _state(done),
            **_verdict(done.judgement if place == 0 else None), "accepted": done.accepted if place == 0 else "",
            "formula": done.formula, "source": done.source, "sure": done.sure, "reason": done.ended_why,
        }  # fmt: skip


def _checked(checked: bool) -> str:
    return "checked" if checked else "unchecked"


def _state(value: Value | ResultValue) -> str:
    return "stands" if value.ended_by is None else "no longer stands"


def _verdict(judgement: Judgement | None) -> dict[str, Any]:
    if judgement is None:
        return {}
    limit = judgement.limit
    return {
        "verdict": judgement.result,
        "limit": print_bounds(limit),
        "limit_authority": limit.get("authority"),
        "limit_source": limit.get("source"),
        "limit_sure": limit.get("sure"),
    }


def _harmless(cell: object) -> object:
    """A text that a spreadsheet would run as a formula gets an apostrophe before it; numbers stay numbers."""
    if isinstance(cell, str) and cell[:1] in "=+-@\t\r" and cell:
        try:
            float(cell)
        except ValueError:
            return "'" + cell
    return cell
