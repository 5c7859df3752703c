"""Entries of a journal in, the record of the visit out: one pass over the events, nothing guessed.

What the events do not say is left open: a verdict goes only to the value that it judged, an item without an answer
stays unanswered, and a later value for the same item and round puts the earlier one into the history, in sight.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from handsfree.dialogue.route import chosen_result
from handsfree.events import (
    AnswerConfirmed,
    CauseFound,
    Computed,
    Deferred,
    Entry,
    Finished,
    ItemEntered,
    Judged,
    NotApplicable,
    NoteTaken,
    NotJudged,
    OutsideAccepted,
    PhotoKept,
    ProposalDropped,
    Proposed,
    Questioned,
    ReadAgain,
    ReadingConfirmed,
    Reopened,
    Resumed,
    SignedOff,
    UnsafeAnswer,
    UnsafeCleared,
    UnsafeDeclared,
    VisitStarted,
    Voided,
    WaitEnded,
)
from handsfree.plans.plan import Plan
from handsfree.record.folder import JOURNAL
from handsfree.record.journal import JournalReading, first_hash
from handsfree.record.naming import Names, unsafe_question
from handsfree.record.remarks import remarks_on
from handsfree.record.turns import turn_of
from handsfree.record.visit import (
    ABSENT,
    Cause,
    ChunkRecord,
    Correction,
    EarlierEnd,
    ItemRecord,
    ItemState,
    Judgement,
    Note,
    Photo,
    Query,
    ResultRecord,
    ResultValue,
    Signature,
    Turn,
    UnsafeRecord,
    Value,
    VisitRecord,
)


def gather(path: Path, reading: JournalReading, plan: Plan | None, remarks: tuple[str, ...] = ()) -> VisitRecord:
    """The record of a visit from its entries; `plan` gives names and order, and may be missing."""
    found = _Gathering(plan, Names(plan))
    for entry in reading.entries:
        found.take(entry)
    started = found.started or VisitStarted(plan="", plan_sha256="")
    title = plan.title if plan else found.name(started.plan)
    return VisitRecord(
        path=path,
        plan_name=started.plan,
        title=title,
        gas=started.gas,
        date=started.date or (reading.entries[0].time[:10] if reading.entries else ""),
        program=started.program,
        source=started.source,
        job=started.job,
        began=reading.entries[0].time if reading.entries else "",
        ended=reading.entries[-1].time if reading.entries else "",
        events=len(reading.entries),
        ending=reading.ending,
        first_hash=first_hash(path / JOURNAL),
        last_hash=reading.last_hash,
        chunks=found.chunk_records(),
        results=found.result_records(),
        left_out=found.left_out(),
        unsafe=tuple(found.unsafe),
        corrections=tuple(found.corrections()),
        notes=tuple(found.notes),
        photos=tuple(found.photos),
        queries=tuple(found.queries),
        causes=tuple(found.causes),
        conversation=tuple(found.turns),
        finished=found.finished is not None,
        complete=found.complete(),
        earlier_ends=tuple(found.earlier_ends),
        signatures=tuple(found.signatures),
        changed_after_signing=found.changed_after_signing,
        remarks=(*remarks, *_on_waits(found.waited), *remarks_on(path, reading, started)),
    )


WAITS_SKIPPED = "waits skipped"
"""how the name of a source ends whose timed waits end at once (recordings, words from a pipe)"""
_NOT_WAITED = "not waited for"


def _how_waited(event: WaitEnded, *, skipped: bool) -> str:
    if skipped:
        return f"{_NOT_WAITED} ({event.seconds:.0f} s skipped)"
    return f"waited {event.seconds:.0f} s{', cut short' if event.cut_short else ''}"


def _on_waits(waited: Mapping[str, str]) -> tuple[str, ...]:
    if any(how.startswith(_NOT_WAITED) for how in waited.values()):
        return (
            "Timed waits were skipped: the words came from recordings or a pipe. What rests on a wait proves nothing.",
        )
    return ()


@dataclass(slots=True)
class _Gathering:
    """What the events amount to so far."""

    plan: Plan | None
    names: Names
    started: VisitStarted | None = None
    finished: Finished | None = None
    order: dict[str, str] = field(default_factory=dict)
    """item -> chunk, as entered"""
    values: dict[int, Value] = field(default_factory=dict)
    """by event number"""
    results: dict[int, ResultValue] = field(default_factory=dict)
    unclaimed: dict[str, tuple[Judgement, int]] = field(default_factory=dict)
    """item -> a judgement of a value that is not confirmed yet, and its round"""
    accepting: dict[str, OutsideAccepted] = field(default_factory=dict)
    proposed: set[str] = field(default_factory=set)
    not_judged: dict[str, str] = field(default_factory=dict)
    rounds: dict[str, int] = field(default_factory=dict)
    """item -> the run it is in"""
    waited: dict[str, str] = field(default_factory=dict)
    waits_skipped: bool = False
    """the run on hand takes its words from recordings or a pipe, and its waits end at once"""
    causes: list[Cause] = field(default_factory=list)
    deferred: dict[str, str] = field(default_factory=dict)
    not_applicable: dict[str, str] = field(default_factory=dict)
    still_open: tuple[str, ...] = ()
    unsafe: list[UnsafeRecord] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    photos: list[Photo] = field(default_factory=list)
    queries: list[Query] = field(default_factory=list)
    turns: list[Turn] = field(default_factory=list)
    ended_at: tuple[int, str] = (0, "")
    """number and time of the last end"""
    earlier_ends: list[EarlierEnd] = field(default_factory=list)
    signatures: list[Signature] = field(default_factory=list)
    changed_after_signing: bool = False

    def name(self, id: str | None) -> str:
        """How an item or result is spoken of."""
        return self.names.name(id)

    # ------------------------------------------------------------------------------------- one event at a time

    def take(self, entry: Entry) -> None:
        """Adds one event."""
        event = entry.event
        match event:
            case VisitStarted():
                self.started = self.started or event
                self.waits_skipped = event.source.endswith(WAITS_SKIPPED)
            case Resumed():
                self.waits_skipped = event.reason.endswith(WAITS_SKIPPED)
            case ItemEntered():
                if event.item:
                    self.order.setdefault(event.item, event.chunk)
                self.finished = None
            case WaitEnded():
                self.waited[event.item] = _how_waited(event, skipped=self.waits_skipped)
            case Deferred():
                self.deferred[event.item] = event.reason
            case NotApplicable():
                self.not_applicable[event.item] = event.because
            case Proposed():
                self.proposed.add(event.item)
            case ProposalDropped():
                self.proposed.discard(event.item)
                self.unclaimed.pop(event.item, None)
                self.accepting.pop(event.item, None)
            case ReadingConfirmed() | AnswerConfirmed():
                self._confirm(entry, event)
            case Computed():
                self._compute(entry, event)
            case Judged():
                self.not_judged.pop(event.item, None)
                self._judge(entry, event)
            case NotJudged():
                self.not_judged[event.item] = event.because
            case ReadAgain():
                self.rounds.update(dict.fromkeys(event.items, event.round))
            case OutsideAccepted():
                self._accept(event)
            case Voided():
                self._void(entry, event)
            case _:
                self._take_rest(entry)
        turn = turn_of(entry, self.names)
        if turn is not None:
            self.turns.append(turn)

    def _take_rest(self, entry: Entry) -> None:
        event = entry.event
        match event:
            case Finished():
                self.finished = event
                self.still_open = event.open_items
                self.ended_at = entry.number, entry.time
            case Reopened():
                self._reopen(entry, event)
            case SignedOff():
                self.signatures.append(Signature(entry.number, entry.time, event.name, event.statement))
                self.changed_after_signing = False
            case CauseFound():
                self.causes.append(Cause(entry.number, entry.time, event.words, event.action))
            case NoteTaken():
                self.notes.append(
                    Note(entry.number, entry.time, self.name(event.item), event.words, event.clip, event.checked)
                )
            case PhotoKept():
                label = self.name(event.item)
                self.photos.append(
                    Photo(entry.number, entry.time, event.item, label, event.file, event.words, event.checked)
                )
                self.changed_after_signing = self.changed_after_signing or bool(self.signatures)
            case Questioned():
                same = [q for q in self.queries if event.id and q.id == event.id and not q.answer]
                self.queries = [q for q in self.queries if q not in same]
                self.queries.append(Query(entry.number, entry.time, event.id, event.question, event.answer))
            case UnsafeDeclared():
                where, why = self.name(event.item), self.names.trigger(event.trigger)
                found = UnsafeRecord(
                    entry.number, entry.time, event.item, where, why, event.trigger, event.words, event.clip
                )
                self.unsafe.append(found)
            case UnsafeAnswer() if self.unsafe:
                said = event.answer.replace("_", " ")
                answer = (unsafe_question(event.question), said, event.words, event.clip)
                self.unsafe[-1] = replace(self.unsafe[-1], answers=(*self.unsafe[-1].answers, answer))
            case UnsafeCleared() if self.unsafe:
                self.unsafe[-1] = replace(
                    self.unsafe[-1], cleared_at=entry.time, cleared_words=event.words, cleared_clip=event.clip
                )

    def _reopen(self, entry: Entry, event: Reopened) -> None:
        self.finished = None
        names = tuple(self.name(id) for id in event.open_items)
        self.earlier_ends.append(EarlierEnd(self.ended_at[0], self.ended_at[1], names, entry.time))

    def _confirm(self, entry: Entry, event: ReadingConfirmed | AnswerConfirmed) -> None:
        self.order.setdefault(event.item, "")
        value = self._value(entry, event)
        for number, old in self.values.items():
            if number == event.replaces or (old.ended_by is None and _same_place(old, value)):
                why = event.reason or "read again"
                self.values[number] = replace(
                    old, ended_by=old.ended_by or entry.number, ended_why=old.ended_why or why
                )
        claimed = self.unclaimed.get(event.item)
        if claimed and claimed[1] == value.round and _same_number(claimed[0].value, value.value):
            value = replace(value, judgement=claimed[0])
            del self.unclaimed[event.item]
        if (accepted := self.accepting.pop(event.item, None)) is not None:
            value = replace(value, accepted=accepted.words or "accepted", accepted_clip=accepted.clip)
        self.values[entry.number] = value
        self.proposed.discard(event.item)
        self.deferred.pop(event.item, None)
        self.not_applicable.pop(event.item, None)
        self.changed_after_signing = self.changed_after_signing or bool(self.signatures)

    def _value(self, entry: Entry, event: ReadingConfirmed | AnswerConfirmed) -> Value:
        common: dict[str, Any] = {
            "number": entry.number, "time": entry.time, "item": event.item, "label": self.name(event.item),
            "words": event.words, "clip": event.clip, "how": event.how, "yes_clip": event.yes_clip,
            "round": event.round, "replaces": event.replaces, "reason": event.reason,
        }  # fmt: skip
        if isinstance(event, AnswerConfirmed):
            printed = event.said_as or event.answer.replace("_", " ")
            if event.answer_kind == "absent":
                printed = ABSENT.get(event.answer, printed) + (f" ({event.said_as})" if event.said_as else "")
            unwelcome = self.names.unwelcome(event.item, event.answer)
            return Value(**common, value=event.answer, printed=printed, kind=event.answer_kind, unwelcome=unwelcome)
        return Value(
            **common,
            value=event.value,
            unit=event.unit,
            quantity=event.quantity,
            qualifier=event.qualifier,
            spoken_value=event.spoken_value,
            spoken_unit=event.spoken_unit,
        )

    def _compute(self, entry: Entry, event: Computed) -> None:
        for number, old in self.results.items():
            if old.item == event.item and old.ended_by is None:
                self.results[number] = replace(old, ended_by=entry.number, ended_why="worked out again")
        rows = tuple(event.results)
        planned = self.plan.result(event.item) if self.plan else None
        counts = chosen_result(rows, planned.take, planned.basis) if planned else None
        rows = tuple(sorted(rows, key=lambda row: counts is not None and dict(row) != counts))
        self.results[entry.number] = ResultValue(
            entry.number, entry.time, event.item, self.name(event.item), event.computation, event.given, rows,
            event.formula, event.source, event.sure, event.from_items,
        )  # fmt: skip

    def _judge(self, entry: Entry, event: Judged) -> None:
        judgement = Judgement(entry.number, event.result, event.value, event.unit, event.words, event.limit)
        for number, result in self.results.items():
            if result.item == event.item and result.ended_by is None:
                self.results[number] = replace(result, judgement=judgement)
                return
        for number, value in self.values.items():
            judged = value.item == event.item and value.round == event.round and value.ended_by is None
            if judged and _same_number(value.value, event.value) and event.item not in self.proposed:
                self.values[number] = replace(value, judgement=judgement)
                return
        self.unclaimed[event.item] = (judgement, event.round)

    def _accept(self, event: OutsideAccepted) -> None:
        words = event.words or "accepted"
        for number, result in self.results.items():
            if result.item == event.item and result.ended_by is None:
                self.results[number] = replace(result, accepted=words, accepted_clip=event.clip)
                return
        standing = [v for v in self.values.values() if v.item == event.item and v.ended_by is None]
        judged = [v for v in standing if v.judgement is not None and v.judgement.result != "within"]
        if judged and event.item not in self.proposed:
            self.values[judged[-1].number] = replace(judged[-1], accepted=words, accepted_clip=event.clip)
        else:
            self.accepting[event.item] = event

    def _void(self, entry: Entry, event: Voided) -> None:
        self.causes = [c for c in self.causes if c.number != event.event]
        if (value := self.values.get(event.event)) is not None:
            self.values[event.event] = replace(
                value, ended_by=entry.number, ended_why=self.names.because(event.because)
            )
        if (result := self.results.get(event.event)) is not None:
            self.results[event.event] = replace(
                result, ended_by=entry.number, ended_why=self.names.because(event.because)
            )

    # ------------------------------------------------------------------------------------------- in the end

    def complete(self) -> bool:
        """The visit was ended complete, and no amendment has opened an item since."""
        items = [i for c in self.chunk_records() for i in c.items]
        return self.finished is not None and self.finished.complete and all(i.state != "open" for i in items)

    def chunk_records(self) -> tuple[ChunkRecord, ...]:
        """The items by chunk: the plan's order first, then what no plan knows in the order it came."""
        items: dict[str, list[ItemRecord]] = {}
        titles: dict[str, str] = {}
        known = set()
        for chunk in self.plan.chunks if self.plan else ():
            titles[chunk.id] = chunk.title
            items[chunk.id] = [self._item(i.id, chunk.id, i.mandatory) for i in chunk.items]
            known |= {i.id for i in chunk.items}
        for item, chunk_id in self.order.items():
            if item not in known:
                titles.setdefault(chunk_id, self.name(chunk_id) or "other values")
                items.setdefault(chunk_id, []).append(self._item(item, chunk_id, self.plan is None))
        return tuple(ChunkRecord(id, titles[id], tuple(rows)) for id, rows in items.items())

    def _item(self, id: str, chunk: str, mandatory: bool) -> ItemRecord:
        mine = [v for v in self.values.values() if v.item == id]
        standing = tuple(v for v in mine if v.ended_by is None)
        state: ItemState = "not asked"
        why = ""
        if standing and (id not in self.rounds or any(v.round == self.rounds[id] for v in standing)):
            state = "answered"
        elif id in self.waited and id not in self.deferred:
            state, why = "answered", self.waited[id]
        elif id in self.not_applicable:
            state, why = "not applicable", self.not_applicable[id]
        elif id in self.deferred or id in self.still_open or mine or id in self.order:
            state, why = "open", self.deferred.get(id, "")
        elif mandatory and self.finished is not None:
            # The dialogue lists every mandatory item that is open when a visit ends; this one it did not ask for.
            state, why = "not applicable", "the plan's conditions left it out"
        earlier = tuple(v for v in mine if v.ended_by is not None)
        return ItemRecord(
            id, self.name(id), chunk, mandatory, state, why, standing, earlier, self.not_judged.get(id, "")
        )

    def result_records(self) -> tuple[ResultRecord, ...]:
        """Results by id, in the plan's order, then as they came."""
        ids = [r.id for r in self.plan.results] if self.plan else []
        ids += [r.item for r in self.results.values() if r.item not in ids]
        records = []
        for id in dict.fromkeys(ids):
            mine = [r for r in self.results.values() if r.item == id]
            current = next((r for r in reversed(mine) if r.ended_by is None), None)
            if mine:
                earlier = tuple(r for r in mine if r is not current)
                records.append(ResultRecord(current, earlier, self.not_judged.get(id, "")))
        return tuple(records)

    def left_out(self) -> tuple[tuple[str, str], ...]:
        """Results of the plan that never came about, and why."""
        done = {r.item for r in self.results.values()}
        rules = self.plan.results if self.plan else ()
        return tuple((r.say, self.not_judged[r.id]) for r in rules if r.id in self.not_judged and r.id not in done)

    def corrections(self) -> list[Correction]:
        """Values that gave way to another or no longer stand, by time."""
        found = []
        for old in self.values.values():
            if old.ended_by is None:
                continue
            new = self.values.get(old.ended_by)
            time = new.time if new else ""
            found.append(Correction(old.ended_by, time, old.label, old, new, old.ended_why))
        return sorted(found, key=lambda c: c.number)


def _same_place(one: Value, other: Value) -> bool:
    """Two standing values never share a place: an item's round, and the quantity where an item takes several."""
    if (one.item, one.round) != (other.item, other.round):
        return False
    measured = one.kind == other.kind == "reading"
    return not measured or (one.quantity, one.qualifier) == (other.quantity, other.qualifier)


def _same_number(one: str, other: str) -> bool:
    try:
        return Decimal(one) == Decimal(other)
    except InvalidOperation:
        return one == other
