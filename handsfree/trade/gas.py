"""What the gas is and how fast it burns: properties of a mixture, gas rate, heat input.

Calorific values are per cubic metre of dry gas, combustion and metering at 15 degC and 1013.25 mbar, unless a name
says kg or mol.
"""

from __future__ import annotations

import functools
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any

from handsfree.errors import BadInput
from handsfree.trade.given import checked, nearest

KELVIN = 273.15
"""K at 0 degC"""
MOLAR_GAS_CONSTANT = 8.3144621
"""J/(mol K), as ISO 6976:2016 uses it"""
REFERENCE_KELVIN = 288.15
REFERENCE_KPA = 101.325
WATER_EVAPORATION_KJ_MOL = 44.431
"""kJ/mol at 15 degC, ISO 6976:2016 (from memory; CoolProp gives 44.43)"""
AIR_MOLAR_MASS = 28.96546
"""g/mol, ISO 6976:2016 (from memory)"""
AIR_COMPRESSION_FACTOR = 0.999595
"""at 15 degC and 101.325 kPa, ISO 6976:2016 (from memory)"""
CUBIC_METRES_IN_CUBIC_FOOT = 0.028316846592
KW_IN_BTU_PER_HOUR = 1055.05585262 / 3.6e6
"""kW in one Btu (international table) per hour"""
UK_VOLUME_FACTOR = 1.02264
"""fixed factor for small meters, Gas (Calculation of Thermal Energy) Regulations 1996"""

_ATOM_MASS = {"carbon": 12.011, "hydrogen": 1.00794, "oxygen": 15.9994, "nitrogen": 14.0067}


@dataclass(frozen=True, slots=True)
class Component:
    """One pure gas of a mixture."""

    name: str
    carbon: int
    hydrogen: int
    oxygen: int
    nitrogen: int
    gross_kj_mol: float
    summation: float

    @property
    def molar_mass(self) -> float:
        """g/mol"""
        return sum(count * _ATOM_MASS[atom] for atom, count in self._atoms())

    def _atoms(self) -> tuple[tuple[str, int], ...]:
        return (
            ("carbon", self.carbon),
            ("hydrogen", self.hydrogen),
            ("oxygen", self.oxygen),
            ("nitrogen", self.nitrogen),
        )


@dataclass(frozen=True, slots=True)
class Gas:
    """A gas as mole fractions of its components (they add up to 1), with its properties by the method of ISO 6976."""

    name: str
    parts: tuple[tuple[Component, float], ...]

    def _mean(self, values: Mapping[str, float]) -> float:
        return sum(fraction * values[component.name] for component, fraction in self.parts)

    @property
    def carbon(self) -> float:
        """atoms in a molecule, on average"""
        return self._mean({c.name: c.carbon for c, _ in self.parts})

    @property
    def hydrogen(self) -> float:
        """atoms in a molecule, on average"""
        return self._mean({c.name: c.hydrogen for c, _ in self.parts})

    @property
    def oxygen(self) -> float:
        """atoms in a molecule, on average"""
        return self._mean({c.name: c.oxygen for c, _ in self.parts})

    @property
    def nitrogen(self) -> float:
        """atoms in a molecule, on average"""
        return self._mean({c.name: c.nitrogen for c, _ in self.parts})

    @property
    def molar_mass(self) -> float:
        """g/mol"""
        return self._mean({c.name: c.molar_mass for c, _ in self.parts})

    @property
    def compression_factor(self) -> float:
        """Z = 1 - (sum of x times summation factor) squared, at 15 degC and 1013.25 mbar."""
        return 1.0 - self._mean({c.name: c.summation for c, _ in self.parts}) ** 2

    @property
    def molar_volume(self) -> float:
        """m3/mol of the real gas at 15 degC and 1013.25 mbar"""
        return self.compression_factor * MOLAR_GAS_CONSTANT * REFERENCE_KELVIN / (REFERENCE_KPA * 1000.0)

    @property
    def gross_kj_mol(self) -> float:
        """kJ/mol, ideal gas"""
        return self._mean({c.name: c.gross_kj_mol for c, _ in self.parts})

    @property
    def net_kj_mol(self) -> float:
        """kJ/mol, ideal gas: gross less the heat that condenses the water formed"""
        return self.gross_kj_mol - self.hydrogen / 2.0 * WATER_EVAPORATION_KJ_MOL

    @property
    def gross_mj_m3(self) -> float:
        """Hs, MJ/m3"""
        return self.gross_kj_mol / self.molar_volume / 1000.0

    @property
    def net_mj_m3(self) -> float:
        """Hi, MJ/m3"""
        return self.net_kj_mol / self.molar_volume / 1000.0

    @property
    def gross_mj_kg(self) -> float:
        """MJ/kg gross"""
        return self.gross_kj_mol / self.molar_mass

    @property
    def net_mj_kg(self) -> float:
        """MJ/kg net"""
        return self.net_kj_mol / self.molar_mass

    @property
    def net_over_gross(self) -> float:
        """Hi/Hs"""
        return self.net_kj_mol / self.gross_kj_mol

    @property
    def density(self) -> float:
        """kg/m3"""
        return self.molar_mass / self.molar_volume / 1000.0

    @property
    def relative_density(self) -> float:
        """density over that of dry air, both real gases"""
        return self.molar_mass / AIR_MOLAR_MASS * AIR_COMPRESSION_FACTOR / self.compression_factor

    @property
    def gross_wobbe(self) -> float:
        """Ws, MJ/m3"""
        return float(self.gross_mj_m3 / self.relative_density**0.5)

    @property
    def net_wobbe(self) -> float:
        """Wi, MJ/m3"""
        return float(self.net_mj_m3 / self.relative_density**0.5)

    @property
    def is_lpg(self) -> bool:
        """Whether it is mostly propane and butane."""
        return sum(fraction for component, fraction in self.parts if component.carbon >= 3) > 0.5


