"""Cross checks: readings that do not go together raise a question in plain words; those that do, none."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.model import Gas
from handsfree.trade.crosschecks import (
    changes_since,
    cross_checks,
    date_check,
    efficiency_check,
    plate_check,
    serial_check,
    wording,
)

D = Decimal


def readings_of(text: str) -> dict[str, D]:
    """ "co2.maximum 9.2, o2.maximum 4.5" as readings."""
    return {key: D(value) for key, value in (pair.split() for pair in text.split(", "))}


GOOD_VISIT = readings_of(
    "standing_pressure 22.5, working_pressure 20.5, inlet_pressure 19.8, co2.maximum 9.2, o2.maximum 4.5, "
    "co.maximum 92, co_co2_ratio.maximum 0.0010, "
    "co2.minimum 8.8, o2.minimum 5.2, co.minimum 8, co_co2_ratio.minimum 0.0001, "
    "flue_temperature 58, air_temperature 14, flow_temperature 70, return_temperature 50, system_pressure.cold 1.2, "
    "system_pressure.hot 1.8, hot_temperature 48, cold_temperature 10, meter_index.before 48123.456, "
    "meter_index.after 48123.544, heat_input.gross 30.2, hot_water_output 26.9, heat_output 24.1"
)


def test_readings_that_go_together_raise_no_question() -> None:
    """A sound visit is not asked about."""
    assert cross_checks(GOOD_VISIT, "ng") == ()
    assert cross_checks({}, "ng") == ()


@pytest.mark.parametrize("key", GOOD_VISIT)
def test_a_reading_not_yet_taken_raises_no_question(key: str) -> None:
    """Checks wait until both readings are there."""
    assert cross_checks({k: v for k, v in GOOD_VISIT.items() if k != key}, "ng") == ()


@pytest.mark.parametrize(
    ("change", "gas", "id", "ask", "involves"),
    [
        (
            "working_pressure 22.6",
            "ng",
            "standing_above_working",
            "Working pressure reads above standing. Are both right?",
            ("standing_pressure", "working_pressure"),
        ),
        (
            "inlet_pressure 20.6",
            "ng",
            "working_above_inlet",
            "Inlet pressure reads above the meter's. Are both right?",
            ("working_pressure", "inlet_pressure"),
        ),
        (
            "return_temperature 71",
            "ng",
            "flow_above_return",
            "Return reads hotter than flow. Are they the right way round?",
            ("flow_temperature", "return_temperature"),
        ),
        (
            "system_pressure.hot 1.1",
            "ng",
            "hot_pressure_above_cold",
            "Hot pressure reads below cold pressure. Are both right?",
            ("system_pressure.hot", "system_pressure.cold"),
        ),
        (
            "cold_temperature 49",
            "ng",
            "hot_water_above_cold",
            "Hot water reads colder than cold water. Are both right?",
            ("hot_temperature", "cold_temperature"),
        ),
        (
            "air_temperature 59",
            "ng",
            "flue_above_air",
            "Flue gas reads colder than the air. Are both right?",
            ("flue_temperature", "air_temperature"),
        ),
        (
            "meter_index.after 48123.455",
            "ng",
            "meter_forwards",
            "The meter went backwards. Shall we read both again?",
            ("meter_index.after", "meter_index.before"),
        ),
        (
            "hot_water_output 30.3",
            "ng",
            "output_below_input",
            "More heat comes out at the tap than goes in as gas. Are the readings right?",
            ("heat_input.gross", "hot_water_output"),
        ),
        (
            "heat_output 30.3",
            "ng",
            "heating_below_input",
            "More heat goes to the system than goes in as gas. Are the readings right?",
            ("heat_input.gross", "heat_output"),
        ),
        (
            "o2.maximum 5.6",
            "ng",
            "co2_and_o2",
            "C O two and oxygen do not fit together. Shall we read both again?",
            ("co2.maximum", "o2.maximum"),
        ),
        (
            "o2.minimum 12",
            "ng",
            "co2_and_o2",
            "C O two and oxygen do not fit together. Shall we read both again?",
            ("co2.minimum", "o2.minimum"),
        ),
        (
            "co_co2_ratio.maximum 0.0080",
            "ng",
            "ratio",
            "The ratio does not fit C O and C O two. Shall we read it again?",
            ("co.maximum", "co2.maximum", "co_co2_ratio.maximum"),
        ),
    ],
)
def test_readings_that_do_not_go_together_are_asked_about(
    change: str, gas: Gas, id: str, ask: str, involves: tuple[str, ...]
) -> None:
    """Each mismatch raises its one question, naming the readings and their digits."""
    questions = cross_checks(GOOD_VISIT | readings_of(change), gas)
    assert [(question.id, question.ask, question.involves) for question in questions] == [(id, ask, involves)]
    for key in involves:
        assert key in questions[0].because
    assert change.split()[1] in questions[0].because


def test_more_co2_at_minimum_is_asked_about_beyond_its_slack() -> None:
    """CO2 at minimum may stand 0.2 above that at maximum, and is asked about from there on."""
    assert cross_checks(readings_of("co2.maximum 9.0, co2.minimum 9.2"), "ng") == ()
    question = cross_checks(readings_of("co2.maximum 9.0, co2.minimum 9.21"), "ng")[0]
    assert question.id == "rich_at_maximum"
    assert question.because == "co2.maximum 9.0, co2.minimum 9.21"


@pytest.mark.parametrize(
    ("gas", "other", "co2", "o2"), [("lpg", "natural gas", "8.9", "5.0"), ("ng", "L P G", "10.45", "5.0")]
)
def test_readings_that_fit_the_other_gas_point_at_the_analyser(gas: Gas, other: str, co2: str, o2: str) -> None:
    """CO2 and O2 that fit the other gas ask about the analyser's setting, naming both gases."""
    # Worked out from CO2max: at O2 5 % an analyser on its natural gas setting shows 8.9 % where LPG gives 10.45 %.
    question = cross_checks(readings_of(f"co2 {co2}, o2 {o2}"), gas)[0]
    mine = {"ng": "natural gas", "lpg": "L P G"}[gas]
    assert question.id == "gas_setting"
    assert question.ask == f"C O two and oxygen fit {other}. Is the analyser set to {mine}?"
    assert question.because == f"co2 {co2} %, o2 {o2} %"


