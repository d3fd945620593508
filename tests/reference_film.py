"""Slow, plain reference solutions that the fast ones are held against.

``balanced_surface`` solves the energy balance of a film for one case by
root finding and shares no line with the program. ``film_by_solve_ivp``
integrates water, log heat and film forming of one start with scipy; it shares
the answer of a face (``film_on_face``) with the program and nothing else.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from scheduler.coating.face import Air, Exposure, face_air, film_on_face
from scheduler.coating.film import film_rate
from scheduler.coating.product import Coating
from scheduler.weather.series import Weather

F = NDArray[np.float64]
NAMES = ("touch_dry", "frost_safe", "rain_safe", "dry")


# ------------------------------------------------------------------ the balance of one face


@dataclass(frozen=True)
class Case:
    """One moment at a face, SI and °C; the defaults are the shipped ones."""

    air_c: float
    humidity: float  # %
    wind: float  # m/s at the face
    sun: float
    cloud: float
    core_c: float
    wetness: float = 1.0
    pressure_kpa: float = 100.0
    diameter_m: float = 0.5
    sky_view: float = 0.35
    emissivity: float = 0.95
    sun_taken: float = 0.45 * 0.25
    conductance: float = 9.0
    lewis: float = 0.90


def es_water(t: float) -> float:
    """kPa, FAO-56 eq 11."""
    return 0.6108 * math.exp(17.27 * t / (t + 237.3))


def es_face(t: float) -> float:
    """Over ice below zero (WMO-No. 8)."""
    return 0.6112 * math.exp(22.46 * t / (272.62 + t)) if t < 0.0 else es_water(t)


def convection(case: Case, surface_c: float) -> float:
    """Free and forced convection of an upright disc, W/m²K."""
    ta = case.air_c + 273.15
    mu = 1.458e-6 * ta**1.5 / (ta + 110.4)
    nu = mu / (1000.0 * case.pressure_kpa / (287.05 * ta))
    k = 2.64638e-3 * ta**1.5 / (ta + 245.4 * 10 ** (-12.0 / ta))
    pr, d = 0.71, case.diameter_m
    forced = 0.86 * math.sqrt(case.wind * d / nu) * pr ** (1 / 3) * k / d
    e_air = case.humidity / 100.0 * es_water(case.air_c)
    e_face = es_water(surface_c) if case.wetness > 0.0 else e_air
    lighter = surface_c - case.air_c + 0.378 * ta / case.pressure_kpa * (e_face - e_air)
    rayleigh = 9.80665 * abs(lighter) * d**3 * pr / (ta * nu * nu)
    free = (0.825 + 0.387 * rayleigh ** (1 / 6) / (1 + (0.492 / pr) ** (9 / 16)) ** (8 / 27)) ** 2 * k / d
    return (forced**3 + free**3) ** (1 / 3)


def evaporation(case: Case, surface_c: float) -> float:
    """kg/m²s; dew falls on a dry face as on a wet one."""
    latent = 2.501e6 - 2361.0 * case.air_c
    gamma = 1006.0 * case.pressure_kpa / (0.622 * latent) * case.lewis
    drive = es_face(surface_c) - case.humidity / 100.0 * es_water(case.air_c)
    share = case.wetness if drive > 0.0 else 1.0
    return share * convection(case, surface_c) / (gamma * latent) * drive


def balanced_surface(case: Case) -> tuple[float, float]:
    """Surface temperature °C and evaporation kg/m²s of the full balance, by Brent's method."""
    sigma = 5.670374e-8
    ta = case.air_c + 273.15
    e_hpa = case.humidity / 10.0 * es_water(case.air_c)
    sky = 1.24 * (e_hpa / ta) ** (1 / 7)
    sky = (1 - 0.84 * case.cloud) * sky + 0.84 * case.cloud
    latent = 2.501e6 - 2361.0 * case.air_c

    def miss(ts: float) -> float:
        return (
            case.sun_taken * case.sun
            + case.emissivity * sigma * (case.sky_view * sky + 1 - case.sky_view) * ta**4
            - case.emissivity * sigma * (ts + 273.15) ** 4
            + convection(case, ts) * (case.air_c - ts)
            + case.conductance * (case.core_c - ts)
            - latent * evaporation(case, ts)
        )

    ts = brentq(miss, case.air_c - 45.0, case.air_c + 60.0, xtol=1e-9)
    return float(ts), evaporation(case, float(ts))


