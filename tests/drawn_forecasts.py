"""Forecasts drawn from recorded hours with the documented growth of error, and what truly came of each start.

Written apart from ``scheduler/weather/members.py`` on purpose: own numbers, own random streams, own form of
the errors. It says what a forecast is, given the weather; the members say what the weather may be, given a
forecast. Where both are right, of the starts given 60 to 80 % between 60 and 80 % succeed.

What is drawn
-------------
A **world** is a yard that the program does not know: how fast its films dry, the wind at its ends, its cold
air on clear still nights, its least film temperature, and the cloud of the year, which the record lacks.
A **forecast** is the record, seen from one hour with errors that grow from there. Errors of air, dew point
and wind are linked in time. By ``form`` a forecast either keeps the variance of the weather and its air goes
with its rain, as in a weather model ("kept"), or is the weather with errors added, each by itself ("added").
Rain comes in events: each is forecast at a wrong time, or not at all; others are invented, as many as are
missed, so that it rains as often in the forecasts as in the record.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray
from weather_samples import NEWARK, RECORDED_LACKS, emulsion, recorded_file, recorded_year

from scheduler.coating.face import exposure_of
from scheduler.coating.film import FilmClocks, Milestones, Stepped, Surroundings, step_film, surroundings
from scheduler.rules.engine import BREAK, PASS, UNKNOWN, judge, series_of
from scheduler.rules.hours import openness
from scheduler.rules.rule import rules_of
from scheduler.rules.spans import Limits
from scheduler.settings import (
    Position,
    Site,
    Yard,
    YardFile,
    assumptions,
    doubt,
    physics,
    rule_specs,
    thresholds,
)
from scheduler.weather.fine import PER_HOUR, fine_grid
from scheduler.weather.members import Beliefs, Members, draw_members
from scheduler.weather.series import HOUR, Weather
from scheduler.weather.sun import sun_height, sunshine

F = NDArray[np.float64]
B = NDArray[np.bool_]

PAST_H = 72  # hours before the forecast that come with it, as observed
AHEAD_D = 7  # days ahead whose starts are judged
AFTER_D = 4  # days behind them, for the film of the last start

# The night minimum's error by lead in days: a straight line through the published anchors, 1.8 K at one day
# (next-day maximum, Oklahoma City, RMSE 2.1 K, NSSL), 2.1-2.45 at two (Pacific Northwest 2004, 36 826 pairs),
# 3.8 at seven. By day errors are smaller.
AIR_SIGMA = (1.45, 0.33)
AIR_BY_DAY = 0.75
AIR_LINKS, AIR_BELL_H = ((0.7, 40.0), (0.3, 10.0)), 3  # share, hours: together some 1/e after 30 h
DEW_FOLLOWS, DEW_OWN = 0.7, (0.7, 0.1)  # K and K per day; own assumption
WIND_LOG, WIND_HOURS = (0.25, 0.03), 10.0  # at the usual wind; own assumption
CLOUD_KEPT = (0.9, -0.06)  # correlation of forecast and true cloud score by lead; own assumption
RAIN_MISSED = (0.08, 0.046)  # share of events not forecast; 0.4 at seven days; own assumption
RAIN_SHIFT_H = (0.5, 0.36)  # error in time, one standard deviation; 3 h at seven days; own assumption
RAIN_AMOUNT_LOG = 0.5
RAIN_JOINED_H = 2  # dry hours inside one event
WET_MM = 0.1

# Cloud (opaque share) by dew-point spread in K at night and by day: centre of a clipped normal law, which
# gives the shares of clear and overcast hours counted in the typical year of Greensboro, NC (TMY3, NREL).
NIGHT_SPREAD, NIGHT_CENTRE, NIGHT_WIDTH = (
    (0.3, 1.0, 2.0, 3.5, 6.0, 12.0),
    (1.05, 0.8, 0.4, 0.28, 0.25, 0.2),
    0.75,
)
DAY_SPREAD = (0.3, 2.0, 3.2, 5.0, 7.5, 10.5, 15.0)
DAY_CENTRE, DAY_WIDTH = (1.6, 1.2, 1.0, 0.82, 0.64, 0.45, 0.2), 0.36
CLOUD_HOURS = 8.0

DRYING_LOG, SHELTER_LOG, FILM_K, HOLLOW_C, HOLLOW_SD = 0.2, 0.35, 0.85, -1.0, 0.5  # doubts as stated


def line(numbers: tuple[float, float], lead_days: F) -> F:
    """A number that grows with the lead."""
    return numbers[0] + numbers[1] * lead_days


def linked(rng: np.random.Generator, count: int, parts: Sequence[tuple[float, float]], bell_h: int = 0) -> F:
    """Normal noise of unit spread whose memory is a mixture of exponentials (share, hours).

    With ``bell_h`` it is drawn out over a bell of so many hours: the error of a night does not jump.
    """
    reach = 3 * bell_h
    out = np.zeros(count + 2 * reach)
    for share, hours in parts:
        keep = np.exp(-1.0 / hours)
        fresh = rng.standard_normal(out.size)
        fresh[1:] *= np.sqrt(1.0 - keep**2)
        for k in range(1, out.size):
            fresh[k] += keep * fresh[k - 1]
        out += np.sqrt(share) * fresh
    if not bell_h:
        return out
    at = np.arange(-reach, reach + 1)
    bell = np.exp(-0.5 * (at / bell_h) ** 2)
    apart = np.abs(at[:, None] - at[None, :])
    covered = sum(share * np.exp(-apart / hours) for share, hours in parts)
    return np.convolve(out, bell, mode="valid") / float(np.sqrt(bell @ covered @ bell))


# ------------------------------------------------------------------ the truth


@lru_cache(maxsize=3)
def record_of(airport: str) -> Weather:
    """The recorded year of an airport of New York: EWR, JFK or LGA, gaps closed as in ``recorded_year``."""
    if airport == "EWR":
        return recorded_year()
    file = recorded_file()
    if file is None:
        raise LookupError(RECORDED_LACKS)
    like = recorded_year()
    table = {name: np.full(like.hours, np.nan) for name in ("temp", "dewp", "wind_speed", "precip")}
    with file.open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            hour = round((datetime.fromisoformat(row["time_hour"]).replace(tzinfo=UTC) - like.start) / HOUR)
            if row["origin"] == airport and 0 <= hour < like.hours:
                for name, column in table.items():
                    column[hour] = float(row[name]) if row[name] not in ("", "NA") else np.nan

    def closed(name: str) -> F:
        values, rows = table[name], np.arange(like.hours)
        known = np.isfinite(values) & (values < 200.0)
        return np.interp(rows, rows[known], values[known])[None, :]

    air, dew = ((closed(name) - 32.0) / 1.8 for name in ("temp", "dewp"))
    rain = np.nan_to_num(table["precip"] * 25.4)[None, :]
    return Weather(like.start, air, np.minimum(dew, air), closed("wind_speed") * 0.44704, rain)


@dataclass(frozen=True, eq=False)
class World:
    """One row of a year's weather at the airport, with cloud, and a yard in it."""

    weather: Weather
    score: F  # of the cloud, (hours,)
    drying: float
    shelter: float
    film_k: float
    hollow_c: float


