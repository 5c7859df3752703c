"""Computations on sensors, dates, units and limits."""

from __future__ import annotations

import datetime
import math
from decimal import Decimal

from handsfree.errors import BadInput
from handsfree.model import Result
from handsfree.trade import convert, dates, electrical, limits
from handsfree.trade.given import Answer, Computation, Given, Key, answer, choice_key, date_key, text_key

_R25 = electrical.resistance_by_b_ohm.key("r25_ohm", "resistance at 25 degC", optional=True)
_B = electrical.resistance_by_b_ohm.key("b_k", "the sensor's B", optional=True)
_TYPE = choice_key("type", "by the table of a 10k or 12k sensor", ("10k", "12k"), optional=True)
_SENSOR_WAYS = ((("type",), ("r25_ohm", "b_k")),)
_BY_B = ("R25 x exp(B x (1/T - 1/298.15))", "closed form; one B errs by about 4 % at 0 degC", "computed")


def _sensor_resistance(given: Given) -> Answer:
    temperature_c = given.number("temperature_c")
    if given.has("type"):
        return answer("sensor_resistance", electrical.resistance_by_table_ohm(given.word("type"), temperature_c), "ohm")
    value = electrical.resistance_by_b_ohm(temperature_c, given.number("r25_ohm"), given.number("b_k"))
    return Answer((Result("sensor_resistance", value, "ohm"),), *_BY_B)


def _sensor_temperature(given: Given) -> Answer:
    resistance = given.number("resistance_ohm")
    if given.has("type"):
        return answer("sensor_temperature", electrical.temperature_by_table_c(given.word("type"), resistance), "degC")
    value = electrical.temperature_by_b_c(resistance, given.number("r25_ohm"), given.number("b_k"))
    return Answer((Result("sensor_temperature", value, "degC"),), *_BY_B)


def _due(name: str, day: datetime.date) -> Answer:
    return answer(name, day.isoformat(), "date")


def _certificate(given: Given) -> Answer:
    due = dates.certificate_due(given.day("issued"), _whole(given, "months"))
    results = [Result("certificate_due", due.isoformat(), "date")]
    if given.has("on"):
        results.append(Result("certificate", dates.certificate_state(due, given.day("on")), "-"))
    return Answer(tuple(results))


def _whole(given: Given, name: str) -> int:
    value = given.number(name)
    if value != int(value):
        raise BadInput(f"{name} is {value:g}; it must be a whole number", "leave the decimals out")
    return int(value)


def _convert(given: Given) -> Answer:
    to_unit = convert.find_unit("to", given.word("to"))
    value = convert.convert(given.number("value"), given.word("from"), given.word("to"))
    return answer("convert", value, to_unit.name)


def _limit(given: Given) -> Answer:
    on = given.day("on") if given.has("on") else datetime.date.max
    limit = limits.trade_limit(given.word("id"), on)
    results = [
        Result(name, float(bound), limit.unit)
        for name, bound in (("low", limit.low), ("high", limit.high))
        if bound is not None
    ]
    if given.has("value"):
        spread = limits.as_decimal(given.number("spread")) if given.has("spread") else Decimal(0)
        verdict = limits.judge(limits.as_decimal(given.number("value")), limit, spread)
        results.append(Result("verdict", verdict.words, "-"))
    return Answer(tuple(results), limits.limit_words(limit), limit.source, limit.sure)


def _condensate_fall(given: Given) -> Answer:
    return answer("condensate_fall", 1000.0 * math.tan(math.radians(given.number("angle_deg"))), "mm/m")


