"""A simulated engineer who says right values, wrong values, commands, nothing and nonsense at random, and a watch over every event."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from decimal import Decimal

from dialogue_story import DAY, language

from handsfree.dialogue.effects import LAST, Listen, Stop, Wait
from handsfree.dialogue.engine import Decision, Engine
from handsfree.dialogue.inputs import HeardInput, Input, Silence, SoundCameBack, SoundWentAway, WaitOver
from handsfree.dialogue.prompts import phase
from handsfree.dialogue.route import View
from handsfree.dialogue.state import State, apply
from handsfree.events import (
    AnswerConfirmed,
    Entry,
    Event,
    Finished,
    Proposed,
    ReadingConfirmed,
    Said,
    UnsafeCleared,
    UtteranceHeard,
    VisitStarted,
)
from handsfree.model import Command, Heard, Nothing, Outcome, Reading, Readings, Text, Unsure
from handsfree.plans import Job, Plan
from handsfree.plans.plan import Item

COMMANDS = (
    "repeat", "back", "hold", "carry_on", "defer", "where", "why", "help", "cancel", "change", "mark", "note", "louder",
    "quieter", "slower", "faster", "finish", "no_reading", "not_fitted", "no_access", "smell_of_gas", "unsafe", "yes", "no",
)  # fmt: skip


@dataclass
class Watch:
    """Looks at every event as it comes and keeps what must never happen."""

    plan: Plan
    wrong: list[str] = field(default_factory=list)
    read_back: int = 0
    saved: int = 0
    _spoken: bool = False
    _open: Proposed | None = None
    _yes: bool = False
    _outcome: dict[str, object] = field(default_factory=dict)

    def see(self, event: Event) -> None:
        match event:
            case UtteranceHeard():
                self._outcome = dict(event.outcome)
                self._yes = self._outcome.get("command") == "yes" or self._outcome.get("text") == "yes"
            case Proposed():
                self._open, self._spoken = event, False
            case Said() if self._open is not None and event.text == self._open.read_back:
                self._spoken = True
                self.read_back += 1
            case ReadingConfirmed():
                self.saved += 1
                self._check_reading(event)
            case AnswerConfirmed():
                self.saved += 1
                self._check_answer(event)
            case UnsafeCleared() if not self._yes:
                self.wrong.append("an unsafe situation was cleared without a yes")
            case _:
                pass

    def _check_reading(self, event: ReadingConfirmed) -> None:
        proposal = self._open
        if proposal is None or not self._spoken or not self._yes or proposal.stage == "read_again":
            self.wrong.append(f"{event.item} = {event.value} was saved without a yes after its read-back")
            return
        values = {str(r["value"]) for r in proposal.readings}
        if event.value not in values or event.item not in proposal.items:
            self.wrong.append(f"{event.item} = {event.value} is not what was read back")

    def _check_answer(self, event: AnswerConfirmed) -> None:
        item = self.plan.item(event.item)
        if event.answer_kind == "text":
            return
        if event.answer_kind in ("state", "yes_no") and not item.killer:
            good = item.expect.good
            if not good or event.answer in good:
                own = {"done": ("yes", "done"), "yes": ("yes",), "no": ("no",)}[event.answer]
                if self._outcome.get("command") in own or self._outcome.get("text") in own:
                    return
        proposal = self._open
        if proposal is None or not self._spoken or not self._yes or proposal.answer != event.answer:
            self.wrong.append(f"{event.item} = {event.answer} was saved without a yes after its read-back")


@dataclass
class Simulation:
    """One visit by a simulated engineer."""

    plan: Plan
    job: Job
    rng: random.Random
    care: float = 0.6
    """share of sensible replies"""
    entries: list[Entry] = field(default_factory=list)
    state: State = field(default_factory=State)
    replayed: State = field(default_factory=State)
    steps: int = 0
    clock_s: float = 0.0

    def __post_init__(self) -> None:
        self.engine = Engine(self.plan, self.job, language())
        self.watch = Watch(self.plan)
        self.measured = [i for i in self.plan.items() if i.expect.kind == "quantity"]

    def run(self, most: int = 600, cuts: float = 0.01) -> Simulation:
        self._keep((VisitStarted(plan=self.plan.name, plan_sha256="0", gas=self.job.gas, date=DAY),))
        decision = self.engine.start(self.state)
        while self.steps < most:
            self.steps += 1
            self._keep(decision.events)
            last = self._last(decision)
            if isinstance(last, Stop):
                self._check_end(last)
                if last.complete or self.rng.random() > 0.3:
                    break
                decision = self.engine.resume(self.state)  # ended with something open: take it up again
                continue
            if self.rng.random() < cuts:
                decision = self.engine.resume(self._replay())
                continue
            decision = self.engine.decide(self.state, self._input(last))
        self._replay()
        return self

    def _replay(self) -> State:
        """The state by the entries alone, compared with the live one.

        A fold of them all, done in stretches: what was replayed up to the last cut is not replayed again.
        """
        for entry in self.entries[self.replayed.number :]:
            self.replayed = apply(self.replayed, entry)
        if self.replayed != self.state:
            self.watch.wrong.append("replay of the events is not the live state")
        return self.replayed

    def _keep(self, events: tuple[Event, ...]) -> None:
        for event in events:
            entry = Entry(self.state.number + 1, DAY, event)
            self.entries.append(entry)
            self.state = apply(self.state, entry)
            self.watch.see(event)

    def _last(self, decision: Decision) -> Listen | Wait | Stop:
        enders = [e for e in decision.effects if isinstance(e, LAST)]
        if len(enders) != 1 or decision.effects[-1] is not enders[0]:
            self.watch.wrong.append("a decision did not end in exactly one of Listen, Wait, Stop")
        return enders[-1]

    def _check_end(self, last: Stop) -> None:
        finished = self.entries[-1].event if isinstance(self.entries[-1].event, Finished) else self.state.finished
        view = View(self.plan, self.job, self.state)
        open_ones = [
            i.id for i in self.plan.items() if i.mandatory and view.applies(i) and i.id not in self.state.values
        ]
        assert finished is not None
        if finished.complete != last.complete or (finished.complete and (open_ones or self.state.unsafe)):
            self.watch.wrong.append(f"complete with {open_ones} open")

    def _input(self, last: Listen | Wait) -> Input:
        chance = self.rng.random()
        if isinstance(last, Wait) and chance < 0.8:
            return WaitOver(last.seconds)
        if chance < 0.05:
            return Silence(10.0)
        if chance < 0.06:
            return SoundWentAway("unplugged")
        if chance < 0.07:
            return SoundCameBack()
        self.clock_s += self.rng.uniform(1.0, 60.0)
        outcome = self._sensible() if self.rng.random() < self.care else self._anything()
        words = "some words" if self.rng.random() < 0.9 else ""
        return HeardInput(Heard(words, outcome, start_s=self.clock_s, end_s=self.clock_s + 1), self.rng.uniform(0, 90))

    def _sensible(self) -> Outcome:
        place = phase(View(self.plan, self.job, self.state))
        asked = self.state.asked.what if self.state.asked else ""
        if asked == "finish" and self.rng.random() < 0.7:
            return Command("no")
        if place in ("proposal", "asked", "question", "unsafe"):
            return Command("yes") if self.rng.random() < 0.85 else Command("no")
        if place in ("held", "closing"):
            return Command("carry_on" if self.rng.random() < 0.7 else "finish")
        item = self.plan.item(self.state.item) if self.state.item else None
        if item is None or place == "revisit":
            return Command("yes")
        return self._answer(item)

    def _answer(self, item: Item) -> Outcome:
        expect = item.expect
        match expect.kind:
            case "quantity":
                return Readings((self._reading(item),))
            case "number":
                return Readings((Reading(Decimal(self.rng.randint(0, 99))),))
            case "yes_no":
                usual = self.rng.random() < 0.93
                good = expect.good[0] if expect.good else "yes"
                return Command(good if usual else ("no" if good == "yes" else "yes"))
            case "choice" | "state":
                return Text(self.rng.choice(sorted(expect.phrases)), "choice")
            case "date":
                return Text(self.rng.choice(["2027-03-03", "2027-03-03", "2027-03-03", "2025-01-01"]), "date")
            case "digits" | "letters" | "serial" | "time":
                return Text(self.rng.choice(["QH24815", "482", "14:30"]), expect.kind)
            case _:
                return Nothing("talk")

    def _reading(self, item: Item) -> Reading:
        quantity = language().quantities[item.expect.quantity or ""]
        low, high = quantity.typical_low, quantity.typical_high
        if self.rng.random() < 0.12:
            low, high = quantity.hard_low, quantity.hard_high
        low = Decimal(0) if low is None else low
        high = low + 1 if high is None else high
        places = quantity.decimals or 0
        value = (low + (high - low) * Decimal(str(round(self.rng.random(), 4)))).quantize(Decimal(1).scaleb(-places))
        return Reading(value, item.expect.quantity, quantity.unit, item.expect.qualifier)

    def _anything(self) -> Outcome:
        items = self.measured
        if not items:
            return Command(self.rng.choice(COMMANDS[:15]))
        pick = self.rng.random()
        if pick < 0.45:
            command = self.rng.choice(COMMANDS)
            if command in ("smell_of_gas", "unsafe", "finish") and self.rng.random() < 0.8:
                command = "repeat"
            target = self.rng.choice(self.plan.items()).say if command in ("change", "why", "where") else None
            readings = (
                (self._reading(self.rng.choice(items)),)
                if command in ("no", "yes", "change") and self.rng.random() < 0.3
                else ()
            )
            return Command(command, readings, target)
        if pick < 0.65:
            return Readings(tuple(self._reading(self.rng.choice(items)) for _ in range(self.rng.randint(1, 2))))
        if pick < 0.75:
            return Unsure((Readings((self._reading(self.rng.choice(items)),)), Command("no")), "two meanings fit")
        if pick < 0.85:
            return self._answer(self.rng.choice(self.plan.items()))
        return Nothing("noise")
