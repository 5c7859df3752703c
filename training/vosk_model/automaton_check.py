"""Measures ctc.onnx decoded by the product's own word automaton: the best path of phones along sentences of the
grammar.

    python automaton_check.py --model MODEL_FOLDER --manifest TSV [--parts PART...] [--kind number] [--head
    states|phones]

Right, wrong and refused count values, not words: what `Language.understand` makes of the best words against what it
makes of
the transcript.  `gap` is the score of the best sentence minus that of a free string of phones: low for speech
outside the grammar.
"""

import argparse
import collections
import csv
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import onnxruntime
import soundfile

from handsfree.language import load_language
from handsfree.listeners.phones import Pronunciations, free_fit, read_pronunciations
from handsfree.model import Expectation

NONE = -1e30


class PhoneGraph:
    """A word automaton spelled out in phones: one chain of states for each arc and pronunciation, in flat arrays."""

    def __init__(self, automaton, lexicon: Pronunciations, blanks: bool) -> None:  # type: ignore[no-untyped-def]
        self.start, self.hubs, self.blanks = automaton.start, len(automaton), blanks
        self.finals = np.array([s for s in range(len(automaton)) if automaton.final(s)])
        phone, first, last, source, target = [], [], [], [], []
        self.words: list[str] = []
        for state in range(len(automaton)):
            for word, after in automaton.arcs(state).items():
                for spoken in lexicon.get(word, ()):
                    chain = [p for q in spoken for p in (q, 0)][:-1] if blanks else spoken
                    first.append(len(phone))
                    phone += chain
                    last.append(len(phone) - 1)
                    source.append(state)
                    target.append(after)
                    self.words.append(word)
        self.phone, self.first, self.last = np.array(phone), np.array(first), np.array(last)
        self.source, self.target = np.array(source), np.array(target)
        self.order = np.argsort(self.target, kind="stable")
        ends = self.target[self.order]
        self.reached, self.cuts = np.unique(ends, return_index=True)
        inner = np.ones(len(phone), bool)
        inner[self.first] = False
        self.inner = inner
        before = np.concatenate([[0, 0], self.phone[:-2]])
        leap = np.concatenate([[False, False], inner[1:-1]]) & inner
        self.leap = leap & (self.phone != 0) & (before != self.phone) if blanks else np.zeros(len(phone), bool)

    def best_sentence(self, scores: np.ndarray) -> tuple[list[str], float]:
        """Viterbi; scores are (frames, 80) enter and stay scores, or (frames, 40) log posteriors with blanks."""
        enter = scores[:, self.phone] if self.blanks else scores[:, 2 * self.phone]
        stay = enter if self.blanks else scores[:, 2 * self.phone + 1]
        quiet_in, quiet_on = scores[:, 0], scores[:, 0 if self.blanks else 1]
        value = np.full(len(self.phone), NONE)
        link = np.full(len(self.phone), -1)
        end, end_link = np.full(self.hubs, NONE), np.full(self.hubs, -1)
        quiet, quiet_link = np.full(self.hubs, NONE), np.full(self.hubs, -1)
        end[self.start] = 0.0
        history: list[tuple[int, int]] = []
        for t in range(len(scores)):
            hub = np.maximum(end, quiet)
            hub_link = np.where(end >= quiet, end_link, quiet_link)
            came = np.concatenate([[NONE], value[:-1]])
            came_link = np.concatenate([[-1], link[:-1]])
            came[self.first], came_link[self.first] = hub[self.source], hub_link[self.source]
            if self.blanks:
                far = np.where(self.leap, np.concatenate([[NONE, NONE], value[:-2]]), NONE)
                came_link = np.where(far > came, np.concatenate([[-1, -1], link[:-2]]), came_link)
                came = np.maximum(came, far)
            on, new = value + stay[t], came + enter[t]
            link = np.where(new > on, came_link, link)
            value = np.maximum(on, new)
            on, new = quiet + quiet_on[t], end + quiet_in[t]
            quiet_link = np.where(new > on, end_link, quiet_link)
            quiet = np.maximum(on, new)
            end, end_link = np.full(self.hubs, NONE), np.full(self.hubs, -1)
            arrived = value[self.last][self.order]
            best = np.maximum.reduceat(arrived, self.cuts)
            sizes = np.diff(np.append(self.cuts, len(arrived)))
            winner = np.flatnonzero(arrived == np.repeat(best, sizes))
            chosen = self.order[winner[np.searchsorted(winner, self.cuts)]]
            end[self.reached] = best
            end_link[self.reached] = np.arange(len(history), len(history) + len(chosen))
            history.extend(zip(chosen.tolist(), link[self.last[chosen]].tolist(), strict=True))
        hub = np.maximum(end, quiet)[self.finals]
        at = self.finals[int(hub.argmax())]
        back, words = int((end_link if end[at] >= quiet[at] else quiet_link)[at]), []
        while back >= 0:
            arc, back = history[back]
            words.append(self.words[arc])
        return words[::-1], float(hub.max())