@functools.cache
def _data() -> tuple[dict[str, Component], dict[str, Gas]]:
    """Component and gas by every name it goes by, lower case."""
    table: dict[str, Any] = tomllib.loads(
        resources.files(__package__).joinpath("gases.toml").read_text(encoding="utf-8")
    )
    components: dict[str, Component] = {}
    for name, row in table["component"].items():
        component = Component(
            name,
            row["carbon"],
            row["hydrogen"],
            row.get("oxygen", 0),
            row.get("nitrogen", 0),
            row["gross_kj_mol"],
            row["summation"],
        )
        components |= dict.fromkeys([name, *row["names"]], component)
    gases: dict[str, Gas] = {}
    for name, row in table["gas"].items():
        gas = Gas(name, tuple((components[part], fraction) for part, fraction in row["parts"].items()))
        gases |= dict.fromkeys([name.lower(), *row.get("names", ())], gas)
    return components, gases


_PART = re.compile(
    r"(?P<before>\d+(?:\.\d+)?)\s*%?\s*(?P<name_after>[a-z][a-z0-9-]*)"
    r"|(?P<name_before>[a-z][a-z0-9-]*)\s*[:=\s]\s*(?P<after>\d+(?:\.\d+)?)\s*%?"
)


def find_gas(text: str) -> Gas:
    """The gas that `text` names: G20, natural_gas, lpg, propane, or a mixture by volume ("92.5% CH4 7.5% N2").

    Raises:
        BadInput: no such gas, or a mixture whose parts do not add up to 1 or to 100 %.
    """
    components, gases = _data()
    wanted = re.sub(r"\band\b|[{}\"']", " ", text.lower()).strip()
    joined = wanted.replace(" ", "_")
    if joined in gases:
        return gases[joined]
    if wanted in components:
        return Gas(components[wanted].name, ((components[wanted], 1.0),))
    if not re.search(r"\d", wanted) or re.fullmatch(r"g\d+", wanted):
        known = sorted({gas.name for gas in gases.values()}) + sorted({c.name for c in components.values()})
        raise BadInput(
            f"gas is {text!r}; it must be one of {', '.join(known)}, or a mixture like '92.5% CH4 7.5% N2'",
            nearest(wanted, [*gases, *components]),
        )
    return _mixture(text, wanted, components)


def _mixture(text: str, wanted: str, components: Mapping[str, Component]) -> Gas:
    amounts: dict[str, float] = {}
    rest = wanted
    for match in _PART.finditer(wanted):
        name = match["name_after"] or match["name_before"]
        if name not in components:
            known = ", ".join(sorted({c.name for c in components.values()}))
            raise BadInput(f"gas is {text!r}; {name!r} is not one of {known}", nearest(name, components))
        amounts[components[name].name] = amounts.get(components[name].name, 0.0) + float(
            match["before"] or match["after"]
        )
        rest = rest.replace(match[0], " ", 1)
    cure = "write a mixture as '92.5% CH4 7.5% N2'"
    if left := re.sub(r"[\s,;+/]+", "", rest):
        raise BadInput(f"gas is {text!r}; {left!r} in it is no gas with its share", cure)
    total = sum(amounts.values())
    whole = 100.0 if total > 1.5 else 1.0
    if abs(total / whole - 1.0) > 0.001:
        raise BadInput(f"gas is {text!r}; its parts add up to {total:g}, they must add up to 1 or to 100 %", cure)
    return Gas(
        text.strip(), tuple((components[name], amount / total) for name, amount in amounts.items() if amount > 0.0)
    )


