"""work-out: what the command line takes, gives, lists and refuses."""

from __future__ import annotations

import json
import math
import tomllib
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st

from handsfree.commands.work_out import command
from handsfree.errors import BadInput, MissingPart
from handsfree.trade import computations, vessel, water, work_out
from handsfree.trade.given import (
    Checked,
    Given,
    Key,
    check_range,
    checked,
    choice_key,
    date_key,
    text_key,
    unit_of,
)


def data(name: str) -> dict[str, Any]:
    return tomllib.loads(Path(__file__).with_name(name).read_text(encoding="utf-8"))


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

REFUSALS: list[list[str]] = data("trade_refusals.toml")["refusal"]


@pytest.mark.parametrize(("words", "message", "hint"), REFUSALS, ids=[row[0] for row in REFUSALS])
def test_nonsense_is_refused_with_key_value_and_range(words: str, message: str, hint: str) -> None:
    """What cannot be is refused, naming the key, the value, the range and what to do; stdout stays empty."""
    error = error_of(*(words.split("|") if "|" in words else words.split()))
    assert (error.message, error.hint) == (message, hint)
    assert error.exit_code == 2


def test_every_refusal_says_what_to_do_next() -> None:
    """No refusal leaves the engineer without a next step."""
    assert all(hint for _, _, hint in REFUSALS)


ANSWERS: list[list[Any]] = data("trade_answers.toml")["answer"]


@pytest.mark.parametrize(
    ("computation", "keys", "results", "formula", "source", "sure"),
    ANSWERS,
    ids=[f"{row[0]} {row[1]}" for row in ANSWERS],
)
def test_a_result_says_what_it_is_and_on_whose_authority(
    computation: str, keys: str, results: list[str], formula: str, source: str, sure: str
) -> None:
    """Each way of computing names its results with unit and basis, its own formula, its source and how sure it is."""
    found = work_out(computation, dict(pair.split("=", 1) for pair in keys.split("; ")))
    assert [f"{result.name}/{result.unit}/{result.basis or ''}" for result in found.results] == results
    assert (found.formula, found.source, found.sure) == (formula, source, sure)


def test_every_computation_has_its_answer_looked_at() -> None:
    """No computation is left out of the table of answers."""
    assert {row[0] for row in ANSWERS} == {computation.name for computation in computations()}


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
        # One foot of 1 ft3 in 36 s at 39.5: 31.07 kW x 1/36, the meter's last digit left out.
        ("heat_input", {"volume_ft3": "1", "time_s": "36", "cv_mj_m3": "39.5"}, [0.863058]),
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
    with pytest.raises(TypeError, match="has no parameter eltit, tmie_s"):
        checked(tmie_s=(1.0, 2.0), eltit=(1.0, 2.0))(lambda time_s: time_s)  # type: ignore[misc]


def test_a_checked_function_checks_names_and_places() -> None:
    """Ranges hold for arguments by place and by name; arguments without a range pass; a missing default stays out."""

    def double(time_s: float, note: str = "") -> float:
        return 2.0 * time_s

    def halve(*, time_s: float) -> float:
        return time_s / 2.0

    assert Checked(halve, {"time_s": (1.0, 5.0)})(time_s=2.0) == 1.0
    guarded: Checked[..., float] = Checked(double, {"time_s": (1.0, 5.0)})
    assert guarded(2.0) == guarded(time_s=2.0, note="x") == 4.0
    assert guarded.__doc__ == double.__doc__
    for call in (lambda: guarded(9.0), lambda: guarded(time_s=9.0)):
        with pytest.raises(BadInput, match="time_s is 9 s"):
            call()


def test_a_key_of_a_function_has_the_functions_range() -> None:
    """A key made of a function's parameter has that parameter's range; the rest is as it is told."""

    def double(time_s: float) -> float:
        return 2.0 * time_s

    guarded: Checked[..., float] = Checked(double, {"time_s": (1.0, 5.0)})
    assert guarded.ranges == {"time_s": (1.0, 5.0)}
    assert guarded.key("time_s", "how long") == Key("time_s", "how long", "number", 1.0, 5.0)
    told = guarded.key("time_s", "how long", "3", optional=True, half_width=1.0)
    assert told == Key("time_s", "how long", "number", 1.0, 5.0, default="3", optional=True, half_width=1.0)
    assert not guarded.key("time_s", "how long").optional


def test_keys_of_words_choices_and_dates() -> None:
    """Keys that are no numbers carry their meaning, choices and default, and no unit."""
    assert text_key("gas_c", "which") == Key("gas_c", "which", "text")
    assert text_key("gas", "which", "ng", optional=True) == Key("gas", "which", "text", default="ng", optional=True)
    assert choice_key("air", "how", ["dry", "humid"]) == Key("air", "how", "choice", choices=("dry", "humid"))
    told = choice_key("air", "how", ["dry", "humid"], "dry", optional=True)
    assert told == Key("air", "how", "choice", choices=("dry", "humid"), default="dry", optional=True)
    assert date_key("on", "when") == Key("on", "when", "date")
    assert date_key("on", "when", optional=True) == Key("on", "when", "date", optional=True)
    assert text_key("gas_c", "which").unit == "-"
    assert not any(key.optional for key in (text_key("a", "b"), choice_key("a", "b", "c"), date_key("a", "b")))


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
        assert "pip install CoolProp" in caught.value.hint
    finally:
        water.properties.cache_clear()
