"""Sentences, voices and their IPA for Kokoro: one job a line (number, voice mixture, accent, speed, words, IPA).

python kokoro_jobs.py --count 30000 --seed 1 --general WORDS --out jobs.tsv
"""

import argparse
import random
from pathlib import Path

from espeak import ipa, respell
from vocabulary import sentence

# Kept for evaluation, never to be trained on: bf_lily bm_daniel bm_lewis af_nova am_eric am_michael.
US = [
    "af_alloy",
    "af_aoede",
    "af_bella",
    "af_heart",
    "af_jessica",
    "af_kore",
    "af_nicole",
    "af_river",
    "af_sarah",
    "af_sky",
    "am_adam",
    "am_echo",
    "am_fenrir",
    "am_liam",
    "am_onyx",
    "am_puck",
    "am_santa",
]
GB = ["bf_alice", "bf_emma", "bf_isabella", "bm_fable", "bm_george"]
# Voices of other languages, only as a small part of a mixture: timbre without accent.
FOREIGN = [
    "ef_dora",
    "em_alex",
    "ff_siwis",
    "if_sara",
    "im_nicola",
    "pf_dora",
    "pm_alex",
    "hf_alpha",
    "hf_beta",
    "hm_omega",
    "hm_psi",
    "jf_alpha",
    "jm_kumo",
    "zf_xiaobei",
    "zf_xiaoni",
    "zm_yunjian",
    "zm_yunxi",
    "zm_yunyang",
]


def mixture(rng: random.Random, accent: str) -> str:
    base, kind = rng.choice(GB if accent == "gb" else US), rng.random()
    if kind < 0.3:
        return f"{base}*1.0"
    share = round(rng.uniform(0.4, 0.9) if kind < 0.75 else rng.uniform(0.55, 0.9), 2)
    other = rng.choice(GB + US) if kind < 0.75 else rng.choice(FOREIGN)
    return f"{base}*{share}+{other}*{round(1 - share, 2)}"


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--count", type=int, default=30000)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--general", type=Path, help="other words, one a line")
    ask.add_argument("--out", type=Path, required=True)
    options = ask.parse_args()
    rng = random.Random(options.seed)
    general = options.general.read_text(encoding="utf-8").split() if options.general else []
    jobs = []
    for _ in range(options.count):
        parts = [sentence(rng, general) for _ in range(1 + (rng.random() < 0.4) + (rng.random() < 0.12))]
        accent = "gb" if rng.random() < 0.55 else "us"
        pause = rng.choice([", ", " "])
        said = pause.join(respell(p) for p in parts).split(", ")
        jobs.append((mixture(rng, accent), accent, round(rng.uniform(0.78, 1.32), 2), " ".join(parts), said))
    spoken: dict[str, dict[str, str]] = {}
    for accent in ("us", "gb"):
        texts = sorted({s for j in jobs if j[1] == accent for s in j[4]})
        spoken[accent] = dict(zip(texts, ipa(texts, accent), strict=True))
    with options.out.open("w", encoding="utf-8") as out:
        for i, (voice, accent, speed, text, said) in enumerate(jobs):
            print(i, voice, accent, speed, text, ", ".join(spoken[accent][s] for s in said), sep="\t", file=out)


if __name__ == "__main__":
    main()
