"""Doubt: from one forecast (or the members of an ensemble) to a fixed set of equally likely weathers.

A member is one draw of everything that is doubted at once: the forecast's
error by lead time (linked from hour to hour and between quantities), how fast
a film dries, the wind at the face, the yard's cold air, the least film
temperature. The dice are tied to the hour of the clock, so a new forecast
moves the answer and the dice do not.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduler.settings import Doubt, Physics
from scheduler.weather.series import HOUR, Weather
from scheduler.weather.sun import cloud_from_sun, sun_height, sunshine

__all__ = ["Beliefs", "Members", "cold_air", "draw_members", "likely_cloud", "quantiles", "still_share"]

F = NDArray[np.float64]
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
STREAMS = ("air", "dew", "wind", "cloud", "rain", "stray", "amount")


@dataclass(frozen=True, slots=True)
class Beliefs:
    """What is held of the yard itself, each with its doubt (one standard deviation).

    ``hollow_c`` is how the yard differs from the forecast on clear calm nights, ``air_c``
    on all others (negative: colder), both in K; ``drying_log`` the logarithm of the factor
    by which its coats lose water faster than the model, ``film_k`` a shift of the least
    film temperature, K. A doubt of None is the general one of the config.
    """

    hollow_c: float = 0.0
    hollow_sd: float | None = None
    air_c: float = 0.0
    air_sd: float = 0.0
    drying_log: float = 0.0
    drying_sd: float | None = None
    film_k: float = 0.0
    film_sd: float | None = None


@dataclass(frozen=True, eq=False)
class Members:
    """Equally likely weathers at the yard, and what else each member believes.

    ``weather`` has every quantity but chance and code filled in, (members,
    hours). ``drying``, ``shelter`` are factors, ``film_k`` a shift of the least
    film temperature in K, each (members,).
    """

    weather: Weather
    drying: F
    shelter: F
    film_k: F

    @property
    def count(self) -> int:
        """Number of members."""
        return self.weather.members


def quantiles(count: int, rng: np.random.Generator) -> F:
    """``count`` normal scores with mean 0 and the right spread, in random order."""
    normal = NormalDist()
    scores = np.array([normal.inv_cdf((k + 0.5) / count) for k in range(count)])
    return np.asarray(rng.permutation(scores))


def _dice(seed: int, start: datetime, hours: int, members: int) -> F:
    """White noise tied to the clock, (streams, hours, members)."""
    first = int((start - EPOCH) // HOUR)
    days = range(first // 24, (first + hours - 1) // 24 + 1)
    blocks = [np.random.default_rng([seed, day]).standard_normal((24, len(STREAMS), members)) for day in days]
    rows = np.concatenate(blocks)[first - 24 * days[0] :][:hours]
    return np.asarray(rows.transpose(1, 0, 2))


def _linked(noise: F, memory_hours: float) -> F:
    """Noise (hours, members) linked over ``memory_hours``, centred and of unit spread in every hour."""
    keep = float(np.exp(-1.0 / memory_hours))
    fresh = np.sqrt(1.0 - keep**2)
    out = np.empty_like(noise)
    state = noise[0]
    for k in range(noise.shape[0]):
        state = keep * state + fresh * noise[k] if k else state
        out[k] = state
    if out.shape[1] > 2:
        out = (out - out.mean(axis=1, keepdims=True)) / out.std(axis=1, keepdims=True)
    return np.asarray(out)


def _by_lead(table: Mapping[str, Any], name: str, lead_days: F) -> F:
    return np.asarray(np.interp(lead_days, table["days"], table[name]))


def draw_members(
    weather: Weather,
    doubt: Doubt,
    physics: Physics,
    *,
    issued: datetime,
    latitude: float,
    longitude: float,
    place: Beliefs | None = None,
    count: int | None = None,
) -> Members:
    """Draw the members of a forecast.

    Parameters
    ----------
    weather : one row, or the rows of an ensemble (each is then dressed with the error of its lead)
    issued : when the forecast was made; the error grows from there
    place : what is held of the yard itself; None: nothing but the general doubt
    """
    place = place or Beliefs()
    count = int(doubt["members"]["value"]) if count is None else count
    seed = int(doubt["seed"]["value"])
    hours = weather.hours
    dice = _dice(seed, weather.start, hours, count)
    lead = np.maximum(weather.hour_of(issued) * -1.0 + np.arange(hours), 0.0) / 24.0
    rows = np.arange(count) % weather.members
    static = np.random.default_rng([seed, 1])
    height = sun_height(weather.start, np.arange(hours) + 0.5, latitude, longitude)

    air, dew = _temperatures(weather, rows, dice, lead, height, doubt)
    wind_doubt = _by_lead(doubt["wind"], "log_sd", lead)[None, :] * _stream(
        dice, "wind", doubt["wind"]["hours"]
    )
    wind = weather.wind_ms[rows] * np.exp(wind_doubt)
    rain = _rain(weather, rows, dice, lead, doubt["rain"])
    cloud, sun = _sky(weather, rows, dice, lead, height, air - dew, rain, doubt)
    hollow_sd = place.hollow_sd
    if hollow_sd is None:
        hollow_sd = max(doubt["hollow"]["sd"], doubt["hollow"]["share"] * abs(place.hollow_c))
    hollow = place.hollow_c + quantiles(count, static) * hollow_sd
    air = air + cold_air(hollow[:, None], cloud, wind, height, physics)
    drying, shelter, film = (quantiles(count, static) for _ in range(3))
    if place.air_c or place.air_sd:
        by_hour = np.interp(height, [-2.0, 10.0], [1.0, doubt["air"]["day_share"]])[None, :]
        offset = place.air_c + place.air_sd * quantiles(count, static)
        air = air + offset[:, None] * by_hour
    gust = wind * physics["rough_wind_gust"] if weather.gust_ms is None else weather.gust_ms[rows]
    pressure = None if weather.pressure_hpa is None else weather.pressure_hpa[rows]
    drawn = replace(
        weather,
        air_c=air,
        dew_point_c=np.minimum(dew, air),
        wind_ms=wind,
        rain_mm=rain,
        rain_chance=None,
        cloud=cloud,
        sun_wm2=sun,
        gust_ms=gust,
        air_sigma_k=None,
        pressure_hpa=pressure,
        code=None if weather.code is None else weather.code[rows],
    )
    return Members(
        weather=drawn,
        drying=np.exp(place.drying_log + _or(place.drying_sd, doubt["drying"]["log_sd"]) * drying),
        shelter=np.exp(doubt["shelter"]["log_sd"] * shelter),
        film_k=place.film_k + _or(place.film_sd, doubt["film"]["sd"]) * film,
    )


def _or(own: float | None, general: float) -> float:
    return general if own is None else own


def _stream(dice: F, name: str, memory_hours: float) -> F:
    """One linked stream, (members, hours)."""
    return _linked(dice[STREAMS.index(name)], memory_hours).T


def _temperatures(
    weather: Weather, rows: NDArray[np.int64], dice: F, lead: F, height: F, doubt: Doubt
) -> tuple[F, F]:
    table = doubt["air"]
    by_day = np.where(height > 0.0, table["day_share"], 1.0)
    spread = (np.interp(lead, table["days"], table["sigma"]) * by_day)[None, :]
    if weather.air_sigma_k is not None:
        # What the source says of its own doubt, widened by that of a point in a yard against its cell.
        said = np.hypot(weather.air_sigma_k[rows % weather.air_sigma_k.shape[0]], table["point_sigma"])
        spread = np.where(np.isfinite(said), said, spread)
    miss = spread * _stream(dice, "air", table["hours"])
    own = doubt["dew_point"]["own"] * _stream(dice, "dew", table["hours"])
    air = weather.air_c[rows] + miss
    dew = weather.dew_point_c[rows] + doubt["dew_point"]["share"] * miss + own
    return air, np.minimum(dew, air)


def _rain(weather: Weather, rows: NDArray[np.int64], dice: F, lead: F, table: Mapping[str, Any]) -> F:
    """Rain of each member, (members, hours): an ensemble's own, else drawn.

    A forecast amount is a hit in as many members as the lead's hit rate says.
    Where the source gives no chance its time is shifted, one draw per member,
    and other members have rain that nobody forecast. Where it gives one, that
    chance sets how many members rain; chance and amount come from different
    models, so the worse of the two holds.
    """
    if weather.members > 1:
        return weather.rain_mm[rows].copy()
    amount = weather.rain_mm[0]
    memory = -1.0 / np.log(table["link"])
    score = _linked(dice[STREAMS.index("rain")], memory).T
    said = np.full(amount.shape, np.nan) if weather.rain_chance is None else weather.rain_chance[0]
    unsaid = ~np.isfinite(said)
    come = _shifted(amount, np.where(unsaid, _by_lead(table, "shift_hours", lead), 0.0), score.shape[0])
    wet = (come >= table["wet_mm"]) & (score < _limit(_by_lead(table, "hit", lead)))
    wet |= score < _limit(np.where(unsaid, 0.0, said))
    stray = _linked(dice[STREAMS.index("stray")], memory).T
    wet |= unsaid & (stray < _limit(_by_lead(table, "false_alarm", lead)))
    scale = np.exp(table["amount_log_sd"] * dice[STREAMS.index("amount")].T)
    fallen = np.where(come >= table["wet_mm"], come, table["new_amount_mm"]) * scale
    drawn = np.where(wet, np.maximum(fallen, table["least_mm"]), 0.0)
    past = lead <= 0.0
    drawn[:, past] = amount[past]
    return np.where(np.isfinite(amount)[None, :], drawn, np.nan)


def _shifted(amount: F, hours: F, members: int) -> F:
    """The amounts with each member's own error in time: a shift of so many hours (one standard deviation)."""
    draw = quantiles(members, np.random.default_rng([members, amount.size]))
    shift = np.round(draw[:, None] * hours[None, :]).astype(np.int64)
    source = np.clip(np.arange(amount.size)[None, :] - shift, 0, amount.size - 1)
    return np.asarray(np.nan_to_num(amount)[source])


