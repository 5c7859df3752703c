"""A request in, the answer of a rendering process out: started when needed, ended when it misses its deadline."""

from __future__ import annotations

import contextlib
import json
import os
import select
import subprocess
import time
from collections.abc import Sequence
from typing import Any


class RenderingChild:
    """One process of `rendering_child.py`.

    Args:
        command: starts it.
        deadline_s: s that an answer may take; the process is killed then, and started again for the next request.
    """

    def __init__(self, command: Sequence[str], deadline_s: float) -> None:
        self._command = list(command)
        self._deadline_s = deadline_s
        self._child: subprocess.Popen[bytes] | None = None
        self._unread = b""

    def ask(self, request: dict[str, Any]) -> dict[str, Any]:
        """One request, one answer; on a missed deadline or a dead child {"ok": False, "error": why}."""
        try:
            child = self._running_child()
            assert child.stdin is not None
            child.stdin.write(json.dumps(request).encode() + b"\n")
            child.stdin.flush()
            line = self._read_line(child)
        except OSError as error:
            self.close()
            return {"ok": False, "error": f"the voice's process does not run ({error.strerror or error})"}
        if line is None:
            self.close()
            return {"ok": False, "error": f"the voice gave no answer in {self._deadline_s:g} s"}
        try:
            answer: dict[str, Any] = json.loads(line)
        except ValueError:
            self.close()
            return {"ok": False, "error": "the voice's process died"}
        return answer

    def _running_child(self) -> subprocess.Popen[bytes]:
        if self._child is None or self._child.poll() is not None:
            self.close()
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

    def close(self) -> None:
        """End the process."""
        child, self._child = self._child, None
        self._unread = b""
        if child is not None:
            for pipe in (child.stdin, child.stdout):
                if pipe is not None:
                    with contextlib.suppress(OSError):
                        pipe.close()
            child.kill()
            child.wait()
