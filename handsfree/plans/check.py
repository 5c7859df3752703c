"""A plan in, everything that is wrong with it out: what the reader cannot see because it takes the whole plan to see
it.

Errors stop a visit from using the plan; warnings are for the writer to weigh.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from handsfree.errors import BadInput
from handsfree.plans.job import JOB_KEYS, check_job, is_job_key
from handsfree.plans.located import Finding, lines_of, nearest, read_toml
from handsfree.plans.plan import DIFFERENCE, MOST_WORDS, Chunk, Condition, Item, LimitRule, Loop, Plan, PlanResult
from handsfree.plans.read import read_plan
from handsfree.plans.sources import VISIT_KEYS, comparison, references

FEWEST_IN_CHUNK, MOST_IN_CHUNK = 3, 8
"""items asked in a chunk, without timed waits and without those of a branch; five to seven is the aim"""
_AND = re.compile(r"\band\b", re.IGNORECASE)
_QUALIFIERS = ("maximum", "minimum", "cold", "hot", "before", "after")
_TODAY = dt.date(2026, 11, 25)
"""any day on which every current limit is in force; limits are looked up by the visit's own date later"""


@dataclass(frozen=True, slots=True)
class Knowledge:
    """What a plan may refer to outside itself."""

    quantities: Mapping[str, str]
    """id -> unit"""
    computations: Mapping[str, tuple[str, ...]]
    """name -> keys"""
    has_limit: Callable[[str], bool]
    limit_ids: tuple[str, ...] = ()


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


@dataclass(frozen=True, slots=True)
class Found:
    """A finding before its key's line is looked up."""

    weight: Literal["error", "warning"]
    line: int
    """of the header of the table"""
    message: str
    hint: str
    key: str
    """the key of that table that is wrong; empty: the table itself"""


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
        yield from _check_loop(plan, loop)
    for result in plan.results:
        yield from _check_result(plan, result, knowledge)
    yield from _check_questions(plan)
    for cause in plan.causes:
        name = f"cause {cause.id!r}"
        yield from _check_condition(plan, cause.when, cause.line, name, {i.id for i in plan.items()})
        if not cause.source:
            yield _error(cause.line, f"{name} has no source", "say where it comes from")
    yield from _check_cycles(plan)


def _error(line: int, message: str, hint: str = "", key: str = "") -> Found:
    return Found("error", line, message, hint, key)


def _warning(line: int, message: str, hint: str = "", key: str = "") -> Found:
    return Found("warning", line, message, hint, key)


def _check_ids(plan: Plan) -> Iterator[Found]:
    rows: list[tuple[str, int]] = [(i.id, i.line) for i in plan.items()] + [(r.id, r.line) for r in plan.results]
    counts = Counter(id for id, _ in rows)
    for id, line in rows:
        if counts[id] > 1:
            yield _error(
                line, f"id {id!r} is used {counts[id]} times among items and results", "ids are single", key="id"
            )
        if not re.fullmatch(r"[a-z][a-z0-9_]*", id):
            yield _error(line, f"id {id!r} is no name", "small letters, digits, underscores", key="id")
    for what, ids in (
        ("chunk", [(c.id, c.line) for c in plan.chunks]),
        ("loop", [(c.id, c.line) for c in plan.loops]),
        ("question", [(q.id, q.line) for q in plan.questions]),
    ):
        for id, line in ids:
            if sum(other == id for other, _ in ids) > 1:
                yield _error(line, f"{what} id {id!r} is used more than once", "ids are single", key="id")
    said = Counter(i.say.lower() for i in plan.items())
    for item in plan.items():
        if said[item.say.lower()] > 1:
            yield _error(
                item.line,
                f"item {item.id!r}: say {item.say!r} is another item's too",
                "a spoken name is single",
                key="say",
            )


