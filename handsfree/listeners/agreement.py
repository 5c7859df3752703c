"""The opinions of several listeners in, the one outcome that they support together out: value by value, never word by
word."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from handsfree.errors import BadInput
from handsfree.listeners.base import FREE_AGREES, Candidate, Opinion, outcome_key
from handsfree.model import Command, Nothing, Outcome, Readings, Text, Unsure

URGENT = frozenset({"smell_of_gas", "unsafe"})
NEURAL = frozenset({"moonshine", "whisper"})
"""The listeners that must agree. They are independent: other architecture, other training data, other tokens."""
WEIGHER = "phones"
"""Weighs the values of the others by their sounds."""


@dataclass(frozen=True, slots=True)
class Gate:
    """What both listeners must show for one kind of outcome, in nats."""

    margin_each: float
    margin_sum: float
    ratio_each: float
    ratio_sum: float
    least_words: float
    """number of words below which it is asked whatever the margins"""


@dataclass(frozen=True, slots=True)
class TalkGate:
    """From where on an utterance is not for us."""

    ratio_each: float
    ratio_sum: float


@dataclass(frozen=True, slots=True)
class UrgentGate:
    """For smell_of_gas and unsafe."""

    ratio_one: float
    """nats: free ratio, at most, with which one listener is enough"""
    asked_words: tuple[str, ...]
    """what is not understood is asked about as an emergency where a listener wrote one of these without the grammar"""


@dataclass(frozen=True, slots=True)
class ShortGate:
    """For values and commands of few words, which much that is not ours sounds like ("tenth", "twelfth", "cue", "on")."""

    words: float
    """up to so many words, at least one listener must have written the same without the grammar too"""
    supported_words: float
    """up to so many, where all others heard the same"""
    command_ratio: float
    """nats: a command that neither would have written is taken while both free ratios together are no larger"""
    certain_ratio: float
    """nats: where both free ratios are no larger, the others' other opinion of a single word does not count"""


@dataclass(frozen=True, slots=True)
class OutvotedGate:
    """For two that heard different things where the others that heard one of them heard the same one."""

    lead: float
    """nats by which that value must lead, over both together: the margin of the one, less how far it is behind for the
    other"""
    missing: float
    """nats that it counts as behind where the other did not hold it possible at all"""
    ratio: float
    """nats: free ratio of the one, at most"""
    least_words: float
    """fewer are asked"""


@dataclass(frozen=True, slots=True)
class SoundsGate:
    """From where on the sounds of a value speak for it."""

    ratio: float
    """nats: free ratio of the phones, at most; the words that a listener heard without a grammar fit better beyond it"""


@dataclass(frozen=True, slots=True)
class Gates:
    """All thresholds. The two that must agree are asked for more, the fewer of the others heard the same."""

    value: Gate
    """values of several words: some of the others heard the same, or no others are there"""
    word: Gate
    """values of a single word, which much that is not ours sounds like"""
    command: Gate
    value_supported: Gate
    """all others heard the same"""
    word_supported: Gate
    command_supported: Gate
    value_doubted: Gate
    """all others heard something else, or words that are not ours"""
    value_opposed: Gate
    """all others heard one and the same other value"""
    word_doubted: Gate
    command_doubted: Gate
    talk: TalkGate
    urgent: UrgentGate
    short: ShortGate
    outvoted: OutvotedGate
    sounds: SoundsGate


@dataclass(frozen=True, slots=True)
class Agreed:
    """What the listeners support together."""

    words: str
    outcome: Outcome
    reason: str = ""


def load_gates(path: Path | None = None) -> Gates:
    """The thresholds of a file; those that come with the program by default.

    Raises:
        BadInput: the file does not read, or a threshold is missing, unknown or no number.
    """
    path = path or Path(__file__).with_name("gates.toml")
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, tomllib.TOMLDecodeError) as error:
        raise BadInput(f"{path}: {error}", "mend the file") from None
    others = {
        "talk": TalkGate,
        "urgent": UrgentGate,
        "short": ShortGate,
        "outvoted": OutvotedGate,
        "sounds": SoundsGate,
    }
    kinds: dict[str, Any] = {f.name: others.get(f.name, Gate) for f in fields(Gates)}
    built: dict[str, Any] = {}
    for name, kind in kinds.items():
        row = table.get(name, {})
        wanted = {f.name for f in fields(kind)}
        if set(row) != wanted or not all(_is_threshold(k, v) for k, v in row.items()):
            raise BadInput(f"{path}: table [{name}] needs the numbers {', '.join(sorted(wanted))}", "mend the file")
        built[name] = kind(**{k: tuple(v) if k in _WORD_LISTS else float(v) for k, v in row.items()})
    return Gates(**built)


