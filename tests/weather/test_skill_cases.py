"""From kept forecasts and what was seen later to cases: which night, which forecast, and what is left out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from weather_samples import by_day, weather

from scheduler.settings import doubt, learning, thresholds
from scheduler.weather.series import Weather
from scheduler.weather.skill import Case, ScoreError
from scheduler.weather.skill_cases import Events, cases_of, chance_of_any, plain_chance

BERLIN = ZoneInfo("Europe/Berlin")
KOLKATA = ZoneInfo("Asia/Kolkata")
EVENTS = Events(
    learning()["offset"]["evening"], learning()["offset"]["morning"], thresholds().rain_hour.value
)
MORNING = date(2025, 11, 5)
NIGHT = datetime(2025, 11, 4, 23, tzinfo=UTC)  # midnight in Berlin
DUSK = datetime(2025, 11, 4, 17, tzinfo=UTC)  # 18 h in Berlin
DAWN = datetime(2025, 11, 5, 8, tzinfo=UTC)  # 9 h
LOOK = plain_chance(doubt(), EVENTS)


def forecast(issued: datetime, low: float = 2.0, *, hours: int = 240, rain: float = 0.0) -> Weather:
    """Hours from the midnight before it was made; coldest at 4 h UTC."""
    start = issued.replace(hour=0)
    made = weather(hours, air_c=by_day(low, low + 10.0, 16.0), rain=rain, start=start)
    return made.from_source(issued=issued, issued_known=True)


def observed(days: int = 2, *, low: float = -1.0, rain: float = 0.0) -> Weather:
    """A station's hours from 4 November 0 h UTC on."""
    return weather(
        24 * days, air_c=by_day(low, low + 10.0, 16.0), rain=rain, start=datetime(2025, 11, 4, tzinfo=UTC)
    )


def cases(
    forecasts: list[Weather],
    seen: Weather | None = None,
    *,
    zone: ZoneInfo = BERLIN,
    chance_of: Callable = LOOK,  # type: ignore[type-arg]
    **told: object,
) -> tuple[Case, ...]:
    return cases_of(forecasts, seen, zone=zone, events=EVENTS, chance_of=chance_of, **told)  # type: ignore[arg-type]


def of(found: tuple[Case, ...], kind: str, start: datetime | None = None) -> list[Case]:
    return [case for case in found if case.kind == kind and start in (None, case.at)]


# ------------------------------------------------------------------ which night, which forecast


def test_a_night_runs_from_evening_to_morning_of_the_yards_clock() -> None:
    assert EVENTS.night(MORNING, BERLIN) == (DUSK, DAWN)
    assert EVENTS.morning_of(NIGHT, BERLIN) == MORNING
    assert EVENTS.morning_of(DUSK, BERLIN) == MORNING
    assert EVENTS.morning_of(DUSK - timedelta(minutes=1), BERLIN) == date(2025, 11, 4)
    begin, end = EVENTS.night(date(2025, 10, 26), BERLIN)  # the clocks go back
    assert end - begin == timedelta(hours=16)


def test_a_forecast_and_the_keepers_thermometer_make_a_case() -> None:
    made = forecast(datetime(2025, 11, 4, 5, tzinfo=UTC))
    (case,) = cases([made], minima_seen=[(NIGHT, -0.5)])
    assert (case.kind, case.at, case.happened) == ("frost", DUSK, True)
    assert case.lead_days == pytest.approx(0.5)
    assert (case.forecast_c, case.seen_c) == (pytest.approx(2.0), -0.5)
    sigma = np.interp(23 / 24, doubt()["air"]["days"], doubt()["air"]["sigma"])  # coldest at 4 h
    assert case.said == pytest.approx(stats.norm.cdf(0.0, 2.0, sigma))


def test_of_each_lead_the_newest_forecast_counts_once() -> None:
    made = [forecast(DUSK - timedelta(hours=h), low=float(h)) for h in (1, 3, 12, 25, 40, 60, 100, 130, 200)]
    found = cases(made[::-1], minima_seen=[(NIGHT, 3.0)])
    leads = [round(case.lead_days * 24) for case in found]
    assert leads == [1, 25, 60, 100, 130, 200]
    assert [case.forecast_c for case in found] == pytest.approx([1, 25, 60, 100, 130, 200])
    assert not any(case.happened for case in found)


