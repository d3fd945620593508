"""Reader of the raw forecast grid of the US National Weather Service (api.weather.gov/gridpoints/...).

By the service's own description (https://weather-gov.github.io/api/gridpoints)
and its API page (https://www.weather.gov/documentation/services-web-api).
What matters here:

- Every quantity is a layer of its own: intervals (start/duration) with a
  value, equal neighbours merged. Layers begin and end on different days; where
  one has ended it is unknown, rain too.
- Rain (``quantitativePrecipitation``) is the sum over its interval.
- Of merged chances of rain the period is lost: a block is taken as one period,
  a block of more than 12 hours as several of at most 12.
- The hourly temperature may be warmer than the minimum that is stated for the
  night; then the night is lowered to it.
- The unit stands with the layer, behind the last colon of a code.
- The grid begins some hours before it is sent.

The text forecast (``periods``) has no rain amounts and is refused; the answer
for a point only says where its grid is (``grid_link``).
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import urlsplit

import numpy as np

from scheduler.weather.formats.checks import (
    MEND,
    after,
    checked_dew_point,
    moment,
    number,
    quoted,
    refuse_unless_enough,
)
from scheduler.weather.formats.nws_layers import (
    EPOCH,
    Layer,
    entries_of,
    intervals_of,
    layer_of,
    refuse_an_error,
    unit_of,
)
from scheduler.weather.formats.periods import hourly_chance, spread_sum
from scheduler.weather.formats.points import LONGEST, lowered
from scheduler.weather.series import HOUR, Array, Provenance, Weather, WeatherError

__all__ = ["VARIABLE_MAP", "grid_link", "read", "recognise"]

VARIABLE_MAP = {  # layer -> name in this house
    "temperature": "air_c",
    "dewpoint": "dew_point_c",
    "relativeHumidity": "humidity",
    "windSpeed": "wind_ms",
    "windGust": "gust_ms",
    "skyCover": "cloud",
    "quantitativePrecipitation": "rain_mm",
    "probabilityOfPrecipitation": "rain_chance",
}
NEEDED = {
    "air_c": "air temperature (temperature)",
    "dew_point_c": "dew point or humidity (dewpoint or relativeHumidity)",
    "wind_ms": "wind (windSpeed)",
    "rain_mm": "rain (quantitativePrecipitation)",
}
CODES = {  # WMO code 4677 of the kinds of weather that a layer names; what is not here is code 0
    "thunderstorms": 95,
    "water_spouts": 19,
    "freezing_rain": 66,
    "freezing_drizzle": 56,
    "freezing_spray": 56,
    "sleet": 79,
    "snow_showers": 85,
    "snow": 71,
    "rain_showers": 80,
    "rain": 61,
    "drizzle": 51,
    "ice_fog": 48,
    "freezing_fog": 48,
    "fog": 45,
}
LONGEST_CHANCE = 12  # hours; no chance of rain is issued for a longer period


def recognise(data: object) -> bool:
    """Whether a decoded answer comes from this service, by its shape alone (its errors and links too)."""
    if not isinstance(data, dict):
        return False
    if "correlationId" in data or _is_report(data):
        return True
    inner = data.get("properties")
    if not isinstance(inner, dict):
        return False
    layer = inner.get("temperature")
    return (
        "forecastGridData" in inner or "periods" in inner or (isinstance(layer, dict) and "values" in layer)
    )


def grid_link(data: object) -> str | None:
    """The address of the grid that the answer for a point names; None in any other answer.

    Whether that is still the host that was asked is for the caller to see.
    """
    inner = data.get("properties") if isinstance(data, dict) else None
    link = inner.get("forecastGridData") if isinstance(inner, dict) else None
    if not isinstance(link, str) or len(link) > 500 or not link.isprintable():
        return None
    try:
        parts = urlsplit(link)
    except ValueError:
        return None
    return link if parts.scheme in {"http", "https"} and parts.hostname else None


def read(data: object, *, place: tuple[float, float] | None = None) -> Weather:
    """A decoded grid as weather; ``place`` is not needed, as the answer has one cell.

    Returns
    -------
    Weather
        UTC, SI; shape (1, hours), from the first to the last hour of any needed
        layer. The place is the middle of the cell.

    Raises
    ------
    WeatherError
        For an error, for the answer of a point or a text forecast, when a needed
        layer is missing, and for everything that would need guessing.
    """
    grid = _grid_of(data)
    layers = {house: layer for name, house in VARIABLE_MAP.items() if (layer := layer_of(grid, name, house))}
    refuse_unless_enough({"dew_point_c" if name == "humidity" else name for name in layers}, NEEDED)
    needed = [
        layers[name] for name in ("air_c", "dew_point_c", "humidity", "wind_ms", "rain_mm") if name in layers
    ]
    first = min(int(layer.starts[0]) for layer in needed)
    hours = max(int(layer.starts[-1] + layer.lengths[-1]) for layer in needed) - first
    if hours * HOUR > LONGEST:
        raise WeatherError(f"The layers of the answer reach over more than {LONGEST.days} days. {MEND}")
    notes: list[str] = []
    rows = _rows(grid, layers, first, hours, notes)
    lat, lon = _middle(data)
    source = Provenance(
        "nws",
        issued=_updated(grid),
        latitude=lat,
        longitude=lon,
        altitude_m=_altitude(grid),
        notes=tuple(notes),
    )
    arrays = {name: values[None, :] for name, values in rows.items()}
    return Weather(start=EPOCH + first * HOUR, provenance=source, **arrays)  # type: ignore[arg-type]


# ------------------------------------------------------------------ which answer, which cell


def _grid_of(data: Any) -> Mapping[str, Any]:
    """The properties of a grid; every other answer of the service is refused by what it is."""
    refuse_an_error(data)
    if _is_report(data):
        raise WeatherError(
            "The answer holds reports of a weather station, not a forecast. "
            "Ask for the raw grid of your place (forecastGridData of /points)."
        )
    inner: Mapping[str, Any] = data["properties"]
    if "forecastGridData" in inner:
        link = grid_link(data)
        where = f"at {quoted(link)}" if link else "at an address that it does not name properly"
        raise WeatherError(
            f"The answer is for a point and holds no weather; its forecast is {where}. "
            "Give that address in yard.toml under [forecast]."
        )
    if "periods" in inner:
        raise WeatherError(
            "The answer is a text forecast with no rain amounts. "
            "Ask for the raw grid: the address without /forecast or /forecast/hourly at its end."
        )
    return inner


def _is_report(data: Mapping[str, Any]) -> bool:
    """Whether an answer holds reports of a station (read in ``nws_observations``)."""
    features = data.get("features", [data])
    first = features[0] if isinstance(features, list) and features else None
    inner = first.get("properties") if isinstance(first, dict) else None
    return isinstance(inner, dict) and "/observations/" in str(inner.get("@id"))


def _middle(data: Any) -> tuple[float | None, float | None]:
    """Latitude and longitude of the middle of the cell, by its corners."""
    geometry = data.get("geometry")
    rings = geometry.get("coordinates") if isinstance(geometry, dict) else None
    ring = rings[0] if isinstance(rings, list) and rings else None
    corners = ring[:-1] if isinstance(ring, list) and len(ring) > 3 and ring[0] == ring[-1] else []
    places = [
        (number(corner[0], -180.0, 360.0), number(corner[1], -90.0, 90.0))
        for corner in corners
        if isinstance(corner, list) and len(corner) >= 2
    ]
    east = [lon for lon, _ in places if lon is not None]
    north = [lat for _, lat in places if lat is not None]
    if not corners or not len(east) == len(north) == len(corners) or max(east) - min(east) > 1.0:
        return None, None
    return sum(north) / len(north), sum(east) / len(east)


def _altitude(grid: Mapping[str, Any]) -> float | None:
    given = grid.get("elevation")
    if not isinstance(given, dict) or unit_of(given.get("unitCode")) != "m":
        return None
    return number(given.get("value"), -500.0, 9000.0)


def _updated(grid: Mapping[str, Any]) -> datetime | None:
    given = grid.get("updateTime")
    return None if given is None else moment(given, "The time of the last update (updateTime)")


# ------------------------------------------------------------------ hours


def _rows(
    grid: Mapping[str, Any], layers: dict[str, Layer], first: int, hours: int, notes: list[str]
) -> dict[str, Array]:
    """Every quantity hour by hour."""
    amounts = ("rain_mm", "rain_chance")
    rows = {name: layer.hourly(first, hours) for name, layer in layers.items() if name not in amounts}
    when = after(EPOCH, range(first, first + hours))
    dew = checked_dew_point(rows["air_c"], rows.get("dew_point_c"), rows.pop("humidity", None), when, notes)
    air = rows["air_c"] = _lowered_nights(rows["air_c"], grid, first)
    if dew is not None:
        rows["dew_point_c"] = np.where(dew > air, air, dew)
    chance = np.full(hours, np.nan)
    if "rain_chance" in layers:
        blocks = _periods(layers["rain_chance"])
        chance = rows["rain_chance"] = blocks.of(first, hours, hourly_chance(blocks.values, blocks.lengths))
    rows["rain_mm"] = _spread_rain(layers["rain_mm"], chance, first)
    code = _codes(grid, first, hours)
    return rows if code is None else rows | {"code": code}


def _lowered_nights(air: Array, grid: Mapping[str, Any], first: int) -> Array:
    """The air with each night at least as cold as its stated minimum, where most of the night is known."""
    nights = layer_of(grid, "minTemperature", "air_c")
    out = air.copy()
    for here, low in nights.spans(first) if nights else []:
        row = slice(max(here.start, 0), max(here.stop, 0))
        night = out[row]
        if 2 * np.count_nonzero(np.isfinite(night)) > here.stop - here.start:
            out[row] = lowered(night, low)
    return out


def _spread_rain(layer: Layer, chance: Array, first: int) -> Array:
    """The sum of each interval over its hours."""
    out = np.full(chance.size, np.nan)
    for here, total in layer.spans(first):
        thin = bool(np.isfinite(chance[here]).all())
        out[here] = spread_sum(total, here.stop - here.start, thin=thin)
    return out


def _periods(layer: Layer) -> Layer:
    """The same chances with every block cut into equal parts of at most 12 hours, each taken as a period."""
    parts = -(-layer.lengths // LONGEST_CHANCE)
    if (parts == 1).all():
        return layer
    whole = [
        (start + part[0], part.size, value)
        for start, size, count, value in zip(layer.starts, layer.lengths, parts, layer.values, strict=True)
        for part in np.array_split(np.arange(size), count)
    ]
    starts, lengths, values = zip(*whole, strict=True)
    return Layer(np.array(starts), np.array(lengths), np.array(values))


def _codes(grid: Mapping[str, Any], first: int, hours: int) -> Array | None:
    """The weather code of every hour by the gravest kind of weather that is named for it."""
    entries = entries_of(grid.get("weather"), "weather")
    if not entries:
        return None
    starts, lengths = intervals_of(entries, "weather")
    codes = np.array([_code(entry["value"]) for entry in entries])
    return Layer(starts, lengths, codes).hourly(first, hours)


def _code(kinds: object) -> float:
    if kinds is None:
        return np.nan
    named = (
        [kind.get("weather") for kind in kinds if isinstance(kind, dict)] if isinstance(kinds, list) else []
    )
    return float(max((CODES.get(name, 0) for name in named if isinstance(name, str)), default=0))
