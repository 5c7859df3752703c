"""Flow and temperatures in, kilowatts out, and back; radiators at other temperatures than rated."""

from __future__ import annotations

import math

from handsfree.errors import BadInput
from handsfree.trade.given import checked
from handsfree.trade.water import density_kg_m3, enthalpy_kj_kg

RULE_OF_THUMB = 14.33
"""L/min x K for a kW, the trade's constant (density 1, heat capacity 4.187): 1 to 2 % high (common practice)"""
RATED_DIFFERENCE_K = 50.0
"""K, EN 442: 75/65/20 degC"""


def _hotter(name: str, value: float, than: str, other: float) -> None:
    if value <= other:
        raise BadInput(
            f"{name} is {value:g} degC; it must be more than {than}, {other:g} degC",
            "check which is which, and read both again",
        )


def _kilowatts(flow_l_min: float, metered_c: float, hot_c: float, cold_c: float) -> float:
    litres_per_second = flow_l_min / 60.0
    return litres_per_second / 1000.0 * density_kg_m3(metered_c) * (enthalpy_kj_kg(hot_c) - enthalpy_kj_kg(cold_c))


@checked(flow_l_min=(0.1, 200.0), flow_c=(1.0, 110.0), return_c=(1.0, 110.0))
def heat_output_kw(flow_l_min: float, flow_c: float, return_c: float) -> float:
    """Heat to the system, kW, the flow metered in the return: flow x density there x (enthalpy of flow - of return).

    Valid for 0.1 to 200 L/min, 1 to 110 degC. Source: energy balance, CoolProp properties.
    """
    _hotter("flow_c", flow_c, "return_c", return_c)
    return _kilowatts(flow_l_min, return_c, flow_c, return_c)


@checked(flow_l_min=(0.1, 200.0), flow_c=(1.0, 110.0), return_c=(1.0, 110.0))
def heat_output_rule_kw(flow_l_min: float, flow_c: float, return_c: float) -> float:
    """Heat to the system by the rule of thumb, kW: flow x difference / 14.33; 1 to 2 % high.

    Source: common practice.
    """
    _hotter("flow_c", flow_c, "return_c", return_c)
    return flow_l_min * (flow_c - return_c) / RULE_OF_THUMB


@checked(flow_l_min=(0.1, 200.0), cold_c=(1.0, 60.0), hot_c=(1.0, 95.0))
def hot_water_output_kw(flow_l_min: float, cold_c: float, hot_c: float) -> float:
    """Heat to the hot water, kW: flow x density at the cold inlet x (enthalpy hot - cold); the flow is metered cold.

    Valid for 0.1 to 200 L/min, 1 to 95 degC. Source: energy balance, CoolProp properties.
    """
    _hotter("hot_c", hot_c, "cold_c", cold_c)
    return _kilowatts(flow_l_min, cold_c, hot_c, cold_c)


@checked(kw=(0.1, 1000.0), rise_k=(1.0, 94.0), cold_c=(1.0, 60.0))
def hot_water_flow_l_min(kw: float, rise_k: float, cold_c: float) -> float:
    """Hot water, L/min metered cold, that `kw` kW warms by `rise_k` K.

    Valid up to 95 degC. Source: energy balance, CoolProp properties.
    """
    hot_c = cold_c + rise_k
    if hot_c > 95.0:
        raise BadInput(
            f"rise_k is {rise_k:g} K; from {cold_c:g} degC it must be from 1 to {95.0 - cold_c:g} K",
            "check rise and cold temperature",
        )
    return kw / _kilowatts(1.0, cold_c, hot_c, cold_c)


@checked(kw=(0.1, 1000.0), rise_k=(1.0, 60.0), mean_c=(5.0, 100.0))
def flow_for_l_min(kw: float, rise_k: float, mean_c: float) -> float:
    """Flow, L/min metered at the mean temperature, that carries `kw` kW at a difference of `rise_k` K.

    Valid for 1 to 60 K, flow and return between 1 and 110 degC. Source: energy balance, CoolProp properties.
    """
    flow_c, return_c = mean_c + rise_k / 2.0, mean_c - rise_k / 2.0
    widest_k = 2.0 * min(mean_c - 1.0, 110.0 - mean_c)
    if rise_k > widest_k:
        raise BadInput(
            f"rise_k is {rise_k:g} K; around {mean_c:g} degC it must be from 1 to {widest_k:g} K",
            "check the difference and the mean temperature",
        )
    return kw / _kilowatts(1.0, mean_c, flow_c, return_c)


@checked(difference_k=(1.0, 120.0), exponent=(1.0, 1.6))
def radiator_factor(difference_k: float, exponent: float = 1.3) -> float:
    """Share of the rated output (75/65/20 degC) that a radiator gives, -: (difference/50)^exponent.

    Valid for 1 to 120 K; exponent 1.2 to 1.4 for radiators, 1.3 usual. Source: EN 442; factors as in a public
    catalogue table.
    """
    return float((difference_k / RATED_DIFFERENCE_K) ** exponent)


@checked(flow_c=(1.0, 110.0), return_c=(1.0, 110.0), room_c=(-10.0, 50.0))
def log_mean_difference_k(flow_c: float, return_c: float, room_c: float) -> float:
    """Logarithmic mean difference between radiator and room, K.

    Valid where flow >= return > room. Source: closed form.
    """
    _hotter("return_c", return_c, "room_c", room_c)
    if flow_c < return_c:
        raise BadInput(
            f"flow_c is {flow_c:g} degC; it must be at least return_c, {return_c:g} degC", "check which is which"
        )
    hot, cool = flow_c - room_c, return_c - room_c
    # Near flow = return the quotient is 0/0; below this the arithmetic mean is the same number.
    if hot / cool < 1.0 + 1e-6:
        return (hot + cool) / 2.0
    return (hot - cool) / math.log(hot / cool)


@checked(flow_c=(1.0, 110.0), return_c=(1.0, 110.0), room_c=(-10.0, 50.0))
def mean_difference_k(flow_c: float, return_c: float, room_c: float) -> float:
    """Arithmetic mean difference between radiator and room, K: (flow + return)/2 - room. Source: EN 442."""
    return (flow_c + return_c) / 2.0 - room_c
