"""Recordings with a pause put in behind a word -> which of them the endpointing cuts in two, and what the waiting costs.

    python -m benchmarks.pauses --manifest M.tsv [--pause 0.8] [--count 400] [--save rows.jsonl] [--json out.json]

Clips that answer with a value are used, each at several of its word boundaries; the boundary is found by aligning the clip
with its transcript and moved to the quietest spot nearby. The sound goes through endpointing and listeners as a recording
given to a visit does: the listeners are asked within the pause, and no clock runs, so that a run gives the same counts on
every machine. `benchmarks.latency` does the same live.
"""

from __future__ import annotations

import argparse
import json
import random
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchmarks.hearing_counts import wilson
from benchmarks.hearing_trials import Clip, read_manifest, truth_of
from benchmarks.latency import BEFORE_S, in_a_room, with_pause, word_ends
from benchmarks.steps import expectation_named
from handsfree.audio.endpointing import EndpointOptions, segments_of
from handsfree.audio.wav import read_sound
from handsfree.language import Language, load_language
from handsfree.language.unfinished import Unfinished
from handsfree.listeners.base import outcome_key
from handsfree.listeners.hearing import Hearing, open_hearing
from handsfree.listeners.models import find_vosk_models
from handsfree.listeners.vosk import load_model
from handsfree.model import SAMPLE_RATE, Command, Expectation, Heard, Nothing, Outcome, Readings, Segment, Text, Unsure
from handsfree.session import ListeningAhead
from handsfree.settings import default_settings

NEARBY_S = 0.06
"""s to each side of a boundary in which the quietest spot is looked for"""


@dataclass(frozen=True, slots=True)
class Paused:
    """What came of one clip with a pause in it."""

    path: str
    expect: str
    transcript: str
    first: str
    """the words before the pause"""
    place: str
    """of the pause: in the number, before it, or behind it (what is left out then does not change the value)"""
    stands: bool
    """the words before the pause are an answer by themselves"""
    pieces: int
    right: bool
    """it came out in one piece, as the value that was said"""
    waits_s: tuple[float, ...]
    """the silence that would have ended it, each time that the listeners were asked; the last one behind the whole answer"""
    heard: tuple[tuple[str, ...], ...]
    """free words of every listener, for each time that the listeners were asked"""


class _Remembering:
    """The listeners, and what they heard."""

    def __init__(self, hearing: Hearing) -> None:
        self._hearing = hearing
        self.heard: list[Heard] = []

    def prepare(self, expectation: Expectation) -> None:
        self._hearing.prepare(expectation)

    def hear(self, segment: Segment, expectation: Expectation) -> Heard:
        self.heard.append(self._hearing.hear(segment, expectation))
        return self.heard[-1]


def places(clip: Clip, language: Language) -> list[tuple[int, str]]:
    """Word boundaries of a clip that answers with a value, each with where it lies: index of the word behind it, place."""
    whole = _values(truth_of(clip, language))
    if not whole:
        return []
    words = clip.transcript.split()
    expectation = expectation_named(clip.expect, language)

    def gives_it(some: Sequence[str]) -> bool:
        return _values(language.understand(" ".join(some), expectation)) == whole

    begun = max(k for k in range(len(words)) if k == 0 or gives_it(words[k:]))
    complete = next((k for k in range(1, len(words)) if gives_it(words[:k])), len(words))
    return [(k, "behind" if k >= complete else "before" if k <= begun else "number") for k in range(1, len(words))]


def _values(outcome: Outcome) -> list[Decimal | str]:
    """The numbers, or the text, that an outcome gives."""
    match outcome:
        case Readings(readings) | Command(readings=readings):
            return [r.value for r in readings]
        case Text(text):
            return [text]
    return []


def quietest(samples: NDArray[np.float32], at_s: float) -> float:
    """The quietest spot (s) near `at_s`, by the energy of 10 ms."""
    window = SAMPLE_RATE // 100
    energy = np.convolve(samples**2, np.ones(window), "same")
    low = max(int((at_s - NEARBY_S) * SAMPLE_RATE), window)
    high = min(int((at_s + NEARBY_S) * SAMPLE_RATE), len(samples) - window)
    return at_s if high <= low else float(low + np.argmin(energy[low:high])) / SAMPLE_RATE


def stands(words: str, expectation: Expectation, language: Language) -> bool:
    """Whether the words are an answer by themselves."""
    return not isinstance(language.understand(words, expectation), Unsure | Nothing)


