"""What every reader checks of a foreign answer: numbers, units, bounds of nature, times. For readers only.

Nothing is mended here: what is not as it should be is refused, with the place of the fault.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduler.weather.air import dew_point_from_humidity, humidity, pressure_at
from scheduler.weather.formats.column_table import KINDS, MEND, quoted, shown_type
from scheduler.weather.formats.columns import DEW_SLACK_K
from scheduler.weather.series import HOUR, Array, WeatherError

__all__ = [
    "MEND",
    "Units",
    "When",
    "after",
    "at",
    "checked_dew_point",
    "in_house_unit",
    "moment",
    "number",
    "numbers",
    "quoted",
    "reduced_pressure",
    "refuse_unless_enough",
    "shown_type",
]

Units = Mapping[str, tuple[float, float]]  # unit -> factor and shift into the house's unit
When = Callable[[int], str]  # the number of a row -> its time in words

HUMIDITY_SLACK = 0.20  # share; dew points of whole degrees move the humidity by up to 0.08 at 20 °C
_PLAIN = {int, float, type(None)}
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d(\.\d{1,6})?)?(Z|[+-]\d\d:?\d\d)", re.ASCII)


def at(moments: Sequence[datetime]) -> When:
    """Times of rows in words."""
    return lambda row: f"{moments[row]:%Y-%m-%d %H:%M} UTC"


def after(start: datetime, hours: Sequence[int] | NDArray[np.int64]) -> When:
    """Times of rows in words that lie whole hours after a start."""
    return lambda row: f"{start + int(hours[row]) * HOUR:%Y-%m-%d %H:%M} UTC"


def moment(text: object, what: str) -> datetime:
    """A time with its offset (2025-11-03T06:00:00Z, …+01:00) in UTC; refused without one."""
    if not isinstance(text, str) or not _TIME.fullmatch(text):
        raise WeatherError(
            f"{what} is {quoted(repr(text), 60)}, not a time with its offset, "
            f"such as 2025-11-03T06:00:00Z. {MEND}"
        )
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        raise WeatherError(f"{what}, {text}, does not exist. {MEND}") from None
    if not 1970 < when.year < 2100:
        raise WeatherError(f"{what}, {text}, is of no year for a forecast. {MEND}")
    return when if when.tzinfo is UTC else when.astimezone(UTC)


def numbers(column: Sequence[Any], name: str, when: When) -> Array:
    """Values as floats, NaN for null; a text, a true or a number beyond all bounds is refused."""
    if not set(map(type, column)) <= _PLAIN:
        row = next(n for n, value in enumerate(column) if type(value) not in _PLAIN)
        raise WeatherError(f"{name} is {shown_type(column[row])} at {when(row)}, not a number. {MEND}")
    try:
        return np.array([np.nan if value is None else value for value in column], dtype=float)
    except OverflowError:
        raise WeatherError(f"{name} holds a number too large to be weather. {MEND}") from None


def in_house_unit(raw: Array, name: str, house: str, unit: object, units: Units, when: When) -> Array:
    """Values in the unit of ``house``; refused without a known unit and beyond what nature allows."""
    if not isinstance(unit, str) or not unit:
        raise WeatherError(f"The answer gives no unit for {name}, so its numbers mean nothing. {MEND}")
    if unit not in units:
        raise WeatherError(
            f"The unit of {name} is '{quoted(unit, 40)}'; understood here: {', '.join(units)}. "
            "Ask for one of these."
        )
    factor, shift = units[unit]
    kind = KINDS[house]
    slack = 1e-9 * kind.high  # the conversion's own rounding
    with np.errstate(invalid="ignore", over="ignore"):
        values = raw * factor + shift
        wrong = np.flatnonzero((values < kind.low - slack) | (values > kind.high + slack))
    if wrong.size:
        row = int(wrong[0])
        bounds = f"{kind.low:g} to {kind.high:g} {kind.unit}".rstrip()
        raise WeatherError(
            f"{name} is {raw[row]:g} {unit} at {when(row)}, outside {bounds}: "
            f"the answer contradicts nature. {MEND}"
        )
    return np.asarray(np.clip(values, kind.low, kind.high))


def refuse_unless_enough(found: Collection[str], needed: Mapping[str, str], held: str = "") -> None:
    """Refuse an answer that lacks a quantity; ``needed`` has them in words, ``held`` says what is there."""
    missing = [words for name, words in needed.items() if name not in found]
    if missing:
        raise WeatherError(f"The answer is not enough; it lacks: {'; '.join(missing)}. {held or MEND}")


def number(value: object, low: float, high: float) -> float | None:
    """A single number between bounds, else None."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not low <= value <= high:
        return None
    return float(value)


def reduced_pressure(sea_level_hpa: Array, altitude_m: float) -> Array:
    """Brought from sea level to a height by the ratio of the mean atmosphere (FAO-56 eq 7), hPa."""
    return np.asarray(sea_level_hpa * float(pressure_at(altitude_m) / pressure_at(0.0)))


def checked_dew_point(
    air: Array, dew: Array | None, percent: Array | None, when: When, notes: list[str]
) -> Array | None:
    """The dew point, made of the humidity where it is not given, never above the air; any number of rows.

    Rounding to whole °F may put it a little above the air; one higher than
    that contradicts itself and is refused. Where humidity and dew point are
    both given and far apart, that is noted and the dew point is taken.
    """
    if percent is not None:
        made = dew_point_from_humidity(air, percent)
        if dew is not None:
            _note_disagreement(air, dew, percent / 100.0, when, notes)
            made = np.where(np.isfinite(dew), dew, made)
        dew = made
    if dew is None:
        return None
    with np.errstate(invalid="ignore"):
        wrong = np.flatnonzero(dew - air > DEW_SLACK_K + 1e-9)
    if wrong.size:
        row = int(wrong[0])
        raise WeatherError(
            f"The dew point, {dew[row]:.1f} °C, lies above the air's {air[row]:.1f} °C at "
            f"{when(row)}: the answer contradicts itself. {MEND}"
        )
    return np.asarray(np.where(dew > air, air, dew))


def _note_disagreement(air: Array, dew: Array, share: Array, when: When, notes: list[str]) -> None:
    apart = np.abs(np.clip(humidity(air, dew), 0.0, 1.0) - np.clip(share, 0.0, 1.0))
    apart = np.where(np.isfinite(apart), apart, 0.0)
    row = int(np.argmax(apart))
    if apart[row] > HUMIDITY_SLACK:
        notes.append(
            f"humidity and dew point are up to {100 * apart[row]:.0f} % apart "
            f"({when(row)}); the dew point was taken"
        )
