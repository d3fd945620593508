"""How long a log keeps: stain, decay and beetles by the warmth since felling. Pure.

Each group of woods has two amounts of warmth (``wood/warmth.py``, in °C d): from
``soon`` the log wants the saw, from ``going`` its quality goes off. The amounts
are rules of thumb (config/storage.toml). In frost the clock stands still:
winter-cut logs keep until it warms.

Sealing slows the stain from the ends and no more: warmth counts half while all
ends are sealed, each within a day of its cut, so a sealed log has a date too.
Where the colour of fungi is wanted (spalting) the dates turn round.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from scheduler import clocks
from scheduler.wood.storage_numbers import StainGroup, Storage, genus_of
from scheduler.wood.warmth import Warmth

__all__ = [
    "Rough",
    "SawBy",
    "Stored",
    "insects",
    "look_due",
    "look_every",
    "meant_to_spalt",
    "saw_by",
    "saw_by_all",
    "sealed_since",
]

F = NDArray[np.float64]
DAY = timedelta(days=1)
SAID_DAYS = 0.5  # so many unknown days are worth a word

Stage = Literal["keeps", "saw soon", "going off", "spalting", "coloured", "going soft"]


class Rough(Protocol):
    """A time that may be rough: its middle (UTC) and half the stretch meant."""

    @property
    def time(self) -> datetime:
        """The middle, UTC."""

    @property
    def half(self) -> timedelta:
        """Half the stretch."""


def meant_to_spalt(use: str | None, numbers: Storage) -> bool:
    """Whether a log's use says that the colour of fungi is wanted."""
    return any(word in (use or "").casefold() for word in numbers.spalt_words)


# ------------------------------------------------------------------ saw by


@dataclass(frozen=True, slots=True)
class Stored:
    """What the clock needs of one log.

    ``sealed``: since when all its ends are sealed, each within a day of its cut
    (``sealed_since``), None where they are not; ``opened``: when that ended.
    ``spalt``: the colour of fungi is wanted.
    """

    felled: Rough
    group: StainGroup
    sealed: datetime | None = None
    opened: datetime | None = None
    spalt: bool = False


@dataclass(frozen=True, slots=True)
class SawBy:
    """How long a log keeps. Times in UTC; None: not within what the clock knows.

    ``soon`` and ``going``: when it wants the saw, when its quality goes off (spalting:
    when the colour is there, when the wood goes soft). ``by``: the date to tell, and
    ``warn`` so many days before it as the lead says, never before the felling.
    ``earliest`` and ``latest``: ``by`` if it was felled at the first or last moment meant.
    ``dose_now`` in °C d, sealed days counted half; ``share`` of the dose of ``going``,
    above 1 when past it. ``unknown_days`` since felling count as cold; ``usual_days``
    since felling are the usual year's. ``usual_ahead``: the date lies beyond the
    forecast. ``words``: short sentences for a person, without dates.
    """

    group: str
    stage: Stage
    soon: datetime | None
    going: datetime | None
    by: datetime | None
    warn: datetime | None
    earliest: datetime | None
    latest: datetime | None
    dose_now: float
    share: float
    unknown_days: float
    usual_days: float
    usual_ahead: bool
    words: tuple[str, ...]


def sealed_since(ends: Iterable[tuple[datetime, datetime | None]], numbers: Storage) -> datetime | None:
    """Since when a log counts as sealed; None when an end is open or was coated too long after its cut.

    ``ends``: for every end, reachable or not, its last cut and the first coat that still protects it.
    """
    coats: list[datetime] = []
    for cut, coat in ends:
        if coat is None or coat - cut > numbers.sealed_within * DAY:
            return None
        coats.append(coat)
    return max(coats, default=None)


def saw_by(log: Stored, warmth: Warmth, *, at: datetime, numbers: Storage) -> SawBy:
    """When one log wants the saw, and when its quality goes off."""
    return saw_by_all([log], warmth, at=at, numbers=numbers)[0]


def saw_by_all(
    logs: Sequence[Stored], warmth: Warmth, *, at: datetime, numbers: Storage
) -> tuple[SawBy, ...]:
    """The same for many logs of one place at once."""
    if not logs:
        return ()
    spalt = np.array([log.spalt for log in logs])
    going = np.array([log.group.going for log in logs])
    soon = np.where(spalt, going * numbers.colour, [log.group.soon for log in logs])
    going = np.where(spalt, going * numbers.soft, going)
    limits = np.array([[log.group.soon_days, log.group.going_days] for log in logs])
    limits[spalt] = np.inf
    wanted = np.where(spalt, going, soon)
    own = np.where(spalt, limits[:, 1], limits[:, 0])
    middle, first, last = (_Dosed.of(logs, warmth, numbers, way) for way in (0, -1, 1))
    soon_day = np.minimum(middle.reach(soon), middle.felled + limits[:, 0])
    going_day = np.minimum(middle.reach(going), middle.felled + limits[:, 1])
    early = np.minimum(first.reach(wanted), first.felled + own)
    late = np.minimum(last.reach(wanted), last.felled + own)
    now = middle.dose(np.full(len(logs), warmth.day_of(at)))
    return tuple(
        _told(log, warmth, at, numbers, _When(*map(float, days)), float(dose), float(full))
        for log, days, dose, full in zip(
            logs, zip(soon_day, going_day, early, late, strict=True), now, going, strict=True
        )
    )


