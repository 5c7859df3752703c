"""All that a report says about a visit: values with history, verdicts, what is open, what was said.

These are the facts alone; `record.reading.read_visit` makes them of a folder.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from handsfree.record.journal import FIRST_HASH, Ending, Intact

SURE_ENOUGH = ("published", "computed", "")
"""Grades of a source that need no mark; second-hand, common practice and from memory get one."""

ABSENT = {"no_reading": "no reading", "not_fitted": "not fitted", "no_access": "no access"}

AMENDED = "amended in review"
"""how a value was confirmed that was changed in review"""

ItemState = Literal["answered", "open", "not asked", "not applicable"]
Who = Literal["engineer", "program", "record"]


@dataclass(frozen=True, slots=True)
class Judgement:
    """A value held against a limit, as recorded. Never a statement that anything is safe."""

    number: int
    """of the event"""
    result: str
    """within, outside, too_close"""
    value: str
    unit: str
    words: str
    limit: Mapping[str, Any]
    """id, low, high, low_strict, high_strict, unit, authority, source, sure"""

    @property
    def weak(self) -> str:
        """How sure the limit's source is, where it needs a mark; else empty."""
        sure = str(self.limit.get("sure", ""))
        return "" if sure in SURE_ENOUGH else sure


@dataclass(frozen=True, slots=True)
class Value:
    """One confirmed value or answer, with how it came about."""

    number: int
    """of the event"""
    time: str
    item: str
    label: str
    value: str
    """decimal string, or the answer"""
    unit: str = ""
    """empty for an answer that is no measured value"""
    printed: str = ""
    """the words to print for an answer"""
    quantity: str | None = None
    qualifier: str | None = None
    kind: str = "reading"
    """reading, or the answer's kind: choice, digits, letters, serial, date, time, yes_no, absent"""
    spoken_value: str | None = None
    spoken_unit: str | None = None
    words: str = ""
    clip: str | None = None
    how: str = ""
    yes_clip: str | None = None
    round: int = 1
    replaces: int | None = None
    reason: str = ""
    """why it replaces"""
    judgement: Judgement | None = None
    unwelcome: bool = False
    """an answer that the plan counts as one that needs something done"""
    accepted: str = ""
    """the engineer's words when a value outside its limit was accepted"""
    accepted_clip: str | None = None
    ended_by: int | None = None
    """number of the event because of which it no longer stands"""
    ended_why: str = ""

    @property
    def absent(self) -> bool:
        """True when the answer says why there is no reading."""
        return self.kind == "absent" or self.value in ABSENT


@dataclass(frozen=True, slots=True)
class ResultValue:
    """One computation as it was done."""

    number: int
    time: str
    item: str
    """id of the plan's result"""
    label: str
    computation: str
    given: Mapping[str, str]
    results: tuple[Mapping[str, Any], ...]
    """name, value, unit, basis, spread; the one that counts first"""
    formula: str
    source: str
    sure: str
    from_items: tuple[str, ...] = ()
    judgement: Judgement | None = None
    accepted: str = ""
    accepted_clip: str | None = None
    ended_by: int | None = None
    ended_why: str = ""

    @property
    def weak(self) -> str:
        """How sure the formula's source is, where it needs a mark; else empty."""
        return "" if self.sure in SURE_ENOUGH else self.sure


@dataclass(frozen=True, slots=True)
class ItemRecord:
    """What became of one item of the plan."""

    id: str
    label: str
    chunk: str
    mandatory: bool
    state: ItemState
    why: str = ""
    """why it was deferred or does not apply"""
    values: tuple[Value, ...] = ()
    """that stand, in the order confirmed"""
    earlier: tuple[Value, ...] = ()
    """that no longer stand"""
    not_judged: str = ""
    """why no verdict may be given, where that is so"""


@dataclass(frozen=True, slots=True)
class ChunkRecord:
    """A part of the visit, tied to one place."""

    id: str
    title: str
    items: tuple[ItemRecord, ...]


@dataclass(frozen=True, slots=True)
class ResultRecord:
    """A result that stands, with the ones it followed."""

    current: ResultValue | None
    earlier: tuple[ResultValue, ...] = ()
    not_judged: str = ""


@dataclass(frozen=True, slots=True)
class UnsafeRecord:
    """Something unsafe, as found and as said. Never classified here."""

    number: int
    time: str
    item: str | None
    item_label: str
    label: str
    """what set it off, in words"""
    trigger: str
    words: str
    clip: str | None
    answers: tuple[tuple[str, str, str, str | None], ...] = ()
    """question, answer, words, clip"""
    cleared_at: str = ""
    cleared_words: str = ""
    cleared_clip: str | None = None


