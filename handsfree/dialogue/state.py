"""Events in, the state of the visit out. Nothing else makes state: replaying the journal gives the live state."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from handsfree.dialogue.values import Pending, Ruling, Unsafe, Value
from handsfree.events import (
    AnswerConfirmed,
    AskClosed,
    Asked,
    CarriedOn,
    CauseFound,
    ChunkCompleted,
    Computed,
    Deferred,
    Entry,
    Event,
    Finished,
    Held,
    ItemEntered,
    Judged,
    Marked,
    NotApplicable,
    NotJudged,
    OutsideAccepted,
    ProposalDropped,
    Proposed,
    Questioned,
    ReadAgain,
    ReadingConfirmed,
    Reopened,
    Resumed,
    RoundsSpent,
    SilenceHeard,
    SoundBack,
    SoundLost,
    UnsafeAnswer,
    UnsafeCleared,
    UnsafeDeclared,
    UtteranceHeard,
    VisitStarted,
    Voided,
    WaitEnded,
    WaitStarted,
    WaitWentOn,
)
from handsfree.plans.job import Job
from handsfree.plans.plan import ABSENT, Plan

__all__ = ["Pending", "Ruling", "State", "Unsafe", "Value", "apply", "fold"]


@dataclass(frozen=True)
class State:
    """The visit so far. Made by `apply` alone; `State()` is a visit that has not begun.

    It has no slots: without them a changed copy is one merge of dictionaries, and every event makes one.
    """

    number: int = 0
    """of the last event"""
    started: VisitStarted | None = None
    item: str | None = None
    """the item on hand"""
    chunk: str | None = None
    entered: str = ""
    """why the item was entered: next, back, change, deferred, again, resume"""
    values: Mapping[str, Value] = field(default_factory=dict)
    past: Mapping[str, tuple[Value, ...]] = field(default_factory=dict)
    """values that no longer stand, oldest first"""
    deferred: frozenset[str] = frozenset()
    """left for later and not answered since"""
    offered: frozenset[str] = frozenset()
    """deferred items that came back at the end of their chunk"""
    left_out: frozenset[str] = frozenset()
    """items that the plan's conditions left out, as told"""
    chunks_done: frozenset[str] = frozenset()
    rounds: Mapping[str, int] = field(default_factory=dict)
    """item -> the run it is in, where it is not the first"""
    spent: frozenset[str] = frozenset()
    """loops that used up their rounds"""
    results: Mapping[str, tuple[int, Computed]] = field(default_factory=dict)
    rulings: Mapping[str, Ruling] = field(default_factory=dict)
    outside_in: Mapping[str, frozenset[int]] = field(default_factory=dict)
    """id -> the runs in which it was outside its limit"""
    accepted: Mapping[str, int] = field(default_factory=dict)
    """id -> number of the event that accepted it outside"""
    refused: frozenset[str] = frozenset()
    """results outside that the engineer would not accept: they stay open"""
    not_judged: Mapping[str, str] = field(default_factory=dict)
    causes: Mapping[str, int] = field(default_factory=dict)
    """cause found -> number of its event"""
    proposal: Pending | None = None
    asked: Asked | None = None
    question: Questioned | None = None
    settled_questions: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    """question id -> numbers of the values that it was answered for"""
    wait: WaitStarted | None = None
    wait_left_s: float = 0.0
    waited_s: float = 0.0
    marks: tuple[Marked, ...] = ()
    held: bool = False
    unsafe: Unsafe | None = None
    unsafe_for: Mapping[str, int] = field(default_factory=dict)
    """what led to an unsafe situation -> number of the event that said so last"""
    unsafe_declared: bool = False
    """it was, at some time in this visit"""
    sound_lost: bool = False
    silences: int = 0
    """in a row"""
    unheard: int = 0
    """utterances in a row that came to nothing or stayed unsure"""
    finished: Finished | None = None

    @property
    def gas(self) -> str:
        return self.started.gas if self.started else "ng"

    @property
    def date(self) -> str:
        """ISO date on site; empty before the start."""
        return self.started.date if self.started else ""

    def last_value(self) -> Value | None:
        """The value confirmed last that still stands (a timed wait is none)."""
        values = [v for v in self.values.values() if v.kind != "wait"]
        return max(values, key=lambda v: v.number, default=None)

    def verdict(self, id: str) -> str:
        """within, outside, too_close, or empty."""
        ruling = self.rulings.get(id)
        return ruling.result if ruling else ""


def fold(plan: Plan, job: Job, entries: Iterable[Entry]) -> State:
    """The state after these entries. Plan and job are those of the visit; the fold itself needs neither."""
    state = State()
    for entry in entries:
        state = apply(state, entry)
    return state


def apply(state: State, entry: Entry) -> State:
    """The state after one more entry."""
    return follow(state, entry.event, entry.number)