@dataclass(frozen=True, slots=True)
class _When:
    """Days on the clock, inf: never."""

    soon: float
    going: float
    earliest: float
    latest: float


@dataclass(frozen=True, eq=False)
class _Dosed:
    """Clocks of logs on the clock of their place: full until sealed, a share of it until opened, then full.

    All (logs,): days on the clock.
    """

    warmth: Warmth
    share: float
    felled: F
    sealed: F
    opened: F

    @classmethod
    def of(cls, logs: Sequence[Stored], warmth: Warmth, numbers: Storage, way: int) -> _Dosed:
        """``way``: felled at the middle (0), the first (-1) or the last (1) moment meant."""

        def day(when: datetime | None) -> float:
            return np.inf if when is None else warmth.day_of(when)

        felled = np.array([day(log.felled.time + way * log.felled.half) for log in logs])
        sealed = np.maximum([day(log.sealed) for log in logs], felled)
        opened = np.maximum([day(log.opened) for log in logs], sealed)
        return cls(warmth, numbers.sealed_share, felled, sealed, opened)

    def _at(self, days: F) -> F:
        return np.asarray(clocks.at(self.warmth.dose, days[None, :])[0])

    def dose(self, days: F) -> F:
        """What each log has had by a day, °C d."""
        under = self._at(np.minimum(days, self.opened)) - self._at(np.minimum(days, self.sealed))
        full = self._at(days) - self._at(self.felled) - (1.0 - self.share) * under
        return np.asarray(np.where(days > self.felled, full, 0.0))

    def reach(self, target: F) -> F:
        """The day on which each log has had its target; inf where the clock ends first."""
        begin, seal, open_ = self._at(self.felled), self._at(self.sealed), self._at(self.opened)
        bare, under = seal - begin, self.share * (open_ - seal)
        wanted = np.where(
            target <= bare,
            begin + target,
            np.where(
                target <= bare + under,
                seal + (target - bare) / self.share,
                open_ + target - bare - under,
            ),
        )
        return np.asarray(clocks.reach(self.warmth.dose, wanted[None, :])[0])


def _told(
    log: Stored, warmth: Warmth, at: datetime, numbers: Storage, days: _When, dose: float, full: float
) -> SawBy:
    now, felled = warmth.day_of(at), warmth.day_of(log.felled.time)
    by = days.going if log.spalt else days.soon
    end = max(now, min(by, float(warmth.days)))
    unknown = warmth.unknown_between(felled, end)
    guessed = warmth.between(warmth.usual, felled, now)
    stage = _stage(log.spalt, now, days)
    words = (
        *_why(log, stage),
        *_standing(log, warmth, now, by, numbers),
        *(("rough, as the day of felling is",) if log.felled.half >= DAY else ()),
        *_unsure(warmth, unknown, guessed, by, numbers),
    )
    return SawBy(
        group=log.group.says,
        stage=stage,
        soon=warmth.time_at(days.soon),
        going=warmth.time_at(days.going),
        by=warmth.time_at(by),
        warn=warmth.time_at(max(by - numbers.lead, felled)),
        earliest=warmth.time_at(days.earliest),
        latest=warmth.time_at(days.latest),
        dose_now=dose,
        share=dose / full,
        unknown_days=unknown,
        usual_days=guessed,
        usual_ahead=bool(np.isfinite(by)) and by > warmth.day_of(warmth.known_until),
        words=words,
    )


def _stage(spalt: bool, now: float, days: _When) -> Stage:
    """A date that is not known is not passed."""
    passed = int(now >= days.soon) + int(now >= days.going)
    if spalt:
        return ("spalting", "coloured", "going soft")[passed]
    return ("keeps", "saw soon", "going off")[passed]


def _why(log: Stored, stage: Stage) -> tuple[str, ...]:
    if log.spalt:
        return (
            {
                "coloured": "meant to spalt: the colour should be there, look at it and saw",
                "going soft": "meant to spalt: by now it goes soft, saw what is still hard",
            }.get(stage, "meant to spalt: leave it damp and shaded, warmth brings the colour"),
        )
    told = {"saw soon": ("it has had its warmth: saw soon",), "going off": ("going off: saw it next",)}
    sealed = log.sealed is not None and log.opened is None
    return (
        *told.get(stage, ()),
        log.group.note,
        *(("sealed, but not kept: wax slows the stain from the ends only",) if sealed else ()),
    )


