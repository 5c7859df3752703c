"""This machine in; a line for each of its parts, and for each missing one its cure, out."""

from __future__ import annotations

import json
import os
from dataclasses import asdict

import click

from handsfree.doctor import Finding, examine
from handsfree.errors import MissingPart
from handsfree.settings import load_settings


@click.command("doctor")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@click.pass_context
def command(ctx: click.Context, as_json: bool) -> None:
    """Look at this machine: what a visit needs, what is missing, and the cure.

    Exit code 0 when nothing is missing, 3 when something is.
    """
    missing = 0
    for finding in examine(load_settings(os.environ)):
        missing += not finding.ok
        click.echo(json.dumps(asdict(finding)) if as_json else _line(finding))
    if missing and not as_json:
        click.echo(f"\n{missing} part{'' if missing == 1 else 's'} missing.")
    ctx.exit(MissingPart.exit_code if missing else 0)


def _line(finding: Finding) -> str:
    if finding.ok:
        return f"ok       {finding.part}: {finding.found}"
    lines = (f"missing  {finding.part}: {finding.found}", f"cure: {finding.cure}", f"needed for: {finding.needed_for}")
    return "\n         ".join(lines)
