"""Doubt: from one forecast (or the members of an ensemble) to a fixed set of equally likely weathers.

A member is one draw of everything that is doubted at once: the forecast's
error by lead time (linked from hour to hour and between quantities), how fast
a film dries, the wind at the face, the yard's cold air, the least film
temperature. The dice are tied to the hour of the clock, so a new forecast
moves the answer and the dice do not.

Members say what the weather may be, given a forecast; that is not the forecast
with its errors put on once more. A forecast far from the usual is likelier to
be too far out than not far enough (regression to the mean), and how much rain
falls unforecast follows from how often it rains (Bayes).
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
B = NDArray[np.bool_]
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


def _dice(seed: int, start: datetime, hours: int, members: int, streams: int = len(STREAMS)) -> F:
    """White noise tied to the clock, (streams, hours, members)."""
    first = int((start - EPOCH) // HOUR)
    days = range(first // 24, (first + hours - 1) // 24 + 1)
    blocks = [np.random.default_rng([seed, day]).standard_normal((24, streams, members)) for day in days]
    rows = np.concatenate(blocks)[first - 24 * days[0] :][:hours]
    return np.asarray(rows.transpose(1, 0, 2))


def _linked(noise: F, memory_hours: float, smooth_hours: float = 1.0) -> F:
    """Noise (hours, members) linked over ``memory_hours``, centred and of unit spread in every hour.

    ``smooth_hours`` is the width of a running mean over it: what errs for a whole night does not jump
    from hour to hour, and a night's lowest hour would gather the jumps.
    """
    keep = float(np.exp(-1.0 / memory_hours))
    fresh = np.sqrt(1.0 - keep**2)
    out = np.empty_like(noise)
    state = noise[0]
    for k in range(noise.shape[0]):
        state = keep * state + fresh * noise[k] if k else state
        out[k] = state
    half = int(smooth_hours / 2.0)
    if half:
        total = np.concatenate([np.zeros((1, out.shape[1])), np.cumsum(out, axis=0)])
        row = np.arange(out.shape[0])
        first, last = np.maximum(row - half, 0), np.minimum(row + half + 1, out.shape[0])
        out = (total[last] - total[first]) / (last - first)[:, None]
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
    moved = _dice(seed + 1, weather.start, hours, count, 1)[0]
    lead = np.maximum(weather.hour_of(issued) * -1.0 + np.arange(hours), 0.0) / 24.0
    rows = np.arange(count) % weather.members
    static = np.random.default_rng([seed, 1])
    height = sun_height(weather.start, np.arange(hours) + 0.5, latitude, longitude)

    air, dew = _temperatures(weather, rows, dice, lead, height, doubt)
    wind = _wind(weather, rows, dice, lead, doubt["wind"])
    rain = _rain(weather, rows, dice, moved, lead, air - dew, doubt["rain"])
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


def _stream(dice: F, name: str, memory_hours: float, smooth_hours: float = 1.0) -> F:
    """One linked stream, (members, hours)."""
    return _linked(dice[STREAMS.index(name)], memory_hours, smooth_hours).T


def _temperatures(
    weather: Weather, rows: NDArray[np.int64], dice: F, lead: F, height: F, doubt: Doubt
) -> tuple[F, F]:
    table = doubt["air"]
    by_day = np.where(height > 0.0, table["day_share"], 1.0)
    sigma = _by_lead(table, "sigma", lead)
    spread = (sigma * by_day)[None, :]
    back = np.zeros_like(weather.air_c[:1])
    if weather.members == 1:
        # Only a bare forecast is drawn back; members and a source's own spread come with their own middle.
        kept = _kept(sigma, table["usual_sd"], lead)
        back = _drawn_back(_day_mean(weather.air_c), kept, table["usual_hours"])
    if weather.air_sigma_k is not None:
        # What the source says of its own doubt, widened by that of a point in a yard against its cell.
        said = np.hypot(weather.air_sigma_k[rows % weather.air_sigma_k.shape[0]], table["point_sigma"])
        spread = np.where(np.isfinite(said), said, spread)
        back = np.where(np.isfinite(weather.air_sigma_k[:1]), 0.0, back)
    miss = spread * _stream(dice, "air", table["hours"], table["smooth_hours"]) + back
    own = _stream(dice, "dew", table["hours"], table["smooth_hours"])
    own = _by_lead(doubt["dew_point"], "own", lead) * own
    air = weather.air_c[rows] + miss
    dew = weather.dew_point_c[rows] + doubt["dew_point"]["share"] * miss + own
    return air, np.minimum(dew, air)


def _wind(weather: Weather, rows: NDArray[np.int64], dice: F, lead: F, table: Mapping[str, Any]) -> F:
    """Wind of each member; its square root is doubted, which is normal where the wind itself is not.

    So a strong wind is doubted by a smaller factor than a light one.
    """
    root = np.sqrt(weather.wind_ms)
    known = np.isfinite(root)
    usual = float(root[known].mean()) if known.any() else 0.0
    sigma = _by_lead(table, "log_sd", lead)
    miss = 0.5 * usual * sigma[None, :] * _stream(dice, "wind", table["hours"])
    if weather.members == 1:
        root = root + _drawn_back(root, _kept(sigma, table["usual_log_sd"], lead), table["usual_hours"])
    return np.asarray(np.maximum(root[rows] + miss, np.sqrt(table["least_ms"])) ** 2)


def _kept(sigma: F, usual_sd: float, lead: F) -> F:
    """How much of a forecast's departure from the usual is believed, (hours,): all of it in past hours.

    ``sqrt(1 - (sigma / usual_sd)^2)``: what correlates with the weather by so much and
    varies as it does errs by ``sigma`` once it is drawn back by as much.
    """
    return np.where(lead > 0.0, np.sqrt(np.maximum(1.0 - (sigma / usual_sd) ** 2, 0.0)), 1.0)


def _drawn_back(told: F, kept: F, usual_hours: float) -> F:
    """What leads from a forecast (1, hours) part of the way back to the usual; 0 where nothing is known.

    The mean of the fortnight about each hour stands for the usual of place and season: errors
    of days far apart are not linked and mostly cancel in it.
    """
    return np.nan_to_num((kept - 1.0) * (told - _day_mean(told, usual_hours)))


def _day_mean(values: F, hours: float = 24.0) -> F:
    """Mean of the known hours of the day about each hour, (rows, hours); NaN where that hour is unknown.

    Near an end of the series it is the day next to it, so that no half day's warmth counts. ``hours``
    makes it another stretch than a day.
    """
    half, count = int(hours / 2.0), values.shape[1]
    known = np.isfinite(values)
    first = np.clip(np.arange(count) - half, 0, max(count - 2 * half, 0))
    last = np.minimum(first + 2 * half, count)
    none = np.zeros((values.shape[0], 1))
    total, seen = (
        np.concatenate([none, np.cumsum(part, axis=1)], axis=1)
        for part in (np.where(known, values, 0.0), known.astype(float))
    )
    mean = (total[:, last] - total[:, first]) / np.maximum(seen[:, last] - seen[:, first], 1.0)
    return np.where(known, mean, np.nan)


def _rain(
    weather: Weather,
    rows: NDArray[np.int64],
    dice: F,
    moved: F,
    lead: F,
    spread_k: F,
    table: Mapping[str, Any],
) -> F:
    """Rain of each member, (members, hours): an ensemble's own, else drawn.

    What is forecast comes in events: an event is real in as many members as the
    lead's hit share says, all of it or none of it, each member at its own time.
    A forecast that is wet as often as the weather misses as much as it makes up,
    so the hours of rain that nobody forecast follow from the hit share and from
    how often it rains at all, more of it in a member with moist air. Where the
    source gives a chance, that sets how many members rain: those with the
    forecast's events first, then others, linked from hour to hour. Chance and
    amount come from different models: in an hour with an amount and a smaller
    chance, the truth is taken to lie in the middle.
    """
    told = weather.rain_mm
    # Where all members share their rain, only one run gave it: that is one forecast, and doubted like one.
    if weather.members > 1 and not np.array_equal(
        told, np.broadcast_to(told[:1], told.shape), equal_nan=True
    ):
        return told[rows].copy()
    amount = told[0]
    memory = -1.0 / np.log(table["link"])
    said = np.full(amount.shape, np.nan) if weather.rain_chance is None else weather.rain_chance[0]
    unsaid = ~np.isfinite(said)
    score = _below(_linked(dice[STREAMS.index("rain")], memory).T)
    come = _events(amount, score, _linked(moved, table["shift_memory"]).T, lead, table)
    real = come >= table["wet_mm"]
    likely = real.mean(axis=0)
    wanted = np.where((amount >= table["wet_mm"]) & (said < likely), (said + likely) / 2.0, said)
    kept = np.divide(wanted, likely, out=np.ones_like(wanted), where=likely > wanted)
    more = np.maximum(wanted - likely, 0.0) / np.maximum(1.0 - likely, 1e-9)
    lost = (1.0 - _by_lead(table, "hit", lead)) * _how_often(amount, table) * _moist(spread_k, real, table)
    stray = _below(_linked(dice[STREAMS.index("stray")], memory).T)
    wet = stray < np.where(real, np.where(unsaid, 1.0, kept), np.where(unsaid, lost, more))
    scale = np.exp(table["amount_log_sd"] * dice[STREAMS.index("amount")].T)
    fallen = np.where(real, come, table["new_amount_mm"]) * scale
    drawn = np.where(wet, np.maximum(fallen, table["least_mm"]), 0.0)
    past = lead <= 0.0
    drawn[:, past] = amount[past]
    return np.where(np.isfinite(amount)[None, :], drawn, np.nan)


def _events(amount: F, score: F, moved: F, lead: F, table: Mapping[str, Any]) -> F:
    """Amounts of the forecast's rain where and when each member has it, (members, hours)."""
    come = np.zeros_like(score)
    wet = np.flatnonzero(np.nan_to_num(amount) >= table["wet_mm"])
    hit = _by_lead(table, "hit", lead)
    late = np.rint(moved * _by_lead(table, "shift_hours", lead)).astype(np.int64)
    member = np.arange(score.shape[0])[:, None]
    for hours in np.split(wet, np.flatnonzero(np.diff(wet) > table["joined_hours"] + 1) + 1):
        ahead = hours[lead[hours] > 0.0]
        if not ahead.size:
            continue
        at = hours[None, :] + late[:, ahead[0], None]
        real = (score[:, ahead[0]] < hit[ahead[0]])[:, None] & (at >= 0) & (at < amount.size)
        rows, columns = np.broadcast_to(member, at.shape)[real], at[real]
        fallen = np.broadcast_to(amount[hours], at.shape)[real]
        come[rows, columns] = np.maximum(come[rows, columns], fallen)
    return come


