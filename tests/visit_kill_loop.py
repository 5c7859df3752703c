"""Whole visits, killed with SIGKILL at random points and carried on, until each is complete; after each kill the visit is checked.

A process of its own without the test runner, so that forking is cheap: `python visit_kill_loop.py FOLDER KILLS [SEED]`.
Prints kills, torn ends, visits completed and values; ends with an error at the first broken promise.
"""

from __future__ import annotations

import os
import random
import signal
import sys
import time
from pathlib import Path

import numpy as np

from handsfree.dialogue.engine import Engine
from handsfree.events import (
    AnswerConfirmed,
    Entry,
    ItemEntered,
    ProposalDropped,
    Proposed,
    ReadingConfirmed,
    Said,
    VisitStarted,
)
from handsfree.language import load_language
from handsfree.model import Expectation, Heard, Segment
from handsfree.plans import example_job, load_job, load_plan
from handsfree.record import Altered, Torn, VisitFolder, read_journal
from handsfree.session import Session
from handsfree.sources import Arrival, Quiet, Spoken
from handsfree.testing import RememberingSpeaker

ANSWERS = {
    "boiler_serial": "quebec hotel two four eight one five",
    "plate_gas": "natural gas",
    "analyser_until": "third of march twenty twenty seven",
    "gauge_until": "fourteenth of june twenty twenty seven",
    "inhibitor": "inhibitor added",
    "vessel_charge": "nought point seven five bar",
    "cold_pressure": "one point two bar",
    "trap_filled": "trap is filled",
    "let_by_set": "gauge set",
    "let_by_rise": "no rise",
    "test_set": "test pressure set",
    "tightness_drop": "no drop",
    "gas_smell": "no",
    "max_rate": "at maximum",
    "air_inlet_o2": "twenty point eight percent",
    "co2_max": "nine point two percent",
    "co_max": "eighty five parts per million",
    "min_rate": "at minimum",
    "co2_min": "eight point eight percent",
    "co_min": "twelve parts per million",
    "meter_start": "four eight one two three point four five six",
    "rate_time": "one hundred and twenty seconds",
    "meter_end": "four eight one two three point five three eight",
    "hot_flow": "nine point eight litres a minute",
    "cold_temp": "eleven degrees",
    "hot_temp": "forty six degrees",
    "handed_over": "papers left",
}
"""what the engineer reads at each item; yes where the item is not here"""
LANGUAGE, PLAN, JOB = load_language(), load_plan("short_commissioning"), load_job(example_job())


class Engineer:
    """Answers what was asked last, as sound with a clip; is ears and source at once."""

    name = "recordings, waits skipped"

    def __init__(self, acknowledge: int) -> None:
        self._acknowledge = acknowledge
        self._item = ""
        self._last_said = ""
        self._proposed = False
        self._asked = 0

    def take(self, entry: Entry) -> None:
        """What the visit did; confirmed values are acknowledged to whoever does the killing."""
        match entry.event:
            case ItemEntered(item=item):
                self._item = item
            case Said(text=text):
                self._last_said = text
            case Proposed():
                self._proposed = True
            case ProposalDropped():
                self._proposed = False
            case ReadingConfirmed(item=item, value=value):
                self._confirmed(entry.number, item, value)
            case AnswerConfirmed(item=item, answer=answer):
                self._confirmed(entry.number, item, answer)

    def _confirmed(self, number: int, item: str, value: str) -> None:
        self._proposed = False
        os.write(self._acknowledge, f"{number} {item} {value}\n".encode())

    def listen(self, expectation: Expectation, timeout_s: float | None) -> Arrival:
        return Spoken(Segment(np.full(800, 0.1, np.float32), 0.0, 0.05))

    def wait(self, seconds: float) -> Arrival:
        return Quiet(seconds)

    def close(self) -> None:
        return

    def prepare(self, expectation: Expectation) -> None:
        return

    def hear(self, segment: Segment, expectation: Expectation) -> Heard:
        self._asked += 1
        if self._asked > 300:
            raise RuntimeError(f"the visit does not move on from {self._item}: {self._last_said}")
        words = "yes" if self._proposed or "keeps it" in self._last_said else ANSWERS.get(self._item, "yes")
        words = "finish" if "Say finish" in self._last_said else words
        return Heard(words, LANGUAGE.understand(words, expectation))


