"""The record of a visit in, a PDF for paper out (tagged for readers of screens, made without a network)."""

from __future__ import annotations

import json
import re
from importlib import resources
from typing import Any

from handsfree.errors import MissingPart
from handsfree.record.visit import ItemRecord, ResultRecord, UnsafeRecord, Value, VisitRecord
from handsfree.report import wording
from handsfree.report.attention import points_of
from handsfree.report.cautions import CAUTIONS, NOT_SAFE, state_of
from handsfree.report.job_facts import headline, identity, instruments
from handsfree.report.page import weak_grades

_MAY_LACK = re.compile("[^ -~\u00a0-\u04ff\u1e00-\u22ff]")
"""all but Latin, Greek, Cyrillic, punctuation and the signs of sums"""


def render_paper(record: VisitRecord) -> bytes:
    """The report as PDF/UA-1.

    Raises:
        MissingPart: the typesetter is not installed.
    """
    try:
        import typst
    except ImportError:
        raise MissingPart("PDF reports need the library typst", "pip install 'handsfree[report]'") from None
    template = resources.files("handsfree.report").joinpath("templates/report.typ").read_bytes()

    def made_of(facts: Any) -> bytes:
        inputs = {"visit": json.dumps(facts, ensure_ascii=False)}
        # The fonts that come inside the typesetter make the same pages on every machine.
        made = typst.compile(template, format="pdf", sys_inputs=inputs, ignore_system_fonts=True, pdf_standards="ua-1")
        assert isinstance(made, bytes)
        return made

    facts = paper_facts(record)
    try:
        return made_of(facts)
    except (typst.TypstError, UnicodeEncodeError):
        # A sign that no font has (a picture sign, a control character, half a character) must not cost the whole report.
        return made_of(_in_our_fonts(facts))


def _in_our_fonts(fact: Any) -> Any:
    """The same facts with a question mark for every sign that the fonts may lack."""
    if isinstance(fact, str):
        return _MAY_LACK.sub("?", fact)
    if isinstance(fact, dict):
        return {key: _in_our_fonts(value) for key, value in fact.items()}
    return [_in_our_fonts(each) for each in fact] if isinstance(fact, list | tuple) else fact


def paper_facts(record: VisitRecord) -> dict[str, Any]:
    """Everything that the template prints, in words."""
    day = f"{wording.print_date(record.date)}, {wording.print_time(record.began)} to {wording.print_time(record.ended)}"
    engineer = record.job.get("engineer")
    return {
        "title": record.title,
        "author": str(engineer.get("name", "")) if isinstance(engineer, dict) else "",
        "lines": [day, *headline(record)],
        "state": state_of(record),
        "not_safe": NOT_SAFE,
        "unsafe": [_unsafe(u) for u in record.unsafe],
        "points": [{"heading": p.heading, "words": p.words} for p in points_of(record)],
        "chunks": [
            {"title": wording.print_label(c.title), "rows": [row for item in c.items for row in _item_rows(item)]}
            for c in record.chunks
            if c.items
        ],
        "results": [_result_row(r) for r in record.results if r.current is not None],
        "corrections": [
            f"{wording.print_label(c.label)}: {wording.print_value(c.old)} "
            + (f"became {wording.print_value(c.new)} at {wording.print_time(c.time)}" if c.new else "no longer stands")
            + f". Reason: {c.reason}."
            for c in record.corrections
        ],
        "notes": [
            *(_beside(n.label, n.words, "words as heard, unchecked") for n in record.notes),
            *(_beside(p.label, p.words, f"photo {p.file}, unchecked") for p in record.photos),
            *(f"{wording.print_signs(q.question)} {q.answer or 'No answer.'}" for q in record.queries),
        ],
        "identity": [
            {"heading": heading, "words": "; ".join(f"{key} {text}" for key, text in pairs)}
            for heading, pairs in identity(record)
        ],
        "instruments": [
            f"{wording.print_label(i.name)}: {i.what}, serial {i.serial}, "
            f"certificate until {wording.print_date(i.until)}"
            for i in instruments(record)
        ],
        "signatures": [f"{s.name}, {wording.print_moment(s.time)}. {s.statement}".strip() for s in record.signatures],
        "cautions": list(CAUTIONS),
        "grades": [{"name": g, "words": wording.SURE[g]} for g in weak_grades(record)],
        "journal": f"Made by handsfree {record.program} from a journal of {record.events} events; the sound of each "
        f"utterance is kept with it. Last hash: {record.last_hash}",
        "footer": f"{record.title}, {wording.print_date(record.date)}",
    }


