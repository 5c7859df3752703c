"""Prompts and read-backs of plans, as the visit speaks them, in noise -> how many numbers come back right from the listeners.

    python benchmarks/read_backs.py [--plan NAME ...] [--way NAME ...] [--condition C ...] [--count N] [--seed N] [--cache FOLDER] [--json]

Every measured item of the plans gets a value of four digits and one of its usual digits, drawn by chance. Its prompt and
its read-back are rendered by the system's voice in three ways, put into noise by its power (`conditions.py` names the
conditions), and given to moonshine and whisper, which write down what they hear without a grammar. A read-back is right
when its number words are those that were spoken, no more and no fewer; a word of a prompt, when it stands in what was
written.

    before    what holds a number at the careful pace, what holds none a third faster, as the synthesiser renders it
    again     all at the careful pace, made clearer: what is said again
    visit     made clearer, at the paces of the visit: what is said first

The listeners stand in for an ear that nobody has asked: they say whether the numbers got harder to hear, not how hard
they are for an engineer.
"""

from __future__ import annotations

import argparse
import json
import random
import re
import statistics
import sys
import tempfile
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

import numpy as np
import soxr
from dialogue_story import language, plan_named
from numpy.typing import NDArray

from benchmarks.conditions import degraded
from benchmarks.spoken_time import four_digits, read_back_of, usual_digits
from handsfree.dialogue.wording import holds_number
from handsfree.errors import MissingPart
from handsfree.listeners.hearing import Hearing, open_hearing
from handsfree.model import SAMPLE_RATE, Expectation, Segment
from handsfree.plans.plan import Item
from handsfree.settings import default_settings
from handsfree.voice.clarity import clearer
from handsfree.voice.spoken import USUAL, pace_of
from handsfree.voice.synthesis import Rendered, Shape, Synthesiser

LISTENERS = ("whisper", "moonshine")
PAD_S = 0.15
"""s of silence on both sides, as the endpointer leaves it"""


@dataclass(frozen=True, slots=True)
class Way:
    """One way of speaking."""

    name: str
    pace: Callable[[str], int]
    """sentence -> words a minute"""
    shape: Shape


WAYS = (
    Way("before", lambda text: USUAL if holds_number(text) else round(1.35 * USUAL), lambda samples, rate: samples),
    Way("again", lambda text: USUAL, clearer),
    Way("visit", lambda text: pace_of(text, USUAL, brisk=True), clearer),
)


def sentences(plans: Sequence[str], count: int, rng: random.Random) -> tuple[list[str], list[str]]:
    """Prompts and read-backs, each once, at most `count` of either."""
    items = [i for name in plans for i in plan_named(name).items() if i.expect.kind == "quantity"]
    prompts = list(dict.fromkeys(item.prompt for item in items))
    read_backs = list(dict.fromkeys(text for item in items for text in _read_backs(item, rng)))
    return [rng.sample(row, min(count, len(row))) for row in (prompts, read_backs)]  # type: ignore[return-value]


def _read_backs(item: Item, rng: random.Random) -> Iterator[str]:
    for value in (four_digits(item), usual_digits(item)):
        whole, dot, part = format(value, "f").partition(".")
        drawn = "".join(rng.choice("0123456789") for _ in part or whole[1:])
        yield read_back_of(item, type(value)(f"{whole}{dot}{drawn}" if part else f"{whole[0]}{drawn}"))


def number_words(text: str) -> list[str]:
    """The words of a sentence that make its number; the two of C O two is none."""
    words = re.findall(r"[a-z]+|\d+", re.sub(r"\bc o (two|to)\b", "", text.lower()))
    return [w for w in words if w == "point" or holds_number(w)]


def prompt_words(prompt: str, written: str) -> tuple[int, int]:
    """How many words of a prompt stand in what was written, and how many it has."""
    left = re.findall(r"[a-z]+", written.lower())
    wanted = re.findall(r"[a-z]+", prompt.lower())
    found = 0
    for word in wanted:
        if word in left:
            left.remove(word)
            found += 1
    return found, len(wanted)


