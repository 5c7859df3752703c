"""Simulated engineers hold whole visits from words: is anything saved without a yes, or complete with an item open?

    python benchmarks/dialogues.py [--visits 300] [--first 0] [--jobs 1] [--for-s S] [--plan NAME ...] [--json [FILE]]
    python benchmarks/dialogues.py --merge FILE FILE ...

A dialogue is a whole visit by one of the plans, from its first prompt until the simulated engineer ended it or said 600
things: about 200 utterances, silences and cuts. Each visit is seeded by its number, so that any one can be held again:
right values, wrong values, values outside their limits, commands at random, silence, noise, the microphone lost, power
cuts, ends with items open that are taken up again. A watch looks at every event as it is written, with rules of its own
(tests/dialogue_simulation.py). It measures the dialogue alone: hearing has its own benchmark, and so has the time that
speaking takes (spoken_time.py).

Printed: what was counted, by plan, and the 95 % upper bound of what was not seen (three divided by the number of saves).
`--jobs` processes share the visits out; with `--for-s` none begins a new visit after so many seconds. The JSON of two
runs with different seeds can be merged: every number is a count.
"""

from __future__ import annotations

import argparse
import gc
import json
import random
import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from dialogue_simulation import Simulation
from dialogue_story import plan_named, the_job

from handsfree.events import Finished, Proposed, Reopened, Resumed
from handsfree.plans import plan_names

CHUNK = 50
"""visits a process takes at a time"""
Counts = dict[str, Counter[str]]
"""plan, or "wrong" -> what was counted"""


def hold(seed: int, plans: list[str]) -> tuple[str, Simulation]:
    """The visit of that number: the plan's name, and the visit as it ended."""
    rng = random.Random(seed)
    name = rng.choice(plans)
    return name, Simulation(plan_named(name), the_job(), rng, care=rng.choice([0.3, 0.6, 0.9, 0.97])).run()


def count(sim: Simulation) -> Counter[str]:
    """What is counted of a visit."""
    kinds = Counter(type(entry.event) for entry in sim.entries)
    finished = sim.state.finished
    end = "still open" if finished is None else "complete" if finished.complete else "ended with items open"
    return Counter(
        {
            "dialogues": 1,
            "inputs": sim.steps,
            "events": len(sim.entries),
            "saved": sim.watch.saved,
            "proposed": kinds[Proposed],
            "read backs spoken": sim.watch.read_back,
            "cuts": kinds[Resumed],
            "ends": kinds[Finished],
            "taken up again": kinds[Reopened],
            end: 1,
        }
    )


def some(task: tuple[int, int, list[str], float]) -> dict[str, dict[str, int]]:
    """Visits `first` to `last - 1`, as counts; none begins after `until` (s, wall clock)."""
    first, last, plans, until = task
    gc.collect()
    gc.freeze()  # the language, the plans: looked through again at every collection otherwise
    gc.disable()  # a third of the time otherwise: a visit makes many small values and no circles
    found: Counts = {}
    for seed in range(first, last):
        if time.time() > until:
            break
        name, sim = hold(seed, plans)
        found.setdefault(name, Counter()).update(count(sim))
        if sim.watch.wrong:
            found.setdefault("wrong", Counter()).update(f"visit {seed}: {what}" for what in sim.watch.wrong)
    return {name: dict(row) for name, row in found.items()}


def merged(parts: Iterable[dict[str, dict[str, int]]]) -> Counts:
    """Counts of several parts, added."""
    whole: Counts = {}
    for part in parts:
        for name, row in part.items():
            whole.setdefault(name, Counter()).update(row)
    return whole


def run(given: argparse.Namespace) -> Iterator[dict[str, dict[str, int]]]:
    """The parts as they are ready."""
    plans = given.plan or list(plan_names())
    until = time.time() + given.for_s if given.for_s else float("inf")
    end = given.first + given.visits
    tasks = [(n, min(n + CHUNK, end), plans, until) for n in range(given.first, end, CHUNK)]
    if given.jobs == 1:
        yield from map(some, tasks)
        return
    with ProcessPoolExecutor(given.jobs) as pool:
        yield from pool.map(some, tasks)


def report(whole: Counts) -> dict[str, Any]:
    """The counts with their sums and the bound."""
    wrong = whole.get("wrong", Counter())
    plans = {name: dict(row) for name, row in sorted(whole.items()) if name != "wrong"}
    total: Counter[str] = sum((Counter(row) for row in plans.values()), Counter())
    saved = total["saved"]
    return {
        "plans": plans,
        "total": dict(total),
        "wrong": dict(wrong),
        "bound_95_per_saved": 3.0 / saved if saved and not wrong else None,
        "bound_95_per_dialogue": 3.0 / total["dialogues"] if total["dialogues"] and not wrong else None,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--visits", type=int, default=300)
    parser.add_argument("--first", type=int, default=0, help="seed of the first visit")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--for-s", type=float, help="s after which no visit is begun")
    parser.add_argument("--plan", action="append", default=[])
    parser.add_argument("--json", nargs="?", const="-", help="a file, or standard output")
    parser.add_argument("--merge", nargs="+", metavar="FILE", help="add up what earlier runs wrote")
    given = parser.parse_args()
    began = time.monotonic()
    if given.merge:
        rows = [json.loads(Path(name).read_text(encoding="utf-8")) for name in given.merge]
        whole = merged([{**row["plans"], "wrong": row["wrong"]} for row in rows])
    else:
        whole = merged(run(given))
    row = report(whole)
    row["wall_s"] = round(time.monotonic() - began, 1)
    if given.json:
        text = json.dumps(row, indent=2)
        print(text) if given.json == "-" else Path(given.json).write_text(text + "\n", encoding="utf-8")
    if given.json != "-":
        show(row)
    sys.exit(1 if row["wrong"] else 0)


def show(row: dict[str, Any]) -> None:
    columns = (
        "dialogues",
        "inputs",
        "saved",
        "cuts",
        "complete",
        "ended with items open",
        "still open",
        "taken up again",
    )
    print(f"{'plan':20}" + "".join(f"{c:>23}" for c in columns))
    for name, counts in [*row["plans"].items(), ("total", row["total"])]:
        print(f"{name:20}" + "".join(f"{counts.get(c, 0):>23}" for c in columns))
    print(f"saved without a yes, complete with an item open, replay not the live state: {sum(row['wrong'].values())}")
    for what, times in Counter(row["wrong"]).most_common(10):
        print(f"    {times} x {what}")
    if row["bound_95_per_saved"]:
        print(f"95 % upper bound where none was seen: {row['bound_95_per_saved']:.2g} a value saved, ", end="")
        print(f"{row['bound_95_per_dialogue']:.2g} a dialogue; {row['wall_s']} s")


if __name__ == "__main__":
    main()