# ------------------------------------------------------------------------------------------- rate and heat input


@checked(volume_m3=(0.0005, 100.0), time_s=(1.0, 86_400.0))
def gas_rate_m3_h(volume_m3: float, time_s: float) -> float:
    """Gas rate in m3/h of a timed volume: volume x 3600 / time.

    Valid for 0.0005 to 100 m3 and 1 s to a day; trust it from 0.04 m3 or 120 s on (common practice).
    Source: closed form.
    """
    return 3600.0 * volume_m3 / time_s


def volume_between(start_m3: float, end_m3: float) -> float:
    """Gas volume in m3 between two readings of the meter's index. Source: closed form.

    Raises:
        BadInput: the index went backwards or stood still.
    """
    if end_m3 <= start_m3:
        raise BadInput(
            f"end_m3 is {end_m3:.10g} m3; it must be more than start_m3, {start_m3:.10g} m3",
            "a meter index does not go backwards: read both again",
        )
    return round(end_m3 - start_m3, 9)


def gas_rate_spread_m3_h(
    volume_m3: float, time_s: float, resolution_m3: float = 0.001, stopwatch_s: float = 1.0
) -> float:
    """Half-width in m3/h that a meter's last digit and a hand on the stopwatch leave: rate x (digit/volume + 1 s/time).

    The two are added, not squared: an engineer who signs wants the worst case. Source: ours.
    """
    return gas_rate_m3_h(volume_m3, time_s) * (resolution_m3 / volume_m3 + stopwatch_s / time_s)


def settling_time_s(
    rate_m3_h: float, bound_m3_h: float, resolution_m3: float = 0.001, stopwatch_s: float = 1.0
) -> float | None:
    """How long to time, in s, until a rate so near to a bound is told from it; None when it stands on the bound.

    The spread of a run of t s is (3600 x digit + rate x stopwatch) / t; this is the t at which it equals the
    distance. Source: ours.
    """
    distance = abs(rate_m3_h - bound_m3_h)
    if distance == 0.0:
        return None
    return (3600.0 * resolution_m3 + rate_m3_h * stopwatch_s) / distance


@checked(gas_rate_m3_h=(0.01, 100.0), cv_mj_m3=(10.0, 150.0), correction=(0.5, 1.5))
def heat_input_kw(gas_rate_m3_h: float, cv_mj_m3: float, correction: float = 1.0) -> float:
    """Heat input in kW, on the basis of the calorific value: rate x calorific value x correction / 3.6.

    Gross with a gross calorific value. `correction` 1 leaves the meter's volume as it is (usual for a gas-rate sum);
    the standard UK volume factor is 1.02264. Valid for 0.01 to 100 m3/h and 10 to 150 MJ/m3. Source: closed form.
    """
    return gas_rate_m3_h * cv_mj_m3 * correction / 3.6


@checked(kw=(0.1, 1000.0))
def gas_rate_for_m3_h(kw: float, cv_mj_m3: float) -> float:
    """Gas rate in m3/h for a heat input in kW; both on the same basis, net with net. Source: closed form."""
    return 3.6 * kw / cv_mj_m3


@checked(temperature_c=(-30.0, 60.0), gauge_mbar=(0.0, 100.0), height_deduction_mbar=(0.0, 150.0))
def volume_factor(temperature_c: float, gauge_mbar: float, height_deduction_mbar: float) -> float:
    """Factor from metered to reference volume: (288.15/T) x (1013.25 + gauge - deduction)/1013.25.

    Valid for -30 to 60 degC and up to 100 mbar. Source: Gas (Calculation of Thermal Energy) Regulations 1996.
    """
    return REFERENCE_KELVIN / (KELVIN + temperature_c) * (1013.25 + gauge_mbar - height_deduction_mbar) / 1013.25


@checked(height_m=(-100.0, 1000.0))
def altitude_deduction_mbar(height_m: float) -> float:
    """Pressure in mbar to deduct for height above sea level: 0.3 mbar for each begun step of 2.5 m; 0 below sea level.

    Valid to 1000 m. Source: SI 1996/439, Schedule part I, table (rows to about 300 m seen; above, the same step goes
    on).
    """
    if height_m <= 0.0:
        return 0.0
    steps = -int(-height_m // 2.5)
    return steps * 3 / 10
