"""A lexicon in, the decoding graph and configuration around am/final.mdl out.

    python decoding_graph.py --model DIR --lexicon lexicon.tsv --bigram bigram.txt [--acoustic-scale 0.8]
                             [--word-bonus 1.3] [--unk-cost -4] [--unk-phone-cost -1.1]

Writes graph/ (HCLr.fst, Gr.fst, words.txt, disambig_tid.int, phones/word_boundary.int) and conf/.  Needs kaldifst
(PyPI) and
fstcompile, fstarcsort, fstconvert with the look-ahead plugin (Debian: libfst-tools, libfst22-plugins-base).
"""

import argparse
import collections
import glob
import math
import os
import subprocess
from pathlib import Path

import features
import kaldifst
import numpy as np
from kaldi_format import transition_id
from lexicon import BASE, GRAPH_ID, GRAPH_PHONES, PHONES39

HALF = -math.log(0.5)  # silence or none between words; staying in a phone or leaving it
DISAMBIGUATION = 100000  # these labels lie above all phones
TRANSITIONS = 2 * (len(GRAPH_PHONES) - 1)
Arc = tuple[int, int, int, int, float]  # from, to, phone, word, cost


def in_positions(phones: list[str]) -> list[str]:
    """Phones marked by their place in the word: begin, internal, end, single."""
    if len(phones) == 1:
        return [phones[0] + "_S"]
    return [phones[0] + "_B", *(p + "_I" for p in phones[1:-1]), phones[-1] + "_E"]


def read_lexicon(path: Path) -> list[tuple[str, list[str]]]:
    pairs: dict[tuple[str, str], None] = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        columns = line.split("\t")
        pairs[columns[0], columns[-1]] = None
    return [(word, in_positions(phones.split())) for word, phones in pairs]


def lexicon_arcs(
    pairs: list[tuple[str, list[str]]], numbers: dict[str, int], bonus: float
) -> tuple[list[Arc], int, int]:
    """Words between states 1 (a word may start) and 2 (silence must come); homophones told apart by labels of their
    own."""
    count = collections.Counter(tuple(p) for _, p in pairs)
    prefixes = {tuple(p[:i]) for _, p in pairs for i in range(1, len(p))}
    used: dict[tuple[str, ...], int] = {}
    arcs: list[Arc] = [(0, 1, 0, 0, HALF), (0, 2, 0, 0, HALF), (2, 3, GRAPH_ID["SIL"], 0, 0.0)]
    arcs.append((3, 1, DISAMBIGUATION + 1, 0, 0.0))
    states = 4
    for word, phones in pairs:
        labels, key = [GRAPH_ID[p] for p in phones], tuple(phones)
        if count[key] > 1 or key in prefixes:
            used[key] = used.get(key, 1) + 1
            labels.append(DISAMBIGUATION + used[key])
        at = 1
        for i, label in enumerate(labels):
            output, cost = (numbers[word], -bonus) if i == 0 else (0, 0.0)
            if i == len(labels) - 1:
                arcs += [(at, 1, label, output, HALF + cost), (at, 2, label, output, HALF + cost)]
            else:
                arcs.append((at, states, label, output, cost))
                at, states = states, states + 1
    return arcs, states, max([1, *used.values()])


def unknown_arcs(first: int, label: int, word: int, bigram: np.ndarray, cost: float, phone_cost: float) -> list[Arc]:
    """[unk]: a phone-bigram loop behind a label of its own, so that determinisation stays local."""
    surprise = -np.log(np.maximum(bigram, 1e-4))
    index = {p: i for i, p in enumerate(BASE)}
    state = {p: first + 1 + k for k, p in enumerate(PHONES39)}
    arcs: list[Arc] = [(1, first, label, word, cost)]
    for p in PHONES39:
        arcs.append((first, state[p], GRAPH_ID[p + "_B"], 0, surprise[0, index[p]] + phone_cost))
        for q in PHONES39:
            step = surprise[index[p], index[q]] + phone_cost
            arcs.append((state[p], state[q], GRAPH_ID[q + "_I"], 0, step))
            arcs += [(state[p], end, GRAPH_ID[q + "_E"], 0, HALF + step) for end in (1, 2)]
    return arcs


def determinised(arcs: list[Arc], states: int) -> "kaldifst.StdVectorFst":
    fst = kaldifst.StdVectorFst()
    for _ in range(states):
        fst.add_state()
    fst.start = 0
    fst.set_final(1, 0.0)
    for source, target, label, output, cost in arcs:
        fst.add_arc(source, kaldifst.StdArc(label, output, cost, target))
    found = kaldifst.determinize_star(fst)
    return fst if found is None or isinstance(found, bool) else found


def expand(fst: "kaldifst.StdVectorFst") -> tuple[list[Arc], dict[int, float]]:
    """Phones become the transitions that enter them; the state behind one gets its self loop."""

    def number(weight: object) -> float:
        return float(getattr(weight, "value", weight))  # type: ignore[arg-type]

    def label_of(phone: int) -> int:
        if phone == 0:
            return 0
        return TRANSITIONS + phone - DISAMBIGUATION if phone > DISAMBIGUATION else transition_id(phone, True)

    start = (fst.start, 0)
    waiting, number_of = [start], {start: 0}
    arcs: list[Arc] = []
    finals: dict[int, float] = {}
    while waiting:
        state = waiting.pop()
        emits = 0 < state[1] <= TRANSITIONS
        leaving = HALF if emits else 0.0
        if math.isfinite(end := number(fst.final(state[0]))):
            finals[number_of[state]] = end + leaving
        if emits:
            arcs.append((number_of[state], number_of[state], state[1] - 1, 0, HALF))
        for arc in kaldifst.ArcIterator(fst, state[0]):
            label = label_of(arc.ilabel)
            after = (arc.nextstate, label if label <= TRANSITIONS else 0)
            if after not in number_of:
                number_of[after] = len(number_of)
                waiting.append(after)
            arcs.append((number_of[state], number_of[after], label, arc.olabel, number(arc.weight) + leaving))
    return sorted(arcs), finals