@pytest.mark.parametrize(("co2", "asked"), [("8.61", False), ("8.60", True), ("9.20", False), ("9.22", True)])
def test_co2_and_o2_may_differ_by_three_tenths(co2: str, asked: bool) -> None:
    """CO2 may differ from what O2 says by 0.3 points, not by more."""
    # O2 5.0 % gives CO2 8.908 % on natural gas: 11.7006 x 15.95/20.95.
    assert bool(cross_checks(readings_of(f"co2 {co2}, o2 5.0"), "ng")) is asked


@pytest.mark.parametrize(("co2", "o2"), [("11.7", "0"), ("11.2", "0.9"), ("0.0", "20.9"), ("0.5", "20.2")])
def test_the_ends_of_the_scale_go_together(co2: str, o2: str) -> None:
    """No O2 at the most CO2, and almost all of it at none, are sound readings."""
    assert cross_checks(readings_of(f"co2 {co2}, o2 {o2}"), "ng") == ()


@pytest.mark.parametrize(("co2", "o2"), [("9.0", "21.5"), ("14.1", "0"), ("-0.1", "20.9"), ("9.0", "-0.5")])
def test_what_no_gas_gives_is_asked_about(co2: str, o2: str) -> None:
    """CO2 or O2 that cannot be fits no gas, and is asked about rather than computed with."""
    assert [question.id for question in cross_checks(readings_of(f"co2 {co2}, o2 {o2}"), "ng")] == ["co2_and_o2"]


@pytest.mark.parametrize(
    ("ratio", "asked"), [("0.0012", False), ("0.0008", False), ("0.00121", True), ("0.00079", True)]
)
def test_a_ratio_may_differ_by_its_rounding(ratio: str, asked: bool) -> None:
    """A ratio read may differ from the ratio of its parts by 0.0002, not by more."""
    # 90 ppm at 9.0 %: 0.0010.
    questions = cross_checks(readings_of(f"co 90, co2 9.0, co_co2_ratio {ratio}"), "ng")
    assert bool(questions) is asked
    assert all(question.because == f"co_co2_ratio {ratio}, from co and co2 0.0010" for question in questions)


def test_a_ratio_over_no_co2_is_not_computed() -> None:
    """Without CO2, or with none of it, the ratio has nothing to be held against."""
    assert cross_checks(readings_of("co 90, co2 0, co_co2_ratio 0.001"), "ng") == ()
    assert cross_checks(readings_of("co 90, co_co2_ratio 0.001"), "ng") == ()


@pytest.mark.parametrize(
    ("found", "spread", "ask"),
    [
        ("25.2", "0", None),
        ("22.8", "0", None),
        ("25.3", "0.1", None),
        ("25.3", "0", "Heat input is 5 percent above the plate. Full rate, all else off?"),
        ("60", "0.5", "Heat input is 150 percent above the plate. Full rate, all else off?"),
        ("26.9", "0.5", "Heat input is 12 percent above the plate. Full rate, all else off?"),
        ("20.4", "0.5", "Heat input is 15 percent below the plate. Full rate, all else off?"),
    ],
)
def test_a_heat_input_beside_the_plate(found: str, spread: str, ask: str | None) -> None:
    """A heat input more than 5 % off the plate, beyond the run's own spread, is asked about."""
    questions = plate_check(D(found), D(24), "net", D(spread))
    assert [question.ask for question in questions] == ([] if ask is None else [ask])
    for question in questions:
        assert question.because == f"heat input {D(found):.1f} kW net, plate 24.0 kW net"
        assert question.involves == ("heat_input.net",)
    assert plate_check(D(24), D(24), "net") == ()


