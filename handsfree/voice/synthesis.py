"""Text in, samples of speech out: rendered by pyttsx3 in a child process with a deadline, and kept in a cache."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import select
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

_CHILD = Path(__file__).with_name("rendering_child.py")
_CACHE_FORMAT = "1"
_CACHED_PROMPTS = 2_000
_QUIET = 0.003
"""of full scale; quieter ends of a rendering are cut away, for they only make the engineer wait"""
_FAILURES_TO_GIVE_UP = 3


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
    """

    def __init__(
        self, cache_folder: Path, voice: str = "", *, deadline_s: float = 8.0, command: Sequence[str] | None = None
    ) -> None:
        self._folder = cache_folder / "prompts"
        self._voice = voice
        self._deadline_s = deadline_s
        # -P: the child's own folder must not shadow the modules that it imports.
        self._command = list(command or (sys.executable, "-P", str(_CHILD)))
        self._child: subprocess.Popen[bytes] | None = None
        self._unread = b""
        self._voice_id: str | None = None
        self._failures = 0
        self._spare: tempfile.TemporaryDirectory[str] | None = None

    def render(self, text: str, words_a_minute: int) -> Rendered | NotRendered:
        """Make `text` into sound; never raises because of the synthesiser or the disk."""
        kept = self._folder / f"{self._key(text, words_a_minute)}.wav"
        if (found := _load(kept)) is not None:
            return found
        if self._failures >= _FAILURES_TO_GIVE_UP:
            return NotRendered("the voice has failed too often", for_good=True)
        answer = self._render_anew(text, words_a_minute, kept)
        if isinstance(answer, Rendered):
            self._failures = 0
            return answer
        self._failures += 1
        return NotRendered(answer.reason, self._failures >= _FAILURES_TO_GIVE_UP)

    def voices(self) -> tuple[SystemVoice, ...] | NotRendered:
        """All voices of the system's synthesiser."""
        answer = self._ask({"voices": True})
        if not answer.get("ok"):
            return NotRendered(str(answer.get("error", "no answer")))
        return tuple(SystemVoice(v["id"], v["name"], v["languages"]) for v in answer["voices"])

    def close(self) -> None:
        """End the child."""
        child, self._child = self._child, None
        self._unread = b""
        if child is not None:
            for pipe in (child.stdin, child.stdout):
                if pipe is not None:
                    with contextlib.suppress(OSError):
                        pipe.close()
            child.kill()
            child.wait()
        if self._spare is not None:
            self._spare.cleanup()
            self._spare = None

    # ---- rendering

    def _render_anew(self, text: str, words_a_minute: int, kept: Path) -> Rendered | NotRendered:
        if self._voice_id is None:
            chosen = self._choose_voice()
            if isinstance(chosen, NotRendered):
                return chosen
            self._voice_id = chosen
        fresh = self._writable_folder() / f".{os.getpid()}.part.wav"
        request = {"text": text, "voice": self._voice_id, "rate": words_a_minute, "path": str(fresh)}
        answer = self._ask(request)
        if not answer.get("ok"):
            answer = self._ask(request)
        found = _load(fresh) if answer.get("ok") else None
        if found is None:
            fresh.unlink(missing_ok=True)
            return NotRendered(str(answer.get("error") or "the rendering holds no sound"))
        with contextlib.suppress(OSError):
            os.replace(fresh, kept)
        return found

    def _choose_voice(self) -> str | NotRendered:
        voices = self.voices()
        if isinstance(voices, NotRendered):
            voices = self.voices()
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

    # ---- the child

    def _ask(self, request: dict[str, Any]) -> dict[str, Any]:
        """One request, one answer; on a missed deadline or a dead child {"ok": False, "error": why}."""
        try:
            child = self._running_child()
            assert child.stdin is not None
            child.stdin.write(json.dumps(request).encode() + b"\n")
            child.stdin.flush()
            line = self._read_line(child)
        except OSError as error:
            self._end_child()
            return {"ok": False, "error": f"the voice's process does not run ({error.strerror or error})"}
        if line is None:
            self._end_child()
            return {"ok": False, "error": f"the voice gave no answer in {self._deadline_s:g} s"}
        try:
            answer: dict[str, Any] = json.loads(line)
        except ValueError:
            self._end_child()
            return {"ok": False, "error": "the voice's process died"}
        return answer

    def _running_child(self) -> subprocess.Popen[bytes]:
        if self._child is None or self._child.poll() is not None:
            self._end_child()
            self._child = subprocess.Popen(
                self._command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                start_new_session=True,  # Ctrl-C at the terminal is for the visit, which then ends the child
            )
        return self._child

    def _read_line(self, child: subprocess.Popen[bytes]) -> bytes | None:
        """The child's next line; b"" at its end, None when the deadline passes."""
        assert child.stdout is not None
        until = time.monotonic() + self._deadline_s
        while b"\n" not in self._unread:
            left = until - time.monotonic()
            if left <= 0 or not select.select([child.stdout], [], [], left)[0]:
                return None
            piece = os.read(child.stdout.fileno(), 65536)
            if not piece:
                return b""
            self._unread += piece
        line, _, self._unread = self._unread.partition(b"\n")
        return line

    def _end_child(self) -> None:
        spare, self._spare = self._spare, None
        self.close()
        self._spare = spare


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


def _load(path: Path) -> Rendered | None:
    """A rendering without the silence at its ends; None when the file is missing, damaged or silent."""
    try:
        samples, rate = soundfile.read(path, dtype="float32", always_2d=True)
    except (OSError, soundfile.LibsndfileError):
        return None
    mono = samples.mean(axis=1, dtype=np.float32)
    loud = np.flatnonzero(np.abs(mono) > _QUIET)
    if not len(loud):
        return None
    margin = rate // 50
    return Rendered(mono[max(int(loud[0]) - margin, 0) : int(loud[-1]) + margin], int(rate))


def _prune(folder: Path) -> None:
    """Keep the cache from growing without end: the prompts that were made first go first."""
    prompts = list(folder.glob("*.wav"))
    if len(prompts) > _CACHED_PROMPTS:
        prompts.sort(key=lambda path: path.stat().st_mtime)
        for path in prompts[: _CACHED_PROMPTS // 4]:
            path.unlink(missing_ok=True)
