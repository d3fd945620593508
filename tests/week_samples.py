"""Weeks of the demo's yard: under its own story, and under recorded weather (Newark 2013)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

from morning_samples import DEMO, FILES, at, entries, register, yard_of
from plan_samples import Yard
from weather_samples import NEWARK, recorded

from scheduler.planning.plan import TaskId
from scheduler.planning.week import Week
from scheduler.service import Asked, WeekAhead, week_ahead
from scheduler.settings import Position, YardFile
from scheduler.sources import Forecast, forecast_of
from scheduler.yard.entries import Entry
from scheduler.yard.facts import Register
from scheduler.yard.state import fold

DAY = timedelta(days=1)
# First days of stretches of the recorded year (1 is 2 January): autumn, winter, spring, summer.
RECORDED_DAYS = (285, 296, 303, 310, 317, 330, 95, 180)


def forecast(n: int, yard: YardFile | None = None) -> Forecast:
    """The stored forecast of the upland yard, as of its n-th morning."""
    when = at("upland", n)
    return forecast_of(yard or yard_of("upland"), when, DEMO / FILES["upland"][1], when - 2 * DAY / 24)


@lru_cache(maxsize=16)
def week(n: int = 2, **asked: Any) -> WeekAhead:
    """The week from the n-th morning on (2: Monday, 3: Tuesday)."""
    return week_of_yard(n, yard_of("upland"), **asked)


def week_of_yard(
    n: int,
    yard: YardFile,
    facts: Register | None = None,
    former: dict[TaskId, datetime] | None = None,
    weather: Forecast | None = None,
    **asked: Any,
) -> WeekAhead:
    """The same for a yard that was changed."""
    when = at("upland", n)
    found = week_ahead(
        yard, facts or register("upland", when), weather or forecast(n, yard), when, Asked(**asked), former
    )
    assert found is not None
    return found


def as_yard(week: Week) -> Yard:
    """Tasks, slots and rules of a week, as the checks of plans want them."""
    return Yard(list(week.work.tasks), list(week.work.slots), week.work.rules)


def with_entries(n: int, more: Sequence[Entry]) -> Register:
    """The register of a morning with some entries more."""
    return fold((*entries(), *more), at("upland", n))


@lru_cache(maxsize=2)
def newark(framed: bool = True) -> YardFile:
    """The demo's yard moved to where the recorded weather is from."""
    yard = yard_of("upland")
    there = yard.yard.model_copy(
        update={"place": Position(lat=NEWARK[0], lon=NEWARK[1], altitude_m=5.0), "zone": "America/New_York"}
    )
    if not framed:  # nothing to set up and to clean
        there = there.model_copy(
            update={"minutes": there.minutes.model_copy(update={"set_up": 0, "clean_up": 0})}
        )
    return yard.model_copy(update={"yard": there})


@lru_cache(maxsize=16)
def recorded_week(day: int, framed: bool = True) -> WeekAhead:
    """The demo's logs under recorded weather of a stretch of days, told as if it were the demo's Monday."""
    given = recorded(day - 3, 20)
    when = at("upland", 2)
    start = (when - 3 * DAY).replace(hour=0)
    source = replace(given.provenance, issued=when - 2 * DAY / 24)
    weather = replace(given, start=start, provenance=source)
    base = forecast(2)
    return week_of_yard(2, newark(framed), weather=replace(base, weather=weather, why=None))
