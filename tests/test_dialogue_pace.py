"""What may be spoken briskly: familiar words said for the first time, never what warns or was not caught."""

from __future__ import annotations

import pytest
from dialogue_story import Story, play_until, story

from handsfree.dialogue.effects import Say


def spoken(visit: Story) -> list[tuple[str, bool]]:
    """Purpose and briskness of what was said last."""
    return [(e.purpose, e.brisk) for e in visit.effects if isinstance(e, Say)]


@pytest.fixture
def asked() -> Story:
    return play_until(story(), "cold_pressure")


def test_a_prompt_and_the_first_read_back_of_a_plain_reading_are_brisk(asked: Story) -> None:
    """The engineer has heard such sentences often."""
    assert spoken(asked)[-1] == ("prompt", True)
    assert spoken(asked.hear("one point two bar")) == [("read_back", True)]


@pytest.mark.parametrize("said", ["say that again", "..."])
def test_what_is_said_again_is_spoken_with_care(asked: Story, said: str) -> None:
    """A read-back that was asked for again, or to which nothing was said, is not hurried."""
    asked.hear("one point two bar", said)
    assert spoken(asked)[-1] == ("read_back", False)


def test_a_prompt_asked_for_again_is_spoken_with_care(asked: Story) -> None:
    """ "Say that again" slows the prompt as well."""
    assert spoken(asked.hear("say that again")) == [("prompt", False)]


def test_a_corrected_value_is_read_back_with_care(asked: Story) -> None:
    """After a no, the number is what matters."""
    asked.hear("one point two bar", "no, one point three bar")
    assert spoken(asked)[-1] == ("read_back", False)


def test_what_the_program_is_not_sure_of_is_asked_with_care() -> None:
    """Alternatives that are told apart by their sound are not hurried."""
    assert spoken(play_until(story(), "co2_max").hear("twelve point one")) == [("prompt", False)]


def test_a_value_outside_its_limit_is_never_read_back_briskly() -> None:
    """A warning, and the question whether to record a value outside, keep their pace."""
    visit = play_until(story(), "co2_max").hear("ten point four percent")
    assert spoken(visit) == [("warning", False)]
    assert spoken(visit.hear("ten point four percent"))[-1] == ("read_back", False)


def test_emergency_steps_are_never_brisk(asked: Story) -> None:
    """Nothing of the emergency is hurried but the question behind it."""
    said = spoken(asked.hear("I can smell gas"))
    assert ("emergency", False) in said
    assert not any(brisk for purpose, brisk in said if purpose in ("emergency", "warning"))
