"""Something that takes longer than a second in, a sign of life out: on a terminal only, so that pipes and JSON stay clean."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterable, Iterator, Sequence
from typing import TypeVar

T = TypeVar("T")


@contextlib.contextmanager
def working(what: str) -> Iterator[None]:
    """Show `what` beside a spinner on standard error while the block runs."""
    if not sys.stderr.isatty():
        yield
        return
    from rich.console import Console

    with Console(file=sys.stderr).status(what):
        yield


def counted(things: Sequence[T], what: str) -> Iterable[T]:
    """`things` one by one, with a bar on standard error."""
    if not sys.stderr.isatty() or len(things) < 2:
        return things
    from rich.console import Console
    from rich.progress import track

    return track(things, what, console=Console(file=sys.stderr), transient=True)
