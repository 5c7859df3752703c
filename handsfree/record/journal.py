"""Events in, lines on disk that survive a kill; lines in, events and how the journal ends out.

One event a line, UTF-8 JSON with the keys in this order:

    number   1, 2, 3 ... without gaps
    time     ISO 8601 with offset, when it was written
    kind     the event's kind
    data     the event's fields
    before   sha256 of the whole line before (64 zeros on line 1)
    own      sha256 of this line's bytes up to `,"own"`

`before` chains the lines, `own` lets the last line be checked too. The chain shows accidents and quiet edits. It is no
signature: whoever rewrites every later line can recompute it, and whole lines cut from the end leave a shorter journal
that is intact. The report therefore prints the number of events and the last hash.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Protocol

from handsfree.errors import BadInput, MissingPart
from handsfree.events import Entry, Event, event_from_json, event_to_json

FIRST_HASH = "0" * 64
_OWN = b',"own":"'
_LINE_TAIL = len(_OWN) + 64 + len(b'"}')
_ZEROED = b"\0" * 8


# -------------------------------------------------------------------------------------------- how it ends


@dataclass(frozen=True, slots=True)
class Intact:
    """Every line checks out and the last one is ended."""


@dataclass(frozen=True, slots=True)
class Torn:
    """The last line was cut while it was written. It was never acknowledged."""

    line: int
    at: int
    """byte where the torn line begins"""
    tail: bytes
    """what stands there"""
    whole: bool = False
    """only the line end is missing: the event checks out and is among the entries"""


@dataclass(frozen=True, slots=True)
class Altered:
    """A line does not check out. The entries end before it."""

    line: int
    why: str


Ending = Intact | Torn | Altered


@dataclass(frozen=True, slots=True)
class JournalReading:
    """What a journal holds: the entries that check out, from the first line on, and how the file ends."""

    entries: tuple[Entry, ...]
    ending: Ending
    last_hash: str = FIRST_HASH
    """sha256 of the last line that checks out"""
    size: int = 0
    """bytes of the lines that check out, with their line ends"""


# ------------------------------------------------------------------------------------------- lines and back


def encode_line(number: int, time: str, event: Event, before: str) -> bytes:
    """The line of an event, without its line end.

    Raises:
        TypeError, ValueError: the event holds something that is not JSON (a programming error: nothing is written).
    """
    row = {"number": number, "time": time, "kind": event.kind, "data": event_to_json(event), "before": before}
    text = json.dumps(row, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    # A lone surrogate cannot be written as UTF-8; backslashreplace gives exactly the JSON escape of it.
    head = text[:-1].encode("utf-8", "backslashreplace")
    return head + _OWN + hashlib.sha256(head).hexdigest().encode() + b'"}'


def decode_line(line: bytes, number: int, before: str) -> Entry:
    """The entry of a line.

    Raises:
        ValueError: says in plain words what does not check out.
    """
    head, tail = line[:-_LINE_TAIL], line[-_LINE_TAIL:]
    if tail != _OWN + hashlib.sha256(head).hexdigest().encode() + b'"}':
        raise ValueError("the line does not match its own hash")
    try:
        row = json.loads(head + b"}")
    except ValueError as error:
        raise ValueError(f"the line is not JSON: {error}") from None
    if not isinstance(row, dict) or list(row) != ["number", "time", "kind", "data", "before"]:
        raise ValueError("the line lacks one of number, time, kind, data, before")
    if row["number"] != number:
        raise ValueError(f"event {row['number']} stands where event {number} is due")
    if row["before"] != before:
        raise ValueError(
            "the hash of the line before does not match: a line before this one was changed, added or taken out"
        )
    if not isinstance(row["time"], str) or not isinstance(row["kind"], str) or not isinstance(row["data"], dict):
        raise ValueError("time, kind or data is of the wrong type")
    return Entry(number, row["time"], event_from_json(row["kind"], row["data"]))


def hash_line(line: bytes) -> str:
    """sha256 of a line without its line end, in hexadecimal."""
    return hashlib.sha256(line).hexdigest()


def first_hash(path: Path) -> str:
    """sha256 of the first line of a journal: the same for every reading of it, different for every other one."""
    with path.open("rb") as file:
        return hash_line(file.readline().rstrip(b"\n"))


def read_journal(path: Path) -> JournalReading:
    """All entries that check out, and how the file ends. Never changes the file.

    Raises:
        BadInput: there is no such file, or it cannot be read.
    """
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise BadInput(f"{path} does not exist", "name the folder of a visit: it holds journal.jsonl") from None
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {error.strerror}", "check the file's rights and its disk") from None
    return read_lines(content)


def read_lines(content: bytes) -> JournalReading:
    """As `read_journal`, from the bytes of a journal."""
    *lines, tail = content.split(b"\n")
    entries: list[Entry] = []
    before, size = FIRST_HASH, 0
    for number, line in enumerate(lines, start=1):
        try:
            entries.append(decode_line(line, number, before))
        except ValueError as error:
            # A power cut can leave the last block zeroed although its length was already kept.
            if number == len(lines) and not tail and _ZEROED in line:
                return JournalReading(tuple(entries), Torn(number, size, line + b"\n"), before, size)
            return JournalReading(tuple(entries), Altered(number, str(error)), before, size)
        before = hash_line(line)
        size += len(line) + 1
    if not tail:
        return JournalReading(tuple(entries), Intact(), before, size)
    return _read_tail(entries, tail, before, size)


def _read_tail(entries: list[Entry], tail: bytes, before: str, size: int) -> JournalReading:
    """What stands after the last line end: a cut line, or a whole one that somebody spoilt."""
    number = len(entries) + 1
    try:
        entry = decode_line(tail, number, before)
    except ValueError as error:
        # A cut line is never a whole JSON object: if one can be read here, it was changed, not cut.
        if _begins_with_whole_object(tail):
            return JournalReading(tuple(entries), Altered(number, str(error)), before, size)
        return JournalReading(tuple(entries), Torn(number, size, tail), before, size)
    return JournalReading((*entries, entry), Torn(number, size, tail, whole=True), hash_line(tail), size)


def _begins_with_whole_object(tail: bytes) -> bool:
    try:
        json.JSONDecoder().raw_decode(tail.decode("utf-8", "replace"))
    except ValueError:
        return False
    return True


# ------------------------------------------------------------------------------------------------- appending


class AppendFile(Protocol):
    """The four things that a journal asks of its file. Tests give one that is full or breaks."""

    def write(self, data: bytes) -> int:
        """Appends some of `data`, at least one byte; returns how many. Raises OSError."""

    def sync(self) -> None:
        """Returns once everything written is on the disk. Raises OSError."""

    def truncate(self, size: int) -> None:
        """Cuts the file to `size` bytes. Raises OSError."""

    def close(self) -> None:
        """Lets the file go."""


class DiskFile:
    """A file on disk, opened for appending; created (and its folder fsynced) when it is not there.

    Raises:
        OSError: it cannot be opened.
    """

    def __init__(self, path: Path) -> None:
        self._descriptor = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_CLOEXEC, 0o644)
        sync_folder(path.parent)

    def write(self, data: bytes) -> int:
        return os.write(self._descriptor, data)

    def sync(self) -> None:
        os.fsync(self._descriptor)

    def truncate(self, size: int) -> None:
        os.ftruncate(self._descriptor, size)

    def close(self) -> None:
        os.close(self._descriptor)


def sync_folder(folder: Path) -> None:
    """Makes names just created or replaced in `folder` outlive a power cut."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def now_here() -> datetime:
    """The time on the wall, with the offset of the place."""
    return datetime.now().astimezone()


