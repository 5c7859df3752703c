"""Readings of one visit in, questions about those that do not go together out. Nothing is ever changed here.

Readings are keyed by quantity id, with the qualifier after a dot where there is one: "co2.maximum",
"standing_pressure". Computed values may stand among them: "heat_input.gross", "hot_water_output", "heat_output".
"""

from __future__ import annotations

import datetime
import functools
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from importlib import resources
from typing import Any

from handsfree.model import Gas, decimal_string
from handsfree.trade.combustion import co2_from_o2_pct
from handsfree.trade.gas import find_gas

CO2_TOLERANCE_PCT = Decimal("0.3")
"""points of CO2 by which CO2 and O2 may disagree (ours)"""
RATIO_TOLERANCE = Decimal("0.0002")
"""by which a ratio read and the ratio of its parts may disagree (ours)"""
PLATE_TOLERANCE_PCT = Decimal(5)
"""% by which the heat input may differ from the plate (common practice)"""
CEILING_PCT = {
    ("ng", "net"): Decimal(109),
    ("ng", "gross"): Decimal(99),
    ("lpg", "net"): Decimal("108.7"),
    ("lpg", "gross"): Decimal(99),
}
"""efficiency in % above which a reading cannot be right; LPG net: 100 % gross (computed)"""
FUEL_NAMES: dict[Gas, str] = {"ng": "natural gas", "lpg": "L P G"}
GREATEST_CHANGE = {"co2": Decimal("0.5"), "flue_temperature": Decimal(10)}
"""change since the last visit that is asked about, in the quantity's unit (ours); CO: doubled"""


@dataclass(frozen=True, slots=True)
class CrossQuestion:
    """Readings that do not go together."""

    id: str
    ask: str
    """the question, fit to be spoken"""
    because: str
    """the numbers, fit to be printed"""
    involves: tuple[str, ...]
    """keys of the readings, as given"""


@functools.cache
def wording() -> dict[str, Any]:
    """The orders and questions of `crosschecks.toml`."""
    return tomllib.loads(resources.files(__package__).joinpath("crosschecks.toml").read_text(encoding="utf-8"))


def _ask(id: str, because: str, involves: tuple[str, ...], **words: str) -> CrossQuestion:
    return CrossQuestion(id, wording()["ask"][id].format(**words), because, involves)


def cross_checks(readings: Mapping[str, Decimal], gas: Gas) -> tuple[CrossQuestion, ...]:
    """Every question that the readings taken so far raise; none where they go together.

    Args:
        readings: key -> value in the quantity's own unit; those not yet taken are left out.
        gas: what the appliance burns, and what the analyser is to be set to.
    """
    return (*_orders(readings), *_combustion(readings, gas))


def _orders(readings: Mapping[str, Decimal]) -> Iterator[CrossQuestion]:
    for row in wording()["order"]:
        greater, lesser = row["greater"], row["lesser"]
        if greater not in readings or lesser not in readings:
            continue
        if readings[greater] < readings[lesser] - Decimal(row.get("slack", "0")):
            because = f"{greater} {_digits(readings[greater])}, {lesser} {_digits(readings[lesser])}"
            yield CrossQuestion(row["id"], row["ask"], because, (greater, lesser))


def _combustion(readings: Mapping[str, Decimal], gas: Gas) -> Iterator[CrossQuestion]:
    for qualifier in ("", ".maximum", ".minimum", ".before", ".after"):
        co, co2, o2 = (f"{quantity}{qualifier}" for quantity in ("co", "co2", "o2"))
        ratio = f"co_co2_ratio{qualifier}"
        if co2 in readings and o2 in readings:
            yield from _co2_against_o2(readings, co2, o2, gas)
        if ratio in readings and co in readings and readings.get(co2, Decimal(0)) > 0:
            yield from _ratio_against_parts(readings, ratio, co, co2)


def _co2_against_o2(readings: Mapping[str, Decimal], co2: str, o2: str, gas: Gas) -> Iterator[CrossQuestion]:
    because = f"{co2} {_digits(readings[co2])} %, {o2} {_digits(readings[o2])} %"
    if _fits(readings[co2], readings[o2], gas):
        return
    other: Gas = "lpg" if gas == "ng" else "ng"
    if _fits(readings[co2], readings[o2], other):
        yield _ask("gas_setting", because, (co2, o2), other=FUEL_NAMES[other], gas=FUEL_NAMES[gas])
    else:
        yield _ask("co2_and_o2", because, (co2, o2))


