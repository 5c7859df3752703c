"""A visit that was ended with something open is taken up again: after a yes, in order, and with both ends in the record."""

from __future__ import annotations

import pytest
from dialogue_story import SHORT_VISIT, Story, play_until, story

from handsfree.dialogue.effects import Stop
from handsfree.events import Finished, ReadAgain, Reopened, UnsafeDeclared


def finished_with(*later: str) -> Story:
    """A visit ended with these items open, everything else answered."""
    visit = story()
    for _ in range(200):
        here = visit.state.item
        if not here:
            break
        visit.hear(*(("later",) if here in later else SHORT_VISIT[here]))
    visit.hear("finish", "yes")
    assert visit.state.finished == Finished(complete=False, open_items=later)
    return visit


def test_an_ended_visit_is_taken_up_again_only_after_a_yes() -> None:
    """Resuming names what is open and asks; nothing is open again before the yes."""
    visit = finished_with("vessel_charge", "co_max").cut()
    assert "ended with 2 open: vessel charge; CO at maximum rate" in visit.said
    assert not visit.events(Reopened)
    visit.hear("...", "mumble mumble", "nought point seven five bar")
    assert not visit.events(Reopened)
    visit.hear("yes")
    assert [e.open_items for e in visit.events(Reopened)] == [("vessel_charge", "co_max")]


def test_what_was_open_comes_back_in_order_and_the_visit_ends_complete() -> None:
    """The open items are asked in the plan's order, nothing else is, and each chunk's completion is spoken."""
    visit = finished_with("vessel_charge", "co_max").cut().hear("yes")
    assert visit.state.item == "vessel_charge"
    visit.hear(*SHORT_VISIT["vessel_charge"])
    # The cold pressure rests on nothing that changed: it stands.
    assert visit.state.item == "co_max"
    assert "Water complete." in " ".join(visit.transcript)
    visit.hear(*SHORT_VISIT["co_max"]).hear("finish")
    assert [e.complete for e in visit.events(Finished)] == [False, True]
    assert visit.stopped


@pytest.mark.parametrize("words", ["no", "cancel", "finish"])
def test_without_a_yes_it_stays_ended(words: str) -> None:
    """A no leaves the visit as it was ended."""
    visit = finished_with("vessel_charge").cut().hear(words)
    assert visit.stopped
    assert "not complete. Open: vessel charge" in visit.said
    assert visit.state.finished == Finished(complete=False, open_items=("vessel_charge",))


def test_a_complete_visit_is_not_asked_about() -> None:
    """A visit that was ended complete stays so."""
    visit = play_until(story(), None).hear("finish")
    visit.cut()
    assert visit.effects == (Stop(True),)


def test_a_killer_item_without_a_value_is_asked_again() -> None:
    """What stayed open because no reading was had is read again, not left as it was."""
    visit = play_until(story(), "air_inlet_o2").hear("no reading", "the probe is blocked", "yes")
    play_until(visit, None).hear("finish", "yes")
    visit.cut().hear("yes")
    assert visit.state.item == "air_inlet_o2"
    assert [(e.items, e.because) for e in visit.events(ReadAgain)] == [(("air_inlet_o2",), "reopened")]
    play_until(visit, None).hear("finish")
    assert visit.state.finished == Finished(complete=True)


def test_an_unsafe_situation_is_still_open_when_the_visit_is_taken_up_again() -> None:
    """The steps are said again, and no reading is taken before the engineer has cleared it."""
    visit = play_until(story(), "co2_max").hear("i smell gas", "finish", "yes")
    assert visit.stopped
    visit.cut().hear("yes")
    assert "Turn the gas off" in visit.said
    visit.hear("nine point two percent", "yes")
    assert visit.value("co2_max") is None


def test_a_smell_of_gas_is_an_emergency_in_an_ended_visit_too() -> None:
    """Said instead of an answer it opens the visit, and the steps come first."""
    visit = finished_with("vessel_charge").cut().hear("i smell gas")
    assert visit.said.startswith("Turn the gas off")
    assert len(visit.events(UnsafeDeclared)) == 1
    assert visit.state.finished is None


@pytest.mark.parametrize("cuts", [1, 2])
def test_a_cut_while_it_is_asked_asks_again(cuts: int) -> None:
    """Power lost before the answer: the visit is still ended, and the question comes again."""
    visit = finished_with("vessel_charge")
    for _ in range(cuts):
        visit.cut()
    assert "Take it up again?" in visit.said
    assert visit.state.finished is not None
