"""The record of a visit in, one HTML file out that needs nothing else: no script, no request."""

from __future__ import annotations

import functools
from importlib import resources

import jinja2
from markupsafe import Markup

from handsfree.record.visit import ResultValue, Value, VisitRecord
from handsfree.report import wording
from handsfree.report.attention import points_of
from handsfree.report.cautions import CAUTIONS, NOT_SAFE, state_of
from handsfree.report.clips import ClipSounds
from handsfree.report.gauge import draw_gauge
from handsfree.report.job_facts import headline, identity, instruments


def render_page(record: VisitRecord, sounds: ClipSounds) -> str:
    """The report as HTML."""
    style = resources.files("handsfree.report").joinpath("templates/report.css").read_text(encoding="utf-8")
    return (
        _environment()
        .get_template("report.html")
        .render(
            r=record,
            style=Markup(style),
            sound=sounds.address,
            picture=sounds.picture,
            identity=identity(record),
            headline=headline(record),
            instruments=instruments(record),
            points=points_of(record),
            weak=weak_grades(record),
            state=state_of(record),
            not_safe=NOT_SAFE,
            cautions=CAUTIONS,
        )
    )


@functools.cache
def _environment() -> jinja2.Environment:
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
        row_words=wording.print_row,
        given=wording.print_given,
        gauge=draw_gauge,
        sure=lambda grade: wording.SURE.get(grade, grade),
    )
    return environment


def weak_grades(record: VisitRecord) -> list[str]:
    """The grades of sources that need a mark in this report."""
    judged: list[Value | ResultValue] = [*record.values(), *record.standing_results()]
    grades = {v.judgement.weak for v in judged if v.judgement is not None}
    grades |= {r.weak for r in record.standing_results()}
    return [g for g in wording.SURE if g in grades]
