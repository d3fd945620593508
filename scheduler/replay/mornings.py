"""What the program and the rules of thumb see on each morning of a season. Pure.

A morning does not depend on what was coated before it, so it is worked out once for all policies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduler.coating.film import FilmClocks
from scheduler.planning.chances import DayChances, Judged, chances_by_day
from scheduler.planning.climate import Climate
from scheduler.planning.decision import Chances
from scheduler.planning.outlook import Outlook
from scheduler.planning.worth import horizon_of
from scheduler.replay.policies import Thumb, first_slot
from scheduler.replay.truth import Slots
from scheduler.rules.engine import PASS, UNKNOWN, judge, series_of
from scheduler.rules.hours import Openness
from scheduler.settings import YardFile, doubt, thresholds, worth_numbers
from scheduler.weather.fine import PER_HOUR, fine_grid
from scheduler.weather.members import Beliefs, Members
from scheduler.weather.series import HOUR, Weather

__all__ = ["Morning", "Seen", "morning_of", "seen_of"]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741  -- index arrays


@dataclass(frozen=True, eq=False)
class Seen:
    """What the program makes of a forecast.

    ``slots`` are the best slot of each forecast day (-1: none), ``said`` its chance; ``ahead`` is the mean
    of the members, one row.
    """

    days: DayChances
    slots: I
    said: F
    ahead: Weather


@dataclass(frozen=True, eq=False)
class Morning:
    """One morning: its forecast, today's slot of each rule of thumb (-1: none), what the program sees.

    ``learned`` is what it would see had it learned the yard.
    """

    day: int
    hour: int
    told: Weather
    thumbs: I
    seen: Seen
    learned: Seen | None = None


def seen_of(
    yard: YardFile,
    told: Sequence[Weather],
    at: datetime,
    slots: Slots,
    start: datetime,
    days_ahead: float,
    beliefs: Sequence[Beliefs | None] | None = None,
    climate: Climate | None = None,
) -> list[Seen]:
    """The chances of the days ahead under several forecasts of one morning, by the parts of a real morning.

    Behind the last day of ``slots`` nobody is in the yard until spring, and the yard has said so.

    Members, faces, clocks and rules are those of ``today``; all forecasts are worked out in one
    go, and only the slots are looked at instead of every quarter hour.
    """
    held = beliefs or [None] * len(told)
    outlooks = [Outlook(yard, one, at, mine) for one, mine in zip(told, held, strict=True)]
    shift = (told[0].start - start) / HOUR
    hour = (at - start) / HOUR
    mine = np.flatnonzero((slots.hours >= hour) & (slots.hours < hour + 24.0 * days_ahead))
    steps = ((slots.hours[mine] - shift) * PER_HOUR).astype(np.int64)
    outcome = _outcomes(outlooks, steps)
    worth = worth_numbers()
    until = horizon_of(at, yard.yard.place.lat, worth).end
    where = {int(step): int(slot) for step, slot in zip(steps, mine, strict=True)}
    out = []
    for outlook, rows in zip(outlooks, outcome, strict=True):
        known = (rows != UNKNOWN).sum(axis=0)
        chance = ((rows == PASS).sum(axis=0) + 0.5) / (known + 1.0)
        few = rows.shape[0] - known > outlook.limits.unknown_share * rows.shape[0]
        judged = Judged(steps, rows, np.zeros(steps.size, bool), np.where(few, np.nan, chance))
        every = chances_by_day(
            judged, outlook, until, doubt(), climate=climate, default=worth["later_chance"]
        )
        days = _closed_after(slots.days[-1], every)
        best = np.array(
            [where.get(round(outlook.step_of(day)), -1) for day in days.starts[: days.told]], np.int64
        )
        out.append(Seen(days, best, days.chances.plain()[: days.told], _mean(outlook.members.weather)))
    return out


def _closed_after(last: date, days: DayChances) -> DayChances:
    """No chance behind the day on which the yard closes."""
    open_ = np.array([day <= last for day in days.days[days.told :]], bool)
    return replace(days, chances=Chances(days.chances.holds, np.where(open_, days.chances.later, 0.0)))


def _mean(w: Weather) -> Weather:
    keep = (w.air_c, w.dew_point_c, w.wind_ms, w.rain_mm)
    return Weather(w.start, *(values.mean(axis=0, keepdims=True) for values in keep))


def _outcomes(outlooks: Sequence[Outlook], steps: I) -> list[NDArray[np.int8]]:
    """Outcome of each slot in each member of each outlook, (members, slots)."""
    first = outlooks[0]
    members = [one.members for one in outlooks]
    names = [name for name, _ in members[0].weather.arrays()]
    arrays: dict[str, Any] = {n: np.concatenate([getattr(m.weather, n) for m in members]) for n in names}
    parts = (np.concatenate([getattr(m, n) for m in members]) for n in ("drying", "shelter", "film_k"))
    fine = fine_grid(
        Members(replace(members[0].weather, **arrays), *parts), first.yard.yard.place.altitude_m or 0.0
    )
    place = first.faces_under(fine)
    milestones = FilmClocks(place, first.coating, first.physics["drying_wetness"]).milestones(steps)
    always = Openness(np.full(fine.steps, 24 * 60.0), np.ones(fine.steps))
    found = judge(
        first.rules,
        series_of(place, always),
        place,
        milestones,
        steps,
        first.limits.brush_steps,
        fine.rain_unknown,
    )
    rows = found.outcome()
    return np.split(rows, np.cumsum([m.count for m in members])[:-1])


def morning_of(
    yard: YardFile,
    told: Sequence[Weather],
    day: int,
    hour: int,
    slots: Slots,
    start: datetime,
    thumbs: Sequence[Thumb],
    days_ahead: float,
    climate: Climate | None = None,
    learned: Sequence[Beliefs] | None = None,
) -> list[Morning]:
    """A morning from its forecasts, one for each world; ``learned``: what each yard has taught."""
    today = slots.of(day)
    today = today[slots.hours[today] >= hour]
    inside = np.asarray(slots.hours[today] - (told[0].start - start) / HOUR, np.float64)
    rain = thresholds().rain_hour.value
    at = start + timedelta(hours=hour)
    seen = seen_of(yard, told, at, slots, start, days_ahead, climate=climate)
    wise: list[Seen | None] = [None] * len(told)
    if learned is not None:
        wise = [*seen_of(yard, told, at, slots, start, days_ahead, learned, climate)]
    out = []
    for one, mine, more in zip(told, seen, wise, strict=True):
        firsts = (first_slot(rule, one, inside, rain) for rule in thumbs)
        found = np.array([-1 if slot is None else today[slot] for slot in firsts], np.int64)
        out.append(Morning(day, hour, one, found, mine, more))
    return out
