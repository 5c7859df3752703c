"""work-out: what the command line takes, gives, lists and refuses."""

from __future__ import annotations

import json
import math

import pytest
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st

from handsfree.commands.work_out import command
from handsfree.errors import BadInput, MissingPart
from handsfree.trade import computations, vessel, water, work_out
from handsfree.trade.given import Checked, Given, Key, check_range, checked, unit_of


def run(*arguments: str) -> Result:
    return CliRunner().invoke(command, arguments)


def error_of(*arguments: str) -> BadInput:
    result = run(*arguments)
    assert result.stdout == ""
    assert isinstance(result.exception, BadInput), result.exception
    return result.exception


# -------------------------------------------------------------------------------------------------- what it gives

INTERFACE = {
    "gas_property": "gas property",
    "gas_rate": "volume_m3 volume_ft3 time_s",
    "heat_input": "gas_rate_m3_h cv_mj_m3 correction gas",
    "gas_rate_for": "net_kw gross_kw gas",
    "altitude_deduction": "height_m",
    "volume_factor": "temperature_c gauge_mbar height_deduction_mbar",
    "co_co2_ratio": "co_ppm co2_pct",
    "co_air_free": "co_ppm o2_pct co2_pct gas",
    "co2_max": "gas",
    "stoichiometric_air": "gas",
    "o2_from_co2": "gas co2_pct",
    "co2_from_o2": "gas o2_pct",
    "excess_air": "gas co2_pct o2_pct",
    "dew_point": "gas co2_pct air",
    "flue_loss": "gas co2_pct o2_pct flue_c air_c method part",
    "efficiency": "gas co2_pct flue_c air_c basis",
    "condensed_share": "gas co2_pct flue_c air_c",
    "condensate_rate": "gas co2_pct flue_c air_c",
    "water_formed": "gas basis",
    "water": "temperature_c property glycol glycol_pct",
    "static_head": "height_m",
    "vessel_factor": "valve_bar charge_bar",
    "vessel_size": "valve_bar charge_bar system_l method expansion_pct reserve_l final_bar",
    "vessel_acceptance": "vessel_l charge_bar final_bar",
    "hot_pressure": "system_l vessel_l charge_bar cold_bar cold_c hot_c",
    "heat_output": "flow_l_min flow_c return_c",
    "hot_water_output": "flow_l_min cold_c hot_c",
    "hot_water_flow": "kw rise_k cold_c",
    "flow_for": "kw rise_k mean_c",
    "radiator_factor": "difference_k exponent",
    "log_mean_difference": "flow_c return_c room_c",
    "installation_volume": "meter pipes fittings",
    "tightness_limit": "gas volume_m3 appliances",
    "purge_volume": "volume_m3",
    "leak_rate": "volume_m3 drop_mbar time_s",
    "gas_pipe_drop": "bore_mm length_m flow_m3_h method relative_density",
    "water_pipe_drop": "bore_mm flow_l_min temperature_c",
    "tube_content": "bore_mm",
    "sensor_resistance": "type r25_ohm b_k temperature_c",
    "sensor_temperature": "type r25_ohm b_k resistance_ohm",
    "registration_due": "installed",
    "service_due": "last",
    "landlord_due": "deadline done",
    "convert": "value from to",
}
"""computation -> keys that scripts rely on"""


@pytest.mark.parametrize(("name", "keys"), INTERFACE.items())
def test_the_names_that_scripts_rely_on_are_there(name: str, keys: str) -> None:
    """Every computation and key of the interface exists under its name."""
    found = {computation.name: {key.name for key in computation.keys} for computation in computations()}
    assert set(keys.split()) <= found[name]


def test_a_computation_gives_one_json_line() -> None:
    """With --json there is one line with the computation, what was given, results, formula, source and how sure."""
    result = run("heat_input", "gas_rate_m3_h=2.52", "cv_mj_m3=38.79", "--json")
    assert result.exit_code == 0
    assert result.stdout.count("\n") == 1
    row = json.loads(result.stdout)
    assert list(row) == ["computation", "given", "results", "formula", "source", "sure"]
    assert row["computation"] == "heat_input"
    assert row["given"] == {"gas_rate_m3_h": "2.52", "cv_mj_m3": "38.79"}
    # 2.52 x 38.79 / 3.6, by hand.
    assert row["results"] == [{"name": "heat_input", "value": 27.153, "unit": "kW", "basis": "gross", "spread": None}]


