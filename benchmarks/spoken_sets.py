"""The product's own grammar in, spoken sets for tuning and for evaluation out: sound, words, and what the step expects.

    python -m benchmarks.spoken_sets --set tune --count 400 --parts KOKORO --out FOLDER/tune
    python -m benchmarks.spoken_sets --set gates --count 480 --parts KOKORO --out FOLDER/gates
    python -m benchmarks.spoken_sets --set eval --count 800 --parts KOKORO --out FOLDER/eval

KOKORO holds the packages that `audio_fixtures/make.py` names; pico2wave (Debian, libttspico-utils) speaks the voices
pico_gb and pico_us. The folder gets flac files and manifest.tsv (path, transcript, expect, part, voice) as they come;
what is there already is kept, and a larger count continues a smaller one. The voices of "gates"
are those of other languages, in no training of any listener: what gates are chosen on must be strange to all listeners.
The set for evaluation is listened to at the end and chooses nothing; its voices are in no training and no tuning.
"""

from __future__ import annotations

import argparse
import csv
import importlib.util
import random
import subprocess
import tempfile
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from types import ModuleType

import numpy as np
import soundfile
from numpy.typing import NDArray

from benchmarks.round_trip import digits, variants
from benchmarks.steps import expectation_named, plan_items
from handsfree.language import Language, load_language
from handsfree.model import Command, Nothing, Readings, Text, Unsure

HERE = Path(__file__).parent
VOICES = {
    "tune": ("bf_isabella", "bm_fable", "af_sky", "am_onyx"),
    "gates": (
        "em_santa",
        "jf_gongitsune",
        "jf_nezumi",
        "jf_tebukuro",
        "pm_santa",
        "zf_xiaoxiao",
        "zf_xiaoyi",
        "zm_yunxia",
    ),
    "eval": ("bf_lily", "bm_daniel", "bm_lewis", "af_nova", "am_eric", "am_michael", "pico_gb", "pico_us"),
}
SEEDS = {"tune": 51, "eval": 52, "gates": 53}
SHARES = {
    "reading": 26,
    "number": 10,
    "digits": 13,
    "dates": 5,
    "answers": 6,
    "commands": 13,
    "corrections": 3,
    "urgent": 7,
    "talk": 11,
    "near": 6,
}
"""Part -> utterances of a hundred."""
USUAL_COMMANDS = ("yes", "no", "yes", "no", "done", "hold", "repeat", "mark", "go back", "go on", "carry on", "later")
QUESTIONS = ("yes_no", "any", "digits")
MANIFEST = ("path", "transcript", "expect", "part", "voice")


@dataclass(frozen=True, slots=True)
class Line:
    """One utterance to speak."""

    words: str
    """lower case, as in the grammar"""
    expect: str
    part: str


