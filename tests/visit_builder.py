# ruff: noqa: E501  (a table reads better with one row a line)
"""An invented visit, written event by event as the program would: 25 readings, a correction, a value outside its limit
that was accepted, an item left for later, something unsafe. People, places and makers do not exist.

`python tests/visit_builder.py FOLDER` makes it, for a look at a report.
"""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsfree import events as ev
from handsfree.events import Entry, Event
from handsfree.record import VisitFolder
from handsfree.trade import work_out

CHUNKS = {
    "details": "Details",
    "water": "Water side",
    "gas": "Gas supply",
    "combustion": "Combustion",
    "handover": "Hot water and handover",
}


@dataclass(frozen=True)
class Row:
    """One item of the invented visit and what was said for it."""

    id: str
    chunk: str
    say: str
    quantity: str
    value: str
    unit: str
    words: str
    qualifier: str | None = None
    limit: Mapping[str, Any] = field(default_factory=dict)


def limit(
    low: str | None, high: str | None, unit: str, authority: str = "maker", sure: str = "published", **more: Any
) -> dict[str, Any]:
    sources = {
        "maker": "Fernhill Compact 28 installation book, page 31",
        "trade": "IGEM/UP/1B Edition 4, table 2",
        "practice": "common practice, no single source",
    }
    row = {"id": "plan", "low": low, "high": high, "low_strict": False, "high_strict": False, "unit": unit}
    return {**row, "authority": authority, "source": sources[authority], "sure": sure, **more}


ROWS = [
    Row("fill_pressure", "water", "cold system pressure", "system_pressure", "1.2", "bar", "pressure one point two bar", "cold", limit("1.0", "1.5", "bar")),
    Row("vessel_charge", "water", "vessel charge", "vessel_charge", "0.75", "bar", "nought point seven five bar", None, limit("0.7", "1.0", "bar")),
    Row("ph", "water", "pH of the system water", "ph", "7.8", "-", "p h seven point eight", None, limit("6.5", "8.5", "-", "practice", "second-hand", source="BS 7593:2019, quoted second-hand")),
    Row("conductivity", "water", "conductivity", "conductivity", "420", "uS/cm", "four hundred and twenty"),
    Row("hardness", "water", "mains hardness", "hardness", "260", "ppm", "two hundred and sixty p p m"),
    Row("standing", "gas", "standing pressure at the meter", "standing_pressure", "22.5", "mbar", "twenty two point five"),
    Row("drop", "gas", "tightness drop", "tightness_drop", "0.0", "mbar", "nought point nought millibar", None, limit(None, "0.5", "mbar", "trade", "second-hand")),
    Row("let_by", "gas", "let-by rise", "let_by_rise", "0.1", "mbar", "nought point one", None, limit(None, "0.5", "mbar", "practice", "from memory", source="from memory: perceptible movement")),
    Row("working", "gas", "working pressure at the meter", "working_pressure", "20.4", "mbar", "twenty point four millibar", None, limit("19", "23", "mbar", "trade", "published", source="public network operator's page")),
    Row("inlet", "gas", "working pressure at the appliance inlet", "inlet_pressure", "18.1", "mbar", "eighteen point one", None, limit("18.5", None, "mbar")),
    Row("meter_start", "gas", "meter index at the start", "meter_index", "04821.346", "m3", "oh four eight two one point three four six"),
    Row("meter_end", "gas", "meter index at the end", "meter_index", "04821.430", "m3", "oh four eight two one point four three oh"),
    Row("test_time", "gas", "time of the gas rate", "test_time", "120", "s", "one hundred and twenty seconds"),
    Row("air_o2", "combustion", "oxygen in the air inlet", "air_inlet_o2", "20.9", "%", "twenty point nine percent", None, limit("20.6", None, "%", "trade", "published", source="public appliance notice on the flue integrity check")),
    Row("air_co2", "combustion", "C O 2 in the air inlet", "air_inlet_co2", "0.04", "%", "nought point nought four", None, limit(None, "0.2", "%", "trade", "published", high_strict=True, source="public appliance notice on the flue integrity check")),
    Row("co2_max", "combustion", "C O 2 at maximum rate", "co2", "9.20", "%", "c o two nine point two zero", "maximum", limit("8.8", "9.8", "%")),
    Row("co_max", "combustion", "C O at maximum rate", "co", "86", "ppm", "c o eighty six p p m", "maximum", limit(None, "350", "ppm", "trade", "published", high_strict=True, source="HHIC and Gas Safe TB 143, as publicly reported")),
    Row("flue_max", "combustion", "flue temperature at maximum rate", "flue_temperature", "61.5", "degC", "flue temperature sixty one point five", "maximum"),
    Row("co2_min", "combustion", "C O 2 at minimum rate", "co2", "8.7", "%", "eight point seven percent", "minimum", limit("8.3", "9.3", "%")),
    Row("co_min", "combustion", "C O at minimum rate", "co", "7", "ppm", "seven p p m", "minimum", limit(None, "350", "ppm", "trade", "published", high_strict=True, source="HHIC and Gas Safe TB 143, as publicly reported")),
    Row("cold_main", "handover", "cold main temperature", "cold_temperature", "11.5", "degC", "eleven point five degrees"),
    Row("hot_tap", "handover", "hot tap temperature", "hot_temperature", "46.5", "degC", "forty six point five"),
    Row("tap_flow", "handover", "hot water flow", "hot_water_flow", "11.2", "L/min", "eleven point two litres a minute"),
    Row("flow", "handover", "flow temperature", "flow_temperature", "65", "degC", "sixty five over forty eight"),
    Row("return", "handover", "return temperature", "return_temperature", "48", "degC", "sixty five over forty eight"),
]  # fmt: skip

