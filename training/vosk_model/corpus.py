"""Packs of recorded and synthetic speech in, batches described by clips, places and phone graphs out.

A pack is NAME.raw (16-bit samples, 16 kHz) or NAME.opus with NAME.tsv beside it: offset, samples, speaker, accent
(us|gb),
words, and if given a sampling weight.
"""

import collections
import functools
import os
import random
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
import torch
from lexicon import INDEX
from torch.utils.data import IterableDataset

RATE = 16000
LONGEST_S = 16.0
SHARES = {"real": 0.49, "synthetic": 0.29, "simple": 0.05, "spliced": 0.17}
"""Kind -> share of the speech drawn, however many clips there are of it; kinds that are missing leave theirs to the
others."""
KINDS = {"kokoro": "synthetic", "piper": "simple", "flite": "simple", "espeak": "simple"}
"""First part of the speaker -> kind, of those that are no people."""
VARIANTS = 3  # pronunciations drawn for each utterance; training keeps the likeliest


class Clip(NamedTuple):
    """One recorded stretch: where it lies in the corpus, and the pronunciations that each of its words may have."""

    offset: int
    samples: int
    words: list[dict[str, list[list[int]]]]
    accent: str
    weight: float
    kind: str = "real"


def read_lexicon(path: Path) -> dict[str, dict[str, list[list[int]]]]:
    """Word -> accent -> pronunciations as phone numbers."""
    lexicon: dict[str, dict[str, list[list[int]]]] = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        word, accent, phones = line.split("\t")
        lexicon.setdefault(word, {"us": [], "gb": []})[accent].append([INDEX[p] for p in phones.split()])
    return lexicon


