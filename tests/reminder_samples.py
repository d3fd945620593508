"""Small yards, jobs and spans for the tests of reminders and of the calendar. All invented."""

from __future__ import annotations

from dataclasses import astuple, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from scheduler.planning.jobs import Job
from scheduler.planning.season import Ahead, Range, Season
from scheduler.planning.verdict import Milestone, TimedSpan
from scheduler.reminders.wanted import Derived, Wanted, derive
from scheduler.views.reminder import wanted_text
from scheduler.views.wording import Wording
from scheduler.yard.facts import Coat, End, Log, Moment, Register

BERLIN = ZoneInfo("Europe/Berlin")
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


def local(text: str, zone: ZoneInfo = BERLIN) -> datetime:
    """ "2025-11-03T05:45" on the yard's clock, as UTC."""
    return datetime.fromisoformat(text).replace(tzinfo=zone).astimezone(UTC)


AT = local("2025-11-03T05:45")  # a Monday
TUESDAY_9 = local("2025-11-04T09:00")


def end(name: str = "butt", *, cut: str = "2025-11-01T12:00", entry: int = 1, **facts: Any) -> End:
    return End(name, Moment(local(cut), timedelta(hours=6)), entry, diameter_cm=54.0, **facts)


def log(tag: str = "H01", *ends: End, **facts: Any) -> Log:
    told: dict[str, Any] = {
        "species": "Prunus avium",
        "species_said": "wild cherry",
        "state": "in_yard",
        "felled": Moment(local("2025-10-31T12:00"), timedelta(hours=6)),
        "length_cm": 260.0,
        "entry": 1,
    }
    return Log(tag=tag, ends=ends or (end("butt"), end("top")), **(told | facts))


def register(*logs: Log, at: datetime = AT, **facts: Any) -> Register:
    return Register(at, logs, **facts)


def coat(at: str, entry: int, layer: int = 1) -> Coat:
    return Coat(Moment(local(at)), layer, entry)


def job(kind: str = "first_coat", tag: str = "H01", name: str | None = "butt", **facts: Any) -> Job:
    told: dict[str, Any] = {"due": local("2025-11-01T16:00"), "cause": 1, "why": "bare"}
    return Job(kind, tag, name, **(told | facts))


def span(start: datetime = TUESDAY_9, hours: float = 4.0, chance: float = 0.93, **facts: Any) -> TimedSpan:
    reached = Milestone(
        start + 4.2 * HOUR, start + 9.1 * HOUR, start + 6 * HOUR, start + 28.5 * HOUR, start + 9.1 * HOUR
    )
    told: dict[str, Any] = {
        "start": start,
        "end": start + hours * HOUR,
        "best": start + HOUR,
        "chance": chance,
        "milestones": reached,
        "reasons": (),
    }
    return TimedSpan(**(told | facts))


def moved(of: TimedSpan, by: timedelta, hours: float | None = None) -> TimedSpan:
    """The same span at another time; its milestones go with it."""
    length = of.end - of.start if hours is None else hours * HOUR
    reached = [when and when + by for when in astuple(of.milestones)]
    begin = of.start + by
    return replace(of, start=begin, end=begin + length, best=of.best + by, milestones=Milestone(*reached))


def season(
    last: str | None = "2025-11-22", first: str | None = "2026-03-20", *, all_winter: bool = False
) -> Season:
    """A season with its last day to count on, and the day by which good ones had come again."""
    some, none = Range(1.0, 2.0, 3.0), Ahead(None, None, None)
    day, back = (None if text is None else date.fromisoformat(text) for text in (last, first))
    return Season(
        day=date(2025, 7, 16),
        end=date(2026, 1, 14),
        freezes={},
        days_left=some,
        spans_left=some,
        hours_left=some,
        last_good=none if day is None else Ahead(day, day + 12 * DAY, day + 30 * DAY),
        first_good=none if back is None else Ahead(back - 40 * DAY, back - 20 * DAY, back),
        sure_until=day,
        none_left=0.0,
        years=30,
        all_winter=all_winter,
    )


def wanted(jobs: Any = (), logs: Any = (), spans: Any = (), at: datetime = AT, **options: Any) -> Derived:
    """What ``derive`` answers for them."""
    return derive(list(jobs), register(*(logs or (log(),)), at=at), spans, at, BERLIN, **options)


def said(one: Wanted, language: str = "en", units: Any = "metric", zone: ZoneInfo = BERLIN) -> str:
    """What a reminder says."""
    return wanted_text(one, Wording(zone, units, AT, language))
