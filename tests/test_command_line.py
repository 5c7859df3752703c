"""The command line's manners: help at once, located errors, exit codes, and nothing but JSON where JSON was asked for."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from handsfree.cli import COMMANDS

CHECKOUT = Path(__file__).parents[1]
HANDSFREE = Path(sys.executable).parent / "handsfree"
JOB = CHECKOUT / "handsfree" / "plans" / "example_job.toml"


@pytest.fixture
def home(tmp_path: Path) -> dict[str, str]:
    return {"HANDSFREE_HOME": str(tmp_path / "home"), "HOME": str(tmp_path), "PATH": "/usr/bin:/bin"}


def run(home: dict[str, str], *arguments: str | Path, words: str = "") -> subprocess.CompletedProcess[str]:
    command = [str(HANDSFREE), *(str(a) for a in arguments)]
    return subprocess.run(command, env=home, input=words, capture_output=True, text=True, check=False)


def test_help_names_every_command(home: dict[str, str]) -> None:
    """`handsfree --help` lists all commands."""
    done = run(home, "--help")
    assert done.returncode == 0
    assert all(name in done.stdout for name in COMMANDS)


def test_help_imports_no_engine() -> None:
    """The command line alone imports neither numpy nor any engine, so that help is there at once."""
    heavy = {"numpy", "onnxruntime", "vosk", "CoolProp", "jinja2", "rapidfuzz"}
    look = f"import sys, handsfree.cli; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help(name: str, home: dict[str, str]) -> None:
    """Every command loads and explains itself."""
    done = run(home, name, "--help")
    assert done.returncode == 0, done.stderr
    assert "Usage: handsfree" in done.stdout


def _with_typo(source: Path, right: str, wrong: str, copy: Path) -> None:
    copy.write_text(source.read_text(encoding="utf-8").replace(right, wrong, 1), encoding="utf-8")


def bad_calls(folder: Path) -> dict[str, tuple[list[str | Path], str]]:
    """What is wrong -> the call, and what its message must say."""
    (folder / "notes.txt").write_text("not sound")
    (folder / "empty.wav").touch()
    soundfile.write(folder / "nothing.wav", np.zeros(0), 16_000)
    _with_typo(JOB, "customer", "costumer", folder / "job.toml")
    _with_typo(JOB.with_name("short_commissioning.toml"), "prompt", "promt", folder / "plan.toml")
    (folder / "recordings").mkdir()
    typed: list[str | Path] = ["--from", "typed", "--folder", folder / "visit"]
    return {
        "no such command": (["vist"], "visit"),
        "not sound": (["hear", folder / "notes.txt"], "notes.txt"),
        "an empty file": (["hear", folder / "empty.wav"], "empty.wav"),
        "a file without samples": (["hear", folder / "nothing.wav"], "nothing.wav"),
        "no such file": (["hear", folder / "gone.wav"], "gone.wav"),
        "an unknown expectation": (["understand", "--expect", "presure"], "presure"),
        "a typo in the job": (["visit", "short_commissioning", "--job", folder / "job.toml", *typed], "costumer"),
        "a typo in the plan": (["visit", folder / "plan.toml", *typed], "lacks 'prompt'"),
        "no such plan": (["visit", "short_comissioning", *typed], "short_commissioning"),
        "no date": (["visit", "short_commissioning", "--date", "yesterday", *typed], "yesterday"),
        "no visit": (["resume", folder, "--from", "typed"], "not a visit"),
        "no recordings": (["visit", "short_commissioning", "--from", folder / "recordings"], "recordings"),
        "an unknown computation": (["work-out", "heat_imput"], "heat_input"),
        "no time at all": (["work-out", "gas_rate", "volume_m3=0.1", "time_s=0"], "time_s"),
    }


@pytest.mark.parametrize("what", [
    "no such command", "not sound", "an empty file", "a file without samples", "no such file", "an unknown expectation",
    "a typo in the job", "a typo in the plan", "no such plan", "no date", "no visit", "no recordings",
    "an unknown computation", "no time at all",
])  # fmt: skip
def test_bad_input_gets_one_located_message(what: str, tmp_path: Path, home: dict[str, str]) -> None:
    """Bad input exits with 2 and says on standard error what is wrong and where; nothing on standard output, no traceback."""
    call, said = bad_calls(tmp_path)[what]
    done = run(home, *call)
    assert done.returncode == 2, done.stderr
    assert said in done.stderr
    assert not what.startswith("a typo") or re.search(r"(job|plan)\.toml:\d+: ", done.stderr)
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert not (tmp_path / "visit").exists()


def test_a_second_copy_on_one_visit_is_refused(tmp_path: Path, home: dict[str, str]) -> None:
    """While a visit is open in one copy of the program, another copy is told so and changes nothing."""
    folder = tmp_path / "visit"
    first = subprocess.Popen(
        [str(HANDSFREE), "visit", "short_commissioning", "--from", "typed", "--folder", str(folder)],
        env=home, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert first.stdin is not None
    assert first.stdout is not None
    first.stdout.readline()
    second = run(home, "resume", folder, "--from", "typed")
    first.communicate("")
    assert second.returncode == 2
    assert "open" in second.stderr


def test_json_is_nothing_but_json(tmp_path: Path, home: dict[str, str]) -> None:
    """With --json every line of standard output is one event, numbered without gaps."""
    call = ["visit", "short_commissioning", "--job", JOB, "--from", "typed", "--folder", tmp_path / "visit", "--json"]
    done = run(home, *call, words="quebec hotel two four eight one five\nyes\n")
    assert done.returncode == 1
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    assert [row["number"] for row in rows] == list(range(1, len(rows) + 1))
    assert "answer" in [row["kind"] for row in rows]


def test_native_noise_stays_out_of_standard_output(tmp_path: Path) -> None:
    """What a library writes to descriptors 1 and 2 reaches neither stream; what Python prints reaches both."""
    code = (
        "import os, sys, handsfree.cli as c; c.keep_native_noise_out(); os.write(1, b'noise'); os.write(2, b'noise'); "
        "print('out'); print('error', file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert (done.stdout, done.stderr) == ("out\n", "error\n")


def test_a_full_disk_is_said_and_nothing_is_half_saved(tmp_path: Path, home: dict[str, str]) -> None:
    """When the disk is full the visit stops with exit code 3, and what was confirmed before is still there."""
    limited = f"ulimit -f 40; exec {HANDSFREE} visit short_commissioning --from typed --folder {tmp_path / 'visit'}"
    words = "quebec hotel two four eight one five\nyes\n" * 40
    done = subprocess.run(["bash", "-c", limited], env=home, input=words, capture_output=True, text=True, check=False)
    assert done.returncode == 3, (done.returncode, done.stderr)
    assert "Traceback" not in done.stderr
    checked = run(home, "verify", tmp_path / "visit")
    assert checked.returncode in (0, 1)
    assert "altered" not in checked.stdout
