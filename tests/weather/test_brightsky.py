"""The reader of Bright Sky's JSON, on small answers made here."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from family_samples import START, brightsky, read, refused

from scheduler.weather.air import pressure_at


def row(values: Any) -> Any:
    assert values is not None
    return values[0]


def test_rows_become_hours_and_what_belongs_to_the_hour_before_moves_one_row() -> None:
    data = brightsky()
    data["weather"][3] |= {"precipitation": 2.4, "precipitation_probability": 40, "condition": "thunderstorm"}
    weather = read(data)
    assert (weather.start, weather.hours) == (START, 8)
    assert weather.air_c[0] == pytest.approx(8.0)
    assert weather.wind_ms[0] == pytest.approx(3.0)
    assert row(weather.gust_ms)[:7] == pytest.approx(5.0)
    assert weather.rain_mm[0, :7].tolist() == [0, 0, 2.4, 0, 0, 0, 0]
    assert row(weather.rain_chance)[2] == pytest.approx(0.4)
    assert row(weather.sun_wm2)[0] == pytest.approx(100.0), "0.1 kWh/m² in an hour"
    assert row(weather.code)[:4].tolist() == [0, 0, 95, 0]
    assert row(weather.pressure_hpa) == pytest.approx(1000.0 * float(pressure_at(500.0) / pressure_at(0.0)))
    for name in ("rain_mm", "gust_ms", "sun_wm2"):
        assert np.isnan(getattr(weather, name)[0, -1]), "the hour that is cut off at the end"


def test_rows_follow_one_another_over_a_change_of_clocks() -> None:
    data, zone = brightsky(25), ZoneInfo("Europe/Berlin")
    first = datetime(2024, 10, 26, 22, tzinfo=UTC)
    for hour, line in enumerate(data["weather"]):
        line["timestamp"] = (first + timedelta(hours=hour)).astimezone(zone).isoformat()
    assert [line["timestamp"][11:] for line in data["weather"][2:4]] == ["02:00:00+02:00", "02:00:00+01:00"]
    weather = read(data)
    assert (weather.start, weather.hours) == (first, 25)


def test_what_is_null_is_unknown_and_what_is_null_throughout_is_not_offered() -> None:
    data = brightsky()
    data["weather"][4] |= {"temperature": None, "precipitation": None, "condition": None}
    for line in data["weather"]:
        line["solar"] = None
    weather = read(data)
    assert weather.filled is not None
    assert weather.filled[4], "a short gap of the air is closed"
    assert np.isnan(weather.rain_mm[0, 3])
    assert np.isnan(row(weather.code)[3])
    assert (weather.sun_wm2, weather.rain_chance) == (None, None)


def test_an_answer_in_si_units_is_found_out_by_its_kelvins() -> None:
    data = brightsky()
    for line in data["weather"]:
        line["temperature"] = 281.15
    refused(data, "outside -60 to 60")


@pytest.mark.parametrize("name", ["temperature", "wind_speed", "precipitation"])
def test_an_answer_without_a_needed_quantity_is_refused(name: str) -> None:
    data = brightsky()
    for line in data["weather"]:
        del line[name]
    refused(data, "not enough", name)


@pytest.mark.parametrize("rows", [None, [], {}, [5]])
def test_rows_that_are_none_are_refused(rows: object) -> None:
    refused(brightsky() | {"weather": rows})


def test_rows_out_of_order_are_refused() -> None:
    data = brightsky()
    data["weather"].reverse()
    refused(data, "not in order")
