"""What is due: the jobs of every end, derived from its facts and its state under the weather.

Pure. Until the worth of waiting is worked out, jobs are ordered by what the
wood is worth in words, how early it cracks, how big the end is and how long
it has been open (loss runs with the root of time, so a fresh end loses most
per day).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from math import sqrt

from scheduler.coating.product import Coating, litres_for
from scheduler.settings import Assumptions, CoatingChoice, Minutes, Species
from scheduler.wood.storage import SawBy
from scheduler.yard.condition import EndState
from scheduler.yard.facts import Coat, End, Log, Register

__all__ = ["COATING_JOBS", "Job", "JobContext", "in_order", "jobs_of", "wants_second"]

COATING_JOBS = ("cut_and_coat", "first_coat", "touch_up", "second_coat")
HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Job:
    """One thing to do at one end (or, for the saw, at a log: end is None)."""

    kind: str  # cut_and_coat, first_coat, touch_up, second_coat, look, saw (don't coat), saw_by
    tag: str
    end: str | None
    due: datetime  # UTC; from then on it makes sense
    cause: int  # number of the entry that causes it
    ordinal: int = 0  # first, second ... look
    place: str | None = None
    roofed: bool = False
    minutes: float = 0.0
    litres: float = 0.0
    people: int = 1
    rank: float = 0.0  # greater first
    species: str | None = None
    worth: str = "plain"
    optional: bool = False
    why: str = ""
    hint: str = ""
    by: datetime | None = None  # until when: of saw_by

    @property
    def coats(self) -> bool:
        """Whether the brush is needed."""
        return self.kind in COATING_JOBS


@dataclass(frozen=True, eq=False)
class JobContext:
    """What the derivation needs beside the register; plain data and one function for the state of an end."""

    at: datetime
    coating: Coating
    choice: CoatingChoice
    minutes: Minutes
    saw_needs_two: bool
    assumed: Assumptions
    species: Mapping[str, Species]
    careful: Species
    warm: bool  # daily mean above which wood dries and stains fast
    state: Callable[[Log, End], EndState]
    saw_by: Mapping[str, SawBy] = field(default_factory=dict)  # by tag
    next_look: Callable[[datetime], datetime | None] | None = None  # the look after one; None: frost

    def wood(self, log: Log) -> Species:
        """The species row of a log; the careful one where it is not known."""
        return self.species.get(log.species or "", self.careful)

    def minutes_for(self, name: str) -> float:
        """Minutes of a kind of work: the yard's own, else the shipped assumption."""
        own: float | None = getattr(self.minutes, name, None)
        return own if own is not None else self.assumed[f"minutes_{name}"]

    def minutes_at(self, name: str, across_cm: float) -> float:
        """Minutes of brush or saw at an end: told for a nominal one, part of them grows with the face."""
        fixed = self.assumed["minutes_fixed"]
        size = fixed + (1.0 - fixed) * (across_cm / self.assumed["butt"]) ** 2
        way = self.assumed[f"minutes_{self.choice.method}"] if name == "end" else 1.0
        return self.minutes_for(name) * size * way


def wants_second(wood: Species, worth: str, choice: CoatingChoice) -> bool:
    """Whether the yard gives this wood a second coat: by its habit, or two for prized and open-pored wood."""
    if choice.coats == "by wood":
        return worth == "prized" or wood.porous == "ring"
    return choice.coats == 2


def jobs_of(register: Register, context: JobContext) -> tuple[Job, ...]:
    """All jobs of a yard, dearest first; due and not yet due alike."""
    jobs: list[Job] = []
    for log in register.present:
        if log.state != "in_yard":
            continue
        jobs.extend(_log_jobs(log, context))
    return in_order(jobs)


