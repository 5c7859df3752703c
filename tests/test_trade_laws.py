"""Laws of the trade's sums: what rises with what, what undoes what, what is below what, and the edges."""

from __future__ import annotations

import datetime
from math import log10

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from handsfree.errors import BadInput
from handsfree.trade import combustion, dates, electrical, flue, gas, heat, pipes, tightness, vessel, water
from handsfree.trade.convert import convert, find_unit, units
from handsfree.trade.gas import find_gas

GASES = st.sampled_from(["G20", "G31", "G30", "G23", "G222", "60% CH4 40% C3H8", "CH4=0.9, N2=0.06, CO2=0.04"])
FUELS = GASES.map(find_gas)


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


# ---------------------------------------------------------------------------------------------------------- gas


@given(FUELS)
def test_net_is_below_gross(fuel: gas.Gas) -> None:
    """Net calorific values and Wobbe numbers are below gross for every gas that makes water."""
    assert fuel.net_mj_m3 < fuel.gross_mj_m3
    assert fuel.net_mj_kg < fuel.gross_mj_kg
    assert fuel.net_wobbe < fuel.gross_wobbe
    assert 0.85 < fuel.net_over_gross < 1.0


@given(FUELS)
def test_properties_of_a_gas_agree_with_each_other(fuel: gas.Gas) -> None:
    """Per cubic metre = per kilogram x density; Wobbe squared x density = calorific value squared."""
    assert fuel.gross_mj_kg * fuel.density == pytest.approx(fuel.gross_mj_m3)
    assert fuel.net_mj_kg * fuel.density == pytest.approx(fuel.net_mj_m3)
    assert fuel.gross_wobbe**2 * fuel.relative_density == pytest.approx(fuel.gross_mj_m3**2)
    assert fuel.net_wobbe**2 * fuel.relative_density == pytest.approx(fuel.net_mj_m3**2)


@given(between(0.0, 1.0))
def test_a_mixture_lies_between_its_parts(share: float) -> None:
    """The calorific value of methane with propane lies between the two, and so does the density."""
    mixed = find_gas(f"CH4={share:.6f}, C3H8={1.0 - round(share, 6):.6f}")
    methane, propane = find_gas("methane"), find_gas("propane")
    assert methane.gross_mj_m3 - 1e-6 <= mixed.gross_mj_m3 <= propane.gross_mj_m3 + 1e-6
    assert methane.relative_density - 1e-9 <= mixed.relative_density <= propane.relative_density + 1e-9


@pytest.mark.parametrize(
    "text",
    [
        "92.5% CH4 7.5% N2",
        "7.5 % nitrogen, 92.5 % methane",
        "CH4=0.925 N2=0.075",
        "methane: 92.5; nitrogen: 7.5",
        "ch4 92.5 + n2 7.5",
        "92.5% CH4 and 7.5% N2",
        "46.25% CH4, 46.25% methane, 7.5% N2",
        '{"CH4": 0.925, "N2": 0.075}',
        "G23",
        "g23",
    ],
)
def test_a_mixture_may_be_written_in_many_ways(text: str) -> None:
    """A mixture by percent or by fraction, names or formulas in either order, is the same gas."""
    assert find_gas(text).gross_mj_m3 == pytest.approx(find_gas("G23").gross_mj_m3)


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("natural gas", {"methane": 1.0}),
        ("ng", {"methane": 1.0}),
        ("LPG", {"propane": 1.0}),
        ("butane", {"n-butane": 1.0}),
        ("CO", {"carbon-monoxide": 1.0}),
        ("co2", {"carbon-dioxide": 1.0}),
        ("100% CH4 0% N2", {"methane": 1.0}),
        ("1.0 ch4", {"methane": 1.0}),
    ],
)
def test_names_of_gases(text: str, parts: dict[str, float]) -> None:
    """The trade's names stand for their gases; a part of nothing is left out."""
    assert {component.name: share for component, share in find_gas(text).parts} == parts


@pytest.mark.parametrize("text", ["99.8% CH4", "100.2% CH4", "0.998 CH4", "1.002 CH4"])
def test_parts_that_do_not_add_up_are_refused(text: str) -> None:
    """A mixture must add up within a tenth of a percent."""
    with pytest.raises(BadInput, match="they must add up to 1 or to 100 %"):
        find_gas(text)


@pytest.mark.parametrize("text", ["99.95% CH4", "1.0005 CH4"])
def test_parts_that_add_up_to_rounding_are_taken(text: str) -> None:
    """A mixture that adds up to within rounding is brought to one."""
    assert sum(share for _, share in find_gas(text).parts) == pytest.approx(1.0)


