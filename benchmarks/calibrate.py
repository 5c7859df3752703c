"""Opinions on tuning material in, gates for a stated rate of silent errors with the fewest refusals out.

    python -m benchmarks.calibrate opinions.jsonl [more.jsonl] [--rate 0.001] [--out gates.toml]

Only utterances on which both neural listeners agree get as far as a gate. For each gate (a value or a command; all, some or
none of the others the same) a few round thresholds are tried. What a threshold lets through wrongly is
not counted but estimated, by a logistic regression over all those utterances: the few that were wrong would otherwise
put every threshold just behind themselves. The speakers are split into halves; what one half chose is counted on the
other. Gates are chosen from all of them in the end, and the counts of the halves say how far to trust that.
"""

from __future__ import annotations

import argparse
import itertools
import zlib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path

import numpy as np
import tomlkit
from numpy.typing import NDArray

from benchmarks.hearing_counts import kind_of, names_of_gates, scaled, verdict, wilson, with_gates
from benchmarks.hearing_trials import Trial, load_trials
from handsfree.listeners.agreement import (
    NEURAL,
    Gate,
    Gates,
    TalkGate,
    agree,
    gate_name,
    is_unwritten,
    load_gates,
    outvoting,
    weakness,
)
from handsfree.listeners.base import FREE_AGREES, Candidate, Opinion, outcome_key
from handsfree.model import Nothing, Unsure

MARGINS = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
"""nats, of both listeners together; each alone must have a quarter of it"""
RATIOS = (0.2, 0.5, 1.0, 2.0, 4.0, 6.0, 10.0, 14.0)
"""nats, of both together; each alone may have three quarters of it"""
CERTAIN = 0.2
"""nats: a free ratio below is that of a listener that writes by itself what the grammar has"""
WORDS = (1, 2, 3)
RIDGE = 0.3
RARE = 0.2
"""Weight of a single foreign word, said alone: tuning material is full of them, and an engineer's day is not."""


@dataclass(frozen=True, slots=True)
class Agreeing:
    """A trial in which both neural listeners hold the same plain outcome likeliest."""

    trial: Trial
    gate: str
    pair: tuple[Opinion, Opinion]
    best: Candidate
    wrong: bool
    weight: float


@dataclass(frozen=True, slots=True)
class Choice:
    """One setting of one gate: what it would refuse, and let through."""

    gate: Gate
    refused: int
    """right ones"""
    wrong: int
    expected: float
    """wrong ones by the regression, weighted"""


def agreeing(trials: Iterable[Trial], gates: Gates) -> list[Agreeing]:
    """The trials that get as far as a gate."""
    open_gates = replace(scaled(gates, 0.0), short=replace(gates.short, words=-1, supported_words=-1))
    found = []
    for trial in trials:
        outcome = agree(trial.opinions, open_gates).outcome
        pair = [o for o in trial.opinions if o.listener in NEURAL and o.values and not o.refused]
        if isinstance(outcome, Unsure | Nothing) or len(pair) < 2 or kind_of(outcome) == "urgent":
            continue
        if outcome_key(pair[0].values[0].outcome) != outcome_key(pair[1].values[0].outcome):
            continue  # outvoted
        best = max((o.values[0] for o in pair), key=lambda v: v.score)
        others = [o for o in trial.opinions if o.listener not in NEURAL]
        wrong = verdict(outcome, trial.truth) == "wrong"
        found.append(
            Agreeing(trial, gate_name(best, others, gates.sounds), (pair[0], pair[1]), best, wrong, weight_of(trial))
        )
    return found


def weight_of(trial: Trial) -> float:
    """How much a trial counts among the errors that are allowed."""
    return RARE if kind_of(trial.truth) == "talk" and len(trial.transcript.split()) == 1 else 1.0


def weight_in(trials: Iterable[Trial]) -> float:
    """All of them together."""
    return sum(weight_of(t) for t in trials)


# ------------------------------------------------------------------------------------- the regression


