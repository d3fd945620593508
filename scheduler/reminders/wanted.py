"""The reminders a yard wants: derived from its jobs, its register, the spans ahead and the clock.

Pure. What is due follows from when each log was felled and each end was cut or
coated (``Job.due``); the day on which it is put to the person follows from the
spans. Texts name days, never "today", so that they stay true as time goes by.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import TYPE_CHECKING, Any

from scheduler.units import Units, show_clock
from scheduler.wood.species import show_name

if TYPE_CHECKING:
    from scheduler.planning.jobs import Job
    from scheduler.planning.verdict import Milestone, TimedSpan
    from scheduler.settings import Species
    from scheduler.yard.facts import End, Log, Moment, Register

__all__ = ["MOST_LINES", "Derived", "Speaker", "Wanted", "derive", "span_text"]

MOST_LINES = 5  # of a list that a person reads; then "and 6 more"
SAW_AHEAD = timedelta(days=14)  # a date of the saw becomes a reminder so long before its warning
MINUTE = timedelta(minutes=1)
HALF_HOUR = timedelta(minutes=30)
ROUGH = timedelta(hours=18)  # a time known no better than this is told as "about"
MILESTONES = ("touch_dry", "rain_safe", "frost_safe", "dry")
KINDS = {"first_coat": "seal", "cut_and_coat": "seal"}  # all other jobs keep their name
ACTIONS = {
    "first_coat": "first coat",
    "cut_and_coat": "fresh cut and first coat",
    "second_coat": "second coat",
    "touch_up": "touch up the skips",
    "look": "look",
    "saw": "saw it, don't coat",
    "saw_by": "saw it soon, before it stains",
}

Covered = Mapping[tuple[str | None, bool], Sequence["TimedSpan"]]


@dataclass(frozen=True, slots=True)
class Wanted:
    """One reminder as it should be now.

    ``payload`` holds what JSON can hold. Of every kind: ``day`` (ISO date in the
    yard, or None: no day is in sight). Of a span: ``start``, ``end`` (UTC),
    ``brush_start``, ``brush_end`` (what a person is told: the part with the
    chance of a plain yes, where there is one), ``in_ten``, ``milestones``,
    ``work``. Of a job: ``action``, ``wood``, ``order``.
    """

    kind: str  # seal, second_coat, touch_up, look, saw, saw_by, span, season
    tag: str  # empty for a span
    end: str  # empty for a span or a log as a whole
    cause: int  # number of the entry that causes it
    ordinal: int  # first, second ... look; of a span it is given when it is kept
    due: datetime  # UTC; of a span when to begin
    text: str
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


@dataclass(frozen=True, slots=True)
class Speaker:
    """How a yard says days, hours and woods."""

    zone: tzinfo
    units: Units = "metric"
    species: Mapping[str, Species] = field(default_factory=dict, hash=False)
    language: str = "en"

    def local(self, when: datetime) -> datetime:
        """The time on the yard's clock."""
        return when.astimezone(self.zone)

    def day(self, when: datetime, beside: datetime) -> str:
        """ "Sat 1 Nov"; with the year where it is far from ``beside``."""
        local = self.local(when)
        year = f" {local.year}" if abs(beside - when) > timedelta(days=270) else ""
        return f"{local:%a} {local.day} {local:%b}{year}"

    def moment(self, moment: Moment, beside: datetime) -> str:
        """The same for a time that may be rough: "about 20 Oct"."""
        day = self.day(moment.time, beside)
        return f"about {day.partition(' ')[2]}" if moment.half > ROUGH else day

    def clock(self, when: datetime) -> str:
        """ "9" or "13:30", as in "brush 9 to 13:30"."""
        return show_clock(self.local(when), self.units, short=True)

    def wood(self, log: Log) -> str:
        """Name of a wood: the table's, else what the person said."""
        row = self.species.get(log.species or "")
        return show_name(row, self.language) if row else (log.species_said or "wood not known")