def _check_chunk(plan: Plan, chunk: Chunk) -> Iterator[Found]:
    asked = [i for i in chunk.items if i.expect.kind != "wait"]
    always = [i for i in asked if not i.when.terms]
    if len(asked) < FEWEST_IN_CHUNK or len(always) > MOST_IN_CHUNK:
        yield _warning(
            chunk.line, f"chunk {chunk.id!r} asks {len(asked)} items", "five to seven tied to one place is the aim"
        )
    if not asked:
        yield _error(chunk.line, f"chunk {chunk.id!r} asks nothing: a dead end", "give it items or take it out")
    if chunk.way == "do-confirm":
        for item in asked:
            if item.expect.kind not in ("state", "yes_no", "choice"):
                yield _error(
                    item.line,
                    f"item {item.id!r}: a do-confirm chunk confirms, it takes no readings",
                    "make it read-do",
                    key="expect",
                )
    yield from _check_condition(plan, chunk.when, chunk.line, f"chunk {chunk.id!r}", _before(plan, chunk.items[:1]))


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
        yield _error(
            item.line,
            f"item {item.id!r}: the prompt has {len(words)} words",
            f"at most {MOST_WORDS}: {' '.join(words[:MOST_WORDS])}",
            key="prompt",
        )
    if _AND.search(item.prompt):
        yield _error(
            item.line, f'item {item.id!r}: the prompt has "and"', "one item, one thing: make it two items", key="prompt"
        )
    if not item.why and item.expect.kind != "wait":
        yield _warning(item.line, f"item {item.id!r} has no why", 'it is said on "why"')
    if not item.source:
        yield _error(item.line, f"item {item.id!r} has no source", 'say where it comes from, or "common practice"')


