"""Every input in every state of small plans: how many states there are, whether all were seen, which promises were broken.

    python benchmarks/states.py [--most 200000] [--plan NAME ...] [--json]

A state is what decides everything that can follow; states that differ only in what the record keeps are one. In each, every
command, silence, noise, lost sound and power cut is tried, beside the plan's own readings and answers (right, outside, against
each other) and a change of an earlier value; and where an item is asked, hold, back, cut and finish are followed to their
end. Held in every state: nothing saved but by a yes after its read-back or an answer that needs none; nothing lost without
an event that says so; nothing complete with an item open or an unsafe situation; no unsafe situation cleared, no ended visit
taken up again without a yes; interrupted anywhere, also between two events, the same values and the same next item.
"Twins" are pairs of different states taken for one, followed to see that they go on alike.
"""

from __future__ import annotations

import argparse
import gc
import json
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from dialogue_exploration import Exploration, Explorer
from dialogue_small_plans import PLANS

from handsfree.plans import plan_from_text


def explore(name: str, most: int) -> Exploration:
    """The states of one of the small plans."""
    text, own = PLANS[name]
    gc.disable()  # every state is kept, and none is part of a circle
    return Explorer(plan_from_text(text.replace("{name}", "small")), own).run(most)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--most", type=int, default=200_000, help="states at which a plan is left")
    parser.add_argument("--plan", action="append", choices=list(PLANS))
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    rows = {}
    for name in given.plan or PLANS:
        found = explore(name, given.most)
        rows[name] = {
            "states": found.states,
            "decisions": found.decisions,
            "exhausted": found.exhausted,
            "twins": found.twins,
            "wrong": dict(found.wrong),
            "phases": dict(found.phases),
            "seconds": round(found.seconds, 1),
        }
        if not given.json:
            seen = "all" if found.exhausted else "capped"
            print(
                f"{name:28}{found.states:>9} states  {found.decisions:>9} decisions  {seen:7}{found.twins:>6} twins",
                end="",
            )
            print(f"{sum(found.wrong.values()):>6} wrong  {found.seconds:7.1f} s", flush=True)
            for what, times in found.wrong.most_common(8):
                print(f"    {times} x {what}")
    if given.json:
        print(json.dumps(rows, indent=2))
    sys.exit(1 if any(row["wrong"] for row in rows.values()) else 0)


if __name__ == "__main__":
    main()
