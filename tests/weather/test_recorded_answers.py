"""Answers recorded from real services, where they are at hand; each gives weather or a clear refusal."""

from __future__ import annotations

import json
import os
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from scheduler.weather.formats import read_answer
from scheduler.weather.series import Weather, WeatherError

FOLDER = Path(os.environ.get("COATCAST_PAYLOADS") or Path(__file__).parents[3] / "shared" / "payloads")
pytestmark = pytest.mark.skipif(
    not FOLDER.is_dir(), reason="no recorded answers here: set COATCAST_PAYLOADS to their folder"
)

# What each answer of the column family must give: weather (members, hours), or a word of the refusal.
OUTCOMES: dict[str, tuple[int, int] | str] = {
    "ensemble_amsterdam_1h_all_members": "one hour only",
    "germany_2026-03-02_local_72h_21_variables": (1, 72),
    "multi_model_berlin_2023-11-13_suffixes_minutely15": "air temperature (temperature_2m)",
    "nyc_2026-02-06_local_time_min-21C": "dew point or humidity",
    "toronto_2026-03-04_dst_start_fahrenheit_inch_mph": "dew point or humidity",
    "transcribed_ensemble_2h_21_series": "dew point or humidity",
    "transcribed_ensemble_mean_and_spread": "wind (wind_speed_10m)",
    "transcribed_error_400_date_out_of_range": "out of allowed range from 2025-08-08",
    "transcribed_error_something_went_wrong": "Something went wrong.",
    "transcribed_precipitation_type_probabilities": "rain (precipitation)",
    "transcribed_previous_runs": "wind (wind_speed_10m)",
    "transcribed_several_models_asked_one_covering": "rain (precipitation)",
}


def payload(name: str) -> dict[str, Any]:
    path = FOLDER / "open-meteo" / f"{name}.json"
    if not path.is_file():
        pytest.skip(f"{path.name} is not among the recorded answers here")
    data: dict[str, Any] = json.loads(path.read_bytes())
    return data


def read(data: object) -> Weather:
    return read_answer(json.dumps(data).encode())


def with_humidity(data: dict[str, Any]) -> dict[str, Any]:
    """The recorded answer with the one column that it lacks, everything else as recorded."""
    data["hourly"]["relative_humidity_2m"] = [80] * len(data["hourly"]["time"])
    data["hourly_units"]["relative_humidity_2m"] = "%"
    return data


def test_every_recorded_answer_has_an_outcome_here() -> None:
    found = {path.stem for path in (FOLDER / "open-meteo").glob("*.json")}
    assert found <= set(OUTCOMES)


@pytest.mark.parametrize("name", OUTCOMES)
def test_a_recorded_answer_gives_weather_or_a_clear_refusal(name: str) -> None:
    data, outcome = payload(name), OUTCOMES[name]
    if isinstance(outcome, str):
        with pytest.raises(WeatherError) as caught:
            read(data)
        assert outcome in str(caught.value)
        return
    weather = read(data)
    assert (weather.members, weather.hours) == outcome
    assert weather.known_until() > weather.start


def test_the_german_hours_are_the_utc_hours_of_a_fixed_offset() -> None:
    name = "germany_2026-03-02_local_72h_21_variables"
    data, weather = payload(name), read(payload(name))
    assert weather.start == datetime(2026, 3, 1, 23, tzinfo=UTC)
    hourly = data["hourly"]
    assert weather.air_c[0].tolist() == hourly["temperature_2m"]
    assert weather.wind_ms[0] == pytest.approx(np.array(hourly["wind_speed_10m"]) / 3.6)
    assert weather.sun_wm2 is not None
    assert weather.sun_wm2[0, :-1].tolist() == hourly["shortwave_radiation"][1:]
    assert np.isnan(weather.sun_wm2[0, -1])
    assert weather.pressure_hpa is not None
    assert weather.pressure_hpa[0].tolist() == hourly["surface_pressure"], (
        "the pressure of the cell's own height"
    )


def test_over_the_change_of_clocks_in_toronto_every_row_is_an_hour_of_its_own() -> None:
    weather = read(with_humidity(payload("toronto_2026-03-04_dst_start_fahrenheit_inch_mph")))
    hours = [weather.time_at(n) for n in range(weather.hours)]
    assert len(set(hours)) == 192
    assert (hours[0], hours[-1]) == (
        datetime(2026, 3, 4, 5, tzinfo=UTC),
        datetime(2026, 3, 12, 4, tzinfo=UTC),
    )
    zone = ZoneInfo("America/Toronto")
    short_day = [hour for hour in hours if hour.astimezone(zone).date() == date(2026, 3, 8)]
    assert len(short_day) == 23


def test_fahrenheit_inches_and_miles_give_the_same_as_their_metric_conversion() -> None:
    given = with_humidity(payload("toronto_2026-03-04_dst_start_fahrenheit_inch_mph"))
    metric = json.loads(json.dumps(given))
    hourly, units = metric["hourly"], metric["hourly_units"]
    hourly["temperature_2m"] = [(value - 32) / 1.8 for value in hourly["temperature_2m"]]
    hourly["precipitation"] = [value * 25.4 for value in hourly["precipitation"]]
    for name in ("wind_speed_10m", "wind_gusts_10m"):
        hourly[name] = [value * 1.609344 for value in hourly[name]]
        units[name] = "km/h"
    units |= {"temperature_2m": "°C", "precipitation": "mm"}
    for (name, one), (_, other) in zip(read(given).arrays(), read(metric).arrays(), strict=True):
        assert np.allclose(one, other, rtol=1e-9, atol=1e-9, equal_nan=True), name
    assert np.nansum(read(given).rain_mm) == pytest.approx(2.043 * 25.4), "the storm's total"
    assert read(given).air_c.min() == pytest.approx((26.5 - 32) / 1.8, abs=0.01)


def test_the_recorded_members_are_rows_once_the_other_quantities_are_there() -> None:
    data = payload("transcribed_ensemble_2h_21_series")
    extra = {"dew_point_2m": ("°C", 3.0), "wind_speed_10m": ("km/h", 9.0), "precipitation": ("mm", 0.2)}
    for name, (unit, value) in extra.items():
        data["hourly"][name] = [value] * 2
        data["hourly_units"][name] = unit
    weather = read(data)
    assert weather.members == 21
    assert weather.air_c[0].tolist() == [10.5, 10.1]
    assert weather.air_c[20].tolist() == [11.1, 10.8]
    assert any("the same for all members" in note for note in weather.provenance.notes)


def test_the_recorded_answer_cut_off_in_the_middle_is_refused() -> None:
    body = json.dumps(payload("germany_2026-03-02_local_72h_21_variables")).encode()
    with pytest.raises(WeatherError, match="cut off"):
        read_answer(body[: len(body) // 2])
