"""Sound files in, mono samples at 16 kHz out; and back: clips that are whole or not there."""

from __future__ import annotations

import io
import os
import struct
import wave
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from handsfree.audio.levels import Levels, measure_levels, without_offset
from handsfree.errors import BadInput
from handsfree.model import SAMPLE_RATE

LOWEST_RATE = 4_000
"""Hz. Below this no speech is left to understand."""
LONGEST_FILE_S = 2 * 3600.0
"""s. A whole visit in one recording; more is a wrong file, and would not fit small machines' memory."""

_READ_FRAMES = 1 << 17
_STREAMED_SIZES = {0x7FFFFFFF, 0x7FFFFFFF - 36, 0x80000000, 0xFFFFFFFF, 0xFFFFFFFF - 36}
"""Lengths that a WAV header states when its writer, filling a pipe, could not know."""


@dataclass(frozen=True, slots=True, eq=False)
class Sound:
    """A sound file, read."""

    samples: NDArray[np.float32]
    """mono at SAMPLE_RATE, -1..1, without offset"""
    original_rate: int
    """Hz, of the file"""
    channels: int
    """of the file"""
    warnings: tuple[str, ...] = ()
    """what may make it hard to understand, in plain words: clipped, very quiet, narrow band ..."""

    @property
    def seconds(self) -> float:
        """s of sound"""
        return len(self.samples) / SAMPLE_RATE


def read_sound(path: Path) -> Sound:
    """Read a recording of any rate, width and number of channels: WAV, FLAC, Ogg Opus, MP3, all that libsndfile knows.

    Several channels are averaged; where they cancel each other or most are silent, the loudest one is taken instead.

    Args:
        path: the file.

    Raises:
        BadInput: the file is missing, unreadable, no sound file, empty, cut short, longer than `LONGEST_FILE_S`, or
            holds numbers that are not finite. The message names the file.
    """
    path = Path(path)
    _check_readable(path)
    warnings: list[str] = []
    promised = _wav_data_promised(path)
    if promised is not None and promised.streamed:
        warnings.append("the header does not state the length")
    try:
        with soundfile.SoundFile(path) as file:
            rate, channels, frames = file.samplerate, file.channels, file.frames
            _check_header(path, rate, frames, promised)
            mono = _read_mono(path, file, frames, warnings)
    except soundfile.LibsndfileError as error:
        raise BadInput(
            f"{path}: not a sound file that can be read ({_plain(error)})", "give a WAV, FLAC, Ogg, Opus or MP3 file"
        ) from None
    samples = _resample(mono, rate)
    if not len(samples):
        raise BadInput(f"{path}: holds no sound", "record it again")
    warnings += _level_warnings(measure_levels(samples))
    samples = without_offset(samples)
    if rate <= 8_000:
        warnings.append(f"narrow band: recorded at {rate} Hz")
    return Sound(samples, rate, channels, tuple(warnings))


def to_int16(samples: NDArray[np.float32] | NDArray[np.int16]) -> NDArray[np.int16]:
    """Samples -1..1 as 16-bit integers, limited, never wrapped; integers come back as they are.

    Raises:
        ValueError: not one-dimensional, or not finite.
    """
    if samples.ndim != 1:
        raise ValueError(f"samples must be mono, got the shape {samples.shape}")
    if samples.dtype == np.int16:
        return samples.astype(np.int16, copy=False)
    if not np.isfinite(samples).all():
        raise ValueError("samples must be finite numbers")
    limited: NDArray[np.int16] = np.clip(np.rint(samples * 32768.0), -32768, 32767).astype(np.int16)
    return limited


def encode_wav(samples: NDArray[np.float32] | NDArray[np.int16], rate: int = SAMPLE_RATE) -> bytes:
    """Mono samples (float -1..1 or int16) as a 16-bit WAV file; `rate` in Hz. Raises as `to_int16`."""
    held = io.BytesIO()
    with wave.open(held, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate)
        # writeframes mends the header at once; the file is whole before it leaves memory.
        file.writeframes(to_int16(samples).astype("<i2").tobytes())
    return held.getvalue()


# ------------------------------------------------------------------------------------------------ reading


@dataclass(frozen=True, slots=True)
class _Promise:
    """What a WAV header says of its sound data."""

    size: int
    """bytes according to the header"""
    there: int
    """bytes that the file holds"""

    @property
    def streamed(self) -> bool:
        return self.size in _STREAMED_SIZES and self.there > 0


