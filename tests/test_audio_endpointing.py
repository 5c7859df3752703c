"""What the endpointing promises: true times, nothing clipped, nothing held open, the same cuts in whatever blocks."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from live.murmur import voice
from numpy.typing import NDArray

from handsfree.audio.endpointing import Endpointer, EndpointOptions, segments_of
from handsfree.model import SAMPLE_RATE, Block, Segment

OPTIONS = EndpointOptions()


def hiss(seconds: float, amplitude: float = 3e-4, seed: int = 2, rate: int = SAMPLE_RATE) -> NDArray[np.float64]:
    return amplitude * np.random.default_rng(seed).standard_normal(round(seconds * rate))


def fan(seconds: float, amplitude: float, seed: int = 3) -> NDArray[np.float64]:
    """Noise that falls off above 500 Hz, with a blade tone: steady."""
    n = round(seconds * SAMPLE_RATE)
    shape = 1 / np.sqrt(1 + (np.fft.rfftfreq(n, 1 / SAMPLE_RATE) / 500) ** 2)
    noise = np.fft.irfft(np.fft.rfft(np.random.default_rng(seed).standard_normal(n)) * shape, n)
    tone = 0.5 * np.sin(2 * np.pi * 430 * np.arange(n) / SAMPLE_RATE)
    return amplitude * (noise / noise.std() + tone)


def scene(seconds: float, *spoken: tuple[float, float], rate: int = SAMPLE_RATE) -> NDArray[np.float64]:
    """Hiss with a voice from each start to each end (s)."""
    sound = hiss(seconds, rate=rate)
    for k, (start, end) in enumerate(spoken):
        said = voice(end - start, seed=k + 10, rate=rate)
        at = round(start * rate)
        sound[at : at + len(said)] += said
    return sound


def f32(sound: NDArray[np.float64]) -> NDArray[np.float32]:
    return sound.astype(np.float32)


def blocks_of(
    sound: NDArray[np.float64], sizes: list[int], rate: int = SAMPLE_RATE, start_s: float = 0.0
) -> list[Block]:
    samples = np.clip(np.rint(sound * 32768), -32768, 32767).astype(np.int16)
    blocks, at, k = [], 0, 0
    while at < len(samples):
        size = sizes[k % len(sizes)]
        blocks.append(Block(samples[at : at + size], rate, start_s + at / rate))
        at, k = at + size, k + 1
    return blocks


def push_all(endpointer: Endpointer, blocks: list[Block]) -> list[Segment]:
    found = [segment for block in blocks for segment in endpointer.push(block)]
    return found + endpointer.flush()


def same(a: list[Segment], b: list[Segment]) -> bool:
    return [(s.start_s, s.end_s, s.damaged, s.speech_start_s) for s in a] == [
        (s.start_s, s.end_s, s.damaged, s.speech_start_s) for s in b
    ] and all(np.array_equal(x.samples, y.samples) for x, y in zip(a, b, strict=True))


def test_each_utterance_is_one_segment_with_its_true_times() -> None:
    """Three utterances, three segments; each contains its utterance, and starts and ends within half a second of it."""
    spoken = [(1.0, 1.9), (3.5, 3.8), (5.0, 7.4)]
    found = list(segments_of(f32(scene(9.0, *spoken))))
    assert len(found) == 3
    for segment, (start, end) in zip(found, spoken, strict=True):
        assert start - 0.5 < segment.start_s < start
        assert end < segment.end_s < end + 0.5
        assert segment.speech_start_s == pytest.approx(start, abs=0.06)
        assert segment.end_s - segment.start_s == pytest.approx(len(segment.samples) / SAMPLE_RATE)
        assert not segment.damaged


def test_a_segment_holds_just_the_samples_of_its_times() -> None:
    """The samples of a segment are the recording's samples from its start to its end."""
    sound = f32(scene(4.0, (1.0, 2.0)))
    (segment,) = segments_of(sound)
    start = round(segment.start_s * SAMPLE_RATE)
    assert np.array_equal(segment.samples, sound[start : start + len(segment.samples)])


def test_speech_from_the_first_sample_on_is_not_clipped() -> None:
    """A recording that begins in the middle of a word gives a segment from its first sample on."""
    (segment,) = segments_of(f32(scene(3.0, (0.0, 1.0))))
    assert segment.start_s == 0.0
    assert segment.end_s > 1.0


