"""A segment and an expectation in, what the listeners together support out. Listeners load once, lazily, each in a
thread of its own."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as FutureTimeout
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from handsfree.errors import BadInput, HandsfreeError, MissingPart
from handsfree.listeners.agreement import WEIGHER, Agreed, Gates, agree, load_gates
from handsfree.listeners.base import Listener, Opinion, Words
from handsfree.listeners.models import find_vosk_models, find_wheel_model
from handsfree.listeners.spelling import Surfaces
from handsfree.model import (
    SAMPLE_RATE,
    Command,
    Expectation,
    Heard,
    Nothing,
    Readings,
    Segment,
    Text,
    Unsure,
)
from handsfree.settings import Settings

if TYPE_CHECKING:
    from handsfree.listeners.phones import PhoneListener

T = TypeVar("T")
R = TypeVar("R")

LONGEST_S = 20.0
"""s: nothing that a step can take is longer. Longer talk is not for us, and its cost would have no bound."""
PATIENCE_S = 30.0
"""s for one utterance on a very slow machine; a listener that takes longer is left out."""
LOADING_S = 180.0
"""s for loading, the conversion at first use included."""
NAMES = ("moonshine", "whisper", "vosk")


class _Ear(Generic[T]):
    """One listener and its thread."""

    def __init__(self, name: str, make: Callable[[], T]) -> None:
        self.name = name
        self._make = make
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix=f"listener-{name}")
        self._loaded: Future[T] | None = None
        self._lock = threading.Lock()

    def load(self) -> Future[T]:
        with self._lock:
            if self._loaded is None:
                self._loaded = self._thread.submit(self._make)
            return self._loaded

    def ask(self, work: Callable[[T], R]) -> Future[R]:
        """What the work makes of the listener, in its thread."""
        loaded = self.load()
        return self._thread.submit(lambda: work(loaded.result()))

    def close(self) -> None:
        self._thread.shutdown(wait=True, cancel_futures=True)


class Hearing:
    """All listeners as one.

    Args:
        listeners: name -> what makes the listener; called once, in the listener's own thread.
        gates: what must hold before anything is accepted.
        alone: accept a single neural listener (for comparisons).
        weigher: makes what weighs the others' values by their sounds; None where its network is not installed.
    """

    def __init__(
        self,
        listeners: Mapping[str, Callable[[], Listener]],
        gates: Gates,
        *,
        alone: bool = False,
        weigher: Callable[[], PhoneListener] | None = None,
    ) -> None:
        self._ears = [_Ear(name, make) for name, make in listeners.items()]
        self._weigher = None if weigher is None else _Ear(WEIGHER, weigher)
        self._gates = gates
        self._alone = alone

    def start(self) -> None:
        """Begin to load; returns at once."""
        for ear in self._all():
            ear.load()

    @property
    def ready(self) -> bool:
        """True once every listener has loaded."""
        return all(ear.load().done() for ear in self._all())

    def wait_until_ready(self) -> None:
        """Wait for the listeners.

        Raises:
            HandsfreeError: one could not be loaded; the message says why and what helps.
        """
        for ear in self._all():
            ear.load().result(timeout=LOADING_S)

    def prepare(self, expectation: Expectation) -> None:
        """Compile what the next `hear` will need, in the listeners' threads; returns at once."""
        for ear in self._ears:
            ear.ask(lambda listener: listener.prepare(expectation))

    def hear(self, segment: Segment, expectation: Expectation) -> Heard:
        """What was said in a segment. Bounded work; never raises for any samples.

        Raises:
            HandsfreeError: a listener could not be loaded.
        """
        self.wait_until_ready()
        if len(segment.samples) > LONGEST_S * SAMPLE_RATE:
            return _heard(segment, Agreed("", Nothing("too long for a reading"), "too long for a reading"), ())
        opinions, trouble = self._ask(segment, expectation)
        agreed = agree(opinions, self._gates, alone=self._alone)
        if segment.damaged:
            agreed = _mistrusted(agreed, segment.damaged)
        if trouble and not agreed.reason:
            agreed = replace(agreed, reason=trouble)
        return _heard(segment, agreed, opinions)

    def opinions(self, segment: Segment, expectation: Expectation) -> list[Opinion]:
        """What each listener makes of a segment, for benchmarks."""
        self.wait_until_ready()
        return self._ask(segment, expectation)[0]

    def close(self) -> None:
        """End the threads; waits for the work in progress."""
        for ear in self._all():
            ear.close()

    def _all(self) -> list[_Ear[Any]]:
        return [*self._ears, *([self._weigher] if self._weigher else [])]

    def _ask(self, segment: Segment, expectation: Expectation) -> tuple[list[Opinion], str]:
        asked = [(ear.name, ear.ask(lambda listener: listener.listen(segment, expectation))) for ear in self._ears]
        sounds = self._weigher.ask(lambda weigher: weigher.listen(segment)) if self._weigher else None
        opinions: list[Opinion] = []
        troubles: list[str] = []
        for name, future in asked:
            opinions += _answered(name, future, troubles)
        if self._weigher is not None and sounds is not None:
            heard, so_far = sounds, tuple(opinions)
            weighed = self._weigher.ask(lambda weigher: weigher.weigh(heard.result(), so_far))
            opinions += _answered(WEIGHER, weighed, troubles)
        return opinions, troubles[-1] if troubles else ""


