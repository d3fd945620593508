"""Temperature of a log end's face, the heat of the log behind it, and the water that leaves a wet film on it.

The energy balance of a thin film without storage, for a wetness ``f`` (1 a
free water film, 0 dry wood):

    0 = a s G + eps [F eps_sky + (1 - F)] sigma Ta^4 - eps sigma Ts^4
        + h (Ta - Ts) + h_core (Tcore - Ts) - L E,     L E = f h / gamma' (es(Ts) - ea)

solved in closed form after Penman (1948), Proc. R. Soc. A 193:120, then one
Newton step on the full balance. Dew (E < 0) falls at the full rate whatever
the wetness.

References
----------
Free convection on an upright plate: Churchill and Chu (1975), Int. J. Heat
Mass Transfer 18:1323. Forced convection on a bluff plate: Sparrow, Ramsey and
Mass (1979), J. Heat Transfer 101:199, Nu = 0.86 Re^1/2 Pr^1/3 (from memory).
Both together by cubes: Churchill (1977) (from memory). Sky: Brutsaert (1975),
Water Resour. Res. 11:742; cloud: Unsworth and Monteith (1975), Q. J. R.
Meteorol. Soc. 101:13. Measured convection outdoors, 6-10 W/m²K at 0-4 m/s on
an upright wall: Jayamaha et al. (1996), Build. Environ. 31:399. Scatter of
all of it is about 30 percent.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scheduler.settings import Physics, Place, Site
from scheduler.weather import air

__all__ = [
    "Air",
    "Exposure",
    "FaceState",
    "Node",
    "convection_forced",
    "convection_free",
    "exposure_of",
    "face_air",
    "film_on_face",
    "nusselt_free",
    "run_node",
    "sky_emissivity",
    "wind_at_face",
]

F = NDArray[np.float64]
SIGMA = 5.670374e-8
PRANDTL = 0.71
GRAVITY = 9.80665


@dataclass(frozen=True, slots=True)
class Exposure:
    """How an end stands to wind, sky and sun, and the log behind it."""

    shelter: float
    sky_view: float
    sun_share: float
    roofed: bool
    diameter_m: float
    height_m: float
    roughness_m: float
    least_wind: float
    lewis: float
    emissivity: float
    sun_absorbed: float
    core_conductance: float  # W/m²K
    core_heat: float  # J/m²K
    core_ice: float  # J/m² to freeze or thaw the layer
    freezing_span: float

    def with_moisture(self, green_moisture: float, density: float, physics: Physics) -> Exposure:
        """The same end on wood of another green moisture (kg/kg) and basic density (kg/m³)."""
        free = max(green_moisture - physics["fibre_saturation"], 0.0) * density
        return replace(self, core_ice=physics["ice_heat"] * physics["core_depth"] * free)


def exposure_of(
    site: Site,
    physics: Physics,
    place: Place | None = None,
    *,
    diameter_cm: float | None = None,
    roofed: bool = False,
) -> Exposure:
    """Exposure of an end in the open yard, or in one of its places."""
    covered = roofed or (place is not None and (place.roofed or place.frost_free))
    shaded = covered or (place is not None and place.shaded)
    share = {"open": 1.6, "half": 1.0, "full": 0.0}[site.shade] * physics["sun_share"]
    shelter = site.shelter if site.shelter is not None else physics["shelter"]
    free = max(physics["nominal_moisture"] - physics["fibre_saturation"], 0.0) * physics["nominal_density"]
    return Exposure(
        shelter=min(shelter, physics["shelter_roofed"]) if covered else shelter,
        sky_view=0.0 if covered else (site.sky_view if site.sky_view is not None else physics["sky_view"]),
        sun_share=0.0 if shaded else share,
        roofed=covered,
        diameter_m=(diameter_cm / 100.0) if diameter_cm else physics["diameter"],
        height_m=physics["height"],
        roughness_m=physics["roughness"],
        least_wind=physics["least_wind"],
        lewis=physics["lewis"],
        emissivity=physics["emissivity"],
        sun_absorbed=physics["sun_absorbed"],
        core_conductance=physics["core_conductance"],
        core_heat=physics["core_heat"],
        core_ice=physics["ice_heat"] * physics["core_depth"] * free,
        freezing_span=physics["freezing_span"],
    )


def wind_at_face(wind_10m: ArrayLike, exposure: Exposure, factor: ArrayLike = 1.0) -> F:
    """Wind at the face, m/s: logarithmic profile from 10 m, times shelter, times a member's doubt."""
    profile = np.log(exposure.height_m / exposure.roughness_m) / np.log(10.0 / exposure.roughness_m)
    wind = np.asarray(wind_10m, float) * profile * exposure.shelter * np.asarray(factor, float)
    return np.asarray(np.maximum(wind, exposure.least_wind))