def work(path: Path, acknowledge: int) -> None:
    """Hold the visit from where it is to its end."""
    engineer = Engineer(acknowledge)
    new = not (path / "journal.jsonl").exists()
    folder = VisitFolder.create(path, PLAN.text, JOB.text) if new else VisitFolder.open(path)
    with folder:
        engine = Engine(PLAN, JOB, LANGUAGE)
        session = Session(engine, folder, engineer, RememberingSpeaker(), engineer, LANGUAGE, engineer.take)
        started = VisitStarted(plan=PLAN.name, plan_sha256="", job=JOB.as_json(), gas=JOB.gas, date="2026-11-20")
        end = session.carry_on(folder.entries) if folder.entries else session.begin(started)
        os.write(acknowledge, b"complete\n" if end.complete else b"not complete\n")


def kill_once(path: Path, rng: random.Random) -> list[str]:
    """Let a child work, kill it, and return what it had acknowledged."""
    read_end, write_end = os.pipe()
    child = os.fork()
    if not child:
        os.close(read_end)
        try:
            work(path, write_end)
        except BaseException as error:  # the parent must hear of it, whatever it is
            os.write(write_end, f"broken {error!r}\n".encode())
        os._exit(0)
    os.close(write_end)
    with os.fdopen(read_end, "rb") as pipe:
        lines = []
        # Some are killed while they open the visit, the others after some confirmed values and a moment more.
        for _ in range(rng.choice([0, 0, 1, 1, 2, 3])):
            if not (line := pipe.readline()):
                break
            lines.append(line)
        time.sleep(rng.random() * 0.03)
        os.kill(child, signal.SIGKILL)
        lines += pipe.readlines()
    os.waitpid(child, 0)
    return [line.decode().strip() for line in lines]


def check(path: Path, acknowledged: list[str]) -> bool:
    """Every promise, after a kill. Returns whether the journal's end was torn.

    Raises:
        AssertionError: a promise was broken.
    """
    if not (path / "journal.jsonl").exists():
        assert not acknowledged
        return False
    reading = read_journal(path / "journal.jsonl")
    assert not isinstance(reading.ending, Altered), reading.ending
    by_number = {entry.number: entry.event for entry in reading.entries}
    for line in acknowledged:
        number, item, value = line.split(" ", 2)
        event = by_number[int(number)]
        assert isinstance(event, ReadingConfirmed | AnswerConfirmed), line
        assert event.item == item, line
        assert value == (event.value if isinstance(event, ReadingConfirmed) else event.answer), line
        assert event.clip is not None, line
        assert (path / event.clip).exists(), line
    return isinstance(reading.ending, Torn)


def main(folder: Path, kills: int, seed: int) -> None:
    rng = random.Random(seed)
    torn = visits = values = 0
    path, acknowledged = folder / "visit-1", list[str]()
    for _ in range(kills):
        acknowledged += kill_once(path, rng)
        complete = acknowledged[-1:] == ["complete"]
        assert not [line for line in acknowledged if line.startswith(("broken", "not complete"))], acknowledged[-1]
        acknowledged = [line for line in acknowledged if line != "complete"]
        torn += check(path, acknowledged)
        if complete:
            visits, values = visits + 1, values + len(acknowledged)
            path, acknowledged = folder / f"visit-{visits + 1}", []
    print(f"{kills} kills, {torn} torn ends, {visits} visits completed, {values} values")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]) if len(sys.argv) > 3 else 1)
