"""The reader of station reports, on reports made here."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from scheduler.weather.formats.nws_observations import Observation, read_observations
from scheduler.weather.series import WeatherError

RAW = "KXYZ 121538Z AUTO 16013KT 4SM RA OVC049 09/07 A2936 RMK AO2 PK WND 15037/1453 {}T00940072"


def value(unit: str, number: Any, quality: str | None = "V") -> dict[str, Any]:
    made = {"unitCode": f"wmoUnit:{unit}", "value": number}
    return made if quality is None else made | {"qualityControl": quality}


def report(time: str = "2024-01-12T15:38:00+00:00", **more: Any) -> dict[str, Any]:
    properties = {
        "station": "https://api.weather.gov/stations/KXYZ",
        "timestamp": time,
        "rawMessage": RAW.format(""),
        "temperature": value("degC", 9.4, "S"),
        "dewpoint": value("degC", 7.2, "C"),
        "windSpeed": value("km_h-1", 18.0),
        "windGust": value("km_h-1", None, "Z"),
        "barometricPressure": value("Pa", 99430),
        "precipitationLastHour": value("mm", 0, "C"),
    } | more
    return {"type": "Feature", "properties": {k: v for k, v in properties.items() if v is not ...}}


def several(*reports: dict[str, Any]) -> list[Observation]:
    return read_observations({"type": "FeatureCollection", "features": list(reports)})


def only(**more: Any) -> Observation:
    found = several(report(**more))
    assert len(found) == 1
    return found[0]


def test_a_report_is_read_in_the_units_of_the_house() -> None:
    one = only()
    assert one.time == datetime(2024, 1, 12, 15, 38, tzinfo=UTC)
    assert one.station == "KXYZ"
    assert (one.air_c, one.dew_point_c, one.gust_ms, one.rain_mm) == (9.4, 7.2, None, 0.0)
    assert one.wind_ms == pytest.approx(5.0)
    assert one.pressure_hpa == pytest.approx(994.3)
    assert read_observations(report()) == [one], "a single report is one too"


@pytest.mark.parametrize("quality", ["V", "S", "C", "qc:V"])
def test_values_of_good_quality_are_used(quality: str) -> None:
    assert only(temperature=value("degC", 5.0, quality)).air_c == 5.0


@pytest.mark.parametrize("quality", ["Z", "X", "Q", "qc:Z", None, ""])
def test_values_of_other_quality_are_not(quality: str | None) -> None:
    assert only(temperature=value("degC", 5.0, quality)).air_c is None


@pytest.mark.parametrize(
    ("unit", "number"), [("degC", -100), ("degC", 1e300), ("degC", 10**400), ("degF", 999)]
)
def test_a_value_of_a_broken_sensor_is_dropped(unit: str, number: float) -> None:
    one = only(temperature=value(unit, number))
    assert one.air_c is None
    assert one.dew_point_c == 7.2


def test_older_codes_of_units_are_read() -> None:
    assert only(
        precipitationLastHour={"unitCode": "unit:m", "value": 0.002, "qualityControl": "qc:V"}
    ).rain_mm == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("field", "group", "rain"),
    [
        (0, "P0008 ", 2.032),  # hundredths of an inch
        (None, "P0008 ", 2.032),
        (3.0, "P0008 ", 3.0),
        (0, "", 0.0),
        (None, "", None),
        (0, "P0000 ", 0.0),
        (0, "P0008 P0012 ", 0.0),  # two reports in one text: it is not known which counts
        (0, "P0008 P0008 ", 2.032),
    ],
)
def test_the_raw_report_counts_where_the_field_says_no_rain(
    field: float | None, group: str, rain: float | None
) -> None:
    one = only(rawMessage=RAW.format(group), precipitationLastHour=value("mm", field, "C"))
    assert one.rain_mm == (rain if rain is None else pytest.approx(rain))


def test_what_stands_before_the_remarks_is_no_rain() -> None:
    assert only(rawMessage="KXYZ 121538Z P0008 09/07 A2936").rain_mm == 0.0


def test_reports_come_in_order_of_time() -> None:
    found = several(report("2024-01-12T16:53:00+00:00"), report("2024-01-12T15:53:00+00:00"))
    assert [one.time.hour for one in found] == [15, 16]


def test_of_one_minute_the_fullest_report_with_a_raw_text_is_kept() -> None:
    empty = report(temperature=value("degC", None), dewpoint=value("degC", None))
    full = report(temperature=value("degC", 8.0))
    bare = report(rawMessage="", temperature=value("degC", 7.0))
    later = report("2024-01-12T15:38:40+00:00", temperature=value("degC", 6.0))
    for reports in ((empty, full, bare), (bare, full, empty)):
        assert [one.air_c for one in several(*reports)] == [8.0]
    assert [one.air_c for one in several(later, full)] == [6.0], "else the later one"


def test_stations_are_kept_apart() -> None:
    assert len(several(report(), report(station="https://api.weather.gov/stations/KABC"))) == 2


def test_reports_that_say_nothing_are_left_out() -> None:
    nothing = dict.fromkeys(
        ("temperature", "dewpoint", "windSpeed", "barometricPressure", "precipitationLastHour"), ...
    )
    assert several(report(**nothing), report(timestamp=...)) == []
    assert several() == []


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (None, "null, not the reports"),
        ([], "not the reports"),
        ({"features": {}}, "no list"),
        ({"features": [5]}, "no report"),
        ({"correlationId": "1", "title": "Not Found", "detail": "gone"}, '"Not Found: gone"'),
        (report(temperature=value("furlong", 5.0)), "unit of temperature is 'furlong'"),
        (report(temperature={"value": 5.0, "qualityControl": "V"}), "unit of temperature"),
        (report(temperature=value("degC", "5")), "a text, not a number"),
        (report("2024-01-12T15:38:00"), "with its offset"),
    ],
)
def test_what_is_no_report_is_refused(data: object, word: str) -> None:
    with pytest.raises(WeatherError) as caught:
        read_observations(data)
    assert word in str(caught.value)