JOB: dict[str, Any] = {
    "customer": {"name": "Mrs Orla Quillfeather", "address": "14 Larch Rise, Nether Wexcombe", "postcode": "ZZ9 9ZZ"},
    "engineer": {"name": "Tam Brackenridge", "business": "Brackenridge Heating", "registration": "000000"},
    "boiler": {
        "make": "Fernhill",
        "model": "Compact 28",
        "type": "combi",
        "gas": "ng",
        "serial": "FH2600417",
        "flue": "concentric, horizontal, 60/100",
        "location": "kitchen, behind the left cupboard",
        "installed": "2026-11-25",
    },
    "instruments": {
        "analyser": {"make": "Orrell", "model": "A5", "serial": "A5-1182", "certificate_until": "2027-03-14"},
        "manometer": {"make": "Orrell", "model": "M2", "serial": "M2-0417", "certificate_until": "2026-12-10"},
    },
    "maker": {"instructions": "Fernhill Compact 28 installation book", "heat_input_net_kw": "24.0"},
}

JOB_TEXT = """[customer]
name = "Mrs Orla Quillfeather"
address = "14 Larch Rise, Nether Wexcombe"
"""


def plan_text() -> str:
    """The plan of the invented visit, as TOML."""
    parts = [
        'name = "invented"\ntitle = "Commissioning of a combination boiler"\nabout = "A visit for tests."',
        'opening = "The maker\'s instructions come first."\nsources = ["invented for tests"]',
    ]
    for chunk, title in CHUNKS.items():
        parts.append(
            f'\n[[chunk]]\nid = "{chunk}"\ntitle = "{title}"\nplace = "at the boiler"\ndone = "{title} complete."'
        )
        parts += [
            _item_text(r.id, r.say, f'quantity = "{r.quantity}"') + _limit_text(r.limit)
            for r in ROWS
            if r.chunk == chunk
        ]
        if chunk == "details":
            parts.append(_item_text("serial", "serial number", 'read = "serial"'))
            parts.append(_item_text("analyser_date", "analyser certificate", 'read = "date"'))
        if chunk == "handover":
            parts.append(_item_text("controls", "controls shown to the user", 'yes_no = "yes"'))
            parts.append(_item_text("filter", "magnetic filter", 'yes_no = "yes"'))
            parts.append(_item_text("papers", "papers left with the user", 'yes_no = "yes"'))
    for id, (say, compute, basis, given) in RESULTS.items():
        sources = ", ".join(f'{key} = "{source}"' for key, source in given.items())
        parts.append(f'\n[[result]]\nid = "{id}"\nsay = "{say}"\ncompute = "{compute}"\ngiven = {{ {sources} }}')
        parts += [f'basis = "{basis}"'] if basis else []
        parts += [_limit_text(RATIO_LIMIT)] if id.startswith("ratio") else []
    return "\n".join(parts) + "\n"