@pytest.mark.parametrize(("name", "lpg"), [("G20", False), ("G31", True), ("G30", True), ("40% CH4 60% C3H8", True)])
def test_lpg_is_told_from_natural_gas(name: str, lpg: bool) -> None:
    """What is mostly propane and butane is LPG."""
    assert find_gas(name).is_lpg is lpg
    assert find_gas("60% CH4 40% C3H8").is_lpg is False
    assert find_gas("50% CH4 50% C3H8").is_lpg is False


@given(between(0.001, 10.0), between(5.0, 3600.0), between(1.01, 3.0))
def test_gas_rate_rises_with_volume_and_falls_with_time(volume: float, time: float, more: float) -> None:
    """Twice the gas is twice the rate, twice the time is half of it; the spread falls with the length of the run."""
    rate = gas.gas_rate_m3_h(volume, time)
    assert gas.gas_rate_m3_h(volume * more, time) == pytest.approx(rate * more)
    assert gas.gas_rate_m3_h(volume, time * more) == pytest.approx(rate / more)
    longer = gas.gas_rate_spread_m3_h(volume * more, time * more)
    assert longer == pytest.approx(gas.gas_rate_spread_m3_h(volume, time) / more)


@given(between(0.5, 5.0), between(0.5, 5.0))
def test_a_run_of_the_settling_time_has_a_spread_of_the_distance(rate: float, bound: float) -> None:
    """Timed for as long as advised, the spread is just the distance to the limit."""
    assume(abs(rate - bound) > 1e-3)
    seconds = gas.settling_time_s(rate, bound)
    assert seconds is not None
    assume(rate * seconds / 3600.0 >= 0.0005)
    assert gas.gas_rate_spread_m3_h(rate * seconds / 3600.0, seconds) == pytest.approx(abs(rate - bound))
    slower = gas.settling_time_s(rate, bound, 0.002, 3.0)
    assert slower == pytest.approx((7.2 + 3.0 * rate) / abs(rate - bound))


@given(FUELS, between(0.5, 100.0))
def test_gas_rate_for_undoes_heat_input(fuel: gas.Gas, kw: float) -> None:
    """The rate worked out for a heat input gives that heat input back."""
    rate = gas.gas_rate_for_m3_h(kw, fuel.gross_mj_m3)
    assume(0.01 <= rate <= 100.0)
    assert gas.heat_input_kw(rate, fuel.gross_mj_m3) == pytest.approx(kw)


@given(between(-100.0, 1000.0), between(0.0, 900.0))
def test_the_deduction_for_height_only_rises(height: float, more: float) -> None:
    """The deduction never falls with height, is 0 up to sea level, and stays within a step of 0.12 mbar a metre."""
    assume(height + more <= 1000.0)
    low = gas.altitude_deduction_mbar(height)
    assert low <= gas.altitude_deduction_mbar(height + more)
    assert max(0.0, 0.12 * height) - 1e-9 <= low <= max(0.0, 0.12 * height) + 0.3 + 1e-9


@given(between(-30.0, 60.0), between(0.0, 99.0), between(0.0, 140.0))
def test_the_volume_factor_moves_the_right_way(temperature: float, gauge: float, deduction: float) -> None:
    """Warmer or higher gas counts for less, denser for more; at reference conditions the factor is 1."""
    factor = gas.volume_factor(temperature, gauge, deduction)
    assert gas.volume_factor(temperature, gauge + 1.0, deduction) > factor
    assert gas.volume_factor(temperature, gauge, deduction + 1.0) < factor
    assert gas.volume_factor(max(-30.0, temperature - 1.0), gauge, deduction) >= factor
    assert gas.volume_factor(15.0, 0.0, 0.0) == 1.0


# --------------------------------------------------------------------------------------------- combustion and flue


@given(FUELS, between(0.1, 1.0))
def test_o2_and_co2_undo_each_other(fuel: gas.Gas, share: float) -> None:
    """CO2 to O2 and back is the same CO2."""
    co2 = max(0.1, share * combustion.co2_max_pct(fuel))
    o2 = combustion.o2_from_co2_pct(fuel, co2)
    assume(o2 <= 20.9)
    assert combustion.co2_from_o2_pct(fuel, o2) == pytest.approx(co2)


