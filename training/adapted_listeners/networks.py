"""Weights of the two listeners' networks in, their log-probabilities out, in torch, with low-rank additions to train.

The two networks are those that the product runs: Whisper tiny.en (Radford et al., 2022) and Moonshine tiny-en
(Jeffries et al., 2024). `check_networks.py` compares them with the product's own graphs.
"""

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from torch import nn


class Adapted(nn.Module):
    """Frozen weights by name, and an addition to each that is trained: `up @ down` for a matrix or a convolution,
    a full vector for a bias or a gain."""

    frozen_names: tuple[str, ...] = ()
    """Endings of the names that get no addition."""

    def __init__(self, weights: Mapping[str, np.ndarray], rank: int, seed: int) -> None:
        super().__init__()
        self.rank = rank
        self.base: dict[str, torch.Tensor] = {}
        self.additions = nn.ParameterDict()
        maker = torch.Generator().manual_seed(seed)
        for name, value in weights.items():
            tensor = torch.from_numpy(np.array(value, np.float32))
            self.base[name] = tensor
            if name.endswith(self.frozen_names):
                continue
            if tensor.dim() == 1:
                self.additions[self.key(name)] = nn.Parameter(torch.zeros_like(tensor))
                continue
            rows, columns = tensor.shape[0], tensor[0].numel()
            down = torch.randn(min(rank, columns), columns, generator=maker) / columns**0.5
            self.additions[self.key(name, "down")] = nn.Parameter(down)
            self.additions[self.key(name, "up")] = nn.Parameter(torch.zeros(rows, min(rank, columns)))
        self.merged: dict[str, torch.Tensor] = {}

    @staticmethod
    def key(name: str, part: str = "") -> str:
        return (name + ("//" + part if part else "")).replace(".", "|")

    def _apply(self, fn: Callable[[torch.Tensor], torch.Tensor], recurse: bool = True) -> "Adapted":
        super()._apply(fn, recurse)  # type: ignore[arg-type]
        self.base = {k: fn(v) for k, v in self.base.items()}
        return self

    def merge(self, additions: Mapping[str, torch.Tensor] | None = None, adapted: bool = True) -> None:
        """Make the weights that the next pass uses: base plus addition. To be called once a step."""
        a = self.additions if additions is None else additions
        for name, base in self.base.items():
            whole, up = self.key(name), self.key(name, "up")
            if adapted and whole in a:
                self.merged[name] = base + a[whole]
            elif adapted and up in a:
                self.merged[name] = base + (a[up] @ a[self.key(name, "down")]).view_as(base)
            else:
                self.merged[name] = base

    def __getitem__(self, name: str) -> torch.Tensor:
        return self.merged[name]

    def linear(self, x: torch.Tensor, name: str, bias: str = "") -> torch.Tensor:
        return F.linear(x, self[name], self[bias] if bias else None)


def attend(q: torch.Tensor, k: torch.Tensor, v: torch.Tensor, causal: bool = False) -> torch.Tensor:
    """[rows, heads, steps, size] each; back as [rows, steps, heads * size]."""
    size = q.shape[-1]
    spare = -size % 8  # the fast kernels want multiples of 8
    if spare:
        q, k, v = (F.pad(x, (0, spare)) for x in (q, k, v))
    y = F.scaled_dot_product_attention(q, k, v, is_causal=causal, scale=size**-0.5)
    return y[..., :size].transpose(1, 2).flatten(2)


def convolved(x: torch.Tensor, weight: torch.Tensor, stride: int) -> torch.Tensor:
    """[rows, steps, channels in], [channels out, channels in, width] -> [rows, steps, channels out], as a matrix product:
    the library plans a convolution anew for every new size of a batch, which takes longer than the step."""
    return F.linear(x.unfold(1, weight.shape[2], stride).flatten(2), weight.flatten(1))


def heads(x: torch.Tensor, count: int) -> torch.Tensor:
    return x.unflatten(2, (count, -1)).transpose(1, 2)


# ------------------------------------------------------------------------------------------------ whisper


