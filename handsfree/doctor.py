"""This machine in, what is missing on it out, each with its cure."""

from __future__ import annotations

import importlib.util
import itertools
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, Protocol

import numpy as np

from handsfree.audio.levels import measure_levels
from handsfree.audio.microphone import Microphone
from handsfree.audio.portaudio import PIP_LINE, Device, PortAudio, SoundSystem
from handsfree.errors import HandsfreeError, MissingPart
from handsfree.language import load_language
from handsfree.model import Block
from handsfree.settings import Settings
from handsfree.voice.playback import Loudspeaker
from handsfree.voice.synthesis import NotRendered, Synthesiser

LEAST_PYTHON = (3, 11)
LEAST_FREE = 500 * 10**6
"""bytes: two hours of clips take half of it"""
_HEAR_LINE = "pip install 'handsfree[hear]'"


@dataclass(frozen=True, slots=True)
class Finding:
    """One part of the machine, looked at."""

    part: str
    ok: bool
    found: str
    """what is there, or what is wrong; plain words"""
    cure: str = ""
    """the line to run or the thing to do; empty when nothing is wrong"""
    needed_for: str = ""
    """what does not work without it"""


class Sound(SoundSystem, Protocol):
    """The machine's sound, with devices that can be looked up."""

    def devices(self) -> list[Device]: ...
    def find(self, name: str, kind: Literal["input", "output"]) -> Device: ...


@dataclass(frozen=True, slots=True)
class Machine:
    """What is looked at; other values in tests."""

    sound: Sound
    synthesiser: Callable[[Path], Synthesiser]
    """given a folder for its cache"""
    python: tuple[int, int, int]
    installed: Callable[[str], bool]
    """name of a Python package -> can it be imported"""
    free_bytes: Callable[[Path], int]


def this_machine(settings: Settings) -> Machine:
    """The machine that we run on."""
    return Machine(
        sound=PortAudio(),
        synthesiser=lambda folder: Synthesiser(folder, settings.voice),
        python=(sys.version_info.major, sys.version_info.minor, sys.version_info.micro),
        installed=lambda name: importlib.util.find_spec(name) is not None,
        free_bytes=lambda folder: shutil.disk_usage(folder).free,
    )


def examine(settings: Settings, machine: Machine | None = None) -> Iterable[Finding]:
    """Look at every part, in the order in which a visit needs them. Each finding comes as soon as it is known."""
    machine = machine or this_machine(settings)
    yield _python(machine)
    sound = _portaudio(machine)
    yield sound
    if sound.ok:
        yield _microphone(machine, settings)
        yield _loudspeaker(machine, settings)
    yield _voice(machine)
    yield from _listeners(machine, settings)
    yield _own_words(settings)
    yield _package(machine, "CoolProp", "properties of water and flue gas", "pip install CoolProp")
    yield _folder(machine, "visits", settings.data_folder, "saving visits", "data_folder")
    yield _folder(machine, "models", settings.model_folder, "handsfree model add", "model_folder")
    yield _folder(machine, "cache", settings.cache_folder, "a quick start and a quick voice", "cache_folder")


def _python(machine: Machine) -> Finding:
    version = ".".join(map(str, machine.python))
    ok = machine.python[:2] >= LEAST_PYTHON
    wanted = ".".join(map(str, LEAST_PYTHON))
    return Finding("Python", ok, version, "" if ok else f"install Python {wanted} or later", "everything")


def _portaudio(machine: Machine) -> Finding:
    needed_for = "live visits (--from mic, --voice spoken)"
    try:
        count = len(machine.sound.devices())
    except MissingPart as error:
        return Finding("PortAudio", False, error.message, error.hint, needed_for)
    return Finding("PortAudio", True, f"{count} sound device{'' if count == 1 else 's'}", needed_for=needed_for)


def _microphone(machine: Machine, settings: Settings) -> Finding:
    needed_for = "live visits (--from mic)"
    try:
        with Microphone(settings.microphone, system=machine.sound) as microphone:
            name = microphone.device_name
            # Half a second: the first blocks may still be empty while the device wakes up.
            arrivals = itertools.islice(iter(lambda: microphone.read(1.0), None), 25)
            blocks = [arrival for arrival in arrivals if isinstance(arrival, Block)]
    except MissingPart as error:
        return Finding("microphone", False, error.message, error.hint, needed_for)
    if not blocks:
        return Finding(
            "microphone", False, f"{name} delivers no sound", "unplug and plug it, or choose another", needed_for
        )
    samples = np.concatenate([block.samples for block in blocks])
    if not samples.any():
        return Finding(
            "microphone", False, f"{name} delivers nothing but zeros", "it may be muted: unmute it", needed_for
        )
    level = measure_levels(samples.astype(np.float32) / np.float32(32768)).rms_db
    return Finding("microphone", True, f"{name}, {blocks[-1].rate} Hz, {level:.0f} dB now", needed_for=needed_for)


