"""Computations on combustion and the flue."""

from __future__ import annotations

from typing import Literal, cast

from handsfree.errors import BadInput
from handsfree.model import Result
from handsfree.trade import combustion, flue, gas
from handsfree.trade.computations_supply import GAS_KEY, GAS_KEY_OPTIONAL
from handsfree.trade.given import Answer, Computation, Given, Key, answer, choice_key

Basis = Literal["net", "gross"]

_CO2 = combustion.o2_from_co2_pct.key("co2_pct", "CO2 in the dry flue gas", optional=True)
_O2 = combustion.co2_from_o2_pct.key("o2_pct", "O2 in the dry flue gas", optional=True)
_CO2_OR_O2 = ((("co2_pct",), ("o2_pct",)),)
_CO = combustion.co_co2_ratio.key("co_ppm", "CO in the dry flue gas", half_width="last place")
_CO2_NEEDED = combustion.o2_from_co2_pct.key("co2_pct", "CO2 in the dry flue gas")
_FLUE = flue.balance_loss_pct.key("flue_c", "flue gas temperature")
_AIR = flue.balance_loss_pct.key("air_c", "combustion air temperature", "20")
_ENTHALPY_SOURCE = "energy balance with CoolProp properties; upper bound once condensing"


def _gas(given: Given) -> gas.Gas:
    return gas.find_gas(given.word("gas"))


def _co2(given: Given) -> float:
    return flue.co2_of(
        _gas(given),
        given.number("co2_pct") if given.has("co2_pct") else None,
        given.number("o2_pct") if given.has("o2_pct") else None,
    )


def _co_air_free(given: Given) -> Answer:
    if given.has("o2_pct"):
        value = combustion.co_air_free_by_o2_ppm(given.number("co_ppm"), given.number("o2_pct"))
        return answer("co_air_free", value, "ppm")
    if not given.has("gas"):
        raise BadInput("co_air_free needs gas with co2_pct", "add gas=G20")
    value = combustion.co_air_free_by_co2_ppm(_gas(given), given.number("co_ppm"), given.number("co2_pct"))
    return Answer((Result("co_air_free", value, "ppm"),), formula="CO x CO2max / CO2")


def _flue_loss(given: Given) -> Answer:
    flue_c, air_c = given.number("flue_c"), given.number("air_c")
    dry_only = given.word("part") == "dry"
    if given.word("method") == "balance":
        loss = flue.balance_loss_pct(_gas(given), _co2(given), flue_c, air_c, dry_only=dry_only)
        basis = "net, dry flue gas" if dry_only else "net"
        return Answer(
            (Result("flue_loss", loss, "%", basis),),
            "sum of moles x (enthalpy at flue - at air temperature) / net calorific value; water counted as vapour",
            "energy balance with CoolProp properties",
            "computed",
        )
    if dry_only:
        raise BadInput(
            "part is 'dry'; the short formula has no parts, it must be all", "use method=balance for part=dry"
        )
    fuel = "lpg" if _gas(given).is_lpg else "natural_gas"
    if given.has("co2_pct"):
        combustion.check_co2(_gas(given), given.number("co2_pct"))
        return answer(
            "flue_loss", flue.siegert_loss_by_co2_pct(fuel, given.number("co2_pct"), flue_c, air_c), "%", "net"
        )
    loss = flue.siegert_loss_by_o2_pct(fuel, given.number("o2_pct"), flue_c, air_c)
    return Answer((Result("flue_loss", loss, "%", "net"),), formula="(flue - air) x (A2 / (21 - O2) + B)")


def _efficiency(given: Given) -> Answer:
    wanted: tuple[Basis, ...] = ("net", "gross")
    if given.has("basis"):
        wanted = (cast(Basis, given.word("basis")),)
    numbers = (_gas(given), _co2(given), given.number("flue_c"), given.number("air_c"))
    return Answer(tuple(Result("efficiency", flue.efficiency_pct(*numbers, basis), "%", basis) for basis in wanted))


def _water_formed(given: Given) -> Answer:
    basis: Basis = "gross" if given.word("basis") == "gross" else "net"
    return answer("water_formed", flue.water_formed_kg_kwh(_gas(given), basis), "kg/kWh", basis)


def _dew_point(given: Given) -> Answer:
    air = cast(flue.Air, given.word("air"))
    return answer("dew_point", flue.dew_point_c(_gas(given), _co2(given), air), "degC", f"{air} air")


