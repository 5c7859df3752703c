"""Sound and texts in, how well the sounds of each text fit out: the network of the packaged model read as phones, which
knows no grammar and no spelling.

A speech model that writes words fills in what it expects; this one hears sounds one after another and cannot skip any.
Each text is spelled out in phones, with every pronunciation of its words; its score is the logarithm of the probability
of all alignments together (connectionist temporal classification: Graves and others 2006).
"""

from __future__ import annotations

import re
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from handsfree.listeners.base import Candidate, Opinion, outcome_key
from handsfree.listeners.levels import levelled
from handsfree.listeners.models import LEXICON
from handsfree.listeners.runtime import open_graph
from handsfree.model import SAMPLE_RATE, Segment

NETWORK = LEXICON.with_name("ctc.onnx")
_OUTPUTS = "SIL AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW V W Y Z ZH"
PHONES = tuple(_OUTPUTS.split())
"""In the order of the network's outputs; the first is the blank."""
FULL_SCALE = 32768
"""the network takes samples at 16-bit scale"""
_PAD_S = 0.2
"""s of faint noise on both sides: the network looks 0.45 s to both, and utterances are cut close"""
_SHORTEST = 400
"""samples that the network needs"""
_IMPOSSIBLE = np.float32(-1e30)

Pronunciations = Mapping[str, tuple[tuple[int, ...], ...]]


def read_pronunciations(lexicon: Path = LEXICON) -> Pronunciations:
    """Word -> its pronunciations as numbers of phones, from the lexicon of the packaged model."""
    numbers = {phone: number for number, phone in enumerate(PHONES)}
    found: dict[str, list[tuple[int, ...]]] = {}
    for line in lexicon.read_text(encoding="utf-8").splitlines():
        word, _, sounds = line.partition("\t")
        spoken = tuple(numbers[phone] for phone in sounds.split())
        if spoken and spoken not in found.setdefault(word, []):
            found[word].append(spoken)
    return {word: tuple(each) for word, each in found.items()}


class PhoneNetwork:
    """The network: samples in, the chance of each phone over time out."""

    def __init__(self, threads: int = 1, network: Path = NETWORK) -> None:
        self._session = open_graph(network, threads)

    def listen(self, samples: NDArray[np.float32]) -> NDArray[np.float32]:
        """Logarithms of the chances of all phones, [frames of 30 ms, 40]."""
        rng = np.random.default_rng(0)
        pad = int(_PAD_S * SAMPLE_RATE)
        sound = np.pad(samples * FULL_SCALE, pad) + rng.normal(0, 3, len(samples) + 2 * pad)
        phones: NDArray[np.float32] = self._session.run(["phones"], {"samples": sound[None].astype(np.float32)})[0][0]
        return phones


@dataclass(slots=True)
class _Chain:
    """States that a text's alignment runs through: phones and blanks, each with the states it may come from."""

    phones: list[int]
    before: list[list[int]]
    entries: list[int]
    ends: list[int]


def _chain(text: Sequence[tuple[tuple[int, ...], ...]]) -> _Chain:
    """The states of one text: a blank may stand before, after and between any two phones, and must between equal
    ones."""
    chain = _Chain([0], [[]], [0], [0])
    behind = [0]  # where the next word may be entered from: the last phones of the word before, and the blank after it
    for word in text:
        lasts = []
        for pronunciation in word:
            came = behind
            for phone in pronunciation:
                at = len(chain.phones)
                chain.phones += [phone, 0]
                chain.before += [[b for b in came if chain.phones[b] != phone], [at]]
                if 0 in came:
                    chain.entries.append(at)
                came = [at, at + 1]
            lasts += came
        behind = lasts
    chain.ends = behind
    return chain


def fits(phones: NDArray[np.float32], texts: Sequence[str], pronunciations: Pronunciations) -> list[float | None]:
    """How well each text fits: the logarithm of the chance of its sounds in this order; None for a text with a word
    whose sound is not known, or more sounds than there is time for.

    Args:
        phones: as from `PhoneNetwork.listen`.
        texts: words separated by spaces.
        pronunciations: of the words.
    """
    spelled = [[pronunciations.get(word, ()) for word in text.split()] for text in texts]
    known = [number for number, words in enumerate(spelled) if words and all(words)]
    scores: list[float | None] = [None] * len(texts)
    if not known or not len(phones):
        return scores
    chains = [_chain(spelled[number]) for number in known]
    totals = _forward(phones, chains)
    for number, total in zip(known, totals, strict=True):
        scores[number] = total if total > _IMPOSSIBLE / 2 else None
    return scores