def _check_item(plan: Plan, item: Item, knowledge: Knowledge) -> Iterator[Found]:
    name = f"item {item.id!r}"
    expect = item.expect
    if expect.kind == "quantity" and expect.quantity not in knowledge.quantities:
        yield _error(
            item.line,
            f"{name}: quantity {expect.quantity!r} is not known",
            nearest(expect.quantity or "", knowledge.quantities),
            key="expect",
        )
    if expect.qualifier is not None and expect.qualifier not in _QUALIFIERS:
        yield _error(
            item.line,
            f"{name}: qualifier {expect.qualifier!r} is not known",
            nearest(expect.qualifier, _QUALIFIERS),
            key="expect",
        )
    if expect.stopwatch and expect.quantity != "test_time":
        yield _error(
            item.line,
            f"{name}: a stopwatch gives a test_time, not {expect.quantity!r}",
            'quantity = "test_time"',
            key="expect",
        )
    if expect.low is not None and expect.high is not None and expect.low > expect.high:
        yield _error(
            item.line, f"{name}: low {expect.low} is above high {expect.high}", "swap or correct them", key="expect"
        )
    before = _before(plan, [item])
    yield from _check_condition(plan, item.when, item.line, name, before | _loop_mates(plan, item))
    yield from _check_condition(plan, item.judge_when, item.line, name, before, "judge_when")
    yield from _check_limit(plan, item.limit, item.line, name, knowledge)
    if item.note.startswith("@") and item.note[1:] not in plan.messages:
        yield _error(
            item.line, f"{name}: message {item.note!r} is not known", nearest(item.note[1:], plan.messages), "note"
        )
    for slot in re.findall(r"\{([^{}|]+)", plan.note_of(item)):
        if not re.fullmatch(r"(item|result|job|visit)\.[A-Za-z0-9_.]+", slot.strip()):
            yield _error(
                item.line, f"{name}: note has {{{slot}}}, which is no source", "write {job.KEY|words}", key="note"
            )
        yield from _check_source(plan, slot, item.line, name, "note")
    for source in (expect.seconds_from, expect.same_as, expect.not_before):
        yield from _check_source(plan, source, item.line, name, "expect")
    if item.limit is not None and not item.outside:
        yield _error(item.line, f"{name} has a limit but no outside", "say what to do when it is outside", key="limit")
    if expect.good and not item.outside:
        yield _error(
            item.line, f"{name} has an answer that is not good but no outside", "say what to do then", key="expect"
        )
    if item.judge_when.terms and not item.not_judged:
        yield _error(
            item.line, f"{name} has judge_when but no not_judged", "say why there is no verdict", key="judge_when"
        )
    yield from _check_killer(plan, item)
    for other in item.rests_on:
        if other not in before:
            yield _error(
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
        yield _error(
            item.line,
            f"item {item.id!r} is a killer without a repeat",
            'add a later item with repeats, or once = "why nothing undoes it"',
            key="killer",
        )
    if item.killer and not item.mandatory:
        yield _error(
            item.line,
            f"item {item.id!r} is a killer but not mandatory",
            "a killer is always mandatory",
            key="mandatory",
        )
    if item.repeats and item.repeats not in _before(plan, [item]):
        yield _error(
            item.line,
            f"item {item.id!r}: repeats {item.repeats!r}, which is no earlier item",
            "name the killer",
            key="repeats",
        )
    if (item.on_outside != "accept" or item.outside_twice == "unsafe") and not item.emergency:
        yield _error(
            item.line,
            f"item {item.id!r} leads to the unsafe path without an emergency",
            "name one: products, smell_of_gas",
        )


def _check_condition(
    plan: Plan, condition: Condition, line: int, name: str, before: set[str], where: str = "when"
) -> Iterator[Found]:
    results = {r.id for r in plan.results}
    for head, rest, values in _single_terms(condition):
        if head == "gas" and (wrong := [v for v in values if v not in ("ng", "lpg")]):
            yield _error(line, f"{name}: gas {wrong[0]!r} is not known", "ng or lpg", key=where)
        if head == "answer" and rest not in before:
            hint = "conditions look back, not forward" if plan.has_item(rest) else nearest(rest, before)
            yield _error(line, f"{name}: condition on {rest!r}, which is not asked before it", hint, key=where)
        elif head == "answer" and (known := _answers(plan.item(rest))):
            for value in values:
                if value not in known:
                    yield _error(line, f"{name}: {rest!r} is never {value!r}", nearest(value, known), key=where)
        if head == "job" and not is_job_key(rest):
            yield _error(line, f"{name}: a job has no {rest}", nearest(rest, JOB_KEYS), key=where)
        if head == "cause" and rest not in {"any", *(c.id for c in plan.causes)}:
            yield _error(
                line, f"{name}: cause {rest!r} is not known", "name one of the plan's causes, or any", key=where
            )
        if head == "verdict":
            if rest not in results and not plan.has_item(rest):
                yield _error(
                    line,
                    f"{name}: condition on the verdict of {rest!r}, which is not known",
                    nearest(rest, results),
                    key=where,
                )
            for value in values:
                if value not in ("within", "outside", "too_close"):
                    yield _error(line, f"{name}: a verdict is never {value!r}", "within, outside, too_close", key=where)


def _single_terms(condition: Condition) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """The terms with "answer.a|b" taken apart: head, one name, values."""
    for key, values in condition.terms:
        head, _, rest = key.partition(".")
        for one in rest.split("|"):
            yield head, one, values


def _answers(item: Item) -> set[str]:
    common = {"given", "ever", "absent", "no_reading", "not_fitted", "no_access"}
    match item.expect.kind:
        case "yes_no":
            return common | {"yes", "no"}
        case "choice":
            return common | set(item.expect.phrases)
        case "state":
            return common | {"done"}
        case _:
            return set()


def _check_limit(plan: Plan, rule: LimitRule | None, line: int, name: str, knowledge: Knowledge) -> Iterator[Found]:
    if rule is None:
        return
    own = rule.low is not None or rule.high is not None or bool(rule.around)
    if own and not rule.source:
        yield _error(
            line,
            f"{name}: the limit has no source",
            'say where the bound comes from, or "common practice"',
            key="limit",
        )
    if rule.low is not None and rule.high is not None and rule.low > rule.high:
        yield _error(
            line,
            f"{name}: the limit's low {rule.low} is above its high {rule.high}",
            "swap or correct them",
            key="limit",
        )
    if rule.around and rule.minus is None and rule.plus is None and rule.minus_pct is None and rule.plus_pct is None:
        yield _error(
            line,
            f"{name}: the limit is around {rule.around!r} but leaves no bound",
            "give minus, plus, minus_pct or plus_pct",
            key="limit",
        )
    for gas, id in rule.trade.items():
        if not knowledge.has_limit(id):
            yield _error(
                line, f"{name}: trade limit {id!r} ({gas}) is not known", nearest(id, knowledge.limit_ids), key="limit"
            )
    yield from _check_source(plan, rule.around, line, name, "limit")


def _check_source(plan: Plan, source: str, line: int, name: str, where: str) -> Iterator[Found]:
    results = {r.id for r in plan.results}
    items = {i.id for i in plan.items()}
    for reference in references(source):
        head, _, key = reference.partition(".")
        if head == "item" and key not in items:
            yield _error(line, f"{name}: item.{key} is not known", nearest(key, items), key=where)
        if head == "result" and key not in results:
            yield _error(line, f"{name}: result.{key} is not known", nearest(key, results), key=where)
        if head == "job" and not is_job_key(key):
            yield _error(line, f"{name}: a job has no {key}", nearest(key, JOB_KEYS), key=where)
        if head == "visit" and reference not in VISIT_KEYS:
            yield _error(line, f"{name}: {reference} is not known", nearest(reference, VISIT_KEYS), key=where)


def _check_loop(plan: Plan, loop: Loop) -> Iterator[Found]:
    items = {i.id for i in plan.items()}
    for id in loop.items:
        if id not in items:
            yield _error(loop.line, f"loop {loop.id!r}: item {id!r} is not known", nearest(id, items), key="items")
    known = [plan.item(i) for i in loop.items if i in items]
    if len({i.chunk for i in known}) > 1:
        yield _error(loop.line, f"loop {loop.id!r} runs over several chunks", "keep a loop in one place", key="items")
    if not loop.until.terms:
        yield _error(loop.line, f"loop {loop.id!r} has no end: until is empty", "say when it is over", key="until")
    if not any(key.partition(".")[2] in loop.items or key.startswith("verdict.") for key, _ in loop.until.terms):
        yield _error(
            loop.line,
            f"loop {loop.id!r} has no exit: nothing inside it can end it",
            "let until name one of its items",
            key="until",
        )
    yield from _check_condition(plan, loop.until, loop.line, f"loop {loop.id!r}", items, "until")
    if loop.spent_unsafe and not loop.emergency:
        yield _error(loop.line, f"loop {loop.id!r} leads to the unsafe path without an emergency", "name one")


def _check_result(plan: Plan, result: PlanResult, knowledge: Knowledge) -> Iterator[Found]:
    name = f"result {result.id!r}"
    keys = knowledge.computations.get(result.compute)
    if keys is None:
        yield _error(
            result.line,
            f"{name}: computation {result.compute!r} is not known",
            nearest(result.compute, knowledge.computations),
            key="compute",
        )
    for key, source in result.given.items():
        if keys is not None and key not in keys:
            yield _error(result.line, f"{name}: {result.compute} takes no {key!r}", nearest(key, keys), key="given")
        yield from _check_source(plan, source, result.line, name, "given")
    if result.quantity and result.quantity not in knowledge.quantities:
        yield _error(
            result.line,
            f"{name}: quantity {result.quantity!r} is not known",
            nearest(result.quantity, knowledge.quantities),
            key="quantity",
        )
    if not result.source:
        yield _error(result.line, f"{name} has no source", "say where the formula comes from")
    items = {i.id for i in plan.items()}
    yield from _check_condition(plan, result.when, result.line, name, items)
    yield from _check_condition(plan, result.judge_when, result.line, name, items, "judge_when")
    yield from _check_limit(plan, result.limit, result.line, name, knowledge)
    if result.limit is not None and not result.outside:
        yield _error(
            result.line, f"{name} has a limit but no outside", "say what to do when it is outside", key="limit"
        )
    if result.judge_when.terms and not result.not_judged:
        yield _error(
            result.line, f"{name} has judge_when but no not_judged", "say why there is no verdict", key="judge_when"
        )
    if result.outside_twice == "unsafe" and not result.emergency:
        yield _error(
            result.line, f"{name} leads to the unsafe path without an emergency", "name one: products, smell_of_gas"
        )
    for id in result.read_again:
        if id not in items:
            yield _error(
                result.line, f"{name}: read_again names {id!r}, which is no item", nearest(id, items), key="read_again"
            )


def _check_questions(plan: Plan) -> Iterator[Found]:
    items = {i.id for i in plan.items()}
    for question in plan.questions:
        name = f"question {question.id!r}"
        if comparison(question.require) is None:
            yield _error(
                question.line,
                f"{name}: require {question.require!r} is no comparison",
                'write "A <= B", or "A near B by 0.3"',
                key="require",
            )
        for id in question.items:
            if id not in items:
                yield _error(question.line, f"{name}: item {id!r} is not known", nearest(id, items), key="items")
        yield from _check_source(plan, question.require, question.line, name, "require")
        if not question.source:
            yield _error(question.line, f"{name} has no source", 'say why they go together, or "physics"')


def _check_cycles(plan: Plan) -> Iterator[Found]:
    """Results that need each other can never be worked out."""
    needs = {
        r.id: {x.split(".", 1)[1] for s in r.given.values() for x in references(s) if x.startswith("result.")}
        for r in plan.results
    }
    for result in plan.results:
        seen: set[str] = set()
        todo = list(needs[result.id])
        while todo:
            id = todo.pop()
            if id == result.id:
                yield _error(result.line, f"result {result.id!r} rests on itself", "take the circle apart", key="given")
                break
            if id not in seen:
                seen.add(id)
                todo += needs.get(id, ())
    order = [r.id for r in plan.results]
    for result in plan.results:
        for id in needs[result.id]:
            if id in order and order.index(id) > order.index(result.id):
                yield _error(
                    result.line,
                    f"result {result.id!r} needs {id!r}, which stands after it",
                    "put it before",
                    key="given",
                )