def shell(command: str, folder: Path) -> None:
    plugins = [
        d for d in glob.glob("/usr/lib/*-linux-gnu/fst/*") + glob.glob("/usr/lib/*-linux-gnu/fst") if os.path.isdir(d)
    ]
    environment = dict(os.environ, LD_LIBRARY_PATH=":".join(plugins))
    subprocess.run(["sh", "-c", command], check=True, cwd=folder, env=environment)


def write_words(folder: Path, words: list[str], numbers: dict[str, int]) -> None:
    """words.txt carries the ids that the look-ahead conversion gave; Gr.fst is a loop over all words."""
    moved = dict(tuple(map(int, line.split())) for line in (folder / "relabel").read_text().splitlines())  # type: ignore[misc]
    new = {w: moved[i] for w, i in numbers.items() if i in moved}
    new["<eps>"] = 0
    for word in words:
        if word not in new:
            new[word] = max(new.values()) + 1
    lines = [f"{w} {i}\n" for w, i in sorted(new.items(), key=lambda x: x[1])]
    (folder / "words.txt").write_text("".join(lines), encoding="utf-8")
    loop = [w for w in words if w not in ("<eps>", "#0", "<s>", "</s>")]
    lines = [f"0 0 {new[w]} {new[w]} {math.log(len(loop)):.5f}\n" for w in loop]
    (folder / "g.txt").write_text("".join(lines) + "0 1.0\n")
    shell("fstcompile g.txt | fstarcsort --sort_type=ilabel | fstconvert --fst_type=const > Gr.fst", folder)


def write_configuration(folder: Path, options: argparse.Namespace) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "mfcc.conf").write_text(features.CONFIGURATION)
    (folder / "model.conf").write_text(
        f"--min-active=200\n--max-active=3000\n--beam={options.beam}\n--lattice-beam={options.lattice_beam}\n"
        f"--acoustic-scale={options.acoustic_scale}\n--frame-subsampling-factor=3\n--endpoint.silence-phones=1\n"
        "--endpoint.rule2.min-trailing-silence=0.5\n--endpoint.rule3.min-trailing-silence=0.75\n"
        "--endpoint.rule4.min-trailing-silence=1.0\n"
    )


def build(options: argparse.Namespace) -> None:
    folder = options.model / "graph"
    (folder / "phones").mkdir(parents=True, exist_ok=True)
    pairs = read_lexicon(options.lexicon)
    words = ["<eps>", *sorted({w for w, _ in pairs} | {"[unk]"}), "#0", "<s>", "</s>"]
    numbers = {w: i for i, w in enumerate(words)}
    arcs, states, labels = lexicon_arcs(pairs, numbers, options.word_bonus)
    labels += 1
    bigram = np.loadtxt(options.bigram)
    costs = (options.unk_cost, options.unk_phone_cost)
    arcs += unknown_arcs(states, DISAMBIGUATION + labels, numbers["[unk]"], bigram, *costs)
    expanded, finals = expand(determinised(arcs, states + 1 + len(PHONES39)))
    lines = [f"{s} {d} {i} {o} {c:.6g}\n" for s, d, i, o, c in expanded]
    lines += [f"{s} {c:.6g}\n" for s, c in finals.items()]
    (folder / "hcl.txt").write_text("".join(lines))
    convert = "fstconvert --fst_type=olabel_lookahead --save_relabel_opairs=relabel"
    shell(f"fstcompile hcl.txt | fstarcsort --sort_type=olabel | {convert} > HCLr.fst", folder)
    write_words(folder, words, numbers)
    (folder / "disambig_tid.int").write_text("".join(f"{TRANSITIONS + k}\n" for k in range(1, labels + 1)))
    place = {"B": "begin", "E": "end", "I": "internal", "S": "singleton"}
    marks = [f"{i} {place[p.split('_')[1]] if '_' in p else 'nonword'}\n" for i, p in enumerate(GRAPH_PHONES) if i]
    (folder / "phones" / "word_boundary.int").write_text("".join(marks))
    write_configuration(options.model / "conf", options)
    for name in ("hcl.txt", "relabel", "g.txt"):
        (folder / name).unlink()
    print(len(words) - 4, "words,", len(pairs), "pronunciations,", len(expanded), "arcs")


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--model", type=Path, required=True)
    ask.add_argument("--lexicon", type=Path, required=True)
    ask.add_argument("--bigram", type=Path, required=True)
    ask.add_argument("--acoustic-scale", type=float, default=0.8)
    ask.add_argument("--unk-cost", type=float, default=-4.0)
    ask.add_argument("--unk-phone-cost", type=float, default=-1.1)
    ask.add_argument("--word-bonus", type=float, default=1.3, help="makes up for the grammar's cost a word")
    ask.add_argument("--beam", type=float, default=13)
    ask.add_argument("--lattice-beam", type=float, default=5)
    build(ask.parse_args())


if __name__ == "__main__":
    main()
