"""Whisper's weights in, two ONNX graphs out: an encoder that also prepares the cross attention, and a decoder that
takes one step.

The network is that of Radford et al., "Robust Speech Recognition via Large-Scale Weak Supervision" (2022): pre-norm
transformer, keys without bias (CTranslate2 stores that bias as zeros), learned positions in the decoder, sinusoids in
the encoder.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

HEADS = 6
HEAD_SIZE = 64
SIZE = HEADS * HEAD_SIZE
LAYERS = 4
OPSET = 17
"""First with LayerNormalization; onnxruntime has run it since 1.13."""
IR_VERSION = 8

Weights = Mapping[str, NDArray[np.generic]]


class _Graph:
    """Nodes and weights collected on the way through the network. Weights stay float16 on disk and are widened once,
    at load."""

    def __init__(self, weights: Weights) -> None:
        from onnx import helper, numpy_helper

        self._helper: Any = helper
        self._numpy_helper: Any = numpy_helper
        self.weights = weights
        self.nodes: list[Any] = []
        self.initializers: dict[str, Any] = {}
        self._count = 0

    def node(self, kind: str, *inputs: str, output: str | None = None, **attributes: Any) -> str:
        self._count += 1
        name = output or f"{kind.lower()}_{self._count}"
        self.nodes.append(self._helper.make_node(kind, list(inputs), [name], **attributes))
        return name

    def split(self, value: str, parts: int) -> list[str]:
        self._count += 1
        names = [f"split_{self._count}_{i}" for i in range(parts)]
        self.nodes.append(self._helper.make_node("Split", [value], names, axis=-1))
        return names

    def constant(self, name: str, value: NDArray[np.generic]) -> str:
        if name not in self.initializers:
            self.initializers[name] = self._numpy_helper.from_array(np.ascontiguousarray(value), name)
        return name

    def shape(self, *dims: int) -> str:
        return self.constant("shape_" + "_".join(map(str, dims)), np.array(dims, np.int64))

    def number(self, value: float) -> str:
        return self.constant(f"number_{value}", np.array(value, np.float32))

    def weight(self, name: str, *, transposed: bool = False) -> str:
        value = self.weights[name]
        stored = self.constant(name + ("_t" if transposed else ""), value.T if transposed else value)
        return self.node("Cast", stored, to=1)

    def linear(self, value: str, name: str) -> str:
        product = self.node("MatMul", value, self.weight(name + "/weight", transposed=True))
        return self.node("Add", product, self.weight(name + "/bias"))

    def norm(self, value: str, name: str) -> str:
        gamma, beta = self.weight(name + "/gamma"), self.weight(name + "/beta")
        return self.node("LayerNormalization", value, gamma, beta, axis=-1, epsilon=1e-5)

    def gelu(self, value: str) -> str:
        error = self.node("Erf", self.node("Div", value, self.number(float(np.sqrt(np.float32(2))))))
        return self.node("Mul", self.node("Mul", value, self.node("Add", error, self.number(1.0))), self.number(0.5))

    def feed_forward(self, value: str, name: str) -> str:
        hidden = self.gelu(self.linear(self.norm(value, name + "/layer_norm"), name + "/linear_0"))
        return self.node("Add", value, self.linear(hidden, name + "/linear_1"))

    def heads(self, value: str, order: tuple[int, int, int]) -> str:
        """[rows, SIZE] as [rows, HEADS, HEAD_SIZE] with its axes in `order`."""
        return self.node("Transpose", self.node("Reshape", value, self.shape(-1, HEADS, HEAD_SIZE)), perm=list(order))

    def scaled(self, query: str) -> str:
        return self.node("Mul", query, self.number(HEAD_SIZE**-0.5))

    def attend(self, query: str, keys: str, values: str) -> str:
        return self.node("MatMul", self.node("Softmax", self.node("MatMul", query, keys), axis=-1), values)

    def joined(self, seen: str) -> str:
        """[HEADS, rows, HEAD_SIZE] as [rows, SIZE]."""
        return self.node("Reshape", self.node("Transpose", seen, perm=[1, 0, 2]), self.shape(-1, SIZE))

    def model(self, name: str, inputs: list[tuple[str, int, list[Any]]], outputs: list[tuple[str, list[Any]]]) -> bytes:
        info = self._helper.make_tensor_value_info
        graph = self._helper.make_graph(
            self.nodes,
            name,
            [info(n, kind, dims) for n, kind, dims in inputs],
            [info(n, 1, dims) for n, dims in outputs],
            list(self.initializers.values()),
        )
        made = self._helper.make_model(
            graph,
            opset_imports=[self._helper.make_opsetid("", OPSET)],
            ir_version=IR_VERSION,
            producer_name="handsfree",
        )
        return bytes(made.SerializeToString(deterministic=True))


def encoder_graph(weights: Weights) -> bytes:
    """The encoder as serialised ONNX.

    Input `mel` [1, 80, frames of 10 ms, even]; outputs, for each decoder layer i, `cross_keys_i` [HEADS, HEAD_SIZE,
    frames of 20 ms] and `cross_values_i` [HEADS, frames of 20 ms, HEAD_SIZE].
    """
    g = _Graph(weights)
    x = g.node("Conv", "mel", g.weight("encoder/conv1/weight"), g.weight("encoder/conv1/bias"), pads=[1, 1])
    x = g.gelu(x)
    x = g.node("Conv", x, g.weight("encoder/conv2/weight"), g.weight("encoder/conv2/bias"), pads=[1, 1], strides=[2])
    x = g.node("Transpose", g.node("Squeeze", g.gelu(x), g.shape(0)), perm=[1, 0])
    frames = g.node("Slice", g.node("Shape", x), g.shape(0), g.shape(1))
    positions = g.node("Slice", g.weight("encoder/position_encodings/encodings"), g.shape(0), frames, g.shape(0))
    x = g.node("Add", x, positions)
    for layer in range(LAYERS):
        name = f"encoder/layer_{layer}"
        q, k, v = g.split(
            g.linear(g.norm(x, name + "/self_attention/layer_norm"), name + "/self_attention/linear_0"), 3
        )
        seen = g.attend(g.heads(g.scaled(q), (1, 0, 2)), g.heads(k, (1, 2, 0)), g.heads(v, (1, 0, 2)))
        x = g.node("Add", x, g.linear(g.joined(seen), name + "/self_attention/linear_1"))
        x = g.feed_forward(x, name + "/ffn")
    x = g.norm(x, "encoder/layer_norm")
    outputs: list[tuple[str, list[Any]]] = []
    for layer in range(LAYERS):
        k, v = g.split(g.linear(x, f"decoder/layer_{layer}/attention/linear_1"), 2)
        for part, value, order, dims in (
            ("keys", k, (1, 2, 0), [HEADS, HEAD_SIZE, "frames"]),
            ("values", v, (1, 0, 2), [HEADS, "frames", HEAD_SIZE]),
        ):
            g.node("Identity", g.heads(value, order), output=f"cross_{part}_{layer}")
            outputs.append((f"cross_{part}_{layer}", dims))
    return g.model("whisper_encoder", [("mel", 1, [1, 80, "mel_frames"])], outputs)


def embedding_table(weights: Weights) -> NDArray[np.generic]:
    """[tokens, SIZE]: what stands for each token. Outside the graph, where a few of its rows are read from the disk:
    onnxruntime would hold all 40 MB of it, beside the same numbers turned round for the output."""
    return weights["decoder/embeddings/weight"]


def decoder_graph(weights: Weights, texts: int) -> bytes:
    """One step of the decoder for several hypotheses at once, as serialised ONNX.

    Inputs: `embedded` [rows, SIZE] (the tokens' rows of `embedding_table`), `parents` [rows] (row of the past that each
    continues), `position` [1], the encoder's outputs, and for each layer `past_keys_i` [rows before, HEADS, HEAD_SIZE,
    steps] and `past_values_i` [rows before, HEADS, steps, HEAD_SIZE] (0 steps at first). Outputs: `log_probs` [rows,
    texts] (natural logarithm, over the first `texts` tokens: the special ones behind are never wanted), `keys_i`,
    `values_i`.
    """
    g = _Graph(weights)
    places = g.node("Gather", g.weight("decoder/position_encodings/encodings"), "position", axis=0)
    x = g.node("Add", "embedded", places)
    outputs: list[tuple[str, list[Any]]] = [("log_probs", ["rows", texts])]
    inputs: list[tuple[str, int, list[Any]]] = [
        ("embedded", 1, ["rows", SIZE]),
        ("parents", 7, ["rows"]),
        ("position", 7, [1]),
    ]
    for layer in range(LAYERS):
        name = f"decoder/layer_{layer}"
        q, k, v = g.split(
            g.linear(g.norm(x, name + "/self_attention/layer_norm"), name + "/self_attention/linear_0"), 3
        )
        q = g.node("Reshape", g.scaled(q), g.shape(-1, HEADS, 1, HEAD_SIZE))
        k = g.node("Reshape", k, g.shape(-1, HEADS, HEAD_SIZE, 1))
        v = g.node("Reshape", v, g.shape(-1, HEADS, 1, HEAD_SIZE))
        old_k = g.node("Gather", f"past_keys_{layer}", "parents", axis=0)
        old_v = g.node("Gather", f"past_values_{layer}", "parents", axis=0)
        k = g.node("Concat", old_k, k, output=f"keys_{layer}", axis=3)
        v = g.node("Concat", old_v, v, output=f"values_{layer}", axis=2)
        seen = g.node("Reshape", g.attend(q, k, v), g.shape(-1, SIZE))
        x = g.node("Add", x, g.linear(seen, name + "/self_attention/linear_1"))
        q = g.linear(g.norm(x, name + "/attention/layer_norm"), name + "/attention/linear_0")
        # The hypotheses share one utterance, so they are the rows of a single product with its keys.
        seen = g.attend(g.heads(g.scaled(q), (1, 0, 2)), f"cross_keys_{layer}", f"cross_values_{layer}")
        x = g.node("Add", x, g.linear(g.joined(seen), name + "/attention/linear_2"))
        x = g.feed_forward(x, name + "/ffn")
        keys, values = [HEADS, HEAD_SIZE], [HEADS]
        inputs.append((f"past_keys_{layer}", 1, ["rows_before", *keys, "steps"]))
        inputs.append((f"past_values_{layer}", 1, ["rows_before", *values, "steps", HEAD_SIZE]))
        inputs.append((f"cross_keys_{layer}", 1, [HEADS, HEAD_SIZE, "frames"]))
        inputs.append((f"cross_values_{layer}", 1, [HEADS, "frames", HEAD_SIZE]))
        outputs.append((f"keys_{layer}", ["rows", *keys, "steps_now"]))
        outputs.append((f"values_{layer}", ["rows", *values, "steps_now", HEAD_SIZE]))
    last = g.norm(x, "decoder/layer_norm")
    table = g.node("Cast", g.constant("output", embedding_table(weights)[:texts].T), to=1)
    g.node("LogSoftmax", g.node("MatMul", last, table), output="log_probs", axis=-1)
    return g.model("whisper_decoder", inputs, outputs)
