"""The morning's answer: a verdict for the weather, one for the work, and why, in numbers.

Pure: an ``Outlook`` (or the reason why there is none), a register, its jobs and
what waiting costs them in, a ``Morning`` out. Of the weather by itself, thresholds
of chance in config/rules.toml tell the word; of the work, whether a try today is
the best that the yard can do for some end (``worth``).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.jobs import Job
from scheduler.planning.outlook import Outlook
from scheduler.planning.worth import EndWorth
from scheduler.rules.engine import BREAK
from scheduler.rules.spans import Assessment, Cause, Examined, Span, Stopped
from scheduler.settings import Thresholds
from scheduler.yard.facts import Register

__all__ = [
    "Age",
    "Milestone",
    "Morning",
    "PlaceVerdict",
    "Reason",
    "TimedSpan",
    "TimedStop",
    "VerdictWord",
    "age_of",
    "examine_at",
    "judge_place",
    "morning",
    "spans_of",
    "stops_of",
]

VerdictWord = Literal["seal", "touch_and_go", "prepare", "leave_it", "unknown"]
ORDER: tuple[VerdictWord, ...] = ("seal", "touch_and_go", "prepare", "leave_it", "unknown")


@dataclass(frozen=True, slots=True)
class Milestone:
    """When a coat brushed at the best start has come so far; None: not within the forecast."""

    touch_dry: datetime | None
    rain_safe: datetime | None
    frost_safe: datetime | None
    dry: datetime | None
    second_coat: datetime | None


@dataclass(frozen=True, slots=True)
class Reason:
    """One rule against one start, in numbers."""

    rule: str
    breach: str
    outcome: str
    value: float | None
    limit: float
    unit: str
    at: datetime | None
    share: float
    says: str
    holds: str
    short: str = ""
    forbids_seal: bool = False
    fixed: bool = False
    typical: float | None = None  # of all members; ``value`` is of the breaking ones where there are any


@dataclass(frozen=True, eq=False)
class TimedSpan:
    """A span in clock time; ``sure_from`` to ``sure_until`` are the starts with the chance of a plain yes."""

    start: datetime
    end: datetime
    best: datetime
    chance: float
    milestones: Milestone
    reasons: tuple[Reason, ...]
    sure_from: datetime | None = None
    sure_until: datetime | None = None


@dataclass(frozen=True, slots=True)
class TimedStop:
    """A stretch without a span; rule None means that the weather is unknown there."""

    start: datetime
    end: datetime
    rule: str | None
    value: float | None
    limit: float | None
    unit: str | None
    says: str
    short: str
    fixed: bool


@dataclass(frozen=True, slots=True)
class Age:
    """How old the forecast is, and what that means."""

    hours: float | None
    word: Literal["fresh", "old", "stale", "none"]


@dataclass(frozen=True, eq=False)
class PlaceVerdict:
    """Weather's verdict for one place."""

    place: str | None
    verdict: VerdictWord
    span: TimedSpan | None  # of today
    next_span: TimedSpan | None
    reasons: tuple[Reason, ...]  # of the day's best start
    roofed: bool = False  # roofed by hand, in the open yard


@dataclass(frozen=True, eq=False)
class Morning:
    """Everything that a notice, a page or a program needs to say about today."""

    at: datetime
    verdict: VerdictWord
    weather: PlaceVerdict  # nominal fresh end in the open yard
    work: PlaceVerdict  # the place where the due work is (the open yard when nothing is due)
    places: tuple[PlaceVerdict, ...]
    due: tuple[Job, ...]  # coats and cuts that are due, first first
    later: tuple[Job, ...]  # looks and the rest that is due
    spans: tuple[TimedSpan, ...]
    stopped: tuple[TimedStop, ...]
    age: Age
    unknown_why: str | None = None
    wet: tuple[tuple[str, str], ...] = field(default_factory=tuple)  # (tag, end) still milky
    now: tuple[Job, ...] = ()  # those due where a try today is worth it
    worths: dict[tuple[str, str, str], EndWorth] = field(default_factory=dict)  # by tag, end, kind of job


