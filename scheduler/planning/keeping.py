"""How long each log keeps, and when it wants the next look: stain, decay and beetles by warmth. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.normals import Normals
from scheduler.settings import Species, storage_table
from scheduler.weather.history import DailyRecord
from scheduler.weather.series import Weather
from scheduler.wood.species import careful
from scheduler.wood.storage import (
    SawBy,
    Stored,
    insects,
    look_due,
    meant_to_spalt,
    saw_by_all,
    sealed_since,
)
from scheduler.wood.storage_numbers import Storage
from scheduler.wood.warmth import Warmth, warmth_of
from scheduler.yard.facts import Log, Moment, Register

__all__ = ["Keeping", "keeping_of", "usual_days"]

F = NDArray[np.float64]
DAY = timedelta(days=1)
LEAP_YEAR = datetime(2024, 1, 1, tzinfo=UTC)


@lru_cache(maxsize=1)
def _numbers() -> Storage:
    return Storage.of(storage_table())


@dataclass(frozen=True, eq=False)
class Keeping:
    """What warmth has done to the logs: when each wants the saw, by tag, and what beetles may do now."""

    warmth: Warmth
    saw_by: Mapping[str, SawBy]
    beetles: Mapping[str, str]

    def next_look(self, last: datetime) -> datetime | None:
        """When the look after one is due; None: frost as far as is known."""
        return look_due(last, self.warmth, _numbers())


def usual_days(normals: Normals) -> F:
    """Usual mean air of every day of the year, (366,)."""
    air, _ = normals.hours(LEAP_YEAR, 366 * 24)
    return np.asarray(air.reshape(366, 24).mean(axis=1))


def keeping_of(
    register: Register,
    table: Mapping[str, Species],
    at: datetime,
    pieces: Iterable[Weather | DailyRecord],
    usual_c: F | None,
    utc_offset_h: float,
) -> Keeping:
    """The warmth since felling of every log that lies in the yard, and what follows from it.

    Parameters
    ----------
    pieces : hours the yard has had, the forecast, days of a record, in the order of trust
    usual_c : usual mean air by day of the year, (366,); None: the clock stops at what is known
    """
    numbers = _numbers()
    logs = [log for log in register.present if log.state == "in_yard" and log.sawn is None]
    since = min([at, *(_felled(log).first for log in logs)])
    warmth = warmth_of(
        pieces, since=since, at=at, numbers=numbers, utc_offset_h=utc_offset_h, usual_c=usual_c
    )
    unknown = careful(table)
    stored = [_stored(log, table.get(log.species or "", unknown), numbers) for log in logs]
    found = saw_by_all(stored, warmth, at=at, numbers=numbers)
    week = warmth.mean_between(at - 7 * DAY, at)
    beetles = {}
    for log, one in zip(logs, stored, strict=True):
        dose = warmth.dose_between(one.felled.time, at)
        words = insects(log.species or "", one.group, dose=dose, week_c=week, numbers=numbers)
        if words is not None:
            beetles[log.tag] = words
    return Keeping(warmth, {log.tag: one for log, one in zip(logs, found, strict=True)}, beetles)


def _felled(log: Log) -> Moment:
    """When a log was felled; where nobody said, its first cut stands for it."""
    if log.felled is not None:
        return log.felled
    return min((end.cut for end in log.ends), key=lambda cut: cut.time, default=Moment(log_time(log)))


def log_time(log: Log) -> datetime:
    """A time for a log of which none is told; it has no end either, so nothing rests on it."""
    return log.expected.time if log.expected is not None else LEAP_YEAR


def _stored(log: Log, wood: Species, numbers: Storage) -> Stored:
    ends = []
    for end in log.ends:
        sound = [coat.moment.time for coat in end.coats if not coat.spoiled and not coat.part]
        ends.append((end.cut.time, min(sound, default=None)))
    return Stored(
        felled=_felled(log),
        group=numbers.group_of(wood.botanical, wood.group),
        sealed=sealed_since(ends, numbers),
        spalt=meant_to_spalt(log.use, numbers),
    )
