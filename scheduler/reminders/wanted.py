"""The reminders a yard wants: derived from its jobs, its register, the spans ahead and the clock.

Pure. What is due follows from when each log was felled and each end was cut or
coated (``Job.due``); the day on which it is put to the person follows from the
spans.

No sentence is made or kept here: a reminder holds codes and values, and
``views/reminder.py`` says them when they are read. So a yard that changes its
language writes nothing, no entry of a calendar gets another UID or SEQUENCE, and
what was called off before the change reads like all else. A row of an older
version holds its sentence in ``text`` and is shown by that.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from scheduler.planning.jobs import Job
    from scheduler.planning.verdict import Milestone, TimedSpan
    from scheduler.yard.facts import End, Log, Moment, Register

__all__ = ["MOST_LINES", "ROOFED", "Derived", "Wanted", "action_of", "derive"]

MOST_LINES = 5  # of a list that a person reads; then "and 6 more"
SAW_AHEAD = timedelta(days=14)  # a date of the saw becomes a reminder so long before its warning
MINUTE = timedelta(minutes=1)
HALF_HOUR = timedelta(minutes=30)
ROUGH = timedelta(hours=18)  # a time known no better than this is told as "about"
MILESTONES = ("touch_dry", "rain_safe", "frost_safe", "dry")
KINDS = {"first_coat": "seal", "cut_and_coat": "seal"}  # all other jobs keep their name
ROOFED = "under a roof"  # what stands for the place of a span for wood that was roofed by hand
# As actions were kept before they were codes; such a row is the same reminder, its sequence stays.
OLD_ACTIONS = {
    "fresh cut and first coat": "cut_and_coat",
    "touch up the skips": "touch_up",
    "saw it, don't coat": "saw",
    "saw it soon, before it stains": "saw_by",
    "the last day to count on for the brush": "last",
    "the brush can come out again": "first",
}

Covered = Mapping[tuple[str | None, bool], Sequence["TimedSpan"]]


@dataclass(frozen=True, slots=True)
class Wanted:
    """One reminder as it should be now.

    ``payload`` holds what JSON can hold. Of every kind: ``day`` (ISO date in the
    yard, or None: no day is in sight). Of a span: ``start``, ``end`` (UTC),
    ``brush_start``, ``brush_end`` (what a person is told: the part with the
    chance of a plain yes, where there is one), ``in_ten``, ``milestones``,
    ``work`` (by log: ``tag``, ``species`` or ``wood``, ``ends``, ``action``, ``two``).
    Of a job: ``action`` (its kind), ``species`` or ``wood`` (what a person calls
    it), ``count``, ``order``, ``why`` and ``hint`` (English, see ``Words.told``),
    ``felled``, ``cut``, ``coated`` (each ``day``, ``rough``, ``assumed``).
    """

    kind: str  # seal, second_coat, touch_up, look, saw, saw_by, span, season
    tag: str  # empty for a span
    end: str  # empty for a span or a log as a whole
    cause: int  # number of the entry that causes it
    ordinal: int  # first, second ... look; of a span it is given when it is kept
    due: datetime  # UTC; of a span when to begin
    payload: Mapping[str, Any] = field(default_factory=dict, hash=False)

    @property
    def key(self) -> str:
        """What makes it the same reminder tomorrow, whatever its time: unique in its yard."""
        return "/".join((self.kind, self.tag, self.end, str(self.cause), str(self.ordinal)))


@dataclass(frozen=True, slots=True)
class Derived:
    """All reminders wanted at one moment, and what is needed to tell done from withdrawn.

    ``today`` is the civil day in the yard. ``known_until``: beyond it nothing is
    known of the weather, so a span there is not called off, only unsure; None:
    known as far as spans are kept. ``unknown``: kinds of which nothing is known
    now; what is kept of them stays.
    """

    items: tuple[Wanted, ...]
    register: Register | None = None
    today: date | None = None
    known_until: datetime | None = None
    unknown: frozenset[str] = frozenset()


def action_of(payload: Mapping[str, Any], default: str = "") -> str:
    """The code of what is to be done, of a row of an older version too: "first_coat", "last"."""
    told = str(payload.get("action", default))
    return OLD_ACTIONS.get(told, told.replace(" ", "_"))


# ------------------------------------------------------------------ all of them


def derive(
    jobs: Sequence[Job],
    register: Register,
    spans: Sequence[TimedSpan] | None,
    at: datetime,
    zone: tzinfo,
    *,
    covered: Covered | None = None,
    trusted: timedelta = timedelta(days=7),
    known_until: datetime | None = None,
) -> Derived:
    """The reminders wanted at ``at``.

    Parameters
    ----------
    jobs
        Of the whole yard, dearest first, due and not yet due alike.
    spans
        Of the open yard, in order; None where the weather is unknown: then no span is wanted and none
        is withdrawn.
    covered
        Spans of other places by (place, roofed by hand), for jobs that lie there. A place that is not
        named has the open yard's.
    trusted
        Spans that begin later than this from now are tentative.
    known_until
        End of the known weather.
    """
    firm = at + trusted
    begin = max(at, register.away_until or at)  # away: nothing is put to anybody before
    known = {(None, False): tuple(spans or ())} | {key: tuple(s) for key, s in (covered or {}).items()}
    ahead = {key: [s for s in row if s.end > begin] for key, row in known.items()}
    placed: dict[tuple[tuple[str | None, bool], datetime], list[Job]] = {}
    items: list[Wanted] = []
    for order, job in enumerate(jobs):
        log = register.log(job.tag)
        if log is None or log.skip or log.state != "in_yard":
            continue
        if job.kind == "saw_by" and job.due > at + SAW_AHEAD:
            continue  # it stands in the list of logs; a reminder months ahead is noise
        day = max(job.due, begin).astimezone(zone).date()
        if job.coats:
            key = (job.place, job.roofed)
            where = key if key in ahead else (None, False)
            span = next((s for s in ahead[where] if _brush(s)[1] >= job.due), None)
            if span is not None:
                placed.setdefault((where, span.start), []).append(job)
            tentative = span is not None and span.start > firm
            items.append(_of_job(job, log, zone, order, _day_of(span, zone), tentative))
        else:
            items.append(_of_job(job, log, zone, order, day))
    for where, row in ahead.items():
        for span in row:
            work = placed.get((where, span.start), [])
            if work or where == (None, False):
                items.append(_of_span(span, where, work, register, zone, firm))
    items.sort(key=lambda w: (w.due, w.key))
    return Derived(tuple(items), register, at.astimezone(zone).date(), at if spans is None else known_until)


def _day_of(span: TimedSpan | None, zone: tzinfo) -> date | None:
    return None if span is None else span.start.astimezone(zone).date()


# ------------------------------------------------------------------ jobs


def _of_job(
    job: Job, log: Log, zone: tzinfo, order: int, day: date | None, tentative: bool = False
) -> Wanted:
    end = log.end(job.end) if job.end else None
    payload = {
        "action": job.kind,
        **_wood(log),
        "count": log.count if log.count > 1 else None,
        "day": day.isoformat() if day else None,
        "order": order,
        "two": job.people > 1,
        "place": job.place,
        "why": _why(job),
        "hint": job.hint,
        **_since(job, log, end, zone),
        "tentative": tentative,
    }
    return Wanted(
        kind=KINDS.get(job.kind, job.kind),
        tag=job.tag,
        end=job.end or "",
        cause=job.cause,
        ordinal=job.ordinal,
        due=_up_to(job.due, MINUTE),
        payload=payload,
    )


def _wood(log: Log) -> dict[str, str | None]:
    """What names the wood: its key in the table, or else what the person said."""
    return {"species": log.species, "wood": None if log.species else log.species_said or None}


def _why(job: Job) -> str | None:
    """Why a job is to be done, where that says more than its name."""
    told = job.kind in ("look", "saw", "saw_by") or job.kind in KINDS
    return (job.why or None) if told and job.why != "bare" else None


def _since(job: Job, log: Log, end: End | None, zone: tzinfo) -> dict[str, Any]:
    """Since when the end lies open, or under its coat."""
    coat = end.last_coat if end is not None else None
    if coat is not None and job.kind in ("second_coat", "touch_up", "look"):
        return {"coated": _moment(coat.moment, zone)}
    return {
        "felled": _moment(log.felled, zone) if log.felled else None,
        "cut": _moment(end.cut, zone) if end is not None else None,
    }


def _moment(moment: Moment, zone: tzinfo) -> dict[str, Any]:
    """A time as well as a person is told it: its day on the yard's clock, and how sure that is."""
    return {
        "day": moment.time.astimezone(zone).date().isoformat(),
        "rough": moment.half > ROUGH,
        "assumed": moment.assumed,
    }


