"""Reader of CoverageJSON for one place, as services of the OGC API EDR send it.

By OGC 21-069r2 (https://docs.ogc.org/cs/21-069r2/21-069r2.html) and OGC
19-086r6 (EDR). What matters here:

- A coverage has axes, parameters and ranges; in a collection the parameters
  and the reference systems may stand on the collection. Coverages of one place
  are put together; of several places the nearest is taken.
- Only time may have more than one value. It is text with an offset, or seconds
  since 1970 where the reference system says so.
- Instants run in straight lines over steps of up to 6 hours. Sums are spread
  over the hours that they are said to stand for; if that is not said, rain is
  refused and the rest left out. It is never guessed.
- ``null`` is missing. Ranges behind a link or in tiles are refused.
- Pressure is used at the surface only: the answer does not say how high the
  ground is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import prod
from typing import Any

import numpy as np

from scheduler.weather.formats.checks import (
    MEND,
    after,
    at,
    checked_dew_point,
    in_house_unit,
    numbers,
    quoted,
    refuse_unless_enough,
    shown_type,
)
from scheduler.weather.formats.coverage_domain import Coverage, coverages_of, of_one_place
from scheduler.weather.formats.coverage_names import STANDARD_NAMES, UNITS, Named, which_is_which
from scheduler.weather.formats.periods import hourly_chance, spread_sum
from scheduler.weather.formats.points import LONGEST, Rows, hour_numbers, through
from scheduler.weather.series import HOUR, INTERVALS, Array, Provenance, Weather, WeatherError

__all__ = ["read", "recognise"]

NEEDED = {
    "air_c": "air temperature (air_temperature)",
    "dew_point_c": "dew point or humidity (dew_point_temperature or relative_humidity)",
    "wind_ms": "wind (wind_speed)",
    "rain_mm": "rain (precipitation_amount or lwe_thickness_of_precipitation_amount)",
}
STEPS = (1, 2, 3, 6)


@dataclass(frozen=True, slots=True)
class _Column:
    """One quantity: its times, hours after the first of them, values, and the hours each stands for."""

    moments: list[datetime]
    points: Rows
    values: Array
    begin: Rows
    end: Rows

    def later(self, hours: int) -> _Column:
        """The same, counted from ``hours`` before its first time."""
        return _Column(self.moments, self.points + hours, self.values, self.begin + hours, self.end + hours)


def recognise(data: object) -> bool:
    """Whether a decoded answer is of this family, by its shape alone (the errors of such services too)."""
    return isinstance(data, dict) and (
        data.get("type") in ("Coverage", "CoverageCollection") or _is_error(data)
    )


def read(
    data: object, *, place: tuple[float, float] | None = None, names: Mapping[str, str] | None = None
) -> Weather:
    """A decoded coverage, or a collection of them, as weather.

    Parameters
    ----------
    place
        Latitude and longitude that were meant; needed to choose among several places.
    names
        Parameter -> quantity where the standard names do not serve, for sums with
        the side of its time on which they lie: {"t2m": "air_c", "tp": "rain_mm before"}.

    Returns
    -------
    Weather
        UTC, SI; shape (1, hours).

    Raises
    ------
    WeatherError
        When a needed quantity is missing or it is not said for which hours the
        rain stands, and for everything else that would need guessing.
    """
    if not isinstance(data, dict) or _is_error(data):
        raise WeatherError(
            f'The service answers with an error: "{_error(data)}" Mend the address, or ask later.'
        )
    notes: list[str] = []
    here = of_one_place(coverages_of(data), place, notes)
    parameters = {name: one for coverage in here for name, one in coverage.parameters.items()}
    named = which_is_which(parameters, names or {})
    columns: dict[str, _Column] = {}
    points: dict[tuple[int, ...], Rows] = {}  # of coverages that belong together, worked out once
    for house, one in named.items():
        column = _column(here, one, points, notes)
        if column is not None:
            columns[house] = column
    found = {"dew_point_c" if name == "humidity" else name for name in columns}
    refuse_unless_enough(found, NEEDED, "" if found >= set(NEEDED) else _held(parameters))
    start = min(column.moments[0] for column in columns.values())
    arrays = {name: values[None, :] for name, values in _rows(columns, start, notes).items()}
    source = Provenance(
        "coverage", latitude=here[0].latitude, longitude=here[0].longitude, notes=tuple(notes)
    )
    return Weather(start=start, provenance=source, **arrays)  # type: ignore[arg-type]


def _held(parameters: Mapping[str, Any]) -> str:
    held = quoted(", ".join(sorted(parameters)), 300) or "no parameters"
    return (
        f"The answer holds {held}. Ask for what is missing; known are the names {', '.join(STANDARD_NAMES)}."
    )


def _is_error(data: Mapping[str, Any]) -> bool:
    return "type" not in data and any(isinstance(data.get(key), str) for key in ("detail", "description"))


def _error(data: object) -> str:
    given = [data.get(key) for key in ("code", "detail", "description")] if isinstance(data, dict) else []
    return quoted(": ".join(one for one in given if isinstance(one, str)) or "no reason given")


# ------------------------------------------------------------------ ranges


def _column(
    coverages: list[Coverage], one: Named, known: dict[tuple[int, ...], Rows], notes: list[str]
) -> _Column | None:
    """One quantity out of all coverages that have it; None where it is null throughout or of unsaid hours."""
    having = sorted((c for c in coverages if one.parameter in c.ranges), key=lambda c: c.moments[0])
    if not having:
        return None
    moments = [when for coverage in having for when in coverage.moments]
    together = tuple(map(id, having))
    if together not in known:
        known[together] = hour_numbers(moments, STEPS)
    points = known[together]
    when = at(moments)
    given = [value for coverage in having for value in _range(coverage, one.parameter)]
    raw = numbers(given, one.parameter, when)
    if np.isnan(raw).all():
        return None
    unit = _unit(having[0].parameters.get(one.parameter))
    values = in_house_unit(raw, quoted(one.parameter, 60), one.house, unit, UNITS[one.house], when)
    if one.house not in INTERVALS:
        return _Column(moments, points, values, points, points)
    stand_for = _stand_for(having, one, moments, points)
    if stand_for is None:
        _refuse_unsaid_rain(one)
        notes.append(f"{quoted(one.parameter, 60)} is left out: for which hours it stands is not said")
        return None
    begin, end = stand_for
    if np.any(begin[1:] < end[:-1]) or np.any(end <= begin):
        raise WeatherError(
            f"The periods of {quoted(one.parameter, 60)} overlap, so its sums cannot be told apart by hours. "
            "Ask for sums of one step of time."
        )
    return _Column(moments, points, values, begin, end)


def _refuse_unsaid_rain(one: Named) -> None:
    if one.house == "rain_mm":
        raise WeatherError(
            f"It is not said whether {quoted(one.parameter, 60)} stands for the hours before or after "
            "its time, so every wet hour could be one hour off. A period such as -PT1H/PT0H in the "
            "parameter says it, or bounds of the times, or the names of the yard (rain_mm before, "
            "rain_mm after)."
        )


def _range(coverage: Coverage, name: str) -> list[Any]:
    """The values of a parameter, one for each time."""
    given, shown = coverage.ranges[name], quoted(name, 60)
    if isinstance(given, str) or (isinstance(given, dict) and given.get("type") == "TiledNdArray"):
        raise WeatherError(f"The values of {shown} stand behind a link. Ask for an answer in one piece.")
    values = given.get("values") if isinstance(given, dict) else None
    if not isinstance(given, dict) or given.get("type") != "NdArray" or not isinstance(values, list):
        raise WeatherError(
            f"The values of {shown} are {shown_type(given)} of an unknown kind, not an NdArray. {MEND}"
        )
    shape = given.get("shape", [len(values)])
    whole = isinstance(shape, list) and all(type(size) is int for size in shape)
    if len(values) != len(coverage.moments) or not whole or prod(shape) != len(values):
        raise WeatherError(
            f"{shown} has {len(values)} values (shape {quoted(shape, 40)}) "
            f"for {len(coverage.moments)} times. {MEND}"
        )
    return values


def _unit(parameter: object) -> object:
    """The symbol of a parameter's unit, bare or with its scheme."""
    unit = parameter.get("unit") if isinstance(parameter, dict) else None
    symbol = unit.get("symbol") if isinstance(unit, dict) else None
    return symbol.get("value") if isinstance(symbol, dict) else symbol


