"""What every speaker promises, and how the spoken one degrades."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from handsfree.audio.gate import Gate
from handsfree.audio.portaudio import Device, FillSamples, OnSamples
from handsfree.dialogue.effects import Faster, Louder, Quieter, Slower
from handsfree.errors import BadInput, MissingPart
from handsfree.model import Block
from handsfree.settings import default_settings
from handsfree.voice import open_speaker
from handsfree.voice.cues import RATE, cue_names, cue_samples
from handsfree.voice.playback import Loudspeaker, Played
from handsfree.voice.printed import BELL
from handsfree.voice.spoken import SpokenSpeaker
from handsfree.voice.synthesis import NotRendered, Rendered


class FakeRenderer:
    """Renders a second of sound, or answers with the reasons that it was given, one after the other."""

    def __init__(self, *reasons: NotRendered) -> None:
        self.reasons = list(reasons)
        self.asked: list[tuple[str, int]] = []
        self.closed = False

    def render(self, text: str, words_a_minute: int) -> Rendered | NotRendered:
        self.asked.append((text, words_a_minute))
        return self.reasons.pop(0) if self.reasons else Rendered(np.full(1000, 0.8, np.float32), 1000)

    def close(self) -> None:
        self.closed = True


class FakePlayer:
    """Plays on a clock of its own, unless it is broken."""

    def __init__(self) -> None:
        self.now = 10.0
        self.broken = False
        self.peaks: list[float] = []
        self.starts = 0

    def clock(self) -> float:
        return self.now

    def play(self, samples: NDArray[np.float32], rate: int, on_start: Callable[[float], None] | None = None) -> Played:
        start = self.now
        self.starts += 1
        if on_start:
            on_start(start)
        if self.broken:
            self.now += 3.0
            return Played(start, self.now, False, "the loudspeaker does not take any sound")
        self.peaks.append(float(np.abs(samples).max()))
        self.now += len(samples) / rate
        return Played(start, self.now, True)

    def stop(self) -> None: ...


@dataclass
class Stage:
    renderer: FakeRenderer = field(default_factory=FakeRenderer)
    player: FakePlayer = field(default_factory=FakePlayer)
    written: list[str] = field(default_factory=list)

    def speaker(self, gate: Gate | None = None) -> SpokenSpeaker:
        return SpokenSpeaker(self.renderer, self.player, self.written.append, gate=gate, clock=self.player.clock)


def test_a_spoken_text_is_rendered_played_and_not_written() -> None:
    """`say` tells when the sound began and ended."""
    stage = Stage()
    spoken = stage.speaker().say("flow temperature?")
    assert (spoken.start_s, spoken.end_s, spoken.ok) == (10.0, 11.0, True)
    assert stage.renderer.asked == [("flow temperature?", 130)]
    assert stage.written == []


@pytest.mark.parametrize("text", ["", "  "])
def test_nothing_to_say_is_said_without_a_sound(text: str) -> None:
    """An empty text costs nothing."""
    stage = Stage()
    assert stage.speaker().say(text).ok
    assert stage.renderer.asked == []


def test_a_text_that_cannot_be_rendered_is_written_with_a_bell_and_the_next_is_spoken() -> None:
    """One failure costs one sentence its sound; the engineer is told once what happened."""
    stage = Stage(FakeRenderer(NotRendered("the driver rendered no sound"), NotRendered("again")))
    speaker = stage.speaker()
    assert speaker.say("one").ok
    assert "the driver rendered no sound" in stage.written[0]
    assert stage.written[1:] == [BELL + "one"]
    stage.player.now += 1000
    speaker.say("two")
    stage.player.now += 1000
    speaker.say("three")
    assert stage.written[2:] == [BELL + "two"]
    assert stage.player.starts == 1


def test_a_voice_that_is_dead_for_good_is_not_asked_again() -> None:
    """After the synthesiser has given up, every text is written at once."""
    stage = Stage(FakeRenderer(NotRendered("the voice has failed too often", for_good=True)))
    speaker = stage.speaker()
    for text in ("one", "two"):
        assert speaker.say(text).ok
        stage.player.now += 10_000
    assert stage.written[1:] == [BELL + "one", BELL + "two"]
    assert len(stage.renderer.asked) == 1


def test_a_dead_loudspeaker_rests_for_a_minute_and_is_then_tried_again() -> None:
    """Attempts cost seconds, so after two in a row they stop for a minute; when sound returns, so does the voice."""
    stage = Stage()
    speaker = stage.speaker()
    stage.player.broken = True
    for text in ("one", "two", "three", "four"):
        assert speaker.say(text).ok
    assert stage.written[1:] == [BELL + t for t in ("one", "two", "three", "four")]
    assert stage.player.starts == 2
    stage.player.broken = False
    stage.player.now += 61
    speaker.say("five")
    speaker.say("six")
    assert len(stage.written) == 5
    assert stage.player.starts == 4


def test_a_cue_of_a_dead_loudspeaker_rings_the_bell() -> None:
    """A cue must reach the engineer one way or another."""
    stage = Stage()
    stage.player.broken = True
    assert stage.speaker().cue("hold").ok
    assert stage.written[-1] == BELL


def test_louder_quieter_and_slower_are_obeyed_up_to_their_ends() -> None:
    """Each step changes what is played or rendered next; at the end of the scale the answer is no."""
    stage = Stage()
    speaker = stage.speaker()
    speaker.say("a")
    assert speaker.adjust(Louder())
    speaker.say("a")
    assert speaker.adjust(Quieter())
    assert speaker.adjust(Quieter())
    speaker.say("a")
    usual, louder, quieter = stage.player.peaks
    assert quieter < usual < louder <= 1.0
    while speaker.adjust(Louder()):
        pass
    speaker.say("a")
    assert stage.player.peaks[-1] <= 1.0
    while speaker.adjust(Quieter()):
        pass
    speaker.say("a")
    assert stage.player.peaks[-1] > 0.05
    while speaker.adjust(Slower()):
        pass
    speaker.say("a")
    speeds = [speed for _, speed in stage.renderer.asked]
    assert speeds[0] == 130
    assert speeds[-1] == 90


def test_the_gate_is_closed_before_the_sound_and_opened_behind_it() -> None:
    """What the microphone captures while we speak is dropped, even where it is read during the speech."""
    stage = Stage()
    gate = Gate(lead_s=0.0, tail_s=0.0)
    block = Block(np.ones(3000, np.int16), 1000, 9.0)
    seen_during: list[int] = []
    play = stage.player.play

    def spying(samples: NDArray[np.float32], rate: int, on_start: Callable[[float], None] | None = None) -> Played:
        played = play(samples, rate, on_start)
        seen_during.append(sum(len(b.samples) for b in gate.let_through(block)))
        return played

    stage.player.play = spying  # type: ignore[method-assign]
    stage.speaker(gate).say("flow temperature?")
    assert seen_during == [1000]
    assert sum(len(b.samples) for b in gate.let_through(block)) == 2000


def test_closing_ends_the_renderer() -> None:
    """No process is left behind."""
    stage = Stage()
    stage.speaker().close()
    assert stage.renderer.closed


# ------------------------------------------------------------------------------------------------ playback


@dataclass
class FakeOut:
    device: Device
    rate: int
    channels: int = 1
    latency_s: float = 0.0
    closed: bool = False

    def close(self) -> None:
        self.closed = True


class FakeOutput:
    """A sound system that takes blocks in a thread of its own, as a driver does; it can hang, or not be there."""

    def __init__(self, rate: int = 8000, *, hangs_at: int | None = None, missing: bool = False) -> None:
        self.rate = rate
        self.hangs_at = hangs_at
        self.missing = missing
        self.taken = b""
        self.stream: FakeOut | None = None
        self.took = threading.Event()
        self.go_on = threading.Event()
        self.go_on.set()

    def open_output(self, name: str, make: Callable[[int], FillSamples], on_end: Callable[[], None]) -> FakeOut:
        if self.missing:
            raise MissingPart("no loudspeaker found", "connect one")
        fill = make(self.rate)
        self.stream = FakeOut(Device(0, "Speaker", 0, 2, self.rate), self.rate)

        def drive() -> None:
            for k in range(10_000):
                if k == self.hangs_at:
                    return
                if k > 20:
                    self.go_on.wait(5)
                piece, last = fill(80, 0.001)
                self.taken += piece
                self.took.set()
                if last:
                    on_end()
                    return

        threading.Thread(target=drive, daemon=True).start()
        return self.stream

    def open_input(self, name: str, on_samples: OnSamples) -> FakeOut:
        raise NotImplementedError

    def restart(self) -> None: ...

    def playing(self) -> contextlib.AbstractContextManager[None]:
        return contextlib.nullcontext()


def test_all_samples_reach_the_device_at_its_own_rate() -> None:
    """A tone at 16 kHz is the same tone, as long and as loud, at the device's 8 kHz."""
    system = FakeOutput(8000)
    tone = (0.5 * np.sin(2 * np.pi * 500 * np.arange(4000) / 16_000)).astype(np.float32)
    assert Loudspeaker(system=system).play(tone, 16_000).ok
    heard = np.trim_zeros(np.frombuffer(system.taken, np.int16)) / 32767
    assert len(heard) == pytest.approx(2000, abs=30)
    assert np.abs(heard).max() == pytest.approx(0.5, abs=0.03)
    assert np.argmax(np.abs(np.fft.rfft(heard, 8000))) == pytest.approx(500, abs=3)
    assert system.stream is not None
    assert system.stream.closed


