"""A plan of a visit, as frozen data: chunks of items in the order of the work, results, questions, loops, emergencies.

A plan is written in TOML by somebody who knows the work and reads no code; `handsfree.plans.read` turns the file into
these classes and `handsfree.plans.check` looks it over. Where a value comes from is a *source*: `item.ID`,
`result.ID`, `job.DOTTED.KEY`, `visit.date`, `visit.gas`, `visit.reference_gas`, a number, sums of these ("item.end -
item.start"), and a fallback after a bar ("job.x | 39.5").
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Literal

from handsfree.model import Expectation, Gas
from handsfree.plans.sources import references

ExpectKind = Literal[
    "quantity", "choice", "yes_no", "state", "digits", "letters", "serial", "date", "time", "number", "text", "wait"
]
EXPECT_KINDS: tuple[ExpectKind, ...] = (
    "quantity", "choice", "yes_no", "state", "digits", "letters", "serial", "date", "time", "number", "text", "wait",
)  # fmt: skip
WAYS = ("read-do", "do-confirm")
ON_OUTSIDE = ("accept", "unsafe", "unsafe_at_once")
ABSENT = ("no_reading", "not_fitted", "no_access")
"""Why there is no reading: answers of their own, each with a spoken reason."""

DIFFERENCE = "difference"
"""the one computation that is the plan's own: keys value, less, unit"""
MOST_WORDS = 12
"""words in a prompt"""


@dataclass(frozen=True, slots=True)
class Expect:
    """What answers an item."""

    kind: ExpectKind
    quantity: str | None = None
    qualifier: str | None = None
    low: Decimal | None = None
    """lowest plausible value of this step, in the quantity's unit"""
    high: Decimal | None = None
    phrases: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """answer -> spoken forms (choice, state)"""
    good: tuple[str, ...] = ()
    """answers that need nothing more (choice, yes_no); empty: every answer is fine"""
    state: str = ""
    """how the reached state is said back (state)"""
    length: int | None = None
    seconds: float = 0.0
    """s (wait)"""
    seconds_from: str = ""
    """source of the seconds, before `seconds` (wait)"""
    what: str = ""
    """what is waited for, as announced (wait)"""
    stopwatch: bool = False
    """the reading may be timed by saying "mark" twice (quantity test_time)"""
    same_as: str = ""
    """source that the answer is compared with; a difference is asked about"""
    not_before: str = ""
    """source of the earliest date that will do (date)"""


@dataclass(frozen=True, slots=True)
class LimitRule:
    """Where a limit comes from, in order of authority: the maker (job), something measured, the trade, a bound written
    here."""

    maker: str = ""
    """dotted key of the maker's limit in the job"""
    around: str = ""
    """source of a number that the value is held against"""
    minus: Decimal | None = None
    """allowed below `around`, in the value's unit; None = no lower bound"""
    plus: Decimal | None = None
    minus_pct: Decimal | None = None
    """allowed below `around`, % of it"""
    plus_pct: Decimal | None = None
    trade: Mapping[str, str] = field(default_factory=dict)
    """gas (ng, lpg) -> id of a trade limit"""
    low: Decimal | None = None
    high: Decimal | None = None
    low_strict: bool = False
    high_strict: bool = False
    unit: str = ""
    authority: str = "practice"
    """whose bound `around` or low/high is: maker, trade, practice"""
    source: str = ""
    sure: str = "common practice"


@dataclass(frozen=True, slots=True)
class Condition:
    """All of the terms hold. A term's key is gas, job.KEY, answer.ITEM, verdict.ID or cause.ID; it holds when its
    value is one of the list.

    "answer.A|B" holds when one of them does. Values of answer.ITEM besides the item's own: given, absent, ever (now or
    in an earlier round). Of verdict.ID: within, outside, too_close. Of job.KEY: given, not given, or the value as
    written. Of cause.ID, and of cause.any: found, open.
    """

    terms: tuple[tuple[str, tuple[str, ...]], ...] = ()