# ------------------------------------------------------------------ all of them


def derive(
    jobs: Sequence[Job],
    register: Register,
    spans: Sequence[TimedSpan] | None,
    at: datetime,
    speaker: Speaker,
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
        day = speaker.local(max(job.due, begin)).date()
        if job.coats:
            key = (job.place, job.roofed)
            where = key if key in ahead else (None, False)
            span = next((s for s in ahead[where] if _brush(s)[1] >= job.due), None)
            if span is not None:
                placed.setdefault((where, span.start), []).append(job)
            tentative = span is not None and span.start > firm
            items.append(_of_job(job, log, speaker, order, _day_of(span, speaker), tentative))
        else:
            items.append(_of_job(job, log, speaker, order, day))
    for where, row in ahead.items():
        for span in row:
            work = placed.get((where, span.start), [])
            if work or where == (None, False):
                items.append(_of_span(span, where, work, register, speaker, firm))
    items.sort(key=lambda w: (w.due, w.key))
    return Derived(tuple(items), register, speaker.local(at).date(), at if spans is None else known_until)


def _day_of(span: TimedSpan | None, speaker: Speaker) -> date | None:
    return None if span is None else speaker.local(span.start).date()


# ------------------------------------------------------------------ jobs


def _of_job(
    job: Job, log: Log, speaker: Speaker, order: int, day: date | None, tentative: bool = False
) -> Wanted:
    end = log.end(job.end) if job.end else None
    payload = {
        "action": ACTIONS[job.kind],
        "wood": speaker.wood(log),
        "day": day.isoformat() if day else None,
        "order": order,
        "two": job.people > 1,
        "place": job.place,
        "why": _why(job),
        "detail": _detail(job, log, end, speaker),
        "hint": job.hint,
        "tentative": tentative,
    }
    return Wanted(
        kind=KINDS.get(job.kind, job.kind),
        tag=job.tag,
        end=job.end or "",
        cause=job.cause,
        ordinal=job.ordinal,
        due=_up_to(job.due, MINUTE),
        text=_sentence(job, log, end, speaker),
        payload=payload,
    )


def _sentence(job: Job, log: Log, end: End | None, speaker: Speaker) -> str:
    """ "H01 wild cherry, butt: first coat. Open since Sat 1 Nov, felled Fri 31 Oct." """
    which = f"{log.tag} {speaker.wood(log)}"
    if log.count > 1:
        which += f" ({log.count} pieces)"
    head = f"{which}{f', {job.end}' if job.end else ''}: {ACTIONS[job.kind]}."
    return " ".join(filter(None, [head, _why(job), _detail(job, log, end, speaker)]))


def _detail(job: Job, log: Log, end: End | None, speaker: Speaker) -> str:
    """Since when, and who is needed."""
    more = [_since(job, log, end, speaker)]
    if job.people > 1:
        more.append("Two people for the saw.")
    return " ".join(filter(None, more))


def _why(job: Job) -> str:
    said = {"look": job.why, "saw": job.why, "saw_by": job.why}.get(
        job.kind, job.why if KINDS.get(job.kind) else ""
    )
    if not said or said == "bare":
        return ""
    return said[0].upper() + said[1:] + ("" if said.endswith("?") else ".")


def _since(job: Job, log: Log, end: End | None, speaker: Speaker) -> str:
    """Since when the end lies open, or under its coat."""
    coat = end.last_coat if end is not None else None
    if coat is not None and job.kind in ("second_coat", "touch_up", "look"):
        return f"Coated {speaker.moment(coat.moment, job.due)}."
    felled = speaker.moment(log.felled, job.due) if log.felled else None
    if end is None:
        return f"Felled {felled}." if felled else ""
    cut = speaker.moment(end.cut, job.due)
    if end.cut.assumed and cut != felled:
        return f"Cut not told, taken as {cut}." + (f" Felled {felled}." if felled else "")
    if felled is None:
        return f"Open since {cut}."
    return f"Felled and open since {cut}." if cut == felled else f"Open since {cut}, felled {felled}."


# ------------------------------------------------------------------ spans


def _of_span(
    span: TimedSpan,
    where: tuple[str | None, bool],
    jobs: Sequence[Job],
    register: Register,
    speaker: Speaker,
    firm: datetime,
) -> Wanted:
    place, roofed = where
    lines = _work_lines(jobs, register, speaker)
    start, end, sure = _brush(span)
    payload: dict[str, Any] = {
        "start": _iso(span.start),
        "end": _iso(span.end),
        "brush_start": _iso(start),
        "brush_end": _iso(end),
        "sure": sure,
        "day": speaker.local(start).date().isoformat(),
        "day_words": speaker.day(start, start),
        "from": speaker.clock(start),
        "to": speaker.clock(end),
        "in_ten": min(max(round(span.chance * 10), 1), 9),
        "place": place if place is not None else "under a roof" if roofed else None,
        "tentative": span.start > firm,
        "unsure": False,
        "milestones": _milestones(span.milestones, speaker),
        "work": lines[:MOST_LINES],
        "more": max(len(lines) - MOST_LINES, 0),
    }
    return Wanted("span", "", "", 0, 0, start, span_text(payload), payload)


def _brush(span: TimedSpan) -> tuple[datetime, datetime, bool]:
    """The hours that a person is told: those with the chance of a plain yes (True), else the whole span."""
    if span.sure_from is not None and span.sure_until is not None and span.sure_until > span.sure_from:
        return span.sure_from, span.sure_until, True
    return span.start, span.end, False


def _iso(when: datetime) -> str:
    return when.astimezone(UTC).isoformat()


def span_text(payload: Mapping[str, Any]) -> str:
    """ "Tue 4 Nov: brush 9 to 1, about 9 in 10." from what a span's reminder holds."""
    place = payload.get("place")
    where = f" {place}" if place == "under a roof" else f" in the {place}" if place else ""
    hours = f"{payload['from']} to {payload['to']}" if payload["from"] != payload["to"] else payload["to"]
    at = "" if payload["from"] != payload["to"] else "at "
    unsure = " by an old forecast" if payload.get("unsure") else ""
    return f"{payload['day_words']}: brush {at}{hours}{where}, about {payload['in_ten']} in 10{unsure}."


def _milestones(reached: Milestone, speaker: Speaker) -> dict[str, str | None]:
    """By when a coat has come so far, in half hours of the yard's clock: they are not known better."""
    out: dict[str, str | None] = {}
    for name in MILESTONES:
        when: datetime | None = getattr(reached, name)
        out[name] = None if when is None else _half_hour(when, speaker.zone).isoformat()
    return out


def _half_hour(when: datetime, zone: tzinfo) -> datetime:
    offset = when.astimezone(zone).utcoffset() or timedelta(0)
    return _up_to(when + offset, HALF_HOUR) - offset


def _up_to(when: datetime, step: timedelta) -> datetime:
    """The next whole step at or after a time, UTC."""
    utc = when.astimezone(UTC)
    rest = (utc - datetime(1970, 1, 1, tzinfo=UTC)) % step
    return utc + (step - rest if rest else timedelta(0))


def _work_lines(jobs: Iterable[Job], register: Register, speaker: Speaker) -> list[str]:
    """The coats of a span by log, dearest first: "H02 walnut, butt and top: fresh cut and first coat"."""
    ends: dict[tuple[str, str, bool], list[str]] = {}
    for job in jobs:
        if not job.optional:
            ends.setdefault((job.tag, job.kind, job.people > 1), []).append(job.end or "")
    lines = []
    for (tag, kind, two), names in ends.items():
        log = register.log(tag)
        wood = f" {speaker.wood(log)}" if log is not None else ""
        which = " and ".join(filter(None, names))
        lines.append(f"{tag}{wood}, {which}: {ACTIONS[kind]}{' (two people)' if two else ''}")
    return lines
