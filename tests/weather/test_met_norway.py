"""The reader of MET Norway's Locationforecast, on small answers made here."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from family_samples import START, Json, met_entry, met_norway, met_part, read, refused, z
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.settings import doubt, physics
from scheduler.weather.air import dew_point_from_humidity, pressure_at
from scheduler.weather.formats.periods import hourly_chance
from scheduler.weather.members import draw_members

HOURS = 6 + 3 * 6 + 1


def without(data: Json, name: str, first: int = 0) -> Json:
    """The answer with one parameter missing from an hour on."""
    for entry in data["properties"]["timeseries"]:
        if entry["time"] >= z(first):
            for part in entry["data"].values():
                part.get("details", {}).pop(name, None)
    return data


def row(values: Any) -> Any:
    assert values is not None
    return values[0]


def test_hours_then_steps_of_six_hours_become_hours_up_to_the_last_entry() -> None:
    weather = read(met_norway())
    assert (weather.start, weather.hours, weather.members) == (START, HOURS, 1)
    assert weather.known_until() == START + timedelta(hours=24)
    assert weather.provenance.issued == datetime(2025, 11, 2, 23, 30, tzinfo=UTC)
    assert weather.provenance.issued_known
    assert (weather.provenance.latitude, weather.provenance.longitude) == (48.0, 8.25)
    assert "from 2025-11-03 06:00 UTC on in steps of 6 hours" in weather.provenance.notes[0]


def test_instants_run_straight_between_points_six_hours_apart() -> None:
    data = met_norway()
    met_part(data, 12)["air_temperature"] = 2.0
    met_part(data, 12)["wind_speed"] = 9.0
    met_part(data, 12)["cloud_area_fraction"] = 80.0
    weather = read(data)
    assert weather.air_c[0, 5:14] == pytest.approx([8, 8, 7, 6, 5, 4, 3, 2, 3])
    assert weather.wind_ms[0, 6:13] == pytest.approx([3, 4, 5, 6, 7, 8, 9])
    assert row(weather.cloud)[9] == pytest.approx(0.65)


def test_the_night_keeps_to_the_minimum_that_is_stated_for_it() -> None:
    data = met_norway()
    met_part(data, 12)["air_temperature"] = 6.0
    met_part(data, 6, "next_6_hours")["air_temperature_min"] = 1.0
    met_part(data, 6, "next_6_hours")["air_temperature_max"] = 8.0
    weather = read(data)
    night = weather.air_c[0, 6:13]
    assert night.min() == pytest.approx(1.0)
    assert (night[0], night[-1]) == (8.0, 6.0)
    assert (weather.dew_point_c <= weather.air_c).all(), "the dew point gives way where the air is cooled"
    assert weather.dew_point_c[0, int(np.argmin(night)) + 6] == pytest.approx(1.0)


def test_the_extremes_of_the_hourly_part_change_nothing() -> None:
    data = met_norway()
    for hour in range(6):
        met_part(data, hour, "next_6_hours")["air_temperature_min"] = -20.0
    assert read(data).air_c[0, :7] == pytest.approx(8.0)


def test_a_minimum_above_the_maximum_contradicts_itself() -> None:
    data = met_norway()
    met_part(data, 6, "next_6_hours").update(air_temperature_min=5.0, air_temperature_max=4.0)
    refused(data, "minimum of the air lies above the maximum", "2025-11-03 06:00")


# ------------------------------------------------------------------ rain


def test_rain_over_the_seam_is_taken_once_for_each_hour() -> None:
    data = met_norway()
    for hour in range(6):
        met_part(data, hour, "next_1_hours")["precipitation_amount"] = 0.5
        # The hourly entries carry the next six hours too, as the service has it.
        met_part(data, hour, "next_6_hours")["precipitation_amount"] = 9.0
    met_part(data, 6, "next_6_hours")["precipitation_amount"] = 2.7
    weather = read(data)
    assert weather.rain_mm[0, :6] == pytest.approx(0.5)
    assert weather.rain_mm[0, 6:12] == pytest.approx(0.45)
    assert np.nansum(weather.rain_mm) == pytest.approx(6 * 0.5 + 2.7)


def test_the_rain_of_the_last_entry_is_unknown_and_not_zero() -> None:
    weather = read(met_norway())
    assert np.isnan(weather.rain_mm[0, -1])
    assert np.isfinite(weather.rain_mm[0, :-1]).all()
    assert np.isfinite(weather.air_c[0, -1])


def test_a_last_entry_with_a_period_reaches_to_the_end_of_it() -> None:
    data = met_norway()
    data["properties"]["timeseries"][-1] = met_entry(24, 6)
    weather = read(data)
    assert weather.hours == 30
    assert np.isfinite(weather.rain_mm).all()
    assert np.isnan(weather.air_c[0, 25:]).all()


def test_without_hourly_rain_each_six_hours_are_taken_once() -> None:
    data = met_norway(hourly=12, sixes=0)
    for hour in range(12):
        met_part(data, hour, "next_1_hours").clear()
        met_part(data, hour, "next_6_hours")["precipitation_amount"] = 6.0
    weather = read(data)
    assert weather.rain_mm[0, :12] == pytest.approx(1.0)
    assert weather.hours == 13, "the six hours from the seventh on are half known and not taken again"


def test_little_rain_without_a_chance_is_not_thinned_away() -> None:
    data = without(met_norway(), "probability_of_precipitation")
    met_part(data, 6, "next_6_hours")["precipitation_amount"] = 0.3
    weather = read(data)
    assert weather.rain_chance is None
    assert weather.rain_mm[0, 6:12] == pytest.approx([0.1, 0.1, 0.1, 0.0, 0.0, 0.0])


@given(st.lists(st.integers(0, 300).map(lambda n: n / 10), min_size=9, max_size=9))
@settings(max_examples=40, deadline=None)
def test_the_total_of_any_rain_is_kept(amounts: list[float]) -> None:
    data = met_norway()
    for hour, amount in zip([*range(6), 6, 12, 18], amounts, strict=True):
        part = "next_1_hours" if hour < 6 else "next_6_hours"
        met_part(data, hour, part)["precipitation_amount"] = amount
    assert np.nansum(read(data).rain_mm) == pytest.approx(sum(amounts), abs=1e-9)


# ------------------------------------------------------------------ chance, doubt, thunder


def test_a_chance_of_six_hours_becomes_one_of_each_hour() -> None:
    data = met_norway()
    met_part(data, 2, "next_1_hours")["probability_of_precipitation"] = 30.0
    met_part(data, 6, "next_6_hours")["probability_of_precipitation"] = 54.9
    chance = row(read(data).rain_chance)
    assert chance[2] == pytest.approx(0.3)
    assert chance[6:12] == pytest.approx(float(hourly_chance(0.549, 6)))
    assert 0.549 / 6 < chance[6] < 0.549


def test_a_chance_of_twelve_hours_serves_where_no_nearer_one_is_given() -> None:
    data = met_norway()
    for hour in (6, 12):
        del met_part(data, hour, "next_6_hours")["probability_of_precipitation"]
    met_part(data, 6, "next_12_hours")["probability_of_precipitation"] = 50.0
    met_part(data, 12, "next_12_hours")["probability_of_precipitation"] = 90.0
    chance = row(read(data).rain_chance)
    assert chance[6:18] == pytest.approx(float(hourly_chance(0.5, 12)))
    assert chance[18:24] == pytest.approx(0.0)


def test_percentiles_of_the_air_become_its_standard_deviation() -> None:
    data = met_norway()
    for hour, spread in ((0, 1.0), (6, 2.0), (12, 4.0)):
        met_part(data, hour)["air_temperature_percentile_10"] = 8.0 - spread
        met_part(data, hour)["air_temperature_percentile_90"] = 8.0 + spread
    weather = read(data)
    sigma = row(weather.air_sigma_k)
    # The normal distribution's 10 % point is 1.2816 standard deviations from its middle.
    assert sigma[[0, 6, 9, 12]] == pytest.approx(np.array([1.0, 2.0, 3.0, 4.0]) / 1.2816, rel=1e-4)
    assert np.isnan(sigma[[3, 13, 24]]).all()


def test_the_doubt_of_the_source_goes_into_the_drawing_of_members() -> None:
    data = met_norway()
    for hour in (*range(6), 6, 12, 18, 24):
        met_part(data, hour).update(air_temperature_percentile_10=7.0, air_temperature_percentile_90=9.0)
    given = read(data)
    assert row(given.air_sigma_k) == pytest.approx(1 / 1.2816, rel=1e-4)
    members = draw_members(given, doubt(), physics(), issued=START, latitude=48.0, longitude=8.25, count=5)
    assert members.weather.members == 5
    assert members.weather.air_sigma_k is None  # it is in the draws now
    assert members.weather.between(START, START + timedelta(hours=3)).hours == 3


def test_percentiles_in_the_wrong_order_contradict_themselves() -> None:
    data = met_norway()
    met_part(data, 3).update(air_temperature_percentile_10=9.0, air_temperature_percentile_90=7.0)
    refused(data, "10th percentile", "03:00 UTC")


def test_thunder_in_a_symbol_is_known_and_nothing_else_of_it_counts_as_thunder() -> None:
    data = met_norway()
    series = data["properties"]["timeseries"]
    series[2]["data"]["next_1_hours"]["summary"]["symbol_code"] = "heavyrainshowersandthunder_day"
    series[3]["data"]["next_1_hours"]["summary"]["symbol_code"] = "lightsnow"
    series[6]["data"]["next_6_hours"]["summary"]["symbol_code"] = "rainandthunder"
    series[7]["data"]["next_6_hours"]["summary"]["symbol_code"] = 5
    code = row(read(data).code)
    assert code[:6].tolist() == [0, 0, 95, 71, 0, 0]
    assert (code[6:12] == 95).all()
    assert np.isnan(code[12:18]).all()
    assert np.isnan(code[-1])


# ------------------------------------------------------------------ what is missing


def test_compact_gives_the_dew_point_by_its_humidity() -> None:
    data = without(met_norway(), "dew_point_temperature")
    weather = read(data)
    assert weather.dew_point_c[0] == pytest.approx(float(dew_point_from_humidity(8.0, 66.0)))


def test_the_dew_point_goes_on_by_humidity_where_it_ends() -> None:
    weather = read(without(met_norway(), "dew_point_temperature", first=6))
    assert weather.dew_point_c[0, :6] == pytest.approx(2.0)
    assert weather.dew_point_c[0, 6:] == pytest.approx(float(dew_point_from_humidity(8.0, 66.0)))


@pytest.mark.parametrize(
    ("foreign", "house"),
    [("wind_speed", "wind_ms"), ("cloud_area_fraction", "cloud"), ("air_temperature", "air_c")],
)
def test_a_parameter_that_ends_along_the_series_is_unknown_from_there(foreign: str, house: str) -> None:
    weather = read(without(met_norway(), foreign, first=12))
    values = row(getattr(weather, house))
    assert np.isfinite(values[:7]).all()
    assert np.isnan(values[7:]).all(), "half a line is no line"


def test_gusts_are_taken_where_they_are_given() -> None:
    data = met_norway()
    for hour in range(6):
        met_part(data, hour)["wind_speed_of_gust"] = 7.0 + hour
    weather = read(data)
    assert row(weather.gust_ms)[:6] == pytest.approx(range(7, 13))
    assert np.isnan(row(weather.gust_ms)[6:]).all()


def test_the_pressure_is_that_of_the_cells_own_height() -> None:
    weather = read(met_norway())
    assert row(weather.pressure_hpa) == pytest.approx(1000.0 * float(pressure_at(500.0) / pressure_at(0.0)))
    data = met_norway()
    data["geometry"]["coordinates"] = data["geometry"]["coordinates"][:2]
    assert read(data).pressure_hpa is None


@pytest.mark.parametrize(
    ("name", "word"),
    [
        ("air_temperature", "air temperature (air_temperature)"),
        ("wind_speed", "wind (wind_speed)"),
        ("precipitation_amount", "rain (precipitation_amount)"),
    ],
)
def test_an_answer_without_a_needed_quantity_is_refused(name: str, word: str) -> None:
    refused(without(met_norway(), name), "not enough", word)


def test_an_answer_without_dew_point_and_humidity_is_refused() -> None:
    refused(
        without(without(met_norway(), "dew_point_temperature"), "relative_humidity"), "dew point or humidity"
    )


# ------------------------------------------------------------------ what is wrong


@pytest.mark.parametrize(
    ("value", "word"),
    [
        (74.0, "outside -60 to 60"),
        ("8", "not a number"),
        (True, "not a number"),
        (10**400, "too large"),
        ([], "list"),
    ],
)
def test_a_value_against_nature_or_of_another_kind_is_refused(value: object, word: str) -> None:
    data = met_norway()
    met_part(data, 3)["air_temperature"] = value
    refused(data, word)


def test_a_dew_point_above_the_air_contradicts_itself_but_rounding_does_not() -> None:
    data = met_norway()
    met_part(data, 3)["dew_point_temperature"] = 8.4
    assert read(data).dew_point_c[0, 3] == 8.0
    met_part(data, 3)["dew_point_temperature"] = 9.0
    refused(data, "lies above the air's", "03:00 UTC")


def test_humidity_far_from_the_dew_point_is_said() -> None:
    data = met_norway()
    met_part(data, 3)["relative_humidity"] = 99.0
    notes = read(data).provenance.notes
    assert any("humidity and dew point are up to 33 % apart (2025-11-03 03:00 UTC)" in note for note in notes)


@pytest.mark.parametrize("unit", [None, "", "fahrenheit", "degC", 5])
def test_a_missing_or_unknown_unit_is_refused(unit: object) -> None:
    data = met_norway()
    data["properties"]["meta"]["units"]["air_temperature"] = unit
    refused(data, "unit")


@pytest.mark.parametrize("meta", [None, {}, [], {"units": None}])
def test_an_answer_without_units_is_refused(meta: object) -> None:
    data = met_norway()
    data["properties"]["meta"] = meta
    refused(data, "no units")


@pytest.mark.parametrize(
    ("hours", "word"),
    [((1, 2), "not in order"), ((3, 3), "stands twice"), ((2, None), "do not follow")],
)
def test_a_series_out_of_order_repeated_or_with_a_hole_is_refused(
    hours: tuple[int, int | None], word: str
) -> None:
    data = met_norway()
    series = data["properties"]["timeseries"]
    first, second = hours
    if second is None:
        del series[first]
    elif first == second:
        series.insert(first, series[first])
    else:
        series[first], series[second] = series[second], series[first]
    text = refused(data)
    assert word in text or "do not follow" in text


@pytest.mark.parametrize("time", [None, 5, "2025-11-03", "2025-11-03T02:00:00", "2025-11-31T02:00:00Z"])
def test_a_time_that_is_none_is_refused(time: object) -> None:
    data = met_norway()
    data["properties"]["timeseries"][2]["time"] = time
    refused(data, "time of an entry")


@pytest.mark.parametrize("series", [None, {}, [], [5], [None, None]])
def test_a_series_that_is_no_list_of_entries_is_refused(series: object) -> None:
    data = met_norway()
    data["properties"]["timeseries"] = series
    refused(data)


def test_parts_that_are_no_objects_are_refused() -> None:
    data = met_norway()
    data["properties"]["timeseries"][2]["data"]["instant"] = [1]
    refused(data, "instant of an entry is a list")


def test_an_answer_for_another_place_is_refused() -> None:
    refused(met_norway(), "check the sign of the longitude", place=(48.0, -8.25))
