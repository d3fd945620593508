"""A yard that the program does not know, in recorded weather: the truth of a replayed season. Pure.

How fast its films dry, the wind at its ends, its cold air on clear still nights and
its least film temperature are drawn within their stated doubt (config/doubt.toml). So is the
cloud that the record lacks, linked to dew-point spread and rain, the same for all who are compared.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduler.coating.face import exposure_of
from scheduler.coating.film import Surroundings, surroundings
from scheduler.replay.record import Record
from scheduler.settings import YardFile, doubt, physics, thresholds
from scheduler.weather.fine import fine_grid
from scheduler.weather.members import Beliefs, Members
from scheduler.weather.series import HOUR, Weather
from scheduler.weather.sun import sun_height, sunshine

__all__ = ["Sky", "World", "draw_world", "faces_of", "learned_of", "linked"]

F = NDArray[np.float64]
CALM_MS = (0.2, 1.4)  # what a "calm" of an anemometer may be


@dataclass(frozen=True, eq=False)
class Sky:
    """Cloud share by a normal score, dew-point spread, rain and the sun's height (config/replay.toml)."""

    table: Mapping[str, Any]
    wet_mm: float

    def middle(self, spread_k: F, rain: F, height: F) -> tuple[F, F]:
        """Centre and width of the clipped law, each (hours,)."""
        t = self.table
        day = np.interp(height, [-6.0, 15.0], [0.0, 1.0])
        centre = (1.0 - day) * np.interp(spread_k, t["night_spread"], t["night_centre"])
        centre += day * np.interp(spread_k, t["day_spread"], t["day_centre"])
        width = (1.0 - day) * t["night_width"] + day * t["day_width"]
        return np.where(rain > self.wet_mm, centre + t["rain_more"], centre), width

    def cloud(self, score: F, spread_k: F, rain: F, height: F) -> F:
        """Cloud share, (hours,)."""
        centre, width = self.middle(spread_k, rain, height)
        return np.clip(centre + width * score, 0.0, 1.0)

    def score(self, cloud: F, drawn: F, spread_k: F, rain: F, height: F) -> F:
        """The score that explains a known cloud; at its ends, and where it is unknown, the drawn one."""
        centre, width = self.middle(spread_k, rain, height)
        told = (cloud - centre) / width
        low, high = -centre / width, (1.0 - centre) / width
        out = np.where(
            cloud <= 0.0, np.minimum(drawn, low), np.where(cloud >= 1.0, np.maximum(drawn, high), told)
        )
        return np.asarray(np.where(np.isfinite(cloud), out, drawn))


@dataclass(frozen=True, eq=False)
class World:
    """One year's weather at the station, with sky, and a yard in it."""

    seed: int
    weather: Weather  # at the station, (1, hours)
    score: F  # of the cloud, (hours,)
    height: F  # of the sun in the middle of each hour, degrees
    yard_air: F  # (hours,) with the yard's cold air
    drying: float
    shelter: float
    film_k: float
    hollow_c: float


def linked(rng: np.random.Generator, count: int, memory_hours: float) -> F:
    """Normal noise of unit spread whose memory fades exponentially, (count,)."""
    keep = float(np.exp(-1.0 / memory_hours))
    fresh = rng.standard_normal(count)
    fresh[1:] *= np.sqrt(1.0 - keep**2)
    out, state = fresh.tolist(), 0.0
    for k, step in enumerate(out):
        state = keep * state + step
        out[k] = state
    return np.array(out)


def draw_world(record: Record, yard: YardFile, seed: int, scheme: Mapping[str, Any]) -> World:
    """The yard and the sky of one seed."""
    rng = np.random.default_rng([seed, 701])
    d, w = doubt(), record.weather
    drying, shelter, film, hollow = rng.standard_normal(4)
    sky = Sky(scheme["cloud"], scheme["forecast"]["wet"])
    score = linked(rng, w.hours, scheme["cloud"]["memory"])
    place = yard.yard.place
    height = sun_height(w.start, np.arange(w.hours) + 0.5, place.lat, place.lon)
    calm = np.where(w.wind_ms[0] < 0.3, rng.uniform(*CALM_MS, w.hours), w.wind_ms[0])
    spread, rain = (w.air_c - w.dew_point_c)[0], w.rain_mm[0]
    if w.cloud is not None:
        score = sky.score(w.cloud[0], score, spread, rain, height)
    cloud = sky.cloud(score, spread, rain, height)
    sun = sunshine(height, cloud)
    if w.sun_wm2 is not None:
        sun = np.where(np.isfinite(w.sun_wm2[0]), w.sun_wm2[0], sun)
    here = replace(w, wind_ms=calm[None, :], cloud=cloud[None, :], sun_wm2=sun[None, :])
    sd = max(d["hollow"]["sd"], d["hollow"]["share"] * abs(yard.site.hollow))
    cold = float(yard.site.hollow + sd * hollow)
    return World(
        seed=seed,
        weather=here,
        score=score,
        height=height,
        yard_air=_at_the_yard(here, cold, height),
        drying=float(np.exp(d["drying"]["log_sd"] * drying)),
        shelter=float(np.exp(d["shelter"]["log_sd"] * shelter)),
        film_k=float(d["film"]["sd"] * film),
        hollow_c=cold,
    )


def learned_of(world: World, numbers: Mapping[str, float]) -> Beliefs:
    """What a yard has taught in the end: its offset and its drying factor, each about right ([learned])."""
    rng = np.random.default_rng([world.seed, 706])
    cold, drying = rng.standard_normal(2)
    return Beliefs(
        hollow_c=world.hollow_c + numbers["hollow_sd"] * float(cold),
        hollow_sd=numbers["hollow_sd"],
        drying_log=float(np.log(world.drying)) + numbers["drying_sd"] * float(drying),
        drying_sd=numbers["drying_sd"],
    )


def _at_the_yard(w: Weather, hollow_c: float, height: F) -> F:
    """The air with the yard's cold air in it: on nights with cloud below 0.3 and wind below 1.5 m/s in full.

    Written apart from the rule of the members.
    """
    assert w.cloud is not None
    clear = np.clip((0.7 - w.cloud[0]) / 0.4, 0.0, 1.0)
    calm = np.clip((3.5 - w.wind_ms[0]) / 2.0, 0.0, 1.0)
    night = np.clip((10.0 - height) / 12.0, 0.0, 1.0)
    return np.asarray(w.air_c[0] + hollow_c * clear * calm * night)


def faces_of(worlds: Sequence[World], yard: YardFile, first: int, last: int) -> Surroundings:
    """Ends in the open yard of several worlds, one member each, in the hours ``first`` to ``last``."""

    def rows(name: str) -> F:
        return np.concatenate([getattr(one.weather, name) for one in worlds])[:, first:last]

    p = physics()
    air = np.stack([one.yard_air for one in worlds])[:, first:last]
    wind = rows("wind_ms")
    weather = Weather(
        worlds[0].weather.start + first * HOUR,
        air_c=air,
        dew_point_c=np.minimum(rows("dew_point_c"), air),
        wind_ms=wind,
        rain_mm=rows("rain_mm"),
        cloud=rows("cloud"),
        sun_wm2=rows("sun_wm2"),
        gust_ms=wind * p["rough_wind_gust"],
    )
    parts = (np.array([getattr(one, name) for one in worlds]) for name in ("drying", "shelter", "film_k"))
    return surroundings(
        fine_grid(Members(weather, *parts), yard.yard.place.altitude_m or 0.0),
        exposure_of(yard.site, p),
        p["face_water_held"],
        p["drying_wetness"],
        thresholds().rain_hour.value,
    )
