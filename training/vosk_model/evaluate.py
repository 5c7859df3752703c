"""Measures a model with vosk itself and a runtime grammar.

    python evaluate.py --model DIR --manifest TSV [--parts PART...] [--grammar GROUP...] [--phrases 600] [--add-words]
                       [--noise FILE --snr 10] [--limit N] [--show N]

The manifest needs the columns path, transcript and (if there) part.  --add-words puts the words of the transcripts
into the
grammar too: a fair test needs every spoken word in it.  Parts whose name starts with negative or noise count false
accepts.
"""

import argparse
import collections
import csv
import json
import random
import resource
import time
from pathlib import Path

import numpy as np
import soundfile
import vocabulary as v
import vosk
from scipy.signal import resample_poly

RATE = 16000
GROUPS = {
    "digits": [*v.ONES, "oh"],
    "numbers": v.NUMBERS,
    "units": " ".join(v.UNIT_PHRASES).split(),
    "quantities": " ".join(v.QUANTITY_PHRASES).split(),
    "commands": " ".join(v.COMMAND_PHRASES).split(),
    "letters": v.LETTERS,
    "icao": v.ICAO,
    "other": v.OTHER + v.MONTHS + v.ORDINALS,
}


def distance(a: list[str], b: list[str]) -> int:
    row = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        before, row[0] = row[0], i
        for j, y in enumerate(b, 1):
            before, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, before + (x != y))
    return row[-1]


def sample_phrases(count: int, words: set[str], only_digits: bool) -> list[str]:
    """Phrases that vosk estimates its bigram from: a list of single words would say that an utterance is one word."""
    rng, phrases = random.Random(4), []
    while len(phrases) < count:
        kind = rng.random()
        if only_digits:
            phrase = " ".join(rng.choice(GROUPS["digits"]) for _ in range(rng.randint(2, 8)))
        elif kind < 0.4:
            phrase = v.digits(rng, rng.randint(2, 8))
        else:
            phrase = v.number(rng) if kind < 0.7 else v.sentence(rng)
        if set(phrase.split()) <= words:
            phrases.append(phrase)
    return phrases