def _item_text(id: str, say: str, expect: str) -> str:
    return f'[[chunk.item]]\nid = "{id}"\nsay = "{say}"\nprompt = "{say}?"\nexpect = {{ {expect} }}'


def _limit_text(bounds: Mapping[str, Any]) -> str:
    if not bounds:
        return ""
    parts = [f"{key} = {bounds[key]}" for key in ("low", "high") if bounds[key] is not None]
    parts += ["high_strict = true"] if bounds["high_strict"] else []
    parts += [f'{key} = "{bounds[key]}"' for key in ("authority", "source", "sure")]
    return f"\nlimit = {{ {', '.join(parts)} }}"


RATIO_LIMIT = limit(None, "0.004", "-", "trade", "second-hand", high_strict=True, source="TB 143, as publicly reported")
RESULTS: dict[str, tuple[str, str, str, dict[str, str]]] = {
    "gas_rate": (
        "gas rate",
        "gas_rate",
        "",
        {"volume_m3": "item.meter_end - item.meter_start", "time_s": "item.test_time"},
    ),
    "input": (
        "heat input",
        "heat_input",
        "net",
        {"gas_rate_m3_h": "result.gas_rate", "cv_mj_m3": "38.79", "gas": "visit.reference_gas"},
    ),
    "ratio_max": (
        "C O to C O 2 ratio at maximum rate",
        "co_co2_ratio",
        "",
        {"co_ppm": "item.co_max", "co2_pct": "item.co2_max"},
    ),
    "ratio_min": (
        "C O to C O 2 ratio at minimum rate",
        "co_co2_ratio",
        "",
        {"co_ppm": "item.co_min", "co2_pct": "item.co2_min"},
    ),
    "efficiency": (
        "combustion efficiency",
        "efficiency",
        "",
        {"gas": "visit.reference_gas", "co2_pct": "item.co2_max", "flue_c": "item.flue_max", "air_c": "20"},
    ),
    "tap_output": (
        "hot water output",
        "hot_water_output",
        "",
        {"flow_l_min": "item.tap_flow", "cold_c": "item.cold_main", "hot_c": "item.hot_tap"},
    ),
    "service": ("next service", "service_due", "", {"last": "visit.date"}),
    "register": ("guarantee registration", "registration_due", "", {"installed": "visit.date"}),
}


@dataclass
class Clock:
    """Steps on by itself, a few seconds an event."""

    at: datetime = datetime(2026, 11, 25, 9, 12, 4, tzinfo=timezone(timedelta(0)))

    def __call__(self) -> datetime:
        self.at += timedelta(seconds=4, milliseconds=137)
        return self.at


def murmur(seed: str, seconds: float = 1.6) -> NDArray[np.float32]:
    """A sound with the bandwidth and rhythm of speech; mono, 16 kHz."""
    rng = np.random.default_rng(int.from_bytes(hashlib.sha256(seed.encode()).digest()[:4], "big"))
    t = np.arange(int(16_000 * seconds)) / 16_000
    pitch = np.cumsum(110 + 20 * np.sin(2 * np.pi * 0.7 * t)) / 16_000
    voice = sum(np.sin(2 * np.pi * k * pitch) / k for k in range(1, 18))
    syllables = np.clip(np.sin(2 * np.pi * 3.5 * t + rng.random()), 0, 1)
    return (0.1 * syllables * (voice + 0.3 * rng.standard_normal(t.size))).astype(np.float32)


