"""A visit survives being killed at any moment, as often as it happens."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.timeout(600)
def test_three_hundred_kills_lose_nothing(tmp_path: Path) -> None:
    """Whole visits killed 300 times are carried on to their complete end with every confirmed value, its clip and its event."""
    script = Path(__file__).with_name("visit_kill_loop.py")
    done = subprocess.run([sys.executable, script, tmp_path, "300"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    kills, _, visits, values = map(int, re.findall(r"\d+", done.stdout))
    assert kills == 300
    assert visits >= 3
    assert values >= 25 * visits
