"""A plan in, everything that is wrong with it out: what the reader cannot see because it takes the whole plan to see
it.

Errors stop a visit from using the plan; warnings are for the writer to weigh.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from handsfree.errors import BadInput
from handsfree.plans.check_references import (
    check_condition,
    check_cycles,
    check_limit,
    check_loop,
    check_questions,
    check_result,
    check_source,
)
from handsfree.plans.job import check_job
from handsfree.plans.located import Finding, lines_of, nearest, read_toml
from handsfree.plans.plan import DIFFERENCE, MOST_WORDS, Chunk, Item, Plan
from handsfree.plans.read import read_plan
from handsfree.plans.remarks import Found, Knowledge, error, warning

FEWEST_IN_CHUNK, MOST_IN_CHUNK = 3, 8
"""items asked in a chunk, without timed waits and without those of a branch; five to seven is the aim"""
_AND = re.compile(r"\band\b", re.IGNORECASE)
_QUALIFIERS = ("maximum", "minimum", "cold", "hot", "before", "after")
_TODAY = dt.date(2026, 11, 25)
"""any day on which every current limit is in force; limits are looked up by the visit's own date later"""


@dataclass(frozen=True, slots=True)
class Remark:
    """A finding about a file, with its weight."""

    path: Path
    line: int
    weight: Literal["error", "warning"]
    message: str
    hint: str = ""

    def __str__(self) -> str:
        hint = f" ({self.hint})" if self.hint else ""
        return f"{self.path}:{self.line}: {self.weight}: {self.message}{hint}"


def the_knowledge() -> Knowledge:
    """Quantities of the language, computations and limits of the trade."""
    from handsfree.language import load_language
    from handsfree.trade import computations, trade_limit
    from handsfree.trade.limits import limit_ids

    def has(id: str) -> bool:
        try:
            trade_limit(id, _TODAY)
        except BadInput:
            return False
        return True

    return Knowledge(
        {id: q.unit or "" for id, q in load_language().quantities.items()},
        {DIFFERENCE: ("value", "less", "unit"), **{c.name: tuple(k.name for k in c.keys) for c in computations()}},
        has,
        limit_ids(),
    )


def check_file(path: Path, knowledge: Knowledge) -> list[Remark]:
    """Everything wrong with a plan file, or a job file (it has a [boiler] or a [maker] and no [[chunk]]), by line.

    Raises:
        BadInput: the file cannot be read or is not TOML.
    """
    text, data = read_toml(path, "plan")
    if is_job(data):
        return [
            Remark(path, f.line, "error", f.message, f.hint)
            for f in sorted(check_job(data, text), key=lambda f: f.line)
        ]
    plan, findings = read_plan(data, text, path)
    remarks = [Remark(path, f.line, "error", f.message, f.hint) for f in findings]
    if not findings:
        remarks += [Remark(path, f.line, weight, f.message, f.hint) for weight, f in check_plan(plan, knowledge)]
    return sorted(remarks, key=lambda r: (r.line, r.message))


def is_job(data: Mapping[str, Any]) -> bool:
    return "chunk" not in data and ("boiler" in data or "maker" in data or "customer" in data)


def check_plan(plan: Plan, knowledge: Knowledge) -> Iterator[tuple[Literal["error", "warning"], Finding]]:
    """Findings about a plan whose form is right, each with its weight and the line of the key that is wrong."""
    lines = lines_of(plan.text)
    headers = {line: path for path, line in lines.items() if path and isinstance(path[-1], int)}
    for found in _look_over(plan, knowledge):
        path = headers.get(found.line, ())
        line = lines.get((*path, found.key), found.line) if found.key else found.line
        yield found.weight, Finding(line, found.message, found.hint)


