"""Computations on the gas supply: gas, rate, heat input, tightness, gas pipes."""

from __future__ import annotations

from handsfree.errors import BadInput
from handsfree.model import Result
from handsfree.trade import convert, gas, pipes, tightness
from handsfree.trade.given import Answer, Computation, Given, Key, answer, choice_key, date_key, text_key

GAS_KEY = text_key("gas", "G20, G31, G30, natural_gas, lpg, or a mixture like '92.5% CH4 7.5% N2'")
GAS_KEY_OPTIONAL = text_key("gas", GAS_KEY.meaning, optional=True)

_PROPERTIES = {
    "Hs": ("gross_mj_m3", "MJ/m3", "gross"),
    "Hi": ("net_mj_m3", "MJ/m3", "net"),
    "relative_density": ("relative_density", "-", None),
    "Ws": ("gross_wobbe", "MJ/m3", "gross"),
    "Wi": ("net_wobbe", "MJ/m3", "net"),
    "density": ("density", "kg/m3", None),
    "Hs_mass": ("gross_mj_kg", "MJ/kg", "gross"),
    "Hi_mass": ("net_mj_kg", "MJ/kg", "net"),
    "Hs_molar": ("gross_kj_mol", "kJ/mol", "gross"),
    "Hi_molar": ("net_kj_mol", "kJ/mol", "net"),
    "net_over_gross": ("net_over_gross", "-", None),
    "molar_mass": ("molar_mass", "g/mol", None),
    "compression_factor": ("compression_factor", "-", None),
}
"""property -> attribute of Gas, unit, basis"""


def _gas_property(given: Given) -> Answer:
    name = given.word("property")
    attribute, unit, basis = _PROPERTIES[name]
    return answer(name, getattr(gas.find_gas(given.word("gas")), attribute), unit, basis)


def _metered_volume(given: Given) -> tuple[float, float]:
    """The timed volume and what its meter resolves, both in m3."""
    if given.has("volume_ft3"):
        # Whole revolutions of the test dial are counted past a mark: the volume is exact, the stopwatch is not.
        return given.number("volume_ft3") * gas.CUBIC_METRES_IN_CUBIC_FOOT, 0.0
    if given.has("volume_m3"):
        return given.number("volume_m3"), 0.001
    return gas.volume_between(given.number("start_m3"), given.number("end_m3")), 0.001


def _gas_rate(given: Given) -> Answer:
    volume_m3, resolution_m3 = _metered_volume(given)
    rate = gas.gas_rate_m3_h(volume_m3, given.number("time_s"))
    spread = gas.gas_rate_spread_m3_h(volume_m3, given.number("time_s"), resolution_m3)
    foot = gas.CUBIC_METRES_IN_CUBIC_FOOT
    return Answer(
        (Result("gas_rate", rate, "m3/h", None, spread), Result("gas_rate", rate / foot, "ft3/h", None, spread / foot))
    )


def _calorific_value(given: Given) -> float:
    if given.has("cv_mj_m3"):
        return given.number("cv_mj_m3")
    for key, unit in (("cv_kwh_m3", "kWh/m3"), ("cv_btu_ft3", "Btu/ft3")):
        if given.has(key):
            return convert.convert(given.number(key), unit, "MJ/m3")
    if given.has("gas"):
        return gas.find_gas(given.word("gas")).gross_mj_m3
    raise BadInput(
        "heat_input needs cv_mj_m3 (calorific value, 10 to 150 MJ/m3) or gas", "add cv_mj_m3=39.5 or gas=G20"
    )


