"""What microphone, endpointing, voice and gate promise together, through a real sound server."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from live.murmur import voice
from live.sound_server import SoundServer, why_not_here

from handsfree.audio.endpointing import Endpointer
from handsfree.audio.gate import Gate
from handsfree.audio.microphone import Microphone
from handsfree.audio.portaudio import PortAudio
from handsfree.model import SAMPLE_RATE, Block, Segment
from handsfree.voice.playback import Loudspeaker
from handsfree.voice.printed import BELL
from handsfree.voice.spoken import SpokenSpeaker
from handsfree.voice.synthesis import NotRendered, Rendered

pytestmark = pytest.mark.skipif(bool(why_not_here()), reason=why_not_here() or "a sound server can be started")


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[SoundServer]:
    with SoundServer(monkeypatch.setenv, leak=True) as started:
        PortAudio().restart()
        yield started
    PortAudio().restart()


def listen(
    microphone: Microphone, endpointer: Endpointer, until: Callable[[list[Segment]], bool], gate: Gate
) -> list[Segment]:
    """Segments until `until` says that it is enough, or half a minute has passed."""
    found: list[Segment] = []
    give_up = time.monotonic() + 30
    while not until(found) and time.monotonic() < give_up:
        arrival = microphone.read(0.2)
        if isinstance(arrival, Block):
            for block in gate.let_through(arrival):
                found += endpointer.push(block)
    return found


class FixedVoice:
    """Renders every text as the same murmur."""

    def render(self, text: str, words_a_minute: int) -> Rendered | NotRendered:
        return Rendered(voice(1.5, seed=7).astype(np.float32), SAMPLE_RATE)

    def close(self) -> None: ...


def test_utterances_played_into_the_microphone_come_out_with_their_boundaries(
    server: SoundServer, tmp_path: Path
) -> None:
    """Three utterances in the air are three segments, as long as they were and as far apart as they were."""
    spoken = [(0.4, 1.4), (2.6, 3.1), (4.2, 5.6)]
    sound = np.zeros(6 * SAMPLE_RATE)
    for k, (start, end) in enumerate(spoken):
        said = voice(end - start, seed=k + 10)
        sound[round(start * SAMPLE_RATE) :][: len(said)] += said
    soundfile.write(tmp_path / "spoken.wav", sound, SAMPLE_RATE)
    with Microphone() as microphone:
        endpointer = Endpointer()
        listen(microphone, endpointer, lambda found: endpointer._cutter._noise.settled, Gate())
        server.play_into_microphone(tmp_path / "spoken.wav")
        found = listen(microphone, endpointer, lambda found: len(found) == 3, Gate())
    assert len(found) == 3
    assert [s.damaged for s in found] == ["", "", ""]
    onsets = [s.speech_start_s or 0.0 for s in found]
    assert np.diff(onsets) == pytest.approx(np.diff([start for start, _ in spoken]), abs=0.15)
    for segment, (start, end) in zip(found, spoken, strict=True):
        assert segment.end_s - (segment.speech_start_s or 0.0) == pytest.approx(end - start + 0.3, abs=0.2)
        assert np.abs(segment.samples).max() > 0.1


def test_our_own_voice_is_played_but_not_heard(server: SoundServer, tmp_path: Path) -> None:
    """With the loudspeaker audible in the microphone, a prompt is played, the gate keeps it out, and an answer after it
    is heard whole; without the gate the prompt would be heard."""
    answer = tmp_path / "answer.wav"
    soundfile.write(answer, np.concatenate([np.zeros(round(0.8 * SAMPLE_RATE)), voice(0.9, seed=3)]), SAMPLE_RATE)
    gate = Gate()
    written: list[str] = []
    speaker = SpokenSpeaker(FixedVoice(), Loudspeaker(), written.append, gate=gate)
    with Microphone() as microphone:
        gated, open_ears, no_gate = Endpointer(), Endpointer(), Gate()
        blocks: list[Block] = []
        while not gated._cutter._noise.settled:
            if isinstance(arrival := microphone.read(0.2), Block):
                blocks.append(arrival)
                gated.push(arrival)
        spoken = speaker.say("flow temperature?")
        server.play_into_microphone(answer)
        end = time.monotonic() + 3.5
        while time.monotonic() < end:
            if isinstance(arrival := microphone.read(0.2), Block):
                blocks.append(arrival)
    speaker.close()
    assert spoken.ok
    assert written == []

    prompt = Rendered(voice(1.5, seed=7).astype(np.float32), SAMPLE_RATE).samples
    captured = server.from_loudspeaker()
    match = np.abs(np.correlate(captured, prompt, "valid")).max() / np.dot(prompt, prompt)
    assert match > 0.4  # played at half its level

    heard = [s for b in blocks for part in no_gate.let_through(b) for s in open_ears.push(part)] + open_ears.flush()
    assert (heard[0].speech_start_s or 0.0) < spoken.end_s - 1.0
    gated = Endpointer()
    heard = [s for b in blocks for part in gate.let_through(b) for s in gated.push(part)] + gated.flush()
    (segment,) = heard
    assert not segment.damaged
    assert segment.end_s - (segment.speech_start_s or 0.0) == pytest.approx(0.9 + 0.3, abs=0.2)


def test_a_voice_that_is_stopped_falls_silent(server: SoundServer) -> None:
    """`stop` ends a prompt in the middle; what follows is silence, and `say` has returned."""
    speaker = SpokenSpeaker(FixedVoice(), Loudspeaker(), lambda text: None)
    threading.Timer(0.6, speaker.stop).start()
    spoken = speaker.say("flow temperature?")
    speaker.close()
    assert spoken.ok
    assert spoken.reason == "stopped"
    assert 0.0 < spoken.end_s - spoken.start_s < 1.5
    time.sleep(0.3)
    sounding = np.abs(server.from_loudspeaker()) > 0.02
    assert 0.1 * SAMPLE_RATE < np.flatnonzero(sounding).max() - np.flatnonzero(sounding).min() < 1.4 * SAMPLE_RATE


def test_without_a_loudspeaker_the_text_is_written_with_a_bell(server: SoundServer) -> None:
    """A loudspeaker that does not exist costs the sound, not the visit."""
    written: list[str] = []
    speaker = SpokenSpeaker(FixedVoice(), Loudspeaker("no such thing"), written.append)
    assert speaker.say("flow temperature?").ok
    assert "no loudspeaker named 'no such thing'" in written[0]
    assert written[1:] == [BELL + "flow temperature?"]
