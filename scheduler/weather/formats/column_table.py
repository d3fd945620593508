"""The hourly block of a column answer: its times, its columns, their units. Used by ``columns`` only.

Nothing is mended here: what is not as the format says is refused, with the place of the fault.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduler.weather.series import Array, WeatherError

__all__ = ["KINDS", "MEND", "VARIABLE_MAP", "Members", "Table", "make_table", "quoted", "shown_type", "utc"]

MEND = "Ask the service again, or name another one in yard.toml under [forecast]."
SNOW_CM_PER_MM = 0.7  # 7 cm of fresh snow are 10 mm of water (Open-Meteo documentation, "snowfall")

VARIABLE_MAP = {  # name in the answer -> name in this house; of several the first that is offered counts
    "temperature_2m": "air_c",
    "dew_point_2m": "dew_point_c",
    "dewpoint_2m": "dew_point_c",
    "relative_humidity_2m": "humidity",
    "relativehumidity_2m": "humidity",
    "wind_speed_10m": "wind_ms",
    "windspeed_10m": "wind_ms",
    "wind_gusts_10m": "gust_ms",
    "windgusts_10m": "gust_ms",
    "precipitation": "rain_mm",
    "rain": "steady_mm",
    "showers": "showers_mm",
    "snowfall": "snow_mm",
    "precipitation_probability": "rain_chance",
    "cloud_cover": "cloud",
    "cloudcover": "cloud",
    "shortwave_radiation": "sun_wm2",
    "surface_pressure": "pressure_hpa",
    "pressure_msl": "sea_level_hpa",
    "weather_code": "code",
    "weathercode": "code",
}

Units = Mapping[str, tuple[float, float]]  # unit -> factor and shift into the house's unit
_TEMPERATURE: Units = {
    "°C": (1.0, 0.0),
    "celsius": (1.0, 0.0),
    "°F": (5.0 / 9.0, -160.0 / 9.0),
    "fahrenheit": (5.0 / 9.0, -160.0 / 9.0),
    "K": (1.0, -273.15),
}
_WIND: Units = {
    "m/s": (1.0, 0.0),
    "km/h": (1.0 / 3.6, 0.0),
    "mp/h": (0.44704, 0.0),
    "mph": (0.44704, 0.0),
    "kn": (1852.0 / 3600.0, 0.0),
    "knots": (1852.0 / 3600.0, 0.0),
}
_RAIN: Units = {"mm": (1.0, 0.0), "inch": (25.4, 0.0)}
_SNOW: Units = {"cm": (1.0 / SNOW_CM_PER_MM, 0.0), "inch": (2.54 / SNOW_CM_PER_MM, 0.0)}
_SHARE: Units = {"%": (0.01, 0.0)}


@dataclass(frozen=True, slots=True)
class Kind:
    """Units understood, the house's unit, and bounds beyond which a value can only be a fault."""

    units: Units
    unit: str
    low: float
    high: float


KINDS = {
    "air_c": Kind(_TEMPERATURE, "°C", -60.0, 60.0),
    "dew_point_c": Kind(_TEMPERATURE, "°C", -60.0, 60.0),
    "humidity": Kind({"%": (1.0, 0.0)}, "%", 0.0, 110.0),
    "wind_ms": Kind(_WIND, "m/s", 0.0, 120.0),
    "gust_ms": Kind(_WIND, "m/s", 0.0, 120.0),
    "rain_mm": Kind(_RAIN, "mm", 0.0, 400.0),
    "steady_mm": Kind(_RAIN, "mm", 0.0, 400.0),
    "showers_mm": Kind(_RAIN, "mm", 0.0, 400.0),
    "snow_mm": Kind(_SNOW, "mm of water", 0.0, 400.0),
    "rain_chance": Kind(_SHARE, "as a share", 0.0, 1.0),
    "cloud": Kind(_SHARE, "as a share", 0.0, 1.0),
    "sun_wm2": Kind({"W/m²": (1.0, 0.0)}, "W/m²", 0.0, 1600.0),
    "pressure_hpa": Kind({"hPa": (1.0, 0.0)}, "hPa", 400.0, 1100.0),
    "sea_level_hpa": Kind({"hPa": (1.0, 0.0)}, "hPa", 800.0, 1100.0),
    "code": Kind({"wmo code": (1.0, 0.0)}, "", 0.0, 99.0),
}

Members = dict[int, Array]  # number of the member (0: the control, or the only one) -> hours