def test_a_computation_in_words() -> None:
    """Without --json the result stands with unit, basis and spread, then formula and source."""
    lines = run("heat_input", "volume_m3=0.088", "time_s=122", "cv_mj_m3=38.79", "gas=G20").stdout.splitlines()
    # 0.088 x 3600/122 x 38.79/3.6 = 27.98; spread 1/88 + 1/122 of it = 0.547.
    assert lines[0] == "heat_input: 27.98 kW gross, give or take 0.55 kW"
    assert lines[1].startswith("heat_input: 25.191 kW net, give or take 0.49 kW")
    assert lines[2].startswith("  formula: ")
    assert lines[3].startswith("  source: ")
    assert lines[3].endswith("(published)")


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (("service_due", "last=2025-11-25"), "service_due: 2026-11-25"),
        (("co_co2_ratio", "co_ppm=350", "co2_pct=8.75"), "co_co2_ratio: 0.004, give or take 0.000008"),
        (("radiator-factor", "difference_k=50"), "radiator_factor: 1"),
    ],
)
def test_dates_and_bare_numbers_carry_no_unit(arguments: tuple[str, ...], line: str) -> None:
    """A date or a number without a unit is printed bare; hyphens in a name count as underscores."""
    assert run(*arguments).stdout.splitlines()[0] == line


def test_the_list_in_json_describes_every_key() -> None:
    """--list --json gives a line a computation, each key with unit, range or choices, each with its source."""
    rows = [json.loads(line) for line in run("--list", "--json").stdout.splitlines()]
    assert {row["computation"] for row in rows} >= set(INTERFACE)
    for row in rows:
        assert row["source"], row
        assert row["formula"], row
        assert row["results"], row
        assert row["about"].endswith("."), row
        assert row["sure"] in ("published", "second-hand", "common practice", "from memory", "computed")
        for key in row["keys"]:
            assert key["meaning"], key
            if key["kind"] == "number":
                assert key["low"] < key["high"], key
            if key["kind"] == "choice":
                assert key["choices"], key
            if key["default"] is not None:
                assert key["optional"], key
    time_s = next(
        key for row in rows if row["computation"] == "gas_rate" for key in row["keys"] if key["name"] == "time_s"
    )
    assert (time_s["unit"], time_s["low"], time_s["high"]) == ("s", 1.0, 86400.0)


def test_the_list_in_words() -> None:
    """--list names every computation with its keys; with a name, that one alone."""
    everything = run("--list").stdout
    assert all(f"{name}: " in everything for name in INTERFACE)
    one = run("flue_loss", "--list").stdout.splitlines()
    assert one[0] == "flue_loss: Heat lost with the flue gas; condensing left out."
    assert "    flue_c: flue gas temperature 5 to 250 degC" in one
    assert "    method: short formula or enthalpy balance (siegert, balance); siegert when not given" in one


# ----------------------------------------------------------------------------------------------- what it refuses

