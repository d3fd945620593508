"""Chances by day of a place, for decisions: the best start of each day in every member. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.climate import Climate
from scheduler.planning.decision import Chances
from scheduler.planning.outlook import Outlook
from scheduler.rules.engine import PASS, UNKNOWN
from scheduler.settings import Doubt

__all__ = ["DayChances", "Judged", "chances_by_day", "day_chances", "days_without_forecast"]

F = NDArray[np.float64]
DAY = timedelta(days=1)


@dataclass(frozen=True, eq=False)
class DayChances:
    """Days from today on: when the brush would best begin, and how that ends in each member.

    ``starts`` are UTC times, one for each day (noon of the yard where a day has none);
    ``told`` counts the days that the forecast speaks of; ``removed`` is the share of the doubt
    about what is ahead that one more day of forecasting takes away.
    """

    days: tuple[date, ...]
    starts: tuple[datetime, ...]
    chances: Chances
    removed: F

    @property
    def told(self) -> int:
        """Days with members."""
        return self.chances.forecast_days


def day_chances(
    outlook: Outlook,
    place: str | None,
    roofed: bool,
    until: datetime,
    doubt: Doubt,
    *,
    climate: Climate | None = None,
    default: float = 0.25,
) -> DayChances:
    """Chances of every day from today to ``until`` in a place.

    A day without an open hour left has no chance; one of which most is unknown is unknown.
    Behind the forecast the chance of past years on that date counts, else ``default``.
    """
    assessment = outlook.of(place, roofed)
    found = Judged(
        assessment.starts, assessment.findings.outcome(), assessment.findings.closed(), assessment.chance
    )
    return chances_by_day(found, outlook, until, doubt, climate=climate, default=default)


@dataclass(frozen=True, eq=False)
class Judged:
    """Starts (grid steps), how each ends in each member (members, starts), closed ones, chances (starts,)."""

    starts: NDArray[np.int64]
    outcome: NDArray[np.int8]
    closed: NDArray[np.bool_]
    chance: F


def chances_by_day(
    found: Judged,
    outlook: Outlook,
    until: datetime,
    doubt: Doubt,
    *,
    climate: Climate | None = None,
    default: float = 0.25,
) -> DayChances:
    """Chances of every day from judged starts; days and times are the outlook's."""
    zone = outlook.yard.zone
    today = outlook.at.astimezone(zone).date()
    when = [outlook.time_at(step).astimezone(zone).date() for step in found.starts]
    number = np.array([(day - today).days for day in when], np.int64)
    told = int(number.max()) + 1 if number.size else 0
    holds = np.zeros((found.outcome.shape[0], told))
    starts = [_noon(today + n * DAY, outlook) for n in range(told)]
    for n in range(told):
        columns = np.flatnonzero((number == n) & ~found.closed)
        if not columns.size:
            continue
        passing = (found.outcome[:, columns] == PASS).sum(axis=0)
        best = int(columns[int(np.argmax(passing))])
        starts[n] = outlook.time_at(int(found.starts[best]))
        if np.isnan(found.chance[columns]).mean() >= 0.5 and np.isnan(found.chance[best]):
            holds[:, n] = np.nan
        else:
            row = found.outcome[:, best]
            holds[:, n] = np.where(row == UNKNOWN, np.nan, row == PASS)
    last = until.astimezone(zone).date()
    more = max((last - today).days + 1 - told, 0)
    later_days = [today + (told + n) * DAY for n in range(more)]
    later = np.array([_past_chance(climate, day, default) for day in later_days])
    total = told + more
    return DayChances(
        days=tuple(today + n * DAY for n in range(total)),
        starts=(*starts, *(_noon(day, outlook) for day in later_days)),
        chances=Chances(holds, later),
        removed=_removed(total, told, doubt),
    )


def days_without_forecast(
    at: datetime, zone: ZoneInfo, until: datetime, *, climate: Climate | None = None, default: float = 0.25
) -> DayChances:
    """The same where no forecast can be gone by: past years alone, and nothing to be told of today."""
    today = at.astimezone(zone).date()
    days = [today + n * DAY for n in range((until.astimezone(zone).date() - today).days + 1)]
    later = np.array([_past_chance(climate, day, default) for day in days])
    later[0] = 0.0
    starts = tuple(datetime.combine(day, time(12), zone).astimezone(UTC) for day in days)
    chances = Chances(np.empty((0, 0)), later)
    return DayChances(tuple(days), starts, chances, np.zeros(len(days)))


def _noon(day: date, outlook: Outlook) -> datetime:
    return datetime.combine(day, time(12), outlook.yard.zone).astimezone(UTC)


def _past_chance(climate: Climate | None, day: date, default: float) -> float:
    if climate is None:
        return default
    chance = climate.on(day)
    return chance if np.isfinite(chance) else default


def _removed(days: int, told: int, doubt: Doubt) -> F:
    """How much of today's doubt about the day after each its own morning will have taken away, (days,).

    ``told`` days have a forecast.
    """
    table = doubt["removed"]
    out = np.interp(np.arange(days) + 1.0, table["days"], table["share"])
    out[max(told - 1, 0) :] = table["behind"]
    return np.asarray(out)
