"""Packs of speech (see vosk_model/corpus.py for their form) in, batches described by clips, places and tokens out."""

import random
import sys
import zlib
from collections import Counter, defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
import torch
from torch.utils.data import IterableDataset

sys.path.insert(0, str(Path(__file__).parents[1] / "vosk_model"))
from corpus import RATE, read_audio, read_table

LONGEST_S = 17.0
SPLICED = ("speech_commands", "audiomnist", "inspektral", "nato_spell")
DIGITS = frozenset(["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"])
SHARES = {
    "read by real talkers": (0.17, ("librispeech", "librispeech_tc100", "vctk", "speechocean762")),
    "words of real talkers": (0.09, SPLICED),
    "words of real talkers in a row": (0.24, ()),
    "light voices": (0.06, ("espeak", "flite", "piper")),
    "kokoro": (0.44, ("kokoro",)),
}
"""Kind -> share of the utterances drawn, and its sources, however many clips there are of it."""
IN_A_ROW = "words of real talkers in a row"


class Clip(NamedTuple):
    offset: int
    samples: int
    words: tuple[str, ...]
    speaker: str


def speech_inside(samples: np.ndarray) -> tuple[int, int]:
    """First and last sample of the word in a clip with silence around it."""
    frames = samples[: len(samples) // 160 * 160].reshape(-1, 160).astype(np.float32)
    level = 10 * np.log10((frames**2).mean(1) + 1)
    loud = np.flatnonzero(level > max(level.max() - 28, np.percentile(level, 10) + 6))
    if not len(loud):
        return 0, len(samples)
    return max(0, int(loud[0]) * 160 - 640), min(len(samples), int(loud[-1]) * 160 + 960)


class Material:
    """All speech end to end, its clips, and rows of single words of real talkers."""

    def __init__(self, packs: list[Path], keep: int | None = None, want: tuple[str, ...] = ()) -> None:
        """
        Args:
            packs: folders.
            keep: number of the network; each network is spared another fifth of the clips.
            want: if given, only speakers whose name holds one of these.
        """
        audio, position = [], 0
        self.clips: list[Clip] = []
        self.words: dict[str, list[Clip]] = defaultdict(list)
        self.hours: Counter[str] = Counter()
        for table in sorted(t for p in packs for t in p.glob("*.tsv")):
            rows = read_table(table)
            samples = read_audio(table)
            for field in rows:
                offset, count, speaker, words = int(field[0]), int(field[1]), field[2], tuple(field[4].split())
                source = speaker.split(":")[0]
                if want and not any(w in speaker for w in want):
                    continue
                if offset + count > len(samples) or not RATE // 10 < count < RATE * LONGEST_S or not words:
                    self.hours["left out"] += count / 3600 / RATE
                    continue
                spared = zlib.crc32(f"{speaker}{offset}".encode()) % 5
                if keep is not None and spared == keep:
                    continue
                clip = Clip(position + offset, count, words, speaker)
                self.clips.append(clip)
                self.hours[source] += count / 3600 / RATE
                if source in SPLICED and len(words) == 1:
                    first, last = speech_inside(samples[offset : offset + count])
                    if RATE // 12 < last - first < RATE * 1.3:
                        self.words[speaker].append(Clip(clip.offset + first, last - first, words, speaker))
            audio.append(samples)
            position += len(samples)
        self.audio = torch.from_numpy(np.concatenate(audio))
        self.of_source: dict[str, list[Clip]] = defaultdict(list)
        for clip in self.clips:
            self.of_source[clip.speaker.split(":")[0]].append(clip)
        self.everyone = [c for v in self.words.values() for c in v]
        self.every_digit = [c for c in self.everyone if c.words[0] in DIGITS]
        self.several = [k for k, v in self.words.items() if len(v) >= 2]

    def splice(self, rng: random.Random) -> list[Clip]:
        """Words in a row, mostly digits, of one talker where one has several."""
        source = self.words[rng.choice(self.several)] if rng.random() < 0.45 else self.everyone
        if rng.random() < 0.75:
            digits = [c for c in source if c.words[0] in DIGITS] if source is not self.everyone else self.every_digit
            source = digits if len(digits) >= 2 else self.every_digit
        return [rng.choice(source) for _ in range(rng.choice([2, 3, 3, 4, 4, 5, 5, 6, 7, 8]))]

    def units(self, seed: int, count: int) -> list[list[Clip]]:
        """Utterances of one round of training."""
        rng = random.Random(seed)
        drawn: list[list[Clip]] = []
        for kind, (share, sources) in SHARES.items():
            wanted = round(share * count)
            if kind == IN_A_ROW:
                drawn += [self.splice(rng) for _ in range(wanted)] if self.every_digit else []
            elif clips := [c for s in sources for c in self.of_source.get(s, ())]:
                drawn += [[c] for c in rng.choices(clips, k=wanted)]
        return drawn


class Batches(IterableDataset):  # type: ignore[type-arg]
    """Endless batch descriptions, drawn by worker processes."""

    def __init__(
        self,
        material: Material,
        tokens: dict[str, list[int]],
        seconds: float,
        most: int,
        seed: int,
        start: tuple[int, ...],
        end: int,
    ) -> None:
        self.material, self.tokens, self.seconds, self.most, self.seed = material, tokens, seconds, most, seed
        self.start, self.end = start, end

    def of(self, material: Material, seed: int) -> "Batches":
        """The same of other material."""
        return Batches(material, self.tokens, self.seconds, self.most, seed, self.start, self.end)

    def __iter__(self) -> Iterator[dict[str, object]]:
        worker = torch.utils.data.get_worker_info()
        seed = self.seed * 1000 + (worker.id if worker else 0)
        rng, round_number = np.random.RandomState(seed), 0
        while True:
            units = self.material.units(seed + 77777 * round_number, 6000)
            round_number += 1
            order = np.argsort([sum(c.samples for c in u) + 3000 * len(u) for u in units])
            groups = list(self.cut([units[i] for i in order]))
            for i in rng.permutation(len(groups)):
                yield self.describe(groups[i], rng)

    ROWS, SAMPLES = 16, 8000
    """Sizes of batches come in such steps: the library plans a convolution anew for every size it has not seen."""

    def cut(self, units: list[list[Clip]]) -> Iterator[list[list[Clip]]]:
        group: list[list[Clip]] = []
        for unit in units:
            longest = sum(c.samples for c in unit) * 1.15 / RATE + 0.3 * len(unit) + 0.5
            if group and (len(group) >= self.most or (len(group) + 1) * longest > self.seconds):
                yield self.rounded(group)
                group = []
            group.append(unit)
        yield self.rounded(group)

    def rounded(self, group: list[list[Clip]]) -> list[list[Clip]]:
        return group[: max(len(group) // self.ROWS * self.ROWS, min(len(group), self.ROWS))]

    def tokens_of(self, clip: Clip) -> list[int]:
        return [t for w in clip.words for t in self.tokens[w]]

    def describe(self, units: list[list[Clip]], rng: np.random.RandomState, clean: bool = False) -> dict[str, object]:
        clips, places, turns, ends, texts = [], [], [], [], []
        speech = np.ones(len(units), bool) if clean else rng.rand(len(units)) > 0.03
        for row, unit in enumerate(units):
            at = RATE * (0.15 if clean else 0.04 + 0.5 * rng.rand() ** 2)
            speed = rng.uniform(0.86, 1.16) if rng.rand() < 0.85 and not clean else 1.0
            pace = rng.choice([0.03, 0.12, 0.3])
            for turn, clip in enumerate(unit):
                gain = 10 ** (rng.uniform(-3, 3) / 20) if len(unit) > 1 else 1.0
                clips.append((clip.offset, clip.samples))
                places.append((row, at, speed, gain))
                turns.append(turn)
                at += clip.samples / speed + (RATE * (pace * rng.rand() - 0.02) if len(unit) > 1 else 0)
            ends.append(at + RATE * (0.15 if clean else 0.08 + 0.5 * rng.rand() ** 2))
            words = [w for clip in unit for w in clip.words] if speech[row] else []
            texts.append([t for w in words for t in self.tokens[w]])
        longest, lead = max(map(len, texts)), len(self.start)
        given = np.full((len(units), lead + longest), self.end, np.int64)
        wanted = np.full((len(units), lead + longest), -100, np.int64)
        given[:, :lead] = self.start
        for row, text in enumerate(texts):
            given[row, lead : lead + len(text)] = text
            wanted[row, lead - 1 : lead - 1 + len(text)] = text
            wanted[row, lead - 1 + len(text)] = self.end
        batch = {
            "clips": np.array(clips, np.int64),
            "places": np.array(places, np.float64),
            "speech": speech,
            "given": given,
            "wanted": wanted,
            "chosen": np.flatnonzero(wanted >= 0),
        }
        tensors: dict[str, object] = {k: torch.from_numpy(v) for k, v in batch.items()}
        taken = [torch.from_numpy(np.flatnonzero(np.array(turns) == k)) for k in range(max(turns) + 1)]
        return tensors | {
            "turns": taken,
            "length": int(max(ends)) // self.SAMPLES * self.SAMPLES + self.SAMPLES,
            "seed": int(rng.randint(1 << 30)),
        }