def in_order(jobs: Iterable[Job]) -> tuple[Job, ...]:
    """Jobs by rank, dearest first; whoever stands at a log does both its ends, by the better of the two."""
    jobs = list(jobs)
    best: dict[tuple[str, str], float] = {}
    for job in jobs:
        best[job.tag, job.kind] = max(job.rank, best.get((job.tag, job.kind), job.rank))
    return tuple(sorted(jobs, key=lambda job: (-best[job.tag, job.kind], job.tag, -job.rank, job.end or "")))


def _log_jobs(log: Log, c: JobContext) -> list[Job]:
    wood = c.wood(log)
    worth = log.worth or wood.worth
    jobs: list[Job] = []
    if log.saw_first or (wood.saw_first and c.warm):
        since = (log.felled or log.ends[0].cut if log.ends else None) or None
        if since is not None:
            jobs.append(
                Job(
                    "saw",
                    log.tag,
                    None,
                    since.time,
                    log.entry,
                    people=2 if c.saw_needs_two else 1,
                    rank=0.5,
                    species=log.species,
                    worth=worth,
                    why="stain is the loss here, not cracks",
                )
            )
    keeps = c.saw_by.get(log.tag)
    if keeps is not None and keeps.by is not None and keeps.warn is not None and not jobs:
        jobs.append(
            Job(
                "saw_by",
                log.tag,
                None,
                keeps.warn,
                log.entry,
                people=2 if c.saw_needs_two else 1,
                rank=0.3,
                species=log.species,
                worth=worth,
                why=keeps.words[0] if keeps.words else keeps.group,
                by=keeps.by,
            )
        )
    left = log.left_long and (log.left_till is None or c.at < log.left_till)
    for end in log.ends:
        if not end.reach:
            continue
        state = c.state(log, end)
        if not (log.skip or left or log.saw_first or worth == "firewood"):
            jobs.extend(_coat_jobs(log, end, state, wood, worth, c))
        jobs.extend(_looks(log, end, state, c))
    return jobs


def _coat_jobs(log: Log, end: End, state: EndState, wood: Species, worth: str, c: JobContext) -> list[Job]:
    base = _base(log, end, wood, worth, c)
    if state.state == "spoiled" and state.layers and end.last_coat is not None:
        return [_again(base, end.last_coat, c)]
    if state.state in ("bare", "opened", "spoiled"):
        return [_first(base, log, end, state, c)]
    if state.touch_up and state.state != "wet":
        return [
            replace(
                base, kind="touch_up", due=_after_coat(end, state, c), rank=base.rank * 0.5, why="skips seen"
            )
        ]
    coat = end.last_coat
    if coat is None or end.layers != 1 or not wants_second(wood, worth, c.choice):
        return []
    litres = base.litres * c.coating.second_share
    optional = state.seen and state.why == "seen clear"
    return [
        replace(
            base,
            kind="second_coat",
            due=_after_coat(end, state, c),
            cause=coat.entry,
            litres=litres,
            rank=base.rank * c.assumed["skip_chance"],
            optional=optional,
            why="fills pinholes and open pores",
            hint="no pinholes to be seen? Then it can stay as it is"
            if optional
            else "look first: milky means not yet",
        )
    ]


def _base(log: Log, end: End, wood: Species, worth: str, c: JobContext) -> Job:
    across = end.diameter_cm or c.assumed["butt"]
    days = max((c.at - end.cut.time) / timedelta(days=1), 0.25)
    rank = (
        c.assumed[f"weight_{worth}"]
        * c.assumed[f"prone_{wood.proneness}"]
        * (across / 45.0) ** 2
        / sqrt(days)
    )
    return Job(
        kind="first_coat",
        tag=log.tag,
        end=end.name,
        due=end.cut.time,
        cause=end.cut_entry,
        place=log.place,
        roofed=log.roofed,
        minutes=c.minutes_at("end", across) * max(log.count, 1),
        litres=litres_for(c.coating, across, count=max(log.count, 1)),
        rank=rank,
        species=log.species,
        worth=worth,
    )


