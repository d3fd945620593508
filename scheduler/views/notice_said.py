"""What all notices are made from, and how few lines they keep to. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import pairwise

from scheduler.planning.jobs import Job
from scheduler.planning.verdict import TimedSpan
from scheduler.reminders.outgoing import ToldNotice, pauses
from scheduler.reminders.walltime import Quiet, quiet_of
from scheduler.reminders.wanted import KINDS, Wanted
from scheduler.settings import NoticeTimes
from scheduler.views.today import MOST_LINES, Briefing, by_log, short_wood
from scheduler.views.wording import Wording
from scheduler.yard.reminder_row import ReminderRow

__all__ = [
    "FIRST_LINE",
    "Notice",
    "Occasion",
    "asked_tags",
    "brushing",
    "hours_of",
    "jobs_line",
    "kept_short",
    "key_of",
    "named",
    "pail_rings",
    "wet_tags",
]

FIRST_LINE = 60  # characters that a locked phone shows
LONGEST = 150  # a line that two were joined to
BRUSH_KINDS = ("seal", "touch_up", "second_coat")  # reminders whose day is that of a span
AGAIN = (
    "seal",
    "touch_up",
)  # told on every day that is good for them; all others once, then they wait in the list
BRUSH = ("seal", "touch_and_go")


@dataclass(frozen=True, slots=True)
class Notice:
    """What is put to a person. ``alone``: it rings by itself; else reminders ride in it."""

    kind: str
    key: str  # the same notice has the same key, however often it is made
    action: str  # what the person would do; another one makes it news
    subject: str
    lines: Sequence[str]  # at most five, the first is the subject
    due: datetime
    expires: datetime
    alone: bool = False
    reminder_keys: Sequence[str] = ()


@dataclass(frozen=True, eq=False)
class Occasion:
    """All that notices are derived from, at one moment.

    ``items`` are the reminders wanted now, ``rows`` those that are kept (by key), ``told``
    the notices of the last weeks (by key). ``answers``: a line that says how to
    answer goes with every notice that carries reminders, so they have a line less.
    """

    b: Briefing
    w: Wording
    times: NoticeTimes
    items: Sequence[Wanted] = ()
    rows: Mapping[str, ReminderRow] = field(default_factory=dict)
    told: Mapping[str, ToldNotice] = field(default_factory=dict)
    linked: bool = False  # a link goes with every notice

    @property
    def at(self) -> datetime:
        """Now."""
        return self.b.morning.at

    @property
    def day(self) -> date:
        """The civil day in the yard."""
        return self.w.day_of(self.at)

    @property
    def quiet(self) -> Quiet:
        """The hours in which nothing is sent."""
        return quiet_of(self.times, self.w.zone)

    @property
    def away(self) -> bool:
        """Whether the keeper is away, so that all but the pail rests."""
        until = self.b.register.away_until
        return until is not None and until > self.at

    @property
    def sun(self) -> tuple[datetime, datetime] | None:
        """Sunrise and sunset of today."""
        return next((sun for sun in self.b.suns if self.w.day_of(sun[0]) == self.day), None)

    def rests(self, key: str) -> bool:
        """Whether a person ended this reminder or put it off."""
        row = self.rows.get(key)
        if row is None:
            return False
        by_keeper = row.state in ("done", "dropped") and row.payload.get("closed") not in ("entries", "past")
        return by_keeper or (row.later_until is not None and row.later_until > self.at)

    def was_told(self, key: str) -> bool:
        """Whether a reminder rode in a notice that left; a second coat counts whatever its day was then."""
        row = self.rows.get(key)
        if row is not None and row.kind == "second_coat":
            return any(key in one.reminders for one in self.told.values() if one.sent)
        return row is not None and row.state == "sent"

    def riding(self) -> list[Wanted]:
        """The reminders that ride in this day's notices; what is told once rides till it was told."""
        found = [one for one in self.items if self._rides(one)]
        return sorted(found, key=lambda one: (one.kind in AGAIN, one.payload.get("order", 0), one.key))

    def _rides(self, one: Wanted) -> bool:
        if one.kind in ("span", "season") or pail_rings(one.kind) or self.rests(one.key):
            return False
        today, day = self.day.isoformat(), one.payload.get("day")
        if one.kind in BRUSH_KINDS:
            good = day == today and brushing(self.b) is not None
            return good and (one.kind in AGAIN or not self.was_told(one.key))
        due = day if isinstance(day, str) else self.w.day_of(one.due).isoformat()
        return due <= today and not self.was_told(one.key)

    def work(self) -> list[Job]:
        """The coats and cuts that are due and that nobody put off; of second coats, those not told yet."""
        return [
            job
            for job in self.b.morning.due
            if not self.rests(key_of(job)) and not (job.kind == "second_coat" and self.was_told(key_of(job)))
        ]

    def room(self, riding: Sequence[object] = ()) -> int:
        """How many lines a notice may have before the one that says how to answer."""
        return MOST_LINES - 1 if riding or self.linked else MOST_LINES

    def before(self, kinds: Sequence[str], days: int) -> list[ToldNotice]:
        """Notices of those kinds told on the days before this one, the newest last."""
        since = self.at - timedelta(days=days)
        found = [one for one in self.told.values() if one.kind in kinds and since <= one.at <= self.at]
        return sorted((one for one in found if self.w.day_of(one.at) < self.day), key=lambda one: one.at)


