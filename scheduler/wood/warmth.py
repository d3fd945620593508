"""The warmth that the logs of a place have had and will have: a clock of days. Pure.

The clock is the running sum over days of what the daily mean lies above the
base (10 °C), in °C d: the warm dose. Days that are not known add nothing and are
counted, so that it can be said. Where the usual year of the place is given it
stands for what is not known and goes on ahead of the forecast. Its days
scatter, so that some are warm before the mean one is; their mean dose is the
normal law's (Thom 1954, degree days; from memory).

Nothing depends on months or on the hemisphere: seasons come from temperatures.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from math import erf, sqrt

import numpy as np
from numpy.typing import NDArray

from scheduler import clocks
from scheduler.weather.history import DailyRecord
from scheduler.weather.series import HOUR, Weather, WeatherError
from scheduler.wood.storage_numbers import Storage

__all__ = ["DAYS_OF_YEAR", "Warmth", "usual_year", "warmth_of"]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741  -- index arrays
DAY = timedelta(days=1)
DAYS_OF_YEAR = 366  # 1 January is 0, 29 February has a number of its own
LEAST_OF_YEAR = 10  # known days around each day that a usual year is made of


# ------------------------------------------------------------------ the usual year


def usual_year(record: DailyRecord, numbers: Storage) -> tuple[F, F]:
    """Mean air of every day of the year and how far single days lie from it, each (366,), °C and K.

    A day's mean is half way between its lowest and its highest. Both are means
    over the years and the days around.

    Raises
    ------
    WeatherError
        When the record does not show the whole year.
    """
    mean = (record.min_c + record.max_c) / 2.0
    known = np.isfinite(mean)
    slots, air = _slots(record.dates[known]), mean[known]
    half = numbers.smooth_days // 2
    count = _around(_summed(slots, np.ones(air.size)), half)
    if count.min() < LEAST_OF_YEAR:
        raise WeatherError(
            f"The record runs from {record.first} to {record.last} and does not show a whole year, so no "
            "usual year can be made of it. Give daily minima and maxima of a year or more."
        )
    usual = _around(_summed(slots, air), half) / count
    spread = _around(_summed(slots, (air - usual[slots]) ** 2), half) / count
    return usual, np.sqrt(spread)


def _summed(slots: I, values: F) -> F:
    """Sum of the values of each day of the year, (366,)."""
    return np.bincount(slots, values, DAYS_OF_YEAR).astype(np.float64)


def _around(values: F, half: int) -> F:
    """Sums over each day and ``half`` days on both sides, round the year."""
    return np.asarray(sum(np.roll(values, shift) for shift in range(-half, half + 1)))


def _slots(dates: NDArray[np.datetime64]) -> I:
    """Number of each date in a year of 366 days; after a February of 28 days one is left out."""
    years = dates.astype("datetime64[Y]")
    number = (dates - years.astype("datetime64[D]")).astype(np.int64)
    length = ((years + 1).astype("datetime64[D]") - years.astype("datetime64[D]")).astype(np.int64)
    return np.asarray(np.where((length == 365) & (number >= 59), number + 1, number))


def _mean_excess(mean: F, scatter: F, base: float) -> F:
    """Mean of what days lie above the base, when they lie about ``mean`` by a normal law, K."""
    over = mean - base
    z = over / np.maximum(scatter, 1e-9)
    below = np.array([0.5 * (1.0 + erf(value / sqrt(2.0))) for value in z])
    return np.asarray(np.maximum(over * below + scatter * np.exp(-0.5 * z * z) / sqrt(2.0 * np.pi), 0.0))


# ------------------------------------------------------------------ the clock of a place


@dataclass(frozen=True, eq=False)
class Warmth:
    """The clock of one place: days from midnight ``begins`` (UTC instant) on, arrays by day.

    ``mean_c`` (days,) is NaN where nothing is known; ``dose`` (1, days + 1) the running
    warm dose in °C d; ``unknown`` and ``usual`` (1, days + 1) running days without any
    temperature, and days for which the usual year stands. ``known_until`` ends the last
    day that was measured or forecast.
    """

    begins: datetime
    mean_c: F
    dose: F
    unknown: F
    usual: F
    known_until: datetime
    with_usual_year: bool

    @property
    def days(self) -> int:
        """Number of days."""
        return int(self.mean_c.size)

    @property
    def ends(self) -> datetime:
        """End of the last day."""
        return self.begins + self.days * DAY

    def day_of(self, when: datetime) -> float:
        """Days from the beginning (negative before it), fractions of a day too."""
        return (when.astimezone(UTC) - self.begins) / DAY

    def time_at(self, day: float) -> datetime | None:
        """The UTC time so many days after the beginning, to the minute; None for inf."""
        return self.begins + round(day * 1440.0) * timedelta(minutes=1) if np.isfinite(day) else None

    def between(self, totals: F, first: float, last: float) -> float:
        """How far one of the running totals moves between two days."""
        a, b = clocks.at(totals, np.array([[first, max(first, last)]]))[0]
        return float(b - a)

    def dose_between(self, first: datetime, last: datetime) -> float:
        """The warm dose of a stretch, °C d."""
        return self.between(self.dose, self.day_of(first), self.day_of(last))

    def unknown_between(self, first: float, last: float) -> float:
        """Days without any temperature between two days, those before and after the clock among them."""
        inside = self.between(self.unknown, first, last)
        before = max(min(0.0, last) - first, 0.0)
        return inside + before + max(last - max(float(self.days), first), 0.0)

    def mean_between(self, first: datetime, last: datetime) -> float | None:
        """Mean air over whole days of a stretch, °C; None where no day of it is known."""
        a, b = max(int(np.floor(self.day_of(first))), 0), max(int(np.ceil(self.day_of(last))), 0)
        part = self.mean_c[a:b]
        return float(np.nanmean(part)) if np.isfinite(part).any() else None


def warmth_of(
    pieces: Iterable[Weather | DailyRecord],
    *,
    since: datetime,
    at: datetime,
    numbers: Storage,
    utc_offset_h: float = 0.0,
    usual_c: F | None = None,
    scatter_k: F | float | None = None,
) -> Warmth:
    """The clock of a place from what is known of its air.

    Parameters
    ----------
    pieces
        Past hours, the forecast, days of a record, in the order of trust: a day is
        taken from the piece that knows most of its hours, of equals from the first.
        Members of a forecast count by their mean dose.
    since
        From when it is needed: the earliest felling.
    at
        Now; the clock reaches it in any case.
    utc_offset_h
        Where days begin: midnight at this offset.
    usual_c, scatter_k
        Usual mean air by day of the year (366,), °C, and the scatter of single days,
        K (None: the shipped number): they stand for what the pieces do not know,
        before and after, some years ahead. None: the clock stops at what is known.

    Raises
    ------
    ValueError
        When the usual year is not 366 known numbers.
    """
    held = [_days_of(piece, utc_offset_h, numbers) for piece in pieces]
    zero = (min(since, at).astimezone(UTC) + utc_offset_h * HOUR).date()
    last = max([(at.astimezone(UTC) + utc_offset_h * HOUR).date(), *(day.last for day in held)])
    known_days = (last - zero).days + 1
    ahead = numbers.years_ahead * DAYS_OF_YEAR if usual_c is not None else 0
    best = _best(held, zero, known_days + ahead)
    lacking = 24.0 - best.hours
    usual_excess = np.zeros(best.hours.size)
    if usual_c is not None:
        usual_mean, usual_excess = _usual(usual_c, scatter_k, zero, best.hours.size, numbers)
        best.mean[:] = np.where(best.hours > 0.0, best.mean, usual_mean)
    begins = datetime.combine(zero, time(), UTC) - utc_offset_h * HOUR
    rate = (best.excess * best.hours + usual_excess * lacking) / 24.0
    seen = np.flatnonzero(best.hours)
    nothing = np.zeros((1, rate.size + 1))
    lack = clocks.total(lacking[None, :] / 24.0, 1.0)
    return Warmth(
        begins=begins,
        mean_c=best.mean,
        dose=clocks.total(rate[None, :], 1.0),
        unknown=nothing if usual_c is not None else lack,
        usual=lack if usual_c is not None else nothing,
        known_until=begins + (int(seen[-1]) + 1 if seen.size else 0) * DAY,
        with_usual_year=usual_c is not None,
    )


def _usual(usual_c: F, scatter_k: F | float | None, zero: date, days: int, numbers: Storage) -> tuple[F, F]:
    """Mean air and mean dose of every day by the usual year, each (days,)."""
    usual_c = np.asarray(usual_c, np.float64)
    if usual_c.shape != (DAYS_OF_YEAR,) or not np.isfinite(usual_c).all():
        raise ValueError(
            f"The usual year needs a mean temperature for each of {DAYS_OF_YEAR} days, the first for "
            f"its first day; it holds {int(np.isfinite(usual_c).sum())} numbers in the shape {usual_c.shape}."
        )
    scatter = np.broadcast_to(np.asarray(numbers.scatter if scatter_k is None else scatter_k), DAYS_OF_YEAR)
    slots = _slots(np.datetime64(zero, "D") + np.arange(days))
    return usual_c[slots], _mean_excess(usual_c, scatter, numbers.base)[slots]


@dataclass(frozen=True, eq=False)
class _Days:
    """Days of one piece: mean air, mean of what lies above the base, hours known, each (days,)."""

    first: date
    mean: F
    excess: F
    hours: F

    @property
    def last(self) -> date:
        return self.first + (self.hours.size - 1) * DAY


def _days_of(piece: Weather | DailyRecord, utc_offset_h: float, numbers: Storage) -> _Days:
    if isinstance(piece, DailyRecord):
        mean = (piece.min_c + piece.max_c)[None, :] / 2.0
        return _days(piece.first, mean, np.where(np.isfinite(mean), 24.0, 0.0), numbers)
    local = piece.start + utc_offset_h * HOUR
    lead = local.hour
    whole = -(-(lead + piece.hours) // 24)
    air = np.full((piece.members, whole * 24), np.nan)
    air[:, lead : lead + piece.hours] = piece.air_c
    by_day = air.reshape(piece.members, whole, 24)
    hours = np.isfinite(by_day).sum(axis=2).astype(np.float64)
    mean = np.nansum(by_day, axis=2) / np.maximum(hours, 1.0)
    return _days(local.date(), mean, np.where(hours >= numbers.least_hours, hours, 0.0), numbers)


def _days(first: date, mean: F, hours: F, numbers: Storage) -> _Days:
    """Members (members, days) made one: means over those that know the day."""
    known = hours > 0.0
    count = np.maximum(known.sum(axis=0), 1)
    excess = np.where(known, np.maximum(mean - numbers.base, 0.0), 0.0).sum(axis=0) / count
    air = np.where(known, mean, 0.0).sum(axis=0) / count
    return _Days(first, np.where(known.any(axis=0), air, np.nan), excess, hours.max(axis=0))


def _best(held: Sequence[_Days], zero: date, days: int) -> _Days:
    """Each day from the piece that knows most of it."""
    out = _Days(zero, np.full(days, np.nan), np.zeros(days), np.zeros(days))
    for piece in held:
        shift = (piece.first - zero).days
        own = np.arange(piece.hours.size)
        own = own[(own + shift >= 0) & (own + shift < days)]
        own = own[piece.hours[own] > out.hours[own + shift]]
        for whole, part in ((out.mean, piece.mean), (out.excess, piece.excess), (out.hours, piece.hours)):
            whole[own + shift] = part[own]
    return out