class Whisper(Adapted):
    """Samples at a usual level in, log-probabilities of the next token out."""

    HEADS, LAYERS, HOP, WINDOW = 6, 4, 160, 400
    frozen_names = ("embeddings/weight", "position_encodings/encodings")
    start = (50257, 50362)
    end = 50256

    def __init__(self, weights: Mapping[str, np.ndarray], rank: int, seed: int) -> None:
        wanted = {
            k: v
            for k, v in weights.items()
            if np.ndim(v) and k.startswith(("encoder/", "decoder/")) and not k.endswith("/scale_embeddings")
        }
        super().__init__(wanted, rank, seed)
        from handsfree.listeners.log_mel import mel_filters

        self.register_buffer("filters", torch.from_numpy(mel_filters()))
        self.register_buffer("hann", torch.hann_window(self.WINDOW))

    def features(self, samples: torch.Tensor, frames: int) -> torch.Tensor:
        """As handsfree.listeners.log_mel: [rows, 80, frames]."""
        wanted = frames * self.HOP
        x = F.pad(samples, (0, max(0, wanted - samples.shape[1])))[:, :wanted]
        spectrum = torch.stft(x, self.WINDOW, self.HOP, window=self.hann, return_complex=True, pad_mode="reflect")
        power = spectrum[..., :-1].abs() ** 2
        with torch.autocast(samples.device.type, enabled=False):
            log = (self.filters @ power).clamp(min=1e-10).log10()
        log = torch.maximum(log, log.amax((1, 2), keepdim=True) - 8)
        return (log + 4) / 4

    def masked(self, mel: torch.Tensor) -> torch.Tensor:
        """In training, up to 12 of the 80 bands of a third of the rows replaced by their mean, as where noise hides them."""
        if not self.training:
            return mel
        rows, bands, _ = mel.shape
        band = torch.arange(bands, device=mel.device)
        first, width = (torch.randint(0, most, (rows, 1), device=mel.device) for most in (bands, 13))
        hidden = (band >= first) & (band < first + width) & (torch.rand(rows, 1, device=mel.device) < 0.33)
        return torch.where(hidden[:, :, None], mel.mean(2, keepdim=True), mel)

    def norm(self, x: torch.Tensor, name: str) -> torch.Tensor:
        return F.layer_norm(x, x.shape[-1:], self[name + "/gamma"], self[name + "/beta"])

    def full(self, x: torch.Tensor, name: str) -> torch.Tensor:
        return self.linear(x, name + "/weight", name + "/bias")

    def feed(self, x: torch.Tensor, name: str) -> torch.Tensor:
        y = F.gelu(self.full(self.norm(x, name + "/layer_norm"), name + "/linear_0"))
        return x + self.full(y, name + "/linear_1")

    def oneself(self, x: torch.Tensor, name: str, causal: bool) -> torch.Tensor:
        q, k, v = self.full(self.norm(x, name + "/layer_norm"), name + "/linear_0").chunk(3, 2)
        y = attend(heads(q, self.HEADS), heads(k, self.HEADS), heads(v, self.HEADS), causal)
        return x + self.full(y, name + "/linear_1")

    def encode(self, samples: torch.Tensor, frames: int = 3000) -> torch.Tensor:
        x = self.masked(self.features(samples.float(), frames)).transpose(1, 2)
        for name, stride in (("encoder/conv1", 1), ("encoder/conv2", 2)):
            x = F.pad(x, (0, 0, 1, 1))
            x = F.gelu(convolved(x, self[name + "/weight"], stride) + self[name + "/bias"].to(x.dtype))
        x = x + self["encoder/position_encodings/encodings"][: x.shape[1]]
        for layer in range(self.LAYERS):
            x = self.oneself(x, f"encoder/layer_{layer}/self_attention", causal=False)
            x = self.feed(x, f"encoder/layer_{layer}/ffn")
        return self.norm(x, "encoder/layer_norm")

    def decode(self, hidden: torch.Tensor, tokens: torch.Tensor) -> torch.Tensor:
        """Logits behind every token: [rows, steps, texts]."""
        table = self["decoder/embeddings/weight"]
        x = F.embedding(tokens, table) + self["decoder/position_encodings/encodings"][: tokens.shape[1]]
        for layer in range(self.LAYERS):
            name = f"decoder/layer_{layer}"
            x = self.oneself(x, name + "/self_attention", causal=True)
            q = self.full(self.norm(x, name + "/attention/layer_norm"), name + "/attention/linear_0")
            k, v = self.full(hidden, name + "/attention/linear_1").chunk(2, 2)
            y = attend(heads(q, self.HEADS), heads(k, self.HEADS), heads(v, self.HEADS))
            x = x + self.full(y, name + "/attention/linear_2")
            x = self.feed(x, name + "/ffn")
        return F.linear(self.norm(x, "decoder/layer_norm"), table[: self.end + 1])


# ---------------------------------------------------------------------------------------------- moonshine


