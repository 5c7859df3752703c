"""The C library's heap in, what it holds and nobody uses given back to the system.

The listeners' tensors come in ever new sizes and from several threads; glibc keeps what they leave behind, some 100 MB
of it. Other C libraries are left alone.
"""

from __future__ import annotations

import ctypes
import functools
from typing import Any


@functools.cache
def _glibc() -> Any:
    """The C library, if it is glibc."""
    try:
        library = ctypes.CDLL(None)
    except (OSError, TypeError):
        return None
    return library if hasattr(library, "gnu_get_libc_version") and hasattr(library, "malloc_trim") else None


def give_back() -> bool:
    """Give what is free in the heaps back to the system, within some 10 ms. False where there was nothing, or no way."""
    library = _glibc()
    return library is not None and bool(library.malloc_trim(0))
