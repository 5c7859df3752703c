"""The journal: what is acknowledged stays, what is cut or altered shows."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.errors import BadInput, MissingPart
from handsfree.events import Computed, Entry, Event, NoteTaken, ReadingConfirmed, Said
from handsfree.record.journal import (
    Altered,
    DiskFile,
    Intact,
    Journal,
    JournalReading,
    Torn,
    encode_line,
    open_journal,
    read_journal,
    read_lines,
)


def clock() -> datetime:
    return datetime(2026, 11, 25, 10, 30, tzinfo=UTC)


def reading(value: str, words: str = "c o two nine point two percent") -> ReadingConfirmed:
    return ReadingConfirmed(item="co2_max", quantity="co2", qualifier="maximum", value=value, unit="%", words=words)


class FileInMemory:
    """A file that can be told to be full after so many bytes, or to fail at fsync or at being cut."""

    def __init__(self, room: int | None = None, chunk: int | None = None) -> None:
        self.content = b""
        self.room = room
        self.chunk = chunk
        self.sync_fails = 0
        """how many of the next fsyncs fail"""
        self.truncate_fails = False
        self.syncs = 0

    def write(self, data: bytes) -> int:
        if self.chunk is not None:
            data = data[: self.chunk]
        if self.room is not None:
            if self.room == 0:
                raise OSError(errno.ENOSPC, "No space left on device")
            data = data[: self.room]
            self.room -= len(data)
        self.content += data
        return len(data)

    def sync(self) -> None:
        if self.sync_fails:
            self.sync_fails -= 1
            raise OSError(errno.EIO, "Input/output error")
        self.syncs += 1

    def truncate(self, size: int) -> None:
        if self.truncate_fails:
            raise OSError(errno.EIO, "Input/output error")
        self.content = self.content[:size]

    def close(self) -> None:
        pass


def new_journal(file: FileInMemory) -> Journal:
    return Journal(file, JournalReading((), Intact()), clock)


def written(events: list[Event]) -> tuple[bytes, tuple[Entry, ...]]:
    """A journal's bytes and the entries that append gave."""
    file = FileInMemory()
    journal = new_journal(file)
    entries = tuple(journal.append(event) for event in events)
    return file.content, entries


texts = st.text(max_size=30)
some_events = st.lists(
    st.one_of(
        st.builds(lambda t, i: Said(text=t, item=i), texts, st.none() | texts),
        st.builds(lambda t: NoteTaken(item=None, words=t), texts),
        st.builds(reading, st.decimals(allow_nan=False, allow_infinity=False).map(str), texts),
    ),
    min_size=1,
    max_size=5,
)


# ------------------------------------------------------------------------------------------------------ laws


@given(some_events)
def test_what_append_returns_is_what_reading_gives(events: list[Event]) -> None:
    """Replay equals the live run: append returns the very entry that reading gives back."""
    content, entries = written(events)
    got = read_lines(content)
    assert got.entries == entries
    assert got.ending == Intact()
    assert got.size == len(content)


@given(some_events, st.data())
def test_any_truncation_leaves_a_prefix_of_the_events(events: list[Event], data: st.DataObject) -> None:
    """A journal cut at any byte gives the first events and never an altered line."""
    content, entries = written(events)
    cut = data.draw(st.integers(0, len(content)))
    got = read_lines(content[:cut])
    assert got.entries == entries[: len(got.entries)]
    ended = content[:cut].count(b"\n")
    match got.ending:
        case Intact():
            assert len(got.entries) == ended
            assert cut == 0 or content[cut - 1 : cut] == b"\n"
        case Torn(line, at, tail, whole):
            assert line == ended + 1
            assert content[at:cut] == tail
            assert len(got.entries) == ended + whole
        case Altered():
            pytest.fail("a cut was taken for an alteration")


@given(some_events, st.data())
def test_any_changed_byte_is_detected(events: list[Event], data: st.DataObject) -> None:
    """One byte changed anywhere: the journal is not intact, and no changed event is among the entries."""
    content, entries = written(events)
    at = data.draw(st.integers(0, len(content) - 1))
    byte = data.draw(st.integers(0, 255).filter(lambda b: b != content[at]))
    got = read_lines(content[:at] + bytes([byte]) + content[at + 1 :])
    assert isinstance(got.ending, Altered)
    assert got.ending.line == content[:at].count(b"\n") + 1
    assert got.entries == entries[: got.ending.line - 1]


def test_every_single_bit_of_a_short_journal_matters() -> None:
    """All single-bit flips of a two-line journal are detected, one by one."""
    content, _ = written([Said(text="CO2 at maximum?"), reading("9.20")])
    for at in range(len(content)):
        for bit in range(8):
            spoilt = content[:at] + bytes([content[at] ^ (1 << bit)]) + content[at + 1 :]
            assert isinstance(read_lines(spoilt).ending, Altered), (at, bit)


