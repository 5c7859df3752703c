"""A file of a picture in, its bytes and kind out: what may be kept beside an item of the visit."""

from __future__ import annotations

import stat
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
        BadInput: it cannot be read, is larger than 20 MB, is neither JPEG nor PNG, or was cut short.
    """
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            # A pipe or a device would be waited for, or never end.
            raise BadInput(f"{path} is not a file", "name the file of a photo")
        size = found.st_size
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
    if not _is_whole(content, ending):
        raise BadInput(f"{path} was cut short: the end of the picture is missing", "copy it again from the camera")
    return Picture(content, ending)


def _is_whole(content: bytes, ending: str) -> bool:
    """Whether the picture's own end is there. What cameras write behind it does not matter."""
    return _has_png_end(content) if ending == ".png" else _has_jpeg_end(content)


def _has_png_end(content: bytes) -> bool:
    """PNG, third edition, section 5: chunks of length, type, data and check sum, the last one IEND."""
    at = 8
    while at + 12 <= len(content):
        if content[at + 4 : at + 8] == b"IEND":
            return True
        at += 12 + int.from_bytes(content[at : at + 4])
    return False


def _has_jpeg_end(content: bytes) -> bool:
    """ITU-T T.81, annex B: segments with their lengths up to the first scan, in which the end marker cannot occur.

    The segments are stepped over: a preview inside one of them has an end of its own.
    """
    at = 2
    while content[at : at + 1] == b"\xff" and at + 4 <= len(content):
        marker = content[at + 1]
        if marker == 0xFF:
            at += 1
        elif marker == 0xDA:
            return content.find(b"\xff\xd9", at) > 0
        else:
            at += 2 + int.from_bytes(content[at + 2 : at + 4])
    return False
