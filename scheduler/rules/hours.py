"""When there is light and somebody in the yard, on the quarter-hour grid."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from scheduler.settings import Assumptions, Yard
from scheduler.weather.fine import STEP, Fine
from scheduler.weather.sun import daylight, sun_height

__all__ = ["Openness", "openness", "wall_time"]

F = NDArray[np.float64]
ALWAYS_MIN = 24 * 60.0


@dataclass(frozen=True, eq=False)
class Openness:
    """Minutes of daylight left and hands in the yard at each step, (steps,)."""

    light_min: F
    hands: F


def wall_time(day: date, clock: time, zone: ZoneInfo) -> datetime:
    """The instant of a wall-clock time: in a gap the first moment after it, in a fold the first one."""
    local = datetime.combine(day, clock, zone)
    there = local.astimezone(UTC).astimezone(zone)
    if there.replace(tzinfo=None) == local.replace(tzinfo=None):
        return local
    # In the gap: the two readings of a time that does not exist lie on both sides of the change.
    low, high = sorted(local.replace(fold=n).astimezone(UTC) for n in (0, 1))
    offset = high.astimezone(zone).utcoffset()
    second = timedelta(seconds=1)
    while high - low > second:  # clocks change on a whole second, so bounds on whole seconds end on it
        middle = low + (high - low) // (2 * second) * second
        if middle.astimezone(zone).utcoffset() == offset:
            high = middle
        else:
            low = middle
    return high.astimezone(zone)


def openness(fine: Fine, yard: Yard, zone: ZoneInfo, assumed: Assumptions) -> Openness:
    """Light and hands over the whole grid."""
    lat, lon = yard.place.lat, yard.place.lon
    light = _light(fine, lat, lon, zone)
    hands = np.zeros(fine.steps)
    for day in _days(fine, zone):
        stretch = _working(day, yard, zone, lat, lon, assumed)
        if stretch is not None:
            a, b = (fine.step_of(moment) for moment in stretch)
            # A step counts when all of it lies in the hours.
            hands[max(0, int(np.ceil(a - 1e-6))) : max(0, int(np.floor(b + 1e-6)))] = yard.people_on(day)
    return Openness(light, hands)


def _days(fine: Fine, zone: ZoneInfo) -> list[date]:
    """Civil days that touch the grid, and the one before: its sun may still be up at the first step."""
    first = fine.start.astimezone(zone).date() - timedelta(days=1)
    last = fine.time_at(fine.steps).astimezone(zone).date()
    return [first + timedelta(days=n) for n in range((last - first).days + 1)]


def _light(fine: Fine, lat: float, lon: float, zone: ZoneInfo) -> F:
    """Minutes until sunset while the sun is up, else 0."""
    light = np.zeros(fine.steps)
    middle = np.arange(fine.steps) + 0.5
    for day in _days(fine, zone):
        sun = daylight(day, lat, lon, zone)
        if sun is None:
            continue
        rise, fall = fine.step_of(sun[0]), fine.step_of(sun[1])
        up = (middle >= rise) & (middle < fall)
        light = np.where(up, (fall - middle) * 15.0, light)
    height = sun_height(fine.start, middle / 4.0, lat, lon)
    # Where the sun neither rises nor sets on a day, its height decides.
    return np.where((light == 0.0) & (height > 2.0), ALWAYS_MIN, light)


def _working(
    day: date, yard: Yard, zone: ZoneInfo, lat: float, lon: float, assumed: Assumptions
) -> tuple[datetime, datetime] | None:
    said = yard.hours_on(day)
    if said is None:
        return None
    if said != "free":
        return wall_time(day, said[0], zone), wall_time(day, said[1], zone)
    begin = assumed["free_start"]
    start = wall_time(day, time(int(begin), round(begin % 1 * 60)), zone)
    sun = daylight(day, lat, lon, zone)
    end = (
        wall_time(day, time(18), zone)
        if sun is None
        else sun[1] - timedelta(hours=assumed["free_end_before_sunset"])
    )
    return (start, end) if end - start > STEP else None
