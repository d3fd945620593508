"""Ways to spoil an answer, and the answers to be spoiled: one bad weather told by every forecast family.

A mutation either destroys information (what is lost may at most become unknown) or tells another weather
(``TELLING``). Each takes a decoded answer and a generator of chance and gives the bytes of a spoiled one.
"""

from __future__ import annotations

import gzip
import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from family_samples import (
    BEFORE,
    PLACE,
    Json,
    array,
    brightsky,
    coverage,
    layer,
    met_norway,
    nws,
    parameter,
    z,
)

from scheduler.weather.air import dew_point_from_humidity

F = np.ndarray
Rng = np.random.Generator
Path = tuple[Any, ...]
HOURS = 48
HOURLY = 30  # of MET Norway; then three steps of six hours


# ------------------------------------------------------------------ the weather that is told


@dataclass(frozen=True)
class Story:
    """Hours of a bad weather; rain is that of the hour that begins."""

    air: F
    humidity: F
    wind: F
    rain: F
    sixes: bool = False  # MET Norway: the hourly part tells sums of six hours too

    @property
    def dew(self) -> F:
        """Dew point, °C."""
        return dew_point_from_humidity(self.air, self.humidity)

    @property
    def chance(self) -> F:
        """Chance of rain, %."""
        return np.where(self.rain > 0.0, 95.0, 0.0)

    def ending(self, values: F, first: float = 0.0) -> list[float]:
        """Values of hours by the label of their end; the hour before the first is given."""
        return [first, *values[:-1].tolist()]


_HOUR = np.arange(HOURS, dtype=float)


def _day(low: float, high: float) -> F:
    return (low + high) / 2 + (high - low) / 2 * np.cos((_HOUR - 13.0) / 24.0 * 2 * np.pi)


_FILL = np.ones(HOURS)
STORIES = {  # each so bad that no start of it has a fair chance
    "rain in all hours, frost at night": Story(_day(-3.0, 6.0), 92.0 * _FILL, 2.0 * _FILL, 1.2 * _FILL, True),
    "a dry morning, then rain": Story(
        _day(1.0, 8.0), 85.0 * _FILL, 3.0 * _FILL, np.where((_HOUR % 24 >= 6) & (_HOUR % 24 < 12), 0.0, 1.8)
    ),
    "dry, hard frost at night": Story(_day(-9.0, 5.0), 80.0 * _FILL, 1.0 * _FILL, 0.0 * _FILL, True),
}


# ------------------------------------------------------------------ the same story by every family


def columns_answer(story: Story) -> Json:
    """Hourly columns with everything that is asked for."""
    told: dict[str, tuple[str, list[float]]] = {
        "temperature_2m": ("°C", story.air.tolist()),
        "dew_point_2m": ("°C", story.dew.tolist()),
        "relative_humidity_2m": ("%", story.humidity.tolist()),
        "wind_speed_10m": ("km/h", (3.6 * story.wind).tolist()),
        "precipitation": ("mm", story.ending(story.rain)),
        "precipitation_probability": ("%", story.ending(story.chance)),
        "cloud_cover": ("%", [100.0] * HOURS),
        "wind_gusts_10m": ("km/h", (6.0 * story.wind).tolist()),
        "weather_code": ("wmo code", [3] * HOURS),
        "surface_pressure": ("hPa", [950.0] * HOURS),
    }
    return {
        "latitude": PLACE[0],
        "longitude": PLACE[1],
        "generationtime_ms": 0.5,
        "elevation": 500.0,
        "utc_offset_seconds": 0,
        "hourly_units": {"time": "iso8601"} | {name: unit for name, (unit, _) in told.items()},
        "hourly": {"time": [z(hour)[:16] for hour in range(HOURS)]}
        | {name: values for name, (_, values) in told.items()},
    }


