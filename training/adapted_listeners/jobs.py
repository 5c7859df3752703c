"""Utterances, voices and their IPA for vosk_model/kokoro_torch.py: one job a line.

python jobs.py --count 12000 --seed 21 --general WORDS --lines READ_SENTENCES.tsv... --out jobs.tsv
"""

import argparse
import random
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "vosk_model"))
sys.path.insert(0, str(Path(__file__).parents[2]))
from espeak import ipa, respell
from kokoro_jobs import FOREIGN, GB, US
from utterances import utterance

KEPT_FOR_TUNING = {"bf_isabella", "bm_fable", "af_sky", "am_onyx"}
BRITISH = [voice for voice in GB if voice not in KEPT_FOR_TUNING]
AMERICAN = [voice for voice in US if voice not in KEPT_FOR_TUNING]


SEED_OF_SCRIPT = 61


def timbre(rng: random.Random, accent: str) -> str:
    """A voice, or several mixed or pushed apart; British sounds come from American timbres too, as there are few
    British ones."""
    base = rng.choice(BRITISH if accent == "gb" and rng.random() < 0.6 else AMERICAN)
    kind = rng.random()
    if kind < 0.2:
        return f"{base}*1.0"
    others = [rng.choice(BRITISH + AMERICAN if rng.random() < 0.6 else FOREIGN) for _ in range(2)]
    if kind < 0.6:
        share = round(rng.uniform(0.4, 0.9), 2)
        return f"{base}*{share}+{others[0]}*{round(1 - share, 2)}"
    if kind < 0.85:
        share, more = round(rng.uniform(0.35, 0.7), 2), round(rng.uniform(0.1, 0.3), 2)
        return f"{base}*{share}+{others[0]}*{more}+{others[1]}*{round(1 - share - more, 2)}"
    beyond = round(rng.uniform(0.1, 0.25), 2)
    return f"{base}*{1 + beyond}+{others[0]}*{-beyond}"


def mixture(rng: random.Random, accent: str) -> str:
    """A timbre, at times with the melody and the lengths of sounds of another voice."""
    return timbre(rng, accent) + (f"/{rng.choice(BRITISH + AMERICAN)}*1.0" if rng.random() < 0.35 else "")


class ProductLines:
    """Answers to the steps of the product's plans, its commands and what comes near them: the texts of the benchmark's
    sets for tuning, drawn anew (another seed than any set)."""

    def __init__(self) -> None:
        from benchmarks import spoken_sets
        from handsfree.language import load_language

        spoken_sets.SEEDS["training"] = SEED_OF_SCRIPT
        self._script, self._number = spoken_sets.Script("training", load_language()), 0

    def __call__(self) -> str:
        self._number += 1
        return self._script.line(self._number - 1).words


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--count", type=int, required=True)
    ask.add_argument("--seed", type=int, required=True)
    ask.add_argument("--general", type=Path, required=True, help="other words, one a line")
    ask.add_argument("--lines", type=Path, nargs="*", default=[], help="tables whose fifth column is running text")
    ask.add_argument("--tuning-voices", action="store_true", help="only the voices that are kept for tuning")
    ask.add_argument("--out", type=Path, required=True)
    options = ask.parse_args()
    rng = random.Random(options.seed)
    general = options.general.read_text(encoding="utf-8").split()
    lines = [row.split("\t")[4] for t in options.lines for row in t.read_text(encoding="utf-8").splitlines()]
    jobs, product_line = [], ProductLines()
    for _ in range(options.count):
        accent = "gb" if rng.random() < 0.65 else "us"
        text = product_line() if rng.random() < 0.45 else utterance(rng, general, lines)
        if accent == "gb":
            text = " ".join("zed" if w == "z" else w for w in text.split())
        voice = mixture(rng, accent)
        if options.tuning_voices:
            voice = rng.choice(["bf_isabella", "bm_fable"] if accent == "gb" else ["af_sky", "am_onyx"]) + "*1.0"
        jobs.append((voice, accent, round(rng.uniform(0.78, 1.35), 2), text, respell(text)))
    spoken: dict[str, dict[str, str]] = {}
    for accent in ("us", "gb"):
        texts = sorted({j[4] for j in jobs if j[1] == accent})
        spoken[accent] = dict(zip(texts, ipa(texts, accent), strict=True))
    with options.out.open("w", encoding="utf-8") as out:
        for i, (voice, accent, speed, text, said) in enumerate(jobs):
            print(i, voice, accent, speed, text, spoken[accent][said], sep="\t", file=out)


if __name__ == "__main__":
    main()