REFUSED = [
    ("gas_rate volume_m3=0 time_s=122", "volume_m3 is 0 m3; it must be from 0.0005 to 100 m3"),
    ("gas_rate volume_m3=-0.1 time_s=122", "volume_m3 is -0.1 m3; it must be from 0.0005 to 100 m3"),
    ("gas_rate volume_m3=0.08 time_s=0", "time_s is 0 s; it must be from 1 to 86400 s"),
    ("gas_rate volume_m3=0.08 time_s=-120", "time_s is -120 s; it must be from 1 to 86400 s"),
    ("gas_rate volume_m3=0.08 time_s=nan", "time_s is nan s; it must be from 1 to 86400 s"),
    ("gas_rate volume_m3=0.08 time_s=inf", "time_s is inf s; it must be from 1 to 86400 s"),
    ("gas_rate volume_m3=0.08 time_s=2min", "time_s is '2min'; it must be a number in s from 1 to 86400"),
    ("gas_rate volume_m3=0.08 time_s=1_0", "time_s is '1_0'; it must be a number in s from 1 to 86400"),
    ("gas_rate volume_m3=3ft3 time_s=60", "volume_m3 is '3ft3'; it must be a number in m3 from 0.0005 to 100"),
    ("gas_rate time_s=122", "gas_rate needs volume_m3 or volume_ft3 or start_m3 with end_m3"),
    ("gas_rate volume_m3=0.08", "gas_rate needs time_s (length of the run, 1 to 86400 s)"),
    (
        "gas_rate volume_m3=0.08 volume_ft3=3 time_s=120",
        "gas_rate was given volume_ft3 and volume_m3; it takes volume_m3 or",
    ),
    ("gas_rate start_m3=8.5 time_s=120", "gas_rate needs end_m3 too: volume_m3 or volume_ft3 or start_m3 with end_m3"),
    ("gas_rate start_m3=8.524 end_m3=8.436 time_s=120", "end_m3 is 8.436 m3; it must be more than start_m3, 8.524 m3"),
    ("gas_rate start_m3=8.5 end_m3=8.5 time_s=120", "end_m3 is 8.5 m3; it must be more than start_m3, 8.5 m3"),
    ("gas_rate volume=0.08 time_s=120", "gas_rate has no key 'volume'; its keys are volume_m3, volume_ft3"),
    ("heat_input gas_rate_m3_h=2.5", "heat_input needs cv_mj_m3 (calorific value, 10 to 150 MJ/m3) or gas"),
    ("heat_input volume_m3=0.08 cv_mj_m3=39", "heat_input needs time_s too"),
    ("heat_input gas_rate_m3_h=2.5 time_s=60 cv_mj_m3=39", "heat_input was given gas_rate_m3_h and time_s; it takes"),
    ("net_heat_input gross_kw=27", "net_heat_input needs gas or divisor"),
    (
        "gas_rate_for net_kw=24 gross_kw=26 gas=G20",
        "gas_rate_for was given gross_kw and net_kw; it takes net_kw or gross_kw",
    ),
    ("gas_rate_for net_kw=24", "gas_rate_for needs gas (G20, G31"),
    ("gas_property gas=G99 property=Hs", "gas is 'G99'; it must be one of G20, G21, G222, G23, G25, G30, G31, "),
    ("gas_property gas=unobtainium property=Hs", "gas is 'unobtainium'; it must be one of G20"),
    ("gas_property gas=G20 property=Hx", "property is 'Hx'; it must be one of Hs, Hi"),
    ("gas_property|gas=50% CH4 40% N2|property=Hs", "gas is '50% CH4 40% N2'; its parts add up to 90"),
    (
        "gas_property|gas=50% CH4 50% xenon|property=Hs",
        "gas is '50% CH4 50% xenon'; 'xenon' is not one of carbon-dioxide",
    ),
    ("gas_property|gas=100% CH4 !|property=Hs", "gas is '100% CH4 !'; its parts"),
    ("gas_property|gas= |property=Hs", "gas is empty"),
    ("co2_max gas=hydrogen", "gas is 'hydrogen'; it has no carbon"),
    ("stoichiometric_air gas=nitrogen", "gas is 'nitrogen'; it does not burn"),
    ("co_co2_ratio co_ppm=100 co2_pct=0", "co2_pct is 0 %; it must be from 0.1 to 25 %"),
    ("co_co2_ratio co_ppm=-1 co2_pct=9", "co_ppm is -1 ppm; it must be from 0 to 100000 ppm"),
    ("o2_from_co2 gas=G20 co2_pct=11.8", "co2_pct is 11.8 %; for G20 it must be from 0.1 to 11.70 %"),
    ("excess_air gas=G31 co2_pct=14", "co2_pct is 14 %; for G31 it must be from 0.1 to 13.72 %"),
    (
        "flue_loss gas=natural_gas co2_pct=12 flue_c=60 air_c=20",
        "co2_pct is 12 %; for G20 it must be from 0.1 to 11.70 %",
    ),
    (
        "flue_loss gas=natural_gas co2_pct=9 flue_c=10 air_c=20",
        "flue_c is 10 degC; it must be from air_c, 20 degC, to 250 degC",
    ),
    ("flue_loss gas=natural_gas o2_pct=5 flue_c=10 air_c=20", "flue_c is 10 degC; it must be from air_c"),
    ("flue_loss gas=G20 co2_pct=9 flue_c=10 air_c=20 method=balance", "flue_c is 10 degC; it must be from air_c"),
    ("flue_loss gas=ng co2_pct=9 flue_c=60 part=dry", "part is 'dry'; the short formula has no parts, it must be all"),
    ("flue_loss gas=ng co2_pct=9 flue_c=60 method=guess", "method is 'guess'; it must be one of siegert, balance"),
    ("co_air_free co_ppm=100 co2_pct=9", "co_air_free needs gas with co2_pct"),
    ("co_air_free co_ppm=100", "co_air_free needs co2_pct or o2_pct"),
    ("co_air_free co_ppm=100 co2_pct=9 o2_pct=5 gas=G20", "co_air_free was given co2_pct and o2_pct"),
    ("dew_point gas=carbon-monoxide co2_pct=20", "gas is 'carbon-monoxide'; burning it in dry air makes no water"),
    ("water temperature_c=0.4", "temperature_c is 0.4 degC; for water it must be from 0.5 to 115 degC"),
    ("water temperature_c=116", "temperature_c is 116 degC; it must be from -30 to 115 degC"),
    ("water temperature_c=20 glycol=propylene", "water needs glycol_pct with glycol"),
    ("water temperature_c=20 glycol_pct=30", "water needs glycol with glycol_pct"),
    (
        "water temperature_c=20 glycol=antifreeze glycol_pct=30",
        "glycol is 'antifreeze'; it must be one of propylene, ethylene",
    ),
    ("water temperature_c=20 glycol=propylene glycol_pct=70", "glycol_pct is 70 %; it must be from 0 to 60 %"),
    (
        "water temperature_c=-29 glycol=propylene glycol_pct=20",
        "temperature_c is -29 degC; INCOMP::MPG-20% has no liquid",
    ),
    (
        "vessel_factor valve_bar=3 charge_bar=3",
        "charge_bar is 3 bar; it must be from 0 to below 2.655 bar, the valve's setting",
    ),
    ("vessel_size system_l=100 charge_bar=1", "vessel_size needs valve_bar (safety valve, 1 to 10 bar)"),
    (
        "vessel_size system_l=100 charge_bar=1 method=en12828 reserve_l=3",
        "vessel_size needs expansion_pct with method=en12828",
    ),
    (
        "vessel_size system_l=100 charge_bar=1 method=en12828 expansion_pct=3",
        "vessel_size needs reserve_l with method=en12828",
    ),
    (
        "vessel_size system_l=100 charge_bar=1 method=en12828 expansion_pct=3 reserve_l=3",
        "vessel_size needs final_bar or valve_bar with method=en12828",
    ),
    (
        "vessel_size system_l=100 charge_bar=2.5 method=en12828 expansion_pct=3 reserve_l=3 final_bar=2.5",
        "charge_bar is 2.5 bar; it must be from 0 to below 2.5 bar, the final pressure",
    ),
    (
        "vessel_acceptance vessel_l=8 charge_bar=3 final_bar=2.5",
        "charge_bar is 3 bar; it must be from 0 to below 2.5 bar",
    ),
    (
        "hot_pressure system_l=100 vessel_l=8 charge_bar=0.75 cold_bar=1.2 cold_c=70 hot_c=20",
        "hot_c is 20 degC; it must be from cold_c, 70 degC, to 110 degC",
    ),
    ("heat_output flow_l_min=15 flow_c=50 return_c=70", "flow_c is 50 degC; it must be more than return_c, 70 degC"),
    ("heat_output flow_l_min=15 flow_c=50 return_c=50", "flow_c is 50 degC; it must be more than return_c, 50 degC"),
    (
        "heat_output flow_l_min=15 flow_c=50 return_c=50 method=rule",
        "flow_c is 50 degC; it must be more than return_c, 50 degC",
    ),
    ("hot_water_output flow_l_min=0 cold_c=10 hot_c=48", "flow_l_min is 0 L/min; it must be from 0.1 to 200 L/min"),
    ("hot_water_output flow_l_min=11 cold_c=48 hot_c=10", "hot_c is 10 degC; it must be more than cold_c, 48 degC"),
    ("hot_water_flow kw=24 rise_k=90 cold_c=10", "rise_k is 90 K; from 10 degC it must be from 1 to 85 K"),
    ("flow_for kw=24 rise_k=60 mean_c=20", "rise_k is 60 K; around 20 degC it must be from 1 to 38 K"),
    ("flow_for kw=24 rise_k=30 mean_c=100", "rise_k is 30 K; around 100 degC it must be from 1 to 20 K"),
    (
        "log_mean_difference flow_c=55 return_c=20 room_c=20",
        "return_c is 20 degC; it must be more than room_c, 20 degC",
    ),
    ("log_mean_difference flow_c=40 return_c=45 room_c=20", "flow_c is 40 degC; it must be at least return_c, 45 degC"),
    ("installation_volume meter=Z9", "meter is 'Z9'; it must be one of u6, g4"),
    ("installation_volume|meter=G4|pipes=9m of 16mm", "pipes has 16mm; it must be one of 15, 22, 28, 35 mm"),
    ("installation_volume|meter=G4|pipes=nine metres", "pipes has 'nine metres'; it must be a length and a size"),
    ("installation_volume|meter=G4|pipes=0m of 15mm", "pipes has 0 m; a length must be more than 0 and at most 500 m"),
    (
        "installation_volume|meter=G4|pipes=501m of 15mm",
        "pipes has 501 m; a length must be more than 0 and at most 500 m",
    ),
    ("tightness_limit volume_m3=0.036", "volume_m3 is 0.036 m3; it must be from 0.0001 to 0.035 m3"),
    ("tightness_limit volume_m3=0.01 on=2026-09-30", "on is 2026-09-30; before 2026-10-01 Edition 3"),
    ("tightness_limit volume_m3=0.01 on=2026-09-30 meter=G4", "on is 2026-09-30; before 2026-10-01 Edition 3"),
    ("tightness_limit volume_m3=0.01 on=2026-09-30 gas=lpg meter=G4 pipe_mm=22", "on is 2026-09-30; before"),
    ("tightness_limit volume_m3=0.01 on=2026-09-30 meter=Z9 pipe_mm=22", "meter is 'Z9' with 22 mm pipe"),
    (
        "tightness_limit volume_m3=0.01 on=30.9.2026",
        "on is '30.9.2026'; it must be a date from 0001-01-01 to 9999-12-31",
    ),
    ("tightness_limit volume_m3=0.01 appliances=some", "appliances is 'some'; it must be one of connected, none"),
    ("sensor_resistance type=15k temperature_c=25", "type is '15k'; it must be one of 10k, 12k"),
    ("sensor_resistance temperature_c=25", "sensor_resistance needs type or r25_ohm with b_k"),
    ("sensor_resistance r25_ohm=10000 temperature_c=25", "sensor_resistance needs b_k too: type or r25_ohm with b_k"),
    ("sensor_temperature type=10k resistance_ohm=50", "resistance_ohm is 50 ohm; for this sensor it must be from"),
    (
        "sensor_temperature type=10k resistance_ohm=9999999",
        "resistance_ohm is 1e+07 ohm; for this sensor it must be from",
    ),
    (
        "sensor_temperature r25_ohm=10000 b_k=3977 resistance_ohm=100",
        "resistance_ohm is 100 ohm; for this sensor it must",
    ),
    (
        "sensor_temperature r25_ohm=1000000 b_k=1000 resistance_ohm=1",
        "resistance_ohm is 1 ohm; for this sensor it must",
    ),
    ("sensor_b r1_ohm=10000 t1_c=25 r2_ohm=5000 t2_c=25", "t2_c is 25 degC; it must differ from t1_c"),
    ("registration_due installed=2026-02-30", "installed is '2026-02-30'; it must be a date"),
    ("registration_due installed=2026-11-25 days=0", "days is 0; it must be from 1 to 366"),
    ("registration_due installed=2026-11-25 days=1.5", "days is 1.5; it must be a whole number"),
    ("registration_due installed=9999-12-31", "installed is 9999-12-31; the due date is beyond the year 9999"),
    ("service_due last=9999-01-01", "9999-01-01 and 12 months is the year 10000; it must be from 1 to 9999"),
    ("service_due last=2026-01-01 months=61", "months is 61; it must be from 1 to 60"),
    ("landlord_due deadline=0001-01-15 done=0001-01-10", "0001-01-15 and -2 months is the year 0; it must be from 1"),
    ("certificate_due issued=2026-01-01 months=0", "months is 0; it must be from 1 to 60"),
    ("convert value=1 from=mbar to=degC", "to is 'degC', a unit of temperature; 'mbar' is a unit of pressure"),
    ("convert value=1 from=furlong to=m", "from is 'furlong'; it must be one of"),
    ("convert value=1 from=m to=furlong", "to is 'furlong'; it must be one of"),
    ("convert value=-1 from=ppm_CaCO3 to=dH", "value is -1 ppm_CaCO3; it must be from 0 to 1e+12 ppm_CaCO3"),
    ("convert value=-300 from=degC to=K", "value is -300 degC; that is below absolute zero"),
    ("convert value=nan from=m to=mm", "value is nan; it must be from -1e+12 to 1e+12"),
    ("convert value=ten from=m to=mm", "value is 'ten'; it must be a number from -1e+12 to 1e+12"),
    ("limit id=zzz", "there is no limit 'zzz'"),
    ("gas_rat volume_m3=1 time_s=120", "there is no computation 'gas_rat'"),
    ("gas_rate volume_m3", "'volume_m3' is not KEY=VALUE"),
    ("gas_rate =3", "'=3' is not KEY=VALUE"),
    ("gas_rate time_s=3 time_s=4", "time_s is given twice, '3' and '4'"),
    ("", "no computation named"),
]


