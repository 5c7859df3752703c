"""The same quantities by other people's libraries. Skipped where the extra `reference` is not installed."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from typing import Any

import pytest

from handsfree.trade import combustion, electrical, flue, gas, heat, pipes, water
from handsfree.trade.convert import convert
from handsfree.trade.gas import KELVIN, REFERENCE_KELVIN, find_gas

CAS = {
    "methane": "74-82-8",
    "ethane": "74-84-0",
    "propane": "74-98-6",
    "n-butane": "106-97-8",
    "isobutane": "75-28-5",
    "hydrogen": "1333-74-0",
    "carbon-monoxide": "630-08-0",
}
"""registry numbers of the components that burn"""


def library(name: str) -> Any:
    return pytest.importorskip(name, reason="the extra `reference` is not installed")


# ------------------------------------------------------------------------------------- gas, against chemicals, CoolProp


@pytest.mark.parametrize("name", CAS)
def test_molar_calorific_values_follow_from_heats_of_formation(name: str) -> None:
    """The gross molar value of each component is its heat of combustion, made of heats of formation, within 0.15 %."""
    chemicals = library("chemicals")
    component = find_gas(name).parts[0][0]
    formation = chemicals.Hfg(CAS[name])
    # J/mol at 25 degC: CO2 and liquid water.
    products = component.carbon * chemicals.Hfg("124-38-9") + component.hydrogen / 2 * chemicals.Hfl("7732-18-5")
    at_25 = (formation - products) / 1000.0
    # From 25 to 15 degC the value rises by about 0.1 % (Kirchhoff): left in the tolerance.
    assert component.gross_kj_mol == pytest.approx(at_25, rel=0.0015)
    assert component.molar_mass == pytest.approx(chemicals.MW(CAS[name]), rel=1e-4)


@pytest.mark.parametrize(
    ("name", "fluid"),
    [
        ("methane", "Methane"),
        ("ethane", "Ethane"),
        ("propane", "Propane"),
        ("n-butane", "n-Butane"),
        ("isobutane", "IsoButane"),
    ],
)
def test_compression_factors_follow_from_equations_of_state(name: str, fluid: str) -> None:
    """Z of each component at 15 degC and 1013.25 mbar is that of its reference equation of state within 0.0001."""
    real = water.properties()("Z", "T", REFERENCE_KELVIN, "P", 101_325.0, fluid)
    assert find_gas(name).compression_factor == pytest.approx(real, abs=0.0001)


@pytest.mark.parametrize(
    ("name", "critical_k", "critical_pa", "acentric"),
    [
        ("propane", 369.89, 4.2512e6, 0.1521),
        ("n-butane", 425.12, 3.796e6, 0.2010),
        ("isobutane", 407.81, 3.629e6, 0.1840),
    ],
)
def test_compression_factors_are_near_a_cubic_equation(
    name: str, critical_k: float, critical_pa: float, acentric: float
) -> None:
    """Z of propane and the butanes is that of the Peng-Robinson equation within 0.003."""
    eos = pytest.importorskip("thermo.eos", reason="the extra `reference` is not installed")
    other = eos.PR(Tc=critical_k, Pc=critical_pa, omega=acentric, T=REFERENCE_KELVIN, P=101_325.0)
    assert find_gas(name).compression_factor == pytest.approx(other.Z_g, abs=0.003)


@pytest.mark.parametrize(
    ("name", "share"), [("methane", 1.0), ("propane", 1.0), ("60% CH4 40% C3H8", 1.0), ("G21", 1.0)]
)
def test_densities_agree_with_gerg_2008(name: str, share: float) -> None:
    """Density of a gas or mixture is that of GERG-2008 within 0.03 %."""
    pyaga8 = library("pyaga8")
    fuel = find_gas(name)
    composition = pyaga8.Composition()
    for component, fraction in fuel.parts:
        setattr(composition, component.name, fraction)
    gerg = pyaga8.Gerg2008()
    gerg.set_composition(composition)
    gerg.pressure, gerg.temperature = 101.325, REFERENCE_KELVIN
    gerg.calc_density(0)
    assert fuel.density == pytest.approx(gerg.d * fuel.molar_mass, rel=0.0003)


def test_the_heat_of_evaporation_and_air_are_the_librarys() -> None:
    """The heat between gross and net, and the density of air, agree with CoolProp within 0.1 %."""
    properties = water.properties()
    latent = properties("Hmolar", "T", REFERENCE_KELVIN, "Q", 1, "Water") - properties(
        "Hmolar", "T", REFERENCE_KELVIN, "Q", 0, "Water"
    )
    assert pytest.approx(latent / 1000.0, rel=0.001) == gas.WATER_EVAPORATION_KJ_MOL
    air = properties("D", "T", REFERENCE_KELVIN, "P", 101_325.0, "Air")
    assert pytest.approx(air, rel=0.001) == pipes.AIR_DENSITY_KG_M3 / gas.AIR_COMPRESSION_FACTOR


# ------------------------------------------------------------------------------------- combustion, against cantera


def burnt(name: str, co2_pct: float) -> Any:
    """The equilibrium of gas and dry air at 300 K."""
    cantera = library("cantera")
    mixture = cantera.Solution("gri30.yaml")
    fuel = find_gas(name)
    air = combustion.flue_gas(fuel, co2_pct).air
    formulas = {"methane": "CH4", "propane": "C3H8", "ethane": "C2H6", "hydrogen": "H2", "nitrogen": "N2"}
    moles = {formulas[component.name]: fraction for component, fraction in fuel.parts}
    moles["O2"] = moles.get("O2", 0.0) + 0.2095 * air
    moles["N2"] = moles.get("N2", 0.0) + 0.7905 * air
    mixture.TPX = 300.0, 101_325.0, moles
    mixture.equilibrate("TP")
    return mixture


@pytest.mark.parametrize(("name", "co2_pct"), [("G20", 9.0), ("G20", 8.0), ("G31", 10.5), ("G222", 8.5), ("G23", 9.0)])
def test_flue_gas_is_the_equilibrium(name: str, co2_pct: float) -> None:
    """CO2, O2 and water of the flue gas are those of the chemical equilibrium within 0.005 points."""
    mixture = burnt(name, co2_pct)
    out = combustion.flue_gas(find_gas(name), co2_pct)
    wet = mixture["H2O"].X[0]
    assert 100.0 * mixture["CO2"].X[0] / (1.0 - wet) == pytest.approx(co2_pct, abs=0.005)
    dry_o2 = 100.0 * mixture["O2"].X[0] / (1.0 - wet)
    assert dry_o2 == pytest.approx(combustion.o2_from_co2_pct(find_gas(name), co2_pct), abs=0.005)
    assert 100.0 * wet == pytest.approx(100.0 * out.water / (out.dry + out.water), abs=0.005)


@pytest.mark.parametrize(
    ("name", "co2_pct", "flue_c"), [("G20", 9.0, 60.0), ("G20", 8.0, 200.0), ("G31", 10.5, 60.0), ("G31", 10.5, 180.0)]
)
def test_the_flue_loss_is_that_of_nasa_polynomials(name: str, co2_pct: float, flue_c: float) -> None:
    """The sensible loss is that of NASA polynomials within 0.015 points."""
    cantera = library("cantera")
    fuel = find_gas(name)
    out = combustion.flue_gas(fuel, co2_pct)
    mixture = cantera.Solution("gri30.yaml")

    def enthalpy(celsius: float) -> float:
        mixture.TPX = KELVIN + celsius, 101_325.0, {"CO2": out.co2, "O2": out.o2, "N2": out.n2, "H2O": out.water}
        return float(mixture.enthalpy_mole) / 1e6 * (out.dry + out.water)

    loss = 100.0 * (enthalpy(flue_c) - enthalpy(20.0)) / fuel.net_kj_mol
    assert flue.balance_loss_pct(fuel, co2_pct, flue_c, 20.0) == pytest.approx(loss, abs=0.015)


def test_methanes_heat_of_combustion_is_canteras() -> None:
    """Methane's net molar value at 25 degC by NASA polynomials is within 0.05 % of ours at 15 degC."""
    cantera = library("cantera")
    mixture = cantera.Solution("gri30.yaml")
    mixture.TP = 298.15, 101_325.0
    enthalpies = dict(zip(mixture.species_names, mixture.standard_enthalpies_RT * 8.314462618 * 0.298150, strict=True))
    net = enthalpies["CH4"] + 2 * enthalpies["O2"] - enthalpies["CO2"] - 2 * enthalpies["H2O"]
    assert find_gas("G20").net_kj_mol == pytest.approx(net, rel=0.0005)


