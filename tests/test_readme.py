"""What README.md tells a reader to run works as it stands there."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).parents[1]
README = (CHECKOUT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
SET_UP = [block.strip() for block in BLOCKS if block.startswith("sh .ci/set-up")]


def test_the_top_of_the_readme_states_the_job() -> None:
    """The first paragraph names who, where and what for."""
    paragraph = README.split("\n\n")[1]
    assert all(word in paragraph for word in ("engineer", "boiler", "reads every value back", "explicit yes"))


def test_two_commands_set_everything_up() -> None:
    """Exactly two blocks set up: the recorded visit, and the tests; each is one line."""
    assert len(SET_UP) == 2
    assert all("\n" not in command for command in SET_UP)
    assert "handsfree demo" in SET_UP[0]
    assert SET_UP[1].endswith("pytest")


def test_ci_runs_the_second_command() -> None:
    """`.ci/run` holds the test command word for word."""
    assert SET_UP[1] in (CHECKOUT / ".ci" / "run").read_text(encoding="utf-8").splitlines()


@pytest.mark.timeout(1500)
def test_the_first_command_ends_with_a_report(tmp_path: Path) -> None:
    """In a fresh copy of the checkout, the first command leaves the report of the recorded visit."""
    subprocess.run(["git", "clone", "-q", str(CHECKOUT), tmp_path / "copy"], check=True)
    _bring_uncommitted_files(tmp_path / "copy")
    done = subprocess.run(["sh", "-c", SET_UP[0]], cwd=tmp_path / "copy", capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    report = tmp_path / "copy" / "demo-visit" / "report.html"
    assert "<audio" in report.read_text(encoding="utf-8")


def _bring_uncommitted_files(copy: Path) -> None:
    """The test is about the tree as it is now, also before it is committed."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=CHECKOUT,
        capture_output=True,
        text=True,
        check=True,
    )
    for name in filter(None, listed.stdout.split("\0")):
        source = CHECKOUT / name
        if source.is_file():
            (copy / name).parent.mkdir(parents=True, exist_ok=True)
            (copy / name).write_bytes(source.read_bytes())


PLAIN = [
    line.split("#")[0].strip()
    for block in BLOCKS
    if not block.startswith("sh .ci/set-up")
    for line in block.splitlines()
    if ".venv/bin/handsfree" in line and "# live" not in line
]


@pytest.mark.parametrize("line", PLAIN)
def test_every_other_command_runs(line: str, tmp_path: Path) -> None:
    """Commands of the README that need no microphone run and exit as documented (0, or 3 from the doctor of a bare machine)."""
    import sys

    command = line.replace(".venv/bin/handsfree", f"{Path(sys.executable).parent / 'handsfree'}")
    environment = {"HANDSFREE_HOME": str(tmp_path), "PATH": "/usr/bin:/bin", "HOME": str(tmp_path)}
    done = subprocess.run(
        ["sh", "-c", command], cwd=CHECKOUT, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode in ((0, 3) if "doctor" in line else (0,)), done.stderr
