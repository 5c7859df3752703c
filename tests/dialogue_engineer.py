"""An engineer whose every value is good: answers whatever is asked, from the plan alone."""

from __future__ import annotations

from decimal import Decimal

from dialogue_story import Story, language

from handsfree.dialogue.inputs import HeardInput
from handsfree.dialogue.prompts import phase
from handsfree.dialogue.working import limit_for
from handsfree.model import Command, Heard, Nothing, Outcome, Reading, Readings, Text
from handsfree.plans.plan import Item


def good_value(visit: Story, item: Item) -> Decimal:
    """A value inside the item's limit, else the middle of the typical band; a meter moves on as the rate wants it."""
    expect = item.expect
    quantity = language().quantities[expect.quantity or ""]
    if item.id == "meter_end":
        return Decimal(visit.state.values["meter_start"].text) + Decimal("0.100")
    if item.id == "rate_time":
        return Decimal(142)
    if item.id == "hot_pressure":
        return Decimal(visit.state.values["cold_pressure"].text) + Decimal("0.4")
    if item.id in ("hot_flow", "cold_temp", "hot_temp"):
        return {"hot_flow": Decimal("9.8"), "cold_temp": Decimal(10), "hot_temp": Decimal(44)}[item.id]
    if item.id == "resistance":
        return Decimal(3320)  # 10k type at 52.5 degC, the middle of a pipe's usual temperatures
    if item.id in ("water_temp", "flow_temp") and visit.plan.has_item("resistance"):
        return Decimal("52.5")
    if item.id == "return_temp":
        return Decimal(visit.state.values["flow_temp"].text) - 18
    if item.id in ("working", "inlet"):
        base = Decimal("37") if visit.state.gas == "lpg" else Decimal("20.5")
        return base if item.id == "working" else base - Decimal("0.5")
    low, high = quantity.typical_low, quantity.typical_high
    limit = limit_for(visit.engine_view(), item.limit, quantity.unit or "", visit.engine._trade)
    if limit is not None and limit.low is not None and limit.high is not None:
        low, high = limit.low, limit.high
    elif limit is not None and limit.high is not None:
        low, high = Decimal(0), limit.high / 2
    elif limit is not None and limit.low is not None:
        low = high = limit.low + Decimal("0.3")
    assert low is not None
    assert high is not None
    middle = (Decimal(low) + Decimal(high)) / 2
    return middle.quantize(Decimal(1).scaleb(-(quantity.decimals or 0)))


def good_answer(visit: Story) -> Outcome:
    """What this engineer says next."""
    place = phase(visit.engine_view())
    if place in ("proposal", "asked", "question", "revisit"):
        return Command("yes")
    item = visit.plan.item(visit.state.item or "")
    expect = item.expect
    match expect.kind:
        case "quantity":
            quantity = language().quantities[expect.quantity or ""]
            return Readings((Reading(good_value(visit, item), expect.quantity, quantity.unit, expect.qualifier),))
        case "number":
            return Readings((Reading(Decimal(1)),))
        case "yes_no":
            return Command(expect.good[0] if expect.good else "no")
        case "choice" | "state":
            if item.id == "plate_gas":
                return Text(visit.state.gas, "choice")
            good = [a for a in expect.phrases if not expect.good or a in expect.good]
            return Text(good[0], "choice")
        case "date":
            return Text("2027-03-03", "date")
        case "serial":
            return Text(visit.job.get("boiler.serial") or "AB12", "serial")
        case _:
            return Nothing("talk")


def work_through(visit: Story, most: int = 400, until: str | None = None) -> Story:
    """Answer until nothing is left to ask, or `until` is asked."""
    for _ in range(most):
        if not visit.state.item or visit.state.item == until:
            return visit
        visit.clock_s += 3.0
        visit.give(HeardInput(Heard("some words", good_answer(visit), start_s=visit.clock_s, end_s=visit.clock_s + 1)))
    raise AssertionError(f"stuck at {visit.state.item}: {visit.said}")