def cloud_of(score: F, spread_k: F, rain: F, height: F) -> F:
    """Cloud share from a normal score, the dew-point spread, rain and the sun's height."""
    day = np.interp(height, [-6.0, 15.0], [0.0, 1.0])
    centre = (1.0 - day) * np.interp(spread_k, NIGHT_SPREAD, NIGHT_CENTRE)
    centre += day * np.interp(spread_k, DAY_SPREAD, DAY_CENTRE)
    width = (1.0 - day) * NIGHT_WIDTH + day * DAY_WIDTH
    centre = np.where(rain > WET_MM, centre + 1.0, centre)
    return np.clip(centre + width * score, 0.0, 1.0)


def height_of(weather: Weather) -> F:
    """The sun's height over Newark in the middle of each hour."""
    return sun_height(weather.start, np.arange(weather.hours) + 0.5, *NEWARK)


def with_sky(weather: Weather, score: F) -> Weather:
    """The same weather with cloud and the sun through it."""
    height = height_of(weather)
    cloud = cloud_of(score, (weather.air_c - weather.dew_point_c)[0], weather.rain_mm[0], height)
    return replace(weather, cloud=cloud[None, :], sun_wm2=sunshine(height, cloud)[None, :])


def worlds(count: int, seed: int, record: Weather) -> list[World]:
    """Yards that the program does not know; each doubt is spread evenly over its law, in random order."""
    rng = np.random.default_rng([seed, 501])
    normal = NormalDist()
    even = np.array([normal.inv_cdf((k + 0.5) / count) for k in range(count)])
    drying, shelter, film, hollow = (rng.permutation(even) for _ in range(4))
    found = []
    for n in range(count):
        score = linked(rng, record.hours, ((1.0, CLOUD_HOURS),))
        # An airport's "calm" is anything below some 1.5 m/s.
        wind = record.wind_ms[0]
        calm = np.where(wind < 0.3, rng.uniform(0.2, 1.4, wind.size), wind)
        here = with_sky(replace(record, wind_ms=calm[None, :]), score)
        found.append(
            World(
                here,
                score,
                float(np.exp(DRYING_LOG * drying[n])),
                float(np.exp(SHELTER_LOG * shelter[n])),
                float(FILM_K * film[n]),
                float(HOLLOW_C + HOLLOW_SD * hollow[n]),
            )
        )
    return found


