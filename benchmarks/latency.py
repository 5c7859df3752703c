"""Recordings spoken into a running visit's ear, in real time -> how long the engineer waits, and what is cut in two.

    python -m benchmarks.latency --manifest M.tsv [--clips 60] [--pause 0.8] [--no-hold] [--json out.json]

Each clip is played, block by block on the wall clock, to endpointing, listening ahead and the listeners as a live visit
has them, with the step that it answers. `--pause` puts a pause of that length (s) behind a word of each clip that has
more than one, found by aligning the clip with its transcript: a clip that arrives in two pieces was cut off.
"""

from __future__ import annotations

import argparse
import itertools
import json
import random
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from benchmarks.hearing_trials import Clip, read_manifest, truth_of
from benchmarks.steps import expectation_named
from handsfree.audio.endpointing import Endpointer
from handsfree.audio.gate import Gate
from handsfree.audio.microphone import Microphone
from handsfree.audio.utterances import LiveUtterances
from handsfree.audio.wav import read_sound
from handsfree.language import Language, load_language
from handsfree.language.unfinished import Unfinished
from handsfree.listeners.base import outcome_key
from handsfree.listeners.hearing import open_hearing
from handsfree.listeners.models import find_vosk_models
from handsfree.listeners.vosk import load_model
from handsfree.model import SAMPLE_RATE, Block, Segment
from handsfree.session import ListeningAhead
from handsfree.settings import default_settings

BLOCK = SAMPLE_RATE // 50
"""samples: 20 ms, as a microphone gives them"""
BEFORE_S, BEHIND_S = 0.8, 4.0
HISS = 2e-4
"""amplitude of the room's noise, of full scale"""
EDGE_S = 0.005
"""s of fading in and out at a pause that was put in"""


class _Player:
    """Sound on the wall clock, in the place of a microphone."""

    def __init__(self) -> None:
        self._sound = np.zeros(0, np.int16)
        self._at = 0
        self._began = time.monotonic()

    def play(self, sound: NDArray[np.float32]) -> None:
        self._sound = (np.clip(sound, -1, 1) * 32767).astype(np.int16)
        self._at = 0
        self._began = time.monotonic()

    def read(self, timeout_s: float) -> Block | None:
        if self._at >= len(self._sound):
            time.sleep(timeout_s)
            return None
        due = self._began + (self._at + BLOCK) / SAMPLE_RATE - time.monotonic()
        if due > timeout_s:
            time.sleep(timeout_s)
            return None
        time.sleep(max(due, 0.0))
        block = Block(self._sound[self._at : self._at + BLOCK], SAMPLE_RATE, self._began + self._at / SAMPLE_RATE)
        self._at += BLOCK
        return block

    @property
    def over(self) -> bool:
        return self._at >= len(self._sound)


@dataclass(frozen=True, slots=True)
class Played:
    """What came of one clip."""

    pieces: int
    right: bool
    after_pause_s: float
    """s from where the pause that ends an utterance was over, to the outcome"""
    held: bool
    """it was taken for unfinished, and its pause given more time"""