@given(FUELS, between(0.3, 0.98))
def test_more_co2_means_less_air(fuel: gas.Gas, share: float) -> None:
    """With more CO2 there is less O2, less excess air and a higher dew point."""
    low, high = share * combustion.co2_max_pct(fuel), (share + 0.02) * combustion.co2_max_pct(fuel)
    assert combustion.o2_from_co2_pct(fuel, high) < combustion.o2_from_co2_pct(fuel, low)
    assert combustion.excess_air_lambda(fuel, high) < combustion.excess_air_lambda(fuel, low)
    assert flue.dew_point_c(fuel, high) > flue.dew_point_c(fuel, low)
    assert flue.dew_point_c(fuel, low, "humid") > flue.dew_point_c(fuel, low, "dry")


@given(FUELS, between(0.2, 1.0))
def test_the_flue_gas_adds_up(fuel: gas.Gas, share: float) -> None:
    """What comes out of the flue has the CO2 and O2 that it was asked for, and every atom that went in."""
    co2 = share * combustion.co2_max_pct(fuel)
    out = combustion.flue_gas(fuel, co2)
    assert 100.0 * out.co2 / out.dry == pytest.approx(co2)
    assert 100.0 * out.o2 / out.dry == pytest.approx(combustion.o2_from_co2_pct(fuel, co2), abs=1e-6)
    oxygen_in = 2.0 * out.air * combustion.AIR_O2_PCT / 100.0 + fuel.oxygen
    assert 2.0 * out.co2 + 2.0 * out.o2 + out.water == pytest.approx(oxygen_in)
    assert 2.0 * out.n2 == pytest.approx(2.0 * out.air * (1.0 - combustion.AIR_O2_PCT / 100.0) + fuel.nitrogen)


@pytest.mark.parametrize("name", ["G20", "G31", "G30"])
def test_at_the_maximum_no_air_is_left(name: str) -> None:
    """At CO2max there is no O2 and lambda is 1; a maximum rounded up by less than 0.01 counts as the maximum."""
    fuel = find_gas(name)
    highest = combustion.co2_max_pct(fuel)
    for co2 in (highest, highest + 0.0099):
        assert combustion.o2_from_co2_pct(fuel, co2) == pytest.approx(0.0, abs=1e-9)
        assert combustion.excess_air_lambda(fuel, co2) == pytest.approx(1.0)
    with pytest.raises(BadInput, match="co2_pct"):
        combustion.o2_from_co2_pct(fuel, highest + 0.0101)
    with pytest.raises(BadInput, match="co2_pct"):
        combustion.check_co2(fuel, 0.0999)
    combustion.check_co2(fuel, 0.1)


@given(between(0.0, 5000.0), between(3.0, 11.7))
def test_air_free_co_is_the_same_by_o2_and_by_co2(co: float, co2: float) -> None:
    """Undiluted CO is the same whichever way it is found, and never less than CO as read."""
    fuel = find_gas("G20")
    by_co2 = combustion.co_air_free_by_co2_ppm(fuel, co, co2)
    assert by_co2 == pytest.approx(combustion.co_air_free_by_o2_ppm(co, combustion.o2_from_co2_pct(fuel, co2)))
    assert by_co2 >= co * (1.0 - 1e-4)


@given(between(0.0, 5000.0), between(1.0, 11.0), between(1.1, 2.0))
def test_the_ratio_does_not_change_with_dilution(co: float, co2: float, dilution: float) -> None:
    """Diluting the sample with air leaves CO/CO2 as it was."""
    ratio = combustion.co_co2_ratio(co, co2)
    assert combustion.co_co2_ratio(co / dilution, co2 / dilution) == pytest.approx(ratio)


@given(FUELS, between(0.6, 1.0), between(20.0, 200.0), between(-10.0, 20.0))
def test_hotter_flue_gas_loses_more(fuel: gas.Gas, share: float, flue_c: float, air_c: float) -> None:
    """Loss rises with flue temperature, is nothing at air temperature, and efficiency falls."""
    co2 = share * combustion.co2_max_pct(fuel)
    loss = flue.balance_loss_pct(fuel, co2, flue_c, air_c)
    assert flue.balance_loss_pct(fuel, co2, flue_c + 10.0, air_c) > loss
    assert flue.balance_loss_pct(fuel, co2, flue_c, air_c, dry_only=True) <= loss
    assert flue.balance_loss_pct(fuel, co2, flue_c, flue_c) == 0.0 if flue_c <= 60.0 else True
    net = flue.efficiency_pct(fuel, co2, flue_c, air_c)
    assert flue.efficiency_pct(fuel, co2, flue_c + 5.0, air_c) < net
    assert flue.efficiency_pct(fuel, co2, flue_c, air_c, "gross") == pytest.approx(net * fuel.net_over_gross)
    # Nothing beyond all the heat there is, and a little for burning colder air than the reference of 15 degC.
    assert net * fuel.net_over_gross < 101.0