def at_the_yard(world: World) -> F:
    """The air with the yard's cold air in it: on nights with cloud below 0.3 and wind below 1.5 m/s."""
    w = world.weather
    assert w.cloud is not None
    clear = np.clip((0.7 - w.cloud) / 0.4, 0.0, 1.0)
    calm = np.clip((3.5 - w.wind_ms) / 2.0, 0.0, 1.0)
    night = np.clip((10.0 - height_of(w)) / 12.0, 0.0, 1.0)
    return np.asarray(w.air_c + world.hollow_c * clear * calm * night)


def as_members(several: Sequence[World], first: int, last: int) -> Members:
    """Some hours of several worlds, one member each."""

    def rows(name: str) -> F:
        return np.concatenate([getattr(one.weather, name) for one in several])[:, first:last]

    start = several[0].weather.start + first * HOUR
    air = np.concatenate([at_the_yard(one) for one in several])[:, first:last]
    wind = rows("wind_ms")
    weather = Weather(
        start,
        air_c=air,
        dew_point_c=np.minimum(rows("dew_point_c"), air),
        wind_ms=wind,
        rain_mm=rows("rain_mm"),
        cloud=rows("cloud"),
        sun_wm2=rows("sun_wm2"),
        gust_ms=wind * physics()["rough_wind_gust"],
    )
    drying, shelter, film = (
        np.array([getattr(one, name) for one in several]) for name in ("drying", "shelter", "film_k")
    )
    return Members(weather, drying, shelter, film)


# ------------------------------------------------------------------ the forecasts


@lru_cache(maxsize=4)
def _usual(start: datetime, hours: int, values: bytes) -> tuple[F, float]:
    """The usual course of a year by date and hour, and the spread about it."""
    row = np.frombuffer(values)
    turn = np.arange(hours) / (365.25 * 24.0) * 2.0 * np.pi
    clock = np.arange(hours) / 24.0 * 2.0 * np.pi
    year = [np.ones(hours), np.cos(turn), np.sin(turn), np.cos(2 * turn), np.sin(2 * turn)]
    day = [np.ones(hours), np.cos(clock), np.sin(clock), np.cos(2 * clock), np.sin(2 * clock)]
    table = np.stack([a * b for a in year for b in day], axis=1)
    usual = table @ np.linalg.lstsq(table, row, rcond=None)[0]
    return usual, float((row - usual).std())


def usual(weather: Weather, name: str) -> tuple[F, float]:
    """Climate of a quantity as this one year shows it: its course (hours,), and the spread about it."""
    values = getattr(weather, name)[0]
    values = np.sqrt(values) if name == "wind_ms" else values
    return _usual(weather.start, weather.hours, np.ascontiguousarray(values).tobytes())