def test_speech_up_to_the_last_sample_comes_out_at_the_flush() -> None:
    """A recording that ends in the middle of a word gives that word up to its last sample."""
    (segment,) = segments_of(f32(scene(3.0, (2.0, 3.0))))
    assert segment.end_s == 3.0


NOTHING = {
    "nothing": np.zeros(0),
    "digital silence": np.zeros(5 * SAMPLE_RATE),
    "hiss": hiss(8.0),
    "a loud fan from the start": fan(8.0, 0.05),
    "a fan that comes on": np.concatenate([hiss(3.0), fan(6.0, 0.05)]),
    "a fan that goes off": np.concatenate([fan(6.0, 0.05), hiss(4.0)]),
    "silence, then hiss": np.concatenate([np.zeros(2 * SAMPLE_RATE), hiss(4.0, 3e-3)]),
    "mains hum": 0.1 * np.sin(2 * np.pi * 50 * np.arange(6 * SAMPLE_RATE) / SAMPLE_RATE) + hiss(6.0),
    "one sharp knock": np.concatenate([hiss(2.0), 0.5 * np.ones(40), hiss(2.0, seed=9)]),
    "a direct-current offset": hiss(5.0) + 0.2,
}


@pytest.mark.parametrize("sound", NOTHING.values(), ids=NOTHING.keys())
def test_what_is_no_speech_gives_no_segment(sound: NDArray[np.float64]) -> None:
    """Silence, hum, a knock, and a fan or water that comes on and stays are no utterances."""
    assert not list(segments_of(f32(sound)))


@pytest.mark.parametrize("loudness", [0.3, 0.05, 0.005], ids=["loud", "quiet", "very quiet"])
def test_quiet_speech_is_found_where_the_room_is_quiet(loudness: float) -> None:
    """What counts is the height above the noise, not the level."""
    sound = scene(4.0, (1.5, 2.5)) * loudness / 0.3
    assert len(list(segments_of(f32(sound)))) == 1


@pytest.mark.parametrize("snr_db", [20, 10, 5])
def test_a_steady_fan_neither_hides_speech_nor_holds_it_open(snr_db: float) -> None:
    """In fan noise two utterances stay two, each whole to a tenth of a second, and each ends with its pause."""
    spoken = [(3.0, 4.2), (6.0, 7.0)]
    sound = scene(10.0, *spoken)
    amplitude = voice(1.0).std() * 10 ** (-snr_db / 20) / np.sqrt(1.125)
    found = list(segments_of(f32(sound + fan(10.0, amplitude))))
    assert len(found) == 2
    for segment, (start, end) in zip(found, spoken, strict=True):
        assert start - 0.5 < segment.start_s < start + 0.1
        assert end - 0.1 < segment.end_s < end + 0.6


def test_speech_is_kept_when_a_fan_comes_on_right_behind_it() -> None:
    """An utterance that runs into a fan's start is not thrown away with the fan."""
    sound = np.concatenate([scene(3.0, (2.0, 3.0)), fan(6.0, 0.05)])
    (segment,) = segments_of(f32(sound))
    assert segment.start_s < 2.0
    assert 3.0 < segment.end_s < 6.0


@settings(max_examples=25, deadline=None)
@given(
    sizes=st.lists(st.integers(1, 9000), min_size=1, max_size=8),
    rate=st.sampled_from([8_000, 16_000, 44_100, 48_000]),
    start_s=st.sampled_from([0.0, 12345.678]),
)
def test_the_size_of_the_blocks_changes_nothing(sizes: list[int], rate: int, start_s: float) -> None:
    """The same samples in any block sizes, at any rate, give the same segments with the same samples and times."""
    sizes = [max(size, 200) for size in sizes]
    sound = scene(4.0, (0.5, 1.3), (2.2, 3.9), rate=rate)
    options = EndpointOptions(longest_s=1.5)
    whole = push_all(Endpointer(options), blocks_of(sound, [len(sound)], rate, start_s))
    pieces = push_all(Endpointer(options), blocks_of(sound, sizes, rate, start_s))
    assert len(whole) >= 2
    assert same(whole, pieces)


