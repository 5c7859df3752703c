"""A microphone in; utterances, and what happens to the microphone, out: microphone, gate and endpointing joined."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable

from handsfree.audio.endpointing import Endpointer
from handsfree.audio.gate import Gate
from handsfree.audio.microphone import Microphone, SoundBack, SoundLost
from handsfree.model import Segment

LOOK_S = 0.1
"""s between two looks at the clock while nothing arrives"""

Arrival = Segment | SoundLost | SoundBack


class LiveUtterances:
    """Utterances as they are spoken. One thread reads.

    Args:
        microphone: open.
        gate: what was captured while it was closed is not heard.
        endpointer: cuts the utterances.
        ahead: called with an utterance as soon as a pause follows that makes its sound final unless more is said
            (`Endpointer.current`), so that listening can begin while the pause is still being timed. It must return at
            once.
        clock: s, the microphone's clock.
    """

    def __init__(
        self,
        microphone: Microphone,
        gate: Gate,
        endpointer: Endpointer | None = None,
        *,
        ahead: Callable[[Segment], None] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._microphone = microphone
        self._gate = gate
        self.endpointer = endpointer or Endpointer()
        self.endpointer.join_late()
        self.ahead = ahead
        self._ahead_of: float | None = None
        self._clock = clock
        self._ready: deque[Arrival] = deque()

    def next(self, timeout_s: float | None) -> Arrival | None:
        """The next utterance or news of the microphone; None after `timeout_s` s in which nobody began to speak.

        An utterance that has begun is waited for, however long ago the time was up.

        Args:
            timeout_s: None = wait for ever.
        """
        until = None if timeout_s is None else self._clock() + timeout_s
        while not self._ready:
            left = LOOK_S if until is None else until - self._clock()
            if left > 0 or self.endpointer.current is not None:
                self._take(min(left, LOOK_S) if left > 0 else LOOK_S)
            elif not self._take(0.0):
                return None
        return self._ready.popleft()

    def forget(self) -> None:
        """Forget what was said and not asked for: utterances that wait, and the one under way."""
        self._microphone.discard()
        self.endpointer.flush()
        self._ready.clear()

    def _take(self, timeout_s: float) -> bool:
        """Take in what the microphone has next; False when it has nothing."""
        arrival = self._microphone.read(timeout_s)
        if arrival is None:
            return False
        if isinstance(arrival, SoundLost):
            self._ready.extend(self.endpointer.flush(arrival.reason))
            self._ready.append(arrival)
        elif isinstance(arrival, SoundBack):
            self._ready.append(arrival)
        else:
            for block in self._gate.let_through(arrival):
                self._ready.extend(self.endpointer.push(block))
            self._listen_ahead()
        return True

    def _listen_ahead(self) -> None:
        if self.ahead is None or self.endpointer.pause_so_far < self.endpointer.options.post_roll_s:
            return
        so_far = self.endpointer.current
        if so_far is not None and so_far.end_s != self._ahead_of:
            self._ahead_of = so_far.end_s
            self.ahead(so_far)
