"""Many visits in; an index of them, the ones that fit, and values through the years out."""

from __future__ import annotations

import json
import os
from dataclasses import asdict
from decimal import Decimal, InvalidOperation
from itertools import groupby
from pathlib import Path

import click

from handsfree.errors import NeedsEngineer
from handsfree.record.archive import Archive, ValueFound, VisitFound
from handsfree.report.wording import print_label, print_unit
from handsfree.settings import load_settings
from handsfree.trade.trends import worth_looking_into

_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")


@click.group("archive")
def command() -> None:
    """Find visits and follow values over many visits. The index is a cache: archive index builds it again."""


def _archive() -> Archive:
    return Archive(load_settings(os.environ).cache_folder / "archive.sqlite")


@command.command("index")
@click.argument("folders", nargs=-1, type=click.Path(path_type=Path), metavar="[DIR]...")
@_JSON
def index(folders: tuple[Path, ...], as_json: bool) -> None:
    """Take in every visit below DIR (by default the folder where visits are kept)."""
    settings = load_settings(os.environ)
    settings.data_folder.mkdir(parents=True, exist_ok=True)
    with _archive() as archive:
        done = archive.index(list(folders) or [settings.data_folder])
    if as_json:
        click.echo(json.dumps(asdict(done)))
    else:
        click.echo(f"{done.taken} taken in, {done.unchanged} unchanged, {done.gone} gone")
        for refused in done.refused:
            click.echo(f"not taken: {refused}")
    if done.refused:
        raise NeedsEngineer(f"{len(done.refused)} folders could not be taken in", "handsfree verify says what is wrong")


@command.command("find")
@click.argument("words", nargs=-1, metavar="[WORD]...")
@click.option("--since", default="", metavar="DATE", help="Visits on or after this day (2026-11-25).")
@click.option("--until", default="", metavar="DATE", help="Visits on or before this day.")
@click.option(
    "--needing", is_flag=True, help="Only those with something open, outside a limit, unsafe or not complete."
)
@_JSON
def find(words: tuple[str, ...], since: str, until: str, needing: bool, as_json: bool) -> None:
    """Visits whose people, place, boiler or title hold every WORD, the latest first."""
    with _archive() as archive:
        found = archive.find(words, since, until, needing)
    for visit in found:
        click.echo(json.dumps(asdict(visit), ensure_ascii=True) if as_json else _visit_line(visit))
    if not found and not as_json:
        click.echo("no visit fits; handsfree archive index takes new visits in")


@command.command("trend")
@click.argument("quantity")
@click.argument("words", nargs=-1, metavar="[WORD]...")
@click.option("--qualifier", default="", help="maximum, minimum, cold, hot, before or after.")
@_JSON
def trend(quantity: str, words: tuple[str, ...], qualifier: str, as_json: bool) -> None:
    """The values of a QUANTITY (or item) over the visits that hold every WORD, boiler by boiler, with the change."""
    with _archive() as archive:
        found = archive.trend(quantity, words, qualifier)
    if as_json:
        for before, value in zip([None, *found], found, strict=False):
            row = {**asdict(value), "investigate": _why(before, value) or None}
            click.echo(json.dumps(row, ensure_ascii=True))
        return
    for (serial, label), values in groupby(found, key=lambda v: (v.serial, v.label)):
        click.echo(f"{serial or 'no serial number'}: {print_label(label)}")
        last: ValueFound | None = None
        for value in values:
            change = _change(last, value)
            verdict = f"  {value.verdict.replace('_', ' ')}" if value.verdict else ""
            click.echo(f"  {value.date}  {value.value:>10} {print_unit(value.unit):<6}{change:>12}{verdict}")
            if why := _why(last, value):
                click.echo(f"              {why}")
            last = value


def _visit_line(visit: VisitFound) -> str:
    marks = [f"{visit.open} open"] if visit.open else []
    marks += [f"{visit.outside} outside"] if visit.outside else []
    marks += [f"{visit.unsafe} unsafe"] if visit.unsafe else []
    marks += [] if visit.complete else ["not complete"]
    who = ", ".join(t for t in (visit.customer, visit.address, f"{visit.boiler} {visit.serial}".strip()) if t)
    return (
        f"{visit.date}  {visit.title}; {who}"
        + (f"  [{', '.join(marks)}]" if marks else "")
        + f"\n            {visit.path}"
    )


def _why(before: ValueFound | None, now: ValueFound) -> str:
    """Why the change from the visit before should be looked into; empty across boilers, items and states."""
    if before is None:
        return ""
    same = (before.serial, before.label, before.qualifier) == (now.serial, now.label, now.qualifier)
    if not (same and now.serial) or before.path == now.path or not _change(before, now):
        return ""
    return worth_looking_into(now.quantity, now.unit, Decimal(before.value), Decimal(now.value))


def _change(last: ValueFound | None, value: ValueFound) -> str:
    if last is None or last.unit != value.unit:
        return ""
    try:
        difference = Decimal(value.value) - Decimal(last.value)
    except InvalidOperation:
        return ""
    return f"{difference:+f}"
