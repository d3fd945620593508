"""Where and when a coverage is: its axes, reference systems and place. Used by ``coverage`` only.

Only time may have more than one value. It is text with an offset, or seconds
since 1970 where the reference system says so; listed, or as start, stop and
number.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from scheduler.weather.formats.checks import MEND, moment, number, quoted
from scheduler.weather.formats.columns import FAR_KM, distance_km
from scheduler.weather.series import WeatherError

__all__ = ["Coverage", "coverages_of", "of_one_place"]

MOST_TIMES = 2000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Coverage:
    """One coverage: its place, its times, what each time stands for where the axis says it, its ranges."""

    latitude: float
    longitude: float
    moments: list[datetime]
    bounds: list[tuple[datetime, datetime]] | None
    parameters: Mapping[str, Any]
    ranges: Mapping[str, Any]


def coverages_of(data: Mapping[str, Any]) -> list[Coverage]:
    """The coverages of an answer, each with what stands on the collection."""
    given = [data] if data["type"] == "Coverage" else data.get("coverages")
    if not isinstance(given, list) or not given or not all(isinstance(one, dict) for one in given):
        raise WeatherError(
            "The collection holds no coverages: there is no forecast for what was asked. Ask for more."
        )
    return [_coverage(one, data) for one in given]


def _coverage(one: Mapping[str, Any], whole: Mapping[str, Any]) -> Coverage:
    domain, ranges = one.get("domain"), one.get("ranges")
    if isinstance(domain, str):
        raise WeatherError("The domain of the coverage stands behind a link. Ask for an answer in one piece.")
    axes = domain.get("axes") if isinstance(domain, dict) else None
    if not isinstance(domain, dict) or not isinstance(axes, dict) or not isinstance(ranges, dict):
        raise WeatherError(f"The coverage lacks its axes or its ranges. {MEND}")
    systems = _systems(domain.get("referencing", whole.get("referencing")))
    if "x" in systems and systems["x"].get("type") == "ProjectedCRS":
        raise WeatherError("The place of the coverage is not in degrees. Ask with crs=CRS84.")
    for name in axes:
        if name != "t" and (len(_values(axes, name)) > 1 or "dataType" in axes[name]):
            raise WeatherError(
                f"The axis {quoted(name, 20)} of the coverage holds more than one place, height or member. "
                "Ask for one position."
            )
    lon, lat = (number(_values(axes, name)[0], -high, high) for name, high in (("x", 360.0), ("y", 90.0)))
    if lon is None or lat is None:
        raise WeatherError(f"The place of the coverage is not in degrees. Ask with crs=CRS84. {MEND}")
    parameters = one.get("parameters", whole.get("parameters"))
    return Coverage(
        latitude=lat,
        longitude=lon,
        moments=_times(_values(axes, "t"), systems.get("t", {})),
        bounds=_bounds(axes["t"], systems.get("t", {})),
        parameters=parameters if isinstance(parameters, dict) else {},
        ranges=ranges,
    )


def _systems(referencing: object) -> dict[str, Mapping[str, Any]]:
    """The reference system of each axis; none where it is not said."""
    found: dict[str, Mapping[str, Any]] = {}
    for one in referencing if isinstance(referencing, list) else []:
        if isinstance(one, dict) and isinstance(one.get("system"), dict):
            axes = one.get("coordinates", one.get("components"))
            found |= (
                {axis: one["system"] for axis in axes if isinstance(axis, str)}
                if isinstance(axes, list)
                else {}
            )
    return found


def _values(axes: Mapping[str, Any], name: str) -> list[Any]:
    """The values of an axis, listed or regular."""
    axis = axes.get(name)
    if not isinstance(axis, dict):
        raise WeatherError(
            f"The coverage has no axis {quoted(name, 20)} as it should. Ask for one position. {MEND}"
        )
    values = axis.get("values")
    if values is None:
        start, stop = number(axis.get("start"), -1e12, 1e12), number(axis.get("stop"), -1e12, 1e12)
        count = axis.get("num")
        if start is not None and stop is not None and type(count) is int and 0 < count <= MOST_TIMES:
            values = np.linspace(start, stop, count).tolist()
    if not isinstance(values, list) or not 0 < len(values) <= MOST_TIMES:
        raise WeatherError(
            f"The axis {quoted(name, 20)} of the coverage has no values, or far too many. {MEND}"
        )
    return values


def _times(values: list[Any], system: Mapping[str, Any]) -> list[datetime]:
    if system.get("calendar", "Gregorian") != "Gregorian":
        raise WeatherError(f"The times of the coverage are not in the Gregorian calendar. {MEND}")
    if all(isinstance(value, str) for value in values):
        return [moment(value, "A time of the coverage") for value in values]
    if "UnixTime" not in f"{system.get('epoch')} {system.get('id')}":
        raise WeatherError(
            "The times of the coverage are numbers, and it is not said from when they count. "
            "Ask for dates in text."
        )
    seconds = [number(value, 0.0, 4_102_444_800.0) for value in values]
    if not all(second is not None and abs(second - round(second)) < 1e-3 for second in seconds):
        raise WeatherError(f"The times of the coverage are no whole seconds of 1970 to 2099. {MEND}")
    return [_EPOCH + timedelta(seconds=round(second)) for second in seconds if second is not None]


def _bounds(axis: Mapping[str, Any], system: Mapping[str, Any]) -> list[tuple[datetime, datetime]] | None:
    given = axis.get("bounds")
    if not isinstance(given, list) or not given:
        return None
    ends = _times(given, system)
    return list(zip(ends[::2], ends[1::2], strict=False))


def of_one_place(
    coverages: list[Coverage], place: tuple[float, float] | None, notes: list[str]
) -> list[Coverage]:
    """The coverages of the place that is meant: the only one, or of several the nearest."""
    places = list(dict.fromkeys((one.latitude, one.longitude) for one in coverages))
    if len(places) == 1:
        return coverages
    if place is None:
        raise WeatherError(
            f"The answer holds {len(places)} places, and it is not known which is meant. Ask for one."
        )
    away, nearest = min((distance_km(place, one), one) for one in places)
    if away > FAR_KM:
        raise WeatherError(
            f"The answer holds {len(places)} places, none of them the yard's: the nearest is {away:.0f} km "
            "away. Check latitude and longitude (and their signs) in the address and in yard.toml."
        )
    notes.append(f"the answer holds {len(places)} places; the nearest, {away:.0f} km away, was taken")
    return [one for one in coverages if (one.latitude, one.longitude) == nearest]
