"""Requests on standard input in, speech in WAV files out: the only place where pyttsx3 runs.

A program of its own, run by path: pyttsx3 prints on standard output, loses sentences when two are given at once, and
can hang for ever inside a native library. Here a hang costs one process. One JSON object a line: {"voices": true}, or
{"text", "voice", "rate", "path"}.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import wave
from typing import Any

LONGEST_REQUEST_S = 60
"""s after which the system ends this process, should the parent have died while the native library hangs"""


def main() -> None:
    """Answer requests until standard input ends."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8", buffering=1)
    nothing = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nothing, 1)
    os.dup2(nothing, 2)
    engine: Any = None
    for line in sys.stdin:
        if hasattr(signal, "alarm"):
            signal.alarm(LONGEST_REQUEST_S)
        try:
            if engine is None:
                engine = _engine()
            answer = _answer(engine, json.loads(line))
        except Exception as error:  # whatever a driver raises is an answer, not the end
            answer = {"ok": False, "error": f"{type(error).__name__}: {error}"}
        if hasattr(signal, "alarm"):
            signal.alarm(0)
        answers.write(json.dumps(answer) + "\n")


def _engine() -> Any:
    """The synthesiser, so that what is set for a sentence holds for that sentence.

    Untouched it keeps back what is set before its first sentence, and returns before that one is made. The espeak driver
    then only queues a pace, and ends each sentence's loop by throwing away what is still queued: now and then, on a busy
    machine, a number was spoken half as fast again.
    """
    import pyttsx3

    engine = pyttsx3.init()
    engine.proxy.setBusy(False)
    driver = engine.proxy._driver
    if type(driver).__name__ == "EspeakDriver":
        driver.stop = lambda: None
    return engine


def _answer(engine: Any, request: dict[str, Any]) -> dict[str, Any]:
    if request.get("voices"):
        return {"ok": True, "voices": _voices(engine)}
    if request["voice"]:
        engine.setProperty("voice", request["voice"])
    engine.setProperty("rate", request["rate"])
    engine.save_to_file(request["text"], request["path"])
    engine.runAndWait()
    with wave.open(request["path"], "rb") as file:
        seconds = file.getnframes() / file.getframerate()
    return {"ok": seconds > 0, "seconds": seconds, "error": "" if seconds > 0 else "the driver rendered no sound"}


def _voices(engine: Any) -> list[dict[str, str]]:
    return [
        {"id": voice.id, "name": voice.name, "languages": " ".join(str(language) for language in voice.languages or [])}
        for voice in engine.getProperty("voices")
    ]


if __name__ == "__main__":
    main()
