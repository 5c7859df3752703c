"""Blocks of samples in, segments of speech out."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray

from handsfree.audio.levels import FRAME, WINDOW, NoiseFloor, band_levels, clipped_share, without_offset
from handsfree.model import SAMPLE_RATE, Block, Segment

HoldOpen = Callable[[Segment], float | None]
"""Asked when a pause is long enough to end the utterance: how much silence (s) ends this one, 0 where it is over, at most
`EndpointOptions.held_pause_s`; None, not known yet, waits that long at most and asks again every 10 ms."""

SAMPLES_LOST = "samples were lost"
SOUND_CUT = "the sound broke off"
START_MISSING = "the beginning was not heard"
TOO_LONG = "too long for one utterance"
CLIPPED = "clipped"


@dataclass(frozen=True, slots=True)
class EndpointOptions:
    """How utterances are cut. Times in s, levels in dB."""

    pause_s: float = 0.5
    """silence that ends an utterance"""
    held_pause_s: float = 1.3
    """silence that ends any utterance, also one which `hold_open` says is unfinished ("nine point ...")"""
    pre_roll_s: float = 0.35
    """sound kept before the first frame of speech, so that a soft first consonant is never clipped"""
    post_roll_s: float = 0.25
    """sound kept after the last frame of speech"""
    longest_s: float = 20.0
    """an utterance is cut here, and damaged"""
    shortest_s: float = 0.08
    """less speech than this is a knock"""
    start_db: float = 2.5
    """mean height above the noise floor at which speech begins, in noise that is perfectly steady"""
    restless_db: float = 4.5
    """the same in noise that rises and falls by itself (rain, a flame)"""
    keep_share: float = 0.6
    """share of that height at which speech goes on"""
    gap_s: float = 0.06
    """a hole in the capture times longer than this breaks the utterance off"""
    clipped_share: float = 0.05
    """share of samples at full scale from which a segment is damaged"""

    def __post_init__(self) -> None:
        if not 0 < self.post_roll_s <= self.pause_s <= self.held_pause_s < self.longest_s:
            raise ValueError("0 < post_roll_s <= pause_s <= held_pause_s < longest_s must hold")


class Endpointer:
    """Cuts a stream of blocks into utterances.

    Pure: the same samples give the same segments, in whatever blocks they come. Each block is taken at its own rate; a
    hole in the capture times (lost samples, or our own voice gated away) ends the utterance that was under way, and an
    utterance that is under way when sound returns is damaged: "fifty two" spoken into the end of a prompt is no "two".

    Args:
        options: how utterances are cut.
        hold_open: asked for each pause until it knows; may be set anew at any time. It must answer quickly: the stream
            waits.
    """

    def __init__(self, options: EndpointOptions | None = None, hold_open: HoldOpen | None = None) -> None:
        self.options = options or EndpointOptions()
        self.hold_open = hold_open
        self._intake: _Intake | None = None
        self._had_sound = False
        self._cutter = _Cutter(self.options, self._held)

    def push(self, block: Block) -> list[Segment]:
        """Take in a block; the utterances that ended in it, in order."""
        if not len(block.samples):
            return []
        found: list[Segment] = []
        if self._intake is not None and self._intake.broken_by(block, self.options.gap_s):
            found = self.flush(SOUND_CUT)
        if self._intake is None:
            self._intake = _Intake(block.rate)
            self._cutter.begin(block.captured_at, after_hole=self._had_sound)
            self._had_sound = True
        if block.overflowed:
            self._cutter.mark_lost(self._intake.seconds, self._intake.seconds + len(block.samples) / block.rate)
        self._cutter.take(self._intake.take(block))
        return [*found, *self._cutter.cut()]

    def join_late(self) -> None:
        """The stream to come is joined in the middle, as a microphone is: what is under way lacks its beginning."""
        self._had_sound = True

    def flush(self, damaged: str = "") -> list[Segment]:
        """End of the stream: the utterance under way, if there is one. The next block begins a new stream.

        Args:
            damaged: why the sound ended, when it should not have.
        """
        if self._intake is None:
            return []
        self._cutter.take(self._intake.rest())
        self._intake = None
        return [*self._cutter.cut(), *self._cutter.end(damaged)]

    @property
    def current(self) -> Segment | None:
        """The utterance under way as it would be if nothing more were said: for listening ahead.

        Once `pause_so_far` has reached `EndpointOptions.post_roll_s`, and if nothing more is said, the final segment
        has just these samples.
        """
        return self._cutter.current()

    @property
    def pause_so_far(self) -> float:
        """s of silence since the last speech of the utterance under way; 0 when there is none."""
        return self._cutter.pause_so_far()

    def _held(self, segment: Segment) -> float | None:
        return 0.0 if self.hold_open is None else self.hold_open(segment)


def segments_of(
    samples: NDArray[np.float32], options: EndpointOptions | None = None, hold_open: HoldOpen | None = None
) -> Iterator[Segment]:
    """The utterances of one long recording, each cut when it is asked for and not before: what `hold_open` answers may
    hang on what came of the one before.

    Args:
        samples: mono at SAMPLE_RATE, -1..1, as `read_sound` gives them. Times of the segments count from their start.
    """
    cutter = _Cutter(options or EndpointOptions(), hold_open or (lambda segment: 0.0))
    cutter.begin(0.0)
    for at in range(0, len(samples), 10 * SAMPLE_RATE):
        cutter.take(samples[at : at + 10 * SAMPLE_RATE])
        yield from cutter.cut()
    yield from cutter.end("")


class _Intake:
    """Blocks at any rate in, samples at SAMPLE_RATE out, without a trace of where a block ended."""

    def __init__(self, rate: int) -> None:
        self._rate = rate
        self._resampler = None if rate == SAMPLE_RATE else soxr.ResampleStream(rate, SAMPLE_RATE, 1, dtype="float32")
        # The resampler is fed equal pieces, so that its rounding cannot depend on the size of the blocks.
        self._piece = max(1, rate // 50)
        self._waiting = np.zeros(0, np.float32)
        self._taken = 0
        self._expected_s = 0.0

    @property
    def seconds(self) -> float:
        """s of sound taken in."""
        return self._taken / self._rate

    def broken_by(self, block: Block, gap_s: float) -> bool:
        """True when this block does not carry on where the one before ended."""
        return block.rate != self._rate or abs(block.captured_at - self._expected_s) > gap_s

    def take(self, block: Block) -> NDArray[np.float32]:
        self._taken += len(block.samples)
        self._expected_s = block.captured_at + len(block.samples) / block.rate
        samples = block.samples.astype(np.float32) / np.float32(32768.0)
        if self._resampler is None:
            return samples
        self._waiting = np.concatenate([self._waiting, samples])
        whole = len(self._waiting) // self._piece * self._piece
        pieces = [
            self._resampler.resample_chunk(self._waiting[i : i + self._piece]) for i in range(0, whole, self._piece)
        ]
        self._waiting = self._waiting[whole:]
        return np.concatenate(pieces) if pieces else np.zeros(0, np.float32)

    def rest(self) -> NDArray[np.float32]:
        if self._resampler is None:
            return np.zeros(0, np.float32)
        return np.asarray(self._resampler.resample_chunk(self._waiting, last=True), dtype=np.float32)


@dataclass(slots=True)
class _Utterance:
    """The utterance under way. Frames are numbered from the start of the stream."""

    first: int
    """first frame of speech"""
    last: int
    """last frame of speech so far"""
    levels: list[NDArray[np.float64]]
    """smoothed band levels of the frames from `opened` on"""
    opened: int
    """frame that `levels` starts with"""
    continued: bool
    """it follows straight on an utterance that was cut for its length"""
    asked_at: int = -1
    """value of `last` when `hold_open` was asked"""
    held: float | None = 0.0
    """what it answered"""


class _Cutter:
    """Samples at SAMPLE_RATE in, segments out."""

    _ONSET_FRAMES = 5
    _ONSET_SPEECH = 3

    def __init__(self, options: EndpointOptions, hold_open: HoldOpen) -> None:
        self._options = options
        self._hold_open = hold_open
        self._noise = NoiseFloor()
        self._unrest = _Unrest()
        self.begin(0.0)

    def begin(self, start_s: float, *, after_hole: bool = False) -> None:
        """Start a stream whose first sample was captured at `start_s`; what is known of the noise stays known."""
        self._start_s = start_s
        self._after_hole = after_hole
        self._noise.resume()
        self._audio = np.zeros(0, np.float32)
        self._audio_from = 0
        self._frame = 0
        self._recent: list[tuple[float, NDArray[np.float64]]] = []
        self._utterance: _Utterance | None = None
        self._lost: list[tuple[float, float]] = []
        self._cut_at_frame = -1

    def take(self, samples: NDArray[np.float32]) -> None:
        self._audio = np.concatenate([self._audio, samples])

    def mark_lost(self, from_s: float, to_s: float) -> None:
        """Samples were lost somewhere in this stretch (s from the start of the stream)."""
        self._lost = [*self._lost[-99:], (from_s, to_s)]

    def cut(self) -> Iterator[Segment]:
        """Work through the frames that are whole, as far as segments are asked for."""
        levels = band_levels(self._audio[self._frame * FRAME - self._audio_from :])
        for row in levels:
            found = self._step(row)
            self._frame += 1
            yield from found
        self._forget()

    def end(self, damaged: str) -> list[Segment]:
        """No more will come."""
        utterance, self._utterance = self._utterance, None
        if utterance is None:
            return []
        if not self._noise.settled and not self._trim(utterance):
            return []
        return self._finish(utterance, damaged)

    def current(self) -> Segment | None:
        return None if self._utterance is None else self._segment(self._utterance, "")

    def pause_so_far(self) -> float:
        return 0.0 if self._utterance is None else (self._frame - 1 - self._utterance.last) * FRAME / SAMPLE_RATE

    def _step(self, row: NDArray[np.float64]) -> list[Segment]:
        was_settled = self._noise.settled
        score = float(_score(self._noise.above(row)))
        if self._utterance is None:
            if was_settled:
                self._unrest.take(score)
            self._listen_for_start(score)
            return []
        utterance = self._utterance
        utterance.levels.append(self._noise.smoothed)
        if score >= self._keep_db:
            utterance.last = self._frame
            utterance.held = 0.0
        if not was_settled and self._noise.settled and not self._trim(utterance):
            self._utterance = None
            return []
        return self._close_if_over(utterance)

    def _listen_for_start(self, score: float) -> None:
        self._recent = [*self._recent[-(self._ONSET_FRAMES - 1) :], (score, self._noise.smoothed)]
        speech = [k for k, (value, _) in enumerate(self._recent) if value >= self._start_db]
        if len(speech) < self._ONSET_SPEECH:
            return
        opened = self._frame - len(self._recent) + 1
        first = opened + speech[0]
        continued = self._cut_at_frame >= 0 and first - self._cut_at_frame <= self._pause_frames(self._options.pause_s)
        self._utterance = _Utterance(first, self._frame, [levels for _, levels in self._recent], opened, continued)
        self._recent = []

    def _close_if_over(self, utterance: _Utterance) -> list[Segment]:
        options = self._options
        if (self._frame - utterance.first) * FRAME >= options.longest_s * SAMPLE_RATE:
            self._cut_at_frame = self._frame
            self._utterance = None
            return self._finish(utterance, TOO_LONG, self._frame * FRAME + WINDOW)
        silent = self._frame - utterance.last
        if silent < self._pause_frames(options.pause_s):
            return []
        if utterance.asked_at != utterance.last or utterance.held is None:
            utterance.asked_at = utterance.last
            utterance.held = self._hold_open(self._segment(utterance, "")) if self._is_speech(utterance) else 0.0
        held = options.held_pause_s if utterance.held is None else min(utterance.held, options.held_pause_s)
        if silent < self._pause_frames(held):
            return []
        self._utterance = None
        return self._finish(utterance, "")

    def _pause_frames(self, seconds: float) -> int:
        return math.ceil(seconds * SAMPLE_RATE / FRAME)

    # ---- what is speech

    @property
    def _start_db(self) -> float:
        return min(max(self._options.start_db, self._unrest.height_db + 1.5), self._options.restless_db)

    @property
    def _keep_db(self) -> float:
        return self._options.keep_share * self._start_db

    def _trim(self, utterance: _Utterance) -> bool:
        """Look again at what was taken for speech before the noise was known; False when none of it was."""
        floor = (
            self._noise.floor() if self._noise.settled else np.min(utterance.levels, axis=0) + NoiseFloor.ALLOWANCE_DB
        )
        scores = _score(np.array(utterance.levels) - floor)
        strong = np.flatnonzero(scores >= self._start_db)
        if not len(strong):
            return False
        kept = np.flatnonzero(scores >= self._keep_db)
        utterance.first = utterance.opened + int(strong[0])
        utterance.last = utterance.opened + int(kept[-1])
        return True

    def _is_speech(self, utterance: _Utterance) -> bool:
        """Speech rises and falls. What came on and stayed as it was (a fan, running water) is none."""
        levels = np.array(utterance.levels[utterance.first - utterance.opened : utterance.last - utterance.opened + 1])
        needed = self._options.shortest_s * SAMPLE_RATE / FRAME
        own_floor = np.percentile(levels, 10, axis=0) + NoiseFloor.ALLOWANCE_DB / 2
        for floor in (self._noise.floor(), own_floor):
            if np.count_nonzero(_score(levels - floor) >= self._start_db) >= needed:
                return True
        return False

    # ---- segments

    def _finish(self, utterance: _Utterance, damaged: str, no_later: int | None = None) -> list[Segment]:
        if not self._is_speech(utterance):
            return []
        if utterance.continued:
            damaged = damaged or TOO_LONG
        if self._after_hole and utterance.first <= self._ONSET_FRAMES:
            damaged = damaged or START_MISSING
        return [self._segment(utterance, damaged, no_later)]

    def _segment(self, utterance: _Utterance, damaged: str, no_later: int | None = None) -> Segment:
        options = self._options
        # Without `no_later`, sound that happens to be there already would make the cut depend on the blocks.
        there = self._audio_from + len(self._audio) if no_later is None else no_later
        start = max(utterance.first * FRAME - round(options.pre_roll_s * SAMPLE_RATE), self._audio_from)
        end = min(utterance.last * FRAME + WINDOW + round(options.post_roll_s * SAMPLE_RATE), there)
        samples = self._audio[start - self._audio_from : end - self._audio_from].copy()
        start_s, end_s = start / SAMPLE_RATE, end / SAMPLE_RATE
        if any(from_s < end_s and to_s > start_s for from_s, to_s in self._lost):
            damaged = damaged or SAMPLES_LOST
        if clipped_share(samples) >= options.clipped_share:
            damaged = damaged or CLIPPED
        samples = without_offset(samples)
        samples.flags.writeable = False
        speech_start_s = self._start_s + utterance.first * FRAME / SAMPLE_RATE
        return Segment(samples, self._start_s + start_s, self._start_s + end_s, damaged, speech_start_s)

    def _forget(self) -> None:
        """Drop the sound that no segment can reach back to."""
        first = self._frame - self._ONSET_FRAMES if self._utterance is None else self._utterance.opened
        keep_from = max(first * FRAME - round(self._options.pre_roll_s * SAMPLE_RATE), self._audio_from)
        self._audio = self._audio[keep_from - self._audio_from :]
        self._audio_from = keep_from


class _Unrest:
    """How high the noise by itself rises above its floor: 95 % of the frames without speech stay below."""

    _STEP_DB = 0.05
    _SHARE = 0.95

    def __init__(self) -> None:
        self.height_db = 0.0

    def take(self, score: float) -> None:
        self.height_db += self._STEP_DB * (self._SHARE if score > self.height_db else self._SHARE - 1.0)


def _score(above: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean height over the bands; a band below the floor counts nothing, one far above it counts no more than 20 dB."""
    return np.asarray(np.clip(above, 0.0, 20.0).mean(axis=-1))
