"""Utterances, voices and their IPA for vosk_model/kokoro_torch.py: one job a line.

python jobs.py --count 12000 --seed 21 --general WORDS --lines READ_SENTENCES.tsv... --out jobs.tsv
"""

import argparse
import random
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "vosk_model"))
from espeak import ipa, respell
from kokoro_jobs import FOREIGN, GB, US
from utterances import utterance

KEPT_FOR_TUNING = {"bf_isabella", "bm_fable", "af_sky", "am_onyx"}
BRITISH = [voice for voice in GB if voice not in KEPT_FOR_TUNING]
AMERICAN = [voice for voice in US if voice not in KEPT_FOR_TUNING]


def mixture(rng: random.Random, accent: str) -> str:
    """A voice, or two mixed; British sounds come from American timbres too, as there are few British ones."""
    base = rng.choice(BRITISH if accent == "gb" and rng.random() < 0.6 else AMERICAN)
    if rng.random() < 0.25:
        return f"{base}*1.0"
    share = round(rng.uniform(0.45, 0.9), 2)
    other = rng.choice(BRITISH + AMERICAN if rng.random() < 0.65 else FOREIGN)
    return f"{base}*{share}+{other}*{round(1 - share, 2)}"


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
    jobs = []
    for _ in range(options.count):
        accent = "gb" if rng.random() < 0.65 else "us"
        text = utterance(rng, general, lines)
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