class Journal:
    """Appends events to a journal that was read before.

    Args:
        file: where the lines go.
        reading: what the file holds; its end must be `Intact` (`open_journal` sees to that).
        now: the clock for the entries' times.
    """

    def __init__(self, file: AppendFile, reading: JournalReading, now: Callable[[], datetime] = now_here) -> None:
        self._file = file
        self._number = len(reading.entries)
        self._before = reading.last_hash
        self._size = reading.size
        self._now = now
        self._broken = ""

    @property
    def last_hash(self) -> str:
        """sha256 of the last line."""
        return self._before

    def append(self, event: Event) -> Entry:
        """`append_all` of one event."""
        return self.append_all((event,))[0]

    def append_all(self, events: Sequence[Event]) -> tuple[Entry, ...]:
        """Writes the events and has them on disk before it returns: one fsync for all, which a slow disk takes 0.1 s for.

        Returns:
            The entries just as `read_journal` will give them, so that the live run and a replay see the same values.

        Raises:
            MissingPart: they could not be written (the disk is full, or gone). The journal then ends with the event
                before them. After a write that failed cleanly the next append may be tried; after a failed fsync the journal
                refuses everything until it is opened anew, because what the disk holds is no longer known.
            TypeError, ValueError: an event holds something that is not JSON; nothing was written.
        """
        if self._broken:
            raise MissingPart(f"the journal can no longer be written: {self._broken}", _DISK_HINT)
        lines, entries, before = b"", [], self._before
        for number, event in enumerate(events, self._number + 1):
            line = encode_line(number, self._now().isoformat(timespec="milliseconds"), event, before)
            entries.append(decode_line(line, number, before))
            lines += line + b"\n"
            before = hash_line(line)
        if lines:
            self._write_whole(lines)
        self._number += len(entries)
        self._before = before
        self._size += len(lines)
        return tuple(entries)

    def _write_whole(self, data: bytes) -> None:
        rest = memoryview(data)
        try:
            while rest:
                rest = rest[self._file.write(bytes(rest)) :]
        except OSError as error:
            self._take_back(error)
            raise cannot_write("the journal", error) from None
        try:
            self._file.sync()
        except OSError as error:
            # A second fsync can succeed although the first one lost the data: nothing from here on can be trusted.
            self._take_back(error)
            self._broken = error.strerror or "the disk refused"
            raise cannot_write("the journal", error) from None

    def _take_back(self, error: OSError) -> None:
        """Cuts away what a failed write left; an event that was not acknowledged must not come back."""
        try:
            self._file.truncate(self._size)
            self._file.sync()
        except OSError:
            self._broken = error.strerror or "the disk refused"

    def close(self) -> None:
        """Lets the file go; every acknowledged event is on disk already."""
        self._broken = self._broken or "it was closed"
        with contextlib.suppress(OSError):
            self._file.close()


