"""What a plan refers to in, every reference that leads nowhere out: conditions, limits, sources, loops, results,
questions."""

from __future__ import annotations

from collections.abc import Iterator

from handsfree.plans.job import JOB_KEYS, is_job_key
from handsfree.plans.located import nearest
from handsfree.plans.plan import Condition, Item, LimitRule, Loop, Plan, PlanResult
from handsfree.plans.remarks import Found, Knowledge, error
from handsfree.plans.sources import VISIT_KEYS, comparison, references


def check_condition(
    plan: Plan, condition: Condition, line: int, name: str, before: set[str], where: str = "when"
) -> Iterator[Found]:
    results = {r.id for r in plan.results}
    for head, rest, values in _single_terms(condition):
        if head == "gas" and (wrong := [v for v in values if v not in ("ng", "lpg")]):
            yield error(line, f"{name}: gas {wrong[0]!r} is not known", "ng or lpg", key=where)
        if head == "answer" and rest not in before:
            hint = "conditions look back, not forward" if plan.has_item(rest) else nearest(rest, before)
            yield error(line, f"{name}: condition on {rest!r}, which is not asked before it", hint, key=where)
        elif head == "answer" and (known := _answers(plan.item(rest))):
            for value in values:
                if value not in known:
                    yield error(line, f"{name}: {rest!r} is never {value!r}", nearest(value, known), key=where)
        if head == "job" and not is_job_key(rest):
            yield error(line, f"{name}: a job has no {rest}", nearest(rest, JOB_KEYS), key=where)
        if head == "cause" and rest not in {"any", *(c.id for c in plan.causes)}:
            yield error(
                line, f"{name}: cause {rest!r} is not known", "name one of the plan's causes, or any", key=where
            )
        if head == "verdict":
            if rest not in results and not plan.has_item(rest):
                yield error(
                    line,
                    f"{name}: condition on the verdict of {rest!r}, which is not known",
                    nearest(rest, results),
                    key=where,
                )
            for value in values:
                if value not in ("within", "outside", "too_close"):
                    yield error(line, f"{name}: a verdict is never {value!r}", "within, outside, too_close", key=where)


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


def check_limit(plan: Plan, rule: LimitRule | None, line: int, name: str, knowledge: Knowledge) -> Iterator[Found]:
    if rule is None:
        return
    own = rule.low is not None or rule.high is not None or bool(rule.around)
    if own and not rule.source:
        yield error(
            line,
            f"{name}: the limit has no source",
            'say where the bound comes from, or "common practice"',
            key="limit",
        )
    if rule.low is not None and rule.high is not None and rule.low > rule.high:
        yield error(
            line,
            f"{name}: the limit's low {rule.low} is above its high {rule.high}",
            "swap or correct them",
            key="limit",
        )
    if rule.around and rule.minus is None and rule.plus is None and rule.minus_pct is None and rule.plus_pct is None:
        yield error(
            line,
            f"{name}: the limit is around {rule.around!r} but leaves no bound",
            "give minus, plus, minus_pct or plus_pct",
            key="limit",
        )
    for gas, id in rule.trade.items():
        if not knowledge.has_limit(id):
            yield error(
                line, f"{name}: trade limit {id!r} ({gas}) is not known", nearest(id, knowledge.limit_ids), key="limit"
            )
    yield from check_source(plan, rule.around, line, name, "limit")


def check_source(plan: Plan, source: str, line: int, name: str, where: str) -> Iterator[Found]:
    results = {r.id for r in plan.results}
    items = {i.id for i in plan.items()}
    for reference in references(source):
        head, _, key = reference.partition(".")
        if head == "item" and key not in items:
            yield error(line, f"{name}: item.{key} is not known", nearest(key, items), key=where)
        if head == "result" and key not in results:
            yield error(line, f"{name}: result.{key} is not known", nearest(key, results), key=where)
        if head == "job" and not is_job_key(key):
            yield error(line, f"{name}: a job has no {key}", nearest(key, JOB_KEYS), key=where)
        if head == "visit" and reference not in VISIT_KEYS:
            yield error(line, f"{name}: {reference} is not known", nearest(reference, VISIT_KEYS), key=where)