def _first(base: Job, log: Log, end: End, state: EndState, c: JobContext) -> Job:
    """First coat, with a fresh cut before it where the face is cracked or dry."""
    days = (c.at - end.cut.time) / timedelta(days=1)
    goal = c.assumed["coat_goal"] * HOUR
    job = replace(base, due=end.cut.time + goal)
    short = (
        log.length_cm is not None and end.diameter_cm is not None and log.length_cm <= 1.1 * end.diameter_cm
    )
    if short and log.halved is None:
        job = replace(job, hint="shorter than it is thick: halve it through the pith, coat the halves")
    if state.state == "spoiled":
        return replace(
            job,
            cause=end.last_coat.entry if end.last_coat else job.cause,
            why="the coat is spoiled: brush it off",
        )
    if state.state == "opened" or end.face == "dry":
        extra = c.minutes_at("fresh_cut", end.diameter_cm or c.assumed["butt"])
        why = (
            "cracked: cut back to clean wood" if state.state == "opened" else "dry face: cut back to wet wood"
        )
        people = 2 if c.saw_needs_two else 1
        return replace(job, kind="cut_and_coat", minutes=job.minutes + extra, people=people, why=why)
    long_open = days > c.assumed["bare_days_warm" if c.warm else "bare_days_cool"] and not end.looks
    if long_open and not job.hint:
        job = replace(job, hint="look first: cracked means cut back, then coat")
    return replace(job, why="bare")


def _again(base: Job, coat: Coat, c: JobContext) -> Job:
    """A coat over a sound one was spoiled: it is laid again, the end is not bare."""
    second = coat.layer >= 2
    return replace(
        base,
        kind="second_coat" if second else "touch_up",
        due=coat.moment.time + c.coating.recoat_h * HOUR,
        cause=coat.entry,
        litres=base.litres * c.coating.second_share if second else base.litres,
        rank=base.rank * (c.assumed["skip_chance"] if second else 0.5),
        why="the coat is spoiled: brush it off",
    )


def _after_coat(end: End, state: EndState, c: JobContext) -> datetime:
    """From when a further coat may go on: predicted to take rain, never under the least recoat time."""
    coat = end.last_coat
    assert coat is not None
    least = coat.moment.time + c.coating.recoat_h * HOUR
    if state.seen and state.state != "wet":
        return least
    fate = state.fate
    predicted = fate.rain_safe if fate is not None else None
    if state.state == "wet" and predicted is None:
        return max(least, coat.moment.time + timedelta(days=c.assumed["look_next_day"]))
    return max(least, predicted) if predicted is not None else least


def _later_look(last: datetime, c: JobContext) -> datetime | None:
    """The look after the first weeks: by the warmth of the days since, at a thaw after long frost."""
    if c.next_look is not None:
        return c.next_look(last)
    return last + c.assumed["look_week"] * timedelta(days=1)


def _looks(log: Log, end: End, state: EndState, c: JobContext) -> list[Job]:
    """The next look: next day, after a week, then by warmth; a look of any kind counts."""
    coat = end.last_coat
    if coat is None or log.skip:
        return []
    day = timedelta(days=1)
    steps = [
        coat.moment.time + c.assumed["look_next_day"] * day,
        coat.moment.time + c.assumed["look_week"] * day,
    ]
    last = end.last_look.moment.time if end.last_look else None
    ordinal = 0
    due = steps[0]
    while last is not None and due <= last + day / 4:
        ordinal += 1
        following = steps[ordinal] if ordinal < len(steps) else _later_look(due, c)
        if following is None:  # frost as far as is known: nothing to look at
            return []
        due = following
    why = "clear or milky?" if state.state == "wet" or not state.seen else "skips, new cracks, stain?"
    rank = 0.05 if ordinal else 0.4
    return [
        Job(
            "look",
            log.tag,
            end.name,
            due,
            coat.entry,
            ordinal,
            place=log.place,
            minutes=c.assumed["minutes_look"],
            rank=rank,
            species=log.species,
            worth=log.worth or c.wood(log).worth,
            why=why,
        )
    ]
