"""A visit's folder in, its report in one or several formats out."""

from __future__ import annotations

import json
from pathlib import Path

import click

from handsfree.errors import BadInput, NeedsEngineer
from handsfree.record.journal import Altered
from handsfree.record.reading import read_visit
from handsfree.report.clips import ClipsAs
from handsfree.report.writing import FORMATS, Format, write_record


@click.command("report")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option(
    "--format", "formats", multiple=True, type=click.Choice(FORMATS), default=("html",), show_default=True,
    help="Give it several times for several formats. ics: calendar entries of what falls due.",
)  # fmt: skip
@click.option("--out", type=click.Path(path_type=Path), help="The file to write; by default report.FORMAT in DIR.")
@click.option(
    "--clips", type=click.Choice(["embed", "link", "none"]), default="embed", show_default=True,
    help="Sound in the HTML page: inside it, as links into DIR, or left out.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="One JSON object a written file.")
def command(folder: Path, formats: tuple[Format, ...], out: Path | None, clips: ClipsAs, as_json: bool) -> None:
    """Write the report of a visit. It can be written again at any time, also while the visit runs."""
    if out is not None and len(formats) > 1:
        raise BadInput(
            "--out names one file, but several formats are asked for", "leave --out away, or ask for one format"
        )
    record = read_visit(folder)
    for format in dict.fromkeys(formats):
        path = write_record(record, format, out=out, clips=clips)
        row = {"format": format, "file": str(path), "bytes": path.stat().st_size}
        click.echo(json.dumps(row) if as_json else str(path))
    if isinstance(record.ending, Altered):
        raise NeedsEngineer(
            f"the journal was altered at line {record.ending.line}; the report ends before it and says so",
            "handsfree verify names what does not check out",
        )
