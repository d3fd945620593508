"""What is left of the season: past years and the forecast joined without a seam, in both hemispheres."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from scheduler.planning.climate import Climate
from scheduler.planning.season import Season, forecast_weight, season_of
from scheduler.weather.history import HALF, YEAR, FirstFreezes, FrostCalendar

F = NDArray[np.float64]
NORTH = FrostCalendar(14)  # coldest in mid-January, its frost year begins in mid-July
SOUTH = FrostCalendar(196)
DAY = timedelta(days=1)
YEARS = 20


def climate(calendar: FrostCalendar = NORTH, last: int = 140, first: int = 240, spread: int = 10) -> Climate:
    """Every day good until about ``last``, none until about ``first`` of the frost year."""
    rng = np.random.default_rng(4)
    passed = np.ones((YEARS, YEAR))
    for row in passed:
        row[
            last + int(rng.integers(-spread, spread + 1)) : first + int(rng.integers(-spread, spread + 1))
        ] = 0.0
    starts = tuple(calendar.start_of(date(1995 + n, 12, 1)) for n in range(YEARS))
    return Climate(calendar, starts, passed, 6.0 * passed, 7)


def freezes(calendar: FrostCalendar = NORTH, days: F | None = None) -> tuple[FirstFreezes, ...]:
    found = np.linspace(70, 110, YEARS) if days is None else days
    starts = tuple(calendar.start_of(date(1995 + n, 12, 1)) for n in range(YEARS))
    return (
        FirstFreezes(0.0, calendar, starts, found, ()),
        FirstFreezes(-2.0, calendar, starts, found + 10, ()),
    )


def at(number: int, calendar: FrostCalendar = NORTH, **more: object) -> Season:
    day = calendar.date_of(number, calendar.start_of(date(2025, 12, 1)))
    return season_of(climate(calendar), freezes(calendar), day, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("calendar", [NORTH, SOUTH])
def test_it_says_the_same_of_both_hemispheres(calendar: FrostCalendar) -> None:
    here = at(100, calendar)
    assert here.days_left.p10 <= here.days_left.p50 <= here.days_left.p90
    assert here.days_left.p50 == pytest.approx(40, abs=4)
    assert here.spans_left.p50 == 1.0
    assert here.hours_left.p50 == pytest.approx(6.0 * here.days_left.p50, rel=0.1)
    assert here.sure_until is not None
    assert (here.sure_until - here.day).days == pytest.approx(29, abs=3)
    assert here.end - here.day == (HALF - 100) * DAY
    assert here.first_good.p50 is not None
    assert (here.first_good.p50 - here.day).days == pytest.approx(140, abs=5)
    assert not here.all_winter


def test_the_last_good_day_comes_weeks_behind_the_first_freeze() -> None:
    here = at(60)
    frost = here.freezes[0.0]
    assert frost is not None
    assert frost.p50 is not None
    assert here.last_good.p50 is not None
    assert here.last_good.p50 - frost.p50 > 30 * DAY


def test_a_year_that_has_not_frozen_yet_looks_at_the_years_that_had_not_either() -> None:
    early, late = at(60).freezes[0.0], at(105).freezes[0.0]
    assert early is not None
    assert late is not None
    assert early.p50 is not None
    assert late.p50 is not None
    assert late.p50 > early.p50
    assert at(80, frozen=frozenset({0.0})).freezes[0.0] is None
    assert at(80, frozen=frozenset({0.0})).freezes[-2.0] is not None


def test_where_it_hardly_ever_freezes_most_years_have_no_date() -> None:
    rare = np.full(YEARS, np.inf)
    rare[:4] = 120.0
    here = season_of(climate(), freezes(days=rare), NORTH.date_of(60, date(2025, 7, 16)))
    frost = here.freezes[0.0]
    assert frost is not None
    assert frost.p10 is not None
    assert frost.p50 is None
    never = season_of(climate(), freezes(days=np.full(YEARS, np.inf)), date(2025, 10, 1))
    assert never.freezes[0.0] is None


def test_where_the_season_has_no_end_it_says_all_winter_and_where_it_is_over_nothing_is_left() -> None:
    mild = season_of(climate(last=200, first=201, spread=0), freezes(), date(2025, 10, 1))
    assert mild.all_winter
    over = at(170)
    assert (over.days_left.p90, over.none_left, over.sure_until) == (0.0, 1.0, None)
    assert over.last_good.p50 is None
    assert over.first_good.p50 is not None


def test_from_mid_winter_on_the_next_season_is_meant() -> None:
    here = at(HALF + 20)
    frost = here.freezes[0.0]
    assert frost is not None
    assert frost.p50 is not None
    assert (frost.p50 - here.day).days == pytest.approx(YEAR - HALF - 20 + 90, abs=3)
    assert here.days_left.p50 > 200


def test_a_forecast_of_bad_days_takes_them_off_and_a_day_it_does_not_know_is_the_places_own() -> None:
    none = np.zeros((10, 7))
    full = np.ones(7)
    plain, worse = at(100), at(100, holds=none, weight=full)
    assert plain.days_left.p50 - worse.days_left.p50 == pytest.approx(7.0)
    unknown = at(100, holds=np.full((10, 7), np.nan), weight=full)
    assert unknown.days_left.p50 == plain.days_left.p50


def test_there_is_no_seam_between_forecast_and_past() -> None:
    """A forecast that says what the past says changes nothing, whatever the weights."""
    plain = at(100)
    same = at(100, holds=np.ones((10, 10)), weight=np.linspace(1.0, 0.0, 10))
    assert same.days_left.p50 == plain.days_left.p50
    weights = forecast_weight(
        np.arange(1, 15.0), np.array([1.2, 1.8, 4.5, 5.0]), np.array([0.0, 1, 10, 14]), 5.0
    )
    assert (np.diff(weights) <= 0).all()
    assert weights[0] == pytest.approx(0.87, abs=0.01)
    assert weights[-1] == 0.0


@given(st.integers(0, YEAR - 1))
def test_on_any_day_of_the_year_the_numbers_are_in_order(number: int) -> None:
    here = at(number)
    for one in (here.days_left, here.spans_left, here.hours_left):
        assert 0.0 <= one.p10 <= one.p50 <= one.p90
    for dates in (here.last_good, here.first_good):
        told = [d for d in (dates.p10, dates.p50, dates.p90) if d is not None]
        assert told == sorted(told)
        assert all(d >= here.day for d in told)
    assert here.end > here.day
