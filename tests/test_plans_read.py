"""Plans and jobs from TOML: located errors for every kind of mistake, values with their digits, limits in order of
authority."""

from __future__ import annotations

from dataclasses import FrozenInstanceError
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.errors import BadInput
from handsfree.plans import example_job, expectation_of, job_from_text, load_job, load_plan, plan_from_text, plan_names
from handsfree.plans.located import lines_of
from handsfree.plans.read import plan_folder
from handsfree.plans.sample_plan import SAMPLE_PLAN
from handsfree.plans.sources import comparison, fill_slots, value_of


def broken(text: str, old: str, new: str) -> str:
    assert old in text
    return text.replace(old, new, 1)


PLAN_MISTAKES = [
    ("expect = { quantity", "expects = { quantity", "[[chunk.item]]", "lacks 'expect'", "add expect"),
    ('title = "pressures"', "title = 7", "title = 7", "title must be a text in quotes, not 7", "write title"),
    ('place = "at the boiler\'s pressure gauge"', "", "[[chunk]]", "lacks 'place'", "add place"),
    ('done = "Pressures complete."', 'done = ""', 'done = ""', "done is empty", "write the words"),
    (
        'quantity = "system_pressure", qualifier = "cold"',
        'yes_no = "maybe"',
        'yes_no = "maybe"',
        "'maybe' is not known",
        "yes",
    ),
    ("wait_s = 600", "wait_s = 0", "wait_s = 0", "is not 1 or more", "correct"),
    ("wait_s = 600", 'wait_s = "ten"', 'wait_s = "ten"', "must be a number", "write wait_s"),
    ('expect = { yes_no = "no" }', 'expect = { yesno = "no" }', "yesno", "says not what is expected", "yes_no"),
    ('why = "Lost', 'whi = "Lost', "whi =", "unknown key 'whi'", "'why'"),
    ('items = ["cold", "hot"]', 'items = "cold, hot', '"cold, hot', "is not TOML", "mend that line"),
    (
        'require = "item.hot',
        'ask = "twice"\nrequire = "item.hot',
        'ask = "Hot pressure',
        "is not TOML",
        "mend that line",
    ),
]


@pytest.mark.parametrize(("old", "new", "where", "message", "hint"), PLAN_MISTAKES)
def test_a_mistake_in_a_plan_names_file_line_and_what_was_expected(
    old: str, new: str, where: str, message: str, hint: str, tmp_path: Path
) -> None:
    """The message names the file, the line, what is wrong, and the hint what to write."""
    path = tmp_path / "mine.toml"
    text = broken(SAMPLE_PLAN, old, new)
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        load_plan(path)
    named = int(str(caught.value.message).split("mine.toml:")[1].split(":")[0])
    assert named == 1 + next(i for i, row in enumerate(text.splitlines()) if where in row)
    assert message in caught.value.message
    assert hint in caught.value.hint


JOB_MISTAKES = [
    ('gas = "ng"', 'gas = "oil"', "'oil' is not known", "ng"),
    ('type = "combi"', 'type = "combie"', "'combie' is not known", "combi"),
    ("certificate_until = 2027-03-03", 'certificate_until = "soon"', "is not a date", "year-month-day"),
    ("certificate_until = 2027-03-03", "", "lacks 'certificate_until'", "add certificate_until"),
    ("registration_days = 30", "registration_day = 30", "unknown key 'registration_day'", "registration_days"),
    ("low = 8.8", "low = 9.9", "low 9.9 is above high 9.8", "swap"),
    ("heat_input_net_kw = 24.5", 'heat_input_net_kw = "24.5"', "must be a number", "write heat_input_net_kw"),
    ("heat_input_net_kw = 24.5", "heat_input_net_kw = -1", "is not 0 or more", "correct"),
    ("[customer]", "[custommer]", "unknown key 'custommer'", "customer"),
]


@pytest.mark.parametrize(("old", "new", "message", "hint"), JOB_MISTAKES)
def test_a_mistake_in_a_job_names_its_line(old: str, new: str, message: str, hint: str) -> None:
    """The same for a job file."""
    text = broken(example_job().read_text(encoding="utf-8"), old, new)
    with pytest.raises(BadInput) as caught:
        job_from_text(text, Path("job.toml"))
    assert message in caught.value.message
    assert hint in caught.value.hint
    line = int(caught.value.message.split("job.toml:")[1].split(":")[0])
    rows = text.splitlines()
    assert new.split(" =")[0] in rows[line - 1] or not new


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (None, "cannot be read"),
        (b"\xff\xfe not utf-8 \xff", "not UTF-8"),
        (b"", "lacks"),
        (b"just words", "is not TOML"),
    ],
)
def test_a_file_that_is_no_plan_is_refused(content: bytes | None, message: str, tmp_path: Path) -> None:
    """Missing, not text, empty and not TOML are each said plainly."""
    path = tmp_path / "plan.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(BadInput, match=message):
        load_plan(path)