def missed(true: F, normal: F, spread: float, sigma: F, noise: F, form: str) -> F:
    """Forecast minus truth: an added error, or one that keeps the variance of the weather."""
    if form == "added":
        return sigma * noise
    kept = np.maximum(1.0 - sigma**2 / (2.0 * spread**2), 0.0)
    return np.asarray((kept - 1.0) * (true - normal) + np.sqrt(1.0 - kept**2) * spread * noise)


@dataclass(frozen=True, slots=True)
class Event:
    """One stretch of rain: its first hour in the record and the amounts of its hours."""

    first: int
    amounts: tuple[float, ...]


@lru_cache(maxsize=4)
def _events(values: bytes) -> tuple[Event, ...]:
    rain = np.frombuffer(values)
    wet = np.flatnonzero(rain >= WET_MM)
    parts = np.split(wet, np.flatnonzero(np.diff(wet) > RAIN_JOINED_H + 1) + 1)
    return tuple(Event(int(p[0]), tuple(rain[p[0] : p[-1] + 1])) for p in parts)


def events_of(weather: Weather) -> tuple[Event, ...]:
    """The rain of a year in events."""
    return _events(np.ascontiguousarray(weather.rain_mm[0]).tobytes())


def drawn_rain(record: Weather, first: int, issued: int, last: int, rng: np.random.Generator) -> F:
    """Rain as forecast at hour ``issued`` for the hours ``first`` to ``last``; what has fallen is known."""
    events, hours = events_of(record), last - first
    out = np.zeros(hours)

    def lost(hour: F) -> F:
        return line(RAIN_MISSED, np.clip((hour - issued) / 24.0, 0.0, 9.0))

    def put(begin: float, amounts: Sequence[float]) -> None:
        lead = max(begin - issued, 0.0) / 24.0
        at = round(begin + rng.normal(0.0, float(line(RAIN_SHIFT_H, np.array(lead))))) - first
        common = rng.normal(0.0, RAIN_AMOUNT_LOG)
        for k, amount in enumerate(amounts):
            if 0 <= at + k < hours:
                told = amount * np.exp(common + rng.normal(0.0, RAIN_AMOUNT_LOG))
                out[at + k] += max(told, WET_MM if amount >= WET_MM else 0.0)

    near = [e for e in events if first - 72 < e.first < last + 24]
    for event in near:
        if rng.random() >= float(lost(np.array(event.first))):
            put(event.first, event.amounts)
    # As many are invented as are missed, at every lead; they look like the season's own.
    season = [e for e in events if issued - 30 * 24 < e.first < issued + 37 * 24]
    begin = np.arange(issued - 24, last + 24)
    rate = len(season) / (67.0 * 24.0)
    for hour in begin[rng.random(begin.size) < rate * lost(begin.astype(float))]:
        put(float(hour), season[rng.integers(len(season))].amounts)
    out[out < WET_MM] = 0.0
    out[: issued - first] = record.rain_mm[0, first:issued]
    return out


def chance_of_hours(rain: F, lead: F, base: float) -> F:
    """What a good source would say of each hour: its rain, smeared over its error in time, and strays."""
    wet = (rain >= WET_MM).astype(float)
    shift = np.maximum(line(RAIN_SHIFT_H, lead), 0.3)[:, None]
    apart = np.arange(rain.size)[:, None] - np.arange(rain.size)[None, :]
    weight = np.exp(-0.5 * (apart / shift) ** 2)
    near = (weight / weight.sum(axis=1, keepdims=True)) @ wet
    lost = line(RAIN_MISSED, np.minimum(lead, 9.0))
    return np.asarray(1.0 - (1.0 - (1.0 - lost) * near) * (1.0 - lost * base))


@dataclass(frozen=True, slots=True)
class Kind:
    """What sort of forecast: its form, and what the source offers."""

    form: str = "kept"
    cloud: bool = True
    chance: bool = False


def _wind(record: Weather, part: Weather, ahead: B, lead: F, noise: F, form: str) -> F:
    """Forecast wind: wrong by a factor, or in its square root, which is what is normal of hourly wind."""
    true, sigma = part.wind_ms[0], line(WIND_LOG, lead)
    if form == "added":
        return np.where(ahead, true * np.exp(sigma * noise), true)
    normal, spread = usual(record, "wind_ms")
    first = round((part.start - record.start) / HOUR)
    off = missed(
        np.sqrt(true),
        normal[first : first + true.size],
        spread,
        sigma * float(normal.mean()) / 2,
        noise,
        form,
    )
    return np.where(ahead, np.maximum(np.sqrt(true) + off, 0.3) ** 2, true)


