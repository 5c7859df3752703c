"""The recorded visit that comes with the program in, its report out."""

from __future__ import annotations

import datetime as dt
import os
import tempfile
from pathlib import Path

import click

import handsfree
from handsfree.commands.visit import Manner, hold_new_visit
from handsfree.errors import MissingPart
from handsfree.plans import example_job, load_job, load_plan
from handsfree.settings import load_settings

RECORDED_ON = dt.date(2026, 11, 20)
"""The date on site that the recordings were made for: certificates are in date on it."""


def recorded_visit() -> Path:
    """The folder of the recordings: inside an installed wheel, or in a checkout.

    Raises:
        MissingPart: it is in neither.
    """
    package = Path(handsfree.__file__).parent
    for folder in (package / "_audio_fixtures" / "visit", package.parent / "audio_fixtures" / "visit"):
        if folder.is_dir():
            return folder
    raise MissingPart("the recorded visit is not there", "install handsfree anew")


@click.command("demo")
@click.option(
    "--folder", type=click.Path(path_type=Path), help="The visit's folder (made new). Default: a temporary one."
)
@click.option("--json", "as_json", is_flag=True, help="Every event as a JSON line, nothing else.")
def command(folder: Path | None, as_json: bool) -> int:
    """A recorded commissioning visit, from its sound to its report. No microphone needed."""
    where = folder or Path(tempfile.mkdtemp(prefix="handsfree-demo-")) / "visit"
    manner = Manner(str(recorded_visit()), "printed", as_json)
    return hold_new_visit(
        load_plan("short_commissioning"), load_job(example_job()), where, RECORDED_ON, manner, load_settings(os.environ)
    )
