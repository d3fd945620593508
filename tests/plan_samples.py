"""Made yards for the plan: slots, tasks, and what has to be true of every plan."""

from __future__ import annotations

import tomllib
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from math import ceil
from pathlib import Path

import numpy as np

from scheduler.planning.plan import WHYS, After, Assignment, Plan, PlanRules, Slot, Task, TaskId

ROOT = Path(__file__).parents[1]
MONDAY = datetime(2025, 11, 3, tzinfo=UTC)
QUARTER = timedelta(minutes=15)
MINUTE = timedelta(minutes=1)


@lru_cache(maxsize=1)
def numbers() -> dict[str, float]:
    table = tomllib.loads((ROOT / "config" / "plan.toml").read_text(encoding="utf-8"))
    return {key: float(entry["value"]) for key, entry in table.items()}


def rules(**changes: object) -> PlanRules:
    return PlanRules(**({"numbers": numbers()} | changes))  # type: ignore[arg-type]


def day_slots(
    day: int,
    first: str = "09:00",
    last: str = "16:30",
    *,
    people: int = 1,
    chance: float | Mapping[str, tuple[str, str, float]] | None = 0.8,
    dark_after: str = "16:00",
) -> list[Slot]:
    """The slots of one day; chances one number for the place "yard", or by place (from, to, chance)."""
    at = MONDAY + timedelta(days=day) + clock(first)
    slots = []
    while at < MONDAY + timedelta(days=day) + clock(last):
        since = at - MONDAY - timedelta(days=day)
        if isinstance(chance, Mapping):
            told = {k: p for k, (a, b, p) in chance.items() if clock(a) <= since < clock(b)}
        else:
            told = {"yard": chance} if chance is not None else {}
        slots.append(Slot(at, at.date(), people, since < clock(dark_after), dict(told)))
        at += QUARTER
    return slots


def clock(text: str) -> timedelta:
    hours, minutes = text.split(":")
    return timedelta(hours=int(hours), minutes=int(minutes))


def coat(
    tag: str,
    slots: Sequence[Slot],
    worth: float = 10.0,
    end: str = "butt",
    kind: str = "first_coat",
    **more: object,
) -> Task:
    """A coat whose gain is its worth by the chance, a little less each day, less the cost of one."""
    place = str(more.get("place", "yard"))
    gain = [
        worth * (slot.chance.get(place) or 0.0) * 0.98 ** (slot.start - MONDAY).days - 1.0 for slot in slots
    ]
    given: dict[str, object] = {"minutes": 5.0, "litres": 0.1, "place": place, "brush": True}
    return Task((tag, end, kind), gain=gain, **(given | more))  # type: ignore[arg-type]


def other(tag: str, slots: Sequence[Slot], kind: str, worth: float, **more: object) -> Task:
    given: dict[str, object] = {"minutes": 5.0}
    end = None if kind in ("saw", "warm_pail", "bring_in") else "butt"
    return Task((tag, end, kind), gain=[worth] * len(slots), **(given | more))  # type: ignore[arg-type]


@dataclass(frozen=True)
class Yard:
    tasks: list[Task]
    slots: list[Slot]
    rules: PlanRules


def random_yard(seed: int, logs: int | None = None, days: int | None = None) -> Yard:
    """A yard with uneven chances, one or two people, short hours, little wax: what makes planning hard."""
    r = np.random.default_rng(seed)
    days = days or int(r.integers(2, 6))
    logs = logs or int(r.integers(3, 13))
    slots: list[Slot] = []
    short = r.random() < 0.5
    for day in range(days):
        length = int(r.integers(6, 12)) if short else int(r.integers(16, 30))
        slots += _random_day(r, day, length)
        if r.random() < 0.2:
            slots += _random_day(r, day, 5, first=18 * 4)
    tasks: list[Task] = []
    for n in range(logs):
        tasks += _random_log(r, f"H{n + 1:02d}", slots)
    need = sum(task.litres for task in tasks)
    stock = float(r.uniform(0.3, 0.9)) * need if r.random() < 0.35 else None
    if r.random() < 0.15:
        tasks.append(other("pail", slots, "warm_pail", 0.0, outdoor=False))
    cost = float(r.choice([0.0, 0.02, 0.1]))
    return Yard(tasks, slots, rules(litres=stock, minute_cost=cost))


