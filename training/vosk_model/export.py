"""A checkpoint in, am/final.mdl (Kaldi's nnet3) and ctc.onnx (samples in, log posteriors of phones out) out.

python export.py net.pt MODEL_FOLDER
"""

import argparse
from pathlib import Path

import numpy as np
import torch
from kaldi_format import Layer, write_model
from network import NETWORKS, Tdnn


def load(path: Path) -> tuple[torch.nn.Module, dict]:
    kept = torch.load(path, map_location="cpu", weights_only=True)
    net = NETWORKS[kept.get("network", "tdnn")]()
    net.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in kept["net"].items()})
    return net.eval(), kept


def folded(linear: torch.nn.Linear, norm: torch.nn.BatchNorm1d) -> tuple[np.ndarray, np.ndarray]:
    """The affine map with the normalisation behind it folded in."""
    gain = norm.weight.double() * (norm.running_var.double() + norm.eps).rsqrt()
    bias = norm.bias.double() - norm.running_mean.double() * gain
    return (linear.weight.double() * gain[:, None]).numpy(), bias.numpy()


def spliced(name: str, offsets: list[int]) -> str:
    return "Append(" + ", ".join(name if o == 0 else f"Offset({name}, {o})" for o in offsets) + ")"


@torch.no_grad()
def kaldi_layers(net: Tdnn) -> list[Layer]:
    scale = (net.scale.running_var.double() + net.scale.eps).rsqrt().repeat(5).numpy()
    weights, bias = folded(net.first, net.first_norm)
    bias = bias - weights @ (net.scale.running_mean.double().repeat(5).numpy() * scale)
    layers = [Layer("first", spliced("input", [-2, -1, 0, 1, 2]), weights * scale, bias, relu=True)]
    layers.append(Layer("third", spliced("first.relu", [-1, 0, 1]), *folded(net.third, net.third_norm), relu=True))
    before = "third.relu"
    for i, block in enumerate(net.blocks):
        reach = 3 * block.dilation
        narrow = block.narrow.weight.double().numpy()
        layers.append(Layer(f"narrow{i}", spliced(before, [-reach, 0]), narrow, np.zeros(len(narrow))))
        widened = folded(block.widen, block.norm)
        layers.append(Layer(f"block{i}", spliced(f"narrow{i}.affine", [0, reach]), *widened, relu=True))
        # a sum of descriptors cannot be nested without end: it gets a node of its own
        layers.append(Layer(f"sum{i}", f"Sum(Scale(0.66, {before}), block{i}.relu)", dim=net.hidden))
        before = f"sum{i}"
    layers.append(Layer("pre", before, *folded(net.mmi.pre, net.mmi.norm), relu=True))
    out = net.mmi.out
    layers.append(Layer("out", "pre.relu", out.weight.double().numpy(), out.bias.double().numpy()))
    return layers


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("checkpoint", type=Path)
    ask.add_argument("model", type=Path)
    options = ask.parse_args()
    net, kept = load(options.checkpoint)
    write_model(options.model / "am" / "final.mdl", 40, kaldi_layers(net))
    np.savetxt(options.model / "bigram.txt", kept["bigram"].numpy(), "%.6g")
    print(kept["step"], "steps;", round((options.model / "am" / "final.mdl").stat().st_size / 1e6, 1), "MB")


if __name__ == "__main__":
    main()
