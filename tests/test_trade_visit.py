"""The sums of two worked visits, each computed here by hand beside the program's answer."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest

from handsfree.trade import judge, trade_limit, work_out
from handsfree.trade.crosschecks import cross_checks, plate_check
from handsfree.trade.limits import around_plate, as_decimal, maker_limit, tightness_limit

D = Decimal
DAY = datetime.date(2026, 11, 25)


def first(computation: str, **keys: str) -> float:
    value = work_out(computation, keys).results[0].value
    assert isinstance(value, float)
    return value


def test_a_commissioning_on_natural_gas_by_hand() -> None:
    """Meter to net kilowatts, tightness, combustion and hot water of an invented combi, each sum also done by hand."""
    # Tightness. G4 0.008 + 1.1 x (6 x 0.00032 + 4 x 0.00014) = 0.008 + 1.1 x 0.00248 = 0.010728 m3: band to
    # 0.015, 2.5 mbar.
    volume = first("installation_volume", meter="G4", pipes="6m of 22mm, 4m of 15mm")
    assert volume == pytest.approx(0.010728)
    assert first("tightness_limit", gas="ng", volume_m3=f"{volume}") == 2.5
    limit = tightness_limit(as_decimal(volume), DAY, gas="ng", appliances_connected=True)
    assert judge(D("0.0"), limit).words == "within the trade's limit, at most 2.5 mbar"
    # A drop of 1 mbar would be 0.010728 x 1/1013.25 x 30 = 0.000318 m3/h.
    assert first("leak_rate", volume_m3=f"{volume}", drop_mbar="1", time_s="120") == pytest.approx(0.000318, rel=0.002)

    # Gas rate. 48123.456 to 48123.544 is 0.088 m3 in 122 s: 0.088 x 3600 / 122 = 2.5967 m3/h.
    rate = work_out("gas_rate", {"start_m3": "48123.456", "end_m3": "48123.544", "time_s": "122"}).results[0]
    assert rate.value == pytest.approx(2.5967, abs=0.0001)
    # Spread: 2.5967 x (1/88 + 1/122) = 0.0508 m3/h.
    assert rate.spread == pytest.approx(0.0508, abs=0.0001)
    # Heat input. 2.5967 x 39.5 / 3.6 = 28.492 kW gross; x 0.9003 = 25.652 kW net. Plate 24.5 kW net, 5 %: 23.275
    # to 25.725 kW.
    gross, net = work_out(
        "heat_input",
        {"start_m3": "48123.456", "end_m3": "48123.544", "time_s": "122", "cv_mj_m3": "39.5", "gas": "G20"},
    ).results
    assert gross.value == pytest.approx(28.492, abs=0.001)
    assert net.value == pytest.approx(25.652, abs=0.005)
    assert net.spread == pytest.approx(25.652 * (1 / 88 + 1 / 122), abs=0.001)
    assert isinstance(net.value, float)
    # 0.073 kW from the bound, 0.502 kW of spread: seven runs' length.
    verdict = judge(as_decimal(net.value), around_plate("heat_input", "kW", D("24.5")), as_decimal(net.spread or 0.0))
    assert verdict.words == (
        "too close to call: 25.7 give or take 0.5 kW against common practice, 23.275 to 25.725 kW; "
        "time it at least 7 times as long, or read it finer"
    )
    assert plate_check(as_decimal(net.value), D("24.5"), "net", as_decimal(net.spread or 0.0)) == ()

    # Combustion at maximum. 92 / (9.2 x 10000) = 0.001; O2 20.95 x (1 - 9.2/11.7006) = 4.477; lambda 1 + 0.8953 x
    # 0.27180 = 1.2433.
    ratio = first("co_co2_ratio", co_ppm="92", co2_pct="9.2")
    assert ratio == 0.001
    assert judge(as_decimal(ratio), trade_limit("co_co2_ratio", DAY)).words == "within the trade's limit, below 0.004"
    assert first("o2_from_co2", gas="G20", co2_pct="9.2") == pytest.approx(4.477, abs=0.001)
    assert first("excess_air", gas="G20", co2_pct="9.2") == pytest.approx(1.2433, abs=0.0005)
    assert (
        judge(D("9.2"), maker_limit("co2", "%", D("8.8"), D("9.8"))).words == "within the maker's limit, 8.8 to 9.8 %"
    )
    # Siegert, 58 and 14 degC: 44 x (0.37/9.2 + 0.009) = 2.1656 %.
    assert first("flue_loss", gas="natural_gas", co2_pct="9.2", flue_c="58", air_c="14") == pytest.approx(
        2.1656, abs=0.0001
    )
    # 58 degC is above the dew point of about 55 degC: nothing condenses, efficiency is 100 less the loss.
    assert first("efficiency", gas="G20", co2_pct="9.2", flue_c="58", air_c="14") == pytest.approx(97.85, abs=0.05)

    # Hot water. 10.2 L/min is 0.1700 kg/s (999.7 kg/m3); 38 K x 4.183 kJ/kgK = 158.95 kJ/kg: 27.01 kW.
    assert first("hot_water_output", flow_l_min="10.2", cold_c="10", hot_c="48") == pytest.approx(27.01, abs=0.02)

    readings = {
        "standing_pressure": D("22.5"),
        "working_pressure": D("20.5"),
        "inlet_pressure": D("19.8"),
        "co2.maximum": D("9.2"),
        "o2.maximum": D("4.5"),
        "co.maximum": D("92"),
        "co_co2_ratio.maximum": D("0.0010"),
        "heat_input.gross": as_decimal(28.492),
        "hot_water_output": D("27.01"),
    }
    assert cross_checks(readings, "ng") == ()
    # Papers: 30 days on, 12 months on.
    assert work_out("registration_due", {"installed": "2026-11-25"}).results[0].value == "2026-12-25"
    assert work_out("service_due", {"last": "2026-11-25"}).results[0].value == "2027-11-25"


def test_a_service_on_propane_by_hand() -> None:
    """The same on LPG: cubic feet timed, mass flow, vessel and static head."""
    # 1 ft3 in 111 s: 3600/111 = 32.432 ft3/h x 0.0283168 = 0.91838 m3/h; x 95.66/3.6 = 24.40 kW gross; x 0.9200 =
    # 22.45 kW net.
    gross, net = work_out("heat_input", {"volume_ft3": "1", "time_s": "111", "gas": "G31"}).results
    assert gross.value == pytest.approx(24.40, abs=0.01)
    assert net.value == pytest.approx(22.45, abs=0.01)
    # 22.45 kW net x 3.6 / 88.01 = 0.9183 m3/h x 1.8993 kg/m3 = 1.744 kg/h.
    cubic, mass = work_out("gas_rate_for", {"net_kw": "22.45", "gas": "lpg"}).results
    assert cubic.value == pytest.approx(0.9183, abs=0.0002)
    assert mass.value == pytest.approx(1.744, abs=0.001)
    assert mass.unit == "kg/h"
    # 118 / (10.4 x 10000) = 0.0011346.
    assert first("co_co2_ratio", co_ppm="118", co2_pct="10.4") == pytest.approx(0.0011346, abs=1e-7)
    # Siegert, 61 and 12 degC: 49 x (0.42/10.4 + 0.008) = 2.3708 %.
    assert first("flue_loss", gas="lpg", co2_pct="10.4", flue_c="61", air_c="12") == pytest.approx(2.3708, abs=0.0001)
    # Static head of 4.5 m: 999.7 x 9.80665 x 4.5 = 44 117 Pa; charge 0.44 + 0.3.
    assert first("static_head", height_m="4.5") == pytest.approx(0.44117, abs=0.0001)
    # 120 L at 3.0 and 0.75 bar: 120 x 0.093 = 11.16 L; an 8 L vessel takes 8 x 1.75/3.51325 = 3.985 L.
    assert first("vessel_size", system_l="120", valve_bar="3", charge_bar="0.75") == pytest.approx(11.16)
    assert first("vessel_acceptance", vessel_l="8", charge_bar="0.75", final_bar="2.5") == pytest.approx(
        3.985, abs=0.001
    )
    # 120 L from 15 to 70 degC: density 999.15 to 977.82, 2.18 % or 2.617 L more. Gas cold 8 x 1.76325/2.11325 =
    # 6.675 L; left
    # 4.058 L: 8 x 1.76325/4.058 - 1.01325 = 2.463 bar.
    hot = first(
        "hot_pressure", system_l="120", vessel_l="8", charge_bar="0.75", cold_bar="1.1", cold_c="15", hot_c="70"
    )
    assert hot == pytest.approx(2.463, abs=0.003)
    assert judge(D("1.1"), trade_limit("system_pressure_cold", DAY)).words == "within common practice, 1.0 to 1.5 bar"
    assert judge(D("36.5"), trade_limit("inlet_pressure_lpg", DAY)).words == "within the trade's limit, 32 to 42 mbar"