def test_a_forecast_made_after_the_evening_is_no_forecast_of_that_night() -> None:
    late = forecast(DUSK + timedelta(hours=1))
    assert cases([late], minima_seen=[(NIGHT, 1.0)]) == ()
    on_time = forecast(DUSK)
    assert len(cases([on_time], minima_seen=[(NIGHT, 1.0)])) == 1


def test_a_day_ahead_belongs_to_the_next_group() -> None:
    found = cases([forecast(DUSK - timedelta(days=1))], minima_seen=[(NIGHT, 1.0)])
    assert [case.lead_days for case in found] == [1.0]


def test_where_the_newest_does_not_know_the_night_the_one_before_it_counts() -> None:
    short = forecast(DUSK - timedelta(hours=2), hours=20)
    whole = forecast(DUSK - timedelta(hours=8), low=5.0)
    (case,) = cases([short, whole], minima_seen=[(NIGHT, 1.0)])
    assert case.forecast_c == pytest.approx(5.0)
    holed = replace(whole, air_c=np.where(np.arange(240) == 26, np.nan, whole.air_c))
    assert cases([short, holed], minima_seen=[(NIGHT, 1.0)]) == ()


def test_a_forecast_that_does_not_say_when_it_was_made_is_not_used() -> None:
    made = forecast(DUSK)
    for source in ({"issued": None}, {"issued_known": False}):
        assert cases([made.from_source(**source)], minima_seen=[(NIGHT, 1.0)]) == ()


def test_the_said_chance_may_come_from_elsewhere() -> None:
    asked = []

    def own(made: Weather, start: datetime, end: datetime) -> tuple[float | None, float | None, float | None]:
        asked.append((start, end))
        return 0.25, None, None

    found = cases([forecast(DUSK)], minima_seen=[(NIGHT, 1.0)], rain_seen=[(NIGHT, True)], chance_of=own)
    assert [(case.kind, case.said, case.forecast_c) for case in found] == [("frost", 0.25, None)]
    assert set(asked) == {(DUSK, DAWN)}


def test_nobody_is_asked_about_hours_that_a_forecast_does_not_have() -> None:
    ends, begins = forecast(DUSK, hours=30), replace(forecast(DUSK), start=DUSK + timedelta(hours=1))
    for made in (ends, begins):
        assert cases([made], minima_seen=[(NIGHT, 1.0)], chance_of=lambda *_: (0.5, 0.5, 0.5)) == ()


# ------------------------------------------------------------------ what came


def test_the_thermometer_counts_before_the_word_and_the_word_before_the_station() -> None:
    made, station = [forecast(DUSK)], observed(low=-1.0)
    both = {"minima_seen": [(NIGHT, 0.4)], "frost_seen": [(NIGHT, True)]}
    (case,) = of(cases(made, station, **both), "frost", DUSK)
    assert (case.happened, case.seen_c) == (False, 0.4)
    (case,) = of(cases(made, station, frost_seen=[(NIGHT, False)]), "frost", DUSK)
    assert case.happened is False
    assert case.seen_c == pytest.approx(-1.0)
    (case,) = of(cases(made, station), "frost", DUSK)
    assert case.happened is True
    (case,) = of(cases(made, frost_seen=[(NIGHT, True)]), "frost", DUSK)
    assert (case.happened, case.seen_c) == (True, None)


def test_the_last_word_on_a_night_holds_and_an_unknown_one_is_none() -> None:
    told = [(NIGHT, -3.0), (NIGHT + timedelta(hours=2), 1.0), (NIGHT, float("nan"))]
    (case,) = cases([forecast(DUSK)], minima_seen=told)
    assert (case.happened, case.seen_c) == (False, 1.0)


@pytest.mark.parametrize(("low", "frost"), [(0.0, True), (0.01, False)])
def test_frost_is_zero_or_below(low: float, frost: bool) -> None:
    (case,) = cases([forecast(DUSK)], minima_seen=[(NIGHT, low)])
    assert case.happened is frost


@pytest.mark.parametrize(("unknown", "count"), [(1, 1), (2, 0)])
def test_a_night_that_was_not_observed_enough_makes_no_case(unknown: int, count: int) -> None:
    station = observed()
    air = station.air_c.copy()
    air[0, 20 : 20 + unknown] = np.nan
    assert len(of(cases([forecast(DUSK)], replace(station, air_c=air)), "frost", DUSK)) == count
    filled = np.zeros(48, bool)
    filled[20 : 20 + unknown] = True  # hours that were closed by a line were not observed
    assert len(of(cases([forecast(DUSK)], replace(station, filled=filled)), "frost", DUSK)) == count


