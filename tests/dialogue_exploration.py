"""A small plan in; every state that any inputs lead to, every input in each of them, and every promise broken, out.

States that cannot be told apart by anything that follows are one: the key holds what decides the next events and leaves
out event numbers, how often nothing was heard, whether the microphone is lost, and what only the record keeps.
"""

from __future__ import annotations

import random
import time
from collections import Counter, deque
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, field

from dialogue_story import Story

from handsfree.dialogue.effects import LAST, Stop, Wait
from handsfree.dialogue.engine import Decision, Engine
from handsfree.dialogue.inputs import HeardInput, Input, Silence, SoundWentAway, WaitOver
from handsfree.dialogue.prompts import phase
from handsfree.dialogue.route import View
from handsfree.dialogue.state import State, apply
from handsfree.events import AnswerConfirmed, Entry, Event, ReadAgain, ReadingConfirmed, Voided, WaitEnded
from handsfree.model import Command, Heard, Nothing, Outcome, Text
from handsfree.plans import Job, Plan

CUT = "cut"
"""power lost, then resumed from the journal"""


def heard(outcome: Outcome) -> HeardInput:
    return HeardInput(Heard("some words", outcome, start_s=1.0, end_s=2.0))


COMMANDS: dict[str, Input | str] = {
    **{
        name: heard(Command(name))
        for name in (
            "yes",
            "no",
            "hold",
            "carry_on",
            "back",
            "defer",
            "cancel",
            "finish",
            "repeat",
            "no_reading",
            "note",
        )
    },
    "unsafe": heard(Command("unsafe")),
    "class": heard(Text("at_risk", "choice")),
    "noise": heard(Nothing("noise")),
    "silence": Silence(10.0),
    "wait over": WaitOver(10.0),
    "sound lost": SoundWentAway("unplugged"),
    CUT: CUT,
}
"""what can happen in any plan; readings, answers and changes are the plan's own"""

_TWINS = 0.004
"""share of the states met again that are compared with the first under their key"""

Row = dict[str, Input | str]
Found = tuple[State, Decision]


def key_of(plan: Plan, state: State) -> Hashable:
    """What decides everything that can follow."""
    looped = {item for loop in plan.loops for item in loop.items}
    proposal = state.proposal.event if state.proposal else None
    asked_for = {
        question: tuple(state.values[i].number if i in state.values else 0 for i in items)
        for question, items in [(q.id, q.items) for q in plan.questions]
    }
    return (
        state.item,
        state.item in state.values and state.entered in ("back", "change", "resume"),
        state.held,
        state.wait is not None,
        proposal and (proposal.item, proposal.stage, str(proposal.readings), proposal.answer, proposal.items),
        state.asked and (state.asked.what, state.asked.item if state.asked.what in ("reason", "accept") else None),
        state.question and state.question.id,
        state.unsafe and (state.unsafe.trigger, len(state.unsafe.answers)),
        frozenset((i, v.text, v.kind) for i, v in state.values.items()),
        tuple(sorted(state.values, key=lambda i: state.values[i].number)),
        frozenset(state.past) & _asked_ever(plan),
        (state.deferred, state.offered, state.chunks_done, state.spent, state.refused),
        frozenset((i, r) for i, r in state.rounds.items() if i in looped),
        frozenset(state.accepted),
        frozenset((i, r.result) for i, r in state.rulings.items()),
        frozenset(
            (i, min(len(runs), 2), state.rounds.get(i, 1) in runs) for i, runs in state.outside_in.items() if runs
        ),
        frozenset(q for q, about in state.settled_questions.items() if asked_for.get(q) == about),
        frozenset(i for i, n in state.unsafe_for.items() if i in state.values and n > state.values[i].number),
        frozenset(state.causes),
        state.finished and state.finished.complete,
    )


def _asked_ever(plan: Plan) -> frozenset[str]:
    """Items whose past answers a condition looks at."""
    conditions = [i.when for i in plan.items()] + [c.when for c in plan.chunks] + [loop.until for loop in plan.loops]
    terms = [term for condition in conditions for term in condition.terms]
    return frozenset(key.partition(".")[2] for key, values in terms if "ever" in values)


