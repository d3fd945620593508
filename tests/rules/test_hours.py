"""Light and hands on the grid: clocks that go forward and back, closed days, polar days, foreign zones."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from weather_samples import exactly, weather

from scheduler.rules.hours import Openness, openness, wall_time
from scheduler.settings import Position, Yard, assumptions
from scheduler.weather.fine import Fine, fine_grid
from scheduler.weather.sun import daylight

# A change of the clocks in each: zone, its day, the wall times around it
GAPS = [
    ("Europe/Berlin", date(2026, 3, 29), time(2), time(3), "2026-03-29T01:00:00+00:00"),
    ("America/New_York", date(2026, 3, 8), time(2), time(3), "2026-03-08T07:00:00+00:00"),
    ("Australia/Lord_Howe", date(2025, 10, 5), time(2), time(2, 30), "2025-10-04T15:30:00+00:00"),
    ("Pacific/Auckland", date(2025, 9, 28), time(2), time(3), "2025-09-27T14:00:00+00:00"),
    ("America/Sao_Paulo", date(2017, 10, 15), time(0), time(1), "2017-10-15T03:00:00+00:00"),
]


@pytest.mark.parametrize(("zone", "day", "begins", "ends", "first"), GAPS, ids=[g[0] for g in GAPS])
def test_a_time_that_does_not_exist_is_the_first_moment_after_the_gap(
    zone: str, day: date, begins: time, ends: time, first: str
) -> None:
    minutes = (ends.hour - begins.hour) * 60 + ends.minute - begins.minute
    for n in range(minutes):
        clock = (datetime.combine(day, begins) + timedelta(minutes=n)).time()
        found = wall_time(day, clock, ZoneInfo(zone))
        assert found.astimezone(UTC) == datetime.fromisoformat(first), clock
        assert found.replace(tzinfo=None).time() == ends


def test_a_day_that_was_left_out_begins_with_the_next() -> None:
    """Samoa went without 30 December 2011."""
    found = wall_time(date(2011, 12, 30), time(9), ZoneInfo("Pacific/Apia"))
    assert found.astimezone(UTC) == datetime(2011, 12, 30, 10, tzinfo=UTC)
    assert found.date() == date(2011, 12, 31)


FOLDS = [
    ("Europe/Berlin", date(2025, 10, 26), time(2, 30), "2025-10-26T00:30:00+00:00"),
    ("America/New_York", date(2025, 11, 2), time(1, 15), "2025-11-02T05:15:00+00:00"),
    ("Australia/Lord_Howe", date(2025, 4, 6), time(1, 45), "2025-04-05T14:45:00+00:00"),
]


@pytest.mark.parametrize(("zone", "day", "clock", "first"), FOLDS, ids=[f[0] for f in FOLDS])
def test_a_time_that_comes_twice_is_the_first_of_the_two(
    zone: str, day: date, clock: time, first: str
) -> None:
    assert wall_time(day, clock, ZoneInfo(zone)).astimezone(UTC) == datetime.fromisoformat(first)


ZONES = ["Europe/Berlin", "America/St_Johns", "Asia/Kathmandu", "Pacific/Chatham", "UTC", "Africa/Casablanca"]


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(ZONES), st.dates(date(2000, 1, 1), date(2035, 12, 31)), st.times())
def test_a_wall_time_that_exists_comes_back_as_it_was(zone: str, day: date, clock: time) -> None:
    clock = clock.replace(microsecond=0)
    there = wall_time(day, clock, ZoneInfo(zone)).astimezone(UTC).astimezone(ZoneInfo(zone))
    local = datetime.combine(day, clock)
    assert there.replace(tzinfo=None) >= local
    if there.replace(tzinfo=None) != local:  # only in a gap, and never by more than its length
        assert there.replace(tzinfo=None) - local <= timedelta(hours=1)


# ------------------------------------------------------------------ the grid


def grid(start: datetime, hours: int = 72) -> Fine:
    return fine_grid(exactly(weather(hours, start=start)))


def yard(lat: float = 48.0, lon: float = 8.2, **more: object) -> Yard:
    return Yard(place=Position(lat=lat, lon=lon), **more)


def opened(fine: Fine, who: Yard, zone: str) -> Openness:
    return openness(fine, who, ZoneInfo(zone), assumptions())


def runs(fine: Fine, open_: Openness, zone: str) -> list[tuple[str, str]]:
    """Stretches with hands, in wall time."""
    padded = np.concatenate([[0.0], open_.hands, [0.0]]) > 0
    edges = np.flatnonzero(np.diff(padded.astype(int)))
    told = [fine.time_at(k).astimezone(ZoneInfo(zone)).strftime("%a %H:%M") for k in edges]
    return list(zip(told[::2], told[1::2], strict=True))


def test_entered_hours_hold_in_wall_time_over_a_change_of_the_clocks() -> None:
    fine = grid(datetime(2025, 10, 25, tzinfo=UTC))
    hours = {"sat": "08:00-16:30", "sun": "08:00-16:30", "mon": "closed"}
    open_ = opened(fine, yard(hours=hours, people=2), "Europe/Berlin")
    assert runs(fine, open_, "Europe/Berlin") == [("Sat 08:00", "Sat 16:30"), ("Sun 08:00", "Sun 16:30")]
    assert set(open_.hands) == {0.0, 2.0}
    assert (open_.hands > 0).sum() == 2 * 34


def test_a_step_that_lies_only_partly_in_the_hours_is_closed() -> None:
    fine = grid(datetime(2025, 11, 3, tzinfo=UTC), 24)
    open_ = opened(fine, yard(hours={"mon": "09:07-10:05"}), "UTC")
    assert runs(fine, open_, "UTC") == [("Mon 09:15", "Mon 10:00")]


def test_without_entered_hours_the_day_runs_from_nine_to_an_hour_before_sunset() -> None:
    fine = grid(datetime(2025, 11, 3, tzinfo=UTC), 24)
    (stretch,) = runs(fine, opened(fine, yard(), "Europe/Berlin"), "Europe/Berlin")
    sun = daylight(date(2025, 11, 3), 48.0, 8.2, ZoneInfo("Europe/Berlin"))
    assert sun is not None
    end = (sun[1] - timedelta(hours=1)).astimezone(ZoneInfo("Europe/Berlin"))
    assert stretch[0] == "Mon 09:00"
    assert timedelta(0) <= end - datetime.combine(end.date(), time.fromisoformat(stretch[1][4:]), end.tzinfo)
    assert stretch[1] == "Mon 16:00"  # sunset 17:04


def test_hours_over_a_whole_year_touch_no_closed_day() -> None:
    fine = grid(datetime(2025, 1, 1, tzinfo=UTC), 24 * 365)
    open_ = opened(fine, yard(hours={"sat": "10:00-12:00"}), "America/New_York")
    found = runs(fine, open_, "America/New_York")
    assert set(found) == {("Sat 10:00", "Sat 12:00")}
    assert len(found) == 52


def test_light_is_the_minutes_left_until_sunset_and_none_at_night() -> None:
    fine = grid(datetime(2025, 11, 3, tzinfo=UTC), 48)
    light = opened(fine, yard(), "Europe/Berlin").light_min
    sun = daylight(date(2025, 11, 3), 48.0, 8.2, ZoneInfo("Europe/Berlin"))
    assert sun is not None
    noon = 12 * 4
    left = (sun[1] - fine.time_at(noon + 0.5)).total_seconds() / 60.0
    assert light[noon] == pytest.approx(left, abs=0.1)
    assert light[0] == light[22 * 4] == 0.0
    day = light[(light > 0) & (np.arange(fine.steps) < 96)]
    assert all(b < a for a, b in pairwise(day))
    assert 0.0 < day[-1] <= 15.0


@pytest.mark.parametrize(
    ("place", "zone"),
    [((45.0, -122.0), "UTC"), ((-41.3, 174.8), "UTC"), ((64.8, -147.7), "America/Anchorage")],
)
def test_where_the_sun_sets_after_midnight_the_light_still_runs_out(
    place: tuple[float, float], zone: str
) -> None:
    fine = grid(datetime(2025, 6, 20, tzinfo=UTC), 72)
    light = opened(fine, yard(*place), zone).light_min
    evening = (light > 0.0) & (np.concatenate([light[1:], [0.0]]) == 0.0)
    ends = light[evening[: fine.steps]]
    assert ends.size >= 2
    assert (ends[:-1] <= 15.0).all()  # it falls to nothing, and does not break off in the middle of the day
    assert light.max() < 24 * 60.0


def test_the_polar_day_has_light_and_the_polar_night_none() -> None:
    summer = opened(grid(datetime(2025, 6, 20, tzinfo=UTC)), yard(70.0, 25.0), "Europe/Oslo").light_min
    winter = opened(grid(datetime(2025, 12, 20, tzinfo=UTC)), yard(70.0, 25.0), "Europe/Oslo").light_min
    assert (summer[40:60] == 24 * 60.0).all()
    assert (winter == 0.0).all()
