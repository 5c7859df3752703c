"""Features in, scores of phones out: the factorised TDNN that Kaldi's format can hold, and an attending network
beside it."""

import torch
import torch.nn.functional as F
from lexicon import BASE, NPDF
from torch import nn

PHONES = len(BASE)
DILATIONS = [1, 1, 1, 2, 1, 1, 2, 1, 1, 2, 1]
EDGE = 3 + 3 * sum(DILATIONS)  # frames of context on each side


class Norm(nn.BatchNorm1d):
    """Batch normalisation of (batch, frames, channels)."""

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return super().forward(x.reshape(-1, x.shape[-1])).view(x.shape)


class Block(nn.Module):
    """A bottleneck that looks back, a widening that looks ahead, normalisation, ReLU, a scaled bypass."""

    def __init__(self, hidden: int, bottleneck: int, dilation: int) -> None:
        super().__init__()
        self.dilation = dilation
        self.narrow = nn.Linear(2 * hidden, bottleneck, bias=False)
        self.widen = nn.Linear(2 * bottleneck, hidden, bias=False)
        self.norm = Norm(hidden)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        d = self.dilation
        y = self.narrow(torch.cat([x[:, :-d], x[:, d:]], 2))
        y = self.widen(torch.cat([y[:, :-d], y[:, d:]], 2))
        y = F.dropout(F.relu(self.norm(y)), 0.08, self.training)
        return 0.66 * x[:, d : x.shape[1] - d] + y


class Head(nn.Module):
    def __init__(self, hidden: int, outputs: int) -> None:
        super().__init__()
        self.pre, self.norm, self.out = nn.Linear(hidden, 192, bias=False), Norm(192), nn.Linear(192, outputs)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return self.out(F.relu(self.norm(self.pre(x))))


