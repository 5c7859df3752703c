"""`handsfree plan`: list, show, check, sample."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from handsfree.commands.plan import command
from handsfree.errors import BadInput, NeedsEngineer
from handsfree.plans import load_plan, plan_names


def run(*arguments: str | Path) -> Result:
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


def test_check_passes_what_sample_writes(tmp_path: Path) -> None:
    """A sample is written once, never over a file, and passes its check; so does a sample job."""
    plan, job = tmp_path / "plan.toml", tmp_path / "job.toml"
    assert run("sample", plan).exit_code == 0
    assert run("sample", job, "--job").exit_code == 0
    assert run("check", plan, job).exit_code == 0
    assert isinstance(run("sample", plan).exception, BadInput)


def test_check_names_lines_and_fails(tmp_path: Path) -> None:
    """A wrong plan gives its findings by line and the exit code of something to correct."""
    path = tmp_path / "plan.toml"
    run("sample", path)
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
    run("sample", good)
    result = run("check", tmp_path / "none.toml", good)
    assert "cannot be read" in result.output
    assert "nothing wrong" in result.output
    assert isinstance(result.exception, NeedsEngineer)
