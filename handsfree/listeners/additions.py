"""A network's own weights and our trained additions in, adapted weights out.

The additions (low-rank products for matrices and convolutions, whole vectors for biases and gains) were trained for
this job by training/adapted_listeners; ADDITIONS.md beside them says on what. They ship as float16 in one .npz a network.
"""

from __future__ import annotations

import zipfile
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from handsfree.errors import BadInput, MissingPart
from handsfree.listeners.models import sha256_of, wheel_models

FOLDER = Path(__file__).parent


def read_additions(name: str, folder: Path = FOLDER) -> dict[str, NDArray[np.float32]]:
    """Name of a weight -> what is to be added to it; matrices as [out, in], convolutions as [out, in * width].

    Raises:
        MissingPart: the file is not there.
        BadInput: it is not the known one.
    """
    known = wheel_models()[name].additions
    path = folder / known.file
    if not path.is_file():
        raise MissingPart(f"{path} is missing: without it {name} is not adapted to readings", "install handsfree again")
    if sha256_of(path) != known.sha256:
        raise BadInput(f"{path} is not the file we know (its sha256 differs)", "install handsfree again")
    try:
        with np.load(path, allow_pickle=False) as file:
            parts = {key: file[key].astype(np.float32) for key in file.files}
    except (OSError, ValueError, zipfile.BadZipFile) as error:
        raise BadInput(f"{path}: not readable ({error})", "install handsfree again") from None
    whole = {key: value for key, value in parts.items() if "//" not in key}
    for key in (k.removesuffix("//up") for k in parts if k.endswith("//up")):
        whole[key] = parts[key + "//up"] @ parts[key + "//down"]
    return whole


def adapted(
    weights: Mapping[str, NDArray[np.generic]], additions: Mapping[str, NDArray[np.float32]]
) -> dict[str, NDArray[np.generic]]:
    """The weights with the additions in them, each in the kind of number that it had.

    Raises:
        BadInput: an addition has no weight, or another shape than its weight.
    """
    result = dict(weights)
    for name, addition in additions.items():
        result[name] = added(name, weights.get(name), addition).astype(weights[name].dtype)
    return result


def added(name: str, weight: NDArray[np.generic] | None, addition: NDArray[np.float32]) -> NDArray[np.float32]:
    """One weight with its addition.

    Raises:
        BadInput: there is no such weight, or it has another shape.
    """
    if weight is None or weight.size != addition.size:
        raise BadInput(f"the additions do not fit the weights: {name}", "install handsfree again")
    result: NDArray[np.float32] = weight.astype(np.float32) + addition.reshape(weight.shape)
    return result
