"""Hours made from the days of a record, so that the rules of a forecast can be held against past years.

Lowest air at sunrise, highest at 15 h solar time; what else the rules ask for
(dew point, cloud, sun, wind, the hours of the rain) follows from the two by
rules of thumb with a source. They serve chances over many years; they say
nothing of a single day.

References
----------
FAO-56: Allen, Pereira, Raes, Smith (1998), Irrigation and Drainage Paper 56,
eq 24 and 25 (sunset), 35 and 50 (sunshine and cloud by the day's range), 48
(dew point by the minimum). Cooling: Parton and Logan (1981), Agric. Meteorol.
23:205.
Numbers: config/history.toml.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray

from scheduler.weather.history import DailyRecord, numbered
from scheduler.weather.series import Provenance, Weather
from scheduler.weather.sun import clear_sky, sun_height

__all__ = ["Numbers", "day_offset", "hours_from_days"]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741  -- index arrays
Numbers = Mapping[str, float]  # config/history.toml, bare values
EARLIEST, LATEST = (
    2.0,
    10.0,
)  # solar hours between which the coldest hour lies, also where the sun stays up or down


def hours_from_days(record: DailyRecord, latitude: float, longitude: float, numbers: Numbers) -> Weather:
    """Hours that give back the days' lowest and highest air and their rain, one member.

    A half cosine up and an exponential down between the turning points, each
    hour kept inside its own day's two numbers. Rain stands in some of the day's
    hours, drawn by a die tied to the date. What hangs on an unknown number is
    unknown.

    Parameters
    ----------
    latitude, longitude : of the yard, degrees
    numbers : config/history.toml
    """
    offset = day_offset(record, longitude)
    start = datetime.combine(record.first, time(), UTC) - timedelta(hours=offset)
    rows = np.arange(24 * record.days)
    cold_at, warm_at = _turns(record, latitude, longitude, offset, numbers["warmest_at"])
    at = np.concatenate([cold_at, warm_at])
    order = np.argsort(at)
    air = _course(
        rows, at[order], np.concatenate([record.min_c, record.max_c])[order], numbers["night_decay"]
    )
    air = np.where(np.isnan(air), np.nan, _kept(air, record))
    rain = _rain(record, numbers)
    cloud = _line(rows, at[order], _cloud(record, numbers)[order])
    cloud = np.where(rain > 0.0, np.maximum(cloud, numbers["wet_cloud"]), cloud)
    height = sun_height(start, rows + 0.5, latitude, longitude)
    afternoon = np.cos((rows - offset + longitude / 15.0 - numbers["warmest_at"]) / 12.0 * np.pi)
    return Weather(
        start=start,
        air_c=air[None, :],
        dew_point_c=np.minimum(_line(rows, cold_at, _dew(record, numbers)), air)[None, :],
        wind_ms=numbers["wind_mean"] * (1.0 + numbers["wind_swing"] * afternoon)[None, :],
        rain_mm=rain[None, :],
        cloud=cloud[None, :],
        sun_wm2=(clear_sky(height) * _brightness(cloud, numbers) / numbers["sun_clear"])[None, :],
        provenance=Provenance(
            "history", latitude=record.latitude, longitude=record.longitude, altitude_m=record.altitude_m
        ),
    )


def day_offset(record: DailyRecord, longitude: float) -> float:
    """Hours from UTC at which the days begin; for a station's days the whole hour of its longitude."""
    return float(np.rint(longitude / 15.0)) if record.utc_offset_h is None else record.utc_offset_h


def _turns(
    record: DailyRecord, latitude: float, longitude: float, offset: float, warmest: float
) -> tuple[I, I]:
    """Rows of the coldest (sunrise) and the warmest hour of each day, each inside its own day."""
    turn = 2.0 * np.pi * (numbered(record.dates) + 1) / 365.0
    declination = 0.409 * np.sin(turn - 1.39)  # FAO-56 eq 24, rad
    half_day = np.arccos(np.clip(-np.tan(np.radians(latitude)) * np.tan(declination), -1.0, 1.0))  # eq 25
    sunrise = np.clip(12.0 - half_day * 12.0 / np.pi, EARLIEST, LATEST)
    midnights = 24 * np.arange(record.days)
    shift = offset - longitude / 15.0  # from solar time to hours of the record's day

    def row(solar: F) -> I:
        inside = np.clip(np.rint((solar + shift) % 24.0), 0, 23).astype(np.int64)
        return np.asarray(midnights + inside)

    return row(sunrise), row(np.full(record.days, warmest))


