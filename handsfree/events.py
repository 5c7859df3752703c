"""Everything that happens in a visit, as events: what the dialogue decides, the journal keeps and the report reads.

State is never stored: it is the fold of these events, so a visit that was cut off continues from its journal alone.
Values are JSON-ready (decimal strings, ISO dates); ids are those of the plan and of the quantities.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from typing import Any, ClassVar


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Base of all events. `kind` names the class in the journal."""

    kind: ClassVar[str] = ""


# ------------------------------------------------------------------------------------- the visit as a whole


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitStarted(Event):
    kind: ClassVar[str] = "visit_started"
    plan: str
    """name of the plan"""
    plan_sha256: str
    job: Mapping[str, Any] = field(default_factory=dict)
    """the job file as given"""
    gas: str = "ng"
    date: str = ""
    """ISO date on site: limits are looked up by it"""
    program: str = ""
    """version of the program"""
    source: str = ""
    """mic, typed, recordings"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Resumed(Event):
    kind: ClassVar[str] = "resumed"
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundLost(Event):
    kind: ClassVar[str] = "sound_lost"
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundBack(Event):
    kind: ClassVar[str] = "sound_back"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finished(Event):
    """The engineer ended the visit. `complete` only when no mandatory item is open."""

    kind: ClassVar[str] = "finished"
    complete: bool
    open_items: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Reopened(Event):
    """The engineer took a visit up again that was ended with items open. The end before it stays in the record."""

    kind: ClassVar[str] = "reopened"
    open_items: tuple[str, ...] = ()
    """items and results that are open, in the plan's order"""
    chunks: tuple[str, ...] = ()
    """chunks that are open again"""
    words: str = ""
    clip: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedOff(Event):
    kind: ClassVar[str] = "signed_off"
    name: str
    statement: str = ""


