"""Packs of speech in, a trained network out; everything but the drawing of batches runs on one GPU.

python train.py --packs DIR... --noise DIR --lexicon lexicon.tsv --out DIR --minutes 20 [--network tdnn|attending]
"""

import argparse
import functools
import math
import operator
import random
import threading
import time
from pathlib import Path

import numpy as np
import torch
from augmentation import Augmenter, read_noise
from corpus import Batches, Corpus
from network import NETWORKS
from objectives import Competitors, choose, ctc_loss, likeliest, mmi_loss
from recursions import Kernels, LinearSum
from torch import nn
from torch.utils.data import DataLoader

NORMALISED_UNTIL, CHOOSE_AFTER = (300, 1200), 1500  # steps


def to_device(batch: dict[str, object], device: str) -> dict[str, object]:
    return {k: v.to(device, non_blocking=True) if isinstance(v, torch.Tensor) else v for k, v in batch.items()}


def learning_rate(step: int, done: float) -> float:
    """Share of the peak: a short warm-up, level for a fifth of the time, then a cosine to nothing."""
    falling = max(0.0, (done - 0.2) / 0.8)
    return min(1.0, (step + 1) / 500) * max(0.003, 0.5 * (1 + math.cos(math.pi * falling)))


def edit_distance(a: list[int], b: list[int]) -> int:
    row = np.arange(len(b) + 1)
    other, along = np.array(b), np.arange(len(b) + 1)
    for i, x in enumerate(a, 1):
        best = np.minimum(row[1:] + 1, row[:-1] + (other != x))
        row = np.minimum.accumulate(np.concatenate([[i], best]) - along) + along
    return int(row[-1])


