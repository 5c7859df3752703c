"""What microphone, gate and endpointing promise when they work together."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from live.driver import RATE, FakeSystem
from live.murmur import voice
from numpy.typing import NDArray

from handsfree.audio.gate import Gate
from handsfree.audio.microphone import Microphone, SoundBack, SoundLost
from handsfree.audio.utterances import LiveUtterances
from handsfree.model import Segment


def scene(seconds: float, *spoken: tuple[float, float]) -> NDArray[np.float64]:
    """Hiss with a voice from each start to each end (s)."""
    sound = 3e-4 * np.random.default_rng(2).standard_normal(round(seconds * RATE))
    for k, (start, end) in enumerate(spoken):
        said = voice(end - start, seed=k + 10, rate=RATE)
        sound[round(start * RATE) :][: len(said)] += said
    return sound


@pytest.fixture
def system() -> FakeSystem:
    return FakeSystem()


@pytest.fixture
def microphone(system: FakeSystem) -> Iterator[Microphone]:
    with Microphone("headset", system.clock, system=system) as opened:
        yield opened


def test_utterances_come_one_by_one_with_the_times_of_the_microphone(
    system: FakeSystem, microphone: Microphone
) -> None:
    """Two utterances in the queue are two answers, then comes silence."""
    live = LiveUtterances(microphone, Gate(), clock=system.clock)
    start = system.now
    system.send_sound(scene(6.0, (2.0, 3.0), (4.0, 4.8)))
    first, second = live.next(0.0), live.next(0.0)
    assert isinstance(first, Segment)
    assert isinstance(second, Segment)
    assert first.speech_start_s == pytest.approx(start + 2.0, abs=0.1)
    assert second.speech_start_s == pytest.approx(start + 4.0, abs=0.1)
    assert live.next(0.0) is None


def test_what_was_captured_while_we_spoke_is_not_heard(system: FakeSystem, microphone: Microphone) -> None:
    """Of two utterances the one during our own voice is dropped, though it is read long after."""
    gate = Gate()
    live = LiveUtterances(microphone, gate, clock=system.clock)
    start = system.now
    system.send_sound(scene(6.0, (2.0, 3.0), (4.0, 4.8)))
    gate.close_between(start + 1.9, start + 3.1)
    only = live.next(0.0)
    assert isinstance(only, Segment)
    assert only.speech_start_s == pytest.approx(start + 4.0, abs=0.1)
    assert not only.damaged
    assert live.next(0.0) is None


def test_an_answer_into_the_end_of_a_prompt_is_damaged(system: FakeSystem, microphone: Microphone) -> None:
    """What began while our own voice still sounded has lost its beginning, also behind the very first prompt."""
    gate = Gate()
    live = LiveUtterances(microphone, gate, clock=system.clock)
    gate.close_between(system.now, system.now + 2.5)
    system.send_sound(scene(5.0, (2.0, 3.5)))
    answer = live.next(0.0)
    assert isinstance(answer, Segment)
    assert answer.damaged == "the beginning was not heard"


def test_a_lost_microphone_gives_what_was_said_as_damaged_and_then_the_news(
    system: FakeSystem, microphone: Microphone
) -> None:
    """Half an utterance is never taken for a whole one; when sound is back, that is told too."""
    live = LiveUtterances(microphone, Gate(), clock=system.clock)
    system.send_sound(scene(3.0, (2.0, 3.0)))
    system.now += 2.5
    segment, news = live.next(0.0), live.next(0.0)
    assert isinstance(segment, Segment)
    assert "stopped" in segment.damaged
    assert isinstance(news, SoundLost)
    system.now += 1.1
    assert live.next(0.0) is None
    system.send()
    assert isinstance(live.next(0.0), SoundBack)


def test_listening_ahead_gets_the_sound_that_the_utterance_will_have(
    system: FakeSystem, microphone: Microphone
) -> None:
    """`ahead` is called once for each pause; its last call has the samples of the utterance that follows."""
    ahead: list[Segment] = []
    live = LiveUtterances(microphone, Gate(), ahead=ahead.append, clock=system.clock)
    system.send_sound(scene(6.0, (2.0, 3.0), (3.35, 4.2)))
    segment = live.next(0.0)
    assert isinstance(segment, Segment)
    assert 1 <= len(ahead) <= 2
    assert np.array_equal(ahead[-1].samples, segment.samples)


def test_forgetting_drops_what_was_said_and_what_is_being_said(system: FakeSystem, microphone: Microphone) -> None:
    """After `forget` only what is captured from then on is heard."""
    live = LiveUtterances(microphone, Gate(), clock=system.clock)
    system.send_sound(scene(6.0, (2.0, 3.0), (4.0, 6.0)))
    assert isinstance(live.next(0.0), Segment)
    live.forget()
    system.send_sound(scene(2.0))
    assert live.next(0.0) is None