# ------------------------------------------------------------------ spans


def _of_span(
    span: TimedSpan,
    where: tuple[str | None, bool],
    jobs: Sequence[Job],
    register: Register,
    zone: tzinfo,
    firm: datetime,
) -> Wanted:
    place, roofed = where
    lines = _work(jobs, register)
    start, end, sure = _brush(span)
    payload: dict[str, Any] = {
        "start": _iso(span.start),
        "end": _iso(span.end),
        "brush_start": _iso(start),
        "brush_end": _iso(end),
        "sure": sure,
        "day": start.astimezone(zone).date().isoformat(),
        "in_ten": min(max(round(span.chance * 10), 1), 9),
        "place": place if place is not None else ROOFED if roofed else None,
        "tentative": span.start > firm,
        "unsure": False,
        "milestones": _milestones(span.milestones, zone),
        "work": lines[:MOST_LINES],
        "more": max(len(lines) - MOST_LINES, 0),
    }
    return Wanted("span", "", "", 0, 0, start, payload)


def _brush(span: TimedSpan) -> tuple[datetime, datetime, bool]:
    """The hours that a person is told: those with the chance of a plain yes (True), else the whole span."""
    if span.sure_from is not None and span.sure_until is not None and span.sure_until > span.sure_from:
        return span.sure_from, span.sure_until, True
    return span.start, span.end, False


