"""Words on standard input, one utterance a line, in; what each comes to, a line each, out."""

from __future__ import annotations

import json
import os
import sys

import click

from handsfree.language import load_language
from handsfree.language.samples import expectation_of, outcome_line
from handsfree.model import Gas, Nothing, Unsure, outcome_to_json
from handsfree.settings import load_settings


@click.command("understand")
@click.option(
    "--expect", "what", default="any", show_default=True, metavar="WHAT", help="A kind of answer or a quantity's id."
)
@click.option("--gas", type=click.Choice(["ng", "lpg"]), default="ng", show_default=True, help="Natural gas or LPG.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def command(what: str, gas: Gas, as_json: bool) -> None:
    """Understand words: read utterances from standard input, one a line, and answer each line at once."""
    language = load_language(aliases=load_settings(os.environ).aliases_file)
    expectation = expectation_of(what, language.quantities, gas)
    if hasattr(sys.stdin, "reconfigure"):
        sys.stdin.reconfigure(encoding="utf-8", errors="replace", newline="\n")
    for line in sys.stdin:
        words = line.rstrip("\r\n")
        outcome = language.understand(words, expectation)
        if as_json:
            answer = json.dumps({"words": words, **outcome_to_json(outcome)}, ensure_ascii=True)
        else:
            reason = outcome.reason if isinstance(outcome, Unsure | Nothing) else ""
            answer = f"{outcome_line(outcome)}  ({reason})" if reason else outcome_line(outcome)
        click.echo(answer)
