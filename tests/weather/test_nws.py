"""The reader of the grid of the US National Weather Service, on small answers made here."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from family_samples import START, Json, layer, nws, read, refused, z
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.weather.air import dew_point_from_humidity
from scheduler.weather.formats import nws as reader
from scheduler.weather.formats.periods import hourly_chance

POINT = {
    "type": "Feature",
    "properties": {
        "gridId": "TAE",
        "forecast": "https://api.weather.gov/gridpoints/TAE/58,65/forecast",
        "forecastGridData": "https://api.weather.gov/gridpoints/TAE/58,65",
    },
}


def row(values: Any) -> Any:
    assert values is not None
    return values[0]


def test_layers_of_merged_hours_become_hours() -> None:
    weather = read(nws())
    assert (weather.start, weather.hours, weather.members) == (START, 24, 1)
    assert weather.air_c[0] == pytest.approx([8.0] * 10 + [4.0] * 14)
    assert weather.wind_ms[0] == pytest.approx(3.0)
    assert row(weather.gust_ms)[:12] == pytest.approx(5.0)
    assert np.isnan(row(weather.gust_ms)[12:]).all()
    assert row(weather.cloud) == pytest.approx(0.5)
    assert weather.known_until() == START + timedelta(days=1)
    assert weather.provenance.issued == datetime(2025, 11, 2, 23, 30, tzinfo=UTC)
    assert weather.provenance.altitude_m == 500.0
    assert weather.provenance.latitude == pytest.approx(48.0)
    assert weather.provenance.longitude == pytest.approx(8.25)


def test_an_interval_of_five_days_and_nineteen_hours_is_as_long_as_that() -> None:
    weather = read(nws(temperature=layer("degC", (0, "P5DT19H", 4.0))))
    assert weather.hours == 139
    assert np.isfinite(weather.air_c).all()
    assert np.isnan(weather.rain_mm[0, 24:]).all(), "the rain layer ends on the first day"
    assert weather.known_until() == START + timedelta(days=1)


def test_layers_of_unequal_length_are_unknown_outside_their_own_hours() -> None:
    weather = read(
        nws(
            windSpeed=layer("km_h-1", (-2, "PT20H", 10.8)),
            quantitativePrecipitation=layer("mm", (0, "PT6H", 0.6), (12, "PT6H", 1.2)),
        )
    )
    assert weather.start == START - timedelta(hours=2)
    assert weather.hours == 26
    assert np.isnan(weather.air_c[0, :2]).all()
    assert np.isfinite(weather.wind_ms[0, :20]).all()
    assert np.isnan(weather.wind_ms[0, 20:]).all()
    rain = weather.rain_mm[0]
    assert rain[2:8] == pytest.approx(0.1)
    assert rain[14:20] == pytest.approx(0.2)
    assert np.isnan(rain[[0, 1, *range(8, 14), *range(20, 26)]]).all(), "a hole is unknown, never dry"


def test_an_empty_layer_without_a_unit_says_nothing() -> None:
    data = nws(skyCover={"values": []}, windGust={"values": []}, weather=None)
    weather = read(data)
    assert (weather.cloud, weather.gust_ms, weather.code) == (None, None, None)


# ------------------------------------------------------------------ rain and its chance


@given(
    st.lists(
        st.tuples(st.integers(1, 12), st.integers(0, 500).map(lambda n: n * 0.254)), min_size=1, max_size=9
    )
)
@settings(max_examples=40, deadline=None)
def test_the_shares_of_any_rain_add_up_to_it(parts: list[tuple[int, float]]) -> None:
    first, spans = 0, []
    for hours, total in parts:
        spans.append((first, f"PT{hours}H", total))
        first += hours
    rain = read(nws(quantitativePrecipitation=layer("mm", *spans))).rain_mm[0]
    assert np.nansum(rain) == pytest.approx(sum(total for _, total in parts))
    for (begin, _, total), (hours, _) in zip(spans, parts, strict=True):
        assert rain[begin : begin + hours].sum() == pytest.approx(total)


def test_rain_with_a_chance_is_spread_evenly_and_without_one_from_the_start() -> None:
    rain = layer("mm", (0, "PT6H", 0.3), (6, "PT6H", 0.3))
    weather = read(
        nws(quantitativePrecipitation=rain, probabilityOfPrecipitation=layer("percent", (0, "PT6H", 40)))
    )
    assert weather.rain_mm[0, :6] == pytest.approx(0.05)
    assert weather.rain_mm[0, 6:12] == pytest.approx([0.1, 0.1, 0.1, 0.0, 0.0, 0.0])


def test_a_block_of_chances_is_one_period_of_at_most_twelve_hours() -> None:
    chances = layer("percent", (0, "PT1H", 30), (1, "PT6H", 50), (7, "P1DT13H", 20), (44, "PT6H", None))
    weather = read(nws(probabilityOfPrecipitation=chances, temperature=layer("degC", (0, "P3D", 4.0))))
    chance = row(weather.rain_chance)
    assert chance[0] == pytest.approx(0.3)
    assert chance[1:7] == pytest.approx(float(hourly_chance(0.5, 6)))
    # 37 hours are four periods: one of 10 hours and three of 9.
    assert chance[7:17] == pytest.approx(float(hourly_chance(0.2, 10)))
    assert chance[17:44] == pytest.approx(float(hourly_chance(0.2, 9)))
    assert np.isnan(chance[44:]).all()


def test_a_chance_of_days_is_not_the_chance_of_one_period() -> None:
    long = read(nws(probabilityOfPrecipitation=layer("percent", (0, "P1D", 30))))
    assert row(long.rain_chance) == pytest.approx(float(hourly_chance(0.3, 12)))


# ------------------------------------------------------------------ nights, humidity, thunder


def test_a_night_is_as_cold_as_its_stated_minimum() -> None:
    hours = layer("degC", *((k, "PT1H", 3.0 + abs(k - 8) / 2) for k in range(24)))
    weather = read(nws(temperature=hours, minTemperature=layer("degC", (1, "PT14H", -0.5))))
    assert weather.air_c[0, 8] == pytest.approx(-0.5)
    assert weather.air_c[0].min() == pytest.approx(-0.5)
    assert weather.air_c[0, 16] == pytest.approx(7.0), "outside the night nothing changes"
    assert (weather.dew_point_c <= weather.air_c).all()


def test_a_minimum_that_is_no_colder_changes_nothing_and_nor_does_one_of_an_unknown_night() -> None:
    warm = nws(minTemperature=layer("degC", (1, "PT14H", 6.0)))
    assert read(warm).air_c[0] == pytest.approx([8.0] * 10 + [4.0] * 14)
    late = nws(minTemperature=layer("degC", (20, "PT14H", -9.0)))
    assert read(late).air_c[0].min() == pytest.approx(4.0), "its coldest hour is behind the end of the hours"


def test_the_dew_point_goes_on_by_humidity_where_its_layer_ends() -> None:
    weather = read(nws(dewpoint=layer("degC", (0, "PT12H", 2.0))))
    assert weather.dew_point_c[0, :12] == pytest.approx(2.0)
    assert weather.dew_point_c[0, 12:] == pytest.approx(float(dew_point_from_humidity(4.0, 87.0)))
    alone = read(nws(dewpoint=None))
    assert alone.dew_point_c[0, 0] == pytest.approx(float(dew_point_from_humidity(8.0, 66.0)))


def test_thunderstorms_that_are_named_become_their_code() -> None:
    storm = [
        {"coverage": "likely", "weather": "rain_showers", "intensity": "light"},
        {"coverage": "isolated", "weather": "thunderstorms", "intensity": None},
    ]
    kinds = layer(
        None,
        (0, "PT6H", [{"coverage": None, "weather": None}]),
        (6, "PT3H", storm),
        (9, "PT3H", [{"weather": "blowing_snow"}, {"weather": "snow"}]),
        (12, "PT3H", None),
    )
    code = row(read(nws(weather=kinds)).code)
    assert code[:12].tolist() == [0] * 6 + [95] * 3 + [71] * 3
    assert np.isnan(code[12:]).all(), "what is not said is unknown"


def test_fahrenheit_and_metres_a_second_are_converted() -> None:
    weather = read(
        nws(
            temperature=layer("degF", (0, "P1D", 41.0)),
            windSpeed={**layer("m_s-1", (0, "P1D", 3.0)), "uom": "unit:m_s-1"},
        )
    )
    assert weather.air_c[0] == pytest.approx(5.0)
    assert weather.wind_ms[0] == pytest.approx(3.0)


# ------------------------------------------------------------------ other answers of the service


def test_the_answer_for_a_point_names_its_grid() -> None:
    assert reader.grid_link(POINT) == "https://api.weather.gov/gridpoints/TAE/58,65"
    refused(POINT, "for a point", "https://api.weather.gov/gridpoints/TAE/58,65")


@pytest.mark.parametrize(
    "link",
    [None, 5, "", "gridpoints/TAE/58,65", "file:///etc/passwd", "https://", "http://[x", "https://a\nb"],
)
def test_a_link_that_is_no_address_is_not_given(link: object) -> None:
    data = {"properties": {"forecastGridData": link}}
    assert reader.grid_link(data) is None
    refused(data, "for a point")


@pytest.mark.parametrize("data", [None, [], {}, {"properties": []}, nws()])
def test_other_answers_name_no_grid(data: object) -> None:
    assert reader.grid_link(data) is None


def test_the_text_forecast_is_refused_for_its_lack_of_rain() -> None:
    refused({"properties": {"units": "si", "periods": [{"number": 1}]}}, "no rain amounts")


def test_reports_of_a_station_are_no_forecast() -> None:
    report = {
        "properties": {"@id": "https://api.weather.gov/stations/KCKV/observations/2024-01-12T15:38:00+00:00"}
    }
    refused({"type": "FeatureCollection", "features": [report]}, "reports of a weather station")
    refused(report | {"type": "Feature"}, "reports of a weather station")


@pytest.mark.parametrize(
    ("problem", "detail", "word"),
    [
        ("InvalidPoint", "Unable to provide data for requested point", "United States only"),
        ("ForecastGridExpired", "The requested forecast grid was issued and has expired.", "Ask again later"),
        ("UnexpectedProblem", "An unexpected problem has occurred.", "Ask again later"),
    ],
)
def test_an_error_is_quoted(problem: str, detail: str, word: str) -> None:
    data = {
        "correlationId": "1",
        "title": "Title",
        "type": f"https://api.weather.gov/problems/{problem}",
        "status": 500,
        "detail": detail,
    }
    refused(data, f'"Title: {detail}"', word)
    refused({"correlationId": "1", "title": 5}, "no reason given")


# ------------------------------------------------------------------ what is missing or wrong


@pytest.mark.parametrize(
    ("name", "word"),
    [
        ("windSpeed", "wind (windSpeed)"),
        ("quantitativePrecipitation", "rain (quantitativePrecipitation)"),
    ],
)
@pytest.mark.parametrize("absent", [None, {"values": []}, layer("percent", (0, "P1D", None))])
def test_a_grid_without_a_needed_layer_is_refused(name: str, word: str, absent: Json | None) -> None:
    refused(nws(**{name: absent}), "not enough", word)


def test_a_grid_without_dew_point_and_humidity_is_refused() -> None:
    refused(nws(dewpoint=None, relativeHumidity=None), "dew point or humidity")


@pytest.mark.parametrize(
    ("spans", "word"),
    [
        (((0, "PT6H", 8), (3, "PT6H", 8)), "overlap or are not in order"),
        (((6, "PT6H", 8), (0, "PT6H", 8)), "overlap or are not in order"),
        (((0, "PT6H", 8), (0, "PT6H", 8)), "overlap or are not in order"),
        (((0, "PT90M", 8),), "not of whole hours"),
        (((0.5, "PT1H", 8),), "not of whole hours"),
        (((0, "P1M", 8),), "years or months"),
        (((0, "PT0H", 8),), "no length"),
        (((0, "P60D", 8),), "longer than any forecast"),
        (((0, "PT1H", 8), (900, "PT99H", 8)), "more than 40 days"),
        (((0, "PT1H", 3000.0),), "outside -60 to 60"),
        (((0, "PT1H", "8"),), "not a number"),
        (((0, "PT1H", 1e308 * 10),), "too old"),
    ],
)
def test_a_layer_that_is_not_as_it_should_be_is_refused(spans: Any, word: str) -> None:
    refused(nws(temperature=layer("degC", *spans)), word)


@pytest.mark.parametrize("uom", [None, "", "wmoUnit:furlong", 5, ["wmoUnit:degC"]])
def test_a_layer_without_a_known_unit_is_refused(uom: object) -> None:
    refused(nws(temperature={**layer("degC", (0, "P1D", 8.0)), "uom": uom}), "unit")


@pytest.mark.parametrize("entry", [5, {}, {"value": 8}, {"validTime": z(0)}, {"validTime": 5, "value": 8}])
def test_a_value_without_its_interval_is_refused(entry: object) -> None:
    refused(nws(temperature={"uom": "wmoUnit:degC", "values": [entry]}), "without its interval")


def test_a_dew_point_above_the_air_contradicts_itself_but_a_rounded_one_does_not() -> None:
    assert read(nws(dewpoint=layer("degC", (0, "P1D", 4.5)))).dew_point_c[0, 20] == pytest.approx(4.0)
    refused(nws(dewpoint=layer("degC", (0, "P1D", 5.0))), "lies above the air's", "10:00 UTC")


def test_a_cell_whose_corners_are_no_places_is_not_said_to_be_anywhere() -> None:
    data = nws()
    data["geometry"] = {"type": "Polygon", "coordinates": [[[8, 48], [8, 95], [9, 48], [8, 48]]]}
    weather = read(data)
    assert weather.provenance.latitude is None
    assert any("does not say for which place" in note for note in weather.provenance.notes)
