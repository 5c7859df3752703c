"""Builds the decoding graph and the configuration around am/final.mdl.

    python graph.py --model DIR --lexicon lexicon.tsv --bigram bigram.txt [--topology hmm|ctc] [--acoustic-scale 1.0]
                    [--word-bonus 1.3] [--unk-cost -4] [--unk-phone-cost -1.1] [--words FILE]

Needs kaldifst (PyPI) and fstcompile, fstarcsort, fstconvert with the look-ahead plugin (Debian libfst-tools, libfst22-plugins-base).
lexicon.tsv: word, us|gb, phones.  --words limits the vocabulary to the words of a file.
"""
import argparse
import collections
import glob
import math
import os
import subprocess

import kaldifst
import numpy as np

import features
from kaldi_format import transition_id as tid
from lexicon import BASE, GRAPH_ID, GRAPH_PHONES, PHONES39


def positions(ph):
    return [ph[0] + "_S"] if len(ph) == 1 else [ph[0] + "_B"] + [p + "_I" for p in ph[1:-1]] + [ph[-1] + "_E"]


def lexicon(path, keep=None):
    lex = collections.OrderedDict()
    for line in open(path, encoding="utf-8"):
        w, _, ph = line.rstrip("\n").split("\t")
        if keep is None or w in keep:
            ps = lex.setdefault(w, [])
            if ph.split() not in ps:
                ps.append(ph.split())
    return lex


