"""A clean recording and the name of a condition in, the recording as the microphone might have got it out.

clean                       as it is
pink:10  fan:10  rec:10     in pink noise, in the noise of a fan, in recorded noise, 10 dB below the speech
level:-40                   40 dB quieter
clip:12                     12 dB too loud, cut off at full scale
offset:0.3                  with a direct current
band:4000                   nothing above 4,000 Hz, as through a telephone
rate:44100                  sampled at 44,100 Hz, and back by the program's own reader
pause:3                     3 s of silence on both sides
broken:20                   20 samples that are no numbers
"""

from __future__ import annotations

import functools
import math
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from handsfree.audio.wav import read_sound
from handsfree.errors import BadInput
from handsfree.model import SAMPLE_RATE

Samples = NDArray[np.float32]
NEEDS_FOLDER = "recorded noise needs a folder of recordings"


def speech_power(samples: Samples) -> float:
    """Mean square of the frames with speech: those of 25 ms within 30 dB of the loudest."""
    power = (samples[: len(samples) // 400 * 400].reshape(-1, 400) ** 2).mean(1)
    return float(power[power > power.max() * 1e-3].mean())


def degraded(samples: Samples, condition: str, rng: np.random.Generator, noise: Path | None = None) -> Samples:
    """The samples in that condition.

    Args:
        samples: clean, mono at 16 kHz.
        condition: kind and number, as at the top of this module.
        rng: for noise.
        noise: folder of recorded noise, for "rec".

    Raises:
        BadInput: the condition is unknown, or recorded noise is wanted and there is no folder.
    """
    kind, _, number = condition.partition(":")
    if kind == "clean":
        return samples
    if kind not in _CONDITIONS or not number:
        raise BadInput(
            f"there is no condition {condition!r}", f"clean, or one of {', '.join(_CONDITIONS)} with a number"
        )
    changed = _CONDITIONS[kind](samples, float(number), rng, noise)
    return changed.astype(np.float32)


def _with(samples: Samples, noise: NDArray[np.floating], snr_db: float) -> Samples:
    mixed = samples + noise * math.sqrt(speech_power(samples) / float((noise**2).mean()) / 10 ** (snr_db / 10))
    return np.asarray(mixed / max(1.0, float(np.abs(mixed).max()) / 0.99), np.float32)


def _pink(length: int, rng: np.random.Generator) -> NDArray[np.floating]:
    spectrum = np.fft.rfft(rng.standard_normal(length))
    return np.asarray(np.fft.irfft(spectrum / np.sqrt(np.arange(1, len(spectrum) + 1)), length))


def _in_pink(samples: Samples, snr_db: float, rng: np.random.Generator, noise: Path | None) -> Samples:
    return _with(samples, _pink(len(samples), rng), snr_db)


def _in_fan(samples: Samples, snr_db: float, rng: np.random.Generator, noise: Path | None) -> Samples:
    """Hiss with the hum of the blades, which turn a little faster and slower."""
    hiss = _pink(len(samples), rng)
    hiss /= math.sqrt(float((hiss**2).mean()))
    t = np.arange(len(samples)) / SAMPLE_RATE
    turn = rng.uniform(80, 180) * (t + 0.004 * np.sin(2 * np.pi * 0.7 * t))
    hum = np.sum([np.sin(2 * np.pi * k * turn + rng.uniform(0, 6)) / k for k in range(1, 7)], axis=0)
    return _with(samples, hiss + 0.6 * hum / math.sqrt(float((hum**2).mean())), snr_db)


def _in_recorded(samples: Samples, snr_db: float, rng: np.random.Generator, noise: Path | None) -> Samples:
    if noise is None:
        raise BadInput(NEEDS_FOLDER, "give one with --noise")
    paths = _recordings(noise)
    sound = _recording(paths[int(rng.integers(len(paths)))])
    sound = np.tile(sound, -(-len(samples) // len(sound)) + 1)
    begin = int(rng.integers(len(sound) - len(samples)))
    return _with(samples, sound[begin : begin + len(samples)] + 1e-6, snr_db)


@functools.cache
def _recordings(folder: Path) -> list[Path]:
    found = sorted(p for p in folder.rglob("*") if p.suffix in (".flac", ".wav"))
    if not found:
        raise BadInput(f"{folder}: {NEEDS_FOLDER}", "flac or wav")
    return found


@functools.lru_cache(maxsize=64)
def _recording(path: Path) -> Samples:
    return read_sound(path).samples


def _levelled(samples: Samples, decibels: float, rng: np.random.Generator, noise: Path | None) -> Samples:
    return np.asarray(np.round(samples * 10 ** (decibels / 20) * 32767) / 32767, np.float32)


def _clipped(samples: Samples, decibels: float, rng: np.random.Generator, noise: Path | None) -> Samples:
    return np.clip(samples / np.abs(samples).max() * 10 ** (decibels / 20), -1, 1)


def _offset(samples: Samples, offset: float, rng: np.random.Generator, noise: Path | None) -> Samples:
    return np.clip(samples + np.float32(offset), -1, 1)


def _band(samples: Samples, hertz: float, rng: np.random.Generator, noise: Path | None) -> Samples:
    """Through half the sampling rate and back: what a telephone or a headset in hands-free mode leaves."""
    down = soxr.resample(samples, SAMPLE_RATE, 2 * hertz)
    back = soxr.resample(down, 2 * hertz, SAMPLE_RATE)
    return np.asarray(np.pad(back, (0, max(0, len(samples) - len(back))))[: len(samples)])


def _rate(samples: Samples, hertz: float, rng: np.random.Generator, noise: Path | None) -> Samples:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sound.wav"
        soundfile.write(path, soxr.resample(samples, SAMPLE_RATE, hertz), int(hertz), subtype="PCM_24")
        return read_sound(path).samples


def _pause(samples: Samples, seconds: float, rng: np.random.Generator, noise: Path | None) -> Samples:
    silence = np.zeros(int(seconds * SAMPLE_RATE), np.float32)
    return np.concatenate([silence, samples, silence])


def _broken(samples: Samples, count: float, rng: np.random.Generator, noise: Path | None) -> Samples:
    changed = samples.copy()
    changed[rng.integers(len(samples), size=int(count))] = np.nan
    return changed


_CONDITIONS: dict[str, Callable[[Samples, float, np.random.Generator, Path | None], Samples]] = {
    "pink": _in_pink,
    "fan": _in_fan,
    "rec": _in_recorded,
    "level": _levelled,
    "clip": _clipped,
    "offset": _offset,
    "band": _band,
    "rate": _rate,
    "pause": _pause,
    "broken": _broken,
}
