"""An invented autumn for replays: fair days, a wet day in four, frost from the fourth week on."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path

import numpy as np

from scheduler.replay.record import Record, read_hours
from scheduler.settings import YardFile, load_yard

START = datetime(2021, 10, 1, tzinfo=UTC)
YARD = """
[yard]
name = "replayed"
zone = "Europe/Berlin"
units = "metric"
place = { lat = 50.0, lon = 8.0, altitude_m = 100 }
"""


def hours_text(days: int = 50, changed_from: int | None = None) -> str:
    """The file; from hour ``changed_from`` on it is a warm and wet one."""
    lines = ["time,air_c,dew_point_c,wind_ms,rain_mm"]
    for k in range(24 * days + 1):
        day = k // 24
        air = 16.0 - 0.3 * day + 5.0 * np.sin((k % 24 - 9.0) / 24.0 * 2.0 * np.pi)
        rain = 0.8 if day % 4 == 2 and 8 <= k % 24 < 16 else 0.0
        if changed_from is not None and k >= changed_from:
            air, rain = air + 9.0, 2.0
        dew = air - (0.5 if rain else 3.5)
        when = START + timedelta(hours=k)
        lines.append(f"{when:%Y-%m-%dT%H:%M},{air:.2f},{dew:.2f},{2.0 + day % 3:.1f},{rain:.1f}")
    return "\n".join(lines) + "\n"


@lru_cache(maxsize=4)
def record(changed_from: int | None = None) -> Record:
    """The invented hours, read as from a file."""
    return read_hours(hours_text(changed_from=changed_from), 6.0)


def yard_of(folder: Path) -> YardFile:
    """A plain yard."""
    file = folder / "yard.toml"
    file.write_text(YARD, encoding="utf-8")
    return load_yard(file)
