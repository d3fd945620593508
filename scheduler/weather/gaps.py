"""Short gaps in a series: closed and marked, never for rain, never at the ends."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from scheduler.weather.series import INSTANTS, Array, Weather

__all__ = ["LONGEST_GAP", "fill_gaps"]

LONGEST_GAP = 2  # hours; over a longer one the weather may have turned


def fill_gaps(weather: Weather) -> Weather:
    """Close gaps of at most two hours in air, dew point, wind, cloud and pressure by a straight line.

    Each member for itself. Rain, its chance, sun, gust and code stay unknown
    where they are unknown; so does everything before the first and after the
    last known hour. Hours in which something was closed are marked in
    ``filled``, beside marks that were there before.
    """
    closed = {name: _close(values) for name, values in weather.arrays() if name in INSTANTS}
    marks = np.zeros(weather.hours, dtype=bool)
    for _, rows in closed.values():
        marks |= rows.any(axis=0)
    if not marks.any():
        return weather
    arrays = {name: values for name, (values, _) in closed.items()}
    # Lines may cross inside a gap; the air never lies below its dew point, and what was known is kept.
    air, dew = arrays["air_c"], arrays["dew_point_c"]
    arrays["dew_point_c"] = np.where(closed["dew_point_c"][1] & (dew > air), air, dew)
    arrays["air_c"] = np.where(closed["air_c"][1] & (dew > air), arrays["dew_point_c"], air)
    return replace(weather, filled=marks if weather.filled is None else weather.filled | marks, **arrays)  # type: ignore[arg-type]


def _close(values: Array) -> tuple[Array, NDArray[np.bool_]]:
    """The values with short inner gaps closed, and where that was done; shapes (members, hours)."""
    known = np.isfinite(values)
    if known.all():
        return values, ~known
    rows = np.broadcast_to(np.arange(values.shape[1]), values.shape)
    before = np.maximum.accumulate(np.where(known, rows, -1), axis=1)
    after = np.minimum.accumulate(np.where(known, rows, values.shape[1])[:, ::-1], axis=1)[:, ::-1]
    here = ~known & (before >= 0) & (after < values.shape[1]) & (after - before - 1 <= LONGEST_GAP)
    if not here.any():
        return values, here
    member, row = np.nonzero(here)
    left, right = before[here], after[here]
    share = (row - left) / (right - left)
    out = values.copy()
    out[here] = values[member, left] * (1.0 - share) + values[member, right] * share
    return out, here