def paused(clips: Sequence[Clip], given: argparse.Namespace, language: Language) -> Iterator[Paused]:
    """Listen to as many clips with a pause as are asked for, in an order that is always the same."""
    settings = default_settings()
    aligner = load_model(find_vosk_models(settings.model_folder)[0])
    work = [(clip, k, place) for clip in clips for k, place in places(clip, language) if place in given.place]
    random.Random(5).shuffle(work)
    hearing = open_hearing(language, settings)
    hearing.wait_until_ready()
    ears = _Remembering(hearing)
    ahead = ListeningAhead(ears, Unfinished(language))
    done = 0
    for clip, k, place in work:
        if done == given.count:
            break
        samples = read_sound(clip.path).samples
        ends = word_ends(samples, clip.transcript, aligner)
        if not ends:
            continue
        done += 1
        at_s = quietest(samples, ends[k - 1])
        sound = in_a_room(with_pause(samples, at_s, given.pause), np.random.default_rng(done))
        over_s = BEFORE_S + at_s + given.pause + NEARBY_S if given.cuts_only else len(sound) / SAMPLE_RATE
        yield _listen(clip, k, place, sound, ears, ahead, language, hold=not given.no_hold, until_s=over_s)
    ahead.close()
    hearing.close()


def _listen(
    clip: Clip,
    k: int,
    place: str,
    sound: NDArray[np.float32],
    ears: _Remembering,
    ahead: ListeningAhead,
    language: Language,
    *,
    hold: bool,
    until_s: float,
) -> Paused:
    """Listen to one clip; what ends later than `until_s` is not listened to any more."""
    expectation = expectation_named(clip.expect, language)
    ahead.prepare(expectation)
    ears.heard.clear()
    answers: list[float] = []

    def pause_behind(segment: Segment) -> float:
        if segment.end_s > until_s:
            return 0.0
        answers.append(ahead.pause_behind_known(segment))
        return answers[-1] if hold else 0.0

    outcomes: list[Outcome] = []
    for segment in segments_of(sound, hold_open=pause_behind):
        if segment.end_s > until_s:
            outcomes.append(Nothing("not listened to"))
            break
        outcomes.append(ahead.hear(segment, expectation).outcome)
    first = " ".join(clip.transcript.split()[:k])
    return Paused(
        path=clip.name,
        expect=clip.expect,
        transcript=clip.transcript,
        first=first,
        place=place,
        stands=stands(first, expectation, language),
        pieces=len(outcomes),
        right=len(outcomes) == 1 and outcome_key(outcomes[0]) == outcome_key(truth_of(clip, language)),
        waits_s=tuple(answers),
        heard=tuple(h.free_words for h in ears.heard),
    )


def counted(rows: Sequence[Paused], *, cuts_only: bool = False) -> dict[str, Any]:
    """The counts, of all and of each kind of first half."""

    def behind(kept: Sequence[Paused]) -> dict[float, int]:
        return dict(Counter(r.waits_s[-1] or EndpointOptions().pause_s for r in kept if r.waits_s))

    def of(kept: Sequence[Paused]) -> dict[str, Any]:
        cut = sum(r.pieces > 1 for r in kept)
        whole = [r for r in kept if r.pieces == 1]
        return {
            "clips": len(kept),
            "cut": cut,
            "cut_95": [round(x, 4) for x in wilson(cut, len(kept))] if kept else None,
            "not_heard": sum(r.pieces == 0 for r in kept),
            **({} if cuts_only else {"right_of_whole": sum(r.right for r in whole), "pause_behind_it": behind(whole)}),
        }

    table = {"all": of(rows)}
    for name, value in (("unfinished by grammar", False), ("first half stands by itself", True)):
        table[name] = of([r for r in rows if r.stands == value])
    for place in sorted({r.place for r in rows}):
        table[f"pause {place}"] = of([r for r in rows if r.place == place])
    return table


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--manifest", type=Path, required=True)
    parser.add_argument("--expect", default="auto")
    parser.add_argument("--count", type=int, default=400)
    parser.add_argument("--pause", type=float, default=0.8)
    parser.add_argument("--place", nargs="*", default=["number"], help="of: number, before, behind")
    parser.add_argument("--no-hold", action="store_true", help="do not wait longer for unfinished numbers")
    parser.add_argument("--cuts-only", action="store_true", help="do not listen to the whole: a third of the time")
    parser.add_argument("--save", type=Path)
    parser.add_argument("--json", type=Path)
    given = parser.parse_args()
    language = load_language()
    rows = []
    for row in paused(read_manifest(given.manifest, given.expect, language), given, language):
        rows.append(row)
        if given.save:
            with given.save.open("a", encoding="utf-8") as file:
                file.write(json.dumps(asdict(row)) + "\n")
    table = counted(rows, cuts_only=given.cuts_only)
    print(f"pause of {given.pause:g} s inside")
    for name, count in table.items():
        print(f"  {name:28} {count}")
    for step, number in Counter(r.expect for r in rows if r.pieces > 1).most_common():
        firsts = [f"{r.first} | {r.transcript[len(r.first) + 1 :]}" for r in rows if r.pieces > 1 and r.expect == step]
        print(f"  cut {number:3} {step}: {firsts[:8]}")
    if given.json:
        given.json.write_text(json.dumps(table, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
