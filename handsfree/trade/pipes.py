"""Bore and flow in; pressure lost along a copper pipe, speed and content out."""

from __future__ import annotations

import math

from handsfree.trade.gas import AIR_MOLAR_MASS, REFERENCE_KELVIN
from handsfree.trade.given import checked
from handsfree.trade.water import density_kg_m3, viscosity_pa_s

COPPER_ROUGHNESS_M = 1.5e-6
"""m, drawn tube (common tables)"""
GAS_VISCOSITY_PA_S = 1.088e-5
"""Pa s, natural gas at 15 degC"""
AIR_DENSITY_KG_M3 = 101325.0 * AIR_MOLAR_MASS / 1000.0 / (8.3144621 * REFERENCE_KELVIN)
"""kg/m3 at 15 degC and 1013.25 mbar"""
LAMINAR_BELOW = 2040.0
"""Reynolds number; Avila et al. 2011 found where turbulence outlives itself"""


def friction_factor(reynolds: float, relative_roughness: float) -> float:
    """Darcy friction factor, -: 64/Re below 2040, else Colebrook's equation solved by iteration.

    Source: Colebrook 1939.
    """
    if reynolds < LAMINAR_BELOW:
        return 64.0 / reynolds
    root = 8.0
    # The iteration contracts: each step gains more than a digit, twelve reach machine precision from any start.
    for _ in range(12):
        root = -2.0 * math.log10(relative_roughness / 3.7 + 2.51 * root / reynolds)
    return 1.0 / root**2


def _darcy_pa_per_m(bore_m: float, flow_m3_s: float, density: float, viscosity: float) -> float:
    speed = flow_m3_s / (math.pi / 4.0 * bore_m**2)
    reynolds = density * speed * bore_m / viscosity
    return friction_factor(reynolds, COPPER_ROUGHNESS_M / bore_m) / bore_m * density * speed**2 / 2.0


@checked(bore_mm=(4.0, 110.0), length_m=(0.1, 500.0), flow_m3_h=(0.01, 100.0), relative_density=(0.3, 2.5))
def gas_pipe_drop_darcy_mbar(bore_mm: float, length_m: float, flow_m3_h: float, relative_density: float = 0.6) -> float:
    """Pressure lost, mbar: Darcy-Weisbach with Colebrook's factor, copper of 1.5 um, at 15 degC.

    Valid for 4 to 110 mm and low pressure; the transition zone of domestic pipes makes it uncertain by 15 %. Source:
    Darcy-Weisbach.
    """
    density = relative_density * AIR_DENSITY_KG_M3
    return _darcy_pa_per_m(bore_mm / 1000.0, flow_m3_h / 3600.0, density, GAS_VISCOSITY_PA_S) * length_m / 100.0


@checked(bore_mm=(4.0, 110.0), length_m=(0.1, 500.0), flow_m3_h=(0.01, 100.0), relative_density=(0.3, 2.5))
def gas_pipe_drop_renouard_mbar(
    bore_mm: float, length_m: float, flow_m3_h: float, relative_density: float = 0.6
) -> float:
    """Pressure lost, mbar: Renouard's low-pressure formula 23200 d L Q^1.82 D^-4.82.

    Source: coefficient from memory.
    """
    return float(23_200.0 * relative_density * length_m * flow_m3_h**1.82 / bore_mm**4.82)


@checked(bore_mm=(4.0, 110.0), flow_l_min=(0.1, 500.0), temperature_c=(1.0, 99.0))
def water_pipe_drop_pa_m(bore_mm: float, flow_l_min: float, temperature_c: float) -> float:
    """Pressure lost by water in copper, Pa/m: Darcy-Weisbach with Colebrook's factor, 1.5 um.

    Valid for 4 to 110 mm, 1 to 99 degC. Source: Darcy-Weisbach, CoolProp properties.
    """
    density, viscosity = density_kg_m3(temperature_c), viscosity_pa_s(temperature_c)
    return _darcy_pa_per_m(bore_mm / 1000.0, flow_l_min / 60_000.0, density, viscosity)


@checked(bore_mm=(4.0, 110.0), flow_l_min=(0.1, 500.0))
def speed_m_s(bore_mm: float, flow_l_min: float) -> float:
    """Mean speed in a pipe, m/s. Source: closed form."""
    return flow_l_min / 60_000.0 / (math.pi / 4.0 * (bore_mm / 1000.0) ** 2)


@checked(bore_mm=(1.0, 500.0))
def tube_content_l_m(bore_mm: float) -> float:
    """Content of a tube, L/m: pi/4 x bore squared. Source: closed form."""
    return math.pi / 4.0 * bore_mm**2 / 1000.0
