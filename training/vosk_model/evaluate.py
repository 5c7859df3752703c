"""Measures a model with vosk itself and a runtime grammar.

    python evaluate.py --model DIR --manifest TSV [--parts numbers_connected ...] [--grammar GROUP ...] [--add-words]
                       [--noise RAW --snr 10] [--limit N] [--show N]

The manifest needs the columns path, transcript and (if there) part.  GROUPS: numbers units quantities commands letters icao other (default all).
--add-words puts the words of the transcripts into the grammar too (a fair test needs every spoken word in it).
Parts whose name starts with negative or noise count false accepts: clips with any word out, and words a minute.
"""
import argparse
import collections
import csv
import json
import os
import random
import resource
import time

import numpy as np
import soundfile as sf
import vosk
from scipy.signal import resample_poly

import vocabulary as vocab

GROUPS = {"numbers": vocab.NUMBERS, "units": " ".join(vocab.UNIT_PHRASES).split(), "quantities": " ".join(vocab.QUANTITY_PHRASES).split(),
          "commands": " ".join(vocab.COMMAND_PHRASES).split(), "letters": vocab.LETTERS, "icao": vocab.ICAO, "other": vocab.OTHER + vocab.MONTHS + vocab.ORDINALS,
          "digits": vocab.ONES + ["oh"], "dev": "enter left right up down on off erase rubout repeat help start stop go yes no".split()}


def distance(a, b):
    d = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        p, d[0] = d[0], i
        for j, y in enumerate(b, 1):
            p, d[j] = d[j], min(d[j] + 1, d[j - 1] + 1, p + (x != y))
    return d[-1]


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--model", required=True)
    ap.add_argument("--manifest", required=True)
    ap.add_argument("--parts", nargs="*")
    ap.add_argument("--grammar", nargs="*", default=["numbers", "units", "quantities", "commands", "letters", "icao", "other"])
    ap.add_argument("--add-words", action="store_true")
    ap.add_argument("--phrases", type=int, default=0, help="sampled phrases put into the grammar: vosk estimates a bigram from them")
    ap.add_argument("--no-unk", action="store_true")
    ap.add_argument("--noise")
    ap.add_argument("--snr", type=float, default=10)
    ap.add_argument("--limit", type=int, default=10 ** 9)
    ap.add_argument("--show", type=int, default=0)
    ap.add_argument("--seed", type=int, default=1)
    a = ap.parse_args()
    vosk.SetLogLevel(-1)
    t = time.time()
    model = vosk.Model(model_path=a.model)
    load_s = time.time() - t
    root = os.path.dirname(a.manifest)
    rows = list(csv.DictReader(open(a.manifest, encoding="utf-8"), delimiter="\t", quoting=csv.QUOTE_NONE))
    for r in rows:
        r["part"] = r.get("part") or r["path"].split("/")[0]
    rows = [r for r in rows if not a.parts or r["part"] in a.parts]
    rnd = np.random.RandomState(a.seed)
    rnd.shuffle(rows)
    noise = sf.read(a.noise, dtype="float32")[0] * 32768 if a.noise else None
    base = {w for g in a.grammar for w in GROUPS[g]}
    rp, phrases = random.Random(4), []
    while len(phrases) < a.phrases:
        k = rp.random()
        p = vocab.digits(rp, rp.randint(2, 8)) if k < .4 else vocab.number(rp) if k < .7 else vocab.sentence(rp)
        if "digits" in a.grammar and len(a.grammar) == 1:
            p = " ".join(rp.choice(GROUPS["digits"]) for _ in range(rp.randint(2, 8)))
        if set(p.split()) <= base:
            phrases.append(p)
    stats, seconds, wall, shown, confusions = collections.defaultdict(collections.Counter), 0, 0, collections.Counter(), collections.Counter()
    for r in rows:
        part = r["part"]
        if stats[part]["clips"] >= a.limit:
            continue
        x, sr = sf.read(os.path.join(root, r["path"]), dtype="float32", always_2d=True)
        x = x[:, 0]
        if sr != 16000:
            g = np.gcd(sr, 16000)
            x = resample_poly(x, 16000 // g, sr // g)
        x = x * 32768
        if noise is not None:
            s = rnd.randint(0, len(noise) - len(x)) if len(noise) > len(x) else 0
            n = np.resize(noise[s:], len(x))
            active = np.abs(x) > .1 * np.abs(x).max()
            x = x + n / (n.std() + 1) * np.sqrt((x[active] ** 2).mean()) * 10 ** (-a.snr / 20)
            x = x * min(1, 32000 / np.abs(x).max())
        negative = part.startswith(("negative", "noise"))
        ref = (r.get("transcript") or "").lower().split()
        words = base | (set(ref) if a.add_words and not negative else set())
        rec = vosk.KaldiRecognizer(model, 16000, json.dumps(sorted(words) + phrases + ([] if a.no_unk else ["[unk]"])))
        rec.SetWords(True)
        pad = np.random.RandomState(0).randn(3200) * 3
        pcm = np.clip(np.concatenate([pad, x, pad]), -32768, 32767).astype(np.int16).tobytes()
        t, out = time.time(), []
        for i in range(0, len(pcm), 8000):
            if rec.AcceptWaveform(pcm[i:i + 8000]):
                out += json.loads(rec.Result())["text"].split()
        out += json.loads(rec.FinalResult())["text"].split()
        wall += time.time() - t
        seconds += len(pcm) / 32000
        hyp = [w for w in out if w != "[unk]"]
        st = stats[part]
        st["clips"] += 1
        st["ms"] += len(x) // 16
        if negative:
            st["accepted"] += bool(hyp)
            st["pure"] += bool(hyp) and "[unk]" not in out
            st["out"] += len(hyp)
        else:
            e = distance(ref, hyp)
            st["errors"] += e
            st["words"] += len(ref)
            st["exact"] += e == 0
            st["refused"] += "[unk]" in out
            st["wrong_clean"] += e > 0 and "[unk]" not in out and bool(hyp)
        if shown[part] < a.show and (negative and hyp or not negative and hyp != ref):
            shown[part] += 1
            print("   ", part, "|", " ".join(ref), "->", " ".join(out))
    cond = f"{os.path.basename(a.noise)} {a.snr:g} dB" if a.noise else "clean"
    for part, st in sorted(stats.items()):
        if "words" in st:
            print(f"{part:24s} {cond:16s} clips {st['clips']:4d} WER {100 * st['errors'] / max(1, st['words']):5.1f} %  exact {100 * st['exact'] / st['clips']:5.1f} %  "
                  f"with [unk] {100 * st['refused'] / st['clips']:5.1f} %  wrong without [unk] {100 * st['wrong_clean'] / st['clips']:5.1f} %")
        else:
            print(f"{part:24s} {cond:16s} clips {st['clips']:4d} any word {100 * st['accepted'] / st['clips']:5.1f} %  words and no [unk] {100 * st['pure'] / st['clips']:5.1f} %  words/min {st['out'] / max(1e-9, st['ms'] / 60000):.1f}")
    print(f"grammar {len(base)} words; RTF {wall / max(seconds, 1e-9):.3f}; load {load_s:.2f} s; peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB", flush=True)


if __name__ == "__main__":
    main()