def test_the_lowest_that_was_observed_is_that_of_the_night_alone() -> None:
    """Nights of which the station knows a part make no case; the cold of a noon counts for none."""
    air = np.full(48, 5.0)
    air[12], air[28], air[34] = -9.0, 1.0, -9.0  # noon of the 4th, 4 h and 10 h of the 5th
    made = [forecast(datetime(2025, 11, day, tzinfo=UTC)) for day in (2, 3, 4, 5)]
    found = of(cases(made, weather(48, air_c=air, start=datetime(2025, 11, 4, tzinfo=UTC))), "frost")
    assert {case.at for case in found} == {DUSK}
    assert {case.seen_c for case in found} == {1.0}


@pytest.mark.parametrize(("hour", "low"), [(17, -9.0), (32, -9.0), (16, 5.0), (33, 5.0)])
def test_both_ends_of_a_night_belong_to_it(hour: int, low: float) -> None:
    air = np.full(48, 5.0)
    air[hour] = -9.0
    station = weather(48, air_c=air, start=datetime(2025, 11, 4, tzinfo=UTC))
    (case,) = of(cases([forecast(DUSK)], station), "frost", DUSK)
    assert case.seen_c == low


def test_rain_is_looked_for_from_six_to_midnight_of_the_yards_clock() -> None:
    day = datetime(2025, 11, 5, 5, tzinfo=UTC)  # 6 h in Berlin
    made = forecast(day)
    for hour, wet in ((28, False), (29, True), (46, True), (47, False)):
        rain = np.zeros(48)
        rain[hour] = 0.2
        station = weather(48, air_c=8.0, rain=rain, start=datetime(2025, 11, 4, tzinfo=UTC))
        (case,) = of(cases([made], station), "rain", day)
        assert case.happened is wet, hour
        assert (case.forecast_c, case.seen_c) == (None, None)


@pytest.mark.parametrize(("unknown", "wet", "count"), [(1, 0.0, 1), (2, 0.0, 0), (2, 1.0, 0)])
def test_a_day_that_was_not_observed_enough_makes_no_case_wet_or_dry(
    unknown: int, wet: float, count: int
) -> None:
    day = datetime(2025, 11, 5, 5, tzinfo=UTC)
    rain = np.zeros(48)
    rain[35 : 35 + unknown], rain[40] = np.nan, wet
    station = weather(48, air_c=8.0, rain=rain, start=datetime(2025, 11, 4, tzinfo=UTC))
    assert len(of(cases([forecast(day)], station), "rain", day)) == count


def test_less_than_two_tenths_of_a_millimetre_is_no_rain() -> None:
    day = datetime(2025, 11, 5, 5, tzinfo=UTC)
    (case,) = of(cases([forecast(day)], observed(rain=0.19)), "rain", day)
    assert case.happened is False


def test_what_the_keeper_says_of_rain_is_of_the_night() -> None:
    (case,) = cases([forecast(DUSK, rain=1.0)], rain_seen=[(NIGHT, True)])
    assert (case.kind, case.at, case.happened) == ("rain", DUSK, True)
    assert case.said > 0.9


def test_half_hour_zones_have_nights_and_days_too() -> None:
    station = weather(96, air_c=by_day(-1.0, 9.0, 11.0), start=datetime(2025, 11, 4, tzinfo=UTC))
    made = [forecast(datetime(2025, 11, 4, 3, tzinfo=UTC))]
    found = cases(made, station, zone=KOLKATA)
    assert {case.at for case in of(found, "frost")} == {
        datetime(2025, 11, d, 12, 30, tzinfo=UTC) for d in (4, 5, 6)
    }
    assert all(case.seen_c == pytest.approx(-1.0, abs=0.1) for case in of(found, "frost"))


def test_observations_of_several_members_are_refused() -> None:
    two = replace(observed(), **{name: np.repeat(v, 2, axis=0) for name, v in observed().arrays()})
    with pytest.raises(ScoreError, match="one row"):
        cases([forecast(DUSK)], two)


def test_without_observations_or_forecasts_there_are_no_cases() -> None:
    assert cases([forecast(DUSK)]) == ()
    assert cases([], observed()) == ()


# ------------------------------------------------------------------ what a forecast says, plainly


