"""The week: who does what when, what goes inside, what is left out, and what would change that. Pure."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal

from scheduler.planning.chances import DayChances
from scheduler.planning.jobs import COATING_JOBS, Job
from scheduler.planning.plan import LeftOut, Plan, PlanRules, Slot, Task, TaskId
from scheduler.planning.planner import make_plan
from scheduler.planning.tasks import Material, Setting, Work, moved_inside, work_of

__all__ = ["ASIDE", "Help", "Out", "Shelter", "Solver", "Week", "fits", "helps", "outs_of", "week_of"]

Solver = Callable[[Sequence[Task], Sequence[Slot], PlanRules, Mapping[TaskId, datetime] | None], Plan]
DAY = timedelta(days=1)

# Why a job is in nobody's hours: keys beside those of ``plan.WHYS``.
ASIDE = ("saw", "saw_by", "reach", "no_worth")
HANDS = frozenset({"second_person", "hours_full", "span_full", "span_too_short", "no_hours"})
TIME = frozenset({"no_span", "too_soon", "no_hours", "hours_full", "span_full", "pail_cold", "second_person"})


@dataclass(frozen=True, slots=True)
class Shelter:
    """A place to bring wood to, and the chances of a coat there."""

    place: str
    days: DayChances


@dataclass(frozen=True, eq=False)
class Week:
    """A plan with what it was made of.

    ``inside``: tags of logs that are brought under a roof first, to ``shelter``.
    """

    at: datetime
    until: datetime
    plan: Plan
    work: Work
    inside: tuple[str, ...] = ()
    shelter: str | None = None

    def job(self, task: TaskId) -> Job | None:
        """The job behind a task; None for the pail."""
        return self.work.jobs.get(task)


@dataclass(frozen=True, slots=True)
class Out:
    """A job that the plan leaves out: a key of ``plan.WHYS`` or ``ASIDE``, its numbers, the other job.

    ``ahead``: it would follow a coat that is not yet on.
    """

    job: Job
    why: str
    numbers: Mapping[str, float]
    of: TaskId | None = None
    ahead: bool = False


@dataclass(frozen=True, slots=True)
class Help:
    """What would let more be done: one person more, litres of wax, or days; and which logs it brings in."""

    kind: Literal["person", "litres", "days"]
    amount: float
    tags: tuple[str, ...]


def week_of(
    material: Material,
    setting: Setting,
    *,
    former: Mapping[TaskId, datetime] | None = None,
    shelter: Shelter | None = None,
    solve: Solver = make_plan,
) -> Week:
    """The plan of the days until ``setting.until``.

    What the open yard has no time for is tried under the roof of ``shelter``, and stays in the plan where
    carrying and coating it there keeps more.
    """
    work = work_of(material, setting)
    plan = solve(work.tasks, work.slots, work.rules, former)
    week = Week(material.outlook.at, setting.until, plan, work)
    return week if shelter is None else _with_roof(week, material, setting, former, shelter, solve)


def _with_roof(
    week: Week,
    material: Material,
    setting: Setting,
    former: Mapping[TaskId, datetime] | None,
    shelter: Shelter,
    solve: Solver,
) -> Week:
    tags = {
        left.task[0]
        for left in week.plan.left_out
        if (job := week.work.jobs.get(left.task)) is not None
        and job.kind in ("first_coat", "touch_up")
        and job.place is None
        and left.task[0] not in material.comes
    }
    for _ in range(3):  # a log that nobody comes to carry leaves its coats to the others
        if not tags:
            return week
        work = moved_inside(material, setting, week.work, tags, shelter.place, shelter.days)
        if not work.weights:
            return week
        plan = solve(work.tasks, work.slots, work.rules, former)
        coated = {row.task[0] for row in plan.assignments if row.task[2] in COATING_JOBS}
        kept = {tag for tag in work.weights if tag in coated}
        if kept == set(work.weights):
            better = plan.value > week.plan.value + 1e-9
            inside = tuple(tag for tag in work.weights)
            return Week(week.at, week.until, plan, work, inside, shelter.place) if better else week
        tags = kept
    return week


def outs_of(week: Week) -> tuple[Out, ...]:
    """All that is left out and why: jobs without a time, and what is in nobody's hours.

    Looks at coats that are themselves left out are no jobs yet.
    """
    waiting = {task.id for task in week.work.tasks if task.after}
    rows: list[Out] = []
    for left in week.plan.left_out:
        job = week.work.jobs.get(left.task)
        if job is None or _only_thought_of(left, job):
            continue
        rows.append(Out(job, left.why, left.numbers, left.of, left.task in waiting))
    return (*rows, *(Out(job, why, {}) for job, why in week.work.aside))


def _only_thought_of(left: LeftOut, job: Job) -> bool:
    return job.kind == "look" and left.of is not None


# ------------------------------------------------------------------ what if


def fits(week: Week, tags: Collection[str] | None = None) -> tuple[list[str], list[str]]:
    """Tags whose first work for the brush all has its time, and tags with some left out, in order."""
    done: dict[str, bool] = {}
    for task, job in week.work.jobs.items():
        if job.kind in COATING_JOBS and job.kind != "second_coat" and (tags is None or task[0] in tags):
            done.setdefault(task[0], True)
    for job, why in week.work.aside:
        if job.kind in COATING_JOBS and why != "reach" and (tags is None or job.tag in tags):
            done[job.tag] = False
    for left in week.plan.left_out:
        behind = week.work.jobs.get(left.task)
        first = behind is not None and behind.kind in COATING_JOBS and behind.kind != "second_coat"
        if first and left.task[0] in done:
            done[left.task[0]] = False
    return [tag for tag, whole in done.items() if whole], [tag for tag, whole in done.items() if not whole]


def helps(
    week: Week,
    material: Material,
    setting: Setting,
    *,
    tags: Collection[str] | None = None,
    shelter: Shelter | None = None,
    more_days: Iterable[int] = (1, 2, 4),
) -> tuple[Help, ...]:
    """What would bring in the logs that do not fit: a person more, more wax, or some days more."""
    missing = set(fits(week, tags)[1])
    whys = {out.why for out in outs_of(week) if out.job.tag in missing}
    if not missing:
        return ()
    out: list[Help] = []

    def gained(changed: Setting) -> tuple[Week, tuple[str, ...]]:
        other = week_of(material, changed, shelter=shelter)
        return other, tuple(tag for tag in fits(other, tags)[0] if tag in missing)

    if whys & HANDS:
        most = max((slot.people for slot in week.work.slots), default=1)
        _, new = gained(replace(setting, people=most + 1))
        out += [Help("person", most + 1, new)] if new else []
    if "no_wax" in whys and setting.litres is not None:
        other, new = gained(replace(setting, litres=None))
        out += [Help("litres", max(other.plan.litres - setting.litres, 0.0), new)] if new else []
    if whys & TIME:
        out += _days_more(gained, setting, more_days)
    return tuple(out)


def _days_more(
    gained: Callable[[Setting], tuple[Week, tuple[str, ...]]], setting: Setting, more_days: Iterable[int]
) -> list[Help]:
    """The fewest days more that bring in a log."""
    for days in more_days:
        _, new = gained(replace(setting, until=setting.until + days * DAY))
        if new:
            return [Help("days", days, new)]
    return []
