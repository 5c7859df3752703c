"""Dates in, dates due out. Calendar months, local dates, no clock of our own."""

from __future__ import annotations

import calendar
import datetime

from handsfree.errors import BadInput

REGISTRATION_DAYS = 30
"""days, several makers' public terms; the maker's own number goes before it"""


def add_months(day: datetime.date, months: int) -> datetime.date:
    """The same day `months` months later (or earlier); the month's last day where it is too short (29 Feb -> 28 Feb).

    Source: ours for 29 Feb. Raises BadInput beyond the years 1 to 9999.
    """
    year, month0 = divmod(day.year * 12 + day.month - 1 + months, 12)
    if not datetime.MINYEAR <= year <= datetime.MAXYEAR:
        raise BadInput(f"{day} and {months} months is the year {year}; it must be from 1 to 9999", "check the date")
    last = calendar.monthrange(year, month0 + 1)[1]
    return datetime.date(year, month0 + 1, min(day.day, last))


def registration_due(installed: datetime.date, days: int = REGISTRATION_DAYS) -> datetime.date:
    """Last day to register the guarantee: installation + `days` days, counted. Source: several makers' public terms."""
    if not 1 <= days <= 366:
        raise BadInput(f"days is {days}; it must be from 1 to 366", "take the number from the maker's terms")
    try:
        return installed + datetime.timedelta(days=days)
    except OverflowError:
        raise BadInput(f"installed is {installed}; the due date is beyond the year 9999", "check the date") from None


def service_due(last: datetime.date, months: int = 12) -> datetime.date:
    """Day the next yearly service is due: last + 12 months.

    Source: makers' public terms (yearly); their tolerance varies.
    """
    if not 1 <= months <= 60:
        raise BadInput(f"months is {months}; it must be from 1 to 60", "take the number from the maker's terms")
    return add_months(last, months)


def landlord_due(deadline: datetime.date, done: datetime.date) -> datetime.date:
    """Next landlord check: done in the two months before the deadline keeps its day; else 12 months from `done`.

    Source: Gas Safety (Installation and Use) Regulations 1998, regulation 36A, as in a public worked example.
    """
    if add_months(deadline, -2) <= done <= deadline:
        return add_months(deadline, 12)
    return add_months(done, 12)


def certificate_due(issued: datetime.date, months: int = 12) -> datetime.date:
    """Last day on which an instrument's certificate is taken as valid: issued + 12 months.

    Source: common practice for the 12 months.
    """
    if not 1 <= months <= 60:
        raise BadInput(f"months is {months}; it must be from 1 to 60", "take it from the certificate")
    return add_months(issued, months)


def certificate_state(due: datetime.date, on: datetime.date) -> str:
    """How an instrument's certificate stands on the day of the visit: "in date", "due within 30 days" or "out of date".

    An analyser out of date gives no combustion verdict. Source: valid certificate needed (published); the 30 days are
    ours.
    """
    if on > due:
        return "out of date"
    return "due within 30 days" if (due - on).days <= 30 else "in date"