# ----------------------------------------------------------------------------------------- water, against iapws


def if97(celsius: float) -> Any:
    return library("iapws").IAPWS97(T=KELVIN + celsius, P=0.2)


@pytest.mark.parametrize("celsius", [1, 10, 20, 40, 60, 80, 100, 115])
def test_water_is_that_of_if97(celsius: int) -> None:
    """Density, heat capacity, viscosity and enthalpy agree with IAPWS-IF97 within its own precision."""
    other = if97(celsius)
    assert water.density_kg_m3(celsius) == pytest.approx(other.rho, abs=0.02)
    assert water.heat_capacity_kj_kgk(celsius) == pytest.approx(other.cp, abs=0.003)
    rise = water.enthalpy_kj_kg(celsius) - water.enthalpy_kj_kg(10.0)
    assert rise == pytest.approx(other.h - if97(10).h, abs=0.1)
    if celsius <= 100:
        assert water.viscosity_pa_s(celsius) == pytest.approx(other.mu, rel=0.001)
        steam = library("iapws").IAPWS97(T=KELVIN + celsius, x=1.0)
        assert flue.saturation_pressure_pa(celsius) == pytest.approx(steam.P * 1e6, rel=0.0005)


@pytest.mark.parametrize(("flow", "cold", "hot"), [(11.2, 10.0, 48.0), (8.0, 5.0, 60.0), (14.0, 18.0, 40.0)])
def test_hot_water_output_is_that_of_if97(flow: float, cold: float, hot: float) -> None:
    """Hot-water output with IF97 properties is the same within 0.05 %."""
    other = flow / 60_000.0 * if97(cold).rho * (if97(hot).h - if97(cold).h)
    assert heat.hot_water_output_kw(flow, cold, hot) == pytest.approx(other, rel=0.0005)


