"""The chance of a day of the frost year, by the yard's own rules on hours made from past days."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from scheduler import settings as house
from scheduler.planning.climate import Climate, climate_of
from scheduler.settings import CoatingChoice, Place, Position, RuleChange, Site, Yard, YardFile
from scheduler.weather.history import YEAR, DailyRecord, FrostCalendar
from scheduler.weather.series import WeatherError

F = NDArray[np.float64]
NUMBERS = house.history_numbers()
FIRST = date(2001, 7, 1)
WINTER = FrostCalendar(14)  # its frost year begins on 16 July
DAY = timedelta(days=1)


def yard(
    latitude: float = 48.0, longitude: float = 8.2, zone: str = "Europe/Berlin", **more: Any
) -> YardFile:
    hours = more.pop("hours", {})
    place = Position(lat=latitude, lon=longitude, altitude_m=400.0)
    return YardFile(yard=Yard(place=place, zone=zone, hours=hours), **more)


def record(
    low: float | F = 8.0, high: float | F = 20.0, rain: float | F = 0.0, years: int = 2
) -> DailyRecord:
    days = 366 * years + 40

    def row(values: float | F) -> F:
        return np.broadcast_to(np.asarray(values, float), (days,)).copy()

    return DailyRecord(FIRST, row(low), row(high), row(rain))


def few(
    days: DailyRecord, here: YardFile | None = None, at: int = 100, count: int = 3, **more: Any
) -> Climate:
    """Some days of the frost year only: quick."""
    return climate_of(days, here or yard(), NUMBERS, calendar=WINTER, days=(at, at + count), **more)


def share(found: Climate) -> float:
    return float(np.nanmean(found.passed))


def test_mild_dry_days_pass_frosty_and_wet_ones_do_not() -> None:
    assert share(few(record())) > 0.95
    assert share(few(record(low=-8.0, high=3.0))) < 0.05
    assert share(few(record(rain=25.0))) < 0.2
    assert share(few(record(low=1.0, high=3.0))) < 0.05  # colder on the wood than the pail asks for


def test_only_the_days_asked_for_are_known_and_the_chance_is_never_none_or_certain() -> None:
    found = few(record(), at=100, count=3)
    assert found.passed.shape == (2, YEAR)
    assert np.flatnonzero(np.isfinite(found.passed).all(axis=0)).tolist() == [100, 101, 102]
    chance = found.chance()
    assert 0.5 < chance[101] < 1.0
    assert chance[101] == found.on(WINTER.date_of(101, found.starts[0]))
    assert np.isnan(chance[200])
    assert 0.0 < few(record(low=-8.0, high=3.0)).chance()[101] < 0.5
    assert (found.hours[:, 100:103] >= 5.0).all()


def test_more_years_make_a_surer_chance() -> None:
    two, three = few(record(years=2)), few(record(years=3))
    assert len(three.starts) == len(two.starts) + 1
    assert three.chance()[101] > two.chance()[101]


def test_a_roof_lets_a_wet_day_pass_and_a_frost_free_place_a_cold_one() -> None:
    wet, cold = record(low=9.0, high=15.0, rain=25.0), record(low=-3.0, high=5.0)
    assert share(few(wet, place=Place(name="lean-to", roofed=True))) > share(few(wet)) + 0.5
    assert share(few(cold, place=Place(name="cellar", frost_free=True))) > share(few(cold)) + 0.5


def test_a_day_with_rain_that_nobody_knows_is_unknown_and_so_are_the_days_before_it() -> None:
    days = record(low=3.0, high=9.0)
    rain = days.rain_mm.copy()
    n = (WINTER.date_of(104, WINTER.start_of(date(2001, 10, 1))) - FIRST).days
    rain[n] = np.nan
    found = few(replace(days, rain_mm=rain), at=100, count=8)
    first_year = np.isnan(found.passed[0, 100:108])
    assert first_year[4]
    assert not first_year[[0, 6, 7]].any()
    assert np.isfinite(found.passed[1, 100:108]).all()
    assert np.isfinite(found.chance()[104])  # the other year and the days around tell


def test_a_roof_does_not_ask_for_the_rain() -> None:
    days = record()
    rain = np.where(np.arange(days.days) < 10, 0.0, np.nan)
    found = few(replace(days, rain_mm=rain), place=Place(name="lean-to", roofed=True))
    assert share(found) > 0.9


@pytest.mark.parametrize("longitude", [8.2, 172.0])
def test_the_other_half_of_the_earth_is_the_same_year_half_a_year_later(longitude: float) -> None:
    """Latitude turned over, the record moved by half a year: the same numbers, nearly the same chance."""
    turn = np.arange(366 * 2 + 40) / 365.25 * 2.0 * np.pi
    low = 5.0 - 8.0 * np.cos(turn - (WINTER.coldest + 184) / 365.25 * 2.0 * np.pi)
    rain = np.where(np.arange(low.size) % 4 == 0, 3.0, 0.0)
    north = record(low, low + 8.0, rain)
    south = replace(north, first=north.first + 182 * DAY)
    other = FrostCalendar((WINTER.coldest + 182) % YEAR)
    zone = "Europe/Berlin" if longitude < 90.0 else "Pacific/Auckland"
    for at in (90, 120):
        one = climate_of(north, yard(48.0, longitude, zone), NUMBERS, calendar=WINTER, days=(at, at + 8))
        two = climate_of(south, yard(-48.0, longitude, zone), NUMBERS, calendar=other, days=(at, at + 8))
        assert len(one.starts) == len(two.starts)
        assert abs(share(one) - share(two)) < 0.12
        assert 0.1 < share(one) < 0.99


def test_days_that_begin_at_midnight_utc_give_the_same_chance_on_the_far_side_of_the_earth() -> None:
    """The archive's UTC days run from noon to noon there: what is meant by a day is the sun's."""
    rng = np.random.default_rng(2)
    low = rng.normal(3.0, 3.0, 366 * 2 + 40)
    days = record(low, low + 9.0)
    here = yard(-44.0, 172.0, "Pacific/Auckland")
    own, utc = (replace(days, utc_offset_h=h) for h in (None, 0.0))
    one, two = (few(r, here, at=20, count=20) for r in (own, utc))
    assert abs(share(one) - share(two)) < 0.12
    assert np.nanmax(one.hours) == np.nanmax(two.hours)  # the same daylight


def test_a_day_is_the_same_whatever_window_it_stands_in() -> None:
    rng = np.random.default_rng(7)
    low = rng.normal(3.0, 4.0, 366 * 2 + 40)
    days = record(low, low + rng.gamma(3.0, 3.0, low.size), np.where(rng.random(low.size) < 0.3, 4.0, 0.0))
    one, two = few(days, at=100, count=10).passed[:, 105:110], few(days, at=105, count=5).passed[:, 105:110]
    assert np.abs(one - two).mean() < 0.02  # the log's heat of three days before is all that differs


def test_the_same_record_gives_the_same_chance_twice() -> None:
    days = record(low=2.0, high=9.0, rain=1.0)
    assert np.array_equal(few(days).passed, few(days).passed, equal_nan=True)


def test_somebody_is_there_on_every_day_within_the_hours_of_the_week() -> None:
    days = record()
    free = few(days).hours[:, 100]
    sunday = few(days, yard(hours={"sat": "12:00-14:00", "sun": "closed"})).hours[:, 100]
    assert (sunday == 2.0).all()  # starts at 12 and 13; the next would end after 14
    assert (free > 4.0).all()


def test_the_yards_rules_and_coating_count() -> None:
    cold = record(low=-1.5, high=6.0)
    plain = few(cold)
    brave = few(
        cold, yard(coating=CoatingChoice(least_application_c=-5.0, freezes_at_c=-15.0, least_film_c=-5.0))
    )
    assert share(brave) > share(plain) + 0.3
    shut = few(record(), yard(rules={"daylight": RuleChange(below=5000.0)}))
    assert share(shut) == 0.0


def test_a_yard_in_a_hollow_has_fewer_days() -> None:
    clear = record(low=-2.0, high=8.0)
    flat, hollow = (few(clear, yard(site=Site(hollow=h))) for h in (0.0, -5.0))
    assert share(hollow) < share(flat)


def test_where_the_sun_does_not_rise_no_day_passes() -> None:
    dark = few(record(), yard(75.0, 20.0, "Europe/Oslo"), at=180)
    assert (dark.passed[:, 180:183] == 0.0).all()


def test_a_record_without_a_whole_frost_year_or_without_rain_is_refused() -> None:
    short = DailyRecord(FIRST, np.zeros(300), np.full(300, 8.0), np.zeros(300))
    with pytest.raises(WeatherError, match="here one runs from 2001-07-16 to 2002-07-15"):
        climate_of(short, yard(), NUMBERS, calendar=WINTER)
    with pytest.raises(WeatherError, match="does not show a whole year"):
        climate_of(short, yard(), NUMBERS)
    with pytest.raises(WeatherError, match="no rain"):
        climate_of(replace(record(), rain_mm=np.full(772, np.nan)), yard(), NUMBERS)
    with pytest.raises(WeatherError, match="no maxima"):
        climate_of(replace(record(), max_c=np.full(772, np.nan)), yard(), NUMBERS)


def test_of_a_long_record_the_latest_years_count() -> None:
    found = few(record(years=4), count=1)
    assert [start.year for start in found.starts] == [2001, 2002, 2003, 2004]
    latest = climate_of(record(years=4), yard(), {**NUMBERS, "years": 2.0}, calendar=WINTER, days=(100, 101))
    assert latest.starts == found.starts[-2:]


@lru_cache(maxsize=1)
def counted() -> Climate:
    passed = np.zeros((3, YEAR))
    passed[0, [10, 50, 100]] = 1.0
    passed[1, [60, 61]] = 0.6
    passed[2, 300] = np.nan
    starts = tuple(date(2000 + n, 7, 16) for n in range(3))
    return Climate(WINTER, starts, passed, passed * 8.0, 7)


def test_good_days_left_and_the_last_of_them_are_counted_year_by_year() -> None:
    found = counted()
    assert found.left_after(10).tolist() == [2, 2, 0]
    assert found.left_after(10, until=100).tolist() == [1, 2, 0]
    assert found.left_after(10, least=0.8).tolist() == [2, 0, 0]
    assert found.last_good().tolist() == [100.0, 61.0, -np.inf]
    assert found.last_good(until=100).tolist() == [50.0, 61.0, -np.inf]


def test_the_chance_is_the_mean_of_years_and_near_days() -> None:
    passed = np.zeros((9, YEAR))
    passed[:, :] = np.linspace(0.0, 0.8, 9)[:, None]
    flat = Climate(WINTER, (FIRST,) * 9, passed, passed, 7)
    assert np.allclose(flat.chance(), (0.4 * 9 + 0.5) / 10)
    one = Climate(WINTER, (FIRST,) * 9, np.where(np.arange(YEAR) == 3, 1.0, 0.0) + 0.0 * passed, passed, 7)
    spread = one.chance()
    assert np.flatnonzero(spread > spread.min()).tolist() == [*range(11), *range(361, 365)]
