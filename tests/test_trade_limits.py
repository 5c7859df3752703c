"""Limits: found by the day, held against values, and worded so that nobody takes them for more than they are."""

from __future__ import annotations

import dataclasses
import datetime
import itertools
import tomllib
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.errors import BadInput
from handsfree.model import Limit
from handsfree.trade import judge, limits, trade_limit
from handsfree.trade.limits import (
    around_plate,
    as_decimal,
    is_weakly_sourced,
    limit_ids,
    limit_of,
    limit_rows,
    limit_words,
    maker_limit,
    tightness_limit,
)

D = Decimal
TODAY = datetime.date(2026, 11, 25)


# ---------------------------------------------------------------------------------------------------- the data


@pytest.mark.parametrize("row", limit_rows(), ids=lambda row: f"{row.limit.id} from {row.first}")
def test_every_limit_is_whole(row) -> None:  # type: ignore[no-untyped-def]
    """Each limit has bounds and days in order, a unit, an authority, a source, how sure it is, and what it is."""
    limit = row.limit
    assert limit.low is not None or limit.high is not None
    assert limit.low is None or limit.high is None or limit.low <= limit.high
    assert not (limit.low_strict and limit.low is None)
    assert not (limit.high_strict and limit.high is None)
    assert limit.unit
    assert limit.authority in ("trade", "practice")
    assert limit.source.strip()
    assert row.about.strip()
    assert limit.sure in ("published", "second-hand", "common practice", "from memory")
    assert row.first <= row.last
    assert row.gas in (None, "ng", "lpg")


def test_rows_of_one_id_do_not_overlap() -> None:
    """On any one day an id stands for one limit."""
    for id in limit_ids():
        rows = sorted((row for row in limit_rows() if row.limit.id == id), key=lambda row: row.first)
        for earlier, later in itertools.pairwise(rows):
            assert earlier.last < later.first


def test_a_limit_from_memory_never_passes_for_published() -> None:
    """A limit whose source says that it comes from memory is marked so, unless it is the other bound that was seen."""
    for row in limit_rows():
        if row.limit.source.endswith("from memory") and row.limit.id != "wobbe":
            assert row.limit.sure == "from memory", row.limit.id


def test_limits_change_on_their_day() -> None:
    """The limit in force on the day of the visit counts, to the day."""
    assert trade_limit("wobbe", datetime.date(2025, 4, 5)).low == D("47.20")
    assert trade_limit("wobbe", datetime.date(2025, 4, 6)).low == D("46.50")
    assert trade_limit("test_pressure_ng", datetime.date(2026, 10, 1)).low == D("20")


def test_a_limit_before_its_day_is_refused() -> None:
    """A limit that was not in force on the day is not used; the message gives its days."""
    with pytest.raises(BadInput) as caught:
        trade_limit("let_by_pressure", datetime.date(2026, 9, 30))
    words = "limit let_by_pressure is not in force on 2026-09-30; it is from 2026-10-01 to 9999-12-31"
    assert (caught.value.message, caught.value.hint) == (words, "check the date of the visit")


@pytest.mark.parametrize(
    ("id", "hint"), [("co_co2_ration", "did you mean co_co2_ratio?"), ("zzz", "take one of those named")]
)
def test_an_unknown_limit_is_refused(id: str, hint: str) -> None:
    """A limit that there is not is refused, with the names that there are and the nearest of them."""
    with pytest.raises(BadInput) as caught:
        trade_limit(id, TODAY)
    assert caught.value.message == f"there is no limit {id!r}; there are {', '.join(limit_ids())}"
    assert caught.value.hint == hint


def test_limits_are_read_as_they_stand_in_the_file() -> None:
    """Every limit is what its rows in the file say, with the defaults that the file leaves out."""
    text = (Path(limits.__file__).with_name("limits.toml")).read_text(encoding="utf-8")
    rows = tomllib.loads(text)["limit"]
    read = limits.read_limits(text)
    assert read == limit_rows()
    assert len(read) == len(rows)
    for row, entry in zip(rows, read, strict=True):
        wanted = Limit(
            row["id"],
            row["unit"],
            D(row["low"]) if "low" in row else None,
            D(row["high"]) if "high" in row else None,
            row.get("low_strict") is True,
            row.get("high_strict") is True,
            row["authority"],
            row["source"],
            row["sure"],
        )
        assert entry.limit == wanted
        assert (entry.about, entry.quantity, entry.gas, entry.qualifier) == (
            row["about"],
            row.get("quantity"),
            row.get("gas"),
            row.get("qualifier"),
        )
        assert entry.first == row.get("from", datetime.date.min)
        assert entry.last == row.get("to", datetime.date.max)