@pytest.mark.parametrize("rate", [8_000, 22_050, 44_100, 48_000])
def test_a_device_at_another_rate_gives_the_same_times(rate: int) -> None:
    """Resampling moves no boundary by more than two frames."""
    reference = push_all(Endpointer(), blocks_of(scene(4.0, (1.0, 2.5)), [1600]))
    found = push_all(Endpointer(), blocks_of(scene(4.0, (1.0, 2.5), rate=rate), [1024], rate))
    assert len(found) == len(reference) == 1
    assert found[0].start_s == pytest.approx(reference[0].start_s, abs=0.04)
    assert found[0].end_s == pytest.approx(reference[0].end_s, abs=0.08)


def test_times_are_the_sources_own() -> None:
    """A stream whose clock stands at 5000 s gives segments at 5000 s and later."""
    (segment,) = push_all(Endpointer(), blocks_of(scene(3.0, (1.0, 2.0)), [512], start_s=5000.0))
    assert segment.speech_start_s == pytest.approx(5001.0, abs=0.06)


def test_an_unfinished_number_is_waited_for() -> None:
    """With `hold_open` asking for more, a pause of 1.1 s does not end an utterance; without it, it does."""
    sound = f32(scene(6.0, (1.0, 2.0), (3.1, 4.0)))
    assert len(list(segments_of(sound))) == 2
    (segment,) = segments_of(sound, hold_open=lambda so_far: OPTIONS.held_pause_s)
    assert segment.start_s < 1.0
    assert segment.end_s > 4.0


def test_a_held_utterance_ends_all_the_same() -> None:
    """However much `hold_open` asks for, the held pause is the most that is waited."""
    found = list(segments_of(f32(scene(7.0, (1.0, 2.0), (4.0, 5.0))), hold_open=lambda so_far: OPTIONS.held_pause_s))
    assert len(found) == 2


def test_the_question_whether_to_hold_is_asked_once_a_pause_with_all_that_was_said() -> None:
    """`hold_open` gets the segment so far, once for each pause that is long enough."""
    asked: list[Segment] = []

    def hold(so_far: Segment) -> float:
        asked.append(so_far)
        return 1.3 if len(asked) == 1 else 0.0

    (segment,) = segments_of(f32(scene(6.0, (1.0, 2.0), (3.0, 4.0))), hold_open=hold)
    assert len(asked) == 2
    assert 2.0 < asked[0].end_s < 2.6
    assert np.array_equal(asked[1].samples, segment.samples)


def test_an_utterance_is_not_cut_before_it_is_asked_for() -> None:
    """What holds the second pause open may hang on what came of the first utterance."""
    asked: list[float] = []

    def hold(so_far: Segment) -> float:
        asked.append(so_far.end_s)
        return 0.0

    utterances = segments_of(f32(scene(6.0, (1.0, 2.0), (4.0, 5.0))), hold_open=hold)
    first = next(utterances)
    assert asked == [first.end_s]
    second = next(utterances)
    assert asked == [first.end_s, second.end_s]


def test_a_pause_of_which_it_is_not_known_yet_whether_it_ends_is_asked_about_until_it_is() -> None:
    """While `hold_open` answers None the utterance stays open, and it ends as soon as the answer is no."""
    answers = [None] * 20 + [0.0]
    asked: list[Segment] = []

    def hold(so_far: Segment) -> float | None:
        asked.append(so_far)
        return answers[len(asked) - 1]

    endpointer = Endpointer(hold_open=hold)
    blocks = blocks_of(scene(4.0, (1.0, 2.0)), [160])
    ended_at = next(block.captured_at for block in blocks if endpointer.push(block))
    assert len(asked) == 21
    assert 2.5 < ended_at < 3.0


def test_the_utterance_under_way_can_be_listened_to_ahead() -> None:
    """Once the pause is as long as what is kept behind the speech, `current` has the samples of the segment to come."""
    endpointer = Endpointer()
    ahead: Segment | None = None
    found: list[Segment] = []
    for block in blocks_of(scene(4.0, (1.0, 2.0)), [160]):
        found += endpointer.push(block)
        if endpointer.current is not None and endpointer.pause_so_far >= OPTIONS.post_roll_s:
            ahead = ahead or endpointer.current
    (segment,) = found
    assert ahead is not None
    assert np.array_equal(ahead.samples, segment.samples)
    assert endpointer.current is None
    assert endpointer.pause_so_far == 0.0