def check_loop(plan: Plan, loop: Loop) -> Iterator[Found]:
    items = {i.id for i in plan.items()}
    for id in loop.items:
        if id not in items:
            yield error(loop.line, f"loop {loop.id!r}: item {id!r} is not known", nearest(id, items), key="items")
    known = [plan.item(i) for i in loop.items if i in items]
    if len({i.chunk for i in known}) > 1:
        yield error(loop.line, f"loop {loop.id!r} runs over several chunks", "keep a loop in one place", key="items")
    if not loop.until.terms:
        yield error(loop.line, f"loop {loop.id!r} has no end: until is empty", "say when it is over", key="until")
    if not any(key.partition(".")[2] in loop.items or key.startswith("verdict.") for key, _ in loop.until.terms):
        yield error(
            loop.line,
            f"loop {loop.id!r} has no exit: nothing inside it can end it",
            "let until name one of its items",
            key="until",
        )
    yield from check_condition(plan, loop.until, loop.line, f"loop {loop.id!r}", items, "until")
    if loop.spent_unsafe and not loop.emergency:
        yield error(loop.line, f"loop {loop.id!r} leads to the unsafe path without an emergency", "name one")


def check_result(plan: Plan, result: PlanResult, knowledge: Knowledge) -> Iterator[Found]:
    name = f"result {result.id!r}"
    keys = knowledge.computations.get(result.compute)
    if keys is None:
        yield error(
            result.line,
            f"{name}: computation {result.compute!r} is not known",
            nearest(result.compute, knowledge.computations),
            key="compute",
        )
    for key, source in result.given.items():
        if keys is not None and key not in keys:
            yield error(result.line, f"{name}: {result.compute} takes no {key!r}", nearest(key, keys), key="given")
        yield from check_source(plan, source, result.line, name, "given")
    if result.quantity and result.quantity not in knowledge.quantities:
        yield error(
            result.line,
            f"{name}: quantity {result.quantity!r} is not known",
            nearest(result.quantity, knowledge.quantities),
            key="quantity",
        )
    if not result.source:
        yield error(result.line, f"{name} has no source", "say where the formula comes from")
    items = {i.id for i in plan.items()}
    yield from check_condition(plan, result.when, result.line, name, items)
    yield from check_condition(plan, result.judge_when, result.line, name, items, "judge_when")
    yield from check_limit(plan, result.limit, result.line, name, knowledge)
    if result.limit is not None and not result.outside:
        yield error(result.line, f"{name} has a limit but no outside", "say what to do when it is outside", key="limit")
    if result.judge_when.terms and not result.not_judged:
        yield error(
            result.line, f"{name} has judge_when but no not_judged", "say why there is no verdict", key="judge_when"
        )
    if result.outside_twice == "unsafe" and not result.emergency:
        yield error(
            result.line, f"{name} leads to the unsafe path without an emergency", "name one: products, smell_of_gas"
        )
    for id in result.read_again:
        if id not in items:
            yield error(
                result.line, f"{name}: read_again names {id!r}, which is no item", nearest(id, items), key="read_again"
            )


def check_questions(plan: Plan) -> Iterator[Found]:
    items = {i.id for i in plan.items()}
    for question in plan.questions:
        name = f"question {question.id!r}"
        if comparison(question.require) is None:
            yield error(
                question.line,
                f"{name}: require {question.require!r} is no comparison",
                'write "A <= B", or "A near B by 0.3"',
                key="require",
            )
        for id in question.items:
            if id not in items:
                yield error(question.line, f"{name}: item {id!r} is not known", nearest(id, items), key="items")
        yield from check_source(plan, question.require, question.line, name, "require")
        if not question.source:
            yield error(question.line, f"{name} has no source", 'say why they go together, or "physics"')


def check_cycles(plan: Plan) -> Iterator[Found]:
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
                yield error(result.line, f"result {result.id!r} rests on itself", "take the circle apart", key="given")
                break
            if id not in seen:
                seen.add(id)
                todo += needs.get(id, ())
    order = [r.id for r in plan.results]
    for result in plan.results:
        for id in needs[result.id]:
            if id in order and order.index(id) > order.index(result.id):
                yield error(
                    result.line,
                    f"result {result.id!r} needs {id!r}, which stands after it",
                    "put it before",
                    key="given",
                )
