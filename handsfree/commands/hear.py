"""Recordings in, what was said in them out: a line for each utterance, and a line for a file without one."""

from __future__ import annotations

import dataclasses
import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from handsfree.audio.endpointing import segments_of
from handsfree.audio.wav import read_sound
from handsfree.commands.progress import counted, working
from handsfree.language import load_language
from handsfree.language.samples import expectation_of, outcome_line
from handsfree.language.unfinished import Unfinished
from handsfree.listeners.hearing import open_hearing
from handsfree.model import Expectation, Gas, Heard, ListenerReport, Nothing, Unsure, outcome_to_json
from handsfree.session import ListeningAhead
from handsfree.settings import load_settings

NO_UTTERANCE = Heard("", Nothing("no utterance in it"), reason="no utterance in it")


@click.command("hear")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE...")
@click.option(
    "--expect", "what", default="any", show_default=True, metavar="WHAT", help="A kind of answer or a quantity's id."
)
@click.option("--gas", type=click.Choice(["ng", "lpg"]), default="ng", show_default=True, help="Natural gas or LPG.")
@click.option("--listener", "names", multiple=True, help="Only these listeners: moonshine, whisper, vosk, phones.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def command(files: tuple[Path, ...], what: str, gas: Gas, names: tuple[str, ...], as_json: bool) -> None:
    """Hear recordings: cut each into utterances, and say what the listeners together support."""
    settings = load_settings(os.environ)
    language = load_language(aliases=settings.aliases_file)
    expectation = expectation_of(what, language.quantities, gas)
    hearing = open_hearing(language, settings, names or None)
    ears = ListeningAhead(hearing, Unfinished(language))
    try:
        with working("Loading the listeners ..."):
            hearing.wait_until_ready()
        for file in counted(files, "Listening"):
            for heard in utterances(file, ears, expectation):
                click.echo(json.dumps(heard_to_json(file, heard)) if as_json else _line(file, heard))
    finally:
        ears.close()
        hearing.close()


def utterances(file: Path, ears: ListeningAhead, expectation: Expectation) -> Iterator[Heard]:
    """What was said in a file, utterance by utterance; one empty `Heard` when there is none. As in a visit, a pause
    behind the beginning of a longer answer ends nothing.

    Raises:
        BadInput: the file is not readable sound.
    """
    samples = read_sound(file).samples
    ears.prepare(expectation)
    heard = None
    for segment in segments_of(samples, hold_open=ears.pause_behind_known):
        heard = ears.hear(segment, expectation)
        yield heard
    if heard is None:
        yield NO_UTTERANCE


def heard_to_json(file: Path, heard: Heard) -> dict[str, Any]:
    """One line of `hear --json`."""
    row = outcome_to_json(heard.outcome)
    return {
        "file": str(file),
        "start_s": round(heard.start_s, 3),
        "end_s": round(heard.end_s, 3),
        "words": heard.words,
        **row,
        "listeners": [_report_to_json(r) for r in heard.listeners],
        "reason": heard.reason or row.get("reason"),
    }


def _report_to_json(report: ListenerReport) -> dict[str, Any]:
    return {**dataclasses.asdict(report), "outcome": outcome_to_json(report.outcome), "scores": dict(report.scores)}


def _line(file: Path, heard: Heard) -> str:
    text = f"{file}  {heard.start_s:.2f}-{heard.end_s:.2f} s  {outcome_line(heard.outcome)}"
    reason = heard.outcome.reason if isinstance(heard.outcome, Unsure | Nothing) else heard.reason
    return f"{text}  ({reason})" if reason else text
