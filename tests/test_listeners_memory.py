"""What the listeners' heap holds and nobody uses goes back to the system."""

from __future__ import annotations

import ctypes
from pathlib import Path

import pytest

from handsfree.listeners import memory
from handsfree.listeners.memory import give_back

STATUS = Path("/proc/self/status")


def held_mb() -> float:
    line = next(x for x in STATUS.read_text().splitlines() if x.startswith("VmRSS"))
    return int(line.split()[1]) / 1024


@pytest.mark.skipif(memory._glibc() is None or not STATUS.exists(), reason="another C library")
def test_what_lies_free_below_a_piece_in_use_is_given_back() -> None:
    """Freed pieces that the C library keeps, because one above them is in use, leave the process."""
    library = ctypes.CDLL(None)
    library.malloc.restype = ctypes.c_void_p
    library.free.argtypes = [ctypes.c_void_p]
    size = 100_000
    pieces = [library.malloc(size) for _ in range(1000)]
    for piece in pieces:
        ctypes.memset(piece, 1, size)
    for piece in pieces[:-1]:
        library.free(piece)
    before = held_mb()
    assert give_back()
    assert held_mb() < before - 60
    library.free(pieces[-1])


def test_another_c_library_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the C library is not glibc nothing is done, and that is said."""
    monkeypatch.setattr(memory, "_glibc", lambda: None)
    assert not give_back()
