"""A computation's name and its KEY=VALUE words in, the results with formula, source and spread out."""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping
from dataclasses import replace
from decimal import Decimal

from handsfree.errors import BadInput
from handsfree.model import Result, WorkedOut
from handsfree.trade import computations_combustion, computations_records, computations_supply, computations_water
from handsfree.trade.given import Computation, Given, Key, nearest

SIGNIFICANT_DIGITS = 10
"""digits kept of a result: more are noise of binary arithmetic"""


@functools.cache
def _by_name() -> dict[str, Computation]:
    subjects = (computations_supply, computations_combustion, computations_water, computations_records)
    return {computation.name: computation for subject in subjects for computation in subject.COMPUTATIONS}


def computations() -> tuple[Computation, ...]:
    """Every computation: name, keys with unit and range, results, formula, source, how sure."""
    return tuple(_by_name().values())


def find_computation(name: str) -> Computation:
    """The computation of this name (hyphens count as underscores).

    Raises:
        BadInput: there is none; the nearest name is offered.
    """
    wanted = name.strip().lower().replace("-", "_")
    if wanted not in _by_name():
        raise BadInput(
            f"there is no computation {name!r}; handsfree work-out --list names them", nearest(wanted, _by_name())
        )
    return _by_name()[wanted]


def work_out(name: str, given: Mapping[str, str]) -> WorkedOut:
    """One computation of the trade.

    Args:
        name: as `computations()` lists it.
        given: key -> value as words; the unit is in the key's name.

    Raises:
        BadInput: naming the key, the value given and the range.
        MissingPart: the library of physical properties does not load.
    """
    computation = find_computation(name)
    read = computation.read(given)
    found = computation.run(read)
    results = tuple(_with_spread(computation, given, read, found.results))
    return WorkedOut(
        computation.name,
        dict(given),
        tuple(_rounded(result) for result in results),
        found.formula or computation.formula,
        found.source or computation.source,
        found.sure or computation.sure,
    )


def _with_spread(
    computation: Computation, given: Mapping[str, str], read: Given, results: tuple[Result, ...]
) -> Iterator[Result]:
    """Each result with the spread that the readings' last digits leave: what moving each one changes, added up."""
    moved = [0.0] * len(results)
    measured = [key for key in computation.keys if key.half_width is not None and read.has(key.name)]
    for key in measured:
        half = half_width(key, given.get(key.name, key.default or ""))
        for place, change in enumerate(_change(computation, read, key, half, results)):
            moved[place] += change
    for result, spread in zip(results, moved, strict=True):
        open_to_it = bool(measured) and result.spread is None and isinstance(result.value, float)
        yield replace(result, spread=spread) if open_to_it else result


def half_width(key: Key, text: str) -> float:
    """How far off the reading `text` may be, in the key's unit: fixed for the key, or half its last digit's place."""
    if isinstance(key.half_width, float):
        return key.half_width
    exponent = Decimal(key.bare_number(text)).as_tuple().exponent
    assert isinstance(exponent, int)
    return float(Decimal("0.5").scaleb(min(exponent, 0)))


def _change(computation: Computation, read: Given, key: Key, half: float, results: tuple[Result, ...]) -> list[float]:
    """The larger of what a reading half a digit up and one half a digit down change in each result."""
    largest = [0.0] * len(results)
    for moved in (read.number(key.name) - half, read.number(key.name) + half):
        try:
            others = computation.run(Given({**read.values, key.name: moved})).results
        except BadInput:
            # The reading stands at the edge of what can be: only the other side counts.
            continue
        for place, (result, other) in enumerate(zip(results, others, strict=True)):
            # Next to a reading without a finite answer there is no number to take a difference from.
            if isinstance(result.value, float) and isinstance(other.value, float):
                largest[place] = max(largest[place], abs(other.value - result.value))
    return largest


def _rounded(result: Result) -> Result:
    value = result.value if isinstance(result.value, str) else _round(result.value)
    return replace(result, value=value, spread=None if result.spread is None else _round(result.spread))


def _round(value: float) -> float:
    return float(f"{value:.{SIGNIFICANT_DIGITS}g}")
