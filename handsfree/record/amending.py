"""A finished visit and a changed value in, the events of the amendment out: old value kept, results worked out again.

An amendment is never an overwrite: the new value names the event that it replaces and the reason, results that rest on
it are voided and worked out again, verdicts are given anew, and readings that rest on it are open again.
"""

from __future__ import annotations

import datetime
import difflib
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from handsfree.dialogue.state import State, Value, apply, fold
from handsfree.dialogue.turn import Tongue, Turn
from handsfree.dialogue.working import Trade, judge_confirmed, rework
from handsfree.errors import BadInput
from handsfree.events import (
    AnswerConfirmed,
    Entry,
    Event,
    PhotoKept,
    ReadingConfirmed,
    Said,
    SignedOff,
    VisitStarted,
    Voided,
)
from handsfree.language.units import Quantity
from handsfree.plans.job import Job, job_from_text
from handsfree.plans.plan import ABSENT, Item, Plan
from handsfree.record.folder import JOB, VisitFolder, read_visit_text
from handsfree.record.kept_plan import plan_hash, read_kept_plan
from handsfree.record.photo import Picture
from handsfree.record.visit import AMENDED


@dataclass(frozen=True, slots=True)
class Amendment:
    """A change that was checked and waits for an explicit yes."""

    item: Item
    old: Value
    new: str
    """decimal string in the old unit, or the answer"""
    reason: str
    kind: str
    """quantity, or the answer's kind"""
    unit: str = ""


class Review:
    """An open visit under review.

    Args:
        folder: the visit, opened (it is locked against a second copy).
        language: knows the quantities.
        trade: computations and limits.

    Raises:
        BadInput: the plan kept with the visit cannot be used, so what rests on a value could not be worked out again.
    """

    def __init__(self, folder: VisitFolder, language: Tongue, trade: Trade) -> None:
        plan, remark = read_kept_plan(folder.path)
        started = next((e.event for e in folder.entries if isinstance(e.event, VisitStarted)), None)
        if plan is None or started is None:
            raise BadInput(f"{folder.path} cannot be amended: {remark or 'it was never started'}", "put the plan back")
        if started.plan_sha256 and plan_hash(folder.path) != started.plan_sha256:
            raise BadInput(
                f"{folder.path} cannot be amended: plan.toml is not the plan that the visit was held with",
                "put the right plan.toml back",
            )
        self.folder = folder
        self.plan: Plan = plan
        self._job = _job_of(folder, started)
        self._language = language
        self._trade = trade
        self.state: State = fold(plan, self._job, folder.entries)

    def prepare(self, number: int, text: str, reason: str) -> Amendment:
        """Checks a change; nothing is written yet.

        Args:
            number: of the event whose value is to be replaced.
            text: the new value in the old one's unit, or the new answer.
            reason: why; it is kept for good.

        Raises:
            BadInput: no standing value has that number, the value does not fit, or there is no reason.
        """
        old = next((v for v in self.state.values.values() if v.number == number), None)
        if old is None:
            known = ", ".join(str(v.number) for v in self.state.values.values())
            raise BadInput(f"event {number} holds no value that stands", f"use one of {known}")
        if not reason.strip():
            raise BadInput(f"changing event {number} needs a reason", "say why: it is kept beside the old value")
        item = self.plan.item(old.item)
        new, kind = self._fitting(item, old, _plain(text))
        if (new, kind) == (old.text, old.kind):
            raise BadInput(f"event {number} holds {new} already", "give the value that it should be")
        quantity = self._language.quantities.get(item.expect.quantity or "")
        unit = old.unit or (quantity.unit if quantity and kind == "quantity" else "")
        return Amendment(item, old, new, _plain(reason), kind, unit)

    def amend(self, change: Amendment) -> tuple[Entry, ...]:
        """Writes a change and everything that follows from it; each event is on disk before the next is written."""
        turn = Turn(self.plan, self._job, self._language, self.state)
        turn.emit(_confirmed(change))
        judge_confirmed(turn, change.item, self._trade)
        for item in self.plan.items():
            if change.item.id in item.rests_on and (rested := turn.state.values.get(item.id)) is not None:
                turn.emit(Voided(item=item.id, event=rested.number, because=f"{change.item.id} changed"))
        rework(turn, self._trade)
        return self._append(turn.events)

    def catch_up(self) -> tuple[Entry, ...]:
        """Works out what an amendment that was cut off still owed: verdicts and results of values that stand."""
        turn = Turn(self.plan, self._job, self._language, self.state)
        for value in list(self.state.values.values()):
            ruling = self.state.rulings.get(value.item)
            if self.plan.has_item(value.item) and (ruling is None or ruling.number < value.number):
                item = self.plan.item(value.item)
                unjudged = value.item not in self.state.not_judged
                if item.limit is not None and unjudged:
                    judge_confirmed(turn, item, self._trade)
        rework(turn, self._trade)
        return self._append(turn.events)

    def sign(self, name: str, statement: str = "") -> Entry:
        """The engineer signs the visit off.

        Raises:
            BadInput: no name.
        """
        if not name.strip():
            raise BadInput("a sign-off needs a name", "give the name of the engineer who signs")
        return self._append([SignedOff(name=_plain(name), statement=_plain(statement))])[0]

    def keep_photo(self, picture: Picture, item: str, words: str = "") -> Entry:
        """Puts a photo beside an item: the file is on disk first, then the event that names it.

        Args:
            picture: as the camera wrote it.
            item: id of an item of the plan.
            words: what is said about it; nobody checks them.

        Raises:
            BadInput: the plan has no such item.
            MissingPart: the disk is full or cannot be written.
        """
        if not self.plan.has_item(item):
            known = [i.id for i in self.plan.items()]
            near = difflib.get_close_matches(item, known, 3, 0.5)
            raise BadInput(
                f"the plan has no item {item!r}",
                f"use {' or '.join(near)}" if near else f"use one of {', '.join(known)}",
            )
        file = self.folder.save_photo(picture.content, picture.ending)
        return self._append([PhotoKept(item=item, file=file, words=_plain(words))])[0]

    def _append(self, events: list[Event]) -> tuple[Entry, ...]:
        # Voided names events by number: a sentence among them, which is not kept, would shift the numbers.
        assert not any(isinstance(e, Said) for e in events)
        entries = []
        for event in events:
            entry = self.folder.append(event)
            self.state = apply(self.state, entry)
            entries.append(entry)
        return tuple(entries)

    def _fitting(self, item: Item, old: Value, text: str) -> tuple[str, str]:
        """The new value as it is kept, and its kind."""
        if text in ABSENT:
            return text, "absent"
        kind = item.expect.kind
        match kind:
            case "quantity":
                quantity = old.quantity or item.expect.quantity or ""
                return self._fitting_number(quantity, item, text), "quantity"
            case "choice" | "state" | "yes_no":
                answers = ("yes", "no") if kind == "yes_no" else tuple(item.expect.phrases)
                if text not in answers:
                    raise BadInput(
                        f"{item.say}: {text!r} is not an answer", f"use one of {', '.join((*answers, *ABSENT))}"
                    )
            case "date":
                _check(datetime.date.fromisoformat, text, item, "a date: write year-month-day, as 2026-11-25")
            case "time":
                _check(datetime.time.fromisoformat, text, item, "a time: write hours:minutes, as 14:30")
            case "number":
                _check(Decimal, text, item, "a number")
        if not text:
            raise BadInput(f"{item.say}: the new answer is empty", f"give it, or one of {', '.join(ABSENT)}")
        return text, kind

    def _fitting_number(self, quantity: str, item: Item, text: str) -> str:
        try:
            value = Decimal(text)
        except InvalidOperation:
            raise BadInput(
                f"{item.say}: {text!r} is not a number", f"use digits, or one of {', '.join(ABSENT)}"
            ) from None
        known = self._language.quantities.get(quantity)
        bounds = (known.hard_low, known.hard_high) if isinstance(known, Quantity) else (None, None)
        low = item.expect.low if item.expect.low is not None else bounds[0]
        high = item.expect.high if item.expect.high is not None else bounds[1]
        if not value.is_finite() or (low is not None and value < low) or (high is not None and value > high):
            unit = known.unit if known else ""
            raise BadInput(f"{item.say}: {text} is not from {low} to {high} {unit}", "look at the reading again")
        return format(value, "f")


