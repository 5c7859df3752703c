"""Packs, a network's weights and the tokens of all words in; low-rank additions out (additions.npz, float16).

    python train.py --network whisper --weights whisper.npz --tokens tokens.json --packs PACK... --noise DIR
        --out DIR --minutes 9 [--checks PACK...] [--seed 1]

Teacher forcing on the spoken words in small letters; nothing at all is to be written for noise. A tenth of the given
tokens are replaced by others, so that the decoder listens more than it remembers.
"""

import argparse
import json
import random
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from torch.utils.data import DataLoader

sys.path.insert(0, str(Path(__file__).parents[1] / "vosk_model"))
sys.path.insert(0, str(Path(__file__).parents[2]))
import networks
from augmentation import read_noise
from material import Batches, Material
from sound import Sound

from handsfree.listeners.whisper import WINDOW_FRAMES


def to_device(batch: dict[str, object], device: torch.device) -> dict[str, torch.Tensor]:
    return {k: v.to(device, non_blocking=True) if isinstance(v, torch.Tensor) else v for k, v in batch.items()}  # type: ignore[misc]


class Run:
    """A network in training."""

    def __init__(self, options: argparse.Namespace, material: Material) -> None:
        self.options = options
        self.device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
        self.net = networks.load(options.network, options.weights, options.rank, options.seed).to(self.device)
        if options.start:
            with np.load(options.start) as file, torch.no_grad():
                for key, parameter in self.net.additions.items():
                    parameter.copy_(torch.from_numpy(file[key.replace("|", ".")].astype(np.float32)))
        noise = read_noise(options.noise).to(self.device) if options.noise else None
        self.sound = Sound(material.audio.to(self.device), noise)
        parameters = list(self.net.additions.values())
        self.optimiser = torch.optim.AdamW(parameters, lr=options.rate, betas=(0.9, 0.98), weight_decay=0.0, fused=True)
        self.averages = {k: p.detach().clone() for k, p in self.net.additions.items()}
        self.step, self.told = 0, torch.zeros(3, device=self.device)
        self.random = random.Random(options.seed)

    def hidden(self, samples: torch.Tensor, window: int = 0) -> torch.Tensor:
        if isinstance(self.net, networks.Moonshine):
            return self.net.encode(samples)
        needed = -(-samples.shape[1] // 160) + 50
        if not window:
            window = self.random.choices((WINDOW_FRAMES, 1500, 3000), (0.75, 0.13, 0.12))[0]
        return self.net.encode(samples, min(3000, max(window, needed) // 2 * 2))

    def loss(self, batch: dict[str, torch.Tensor]) -> torch.Tensor:
        samples = self.sound.noisy(batch, int(batch["length"]), int(batch["seed"]))
        given, wanted = batch["given"], batch["wanted"]
        lead = len(self.net.start)
        others = given.flatten()[torch.randint(0, given.numel(), given.shape, device=self.device)]
        swapped = torch.rand(given.shape, device=self.device) < 0.1
        swapped[:, :lead] = False
        given = torch.where(swapped, others, given)
        with torch.autocast(self.device.type, torch.bfloat16):
            logits = self.net.decode(self.hidden(samples), given)
        chosen = batch["chosen"]
        return F.cross_entropy(logits.flatten(0, 1)[chosen].float(), wanted.flatten()[chosen])

    def update(self, batch: dict[str, torch.Tensor], done: float) -> None:
        rate = min(1.0, (self.step + 1) / 60) * max(0.02, 1 - done)
        for group in self.optimiser.param_groups:
            group["lr"] = self.options.rate * rate
        self.sound.strength = min(1.0, 0.5 + self.step / 600)
        self.net.merge()
        loss = self.loss(batch)
        self.optimiser.zero_grad(set_to_none=True)
        loss.backward()
        # Clipping and the check for infinities happen inside the optimiser: nothing waits for the device.
        norm = torch.nn.utils.get_total_norm([p.grad for p in self.net.additions.values() if p.grad is not None])
        self.optimiser.grad_scale = norm.clamp(min=1.0).nan_to_num(1.0, 1.0, 1.0)
        self.optimiser.found_inf = (~torch.isfinite(norm)).float()
        self.optimiser.step()
        self.step += 1
        keep = min(0.998, self.step / (self.step + 10))
        with torch.no_grad():
            torch._foreach_lerp_(
                [self.averages[k] for k in self.net.additions], list(self.net.additions.values()), 1 - keep
            )
        self.told += torch.stack([loss.detach(), norm.nan_to_num(0.0), torch.ones_like(norm)])

    @torch.no_grad()
    def check(self, checks: Material, batches: Batches, sound: Sound, snr_db: float | None) -> str:
        """For each source of the checks: utterances written exactly right by greedy decoding, in percent, and nats of
        the right text."""
        self.net.eval()
        self.net.merge(self.averages)
        right: dict[str, list[float]] = {}
        order = sorted(range(len(checks.clips)), key=lambda i: checks.clips[i].samples)
        for part in np.array_split(order, max(1, len(order) // 64)):
            units = [[checks.clips[i]] for i in part]
            batch = to_device(batches.describe(units, np.random.RandomState(1), clean=True), self.device)
            samples = sound.checked(batch, int(batch["length"]), snr_db)
            with torch.autocast(self.device.type, torch.bfloat16):
                hidden = self.hidden(samples, WINDOW_FRAMES)
                logits = self.net.decode(hidden, batch["given"]).float()
                heard = self.greedy(hidden)
            nats = F.cross_entropy(logits.transpose(1, 2), batch["wanted"].clamp(min=0), reduction="none")
            nats = (nats * (batch["wanted"] >= 0)).sum(1).tolist()
            lead = len(self.net.start)
            for row, i in enumerate(part):
                clip = checks.clips[i]
                text = batches.tokens_of(clip)
                found = right.setdefault(clip.speaker.split(":")[0], [0, 0, 0])
                found[0] += heard[row][lead : lead + len(text) + 1] == [*text, self.net.end]
                found[1] += nats[row]
                found[2] += 1
        self.net.train()
        return ", ".join(f"{k} {100 * a / n:.1f} % {b / n:.2f}" for k, (a, b, n) in sorted(right.items()))

    def greedy(self, hidden: torch.Tensor, longest: int = 26) -> list[list[int]]:
        tokens = torch.tensor([self.net.start] * len(hidden), device=self.device)
        for _ in range(longest):
            following = self.net.decode(hidden, tokens)[:, -1].argmax(-1, keepdim=True)
            tokens = torch.cat([tokens, following], 1)
            if (tokens == self.net.end).any(1).all():
                break
        return tokens.tolist()

    def save(self, path: Path) -> None:
        table = {k.replace("|", "."): v.cpu().numpy().astype(np.float16) for k, v in self.averages.items()}
        np.savez(path.with_suffix(".new.npz"), **table)
        path.with_suffix(".new.npz").rename(path)


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--network", choices=sorted(networks.NETWORKS), required=True)
    for name in ("weights", "tokens", "out"):
        ask.add_argument("--" + name, type=Path, required=True)
    ask.add_argument("--packs", nargs="+", type=Path, required=True)
    ask.add_argument("--checks", nargs="*", type=Path, default=[], help="packs that are only looked at")
    ask.add_argument("--noise", type=Path)
    ask.add_argument("--start", type=Path, help="additions to go on from")
    ask.add_argument("--minutes", type=float, default=9)
    ask.add_argument("--until", type=float, help="stop at this time (seconds since 1970) instead")
    ask.add_argument("--seconds", type=float, default=900, help="speech in a batch")
    ask.add_argument("--most", type=int, default=160, help="utterances in a batch")
    ask.add_argument("--rank", type=int, default=32)
    ask.add_argument("--rate", type=float, default=5e-4)
    ask.add_argument("--workers", type=int, default=4)
    ask.add_argument("--steps", type=int, default=10**9)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument(
        "--reread", type=float, default=0, help="seconds after which the packs, which may have grown, are read again"
    )
    ask.add_argument("--profile", type=int, default=-1, metavar="STEP", help="show where the time goes at this step")
    ask.add_argument("--check-every", type=float, default=120, help="seconds")
    options = ask.parse_args()
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    torch.backends.cuda.enable_cudnn_sdp(False)  # it plans anew for every size: two thirds of the time of a step
    torch.manual_seed(options.seed)
    options.out.mkdir(parents=True, exist_ok=True)
    begun = time.time()
    tokens = json.loads(options.tokens.read_text(encoding="utf-8"))[options.network]
    kind = networks.NETWORKS[options.network]
    material = Material(options.packs, keep=options.seed % 5)
    print(
        "hours",
        {k: round(v, 2) for k, v in material.hours.items()},
        "clips",
        len(material.clips),
        "words",
        sum(map(len, material.words.values())),
        flush=True,
    )
    batches = Batches(material, tokens, options.seconds, options.most, options.seed, kind.start, kind.end)
    drawn = drawn_by_workers(batches, options.workers)
    run = Run(options, material)
    checks = Material(options.checks) if options.checks else None
    print(
        sum(p.numel() for p in run.net.additions.values()),
        "parameters; ready in",
        round(time.time() - begun),
        "s",
        flush=True,
    )
    train(run, drawn, begun, checks, batches)


def drawn_by_workers(batches: Batches, workers: int) -> Iterator[dict[str, object]]:
    return iter(
        DataLoader(
            batches,
            batch_size=None,
            num_workers=workers,
            pin_memory=torch.cuda.is_available(),
            prefetch_factor=4 if workers else None,
        )
    )


def show_profile(run: Run, drawn: Iterator[dict[str, object]], steps: int = 5) -> None:
    """Where the time of some steps goes, here and on the device."""
    from torch.profiler import profile

    began = time.time()
    with profile(acc_events=True) as seen:
        for _ in range(steps):
            run.update(to_device(next(drawn), run.device), 0.0)
        if torch.cuda.is_available():
            torch.cuda.synchronize()
    print(f"{steps} steps took {time.time() - began:.2f} s")
    for key in ("self_cpu_time_total", "self_cuda_time_total"):
        print(seen.key_averages().table(sort_by=key, row_limit=14, max_name_column_width=60), flush=True)


def train(
    run: Run, drawn: Iterator[dict[str, object]], begun: float, checks: Material | None, batches: Batches
) -> None:
    options = run.options
    start = time.time()
    end = options.until or begun + 60 * options.minutes
    shown, told_step, checked, waited, reread, rounds = start, 0, start, 0.0, start, 0
    sound = Sound(checks.audio.to(run.device), None) if checks else None

    def look() -> None:
        run.save(options.out / f"{options.network}.npz")
        if checks and sound:
            for snr_db in (None, 10.0):
                print(
                    f"   {options.network} {snr_db or 'clean'}:", run.check(checks, batches, sound, snr_db), flush=True
                )

    while run.step < options.steps and (now := time.time()) < end:
        if options.reread and now - reread > options.reread and end - now > 60:
            reread, rounds = now, rounds + 1
            material = Material(options.packs, keep=options.seed % 5)
            run.sound.audio = material.audio.to(run.device)
            batches = batches.of(material, options.seed + 97 * rounds)
            drawn = drawn_by_workers(batches, options.workers)
            hours = {k: round(v, 2) for k, v in material.hours.items()}
            print(f"reread in {time.time() - now:.1f} s: hours", hours, flush=True)
        before = time.time()
        batch = next(drawn)
        waited += time.time() - before
        if run.step == options.profile:
            show_profile(run, drawn)
        run.update(to_device(batch, run.device), (now - start) / (end - start))
        if run.step in (1, 5, 20, 100) or run.step % 250 == 0:
            loss, norm, count = run.told.tolist()
            now, steps = time.time(), run.step - told_step
            print(
                f"{options.network} step {run.step} {now - start:.0f} s, {1000 * (now - shown) / steps:.0f} ms a step "
                f"({1000 * waited / steps:.0f} waiting), "
                f"loss {loss / count:.4f} norm {norm / count:.2f}",
                flush=True,
            )
            run.told.zero_()
            shown, told_step, waited = now, run.step, 0.0
        if time.time() - checked > options.check_every and end - time.time() > 20:
            checked = time.time()
            look()
    print("steps", run.step, flush=True)
    look()


if __name__ == "__main__":
    main()
