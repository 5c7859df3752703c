"""The job of a visit in, people, boiler and instruments as the report prints them out."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass

from handsfree.record.visit import VisitRecord
from handsfree.report.wording import print_date, print_key

IDENTITY = (
    ("customer", "Customer", ("name", "address", "postcode", "telephone")),
    ("boiler", "Boiler", ("make", "model", "type", "gas", "serial", "gc_number", "flue", "location", "installed")),
    ("engineer", "Engineer", ("name", "business", "registration", "card")),
)
"""Tables of the job file that a report prints, and their keys in order."""

_WORDS = {
    ("gas", "ng"): "natural gas",
    ("gas", "lpg"): "LPG",
    ("type", "combi"): "combination boiler",
    ("type", "system"): "system boiler",
}


@dataclass(frozen=True, slots=True)
class Instrument:
    """An instrument that was used, with its certificate."""

    name: str
    what: str
    """make and model"""
    serial: str
    until: str
    """ISO date"""
    days: int | None
    """from the visit to the last day of the certificate; negative: it had run out"""


def identity(record: VisitRecord) -> list[tuple[str, list[tuple[str, str]]]]:
    """Customer, boiler and engineer: heading, then label and value."""
    found = []
    for table, heading, keys in IDENTITY:
        rows = record.job.get(table)
        if not isinstance(rows, Mapping):
            continue
        pairs = [(print_key(k), _job_value(k, rows[k])) for k in keys if rows.get(k) not in (None, "")]
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


def instruments(record: VisitRecord) -> list[Instrument]:
    """The instruments of the job."""
    rows = record.job.get("instruments")
    found = []
    for name, row in rows.items() if isinstance(rows, Mapping) else ():
        if isinstance(row, Mapping):
            until = str(row.get("certificate_until", ""))
            what = " ".join(str(row[k]) for k in ("make", "model") if row.get(k))
            days = _days_between(record.date, until)
            found.append(Instrument(name.replace("_", " "), what, str(row.get("serial", "")), until, days))
    return found


def _job_value(key: str, value: object) -> str:
    text = str(value)
    return _WORDS.get((key, text)) or print_date(text)


def _days_between(first: str, last: str) -> int | None:
    try:
        return (datetime.date.fromisoformat(last) - datetime.date.fromisoformat(first)).days
    except ValueError:
        return None
