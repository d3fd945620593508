"""What the program and the rules of thumb see on each morning of a season. Pure.

A morning does not depend on what was coated before it, so it is worked out once for all policies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.chances import DayChances, day_chances
from scheduler.planning.climate import Climate
from scheduler.planning.outlook import Outlook
from scheduler.planning.worth import horizon_of
from scheduler.replay.policies import Thumb, first_slot
from scheduler.replay.truth import Slots
from scheduler.settings import YardFile, doubt, thresholds, worth_numbers
from scheduler.weather.fine import PER_HOUR
from scheduler.weather.members import Beliefs
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
    """One morning: its forecast, what the rules of thumb say of today (a slot or -1), what the program sees."""

    day: int
    hour: int
    told: Weather
    thumbs: I
    seen: Seen


def seen_of(
    yard: YardFile,
    told: Weather,
    at: datetime,
    slots: Slots,
    start: datetime,
    days_ahead: float,
    beliefs: Beliefs | None = None,
    climate: Climate | None = None,
) -> Seen:
    """The chances of the days ahead, by the code that answers on a real morning."""
    outlook = Outlook(yard, told, at, beliefs)
    shift = (told.start - start) / HOUR
    hour = (at - start) / HOUR
    mine = np.flatnonzero((slots.hours >= hour) & (slots.hours < hour + 24.0 * days_ahead))
    steps = ((slots.hours[mine] - shift) * PER_HOUR).astype(np.int64)
    assessment = outlook.of_some(steps)
    worth = worth_numbers()
    until = horizon_of(at, yard.yard.place.lat, worth).end
    days = day_chances(
        outlook, None, False, until, doubt(), climate=climate, default=worth["later_chance"], assessment=assessment
    )
    best = np.full(days.told, -1, np.int64)
    where = {int(step): int(slot) for step, slot in zip(steps, mine, strict=True)}
    for n in range(days.told):
        best[n] = where.get(round(outlook.step_of(days.starts[n])), -1)
    w = outlook.members.weather
    mean = {name: values.mean(axis=0, keepdims=True) for name, values in w.arrays()}
    keep = ("air_c", "dew_point_c", "wind_ms", "rain_mm")
    ahead = Weather(w.start, *(mean[name] for name in keep))
    return Seen(days, best, days.chances.plain()[: days.told], ahead)


def morning_of(
    yard: YardFile,
    told: Weather,
    day: int,
    hour: int,
    slots: Slots,
    start: datetime,
    thumbs: Sequence[Thumb],
    days_ahead: float,
    climate: Climate | None = None,
) -> Morning:
    """A morning from its forecast."""
    today = slots.of(day)
    today = today[slots.hours[today] >= hour]
    inside = slots.hours[today] - (told.start - start) / HOUR
    rain = thresholds().rain_hour.value
    found = np.full(len(thumbs), -1, np.int64)
    for n, rule in enumerate(thumbs):
        slot = first_slot(rule, told, inside, rain)
        found[n] = -1 if slot is None else today[slot]
    seen = seen_of(yard, told, start + timedelta(hours=hour), slots, start, days_ahead, climate=climate)
    return Morning(day, hour, replace(told), found, seen)
