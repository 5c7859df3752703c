"""Every way through: interruptions at every place, every reachable state of a small plan, every path of the
fault-finding plans."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from dialogue_engineer import good_answer, work_through
from dialogue_story import SHORT_VISIT, Story, plan_named, play_until, story, the_job

from handsfree.dialogue.inputs import HeardInput
from handsfree.dialogue.prompts import phase
from handsfree.dialogue.state import State
from handsfree.dialogue.working import limit_for
from handsfree.events import CauseFound, Finished
from handsfree.model import Command, Heard, Outcome, Reading, Readings, Text
from handsfree.plans import Job, job_from_text, plan_names
from handsfree.plans.plan import Item


def job_for(gas: str, kind: str) -> Job:
    text = the_job().text.replace('gas = "ng"', f'gas = "{gas}"').replace('type = "combi"', f'type = "{kind}"')
    if gas == "lpg":
        text = text.replace("low = 8.8\nhigh = 9.8", "low = 10.0\nhigh = 11.0")
        text = text.replace("low = 8.4\nhigh = 9.4", "low = 9.6\nhigh = 10.6")
    return job_from_text(text)


@pytest.mark.parametrize("gas", ["ng", "lpg"])
@pytest.mark.parametrize("kind", ["combi", "system"])
@pytest.mark.parametrize("name", [n for n in plan_names() if n not in ("hot_water_fault", "breakdown")])
def test_a_visit_without_a_fault_comes_to_its_complete_end(name: str, gas: str, kind: str) -> None:
    """Every plan, on both gases and both kinds of boiler, ends complete with every verdict within when every value is
    good."""
    visit = work_through(Story(plan_named(name), job_for(gas, kind)).begin())
    visit.give(_heard(Command("finish")))
    assert visit.state.finished == Finished(complete=True)
    assert {r.result for r in visit.state.rulings.values()} <= {"within", "too_close"}


def _heard(outcome: Outcome) -> HeardInput:
    return HeardInput(Heard("some words", outcome, start_s=1.0, end_s=2.0))


# ----------------------------------------------------------------------------------------- interruptions


def essence(state: State) -> tuple[object, ...]:
    """What must be the same after an interruption as before it."""
    values = {i: (v.text, v.kind, v.round) for i, v in state.values.items()}
    results = {i: dict(e.given) for i, (_, e) in state.results.items()}
    return values, results, dict(state.rounds), state.deferred, state.item, state.unsafe, state.chunks_done


INTERRUPTIONS: dict[str, tuple[str, ...]] = {
    "hold": ("hold", "carry on", "carry on"),
    "hold, silence": ("hold", "...", "...", "carry on", "carry on"),
    "back": ("back", "carry on"),
    "back twice": ("back", "back", "carry on"),
    "where": ("where am i",),
    "note": ("note", "the lagging is loose"),
    "finish, no": ("finish", "no"),
    "cancel": ("cancel",),
    "silence": ("...", "..."),
    "noise": ("mumble mumble",),
    "power cut": ("CUT", "carry on"),
    "power cut twice": ("CUT", "CUT", "carry on"),
    "power cut on hold": ("hold", "CUT", "carry on"),
    "unsafe, cleared": (
        *("this is unsafe", "yes", "yes", "yes", "at risk", "yes", "a note", "carry on", "yes", "carry on"),
    ),
}


@pytest.mark.parametrize("how", INTERRUPTIONS)
@pytest.mark.parametrize("item", [i for i in SHORT_VISIT if i != "boiler_serial"])
def test_nothing_is_skipped_and_nothing_doubled_by_an_interruption(item: str, how: str) -> None:
    """Interrupted while an item is asked, the visit comes back to the same item with the same values and results."""
    visit = play_until(story(), item)
    before = essence(visit.state)
    for words in INTERRUPTIONS[how]:
        visit.cut() if words == "CUT" else visit.hear(words)
    assert essence(visit.state) == before


@pytest.mark.parametrize("how", ["hold", "back", "power cut", "power cut on hold", "finish, no"])
@pytest.mark.parametrize("item", [i for i, words in SHORT_VISIT.items() if len(words) == 2 and i != "boiler_serial"])
def test_an_interrupted_read_back_saves_nothing(item: str, how: str) -> None:
    """Interrupted while a value waits for its yes, the value is dropped and the item asked again."""
    visit = play_until(story(), item)
    before = essence(visit.state)
    visit.hear(SHORT_VISIT[item][0])
    for words in INTERRUPTIONS[how]:
        visit.cut() if words == "CUT" else visit.hear(words)
    assert essence(visit.state) == before


@pytest.mark.parametrize("item", list(SHORT_VISIT))
def test_an_item_left_for_later_is_answered_in_its_chunk(item: str) -> None:
    """Left for later once, an item comes back and the visit still ends complete with the same values."""
    straight = play_until(story(), None)
    visit = play_until(story(), item).hear("later")
    play_until(visit, None).hear("finish")
    assert visit.state.finished == Finished(complete=True)
    assert {i: v.text for i, v in visit.state.values.items()} == {i: v.text for i, v in straight.state.values.items()}


@pytest.mark.parametrize("changed", ["vessel_charge", "let_by_rise", "co2_max", "co_max", "meter_start", "hot_flow"])
def test_a_value_changed_at_the_end_ends_complete_all_the_same(changed: str) -> None:
    """A change at the end opens what rests on the value, and answering that ends the visit complete."""
    visit = play_until(story(), None)
    name = plan_named("short_commissioning").item(changed).say
    visit.hear(f"change {name}")
    assert visit.state.item == changed
    visit.hear(*SHORT_VISIT[changed])
    play_until(visit, None).hear("finish")
    assert visit.state.finished == Finished(complete=True)


# ------------------------------------------------------------------------------------ fault-finding paths


_OTHER = {"resistance": Decimal(20000), "rate_time": Decimal(200), "hot_flow": Decimal("1.5"), "hot_temp": Decimal(30)}
"""values that bring a result, not the reading itself, out of its limit"""


def _outside(visit: Story, item: Item, reading: Reading) -> list[Decimal]:
    limit = limit_for(visit.engine_view(), item.limit, reading.unit or "", visit.engine._trade)
    if limit is None:
        return []
    off = limit.high * 2 if limit.high is not None else (limit.low or Decimal(0)) / 2
    return [off.quantize(reading.value)]


def outcomes_for(visit: Story, item: Item) -> list[Outcome]:
    """Every answer that leads another way: each choice, yes and no, inside and outside the limit."""
    expect = item.expect
    if expect.kind == "yes_no":
        if item.killer:
            return [Command(expect.good[0])]
        return [Command("yes"), Command("no")]
    if expect.kind == "choice":
        return [Text(answer, "choice") for answer in expect.phrases]
    if expect.kind == "quantity":
        inside = good_answer(visit)
        assert isinstance(inside, Readings)
        reading = inside.readings[0]
        others = [_OTHER[item.id]] if item.id in _OTHER else _outside(visit, item, reading)
        return [inside, *(Readings((replace(reading, value=value),)) for value in others)]
    return [good_answer(visit)]


def walk(visit: Story, causes: set[str], dead_ends: list[str]) -> int:
    """Depth-first over every answer; the number of paths to an end."""
    steps = 0
    while visit.state.item and visit.state.item != "repaired" and visit.state.unsafe is None:
        steps += 1
        assert steps < 200, visit.said
        if phase(visit.engine_view()) != "item":
            visit.give(_heard(Command("yes") if _accepts(visit) else good_answer(visit)))
            continue
        choices = outcomes_for(visit, visit.plan.item(visit.state.item))
        if len(choices) == 1:
            visit.give(_heard(choices[0]))
            continue
        return sum(walk(_branch(visit, choice), causes, dead_ends) for choice in choices)
    causes |= set(visit.state.causes)
    if visit.state.item == "repaired" and not visit.state.causes:
        visit.give(_heard(Text("maker", "choice"))).give(_heard(Command("yes")))
        causes |= set(visit.state.causes)
        if not visit.state.causes:
            dead_ends.append(str({i: v.text for i, v in visit.state.values.items()}))
    return 1


def _accepts(visit: Story) -> bool:
    proposal = visit.state.proposal
    return proposal is None or proposal.event.stage != "read_again"


def _branch(visit: Story, outcome: Outcome) -> Story:
    twin = Story(visit.plan, visit.job)
    twin.engine = visit.engine
    twin.state, twin.effects, twin.clock_s = visit.state, visit.effects, visit.clock_s
    twin.give(_heard(outcome))
    if twin.state.proposal is not None and twin.state.proposal.event.stage == "read_again":
        twin.give(_heard(outcome))
    return twin


@pytest.mark.parametrize(("name", "fewest"), [("hot_water_fault", 12), ("breakdown", 30)])
def test_every_path_of_fault_finding_ends_in_a_cause(name: str, fewest: int) -> None:
    """Whatever is answered the path ends in a cause, a part or "ring the maker", and every cause of the plan is
    reached."""
    plan = plan_named(name)
    causes: set[str] = set()
    dead_ends: list[str] = []
    paths = walk(Story(plan, the_job()).begin(), causes, dead_ends)
    assert dead_ends == []
    assert {c.id for c in plan.causes} - causes <= {"not_found"}
    assert paths >= fewest


def test_a_cause_is_said_and_kept() -> None:
    """A cause is spoken with what to do, and stands in the journal."""
    visit = Story(plan_named("breakdown"), the_job()).begin()
    for outcome in (
        *(Command("no"), Command("yes"), Command("yes"), Command("yes")),
        *(Text("no_ignition", "choice"), Command("yes")),
    ):
        visit.give(_heard(outcome))
    while visit.state.item not in ("gas_elsewhere", None):
        visit.give(_heard(good_answer(visit)))
    visit.give(_heard(Text("none_burn", "choice"))).give(_heard(Command("yes")))
    assert [e.cause for e in visit.events(CauseFound)] == ["no_gas"]
    assert "Cause: No gas to the house." in visit.said


# ------------------------------------------------------------------------------- cut between any two events


def _cut_after(visit: Story, count: int) -> Story:
    """The same visit with only its first events on disk, resumed."""
    twin = Story(visit.plan, visit.job)
    twin.entries = visit.entries[:count]
    return twin.cut()


@pytest.mark.parametrize("part", range(8))
def test_a_cut_between_any_two_events_ends_in_the_same_visit(part: int) -> None:
    """Cut anywhere, also in the middle of a decision, the visit ends complete with the same values."""
    whole = play_until(story(), None)
    values = {i: v.text for i, v in whole.state.values.items()}
    for count in range(2 + part * 3, len(whole.entries), 24):
        visit = _cut_after(whole, count)
        if visit.state.item and phase(visit.engine_view()) == "revisit":
            visit.hear("carry on")
        play_until(visit, None).hear("finish")
        assert visit.state.finished == Finished(complete=True), count
        assert {i: v.text for i, v in visit.state.values.items()} == values, count


def test_a_cut_does_not_pass_by_what_is_wrong() -> None:
    """Cut anywhere while a failed killer test is being saved, the visit does not come to the item after it."""
    whole = play_until(story(), "air_inlet_o2")
    before = len(whole.entries)
    whole.hear("twenty point two", "twenty point two", "yes")
    for count in range(before, len(whole.entries) + 1):
        visit = _cut_after(whole, count)
        for _ in range(4):
            visit.hear("yes")
        assert visit.state.item in ("air_inlet_o2", "warm_up", "max_rate") or visit.state.unsafe is not None, count
        assert visit.state.item != "co2_max"
