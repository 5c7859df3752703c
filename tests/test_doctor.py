"""What the doctor promises: every missing part is named with its cure, and a healthy machine is called so."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
import pytest

from handsfree.audio.portaudio import Device, FillSamples, OnSamples
from handsfree.doctor import Finding, Machine, examine
from handsfree.errors import MissingPart
from handsfree.settings import Settings
from handsfree.voice.synthesis import NotRendered, Rendered

HEADSET = Device(0, "Headset", 1, 2, 48_000)


@dataclass
class FakeStream:
    device: Device = HEADSET
    rate: int = 48_000
    channels: int = 1
    latency_s: float = 0.02

    def close(self) -> None: ...


@dataclass
class FakeSound:
    """A headset that works, or lacks what the test takes from it."""

    portaudio: bool = True
    microphone: bool = True
    loudspeaker: bool = True
    sample: int | None = 100
    """value that the microphone delivers; None = it never calls back"""

    def devices(self) -> list[Device]:
        if not self.portaudio:
            raise MissingPart("PortAudio is not installed", "sudo apt install libportaudio2")
        return [HEADSET]

    def find(self, name: str, kind: Literal["input", "output"]) -> Device:
        if not self.loudspeaker:
            raise MissingPart("no loudspeaker found", "connect one, or start the sound server")
        return HEADSET

    def open_input(self, name: str, on_samples: OnSamples) -> FakeStream:
        if not self.microphone:
            raise MissingPart("no microphone found", "connect one, or start the sound server")
        if self.sample is not None:
            for k in range(25):
                on_samples(np.full(960, self.sample * (-1) ** k, np.int16).tobytes(), 0.02, False)
        return FakeStream()

    def open_output(self, name: str, make: Callable[[int], FillSamples], on_end: Callable[[], None]) -> FakeStream:
        fill = make(48_000)

        def drive() -> None:
            while not fill(480, 0.001)[1]:
                pass
            on_end()

        threading.Thread(target=drive, daemon=True).start()
        return FakeStream()

    def restart(self) -> None: ...

    def playing(self) -> contextlib.AbstractContextManager[None]:
        return contextlib.nullcontext()


class FakeSynthesiser:
    def __init__(self, works: bool) -> None:
        self.works = works

    def render(self, text: str, words_a_minute: int) -> Rendered | NotRendered:
        return Rendered(np.ones(100, np.float32), 22_050) if self.works else NotRendered("the driver rendered no sound")

    def close(self) -> None: ...


def healthy(sound: FakeSound | None = None, *, voice: bool = True, without: str = "") -> Machine:
    return Machine(
        sound=sound or FakeSound(),
        synthesiser=lambda folder: FakeSynthesiser(voice),  # type: ignore[arg-type, return-value]
        python=(3, 12, 1),
        installed=lambda name: name != without,
        free_bytes=lambda folder: 10**10,
    )


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(tmp_path / "visits", tmp_path / "models", tmp_path / "cache", tmp_path / "words.toml")


def by_part(settings: Settings, machine: Machine) -> dict[str, Finding]:
    return {finding.part: finding for finding in examine(settings, machine)}


def test_a_healthy_machine_has_its_sound_voice_and_folders(settings: Settings) -> None:
    """What is there is found, told with its name, and no folder is made by looking."""
    found = by_part(settings, healthy())
    for part in ("Python", "PortAudio", "microphone", "loudspeaker", "voice", "folder of visits", "folder of cache"):
        assert found[part].ok, found[part]
        assert found[part].cure == ""
    assert found["microphone"].found == "Headset, 48000 Hz, -50 dB now"
    assert not settings.data_folder.exists()


MISSING = [
    ("Python", replace(healthy(), python=(3, 10, 4)), "3.11 or later"),
    ("PortAudio", healthy(FakeSound(portaudio=False)), "sudo apt install libportaudio2"),
    ("microphone", healthy(FakeSound(microphone=False)), "connect one"),
    ("microphone", healthy(FakeSound(sample=0)), "unmute"),
    ("loudspeaker", healthy(FakeSound(loudspeaker=False)), "connect one"),
    ("voice", healthy(voice=False), "sudo apt install espeak-ng"),
    ("voice", healthy(without="pyttsx3"), "pip install 'handsfree[live]'"),
    ("onnxruntime", healthy(without="onnxruntime"), "pip install 'handsfree[hear]'"),
    ("listener vosk", healthy(without="vosk"), "pip install 'handsfree[hear]'"),
    ("CoolProp", healthy(without="CoolProp"), "pip install CoolProp"),
    ("folder of visits", replace(healthy(), free_bytes=lambda folder: 10**7), "free some disk space"),
]


@pytest.mark.parametrize(
    ("part", "machine", "cure"), MISSING, ids=[f"{part}-{k}" for k, (part, _, _) in enumerate(MISSING)]
)
def test_what_is_missing_is_named_with_its_cure(settings: Settings, part: str, machine: Machine, cure: str) -> None:
    """Each part that is taken away is the part that is named, with the line that brings it back."""
    finding = by_part(settings, machine)[part]
    assert not finding.ok
    assert cure in finding.cure
    assert finding.found
    assert finding.needed_for


def test_a_microphone_that_never_delivers_is_missing(settings: Settings) -> None:
    """A device that opens and then says nothing is no microphone."""
    finding = by_part(settings, healthy(FakeSound(sample=None)))["microphone"]
    assert not finding.ok
    assert "Headset delivers no sound" in finding.found


def test_without_portaudio_no_device_is_looked_for(settings: Settings) -> None:
    """One cause, one line: the devices cannot be judged without the library."""
    found = by_part(settings, healthy(FakeSound(portaudio=False)))
    assert "microphone" not in found
    assert "loudspeaker" not in found


def test_a_folder_in_whose_place_a_file_stands_is_named(settings: Settings) -> None:
    """The folder, the reason, and the setting that chooses another."""
    settings.data_folder.write_text("in the way")
    finding = by_part(settings, healthy())["folder of visits"]
    assert not finding.ok
    assert str(settings.data_folder) in finding.found
    assert "data_folder" in finding.cure


def test_the_command_writes_json_lines_only_and_exits_with_3_when_something_is_missing(tmp_path: Path) -> None:
    """`doctor --json`: one object a part on standard output, nothing else there; exit code 0 or 3 accordingly."""
    done = subprocess.run(
        [sys.executable, "-m", "handsfree", "doctor", "--json"],
        env={**os.environ, "HANDSFREE_HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    findings = [json.loads(line) for line in done.stdout.splitlines()]
    assert {"part", "ok", "found", "cure", "needed_for"} == set(findings[0])
    assert done.returncode == (0 if all(f["ok"] for f in findings) else 3)
    assert all(f["cure"] for f in findings if not f["ok"])
    assert {"Python", "PortAudio", "voice", "folder of visits"} <= {f["part"] for f in findings}


def test_the_command_without_json_shows_part_and_cure(tmp_path: Path) -> None:
    """For people: a line a part; a missing one with its cure below."""
    done = subprocess.run(
        [sys.executable, "-m", "handsfree", "doctor"],
        env={**os.environ, "HANDSFREE_HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode in (0, 3)
    assert "ok       Python" in done.stdout
    assert done.stdout.count("\nmissing") == done.stdout.count("cure: ")


def test_own_words_that_do_not_read(settings: Settings) -> None:
    """A file of own words that clashes is named with its line and what to do; one that reads is counted."""
    settings.aliases_file.write_text('[words]\nbottle = "kettle"\n', encoding="utf-8")
    finding = by_part(settings, healthy())["grammar and own words"]
    assert not finding.ok
    assert "line 2: 'bottle'" in finding.found
    assert finding.cure
    settings.aliases_file.write_text('[words]\nbottle = "vessel_charge"\n', encoding="utf-8")
    assert by_part(settings, healthy())["grammar and own words"].found.startswith("1 own word in ")
