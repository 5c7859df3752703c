"""Confirmed readings in; results, verdicts, voided results and questions out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from decimal import Decimal
from operator import attrgetter
from typing import Any

from handsfree.dialogue.crosschecking import CrossChecks, crossed
from handsfree.dialogue.lacking import lacking_for, no_limit
from handsfree.dialogue.route import View, chosen_result, visit_day
from handsfree.dialogue.turn import Turn
from handsfree.errors import BadInput
from handsfree.events import Computed, Judged, NotJudged, Voided
from handsfree.model import Limit, Result, Verdict, WorkedOut
from handsfree.plans.plan import DIFFERENCE, Item, LimitRule, PlanResult, Question
from handsfree.plans.sources import as_decimal, comparison, value_of


@dataclass(frozen=True, slots=True)
class Trade:
    """The trade's doors, so that the dialogue can be tried without them."""

    work_out: Callable[[str, Mapping[str, str]], WorkedOut]
    trade_limit: Callable[[str, dt.date], Limit]
    judge: Callable[[Decimal, Limit, Decimal | None, Decimal | None], Verdict]
    """value, limit, spread, s of the timed run"""
    cross_checks: CrossChecks | None = None


# ----------------------------------------------------------------------------------------------- limits


def limit_for(view: View, rule: LimitRule | None, unit: str, trade: Trade) -> Limit | None:
    """The limit that rules now: the maker's, else what it is held against, else the trade's, else the plan's own; None
    without one."""
    if rule is None:
        return None
    if rule.maker and (limit := view.job.limit(rule.maker)):
        return limit
    if rule.around and (limit := _around(view, rule, unit)):
        return limit
    if (id := rule.trade.get(view.state.gas)) and (day := visit_day(view)):
        return trade.trade_limit(id, day)
    if rule.low is None and rule.high is None:
        return None
    return Limit(
        "plan",
        rule.unit or unit,
        rule.low,
        rule.high,
        rule.low_strict,
        rule.high_strict,
        rule.authority,
        rule.source,
        rule.sure,
    )


def _around(view: View, rule: LimitRule, unit: str) -> Limit | None:
    found = value_of(rule.around, view.look_up)
    base = None if found is None else as_decimal(found)
    if base is None:
        return None
    low = base - rule.minus if rule.minus is not None else None
    high = base + rule.plus if rule.plus is not None else None
    if rule.minus_pct is not None:
        low = base * (1 - rule.minus_pct / 100)
    if rule.plus_pct is not None:
        high = base * (1 + rule.plus_pct / 100)
    source, sure = _source_around(view, rule)
    return Limit(
        rule.around, rule.unit or unit, _short(low), _short(high), rule.low_strict, rule.high_strict,
        rule.authority, source, sure,
    )  # fmt: skip


def _source_around(view: View, rule: LimitRule) -> tuple[str, str]:
    """Where the limit comes from and how sure that is: what a result was really worked out by (the edition in force on
    the day), else what the plan says."""
    head, _, id = rule.around.partition(".")
    found = view.state.results.get(id) if head == "result" else None
    return (found[1].source, found[1].sure) if found else (rule.source, rule.sure)


def _short(bound: Decimal | None) -> Decimal | None:
    """A computed bound to three figures, without a tail of zeros: it is spoken."""
    if bound is None or not bound:
        return bound
    places = max(0, 2 - bound.adjusted())
    text = format(bound.quantize(Decimal(1).scaleb(-places)), "f")
    return Decimal(text.rstrip("0").rstrip(".") if "." in text else text)


def judge_item(view: View, item: Item, value: str, unit: str, trade: Trade) -> Verdict | None:
    """The verdict on a value of the item; None where it has no limit or may not be judged."""
    if item.expect.kind == "date":
        return _judge_date(view, item, value)
    number = as_decimal(value)
    if number is None or not view.holds(item.judge_when):
        return None
    limit = limit_for(view, item.limit, unit, trade)
    return None if limit is None else trade.judge(number, limit, None, None)


def _judge_date(view: View, item: Item, value: str) -> Verdict | None:
    earliest = value_of(item.expect.not_before, view.look_up) if item.expect.not_before else None
    if earliest is None:
        return None
    inside = value >= earliest
    limit = Limit(
        "not before", "date", authority="practice", source=item.source or "in date on the day", sure="common practice"
    )
    words = "in date on the day of the visit" if inside else "out of date on the day of the visit"
    return Verdict("within" if inside else "outside", limit, Decimal(0), words)


_LIMIT_FIELDS = tuple(each.name for each in fields(Limit))
_of_limit = attrgetter(*_LIMIT_FIELDS)


def limit_to_json(limit: Limit) -> dict[str, Any]:
    """The limit as the journal keeps it: bounds as decimal strings."""
    row: dict[str, Any] = dict(zip(_LIMIT_FIELDS, _of_limit(limit), strict=True))
    for key in ("low", "high"):
        row[key] = None if row[key] is None else format(row[key], "f")
    return row