def test_too_loud_samples_are_limited() -> None:
    """Beyond full scale is full scale, never a crackle of wrapped numbers."""
    system = FakeOutput()
    Loudspeaker(system=system).play(np.full(800, 3.0, np.float32), 8000)
    assert np.frombuffer(system.taken, np.int16).min() >= 0
    assert np.frombuffer(system.taken, np.int16).max() == 32767


def test_a_stopped_sound_ends_soon_and_softly() -> None:
    """`stop` from another thread: the rest is not played, and the last samples fade."""
    system = FakeOutput()
    loudspeaker = Loudspeaker(system=system)
    system.go_on.clear()

    def stop() -> None:
        system.took.wait(5)
        loudspeaker.stop()
        system.go_on.set()

    threading.Thread(target=stop).start()
    played = loudspeaker.play(np.full(80_000, 0.5, np.float32), 8000)
    assert played.ok
    assert played.reason == "stopped"
    heard = np.trim_zeros(np.frombuffer(system.taken, np.int16))
    assert 500 < len(heard) < 8000
    assert abs(int(heard[-1])) < 1000


@pytest.mark.parametrize(
    ("system", "reason"),
    [
        (FakeOutput(missing=True), "no loudspeaker found"),
        (FakeOutput(hangs_at=0), "does not take any sound"),
        (FakeOutput(hangs_at=3), "has stopped taking sound"),
    ],
    ids=["none", "hangs at once", "hangs later"],
)
def test_a_loudspeaker_that_fails_gives_a_reason(system: FakeOutput, reason: str) -> None:
    """No device, or a driver that hangs: the answer is a reason, not an error and not for ever."""
    played = Loudspeaker(system=system).play(np.full(800, 0.5, np.float32), 8000)
    assert not played.ok
    assert reason in played.reason