def features(case: Agreeing) -> list[float]:
    """What the chance of an error may depend on."""
    margins = [min(o.margin, 12.0) for o in case.pair]
    ratios = [float(np.clip(o.free_ratio, -6.0, 14.0)) for o in case.pair]
    written = sum(o.scores.get(FREE_AGREES, 0.0) for o in case.pair)
    words = len(case.best.words.split())
    return [
        1.0,
        sum(margins) / 4,
        min(margins) / 2,
        sum(ratios) / 4,
        max(ratios) / 2,
        written,
        float(max(ratios) < CERTAIN),
        float(words == 1),
        float(words == 2),
        float(case.gate.endswith("supported")),
        float(case.gate.endswith("supported") and words > 1),
        float(case.gate.endswith("doubted")),
        float(case.gate.startswith("command")),
    ]


def regression(cases: Sequence[Agreeing]) -> NDArray[np.float64]:
    """Weights of the features, by Newton's method, with a small penalty on all but the first."""
    x = np.array([features(c) for c in cases])
    y = np.array([float(c.wrong) for c in cases])
    weight = np.array([c.weight for c in cases])
    penalty = np.diag([0.0] + [RIDGE] * (x.shape[1] - 1))
    weights = np.zeros(x.shape[1])
    for _ in range(60):
        chance = 1 / (1 + np.exp(-np.clip(x @ weights, -30, 30)))
        slope = x.T @ (weight * (chance - y)) + penalty @ weights
        curve = (x * (weight * chance * (1 - chance))[:, None]).T @ x + penalty + 1e-9 * np.eye(x.shape[1])
        step = np.linalg.solve(curve, slope)
        weights -= step * min(1.0, 3.0 / (np.abs(step).max() + 1e-12))
        if np.abs(step).max() < 1e-6:
            break
    return weights


def chances(cases: Sequence[Agreeing], weights: NDArray[np.float64]) -> NDArray[np.float64]:
    """How likely each is wrong."""
    if not cases:
        return np.zeros(0)
    return np.asarray(1 / (1 + np.exp(-np.clip(np.array([features(c) for c in cases]) @ weights, -30, 30))))


# ----------------------------------------------------------------------------------------- the search


def settings(name: str) -> list[Gate]:
    """The round thresholds that are tried for a gate."""
    words = WORDS if name.endswith("doubted") else WORDS[:1]
    return [Gate(round(m / 4, 2), m, round(0.75 * r, 2), r, w) for m, r, w in itertools.product(MARGINS, RATIOS, words)]


def choices(cases: Sequence[Agreeing], expected: NDArray[np.float64], name: str, gates: Gates) -> list[Choice]:
    """What every setting of one gate would do with the cases that come to it."""
    mine = [(c, p) for c, p in zip(cases, expected, strict=True) if c.gate == name]
    mine = [(c, p) for c, p in mine if not is_unwritten(c.pair, c.best, c.gate, gates.short)]
    found = []
    for gate in settings(name):
        passed = [(c, p) for c, p in mine if not weakness(c.pair, c.best, gate, gates.short)]
        let_through = sum(not c.wrong for c, _ in passed)
        refused = sum(not c.wrong for c, _ in mine) - let_through
        found.append(Choice(gate, refused, len(passed) - let_through, float(sum(p * c.weight for c, p in passed))))
    return found


def tuned(cases: Sequence[Agreeing], total: float, rate: float, gates: Gates) -> Gates:
    """The gates that refuse the fewest while the expected errors stay within `rate` of all utterances."""
    expected = chances(cases, regression(cases))
    tried = {n: choices(cases, expected, n, gates) for n in names_of_gates() if any(c.gate == n for c in cases)}
    for price in np.geomspace(0.05, 5000, 120):
        chosen = {
            n: min(found, key=lambda c: (c.refused + price * c.expected, -c.gate.ratio_sum))
            for n, found in tried.items()
        }
        if sum(c.expected for c in chosen.values()) <= rate * total:
            break
    return with_gates(gates, {n: c.gate for n, c in chosen.items()})


def expected_rate(cases: Sequence[Agreeing], total: float, gates: Gates) -> float:
    """Silent errors that the regression expects of these gates, as a share of all utterances."""
    return sum(
        float(p) * c.weight
        for c, p in zip(cases, chances(cases, regression(cases)), strict=True)
        if not weakness(c.pair, c.best, getattr(gates, c.gate), gates.short)
        and not is_unwritten(c.pair, c.best, c.gate, gates.short)
    ) / max(total, 1e-9)