def _how_often(amount: F, table: Mapping[str, Any]) -> float:
    """Share of wet hours at this place and time: that of the forecast, held to the general one."""
    known = np.isfinite(amount)
    wet = float((amount[known] >= table["wet_mm"]).sum())
    general = float(table["base_hours"])
    return (wet + float(table["base"]) * general) / (float(known.sum()) + general)


def _moist(spread_k: F, real: B, table: Mapping[str, Any]) -> F:
    """How much likelier than on average rain is in the air of each member, (members, hours).

    Its mean over the hours without the forecast's rain is about 1: what falls unforecast falls there.
    """
    spread = _day_mean(spread_k, table["moist_hours"])
    ratio: F = np.interp(spread, table["spread_k"], table["likelier"])
    ratio = np.where(np.isfinite(spread), ratio ** float(table["moist_believed"]), 1.0)
    total, hours = float(ratio[~real].sum()) / ratio.shape[0], float((~real).mean()) * ratio.shape[1]
    general = float(table["base_hours"])
    return np.asarray(ratio * ((hours + general) / (total + general)))


SCORES = np.linspace(-6.0, 6.0, 1201)
SHARES = np.array([NormalDist().cdf(float(score)) for score in SCORES])


def _below(score: F) -> F:
    """Share of the normal law below a score."""
    return np.asarray(np.interp(score, SCORES, SHARES))


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
    middle, width = _usual_cloud(spread_k, rain, doubt["cloud_missing"], height)
    guess = middle + width * score
    base = None if weather.cloud is None else weather.cloud[rows]
    if base is None and weather.sun_wm2 is not None:
        base = cloud_from_sun(height[None, :], weather.sun_wm2[rows])
    if base is None:
        cloud = guess
    else:
        table = doubt["cloud"]
        kept = _by_lead(table, "kept", lead)[None, :]
        # Sky is mostly clear or mostly covered: the share is a clipped normal score. What lies beyond
        # an end is not told, so an end stands for the middle of it.
        told = np.interp(base, table["share"], table["score"])
        cloud = 0.5 + table["width"] * (kept * told + np.sqrt(1.0 - kept**2) * score)
        cloud = np.where(np.isfinite(base), cloud, guess)
    cloud = np.clip(cloud, 0.0, 1.0)
    sun = sunshine(height[None, :], cloud)
    if weather.sun_wm2 is not None:
        given = weather.sun_wm2[rows]
        if weather.cloud is not None:
            expected = sunshine(height[None, :], np.clip(weather.cloud[rows], 0.0, 1.0))
            given = given * np.clip(sun / np.maximum(expected, 1.0), 0.2, 3.0)
        sun = np.where(np.isfinite(given), given, sun)
    return cloud, sun


