"""Reader of station reports of the US National Weather Service (stations/{id}/observations), for checking.

What matters here (https://weather-gov.github.io/api/general-faqs and what the
reports themselves show):

- Each value has a unit code and a quality code; only V, S and C are used (the
  levels of NOAA's MADIS: verified, screened, coarse check passed; from memory).
- The same report may come several times, first with empty values; reports are
  not in order for certain. One is kept for each station and minute.
- The rain of the last hour may read 0 beside a raw report that says otherwise;
  then the raw report counts: ``Prrrr`` in its remarks, hundredths of an inch
  since the last hourly report (Federal Meteorological Handbook No. 1, from
  memory).
- A value that nature does not allow is a broken sensor and is dropped.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from scheduler.weather.formats.checks import MEND, moment, number, quoted, shown_type
from scheduler.weather.formats.column_table import KINDS
from scheduler.weather.formats.nws_layers import UNITS, refuse_an_error, unit_of
from scheduler.weather.series import WeatherError

__all__ = ["Observation", "read_observations"]

VARIABLE_MAP = {  # value in a report -> name in this house
    "temperature": "air_c",
    "dewpoint": "dew_point_c",
    "windSpeed": "wind_ms",
    "windGust": "gust_ms",
    "barometricPressure": "pressure_hpa",
    "precipitationLastHour": "rain_mm",
}
GOOD = frozenset("VSC")
MM_PER_HUNDREDTH_INCH = 0.254
_RAIN_GROUP = re.compile(r"\bP(\d{4})\b", re.ASCII)


@dataclass(frozen=True, slots=True)
class Observation:
    """One report of a station; None where it says nothing that can be trusted.

    Units: °C, m/s, hPa at the station, mm since the last hourly report (at most
    an hour before ``time``, UTC).
    """

    time: datetime
    station: str | None = None
    air_c: float | None = None
    dew_point_c: float | None = None
    wind_ms: float | None = None
    gust_ms: float | None = None
    pressure_hpa: float | None = None
    rain_mm: float | None = None
    raw: str | None = None

    @property
    def known(self) -> int:
        """How many quantities the report has."""
        return sum(getattr(self, name) is not None for name in VARIABLE_MAP.values())


def read_observations(data: object) -> list[Observation]:
    """The reports of a decoded answer, a list of reports or a single one, in order of time.

    Reports without a time or without any value that can be used are left out;
    of several of a station in the same minute the fullest is kept, one with its
    raw text before one without, the later before the earlier.

    Raises
    ------
    WeatherError
        For an error answer, for what is no report, and for an unknown unit.
    """
    best: dict[tuple[str | None, datetime], Observation] = {}
    for report in _reports(data):
        one = _observation(report)
        if one is None or not one.known:
            continue
        key = (one.station, one.time.replace(second=0, microsecond=0))
        kept = best.get(key)
        if kept is None or _rank(one) >= _rank(kept):
            best[key] = one
    return sorted(best.values(), key=lambda one: (one.time, one.station or ""))


def _rank(one: Observation) -> tuple[bool, int, datetime]:
    return bool(one.raw), one.known, one.time


def _reports(data: object) -> Iterator[Mapping[str, Any]]:
    """The properties of each report."""
    if not isinstance(data, dict):
        raise WeatherError(f"The answer is {shown_type(data)}, not the reports of a station. {MEND}")
    refuse_an_error(data)
    features = data.get("features") if "features" in data else [data]
    if not isinstance(features, list):
        raise WeatherError(f"The reports of the answer (features) are no list. {MEND}")
    for feature in features:
        inner = feature.get("properties") if isinstance(feature, dict) else None
        if not isinstance(inner, dict):
            raise WeatherError(f"The answer holds something that is no report of a station. {MEND}")
        yield inner


def _observation(report: Mapping[str, Any]) -> Observation | None:
    if "timestamp" not in report:
        return None
    values = {house: _value(report.get(name), name, house) for name, house in VARIABLE_MAP.items()}
    raw = report.get("rawMessage")
    raw = raw if isinstance(raw, str) and raw.strip() else None
    if not values["rain_mm"] and raw is not None:
        said = _rain_said(raw)
        values["rain_mm"] = values["rain_mm"] if said is None else said
    station = report.get("station")
    return Observation(
        time=moment(report["timestamp"], "The time of a report"),
        station=station.rpartition("/")[2] if isinstance(station, str) else None,
        raw=raw,
        **values,
    )


def _value(given: object, name: str, house: str) -> float | None:
    """One value in the house's unit; None where it is empty, of bad quality or against nature."""
    if not isinstance(given, dict) or given.get("value") is None:
        return None
    if str(given.get("qualityControl")).rpartition(":")[2] not in GOOD:
        return None
    value, unit = given["value"], unit_of(given.get("unitCode"))
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise WeatherError(f"{name} of a report is {shown_type(value)}, not a number. {MEND}")
    if not isinstance(unit, str) or unit not in UNITS[house]:
        known = ", ".join(UNITS[house])
        raise WeatherError(f"The unit of {name} is '{quoted(unit, 40)}'; understood here: {known}. {MEND}")
    plain = number(value, -1e9, 1e9)
    if plain is None:
        return None
    factor, shift = UNITS[house][unit]
    return number(plain * factor + shift, KINDS[house].low, KINDS[house].high)


def _rain_said(raw: str) -> float | None:
    """Rain in the remarks of a raw report, mm; None where it says none, or several different ones."""
    said = set(_RAIN_GROUP.findall(raw.partition(" RMK ")[2]))
    if len(said) != 1:
        return None
    return int(said.pop()) * MM_PER_HUNDREDTH_INCH
