"""Who decides: rules of thumb, the program, and one who knew. Pure.

A policy says, morning by morning, which open ends are coated and at what hour. Rules of thumb and the
program see the same forecast; the one who knew is the bound, for nobody can do better with
the same hands.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduler.weather.series import Weather

__all__ = ["Thumb", "assign", "slots_by", "thumbs_of"]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741  -- index arrays


@dataclass(frozen=True, slots=True)
class Thumb:
    """A rule of thumb (config/replay.toml)."""

    name: str
    says: str
    air_above: float | None = None
    dry_h: float = 0.0
    frost_free_h: float = 0.0
    again: bool = True
    never: bool = False


def thumbs_of(rows: Sequence[Mapping[str, Any]]) -> tuple[Thumb, ...]:
    """The rules of thumb as they stand in the config."""
    return tuple(Thumb(**{key: value for key, value in row.items() if key != "source"}) for row in rows)


def slots_by(rule: Thumb, told: Weather, hours: F, rain_mm: float) -> I:
    """The day's slots at which the forecast has all that the rule names, in order, as indices.

    ``hours`` are the slots as hours of the forecast.
    """
    air, rain = told.air_c[0], told.rain_mm[0]
    found = []
    for n, hour in enumerate(hours if not rule.never else ()):
        start = int(hour)
        if rule.air_above is not None and air[start] <= rule.air_above:
            continue
        if (rain[start : start + round(rule.dry_h)] >= rain_mm).any():
            continue
        if (air[start : start + round(rule.frost_free_h)] <= 0.0).any():
            continue
        found.append(n)
    return np.array(found, np.int64)


def assign(cost: F, otherwise: F, room: int) -> I:
    """The cheapest day for every end with ``room`` ends a day, (ends,); -1: no day.

    Parameters
    ----------
    cost : (ends, days), inf where an end cannot be coated on a day
    otherwise : (ends,) cost of an end that is not coated

    Solved exactly as an assignment of ends to places (Kuhn 1955, in the form with potentials).
    """
    ends = cost.shape[0]
    gain = np.where(np.isfinite(cost), cost, np.inf) - otherwise[:, None]
    useful = np.flatnonzero((gain < 0.0).any(axis=0))
    out = np.full(ends, -1, np.int64)
    if not ends or not useful.size:
        return out
    places = np.repeat(useful, min(room, ends))
    # Each end has a place of its own where it stays uncoated, at no gain.
    table = np.concatenate([np.minimum(gain[:, places], 1e9), np.full((ends, ends), 1e9)], axis=1)
    table[np.arange(ends), places.size + np.arange(ends)] = 0.0
    chosen = _cheapest(table)
    inside = chosen < places.size
    out[inside] = places[chosen[inside]]
    return out


def _cheapest(table: F) -> I:
    """Column of each row in a cheapest assignment, rows <= columns."""
    rows, columns = table.shape
    row_price, price = np.zeros(rows + 1), np.zeros(columns + 1)
    owner = np.zeros(columns + 1, np.int64)  # of each column, 0 none
    padded = np.zeros((rows + 1, columns + 1))
    padded[1:, 1:] = table
    for row in range(1, rows + 1):
        owner[0] = row
        column, least = 0, np.full(columns + 1, np.inf)
        way, used = np.zeros(columns + 1, np.int64), np.zeros(columns + 1, bool)
        while owner[column]:
            used[column] = True
            here = owner[column]
            slack = padded[here] - row_price[here] - price
            better = ~used & (slack < least)
            better[0] = False
            least[better], way[better] = slack[better], column
            open_ = np.where(used, np.inf, least)
            open_[0] = np.inf
            nearest = int(np.argmin(open_))
            step = open_[nearest]
            row_price[owner[used]] += step
            price[used] -= step
            least[~used] -= step
            column = nearest
        while column:
            before = way[column]
            owner[column] = owner[before]
            column = before
    out = np.zeros(rows, np.int64)
    for column in range(1, columns + 1):
        if owner[column]:
            out[owner[column] - 1] = column - 1
    return out