def age_of(issued: datetime | None, at: datetime, warn_h: float, stale_h: float) -> Age:
    """Age of a forecast; one from the future counts as made now."""
    if issued is None:
        return Age(None, "none")
    hours = max((at - issued) / timedelta(hours=1), 0.0)
    return Age(hours, "stale" if hours > stale_h else "old" if hours > warn_h else "fresh")


def _reason(cause: Cause, outlook: Outlook) -> Reason:
    rule = cause.rule
    at = None if cause.at is None else outlook.time_at(cause.at)
    return Reason(
        rule.name,
        rule.breach,
        cause.outcome,
        cause.value,
        rule.limit,
        rule.unit,
        at,
        cause.share,
        rule.says,
        rule.holds,
        rule.short,
        rule.forbids_seal,
        rule.fixed,
        cause.typical,
    )


def _milestones(examined: Examined, outlook: Outlook) -> Milestone:
    def when(name: str) -> datetime | None:
        step = examined.milestones[name]
        return None if step is None else outlook.time_at(step)

    least = outlook.time_at(examined.start) + timedelta(hours=outlook.coating.recoat_h)
    rain = when("rain_safe")
    return Milestone(
        when("touch_dry"), rain, when("frost_safe"), when("dry"), None if rain is None else max(rain, least)
    )


def examine_at(
    outlook: Outlook, when: datetime, place: str | None = None
) -> tuple[Examined, Milestone, list[Reason]]:
    """Rule by rule for one start."""
    step = int(np.floor(outlook.step_of(when) + 1e-9))
    examined = outlook.of(place).examine([step])[0]
    return examined, _milestones(examined, outlook), [_reason(cause, outlook) for cause in examined.causes]


def _timed(span: Span, outlook: Outlook) -> TimedSpan:
    sure = np.flatnonzero(span.chances >= outlook.thresholds.seal_chance.value)
    best = span.best
    chance = best.chance if best.chance is not None else float(np.nanmax(span.chances))
    return TimedSpan(
        start=outlook.time_at(span.start),
        end=outlook.time_at(span.end),
        best=outlook.time_at(best.start),
        chance=chance,
        milestones=_milestones(best, outlook),
        reasons=tuple(_reason(cause, outlook) for cause in best.causes),
        sure_from=outlook.time_at(span.start + int(sure[0])) if sure.size else None,
        sure_until=outlook.time_at(span.start + int(sure[-1])) if sure.size else None,
    )


def spans_of(outlook: Outlook, place: str | None = None, roofed: bool = False) -> tuple[TimedSpan, ...]:
    """All spans of a place in clock time; one that stepping finds unknown or poor is left out."""
    least = outlook.limits.show_chance
    spans = (_timed(span, outlook) for span in outlook.spans(place, roofed) if not span.best.unknown)
    return tuple(span for span in spans if span.chance >= least)


def stops_of(outlook: Outlook, place: str | None = None) -> tuple[TimedStop, ...]:
    """What stops the coat between the spans, in clock time; a span that stepping finds poor counts too."""
    stops = [_timed_stop(stop, outlook) for stop in outlook.of(place).stopped()]
    shown = {span.start for span in spans_of(outlook, place)}
    stops += [_poor(s, outlook) for s in outlook.spans(place) if outlook.time_at(s.start) not in shown]
    return tuple(sorted(stops, key=lambda stop: stop.start))