def sky_emissivity(air_c: ArrayLike, e_kpa: ArrayLike, cloud: ArrayLike) -> F:
    """Emissivity of the sky: Brutsaert's clear sky, closed by cloud after Unsworth and Monteith."""
    kelvin = np.asarray(air_c, float) + 273.15
    clear = 1.24 * (10.0 * np.asarray(e_kpa, float) / kelvin) ** (1.0 / 7.0)
    covered = np.clip(np.asarray(cloud, float), 0.0, 1.0)
    return np.asarray((1.0 - 0.84 * covered) * clear + 0.84 * covered)


def nusselt_free(rayleigh: ArrayLike, prandtl: float = PRANDTL) -> F:
    """Nusselt number of free convection on an upright plate (Churchill and Chu)."""
    shape = (1.0 + (0.492 / prandtl) ** (9.0 / 16.0)) ** (8.0 / 27.0)
    return np.asarray((0.825 + 0.387 * np.sqrt(np.cbrt(np.asarray(rayleigh, float))) / shape) ** 2)


def _properties(air_c: F, pressure_kpa: F) -> tuple[F, F, F]:
    """Kinematic viscosity m²/s, conductivity W/mK, temperature K of air (Sutherland; from memory)."""
    kelvin = air_c + 273.15
    root = kelvin * np.sqrt(kelvin)
    dynamic = 1.458e-6 * root / (kelvin + 110.4)
    viscosity = dynamic * 287.05 * kelvin / (1000.0 * pressure_kpa)
    conductivity = 2.64638e-3 * root / (kelvin + 245.4 * np.exp(np.log(10.0) * -12.0 / kelvin))
    return viscosity, conductivity, kelvin


def convection_forced(
    wind: ArrayLike, diameter_m: float, air_c: ArrayLike = 10.0, pressure_kpa: ArrayLike = 101.325
) -> F:
    """Forced convection on a bluff disc, W/m²K."""
    viscosity, conductivity, _ = _properties(np.asarray(air_c, float), np.asarray(pressure_kpa, float))
    reynolds = np.asarray(wind, float) * diameter_m / viscosity
    return np.asarray(0.86 * np.sqrt(reynolds) * PRANDTL ** (1 / 3) * conductivity / diameter_m)


def convection_free(
    difference: ArrayLike, diameter_m: float, air_c: ArrayLike = 10.0, pressure_kpa: ArrayLike = 101.325
) -> F:
    """Free convection on an upright disc for a (virtual) temperature difference in K, W/m²K."""
    viscosity, conductivity, kelvin = _properties(np.asarray(air_c, float), np.asarray(pressure_kpa, float))
    diffusivity = viscosity / PRANDTL
    buoyancy = GRAVITY * diameter_m**3 / (kelvin * viscosity * diffusivity)
    return np.asarray(
        nusselt_free(buoyancy * np.abs(np.asarray(difference, float))) * conductivity / diameter_m
    )


@dataclass(frozen=True, eq=False)
class Air:
    """The surroundings of a face at given moments, every field an array of one shape.

    All that does not depend on the state of the face, worked out once.
    """

    air_c: F
    e_kpa: F
    deficit: F  # es(Ta) - ea, kPa
    slope: F  # kPa/K at the air temperature
    gamma: F  # kPa/K, with the Lewis number
    latent: F  # J/kg
    h_forced3: F  # cube of forced convection
    free_scale: F  # Ra^(1/6) / |dTv|^(1/6)
    free_k: F  # conductivity / diameter
    virtual: F  # K per kPa: virtual temperature per vapour pressure
    radiative: F  # W/m²K
    gain: F  # W/m²: sun absorbed and long wave at the air temperature
    long_wave_in: F  # W/m²
    conductance: float
    emissivity: float

    def pick(self, index: object) -> Air:
        """The same for part of the moments."""
        parts = {
            name: getattr(self, name)[index]
            for name in self.__dataclass_fields__
            if name not in {"conductance", "emissivity"}
        }
        return Air(**parts, conductance=self.conductance, emissivity=self.emissivity)


