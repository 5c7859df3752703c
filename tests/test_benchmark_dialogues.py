"""The benchmark of dialogues: shared out, merged or held at once, the same visits give the same counts."""

from __future__ import annotations

from collections import Counter

from benchmarks import dialogues


def test_parts_add_up_to_the_whole() -> None:
    """Visits 0 to 5 in one part, in two, or out of a file give the same counts, and nothing wrong among them."""
    plans = ["tightness_test", "short_commissioning"]
    whole = dialogues.merged([dialogues.some((0, 6, plans, float("inf")))])
    halves = dialogues.merged(
        [dialogues.some((0, 2, plans, float("inf"))), dialogues.some((2, 6, plans, float("inf")))]
    )
    assert whole == halves
    row = dialogues.report(whole)
    assert dialogues.merged([{**row["plans"], "wrong": row["wrong"]}])["tightness_test"] == whole["tightness_test"]
    assert row["total"]["dialogues"] == 6
    assert row["wrong"] == {}


def test_what_is_wrong_is_counted_and_leaves_no_bound() -> None:
    """A finding of the watch stands in the result by its visit, and no bound is claimed beside it."""
    row = dialogues.report({"service": Counter(saved=10, dialogues=1), "wrong": Counter({"visit 3: saved": 1})})
    assert row["wrong"] == {"visit 3: saved": 1}
    assert row["bound_95_per_saved"] is None


def test_no_visit_is_begun_after_the_time() -> None:
    """With its time over, a part holds nothing."""
    assert dialogues.some((0, 6, ["tightness_test"], 0.0)) == {}
