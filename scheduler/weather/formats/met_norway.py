"""Reader of MET Norway's Locationforecast 2.0, compact and complete: hourly, then in steps of 6 hours.

Names, units and periods by MET Norway's own description of the data model
(https://docs.api.met.no/doc/locationforecast/datamodel). What matters here:

- Times are UTC. Instants stand at their time; ``next_1_hours`` and
  ``next_6_hours`` begin there, so nothing has to be moved.
- An hour's rain is taken once: from ``next_1_hours`` where it is given, else
  from the ``next_6_hours`` that covers hours of which nothing is known yet.
- Between two points 6 hours apart instants run in straight lines; the air
  keeps to the minimum and maximum that are stated for the 6 hours.
- What is not available is not in the answer, and the set changes along the
  series: from there it is unknown. The last entry has no period at all.
- The 10th and 90th percentile of the air become a standard deviation, as if
  the doubt were normal.
- Symbols serve for one thing only: to know of thunder.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from statistics import NormalDist
from typing import Any

import numpy as np

from scheduler.weather.formats.checks import (
    MEND,
    Units,
    at,
    checked_dew_point,
    in_house_unit,
    moment,
    number,
    numbers,
    reduced_pressure,
    refuse_unless_enough,
    shown_type,
)
from scheduler.weather.formats.periods import hourly_chance, spread_sum
from scheduler.weather.formats.points import Rows, between, hour_numbers, through
from scheduler.weather.series import Array, Provenance, Weather, WeatherError

__all__ = ["VARIABLE_MAP", "read", "recognise"]

VARIABLE_MAP = {  # instants: name in the answer -> name in this house
    "air_temperature": "air_c",
    "dew_point_temperature": "dew_point_c",
    "relative_humidity": "humidity",
    "wind_speed": "wind_ms",
    "wind_speed_of_gust": "gust_ms",
    "cloud_area_fraction": "cloud",
    "air_pressure_at_sea_level": "sea_level_hpa",
}
LOW, HIGH = "air_temperature_percentile_10", "air_temperature_percentile_90"
PERIODS = {"next_1_hours": 1, "next_6_hours": 6, "next_12_hours": 12}
RAIN, CHANCE = "precipitation_amount", "probability_of_precipitation"
NEEDED = {
    "air_c": "air temperature (air_temperature)",
    "dew_point_c": "dew point or humidity (dew_point_temperature or relative_humidity)",
    "wind_ms": "wind (wind_speed)",
    "rain_mm": "rain (precipitation_amount)",
}
UNITS: dict[str, Units] = {
    "air_c": {"celsius": (1.0, 0.0)},
    "dew_point_c": {"celsius": (1.0, 0.0)},
    "humidity": {"%": (1.0, 0.0)},
    "wind_ms": {"m/s": (1.0, 0.0)},
    "gust_ms": {"m/s": (1.0, 0.0)},
    "cloud": {"%": (0.01, 0.0)},
    "sea_level_hpa": {"hPa": (1.0, 0.0)},
    "rain_mm": {"mm": (1.0, 0.0)},
    "rain_chance": {"%": (0.01, 0.0)},
}
TENTH_TO_TENTH = 2.0 * NormalDist().inv_cdf(0.9)  # standard deviations between the two percentiles
# WMO code 4677 of the kinds of weather in a symbol's name, the gravest first.
SYMBOLS = (("thunder", 95), ("snow", 71), ("sleet", 68), ("rain", 61), ("fog", 45), ("", 0))
_SYMBOL = re.compile(r"[a-z]{3,40}(_[a-z]{3,20})?", re.ASCII)


@dataclass(frozen=True, slots=True)
class _Series:
    """The entries of an answer: times, hours after the first, parts, and the unit of each parameter."""

    moments: list[datetime]
    points: Rows
    details: Mapping[str, list[Mapping[str, Any]]]  # by the name of the part, as next_6_hours
    summaries: Mapping[str, list[Mapping[str, Any]]]
    units: Mapping[str, Any]

    def column(self, part: str, name: str, house: str) -> Array | None:
        """One parameter at all points in the house's unit, NaN where it is not given; None if nowhere."""
        given = [details.get(name) for details in self.details[part]]
        if all(value is None for value in given):
            return None
        when = at(self.moments)
        raw = numbers(given, name, when)
        return in_house_unit(raw, name, house, self.units.get(name), UNITS[house], when)


def recognise(data: object) -> bool:
    """Whether a decoded answer is of this family, by its shape alone."""
    inner = data.get("properties") if isinstance(data, dict) else None
    return isinstance(inner, dict) and "timeseries" in inner


