"""The sun: its height, the daylight of a day, and the sunshine that reaches the yard.

References
----------
Height of the sun: low-precision formulas of the Astronomical Almanac (mean
longitude, mean anomaly; 0.01 degree 1950-2050), from memory, checked in the
tests against two astronomy libraries. Clear-sky radiation: FAO-56 eq 37 with
Haurwitz (1945), J. Meteorology 2:154, as the shape with height (from memory).
Cloud: Kasten and Czeplak (1980), Solar Energy 24:177, G = G0 (1 - 0.75 N^3.4)
(from memory).
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, tzinfo

import numpy as np
from astral import Observer
from astral.sun import sunrise, sunset
from numpy.typing import ArrayLike, NDArray

__all__ = ["clear_sky", "cloud_from_sun", "daylight", "declination", "sun_height", "sunshine"]

F = NDArray[np.float64]
J2000 = datetime(2000, 1, 1, 12, tzinfo=UTC)


def sun_height(start: datetime, hours: ArrayLike, latitude: float, longitude: float) -> F:
    """Height of the sun's centre above the horizon, degrees, without refraction.

    ``hours`` are hours after ``start`` (UTC), any shape.
    """
    days = (start - J2000).total_seconds() / 86400.0 + np.asarray(hours, float) / 24.0
    longitude_sun, tilt = _sun(days)
    north = np.arcsin(np.sin(tilt) * np.sin(longitude_sun))
    right_ascension = np.arctan2(np.cos(tilt) * np.sin(longitude_sun), np.cos(longitude_sun))
    sidereal = np.radians((280.46062 + 360.98564737 * days + longitude) % 360.0)
    hour_angle = sidereal - right_ascension
    lat = np.radians(latitude)
    sine = np.sin(lat) * np.sin(north) + np.cos(lat) * np.cos(north) * np.cos(hour_angle)
    return np.asarray(np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0))))


def declination(start: datetime, days: ArrayLike) -> F:
    """How far north of the equator the sun stands, degrees, so many days after ``start`` (any shape)."""
    after = (start - J2000).total_seconds() / 86400.0 + np.asarray(days, float)
    longitude_sun, tilt = _sun(after)
    return np.asarray(np.degrees(np.arcsin(np.sin(tilt) * np.sin(longitude_sun))))


def _sun(days: F) -> tuple[F, F]:
    """Ecliptic longitude of the sun and tilt of the axis, radians, by days since J2000."""
    anomaly = np.radians(357.528 + 0.9856003 * days)
    longitude = 280.460 + 0.9856474 * days + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2 * anomaly)
    return np.radians(longitude), np.radians(23.439 - 4e-7 * days)


def clear_sky(height_deg: ArrayLike) -> F:
    """Global radiation on the ground under a clear sky, W/m²."""
    sine = np.sin(np.radians(np.maximum(np.asarray(height_deg, float), 0.0)))
    return np.asarray(np.where(sine > 0.0, 1098.0 * sine * np.exp(-0.057 / np.maximum(sine, 1e-3)), 0.0))


def sunshine(height_deg: ArrayLike, cloud: ArrayLike) -> F:
    """Global radiation from the sun's height and the cloud share, W/m²."""
    covered = np.clip(np.asarray(cloud, float), 0.0, 1.0)
    return np.asarray(clear_sky(height_deg) * (1.0 - 0.75 * covered**3.4))


def cloud_from_sun(height_deg: ArrayLike, sun_wm2: ArrayLike) -> F:
    """Cloud share that explains a measured radiation; NaN where the sun is below 8 degrees."""
    clear = clear_sky(height_deg)
    usable = np.asarray(height_deg, float) > 8.0
    lost = np.clip(1.0 - np.asarray(sun_wm2, float) / np.maximum(clear, 1.0), 0.0, 0.75)
    return np.asarray(np.where(usable, (lost / 0.75) ** (1 / 3.4), np.nan))


def daylight(day: date, latitude: float, longitude: float, zone: tzinfo) -> tuple[datetime, datetime] | None:
    """Sunrise of a civil day of ``zone`` and the sunset that follows, UTC; None where there are not both.

    The sunset may fall on the next civil day: in high summer far north, or in a
    zone that is not the place's own.
    """
    observer = Observer(latitude, longitude)
    try:
        rise = sunrise(observer, day, tzinfo=zone)
        fall = sunset(observer, day, tzinfo=zone)
        if fall <= rise:
            fall = sunset(observer, day + timedelta(days=1), tzinfo=zone)
    except ValueError:
        return None
    rise, fall = rise.astimezone(UTC), fall.astimezone(UTC)
    return (rise, fall) if timedelta(0) < fall - rise < timedelta(days=1) else None
