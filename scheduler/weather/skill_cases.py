"""From kept forecasts and what was seen later to cases that can be judged (see ``skill``).

Pure. A case is one night (frost, or rain by the keeper's word) or one day
(rain by a record of hours), with the chance that the newest forecast of each
lead had given it.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from math import inf, isfinite, sqrt
from statistics import NormalDist
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scheduler.settings import Doubt
from scheduler.weather.nights import night_of
from scheduler.weather.series import HOUR, Array, Weather
from scheduler.weather.skill import (
    LEADS,
    Case,
    Kind,
    ScoreError,
    event_of_count,
    event_of_normal,
    normal_below,
)

__all__ = ["ChanceOf", "Events", "cases_of", "chance_of_any", "plain_chance"]

DAY = timedelta(days=1)

# What a forecast says of a stretch: chance of frost, chance of rain, mean lowest air in °C; None: unknown.
ChanceOf = Callable[[Weather, datetime, datetime], tuple[float | None, float | None, float | None]]


@dataclass(frozen=True, slots=True)
class Events:
    """What counts as frost and as rain, and when.

    A night runs from the hour ``evening`` to ``morning`` of the yard's clock;
    it has frost when its lowest air is at or below ``frost_c``. A day runs from
    ``day_from`` to midnight; it has rain when an hour brings ``wet_mm``. Of the
    hours of either at least the share ``known`` must have been observed.
    """

    evening: float
    morning: float
    wet_mm: float
    frost_c: float = 0.0
    day_from: float = 6.0
    known: float = 0.9

    def night(self, morning: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
        """The night that ends on a morning, in UTC."""
        return _clock(morning - DAY, self.evening, zone), _clock(morning, self.morning, zone)

    def day(self, day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
        """The part of a day that is looked at for rain, in UTC."""
        return _clock(day, self.day_from, zone), _clock(day + DAY, 0.0, zone)

    def morning_of(self, when: datetime, zone: ZoneInfo) -> date:
        """The morning of the night in which a time lies; from the evening hour on it is the next day's."""
        return night_of(when, zone, self.evening)


@dataclass(frozen=True, slots=True)
class _Fact:
    """What came in a stretch of time."""

    kind: Kind
    start: datetime
    end: datetime
    happened: bool
    low_c: float | None = None


def cases_of(
    forecasts: Sequence[Weather],
    observed: Weather | None,
    *,
    zone: ZoneInfo,
    events: Events,
    chance_of: ChanceOf,
    frost_seen: Iterable[tuple[datetime, bool]] = (),
    rain_seen: Iterable[tuple[datetime, bool]] = (),
    minima_seen: Iterable[tuple[datetime, float]] = (),
    leads: Sequence[tuple[float, float]] = LEADS,
) -> tuple[Case, ...]:
    """Every night and day of which something is known, beside what had been forecast of it.

    For each lead group the newest forecast made before the stretch began that
    falls in it and knows the stretch, once. A forecast that does not say when
    it was made is not used. Of frost the keeper's thermometer counts before the
    keeper's word, and that before ``observed``. What the keeper says of rain is
    of a night, so it makes a case of that night; ``observed`` makes one of the
    day. Stretches that nobody knows enough of make no case.

    Parameters
    ----------
    observed
        Hours of a station or a sensor, one member, NaN unknown; hours that were filled do not count as
        observed.
    frost_seen, rain_seen, minima_seen
        What the keeper told, each with a time in the night it is of; the last word on a night holds.
    """
    made = sorted(
        (w for w in forecasts if w.provenance.issued is not None and w.provenance.issued_known),
        key=lambda w: w.provenance.issued or w.start,
    )
    issues = [w.provenance.issued or w.start for w in made]
    lows, frosts, rains = (
        dict(_by_night(told, events, zone)) for told in (minima_seen, frost_seen, rain_seen)
    )
    facts = [*_nights(observed, lows, frosts, events, zone), *_days(observed, events, zone)]
    facts += [_Fact("rain", *events.night(morning, zone), bool(wet)) for morning, wet in rains.items()]
    facts.sort(key=lambda fact: (fact.start, fact.kind))
    return tuple(
        case
        for fact in facts
        for lead in leads
        if (case := _case(fact, lead, made, issues, chance_of)) is not None
    )


