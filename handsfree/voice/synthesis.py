"""Text in, samples of speech out: rendered by pyttsx3 in child processes with a deadline, and kept in a cache."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

from handsfree.voice.clarity import clearer
from handsfree.voice.rendering import RenderingChild

_CHILD = Path(__file__).with_name("rendering_child.py")
_CACHE_FORMAT = "3"
_CACHED_PROMPTS = 2_000
_QUIET = 0.003
"""of full scale; quieter ends of a rendering are cut away, for they only make the engineer wait"""
_FAILURES_TO_GIVE_UP = 3
_CHILDREN = 3
"""children kept, one for each pace that a visit uses"""

Shape = Callable[[NDArray[np.float32], int], NDArray[np.float32]]
"""samples, Hz -> samples"""


@dataclass(frozen=True, slots=True, eq=False)
class Rendered:
    """A text as sound."""

    samples: NDArray[np.float32]
    """mono, -1..1"""
    rate: int
    """Hz"""


@dataclass(frozen=True, slots=True)
class NotRendered:
    """The text could not be made into sound."""

    reason: str
    """plain words"""
    for_good: bool = False
    """True when it is no use to try again in this run"""


@dataclass(frozen=True, slots=True)
class SystemVoice:
    """A voice that the system's synthesiser offers."""

    id: str
    name: str
    languages: str
    """language tags, separated by blanks"""


class Synthesiser:
    """Renders texts, one at a time. The child starts with the first text that is not in the cache.

    Args:
        cache_folder: where renderings are kept; made when needed.
        voice: name or id of a system voice, or part of it; empty = British English, else the first English one.
        deadline_s: s that a text may take; the child is killed then, started again, and the text tried once more.
        command: starts the child; another one in tests.
        shape: what is done to every rendering before it is played.
    """

    def __init__(
        self,
        cache_folder: Path,
        voice: str = "",
        *,
        deadline_s: float = 8.0,
        command: Sequence[str] | None = None,
        shape: Shape = clearer,
    ) -> None:
        self._folder = cache_folder / "prompts"
        self._voice = voice
        self._deadline_s = deadline_s
        self._shape = shape
        # -P: the child's own folder must not shadow the modules that it imports.
        self._command = list(command or (sys.executable, "-P", str(_CHILD)))
        self._children: dict[int, RenderingChild] = {}
        """words a minute -> the child that speaks so: pyttsx3 sets a pace without waiting until it holds, and a sentence
        rendered too soon has the pace of the one before it"""
        self._voice_id: str | None = None
        self._failures = 0
        self._spare: tempfile.TemporaryDirectory[str] | None = None

    def render(self, text: str, words_a_minute: int) -> Rendered | NotRendered:
        """Make `text` into sound; never raises because of the synthesiser or the disk."""
        kept = self._folder / f"{self._key(text, words_a_minute)}.wav"
        if (found := _load(kept, self._shape)) is not None:
            return found
        if self._failures >= _FAILURES_TO_GIVE_UP:
            return NotRendered("the voice has failed too often", for_good=True)
        answer = self._render_anew(text, words_a_minute, kept)
        if isinstance(answer, Rendered):
            self._failures = 0
            return answer
        self._failures += 1
        return NotRendered(answer.reason, self._failures >= _FAILURES_TO_GIVE_UP)

    def voices(self, words_a_minute: int = 0) -> tuple[SystemVoice, ...] | NotRendered:
        """All voices of the system's synthesiser, as the child of that pace names them."""
        answer = self._ask({"voices": True}, words_a_minute)
        if not answer.get("ok"):
            return NotRendered(str(answer.get("error", "no answer")))
        return tuple(SystemVoice(v["id"], v["name"], v["languages"]) for v in answer["voices"])

    def close(self) -> None:
        """End the children."""
        for child in self._children.values():
            child.close()
        self._children.clear()
        if self._spare is not None:
            self._spare.cleanup()
            self._spare = None

    # ---- rendering

    def _render_anew(self, text: str, words_a_minute: int, kept: Path) -> Rendered | NotRendered:
        if self._voice_id is None:
            chosen = self._choose_voice(words_a_minute)
            if isinstance(chosen, NotRendered):
                return chosen
            self._voice_id = chosen
        fresh = self._writable_folder() / f".{os.getpid()}.part.wav"
        request = {"text": text, "voice": self._voice_id, "rate": words_a_minute, "path": str(fresh)}
        answer = self._ask(request, words_a_minute)
        if not answer.get("ok"):
            answer = self._ask(request, words_a_minute)
        found = _load(fresh, self._shape) if answer.get("ok") else None
        if found is None:
            fresh.unlink(missing_ok=True)
            return NotRendered(str(answer.get("error") or "the rendering holds no sound"))
        with contextlib.suppress(OSError):
            os.replace(fresh, kept)
        return found

    def _choose_voice(self, words_a_minute: int) -> str | NotRendered:
        voices = self.voices(words_a_minute)
        if isinstance(voices, NotRendered):
            voices = self.voices(words_a_minute)
        if isinstance(voices, NotRendered):
            return voices
        chosen = choose_voice(voices, self._voice)
        if chosen is None:
            return NotRendered(
                f"there is no system voice {self._voice!r}" if self._voice else "there is no system voice"
            )
        return chosen.id

    def _key(self, text: str, words_a_minute: int) -> str:
        parts = json.dumps([_CACHE_FORMAT, text, self._voice, words_a_minute])
        return hashlib.sha256(parts.encode()).hexdigest()[:32]

    def _writable_folder(self) -> Path:
        """The cache, or a passing folder where the cache cannot be written."""
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            if os.access(self._folder, os.W_OK):
                _prune(self._folder)
                return self._folder
        except OSError:
            pass
        if self._spare is None:
            self._spare = tempfile.TemporaryDirectory(prefix="handsfree-voice-")
        return Path(self._spare.name)

    def _ask(self, request: dict[str, Any], words_a_minute: int = 0) -> dict[str, Any]:
        """One request to the child of that pace, one answer; on a missed deadline or a dead child {"ok": False, "error": why}."""
        child = self._children.pop(words_a_minute, None) or RenderingChild(self._command, self._deadline_s)
        self._children[words_a_minute] = child  # the one used last stands last
        while len(self._children) > _CHILDREN:
            self._children.pop(next(iter(self._children))).close()
        return child.ask(request)