def emit_verdict(turn: Turn, id: str, value: str, unit: str, verdict: Verdict, round: int) -> None:
    turn.emit(
        Judged(
            item=id,
            result=verdict.result,
            value=value,
            unit=unit,
            limit=limit_to_json(verdict.limit),
            words=verdict.words,
            round=round,
        )
    )


def judge_confirmed(turn: Turn, item: Item, trade: Trade) -> str:
    """The verdict on the value just confirmed, or why there is none, in words; empty where there is nothing to tell."""
    value = turn.state.values.get(item.id)
    if value is None or value.absent:
        return ""
    verdict = judge_item(turn.view, item, value.text, value.unit, trade)
    if verdict is not None:
        emit_verdict(turn, item.id, value.text, value.unit, verdict, value.round)
        return ""
    return _not_judged(turn, item)


def _not_judged(turn: Turn, item: Item) -> str:
    """Keep why a value has no verdict; empty where it needs none."""
    if item.limit is None:
        return ""
    because = no_limit(turn.view, item.limit) if turn.view.holds(item.judge_when) else item.not_judged
    if because and turn.state.not_judged.get(item.id) != because:
        turn.emit(NotJudged(item=item.id, because=because))
    return because


def judge_again(turn: Turn, trade: Trade) -> tuple[str, ...]:
    """Judge every value whose verdict is missing (a cut) or whose limit has moved (a corrected certificate); the items
    that are now outside."""
    outside = []
    for item in turn.plan.items():
        value = turn.state.values.get(item.id)
        if value is None or value.absent or (item.limit is None and not item.expect.not_before):
            continue
        ruling = turn.state.rulings.get(item.id)
        if ruling is not None and ruling.value == value.text and not _may_move(item):
            continue
        verdict = judge_item(turn.view, item, value.text, value.unit, trade)
        if verdict is None:
            if item.id not in turn.state.not_judged:
                _not_judged(turn, item)
        elif ruling is None or ruling.value != value.text or dict(ruling.limit) != limit_to_json(verdict.limit):
            emit_verdict(turn, item.id, value.text, value.unit, verdict, value.round)
            outside += [item.id] if verdict.result == "outside" else []
    return tuple(outside)


def _may_move(item: Item) -> bool:
    """The verdict on a value that stands may change: its limit, or whether it is judged, hangs on other values."""
    around = item.limit.around if item.limit else ""
    return bool(around or item.expect.not_before or item.judge_when.terms)


# ---------------------------------------------------------------------------------------------- results


@dataclass(frozen=True, slots=True)
class Reworked:
    """What changed among the results."""

    voided: tuple[str, ...]
    """ids of results that no longer stand and were not worked out again"""
    worked_out: tuple[str, ...]
    failed: tuple[tuple[str, str], ...]
    """id, why"""
    lacking: tuple[tuple[str, str], ...]
    """id, what the job file does not say"""


def rework(turn: Turn, trade: Trade) -> Reworked:
    """Bring every result up to date with the values that stand: void, work out, judge."""
    voided: list[str] = []
    worked: list[str] = []
    failed: list[tuple[str, str]] = []
    lacking: list[tuple[str, str]] = []
    for rule in turn.plan.results:
        given = _given(turn.view, rule)
        stood = turn.state.results.get(rule.id)
        if stood is not None and given == dict(stood[1].given):
            _judge_again(turn, rule, trade)
            continue
        if stood is not None:
            turn.emit(Voided(item=rule.id, event=stood[0], because=_because(turn, rule, stood[0])))
        if given is None:
            voided.extend([rule.id] if stood is not None else [])
            why = lacking_for(turn.view, rule)
            if why and turn.state.not_judged.get(rule.id) != why:
                lacking.append((rule.id, why))
                turn.emit(NotJudged(item=rule.id, because=why))
        elif why := _work_out(turn, rule, given, trade):
            failed.extend([(rule.id, why)] if turn.state.not_judged.get(rule.id) != why else [])
            if turn.state.not_judged.get(rule.id) != why:
                turn.emit(NotJudged(item=rule.id, because=why))
        else:
            worked.append(rule.id)
    return Reworked(tuple(voided), tuple(worked), tuple(failed), tuple(lacking))


def _given(view: View, rule: PlanResult) -> dict[str, str] | None:
    if not view.holds(rule.when):
        return None
    given = {}
    for key, source in rule.given.items():
        value = value_of(source, view.look_up)
        if value is None:
            return None
        given[key] = value
    return given


def _because(turn: Turn, rule: PlanResult, since: int) -> str:
    newer = [i for i in turn.plan.inputs_of(rule) if i in turn.state.values and turn.state.values[i].number > since]
    gone = [i for i in turn.plan.inputs_of(rule) if i not in turn.state.values]
    return ", ".join(newer + gone) or "what it rests on changed"


def _difference(given: Mapping[str, str]) -> WorkedOut:
    """value - less, the one sum that a plan may ask for outside the trade's computations. Raises BadInput: not
    numbers."""
    value, less = as_decimal(given.get("value", "")), as_decimal(given.get("less", ""))
    if value is None or less is None:
        raise BadInput("a difference takes two numbers, value and less", "correct the plan")
    row = Result("difference", float(value - less), given.get("unit", "-"))
    return WorkedOut(DIFFERENCE, given, (row,), "value - less", "arithmetic", "computed")