@given(some_events, st.data())
def test_a_torn_journal_is_mended_and_carries_on(
    tmp_path_factory: pytest.TempPathFactory, events: list[Event], data: st.DataObject
) -> None:
    """After a cut anywhere: opening keeps the torn bytes aside, and what is appended then follows on without a gap."""
    content, entries = written(events)
    path = tmp_path_factory.mktemp("torn") / "journal.jsonl"
    path.write_bytes(content[: data.draw(st.integers(0, len(content)))])
    journal, found = open_journal(path, clock)
    new = journal.append(Said(text="carry on"))
    journal.close()
    after = read_journal(path)
    assert after.ending == Intact()
    assert after.entries == (*entries[: len(found.entries)], new)
    if isinstance(found.ending, Torn) and not found.ending.whole:
        assert [p.read_bytes() for p in path.parent.glob("journal.torn-*")] == [found.ending.tail]


# -------------------------------------------------------------------------------------------- alterations


def swap(lines: list[bytes]) -> list[bytes]:
    return [lines[1], lines[0], lines[2]]


def without_second(lines: list[bytes]) -> list[bytes]:
    return [lines[0], lines[2]]


def twice(lines: list[bytes]) -> list[bytes]:
    return [lines[0], lines[0], *lines[1:]]


def forged(lines: list[bytes]) -> list[bytes]:
    """The second line rewritten by somebody who knows how a line hashes itself."""
    line = encode_line(
        2, clock().isoformat(timespec="milliseconds"), reading("9.0"), read_lines(lines[0] + b"\n").last_hash
    )
    return [lines[0], line, lines[2]]


@pytest.mark.parametrize(
    ("change", "line", "why"),
    [
        (swap, 1, "event 2 stands where event 1 is due"),
        (without_second, 2, "event 3 stands where event 2 is due"),
        (twice, 2, "event 1 stands where event 2 is due"),
        (forged, 3, "hash of the line before"),
    ],
)
def test_lines_moved_lost_doubled_or_forged_show(change: object, line: int, why: str) -> None:
    """An altered journal says at which line the trouble begins, and why."""
    content, _ = written([Said(text="CO2 at maximum?"), reading("9.8"), Said(text="nine point eight percent")])
    assert callable(change)
    got = read_lines(b"\n".join(change(content.split(b"\n")[:-1])) + b"\n")
    assert isinstance(got.ending, Altered)
    assert (got.ending.line, why in got.ending.why) == (line, True)
    assert len(got.entries) == line - 1


def test_an_altered_journal_is_not_appended_to(tmp_path: Path) -> None:
    """Opening an altered journal to carry on is refused with file and line, and the file stays as it is."""
    path = tmp_path / "journal.jsonl"
    content = written([reading("9.2"), Said(text="ok")])[0].replace(b"9.2", b"9.3")
    path.write_bytes(content)
    with pytest.raises(BadInput, match=r"journal\.jsonl, line 1: the line does not match its own hash"):
        open_journal(path)
    assert path.read_bytes() == content


def test_a_block_of_zeros_at_the_end_counts_as_torn() -> None:
    """A last line that a power cut left zeroed is a torn end, not an alteration."""
    content, entries = written([reading("9.2"), Said(text="nine point two percent")])
    first = content.index(b"\n") + 1
    for zeroed in (content[:first] + b"\0" * 200, content[:first] + b"\0" * 50 + content[first + 50 :]):
        got = read_lines(zeroed)
        assert isinstance(got.ending, Torn)
        assert got.entries == entries[:1]


def test_the_chain_begins_the_same_for_every_journal() -> None:
    """A first line that claims a line before it is an alteration."""
    line = encode_line(1, "2026-11-25T10:30:00.000+00:00", reading("9.2"), "f" * 64)
    assert isinstance(read_lines(line + b"\n").ending, Altered)


def test_no_file_is_bad_input(tmp_path: Path) -> None:
    """Reading a journal that is not there names the file."""
    with pytest.raises(BadInput, match=r"journal\.jsonl does not exist"):
        read_journal(tmp_path / "journal.jsonl")


# ------------------------------------------------------------------------------------------- full disks


@pytest.mark.parametrize("chunk", [None, 1, 7])
def test_a_full_disk_acknowledges_nothing_by_half(chunk: int | None) -> None:
    """Wherever the disk fills up, append raises MissingPart and the file holds exactly the acknowledged events."""
    events = [reading("9.2"), Said(text="nine point two percent"), reading("9.4")]
    whole = written(list(events))[0]
    for room in range(0, len(whole), 5):
        file = FileInMemory(room, chunk)
        journal = new_journal(file)
        kept = []
        for event in events:
            with suppress(MissingPart):
                kept.append(journal.append(event))
        assert len(kept) < len(events)
        assert read_lines(file.content) == JournalReading(tuple(kept), Intact(), journal.last_hash, len(file.content))


