"""What every listener offers: a segment and an expectation in, an opinion out."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Protocol

from handsfree.model import Expectation, ListenerReport, Nothing, Outcome, Segment, outcome_to_json

FREE_AGREES = "free_agrees"
"""Name of the score that is 1 when the free words mean the best value too, 0 when they do not."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One value that a listener holds possible."""

    words: str
    """the best words for it, lower case"""
    outcome: Outcome
    """what `Language.understand` makes of those words; never Nothing"""
    score: float
    """natural logarithm of the probability of all spellings of this value together, by its sound alone"""
    plausibility: float = 0.0
    """nats, 0 or less: how likely it is that this is said in answer to the step, as `Language.plausibility`"""

    @property
    def weight(self) -> float:
        """Sound and sense together: what values are compared by."""
        return self.score + self.plausibility


@dataclass(frozen=True, slots=True)
class Opinion:
    """What one listener made of a segment, with everything that the agreement needs."""

    listener: str
    values: tuple[Candidate, ...]
    """distinct values, best first; empty when nothing in the grammar fits at all"""
    free_words: str = ""
    """what the listener hears without a grammar, for the record"""
    free_score: float = 0.0
    """natural logarithm of the probability of `free_words`"""
    refused: bool = False
    """the listener itself says that this is no speech for us ([unk] of a closed grammar, an empty result)"""
    scores: Mapping[str, float] = field(default_factory=dict)
    """further numbers for the record"""
    seconds: float = 0.0
    """s of work"""

    @property
    def margin(self) -> float:
        """Nats between the best value and the next different one; 99 when there is no other."""
        if len(self.values) < 2:
            return 99.0
        return self.values[0].weight - self.values[1].weight

    @property
    def free_ratio(self) -> float:
        """Nats by which free decoding beats the best value, by sound alone; negative when the value fits better."""
        return self.free_score - self.values[0].score if self.values else 99.0

    def weight_of(self, key: str) -> float | None:
        """The weight of the value with this `outcome_key`, or None when it is not among the values."""
        return next((v.weight for v in self.values if outcome_key(v.outcome) == key), None)

    def report(self) -> ListenerReport:
        """The opinion as it travels on and is kept."""
        best = self.values[0] if self.values and not self.refused else None
        numbers = dict(self.scores)
        if self.values and not self.refused:
            numbers |= {"margin": round(self.margin, 3), "free_ratio": round(self.free_ratio, 3)}
        return ListenerReport(
            listener=self.listener,
            words=best.words if best else self.free_words,
            outcome=best.outcome if best else Nothing("not in the grammar"),
            scores=numbers,
            seconds=round(self.seconds, 4),
        )


class Listener(Protocol):
    """One way of hearing. Listeners are used from one thread at a time."""

    name: str

    def listen(self, segment: Segment, expectation: Expectation) -> Opinion:
        """What this listener makes of the segment. Work is bounded by the segment's length; never raises for any
        samples."""
        ...

    def prepare(self, expectation: Expectation) -> None:
        """Compile what `listen` will need, so that the first utterance is not slower than the next."""
        ...


class WordAutomaton(Protocol):
    """The part of `Language.automaton` that listeners use. States are hashable."""

    start: Any

    def arcs(self, state: Any) -> Mapping[str, Any]: ...

    def final(self, state: Any) -> bool: ...


class Words(Protocol):
    """The part of `Language` that listeners use."""

    @property
    def spellings(self) -> Mapping[tuple[str, ...], tuple[str, ...]]: ...

    def automaton(self, expectation: Expectation) -> WordAutomaton: ...

    def understand(self, words: str, expectation: Expectation = ...) -> Outcome: ...

    def plausibility(self, outcome: Outcome, expectation: Expectation) -> float: ...

    def vocabulary(self, expectation: Expectation) -> Sequence[str]: ...

    def sample(self, rng: Any, expectation: Expectation) -> tuple[str, Outcome]: ...

    def say_number(self, value: Decimal) -> str: ...


def outcome_key(outcome: Outcome) -> str:
    """Equal for outcomes that mean the same to a visit: 2.5 and 2.50 bar are one value, reasons do not count."""
    return json.dumps(_meaning(outcome_to_json(outcome)), sort_keys=True)


def _meaning(row: Any) -> Any:
    if isinstance(row, dict):
        kept = {k: _meaning(v) for k, v in row.items() if k not in {"reason", "spoken_value", "spoken_unit"}}
        if "value" in kept and "unit" in kept:
            kept["value"] = format(Decimal(kept["value"]).normalize(), "f")
        return kept
    if isinstance(row, list):
        return [_meaning(v) for v in row]
    return row
