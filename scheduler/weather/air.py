"""Moist air: vapour pressure, dew point, wet bulb, pressure, latent heat.

All functions take and return floats or arrays of any shape (broadcast).
Temperatures in °C, vapour pressures in kPa, pressure in kPa unless the name
says otherwise.

References
----------
FAO-56: Allen, Pereira, Raes, Smith (1998), Crop evapotranspiration, FAO
Irrigation and Drainage Paper 56, equations 7, 8, 11, 13, 15 and Annex 3.
WMO-8: Guide to Instruments and Methods of Observation, WMO-No. 8, Annex 4.B
(vapour pressure over ice).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "air_density",
    "dew_point",
    "dew_point_from_humidity",
    "humidity",
    "ice_slope",
    "latent_heat",
    "pressure_at",
    "psychrometric_constant",
    "psychrometric_vapour_pressure",
    "saturation_ice",
    "saturation_slope",
    "saturation_surface",
    "saturation_water",
    "vapour_pressure",
    "wet_bulb",
]

F = NDArray[np.float64]
ASPIRATED = 0.000662  # 1/K, psychrometer coefficient of a ventilated wet bulb (FAO-56 eq 15)


def saturation_water(t: ArrayLike) -> F:
    """Saturation vapour pressure over water, kPa (FAO-56 eq 11)."""
    t = np.asarray(t, float)
    return np.asarray(0.6108 * np.exp(17.27 * t / (t + 237.3)))


def saturation_ice(t: ArrayLike) -> F:
    """Saturation vapour pressure over ice, kPa (WMO-8)."""
    t = np.asarray(t, float)
    return np.asarray(0.6112 * np.exp(22.46 * t / (272.62 + t)))


def saturation_surface(t: ArrayLike) -> F:
    """Over ice below 0 °C, over water otherwise, kPa."""
    t = np.asarray(t, float)
    return np.asarray(np.where(t < 0.0, saturation_ice(np.minimum(t, 0.0)), saturation_water(t)))


def saturation_slope(t: ArrayLike) -> F:
    """Slope of the curve over water, kPa/K (FAO-56 eq 13)."""
    t = np.asarray(t, float)
    return np.asarray(4098.0 * saturation_water(t) / (t + 237.3) ** 2)


def ice_slope(t: ArrayLike) -> F:
    """Slope of the curve over ice, kPa/K (derivative of WMO-8)."""
    t = np.asarray(t, float)
    return np.asarray(22.46 * 272.62 * saturation_ice(t) / (272.62 + t) ** 2)


def vapour_pressure(dew: ArrayLike) -> F:
    """Vapour pressure of air whose dew point (over water) is ``dew``, kPa (FAO-56 eq 14)."""
    return saturation_water(dew)


def dew_point(e: ArrayLike) -> F:
    """Dew point over water of a vapour pressure in kPa, °C (inverse of FAO-56 eq 11).

    Always over water, below 0 °C too, as forecasts give it.
    """
    x = np.log(np.asarray(e, float) / 0.6108)
    return np.asarray(237.3 * x / (17.27 - x))


def dew_point_from_humidity(air_c: ArrayLike, humidity_percent: ArrayLike) -> F:
    """Dew point over water from air temperature and relative humidity (clipped to 1..100 %), °C."""
    share = np.clip(np.asarray(humidity_percent, float), 1.0, 100.0) / 100.0
    return dew_point(share * saturation_water(air_c))


def humidity(air_c: ArrayLike, dew_c: ArrayLike) -> F:
    """Relative humidity over water, share 0..1."""
    return np.asarray(saturation_water(dew_c) / saturation_water(air_c))


def pressure_at(altitude_m: ArrayLike) -> F:
    """Mean air pressure at a height, kPa (FAO-56 eq 7)."""
    z = np.asarray(altitude_m, float)
    return np.asarray(101.3 * ((293.0 - 0.0065 * z) / 293.0) ** 5.26)


def psychrometric_constant(pressure_kpa: ArrayLike) -> F:
    """Psychrometric constant, kPa/K (FAO-56 eq 8)."""
    return np.asarray(0.000665 * np.asarray(pressure_kpa, float))


def latent_heat(t: ArrayLike) -> F:
    """Latent heat of vaporisation, J/kg (FAO-56 Annex 3)."""
    return np.asarray(2.501e6 - 2361.0 * np.asarray(t, float))


def air_density(t: ArrayLike, pressure_kpa: ArrayLike) -> F:
    """Density of dry air, kg/m³ (ideal gas)."""
    return np.asarray(1000.0 * np.asarray(pressure_kpa, float) / (287.05 * (np.asarray(t, float) + 273.15)))


def psychrometric_vapour_pressure(
    dry: ArrayLike, wet: ArrayLike, pressure_kpa: ArrayLike, coefficient: float = ASPIRATED
) -> F:
    """Vapour pressure from dry and wet bulb, kPa (FAO-56 eq 15)."""
    dry, wet = np.asarray(dry, float), np.asarray(wet, float)
    return np.asarray(saturation_water(wet) - coefficient * np.asarray(pressure_kpa, float) * (dry - wet))


def wet_bulb(
    air_c: ArrayLike, dew_c: ArrayLike, pressure_kpa: ArrayLike, coefficient: float = ASPIRATED
) -> F:
    """Ventilated wet-bulb temperature, °C.

    Solves FAO-56 eq 15 by Newton steps; right near 0 °C, where the usual
    one-line fits err by half a kelvin.
    """
    air, dew = np.broadcast_arrays(np.asarray(air_c, float), np.asarray(dew_c, float))
    e = saturation_water(dew)
    cooling = coefficient * np.asarray(pressure_kpa, float)
    wet = (air + dew) / 2.0
    for _ in range(6):
        miss = saturation_water(wet) - cooling * (air - wet) - e
        wet = wet - miss / (saturation_slope(wet) + cooling)
    return np.asarray(wet)