def draw_forecast(world: World, issued: int, seed: int, kind: Kind) -> Weather:
    """What a service would have said at hour ``issued`` of the record, past hours as observed."""
    record = world.weather
    first, last = issued - PAST_H, min(issued + 24 * (AHEAD_D + AFTER_D), record.hours)
    rng = np.random.default_rng([seed, issued, 502])
    rows = slice(first, last)
    hours = last - first
    lead = np.maximum(np.arange(first, last) - issued, 0) / 24.0
    ahead = np.arange(first, last) >= issued
    part = record.between(record.start + first * HOUR, record.start + last * HOUR)
    height = height_of(part)

    def off(name: str, sigma: F, noise: F) -> F:
        true = getattr(part, name)[0]
        normal, spread = usual(record, name)
        return np.where(ahead, missed(true, normal[rows], spread, sigma, noise, kind.form), 0.0)

    share = np.interp(height, [-6.0, 15.0], [1.0, AIR_BY_DAY])
    wrong = off("air_c", line(AIR_SIGMA, lead) * share, linked(rng, hours, AIR_LINKS, AIR_BELL_H))
    own = np.where(ahead, line(DEW_OWN, lead) * linked(rng, hours, AIR_LINKS, AIR_BELL_H), 0.0)
    wind = _wind(record, part, ahead, lead, linked(rng, hours, ((1.0, WIND_HOURS),)), kind.form)
    air = part.air_c[0] + wrong
    dew = part.dew_point_c[0] + DEW_FOLLOWS * wrong + own
    rain = drawn_rain(record, first, issued, last, rng)
    if kind.form == "kept":
        # A model's rain moistens its own air; where it has none the air is not as damp as it was in the rain.
        invented = (rain >= WET_MM) & (part.rain_mm[0] < WET_MM) & ahead
        dry = (rain < WET_MM) & (part.rain_mm[0] >= WET_MM) & ahead
        dew = np.where(invented, np.maximum(dew, air - rng.uniform(0.5, 2.5, hours)), dew)
        dew = np.where(dry, np.minimum(dew, air - rng.uniform(0.5, 4.0, hours)), dew)
    dew = np.minimum(dew, air)
    kept = np.clip(line(CLOUD_KEPT, lead), 0.2, 1.0)
    score = kept * world.score[rows] + np.sqrt(1.0 - kept**2) * linked(rng, hours, ((1.0, CLOUD_HOURS),))
    chance = chance_of_hours(rain, lead, float((record.rain_mm >= WET_MM).mean()))
    told = with_sky(
        replace(
            part,
            air_c=air[None, :],
            dew_point_c=dew[None, :],
            wind_ms=wind[None, :],
            rain_mm=rain[None, :],
            rain_chance=chance[None, :] if kind.chance else None,
        ),
        np.where(ahead, score, world.score[rows]),
    )
    return told if kind.cloud else replace(told, cloud=None, sun_wm2=None)


# ------------------------------------------------------------------ starts, and what came of them


@dataclass(frozen=True, eq=False)
class Cases:
    """Starts with the chance given, whether they succeeded, days ahead, the day of the year and its world."""

    said: F
    held: B
    lead: F
    day: NDArray[np.int64]
    world: NDArray[np.int64]

    def where(self, mask: B) -> Cases:
        """Some of them."""
        return Cases(self.said[mask], self.held[mask], self.lead[mask], self.day[mask], self.world[mask])


def joined(parts: Sequence[Cases]) -> Cases:
    """Several as one."""
    names = ("said", "held", "lead", "day", "world")
    return Cases(*(np.concatenate([getattr(p, name) for p in parts]) for name in names))


YARD = YardFile(
    yard=Yard(place=Position(lat=NEWARK[0], lon=NEWARK[1], altitude_m=0.0), zone="America/New_York"),
    site=Site(hollow=HOLLOW_C),
)


