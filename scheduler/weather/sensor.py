"""What a yard's own thermometer or a station near by has written down: nights and their lowest air. Pure.

Two kinds of file: a CSV with a column of times and one of temperature, as
loggers write them, and the reports of a station (see ``formats.nws_observations``).
Times without an offset are in the yard's zone; a clock hour that comes twice
counts as it is read first. Rain is taken from station reports only.
"""

from __future__ import annotations

import json
import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.weather.formats.nws_observations import read_observations
from scheduler.weather.history_table import Column, Table, read_table, refuse_other_scale
from scheduler.weather.series import WeatherError

__all__ = ["NightRead", "Reading", "nights_read", "read_sensor"]

HELP = "A logger's file has a column of times and one of temperature with its unit, such as time,air_c."
TIMES = ("time", "timestamp", "datetime", "date_time", "utc", "time_utc", "local_time")
AIR = {
    "c": Column("air_c", "°C", -90.0, 60.0),
    "f": Column("air_c", "°C", -90.0, 60.0, 5.0 / 9.0, -160.0 / 9.0),
}
_AIR_NAME = re.compile(
    r"(air|temp|temperature|t|outdoor|outdoor_temperature|air_temperature)(_[a-z]+)?_([cf])"
)
_BARE_NAME = re.compile(r"(air|temp|temperature|t|outdoor_temperature|air_temperature)")
_TIME = re.compile(r"\d{4}-\d\d-\d\d[T ]\d{1,2}:\d\d(:\d\d(\.\d+)?)?\s*(Z|[+-]\d\d:?\d\d)?", re.ASCII)
LONGEST_GAP = timedelta(hours=2)  # between two readings, for a night's lowest to be known
WET_MM = 0.2


@dataclass(frozen=True, slots=True)
class Reading:
    """Air at a time (UTC), °C; rain since the last hourly report, mm; None where it was not measured."""

    time: datetime
    air_c: float | None = None
    rain_mm: float | None = None


@dataclass(frozen=True, slots=True)
class NightRead:
    """A night by its morning: lowest air in °C, and whether it rained where that is known."""

    morning: date
    low_c: float
    rain: bool | None = None


def read_sensor(body: bytes, zone: ZoneInfo) -> tuple[Reading, ...]:
    """The readings in a logger's CSV or a station's reports, in order of time.

    Raises
    ------
    WeatherError
        When it cannot be read; the text says what is wrong and where.
    """
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise WeatherError("The file is no text in UTF-8. Save it as CSV in UTF-8.") from None
    if text.lstrip()[:1] == "{":
        try:
            data = json.loads(text)
        except (ValueError, RecursionError):
            raise WeatherError("The file is cut off or damaged. Save the reports again.") from None
        return tuple(Reading(one.time, one.air_c, one.rain_mm) for one in read_observations(data))
    table = read_table(text, (), HELP)
    times = [_time(cell, line, zone) for cell, line in zip(_times(table), table.lines, strict=True)]
    name, unit = _air_column(table)
    air = table.values(name, AIR[unit])
    refuse_other_scale(air, air, unit == "f")
    found = {t: float(a) for t, a in zip(reversed(times), air[::-1], strict=True) if np.isfinite(a)}
    if not found:
        raise WeatherError(f"The column {name} holds no reading at all.")
    return tuple(Reading(t, found[t]) for t in sorted(found))


def _times(table: Table) -> list[str]:
    for name in TIMES:
        if name in table.headings:
            return table.texts(name)
    if "date" in table.headings and "hour" not in table.headings:
        return table.texts("date")
    there = ", ".join(filter(None, table.headings))[:200]
    raise WeatherError(f"The file has no column of times (time, timestamp); there are: {there}. {HELP}")


def _air_column(table: Table) -> tuple[str, str]:
    for name in table.headings:
        if match := _AIR_NAME.fullmatch(name):
            return name, match[3]
    for name in table.headings:
        if _BARE_NAME.fullmatch(name):
            raise WeatherError(f"The heading '{name}' carries no unit. Write {name}_c or {name}_f.")
    there = ", ".join(filter(None, table.headings))[:200]
    raise WeatherError(f"The file has no column of temperature (air_c, temp_f); there are: {there}. {HELP}")


def _time(text: str, line: int, zone: ZoneInfo) -> datetime:
    if not _TIME.fullmatch(text):
        raise WeatherError(f"Line {line}: '{text:.40}' is no time. Write it as 2025-11-04T06:10.")
    try:
        when = datetime.fromisoformat(re.sub(r"[T ](\d):", r"T0\1:", text))
    except ValueError:
        raise WeatherError(f"Line {line}: the time {text:.40} does not exist.") from None
    if not 1900 <= when.year < 2100:
        raise WeatherError(f"Line {line}: {text:.40} is of no year for a thermometer.")
    return (when.replace(tzinfo=zone) if when.tzinfo is None else when).astimezone(UTC)


def nights_read(
    readings: Sequence[Reading], zone: ZoneInfo, *, evening: float, morning: float
) -> tuple[NightRead, ...]:
    """The lowest of every night that was read throughout, from ``evening`` to ``morning`` o'clock, local."""
    if not readings:
        return ()
    times = [one.time for one in readings]
    first, last = times[0].astimezone(zone).date(), times[-1].astimezone(zone).date()
    out = []
    for n in range((last - first).days + 2):
        day = first + timedelta(days=n)
        begin = datetime.combine(day - timedelta(days=1), time(int(evening)), zone).astimezone(UTC)
        end = datetime.combine(day, time(int(morning)), zone).astimezone(UTC)
        inside = readings[bisect_left(times, begin) : bisect_right(times, end)]
        air = [(one.time, one.air_c) for one in inside if one.air_c is not None]
        if air and _throughout([t for t, _ in air], begin, end):
            out.append(NightRead(day, min(a for _, a in air), _rained(inside, begin, end)))
    return tuple(out)


def _throughout(times: Iterable[datetime], begin: datetime, end: datetime) -> bool:
    marks = [begin, *times, end]
    return all(b - a <= LONGEST_GAP for a, b in pairwise(marks))


def _rained(inside: Sequence[Reading], begin: datetime, end: datetime) -> bool | None:
    """Rain in the night; None unless the reports tell of all its hours."""
    told = [(one.time, one.rain_mm) for one in inside if one.rain_mm is not None]
    if any(mm >= WET_MM for _, mm in told):
        return True
    return False if told and _throughout([t for t, _ in told], begin, end) else None
