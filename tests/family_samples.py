"""Small answers of the forecast families, made here in the shapes of the services, for tests to change."""

from __future__ import annotations

import json
from copy import deepcopy
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from scheduler.weather.formats import read_answer
from scheduler.weather.series import Weather, WeatherError

START = datetime(2025, 11, 3, tzinfo=UTC)
PLACE = (48.0, 8.25)
Json = dict[str, Any]


def z(hour: float) -> str:
    """The time some hours after the start, in UTC."""
    return f"{START + timedelta(hours=hour):%Y-%m-%dT%H:%M:%SZ}"


def read(data: object, place: tuple[float, float] | None = PLACE) -> Weather:
    """Through bytes, as an answer is read."""
    return read_answer(json.dumps(data).encode(), place=place)


def refused(data: object, *words: str, place: tuple[float, float] | None = PLACE) -> str:
    """The sentence with which an answer is refused, which must hold the words."""
    with pytest.raises(WeatherError) as caught:
        read(data, place)
    text = str(caught.value)
    for word in words:
        assert word in text
    assert text.endswith("."), "an error is a whole sentence"
    return text


# ------------------------------------------------------------------ MET Norway

MET_UNITS = {
    "air_temperature": "celsius",
    "air_temperature_min": "celsius",
    "air_temperature_max": "celsius",
    "air_temperature_percentile_10": "celsius",
    "air_temperature_percentile_90": "celsius",
    "dew_point_temperature": "celsius",
    "relative_humidity": "%",
    "wind_speed": "m/s",
    "wind_speed_of_gust": "m/s",
    "cloud_area_fraction": "%",
    "air_pressure_at_sea_level": "hPa",
    "precipitation_amount": "mm",
    "probability_of_precipitation": "%",
}


def met_entry(hour: int, step: int | None, **instant: float) -> Json:
    """One entry; ``step`` is the period that begins there (None: the last entry, which has none)."""
    details = {
        "air_temperature": 8.0,
        "dew_point_temperature": 2.0,
        "relative_humidity": 66.0,
        "wind_speed": 3.0,
        "cloud_area_fraction": 50.0,
        "air_pressure_at_sea_level": 1000.0,
    } | instant
    data: Json = {"instant": {"details": details}}
    if step is not None:
        data[f"next_{step}_hours"] = {
            "summary": {"symbol_code": "cloudy"},
            "details": {"precipitation_amount": 0.0, "probability_of_precipitation": 0.0},
        }
    return {"time": z(hour), "data": data}


def met_norway(hourly: int = 6, sixes: int = 3) -> Json:
    """``hourly`` hours, then ``sixes`` steps of six hours, then the last entry without a period."""
    series = [met_entry(hour, 1) for hour in range(hourly)]
    series += [met_entry(hourly + 6 * k, 6) for k in range(sixes)]
    series.append(met_entry(hourly + 6 * sixes, None))
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [PLACE[1], PLACE[0], 500]},
        "properties": {"meta": {"updated_at": z(-0.5), "units": dict(MET_UNITS)}, "timeseries": series},
    }


def met_part(data: Json, hour: int, part: str = "instant") -> Json:
    """The details of one part of the entry at an hour, to be changed."""
    entry = next(one for one in data["properties"]["timeseries"] if one["time"] == z(hour))
    details: Json = entry["data"].setdefault(part, {}).setdefault("details", {})
    return details


# ------------------------------------------------------------------ National Weather Service


def layer(unit: str | None, *values: tuple[float, str, object]) -> Json:
    """A layer of (first hour, duration, value)."""
    made: Json = {} if unit is None else {"uom": f"wmoUnit:{unit}"}
    made["values"] = [
        {"validTime": f"{z(hour).replace('Z', '+00:00')}/{length}", "value": value}
        for hour, length, value in values
    ]
    return made


def nws(**layers: Json | None) -> Json:
    """A grid of 24 quiet hours; layers may be given by name, or taken away with None."""
    west, south = PLACE[1] - 0.01, PLACE[0] - 0.01
    ring = [[west, south], [west, south + 0.02], [west + 0.02, south + 0.02], [west + 0.02, south]]
    properties: Json = {
        "updateTime": z(-0.5).replace("Z", "+00:00"),
        "validTimes": f"{z(0)}/P1D",
        "elevation": {"unitCode": "wmoUnit:m", "value": 500.0},
        "temperature": layer("degC", (0, "PT10H", 8.0), (10, "PT14H", 4.0)),
        "dewpoint": layer("degC", (0, "P1D", 2.0)),
        "relativeHumidity": layer("percent", (0, "PT10H", 66.0), (10, "PT14H", 87.0)),
        "windSpeed": layer("km_h-1", (0, "P1D", 10.8)),
        "windGust": layer("km_h-1", (0, "PT12H", 18.0), (12, "PT12H", None)),
        "skyCover": layer("percent", (0, "P1D", 50)),
        "probabilityOfPrecipitation": layer("percent", (0, "P1D", 0)),
        "quantitativePrecipitation": layer("mm", *((hour, "PT6H", 0) for hour in range(0, 24, 6))),
        "iceAccumulation": {"values": []},
        "weather": layer(None, (0, "P1D", [{"coverage": None, "weather": None}])),
    }
    properties |= layers
    return {
        "type": "Feature",
        "geometry": {"type": "Polygon", "coordinates": [[*ring, ring[0]]]},
        "properties": {name: value for name, value in properties.items() if value is not None},
    }