def _poor(span: Span, outlook: Outlook) -> TimedStop:
    """A stretch that the clocks had taken for a span: what breaks most often at its best start."""
    causes = [c for c in span.best.causes if c.rule.stops and c.outcome != "unknown"]
    cause = None if span.best.unknown else max(causes, key=lambda c: c.share, default=None)
    rule = None if cause is None else cause.rule
    return TimedStop(
        outlook.time_at(span.start),
        outlook.time_at(span.end + 1),
        rule.name if rule else None,
        cause.value if cause else None,
        rule.limit if rule else None,
        rule.unit if rule else None,
        rule.says if rule else "the weather is not known far enough",
        rule.short if rule else "not known far enough",
        False,
    )


def _timed_stop(stop: Stopped, outlook: Outlook) -> TimedStop:
    rule = stop.rule
    return TimedStop(
        outlook.time_at(stop.start),
        outlook.time_at(stop.end),
        rule.name if rule else None,
        stop.value,
        rule.limit if rule else None,
        rule.unit if rule else None,
        rule.says if rule else "the weather is not known far enough",
        rule.short if rule else "not known far enough",
        bool(rule and rule.fixed),
    )


def _day(when: datetime, outlook: Outlook) -> date:
    return when.astimezone(outlook.yard.zone).date()


def judge_place(
    outlook: Outlook, place: str | None, roofed: bool, prized: bool, wanted: bool | None = None
) -> PlaceVerdict:
    """The word for a place today, with the reasons of the day's best start.

    ``wanted``: whether a try today is worth it for some end there; None: the weather alone is asked.
    """
    assessment = outlook.of(place, roofed)
    today = _day(outlook.at, outlook)
    best = _best_start(assessment, outlook, today)
    # Stepped together with the spans' best starts: one run costs hardly more than each.
    assessment.examine([*assessment.best_starts(), *([] if best is None else [best])])
    spans = spans_of(outlook, place, roofed)
    of_today = [s for s in spans if _day(s.start, outlook) == today]
    now = max(of_today, key=lambda s: s.chance, default=None)
    after = _ahead([s for s in spans if _day(s.start, outlook) > today], outlook)
    reasons = now.reasons if now is not None else _reasons_at(assessment, outlook, best)
    word = _word(outlook.thresholds, outlook, assessment, now, after, prized, wanted)
    return PlaceVerdict(place, word, now, after, reasons, roofed)


def _ahead(spans: Sequence[TimedSpan], outlook: Outlook) -> TimedSpan | None:
    """The next span worth preparing for, else the next one of all."""
    least = outlook.thresholds.prepare_chance.value
    return next((s for s in spans if s.chance >= least), spans[0] if spans else None)


def _word(
    t: Thresholds,
    outlook: Outlook,
    assessment: Assessment,
    now: TimedSpan | None,
    after: TimedSpan | None,
    prized: bool,
    wanted: bool | None,
) -> VerdictWord:
    if now is not None and wanted is not False:
        forbidden = any(r.forbids_seal and r.share >= t.doubt_share.value for r in now.reasons)
        if now.chance >= t.seal_chance.value and not forbidden:
            return "seal"
        if wanted:
            return "touch_and_go"
        least = t.touch_and_go_prized if prized else t.touch_and_go_chance
        if now.chance >= least.value:
            return "touch_and_go"
    if now is None and _mostly_unknown(assessment, outlook):
        return "unknown"
    near = timedelta(hours=t.prepare_within.value)
    if after is not None and after.chance >= t.prepare_chance.value and after.start - outlook.at <= near:
        return "prepare"
    return "leave_it"


def _today(assessment: Assessment, outlook: Outlook, today: date) -> NDArray[np.int64]:
    """Columns of the starts that are left of today."""
    end = datetime.combine(today + timedelta(days=1), datetime.min.time(), outlook.yard.zone)
    last = outlook.step_of(end)
    return np.flatnonzero(assessment.starts < last)