def build(a):
    g = a.model + "/graph"
    os.makedirs(g + "/phones", exist_ok=True)
    os.makedirs(a.model + "/conf", exist_ok=True)
    keep = set(open(a.words).read().split()) if a.words else None
    lex = [(w, positions(p)) for w, ps in lexicon(a.lexicon, keep).items() for p in ps]
    words = ["<eps>"] + sorted({w for w, _ in lex} | {"[unk]"}) + ["#0", "<s>", "</s>"]
    W = {w: i for i, w in enumerate(words)}
    count = collections.Counter(tuple(p) for _, p in lex)
    prefix = {tuple(p[:i]) for _, p in lex for i in range(1, len(p))}
    DIS = 100000                                   # disambiguation labels live above all phones
    sil, inside = GRAPH_ID["SIL"], GRAPH_ID["SIL_I"]
    c = 0.0 if a.topology == "ctc" else -math.log(.5)
    nc = 0.0 if a.topology == "ctc" else -math.log(.5)
    arcs, ns, used, maxd = [(0, 1, 0, 0, nc), (0, 2, 0, 0, c), (2, 3, sil, 0, 0.0), (3, 1, DIS + 1, 0, 0.0)], 4, {}, 1

    def leave(s, x, o, w=0.0):
        arcs.append((s, 1, x, o, nc + w))
        arcs.append((s, 2, x, o, c + w))

    for w, p in (lex if a.topology == "hmm" else ()):
        seq, t = [GRAPH_ID[x] for x in p], tuple(p)
        if count[t] > 1 or t in prefix:
            used[t] = used.get(t, 1) + 1
            seq.append(DIS + used[t])
            maxd = max(maxd, used[t])
        s = 1
        for i, x in enumerate(seq):
            o = W[w] if i == 0 else 0
            w0 = 0.0 if i else -a.word_bonus
            if i == len(seq) - 1:
                leave(s, x, o, w0)
                continue
            arcs.append((s, ns, x, o, w0))
            s, ns = ns, ns + 1
    if a.topology == "ctc":
        arcs, ns = ctc_arcs(lex, W, count, prefix, DIS, sil, inside)
        maxd = max([x[2] - DIS for x in arcs if x[2] > DIS])
    # [unk]: a phone-bigram loop behind a label of its own, so that determinisation stays local
    maxd += 1
    big = -np.log(np.maximum(np.loadtxt(a.bigram), 1e-4))
    start, ns = ns, ns + 1
    arcs.append((1, start, DIS + maxd, W["[unk]"], a.unk_cost))
    Y = {p: ns + k for k, p in enumerate(PHONES39)}
    ns += len(PHONES39)
    Z = {}
    if a.topology == "ctc":
        Z = {p: ns + k for k, p in enumerate(PHONES39)}
        ns += len(PHONES39)
    ix = {p: i for i, p in enumerate(BASE)}
    for p in PHONES39:
        arcs.append((start, Y[p], GRAPH_ID[p + "_B"], 0, big[0, ix[p]] + a.unk_phone_cost))
        sources = [Y[p]]
        if Z:
            arcs.append((Y[p], Z[p], inside, 0, 0.0))
            sources.append(Z[p])
        for s in sources:
            for q in PHONES39:
                w = big[ix[p], ix[q]] + a.unk_phone_cost
                arcs.append((s, Y[q], GRAPH_ID[q + "_I"], 0, w))
                leave(s, GRAPH_ID[q + "_E"], 0, w)
    f = kaldifst.StdVectorFst()
    for _ in range(ns):
        f.add_state()
    f.start = 0
    f.set_final(1, 0.0)
    for s, d, i, o, w in arcs:
        f.add_arc(s, kaldifst.StdArc(i, o, w, d))
    det = kaldifst.determinize_star(f)
    if det is not None and not isinstance(det, bool):
        f = det
    # phone -> entering transition-id, self loops on the states behind it
    n_tid = 2 * (len(GRAPH_PHONES) - 1)
    label = lambda x: 0 if x == 0 else (n_tid + x - DIS if x > DIS else tid(x, True))
    value = lambda w: float(w.value if hasattr(w, "value") else w)
    stay = leave_cost = -math.log(.5) if a.topology == "hmm" else 0.0
    first = (f.start, 0)
    todo, sid, out, final = [first], {first: 0}, [], {}
    while todo:
        st = todo.pop()
        s, inc = st
        emits = 0 < inc <= n_tid
        add = leave_cost if emits else 0.0
        fw = value(f.final(s))
        if math.isfinite(fw):
            final[sid[st]] = fw + add
        if emits:
            out.append((sid[st], sid[st], inc - 1, 0, stay))
        for arc in kaldifst.ArcIterator(f, s):
            l = label(arc.ilabel)
            d = (arc.nextstate, l if l <= n_tid else 0)
            if d not in sid:
                sid[d] = len(sid)
                todo.append(d)
            out.append((sid[st], sid[d], l, arc.olabel, value(arc.weight) + add))
    with open(g + "/hcl.txt", "w") as h:
        for s, d, i, o, w in sorted(out):
            print(s, d, i, o, f"{w:.6g}", file=h)
        for s, w in final.items():
            print(s, f"{w:.6g}", file=h)
    libs = [d for d in glob.glob("/usr/lib/*-linux-gnu/fst/*") + glob.glob("/usr/lib/*-linux-gnu/fst") if os.path.isdir(d)]
    env = dict(os.environ, LD_LIBRARY_PATH=":".join(libs))
    sh = lambda cmd: subprocess.run(["sh", "-c", cmd], check=True, cwd=g, env=env)
    sh("fstcompile hcl.txt | fstarcsort --sort_type=olabel | fstconvert --fst_type=olabel_lookahead --save_relabel_opairs=relabel > HCLr.fst")
    rl = dict(map(int, l.split()) for l in open(g + "/relabel"))
    new = {w: rl[i] for w, i in W.items() if i in rl}
    new["<eps>"] = 0
    for w in W:
        if w not in new:
            new[w] = max(new.values()) + 1
    with open(g + "/words.txt", "w", encoding="utf-8") as h:
        for w, i in sorted(new.items(), key=lambda x: x[1]):
            print(w, i, file=h)
    loop = [w for w in words if w not in ("<eps>", "#0", "<s>", "</s>")]
    with open(g + "/g.txt", "w") as h:
        for w in loop:
            print(0, 0, new[w], new[w], f"{math.log(len(loop)):.5f}", file=h)
        print(0, 1.0, file=h)
    sh("fstcompile g.txt | fstarcsort --sort_type=ilabel | fstconvert --fst_type=const > Gr.fst")
    with open(g + "/disambig_tid.int", "w") as h:
        for k in range(1, maxd + 1):
            print(n_tid + k, file=h)
    kind = {"B": "begin", "E": "end", "I": "internal", "S": "singleton"}
    with open(g + "/phones/word_boundary.int", "w") as h:
        for i, p in enumerate(GRAPH_PHONES):
            if i:
                print(i, kind[p.split("_")[1]] if "_" in p else "nonword", file=h)
    with open(a.model + "/conf/mfcc.conf", "w") as h:
        h.write(features.CONFIGURATION)
    with open(a.model + "/conf/model.conf", "w") as h:
        h.write(f"--min-active=200\n--max-active=3000\n--beam={a.beam}\n--lattice-beam={a.lattice_beam}\n--acoustic-scale={a.acoustic_scale}\n--frame-subsampling-factor=3\n"
                "--endpoint.silence-phones=1\n--endpoint.rule2.min-trailing-silence=0.5\n--endpoint.rule3.min-trailing-silence=0.75\n--endpoint.rule4.min-trailing-silence=1.0\n")
    for f_ in ("hcl.txt", "relabel", "g.txt"):
        os.remove(f"{g}/{f_}")
    print(f"{len(loop)} words, {len(lex)} pronunciations, {len(sid)} states, {len(out)} arcs, HCLr {os.path.getsize(g + '/HCLr.fst') / 1e6:.1f} MB")


