"""Temperature in, properties of heating water out: density, heat capacity, enthalpy, expansion, freezing point.

Liquid at 2 bar absolute, the pressure of a filled heating system. CoolProp does the physics (IAPWS-95 for water, its
incompressible mixtures for glycol); it is imported only when a property is asked for, because that takes about a
second.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any, Literal

from handsfree.errors import BadInput, MissingPart
from handsfree.trade.gas import KELVIN
from handsfree.trade.given import checked

SYSTEM_PASCAL = 2.0e5
"""Pa absolute"""
GRAVITY = 9.80665
"""m/s2, standard"""
COLDEST_C, HOTTEST_C = 0.5, 115.0

Glycol = Literal["propylene", "ethylene"]
_FLUIDS: dict[str, tuple[str, float]] = {"propylene": ("MPG", 60.0), "ethylene": ("MEG", 60.0)}
"""glycol -> CoolProp's name, highest mass % of its data"""


@functools.cache
def properties() -> Callable[..., float]:
    """CoolProp's property function.

    Raises:
        MissingPart: CoolProp is not installed.
    """
    try:
        from CoolProp.CoolProp import PropsSI
    except ImportError as error:
        raise MissingPart(
            f"the library of physical properties does not load ({error})", "pip install CoolProp"
        ) from None
    function: Callable[..., Any] = PropsSI
    return lambda *arguments: float(function(*arguments))


def fluid_name(glycol: str | None = None, glycol_pct: float = 0.0) -> str:
    """CoolProp's name of water or of a glycol mixture, `glycol_pct` % by mass.

    Raises:
        BadInput: unknown glycol, or more of it than the data cover (60 %).
    """
    if glycol is None or glycol_pct == 0.0:
        return "Water"
    if glycol not in _FLUIDS:
        raise BadInput(f"glycol is {glycol!r}; it must be propylene or ethylene", "name the glycol on the container")
    name, highest = _FLUIDS[glycol]
    if not 0.0 < glycol_pct <= highest:
        raise BadInput(
            f"glycol_pct is {glycol_pct:g} %; it must be from 0 to {highest:g} %",
            "measure it again: that is more than anybody fills",
        )
    return f"INCOMP::{name}-{glycol_pct:g}%"


def _said(fluid: str) -> str:
    """ "INCOMP::MPG-20%" -> "20% propylene glycol", for a message."""
    name, _, share = fluid.removeprefix("INCOMP::").partition("-")
    words = {code: glycol for glycol, (code, _) in _FLUIDS.items()}
    return f"{share} {words[name]} glycol" if name in words else "water"


def _property(output: str, temperature_c: float, fluid: str) -> float:
    try:
        return properties()(output, "T", KELVIN + temperature_c, "P", SYSTEM_PASCAL, fluid)
    except ValueError:
        raise BadInput(
            f"temperature_c is {temperature_c:g} degC; {_said(fluid)} is not known as a liquid there",
            "check the temperature",
        ) from None


@checked(temperature_c=(-30.0, HOTTEST_C))
def density_kg_m3(temperature_c: float, fluid: str = "Water") -> float:
    """Density, kg/m3. Valid for 0.5 to 115 degC (glycol: from its freezing point). Source: CoolProp, IAPWS-95."""
    return _property("D", _liquid(temperature_c, fluid), fluid)


@checked(temperature_c=(-30.0, HOTTEST_C))
def heat_capacity_kj_kgk(temperature_c: float, fluid: str = "Water") -> float:
    """Heat capacity at constant pressure, kJ/(kg K). Valid for 0.5 to 115 degC. Source: CoolProp, IAPWS-95."""
    return _property("C", _liquid(temperature_c, fluid), fluid) / 1000.0


@checked(temperature_c=(-30.0, HOTTEST_C))
def enthalpy_kj_kg(temperature_c: float, fluid: str = "Water") -> float:
    """Enthalpy, kJ/kg; only differences mean anything. Valid for 0.5 to 115 degC. Source: CoolProp, IAPWS-95."""
    return _property("H", _liquid(temperature_c, fluid), fluid) / 1000.0


@checked(temperature_c=(-30.0, HOTTEST_C), from_c=(-30.0, HOTTEST_C))
def expansion_pct(temperature_c: float, fluid: str = "Water", from_c: float = 10.0) -> float:
    """Gain in volume from `from_c` degC, %: v(t)/v(from) - 1. Valid for 0.5 to 115 degC. Source: CoolProp, IAPWS-95."""
    return 100.0 * (density_kg_m3(from_c, fluid) / density_kg_m3(temperature_c, fluid) - 1.0)


@checked(temperature_c=(0.01, 100.0))
def viscosity_pa_s(temperature_c: float) -> float:
    """Dynamic viscosity of water, Pa s. Valid for 0.01 to 100 degC. Source: CoolProp, IAPWS 2008."""
    return _property("V", _liquid(temperature_c, "Water"), "Water")


def freezing_point_c(glycol: str, glycol_pct: float) -> float:
    """Freezing point of a glycol mixture, degC.

    Valid for 0 to 60 % by mass. Source: CoolProp, incompressible mixtures.
    """
    fluid = fluid_name(glycol, glycol_pct)
    if fluid == "Water":
        return 0.0
    return properties()("T_freeze", "T", 300.0, "P", SYSTEM_PASCAL, fluid) - KELVIN


def _liquid(temperature_c: float, fluid: str) -> float:
    if fluid == "Water" and temperature_c < COLDEST_C:
        raise BadInput(
            f"temperature_c is {temperature_c:g} degC; for water it must be from {COLDEST_C:g} to {HOTTEST_C:g} degC",
            "check the reading: this is ice",
        )
    return temperature_c


@checked(height_m=(0.0, 100.0))
def static_head_bar(height_m: float) -> float:
    """Pressure of a column of water at 10 degC, bar: density x g x height.

    Valid for 0 to 100 m. Source: closed form, CoolProp density.
    """
    return density_kg_m3(10.0) * GRAVITY * height_m / 1.0e5