def test_a_bound_may_be_strict_on_either_side() -> None:
    """A row may say that either bound is not itself allowed."""
    row = """[[limit]]
        id = "x"
        unit = "K"
        low = "1"
        low_strict = true
        authority = "trade"
        source = "s"
        sure = "published"
        about = "a"
    """
    assert limits.read_limits(row)[0].limit == Limit("x", "K", D(1), low_strict=True, source="s", sure="published")


@pytest.mark.parametrize(
    ("quantity", "gas", "qualifier", "id"),
    [
        ("inlet_pressure", "ng", None, "inlet_pressure_ng"),
        ("inlet_pressure", "lpg", None, "inlet_pressure_lpg"),
        ("co2", "ng", "maximum", "co2_maximum_ng"),
        ("co2", "lpg", "minimum", "co2_minimum_lpg"),
        ("system_pressure", "ng", "cold", "system_pressure_cold"),
        ("co", "ng", "minimum", "co"),
        ("mains_voltage", "lpg", None, "mains_voltage"),
    ],
)
def test_a_reading_finds_its_limit(quantity: str, gas: str, qualifier: str | None, id: str) -> None:
    """A quantity with its gas and qualifier finds the limit that is for it."""
    found = limit_of(quantity, gas, qualifier, TODAY)  # type: ignore[arg-type]
    assert found is not None
    assert found.id == id


@pytest.mark.parametrize(("quantity", "qualifier"), [("pump_head", None), ("co2", None), ("system_pressure", "before")])
def test_a_reading_without_a_limit_finds_none(quantity: str, qualifier: str | None) -> None:
    """Where the trade has no limit there is none, rather than a near one."""
    assert limit_of(quantity, "ng", qualifier, TODAY) is None


@pytest.mark.parametrize(("day", "found"), [("2026-09-30", False), ("2026-10-01", True)])
def test_a_reading_finds_only_a_limit_in_force(monkeypatch: pytest.MonkeyPatch, day: str, found: bool) -> None:
    """A reading's limit is one that is in force on the day, first day and last day included."""
    first = last = datetime.date(2026, 10, 1)
    row = dataclasses.replace(next(r for r in limit_rows() if r.quantity == "co"), first=first, last=last)
    monkeypatch.setattr(limits, "limit_rows", lambda: (row,))
    assert (limit_of("co", "ng", None, datetime.date.fromisoformat(day)) is not None) is found
    assert limit_of("co", "ng", None, datetime.date(2026, 10, 2)) is None


# ------------------------------------------------------------------------------------------------------ verdicts


@pytest.mark.parametrize(
    ("limit", "value", "words"),
    [
        (maker_limit("co2", "%", D("8.8"), D("9.8")), "9.2", "within the maker's limit, 8.8 to 9.8 %"),
        (maker_limit("co2", "%", D("8.8"), D("9.8")), "8.8", "within the maker's limit, 8.8 to 9.8 %"),
        (maker_limit("co2", "%", D("8.8"), D("9.8")), "9.8", "within the maker's limit, 8.8 to 9.8 %"),
        (maker_limit("co2", "%", D("8.8"), D("9.8")), "9.81", "outside the maker's limit, 8.8 to 9.8 %"),
        (maker_limit("co2", "%", D("8.8"), D("9.8")), "8.79", "outside the maker's limit, 8.8 to 9.8 %"),
        (trade_limit("co_co2_ratio", TODAY), "0.0039", "within the trade's limit, below 0.004"),
        (trade_limit("co_co2_ratio", TODAY), "0.004", "outside the trade's limit, below 0.004"),
        (trade_limit("air_inlet_o2", TODAY), "20.6", "within the trade's limit, at least 20.6 %"),
        (trade_limit("air_inlet_o2", TODAY), "20.59", "outside the trade's limit, at least 20.6 %"),
        (trade_limit("air_inlet_co2", TODAY), "0.2", "outside the trade's limit, below 0.2 %"),
        (trade_limit("fuse_rating", TODAY), "3", "within common practice, exactly 3 A"),
        (trade_limit("fuse_rating", TODAY), "5", "outside common practice, exactly 3 A"),
        (trade_limit("let_by_rise", TODAY), "0", "within the trade's limit, at most 0 mbar"),
        (trade_limit("let_by_rise", TODAY), "0.1", "outside the trade's limit, at most 0 mbar"),
        (Limit("x", "K", D(5), None, low_strict=True), "5", "outside the trade's limit, above 5 K"),
        (Limit("x", "K", D(5), None, low_strict=True), "5.1", "within the trade's limit, above 5 K"),
        (Limit("x", "K", D(5), D(9), low_strict=True), "9", "within the trade's limit, above 5 and at most 9 K"),
        (Limit("x", "K", D(5), D(9), high_strict=True), "9", "outside the trade's limit, at least 5 and below 9 K"),
    ],
)
def test_a_verdict_names_its_limit(limit: Limit, value: str, words: str) -> None:
    """A verdict says within or outside, whose limit it is and what it is, right up to the bound."""
    verdict = judge(D(value), limit)
    assert verdict.words == words
    assert verdict.result == words.split()[0]
    assert verdict.limit is limit
    assert verdict.value == D(value)


