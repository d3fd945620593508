"""The quarter-hour grid on which face, film and rules are worked out.

Step ``k`` is ``[k/4, (k+1)/4)`` hours after the start of the series; values
stand for the middle of the step. Instants run linearly between the hours,
amounts belong to the whole hour.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from scheduler.weather.air import pressure_at
from scheduler.weather.members import Members

__all__ = ["PER_HOUR", "STEP", "STEP_S", "Fine", "fine_grid"]

F = NDArray[np.float64]
PER_HOUR = 4
STEP = timedelta(minutes=15)
STEP_S = 900.0
MIDDLES = (np.arange(PER_HOUR) + 0.5) / PER_HOUR


@dataclass(frozen=True, eq=False)
class Fine:
    """Quarter-hour weather of all members, every field (members, steps) in the units of ``Weather``."""

    start: datetime
    air_c: F
    dew_point_c: F
    wind_ms: F
    cloud: F
    sun_wm2: F
    rain_mm: F  # mm in the hour the step belongs to
    gust_ms: F
    code: F | None
    pressure_kpa: F | float
    unknown: NDArray[np.bool_]  # air, dew point or wind not known
    rain_unknown: NDArray[np.bool_]
    drying: F  # (members, 1)
    shelter: F  # (members, 1)
    film_k: F  # (members, 1)

    @property
    def members(self) -> int:
        """Number of members."""
        return int(self.air_c.shape[0])

    @property
    def steps(self) -> int:
        """Number of quarter-hour steps."""
        return int(self.air_c.shape[1])

    def step_of(self, when: datetime) -> float:
        """Grid steps from the start of the series."""
        return (when - self.start) / STEP

    def time_at(self, step: float) -> datetime:
        """UTC time of a grid position, to the second."""
        return self.start + timedelta(seconds=round(float(step) * STEP_S))

    def first_day_mean(self) -> F:
        """Mean air of the first day of the series, (members,): the log's state before it."""
        first = self.air_c[:, : 24 * PER_HOUR]
        known = np.isfinite(first)
        count = np.maximum(known.sum(axis=1), 1)
        return np.asarray(np.where(known, first, 0.0).sum(axis=1) / count)


def _instants(values: F) -> F:
    """Hourly instants to the middles of quarter hours; the last hour keeps its value."""
    after = np.concatenate([values[:, 1:], values[:, -1:]], axis=1)
    fine = values[:, :, None] + (after - values)[:, :, None] * MIDDLES
    return fine.reshape(values.shape[0], -1)


def _amounts(values: F) -> F:
    return np.repeat(values, PER_HOUR, axis=1)


def fine_grid(members: Members, altitude_m: float = 0.0) -> Fine:
    """Lay the members' weather on the quarter-hour grid."""
    w = members.weather
    if w.cloud is None or w.sun_wm2 is None or w.gust_ms is None:
        raise ValueError("the members must be drawn before they are laid on the grid")
    air = _instants(w.air_c)
    dew = np.minimum(_instants(w.dew_point_c), air)
    wind = _instants(w.wind_ms)
    rain = _amounts(w.rain_mm)
    pressure: F | float = float(pressure_at(altitude_m))
    if w.pressure_hpa is not None:
        told = _instants(w.pressure_hpa) / 10.0
        pressure = np.where(np.isfinite(told), told, pressure)
    column = (slice(None), None)
    return Fine(
        start=w.start,
        air_c=air,
        dew_point_c=dew,
        wind_ms=wind,
        cloud=_instants(w.cloud),
        sun_wm2=_amounts(w.sun_wm2),
        rain_mm=rain,
        gust_ms=_amounts(w.gust_ms),
        code=None if w.code is None else _amounts(w.code),
        pressure_kpa=pressure,
        unknown=~(np.isfinite(air) & np.isfinite(dew) & np.isfinite(wind)),
        rain_unknown=~np.isfinite(rain),
        drying=members.drying[column],
        shelter=members.shelter[column],
        film_k=members.film_k[column],
    )