def faces_of(members: Members) -> Surroundings:
    """Ends in the open yard under some members."""
    p = physics()
    return surroundings(
        fine_grid(members),
        exposure_of(YARD.site, p),
        p["face_water_held"],
        p["drying_wetness"],
        thresholds().rain_hour.value,
    )


def outcomes(
    place: Surroundings, starts: NDArray[np.int64], milestones: Milestones, *, frost: bool = True
) -> tuple[NDArray[np.int8], B]:
    """Outcome (members, starts) of all stopping rules, and the starts that the calendar forbids."""
    coat = emulsion()
    rules = rules_of(rule_specs(), {}, coat, "brush")
    rules = tuple(rule for rule in rules if frost or rule.name != "frost_on_face")
    series = series_of(place, openness(place.fine, YARD.yard, YARD.zone, assumptions()))
    steps = Limits.of(thresholds()).brush_steps
    found = judge(rules, series, place, milestones, starts, steps, place.fine.rain_unknown)
    return found.outcome(), found.closed()


def truth_of(
    several: Sequence[World], starts: NDArray[np.int64], *, stepped: bool = True, chunk_days: int = 90
) -> F:
    """What came of each start (quarter hours of the record) in each world: (worlds, starts) of outcomes.

    Film, face and log are stepped together; the film's frost is that of the stepped film.
    """
    out = np.full((len(several), starts.size), UNKNOWN)
    hours = several[0].weather.hours
    day = starts // (24 * PER_HOUR)
    for begin in range(0, int(day.max(initial=-1)) + 1, chunk_days):
        mine = (day >= begin) & (day < begin + chunk_days)
        if not mine.any():
            continue
        first, last = max(begin - 10, 0) * 24, min((begin + chunk_days + 7) * 24, hours)
        place = faces_of(as_members(several, first, last))
        own = starts[mine] - first * PER_HOUR
        out[:, mine] = judged(place, own, stepped=stepped)[0]
    return out


def frozen(stepped: Stepped, starts: NDArray[np.int64]) -> B:
    """Whether the stepped film froze while it was milky, (members, starts)."""
    step = starts[None, None, :] + np.arange(stepped.film_c.shape[0])[:, None, None]
    milky = step < stepped.milestones.frost_safe[None]
    return np.asarray((milky & (stepped.film_c < emulsion().freezes_at_c)).any(axis=0))


def judged(place: Surroundings, starts: NDArray[np.int64], *, stepped: bool) -> tuple[NDArray[np.int8], B]:
    """Outcomes, and what the calendar forbids: by sorted search, or by stepping film, face and log."""
    if not stepped:
        return outcomes(
            place, starts, FilmClocks(place, emulsion(), physics()["drying_wetness"]).milestones(starts)
        )
    film = step_film(place, emulsion(), starts, 144.0)
    found, closed = outcomes(place, starts, film.milestones, frost=False)
    return np.where((found == PASS) & frozen(film, starts), BREAK, found), closed


def morning(
    told: Weather, issued: int, first: int, starts: NDArray[np.int64], *, stepped: bool = False
) -> tuple[F, B]:
    """Chance of each start (quarter hours of the forecast's grid), NaN unknown, and what is closed."""
    members = draw_members(
        told,
        doubt(),
        physics(),
        issued=told.start + (issued - first) * HOUR,
        latitude=NEWARK[0],
        longitude=NEWARK[1],
        place=Beliefs(hollow_c=HOLLOW_C),
    )
    place = faces_of(members)
    outcome, closed = judged(place, starts, stepped=stepped)
    known = (outcome != UNKNOWN).sum(axis=0)
    chance = ((outcome == PASS).sum(axis=0) + 0.5) / (known + 1.0)
    few = members.count - known > thresholds().unknown_share.value * members.count
    return np.where(few, np.nan, chance), closed


def starts_of_day(day: int, clock: Sequence[float]) -> NDArray[np.int64]:
    """Quarter hours of the record at some hours of UTC of a day."""
    return np.array([round((day * 24 + hour) * PER_HOUR) for hour in clock], np.int64)


