"""Recordings with their words in, what every listener made of them in every condition out: to be counted, and kept."""

from __future__ import annotations

import csv
import json
import random
import time
import zlib
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import asdict, dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.conditions import degraded
from benchmarks.steps import expectation_named
from handsfree.audio.wav import read_sound
from handsfree.language import Language, load_language
from handsfree.listeners.base import Candidate, Opinion
from handsfree.listeners.hearing import Hearing, open_hearing
from handsfree.model import (
    SAMPLE_RATE,
    Command,
    Nothing,
    Outcome,
    Segment,
    Text,
    Unsure,
    outcome_from_json,
    outcome_to_json,
)
from handsfree.settings import default_settings

PAD_S = 0.15
"""s of silence on both sides, as the endpointer leaves it"""
NOT_FOR_US = ("talk", "near", "chatter")
"""Parts that begin so are talk, whatever their words would mean to the language: nothing may be accepted."""
GUESSED = ("digits", "number", "letters", "date", "any")
"""Kinds that a clip without an expectation is tried with, in this order."""
UNGUESSED = ("yes_no", "digits", "number", "any")


@dataclass(frozen=True, slots=True)
class Clip:
    """One line of a manifest."""

    path: Path
    name: str
    transcript: str
    expect: str
    part: str
    speaker: str


@dataclass(frozen=True, slots=True)
class Trial:
    """One clip in one condition."""

    path: str
    part: str
    speaker: str
    condition: str
    transcript: str
    expect: str
    truth: Outcome
    opinions: tuple[Opinion, ...]
    seconds: float
    """s of sound"""
    waited: float
    """s from the whole segment to the opinions"""


def read_manifest(path: Path, expect: str, language: Language) -> list[Clip]:
    """The clips of a manifest with the columns path and transcript (or words), and optionally expect, part and
    speaker (or voice).

    Args:
        path: tab separated.
        expect: for clips without a column of that name; "auto" takes what their words are an answer to.
        language: for "auto".
    """
    clips = []
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE):
            words = row.get("transcript") or row.get("words") or ""
            part = row.get("part") or row["path"].split("/")[0]
            speaker = row.get("speaker") or row.get("voice") or ""
            expected = row.get("expect") or expect
            if expected == "auto":
                expected = _guessed(words, language, row["path"])
            clips.append(Clip(path.parent / row["path"], row["path"], words, expected, part, speaker))
    return clips


def _guessed(words: str, language: Language, name: str) -> str:
    """The kind of step that the words would answer; for words that answer none, any kind, by chance."""
    if any(letter.isdigit() for letter in words):
        return "any"
    for kind in GUESSED:
        outcome = language.understand(words, expectation_named(kind, language))
        if isinstance(outcome, Command) and not outcome.readings:
            return "yes_no"
        if not isinstance(outcome, Unsure | Nothing) and (kind != "digits" or _is_digit_by_digit(words, language)):
            return kind
    return random.Random(name).choice(UNGUESSED)


def _is_digit_by_digit(words: str, language: Language) -> bool:
    """Whether it is several digits, each a word; "forty two" is a number."""
    each = [language.understand(word, expectation_named("digits", language)) for word in words.split()]
    return len(each) > 1 and all(isinstance(o, Text) and len(o.text) == 1 for o in each)


def truth_of(clip: Clip, language: Language) -> Outcome:
    """What should come out."""
    if clip.part.startswith(NOT_FOR_US):
        return Nothing("talk")
    return language.understand(clip.transcript, expectation_named(clip.expect, language))


def try_clip(hearing: Hearing, language: Language, clip: Clip, condition: str, noise: Path | None) -> Trial:
    """Listen to one clip. The noise depends on clip and condition alone, not on what was listened to before."""
    silence = np.zeros(int(PAD_S * SAMPLE_RATE), np.float32)
    samples = np.concatenate([silence, read_sound(clip.path).samples, silence])
    rng = np.random.default_rng(zlib.crc32(f"{clip.name} {condition}".encode()))
    samples = degraded(samples, condition, rng, noise)
    began = time.perf_counter()
    segment = Segment(samples, 0.0, len(samples) / SAMPLE_RATE)
    opinions = hearing.opinions(segment, expectation_named(clip.expect, language))
    waited = time.perf_counter() - began
    return Trial(
        path=clip.name,
        part=clip.part,
        speaker=clip.speaker,
        condition=condition,
        transcript=clip.transcript,
        expect=clip.expect,
        truth=truth_of(clip, language),
        opinions=tuple(opinions),
        seconds=len(samples) / SAMPLE_RATE,
        waited=waited,
    )


