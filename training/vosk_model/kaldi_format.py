"""Arrays in, am/final.mdl out: Kaldi's binary transition model and nnet3.

Matrices are written as Kaldi's two-byte compressed form, which it reads wherever it reads a matrix: half the size, and
rounding at 1/65535 of each matrix's range.
"""

import math
import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from lexicon import GRAPH_PHONES, INDEX

STAY = 0.5  # probability of a self loop: the network's scores decide, the topology does not


@dataclass(frozen=True)
class Layer:
    """An affine map of a descriptor's vector, or (no weights) a descriptor with a node of its own."""

    name: str
    input: str
    weights: np.ndarray | None = None
    bias: np.ndarray | None = None
    relu: bool = False
    log_softmax: bool = False
    dim: int = 0


def token(text: str) -> bytes:
    return text.encode() + b" "


def integer(value: int) -> bytes:
    return b"\x04" + struct.pack("<i", value)


def real(value: float) -> bytes:
    return b"\x04" + struct.pack("<f", value)


def integers(values: list[int]) -> bytes:
    return b"\x04" + struct.pack("<i", len(values)) + np.asarray(values, np.int32).tobytes()


def vector(values: np.ndarray | list[float]) -> bytes:
    v = np.asarray(values, np.float32)
    return token("FV") + integer(len(v)) + v.tobytes()


def matrix(values: np.ndarray) -> bytes:
    """CM2: minimum, range, rows, columns, then 16-bit steps."""
    m = np.ascontiguousarray(values, np.float64)
    low, spread = np.float32(m.min()), np.float32(m.max() - m.min())
    steps = np.clip(np.rint((m - low) / spread * 65535), 0, 65535).astype(np.uint16)
    return token("CM2") + struct.pack("<ffii", low, spread, *m.shape) + steps.tobytes()


def transition_id(phone: int, forward: bool) -> int:
    """2p - 1 stays in graph phone p, 2p enters it (the topology lists the self loop first)."""
    return 2 * phone - 1 + int(forward)


def transition_model() -> bytes:
    """One emitting state a phone, its own output for the first frame and for later frames."""
    count = len(GRAPH_PHONES) - 1
    b = (
        token("<TransitionModel>")
        + token("<Topology>")
        + integers(list(range(1, count + 1)))
        + integers([-1] + [0] * count)
    )
    b += (
        integer(-1) + integer(1) + integer(2)
    )  # -1: the extended form (separate self-loop outputs); one entry, two states
    b += integer(0) + integer(1) + integer(2) + integer(0) + real(STAY) + integer(1) + real(1 - STAY)
    b += integer(-1) + integer(-1) + integer(0) + token("</Topology>") + token("<Tuples>") + integer(count)
    for phone in range(1, count + 1):
        base = INDEX[GRAPH_PHONES[phone].split("_")[0]]
        b += integer(phone) + integer(0) + integer(2 * base) + integer(2 * base + 1)
    b += token("</Tuples>") + token("<LogProbs>") + vector([0.0] + [math.log(STAY), math.log(1 - STAY)] * count)
    return b + token("</LogProbs>") + token("</TransitionModel>")


def nonlinear(kind: str, dim: int) -> bytes:
    zero = b"\x08" + struct.pack("<d", 0.0)
    b = (
        token(f"<{kind}>")
        + token("<Dim>")
        + integer(dim)
        + token("<ValueAvg>")
        + vector([])
        + token("<DerivAvg>")
        + vector([])
    )
    b += token("<Count>") + zero + token("<OderivRms>") + vector([]) + token("<OderivCount>") + zero
    b += token("<NumDimsSelfRepaired>") + zero + token("<NumDimsProcessed>") + zero
    return b + token(f"</{kind}>")


def components(layer: Layer) -> list[tuple[str, str, bytes]]:
    """A layer as component nodes: name, input, bytes."""
    if layer.weights is None or layer.bias is None:
        body = token("<NoOpComponent>") + token("<Dim>") + integer(layer.dim) + token("<BackpropScale>") + real(1.0)
        return [(layer.name, layer.input, body + token("</NoOpComponent>"))]
    body = token("<FixedAffineComponent>") + token("<LinearParams>") + matrix(layer.weights)
    body += token("<BiasParams>") + vector(layer.bias) + token("</FixedAffineComponent>")
    nodes, name = [(f"{layer.name}.affine", layer.input, body)], f"{layer.name}.affine"
    for wanted, suffix, kind in (
        (layer.relu, "relu", "RectifiedLinearComponent"),
        (layer.log_softmax, "lsm", "LogSoftmaxComponent"),
    ):
        if wanted:
            nodes.append((f"{layer.name}.{suffix}", name, nonlinear(kind, len(layer.bias))))
            name = f"{layer.name}.{suffix}"
    return nodes


def write_model(path: Path, input_dim: int, layers: list[Layer]) -> None:
    """The last layer is the output."""
    nodes = [node for layer in layers for node in components(layer)]
    lines = [f"input-node name=input dim={input_dim}"]
    lines += [f"component-node name={name} component={name} input={source}" for name, source, _ in nodes]
    lines.append(f"output-node name=output input={nodes[-1][0]} objective=linear")
    b = token("<Nnet3>") + b"\n" + "\n".join(lines).encode() + b"\n\n" + token("<NumComponents>") + integer(len(nodes))
    for name, _, body in nodes:
        b += token("<ComponentName>") + token(name) + body
    b += token("</Nnet3>") + token("<LeftContext>") + integer(0) + token("<RightContext>") + integer(0)
    b += token("<Priors>") + vector([])
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"\0B" + transition_model() + b)