def without_others(trials: Iterable[Trial]) -> list[Trial]:
    """As if the two neural listeners were all there is."""
    return [replace(t, opinions=tuple(o for o in t.opinions if o.listener in NEURAL)) for t in trials]


def tuned_on(trials: Sequence[Trial], rate: float, gates: Gates) -> Gates:
    """The gates for both cases, other listeners there or not, each within the rate by itself."""
    for some in (trials, without_others(trials)):
        gates = tuned(agreeing(some, gates), weight_in(some), rate, gates)
    return gates


# ------------------------------------------------------------------------------------------ reporting


def halves(trials: Sequence[Trial]) -> tuple[list[Trial], list[Trial]]:
    """By speaker, so that no voice is in both; each speaker goes to the half that has less of the same part."""
    speakers = sorted(Counter(t.speaker for t in trials).items(), key=lambda s: (-s[1], zlib.crc32(s[0].encode())))
    parts = {s: Counter(t.part for t in trials if t.speaker == s) for s, _ in speakers}
    held: tuple[Counter[str], Counter[str]] = (Counter(), Counter())
    first = set()
    for speaker, _ in speakers:
        weights = [sum(n * half[part] for part, n in parts[speaker].items()) + half.total() / 1e6 for half in held]
        lighter = 0 if weights[0] <= weights[1] else 1
        held[lighter].update(parts[speaker])
        if lighter == 0:
            first.add(speaker)
    return [t for t in trials if t.speaker in first], [t for t in trials if t.speaker not in first]


def counted(trials: Sequence[Trial], gates: Gates) -> str:
    """Refused and wrong of what is for us, and what was made of talk, in words."""
    refused = wrong = plain = values = commands = talk = 0
    for trial in trials:
        outcome = agree(trial.opinions, gates).outcome
        found = verdict(outcome, trial.truth)
        if kind_of(trial.truth) == "talk":
            talk += 1
            values += found == "wrong" and kind_of(outcome) == "value"
            commands += found == "wrong" and kind_of(outcome) != "value"
        else:
            plain += 1
            refused += found == "refused"
            wrong += found == "wrong"
    return (
        f"{plain} for us: refused {refused} ({100 * refused / max(plain, 1):.1f} %), wrong {wrong} (up to "
        f"{100 * wilson(wrong, plain)[1]:.2f} %); {talk} of talk: {values} values, {commands} commands"
    )


def proposal(gates: Gates) -> str:
    """The gates as a file."""
    file = tomlkit.document()
    for field in fields(gates):
        table = tomlkit.table()
        gate = getattr(gates, field.name)
        for number in fields(gate):
            table[number.name] = getattr(gate, number.name)
        file[field.name] = table
    return tomlkit.dumps(file)


def by_gate(cases: Sequence[Agreeing], gates: Gates) -> str:
    """For every gate: how many came to it, how many of them wrong, and what it did."""
    lines = []
    for name in sorted({c.gate for c in cases}):
        mine = [c for c in cases if c.gate == name]
        passed = [
            c
            for c in mine
            if not weakness(c.pair, c.best, getattr(gates, name), gates.short)
            and not is_unwritten(c.pair, c.best, c.gate, gates.short)
        ]
        lines.append(
            f"{name:<18} {len(mine):>5} came, {sum(c.wrong for c in mine):>3} of them wrong; "
            f"let through {len(passed):>5}, {sum(c.wrong for c in passed):>3} of them wrong"
        )
    return "\n".join(lines)


def urgent_table(trials: Sequence[Trial], gates: Gates) -> str:
    """Danger missed, and false alarms, as the free ratio of its gate grows."""
    lines = ["ratio_one  missed  of  false alarms  of"]
    for ratio in (0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0):
        moved = replace(gates, urgent=replace(gates.urgent, ratio_one=ratio))
        counts: Mapping[bool, list[bool]] = {True: [], False: []}
        for trial in trials:
            alarm = kind_of(agree(trial.opinions, moved).outcome) == "urgent"
            counts[kind_of(trial.truth) == "urgent"].append(alarm)
        missed = len(counts[True]) - sum(counts[True])
        lines.append(f"{ratio:>9} {missed:>7} {len(counts[True]):>3} {sum(counts[False]):>13} {len(counts[False]):>4}")
    return "\n".join(lines)


