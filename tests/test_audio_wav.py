"""What reading and writing sound files promises."""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.audio.wav import encode_wav, read_sound
from handsfree.errors import BadInput
from handsfree.model import SAMPLE_RATE


def tone(rate: int, seconds: float = 1.0, hz: float = 440.0, amplitude: float = 0.5) -> np.ndarray:
    return amplitude * np.sin(2 * np.pi * hz * np.arange(round(rate * seconds)) / rate)


@pytest.mark.parametrize("rate", [8_000, 11_025, 16_000, 22_050, 44_100, 48_000, 96_000])
def test_any_rate_becomes_16_khz_without_change_of_pitch_or_level(tmp_path: Path, rate: int) -> None:
    """A 440 Hz tone at any rate is a 440 Hz tone of the same level at 16 kHz, as long as before."""
    soundfile.write(tmp_path / "a.wav", tone(rate), rate)
    sound = read_sound(tmp_path / "a.wav")
    assert sound.original_rate == rate
    assert sound.samples.dtype == np.float32
    assert sound.seconds == pytest.approx(1.0, abs=0.001)
    middle = sound.samples[4000:12000]
    assert np.argmax(np.abs(np.fft.rfft(middle))) == pytest.approx(220, abs=1)
    assert middle.std() == pytest.approx(0.5 / np.sqrt(2), rel=0.01)


FORMATS = [
    ("a.wav", "PCM_U8"),
    ("a.wav", "PCM_16"),
    ("a.wav", "PCM_24"),
    ("a.wav", "PCM_32"),
    ("a.wav", "FLOAT"),
    ("a.wav", "DOUBLE"),
    ("a.wav", "ULAW"),
    ("a.flac", "PCM_16"),
    ("a.ogg", "VORBIS"),
    ("a.opus", "OPUS"),
    ("a.mp3", "MPEG_LAYER_III"),
    ("a.aiff", "PCM_16"),
]


@pytest.mark.parametrize(("name", "subtype"), FORMATS, ids=[s for _, s in FORMATS])
def test_the_usual_formats_and_widths_are_read(tmp_path: Path, name: str, subtype: str) -> None:
    """8-bit to 64-bit, packed or not: the tone comes out with its level."""
    container = "OGG" if name.endswith(".opus") else None
    soundfile.write(tmp_path / name, tone(48_000), 48_000, subtype=subtype, format=container)
    sound = read_sound(tmp_path / name)
    assert sound.channels == 1
    assert sound.samples[4000:12000].std() == pytest.approx(0.354, rel=0.03)
    assert sound.warnings == ()


def test_two_channels_become_their_mean(tmp_path: Path) -> None:
    """Stereo with the same sound on both sides is that sound."""
    soundfile.write(tmp_path / "a.wav", np.stack([tone(16_000)] * 2, axis=1), 16_000)
    sound = read_sound(tmp_path / "a.wav")
    assert sound.channels == 2
    assert sound.warnings == ()
    assert np.allclose(sound.samples, tone(16_000), atol=1e-4)


@pytest.mark.parametrize("other", [-1.0, 0.0], ids=["opposite phase", "silent"])
def test_channels_that_would_weaken_each_other_are_not_mixed(tmp_path: Path, other: float) -> None:
    """With one channel silent or in opposite phase the loudest is taken, and said so."""
    soundfile.write(tmp_path / "a.wav", np.stack([other * tone(16_000), tone(16_000)], axis=1), 16_000)
    sound = read_sound(tmp_path / "a.wav")
    assert np.allclose(np.abs(sound.samples), np.abs(tone(16_000)), atol=1e-3)
    assert any("channel" in warning for warning in sound.warnings)


def bad_files(folder: Path) -> dict[str, Path]:
    good = folder / "good.wav"
    soundfile.write(good, tone(16_000), 16_000)
    files = {
        name: folder / f"{name.replace(' ', '_')}.wav"
        for name in ("no bytes", "words", "header only", "cut short", "nan", "slow")
    }
    files["no bytes"].write_bytes(b"")
    files["words"].write_text("pressure one point two bar\n" * 50)
    soundfile.write(files["header only"], np.zeros(0), 16_000)
    files["cut short"].write_bytes(good.read_bytes()[:9000])
    broken = tone(16_000).astype(np.float32)
    broken[8000] = np.nan
    soundfile.write(files["nan"], broken, 16_000, subtype="FLOAT")
    soundfile.write(files["slow"], tone(2_000), 2_000)
    files["missing"] = folder / "missing.wav"
    files["folder"] = folder
    return files


