"""The record of a visit in, calendar entries of what falls due out (RFC 5545)."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta

from handsfree.errors import BadInput, MissingPart
from handsfree.record.visit import ResultValue, VisitRecord
from handsfree.report.job_facts import headline
from handsfree.report.wording import print_label

REMIND_BEFORE = {"service_due": 28, "landlord_due": 56, "registration_due": 7}
"""Computation -> days before the day to remind (a landlord's check may be done in the two months before it)."""


@dataclass(frozen=True, slots=True)
class Due:
    """Something that falls due on a day."""

    result: ResultValue
    day: datetime.date


def due_dates(record: VisitRecord) -> Iterator[Due]:
    """The days that this visit's results name."""
    for result in record.standing_results():
        if result.computation not in REMIND_BEFORE or not result.results:
            continue
        try:
            yield Due(result, datetime.date.fromisoformat(str(result.results[0].get("value"))))
        except ValueError:
            continue


def render_calendar(record: VisitRecord) -> bytes:
    """An all-day entry with a reminder for each day that falls due. Taking the file in twice makes no second entry.

    Raises:
        BadInput: nothing falls due in this visit.
        MissingPart: the calendar library is not installed.
    """
    due = list(due_dates(record))
    if not due:
        raise BadInput(
            f"nothing falls due in the visit {record.path}",
            "its plan works out no service_due, registration_due or landlord_due, or an answer for it is open",
        )
    try:
        import icalendar
    except ImportError:
        raise MissingPart("calendar files need the library icalendar", "pip install 'handsfree[report]'") from None
    calendar = icalendar.Calendar()
    calendar.add("prodid", "-//handsfree//visit record//EN")
    calendar.add("version", "2.0")
    where = headline(record)
    for item in due:
        entry = icalendar.Event()
        entry.add("uid", f"{record.identity}-{item.result.item}@handsfree")
        entry.add("dtstamp", datetime.datetime.fromisoformat(record.ended).astimezone(datetime.UTC))
        entry.add("dtstart", item.day)
        entry.add("dtend", item.day + timedelta(days=1))
        entry.add("transp", "TRANSPARENT")
        entry.add("summary", f"{print_label(item.result.label)} due: {where[0] if where else record.title}")
        entry.add("description", f"{item.result.formula}. Source: {item.result.source} ({item.result.sure}).")
        if len(where) > 1:
            entry.add("location", where[-1])
        alarm = icalendar.Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", f"{print_label(item.result.label)} due {item.day.isoformat()}")
        alarm.add("trigger", timedelta(days=-REMIND_BEFORE[item.result.computation]))
        entry.add_component(alarm)
        calendar.add_component(entry)
    content: bytes = calendar.to_ical()
    return content
