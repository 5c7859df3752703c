"""Where the pause benchmark puts its pauses, and what it counts; no speech model runs here."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from benchmarks.hearing_trials import Clip
from benchmarks.pauses import Paused, counted, places, quietest
from handsfree.language import load_language
from handsfree.model import SAMPLE_RATE

LANGUAGE = load_language()


def clip(words: str, expect: str, part: str = "reading") -> Clip:
    return Clip(Path("a.flac"), "a.flac", words, expect, part, "s1")


@pytest.mark.parametrize(
    ("words", "expect", "inside"),
    [
        ("c o two nine point two percent", "co2", ["c o two nine", "c o two nine point"]),
        ("two hundred and four parts per million", "co", ["two", "two hundred", "two hundred and"]),
        ("four eight one", "digits", ["four", "four eight"]),
        ("carry on", "co2", []),
    ],
)
def test_a_pause_in_the_number_changes_the_value_when_the_rest_is_lost(
    words: str, expect: str, inside: list[str]
) -> None:
    """Before the number nothing was said of it yet, and behind its last figure the value stands."""
    found = places(clip(words, expect), LANGUAGE)
    assert [" ".join(words.split()[:k]) for k, place in found if place == "number"] == inside


def test_talk_has_no_place_for_a_pause() -> None:
    """A number in talk is no answer."""
    assert not places(clip("nine point two percent", "co2", "talk"), LANGUAGE)


def test_the_pause_goes_to_the_quietest_spot_near_the_boundary() -> None:
    """Noise with 20 ms of silence 40 ms behind the boundary is cut there."""
    sound = np.random.default_rng(1).normal(0, 0.1, SAMPLE_RATE).astype(np.float32)
    sound[int(0.53 * SAMPLE_RATE) : int(0.55 * SAMPLE_RATE)] = 0
    assert quietest(sound, 0.5) == pytest.approx(0.54, abs=0.006)


def test_an_utterance_in_two_pieces_is_counted_as_cut_where_it_belongs() -> None:
    """Cuts are told apart by whether the words before the pause are an answer by themselves."""
    row = {"path": "a", "expect": "co2", "transcript": "nine point two", "place": "number", "right": True, "heard": ()}
    whole = Paused(first="nine point", stands=False, pieces=1, waits_s=(1.3, 0.0), **row)
    cut = Paused(first="nine", stands=True, pieces=2, waits_s=(0.0,), **row)
    table = counted([whole, whole, cut])
    assert (table["all"]["clips"], table["all"]["cut"]) == (3, 1)
    assert table["unfinished by grammar"]["cut"] == 0
    assert table["first half stands by itself"]["cut"] == 1
    assert table["all"]["pause_behind_it"] == {0.5: 2}