def talk_table(trials: Sequence[Trial], gates: Gates) -> str:
    """Talk that is asked about instead of passed over, and what is for us and passed over, as the talk gate moves."""
    lines = ["ratio_each ratio_sum  talk asked   of  ours passed over   of"]
    for each in (3.0, 6.0, 9.0):
        for both in (8.0, 12.0, 16.0, 24.0):
            moved = replace(gates, talk=TalkGate(each, both))
            asked = lost = talk = 0
            for trial in trials:
                outcome = agree(trial.opinions, moved).outcome
                if kind_of(trial.truth) == "talk":
                    talk += 1
                    asked += isinstance(outcome, Unsure)
                else:
                    lost += isinstance(outcome, Nothing)
            lines.append(f"{each:>10} {both:>9} {asked:>11} {talk:>4} {lost:>17} {len(trials) - talk:>4}")
    return "\n".join(lines)


def outvoted_table(trials: Sequence[Trial], gates: Gates) -> str:
    """Where two differ and others agree with one: what is taken, as the lead and the ratio that it needs move."""
    lines = ["lead ratio  right  wrong   (of those that differ, and others agree with one)"]
    for ratio in (0.0, 1.0, 3.0):
        for lead in (-99.0, 0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0):
            moved = replace(gates, outvoted=replace(gates.outvoted, lead=lead, ratio=ratio))
            counts: Counter[str] = Counter()
            for trial in trials:
                neural = [o for o in trial.opinions if o.listener in NEURAL]
                others = [o for o in trial.opinions if o.listener not in NEURAL]
                if found := outvoting(neural, others, moved):
                    counts[verdict(found.outcome, trial.truth)] += 1
            lines.append(f"{lead:>5} {ratio:>4} {counts['right']:>6} {counts['wrong']:>6}")
    return "\n".join(lines)


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("opinions", type=Path, nargs="+")
    parser.add_argument("--rate", type=float, default=0.001, help="of all utterances, silently wrong")
    parser.add_argument("--gates", type=Path, help="to start from; talk, urgent and short stay as they are there")
    parser.add_argument("--out", type=Path)
    options = parser.parse_args()
    trials, gates = load_trials(options.opinions), load_gates(options.gates)
    cases = agreeing(trials, gates)
    print(f"{len(trials)} utterances of {len({t.speaker for t in trials})} speakers; {len(cases)} come to a gate")
    print("now:     ", counted(trials, gates))
    print(by_gate(cases, gates))
    first, second = halves(trials)
    for name, chosen_on, checked_on in (("first", first, second), ("second", second, first)):
        tried = tuned_on(chosen_on, options.rate, gates)
        print(f"\nchosen on the {name} half: {counted(chosen_on, tried)}")
        print(f"checked on the other:   {counted(checked_on, tried)}")
        print(f"  without the others:   {counted(without_others(checked_on), tried)}")
    print("\nrate, chosen on all")
    for rate in (0.0003, 0.001, 0.002, 0.003, 0.005, 0.01):
        print(f"{rate:>7} {counted(trials, tuned(cases, weight_in(trials), rate, gates))}")
    chosen = tuned_on(trials, options.rate, gates)
    left = expected_rate(cases, weight_in(trials), chosen)
    print(
        f"\nexpected of the gates as they are {expected_rate(cases, weight_in(trials), gates):.5f}, of those proposed {left:.5f}"
    )
    if left > options.rate:
        print(
            "the rate cannot be reached: what is left wrong looks like what is right. The strictest gates are proposed"
        )
    print(f"\nproposed for {options.rate}:", counted(trials, chosen))
    print(by_gate([*cases, *agreeing(without_others(trials), gates)], chosen))
    print("\n" + urgent_table(trials, gates))
    print("\n" + talk_table(trials, gates))
    print("\n" + outvoted_table(trials, gates))
    if options.out:
        options.out.write_text(proposal(chosen), encoding="utf-8")


if __name__ == "__main__":
    main()