def test_an_utterance_without_end_is_bounded_and_damaged() -> None:
    """Talk that goes on for 50 s comes in damaged pieces of at most the longest length, the last one too."""
    found = list(segments_of(f32(scene(54.0, (1.0, 51.0)))))
    assert len(found) == 3
    assert all(s.damaged == "too long for one utterance" for s in found)
    assert all(s.end_s - s.start_s <= OPTIONS.longest_s + OPTIONS.pre_roll_s + 0.1 for s in found)


def test_lost_samples_damage_the_utterance_they_fall_into_and_no_other() -> None:
    """An overflow inside an utterance damages it; one in the pause before it does not."""
    for lost_at, damaged in ((1.4, ["samples were lost", ""]), (2.9, ["", ""])):
        blocks = blocks_of(scene(6.0, (1.0, 2.0), (4.0, 5.0)), [1600])
        k = int(lost_at / 0.1)
        blocks[k] = Block(blocks[k].samples, blocks[k].rate, blocks[k].captured_at, overflowed=True)
        assert [s.damaged for s in push_all(Endpointer(), blocks)] == damaged


def test_a_hole_in_the_capture_times_breaks_the_utterance_off() -> None:
    """What was said before a hole comes out damaged; what follows has the times of its own blocks."""
    blocks = blocks_of(scene(6.0, (1.0, 2.0), (4.0, 5.0)), [1600])
    kept = [b for b in blocks if not 1.5 <= b.captured_at < 3.0]
    first, second = push_all(Endpointer(), kept)
    assert first.damaged == "the sound broke off"
    assert first.end_s == pytest.approx(1.5, abs=0.15)
    assert not second.damaged
    assert second.speech_start_s == pytest.approx(4.0, abs=0.06)


@pytest.mark.parametrize(("resumes_at", "damaged"), [(4.4, "the beginning was not heard"), (3.9, "")])
def test_an_utterance_whose_beginning_fell_into_a_hole_is_damaged(resumes_at: float, damaged: str) -> None:
    """Speech that is under way when sound returns has lost its beginning; speech that begins just after has not."""
    blocks = blocks_of(scene(6.0, (4.0, 5.0)), [160])
    kept = [b for b in blocks if not 3.0 <= b.captured_at < resumes_at]
    (segment,) = push_all(Endpointer(), kept)
    assert segment.damaged == damaged


def test_the_noise_is_still_known_behind_a_hole() -> None:
    """After a hole in loud steady noise speech is found with its true start, not with the noise before it."""
    blocks = blocks_of(scene(8.0, (5.0, 6.0)) + fan(8.0, 0.02), [160])
    kept = [b for b in blocks if not 3.0 <= b.captured_at < 4.3]
    (segment,) = push_all(Endpointer(), kept)
    assert segment.speech_start_s == pytest.approx(5.0, abs=0.08)
    assert not segment.damaged


def test_an_offset_is_taken_away() -> None:
    """A microphone with a direct-current offset gives the segments of one without."""
    sound = scene(4.0, (1.0, 2.0))
    (clean,), (shifted,) = segments_of(f32(sound)), segments_of(f32(sound + 0.2))
    assert clean.start_s == shifted.start_s
    assert clean.end_s == shifted.end_s
    assert abs(float(shifted.samples.mean())) < 1e-3


@pytest.mark.parametrize(("gain", "damaged"), [(1.0, ""), (3.0, ""), (60.0, "clipped")])
def test_heavy_clipping_damages_and_loud_peaks_do_not(gain: float, damaged: str) -> None:
    """A few flattened peaks still carry the words; an utterance driven into the stops does not."""
    (segment,) = segments_of(f32(np.clip(scene(4.0, (1.0, 2.0)) * gain, -1, 1)))
    assert segment.damaged == damaged


def test_memory_does_not_grow_with_silence() -> None:
    """After minutes of silence the endpointer holds a fraction of a second of sound."""
    endpointer = Endpointer()
    for k in range(600):
        endpointer.push(Block(np.zeros(1600, np.int16), SAMPLE_RATE, k * 0.1))
    assert len(endpointer._cutter._audio) < SAMPLE_RATE


@pytest.mark.parametrize(
    "wrong", [{"pause_s": 0.1}, {"held_pause_s": 0.2}, {"longest_s": 1.0}, {"post_roll_s": 0.0}], ids=str
)
def test_options_that_contradict_each_other_are_refused(wrong: dict[str, float]) -> None:
    """Pauses and lengths that make no sense together are an error at once."""
    with pytest.raises(ValueError, match="must hold"):
        EndpointOptions(**wrong)