def free_score(scores: np.ndarray) -> float:
    """The best string of any phones: what the best sentence is held against."""
    value = np.full(40, NONE)
    value[0] = scores[0, 0]
    for frame in scores[1:]:
        value = np.maximum(value + frame[1::2], value.max() + frame[0::2])
    return float(value.max())


def with_noise(samples: np.ndarray, noise: np.ndarray, snr_db: float, rng: np.random.RandomState) -> np.ndarray:
    at = rng.randint(0, len(noise) - len(samples))
    piece = noise[at : at + len(samples)]
    active = np.abs(samples) > 0.1 * np.abs(samples).max()
    level = np.sqrt((samples[active] ** 2).mean()) * 10 ** (-snr_db / 20)
    mixed = samples + piece / (piece.std() + 1e-9) * level
    return mixed * min(1.0, 32000 / np.abs(mixed).max())


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--model", type=Path, required=True)
    ask.add_argument("--manifest", type=Path, required=True)
    ask.add_argument("--parts", nargs="*")
    ask.add_argument("--kind", default="any")
    ask.add_argument("--head", choices=["states", "phones"], default="states")
    ask.add_argument("--limit", type=int, default=10**9)
    ask.add_argument("--noise", type=Path)
    ask.add_argument("--snr", type=float, default=10)
    ask.add_argument("--show", action="store_true")
    options = ask.parse_args()
    language, expectation = load_language(), Expectation(kind=options.kind)
    settings = onnxruntime.SessionOptions()
    settings.intra_op_num_threads = 1
    session = onnxruntime.InferenceSession(str(options.model / "ctc.onnx"), settings)
    lexicon = read_pronunciations(options.model / "lexicon.tsv")
    graph = PhoneGraph(language.automaton(expectation), lexicon, options.head == "phones")
    noise = soundfile.read(options.noise, dtype="float32")[0] if options.noise else None
    rng, seconds, spent = np.random.RandomState(1), 0.0, 0.0
    counts: dict[str, collections.Counter[str]] = collections.defaultdict(collections.Counter)
    gaps: dict[str, list[tuple[float, bool]]] = collections.defaultdict(list)
    for row in csv.DictReader(options.manifest.open(encoding="utf-8"), delimiter="\t", quoting=csv.QUOTE_NONE):
        part = row.get("part") or row["path"].split("/")[0]
        if (options.parts and part not in options.parts) or counts[part]["clips"] >= options.limit:
            continue
        said = row["transcript"].lower()
        negative = part.startswith("negative")
        if not negative and not language.automaton(expectation).accepts(said.split()):
            counts[part]["outside"] += 1
            continue
        samples = soundfile.read(options.manifest.parent / row["path"], dtype="float32")[0] * 32768
        if noise is not None:
            samples = with_noise(samples, noise, options.snr, rng)
        samples = np.concatenate([np.zeros(3200), samples, np.zeros(3200)]) + rng.randn(len(samples) + 6400) * 3
        begun = time.time()
        phones, states = session.run(None, {"samples": samples[None].astype(np.float32)})
        bounded = 30 * np.tanh(states[0] / 30)
        words, score = graph.best_sentence(bounded if options.head == "states" else phones[0])
        spent, seconds = spent + time.time() - begun, seconds + len(samples) / 16000
        gap = (score - free_score(bounded)) if options.head == "states" else score - free_fit(phones[0])
        right = same_meaning(language, expectation, words, said)
        counts[part].update(clips=1, exact=words == said.split(), right=right)
        gaps[part].append((gap, right))
        if options.show and not right and not negative:
            print("   ", said, "->", " ".join(words), round(gap, 1))
    report(counts, gaps)
    print(f"real-time factor {spent / max(seconds, 1e-9):.3f}; {len(graph.phone)} states")


def same_meaning(language, expectation: Expectation, words: Sequence[str], said: str) -> bool:  # type: ignore[no-untyped-def]
    return bool(language.understand(" ".join(words), expectation) == language.understand(said, expectation))


def report(counts: dict[str, collections.Counter[str]], gaps: dict[str, list[tuple[float, bool]]]) -> None:
    for part, c in sorted(counts.items()):
        line = f"{part:20s} clips {c['clips']:4d} right {c['right']:4d} exact {c['exact']:4d} outside {c['outside']}"
        for gate in (-2, -5, -10, -20, -30):
            taken = [ok for gap, ok in gaps[part] if gap >= gate]
            line += f" | gap>={gate}: {len(taken)} taken, {len(taken) - sum(taken)} wrong"
        print(line)


if __name__ == "__main__":
    main()
