"""`handsfree understand`: lines in, outcomes out."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from handsfree.commands.understand import command
from handsfree.errors import BadInput


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HANDSFREE_HOME", str(tmp_path))


def run(lines: str | bytes, *arguments: str) -> list[str]:
    result = CliRunner().invoke(command, list(arguments), input=lines, catch_exceptions=False)
    assert result.exit_code == 0
    return result.stdout.splitlines()


def test_json_lines() -> None:
    """With --json every line is answered by one object with the words and the outcome."""
    rows = [json.loads(line) for line in run("c o two eight point six percent\nrepeat\n\n", "--json")]
    assert rows[0] == {
        "words": "c o two eight point six percent",
        "outcome": "reading",
        "readings": [{"quantity": "co2", "qualifier": None, "value": "8.6", "unit": "%"}],
        "reason": None,
    }
    assert [r["outcome"] for r in rows] == ["reading", "command", "nothing"]


def test_plain_lines() -> None:
    """Without --json an outcome is one readable line, with the reason where it is not certain."""
    assert run("sixty one\nfourteen\n", "--expect", "co2") == [
        "unsure co2 61 %  (61 is outside 3 to 11.7 for C O two)",
        "unsure co2 14 %  (14 is outside 3 to 11.7 for C O two)",
    ]
    assert run("eight point six\n", "--expect", "co2") == ["co2 8.6 %"]


def test_expectation_and_gas() -> None:
    """--expect and --gas set what is expected."""
    assert run("twelve point eight\n", "--expect", "co2", "--gas", "lpg") == ["co2 12.8 %"]
    assert run("oh four eight\n", "--expect", "digits") == ["text 048"]


def test_an_unknown_expectation_is_bad_input() -> None:
    """A name that is neither kind nor quantity is refused with the nearest one."""
    with pytest.raises(BadInput, match="did you mean co2"):
        CliRunner().invoke(command, ["--expect", "co22"], input="", catch_exceptions=False)


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"\x00\x01\x02\x1b[31m",
        b"\xff\xfe\xfa",
        "Давление один".encode(),
        "压力 一点二".encode(),
        "\u202e\u0661\u0662".encode(),
        b"nine " * 10_000,
        b"kettle " * 10_000,
        b"a" * 100_000,
        b"\x0b\x0c\x85\x1c",
        b" " * 300_000,
        b"9" * 100_000,
        b"1.2." * 25_000,
    ],
    ids=[
        "empty",
        "control",
        "broken",
        "cyrillic",
        "han",
        "arabic",
        "long numbers",
        "long talk",
        "long word",
        "breaks",
        "blanks",
        "figures",
        "points",
    ],
)
@pytest.mark.parametrize("what", ["co2", "time", "serial", "date"])
def test_any_line_gets_one_answer(line: bytes, what: str) -> None:
    """Whatever stands on a line, it gets exactly one answer, and no value."""
    rows = [json.loads(row) for row in run(line + b"\n", "--json", "--expect", what)]
    assert len(rows) == 1
    assert rows[0]["outcome"] in ("nothing", "unsure")


def test_lines_are_answered_as_they_come() -> None:
    """A line is answered before the next one is sent."""
    code = "from handsfree.commands.understand import command; command()"
    process = subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, encoding="utf-8"
    )
    assert process.stdin is not None
    assert process.stdout is not None
    for words, line in (("seventeen", "17\n"), ("repeat", "command repeat\n")):
        process.stdin.write(words + "\n")
        process.stdin.flush()
        assert process.stdout.readline() == line
    process.stdin.close()
    assert process.wait() == 0
    process.stdout.close()


def test_own_words_are_read_from_the_settings(tmp_path: Path) -> None:
    """The engineer's own words stand in the file that the settings name."""
    (tmp_path / "words.toml").write_text('[words]\n"the bottle" = "vessel_charge"\n', encoding="utf-8")
    assert run("the bottle one bar\n") == ["vessel_charge 1 bar"]
