"""Computations on water, vessel, heat and water pipes."""

from __future__ import annotations

from handsfree.errors import BadInput
from handsfree.model import Result
from handsfree.trade import heat, pipes, vessel, water
from handsfree.trade.given import Answer, Computation, Given, Key, answer, choice_key

_BALANCE = "energy balance with CoolProp properties (IAPWS-95)"
_VALVE_MARGIN_BAR = 0.5
"""bar below a safety valve of up to 5 bar that a system may reach, EN 12828 (from memory)"""


def _water(given: Given) -> Answer:
    if given.has("glycol_pct") and not given.has("glycol"):
        raise BadInput("water needs glycol with glycol_pct", "add glycol=propylene or glycol=ethylene")
    glycol = given.word("glycol") if given.has("glycol") else None
    if glycol is not None and not given.has("glycol_pct"):
        raise BadInput("water needs glycol_pct with glycol (0 to 60 % by mass)", "add glycol_pct=30")
    share = given.number("glycol_pct") if glycol else 0.0
    fluid = water.fluid_name(glycol, share)
    name, temperature_c = given.word("property"), given.number("temperature_c")
    source = "CoolProp, IAPWS-95" if fluid == "Water" else "CoolProp, incompressible mixtures"
    match name:
        case "density":
            result = Result(name, water.density_kg_m3(temperature_c, fluid), "kg/m3")
        case "cp":
            result = Result(name, water.heat_capacity_kj_kgk(temperature_c, fluid), "kJ/kgK")
        case "expansion":
            result = Result(name, water.expansion_pct(temperature_c, fluid), "%")
        case _:
            result = Result(name, water.freezing_point_c(glycol or "propylene", share), "degC")
    return Answer((result,), source=source)


def _vessel_factor(given: Given) -> Answer:
    valve, charge = given.number("valve_bar"), given.number("charge_bar")
    printed = (valve, charge) in vessel.printed_factors()
    return Answer(
        (Result("vessel_factor", vessel.uk_vessel_factor(valve, charge), "L/L"),),
        "as printed" if printed else None,
        sure="published" if printed else "computed",
    )


def _vessel_size(given: Given) -> Answer:
    system_l, charge = given.number("system_l"), given.number("charge_bar")
    if given.word("method") == "uk":
        if not given.has("valve_bar"):
            raise BadInput("vessel_size needs valve_bar (safety valve, 1 to 10 bar)", "add valve_bar=3")
        return answer("vessel_size", vessel.uk_vessel_size_l(system_l, given.number("valve_bar"), charge), "L")
    for name in ("expansion_pct", "reserve_l"):
        if not given.has(name):
            raise BadInput(f"vessel_size needs {name} with method=en12828", f"add {name}=VALUE")
    size = vessel.en12828_vessel_size_l(
        system_l, given.number("expansion_pct"), given.number("reserve_l"), charge, _final_bar(given)
    )
    return Answer(
        (Result("vessel_size", size, "L"),),
        "(system x expansion + reserve) x (final + 1) / (final - charge)",
        "EN 12828 annex, formula from memory",
        "from memory",
    )


def _final_bar(given: Given) -> float:
    if given.has("final_bar"):
        return given.number("final_bar")
    if given.has("valve_bar"):
        return given.number("valve_bar") - _VALVE_MARGIN_BAR
    raise BadInput("vessel_size needs final_bar or valve_bar with method=en12828", "add final_bar=2.5")


def _hot_pressure(given: Given) -> Answer:
    names = ("system_l", "vessel_l", "charge_bar", "cold_bar", "cold_c", "hot_c")
    pressure = vessel.hot_pressure_bar(*(given.number(name) for name in names))
    return answer("hot_pressure", "no finite answer" if pressure is None else pressure, "bar")


def _heat_output(given: Given) -> Answer:
    readings = (given.number("flow_l_min"), given.number("flow_c"), given.number("return_c"))
    if given.word("method") == "rule":
        return Answer(
            (Result("heat_output", heat.heat_output_rule_kw(*readings), "kW"),),
            "flow x difference / 14.33",
            "the trade's rule of thumb, 1 to 2 % high",
            "common practice",
        )
    return answer("heat_output", heat.heat_output_kw(*readings), "kW")


def _radiator_factor(given: Given) -> Answer:
    return answer("radiator_factor", heat.radiator_factor(given.number("difference_k"), given.number("exponent")), "-")


def _mean_difference(given: Given) -> tuple[float, float, float]:
    return given.number("flow_c"), given.number("return_c"), given.number("room_c")


_COLD = heat.hot_water_output_kw.key("cold_c", "cold water in", half_width="last place")