_NAME = re.compile(
    rf"({'|'.join(sorted(VARIABLE_MAP, key=len, reverse=True))})(?:_member(\d{{1,4}}))?(?:_(\w+))?", re.ASCII
)
_WALL_TIME = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}(:\d{2})?", re.ASCII)
_NUMBERS = {int, float, type(None)}


@dataclass(frozen=True, slots=True)
class Table:
    """Columns, their units, the UTC times of the rows (datetime64[s]), and which column is what.

    ``names`` maps (name in the answer, suffix) to the columns of its members; the suffix is a model or "".
    """

    hourly: Mapping[str, Any]
    units: Mapping[str, Any]
    hours: NDArray[np.datetime64]
    names: Mapping[tuple[str, str], dict[int, str]]

    def members(self, house: str, model: str) -> Members:
        """The members of one quantity in the house's unit; empty where it is not offered.

        A numbered member whose column is null throughout is there, and unknown.
        """
        for foreign in (key for key, name in VARIABLE_MAP.items() if name == house):
            for suffix in dict.fromkeys((model, "")):
                named = self.names.get((foreign, suffix), {})
                columns = {member: self.column(name, house) for member, name in named.items()}
                offered = {member: values for member, values in columns.items() if values is not None}
                if offered:
                    none = np.full(self.hours.size, np.nan)
                    return {member: none for member in columns if member} | offered
        return {}

    def named(self, house: str) -> bool:
        """Whether the answer has a column for this quantity, be it empty."""
        return any(VARIABLE_MAP[foreign] == house for foreign, _ in self.names)

    def column(self, name: str, house: str) -> Array | None:
        """One column in the house's unit, checked; None when it is null throughout."""
        raw = self.raw(name)
        if np.isnan(raw).all():
            return None
        unit, kind = self.units.get(name), KINDS[house]
        if not isinstance(unit, str) or not unit:
            raise WeatherError(f"The answer gives no unit for {name}, so its numbers mean nothing. {MEND}")
        if unit not in kind.units:
            known = ", ".join(kind.units)
            raise WeatherError(
                f"The unit of {name} is '{quoted(unit, 40)}'; understood here: {known}. Ask for one of these."
            )
        factor, shift = kind.units[unit]
        with np.errstate(over="ignore"):
            values = raw * factor + shift
        slack = 1e-9 * kind.high  # the conversion's own rounding
        wrong = np.flatnonzero((values < kind.low - slack) | (values > kind.high + slack))
        if wrong.size:
            row = int(wrong[0])
            given = f"{raw[row]:g} {unit}" if kind.unit else f"{raw[row]:g}"
            bounds = f"{kind.low:g} to {kind.high:g} {kind.unit}".rstrip()
            raise WeatherError(
                f"{name} is {given} at {utc(self.hours[row]):%Y-%m-%d %H:%M} UTC, outside {bounds}: "
                f"the answer contradicts nature. {MEND}"
            )
        return np.clip(values, kind.low, kind.high)

    def raw(self, name: str) -> Array:
        """One column as floats in its own unit, NaN for null."""
        column = self.hourly[name]
        if not isinstance(column, list):
            raise WeatherError(f"{name} is {shown_type(column)}, not a list of values. {MEND}")
        if len(column) != self.hours.size:
            raise WeatherError(
                f"{name} has {len(column)} values for {self.hours.size} hours; the answer is cut. {MEND}"
            )
        if not set(map(type, column)) <= _NUMBERS:  # a bool or a digit in quotes is no number
            row = next(n for n, value in enumerate(column) if type(value) not in _NUMBERS)
            when = f"{utc(self.hours[row]):%Y-%m-%d %H:%M} UTC"
            raise WeatherError(f"{name} is {shown_type(column[row])} at {when}, not a number. {MEND}")
        try:
            return np.array([np.nan if value is None else value for value in column], dtype=float)
        except OverflowError:
            raise WeatherError(f"{name} holds a number too large to be weather. {MEND}") from None


def make_table(answer: Mapping[str, Any]) -> Table:
    """The hourly block of one answer; a WeatherError when it has none, or no units, or no proper hours."""
    hourly, units = answer.get("hourly"), answer.get("hourly_units")
    if hourly is None:
        held = [key for key in ("current", "minutely_15", "daily") if key in answer]
        only = f", only {', '.join(held)}" if held else ""
        raise WeatherError(
            f"The answer has no hourly part{only}. Ask for hourly values: hourly=… in the address."
        )
    if not isinstance(hourly, dict):
        raise WeatherError(f"The hourly part of the answer is {shown_type(hourly)}, not columns. {MEND}")
    if not isinstance(units, dict):
        raise WeatherError(f"The answer gives no units for its hourly values (hourly_units). {MEND}")
    names: dict[tuple[str, str], dict[int, str]] = {}
    for name in hourly:
        match = _NAME.fullmatch(name)
        if match:
            columns = names.setdefault((match[1], match[3] or ""), {})
            if match[2] is None:
                columns[0] = name  # the bare name is the control, and wins over a member 0
            else:
                columns.setdefault(int(match[2]), name)
    return Table(hourly, units, _hours(hourly, units, answer.get("utc_offset_seconds")), names)


