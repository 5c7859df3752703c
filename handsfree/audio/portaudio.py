"""The one door to PortAudio: devices by name, streams in and out, and a restart that sees new devices."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Literal, Protocol

from handsfree.errors import MissingPart

OnSamples = Callable[[bytes, float, bool], None]
"""16-bit samples, channels interleaved; age of the first one (s; 0 = not known); samples were lost before it"""
FillSamples = Callable[[int, float], tuple[bytes, bool]]
"""frames wanted, s until the first of them sounds -> that many 16-bit mono frames, and whether these are the last"""

APT_LINE = "sudo apt install libportaudio2"
PIP_LINE = "pip install 'handsfree[live]'"
_CLOSE_S = 2.0
_OUTPUT_LATENCY_S = 0.1
_RATES = (48_000, 44_100, 16_000)

# PortAudio is one library with one state in a process. Restarting it (the only way to see a new device) ends every
# stream, so a restart must wait for whoever is playing.
_LIBRARY = threading.RLock()


@dataclass(frozen=True, slots=True)
class Device:
    """A device as PortAudio lists it."""

    index: int
    name: str
    inputs: int
    """channels"""
    outputs: int
    """channels"""
    rate: int
    """Hz, its own"""


class OpenStream(Protocol):
    """A stream that runs until it is closed."""

    @property
    def device(self) -> Device: ...
    @property
    def rate(self) -> int: ...
    @property
    def channels(self) -> int: ...
    @property
    def latency_s(self) -> float:
        """s between the program and the air"""

    def close(self) -> None: ...


class SoundSystem(Protocol):
    """What microphone and loudspeaker need of the machine; PortAudio, or a stand-in in tests."""

    def open_input(self, name: str, on_samples: OnSamples) -> OpenStream: ...
    def open_output(self, name: str, make: Callable[[int], FillSamples], on_end: Callable[[], None]) -> OpenStream: ...
    def restart(self) -> None: ...
    def playing(self) -> contextlib.AbstractContextManager[None]: ...


def load_sounddevice() -> Any:
    """The sounddevice module, imported late: its import fails where PortAudio is missing.

    Raises:
        MissingPart: the Python package or the library is not there; the hint is the line that installs it.
    """
    try:
        import sounddevice
    except ImportError:
        raise MissingPart("the Python package sounddevice is not installed", PIP_LINE) from None
    except OSError:
        raise MissingPart("PortAudio is not installed", APT_LINE) from None
    return sounddevice


class PortAudio:
    """The machine's own devices."""

    def __init__(self) -> None:
        self._closing: list[threading.Thread] = []

    def devices(self) -> list[Device]:
        """All devices, in PortAudio's order.

        Raises:
            MissingPart: no PortAudio.
        """
        sd = load_sounddevice()
        try:
            return [_device(index, found) for index, found in enumerate(sd.query_devices())]
        except sd.PortAudioError as error:
            raise MissingPart(f"PortAudio cannot list the sound devices ({error})", "start the sound server") from None

    def find(self, name: str, kind: Literal["input", "output"]) -> Device:
        """The device whose name contains `name`, whatever the case; the system's default where `name` is empty.

        Raises:
            MissingPart: no PortAudio, no device at all, or none of that name (the hint lists those there are).
        """
        sd = load_sounddevice()
        role = "microphone" if kind == "input" else "loudspeaker"
        fit = [d for d in self.devices() if (d.inputs if kind == "input" else d.outputs)]
        if not fit:
            raise MissingPart(f"no {role} found", "connect one, or start the sound server")
        if not name:
            index = sd.default.device[0 if kind == "input" else 1]
            return next((d for d in fit if d.index == index), fit[0])
        wanted = name.casefold()
        exact = [d for d in fit if d.name.casefold() == wanted]
        near = exact or [d for d in fit if wanted in d.name.casefold()]
        if not near:
            raise MissingPart(f"no {role} named {name!r}", f"there are: {', '.join(d.name for d in fit)}")
        return near[0]

    def open_input(self, name: str, on_samples: OnSamples) -> OpenStream:
        """Start capturing. `on_samples` runs in PortAudio's thread: it must return at once.

        Raises:
            MissingPart: no such device, or it does not open.
        """
        sd = load_sounddevice()
        device = self.find(name, "input")

        def callback(data: Any, frames: int, time: Any, status: Any) -> None:
            adc = time.inputBufferAdcTime
            on_samples(bytes(data), time.currentTime - adc if adc > 0 else 0.0, bool(status.input_overflow))

        def make(rate: int, channels: int) -> Any:
            return sd.RawInputStream(
                samplerate=rate,
                blocksize=rate // 50,
                device=device.index,
                channels=channels,
                dtype="int16",
                latency="high",
                callback=callback,
            )

        return self._open(sd, device, device.inputs, make, "microphone")

    def open_output(self, name: str, make: Callable[[int], FillSamples], on_end: Callable[[], None]) -> OpenStream:
        """Start playing.

        Args:
            name: the loudspeaker.
            make: given the device's rate (Hz), gives what fills its blocks; that runs in PortAudio's thread.
            on_end: called once the last block has been handed over, or the stream died.

        Raises:
            MissingPart: no such device, or it does not open.
        """
        sd = load_sounddevice()
        device = self.find(name, "output")

        def make_stream(rate: int, channels: int) -> Any:
            fill = make(rate)

            def callback(out: Any, frames: int, time: Any, status: Any) -> None:
                mono, last = fill(frames, max(time.outputBufferDacTime - time.currentTime, 0.0))
                out[:] = mono if channels == 1 else _doubled(mono)
                if last:
                    raise sd.CallbackStop

            return sd.RawOutputStream(
                samplerate=rate,
                device=device.index,
                channels=channels,
                dtype="int16",
                latency=_OUTPUT_LATENCY_S,
                callback=callback,
                finished_callback=on_end,
            )

        return self._open(sd, device, device.outputs, make_stream, "loudspeaker")

    def restart(self) -> None:
        """Start PortAudio anew, so that it sees devices that came and went. Every open stream is dead afterwards.

        Nothing happens while a driver still hangs in the closing of a stream: PortAudio would hang with it.
        """
        sd = load_sounddevice()
        self._closing[:] = [thread for thread in self._closing if thread.is_alive()]
        if self._closing:
            return
        with _LIBRARY, contextlib.suppress(sd.PortAudioError):
            sd._terminate()
            sd._initialize()

    @contextlib.contextmanager
    def playing(self) -> Iterator[None]:
        """While in here, nobody restarts PortAudio."""
        with _LIBRARY:
            yield

    def _open(self, sd: Any, device: Device, most: int, make: Callable[[int, int], Any], role: str) -> _Stream:
        """Open at the device's own rate and mono, else at what it takes."""
        why = ""
        for rate in dict.fromkeys((device.rate, *_RATES)):
            for channels in (1, 2):
                if channels > most:
                    continue
                try:
                    stream = make(rate, channels)
                    stream.start()
                except (sd.PortAudioError, OSError, ValueError) as error:
                    why = why or str(error)
                    continue
                return _Stream(stream, device, self._closing)
        raise MissingPart(f"the {role} {device.name!r} does not open ({why})", "check that no other program holds it")


class _Stream:
    """A running stream of sounddevice."""

    def __init__(self, stream: Any, device: Device, closing: list[threading.Thread]) -> None:
        self._stream = stream
        self._closing = closing
        self.device = device
        self.rate = int(stream.samplerate)
        self.channels = int(stream.channels)
        self.latency_s = float(stream.latency)

    def close(self) -> None:
        """Stop at once. A driver that hangs in it is left behind: the visit must go on."""
        closing = threading.Thread(target=self._close, daemon=True)
        closing.start()
        closing.join(_CLOSE_S)
        if closing.is_alive():
            self._closing.append(closing)

    def _close(self) -> None:
        with contextlib.suppress(Exception):
            self._stream.abort()
        with contextlib.suppress(Exception):
            self._stream.close()


def _device(index: int, found: Any) -> Device:
    return Device(
        index,
        str(found["name"]),
        int(found["max_input_channels"]),
        int(found["max_output_channels"]),
        round(found["default_samplerate"]),
    )


def _doubled(mono: bytes) -> bytes:
    import numpy as np

    return np.repeat(np.frombuffer(mono, np.int16), 2).tobytes()
