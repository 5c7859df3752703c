"""The order of the work in the plans that come with the program: what is dangerous first, nothing that cannot be done yet."""

from __future__ import annotations

import pytest
from dialogue_engineer import work_through
from dialogue_story import Story, plan_named, the_job

from handsfree.dialogue.inputs import HeardInput
from handsfree.events import NotJudged
from handsfree.model import Command, Heard, Text
from handsfree.plans import Plan

ON_A_RUNNING_OR_GASSED_BOILER = ("service", "breakdown", "hot_water_fault", "tightness_test", "landlord_check")


def place(plan: Plan, id: str) -> int:
    return [item.id for item in plan.items()].index(id)


@pytest.mark.parametrize("name", ON_A_RUNNING_OR_GASSED_BOILER)
def test_a_smell_of_gas_is_asked_before_anything_else(name: str) -> None:
    """Where gas is on when the engineer comes, the first item asks for a smell, and one ends the dialogue at once."""
    first = next(iter(plan_named(name).items()))
    assert "smell of gas" in first.prompt
    assert first.killer
    assert first.on_outside == "unsafe_at_once"


BEFORE = {
    "service": [
        *[("smell_first", "lit"), ("flue_sound", "lit"), ("case_seal", "lit"), ("analyser_ready", "inlet_o2_before")],
        *[("inlet_o2_before", "co2_before"), ("co_min_before", "electrics_off"), ("electrics_off", "case_off")],
        *[("gas_off", "case_off"), ("valves_shut", "drained"), ("drained", "vessel_charge"), ("parts_ready", "case_off")],
        *[("exchanger", "trap_clean"), ("trap_filled", "lit_again"), ("vessel_charge", "cold_pressure")],
        *[("burner_seal", "cover_tight"), ("cover_tight", "gas_on"), ("gas_on", "case_on"), ("case_on", "power_on")],
        *[("wires", "power_on"), ("power_on", "pump"), ("power_on", "pump_head"), ("power_on", "low_pressure")],
        *[("air_inlet_o2", "co2_max"), ("others_off", "meter_start"), ("meter_end", "normal_mode")],
        *[("normal_mode", "controls"), ("normal_mode", "hot_flow"), ("case_sealed", "told"), ("defects", "told")],
    ],
    "commissioning": [
        *[("trap_filled", "lit"), ("proved_dead", "insulation"), ("insulation", "voltage"), ("off_again", "vessel_charge")],
        *[("touch_safe", "test_set"), ("gas_smell", "purged"), ("tightness_drop", "purged"), ("purged", "lit")],
        *[("valves_open", "lit"), ("lit", "working"), ("air_inlet_o2", "co2_max"), ("hot_pressure", "normal_mode")],
        *[("normal_mode", "stat_stops"), ("case_sealed", "told")],
    ],
    "tightness_test": [("appliances_off", "test_set"), ("let_by_rise", "test_set"), ("smell_first", "touch_safe")],
    "breakdown": [("dead_spark", "gap"), ("dead_sensor", "resistance")],
    "hot_water_fault": [("dead", "resistance"), ("resistance", "power_on"), ("power_on", "hot_temp")],
}  # fmt: skip


@pytest.mark.parametrize("name", BEFORE)
def test_what_must_come_first_comes_first(name: str) -> None:
    """Proved dead before hands go in, seals before gas, air inlet before flue, maximum rate before what is read at it."""
    plan = plan_named(name)
    assert [(a, b) for a, b in BEFORE[name] if place(plan, a) >= place(plan, b)] == []


@pytest.mark.parametrize("name", ["commissioning", "service", "tightness_test"])
def test_a_gauge_out_of_date_gives_no_pressure_verdict(name: str) -> None:
    """Every gas pressure read with a gauge whose certificate has run out is kept without a verdict."""
    visit = work_through(Story(plan_named(name), the_job()).begin(), until="gauge_until")
    for outcome in (Text("2025-01-01", "date"), Text("2025-01-01", "date"), Command("yes")):
        visit.give(HeardInput(Heard("words", outcome, start_s=1.0, end_s=2.0)))
    work_through(visit)
    pressures = {
        item.id
        for item in visit.plan.items()
        if item.limit and item.id in visit.state.values
        and visit.state.values[item.id].unit == "mbar" and not visit.state.values[item.id].absent
    }  # fmt: skip
    assert pressures
    assert pressures <= {event.item for event in visit.events(NotJudged)}
    assert not pressures & visit.state.rulings.keys()
    assert "The gauge is out of date: no verdict." in visit.transcript


@pytest.mark.parametrize("name", ["commissioning", "service", "hot_water_fault", "short_commissioning"])
def test_the_meter_figure_is_chosen_before_the_timing_begins(name: str) -> None:
    """A figure read while the clock runs would be old by the time of its yes: one just ahead is read, then marked."""
    plan = plan_named(name)
    assert place(plan, "meter_start") < place(plan, "rate_time") < place(plan, "meter_end")
    assert "just ahead" in plan.item("meter_start").prompt
    assert "second mark" in plan.item("meter_end").prompt


def test_a_no_to_a_killer_question_is_read_back_as_what_was_said() -> None:
    """ "Smell of gas: you say no, right?" cannot be taken for anything else."""
    visit = Story(plan_named("service"), the_job()).begin().hear("no")
    assert visit.said == "Smell of gas at the start: you say no, right?"


def test_room_air_with_products_in_it_stops_the_service() -> None:
    """Carbon monoxide in the room beyond the limit, read twice and accepted, leads to the emergency steps."""
    visit = work_through(Story(plan_named("service"), the_job()).begin(), until="room_co")
    visit.hear("forty two", "forty two", "yes")
    assert visit.state.unsafe is not None
    assert "Turn the boiler off." in visit.said
