"""A model.bin in CTranslate2's format in, named arrays out."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from handsfree.errors import BadInput

_KINDS: dict[int, type[np.generic]] = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}
"""CTranslate2's `DataType` numbers (include/ctranslate2/types.h)."""

_VERSION = 6
"""Binary version that the pinned wheel carries; versions 4 and 5 have the same layout up to here."""


class _Bytes:
    """A cursor over little-endian fields."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        self.at = 0

    def number(self, code: str) -> int:
        (value,) = struct.unpack_from("<" + code, self.data, self.at)
        self.at += struct.calcsize(code)
        return int(value)

    def text(self) -> str:
        length = self.number("H")
        raw = self.data[self.at : self.at + length]
        self.at += length
        return raw.rstrip(b"\0").decode()

    def array(self, kind: type[np.generic], dims: list[int], size: int) -> NDArray[np.generic]:
        if self.at + size > len(self.data):
            raise struct.error("variable runs over the end of the file")
        count = size // np.dtype(kind).itemsize
        values: NDArray[np.generic] = np.frombuffer(self.data, kind, count, self.at).reshape(dims)
        self.at += size
        return values


def read_weights(path: Path) -> dict[str, NDArray[np.generic]]:
    """The variables of a CTranslate2 model file, without copying them.

    The layout is: binary version (uint32), specification name, revision (uint32), number of variables (uint32); then
    for each its name, number of dimensions (uint8), dimensions (uint32 each), kind (uint8), size in bytes (uint32)
    and the bytes (source: python/ctranslate2/specs/model_spec.py of CTranslate2, `_serialize`).

    Raises:
        BadInput: the file cannot be read or is not such a model.
    """
    try:
        cursor = _Bytes(path.read_bytes())
        version, specification = cursor.number("I"), cursor.text()
        if not 4 <= version <= _VERSION or specification != "WhisperSpec":
            raise BadInput(
                f"{path}: version {version} of {specification!r}, wanted a WhisperSpec of version 4 to 6", ""
            )
        cursor.number("I")
        variables: dict[str, NDArray[np.generic]] = {}
        for _ in range(cursor.number("I")):
            name = cursor.text()
            dims = [cursor.number("I") for _ in range(cursor.number("B"))]
            kind, size = _KINDS[cursor.number("B")], cursor.number("I")
            variables[name] = cursor.array(kind, dims, size)
        return variables
    except (OSError, struct.error, KeyError, ValueError) as error:
        raise BadInput(f"{path}: not a readable model file ({error})", "install the pinned wheel again") from None
