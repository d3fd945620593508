"""The reader of the hourly column family, on small answers made here."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from scheduler.weather.air import dew_point_from_humidity, pressure_at
from scheduler.weather.formats import FAMILIES, columns, read_answer
from scheduler.weather.series import Weather, WeatherError

HOURS = 6
UNITS = {
    "temperature_2m": "°C",
    "dew_point_2m": "°C",
    "relative_humidity_2m": "%",
    "wind_speed_10m": "km/h",
    "wind_gusts_10m": "km/h",
    "precipitation": "mm",
    "rain": "mm",
    "showers": "mm",
    "snowfall": "cm",
    "precipitation_probability": "%",
    "cloud_cover": "%",
    "shortwave_radiation": "W/m²",
    "surface_pressure": "hPa",
    "pressure_msl": "hPa",
    "weather_code": "wmo code",
}


def times(count: int = HOURS, first: str = "2025-11-03T00:00", step: int = 1) -> list[str]:
    start = datetime.fromisoformat(first)
    return [f"{start + timedelta(hours=n * step):%Y-%m-%dT%H:%M}" for n in range(count)]


def answer(
    hourly: dict[str, Any] | None = None, /, *, units: dict[str, str] | None = None, **top: Any
) -> dict[str, Any]:
    """A small good answer; ``hourly`` adds columns or (None) takes them away."""
    block: dict[str, Any] = {
        "time": times(),
        "temperature_2m": [8.0, 7.0, 6.0, 5.0, 4.0, 3.0],
        "dew_point_2m": [2.0, 2.0, 2.0, 2.0, 2.0, 2.0],
        "wind_speed_10m": [3.6, 7.2, 10.8, 14.4, 18.0, 21.6],
        "precipitation": [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
    } | (hourly or {})
    block = {name: values for name, values in block.items() if values is not None}
    shown = {name: UNITS.get(name.partition("_member")[0], "°C") for name in block} | {"time": "iso8601"}
    shown = {name: unit for name, unit in (shown | (units or {})).items() if unit is not None}
    whole = {"latitude": 48.0, "longitude": 8.25, "generationtime_ms": 0.2, "utc_offset_seconds": 0}
    whole |= {"timezone": "GMT", "elevation": 500.0, "hourly_units": shown, "hourly": block}
    return {key: value for key, value in (whole | top).items() if value is not ...}


def refused(data: object, *words: str, place: tuple[float, float] | None = None) -> str:
    with pytest.raises(WeatherError) as caught:
        read_answer(json.dumps(data).encode(), place=place)
    text = str(caught.value)
    for word in words:
        assert word in text
    assert text.endswith("."), "an error is a whole sentence"
    return text


# ------------------------------------------------------------------ times


def test_local_times_are_moved_by_the_fixed_offset() -> None:
    weather = columns.read(answer(utc_offset_seconds=-18000, timezone="America/Toronto"))
    assert weather.start == datetime(2025, 11, 3, 5, tzinfo=UTC)
    assert weather.hours == HOURS


def test_a_half_hour_zone_starts_between_whole_hours_of_utc() -> None:
    weather = columns.read(answer(utc_offset_seconds=34200, timezone="Australia/Darwin"))
    assert weather.start == datetime(2025, 11, 2, 14, 30, tzinfo=UTC)


def test_unixtime_gives_the_same_as_local_time_minus_its_offset() -> None:
    local = answer(utc_offset_seconds=34200)
    epoch = int(datetime(2025, 11, 2, 14, 30, tzinfo=UTC).timestamp())
    whole = answer(
        {"time": [epoch + 3600 * n for n in range(HOURS)]},
        units={"time": "unixtime"},
        utc_offset_seconds=34200,
    )
    one, other = columns.read(local), columns.read(whole)
    assert one.start == other.start
    assert np.array_equal(one.air_c, other.air_c)


def test_the_name_of_the_zone_is_never_used() -> None:
    odd = columns.read(answer(utc_offset_seconds=7200, timezone="Nowhere/Atall", timezone_abbreviation="?"))
    assert odd.start == datetime(2025, 11, 2, 22, tzinfo=UTC)


@pytest.mark.parametrize("offset", [..., None, "3600", 3600.0, True])
def test_local_time_without_its_offset_is_refused(offset: object) -> None:
    refused(answer(utc_offset_seconds=offset), "without their offset", "timezone=GMT")


def test_an_offset_that_no_place_has_is_refused() -> None:
    refused(answer(utc_offset_seconds=90_000), "90000")


@pytest.mark.parametrize(
    ("rows", "word"),
    [
        (["2025-11-03T00:00", "2025-11-03T02:00", "2025-11-03T01:00"], "do not follow"),
        (["2025-11-03T02:00", "2025-11-03T01:00", "2025-11-03T00:00"], "not in order"),
        (["2025-11-03T00:00", "2025-11-03T00:00", "2025-11-03T01:00"], "stands twice"),
        (["2025-11-03T00:00", "2025-11-03T01:00", "2025-11-03T03:00"], "do not follow"),
        (["2025-11-03T00:00", "2025-11-03T03:00", "2025-11-03T06:00"], "step of 3 hours"),
        (["2025-11-03T00:00", "2025-11-03T00:15", "2025-11-03T00:30"], "step of 0.25 hours"),
        (["2025-11-03T00:00", "2025-11-03", "2025-11-04"], "not of the form"),
        (["2025-11-03T00:00Z", "2025-11-03T01:00Z", "2025-11-03T02:00Z"], "not of the form"),
        (["2025-11-31T00:00", "2025-11-31T01:00", "2025-11-31T02:00"], "does not exist"),
        (["2025-11-03T00:07", "2025-11-03T01:07", "2025-11-03T02:07"], "quarter hour"),
        (["0000-11-03T00:00", "0000-11-03T01:00", "0000-11-03T02:00"], "no year"),
        (["2025-11-03T00:00"], "one hour only"),
        ([], "no times"),
        (["2025-11-03T00:00", None, 5], "not of the form"),
    ],
)
def test_a_series_that_is_not_hour_after_hour_is_refused(rows: list[Any], word: str) -> None:
    short = {name: [1.0] * len(rows) for name in answer()["hourly"] if name != "time"}
    refused(answer({"time": rows} | short), word)


@pytest.mark.parametrize("value", [1.5, True, "1762128000", None, 10**30])
def test_a_unixtime_that_is_no_whole_second_is_refused(value: object) -> None:
    rows = [value, *[1762128000 + 3600 * n for n in range(1, HOURS)]]
    refused(answer({"time": rows}, units={"time": "unixtime"}), "no whole number of seconds")


@pytest.mark.parametrize("unit", [None, "", "local", 7])
def test_times_without_their_unit_are_refused(unit: Any) -> None:
    refused(answer(units={"time": unit}), "how its times are written")


# ------------------------------------------------------------------ units and values


@pytest.mark.parametrize(
    ("name", "unit", "given", "quantity", "meant"),
    [
        ("temperature_2m", "°F", 41.0, "air_c", 5.0),
        ("temperature_2m", "K", 278.15, "air_c", 5.0),
        ("dew_point_2m", "°F", 32.0, "dew_point_c", 0.0),
        ("wind_speed_10m", "m/s", 5.0, "wind_ms", 5.0),
        ("wind_speed_10m", "km/h", 18.0, "wind_ms", 5.0),
        ("wind_speed_10m", "kn", 10.0, "wind_ms", 5.144444),  # 1 kn = 1852 m/h exactly (SI brochure)
        ("wind_speed_10m", "mp/h", 10.0, "wind_ms", 4.4704),  # 1 mile = 1609.344 m exactly
        ("precipitation", "inch", 0.1, "rain_mm", 2.54),  # 1 inch = 25.4 mm exactly
        ("precipitation_probability", "%", 35, "rain_chance", 0.35),
        ("cloud_cover", "%", 100, "cloud", 1.0),
        ("shortwave_radiation", "W/m²", 210.0, "sun_wm2", 210.0),
        ("wind_gusts_10m", "km/h", 36.0, "gust_ms", 10.0),
        ("surface_pressure", "hPa", 955.5, "pressure_hpa", 955.5),
        ("weather_code", "wmo code", 61, "code", 61.0),
    ],
)
def test_the_unit_is_read_from_the_answer(
    name: str, unit: str, given: float, quantity: str, meant: float
) -> None:
    extra: dict[str, Any] = {name: [given] * HOURS}
    if name == "temperature_2m":
        extra["dew_point_2m"] = [0.0] * HOURS
    weather = columns.read(answer(extra, units={name: unit}))
    assert getattr(weather, quantity)[0, 0] == pytest.approx(meant, abs=1e-6)


@pytest.mark.parametrize("name", ["temperature_2m", "wind_speed_10m", "precipitation", "cloud_cover"])
def test_an_unknown_unit_is_refused_and_never_guessed(name: str) -> None:
    refused(answer({"cloud_cover": [10] * HOURS}, units={name: "furlong"}), name, "furlong", "understood")


@pytest.mark.parametrize("name", ["temperature_2m", "wind_speed_10m", "precipitation", "cloud_cover"])
def test_a_missing_unit_is_refused(name: str) -> None:
    refused(answer({"cloud_cover": [10] * HOURS}, units={name: None}), "no unit", name)


def test_an_answer_without_any_units_is_refused() -> None:
    refused(answer(hourly_units=...), "no units")


def test_null_is_unknown_and_never_zero() -> None:
    weather = columns.read(answer({"precipitation": [0.0, 1.0, None, None, 2.0, 0.0]}))
    assert np.array_equal(weather.rain_mm[0], [1.0, np.nan, np.nan, 2.0, 0.0, np.nan], equal_nan=True)


def test_trailing_nulls_shorten_only_their_own_quantity() -> None:
    weather = columns.read(answer({"wind_speed_10m": [3.6, 3.6, 3.6, None, None, None]}))
    assert np.isfinite(weather.wind_ms[0]).sum() == 3
    assert np.isfinite(weather.air_c[0]).sum() == HOURS
    assert weather.known_until() == weather.start + timedelta(hours=3)


def test_a_column_of_nulls_is_not_offered() -> None:
    nulls = [None] * HOURS
    weather = columns.read(
        answer({"cloud_cover": nulls, "wind_gusts_10m": nulls}, units={"cloud_cover": "undefined"})
    )
    assert weather.cloud is None
    assert weather.gust_ms is None


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("temperature_2m", "air temperature"),
        ("dew_point_2m", "dew point or humidity"),
        ("wind_speed_10m", "wind"),
        ("precipitation", "rain"),
    ],
)
def test_a_needed_quantity_that_is_missing_is_named(name: str, words: str) -> None:
    assert "null throughout" not in refused(answer({name: None}), words, name, "hourly=")
    refused(answer({name: [None] * HOURS}), words, "null throughout")


def test_an_answer_that_is_null_throughout_is_refused() -> None:
    names = [name for name in answer()["hourly"] if name != "time"]
    text = refused(answer({name: [None] * HOURS for name in names}), "null throughout")
    assert text.count("null throughout") == 4


@pytest.mark.parametrize(
    ("name", "value", "shown"),
    [
        ("temperature_2m", 60.5, "60.5 °C"),
        ("temperature_2m", -61, "-61 °C"),
        ("precipitation", -0.1, "-0.1 mm"),
        ("precipitation", 401, "401 mm"),
        ("wind_speed_10m", -1, "-1 km/h"),
        ("wind_speed_10m", 433, "433 km/h"),
        ("relative_humidity_2m", 111, "111 %"),
        ("cloud_cover", 101, "101 %"),
        ("precipitation_probability", -1, "-1 %"),
        ("surface_pressure", 2.0, "2 hPa"),
        ("shortwave_radiation", 5000, "5000 W/m²"),
        ("weather_code", 120, "120"),
        ("temperature_2m", 1e308, "1e+308"),
    ],
)
def test_a_value_that_nature_does_not_have_is_refused_with_its_hour(
    name: str, value: float, shown: str
) -> None:
    column = answer()["hourly"].get(name, [950.0 if name == "surface_pressure" else 50.0] * HOURS)
    column = [*column[:3], value, *column[4:]]
    refused(answer({name: column}), name, shown, "2025-11-03 03:00 UTC")


def test_an_infinite_number_is_refused() -> None:
    body = json.dumps(answer()).replace("[8.0", "[1e999", 1).encode()
    with pytest.raises(WeatherError, match="temperature_2m is inf"):
        read_answer(body)


def test_a_dew_point_just_above_the_air_is_rounding_and_is_clipped() -> None:
    weather = columns.read(answer({"dew_point_2m": [8.6, 7.0, 6.0, 5.0, 4.0, 3.1]}))
    assert weather.dew_point_c[0].tolist() == [8.0, 7.0, 6.0, 5.0, 4.0, 3.0]


def test_a_dew_point_well_above_the_air_is_refused_with_its_hour() -> None:
    refused(answer({"dew_point_2m": [2, 2, 2, 2, 4.7, 2]}), "4.7 °C", "4.0 °C", "2025-11-03 04:00 UTC")


def test_a_dew_point_is_kept_where_the_air_is_unknown() -> None:
    weather = columns.read(answer({"temperature_2m": [None, 7, 6, 5, 4, 3]}))
    assert weather.dew_point_c[0, 0] == 2.0


def test_humidity_stands_in_for_a_dew_point_that_is_absent() -> None:
    weather = columns.read(answer({"dew_point_2m": None, "relative_humidity_2m": [90, 0, 50, 100, 110, 20]}))
    assert weather.dew_point_c[0, 0] == pytest.approx(float(dew_point_from_humidity(8.0, 90.0)))
    assert np.isfinite(weather.dew_point_c).all()
    assert (weather.dew_point_c <= weather.air_c).all()


def test_a_given_dew_point_wins_over_humidity() -> None:
    weather = columns.read(answer({"relative_humidity_2m": [90] * HOURS}))
    assert weather.dew_point_c[0].tolist() == [2.0] * HOURS


def test_sea_level_pressure_is_brought_to_the_height_of_the_cell() -> None:
    weather = columns.read(answer({"pressure_msl": [1013.0] * HOURS}))
    assert weather.pressure_hpa is not None
    assert weather.pressure_hpa[0, 0] == pytest.approx(float(10.0 * pressure_at(500.0)), rel=1e-6)


def test_sea_level_pressure_is_no_pressure_where_the_height_is_unknown() -> None:
    assert columns.read(answer({"pressure_msl": [1013.0] * HOURS}, elevation=...)).pressure_hpa is None


def test_older_spellings_are_understood() -> None:
    old = {"dewpoint_2m": [1.0] * HOURS, "windspeed_10m": [36.0] * HOURS, "cloudcover": [50] * HOURS}
    units = {"dewpoint_2m": "°C", "windspeed_10m": "km/h", "cloudcover": "%"}
    weather = columns.read(answer(old | {"dew_point_2m": None, "wind_speed_10m": None}, units=units))
    assert weather.wind_ms[0, 0] == pytest.approx(10.0)
    assert weather.cloud is not None
    assert weather.cloud[0, 0] == 0.5


@pytest.mark.parametrize("bad", ["8.0", True, [8.0], {"value": 8.0}])
def test_a_value_that_is_no_number_is_refused_with_its_hour(bad: object) -> None:
    refused(
        answer({"temperature_2m": [8, 7, bad, 5, 4, 3]}), "temperature_2m", "2025-11-03 02:00", "not a number"
    )


@pytest.mark.parametrize("bad", [None, "text", 5, {}, []])
def test_a_column_that_is_no_list_of_the_right_length_is_refused(bad: object) -> None:
    data = answer()
    data["hourly"]["temperature_2m"] = bad
    refused(data, "temperature_2m")


def test_a_column_that_is_shorter_than_its_times_is_refused() -> None:
    refused(answer({"precipitation": [0.0] * (HOURS - 1)}), "5 values for 6 hours")


def test_a_number_beyond_all_floats_is_refused() -> None:
    refused(answer({"temperature_2m": [10**400, 7, 6, 5, 4, 3]}), "too large")


# ------------------------------------------------------------------ rain


def test_a_storm_of_one_hour_stands_in_the_hour_in_which_it_rains() -> None:
    # Labelled 03:00 it fell from 02:00 to 03:00: "preceding hour" of the Open-Meteo documentation.
    storm = [0.0, 0.0, 0.0, 5.0, 0.0, 0.0]
    extra = {
        "precipitation": storm,
        "precipitation_probability": [0, 0, 0, 90, 0, 0],
        "shortwave_radiation": [0, 0, 0, 70, 0, 0],
        "wind_gusts_10m": [0, 0, 0, 72, 0, 0],
        "weather_code": [0, 0, 0, 95, 0, 0],
        "cloud_cover": [0, 0, 0, 100, 0, 0],
    }
    weather = columns.read(answer(extra))
    for name, value in {"rain_mm": 5, "rain_chance": 0.9, "sun_wm2": 70, "gust_ms": 20, "code": 95}.items():
        row = getattr(weather, name)[0]
        assert row[2] == pytest.approx(value), name
        assert np.nansum(row) == pytest.approx(value), name
        assert np.isnan(row[-1]), f"the hour of {name} that is cut off is unknown"
    assert weather.cloud is not None
    assert weather.cloud[0, 3] == 1.0, "an instant stays where it is"


def test_rain_showers_and_snow_stand_in_for_precipitation() -> None:
    parts = {
        "precipitation": None,
        "rain": [0, 0.5, 0, 0, None, 0],
        "showers": [0, 0.25, 0, 0, 0, 0],
        "snowfall": [0, 0.7, 0, 7, 0, 0],  # 7 cm of snow are 10 mm of water (Open-Meteo documentation)
    }
    weather = columns.read(answer(parts))
    assert np.allclose(weather.rain_mm[0], [1.75, 0, 10, np.nan, 0, np.nan], equal_nan=True)


def test_snow_in_inches_is_water_too() -> None:
    parts = {"precipitation": None, "rain": [0] * 6, "showers": [0] * 6, "snowfall": [0, 1, 0, 0, 0, 0]}
    weather = columns.read(answer(parts, units={"snowfall": "inch"}))
    assert weather.rain_mm[0, 0] == pytest.approx(25.4 / 7.0)


def test_precipitation_wins_over_its_parts() -> None:
    parts = {"precipitation": [0, 3.0, 0, 0, 0, 0], "rain": [9] * 6, "showers": [9] * 6, "snowfall": [9] * 6}
    assert columns.read(answer(parts)).rain_mm[0, 0] == 3.0


def test_rain_alone_is_not_taken_for_all_precipitation() -> None:
    refused(answer({"precipitation": None, "rain": [0.0] * HOURS}), "rain (precipitation)")


# ------------------------------------------------------------------ models, members, runs before


def with_suffix(*suffixes: str) -> dict[str, Any]:
    """The needed columns once for each suffix, colder by one degree from one to the next."""
    base = answer()["hourly"]
    made: dict[str, Any] = {name: None for name in base if name != "time"}
    for n, suffix in enumerate(suffixes):
        for name in made.copy():
            if name in UNITS:
                shift = n if name == "temperature_2m" else 0
                made[name + suffix] = [value - shift for value in base[name]]
    return made


def suffix_units(*suffixes: str) -> dict[str, str]:
    return {name + suffix: unit for name, unit in UNITS.items() for suffix in suffixes}


def read_models(*suffixes: str, **more: Any) -> Weather:
    return columns.read(answer(with_suffix(*suffixes) | more, units=suffix_units(*suffixes)))


def test_of_several_models_the_best_match_is_taken_and_noted() -> None:
    weather = read_models("_gfs_seamless", "_best_match")
    assert weather.air_c[0, 0] == 7.0, "the second of the two"
    assert any("2 models answered; best_match" in note for note in weather.provenance.notes)


def test_without_a_best_match_the_first_model_in_order_is_taken() -> None:
    weather = read_models("_icon_d2", "_gfs_seamless")
    assert weather.air_c[0, 0] == 8.0
    assert any("icon_d2 was taken" in note for note in weather.provenance.notes)


def test_a_model_that_lacks_a_needed_quantity_is_passed_over() -> None:
    weather = read_models("_icon_d2", "_gfs_seamless", wind_speed_10m_icon_d2=[None] * HOURS)
    assert weather.air_c[0, 0] == 7.0
    assert any("gfs_seamless was taken" in note for note in weather.provenance.notes)


def test_one_model_alone_with_its_name_needs_no_note() -> None:
    weather = read_models("_icon_d2")
    assert weather.air_c[0, 0] == 8.0
    assert weather.provenance.notes == ()


def test_a_low_cloud_or_a_rain_probability_is_no_model() -> None:
    extra = {
        "cloud_cover_low": [90] * HOURS,
        "cloud_cover": [10] * HOURS,
        "rain_probability": [70] * HOURS,
        "temperature_2m_max": [30] * HOURS,
        "temperature_2m_min": [-30] * HOURS,
        "temperature_2m_850hPa": [-20] * HOURS,
    }
    weather = columns.read(answer(extra, units={"cloud_cover": "%"}))
    assert weather.air_c[0, 0] == 8.0
    assert weather.cloud is not None
    assert weather.cloud[0, 0] == 0.1
    assert weather.provenance.notes == ()


def test_what_earlier_runs_said_is_left_alone() -> None:
    early = {"temperature_2m_previous_day1": [50] * HOURS, "precipitation_previous_day1": [99] * HOURS}
    weather = columns.read(answer(early))
    assert weather.air_c[0].tolist() == columns.read(answer()).air_c[0].tolist()
    assert weather.members == 1


def members(count: int, *, control: bool = True, first: int = 1) -> dict[str, Any]:
    base = answer()["hourly"]
    made: dict[str, Any] = {}
    for name in ("temperature_2m", "dew_point_2m", "wind_speed_10m", "precipitation"):
        made[name] = base[name] if control else None
        for n in range(first, first + count):
            shift = n / 10 if name == "temperature_2m" else 0.0
            made[f"{name}_member{n:02d}"] = [value + shift for value in base[name]]
    return made


def test_the_members_of_an_ensemble_are_rows_and_the_control_counts_once() -> None:
    weather = columns.read(answer(members(50)))
    assert weather.air_c.shape == (51, HOURS)
    assert weather.air_c[:, 0].tolist() == pytest.approx([8.0 + n / 10 for n in range(51)])


def test_a_member_00_beside_the_control_is_not_counted_again() -> None:
    weather = columns.read(answer(members(3, first=0)))
    assert weather.members == 3


def test_an_ensemble_without_control_starts_at_its_first_member() -> None:
    weather = columns.read(answer(members(10, control=False)))
    assert weather.members == 10
    assert weather.air_c[0, 0] == pytest.approx(8.1)


def test_members_with_a_model_behind_them_are_read() -> None:
    made = {f"{name}_gfs025": values for name, values in members(2).items()}
    bare: dict[str, Any] = {name: None for name in answer()["hourly"] if name != "time"}
    units = {name: UNITS[name.partition("_member")[0].removesuffix("_gfs025")] for name in made}
    assert columns.read(answer(bare | made, units=units)).members == 3


def test_a_quantity_without_members_serves_them_all() -> None:
    weather = columns.read(answer(members(4) | {"precipitation_probability": [0, 40, 0, 0, 0, 0]}))
    assert weather.rain_chance is not None
    assert weather.rain_chance[:, 0].tolist() == [0.4] * 5


def test_a_member_that_lacks_a_quantity_is_unknown_and_that_is_noted() -> None:
    weather = columns.read(answer(members(4) | {"precipitation_member02": [None] * HOURS}))
    assert weather.members == 5
    assert weather.air_c[:, 0].tolist() == pytest.approx([8.0, 8.1, 8.2, 8.3, 8.4])
    assert np.isnan(weather.rain_mm).all(axis=1).tolist() == [False, False, True, False, False]
    assert any("1 of 5 members" in note for note in weather.provenance.notes)


def test_members_that_have_nothing_in_common_are_refused() -> None:
    rows = members(2, control=False)
    rows |= {
        name.replace("member", "member1"): rows.pop(name) for name in list(rows) if "wind_speed_10m_" in name
    }
    refused(answer(rows), "No member")


def test_a_fault_in_one_member_is_told_by_its_column() -> None:
    refused(answer(members(2) | {"temperature_2m_member02": [99.0] * HOURS}), "temperature_2m_member02 is 99")


def test_the_mean_of_an_ensemble_is_the_value_and_its_spread_is_noted() -> None:
    weather = columns.read(
        answer(
            {"temperature_2m_spread": [0.3, 0.4, 0.5, 0.6, 0.7, None]}, units={"temperature_2m_spread": "K"}
        )
    )
    assert weather.members == 1
    assert weather.air_c[0, 0] == 8.0
    assert any("0.3 to 0.7 K" in note for note in weather.provenance.notes)


# ------------------------------------------------------------------ places and provenance


def test_the_cell_is_told_in_the_provenance() -> None:
    source = columns.read(answer()).provenance
    assert (source.family, source.latitude, source.longitude, source.altitude_m) == (
        "columns",
        48.0,
        8.25,
        500.0,
    )


def test_a_height_that_is_absent_is_unknown() -> None:
    assert columns.read(answer(elevation=...)).provenance.altitude_m is None


def test_of_several_places_the_nearest_is_taken() -> None:
    far = answer({"temperature_2m": [30.0] * HOURS}, latitude=-12.4, longitude=130.8)
    near = answer(location_id=1)
    weather = columns.read([far, near], place=(48.1, 8.2))
    assert weather.air_c[0, 0] == 8.0
    assert any("2 places" in note for note in weather.provenance.notes)


def test_several_places_that_are_all_elsewhere_are_refused_with_the_distance() -> None:
    text = refused([answer(), answer(latitude=49.0)], "2 places", "km away", place=(-12.4, 130.8))
    assert "134" in text or "13" in text


def test_several_places_without_an_asked_one_are_refused() -> None:
    refused([answer(), answer()], "2 places")


def test_one_place_in_a_list_is_that_place() -> None:
    assert columns.read([answer()]).hours == HOURS


def test_an_answer_for_another_place_is_refused() -> None:
    refused(answer(longitude=-8.25), "sign of the longitude", "km away", place=(48.0, 8.25))


def test_a_cell_some_way_off_is_noted_and_one_at_hand_is_not() -> None:
    body = json.dumps(answer()).encode()
    off = read_answer(body, place=(48.2, 8.25))
    assert any("22 km away" in note for note in off.provenance.notes)
    assert read_answer(body, place=(48.05, 8.25)).provenance.notes == ()


def test_an_answer_that_does_not_say_its_place_is_noted() -> None:
    weather = read_answer(json.dumps(answer(latitude=...)).encode(), place=(48.0, 8.0))
    assert any("does not say for which place" in note for note in weather.provenance.notes)


@pytest.mark.parametrize(
    ("first", "second", "km"),
    [
        ((0.0, 0.0), (0.0, 180.0), 20015.1),  # half the circumference of a sphere of 6371 km
        ((48.0, 179.9), (48.0, -179.9), 14.9),  # 0.2 degrees of longitude at 48 N, across the date line
        ((90.0, 0.0), (90.0, 123.0), 0.0),
    ],
)
def test_distances_are_those_of_the_sphere(
    first: tuple[float, float], second: tuple[float, float], km: float
) -> None:
    assert columns.distance_km(first, second) == pytest.approx(km, abs=0.1)


NOON = datetime(2025, 11, 3, 12, tzinfo=UTC)
ASKED = datetime(2025, 11, 3, 13, tzinfo=UTC)


@pytest.mark.parametrize(
    ("issued", "fetched", "made", "known"),
    [
        (NOON, ASKED, NOON, True),
        (None, ASKED, ASKED, True),
        (None, None, datetime(2025, 11, 3, tzinfo=UTC), False),
    ],
)
def test_the_time_it_was_made_is_said_fetched_or_the_first_hour(
    issued: datetime | None, fetched: datetime | None, made: datetime, known: bool
) -> None:
    body = json.dumps(answer()).encode()
    source = read_answer(
        body, issued=issued, fetched=fetched, address="https://example.org/?key=***"
    ).provenance
    assert (source.issued, source.issued_known, source.fetched) == (made, known, fetched)
    assert source.address == "https://example.org/?key=***"


def test_a_short_gap_is_closed_and_marked_and_two_wet_hours_that_are_missing_stay_missing() -> None:
    gaps = {"temperature_2m": [8, None, None, 5, 4, 3], "precipitation": [0, 4.0, None, None, 6.0, 0]}
    weather = read_answer(json.dumps(answer(gaps)).encode())
    assert weather.air_c[0].tolist() == [8, 7, 6, 5, 4, 3]
    assert np.isnan(weather.rain_mm[0]).tolist() == [False, True, True, False, False, True]
    assert weather.filled is not None
    assert weather.filled.tolist() == [False, True, True, False, False, False]


# ------------------------------------------------------------------ whatever else may come


def test_an_error_answer_is_quoted() -> None:
    refused({"error": True, "reason": "Latitude must be in range of -90 to 90°. Given: 480."}, "Given: 480.")


@pytest.mark.parametrize("block", ["daily", "minutely_15", "current"])
def test_an_answer_without_an_hourly_part_says_what_it_holds(block: str) -> None:
    refused(
        answer(hourly=..., hourly_units=..., **{block: {"time": times()}}), "no hourly part", block, "hourly="
    )


@pytest.mark.parametrize("block", [[], "text", 5])
def test_an_hourly_part_that_is_no_columns_is_refused(block: object) -> None:
    data = answer()
    data["hourly"] = block
    refused(data, "not columns")


@pytest.mark.parametrize(
    ("body", "word"),
    [
        (b"", "empty"),
        (b"  \n", "empty"),
        (b"<!DOCTYPE html><html><body>502 Bad Gateway</body></html>", "web page"),
        (b'{"hourly":{"time":["2025-11-03T00:00"', "cut off"),
        (b'{"hourly":{"time":["2025Unexpected error while streaming data: timeoutReached', "broke off"),
        (b'{"latitude":48.0,"hourly":{"temperature_2m":[nan,1.0]}}', "cut off or damaged"),
        (b'{"latitude":48.0,"hourly":{"temperature_2m":[NaN,1.0]}}', "too old"),
        (b'{"latitude":48.0,"hourly":{"temperature_2m":[-Infinity]}}', "too old"),
        (b"\xff\xfe{}", "UTF-8"),
        (b"Bad Gateway", "not JSON"),
        (b'{"hourly": 1, "hourly": 2}', "stands twice"),
        (b"[" * 100_000, "nested too deeply"),
        (b'{"a": ' + b"9" * 5000 + b"}", "cut off or damaged"),
        (b"null", "no kind of forecast"),
        (b"[]", "no kind of forecast"),
        (b'"text"', "no kind of forecast"),
        (b"{}", "no kind of forecast"),
    ],
)
def test_what_is_no_forecast_is_refused_in_plain_words(body: bytes, word: str) -> None:
    with pytest.raises(WeatherError, match=word):
        read_answer(body)


def test_a_byte_order_mark_does_no_harm() -> None:
    assert read_answer(b"\xef\xbb\xbf" + json.dumps(answer()).encode()).hours == HOURS


def test_a_family_that_is_known_but_not_read_yet_is_named() -> None:
    data = {"timeSeries": [], "referenceTime": "2025-11-03T00:00:00Z"}
    refused(data, "This is a SMHI answer", "hourly column, MET Norway, US National Weather Service")


def test_every_family_has_a_name_of_its_own() -> None:
    names = [family.name for family in FAMILIES]
    assert len(set(names)) == len(names)
    assert names[0] == "columns"


def test_what_is_asked_for_is_what_the_reader_reads() -> None:
    params = columns.request_params(16, 3)
    assert (params["forecast_days"], params["past_days"], params["timezone"]) == ("16", "3", "GMT")
    asked = params["hourly"].split(",")
    assert len(asked) == 10, "ten quantities are one call in Open-Meteo's own count"
    assert set(asked) <= set(columns.VARIABLE_MAP)


# ------------------------------------------------------------------ properties


def holes(low: float, high: float) -> st.SearchStrategy[float | None]:
    whole = st.integers(int(low * 10), int(high * 10)).map(lambda n: n / 10)
    return st.one_of(whole, whole, whole, st.none())


@st.composite
def made_series(draw: st.DrawFn) -> tuple[dict[str, Any], datetime, dict[str, list[float | None]]]:
    """An answer in some units and some way of writing time, its true start, and its true values."""
    count = draw(st.integers(2, 30))
    quarter = draw(st.integers(0, 4 * 24 * 365))
    start = datetime(2025, 1, 1, tzinfo=UTC) + timedelta(minutes=15 * quarter)
    offset = draw(st.sampled_from([0, 3600, -18000, 34200, 20700, -34200, 50400]))
    true = {
        "temperature_2m": draw(st.lists(holes(-30, 40), min_size=count, max_size=count)),
        "wind_speed_10m": draw(st.lists(holes(0, 40), min_size=count, max_size=count)),
        "precipitation": draw(st.lists(holes(0, 30), min_size=count, max_size=count)),
    }
    for values in true.values():
        values[draw(st.integers(0, count - 1))] = 1.0  # not null throughout
    unit, scale, shift = draw(st.sampled_from([("°C", 1.0, 0.0), ("°F", 1.8, 32.0), ("K", 1.0, 273.15)]))
    speed, factor = draw(
        st.sampled_from([("m/s", 1.0), ("km/h", 3.6), ("mp/h", 1 / 0.44704), ("kn", 3.6 / 1.852)])
    )
    depth, share = draw(st.sampled_from([("mm", 1.0), ("inch", 1 / 25.4)]))
    hourly: dict[str, Any] = {
        "temperature_2m": [None if v is None else v * scale + shift for v in true["temperature_2m"]],
        "wind_speed_10m": [None if v is None else v * factor for v in true["wind_speed_10m"]],
        "precipitation": [None if v is None else v * share for v in true["precipitation"]],
        "dew_point_2m": [-40.0] * count,
    }
    units = {"temperature_2m": unit, "wind_speed_10m": speed, "precipitation": depth, "time": "iso8601"}
    local = start.replace(tzinfo=None) + timedelta(seconds=offset)
    hourly["time"] = [f"{local + timedelta(hours=n):%Y-%m-%dT%H:%M}" for n in range(count)]
    if draw(st.booleans()):
        units["time"] = "unixtime"
        hourly["time"] = [int(start.timestamp()) + 3600 * n for n in range(count)]
    return answer(hourly, units=units, utc_offset_seconds=offset), start, true


@given(made_series())
@settings(max_examples=60, deadline=None)
def test_any_series_in_any_unit_comes_back_as_it_was(
    made: tuple[dict[str, Any], datetime, dict[str, Any]],
) -> None:
    data, start, true = made
    weather = columns.read(json.loads(json.dumps(data)))
    assert weather.start == start
    wanted = {name: np.array([np.nan if v is None else v for v in values]) for name, values in true.items()}
    rain = np.append(wanted["precipitation"][1:], np.nan)
    assert np.allclose(weather.air_c[0], wanted["temperature_2m"], atol=1e-9, equal_nan=True)
    assert np.allclose(weather.wind_ms[0], wanted["wind_speed_10m"], atol=1e-9, equal_nan=True)
    assert np.allclose(weather.rain_mm[0], rain, atol=1e-9, equal_nan=True)


ANY_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=8,
)
SPOTS = [(key,) for key in answer()] + [
    (block, name) for block in ("hourly", "hourly_units") for name in answer()["hourly"]
]


@given(st.sampled_from(SPOTS), ANY_JSON)
@settings(max_examples=80, deadline=None)
@example(("latitude",), 10**400)
@example(("elevation",), -1e300)
@example(("hourly_units", "temperature_2m"), [])
def test_an_answer_with_one_part_spoiled_is_weather_or_a_clear_refusal(
    spot: tuple[str, ...], junk: Any
) -> None:
    data = answer()
    inner = data if len(spot) == 1 else data[spot[0]]
    inner[spot[-1]] = junk
    try:
        outcome: object = read_answer(json.dumps(data).encode(), place=(48.0, 8.25)).hours
    except WeatherError as error:
        outcome = str(error)[-1]
    assert outcome in {HOURS, "."}


@given(st.integers(1, len(json.dumps(answer())) - 1))
@settings(max_examples=60, deadline=None)
def test_an_answer_cut_off_anywhere_is_refused(cut: int) -> None:
    with pytest.raises(WeatherError, match=r"cut off|empty"):
        read_answer(json.dumps(answer()).encode()[:cut])


@given(st.binary(max_size=200))
@settings(max_examples=100, deadline=None)
def test_any_bytes_are_weather_or_a_refusal(body: bytes) -> None:
    with pytest.raises(WeatherError):
        read_answer(body)
