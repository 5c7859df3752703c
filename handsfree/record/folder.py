"""A visit's folder: made or opened under a lock, clips written before the events that name them.

journal.jsonl        the events; all state is their fold
audio/0001-HASH.wav  a clip an utterance; HASH begins the file's sha256, so that the journal vouches for the sound too
photos/0001-HASH.jpg a photo put beside an item in review; HASH as above
plan.toml, job.toml  as given
lock                 held while a copy of the program has the visit open
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import stat
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from handsfree.errors import BadInput, MissingPart
from handsfree.events import Entry, Event, PhotoKept
from handsfree.record.journal import (
    AppendFile,
    DiskFile,
    Ending,
    cannot_write,
    now_here,
    open_journal,
    sync_folder,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

JOURNAL = "journal.jsonl"
AUDIO = "audio"
PHOTOS = "photos"
PLAN = "plan.toml"
JOB = "job.toml"
LOCK = "lock"
_HASH_LETTERS = 12


class VisitFolder:
    """An open visit. Use as a context manager, or call `close`.

    Attributes:
        path: the folder.
        journal: where events are appended.
        entries: what the journal held when the folder was opened, in order.
        ending: how the journal ended when the folder was opened (a torn end is mended by then).
    """

    def __init__(
        self, path: Path, lock: int, now: Callable[[], datetime], open_file: Callable[[Path], AppendFile]
    ) -> None:
        self.path = path
        self._lock = lock
        self.journal, reading = open_journal(path / JOURNAL, now, open_file)
        self.entries: tuple[Entry, ...] = reading.entries
        self.ending: Ending = reading.ending
        self._next_clip = 1 + max((_clip_number(p) for p in (path / AUDIO).glob("*.wav")), default=0)

    @classmethod
    def create(
        cls,
        path: Path,
        plan_text: str,
        job_text: str | None = None,
        now: Callable[[], datetime] = now_here,
        open_file: Callable[[Path], AppendFile] = DiskFile,
    ) -> VisitFolder:
        """Makes the folder of a new visit, with copies of the plan and the job file.

        Raises:
            BadInput: the path holds something already, or another copy of the program is making the same visit.
            MissingPart: the disk is full or cannot be written.
        """
        _refuse_occupied(path)
        try:
            (path / AUDIO).mkdir(parents=True, exist_ok=True)
            lock = _take_lock(path)
        except OSError as error:
            raise cannot_write(str(path), error) from None
        try:
            _refuse_occupied(path)
            write_whole(path / PLAN, plan_text.encode())
            if job_text is not None:
                write_whole(path / JOB, job_text.encode())
            write_whole(path / JOURNAL, b"")
            sync_folder(path.parent)
            return cls(path, lock, now, open_file)
        except OSError as error:
            os.close(lock)
            raise cannot_write(str(path), error) from None
        except BaseException:
            os.close(lock)
            raise

    @classmethod
    def open(
        cls,
        path: Path,
        now: Callable[[], datetime] = now_here,
        open_file: Callable[[Path], AppendFile] = DiskFile,
    ) -> VisitFolder:
        """Opens a visit to carry on with it; a torn end of its journal is mended.

        Raises:
            BadInput: not a visit, open in another copy of the program, or its journal was altered.
            MissingPart: the disk is full or cannot be written.
        """
        check_visit(path)
        try:
            (path / AUDIO).mkdir(exist_ok=True)
            lock = _take_lock(path)
        except OSError as error:
            raise cannot_write(str(path), error) from None
        try:
            return cls(path, lock, now, open_file)
        except BaseException:
            os.close(lock)
            raise

    def append(self, event: Event) -> Entry:
        """As `Journal.append`."""
        return self.journal.append(event)

    def append_all(self, events: Sequence[Event]) -> tuple[Entry, ...]:
        """As `Journal.append_all`."""
        return self.journal.append_all(events)

    def save_clip(self, samples: NDArray[np.float32] | NDArray[np.int16], rate: int = 16_000) -> str:
        """Writes one utterance; it is on disk, under its name, before this returns.

        Args:
            samples: mono, float -1..1 or int16.
            rate: Hz.

        Returns:
            Its name inside the folder, such as "audio/0007-3f9a0c21be44.wav".

        Raises:
            MissingPart: the disk is full or cannot be written; nothing is left under a clip's name.
        """
        # Late: reading a visit needs no sound library.
        from handsfree.audio.wav import encode_wav

        content = encode_wav(samples, rate)
        name = f"{AUDIO}/{self._next_clip:04d}-{_hash_of(content)}.wav"
        try:
            write_whole(self.path / name, content)
        except OSError as error:
            raise cannot_write("the clip", error) from None
        self._next_clip += 1
        return name

    def save_photo(self, content: bytes, ending: str) -> str:
        """Keeps a photo as it is; it is on disk, under its name, before this returns.

        Args:
            content: the whole file.
            ending: of its name, such as ".jpg".

        Returns:
            Its name inside the folder, such as "photos/0001-3f9a0c21be44.jpg".

        Raises:
            MissingPart: the disk is full or cannot be written; nothing is left under a photo's name.
        """
        try:
            (self.path / PHOTOS).mkdir(exist_ok=True)
            number = 1 + max((_clip_number(p) for p in (self.path / PHOTOS).iterdir()), default=0)
            name = f"{PHOTOS}/{number:04d}-{_hash_of(content)}{ending}"
            write_whole(self.path / name, content)
            sync_folder(self.path)
        except OSError as error:
            raise cannot_write("the photo", error) from None
        return name

    def close(self) -> None:
        """Lets the visit go, for another copy to open. What was appended is on disk already."""
        self.journal.close()
        with contextlib.suppress(OSError):
            os.close(self._lock)

    def __enter__(self) -> VisitFolder:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


# ------------------------------------------------------------------------------------------------- checking


def check_visit(path: Path) -> None:
    """Raises BadInput, saying what is missing, when `path` is no visit's folder."""
    if not path.exists():
        raise BadInput(f"{path} does not exist", "name the folder of a visit: it holds journal.jsonl")
    if not path.is_dir():
        raise BadInput(f"{path} is a file, not the folder of a visit", f"name its folder: {path.parent}")
    if not (path / JOURNAL).is_file():
        raise BadInput(f"{path} is not a visit: it holds no {JOURNAL}", "name a folder that handsfree visit made")


