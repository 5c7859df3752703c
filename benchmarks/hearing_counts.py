"""Trials and gates in, counts out: right, refused and silently wrong, confusions, joint errors, the trade-off."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

from rapidfuzz.distance import Levenshtein

from benchmarks.hearing_trials import Trial
from handsfree.listeners.agreement import NEURAL, Gate, Gates, agree
from handsfree.listeners.base import Opinion, outcome_key
from handsfree.model import Command, Nothing, Outcome, Readings, Text, Unsure

URGENT = ("smell_of_gas", "unsafe")
TOGETHER = "together"


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
    """right, refused or wrong. Refusing what has no plain meaning is right; accepting it is wrong, unless it is one of
    the values that the very words can be read as ("four twenty eight": 428)."""
    accepted = not isinstance(outcome, Unsure | Nothing)
    if isinstance(truth, Unsure) and is_value(outcome):
        return "right" if outcome_key(outcome) in {outcome_key(a) for a in truth.alternatives} else "wrong"
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
        table[trial.part, trial.condition, TOGETHER].add(verdict(together, trial.truth))
    return table


# ------------------------------------------------------------------------------- by what was at stake


def kind_of(truth: Outcome) -> str:
    """value, command, urgent, ambiguous (words that can be read as several values), or talk; a correction with a value
    is a value."""
    if isinstance(truth, Command) and truth.command in URGENT:
        return "urgent"
    if isinstance(truth, Command) and not truth.readings:
        return "command"
    if isinstance(truth, Unsure) and any(is_value(a) for a in truth.alternatives):
        return "ambiguous"
    return "talk" if isinstance(truth, Unsure | Nothing) else "value"


def heard_as(outcome: Outcome, truth: Outcome) -> str:
    """right; asked (unsure, with the truth among what is offered); refused; wrong_value, wrong_command, wrong_urgent."""
    found = verdict(outcome, truth)
    if found == "wrong":
        return f"wrong_{kind_of(outcome)}"
    if found == "refused" and isinstance(outcome, Unsure):
        keys = {outcome_key(a) for a in outcome.alternatives}
        return "asked" if outcome_key(truth) in keys else "refused"
    return found


STAKES = ("right", "asked", "refused", "wrong_value", "wrong_command", "wrong_urgent")


def stakes(trials: Iterable[Trial], gates: Gates) -> list[dict[str, Any]]:
    """For values, commands, danger and talk in every condition: what the listeners together made of them."""
    counts: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    for trial in trials:
        outcome = agree(trial.opinions, gates).outcome
        counts[kind_of(trial.truth), trial.condition][heard_as(outcome, trial.truth)] += 1
    rows = []
    for (kind, condition), found in sorted(counts.items()):
        total = sum(found.values())
        wrong = sum(n for name, n in found.items() if name.startswith("wrong"))
        row = {"kind": kind, "condition": condition, "clips": total, **{name: found[name] for name in STAKES}}
        rows.append({**row, "wrong_high": round(wilson(wrong, total)[1], 4)})
    return rows


def joint_errors(trials: Iterable[Trial]) -> list[dict[str, Any]]:
    """How often both neural listeners hold the same wrong value or command likeliest, whatever the margins; beside it
    how often that would be if they erred independently and always in the same way."""
    counts: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    for trial in trials:
        pair = [single(o) for o in trial.opinions if o.listener in NEURAL]
        if len(pair) < 2 or kind_of(trial.truth) in ("talk", "ambiguous"):
            continue
        found = counts[kind_of(trial.truth), trial.condition]
        wrong = [verdict(o, trial.truth) == "wrong" for o in pair]
        found["clips"] += 1
        found["first"] += wrong[0]
        found["second"] += wrong[1]
        found["both"] += all(wrong)
        found["same"] += all(wrong) and outcome_key(pair[0]) == outcome_key(pair[1])
    rows = []
    for (kind, condition), found in sorted(counts.items()):
        clips = found["clips"]
        low, high = wilson(found["same"], clips)
        chance = found["first"] * found["second"] / clips
        row = {"kind": kind, "condition": condition, "clips": clips, "both_wrong": found["both"]}
        row |= {"same_wrong": found["same"], "same_low": round(low, 4), "same_high": round(high, 4)}
        rows.append({**row, "both_if_independent": round(chance, 1)})
    return rows


# ---------------------------------------------------------------------------------------- confusions

ZEROS = frozenset(("zero", "oh", "o", "nought"))
DIGITS = ZEROS | {"one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "double", "triple", "treble"}
TENS = frozenset(("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety", "hundred", "thousand"))


def _stem(word: str) -> str:
    for ending in ("teen", "ty"):
        if word.endswith(ending):
            return word.removesuffix(ending).replace("for", "four").replace("fouru", "four")
    return ""


def _are_teen_and_ten(said: Sequence[str], heard: Sequence[str]) -> bool:
    return any(
        a.endswith("teen") != b.endswith("teen") and _stem(a) and _stem(a) == _stem(b)
        for a, b in zip(said, heard, strict=False)
    )


def _words(*wanted: str) -> Callable[[Sequence[str], Sequence[str]], bool]:
    return lambda said, heard: bool({*said, *heard} & set(wanted))


def _is_count_of_digits(said: Sequence[str], heard: Sequence[str]) -> bool:
    both = [*said, *heard]
    return len(said) != len(heard) and bool(both) and all(w in DIGITS for w in both)


CONFUSIONS: Mapping[str, Callable[[Sequence[str], Sequence[str]], bool]] = {
    "teen / ten": _are_teen_and_ten,
    "flow / flue": lambda said, heard: {*said, *heard} >= {"flow", "flue"},
    "CO / CO2 / O2": lambda said, heard: "o" in {*said, *heard} or "c" in {*said, *heard},
    "point": _words("point"),
    "oh / o two": lambda said, heard: "oh" in {*said, *heard} and "two" in {*said, *heard},
    "digit dropped or added": _is_count_of_digits,
    "digit for digit": lambda said, heard: bool(said) and bool(heard) and all(w in DIGITS for w in [*said, *heard]),
    "hundred, thousand": _words("hundred", "thousand"),
    "other number": lambda said, heard: any(w in DIGITS | TENS or _stem(w) for w in [*said, *heard]),
    "other words": lambda said, heard: True,
}
"""Class -> whether a difference of words belongs to it; the first that fits counts."""
EXPOSED: Mapping[str, Callable[[Sequence[str]], bool]] = {
    "teen / ten": lambda said: any(_stem(w) for w in said),
    "flow / flue": lambda said: bool({"flow", "flue"} & set(said)),
    "CO / CO2 / O2": lambda said: "o" in said,
    "point": lambda said: "point" in said,
    "oh / o two": lambda said: "oh" in said,
    "digit dropped or added": lambda said: sum(w in DIGITS for w in said) > 2,
    "digit for digit": lambda said: any(w in DIGITS for w in said),
    "hundred, thousand": lambda said: bool({"hundred", "thousand"} & set(said)),
    "other number": lambda said: any(w in DIGITS | TENS for w in said),
    "other words": lambda said: True,
}
"""Class -> whether an utterance could be confused so."""


def differences(said: Sequence[str], heard: Sequence[str]) -> list[tuple[list[str], list[str]]]:
    """Where two word sequences differ: the stretches of both."""
    return [
        (list(said[op.src_start : op.src_end]), list(heard[op.dest_start : op.dest_end]))
        for op in Levenshtein.opcodes(said, heard)
        if op.tag != "equal"
    ]


def confusion_class(said: Sequence[str], heard: Sequence[str]) -> str:
    """The class of one difference."""
    return next(name for name, fits in CONFUSIONS.items() if fits(said, heard))


def _heard(trial: Trial, gates: Gates) -> list[tuple[str, str, Outcome]]:
    heard = [(o.listener, o.values[0].words, single(o)) for o in trial.opinions if o.values and not o.refused]
    agreed = agree(trial.opinions, gates)
    return [*heard, (TOGETHER, agreed.words, agreed.outcome)]


def confusion_table(trials: Iterable[Trial], gates: Gates) -> list[dict[str, Any]]:
    """Class of confusion -> utterances that could be confused so, and how often each listener, and all together, were
    wrong in that way; and the pair that did it most often."""
    exposed: Counter[str] = Counter()
    wrong: dict[str, Counter[str]] = defaultdict(Counter)
    pairs: dict[str, Counter[str]] = defaultdict(Counter)
    for trial in trials:
        if kind_of(trial.truth) in ("talk", "ambiguous"):
            continue
        said = trial.transcript.split()
        exposed.update(name for name, could in EXPOSED.items() if could(said))
        for who, words, outcome in _heard(trial, gates):
            if verdict(outcome, trial.truth) != "wrong":
                continue
            for was, became in differences(said, words.split()):
                name = confusion_class(was, became)
                wrong[name][who] += 1
                pairs[name][f"{' '.join(was) or '-'} > {' '.join(became) or '-'}"] += 1
    names = sorted({who for counts in wrong.values() for who in counts} | {TOGETHER})
    return [
        {
            "class": name,
            "could": exposed[name],
            **{who: wrong[name][who] for who in names},
            "most": "; ".join(f"{p} {n}" for p, n in pairs[name].most_common(3)),
        }
        for name in CONFUSIONS
    ]


# ----------------------------------------------------------------------------------------- trade-off


OPEN = Gate(-99.0, -99.0, 99.0, 99.0, 1)
"""Lets everything through that both neural listeners hold likeliest."""


def scaled(gates: Gates, factor: float) -> Gates:
    """All gates for values and commands, this much stricter: margins times the factor, free ratios nearer to -2 nats
    by it."""
    if not factor:
        return with_gates(gates, dict.fromkeys(names_of_gates(), OPEN))
    moved = {}
    for name in names_of_gates():
        gate = getattr(gates, name)
        moved[name] = replace(
            gate,
            margin_each=gate.margin_each * factor,
            margin_sum=gate.margin_sum * factor,
            ratio_each=(gate.ratio_each + 2) / factor - 2,
            ratio_sum=(gate.ratio_sum + 4) / factor - 4,
        )
    return with_gates(gates, moved)


def names_of_gates() -> list[str]:
    """The fields of `Gates` that hold a gate for values or commands."""
    return [f.name for f in fields(Gates) if f.name.startswith(("value", "word", "command"))]


def with_gates(gates: Gates, changed: Mapping[str, Gate]) -> Gates:
    """The same thresholds but for these gates."""
    kept: dict[str, Any] = {f.name: getattr(gates, f.name) for f in fields(gates)}
    return Gates(**{**kept, **changed})


def trade_off(trials: Sequence[Trial], gates: Gates) -> list[dict[str, float]]:
    """Refused against silently wrong, as the gates grow stricter. Factor 1: the gates as they are; 0: none."""
    curve = []
    plain = [t for t in trials if kind_of(t.truth) != "talk"]
    talk = [t for t in trials if kind_of(t.truth) == "talk"]
    for factor in (0.0, 0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0):
        moved = scaled(gates, factor)
        counts, of_talk = Tally(), Tally()
        for trial in plain:
            counts.add(verdict(agree(trial.opinions, moved).outcome, trial.truth))
        for trial in talk:
            of_talk.add(verdict(agree(trial.opinions, moved).outcome, trial.truth))
        row = {"factor": factor, "right": counts.right, "refused": counts.refused, "wrong": counts.wrong}
        curve.append({**row, "talk": of_talk.total, "talk_wrong": of_talk.wrong})
    return curve


# --------------------------------------------------------------------------------------------- speed


def speed(trials: Sequence[Trial]) -> dict[str, Any]:
    """Real-time factors and waiting times. They mean something only where nothing else ran."""
    sound = sum(t.seconds for t in trials)
    waits = sorted(t.waited for t in trials)
    names = sorted({o.listener for t in trials for o in t.opinions})
    work = {n: sum(o.seconds for t in trials for o in t.opinions if o.listener == n) for n in names}
    return {
        "sound_s": round(sound, 1),
        "real_time_factor": {n: round(s / sound, 3) for n, s in work.items()},
        "real_time_factor_together": round(sum(waits) / sound, 3),
        "wait_s": {f"p{q}": round(waits[min(len(waits) * q // 100, len(waits) - 1)], 3) for q in (50, 90, 95, 99)},
    }


def is_value(outcome: Outcome) -> bool:
    """Whether a visit would take it as a value."""
    return isinstance(outcome, Readings | Text) or (isinstance(outcome, Command) and bool(outcome.readings))
