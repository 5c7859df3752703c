"""The grammar folder and the engineer's own words in; what is wrong with them, or what can be said, out."""

from __future__ import annotations

import json
import os
from pathlib import Path

import click

from handsfree.errors import BadInput, NeedsEngineer
from handsfree.language import Language, load_language
from handsfree.language.lint import Finding, lint, own_words_without_a_sound
from handsfree.listeners.models import pronounced_words
from handsfree.settings import load_settings

_GRAMMARS = click.option(
    "--grammars",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="A folder of one language, or of languages, instead of the program's own.",
)
_WORDS = click.option(
    "--words",
    type=click.Path(path_type=Path),
    help="A file of your own words instead of the one that the settings name.",
)
_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")


@click.group("grammar")
def command() -> None:
    """Look over the grammar and your own words; list what can be named."""


@command.command("check")
@_GRAMMARS
@_WORDS
@_JSON
def check(grammars: Path | None, words: Path | None, as_json: bool) -> None:
    """Find phrases that cannot be reached or sound alike, samples that fail, words that a listener cannot hear.

    Exit code 0 when nothing is wrong (warnings are allowed), 1 when something is, 2 when a file does not read or an
    own word clashes.
    """
    language, own = _load(grammars, words)
    pronounced = pronounced_words()
    errors = lint(language, pronounced)
    warnings = own_words_without_a_sound(language, own, pronounced) if pronounced is not None else ()
    for weight, findings in (("error", errors), ("warning", warnings)):
        for finding in findings:
            click.echo(_line(weight, finding, as_json))
    if not as_json:
        count = len(language.grammar.aliases)
        click.echo(f"{language.grammar.folder}: {len(language.grammar.samples)} samples looked at")
        click.echo(
            f"{own}: {f'{count} own word' + 's' * (count != 1) if own.exists() else 'no such file, so no own words'}"
        )
    if errors:
        count = len(errors)
        raise NeedsEngineer(f"{count} finding{'' if count == 1 else 's'}", "correct the lines named above")


@command.command("list")
@_GRAMMARS
@_WORDS
@_JSON
def list_meanings(grammars: Path | None, words: Path | None, as_json: bool) -> None:
    """The quantities and commands, by the id that a file of own words names, with what can be said for each."""
    language, _ = _load(grammars, words)
    rows = [(q.id, "quantity", q.unit, (*q.names, *q.shared)) for q in language.quantities.values()]
    rows += [(c.id, "command", "", c.phrases) for c in language.grammar.commands]
    for meaning, kind, unit, said in rows:
        row = {"id": meaning, "kind": kind, "unit": unit or None, "said": list(said)}
        click.echo(json.dumps(row) if as_json else f"{meaning:24}{unit or kind:10}{', '.join(said)}")


def _load(grammars: Path | None, words: Path | None) -> tuple[Language, Path]:
    if words is not None and not words.is_file():
        raise BadInput(f"word file {words} does not exist", 'make it: [words], then "the bottle" = "vessel_charge"')
    own = words or load_settings(os.environ).aliases_file
    return load_language(grammars, own), own


def _line(weight: str, finding: Finding, as_json: bool) -> str:
    if as_json:
        return json.dumps({"weight": weight, "where": finding.where, "message": finding.what})
    return f"{finding.where}: {weight}: {finding.what}"
