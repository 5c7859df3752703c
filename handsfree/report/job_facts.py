"""The job of a visit in, people, boiler and instruments as the report prints them out."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass

from handsfree.record.visit import AMENDED, VisitRecord
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
    """from the last day on which the visit read values to the last day of the certificate; negative: it had run out"""
    ran_out: str = ""
    """when it had run out, in words"""


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
    """The instruments of the job. A visit that was taken up again on a later day used them then too."""
    rows = record.job.get("instruments")
    found = []
    for name, row in rows.items() if isinstance(rows, Mapping) else ():
        if isinstance(row, Mapping):
            until = str(row.get("certificate_until", ""))
            what = " ".join(str(row[k]) for k in ("make", "model") if row.get(k))
            first = _days_between(record.date, until)
            days = None if first is None else first - days_held(record)
            ran_out = "" if days is None or days >= 0 else "before the visit"
            if ran_out and first is not None and first >= 0:
                ran_out = "before the visit's last day"
            found.append(Instrument(name.replace("_", " "), what, str(row.get("serial", "")), until, days, ran_out))
    return found


def days_held(record: VisitRecord) -> int:
    """Days from the first event of a visit to its last value that was not amended in review; 0 for a visit of one day.

    The date of the visit is the one that was given when it began; the journal's clock says how much later values were read.
    """
    read = [v.time[:10] for i in record.items() for v in (*i.values, *i.earlier) if v.how != AMENDED]
    return max(_days_between(record.began[:10], max(read, default="")) or 0, 0)


def _job_value(key: str, value: object) -> str:
    text = str(value)
    return _WORDS.get((key, text)) or print_date(text)


def _days_between(first: str, last: str) -> int | None:
    try:
        return (datetime.date.fromisoformat(last) - datetime.date.fromisoformat(first)).days
    except ValueError:
        return None
