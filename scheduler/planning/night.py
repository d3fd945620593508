"""What the coming hours hold for the yard: rain, and the coldest on the wood and in the air."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.outlook import Outlook
from scheduler.settings import YardFile
from scheduler.weather.fine import PER_HOUR
from scheduler.weather.sun import daylight
from scheduler.yard.condition import EndState

__all__ = [
    "DayOutlook",
    "Night",
    "Peril",
    "days_of",
    "next_rain",
    "night_hours",
    "night_of",
    "perils_of",
    "suns_at",
    "suns_of",
    "thaw_of",
]

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


@dataclass(frozen=True, slots=True)
class Peril:
    """A milky coat that rather fails than holds if nothing is done: by which rule, and when."""

    tag: str
    end: str
    rule: str
    at: datetime


def perils_of(states: Mapping[tuple[str, str], EndState], at: datetime) -> tuple[Peril, ...]:
    """The coats in danger from ``at`` on, the soonest first."""
    found = []
    for (tag, end), state in states.items():
        fate = state.fate
        if state.state != "wet" or fate is None or fate.chance is None or fate.chance >= 0.5:
            continue
        if fate.danger is not None and fate.danger_at is not None and fate.danger_at > at:
            found.append(Peril(tag, end, fate.danger, fate.danger_at))
    return tuple(sorted(found, key=lambda one: (one.at, one.tag, one.end)))


def thaw_of(outlook: Outlook) -> datetime | None:
    """When bare ends that are frozen now come above 0 °C for a day and a night; None where they do not.

    Frozen: at or below 0 °C, in the middle of the members, for most of the last day.
    """
    day = 24 * PER_HOUR
    now = outlook.now_step
    face = outlook.faces().dry.surface_c
    if now < day or not np.isfinite(face[:, now - day : now]).all():
        return None
    if float((np.median(face[:, now - day : now], axis=0) <= 0.0).mean()) < 0.75:
        return None
    last = min(int(outlook.step_of(outlook.trusted_until)), face.shape[1])
    known = np.isfinite(face[:, now:last]).all(axis=0)
    ahead = np.median(face[:, now:last][:, known], axis=0) if known.all() else np.array([])
    warm = np.concatenate([[0], np.cumsum(ahead > 0.0)])
    starts = np.flatnonzero(warm[day:] - warm[:-day] == day) if warm.size > day else np.array([])
    return outlook.time_at(now + int(starts[0])) if starts.size else None


def suns_of(outlook: Outlook, days: int = 4) -> tuple[tuple[datetime, datetime], ...]:
    """Sunrise and sunset of today and the days after; days without either are left out."""
    return suns_at(outlook.yard, outlook.at, days)


def suns_at(yard: YardFile, at: datetime, days: int = 4) -> tuple[tuple[datetime, datetime], ...]:
    """The same where there is no weather."""
    zone = yard.zone
    place = yard.yard.place
    first = at.astimezone(zone).date()
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