@pytest.mark.parametrize(("words", "message"), REFUSED)
def test_nonsense_is_refused_with_key_value_and_range(words: str, message: str) -> None:
    """What cannot be is refused, naming the key, the value given and the range; nothing goes to standard output."""
    error = error_of(*(words.split("|") if "|" in words else words.split()))
    assert error.message.startswith(message)
    assert error.exit_code == 2


@pytest.mark.parametrize(
    ("words", "hint"),
    [
        ("gas_rat volume_m3=1", "did you mean gas_rate?"),
        ("xyzzy", "handsfree work-out --list names them"),
        ("gas_rate volume=0.08 time_s=120", "did you mean volume_m3?"),
        ("gas_property gas=propan property=Hs", "did you mean propane?"),
        ("flue_loss gas=ng co2_pct=9 flue_c=60 method=sigert", "did you mean siegert?"),
        ("convert value=1 from=mbr to=bar", "did you mean mbar?"),
        ("installation_volume meter=G", "did you mean g4?"),
    ],
)
def test_the_nearest_name_is_offered(words: str, hint: str) -> None:
    """A slip of the finger is answered with the nearest name that there is."""
    assert error_of(*words.split()).hint == hint


# ------------------------------------------------------------------------------------------------ keys and spread


@pytest.mark.parametrize(
    ("text", "value"),
    [("122", 122.0), (" 122 ", 122.0), ("122 s", 122.0), ("122S", 122.0), ("1.22e2", 122.0), ("+122", 122.0)],
)
def test_a_number_may_carry_its_own_unit(text: str, value: float) -> None:
    """A number is read bare or with the unit of its key's name."""
    assert Key("time_s", "time", "number", 1.0, 1000.0).read(text) == value


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("time_s", "s"),
        ("gas_rate_m3_h", "m3/h"),
        ("volume_m3", "m3"),
        ("gas_rate_ft3_h", "ft3/h"),
        ("flow_l_min", "L/min"),
        ("system_l", "L"),
        ("height_m", "m"),
        ("bore_mm", "mm"),
        ("gauge_mbar", "mbar"),
        ("valve_bar", "bar"),
        ("rise_k", "K"),
        ("cv_mj_m3", "MJ/m3"),
        ("cv_btu_ft3", "Btu/ft3"),
        ("cv_kwh_m3", "kWh/m3"),
        ("angle_deg", "deg"),
        ("exponent", "-"),
    ],
)
def test_a_key_carries_its_unit_in_its_name(name: str, unit: str) -> None:
    """The unit of a key is read off the end of its name."""
    assert unit_of(name) == unit


