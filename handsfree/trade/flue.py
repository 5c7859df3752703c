"""Flue-gas readings in; dew point, flue loss, condensing efficiency and condensate out.

Two ways to the loss: the published short formula (Siegert), which knows nothing of condensing, and an enthalpy
balance with CoolProp's ideal-gas enthalpies. Condensing is taken as far as it can go: the flue gas leaves saturated
at its own temperature. A real boiler condenses less, and instruments have rules of their own: do not compare to
better than 2 points.
"""

from __future__ import annotations

from math import log10
from typing import Literal

from handsfree.errors import BadInput
from handsfree.trade.combustion import FlueGas, check_co2, co2_from_o2_pct, flue_gas
from handsfree.trade.gas import KELVIN, Gas
from handsfree.trade.given import checked
from handsfree.trade.water import properties

PASCAL = 101_325.0
WATER_MOLAR_MASS = 18.01528
ROOM_C, ROOM_HUMIDITY = 20.0, 0.6
"""state of the combustion air where it is called humid"""
SIEGERT: dict[str, tuple[float, float, float]] = {"natural_gas": (0.37, 0.66, 0.009), "lpg": (0.42, 0.63, 0.008)}
"""A1, A2, B of the short formula: public German trade reference for the 1. BImSchV"""

Air = Literal["dry", "humid"]


def _check_temperatures(flue_c: float, air_c: float) -> None:
    if flue_c < air_c:
        raise BadInput(
            f"flue_c is {flue_c:g} degC; it must be from air_c, {air_c:g} degC, to 250 degC", "check which is which"
        )


@checked(co2_pct=(0.1, 25.0), flue_c=(5.0, 250.0), air_c=(-20.0, 60.0))
def siegert_loss_by_co2_pct(fuel: str, co2_pct: float, flue_c: float, air_c: float) -> float:
    """Flue loss, % of the net heat input: (flue - air) x (A1/CO2 + B).

    `fuel` is natural_gas or lpg. Valid for half of CO2max to CO2max and flue gas below 250 degC; it knows nothing of
    condensing.
    Source: short formula of the 1. BImSchV, constants from a public German trade reference (published).
    """
    _check_temperatures(flue_c, air_c)
    a1, _, b = SIEGERT[fuel]
    return (flue_c - air_c) * (a1 / co2_pct + b)


@checked(o2_pct=(0.0, 20.0), flue_c=(5.0, 250.0), air_c=(-20.0, 60.0))
def siegert_loss_by_o2_pct(fuel: str, o2_pct: float, flue_c: float, air_c: float) -> float:
    """Flue loss, % of the net heat input: (flue - air) x (A2/(21 - O2) + B).

    Validity and source as for the CO2 form.
    """
    _check_temperatures(flue_c, air_c)
    _, a2, b = SIEGERT[fuel]
    return (flue_c - air_c) * (a2 / (21.0 - o2_pct) + b)


def _warming_kj_mol(fluid: str, from_c: float, to_c: float) -> float:
    enthalpy = properties()
    # At 10 Pa every gas of a flue is as good as ideal, and water is vapour at any temperature here.
    hot = enthalpy("Hmolar", "T", KELVIN + to_c, "P|gas", 10.0, fluid)
    return (hot - enthalpy("Hmolar", "T", KELVIN + from_c, "P|gas", 10.0, fluid)) / 1000.0


@checked(flue_c=(5.0, 250.0), air_c=(-20.0, 60.0))
def balance_loss_pct(gas: Gas, co2_pct: float, flue_c: float, air_c: float, *, dry_only: bool = False) -> float:
    """Sensible flue loss, % of the net heat input, by enthalpy balance; all water counted as vapour.

    With `dry_only` the vapour is left out.

    Valid up to the gas's CO2 maximum, flue gas of 5 to 250 degC. Source: energy balance, CoolProp enthalpies.
    """
    _check_temperatures(flue_c, air_c)
    out = flue_gas(gas, co2_pct)
    moles = {"CarbonDioxide": out.co2, "Oxygen": out.o2, "Nitrogen": out.n2}
    if not dry_only:
        moles["Water"] = out.water
    warming = sum(amount * _warming_kj_mol(fluid, air_c, flue_c) for fluid, amount in moles.items())
    return 100.0 * warming / gas.net_kj_mol


@checked(temperature_c=(0.01, 250.0))
def saturation_pressure_pa(temperature_c: float) -> float:
    """Vapour pressure over water, Pa. Valid for 0.01 to 250 degC. Source: CoolProp, IAPWS-95."""
    return properties()("P", "T", KELVIN + temperature_c, "Q", 1.0, "Water")


