"""The demo's weather: it is what its generator makes, and it tells the story that the demo needs.

The points of the story are this project's own invention. They are written out
here a second time, so that a change of the generator's table shows.
"""

from __future__ import annotations

import csv
import importlib.util
import json
import sys
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from scheduler.settings import load_yard

DEMO = Path(__file__).parents[2] / "demo"
FILES = ("weather.json", "southern_weather.json")
BERLIN, AUCKLAND = ZoneInfo("Europe/Berlin"), ZoneInfo("Pacific/Auckland")
HOUR = timedelta(hours=1)

# day of November: lowest and highest air, dew point at noon, least and greatest wind from 9 to 16 h
STORY = {
    3: (1.0, 6.0, 2.8, 0.5, 0.5),
    4: (5.0, 12.0, 2.0, 4.0, 6.0),
    5: (4.0, 8.0, 6.0, 3.0, 3.0),  # 4 before the rain, 7 in it
    6: (2.0, 7.0, 1.0, 1.5, 2.0),
    7: (0.5, 5.0, -2.0, 0.5, 0.5),
    8: (2.0, 8.0, 1.0, 1.5, 1.5),
    9: (2.0, 8.0, 1.0, 1.4, 1.5),
    10: (3.0, 7.0, 3.0, 1.0, 1.0),
    11: (-1.0, 3.0, 0.0, 5.0, 5.0),
    12: (-7.0, -1.0, -8.0, 1.0, 1.0),
    13: (-7.0, -1.0, -8.0, 1.0, 1.0),
    14: (-7.0, -1.0, -8.0, 1.0, 1.0),
    15: (0.0, 6.0, 5.7, 2.0, 2.0),
    16: (3.0, 8.0, 1.0, 3.0, 3.0),
    18: (-9.0, -3.0, -10.0, 1.0, 1.0),
}


def generator() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_weather", DEMO / "make_weather.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their own module up
    spec.loader.exec_module(module)
    return module


def stored(name: str) -> dict[str, Any]:
    answer: dict[str, Any] = json.loads((DEMO / name).read_text(encoding="utf-8"))
    return answer


class Hours:
    """Columns of a stored answer by the yard's wall clock."""

    def __init__(self, name: str, zone: ZoneInfo) -> None:
        self.columns = stored(name)["hourly"]
        self.zone = zone
        self.times = [
            datetime.fromisoformat(text).replace(tzinfo=UTC).astimezone(zone) for text in self.columns["time"]
        ]

    def between(self, name: str, first: datetime, last: datetime) -> list[float]:
        """Instants from ``first`` to before ``last``."""
        column = self.columns[name]
        found = [column[k] for k, when in enumerate(self.times) if first <= when < last]
        assert found
        return found

    def of_day(self, name: str, day: date, first: int = 0, last: int = 24) -> list[float]:
        """Instants of a day from hour ``first`` to before hour ``last``."""
        midnight = datetime(day.year, day.month, day.day, tzinfo=self.zone)
        return self.between(name, midnight + first * HOUR, midnight + last * HOUR)

    def sums_of_day(self, name: str, day: date) -> dict[int, float]:
        """What fell in each hour of the day, by the hour's start; the label stands at the hour's end."""
        values = self.between(
            name,
            datetime(day.year, day.month, day.day, 1, tzinfo=self.zone),
            datetime(day.year, day.month, day.day, 1, tzinfo=self.zone) + 24 * HOUR,
        )
        return {hour: value for hour, value in enumerate(values) if value}


@pytest.fixture(scope="module")
def upland() -> Hours:
    return Hours("weather.json", BERLIN)


@pytest.fixture(scope="module")
def southern() -> Hours:
    return Hours("southern_weather.json", AUCKLAND)


def november(day: int) -> date:
    return date(2025, 11, day)


@pytest.mark.parametrize("name", FILES)
def test_the_stored_file_is_what_the_generator_makes(name: str) -> None:
    make = generator()
    assert (DEMO / name).read_text(encoding="utf-8") == make.text_of(make.answer(make.STORIES[name]))


