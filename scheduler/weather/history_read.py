"""Readers of past weather: daily and hourly CSV, and the daily block of an archive of the column family.

Text or decoded JSON in, a record or a weather out; no files, no sockets.

- Daily CSV: ``date,min_c,max_c,rain_mm``. The unit stands in the heading:
  ``min_f``, ``max_f``, ``rain_in`` will do, and ``tmin``, ``tmax``, ``prcp``
  for the names. Only date and minimum are needed; without maximum and rain
  there are freezes, but no chances.
- Hourly CSV: ``time,air_c,dew_point_c,wind_ms,rain_mm`` and, where known,
  ``cloud`` (share), ``sun_wm2``, ``pressure_hpa``, ``gust_ms``; UTC. Rain, sun
  and gust are those of the hour that *ends* at the time, so they move a row.
- Archive: the ``daily`` block with ``temperature_2m_min``,
  ``temperature_2m_max`` and ``precipitation_sum``
  (https://open-meteo.com/en/docs/historical-weather-api).

Days and hours that lack are unknown. What is out of order or stands twice is
refused; a lowest above its highest, or a dew point above the air, makes that
day or hour unknown and is said, and is refused when it is more than one in a
hundred.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduler.weather.formats import read_answer
from scheduler.weather.formats.checks import MEND, number, numbers, quoted
from scheduler.weather.formats.column_table import KINDS
from scheduler.weather.gaps import fill_gaps
from scheduler.weather.history import DailyRecord, daily_of
from scheduler.weather.history_table import Column, Table, heading, in_bounds, read_table, refuse_other_scale
from scheduler.weather.series import HOUR, Provenance, Weather, WeatherError

__all__ = ["archive_params", "read_daily_answer", "read_daily_csv", "read_history", "read_hours_csv"]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741  -- index arrays
DAILY_HELP = "A daily file has the headings date,min_c,max_c,rain_mm (or min_f, max_f, rain_in)."
HOURLY_HELP = "An hourly file has the headings time,air_c,dew_point_c,wind_ms,rain_mm, times in UTC."
ODD = 0.01  # share of contradictory days or hours from which the file is not believed
DEW_SLACK_K = 0.6  # rounding to whole °F

NAMES = {
    "min": ("min", "tmin", "t_min", "low", "lowest"),
    "max": ("max", "tmax", "t_max", "high", "highest"),
    "rain": ("rain", "prcp", "precip", "precipitation"),
}
UNITS = {
    "c": Column("air", "°C", -90.0, 60.0),
    "f": Column("air", "°C", -90.0, 60.0, 5.0 / 9.0, -160.0 / 9.0),
    "mm": Column("rain", "mm", 0.0, 2000.0, trace=True),
    "in": Column(
        "rain", "mm", 0.0, 2000.0, 25.4, codes=(-9999.0, -999.9, -999.0, -99.0, 99.99, 999.9), trace=True
    ),
}
UNITS_OF = {"min": ("c", "f"), "max": ("c", "f"), "rain": ("mm", "in")}
FEW_CODES = (-9999.0, -999.9, -999.0, -99.9, -99.0, 9999.0, 9999.9)  # 999.9 may be a measured value
HOURLY = {
    "air_c": Column("air_c", "°C", -90.0, 60.0),
    "dew_point_c": Column("dew_point_c", "°C", -100.0, 60.0),
    "wind_ms": Column("wind_ms", "m/s", 0.0, 120.0),
    "rain_mm": Column("rain_mm", "mm", 0.0, 400.0, trace=True),
    "cloud": Column("cloud", "as a share of the sky", 0.0, 1.0, codes=FEW_CODES),
    "sun_wm2": Column("sun_wm2", "W/m²", 0.0, 1600.0, codes=FEW_CODES),
    "pressure_hpa": Column("pressure_hpa", "hPa", 400.0, 1100.0, codes=FEW_CODES),
    "gust_ms": Column("gust_ms", "m/s", 0.0, 120.0),
}
NEEDED_HOURLY = ("air_c", "dew_point_c", "wind_ms", "rain_mm")
ENDS = ("rain_mm", "sun_wm2", "gust_ms")  # labelled by the end of their hour
ARCHIVE = {"temperature_2m_min": "min", "temperature_2m_max": "max", "precipitation_sum": "rain"}
_ARCHIVE_NAME = re.compile(rf"({'|'.join(ARCHIVE)})(?:_(\w+))?", re.ASCII)
_DAY = re.compile(r"(\d{4})-?(\d\d)-?(\d\d)([T ]00:00(:00)?Z?)?", re.ASCII)
_HOUR = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d)?(Z|[+-]\d\d:\d\d)?", re.ASCII)


def read_history(body: bytes, *, longitude: float | None = None) -> DailyRecord:
    """The days in a file or answer of any kind that is known here, told apart by its look.

    ``longitude`` of the yard says where the days of hourly values begin; without
    it they begin at midnight UTC.

    Raises
    ------
    WeatherError
        When it cannot be read; the text says what is wrong and where.
    """
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise WeatherError("The file is no text in UTF-8. Save it as CSV in UTF-8.") from None
    start = text.lstrip()[:1]
    if start == "<":
        raise WeatherError("The file is a web page, not a record of weather. Save the data themselves.")
    offset = 0.0 if longitude is None else float(np.rint(longitude / 15.0))
    if start not in {"{", "["}:
        first = next((line for line in text.splitlines() if line.strip()), "")
        hourly = {"time", "air_c"} <= {heading(cell) for cell in re.split(r"[,;\t]", first)}
        return daily_of(read_hours_csv(text), offset) if hourly else read_daily_csv(text)
    try:
        data = json.loads(text)
    except (ValueError, RecursionError):
        raise WeatherError("The answer is cut off or damaged. Ask the archive again.") from None
    one = data[0] if isinstance(data, list) and len(data) == 1 else data
    if isinstance(one, dict) and "daily" not in one and "hourly" in one:
        return daily_of(read_answer(body), offset)
    return read_daily_answer(one)


def archive_params(first: date, last: date) -> dict[str, str]:
    """Query parameters that ask an archive of the column family for days (without place and key).

    One model throughout: a change of model looks like a change of climate. The
    place's own days, whose offset the answer tells.
    """
    return {
        "daily": ",".join(ARCHIVE),
        "start_date": first.isoformat(),
        "end_date": last.isoformat(),
        "models": "era5_land",
        "timezone": "auto",
    }


# ------------------------------------------------------------------ days


def read_daily_csv(text: str) -> DailyRecord:
    """A daily CSV as a record; see the head of this file."""
    table = read_table(text, ("date",), DAILY_HELP)
    chosen = _chosen(table)
    if "min" not in chosen:
        raise WeatherError(f"The file has no column min_c or min_f. {DAILY_HELP}")
    days = [_day(text, f"Line {line}") for text, line in zip(table.texts("date"), table.lines, strict=True)]
    columns = {what: table.values(name, UNITS[unit]) for what, (name, unit) in chosen.items()}
    if "max" in chosen and chosen["min"][1] != chosen["max"][1]:
        raise WeatherError("One of min and max is in °C, the other in °F. Give both in one unit.")
    return _record(days, columns, chosen["min"][1] == "f", lambda row: f"Line {table.lines[row]}")


def _chosen(table: Table) -> dict[str, tuple[str, str]]:
    """Quantity -> heading and unit; a known name without a unit is refused."""
    chosen: dict[str, tuple[str, str]] = {}
    for name in table.headings:
        for what, names in NAMES.items():
            if name in names:
                ways = " or ".join(f"{what}_{unit}" for unit in UNITS_OF[what])
                raise WeatherError(f"The heading '{name}' carries no unit. Write {ways}.")
            stem, _, unit = name.rpartition("_")
            if stem in names and unit in UNITS_OF[what]:
                if what in chosen:
                    raise WeatherError(
                        f"Both {chosen[what][0]} and {name} give the {what}; leave one of them out."
                    )
                chosen[what] = (name, unit)
    return chosen


def _day(text: str, where: str) -> date:
    match = _DAY.fullmatch(text)
    if not match:
        raise WeatherError(f"{where}: '{text:.40}' is no date. Write it as 2003-11-05.")
    try:
        day = date(int(match[1]), int(match[2]), int(match[3]))
    except ValueError:
        raise WeatherError(f"{where}: the date {text:.40} does not exist.") from None
    _refuse_odd_year(day.year, where, text)
    return day


def _refuse_odd_year(year: int, where: str, text: object) -> None:
    if not 1700 <= year < 2100:
        raise WeatherError(f"{where}: {quoted(text, 40)} is of no year for a record of weather.")


def _record(
    days: Sequence[date], columns: Mapping[str, F], fahrenheit: bool, where: Callable[[int], str], **more: Any
) -> DailyRecord:
    """Columns laid on a row of days without gaps, checked against themselves."""
    ordinal = np.array([day.toordinal() for day in days])
    steps = np.diff(ordinal)
    wrong = np.flatnonzero(steps <= 0)
    if wrong.size:
        row = int(wrong[0]) + 1
        fault = "stands twice" if days[row] == days[row - 1] else f"comes after {days[row - 1]}"
        raise WeatherError(f"{where(row)}: the day {days[row]} {fault}. Give the days in order, each once.")
    place = ordinal - ordinal[0]
    laid = {}
    for what in NAMES:
        laid[what] = np.full(int(place[-1]) + 1, np.nan)
        if what in columns:
            laid[what][place] = columns[what]
    if not np.isfinite(laid["min"]).any():
        raise WeatherError("The record holds no known minimum at all.")
    refuse_other_scale(laid["min"], laid["max"], fahrenheit)
    notes = [
        said
        for what, said in (("max", "no maximum in the record"), ("rain", "no rain in the record"))
        if not np.isfinite(laid[what]).any()
    ]
    _drop_contradictions(laid, days[0], notes)
    unknown = int(np.isnan(laid["min"]).sum())
    if unknown:
        notes.append(f"{unknown} of {laid['min'].size} minima are unknown")
    return DailyRecord(days[0], laid["min"], laid["max"], laid["rain"], notes=tuple(notes), **more)


def _drop_contradictions(laid: Mapping[str, F], first: date, notes: list[str]) -> None:
    with np.errstate(invalid="ignore"):
        odd = laid["min"] > laid["max"] + 1e-6
    if not odd.any():
        return
    count, when = int(odd.sum()), first + timedelta(days=int(np.argmax(odd)))
    if count > ODD * np.isfinite(laid["max"]).sum():
        raise WeatherError(
            f"The lowest air lies above the highest on {count} days, the first is {when}. "
            "Are the two columns exchanged?"
        )
    laid["min"][odd] = laid["max"][odd] = np.nan
    notes.append(f"lowest above highest on {count} days, first {when}: taken as unknown")


# ------------------------------------------------------------------ hours


def read_hours_csv(text: str) -> Weather:
    """An hourly CSV as a weather of one member, short gaps closed; see the head of this file."""
    table = read_table(text, ("time", *NEEDED_HOURLY), HOURLY_HELP)
    hours = [_hour(text, line) for text, line in zip(table.texts("time"), table.lines, strict=True)]
    place = np.array([(hour - hours[0]) // HOUR for hour in hours])
    wrong = np.flatnonzero(np.diff(place) <= 0)
    if wrong.size:
        row = int(wrong[0]) + 1
        fault = "stands twice" if place[row] == place[row - 1] else "comes after a later one"
        raise WeatherError(
            f"Line {table.lines[row]}: the hour {hours[row]:%Y-%m-%d %H:%M} {fault}. "
            "Give the hours in order, each once."
        )
    if place[-1] > 24 * 366 * 150:
        raise WeatherError(f"The file runs from {hours[0]:%Y} to {hours[-1]:%Y}; that is too long for hours.")
    arrays = {}
    for name, column in HOURLY.items():
        if name in table.headings:
            arrays[name] = np.full((1, int(place[-1]) + 1), np.nan)
            arrays[name][0, place] = table.values(name, column)
    refuse_other_scale(arrays["air_c"][0], arrays["air_c"][0], False)
    notes: list[str] = []
    _keep_dew_below(arrays, hours[0], notes)
    for name in set(ENDS) & set(arrays):
        arrays[name][:, :-1] = arrays[name][:, 1:]
        arrays[name][:, -1] = np.nan
    offered = {
        name: values for name, values in arrays.items() if name in NEEDED_HOURLY or np.isfinite(values).any()
    }
    source = Provenance("hours", issued=hours[0], notes=tuple(notes))
    return fill_gaps(Weather(start=hours[0], provenance=source, **offered))


def _hour(text: str, line: int) -> datetime:
    if not _HOUR.fullmatch(text):
        raise WeatherError(f"Line {line}: '{text:.40}' is no time. Write it as 2013-11-04T06:00Z, in UTC.")
    try:
        hour = datetime.fromisoformat(text)
    except ValueError:
        raise WeatherError(f"Line {line}: the time {text:.40} does not exist.") from None
    _refuse_odd_year(hour.year, f"Line {line}", text)
    hour = hour.replace(tzinfo=UTC) if hour.tzinfo is None else hour.astimezone(UTC)
    if hour.minute or hour.second:
        raise WeatherError(f"Line {line}: {text:.40} is no whole hour of UTC. Give hourly values.")
    return hour


def _keep_dew_below(arrays: dict[str, F], first: datetime, notes: list[str]) -> None:
    air, dew = arrays["air_c"], arrays["dew_point_c"]
    with np.errstate(invalid="ignore"):
        odd = dew > air + DEW_SLACK_K
    if odd.any():
        count, when = int(odd.sum()), first + int(np.argmax(odd[0])) * HOUR
        if count > ODD * np.isfinite(air + dew).sum():
            raise WeatherError(
                f"The dew point lies above the air in {count} hours, the first is {when:%Y-%m-%d %H:%M}. "
                "Are the two columns exchanged?"
            )
        arrays["dew_point_c"] = dew = np.where(odd, np.nan, dew)
        notes.append(
            f"dew point above the air in {count} hours, first {when:%Y-%m-%d %H:%M}: taken as unknown"
        )
    arrays["dew_point_c"] = np.where(dew > air, air, dew)


# ------------------------------------------------------------------ archive


def read_daily_answer(data: object) -> DailyRecord:
    """The daily block of a decoded answer of the column family; see the head of this file."""
    if not isinstance(data, dict):
        raise WeatherError(f"The answer is not one place's record of days. {MEND}")
    if data.get("error") is True:
        raise WeatherError(
            f'The service answers with an error: "{quoted(data.get("reason", "no reason given"))}" '
            "Mend the address, or ask later."
        )
    daily, units = data.get("daily"), data.get("daily_units")
    if not isinstance(daily, dict) or not isinstance(units, dict):
        raise WeatherError(f"The answer has no daily part with its units. Ask for daily={','.join(ARCHIVE)}.")
    notes: list[str] = []
    names = _columns_of(daily, notes)
    offset = data.get("utc_offset_seconds")
    if type(offset) is not int or abs(offset) > 15 * 3600:
        raise WeatherError("The answer does not say where its days begin (utc_offset_seconds). Ask it again.")
    days = _days_of(daily.get("time"), units.get("time"), offset)
    columns = {
        what: _archive_column(daily[name], name, units.get(name), what, days) for what, name in names.items()
    }
    record = _record(
        days,
        columns,
        False,
        lambda row: f"Entry {row + 1}",
        utc_offset_h=offset / 3600.0,
        latitude=number(data.get("latitude"), -90.0, 90.0),
        longitude=number(data.get("longitude"), -180.0, 360.0),
        altitude_m=number(data.get("elevation"), -500.0, 9000.0),
    )
    return replace(record, notes=(*notes, *record.notes))


def _columns_of(daily: Mapping[str, Any], notes: list[str]) -> dict[str, str]:
    """Quantity -> column, all of one model: the first that offers a minimum."""
    models: dict[str, dict[str, str]] = {}
    for name in daily:
        match = _ARCHIVE_NAME.fullmatch(name)
        if match:
            models.setdefault(match[2] or "", {})[ARCHIVE[match[1]]] = name
    usable = [model for model, names in models.items() if "min" in names and _offered(daily[names["min"]])]
    if not usable:
        raise WeatherError(
            "The answer holds no minima (temperature_2m_min), or they are null throughout. "
            f"Ask for daily={','.join(ARCHIVE)}, or for another model."
        )
    if len(models) > 1:
        notes.append(f"{len(models)} models answered; {usable[0] or 'the one without a name'} was taken")
    return models[usable[0]]


def _offered(column: object) -> bool:
    return isinstance(column, list) and any(value is not None for value in column)


def _days_of(times: object, kind: object, offset: int) -> list[date]:
    if not isinstance(times, list) or not times:
        raise WeatherError(f"The daily part of the answer holds no days. {MEND}")
    if kind == "unixtime":
        if not all(type(value) is int and abs(value) < 10**11 for value in times):
            raise WeatherError(f"A day of the answer is no whole number of seconds since 1970. {MEND}")
        epoch = datetime(1970, 1, 1, tzinfo=UTC)
        days = [(epoch + timedelta(seconds=value + offset)).date() for value in times]
        for n, day in enumerate(days, 1):
            _refuse_odd_year(day.year, f"Entry {n}", day)
        return days
    if kind != "iso8601":
        raise WeatherError(f"The answer does not say how its days are written (daily_units, time). {MEND}")
    return [
        _day(value if isinstance(value, str) else repr(value), f"Entry {n}")
        for n, value in enumerate(times, 1)
    ]


def _archive_column(column: object, name: str, unit: object, what: str, days: Sequence[date]) -> F:
    if not isinstance(column, list) or len(column) != len(days):
        raise WeatherError(
            f"{name} has not one value for each of the {len(days)} days; the answer is cut. {MEND}"
        )

    def when(row: int) -> str:
        return str(days[row])

    raw = numbers(column, name, when)
    known = KINDS["rain_mm" if what == "rain" else "air_c"].units
    if not isinstance(unit, str) or unit not in known:
        raise WeatherError(
            f"The unit of {name} is '{quoted(unit, 40)}'; understood here: {', '.join(known)}."
        )
    factor, shift = known[unit]
    with np.errstate(over="ignore"):  # what overflows lies outside all bounds
        values = raw * factor + shift
    return in_bounds(values, raw, name, UNITS["mm" if what == "rain" else "c"], when)
