"""Frost years, first freezes, and days and hours that give each other back."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from weather_samples import START, by_day, unknown_in, weather

from scheduler import settings as house
from scheduler.weather.history import (
    YEAR,
    DailyRecord,
    FirstFreezes,
    FrostCalendar,
    daily_of,
    first_freezes,
    frost_calendar,
)
from scheduler.weather.history_hours import day_offset, hours_from_days
from scheduler.weather.series import Weather, WeatherError

F = NDArray[np.float64]
NUMBERS = house.history_numbers()
DAY = timedelta(days=1)


def record(first: date, low: F, high: F | None = None, rain: F | None = None, **more: float) -> DailyRecord:
    return DailyRecord(
        first,
        low,
        low + 8.0 if high is None else high,
        np.zeros(low.size) if rain is None else rain,
        **more,  # type: ignore[arg-type]
    )


def years(first: date, coldest: date, count: int = 6, mean: float = 5.0, swing: float = 10.0) -> DailyRecord:
    """Minima on a cosine of the year that is lowest on ``coldest``."""
    days = (date(first.year + count, first.month, first.day) - first).days
    turn = (np.arange(days) - (coldest - first).days) / 365.2425
    return record(first, mean - swing * np.cos(2.0 * np.pi * turn))


# ---------------------------------------------------------------- the frost year


@pytest.mark.parametrize(
    "coldest", [date(2001, 1, 15), date(2001, 7, 20), date(2001, 2, 27), date(2001, 12, 31)]
)
def test_the_frost_year_begins_half_a_year_from_the_coldest_day(coldest: date) -> None:
    calendar = frost_calendar(years(date(2000, 1, 1), coldest))
    start = calendar.start_of(coldest)
    assert abs((calendar.date_of(YEAR // 2 + 1, start) - coldest).days) <= 1
    assert 181 <= (coldest - start).days <= 185


@given(st.integers(0, 364), st.dates(date(1900, 1, 1), date(2090, 12, 31)))
@settings(max_examples=300, deadline=None)
def test_every_day_has_a_number_in_its_frost_year_and_the_number_its_date(coldest: int, day: date) -> None:
    calendar = FrostCalendar(coldest)
    start, number = calendar.start_of(day), calendar.number_of(day)
    assert start <= day < calendar.date_of(YEAR, start)
    assert calendar.start_of(calendar.date_of(YEAR, start)) == calendar.date_of(YEAR, start)
    assert calendar.number_of(start) == 0
    back = calendar.date_of(number, start)
    leap_day = (day.month, day.day) == (2, 29)
    assert back == (day + DAY if leap_day else day)


def test_noise_and_gaps_do_not_move_the_frost_year_far() -> None:
    clean = years(date(1990, 3, 1), date(1990, 1, 20), 12)
    rng = np.random.default_rng(1)
    noisy = np.where(rng.random(clean.days) < 0.3, np.nan, clean.min_c + rng.normal(0.0, 5.0, clean.days))
    apart = frost_calendar(record(clean.first, noisy)).coldest - frost_calendar(clean).coldest
    assert abs(apart) <= 5


def test_a_record_without_a_whole_year_has_no_frost_year() -> None:
    half = years(date(2000, 1, 1), date(2000, 1, 15), 1)
    with pytest.raises(WeatherError, match="does not show a whole year"):
        frost_calendar(record(half.first, half.min_c[:200]))


# ---------------------------------------------------------------- first freezes

WINTER = FrostCalendar(14)  # coldest in the middle of January


def season(*freezes: tuple[int, float] | None, mild: float = 5.0) -> DailyRecord:
    """Frost years in a row, each mild but for one day: its number and its minimum."""
    first = WINTER.start_of(date(2001, 1, 1))
    last = first
    for _ in freezes:
        last = WINTER.date_of(YEAR, last)
    low = np.full((last - first).days, mild)
    start = first
    for one in freezes:
        if one is not None:
            low[(WINTER.date_of(one[0], start) - first).days] = one[1]
        start = WINTER.date_of(YEAR, start)
    return record(first, low)


def test_minus_two_means_minus_two_or_below_and_not_28_fahrenheit() -> None:
    cold = season((100, -1.9), (100, -2.0), (100, -2.2))
    assert first_freezes(cold, -2.0, WINTER).days.tolist() == [np.inf, 100.0, 100.0]
    assert first_freezes(cold, (28.0 - 32.0) / 1.8, WINTER).share == 0.0  # the trap: 28 °F is stored as -2.2


def test_a_yard_colder_than_the_station_freezes_earlier_and_rounding_hides_nothing() -> None:
    cold = season((100, -1.9))
    assert first_freezes(cold, -2.0, WINTER, shift_c=-0.1).days.tolist() == [100.0]
    assert first_freezes(cold, -2.0, WINTER, shift_c=0.1).share == 0.0


def test_a_freeze_in_the_new_year_belongs_to_the_frost_year_that_began_before() -> None:
    found = first_freezes(season((250, -3.0), (110, -3.0)), 0.0, WINTER)
    assert found.days.tolist() == [250.0, 110.0]
    assert [start.year for start in found.starts] == [2000, 2001]


def test_years_without_a_freeze_count_and_dates_beyond_their_share_are_none() -> None:
    found = first_freezes(season((90, -1.0), None, (100, -1.0), (110, -1.0)), 0.0, WINTER)
    assert found.share == 0.75
    assert found.day(0.75) == 110
    assert found.quantile(0.375) == 100.0  # the middle of the years that freeze
    assert found.day(0.76) is None
    assert found.quantile(0.9, normal=True) is None
    assert found.by(364) == 0.75
    assert found.by(100) == 0.5


def test_a_place_that_never_freezes_has_no_dates() -> None:
    found = first_freezes(season(None, None), 0.0, WINTER)
    assert (found.share, found.day(0.1), found.normal(), found.band(0.5)) == (0.0, None, None, None)
    assert found.by(364) == 0.0
    assert found.within(100, 30) == 0.0


def test_a_place_that_always_freezes_does_so_on_the_first_day() -> None:
    found = first_freezes(season(None, None, mild=-5.0), 0.0, WINTER)
    assert found.days.tolist() == [0.0, 0.0]
    assert found.day(0.9) == 0
    assert found.within(0, 10) is None


@pytest.mark.parametrize(("missing", "usable"), [(10, True), (11, False)])
def test_a_year_with_more_than_ten_days_missing_before_its_freeze_is_not_used(
    missing: int, usable: bool
) -> None:
    cold = season((100, -1.0), (100, -1.0))
    low = cold.min_c.copy()
    low[80 : 80 + missing] = np.nan
    low[150:250] = np.nan  # after the freeze nothing matters
    found = first_freezes(record(cold.first, low), 0.0, WINTER)
    assert len(found.days) == (2 if usable else 1)
    assert (cold.first in found.unused) is not usable


def test_years_cut_off_at_the_ends_are_used_only_when_they_froze_before_the_cut() -> None:
    whole = season((100, -1.0), (100, -1.0), (100, -1.0))
    cut = record(whole.first + 50 * DAY, whole.min_c[50 : 365 + 365 + 120])
    found = first_freezes(cut, 0.0, WINTER)
    assert [start.year for start in found.starts] == [2001, 2002]  # the third froze before its end
    running = record(whole.first, whole.min_c[: 365 + 90])
    assert [start.year for start in first_freezes(running, 0.0, WINTER).starts] == [2000]


def test_a_record_without_one_usable_year_is_refused_and_says_why() -> None:
    with pytest.raises(WeatherError, match="more than 10 days are missing in each"):
        first_freezes(record(date(2001, 3, 1), np.full(60, 5.0)), 0.0, WINTER)


def test_of_a_long_record_the_latest_thirty_years_count() -> None:
    early, late = [(80, -1.0)] * 10, [(120, -1.0)] * 30
    assert set(first_freezes(season(*early, *late), 0.0, WINTER).days) == {120.0}
    assert len(first_freezes(season(*early, *late), 0.0, WINTER, latest=None).days) == 40


def freezes(*days: float) -> FirstFreezes:
    starts = tuple(date(2000 + n, 7, 16) for n in range(len(days)))
    return FirstFreezes(0.0, WINTER, starts, np.array(days), ())


def test_dates_are_percentiles_and_a_half_day_goes_to_the_earlier() -> None:
    found = freezes(90.0, 100.0, 110.0, 125.0)
    for p in (0.1, 0.5, 0.9):
        assert found.quantile(p) == pytest.approx(float(np.percentile([90, 100, 110, 125], 100 * p)))
    assert found.day(0.5) == 105
    assert freezes(90.0, 91.0).day(0.5) == 90
    assert freezes(90.0, 93.0).day(0.9) == 93


def test_the_normal_law_has_the_mean_and_the_sample_deviation_of_the_dates() -> None:
    law = freezes(90.0, 100.0, 110.0, np.inf).normal()
    assert law is not None
    assert (law.mean, law.stdev) == (100.0, 10.0)
    found = freezes(90.0, 100.0, 110.0, np.inf)
    assert found.quantile(0.375, normal=True) == pytest.approx(100.0)
    assert found.by(100, normal=True) == pytest.approx(0.375)
    assert freezes(90.0).normal() is None


def test_while_the_season_runs_the_chance_is_that_of_the_years_still_without_frost() -> None:
    """P = (F(d+k) - F(d)) / (1 - F(d))."""
    found = freezes(90.0, 100.0, 110.0, 120.0, np.inf)
    assert found.within(95, 10) == pytest.approx(1 / 4)
    assert found.within(100, 10) == pytest.approx(1 / 3)
    assert found.within(115, 200) == pytest.approx(1 / 2)
    law = NormalDist(105.0, float(np.std([90, 100, 110, 120], ddof=1)))
    expected = 0.8 * (law.cdf(110) - law.cdf(100)) / (1.0 - 0.8 * law.cdf(100))
    assert found.within(100, 10, normal=True) == pytest.approx(expected)


def test_the_band_of_a_date_holds_it_and_narrows_with_more_years() -> None:
    rng = np.random.default_rng(3)
    dates = np.rint(rng.normal(100.0, 10.0, 90))
    few, many = freezes(*dates[:10]), freezes(*dates)
    low, high = few.band(0.5) or (0.0, 0.0)
    assert high is not None
    assert low <= (few.quantile(0.5) or 0.0) <= high
    narrow = many.band(0.5)
    assert narrow is not None
    assert narrow[1] is not None
    assert narrow[1] - narrow[0] < 0.6 * (high - low)
    assert few.band(0.5) == few.band(0.5)


def test_the_band_has_no_upper_end_where_it_may_as_well_not_freeze() -> None:
    found = freezes(90.0, 95.0, 100.0, 105.0, np.inf, np.inf).band(0.6)
    assert found is not None
    assert found[1] is None


@pytest.mark.parametrize("shift", [181, 182, 183])
def test_a_record_moved_by_half_a_year_gives_the_same_frost_year_moved_by_half_a_year(shift: int) -> None:
    """As if the place lay in the other hemisphere: numbers of days stay, dates move."""
    rng = np.random.default_rng(5)
    here = years(date(1990, 1, 1), date(1990, 1, 20), 20)
    here = replace(here, min_c=here.min_c + rng.normal(0.0, 3.0, here.days))
    there = replace(here, first=here.first + shift * DAY)
    one, two = (first_freezes(r, 0.0, frost_calendar(r), latest=None) for r in (here, there))
    moved = (two.calendar.coldest - one.calendar.coldest) % YEAR
    assert abs(moved - shift) <= 1
    assert len(one.days) == len(two.days)
    assert np.abs(one.days - two.days).max() <= 2.0


# ---------------------------------------------------------------- days of hours


def test_days_of_hours_are_their_lowest_highest_and_sum() -> None:
    hourly = weather(96, air_c=by_day(2.0, 12.0), rain=0.5)
    days = daily_of(hourly, 0.0)
    assert days.days == 4
    assert days.first == START.date()
    assert np.allclose(days.min_c, 2.0)
    assert np.allclose(days.max_c, 12.0)
    assert np.allclose(days.rain_mm, 12.0)


@pytest.mark.parametrize(
    ("offset", "first", "count"), [(1.0, 2, 3), (-1.0, 1, 3), (-5.0, 1, 3), (12.0, 2, 3), (5.5, 2, 3)]
)
def test_days_begin_at_midnight_of_their_offset_and_half_days_are_left_off(
    offset: float, first: int, count: int
) -> None:
    hour = np.arange(96.0)
    days = daily_of(weather(96, air_c=hour), offset)
    assert (days.first, days.days) == (date(2025, 11, first), count)
    begin = datetime(2025, 11, first, tzinfo=UTC) - timedelta(hours=offset)
    assert days.min_c[0] == np.ceil((begin - START) / timedelta(hours=1))


def test_a_day_that_lacks_three_hours_or_one_of_rain_is_unknown() -> None:
    hourly = weather(72, air_c=by_day(2.0, 12.0))
    gaps = unknown_in(unknown_in(unknown_in(hourly, 3, 5, "air_c"), 30, 33, "air_c"), 60, 61, "rain_mm")
    days = daily_of(gaps, 0.0)
    assert np.isfinite(days.min_c).tolist() == [True, False, True]
    assert np.isfinite(days.rain_mm).tolist() == [True, True, False]


def test_less_than_a_day_of_hours_and_an_ensemble_are_refused() -> None:
    with pytest.raises(WeatherError, match="one whole day"):
        daily_of(weather(20), 0.0)
    two = weather(48)
    both = replace(two, **{name: np.repeat(values, 2, axis=0) for name, values in two.arrays()})
    with pytest.raises(ValueError, match="not of the members"):
        daily_of(both, 0.0)


# ---------------------------------------------------------------- hours of days


def random_record(seed: int, days: int = 20, offset: float | None = None) -> DailyRecord:
    rng = np.random.default_rng(seed)
    low = np.round(rng.normal(3.0, 6.0, days), 1)
    high = np.round(low + rng.gamma(2.0, 4.0, days), 1)
    rain = np.where(rng.random(days) < 0.5, np.round(rng.gamma(0.6, 8.0, days), 1), 0.0)
    return DailyRecord(date(2003, 10, 20), low, high, rain, utc_offset_h=offset)


def made(days: DailyRecord, latitude: float = 48.0, longitude: float = 8.2) -> Weather:
    return hours_from_days(days, latitude, longitude, NUMBERS)


@given(
    st.integers(0, 10**6),
    st.floats(-66.0, 66.0),
    st.floats(-180.0, 180.0),
    st.sampled_from([None, 0.0, -7.0, 5.5, 13.0]),
)
@settings(max_examples=150, deadline=None)
def test_hours_give_back_lowest_highest_and_rain_of_their_days_everywhere(
    seed: int, latitude: float, longitude: float, offset: float | None
) -> None:
    days = random_record(seed, offset=offset)
    hourly = made(days, latitude, longitude)
    back = daily_of(hourly, day_offset(days, longitude))
    assert (back.first, back.days) == (days.first, days.days)
    inner = slice(1, -1)  # the ends lack a neighbour on one side
    assert np.array_equal(back.min_c[inner], days.min_c[inner])
    assert np.array_equal(back.max_c[inner], days.max_c[inner])
    assert np.allclose(back.rain_mm, days.rain_mm)


def solar_hour(hourly: Weather, row: int, longitude: float) -> float:
    when = hourly.start + timedelta(hours=int(row))
    return (when.hour + when.minute / 60.0 + longitude / 15.0) % 24.0


@pytest.mark.parametrize("longitude", [8.2, -101.7, 172.6, -178.0])
@pytest.mark.parametrize("offset", [None, 0.0])
def test_the_lowest_is_at_sunrise_and_the_highest_at_three_by_the_sun(
    longitude: float, offset: float | None
) -> None:
    """At the equinox the sun rises at 6 everywhere."""
    steady = DailyRecord(date(2003, 9, 20), np.full(6, 2.0), np.full(6, 12.0), np.zeros(6), offset)
    hourly = made(steady, 48.0, longitude)
    cold = [solar_hour(hourly, row, longitude) for row in np.flatnonzero(hourly.air_c[0] == 2.0)]
    warm = [solar_hour(hourly, row, longitude) for row in np.flatnonzero(hourly.air_c[0] == 12.0)]
    assert len(cold) == len(warm) == 6
    assert cold == pytest.approx([6.0] * 6, abs=0.6)
    assert warm == pytest.approx([15.0] * 6, abs=0.6)


def test_in_winter_the_lowest_comes_later_than_in_summer_and_the_sun_may_stay_down() -> None:
    def coldest(day: date, latitude: float) -> float:
        steady = DailyRecord(day, np.full(3, 2.0), np.full(3, 12.0), np.zeros(3), 0.0)
        hourly = made(steady, latitude, 0.0)
        return solar_hour(hourly, int(np.flatnonzero(hourly.air_c[0] == 2.0)[1]), 0.0)

    june, december = date(2003, 6, 20), date(2003, 12, 20)
    assert coldest(june, 52.0) == 4.0
    assert coldest(december, 52.0) == 8.0
    assert coldest(june, -52.0) == 8.0
    assert 0.0 <= coldest(december, 75.0) <= 12.0
    assert 0.0 <= coldest(june, 75.0) <= 12.0


def test_the_evening_cools_fast_and_the_night_slowly() -> None:
    steady = DailyRecord(date(2003, 9, 20), np.full(4, 0.0), np.full(4, 10.0), np.zeros(4), 0.0)
    air = made(steady, 48.0, 0.0).air_c[0, 24 + 15 : 48 + 6]
    assert (np.diff(air) < 0.0).all()
    assert air[0] - air[5] > 2.0 * (air[-6] - air[-1])


def test_a_cold_front_passes_at_midnight_for_no_day_leaves_its_own_two_numbers() -> None:
    low, high = np.array([5.0, 5.0, -8.0, -8.0]), np.array([15.0, 15.0, 1.0, 1.0])
    days = DailyRecord(date(2003, 9, 20), low, high, np.zeros(4), 0.0)
    air = made(days, 48.0, 0.0).air_c[0].reshape(4, 24)
    assert air[1].min() == 5.0
    assert air[2].max() == 1.0


def test_what_hangs_on_an_unknown_day_is_unknown_and_no_more() -> None:
    days = random_record(4, offset=0.0)
    low, high, rain = days.min_c.copy(), days.max_c.copy(), days.rain_mm.copy()
    low[7], high[12], rain[15] = np.nan, np.nan, np.nan
    hourly = made(replace(days, min_c=low, max_c=high, rain_mm=rain), 48.0, 0.0)
    air = np.isnan(hourly.air_c[0].reshape(-1, 24)).sum(axis=1)
    assert (air[7], air[12]) >= (15, 15)
    assert air[[3, 4, 5, 9, 10, 14, 15, 16, 17]].sum() == 0
    assert np.isnan(hourly.rain_mm[0].reshape(-1, 24)).sum(axis=1).tolist() == [0] * 15 + [24] + [0] * 4
    assert np.isnan(hourly.dew_point_c[0]).sum() >= np.isnan(hourly.air_c[0]).sum()


def test_the_ends_of_a_record_are_unknown_before_the_first_and_after_the_last_turn() -> None:
    air = made(random_record(4, offset=0.0), 48.0, 0.0).air_c[0]
    assert np.isnan(air[0])
    assert np.isnan(air[-1])
    assert np.isfinite(air[10:-12]).all()


@given(st.integers(0, 10**6))
@settings(max_examples=50, deadline=None)
def test_the_air_is_never_under_its_dew_point_and_cloud_is_a_share(seed: int) -> None:
    hourly = made(random_record(seed))
    known = np.isfinite(hourly.air_c) & np.isfinite(hourly.dew_point_c)
    assert (hourly.dew_point_c <= hourly.air_c)[known].all()
    assert hourly.cloud is not None
    cloud = hourly.cloud[np.isfinite(hourly.cloud)]
    assert ((cloud >= 0.0) & (cloud <= 1.0)).all()
    assert (hourly.wind_ms > 0.0).all()


def test_the_dew_point_is_the_minimum_on_a_wet_day_and_two_kelvin_less_on_a_dry_one() -> None:
    """FAO-56 eq 48, and its correction for dry country."""
    low, rain = np.full(6, 4.0), np.array([0.0, 0.0, 5.0, 5.0, 0.0, 0.0])
    hourly = made(record(date(2003, 9, 20), low, rain=rain, utc_offset_h=0.0), 48.0, 0.0)
    at_dawn = hourly.dew_point_c[0, np.flatnonzero(hourly.air_c[0] == 4.0)]
    assert at_dawn.tolist() == [2.0, 2.0, 4.0, 4.0, 2.0, 2.0]


def test_a_wide_range_is_a_clear_day_a_narrow_one_an_overcast_one() -> None:
    def noon(spread: float) -> tuple[float, float]:
        low = np.full(5, 5.0)
        hourly = made(record(date(2003, 9, 20), low, low + spread, utc_offset_h=0.0), 48.0, 0.0)
        assert hourly.cloud is not None
        assert hourly.sun_wm2 is not None
        return float(hourly.cloud[0, 60]), float(hourly.sun_wm2[0, 60])

    wide, narrow = noon(22.0), noon(1.5)
    assert wide[0] < 0.2
    assert narrow[0] > 0.95
    assert wide[1] > 2.0 * narrow[1]


def test_rain_stands_in_more_hours_the_more_it_is_and_the_hours_stand_together() -> None:
    amounts = np.repeat([0.1, 1.0, 5.0, 20.0, 60.0], 200)
    low = np.full(amounts.size, 5.0)
    hourly = made(record(date(2003, 1, 1), low, rain=amounts, utc_offset_h=0.0), 48.0, 0.0)
    by = hourly.rain_mm[0].reshape(5, 200, 24)
    count = (by > 0.0).sum(axis=2).mean(axis=1)
    assert count[0] == 1.0
    assert (np.diff(count) > 0.0).all()
    assert by[1:][by[1:] > 0.0].min() >= 0.2
    wet = by[2] > 0.0
    follows = (wet[:, 1:] & wet[:, :-1]).sum() / wet[:, :-1].sum()
    assert 0.5 < follows < 0.85  # Newark 2013: 0.72


def test_a_days_rain_falls_in_the_same_hours_whatever_stands_before_it_in_the_record() -> None:
    days = random_record(9)
    tail = DailyRecord(days.first + 5 * DAY, days.min_c[5:], days.max_c[5:], days.rain_mm[5:])
    assert np.array_equal(made(days).rain_mm[0, 120:], made(tail).rain_mm[0])
    assert np.array_equal(made(days).air_c[0, 144:-24], made(tail).air_c[0, 24:-24])


def test_a_stations_days_follow_the_sun_of_the_place_and_an_archives_their_own_offset() -> None:
    days = random_record(2)
    assert day_offset(days, -101.7) == -7.0
    assert made(days, 40.0, -101.7).start == datetime(2003, 10, 20, 7, tzinfo=UTC)
    assert day_offset(replace(days, utc_offset_h=0.0), -101.7) == 0.0
    assert made(replace(days, utc_offset_h=5.5), 20.0, 78.0).start == datetime(
        2003, 10, 19, 18, 30, tzinfo=UTC
    )


def test_a_record_needs_three_columns_of_one_length() -> None:
    with pytest.raises(ValueError, match="one length"):
        DailyRecord(date(2000, 1, 1), np.zeros(3), np.zeros(3), np.zeros(2))
    with pytest.raises(ValueError, match="at least one day"):
        DailyRecord(date(2000, 1, 1), np.zeros(0), np.zeros(0), np.zeros(0))
