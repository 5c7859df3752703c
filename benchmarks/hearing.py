"""Recordings with their words in; right, refused and silently wrong out, for each listener and for all together.

    python -m benchmarks.hearing --manifest M.tsv [--expect auto] [--conditions clean pink:20 fan:10] [--jobs 2]
        [--minutes 10] [--save opinions.jsonl] [--json out.json] [--svg curve.svg]
    python -m benchmarks.hearing --load opinions.jsonl [more.jsonl]
    python -m benchmarks.hearing --manifest M.tsv --growth 2000

The manifest has the columns path and transcript (spoken words), and optionally expect (a kind of answer, a quantity, or
an item of a plan), part, and speaker. The truth of a clip is what `Language.understand` makes of its transcript for that
step; a transcript that means nothing to it, and every clip of a part called talk, near or chatter, is talk: whatever is
accepted there is wrong. Conditions stand in `benchmarks/conditions.py`. Clips come in a random order that is always the
same, so that what was done when the minutes were over is a fair sample. `--save` keeps every listener's opinion, so that
thresholds can be tried without listening again; what the file holds already is not listened to again.
"""

from __future__ import annotations

import argparse
import json
import random
import resource
import sys
from collections.abc import Sequence
from pathlib import Path

from benchmarks.hearing_report import drawn, not_right, printed, report
from benchmarks.hearing_trials import (
    Clip,
    Trial,
    listen,
    load_trials,
    read_manifest,
    trial_to_json,
    truth_of,
    try_clip,
)
from benchmarks.steps import expectation_named
from handsfree.language import load_language
from handsfree.listeners.agreement import load_gates
from handsfree.listeners.hearing import open_hearing
from handsfree.model import outcome_to_json
from handsfree.settings import default_settings

ORDER = 20


def chosen_clips(args: argparse.Namespace) -> list[Clip]:
    """The clips that the arguments ask for."""
    language = load_language()
    clips = [c for m in args.manifest for c in read_manifest(m, args.expect, language)]
    clips = [c for c in clips if c.name.startswith(tuple(args.folder))]
    if args.kind:
        clips = [c for c in clips if outcome_to_json(truth_of(c, language))["outcome"] == args.kind]
    return clips[args.skip :: args.every]


def listened(args: argparse.Namespace) -> list[Trial]:
    """Listen to what was asked for; what `--save` holds already comes from there."""
    work = [(clip, condition) for clip in chosen_clips(args) for condition in args.conditions]
    random.Random(ORDER).shuffle(work)
    trials = load_trials([args.save]) if args.save and args.save.exists() else []
    done = {(t.path, t.condition) for t in trials}
    work = [w for w in work if (w[0].name, w[1]) not in done]
    for trial in listen(work, args.listener, args.noise, args.jobs, args.minutes):
        trials.append(trial)
        if args.save:
            with args.save.open("a", encoding="utf-8") as file:
                file.write(json.dumps(trial_to_json(trial)) + "\n")
    return trials


def memory_growth(args: argparse.Namespace) -> list[tuple[int, float]]:
    """Utterances heard and MB held, as the utterances go on; clips, conditions and steps alternate. As in a visit, each
    step is prepared before its answer."""
    language = load_language()
    clips = chosen_clips(args)
    hearing = open_hearing(language, default_settings(), args.listener)
    held = []
    for number in range(args.growth + 1):
        if number % max(1, args.growth // 20) == 0:
            held.append((number, round(_memory_mb(), 1)))
            print(*held[-1], flush=True)
        clip, condition = clips[number % len(clips)], args.conditions[number % len(args.conditions)]
        hearing.prepare(expectation_named(clip.expect, language))
        trial = try_clip(hearing, language, clip, condition, args.noise)
        if args.save:
            with args.save.open("a", encoding="utf-8") as file:
                file.write(json.dumps(trial_to_json(trial)) + "\n")
    hearing.close()
    return held


def _memory_mb() -> float:
    """MB of this process now; the most that it ever held where the system does not tell."""
    status = Path("/proc/self/status")
    if status.exists():
        line = next(x for x in status.read_text().splitlines() if x.startswith("VmRSS"))
        return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--manifest", type=Path, nargs="*", default=[])
    parser.add_argument("--folder", nargs="*", default=[""], help="only paths that start so")
    parser.add_argument("--expect", default="auto", help="for manifests without that column")
    parser.add_argument("--kind", help="only clips whose truth is: reading, command, text, unsure, nothing")
    parser.add_argument("--every", type=int, default=1, help="only every Nth clip")
    parser.add_argument("--skip", type=int, default=0, help="leave out so many clips at the start")
    parser.add_argument("--conditions", nargs="*", default=["clean"])
    parser.add_argument("--noise", type=Path, help="folder of recorded noise, for rec:N")
    parser.add_argument("--listener", nargs="*")
    parser.add_argument("--jobs", type=int, default=1, help="processes; times are told for one alone")
    parser.add_argument("--minutes", type=float, help="begin nothing new after so long")
    parser.add_argument("--save", type=Path)
    parser.add_argument("--load", type=Path, nargs="*")
    parser.add_argument("--gates", type=Path)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--svg", type=Path)
    parser.add_argument("--show", type=int, default=0, help="print so many refused clips; wrong ones always")
    parser.add_argument("--growth", type=int, help="hear so many utterances and tell the memory held")
    return parser


def main(arguments: Sequence[str]) -> None:
    """The command line."""
    args = _parser().parse_args(arguments)
    if args.growth:
        memory_growth(args)
        return
    trials = load_trials(args.load) if args.load else listened(args)
    gates = load_gates(args.gates)
    result = report(trials, gates)
    if args.load or args.jobs > 1:
        result["speed"]["note"] = "not measured alone: no figures of the product"
    else:
        result["speed"]["peak_memory_mb"] = round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
    print(printed(result))
    print(not_right(trials, gates, args.show))
    if args.json:
        args.json.write_text(json.dumps(result, indent=1), encoding="utf-8")
    if args.svg:
        args.svg.write_text(drawn(result["trade_off"], "Refused against silently wrong"), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