def read_audio(stem: Path) -> np.ndarray:
    """Samples of a pack; those of a growing one as far as they are there."""
    raw = stem.with_suffix(".raw")
    if raw.exists():
        return np.fromfile(raw, np.int16, raw.stat().st_size // 2)
    return decode(stem)


@functools.cache
def decode(stem: Path) -> np.ndarray:
    import soundfile

    with soundfile.SoundFile(stem.with_suffix(".opus")) as sound:  # the stated length of an Ogg file may be nonsense
        pieces = []
        while len(piece := sound.read(RATE * 60, dtype="int16")):
            pieces.append(piece)
    return np.concatenate(pieces)


def read_table(table: Path) -> list[list[str]]:
    """Rows of a pack's table; a last row that is still being written is left out. To be read before the samples."""
    text = table.read_text(encoding="utf-8", errors="ignore")
    return [line.split("\t") for line in text[: text.rfind("\n") + 1].splitlines()]


class Corpus:
    """All speech end to end, its clips, and splices of short clips that teach connected digits."""

    def __init__(self, packs: list[Path], lexicon: Path, seed: int = 0) -> None:
        known, rng = read_lexicon(lexicon), random.Random(seed)
        audio, position, short = [], 0, collections.defaultdict(list)
        self.clips: list[Clip] = []
        self.hours: collections.Counter[str] = collections.Counter()
        self.left_out: collections.Counter[str] = collections.Counter()  # clips
        for table in sorted(t for p in packs for t in p.glob("*.tsv")):
            rows = read_table(table)
            samples = read_audio(table)
            audio.append(samples)
            for field in rows:
                offset, count, words = int(field[0]), int(field[1]), field[4].split()
                bad = offset + count > len(samples) or count < RATE // 10 or count > RATE * LONGEST_S
                if bad or any(w not in known for w in words):
                    self.hours["left out"] += count / RATE / 3600
                    self.left_out["length" if bad else "unknown words"] += 1
                    continue
                weight = float(field[5]) if len(field) > 5 else 1.0
                source = field[2].split(":")[0]
                kind = KINDS.get(source, "real")
                clip = Clip(position + offset, count, [known[w] for w in words], field[3], weight, kind)
                self.clips.append(clip)
                self.hours[source] += count / RATE / 3600
                if count < RATE * 1.6 and 0 < len(words) <= 2:
                    short[field[2]].append(clip)
            position += len(samples)
        self.audio = torch.from_numpy(np.concatenate(audio))
        self.units = [[c] for c in self.clips] + self.splice(short, rng)
        self.sort_into_buckets()

    @staticmethod
    def splice(short: dict[str, list[Clip]], rng: random.Random) -> list[list[Clip]]:
        """Short clips in a row, of one speaker where one has several; seven in ten of
        people, the others of machines."""
        groups = []
        for real in (True, False):
            of_kind = [v for v in short.values() if (v[0].kind == "real") == real]
            if of_kind:
                groups.append(([v for v in of_kind if len(v) >= 2], [c for v in of_kind for c in v]))
        rows: list[list[Clip]] = []
        for _ in range(min(25000, 3 * sum(len(everyone) for _, everyone in groups))):
            several, everyone = groups[0] if rng.random() < 0.7 else groups[-1]
            source = rng.choice(several) if several and rng.random() < 0.6 else everyone
            rows.append([rng.choice(source) for _ in range(rng.choice([2, 3, 3, 4, 5]))])
        return rows

    def sort_into_buckets(self, buckets: int = 24) -> None:
        singles = len(self.clips)
        weight = [c.weight * max(0.3, c.samples / 48000) ** 0.5 for c in self.clips]
        weight += [sum(c.weight for c in u) / len(u) for u in self.units[singles:]]
        self.weight = np.array(weight)
        kinds = np.array([c.kind for c in self.clips] + ["spliced"] * (len(self.units) - singles))
        for kind, share in SHARES.items():
            self.weight[kinds == kind] *= share / max(1e-9, self.weight[kinds == kind].sum())
        self.length = np.array([sum(c.samples for c in u) + 3000 * (len(u) - 1) for u in self.units])
        self.buckets = np.array_split(np.argsort(self.length), buckets)
        share = np.array([self.weight[b].sum() for b in self.buckets])
        # batches of long utterances hold fewer of them: draw those buckets more often
        size = np.array([self.length[b].max() + RATE / 2 for b in self.buckets])
        self.bucket_share = share * size / (share * size).sum()

    def phones(self, unit: list[Clip], rng: random.Random) -> list[list[int]]:
        """One pronunciation of each word, drawn at random from those of the talker's accent."""
        drawn = []
        for clip in unit:
            for word in clip.words:
                british = clip.accent == "gb" and rng.random() < 0.85
                drawn.append(rng.choice(word["gb" if british else "us"] or word["us"] or word["gb"]))
        return drawn

    def draw(self, rng: np.random.RandomState, seconds: float, limit: int) -> list[list[Clip]]:
        bucket = self.buckets[rng.choice(len(self.buckets), p=self.bucket_share)]
        longest = self.length[bucket].max() + RATE / 2
        count = int(min(limit, len(bucket), max(8, seconds * RATE / longest)))
        weight = self.weight[bucket]
        return [self.units[i] for i in rng.choice(bucket, size=count, p=weight / weight.sum())]


def silence_graph(words: list[list[int]]) -> tuple[list[int], list[int]]:
    """Phones with an optional silence (phone 0) around every word; the second list says which states may be skipped
    over."""
    states, optional = [0], [1]
    for word in words:
        states += [*word, 0]
        optional += [0] * len(word) + [1]
    return states, [0, 0, *optional[1:-1]][: len(states)]


def blank_graph(words: list[list[int]]) -> tuple[list[int], list[int]]:
    """CTC's states: blank, phone, blank, ...; a phone may follow another phone directly when they differ."""
    states, skip = [0], [0]
    last = 0
    for phone in (p for word in words for p in word):
        states += [phone, 0]
        skip += [int(last not in (0, phone)), 0]
        last = phone
    return states, skip


def as_table(graphs: list[list[tuple[list[int], list[int]]]]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Graphs [variant][utterance] as padded arrays: states, skips and counts."""
    width = max(len(s) for g in graphs for s, _ in g)
    states = np.zeros((len(graphs), len(graphs[0]), width), np.int32)
    skips = np.zeros(states.shape, np.uint8)
    counts = np.zeros(states.shape[:2], np.int32)
    for v, variant in enumerate(graphs):
        for u, (s, k) in enumerate(variant):
            states[v, u, : len(s)] = s
            skips[v, u, : len(k)] = k
            counts[v, u] = len(s)
    return states, skips, counts


class Batches(IterableDataset):
    """Endless batch descriptions, drawn by worker processes: everything that needs Python loops, nothing that needs
    sound."""

    def __init__(self, corpus: Corpus, seconds: float, seed: int, limit: int = 512) -> None:
        self.corpus, self.seconds, self.seed, self.limit = corpus, seconds, seed, limit

    def __iter__(self) -> Iterator[dict[str, object]]:
        worker = torch.utils.data.get_worker_info()
        seed = self.seed * 1000 + (worker.id if worker else 0)
        rng, plain = np.random.RandomState(seed), random.Random(seed)
        os.environ["OMP_NUM_THREADS"] = "1"
        while True:
            yield self.describe(self.corpus.draw(rng, self.seconds, self.limit), rng, plain)

    def describe(
        self, units: list[list[Clip]], rng: np.random.RandomState, plain: random.Random, clean: bool = False
    ) -> dict[str, object]:
        clips, places, ends = [], [], []
        for row, unit in enumerate(units):
            at = RATE * (0.1 if clean else 0.04 + 0.5 * rng.rand() ** 2)
            speed = rng.uniform(0.84, 1.18) if rng.rand() < 0.85 and not clean else 1.0
            for clip in unit:
                gain = 10 ** (rng.uniform(-3, 3) / 20) if len(unit) > 1 else 1.0
                clips.append((clip.offset, clip.samples))
                places.append((row, at, speed, gain))
                at += clip.samples / speed + (RATE * (0.35 * rng.rand() ** 2) if len(unit) > 1 else 0)
            ends.append(at + RATE * (0.1 if clean else 0.08 + 0.5 * rng.rand() ** 2))
        speech = np.ones(len(units), bool) if clean else rng.rand(len(units)) > 0.025
        words = [
            [self.corpus.phones(u, plain) if ok else [] for u, ok in zip(units, speech, strict=True)]
            for _ in range(1 if clean else VARIANTS)
        ]
        silence = as_table([[silence_graph(w) for w in variant] for variant in words])
        blank = as_table([[blank_graph(w) for w in variant] for variant in words])
        batch = {"clips": np.array(clips, np.int64), "places": np.array(places, np.float64), "speech": speech}
        batch |= {f"mmi_{k}": v for k, v in zip(("states", "skip", "count"), silence, strict=True)}
        batch |= {f"ctc_{k}": v for k, v in zip(("states", "skip", "count"), blank, strict=True)}
        tensors: dict[str, object] = {k: torch.from_numpy(v) for k, v in batch.items()}
        tensors["length"] = int(max(ends)) // 480 * 480 + 400 + 480
        tensors["seed"] = int(rng.randint(1 << 30))
        return tensors