@pytest.mark.parametrize(
    ("name", "first"), [("weather.json", "2025-10-31T00:00"), (FILES[1], "2026-05-07T00:00")]
)
def test_the_hours_follow_one_another_and_every_column_is_full(name: str, first: str) -> None:
    answer = stored(name)
    columns = answer["hourly"]
    times = [datetime.fromisoformat(text) for text in columns["time"]]
    assert columns["time"][0] == first
    assert all(b - a == HOUR for a, b in pairwise(times))
    assert {len(column) for column in columns.values()} == {(3 + 16) * 24}
    assert list(columns) == list(answer["hourly_units"])
    assert all(isinstance(value, int | float) for key in columns if key != "time" for value in columns[key])


@pytest.mark.parametrize("name", FILES)
def test_the_answer_is_in_utc_and_names_its_units(name: str) -> None:
    answer = stored(name)
    assert (answer["utc_offset_seconds"], answer["timezone"]) == (0, "GMT")
    units = answer["hourly_units"]
    assert (units["wind_speed_10m"], units["temperature_2m"], units["precipitation"]) == ("m/s", "°C", "mm")


@pytest.mark.parametrize("name", FILES)
def test_no_value_is_beyond_what_can_be(name: str) -> None:
    hourly = stored(name)["hourly"]
    assert all(dew <= air for dew, air in zip(hourly["dew_point_2m"], hourly["temperature_2m"], strict=True))
    assert all(0 <= share <= 100 for share in hourly["cloud_cover"] + hourly["precipitation_probability"])
    assert all(
        gust >= wind for gust, wind in zip(hourly["wind_gusts_10m"], hourly["wind_speed_10m"], strict=True)
    )
    assert min(hourly["precipitation"] + hourly["shortwave_radiation"] + hourly["wind_speed_10m"]) >= 0


@pytest.mark.parametrize("name", FILES)
def test_the_air_never_jumps(name: str) -> None:
    air = stored(name)["hourly"]["temperature_2m"]
    assert max(abs(b - a) for a, b in pairwise(air)) <= 2.5


@pytest.mark.parametrize("day", STORY)
def test_a_day_has_the_lowest_and_highest_air_of_the_story(upland: Hours, day: int) -> None:
    low, high, *_ = STORY[day]
    air = upland.of_day("temperature_2m", november(day))
    assert (min(air), max(air)) == (low, high)


@pytest.mark.parametrize("day", STORY)
def test_a_day_has_the_dew_point_of_the_story_at_noon(upland: Hours, day: int) -> None:
    (dew,) = upland.of_day("dew_point_2m", november(day), 12, 13)
    assert dew == pytest.approx(STORY[day][2], abs=0.25)


@pytest.mark.parametrize("day", STORY)
def test_a_day_has_the_wind_of_the_story(upland: Hours, day: int) -> None:
    *_, least, most = STORY[day]
    wind = upland.of_day("wind_speed_10m", november(day), 9, 16)
    assert least - 0.05 <= min(wind)
    assert max(wind) <= most + 0.05


@pytest.mark.parametrize("day", [4, 8, 9, 12, 13, 16, 18])
def test_the_coldest_hour_is_near_sunrise_and_the_warmest_about_three(upland: Hours, day: int) -> None:
    air = upland.of_day("temperature_2m", november(day))
    morning = air[:12]
    assert morning.index(min(morning)) in range(2, 9)
    assert air.index(max(air)) in range(14, 17)


def test_rain_falls_only_in_the_hours_of_the_story(upland: Hours) -> None:
    fell = {day: upland.sums_of_day("precipitation", november(day)) for day in range(1, 19)}
    assert {day for day, hours in fell.items() if hours} == {5, 6, 11}
    assert (min(fell[5]), max(fell[5])) == (10, 19)
    assert sum(fell[5].values()) == pytest.approx(9.0)
    assert max(fell[6]) < 6
    assert sum(fell[6].values()) == pytest.approx(1.0)
    assert sum(fell[11].values()) == pytest.approx(7.0)


