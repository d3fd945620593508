"""What was learned of the yard's own place: kept forecasts compared with what was read and seen there.

An edge: reads kept answers and keeps its comparisons in ``learned.json``
beside them. That file can be lost without harm: it is made anew from the
register and the kept answers.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.looks import Drying, Grid, Learned, Watched, dry_hours, learn_drying, watched_coats
from scheduler.planning.outlook import Outlook
from scheduler.settings import YardFile, doubt, learning, physics
from scheduler.weather.fetch import kept_before, place_key, weather_of
from scheduler.weather.fetch_files import write_whole
from scheduler.weather.members import Beliefs
from scheduler.weather.nights import Night, NightForecast, Offset, learn_offset, night_forecast, night_of
from scheduler.weather.series import WeatherError
from scheduler.yard.facts import Register

__all__ = ["asked_before", "coats_compared", "learn", "learned", "remember_asked"]

F = NDArray[np.float64]
FILE = "learned.json"
VERSION = 1
KEPT_QUESTIONS = 50
Past = Callable[[datetime], Outlook | None]


@dataclass(frozen=True, slots=True)
class _Told:
    """What was told of a night, and what had been forecast (None: no kept answer knows)."""

    low_c: float | None = None
    frost: bool | None = None
    forecast: NightForecast | None = None


@dataclass(slots=True)
class _Notes:
    """The file: nights, coats with their hours until dry on the grid, and the questions that were put."""

    nights: dict[date, _Told] = field(default_factory=dict)
    coats: dict[str, tuple[Watched, F]] = field(default_factory=dict)
    asked: dict[str, str] = field(default_factory=dict)


def learned(yard: YardFile, at: datetime) -> Learned:
    """What had been learned by ``at`` from comparisons already made; reads one small file."""
    if not yard.site.learn:
        return Learned(refused=True)
    return _settled(yard, _read(yard), at)


def coats_compared(yard: YardFile) -> list[tuple[Watched, F]]:
    """Coats that were looked at, with their hours until dry on the grid, as last put down."""
    return list(_read(yard).coats.values())


def learn(
    yard: YardFile, register: Register, at: datetime, *, past: Past | None = None, most: int = 1000
) -> Learned:
    """Compare what is new in the register, keep it, and give what is held now.

    Parameters
    ----------
    past
        Gives the outlook whose hours reach back to a time, for coats; None leaves new coats for later.
    most
        How many nights are looked up in kept answers at once; each takes some milliseconds.
    """
    if not yard.site.learn:
        return Learned(refused=True)
    notes = _read(yard)
    before = _text(yard, notes)
    _compare_nights(yard, register, notes, most, at)
    _compare_coats(register, notes, past)
    if _text(yard, notes) != before:
        _write(yard, notes)
    return _settled(yard, notes, at)


# ------------------------------------------------------------------ comparing


def _compare_nights(yard: YardFile, register: Register, notes: _Notes, most: int, at: datetime) -> None:
    """Every night with a reading beside the newest forecast from before it."""
    evening = learning()["offset"]["evening"]
    told: dict[date, _Told] = {}
    for when, low in register.minima_seen:
        told[night_of(when, yard.zone, evening)] = _Told(low_c=low)
    for when, frost in register.frost_seen:
        told.setdefault(night_of(when, yard.zone, evening), _Told(frost=frost))
    known = notes.nights
    notes.nights = {}
    for morning in sorted(told, reverse=True):
        forecast = known[morning].forecast if morning in known else None
        if forecast is None and most > 0:
            most -= 1
            forecast = _forecast_then(yard, morning, at)
        notes.nights[morning] = replace(told[morning], forecast=forecast)


def _forecast_then(yard: YardFile, morning: date, at: datetime) -> NightForecast | None:
    numbers = learning()["offset"]
    evening = datetime.combine(morning - timedelta(days=1), time(int(numbers["evening"])), yard.zone)
    answer = kept_before(yard.cache_folder, min(evening, at).astimezone(UTC))
    if answer is None:
        return None
    place = yard.yard.place
    try:
        weather = weather_of(answer, place, names=yard.forecast.names)
    except WeatherError:
        return None
    return night_forecast(
        weather,
        morning,
        zone=yard.zone,
        latitude=place.lat,
        longitude=place.lon,
        physics=physics(),
        doubt=doubt(),
        numbers=numbers,
    )


def _compare_coats(register: Register, notes: _Notes, past: Past | None) -> None:
    """Every coat that was looked at, run again through the weather it had."""
    coats = watched_coats(register)
    fresh = [coat for coat in coats if coat.key not in notes.coats]
    notes.coats = {coat.key: notes.coats[coat.key] for coat in coats if coat.key in notes.coats}
    if not fresh or past is None:
        return
    outlook = past(min(coat.start for coat in fresh))
    if outlook is None:
        return
    found = dry_hours(outlook, fresh, Grid.of(learning()["drying"]))
    notes.coats |= {coat.key: (coat, found[coat.key]) for coat in fresh if coat.key in found}


# ------------------------------------------------------------------ concluding


def _settled(yard: YardFile, notes: _Notes, at: datetime) -> Learned:
    offset = _offset(yard, notes, at)
    drying = _drying(notes, at)
    numbers = learning()
    beliefs = Beliefs(hollow_c=yard.site.hollow)
    if offset is not None and offset.nights >= numbers["offset"]["least_nights"]:
        beliefs = replace(
            beliefs,
            hollow_c=offset.hollow_c,
            hollow_sd=offset.hollow_sd,
            air_c=offset.air_c,
            air_sd=offset.air_sd,
        )
    if drying is not None and drying.coats >= numbers["drying"]["least_looks"]:
        beliefs = replace(
            beliefs,
            drying_log=drying.log_factor,
            drying_sd=drying.log_sd,
            film_k=drying.film_k,
            film_sd=drying.film_sd,
        )
    used = beliefs != Beliefs(hollow_c=yard.site.hollow)
    return Learned(offset, drying, beliefs if used else None)


def _offset(yard: YardFile, notes: _Notes, at: datetime) -> Offset | None:
    today = at.astimezone(yard.zone).date()
    nights = [
        Night(morning, told.forecast, told.low_c, told.frost)
        for morning, told in notes.nights.items()
        if told.forecast is not None and morning <= today
    ]
    return learn_offset(nights, yard.site.hollow, learning()["offset"], doubt()) if nights else None


def _drying(notes: _Notes, at: datetime) -> Drying | None:
    numbers = learning()["drying"]
    grid = Grid.of(numbers)
    coats = [
        (coat, hours)
        for coat, hours in notes.coats.values()
        if coat.looked <= at and hours.size == grid.log_drying.size
    ]
    return learn_drying(coats, grid, numbers, doubt()["film"]["sd"]) if coats else None


# ------------------------------------------------------------------ questions


def asked_before(yard: YardFile, key: str, at: datetime) -> bool:
    """Whether a question was put on another day already: without an answer it is not put again."""
    day = _read(yard).asked.get(key)
    return day is not None and day != at.astimezone(yard.zone).date().isoformat()


def remember_asked(yard: YardFile, key: str, at: datetime) -> None:
    """Write down that a question was put; where the folder cannot be written it may be put again."""
    notes = _read(yard)
    day = at.astimezone(yard.zone).date().isoformat()
    if notes.asked.get(key) != day:
        notes.asked[key] = day
        notes.asked = dict(list(notes.asked.items())[-KEPT_QUESTIONS:])
        _write(yard, notes)


# ------------------------------------------------------------------ the file


def _read(yard: YardFile) -> _Notes:
    """The file's content; empty where there is none, it is damaged, or it is of another place."""
    with suppress(OSError, ValueError, KeyError, TypeError, AttributeError):
        data = json.loads((yard.cache_folder / FILE).read_text(encoding="utf-8"))
        if data["version"] == VERSION and data["place"] == _place(yard):
            return _Notes(
                {date.fromisoformat(day): _told_of(one) for day, one in data["nights"].items()},
                {coat.key: (coat, hours) for coat, hours in map(_coat_of, data["coats"])},
                {str(key): str(day) for key, day in data["asked"].items()},
            )
    return _Notes()


