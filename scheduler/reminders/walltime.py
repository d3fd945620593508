"""Times on the yard's clock as moments, and the hours in which nothing is sent. Pure.

A wall time that a change of the clocks leaves out stands for the first moment
after the gap; one that comes twice, for the first of the two. So every day has
exactly one moment of each wall time.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo

from scheduler.settings import NoticeTimes, parse_clock, parse_stretch

__all__ = ["Quiet", "due_at", "last_due", "morning_of", "quiet_of"]

MINUTE = timedelta(minutes=1)
DAY = timedelta(days=1)


def due_at(day: date, wall: time, zone: tzinfo) -> datetime:
    """The moment (UTC) at which the yard's clock first shows ``wall`` or more on ``day``."""
    local = datetime.combine(day, wall.replace(fold=0), tzinfo=zone)
    utc = local.astimezone(UTC)
    if utc.astimezone(zone).replace(tzinfo=None) == local.replace(tzinfo=None):
        return utc
    return _end_of_gap(local, zone)


def _end_of_gap(local: datetime, zone: tzinfo) -> datetime:
    """First moment after a gap in which ``local`` would lie.

    Read with the offset before the gap (fold 0) the time lies after it, with
    the offset after the gap (fold 1) before it; between the two the clocks change.
    """
    after, before = local.astimezone(UTC), local.replace(fold=1).astimezone(UTC)
    wall = local.replace(tzinfo=None)
    while after - before > timedelta(seconds=1):
        middle = before + (after - before) / 2
        if middle.astimezone(zone).replace(tzinfo=None) < wall:
            before = middle
        else:
            after = middle
    return after.replace(microsecond=0)


def last_due(at: datetime, wall: time, zone: tzinfo) -> tuple[date, datetime]:
    """The newest day whose ``wall`` is not after ``at``, and its moment."""
    day = at.astimezone(zone).date() + DAY
    while (moment := due_at(day, wall, zone)) > at:
        day -= DAY
    return day, moment


@dataclass(frozen=True, slots=True)
class Quiet:
    """When nothing is sent: ``night`` nothing at all, ``work`` nothing but a wet coat in danger."""

    zone: tzinfo
    night: tuple[time, time] | None = None
    work: tuple[time, time] | None = None

    def free_from(self, at: datetime, *, danger: bool = False) -> datetime:
        """The first moment from ``at`` on at which something may be sent."""
        hours = [h for h in (self.night, None if danger else self.work) if h is not None]
        for _ in range(4):  # from one stretch into the next
            ends = [end for h in hours if (end := self._end(at, h)) is not None]
            if not ends:
                return at
            at = max(ends)
        return at

    def _end(self, at: datetime, hours: tuple[time, time]) -> datetime | None:
        """End of the stretch in which ``at`` lies; None outside it."""
        start, end = hours
        day, begun = last_due(at, start, self.zone)
        over = due_at(day + DAY if end <= start else day, end, self.zone)
        return over if begun <= at < over else None


def quiet_of(times: NoticeTimes, zone: tzinfo) -> Quiet:
    """The quiet hours of a yard file."""
    night = parse_stretch(times.quiet) if times.quiet else None
    work = parse_stretch(times.work) if times.work else None
    return Quiet(zone, night, work)


def morning_of(times: NoticeTimes) -> time:
    """The wall time of the morning notice."""
    return parse_clock(times.morning)
