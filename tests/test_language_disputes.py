"""Phrases that can be misunderstood, and what a careful listener makes of each (`language_disputes.txt`)."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from handsfree.language import load_language
from handsfree.language.samples import expectation_of, outcome_line

LANGUAGE = load_language()
TABLE = Path(__file__).with_name("language_disputes.txt")


def groups() -> Iterator[tuple[str, list[tuple[str, str, str]]]]:
    """(heading, rows of words, step, outcome)."""
    for block in TABLE.read_text(encoding="utf-8").split("\n\n")[1:]:
        heading, *lines = block.splitlines()
        rows = (line.split(" | ", 2) for line in lines)
        yield heading.removeprefix("# "), [(words, step, outcome) for words, step, outcome in rows]


GROUPS = dict(groups())


@pytest.mark.parametrize("heading", GROUPS)
def test_what_can_be_disputed_is_asked(heading: str) -> None:
    """A phrase that two listeners could take differently is unsure or nothing; the rest is certain, as it stands there."""
    differing = []
    for words, step, expected in GROUPS[heading]:
        got = outcome_line(LANGUAGE.understand(words, expectation_of(step, LANGUAGE.quantities)))
        if got != expected:
            differing.append((words, step, expected, got))
    assert not differing


def test_the_table_is_large_and_of_both_kinds() -> None:
    """More than a thousand phrases, certain ones and asked ones, under more than twenty headings, none twice."""
    rows = [row for group in GROUPS.values() for row in group]
    assert len(GROUPS) > 20
    assert len(rows) > 1000
    assert len({row[:2] for row in rows}) == len(rows)
    asked = sum(outcome.startswith(("unsure", "nothing")) for _, _, outcome in rows)
    assert 0.3 < asked / len(rows) < 0.9