COMPUTATIONS = (
    Computation(
        "water",
        "Properties of heating water at 2 bar absolute, or of a glycol mixture.",
        (
            water.density_kg_m3.key("temperature_c", "temperature; water from 0.5 degC", "20"),
            choice_key("property", "which one", ("density", "cp", "expansion", "freezing_point"), "density"),
            choice_key("glycol", "kind of glycol", ("propylene", "ethylene"), optional=True),
            Key("glycol_pct", "glycol by mass", "number", 0.0, 60.0, optional=True),
        ),
        ("density kg/m3", "cp kJ/kgK", "expansion % from 10 degC", "freezing_point degC"),
        "equation of state; expansion = density at 10 degC / density - 1",
        "CoolProp, IAPWS-95",
        "computed",
        _water,
    ),
    Computation(
        "static_head",
        "Pressure of a column of water at 10 degC.",
        (water.static_head_bar.key("height_m", "height of the highest point above the gauge"),),
        ("static_head bar",),
        "density x 9.80665 x height",
        "closed form, CoolProp density",
        "computed",
        lambda given: answer("static_head", water.static_head_bar(given.number("height_m")), "bar"),
    ),
    Computation(
        "vessel_factor",
        "Litres of vessel for a litre of system; charge = initial fill.",
        (
            vessel.fitted_factor.key("valve_bar", "safety valve's setting", "3"),
            vessel.fitted_factor.key("charge_bar", "vessel's charge = initial fill"),
        ),
        ("vessel_factor L/L",),
        "0.049 x (pf + 1.013) / (pf - charge), pf = valve - 0.345; fitted to the printed table, within 0.4 %",
        "table in UK boiler instructions, after BS 7074 / BS 5449",
        "published",
        _vessel_factor,
    ),
    Computation(
        "vessel_size",
        "Expansion vessel by the UK table or by EN 12828: two methods, not to be mixed.",
        (
            vessel.uk_vessel_size_l.key("system_l", "water in the system"),
            vessel.fitted_factor.key("valve_bar", "safety valve's setting (uk)", optional=True),
            vessel.fitted_factor.key("charge_bar", "vessel's charge"),
            choice_key("method", "uk or en12828", ("uk", "en12828"), "uk"),
            vessel.en12828_vessel_size_l.key("expansion_pct", "expansion of the water (en12828)", optional=True),
            vessel.en12828_vessel_size_l.key("reserve_l", "water reserve (en12828)", optional=True),
            vessel.en12828_vessel_size_l.key("final_bar", "final pressure (en12828); else valve - 0.5", optional=True),
        ),
        ("vessel_size L",),
        "system x vessel factor",
        "table in UK boiler instructions, after BS 7074 / BS 5449",
        "published",
        _vessel_size,
    ),
    Computation(
        "vessel_acceptance",
        "Water that a vessel takes between charge and final pressure.",
        (
            vessel.vessel_acceptance_l.key("vessel_l", "vessel's size"),
            vessel.vessel_acceptance_l.key("charge_bar", "charge"),
            vessel.vessel_acceptance_l.key("final_bar", "final pressure"),
        ),
        ("vessel_acceptance L",),
        "vessel x (final - charge) / (final + 1.01325)",
        "closed form (Boyle)",
        "computed",
        lambda given: answer(
            "vessel_acceptance",
            vessel.vessel_acceptance_l(given.number("vessel_l"), given.number("charge_bar"), given.number("final_bar")),
            "L",
        ),
    ),
    Computation(
        "hot_pressure",
        "System pressure when hot; 'no finite answer' where the vessel fills with water.",
        (
            vessel.hot_pressure_bar.key("system_l", "water in the system"),
            vessel.hot_pressure_bar.key("vessel_l", "vessel's size"),
            vessel.hot_pressure_bar.key("charge_bar", "vessel's charge", half_width="last place"),
            vessel.hot_pressure_bar.key("cold_bar", "pressure cold", half_width="last place"),
            vessel.hot_pressure_bar.key("cold_c", "mean water temperature cold"),
            vessel.hot_pressure_bar.key("hot_c", "mean water temperature hot"),
        ),
        ("hot_pressure bar",),
        "(charge + patm) x vessel / (gas volume cold - water's expansion) - patm",
        "Boyle with CoolProp water volumes; pipework that does not give",
        "computed",
        _hot_pressure,
    ),
    Computation(
        "heat_output",
        "Heat to the system from flow and temperatures; the flow is metered in the return.",
        (
            heat.heat_output_kw.key("flow_l_min", "flow", half_width="last place"),
            heat.heat_output_kw.key("flow_c", "flow temperature", half_width="last place"),
            heat.heat_output_kw.key("return_c", "return temperature", half_width="last place"),
            choice_key("method", "exact, or the trade's rule of thumb", ("exact", "rule"), "exact"),
        ),
        ("heat_output kW",),
        "flow x density at the return x (enthalpy of flow - of return)",
        _BALANCE,
        "computed",
        _heat_output,
    ),
    Computation(
        "hot_water_output",
        "Heat to the hot water; the flow is metered cold.",
        (
            heat.hot_water_output_kw.key("flow_l_min", "flow", half_width="last place"),
            _COLD,
            heat.hot_water_output_kw.key("hot_c", "hot water out", half_width="last place"),
        ),
        ("hot_water_output kW",),
        "flow x density at the cold inlet x (enthalpy hot - cold)",
        _BALANCE,
        "computed",
        lambda given: answer(
            "hot_water_output",
            heat.hot_water_output_kw(given.number("flow_l_min"), given.number("cold_c"), given.number("hot_c")),
            "kW",
        ),
    ),
    Computation(
        "hot_water_flow",
        "Hot water that a heat output warms.",
        (
            heat.hot_water_flow_l_min.key("kw", "heat output"),
            heat.hot_water_flow_l_min.key("rise_k", "temperature rise"),
            heat.hot_water_flow_l_min.key("cold_c", "cold water in", "10"),
        ),
        ("hot_water_flow L/min",),
        "heat / (density at the cold inlet x enthalpy rise)",
        _BALANCE,
        "computed",
        lambda given: answer(
            "hot_water_flow",
            heat.hot_water_flow_l_min(given.number("kw"), given.number("rise_k"), given.number("cold_c")),
            "L/min",
        ),
    ),
    Computation(
        "flow_for",
        "Flow that carries a heat output.",
        (
            heat.flow_for_l_min.key("kw", "heat output"),
            heat.flow_for_l_min.key("rise_k", "flow less return"),
            heat.flow_for_l_min.key("mean_c", "mean of flow and return", "60"),
        ),
        ("flow L/min",),
        "heat / (density at the mean x enthalpy difference)",
        _BALANCE,
        "computed",
        lambda given: answer(
            "flow",
            heat.flow_for_l_min(given.number("kw"), given.number("rise_k"), given.number("mean_c")),
            "L/min",
        ),
    ),
    Computation(
        "radiator_factor",
        "Share of its rated output (75/65/20) that a radiator gives at another mean difference.",
        (
            heat.radiator_factor.key("difference_k", "mean of flow and return, less the room"),
            heat.radiator_factor.key("exponent", "the radiator's exponent", "1.3"),
        ),
        ("radiator_factor -",),
        "(difference / 50)^exponent",
        "EN 442; factors as in a public catalogue table",
        "published",
        _radiator_factor,
    ),
    Computation(
        "log_mean_difference",
        "Logarithmic mean difference between radiator and room, and the arithmetic mean beside it.",
        (
            heat.log_mean_difference_k.key("flow_c", "flow temperature"),
            heat.log_mean_difference_k.key("return_c", "return temperature"),
            heat.log_mean_difference_k.key("room_c", "room temperature", "20"),
        ),
        ("log_mean_difference K", "mean_difference K"),
        "(flow - return) / ln((flow - room) / (return - room))",
        "closed form",
        "computed",
        lambda given: Answer(
            (
                Result("log_mean_difference", heat.log_mean_difference_k(*_mean_difference(given)), "K"),
                Result("mean_difference", heat.mean_difference_k(*_mean_difference(given)), "K"),
            )
        ),
    ),
    Computation(
        "water_pipe_drop",
        "Pressure lost by water in a copper pipe, and its speed.",
        (
            pipes.water_pipe_drop_pa_m.key("bore_mm", "internal bore"),
            pipes.water_pipe_drop_pa_m.key("flow_l_min", "flow"),
            pipes.water_pipe_drop_pa_m.key("temperature_c", "water temperature", "60"),
        ),
        ("water_pipe_drop Pa/m", "speed m/s"),
        "friction factor (Colebrook, 1.5 um) / bore x density x speed squared / 2",
        "Darcy-Weisbach with CoolProp properties; checked against a library of fluid mechanics",
        "computed",
        lambda given: Answer(
            (
                Result(
                    "water_pipe_drop",
                    pipes.water_pipe_drop_pa_m(
                        given.number("bore_mm"), given.number("flow_l_min"), given.number("temperature_c")
                    ),
                    "Pa/m",
                ),
                Result("speed", pipes.speed_m_s(given.number("bore_mm"), given.number("flow_l_min")), "m/s"),
            )
        ),
    ),
    Computation(
        "tube_content",
        "Water in a metre of tube.",
        (pipes.tube_content_l_m.key("bore_mm", "internal bore"),),
        ("tube_content L/m",),
        "pi / 4 x bore squared",
        "closed form",
        "computed",
        lambda given: answer("tube_content", pipes.tube_content_l_m(given.number("bore_mm")), "L/m"),
    ),
)