COMPUTATIONS = (
    Computation(
        "co_co2_ratio",
        "CO over CO2; compare it unrounded.",
        (_CO, combustion.co_co2_ratio.key("co2_pct", "CO2 in the dry flue gas", half_width="last place")),
        ("co_co2_ratio -",),
        "CO in ppm / (CO2 in % x 10000)",
        "closed form",
        "computed",
        lambda given: answer(
            "co_co2_ratio", combustion.co_co2_ratio(given.number("co_ppm"), given.number("co2_pct")), "-"
        ),
    ),
    Computation(
        "co_air_free",
        "Undiluted CO, from O2, or from CO2 with the gas.",
        (_CO, _O2, _CO2, GAS_KEY_OPTIONAL),
        ("co_air_free ppm",),
        "CO x 20.95 / (20.95 - O2)",
        "closed form",
        "computed",
        _co_air_free,
        _CO2_OR_O2,
    ),
    Computation(
        "co2_max",
        "Highest CO2 that the gas can give in dry flue gas.",
        (GAS_KEY,),
        ("co2_max %",),
        "100 x carbon / stoichiometric dry flue gas; air with 20.95 % O2",
        "closed form",
        "computed",
        lambda given: answer("co2_max", combustion.co2_max_pct(_gas(given)), "%"),
    ),
    Computation(
        "stoichiometric_air",
        "Dry air that the gas needs.",
        (GAS_KEY,),
        ("stoichiometric_air mol/mol",),
        "(C + H/4 - O/2) / 0.2095",
        "closed form",
        "computed",
        lambda given: answer("stoichiometric_air", combustion.stoichiometric_air(_gas(given)), "mol/mol"),
    ),
    Computation(
        "o2_from_co2",
        "O2 that goes with a CO2, complete combustion.",
        (GAS_KEY, _CO2_NEEDED),
        ("o2 %",),
        "20.95 x (1 - CO2 / CO2max)",
        "closed form",
        "computed",
        lambda given: answer("o2", combustion.o2_from_co2_pct(_gas(given), given.number("co2_pct")), "%"),
    ),
    Computation(
        "co2_from_o2",
        "CO2 that goes with an O2, complete combustion.",
        (GAS_KEY, combustion.co2_from_o2_pct.key("o2_pct", "O2 in the dry flue gas")),
        ("co2 %",),
        "CO2max x (20.95 - O2) / 20.95",
        "closed form",
        "computed",
        lambda given: answer("co2", combustion.co2_from_o2_pct(_gas(given), given.number("o2_pct")), "%"),
    ),
    Computation(
        "excess_air",
        "Air ratio lambda, from CO2 or O2.",
        (GAS_KEY, _CO2, _O2),
        ("excess_air -",),
        "1 + (dry flue gas / air, both stoichiometric) x (CO2max / CO2 - 1)",
        "closed form",
        "computed",
        lambda given: answer("excess_air", combustion.excess_air_lambda(_gas(given), _co2(given)), "-"),
        _CO2_OR_O2,
    ),
    Computation(
        "dew_point",
        "Temperature at which the flue gas begins to condense, at 1013.25 mbar.",
        (
            GAS_KEY,
            _CO2,
            _O2,
            choice_key("air", "dry, or humid: 20 degC at 60 % relative humidity", ("dry", "humid"), "dry"),
        ),
        ("dew_point degC",),
        "saturation pressure = share of water in the flue gas x 101.325 kPa",
        "closed form, CoolProp saturation (IAPWS-95)",
        "computed",
        _dew_point,
        _CO2_OR_O2,
    ),
    Computation(
        "flue_loss",
        "Heat lost with the flue gas; condensing left out.",
        (
            GAS_KEY,
            _CO2,
            _O2,
            _FLUE,
            _AIR,
            choice_key("method", "short formula or enthalpy balance", ("siegert", "balance"), "siegert"),
            choice_key("part", "with the water vapour, or the dry flue gas only (balance)", ("all", "dry"), "all"),
        ),
        ("flue_loss % net",),
        "(flue - air) x (A1 / CO2 + B)",
        "short formula of the 1. BImSchV, constants from a public German trade reference",
        "published",
        _flue_loss,
        _CO2_OR_O2,
    ),
    Computation(
        "efficiency",
        "Combustion efficiency, condensing as far as it can go, case losses left out; sure to 2 points.",
        (
            GAS_KEY,
            _CO2,
            _O2,
            _FLUE,
            _AIR,
            choice_key("basis", "net or gross; both when not given", ("net", "gross"), optional=True),
        ),
        ("efficiency % net", "efficiency % gross"),
        "100 - sensible loss + water condensed x its heat / net calorific value; gross = net x Hi/Hs",
        _ENTHALPY_SOURCE,
        "computed",
        _efficiency,
        _CO2_OR_O2,
    ),
    Computation(
        "condensed_share",
        "Share of the water formed that condenses at most; dry air.",
        (GAS_KEY, _CO2, _O2, _FLUE, _AIR),
        ("condensed_share -",),
        "1 - vapour left in saturated flue gas / water formed",
        _ENTHALPY_SOURCE,
        "computed",
        lambda given: answer(
            "condensed_share", flue.condensed_share(_gas(given), _co2(given), given.number("flue_c")), "-"
        ),
        _CO2_OR_O2,
    ),
    Computation(
        "condensate_rate",
        "Condensate for a kWh of gross heat input, at most.",
        (GAS_KEY, _CO2, _O2, _FLUE, _AIR),
        ("condensate_rate kg/kWh gross",),
        "condensed share x water formed",
        _ENTHALPY_SOURCE,
        "computed",
        lambda given: answer(
            "condensate_rate",
            flue.condensate_rate_kg_kwh(_gas(given), _co2(given), given.number("flue_c")),
            "kg/kWh",
            "gross",
        ),
        _CO2_OR_O2,
    ),
    Computation(
        "water_formed",
        "Water that burning makes.",
        (GAS_KEY, choice_key("basis", "for a kWh net or gross", ("net", "gross"), "net")),
        ("water_formed kg/kWh",),
        "hydrogen/2 x 18.015 g / calorific value",
        "closed form; calorific values by the method of ISO 6976:2016",
        "computed",
        _water_formed,
    ),
    Computation(
        "carbonic_ph",
        "pH of water saturated with flue gas at 25 degC; real condensate is lower.",
        (Key("co2_pct", "CO2 in the flue gas", "number", *flue.carbonic_ph.ranges["co2_pct"]),),
        ("ph -",),
        "-log10 of root of (Henry x pressure x first dissociation)",
        "constants from memory",
        "from memory",
        lambda given: answer("ph", flue.carbonic_ph(given.number("co2_pct")), "-"),
    ),
)