# --------------------------------------------------------------------------------------- pipes, against fluids, ht


@pytest.mark.parametrize("reynolds", [1000.0, 2637.0, 3551.0, 30_000.0, 1e6])
def test_the_friction_factor_is_that_of_fluids(reynolds: float) -> None:
    """The friction factor is the library's within a millionth."""
    fluids = library("fluids")
    assert pipes.friction_factor(reynolds, 1e-4) == pytest.approx(
        fluids.friction_factor(Re=reynolds, eD=1e-4), rel=1e-6
    )


@pytest.mark.parametrize(("bore", "flow", "length"), [(20.2, 3.0, 10.0), (26.2, 3.5, 15.0), (13.6, 1.5, 5.0)])
def test_gas_pipe_drop_is_that_of_fluids(bore: float, flow: float, length: float) -> None:
    """The drop along a gas pipe is the library's Darcy-Weisbach within 0.1 %."""
    fluids = library("fluids")
    density, diameter = 0.6 * pipes.AIR_DENSITY_KG_M3, bore / 1000.0
    speed = flow / 3600.0 / (math.pi / 4.0 * diameter**2)
    reynolds = fluids.Reynolds(V=speed, D=diameter, rho=density, mu=1.088e-5)
    factor = fluids.friction_factor(Re=reynolds, eD=1.5e-6 / diameter)
    drop = fluids.dP_from_K(K=fluids.K_from_f(fd=factor, L=length, D=diameter), rho=density, V=speed) / 100.0
    assert pipes.gas_pipe_drop_darcy_mbar(bore, length, flow) == pytest.approx(drop, rel=0.001)


