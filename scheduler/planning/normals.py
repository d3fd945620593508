"""The usual air of a place through the year, for hours that neither a forecast nor a record knows. Pure.

From the days of a record where the yard has one, else a coarse guess from latitude
and height: enough to know winter from summer, not to know the place.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.climate import Climate
from scheduler.weather.sun import declination
from scheduler.wood.endgrain import normal_hours

__all__ = ["Normals", "normals_by_latitude", "normals_of"]

F = NDArray[np.float64]
YEAR_H = 365.2425 * 24.0
LAPSE = 0.0065  # K/m, standard atmosphere


@dataclass(frozen=True, eq=False)
class Normals:
    """Mean air (°C) and relative humidity (share) of n equal stretches of a year from ``begins`` on."""

    air_c: F
    humidity: F
    begins: datetime
    guess: bool

    def hours(self, start: datetime, count: int) -> tuple[F, F]:
        """Air and dew point of ``count`` hours from ``start`` on, each (1, count)."""
        first = (start - self.begins).total_seconds() / 3600.0
        share = np.mod(first + np.arange(count) + 0.5, YEAR_H) / YEAR_H
        return normal_hours(self.air_c, self.humidity, share)


def normals_by_latitude(
    at: datetime, latitude: float, altitude_m: float, numbers: Mapping[str, float]
) -> Normals:
    """A guess for a place: zonal mean at sea level, a swing that grows with latitude, the lapse with height.

    ``numbers`` are ``normal_*`` of config/worth.toml. The coldest time lags the lowest sun by some weeks.
    """
    north = 1.0 if latitude >= 0 else -1.0
    days = np.arange(365.0)
    sun = north * declination(at, days - numbers["normal_lag"])
    turn = sun / 23.44  # -1 in deep winter, 1 in high summer
    mean = numbers["normal_equator"] - numbers["normal_fall"] * latitude**2 - LAPSE * altitude_m
    air = mean + numbers["normal_swing"] * abs(latitude) * turn
    damp = np.clip(numbers["normal_humidity"] - numbers["normal_humidity_swing"] * turn, 0.2, 0.98)
    return Normals(air, damp, at, guess=True)


def normals_of(climate: Climate) -> Normals | None:
    """Those of the place's own past years, where they were kept."""
    if climate.air_c is None or climate.humidity is None or not climate.starts:
        return None
    begins = datetime.combine(climate.starts[-1], datetime.min.time(), UTC)
    return Normals(climate.air_c, climate.humidity, begins, guess=False)
