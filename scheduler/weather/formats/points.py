"""From a source's points in time to whole hours: which hours there are, and the values between the points."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from scheduler.weather.formats.checks import MEND
from scheduler.weather.series import Array, WeatherError

__all__ = ["LONGEST", "between", "hour_numbers", "lowered", "through"]

LONGEST = timedelta(days=40)  # a series that reaches farther is damaged
Rows = NDArray[np.int64]


def hour_numbers(moments: Sequence[datetime], steps: Sequence[int]) -> Rows:
    """Hours of each point after the first; the steps must be among ``steps`` and never become finer again.

    Raises
    ------
    WeatherError
        For points that are repeated, out of order, too few, between whole hours or with a gap.
    """
    if len(moments) < 2:
        count = "one time only" if moments else "no times"
        raise WeatherError(f"The answer holds {count}; two are the least. {MEND}")
    start = moments[0]
    if start.minute % 15 or start.second or start.microsecond:
        raise WeatherError(f"The first time, {start:%Y-%m-%d %H:%M:%S} UTC, is no quarter hour. {MEND}")
    seconds = np.array([(when - start).total_seconds() for when in moments])
    hours, rest = np.divmod(np.diff(seconds), 3600.0)
    wrong = (rest != 0.0) | ~np.logical_or.reduce([hours == step for step in steps])
    wrong[1:] |= hours[1:] < hours[:-1]
    if wrong.any():
        row = int(np.argmax(wrong))
        _refuse_the_pair(moments[row], moments[row + 1], steps)
    if moments[-1] - start > LONGEST:
        raise WeatherError(f"The answer reaches over more than {LONGEST.days} days. {MEND}")
    return np.asarray(seconds // 3600.0, dtype=np.int64)


def _refuse_the_pair(before: datetime, after: datetime, steps: Sequence[int]) -> NoReturn:
    pair = f"{before:%Y-%m-%d %H:%M} is followed by {after:%Y-%m-%d %H:%M} UTC"
    if after == before:
        raise WeatherError(f"A time stands twice in the answer: {pair}. {MEND}")
    if after < before:
        raise WeatherError(f"The times of the answer are not in order: {pair}. {MEND}")
    known = "one hour" if len(steps) == 1 else f"{', '.join(map(str, steps))} hours, the finer ones first"
    raise WeatherError(
        f"The times of the answer do not follow one another: {pair}. Read are steps of {known}. {MEND}"
    )


def through(points: Rows, values: Array, hours: int) -> Array:
    """Straight lines through the points, (hours,); unknown beside an unknown point and beyond the last."""
    return np.asarray(np.interp(np.arange(hours), points, values, left=np.nan, right=np.nan))


def between(first: float, last: float, hours: int, low: float, high: float) -> Array:
    """Hourly values from ``first`` to ``last``, both included, that keep to a stated minimum and maximum.

    A straight line; where the minimum lies below both ends, two halves of a
    parabola whose lowest point is that minimum, at the whole hour nearest to
    where one parabola through both ends would have it; likewise with a maximum
    above both, where no minimum is below. No hour between the ends is above
    the maximum. NaN: not stated.
    """
    row = np.arange(hours + 1)
    if low < min(first, last):
        made = _bent(first, last, hours, low)
    elif high > max(first, last):
        made = _bent(first, last, hours, high)
    else:
        made = first + (last - first) * row / hours
    made[1:-1] = np.fmin(made[1:-1], high)
    return made


def _bent(first: float, last: float, hours: int, turn: float) -> Array:
    row = np.arange(hours + 1)
    share = np.sqrt(abs(last - turn) / abs(first - turn))
    where = min(max(round(hours / (1.0 + share)), 1), hours - 1)
    left = turn + (first - turn) * (1.0 - row / where) ** 2
    right = turn + (last - turn) * ((row - where) / (hours - where)) ** 2
    return np.asarray(np.where(row <= where, left, right))


def lowered(values: Array, low: float) -> Array:
    """The same stretch of hours with its lowest one brought down to ``low``, the others with it.

    By a bell that is whole at the lowest hour and nothing just outside the
    stretch. A stretch that reaches ``low`` by itself is left alone.
    """
    known = np.isfinite(values)
    if not known.any():
        return values
    lowest = int(np.nanargmin(values))
    drop = float(values[lowest]) - low
    if not drop > 0.0:
        return values
    row = np.arange(values.size)
    away = np.where(row < lowest, (lowest - row) / (lowest + 1), (row - lowest) / (values.size - lowest))
    return np.asarray(values - drop * 0.5 * (1.0 + np.cos(np.pi * away)))