def _case(
    fact: _Fact,
    lead: tuple[float, float],
    made: Sequence[Weather],
    issues: Sequence[datetime],
    chance_of: ChanceOf,
) -> Case | None:
    first, last = (bisect_right(issues, fact.start - days * DAY) for days in (lead[1], lead[0]))
    for k in range(last - 1, first - 1, -1):
        if made[k].start > fact.start or made[k].end < fact.end:
            continue
        frost, rain, low = chance_of(made[k], fact.start, fact.end)
        said = frost if fact.kind == "frost" else rain
        if said is None:
            continue
        ahead = (fact.start - issues[k]) / DAY
        if fact.kind == "rain":
            low = None
        return Case(fact.kind, ahead, said, fact.happened, fact.start, low, fact.low_c)
    return None


def _by_night(
    told: Iterable[tuple[datetime, Any]], events: Events, zone: ZoneInfo
) -> Iterator[tuple[date, Any]]:
    for when, value in told:
        if isfinite(value):
            yield events.morning_of(when, zone), value


def _nights(
    observed: Weather | None,
    lows: Mapping[date, float],
    frosts: Mapping[date, bool],
    events: Events,
    zone: ZoneInfo,
) -> Iterator[_Fact]:
    """Frost or none in every night of which enough is known."""
    for morning in sorted({*lows, *frosts, *_dates(observed, zone)}):
        start, end = events.night(morning, zone)
        low = lows.get(morning)
        if low is None and observed is not None:
            air = _cut(observed.air_c, observed, start, end, closed=True)[0]
            if observed.filled is not None:
                air[_cut(observed.filled[None, :], observed, start, end, closed=True)[0] == 1.0] = np.nan
            low = float(np.nanmin(air)) if _enough(air, events.known) else None
        frost = frosts.get(morning)
        if morning in lows or (frost is None and low is not None):
            frost = low is not None and low <= events.frost_c
        if frost is not None:
            yield _Fact("frost", start, end, bool(frost), low)


def _days(observed: Weather | None, events: Events, zone: ZoneInfo) -> Iterator[_Fact]:
    """Rain or none on every day that was observed enough."""
    if observed is None:
        return
    for day in _dates(observed, zone):
        start, end = events.day(day, zone)
        rain = _cut(observed.rain_mm, observed, start, end, closed=False)[0]
        if _enough(rain, events.known):
            yield _Fact("rain", start, end, bool(np.nanmax(rain) >= events.wet_mm))


def _dates(observed: Weather | None, zone: ZoneInfo) -> list[date]:
    """The days of the yard's clock that a record touches."""
    if observed is None:
        return []
    if observed.members != 1:
        raise ScoreError(f"What was observed is one row of hours; this one has {observed.members}.")
    first, last = (when.astimezone(zone).date() for when in (observed.start, observed.end))
    return [first + timedelta(days=n) for n in range((last - first).days + 1)]


def _enough(values: Array, share: float) -> bool:
    return values.size > 0 and float(np.isfinite(values).mean()) >= share


def _clock(day: date, hour: float, zone: ZoneInfo) -> datetime:
    whole, part = divmod(round(hour * 60), 60)
    return datetime.combine(day, time(whole, part), zone).astimezone(UTC)


def _cut(
    values: Array | NDArray[np.bool_], weather: Weather, start: datetime, end: datetime, *, closed: bool
) -> Array:
    """The rows of a stretch, its end's instant too when ``closed``; NaN where the weather has none."""
    first = int(np.ceil(weather.hour_of(start) - 1e-9))
    stop = int(np.floor(weather.hour_of(end) + 1e-9)) + closed
    out = np.full((values.shape[0], max(stop - first, 0)), np.nan)
    a, b = max(first, 0), min(stop, weather.hours)
    if b > a:
        out[:, a - first : b - first] = values[:, a:b]
    return out


# ------------------------------------------------------------------ what a forecast says, plainly


def plain_chance(doubt: Doubt, events: Events) -> ChanceOf:
    """What a forecast says by itself, without the yard's own offset: for :func:`cases_of`.

    Members are counted, (k + 1/2) / (n + 1). A single forecast is taken as the
    mean of a normal law about its lowest, with the spread of its lead from
    [air] of config/doubt.toml or the source's own; its hours of rain, by the
    hits and false alarms of [rain] and the chance given, whichever is more, are
    linked as the members' are. A stretch with an unknown hour is unknown.
    """

    def chance(
        weather: Weather, start: datetime, end: datetime
    ) -> tuple[float | None, float | None, float | None]:
        frost, low = _said_of_frost(weather, start, end, doubt["air"], events)
        return frost, _said_of_rain(weather, start, end, doubt["rain"], events), low

    return chance