def spoken(synthesiser: Synthesiser, text: str, way: Way) -> NDArray[np.float32]:
    """A sentence as sound at the listeners' rate.

    Raises:
        MissingPart: there is no system voice.
    """
    rendered = synthesiser.render(text, way.pace(text))
    if not isinstance(rendered, Rendered):
        raise MissingPart(f"nothing can be rendered: {rendered.reason}", "install espeak-ng")
    return np.asarray(soxr.resample(rendered.samples, rendered.rate, SAMPLE_RATE), np.float32)


def written(hearing: Hearing, samples: NDArray[np.float32], condition: str, seed: int) -> dict[str, str]:
    """What each listener writes down of a sentence in noise."""
    pad = np.zeros(round(PAD_S * SAMPLE_RATE), np.float32)
    noisy = degraded(np.concatenate([pad, samples, pad]), condition, np.random.default_rng(seed))
    segment = Segment(noisy, 0.0, len(noisy) / SAMPLE_RATE)
    return {
        o.listener: o.free_words for o in hearing.opinions(segment, Expectation("yes_no")) if o.listener in LISTENERS
    }


def measure(way: Way, prompts: list[str], read_backs: list[str], conditions: list[str], cache: Path) -> dict[str, Any]:
    """One row of the table."""
    synthesiser = Synthesiser(cache, shape=way.shape)
    hearing = open_hearing(language(), default_settings(), LISTENERS)
    row: dict[str, Any] = {"way": way.name, "read_backs": len(read_backs), "right": {}, "prompt_words": {}}
    sounds = {text: spoken(synthesiser, text, way) for text in [*prompts, *read_backs]}
    for what, texts in (("read_back_s", read_backs), ("prompt_s", prompts)):
        row[what] = statistics.median(len(sounds[t]) / SAMPLE_RATE for t in texts)
    for condition in conditions:
        right = dict.fromkeys(LISTENERS, 0)
        words = dict.fromkeys(LISTENERS, (0, 0))
        for text in read_backs:
            for name, words_heard in written(hearing, sounds[text], condition, _seed(text, condition)).items():
                right[name] += number_words(words_heard) == number_words(text)
        for text in prompts:
            for name, words_heard in written(hearing, sounds[text], condition, _seed(text, condition)).items():
                found, wanted = prompt_words(text, words_heard)
                words[name] = words[name][0] + found, words[name][1] + wanted
        row["right"][condition] = right
        row["prompt_words"][condition] = {name: found / max(wanted, 1) for name, (found, wanted) in words.items()}
    hearing.close()
    synthesiser.close()
    return row


def _seed(text: str, condition: str) -> int:
    return zlib.crc32(f"{condition} {text}".encode())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--plan", action="append", default=[])
    parser.add_argument("--way", action="append", choices=[way.name for way in WAYS], default=[])
    parser.add_argument("--condition", action="append", default=[])
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "handsfree-spoken-time")
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    conditions = given.condition or ["pink:10"]
    prompts, read_backs = sentences(given.plan or ["service", "commissioning"], given.count, random.Random(given.seed))
    for way in (way for way in WAYS if not given.way or way.name in given.way):
        row = measure(way, prompts, read_backs, conditions, given.cache)
        print(json.dumps(row) if given.json else as_line(row), flush=True)


def as_line(row: dict[str, Any]) -> str:
    cells = [f"{row['way']:8} read-back {row['read_back_s']:.2f} s, prompt {row['prompt_s']:.2f} s"]
    for condition, right in row["right"].items():
        heard = ", ".join(f"{name} {n}/{row['read_backs']}" for name, n in right.items())
        words = ", ".join(f"{share:.0%}" for share in row["prompt_words"][condition].values())
        cells.append(f"{condition}: numbers right {heard}; words of prompts {words}")
    return " | ".join(cells)


if __name__ == "__main__":
    main()
