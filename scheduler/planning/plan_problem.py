"""Slots and tasks as a problem: sessions, spans, walks, and when each walk may begin. Pure.

Minutes of a session are bits of a whole number: bit m stands for the minute that begins m minutes after the
session does. "All minutes from m to m + d are free" for every m at once is then a few shifts.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import cached_property, reduce
from itertools import groupby, pairwise
from math import ceil, floor

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.plan import (
    MINUTE,
    QUARTER,
    After,
    LeftOut,
    PlanError,
    PlanRules,
    Slot,
    Task,
    TaskId,
)

__all__ = ["NEVER", "Entries", "Problem", "Session", "Span", "Walk", "prepare", "runs"]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741
NEVER = 10**9  # minutes
IN_SLOT = (1 << QUARTER) - 1
WARM = "warm_pail"


@dataclass(frozen=True, eq=False)
class Session:
    """One unbroken stretch of slots.

    ``begin`` in minutes from the first slot of all; ``parts``: the stretches (as bits) in which the number of
    people does not change."""

    index: int
    day: date
    first: int
    slots: int
    begin: int
    people: tuple[int, ...]
    parts: tuple[int, ...]

    @property
    def length(self) -> int:
        """Minutes."""
        return self.slots * QUARTER

    def bits(self, low: float, high: float) -> int:
        """The minutes from ``low`` on and before ``high``, both from the first slot of all."""
        a, b = max(0, int(low - self.begin)), min(self.length, int(high - self.begin))
        return (1 << b) - (1 << a) if b > a else 0


@dataclass(frozen=True, slots=True)
class Span:
    """A maximal run of slots of a session in which the brush may work; ``room`` in minutes of one person."""

    session: int
    first: int
    slots: int
    room: float


@dataclass(frozen=True, eq=False)
class Entries:
    """The slots in which a walk may begin, in order, and the first and last minute within each."""

    slot: I
    low: I
    high: I


@dataclass(frozen=True, eq=False)
class Walk:
    """Tasks done one after the other in one visit.

    ``value`` is what it keeps when begun in each slot of ``entries``, with the worth of a kept promise;
    ``keeps`` without. ``starts`` are the minutes at which it may begin, by session. ``before`` are the walks
    that come first with the minutes from their end, by the slot in which they begin.
    """

    index: int
    tasks: tuple[Task, ...]
    minutes: int
    people: int
    litres: float
    entries: Entries
    value: F
    keeps: F
    starts: Mapping[int, int]
    before: tuple[tuple[int, I], ...] = ()
    promised: int | None = None  # minutes from the first slot

    @cached_property
    def brush(self) -> bool:
        """Whether it counts on a span."""
        return self.tasks[0].brush

    @cached_property
    def place(self) -> Hashable:
        """Where it is."""
        return self.tasks[0].place

    @cached_property
    def work(self) -> int:
        """Minutes times people."""
        return self.minutes * self.people

    @property
    def saw(self) -> bool:
        """Whether the saw runs."""
        return any(task.id[2] in ("saw", "cut_and_coat") for task in self.tasks)


@dataclass(frozen=True, eq=False)
class Problem:
    """All that planning looks at.

    ``session_of`` (slots,), -1 outside. ``place_span`` by place and ``any_span`` (slots,): the span of a
    slot, -1 for none. ``warm``: the task that warms the pail, session and minute of its earliest time;
    ``warm_starts``: all its times.
    """

    rules: PlanRules
    slots: Sequence[Slot]
    sessions: tuple[Session, ...]
    session_of: I
    spans: tuple[Span, ...]
    place_span: Mapping[Hashable, I]
    any_span: I
    walks: tuple[Walk, ...]
    after: tuple[tuple[int, ...], ...]  # walks that wait for each walk
    refused: tuple[LeftOut, ...]
    warm: tuple[Task, int, int] | None = None
    warm_starts: Mapping[int, int] = field(default_factory=dict)

    @property
    def set_up(self) -> int:
        """Whole minutes."""
        return ceil(self.rules.set_up)

    @property
    def clean_up(self) -> int:
        """Whole minutes."""
        return ceil(self.rules.clean_up)

    def rounds(self, name: str) -> int:
        """Rounds of a kind of work; fewer for a yard with very many possible begins, to stay short."""
        begins = sum(walk.entries.slot.size for walk in self.walks)
        ease = min(1.0, self.rules.numbers["large"] / max(begins, 1))
        return ceil(self.rules.numbers[name] * ease)

    @property
    def frame_cost(self) -> float:
        """What set-up and clean-up of a session cost."""
        return self.rules.minute_cost * (self.rules.set_up + self.rules.clean_up)

    @property
    def reserved(self) -> tuple[int, int, int] | None:
        """Session, minute and minutes that warming the pail takes."""
        return None if self.warm is None else (self.warm[1], self.warm[2], ceil(self.warm[0].minutes))


def runs(free: int, minutes: int) -> int:
    """The bits from which on ``minutes`` bits are all set."""
    have = 1
    while have * 2 <= minutes:
        free &= free >> have
        have *= 2
    return free & (free >> (minutes - have)) if minutes > have else free


def runs_in(session: Session, free: int, minutes: int) -> int:
    """As ``runs``, and never across a change in the number of people."""
    if len(session.parts) == 1:
        return runs(free, minutes)
    return reduce(lambda found, part: found | runs(free & part, minutes), session.parts, 0)


def prepare(
    tasks: Sequence[Task],
    slots: Sequence[Slot],
    rules: PlanRules,
    former: Mapping[TaskId, datetime] | None = None,
) -> Problem:
    """Check and order what is given.

    Raises
    ------
    PlanError
        For slots out of order, tasks that are there twice or wait for each other, gains of another length.
    """
    _check(tasks, slots)
    sessions = _sessions(slots)
    session_of = np.full(len(slots), -1, np.int64)
    for session in sessions:
        session_of[session.first : session.first + session.slots] = session.index
    places = dict.fromkeys(task.place for task in tasks if task.brush)
    spans, place_span, any_span = _spans(slots, sessions, places, rules)
    bare = Problem(rules, slots, sessions, session_of, spans, place_span, any_span, (), (), ())
    return _Preparation(bare, former or {}).run(tasks)


def _check(tasks: Sequence[Task], slots: Sequence[Slot]) -> None:
    step = QUARTER * MINUTE
    for one, two in pairwise(slots):
        if two.start - one.start < step:
            raise PlanError(f"the slot at {two.start.isoformat()} begins before the one before it has ended")
    if slots and any((slot.start - slots[0].start) % MINUTE for slot in slots):
        raise PlanError("slots have to begin on full minutes")
    seen: set[TaskId] = set()
    for task in tasks:
        if task.id in seen:
            raise PlanError(f"the task {_named(task.id)} is there twice")
        seen.add(task.id)
        if len(task.gain) != len(slots):
            raise PlanError(
                f"the task {_named(task.id)} has {len(task.gain)} gains for {len(slots)} slots of time"
            )
        if not (task.minutes > 0 and task.people >= 1 and task.litres >= 0):
            raise PlanError(f"the task {_named(task.id)} needs minutes, people and litres that can be")
    for task in tasks:
        for after in task.after:
            if after.task not in seen:
                raise PlanError(
                    f"the task {_named(task.id)} waits for {_named(after.task)}, which is not among the tasks"
                )


def _named(task: TaskId) -> str:
    return " ".join(part for part in task if part)


def _sessions(slots: Sequence[Slot]) -> tuple[Session, ...]:
    found: list[list[int]] = []
    for n, slot in enumerate(slots):
        if slot.people < 1:
            continue
        last = found[-1][-1] if found else None
        if (
            last == n - 1
            and last is not None
            and slots[last].day == slot.day
            and slot.start - slots[last].start == QUARTER * MINUTE
        ):
            found[-1].append(n)
        else:
            found.append([n])
    return tuple(_session(index, group, slots) for index, group in enumerate(found))


def _session(index: int, group: Sequence[int], slots: Sequence[Slot]) -> Session:
    people = tuple(slots[n].people for n in group)
    parts, at = [], 0
    for _, same in groupby(people):
        length = QUARTER * sum(1 for _ in same)
        parts.append(((1 << length) - 1) << at)
        at += length
    first = group[0]
    begin = (slots[first].start - slots[0].start) // MINUTE
    return Session(index, slots[first].day, first, len(group), begin, people, tuple(parts))


def _spans(
    slots: Sequence[Slot], sessions: Sequence[Session], places: Iterable[Hashable], rules: PlanRules
) -> tuple[tuple[Span, ...], dict[Hashable, I], I]:
    """Spans of each place, and of all places together."""
    spans: list[Span] = []
    usable: dict[Hashable, NDArray[np.bool_]] = {}
    for place in places:
        chance = np.array([slot.chance.get(place) or 0.0 for slot in slots], float)
        usable[place] = chance >= rules.show_chance
    every = reduce(np.logical_or, usable.values(), np.zeros(len(slots), bool))

    def spans_of(good: NDArray[np.bool_]) -> I:
        which = np.full(len(slots), -1, np.int64)
        for session in sessions:
            inside = range(session.first, session.first + session.slots)
            for fits, group in groupby(inside, key=lambda n: bool(good[n])):
                run = list(group)
                if fits:
                    which[run] = len(spans)
                    room = rules.fill * QUARTER * sum(slots[n].people for n in run)
                    spans.append(Span(session.index, run[0], len(run), room))
        return which

    place_span = {place: spans_of(good) for place, good in usable.items()}
    any_span = spans_of(every) if len(usable) > 1 else next(iter(place_span.values()), spans_of(every))
    return tuple(spans), place_span, any_span


class _Preparation:
    """Walks out of tasks; what cannot be done at all is refused with a reason."""

    def __init__(self, problem: Problem, former: Mapping[TaskId, datetime]) -> None:
        self.p = problem
        self.former = former
        self.refused: dict[TaskId, LeftOut] = {}
        self.masks: dict[tuple[Hashable, bool, bool, int], list[int]] = {}
        self.begins: dict[Hashable, tuple[Entries, dict[int, int]]] = {}
        self.warm: tuple[Task, int, int] | None = None
        self.warm_starts: Mapping[int, int] = {}
        self.warm_from = 0

    def run(self, tasks: Sequence[Task]) -> Problem:
        self._warm(tasks)
        groups = [group for group in self._groups(tasks) if group]
        walks: list[Walk] = []
        for group in groups:
            walk = self._walk(len(walks), group)
            if walk is not None:
                walks.append(walk)
        walks = self._linked(walks, groups)
        waiting: list[list[int]] = [[] for _ in walks]
        for walk in walks:
            for earlier, _ in walk.before:
                waiting[earlier].append(walk.index)
        refused = tuple(self.refused[task.id] for task in tasks if task.id in self.refused)
        return replace(
            self.p,
            walks=tuple(walks),
            after=tuple(tuple(w) for w in waiting),
            refused=refused,
            warm=self.warm,
            warm_starts=self.warm_starts,
        )

    # ---------------------------------------------------------------- the pail

    def _warm(self, tasks: Sequence[Task]) -> None:
        pails = [task for task in tasks if task.id[2] == WARM]
        if not pails:
            return
        if len(pails) > 1:
            raise PlanError("a plan warms one pail: there is more than one task for it")
        pail = pails[0]
        if not any(task.brush for task in tasks):
            self._refuse([pail], "no_brush_work")
            return
        _, starts = self._begins([pail], ceil(pail.minutes))
        lead = self.p.rules.numbers["warm_lead"]
        if not starts:
            self._refuse([pail], "no_hours", minutes=pail.minutes, longest=self._longest([pail]))
            self.warm_from = NEVER
            return
        index = min(starts)
        minute = (starts[index] & -starts[index]).bit_length() - 1
        self.warm, self.warm_starts = (pail, index, minute), starts
        self.warm_from = self.p.sessions[index].begin + minute + ceil(pail.minutes) + ceil(lead * 60)

    # ---------------------------------------------------------------- walks

    def _groups(self, tasks: Sequence[Task]) -> list[list[Task]]:
        """Tasks of one visit; a task that keeps nothing at any time stands alone, to be refused."""
        groups: dict[Hashable, list[Task]] = {}
        for task in tasks:
            if task.id[2] == WARM:
                continue
            gain = np.asarray(task.gain, float)
            worthless = not (gain > 0.0).any()
            visit = task.id if worthless else task.walk or (task.id[0], task.id[2])
            groups.setdefault((visit, task.people, task.place, task.brush, task.outdoor), []).append(task)
        return [part for group in groups.values() for part in self._apart(group)]

    def _apart(self, group: list[Task]) -> list[list[Task]]:
        """A group whose windows share no time falls apart into its tasks."""
        low, high = self._window(group)
        inner = {after.task for task in group for after in task.after}
        split = high - low < sum(task.minutes for task in group) or inner & {task.id for task in group}
        return [[task] for task in group] if split and len(group) > 1 else [group]

    def _window(self, group: Sequence[Task]) -> tuple[float, float]:
        """Earliest begin and latest end in minutes from the first slot."""
        low, high = 0.0, float(NEVER)
        for task in group:
            if task.earliest is not None:
                low = max(low, ceil((task.earliest - self.p.slots[0].start) / MINUTE - 1e-9))
            if task.latest is not None:
                high = min(high, floor((task.latest - self.p.slots[0].start) / MINUTE + 1e-9))
            if task.brush:
                low = max(low, self.warm_from)
        return low, high

    def _walk(self, index: int, group: list[Task]) -> Walk | None:
        if not self.p.slots:
            return self._refuse(group, "no_hours", minutes=sum(t.minutes for t in group), longest=0.0)
        minutes = ceil(sum(task.minutes for task in group) - 1e-9)
        entries, starts = self._begins(group, minutes)
        if not entries.slot.size:
            return self._no_time(group, minutes)
        keeps = self._keeps(group, entries)
        good = keeps > 0
        if not good.any():
            return self._refuse(group, "not_worth_it", keeps=float(keeps.max()))
        if not good.all():
            entries = Entries(entries.slot[good], entries.low[good], entries.high[good])
            keeps = keeps[good]
        promised = self._promised(group)
        value = keeps + self._promise(promised, entries, float(keeps.max()))
        litres = sum(task.litres for task in group)
        if self.p.rules.litres is not None and litres > self.p.rules.litres + 1e-9:
            return self._refuse(group, "no_wax", litres=litres, left=self.p.rules.litres)
        people = group[0].people
        return Walk(index, tuple(group), minutes, people, litres, entries, value, keeps, starts, (), promised)

    def _keeps(self, group: Sequence[Task], entries: Entries) -> F:
        total = np.zeros(entries.slot.size)
        at = 0.0
        last = len(self.p.slots) - 1
        for task in group:
            gain = np.nan_to_num(np.asarray(task.gain, float), nan=-np.inf)
            total += gain[np.minimum(entries.slot + int(at // QUARTER), last)]
            at += task.minutes
        return total

    def _promised(self, group: Sequence[Task]) -> int | None:
        told = [self.former[task.id] for task in group if task.id in self.former]
        return (min(told) - self.p.slots[0].start) // MINUTE if told else None

    def _promise(self, promised: int | None, entries: Entries, most: float) -> F:
        if promised is None:
            return np.zeros(entries.slot.size)
        numbers = self.p.rules.numbers
        begin = np.array([(slot.start - self.p.slots[0].start) // MINUTE for slot in self.p.slots])
        away = np.abs(begin[entries.slot] - promised // QUARTER * QUARTER)
        return np.where(away <= numbers["promise_within"], numbers["promise_share"] * most, 0.0)

    # ---------------------------------------------------------------- when

    def _begins(self, group: Sequence[Task], minutes: int) -> tuple[Entries, dict[int, int]]:
        """When a walk may begin, as slots and as bits; the same for all walks of a kind, so kept."""
        task = group[0]
        window = self._window(group)
        key = (task.place if task.brush else None, task.brush, task.outdoor, task.people, minutes, window)
        if key not in self.begins:
            starts: dict[int, int] = {}
            for session, mask in zip(self.p.sessions, self._masks(task), strict=True):
                mask &= session.bits(*window)
                if task.brush:
                    mask &= session.bits(
                        session.begin + self.p.set_up, session.begin + session.length - self.p.clean_up
                    )
                found = self._roomy(task, session, runs_in(session, mask, minutes), minutes)
                if found:
                    starts[session.index] = found
            self.begins[key] = self._entries(starts), starts
        return self.begins[key]

    def _masks(self, task: Task) -> list[int]:
        key = (task.place if task.brush else None, task.brush, task.outdoor, task.people)
        if key not in self.masks:
            self.masks[key] = [self._mask(task, session) for session in self.p.sessions]
        return self.masks[key]

    def _mask(self, task: Task, session: Session) -> int:
        span = self.p.place_span[task.place] if task.brush else None
        mask = 0
        for n in range(session.slots):
            slot = session.first + n
            fits = session.people[n] >= task.people and (self.p.slots[slot].outdoor or not task.outdoor)
            if fits and (span is None or span[slot] >= 0):
                mask |= IN_SLOT << n * QUARTER
        return mask

    def _roomy(self, task: Task, session: Session, found: int, minutes: int) -> int:
        """Only the spans in which so much work may stand at all."""
        if not (task.brush and found):
            return found
        for which in {id(s): s for s in (self.p.place_span[task.place], self.p.any_span)}.values():
            for number in {int(k) for k in which[session.first : session.first + session.slots]} - {-1}:
                span = self.p.spans[number]
                if minutes * task.people > span.room + 1e-9:
                    low = (span.first - session.first) * QUARTER
                    found &= ~(((1 << span.slots * QUARTER) - 1) << low)
        return found

    def _entries(self, starts: Mapping[int, int]) -> Entries:
        rows = []
        for index, bits in starts.items():
            session = self.p.sessions[index]
            for n in range(session.slots):
                here = bits >> n * QUARTER & IN_SLOT
                if here:
                    rows.append((session.first + n, (here & -here).bit_length() - 1, here.bit_length() - 1))
        table = np.array(rows, np.int64).reshape(-1, 3)
        return Entries(table[:, 0], table[:, 1], table[:, 2])

    # ---------------------------------------------------------------- order

    def _linked(self, walks: list[Walk], groups: Sequence[Sequence[Task]]) -> list[Walk]:
        """Which walk waits for which; those that wait for a refused one are refused."""
        while True:
            home = {task.id: walk.index for walk in walks for task in walk.tasks}
            lost = next(
                (
                    (walk, after.task)
                    for walk in walks
                    for task in walk.tasks
                    for after in task.after
                    if after.task not in home
                ),
                None,
            )
            if lost is None:
                break
            self._refuse(lost[0].tasks, "waits_for", of=lost[1])
            walks = [replace(w, index=n) for n, w in enumerate(w for w in walks if w is not lost[0])]
        linked = [replace(walk, before=self._before(walk, home)) for walk in walks]
        _no_circle(linked)
        return linked

    def _before(self, walk: Walk, home: Mapping[TaskId, int]) -> tuple[tuple[int, I], ...]:
        found: dict[int, I] = {}
        for task in walk.tasks:
            for after in task.after:
                earlier = home[after.task]
                wait = self._wait(after)
                found[earlier] = np.maximum(found[earlier], wait) if earlier in found else wait
        return tuple(found.items())

    def _wait(self, after: After) -> I:
        hours = np.broadcast_to(np.asarray(after.hours, float), (len(self.p.slots),))
        minutes = np.ceil(np.where(np.isfinite(hours), hours, NEVER) * 60.0 - 1e-9)
        return np.asarray(np.clip(minutes, 0, NEVER), np.int64)

    # ---------------------------------------------------------------- why not

    def _refuse(
        self, group: Sequence[Task], why: str, of: TaskId | None = None, **numbers: float
    ) -> Walk | None:
        for task in group:
            self.refused[task.id] = LeftOut(task.id, why, numbers, of)
        return None

    def _no_time(self, group: Sequence[Task], minutes: int) -> Walk | None:
        """The first thing that stands in the way, asked in the order in which a person would."""
        low, high = self._window(group)
        task = group[0]
        if task.brush and low >= NEVER:
            return self._refuse(group, "pail_cold", hours=self.p.rules.numbers["warm_lead"])
        slots = [
            n
            for session in self.p.sessions
            for n in range(session.first, session.first + session.slots)
            if session.bits(low, high) >> (n - session.first) * QUARTER & IN_SLOT
        ]
        longest = self._longest(group)
        if not slots:
            return self._refuse(group, "no_hours", minutes=minutes, longest=longest)
        if task.brush:
            span = self.p.place_span[task.place]
            best = max(self.p.slots[n].chance.get(task.place) or 0.0 for n in slots)
            slots = [n for n in slots if span[n] >= 0]
            if not slots:
                return self._refuse(group, "no_span", chance=best, needed=self.p.rules.show_chance)
        most = max(self.p.slots[n].people for n in slots)
        if most < task.people:
            return self._refuse(group, "second_person", people=task.people, most=most)
        light = replace(task, outdoor=False)
        if task.outdoor and self._begins([light, *group[1:]], minutes)[0].slot.size:
            return self._refuse(group, "too_late", minutes=minutes)
        why = "span_too_short" if task.brush else "no_hours"
        return self._refuse(group, why, minutes=minutes, longest=longest)

    def _longest(self, group: Sequence[Task]) -> float:
        """Longest stretch in which it could be done, minutes; for the brush the share that may be filled."""
        window = self._window(group)
        longest = 0
        for session, mask in zip(self.p.sessions, self._masks(group[0]), strict=True):
            longest = max(longest, *(len(run) for run in f"{mask & session.bits(*window):b}".split("0")))
        return longest * (self.p.rules.fill if group[0].brush else 1.0)


def _no_circle(walks: Sequence[Walk]) -> None:
    state = [0] * len(walks)

    def visit(n: int) -> None:
        if state[n] == 1:
            raise PlanError(f"the task {_named(walks[n].tasks[0].id)} waits for itself")
        if state[n] == 0:
            state[n] = 1
            for earlier, _ in walks[n].before:
                visit(earlier)
            state[n] = 2

    for n in range(len(walks)):
        visit(n)