def choose_voice(voices: Sequence[SystemVoice], wanted: str) -> SystemVoice | None:
    """The voice that is wanted; None when there is none such.

    Args:
        wanted: name or id, or part of it, whatever the case; empty = British English, else the first English one, else
            the first.
    """
    name = wanted.casefold()
    if name:
        exact = [v for v in voices if name in (v.id.casefold(), v.name.casefold())]
        near = [v for v in voices if name in v.id.casefold() or name in v.name.casefold()]
        return next(iter(exact + near), None)
    british = [v for v in voices if v.languages.casefold() == "en-gb"]
    english = [v for v in voices if v.languages.casefold().startswith("en")]
    return next(iter([*british, *english, *voices]), None)


def _load(path: Path, shape: Shape) -> Rendered | None:
    """A rendering in its shape, without the silence at its ends; None when the file is missing, damaged or silent."""
    try:
        samples, rate = soundfile.read(path, dtype="float32", always_2d=True)
    except (OSError, soundfile.LibsndfileError):
        return None
    mono = samples.mean(axis=1, dtype=np.float32)
    loud = np.flatnonzero(np.abs(mono) > _QUIET)
    if not len(loud):
        return None
    margin = rate // 100
    return Rendered(shape(mono[max(int(loud[0]) - margin, 0) : int(loud[-1]) + margin], int(rate)), int(rate))


def _prune(folder: Path) -> None:
    """Keep the cache from growing without end: the prompts that were made first go first."""
    prompts = list(folder.glob("*.wav"))
    if len(prompts) > _CACHED_PROMPTS:
        prompts.sort(key=lambda path: path.stat().st_mtime)
        for path in prompts[: _CACHED_PROMPTS // 4]:
            path.unlink(missing_ok=True)
