"""Every input in every state of small plans: no promise is broken; benchmarks/states.py does the same for longer."""

from __future__ import annotations

import pytest
from dialogue_exploration import Exploration, Explorer
from dialogue_small_plans import PLANS

from handsfree.dialogue import engine
from handsfree.dialogue.proposing import confirm
from handsfree.dialogue.turn import Turn
from handsfree.model import Command, Heard
from handsfree.plans import plan_from_text


def explore(name: str, most: int) -> Exploration:
    text, own = PLANS[name]
    return Explorer(plan_from_text(text.replace("{name}", "small")), own).run(most)


@pytest.mark.parametrize("name", ["unsafe at once", "two parts"])
def test_rule_20_exhaustive_search_finds_no_impossible_state(name: str) -> None:
    """Every command, answer, silence, noise, lost sound and cut in every state that there is: no promise is broken."""
    found = explore(name, 20_000)
    assert found.exhausted
    assert found.wrong == {}
    assert found.states > 4_000
    assert found.twins > 100
    assert {"item", "asked", "unsafe", "held", "revisit", "proposal", "closing", "finished"} - found.phases.keys() <= {
        "proposal"
    }


@pytest.mark.parametrize("name", [n for n in PLANS if n not in ("unsafe at once", "two parts")])
def test_no_promise_is_broken_near_the_beginning_of_any_small_plan(name: str) -> None:
    """The first 1,200 states of every other kind of plan, every input in each."""
    found = explore(name, 1_200)
    assert found.wrong == {}
    assert found.decisions > 8_000


def test_the_search_is_one_that_can_fail(monkeypatch: pytest.MonkeyPatch) -> None:
    """An engine that takes silence for a yes is found out."""
    honest = engine._take_silence

    def careless(turn: Turn, seconds: float) -> None:
        if (
            turn.state.proposal is not None
            and turn.state.asked is None
            and turn.state.unsafe is None
            and not turn.state.held
        ):
            confirm(turn, engine._the_trade(), Heard("", Command("yes")))
        else:
            honest(turn, seconds)

    monkeypatch.setattr(engine, "_take_silence", careless)
    found = explore("a limit", 600)
    assert any("silence" in what and "saved" in what for what in found.wrong)