def read(data: object, *, place: tuple[float, float] | None = None) -> Weather:
    """A decoded Locationforecast as weather; ``place`` is not needed, as the answer has one place.

    Returns
    -------
    Weather
        UTC, SI; shape (1, hours). ``issued`` is the model's update, the place that of the answer.

    Raises
    ------
    WeatherError
        When a needed quantity is missing, and for everything that would need guessing.
    """
    notes: list[str] = []
    series = _series_of(data)
    lon, lat, altitude_m = _where(data)
    rows = _instants(series, altitude_m, notes) | _of_periods(series)
    refuse_unless_enough(rows, NEEDED)
    hours = max(int(series.points[-1]), int(np.flatnonzero(np.isfinite(rows["rain_mm"]))[-1])) + 1
    arrays = {name: _to_length(values, hours)[None, :] for name, values in rows.items()}
    if np.any(np.diff(series.points) > 1):
        first = int(np.flatnonzero(np.diff(series.points) > 1)[0])
        notes.append(f"from {at(series.moments)(first)} on in steps of 6 hours, with straight lines between")
    source = Provenance(
        "met-norway",
        issued=_updated(data),
        latitude=lat,
        longitude=lon,
        altitude_m=altitude_m,
        notes=tuple(notes),
    )
    return Weather(start=series.moments[0], provenance=source, **arrays)  # type: ignore[arg-type]


# ------------------------------------------------------------------ the answer's parts


def _inside(outer: Sequence[Mapping[str, Any]], key: str) -> list[Mapping[str, Any]]:
    """The object inside each of several; empty where it is not given, refused where it is something else."""
    found = [one.get(key) for one in outer]
    if not set(map(type, found)) <= {dict, type(None)}:
        wrong = next(one for one in found if one is not None and type(one) is not dict)
        raise WeatherError(f"{key} of an entry is {shown_type(wrong)}, not an object. {MEND}")
    return [one or {} for one in found]


def _series_of(data: Any) -> _Series:
    properties = data["properties"]
    entries, meta = properties["timeseries"], properties.get("meta")
    if not isinstance(entries, list) or not all(isinstance(one, dict) for one in entries):
        raise WeatherError(f"The series of the answer (timeseries) is no list of entries. {MEND}")
    units = meta.get("units") if isinstance(meta, dict) else None
    if not isinstance(units, dict):
        raise WeatherError(f"The answer gives no units (meta, units), so its numbers mean nothing. {MEND}")
    moments = [moment(one.get("time"), "The time of an entry") for one in entries]
    points = hour_numbers(moments, (1, 6))
    data_of = _inside(entries, "data")
    parts = {part: _inside(data_of, part) for part in ("instant", *PERIODS)}
    details = {part: _inside(ones, "details") for part, ones in parts.items()}
    summaries = {part: _inside(parts[part], "summary") for part in PERIODS}
    return _Series(moments, points, details, summaries, units)


def _where(data: Any) -> tuple[float | None, float | None, float | None]:
    """Longitude, latitude and altitude in m."""
    geometry = data.get("geometry")
    given = geometry.get("coordinates") if isinstance(geometry, dict) else None
    lon, lat, altitude_m, *_ = [*(given if isinstance(given, list) else []), None, None, None]
    return number(lon, -180.0, 360.0), number(lat, -90.0, 90.0), number(altitude_m, -500.0, 9000.0)


def _updated(data: Any) -> datetime | None:
    given = data["properties"]["meta"].get("updated_at")
    return None if given is None else moment(given, "The time of the last update (updated_at)")


# ------------------------------------------------------------------ instants


def _instants(series: _Series, altitude_m: float | None, notes: list[str]) -> dict[str, Array]:
    """Air, dew point, wind, gust, cloud, pressure and the doubt of the air at every hour."""
    points = {}
    for foreign, house in VARIABLE_MAP.items():
        values = series.column("instant", foreign, house)
        if values is not None:
            points[house] = values
    percent, sea_level = points.pop("humidity", None), points.pop("sea_level_hpa", None)
    if "air_c" in points:
        dew = checked_dew_point(
            points["air_c"], points.pop("dew_point_c", None), percent, at(series.moments), notes
        )
        points |= {} if dew is None else {"dew_point_c": dew}
    if sea_level is not None and altitude_m is not None:
        points["pressure_hpa"] = reduced_pressure(sea_level, altitude_m)
    sigma = _sigma(series)
    points |= {} if sigma is None else {"air_sigma_k": sigma}
    hours = int(series.points[-1]) + 1
    rows = {name: through(series.points, values, hours) for name, values in points.items()}
    if "air_c" in rows:
        _keep_to_extremes(rows["air_c"], series)
    if "air_c" in rows and "dew_point_c" in rows:
        air, dew = rows["air_c"], rows["dew_point_c"]
        rows["dew_point_c"] = np.where(dew > air, air, dew)  # a bent line may have come below it
    return rows