def word_ends(samples: NDArray[np.float32], transcript: str, model: Any) -> list[float]:
    """s at which each word but the last is over; empty where the clip does not align with its transcript."""
    import vosk

    recogniser = vosk.KaldiRecognizer(model, SAMPLE_RATE, json.dumps([transcript]))
    recogniser.SetWords(True)
    edge = np.random.default_rng(0).normal(0, 1e-4, SAMPLE_RATE // 5)
    sound = np.concatenate([edge, samples / max(float(np.abs(samples).max()), 1e-6) * 0.5, edge])
    recogniser.AcceptWaveform((sound * 32767).astype("<i2").tobytes())
    found = json.loads(recogniser.FinalResult()).get("result", [])
    if [w["word"] for w in found] != transcript.split():
        return []
    return [(a["end"] + b["start"]) / 2 - 0.2 for a, b in itertools.pairwise(found)]


def with_pause(samples: NDArray[np.float32], at_s: float, pause_s: float) -> NDArray[np.float32]:
    """The samples with silence put in."""
    at, fade = int(at_s * SAMPLE_RATE), int(EDGE_S * SAMPLE_RATE)
    head, tail = samples[:at].copy(), samples[at:].copy()
    head[-fade:] *= np.linspace(1, 0, len(head[-fade:]))
    tail[:fade] *= np.linspace(0, 1, len(tail[:fade]))
    return np.concatenate([head, np.zeros(int(pause_s * SAMPLE_RATE), np.float32), tail])


def in_a_room(samples: NDArray[np.float32], rng: np.random.Generator) -> NDArray[np.float32]:
    """With faint noise, and time before and behind."""
    before, behind = np.zeros(int(BEFORE_S * SAMPLE_RATE)), np.zeros(int(BEHIND_S * SAMPLE_RATE))
    sound = np.concatenate([before, samples, behind])
    return (sound + HISS * rng.standard_normal(len(sound))).astype(np.float32)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--manifest", type=Path, required=True)
    parser.add_argument("--expect", default="auto")
    parser.add_argument("--clips", type=int, default=60)
    parser.add_argument("--pause", type=float, default=0.0)
    parser.add_argument("--no-hold", action="store_true", help="do not wait longer for unfinished numbers")
    parser.add_argument("--json", type=Path)
    given = parser.parse_args()
    language = load_language()
    settings = default_settings()
    aligner = load_model(find_vosk_models(settings.model_folder)[0]) if given.pause else None
    clips = read_manifest(given.manifest, given.expect, language)
    random.Random(5).shuffle(clips)
    hearing = open_hearing(language, settings)
    hearing.wait_until_ready()
    ears = ListeningAhead(hearing, Unfinished(language))
    player = _Player()
    utterances = LiveUtterances(cast(Microphone, player), Gate(), Endpointer(), ahead=ears.begin)
    asked: list[float | None] = []

    def pause_behind(segment: Segment) -> float | None:
        asked.append(ears.pause_behind(segment))
        return asked[-1]

    if not given.no_hold:
        utterances.endpointer.hold_open = pause_behind
    found: list[Played] = []
    rng = np.random.default_rng(7)
    for clip in clips:
        if len(found) >= given.clips:
            break
        samples = read_sound(clip.path).samples
        if aligner is not None:
            ends = word_ends(samples, clip.transcript, aligner)
            if not ends:
                continue
            samples = with_pause(samples, float(rng.choice(ends)), given.pause)
        asked.clear()
        found.append(_hear(clip, in_a_room(samples, rng), player, utterances, ears, asked, language))
    ears.close()
    hearing.close()
    _print(found, given)


def _hear(
    clip: Clip,
    sound: NDArray[np.float32],
    player: _Player,
    utterances: LiveUtterances,
    ears: ListeningAhead,
    asked: list[float | None],
    language: Language,
) -> Played:
    expectation = expectation_named(clip.expect, language)
    ears.prepare(expectation)
    time.sleep(0.3)  # the prompt would be spoken meanwhile
    player.play(sound)
    pieces = 0
    after_pause = 0.0
    options = utterances.endpointer.options
    outcome = None
    while not player.over:
        segment = utterances.next(0.2)
        if not isinstance(segment, Segment):
            continue
        outcome = ears.hear(segment, expectation).outcome
        pieces += 1
        after_pause = time.monotonic() - (segment.end_s - options.post_roll_s + options.pause_s)
    right = pieces == 1 and outcome is not None and outcome_key(outcome) == outcome_key(truth_of(clip, language))
    return Played(pieces, right, after_pause, any(asked))


def _print(found: list[Played], given: argparse.Namespace) -> None:
    whole = [h for h in found if h.pieces == 1]
    row: dict[str, Any] = {
        "clips": len(found),
        "pause_s": given.pause,
        "held": not given.no_hold,
        "cut_in_pieces": sum(h.pieces > 1 for h in found),
        "not_heard": sum(h.pieces == 0 for h in found),
        "right": sum(h.right for h in found),
    }
    plain = [h.after_pause_s for h in whole if not h.held]
    row["given_more_time"] = sum(h.held for h in found)
    row["after_pause_s"] = {f"p{q}": round(float(np.percentile(plain, q)), 2) for q in (50, 90, 95)} if plain else None
    if given.json:
        given.json.write_text(json.dumps(row) + "\n")
    print(
        f"{row['clips']} clips, pause inside {given.pause:g} s, unfinished ones held: {'yes' if row['held'] else 'no'}"
    )
    print(f"  cut in pieces {row['cut_in_pieces']}, not heard {row['not_heard']}, right {row['right']}")
    print(f"  given more time {row['given_more_time']}")
    print(
        f"  the others: s from the end of the pause of {Endpointer().options.pause_s:g} s to the outcome: {row['after_pause_s']}"
    )


if __name__ == "__main__":
    main()
