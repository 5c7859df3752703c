"""Pipes, meter and pressure drop in; installation volume, permissible drop, purge volume and leak rate out.

The test's tables depend on the edition of IGEM/UP/1B in force on the day: Edition 4 alone from 2026-10-01.
"""

from __future__ import annotations

import datetime
import functools
import re
import tomllib
from importlib import resources
from typing import Any

from handsfree.errors import BadInput
from handsfree.trade.given import checked, nearest

ATMOSPHERE_MBAR = 1013.25
EDITION_4_FROM = datetime.date(2026, 10, 1)
"""first day on which Edition 4 is the only edition in force (Registered Gas Engineer, April 2026)"""
LARGEST_M3 = 0.035
"""m3, scope of IGEM/UP/1B"""
PURGE_VOLUMES = 1.5
"""installation volumes, trade summaries of Edition 4 (second-hand)"""


@functools.cache
def tables() -> dict[str, Any]:
    """The data of `tightness.toml`: meters, tubes and permissible drops with their sources."""
    text = resources.files(__package__).joinpath("tightness.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def meter_volume_m3(meter: str) -> float:
    """Volume in m3 of a gas meter by its type; "none" is 0.

    Source: see `tightness.toml` (U6/G4 published, others from memory).
    """
    meters = {name: row["volume_m3"] for row in tables()["meter"] for name in row["names"]}
    found = meters.get(meter.strip().lower())
    if found is None:
        raise BadInput(f"meter is {meter!r}; it must be one of {', '.join(meters)}", nearest(meter, meters))
    return float(found)


def tube_m3_per_m(size_mm: float) -> float:
    """Volume in m3 of a metre of copper gas pipe by its outside diameter in mm: 15, 22, 28, 35.

    Source: see `tightness.toml`.
    """
    tubes = {float(row["size_mm"]): float(row["m3_per_m"]) for row in tables()["tube"]}
    if size_mm not in tubes:
        sizes = ", ".join(f"{size:g}" for size in tubes)
        raise BadInput(
            f"pipes has {size_mm:g}mm; it must be one of {sizes} mm", "give the outside diameter of the copper"
        )
    return tubes[size_mm]


_RUN = re.compile(
    r"\s*(\d+(?:\.\d+)?)\s*m(?:etres?)?\s*(?:of|x|@)?\s*(\d+(?:\.\d+)?)\s*mm\s*(?:copper)?\s*", re.IGNORECASE
)


def read_pipes(text: str) -> tuple[tuple[float, float], ...]:
    """Lengths in m and sizes in mm out of words like "9m of 15mm, 3m of 22mm"; "none" is no pipe.

    Raises:
        BadInput: words that are not a length and a size, or a length that no installation has.
    """
    if text.strip().lower() in ("none", "0"):
        return ()
    runs = []
    for part in re.split(r"[,;+]|\band\b", text):
        match = _RUN.fullmatch(part)
        if match is None:
            raise BadInput(
                f"pipes has {part.strip()!r}; it must be a length and a size", "write it as '9m of 15mm, 3m of 22mm'"
            )
        length_m = float(match[1])
        if not 0.0 < length_m <= 500.0:
            raise BadInput(
                f"pipes has {length_m:g} m; a length must be more than 0 and at most 500 m", "check the length"
            )
        runs.append((length_m, float(match[2])))
    return tuple(runs)


@checked(fittings_pct=(0.0, 50.0))
def installation_volume_m3(meter: str, pipes: tuple[tuple[float, float], ...], fittings_pct: float = 10.0) -> float:
    """Installation volume, m3: meter + (1 + fittings) x sum of length x volume per metre.

    Valid for copper of 15 to 35 mm. Source: certification body's pocket guide to IGEM/UP/1B (worked example).
    """
    in_pipes = sum(length_m * tube_m3_per_m(size_mm) for length_m, size_mm in pipes)
    return meter_volume_m3(meter) + (1.0 + fittings_pct / 100.0) * in_pipes


@checked(volume_m3=(0.0001, LARGEST_M3))
def permissible_drop_mbar(lpg: bool, volume_m3: float, appliances_connected: bool) -> float:
    """Drop in mbar that Edition 4 permits in 2 minutes; 0 stands for "no perceptible movement".

    Valid up to 0.035 m3, existing installation, no smell of gas. With a drop inside the table the appliances are
    isolated and the pipework tested again: it must show no perceptible movement. Any smell of gas fails the test
    whatever the gauge says.
    Source: IGEM/UP/1B Edition 4, tables 3 and 5, as quoted by a secondary page (second-hand: check the standard).
    """
    if not appliances_connected:
        return 0.0
    rows = tables()["edition_4"]["lpg" if lpg else "ng"]
    return float(next(row["mbar"] for row in rows if volume_m3 <= row["up_to_m3"]))


def superseded_drop_mbar(meter: str, size_mm: float, appliances_connected: bool) -> float:
    """Drop in mbar that Edition 3 permitted for natural gas, by meter and largest pipe; for reading old records only.

    Source: IGEM/UP/1B Edition 3, from memory.
    """
    if not appliances_connected:
        return 0.0
    rows = tables()["edition_3"]["ng"]
    for row in rows:
        if meter.strip().lower() in row["meters"] and row["over_mm"] < size_mm <= row["up_to_mm"]:
            return float(row["mbar"])
    raise BadInput(
        f"meter is {meter!r} with {size_mm:g} mm pipe; Edition 3 has e6, none, u6, g4, u16, g10, pipe up to 35 mm",
        "take the type from the meter's badge",
    )


@checked(volume_m3=(0.0001, LARGEST_M3))
def purge_volume_m3(volume_m3: float) -> float:
    """Gas to pass when purging, m3: 1.5 x installation volume.

    Valid up to 0.035 m3. Source: trade summaries of Edition 4 (second-hand).
    """
    return PURGE_VOLUMES * volume_m3


@checked(volume_m3=(0.0001, 1.0), drop_mbar=(0.0, 100.0), time_s=(1.0, 86_400.0))
def leak_rate_m3_h(volume_m3: float, drop_mbar: float, time_s: float) -> float:
    """Gas lost, m3/h at atmospheric pressure: volume x drop/1013.25 x 3600/time. Source: closed form (Boyle)."""
    return volume_m3 * drop_mbar / ATMOSPHERE_MBAR * 3600.0 / time_s


@checked(gauge_mbar=(0.0, 100.0), temperature_c=(-20.0, 50.0))
def temperature_effect_mbar_k(gauge_mbar: float, temperature_c: float) -> float:
    """How much the pressure of trapped gas moves for a kelvin, mbar/K: absolute pressure / absolute temperature.

    Why the test waits for the temperature to settle. Source: closed form (ideal gas).
    """
    return (ATMOSPHERE_MBAR + gauge_mbar) / (273.15 + temperature_c)
