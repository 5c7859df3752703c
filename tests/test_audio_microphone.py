"""What the microphone promises when drivers stall, fall silent, lose samples, vanish and come back."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from live.driver import BLOCK, RATE, FakeSystem

from handsfree.audio.microphone import Arrival, Microphone, MicrophoneOptions, SoundBack, SoundLost
from handsfree.errors import MissingPart
from handsfree.model import Block


@pytest.fixture
def system() -> FakeSystem:
    return FakeSystem()


@pytest.fixture
def microphone(system: FakeSystem) -> Iterator[Microphone]:
    with Microphone("headset", system.clock, system=system) as opened:
        yield opened


def read_all(microphone: Microphone) -> list[Arrival]:
    return list(iter(lambda: microphone.read(0.0), None))


def test_blocks_come_with_capture_times_that_run_with_the_samples(system: FakeSystem, microphone: Microphone) -> None:
    """However unevenly the driver calls, the blocks' times are evenly spaced and end at what the driver states."""
    rng = np.random.default_rng(1)
    for _ in range(200):
        jitter = float(rng.uniform(-0.015, 0.015))
        system.send(age_s=0.05 + jitter)
    blocks = read_all(microphone)
    assert len(blocks) == 200
    assert all(isinstance(b, Block) and b.rate == RATE and not b.overflowed for b in blocks)
    times = [b.captured_at for b in blocks if isinstance(b, Block)]
    steps = np.diff(times)
    assert np.abs(steps[20:] - BLOCK / RATE).max() < 0.0025
    assert times[-1] == pytest.approx(system.now - 0.05, abs=0.02)


def test_a_driver_that_states_no_age_gives_the_time_of_arrival_less_the_block(
    system: FakeSystem, microphone: Microphone
) -> None:
    """Without a time from the driver, a block was captured just before it arrived."""
    system.send(age_s=0.0)
    (block,) = read_all(microphone)
    assert isinstance(block, Block)
    assert block.captured_at == pytest.approx(system.now - BLOCK / RATE, abs=0.01)


def test_samples_that_the_driver_lost_mark_the_block(system: FakeSystem, microphone: Microphone) -> None:
    """An overflow is on the block behind it, and on no other."""
    system.send()
    system.send(overflowed=True)
    system.send()
    assert [b.overflowed for b in read_all(microphone) if isinstance(b, Block)] == [False, True, False]


def test_samples_that_nobody_reads_are_dropped_and_marked(system: FakeSystem) -> None:
    """A backlog is bounded; the first block behind the drop says that samples were lost."""
    options = MicrophoneOptions(backlog_s=1.0)
    with Microphone("headset", system.clock, system=system, options=options) as microphone:
        system.send(blocks=80)
        before = read_all(microphone)
        system.send(blocks=2)
        after = read_all(microphone)
    assert 50 <= len(before) < 60
    assert [b.overflowed for b in after if isinstance(b, Block)] == [True, False]


def test_a_stereo_device_gives_mono(system: FakeSystem) -> None:
    """Two channels become their mean."""
    system.channels = 2
    with Microphone("headset", system.clock, system=system) as microphone:
        system.send(9)
        (block,) = read_all(microphone)
    assert isinstance(block, Block)
    assert len(block.samples) == BLOCK
    assert set(block.samples.tolist()) == {9}


def test_a_driver_that_stops_calling_is_told_once_and_the_microphone_opened_again_by_name(
    system: FakeSystem, microphone: Microphone
) -> None:
    """Two seconds without a call: sound lost, PortAudio restarted, the same name opened; then sound is back."""
    system.send()
    read_all(microphone)
    system.now += 2.5
    (lost,) = read_all(microphone)
    assert isinstance(lost, SoundLost)
    assert "stopped" in lost.reason
    assert system.streams[0].closed
    system.now += 1.5
    assert microphone.read(0.0) is None
    assert system.restarts == 1
    assert system.opened == ["headset", "headset"]
    system.send()
    back, block = read_all(microphone)
    assert isinstance(back, SoundBack)
    assert isinstance(block, Block)


def test_a_device_that_is_gone_is_tried_until_it_is_there(system: FakeSystem, microphone: Microphone) -> None:
    """Each second another attempt, no error, one message; after the device returns, sound is back."""
    system.gone = True
    system.now += 2.5
    assert [type(a) for a in read_all(microphone)] == [SoundLost]
    for _ in range(5):
        system.now += 1.1
        assert microphone.read(0.0) is None
    assert len(system.opened) == 6
    system.gone = False
    system.now += 1.1
    assert microphone.read(0.0) is None
    system.send()
    assert [type(a) for a in read_all(microphone)] == [SoundBack, Block]


def test_nothing_but_zeros_is_a_lost_microphone_and_the_first_sound_brings_it_back(
    system: FakeSystem, microphone: Microphone
) -> None:
    """Five seconds of exact zeros: muted or disconnected. Zeros after that are no sound; anything else is."""
    system.send(0, blocks=300)
    arrivals = read_all(microphone)
    assert isinstance(arrivals[-1], SoundLost)
    assert "zeros" in arrivals[-1].reason
    system.now += 1.1
    assert microphone.read(0.0) is None
    system.send(0, blocks=100)
    assert read_all(microphone) == []
    system.send(1)
    assert [type(a) for a in read_all(microphone)] == [SoundBack, Block]


def test_a_quiet_room_is_not_a_lost_microphone(system: FakeSystem, microphone: Microphone) -> None:
    """One sample that is not zero every four seconds is a microphone that works."""
    for _ in range(5):
        system.send(0, blocks=200)
        system.send(1)
    assert all(isinstance(a, Block) for a in read_all(microphone))


def test_a_long_prompt_during_which_nobody_reads_is_no_lost_microphone(
    system: FakeSystem, microphone: Microphone
) -> None:
    """What counts is whether the driver called, not whether we read."""
    system.send(blocks=500)
    assert all(isinstance(a, Block) for a in read_all(microphone))


def test_what_was_captured_can_be_discarded(system: FakeSystem, microphone: Microphone) -> None:
    """After `discard` the next block is the next captured."""
    system.send(blocks=10)
    microphone.discard()
    system.send(5)
    (block,) = read_all(microphone)
    assert isinstance(block, Block)
    assert block.samples[0] == 5


def test_a_microphone_that_is_not_there_is_an_error_at_once_with_those_there_are(system: FakeSystem) -> None:
    """Opening is where a wrong name shows: exit code 3 and the names to choose from."""
    system.gone = True
    with pytest.raises(MissingPart, match="headset") as caught, Microphone("headset", system.clock, system=system):
        pass
    assert "there are" in caught.value.hint


def test_a_late_call_of_a_closed_stream_does_not_reach_the_reader(system: FakeSystem, microphone: Microphone) -> None:
    """What the old stream delivers after the new one was opened is not mixed into it."""
    old = system.deliver
    assert old is not None
    system.now += 2.5
    read_all(microphone)
    system.now += 1.1
    microphone.read(0.0)
    old(np.ones(BLOCK, np.int16).tobytes(), 0.02, False)
    assert read_all(microphone) == []
