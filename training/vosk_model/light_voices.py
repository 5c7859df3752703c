"""Random sentences spoken by the light engines: a pack of speech by flite, espeak-ng or (given its model) Piper.

    python light_voices.py --engine flite|espeak|piper [--piper MODEL.onnx] --count 600 --seed 3 --general WORDS
    --out DIR/NAME

Writes NAME.raw (16-bit samples, 16 kHz) and NAME.tsv (offset, samples, speaker, accent, words).  pico is kept for
evaluation.
"""

import argparse
import io
import random
import subprocess
import tempfile
from pathlib import Path

import numpy as np
import soundfile
import vocabulary
from espeak import respell
from scipy.signal import resample_poly

RATE = 16000
FLITE = ("awb", "rms", "kal16", "slt")
ESPEAK = ("en-us", "en-gb", "en-gb-x-rp", "en-gb-scotland", "en-gb-x-gbclan")
VARIANTS = (
    "m1",
    "m2",
    "m3",
    "m4",
    "m6",
    "m7",
    "f1",
    "f2",
    "f3",
    "f4",
    "Annie",
    "Denis",
    "Gene",
    "Lee",
    "Michael",
    "Mike",
)
Spoken = tuple[np.ndarray, int, str, str]  # samples, rate, speaker, accent


def by_flite(text: str, rng: random.Random) -> Spoken:
    voice = rng.choice(FLITE)
    manner = ["--setf", f"duration_stretch={rng.uniform(0.75, 1.25):.2f}"]
    manner += ["--setf", f"int_f0_target_mean={rng.randint(85, 220)}"]
    with tempfile.NamedTemporaryFile(suffix=".wav") as file:
        command = ["flite", "-voice", voice, *manner, "-t", text, "-o", file.name]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        samples, rate = soundfile.read(file.name, dtype="float32")
    return samples, rate, f"flite:{voice}", "us"


def by_espeak(text: str, rng: random.Random) -> Spoken:
    language = rng.choice(ESPEAK)
    voice = f"{language}+{rng.choice(VARIANTS)}"
    manner = ["-s", str(rng.randint(115, 200)), "-p", str(rng.randint(20, 75))]
    run = subprocess.run(["espeak-ng", "-v", voice, *manner, "--stdout", text], capture_output=True, check=True)
    samples, rate = soundfile.read(io.BytesIO(run.stdout), dtype="float32")
    return samples, rate, f"espeak:{voice}", "us" if language == "en-us" else "gb"


class Piper:
    def __init__(self, model: Path) -> None:
        from piper import PiperVoice

        self.voice = PiperVoice.load(model)

    def __call__(self, text: str, rng: random.Random) -> Spoken:
        from piper import SynthesisConfig

        manner = SynthesisConfig(
            length_scale=rng.uniform(0.85, 1.25), noise_scale=rng.uniform(0.5, 0.9), noise_w_scale=rng.uniform(0.6, 1.0)
        )
        pieces = [c.audio_int16_array for c in self.voice.synthesize(text, syn_config=manner)]
        return np.concatenate(pieces).astype(np.float32) / 32768, self.voice.config.sample_rate, "piper:joe", "us"


def trimmed(samples: np.ndarray, rate: int) -> np.ndarray:
    """At 16 kHz, with a tenth of a second around the speech, peaks at half of full scale."""
    if rate != RATE:
        common = int(np.gcd(rate, RATE))
        samples = resample_poly(samples, RATE // common, rate // common)
    loud = np.flatnonzero(np.abs(samples) > 0.01 * np.abs(samples).max())
    samples = samples[max(0, loud[0] - 1600) : loud[-1] + 2400]
    return (samples / np.abs(samples).max() * 16000).astype(np.int16)


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--engine", choices=["flite", "espeak", "piper"], required=True)
    ask.add_argument("--piper", type=Path)
    ask.add_argument("--count", type=int, default=600)
    ask.add_argument("--seed", type=int, default=3)
    ask.add_argument("--general", type=Path)
    ask.add_argument("--out", type=Path, required=True)
    options = ask.parse_args()
    rng = random.Random(options.seed)
    general = options.general.read_text(encoding="utf-8").split() if options.general else []
    speak = (
        Piper(options.piper) if options.engine == "piper" else {"flite": by_flite, "espeak": by_espeak}[options.engine]
    )
    options.out.parent.mkdir(parents=True, exist_ok=True)
    position = 0
    with options.out.with_suffix(".raw").open("wb") as raw, options.out.with_suffix(".tsv").open("w") as table:
        for _ in range(options.count):
            text = vocabulary.sentence(rng, general)
            samples, rate, speaker, accent = speak(respell(text), rng)
            if not len(samples) or np.abs(samples).max() < 1e-3:
                continue
            y = trimmed(samples, rate)
            raw.write(y.tobytes())
            print(position, len(y), speaker, accent, text, sep="\t", file=table)
            position += len(y)
    print(f"{options.engine}: {position / RATE:.0f} s")


if __name__ == "__main__":
    main()