def test_the_front_brings_wet_snow(upland: Hours) -> None:
    codes = set(upland.of_day("weather_code", november(11)))
    assert codes & {71, 73, 75}
    assert not codes & {51, 61, 63}


def test_rain_is_likely_where_it_falls_and_unlikely_on_dry_days(upland: Hours) -> None:
    chances, amounts = upland.columns["precipitation_probability"], upland.columns["precipitation"]
    assert all(chance >= 70 for chance, amount in zip(chances, amounts, strict=True) if amount)
    for day in (1, 2, 3, 4, 7, 8, 9, 12, 13, 14, 15, 16, 18):
        assert all(
            1 <= chance <= 5
            for chance in upland.sums_of_day("precipitation_probability", november(day)).values()
        )


def test_monday_is_foggy_till_noon(upland: Hours) -> None:
    monday = november(3)
    assert set(upland.of_day("cloud_cover", monday, 0, 13)) == {100}
    assert set(upland.of_day("weather_code", monday, 0, 12)) == {45}
    assert upland.of_day("dew_point_2m", monday, 0, 12) == upland.of_day("temperature_2m", monday, 0, 12)
    assert max(upland.of_day("cloud_cover", monday, 15)) < 90


def test_the_dry_wind_has_blown_for_hours_when_tuesday_begins(upland: Hours) -> None:
    tuesday = november(4)
    assert min(upland.of_day("wind_speed_10m", tuesday, 3, 22)) >= 4.0
    spread = zip(
        upland.of_day("temperature_2m", tuesday, 3), upland.of_day("dew_point_2m", tuesday, 3), strict=True
    )
    assert min(air - dew for air, dew in spread) >= 3.0


def test_no_night_before_thursday_is_both_clear_and_calm(upland: Hours) -> None:
    first, last = datetime(2025, 10, 31, tzinfo=BERLIN) + HOUR, datetime(2025, 11, 6, 15, tzinfo=BERLIN)
    rows = zip(
        upland.between("cloud_cover", first, last), upland.between("wind_speed_10m", first, last), strict=True
    )
    assert all(cloud >= 30 or wind >= 2 for cloud, wind in rows)


def test_thursday_clears_at_dusk_and_the_night_is_still_with_raw_air_just_above_zero(upland: Hours) -> None:
    dusk, dawn = datetime(2025, 11, 6, 19, tzinfo=BERLIN), datetime(2025, 11, 7, 8, tzinfo=BERLIN)
    assert upland.of_day("cloud_cover", november(6), 12, 15)[0] >= 60
    assert max(upland.between("cloud_cover", dusk, dawn)) <= 10
    assert max(upland.between("wind_speed_10m", dusk, dawn)) <= 1.0
    assert min(upland.between("temperature_2m", dusk, dawn)) == 0.5


def test_friday_stays_clear_until_cloud_comes_in_the_evening(upland: Hours) -> None:
    friday = november(7)
    assert max(upland.of_day("cloud_cover", friday, 0, 16)) <= 20
    assert min(upland.of_day("cloud_cover", friday, 20)) >= 90


@pytest.mark.parametrize("day", [8, 9])
def test_the_week_end_has_hazy_sun_and_cloudy_nights(upland: Hours, day: int) -> None:
    assert set(upland.of_day("cloud_cover", november(day), 9, 17)) == {75}
    assert min(upland.of_day("cloud_cover", november(day), 20)) >= 90
    assert 150 < max(upland.of_day("shortwave_radiation", november(day))) < 320


def test_the_moist_thaw_is_saturated_and_the_dry_one_is_not(upland: Hours) -> None:
    wet, dry = november(15), november(16)
    assert upland.of_day("dew_point_2m", wet) == upland.of_day("temperature_2m", wet)
    spread = zip(upland.of_day("temperature_2m", dry, 8), upland.of_day("dew_point_2m", dry, 8), strict=True)
    assert all(air - dew >= 2 for air, dew in spread)


def test_frost_sets_in_on_the_seventeenth_and_stays(upland: Hours) -> None:
    air = upland.between(
        "temperature_2m", datetime(2025, 11, 17, 6, tzinfo=BERLIN), datetime(2025, 11, 19, 1, tzinfo=BERLIN)
    )
    assert (min(air), max(air)) == (-9.0, -3.0)