def face_air(
    air_c: F,
    dew_c: F,
    wind_10m: F,
    cloud: F,
    sun_wm2: F,
    exposure: Exposure,
    pressure_kpa: ArrayLike = 100.0,
    wind_factor: ArrayLike = 1.0,
) -> Air:
    """Prepare the surroundings; arrays of one shape, ``wind_factor`` broadcast to it. NaN stays NaN."""
    e = air.vapour_pressure(dew_c)
    pressure = np.broadcast_to(np.asarray(pressure_kpa, float), air_c.shape)
    viscosity, conductivity, kelvin = _properties(air_c, pressure)
    wind = wind_at_face(wind_10m, exposure, wind_factor)
    d = exposure.diameter_m
    forced = 0.86 * np.sqrt(wind * d / viscosity) * PRANDTL ** (1 / 3) * conductivity / d
    buoyancy = GRAVITY * d**3 * PRANDTL / (kelvin * viscosity * viscosity)
    emitted = SIGMA * kelvin**4
    sky = sky_emissivity(air_c, e, cloud)
    view = exposure.sky_view
    sun = exposure.sun_absorbed * exposure.sun_share * sun_wm2
    latent = air.latent_heat(air_c)
    return Air(
        air_c=air_c,
        e_kpa=e,
        deficit=air.saturation_water(air_c) - e,
        slope=air.saturation_slope(air_c),
        gamma=1006.0 * pressure / (0.622 * latent) * exposure.lewis,
        latent=latent,
        h_forced3=forced**3,
        free_scale=np.sqrt(np.cbrt(buoyancy)),
        free_k=conductivity / d,
        virtual=0.378 * kelvin / pressure,
        radiative=4.0 * exposure.emissivity * emitted / kelvin,
        gain=sun + exposure.emissivity * view * (sky - 1.0) * emitted,
        long_wave_in=sun + exposure.emissivity * (view * sky + 1.0 - view) * emitted,
        conductance=exposure.core_conductance,
        emissivity=exposure.emissivity,
    )


FREE_SHAPE = (1.0 + (0.492 / PRANDTL) ** (9.0 / 16.0)) ** (8.0 / 27.0)


def _convection(a: Air, surface_c: F, wet: bool) -> F:
    """Free and forced together for a face at ``surface_c``; over a wet face the air is moist and lighter."""
    e_face = air.saturation_water(surface_c) if wet else a.e_kpa
    difference = np.abs(surface_c - a.air_c + a.virtual * (e_face - a.e_kpa))
    nusselt = (0.825 + (0.387 / FREE_SHAPE) * a.free_scale * np.sqrt(np.cbrt(difference))) ** 2
    return np.asarray(np.cbrt(a.h_forced3 + (nusselt * a.free_k) ** 3))


@dataclass(frozen=True, eq=False)
class FaceState:
    """Answer of the balance: arrays of the shape that went in."""

    surface_c: F
    evaporation: F  # kg/m²s, negative is dew
    per_core: F  # K surface per K of the log behind it
    evaporation_per_core: F  # kg/m²s per K of the log behind it
    h: F  # W/m²K


def _closed_form(a: Air, h: F, core_c: F, f: F) -> tuple[F, F, F, F]:
    """Surface °C, latent flux W/m², and how both move with the core, from the linearised balance."""
    h_total = h + a.radiative + a.conductance
    q = a.gain + a.conductance * (core_c - a.air_c)
    drive = a.slope * q + h_total * a.deficit
    f = np.where(drive < 0.0, 1.0, f)  # dew needs no wet face
    damp = f * h / (f * h * a.slope + a.gamma * h_total)
    latent_flux = drive * damp
    surface = a.air_c + (q - latent_flux) / h_total
    per_core = a.conductance / h_total * (1.0 - a.slope * damp)
    return surface, latent_flux, per_core, a.slope * a.conductance * damp


def film_on_face(a: Air, core_c: F, wetness: ArrayLike) -> FaceState:
    """Surface temperature and evaporation for a log node at ``core_c`` (same shape as the air)."""
    f = np.broadcast_to(np.asarray(wetness, float), core_c.shape)
    wet = bool(np.any(f > 0.0))
    guess = np.cbrt(a.h_forced3 + 14.0)  # free convection of 2.4 W/m²K to begin with
    surface, latent_flux, _, _ = _closed_form(a, guess, core_c, f)
    h = _convection(a, surface, wet)
    surface, latent_flux, per_core, flux_per_core = _closed_form(a, h, core_c, f)
    f = np.where(latent_flux < 0.0, 1.0, f)
    surface = _newton(a, h, core_c, f, surface)
    h = _convection(a, surface, wet)
    evaporation = f * h / (a.gamma * a.latent) * (air.saturation_surface(surface) - a.e_kpa)
    return FaceState(surface, evaporation, per_core, flux_per_core / a.latent, h)


def _newton(a: Air, h: F, core_c: F, f: F, surface: F) -> F:
    """One Newton step on the full balance (fourth power of temperature, ice below 0 °C)."""
    mass = f * h / a.gamma
    kelvin = surface + 273.15
    emitted = a.emissivity * SIGMA * kelvin**4
    miss = (
        a.long_wave_in
        - emitted
        + h * (a.air_c - surface)
        + a.conductance * (core_c - surface)
        - mass * (air.saturation_surface(surface) - a.e_kpa)
    )
    slope = 4.0 * emitted / kelvin + h + a.conductance + mass * air.saturation_slope(surface)
    return np.asarray(surface + miss / slope)