def _told_of(data: dict[str, Any]) -> _Told:
    low, forecast = data["low_c"], data["forecast"]
    return _Told(
        None if low is None else float(low),
        None if data["frost"] is None else bool(data["frost"]),
        None if forecast is None else NightForecast(*(float(x) for x in forecast)),
    )


def _coat_of(data: dict[str, Any]) -> tuple[Watched, F]:
    coat = Watched(
        data["place"],
        bool(data["roofed"]),
        bool(data["second"]),
        datetime.fromisoformat(data["start"]),
        float(data["milky_h"]),
        None if data["clear_h"] is None else float(data["clear_h"]),
    )
    return coat, np.array([np.inf if h is None else float(h) for h in data["hours"]], np.float64)


def _place(yard: YardFile) -> str:
    return f"{yard.yard.key} {place_key(yard.yard.place)}"


def _text(yard: YardFile, notes: _Notes) -> str:
    whole = {
        "version": VERSION,
        "place": _place(yard),
        "nights": {day.isoformat(): _told_json(told) for day, told in sorted(notes.nights.items())},
        "coats": [_coat_json(coat, hours) for coat, hours in notes.coats.values()],
        "asked": notes.asked,
    }
    return json.dumps(whole, ensure_ascii=False, indent=1)


def _told_json(told: _Told) -> dict[str, Any]:
    f = told.forecast
    said = None if f is None else [round(x, 3) for x in (f.low_c, f.still, f.lead_days)]
    return {"low_c": told.low_c, "frost": told.frost, "forecast": said}


def _coat_json(coat: Watched, hours: F) -> dict[str, Any]:
    return {
        "place": coat.place,
        "roofed": coat.roofed,
        "second": coat.second,
        "start": coat.start.astimezone(UTC).isoformat(),
        "milky_h": coat.milky_h,
        "clear_h": coat.clear_h,
        "hours": [round(float(h), 2) if np.isfinite(h) else None for h in hours],
    }


def _write(yard: YardFile, notes: _Notes) -> None:
    with suppress(OSError):  # made anew next time
        yard.cache_folder.mkdir(parents=True, exist_ok=True)
        write_whole(yard.cache_folder / FILE, _text(yard, notes).encode("utf-8"))