def _sigma(series: _Series) -> Array | None:
    """Standard deviation of the air at the points, K."""
    low, high = (series.column("instant", name, "air_c") for name in (LOW, HIGH))
    if low is None or high is None:
        return None
    wrong = np.flatnonzero(low > high)
    if wrong.size:
        raise WeatherError(
            f"The 10th percentile of the air lies above the 90th at {at(series.moments)(int(wrong[0]))}: "
            f"the answer contradicts itself. {MEND}"
        )
    return np.asarray((high - low) / TENTH_TO_TENTH)


def _keep_to_extremes(air: Array, series: _Series) -> None:
    """Bend the straight lines over 6 hours to the minimum and maximum stated for them, in place."""
    none = np.full(series.points.size, np.nan)
    low, high = (
        none if values is None else values
        for values in (
            series.column("next_6_hours", f"air_temperature_{name}", "air_c") for name in ("min", "max")
        )
    )
    wrong = np.flatnonzero(low > high)
    if wrong.size:
        raise WeatherError(
            f"The minimum of the air lies above the maximum in the 6 hours from "
            f"{at(series.moments)(int(wrong[0]))}: the answer contradicts itself. {MEND}"
        )
    for k in np.flatnonzero(np.diff(series.points) == 6):
        first, last = series.points[k], series.points[k + 1]
        if np.isfinite(air[first]) and np.isfinite(air[last]):
            air[first : last + 1] = between(air[first], air[last], 6, low[k], high[k])


# ------------------------------------------------------------------ periods


def _of_periods(series: _Series) -> dict[str, Array]:
    """Rain, its chance and the weather code of every hour that a period covers, none taken twice."""
    hours = int(series.points[-1]) + 1 + max(PERIODS.values())
    rain, chance, code = (np.full(hours, np.nan) for _ in range(3))
    for part, size in PERIODS.items():  # the shortest first
        shares = series.column(part, CHANCE, "rain_chance")
        if shares is not None:
            _lay(chance, series.points, hourly_chance(shares, size), size)

    def spread(here: slice, total: float) -> Array:
        thin = bool(np.isfinite(chance[here]).all())
        return spread_sum(total, here.stop - here.start, thin=thin)

    for part in ("next_1_hours", "next_6_hours"):
        size, sums = PERIODS[part], series.column(part, RAIN, "rain_mm")
        if sums is not None:
            _lay(rain, series.points, sums, size, spread)
        _lay(code, series.points, _codes(series.summaries[part]), size)
    found = {"rain_mm": rain, "rain_chance": chance, "code": code}
    return {name: values for name, values in found.items() if np.isfinite(values).any()}


def _lay(
    rows: Array,
    points: Rows,
    values: Array,
    size: int,
    spread: Callable[[slice, float], Array] | None = None,
) -> None:
    """Lay each known value on the ``size`` hours of its period, in place, where none of them is known yet.

    ``spread`` makes of a sum one value for each hour; without it all have the same. A single hour has it all.
    """
    here = np.isfinite(values) & np.isnan(rows[points])
    if size == 1:
        rows[points[here]] = values[here]
        return
    for k in np.flatnonzero(here):
        hours, value = slice(int(points[k]), int(points[k]) + size), float(values[k])
        if np.isnan(rows[hours]).all():
            rows[hours] = value if spread is None else spread(hours, value)


def _codes(summaries: list[Mapping[str, Any]]) -> Array:
    """The weather code of a period at each point by the name of its symbol."""
    names = [one.get("symbol_code") for one in summaries]
    return np.array([_code(name) if isinstance(name, str) else np.nan for name in names])


@lru_cache(maxsize=128)
def _code(symbol: str) -> float:
    if not _SYMBOL.fullmatch(symbol):
        return np.nan
    return float(next(code for part, code in SYMBOLS if part in symbol))


def _to_length(values: Array, hours: int) -> Array:
    out = np.full(hours, np.nan)
    size = min(hours, values.size)
    out[:size] = values[:size]
    return out