# ------------------------------------------------------------------ CoverageJSON


def parameter(unit: str, name: str | None = None, **more: Any) -> Json:
    """A parameter object; ``name`` is the standard name in the id of its observed property."""
    observed: Json = {"label": {"en": "something"}}
    if name is not None:
        observed["id"] = f"http://vocab.nerc.ac.uk/standard_name/{name}/"
    symbol = {"value": unit, "type": "http://www.opengis.net/def/uom/UCUM/"}
    return {"type": "Parameter", "observedProperty": observed, "unit": {"symbol": symbol}} | more


def array(values: list[Any], **more: Any) -> Json:
    """A range over time."""
    whole = {"type": "NdArray", "dataType": "float", "axisNames": ["t"], "shape": [len(values)]}
    return whole | {"values": values} | more


BEFORE = {"measurementType": {"method": "sum", "period": "-PT1H/PT0H"}}


def coverage(hours: int = 8) -> Json:
    """A point series of some quiet hours; rain stands for the hour before its time."""
    return {
        "type": "Coverage",
        "domain": {
            "type": "Domain",
            "domainType": "PointSeries",
            "axes": {
                "x": {"values": [PLACE[1]]},
                "y": {"values": [PLACE[0]]},
                "t": {"values": [z(hour) for hour in range(hours)]},
            },
            "referencing": [
                {
                    "coordinates": ["y", "x"],
                    "system": {"type": "GeographicCRS", "id": "http://www.opengis.net/def/crs/EPSG/0/4326"},
                },
                {"coordinates": ["t"], "system": {"type": "TemporalRS", "calendar": "Gregorian"}},
            ],
        },
        "parameters": {
            "t2": parameter("K", "air_temperature"),
            "td2": parameter("Cel", "dew_point_temperature"),
            "ff": parameter("m/s", "wind_speed"),
            "rr": parameter("mm", "precipitation_amount", **deepcopy(BEFORE)),
        },
        "ranges": {
            "t2": array([281.15] * hours),
            "td2": array([2.0] * hours),
            "ff": array([3.0] * hours),
            "rr": array([0.0] * hours),
        },
    }


# ------------------------------------------------------------------ Bright Sky and the hourly columns


def brightsky(hours: int = 8) -> Json:
    """Some quiet hours."""
    row = {
        "source_id": 1,
        "temperature": 8.0,
        "dew_point": 2.0,
        "relative_humidity": 66,
        "wind_speed": 10.8,
        "wind_gust_speed": 18.0,
        "precipitation": 0.0,
        "precipitation_probability": None,
        "cloud_cover": 50,
        "solar": 0.1,
        "pressure_msl": 1000.0,
        "condition": "dry",
    }
    source = {"id": 1, "lat": PLACE[0], "lon": PLACE[1], "height": 500.0, "observation_type": "forecast"}
    rows = [{"timestamp": z(hour).replace("Z", "+00:00")} | deepcopy(row) for hour in range(hours)]
    return {"weather": rows, "sources": [source]}


def columns(hours: int = 8) -> Json:
    """Some quiet hours of the hourly column family."""
    names = {"temperature_2m": ("°C", 8.0), "dew_point_2m": ("°C", 2.0), "wind_speed_10m": ("km/h", 10.8)}
    names |= {"precipitation": ("mm", 0.0)}
    return {
        "latitude": PLACE[0],
        "longitude": PLACE[1],
        "elevation": 500.0,
        "utc_offset_seconds": 0,
        "hourly_units": {"time": "iso8601"} | {name: unit for name, (unit, _) in names.items()},
        "hourly": {"time": [z(hour)[:16] for hour in range(hours)]}
        | {name: [value] * hours for name, (_, value) in names.items()},
    }


FAMILIES = {
    "columns": columns,
    "met-norway": met_norway,
    "nws": nws,
    "coverage": coverage,
    "brightsky": brightsky,
}
