"""Readings and spoken names in, the items that they belong to out."""

from __future__ import annotations

from collections.abc import Mapping

from rapidfuzz import fuzz

from handsfree.dialogue.route import View
from handsfree.model import Reading
from handsfree.plans.plan import Item

_NEAR = 72.0
"""likeness (0..100) that a spoken name needs"""
_MARGIN = 8.0
"""likeness by which it must beat the runner-up"""


def fits(item: Item, reading: Reading) -> bool:
    """The reading can be this item's: same quantity, and no qualifier that contradicts. A bare number fits any
    measured item."""
    expect = item.expect
    if expect.kind == "number":
        return reading.quantity is None
    if expect.kind != "quantity" or reading.quantity not in (None, expect.quantity):
        return False
    if expect.qualifier is None and reading.qualifier and (expect.quantity or "").startswith(f"{reading.qualifier}_"):
        return True  # the name of the quantity says it already: cold_temperature
    return reading.qualifier in (None, expect.qualifier)


def assign(
    view: View, current: Item | None, readings: tuple[Reading, ...], units: Mapping[str, str]
) -> tuple[list[tuple[Item, Reading]], list[Reading]]:
    """Items for the readings of one utterance, and the readings that found none.

    The item on hand comes first; a reading that names another quantity may answer another open item of the same chunk,
    unless a killer item or a timed wait lies between: order follows the work. A bare number in another unit than the
    item's fits nothing.

    Args:
        units: quantity -> its unit.
    """
    pairs: list[tuple[Item, Reading]] = []
    left: list[Reading] = []
    for reading in readings:
        taken = [item.id for item, _ in pairs]
        found = next(
            (
                i
                for i in _candidates(view, current)
                if i.id not in taken and _belongs(i, current, reading) and _same_unit(i, reading, units)
            ),
            None,
        )
        if found is None:
            left.append(reading)
        else:
            pairs.append((found, reading))
    return pairs, left


def _same_unit(item: Item, reading: Reading, units: Mapping[str, str]) -> bool:
    return reading.unit in (None, units.get(item.expect.quantity or "")) or item.expect.kind == "number"


def _belongs(item: Item, current: Item | None, reading: Reading) -> bool:
    if current is not None and item.id == current.id:
        return fits(item, reading)
    if reading.quantity is None or item.expect.quantity != reading.quantity:
        return False
    return reading.qualifier in (None, item.expect.qualifier)


def _candidates(view: View, current: Item | None) -> list[Item]:
    if current is None:
        return []
    row = [current]
    reached = False
    for item in view.plan.chunk(current.chunk).items:
        if item.id == current.id:
            reached = True
        elif reached and not view.is_settled(item):
            if item.killer or item.expect.kind == "wait":
                break
            row.append(item)
    return row


def named_items(view: View, target: str, qualifier: str | None) -> tuple[Item, ...]:
    """The items that a spoken name may mean: one when it is clear, several when it is not, none when nothing is
    near."""
    items = [i for i in view.plan.items() if i.expect.kind != "wait" and (view.applies(i) or i.id in view.state.values)]
    target = target.lower()
    exact = [i for i in items if target in (i.id, i.say.lower(), i.expect.quantity)]
    if not exact:
        words = set(target.split())
        exact = [i for i in items if words <= set(i.say.lower().split())] or _nearest(items, target)
    if qualifier and (narrowed := [i for i in exact if i.expect.qualifier == qualifier]):
        exact = narrowed
    if len(exact) > 1 and (known := [i for i in exact if i.id in view.state.values]):
        exact = known
    if len(exact) > 1 and (here := [i for i in exact if i.chunk == view.state.chunk]):
        exact = here
    return tuple(exact)


def _nearest(items: list[Item], target: str) -> list[Item]:
    scored = sorted(((fuzz.token_sort_ratio(target, i.say.lower()), i) for i in items), key=lambda row: -row[0])
    near = [(score, item) for score, item in scored if score >= _NEAR]
    if not near:
        return []
    return [item for score, item in near if score > near[0][0] - _MARGIN]