class VisitBuilder:
    """Appends the events of a visit in the order in which the program would."""

    def __init__(self, folder: VisitFolder) -> None:
        self.folder = folder
        self.heard_at: dict[str, Entry] = {}
        self.value_at: dict[str, int] = {}
        self.result_at: dict[str, str] = {}

    def add(self, event: Event) -> Entry:
        return self.folder.append(event)

    def start(self, plan: str, job: Mapping[str, Any] | None = None, date: str = "2026-11-25") -> None:
        self.add(
            ev.VisitStarted(
                plan="invented",
                plan_sha256=hashlib.sha256(plan.encode()).hexdigest(),
                job=JOB if job is None else job,
                date=date,
                program="0.1.0",
                source="recordings",
            )
        )

    def say(self, text: str, item: str | None = None, purpose: str = "prompt") -> None:
        self.add(ev.Said(text=text, item=item, purpose=purpose))

    def hear(self, item: str | None, words: str, outcome: Mapping[str, Any], reason: str = "") -> str:
        clip = self.folder.save_clip(murmur(words, 0.6 + 0.06 * len(words)))
        self.add(ev.UtteranceHeard(item=item, words=words, outcome=outcome, reason=reason, clip=clip))
        return clip

    def yes(self, item: str) -> str:
        return self.hear(item, "yes", {"outcome": "command", "command": "yes"})

    def ask(self, row: Row) -> None:
        self.add(ev.ItemEntered(item=row.id, chunk=row.chunk, why="next"))
        self.say(f"{row.say}?".capitalize(), row.id)

    def take(self, row: Row, value: str | None = None, words: str | None = None, **more: Any) -> int:
        """Hears a value, reads it back, takes the yes; returns the event's number."""
        value, words = value or row.value, words or row.words
        reading = {"quantity": row.quantity, "qualifier": row.qualifier, "value": value, "unit": row.unit}
        clip = self.hear(row.id, words, {"outcome": "reading", "readings": [reading], "reason": None})
        self.add(ev.Proposed(item=row.id, readings=(reading,), read_back=f"{row.say} {value}", words=words, clip=clip))
        self.say(f"{row.say}, {value} {row.unit}?".capitalize(), row.id, "read_back")
        yes_clip = self.yes(row.id)
        entry = self.add(
            ev.ReadingConfirmed(
                item=row.id, quantity=row.quantity, qualifier=row.qualifier, value=value, unit=row.unit, words=words,
                clip=clip, how="spoken yes", yes_clip=yes_clip, **more,
            )
        )  # fmt: skip
        self.value_at[row.id] = entry.number
        return entry.number

    def judge(self, item: str, result: str, value: str, unit: str, bounds: Mapping[str, Any]) -> None:
        whose = {"maker": "the maker's limit", "trade": "the trade's limit", "practice": "common practice"}
        low, high = bounds["low"], bounds["high"]
        span = (
            f"{low} to {high}"
            if low and high
            else f"at least {low}"
            if low
            else f"{'less than' if bounds.get('high_strict') else 'at most'} {high}"
        )
        where = {"within": "within", "outside": "outside", "too_close": "too close to tell from"}[result]
        words = f"{where} {whose[bounds['authority']]}, {span} {bounds['unit']}".removesuffix(" -")
        self.add(ev.Judged(item=item, result=result, value=value, unit=unit, limit=bounds, words=words))

    def answer(self, item: str, chunk: str, say: str, answer: str, kind: str, printed: str, words: str) -> None:
        self.add(ev.ItemEntered(item=item, chunk=chunk, why="next"))
        self.say(f"{say}?", item)
        clip = self.hear(item, words, {"outcome": "text", "text": answer, "kind": kind, "reason": None})
        self.add(
            ev.AnswerConfirmed(
                item=item, answer=answer, answer_kind=kind, said_as=printed, words=words, clip=clip, how="spoken yes"
            )
        )

    def work(self, item: str, given: Mapping[str, str], *items: str) -> None:
        """Works a result out by the trade's own computation, as the dialogue does."""
        _, name, basis, _ = RESULTS[item]
        done = work_out(name, given)
        rows = tuple(
            {
                "name": r.name,
                "value": r.value if isinstance(r.value, str) else format(Decimal(repr(float(r.value))), "f"),
                "unit": r.unit,
                "basis": r.basis,
                "spread": r.spread,
            }
            for r in done.results
        )
        self.add(
            ev.Computed(
                item=item, computation=name, given=dict(given), results=rows, formula=done.formula, source=done.source,
                sure=done.sure, from_items=items,
            )
        )  # fmt: skip
        self.result_at[item] = next(str(r["value"]) for r in rows if not basis or r["basis"] == basis)


