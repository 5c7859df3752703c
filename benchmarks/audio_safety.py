"""What the listeners made of recorded readings in, wrong values that a visit saves out, with engineers who miss read-backs.

    python -m benchmarks.hearing --manifest M.tsv --conditions clean pink:10 fan:10 --save opinions.jsonl
    python -m benchmarks.audio_safety opinions.jsonl [more.jsonl] [--miss 0.05 0.2 0.5] [--tries 4]

Each clip in each condition is one reading: a step of one item asks for it, the dialogue gets what the listeners made of
the clip together and reads a value back. The engineer says yes to the right value. To a wrong one the engineer says no,
or, one time in so many, does not notice and says yes. "Yes" and "no" are recordings too, of the same condition. What is
not understood is said again: the same words in another condition, until the tries are used up. Counted is what the
journal holds as confirmed. The product of the measured parts, a wrong proposal and a miss, stands beside what was
observed; it is the better number, because wrong proposals are rare and a miss is drawn for each of them.
"""

from __future__ import annotations

import argparse
import functools
import random
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from benchmarks.hearing_counts import kind_of, wilson
from benchmarks.hearing_trials import Trial, load_trials
from benchmarks.steps import expectation_named
from handsfree.dialogue.effects import Stop
from handsfree.dialogue.engine import Decision, Engine
from handsfree.dialogue.inputs import HeardInput
from handsfree.dialogue.state import State, apply
from handsfree.events import AnswerConfirmed, Entry, Proposed, ReadingConfirmed, VisitStarted
from handsfree.language import Language, load_language
from handsfree.listeners.agreement import Gates, agree, load_gates
from handsfree.model import Command, Expectation, Heard, Outcome, Readings, Text
from handsfree.plans.job import Job, load_job
from handsfree.plans.plan import Plan
from handsfree.plans.read import plan_from_text

DAY = "2026-11-25"
MOST_TURNS = 12
PLAN = """
name = "one_item"
title = "One reading"
about = "Asks for one reading, for a benchmark."
opening = "One reading."
sources = ["made for a benchmark"]

[[chunk]]
id = "all"
title = "all"
place = "at the boiler"
done = "Complete."

[[chunk.item]]
id = "one"
say = "the reading"
prompt = "Read the instrument."
expect = {{ {expect} }}
why = "For a benchmark."
outside = "Read it again."
source = "made for a benchmark"
"""


@functools.cache
def plan_of(expectation_words: str) -> Plan:
    """A plan of one item that expects this."""
    return plan_from_text(PLAN.format(expect=expectation_words))


def in_a_plan(expectation: Expectation) -> str | None:
    """How a plan writes what the step expects, or None where a plan has no such item."""
    if expectation.kind == "quantity":
        qualifier = f', qualifier = "{expectation.qualifier}"' if expectation.qualifier else ""
        return f'quantity = "{expectation.quantity}"{qualifier}'
    if expectation.kind in ("digits", "serial", "date", "letters", "number"):
        return f'read = "{expectation.kind}"'
    return None


def value_of(outcome: Outcome) -> str:
    """The value alone, to compare what was meant with what was read back."""
    if isinstance(outcome, Command | Readings) and len(outcome.readings) == 1:
        reading = outcome.readings[0]
        return plain(reading.value)
    return outcome.text if isinstance(outcome, Text) else ""


def plain(number: object) -> str:
    """A number without needless zeros; anything else as it is."""
    text = str(number)
    return text.rstrip("0").rstrip(".") if "." in text else text


@dataclass
class Recordings:
    """What the listeners together made of every recording."""

    gates: Gates
    of_clip: dict[str, list[Trial]] = field(default_factory=lambda: defaultdict(list))
    of_answer: dict[tuple[str, str], list[Trial]] = field(default_factory=lambda: defaultdict(list))
    _agreed: dict[int, Heard] = field(default_factory=dict)

    def add(self, trials: Iterable[Trial]) -> None:
        for trial in trials:
            self.of_clip[trial.path].append(trial)
            if isinstance(trial.truth, Command) and trial.truth.command in ("yes", "no") and not trial.truth.readings:
                self.of_answer[trial.truth.command, trial.condition].append(trial)

    def heard(self, trial: Trial) -> Heard:
        """As the session would hand it to the dialogue."""
        found = self._agreed.get(id(trial))
        if found is None:
            agreed = agree(trial.opinions, self.gates)
            found = self._agreed[id(trial)] = Heard(agreed.words, agreed.outcome, reason=agreed.reason)
        return found

    def no_as_yes(self) -> tuple[int, int]:
        """How many recordings of a no there are, and how many of them are taken for a yes."""
        said = [t for (word, _), trials in self.of_answer.items() if word == "no" for t in trials]
        return len(said), sum(self.heard(t).outcome == Command("yes") for t in said)

    def answer(self, word: str, condition: str, rng: random.Random) -> Heard:
        """A yes or a no, as heard in that condition; perfectly where there is no recording of one."""
        trials = self.of_answer.get((word, condition))
        return self.heard(rng.choice(trials)) if trials else Heard(word, Command(word))