@dataclass(frozen=True, slots=True)
class Item:
    """One thing asked, one reply."""

    id: str
    say: str
    """how it is spoken of: "cold system pressure" """
    prompt: str
    """at most 12 words, names the thing to touch or look at"""
    expect: Expect
    chunk: str
    why: str = ""
    """said on "why" """
    note: str = ""
    """said before the prompt, once: a caution"""
    outside: str = ""
    """what to do when the value is outside its limit or the answer is not a good one"""
    on_outside: str = "accept"
    """accept (re-read, explicit accept), unsafe (after that, the unsafe path), unsafe_at_once (without a re-read)"""
    outside_twice: str = ""
    """"unsafe": outside in two runs leads to the unsafe path"""
    emergency: str = ""
    """id of the emergency that `unsafe` starts"""
    source: str = ""
    mandatory: bool = True
    killer: bool = False
    """what follows makes no sense, or is dangerous, without it: it cannot be left for later"""
    repeats: str = ""
    """id of the killer item that this one asks again"""
    once: str = ""
    """why a killer needs no repeat: nothing after it can undo it"""
    when: Condition = Condition()
    limit: LimitRule | None = None
    judge_when: Condition = Condition()
    not_judged: str = ""
    """said when judge_when does not hold"""
    rests_on: tuple[str, ...] = ()
    """items whose change makes this one open again"""
    line: int = 1


@dataclass(frozen=True, slots=True)
class Chunk:
    """Five to seven items tied to one place, closed by a spoken completion."""

    id: str
    title: str
    place: str
    done: str
    """said when every item is answered"""
    items: tuple[Item, ...]
    way: str = "read-do"
    opening: str = ""
    """said on entering: cautions, tools, parts"""
    when: Condition = Condition()
    line: int = 1


@dataclass(frozen=True, slots=True)
class Loop:
    """Items of one chunk asked round by round until a condition holds."""

    id: str
    items: tuple[str, ...]
    until: Condition
    max_rounds: int
    again: str
    """said before each further round"""
    spent: str
    """said when the rounds are used up"""
    spent_unsafe: bool = False
    emergency: str = ""
    when: Condition = Condition()
    """only then it goes round again"""
    line: int = 1


@dataclass(frozen=True, slots=True)
class Cause:
    """Where a path of fault-finding ends: a cause, a part, or to ring the maker."""

    id: str
    say: str
    when: Condition
    action: str
    source: str = ""
    line: int = 1


@dataclass(frozen=True, slots=True)
class PlanResult:
    """A number worked out from readings as they come."""

    id: str
    say: str
    compute: str
    """name of a trade computation"""
    given: Mapping[str, str]
    """key of the computation -> source"""
    take: str = ""
    """which of the computation's results counts; empty = the first"""
    basis: str = ""
    """gross or net, where the computation gives both"""
    quantity: str = ""
    """quantity that the result is said as; empty: said by name and unit"""
    qualifier: str | None = None
    limit: LimitRule | None = None
    when: Condition = Condition()
    judge_when: Condition = Condition()
    not_judged: str = ""
    outside: str = ""
    outside_twice: str = ""
    """accept (after one re-read) or unsafe"""
    emergency: str = ""
    read_again: tuple[str, ...] = ()
    """items read again when it is outside; empty: nothing is read again, it is said and accepted"""
    spoken: bool = True
    source: str = ""
    line: int = 1


@dataclass(frozen=True, slots=True)
class Question:
    """Readings that must go together. Asked about when they do not, never changed."""

    id: str
    items: tuple[str, ...]
    """the last of them is read again when the engineer says no"""
    require: str
    """"A <= B", "A >= B", "A < B", "A > B" or "A near B by N", with sources"""
    ask: str
    when: Condition = Condition()
    source: str = ""
    line: int = 1


@dataclass(frozen=True, slots=True)
class Emergency:
    """What is said first when something is dangerous."""

    id: str
    steps: tuple[str, ...]
    line: int = 1