@pytest.mark.parametrize(
    ("computation", "keys", "spreads"),
    [
        # Rate 2.5967 x (0.001/0.088 + 1/122); and per cubic foot.
        ("gas_rate", {"volume_m3": "0.088", "time_s": "122"}, [0.050793, 1.793738]),
        # Whole revolutions: the stopwatch alone. 2.8317/36.
        ("gas_rate", {"volume_ft3": "1", "time_s": "36"}, [0.078658, 2.777778]),
        # The exact rate has none; a rate with a spread hands it on: 39.5/3.6 x 0.05.
        ("heat_input", {"gas_rate_m3_h": "2.6", "cv_mj_m3": "39.5"}, [None]),
        ("heat_input", {"gas_rate_m3_h": "2.6", "cv_mj_m3": "39.5", "gas_rate_spread_m3_h": "0.05"}, [0.548611]),
        # 350.5/90000 - 350/90000 and 350/89500 - 350/90000: the larger side of each, added.
        ("co_co2_ratio", {"co_ppm": "350", "co2_pct": "9.0"}, [0.5 / 90000 + 350 / 89500 - 350 / 90000]),
        # At 0 ppm only one side can be.
        ("co_co2_ratio", {"co_ppm": "0", "co2_pct": "9.0"}, [0.5 / 90000]),
        ("leak_rate", {"volume_m3": "0.01", "drop_mbar": "0", "time_s": "120"}, [0.01 * 0.5 / 1013.25 * 30]),
    ],
)
def test_a_result_carries_the_spread_of_its_readings(
    computation: str, keys: dict[str, str], spreads: list[float | None]
) -> None:
    """What short runs, last digits and a hand on the stopwatch leave open is carried as half-width."""
    found = [result.spread for result in work_out(computation, keys).results]
    assert [None if spread is None else pytest.approx(spread, rel=1e-4) for spread in spreads] == found