def _random_day(r: np.random.Generator, day: int, length: int, first: int = 36) -> list[Slot]:
    people = int(r.choice([1, 2], p=[0.6, 0.4]))
    at = np.arange(length)
    chance: dict[str, np.ndarray] = {}  # type: ignore[type-arg]
    for place, good in (("yard", 0.65), ("roof", 0.8)):
        if r.random() < good:
            middle, wide = r.uniform(0, length), r.uniform(2, length)
            hump = r.uniform(0.5, 0.95) * np.exp(-(((at - middle) / wide) ** 2))
            chance[place] = np.where(hump >= 0.1, np.round(hump, 2), 0.0)
    slots = []
    for n in range(length):
        start = MONDAY + timedelta(days=day) + (first + n) * QUARTER
        told = {place: float(p[n]) for place, p in chance.items()}
        slots.append(Slot(start, start.date(), people, first + n < 16 * 4, told))
    return slots


def _random_log(r: np.random.Generator, tag: str, slots: Sequence[Slot]) -> list[Task]:
    place = str(r.choice(["yard", "yard", "roof"]))
    worth = float(r.lognormal(1.5, 0.8))
    kind = str(r.choice(["first_coat", "first_coat", "cut_and_coat"]))
    saws = kind == "cut_and_coat"
    more: dict[str, object] = {"place": place, "minutes": 15.0 if saws else 5.0, "people": 2 if saws else 1}
    if r.random() < 0.3:
        more["earliest"] = slots[int(r.integers(len(slots)))].start
    ends = ["butt", "top"] if r.random() < 0.7 else ["butt"]
    tasks = [
        coat(
            tag,
            slots,
            worth * float(r.uniform(0.5, 1.5)),
            end,
            kind,
            litres=float(r.uniform(0.05, 0.2)),
            **more,
        )
        for end in ends
    ]
    if r.random() < 0.4:
        wait = np.round(r.uniform(4, 40) + 0.2 * np.arange(len(slots)) / len(slots)) * np.ones(len(slots))
        tasks += [
            coat(
                tag,
                slots,
                worth * 0.4,
                end,
                "second_coat",
                litres=0.05,
                place=place,
                after=(After((tag, end, kind), wait),),
            )
            for end in ends
        ]
    if r.random() < 0.3:
        tasks.append(other(tag, slots, "look", float(r.uniform(0.05, 0.5))))
    if r.random() < 0.2:
        tasks.append(other(tag, slots, "saw", float(r.uniform(1, 8)), minutes=45.0, people=2))
    if r.random() < 0.2:
        latest = slots[int(r.integers(len(slots) // 2, len(slots)))].start
        tasks.append(
            other(tag, slots, "bring_in", float(r.uniform(1, 4)), minutes=15.0, people=2, latest=latest)
        )
    return tasks


# -------------------------------------------------------------------- what has to be true


def faults_of(plan: Plan, yard: Yard) -> list[str]:
    """All that is wrong with a plan, in words; worked out from slots and tasks alone."""
    tasks = {task.id: task for task in yard.tasks}
    faults = _accounted(plan, tasks)
    rows = {row.task: row for row in plan.assignments}
    for row in plan.assignments:
        faults += _in_hours(row, tasks[row.task], yard)
        for after in tasks[row.task].after:
            faults += _after(row, rows.get(after.task), after, yard)
    faults += _walks(plan, tasks)
    faults += _overlaps(plan, yard)
    faults += _fill(plan, tasks, yard)
    if yard.rules.litres is not None and plan.litres > yard.rules.litres + 1e-9:
        faults.append(f"{plan.litres} L of {yard.rules.litres}")
    frames = yard.rules.minute_cost * (yard.rules.set_up + yard.rules.clean_up) * len(plan.sessions)
    if abs(plan.value - sum(row.keeps for row in plan.assignments) + frames) > 1e-6:
        faults.append("the value is not the sum of its parts")
    return faults + _frames(plan, tasks, yard) + _pail(plan, tasks, yard)


def _accounted(plan: Plan, tasks: Mapping[TaskId, Task]) -> list[str]:
    told = [row.task for row in plan.assignments] + [row.task for row in plan.left_out]
    faults = [] if sorted(map(str, told)) == sorted(map(str, tasks)) else ["not every task is told once"]
    return faults + [
        f"{row.task} is left out for {row.why!r} with {sorted(row.numbers)}"
        for row in plan.left_out
        if row.why not in WHYS or set(row.numbers) != set(WHYS[row.why])
    ]


def _covered(start: datetime, minutes: float, yard: Yard) -> list[Slot]:
    end = start + minutes * MINUTE
    return [slot for slot in yard.slots if slot.start < end and start < slot.start + QUARTER]


def _in_hours(row: Assignment, task: Task, yard: Yard) -> list[str]:
    slots = _covered(row.start, task.minutes, yard)
    faults = []
    end = row.start + task.minutes * MINUTE
    whole = slots and slots[0].start <= row.start and slots[-1].start + QUARTER >= end
    if not whole or (slots[-1].start - slots[0].start) != QUARTER * (len(slots) - 1):
        faults.append(f"{row.task} at {row.start} is out of hours")
    if any(slot.people < task.people for slot in slots) or len(set(row.who)) != task.people:
        faults.append(f"{row.task} does not have its people")
    if task.id[2] in ("saw", "cut_and_coat") and len(row.who) < 2:
        faults.append(f"{row.task} is alone with the saw")
    if task.outdoor and not all(slot.outdoor for slot in slots):
        faults.append(f"{row.task} is in the dark")
    if task.brush and any((slot.chance.get(task.place) or 0) < yard.rules.show_chance for slot in slots):
        faults.append(f"{row.task} is outside of its span")
    if task.earliest is not None and row.start < task.earliest:
        faults.append(f"{row.task} is too early")
    if task.latest is not None and end > task.latest:
        faults.append(f"{row.task} is too late")
    return faults


def _after(row: Assignment, first: Assignment | None, after: After, yard: Yard) -> list[str]:
    if first is None:
        return [f"{row.task} is planned without {after.task}"]
    at = max(n for n, slot in enumerate(yard.slots) if slot.start <= first.start)
    hours = np.broadcast_to(np.asarray(after.hours, float), (len(yard.slots),))
    least = min(hours[max(0, at - 1) : at + 1])  # the walk of the first may have begun a slot before
    ready = first.start + first.minutes * MINUTE + timedelta(hours=float(least))
    return [] if row.start >= ready else [f"{row.task} at {row.start} before {ready}"]


def _walks(plan: Plan, tasks: Mapping[TaskId, Task]) -> list[str]:
    """Both ends of a log in one visit: one after the other, by the same people."""
    visits: dict[tuple[str, str], list[Assignment]] = defaultdict(list)
    for row in plan.assignments:
        if row.task[1] is not None:
            visits[row.task[0], row.task[2]].append(row)
    faults = []
    for rows in visits.values():
        rows.sort(key=lambda row: row.start)
        for one, two in pairwise(rows):
            if two.start != one.start + one.minutes * MINUTE or two.who != one.who:
                faults.append(f"{two.task} is not done with {one.task}")
    return faults


def _overlaps(plan: Plan, yard: Yard) -> list[str]:
    busy: dict[int, list[tuple[datetime, datetime, str]]] = defaultdict(list)
    for row in plan.assignments:
        for who in row.who:
            busy[who].append((row.start, row.start + row.minutes * MINUTE, str(row.task)))
    for frame in plan.sessions:
        up, down = ceil(yard.rules.set_up), ceil(yard.rules.clean_up)
        busy[frame.set_up_who].append((frame.set_up, frame.set_up + up * MINUTE, "set-up"))
        busy[frame.clean_up_who].append((frame.clean_up, frame.clean_up + down * MINUTE, "clean-up"))
    faults = []
    for who, stretches in busy.items():
        stretches.sort()
        for one, two in pairwise(stretches):
            if two[0] < one[1]:
                faults.append(f"{who} does {one[2]} and {two[2]} at {two[0]}")
        for start, end, what in stretches:
            if any(slot.people <= who for slot in _covered(start, (end - start) / MINUTE, yard)):
                faults.append(f"{who} is not there for {what}")
    return faults


def _sessions(yard: Yard) -> list[list[Slot]]:
    found: list[list[Slot]] = []
    for slot in yard.slots:
        if slot.people < 1:
            continue
        last = found[-1][-1] if found else None
        if last is not None and slot.start - last.start == QUARTER and slot.day == last.day:
            found[-1].append(slot)
        else:
            found.append([slot])
    return found


def _fill(plan: Plan, tasks: Mapping[TaskId, Task], yard: Yard) -> list[str]:
    faults = []
    brush = [row for row in plan.assignments if tasks[row.task].brush]
    for place in {tasks[row.task].place for row in brush}:
        for session in _sessions(yard):
            run: list[Slot] = []
            for slot in [*session, None]:
                if slot is not None and (slot.chance.get(place) or 0.0) >= yard.rules.show_chance:
                    run.append(slot)
                    continue
                work = sum(
                    row.minutes * len(row.who)
                    for row in brush
                    if run
                    and tasks[row.task].place == place
                    and run[0].start <= row.start < run[-1].start + QUARTER
                )
                if work > yard.rules.fill * sum(15 * s.people for s in run) + 1e-6:
                    faults.append(f"the span of {place} at {run[0].start} is filled with {work} minutes")
                run = []
    return faults


def _frames(plan: Plan, tasks: Mapping[TaskId, Task], yard: Yard) -> list[str]:
    """Set-up before, clean-up after all brush work of a session, in it, and no session without them."""
    faults = []
    for session in _sessions(yard):
        first, last = session[0].start, session[-1].start + QUARTER
        brush = [r for r in plan.assignments if tasks[r.task].brush and first <= r.start < last]
        frame = [f for f in plan.sessions if first <= f.set_up < last]
        if not brush and not frame:
            continue
        if not brush or len(frame) != 1:
            faults.append(f"{len(frame)} set-ups for {len(brush)} coats at {first}")
            continue
        up = frame[0].set_up + ceil(yard.rules.set_up) * MINUTE
        down = frame[0].clean_up + ceil(yard.rules.clean_up) * MINUTE
        begun = min(r.start for r in brush)
        ended = max(r.start + r.minutes * MINUTE for r in brush)
        if up > begun or frame[0].clean_up < ended or down > last:
            faults.append(f"set-up and clean-up do not frame the brush work at {first}")
    return faults


def _pail(plan: Plan, tasks: Mapping[TaskId, Task], yard: Yard) -> list[str]:
    pail = next((task.id for task in yard.tasks if task.id[2] == "warm_pail"), None)
    brush = [row.start for row in plan.assignments if tasks[row.task].brush]
    if pail is None or not brush:
        return []
    warm = next((row for row in plan.assignments if row.task == pail), None)
    lead = timedelta(hours=yard.rules.numbers["warm_lead"])
    if warm is None or warm.start + warm.minutes * MINUTE + lead > min(brush):
        return ["the pail is not warm"]
    return []