def follow(state: State, event: Event, number: int) -> State:
    """The state after an event that has, or will have, this number in the journal."""
    change = _CHANGES.get(type(event))
    if change is None:
        return replace(state, number=number)
    after = change(state, event, number)
    if after is state:
        return replace(state, number=number)
    after.__dict__["number"] = number  # nobody else has seen this one yet
    return after


def replace(state: State, **changes: Any) -> State:
    """As `dataclasses.replace`, which looks every field up anew: replay spends most of its time here.

    The fields are merged outside the new state and put into it whole: filling them in one by one takes six times as long.
    """
    after = object.__new__(State)
    object.__setattr__(after, "__dict__", {**state.__dict__, **changes})
    return after


def _without(row: Mapping[str, Any], *keys: str) -> dict[str, Any]:
    return {k: v for k, v in row.items() if k not in keys}


def _retire(state: State, items: Iterable[str]) -> State:
    """The values of the items no longer stand; they stay as history."""
    gone = [i for i in items if i in state.values]
    if not gone:
        return state
    past = dict(state.past)
    for item in gone:
        past[item] = (*past.get(item, ()), state.values[item])
    return replace(state, values=_without(state.values, *gone), past=past)


def _keep(state: State, value: Value) -> State:
    state = _retire(state, [value.item])
    return replace(
        state,
        values={**state.values, value.item: value},
        deferred=state.deferred - {value.item},
        rulings=_without(state.rulings, value.item) if value.absent else state.rulings,
        accepted=_without(state.accepted, value.item),
        not_judged=_without(state.not_judged, value.item),
        proposal=None,
        marks=(),
        silences=0,
        unheard=0,
    )


def _started(state: State, event: VisitStarted, number: int) -> State:
    return replace(state, started=event)


def _resumed(state: State, event: Resumed, number: int) -> State:
    return replace(
        state,
        held=False,
        wait=None,
        wait_left_s=0.0,
        waited_s=0.0,
        marks=(),
        asked=None,
        sound_lost=False,
        silences=0,
        unheard=0,
    )


def _reopened(state: State, event: Reopened, number: int) -> State:
    return replace(
        state,
        finished=None,
        asked=None,
        question=None,
        held=False,
        wait=None,
        deferred=frozenset(),
        offered=frozenset(),
        refused=frozenset(),
        chunks_done=state.chunks_done - set(event.chunks),
        silences=0,
        unheard=0,
    )


def _entered(state: State, event: ItemEntered, number: int) -> State:
    back = event.why == "deferred"
    return replace(
        state,
        item=event.item,
        chunk=event.chunk,
        entered=event.why,
        offered=state.offered | {event.item} if back else state.offered,
        deferred=state.deferred - {event.item},
        marks=(),
        wait=None,
        silences=0,
        unheard=0,
    )


def _proposed(state: State, event: Proposed, number: int) -> State:
    return replace(state, proposal=Pending(number, event), silences=0, unheard=0)


def _dropped(state: State, event: ProposalDropped, number: int) -> State:
    return replace(state, proposal=None, silences=0)


def _reading(state: State, event: ReadingConfirmed, number: int) -> State:
    return _keep(
        state,
        Value(
            number, event.item, event.value, "quantity", event.quantity, event.qualifier, event.unit, "", event.round
        ),
    )


def _answer(state: State, event: AnswerConfirmed, number: int) -> State:
    kind = "absent" if event.answer in ABSENT and event.answer_kind == "absent" else event.answer_kind
    return _keep(state, Value(number, event.item, event.answer, kind, said_as=event.said_as, round=event.round))


def _deferred(state: State, event: Deferred, number: int) -> State:
    return replace(state, deferred=state.deferred | {event.item}, proposal=None)


def _not_applicable(state: State, event: NotApplicable, number: int) -> State:
    return replace(state, left_out=state.left_out | {event.item})


def _chunk_completed(state: State, event: ChunkCompleted, number: int) -> State:
    return replace(state, chunks_done=state.chunks_done | {event.chunk})


def _read_again(state: State, event: ReadAgain, number: int) -> State:
    state = _retire(state, event.items)
    return replace(
        state,
        rounds={**state.rounds, **dict.fromkeys(event.items, event.round)},
        deferred=state.deferred - set(event.items),
        offered=state.offered - set(event.items),
        rulings=_without(state.rulings, *event.items),
        refused=state.refused - {event.because},
        accepted=_without(state.accepted, *event.items, event.because),
    )


def _voided(state: State, event: Voided, number: int) -> State:
    value = state.values.get(event.item)
    if value is not None and value.number == event.event:
        return replace(_retire(state, [event.item]), rulings=_without(state.rulings, event.item))
    if state.causes.get(event.item) == event.event:
        return replace(state, causes=_without(state.causes, event.item))
    found = state.results.get(event.item)
    if found is not None and found[0] == event.event:
        return replace(
            state,
            results=_without(state.results, event.item),
            rulings=_without(state.rulings, event.item),
            accepted=_without(state.accepted, event.item),
        )
    return state


def _computed(state: State, event: Computed, number: int) -> State:
    return replace(state, results={**state.results, event.item: (number, event)})


