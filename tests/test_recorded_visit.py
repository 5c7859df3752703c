"""The recorded visit goes in as sound and comes out as a record: every value right when clean, none wrong in fan noise."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path

import pytest

from handsfree.events import AnswerConfirmed, Entry, ReadingConfirmed, Voided
from handsfree.language import load_language
from handsfree.model import Expectation, outcome_to_json
from handsfree.record import Intact, read_journal

CHECKOUT = Path(__file__).parents[1]
RECORDINGS = CHECKOUT / "audio_fixtures"
HANDSFREE = Path(sys.executable).parent / "handsfree"

READINGS = {
    "vessel_charge": {"0.7", "0.75"},  # changed near the end
    "cold_pressure": {"1.3"},
    "let_by_rise": {"0"},
    "tightness_drop": {"0"},
    "air_inlet_o2": {"20.8"},
    "co2_max": {"9.2"},
    "co_max": {"85"},
    "co2_min": {"8.8"},
    "co_min": {"12"},
    "meter_start": {"48123.456"},
    "rate_time": {"120"},
    "meter_end": {"48123.538"},
    "hot_flow": {"9.8"},
    "cold_temp": {"11"},
    "hot_temp": {"46"},
}
"""item -> the values that the engineer of the recording confirmed for it, at one time or another"""
ANSWERS = {
    "boiler_serial": "QH24815",
    "plate_gas": "ng",
    "analyser_until": "2027-03-03",
    "gauge_until": "2027-06-14",
}


def run(tmp_path: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {"HANDSFREE_HOME": str(tmp_path / "home"), "HOME": str(tmp_path), "PATH": "/usr/bin:/bin"}
    return subprocess.run([HANDSFREE, *arguments], env=environment, capture_output=True, text=True, check=False)


def confirmed(entries: tuple[Entry, ...]) -> list[tuple[str, str]]:
    return [
        (e.event.item, e.event.value if isinstance(e.event, ReadingConfirmed) else e.event.answer)
        for e in entries
        if isinstance(e.event, ReadingConfirmed | AnswerConfirmed)
    ]


@pytest.mark.timeout(900)
def test_the_clean_recordings_become_a_complete_visit(tmp_path: Path) -> None:
    """Every reading of the recorded visit is saved right, with its clip; the change voids what rested on it; the visit is complete."""
    done = run(tmp_path, "demo", "--folder", str(tmp_path / "visit"), "--json")
    assert done.returncode == 0, done.stderr
    reading = read_journal(tmp_path / "visit" / "journal.jsonl")
    assert isinstance(reading.ending, Intact)
    saved = confirmed(reading.entries)
    for item, values in READINGS.items():
        assert {value for name, value in saved if name == item} == values, item
    for item, answer in ANSWERS.items():
        assert (item, answer) in saved
    assert any(isinstance(e.event, Voided) for e in reading.entries)
    for entry in reading.entries:
        if isinstance(entry.event, ReadingConfirmed):
            assert entry.event.clip is not None
            assert (tmp_path / "visit" / entry.event.clip).exists()
    assert {"report.html", "report.json", "report.csv"} <= {p.name for p in (tmp_path / "visit").iterdir()}
    kinds = [json.loads(line)["kind"] for line in done.stdout.splitlines()]
    assert kinds == [e.event.kind for e in reading.entries]


@pytest.mark.timeout(900)
def test_nothing_is_heard_wrong_in_fan_noise(tmp_path: Path) -> None:
    """With a fan 10 dB below the speech, half of the recordings at least are understood, and no other value or command is certain."""
    with (RECORDINGS / "manifest.tsv").open(encoding="utf-8", newline="") as lines:
        noisy = [row for row in csv.DictReader(lines, delimiter="\t") if row["path"].startswith("visit_10db/")]
    done = run(tmp_path, "hear", "--json", *(str(RECORDINGS / row["path"]) for row in noisy))
    assert done.returncode == 0, done.stderr
    heard: dict[str, list[dict[str, object]]] = {}
    for line in done.stdout.splitlines():
        row = json.loads(line)
        heard.setdefault(row["file"], []).append(row)
    language, right, wrong = load_language(), 0, []
    for row in noisy:
        meant = outcome_to_json(language.understand(row["words"], Expectation()))
        for outcome in heard[str(RECORDINGS / row["path"])]:
            if outcome["outcome"] in ("reading", "command", "text"):
                same = all(outcome.get(key) == meant.get(key) for key in ("outcome", "readings", "command", "text"))
                right += same
                wrong += [] if same else [(row["words"], outcome["words"])]
    assert not wrong
    assert right >= len(noisy) / 2