def _said_of_frost(
    weather: Weather, start: datetime, end: datetime, table: Mapping[str, Any], events: Events
) -> tuple[float | None, float | None]:
    air = _whole(_cut(weather.air_c, weather, start, end, closed=True), events.known)
    if air is None:
        return None, None
    lows = air.min(axis=1)
    low = float(lows.mean())
    if weather.members > 1:
        return float(event_of_count((lows <= events.frost_c).sum(), lows.size)), low
    row = int(np.ceil(weather.hour_of(start) - 1e-9)) + int(air[0].argmin())
    sigma = float(np.interp(_lead(weather, row), table["days"], table["sigma"]))
    if weather.air_sigma_k is not None and isfinite(weather.air_sigma_k[0, row]):
        sigma = float(np.hypot(weather.air_sigma_k[0, row], table["point_sigma"]))
    return float(event_of_normal(low, sigma, events.frost_c)), low


def _said_of_rain(
    weather: Weather, start: datetime, end: datetime, table: Mapping[str, Any], events: Events
) -> float | None:
    rain = _whole(_cut(weather.rain_mm, weather, start, end, closed=False), events.known)
    if rain is None:
        return None
    if weather.members > 1:
        return float(event_of_count((rain >= events.wet_mm).any(axis=1).sum(), rain.shape[0]))
    first = int(np.ceil(weather.hour_of(start) - 1e-9))
    lead = _lead(weather, first) + np.arange(rain.shape[1]) * (HOUR / DAY)
    hit, stray = (np.interp(lead, table["days"], table[name]) for name in ("hit", "false_alarm"))
    given = np.full(rain.shape[1], np.nan)
    if weather.rain_chance is not None:
        given = _cut(weather.rain_chance, weather, start, end, closed=False)[0]
    given = np.where(np.isfinite(given), given, stray)
    return chance_of_any(np.maximum(given, np.where(rain[0] >= events.wet_mm, hit, 0.0)), table["link"])


def _whole(rows: Array, share: float) -> Array | None:
    """The members that know all hours; None where too few do."""
    known = np.isfinite(rows).all(axis=1) if rows.shape[1] else np.zeros(rows.shape[0], bool)
    return rows[known] if known.any() and known.mean() >= share else None


def _lead(weather: Weather, row: int) -> float:
    """Days from the making of a forecast to the start of a row."""
    issued = weather.provenance.issued or weather.start
    return max((weather.start + row * HOUR - issued) / DAY, 0.0)


GRID = np.linspace(-5.0, 5.0, 251)  # middles of cells of a normal score, fine against an hour's change
CELL = float(GRID[1] - GRID[0])
TOPS = GRID + CELL / 2.0


@lru_cache(maxsize=4)
def _step(link: float) -> Array:
    """How the scores of one cell (columns) spread over the cells an hour later."""
    tops = normal_below((TOPS[:, None] - link * GRID[None, :]) / sqrt(1.0 - link**2))
    return np.asarray(np.diff(tops, axis=0, prepend=0.0))


def chance_of_any(hourly: ArrayLike, link: float) -> float:
    """Chance of at least one wet hour from the chance of each, hours linked as normal scores.

    An hour is wet when its score is under the limit that its chance sets;
    scores of neighbouring hours correlate by ``link`` (0 to 1), as those of the
    drawn members do. Found by following the scores of the hours so far dry over
    a grid; kept between the greatest chance and their sum, which hold for any link.
    """
    chances = np.asarray(hourly, float).ravel()
    if not ((chances >= 0.0) & (chances <= 1.0)).all() or not 0.0 <= link < 1.0:
        raise ScoreError("Chances of hours lie between 0 and 1, and their link is at least 0 and below 1.")
    if chances.size == 0:
        return 0.0
    dry, step, normal = normal_below(TOPS) - normal_below(TOPS - CELL), _step(link), NormalDist()
    for k, p in enumerate(chances):
        limit = normal.inv_cdf(p) if 0.0 < p < 1.0 else (inf if p >= 1.0 else -inf)
        dry = (step @ dry if k else dry) * np.clip((TOPS - limit) / CELL, 0.0, 1.0)
    return float(np.clip(1.0 - dry.sum(), chances.max(), min(1.0, chances.sum())))
