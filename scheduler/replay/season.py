"""One season, played by every policy on the same logs, hours, forecasts and hands. Pure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.normals import Normals
from scheduler.planning.worth import Numbers, choose, driver, horizon_of
from scheduler.replay.logs import Stock, Woods, losses, true_clock
from scheduler.replay.mornings import Morning, Seen
from scheduler.replay.policies import assign
from scheduler.replay.truth import CAUSES, Fates, Slots
from scheduler.weather.series import HOUR, Weather

__all__ = [
    "Foresight",
    "Ledgers",
    "Policy",
    "Program",
    "Rule",
    "Tally",
    "Truth",
    "foresight",
    "play",
    "truth_table",
]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741  -- index arrays
B = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Truth:
    """What one world does to the season's ends: money for each coat that holds, and for none.

    ``lost_cm`` (ends, slots), ``bare_cm`` (ends,) and ``spring_cm`` (ends,): coated in spring.
    """

    fates: Fates
    world: int
    lost_cm: F
    bare_cm: F
    spring_cm: F

    @property
    def held(self) -> B:
        """Whether a coat of each slot holds, (slots,)."""
        return self.fates.held(self.world)


def truth_table(
    fates: Fates,
    world: int,
    hours: tuple[F, F, F],
    stock: Stock,
    slots: Slots,
    woods: Woods,
    grain: Numbers,
    coat_m: float,
) -> Truth:
    """Losses of every end for every slot under the hours that the yard truly had."""
    clock = true_clock(hours, woods, grain)
    rows = np.arange(stock.count)
    lost, bare = losses(clock, stock, rows, slots.hours.astype(float), grain, coat_m)
    spring, _ = losses(clock, stock, rows, stock.until_h[:, None], grain, coat_m)
    return Truth(fates, world, lost, bare, spring[:, 0])


@dataclass(frozen=True, eq=False)
class Tally:
    """What a season came to under one policy.

    ``cost`` is money for wood, wax and labour; ``yes`` counts the mornings on which something was coated,
    ``asked`` those on which an end was open. ``days_open`` is a row for each end.
    """

    name: str
    ends: int
    coats: int
    spoiled: dict[str, int]
    wood_cm: float
    wood_money: float
    litres: float
    hours: float
    cost: float
    yes: int
    asked: int
    days_open: F
    left_open: int

    @property
    def bad(self) -> int:
        """Spoiled coats of all causes."""
        return sum(self.spoiled.values())


class Policy(Protocol):
    """Says which of the open ends are coated on a morning, and in which slot."""

    @property
    def name(self) -> str:
        """What it is called."""
        ...

    @property
    def in_spring(self) -> bool:
        """Whether ends that are left open are coated in spring where that pays."""
        ...

    def today(self, morning: Morning, rows: I, tried: B) -> tuple[int, I]:
        """Slot (-1: none) and the ends, the most urgent first."""
        ...


@dataclass(frozen=True, eq=False)
class Rule:
    """A rule of thumb: all open ends at the hour that the forecast gives, the oldest first."""

    name: str
    number: int
    again: bool
    in_spring: bool

    def today(self, morning: Morning, rows: I, tried: B) -> tuple[int, I]:
        """All ends, or those that have not been tried where the rule does not try again."""
        return int(morning.thumbs[self.number]), rows if self.again else rows[~tried[rows]]


@dataclass(frozen=True, eq=False)
class Foresight:
    """One who knew: every end on the day that an exact assignment gives it."""

    name: str
    day: I  # of each end, -1 none
    slot_of_day: I
    in_spring: bool = True

    def today(self, morning: Morning, rows: I, tried: B) -> tuple[int, I]:
        """The ends of this day."""
        return int(self.slot_of_day[morning.day]), rows[self.day[rows] == morning.day]


def foresight(name: str, truth: Truth, stock: Stock, slots: Slots, room: int) -> Foresight:
    """The cheapest plan with the hands at hand for one who knows which coats hold and what ends lose."""
    days = len(slots.days)
    first = np.full(days, -1, np.int64)
    for day in range(days):
        mine = slots.of(day)
        good = mine[truth.held[mine]]
        if good.size:
            first[day] = good[0]
    cost = np.full((stock.count, days), np.inf)
    usable = np.flatnonzero(first >= 0)
    cost[:, usable] = stock.per_cm[:, None] * truth.lost_cm[:, first[usable]] + stock.cost[:, None]
    cost[np.arange(days)[None, :] < stock.day[:, None]] = np.inf
    return Foresight(name, assign(cost, _left_open(truth, stock), room), first)


def _left_open(truth: Truth, stock: Stock) -> F:
    """Cost of an end that nobody coats before spring: it is coated then, or stays bare, whichever is less."""
    return np.minimum(stock.per_cm * truth.bare_cm, stock.per_cm * truth.spring_cm + stock.cost)


@dataclass(frozen=True, eq=False)
class Ledgers:
    """What the program knows of wood and weather besides the chances.

    ``record`` is what the station has written down; only hours before a morning are looked at.
    """

    record: Weather
    normals: Normals
    woods: Woods
    stock: Stock
    coat_m: float
    grain: Numbers
    worth: Numbers
    latitude: float
    show_chance: float

    def costs(self, at: datetime, seen: Seen, rows: I) -> tuple[F, F]:
        """Cost by the saw if a try of each day holds and, last, one in spring (ends, days + 1); and bare."""
        horizon = horizon_of(at, self.latitude, self.worth)
        start = self.record.start
        first = start + float(self.stock.cut_h[rows].min()) * HOUR
        past = self.record.between(max(first - HOUR, start), at) if at > start else None
        begin, hours = driver(at, first, horizon.sawn, past, seen.ahead, self.normals)
        shift = (begin - start) / HOUR
        clock = true_clock(hours, self.woods, self.grain)
        when = np.array(
            [max((s - begin) / HOUR, (at - begin) / HOUR) for s in (*seen.days.starts, horizon.end)]
        )
        sawn = (horizon.sawn - start) / HOUR
        lost, bare = losses(
            clock, self.stock, rows, when, self.grain, self.coat_m, sawn_h=sawn, shift_h=shift
        )
        per_cm = self.stock.per_cm[rows]
        return per_cm[:, None] * lost, per_cm * bare


@dataclass(frozen=True, eq=False)
class Program:
    """The program: the decision of a real morning, for all open ends at once."""

    name: str
    ledgers: Ledgers
    start: datetime
    seen: Callable[[Morning], Seen]
    in_spring: bool = True

    def today(self, morning: Morning, rows: I, tried: B) -> tuple[int, I]:
        """The ends for which a try today is the best there is, those first that lose most by waiting."""
        seen = self.seen(morning)
        slot = int(seen.slots[0]) if seen.slots.size else -1
        if slot < 0 or not rows.size or not seen.said[0] >= self.ledgers.show_chance:
            return -1, rows[:0]
        at = self.start + timedelta(hours=morning.hour)
        held, bare = self.ledgers.costs(at, seen, rows)
        cost = self.ledgers.stock.cost[rows]
        choice, now, _ = choose(cost, held, bare, seen.days, self.ledgers.worth)
        order = np.argsort(-(choice.wait - choice.try_now), kind="stable")
        order = order[now[order]]
        return slot, rows[order]


def play(
    policy: Policy,
    mornings: Sequence[Morning],
    stock: Stock,
    slots: Slots,
    truth: Truth,
    room: int,
    minutes: float,
) -> Tally:
    """Play a season: coat, and see on later mornings what became of it."""
    closed = np.zeros(stock.count, bool)  # coated, as far as anybody knows
    tried = np.zeros(stock.count, bool)
    back = np.full(stock.count, np.inf)  # hour at which a spoiled coat shows
    slot_held = np.full(stock.count, -1, np.int64)
    tries = np.zeros(stock.count, np.int64)
    spoiled = dict.fromkeys(CAUSES[1:], 0)
    yes = asked = 0
    for morning in mornings:
        closed[back <= morning.hour] = False
        back[back <= morning.hour] = np.inf
        rows = np.flatnonzero((stock.day <= morning.day) & ~closed)
        asked += bool(rows.size)
        slot, chosen = policy.today(morning, rows, tried)
        chosen = chosen[:room]
        if slot < 0 or not chosen.size:
            continue
        yes += 1
        closed[chosen], tried[chosen] = True, True
        tries[chosen] += 1
        cause = CAUSES[truth.fates.cause[truth.world, slot]]
        if cause == "held":
            slot_held[chosen] = slot
        else:
            spoiled[cause] += int(chosen.size)
            back[chosen] = slots.hours[slot] + truth.fates.known_h[truth.world, slot]
    return _tally(
        policy, stock, slots, truth, slot_held, tries, spoiled, minutes, (yes, asked), mornings[-1].hour
    )


def _tally(
    policy: Policy,
    stock: Stock,
    slots: Slots,
    truth: Truth,
    slot_held: I,
    tries: I,
    spoiled: dict[str, int],
    minutes: float,
    days: tuple[int, int],
    last_hour: int,
) -> Tally:
    done = slot_held >= 0
    rows = np.arange(stock.count)
    spring = ~done & policy.in_spring
    spring &= stock.per_cm * truth.spring_cm + stock.cost < stock.per_cm * truth.bare_cm
    lost = np.where(done, truth.lost_cm[rows, slot_held], np.where(spring, truth.spring_cm, truth.bare_cm))
    all_tries = tries + spring
    litres, labour = float(all_tries @ stock.litres), float(all_tries.sum()) * minutes / 60.0
    wood = float(lost @ stock.per_cm)
    until = np.where(done, slots.hours[slot_held], last_hour)
    return Tally(
        name=policy.name,
        ends=stock.count,
        coats=int(tries.sum()),
        spoiled=spoiled,
        wood_cm=float(lost.sum()),
        wood_money=wood,
        litres=litres,
        hours=labour,
        cost=wood + float(all_tries @ stock.cost),
        yes=days[0],
        asked=days[1],
        days_open=(until - stock.cut_h) / 24.0,
        left_open=int((~done).sum()),
    )