def _usual_cloud(spread_k: F, rain: F, missing: Mapping[str, Any], height: F | float) -> tuple[F, F]:
    """Middle and width of the clipped normal law of a cloud share that nobody told."""
    day = np.interp(height, [-6.0, 15.0], [0.0, 1.0])
    by_night = np.interp(spread_k, missing["spread_k"], missing["share"])
    by_day = np.interp(spread_k, missing["day_spread_k"], missing["day_share"])
    middle = by_night + day * (by_day - by_night)
    middle = np.where(np.nan_to_num(rain) > 0.0, np.maximum(middle, missing["rain_share"]), middle)
    return middle, np.asarray(missing["sd"] + day * (missing["day_sd"] - missing["sd"]))


def likely_cloud(spread_k: F, rain: F, missing: Mapping[str, Any], height_deg: F | float = -90.0) -> F:
    """Cloud to be expected where none is told, from dew-point spread (K), rain (mm), the sun's height."""
    return np.asarray(np.clip(_usual_cloud(spread_k, rain, missing, height_deg)[0], 0.0, 1.0))


def cold_air(hollow_c: F, cloud: F, wind_ms: F, height_deg: F, physics: Physics) -> F:
    """Shift of the air, K: full on clear still nights, none by day, in wind or under cloud."""
    return np.asarray(hollow_c * still_share(cloud, wind_ms, height_deg, physics))


def still_share(cloud: F, wind_ms: F, height_deg: F, physics: Physics) -> F:
    """How far an hour is one of a clear calm night, 0 to 1."""
    clear = np.interp(cloud, [physics["clear_below"], physics["cloudy_above"]], [1.0, 0.0])
    calm = np.interp(wind_ms, [physics["calm_below"], physics["windy_above"]], [1.0, 0.0])
    night = np.interp(height_deg, [-2.0, 10.0], [1.0, 0.0])
    return np.asarray(clear * calm * night)
