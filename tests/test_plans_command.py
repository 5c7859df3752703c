"""`handsfree plan`: list, show, check, sample, new."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from handsfree.commands.plan import command, words_without_a_sound
from handsfree.errors import BadInput, NeedsEngineer
from handsfree.language import load_language
from handsfree.language.samples import outcome_line
from handsfree.model import Expectation
from handsfree.plans import expectation_of, load_plan, plan_names


def run(*arguments: str | Path | int) -> Result:
    return CliRunner().invoke(command, [str(a) for a in arguments])


def test_list_names_every_plan() -> None:
    """Every plan is listed with its title; as JSON, one object a line."""
    plain = run("list")
    assert all(name in plain.output for name in plan_names())
    rows = [json.loads(line) for line in run("list", "--json").output.splitlines()]
    assert [r["name"] for r in rows] == list(plan_names())


@pytest.mark.parametrize("name", plan_names())
def test_show_draws_chunks_items_and_branches(name: str) -> None:
    """The outline holds every chunk and every prompt."""
    text = run("show", name).output
    plan = load_plan(name)
    assert all(chunk.title in text for chunk in plan.chunks)
    assert all(item.prompt in text for item in plan.items())


def test_show_writes_a_picture(tmp_path: Path) -> None:
    """The picture is one HTML page with every prompt, no script and no outside address."""
    path = tmp_path / "plan.html"
    assert run("show", "service", "--html", path).exit_code == 0
    page = path.read_text(encoding="utf-8")
    assert "<script" not in page
    assert "http" not in page.replace("http-equiv", "")
    assert page.count("<li") > 60


def test_check_passes_what_new_writes(tmp_path: Path) -> None:
    """A new plan is written once, never over a file, and passes its check; so does a new job."""
    plan, job = tmp_path / "plan.toml", tmp_path / "job.toml"
    assert run("new", plan).exit_code == 0
    assert run("new", job, "--job").exit_code == 0
    assert run("check", plan, job).exit_code == 0
    assert isinstance(run("new", plan).exception, BadInput)


def test_check_names_lines_and_fails(tmp_path: Path) -> None:
    """A wrong plan gives its findings by line and the exit code of something to correct."""
    path = tmp_path / "plan.toml"
    run("new", path)
    text = path.read_text(encoding="utf-8").replace("gauge, system hot", "gauge and the tap")
    path.write_text(text, encoding="utf-8")
    line = 1 + next(i for i, row in enumerate(text.splitlines()) if "gauge and the tap" in row)
    result = run("check", path)
    assert isinstance(result.exception, NeedsEngineer)
    assert f"{path}:{line}: error" in result.output
    row = json.loads(run("check", "--json", path).output.splitlines()[0])
    assert (row["line"], row["weight"]) == (line, "error")


def test_an_unreadable_file_does_not_stop_the_others(tmp_path: Path) -> None:
    """The files after a broken one are still looked at."""
    good = tmp_path / "good.toml"
    run("new", good)
    result = run("check", tmp_path / "none.toml", good)
    assert "cannot be read" in result.output
    assert "nothing wrong" in result.output
    assert isinstance(result.exception, NeedsEngineer)


@pytest.mark.parametrize("name", plan_names())
def test_sample_gives_sentences_that_the_steps_take(name: str) -> None:
    """Every sentence belongs to a step of the plan and comes to what that step makes of it; a seed gives them again."""
    output = run("sample", name, "--count", 8, "--seed", 3).output
    items = {item.id: item for item in load_plan(name).items()}
    language = load_language()
    rows = [line.split("\t") for line in output.splitlines()]
    assert len(rows) == 8
    for step, words, outcome in rows:
        expectation = expectation_of(items[step], "ng")
        assert language.automaton(expectation).accepts(words.split())
        assert outcome_line(language.understand(words, expectation)) == outcome
    assert run("sample", name, "--count", 8, "--seed", 3).output == output
    assert run("sample", name, "--count", 8, "--seed", 4).output != output


def test_sample_without_a_plan() -> None:
    """One expectation can be sampled by its name; as JSON, one object a line."""
    rows = [json.loads(line) for line in run("sample", "--expect", "date", "--json", "--count", 5).output.splitlines()]
    assert [row["step"] for row in rows] == ["date"] * 5
    assert all(load_language().automaton(Expectation("date")).accepts(row["words"].split()) for row in rows)


@pytest.mark.parametrize(
    "arguments", [(), ("service", "--expect", "co2"), ("no_such_plan",), ("--expect", "no_such_kind")]
)
def test_sample_says_what_it_needs(arguments: tuple[str, ...]) -> None:
    """Neither or both of plan and expectation, or an unknown one, is bad input."""
    assert isinstance(run("sample", *arguments).exception, BadInput)


def test_check_names_answers_that_cannot_be_heard(tmp_path: Path) -> None:
    """A word of an answer without a pronunciation is a warning at its item; without a lexicon nothing is said."""
    path, lexicon = tmp_path / "plan.toml", tmp_path / "lexicon.tsv"
    run("new", path)
    text = path.read_text(encoding="utf-8").replace('{ yes_no = "no" }', '{ state = "dry", phrases = ["all xyzzy"] }')
    path.write_text(text, encoding="utf-8")
    lexicon.write_text("all\tAO L\ndry\tD R AY\ndone\tD AH N\n", encoding="utf-8")
    (remark,) = words_without_a_sound(path, lexicon, [])
    assert (remark.weight, remark.message) == ("warning", "leaks: 'xyzzy' has no pronunciation")
    assert "[[chunk.item]]" in text.splitlines()[remark.line - 1]
    assert list(words_without_a_sound(path, tmp_path / "none.tsv", [])) == []
    assert "'xyzzy' has no pronunciation" in run("check", path).output