def _plain(text: str) -> str:
    """Words as every report can hold them: a terminal hands on bytes that are no letters as halves of characters, and
    keys that are none as control characters."""
    whole = text.encode("utf-8", "replace").decode()
    return "".join(sign if sign.isprintable() else " " for sign in whole).strip()


def _confirmed(change: Amendment) -> Event:
    old = change.old
    if change.kind == "quantity":
        return ReadingConfirmed(
            item=old.item,
            quantity=old.quantity or change.item.expect.quantity or "",
            qualifier=old.qualifier if old.kind == "quantity" else change.item.expect.qualifier,
            value=change.new,
            unit=change.unit,
            how=AMENDED,
            round=old.round,
            replaces=old.number,
            reason=change.reason,
        )
    return AnswerConfirmed(
        item=old.item,
        answer=change.new,
        answer_kind=change.kind,
        said_as="" if change.kind == "absent" else change.new.replace("_", " "),
        how=AMENDED,
        round=old.round,
        replaces=old.number,
        reason=change.reason,
    )


def _job_of(folder: VisitFolder, started: VisitStarted) -> Job:
    """The job as it was given; without a copy of the file, as the journal has it."""
    text = read_visit_text(folder.path, JOB)
    return job_from_text(text, folder.path / JOB) if text is not None else Job(started.job)


def _check(read: object, text: str, item: Item, what: str) -> None:
    assert callable(read)
    try:
        read(text)
    except (ValueError, InvalidOperation):
        raise BadInput(f"{item.say}: {text!r} is not {what}", "") from None
