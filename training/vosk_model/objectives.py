"""Network outputs and phone graphs in, losses out: lattice-free MMI from flat start, and CTC."""

import random

import numpy as np
import torch
from corpus import Corpus
from lexicon import BASE
from recursions import CompetingSum, Kernels, LinearSum

PHONES = len(BASE)
Graph = tuple[torch.Tensor, torch.Tensor, torch.Tensor]


class Competitors:
    """An interpolated phone trigram of the training texts: what MMI's numerator competes with."""

    def __init__(self, corpus: Corpus, device: torch.device | str, seed: int = 1, sentences: int = 40000) -> None:
        rng, draw = random.Random(seed), np.random.RandomState(seed)
        one, two, three = np.zeros(PHONES), np.zeros((PHONES, PHONES)), np.zeros((PHONES, PHONES, PHONES))
        first = np.zeros(PHONES)
        for i in draw.choice(len(corpus.units), sentences, p=corpus.weight / corpus.weight.sum()):
            s = [0] if rng.random() < 0.9 else []
            for word in corpus.phones(corpus.units[i], rng):
                s += word + ([0] if rng.random() < 0.25 else [])
            if not s or s[-1] != 0:
                s.append(0)
            first[s[0]] += 1
            np.add.at(one, s, 1)
            np.add.at(two, (s[:-1], s[1:]), 1)
            np.add.at(three, (s[:-2], s[1:-1], s[2:]), 1)
        unigram = (one + 1) / (one + 1).sum()
        self.bigram = (two + 5 * unigram) / (two.sum(1, keepdims=True) + 5)
        trigram = (three + 8 * self.bigram[None]) / (three.sum(2, keepdims=True) + 8)
        by_middle = torch.tensor(np.maximum(trigram, 1e-6), device=device).permute(1, 0, 2)  # (q, p, r)
        self.table = (by_middle * 1024).half().contiguous()
        self.back = self.table.permute(1, 2, 0).contiguous()  # (p, r, q)
        start = (first + 1) / (first + 1).sum()
        self.first = torch.tensor(start, dtype=torch.float32, device=device)


def silence_paths(graph: Graph) -> tuple[torch.Tensor, ...]:
    """Outputs 2p for the first frame of phone p, 2p + 1 for the later ones."""
    states, skip, count = graph
    return 2 * states, 2 * states + 1, skip, count


def blank_paths(graph: Graph) -> tuple[torch.Tensor, ...]:
    states, skip, count = graph
    return states, states, skip, count


def likeliest(kernels: Kernels, score: torch.Tensor, graphs: Graph) -> torch.Tensor:
    """The number of the variant of each utterance whose pronunciations score best."""
    with torch.no_grad():
        totals = [
            LinearSum.apply(kernels, score, *(x.contiguous() for x in silence_paths(tuple(g[v] for g in graphs))))
            for v in range(len(graphs[0]))
        ]
        return torch.stack(totals).argmax(0)


def choose(graphs: Graph, variant: torch.Tensor) -> Graph:
    rows = torch.arange(len(variant), device=variant.device)
    states, skip, count = (g[variant, rows].contiguous() for g in graphs)
    return states, skip, count


def mean_loss(loss: torch.Tensor, total: torch.Tensor, frames: int) -> torch.Tensor:
    """Mean a frame over the utterances that have a path at all."""
    possible = total > -1e29
    return torch.where(possible, loss, 0.0).sum() / possible.sum().clamp(min=1) / frames


def ctc_loss(kernels: Kernels, scores: torch.Tensor, graph: Graph) -> torch.Tensor:
    total = LinearSum.apply(kernels, torch.log_softmax(scores.float(), 2), *blank_paths(graph))
    return mean_loss(-total, total, scores.shape[1])


def mmi_loss(
    kernels: Kernels, scores: torch.Tensor, graph: Graph, rivals: Competitors, normalised: float
) -> torch.Tensor:
    """MMI; a share `normalised` of it is the locally normalised likelihood instead, which cannot diverge at the
    start."""
    paths, frames = silence_paths(graph), scores.shape[1]
    bounded = 30 * torch.tanh(scores.float() / 30)
    loss = 5e-4 * (scores.float() ** 2).mean()
    if normalised < 1:
        total = LinearSum.apply(kernels, bounded, *paths)
        rival = CompetingSum.apply(kernels, bounded, rivals.table, rivals.back, rivals.first)
        loss = loss + (1 - normalised) * mean_loss(rival - total, total, frames)
    if normalised > 0:
        total = LinearSum.apply(kernels, torch.log_softmax(scores.float(), 2), *paths)
        loss = loss + normalised * mean_loss(-total, total, frames)
    return loss
