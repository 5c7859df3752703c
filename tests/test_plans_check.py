"""The linter: good plans pass, every seeded mistake is found on its own line."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from handsfree.plans import example_job, plan_names
from handsfree.plans.check import Knowledge, check_file, the_knowledge
from handsfree.plans.read import plan_folder
from handsfree.plans.sample_plan import SAMPLE_PLAN


@cache
def knowledge() -> Knowledge:
    return the_knowledge()


def errors(path: Path) -> list[int]:
    return [r.line for r in check_file(path, knowledge()) if r.weight == "error"]


@pytest.mark.parametrize("name", plan_names())
def test_the_plans_that_come_with_the_program_pass(name: str) -> None:
    """Every shipped plan is without errors and without warnings."""
    assert check_file(plan_folder() / f"{name}.toml", knowledge()) == []


def test_the_sample_plan_and_the_example_job_pass(tmp_path: Path) -> None:
    """What an engineer is given to begin with has nothing wrong with it."""
    sample = tmp_path / "sample.toml"
    sample.write_text(SAMPLE_PLAN, encoding="utf-8")
    assert check_file(sample, knowledge()) == []
    assert check_file(example_job(), knowledge()) == []


# --------------------------------------------------------------------------------------- seeded mistakes

Rows = list[str]
Mistake = Callable[[Rows, random.Random], int | None]
"""Changes the lines of a plan; the index of the line that is now wrong, or None when the mistake does not fit this
plan."""


def _lines(rows: Rows, pattern: str) -> list[int]:
    return [i for i, row in enumerate(rows) if re.match(pattern, row)]


def _replace(pattern: str, new: Callable[[str], str]) -> Mistake:
    def change(rows: Rows, rng: random.Random) -> int | None:
        places = _lines(rows, pattern)
        if not places:
            return None
        place = rng.choice(places)
        rows[place] = new(rows[place])
        return place

    return change


def _add_when(condition: str) -> Mistake:
    def change(rows: Rows, rng: random.Random) -> int | None:
        place = rng.choice(_lines(rows, r"prompt ="))
        end = next((i for i in range(place, len(rows)) if rows[i].startswith("[[")), len(rows))
        if any(row.startswith("when =") for row in rows[place:end]):
            return None
        rows[place] += f"\nwhen = {{ {condition} }}"
        return place

    return change


def _misspell_key(rows: Rows, rng: random.Random) -> int | None:
    places = _lines(rows, r"(prompt|say|why|source|outside|limit|mandatory|killer|rests_on|compute|place|title|done) =")
    place = rng.choice(places)
    key = rows[place].split(" =")[0]
    wrong = key[:-1] + "x" if key not in ("say", "prompt", "compute", "place", "title", "done") else None
    if wrong is None:
        return None
    rows[place] = rows[place].replace(key, wrong, 1)
    return place


def _drop(pattern: str, header: str) -> Mistake:
    """Takes a required line out; the table's header is then the line that is wrong."""

    def change(rows: Rows, rng: random.Random) -> int | None:
        places = _lines(rows, pattern)
        if not places:
            return None
        place = rng.choice(places)
        head = max((i for i in _lines(rows, header) if i < place), default=None)
        if head is None or any(re.match(r"\[", r) for r in rows[head + 1 : place]):
            return None
        del rows[place]
        return head

    return change


def _copy_id(rows: Rows, rng: random.Random) -> int | None:
    items = [i + 1 for i in _lines(rows, r"\[\[chunk\.item\]\]") if rows[i + 1].startswith("id =")]
    first, second = sorted(rng.sample(items, 2))
    rows[second] = rows[first]
    return first