def ensemble_answer(story: Story, count: int = 8) -> Json:
    """A control and members, in seconds since 1970, Fahrenheit, inches and knots."""
    data = columns_answer(story)
    units = data["hourly_units"]
    base = {
        "temperature_2m": ("°F", (story.air * 1.8 + 32.0).tolist()),
        "dew_point_2m": ("°F", (story.dew * 1.8 + 32.0).tolist()),
        "wind_speed_10m": ("kn", (story.wind * 3600.0 / 1852.0).tolist()),
        "precipitation": ("inch", [value / 25.4 for value in story.ending(story.rain)]),
    }
    start = 1_762_128_000  # 2025-11-03
    data["hourly"] = {"time": [start + 3600 * hour for hour in range(HOURS)]}
    units.clear()
    units["time"] = "unixtime"
    for name, (unit, values) in base.items():
        for member in range(count + 1):
            column = name + (f"_member{member:02d}" if member else "")
            data["hourly"][column], units[column] = list(values), unit
    return data


def met_norway_answer(story: Story) -> Json:
    """Hourly, then in steps of six hours; percentiles of the air."""
    data = met_norway(HOURLY, (HOURS - HOURLY) // 6)
    hours = [*range(HOURLY), *range(HOURLY, HOURS + 1, 6)]
    for hour, entry in zip(hours, data["properties"]["timeseries"], strict=True):
        k, inner = min(hour, HOURS - 1), entry["data"]
        inner["instant"]["details"] |= {
            "air_temperature": float(story.air[k]),
            "air_temperature_percentile_10": float(story.air[k]) - 1.0,
            "air_temperature_percentile_90": float(story.air[k]) + 1.0,
            "dew_point_temperature": float(story.dew[k]),
            "relative_humidity": float(story.humidity[k]),
            "wind_speed": float(story.wind[k]),
            "wind_speed_of_gust": 1.6 * float(story.wind[k]),
            "cloud_area_fraction": 100.0,
        }
        for size in (1, 6):
            if f"next_{size}_hours" in inner or (size == 6 and story.sixes and hour < HOURLY):
                inner[f"next_{size}_hours"] = {
                    "summary": {"symbol_code": "rain" if story.rain[k] else "cloudy"},
                    "details": {
                        "precipitation_amount": float(story.rain[hour : hour + size].sum()),
                        "probability_of_precipitation": float(story.chance[k]),
                    },
                }
    return data


def nws_answer(story: Story) -> Json:
    """A grid of layers; rain in sums of six hours, the air hour by hour, the night's minimum."""

    def hourly(unit: str, values: F) -> Json:
        return layer(unit, *((k, "PT1H", float(value)) for k, value in enumerate(values)))

    blocks = range(0, HOURS, 6)
    return nws(
        validTimes=f"{z(0)}/P2D",
        temperature=hourly("degC", story.air),
        dewpoint=hourly("degC", story.dew),
        relativeHumidity=hourly("percent", story.humidity),
        windSpeed=hourly("km_h-1", 3.6 * story.wind),
        windGust=hourly("km_h-1", 6.0 * story.wind),
        skyCover=layer("percent", (0, "P1D", 100), (24, "P1D", 100)),
        minTemperature=layer("degC", (20, "PT12H", float(story.air[20:32].min()))),
        probabilityOfPrecipitation=layer("percent", *((k, "PT6H", float(story.chance[k])) for k in blocks)),
        quantitativePrecipitation=layer(
            "mm", *((k, "PT6H", float(story.rain[k : k + 6].sum())) for k in blocks)
        ),
        weather=layer(None, (0, "P1D", [{"coverage": None, "weather": "rain"}]), (24, "P1D", [])),
    )


def coverage_answer(story: Story) -> Json:
    """A point series; rain stands for the hour before its time."""
    data = coverage(HOURS)
    data["parameters"] |= {
        "rh": parameter("%", "relative_humidity"),
        "cc": parameter("1", "cloud_area_fraction"),
        "fx": parameter("m/s", "wind_speed_of_gust", **BEFORE | {"label": {"en": "gust, previous hour"}}),
    }
    data["parameters"]["fx"].pop("measurementType")
    data["ranges"] = {
        "t2": array((story.air + 273.15).tolist()),
        "td2": array(story.dew.tolist()),
        "rh": array(story.humidity.tolist()),
        "ff": array(story.wind.tolist()),
        "rr": array(story.ending(story.rain)),
        "cc": array([1.0] * HOURS),
        "fx": array((1.6 * story.wind).tolist()),
    }
    return data


def brightsky_answer(story: Story) -> Json:
    """One row for each hour."""
    data = brightsky(HOURS)
    rain, chance = story.ending(story.rain), story.ending(story.chance)
    for k, row in enumerate(data["weather"]):
        row |= {
            "temperature": float(story.air[k]),
            "dew_point": float(story.dew[k]),
            "relative_humidity": float(story.humidity[k]),
            "wind_speed": 3.6 * float(story.wind[k]),
            "wind_gust_speed": 6.0 * float(story.wind[k]),
            "precipitation": rain[k],
            "precipitation_probability": chance[k],
            "cloud_cover": 100,
            "solar": 0.0,
            "condition": "rain" if rain[k] else "dry",
        }
    return data


FAIR = Story(_day(9.0, 15.0), 60.0 * _FILL, 3.0 * _FILL, 0.0 * _FILL)  # every hour of light is one to coat
WET_FROM_NOON = replace(FAIR, rain=np.where(_HOUR % 24 >= 12, 2.4, 0.0))
FROST_FROM_NOON = replace(FAIR, air=np.where((_HOUR >= 12) & (_HOUR < 32), -9.0, FAIR.air))


def reports_answer(hours: int = 12) -> Json:
    """Reports of a station, one an hour."""

    def told(unit: str, value: float | None) -> Json:
        return {"unitCode": f"wmoUnit:{unit}", "value": value, "qualityControl": "V"}

    def report(hour: int) -> Json:
        return {
            "station": "https://example.org/stations/KXYZ",
            "timestamp": z(hour - 1 / 60).replace("Z", "+00:00"),
            "rawMessage": "KXYZ 030053Z AUTO 16013KT OVC049 M02/M03 A2936 RMK AO2",
            "temperature": told("degC", -1.5 - hour / 10),
            "dewpoint": told("degC", -3.5),
            "windSpeed": told("km_h-1", 18.0),
            "windGust": told("km_h-1", None),
            "barometricPressure": told("Pa", 99430),
            "precipitationLastHour": told("mm", 0.5 * (hour % 3)),
        }

    features = [{"type": "Feature", "properties": report(hour)} for hour in range(hours)]
    return {"type": "FeatureCollection", "features": features}


ANSWERS: dict[str, Callable[[Story], Json]] = {
    "columns": columns_answer,
    "ensemble": ensemble_answer,
    "met-norway": met_norway_answer,
    "nws": nws_answer,
    "coverage": coverage_answer,
    "brightsky": brightsky_answer,
}


# ------------------------------------------------------------------ where to spoil


def places(data: Any, path: Path = ()) -> Iterator[Path]:
    """Where something stands in an answer."""
    inner = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in inner:
        yield (*path, key)
        yield from places(value, (*path, key))


def inside(data: Any, path: Path) -> Any:
    """What stands at a path."""
    for key in path:
        data = data[key]
    return data


def _picked(rng: Rng, options: list[Any]) -> Any:
    return options[int(rng.integers(len(options)))]


def _somewhere(data: Any, rng: Rng, fits: Callable[[Any], bool] = lambda value: True) -> Path | None:
    """A place: half the time any, else by going down at random, so that the few at the top are met."""
    if rng.random() < 0.5:
        path: Path = ()
        while isinstance(inside(data, path), dict | list) and inside(data, path):
            held = inside(data, path)
            path = (*path, _picked(rng, list(held) if isinstance(held, dict) else list(range(len(held)))))
            if fits(inside(data, path)) and rng.random() < 0.4:
                break
        if path and fits(inside(data, path)):
            return path
    found = [path for path in places(data) if fits(inside(data, path))]
    return _picked(rng, found) if found else None


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _put(data: Any, path: Path | None, value: Any) -> None:
    if path is not None:
        inside(data, path[:-1])[path[-1]] = value


# ------------------------------------------------------------------ what destroys


def drop(data: Any, rng: Rng) -> None:
    """One key or one entry."""
    path = _somewhere(data, rng)
    if path is not None:
        del inside(data, path[:-1])[path[-1]]


def drop_everywhere(data: Any, rng: Rng) -> None:
    """A key in all objects that have it."""
    names = sorted({str(path[-1]) for path in places(data) if isinstance(path[-1], str)})
    name = _picked(rng, names) if names else ""
    for path in [path for path in places(data) if path[-1] == name][::-1]:
        inside(data, path[:-1]).pop(name, None)


def null(data: Any, rng: Rng) -> None:
    """null for something."""
    _put(data, _somewhere(data, rng), None)


def _alike(data: Any, rng: Rng) -> list[Path]:
    """All numbers that tell the same quantity in the same way."""
    path = _somewhere(data, rng, _is_number)
    if path is None:
        return []
    shape = tuple(None if isinstance(key, int) else key for key in path)
    return [
        one
        for one in places(data)
        if tuple(None if isinstance(key, int) else key for key in one) == shape
        and _is_number(inside(data, one))
    ]


def null_stretch(data: Any, rng: Rng) -> None:
    """null for a stretch of hours of one quantity."""
    alike = _alike(data, rng)
    if alike:
        first = int(rng.integers(len(alike)))
        for path in alike[first : first + int(rng.integers(1, 24))]:
            _put(data, path, None)


def null_share(data: Any, rng: Rng) -> None:
    """null for a share of the hours of one quantity, here and there."""
    share = rng.random()
    for path in _alike(data, rng):
        if rng.random() < share:
            _put(data, path, None)


def rain_amounts(data: Any) -> list[Path]:
    """Where the amounts of rain stand."""
    words = {"precipitation", "precipitation_amount", "quantitativePrecipitation", "rr"}
    return [
        path
        for path in places(data)
        if words & {str(key).partition("_member")[0] for key in path}
        and {"hourly", "data", "value", "values", "weather"} & set(path)
        and _is_number(inside(data, path))
    ]


def null_wet(data: Any, rng: Rng | None = None) -> None:
    """null in place of every amount of rain that is above zero."""
    for path in rain_amounts(data):
        if inside(data, path) > 0:
            _put(data, path, None)


def text_for_number(data: Any, rng: Rng) -> None:
    """A number in quotes, or a text that stands for none."""
    path = _somewhere(data, rng, _is_number)
    if path is not None:
        said = [str(inside(data, path)), "", "NaN", "null", "-", "n/a", "0", "0,0", "trace"]
        _put(data, path, _picked(rng, said))


def truth_for_number(data: Any, rng: Rng) -> None:
    """true or false for a number."""
    _put(data, _somewhere(data, rng, _is_number), bool(rng.integers(2)))


def wrong_nesting(data: Any, rng: Rng) -> None:
    """Another kind of value than the one that belongs there."""
    path = _somewhere(data, rng)
    if path is None:
        return
    was = inside(data, path)
    kinds: list[Any] = [{}, [], [was], [[was, was]], {"value": was}, {"values": [was]}, "text", "", True]
    if not _is_number(was):
        kinds += [0, 1, -1, 1e30]
    _put(data, path, _picked(rng, kinds))


def too_long(data: Any, rng: Rng) -> None:
    """A list with one thing more at its end."""
    path = _somewhere(data, rng, lambda value: isinstance(value, list))
    if path is not None:
        inside(data, path).append(_picked(rng, [None, "x", {}, []]))


def empty(data: Any, rng: Rng) -> None:
    """An empty list, object or text."""
    path = _somewhere(data, rng, lambda value: isinstance(value, list | dict | str))
    if path is not None:
        _put(data, path, type(inside(data, path))())


def huge(data: Any, rng: Rng) -> None:
    """A number beyond nature."""
    _put(
        data,
        _somewhere(data, rng, _is_number),
        _picked(rng, [1e6, -1e6, 1e300, -1e308, 10**400, -(10**30), 2**63, -9999, 999999]),
    )


def unit_lost(data: Any, rng: Rng) -> None:
    """A unit that is gone or that nobody knows."""
    known = ("hourly_units", "units", "uom", "unit", "unitCode", "symbol")
    paths = [p for p in places(data) if set(p) & set(known) and isinstance(inside(data, p), str)]
    if paths:
        words = [None, "", "furlong", "MM", "kg m-2 s-1", "undefined", "wmoUnit:", "Â°C", "mm/h", "dBZ", 1]
        words += ["m\nm", "\ud800mm", "\u202e%", "\x1b[31mK", "x" * 3000]
        _put(data, _picked(rng, paths), _picked(rng, words))


def cut(data: Any, rng: Rng) -> None:
    """Fewer hours: all long lists lose the same share at one end."""
    share, tail = rng.random(), bool(rng.integers(2))
    shortened(data, lambda size: int(share * size), tail=tail)


def shortened(data: Any, kept: Callable[[int], int], *, tail: bool = True) -> None:
    """All lists of six or more lose their tail, or their head."""
    long = [path for path in places(data) if isinstance(inside(data, path), list)]
    for owner, held in [(inside(data, path[:-1]), inside(data, path)) for path in long]:
        if len(held) >= 6:
            size = kept(len(held))
            held[:] = held[:size] if tail else held[len(held) - size :]
            if isinstance(owner, dict) and "shape" in owner:
                owner["shape"] = [size]


DEEP = "deep-nesting-here"


def deep(data: Any, rng: Rng) -> None:
    """Something nested beyond all measure (filled in when the text is made)."""
    _put(data, _somewhere(data, rng), DEEP)


DESTROYING: tuple[Callable[[Any, Rng], None], ...] = (
    drop,
    drop,
    drop_everywhere,
    null,
    null,
    null_stretch,
    null_stretch,
    null_share,
    null_share,
    null_wet,
    null_wet,
    text_for_number,
    truth_for_number,
    wrong_nesting,
    too_long,
    empty,
    huge,
    unit_lost,
    cut,
    cut,
    deep,
)


# ------------------------------------------------------------------ what spoils the order of hours


def _hour_lists(data: Any) -> list[list[list[Any]]]:
    """Lists whose entries carry a time, or that belong together row by row."""
    found: list[list[list[Any]]] = []
    for path in places(data):
        held = inside(data, path)
        if not isinstance(held, list) or len(held) < 2:
            continue
        timed = all(isinstance(one, dict) and {"time", "validTime", "timestamp"} & set(one) for one in held)
        if timed or path[-1] == "time" or path[-2:] == ("t", "values"):
            found.append([held])
    hourly = data.get("hourly")
    columns = [held for held in hourly.values() if isinstance(held, list)] if isinstance(hourly, dict) else []
    return [*found, columns] if columns and {len(held) for held in columns} == {len(columns[0])} else found


def shuffle_hours(data: Any, rng: Rng) -> None:
    """Hours in another order (two of them exchanged, or all of them)."""
    lists = _picked(rng, [one for one in _hour_lists(data) if len(one[0]) > 1] or [[[0, 1]]])
    order = np.arange(len(lists[0]))
    first, second = rng.choice(order.size, 2, replace=False)
    if rng.random() < 0.5:
        order[[first, second]] = order[[second, first]]
    else:
        order = np.roll(rng.permutation(order), 1)
        order = order if (np.diff(order) != 1).any() else order[::-1]
    for held in lists:
        held[:] = [held[k] for k in order]


def repeat_hour(data: Any, rng: Rng) -> None:
    """An hour that stands twice, in place of its neighbour or beside it."""
    lists = _picked(rng, [one for one in _hour_lists(data) if len(one[0]) > 1] or [[[0, 1]]])
    k = int(rng.integers(1, len(lists[0])))
    beside = bool(rng.integers(2))
    for held in lists:
        if beside:
            held.insert(k, held[k])
        else:
            held[k] = held[k - 1]


DISORDERING = (shuffle_hours, repeat_hour)


# ------------------------------------------------------------------ what tells another weather


def another_number(data: Any, rng: Rng) -> None:
    """A number that may well be."""
    path = _somewhere(data, rng, _is_number)
    if path is not None:
        was = inside(data, path)
        _put(
            data, path, _picked(rng, [0, 0.0, 1, -was, was * 10, was / 10, was + 1, 1e-300, -0.0, 50.0, 1e5])
        )


def another_unit(data: Any, rng: Rng) -> None:
    """A unit that is known, in place of another."""
    known = ("hourly_units", "units", "uom", "unit", "unitCode", "symbol")
    paths = [p for p in places(data) if set(p) & set(known) and isinstance(inside(data, p), str)]
    if paths:
        words = [
            "°C",
            "°F",
            "K",
            "celsius",
            "mm",
            "inch",
            "m",
            "cm",
            "km/h",
            "m/s",
            "kn",
            "%",
            "1",
            "hPa",
            "Pa",
        ]
        words += ["wmoUnit:degF", "wmoUnit:K", "wmoUnit:m", "wmoUnit:percent", "unixtime", "[degF]", "kg/m2"]
        _put(data, _picked(rng, paths), _picked(rng, words))


def another_time(data: Any, rng: Rng) -> None:
    """A time that may be one, somewhere among the texts or whole numbers."""
    path = _somewhere(data, rng, lambda value: isinstance(value, str) or type(value) is int)
    said = ["2025-11-03T00:00:00Z", "1971-01-01T00:00:00Z", "2099-12-31T23:59:59Z", "2025-02-30T00:00:00Z"]
    said += ["2025-11-03T05:00:00+05:45", "2025-11-03T07:07:07Z", "2025-11-03T00:00", "0001-01-01T00:00:00Z"]
    said += ["9999-12-31T23:59:59-14:00", "2025-11-03T00:00:00Z/P5DT19H", "2025-11-03T00:00:00Z/PT0H"]
    said += ["2025-11-03T00:00:00Z/P999999W", "-PT6H/PT0H", "PT999999H", "-P99D/PT0H", 0, 10**10, -(10**12)]
    _put(data, path, _picked(rng, said))


TELLING = (another_number, another_unit, another_time)


# ------------------------------------------------------------------ what is done to the text


def as_bytes(data: Any, rng: Rng) -> bytes:
    """The text of an answer, as services write it."""
    text = json.dumps(data, ensure_ascii=bool(rng.integers(2)))
    depth = int(_picked(rng, [3, 60, 400, 900, 950, 985, 995, 1100, 5000, 100_000]))
    opened, closed = _picked(rng, [("[", "]"), ('{"a":', "}"), ('[{"time":', "}]")])
    return text.replace(f'"{DEEP}"', opened * depth + "1" + closed * depth).encode(errors="surrogatepass")


GARBAGE = [*range(0x21), 0x7F, *range(0x80, 0x100), *b"#@?%&<>*~^|'\\\"{}[]:,/_=()"]


def truncated(body: bytes, rng: Rng) -> bytes:
    """Cut off somewhere."""
    return body[: int(rng.integers(len(body)))]


def without_start(body: bytes, rng: Rng) -> bytes:
    """The beginning lost."""
    return body[int(rng.integers(1, len(body))) :]


def garbage(body: bytes, rng: Rng) -> bytes:
    """Some bytes put in or written over that are part of no number and no word."""
    spoiled = bytearray(body)
    for _ in range(int(rng.integers(1, 4))):
        at, byte = int(rng.integers(len(spoiled))), _picked(rng, GARBAGE)
        if rng.random() < 0.5 or chr(spoiled[at]).isdigit() or spoiled[at] in b".-+eE":
            spoiled.insert(at, byte)
        else:
            spoiled[at] = byte
    return bytes(spoiled)


def no_number(body: bytes, rng: Rng) -> bytes:
    """A bare word in place of a number, or a number beyond what a computer holds."""
    found = [match.span() for match in re.finditer(rb"(?<=[:\[ ])-?\d[\d.eE+-]*(?=[,}\]])", body)]
    if not found:
        return body
    first, last = _picked(rng, found)
    word = _picked(
        rng, [b"NaN", b"Infinity", b"-Infinity", b"1e999", b"-1e999", b"nan", b"None", b"undefined"]
    )
    return bytes(body[:first] + word + body[last:])


def encoded(body: bytes, rng: Rng) -> bytes:
    """In another encoding, or packed."""
    text = body.decode(errors="replace")
    how = _picked(
        rng,
        [
            "utf-16",
            "utf-16-le",
            "utf-32",
            "latin-1",
            "cp1252",
            "utf-8-sig",
            "utf-7",
            "cp037",
            "gzip",
            "twice",
        ],
    )
    if how == "gzip":
        return gzip.compress(body)
    if how == "twice":
        return body.decode("latin-1").encode()
    return text.encode(how, "replace")


def surrounded(body: bytes, rng: Rng) -> bytes:
    """Something before or behind it, or the answer twice."""
    before, behind = _picked(
        rng,
        [
            (b"<html>", b""),
            (b"", b"}"),
            (b"callback(", b")"),
            (b"[", b"]"),
            (b"", body),
            (b"\xef\xbb\xbf", b"\n"),
        ],
    )
    return bytes(before + body + behind)


TEXTUAL = (truncated, without_start, garbage, garbage, no_number, encoded, surrounded)
