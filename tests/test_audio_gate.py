"""What the gate promises: nothing captured while our own voice sounded, and everything else."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.audio.gate import Gate
from handsfree.model import Block

RATE = 1000


def blocks(sizes: list[int], start_s: float = 50.0) -> list[Block]:
    """Blocks whose samples count upwards, so that each sample tells when it was captured."""
    made, at = [], 0
    for size in sizes:
        made.append(Block(np.arange(at, at + size).astype(np.int16), RATE, start_s + at / RATE))
        at += size
    return made


def kept(gate: Gate, given_blocks: list[Block]) -> list[Block]:
    return [part for block in given_blocks for part in gate.let_through(block)]


@given(
    sizes=st.lists(st.integers(1, 400), min_size=1, max_size=20),
    spans=st.lists(st.tuples(st.floats(49.0, 53.0), st.floats(0.0, 1.0)), max_size=4),
)
def test_exactly_the_samples_captured_outside_the_spans_pass(
    sizes: list[int], spans: list[tuple[float, float]]
) -> None:
    """For any blocks and spans a sample passes if and only if our voice was silent when it was captured."""
    gate = Gate(lead_s=0.1, tail_s=0.2)
    for start, length in spans:
        gate.close_between(start, start + length)
    passed = kept(gate, blocks(sizes))
    for block in passed:
        assert block.captured_at == pytest.approx(50.0 + int(block.samples[0]) / RATE)
    got = {int(s) for block in passed for s in block.samples}
    for sample in range(sum(sizes)):
        at = 50.0 + sample / RATE
        depth = max((min(at - (s - 0.1), s + n + 0.2 - at) for s, n in spans), default=-1.0)
        if abs(depth) > 2 / RATE:
            assert (sample in got) == (depth < 0)


def test_a_voice_whose_end_is_not_known_closes_until_it_ends() -> None:
    """While we speak nothing passes; once the end is known, what was captured behind it passes, however late."""
    gate = Gate(lead_s=0.0, tail_s=0.0)
    gate.close_from(50.5)
    first = kept(gate, blocks([1000]))
    assert sum(len(b.samples) for b in first) == 500
    gate.open_from(51.5)
    second = kept(gate, blocks([1000], 51.0))
    assert [round(b.captured_at, 3) for b in second] == [51.5]


def test_an_interrupted_voice_opens_at_its_real_end() -> None:
    """A prompt that was to last longer and was stopped closes only until it stopped."""
    gate = Gate(lead_s=0.0, tail_s=0.0)
    gate.close_between(50.0, 60.0)
    gate.open_from(50.2)
    assert sum(len(b.samples) for b in kept(gate, blocks([1000]))) == 800


def test_a_loss_of_samples_is_told_once_by_the_part_that_it_precedes() -> None:
    """When a marked block is cut in two, the mark stays on the part behind the loss; it goes where that part goes."""
    block = Block(np.ones(1000, np.int16), RATE, 50.0, overflowed=True)
    gate = Gate(lead_s=0.0, tail_s=0.0)
    gate.close_between(50.4, 50.6)
    assert [part.overflowed for part in gate.let_through(block)] == [True, False]
    gate.close_between(50.0, 50.1)
    assert [part.overflowed for part in gate.let_through(block)] == [False, False]


def test_old_spans_are_forgotten() -> None:
    """A long visit does not slow the gate down."""
    gate = Gate()
    for k in range(1000):
        gate.close_between(k, k + 0.5)
    gate.let_through(Block(np.ones(10, np.int16), RATE, 2000.0))
    assert gate._spans == []
