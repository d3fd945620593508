"""A place's own past: days of a record, its frost year, and its first freezes.

The frost year begins half a year from the coldest day of the mean year, so
nothing depends on the names of months or on the hemisphere. Days inside it are
counted from 0 to 364; 29 February shares the number of 1 March.

References
----------
First freezes: freeze or no freeze in a season and a continuous spread of the
dates of the others, P(by d) = q F(d), as the US freeze normals do; a season
with more than ten days missing before its freeze is not used (rule of the Utah
tables). Hours made from days: ``history_hours``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from scheduler.weather.series import HOUR, Weather, WeatherError

__all__ = [
    "YEAR",
    "DailyRecord",
    "FirstFreezes",
    "FrostCalendar",
    "daily_of",
    "first_freezes",
    "frost_calendar",
    "numbered",
]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741  -- index arrays
YEAR = 365  # numbers of days in a frost year
HALF = 182
ROUNDING = 1e-6  # K: -2.0 made by adding an offset is still -2.0
DAY = timedelta(days=1)
MISSING_DAYS = 10
HOURS_MISSING = 2  # of a day's hours, for its lowest and highest to count as known


@dataclass(frozen=True, eq=False)
class DailyRecord:
    """Days in a row: lowest and highest air in °C, rain in mm, each (days,), NaN unknown.

    ``utc_offset_h`` is where the days begin: midnight at that offset from UTC.
    None: days as a station keeps them, from midnight to midnight of the place.
    """

    first: date
    min_c: F
    max_c: F
    rain_mm: F
    utc_offset_h: float | None = None
    latitude: float | None = None
    longitude: float | None = None
    altitude_m: float | None = None
    notes: tuple[str, ...] = ()  # what the reader wants the user to know

    def __post_init__(self) -> None:
        shape = self.min_c.shape
        if len(shape) != 1 or not shape[0] or {self.max_c.shape, self.rain_mm.shape} != {shape}:
            raise ValueError("a daily record needs three arrays of one length, at least one day")

    @property
    def days(self) -> int:
        """Number of days, unknown ones among them."""
        return int(self.min_c.size)

    @property
    def last(self) -> date:
        """The last day."""
        return self.first + (self.days - 1) * DAY

    @property
    def dates(self) -> NDArray[np.datetime64]:
        """Every day, datetime64[D]."""
        return np.datetime64(self.first, "D") + np.arange(self.days)


def numbered(dates: NDArray[np.datetime64]) -> I:
    """Number of each date in a year of 365 days; 29 February shares that of 1 March."""
    years = dates.astype("datetime64[Y]")
    number = (dates - years.astype("datetime64[D]")).astype(np.int64)
    length = ((years + 1).astype("datetime64[D]") - years.astype("datetime64[D]")).astype(np.int64)
    return np.asarray(np.where((length == 366) & (number >= 60), number - 1, number))


@dataclass(frozen=True, slots=True)
class FrostCalendar:
    """Where the frost year of a place begins; ``coldest`` is the number of its coldest day (1 January: 0)."""

    coldest: int

    @property
    def begins(self) -> int:
        """Number of the first day of the frost year in the calendar year."""
        return (self.coldest + HALF) % YEAR

    def start_of(self, day: date) -> date:
        """First day of the frost year in which a day lies."""
        this = self._day(day.year, self.begins)
        return this if day >= this else self._day(day.year - 1, self.begins)

    def number_of(self, day: date) -> int:
        """Number of a day in its frost year, 0 to 364."""
        return int((numbered(np.array([day], "datetime64[D]"))[0] - self.begins) % YEAR)

    def date_of(self, number: int, start: date) -> date:
        """Date of a numbered day in the frost year that starts on ``start``."""
        whole = self.begins + number
        return self._day(start.year + whole // YEAR, whole % YEAR)

    @staticmethod
    def _day(year: int, number: int) -> date:
        first = date(year, 1, 1)
        leap = (date(year + 1, 1, 1) - first).days == 366
        return first + (number + (1 if leap and number >= 59 else 0)) * DAY


def frost_calendar(record: DailyRecord) -> FrostCalendar:
    """The frost year of a record's place, from its daily minima smoothed by two harmonics of the year.

    Raises
    ------
    WeatherError
        When the record does not hold known minima from all parts of the year.
    """
    number = numbered(record.dates)
    known = np.isfinite(record.min_c)
    parts = np.bincount(number[known] * 12 // YEAR, minlength=12)
    if parts.min() < 10:
        raise WeatherError(
            f"The record runs from {record.first} to {record.last} and does not show a whole year: "
            "the frost year cannot be found in it. Give daily minima of at least one year, better of thirty."
        )
    fitted, *_ = np.linalg.lstsq(_waves(number[known]), record.min_c[known], rcond=None)
    return FrostCalendar(int(np.argmin(_waves(np.arange(YEAR)) @ fitted)))


def _waves(number: I) -> F:
    turn = 2.0 * np.pi * number / YEAR
    return np.stack([np.ones(turn.size), np.cos(turn), np.sin(turn), np.cos(2 * turn), np.sin(2 * turn)], 1)


# ---------------------------------------------------------------- first freezes


@dataclass(frozen=True, eq=False)
class FirstFreezes:
    """Days of the frost year on which the air first fell to a threshold, one for each usable year.

    ``days`` (years,): number of the day, inf where it did not freeze. ``starts`` are
    the first days of the usable years, ``unused`` those with too many days missing.
    """

    threshold_c: float
    calendar: FrostCalendar
    starts: tuple[date, ...]
    days: F
    unused: tuple[date, ...]

    @property
    def share(self) -> float:
        """Share of the years with a freeze."""
        return float(np.isfinite(self.days).mean())

    @property
    def frozen(self) -> F:
        """The numbered days of the years that froze."""
        return self.days[np.isfinite(self.days)]

    def normal(self) -> NormalDist | None:
        """The normal law of the dates (mean, sample deviation); None from fewer than two different dates."""
        dates = self.frozen
        if dates.size < 2 or float(np.ptp(dates)) == 0.0:
            return None
        return NormalDist(float(dates.mean()), float(dates.std(ddof=1)))

    def quantile(self, p: float, *, normal: bool = False) -> float | None:
        """Day by which it has frozen in a share ``p`` of all years; None where it freezes in fewer.

        Percentile of the dates (linear between them), or of their normal law.
        """
        if p > self.share:
            return None
        inside = p / self.share
        if not normal:
            return float(np.percentile(self.frozen, 100.0 * inside))
        law = self.normal()
        return None if law is None or inside >= 1.0 else law.inv_cdf(inside)

    def day(self, p: float, *, normal: bool = False) -> int | None:
        """The same as a whole day; half a day between two goes to the earlier, where the frost is."""
        found = self.quantile(p, normal=normal)
        return None if found is None else int(np.ceil(found - 0.5))

    def by(self, number: float, *, normal: bool = False) -> float:
        """Share of years in which it froze on or before a numbered day."""
        law = self.normal() if normal else None
        if law is not None:
            return self.share * law.cdf(number)
        return float((self.days <= number).mean())

    def within(self, number: float, days: float, *, normal: bool = False) -> float | None:
        """Chance of the first freeze in the next ``days`` days when there was none up to and on ``number``.

        (F(d + k) - F(d)) / (1 - F(d)); None where every year of the record had frozen by then.
        """
        before = self.by(number, normal=normal)
        if before >= 1.0:
            return None
        return (self.by(number + days, normal=normal) - before) / (1.0 - before)

    def band(
        self, p: float, *, share: float = 0.9, seed: int = 0, draws: int = 1000
    ) -> tuple[float, float | None] | None:
        """How far the quantile may be off: ``share`` of draws of as many years lie between these two days.

        The upper one is None where it may as well not freeze in ``p`` of the years;
        None altogether where that holds for the lower one too.
        """
        drawn = np.random.default_rng(seed).choice(self.days, (draws, self.days.size))
        found = [replace(self, days=row).quantile(p) for row in drawn]
        ordered = np.sort([np.inf if day is None else day for day in found])
        low, high = (float(ordered[round((draws - 1) * (0.5 + side * share / 2))]) for side in (-1, 1))
        return (low, high if np.isfinite(high) else None) if np.isfinite(low) else None


def first_freezes(
    record: DailyRecord,
    threshold_c: float,
    calendar: FrostCalendar,
    *,
    shift_c: float = 0.0,
    latest: int | None = 30,
    missing: int = MISSING_DAYS,
) -> FirstFreezes:
    """First day of each frost year with a minimum at or below a threshold ("-2" is -2.0, not 28 °F).

    Parameters
    ----------
    shift_c : what the yard is warmer (colder: negative) than the record on frosty nights, K
    latest : so many of the last usable years; None for all
    missing : a year with more unknown days than this before its freeze is not used

    Raises
    ------
    WeatherError
        When no year is usable.
    """
    cold = record.min_c + shift_c
    usable: list[tuple[date, float]] = []
    unused: list[date] = []
    start = calendar.start_of(record.first)
    while start <= record.last:
        after = calendar.date_of(YEAR, start)
        found = _first_at(
            cold, (start - record.first).days, (after - record.first).days, threshold_c, missing
        )
        if found is None:
            unused.append(start)
        elif np.isinf(found):
            usable.append((start, np.inf))
        else:
            usable.append((start, float(calendar.number_of(start + int(found) * DAY))))
        start = after
    chosen = usable if latest is None else usable[-latest:]
    if not chosen:
        raise WeatherError(
            f"No frost year of the record ({record.first} to {record.last}) is complete enough for first "
            f"freezes: more than {missing} days are missing in each. Give a longer record."
        )
    starts, days = zip(*chosen, strict=True)
    return FirstFreezes(threshold_c, calendar, starts, np.array(days), tuple(unused))


def _first_at(cold: F, begin: int, end: int, threshold_c: float, missing: int) -> float | None:
    """Days from ``begin`` to the first at or below the threshold; inf: none; None: too much is missing."""
    year = np.full(end - begin, np.nan)
    low, high = max(begin, 0), min(end, cold.size)
    year[low - begin : max(high, low) - begin] = cold[low:high]
    hits = np.flatnonzero(year <= threshold_c + ROUNDING)
    before = year[: hits[0]] if hits.size else year
    if np.count_nonzero(np.isnan(before)) > missing:
        return None
    return float(hits[0]) if hits.size else float(np.inf)


# ---------------------------------------------------------------- days from hours


def daily_of(weather: Weather, utc_offset_h: float) -> DailyRecord:
    """Days of an hourly series of one member, from midnight to midnight at an offset from UTC.

    A day's lowest and highest air are those of its hours, so a little inside the
    true ones; they are known when no more than two hours lack. A day's rain
    needs all of its hours. Half days at both ends are left off.
    """
    if weather.members != 1:
        raise ValueError("a record is made of one series, not of the members of an ensemble")
    local = weather.start + timedelta(hours=utc_offset_h)
    skip = -((local - datetime.combine(local.date(), time(), UTC)) // HOUR) % 24
    days = (weather.hours - skip) // 24
    if days < 1:
        raise WeatherError("The hours do not make up one whole day. Give a longer series.")
    air, rain = (
        row[0, skip : skip + 24 * days].reshape(days, 24) for row in (weather.air_c, weather.rain_mm)
    )
    enough = np.isnan(air).sum(axis=1) <= HOURS_MISSING
    cell = weather.provenance
    return DailyRecord(
        first=(local + skip * HOUR).date(),
        min_c=np.where(enough, np.fmin.reduce(air, axis=1), np.nan),
        max_c=np.where(enough, np.fmax.reduce(air, axis=1), np.nan),
        rain_mm=rain.sum(axis=1),
        utc_offset_h=utc_offset_h,
        latitude=cell.latitude,
        longitude=cell.longitude,
        altitude_m=cell.altitude_m,
        notes=cell.notes,
    )
