"""A job file (TOML) in, people, instruments, boiler and the maker's data out, each by its dotted key.

The job file says what the plan cannot know: who, where, with which instruments, on which boiler, and what its maker
asks for. The maker's limits stand under [maker.limits.NAME] with low, high, unit and the page they were copied from;
they come before any limit of the trade. Units are in the key names.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from handsfree.model import Gas, Limit
from handsfree.plans.located import Finding, Table, lines_of, parse_toml, raise_first, read_toml

BOILER_TYPES = ("combi", "system")

_PEOPLE = {
    "customer": ("name", "address", "postcode", "telephone"),
    "engineer": ("name", "business", "registration", "card"),
}
_BOILER = ("make", "model", "serial", "gc_number", "flue", "location", "installed")
_MAKER_NUMBERS = (
    "heat_input_net_kw", "heat_input_min_net_kw", "hot_water_input_net_kw", "heat_output_kw", "hot_water_output_kw",
    "hot_water_flow_l_min", "hot_water_rise_k", "hot_water_switch_l_min", "gas_rate_m3_h", "registration_days",
    "vessel_size_l", "vessel_charge_bar", "warm_up_s", "settle_s", "electrode_gap_mm", "sensor_r25_ohm", "sensor_b_k",
)  # fmt: skip
_MAKER_TEXTS = (
    "instructions", "telephone", "adjust_order", "adjust_max_tool", "adjust_min_tool", "adjust_max_turn",
    "adjust_min_turn",
    "screw_max", "screw_min", "sensor_type", "max_rate_mode", "min_rate_mode", "burner_seal",
)  # fmt: skip
_MAKER_FLAGS = ("adjustable", "air_inlet_point", "minimum_rate_test", "diverter", "plate_exchanger", "interlock")
_SUPPLY_TEXTS = ("meter", "pipes", "fittings", "appliances", "lpg_supplier", "supplier_telephone")
_SUPPLY_NUMBERS = ("cv_mj_m3", "system_volume_l", "static_height_m")


JOB_KEYS = (
    *(f"{who}.{key}" for who, keys in _PEOPLE.items() for key in keys),
    *(f"boiler.{key}" for key in ("gas", "type", *_BOILER)),
    *(f"maker.{key}" for key in (*_MAKER_NUMBERS, *_MAKER_TEXTS, *_MAKER_FLAGS)),
    *(f"supply.{key}" for key in (*_SUPPLY_TEXTS, *_SUPPLY_NUMBERS)),
    "last_visit.date",
    "last_visit.found",
)
"""every key that a job may have with a single value"""
_OPEN_KEYS = ("maker.limits.", "instruments.", "last_visit.values.")


def is_job_key(key: str) -> bool:
    """A plan may refer to it: a known key, or one under a table whose names are free (maker.limits, instruments,
    last_visit.values)."""
    return key in JOB_KEYS or any(key.startswith(head) and len(key) > len(head) for head in _OPEN_KEYS)


@dataclass(frozen=True, slots=True)
class Job:
    """The job as given. Empty when no file was given: then only the trade's limits apply."""

    data: Mapping[str, Any] = field(default_factory=dict)
    path: Path | None = None
    text: str = ""
    """the file as given, for the visit folder"""
    _texts: Mapping[str, str] = field(init=False, repr=False, compare=False)
    """dotted key -> its value as text: conditions and sources of a plan ask for it at every step"""

    def __post_init__(self) -> None:
        object.__setattr__(self, "_texts", dict(_texts_of(self.data, "")))

    @property
    def gas(self) -> Gas:
        """What the boiler burns; natural gas where the job does not say."""
        return "lpg" if self.get("boiler.gas") == "lpg" else "ng"

    @property
    def boiler_type(self) -> str:
        """combi or system; combi where the job does not say."""
        return self.get("boiler.type") or "combi"

    def find(self, key: str) -> Any:
        """What stands under the dotted key, or None."""
        here: Any = self.data
        for part in key.split("."):
            if not isinstance(here, Mapping) or part not in here:
                return None
            here = here[part]
        return here

    def get(self, key: str) -> str | None:
        """The value under the dotted key as text (ISO dates, digits as written, true/false), or None."""
        return self._texts.get(key)

    def limit(self, key: str) -> Limit | None:
        """The maker's limit under the dotted key, or None."""
        row = self.find(key)
        if not isinstance(row, Mapping):
            return None
        return Limit(
            id=key,
            unit=str(row.get("unit", "")),
            low=_decimal(row.get("low")),
            high=_decimal(row.get("high")),
            low_strict=bool(row.get("low_strict", False)),
            high_strict=bool(row.get("high_strict", False)),
            authority="maker",
            source=str(row.get("source") or self.get("maker.instructions") or "the maker's data in the job file"),
            sure="published",
        )

    def as_json(self) -> dict[str, Any]:
        """The job with JSON-ready values, for the journal."""
        return {k: _jsonable(v) for k, v in self.data.items()}