def ctc_arcs(lex, W, count, prefix, DIS, sil, inside):
    """Lexicon arcs with a blank allowed between phones (and required between equal ones)."""
    arcs, ns, used = [(0, 1, 0, 0, 0.0), (0, 2, 0, 0, 0.0), (2, 3, sil, 0, 0.0), (3, 1, DIS + 1, 0, 0.0)], 4, {}
    for w, p in lex:
        seq, t = [GRAPH_ID[x] for x in p], tuple(p)
        extra = 0
        if count[t] > 1 or t in prefix:
            used[t] = used.get(t, 1) + 1
            extra = DIS + used[t]
        sources, o = [1], W[w]
        for i, x in enumerate(seq):
            if i == len(seq) - 1 and not extra:
                for s in sources:
                    arcs += [(s, 1, x, o, 0.0), (s, 2, x, o, 0.0)]
                break
            for s in sources:
                arcs.append((s, ns, x, o, 0.0))
            sources, ns, o = [ns], ns + 1, 0
            if i < len(seq) - 1:
                arcs.append((sources[0], ns, inside, 0, 0.0))
                same = p[i].split("_")[0] == p[i + 1].split("_")[0]
                sources, ns = ([ns] if same else sources + [ns]), ns + 1
        if extra:
            for s in sources:
                arcs += [(s, 1, extra, 0, 0.0), (s, 2, extra, 0, 0.0)]
    return arcs, ns


if __name__ == "__main__":
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--model", required=True)
    ap.add_argument("--lexicon", required=True)
    ap.add_argument("--bigram", required=True)
    ap.add_argument("--words")
    ap.add_argument("--topology", choices=["hmm", "ctc"], default="hmm")
    ap.add_argument("--acoustic-scale", type=float, default=0.8)
    ap.add_argument("--unk-cost", type=float, default=-4.0)
    ap.add_argument("--unk-phone-cost", type=float, default=-1.1)
    ap.add_argument("--word-bonus", type=float, default=1.3, help="makes up for the grammar's cost a word; too little drops words, too much invents them")
    ap.add_argument("--beam", type=float, default=13)
    ap.add_argument("--lattice-beam", type=float, default=5)
    build(ap.parse_args())
