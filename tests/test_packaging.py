"""The wheel and the editable install both bring the grammars, each in a fresh environment of its own."""

from __future__ import annotations

import json
import subprocess
import sys
import venv
import zipfile
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).parents[1]


def run(*arguments: str | Path, cwd: Path, words: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(a) for a in arguments], input=words, capture_output=True, text=True, cwd=cwd, check=False
    )


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    built = run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", folder, CHECKOUT, cwd=folder)
    assert built.returncode == 0, built.stderr + built.stdout
    (path,) = folder.glob("*.whl")
    return path


def fresh_environment(folder: Path) -> Path:
    venv.create(folder, with_pip=True)
    return folder / "bin"


def test_the_wheel_holds_what_the_program_reads(wheel: Path) -> None:
    """Grammars, plans, wording, limits, templates and the recorded visit are inside the wheel."""
    names = set(zipfile.ZipFile(wheel).namelist())
    grammars = {
        f"handsfree/_grammars/{p.relative_to(CHECKOUT / 'grammars')}" for p in (CHECKOUT / "grammars").rglob("*.toml")
    }
    data = {
        str(p.relative_to(CHECKOUT))
        for p in (CHECKOUT / "handsfree").rglob("*")
        if p.suffix in {".toml", ".html", ".css", ".typ", ".jinja"}
    }
    recordings = {
        f"handsfree/_audio_fixtures/visit/{p.name}" for p in (CHECKOUT / "audio_fixtures" / "visit").glob("*.flac")
    }
    assert grammars
    assert recordings
    assert grammars | data | recordings <= names


@pytest.mark.parametrize("kind", ["wheel", "editable"])
@pytest.mark.timeout(600)
def test_an_installation_understands(kind: str, wheel: Path, tmp_path: Path) -> None:
    """With the core dependencies alone, words become values and the plans are there."""
    commands = fresh_environment(tmp_path / "environment")
    what = [str(wheel)] if kind == "wheel" else ["-e", str(CHECKOUT)]
    installed = run(commands / "pip", "install", "-q", "--disable-pip-version-check", *what, cwd=tmp_path)
    assert installed.returncode == 0, installed.stderr
    heard = run(
        commands / "handsfree", "understand", "--json", cwd=tmp_path, words="system pressure one point two bar\n"
    )
    assert heard.returncode == 0, heard.stderr
    (reading,) = json.loads(heard.stdout)["readings"]
    assert (reading["quantity"], reading["value"], reading["unit"]) == ("system_pressure", "1.2", "bar")
    plans = run(commands / "handsfree", "plan", "list", cwd=tmp_path)
    assert plans.returncode == 0, plans.stderr
    assert "short_commissioning" in plans.stdout