@pytest.mark.parametrize("flue_c", [95.0, 99.0, 99.98, 100.0, 110.0, 250.0])
def test_nothing_condenses_in_hot_flue_gas(flue_c: float) -> None:
    """Above the dew point, and where water boils, nothing condenses and efficiency is 100 less the loss."""
    fuel = find_gas("G20")
    assert flue.condensed_share(fuel, 9.0, flue_c) == 0.0
    loss = flue.balance_loss_pct(fuel, 9.0, flue_c, 20.0)
    assert flue.efficiency_pct(fuel, 9.0, flue_c, 20.0) == 100.0 - loss


@given(FUELS, between(0.6, 1.0))
def test_condensing_begins_at_the_dew_point(fuel: gas.Gas, share: float) -> None:
    """Just above the dew point nothing condenses, just below something does."""
    co2 = share * combustion.co2_max_pct(fuel)
    dew = flue.dew_point_c(fuel, co2)
    assert flue.condensed_share(fuel, co2, dew + 0.01) == 0.0
    assert 0.0 < flue.condensed_share(fuel, co2, dew - 0.01) < 0.01
    assert flue.condensate_rate_kg_kwh(fuel, co2, 30.0) < flue.water_formed_kg_kwh(fuel, "gross")
    assert flue.water_formed_kg_kwh(fuel, "gross") < flue.water_formed_kg_kwh(fuel, "net")


def test_dry_fuel_makes_no_condensate() -> None:
    """A gas without hydrogen condenses nothing."""
    assert flue.condensed_share(find_gas("CO"), 20.0, 30.0) == 0.0


@given(between(30.0, 240.0), between(0.5, 1.0))
def test_the_short_formula_stays_by_the_balance(flue_c: float, share: float) -> None:
    """For natural gas the short formula and the balance agree within 4 % of the loss over the range it is valid for."""
    fuel = find_gas("G20")
    co2 = share * combustion.co2_max_pct(fuel)
    short = flue.siegert_loss_by_co2_pct("natural_gas", co2, flue_c, 20.0)
    assert short == pytest.approx(flue.balance_loss_pct(fuel, co2, flue_c, 20.0), rel=0.04)


# ------------------------------------------------------------------------------------------------ water and heat


@given(between(4.0, 109.0))
def test_warm_water_is_lighter_and_holds_more_heat(temperature: float) -> None:
    """Above 4 degC density falls, expansion and enthalpy rise with temperature."""
    assert water.density_kg_m3(temperature + 1.0) < water.density_kg_m3(temperature)
    assert water.expansion_pct(temperature + 1.0) > water.expansion_pct(temperature)
    assert 4.15 < water.enthalpy_kj_kg(temperature + 1.0) - water.enthalpy_kj_kg(temperature) < 4.30


@given(between(0.2, 150.0), between(2.0, 60.0), between(2.0, 45.0))
def test_heat_and_flow_undo_each_other(flow: float, cold: float, rise: float) -> None:
    """The flow worked out for a heat output gives that output back."""
    assume(cold + rise <= 95.0)
    kw = heat.hot_water_output_kw(flow, cold, cold + rise)
    assume(0.1 <= kw <= 1000.0)
    assert heat.hot_water_flow_l_min(kw, (cold + rise) - cold, cold) == pytest.approx(flow)
    assert heat.hot_water_output_kw(flow, cold, cold + rise + 0.5 if cold + rise < 94.5 else 95.0) >= kw


@given(between(1.0, 100.0), between(30.0, 80.0), between(5.0, 20.0))
def test_the_rule_of_thumb_is_near(flow: float, return_c: float, rise: float) -> None:
    """The rule of thumb is up to 4 % high, never low, over heating temperatures."""
    exact = heat.heat_output_kw(flow, return_c + rise, return_c)
    assert exact < heat.heat_output_rule_kw(flow, return_c + rise, return_c) < 1.04 * exact


@given(between(5.0, 50.0), between(1.0, 40.0), between(1.0, 40.0))
def test_the_log_mean_is_below_the_mean(room: float, above: float, more: float) -> None:
    """The logarithmic mean is at most the arithmetic one and lies between the two differences."""
    return_c, flow_c = room + above, room + above + more
    assume(flow_c <= 110.0)
    log_mean = heat.log_mean_difference_k(flow_c, return_c, room)
    assert log_mean <= heat.mean_difference_k(flow_c, return_c, room) + 1e-9
    assert return_c - room <= log_mean + 1e-9
    assert log_mean <= flow_c - room


