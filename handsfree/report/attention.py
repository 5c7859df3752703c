"""The record of a visit in, the points that need the engineer out: the same words on page, paper and screen."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from handsfree.record.visit import Value, VisitRecord
from handsfree.report.job_facts import instruments
from handsfree.report.wording import print_date, print_label, print_moment, print_result, print_signs, print_value


@dataclass(frozen=True, slots=True)
class Point:
    """One thing that needs the engineer."""

    heading: str
    words: str
    event: int | None = None
    """number of the value's or result's event"""


def points_of(record: VisitRecord) -> tuple[Point, ...]:
    """Everything but the unsafe situations, which stand by themselves before these."""
    return tuple(_points(record))


def _points(record: VisitRecord) -> Iterator[Point]:
    for remark in record.remarks:
        yield Point("About the record.", remark)
    for end in record.earlier_ends:
        names = ", ".join(print_signs(name) for name in end.open_items)
        when = f"Ended first on {print_moment(end.time)}, taken up again on {print_moment(end.reopened_at)}."
        yield Point("Taken up again.", f"{when} Open at that end: {names}." if names else when, end.number)
    if record.changed_after_signing:
        yield Point(
            "Changed after it was signed.",
            "A value was amended or a photo added after the last sign-off; see the conversation.",
        )
    for tool in instruments(record):
        if tool.ran_out:
            name = print_label(f"{tool.name} ({tool.what})" if tool.what else tool.name)
            yield Point("Certificate run out.", f"{name}: valid until {print_date(tool.until)}, {tool.ran_out}.")
    for value in record.outside:
        printed = print_value(value) if isinstance(value, Value) else print_result(value)
        judged = print_signs(value.judgement.words) if value.judgement else ""
        accepted = "Read again and accepted by the engineer." if value.accepted else "Not accepted in this record."
        if value.judgement and value.judgement.result == "too_close":
            accepted = ""  # no verdict was given that could be accepted
        yield Point(f"{print_label(value.label)}: {printed},", f"{judged}. {accepted}".strip(), value.number)
    for label, because in record.left_out:
        yield Point(f"Not worked out: {print_label(label)}.", print_signs(because))
    for item in record.open_items:
        if item.state != "not asked":
            yield Point(f"Open: {print_label(item.label)}.", f"Left for later: {item.why}." if item.why else "")
    if missed := [print_signs(item.label) for item in record.open_items if item.state == "not asked"]:
        yield Point(f"Not reached ({len(missed)}):", f"{', '.join(missed)}.")
    for answer in record.values():
        if answer.unwelcome:
            yield Point(f"{print_label(answer.label)}: {print_value(answer)}.", "", answer.number)
        elif answer.absent:
            yield Point(f"{print_label(answer.label)}:", f"{print_value(answer)}.", answer.number)
    for cause in record.causes:
        yield Point("Cause found:", " ".join(t for t in (print_signs(cause.words), print_signs(cause.action)) if t))
    for query in record.queries:
        if query.answer == "no":
            yield Point("Readings that do not go together:", f"{print_signs(query.question)} Answered no.")