def utc(moment: np.datetime64) -> datetime:
    """A numpy time in UTC as an aware datetime."""
    plain: datetime = moment.astype("datetime64[s]").item()
    return plain.replace(tzinfo=UTC)


def quoted(text: object, longest: int = 200) -> str:
    """A foreign text on one printable line, cut to ``longest``."""
    line = " ".join("".join(c if c.isprintable() else " " for c in str(text)).split())
    return line if len(line) <= longest else line[: longest - 1] + "…"


def shown_type(value: object) -> str:
    """The kind of a JSON value in words."""
    words: dict[type, str] = {dict: "an object", list: "a list", str: "a text", bool: "true or false"}
    return "null" if value is None else words.get(type(value), "a number")


# ------------------------------------------------------------------ times


def _hours(hourly: Mapping[str, Any], units: Mapping[str, Any], offset: object) -> NDArray[np.datetime64]:
    """UTC times of the rows; refuses anything but whole hours in order."""
    times, kind = hourly.get("time"), units.get("time")
    if not isinstance(times, list) or not times:
        raise WeatherError(f"The hourly part of the answer holds no times. {MEND}")
    if kind == "unixtime":
        seconds = _unix_times(times)
    elif kind == "iso8601":
        seconds = _wall_times(times, offset)
    else:
        raise WeatherError(f"The answer does not say how its times are written (hourly_units, time). {MEND}")
    _refuse_all_but_whole_hours(seconds, times)
    if not 0 <= seconds[0] < 4_102_444_800:  # 1970 to 2099
        raise WeatherError(f"The first hour, {times[0]}, is of no year for a forecast. {MEND}")
    if seconds[0] % 900:
        raise WeatherError(
            f"The first hour, {times[0]}, begins at no quarter hour of UTC (offset {offset} s). {MEND}"
        )
    return seconds.astype("datetime64[s]")


def _unix_times(times: list[Any]) -> NDArray[np.int64]:
    for value in times:
        if type(value) is not int or abs(value) > 10**11:
            raise WeatherError(f"The time {value!r:.40} is no whole number of seconds since 1970. {MEND}")
    return np.array(times, dtype=np.int64)


def _wall_times(times: list[Any], offset: object) -> NDArray[np.int64]:
    if type(offset) is not int:
        raise WeatherError(
            "The answer gives local times without their offset (utc_offset_seconds); its hours are unknown. "
            "Ask with timezone=GMT."
        )
    if abs(offset) > 15 * 3600:
        raise WeatherError(f"utc_offset_seconds is {offset}, and no place is so far from UTC. {MEND}")
    for value in times:
        if not isinstance(value, str) or not _WALL_TIME.fullmatch(value):
            raise WeatherError(f"The time {value!r:.40} is not of the form 2026-03-08T02:00. {MEND}")
    try:
        return np.array(times, dtype="datetime64[s]").astype(np.int64) - offset
    except ValueError as error:
        raise WeatherError(f"The answer holds a time that does not exist: {error}. {MEND}") from None


def _refuse_all_but_whole_hours(seconds: NDArray[np.int64], times: list[Any]) -> None:
    if seconds.size < 2:
        raise WeatherError(
            f"The answer holds one hour only ({times[0]}); two are the least. Ask for more days."
        )
    steps = np.diff(seconds)
    wrong = np.flatnonzero(steps != 3600)
    if not wrong.size:
        return
    row, step = int(wrong[0]), int(steps[wrong[0]])
    pair = f"{times[row]} is followed by {times[row + 1]}"
    if step == 0:
        raise WeatherError(f"An hour stands twice in the answer: {pair}. {MEND}")
    if step < 0:
        raise WeatherError(f"The hours of the answer are not in order: {pair}. {MEND}")
    if np.all(steps == step):
        raise WeatherError(f"The answer has a step of {step / 3600:g} hours: {pair}. Ask for hourly values.")
    raise WeatherError(f"The hours of the answer do not follow one another: {pair}. {MEND}")
