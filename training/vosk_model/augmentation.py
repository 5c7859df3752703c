"""Batch descriptions in, features out: rooms, filters, noises, levels and warps drawn anew on the device at every
step."""

import math
from pathlib import Path

import features
import numpy as np
import torch
import torch.nn.functional as F
from corpus import RATE, read_audio
from recursions import Kernels

WARPS = (0.86, 0.89, 0.92, 0.95, 0.98, 1, 1, 1.02, 1.05, 1.08, 1.11, 1.14)
ROOM_SAMPLES = 8000


def fft_length(samples: int) -> int:
    """The next length that transforms fast: 2048 times a number without a factor above 5."""
    blocks = -(-samples // 2048)
    while True:
        rest = blocks
        for prime in (2, 3, 5):
            while rest % prime == 0:
                rest //= prime
        if rest == 1:
            return blocks * 2048
        blocks += 1


def make_rooms(count: int = 600) -> torch.Tensor:
    """Impulse responses: direct sound 1, early reflections, decaying noise; reverberation time 0.06 to 0.6 s."""
    g = torch.Generator().manual_seed(5)
    t = torch.arange(ROOM_SAMPLES) / RATE
    decay_s = 0.06 + 0.55 * torch.rand(count, 1, generator=g) ** 1.5
    rooms = torch.randn(count, ROOM_SAMPLES, generator=g) * torch.exp(-6.9 * t / decay_s)
    rooms = rooms * (torch.arange(ROOM_SAMPLES) > torch.rand(count, 1, generator=g) * 150 + 15)
    for room in rooms:
        for at in torch.randint(20, 600, (int(torch.randint(2, 8, (1,), generator=g)),), generator=g):
            room[at] += float(torch.randn(1, generator=g)) * 3 * math.exp(-float(at) / 400)
    rooms = rooms / rooms.norm(dim=1, keepdim=True)
    rooms = rooms * 10 ** (-(torch.rand(count, 1, generator=g) * 18 - 4) / 20)  # direct to reverberant, -4 to 14 dB
    rooms[:, 0] = 1
    return rooms


def read_noise(folder: Path) -> torch.Tensor:
    stems = {p.with_suffix("") for e in ("*.raw", "*.opus") for p in folder.glob(e)}
    return torch.from_numpy(np.concatenate([read_audio(s) for s in sorted(stems)]))


class Augmenter:
    """Turns a batch description into 40 cepstra a frame, on the device of the audio."""

    noisy, noisy_db, quiet_db = 0.72, 30.0, (30.0, 25.0)  # of `features`: as `in_noise` takes them

    def __init__(self, audio: torch.Tensor, noise: torch.Tensor | None, kernels: Kernels) -> None:
        self.audio, self.noise, self.kernels, self.device = audio, noise, kernels, audio.device
        self.strength = 1.0
        self.constants = features.constants(self.device)
        self.warps = torch.stack([features.banks(w) for w in WARPS]).to(self.device)
        self.plain = features.banks().to(self.device)
        self.rooms = make_rooms().to(self.device)

    def uniform(self, *shape: int) -> torch.Tensor:
        return torch.rand(*shape, device=self.device)

    def curve(self, rows: int, bins: int, spread_db: float) -> torch.Tensor:
        """Random smooth magnitude curves over frequency."""
        points = torch.randn(rows, 1, 1, 9, device=self.device) * spread_db
        along = torch.linspace(0, 1, bins, device=self.device) ** 0.5 * 2 - 1
        grid = torch.stack([along, torch.zeros_like(along)], -1)[None, None].expand(rows, 1, bins, 2)
        y = F.grid_sample(points, grid, mode="bilinear", padding_mode="border", align_corners=True)[:, 0, 0]
        return 10 ** (y / 20)

    def cut(self, source: torch.Tensor, rows: int, samples: int, voices: int = 1) -> torch.Tensor:
        """Random stretches of a recording, several added into each row."""
        out = torch.zeros(rows, samples, device=self.device)
        for _ in range(voices):
            start = torch.randint(0, max(1, len(source) - samples), (rows,), device=self.device)
            self.kernels.call("noise", source, len(source), start, rows, samples, out)
        return out

    def coloured(self, rows: int, samples: int) -> torch.Tensor:
        """Noise of a random smooth spectrum, its level swinging slowly or fast."""
        size = fft_length(samples)
        bins = size // 2 + 1
        slope = torch.rand(rows, 1, device=self.device) * 1.1
        tilt = (torch.arange(bins, device=self.device).clamp(min=4) / 100) ** -slope
        spectrum = torch.complex(*torch.randn(2, rows, bins, device=self.device)) * (self.curve(rows, bins, 7) * tilt)
        y = torch.fft.irfft(spectrum, size)[:, :samples]
        t = torch.arange(samples, device=self.device) / RATE
        beat = 0.3 + 20 * self.uniform(rows, 1) ** 2
        swing = 1 + self.uniform(rows, 1) * 0.9 * torch.sin(2 * math.pi * beat * t + 6 * self.uniform(rows, 1))
        return y / (y.std(1, keepdim=True) + 1e-9) * swing

    def make_noise(self, rows: int, samples: int, rng: np.random.RandomState) -> torch.Tensor:
        """Noise of unit level: coloured, hum, drips and knocks, other talkers, recorded."""
        kind = rng.rand(rows)
        y = self.coloured(rows, samples)
        pick = lambda lo, hi: torch.from_numpy(np.flatnonzero((kind >= lo) & (kind < hi))).to(self.device)  # noqa: E731
        hum, drips, talk, recorded = pick(0, 0.15), pick(0.15, 0.28), pick(0.28, 0.48), pick(0.65, 1)
        t = torch.arange(samples, device=self.device) / RATE
        if len(hum):
            pitch = 45 + 250 * self.uniform(len(hum), 1) ** 2
            tones = torch.zeros(len(hum), samples, device=self.device)
            for k in range(1, 9):
                phase = 6 * self.uniform(len(hum), 1)
                tones += self.uniform(len(hum), 1) * torch.sin(2 * math.pi * pitch * k * t + phase)
            y[hum] = y[hum] * 0.4 + tones
        if len(drips):
            at = self.uniform(len(drips), samples // 800 + 2)
            bursts = ((at > 0.97).float() * torch.rand_like(at) * 8)[:, None]
            y[drips] = y[drips] * (0.3 + F.interpolate(bursts, size=samples, mode="linear")[:, 0])
        if len(talk):
            y[talk] = self.cut(self.audio, len(talk), samples, voices=3)
        if len(recorded) and self.noise is not None:
            y[recorded] = self.cut(self.noise, len(recorded), samples)
        return y / (y.std(1, keepdim=True) + 1e-6)

    def place(self, batch: dict[str, torch.Tensor], rows: int, samples: int) -> torch.Tensor:
        x = torch.zeros(rows, samples, device=self.device)
        clips, places = batch["clips"], batch["places"]
        self.kernels.call("clips", self.audio, len(self.audio), clips, places, len(clips), samples, x)
        return x

    def shape_sound(self, x: torch.Tensor) -> torch.Tensor:
        """A room, a microphone's curve and a band limit, each for a part of the rows."""
        rows, samples = x.shape
        size = fft_length(samples + ROOM_SAMPLES)
        spectrum = torch.fft.rfft(x, size)
        room = torch.fft.rfft(self.rooms[torch.randint(0, len(self.rooms), (rows,), device=self.device)], size)
        one = torch.ones((), device=self.device)
        spectrum = spectrum * torch.where(self.uniform(rows, 1) < 0.55 * self.strength, room, one)
        hertz = torch.linspace(0, RATE / 2, spectrum.shape[1], device=self.device)
        gain = torch.where(self.uniform(rows, 1) < 0.6 * self.strength, self.curve(rows, len(hertz), 4), one)
        low, high = 40 + 330 * self.uniform(rows, 1), 3000 + 4800 * self.uniform(rows, 1)
        cut_low = 1 / (1 + (low / hertz.clamp(min=1)) ** 4).sqrt()
        cut_high = 1 / (1 + (hertz / high) ** 10).sqrt()
        gain = torch.where(self.uniform(rows, 1) < 0.35 * self.strength, gain * cut_low, gain)
        gain = torch.where(self.uniform(rows, 1) < 0.3 * self.strength, gain * cut_high, gain)
        return torch.fft.irfft(spectrum * gain, size)[:, :samples]

    def set_level(self, x: torch.Tensor) -> torch.Tensor:
        """Peaks from -1 to -35 dB of full scale, one in twenty clipped; rounded as a sound card would."""
        rows = len(x)
        peak = x.abs().amax(1, keepdim=True) + 1e-6
        gain = 32767 * 10 ** (-(1 + 34 * self.uniform(rows, 1)) / 20)
        gain = gain * torch.where(self.uniform(rows, 1) < 0.05, 3.0, 1.0)
        return (x / peak * gain).clamp(-32768, 32767).round()

    def mask(self, mels: torch.Tensor) -> torch.Tensor:
        """A few bands and a stretch of time replaced by the utterance's mean."""
        rows, frames, bins = mels.shape
        mean = mels.mean(1, keepdim=True)
        band, time = torch.arange(bins, device=self.device), torch.arange(frames, device=self.device)
        hide = torch.zeros(rows, frames, bins, dtype=torch.bool, device=self.device)
        for _ in range(2):
            width, first = self.pick(rows, 7), self.pick(rows, bins - 4)
            hit = (band >= first) & (band < first + width) & (self.uniform(rows, 1) < 0.4 * self.strength)
            hide |= hit[:, None, :]
            width, first = self.pick(rows, 10), self.pick(rows, frames)
            hit = (time >= first) & (time < first + width) & (self.uniform(rows, 1) < 0.3 * self.strength)
            hide |= hit[:, :, None]
        return torch.where(hide, mean, mels)

    def pick(self, rows: int, below: int) -> torch.Tensor:
        return torch.randint(0, below, (rows, 1), device=self.device)

    @torch.no_grad()
    def features(self, batch: dict[str, torch.Tensor], samples: int, seed: int) -> torch.Tensor:
        """(rows, frames, 40) with everything on it."""
        x = self.in_noise(batch, samples, seed, self.noisy, self.noisy_db, self.quiet_db)
        warp = self.warps[torch.randint(0, len(self.warps), (len(x),), device=self.device)]
        mels = features.logmel(features.power(x, self.constants), warp)
        return self.mask(mels) @ self.constants["dct"]

    def in_noise(
        self,
        batch: dict[str, torch.Tensor],
        samples: int,
        seed: int,
        noisy: float,
        noisy_db: float,
        quiet_db: tuple[float, float],
    ) -> torch.Tensor:
        """[rows, samples] in rooms, through filters, in noise and at levels of their own.

        Args:
            seed: of the noise.
            noisy: share of rows in heavy noise, at full strength.
            noisy_db: heavy noise lies from -1 dB to 1 dB less than this below speech.
            quiet_db: the other rows: dB that the noise lies below speech at least, and the width of that range.
        """
        rng = np.random.RandomState(seed)
        speech = batch["speech"][:, None]
        rows = len(speech)
        x = self.place(batch, rows, samples)
        active = (x.abs() > 60).sum(1, keepdim=True).clamp(min=1000)
        x = x / (((x**2).sum(1, keepdim=True) / active).sqrt() + 1)
        x = self.shape_sound(x) * speech
        level = torch.where(speech, ((x**2).sum(1, keepdim=True) / active).sqrt(), 1.0)
        loud = self.uniform(rows, 1) < noisy * self.strength
        least, width = quiet_db
        snr_db = torch.where(loud, self.uniform(rows, 1) * noisy_db - 1, least + width * self.uniform(rows, 1))
        return self.set_level(x + self.make_noise(rows, samples, rng) * level * 10 ** (-snr_db / 20))

    @torch.no_grad()
    def clean_features(self, batch: dict[str, torch.Tensor], samples: int) -> torch.Tensor:
        x = self.place(batch, len(batch["speech"]), samples)
        x = x + 3 * torch.randn_like(x)
        return features.logmel(features.power(x, self.constants), self.plain) @ self.constants["dct"]