_WORD_LISTS = ("asked_words",)


def _is_threshold(name: str, value: object) -> bool:
    if name in _WORD_LISTS:
        return isinstance(value, list) and all(isinstance(word, str) for word in value)
    return isinstance(value, int | float)


def agree(opinions: Sequence[Opinion], gates: Gates, *, alone: bool = False) -> Agreed:
    """Join the opinions on one utterance; what is not clear and may be an emergency has that among its alternatives.

    Args:
        opinions: of all listeners that were asked and answered.
        gates: thresholds.
        alone: True accepts a single neural listener, with twice the margin. For comparisons; never the default.
    """
    agreed = _agreed(opinions, gates, alone)
    return _with_alarm(agreed, opinions, gates.urgent) if isinstance(agreed.outcome, Unsure) else agreed


def _agreed(opinions: Sequence[Opinion], gates: Gates, alone: bool) -> Agreed:
    neural = [o for o in opinions if o.listener in NEURAL]
    others = [o for o in opinions if o.listener not in NEURAL]
    urgent = _urgent(neural, gates.urgent)
    if urgent is not None:
        return Agreed(urgent.words, urgent.outcome)
    speaking = [o for o in neural if o.values and not o.refused]
    if not speaking:
        return _without_neural(neural, others)
    if _is_talk(neural, gates.talk):
        return Agreed(speaking[0].free_words.lower(), Nothing("that was not for me"), "that was not for me")
    if len(neural) < 2:
        return _alone(neural[0], gates, alone)
    if settled := outvoting(neural, others, gates):
        return Agreed(settled.words, settled.outcome)
    if len(speaking) < 2:
        return _doubt(speaking, "only one of the two listeners understood it")
    first, second = speaking[0], speaking[1]
    if outcome_key(first.values[0].outcome) != outcome_key(second.values[0].outcome):
        return _doubt(speaking, "the listeners heard different things")
    best = max((first.values[0], second.values[0]), key=lambda v: v.score)
    if isinstance(best.outcome, Unsure | Nothing):
        return Agreed(best.words, best.outcome, best.outcome.reason)
    name = gate_name(best, others, gates.sounds)
    gate: Gate = getattr(gates, name)
    if weak := weakness((first, second), best, gate, gates.short):
        return _doubt([*speaking, *(o for o in others if o.values and not o.refused)], weak)
    if is_unwritten((first, second), best, name, gates.short):
        return _doubt(speaking, "it was short, and could be another word")
    return Agreed(best.words, best.outcome)


def _urgent(neural: Iterable[Opinion], gate: UrgentGate) -> Candidate | None:
    for opinion in neural:
        if opinion.refused or not opinion.values or opinion.free_ratio > gate.ratio_one:
            continue
        best = opinion.values[0]
        if isinstance(best.outcome, Command) and best.outcome.command in URGENT:
            return best
    return None


def _with_alarm(agreed: Agreed, opinions: Iterable[Opinion], gate: UrgentGate) -> Agreed:
    """The same, with the emergency that any opinion speaks of first among the alternatives."""
    assert isinstance(agreed.outcome, Unsure)
    for opinion in opinions:
        best = opinion.values[0].outcome if opinion.values and not opinion.refused else None
        if not (isinstance(best, Command) and best.command in URGENT):
            spoken = set(opinion.free_words.lower().split())
            best = Command("smell_of_gas") if spoken & set(gate.asked_words) else None
        if best is not None:
            others = tuple(a for a in agreed.outcome.alternatives if a != best)
            return replace(agreed, outcome=replace(agreed.outcome, alternatives=(best, *others)))
    return agreed


def _without_neural(neural: Sequence[Opinion], others: Sequence[Opinion]) -> Agreed:
    heard = [o for o in others if o.values and not o.refused]
    if neural or not heard:
        words = neural[0].free_words.lower() if neural else ""
        return Agreed(words, Nothing("no words for me"), "no words for me")
    return _doubt(heard, "only one listener is there")


def _is_talk(neural: Sequence[Opinion], gate: TalkGate) -> bool:
    ratios = [o.free_ratio if not o.refused else 99.0 for o in neural]
    return min(ratios) > gate.ratio_each or sum(ratios) > gate.ratio_sum


def _alone(opinion: Opinion, gates: Gates, allowed: bool) -> Agreed:
    best = opinion.values[0]
    if isinstance(best.outcome, Unsure | Nothing):
        return Agreed(best.words, best.outcome, best.outcome.reason)
    gate: Gate = getattr(gates, gate_name(best, (), gates.sounds))
    if not allowed:
        return _doubt([opinion], "only one listener is there")
    if opinion.margin < 2 * gate.margin_each or opinion.free_ratio > gate.ratio_each:
        return _doubt([opinion], "I am not sure enough")
    return Agreed(best.words, best.outcome)