def _heat_input(given: Given) -> Answer:
    spread_m3_h = 0.0
    if given.has("gas_rate_m3_h"):
        rate = given.number("gas_rate_m3_h")
    elif given.has("gas_rate_ft3_h"):
        rate = given.number("gas_rate_ft3_h") * gas.CUBIC_METRES_IN_CUBIC_FOOT
    else:
        volume_m3, resolution_m3 = _metered_volume(given)
        rate = gas.gas_rate_m3_h(volume_m3, given.number("time_s"))
        spread_m3_h = gas.gas_rate_spread_m3_h(volume_m3, given.number("time_s"), resolution_m3)
    if given.has("gas_rate_spread_m3_h"):
        spread_m3_h = given.number("gas_rate_spread_m3_h")
    gross = gas.heat_input_kw(rate, _calorific_value(given), given.number("correction"))
    spread = gross * spread_m3_h / rate if spread_m3_h else None
    results = [Result("heat_input", gross, "kW", "gross", spread)]
    if given.has("gas"):
        share = gas.find_gas(given.word("gas")).net_over_gross
        results.append(Result("heat_input", gross * share, "kW", "net", None if spread is None else spread * share))
    return Answer(tuple(results))


def _net_heat_input(given: Given) -> Answer:
    if given.has("divisor"):
        return Answer(
            (Result("heat_input", given.number("gross_kw") / given.number("divisor"), "kW", "net"),),
            formula="gross / divisor",
            source="the trade's 1.11 for natural gas",
            sure="common practice",
        )
    if not given.has("gas"):
        raise BadInput("net_heat_input needs gas or divisor", "add gas=G20 or divisor=1.11")
    net = given.number("gross_kw") * gas.find_gas(given.word("gas")).net_over_gross
    return answer("heat_input", net, "kW", "net")


def _gas_rate_for(given: Given) -> Answer:
    burnt = gas.find_gas(given.word("gas"))
    net = given.has("net_kw")
    kw = given.number("net_kw") if net else given.number("gross_kw")
    rate = gas.gas_rate_for_m3_h(kw, burnt.net_mj_m3 if net else burnt.gross_mj_m3)
    results = [Result("gas_rate", rate, "m3/h")]
    if burnt.is_lpg:
        results.append(Result("gas_rate", rate * burnt.density, "kg/h"))
    return Answer(tuple(results))


def _run_to_settle(given: Given) -> Answer:
    seconds = gas.settling_time_s(given.number("gas_rate_m3_h"), given.number("limit_m3_h"))
    return answer("test_time", "no finite answer" if seconds is None else seconds, "s")


def _installation_volume(given: Given) -> Answer:
    runs = tightness.read_pipes(given.word("pipes"))
    volume = tightness.installation_volume_m3(given.word("meter"), runs, given.number("fittings"))
    return answer("installation_volume", volume, "m3")


def _tightness_limit(given: Given) -> Answer:
    connected = given.word("appliances") == "connected"
    lpg = gas.find_gas(given.word("gas")).is_lpg
    if given.has("on") and given.day("on") < tightness.EDITION_4_FROM:
        return _superseded_limit(given, lpg, connected)
    edition = tightness.tables()["edition_4"]
    drop = tightness.permissible_drop_mbar(lpg, given.number("volume_m3"), connected)
    formula = (
        None
        if drop
        else "no perceptible movement: not more than 0.25 mbar on a water gauge, 0.2 mbar on an electronic one"
    )
    return Answer((Result("tightness_limit", drop, "mbar"),), formula, edition["source"], edition["sure"])


def _superseded_limit(given: Given, lpg: bool, connected: bool) -> Answer:
    pipe_mm = _largest_pipe_mm(given)
    if lpg or not given.has("meter") or pipe_mm is None:
        raise BadInput(
            f"on is {given.day('on')}; before {tightness.EDITION_4_FROM} Edition 3 goes by meter and pipe, natural gas",
            "add meter=G4 pipe_mm=22, or leave on away for Edition 4",
        )
    edition = tightness.tables()["edition_3"]
    drop = tightness.superseded_drop_mbar(given.word("meter"), pipe_mm, connected)
    return Answer(
        (Result("tightness_limit", drop, "mbar"),), "by meter and largest pipe", edition["source"], edition["sure"]
    )


