"""What the job file does not say: the result or limit that needs it is missed aloud, with what to do, and kept."""

from __future__ import annotations

from dataclasses import replace

from dialogue_engineer import work_through
from dialogue_story import SHORT_VISIT, Story, plan_named, play_until, the_job

from handsfree.events import NotJudged
from handsfree.plans import Job, job_from_text


def without(*lines: str) -> Job:
    text = the_job().text
    for line in lines:
        assert line in text
        text = text.replace(line, "")
    return job_from_text(text)


def test_a_missing_meter_type_is_said_once_with_what_to_do_next() -> None:
    """Without the meter the permitted drop cannot be worked out: said at the beginning, kept, and not said again."""
    visit = Story(plan_named("tightness_test"), without('meter = "G4"')).begin()
    said = "Installation volume cannot be worked out: the job file does not say the meter type."
    assert said in visit.transcript
    assert "Judge it by the instructions or the standard yourself; add it to the job file." in visit.transcript
    assert [(e.item, e.because) for e in visit.events(NotJudged)] == [
        ("installation_volume", "the job file does not say the meter type")
    ]
    work_through(visit)
    assert visit.transcript.count(said) == 1


def test_a_drop_without_a_limit_is_said_to_have_no_verdict() -> None:
    """Where no permitted drop can be worked out, the drop is saved with a spoken "no verdict", never as within."""
    job = without('pipes = "9m of 15mm"')
    visit = work_through(Story(plan_named("tightness_test"), job).begin())
    assert "No verdict on tightness drop: no permitted drop." in visit.transcript
    assert visit.state.verdict("tightness_drop") == ""


def test_a_drop_without_a_limit_is_judged_by_the_engineer_in_so_many_words() -> None:
    """Where the program knows no limit it asks whether the drop is within the standard's; a no is unsafe."""
    job = without('pipes = "9m of 15mm"')
    visit = work_through(Story(plan_named("tightness_test"), job).begin(), until="drop_allowed")
    visit.hear("no", "yes")
    assert visit.state.unsafe is not None
    assert "Turn the gas off at the emergency control valve." in visit.said
    assert work_through(Story(plan_named("tightness_test"), the_job()).begin()).value("drop_allowed") is None


def test_a_result_that_the_plate_is_missing_for_is_said_without_a_verdict() -> None:
    """The number is said, and that it was held against nothing."""
    visit = Story(
        plan_named("short_commissioning"), without("hot_water_input_net_kw = 24.5\n", "heat_input_net_kw = 24.5\n")
    ).begin()
    play_until(visit, "hot_flow")
    said = " ".join(visit.transcript)
    assert (
        "Net heat input: twenty five point zero kilowatts. The job file does not say the maker's hot water input"
        in said
    )
    assert visit.state.verdict("heat_input_net") == ""


def test_without_a_job_every_number_that_is_worked_out_from_readings_still_comes() -> None:
    """No job file at all: readings are asked and worked out, and what needs the job is missed aloud."""
    visit = play_until(Story(plan_named("short_commissioning"), Job()).begin(), None)
    assert {"gas_rate", "heat_input_gross", "co_ratio_max"} <= visit.state.results.keys()
    lacking = {e.item for e in visit.events(NotJudged)}
    assert {"installation_volume", "tightness_drop", "heat_input_net"} <= lacking


def test_a_value_of_an_instrument_out_of_date_is_said_to_have_no_verdict() -> None:
    """An analyser out of date is not passed by in silence at the reading."""
    visit = play_until(
        Story(plan_named("short_commissioning"), the_job()).begin(),
        "co2_max",
        {**SHORT_VISIT, "analyser_until": ("third of march twenty twenty five",) * 2 + ("yes",)},
    )
    visit.hear(*SHORT_VISIT["co2_max"])
    assert "The analyser is out of date: no verdict." in visit.said
    assert visit.state.verdict("co2_max") == ""


def test_the_engine_needs_nothing_of_the_job_that_it_may_lack() -> None:
    """Whatever single line of the job is missing, a whole visit is held to its end."""
    lines = [line for line in the_job().text.splitlines() if line.startswith(("meter", "pipes", "hot_water", "heat_"))]
    for line in lines:
        visit = play_until(replace_job(line), None)
        assert not visit.state.item


def replace_job(line: str) -> Story:
    return Story(plan_named("short_commissioning"), replace(without(line + "\n"))).begin()