def _standing(log: Stored, warmth: Warmth, now: float, by: float, numbers: Storage) -> tuple[str, ...]:
    """That the clock stands still: by the days ahead, as far as any are known."""
    if by <= now or np.isfinite(log.group.soon_days):
        return ()
    until = min(now + numbers.lead, float(warmth.days))
    known = until - now - warmth.unknown_between(now, until)
    if known <= 0.0 or warmth.between(warmth.dose, now, until) / known >= numbers.still:
        return ()
    if log.spalt:
        return ("cold: no colour before it warms",)
    return ("cold, so it keeps: not before it warms",)


def _unsure(warmth: Warmth, unknown: float, guessed: float, by: float, numbers: Storage) -> tuple[str, ...]:
    said: list[str] = []
    if unknown >= SAID_DAYS:
        said.append(f"the warmth of {_days_said(unknown)} is not known and counts as cold: it may be sooner")
    if guessed >= SAID_DAYS:
        said.append(f"for {_days_said(guessed)} since the felling the usual warmth of the place was taken")
    if not np.isfinite(by):
        said.append(
            f"no date within {numbers.years_ahead} years: too little warmth here for this wood"
            if warmth.with_usual_year
            else "no date: it lies beyond the days whose warmth is known"
        )
    elif by > warmth.day_of(warmth.known_until) and warmth.with_usual_year:
        said.append("the date goes by the usual year, a warm spell brings it forward")
    return tuple(said)


def _days_said(days: float) -> str:
    return "1 day" if round(days) <= 1 else f"{round(days)} days"


# ------------------------------------------------------------------ beetles and looks


def insects(
    botanical: str, group: StainGroup, *, dose: float, week_c: float | None, numbers: Storage
) -> str | None:
    """What beetles may do to a log now, in words (common practice, no source); None in their off season.

    Parameters
    ----------
    dose
        Warm dose since felling, °C d, not lessened by sealing: wax keeps no beetle out.
    week_c
        Mean air of the last week, °C; None: not known, nothing is said.
    """
    if week_c is None or week_c < numbers.fly_above:
        return None
    early = genus_of(botanical) in numbers.early
    if not early and dose < numbers.beetles_after:
        return None
    first = numbers.early_words if early and dose < numbers.beetles_after else group.insects
    return f"{first}: {numbers.signs}; {numbers.wax}"


def look_every(mean_c: float | None, numbers: Storage) -> timedelta | None:
    """Days between looks at a mean air; None in frost. Warmth that is not known counts as cool."""
    if mean_c is not None and mean_c <= numbers.frozen_below:
        return None
    return (numbers.warm_days if mean_c is not None and mean_c > numbers.base else numbers.cool_days) * DAY


def look_due(last: datetime, warmth: Warmth, numbers: Storage) -> datetime | None:
    """When the next look is due: by the warmth of the days since the last, or at a thaw if that is sooner.

    Days beyond the clock count as cool. None: frost as far as the clock goes on
    with a usual year.
    """
    mean, at = warmth.mean_c, warmth.day_of(last)
    pace = np.where(mean > numbers.base, 1.0 / numbers.warm_days, 1.0 / numbers.cool_days)
    frozen = mean <= numbers.frozen_below  # unknown is neither warm nor frozen
    totals = clocks.total(np.where(frozen, 0.0, pace)[None, :], 1.0)
    before = max(-at, 0.0) / numbers.cool_days  # looked at before the clock begins
    had = float(clocks.at(totals, np.array([[at]]))[0, 0])
    due = float(clocks.reach(totals, np.array([[had + max(1.0 - before, 0.0)]]))[0, 0])
    if np.isinf(due) and not warmth.with_usual_year:
        rest = 1.0 - before - (float(totals[0, -1]) - had)
        due = max(warmth.days, at) + rest * numbers.cool_days
    return warmth.time_at(_thaw(frozen, mean, at, due, numbers))


def _thaw(frozen: NDArray[np.bool_], mean: F, at: float, due: float, numbers: Storage) -> float:
    """First day after ``at`` that is not frozen and follows a long frost; ``due`` where none comes first."""
    run = 0
    for day in range(max(int(np.floor(at)) - int(numbers.thaw_after), 0), int(min(due, mean.size))):
        if frozen[day]:
            run += 1
            continue
        if run >= numbers.thaw_after and day > at and np.isfinite(mean[day]):
            return float(day)
        run = 0
    return due