class Run:
    """The state of one training: network, optimiser, a running average of the weights."""

    def __init__(self, options: argparse.Namespace, corpus: Corpus, checks: Corpus | None) -> None:
        self.options, self.corpus, self.checks = options, corpus, checks
        self.device = "cuda" if torch.cuda.is_available() else "cpu"
        self.kernels = Kernels(options.out)
        noise = read_noise(options.noise).to(self.device) if options.noise else None
        self.augment = Augmenter(corpus.audio.to(self.device), noise, self.kernels)
        self.check_sound = Augmenter(checks.audio.to(self.device), None, self.kernels) if checks else None
        self.rivals = Competitors(corpus, self.device) if options.network == "tdnn" else None
        if options.network == "attending":  # a judge for noise: most of what it learns from is noisy
            self.augment.noisy, self.augment.noisy_db, self.augment.quiet_db = 0.85, 24.0, (24.0, 30.0)
        self.net = NETWORKS[options.network]().to(self.device)
        decayed = [p for p in self.net.parameters() if p.dim() > 1]
        plain = [p for p in self.net.parameters() if p.dim() <= 1]
        groups = [{"params": decayed, "weight_decay": 1e-2}, {"params": plain, "weight_decay": 0.0}]
        self.optimiser = torch.optim.AdamW(groups, lr=options.rate, betas=(0.9, 0.98), fused=True)
        self.parameters = decayed + plain
        self.averages = {k: v.clone() for k, v in self.net.state_dict().items()}
        self.step = 0
        self.told = torch.zeros(4, device=self.device)

    def loss(self, batch: dict[str, object]) -> tuple[torch.Tensor, torch.Tensor]:
        x = self.augment.features(batch, batch["length"], batch["seed"])
        with torch.autocast(self.device, torch.bfloat16):
            mmi, ctc = self.net(x)  # the first head: MMI's, or CTC's in the middle of the attending network
        ctc, attending = ctc.float(), self.rivals is None
        silence = tuple(batch[f"mmi_{k}"] for k in ("states", "skip", "count"))
        blank = tuple(batch[f"ctc_{k}"] for k in ("states", "skip", "count"))
        variant = torch.zeros(len(ctc), dtype=torch.long, device=self.device)
        if self.step > CHOOSE_AFTER:
            if not attending:
                variant = likeliest(self.kernels, 30 * torch.tanh(mmi.float() / 30), silence)
            else:
                with torch.no_grad():
                    log = torch.log_softmax(ctc, 2)
                    totals = [self.ctc_total(log, tuple(g[v] for g in blank)) for v in range(len(blank[0]))]
                    variant = torch.stack(totals).argmax(0)
        lc = ctc_loss(self.kernels, ctc, choose(blank, variant))
        if attending:
            middle = ctc_loss(self.kernels, mmi, choose(blank, variant))
            return 0.7 * lc + 0.3 * middle, torch.stack([lc.detach(), middle.detach()])
        first, last = NORMALISED_UNTIL
        normalised = min(1.0, max(0.0, (last - self.step) / (last - first)))
        lm = mmi_loss(self.kernels, mmi, choose(silence, variant), self.rivals, normalised)
        return lm + self.options.ctc_weight * lc, torch.stack([lc.detach(), lm.detach()])

    def ctc_total(self, log: torch.Tensor, graph: tuple[torch.Tensor, ...]) -> torch.Tensor:
        states, skip, count = (g.contiguous() for g in graph)
        return LinearSum.apply(self.kernels, log, states, states, skip, count)

    def update(self, batch: dict[str, object], done: float) -> None:
        """One step, without waiting for the device: clipping and the check for infinities happen inside the
        optimiser."""
        for group in self.optimiser.param_groups:
            group["lr"] = self.options.rate * learning_rate(self.step, done)
        self.augment.strength = min(1.0, 0.4 + self.step / 4000)
        loss, parts = self.loss(batch)
        self.optimiser.zero_grad(set_to_none=True)
        loss.backward()
        norm = torch.nn.utils.get_total_norm([p.grad for p in self.parameters if p.grad is not None])
        self.optimiser.grad_scale = (norm / 2.0).clamp(min=1.0).nan_to_num(1.0, 1.0, 1.0)
        self.optimiser.found_inf = (~torch.isfinite(norm)).float()
        self.optimiser.step()
        self.step += 1
        keep = min(0.9995, self.step / (self.step + 20))
        state = self.net.state_dict()
        floats = [k for k in state if state[k].is_floating_point()]
        torch._foreach_lerp_([self.averages[k] for k in floats], [state[k] for k in floats], 1 - keep)
        self.told += torch.cat([parts, norm[None].nan_to_num(0), torch.ones_like(norm)[None]])

    def averaged(self) -> nn.Module:
        net = NETWORKS[self.options.network]().to(self.device)
        net.load_state_dict(dict(self.averages.items()))
        return net.eval()

    @torch.no_grad()
    def phone_errors(self) -> str:
        """Greedy CTC phones of the check clips against the nearest of three drawn pronunciations, percent wrong."""
        if not self.checks:
            return ""
        net, wrong, total = self.averaged(), {}, {}
        batches = Batches(self.checks, 300, 1)
        order = np.argsort(self.checks.length[: len(self.checks.clips)])
        plain = random.Random(1)
        for part in np.array_split(order, max(1, len(order) // 100)):
            units = [self.checks.units[i] for i in part]
            batch = to_device(batches.describe(units, np.random.RandomState(1), plain, clean=True), self.device)
            x = self.check_sound.clean_features(batch, batch["length"])
            best = net(x)[1].argmax(2).cpu().numpy()
            for i, row in zip(part, best, strict=True):
                heard = [int(p) for k, p in enumerate(row) if p and (k == 0 or row[k - 1] != p)]
                drawn = [
                    functools.reduce(operator.iadd, self.checks.phones(self.checks.units[i], plain), [])
                    for _ in range(3)
                ]
                group = self.groups[i]
                wrong[group] = wrong.get(group, 0) + min(edit_distance(heard, d) for d in drawn)
                total[group] = total.get(group, 0) + len(drawn[0])
        return " ".join(f"{g} {100 * wrong[g] / total[g]:.1f}" for g in sorted(total))

    def save(self, path: Path) -> None:
        """The averaged weights in half precision, and with the TDNN the phone bigram that [unk] is built from."""
        state = {k: v.half().cpu() if v.is_floating_point() else v.cpu() for k, v in self.averages.items()}
        kept = {"net": state, "network": self.options.network, "step": self.step}
        if self.rivals:
            kept["bigram"] = torch.from_numpy(self.rivals.bigram)
        torch.save(kept, path.with_suffix(".new"))
        path.with_suffix(".new").rename(path)


def check_groups(checks: Corpus, packs: list[Path]) -> list[str]:
    speakers = [line.split("\t")[2] for p in packs for t in sorted(p.glob("*.tsv")) for line in t.open()]
    return [s.split(":")[0] for s in speakers][: len(checks.clips)]


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--packs", nargs="+", type=Path, required=True)
    ask.add_argument("--checks", nargs="*", type=Path, default=[], help="packs that are only looked at")
    ask.add_argument("--noise", type=Path)
    ask.add_argument("--lexicon", type=Path, required=True)
    ask.add_argument("--out", type=Path, required=True)
    ask.add_argument("--minutes", type=float, default=20)
    ask.add_argument("--until", type=float, help="stop at this time (seconds since 1970) instead of after --minutes")
    ask.add_argument("--seconds", type=float, default=900, help="speech in a batch")
    ask.add_argument("--network", choices=sorted(NETWORKS), default="tdnn")
    ask.add_argument("--rate", type=float, default=1.5e-3, help="peak learning rate")
    ask.add_argument("--ctc-weight", type=float, default=0.3)
    ask.add_argument("--workers", type=int, default=6)
    ask.add_argument("--steps", type=int, default=10**9)
    ask.add_argument(
        "--reread", type=float, default=0, help="seconds after which the packs, which may have grown, are read again"
    )
    ask.add_argument("--seed", type=int, default=1)
    options = ask.parse_args()
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    torch.backends.cuda.enable_cudnn_sdp(False)  # it plans anew for every size: two thirds of the time of a step
    torch.manual_seed(options.seed)
    options.out.mkdir(parents=True, exist_ok=True)
    begun = time.time()
    corpus = Corpus(options.packs, options.lexicon, options.seed)
    hours = {k: round(v, 2) for k, v in corpus.hours.items()}
    print("hours", hours, "clips", len(corpus.clips), "units", len(corpus.units), flush=True)
    print("clips left out", dict(corpus.left_out), flush=True)
    checks = Corpus(options.checks, options.lexicon) if options.checks else None
    batches = drawn_by_workers(corpus, options, options.seed)  # the workers fork before the device is touched
    run = Run(options, corpus, checks)
    run.groups = check_groups(checks, options.checks) if checks else []
    print(
        sum(p.numel() for p in run.net.parameters()),
        "parameters; ready in",
        round(time.time() - begun),
        "s",
        flush=True,
    )
    train(run, batches, begun)


def drawn_by_workers(corpus: Corpus, options: argparse.Namespace, seed: int):  # type: ignore[no-untyped-def]
    workers = options.workers
    loader = DataLoader(
        Batches(corpus, options.seconds, seed),
        batch_size=None,
        num_workers=workers,
        pin_memory=torch.cuda.is_available(),
        prefetch_factor=6 if workers else None,
        multiprocessing_context="fork" if workers else None,  # workers share the clips and never touch the device
    )
    return iter(loader)


class Rereading(threading.Thread):
    """Reads the packs again beside the training; `corpus` is None until that is done, or where it failed."""

    def __init__(self, options: argparse.Namespace, seed: int) -> None:
        super().__init__(daemon=True)
        self.options, self.seed, self.corpus = options, seed, None
        self.begun, self.took = time.time(), 0.0
        self.start()

    def run(self) -> None:
        try:
            self.corpus = Corpus(self.options.packs, self.options.lexicon, self.seed)
        except Exception as e:  # the training goes on with what it has
            print("reading again failed:", repr(e), flush=True)
        self.took = time.time() - self.begun


def take_over(run: Run, corpus: Corpus, seed: int):  # type: ignore[no-untyped-def]
    """The clips, the workers and the sound of a corpus in place of the last one's; the network stays."""
    run.corpus = corpus
    batches = drawn_by_workers(corpus, run.options, seed)
    run.augment.audio = corpus.audio.to(run.device)
    if torch.cuda.is_available():
        torch.cuda.empty_cache()  # the last sound's memory
    return batches


def train(run: Run, batches, begun: float) -> None:  # type: ignore[no-untyped-def]
    options = run.options
    start = time.time()
    end = options.until or begun + 60 * options.minutes
    saved, shown, told_step, waited = start, start, 0, 0.0
    checked, read, rereading, seed = start, start, None, options.seed
    while run.step < options.steps and (now := time.time()) < end:
        if rereading is None and options.reread and now - read > options.reread and end - now > options.reread / 2:
            seed += 100
            rereading = Rereading(options, seed)
        if rereading is not None and not rereading.is_alive():
            read = time.time()
            if rereading.corpus is not None:
                batches = None  # its workers end before new ones fork
                batches = take_over(run, rereading.corpus, seed)
                hours = sum(v for k, v in rereading.corpus.hours.items() if k != "left out")
                print(
                    f"   read again: {hours:.2f} h, {len(rereading.corpus.clips)} clips, {rereading.took:.1f} s beside, "
                    f"{time.time() - read:.1f} s to take over",
                    flush=True,
                )
            rereading, now = None, time.time()
        batch = next(batches)
        waited += time.time() - now
        run.update(to_device(batch, run.device), (now - start) / (end - start))
        if run.step in (1, 20, 100) or run.step % 500 == 0:
            ctc, mmi, norm, count = run.told.tolist()
            now, steps = time.time(), run.step - told_step
            print(
                f"step {run.step} {now - start:.0f} s, {1000 * (now - shown) / steps:.1f} ms a step "
                f"({1000 * waited / steps:.1f} waiting), "
                f"ctc {ctc / count:.3f} first head {mmi / count:.3f} norm {norm / count:.2f}",
                flush=True,
            )
            run.told.zero_()
            shown, told_step, waited = now, run.step, 0.0
        if run.step % 50 == 0 and time.time() - saved > 75:
            saved = time.time()
            run.save(options.out / "net.pt")
        if run.step % 50 == 0 and time.time() - checked > 200:
            checked = time.time()
            print("   phones wrong:", run.phone_errors(), f"({time.time() - checked:.1f} s)", flush=True)
    run.save(options.out / "net.pt")
    print("steps", run.step, "phones wrong:", run.phone_errors(), flush=True)


if __name__ == "__main__":
    main()