def _work_out(turn: Turn, rule: PlanResult, given: Mapping[str, str], trade: Trade) -> str:
    """Work a result out and judge it; why not, in words, where it cannot be."""
    try:
        done = _difference(given) if rule.compute == DIFFERENCE else trade.work_out(rule.compute, given)
    except BadInput as error:
        return error.message
    rows = tuple(
        {"name": r.name, "value": _plain(r.value), "unit": r.unit, "basis": r.basis, "spread": r.spread}
        for r in done.results
    )
    if chosen_result(rows, rule.take, rule.basis) is None:
        return f"no result {rule.take} {rule.basis}".strip()
    turn.emit(
        Computed(
            item=rule.id,
            computation=done.computation,
            given=dict(given),
            results=rows,
            formula=done.formula,
            source=done.source,
            sure=done.sure,
            from_items=turn.plan.inputs_of(rule),
        )
    )
    _judge_result(turn, rule, trade)
    return ""


def _plain(value: float | str) -> str:
    return value if isinstance(value, str) else format(Decimal(repr(float(value))), "f")


def _verdict_on(turn: Turn, rule: PlanResult, trade: Trade) -> tuple[str, str, Verdict] | None:
    found = turn.state.results[rule.id][1]
    row = chosen_result(found.results, rule.take, rule.basis)
    assert row is not None
    unit = str(row["unit"])
    limit = limit_for(turn.view, rule.limit, unit, trade)
    number = as_decimal(str(row["value"]))
    if limit is None or number is None:
        return None
    spread = row.get("spread")
    off = None if spread is None else Decimal(repr(float(str(spread))))
    return str(row["value"]), unit, trade.judge(number, limit, off, as_decimal(found.given.get("time_s", "")))


def _judge_result(turn: Turn, rule: PlanResult, trade: Trade) -> None:
    if rule.limit is None:
        return
    if not turn.view.holds(rule.judge_when):
        if turn.state.not_judged.get(rule.id) != rule.not_judged:
            turn.emit(NotJudged(item=rule.id, because=rule.not_judged))
        return
    verdict = _verdict_on(turn, rule, trade)
    if verdict is None:
        because = no_limit(turn.view, rule.limit)
        if because and turn.state.not_judged.get(rule.id) != because:
            turn.emit(NotJudged(item=rule.id, because=because))
    else:
        round = max((turn.view.round_of(i) for i in turn.plan.inputs_of(rule)), default=1)
        emit_verdict(turn, rule.id, verdict[0], verdict[1], verdict[2], round)


def _judge_again(turn: Turn, rule: PlanResult, trade: Trade) -> None:
    """The value stands; its limit may have moved (a limit that is itself worked out, an instrument's date
    corrected)."""
    if rule.limit is None:
        return
    ruling = turn.state.rulings.get(rule.id)
    may = turn.view.holds(rule.judge_when)
    if may != (ruling is not None):
        if may or turn.state.not_judged.get(rule.id) != rule.not_judged:
            _judge_result(turn, rule, trade)
        return
    if ruling is None or not rule.limit.around:
        return
    verdict = _verdict_on(turn, rule, trade)
    if verdict and limit_to_json(verdict[2].limit) != dict(ruling.limit):
        _judge_result(turn, rule, trade)


# -------------------------------------------------------------------------------------------- questions


def open_question(view: View, trade: Trade) -> tuple[str, tuple[str, ...], str] | None:
    """A question that the values raise and that was not answered for them: id, items, the plan's words."""
    for question in view.plan.questions:
        if _raised(view, question) and not _was_answered(view, question.id, question.items):
            return question.id, question.items, question.ask
    for item in view.plan.items():
        id = f"same_as:{item.id}"
        if item.expect.same_as and _differs(view, item) and not _was_answered(view, id, (item.id,)):
            return id, (item.id,), ""
    if trade.cross_checks is None:
        return None
    put = crossed(view, trade.cross_checks)
    return next(((q.id, q.items, q.ask) for q in put if not _was_answered(view, q.id, q.items)), None)


def _was_answered(view: View, id: str, items: tuple[str, ...]) -> bool:
    about = tuple(view.state.values[i].number if i in view.state.values else 0 for i in items)
    return view.state.settled_questions.get(id) == about


def _raised(view: View, question: Question) -> bool:
    taken = comparison(question.require)
    if taken is None or not view.holds(question.when):
        return False
    if any(i not in view.state.values or view.state.values[i].absent for i in question.items):
        return False
    left, right = (value_of(side, view.look_up) for side in (taken.left, taken.right))
    if left is None or right is None:
        return False
    numbers = as_decimal(left), as_decimal(right)
    return numbers[0] is not None and numbers[1] is not None and not taken.holds(numbers[0], numbers[1])


def _differs(view: View, item: Item) -> bool:
    value = view.state.values.get(item.id)
    known = value_of(item.expect.same_as, view.look_up)
    return value is not None and not value.absent and known is not None and _bare(value.text) != _bare(known)


def _bare(text: str) -> str:
    return "".join(c for c in text.upper() if c.isalnum())