def _iso(when: datetime) -> str:
    return when.astimezone(UTC).isoformat()


def _milestones(reached: Milestone, zone: tzinfo) -> dict[str, str | None]:
    """By when a coat has come so far, in half hours of the yard's clock: they are not known better."""
    out: dict[str, str | None] = {}
    for name in MILESTONES:
        when: datetime | None = getattr(reached, name)
        out[name] = None if when is None else _half_hour(when, zone).isoformat()
    return out


def _half_hour(when: datetime, zone: tzinfo) -> datetime:
    offset = when.astimezone(zone).utcoffset() or timedelta(0)
    return _up_to(when + offset, HALF_HOUR) - offset


def _up_to(when: datetime, step: timedelta) -> datetime:
    """The next whole step at or after a time, UTC."""
    utc = when.astimezone(UTC)
    rest = (utc - datetime(1970, 1, 1, tzinfo=UTC)) % step
    return utc + (step - rest if rest else timedelta(0))


def _work(jobs: Iterable[Job], register: Register) -> list[dict[str, Any]]:
    """The coats of a span by log, dearest first."""
    ends: dict[tuple[str, str, bool], list[str]] = {}
    for job in jobs:
        if not job.optional:
            ends.setdefault((job.tag, job.kind, job.people > 1), []).append(job.end or "")
    out = []
    for (tag, kind, two), names in ends.items():
        log = register.log(tag)
        wood = {} if log is None else {name: said for name, said in _wood(log).items() if said}
        out.append({"tag": tag, **wood, "ends": [*filter(None, names)], "action": kind, "two": two})
    return out
