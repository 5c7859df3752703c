"""The guide to writing plans: its example is the sample, it holds, and every key it names is one."""

from __future__ import annotations

import re
from pathlib import Path

from dialogue_engineer import good_answer
from dialogue_story import Story, the_job

from handsfree.dialogue.inputs import HeardInput
from handsfree.events import Finished, Questioned
from handsfree.model import Command, Heard
from handsfree.plans import plan_from_text
from handsfree.plans.sample_plan import SAMPLE_PLAN

GUIDE = (Path(__file__).parents[1] / "docs" / "plans.md").read_text(encoding="utf-8")


def test_the_example_of_the_guide_is_the_sample_and_holds_a_whole_visit() -> None:
    """What the guide prints is what `plan new` writes, and a visit over it ends complete."""
    example = re.search(r"```toml\n(.*?)```", GUIDE, re.DOTALL)
    assert example is not None
    assert example[1] == SAMPLE_PLAN
    visit = Story(plan_from_text(example[1]), the_job()).begin()
    while visit.state.item:
        visit.give(HeardInput(Heard("some words", good_answer(visit))))
    visit.give(HeardInput(Heard("finish", Command("finish"))))
    assert visit.state.finished == Finished(complete=True)


def test_every_key_that_a_plan_may_have_stands_in_the_guide() -> None:
    """A key that the reader takes is named in the guide."""
    reader = (Path(__file__).parents[1] / "handsfree" / "plans" / "read.py").read_text(encoding="utf-8")
    keys = set(re.findall(r'(?:text|texts|flag|number|one_of|tables?|_condition)\((?:table, )?"([a-z_]+)"', reader))
    missing = {key for key in keys if not re.search(rf"\b{key}\b", GUIDE)}
    assert missing <= {"messages", "authority", "unit", "low_strict", "high_strict", "quantity", "qualifier"}


def held_with_hot_below_cold(text: str) -> list[tuple[str, str]]:
    """A visit by the plan with 1.5 bar cold, 1.1 bar hot: id and words of the questions put."""
    visit = Story(plan_from_text(text), the_job()).begin()
    for words in ("one point five", "yes", "one point one", "yes"):
        visit.hear(words)
    return [(e.id, e.question) for e in visit.events(Questioned) if not e.answer]


def test_a_question_of_the_plan_takes_the_place_of_the_programs_own() -> None:
    """Without a question of its own the program asks; one about the same items, or with the same id, is asked instead."""
    own = SAMPLE_PLAN.index("[[question]]")
    bare = SAMPLE_PLAN[:own]
    trade, words = held_with_hot_below_cold(bare)[0]
    assert trade == "trade:hot_pressure_above_cold:hot+cold"
    assert words == "Hot pressure reads below cold pressure. Are both right?"
    assert [id for id, _ in held_with_hot_below_cold(SAMPLE_PLAN)] == ["hot_above_cold"]
    same_id = SAMPLE_PLAN.replace('id = "hot_above_cold"', 'id = "hot_pressure_above_cold"')
    assert [id for id, _ in held_with_hot_below_cold(same_id)] == ["hot_pressure_above_cold"]


def test_the_ids_of_the_trades_questions_named_in_the_guide_are_there() -> None:
    """A plan's writer can only replace what exists under that id."""
    import tomllib

    table = Path(__file__).parents[1] / "handsfree" / "trade" / "crosschecks.toml"
    ids = {row["id"] for row in tomllib.loads(table.read_text(encoding="utf-8"))["order"]}
    named = re.findall(r"with the same id \(`([a-z_]+)`\)", GUIDE)
    assert named
    assert set(named) <= ids
