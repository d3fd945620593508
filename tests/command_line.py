"""Running the commands in this process, and stored answers to run them on."""

from __future__ import annotations

import io
import json
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np
from weather_samples import by_day, weather

from scheduler.cli import main
from scheduler.weather.series import INTERVALS, Weather

DEMO = Path(__file__).parents[1] / "demo"
MORNING = "2025-11-03T06:00"  # naive: on the yard's clock
PLACE = (48.0, 8.2)
COLUMNS = {
    "air_c": ("temperature_2m", "°C"),
    "dew_point_c": ("dew_point_2m", "°C"),
    "wind_ms": ("wind_speed_10m", "m/s"),
    "gust_ms": ("wind_gusts_10m", "m/s"),
    "rain_mm": ("precipitation", "mm"),
    "sun_wm2": ("shortwave_radiation", "W/m²"),
    "pressure_hpa": ("surface_pressure", "hPa"),
    "code": ("weather_code", "wmo code"),
}


@dataclass(frozen=True, slots=True)
class Ran:
    """What a command did."""

    code: int
    out: str
    err: str

    def json(self) -> Any:
        """What it printed, as JSON; anything else on the way is an error."""
        return json.loads(self.out)


def _stream() -> io.TextIOWrapper:
    """A stream that takes text and, by its buffer, bytes."""
    return io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="", write_through=True)


def _said(stream: io.TextIOWrapper) -> str:
    stream.seek(0)
    return stream.read()


def run(*words: str | Path) -> Ran:
    """Run ``coatcast WORDS`` as the shell would, with its exit code."""
    out, err, code = _stream(), _stream(), 0
    with (
        patch.object(sys, "argv", ["coatcast", *map(str, words)]),
        redirect_stdout(out),
        redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as stop:
            code = 0 if stop.code is None else int(stop.code)
    return Ran(code, _said(out), _said(err))


def yard_file(
    folder: Path,
    *more: str,
    zone: str = "Europe/Berlin",
    units: str = "metric",
    yard: str = "",
    place: Any = PLACE,
) -> Path:
    """A yard file with nothing but its place, zone and units, and the lines given."""
    text = f"""[yard]
name = "Test yard"
place = {{ lat = {place[0]}, lon = {place[1]}, altitude_m = 500 }}
zone = "{zone}"
units = "{units}"
{yard}
"""
    path = folder / "yard.toml"
    path.write_text("\n".join([text, *more]) + "\n", encoding="utf-8")
    return path


def columns_of(given: Weather, place: tuple[float, float] = PLACE) -> dict[str, Any]:
    """A weather as an answer of the hourly column family: intervals labelled by their end, NaN as null."""

    def row(name: str, values: Any) -> list[float | None]:
        shown = np.full(given.hours, np.nan)
        if name in INTERVALS:
            shown[1:] = values[:-1]
        else:
            shown[:] = values
        return [None if np.isnan(x) else round(float(x), 4) for x in shown]

    arrays = {name: values[0] for name, values in given.arrays() if name in COLUMNS}
    times = [f"{given.time_at(n):%Y-%m-%dT%H:%M}" for n in range(given.hours)]
    hourly = {COLUMNS[name][0]: row(name, values) for name, values in arrays.items()}
    if given.cloud is not None:
        hourly["cloud_cover"] = row("cloud", given.cloud[0] * 100.0)
    units = {COLUMNS[name][0]: COLUMNS[name][1] for name in arrays} | {"cloud_cover": "%"}
    return {
        "latitude": place[0],
        "longitude": place[1],
        "elevation": 500.0,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "hourly_units": {"time": "iso8601"} | units,
        "hourly": {"time": times} | hourly,
    }


def stored(folder: Path, answer: Any, name: str = "answer.json") -> Path:
    """An answer as a file: a dict as JSON, bytes and text as they are."""
    path = folder / name
    if isinstance(answer, bytes):
        path.write_bytes(answer)
    else:
        path.write_text(answer if isinstance(answer, str) else json.dumps(answer), encoding="utf-8")
    return path


def fair(days: int = 8, **more: Any) -> Weather:
    """Mild dry weather: every day is a day to seal."""
    usual: dict[str, Any] = {"air_c": by_day(7.0, 14.0), "humidity": 60.0, "wind": 3.0, "cloud": 0.8}
    return weather(24 * days, **(usual | more))


def hours_of(hour: int) -> datetime:
    """UTC time of an hour of these weathers."""
    return datetime(2025, 11, 1, tzinfo=UTC) + timedelta(hours=hour)
