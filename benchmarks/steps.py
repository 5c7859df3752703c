"""The name of a step in, what it expects out: "co2", "digits", or an item of a plan such as "service/co2_max"."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass

from handsfree.language import Language
from handsfree.language.samples import expectation_of
from handsfree.model import Expectation
from handsfree.plans import plan as plans
from handsfree.plans.read import load_plan

PLANS = ("commissioning", "service", "short_commissioning", "landlord_check", "breakdown", "hot_water_fault")


@dataclass(frozen=True, slots=True)
class Step:
    """An item that is answered by voice."""

    name: str
    """plan/item"""
    kind: str
    quantity: str
    phrases: Mapping[str, tuple[str, ...]]
    killer: bool


@functools.cache
def plan_items() -> tuple[Step, ...]:
    """Every item of the plans that come with the program, each kind of step once a plan."""
    return tuple(
        Step(f"{name}/{i.id}", i.expect.kind, i.expect.quantity or "", i.expect.phrases, i.killer)
        for name in PLANS
        for i in load_plan(name).items()
    )


@functools.cache
def _step_of_plan(what: str) -> Expectation:
    plan, _, item = what.partition("/")
    return plans.expectation_of(load_plan(plan).item(item), "ng")


def expectation_named(what: str, language: Language) -> Expectation:
    """What the step of that name expects.

    Raises:
        BadInput: there is no such kind, quantity or plan.
        KeyError: the plan has no such item.
    """
    return _step_of_plan(what) if "/" in what else expectation_of(what, language.quantities)
