"""Combustion of a gas in dry air: stoichiometry, O2 and CO2, excess air, CO measures.

Flue-gas shares are of the dry flue gas, by volume. Complete combustion is assumed except for the CO itself. Air holds
20.95 % O2.
"""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.errors import BadInput
from handsfree.trade.gas import Gas
from handsfree.trade.given import checked

AIR_O2_PCT = 20.95


@dataclass(frozen=True, slots=True)
class FlueGas:
    """Moles for each mole of gas burnt with dry air."""

    co2: float
    o2: float
    n2: float
    water: float
    air: float
    """moles of dry air that went in"""

    @property
    def dry(self) -> float:
        """moles of dry flue gas"""
        return self.co2 + self.o2 + self.n2


def oxygen_needed(gas: Gas) -> float:
    """mol of O2 that a mol of gas needs: C + H/4 - O/2. Source: closed form.

    Raises:
        BadInput: the gas does not burn.
    """
    needed = gas.carbon + gas.hydrogen / 4.0 - gas.oxygen / 2.0
    if needed <= 0.0:
        raise BadInput(f"gas is {gas.name!r}; it does not burn", "name a gas with something to burn in it")
    return needed


def stoichiometric_air(gas: Gas) -> float:
    """mol (or m3) of dry air that a mol (or m3) of gas needs, O2 20.95 %. Source: closed form."""
    return oxygen_needed(gas) * 100.0 / AIR_O2_PCT


def stoichiometric_dry_flue(gas: Gas) -> float:
    """mol of dry flue gas from a mol of gas at stoichiometric air. Source: closed form."""
    return gas.carbon + gas.nitrogen / 2.0 + stoichiometric_air(gas) - oxygen_needed(gas)


def co2_max_pct(gas: Gas) -> float:
    """Highest CO2 in dry flue gas, %: that of stoichiometric combustion.

    Source: closed form. Raises BadInput for a gas without carbon, whose flue gas holds no CO2 to measure by.
    """
    if gas.carbon == 0.0:
        raise BadInput(f"gas is {gas.name!r}; it has no carbon, so its flue gas has no CO2", "use O2")
    return 100.0 * gas.carbon / stoichiometric_dry_flue(gas)


def check_co2(gas: Gas, co2_pct: float) -> None:
    """Refuse CO2 that this gas cannot give.

    Raises:
        BadInput: not above 0, or above the maximum for the gas.
    """
    highest = co2_max_pct(gas)
    # A maximum quoted to two decimals (13.72) is taken for the maximum itself.
    if not 0.1 <= co2_pct <= highest + 0.01:
        raise BadInput(
            f"co2_pct is {co2_pct:.10g} %; for {gas.name} it must be from 0.1 to {highest:.2f} %",
            "check the reading and the fuel set on the analyser",
        )


@checked(co2_pct=(0.1, 25.0))
def o2_from_co2_pct(gas: Gas, co2_pct: float) -> float:
    """O2 in dry flue gas, %, that goes with this CO2: 20.95 x (1 - CO2/CO2max).

    Valid up to the gas's maximum. Source: closed form.
    """
    check_co2(gas, co2_pct)
    return max(0.0, AIR_O2_PCT * (1.0 - co2_pct / co2_max_pct(gas)))


@checked(o2_pct=(0.0, 20.9))
def co2_from_o2_pct(gas: Gas, o2_pct: float) -> float:
    """CO2 in dry flue gas, %, that goes with this O2: CO2max x (20.95 - O2)/20.95.

    Valid for 0 to 20.9 %. Source: closed form.
    """
    return co2_max_pct(gas) * (AIR_O2_PCT - o2_pct) / AIR_O2_PCT


def excess_air_lambda(gas: Gas, co2_pct: float) -> float:
    """Air ratio lambda, -: 1 + (dry flue/air, both stoichiometric) x (CO2max/CO2 - 1).

    Valid up to the gas's maximum. Source: closed form.
    """
    check_co2(gas, co2_pct)
    excess = max(0.0, co2_max_pct(gas) / co2_pct - 1.0)
    return 1.0 + stoichiometric_dry_flue(gas) / stoichiometric_air(gas) * excess


def flue_gas(gas: Gas, co2_pct: float) -> FlueGas:
    """What comes out of the flue for each mole of gas at this dry CO2. Source: closed form."""
    air = excess_air_lambda(gas, co2_pct) * stoichiometric_air(gas)
    return FlueGas(
        co2=gas.carbon,
        o2=air * AIR_O2_PCT / 100.0 - oxygen_needed(gas),
        n2=air * (1.0 - AIR_O2_PCT / 100.0) + gas.nitrogen / 2.0,
        water=gas.hydrogen / 2.0,
        air=air,
    )


@checked(co_ppm=(0.0, 100_000.0), co2_pct=(0.1, 25.0))
def co_co2_ratio(co_ppm: float, co2_pct: float) -> float:
    """CO/CO2, -: CO in ppm / (CO2 in % x 10 000), not rounded. Valid for CO2 of 0.1 % and more. Source: closed form."""
    return co_ppm / (co2_pct * 10_000.0)


@checked(co_ppm=(0.0, 100_000.0), o2_pct=(0.0, 20.9))
def co_air_free_by_o2_ppm(co_ppm: float, o2_pct: float) -> float:
    """Undiluted CO, ppm: CO x 20.95/(20.95 - O2). Valid for O2 of 0 to 20.9 %. Source: closed form."""
    return co_ppm * AIR_O2_PCT / (AIR_O2_PCT - o2_pct)


@checked(co_ppm=(0.0, 100_000.0))
def co_air_free_by_co2_ppm(gas: Gas, co_ppm: float, co2_pct: float) -> float:
    """Undiluted CO, ppm: CO x CO2max/CO2. Valid up to the gas's CO2 maximum. Source: closed form."""
    check_co2(gas, co2_pct)
    return co_ppm * co2_max_pct(gas) / co2_pct