def test_the_sun_shines_as_long_as_the_place_has_day(upland: Hours, southern: Hours) -> None:
    """9.7 h on 3 November at 48 N, as on 11 May at 45 S: astronomy, reckoned here without refraction."""
    for hours, day in ((upland, november(3)), (southern, date(2026, 5, 11))):
        lit = hours.sums_of_day("shortwave_radiation", day)
        assert len(lit) in (10, 11)
        assert min(lit) in (7, 8)


def test_a_clear_noon_is_as_bright_as_the_clear_sky_formula_says(upland: Hours) -> None:
    """Haurwitz (1945) with the sun 25.7 degrees high at most on 7 November at 48 N: about 415 W/m2."""
    assert max(upland.of_day("shortwave_radiation", november(7))) == pytest.approx(415, abs=15)


def test_the_southern_tuesday_is_a_dry_day_without_frost_until_rain_two_days_on(southern: Hours) -> None:
    tuesday = date(2026, 5, 12)
    assert min(southern.of_day("temperature_2m", tuesday)) == 6.0
    assert min(southern.of_day("wind_speed_10m", tuesday, 3)) >= 4.0
    assert min(southern.of_day("temperature_2m", date(2026, 5, 13))) >= 5.0
    rainy = {day for day in range(8, 26) if southern.sums_of_day("precipitation", date(2026, 5, day))}
    assert rainy == {14, 15}


@pytest.mark.parametrize("day", [9, 10, 11, 16, 17, 18, 19, 20, 23, 24, 25])
def test_southern_nights_of_frost_are_clear_and_calm(southern: Hours, day: int) -> None:
    when = date(2026, 5, day)
    assert min(southern.of_day("temperature_2m", when)) < 0
    assert max(southern.of_day("cloud_cover", when, 5, 8)) < 30
    assert max(southern.of_day("wind_speed_10m", when, 5, 8)) < 2


@pytest.mark.parametrize(
    ("name", "zone"), [("yard.toml", "Europe/Berlin"), ("southern.toml", "Pacific/Auckland")]
)
def test_the_yard_file_is_accepted_and_stands_where_its_weather_is(name: str, zone: str) -> None:
    settings = load_yard(DEMO / name)
    weather = stored("weather.json" if name == "yard.toml" else "southern_weather.json")
    place = settings.yard.place
    assert (place.lat, place.lon, place.altitude_m) == (
        weather["latitude"],
        weather["longitude"],
        weather["elevation"],
    )
    assert settings.yard.zone == zone


def test_the_demo_yard_has_the_settings_of_its_story() -> None:
    settings = load_yard(DEMO / "yard.toml")
    assert (settings.site.hollow, settings.site.hollow_is_guess) == (-2.5, False)
    assert (settings.yard.people, settings.yard.wage, settings.yard.currency) == (1, 25.0, "EUR")
    assert [settings.yard.people_of(day) for day in range(7)] == [1, 2, 1, 1, 1, 2, 1]
    assert (settings.coating.profile, settings.coating.price_per_litre) == ("emulsion", 9.5)
    assert {place.name: (place.roofed, place.frost_free) for place in settings.place} == {
        "lean-to": (True, False),
        "shed": (True, True),
    }


def test_the_sixteen_logs_keep_their_dates_in_order() -> None:
    with (DEMO / "logs.csv").open(encoding="utf-8", newline="") as file:
        logs = list(csv.DictReader(file))
    assert [log["tag"] for log in logs] == [f"H{n:02}" for n in range(1, 17)]
    assert all(log["story"] for log in logs)
    for log in logs:
        steps = [log[key] for key in ("felled", "cut", "butt_coated") if log[key]]
        assert steps == sorted(steps)
        assert float(log["top_cm"]) <= float(log["butt_cm"])
    assert [log["tag"] for log in logs if log["state"] == "expected"] == ["H16"]
    assert [log["tag"] for log in logs if log["reach"] != "both"] == ["H06"]