CLOCK = (15.0, 17.25, 19.5)  # hours of UTC: 10 to 11, noon, early afternoon in New York


def cases(
    days: Sequence[int],
    seed: int,
    kind: Kind | None = None,
    *,
    count: int = 8,
    clock: Sequence[float] = CLOCK,
    stepped: bool = False,
    airport: str = "EWR",
) -> Cases:
    """Starts of the next week as seen from 6 h UTC of each of these days, which the worlds share evenly.

    Members and truth are judged alike: by sorted search, or ``stepped``, as what a person is told is.
    """
    kind = kind or Kind()
    several = worlds(count, seed, record_of(airport))
    last = several[0].weather.hours // 24 - AFTER_D - 3
    wanted = sorted({d for day in days for d in range(day, day + AHEAD_D) if d < last})
    all_starts = np.concatenate([starts_of_day(d, clock) for d in wanted])
    truth = truth_of(several, all_starts, stepped=stepped)
    order = np.random.default_rng([seed, 503]).permutation(np.resize(np.arange(count), len(days)))
    parts = list(_mornings(days, order, several, all_starts, truth, seed, kind, stepped))
    return joined(parts)


def _mornings(
    days: Sequence[int],
    order: NDArray[np.int64],
    several: Sequence[World],
    all_starts: NDArray[np.int64],
    truth: F,
    seed: int,
    kind: Kind,
    stepped: bool,
) -> Iterator[Cases]:
    for day, n in zip(days, order, strict=True):
        issued = day * 24 + 6
        first = issued - PAST_H
        told = draw_forecast(several[n], issued, seed, kind)
        mine = (all_starts >= issued * PER_HOUR) & (all_starts < (issued + 24 * AHEAD_D) * PER_HOUR)
        starts = all_starts[mine]
        chance, closed = morning(told, issued, first, starts - first * PER_HOUR, stepped=stepped)
        came = truth[n, mine]
        use = np.isfinite(chance) & ~closed & (came != UNKNOWN)
        lead = (starts / PER_HOUR - issued) / 24.0
        where = (starts // (24 * PER_HOUR)).astype(np.int64)
        yield Cases(chance, came == PASS, lead, where, np.full(starts.size, n)).where(use)


BANDS = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
LEADS = ((0.0, 2.0), (2.0, 4.0), (4.0, 7.0))


def in_band(found: Cases, band: int) -> Cases:
    """Those whose chance lies in a band."""
    return found.where((found.said >= BANDS[band]) & (found.said < BANDS[band + 1] + 1e-9 * (band == 4)))


def in_lead(found: Cases, group: int) -> Cases:
    """Those so many days ahead."""
    low, high = LEADS[group]
    return found.where((found.lead >= low) & (found.lead < high))


def days_between(first: int, last: int, every: int) -> list[int]:
    """Days of the year (0 is 1 January) but for the first and last ones, which lack what comes with them."""
    return [d for d in range(first, last, every) if 3 <= d <= 365 - AFTER_D - 10]


def season(when: str, every: int) -> list[int]:
    """Mornings of a season of the recorded year."""
    parts = {"winter": ((3, 90),), "summer": ((121, 212),), "autumn": ((273, 352),)}
    return [d for a, b in parts[when] for d in days_between(a, b, every)]


@dataclass(frozen=True, slots=True)
class Row:
    """A band: how much was said, how often it held, the standard error of that, and how many."""

    said: float
    held: float
    error: float
    n: int


def row_of(found: Cases) -> Row | None:
    """A row of some cases, weeks taken as a whole in the error; None without cases."""
    n = found.said.size
    if not n:
        return None
    said, held = float(found.said.mean()), float(found.held.mean())
    # Starts of one week share their weather: their misses are summed before they are squared.
    block = found.day // 7
    sums = np.bincount(block, weights=found.held - found.said - (held - said))
    return Row(said, held, float(np.sqrt((sums**2).sum()) / n), n)


def table(found: Cases) -> list[Row | None]:
    """The five bands."""
    return [row_of(in_band(found, band)) for band in range(5)]


def brier(found: Cases) -> float:
    """Mean square of chance minus outcome."""
    return float(((found.said - found.held) ** 2).mean())
