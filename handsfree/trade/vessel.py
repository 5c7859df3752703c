"""System, safety valve and charge in; size of the expansion vessel and hot pressure out.

Pressures are gauge. Two methods of sizing, not to be mixed: the table of UK boiler instructions (a conservative 4.9 %
expansion), and the sum of EN 12828.
"""

from __future__ import annotations

import functools
import tomllib
from importlib import resources

from handsfree.errors import BadInput
from handsfree.trade.given import checked
from handsfree.trade.water import density_kg_m3

ATMOSPHERE_BAR = 1.01325
UK_EXPANSION = 0.0490
"""share of the system's volume, fitted to the UK table (all entries within 0.4 %)"""
UK_VALVE_MARGIN_BAR = 0.345
"""bar below the valve's setting at which the UK table's vessel is full, fitted"""


@functools.cache
def printed_factors() -> dict[tuple[float, float], float]:
    """Litres of vessel a litre of system, by (valve bar, charge bar), as printed; see `vessel.toml`."""
    table = tomllib.loads(resources.files(__package__).joinpath("vessel.toml").read_text(encoding="utf-8"))
    return {(row["valve_bar"], row["charge_bar"]): row["l_per_l"] for row in table["factor"]}


def _check_charge(charge_bar: float, below_bar: float, what: str) -> None:
    if charge_bar >= below_bar:
        raise BadInput(
            f"charge_bar is {charge_bar:g} bar; it must be from 0 to below {below_bar:.10g} bar, {what}",
            "read the charge and the valve's setting again",
        )


@checked(valve_bar=(1.0, 10.0), charge_bar=(0.0, 9.0))
def fitted_factor(valve_bar: float, charge_bar: float) -> float:
    """Litres of vessel a litre of system, -: 0.049 x (pf + 1.013)/(pf - charge), pf = valve - 0.345 bar.

    Valid for a charge below pf. Source: fitted to the table of UK boiler instructions, within 0.4 % of it.
    """
    full_bar = valve_bar - UK_VALVE_MARGIN_BAR
    _check_charge(charge_bar, full_bar, "the valve's setting less 0.345 bar")
    return UK_EXPANSION * (full_bar + 1.013) / (full_bar - charge_bar)


def uk_vessel_factor(valve_bar: float, charge_bar: float) -> float:
    """Litres of vessel a litre of system, -, charge = initial fill: as printed where it is printed, fitted in between.

    Source: table of UK boiler instructions (after BS 7074 / BS 5449), published.
    """
    fitted = fitted_factor(valve_bar, charge_bar)
    return printed_factors().get((valve_bar, charge_bar), fitted)


@checked(system_l=(1.0, 2000.0))
def uk_vessel_size_l(system_l: float, valve_bar: float, charge_bar: float) -> float:
    """Vessel, L, by the UK table. Valid for 1 to 2000 L. Source: as `uk_vessel_factor`."""
    return system_l * uk_vessel_factor(valve_bar, charge_bar)


@checked(
    system_l=(1.0, 2000.0),
    expansion_pct=(0.0, 10.0),
    reserve_l=(0.0, 100.0),
    charge_bar=(0.0, 9.0),
    final_bar=(0.1, 10.0),
)
def en12828_vessel_size_l(
    system_l: float, expansion_pct: float, reserve_l: float, charge_bar: float, final_bar: float
) -> float:
    """Vessel, L, by EN 12828: (expansion + reserve) x (final + 1)/(final - charge).

    Valid for a charge below the final pressure. Source: EN 12828 annex, formula from memory.
    """
    _check_charge(charge_bar, final_bar, "the final pressure")
    return (system_l * expansion_pct / 100.0 + reserve_l) * (final_bar + 1.0) / (final_bar - charge_bar)


@checked(vessel_l=(0.5, 1000.0), charge_bar=(0.0, 9.0), final_bar=(0.1, 10.0))
def vessel_acceptance_l(vessel_l: float, charge_bar: float, final_bar: float) -> float:
    """Water that a vessel takes between charge and final pressure, L: vessel x (final - charge)/(final + 1.01325).

    Source: Boyle.
    """
    _check_charge(charge_bar, final_bar, "the final pressure")
    return vessel_l * (final_bar - charge_bar) / (final_bar + ATMOSPHERE_BAR)


@checked(
    system_l=(1.0, 2000.0),
    vessel_l=(0.5, 1000.0),
    charge_bar=(0.0, 9.0),
    cold_bar=(0.0, 9.0),
    cold_c=(1.0, 95.0),
    hot_c=(1.0, 110.0),
)
def hot_pressure_bar(
    system_l: float, vessel_l: float, charge_bar: float, cold_bar: float, cold_c: float, hot_c: float
) -> float | None:
    """Pressure when hot, bar, in pipework that does not give; None where the vessel is full of water.

    Below the charge the vessel holds no water: cold pressure under the charge counts as a vessel full of gas. Valid
    for a mean water temperature of 1 to 110 degC. Source: Boyle, CoolProp water volumes.
    """
    if hot_c < cold_c:
        raise BadInput(
            f"hot_c is {hot_c:g} degC; it must be from cold_c, {cold_c:g} degC, to 110 degC", "check which is which"
        )
    gas_at_charge = (charge_bar + ATMOSPHERE_BAR) * vessel_l
    gas_cold_l = min(vessel_l, gas_at_charge / (cold_bar + ATMOSPHERE_BAR))
    more_water_l = system_l * (density_kg_m3(cold_c) / density_kg_m3(hot_c) - 1.0)
    left_l = gas_cold_l - more_water_l
    # A thousandth of the vessel is no gas cushion: the pressure there means nothing.
    if left_l <= vessel_l / 1000.0:
        return None
    return gas_at_charge / left_l - ATMOSPHERE_BAR