@given(between(1.0, 119.0), between(1.0, 1.6))
def test_a_radiator_gives_more_when_hotter(difference: float, exponent: float) -> None:
    """A radiator's factor rises with the difference and is 1 at the rated one."""
    assert heat.radiator_factor(difference + 1.0, exponent) > heat.radiator_factor(difference, exponent)
    assert heat.radiator_factor(50.0, exponent) == 1.0


@given(between(0.0, 50.0), between(0.0, 50.0))
def test_static_head_adds_up(lower: float, upper: float) -> None:
    """Two columns on top of each other press as much as both together."""
    together = water.static_head_bar(lower + upper)
    assert water.static_head_bar(lower) + water.static_head_bar(upper) == pytest.approx(together)


@pytest.mark.parametrize(("glycol", "share"), [("propylene", 30.0), ("ethylene", 50.0)])
def test_glycol_freezes_lower_the_more_there_is(glycol: str, share: float) -> None:
    """More glycol freezes at a lower temperature; none is water."""
    assert water.freezing_point_c(glycol, share + 5.0) < water.freezing_point_c(glycol, share) < 0.0
    assert water.freezing_point_c(glycol, 0.0) == 0.0
    assert water.fluid_name(glycol, 0.0) == "Water"


@pytest.mark.parametrize(
    ("glycol", "share", "message"), [("brine", 10.0, "glycol is"), ("propylene", 60.5, "glycol_pct")]
)
def test_a_glycol_beyond_the_data_is_refused(glycol: str, share: float, message: str) -> None:
    """Unknown glycols and more than the data cover are refused."""
    with pytest.raises(BadInput, match=message) as caught:
        water.fluid_name(glycol, share)
    assert caught.value.hint in (
        "name the glycol on the container",
        "measure it again: that is more than anybody fills",
    )
    assert water.fluid_name("propylene", 60.0) == "INCOMP::MPG-60%"
    assert water.fluid_name("ethylene", 0.5) == "INCOMP::MEG-0.5%"
    assert water.fluid_name("propylene") == water.fluid_name() == "Water"


# ---------------------------------------------------------------------------------------------------------- vessel

VALVES = st.sampled_from([2.0, 2.5, 3.0, 4.0, 6.0])


@given(VALVES, between(0.0, 1.0), between(0.01, 0.5))
def test_a_higher_charge_needs_a_larger_vessel(valve: float, charge: float, more: float) -> None:
    """The vessel grows with its charge and shrinks with the valve's setting."""
    assert vessel.fitted_factor(valve, charge + more) > vessel.fitted_factor(valve, charge)
    assert vessel.fitted_factor(valve + 0.5, charge) < vessel.fitted_factor(valve, charge)
    assert vessel.uk_vessel_size_l(200.0, valve, charge) == pytest.approx(
        2.0 * vessel.uk_vessel_size_l(100.0, valve, charge)
    )


@given(between(10.0, 500.0), between(0.3, 1.5), between(0.0, 4.0), between(0.1, 20.0))
def test_the_en_12828_vessel_takes_what_it_is_sized_for(
    system: float, charge: float, expansion: float, reserve: float
) -> None:
    """The water that the sized vessel takes is expansion and reserve, but for the atmosphere taken as 1 bar."""
    size = vessel.en12828_vessel_size_l(system, expansion, reserve, charge, 2.5)
    assume(0.5 <= size <= 1000.0)
    takes = vessel.vessel_acceptance_l(size, charge, 2.5)
    assert takes == pytest.approx((system * expansion / 100.0 + reserve) * 3.5 / 3.51325)


@given(between(20.0, 150.0), between(5.0, 30.0), between(0.5, 1.2), between(0.0, 1.0))
def test_hot_pressure_is_not_below_cold(system: float, size: float, charge: float, above: float) -> None:
    """Heating never lowers the pressure; a larger vessel never raises it; no warming leaves it."""
    cold = charge + above
    hot = vessel.hot_pressure_bar(system, size, charge, cold, 15.0, 70.0)
    assert vessel.hot_pressure_bar(system, size, charge, cold, 15.0, 15.0) == pytest.approx(cold)
    if hot is not None:
        assert hot >= cold - 1e-9
        larger = vessel.hot_pressure_bar(system, size * 1.5, charge, cold, 15.0, 70.0)
        assert larger is not None
        assert larger <= hot


def test_a_vessel_without_gas_has_no_answer() -> None:
    """Where the water's expansion takes up the gas there is no finite answer; just before, there is one."""
    # 100 L from 15 to 75 degC makes 2.49 L more; the vessel's gas is 3 L at charge and at fill.
    arguments = (100.0, 3.0, 1.0, 1.0, 15.0)
    assert vessel.hot_pressure_bar(*arguments, 75.0) is not None
    assert vessel.hot_pressure_bar(*arguments, 90.0) is None


