"""Values and results that stand in, the trade's questions about those that do not go together out; none is changed."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from handsfree.dialogue.route import View, chosen_result, visit_day
from handsfree.model import Gas
from handsfree.plans.plan import Item, PlanResult
from handsfree.plans.sources import as_decimal, value_of
from handsfree.trade.crosschecks import (
    CrossQuestion,
    changes_since,
    date_check,
    efficiency_check,
    plate_check,
    serial_check,
)

CrossChecks = Callable[[Mapping[str, Decimal], Gas], tuple[CrossQuestion, ...]]
_PLATE = "trade:plate:"
_PAST_DATES = {"boiler.installed": "boiler installed", "last_visit.date": "last visit"}
"""key of the job -> how it is spoken of"""


@dataclass(frozen=True, slots=True)
class Crossed:
    """A question of the trade, with the items that it is about."""

    id: str
    """tells it from the same question about other items"""
    items: tuple[str, ...]
    """the last of them is read again when the engineer says no; none where the question is about the job file"""
    ask: str


def crossed(view: View, cross_checks: CrossChecks) -> Iterator[Crossed]:
    """Every question that the trade raises and the plan does not put itself, by its own id or about the same items."""
    own = [set(q.items) for q in view.plan.questions]
    own_ids = {q.id for q in view.plan.questions}
    for question, items in _raised(view, cross_checks):
        if items and question.id not in own_ids and set(items) not in own:
            yield Crossed(f"trade:{question.id}:{'+'.join(items)}", items, question.ask)
    yield from _against_the_plate(view)
    yield from _of_the_job(view)


def result_in_question(view: View, id: str) -> PlanResult | None:
    """The result that a question is about as a whole: a no opens all of its readings again."""
    return view.plan.result(id.removeprefix(_PLATE)) if id.startswith(_PLATE) else None


def _raised(view: View, cross_checks: CrossChecks) -> Iterator[tuple[CrossQuestion, tuple[str, ...]]]:
    taken = [(i, number) for i, text in _answered(view, "quantity") if (number := as_decimal(text)) is not None]
    for readings in _states(view, taken):
        numbers = {key: found.number for key, found in readings.items()}
        for question in cross_checks(numbers, _gas(view)):
            items = (i for key in question.involves if key in readings for i in readings[key].items)
            yield question, tuple(dict.fromkeys(items))
    for item, text in _answered(view, "serial"):
        for question in serial_check(text, _serials(view, item)):
            yield question, (item.id,)
    for item, number in taken:
        for question in _alone(view, item, number):
            yield question, (item.id,)


def _gas(view: View) -> Gas:
    return "lpg" if view.state.gas == "lpg" else "ng"


def _answered(view: View, kind: str) -> Iterator[tuple[Item, str]]:
    for item in view.plan.items():
        value = view.state.values.get(item.id)
        if value is not None and value.kind == kind:
            yield item, value.text


# ------------------------------------------------------------------------------------- readings of one state


@dataclass(frozen=True, slots=True)
class _Found:
    number: Decimal
    items: tuple[str, ...]


def _states(view: View, taken: list[tuple[Item, Decimal]]) -> Iterator[Mapping[str, _Found]]:
    """The readings that belong together, a chunk at a time.

    A quantity that several chunks have (the flue gas before the cleaning and after it) counts only in its own chunk;
    one that a single chunk has goes with every other. Within a chunk the later item counts.
    """
    chunks: dict[str, dict[str, _Found]] = {}
    for item, number in taken:
        chunks.setdefault(item.chunk, {})[_key(item)] = _Found(number, (item.id,))
    homes = _homes(view, {key for readings in chunks.values() for key in readings})
    shared = {k: f for readings in chunks.values() for k, f in readings.items() if homes[k] == 1}
    shared |= dict(_worked_out(view))
    for readings in chunks.values():
        yield {**shared, **readings}


def _homes(view: View, keys: set[str]) -> Counter[str]:
    """How many chunks ask for each of these quantities in this visit."""
    asking = {
        (key, item.chunk)
        for item in view.plan.items()
        if item.expect.kind == "quantity" and (key := _key(item)) in keys and view.applies(item)
    }
    return Counter(key for key, _ in asking)


def _key(item: Item) -> str:
    quantity, qualifier = item.expect.quantity or "", item.expect.qualifier
    return f"{quantity}.{qualifier}" if qualifier else quantity


def _worked_out(view: View) -> Iterator[tuple[str, _Found]]:
    for rule in view.plan.results:
        key = {"heat_input": f"heat_input.{rule.basis}"}.get(rule.compute, rule.compute)
        number = as_decimal(view.result_value(rule.id) or "")
        if number is not None and key in ("heat_input.gross", "hot_water_output", "heat_output"):
            yield key, _Found(number, _standing(view, view.plan.inputs_of(rule)))


def _standing(view: View, items: Iterable[str]) -> tuple[str, ...]:
    return tuple(i for i in items if i in view.state.values)


# ---------------------------------------------------------------------------------------- one value by itself


def _alone(view: View, item: Item, number: Decimal) -> tuple[CrossQuestion, ...]:
    """A reading against what the gas can give, and against the last visit.

    What is outside its limit was read again and accepted already: that it also changed is not asked.
    """
    quantity = item.expect.quantity or ""
    if quantity == "efficiency":
        # A reading that does not say its basis is held against the higher ceiling, the one of net.
        return efficiency_check(number, _gas(view), "gross" if item.expect.qualifier == "gross" else "net")
    last = as_decimal(view.job.get(f"last_visit.values.{item.id}") or "")
    if last is None or view.state.verdict(item.id) == "outside":
        return ()
    return changes_since({quantity: last}, {quantity: number})


def _serials(view: View, item: Item) -> dict[str, str]:
    """Serial numbers that stand for something else: the instruments of the job, other appliances of the visit."""
    instruments = view.job.find("instruments")
    named = instruments if isinstance(instruments, Mapping) else {}
    found = {view.job.get(f"instruments.{name}.serial") or "": str(name) for name in named}
    found |= {text: other.say for other, text in _answered(view, "serial") if other.id != item.id}
    return {serial: owner for serial, owner in found.items() if serial}


def _of_the_job(view: View) -> Iterator[Crossed]:
    """Dates of the job file that must lie behind the visit: they were not read here, so nothing is read again."""
    day = visit_day(view)
    for key, said in _PAST_DATES.items():
        try:
            given = dt.date.fromisoformat(view.job.get(key) or "")
        except ValueError:
            continue
        for question in date_check(key, given, day) if day else ():
            yield Crossed(f"trade:{question.id}:{key}", (), f"The job file's date: {said}. {question.ask}")


def _against_the_plate(view: View) -> Iterator[Crossed]:
    """Heat input against the maker's plate, where its own limit has not stopped it already."""
    for rule in view.plan.results:
        plate = _plate(view, rule)
        found = view.state.results.get(rule.id)
        row = chosen_result(found[1].results, rule.take, rule.basis) if found else None
        if plate is None or row is None or view.state.verdict(rule.id) == "outside":
            continue
        number = as_decimal(str(row["value"]))
        spread = as_decimal(str(row.get("spread") or 0)) or Decimal(0)
        items = _standing(view, rule.read_again or view.plan.inputs_of(rule))
        if number is not None and items:
            for question in plate_check(number, plate, rule.basis, spread):
                yield Crossed(f"{_PLATE}{rule.id}", items, question.ask)


def _plate(view: View, rule: PlanResult) -> Decimal | None:
    """The maker's heat input in kW that the result is held against, on the result's own basis."""
    around = rule.limit.around if rule.limit else ""
    if rule.compute != "heat_input" or f"_input_{rule.basis}_kw" not in around:
        return None
    return as_decimal(value_of(around, view.look_up) or "")