# ------------------------------------------------------------------------------------------- the other ones


@pytest.mark.parametrize("name", [*cue_names(), "a cue that nobody drew"])
def test_every_cue_is_a_short_soft_edged_tone(name: str) -> None:
    """Audible, under a second, within full scale, without a click at either end; also a name that we do not know."""
    tone = cue_samples(name)
    assert 0.05 < len(tone) / RATE < 1.0
    assert 0.1 < np.abs(tone).max() <= 1.0
    assert abs(float(tone[0])) < 0.01
    assert abs(float(tone[-1])) < 0.01


def test_no_two_cues_sound_alike() -> None:
    """A cue that can be taken for another says nothing."""
    tones = [cue_samples(name).tobytes() for name in cue_names()]
    assert len(set(tones)) == len(tones)


def test_the_printed_voice_writes_what_it_would_say() -> None:
    """A line a text, no bell, and a cue writes nothing."""
    written: list[str] = []
    speaker = open_speaker("printed", default_settings(), written.append)
    assert speaker.say("flow temperature?").ok
    speaker.cue("hold")
    assert not speaker.adjust(Louder())
    speaker.stop()
    speaker.close()
    assert written == ["flow temperature?"]


def test_the_silent_voice_says_nothing_and_does_not_claim_to() -> None:
    """Nothing is written, and `ok` is false."""
    written: list[str] = []
    speaker = open_speaker("none", default_settings(), written.append)
    assert not speaker.say("flow temperature?").ok
    assert not speaker.cue("hold").ok
    assert written == []


def test_a_kind_of_voice_that_does_not_exist_is_refused_with_those_that_do() -> None:
    """A typing error is named."""
    with pytest.raises(BadInput, match="loud") as caught:
        open_speaker("loud", default_settings(), print)  # type: ignore[arg-type]
    assert "spoken, printed or none" in caught.value.hint


def test_a_spoken_voice_opens_without_touching_device_or_disk(tmp_path: Path) -> None:
    """Opening must be quick and cannot fail: what is missing shows, and degrades, with the first sentence."""
    settings = replace(default_settings(), cache_folder=tmp_path / "cache")
    open_speaker("spoken", settings, print).close()
    assert list(tmp_path.iterdir()) == []


def test_faster_is_obeyed_up_to_its_end_and_a_brisk_sentence_is_quicker() -> None:
    """What is not brisk keeps the careful pace; brisk with a number is quicker, without one quicker still; numbers
    have an end of their own."""
    stage = Stage()
    speaker = stage.speaker()
    sentences = (("one point two bar", False), ("Pressure, one bar right?", True), ("Flue test point: C O two?", True))
    for text, brisk in sentences:
        speaker.say(text, brisk=brisk)
    while speaker.adjust(Faster()):
        pass
    for text, brisk in sentences[:2]:
        speaker.say(text, brisk=brisk)
    speeds = [speed for _, speed in stage.renderer.asked]
    assert speeds == [130, 176, 221, 175, 190]