@pytest.mark.parametrize(
    ("limit", "value", "spread", "words"),
    [
        (
            trade_limit("co_co2_ratio", TODAY),
            "0.0039",
            "0.0002",
            "too close to call: 0.0039 give or take 0.0002 against the trade's limit, below 0.004; "
            "read it again with a finer instrument",
        ),
        (
            maker_limit("gas_rate", "m3/h", D("2.4"), D("2.6")),
            "2.6234",
            "0.051",
            "too close to call: 2.62 give or take 0.05 m3/h against the maker's limit, 2.4 to 2.6 m3/h; "
            "time it at least 3 times as long",
        ),
        (
            around_plate("heat_input", "kW", D(24)),
            "25.3",
            "0.5",
            "too close to call: 25.3 give or take 0.5 kW against common practice, 22.8 to 25.2 kW; "
            "time it at least 6 times as long, or read it finer",
        ),
        (
            maker_limit("gas_rate", "m3/h", high=D("2.6")),
            "2.6",
            "0.05",
            "too close to call: 2.60 give or take 0.05 m3/h against the maker's limit, at most 2.6 m3/h; "
            "it stands on the limit: measure again",
        ),
        (
            maker_limit("co2", "%", D("9.0"), D("9.1")),
            "9.2",
            "0.3",
            "too close to call: 9.2 give or take 0.3 % against the maker's limit, 9.0 to 9.1 %; "
            "read it again with a finer instrument",
        ),
    ],
)
def test_a_value_whose_spread_reaches_its_limit_is_too_close(limit: Limit, value: str, spread: str, words: str) -> None:
    """Where the spread reaches over a bound the verdict says so, and what would settle it."""
    verdict = judge(D(value), limit, D(spread))
    assert verdict.result == "too_close"
    assert verdict.words == words


@pytest.mark.parametrize(
    ("value", "run_s", "ending"),
    [
        ("25.3", "120", "time it for at least 12 min, or read it finer"),  # 0.5 / 0.1: 6 times 2 min
        ("25.3", "125", "time it for at least 13 min, or read it finer"),  # 12.5 min, up to the next whole one
        ("25.2", "120", "it stands on the limit: measure again"),
    ],
)
def test_a_timed_run_that_is_too_close_is_told_how_long_to_run(value: str, run_s: str, ending: str) -> None:
    """With the length of the run known, the words give the length that would settle it in whole minutes."""
    verdict = judge(D(value), around_plate("heat_input", "kW", D(24)), D("0.5"), D(run_s))
    assert verdict.words.endswith(ending)


@pytest.mark.parametrize(
    ("value", "spread", "result"),
    [
        ("9.7", "0.1", "within"),
        ("9.7", "0.11", "too_close"),
        ("9.9", "0.1", "too_close"),
        ("9.9", "0.09", "outside"),
        ("8.9", "0.1", "within"),
    ],
)
def test_a_spread_that_just_touches_a_bound(value: str, spread: str, result: str) -> None:
    """The far end of the spread is judged like a value: on an allowed bound it is inside."""
    assert judge(D(value), maker_limit("co2", "%", D("8.8"), D("9.8")), D(spread)).result == result


@pytest.mark.parametrize(("value", "spread"), [("NaN", None), ("Infinity", None), ("1", "NaN"), ("1", "-0.1")])
def test_what_is_no_number_is_not_judged(value: str, spread: str | None) -> None:
    """A value or spread that is no number, or a spread below zero, is refused, not judged."""
    with pytest.raises(BadInput, match="co"):
        judge(D(value), trade_limit("co", TODAY), None if spread is None else D(spread))


DECIMALS = st.decimals(-100, 100, places=3)


@given(DECIMALS, DECIMALS, DECIMALS, st.decimals(0, 50, places=3), st.booleans(), st.booleans())
def test_a_settled_verdict_holds_for_all_that_the_value_may_be(
    first: D, second: D, value: D, spread: D, low_strict: bool, high_strict: bool
) -> None:
    """When a verdict with a spread is settled, every value inside the spread has the same verdict."""
    low, high = sorted((first, second))
    limit = Limit("x", "-", low, high, low_strict, high_strict)
    verdict = judge(value, limit, spread)
    samples = [value + spread * step / 10 for step in range(-10, 11)]
    results = {judge(sample, limit).result for sample in samples}
    if verdict.result == "too_close":
        assert spread > 0
    else:
        assert results == {verdict.result}