def test_below_the_charge_the_vessel_is_full_of_gas() -> None:
    """A system filled below the vessel's charge has the vessel's whole volume as gas, not more."""
    assert vessel.hot_pressure_bar(100.0, 8.0, 1.0, 0.5, 15.0, 15.0) == pytest.approx(1.0)


# ---------------------------------------------------------------------------------------------- tightness and pipes


@given(between(0.0001, 0.034), between(0.0, 0.001), st.booleans())
def test_a_larger_installation_is_permitted_no_larger_drop(volume: float, more: float, lpg: bool) -> None:
    """The permitted drop never rises with volume, and the leak behind it never exceeds the table's constant."""
    assume(volume + more <= 0.035)
    drop = tightness.permissible_drop_mbar(lpg, volume, True)
    assert tightness.permissible_drop_mbar(lpg, volume + more, True) <= drop
    assert tightness.leak_rate_m3_h(volume, drop, 120.0) <= (0.00015 if lpg else 0.0012)
    assert tightness.permissible_drop_mbar(lpg, volume, False) == 0.0


@pytest.mark.parametrize(
    ("text", "runs"),
    [
        ("9m of 15mm", ((9.0, 15.0),)),
        ("9 m of 15 mm, 3.5 metres of 22mm", ((9.0, 15.0), (3.5, 22.0))),
        ("12m 22mm + 3m x 15mm", ((12.0, 22.0), (3.0, 15.0))),
        ("1m of 28mm and 2m of 35mm copper", ((1.0, 28.0), (2.0, 35.0))),
        ("500m of 15mm", ((500.0, 15.0),)),
        ("none", ()),
        (" NONE ", ()),
        ("0", ()),
    ],
)
def test_pipes_are_read_as_they_are_said(text: str, runs: tuple[tuple[float, float], ...]) -> None:
    """Lengths and sizes are read the ways that they are written."""
    assert tightness.read_pipes(text) == runs


@given(st.lists(st.tuples(between(0.1, 50.0), st.sampled_from([15.0, 22.0, 28.0, 35.0])), max_size=4))
def test_installation_volume_adds_up(runs: list[tuple[float, float]]) -> None:
    """Meter and runs add up; fittings are a tenth of the pipes."""
    with_meter = tightness.installation_volume_m3("u6", tuple(runs))
    alone = tightness.installation_volume_m3("none", tuple(runs), 0.0)
    assert with_meter == pytest.approx(0.008 + 1.1 * alone)


@given(between(10.0, 50.0), between(0.5, 5.0), between(1.05, 2.0))
def test_a_wider_pipe_loses_less(bore: float, flow: float, factor: float) -> None:
    """Pressure lost falls with bore, rises with flow and is proportional to length, by both formulas."""
    for formula in (pipes.gas_pipe_drop_darcy_mbar, pipes.gas_pipe_drop_renouard_mbar):
        drop = formula(bore, 10.0, flow)
        assert formula(bore * factor, 10.0, flow) < drop
        assert formula(bore, 20.0, flow) == pytest.approx(2.0 * drop)
        assert formula(bore, 10.0, flow * factor) > drop


@given(between(2041.0, 1e8), between(0.0, 0.05))
def test_the_friction_factor_solves_colebrooks_equation(reynolds: float, roughness: float) -> None:
    """The factor found satisfies the equation that defines it."""
    root = 1.0 / pipes.friction_factor(reynolds, roughness) ** 0.5
    assert root == pytest.approx(-2.0 * log10(roughness / 3.7 + 2.51 * root / reynolds), rel=1e-7)


def test_rough_pipes_lose_more_in_turbulent_flow(monkeypatch: pytest.MonkeyPatch) -> None:
    """Roughness counts against the bore: ten times rougher tube loses more, and more so the narrower it is."""

    def drops() -> list[float]:
        return [pipes.gas_pipe_drop_darcy_mbar(bore, 10.0, 50.0 * bore**2 / 400.0) for bore in (10.0, 20.0)]

    smooth = drops()
    monkeypatch.setattr(pipes, "COPPER_ROUGHNESS_M", 1.5e-5)
    narrow, wide = (rough / plain for rough, plain in zip(drops(), smooth, strict=True))
    assert narrow > wide > 1.01


def test_slow_flow_is_laminar() -> None:
    """Below a Reynolds number of 2040 the factor is 64/Re, from there on Colebrook's."""
    assert pipes.friction_factor(1000.0, 0.001) == 0.064
    assert pipes.friction_factor(2039.0, 0.001) == pytest.approx(64.0 / 2039.0)
    assert pipes.friction_factor(2040.0, 0.001) > 64.0 / 2040.0