def _largest_pipe_mm(given: Given) -> float | None:
    if given.has("pipe_mm"):
        return given.number("pipe_mm")
    runs = tightness.read_pipes(given.word("pipes")) if given.has("pipes") else ()
    return max((size_mm for _, size_mm in runs), default=None)


def _gas_pipe_drop(given: Given) -> Answer:
    arguments = (
        given.number("bore_mm"),
        given.number("length_m"),
        given.number("flow_m3_h"),
        given.number("relative_density"),
    )
    if given.word("method") == "renouard":
        return Answer(
            (Result("gas_pipe_drop", pipes.gas_pipe_drop_renouard_mbar(*arguments), "mbar"),),
            "23200 x relative density x length x flow^1.82 / bore^4.82",
            "Renouard's low-pressure formula, coefficient from memory (within 3 % of Darcy)",
            "from memory",
        )
    return answer("gas_pipe_drop", pipes.gas_pipe_drop_darcy_mbar(*arguments), "mbar")


_VOLUME_KEYS = (
    gas.gas_rate_m3_h.key("volume_m3", "gas that passed", optional=True),
    Key("volume_ft3", "gas that passed, whole revolutions of the test dial", "number", 0.02, 3500.0, optional=True),
    Key("start_m3", "meter index at the start", "number", 0.0, 999_999.999, optional=True),
    Key("end_m3", "meter index at the end", "number", 0.0, 999_999.999, optional=True),
)
_VOLUME_WAYS = (("volume_m3",), ("volume_ft3",), ("start_m3", "end_m3"))
_CV_KEYS = (
    gas.heat_input_kw.key("cv_mj_m3", "gross calorific value", optional=True),
    Key("cv_kwh_m3", "gross calorific value", "number", 2.8, 42.0, optional=True),
    Key("cv_btu_ft3", "gross calorific value", "number", 270.0, 4000.0, optional=True),
)