def outvoting(neural: Sequence[Opinion], others: Sequence[Opinion], gates: Gates) -> Candidate | None:
    """The value of several words that one of the two and some of the others heard, where it leads clearly over both
    together; None where the two agree, no value does, or another of the others is for the value of the other."""
    if len(neural) != 2:
        return None
    tops = [outcome_key(o.values[0].outcome) if o.values and not o.refused else "" for o in neural]
    votes = [{o.listener for o in others if top and hears(o, top, gates.sounds)} for top in tops]
    if tops[0] == tops[1] or bool(votes[0]) == bool(votes[1]):
        return None
    at = 0 if votes[0] else 1
    one, other, gate = neural[at], neural[1 - at], gates.outvoted
    best = one.values[0]
    if isinstance(best.outcome, Unsure | Nothing) or one.free_ratio > gate.ratio:
        return None
    # Of a value without a runner-up nothing tells how far it leads.
    if len(best.words.split()) < gate.least_words or len(one.values) < 2:
        return None
    held = other.weight_of(tops[at]) if tops[1 - at] else None
    behind = gate.missing if held is None else min(gate.missing, other.values[0].weight - held)
    return best if one.margin - behind >= gate.lead else None


def hears(other: Opinion, wanted: str, gate: SoundsGate) -> bool:
    """Whether a further opinion is for the outcome with this key."""
    if not other.values or other.refused or outcome_key(other.values[0].outcome) != wanted:
        return False
    return other.listener != WEIGHER or other.free_ratio <= gate.ratio


def gate_name(best: Candidate, others: Sequence[Opinion], gate: SoundsGate) -> str:
    """The field of `Gates` that fits what the others say about the value of the two."""
    kind = "word" if len(best.words.split()) == 1 else "value"
    if _is_bare_command(best.outcome):
        kind = "command"
    wanted = outcome_key(best.outcome)
    votes = [hears(o, wanted, gate) for o in others]
    if votes and all(votes):
        return f"{kind}_supported"
    if not votes or any(votes):
        return kind
    heard = {outcome_key(o.values[0].outcome) if o.values and not o.refused else o.listener for o in others}
    return "value_opposed" if kind == "value" and len(heard - {wanted}) == 1 < len(others) else f"{kind}_doubted"


def is_unwritten(pair: tuple[Opinion, Opinion], best: Candidate, name: str, gate: ShortGate) -> bool:
    """Whether something short stands on the grammar alone: neither listener would have written it on its own. `name`
    as from `gate_name`."""
    if len(best.words.split()) > (gate.supported_words if name.endswith("supported") else gate.words):
        return False
    if _is_bare_command(best.outcome) and sum(o.free_ratio for o in pair) <= gate.command_ratio:
        return False
    return not any(o.scores.get(FREE_AGREES, 1.0) for o in pair)


def weakness(pair: tuple[Opinion, Opinion], best: Candidate, gate: Gate, short: ShortGate) -> str:
    """Why what both heard is not enough, or an empty text."""
    margins = [o.margin for o in pair]
    ratios = [o.free_ratio for o in pair]
    if min(margins) < gate.margin_each or sum(margins) < gate.margin_sum:
        return "I am not sure enough"
    if max(ratios) > gate.ratio_each or sum(ratios) > gate.ratio_sum:
        return "there was more in it than I understood"
    if len(best.words.split()) < gate.least_words and max(ratios) > short.certain_ratio:
        return "it was short, and one listener heard something else"
    return ""


def _is_bare_command(outcome: Outcome) -> bool:
    return isinstance(outcome, Command) and not outcome.readings


def _doubt(opinions: Sequence[Opinion], reason: str) -> Agreed:
    """Unsure, with what each listener holds likeliest; behind them the runner-up where a single value is left."""
    alternatives: dict[str, Readings | Command | Text] = {}
    ranked = [v for rank in range(2) for o in opinions for v in o.values[rank : rank + 1]]
    for candidate in ranked:
        if len(alternatives) >= 2 and candidate not in [o.values[0] for o in opinions if o.values]:
            break
        plain = candidate.outcome.alternatives if isinstance(candidate.outcome, Unsure) else (candidate.outcome,)
        for outcome in plain:
            if isinstance(outcome, Readings | Command | Text):
                alternatives.setdefault(outcome_key(outcome), outcome)
    words = max((o.values[0] for o in opinions if o.values), key=lambda v: v.score).words
    return Agreed(words, Unsure(tuple(alternatives.values()), reason), reason)
