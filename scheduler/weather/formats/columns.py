"""Reader of the hourly column family: one ``time`` list and one list of values for each quantity.

Open-Meteo's services and own servers of that kind answer so
(https://open-meteo.com/en/docs). What matters here:

- ``time`` is either whole seconds since 1970, or wall time at one fixed
  offset, the one in ``utc_offset_seconds``, also past a change of the clocks.
  So ``utc = time - offset``; the zone's name is never used.
- Rain, its probability, sunshine and gust are labelled by the **end** of their
  hour, and the weather code is read with the rain of that hour. Here an hour
  carries its start, so they move one row earlier; the hour that is cut off at
  the end is unknown.
- The unit of every column is in the answer and is read there, never guessed.
- ``null`` is unknown; a column that is null throughout is not offered.
- A name may carry a member (``_member07``) and a model (``_gfs_seamless``).
  What an earlier run said (``_previous_day1``) and whatever stands beside the
  hourly block is left alone.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduler.weather.air import dew_point_from_humidity, pressure_at
from scheduler.weather.formats.column_table import (
    KINDS,
    MEND,
    VARIABLE_MAP,
    Members,
    Table,
    make_table,
    quoted,
    shown_type,
    utc,
)
from scheduler.weather.series import INTERVALS, QUANTITIES, Array, Provenance, Weather, WeatherError

__all__ = ["FAR_KM", "NEEDED_NAMES", "VARIABLE_MAP", "distance_km", "read", "recognise", "request_params"]

FAR_KM = 50.0  # a cell farther from the asked place than this is another place
DEW_SLACK_K = 0.6  # rounding of air and dew point to whole °F may put the dew point this far above the air

NEEDED_NAMES = ("temperature_2m", "dew_point_2m", "wind_speed_10m", "precipitation")
WELCOME_NAMES = (
    "wind_gusts_10m",
    "precipitation_probability",
    "shortwave_radiation",
    "cloud_cover",
    "surface_pressure",
    "weather_code",
)
NEEDED = {  # quantity -> in words, and the columns it can be made of
    "air_c": ("air temperature (temperature_2m)", ("air_c",)),
    "dew_point_c": (
        "dew point or humidity (dew_point_2m or relative_humidity_2m)",
        ("dew_point_c", "humidity"),
    ),
    "wind_ms": ("wind (wind_speed_10m)", ("wind_ms",)),
    "rain_mm": ("rain (precipitation)", ("rain_mm",)),
}
RAIN_PARTS = ("steady_mm", "showers_mm", "snow_mm")
_NO_MODEL = re.compile(r"min|max|mean|anomaly|instant|.*spread.*|.*previous_day\d+.*|\d+hPa")


def recognise(data: object) -> bool:
    """Whether a decoded answer is of this family, by its shape alone (its error answers too)."""
    if isinstance(data, list):
        return bool(data) and all(isinstance(one, dict) and "latitude" in one for one in data)
    if not isinstance(data, dict):
        return False
    if data.get("error") is True and isinstance(data.get("reason"), str):
        return True
    return "generationtime_ms" in data or any(
        isinstance(data.get(block), dict) and "time" in data[block]
        for block in ("hourly", "daily", "minutely_15", "current")
    )


def read(data: object, *, place: tuple[float, float] | None = None) -> Weather:
    """The hourly block of a decoded answer as weather.

    Parameters
    ----------
    data
        The decoded JSON: one answer, or a list of answers for several places.
    place
        Latitude and longitude that were meant; needed to choose among several places.

    Returns
    -------
    Weather
        UTC, SI; shape (members, hours). The provenance holds the cell and a note on every choice made.

    Raises
    ------
    WeatherError
        For an error answer, a needed quantity that is missing, and everything that would need guessing.
    """
    notes: list[str] = []
    answer = _the_place(data, place, notes)
    if answer.get("error") is True:
        reason = answer.get("reason", "no reason given")
        raise WeatherError(
            f'The service answers with an error: "{quoted(reason)}" Mend the address, or ask later.'
        )
    table = make_table(answer)
    altitude_m = _number(answer, "elevation", -500.0, 9000.0)
    arrays = _stack(_best_model(table, altitude_m, notes), table.hours.size, notes)
    _keep_dew_below_air(arrays, table.hours)
    for name in set(INTERVALS) & set(arrays):
        arrays[name] = _one_row_earlier(arrays[name])
    _note_spread(table, notes)
    source = Provenance(
        "columns",
        latitude=_number(answer, "latitude", -90.0, 90.0),
        longitude=_number(answer, "longitude", -180.0, 360.0),
        altitude_m=altitude_m,
        notes=tuple(notes),
    )
    return Weather(start=utc(table.hours[0]), provenance=source, **arrays)  # type: ignore[arg-type]


def request_params(days: int, past_days: int) -> dict[str, str]:
    """Query parameters that ask for what the program uses (without place and key)."""
    return {
        "hourly": ",".join(NEEDED_NAMES + WELCOME_NAMES),
        "forecast_days": str(days),
        "past_days": str(past_days),
        "timezone": "GMT",
    }


def distance_km(first: tuple[float, float], second: tuple[float, float]) -> float:
    """Great-circle distance of two (latitude, longitude) in km (haversine, mean radius 6371 km)."""
    (lat1, lon1), (lat2, lon2) = np.radians(first), np.radians(second)
    h = np.sin((lat2 - lat1) / 2) ** 2 + np.cos(lat1) * np.cos(lat2) * np.sin((lon2 - lon1) / 2) ** 2
    return float(2 * 6371.0 * np.arcsin(np.sqrt(min(1.0, float(h)))))


# ------------------------------------------------------------------ which place, which model


def _the_place(data: object, place: tuple[float, float] | None, notes: list[str]) -> dict[str, Any]:
    """The one answer that is meant: the answer itself, or of several places the nearest."""
    if isinstance(data, dict):
        return data
    if not isinstance(data, list) or not all(isinstance(one, dict) for one in data) or not data:
        raise WeatherError(f"The answer is {shown_type(data)}, not a forecast. {MEND}")
    if len(data) == 1:
        return dict(data[0])
    if place is None:
        raise WeatherError(
            f"The answer holds {len(data)} places, and it is not known which is meant. Ask for one."
        )
    ranked = []
    for n, one in enumerate(data):
        lat, lon = _number(one, "latitude", -90.0, 90.0), _number(one, "longitude", -180.0, 360.0)
        if lat is not None and lon is not None:
            ranked.append((distance_km(place, (lat, lon)), n))
    away, chosen = min(ranked, default=(np.inf, -1))
    if away > FAR_KM:
        near = f"the nearest is {away:.0f} km away" if ranked else "none says where it is"
        raise WeatherError(
            f"The answer holds {len(data)} places, none of them the yard's: {near}. "
            "Check latitude and longitude (and their signs) in the address and in yard.toml."
        )
    notes.append(f"the answer holds {len(data)} places; the nearest, {away:.0f} km away, was taken")
    return dict(data[chosen])


def _best_model(table: Table, altitude_m: float | None, notes: list[str]) -> dict[str, Members]:
    """The quantities of one model: the first in order that offers all that is needed."""
    models = list(dict.fromkeys(suffix for foreign, suffix in table.names if foreign == "temperature_2m"))
    models = [m for m in models if not _NO_MODEL.fullmatch(m)] or [""]
    models.sort(key=lambda m: (m != "best_match", m != ""))  # stable: else as the answer has them
    found = []
    for model in models:
        found.append(_parts(table, model, altitude_m))
        if all(name in found[-1] for name in NEEDED):
            if len(models) > 1:
                notes.append(f"{len(models)} models answered; {model or 'the one without a name'} was taken")
            return found[-1]
    missing = []
    for name, (words, made_of) in NEEDED.items():
        if name not in found[0]:
            missing.append(words + (", null throughout" if any(map(table.named, made_of)) else ""))
    raise WeatherError(
        f"The answer is not enough; it lacks: {'; '.join(missing)}. "
        "Add what is missing to hourly=… in the address, or ask a service that offers it."
    )


def _parts(table: Table, model: str, altitude_m: float | None) -> dict[str, Members]:
    """Every quantity of one model by house name, some made of others where they are absent."""
    parts = {name: members for name in KINDS if (members := table.members(name, model))}
    if "rain_mm" not in parts and all(name in parts for name in RAIN_PARTS):
        pieces = [parts[name] for name in RAIN_PARTS]
        common = set.intersection(*(set(piece) for piece in pieces))
        parts["rain_mm"] = {k: np.sum([piece[k] for piece in pieces], axis=0) for k in common}
    if "dew_point_c" not in parts and "humidity" in parts and "air_c" in parts:
        air, percent = parts["air_c"], parts["humidity"]
        common = set(air) & set(percent)
        parts["dew_point_c"] = {k: dew_point_from_humidity(air[k], percent[k]) for k in common}
    if "pressure_hpa" not in parts and "sea_level_hpa" in parts and altitude_m is not None:
        # Brought from sea level to the cell's height by the ratio of the mean atmosphere (FAO-56 eq 7).
        ratio = float(pressure_at(altitude_m) / pressure_at(0.0))
        parts["pressure_hpa"] = {k: ratio * values for k, values in parts["sea_level_hpa"].items()}
    return {name: members for name, members in parts.items() if name in QUANTITIES and members}


# ------------------------------------------------------------------ members and rows


def _stack(parts: Mapping[str, Members], hours: int, notes: list[str]) -> dict[str, Array]:
    """Arrays (members, hours) with a row for every member that has something needed; one serves them all.

    What a member lacks is unknown in it. Were it left out, those that are
    left would speak for all: nobody knows whether they are the dry ones.
    """
    known = {
        name: {k for k, row in members.items() if not np.isnan(row).all()} for name, members in parts.items()
    }
    many = {name for name in parts if set(parts[name] if name in NEEDED else known[name]) != {0}}
    needed = [known[name] for name in NEEDED if name in many]
    everyone = sorted(set().union(*needed)) if needed else [0]
    whole = set.intersection(*needed) if needed else {0}
    if not whole:
        raise WeatherError(f"No member of the ensemble has all of {', '.join(sorted(many))}. {MEND}")
    if len(whole) < len(everyone):
        lacking = len(everyone) - len(whole)
        notes.append(f"{lacking} of {len(everyone)} members lack a quantity; what they say is unknown")
    alone = [words for name, (words, _) in NEEDED.items() if many and name not in many]
    if alone:
        notes.append(f"the same for all members: {', '.join(alone)}")
    none = np.full(hours, np.nan)
    return {
        name: np.array([members.get(k if name in many else 0, none) for k in everyone])
        for name, members in parts.items()
    }


def _keep_dew_below_air(arrays: dict[str, Array], hours: NDArray[np.datetime64]) -> None:
    """Clip a dew point that rounding put above the air; refuse one higher than rounding can put it."""
    air, dew = arrays["air_c"], arrays["dew_point_c"]
    wrong = np.argwhere(dew - air > DEW_SLACK_K + 1e-9)
    if wrong.size:
        member, row = (int(n) for n in wrong[np.argmin(wrong[:, 1])])
        raise WeatherError(
            f"The dew point, {dew[member, row]:.1f} °C, lies above the air's {air[member, row]:.1f} °C at "
            f"{utc(hours[row]):%Y-%m-%d %H:%M} UTC: the answer contradicts itself. {MEND}"
        )
    arrays["dew_point_c"] = np.where(dew > air, air, dew)  # where the air is unknown the dew point stays


def _one_row_earlier(values: Array) -> Array:
    """From the label at the end of an hour to the one at its start; the last hour becomes unknown."""
    moved = np.full_like(values, np.nan)
    moved[:, :-1] = values[:, 1:]
    return moved


def _note_spread(table: Table, notes: list[str]) -> None:
    name = table.names.get(("temperature_2m", "spread"), {}).get(0)
    if name is None:
        return
    raw = table.raw(name)
    known = raw[np.isfinite(raw)]
    if known.size:
        unit = quoted(table.units.get(name, ""), 40)
        given = f"{known.min():g} to {known.max():g} {unit}".strip()
        notes.append(f"the values are the mean of an ensemble; its spread (air {given}) is not used")


def _number(answer: Mapping[str, Any], key: str, low: float, high: float) -> float | None:
    value = answer.get(key)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    return float(value) if low <= value <= high else None
