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
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsfree import events as ev
from handsfree.events import Entry, Event
from handsfree.record import VisitFolder

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
    row = {"id": "maker.limits.x", "low": low, "high": high, "low_strict": False, "high_strict": False, "unit": unit}
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
        parts += [_item_text(r.id, r.say, f'quantity = "{r.quantity}"') for r in ROWS if r.chunk == chunk]
        if chunk == "details":
            parts.append(_item_text("serial", "serial number", 'read = "serial"'))
            parts.append(_item_text("analyser_date", "analyser certificate", 'read = "date"'))
        if chunk == "handover":
            parts.append(_item_text("controls", "controls shown to the user", 'yes_no = "yes"'))
            parts.append(_item_text("filter", "magnetic filter", 'yes_no = "yes"'))
            parts.append(_item_text("papers", "papers left with the user", 'yes_no = "yes"'))
    for id, (say, compute) in RESULTS.items():
        parts.append(f'\n[[result]]\nid = "{id}"\nsay = "{say}"\ncompute = "{compute}"\ngiven.x = "1"')
    return "\n".join(parts) + "\n"


def _item_text(id: str, say: str, expect: str) -> str:
    return f'[[chunk.item]]\nid = "{id}"\nsay = "{say}"\nprompt = "{say}?"\nexpect = {{ {expect} }}'


RESULTS = {
    "gas_rate": ("gas rate", "gas_rate"),
    "input": ("heat input", "heat_input"),
    "ratio_max": ("C O to C O 2 ratio at maximum rate", "co_co2_ratio"),
    "ratio_min": ("C O to C O 2 ratio at minimum rate", "co_co2_ratio"),
    "efficiency": ("combustion efficiency", "efficiency"),
    "tap_output": ("hot water output", "hot_water_output"),
    "service": ("next service", "service_due"),
    "register": ("guarantee registration", "registration_due"),
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

    def compute(
        self,
        item: str,
        given: Mapping[str, str],
        rows: list[dict[str, Any]],
        formula: str,
        source: str,
        sure: str,
        *items: str,
    ) -> None:
        self.add(
            ev.Computed(
                item=item, computation=RESULTS[item][1], given=given, results=tuple(rows), formula=formula, source=source,
                sure=sure, from_items=items,
            )
        )  # fmt: skip


def result(
    name: str, value: float | str, unit: str, basis: str | None = None, spread: float | None = None
) -> dict[str, Any]:
    return {"name": name, "value": value, "unit": unit, "basis": basis, "spread": spread}


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
        b.compute(
            "gas_rate",
            {"volume_m3": "0.084", "time_s": "120"},
            [result("gas_rate", 2.52, "m3/h", None, 0.03), result("gas_rate_ft3", 88.99, "ft3/h")],
            "volume over time, times 3600",
            "definition",
            "computed",
            "meter_start",
            "meter_end",
            "test_time",
        )
        b.compute(
            "input",
            {"gas_rate_m3_h": "2.52", "cv_mj_m3": "38.79"},
            [result("heat_input", 24.47, "kW", "net", 0.29), result("heat_input", 27.15, "kW", "gross", 0.32)],
            "gas rate times calorific value, over 3.6",
            "EN 437 reference gas G20; definition",
            "published",
            "gas_rate",
        )
        b.judge(
            "input",
            "within",
            "24.47",
            "kW",
            limit("22.8", "25.2", "kW", source="Fernhill Compact 28 installation book, page 12"),
        )
    elif chunk == "combustion":
        b.compute(
            "ratio_max",
            {"co_ppm": "86", "co2_pct": "9.20"},
            [result("co_co2_ratio", 0.00093478, "-")],
            "CO in ppm over CO2 in % times 10 000",
            "definition",
            "published",
            "co_max",
            "co2_max",
        )
        b.judge(
            "ratio_max",
            "within",
            "0.00093478",
            "-",
            limit(
                None,
                "0.004",
                "-",
                "trade",
                "second-hand",
                high_strict=True,
                source="HHIC and Gas Safe TB 143, as publicly reported",
            ),
        )
        b.compute(
            "ratio_min",
            {"co_ppm": "7", "co2_pct": "8.7"},
            [result("co_co2_ratio", 0.00008046, "-")],
            "CO in ppm over CO2 in % times 10 000",
            "definition",
            "published",
            "co_min",
            "co2_min",
        )
        b.judge(
            "ratio_min",
            "within",
            "0.00008046",
            "-",
            limit(
                None,
                "0.004",
                "-",
                "trade",
                "second-hand",
                high_strict=True,
                source="HHIC and Gas Safe TB 143, as publicly reported",
            ),
        )
        b.compute(
            "efficiency",
            {"gas": "G20", "co2_pct": "9.20", "flue_c": "61.5", "air_c": "20"},
            [result("efficiency", 98.02, "%", "net")],
            "100 less the flue loss; no condensation counted above the dew point",
            "1. BImSchV formula, public trade reference",
            "published",
            "co2_max",
            "flue_max",
        )
    elif chunk == "handover":
        b.compute(
            "tap_output",
            {"flow_l_min": "11.2", "cold_c": "11.5", "hot_c": "46.5"},
            [result("hot_water_output", 27.28, "kW", None, 0.6)],
            "mass flow times specific heat times rise",
            "IAPWS-95 water",
            "computed",
            "tap_flow",
            "cold_main",
            "hot_tap",
        )
        b.compute(
            "service",
            {"last": "2026-11-25"},
            [result("service_due", "2027-11-25", "date")],
            "twelve calendar months on",
            "maker's terms, yearly",
            "common practice",
        )
        b.compute(
            "register",
            {"installed": "2026-11-25"},
            [result("registration_due", "2026-12-25", "date")],
            "thirty days after installation",
            "makers' public terms; check this maker's",
            "published",
        )


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
