"""Recorded hours from a CSV: the weather that a season is replayed on. Pure: text in, a value out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from scheduler.weather.history_table import Column, Table, read_table
from scheduler.weather.series import HOUR, Provenance, Weather, WeatherError

__all__ = ["Record", "read_hours", "record_of"]

F = NDArray[np.float64]
ABOUT = (
    "A record has the columns time,air_c,dew_point_c,wind_ms,rain_mm "
    "and, where known, cloud,sun_wm2,pressure_hpa."
)
COLUMNS = {
    "air_c": Column("air_c", "°C", -70.0, 60.0),
    "dew_point_c": Column("dew_point_c", "°C", -90.0, 40.0),
    "wind_ms": Column("wind_ms", "m/s", 0.0, 75.0),
    "rain_mm": Column("rain_mm", "mm", 0.0, 300.0, trace=True),
    "cloud": Column("cloud", "share of the sky", 0.0, 1.0),
    "sun_wm2": Column("sun_wm2", "W/m²", 0.0, 1500.0),
    "pressure_hpa": Column("pressure_hpa", "hPa", 450.0, 1100.0),
}
NEEDED = ("air_c", "dew_point_c", "wind_ms", "rain_mm")
INTERVALS = ("rain_mm", "sun_wm2")  # told of the hour that ends then
DEW_SLACK_K = 2.0  # a dew point above the air by more than rounding is a mistake of the file
LEAST_DAYS = 20


@dataclass(frozen=True, eq=False)
class Record:
    """Hours in a row, (1, hours) each; cloud NaN or None where the record has none.

    ``notes`` say what was closed or taken for granted.
    """

    weather: Weather
    notes: tuple[str, ...] = ()

    @property
    def hours(self) -> int:
        """Number of hours."""
        return self.weather.hours


def read_hours(text: str, gap_hours: float) -> Record:
    """Read a record: UTC times, whole hours, rain and sun of the hour that ends then.

    Raises
    ------
    WeatherError
        For a heading that lacks, a cell that is no number, a time that does not rise; with its line.
    """
    table = read_table(text, ("time", *NEEDED), ABOUT)
    times = [_time(cell, table.lines[n]) for n, cell in enumerate(table.texts("time"))]
    for n in range(1, len(times)):
        if times[n] <= times[n - 1]:
            raise WeatherError(
                f"Line {table.lines[n]}: {times[n]:%Y-%m-%d %H:%M} does not come after the line before; "
                "hours must rise, each once, in UTC."
            )
    start, count = times[0], round((times[-1] - times[0]) / HOUR)
    if count < LEAST_DAYS * 24:
        raise WeatherError(f"The record holds {count / 24:.0f} days; a replay needs {LEAST_DAYS} or more.")
    rows = np.array([round((when - start) / HOUR) for when in times])
    found = {
        name: _laid(table, name, column, rows, count)
        for name, column in COLUMNS.items()
        if name in table.headings
    }
    _refuse_dew_above_air(table, found, rows)
    return record_of(start, found, gap_hours)


def _time(cell: str, line: int) -> datetime:
    try:
        when = datetime.fromisoformat(cell)
    except ValueError:
        raise WeatherError(
            f"Line {line}, time: '{cell:.40}' is no time; write it as 2025-10-01T06:00, in UTC."
        ) from None
    when = when.replace(tzinfo=UTC) if when.tzinfo is None else when.astimezone(UTC)
    if when.minute or when.second or when.microsecond:
        raise WeatherError(f"Line {line}, time: {cell:.40} is no whole hour of UTC.")
    return when


def _laid(table: Table, name: str, column: Column, rows: NDArray[np.int64], count: int) -> F:
    """A column on every hour; what belongs to an hour moves to where that hour begins."""
    out = np.full(count + 1, np.nan)
    out[rows] = table.values(name, column)
    return np.asarray(out[1:] if name in INTERVALS else out[:-1])


def _refuse_dew_above_air(table: Table, found: dict[str, F], rows: NDArray[np.int64]) -> None:
    with np.errstate(invalid="ignore"):
        wrong = np.flatnonzero(found["dew_point_c"] > found["air_c"] + DEW_SLACK_K)
    if wrong.size:
        row = int(np.flatnonzero(rows == wrong[0])[0])
        raise WeatherError(
            f"Line {table.lines[row]}: the dew point lies above the air; are the columns swapped?"
        )


def record_of(start: datetime, found: dict[str, F], gap_hours: float) -> Record:
    """A record from arrays (hours,) of its quantities, gaps closed and said.

    Raises
    ------
    WeatherError
        For a gap in air, dew point or wind that is longer than ``gap_hours``.
    """
    notes = []
    arrays: dict[str, F] = {}
    for name in ("air_c", "dew_point_c", "wind_ms"):
        arrays[name], closed = _closed(found[name], gap_hours, start, name)
        if closed:
            notes.append(f"{closed} hours without {name} were closed by straight lines.")
    rain = found["rain_mm"]
    hidden = int((~np.isfinite(rain)).sum())
    if hidden:
        notes.append(f"{hidden} hours without a word on rain count as dry.")
    sky = {name: found.get(name) for name in ("cloud", "sun_wm2", "pressure_hpa")}
    if sky["cloud"] is None:
        notes.append("The record has no cloud; it is drawn by dew-point spread and rain.")
    weather = Weather(
        start,
        air_c=arrays["air_c"][None, :],
        dew_point_c=np.minimum(arrays["dew_point_c"], arrays["air_c"])[None, :],
        wind_ms=arrays["wind_ms"][None, :],
        rain_mm=np.nan_to_num(rain)[None, :],
        provenance=Provenance("record"),
        **{name: None if values is None else values[None, :] for name, values in sky.items()},  # type: ignore[arg-type]
    )
    return Record(weather, tuple(notes))


def _closed(values: F, gap_hours: float, start: datetime, name: str) -> tuple[F, int]:
    known = np.isfinite(values)
    if known.all():
        return values, 0
    at = np.flatnonzero(known)
    edges = np.concatenate([[-1], at, [values.size]])
    longest = int(np.argmax(np.diff(edges)))
    hours = int(np.diff(edges)[longest]) - 1
    if not at.size or hours > gap_hours:
        begin = start + timedelta(hours=int(edges[longest]) + 1)
        raise WeatherError(
            f"The record has no {name} for {hours} hours from {begin:%Y-%m-%d %H:%M} UTC on. "
            f"Gaps up to {gap_hours:g} hours are closed; cut the file there, or fill them."
        )
    return np.interp(np.arange(values.size), at, values[at]), int((~known).sum())