# ------------------------------------------------------------------ one coat by scipy


def air_at(given: Weather, exposure: Exposure, hour: float) -> Air:
    """Surroundings of a face at one moment: instants linear between the hours, sun of the hour itself."""
    row = min(int(hour), given.hours - 2)
    share = hour - row

    def instant(values: F) -> F:
        return np.array([values[0, row] * (1.0 - share) + values[0, row + 1] * share])

    assert given.cloud is not None
    assert given.sun_wm2 is not None
    assert given.pressure_hpa is not None
    return face_air(
        instant(given.air_c),
        instant(given.dew_point_c),
        instant(given.wind_ms),
        instant(given.cloud),
        given.sun_wm2[0, row : row + 1],
        exposure,
        instant(given.pressure_hpa) / 10.0,
    )


def film_by_solve_ivp(
    given: Weather,
    exposure: Exposure,
    coating: Coating,
    start_h: float,
    enthalpy: float,
    *,
    hours: float = 96.0,
    rain_hour: float = 0.2,
    method: str = "RK45",
    rtol: float = 1e-6,
    max_step_s: float = 600.0,
) -> dict[str, float]:
    """Milestones of one coat in hours after its start, by scipy's general solver; inf where not reached.

    Water and log heat of the nominal film and of the thick spots are followed
    side by side, the dose of the thick spots with them. ``enthalpy`` (J/m²) is
    the log's at the start.
    """
    amount = np.array([coating.water_kgm2, coating.water_kgm2 * coating.thick_factor])
    ice, heat = exposure.core_ice, exposure.core_heat

    def rates(seconds: float, y: F) -> F:
        hour = start_h + seconds / 3600.0
        water, level = y[:2], y[2:4]
        core = np.where(level < 0.0, level, np.maximum(level - ice, 0.0)) / heat
        wet = np.clip(water / (amount * coating.w_crit), 1e-9, 1.0)
        a = air_at(given, exposure, hour)
        state = film_on_face(_twice(a), core, wet)
        lost = state.evaporation
        if not exposure.roofed and given.rain_mm[0, min(int(hour), given.hours - 1)] >= rain_hour:
            lost = np.minimum(lost, 0.0)
        lost = np.where((lost < 0.0) & (water >= 1.5 * amount), 0.0, lost)
        packed = water[1] <= amount[1] * coating.w_crit
        fuse = (
            film_rate(state.surface_c[1:], coating)[0] / (coating.coalescence_h * 3600.0) if packed else 0.0
        )
        return np.concatenate([-lost, exposure.core_conductance * (state.surface_c - core), [fuse]])

    def falls(lane: int, share: float):  # type: ignore[no-untyped-def]
        return lambda _, y: y[lane] - share * amount[lane]

    events = [
        falls(0, coating.w_touch),
        falls(1, coating.w_frost),
        falls(1, coating.w_rain),
        falls(1, coating.w_dry),
        lambda _, y: coating.dose_rain - y[4],
        lambda _, y: 1.0 - y[4],
    ]
    solved = solve_ivp(
        rates,
        (0.0, hours * 3600.0),
        np.concatenate([amount, [enthalpy, enthalpy], [0.0]]),
        method=method,
        rtol=rtol,
        atol=np.array([1e-7, 1e-7, 10.0, 10.0, 1e-6]),
        max_step=max_step_s,
        events=events,
    )
    first = [float(t[0]) / 3600.0 if t.size else math.inf for t in solved.t_events]
    return {
        "touch_dry": first[0],
        "frost_safe": first[1],
        "rain_safe": max(first[2], first[4]),
        "dry": max(first[3], first[5]),
    }


def _twice(a: Air) -> Air:
    """The same surroundings for the two lanes."""
    return a.pick(np.array([0, 0]))
