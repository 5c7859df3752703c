"""The folder of a visit in, the visit carried on from where its journal ends."""

from __future__ import annotations

import os
from pathlib import Path

import click

from handsfree.commands.visit import Manner, hold_again, manner_options
from handsfree.settings import load_settings
from handsfree.voice import SpeakerKind


@click.command("resume")
@click.argument("folder", type=click.Path(path_type=Path))
@manner_options
def command(folder: Path, source: str, voice: SpeakerKind | None, as_json: bool) -> int:
    """Carry on with the visit in FOLDER, one item before where it was left.

    One that was ended with items open is taken up again after a yes; its first end stays in the record.
    """
    return hold_again(folder, Manner(source, voice, as_json), load_settings(os.environ))