def _mostly_unknown(assessment: Assessment, outlook: Outlook) -> bool:
    """Whether most open starts of today (or, when none is left, of the next open day) are unknown."""
    closed = assessment.findings.closed()
    columns = np.flatnonzero(~closed)
    if columns.size == 0:
        return bool(assessment.unknown().all()) if assessment.starts.size else True
    mine = np.intersect1d(columns, _today(assessment, outlook, _day(outlook.at, outlook)))
    if mine.size == 0:
        mine = columns[: 4 * 8]
    return float(assessment.unknown()[mine].mean()) >= 0.5


def _reasons_at(assessment: Assessment, outlook: Outlook, start: int | None) -> tuple[Reason, ...]:
    if start is None:
        return ()
    return tuple(_reason(cause, outlook) for cause in assessment.examine([start])[0].causes)


def _best_start(assessment: Assessment, outlook: Outlook, today: date) -> int | None:
    """The day's best start: the open one with most passing members, else the next open one."""
    columns = _today(assessment, outlook, today)
    closed = assessment.findings.closed()
    open_ = columns[~closed[columns]]
    if open_.size == 0:
        open_ = np.flatnonzero(~closed)[:96]
    if open_.size == 0:
        open_ = columns if columns.size else np.arange(min(1, assessment.starts.size))
    if open_.size == 0:
        return None
    broken = np.zeros(open_.size)
    for finding in assessment.findings.found:
        if finding.rule.stops:
            broken += (finding.outcome[:, open_] == BREAK).mean(axis=0)
    score = np.nan_to_num(assessment.chance[open_]) - 1e-3 * broken
    return int(assessment.starts[open_[int(np.argmax(score))]])


def morning(
    register: Register,
    jobs: Sequence[Job],
    outlook: Outlook | None,
    at: datetime,
    age: Age,
    unknown_why: str | None = None,
    wet: Sequence[tuple[str, str]] = (),
    worths: Mapping[tuple[str, str, str], EndWorth] | None = None,
) -> Morning:
    """The morning's answer; without an outlook it is Unknown and says why."""
    # A coat "due" within the day counts: the question of the morning is what to do today.
    soon = at + timedelta(hours=12)
    due = tuple(j for j in jobs if j.coats and j.due <= soon and not j.optional)
    later = tuple(j for j in jobs if not j.coats and j.due <= soon)
    if outlook is None:
        nothing = PlaceVerdict(None, "unknown", None, None, ())
        why = unknown_why or "there is no forecast"
        return Morning(at, "unknown", nothing, nothing, (nothing,), due, later, (), (), age, why, tuple(wet))
    weather = judge_place(outlook, None, False, prized=False)
    places = []
    for key in dict.fromkeys(_key(job, outlook) for job in due):
        mine = [job for job in due if _key(job, outlook) == key]
        prized = any(job.worth == "prized" for job in mine)
        wanted = None if worths is None else any(_acts(job, worths) for job in mine)
        places.append(judge_place(outlook, *key, prized, wanted))
    good = {(p.place, p.roofed) for p in places if p.verdict in ("seal", "touch_and_go")}
    work = min(places, key=lambda p: (ORDER.index(p.verdict), p.place is not None), default=weather)
    return Morning(
        at,
        work.verdict,
        weather,
        work,
        tuple(places) or (weather,),
        due,
        later,
        spans_of(outlook),
        stops_of(outlook),
        age,
        unknown_why,
        tuple(wet),
        tuple(job for job in due if _key(job, outlook) in good and (worths is None or _acts(job, worths))),
        dict(worths or {}),
    )


def _acts(job: Job, worths: Mapping[tuple[str, str, str], EndWorth]) -> bool:
    """Whether a try today is the best that can be done for a job's end."""
    found = worths.get((job.tag, job.end or "", job.kind))
    return found is None or found.now


def _key(job: Job, outlook: Outlook) -> tuple[str | None, bool]:
    """Where a job is: a place of the yard file, or the open yard, roofed by hand or not."""
    place = outlook.place(job.place)
    if place is None:
        return None, job.roofed
    return place.name, job.roofed and not (place.roofed or place.frost_free)
