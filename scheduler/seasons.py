"""The place's past under the yard's own rules: read or asked for, worked out once, kept. An edge.

Thirty years take some seconds, so what came of them lies in ``season.npz`` beside
the kept answers, under the settings that it was worked out with. It can be lost
without harm.
"""

from __future__ import annotations

import hashlib
import io
import json
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from zipfile import BadZipFile

import numpy as np

from scheduler.planning.climate import Climate, climate_of
from scheduler.settings import YardFile, history_numbers, rule_specs
from scheduler.weather.fetch_archive import past_days
from scheduler.weather.fetch_files import write_whole
from scheduler.weather.history import DailyRecord, FirstFreezes, FrostCalendar, first_freezes
from scheduler.weather.history_read import read_history

__all__ = ["THRESHOLDS", "Past", "climate_known", "past_of"]

FILE = "season.npz"
THRESHOLDS = (0.0, -2.0)
VERSION = 2


@dataclass(frozen=True, eq=False)
class Past:
    """What past years say of a yard; ``said`` is what the user should know of the record."""

    record: DailyRecord
    climate: Climate
    freezes: tuple[FirstFreezes, ...]
    said: tuple[str, ...] = ()


def past_of(yard: YardFile, at: datetime, file: Path | None = None, shift_c: float | None = None) -> Past:
    """The place's past from a file of days or hours, else from the archive.

    Parameters
    ----------
    shift_c : what the yard is colder (negative) than the record on clear calm nights; None: the yard file's

    Raises
    ------
    WeatherError
        When neither can be had or read.
    OSError
        When the named file cannot be opened.
    """
    numbers = history_numbers()
    said: list[str] = []
    if file is not None:
        record = read_history(file.read_bytes(), longitude=yard.yard.place.lon)
    else:
        record, note = past_days(
            yard.forecast, yard.yard.place, yard.cache_folder, at, round(numbers["years"])
        )
        said += [note] if note else []
    said += record.notes
    mark = _mark(yard, record)
    climate = _read(yard.cache_folder, mark)
    if climate is None:
        climate = climate_of(record, yard, numbers)
        _write(yard.cache_folder, mark, _settings(yard), climate)
    shift = yard.site.hollow if shift_c is None else shift_c
    freezes = tuple(first_freezes(record, t, climate.calendar, shift_c=shift) for t in THRESHOLDS)
    return Past(record, climate, freezes, tuple(said))


def climate_known(yard: YardFile) -> Climate | None:
    """What was worked out last with the settings of now; None where nothing was."""
    return _read(yard.cache_folder, None, _settings(yard))


# ------------------------------------------------------------------ the file


def _settings(yard: YardFile) -> str:
    """A digest of all that the outcome depends on beside the record."""
    whole = {
        "version": VERSION,
        "place": yard.yard.place.model_dump(),
        "hours": yard.yard.hours,
        "site": yard.site.model_dump(exclude={"learn"}),
        "coating": yard.coating.model_dump(),
        "rules": {name: change.model_dump() for name, change in yard.rules.items()},
        "shipped": {name: spec.model_dump() for name, spec in rule_specs().items()},
        "history": dict(history_numbers()),
    }
    return hashlib.sha256(json.dumps(whole, sort_keys=True, default=str).encode()).hexdigest()


def _mark(yard: YardFile, record: DailyRecord) -> str:
    digest = hashlib.sha256(_settings(yard).encode())
    digest.update(record.first.isoformat().encode())
    for values in (record.min_c, record.max_c, record.rain_mm):
        digest.update(np.ascontiguousarray(values).tobytes())
    return digest.hexdigest()


def _read(folder: Path, mark: str | None, settings: str | None = None) -> Climate | None:
    try:
        with np.load(io.BytesIO((folder / FILE).read_bytes()), allow_pickle=False) as data:
            if mark is not None and str(data["mark"]) != mark:
                return None
            if settings is not None and str(data["settings"]) != settings:
                return None
            starts = tuple(date.fromisoformat(str(day)) for day in data["starts"])
            passed, hours = (np.asarray(data[name], np.float64) for name in ("passed", "hours"))
            if passed.shape != hours.shape or passed.shape[0] != len(starts):
                return None
            return Climate(
                FrostCalendar(int(data["coldest"])),
                starts,
                passed,
                hours,
                int(data["smooth_days"]),
                np.asarray(data["air_c"], np.float64),
                np.asarray(data["humidity"], np.float64),
            )
    except (OSError, ValueError, KeyError, BadZipFile, EOFError):
        return None


def _write(folder: Path, mark: str, settings: str, climate: Climate) -> None:
    data = io.BytesIO()
    np.savez_compressed(
        data,
        mark=np.array(mark),
        settings=np.array(settings),
        coldest=np.array(climate.calendar.coldest),
        starts=np.array([day.isoformat() for day in climate.starts]),
        passed=climate.passed.astype(np.float32),
        hours=climate.hours.astype(np.float32),
        smooth_days=np.array(climate.smooth_days),
        air_c=np.asarray(climate.air_c, np.float32),
        humidity=np.asarray(climate.humidity, np.float32),
    )
    with suppress(OSError):  # worked out anew next time
        folder.mkdir(parents=True, exist_ok=True)
        write_whole(folder / FILE, data.getvalue())