@dataclass
class Exploration:
    """What was found."""

    states: int = 0
    decisions: int = 0
    exhausted: bool = False
    twins: int = 0
    """pairs of different states under one key, followed one step to see that they go on alike"""
    phases: Counter[str] = field(default_factory=Counter)
    wrong: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0


class Explorer:
    """One plan's states, breadth-first."""

    def __init__(self, plan: Plan, own: Row, job: Job | None = None) -> None:
        self.plan = plan
        self.job = job or Job()
        self.inputs: Row = {**COMMANDS, **own}
        start = Story(plan, self.job, skip_waits=False).begin()
        self.engine: Engine = start.engine
        self.start = start.state
        self.found = Exploration()

    def run(self, most: int) -> Exploration:
        """Every input in every state, until none is new or `most` states are known."""
        began = time.monotonic()
        rng = random.Random(1)
        seen = {key_of(self.plan, self.start): self.start}
        todo = deque([self.start])
        while todo and len(seen) <= most:
            state = todo.popleft()
            self.found.phases[phase(View(self.plan, self.job, state))] += 1
            self._check_interruptions(state)
            for name, given in self.inputs.items():
                after, decision = self.take(state, given)
                self._blame(state, name, self._promises(state, after, name, decision))
                key = key_of(self.plan, after)
                ended = (
                    isinstance(decision.effects[-1], Stop) and after.finished is not None and after.finished.complete
                )
                if key in seen:
                    if rng.random() < _TWINS:
                        self._check_twins(seen[key], after)
                elif not ended:
                    seen[key] = after
                    todo.append(after)
        self.found.states = len(seen)
        self.found.exhausted = not todo
        self.found.seconds = time.monotonic() - began
        return self.found

    def _check_twins(self, one: State, other: State) -> None:
        """Two states with one key must go on alike: else the key leaves out something that matters."""
        self.found.twins += 1
        for name, given in self.inputs.items():
            afters = [self.take(state, given)[0] for state in (one, other)]
            if key_of(self.plan, afters[0]) != key_of(self.plan, afters[1]):
                self._blame(one, name, iter(["states taken for one go on differently"]))

    def take(self, state: State, given: Input | str) -> Found:
        """One input: the state after it, and the decision."""
        self.found.decisions += 1
        decision = self.engine.resume(state) if isinstance(given, str) else self.engine.decide(state, given)
        return self._after(state, decision.events), decision

    @staticmethod
    def _after(state: State, events: Sequence[Event]) -> State:
        for event in events:
            state = apply(state, Entry(state.number + 1, "", event))
        return state

    def _blame(self, state: State, name: str, faults: Iterator[str]) -> None:
        for fault in faults:
            self.found.wrong[f"{phase(View(self.plan, self.job, state))}/{state.item} + {name}: {fault}"] += 1

    # --------------------------------------------------------------------------------------- one decision

    def _promises(self, before: State, after: State, name: str, decision: Decision) -> Iterator[str]:
        """What no input may do in any state."""
        effects = decision.effects
        if [isinstance(e, LAST) for e in effects].count(True) != 1 or not isinstance(effects[-1], LAST):
            yield "not exactly one last effect"
        waits = after.wait is not None and phase(View(self.plan, self.job, after)) == "waiting"
        if isinstance(effects[-1], Wait) != waits and after.finished is None:
            yield "listening does not match the wait"
        gained = {i for i, v in after.values.items() if before.values.get(i) != v}
        if gained and not self._may_save(before, gained, name):
            yield f"{sorted(gained)} saved"
        if before.unsafe is not None and gained:
            yield "a value saved while unsafe"
        if before.unsafe is not None and after.unsafe is None and name != "yes":
            yield "an unsafe situation cleared without a yes"
        if before.finished is not None and after.finished is None and name not in ("yes", "unsafe"):
            yield "an ended visit taken up again without a yes"
        if after.finished is not None and after.finished.complete:
            view = View(self.plan, self.job, after)
            if [i.id for i in self.plan.items() if i.mandatory and view.is_open(i)] or after.unsafe is not None:
                yield "complete with something open"
        yield from self._losses(before, after, decision)
        yield from self._cut_inside(before, after, decision)

    def _may_save(self, before: State, gained: set[str], name: str) -> bool:
        """A yes saves what was read back; an answer that is its own confirmation saves the item asked; a wait ends."""
        if name == "yes":
            proposal = before.proposal
            return gained <= (
                set(proposal.event.items) if proposal and proposal.event.stage != "read_again" else {before.item}
            )
        if name == "wait over":
            return before.wait is not None and gained == {before.wait.item}
        item = self.plan.item(before.item) if before.item and self.plan.has_item(before.item) else None
        alone = (
            item is not None
            and before.item not in before.values
            and item.expect.kind in ("yes_no", "state", "choice")
            and not item.killer
        )
        direct = name in ("no", "yes") or name not in COMMANDS
        return alone and direct and before.proposal is None and gained == {before.item}

    @staticmethod
    def _losses(before: State, after: State, decision: Decision) -> Iterator[str]:
        """A value goes only with an event that says so, and never without a trace."""
        gone = {i for i in before.values if i not in after.values}
        told = {i for e in decision.events if isinstance(e, ReadAgain) for i in e.items}
        told |= {e.item for e in decision.events if isinstance(e, Voided)}
        if gone - told:
            yield f"{sorted(gone - told)} lost"
        if any(before.values[i] not in after.past.get(i, ()) for i in gone):
            yield "a value left no trace"

    def _cut_inside(self, before: State, after: State, decision: Decision) -> Iterator[str]:
        """Cut between any two events of a decision that saves: nothing is doubled, and nothing that was not said stands."""
        events = decision.events
        if not any(isinstance(e, ReadingConfirmed | AnswerConfirmed | WaitEnded) for e in events):
            return
        for count in range(1, len(events)):
            cut, _ = self.take(self._after(before, events[:count]), CUT)
            strange = {
                i for i, v in cut.values.items()
                if v.text not in {s.values[i].text for s in (before, after) if i in s.values}
                and v.text not in {old.text for old in after.past.get(i, ())}
            }  # fmt: skip
            if strange:
                yield f"cut after event {count}: {sorted(strange)} stands"

    # --------------------------------------------------------------------------------------- interruptions

    def _check_interruptions(self, state: State) -> None:
        """Interrupted and carried on, the visit comes back to the same item with the same values: nothing skipped,
        nothing doubled."""
        place = phase(View(self.plan, self.job, state))
        if place not in ("item", "proposal", "waiting"):
            return
        for name, path in _PATHS.items():
            after = state
            for step in path:
                after, _ = self.take(after, COMMANDS[step])
            here = phase(View(self.plan, self.job, after))
            if here == "revisit":
                after, _ = self.take(after, COMMANDS["carry_on"])
            elif name == "back" and after.item != state.item:
                continue  # an item that was left for later is asked now: nothing is to be kept
            self._blame(state, name, self._same(state, after))

    def _same(self, before: State, after: State) -> Iterator[str]:
        if {i: v.text for i, v in before.values.items()} != {i: v.text for i, v in after.values.items()}:
            yield "other values"
        if (before.deferred, before.rounds) != (after.deferred, after.rounds):
            yield "other items left for later, or another round"
        nexts = [View(self.plan, self.job, s).next_item() for s in (before, after)]
        if len({found and found[0].id for found in nexts}) > 1:
            yield "another item comes next"
        if after.proposal is not None:
            yield "a proposal outlived it"


_PATHS: dict[str, tuple[str, ...]] = {
    "hold, carry on": ("hold", "carry_on"),
    "hold, silence, carry on": ("hold", "silence", "carry_on"),
    "cut": (CUT,),
    "cut twice": (CUT, CUT),
    "hold, cut": ("hold", CUT),
    "back": ("back",),
    "finish, no": ("finish", "no"),
}
"""each followed by "carry on" where a value is looked at again, which keeps it"""