@dataclass
class OneItem:
    """One reading, from the prompt until a value is confirmed or the tries are used up."""

    plan: Plan
    job: Job
    language: Language
    state: State = field(default_factory=State)
    confirmed: list[str] = field(default_factory=list)
    proposals: list[Proposed] = field(default_factory=list)
    over: bool = False
    _clock: float = 0.0

    def __post_init__(self) -> None:
        self.engine = Engine(self.plan, self.job, self.language)
        self._keep(VisitStarted(plan=self.plan.name, plan_sha256="0", gas="ng", date=DAY))
        self._take(self.engine.start(self.state))

    def _keep(self, event: object) -> None:
        self.state = apply(self.state, Entry(self.state.number + 1, DAY, event))  # type: ignore[arg-type]
        if isinstance(event, ReadingConfirmed):
            self.confirmed.append(plain(event.value))
        elif isinstance(event, AnswerConfirmed):
            self.confirmed.append(event.answer)
        elif isinstance(event, Proposed):
            self.proposals.append(event)

    def _take(self, decision: Decision) -> None:
        for event in decision.events:
            self._keep(event)
        self.over = isinstance(decision.effects[-1], Stop)

    def hear(self, heard: Heard) -> None:
        self._clock += 5.0
        timed = Heard(heard.words, heard.outcome, start_s=self._clock, end_s=self._clock + 1, reason=heard.reason)
        self._take(self.engine.decide(self.state, HeardInput(timed, 0.0)))

    @property
    def waiting(self) -> Proposed | None:
        """The proposal that waits for a yes."""
        return self.state.proposal.event if self.state.proposal else None


def proposed_value(proposal: Proposed) -> str:
    """What is read back."""
    if proposal.readings:
        return plain(proposal.readings[0]["value"])
    return proposal.answer or ""


def one_reading(
    trial: Trial, recordings: Recordings, visit: OneItem, miss: float, tries: int, rng: random.Random
) -> tuple[str, int]:
    """saved right, saved wrong or not saved; and how many wrong values were read back."""
    wanted = value_of(trial.truth)
    again = [t for t in recordings.of_clip[trial.path] if t is not trial]
    ways = [trial, *rng.sample(again, len(again))][:tries]
    for _ in range(MOST_TURNS):
        proposal = visit.waiting
        if visit.confirmed or visit.over:
            break
        if proposal is not None and proposal.stage != "read_again":
            good = proposed_value(proposal) == wanted
            word = "yes" if good or rng.random() < miss else "no"
            visit.hear(recordings.answer(word, trial.condition, rng))
        elif ways:
            visit.hear(recordings.heard(ways.pop(0)))
        else:
            break
    bad = sum(proposed_value(p) != wanted for p in visit.proposals)
    if not visit.confirmed:
        return "not saved", bad
    return ("saved right" if visit.confirmed[0] == wanted else "saved wrong"), bad


def readings_of(trials: Sequence[Trial], language: Language) -> list[tuple[Trial, str]]:
    """The trials that answer an item of a plan with one value, and the item."""
    found = []
    for trial in trials:
        item = in_a_plan(expectation_named(trial.expect, language))
        if (
            kind_of(trial.truth) == "value"
            and isinstance(trial.truth, Readings | Text)
            and item
            and value_of(trial.truth)
        ):
            found.append((trial, item))
    return found


def measured(
    trials: Sequence[Trial], gates: Gates, misses: Sequence[float], tries: int, seed: int
) -> list[Mapping[str, object]]:
    """For every share of missed read-backs: what was saved."""
    language, job = load_language(), load_job(None)
    recordings = Recordings(gates)
    recordings.add(trials)
    readings = readings_of(trials, language)
    noes, taken_for_yes = recordings.no_as_yes()
    rows: list[Mapping[str, object]] = []
    for miss in misses:
        rng = random.Random(seed)
        counts: Counter[str] = Counter()
        wrong_proposals = 0
        for trial, item in readings:
            visit = OneItem(plan_of(item), job, language)
            found, bad = one_reading(trial, recordings, visit, miss, tries, rng)
            counts[found] += 1
            wrong_proposals += bad
        total = len(readings)
        share, high = wrong_proposals / max(total, 1), wilson(wrong_proposals, total)[1]
        passes = miss + taken_for_yes / max(noes, 1)
        rows.append(
            {
                "missed": miss,
                "readings": total,
                "saved right": counts["saved right"],
                "not saved": counts["not saved"],
                "wrong read back": wrong_proposals,
                "saved wrong": counts["saved wrong"],
                "observed up to": f"{wilson(counts['saved wrong'], total)[1]:.5f}",
                "product": f"{share * passes:.6f}",
                "product up to": f"{high * passes:.6f}",
                "no taken for yes": f"{taken_for_yes} of {noes}",
            }
        )
    return rows


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("opinions", type=Path, nargs="+")
    parser.add_argument("--miss", type=float, nargs="*", default=[0.05, 0.2, 0.5])
    parser.add_argument("--tries", type=int, default=4, help="how often a reading is said")
    parser.add_argument("--gates", type=Path)
    parser.add_argument("--seed", type=int, default=7)
    options = parser.parse_args()
    trials = load_trials(options.opinions)
    rows = measured(trials, load_gates(options.gates), options.miss, options.tries, options.seed)
    for row in rows:
        print("; ".join(f"{name} {value}" for name, value in row.items()))


if __name__ == "__main__":
    main()