# --------------------------------------------------------------------------------- moving through the plan


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemEntered(Event):
    """The item is now the one that is asked."""

    kind: ClassVar[str] = "item_entered"
    item: str
    chunk: str
    round: int = 1
    """counts the runs of an item inside a repeat-until loop"""
    why: str = ""
    """next, back, change, deferred, repeat, resume"""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChunkCompleted(Event):
    kind: ClassVar[str] = "chunk_completed"
    chunk: str
    open_items: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Deferred(Event):
    kind: ClassVar[str] = "deferred"
    item: str
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NotApplicable(Event):
    """The plan's condition left the item out."""

    kind: ClassVar[str] = "not_applicable"
    item: str
    because: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Held(Event):
    kind: ClassVar[str] = "held"
    item: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CarriedOn(Event):
    kind: ClassVar[str] = "carried_on"
    item: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitStarted(Event):
    kind: ClassVar[str] = "wait_started"
    item: str
    seconds: float
    what: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitEnded(Event):
    kind: ClassVar[str] = "wait_ended"
    item: str
    seconds: float
    """s that really passed"""
    cut_short: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitWentOn(Event):
    """Something was said during a timed wait; the wait goes on with what is left of it."""

    kind: ClassVar[str] = "wait_went_on"
    item: str
    waited_s: float
    """s that had passed of this stretch"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept(Event):
    """The engineer looked at a value again and let it stand."""

    kind: ClassVar[str] = "kept"
    item: str
    how: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadAgain(Event):
    """Items are open again for another run; their values of the run before are kept as history."""

    kind: ClassVar[str] = "read_again"
    items: tuple[str, ...]
    round: int
    because: str = ""
    """id of the loop or result that asks for it, or why in words"""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundsSpent(Event):
    """A repeat-until loop used up its rounds without reaching its end."""

    kind: ClassVar[str] = "rounds_spent"
    loop: str
    rounds: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked(Event):
    """A side question is open: finish, reopen, note, reason, accept, clear, smell, unsafe_answer. The item waits."""

    kind: ClassVar[str] = "asked"
    what: str
    item: str | None = None
    detail: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AskClosed(Event):
    """The side question is answered or dropped."""

    kind: ClassVar[str] = "ask_closed"
    what: str
    answer: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SilenceHeard(Event):
    """Nothing was said within the time given. It changes no value and is never a yes."""

    kind: ClassVar[str] = "silence"
    item: str | None
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Marked(Event):
    """The engineer said "mark": the voice stopwatch."""

    kind: ClassVar[str] = "marked"
    item: str
    at_s: float
    """s on the capture clock, of the start of the word"""
    spread_s: float = 0.0
    clip: str | None = None


# ------------------------------------------------------------------------------------------ what was heard


@dataclass(frozen=True, slots=True, kw_only=True)
class UtteranceHeard(Event):
    """Every utterance, also the ones that came to nothing. The clip was written before this event."""

    kind: ClassVar[str] = "heard"
    item: str | None
    words: str
    outcome: Mapping[str, Any]
    """as `model.outcome_to_json`"""
    listeners: tuple[Mapping[str, Any], ...] = ()
    reason: str = ""
    clip: str | None = None
    start_s: float = 0.0
    end_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Said(Event):
    """What the program said. For the conversation in the report; it changes no value."""

    kind: ClassVar[str] = "said"
    text: str
    item: str | None = None
    purpose: str = ""
    """prompt, read_back, value, warning, emergency, status, cue"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposed(Event):
    """A value waits for the engineer's yes. Nothing is saved as a value yet."""

    kind: ClassVar[str] = "proposed"
    item: str
    readings: tuple[Mapping[str, Any], ...] = ()
    """as in `outcome_to_json`"""
    answer: str | None = None
    """choice id, text, ISO date ..., or no_reading, not_fitted, no_access"""
    answer_kind: str = ""
    read_back: str = ""
    words: str = ""
    clip: str | None = None
    replaces: int | None = None
    """number of the event whose value this would replace"""
    reason: str = ""
    """why it replaces"""
    stage: str = "yes"
    """yes (waits for a yes), read_again (outside its limit: waits to be read again), accept (read again: waits for an explicit accept)"""
    items: tuple[str, ...] = ()
    """the items that the readings belong to, in their order, where one utterance gave several"""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProposalDropped(Event):
    kind: ClassVar[str] = "proposal_dropped"
    item: str
    reason: str
    """no, cancel, replaced, resumed, unsafe"""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingConfirmed(Event):
    """A value, confirmed."""

    kind: ClassVar[str] = "reading"
    item: str
    quantity: str
    qualifier: str | None
    value: str
    unit: str
    spoken_value: str | None = None
    spoken_unit: str | None = None
    words: str = ""
    clip: str | None = None
    how: str = ""
    """how it was confirmed: spoken yes, typed yes, timed by the program, amended in review; of an answer also: spoken or
    typed, said back (no yes was asked); recorded or typed, words unchecked"""
    yes_clip: str | None = None
    round: int = 1
    replaces: int | None = None
    """number of the event whose value this replaces"""
    reason: str = ""
    """why it replaces"""


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerConfirmed(Event):
    """An answer that is no measured value: a choice, a text, a date, or why there is no reading."""

    kind: ClassVar[str] = "answer"
    item: str
    answer: str
    """choice id, text, ISO date, or no_reading, not_fitted, no_access"""
    answer_kind: str
    """choice, digits, letters, serial, date, time, yes_no, absent"""
    said_as: str = ""
    """the words to print for it"""
    words: str = ""
    clip: str | None = None
    how: str = ""
    yes_clip: str | None = None
    round: int = 1
    replaces: int | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteTaken(Event):
    """A spoken note, kept as a clip; its words are unchecked."""

    kind: ClassVar[str] = "note"
    item: str | None
    words: str
    clip: str | None = None
    checked: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoKept(Event):
    """A photo put beside an item in review; its words are unchecked."""

    kind: ClassVar[str] = "photo"
    item: str
    file: str
    """in the visit's folder; its name holds the beginning of its sha256"""
    words: str = ""
    checked: bool = False


# ------------------------------------------------------------------------------------------ what it means