def test_a_neighbour_without_an_answer_gives_no_difference() -> None:
    """Where a reading half a digit off has no finite answer, the spread is what the other side leaves."""
    fixed = {"system_l": "100", "vessel_l": "2.9", "cold_c": "15", "hot_c": "75"}

    def hot(charge_bar: float, cold_bar: float) -> float | None:
        return vessel.hot_pressure_bar(100.0, 2.9, charge_bar, cold_bar, 15.0, 75.0)

    found = work_out("hot_pressure", {**fixed, "charge_bar": "1.0", "cold_bar": "1.3"}).results[0]
    middle, below, above = hot(1.0, 1.3), hot(1.0, 1.25), hot(1.05, 1.3)
    assert hot(1.0, 1.35) is None
    assert hot(0.95, 1.3) is None
    assert middle is not None
    assert below is not None
    assert above is not None
    assert found.value == pytest.approx(middle)
    assert found.spread == pytest.approx((middle - below) + (middle - above))


def test_more_digits_leave_less_spread() -> None:
    """The same flow and temperatures spoken to a tenth leave a smaller spread than spoken whole."""
    coarse = work_out("hot_water_output", {"flow_l_min": "11", "cold_c": "10", "hot_c": "48"}).results[0]
    fine = work_out("hot_water_output", {"flow_l_min": "11.0", "cold_c": "10.0", "hot_c": "48.0"}).results[0]
    assert coarse.value == fine.value
    assert coarse.spread is not None
    assert fine.spread is not None
    assert fine.spread == pytest.approx(coarse.spread / 10, rel=0.01)
    # By hand: 29.13 kW x (0.5/11 + 0.5/38 + 0.5/38) is about 2.1 kW.
    assert coarse.spread == pytest.approx(2.09, abs=0.03)