class Script:
    """Utterances of one set, by number: the same number is always the same utterance.

    Args:
        name: tune, gates or eval.
        language: whose grammar.
    """

    def __init__(self, name: str, language: Language) -> None:
        self._name, self._language = name, language
        self._items = [i for i in plan_items() if i.kind == "quantity"]
        self._choices = [i for i in plan_items() if i.kind in ("choice", "state")]
        order = [part for part, share in SHARES.items() for _ in range(share)]
        random.Random(SEEDS[name]).shuffle(order)
        self._order = order
        talk = tomllib.loads((HERE / "talk.toml").read_text(encoding="utf-8"))
        half = 1 if name == "eval" else 0
        self._talk = self._shuffled([*talk["people"][half::2], *talk["radio"][half::2]])
        self._near = self._shuffled(talk["near"][half::2])
        commands = language.grammar.commands
        self._urgent = self._shuffled([p for c in commands if c.emergency for p in c.phrases])
        self._commands = self._shuffled([p for c in commands if not c.emergency for p in c.phrases])

    def line(self, number: int) -> Line:
        """Utterance `number`, counted from 0."""
        turn, place = divmod(number, len(self._order))
        part = self._order[place]
        nth = turn * SHARES[part] + self._order[:place].count(part)
        rng = random.Random(f"{self._name} {SEEDS[self._name]} {number}")
        make: Callable[[random.Random, int], tuple[str, str]] = getattr(self, f"_{part}_line")
        words, expect = make(rng, nth)
        return Line(words, expect, part)

    def voice(self, number: int) -> str:
        return random.Random(f"voice {self._name} {number}").choice(VOICES[self._name])

    def speed(self, number: int) -> float:
        return round(random.Random(f"speed {self._name} {number}").uniform(0.85, 1.2), 2)

    def _shuffled(self, lines: Sequence[str]) -> list[str]:
        return random.Random(SEEDS[self._name]).sample(list(lines), len(lines))

    # ------------------------------------------------------------------------------------ parts

    def _reading_line(self, rng: random.Random, nth: int) -> tuple[str, str]:
        """Quantity, number and unit, or number and unit, in answer to an item of a plan."""
        return self._value(rng, named=rng.random() < 0.5, unit=rng.random() < 0.85)

    def _number_line(self, rng: random.Random, nth: int) -> tuple[str, str]:
        return self._value(rng, named=False, unit=False)

    def _value(self, rng: random.Random, *, named: bool, unit: bool) -> tuple[str, str]:
        while True:
            item = rng.choice(self._items)
            quantity = self._language.quantities[item.quantity]
            low, high = quantity.typical()
            places = rng.randint(0, quantity.decimals)
            steps = int((min(high, Decimal(99999)) - low) * 10**places)
            value = (low + Decimal(rng.randint(0, max(steps, 0))).scaleb(-places)).quantize(Decimal(1).scaleb(-places))
            words = rng.choice(list(variants(value, rng))).words
            measured_in = self._language.grammar.units.by_id.get(quantity.unit)
            if unit and measured_in is not None:
                words += f" {rng.choice(measured_in.names)}"
            if named:
                words = f"{rng.choice(quantity.names)} {rng.choice(('', '', 'is ', 'reads '))}{words}"
            outcome = self._language.understand(words, expectation_named(item.name, self._language))
            if isinstance(outcome, Readings) and outcome.readings[0].value == value and self._fits(words, item.name):
                return words, item.name

    def _digits_line(self, rng: random.Random, nth: int) -> tuple[str, str]:
        """Four to eight digits, or the index of a meter with its point."""
        meter = nth % 3 == 2
        count = rng.randint(4, 8)
        text = "".join(rng.choice("0123456789") for _ in range(count))
        while True:
            words = digits(text, rng)
            if meter:
                behind = "".join(rng.choice("0123456789") for _ in range(3))
                words = f"{digits(text[:5], rng)} point {digits(behind, rng)}"
            expect = "meter_index" if meter else "digits"
            if self._fits(words, expect) and self._means(words, expect, Readings if meter else Text):
                return words, expect

    def _dates_line(self, rng: random.Random, nth: int) -> tuple[str, str]:
        kind = ("date", "date", "serial")[nth % 3]
        while True:
            words, outcome = self._language.sample(rng, expectation_named(kind, self._language))
            if isinstance(outcome, Text) and len(outcome.text) >= 5 and len(words.split()) <= 9:
                return words, kind

    def _answers_line(self, rng: random.Random, nth: int) -> tuple[str, str]:
        while True:
            item = rng.choice(self._choices)
            words = rng.choice([p for phrases in item.phrases.values() for p in phrases])
            if self._fits(words, item.name) and self._means(words, item.name, (Text, Command)):
                return words, item.name

    def _commands_line(self, rng: random.Random, nth: int) -> tuple[str, str]:
        words = rng.choice(USUAL_COMMANDS) if nth % 2 else self._commands[nth // 2 % len(self._commands)]
        return words, self._step(rng)

    def _corrections_line(self, rng: random.Random, nth: int) -> tuple[str, str]:
        while True:
            words, step = self._value(rng, named=False, unit=rng.random() < 0.5)
            words = f"{rng.choice(('no', 'no', 'yes', 'sorry', 'correction'))} {words}"
            if self._fits(words, step) and self._means(words, step, Command):
                return words, step

    def _urgent_line(self, rng: random.Random, nth: int) -> tuple[str, str]:
        return self._urgent[nth % len(self._urgent)], self._step(rng)

    def _talk_line(self, rng: random.Random, nth: int) -> tuple[str, str]:
        return self._talk[nth % len(self._talk)].lower(), self._step(rng)

    def _near_line(self, rng: random.Random, nth: int) -> tuple[str, str]:
        return self._near[nth % len(self._near)], self._step(rng)

    def _step(self, rng: random.Random) -> str:
        return rng.choice(QUESTIONS) if rng.random() < 0.5 else rng.choice(self._items).name

    def _means(self, words: str, expect: str, kind: type | tuple[type, ...]) -> bool:
        return isinstance(self._language.understand(words, expectation_named(expect, self._language)), kind)

    def _fits(self, words: str, expect: str) -> bool:
        """Whether the grammar that the listeners search has the sentence."""
        automaton = self._language.automaton(expectation_named(expect, self._language))
        state = automaton.start
        for word in words.split():
            arcs = automaton.arcs(state)
            if word not in arcs:
                return False
            state = arcs[word]
        return automaton.final(state)


# --------------------------------------------------------------------------------------------- speaking


class Speakers:
    """The voices, loaded when first used."""

    def __init__(self, parts: Path) -> None:
        self._parts = parts
        self._kokoro: dict[str, object] = {}

    def say(self, line: Line, voice: str, speed: float) -> NDArray[np.float64]:
        """16 kHz mono, peak 0.4, with 0.15 s before and 0.25 s after."""
        words = spelled(line.words, has_articles=line.expect != "serial")
        if voice.startswith("pico"):
            return _pico(words, "en-GB" if voice.endswith("gb") else "en-US")
        make = _fixture_maker()
        if not self._kokoro:
            self._kokoro["voices"] = make.Voices(self._parts, kept_out=frozenset())
        sound: NDArray[np.float64] = self._kokoro["voices"].say(words, voice, speed)  # type: ignore[attr-defined]
        return sound


def spelled(words: str, *, has_articles: bool = True) -> str:
    """Letters as capitals, so that they are spelled; an "a" before a word stays an article."""
    given = words.split()
    return " ".join(
        w if len(w) > 1 or (w == "a" and has_articles and len(after) > 1) else w.upper()
        for w, after in zip(given, [*given[1:], ""], strict=True)
    )


def _pico(words: str, accent: str) -> NDArray[np.float64]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "said.wav"
        subprocess.run(["pico2wave", "-l", accent, "-w", str(path), words], check=True)
        sound, rate = soundfile.read(path)
    assert rate == 16000
    loud = np.flatnonzero(np.abs(sound) > 0.01 * np.abs(sound).max())
    sound = sound[loud[0] : loud[-1] + 1]
    sound = np.concatenate([np.zeros(2400), sound, np.zeros(4000)])
    return np.asarray(sound / np.abs(sound).max() * 0.4)


def _fixture_maker() -> ModuleType:
    spec = importlib.util.spec_from_file_location("fixture_maker", HERE.parent / "audio_fixtures" / "make.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--set", choices=sorted(VOICES), required=True)
    parser.add_argument("--count", type=int, required=True)
    parser.add_argument("--parts", type=Path, help="folder with Kokoro's packages")
    parser.add_argument("--out", type=Path)
    parser.add_argument("--dry", action="store_true", help="print the lines and what they mean; no sound")
    options = parser.parse_args()
    language = load_language()
    script = Script(options.set, language)
    if options.dry:
        for number in range(options.count):
            line = script.line(number)
            outcome = language.understand(line.words, expectation_named(line.expect, language))
            meant = "" if isinstance(outcome, Unsure | Nothing) else str(outcome)
            print(number, script.voice(number), line.part, line.expect, line.words, meant, sep="\t")
        return
    options.out.mkdir(parents=True, exist_ok=True)
    speakers = Speakers(options.parts)
    manifest = options.out / "manifest.tsv"
    done = set()
    if manifest.exists():
        done = {line.split("\t")[0] for line in manifest.read_text(encoding="utf-8").splitlines()[1:]}
    with manifest.open("a", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, MANIFEST, delimiter="\t", lineterminator="\n", quoting=csv.QUOTE_NONE)
        if not done:
            writer.writeheader()
        for number in range(options.count):
            path = f"{number:05}.flac"
            if path in done:
                continue
            line, voice = script.line(number), script.voice(number)
            sound = speakers.say(line, voice, script.speed(number))
            soundfile.write(options.out / path, sound, 16000, subtype="PCM_16")
            row = {"path": path, "transcript": line.words, "expect": line.expect, "part": line.part, "voice": voice}
            writer.writerow(row)
            file.flush()


if __name__ == "__main__":
    main()