def _look_over(plan: Plan, knowledge: Knowledge) -> Iterator[Found]:
    yield from _check_ids(plan)
    for chunk in plan.chunks:
        yield from _check_chunk(plan, chunk)
        for item in chunk.items:
            yield from _check_words(item)
            yield from _check_item(plan, item, knowledge)
    for loop in plan.loops:
        yield from check_loop(plan, loop)
    for result in plan.results:
        yield from check_result(plan, result, knowledge)
    yield from check_questions(plan)
    for cause in plan.causes:
        name = f"cause {cause.id!r}"
        yield from check_condition(plan, cause.when, cause.line, name, {i.id for i in plan.items()})
        if not cause.source:
            yield error(cause.line, f"{name} has no source", "say where it comes from")
    yield from check_cycles(plan)


def _check_ids(plan: Plan) -> Iterator[Found]:
    rows: list[tuple[str, int]] = [(i.id, i.line) for i in plan.items()] + [(r.id, r.line) for r in plan.results]
    counts = Counter(id for id, _ in rows)
    for id, line in rows:
        if counts[id] > 1:
            yield error(
                line, f"id {id!r} is used {counts[id]} times among items and results", "ids are single", key="id"
            )
        if not re.fullmatch(r"[a-z][a-z0-9_]*", id):
            yield error(line, f"id {id!r} is no name", "small letters, digits, underscores", key="id")
    for what, ids in (
        ("chunk", [(c.id, c.line) for c in plan.chunks]),
        ("loop", [(c.id, c.line) for c in plan.loops]),
        ("question", [(q.id, q.line) for q in plan.questions]),
    ):
        for id, line in ids:
            if sum(other == id for other, _ in ids) > 1:
                yield error(line, f"{what} id {id!r} is used more than once", "ids are single", key="id")
    said = Counter(i.say.lower() for i in plan.items())
    for item in plan.items():
        if said[item.say.lower()] > 1:
            yield error(
                item.line,
                f"item {item.id!r}: say {item.say!r} is another item's too",
                "a spoken name is single",
                key="say",
            )


def _check_chunk(plan: Plan, chunk: Chunk) -> Iterator[Found]:
    asked = [i for i in chunk.items if i.expect.kind != "wait"]
    always = [i for i in asked if not i.when.terms]
    if len(asked) < FEWEST_IN_CHUNK or len(always) > MOST_IN_CHUNK:
        yield warning(
            chunk.line, f"chunk {chunk.id!r} asks {len(asked)} items", "five to seven tied to one place is the aim"
        )
    if not asked:
        yield error(chunk.line, f"chunk {chunk.id!r} asks nothing: a dead end", "give it items or take it out")
    if chunk.way == "do-confirm":
        for item in asked:
            if item.expect.kind not in ("state", "yes_no", "choice"):
                yield error(
                    item.line,
                    f"item {item.id!r}: a do-confirm chunk confirms, it takes no readings",
                    "make it read-do",
                    key="expect",
                )
    yield from check_condition(plan, chunk.when, chunk.line, f"chunk {chunk.id!r}", _before(plan, chunk.items[:1]))


def _before(plan: Plan, items: Iterable[Item]) -> set[str]:
    """Ids of the items that come before the first of these."""
    first = next(iter(items), None)
    seen: set[str] = set()
    for item in plan.items():
        if first is not None and item.id == first.id:
            break
        seen.add(item.id)
    return seen


def _check_words(item: Item) -> Iterator[Found]:
    words = item.prompt.split()
    if len(words) > MOST_WORDS:
        yield error(
            item.line,
            f"item {item.id!r}: the prompt has {len(words)} words",
            f"at most {MOST_WORDS}: {' '.join(words[:MOST_WORDS])}",
            key="prompt",
        )
    if _AND.search(item.prompt):
        yield error(
            item.line, f'item {item.id!r}: the prompt has "and"', "one item, one thing: make it two items", key="prompt"
        )
    if not item.why and item.expect.kind != "wait":
        yield warning(item.line, f"item {item.id!r} has no why", 'it is said on "why"')
    if not item.source:
        yield error(item.line, f"item {item.id!r} has no source", 'say where it comes from, or "common practice"')


