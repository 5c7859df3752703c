"""Children that append events and clips, killed with SIGKILL at random points; after each kill the visit is checked.

A process of its own without the test runner, so that forking is cheap:
`python kill_loop.py FOLDER KILLS VISITS [SEED]`.
Prints kills, torn ends, events and clips; ends with an error at the first broken promise.
"""

from __future__ import annotations

import os
import random
import signal
import sys
import time
from pathlib import Path

import numpy as np

import handsfree.audio.wav  # noqa: F401  so that no child spends its short life importing it
from handsfree.events import Said, UtteranceHeard
from handsfree.record import Intact, Torn, VisitFolder, read_journal
from handsfree.record.journal import DiskFile

MOST_TOGETHER = 4
"""events that go to disk with one fsync, at most"""


class PiecewiseFile(DiskFile):
    """Writes lines in slow pieces, so that a kill can land inside one, or between two of a decision."""

    def write(self, data: bytes) -> int:
        time.sleep(0.0002)
        return super().write(data[:40])


def work(path: Path, acknowledge: int, seed: int) -> None:
    """Appends until killed; tells of each event and clip after it was acknowledged."""
    rng = random.Random(seed)
    with VisitFolder.open(path, open_file=rng.choice([DiskFile, PiecewiseFile])) as visit:
        os.write(acknowledge, b"open\n")
        while True:
            clip = visit.save_clip(np.full(rng.randrange(100, 4000), 0.1, np.float32))
            os.write(acknowledge, f"clip {clip}\n".encode())
            words = "nought point two zero " * rng.randrange(1, 8)
            heard = UtteranceHeard(item="let_by", words=words, outcome={"outcome": "nothing"}, clip=clip)
            said = [Said(text="nought point two zero millibar", item="let_by")] * rng.randrange(MOST_TOGETHER)
            for entry in visit.append_all([heard, *said]):
                os.write(acknowledge, f"event {entry.number}\n".encode())


def kill_once(path: Path, rng: random.Random) -> list[list[str]]:
    """Lets a child work, kills it, and returns what it had acknowledged."""
    read_end, write_end = os.pipe()
    child = os.fork()
    if not child:
        try:
            os.close(read_end)
            work(path, write_end, rng.randrange(10**9))
        finally:
            os._exit(1)
    os.close(write_end)
    with os.fdopen(read_end, "rb") as pipe:
        # One in eight is killed while it opens the visit and mends its end; the others after some work, whatever the
        # machine's speed, at a point between or inside the next writes.
        lines = [] if rng.random() < 0.125 else [pipe.readline() for _ in range(rng.randrange(1, 8))]
        time.sleep(rng.random() * 0.006)
        end(child)
        lines += pipe.readlines()
    return [line.decode().split() for line in lines if line != b"open\n"]


def end(child: int) -> None:
    """Kills the child and makes sure that it was the kill that ended it."""
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status), "the child ended by itself"


def check(path: Path, before: int, acknowledged: list[list[str]]) -> tuple[int, bool]:
    """Every acknowledged event and clip is there; returns the number of events and whether the end was torn."""
    got = read_journal(path / "journal.jsonl")
    assert isinstance(got.ending, Intact | Torn), got.ending
    events = [int(what) for kind, what in acknowledged if kind == "event"]
    assert events == list(range(before + 1, before + 1 + len(events))), (before, events)
    assert len(got.entries) >= before + len(events), "an acknowledged event is gone"
    # At most the events of one decision were on their way when the kill came; those before the cut stand.
    assert len(got.entries) <= before + len(events) + MOST_TOGETHER
    for entry in got.entries[before:]:
        clip = getattr(entry.event, "clip", None)
        assert clip is None or (path / clip).is_file(), f"event {entry.number} names {clip}, which is not there"
    for kind, what in acknowledged:
        assert kind == "event" or (path / what).stat().st_size > 44, f"{what} is gone"
    return len(got.entries), isinstance(got.ending, Torn)


def main(root: Path, kills: int, visits: int, seed: int) -> None:
    """Spreads the kills over some visits, each carrying on from where the last kill left it."""
    rng = random.Random(seed)
    torn = 0
    counts = [0] * visits
    clips: set[str] = set()
    for visit in range(visits):
        VisitFolder.create(root / f"visit-{visit}", "", None).close()
    for kill in range(kills):
        visit = kill % visits
        path = root / f"visit-{visit}"
        acknowledged = kill_once(path, rng)
        clips |= {f"{visit} {what}" for kind, what in acknowledged if kind == "clip"}
        counts[visit], was_torn = check(path, counts[visit], acknowledged)
        torn += was_torn
    print(kills, torn, sum(counts), len(clips))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]) if len(sys.argv) > 4 else 1)
