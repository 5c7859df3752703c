"""A checkpoint in; out ctc.onnx (of the TDNN) or phones.onnx (of the attending network): samples in, log posteriors of
40 phones every 30 ms out, weights stored in 8 bits.

    python export_ctc.py net.pt MODEL_FOLDER

Input `samples`: (1, n) float at 16-bit scale, 16 kHz, n >= 400.  Output `phones`: (1, frames, 40), the CTC head,
phone 0 the blank; of the TDNN also output `states`: (1, frames, 80), the MMI head's scores (first frame of phone p:
2p, later frames: 2p + 1).
"""

import argparse
from pathlib import Path

import features
import numpy as np
import onnx
import onnxruntime
import torch
from export import load
from network import Attending, Tdnn
from onnx import helper, numpy_helper
from torch import nn


class FromSamples(nn.Module):
    """Features as a convolution (mean removal, pre-emphasis, window and Fourier transform are one linear map), then
    the network."""

    def __init__(self, net: Tdnn | Attending) -> None:
        super().__init__()
        self.net = net
        c = features.constants()
        identity = torch.eye(features.WINDOW, dtype=torch.float64)
        centred = identity - 1 / features.WINDOW
        before = torch.cat([centred[:1], centred[:-1]])
        shaped = (centred - 0.97 * before) * c["window"].double()[:, None]  # rows: samples of the shaped frame
        spectrum = torch.fft.rfft(shaped, features.SIZE, dim=0)
        bank = torch.cat([spectrum.real, spectrum.imag]).float()
        self.register_buffer("bank", bank[:, None, :].contiguous())
        self.register_buffer("mels", features.banks())
        self.register_buffer("dct", c["dct"])

    def forward(self, samples: torch.Tensor) -> tuple[torch.Tensor, ...]:
        waves = torch.nn.functional.conv1d(samples[:, None], self.bank, stride=features.SHIFT)
        half = self.bank.shape[0] // 2
        energy = (waves[:, :half] ** 2 + waves[:, half:] ** 2).transpose(1, 2)
        states, phones = self.net(features.logmel(energy, self.mels) @ self.dct)
        phones = torch.log_softmax(phones, 2)
        return (phones,) if states is None else (phones, states)


class Standardise(nn.Module):
    """The input normalisation with its running statistics, in a form that exports."""

    def __init__(self, norm: nn.BatchNorm1d) -> None:
        super().__init__()
        self.register_buffer("mean", norm.running_mean)
        self.register_buffer("gain", (norm.running_var + norm.eps).rsqrt())

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return (x - self.mean) * self.gain


def shrink(model: onnx.ModelProto, least: int = 20000) -> onnx.ModelProto:
    """Large weight matrices as 8-bit integers with a scale a column, widened again when the graph is loaded."""
    graph = model.graph
    read_by: dict[str, list[onnx.NodeProto]] = {}
    for node in graph.node:
        for name in node.input:
            read_by.setdefault(name, []).append(node)
    added = []
    for item in list(graph.initializer):
        values = numpy_helper.to_array(item)
        readers = {n.op_type for n in read_by.get(item.name, [])}
        if values.dtype != np.float32 or values.ndim != 2 or values.size < least or not readers <= {"MatMul", "Gemm"}:
            continue
        axis = 0 if any(a.name == "transB" and a.i for n in read_by[item.name] for a in n.attribute) else 1
        scale = np.maximum(np.abs(values).max(1 - axis), 1e-9).astype(np.float32) / 127
        rounded = np.rint(values / np.expand_dims(scale, 1 - axis)).astype(np.int8)
        graph.initializer.remove(item)
        graph.initializer.append(numpy_helper.from_array(rounded, item.name + "_q"))
        graph.initializer.append(numpy_helper.from_array(scale, item.name + "_s"))
        inputs = [item.name + "_q", item.name + "_s"]
        added.append(helper.make_node("DequantizeLinear", inputs, [item.name], axis=axis, name=item.name + "_widen"))
    nodes = added + list(graph.node)
    del graph.node[:]
    graph.node.extend(nodes)
    return model


def fold_norms(net: Tdnn) -> None:
    """Normalisations that follow a linear map become part of it."""

    def fold(linear: nn.Linear, norm: nn.BatchNorm1d) -> None:
        gain = norm.weight * (norm.running_var + norm.eps).rsqrt()
        linear.bias = nn.Parameter(norm.bias - norm.running_mean * gain)
        linear.weight = nn.Parameter(linear.weight * gain[:, None])

    with torch.no_grad():
        net.scale = Standardise(net.scale)
        fold(net.first, net.first_norm)
        fold(net.third, net.third_norm)
        net.first_norm = net.third_norm = nn.Identity()
        for part, linear in [*((b, "widen") for b in net.blocks), (net.mmi, "pre"), (net.ctc, "pre")]:
            fold(getattr(part, linear), part.norm)
            part.norm = nn.Identity()


@torch.no_grad()
def check(whole: FromSamples, path: Path) -> None:
    """Prints how far the graph is from torch, before the weights are rounded, at three lengths."""
    session = onnxruntime.InferenceSession(str(path), providers=["CPUExecutionProvider"])
    for seconds in (0.5, 2, 11):
        samples = torch.randn(1, int(16000 * seconds)) * 1000
        given = session.run(["phones"], {"samples": samples.numpy()})[0]
        print(f"{seconds} s: differs by at most {np.abs(given - whole(samples)[0].numpy()).max():.1e}")


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("checkpoint", type=Path)
    ask.add_argument("model", type=Path)
    options = ask.parse_args()
    net, _ = load(options.checkpoint)
    if isinstance(net, Attending):
        net.scale = Standardise(net.scale)
        name, outputs = "phones.onnx", ["phones"]
    else:
        fold_norms(net)
        name, outputs = "ctc.onnx", ["phones", "states"]
    whole = FromSamples(net).eval()
    path = options.model / name
    example = (torch.randn(1, 16000) * 1000,)
    torch.onnx.export(
        whole,
        example,
        str(path),
        input_names=["samples"],
        output_names=outputs,
        dynamic_axes={"samples": {1: "n"}} | {output: {1: "frames"} for output in outputs},
        opset_version=17,
        dynamo=False,
    )
    check(whole, path)
    onnx.save(shrink(onnx.load(path)), path)
    print(name, round(path.stat().st_size / 1e6, 1), "MB")


if __name__ == "__main__":
    main()