@given(st.sampled_from(limit_rows()), DECIMALS)
def test_no_verdict_says_safe(row, value: D) -> None:  # type: ignore[no-untyped-def]
    """No verdict, whatever the value, contains the word safe or classifies a danger."""
    words = judge(value, row.limit).words.lower()
    assert not {"safe", "ok", "fine", "danger", "pass"} & set(words.replace(",", " ").split())


# ---------------------------------------------------------------------------------------- maker, plate, tightness


def test_a_weak_source_is_marked() -> None:
    """Limits not seen in print are told apart from those that were."""
    assert is_weakly_sourced(trade_limit("inlet_pressure_lpg", TODAY))
    assert is_weakly_sourced(trade_limit("fuse_rating", TODAY))
    assert not is_weakly_sourced(trade_limit("co_co2_ratio", TODAY))


@pytest.mark.parametrize(("low", "high", "message"), [(None, None, "neither"), (D(2), D(1), "low 2 above high 1")])
def test_a_maker_limit_without_sense_is_refused(low: D | None, high: D | None, message: str) -> None:
    """Maker's data with no bound, or with low above high, are refused."""
    with pytest.raises(BadInput, match=message) as caught:
        maker_limit("co2", "%", low, high)
    assert caught.value.hint == ("give at least one bound" if low is None else "swap the bounds")


def test_a_maker_limit_keeps_its_strictness_and_source() -> None:
    """A maker's limit says below where the maker does, and where it was copied from."""
    limit = maker_limit("co", "ppm", high=D(200), high_strict=True, source="page 31")
    assert limit_words(limit) == "below 200 ppm"
    assert limit == Limit("co", "ppm", None, D(200), False, True, "maker", "page 31", "published")
    plain = Limit("co2", "%", D(9), D(10), False, False, "maker", "maker's data of this job", "published")
    assert maker_limit("co2", "%", D(9), D(10)) == plain
    assert maker_limit("co", "ppm", D(1), D(1)).low == D(1)


def test_the_band_around_a_plate() -> None:
    """The band around a plate value is 5 % either side unless told otherwise, and is called common practice."""
    assert limit_words(around_plate("heat_input", "kW", D(24))) == "22.8 to 25.2 kW"
    wider = around_plate("heat_input", "kW", D(20), D(10), D(5))
    assert (wider.low, wider.high) == (D(18), D(21))
    words = "common practice around the maker's plate"
    assert wider == Limit("heat_input", "kW", D(18), D(21), False, False, "practice", words, "common practice")
    assert around_plate("heat_input", "kW", D("0.9")).high == D("0.945")
    for none in (D(0), D(-24)):
        with pytest.raises(BadInput, match=f"the plate's heat_input is {none} kW; it must be more than 0") as caught:
            around_plate("heat_input", "kW", none)
        assert caught.value.hint == "read the plate again"


def test_the_tightness_limit_by_volume() -> None:
    """With appliances the drop permitted goes by volume; without, or where the table says so, none may be seen."""
    by_table = tightness_limit(D("0.009386"), TODAY, gas="ng", appliances_connected=True)
    source = "IGEM/UP/1B Edition 4, tables 3 and 5, as quoted by a secondary page: check the standard"
    assert by_table == Limit("tightness_drop", "mbar", None, D("4.0"), source=source, sure="second-hand")
    new = tightness_limit(D("0.009386"), TODAY, gas="ng", appliances_connected=False)
    assert (new.id, new.high) == ("perceptible_movement_electronic", D("0.2"))
    gauge = tightness_limit(D("0.02"), TODAY, gas="lpg", appliances_connected=True, electronic_gauge=False)
    assert (gauge.id, gauge.high) == ("perceptible_movement_water_gauge", D("0.25"))


def test_the_tightness_limit_of_an_old_test_is_not_guessed() -> None:
    """A test before Edition 4 is not held against Edition 4."""
    assert tightness_limit(D("0.009"), datetime.date(2026, 10, 1), gas="ng", appliances_connected=True).high == D(4)
    with pytest.raises(BadInput, match="dated 2026-09-30") as caught:
        tightness_limit(D("0.009"), datetime.date(2026, 9, 30), gas="ng", appliances_connected=True)
    assert caught.value.hint == "for an old record use work-out tightness_limit with on=, meter= and pipe_mm="


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_computed_number_keeps_its_digits(value: float) -> None:
    """A computed number becomes the Decimal of the digits it prints with."""
    assert float(as_decimal(value)) == value
