"""A visit's clips and photos in, sound and pictures that stand inside one HTML file out."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from handsfree.record.folder import clip_path, is_file_itself, photo_path
from handsfree.record.photo import MEDIA

ClipsAs = Literal["embed", "link", "none"]

_RATES = {16_000, 22_050, 24_000, 32_000, 44_100, 48_000}
"""Hz that MP3 knows and that keep speech whole"""
LARGEST_EMBEDDED = 6_000_000
"""bytes of a photo that a page holds itself, as large as a telephone usually makes them; a larger one is named"""


@dataclass(slots=True)
class ClipSounds:
    """The address of each clip for a player, and of each photo for a picture.

    Args:
        folder: the visit's folder.
        how: "embed" puts the sound into the page, compressed, so that the file stands alone, and the photos as they
            are; "link" names the file in the visit's folder; "none" leaves players and pictures out.

    The compressed sound is for listening; the recording itself stays in the folder as it was. MP3 is taken because
    every browser plays it; a 2 s utterance is about 11 kB in the page, WAV would be 85 kB.
    """

    folder: Path
    how: ClipsAs = "embed"
    _known: dict[str, str] = field(default_factory=dict)

    def address(self, name: str | None) -> str:
        """What a player's `src` is to be; empty when there is nothing to play."""
        if not name or self.how == "none":
            return ""
        if name not in self._known:
            file = clip_path(self.folder, name)
            there = file is not None and is_file_itself(file)
            if self.how == "link" or file is None or not there:
                self._known[name] = name if there else ""
            else:
                self._known[name] = _data_address(file)
        return self._known[name]

    def picture(self, name: str) -> str:
        """What a picture's `src` is to be; empty when there is nothing to show."""
        file = photo_path(self.folder, name)
        if self.how == "none" or file is None or file.suffix not in MEDIA or not is_file_itself(file):
            return ""
        if self.how == "link":
            return name
        if file.stat().st_size > LARGEST_EMBEDDED:
            return ""
        return f"data:{MEDIA[file.suffix]};base64,{base64.b64encode(file.read_bytes()).decode()}"


def _data_address(file: Path) -> str:
    content = file.read_bytes()
    small = _compress(content)
    kind, sound = ("audio/mpeg", small) if small else ("audio/wav", content)
    return f"data:{kind};base64,{base64.b64encode(sound).decode()}"


def _compress(wav: bytes) -> bytes:
    """The sound as MP3; empty when it cannot be made, and then the WAV itself is embedded."""
    import soundfile

    try:
        samples, rate = soundfile.read(io.BytesIO(wav), dtype="float32")
        if rate not in _RATES:
            return b""
        buffer = io.BytesIO()
        soundfile.write(
            buffer,
            samples,
            rate,
            format="MP3",
            subtype="MPEG_LAYER_III",
            compression_level=0.8,
            bitrate_mode="CONSTANT",
        )
    except (soundfile.LibsndfileError, RuntimeError, ValueError, TypeError):
        return b""
    return buffer.getvalue()
