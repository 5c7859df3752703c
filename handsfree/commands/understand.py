"""Words on standard input, one utterance a line, in; what each comes to, a line each, out."""

from __future__ import annotations

import json
import os
import sys

import click

from handsfree.errors import BadInput
from handsfree.language import Language, load_language
from handsfree.language.samples import outcome_line
from handsfree.model import Expectation, Gas, outcome_to_json
from handsfree.settings import load_settings

KINDS = ("any", "number", "digits", "letters", "serial", "date", "time", "yes_no")


def expectation_of(what: str, gas: Gas, language: Language) -> Expectation:
    """The expectation that `--expect` names: a kind, or the id of a quantity.

    Raises:
        BadInput: it is neither.
    """
    for kind in KINDS:
        if what == kind:
            return Expectation(kind, gas=gas)
    if what in language.quantities:
        return Expectation("quantity", what, gas=gas)
    from rapidfuzz import fuzz, process  # late: only to help with a slip

    near = process.extractOne(what, [*KINDS, *language.quantities], scorer=fuzz.ratio)
    hint = f"did you mean {near[0]}? " if near and near[1] > 60 else ""
    raise BadInput(
        f"--expect {what!r} is neither a kind of answer nor a quantity",
        f"{hint}kinds are {', '.join(KINDS)}; quantities are {', '.join(language.quantities)}",
    )


@click.command("understand")
@click.option("--expect", "what", default="any", show_default=True, metavar="WHAT", help="A kind of answer or a quantity's id.")
@click.option("--gas", type=click.Choice(["ng", "lpg"]), default="ng", show_default=True, help="Natural gas or LPG.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def command(what: str, gas: Gas, as_json: bool) -> None:
    """Understand words: read utterances from standard input, one a line, and answer each line at once."""
    language = load_language(aliases=load_settings(os.environ).aliases_file)
    expectation = expectation_of(what, gas, language)
    if hasattr(sys.stdin, "reconfigure"):
        sys.stdin.reconfigure(encoding="utf-8", errors="replace", newline="\n")
    for line in sys.stdin:
        words = line.rstrip("\r\n")
        outcome = language.understand(words, expectation)
        if as_json:
            answer = json.dumps({"words": words, **outcome_to_json(outcome)}, ensure_ascii=True)
        else:
            answer = outcome_line(outcome) + (f"  ({outcome.reason})" if getattr(outcome, "reason", "") else "")
        click.echo(answer)