def _stand_for(
    having: list[Coverage], one: Named, moments: list[datetime], points: Rows
) -> tuple[Rows, Rows] | None:
    """The hours each value stands for, after the first time; the yard's word goes before the axis's own."""
    if one.hours == "before":
        return np.append(points[:1] - (points[1] - points[0]), points[:-1]), points
    if one.hours == "after":
        return points, np.append(points[1:], points[-1:] + (points[-1] - points[-2]))
    bounds = [pair for coverage in having for pair in coverage.bounds or []]
    if len(bounds) == len(moments):
        ends = [[(end - moments[0]) / HOUR for end in pair] for pair in bounds]
        if all(hour == round(hour) for pair in ends for hour in pair):
            begin, end = np.array(ends).round().astype(np.int64).T
            return begin, end
    if isinstance(one.hours, tuple):
        return points + one.hours[0], points + one.hours[1]
    return None


# ------------------------------------------------------------------ hours


def _rows(columns: dict[str, _Column], start: datetime, notes: list[str]) -> dict[str, Array]:
    """Every quantity hour by hour from ``start``."""
    laid = {name: column.later(_hours(column.moments[0] - start)) for name, column in columns.items()}
    hours = max(max(int(column.points[-1]) + 1, int(column.end[-1])) for column in laid.values())
    if hours * HOUR > LONGEST:
        raise WeatherError(f"The answer reaches over more than {LONGEST.days} days. {MEND}")
    rows = {
        name: through(column.points, column.values, hours)
        for name, column in laid.items()
        if name not in INTERVALS
    }
    when = after(start, range(hours))
    dew = checked_dew_point(rows["air_c"], rows.get("dew_point_c"), rows.pop("humidity", None), when, notes)
    rows |= {} if dew is None else {"dew_point_c": dew}
    chance = np.full(hours, np.nan)
    for name in ("rain_chance", "gust_ms", "sun_wm2", "rain_mm"):  # the chance first: rain looks at it
        if name in laid:
            rows[name] = _laid(laid[name], name, chance)
            chance = rows[name] if name == "rain_chance" else chance
    coarse = max(int(np.diff(column.points).max()) for column in columns.values())
    if coarse > 1:
        notes.append(f"in steps of up to {coarse} hours, with straight lines between")
    return rows


def _hours(length: timedelta) -> int:
    hours, rest = divmod(length, HOUR)
    if rest:
        raise WeatherError(f"The times of the parameters are not whole hours apart. {MEND}")
    return hours


def _laid(column: _Column, name: str, chance: Array) -> Array:
    """What stands for stretches of hours, laid on them; a stretch that began earlier is left unknown."""
    out = np.full(chance.size, np.nan)
    known = ~np.isnan(column.values) & (column.begin >= 0)
    hourly = known & (column.end - column.begin == 1)
    out[column.begin[hourly]] = column.values[hourly]
    for k in np.flatnonzero(known & ~hourly):
        begin, end, value = int(column.begin[k]), int(column.end[k]), column.values[k]
        size = end - begin
        if name == "rain_mm":
            thin = bool(np.isfinite(chance[begin:end]).all())
            out[begin:end] = spread_sum(float(value), size, thin=thin)
        else:
            out[begin:end] = hourly_chance(value, size) if name == "rain_chance" else value
    return out