def _check_readable(path: Path) -> None:
    if path.is_dir():
        raise BadInput(f"{path}: is a folder, not a sound file", "name the file inside it")
    try:
        with open(path, "rb") as file:
            first = file.read(1)
    except OSError as error:
        raise BadInput(
            f"{path}: cannot be read ({error.strerror or error})", "check the name and its permissions"
        ) from None
    if not first:
        raise BadInput(f"{path}: the file is empty", "record it again")


def _check_header(path: Path, rate: int, frames: int, promised: _Promise | None) -> None:
    if rate < LOWEST_RATE:
        raise BadInput(
            f"{path}: sampled at {rate} Hz, at least {LOWEST_RATE} Hz are needed", "record it at 16000 Hz or more"
        )
    if promised is not None and not promised.streamed and promised.there < promised.size:
        raise BadInput(
            f"{path}: cut short, {promised.there} of {promised.size} bytes of sound are there",
            "copy or record it again",
        )
    if frames <= 0:
        unfinished = promised is not None and promised.size == 0 and promised.there > 0
        cure = "the recorder never finished the header; repair it or record again" if unfinished else "record it again"
        raise BadInput(f"{path}: holds no sound", cure)
    if frames / rate > LONGEST_FILE_S:
        raise BadInput(
            f"{path}: {frames / rate / 60:.0f} minutes long, at most {LONGEST_FILE_S / 60:.0f} are taken", "cut it"
        )


def _read_mono(path: Path, file: soundfile.SoundFile, frames: int, warnings: list[str]) -> NDArray[np.float32]:
    """One channel of all frames at the file's own rate, in pieces so that many channels need not fit into memory."""
    pieces: list[NDArray[np.float32]] = []
    energies = np.zeros(file.channels)
    mixed = 0.0
    for block in file.blocks(_READ_FRAMES, dtype="float32", always_2d=True):
        if not np.isfinite(block).all():
            at = (sum(map(len, pieces)) + int(np.argmin(np.isfinite(block).all(axis=1)))) / file.samplerate
            raise BadInput(f"{path}: a sample at {at:.3f} s is not a finite number", "export the recording again")
        mix = block.mean(axis=1, dtype=np.float32)
        energies += np.square(block, dtype=np.float64).sum(axis=0)
        mixed += float(np.square(mix, dtype=np.float64).sum())
        pieces.append(mix)
    got = sum(map(len, pieces))
    if got < frames:
        raise BadInput(f"{path}: cut short, {got} of {frames} samples can be read", "copy or record it again")
    loudest = int(np.argmax(energies))
    # A mix this far below its loudest channel has lost speech to opposite phase, or is diluted by silent channels.
    if file.channels > 1 and mixed < 0.35 * energies[loudest]:
        warnings.append(f"channels cancel each other or are silent; channel {loudest + 1} of {file.channels} is taken")
        file.seek(0)
        pieces = [b[:, loudest].copy() for b in file.blocks(_READ_FRAMES, dtype="float32", always_2d=True)]
    return np.concatenate(pieces) if pieces else np.zeros(0, np.float32)


def _resample(mono: NDArray[np.float32], rate: int) -> NDArray[np.float32]:
    if rate == SAMPLE_RATE:
        return mono
    return np.asarray(soxr.resample(mono, rate, SAMPLE_RATE), dtype=np.float32)


def _wav_data_promised(path: Path) -> _Promise | None:
    """How much sound a WAV header promises; libsndfile quietly shortens it to what is there. None: not a WAV."""
    size = path.stat().st_size
    with open(path, "rb") as file:
        head = file.read(12)
        if len(head) < 12 or head[:4] != b"RIFF" or head[8:] != b"WAVE":
            return None
        while len(chunk := file.read(8)) == 8:
            name, length = chunk[:4], struct.unpack("<I", chunk[4:])[0]
            if name == b"data":
                return _Promise(length, size - file.tell())
            file.seek(length + length % 2, os.SEEK_CUR)
    return None


def _level_warnings(levels: Levels) -> list[str]:
    found = []
    if levels.clipped_share > 0.001:
        found.append(f"clipped: {100 * levels.clipped_share:.1f} % of the samples are at full scale")
    if abs(levels.offset) > 0.01:
        found.append(f"direct-current offset of {100 * levels.offset:.1f} % of full scale")
    if levels.peak_db < -40:
        found.append(f"very quiet: peak {levels.peak_db:.0f} dB below full scale".replace("peak -", "peak "))
    return found


def _plain(error: soundfile.LibsndfileError) -> str:
    return str(error.error_string).strip().rstrip(".").lower()


# ------------------------------------------------------------------------------------------------ writing