@pytest.mark.parametrize(
    ("which", "what"),
    [
        ("no bytes", "empty"),
        ("words", "not a sound file"),
        ("header only", "holds no sound"),
        ("cut short", "cut short, 8956 of 32000 bytes"),
        ("nan", "0.500 s is not a finite number"),
        ("slow", "2000 Hz"),
        ("missing", "cannot be read"),
        ("folder", "is a folder"),
    ],
)
def test_what_cannot_be_used_is_named_with_its_reason_and_a_cure(tmp_path: Path, which: str, what: str) -> None:
    """The error names the file, what is wrong with it, and what to do; its exit code is 2."""
    path = bad_files(tmp_path)[which]
    with pytest.raises(BadInput) as caught:
        read_sound(path)
    assert str(path) in caught.value.message
    assert what in caught.value.message
    assert caught.value.hint
    assert caught.value.exit_code == 2


def test_a_flac_that_was_cut_short_is_refused(tmp_path: Path) -> None:
    """A packed file whose end is missing is refused as well."""
    soundfile.write(tmp_path / "a.flac", np.random.default_rng(1).uniform(-0.5, 0.5, 32_000), 16_000)
    whole = (tmp_path / "a.flac").read_bytes()
    (tmp_path / "a.flac").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(BadInput, match=r"a\.flac"):
        read_sound(tmp_path / "a.flac")


@pytest.mark.parametrize("stated", [0xFFFFFFFF, 0x7FFFFFFF - 36])
def test_a_recording_through_a_pipe_is_read_and_its_missing_length_noted(tmp_path: Path, stated: int) -> None:
    """Programs that write WAV into a pipe cannot state the length; that is no damage."""
    (tmp_path / "a.wav").write_bytes(encode_wav(tone(16_000).astype(np.float32)))
    data = bytearray((tmp_path / "a.wav").read_bytes())
    data[40:44] = stated.to_bytes(4, "little")
    (tmp_path / "a.wav").write_bytes(data)
    sound = read_sound(tmp_path / "a.wav")
    assert sound.seconds == pytest.approx(1.0)
    assert sound.warnings == ("the header does not state the length",)


@pytest.mark.parametrize(
    ("samples", "rate", "warning"),
    [
        (np.clip(tone(16_000, amplitude=3.0), -1, 1), 16_000, "clipped"),
        (tone(16_000, amplitude=0.001), 16_000, "very quiet: peak 60 dB"),
        (tone(16_000, amplitude=0.3) + 0.2, 16_000, "offset of 20"),
        (tone(8_000), 8_000, "narrow band"),
    ],
    ids=["clipped", "quiet", "offset", "telephone"],
)
def test_what_makes_a_recording_hard_to_understand_is_told_as_data(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], samples: np.ndarray, rate: int, warning: str
) -> None:
    """Clipping, low level, offset and narrow band are warnings of the sound, and nothing is printed."""
    soundfile.write(tmp_path / "a.wav", samples, rate, subtype="PCM_24")
    (told,) = read_sound(tmp_path / "a.wav").warnings
    assert warning in told
    assert capfd.readouterr() == ("", "")


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(-32768, 32767), min_size=1, max_size=300))
def test_a_clip_reads_back_sample_by_sample(tmp_path_factory: pytest.TempPathFactory, values: list[int]) -> None:
    """What was captured as 16-bit integers is on the disk as those integers, from integers and from floats alike."""
    folder = tmp_path_factory.mktemp("clips")
    captured = np.array(values, np.int16)
    (folder / "a.wav").write_bytes(encode_wav(captured))
    (folder / "b.wav").write_bytes(encode_wav(captured.astype(np.float32) / np.float32(32768)))
    assert (folder / "a.wav").read_bytes() == (folder / "b.wav").read_bytes()
    with wave.open(str(folder / "a.wav")) as file:
        assert (file.getframerate(), file.getnchannels(), file.getsampwidth()) == (SAMPLE_RATE, 1, 2)
        assert np.array_equal(np.frombuffer(file.readframes(10**6), "<i2"), captured)
    assert sorted(p.name for p in folder.iterdir()) == ["a.wav", "b.wav"]


def test_samples_beyond_full_scale_are_limited_not_wrapped(tmp_path: Path) -> None:
    """A float of 1.5 becomes the largest integer, never a negative one."""
    (tmp_path / "a.wav").write_bytes(encode_wav(np.array([1.5, -1.5, 1.0], np.float32)))
    with wave.open(str(tmp_path / "a.wav")) as file:
        assert list(np.frombuffer(file.readframes(3), "<i2")) == [32767, -32768, 32767]


@pytest.mark.parametrize(
    "samples", [np.array([np.nan], np.float32), np.zeros((4, 2), np.float32)], ids=["nan", "stereo"]
)
def test_samples_that_are_no_mono_sound_are_not_encoded(samples: np.ndarray) -> None:
    """A wrong caller gets an error."""
    with pytest.raises(ValueError, match="samples must be"):
        encode_wav(samples)
