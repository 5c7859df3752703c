"""What the door to PortAudio promises: devices by name, fallbacks, and errors that name the cure."""

from __future__ import annotations

import sys
import types
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import pytest

from handsfree.audio.portaudio import PortAudio, load_sounddevice
from handsfree.errors import MissingPart

DEVICES = [
    {"name": "Built-in", "max_input_channels": 2, "max_output_channels": 2, "default_samplerate": 44100.0},
    {"name": "Headset USB", "max_input_channels": 1, "max_output_channels": 2, "default_samplerate": 48000.0},
    {"name": "Headset", "max_input_channels": 1, "max_output_channels": 0, "default_samplerate": 8000.0},
]


class PortAudioError(Exception):
    pass


@dataclass
class FakeLibrary:
    """Stands in for the sounddevice module: some devices, and the rates and channels at which they open."""

    devices: list[dict[str, Any]] = field(default_factory=lambda: list(DEVICES))
    opens: Callable[[int, int], bool] = lambda rate, channels: True
    asked: list[tuple[int, int, int]] = field(default_factory=list)
    lists: bool = True
    restarted: int = 0

    def module(self) -> types.ModuleType:
        module = types.ModuleType("sounddevice")
        library = self

        class Stream:
            def __init__(self, samplerate: int, device: int, channels: int, **_: object) -> None:
                library.asked.append((device, samplerate, channels))
                if not library.opens(samplerate, channels):
                    raise PortAudioError("Invalid sample rate")
                self.samplerate, self.channels, self.latency = samplerate, channels, 0.03

            def start(self) -> None: ...
            def abort(self) -> None: ...
            def close(self) -> None: ...

        def query() -> list[dict[str, Any]]:
            if not self.lists:
                raise PortAudioError("PortAudio not initialized")
            return self.devices

        def terminate() -> None:
            self.restarted += 1

        module.__dict__.update(
            PortAudioError=PortAudioError,
            RawInputStream=Stream,
            RawOutputStream=Stream,
            query_devices=query,
            default=types.SimpleNamespace(device=[1, 0]),
            _terminate=terminate,
            _initialize=lambda: None,
        )
        return module


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> FakeLibrary:
    fake = FakeLibrary()
    monkeypatch.setitem(sys.modules, "sounddevice", fake.module())
    return fake


@pytest.mark.parametrize(
    ("name", "kind", "index"),
    [
        ("", "input", 1),
        ("", "output", 0),
        ("headset", "input", 2),
        ("headset", "output", 1),
        ("usb", "input", 1),
        ("BUILT", "input", 0),
    ],
)
def test_a_device_is_found_by_name_part_or_default(
    library: FakeLibrary, name: str, kind: Literal["input", "output"], index: int
) -> None:
    """The whole name before a part of it, any case, only devices of that kind; without a name the system's default."""
    assert PortAudio().find(name, kind).index == index


def test_a_wrong_name_is_refused_with_the_names_there_are(library: FakeLibrary) -> None:
    """The hint lists what can be chosen."""
    with pytest.raises(MissingPart, match="no microphone named 'Martian'") as caught:
        PortAudio().find("Martian", "input")
    assert "Built-in, Headset USB, Headset" in caught.value.hint


def test_a_machine_without_devices_says_so(library: FakeLibrary) -> None:
    """No device is exit code 3, with what to do."""
    library.devices = []
    with pytest.raises(MissingPart, match="no loudspeaker found") as caught:
        PortAudio().find("", "output")
    assert caught.value.exit_code == 3
    assert caught.value.hint


def test_a_library_that_cannot_list_devices_is_an_error_of_ours(library: FakeLibrary) -> None:
    """An error of the library never reaches the user bare."""
    library.lists = False
    with pytest.raises(MissingPart, match="cannot list"):
        PortAudio().devices()


def test_a_device_opens_at_its_own_rate_in_mono(library: FakeLibrary) -> None:
    """Resampling is ours; the device runs as it likes best."""
    stream = PortAudio().open_input("usb", lambda samples, age_s, overflowed: None)
    assert (stream.rate, stream.channels) == (48_000, 1)
    assert library.asked == [(1, 48_000, 1)]
    stream.close()


def test_a_device_that_refuses_mono_opens_in_stereo(library: FakeLibrary) -> None:
    """Some drivers offer two channels only."""
    library.opens = lambda rate, channels: channels == 2
    stream = PortAudio().open_output("built", lambda rate: lambda frames, delay_s: (b"", True), lambda: None)
    assert (stream.rate, stream.channels) == (44_100, 2)
    stream.close()


def test_a_device_that_refuses_its_own_rate_is_tried_at_the_usual_ones(library: FakeLibrary) -> None:
    """The stated rate is not always one that works."""
    library.opens = lambda rate, channels: rate == 16_000
    stream = PortAudio().open_input("usb", lambda samples, age_s, overflowed: None)
    assert stream.rate == 16_000
    stream.close()


def test_a_device_that_opens_at_no_rate_is_named_with_the_reason(library: FakeLibrary) -> None:
    """Held by another program, for instance."""
    library.opens = lambda rate, channels: False
    with pytest.raises(MissingPart, match=r"'Headset USB' does not open \(Invalid sample rate\)"):
        PortAudio().open_input("usb", lambda samples, age_s, overflowed: None)


def test_a_restart_waits_for_no_one_when_nothing_plays(library: FakeLibrary) -> None:
    """PortAudio is ended and begun again, which is how it sees a device that came back."""
    PortAudio().restart()
    assert library.restarted == 1


def test_without_the_python_package_the_pip_line_is_given(monkeypatch: pytest.MonkeyPatch) -> None:
    """The cure of a missing package is the line that installs it."""
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(MissingPart, match="sounddevice") as caught:
        load_sounddevice()
    assert caught.value.hint == "pip install 'handsfree[live]'"


def test_without_the_library_the_apt_line_is_given(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The package's import fails with OSError where PortAudio is missing: the cure is the system's package."""
    (tmp_path / "sounddevice.py").write_text('raise OSError("PortAudio library not found")\n')
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.syspath_prepend(str(tmp_path))
    with pytest.raises(MissingPart, match="PortAudio is not installed") as caught:
        load_sounddevice()
    assert caught.value.hint == "sudo apt install libportaudio2"
