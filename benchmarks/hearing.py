"""Recordings with their words in; right, refused and silently wrong out, for each listener and for all together.

    python -m benchmarks.hearing --manifest M.tsv [--folder PREFIX] [--expect digits] [--snr 10 5] [--save
    opinions.jsonl] [--json out.json]
    python -m benchmarks.hearing --load opinions.jsonl

The manifest has the columns path and transcript (spoken words), and optionally expect (as for `handsfree hear
--expect`) and part. The truth of a clip is what `Language.understand` makes of its transcript; a transcript that
means nothing to it counts as talk: whatever is accepted there is wrong. `--save` keeps every listener's opinion, so
that thresholds can be tried without listening again.
"""

from __future__ import annotations

import argparse
import csv
import json
import math
import resource
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsfree.audio.wav import read_sound
from handsfree.language import Language, load_language
from handsfree.language.samples import expectation_of
from handsfree.listeners.agreement import Gates, agree, load_gates
from handsfree.listeners.base import Candidate, Opinion, outcome_key
from handsfree.listeners.hearing import open_hearing
from handsfree.model import (
    SAMPLE_RATE,
    Nothing,
    Outcome,
    Segment,
    Unsure,
    outcome_from_json,
    outcome_to_json,
)
from handsfree.settings import default_settings

PAD_S = 0.15
"""s of silence on both sides, as the endpointer leaves it"""


@dataclass(frozen=True, slots=True)
class Trial:
    """One clip in one condition."""

    path: str
    part: str
    condition: str
    transcript: str
    expect: str
    truth: Outcome
    opinions: tuple[Opinion, ...]
    seconds: float
    """s of sound"""
    waited: float
    """s from the whole segment to the opinions"""


# --------------------------------------------------------------------------------------------- listening


