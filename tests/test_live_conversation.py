"""A conversation held live: recordings played into a virtual microphone, prompts captured from a virtual loudspeaker."""

from __future__ import annotations

import csv
import shutil
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from live.sound_server import CAPTURE_RATE, SoundServer, why_not_here

from handsfree.events import Finished, ReadingConfirmed, Said, UtteranceHeard
from handsfree.record import read_journal

FIXTURES = Path(__file__).parents[1] / "audio_fixtures"
WHY_NOT = why_not_here() or ("" if shutil.which("espeak-ng") else "not installed: espeak-ng")

PLAN = """
name = "two_readings"
title = "Two readings"
about = "Two readings, held live."
opening = "Two readings. The maker's instructions come first."
sources = ["this test"]

[[chunk]]
id = "water"
title = "water"
place = "at the boiler"
done = "Water complete."

[[chunk.item]]
id = "cold_pressure"
say = "cold system pressure"
prompt = "Read the boiler's pressure gauge, system cold."
expect = { quantity = "system_pressure", qualifier = "cold" }
why = "Too low draws in air."
source = "common practice"

[[chunk.item]]
id = "co2_max"
say = "CO2 at maximum rate"
prompt = "Probe in the flue test point: read the C O two."
expect = { quantity = "co2", qualifier = "maximum" }
why = "It shows how much air goes with the gas."
source = "common practice"
"""
SAID = ["one point two bar", "yes", "c o two nine point two percent", "yes", "finish the visit"]


def recording(words: str) -> Path:
    """The recording of the visit that says `words`."""
    with (FIXTURES / "manifest.tsv").open(encoding="utf-8", newline="") as lines:
        rows = csv.DictReader(lines, delimiter="\t")
        return FIXTURES / next(r["path"] for r in rows if r["words"] == words and r["path"].startswith("visit/"))


SILENCE_S = 2.0
"""s without the voice that end what it says: at a first start the listeners' graphs are made beside the first prompts, which
can tear a gap of a second into them on a busy machine."""


class Listener:
    """Listens to the loudspeaker as the engineer does: answers once the voice has spoken and fallen silent."""

    def __init__(self, server: SoundServer) -> None:
        self._server = server
        self._from = 0

    def wait_for_the_voice(self, timeout_s: float) -> None:
        until = time.monotonic() + timeout_s
        while time.monotonic() < until:
            heard = self._server.from_loudspeaker()[self._from :]
            loud = np.flatnonzero(np.abs(heard) > 0.02)
            if len(loud) > 0.3 * CAPTURE_RATE * 0.2 and len(heard) - loud[-1] > SILENCE_S * CAPTURE_RATE:
                self._from += len(heard)
                return
            time.sleep(0.1)
        raise AssertionError("the voice did not speak")


@pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT or "-")
@pytest.mark.timeout(420)
def test_a_visit_is_held_through_microphone_and_loudspeaker(tmp_path: Path) -> None:
    """Played answers become confirmed values with clips; every prompt came out of the loudspeaker, and none was heard as an answer."""
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    folder = tmp_path / "visit"
    command = [Path(sys.executable).parent / "handsfree", "visit", tmp_path / "plan.toml", "--folder", folder]
    with SoundServer(leak=True) as server:
        environment = {**server.environment, "HANDSFREE_HOME": str(tmp_path / "home")}
        engineer = Listener(server)
        with subprocess.Popen(
            command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        ) as visit:
            try:
                for words in SAID:
                    engineer.wait_for_the_voice(90)
                    server.play_into_microphone(recording(words)).wait(30)
                output, _ = visit.communicate(timeout=90)
            finally:
                visit.kill()
    assert visit.returncode == 0, output
    events = [entry.event for entry in read_journal(folder / "journal.jsonl").entries]
    readings = {e.item: e for e in events if isinstance(e, ReadingConfirmed)}
    assert {item: reading.value for item, reading in readings.items()} == {"cold_pressure": "1.2", "co2_max": "9.2"}
    assert all(r.clip and (folder / r.clip).exists() for r in readings.values())
    assert any(isinstance(e, Finished) and e.complete for e in events)
    heard = [e for e in events if isinstance(e, UtteranceHeard)]
    assert len(heard) == len(SAID), [e.words for e in heard]
    assert len([e for e in events if isinstance(e, Said)]) > len(SAID)