_DISK_HINT = "free some space on the disk, then run handsfree resume on the visit's folder"


def cannot_write(what: str, error: OSError) -> MissingPart:
    """The error for a write that the system refused, with the cure."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return MissingPart(f"the disk is full: {what} could not be written", _DISK_HINT)
    return MissingPart(
        f"{what} could not be written: {error.strerror or error}", "check the disk, then run handsfree resume"
    )


def open_journal(
    path: Path, now: Callable[[], datetime] = now_here, open_file: Callable[[Path], AppendFile] = DiskFile
) -> tuple[Journal, JournalReading]:
    """Opens a journal to carry on with it; a torn end is mended first, its bytes kept beside it as `journal.torn-LINE`.

    Returns:
        The journal and what it held (with its ending as found: `Intact` or `Torn`).

    Raises:
        BadInput: the file is not there, or a line was altered.
        MissingPart: it cannot be written.
    """
    reading = read_journal(path)
    if isinstance(reading.ending, Altered):
        raise BadInput(
            f"{path}, line {reading.ending.line}: {reading.ending.why}",
            "a journal that does not check out takes no more events; handsfree report shows what stands before it",
        )
    try:
        file = open_file(path)
        mended = _mend(path, file, reading)
    except OSError as error:
        raise cannot_write(str(path), error) from None
    return Journal(file, mended, now), reading


def _mend(path: Path, file: AppendFile, reading: JournalReading) -> JournalReading:
    ending = reading.ending
    if not isinstance(ending, Torn):
        return reading
    if ending.whole:
        file.write(b"\n")
        size = reading.size + len(ending.tail) + 1
    else:
        _keep_aside(path, ending)
        file.truncate(ending.at)
        size = reading.size
    file.sync()
    return JournalReading(reading.entries, Intact(), reading.last_hash, size)


def _keep_aside(path: Path, torn: Torn) -> None:
    """The torn bytes beside the journal, under a name that no earlier tear took."""
    for n in range(1, 10_000):
        aside = path.with_name(f"{path.stem}.torn-{torn.line}" + (f"-{n}" if n > 1 else ""))
        try:
            descriptor = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o644)
        except FileExistsError:
            continue
        try:
            os.write(descriptor, torn.tail)
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
        return