def test_members_are_counted_and_never_certain() -> None:
    made = forecast(DUSK)
    lows = np.array([-2.0, 1.0, 3.0, 6.0])
    many = replace(
        made,
        **{name: np.repeat(values, 4, axis=0) for name, values in made.arrays()} | {
            "air_c": made.air_c - 2.0 + lows[:, None],
            "rain_mm": np.array([0.0, 0.0, 0.1, 0.2])[:, None] * np.ones(240),
        },
    )  # fmt: skip
    frost, rain, low = LOOK(many, DUSK, DAWN)
    assert frost == pytest.approx(1.5 / 5)
    assert rain == pytest.approx(1.5 / 5)
    assert low == pytest.approx(lows.mean())
    one_unknown = replace(many, air_c=np.where(np.arange(4)[:, None] == 0, np.nan, many.air_c))
    assert LOOK(one_unknown, DUSK, DAWN)[0] is None  # a quarter of the members does not know


def test_the_sources_own_spread_counts_before_the_table() -> None:
    made = forecast(DUSK)
    own = replace(made, air_sigma_k=np.full((1, 240), 0.6))
    sigma = np.hypot(0.6, doubt()["air"]["point_sigma"])
    assert LOOK(own, DUSK, DAWN)[0] == pytest.approx(stats.norm.cdf(0.0, 2.0, sigma))
    silent = replace(made, air_sigma_k=np.full((1, 240), np.nan))
    assert LOOK(silent, DUSK, DAWN) == LOOK(made, DUSK, DAWN)


def test_the_doubt_of_a_night_grows_with_the_days_ahead() -> None:
    chances = [LOOK(forecast(DUSK - timedelta(days=d)), DUSK, DAWN)[0] for d in (0, 2, 5, 7)]
    assert chances == sorted(chances)
    assert chances[-1] > chances[0] + 0.1


def test_of_rain_the_worse_of_chance_and_amount_counts() -> None:
    made = forecast(DUSK - timedelta(hours=6))
    dry = LOOK(made, DUSK, DAWN)[1]
    given = LOOK(replace(made, rain_chance=np.full((1, 240), 0.0)), DUSK, DAWN)[1]
    said = LOOK(replace(made, rain_chance=np.full((1, 240), 0.5)), DUSK, DAWN)[1]
    wet = replace(made, rain_mm=np.where(np.arange(240) == 20, 2.0, 0.0)[None, :])
    assert given == 0.0
    assert 0.01 < dry < 0.15 < said < 0.99
    assert LOOK(replace(wet, rain_chance=np.zeros((1, 240))), DUSK, DAWN)[1] == pytest.approx(
        np.interp(9 / 24, doubt()["rain"]["days"], doubt()["rain"]["hit"]), abs=0.001
    )
    unknown = replace(wet, rain_mm=np.where(np.arange(240) == 22, np.nan, wet.rain_mm[0])[None, :])
    assert LOOK(unknown, DUSK, DAWN)[1] is None


@given(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=20), st.sampled_from([0.0, 0.5, 0.93]))
def test_the_chance_of_any_wet_hour_lies_between_the_greatest_and_the_sum(
    hourly: list[float], link: float
) -> None:
    chance = chance_of_any(hourly, link)
    assert max(hourly) <= chance <= min(1.0, sum(hourly))
    if link == 0.0:
        assert chance == pytest.approx(1.0 - np.prod(1.0 - np.array(hourly)), abs=5e-4)


def test_linked_hours_are_those_that_dice_give() -> None:
    link, hourly = doubt()["rain"]["link"], np.linspace(0.02, 0.4, 15)
    score = np.random.default_rng(5).standard_normal((40_000, 15))
    for k in range(1, 15):
        score[:, k] = link * score[:, k - 1] + np.sqrt(1.0 - link**2) * score[:, k]
    thrown = (score < stats.norm.ppf(hourly)).any(axis=1).mean()
    assert chance_of_any(hourly, link) == pytest.approx(thrown, abs=0.01)


@pytest.mark.parametrize(("hourly", "link"), [([1.1], 0.9), ([np.nan], 0.9), ([0.5], 1.0), ([0.5], -0.1)])
def test_what_is_no_chance_of_an_hour_is_refused(hourly: list[float], link: float) -> None:
    with pytest.raises(ScoreError, match="between 0 and 1"):
        chance_of_any(hourly, link)


def test_no_hours_have_no_rain() -> None:
    assert chance_of_any([], 0.9) == 0.0
