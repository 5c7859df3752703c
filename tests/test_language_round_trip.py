"""Values said in every way come back as themselves or are asked; nonsense never comes to a value."""

from __future__ import annotations

import importlib.util
import random
import sys
from collections import Counter
from pathlib import Path
from types import ModuleType

from handsfree.language import load_language
from handsfree.model import Command, Expectation, Readings

PAIRS = 20_000
NONSENSE = 10_000


def load_benchmark() -> ModuleType:
    path = Path(__file__).parents[1] / "benchmarks" / "round_trip.py"
    spec = importlib.util.spec_from_file_location("round_trip", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["round_trip"] = module
    spec.loader.exec_module(module)
    return module


ROUND_TRIP = load_benchmark()
LANGUAGE = load_language()


def test_no_value_comes_back_wrong() -> None:
    """Of 20,000 utterances none comes to another value, quantity, unit or qualifier, and every plain one is certain."""
    tally: Counter[str] = Counter()
    rng = random.Random(2026)
    for _, case in zip(range(PAIRS), ROUND_TRIP.cases(LANGUAGE, rng), strict=False):
        outcome = LANGUAGE.understand(case.words, case.expectation)
        found = ROUND_TRIP.verdict(case, outcome)
        assert found != "wrong", (case, outcome)
        assert found == "right" or not case.plain, (case, outcome)
        tally[found] += 1
    assert tally["right"] > 0.85 * PAIRS
    assert tally["refused"] < 0.01 * PAIRS


def test_nonsense_holds_no_value() -> None:
    """Letters, signs, other scripts and talk without number words never come to a value."""
    rng = random.Random(7)
    for _ in range(NONSENSE):
        text = ROUND_TRIP.nonsense(rng)
        expectation = Expectation("quantity", "co") if rng.random() < 0.5 else Expectation()
        outcome = LANGUAGE.understand(text, expectation)
        assert not isinstance(outcome, Readings), text
        assert not (isinstance(outcome, Command) and outcome.readings), text
