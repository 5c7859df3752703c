"""Simulated engineers hold whole visits from words: is anything saved without a yes, or complete with an item open?

    python benchmarks/dialogues.py [--visits 300] [--first 0] [--plan NAME ...] [--json]

Each visit is seeded by its number: right values, wrong values, values outside their limits, commands at random,
silence,
noise, the microphone lost, power cuts. Prints what was counted, the 95 % upper bound of what was not seen (rule of
three),
and how long a reading takes to speak at 130 words a minute. It measures the dialogue alone: hearing has its own
benchmark.
"""

from __future__ import annotations

import argparse
import json
import random
import statistics
import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from dialogue_simulation import Simulation
from dialogue_story import plan_named, the_job

from handsfree.events import Proposed, ReadingConfirmed
from handsfree.plans import plan_names

WORDS_A_MINUTE = 130
ANSWER_S = 1.2
"""s of an engineer's yes with the pause before it: our guess"""


def seconds_for(words: str) -> float:
    return len(words.split()) * 60.0 / WORDS_A_MINUTE


def _is_plain_four_digits(event: ReadingConfirmed, proposed: Proposed) -> bool:
    """One reading of four digits, inside its limit, confirmed by a plain yes."""
    digits = event.value.replace(".", "").lstrip("-")
    return len(digits) == 4 and proposed.stage == "yes" and len(proposed.items) == 1


def reading_seconds(sim: Simulation) -> list[float]:
    """s to speak a confirmed four-digit reading: prompt, the value said, read-back, yes."""
    found = []
    proposed: Proposed | None = None
    for entry in sim.entries:
        event = entry.event
        if isinstance(event, Proposed):
            proposed = event
        elif isinstance(event, ReadingConfirmed) and proposed is not None and _is_plain_four_digits(event, proposed):
            item = sim.plan.item(event.item)
            value = proposed.read_back.split(",")[-1].split(". ")[0]
            found.append(seconds_for(item.prompt) + seconds_for(value) + seconds_for(proposed.read_back) + ANSWER_S)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--visits", type=int, default=300)
    parser.add_argument("--first", type=int, default=0, help="seed of the first visit")
    parser.add_argument("--plan", action="append", default=[])
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    plans = given.plan or list(plan_names())
    ends: Counter[str] = Counter()
    wrong: Counter[str] = Counter()
    saved = steps = 0
    seconds: list[float] = []
    for seed in range(given.first, given.first + given.visits):
        rng = random.Random(seed)
        sim = Simulation(plan_named(rng.choice(plans)), the_job(), rng, care=rng.choice([0.3, 0.6, 0.9, 0.97])).run()
        steps += sim.steps
        saved += sim.watch.saved
        wrong.update(sim.watch.wrong)
        finished = sim.state.finished
        ends["still open" if finished is None else "complete" if finished.complete else "ended with items open"] += 1
        seconds += reading_seconds(sim)
    row = {
        "visits": given.visits,
        "plans": plans,
        "inputs": steps,
        "saved": saved,
        "wrong": dict(wrong),
        "ends": dict(ends),
        "bound_95_per_saved": round(3.0 / saved, 7) if saved and not wrong else None,
        "four_digit_reading_s": round(statistics.median(seconds), 1) if seconds else None,
    }
    if given.json:
        print(json.dumps(row))
        return
    print(f"{row['visits']} visits over {', '.join(plans)}: {steps} inputs, {saved} values and answers saved")
    print(f"  saved without a yes, complete with an item open, replay not the live state: {sum(wrong.values())}")
    for what, count in wrong.most_common(10):
        print(f"    {count} x {what}")
    print(f"  95 % upper bound of a wrong save, where none was seen: {row['bound_95_per_saved']} a value saved")
    print(f"  ends: {dict(ends)}")
    print(f"  a four-digit reading takes {row['four_digit_reading_s']} s spoken (median, by count of words)")


if __name__ == "__main__":
    main()
