"""What the coming hours hold for the yard: rain, and the coldest on the wood and in the air."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.outlook import Outlook
from scheduler.weather.sun import daylight

__all__ = ["DayOutlook", "Night", "days_of", "next_rain", "night_hours", "night_of", "suns_of"]

F = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Night:
    """The coming night: medians over the members, None where not known."""

    wood_c: float | None  # coldest on a bare end in the open
    wood_at: datetime | None
    air_c: float | None  # coldest in the yard's air, cold-air offset included
    forecast_c: float | None  # coldest in the forecast as it came
    frost_share: float | None  # members with frost in the yard's air


@dataclass(frozen=True, slots=True)
class DayOutlook:
    """Coldest of a day, from its morning to the next one, on the wood and in the forecast's air."""

    start: datetime
    wood_c: float | None
    forecast_c: float | None


def next_rain(outlook: Outlook) -> datetime | None:
    """Start of the first hour in which at least half of the members have rain; None when dry or unknown."""
    first = outlook.now_step
    rain = outlook.fine.rain_mm[:, first:]
    wet = np.nan_to_num(rain) >= outlook.thresholds.rain_hour.value
    hours = np.flatnonzero(wet.mean(axis=0) >= 0.5)
    return outlook.time_at(first + int(hours[0])) if hours.size else None


def suns_of(outlook: Outlook, days: int = 4) -> tuple[tuple[datetime, datetime], ...]:
    """Sunrise and sunset of today and the days after; days without either are left out."""
    zone = outlook.yard.zone
    place = outlook.yard.yard.place
    first = outlook.at.astimezone(zone).date()
    suns = (daylight(first + timedelta(days=n), place.lat, place.lon, zone) for n in range(days))
    return tuple(sun for sun in suns if sun is not None)


def _coldest(values: F, first: int, last: int) -> tuple[float | None, int | None, float | None]:
    """Median of the members' minima between two steps, its step, and the share at or below 0."""
    part = values[:, max(first, 0) : max(last, 0)]
    if part.size == 0 or not np.isfinite(part).all(axis=0).any():
        return None, None, None
    if not np.isfinite(part).all():
        return None, None, None
    lows = part.min(axis=1)
    middle = int(np.argsort(lows)[(lows.size - 1) // 2])
    return float(np.median(lows)), max(first, 0) + int(part[middle].argmin()), float((lows <= 0.0).mean())


def night_hours(outlook: Outlook) -> tuple[datetime, datetime]:
    """The coming night: from now, or from sunset, to tomorrow 9:00 on the yard's clock."""
    local = outlook.at.astimezone(outlook.yard.zone)
    morning = local.replace(hour=9, minute=0, second=0, microsecond=0)
    suns = suns_of(outlook, 1)
    # Before nine the night that matters is still the coming one: what is laid today lies out tonight.
    return (max(outlook.at, suns[0][1]) if suns else outlook.at), morning + timedelta(days=1)


def night_of(outlook: Outlook) -> Night:
    """The night that comes (from now, or from sunset, to tomorrow 9:00 on the yard's clock)."""
    begin, end = night_hours(outlook)
    a, b = int(outlook.step_of(begin)), int(outlook.step_of(end))
    wood, wood_step, _ = _coldest(outlook.faces().dry.surface_c, a, b)
    air, _, frost = _coldest(outlook.fine.air_c, a, b)
    hours = outlook.weather.air_c[
        :, max(0, int(outlook.weather.hour_of(begin))) : int(outlook.weather.hour_of(end)) + 1
    ]
    forecast = float(np.median(hours.min(axis=1))) if hours.size and np.isfinite(hours).all() else None
    return Night(wood, None if wood_step is None else outlook.time_at(wood_step), air, forecast, frost)


def days_of(outlook: Outlook, days: int) -> list[DayOutlook]:
    """Coldest on the wood and in the air for the coming days, each from 6:00 to the next 6:00."""
    zone = outlook.yard.zone
    first = outlook.at.astimezone(zone).replace(hour=6, minute=0, second=0, microsecond=0)
    out = []
    for n in range(days):
        start = first + timedelta(days=n)
        a, b = int(outlook.step_of(start)), int(outlook.step_of(start + timedelta(days=1)))
        wood, _, _ = _coldest(outlook.faces().dry.surface_c, a, b)
        first_hour = max(0, int(outlook.weather.hour_of(start)))
        hours = outlook.weather.air_c[:, first_hour : int(outlook.weather.hour_of(start)) + 25]
        known = hours.size and np.isfinite(hours).all()
        out.append(DayOutlook(start, wood, float(np.median(hours.min(axis=1))) if known else None))
    return out