def listen(
    work: Sequence[tuple[Clip, str]],
    listeners: Sequence[str] | None = None,
    noise: Path | None = None,
    jobs: int = 1,
    minutes: float | None = None,
) -> Iterator[Trial]:
    """Every clip in its condition, in the order in which they are done.

    Args:
        work: clips and conditions.
        listeners: names; by default those of the product.
        noise: folder of recorded noise, for conditions that need one.
        jobs: processes; each has all listeners, one thread a listener.
        minutes: begin nothing new after so long.
    """
    language = load_language()
    hearing = open_hearing(language, default_settings(), listeners)
    hearing.wait_until_ready()  # what is made at first use is made once, not by every process
    until = time.monotonic() + 60 * (minutes or 1e9)
    if jobs == 1:
        for clip, condition in work:
            if time.monotonic() > until:
                break
            yield try_clip(hearing, language, clip, condition, noise)
        hearing.close()
        return
    hearing.close()
    with ProcessPoolExecutor(jobs, get_context("spawn"), _open_here, (listeners, noise)) as pool:
        waiting: set[Future[str]] = set()
        for clip, condition in work:
            if time.monotonic() > until:
                break
            waiting.add(pool.submit(_try_here, clip, condition))
            if len(waiting) >= 3 * jobs:
                done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                yield from (trial_from_json(json.loads(f.result())) for f in done)
        for future in waiting:
            yield trial_from_json(json.loads(future.result()))


_HERE: dict[str, Any] = {}
"""What a process of `listen` has open."""


def _open_here(listeners: Sequence[str] | None, noise: Path | None) -> None:
    language = load_language()
    _HERE.update(language=language, noise=noise, hearing=open_hearing(language, default_settings(), listeners))


def _try_here(clip: Clip, condition: str) -> str:
    trial = try_clip(_HERE["hearing"], _HERE["language"], clip, condition, _HERE["noise"])
    return json.dumps(trial_to_json(trial))


# ------------------------------------------------------------------------------------------------ keeping


def trial_to_json(trial: Trial) -> dict[str, Any]:
    """A trial as one line of a file of opinions."""
    row = asdict(replace(trial, opinions=(), truth=Nothing()))
    row["truth"] = outcome_to_json(trial.truth)
    row["opinions"] = [
        {
            **{k: getattr(o, k) for k in ("listener", "free_words", "free_score", "refused", "seconds")},
            "scores": dict(o.scores),
            "values": [
                {
                    "words": v.words,
                    "outcome": outcome_to_json(v.outcome),
                    "score": v.score,
                    "plausibility": v.plausibility,
                }
                for v in o.values
            ],
        }
        for o in trial.opinions
    ]
    return row


def trial_from_json(row: dict[str, Any]) -> Trial:
    """The inverse of `trial_to_json`."""
    opinions = []
    for o in row["opinions"]:
        values = tuple(
            Candidate(v["words"], outcome_from_json(v["outcome"]), v["score"], v.get("plausibility", 0.0))
            for v in o["values"]
        )
        opinions.append(Opinion(**{**o, "values": values}))
    return Trial(**{"speaker": "", **row, "truth": outcome_from_json(row["truth"]), "opinions": tuple(opinions)})


def load_trials(paths: Sequence[Path]) -> list[Trial]:
    """Everything kept in files of opinions; of two lines for one clip in one condition the later counts."""
    kept: dict[tuple[str, str, str, str], Trial] = {}
    for path in paths:
        with path.open(encoding="utf-8") as lines:
            for line in lines:
                trial = trial_from_json(json.loads(line))
                kept[path.stem, trial.path, trial.condition, trial.expect] = trial
    return list(kept.values())