@pytest.mark.parametrize(
    ("value", "gas", "basis", "asked"),
    [
        ("109", "ng", "net", False),
        ("109.1", "ng", "net", True),
        ("99.1", "ng", "gross", True),
        ("99", "ng", "gross", False),
        ("108.8", "lpg", "net", True),
        ("108.7", "lpg", "net", False),
        ("99.1", "lpg", "gross", True),
    ],
)
def test_an_efficiency_beyond_the_gas(value: str, gas: Gas, basis: str, asked: bool) -> None:
    """An efficiency above what the gas can give is asked about."""
    questions = efficiency_check(D(value), gas, basis)
    assert bool(questions) is asked
    for question in questions:
        assert question.ask == "Efficiency reads above what the gas can give. Shall we read it again?"
        assert question.because.startswith(f"efficiency {value} % {basis}, ceiling ")
        assert question.involves == ("efficiency",)


def test_a_date_in_the_future() -> None:
    """A date that has not come yet is asked about; the day of the visit itself is not."""
    visit = datetime.date(2026, 11, 25)
    assert date_check("installed", visit, visit) == ()
    question = date_check("installed", datetime.date(2026, 11, 26), visit)[0]
    assert question.ask == "That date has not come yet. Is it right?"
    assert question.because == "installed 2026-11-26, visit 2026-11-25"
    assert question.involves == ("installed",)


def test_a_serial_number_that_is_taken() -> None:
    """A serial number already on record, however it is spaced, is asked about with what it stands for."""
    known = {"ZZ 9999": "3 Fern Close", "AB 1234": "boiler at 14 Larkspur Lane"}
    assert serial_check("AB1235", known) == ()
    assert len(serial_check("ab 1 234", known)) == len(serial_check("ZZ9 999", known)) == 1
    question = serial_check("ab1234", known)[0]
    assert question.ask == "That serial number stands for another appliance already. Is it right?"
    assert question.because == "serial ab1234: boiler at 14 Larkspur Lane"
    assert question.involves == ("serial",)


@pytest.mark.parametrize(
    ("last", "now", "said"),
    [
        ("co2.maximum 9.0", "co2.maximum 9.5", None),
        ("co2.maximum 9.0", "co2.maximum 9.51", "C O two"),
        ("co2.maximum 9.0", "co2.maximum 8.49", "C O two"),
        ("flue_temperature 55", "flue_temperature 65", None),
        ("flue_temperature 55", "flue_temperature 65.1", "Flue gas temperature"),
        ("co.maximum 40", "co.maximum 79", None),
        ("co.maximum 40", "co.maximum 80", "Carbon monoxide"),
        ("co.maximum 80", "co.maximum 20", None),
        ("co.maximum 0", "co.maximum 5", None),
        ("co.maximum 1", "co.maximum 2", "Carbon monoxide"),
        ("ph 7", "ph 9", None),
        ("co2.maximum 9.0", "co2.minimum 8.0", None),
    ],
)
def test_a_change_since_the_last_visit(last: str, now: str, said: str | None) -> None:
    """CO2 by more than 0.5 points, flue gas by more than 10 K, CO doubled: asked about; else not."""
    questions = changes_since(readings_of(last), readings_of(now))
    wanted = [] if said is None else [f"{said} has changed a lot since the last visit. Is the reading right?"]
    assert [question.ask for question in questions] == wanted
    for question in questions:
        assert question.because == f"{last} at the last visit, {now.split()[1]} now"
        assert question.involves == (last.split()[0],)


def test_several_changes_come_in_order() -> None:
    """Several changes are asked about in a settled order."""
    last, now = readings_of("flue_temperature 50, co 10, co2 9"), readings_of("co2 8, flue_temperature 80, co 90")
    assert [question.involves[0] for question in changes_since(last, now)] == ["co", "co2", "flue_temperature"]


def test_questions_are_short_and_plain() -> None:
    """Every question ends in a question mark, has at most 16 words, and calls nothing safe or dangerous."""
    asks = [row["ask"] for row in wording()["order"]] + list(wording()["ask"].values())
    for ask in asks:
        assert ask.endswith("?")
        assert len(ask.split()) <= 16
        assert not {"safe", "danger", "dangerous"} & set(ask.lower().split())
    assert all(row["source"] for row in wording()["order"])


@given(
    st.dictionaries(st.sampled_from(sorted(GOOD_VISIT)), st.decimals(-1000, 1000, places=2)),
    st.sampled_from(["ng", "lpg"]),
)
def test_no_reading_breaks_a_check_or_is_changed(readings: dict[str, D], gas: Gas) -> None:
    """Whatever the readings, the checks answer, name only readings that were given, and change none of them."""
    before = dict(readings)
    for question in cross_checks(readings, gas):
        assert set(question.involves) <= readings.keys()
    assert readings == before