@dataclass(frozen=True, slots=True)
class Plan:
    """A visit."""

    name: str
    title: str
    about: str
    opening: str
    """said first: who decides"""
    sources: tuple[str, ...]
    chunks: tuple[Chunk, ...]
    loops: tuple[Loop, ...] = ()
    results: tuple[PlanResult, ...] = ()
    questions: tuple[Question, ...] = ()
    causes: tuple[Cause, ...] = ()
    emergencies: tuple[Emergency, ...] = ()
    messages: Mapping[str, str] = field(default_factory=dict)
    path: Path | None = None
    text: str = ""
    """the file as read, for the visit folder and its hash"""
    _order: tuple[Item, ...] = field(init=False, repr=False, compare=False)
    _items: Mapping[str, Item] = field(init=False, repr=False, compare=False)
    _chunks: Mapping[str, Chunk] = field(init=False, repr=False, compare=False)
    _results: Mapping[str, PlanResult] = field(init=False, repr=False, compare=False)
    _inputs: Mapping[str, tuple[str, ...]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Index what the dialogue looks up at every step."""
        order = tuple(item for chunk in self.chunks for item in chunk.items)
        object.__setattr__(self, "_order", order)
        object.__setattr__(self, "_items", {item.id: item for item in order})
        object.__setattr__(self, "_chunks", {chunk.id: chunk for chunk in reversed(self.chunks)})
        object.__setattr__(self, "_results", {result.id: result for result in reversed(self.results)})
        object.__setattr__(self, "_inputs", {result.id: self._trace(result) for result in reversed(self.results)})

    def items(self) -> tuple[Item, ...]:
        """Every item, in the order of the work."""
        return self._order

    def item(self, id: str) -> Item:
        """The item of that id. Raises KeyError."""
        return self._items[id]

    def has_item(self, id: str) -> bool:
        return id in self._items

    def chunk(self, id: str) -> Chunk:
        """The chunk of that id. Raises KeyError."""
        return self._chunks[id]

    def result(self, id: str) -> PlanResult | None:
        """The result of that id, or None."""
        return self._results.get(id)

    def inputs_of(self, result: PlanResult) -> tuple[str, ...]:
        """The items that the result is worked out from, also by way of other results, in order."""
        return self._inputs[result.id]

    def _trace(self, result: PlanResult) -> tuple[str, ...]:
        found: dict[str, None] = {}
        todo, seen = [result], {result.id}
        while todo:
            for source in todo.pop(0).given.values():
                for reference in references(source):
                    head, _, key = reference.partition(".")
                    if head == "item":
                        found[key] = None
                    elif head == "result" and key not in seen and (other := self.result(key)):
                        seen.add(key)
                        todo.append(other)
        return tuple(found)

    def note_of(self, item: Item) -> str:
        """The item's note; one that begins with @ stands under [messages], because several items share it."""
        return self.messages.get(item.note[1:], "") if item.note.startswith("@") else item.note

    def loop_of(self, item: str) -> Loop | None:
        """The loop that the item belongs to, or None."""
        return next((loop for loop in self.loops if item in loop.items), None)

    def emergency(self, id: str) -> Emergency | None:
        return next((e for e in self.emergencies if e.id == id), None)


def expectation_of(item: Item, gas: Gas) -> Expectation:
    """What the listeners and the language may expect while the item is asked."""
    expect = item.expect
    match expect.kind:
        case "quantity":
            return Expectation(
                "quantity",
                quantity=expect.quantity,
                qualifier=expect.qualifier,
                gas=gas,
                low=expect.low,
                high=expect.high,
            )
        case "choice" | "state":
            return Expectation("choice", gas=gas, choices=tuple(expect.phrases), phrases=expect.phrases)
        case "yes_no":
            return Expectation("yes_no", gas=gas)
        case "text" | "wait":
            return Expectation("any", gas=gas)
        case "digits" | "letters" | "serial" | "date" | "time" | "number":
            return Expectation(expect.kind, gas=gas, length=expect.length, low=expect.low, high=expect.high)