def pink_noise(samples: NDArray[np.float32], snr_db: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """The samples in pink noise; the ratio counts the power of the frames with speech (25 ms frames within 30 dB of
    the loudest)."""
    spectrum = np.fft.rfft(rng.standard_normal(len(samples)))
    pink = np.fft.irfft(spectrum / np.sqrt(np.arange(1, len(spectrum) + 1)), len(samples))
    power = (samples[: len(samples) // 400 * 400].reshape(-1, 400) ** 2).mean(1)
    speech = power[power > power.max() * 1e-3].mean()
    noisy: NDArray[np.float32] = (samples + pink * math.sqrt(speech / (pink**2).mean() / 10 ** (snr_db / 10))).astype(
        np.float32
    )
    return noisy


def listen(args: argparse.Namespace, language: Language) -> Iterator[Trial]:
    """Every clip in every condition."""
    rows = [r for r in _manifest(args.manifest) if r["path"].startswith(args.folder)]
    if args.kind:
        rows = [r for r in rows if _kind_of(language, r, args) == args.kind]
    rows = rows[args.skip :: args.every]
    hearing = open_hearing(language, default_settings(), args.listener or None)
    for snr in ["clean", *args.snr] if not args.no_clean else args.snr:
        rng = np.random.default_rng(3)
        for row in rows:
            expectation = expectation_of(row.get("expect") or args.expect, language.quantities)
            samples = read_sound(args.manifest.parent / row["path"]).samples
            silence = np.zeros(int(PAD_S * SAMPLE_RATE), np.float32)
            samples = np.concatenate([silence, samples, silence])
            if snr != "clean":
                samples = pink_noise(samples, float(snr), rng)
            began = time.perf_counter()
            opinions = hearing.opinions(Segment(samples, 0.0, len(samples) / SAMPLE_RATE), expectation)
            yield Trial(
                path=row["path"],
                part=row.get("part") or row["path"].split("/")[0],
                condition="clean" if snr == "clean" else f"{float(snr):g} dB",
                transcript=row["transcript"],
                expect=row.get("expect") or args.expect,
                truth=language.understand(row["transcript"], expectation),
                opinions=tuple(opinions),
                seconds=len(samples) / SAMPLE_RATE,
                waited=time.perf_counter() - began,
            )
    hearing.close()


def _manifest(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE))


def _kind_of(language: Language, row: dict[str, str], args: argparse.Namespace) -> str:
    expectation = expectation_of(row.get("expect") or args.expect, language.quantities)
    return outcome_to_json(language.understand(row["transcript"], expectation))["outcome"]


# ---------------------------------------------------------------------------------------------- counting


@dataclass(slots=True)
class Tally:
    """Counts of one row of the table."""

    right: int = 0
    refused: int = 0
    wrong: int = 0

    @property
    def total(self) -> int:
        return self.right + self.refused + self.wrong

    def add(self, verdict: str) -> None:
        setattr(self, verdict, getattr(self, verdict) + 1)


def verdict(outcome: Outcome, truth: Outcome) -> str:
    """right, refused or wrong. Refusing what has no plain meaning is right; accepting it is wrong."""
    accepted = not isinstance(outcome, Unsure | Nothing)
    if isinstance(truth, Unsure | Nothing):
        return "wrong" if accepted else "right"
    if not accepted:
        return "refused"
    return "right" if outcome_key(outcome) == outcome_key(truth) else "wrong"


def wilson(count: int, total: int, z: float = 1.96) -> tuple[float, float]:
    """The 95 % interval of a share (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927)."""
    if not total:
        return 0.0, 1.0
    share, square = count / total, z * z
    middle = (share + square / (2 * total)) / (1 + square / total)
    half = z / (1 + square / total) * math.sqrt(share * (1 - share) / total + square / (4 * total * total))
    return max(0.0, middle - half), min(1.0, middle + half)


def single(opinion: Opinion) -> Outcome:
    """What a listener would answer alone, without any gate."""
    return opinion.values[0].outcome if opinion.values and not opinion.refused else Nothing()


def tallies(trials: Iterable[Trial], gates: Gates) -> dict[tuple[str, str, str], Tally]:
    """(part, condition, listener or "together") -> counts."""
    table: dict[tuple[str, str, str], Tally] = defaultdict(Tally)
    for trial in trials:
        for opinion in trial.opinions:
            table[trial.part, trial.condition, opinion.listener].add(verdict(single(opinion), trial.truth))
        together = agree(trial.opinions, gates).outcome
        table[trial.part, trial.condition, "together"].add(verdict(together, trial.truth))
    return table


def confusions(trials: Iterable[Trial], gates: Gates) -> list[tuple[str, str, str, str, int]]:
    """What was taken for what, word by word where the number of words is the same: (who, condition, said, heard,
    times)."""
    counts: Counter[tuple[str, str, str, str]] = Counter()
    for trial in trials:
        heard = [(o.listener, o.values[0].words, single(o)) for o in trial.opinions if o.values and not o.refused]
        agreed = agree(trial.opinions, gates)
        heard.append(("together", agreed.words, agreed.outcome))
        for who, words, outcome in heard:
            if verdict(outcome, trial.truth) == "wrong":
                for said, taken in _differences(trial.transcript.split(), words.split()):
                    counts[who, trial.condition, said, taken] += 1
    return [(*key, n) for key, n in counts.most_common()]


def _differences(said: Sequence[str], heard: Sequence[str]) -> list[tuple[str, str]]:
    from rapidfuzz.distance import Levenshtein

    return [
        (" ".join(said[op.src_start : op.src_end]) or "-", " ".join(heard[op.dest_start : op.dest_end]) or "-")
        for op in Levenshtein.opcodes(said, heard)
        if op.tag != "equal"
    ]


def trade_off(trials: Sequence[Trial], gates: Gates) -> list[dict[str, float]]:
    """Refused against silently wrong, as the margins that values must have grow."""
    curve = []
    kinds = [f.name for f in fields(gates) if f.name.startswith(("value", "command"))]
    for step in (0.0, 0.2, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0):
        moved = {k: replace(getattr(gates, k), margin_each=step, margin_sum=2.5 * step) for k in kinds}
        counts = Tally()
        for trial in trials:
            counts.add(verdict(agree(trial.opinions, replace(gates, **moved)).outcome, trial.truth))
        curve.append({"margin_each": step, "right": counts.right, "refused": counts.refused, "wrong": counts.wrong})
    return curve


# ------------------------------------------------------------------------------------------------ keeping


def trial_to_json(trial: Trial) -> dict[str, Any]:
    """A trial as one line of `--save`."""
    row = asdict(replace(trial, opinions=(), truth=Nothing()))
    row["truth"] = outcome_to_json(trial.truth)
    row["opinions"] = [
        {
            **{k: getattr(o, k) for k in ("listener", "free_words", "free_score", "refused", "seconds")},
            "scores": dict(o.scores),
            "values": [{"words": v.words, "outcome": outcome_to_json(v.outcome), "score": v.score} for v in o.values],
        }
        for o in trial.opinions
    ]
    return row


def trial_from_json(row: dict[str, Any]) -> Trial:
    """The inverse of `trial_to_json`."""
    opinions = []
    for o in row["opinions"]:
        values = tuple(Candidate(v["words"], outcome_from_json(v["outcome"]), v["score"]) for v in o["values"])
        opinions.append(Opinion(**{**o, "values": values}))
    return Trial(**{**row, "truth": outcome_from_json(row["truth"]), "opinions": tuple(opinions)})


# --------------------------------------------------------------------------------------------- reporting


def report(trials: Sequence[Trial], gates: Gates) -> dict[str, Any]:
    """Everything that is printed and written, as plain data."""
    rows = []
    for (part, condition, who), tally in sorted(tallies(trials, gates).items()):
        low, high = wilson(tally.wrong, tally.total)
        row = {"part": part, "condition": condition, "listener": who, "clips": tally.total, **asdict(tally)}
        rows.append({**row, "wrong_low": round(low, 4), "wrong_high": round(high, 4)})
    sound = sum(t.seconds for t in trials)
    names = sorted({o.listener for t in trials for o in t.opinions})
    waits = sorted(t.waited for t in trials)
    return {
        "table": rows,
        "confusions": confusions(trials, gates),
        "trade_off": trade_off(trials, gates),
        "real_time_factor": {
            n: round(sum(o.seconds for t in trials for o in t.opinions if o.listener == n) / sound, 3) for n in names
        },
        "real_time_factor_together": round(sum(waits) / sound, 3),
        "wait_s": {"p50": round(waits[len(waits) // 2], 3), "p95": round(waits[int(len(waits) * 0.95)], 3)},
        "peak_memory_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024),
    }


def _print(result: dict[str, Any], trials: Sequence[Trial], gates: Gates, show: int) -> None:
    print(
        f"{'part':<18}{'condition':<10}{'listener':<11}"
        f"{'clips':>6}{'right':>7}{'refused':>9}{'wrong':>7}   95 % of wrong"
    )
    for r in result["table"]:
        interval = f"{100 * r['wrong_low']:.1f}-{100 * r['wrong_high']:.1f} %"
        counts = f"{r['clips']:>6}{r['right']:>7}{r['refused']:>9}{r['wrong']:>7}"
        print(f"{r['part']:<18}{r['condition']:<10}{r['listener']:<11}{counts}   {interval}")
    for who, condition, said, heard, times in result["confusions"][:20]:
        print(f"  {who} {condition}: {said} -> {heard}  {times}")
    print("margin each / refused / wrong:", [(c["margin_each"], c["refused"], c["wrong"]) for c in result["trade_off"]])
    print({k: v for k, v in result.items() if k not in {"table", "confusions", "trade_off"}})
    for trial in trials:
        agreed = agree(trial.opinions, gates)
        found = verdict(agreed.outcome, trial.truth)
        if found == "wrong" or (found == "refused" and show > 0):
            show -= found == "refused"
            heard = [
                (
                    o.listener,
                    o.values[0].words if o.values else "",
                    round(o.margin, 1),
                    round(o.free_ratio, 1),
                    o.free_words,
                )
                for o in trial.opinions
            ]
            print(f"  {found} {trial.condition} {trial.transcript!r}: {agreed.reason}; {heard}")


def main(arguments: Sequence[str]) -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--manifest", type=Path)
    parser.add_argument("--folder", default="", help="only paths that start so")
    parser.add_argument("--expect", default="any")
    parser.add_argument("--kind", help="only clips whose truth is: reading, command, text, unsure, nothing")
    parser.add_argument("--every", type=int, default=1, help="only every Nth clip")
    parser.add_argument("--skip", type=int, default=0, help="leave out so many clips at the start")
    parser.add_argument("--snr", nargs="*", default=[], help="dB, pink noise; clean comes first")
    parser.add_argument("--no-clean", action="store_true")
    parser.add_argument("--listener", nargs="*")
    parser.add_argument("--save", type=Path)
    parser.add_argument("--load", type=Path, nargs="*")
    parser.add_argument("--gates", type=Path)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--show", type=int, default=0, help="print so many refused clips")
    args = parser.parse_args(arguments)
    if args.load:
        trials = [trial_from_json(json.loads(line)) for path in args.load for line in path.open(encoding="utf-8")]
    else:
        trials = []
        for trial in listen(args, load_language()):
            trials.append(trial)
            if args.save:
                with args.save.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(trial_to_json(trial)) + "\n")
    gates = load_gates(args.gates)
    result = report(trials, gates)
    _print(result, trials, gates, args.show)
    if args.json:
        args.json.write_text(json.dumps(result, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
