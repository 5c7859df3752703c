"""The record of a visit in, one HTML file out that needs nothing else: no script, no request."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from importlib import resources
from typing import Any

import jinja2
from markupsafe import Markup

from handsfree.record.visit import ResultValue, Value, VisitRecord
from handsfree.report import wording
from handsfree.report.clips import ClipSounds
from handsfree.report.gauge import draw_gauge

IDENTITY = (
    ("customer", "Customer", ("name", "address", "postcode", "telephone")),
    ("boiler", "Boiler", ("make", "model", "type", "gas", "serial", "gc_number", "flue", "location", "installed")),
    ("engineer", "Engineer", ("name", "business", "registration", "card")),
)
"""Tables of the job file that head the report, and their keys in order."""

_GASES = {"ng": "natural gas", "lpg": "LPG"}
_TYPES = {"combi": "combination boiler", "system": "system boiler"}


def render_page(record: VisitRecord, sounds: ClipSounds) -> str:
    """The report as HTML."""
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("handsfree.report", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(
        label=wording.print_label,
        signs=wording.print_signs,
        unit=wording.print_unit,
        moment=wording.print_moment,
        time=wording.print_time,
        date=wording.print_date,
        number=wording.print_number,
        spread=wording.print_spread,
        value=wording.print_value,
        result=wording.print_result,
        bounds=wording.print_bounds,
        gauge=draw_gauge,
        sure=lambda grade: wording.SURE.get(grade, grade),
        given=wording.print_given,
    )
    style = resources.files("handsfree.report").joinpath("templates/report.css").read_text(encoding="utf-8")
    return environment.get_template("report.html").render(
        r=record,
        style=Markup(style),
        sound=sounds.address,
        identity=identity(record),
        headline=headline(record),
        instruments=instruments(record),
        weak=weak_grades(record),
        absent=[v for v in record.values() if v.absent],
        unwelcome=[v for v in record.values() if v.unwelcome],
    )


def identity(record: VisitRecord) -> list[tuple[str, list[tuple[str, str]]]]:
    """Customer, boiler and engineer as the job file has them: heading, then label and value."""
    found = []
    for table, heading, keys in IDENTITY:
        rows = record.job.get(table)
        if not isinstance(rows, Mapping):
            continue
        pairs = [(wording.print_key(k), _job_value(k, rows[k])) for k in keys if rows.get(k) not in (None, "")]
        if pairs:
            found.append((heading, pairs))
    return found


def headline(record: VisitRecord) -> list[str]:
    """The boiler and the place, a line each."""

    def line(table: str, keys: tuple[str, ...], between: str) -> str:
        rows = record.job.get(table)
        return between.join(str(rows[k]) for k in keys if rows.get(k)) if isinstance(rows, Mapping) else ""

    boiler = line("boiler", ("make", "model"), " ")
    serial = line("boiler", ("serial",), "")
    lines = (f"{boiler}, serial {serial}" if serial else boiler, line("customer", ("name", "address"), ", "))
    return [text for text in lines if text]


def instruments(record: VisitRecord) -> list[dict[str, Any]]:
    """The instruments with their certificates; a certificate that had run out on the day is marked."""
    rows = record.job.get("instruments")
    found = []
    for name, row in rows.items() if isinstance(rows, Mapping) else ():
        if not isinstance(row, Mapping):
            continue
        until = str(row.get("certificate_until", ""))
        what = " ".join(str(row[k]) for k in ("make", "model") if row.get(k))
        found.append(
            {
                "name": name.replace("_", " "),
                "what": what,
                "serial": row.get("serial", ""),
                "until": until,
                "days": _days_between(record.date, until),
            }
        )
    return found


def weak_grades(record: VisitRecord) -> list[str]:
    """The grades of sources that need a mark in this report."""
    judged: list[Value | ResultValue] = [*record.values(), *record.standing_results()]
    grades = {v.judgement.weak for v in judged if v.judgement is not None}
    grades |= {r.weak for r in record.standing_results()}
    return [g for g in wording.SURE if g in grades]


def _job_value(key: str, value: object) -> str:
    text = str(value)
    if key == "gas":
        return _GASES.get(text, text)
    if key == "type":
        return _TYPES.get(text, text)
    return wording.print_date(text)


def _days_between(first: str, last: str) -> int | None:
    try:
        return (datetime.date.fromisoformat(last) - datetime.date.fromisoformat(first)).days
    except ValueError:
        return None