@given(some_events)
def test_events_written_together_are_those_written_one_by_one(events: list[Event]) -> None:
    """The same bytes and entries, with one fsync for all of them."""
    file = FileInMemory()
    entries = new_journal(file).append_all(events)
    assert (file.content, entries) == written(events)
    assert file.syncs == 1


def test_of_events_written_together_a_full_disk_acknowledges_none() -> None:
    """Wherever the disk fills up, the file holds what was acknowledged before, and the chain goes on from there."""
    events = [reading("9.2"), Said(text="nine point two percent"), reading("9.4")]
    whole = written([Said(text="first"), *events])[0]
    for room in range(len(written([Said(text="first")])[0]), len(whole), 5):
        file = FileInMemory(room)
        journal = new_journal(file)
        first = journal.append(Said(text="first"))
        with pytest.raises(MissingPart):
            journal.append_all(events)
        assert read_lines(file.content).entries == (first,)
        file.room = None
        assert (first, *journal.append_all(events)) == read_lines(file.content).entries


def test_once_there_is_room_again_the_journal_goes_on() -> None:
    """After a clean failure the same event can be appended again."""
    file = FileInMemory(room=10)
    journal = new_journal(file)
    with pytest.raises(MissingPart):
        journal.append(reading("9.2"))
    file.room = None
    entry = journal.append(reading("9.2"))
    assert read_lines(file.content).entries == (entry,)
    assert entry.number == 1


@pytest.mark.parametrize("truncate_fails", [False, True])
@pytest.mark.parametrize("failures", [1, 2])
def test_after_a_failed_fsync_nothing_more_is_acknowledged(failures: int, truncate_fails: bool) -> None:
    """A journal whose fsync failed refuses every later event, because nobody knows what the disk holds."""
    file = FileInMemory()
    journal = new_journal(file)
    journal.append(reading("9.2"))
    file.sync_fails, file.truncate_fails = failures, truncate_fails
    with pytest.raises(MissingPart, match="could not be written"):
        journal.append(reading("9.4"))
    file.sync_fails, file.truncate_fails = 0, False
    with pytest.raises(MissingPart, match="can no longer be written"):
        journal.append(reading("9.4"))


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
def test_the_real_full_device(tmp_path: Path) -> None:
    """The system's own full device gives MissingPart with exit code 3."""
    journal = Journal(DiskFile(Path("/dev/full")), JournalReading((), Intact()), clock)
    with pytest.raises(MissingPart, match="disk is full") as caught:
        journal.append(reading("9.2"))
    assert caught.value.exit_code == 3


LIMITED = """
import resource, signal, sys
from pathlib import Path
from handsfree.errors import MissingPart
from handsfree.events import Said
from handsfree.record.journal import open_journal
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))
path = Path(sys.argv[1])
path.touch()
journal, _ = open_journal(path)
try:
    while True:
        print(journal.append(Said(text="co2 at maximum")).number, flush=True)
except MissingPart as error:
    sys.exit(error.exit_code)
"""


def test_a_real_file_that_cannot_grow(tmp_path: Path) -> None:
    """A real file that hits its largest size mid-line ends intact, with exactly the acknowledged events."""
    path = tmp_path / "journal.jsonl"
    run = subprocess.run(
        [sys.executable, "-c", LIMITED, str(path)], capture_output=True, text=True, env=dict(os.environ), check=False
    )
    assert run.returncode == 3, run.stderr
    got = read_journal(path)
    assert got.ending == Intact()
    assert [e.number for e in got.entries] == [int(n) for n in run.stdout.split()]
    assert len(got.entries) >= 3


def test_an_event_that_is_not_json_writes_nothing() -> None:
    """A programming error in an event leaves the journal as it was."""
    file = FileInMemory()
    journal = new_journal(file)
    bad = Computed(item="ratio", computation="co_co2_ratio", given={}, results=({"value": float("nan")},))
    with pytest.raises(ValueError, match="JSON"):
        journal.append(bad)
    assert file.content == b""


def test_a_name_is_kept_on_disk_with_its_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Creating the file fsyncs its folder, and each append fsyncs the file before it returns."""
    synced = []
    real = os.fsync

    def watched(descriptor: int) -> None:
        synced.append(os.readlink(f"/proc/self/fd/{descriptor}"))
        real(descriptor)

    monkeypatch.setattr(os, "fsync", watched)
    path = tmp_path / "journal.jsonl"
    file = DiskFile(path)
    assert synced == [str(tmp_path)]
    journal = Journal(file, JournalReading((), Intact()), clock)
    journal.append(Said(text="a"))
    assert synced == [str(tmp_path), str(path)]
    journal.close()
