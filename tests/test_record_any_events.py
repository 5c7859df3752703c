"""Whatever events a journal holds, in whatever order, the record and the reports can be made of them."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from visit_builder import plan_text

from handsfree.events import Event, event_from_json, event_to_json
from handsfree.plans import plan_from_text
from handsfree.record.gathering import gather
from handsfree.record.journal import Intact, Journal, JournalReading, read_lines
from handsfree.report.clips import ClipSounds
from handsfree.report.page import render_page
from handsfree.report.paper import paper_facts
from handsfree.report.tables import render_csv, render_json

# A class with slots stands twice among the subclasses; the later one is the real one.
KINDS = list({c.kind: c for c in Event.__subclasses__()}.values())
IDS = st.sampled_from(["co2_max", "flow", "filter", "ratio_max", "combustion", "elsewhere", ""])
WORDS = st.sampled_from(
    ["", "yes", "9.2", "<b>&", "outside", "within", "no_reading", "not a date", "absent", "2027-03-14"]
)
NUMBERS = st.integers(1, 12)
ROWS = st.fixed_dictionaries({"name": WORDS, "value": WORDS, "unit": st.sampled_from(["%", "-", ""])})
LIMITS = st.fixed_dictionaries({"low": st.sampled_from([None, "8.8", "x"]), "high": st.sampled_from([None, "9.8"])})
BY_NAME: dict[str, st.SearchStrategy[Any]] = {
    "item": IDS, "items": st.lists(IDS, max_size=2).map(tuple), "open_items": st.lists(IDS, max_size=2).map(tuple),
    "results": st.lists(ROWS, max_size=2).map(tuple), "limit": LIMITS, "result": st.sampled_from(["within", "outside"]),
    "job": st.sampled_from([{}, {"boiler": {"make": "Fernhill"}, "instruments": 5, "customer": []}]),
    "given": st.just({"time_s": "120"}), "outcome": st.sampled_from([{}, {"outcome": "unsure", "reason": None}]),
    "listeners": st.just(()), "readings": st.just(()), "from_items": st.just(()),
    "chunks": st.lists(IDS, max_size=2).map(tuple),
}  # fmt: skip
BY_TYPE: dict[str, st.SearchStrategy[Any]] = {
    "str": WORDS,
    "str | None": st.none() | WORDS,
    "int": NUMBERS,
    "int | None": st.none() | NUMBERS,
    "float": st.floats(0, 1e4),
    "bool": st.booleans(),
}


def any_event(kind: type[Event]) -> st.SearchStrategy[Event]:
    """Some event of a kind, with ids and numbers that may or may not fit others."""
    fields = {f.name: BY_NAME[f.name] if f.name in BY_NAME else BY_TYPE[str(f.type)] for f in dataclasses.fields(kind)}
    return st.builds(lambda **given: kind(**given), **fields)


SOME = st.one_of([any_event(kind) for kind in KINDS])


def journal_of(events: list[Event]) -> tuple[bytes, JournalReading]:
    class Memory:
        content = b""

        def write(self, data: bytes) -> int:
            self.content += data
            return len(data)

        def sync(self) -> None: ...

        def truncate(self, size: int) -> None: ...

        def close(self) -> None: ...

    file = Memory()
    journal = Journal(file, JournalReading((), Intact()))
    for event in events:
        journal.append(event)
    return file.content, read_lines(file.content)


@pytest.mark.parametrize("kind", KINDS, ids=lambda c: c.kind)
def test_every_kind_of_event_survives_the_journal(kind: type[Event]) -> None:
    """An event of any kind comes back from the journal as it went in."""

    @given(any_event(kind))
    @settings(max_examples=10)
    def check(event: Event) -> None:
        _, reading = journal_of([event])
        assert event_to_json(reading.entries[0].event) == event_to_json(
            event_from_json(kind.kind, event_to_json(event))
        )

    check()


@pytest.mark.parametrize("with_plan", [True, False])
def test_the_record_and_the_reports_take_any_events(tmp_path: Path, with_plan: bool) -> None:
    """No order of events keeps record, page, paper or tables from being made; no value is lost or doubled."""
    plan = plan_from_text(plan_text()) if with_plan else None

    @given(st.lists(SOME, min_size=1, max_size=12))
    @settings(max_examples=200, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large], deadline=None)
    def check(events: list[Event]) -> None:
        content, reading = journal_of(events)
        (tmp_path / "journal.jsonl").write_bytes(content)
        record = gather(tmp_path, reading, plan)
        told = [v.number for i in record.items() for v in (*i.values, *i.earlier)]
        assert sorted(told) == [e.number for e in reading.entries if e.event.kind in ("reading", "answer")]
        assert "</html>" in render_page(record, ClipSounds(tmp_path))
        paper_facts(record)
        render_csv(record)
        render_json(record)

    check()