def build_visit(path: Path, *, finish: bool = True) -> Path:
    """The whole invented visit in a new folder."""
    plan = plan_text()
    with VisitFolder.create(path, plan, JOB_TEXT, Clock()) as folder:
        b = VisitBuilder(folder)
        b.start(plan)
        b.say("The maker's instructions and your own judgement come first.", purpose="status")
        _details(b)
        for chunk in ("water", "gas", "combustion", "handover"):
            for row in (r for r in ROWS if r.chunk == chunk):
                b.ask(row)
                _SPECIAL.get(row.id, _plain)(b, row)
            _results_of(b, chunk)
            if chunk == "handover":
                _handover(b)
            b.add(ev.ChunkCompleted(chunk=chunk, open_items=("filter",) if chunk == "handover" else ()))
            b.say(
                f"{CHUNKS[chunk]} complete." if chunk != "handover" else "One item is open: magnetic filter.",
                purpose="status",
            )
        if finish:
            b.add(ev.Finished(complete=False, open_items=("filter",)))
    return path


def _details(b: VisitBuilder) -> None:
    b.answer(
        "serial",
        "details",
        "Serial number",
        "FH2600417",
        "serial",
        "FH2600417",
        "foxtrot hotel two six double oh four one seven",
    )
    b.answer(
        "analyser_date",
        "details",
        "Analyser certificate until",
        "2027-03-14",
        "date",
        "14 March 2027",
        "fourteenth of march twenty twenty seven",
    )
    b.add(ev.ChunkCompleted(chunk="details"))


def _plain(b: VisitBuilder, row: Row) -> None:
    b.take(row)
    if row.limit:
        b.judge(row.id, "within", row.value, row.unit, row.limit)


def _misheard(b: VisitBuilder, row: Row) -> None:
    """Not sure at first, then heard."""
    b.hear(row.id, "flow sixty", {"outcome": "unsure", "alternatives": [], "reason": "flow or flue?"}, "flow or flue?")
    b.say("Flow or flue? Say it again.", row.id, "warning")
    b.hear(row.id, "pass me the torch would you", {"outcome": "nothing", "reason": "not a reading"}, "not a reading")
    _plain(b, row)


def _corrected(b: VisitBuilder, row: Row) -> None:
    """Saved as 9.6, changed to 9.20 two items later in the engineer's own words."""
    old = b.take(row, "9.6", "c o two nine point six percent")
    b.judge(row.id, "within", "9.6", row.unit, row.limit)
    b.hear(row.id, "change the c o two", {"outcome": "command", "command": "change", "target": "co2_max"})
    b.say("C O 2 at maximum rate was nine point six. New value?", row.id)
    b.take(row, replaces=old, reason="probe was not fully in the test point")
    b.judge(row.id, "within", row.value, row.unit, row.limit)