def _air_moisture() -> float:
    vapour = ROOM_HUMIDITY * saturation_pressure_pa(ROOM_C)
    return vapour / (PASCAL - vapour)


def dew_point_c(gas: Gas, co2_pct: float, air: Air = "dry") -> float:
    """Temperature in degC at which the flue gas begins to condense, at 1013.25 mbar: p_sat = share of water x p.

    `air` is dry, or humid: 20 degC at 60 % relative humidity. Valid up to the gas's CO2 maximum. Source: closed form,
    CoolProp saturation.
    """
    out = flue_gas(gas, co2_pct)
    water = out.water + (out.air * _air_moisture() if air == "humid" else 0.0)
    if water == 0.0:
        raise BadInput(f"gas is {gas.name!r}; burning it in dry air makes no water", "name a gas with hydrogen in it")
    return properties()("T", "P", PASCAL * water / (out.dry + water), "Q", 1.0, "Water") - KELVIN


def _condensed_mol(out: FlueGas, flue_c: float) -> float:
    pressure = saturation_pressure_pa(flue_c)
    if pressure >= PASCAL:
        return 0.0
    return max(0.0, out.water - out.dry * pressure / (PASCAL - pressure))


@checked(flue_c=(5.0, 250.0))
def condensed_share(gas: Gas, co2_pct: float, flue_c: float) -> float:
    """Share of the water formed that condenses, 0 to 1, when the flue gas leaves saturated at `flue_c` degC; dry air.

    An upper bound. Valid up to the gas's CO2 maximum. Source: closed form, CoolProp saturation.
    """
    out = flue_gas(gas, co2_pct)
    return _condensed_mol(out, flue_c) / out.water if out.water else 0.0


def condensate_rate_kg_kwh(gas: Gas, co2_pct: float, flue_c: float) -> float:
    """Condensate, kg for a kWh of gross heat input, at most. Validity and source as for `condensed_share`."""
    return condensed_share(gas, co2_pct, flue_c) * water_formed_kg_kwh(gas, "gross")


def water_formed_kg_kwh(gas: Gas, basis: Literal["net", "gross"]) -> float:
    """Water that burning makes, kg for a kWh of net or gross heat input. Source: closed form."""
    heat = gas.net_kj_mol if basis == "net" else gas.gross_kj_mol
    return gas.hydrogen / 2.0 * WATER_MOLAR_MASS / 1000.0 / heat * 3600.0


def efficiency_pct(
    gas: Gas, co2_pct: float, flue_c: float, air_c: float, basis: Literal["net", "gross"] = "net"
) -> float:
    """Combustion efficiency, % net or gross: 100 - sensible loss + heat of the water condensed; case losses left out.

    An upper bound once the flue gas is below its dew point. Valid up to the gas's CO2 maximum, flue gas of 5 to 250
    degC.
    Source: energy balance, CoolProp properties.
    """
    net = 100.0 - balance_loss_pct(gas, co2_pct, flue_c, air_c)
    condensed = _condensed_mol(flue_gas(gas, co2_pct), flue_c)
    if condensed > 0.0:
        kelvin = KELVIN + flue_c
        heat = properties()("Hmolar", "T", kelvin, "Q", 1.0, "Water") - properties()(
            "Hmolar", "T", kelvin, "Q", 0.0, "Water"
        )
        net += 100.0 * condensed * heat / 1000.0 / gas.net_kj_mol
    return net if basis == "net" else net * gas.net_over_gross


@checked(co2_pct=(0.01, 25.0))
def carbonic_ph(co2_pct: float) -> float:
    """pH of water at 25 degC saturated with flue gas of this CO2, -: Henry's law and the first dissociation.

    Real condensate is lower: nitrogen oxides. Valid for 0.01 to 25 %. Source: Henry 0.0334 mol/(L atm), Ka 4.45e-7,
    from memory.
    """
    return -log10((0.0334 * co2_pct / 100.0 * 4.45e-7) ** 0.5)


def co2_of(gas: Gas, co2_pct: float | None, o2_pct: float | None) -> float:
    """The CO2 to go by, %: as read, else from the O2 read. Source: closed form.

    Raises:
        BadInput: CO2 that this gas cannot give.
    """
    if co2_pct is not None:
        check_co2(gas, co2_pct)
        return co2_pct
    assert o2_pct is not None
    return co2_from_o2_pct(gas, o2_pct)