class Tdnn(nn.Module):
    """(batch, frames, 40) -> an output every third frame for both heads; edges are repeated as Kaldi does."""

    def __init__(self, hidden: int = 768, bottleneck: int = 160) -> None:
        super().__init__()
        self.hidden, self.bottleneck = hidden, bottleneck
        self.scale = Norm(40, affine=False, momentum=0.02)
        self.first, self.first_norm = nn.Linear(5 * 40, 256, bias=False), Norm(256)
        self.third, self.third_norm = nn.Linear(3 * 256, hidden, bias=False), Norm(hidden)
        self.blocks = nn.ModuleList([Block(hidden, bottleneck, d) for d in DILATIONS])
        self.mmi, self.ctc = Head(hidden, NPDF), Head(hidden, PHONES)

    def body(self, x: torch.Tensor) -> torch.Tensor:
        outputs = (x.shape[1] + 2) // 3
        x = self.scale(x)
        x = torch.cat([x[:, :1].expand(-1, EDGE, -1), x, x[:, -1:].expand(-1, EDGE + 3, -1)], 1)
        x = torch.cat([x[:, k : x.shape[1] - 4 + k] for k in range(5)], 2)
        x = F.relu(self.first_norm(self.first(x)))
        x = x[:, : x.shape[1] // 3 * 3].reshape(x.shape[0], -1, 3 * x.shape[2])
        x = F.relu(self.third_norm(self.third(x)))
        for block in self.blocks:
            x = block(x)
        return x[:, :outputs]

    def forward(self, x: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        y = self.body(x)
        return self.mmi(y), self.ctc(y)


class Attention(nn.Module):
    """Self-attention with rotary positions."""

    def __init__(self, width: int, heads: int) -> None:
        super().__init__()
        self.heads, self.size = heads, width // heads
        self.mix, self.out = nn.Linear(width, 3 * width), nn.Linear(width, width)

    def forward(self, x: torch.Tensor, turns: tuple[torch.Tensor, torch.Tensor]) -> torch.Tensor:
        batch, frames, width = x.shape
        mixed = self.mix(x).view(batch, frames, 3, self.heads, self.size).permute(2, 0, 3, 1, 4)
        cos, sin = (t.to(mixed.dtype) for t in turns)
        a, b = mixed[:2].chunk(2, 4)
        q, k = torch.cat([a * cos - b * sin, a * sin + b * cos], 4)  # queries and keys are turned together
        y = F.scaled_dot_product_attention(q, k, mixed[2])
        return self.out(y.transpose(1, 2).reshape(batch, frames, width))


class Near(torch.autograd.Function):
    """A depthwise convolution along (batch, frames, channels) as shifted products: few launches, and several times
    faster in training than the library's own."""

    @staticmethod
    def forward(ctx, x, weight, bias):  # type: ignore[no-untyped-def]
        reach, frames = weight.shape[1] // 2, x.shape[1]
        wide = F.pad(x, (0, 0, reach, reach))
        taps = weight.to(x.dtype).T.contiguous()
        y = bias.to(x.dtype).expand_as(x).contiguous()
        for k, tap in enumerate(taps):
            y.addcmul_(wide[:, k : k + frames], tap)
        ctx.save_for_backward(wide, taps)
        ctx.kind = weight.dtype
        return y

    @staticmethod
    def backward(ctx, upstream):  # type: ignore[no-untyped-def]
        wide, taps = ctx.saved_tensors
        size, frames = len(taps), upstream.shape[1]
        reach = size // 2
        back = F.pad(upstream.to(wide.dtype), (0, 0, reach, reach))
        inner = back[:, reach : reach + frames]
        x = torch.zeros_like(inner, memory_format=torch.contiguous_format)
        for k, tap in enumerate(taps.flip(0)):
            x.addcmul_(back[:, k : k + frames], tap)
        with torch.autocast(wide.device.type, enabled=False):
            shifted = wide.unfold(1, size, 1).permute(3, 0, 1, 2)[:, :, :frames]
            weight = (shifted * inner).sum((1, 2), dtype=torch.float32).T
            bias = inner.sum((0, 1), dtype=torch.float32)
        return x, weight.to(ctx.kind), bias.to(ctx.kind)


class Conformer(nn.Module):
    """One block: half a feed-forward, attention, a depthwise convolution, half a feed-forward; residuals around
    each."""

    def __init__(self, width: int, heads: int, kernel: int = 15, drop: float = 0.1) -> None:
        super().__init__()
        self.drop = drop
        self.feeds = nn.ModuleList(
            nn.Sequential(nn.LayerNorm(width), nn.Linear(width, 4 * width), nn.SiLU(), nn.Linear(4 * width, width))
            for _ in range(2)
        )
        self.attention_norm, self.attention = nn.LayerNorm(width), Attention(width, heads)
        self.near_norm, self.gate = nn.LayerNorm(width), nn.Linear(width, 2 * width)
        self.near = nn.Conv1d(width, width, kernel, padding=kernel // 2, groups=width)
        self.mid_norm, self.near_out = nn.LayerNorm(width), nn.Linear(width, width)
        self.last_norm = nn.LayerNorm(width)

    def convolve(self, x: torch.Tensor) -> torch.Tensor:
        y = F.glu(self.gate(self.near_norm(x)), 2)
        if self.training:
            y = Near.apply(y, self.near.weight[:, 0], self.near.bias)
        else:
            y = self.near(y.transpose(1, 2)).transpose(1, 2)
        return self.near_out(F.silu(self.mid_norm(y)))

    def forward(self, x: torch.Tensor, turns: tuple[torch.Tensor, torch.Tensor]) -> torch.Tensor:
        drop = lambda y: F.dropout(y, self.drop, self.training)  # noqa: E731
        x = torch.add(x, drop(self.feeds[0](x)), alpha=0.5)
        x = x + drop(self.attention(self.attention_norm(x), turns))
        x = x + drop(self.convolve(x))
        return self.last_norm(torch.add(x, drop(self.feeds[1](x)), alpha=0.5))


class Attending(nn.Module):
    """(batch, frames, 40) -> CTC scores of phones every third frame, each seeing the whole utterance; first those of
    the middle block (None outside training), then those of the last."""

    def __init__(self, width: int = 192, blocks: int = 12, heads: int = 4) -> None:
        super().__init__()
        size = width // heads
        self.register_buffer("rate", 10000 ** -(torch.arange(0, size, 2) / size), persistent=False)
        self.hidden, self.bottleneck = width, blocks
        self.scale = Norm(40, affine=False, momentum=0.02)
        self.first, self.first_norm = nn.Linear(5 * 40, 256), nn.LayerNorm(256)
        self.third = nn.Linear(3 * 256, width)
        self.blocks = nn.ModuleList([Conformer(width, heads) for _ in range(blocks)])
        self.middle, self.out = nn.Linear(width, PHONES), nn.Linear(width, PHONES)

    def forward(self, x: torch.Tensor) -> tuple[torch.Tensor | None, torch.Tensor]:
        x = self.scale(x)
        x = torch.cat([x[:, :1].expand(-1, 3, -1), x, x[:, -1:].expand(-1, 5, -1)], 1)
        x = torch.cat([x[:, k : x.shape[1] - 4 + k] for k in range(5)], 2)
        x = F.silu(self.first_norm(self.first(x)))
        x = self.third(x[:, : x.shape[1] // 3 * 3].reshape(x.shape[0], -1, 3 * x.shape[2]))
        angle = torch.arange(x.shape[1], device=x.device, dtype=torch.float32)[:, None] * self.rate
        turns, middle = (angle.cos(), angle.sin()), None
        for number, block in enumerate(self.blocks, 1):
            x = block(x, turns)
            if self.training and number == len(self.blocks) // 2:
                middle = self.middle(x)
        return middle, self.out(x)


NETWORKS = {"tdnn": Tdnn, "attending": Attending}
