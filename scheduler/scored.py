"""Were we right? Kept forecasts beside what was read and seen later. An edge: reads kept answers."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime, timedelta

import numpy as np

from scheduler.planning.looks import Grid, Watched
from scheduler.settings import YardFile, doubt, learning, physics, thresholds
from scheduler.weather.fetch import newest_first, weather_of
from scheduler.weather.history_read import read_hours_csv
from scheduler.weather.nights import in_the_yard
from scheduler.weather.sensor import Reading, read_sensor
from scheduler.weather.series import HOUR, Provenance, Weather, WeatherError
from scheduler.weather.skill import Case, Record, dry_cases, normal_below, record
from scheduler.weather.skill_cases import Events, cases_of, plain_chance
from scheduler.yard.facts import Register

__all__ = ["observed_hours", "scores_of"]

MOST = 1000  # kept answers that are read; some milliseconds each
A_DAY = 2  # of one day: the first and the last
BINS = 5  # of chances said


def scores_of(
    yard: YardFile,
    register: Register,
    at: datetime,
    coats: list[tuple[Watched, np.ndarray]],
    observed: Weather | None = None,
) -> Record:
    """The yard's record until ``at``.

    What the keeper read and saw is held against the forecast with the yard file's cold air in it; the hours
    of a station or sensor (``observed``) against the forecast as it came. ``coats`` are those that were
    looked at, with their hours until dry on the grid of drying factors.
    """
    hours, place = learning()["offset"], yard.yard.place
    events = Events(hours["evening"], hours["morning"], thresholds().rain_hour.value)
    forecasts = list(_kept(yard, at))
    local = [
        in_the_yard(one, yard.site.hollow, place.lat, place.lon, physics(), doubt()) for one in forecasts
    ]
    plain = plain_chance(doubt(), events)
    told = cases_of(
        local,
        None,
        zone=yard.zone,
        events=events,
        chance_of=plain,
        frost_seen=register.frost_seen,
        rain_seen=register.rain_seen,
        minima_seen=register.minima_seen,
    )
    seen: tuple[Case, ...] = ()
    if observed is not None:
        seen = cases_of(forecasts, observed, zone=yard.zone, events=events, chance_of=plain)
    least = learning()["scores"]["least_cases"]
    return record([*told, *seen, *_dried(coats, at)], least=least, bins=BINS)


def _kept(yard: YardFile, at: datetime) -> Iterator[Weather]:
    """Kept answers that can be read for this place, the newest first, of each day the last and the first."""
    by_day: dict[str, list[Weather]] = {}
    for n, one in enumerate(newest_first(yard.cache_folder, at)):
        if n >= MOST:
            break
        with suppress(WeatherError):
            weather = weather_of(one.load(), yard.yard.place, names=yard.forecast.names)
            mine = by_day.setdefault(f"{one.fetched:%Y-%m-%d}", [])
            if len(mine) >= A_DAY:
                mine.pop()  # one between the first and the last
            mine.append(weather)
    for several in by_day.values():
        yield from several


def _dried(coats: list[tuple[Watched, np.ndarray]], at: datetime) -> tuple[Case, ...]:
    """Of coats that were looked at: the chance, before any look, that they would be clear by then."""
    numbers = learning()["drying"]
    grid = Grid.of(numbers)
    prior = np.exp(
        -0.5 * (grid.log_drying / doubt()["drying"]["log_sd"]) ** 2
        - 0.5 * (grid.film_k / doubt()["film"]["sd"]) ** 2
    )
    prior /= prior.sum()
    told = []
    for coat, hours in coats:
        for looked, clear in ((coat.milky_h, False), (coat.clear_h, True)):
            when = None if not looked else coat.start + timedelta(hours=looked)
            if looked and when is not None and when <= at and hours.size == prior.size:
                z = (np.log(looked) - np.log(np.maximum(hours, 0.05))) / numbers["look_log_sd"]
                told.append((when, float(np.clip(prior @ normal_below(z), 0.0, 1.0)), clear))
    return dry_cases(told)


def observed_hours(body: bytes, yard: YardFile) -> Weather:
    """Hours of a station or sensor: an hourly CSV, a station's reports, or a logger's CSV.

    Raises
    ------
    WeatherError
        When it is none of them; the text says what is wrong and where.
    """
    with suppress(WeatherError, UnicodeDecodeError):
        return read_hours_csv(body.decode("utf-8-sig"))
    return _hourly(read_sensor(body, yard.zone))


def _hourly(readings: tuple[Reading, ...]) -> Weather:
    """The nearest reading within half an hour of each hour; rain of the hour that a report ends."""
    start = readings[0].time.replace(minute=0, second=0, microsecond=0)
    count = int((readings[-1].time - start) / HOUR) + 2
    air, rain, gap = np.full((1, count), np.nan), np.full((1, count), np.nan), np.full(count, np.inf)
    for one in readings:
        when = (one.time - start) / HOUR
        row = round(when)
        if one.air_c is not None and abs(when - row) <= min(0.5, gap[row]):
            air[0, row], gap[row] = one.air_c, abs(when - row)
        if one.rain_mm is not None and when > 0:
            # A report told at the hour or shortly before is of the hour that ends there.
            ended = max(round(when) - 1, 0)
            rain[0, ended] = np.nanmax([rain[0, ended], one.rain_mm])
    none = np.full((1, count), np.nan)
    return Weather(start, air, none, none.copy(), rain, provenance=Provenance("observed"))
