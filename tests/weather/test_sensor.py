"""A logger's file: nights and their lowest air, and what is refused."""

from __future__ import annotations

import json
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.weather.sensor import Reading, nights_read, read_sensor
from scheduler.weather.series import WeatherError

BERLIN = ZoneInfo("Europe/Berlin")


def csv_of(start: datetime, hours: float, step_min: int = 30, heading: str = "time,air_c") -> str:
    rows = [heading]
    for n in range(int(hours * 60 / step_min)):
        when = start + timedelta(minutes=n * step_min)
        rows.append(f"{when:%Y-%m-%dT%H:%M},{4.0 - 6.0 * (when.hour == 6):.1f}")
    return "\n".join(rows) + "\n"


def nights(text: str):  # type: ignore[no-untyped-def]
    return nights_read(read_sensor(text.encode(), BERLIN), BERLIN, evening=18, morning=9)


def test_each_whole_night_has_its_lowest_by_the_yards_clock() -> None:
    found = nights(csv_of(datetime(2025, 11, 1, 12, tzinfo=UTC), 72))
    assert [one.morning for one in found] == [date(2025, 11, d) for d in (2, 3, 4)]
    assert all(one.low_c == -2.0 for one in found)
    assert all(one.rain is None for one in found)


def test_a_night_with_a_hole_of_more_than_two_hours_is_left_out() -> None:
    lines = csv_of(datetime(2025, 11, 1, 12, tzinfo=UTC), 72).splitlines()
    holed = [
        line for line in lines if not "2025-11-03T02:00" <= line[:16] <= "2025-11-03T04:30" or "air" in line
    ]
    assert [one.morning.day for one in nights("\n".join(holed))] == [2, 4]


def test_fahrenheit_semicolons_and_a_decimal_comma_are_read() -> None:
    text = "Timestamp;Temperature (°F)\n" + "\n".join(
        f"2025-11-0{1 + (18 + n) // 24} {(18 + n) % 24}:00;{28.4 if n == 12 else 41:.1f}".replace(".", ",")
        for n in range(16)
    )
    (night,) = nights(text)
    assert night.low_c == pytest.approx(-2.0)


def test_the_hour_that_comes_twice_does_not_break_a_file_in_local_time() -> None:
    found = nights(csv_of(datetime(2025, 10, 25, 12, tzinfo=UTC), 48, 30))
    assert [one.morning.day for one in found] == [26, 27]


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "empty"),
        ("time,humidity\n2025-11-01T00:00,80\n", "no column of temperature"),
        ("time,temperature\n2025-11-01T00:00,8\n", "no unit"),
        ("when,air_c\n2025-11-01T00:00,8\n", "no column of times"),
        ("time,air_c\nyesterday,8\n", "Line 2"),
        ("time,air_c\n2025-02-30T00:00,8\n", "does not exist"),
        ("time,air_c\n2025-11-01T00:00,warm\n", "no number"),
        ("time,air_c\n2025-11-01T00:00,400\n", "outside"),
        ("time,air_c\n2025-11-01T00:00,\n", "no reading"),
        ("time,air_c\n" + "\n".join(f"2025-11-01T0{h}:00,4{h}" for h in range(9)), "°F"),
        ("{", "cut off"),
        ('{"a": 1}', "no report"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_reason(text: str, word: str) -> None:
    with pytest.raises(WeatherError, match=word) as caught:
        read_sensor(text.encode(), BERLIN)
    assert str(caught.value).endswith(".")


def test_a_stations_reports_give_minima_and_rain() -> None:
    def report(hour: int, air: float, rain: float) -> dict[str, object]:
        def value(x: float, unit: str) -> dict[str, object]:
            return {"value": x, "unitCode": f"wmoUnit:{unit}", "qualityControl": "V"}

        when = datetime(2025, 11, 1, 16, tzinfo=UTC) + timedelta(hours=hour)
        inner = {
            "timestamp": when.isoformat(),
            "temperature": value(air, "degC"),
            "precipitationLastHour": value(rain, "mm"),
        }
        return {"type": "Feature", "properties": inner}

    reports = {"features": [report(h, 5.0 - 0.3 * h, 0.4 if h == 5 else 0.0) for h in range(18)]}
    (night,) = nights(json.dumps(reports))
    assert night.low_c == pytest.approx(5.0 - 0.3 * 16)
    assert night.rain is True


@given(st.binary(max_size=300))
def test_no_bytes_give_anything_but_readings_or_a_refusal(body: bytes) -> None:
    with suppress(WeatherError):
        assert all(isinstance(one, Reading) for one in read_sensor(body, BERLIN))
