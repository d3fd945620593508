"""Answers of the other families recorded from real services, where they are at hand."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from scheduler.weather.formats import read_answer
from scheduler.weather.formats.nws import grid_link
from scheduler.weather.formats.nws_observations import read_observations
from scheduler.weather.formats.periods import parse_interval
from scheduler.weather.series import Weather, WeatherError

FOLDER = Path(os.environ.get("COATCAST_PAYLOADS") or Path(__file__).parents[3] / "shared" / "payloads")
pytestmark = pytest.mark.skipif(
    not FOLDER.is_dir(), reason="no recorded answers here: set COATCAST_PAYLOADS to their folder"
)

# What each answer must give: the hours of its weather, or a word of the refusal.
OUTCOMES: dict[str, int | str] = {
    "met-norway/beijing_2020-07-20_compact": 212,
    "met-norway/germany_2022-08-02_complete_percentiles_probabilities": 219,
    "met-norway/london_2020-07-20_complete": 212,
    "nws/forecast_hourly_dc_2026-02-06_si": "no rain amounts",
    "nws/gridpoint_2022-02-04_7d": 182,
    "nws/gridpoint_2024-01-08_rain_to_snow_-7_to_12C": 189,
    "nws/gridpoint_2024-01-12_arctic_-22_to_-8C": 182,
    "nws/gridpoint_littlerock_2024-02-20_mild_dry": 194,
    "nws/observation_kckv_2024-01-12_rain_qc_S": "reports of a weather station",
    "nws/observation_kmsp_2024-01-12_-13C": "reports of a weather station",
    "nws/observations_missing_value": "reports of a weather station",
    "nws/observations_two_unsorted": "reports of a weather station",
    "nws/points_pynws": "https://api.weather.gov/gridpoints/TAE/58,65",
    "nws/points_wahoo_ne": "https://api.weather.gov/gridpoints/OAX/59,58",
    "nws/transcribed_error_404_invalid_point": "Unable to provide data for requested point",
    "nws/transcribed_error_500_unexpected_problem": "An unexpected problem has occurred.",
    "nws/transcribed_error_503_forecast_grid_expired": "has expired.",
    "other-open/brightsky_dwd_2024-10-26_dst_end_obs_and_forecast": 50,
    "other-open/geosphere_ensemble_percentiles": "no kind of forecast",
    "other-open/geosphere_out_of_domain_error": "outside of dataset bounds!",
}
GRIDS = [name for name in OUTCOMES if "gridpoint" in name]


def body(name: str) -> bytes:
    path = FOLDER / f"{name}.json"
    if not path.is_file():
        pytest.skip(f"{path.name} is not among the recorded answers here")
    return path.read_bytes()


def payload(name: str) -> Any:
    return json.loads(body(name))


def read(name: str) -> Weather:
    return read_answer(body(name))


def test_every_recorded_answer_has_an_outcome_here() -> None:
    found = {
        f"{path.parent.name}/{path.stem}"
        for folder in ("met-norway", "nws", "other-open")
        for path in (FOLDER / folder).glob("*.json")
        if not path.name.endswith(".headers.json")
    }
    assert found <= set(OUTCOMES)


@pytest.mark.parametrize("name", OUTCOMES)
def test_a_recorded_answer_gives_weather_or_a_clear_refusal(name: str) -> None:
    outcome = OUTCOMES[name]
    if isinstance(outcome, str):
        with pytest.raises(WeatherError) as caught:
            read(name)
        assert outcome in str(caught.value)
        return
    weather = read(name)
    assert weather.hours == outcome
    assert weather.known_until() > weather.start
    for quantity in ("air_c", "dew_point_c", "wind_ms"):
        assert np.isfinite(getattr(weather, quantity)[0, : outcome - 24]).all(), quantity


# ------------------------------------------------------------------ MET Norway


@pytest.mark.parametrize("name", [name for name in OUTCOMES if name.startswith("met-norway")])
def test_the_rain_of_the_whole_series_is_that_of_its_hours_and_six_hours_each_once(name: str) -> None:
    series = payload(name)["properties"]["timeseries"]
    hourly = [one["data"]["next_1_hours"] for one in series if "next_1_hours" in one["data"]]
    sixes = [one["data"]["next_6_hours"] for one in series[len(hourly) : -1]]
    total = sum(one["details"]["precipitation_amount"] for one in [*hourly, *sixes])
    weather = read(name)
    assert np.nansum(weather.rain_mm) == pytest.approx(total)
    assert total > 0.0
    assert len(hourly) + 6 * len(sixes) == weather.hours - 1
    assert np.flatnonzero(np.isnan(weather.rain_mm[0])).tolist() == [weather.hours - 1]


def test_the_german_instants_pass_through_their_points_and_keep_to_their_extremes() -> None:
    name = "met-norway/germany_2022-08-02_complete_percentiles_probabilities"
    weather, series = read(name), payload(name)["properties"]["timeseries"]
    for entry in series:
        details = entry["data"]["instant"]["details"]
        hour = int(weather.hour_of(datetime.fromisoformat(entry["time"])))
        assert weather.air_c[0, hour] == pytest.approx(details["air_temperature"])
        assert weather.dew_point_c[0, hour] == pytest.approx(details["dew_point_temperature"])
        six = entry["data"].get("next_6_hours", {}).get("details", {})
        if "next_1_hours" not in entry["data"] and six:
            hours = weather.air_c[0, hour : hour + 7]
            assert hours[1:-1].max() <= six["air_temperature_max"] + 1e-9
            # A stated minimum may lie a little above the instant at the end of its hours.
            assert hours.min() == pytest.approx(min(six["air_temperature_min"], hours[0], hours[-1]))
    assert weather.provenance.issued == datetime(2022, 8, 2, 15, 41, 37, tzinfo=UTC)


def test_the_german_doubt_grows_from_day_to_day() -> None:
    """1.1 K on the first day, 2.6 K on the tenth: (p90 - p10) / 2.563 of the recorded percentiles."""
    weather = read("met-norway/germany_2022-08-02_complete_percentiles_probabilities")
    assert weather.air_sigma_k is not None
    sigma = weather.air_sigma_k[0]
    assert sigma[:24].mean() == pytest.approx(1.1, abs=0.1)
    assert sigma[-1] == pytest.approx(2.6, abs=0.1)
    assert np.isfinite(sigma).all()


def test_the_chance_of_the_german_front_lies_within_its_bounds() -> None:
    """47.1, 54.9 and 35.3 % for six hours each, 74.5 and 76.5 % for twelve: counts of 51 members."""
    weather = read("met-norway/germany_2022-08-02_complete_percentiles_probabilities")
    assert weather.rain_chance is not None
    first = int(weather.hour_of(datetime(2022, 8, 5, tzinfo=UTC)))
    for k, share in enumerate((0.471, 0.549, 0.353)):
        block = weather.rain_chance[0, first + 6 * k : first + 6 * k + 6]
        assert block.max() < share < 1.0 - np.prod(1.0 - block)
    assert 1.0 - np.prod(1.0 - weather.rain_chance[0, first : first + 12]) > 0.745


# ------------------------------------------------------------------ National Weather Service


@pytest.mark.parametrize("name", GRIDS)
def test_the_rain_of_a_grid_adds_up_and_is_unknown_after_its_end(name: str) -> None:
    layer = payload(name)["properties"]["quantitativePrecipitation"]["values"]
    weather = read(name)
    rain = weather.rain_mm[0]
    assert np.nansum(rain) == pytest.approx(sum(one["value"] for one in layer))
    begin, lasting = parse_interval(layer[-1]["validTime"])
    end = int(weather.hour_of(begin + lasting))
    assert np.isnan(rain[end:]).all()
    assert np.isfinite(rain[:end]).all()


@pytest.mark.parametrize("name", GRIDS)
def test_no_night_of_a_grid_is_warmer_than_its_stated_minimum(name: str) -> None:
    weather = read(name)
    nights = payload(name)["properties"]["minTemperature"]["values"]
    looked_at = 0
    for night in nights:
        begin, lasting = parse_interval(night["validTime"])
        first, last = int(weather.hour_of(begin)), int(weather.hour_of(begin + lasting))
        hours = weather.air_c[0, first:last]
        if hours.size == last - first and np.isfinite(hours).all():
            looked_at += 1
            assert hours.min() <= night["value"] + 1e-9
    assert looked_at >= 6


def test_at_little_rock_the_rain_ends_days_before_the_air() -> None:
    weather = read("nws/gridpoint_littlerock_2024-02-20_mild_dry")
    assert weather.known_until() == datetime(2024, 2, 25, tzinfo=UTC)
    assert weather.end - weather.known_until() > timedelta(days=3)


def test_the_arctic_grid_has_no_snow_after_its_snow_and_holds_its_long_interval() -> None:
    weather = read("nws/gridpoint_2024-01-12_arctic_-22_to_-8C")
    assert weather.code is not None
    first = int(weather.hour_of(datetime(2024, 1, 14, 6, tzinfo=UTC)))
    assert (weather.code[0, :first] == 71).all()
    known = np.isfinite(weather.code[0])
    assert np.flatnonzero(known)[-1] == first + 5 * 24 + 19 - 1
    assert (weather.code[0, first:][known[first:]] == 0).all(), "P5DT19H of nothing"
    assert weather.air_c.min() == pytest.approx(-22.2, abs=0.05)


def test_thunder_in_florida_is_in_the_hours_that_name_it() -> None:
    weather = read("nws/gridpoint_2022-02-04_7d")
    assert weather.code is not None
    thunder = np.flatnonzero(weather.code[0] == 95)
    assert weather.time_at(thunder[0]) == datetime(2022, 2, 4, 6, tzinfo=UTC)


def test_recorded_points_name_their_grids() -> None:
    assert grid_link(payload("nws/points_wahoo_ne")) == "https://api.weather.gov/gridpoints/OAX/59,58"
    assert grid_link(payload("nws/gridpoint_2022-02-04_7d")) is None


def test_recorded_reports_are_read() -> None:
    rain = read_observations(payload("nws/observation_kckv_2024-01-12_rain_qc_S"))[0]
    assert (rain.air_c, rain.dew_point_c) == (9.4, 7.2)
    assert rain.rain_mm == pytest.approx(2.032), "P0008 in the raw report, 0 in the field"
    cold = read_observations(payload("nws/observation_kmsp_2024-01-12_-13C"))[0]
    assert (cold.air_c, cold.rain_mm, cold.station) == (-13.3, None, "KMSP")
    assert read_observations(payload("nws/observations_missing_value")) == []
    two = read_observations(payload("nws/observations_two_unsorted"))
    assert [one.air_c for one in two] == [10.0], "-100 degrees and 1000 m/s are a broken sensor's"


# ------------------------------------------------------------------ Bright Sky


def test_the_german_reports_over_the_change_of_clocks_are_hours_of_their_own() -> None:
    weather = read("other-open/brightsky_dwd_2024-10-26_dst_end_obs_and_forecast")
    assert weather.start == datetime(2024, 10, 25, 22, tzinfo=UTC)
    assert weather.end == datetime(2024, 10, 28, 0, tzinfo=UTC)
    rows = payload("other-open/brightsky_dwd_2024-10-26_dst_end_obs_and_forecast")["weather"]
    assert weather.air_c[0].tolist() == [one["temperature"] for one in rows]