def _forward(phones: NDArray[np.float32], chains: Sequence[_Chain]) -> list[float]:
    """All chains at once, frame by frame."""
    starts = np.cumsum([0, *(len(c.phones) for c in chains)])
    labels = np.concatenate([c.phones for c in chains]).astype(np.int64)
    most = 1 + max(len(before) for c in chains for before in c.before)
    nowhere = len(labels)  # one more state, which is never reached
    came = np.full((len(labels), most), nowhere)
    reach = np.full(nowhere + 1, _IMPOSSIBLE, np.float32)
    for chain, start in zip(chains, starts, strict=False):
        for at, before in enumerate(chain.before):
            came[start + at, : len(before) + 1] = [start + at, *(start + b for b in before)]
        entries = [start + e for e in chain.entries]
        reach[entries] = phones[0, labels[entries]]
    for frame in phones[1:]:
        paths = reach[came]
        highest = paths.max(1)
        total = highest + np.log(np.exp(paths - highest[:, None]).sum(1))
        reach[:-1] = np.maximum(total + frame[labels], _IMPOSSIBLE)
    ended = [reach[[start + e for e in chain.ends]] for chain, start in zip(chains, starts, strict=False)]
    return [float(np.logaddexp.reduce(each)) for each in ended]


def free_fit(phones: NDArray[np.float32]) -> float:
    """How well the likeliest sounds of all fit, in any order: what no text can reach."""
    return float(phones.max(1).sum()) if len(phones) else 0.0


def free_phones(phones: NDArray[np.float32]) -> str:
    """The likeliest sounds, for the record."""
    best = phones.argmax(1) if len(phones) else np.zeros(0, np.int64)
    changes = [int(p) for p, before in zip(best, [0, *best[:-1]], strict=False) if p and p != before]
    return " ".join(PHONES[p] for p in changes)


class PhoneListener:
    """Weighs what other listeners hold possible; proposes nothing itself.

    Args:
        threads: of onnxruntime.
        lexicon: pronunciations.
    """

    name = "phones"

    def __init__(self, threads: int = 1, lexicon: Path = LEXICON) -> None:
        self._network = PhoneNetwork(threads)
        self._pronunciations = read_pronunciations(lexicon)

    def listen(self, segment: Segment) -> NDArray[np.float32]:
        """The chances of all phones; no frames where there is nothing in the segment."""
        samples = levelled(segment.samples)
        if samples is None or len(samples) < _SHORTEST:
            return np.zeros((0, len(PHONES)), np.float32)
        return self._network.listen(samples)

    def weigh(self, phones: NDArray[np.float32], opinions: Sequence[Opinion]) -> Opinion:
        """The values of all opinions in the order in which their sounds fit; free words are those of the others that
        fit best, so that the free ratio says whether something outside the grammar fits better."""
        began = time.perf_counter()
        held = {c.words: c for o in opinions for c in o.values}
        free = [_spelled_out(o.free_words) for o in opinions if o.values or o.free_words]
        texts = [*held, *free]
        scores = fits(phones, texts, self._pronunciations)
        values: dict[str, Candidate] = {}
        for words, score in zip(held, scores, strict=False):
            key = outcome_key(held[words].outcome)
            if score is not None and (key not in values or values[key].score < score):
                values[key] = replace(held[words], score=score)
        ranked = tuple(sorted(values.values(), key=lambda v: -v.weight))
        known = [(score, text) for score, text in zip(scores, texts, strict=True) if score is not None]
        free_score, free_words = max(known, default=(0.0, free_phones(phones)))
        return Opinion(
            self.name,
            ranked,
            free_words=free_words,
            free_score=free_score,
            refused=not ranked,
            scores={"behind_free_phones": round(free_fit(phones) - ranked[0].score, 2)} if ranked else {},
            seconds=time.perf_counter() - began,
        )


def _spelled_out(text: str) -> str:
    """Words as the lexicon has them."""
    return " ".join(re.findall(r"[a-z']+", text.lower()))
