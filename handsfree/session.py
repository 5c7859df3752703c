"""A plan, a folder, a source and a voice in; a visit held from its first prompt to its last, every event on disk before it is spoken."""

from __future__ import annotations

import contextlib
import importlib
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, replace
from typing import Protocol

from handsfree.dialogue.effects import Cue, Effect, Faster, Listen, Louder, Quieter, Say, Slower, Stop, Wait
from handsfree.dialogue.engine import Decision, Engine
from handsfree.dialogue.inputs import HeardInput, Input, Silence, SoundCameBack, SoundWentAway, WaitOver
from handsfree.dialogue.state import State, apply
from handsfree.events import Entry, Event, VisitStarted
from handsfree.language import Language
from handsfree.language.unfinished import Rest
from handsfree.model import SAMPLE_RATE, Command, Expectation, Heard, Nothing, Segment, Unsure
from handsfree.record.folder import VisitFolder
from handsfree.sources import Arrival, Back, Ended, Lost, Quiet, Source, Spoken, Typed
from handsfree.voice.speaker import Speaker

PAUSES_S = {Rest.NONE: 0.0, Rest.POSSIBLE: 1.0, Rest.DUE: 1.3}
"""s of silence that end an utterance behind which more may come; 0 = the usual pause does. 1.0 outlasts a pause of 0.8 with
the soft ends of the words around it."""


class Ears(Protocol):
    """What a session needs of the listeners."""

    def prepare(self, expectation: Expectation) -> None: ...

    def hear(self, segment: Segment, expectation: Expectation) -> Heard: ...


@dataclass(frozen=True, slots=True)
class _Begun:
    segment: Segment
    expectation: Expectation
    heard: Future[Heard]


class ListeningAhead:
    """Ears that begin with an utterance while the pause behind it is still being timed: the wait after its end is then short.

    If the talk goes on, what was begun is thrown away. What was begun also tells whether the utterance is the beginning
    of a longer one ("nine point ..."), whose pause is then given more time.

    Args:
        ears: the listeners.
        rest_of: whether more is to come behind words, as far as they and what is expected tell.
    """

    def __init__(
        self, ears: Ears, rest_of: Callable[[str, Expectation], Rest] = lambda words, expected: Rest.NONE
    ) -> None:
        self._ears = ears
        self._rest_of = rest_of
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="listen-ahead")
        self._expectation = Expectation()
        self._begun: _Begun | None = None

    def prepare(self, expectation: Expectation) -> None:
        """What the next utterance will be held against."""
        self._expectation = expectation
        self._begun = None
        self._ears.prepare(expectation)

    def begin(self, segment: Segment) -> None:
        """Begin with what was said so far; returns at once."""
        if self._begun is not None:
            self._begun.heard.cancel()
        expectation = self._expectation
        self._begun = _Begun(segment, expectation, self._thread.submit(self._ears.hear, segment, expectation))

    def pause_behind(self, segment: Segment) -> float | None:
        """s of silence that end what was said so far; 0 where it is over, None while that is not known yet.

        One listener that hears the beginning of a longer answer is enough: they write each in its own way, and waiting
        costs less than a number without its end.
        """
        if self._begun is None or not _same_sound(self._begun.segment, segment):
            # Another step was prepared within the pause, or the start of the speech was found elsewhere.
            self.begin(segment)
            return None
        return self._pause_behind(self._begun) if self._begun.heard.done() else None

    def pause_behind_known(self, segment: Segment) -> float:
        """The same, waiting for the answer: for recordings, whose time stands still meanwhile."""
        if self._begun is None or not _same_sound(self._begun.segment, segment):
            self.begin(segment)
        assert self._begun is not None
        wait([self._begun.heard])
        return self._pause_behind(self._begun)

    def _pause_behind(self, begun: _Begun) -> float:
        """For an utterance whose hearing has ended."""
        if begun.heard.cancelled() or begun.heard.exception() is not None:
            return 0.0
        heard = begun.heard.result()
        if isinstance(heard.outcome, Command) and not heard.outcome.readings:
            # A plain command is whole, and an urgent one must not wait.
            return 0.0
        rest = max(self._rest_of(words, begun.expectation) for words in (heard.words, *heard.free_words))
        if rest is Rest.UNCLEAR:
            # Where the listeners together understood, the one that did not says nothing.
            rest = Rest.POSSIBLE if isinstance(heard.outcome, Nothing | Unsure) else Rest.NONE
        return PAUSES_S[rest]

    def hear(self, segment: Segment, expectation: Expectation) -> Heard:
        """What was said: as begun, if the utterance did not go on, else from the start."""
        begun, self._begun = self._begun, None
        if begun is not None and begun.expectation == expectation and _same_sound(begun.segment, segment):
            return begun.heard.result()
        return self._ears.hear(segment, expectation)

    def close(self) -> None:
        """End the thread; the work in progress is waited for."""
        self._thread.shutdown(wait=True, cancel_futures=True)