def test_an_unknown_plan_name_offers_the_nearest() -> None:
    """A name with a typo is met with the plan that it may mean."""
    with pytest.raises(BadInput) as caught:
        load_plan("comissioning")
    assert "commissioning" in caught.value.hint


def test_the_job_keeps_digits_and_gives_the_makers_limit() -> None:
    """9.80 stays 9.80; a limit is the maker's with its page; a missing key is None."""
    text = example_job().read_text(encoding="utf-8").replace("high = 9.8", "high = 9.80")
    job = job_from_text(text)
    limit = job.limit("maker.limits.co2_max")
    assert limit is not None
    assert str(limit.high) == "9.80"
    assert (limit.authority, limit.source) == ("maker", "invented Quillfeather instructions, page 31")
    assert job.get("instruments.analyser.certificate_until") == "2027-03-03"
    assert job.get("maker.no_such_thing") is None
    assert job.limit("maker.limits.no_such_thing") is None


def test_no_job_is_an_empty_job() -> None:
    """Without a job file everything the maker would say is missing, and nothing fails."""
    job = load_job(None)
    assert (job.gas, job.boiler_type, job.get("maker.heat_input_net_kw")) == ("ng", "combi", None)


def test_plans_and_jobs_are_frozen() -> None:
    """A plan cannot be changed after it was read."""
    plan = load_plan("short_commissioning")
    with pytest.raises(FrozenInstanceError):
        plan.name = "other"


@pytest.mark.parametrize("name", plan_names())
def test_every_expectation_of_a_plan_can_be_built(name: str) -> None:
    """Each item gives listeners an expectation, with phrases for every choice."""
    for item in load_plan(name).items():
        expectation = expectation_of(item, "ng")
        assert set(expectation.choices) <= set(expectation.phrases)
        assert all(expectation.phrases[c] for c in expectation.choices)


@pytest.mark.parametrize("path", sorted(plan_folder().glob("*.toml")), ids=lambda p: p.stem)
def test_the_line_finder_finds_every_key_on_its_line(path: Path) -> None:
    """For every top-level key of every table the line found holds that key; every header line holds its header."""
    text = path.read_text(encoding="utf-8")
    rows = text.splitlines()
    for key, line in lines_of(text).items():
        if not key:
            continue
        last = key[-1]
        row = rows[line - 1]
        assert row.startswith("[") if isinstance(last, int) else last in row


@given(st.text(alphabet="abc=[]{}\"'#\n .,0123", max_size=80))
def test_the_line_finder_takes_any_text(text: str) -> None:
    """It never raises, whatever the text."""
    lines_of(text)


SOURCES = [
    ("item.end - item.start", {"item.end": "482.417", "item.start": "482.317"}, "0.100"),
    ("item.a + 2.5", {"item.a": "1"}, "3.5"),
    ("job.x | 39.5", {}, "39.5"),
    ("job.x | 39.5", {"job.x": "38.2"}, "38.2"),
    ("item.end - item.start", {"item.end": "1"}, None),
    ("visit.date", {"visit.date": "2026-11-25"}, "2026-11-25"),
    ("9m of 15mm", {}, "9m of 15mm"),
]


@pytest.mark.parametrize(("source", "known", "value"), SOURCES)
def test_a_source_gives_its_value(source: str, known: dict[str, str], value: str | None) -> None:
    """References, sums and fallbacks; None while something is missing."""
    assert value_of(source, known.get) == value


def test_a_comparison_is_taken_apart() -> None:
    """The five comparisons; anything else is none."""
    near = comparison("item.a near item.b by 0.3")
    assert near is not None
    assert near.holds(Decimal("9.0"), Decimal("9.3"))
    assert not near.holds(Decimal("9.0"), Decimal("9.31"))
    less = comparison("item.a <= item.b")
    assert less is not None
    assert less.holds(Decimal(1), Decimal(1))
    assert comparison("item.a is item.b") is None
    assert comparison("item.a near item.b") is None


def test_slots_of_a_note_are_filled_from_the_job() -> None:
    """A slot takes the job's value, else the words after the bar."""
    note = "Use {job.maker.tool|the maker's tool}, {job.maker.other}."
    assert fill_slots(note, {"job.maker.tool": "a 4 mm key"}.get) == "Use a 4 mm key, not given."
    assert fill_slots(note, {}.get) == "Use the maker's tool, not given."


def test_the_sample_plan_reads() -> None:
    """What `plan new` writes is a plan."""
    assert plan_from_text(SAMPLE_PLAN).name == "my_pressure_check"
