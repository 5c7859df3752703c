"""The guide to writing plans: its example is the sample, it holds, and every key it names is one."""

from __future__ import annotations

import re
from pathlib import Path

from dialogue_engineer import good_answer
from dialogue_story import Story, the_job

from handsfree.dialogue.inputs import HeardInput
from handsfree.events import Finished
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