def _same_sound(one: Segment, other: Segment) -> bool:
    return (
        one.start_s == other.start_s
        and one.damaged == other.damaged
        and len(one.samples) == len(other.samples)
        and bool((one.samples == other.samples).all())
    )


def load_properties() -> None:
    """Import the library of physical properties ahead of the hot-water output that needs it at once: the import takes a
    second or more in which no other thread of the interpreter runs."""
    # Where it is missing, the computation that needs it says so.
    with contextlib.suppress(ImportError):
        importlib.import_module("CoolProp.CoolProp")


@dataclass(frozen=True, slots=True)
class VisitEnd:
    """How a run of a visit ended."""

    complete: bool
    """the plan was finished with no mandatory item open"""
    finished: bool
    """the engineer ended it; False = the source ran out, and the visit can be resumed"""
    state: State
    first_prompt_s: float
    """s from the start of the run to its first prompt"""


class Session:
    """One run of a visit. Everything that acts on the world comes in here; the decisions are the engine's.

    Args:
        engine: plan, job and language, joined.
        folder: the visit's folder, open and locked.
        source: where utterances come from.
        speaker: where prompts go.
        ears: the listeners; None when the source gives words.
        language: understands typed words.
        on_entry: called with every event once it is on disk (the screen, `--json`).
        in_wait: called once, as the first timed wait begins: for what takes a second or more and holds every thread up.
            Before the first prompt it would delay that, between prompts the silence would sound like the end of them.
    """

    def __init__(
        self,
        engine: Engine,
        folder: VisitFolder,
        source: Source,
        speaker: Speaker,
        ears: Ears | None,
        language: Language,
        on_entry: Callable[[Entry], None],
        clock: Callable[[], float] = time.monotonic,
        in_wait: Callable[[], None] | None = None,
    ) -> None:
        self._engine = engine
        self._folder = folder
        self._source = source
        self._speaker = speaker
        self._ears = ears
        self._language = language
        self._on_entry = on_entry
        self._clock = clock
        self._in_wait = in_wait
        self._started = clock()
        self._first_prompt_s: float | None = None

    def begin(self, started: VisitStarted) -> VisitEnd:
        """Hold a new visit until it is finished or the source runs out.

        Raises:
            MissingPart: the disk is full; what was confirmed before is kept.
        """
        state = self._keep(State(), (started,))
        return self._hold(state, self._engine.start(state))

    def carry_on(self, entries: Iterable[Entry]) -> VisitEnd:
        """Hold a visit from where its journal ends; a complete one is left as it is, one that was ended with something
        open is taken up again after a yes. Raises as `begin`."""
        state = State()
        for entry in entries:
            state = apply(state, entry)
        if state.finished is not None and state.finished.complete:
            return self._end(state, True, finished=True)
        return self._hold(state, self._engine.resume(state, f"from {self._source.name}"))

    def _hold(self, state: State, decision: Decision) -> VisitEnd:
        while True:
            state = self._keep(state, decision.events)
            last = self._carry_out(decision.effects)
            if isinstance(last, Stop):
                return self._end(state, last.complete, finished=True)
            answer = self._await(last)
            if answer is None:
                return self._end(state, False, finished=state.finished is not None)
            decision = self._engine.decide(state, answer)

    def _end(self, state: State, complete: bool, *, finished: bool) -> VisitEnd:
        return VisitEnd(complete, finished, state, self._first_prompt_s or 0.0)

    def _keep(self, state: State, events: Sequence[Event]) -> State:
        """All events of a decision on disk, then in the state, then on the screen: nothing is spoken before it is saved."""
        for entry in self._folder.append_all(events):
            state = apply(state, entry)
            self._on_entry(entry)
        return state

    def _carry_out(self, effects: tuple[Effect, ...]) -> Effect:
        """Speak what is to be spoken; the last effect says what to wait for, and the listeners get ready for it meanwhile."""
        if self._ears is not None and isinstance(effects[-1], Listen | Wait):
            self._ears.prepare(effects[-1].expectation)
        for effect in effects[:-1]:
            match effect:
                case Say():
                    if self._first_prompt_s is None:
                        self._first_prompt_s = self._clock() - self._started
                    self._speaker.say(effect.text, brisk=effect.brisk)
                case Cue():
                    self._speaker.cue(effect.name)
                case Louder() | Quieter() | Slower() | Faster():
                    self._speaker.adjust(effect)
        return effects[-1]

    def _await(self, effect: Effect) -> Input | None:
        """What happens next, as an input of the engine; None when nothing more will come."""
        match effect:
            case Listen():
                expectation = effect.expectation
                arrival = self._source.listen(expectation, effect.timeout_s)
            case Wait():
                expectation = effect.expectation
                start = self._clock()
                spent_s = self._use_wait(start)
                arrival = self._source.wait(max(effect.seconds - spent_s, 0.0))
                if isinstance(arrival, Quiet):
                    return WaitOver(arrival.seconds + spent_s)
                waited_s = min(self._clock() - start, effect.seconds)
                return self._input_of(arrival, expectation, waited_s)
            case _:
                raise TypeError(f"a decision must end in Listen, Wait or Stop, not {effect!r}")
        return self._input_of(arrival, expectation)

    def _use_wait(self, start_s: float) -> float:
        """Do what waited for a timed wait, in the first one; s that it took of the wait."""
        in_wait, self._in_wait = self._in_wait, None
        if in_wait is None:
            return 0.0
        in_wait()
        return self._clock() - start_s

    def _input_of(self, arrival: Arrival, expectation: Expectation, waited_s: float = 0.0) -> Input | None:
        match arrival:
            case Spoken(segment):
                return HeardInput(self._hear(segment, expectation), waited_s)
            case Typed(words, at_s):
                outcome = self._language.understand(words, expectation)
                return HeardInput(Heard(words, outcome, start_s=at_s, end_s=at_s), waited_s)
            case Quiet(seconds):
                return Silence(seconds)
            case Lost(reason):
                return SoundWentAway(reason)
            case Back():
                return SoundCameBack()
            case Ended():
                return None

    def _hear(self, segment: Segment, expectation: Expectation) -> Heard:
        """The clip goes to disk before the listeners look at it: audio is evidence even if they fail."""
        clip = self._folder.save_clip(segment.samples, SAMPLE_RATE)
        assert self._ears is not None, "a source of sound needs listeners"
        heard = self._ears.hear(segment, expectation)
        # A mark counts from when the word began, not from where the clip was cut.
        start_s = heard.start_s if segment.speech_start_s is None else segment.speech_start_s
        return replace(heard, clip=clip, start_s=start_s)
