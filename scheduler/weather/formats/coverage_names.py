"""Which parameter of a coverage is which quantity, and for which hours it stands. Used by ``coverage`` only.

Names are those of the CF standard name table (https://cfconventions.org),
found in the parameter's own name (also as name:height:method:period), in the
id of its observed property or in a label. Everything else the yard must name.

For rain it must be said which hours a value stands for. Said is: in the yard's
own names; by the bounds of the time axis; by a period with both its ends, as
-PT1H/PT0H, or with a sign, as -PT1H (measurementType of OGC API EDR); by words
such as "previous hour". A bare PT1H tells the length only.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from scheduler.weather.formats.checks import Units, quoted
from scheduler.weather.formats.periods import parse_duration, whole_hours
from scheduler.weather.series import WeatherError

__all__ = ["STANDARD_NAMES", "UNITS", "Hours", "Named", "which_is_which"]

STANDARD_NAMES = {  # CF standard name -> name in this house
    "air_temperature": "air_c",
    "dew_point_temperature": "dew_point_c",
    "relative_humidity": "humidity",
    "wind_speed": "wind_ms",
    "wind_speed_of_gust": "gust_ms",
    "cloud_area_fraction": "cloud",
    "surface_air_pressure": "pressure_hpa",
    "surface_downwelling_shortwave_flux_in_air": "sun_wm2",
    "precipitation_amount": "rain_mm",
    "lwe_thickness_of_precipitation_amount": "rain_mm",
}
_TEMPERATURE: Units = {
    "Cel": (1.0, 0.0),
    "°C": (1.0, 0.0),
    "K": (1.0, -273.15),
    "[degF]": (5.0 / 9.0, -160.0 / 9.0),
}
_WIND: Units = {
    "m/s": (1.0, 0.0),
    "m.s-1": (1.0, 0.0),
    "km/h": (1.0 / 3.6, 0.0),
    "[kn_i]": (1852.0 / 3600.0, 0.0),
}
_SHARE: Units = {"%": (0.01, 0.0), "1": (1.0, 0.0)}
_SUN: Units = {"W/m2": (1.0, 0.0), "W.m-2": (1.0, 0.0)}
UNITS: dict[str, Units] = {  # by the Unified Code for Units of Measure (https://ucum.org)
    "air_c": _TEMPERATURE,
    "dew_point_c": _TEMPERATURE,
    "humidity": {"%": (1.0, 0.0), "1": (100.0, 0.0)},
    "wind_ms": _WIND,
    "gust_ms": _WIND,
    "cloud": _SHARE,
    "pressure_hpa": {"Pa": (0.01, 0.0), "hPa": (1.0, 0.0)},
    "sun_wm2": _SUN,
    "rain_mm": {
        "mm": (1.0, 0.0),
        "kg/m2": (1.0, 0.0),
        "kg.m-2": (1.0, 0.0),
        "cm": (10.0, 0.0),
        "m": (1000.0, 0.0),
    },
    "rain_chance": _SHARE,
}
_INSTANT = frozenset({"point", "instantaneous", "instant", "value", "mean", "average"})
METHODS = {  # how a value may have been made; a maximum of the air is not the air
    "rain_mm": frozenset({"sum", "total", "accumulation", "accumulated"}),
    "gust_ms": frozenset({"maximum", "max"}),
    "sun_wm2": frozenset({"mean", "average"}),
}
_WORDS = re.compile(
    r"\b(?:(preceding|previous|past|last)|(?:next|following|coming)) (?:(\d{1,2}) )?hours?\b", re.ASCII
)

Hours = tuple[int, int] | str  # hours before and after a value's time; or "before", "after": a step of time


@dataclass(frozen=True, slots=True)
class Named:
    """A parameter of the answer, what it is here, and for which hours its values stand (None: not said)."""

    parameter: str
    house: str
    hours: Hours | None


def which_is_which(parameters: Mapping[str, Any], names: Mapping[str, str]) -> dict[str, Named]:
    """The parameter of each quantity.

    Parameters
    ----------
    parameters
        The parameter objects of the answer by their names.
    names
        The yard's own: parameter -> quantity, for sums with ``before`` or
        ``after``: {"t2m": "air_c", "tp": "rain_mm before"}. They go first.

    Raises
    ------
    WeatherError
        When several could be the same quantity, and for names that are none.
    """
    choice: dict[str, list[Named]] = {}
    for one in _by_the_yard(parameters, names):
        choice.setdefault(one.house, []).append(one)
    own = set(choice)
    for parameter, given in parameters.items():
        details = given if isinstance(given, dict) else {}
        house = _by_standard_name(parameter, details)
        if house is not None and house not in own and parameter not in names:
            choice.setdefault(house, []).append(Named(parameter, house, _said(parameter, details)))
    found = {}
    for house, several in choice.items():
        if len(several) > 1:
            listed = ", ".join(quoted(one.parameter, 60) for one in several)
            raise WeatherError(
                f"Several parameters could be {house}: {listed}. Ask for the one that is meant, "
                "or say in the names of the yard which one it is."
            )
        found[house] = several[0]
    return found


def _by_the_yard(parameters: Mapping[str, Any], names: Mapping[str, str]) -> Iterator[Named]:
    for parameter, text in names.items():
        house, _, side = text.partition(" ")
        if house not in UNITS or side not in {"", "before", "after"}:
            raise WeatherError(
                f"'{quoted(text, 60)}' is no quantity; known are {', '.join(UNITS)}, "
                "with 'before' or 'after' behind those that stand for a stretch of time."
            )
        if parameter in parameters:
            details = parameters[parameter] if isinstance(parameters[parameter], dict) else {}
            yield Named(parameter, house, _on_side(side, parameter, details))


def _on_side(side: str, parameter: str, details: Mapping[str, Any]) -> Hours | None:
    """The hours by the side of its time that the yard says; the length by the parameter, where it has one."""
    length = _length(parameter, details)
    if not side or length is None:
        return side or _said(parameter, details)
    if length != int(length):
        return None
    return (-int(length), 0) if side == "before" else (0, int(length))


def _by_standard_name(parameter: str, details: Mapping[str, Any]) -> str | None:
    observed = details.get("observedProperty")
    observed = observed if isinstance(observed, dict) else {}
    candidates = [parameter.partition(":")[0], *_tails(observed.get("id"))]
    candidates += [*_texts(observed.get("label")), *_texts(details.get("label"))]
    plain = (re.sub(r"[\s-]+", "_", one.strip().lower()) for one in candidates)
    house = next((STANDARD_NAMES[one] for one in plain if one in STANDARD_NAMES), None)
    if house is None:
        return None
    method, length = _method(parameter, details), _length(parameter, details)
    if method is not None and method not in METHODS.get(house, _INSTANT):
        return None
    return None if house not in METHODS and length is not None and length > 1 else house


def _tails(identity: object) -> Iterator[str]:
    if isinstance(identity, str):
        yield re.split(r"[/#]", identity.rstrip("/#"))[-1]


def _texts(text: object) -> Iterator[str]:
    """A text, or the texts of an object with one for each language."""
    for one in text.values() if isinstance(text, dict) else [text]:
        if isinstance(one, str):
            yield one


def _measured(details: Mapping[str, Any]) -> Mapping[str, Any]:
    given = details.get("measurementType")
    return given if isinstance(given, dict) else {}


def _method(parameter: str, details: Mapping[str, Any]) -> str | None:
    given, parts = _measured(details).get("method"), parameter.split(":")
    given = parts[2] if given is None and len(parts) == 4 else given
    return given.lower() if isinstance(given, str) else None


def _period(parameter: str, details: Mapping[str, Any]) -> str | None:
    measured, parts = _measured(details), parameter.split(":")
    for given in (measured.get("duration"), measured.get("period"), parts[3] if len(parts) == 4 else None):
        if isinstance(given, str):
            return given
    return None


def _ends(text: str | None) -> tuple[timedelta, timedelta] | None:
    """Both ends of a period against a value's time, as -PT1H/PT0H or -PT1H; of a bare PT1H none is known."""
    if text is None:
        return None
    first, slash, last = text.partition("/")
    try:
        one, other = parse_duration(first), parse_duration(last) if slash else timedelta(0)
    except WeatherError:
        return None
    return (one, other) if one < other else None


def _length(parameter: str, details: Mapping[str, Any]) -> float | None:
    """Hours that a period lasts, where that is said at all."""
    text = _period(parameter, details)
    if text is None:
        return None
    ends = _ends(text)
    try:
        lasting = ends[1] - ends[0] if ends else abs(parse_duration(text))
    except WeatherError:
        return None
    return lasting / timedelta(hours=1)


def _said(parameter: str, details: Mapping[str, Any]) -> Hours | None:
    """The hours that a value stands for by its period or by words."""
    ends = _ends(_period(parameter, details))
    if ends is not None:
        first, last = whole_hours(ends[0]), whole_hours(ends[1])
        return None if first is None or last is None else (first, last)
    observed = details.get("observedProperty")
    places = [details, observed if isinstance(observed, dict) else {}]
    texts = [
        parameter,
        *(text for one in places for key in ("label", "description") for text in _texts(one.get(key))),
    ]
    for text in texts:
        match = _WORDS.search(text.lower().replace("_", " "))
        if match:
            hours = int(match[2] or 1)
            return (-hours, 0) if match[1] else (0, hours)
    return None
