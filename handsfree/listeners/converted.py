"""A folder of the cache with a listener's graphs in it: made when it is not there, made again when it is not what was
written."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from handsfree.errors import MissingPart
from handsfree.listeners.models import sha256_of

GRAPHS = ("encoder.onnx", "decoder.onnx")


def converted(folder: Path, convert: Callable[[Path], None]) -> Path:
    """The folder with encoder.onnx and decoder.onnx.

    Args:
        folder: in the cache; its name says of which version the graphs are.
        convert: writes both graphs, and what belongs to them, into an empty folder.

    Raises:
        MissingPart: the cache cannot be written, or the package `onnx` is missing while it is needed.
        BadInput: what the graphs are made from is not what we know.
    """
    if is_whole(folder):
        return folder
    cache_folder = folder.parent
    try:
        cache_folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".converting-", dir=cache_folder) as scratch:
            fresh = Path(scratch) / "graphs"
            fresh.mkdir()
            _need_onnx(folder.name)
            convert(fresh)
            sums = {path.name: sha256_of(path) for path in sorted(fresh.iterdir())}
            (fresh / "sums.json").write_text(json.dumps(sums, indent=1), encoding="utf-8")
            shutil.rmtree(folder, ignore_errors=True)
            try:
                os.replace(fresh, folder)
            except OSError:
                # Another copy of the program was quicker; its result is the same.
                if not is_whole(folder):
                    raise
    except OSError as error:
        raise MissingPart(f"{cache_folder}: {error}", "free some space or set cache_folder in the settings") from None
    return folder


def is_whole(folder: Path) -> bool:
    """Whether the folder holds both graphs, and what belongs to them, as they were written."""
    try:
        sums: dict[str, str] = json.loads((folder / "sums.json").read_text(encoding="utf-8"))
        return set(sums) >= set(GRAPHS) and all(sha256_of(folder / f) == s for f, s in sums.items())
    except (OSError, ValueError):
        return False


def _need_onnx(what: str) -> None:
    try:
        import onnx  # noqa: F401
    except ImportError:
        raise MissingPart(
            f"the package onnx is not installed; it is needed once, to make {what}",
            "install the extra: pip install 'handsfree[hear]'",
        ) from None
