"""`handsfree grammar`: check, list."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from handsfree.commands.grammar import command
from handsfree.errors import BadInput, NeedsEngineer
from handsfree.language import grammar_folder, load_language


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HANDSFREE_HOME", str(tmp_path))


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(command, [str(a) for a in arguments])


def test_the_programs_own_grammar_is_sound(tmp_path: Path) -> None:
    """Nothing is wrong with what comes with the program; without own words it says where they would stand."""
    result = run("check")
    assert result.exit_code == 0
    assert "error" not in result.output
    assert f"{tmp_path / 'words.toml'}: no such file" in result.output


def test_own_words_are_counted_and_what_cannot_be_heard_is_named(tmp_path: Path) -> None:
    """Own words of the settings' file are looked over; one without a pronunciation is a warning with its line."""
    words = tmp_path / "words.toml"
    words.write_text('[words]\n"the bottle" = "vessel_charge"\n"sprongle" = "carry_on"\n', encoding="utf-8")
    rows = [json.loads(line) for line in run("check", "--json").output.splitlines()]
    assert [(r["weight"], r["where"]) for r in rows] == [("warning", f"{words}, line 3")]
    assert rows[0]["message"].startswith("'sprongle': the small speech model cannot hear it")
    assert f"{words}: 2 own words" in run("check").output


def test_own_words_of_another_file(tmp_path: Path) -> None:
    """--words looks over another file before it is put in its place."""
    words = tmp_path / "new.toml"
    words.write_text('[words]\n"bottle" = "vessel_charge"\n', encoding="utf-8")
    assert f"{words}: 1 own word\n" in run("check", "--words", words).output


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[words\n", "words.toml: "),
        ('[words]\n\nbottle = "kettle"\n', "words.toml, line 3: 'bottle': 'kettle' is neither"),
        ('[words]\n"stop" = "vessel_charge"\n', "words.toml, line 2: 'stop' means hold already"),
    ],
)
def test_own_words_that_clash_are_located(tmp_path: Path, text: str, message: str) -> None:
    """A word file that does not read, or clashes, is bad input (exit code 2) with file and line."""
    (tmp_path / "words.toml").write_text(text, encoding="utf-8")
    error = run("check").exception
    assert isinstance(error, BadInput)
    assert message in error.message
    assert error.hint
    assert error.exit_code == 2


def test_a_word_file_that_is_not_there() -> None:
    """A word file that is named and does not exist is bad input, with how to make one."""
    error = run("check", "--words", "nowhere.toml").exception
    assert isinstance(error, BadInput)
    assert "nowhere.toml does not exist" in error.message


def test_a_grammar_with_findings(tmp_path: Path) -> None:
    """What the linter finds stands in a line each, with file and line; the exit code is 1."""
    folder = tmp_path / "en-GB"
    shutil.copytree(grammar_folder() / "en-GB", folder)
    path = folder / "commands.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('"pardon"', '"pardon", "carry onn"'), encoding="utf-8")
    line = next(n for n, row in enumerate(path.read_text(encoding="utf-8").splitlines(), 1) if "carry onn" in row)
    result = run("check", "--grammars", tmp_path)
    assert isinstance(result.exception, NeedsEngineer)
    assert f"commands.toml, line {line}: error: 'carry onn' (repeat) sounds like a phrase for carry_on" in result.output


def test_a_broken_grammar_is_bad_input(tmp_path: Path) -> None:
    """A grammar file that does not read is bad input (exit code 2)."""
    shutil.copytree(grammar_folder() / "en-GB", tmp_path / "en-GB")
    (tmp_path / "en-GB" / "units.toml").write_text("[[unit]]\nid = 3\n", encoding="utf-8")
    error = run("check", "--grammars", tmp_path).exception
    assert isinstance(error, BadInput)
    assert "units.toml, line 1" in error.message


def test_everything_that_own_words_can_mean_is_listed() -> None:
    """Every quantity and command is listed by its id, with its unit and what can be said for it."""
    rows = [json.loads(line) for line in run("list", "--json").output.splitlines()]
    language = load_language()
    assert {r["id"] for r in rows} == {*language.quantities, *(c.id for c in language.grammar.commands)}
    assert all(r["said"] for r in rows)
    assert all((r["unit"] is not None) == (r["kind"] == "quantity") for r in rows)
    assert "flow_temperature        degC      flow temperature" in run("list").output