def _texts_of(table: Mapping[str, Any], head: str) -> Iterator[tuple[str, str]]:
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from _texts_of(value, f"{head}{key}.")
        elif not isinstance(value, list) and value is not None:
            yield f"{head}{key}", _text_of(value)


def _text_of(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dt.date | dt.datetime):
        return value.isoformat()[:10]
    return format(value, "f") if isinstance(value, Decimal) else str(value)


def _decimal(value: Any) -> Decimal | None:
    return None if value is None else Decimal(str(value))


def _jsonable(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {k: _jsonable(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_jsonable(v) for v in value]
    if isinstance(value, Decimal):
        return format(value, "f")
    return value.isoformat() if isinstance(value, dt.date | dt.time) else value


def load_job(path: Path | str | None) -> Job:
    """The job of a file, checked.

    Args:
        path: the file; None gives the empty job.

    Raises:
        BadInput: the file does not read, or a key or value is not one of ours (file, line, what was expected).
    """
    if path is None:
        return Job()
    path = Path(path)
    text, data = read_toml(path, "job")
    raise_first(check_job(data, text), path, "job")
    return Job(data, path, text)


def job_from_text(text: str, path: Path | None = None) -> Job:
    """As `load_job`, from text (a visit folder keeps the job as given)."""
    where = path or Path("job.toml")
    data = parse_toml(text, where, "job")
    raise_first(check_job(data, text), where, "job")
    return Job(data, path, text)


def example_job() -> Path:
    """The job of an invented boiler that the recorded visit uses."""
    return Path(__file__).parent / "example_job.toml"


def check_job(data: Mapping[str, Any], text: str) -> list[Finding]:
    """Everything wrong with a job, with its lines."""
    findings: list[Finding] = []
    top = Table(data, (), lines_of(text), findings)
    for who, keys in _PEOPLE.items():
        if table := top.table(who):
            for key in keys:
                table.text(key, required=False)
            table.finish()
    _check_boiler(top)
    _check_instruments(top)
    _check_maker(top)
    if supply := top.table("supply"):
        _take(supply, _SUPPLY_TEXTS, _SUPPLY_NUMBERS, ())
        supply.finish()
    if last := top.table("last_visit"):
        _check_last(last)
    top.finish()
    return findings


def _take(table: Table, texts: tuple[str, ...], numbers: tuple[str, ...], flags: tuple[str, ...]) -> None:
    for key in texts:
        table.text(key, required=False)
    for key in numbers:
        table.number(key, low=0)
    for key in flags:
        table.flag(key)


def _check_boiler(top: Table) -> None:
    boiler = top.table("boiler")
    if boiler is None:
        return
    boiler.one_of("gas", ("ng", "lpg"))
    boiler.one_of("type", BOILER_TYPES)
    for key in _BOILER:
        if key == "installed":
            _date(boiler, key)
        else:
            boiler.text(key, required=False)
    boiler.finish()


def _date(table: Table, key: str, required: bool = False) -> None:
    """A date: TOML's own (2026-11-25) or the same in quotes."""
    if not table.has(key):
        if required:
            table.findings.append(Finding(table.line(), f"{table.name()} lacks {key!r}", f"add {key} = 2026-11-25"))
        return
    value = table.data[key]
    if isinstance(value, dt.date):
        return
    try:
        dt.date.fromisoformat(value)
    except (TypeError, ValueError):
        table.complain(key, f"{table.name()}: {key} = {value!r} is not a date", "write year-month-day, as 2026-11-25")


def _check_instruments(top: Table) -> None:
    instruments = top.table("instruments")
    if instruments is None:
        return
    for name in instruments.data:
        if table := instruments.table(name):
            for key in ("make", "model", "serial"):
                table.text(key, required=False)
            _date(table, "certificate_until", required=True)
            table.finish()


def _check_maker(top: Table) -> None:
    maker = top.table("maker")
    if maker is None:
        return
    _take(maker, _MAKER_TEXTS, _MAKER_NUMBERS, _MAKER_FLAGS)
    if limits := maker.table("limits"):
        for name in limits.data:
            if table := limits.table(name):
                _check_limit(table)
    maker.finish()


def _check_limit(table: Table) -> None:
    low, high = table.number("low"), table.number("high")
    table.text("unit")
    table.text("source", required=False)
    table.flag("low_strict")
    table.flag("high_strict")
    if "low" not in table.data and "high" not in table.data:
        table.findings.append(
            Finding(table.line(), f"{table.name()} has neither low nor high", "add one, or take the limit out")
        )
    if low is not None and high is not None and low > high:
        table.complain("low", f"{table.name()}: low {low} is above high {high}", "swap or correct them")
    table.finish()


def _check_last(last: Table) -> None:
    _date(last, "date", required=True)
    last.text("found", required=False)
    if values := last.table("values"):
        for key in values.data:
            values.text(key) if isinstance(values.data[key], str) else values.number(key)
    last.finish()