def read_visit_text(path: Path, name: str) -> str | None:
    """The plan or job file kept in a visit's folder, or None where there is none.

    Raises:
        BadInput: it is there and cannot be read.
    """
    try:
        return (path / name).read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(f"{path / name} cannot be read: {error}", "") from None


def clip_faults(path: Path, entries: tuple[Entry, ...]) -> Iterator[tuple[int, str]]:
    """Clips and photos that an event names and that are missing or changed: the event's number and what is wrong."""
    for entry in entries:
        faults = [_clip_fault(path, name) for name in clips_of(entry.event)]
        if isinstance(entry.event, PhotoKept):
            faults.append(_photo_fault(path, entry.event.file))
        yield from ((entry.number, fault) for fault in faults if fault)


def clips_of(event: Event) -> tuple[str, ...]:
    """The clips that an event names."""
    names = (getattr(event, "clip", None), getattr(event, "yes_clip", None))
    return tuple(n for n in names if n)


def clip_path(path: Path, name: str) -> Path | None:
    """Where a clip lies, or None when the name leads out of audio/ (a forged journal must not reach other files)."""
    return _inside(path, AUDIO, name)


def photo_path(path: Path, name: str) -> Path | None:
    """As `clip_path`, of a photo in photos/."""
    return _inside(path, PHOTOS, name)


def is_file_itself(file: Path) -> bool:
    """Whether a clip or photo is there as a file: a link in a forged folder must not bring other files into a report."""
    try:
        return stat.S_ISREG(file.lstat().st_mode)
    except (OSError, ValueError):
        return False


def _inside(path: Path, folder: str, name: str) -> Path | None:
    file = path / folder / Path(name).name
    return file if f"{folder}/{file.name}" == name else None


def _clip_fault(path: Path, name: str) -> str:
    file = clip_path(path, name)
    if file is None:
        return f"clip {name} lies outside {AUDIO}/"
    return _fault(file, f"clip {name}", "the sound that was recorded")


def _photo_fault(path: Path, name: str) -> str:
    file = photo_path(path, name)
    if file is None:
        return f"photo {name} lies outside {PHOTOS}/"
    return _fault(file, f"photo {name}", "the picture that was kept")


def _fault(file: Path, what: str, wanted_is: str) -> str:
    try:
        if not stat.S_ISREG(file.lstat().st_mode):
            return f"{what} is not a file of its own"
        content = file.read_bytes()
    except FileNotFoundError:
        return f"{what} is missing"
    except (OSError, ValueError):
        return f"{what} cannot be read"
    _, _, wanted = file.stem.partition("-")
    if wanted and not hashlib.sha256(content).hexdigest().startswith(wanted):
        return f"{what} is not {wanted_is}"
    return ""


# -------------------------------------------------------------------------------------------------- writing


def write_whole(path: Path, content: bytes) -> None:
    """Puts a file there whole or not at all: written beside, fsynced, renamed, the folder fsynced.

    Raises:
        OSError: it could not be written; what stood there before still stands.
    """
    beside = path.with_name(f".{path.name}.part")
    try:
        with beside.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except OSError:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise
    sync_folder(path.parent)


def _hash_of(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:_HASH_LETTERS]


def _clip_number(path: Path) -> int:
    digits, _, _ = path.stem.partition("-")
    return int(digits) if digits.isascii() and digits.isdigit() else 0


def _refuse_occupied(path: Path) -> None:
    """A folder may hold what a start that was cut off before its first event left, and nothing else."""
    if not path.exists():
        return
    if not path.is_dir():
        raise BadInput(f"{path} is a file", "name a folder that does not exist yet")
    journal = path / JOURNAL
    if journal.exists() and journal.stat().st_size:
        raise BadInput(
            f"{path} holds a visit already", f"carry on with it: handsfree resume {path}; or name another folder"
        )
    ours = {JOURNAL, AUDIO, PLAN, JOB, LOCK}
    strange = sorted(p.name for p in path.iterdir() if p.name not in ours and not p.name.endswith(".part"))
    if strange:
        raise BadInput(f"{path} is not empty (it holds {strange[0]})", "name a folder that does not exist yet")


def _take_lock(path: Path) -> int:
    """The descriptor that holds the lock until it is closed, or until the process ends in whatever way."""
    try:
        import fcntl
    except ImportError:
        raise MissingPart(
            "this system has no flock, which keeps two copies off one visit", "run visits on Linux or macOS"
        ) from None
    descriptor = os.open(path / LOCK, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        holder = os.pread(descriptor, 32, 0).decode("ascii", "replace").strip()
        os.close(descriptor)
        who = f" (process {holder})" if holder.isdigit() else ""
        raise BadInput(
            f"the visit {path} is open in another copy of handsfree{who}",
            "end that copy (say finish, or press Ctrl-C in its window), then try again",
        ) from None
    except OSError:
        os.close(descriptor)
        raise
    os.ftruncate(descriptor, 0)
    os.pwrite(descriptor, f"{os.getpid()}\n".encode(), 0)
    return descriptor
