"""A file of a picture in, its bytes and kind out: what may be kept beside an item of the visit."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from handsfree.errors import BadInput

LARGEST_MB = 20
_KINDS = {b"\xff\xd8\xff": ".jpg", b"\x89PNG\r\n\x1a\n": ".png"}
"""how a file begins -> the ending that it is kept under: what a file is called says nothing of what it holds"""
MEDIA = {".jpg": "image/jpeg", ".png": "image/png"}
"""ending -> media type, of the pictures that are kept"""


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture, byte for byte as the camera wrote it."""

    content: bytes
    ending: str
    """.jpg or .png"""


def read_picture(path: Path) -> Picture:
    """A JPEG or PNG.

    Raises:
        BadInput: it cannot be read, is larger than 20 MB, or is neither JPEG nor PNG.
    """
    try:
        size = path.stat().st_size
        content = path.read_bytes() if size <= LARGEST_MB * 1_000_000 else b""
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {error.strerror or error}", "name the file of a photo") from None
    if size > LARGEST_MB * 1_000_000:
        raise BadInput(
            f"{path} has {size / 1e6:.1f} MB: a photo may have {LARGEST_MB} MB at most",
            "make it smaller, then try again",
        )
    ending = next((ending for start, ending in _KINDS.items() if content.startswith(start)), "")
    if not ending:
        raise BadInput(f"{path} is no photo: it begins as neither JPEG nor PNG does", "save it as JPEG or PNG")
    return Picture(content, ending)
