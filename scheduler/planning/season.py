"""Until winter: how many days for the brush are left, from past years and the forecast together. Pure.

Each past year continues each member of the forecast: the days that a forecast can
still tell count as it says, those behind as they were in that year, with a fading
weight in between (the share of the variance that the forecast still explains), so
there is no seam. The first freeze is told beside it; it is not the end of the
season, the last good day lies weeks behind it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.climate import Climate
from scheduler.weather.history import HALF, YEAR, FirstFreezes

__all__ = ["Ahead", "Range", "Season", "forecast_weight", "season_of"]

F = NDArray[np.float64]
DAY = timedelta(days=1)
QUANTILES = (0.1, 0.5, 0.9)
SURE = 0.9  # of the years
ALL_WINTER = 14  # days before mid-winter: where those still have a good one, there is no end of the season
WINTER = 45  # days on both sides of mid-winter: the deepest quarter of a year
FIRST_DAYS = 20  # a first freeze so early in every frost year: there is no summer without
GOOD = 0.5  # a day counts as good where its best start passed in this share of the draws


@dataclass(frozen=True, slots=True)
class Range:
    """A number by its 10, 50 and 90 % quantiles over the years."""

    p10: float
    p50: float
    p90: float


NONE = Range(0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Ahead:
    """Dates by which something has come in 10, 50 and 90 % of the years; None: it has not in so many."""

    p10: date | None
    p50: date | None
    p90: date | None


@dataclass(frozen=True, eq=False)
class Season:
    """What is left of the season on a day.

    ``freezes`` are the first ones by threshold in °C, for a year that has not frozen so
    far; None where this year's freeze has been or the place does not freeze. ``days_left``
    counts good days from the day on until mid-winter, ``spans_left`` runs of them.
    ``last_good`` is the last good day before mid-winter, ``first_good`` the first one
    after it. ``sure_until`` is the day after which there was still a good one in 9 of 10
    years, None where not even today is. ``none_left`` is the share of years without any.
    """

    day: date
    end: date
    freezes: dict[float, Ahead | None]
    days_left: Range
    spans_left: Range
    hours_left: Range
    last_good: Ahead
    first_good: Ahead
    sure_until: date | None
    none_left: float
    years: int
    all_winter: bool
    winter_days: Range = NONE  # good days within the deepest quarter of a year
    never: frozenset[float] = frozenset()  # thresholds that no year has reached
    always: frozenset[float] = frozenset()  # thresholds that every year reaches on its very first days
    hours_by_row: F = field(default_factory=lambda: np.zeros(0))  # hours left, one for each year and member
    days_by_row: F = field(default_factory=lambda: np.zeros(0))


def forecast_weight(lead_days: F, sigma: F, sigma_days: F, climate_sd: float) -> F:
    """How far a day of the forecast is believed against the place's past, 0 to 1, by lead.

    The share of the variance that it explains, 1 - (sigma / climate_sd)², never below 0.
    """
    error = np.interp(lead_days, sigma_days, sigma)
    return np.asarray(np.clip(1.0 - (error / climate_sd) ** 2, 0.0, 1.0))


def season_of(
    climate: Climate,
    freezes: tuple[FirstFreezes, ...],
    day: date,
    *,
    holds: F | None = None,
    weight: F | None = None,
    frozen: frozenset[float] = frozenset(),
) -> Season:
    """The rest of the season from ``day`` on.

    Parameters
    ----------
    holds : (members, days) 1 where the best start of that day of the forecast passes, NaN unknown
    weight : (days,) how far the forecast is believed, as ``forecast_weight`` gives
    frozen : thresholds at which this year has frozen already
    """
    number = climate.calendar.number_of(day)
    # Mid-winter is half a frost year from its beginning: the one ahead ends what is left.
    length = (HALF - number) % YEAR or YEAR
    ahead = _ahead(climate, number, length, holds, weight)
    good = ahead >= GOOD
    last = _last(good)
    spring = climate.good(GOOD)[:, (HALF + np.arange(HALF)) % YEAR]
    first = np.where(spring.any(axis=1), np.argmax(spring, axis=1) + length, np.inf)
    return Season(
        day=day,
        end=day + length * DAY,
        freezes={f.threshold_c: _freeze(f, number, day, f.threshold_c in frozen) for f in freezes},
        days_left=_range(good.sum(axis=1)),
        spans_left=_range(_runs(good)),
        hours_left=_range((good * _hours(climate, number, length)).sum(axis=1)),
        last_good=Ahead(*(_dated(day, _quantile(last, q, -np.inf)) for q in QUANTILES)),
        first_good=Ahead(*(_dated(day, _quantile(first, q, np.inf)) for q in QUANTILES)),
        sure_until=_sure(good, day),
        none_left=float((~good.any(axis=1)).mean()),
        winter_days=_range(climate.good(GOOD)[:, HALF - WINTER : HALF + WINTER].sum(axis=1)),
        never=frozenset(f.threshold_c for f in freezes if not np.isfinite(f.days).any()),
        always=frozenset(f.threshold_c for f in freezes if f.days.size and (f.days <= FIRST_DAYS).all()),
        hours_by_row=(good * _hours(climate, number, length)).sum(axis=1),
        days_by_row=good.sum(axis=1).astype(np.float64),
        years=len(climate.starts),
        all_winter=bool(good[:, -ALL_WINTER:].any(axis=1).mean() >= SURE),
    )


def _ahead(climate: Climate, number: int, length: int, holds: F | None, weight: F | None) -> F:
    """Share with which each day is good, (members x years, days): the forecast's, fading into each year's."""
    past = np.nan_to_num(climate.passed[:, (number + np.arange(length)) % YEAR])
    if holds is None or weight is None or not holds.size:
        return np.asarray(past)
    days = min(holds.shape[1], length)
    both = np.repeat(past[None, :, :], holds.shape[0], axis=0)
    told = np.nan_to_num(holds[:, :days])[:, None, :]
    w = np.where(np.isfinite(holds[:, :days])[:, None, :], weight[:days], 0.0)
    both[:, :, :days] = w * told + (1.0 - w) * both[:, :, :days]
    return np.asarray(both.reshape(-1, length))


def _hours(climate: Climate, number: int, length: int) -> F:
    """Hours for the brush on a good day of each date, mean of the years that had any, (days,)."""
    some = np.nan_to_num(climate.hours[:, (number + np.arange(length)) % YEAR])
    return np.asarray(some.sum(axis=0) / np.maximum((some > 0).sum(axis=0), 1))


def _runs(good: NDArray[np.bool_]) -> F:
    """Runs of good days in each row, (rows,)."""
    before = np.concatenate([np.zeros((good.shape[0], 1), bool), good[:, :-1]], axis=1)
    return np.asarray((good & ~before).sum(axis=1), np.float64)


def _last(good: NDArray[np.bool_]) -> F:
    """Days from now to each row's last good one; -inf where it has none."""
    last = good.shape[1] - 1 - np.argmax(good[:, ::-1], axis=1)
    return np.where(good.any(axis=1), last, -np.inf)