def _fits(co2_pct: Decimal, o2_pct: Decimal, gas: Gas) -> bool:
    if not 0 <= o2_pct <= Decimal("20.9") or co2_pct < 0:
        return False
    expected = Decimal(str(co2_from_o2_pct(find_gas(gas), float(o2_pct))))
    return abs(co2_pct - expected) <= CO2_TOLERANCE_PCT


def _ratio_against_parts(readings: Mapping[str, Decimal], ratio: str, co: str, co2: str) -> Iterator[CrossQuestion]:
    worked_out = readings[co] / (readings[co2] * 10_000)
    if abs(readings[ratio] - worked_out) > RATIO_TOLERANCE:
        because = f"{ratio} {_digits(readings[ratio])}, from {co} and {co2} {worked_out:.4f}"
        yield _ask("ratio", because, (co, co2, ratio))


def plate_check(
    heat_input_kw: Decimal, plate_kw: Decimal, basis: str, spread_kw: Decimal = Decimal(0)
) -> tuple[CrossQuestion, ...]:
    """Whether the heat input found fits the maker's plate, both in kW on the same basis (net or gross).

    Beyond 5 % and the run's own spread it is asked whether the boiler ran at full rate and all else was off. Source:
    common practice.
    """
    off_pct = (heat_input_kw / plate_kw - 1) * 100
    if abs(heat_input_kw - plate_kw) - spread_kw <= plate_kw * PLATE_TOLERANCE_PCT / 100:
        return ()
    because = f"heat input {heat_input_kw:.1f} kW {basis}, plate {plate_kw:.1f} kW {basis}"
    side = "above" if off_pct > 0 else "below"
    return (_ask("plate", because, (f"heat_input.{basis}",), percent=f"{abs(off_pct):.0f}", side=side),)


def efficiency_check(efficiency_pct: Decimal, gas: Gas, basis: str) -> tuple[CrossQuestion, ...]:
    """Whether an efficiency read, % net or gross, is one that the gas can give. Source: computed ceilings."""
    highest = CEILING_PCT[gas, basis]
    if efficiency_pct <= highest:
        return ()
    because = f"efficiency {_digits(efficiency_pct)} % {basis}, ceiling {highest} %"
    return (_ask("efficiency", because, ("efficiency",)),)


def date_check(key: str, day: datetime.date, visit: datetime.date) -> tuple[CrossQuestion, ...]:
    """Whether a date that must lie behind us does. `visit` is the day of the visit."""
    return () if day <= visit else (_ask("future", f"{key} {day}, visit {visit}", (key,)),)


def serial_check(serial: str, known: Mapping[str, str]) -> tuple[CrossQuestion, ...]:
    """Whether a serial number is new. `known` is serial -> what it stands for (an address, another appliance)."""
    wanted = serial.replace(" ", "").upper()
    for other, owner in known.items():
        if other.replace(" ", "").upper() == wanted:
            return (_ask("serial", f"serial {serial}: {owner}", ("serial",)),)
    return ()


def changes_since(last: Mapping[str, Decimal], now: Mapping[str, Decimal]) -> tuple[CrossQuestion, ...]:
    """Combustion readings that moved a lot since the last visit: CO2 by 0.5 points, flue gas by 10 K, CO doubled.

    Source: ours.
    """
    questions = []
    for key in last.keys() & now.keys():
        quantity = key.partition(".")[0]
        if quantity == "co":
            moved = last[key] > 0 and now[key] >= 2 * last[key]
        else:
            moved = quantity in GREATEST_CHANGE and abs(now[key] - last[key]) > GREATEST_CHANGE[quantity]
        if moved:
            because = f"{key} {_digits(last[key])} at the last visit, {_digits(now[key])} now"
            questions.append(_ask("changed", because, (key,), quantity=_SAID[quantity]))
    return tuple(sorted(questions, key=lambda question: question.involves))


_SAID = {"co": "Carbon monoxide", "co2": "C O two", "flue_temperature": "Flue gas temperature"}


def _digits(value: Decimal) -> str:
    return decimal_string(value)