@dataclass(frozen=True, slots=True, kw_only=True)
class Computed(Event):
    kind: ClassVar[str] = "computed"
    item: str
    """id of the plan's result"""
    computation: str
    given: Mapping[str, str]
    results: tuple[Mapping[str, Any], ...]
    """name, value, unit, basis, spread"""
    formula: str = ""
    source: str = ""
    sure: str = ""
    from_items: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged(Event):
    """A value or result held against a limit."""

    kind: ClassVar[str] = "judged"
    item: str
    result: str
    """within, outside, too_close"""
    value: str
    unit: str
    limit: Mapping[str, Any]
    """id, low, high, low_strict, high_strict, unit, authority, source, sure"""
    words: str
    round: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class NotJudged(Event):
    """A value or result that no verdict may be given on, and why (an analyser out of date)."""

    kind: ClassVar[str] = "not_judged"
    item: str
    because: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseFound(Event):
    """A path of fault-finding came to an end that its plan names. The engineer decides what to do about it."""

    kind: ClassVar[str] = "cause_found"
    cause: str
    """id of the plan's cause"""
    words: str
    action: str = ""
    """a part, a piece of work, or to ring the maker"""


@dataclass(frozen=True, slots=True, kw_only=True)
class OutsideAccepted(Event):
    """The engineer re-read a value that is outside its limit and accepted it in so many words."""

    kind: ClassVar[str] = "outside_accepted"
    item: str
    words: str
    clip: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Questioned(Event):
    """Two readings do not go together; asked, never changed."""

    kind: ClassVar[str] = "questioned"
    items: tuple[str, ...]
    question: str
    answer: str = ""
    """empty while it is open"""
    id: str = ""
    """id of the plan's question"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Voided(Event):
    """A result or value no longer stands because something it rests on changed."""

    kind: ClassVar[str] = "voided"
    item: str
    event: int
    """number of the event that no longer stands"""
    because: str


# ---------------------------------------------------------------------------------------- when it is unsafe


@dataclass(frozen=True, slots=True, kw_only=True)
class UnsafeDeclared(Event):
    """The data dialogue stopped. Recorded as found; the program never classifies and never clears."""

    kind: ClassVar[str] = "unsafe"
    item: str | None
    trigger: str
    """smell_of_gas, unsafe, or the id of the limit or item that led here"""
    words: str = ""
    clip: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class UnsafeAnswer(Event):
    """What the engineer decided or did about it, in their words."""

    kind: ClassVar[str] = "unsafe_answer"
    question: str
    answer: str
    words: str = ""
    clip: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class UnsafeCleared(Event):
    """Only by the engineer's explicit words."""

    kind: ClassVar[str] = "unsafe_cleared"
    words: str
    clip: str | None = None


# ---------------------------------------------------------------------------------------------- round trip


@dataclass(frozen=True, slots=True)
class Entry:
    """An event as it stands in the journal."""

    number: int
    """1, 2, 3 ... without gaps"""
    time: str
    """ISO 8601 with offset, of the moment it was written"""
    event: Event


def _kinds() -> dict[str, type[Event]]:
    return {c.kind: c for c in Event.__subclasses__()}


def event_to_json(event: Event) -> dict[str, Any]:
    """The event's fields, without its kind."""
    return asdict(event)


def event_from_json(kind: str, data: Mapping[str, Any]) -> Event:
    """The inverse of `event_to_json`.

    Raises:
        ValueError: the kind is unknown, or a field is missing or not one of the kind's.
    """
    cls = _kinds().get(kind)
    if cls is None:
        raise ValueError(f"unknown kind of event {kind!r}")
    names = {f.name for f in fields(cls)}
    if unknown := set(data) - names:
        raise ValueError(f"event {kind!r} has no field {sorted(unknown)[0]!r}")
    try:
        return cls(**{k: tuple(v) if isinstance(v, list) else v for k, v in data.items()})
    except TypeError as error:
        raise ValueError(f"event {kind!r}: {error}") from None