def _limit(chance: F) -> F:
    """Normal score below which a member lies with this chance."""
    normal = NormalDist()
    return np.array([normal.inv_cdf(p) if 0.0 < p < 1.0 else (9.0 if p >= 1.0 else -9.0) for p in chance])


def _sky(
    weather: Weather,
    rows: NDArray[np.int64],
    dice: F,
    lead: F,
    height: F,
    spread_k: F,
    rain: F,
    doubt: Doubt,
) -> tuple[F, F]:
    """Cloud and sun of each member, (members, hours)."""
    score = _stream(dice, "cloud", doubt["cloud"]["hours"])
    missing = doubt["cloud_missing"]
    guess = likely_cloud(spread_k, rain, missing) + missing["sd"] * score
    base = None if weather.cloud is None else weather.cloud[rows]
    if base is None and weather.sun_wm2 is not None:
        base = cloud_from_sun(height[None, :], weather.sun_wm2[rows])
    if base is None:
        cloud = guess
    else:
        told = base + _by_lead(doubt["cloud"], "sd", lead)[None, :] * score
        cloud = np.where(np.isfinite(base), told, guess)
    cloud = np.clip(cloud, 0.0, 1.0)
    sun = sunshine(height[None, :], cloud)
    if weather.sun_wm2 is not None:
        given = weather.sun_wm2[rows]
        if weather.cloud is not None:
            expected = sunshine(height[None, :], np.clip(weather.cloud[rows], 0.0, 1.0))
            given = given * np.clip(sun / np.maximum(expected, 1.0), 0.2, 3.0)
        sun = np.where(np.isfinite(given), given, sun)
    return cloud, sun


def likely_cloud(spread_k: F, rain: F, missing: Mapping[str, Any]) -> F:
    """Cloud to be expected where nothing is said of it, from the dew-point spread (K) and rain (mm)."""
    guess = np.interp(spread_k, missing["spread_k"], missing["share"])
    return np.asarray(np.where(np.nan_to_num(rain) > 0.0, 0.95, guess))


def cold_air(hollow_c: F, cloud: F, wind_ms: F, height_deg: F, physics: Physics) -> F:
    """Shift of the air, K: full on clear still nights, none by day, in wind or under cloud."""
    return np.asarray(hollow_c * still_share(cloud, wind_ms, height_deg, physics))


def still_share(cloud: F, wind_ms: F, height_deg: F, physics: Physics) -> F:
    """How far an hour is one of a clear calm night, 0 to 1."""
    clear = np.interp(cloud, [physics["clear_below"], physics["cloudy_above"]], [1.0, 0.0])
    calm = np.interp(wind_ms, [physics["calm_below"], physics["windy_above"]], [1.0, 0.0])
    night = np.interp(height_deg, [-2.0, 10.0], [1.0, 0.0])
    return np.asarray(clear * calm * night)