@pytest.mark.parametrize(("flow", "back", "room"), [(55.0, 45.0, 20.0), (75.0, 65.0, 20.0), (45.0, 25.0, 21.0)])
def test_log_mean_difference_is_that_of_ht(flow: float, back: float, room: float) -> None:
    """The log-mean difference is the library's."""
    ht = library("ht")
    assert heat.log_mean_difference_k(flow, back, room) == pytest.approx(ht.LMTD(flow, back, room, room))


# ------------------------------------------------------------------------------------------- conversion, against pint


@pytest.mark.parametrize(
    ("ours", "theirs", "value"),
    [
        (("mbar", "psi"), ("millibar", "psi"), 21.0),
        (("kPa", "bar"), ("kilopascal", "bar"), 180.0),
        (("inH2O", "mbar"), ("inch_H2O", "millibar"), 8.0),
        (("Btu/h", "kW"), ("Btu_it/hour", "kilowatt"), 100_000.0),
        (("ft3/h", "m3/h"), ("foot**3/hour", "meter**3/hour"), 100.0),
        (("Btu/ft3", "MJ/m3"), ("Btu_it/foot**3", "megajoule/meter**3"), 1040.0),
        (("L/min", "m3/h"), ("liter/minute", "meter**3/hour"), 15.0),
        (("gal/min", "L/min"), ("imperial_gallon/minute", "liter/minute"), 2.0),
        (("kWh", "MJ"), ("kilowatt_hour", "megajoule"), 10.76),
        (("therm", "kWh"), ("therm", "kilowatt_hour"), 1.0),
        (("lb", "kg"), ("pound", "kilogram"), 104.0),
        (("uS/cm", "S/m"), ("microsiemens/centimeter", "siemens/meter"), 900.0),
    ],
)
def test_conversions_are_those_of_pint(ours: tuple[str, str], theirs: tuple[str, str], value: float) -> None:
    """Each conversion is the library's within 0.01 %."""
    registry = library("pint").UnitRegistry()
    other = registry.Quantity(value, theirs[0]).to(theirs[1]).magnitude
    assert convert(value, *ours) == pytest.approx(other, rel=1e-4)


@pytest.mark.parametrize(
    ("value", "unit", "other"), [(20.0, "degC", "degF"), (300.0, "kelvin", "degC"), (-40.0, "degF", "degC")]
)
def test_temperatures_are_those_of_pint(value: float, unit: str, other: str) -> None:
    """Temperatures with their zero points are the library's."""
    registry = library("pint").UnitRegistry()
    expected = registry.Quantity(value, unit).to(other).magnitude
    assert convert(value, unit, other) == pytest.approx(expected, abs=1e-9)


# --------------------------------------------------------------------- no library: against the closed form by hand


def test_between_its_points_a_sensor_follows_the_library_curve() -> None:
    """Between two points of its table a sensor lies on the exponential through them (closed form, no library)."""
    for (low_c, low), (high_c, high) in itertools.pairwise(electrical.sensor_tables()["10k"]):
        b = math.log(low / high) / (1.0 / (KELVIN + low_c) - 1.0 / (KELVIN + high_c))
        middle = (low_c + high_c) / 2.0
        curve: Callable[[float], float] = lambda c, b=b, low=low, low_c=low_c: (  # noqa: E731
            low * math.exp(b * (1.0 / (KELVIN + c) - 1.0 / (KELVIN + low_c)))
        )
        assert electrical.resistance_by_table_ohm("10k", middle) == pytest.approx(curve(middle))