@dataclass(frozen=True, eq=False)
class Node:
    """The log's outer layer at the grid points, (members, K + 1), and how fast a difference dies."""

    temperature_c: F
    enthalpy: F  # J/m², 0 at frozen through and 0 °C
    decay: F  # 1/s, (members, K): rate at which a difference in temperature fades

    def middle(self) -> F:
        """Temperature in the middle of each step, (members, K)."""
        return np.asarray((self.temperature_c[:, 1:] + self.temperature_c[:, :-1]) / 2.0)


def run_node(a: Air, exposure: Exposure, wetness: Sequence[float], step_s: float, first_c: F) -> list[Node]:
    """Follow the layer behind faces of several wetnesses through all steps.

    The layer holds enthalpy: below 0 °C heat capacity, at 0 °C the ice of its
    free water, above it heat capacity again. Inside a step the face answers
    linearly to the layer, so the step is exact in time. Unknown hours change
    nothing.

    Parameters
    ----------
    a : surroundings in the middle of each step, (members, K)
    wetness : one face each
    first_c : (members,) mean air of the last day before the series

    Returns
    -------
    One Node for each wetness.
    """
    members, steps = a.air_c.shape
    faces = [_linear_face(a, f) for f in wetness]
    base, slope, base_dew, slope_dew, turn = (_steps_first([face[n] for face in faces]) for n in range(5))
    heat, ice, conductance = exposure.core_heat, exposure.core_ice, exposure.core_conductance
    known = np.isfinite(base) & np.isfinite(slope)
    # Per step: with a fade r = conductance/heat (1 - slope), the layer takes up
    # conductance (surface - core) (1 - exp(-r t)) / r.
    gain, gain_dew = (_uptake(s, conductance, heat, step_s, known) for s in (slope, slope_dew))
    base, base_dew, slope, slope_dew = (np.nan_to_num(x) for x in (base, base_dew, slope, slope_dew))
    frozen = np.clip(-first_c / exposure.freezing_span, 0.0, 1.0)
    enthalpy = np.empty((steps + 1, len(faces), members))
    enthalpy[0] = heat * first_c + ice * (1.0 - frozen)
    core = np.empty_like(enthalpy)
    for k in range(steps):
        level = enthalpy[k]
        t = core[k] = np.where(level < 0.0, level, np.maximum(level - ice, 0.0)) / heat
        dew = t < turn[k]
        dry_gain = gain[k] * (base[k] + (slope[k] - 1.0) * t)
        dew_gain = gain_dew[k] * (base_dew[k] + (slope_dew[k] - 1.0) * t)
        enthalpy[k + 1] = level + np.where(dew, dew_gain, dry_gain)
    level = enthalpy[steps]
    core[steps] = np.where(level < 0.0, level, np.maximum(level - ice, 0.0)) / heat
    fade = np.where(known, conductance / heat * (1.0 - slope), 0.0)
    return [
        Node(
            np.ascontiguousarray(core[:, n].T),
            np.ascontiguousarray(enthalpy[:, n].T),
            np.ascontiguousarray(fade[:, n].T),
        )
        for n in range(len(faces))
    ]


def _steps_first(parts: Sequence[F]) -> F:
    """Arrays (members, K) of several faces as one (K, faces, members), in the order the loop walks."""
    return np.ascontiguousarray(np.stack(parts).transpose(2, 0, 1))


def _uptake(slope: F, conductance: float, heat: float, step_s: float, known: NDArray[np.bool_]) -> F:
    fade = conductance / heat * (1.0 - slope)
    return np.where(known, conductance * -np.expm1(-fade * step_s) / np.where(known, fade, 1.0), 0.0)


def _linear_face(a: Air, wetness: float) -> tuple[F, F, F, F, F]:
    """Surface = base + slope * core, for the wetness and for dew, and the core °C below which dew falls."""
    h = np.cbrt(a.h_forced3 + 14.0)
    surface, _, _, _ = _closed_form(a, h, a.air_c, np.full_like(a.air_c, wetness))
    h = _convection(a, surface, wetness > 0.0)
    h_total = h + a.radiative + a.conductance
    q0 = a.gain - a.conductance * a.air_c
    drive = a.slope * q0 + h_total * a.deficit
    per_core = a.slope * a.conductance

    def line(f: float) -> tuple[F, F]:
        damp = f * h / (f * h * a.slope + a.gamma * h_total)
        return a.air_c + (q0 - drive * damp) / h_total, (a.conductance - per_core * damp) / h_total

    base, slope = line(wetness)
    base_dew, slope_dew = line(1.0)
    return base, slope, base_dew, slope_dew, -drive / per_core
