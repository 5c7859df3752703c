"""Synthesis with the light engines: flite, espeak-ng and (given its model) Piper.

    python light_voices.py --engine flite|espeak|piper [--piper MODEL.onnx] --n 600 --seed 3 --general WORDS --out DIR/NAME

writes NAME.raw (int16, 16 kHz) and NAME.tsv (offset, samples, speaker, accent, words).  The pico engine is kept for evaluation.
"""
import argparse
import io
import os
import random
import subprocess

import numpy as np
import soundfile as sf
from scipy.signal import resample_poly

import vocabulary as vocab
from espeak import respell

FLITE = ["awb", "rms", "kal16", "slt"]
ESPEAK = ["en-us", "en-gb", "en-gb-x-rp", "en-gb-scotland", "en-gb-x-gbclan"]
VARIANTS = "m1 m2 m3 m4 m6 m7 f1 f2 f3 f4 Annie Denis Gene Lee Michael Mike david john linda shelby steph travis victor".split()


def read(b):
    x, sr = sf.read(io.BytesIO(b), dtype="float32")
    return x, sr


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--engine", choices=["flite", "espeak", "piper"], required=True)
    ap.add_argument("--piper")
    ap.add_argument("--n", type=int, default=600)
    ap.add_argument("--seed", type=int, default=3)
    ap.add_argument("--general")
    ap.add_argument("--out", required=True)
    a = ap.parse_args()
    r = random.Random(a.seed)
    general = [w.strip() for w in open(a.general)] if a.general else ()
    if a.engine == "piper":
        from piper import PiperVoice, SynthesisConfig
        voice = PiperVoice.load(a.piper)
    os.makedirs(os.path.dirname(a.out) or ".", exist_ok=True)
    pos = 0
    with open(a.out + ".raw", "wb") as raw, open(a.out + ".tsv", "w", encoding="utf-8") as tsv:
        for _ in range(a.n):
            text, accent = vocab.sentence(r, general), "us"
            said = respell(text)
            if a.engine == "flite":
                v = r.choice(FLITE)
                f = f"{a.out}.tmp.wav"
                subprocess.run(["flite", "-voice", v, "--setf", f"duration_stretch={r.uniform(.75, 1.25):.2f}", "--setf", f"int_f0_target_mean={r.randint(85, 220)}", "-t", said, "-o", f],
                               check=True, stdout=subprocess.DEVNULL)
                x, sr = sf.read(f, dtype="float32")
                spk = "flite:" + v
            elif a.engine == "espeak":
                v = r.choice(ESPEAK)
                accent = "us" if v == "en-us" else "gb"
                v += "+" + r.choice(VARIANTS)
                x, sr = read(subprocess.run(["espeak-ng", "-v", v, "-s", str(r.randint(115, 200)), "-p", str(r.randint(20, 75)), "--stdout", said], capture_output=True).stdout)
                spk = "espeak:" + v
            else:
                cfg = SynthesisConfig(length_scale=r.uniform(.85, 1.25), noise_scale=r.uniform(.5, .9), noise_w_scale=r.uniform(.6, 1.0))
                x = np.concatenate([c.audio_int16_array for c in voice.synthesize(said, syn_config=cfg)]).astype(np.float32) / 32768
                sr = voice.config.sample_rate
                spk = "piper:joe"
            if sr != 16000:
                g = np.gcd(sr, 16000)
                x = resample_poly(x, 16000 // g, sr // g)
            if not len(x) or np.abs(x).max() < 1e-3:
                continue
            loud = np.flatnonzero(np.abs(x) > .01 * np.abs(x).max())
            x = x[max(0, loud[0] - 1600):loud[-1] + 2400]
            y = (x / np.abs(x).max() * 16000).astype(np.int16)
            raw.write(y.tobytes())
            print(pos, len(y), spk, accent, text, sep="\t", file=tsv)
            pos += len(y)
    print(f"{a.engine}: {pos / 16000:.0f} s")


if __name__ == "__main__":
    main()
