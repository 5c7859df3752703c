"""Temperature in, resistance of its sensor out, and back. Sensors fall with temperature (NTC)."""

from __future__ import annotations

import functools
import itertools
import math
import tomllib
from importlib import resources

from handsfree.errors import BadInput
from handsfree.trade.gas import KELVIN
from handsfree.trade.given import checked, nearest

REFERENCE_KELVIN = 298.15
"""K, 25 degC, at which a sensor is named"""
COLDEST_C, HOTTEST_C = -40.0, 150.0


@functools.cache
def sensor_tables() -> dict[str, tuple[tuple[float, float], ...]]:
    """Pairs (degC, ohm) by sensor type, from `sensors.toml`."""
    table = tomllib.loads(resources.files(__package__).joinpath("sensors.toml").read_text(encoding="utf-8"))
    return {
        kind: tuple(zip(map(float, table["celsius"]), map(float, row), strict=True))
        for kind, row in table["ohm"].items()
    }


def _table(kind: str) -> tuple[tuple[float, float], ...]:
    tables = sensor_tables()
    if kind not in tables:
        raise BadInput(
            f"type is {kind!r}; it must be one of {', '.join(tables)}, or give r25_ohm with b_k", nearest(kind, tables)
        )
    return tables[kind]


@checked(r1_ohm=(1.0, 1e7), t1_c=(COLDEST_C, HOTTEST_C), r2_ohm=(1.0, 1e7), t2_c=(COLDEST_C, HOTTEST_C))
def sensor_b_k(r1_ohm: float, t1_c: float, r2_ohm: float, t2_c: float) -> float:
    """B of a sensor, K, out of two points: ln(R1/R2)/(1/T1 - 1/T2). Valid for -40 to 150 degC. Source: closed form."""
    if t1_c == t2_c:
        raise BadInput(f"t2_c is {t2_c:g} degC; it must differ from t1_c", "measure at two temperatures")
    return math.log(r1_ohm / r2_ohm) / (1.0 / (KELVIN + t1_c) - 1.0 / (KELVIN + t2_c))


@checked(temperature_c=(COLDEST_C, HOTTEST_C), r25_ohm=(10.0, 1e6), b_k=(1000.0, 6000.0))
def resistance_by_b_ohm(temperature_c: float, r25_ohm: float, b_k: float) -> float:
    """Resistance, ohm: R25 x exp(B (1/T - 1/298.15)).

    One B errs by about 4 % at 0 degC. Valid for -40 to 150 degC. Source: closed form.
    """
    return r25_ohm * math.exp(b_k * (1.0 / (KELVIN + temperature_c) - 1.0 / REFERENCE_KELVIN))


@checked(resistance_ohm=(1.0, 1e7), r25_ohm=(10.0, 1e6), b_k=(1000.0, 6000.0))
def temperature_by_b_c(resistance_ohm: float, r25_ohm: float, b_k: float) -> float:
    """Temperature, degC: 1/(1/298.15 + ln(R/R25)/B) - 273.15. Valid for -40 to 150 degC. Source: closed form."""
    inverse = 1.0 / REFERENCE_KELVIN + math.log(resistance_ohm / r25_ohm) / b_k
    if inverse <= 0.0:
        raise _beyond(
            resistance_ohm, resistance_by_b_ohm(HOTTEST_C, r25_ohm, b_k), resistance_by_b_ohm(COLDEST_C, r25_ohm, b_k)
        )
    found = 1.0 / inverse - KELVIN
    if not COLDEST_C - 1e-6 <= found <= HOTTEST_C + 1e-6:
        raise _beyond(
            resistance_ohm, resistance_by_b_ohm(HOTTEST_C, r25_ohm, b_k), resistance_by_b_ohm(COLDEST_C, r25_ohm, b_k)
        )
    return found


def _beyond(resistance_ohm: float, lowest: float, highest: float) -> BadInput:
    return BadInput(
        f"resistance_ohm is {resistance_ohm:.10g} ohm; here it must be from {lowest:.0f} to {highest:.0f} ohm",
        "more is an open sensor or lead, less a short",
    )


@checked(temperature_c=(COLDEST_C, HOTTEST_C))
def resistance_by_table_ohm(kind: str, temperature_c: float) -> float:
    """Resistance of a 10k or 12k sensor, ohm: the table's, between its points with the B of the two around.

    Beyond the table's ends the B of the last two points goes on.

    Valid for -40 to 150 degC, tabled 0 to 90. Source: sensor tables of a boiler maker (published).
    """
    table = _table(kind)
    pairs = list(itertools.pairwise(table))
    (low_c, low_ohm), (high_c, high_ohm) = next((pair for pair in pairs if temperature_c <= pair[1][0]), pairs[-1])
    b_k = sensor_b_k(low_ohm, low_c, high_ohm, high_c)
    return low_ohm * math.exp(b_k * (1.0 / (KELVIN + temperature_c) - 1.0 / (KELVIN + low_c)))


@checked(resistance_ohm=(1.0, 1e7))
def temperature_by_table_c(kind: str, resistance_ohm: float) -> float:
    """Temperature of a 10k or 12k sensor, degC; the inverse of `resistance_by_table_ohm`.

    Valid for -40 to 150 degC, tabled 0 to 90. Source: sensor tables of a boiler maker (published).
    """
    table = _table(kind)
    lowest, highest = resistance_by_table_ohm(kind, HOTTEST_C), resistance_by_table_ohm(kind, COLDEST_C)
    if not lowest <= resistance_ohm <= highest:
        raise _beyond(resistance_ohm, lowest, highest)
    pairs = list(itertools.pairwise(table))
    (low_c, low_ohm), (high_c, high_ohm) = next((pair for pair in pairs if resistance_ohm >= pair[1][1]), pairs[-1])
    b_k = sensor_b_k(low_ohm, low_c, high_ohm, high_c)
    return 1.0 / (1.0 / (KELVIN + low_c) + math.log(resistance_ohm / low_ohm) / b_k) - KELVIN