@given(between(4.0, 100.0), between(1.0, 100.0))
def test_speed_times_area_is_flow(bore: float, flow: float) -> None:
    """Speed x content a metre is the flow."""
    litres_a_second = pipes.speed_m_s(bore, flow) * pipes.tube_content_l_m(bore)
    assert litres_a_second * 60.0 == pytest.approx(flow)


# ----------------------------------------------------------------------------------------------- sensors and dates


@given(st.sampled_from(["10k", "12k"]), between(-40.0, 149.0))
def test_a_sensor_table_reads_both_ways(kind: str, temperature: float) -> None:
    """Resistance to temperature undoes temperature to resistance, which falls as it gets warmer."""
    ohm = electrical.resistance_by_table_ohm(kind, temperature)
    assert electrical.temperature_by_table_c(kind, ohm) == pytest.approx(temperature, abs=1e-6)
    assert electrical.resistance_by_table_ohm(kind, temperature + 1.0) < ohm


@given(between(-39.9, 149.9), between(500.0, 100_000.0), between(2000.0, 5000.0))
def test_a_sensor_by_its_b_reads_both_ways(temperature: float, r25: float, b: float) -> None:
    """The same with one B, and two points give that B back."""
    ohm = electrical.resistance_by_b_ohm(temperature, r25, b)
    assume(1.0 <= ohm <= 1e7)
    assert electrical.temperature_by_b_c(ohm, r25, b) == pytest.approx(temperature, abs=1e-6)
    assume(abs(temperature - 25.0) > 1.0)
    assert electrical.sensor_b_k(r25, 25.0, ohm, temperature) == pytest.approx(b)


def test_an_unknown_sensor_is_refused() -> None:
    """A sensor without a table is refused where tables are asked for."""
    with pytest.raises(BadInput, match="type is '15k'; it must be one of 10k, 12k, or give r25_ohm with b_k"):
        electrical.resistance_by_table_ohm("15k", 25.0)


DAYS = st.dates(datetime.date(1990, 1, 1), datetime.date(2100, 12, 31))


@given(DAYS, st.integers(1, 60))
def test_months_are_calendar_months(day: datetime.date, months: int) -> None:
    """So many months on it is that month, the same day or the month's last."""
    due = dates.service_due(day, months)
    assert (due.year * 12 + due.month) - (day.year * 12 + day.month) == months
    assert due.day == day.day or (due + datetime.timedelta(days=1)).day == 1
    assert due.day <= day.day


@given(DAYS, st.integers(1, 366))
def test_registration_counts_days(day: datetime.date, days: int) -> None:
    """The guarantee's window is counted in days."""
    assert (dates.registration_due(day, days) - day).days == days


@given(DAYS, st.integers(-500, 500))
def test_a_landlord_check_is_due_within_fourteen_months(deadline: datetime.date, offset: int) -> None:
    """The next check is due 12 months from doing this one, or up to two months more when it was a little early."""
    done = deadline + datetime.timedelta(days=offset)
    due = dates.landlord_due(deadline, done)
    assert dates.add_months(done, 12) <= due <= dates.add_months(done, 14) + datetime.timedelta(days=3)
    if offset > 0 or done < dates.add_months(deadline, -2):
        assert due == dates.add_months(done, 12)
    else:
        assert due == dates.add_months(deadline, 12)


@pytest.mark.parametrize(
    ("on", "state"),
    [
        ("2026-12-31", "in date"),
        ("2027-01-01", "due within 30 days"),
        ("2027-01-31", "due within 30 days"),
        ("2027-02-01", "out of date"),
    ],
)
def test_a_certificate_runs_out(on: str, state: str) -> None:
    """A certificate is valid on its last day, warned of for 30 days before, and out of date the day after."""
    due = dates.certificate_due(datetime.date(2026, 1, 31))
    assert dates.certificate_state(due, datetime.date.fromisoformat(on)) == state


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda day: dates.registration_due(day, 0), "days is 0"),
        (lambda day: dates.registration_due(day, 367), "days is 367"),
        (lambda day: dates.service_due(day, 0), "months is 0"),
        (lambda day: dates.service_due(day, 61), "months is 61"),
        (lambda day: dates.certificate_due(day, 0), "months is 0"),
        (lambda day: dates.certificate_due(day, 61), "months is 61"),
    ],
)
def test_intervals_that_nobody_sets_are_refused(call, message: str) -> None:  # type: ignore[no-untyped-def]
    """An interval of nothing, or of years on end, is refused."""
    with pytest.raises(BadInput, match=message):
        call(datetime.date(2026, 1, 1))


