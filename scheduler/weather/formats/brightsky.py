"""Reader of Bright Sky's JSON (open data of the German weather service DWD): one row for each hour.

By the service's own description (https://brightsky.dev/docs). What matters here:

- Times carry their offset, so rows follow one another over a change of clocks.
- Rain, its chance, sunshine power and gust stand for the hour that ends at the
  row's time; here an hour carries its start, so they move one row earlier.
- The answer names no units. They are those of the service's default; if it was
  asked for SI units, the air in kelvin is beyond all bounds and refused.
- Reports and forecasts follow one another; ``null`` is unknown.
"""

from __future__ import annotations

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
)
from scheduler.weather.formats.points import hour_numbers
from scheduler.weather.series import INTERVALS, Array, Provenance, Weather, WeatherError

__all__ = ["VARIABLE_MAP", "read", "recognise"]

VARIABLE_MAP: dict[str, tuple[str, str, Units]] = {  # name -> name in this house, unit by the description
    "temperature": ("air_c", "°C", {"°C": (1.0, 0.0)}),
    "dew_point": ("dew_point_c", "°C", {"°C": (1.0, 0.0)}),
    "relative_humidity": ("humidity", "%", {"%": (1.0, 0.0)}),
    "wind_speed": ("wind_ms", "km/h", {"km/h": (1.0 / 3.6, 0.0)}),
    "wind_gust_speed": ("gust_ms", "km/h", {"km/h": (1.0 / 3.6, 0.0)}),
    "precipitation": ("rain_mm", "mm", {"mm": (1.0, 0.0)}),
    "precipitation_probability": ("rain_chance", "%", {"%": (0.01, 0.0)}),
    "cloud_cover": ("cloud", "%", {"%": (0.01, 0.0)}),
    "solar": ("sun_wm2", "kWh/m²", {"kWh/m²": (1000.0, 0.0)}),
    "pressure_msl": ("sea_level_hpa", "hPa", {"hPa": (1.0, 0.0)}),
}
NEEDED = {
    "air_c": "air temperature (temperature)",
    "dew_point_c": "dew point or humidity (dew_point or relative_humidity)",
    "wind_ms": "wind (wind_speed)",
    "rain_mm": "rain (precipitation)",
}
THUNDER = 95  # WMO code 4677


def recognise(data: object) -> bool:
    """Whether a decoded answer is of this family, by its shape alone."""
    return isinstance(data, dict) and "weather" in data and "sources" in data


def read(data: object, *, place: tuple[float, float] | None = None) -> Weather:
    """A decoded answer as weather; ``place`` is not needed. The place is that of the first source.

    Returns
    -------
    Weather
        UTC, SI; shape (1, hours).

    Raises
    ------
    WeatherError
        When a needed quantity is missing, and for everything that would need guessing.
    """
    given = data.get("weather") if isinstance(data, dict) else None
    if not isinstance(given, list) or not all(isinstance(row, dict) for row in given):
        raise WeatherError(f"The rows of the answer (weather) are no list of hours. {MEND}")
    moments = [moment(row.get("timestamp"), "The time of a row") for row in given]
    hour_numbers(moments, (1,))
    when, notes = at(moments), list[str]()
    lat, lon, altitude_m = _where(data)
    rows: dict[str, Array] = {}
    for name, (house, unit, units) in VARIABLE_MAP.items():
        raw = numbers([row.get(name) for row in given], name, when)
        if not np.isnan(raw).all():
            rows[house] = in_house_unit(raw, name, house, unit, units, when)
    percent, sea_level = rows.pop("humidity", None), rows.pop("sea_level_hpa", None)
    if "air_c" in rows:
        dew = checked_dew_point(rows["air_c"], rows.pop("dew_point_c", None), percent, when, notes)
        rows |= {} if dew is None else {"dew_point_c": dew}
    if sea_level is not None and altitude_m is not None:
        rows["pressure_hpa"] = reduced_pressure(sea_level, altitude_m)
    code = np.array([_code(row.get("condition")) for row in given])
    rows |= {} if np.isnan(code).all() else {"code": code}
    refuse_unless_enough(rows, NEEDED)
    arrays = {name: (_earlier(row) if name in INTERVALS else row)[None, :] for name, row in rows.items()}
    source = Provenance("brightsky", latitude=lat, longitude=lon, altitude_m=altitude_m, notes=tuple(notes))
    return Weather(start=moments[0], provenance=source, **arrays)  # type: ignore[arg-type]


def _code(condition: object) -> float:
    """The weather code of a row: is there thunder or not; nothing else of it is used."""
    if condition is None:
        return np.nan
    return float(THUNDER) if condition == "thunderstorm" else 0.0


def _where(data: Any) -> tuple[float | None, float | None, float | None]:
    """Latitude, longitude and height of the first source."""
    sources = data.get("sources")
    first = sources[0] if isinstance(sources, list) and sources and isinstance(sources[0], dict) else {}
    return (
        number(first.get("lat"), -90.0, 90.0),
        number(first.get("lon"), -180.0, 360.0),
        number(first.get("height"), -500.0, 9000.0),
    )


def _earlier(values: Array) -> Array:
    """From the label at the end of an hour to the one at its start; the last hour becomes unknown."""
    return np.append(values[1:], np.nan)