def _beside(label: str, words: str, what: str) -> str:
    said = f"“{words}” " if words else ""
    return (f"{wording.print_label(label)}: " if label else "") + f"{said}({what})"


def _unsafe(unsafe: UnsafeRecord) -> dict[str, Any]:
    at = wording.print_time(unsafe.time)
    lines = [f"{at}: “{unsafe.words}”" if unsafe.words else at]
    for question, answer, words, _ in unsafe.answers:
        lines.append(f"{question} {answer}" + (f": “{words}”" if words else ""))
    if unsafe.cleared_at:
        at = wording.print_time(unsafe.cleared_at)
        lines.append(f"{at}: work may go on, in the engineer’s words: “{unsafe.cleared_words}”")
    else:
        lines.append("Nothing in this record says that it was dealt with.")
    return {"heading": f"Unsafe situation recorded: {wording.print_signs(unsafe.label)}", "lines": lines}


def _item_rows(item: ItemRecord) -> list[dict[str, Any]]:
    rows = [_value_row(value, item) for value in item.values]
    if not rows or item.state == "open":
        state = {"answered": "done", "not asked": "not reached"}.get(item.state, item.state)
        label = wording.print_label(item.label)
        rows.append(_row(label, state, "", "", item.why, "", flagged=item.state == "open"))
    return rows


def _value_row(value: Value, item: ItemRecord) -> dict[str, Any]:
    several = len({v.round for v in item.values}) > 1
    label = wording.print_label(value.label) + (f" (round {value.round})" if several else "")
    heard = f"“{value.words}”" if value.words else ""
    how = f"{value.how or 'confirmed'}, {wording.print_time(value.time)}"
    verdict, source, outside = _verdict(value, item.not_judged)
    return _row(label, wording.print_value(value), verdict, source, heard, how, outside=outside, flagged=outside)


def _result_row(result: ResultRecord) -> dict[str, Any]:
    done = result.current
    assert done is not None
    verdict, source, outside = _verdict(done, result.not_judged)
    spread = wording.print_spread(done.results[0]) if done.results else ""
    value = f"{wording.print_result(done)} {spread}".strip()
    authority = f"{done.source} ({done.weak})" if done.weak else done.source
    formula = wording.print_signs(done.formula)
    how = f"from {wording.print_given(done.given)}. {authority}"
    return _row(wording.print_label(done.label), value, verdict, source, formula, how, outside=outside, flagged=outside)


def _verdict(value: Any, not_judged: str) -> tuple[str, str, bool]:
    judgement = value.judgement
    if judgement is None:
        return (f"not compared: {not_judged}" if not_judged else "", "", False)
    source = str(judgement.limit.get("source") or "source not recorded")
    source += f" ({judgement.weak})" if judgement.weak else ""
    source += ". Read again and accepted by the engineer." if value.accepted else ""
    return wording.print_signs(judgement.words), source, judgement.result != "within"


def _row(
    label: str,
    value: str,
    verdict: str,
    source: str,
    heard: str,
    how: str,
    *,
    outside: bool = False,
    flagged: bool = False,
) -> dict[str, Any]:
    return {
        "label": label, "value": value, "verdict": verdict, "source": source, "heard": heard, "how": how,
        "outside": outside, "flagged": flagged,
    }  # fmt: skip