def test_the_cure_for_an_interval_is_named() -> None:
    """Where an interval is refused the message says where the right one stands."""
    day = datetime.date(2026, 1, 1)
    for call, hint in (
        (lambda: dates.registration_due(day, 0), "take the number from the maker's terms"),
        (lambda: dates.service_due(day, 0), "take the number from the maker's terms"),
        (lambda: dates.certificate_due(day, 0), "take it from the certificate"),
    ):
        with pytest.raises(BadInput) as caught:
            call()
        assert caught.value.hint == hint


@pytest.mark.parametrize("interval", [1, 366])
def test_the_ends_of_the_intervals_are_taken(interval: int) -> None:
    """The shortest and the longest interval are taken."""
    day = datetime.date(2026, 1, 1)
    assert (dates.registration_due(day, interval) - day).days == interval
    assert dates.service_due(day, 60) == dates.certificate_due(day, 60) == datetime.date(2031, 1, 1)
    assert dates.service_due(day) == dates.certificate_due(day) == datetime.date(2027, 1, 1)
    assert dates.add_months(datetime.date(9998, 12, 31), 12) == datetime.date(9999, 12, 31)
    assert dates.add_months(datetime.date(2, 1, 1), -12) == datetime.date(1, 1, 1)
    assert dates.service_due(day, 1) == dates.certificate_due(day, 1) == datetime.date(2026, 2, 1)


# ------------------------------------------------------------------------------------------------------ conversion

NAMES = sorted(units())


@given(st.sampled_from(NAMES), st.data(), between(0.001, 100_000.0))
def test_a_conversion_goes_there_and_back(name: str, data: st.DataObject, value: float) -> None:
    """To another unit of the same kind and back is the same value."""
    other = data.draw(st.sampled_from([n for n in NAMES if units()[n].kind == units()[name].kind]))
    there = convert(value, name, other)
    assume(there <= 1e12 and (units()[other].below_zero or there >= 0))
    assert convert(there, other, name) == pytest.approx(value, rel=1e-9, abs=1e-9)


def test_the_data_files_read_the_same_again() -> None:
    """Reading a data file once more gives the same units, gases, sensors, tables and vessel factors."""
    for read in (
        units,
        gas._data,
        electrical.sensor_tables,
        tightness.tables,
        vessel.printed_factors,
    ):
        assert read.__wrapped__() == read()


@given(st.sampled_from(NAMES), between(0.0, 100_000.0))
def test_a_unit_in_itself_is_the_same(name: str, value: float) -> None:
    """A value in its own unit keeps every digit."""
    assert convert(value, name, name) == value


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("MBAR", "mbar"),
        ("m³/h", "m3/h"),
        ("°C", "degC"),
        ("µA", "uA"),
        ("kΩ", "kohm"),
        ("inches water gauge", "inH2O"),
        ("hPa", "mbar"),
        ("kpa", "kPa"),
        ("Mohm", "Mohm"),
        ("MJ/h", "MJ/h"),
    ],
)
def test_a_unit_may_be_written_in_many_ways(text: str, name: str) -> None:
    """A unit is found whatever its case and with the signs of print."""
    assert find_unit("from", text).name == name


@pytest.mark.parametrize(("text", "offered"), [("mpa", "MPa, mPa"), ("MPA", "MPa, mPa"), ("MOHM", "Mohm, mohm")])
def test_units_that_differ_by_case_alone_are_not_guessed(text: str, offered: str) -> None:
    """Where case alone tells two units apart, another case is refused with both offered."""
    with pytest.raises(BadInput, match=f"from is {text!r}; it must be one of {offered}"):
        convert(1.0, text, "Pa")


def test_absolute_zero_is_the_end() -> None:
    """Absolute zero is taken, anything below refused, from every scale."""
    assert convert(-273.15, "degC", "K") == 0.0
    assert convert(0.0, "K", "degF") == pytest.approx(-459.67)
    for value, unit in ((-273.16, "degC"), (-0.01, "K"), (-459.68, "degF")):
        with pytest.raises(BadInput, match="below absolute zero"):
            convert(value, unit, "K")


def test_values_as_large_as_they_may_be() -> None:
    """A value at the end of the range is taken, one beyond it or none at all refused."""
    assert convert(1e12, "Pa", "Pa") == 1e12
    assert convert(-1e12, "Pa", "Pa") == -1e12
    for value in (1.0001e12, -1.0001e12, float("nan"), float("inf")):
        with pytest.raises(BadInput, match="value is"):
            convert(value, "Pa", "Pa")
