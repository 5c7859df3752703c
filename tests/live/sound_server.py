"""A sound server of a test's own: a virtual microphone to play into, a virtual loudspeaker to listen to."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType

import numpy as np
from numpy.typing import NDArray

CAPTURE_RATE = 16_000
"""Hz, of what is captured from the loudspeaker"""
_PROGRAMS = ("pulseaudio", "pactl", "paplay", "pacat", "parec")
_HISS_VOLUME = 6_000
"""of 65536, on the server's cubic scale: white noise at about -67 dB of full scale. A room is never as quiet as digital
silence, and a microphone that delivers nothing but zeros counts as lost."""


def why_not_here() -> str:
    """Why no sound server can be started on this machine; empty when it can."""
    missing = [name for name in _PROGRAMS if shutil.which(name) is None]
    if missing:
        return f"not installed: {', '.join(missing)} (apt install pulseaudio pulseaudio-utils)"
    try:
        import sounddevice  # noqa: F401
    except (ImportError, OSError) as error:
        return f"sounddevice or PortAudio is missing: {error}"
    if not list(Path("/usr/lib").glob("*/alsa-lib/libasound_module_pcm_pulse.so")):
        return "not installed: ALSA's plugin for PulseAudio (apt install libasound2-plugins)"
    return ""


class SoundServer:
    """A private PulseAudio server. Use it as a context manager; PortAudio then finds the devices "pulse" and "default".

    Args:
        set_environment: called with a name and a value; a test gives `monkeypatch.setenv`. PortAudio must be restarted
            afterwards (`PortAudio().restart()`), or be used in a process started with `environment`.
        hiss: a faint noise in the virtual microphone, as every room has it.
        leak: the loudspeaker is heard in the microphone, as in every room.
    """

    def __init__(
        self, set_environment: Callable[[str, str], None] | None = None, *, hiss: bool = True, leak: bool = False
    ) -> None:
        self._set_environment = set_environment
        self._hiss = hiss
        self._leak = leak
        self._folder = Path(tempfile.mkdtemp(prefix="hs-"))  # short: a socket's path may have 107 characters
        self.environment = {
            **os.environ,
            "PULSE_SERVER": f"unix:{self._folder}/native",
            "PULSE_COOKIE": str(self._folder / "cookie"),
            "PULSE_RUNTIME_PATH": str(self._folder / "pulse"),
            "XDG_RUNTIME_DIR": str(self._folder),
            "HOME": str(self._folder),
        }
        self._running: list[subprocess.Popen[bytes]] = []
        self._captured: list[bytes] = []

    def __enter__(self) -> SoundServer:
        try:
            self._start()
        except BaseException:
            self._end()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._end()

    def play_into_microphone(self, path: Path) -> subprocess.Popen[bytes]:
        """Play a sound file into the virtual microphone. Returns at once; the process ends when all has been played."""
        return self._run("paplay", "--device=mic_feed", str(path))

    def from_loudspeaker(self) -> NDArray[np.float32]:
        """All that came out of the virtual loudspeaker so far: mono at CAPTURE_RATE, -1..1."""
        data = b"".join(self._captured)
        return np.frombuffer(data[: len(data) // 2 * 2], np.int16).astype(np.float32) / np.float32(32768)

    # ---- starting and ending

    def _start(self) -> None:
        native = f"module-native-protocol-unix auth-anonymous=1 socket={self._folder}/native"
        modules = [
            native,
            "module-null-sink sink_name=mic_feed rate=48000",
            "module-null-sink sink_name=loudspeaker rate=48000",
            "module-remap-source source_name=microphone master=mic_feed.monitor",
        ]
        if self._leak:
            modules.append("module-loopback source=loudspeaker.monitor sink=mic_feed latency_msec=30")
        options = [
            "-n",
            "--daemonize=no",
            "--exit-idle-time=-1",
            "--use-pid-file=no",
            "--realtime=no",
            "--disable-shm=yes",
        ]
        self._run("pulseaudio", *options, *(f"--load={module}" for module in modules))
        self._until_it_answers()
        for command in (("set-default-sink", "loudspeaker"), ("set-default-source", "microphone")):
            subprocess.run(["pactl", *command], env=self.environment, check=True, timeout=20)
        if self._set_environment is not None:
            for name in ("PULSE_SERVER", "PULSE_COOKIE", "PULSE_RUNTIME_PATH"):
                self._set_environment(name, self.environment[name])
        if self._hiss:
            self._run("pacat", "--device=mic_feed", f"--volume={_HISS_VOLUME}", "/dev/urandom")
        self._capture()

    def _until_it_answers(self) -> None:
        until = time.monotonic() + 20
        while time.monotonic() < until:
            asked = subprocess.run(
                ["pactl", "info"], env=self.environment, capture_output=True, timeout=20, check=False
            )
            if asked.returncode == 0:
                return
            time.sleep(0.1)
        raise RuntimeError("the sound server does not answer")

    def _capture(self) -> None:
        """Listen to the loudspeaker. This also keeps its delay short: alone, a null sink works in steps of seconds."""
        options = ["--device=loudspeaker.monitor", "--format=s16le", f"--rate={CAPTURE_RATE}", "--channels=1"]
        process = self._run("parec", *options, "--latency-msec=20", stdout=subprocess.PIPE)

        def read() -> None:
            assert process.stdout is not None
            while piece := process.stdout.read1(4096):
                self._captured.append(piece)
            process.stdout.close()

        threading.Thread(target=read, daemon=True).start()
        until = time.monotonic() + 20
        while len(self.from_loudspeaker()) < CAPTURE_RATE // 2:
            if time.monotonic() > until:
                raise RuntimeError("nothing can be captured from the virtual loudspeaker")
            time.sleep(0.05)

    def _run(self, *command: str, stdout: int = subprocess.DEVNULL) -> subprocess.Popen[bytes]:
        process = subprocess.Popen(command, env=self.environment, stdout=stdout, stderr=subprocess.DEVNULL)
        self._running.append(process)
        return process

    def _end(self) -> None:
        for process in reversed(self._running):
            process.terminate()
        for process in reversed(self._running):
            try:
                process.wait(5)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        shutil.rmtree(self._folder, ignore_errors=True)
