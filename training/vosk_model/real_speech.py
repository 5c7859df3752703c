"""Recordings listed in a manifest in, packs out: one Opus file and one table a source, noises apart.

    python real_speech.py --manifest MANIFEST.tsv --out DIR [--leave-out FOLDER...] [--kbps 22]

The manifest's columns: path, speaker, transcript, source, licence and, if given, accent and kind.  Writes
DIR/speech/SOURCE.opus
and .tsv (offset, samples, speaker, accent, words, weight), DIR/noise/noise.opus and DIR/licences.tsv.
"""

import argparse
import collections
import csv
import re
import subprocess
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import resample_poly

RATE = 16000
# Running speech teaches most; talkers far from ours, and the many takes of a few words, count less.
WEIGHT = {"librispeech": 2.0, "librispeech_tc100": 2.0, "vctk": 2.0, "speechocean762": 0.6, "audiomnist": 0.4}


def load(path: Path) -> np.ndarray:
    x, rate = soundfile.read(path, dtype="float32", always_2d=True)
    if rate != RATE:
        common = int(np.gcd(rate, RATE))
        return resample_poly(x[:, 0], RATE // common, rate // common)
    return x[:, 0]


def write_opus(path: Path, pieces: list[np.ndarray], kbps: int) -> None:
    command = ["ffmpeg", "-v", "error", "-y", "-f", "s16le", "-ar", str(RATE), "-ac", "1", "-i", "pipe:0"]
    command += ["-c:a", "libopus", "-b:a", f"{kbps}k", "-f", "ogg", str(path)]
    path.parent.mkdir(parents=True, exist_ok=True)
    subprocess.run(command, input=b"".join(p.tobytes() for p in pieces), check=True)


def group_of(row: dict[str, str]) -> str:
    kind = row.get("kind") or ""
    return kind if kind in ("noise", "rir") else row["path"].split("/")[0]


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--manifest", type=Path, required=True)
    ask.add_argument("--out", type=Path, required=True)
    ask.add_argument("--leave-out", nargs="*", default=[])
    ask.add_argument("--kbps", type=int, default=22)
    options = ask.parse_args()
    groups = collections.defaultdict(list)
    for row in csv.DictReader(options.manifest.open(encoding="utf-8"), delimiter="\t", quoting=csv.QUOTE_NONE):
        if group_of(row) not in (*options.leave_out, "rir"):
            groups[group_of(row)].append(row)
    licences: collections.Counter[tuple[str, str]] = collections.Counter()
    for name, rows in sorted(groups.items()):
        position, pieces, table = 0, [], []
        for row in rows:
            x = load(options.manifest.parent / row["path"])
            peak = float(np.abs(x).max()) if len(x) else 0.0
            words = re.sub(r"[^a-z' ]", " ", row["transcript"].lower().replace("x-ray", "xray")).split()
            if peak < 1e-3 or (not words and name != "noise"):
                continue
            y = (x / peak * 20000).astype(np.int16)
            accent = (
                "gb" if re.search(r"brit|scot|england|uk\b|_gb\b", (row.get("accent") or row["path"]).lower()) else "us"
            )
            table.append((position, len(y), f"{name}:{row['speaker']}", accent, " ".join(words), WEIGHT.get(name, 1.0)))
            licences[name, row["licence"]] += len(y)
            pieces += [y, np.zeros(800, np.int16)]
            position += len(y) + 800
        where = options.out / ("noise" if name == "noise" else "speech")
        write_opus(where / f"{name}.opus", pieces, 48 if name == "noise" else options.kbps)
        if name != "noise":
            lines = ["\t".join(map(str, t)) + "\n" for t in table]
            (where / f"{name}.tsv").write_text("".join(lines), encoding="utf-8")
        print(f"{name}: {len(table)} clips, {position / RATE / 60:.1f} minutes", flush=True)
    lines = [f"{n}\t{text}\t{c / RATE / 60:.1f} minutes\n" for (n, text), c in sorted(licences.items())]
    (options.out / "licences.tsv").write_text("".join(lines), encoding="utf-8")


if __name__ == "__main__":
    main()