def _range(values: F) -> Range:
    low, middle, high = (float(q) for q in np.quantile(values, QUANTILES))
    return Range(low, middle, high)


def _quantile(values: F, q: float, never: float) -> float:
    """Quantile without mixing in what never comes: the value of a row, on the side of ``never``."""
    ordered = np.sort(values)
    place = q * (ordered.size - 1)
    return float(ordered[int(np.floor(place) if never < 0 else np.ceil(place))])


def _dated(day: date, offset: float) -> date | None:
    return day + int(offset) * DAY if np.isfinite(offset) else None


def _freeze(freezes: FirstFreezes, number: int, day: date, frozen: bool) -> Ahead | None:
    """The next first freeze; None where this year's has been, or it never freezes.

    From mid-winter on the next one is that of the frost year to come.
    """
    if number >= HALF:
        left = freezes.days + (YEAR - number)
    else:
        left = freezes.days[freezes.days >= number] - number
        if frozen:
            return None
    if not np.isfinite(left).any():
        return None
    return Ahead(*(_dated(day, _quantile(left, q, np.inf)) for q in QUANTILES))


def _sure(good: NDArray[np.bool_], day: date) -> date | None:
    """The latest day after which 9 of 10 rows still had a good one."""
    after = np.cumsum(good[:, ::-1], axis=1)[:, ::-1] > 0
    still = np.concatenate([after[:, 1:], np.zeros((good.shape[0], 1), bool)], axis=1)
    sure = np.flatnonzero(still.mean(axis=0) >= SURE)
    return day + int(sure[-1]) * DAY if sure.size else None
