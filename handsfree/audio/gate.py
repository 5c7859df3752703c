"""Blocks in, blocks without our own voice out: half duplex by capture time."""

from __future__ import annotations

import threading
from dataclasses import dataclass

from handsfree.model import Block

_KEEP_S = 60.0
"""s for which a span is remembered behind the newest block: longer than any block waits in a queue"""


@dataclass(slots=True)
class _Span:
    start_s: float
    end_s: float
    """inf while the voice still speaks"""


class Gate:
    """Drops what was captured while our own voice sounded.

    A flag would drop what is *read* while we speak; blocks wait in queues, so what counts is when they were captured.

    Args:
        lead_s: s closed before a span: the clocks of microphone and loudspeaker may differ by this.
        tail_s: s closed behind a span, for the sound's way through driver and room.
    """

    def __init__(self, lead_s: float = 0.05, tail_s: float = 0.2) -> None:
        self._lead_s = lead_s
        self._tail_s = tail_s
        self._spans: list[_Span] = []
        self._lock = threading.Lock()

    def close_between(self, start_s: float, end_s: float) -> None:
        """Our voice sounds, or sounded, from `start_s` to `end_s` (s on the microphone's clock)."""
        with self._lock:
            self._spans.append(_Span(start_s, end_s))

    def close_from(self, start_s: float) -> None:
        """Our voice sounds from `start_s` on, nobody knows yet for how long."""
        self.close_between(start_s, float("inf"))

    def open_from(self, end_s: float) -> None:
        """Our voice ends at `end_s`: ends what was closed with `close_from`, shortens what was to last longer."""
        with self._lock:
            for span in self._spans:
                span.end_s = min(span.end_s, max(end_s, span.start_s))

    def let_through(self, block: Block) -> list[Block]:
        """The parts of the block that were captured while we were silent, each with its own capture time."""
        length = len(block.samples)
        kept: list[Block] = []
        at = 0
        for start, end in [*self._closed(block), (length, length)]:
            if start > at:
                kept.append(
                    Block(
                        block.samples[at:start],
                        block.rate,
                        block.captured_at + at / block.rate,
                        block.overflowed and at == 0,
                    )
                )
            at = max(at, end)
        return kept

    def _closed(self, block: Block) -> list[tuple[int, int]]:
        """The closed stretches of the block, as sample numbers, in order."""
        length = len(block.samples)
        stretches = []
        with self._lock:
            self._spans = [s for s in self._spans if s.end_s > block.captured_at - _KEEP_S]
            for span in self._spans:
                start = (span.start_s - self._lead_s - block.captured_at) * block.rate
                end = (span.end_s + self._tail_s - block.captured_at) * block.rate
                if end > 0 and start < length:
                    stretches.append((round(max(start, 0)), round(min(end, length))))
        return sorted(stretches)