class Moonshine(Adapted):
    """Samples at a usual level in, log-probabilities of the next token out."""

    HEADS, LAYERS, TURNED = 8, 6, 32
    frozen_names = ("embed_tokens.weight",)
    start = (1,)
    end = 2

    def norm(self, x: torch.Tensor, name: str) -> torch.Tensor:
        return F.layer_norm(x, x.shape[-1:], self[name + ".weight"])

    def turned(self, x: torch.Tensor) -> torch.Tensor:
        """Rotary positions on the first TURNED of each head's numbers, neighbours paired."""
        steps = torch.arange(x.shape[2], device=x.device, dtype=torch.float32)
        speed = 10000.0 ** (-torch.arange(0, self.TURNED, 2, device=x.device, dtype=torch.float32) / self.TURNED)
        angle = (steps[:, None] * speed).repeat_interleave(2, 1)
        cos, sin = angle.cos().to(x.dtype), angle.sin().to(x.dtype)
        part = x[..., : self.TURNED]
        swapped = torch.stack([-part[..., 1::2], part[..., 0::2]], -1).flatten(-2)
        return torch.cat([part * cos + swapped * sin, x[..., self.TURNED :]], -1)

    def oneself(self, x: torch.Tensor, name: str, causal: bool) -> torch.Tensor:
        q, k, v = (heads(self.linear(x, f"{name}.{p}_proj.weight"), self.HEADS) for p in "qkv")
        return self.linear(attend(self.turned(q), self.turned(k), v, causal), name + ".o_proj.weight")

    def encode(self, samples: torch.Tensor) -> torch.Tensor:
        with torch.autocast(samples.device.type, enabled=False):
            x = convolved(samples.float()[:, :, None], self["encoder.conv1.weight"], 64).tanh()
            x = F.layer_norm(x, x.shape[1:])  # over all steps and channels
            x = x * self["encoder.groupnorm.weight"] + self["encoder.groupnorm.bias"]
        for name, stride in (("encoder.conv2", 3), ("encoder.conv3", 2)):
            x = F.gelu(convolved(x, self[name + ".weight"], stride) + self[name + ".bias"])
        for layer in range(self.LAYERS):
            name = f"encoder.layers.{layer}"
            x = x + self.oneself(self.norm(x, name + ".input_layernorm"), name + ".self_attn", causal=False)
            y = self.norm(x, name + ".post_attention_layernorm")
            y = F.gelu(self.linear(y, name + ".mlp.fc1.weight", name + ".mlp.fc1.bias"))
            x = x + self.linear(y, name + ".mlp.fc2.weight", name + ".mlp.fc2.bias")
        return self.norm(x, "encoder.layer_norm")

    def decode(self, hidden: torch.Tensor, tokens: torch.Tensor) -> torch.Tensor:
        """Logits behind every token: [rows, steps, texts]."""
        table = self["decoder.embed_tokens.weight"]
        x = F.embedding(tokens, table)
        for layer in range(self.LAYERS):
            name = f"decoder.layers.{layer}"
            x = x + self.oneself(self.norm(x, name + ".input_layernorm"), name + ".self_attn", causal=True)
            cross = name + ".encoder_attn"
            q = self.linear(self.norm(x, name + ".post_attention_layernorm"), cross + ".q_proj.weight")
            k, v = (self.linear(hidden, f"{cross}.{p}_proj.weight") for p in "kv")
            y = attend(heads(q, self.HEADS), heads(k, self.HEADS), heads(v, self.HEADS))
            x = x + self.linear(y, cross + ".o_proj.weight")
            y = self.linear(self.norm(x, name + ".final_layernorm"), name + ".mlp.fc1.weight", name + ".mlp.fc1.bias")
            value, gate = y.chunk(2, 2)
            x = x + self.linear(value * F.silu(gate), name + ".mlp.fc2.weight", name + ".mlp.fc2.bias")
        return F.linear(self.norm(x, "decoder.norm"), table)


NETWORKS: dict[str, type[Whisper] | type[Moonshine]] = {"whisper": Whisper, "moonshine": Moonshine}


def load(name: str, weights: Path, rank: int, seed: int) -> Whisper | Moonshine:
    """A network from the file that wheel_weights.py writes."""
    with np.load(weights) as file:
        table = {k: file[k] for k in file.files}
    for key in [k for k in table if k.endswith("//scale")]:
        whole = key.removesuffix("//scale")
        table[whole] = (table[whole].astype(np.float32) - table.pop(whole + "//zero")) * table.pop(key)
    return NETWORKS[name](table, rank, seed)