COMPUTATIONS = (
    Computation(
        "sensor_resistance",
        "Resistance of a temperature sensor. Ask for the model's own table first.",
        (
            _TYPE,
            _R25,
            _B,
            electrical.resistance_by_b_ohm.key("temperature_c", "temperature"),
        ),
        ("sensor_resistance ohm",),
        "the table's points; between them the B of the two around",
        "sensor tables on a boiler maker's public service pages",
        "published",
        _sensor_resistance,
        _SENSOR_WAYS,
    ),
    Computation(
        "sensor_temperature",
        "Temperature of a sensor by its resistance. Ask for the model's own table first.",
        (
            _TYPE,
            _R25,
            _B,
            electrical.temperature_by_b_c.key("resistance_ohm", "resistance", half_width="last place"),
        ),
        ("sensor_temperature degC",),
        "the table's points; between them the B of the two around",
        "sensor tables on a boiler maker's public service pages",
        "published",
        _sensor_temperature,
        _SENSOR_WAYS,
    ),
    Computation(
        "sensor_b",
        "B of a sensor out of two points.",
        (
            electrical.sensor_b_k.key("r1_ohm", "resistance at the first temperature"),
            electrical.sensor_b_k.key("t1_c", "first temperature", "25"),
            electrical.sensor_b_k.key("r2_ohm", "resistance at the second temperature"),
            electrical.sensor_b_k.key("t2_c", "second temperature", "80"),
        ),
        ("sensor_b K",),
        "ln(R1/R2) / (1/T1 - 1/T2)",
        "closed form",
        "computed",
        lambda given: answer(
            "sensor_b",
            electrical.sensor_b_k(*(given.number(name) for name in ("r1_ohm", "t1_c", "r2_ohm", "t2_c"))),
            "K",
        ),
    ),
    Computation(
        "condensate_fall",
        "Fall of a condensate pipe laid at an angle.",
        (Key("angle_deg", "angle", "number", 0.0, 45.0, default="2.5"),),
        ("condensate_fall mm/m",),
        "1000 x tan(angle)",
        "closed form; the trade says 45, some makers 50",
        "computed",
        _condensate_fall,
    ),
    Computation(
        "registration_due",
        "Last day to register the guarantee. The maker's own number of days goes before the default.",
        (date_key("installed", "day of installation"), Key("days", "the maker's days", "number", 1, 366, default="30")),
        ("registration_due date",),
        "installation + days",
        "several makers' public terms",
        "published",
        lambda given: _due("registration_due", dates.registration_due(given.day("installed"), _whole(given, "days"))),
    ),
    Computation(
        "service_due",
        "Day the next yearly service is due.",
        (date_key("last", "day of the last service"), Key("months", "interval, months", "number", 1, 60, default="12")),
        ("service_due date",),
        "last + 12 calendar months; 29 February falls on the 28th",
        "makers' public terms (yearly); their tolerance varies",
        "published",
        lambda given: _due("service_due", dates.service_due(given.day("last"), _whole(given, "months"))),
    ),
    Computation(
        "landlord_due",
        "Next landlord gas safety check.",
        (date_key("deadline", "the deadline in force"), date_key("done", "day the check was done")),
        ("landlord_due date",),
        "done within two months up to the deadline: deadline + 12 months; earlier or late: done + 12 months",
        "Gas Safety (Installation and Use) Regulations 1998, regulation 36A (public worked example)",
        "published",
        lambda given: _due("landlord_due", dates.landlord_due(given.day("deadline"), given.day("done"))),
    ),
    Computation(
        "certificate_due",
        "Last day on which an instrument's certificate is taken as valid, and how it stands on a day.",
        (
            date_key("issued", "day of the certificate"),
            Key("months", "validity, months", "number", 1, 60, default="12"),
            date_key("on", "day of the visit", optional=True),
        ),
        ("certificate_due date", "certificate -"),
        "issued + 12 calendar months; warned of from 30 days before",
        "a valid certificate is needed (published); 12 months common practice",
        "common practice",
        _certificate,
    ),
    Computation(
        "convert",
        "A value in another unit.",
        (
            Key("value", "the value", "number", -convert.LARGEST, convert.LARGEST),
            text_key("from", "its unit"),
            text_key("to", "the unit wanted"),
        ),
        ("convert, in the unit wanted",),
        "value x size of the one unit / size of the other",
        "definitions of the units",
        "published",
        _convert,
    ),
    Computation(
        "limit",
        "A limit of the trade as in force on a day; with a value, the verdict. The maker's limit goes before it.",
        (
            text_key("id", "the limit's name"),
            date_key("on", "day; without it the newest", optional=True),
            Key("value", "a value to hold against it", "number", -1e9, 1e9, optional=True),
            Key("spread", "how far the value may be off", "number", 0.0, 1e9, optional=True),
        ),
        ("low", "high", "verdict"),
        "the limit in words",
        "see each limit",
        "published",
        _limit,
    ),
)