def _judged(state: State, event: Judged, number: int) -> State:
    outside = state.outside_in.get(event.item, frozenset())
    outside = outside | {event.round} if event.result == "outside" else outside - {event.round}
    return replace(
        state,
        rulings={**state.rulings, event.item: Ruling(number, event.result, event.value, event.words, event.limit)},
        refused=state.refused - {event.item},
        outside_in={**state.outside_in, event.item: outside},
        not_judged=_without(state.not_judged, event.item),
    )


def _not_judged(state: State, event: NotJudged, number: int) -> State:
    return replace(
        state,
        not_judged={**state.not_judged, event.item: event.because},
        rulings=_without(state.rulings, event.item),
    )


def _accepted(state: State, event: OutsideAccepted, number: int) -> State:
    return replace(state, accepted={**state.accepted, event.item: number})


def _questioned(state: State, event: Questioned, number: int) -> State:
    if not event.answer:
        return replace(state, question=event)
    about = tuple(state.values[i].number if i in state.values else 0 for i in event.items)
    return replace(state, question=None, settled_questions={**state.settled_questions, event.id: about})


def _wait_started(state: State, event: WaitStarted, number: int) -> State:
    return replace(state, wait=event, wait_left_s=event.seconds, waited_s=0.0)


def _wait_went_on(state: State, event: WaitWentOn, number: int) -> State:
    waited = min(max(event.waited_s, 0.0), state.wait_left_s)
    return replace(state, wait_left_s=state.wait_left_s - waited, waited_s=state.waited_s + waited)


def _wait_ended(state: State, event: WaitEnded, number: int) -> State:
    state = replace(state, wait=None, wait_left_s=0.0, waited_s=0.0)
    if event.cut_short:
        return state
    return _keep(
        state, Value(number, event.item, f"{event.seconds:g}", "wait", unit="s", round=state.rounds.get(event.item, 1))
    )


def _marked(state: State, event: Marked, number: int) -> State:
    return replace(state, marks=(*state.marks, event))


def _unsafe(state: State, event: UnsafeDeclared, number: int) -> State:
    return replace(
        state,
        unsafe=Unsafe(event.trigger),
        unsafe_declared=True,
        unsafe_for={**state.unsafe_for, event.trigger: number},
        asked=None,
        question=None,
        held=False,
        marks=(),
        silences=0,
    )


def _unsafe_answer(state: State, event: UnsafeAnswer, number: int) -> State:
    if state.unsafe is None:
        return state
    answers = (*state.unsafe.answers, (event.question, event.answer))
    return replace(state, unsafe=Unsafe(state.unsafe.trigger, answers), silences=0)


def _ask_closed(state: State, event: AskClosed, number: int) -> State:
    refused = state.refused
    if event.what == "accept" and event.answer == "no" and state.asked and state.asked.item:
        refused = refused | {state.asked.item}
    return replace(state, asked=None, refused=refused)


def _heard(state: State, event: UtteranceHeard, number: int) -> State:
    lost = event.outcome.get("outcome") in ("nothing", "unsure")
    return replace(state, silences=0, unheard=state.unheard + 1 if lost else 0)


_CHANGES: dict[type[Event], Callable[[State, Any, int], State]] = {
    VisitStarted: _started,
    Resumed: _resumed,
    Reopened: _reopened,
    ItemEntered: _entered,
    Proposed: _proposed,
    ProposalDropped: _dropped,
    ReadingConfirmed: _reading,
    AnswerConfirmed: _answer,
    Deferred: _deferred,
    NotApplicable: _not_applicable,
    ChunkCompleted: _chunk_completed,
    ReadAgain: _read_again,
    RoundsSpent: lambda state, event, number: replace(state, spent=state.spent | {event.loop}),
    Voided: _voided,
    Computed: _computed,
    Judged: _judged,
    NotJudged: _not_judged,
    CauseFound: lambda state, event, number: replace(state, causes={**state.causes, event.cause: number}),
    OutsideAccepted: _accepted,
    Questioned: _questioned,
    WaitStarted: _wait_started,
    WaitWentOn: _wait_went_on,
    WaitEnded: _wait_ended,
    Marked: _marked,
    Held: lambda state, event, number: replace(state, held=True, silences=0),
    CarriedOn: lambda state, event, number: replace(state, held=False, silences=0),
    UnsafeDeclared: _unsafe,
    UnsafeAnswer: _unsafe_answer,
    UnsafeCleared: lambda state, event, number: replace(state, unsafe=None),
    Asked: lambda state, event, number: replace(state, asked=event, silences=0),
    AskClosed: _ask_closed,
    SilenceHeard: lambda state, event, number: replace(state, silences=state.silences + 1),
    UtteranceHeard: _heard,
    SoundLost: lambda state, event, number: replace(state, sound_lost=True),
    SoundBack: lambda state, event, number: replace(state, sound_lost=False),
    Finished: lambda state, event, number: replace(state, finished=event),
}