def _check_item(plan: Plan, item: Item, knowledge: Knowledge) -> Iterator[Found]:
    name = f"item {item.id!r}"
    expect = item.expect
    if expect.kind == "quantity" and expect.quantity not in knowledge.quantities:
        yield error(
            item.line,
            f"{name}: quantity {expect.quantity!r} is not known",
            nearest(expect.quantity or "", knowledge.quantities),
            key="expect",
        )
    if expect.qualifier is not None and expect.qualifier not in _QUALIFIERS:
        yield error(
            item.line,
            f"{name}: qualifier {expect.qualifier!r} is not known",
            nearest(expect.qualifier, _QUALIFIERS),
            key="expect",
        )
    if expect.stopwatch and expect.quantity != "test_time":
        yield error(
            item.line,
            f"{name}: a stopwatch gives a test_time, not {expect.quantity!r}",
            'quantity = "test_time"',
            key="expect",
        )
    if expect.low is not None and expect.high is not None and expect.low > expect.high:
        yield error(
            item.line, f"{name}: low {expect.low} is above high {expect.high}", "swap or correct them", key="expect"
        )
    before = _before(plan, [item])
    yield from check_condition(plan, item.when, item.line, name, before | _loop_mates(plan, item))
    yield from check_condition(plan, item.judge_when, item.line, name, before, "judge_when")
    yield from check_limit(plan, item.limit, item.line, name, knowledge)
    if item.note.startswith("@") and item.note[1:] not in plan.messages:
        yield error(
            item.line, f"{name}: message {item.note!r} is not known", nearest(item.note[1:], plan.messages), "note"
        )
    for slot in re.findall(r"\{([^{}|]+)", plan.note_of(item)):
        if not re.fullmatch(r"(item|result|job|visit)\.[A-Za-z0-9_.]+", slot.strip()):
            yield error(
                item.line, f"{name}: note has {{{slot}}}, which is no source", "write {job.KEY|words}", key="note"
            )
        yield from check_source(plan, slot, item.line, name, "note")
    for source in (expect.seconds_from, expect.same_as, expect.not_before):
        yield from check_source(plan, source, item.line, name, "expect")
    if item.limit is not None and not item.outside:
        yield error(item.line, f"{name} has a limit but no outside", "say what to do when it is outside", key="limit")
    if expect.good and not item.outside:
        yield error(
            item.line, f"{name} has an answer that is not good but no outside", "say what to do then", key="expect"
        )
    if item.judge_when.terms and not item.not_judged:
        yield error(
            item.line, f"{name} has judge_when but no not_judged", "say why there is no verdict", key="judge_when"
        )
    yield from _check_killer(plan, item)
    for other in item.rests_on:
        if other not in before:
            yield error(
                item.line,
                f"{name}: rests_on {other!r}, which does not come before it",
                nearest(other, before),
                key="rests_on",
            )


def _loop_mates(plan: Plan, item: Item) -> set[str]:
    loop = plan.loop_of(item.id)
    return set(loop.items) if loop else set()


def _check_killer(plan: Plan, item: Item) -> Iterator[Found]:
    repeated = any(other.repeats == item.id for other in plan.items())
    if item.killer and not repeated and not item.once:
        yield error(
            item.line,
            f"item {item.id!r} is a killer without a repeat",
            'add a later item with repeats, or once = "why nothing undoes it"',
            key="killer",
        )
    if item.killer and not item.mandatory:
        yield error(
            item.line,
            f"item {item.id!r} is a killer but not mandatory",
            "a killer is always mandatory",
            key="mandatory",
        )
    if item.repeats and item.repeats not in _before(plan, [item]):
        yield error(
            item.line,
            f"item {item.id!r}: repeats {item.repeats!r}, which is no earlier item",
            "name the killer",
            key="repeats",
        )
    if (item.on_outside != "accept" or item.outside_twice == "unsafe") and not item.emergency:
        yield error(
            item.line,
            f"item {item.id!r} leads to the unsafe path without an emergency",
            "name one: products, smell_of_gas",
        )