def _segments(rows: I, at: I) -> tuple[I, F, NDArray[np.bool_]]:
    """Turning point before each row, the share of the way to the next one, and whether there are both."""
    before = np.searchsorted(at, rows, side="right") - 1
    inside = (before >= 0) & ((before < at.size - 1) | (rows == at[np.maximum(before, 0)]))
    first = np.clip(before, 0, max(at.size - 2, 0))
    last = np.minimum(first + 1, at.size - 1)
    share = (rows - at[first]) / np.maximum(at[last] - at[first], 1)
    return first, share, inside


def _between(rows: I, at: I, values: F, shape: Callable[[F, F], F]) -> F:
    first, share, inside = _segments(rows, at)
    a, b = values[first], values[np.minimum(first + 1, values.size - 1)]
    weight = shape(share, b - a)
    # On a turning point itself the other one does not matter, known or not.
    out = np.where(share <= 0.0, a, np.where(share >= 1.0, b, a + (b - a) * weight))
    return np.asarray(np.where(inside, out, np.nan))


def _line(rows: I, at: I, values: F) -> F:
    """Straight lines between turning points; unknown beyond them and beside an unknown one."""
    return _between(rows, at, values, lambda share, _: share)


def _course(rows: I, at: I, values: F, decay: float) -> F:
    """Warming by a half cosine, cooling by an exponential."""

    def shape(share: F, change: F) -> F:
        cooling = np.expm1(-decay * share) / np.expm1(-decay)
        return np.where(change > 0.0, 0.5 - 0.5 * np.cos(np.pi * share), cooling)

    return _between(rows, at, values, shape)


def _kept(air: F, record: DailyRecord) -> F:
    """Each hour within its own day's lowest and highest: a cold front passes at midnight, not before."""
    by_day = air.reshape(record.days, 24)
    return np.asarray(np.fmax(np.fmin(by_day, record.max_c[:, None]), record.min_c[:, None]).ravel())


def _dew(record: DailyRecord, numbers: Numbers) -> F:
    """Dew point at each day's coldest hour: the minimum, less on a day without rain (FAO-56 eq 48)."""
    wet = np.nan_to_num(record.rain_mm) > 0.0
    return record.min_c - np.where(wet, numbers["dew_below_min_wet"], numbers["dew_below_min_dry"])


def _cloud(record: DailyRecord, numbers: Numbers) -> F:
    """Cloud at the coldest hours by the fall since the day before, at the warmest by the day's own range.

    The sunshine that FAO-56 eq 50 gives to a range, turned into the part of the
    day without sun by its eq 35 (Ångström).
    """
    fall = np.concatenate([[np.nan], record.max_c[:-1]]) - record.min_c
    spread = np.maximum(np.concatenate([fall, record.max_c - record.min_c]), 0.0)
    sun = numbers["sun_by_range"] * np.sqrt(spread)
    dark, clear = numbers["sun_overcast"], numbers["sun_clear"]
    return np.asarray(np.clip((clear - sun) / (clear - dark), 0.0, 1.0))


def _brightness(cloud: F, numbers: Numbers) -> F:
    """Share of the sunshine outside the air that reaches the ground (FAO-56 eq 35)."""
    dark, clear = numbers["sun_overcast"], numbers["sun_clear"]
    return np.asarray(dark + (clear - dark) * (1.0 - cloud))


def _rain(record: DailyRecord, numbers: Numbers) -> F:
    """The days' rain in hours: more rain, more hours, standing together; unknown days unknown throughout."""
    out = np.repeat(np.where(np.isnan(record.rain_mm), np.nan, 0.0), 24).reshape(record.days, 24)
    wet = np.flatnonzero(np.nan_to_num(record.rain_mm) > 0.0)
    if not wet.size:
        return out.ravel()
    amount = record.rain_mm[wet]
    most = np.floor(amount / numbers["wet_least"] + 1e-9)
    count = np.rint(numbers["wet_hours"] * amount ** numbers["wet_hours_power"])
    count = np.clip(np.minimum(count, most), 1.0, 24.0)
    seed, ordinal = int(numbers["seed"]), record.first.toordinal()
    # About a middle that may lie in any hour, some hours strayed from it.
    dice = [np.random.default_rng([seed, ordinal + int(day)]) for day in wet]
    middle = np.array([die.uniform(0.0, 24.0) for die in dice])
    stray = np.stack([die.standard_normal(24) for die in dice]) * numbers["wet_scatter"]
    away = np.abs(np.arange(24) + 0.5 - middle[:, None]) + stray
    rank = np.argsort(np.argsort(away, axis=1), axis=1)
    out[wet] = np.where(rank < count[:, None], (amount / count)[:, None], 0.0)
    return out.ravel()
