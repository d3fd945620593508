"""What the coming hours hold: rain, the night on the wood and in the air, the days ahead."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest
from command_line import fair
from morning_samples import morning, yard_of
from weather_samples import START, at_hours, by_day, unknown_in, weather

from scheduler.planning.night import days_of, next_rain, night_of, suns_of
from scheduler.planning.outlook import Outlook
from scheduler.settings import Position, Site, Yard, YardFile
from scheduler.weather.series import Weather

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
AT = START + 53 * HOUR  # Monday 3 November, 6:00 in the yard


def outlook(given: Weather, at: datetime = AT, hollow: float = 0.0, lat: float = 48.0) -> Outlook:
    yard = Yard(place=Position(lat=lat, lon=8.2, altitude_m=500.0), zone="Europe/Berlin")
    settings = YardFile(yard=yard, site=Site(hollow=hollow))
    return Outlook(settings, given.from_source(issued=at - HOUR), at)


def clear(days: int = 5) -> Weather:
    return weather(24 * days, air_c=by_day(2.0, 10.0), humidity=80.0, wind=1.0, cloud=0.0)


def test_dry_weather_has_no_rain_in_sight() -> None:
    assert next_rain(outlook(fair(5))) is None


def test_the_next_rain_is_the_hour_in_which_most_of_the_weathers_are_wet() -> None:
    wet = {f"h{n}": 2.0 for n in range(80, 92)}
    found = next_rain(outlook(fair(5, rain=at_hours(0.0, **wet))))
    assert found is not None
    assert abs(found - (START + 80 * HOUR)) <= 3 * HOUR


def test_rain_that_has_gone_by_and_rain_that_is_unknown_are_no_next_rain() -> None:
    past = {f"h{n}": 2.0 for n in range(30, 52)}
    assert next_rain(outlook(fair(5, rain=at_hours(0.0, **past)))) is None
    assert next_rain(outlook(unknown_in(fair(5), 53, 120, "rain_mm"))) is None


def test_on_a_clear_still_night_the_wood_is_colder_than_the_air_of_the_forecast() -> None:
    night = night_of(outlook(clear()))
    assert night.wood_c is not None
    assert night.air_c is not None
    assert night.forecast_c is not None
    assert night.wood_at is not None
    assert night.wood_c < night.forecast_c - 0.5
    assert night.forecast_c == pytest.approx(2.0, abs=0.1)
    assert AT + 11 * HOUR < night.wood_at < AT + 27 * HOUR


def test_a_hollow_makes_the_yards_air_and_the_wood_colder_but_not_the_forecast() -> None:
    flat, hollow = night_of(outlook(clear())), night_of(outlook(clear(), hollow=-3.0))
    assert flat.air_c is not None
    assert hollow.air_c is not None
    assert flat.wood_c is not None
    assert hollow.wood_c is not None
    assert hollow.air_c == pytest.approx(flat.air_c - 3.0, abs=0.5)
    assert hollow.wood_c < flat.wood_c - 1.0
    assert hollow.forecast_c == flat.forecast_c
    assert flat.frost_share is not None
    assert hollow.frost_share is not None
    assert hollow.frost_share > flat.frost_share


def test_under_cloud_the_wood_is_hardly_colder_than_the_air() -> None:
    night = night_of(outlook(weather(120, air_c=by_day(2.0, 10.0), humidity=80.0, wind=4.0, cloud=1.0)))
    assert night.wood_c is not None
    assert night.forecast_c is not None
    assert night.wood_c > night.forecast_c - 1.5


@pytest.mark.parametrize("hours", [0.0, 6.0, 12.0, 17.0])
def test_the_night_meant_is_the_coming_one_from_morning_to_late_evening(hours: float) -> None:
    cold = weather(120, air_c=at_hours(9.0, h76=-8.0), humidity=60.0)  # Tuesday 4:00 UTC
    at = AT + hours * HOUR
    assert night_of(outlook(cold, at)).forecast_c == -8.0


def test_a_night_with_an_unknown_hour_is_not_known() -> None:
    night = night_of(outlook(unknown_in(clear(), 70, 75, "air_c")))
    assert (night.wood_c, night.air_c, night.forecast_c, night.frost_share) == (None, None, None, None)
    short = night_of(outlook(clear().between(START, AT + 3 * HOUR)))
    assert short.wood_c is None


def test_sunrise_and_sunset_of_today_and_the_days_after() -> None:
    suns = suns_of(outlook(fair(5)))
    assert len(suns) == 4
    zone = yard_of("upland").zone
    for n, (rise, fall) in enumerate(suns):
        assert rise.astimezone(zone).date() == fall.astimezone(zone).date() == (AT + n * DAY).date()
        assert rise < fall
        # Early November at 48 degrees north: about nine and a half to ten hours of day (from memory).
        assert 9.3 * HOUR < fall - rise < 10.2 * HOUR


def test_where_the_sun_does_not_rise_there_is_no_sun_and_the_night_is_still_told() -> None:
    midwinter = replace(clear(), start=datetime(2025, 12, 20, tzinfo=START.tzinfo))
    at = midwinter.start + 53 * HOUR
    polar = outlook(midwinter, at, lat=72.0)
    assert suns_of(polar) == ()
    assert night_of(polar).wood_c is not None


def test_the_days_ahead_run_from_six_to_six_with_the_coldest_of_each() -> None:
    cold = weather(240, air_c=at_hours(9.0, h104=-4.0), humidity=60.0, cloud=1.0)  # Wednesday 8:00 UTC
    days = days_of(outlook(cold), 3)
    zone = yard_of("upland").zone
    assert [(d.start.astimezone(zone).hour, d.start.astimezone(zone).day) for d in days] == [
        (6, 3),
        (6, 4),
        (6, 5),
    ]
    assert [d.forecast_c for d in days] == [9.0, 9.0, -4.0]
    assert days[2].wood_c is not None
    assert days[0].wood_c is not None
    assert days[2].wood_c < days[0].wood_c
    last = days_of(outlook(cold.between(START, START + 60 * HOUR)), 2)[1]
    assert (last.wood_c, last.forecast_c) == (None, None)


def test_the_stories_thursday_has_frost_on_the_wood_and_none_in_the_forecasts_air() -> None:
    _, ahead = morning("upland", 2)  # the Monday
    thursday = days_of(ahead, 4)[3]
    assert thursday.wood_c is not None
    assert thursday.forecast_c is not None
    assert thursday.wood_c < -1.0
    assert thursday.forecast_c > 0.0


def test_the_numbers_of_a_night_are_middles_of_the_members() -> None:
    given = outlook(clear())
    night = night_of(given)
    first, last = int(given.step_of(suns_of(given, 1)[0][1])), int(given.step_of(AT + 27 * HOUR))
    lows = given.fine.air_c[:, first:last].min(axis=1)
    assert night.air_c == pytest.approx(float(np.median(lows)))
    assert night.frost_share == pytest.approx(float((lows <= 0.0).mean()))