def _outside(b: VisitBuilder, row: Row) -> None:
    """Outside the maker's limit, read again, accepted in so many words."""
    b.take(row)
    b.judge(row.id, "outside", row.value, row.unit, row.limit)
    b.say("Outside the maker's limit. Read it again.", row.id, "warning")
    clip = b.hear(row.id, "eighteen point one, accept it", {"outcome": "command", "command": "yes"})
    b.add(ev.OutsideAccepted(item=row.id, words="eighteen point one, accept it", clip=clip))
    b.add(
        ev.NoteTaken(item=row.id, words="pipe is twenty two to the tee then fifteen, supplier to be asked", clip=clip)
    )


def _smelt(b: VisitBuilder, row: Row) -> None:
    """A smell of gas stops the data dialogue; the engineer says when to go on."""
    clip = b.hear(row.id, "i can smell gas", {"outcome": "command", "command": "smell_of_gas"})
    b.add(ev.UnsafeDeclared(item=row.id, trigger="smell_of_gas", words="i can smell gas", clip=clip))
    b.say(
        "Gas off at the emergency control. No switches, no flames. Open windows. Get people out. Ring the emergency number.",
        row.id,
        "emergency",
    )
    clip = b.hear(row.id, "test point screw was loose, tightened and tested again", {"outcome": "nothing"})
    b.add(
        ev.UnsafeAnswer(
            question="found",
            answer="recording, unchecked",
            words="test point screw was loose, tightened and tested again",
            clip=clip,
        )
    )
    clip = b.hear(row.id, "carry on with the visit", {"outcome": "command", "command": "carry_on"})
    b.add(ev.UnsafeCleared(words="carry on with the visit", clip=clip))
    _plain(b, row)


_SPECIAL = {"ph": _misheard, "co2_max": _corrected, "inlet": _outside, "let_by": _smelt}


def _results_of(b: VisitBuilder, chunk: str) -> None:
    if chunk == "gas":
        b.work("gas_rate", {"volume_m3": "0.084", "time_s": "120"}, "meter_start", "meter_end", "test_time")
        rate = b.result_at["gas_rate"]
        b.work("input", {"gas_rate_m3_h": rate, "cv_mj_m3": "38.79", "gas": "G20"})
        b.judge("input", "within", b.result_at["input"], "kW", limit("22.8", "25.2", "kW"))
    elif chunk == "combustion":
        for rate, co, co2 in (("max", "86", "9.20"), ("min", "7", "8.7")):
            b.work(f"ratio_{rate}", {"co_ppm": co, "co2_pct": co2}, f"co_{rate}", f"co2_{rate}")
            b.judge(f"ratio_{rate}", "within", b.result_at[f"ratio_{rate}"], "-", RATIO_LIMIT)
        b.work("efficiency", {"gas": "G20", "co2_pct": "9.20", "flue_c": "61.5", "air_c": "20"}, "co2_max", "flue_max")
    elif chunk == "handover":
        given = {"flow_l_min": "11.2", "cold_c": "11.5", "hot_c": "46.5"}
        b.work("tap_output", given, "tap_flow", "cold_main", "hot_tap")
        b.work("service", {"last": "2026-11-25"})
        b.work("register", {"installed": "2026-11-25"})


def _handover(b: VisitBuilder) -> None:
    b.answer("controls", "handover", "Controls shown to the user", "yes", "yes_no", "yes", "yes all shown")
    b.add(ev.ItemEntered(item="filter", chunk="handover", why="next"))
    b.say("Magnetic filter?", "filter")
    b.hear("filter", "leave that for later", {"outcome": "command", "command": "defer"})
    b.add(ev.Deferred(item="filter", reason="part comes on Friday"))
    b.add(ev.Questioned(items=("flow", "return"), question="Return is 17 K below flow. Is that right?", answer="yes"))
    b.answer("papers", "handover", "Papers left with the user", "yes", "yes_no", "yes", "yes on the worktop")


if __name__ == "__main__":
    print(build_visit(Path(sys.argv[1])))