def _answered(name: str, future: Future[Opinion], troubles: list[str]) -> list[Opinion]:
    """The opinion, or none and why: a listener that fails is a listener that is missing."""
    try:
        return [future.result(timeout=PATIENCE_S)]
    except FutureTimeout:
        future.cancel()
        troubles.append(f"listener {name} took too long")
    except HandsfreeError:
        raise
    except Exception as error:  # the engines' own exceptions share no base
        troubles.append(f"listener {name} failed: {error}")
    return []


def _mistrusted(agreed: Agreed, why: str) -> Agreed:
    """A damaged segment proves nothing, except that it may be urgent."""
    outcome = agreed.outcome
    if isinstance(outcome, Readings | Text) or (isinstance(outcome, Command) and outcome.readings):
        return Agreed(agreed.words, Unsure((outcome,), why), why)
    return agreed


def _heard(segment: Segment, agreed: Agreed, opinions: Sequence[Opinion]) -> Heard:
    return Heard(
        words=agreed.words,
        outcome=agreed.outcome,
        listeners=tuple(o.report() for o in opinions),
        start_s=segment.start_s,
        end_s=segment.end_s,
        reason=agreed.reason,
        free_words=tuple(o.free_words for o in opinions),
    )


def open_hearing(
    language: Words, settings: Settings, names: Sequence[str] | None = None, *, alone: bool = False, threads: int = 1
) -> Hearing:
    """The listeners of this machine, not loaded yet.

    Args:
        language: the words, as loaded by `load_language`.
        settings: model and cache folders.
        names: which listeners; by default moonshine and whisper, vosk where a model for it is there, and phones, which
            weighs what they hold possible.
        alone: accept a single neural listener (for comparisons; by default everything is then unsure).
        threads: of onnxruntime for each listener; the listeners run beside each other.

    Raises:
        MissingPart: a wheel or model is missing; the message says which and what installs it.
        BadInput: a name is not one of ours.
    """
    weighs = names is None
    if names is None:
        names = NAMES if find_vosk_models(settings.model_folder) and _vosk_is_installed() else NAMES[:2]
    makers: dict[str, Callable[[], Listener]] = {}
    surfaces = Surfaces(language)
    for name in names:
        if name != WEIGHER:
            makers[name] = _maker(name, language, settings, surfaces, threads)
    weigher = _weigher_maker(threads) if weighs or WEIGHER in names else None
    return Hearing(makers, load_gates(), alone=alone, weigher=weigher)


def _weigher_maker(threads: int) -> Callable[[], PhoneListener] | None:
    """What weighs by sounds; None where its network is not installed."""
    from handsfree.listeners.phones import NETWORK, PhoneListener

    return (lambda: PhoneListener(threads)) if NETWORK.is_file() else None


def _maker(name: str, language: Words, settings: Settings, surfaces: Surfaces, threads: int) -> Callable[[], Listener]:
    """What makes a listener; only what makes sure that it can be made runs now."""
    if name == "moonshine":
        find_wheel_model(name)

        def moonshine() -> Listener:
            from handsfree.listeners.moonshine import MoonshineModel
            from handsfree.listeners.neural import NeuralListener

            return NeuralListener(MoonshineModel(threads, settings.cache_folder), language, surfaces)

        return moonshine
    if name == "whisper":
        find_wheel_model(name)

        def whisper() -> Listener:
            from handsfree.listeners.neural import NeuralListener
            from handsfree.listeners.whisper import WhisperModel

            return NeuralListener(WhisperModel(settings.cache_folder, threads), language, surfaces)

        return whisper
    if name == "vosk":
        models = find_vosk_models(settings.model_folder)
        if not models or not _vosk_is_installed():
            cure = "handsfree model add FOLDER_OR_ZIP" if not models else "pip install 'handsfree[hear]'"
            raise MissingPart("there is no model in Vosk's format" if not models else "vosk is not installed", cure)

        def vosk() -> Listener:
            from handsfree.listeners.vosk import VoskListener

            return VoskListener(models[0], language)

        return vosk
    raise BadInput(f"there is no listener {name!r}", f"use some of {', '.join((*NAMES, WEIGHER))}")


def _vosk_is_installed() -> bool:
    import importlib.util

    return importlib.util.find_spec("vosk") is not None
