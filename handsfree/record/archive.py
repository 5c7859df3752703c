"""Many visits' folders in, an index to search and to follow values through the years out.

The index is a cache: it can be thrown away and built again from the folders at any time; it holds nothing else.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, fields
from pathlib import Path

from handsfree.errors import BadInput, HandsfreeError, MissingPart
from handsfree.record.folder import JOURNAL
from handsfree.record.reading import read_visit
from handsfree.record.visit import VisitRecord

_LAYOUT = 1
_TABLES = f"""
PRAGMA user_version = {_LAYOUT};
CREATE TABLE visit (
    path TEXT PRIMARY KEY, stamp TEXT, identity TEXT, date TEXT, title TEXT, customer TEXT, address TEXT, boiler TEXT,
    serial TEXT, complete INTEGER, open INTEGER, outside INTEGER, unsafe INTEGER, words TEXT
);
CREATE TABLE value (
    path TEXT, event INTEGER, item TEXT, label TEXT, quantity TEXT, qualifier TEXT, value TEXT, unit TEXT, verdict TEXT
);
CREATE INDEX value_by_quantity ON value (quantity, qualifier);
"""


@dataclass(frozen=True, slots=True)
class VisitFound:
    """A visit in the archive."""

    path: str
    date: str
    title: str
    customer: str
    address: str
    boiler: str
    serial: str
    complete: bool
    open: int
    """items"""
    outside: int
    """values and results not within their limit"""
    unsafe: int
    """situations recorded"""


_VISIT = tuple(f.name for f in fields(VisitFound))


@dataclass(frozen=True, slots=True)
class ValueFound:
    """A value or result of a visit in the archive."""

    path: str
    date: str
    serial: str
    label: str
    quantity: str
    qualifier: str
    value: str
    unit: str
    verdict: str
    """within, outside, too_close, or empty"""


@dataclass(frozen=True, slots=True)
class Indexed:
    """What an indexing run did."""

    taken: int
    unchanged: int
    gone: int
    refused: tuple[str, ...]
    """folders that could not be read, each with the reason"""


class Archive:
    """The index. Use as a context manager.

    Args:
        file: where the cache lies; made when it is not there, made anew when it is not ours or of another layout.

    Raises:
        MissingPart: the cache cannot be written.
    """

    def __init__(self, file: Path) -> None:
        try:
            file.parent.mkdir(parents=True, exist_ok=True)
            self._base = self._open(file)
        except (OSError, sqlite3.Error) as error:
            raise MissingPart(f"the archive's index {file} cannot be written: {error}", "check the folder") from None

    @staticmethod
    def _open(file: Path) -> sqlite3.Connection:
        base = sqlite3.connect(file)
        try:
            if base.execute("PRAGMA user_version").fetchone()[0] == _LAYOUT:
                return base
        except sqlite3.DatabaseError:
            pass
        base.close()
        file.unlink(missing_ok=True)
        base = sqlite3.connect(file)
        base.executescript(_TABLES)
        return base

    def __enter__(self) -> Archive:
        return self

    def __exit__(self, *_: object) -> None:
        self._base.close()

    def index(self, roots: list[Path]) -> Indexed:
        """Takes in every visit below the folders; one that is unchanged since last time is skipped.

        Raises:
            BadInput: a folder does not exist.
        """
        taken, unchanged, refused = 0, 0, []
        seen = set()
        for folder in _visits_below(roots):
            name = str(folder)
            seen.add(name)
            stamp = _stamp(folder)
            if self._base.execute("SELECT 1 FROM visit WHERE path = ? AND stamp = ?", (name, stamp)).fetchone():
                unchanged += 1
                continue
            try:
                record = read_visit(folder)
            except HandsfreeError as error:
                refused.append(f"{folder}: {error.message}")
                self._forget(name)
                continue
            with self._base:
                self._forget(name)
                self._take(name, stamp, record)
            taken += 1
        gone = [
            p for (p,) in self._base.execute("SELECT path FROM visit").fetchall() if not (Path(p) / JOURNAL).exists()
        ]
        with self._base:
            for path in gone:
                self._forget(path)
        return Indexed(taken, unchanged, len(gone), tuple(refused))

    def find(
        self, words: tuple[str, ...] = (), since: str = "", until: str = "", needing: bool = False
    ) -> list[VisitFound]:
        """Visits whose people, place, boiler or title hold all the words, the latest first.

        Args:
            words: any case; empty = every visit.
            since, until: ISO dates, both included.
            needing: only those with something open, outside or unsafe.
        """
        where, given = ["1"], []
        for word in words:
            where.append("instr(words, ?) > 0")
            given.append(word.casefold())
        if since:
            where.append("date >= ?")
            given.append(since)
        if until:
            where.append("date <= ?")
            given.append(until)
        if needing:
            where.append("(open > 0 OR outside > 0 OR unsafe > 0 OR complete = 0)")
        rows = self._base.execute(
            f"SELECT {', '.join(_VISIT)} FROM visit WHERE {' AND '.join(where)} ORDER BY date DESC, path",
            given,
        )
        return [VisitFound(**{**dict(zip(_VISIT, row, strict=True)), "complete": bool(row[7])}) for row in rows]

    def trend(self, quantity: str, words: tuple[str, ...] = (), qualifier: str = "") -> list[ValueFound]:
        """The values of a quantity or item through the visits that hold all the words, the earliest first.

        Raises:
            BadInput: no visit has such a value.
        """
        paths = {v.path for v in self.find(words)}
        rows = self._base.execute(
            "SELECT value.path, date, serial, label, quantity, qualifier, value, unit, verdict "
            "FROM value JOIN visit ON value.path = visit.path "
            "WHERE (quantity = ? OR item = ?) AND (? = '' OR qualifier = ?) "
            "ORDER BY serial, label, date, value.path, event",
            (quantity, quantity, qualifier, qualifier),
        )
        found = [ValueFound(*row) for row in rows if row[0] in paths]
        if not found:
            known = ", ".join(q for (q,) in self._base.execute("SELECT DISTINCT quantity FROM value ORDER BY 1") if q)
            raise BadInput(f"no visit in the archive has a value for {quantity!r}", f"use one of {known or 'none yet'}")
        return found

    def _forget(self, path: str) -> None:
        self._base.execute("DELETE FROM visit WHERE path = ?", (path,))
        self._base.execute("DELETE FROM value WHERE path = ?", (path,))

    def _take(self, path: str, stamp: str, record: VisitRecord) -> None:
        customer, address = _job_text(record, "customer", "name"), _job_text(record, "customer", "address")
        boiler = " ".join(t for t in (_job_text(record, "boiler", k) for k in ("make", "model")) if t)
        serial = _job_text(record, "boiler", "serial") or next(
            (v.value for v in record.values() if v.kind == "serial"), ""
        )
        places = (_job_text(record, "customer", "postcode"), _job_text(record, "engineer", "name"))
        words = " ".join((customer, address, *places, boiler, serial, record.title, record.date)).casefold()
        self._base.execute(
            f"INSERT INTO visit VALUES ({', '.join('?' * 14)})",
            (path, stamp, record.identity, record.date, record.title, customer, address, boiler, serial,
             int(record.complete), len(record.open_items), len(record.outside), len(record.unsafe), words),
        )  # fmt: skip
        self._base.executemany(f"INSERT INTO value VALUES ({', '.join('?' * 9)})", _value_rows(path, record))


def _value_rows(path: str, record: VisitRecord) -> Iterator[tuple[object, ...]]:
    for value in record.values():
        if value.kind == "reading":
            verdict = value.judgement.result if value.judgement else ""
            yield (path, value.number, value.item, value.label, value.quantity, value.qualifier or "", value.value,
                   value.unit, verdict)  # fmt: skip
    for result in record.standing_results():
        for row in result.results[:1]:
            verdict = result.judgement.result if result.judgement else ""
            yield (path, result.number, result.item, result.label, str(row.get("name")), "", str(row.get("value")),
                   str(row.get("unit")), verdict)  # fmt: skip


def _job_text(record: VisitRecord, table: str, key: str) -> str:
    rows = record.job.get(table)
    return str(rows.get(key, "")) if isinstance(rows, dict) else ""


def _visits_below(roots: list[Path]) -> Iterator[Path]:
    for root in roots:
        if not root.is_dir():
            raise BadInput(f"{root} is not a folder", "name the folder that holds your visits")
        for journal in sorted(root.rglob(JOURNAL)):
            yield journal.parent.resolve()


def _stamp(folder: Path) -> str:
    """Changes when the journal or the plan does."""
    parts = []
    for name in (JOURNAL, "plan.toml"):
        with contextlib.suppress(OSError):
            facts = (folder / name).stat()
            parts.append(f"{facts.st_size}/{facts.st_mtime_ns}")
    return " ".join(parts)
