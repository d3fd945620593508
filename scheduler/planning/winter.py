"""What is still to be done before winter against the days that are left, and what becomes of the rest. Pure.

Each past year, joined to the forecast, gives so many minutes for the brush (``Season.hours_by_row``). The
ends stand in the order of what a coat keeps; an end fits in a year when those before it and itself do. For
what does not fit there are four ways: under a roof, on the saw before spring, left as long as it is and cut
back in spring, or another coating that bears frost. After common practice; no published source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Literal

import numpy as np

from scheduler.planning.inside import weight_of
from scheduler.planning.jobs import Job
from scheduler.planning.season import Season
from scheduler.planning.worth import EndWorth, Key, Ledger
from scheduler.wood.storage import SawBy
from scheduler.yard.facts import Log, Register

__all__ = ["Fit", "Rest", "Thaw", "Winter", "winter_of"]

Way = Literal["inside", "saw", "leave_long", "other_coating"]


@dataclass(frozen=True, slots=True)
class Fit:
    """A job with the share of years in which there was time for it and for all before it."""

    job: Job
    chance: float


@dataclass(frozen=True, slots=True)
class Rest:
    """A job that does not fit, and the way out for its end.

    ``cm``: what a cut back in spring takes off, (low, middle, high); ``spare_cm``: by how much the log is
    longer than needed, None where nobody said; ``kg`` and ``place`` of a log that goes inside; ``by`` of
    the saw.
    """

    job: Job
    chance: float
    way: Way
    cm: tuple[float, float, float] | None = None
    spare_cm: float | None = None
    kg: float | None = None
    place: str | None = None
    by: datetime | None = None


@dataclass(frozen=True, slots=True)
class Thaw:
    """A day of the forecast with hours for the brush when in most years there is none any more."""

    day: date
    chance: float


@dataclass(frozen=True, eq=False)
class Winter:
    """The season's end, end by end.

    ``long``: tags that the keeper has left long, or that stand; they need nothing. ``spring``: all that wants
    the brush when it begins again, in order. ``minutes`` of work for the brush, ``litres`` of wax.
    """

    fits: tuple[Fit, ...]
    rest: tuple[Rest, ...]
    long: tuple[str, ...]
    spring: tuple[Job, ...]
    thaws: tuple[Thaw, ...]
    minutes: float
    litres: float


def winter_of(
    season: Season,
    jobs: Sequence[Job],
    register: Register,
    worths: Mapping[Key, EndWorth],
    ledger: Ledger | None,
    saw_by: Mapping[str, SawBy],
    *,
    people: float,
    fill: float,
    frame_min: float,
    shelter: str | None = None,
    days: Sequence[tuple[date, float]] = (),
    show_chance: float = 0.3,
) -> Winter:
    """Hold the work against the season.

    Parameters
    ----------
    jobs : in their order, dearest first; only those for the brush count
    people : hands on a usual day; ``fill`` the share of a span that may be filled; ``frame_min`` minutes of
        set-up and clean-up on each day with brush work
    shelter : name of a place with a roof, if there is one
    days : chance of each day of the forecast
    """
    work = [job for job in jobs if job.coats and not job.optional]
    room = np.maximum(season.hours_by_row * 60.0 * fill * people - season.days_by_row * frame_min, 0.0)
    needed = np.cumsum([job.minutes * job.people for job in work])
    chance = [float((room >= minutes).mean()) if room.size else 0.0 for minutes in needed]
    fits, rest = [], []
    for job, share in zip(work, chance, strict=True):
        found = worths.get((job.tag, job.end or "", job.kind))
        if share >= 0.5 and (found is None or found.best_day is not None):
            fits.append(Fit(job, share))
        else:
            rest.append(_way(job, share, register.log(job.tag), found, ledger, saw_by, season, shelter))
    return Winter(
        fits=tuple(fits),
        rest=tuple(rest),
        long=tuple(log.tag for log in register.present if log.left_long or log.state in ("long", "standing")),
        spring=_spring(rest, saw_by),
        thaws=_thaws(season, days, show_chance),
        minutes=float(needed[-1]) if work else 0.0,
        litres=float(sum(job.litres for job in work)),
    )


def _way(
    job: Job,
    chance: float,
    log: Log | None,
    found: EndWorth | None,
    ledger: Ledger | None,
    saw_by: Mapping[str, SawBy],
    season: Season,
    shelter: str | None,
) -> Rest:
    """What to do with an end that gets no coat before winter."""
    trim = 2.5 if ledger is None else ledger.worth["trim"]
    cm = None if found is None else _cut_back(found, trim)
    spare = (
        None if log is None or log.length_cm is None or log.needs_cm is None else log.length_cm - log.needs_cm
    )
    keeps = saw_by.get(job.tag)
    spring = season.first_good.p50
    if keeps is not None and keeps.by is not None and spring is not None and keeps.by.date() <= spring:
        return Rest(job, chance, "saw", cm, spare, by=keeps.by)
    kg = None if log is None or ledger is None else weight_of(log, ledger)
    light = kg is not None and ledger is not None and kg <= ledger.value["lift_machine"]
    if light and shelter is not None and job.place is None:
        return Rest(job, chance, "inside", cm, spare, kg=kg, place=shelter)
    ends = 1 if log is None else max(sum(end.reach for end in log.ends), 1)
    # Without a finished length nobody knows of a spare; a prized log should not pay for the guess.
    short = spare is not None and cm is not None and cm[1] * ends > spare
    if short or (spare is None and job.worth == "prized" and cm is not None and cm[1] >= 2.0 * trim):
        return Rest(job, chance, "other_coating", cm, spare)
    return Rest(job, chance, "leave_long", cm, spare)


def _cut_back(found: EndWorth, trim: float) -> tuple[float, float, float]:
    """What a cut back to clean wood takes off in spring: what has cracked by then, an inch at least."""
    low, middle, high = (so_far + more for so_far, more in zip(found.so_far_cm, found.open_cm, strict=True))
    return max(low, trim), max(middle, trim), max(high, trim)


def _spring(rest: Sequence[Rest], saw_by: Mapping[str, SawBy]) -> tuple[Job, ...]:
    """The order of the restart: what the saw wants soonest first, then as a coat keeps."""
    never = datetime.min.replace(tzinfo=UTC)
    far = max((by.by for by in saw_by.values() if by.by is not None), default=never)

    def key(row: tuple[int, Rest]) -> tuple[bool, datetime, int]:
        by = saw_by.get(row[1].job.tag)
        when = far if by is None or by.by is None else by.by
        return (row[1].way != "saw", when if row[1].way == "saw" else far, row[0])

    stays = [(n, one) for n, one in enumerate(rest) if one.way != "inside"]
    return tuple(one.job for _, one in sorted(stays, key=key))


def _thaws(season: Season, days: Sequence[tuple[date, float]], least: float) -> tuple[Thaw, ...]:
    """Days of the forecast with fair hours although in half the years there is none any more."""
    over = season.last_good.p50
    if season.all_winter or (season.first_good.p50 is not None and season.day >= season.first_good.p50):
        return ()
    return tuple(
        Thaw(day, chance) for day, chance in days if chance >= least and (over is None or day > over)
    )