def key_of(job: Job) -> str:
    """The key of a job's reminder."""
    kind = KINDS.get(job.kind, job.kind)
    return "/".join((kind, job.tag, job.end or "", str(job.cause), str(job.ordinal)))


def pail_rings(kind: str) -> bool:
    """Whether a reminder of that kind rings alone: frost for the pail."""
    return kind == "pail" or (not pauses(kind) and "frost" in kind)


def asked_tags(jobs: Sequence[Job]) -> list[str]:
    """Tags of some jobs, each once, in their order."""
    return list(dict.fromkeys(job.tag for job in jobs))


def wet_tags(b: Briefing) -> list[str]:
    """Logs with a milky end, each once."""
    return list(dict.fromkeys(tag for tag, _ in b.morning.wet))


def brushing(b: Briefing) -> TimedSpan | None:
    """The hours of today in which the due work can be done; None where there are none."""
    return b.morning.work.span if b.morning.verdict in BRUSH else None


def hours_of(span: TimedSpan) -> tuple[datetime, datetime]:
    """The hours that a person is told: those with the chance of a plain yes, else the whole span."""
    if span.sure_from is not None and span.sure_until is not None and span.sure_until > span.sure_from:
        return span.sure_from, span.sure_until
    return span.start, span.end


def named(tags: Sequence[str], w: Wording, most: int = 3) -> str:
    """ "H01, H03 and 4 more"."""
    if len(tags) <= most:
        return w.join(list(tags))
    return w.words.say("notice.and_more", logs=", ".join(tags[:most]), count=len(tags) - most)


def jobs_line(
    b: Briefing, w: Wording, jobs: Sequence[Job], key: str, *, left: int = 0, most: int = 3
) -> str | None:
    """ "Do first: H01 cherry, coat; and 6 more ends." ``left``: ends beside those of ``jobs``."""
    rows = by_log(jobs)
    if not rows:
        return None
    say = w.words.say
    parts = [
        say("notice.job", tag=job.tag, wood=short_wood(b, w, job.tag), job=w.job(job))
        for job, _ in rows[:most]
    ]
    left += sum(max(len(ends), 1) for _, ends in rows[most:])
    more = say("notice.more_one" if left == 1 else "notice.more_ends", count=left) if left else ""
    return say(key, jobs="; ".join(parts), more=more)


def kept_short(lines: Sequence[tuple[int, str | None]], room: int) -> list[str]:
    """At most ``room`` of the lines, given with their weight.

    Short neighbours are joined first (never with the first line), then the lightest are left out.
    """
    kept = [(weight, text) for weight, text in lines if text]
    while len(kept) > room:
        pairs = [(len(a[1]) + len(b[1]), n) for n, (a, b) in enumerate(pairwise(kept)) if n]
        length, n = min(pairs, default=(LONGEST, 0))
        if length < LONGEST:
            (weight, first), (other, second) = kept[n : n + 2]
            kept[n : n + 2] = [(max(weight, other), f"{first} {second}")]
        else:
            kept.remove(min(kept, key=lambda row: row[0]))
    return [text for _, text in kept]
