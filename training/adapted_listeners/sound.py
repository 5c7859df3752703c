"""Batch descriptions in, levelled noisy samples out: the augmentation of vosk_model with plain torch in place of its
compiled kernels, ending in samples instead of features."""

import sys
from pathlib import Path

import torch

sys.path.insert(0, str(Path(__file__).parents[1] / "vosk_model"))
from augmentation import Augmenter


class Sound(Augmenter):
    """Turns a batch description into samples as the product's `levelled` leaves them, on the device of the audio."""

    def __init__(self, audio: torch.Tensor, noise: torch.Tensor | None) -> None:
        super().__init__(audio, noise, kernels=None)  # type: ignore[arg-type]

    def cut(self, source: torch.Tensor, rows: int, samples: int, voices: int = 1) -> torch.Tensor:
        out = torch.zeros(rows, samples, device=self.device)
        along = torch.arange(samples, device=self.device)
        for _ in range(voices):
            start = torch.randint(0, max(1, len(source) - samples), (rows, 1), device=self.device)
            out += source[(start + along).clamp(max=len(source) - 1)].float()
        return out

    def place(self, batch: dict[str, torch.Tensor], rows: int, samples: int) -> torch.Tensor:
        """Each clip into its row, at its place, at its speed."""
        x = torch.zeros(rows, samples, device=self.device)
        along = torch.arange(samples, device=self.device, dtype=torch.float32)
        clips, places = batch["clips"], batch["places"]
        for chosen in batch["turns"]:
            chosen = chosen.to(self.device, non_blocking=True)
            offset, count = clips[chosen, 0:1], clips[chosen, 1:2]
            at, speed, gain = (places[chosen, k : k + 1].float() for k in (1, 2, 3))
            position = (along - at) * speed
            inside = (position >= 0) & (position < count - 1)
            position = position.clamp(min=0).minimum((count - 2).float())
            left = position.long()
            share = position - left
            left += offset
            y = self.audio[left].float() * (1 - share) + self.audio[left + 1].float() * share
            x.index_add_(0, places[chosen, 0].long(), torch.where(inside, y * gain, 0.0))
        return x

    @torch.no_grad()
    def noisy(self, batch: dict[str, torch.Tensor], samples: int, seed: int) -> torch.Tensor:
        """[rows, samples] with everything on it."""
        return self.levelled(self.in_noise(batch, samples, seed, noisy=0.8, noisy_db=23, quiet_db=(25, 30)))

    @staticmethod
    def levelled(x: torch.Tensor) -> torch.Tensor:
        """As handsfree.listeners.levels.levelled."""
        x = x - x.mean(1, keepdim=True)
        return x * (0.5 / x.abs().amax(1, keepdim=True).clamp(min=1e-3))

    @torch.no_grad()
    def checked(self, batch: dict[str, torch.Tensor], samples: int, snr_db: float | None) -> torch.Tensor:
        """Clean, or in pink noise at one ratio to the loud frames, as benchmarks.hearing makes it."""
        x = self.place(batch, len(batch["speech"]), samples)
        x = x + torch.randn_like(x)
        if snr_db is not None:
            spectrum = torch.fft.rfft(torch.randn_like(x))
            bins = torch.arange(1, spectrum.shape[1] + 1, device=x.device)
            pink = torch.fft.irfft(spectrum / bins.sqrt(), samples)
            power = (x[:, : samples // 400 * 400].unflatten(1, (-1, 400)) ** 2).mean(2)
            loud = power > power.amax(1, keepdim=True) * 1e-3
            speech = (power * loud).sum(1, keepdim=True) / loud.sum(1, keepdim=True)
            x = x + pink * (speech / (pink**2).mean(1, keepdim=True) / 10 ** (snr_db / 10)).sqrt()
        return self.levelled(x)