def test_a_word_for_a_result_has_no_spread() -> None:
    """A result in words ("no finite answer") and a date carry no spread."""
    assert work_out("run_to_settle", {"gas_rate_m3_h": "2.5", "limit_m3_h": "2.5"}).results[0].spread is None
    assert work_out("service_due", {"last": "2026-01-01"}).results[0].spread is None


def test_limit_gives_bounds_and_verdict() -> None:
    """The limit computation gives the bounds in force, and the verdict on a value with its spread."""
    found = work_out("limit", {"id": "co_co2_ratio", "value": "0.0039", "on": "2026-11-25"})
    assert [(r.name, r.value) for r in found.results] == [
        ("high", 0.004),
        ("verdict", "within the trade's limit, below 0.004"),
    ]
    assert found.formula == "below 0.004"
    assert found.sure == "published"
    close = work_out("limit", {"id": "co_co2_ratio", "value": "0.0039", "spread": "0.0002"})
    assert str(close.results[-1].value).startswith("too close to call")


def test_a_choice_is_read_whatever_its_case() -> None:
    """A choice is found whatever its case, and kept as it is spelled."""
    assert work_out("gas_property", {"gas": "g20", "property": "HS"}).results[0].name == "Hs"


@given(st.floats())
def test_a_range_lets_through_only_what_is_in_it(value: float) -> None:
    """A number is let through when it is finite and in range, and refused otherwise."""
    inside = math.isfinite(value) and 1.0 <= value <= 5.0
    try:
        check_range("time_s", value, 1.0, 5.0)
        assert inside
    except BadInput:
        assert not inside