@dataclass(frozen=True, slots=True)
class Correction:
    """A value that was changed: what it was, what it became, when and why."""

    number: int
    time: str
    label: str
    old: Value
    new: Value | None
    reason: str


@dataclass(frozen=True, slots=True)
class Note:
    """A spoken note; its words are what the listeners made of it."""

    number: int
    time: str
    label: str
    words: str
    clip: str | None
    checked: bool


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo put beside an item in review."""

    number: int
    time: str
    item: str
    label: str
    file: str
    words: str
    checked: bool


@dataclass(frozen=True, slots=True)
class Query:
    """Two readings that do not go together; asked about, never changed."""

    number: int
    time: str
    id: str
    question: str
    answer: str
    """empty when it was not answered"""


@dataclass(frozen=True, slots=True)
class Cause:
    """The end of a path of fault-finding, as the plan words it; the engineer decides what to do about it."""

    number: int
    time: str
    words: str
    action: str


@dataclass(frozen=True, slots=True)
class Turn:
    """One line of the conversation."""

    number: int
    time: str
    who: Who
    text: str
    clip: str | None = None
    detail: str = ""
    """what the program made of it, where that was not an answer"""
    item: str | None = None


@dataclass(frozen=True, slots=True)
class Signature:
    """A sign-off in review."""

    number: int
    time: str
    name: str
    statement: str


@dataclass(frozen=True, slots=True)
class EarlierEnd:
    """An end of the visit that was not its last: it was taken up again."""

    number: int
    time: str
    open_items: tuple[str, ...]
    """by their spoken names"""
    reopened_at: str


@dataclass(frozen=True, slots=True)
class VisitRecord:
    """All that a report, an export or the archive needs of a visit."""

    path: Path
    plan_name: str = ""
    title: str = ""
    gas: str = ""
    date: str = ""
    """ISO date on site"""
    program: str = ""
    source: str = ""
    """mic, typed, recordings"""
    job: Mapping[str, Any] = field(default_factory=dict)
    began: str = ""
    ended: str = ""
    """time of the last event"""
    events: int = 0
    ending: Ending = field(default_factory=Intact)
    first_hash: str = FIRST_HASH
    """sha256 of the first line: tells this visit from every other"""
    last_hash: str = FIRST_HASH
    chunks: tuple[ChunkRecord, ...] = ()
    results: tuple[ResultRecord, ...] = ()
    left_out: tuple[tuple[str, str], ...] = ()
    """results that could not be worked out at all: name, why"""
    unsafe: tuple[UnsafeRecord, ...] = ()
    corrections: tuple[Correction, ...] = ()
    notes: tuple[Note, ...] = ()
    photos: tuple[Photo, ...] = ()
    queries: tuple[Query, ...] = ()
    causes: tuple[Cause, ...] = ()
    conversation: tuple[Turn, ...] = ()
    finished: bool = False
    complete: bool = False
    earlier_ends: tuple[EarlierEnd, ...] = ()
    """oldest first"""
    signatures: tuple[Signature, ...] = ()
    changed_after_signing: bool = False
    remarks: tuple[str, ...] = ()
    """what is wrong with the record itself: a torn or altered journal, another plan, clips missing"""

    def items(self) -> Iterator[ItemRecord]:
        """Every item, in the order of the plan."""
        for chunk in self.chunks:
            yield from chunk.items

    def values(self) -> Iterator[Value]:
        """Every value that stands, in the order of the plan."""
        for item in self.items():
            yield from item.values

    def standing_results(self) -> Iterator[ResultValue]:
        """Every result that stands."""
        return (r.current for r in self.results if r.current is not None)

    @property
    def open_items(self) -> tuple[ItemRecord, ...]:
        """Items still to be answered: deferred ones, and mandatory ones that were not reached."""
        return tuple(i for i in self.items() if i.state == "open" or (i.state == "not asked" and i.mandatory))

    @property
    def outside(self) -> tuple[Value | ResultValue, ...]:
        """Results, and values of an item's last round, that stand and are not within their limit."""
        last = [v for i in self.items() for v in i.values if v.round == max(w.round for w in i.values)]
        everything: list[Value | ResultValue] = [*last, *self.standing_results()]
        return tuple(v for v in everything if v.judgement is not None and v.judgement.result != "within")

    @property
    def identity(self) -> str:
        """The same for every reading of this visit, different for every other visit."""
        return self.first_hash[:16]