def load(path: Path) -> np.ndarray:
    """Samples at 16-bit scale."""
    x, rate = soundfile.read(path, dtype="float32", always_2d=True)
    common = int(np.gcd(rate, RATE))
    return resample_poly(x[:, 0], RATE // common, rate // common) * 32768 if rate != RATE else x[:, 0] * 32768


def add_noise(x: np.ndarray, noise: np.ndarray, snr_db: float, rng: np.random.RandomState) -> np.ndarray:
    at = rng.randint(0, len(noise) - len(x)) if len(noise) > len(x) else 0
    piece = np.resize(noise[at:], len(x))
    active = np.abs(x) > 0.1 * np.abs(x).max()
    level = np.sqrt((x[active] ** 2).mean()) * 10 ** (-snr_db / 20)
    mixed = x + piece / (piece.std() + 1e-9) * level
    return mixed * min(1, 32000 / np.abs(mixed).max())


def recognise(model: vosk.Model, grammar: list[str], x: np.ndarray) -> list[str]:
    recogniser = vosk.KaldiRecognizer(model, RATE, json.dumps(grammar))
    edge = np.random.RandomState(0).randn(3200) * 3
    pcm = np.clip(np.concatenate([edge, x, edge]), -32768, 32767).astype(np.int16).tobytes()
    words: list[str] = []
    for i in range(0, len(pcm), 8000):
        if recogniser.AcceptWaveform(pcm[i : i + 8000]):
            words += json.loads(recogniser.Result())["text"].split()
    return words + json.loads(recogniser.FinalResult())["text"].split()


def count(stats: collections.Counter[str], reference: list[str], out: list[str], samples: int, negative: bool) -> bool:
    """Adds one clip to the counts; returns whether it came out right."""
    heard = [w for w in out if w != "[unk]"]
    stats.update(clips=1, samples=samples)
    if negative:
        stats.update(accepted=bool(heard), pure=bool(heard) and "[unk]" not in out, out=len(heard))
        return not heard
    errors = distance(reference, heard)
    silent = errors > 0 and "[unk]" not in out and bool(heard)
    stats.update(errors=errors, words=len(reference), exact=errors == 0, refused="[unk]" in out, silent=silent)
    return errors == 0


def report(part: str, s: collections.Counter[str]) -> str:
    line = f"{part:20s} clips {s['clips']:4d} "
    share = lambda n: f"{100 * s[n] / s['clips']:5.1f} %"  # noqa: E731
    if s["words"]:
        line += f"WER {100 * s['errors'] / s['words']:5.1f} %  exact {share('exact')}  with [unk] {share('refused')}"
        return f"{line}  wrong without [unk] {share('silent')}"
    minutes = s["samples"] / RATE / 60
    line += f"any word {share('accepted')}  words and no [unk] {share('pure')}"
    return f"{line}  words a minute {s['out'] / minutes:.1f}"


def measure(options: argparse.Namespace) -> None:
    vosk.SetLogLevel(-1)
    begun = time.time()
    model = vosk.Model(model_path=str(options.model))
    load_s, spent, seconds = time.time() - begun, 0.0, 0.0
    rows = list(csv.DictReader(options.manifest.open(encoding="utf-8"), delimiter="\t", quoting=csv.QUOTE_NONE))
    rng = np.random.RandomState(options.seed)
    rng.shuffle(rows)
    noise = load(options.noise) if options.noise else None
    base = {w for g in options.grammar for w in GROUPS[g]}
    phrases = sample_phrases(options.phrases, base, options.grammar == ["digits"])
    counts: dict[str, collections.Counter[str]] = collections.defaultdict(collections.Counter)
    for row in rows:
        part = row.get("part") or row["path"].split("/")[0]
        if (options.parts and part not in options.parts) or counts[part]["clips"] >= options.limit:
            continue
        x, negative = load(options.manifest.parent / row["path"]), part.startswith(("negative", "noise"))
        if noise is not None:
            x = add_noise(x, noise, options.snr, rng)
        reference = (row.get("transcript") or "").lower().split()
        words = base | (set(reference) if options.add_words and not negative else set())
        begun = time.time()
        out = recognise(model, [*sorted(words), *phrases, *([] if options.no_unk else ["[unk]"])], x)
        spent, seconds = spent + time.time() - begun, seconds + len(x) / RATE + 0.4
        if not count(counts[part], reference, out, len(x), negative):
            counts[part]["shown"] += 1
            if counts[part]["shown"] <= options.show:
                print("   ", part, "|", " ".join(reference), "->", " ".join(out))
    for part, stats in sorted(counts.items()):
        print(report(part, stats))
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    factor = spent / max(seconds, 1e-9)
    print(f"grammar {len(base)} words; real-time factor {factor:.3f}; load {load_s:.2f} s; peak memory {memory:.0f} MB")


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--model", type=Path, required=True)
    ask.add_argument("--manifest", type=Path, required=True)
    ask.add_argument("--parts", nargs="*")
    ask.add_argument("--grammar", nargs="*", default=[g for g in GROUPS if g != "digits"], choices=list(GROUPS))
    ask.add_argument("--add-words", action="store_true")
    ask.add_argument("--phrases", type=int, default=600, help="sampled phrases put into the grammar")
    ask.add_argument("--no-unk", action="store_true")
    ask.add_argument("--noise", type=Path)
    ask.add_argument("--snr", type=float, default=10)
    ask.add_argument("--limit", type=int, default=10**9)
    ask.add_argument("--show", type=int, default=0)
    ask.add_argument("--seed", type=int, default=1)
    measure(ask.parse_args())


if __name__ == "__main__":
    main()
