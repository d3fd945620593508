"""What a plan is made of and what it says: slots, tasks, the answer. Pure, plain data.

A **slot** is a quarter hour in which somebody could work. A **session** is one
unbroken stretch of slots of a day; set-up and clean-up are needed once in each
session with brush work. A **task** is one job at one end. The tasks of one kind at
one log are a **walk**: done one after the other, by the same people, in one visit.
A walk begins on a full minute; what it keeps and its chance are those of the slot in
which it begins (for an end further on in a long walk: of the slot so much later).

The weather is known here only as chances. ``planner.py`` fills the hours.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "QUARTER",
    "WHYS",
    "After",
    "Assignment",
    "LeftOut",
    "Plan",
    "PlanError",
    "PlanRules",
    "SessionWork",
    "Slot",
    "Task",
    "TaskId",
]

F = NDArray[np.float64]
QUARTER = 15  # minutes of a slot
MINUTE = timedelta(minutes=1)

TaskId = tuple[str, str | None, str]  # tag, end (None: the whole log, or the yard), kind

# Keys of the reasons why a task is left out, and the numbers that stand beside each.
WHYS: Mapping[str, tuple[str, ...]] = {
    "not_worth_it": ("keeps",),  # wax and labour cost more than it keeps, at its best slot
    "no_hours": ("minutes", "longest"),  # nobody is there when it could be done, or not for long enough
    "no_span": ("chance", "needed"),  # no slot with enough chance while somebody is there
    "second_person": ("people", "most"),  # never so many people when it could be done
    "too_late": ("minutes",),  # an outdoor job that does not end before the light does
    "span_too_short": ("minutes", "longest"),  # no span has room for it, with the share that stays free
    "pail_cold": ("hours",),  # the pail cannot be warm in time
    "no_brush_work": (),  # warming the pail, and nothing to brush
    "waits_for": (),  # another job has to come first (``of``), and is not planned
    "too_soon": ("hours",),  # after the job that comes first (``of``) no time is left
    "no_wax": ("litres", "left"),
    "span_full": ("minutes", "keeps", "price"),  # dearer work takes the brush hours
    "hours_full": ("minutes", "keeps", "price"),  # dearer work takes the hands
}


class PlanError(ValueError):
    """Slots and tasks that contradict one another."""


@dataclass(frozen=True, slots=True)
class Slot:
    """A quarter hour in which somebody could work.

    Attributes
    ----------
    start : aware time, on a full minute
    day : the yard's own civil day
    people : how many are there
    outdoor : whether there is light enough for work outdoors in all of it
    chance : by place, the chance that a coat begun then holds (None or absent: no coat then)
    """

    start: datetime
    day: date
    people: int = 1
    outdoor: bool = True
    chance: Mapping[Hashable, float | None] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class After:
    """An earlier task that has to be done first.

    ``hours`` from its end until this one may begin: one number, or one for each slot in which the earlier may
    begin (a coat that dries in a day in November dries in hours in May); inf or NaN: never.
    """

    task: TaskId
    hours: float | Sequence[float] | F = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Task:
    """One job at one end.

    Attributes
    ----------
    id : (tag, end, kind); no two tasks of a plan share one
    minutes : of work, > 0
    gain : (slots,) expected value kept, wax and labour taken off, when it is begun in each slot
    people : who must be there all the time
    litres : wax
    place : key into ``Slot.chance``
    brush : whether it counts on a span
    outdoor : whether it needs light
    earliest, latest : it begins not before, and ends not after
    after : what has to be done before it
    walk : name of the visit it belongs to; None: one with the tasks of its tag and kind
    """

    id: TaskId
    minutes: float
    gain: Sequence[float] | F
    people: int = 1
    litres: float = 0.0
    place: Hashable = None
    brush: bool = False
    outdoor: bool = True
    earliest: datetime | None = None
    latest: datetime | None = None
    after: tuple[After, ...] = ()
    walk: str | None = None


@dataclass(frozen=True, slots=True)
class PlanRules:
    """What holds for the whole plan.

    Attributes
    ----------
    show_chance : least chance of a slot that counts for the brush
    fill : share of a span that may be filled with work
    set_up, clean_up : minutes of one person, once in a session with brush work
    minute_cost : what a minute of set-up and clean-up costs, in the unit of the gains
    litres : wax there is; None: not known, no limit
    numbers : config/plan.toml, bare floats
    """

    numbers: Mapping[str, float]
    show_chance: float = 0.3
    fill: float = 0.7
    set_up: float = 10.0
    clean_up: float = 10.0
    minute_cost: float = 0.0
    litres: float | None = None


@dataclass(frozen=True, slots=True)
class Assignment:
    """One task with its time. ``who`` are numbers of people, from 0; ``chance`` is None without the brush."""

    task: TaskId
    start: datetime
    minutes: float
    who: tuple[int, ...]
    chance: float | None
    keeps: float
    litres: float = 0.0
    moved: bool = False  # it was promised for another time


@dataclass(frozen=True, slots=True)
class LeftOut:
    """One task without a time: why (a key of ``WHYS``), the numbers, and the other task it is about."""

    task: TaskId
    why: str
    numbers: Mapping[str, float]
    of: TaskId | None = None


@dataclass(frozen=True, slots=True)
class SessionWork:
    """The frame of a session with brush work: when one person sets up, and when one cleans up."""

    day: date
    set_up: datetime
    set_up_who: int
    clean_up: datetime
    clean_up_who: int


@dataclass(frozen=True, eq=False)
class Plan:
    """Who does what when.

    Attributes
    ----------
    assignments : by start
    left_out : every task that has no time, in the order given
    sessions : set-up and clean-up
    hands_price : by day, what a minute of one person costs in the unit of the gains (0: there is enough)
    litre_price : the same for a litre of wax
    value : what the plan keeps, set-up and clean-up taken off
    bound : no plan keeps more
    litres : wax it takes
    """

    assignments: tuple[Assignment, ...]
    left_out: tuple[LeftOut, ...]
    sessions: tuple[SessionWork, ...]
    hands_price: Mapping[date, float]
    litre_price: float
    value: float
    bound: float
    litres: float

    @property
    def optimal_within(self) -> float:
        """Share of the bound by which a better plan could be better at most; 0: none is."""
        return max(0.0, (self.bound - self.value) / self.bound) if self.bound > 0 else 0.0
