"""Changes from visit to visit that are worth looking into."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.language import load_language
from handsfree.trade.trends import trends, worth_looking_into

QUANTITIES = load_language().quantities


@pytest.mark.parametrize(
    ("quantity", "before", "now", "why"),
    [
        ("co2", "9.2", "9.8", "up by more than 0.5"),
        ("co2", "9.2", "8.6", "down by more than 0.5"),
        ("co2", "9.2", "9.7", ""),
        ("co2", "9.2", "8.7", ""),
        ("co", "40", "80", "at least 2 times the value before"),
        ("co", "40", "79", ""),
        ("co", "80", "40", ""),
        ("co", "3", "8", ""),
        ("co", "0", "10", "at least 2 times"),
        ("co_co2_ratio", "0.0008", "0.0016", "at least 2 times"),
        ("flue_temperature", "55", "66", "up by more than 10"),
        ("flue_temperature", "66", "55", ""),
        ("working_pressure", "20.8", "19.6", "down by more than 1"),
        ("inlet_pressure", "19.0", "20.1", "up by more than 1"),
        ("hot_water_flow", "12.0", "10.2", "down to 85% of the value before"),
        ("hot_water_flow", "12.0", "10.3", ""),
        ("hot_water_flow", "2.0", "1.6", ""),
        ("vessel_charge", "1.0", "0.7", "down by more than 0.2"),
        ("vessel_charge", "0.7", "1.0", ""),
        ("flame_current", "6.0", "4.0", "down to 67%"),
        ("mains_voltage", "240", "200", ""),
    ],
)
def test_what_is_worth_looking_into(quantity: str, before: str, now: str, why: str) -> None:
    """A change beyond what common practice calls worth looking into is named with its source, any other is not.

    CO2 by 0.5, CO doubled, flue temperature up by 10 K: common practice, no source; so are the others.
    """
    found = worth_looking_into(quantity, QUANTITIES[quantity].unit, Decimal(before), Decimal(now))
    assert found.startswith(f"investigate: {why}") if why else found == ""
    assert not why or "common practice, no source" in found


def test_other_units_are_not_judged() -> None:
    """Values in another unit than the trend's own are left alone."""
    assert worth_looking_into("working_pressure", "kPa", Decimal("2.1"), Decimal("21")) == ""


def test_trends_are_of_known_quantities_in_their_units() -> None:
    """Every trend is of a quantity in its own unit, has a bound and says how sure it is."""
    for quantity, trend in trends().items():
        assert QUANTITIES[quantity].unit == trend.unit
        assert any(b is not None for b in (trend.rises, trend.falls, trend.grows_by, trend.falls_by))
        assert trend.sure in ("published", "second-hand", "common practice", "from memory")


@given(st.sampled_from(sorted(trends())), st.decimals(0, 100, places=2))
def test_no_change_is_never_worth_looking_into(quantity: str, value: Decimal) -> None:
    """A value that stayed the same asks for nothing."""
    assert worth_looking_into(quantity, QUANTITIES[quantity].unit, value, value) == ""