def _loudspeaker(machine: Machine, settings: Settings) -> Finding:
    needed_for = "a spoken voice (--voice spoken)"
    try:
        device = machine.sound.find(settings.loudspeaker, "output")
    except MissingPart as error:
        return Finding("loudspeaker", False, error.message, error.hint, needed_for)
    played = Loudspeaker(settings.loudspeaker, system=machine.sound).play(np.zeros(800, np.float32), 16_000)
    if not played.ok:
        cure = "check that no other program holds it, or choose another"
        return Finding("loudspeaker", False, f"{device.name}: {played.reason}", cure, needed_for)
    return Finding("loudspeaker", True, f"{device.name}, {device.rate} Hz", needed_for=needed_for)


def _voice(machine: Machine) -> Finding:
    needed_for = "a spoken voice (--voice spoken)"
    if not machine.installed("pyttsx3"):
        return Finding("voice", False, "the Python package pyttsx3 is not installed", PIP_LINE, needed_for)
    with tempfile.TemporaryDirectory(prefix="handsfree-doctor-") as folder:
        synthesiser = machine.synthesiser(Path(folder))
        try:
            rendered = synthesiser.render("ready", 130)
        finally:
            synthesiser.close()
    if isinstance(rendered, NotRendered):
        return Finding("voice", False, rendered.reason, "sudo apt install espeak-ng", needed_for)
    return Finding("voice", True, f"renders at {rendered.rate} Hz", needed_for=needed_for)


def _listeners(machine: Machine, settings: Settings) -> Iterable[Finding]:
    from handsfree.listeners.models import find_vosk_models, find_wheel_model, wheel_models

    needed_for = "hearing (visit from recordings or microphone, hear)"
    yield _package(machine, "onnxruntime", needed_for, _HEAR_LINE)
    for name, model in wheel_models().items():
        part = f"listener {name}"
        try:
            find_wheel_model(name)
        except HandsfreeError as error:
            yield Finding(part, False, error.message, error.hint or _HEAR_LINE, needed_for)
        else:
            yield Finding(part, True, f"weights of {model.package} {model.version}", needed_for=needed_for)
    if not machine.installed("vosk"):
        yield Finding("listener vosk", False, "the Python package vosk is not installed", _HEAR_LINE, needed_for)
        return
    models = find_vosk_models(settings.model_folder)
    if not models:
        cure = "handsfree model add FOLDER_OR_ZIP (a model in Vosk's format)"
        yield Finding("listener vosk", False, "no model in Vosk's format", cure, needed_for)
    else:
        yield Finding("listener vosk", True, f"model {models[0].name} ({models[0].source})", needed_for=needed_for)


def _own_words(settings: Settings) -> Finding:
    needed_for = "visit, hear, understand, review"
    try:
        own = load_language(aliases=settings.aliases_file).grammar.aliases
    except HandsfreeError as error:
        return Finding("grammar and own words", False, error.message, error.hint, needed_for)
    found = f"{len(own)} own word{'' if len(own) == 1 else 's'} in {settings.aliases_file}" if own else "no own words"
    return Finding("grammar and own words", True, found, needed_for=needed_for)


def _package(machine: Machine, name: str, needed_for: str, cure: str) -> Finding:
    if machine.installed(name):
        return Finding(name, True, "installed", needed_for=needed_for)
    return Finding(name, False, f"the Python package {name} is not installed", cure, needed_for)


def _folder(machine: Machine, part: str, folder: Path, needed_for: str, key: str) -> Finding:
    """A folder need not exist; what it would be made in must take files."""
    there = next(place for place in (folder, *folder.parents) if place.exists())
    try:
        if not there.is_dir():
            raise NotADirectoryError(20, f"{there} is a file")
        with tempfile.TemporaryFile(dir=there) as probe:
            probe.write(b"x")
    except OSError as error:
        found = f"{folder} cannot be written ({error.strerror or error})"
        return Finding(f"folder of {part}", False, found, f"set {key} in the settings", needed_for)
    free = machine.free_bytes(there)
    if free < LEAST_FREE:
        found = f"{folder}: {free / 1e6:.0f} MB free, {LEAST_FREE / 1e6:.0f} MB are wanted"
        return Finding(f"folder of {part}", False, found, "free some disk space", needed_for)
    return Finding(f"folder of {part}", True, f"{folder}, {free / 1e9:.1f} GB free", needed_for=needed_for)
