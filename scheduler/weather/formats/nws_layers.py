"""Layers, units and errors of the US National Weather Service. Used by its two readers only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

import numpy as np

from scheduler.weather.formats.checks import (
    MEND,
    Units,
    after,
    in_house_unit,
    numbers,
    quoted,
    shown_type,
)
from scheduler.weather.formats.periods import parse_interval, whole_hours
from scheduler.weather.formats.points import LONGEST, Rows
from scheduler.weather.series import Array, WeatherError

__all__ = ["EPOCH", "UNITS", "Layer", "entries_of", "intervals_of", "layer_of", "refuse_an_error", "unit_of"]

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_TEMPERATURE: Units = {"degC": (1.0, 0.0), "degF": (5.0 / 9.0, -160.0 / 9.0), "K": (1.0, -273.15)}
_WIND: Units = {"km_h-1": (1.0 / 3.6, 0.0), "m_s-1": (1.0, 0.0)}
UNITS: dict[str, Units] = {
    "air_c": _TEMPERATURE,
    "dew_point_c": _TEMPERATURE,
    "humidity": {"percent": (1.0, 0.0)},
    "wind_ms": _WIND,
    "gust_ms": _WIND,
    "cloud": {"percent": (0.01, 0.0)},
    "rain_mm": {"mm": (1.0, 0.0), "m": (1000.0, 0.0)},
    "rain_chance": {"percent": (0.01, 0.0)},
    "pressure_hpa": {"Pa": (0.01, 0.0), "hPa": (1.0, 0.0)},
}


@dataclass(frozen=True, slots=True)
class Layer:
    """Intervals in hours since 1970 and what is said of each, in order and without overlap."""

    starts: Rows
    lengths: Rows
    values: Array

    def of(self, first: int, hours: int, values: Array) -> Array:
        """Values of the intervals at every hour of a grid from ``first``, NaN where there is no interval."""
        out = np.full(hours, np.nan)
        inside = np.arange(int(self.lengths.sum())) - np.repeat(
            np.cumsum(self.lengths) - self.lengths, self.lengths
        )
        rows = np.repeat(self.starts - first, self.lengths) + inside
        here = (rows >= 0) & (rows < hours)
        out[rows[here]] = np.repeat(values, self.lengths)[here]
        return out

    def spans(self, first: int) -> list[tuple[slice, float]]:
        """Rows and value of each known interval, for a grid that begins at ``first``."""
        known = np.flatnonzero(np.isfinite(self.values))
        begin, end = self.starts - first, self.starts - first + self.lengths
        return [(slice(begin[k], end[k]), float(self.values[k])) for k in known]

    def hourly(self, first: int, hours: int) -> Array:
        """The value of every hour, NaN where the layer says nothing."""
        return self.of(first, hours, self.values)


def refuse_an_error(data: Mapping[str, Any]) -> None:
    """Refuse an error answer (RFC 7807) with the service's own words; do nothing with any other."""
    if "correlationId" not in data:
        return
    given = [data[key] for key in ("title", "detail") if isinstance(data.get(key), str)]
    words = quoted(": ".join(given) or "no reason given")
    outside = "InvalidPoint" in str(data.get("type"))
    mend = (
        "It covers the United States only; check latitude and longitude, and their signs."
        if outside
        else "Ask again later, or name another service in yard.toml under [forecast]."
    )
    raise WeatherError(f'The National Weather Service answers with an error: "{words}" {mend}')


def unit_of(code: object) -> object:
    """The unit behind the last colon of a code such as wmoUnit:degC; anything but a text as it is."""
    return code.rpartition(":")[2] if isinstance(code, str) else code


def layer_of(grid: Mapping[str, Any], name: str, house: str) -> Layer | None:
    """One layer in the house's unit; None where the service has nothing to say."""
    layer = grid.get(name)
    entries = entries_of(layer, name)
    if all(entry["value"] is None for entry in entries):
        return None
    starts, lengths = intervals_of(entries, name)
    when = after(EPOCH, starts)
    raw = numbers([entry["value"] for entry in entries], name, when)
    unit = unit_of(layer.get("uom")) if isinstance(layer, dict) else None
    return Layer(starts, lengths, in_house_unit(raw, name, house, unit, UNITS[house], when))


def entries_of(layer: object, name: str) -> list[Mapping[str, Any]]:
    """The intervals of a layer as they stand; none where the layer is absent or empty."""
    if layer is None:
        return []
    entries = layer.get("values") if isinstance(layer, dict) else layer
    if not isinstance(entries, list):
        raise WeatherError(f"The layer {name} is {shown_type(entries)}, not a list of values. {MEND}")
    for entry in entries:
        if not isinstance(entry, dict) or "value" not in entry or not isinstance(entry.get("validTime"), str):
            raise WeatherError(f"The layer {name} holds a value without its interval (validTime). {MEND}")
    return entries


def intervals_of(entries: list[Mapping[str, Any]], name: str) -> tuple[Rows, Rows]:
    """Starts in hours since 1970 and lengths in hours; refused out of order, overlapping or between hours."""
    hours = np.array([_interval_hours(entry["validTime"]) for entry in entries], dtype=np.int64)
    starts, lengths = hours.reshape(-1, 2).T
    wrong = np.flatnonzero(starts[1:] < (starts + lengths)[:-1])
    if wrong.size:
        text = entries[int(wrong[0]) + 1]["validTime"]
        raise WeatherError(
            f"The intervals of {name} overlap or are not in order: {text} begins before "
            f"the one before it ends. {MEND}"
        )
    return starts, lengths


@lru_cache(maxsize=4096)  # the layers share their intervals
def _interval_hours(text: str) -> tuple[int, int]:
    when, lasting = parse_interval(text)
    start, hours = whole_hours(when - EPOCH), whole_hours(lasting)
    if start is None or hours is None:
        raise WeatherError(f"The interval {text} is not of whole hours. {MEND}")
    if lasting > LONGEST:
        raise WeatherError(f"The interval {text} is longer than any forecast. {MEND}")
    return start, hours