COMPUTATIONS = (
    Computation(
        "gas_property",
        "Properties of a gas or a mixture, dry, at 15/15 degC and 1013.25 mbar.",
        (GAS_KEY, choice_key("property", "which one", (*_PROPERTIES,))),
        ("the property, in MJ/m3 or -, kg/m3, MJ/kg, kJ/mol",),
        "molar values mixed by mole fraction; Z = 1 - (sum of x times summation factor) squared; W = H / root of d",
        "method of ISO 6976:2016 (public documentation); component values from memory, within 0.2 % of EN 437",
        "from memory",
        _gas_property,
    ),
    Computation(
        "gas_rate",
        "Gas rate of a timed run, with the spread that the meter's last digit and 1 s on the stopwatch leave.",
        (*_VOLUME_KEYS, gas.gas_rate_m3_h.key("time_s", "length of the run")),
        ("gas_rate m3/h", "gas_rate ft3/h"),
        "volume x 3600 / time; spread = rate x (0.001 m3 / volume + 1 s / time)",
        "closed form; spread ours",
        "computed",
        _gas_rate,
        (_VOLUME_WAYS,),
    ),
    Computation(
        "heat_input",
        "Heat input from the gas rate; gross, and net where the gas is named.",
        (
            gas.heat_input_kw.key("gas_rate_m3_h", "gas rate", optional=True),
            Key("gas_rate_ft3_h", "gas rate", "number", 0.4, 3500.0, optional=True),
            *_VOLUME_KEYS,
            gas.gas_rate_m3_h.key("time_s", "length of the run", optional=True),
            Key("gas_rate_spread_m3_h", "spread of the gas rate", "number", 0.0, 10.0, optional=True),
            *_CV_KEYS,
            gas.heat_input_kw.key("correction", "volume factor: 1, or 1.02264 for small UK meters", "1"),
            GAS_KEY_OPTIONAL,
        ),
        ("heat_input kW gross", "heat_input kW net"),
        "gas rate x gross calorific value x correction / 3.6; net = gross x Hi/Hs",
        "closed form; 1.02264: Gas (Calculation of Thermal Energy) Regulations 1996",
        "published",
        _heat_input,
        ((("gas_rate_m3_h",), ("gas_rate_ft3_h",), *((*way, "time_s") for way in _VOLUME_WAYS)),),
    ),
    Computation(
        "net_heat_input",
        "Net heat input from gross.",
        (
            Key("gross_kw", "gross heat input", "number", 0.1, 1000.0),
            GAS_KEY_OPTIONAL,
            Key("divisor", "the trade's divisor, 1.11 for natural gas", "number", 1.0, 1.2, optional=True),
        ),
        ("heat_input kW net",),
        "gross x Hi/Hs",
        "calorific values by the method of ISO 6976:2016",
        "computed",
        _net_heat_input,
    ),
    Computation(
        "gas_rate_for",
        "Gas rate that a heat input needs; by mass too for LPG.",
        (
            Key("net_kw", "net heat input", "number", 0.1, 1000.0, optional=True),
            Key("gross_kw", "gross heat input", "number", 0.1, 1000.0, optional=True),
            GAS_KEY,
        ),
        ("gas_rate m3/h", "gas_rate kg/h (LPG)"),
        "3.6 x heat input / calorific value on the same basis; mass = volume x density",
        "closed form; calorific values by the method of ISO 6976:2016",
        "computed",
        _gas_rate_for,
        ((("net_kw",), ("gross_kw",)),),
    ),
    Computation(
        "run_to_settle",
        "How long to time the meter until the gas rate is told from a limit that it is close to.",
        (
            gas.heat_input_kw.key("gas_rate_m3_h", "gas rate found"),
            Key("limit_m3_h", "the limit it is close to", "number", 0.01, 100.0),
        ),
        ("test_time s",),
        "(3600 x 0.001 m3 + gas rate x 1 s) / distance from the limit",
        "ours",
        "computed",
        _run_to_settle,
    ),
    Computation(
        "altitude_deduction",
        "Pressure to deduct for the meter's height above sea level.",
        (gas.altitude_deduction_mbar.key("height_m", "height above sea level"),),
        ("altitude_deduction mbar",),
        "0.3 mbar for each begun step of 2.5 m",
        "Gas (Calculation of Thermal Energy) Regulations 1996 (SI 1996/439), Schedule part I, table",
        "published",
        lambda given: answer("altitude_deduction", gas.altitude_deduction_mbar(given.number("height_m")), "mbar"),
    ),
    Computation(
        "volume_factor",
        "Factor from metered volume to reference volume.",
        (
            gas.volume_factor.key("temperature_c", "gas temperature at the meter"),
            gas.volume_factor.key("gauge_mbar", "gas pressure at the meter", "0"),
            gas.volume_factor.key("height_deduction_mbar", "deduction for height, see altitude_deduction", "0"),
        ),
        ("volume_factor -",),
        "288.15 / (273.15 + temperature) x (1013.25 + gauge - deduction) / 1013.25",
        "Gas (Calculation of Thermal Energy) Regulations 1996",
        "published",
        lambda given: answer(
            "volume_factor",
            gas.volume_factor(
                given.number("temperature_c"), given.number("gauge_mbar"), given.number("height_deduction_mbar")
            ),
            "-",
        ),
    ),
    Computation(
        "installation_volume",
        "Volume of meter and pipes for the tightness test.",
        (
            text_key("meter", "U6, G4, E6, U16, G10 or none"),
            text_key("pipes", "lengths and copper sizes, '9m of 15mm, 3m of 22mm', or none", "none"),
            Key(
                "fittings",
                "allowance for fittings on the pipes",
                "number",
                *tightness.installation_volume_m3.ranges["fittings_pct"],
                default="10",
            ),
        ),
        ("installation_volume m3",),
        "meter + (1 + fittings/100) x sum of length x volume per metre",
        "certification body's pocket guide to IGEM/UP/1B (worked example); E6, U16 and G10 from memory",
        "published",
        _installation_volume,
    ),
    Computation(
        "tightness_limit",
        "Drop that the tightness test permits in 2 minutes; 0: no perceptible movement. A smell of gas fails it.",
        (
            text_key("gas", "ng, lpg, G20, G31", "ng"),
            tightness.permissible_drop_mbar.key("volume_m3", "installation volume"),
            choice_key("appliances", "appliances left connected?", ("connected", "none"), "connected"),
            date_key("on", "day of the test; without it Edition 4", optional=True),
            text_key("meter", "for a day before 2026-10-01", optional=True),
            Key("pipe_mm", "largest pipe, for a day before 2026-10-01", "number", 6.0, 35.0, optional=True),
            text_key(
                "pipes", "as for installation_volume; the largest counts where pipe_mm is not given", optional=True
            ),
        ),
        ("tightness_limit mbar",),
        "table by installation volume; then isolate the appliances and test again: no perceptible movement",
        "IGEM/UP/1B Edition 4, tables 3 and 5, as quoted by a secondary page: check the standard",
        "second-hand",
        _tightness_limit,
    ),
    Computation(
        "purge_volume",
        "Gas to pass when purging.",
        (tightness.purge_volume_m3.key("volume_m3", "installation volume"),),
        ("purge_volume m3",),
        "1.5 x installation volume",
        "trade summaries of IGEM/UP/1B Edition 4",
        "second-hand",
        lambda given: answer("purge_volume", tightness.purge_volume_m3(given.number("volume_m3")), "m3"),
    ),
    Computation(
        "leak_rate",
        "Gas that a pressure drop stands for.",
        (
            tightness.leak_rate_m3_h.key("volume_m3", "installation volume"),
            tightness.leak_rate_m3_h.key("drop_mbar", "drop", half_width="last place"),
            tightness.leak_rate_m3_h.key("time_s", "time of the test", "120", half_width=1.0),
        ),
        ("leak_rate m3/h",),
        "volume x drop / 1013.25 x 3600 / time",
        "closed form (Boyle)",
        "computed",
        lambda given: answer(
            "leak_rate",
            tightness.leak_rate_m3_h(given.number("volume_m3"), given.number("drop_mbar"), given.number("time_s")),
            "m3/h",
        ),
    ),
    Computation(
        "temperature_effect",
        "How much the pressure of trapped gas moves for a kelvin.",
        (
            tightness.temperature_effect_mbar_k.key("gauge_mbar", "test pressure", "20"),
            tightness.temperature_effect_mbar_k.key("temperature_c", "gas temperature", "15"),
        ),
        ("temperature_effect mbar/K",),
        "(1013.25 + gauge) / (273.15 + temperature)",
        "closed form (ideal gas)",
        "computed",
        lambda given: answer(
            "temperature_effect",
            tightness.temperature_effect_mbar_k(given.number("gauge_mbar"), given.number("temperature_c")),
            "mbar/K",
        ),
    ),
    Computation(
        "gas_pipe_drop",
        "Pressure lost along a copper gas pipe; domestic pipes lie in the transition zone, so take 15 % either way.",
        (
            pipes.gas_pipe_drop_darcy_mbar.key("bore_mm", "internal bore"),
            pipes.gas_pipe_drop_darcy_mbar.key("length_m", "length, fittings as equivalent length"),
            pipes.gas_pipe_drop_darcy_mbar.key("flow_m3_h", "gas rate"),
            pipes.gas_pipe_drop_darcy_mbar.key("relative_density", "of the gas, air = 1", "0.6"),
            choice_key("method", "formula", ("darcy", "renouard"), "darcy"),
        ),
        ("gas_pipe_drop mbar",),
        "friction factor (Colebrook, 1.5 um) x length / bore x density x speed squared / 2",
        "Darcy-Weisbach; checked against a library of fluid mechanics",
        "computed",
        _gas_pipe_drop,
    ),
)