MISTAKES: dict[str, Mistake] = {
    "long prompt": _replace(r"prompt =", lambda r: 'prompt = "' + "one " * 13 + '"'),
    "and in a prompt": _replace(r"prompt =", lambda r: 'prompt = "Read the gauge and the meter."'),
    "empty prompt": _replace(r"prompt =", lambda r: 'prompt = ""'),
    "number for a text": _replace(r"(prompt|say) =", lambda r: r.split(" =")[0] + " = 7"),
    "unknown quantity": _replace(
        r"expect = \{ quantity = ", lambda r: re.sub(r'quantity = "\w+"', 'quantity = "co22"', r)
    ),
    "unknown qualifier": _replace(
        r"expect = \{ quantity = (?!.*qualifier)", lambda r: r.replace(" }", ', qualifier = "max" }')
    ),
    "two kinds of answer": _replace(r"expect = \{ quantity", lambda r: r.replace(" }", ', yes_no = "yes" }')),
    "unknown kind of answer": _replace(r"expect = \{ yes_no", lambda r: 'expect = { yesno = "yes" }'),
    "yes_no neither": _replace(r"expect = \{ yes_no", lambda r: 'expect = { yes_no = "maybe" }'),
    "wait of no time": _replace(r"expect = \{ wait_s", lambda r: re.sub(r"wait_s = \d+", "wait_s = 0", r)),
    "unknown trade limit": _replace(r'limit = .*trade = "', lambda r: re.sub(r'trade = "\w+"', 'trade = "nolimit"', r)),
    "limit that says nothing": _replace(r"limit =", lambda r: 'limit = { source = "nobody" }'),
    "limit without source": _replace(r"limit =", lambda r: "limit = { low = 1, high = 2 }"),
    "limit upside down": _replace(r"limit =", lambda r: 'limit = { low = 3, high = 2, source = "x" }'),
    "killer without repeat": lambda rows, rng: _without_once(rows, rng),
    "flag as text": _replace(r"killer = true", lambda r: 'killer = "true"'),
    "rests on nothing": _replace(r"rests_on =", lambda r: 'rests_on = ["nobody"]'),
    "condition on a later item": _add_when('"answer.nobody" = "yes"'),
    "condition without a head": _add_when('nobody = "yes"'),
    "condition on a wrong gas": _add_when('gas = "oil"'),
    "unknown computation": _replace(r"compute =", lambda r: 'compute = "gas_rat"'),
    "unknown key of a computation": _replace(r"given =", lambda r: 'given = { volume = "1" }'),
    "result of an unknown item": _replace(
        r"given = .*item\.", lambda r: re.sub(r"item\.\w+", "item.nobody", r, count=1)
    ),
    "question without comparison": _replace(r"require =", lambda r: 'require = "item.a is item.b"'),
    "question about nobody": _replace(r"items =", lambda r: 'items = ["nobody"]'),
    "unknown way": _replace(r"place =", lambda r: r + '\nway = "do-read"'),
    "unknown key": _misspell_key,
    "no place": _drop(r"place =", r"\[\[chunk\]\]"),
    "no prompt": _drop(r"prompt =", r"\[\[chunk\.item\]\]"),
    "no say": _drop(r"say =", r"\[\[chunk\.item\]\]|\[\[result\]\]"),
    "no expect": _drop(r"expect =", r"\[\[chunk\.item\]\]"),
    "no source": _drop(r"source =", r"\[\[chunk\.item\]\]|\[\[result\]\]|\[\[question\]\]"),
    "same id twice": _copy_id,
    "unsafe without an emergency": _drop(r"emergency =", r"\[\[chunk\.item\]\]|\[\[result\]\]"),
}
_ADDED_BELOW = {
    "condition on a later item": 1,
    "condition without a head": 1,
    "condition on a wrong gas": 1,
    "unknown way": 1,
}


def _without_once(rows: Rows, rng: random.Random) -> int | None:
    killers = [i for i in _lines(rows, r"killer = true") if f'repeats = "{_id_above(rows, i)}"' not in rows]
    if not killers:
        return None
    place = rng.choice(killers)
    end = next((i for i in range(place, len(rows)) if rows[i].startswith("[[")), len(rows))
    once = [i for i in range(place, end) if rows[i].startswith("once =")]
    if not once:
        return None
    del rows[once[0]]
    return place


def _id_above(rows: Rows, place: int) -> str:
    row = next(rows[i] for i in range(place, 0, -1) if rows[i].startswith("id ="))
    return row.split('"')[1]


BASES = [p for p in (*plan_folder().glob("*.toml"),) if p.stem in plan_names()]


def _seeded(seed: int) -> tuple[str, str, int]:
    """A plan with one mistake, what it is, and the line it is on."""
    rng = random.Random(seed)
    names = list(MISTAKES)
    while True:
        name = names[seed % len(names)] if rng.random() < 0.7 else rng.choice(names)
        rows = rng.choice(sorted(BASES)).read_text(encoding="utf-8").splitlines()
        place = MISTAKES[name](rows, rng)
        if place is not None:
            return "\n".join(rows) + "\n", name, place + 1 + _ADDED_BELOW.get(name, 0)


@pytest.mark.parametrize("block", range(20))
def test_two_hundred_seeded_mistakes_are_found_on_their_lines(block: int, tmp_path: Path) -> None:
    """Every one of 200 plans with one mistake is rejected, and the mistake's line is among those named."""
    for seed in range(block * 10, block * 10 + 10):
        text, name, line = _seeded(seed)
        path = tmp_path / f"{seed}.toml"
        path.write_text(text, encoding="utf-8")
        assert line in errors(path), f"seed {seed}: {name} on line {line}"


def _good(seed: int) -> str:
    """A shipped or sample plan with harmless changes: comments, blank lines, other words."""
    rng = random.Random(seed)
    bases = [SAMPLE_PLAN, *(p.read_text(encoding="utf-8") for p in sorted(BASES))]
    rows = rng.choice(bases).splitlines()
    for _ in range(8):
        place = rng.randrange(len(rows))
        if rows[place].startswith("why ="):
            rows[place] = 'why = "Because the maker asks for it."'
        elif rows[place] == "":
            rows[place] = rng.choice(['# a remark with [brackets], "quotes" and = signs', ""])
        elif rows[place].startswith("outside ="):
            rows[place] = 'outside = "Ring the maker."'
    return "\n".join(rows) + "\n"


@pytest.mark.parametrize("block", range(10))
def test_fifty_good_plans_pass(block: int, tmp_path: Path) -> None:
    """Harmless changes of words, remarks and blank lines give no error."""
    for seed in range(block * 5, block * 5 + 5):
        path = tmp_path / f"{seed}.toml"
        path.write_text(_good(seed), encoding="utf-8")
        assert errors(path) == []