def test_a_range_for_a_parameter_that_is_not_there_is_a_mistake() -> None:
    """A range on a misspelt parameter is found when the module is imported, not when it matters."""
    with pytest.raises(TypeError, match="has no parameter tmie_s"):
        checked(tmie_s=(1.0, 2.0))(lambda time_s: time_s)  # type: ignore[misc]


def test_a_checked_function_checks_names_and_places() -> None:
    """Ranges hold for arguments by place and by name; arguments without a range pass; a missing default stays out."""

    def double(time_s: float, note: str = "") -> float:
        return 2.0 * time_s

    guarded: Checked[..., float] = Checked(double, {"time_s": (1.0, 5.0)})
    assert guarded(2.0) == guarded(time_s=2.0, note="x") == 4.0
    assert guarded.__doc__ == double.__doc__
    for call in (lambda: guarded(9.0), lambda: guarded(time_s=9.0)):
        with pytest.raises(BadInput, match="time_s is 9 s"):
            call()


def test_given_tells_kinds_apart() -> None:
    """A key asked for as another kind than it is, is a mistake of ours and stops at once."""
    values = Given({"a": 1.0, "b": "word"})
    assert values.has("a")
    assert not values.has("c")
    for wrong in (lambda: values.number("b"), lambda: values.word("a"), lambda: values.day("a")):
        with pytest.raises(AssertionError):
            wrong()


def test_a_missing_library_is_named_with_its_cure(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the library of physical properties the error says how to get it, exit code 3."""
    import sys

    monkeypatch.setitem(sys.modules, "CoolProp.CoolProp", None)
    water.properties.cache_clear()
    try:
        with pytest.raises(MissingPart, match="physical properties") as caught:
            work_out("static_head", {"height_m": "5"})
        assert caught.value.exit_code == 3
        assert "handsfree[physics]" in caught.value.hint
    finally:
        water.properties.cache_clear()
