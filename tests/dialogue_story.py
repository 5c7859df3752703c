"""Drives the engine over typed words, keeping the entries in memory: what the stories of the dialogue tests are told
with."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import Any

from handsfree.dialogue.effects import Effect, Listen, Say, Stop, Wait
from handsfree.dialogue.engine import Decision, Engine
from handsfree.dialogue.inputs import HeardInput, Input, Silence, WaitOver
from handsfree.dialogue.route import View
from handsfree.dialogue.state import State, apply, fold
from handsfree.events import Entry, Event, VisitStarted
from handsfree.language import Language, load_language
from handsfree.model import Expectation, Heard
from handsfree.plans import Job, Plan, example_job, load_job, load_plan

DAY = "2026-11-25"


@cache
def language() -> Language:
    return load_language()


@cache
def plan_named(name: str) -> Plan:
    return load_plan(name)


@cache
def the_job() -> Job:
    return load_job(example_job())


@dataclass
class Story:
    """A visit in memory. `hear` types words, `said` is what was spoken since."""

    plan: Plan
    job: Job
    date: str = DAY
    gas: str = ""
    skip_waits: bool = True
    entries: list[Entry] = field(default_factory=list)
    state: State = field(default_factory=State)
    effects: tuple[Effect, ...] = ()
    clock_s: float = 0.0
    transcript: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.engine = Engine(self.plan, self.job, language())

    def begin(self) -> Story:
        start = VisitStarted(
            plan=self.plan.name, plan_sha256="0", job=self.job.as_json(), gas=self.gas or self.job.gas, date=self.date
        )
        self._keep((start,))
        self._take(self.engine.start(self.state))
        return self

    def _keep(self, events: tuple[Event, ...]) -> None:
        for event in events:
            entry = Entry(self.state.number + 1, DAY, event)
            self.entries.append(entry)
            self.state = apply(self.state, entry)

    def _take(self, decision: Decision) -> None:
        self._keep(decision.events)
        self.effects = decision.effects
        self.transcript += [e.text for e in decision.effects if isinstance(e, Say)]
        while self.skip_waits and isinstance(last := self.effects[-1], Wait):
            self.clock_s += last.seconds
            before = self.effects
            self.give(WaitOver(last.seconds))
            self.effects = (*before[:-1], *self.effects)

    def give(self, input: Input) -> Story:
        self._take(self.engine.decide(self.state, input))
        return self

    def engine_view(self) -> View:
        """Plan, job and state as the engine sees them."""
        return View(self.plan, self.job, self.state)

    @property
    def expectation(self) -> Expectation:
        last = self.effects[-1]
        return last.expectation if isinstance(last, Listen | Wait) else Expectation()

    def hear(self, *lines: str, waited_s: float = 0.0) -> Story:
        """Words typed, one utterance each; "..." is a silence."""
        for words in lines:
            if words == "...":
                self.give(Silence(10.0))
                continue
            self.clock_s += 3.0
            outcome = language().understand(words, self.expectation)
            heard = Heard(words, outcome, start_s=self.clock_s, end_s=self.clock_s + 1.0)
            self.give(HeardInput(heard, waited_s))
        return self

    @property
    def said(self) -> str:
        """All that was spoken after the last input."""
        return " ".join(e.text for e in self.effects if isinstance(e, Say))

    @property
    def stopped(self) -> bool:
        return isinstance(self.effects[-1], Stop)

    def events(self, kind: type[Event]) -> list[Any]:
        return [e.event for e in self.entries if isinstance(e.event, kind)]

    def value(self, item: str) -> str | None:
        found = self.state.values.get(item)
        return None if found is None else found.text

    def cut(self) -> Story:
        """Power cut, then resume from the journal alone."""
        self.state = fold(self.plan, self.job, self.entries)
        self._take(self.engine.resume(self.state))
        return self


def story(name: str = "short_commissioning", **changes: object) -> Story:
    """A visit that has begun."""
    return Story(plan_named(name), the_job(), **changes).begin()


SHORT_VISIT: dict[str, tuple[str, ...]] = {
    "boiler_serial": ("quebec hotel two four eight one five", "yes"),
    "plate_gas": ("natural gas", "yes"),
    "analyser_until": ("third of march twenty twenty seven", "yes"),
    "gauge_until": ("fourteenth of june twenty twenty seven", "yes"),
    "flue_sound": ("yes", "yes"),
    "flushed": ("yes",),
    "inhibitor": ("inhibitor in",),
    "vessel_charge": ("nought point seven five bar", "yes"),
    "cold_pressure": ("one point two bar", "yes"),
    "trap_filled": ("trap filled", "yes"),
    "let_by_set": ("gauge set",),
    "let_by_rise": ("zero", "yes"),
    "test_set": ("at test pressure",),
    "tightness_drop": ("nought point five millibar", "yes"),
    "gas_smell": ("no", "yes"),
    "max_rate": ("at maximum rate",),
    "air_inlet_o2": ("twenty point nine", "yes"),
    "co2_max": ("nine point two percent", "yes"),
    "co_max": ("eighty five p p m", "yes"),
    "min_rate": ("at minimum rate",),
    "co2_min": ("eight point eight", "yes"),
    "co_min": ("twenty two", "yes"),
    "meter_start": ("four eight two point three one seven", "yes"),
    "rate_time": ("one hundred and forty two seconds", "yes"),
    "meter_end": ("four eight two point four one seven", "yes"),
    "hot_flow": ("nine point eight", "yes"),
    "cold_temp": ("ten degrees", "yes"),
    "hot_temp": ("forty four degrees", "yes"),
    "case_sealed": ("yes", "yes"),
    "handed_over": ("handed over",),
}
"""What an engineer says, item by item, when everything goes well."""


def play_until(visit: Story, item: str | None, answers: dict[str, tuple[str, ...]] | None = None) -> Story:
    """Answer item after item until `item` is asked (None: until nothing is left to ask)."""
    table = answers or SHORT_VISIT
    for _ in range(200):
        here = visit.state.item
        if not here or here == item:
            return visit
        visit.hear(*table[here])
    raise AssertionError(f"the visit does not come to {item}")
