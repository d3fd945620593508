"""One season, played by every policy on the same logs, hours, forecasts and hands. Pure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.chances import DayChances
from scheduler.planning.normals import Normals
from scheduler.planning.worth import Numbers, choose, driver, horizon_of
from scheduler.replay.logs import Stock, Woods, losses, true_clock
from scheduler.replay.mornings import Look, Morning, Seen
from scheduler.replay.policies import assign
from scheduler.replay.truth import CAUSES, Fates, Slots
from scheduler.rules.engine import PASS, UNKNOWN
from scheduler.settings import physics
from scheduler.weather.series import HOUR, Weather

__all__ = [
    "Care",
    "Careful",
    "Deed",
    "Foresight",
    "Ledgers",
    "Policy",
    "Program",
    "Rule",
    "Tally",
    "Truth",
    "foresight",
    "gusts_of",
    "play",
    "truth_table",
]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741  -- index arrays
B = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Care:
    """What a hand on the wood and a sheet cost, and when a sheet can be laid and holds.

    ``feel``: money for one walk in vain; ``sheet``: money to lay one over an end and take it off;
    ``brush_h``: hours after the start from which a sheet may lie; ``lay_ms``, ``hold_ms``: gusts in which
    one pair of hands can lay it, and in which it stays.
    """

    feel: float
    sheet: float
    feel_h: float
    sheet_h: float
    brush_h: float
    lay_ms: float
    hold_ms: float


@dataclass(frozen=True, eq=False)
class Truth:
    """What one world does to the season's ends: money for each coat that holds, and for none.

    ``lost_cm`` (ends, slots), ``bare_cm`` (ends,) and ``spring_cm`` (ends,): coated in spring.
    ``gust_ms`` (hours,) of the record at the yard's station.
    """

    fates: Fates
    world: int
    lost_cm: F
    bare_cm: F
    spring_cm: F
    slot_h: I
    gust_ms: F
    care: Care

    @property
    def held(self) -> B:
        """Whether a coat of each slot holds, (slots,)."""
        return self.fates.held(self.world)

    def felt(self, slot: int) -> bool:
        """Whether a hand finds water or frost on the face when the brush would begin."""
        return bool(self.fates.felt[self.world, slot])

    def lays(self, slot: int, sheet_h: float) -> bool:
        """Whether a sheet can be laid over a coat so many hours after its start."""
        if not np.isfinite(sheet_h):
            return False
        hour = min(int(self.slot_h[slot] + sheet_h), self.gust_ms.size - 1)
        return bool(self.gust_ms[hour] <= self.care.lay_ms)

    def fate(self, slot: int, sheet_h: float = np.inf) -> tuple[int, float]:
        """(cause, hours until it is known) of a coat with a sheet over it from so many hours on."""
        f, w = self.fates, self.world
        rain = float(f.rain_h[w, slot])
        kept = np.isfinite(rain) and rain >= sheet_h
        if kept:
            begin, end = int(self.slot_h[slot] + sheet_h), int(self.slot_h[slot] + rain) + 1
            kept = float(self.gust_ms[begin:end].max(initial=0.0)) <= self.care.hold_ms
        if kept:
            return int(f.sheet_cause[w, slot]), float(f.sheet_known_h[w, slot])
        return int(f.cause[w, slot]), float(f.known_h[w, slot])


def truth_table(
    fates: Fates,
    world: int,
    hours: tuple[F, F, F],
    stock: Stock,
    slots: Slots,
    woods: Woods,
    grain: Numbers,
    coat_m: float,
    gust_ms: F,
    care: Care,
) -> Truth:
    """Losses of every end for every slot under the hours that the yard truly had."""
    clock = true_clock(hours, woods, grain)
    rows = np.arange(stock.count)
    lost, bare = losses(clock, stock, rows, slots.hours.astype(float), grain, coat_m)
    spring, _ = losses(clock, stock, rows, stock.until_h[:, None], grain, coat_m)
    return Truth(fates, world, lost, bare, spring[:, 0], slots.hours, gust_ms, care)


@dataclass(frozen=True, eq=False)
class Deed:
    """Ends coated in a slot, the most urgent first, with a sheet from so many hours on (inf: none)."""

    slot: int
    rows: I
    sheet_h: float = np.inf


@dataclass(frozen=True, eq=False)
class Tally:
    """What a season came to under one policy.

    ``cost`` is money for wood, wax and labour; ``yes`` counts the mornings on which something was coated,
    ``asked`` those on which an end was open. ``days_open`` is a row for each end; ``sheets`` are ends
    covered, ``walks`` those in vain, to ends that a hand found wet.
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
    sheets: int = 0
    walks: int = 0

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

    @property
    def hand(self) -> bool:
        """Whether a hand is laid on the wood first, and a wet or frosty face let wait."""
        ...

    def today(self, morning: Morning, rows: I, tried: B, after: int) -> Sequence[Deed]:
        """What is coated of these ends, in slots behind ``after`` alone (-1: any)."""
        ...

    def evening(self, morning: Morning, slot: int, rows: I) -> B:
        """Which of these ends, coated in a slot of today or yesterday, get a sheet before dark."""
        ...


class _NoSheet:
    """One who lays no sheets."""

    def evening(self, morning: Morning, slot: int, rows: I) -> B:
        """None."""
        return np.zeros(rows.size, bool)


@dataclass(frozen=True, eq=False)
class Rule(_NoSheet):
    """A rule of thumb: all open ends at the hour that the forecast gives, the oldest first."""

    name: str
    number: int
    again: bool
    in_spring: bool
    hand: bool = False

    def today(self, morning: Morning, rows: I, tried: B, after: int = -1) -> Sequence[Deed]:
        """All ends, or those that have not been tried where the rule does not try again."""
        mine = morning.thumbs[self.number]
        mine = mine[mine > after]
        if not mine.size:
            return ()
        return (Deed(int(mine[0]), rows if self.again else rows[~tried[rows]]),)


@dataclass(frozen=True, eq=False)
class Foresight(_NoSheet):
    """One who knew: every end on the day that an exact assignment gives it.

    ``slot`` and ``sheet_h`` (ends, days): when, and with which sheet.
    """

    name: str
    day: I  # of each end, -1 none
    slot: I
    sheet_h: F
    in_spring: bool = True
    hand: bool = False

    def today(self, morning: Morning, rows: I, tried: B, after: int = -1) -> Sequence[Deed]:
        """The ends of this day."""
        mine = rows[self.day[rows] == morning.day]
        kinds = [(int(self.slot[row, morning.day]), float(self.sheet_h[row, morning.day])) for row in mine]
        return [
            Deed(slot, mine[[kind == (slot, sheet) for kind in kinds]], sheet)
            for slot, sheet in dict.fromkeys(kinds)
        ]


def foresight(
    name: str,
    truth: Truth,
    stock: Stock,
    slots: Slots,
    room: int,
    darks: Sequence[int] | None = None,
) -> Foresight:
    """The cheapest plan with the hands at hand for one who knows which coats hold and what ends lose.

    ``darks``: the hour of each day at which sheets may be laid; None: there are no sheets.
    """
    days = len(slots.days)
    shape = (stock.count, days)
    cost, slot_of, sheet_of = np.full(shape, np.inf), np.full(shape, -1, np.int64), np.full(shape, np.inf)
    for day in range(days):
        for slot, sheet_h in _ways(truth, slots, day, darks):
            one = stock.per_cm * truth.lost_cm[:, slot] + stock.cost
            one = one + (truth.care.sheet if np.isfinite(sheet_h) else 0.0)
            better = one < cost[:, day]
            cost[better, day], slot_of[better, day] = one[better], slot
            sheet_of[better, day] = sheet_h
    cost[np.arange(days)[None, :] < stock.day[:, None]] = np.inf
    return Foresight(name, assign(cost, _left_open(truth, stock), room), slot_of, sheet_of)


def _ways(truth: Truth, slots: Slots, day: int, darks: Sequence[int] | None) -> list[tuple[int, float]]:
    """(slot, sheet) of the day's first coat that holds in the open, and of the first under a sheet."""
    mine = slots.of(day)
    good = mine[truth.held[mine]]
    out = [(int(good[0]), np.inf)] if good.size else []
    for slot in mine if darks is not None else ():
        if good.size and slot >= good[0]:
            break
        hours = [truth.care.brush_h, *(dark - truth.slot_h[slot] for dark in (darks or ())[day : day + 2])]
        for sheet_h in hours:
            laid = sheet_h >= truth.care.brush_h and truth.lays(int(slot), sheet_h)
            if laid and CAUSES[truth.fate(int(slot), sheet_h)[0]] == "held":
                return [*out, (int(slot), float(sheet_h))]
    return out


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
class Program(_NoSheet):
    """The program: the decision of a real morning, for all open ends at once."""

    name: str
    ledgers: Ledgers
    start: datetime
    seen: Callable[[Morning], Seen]
    in_spring: bool = True
    hand: bool = False

    def today(self, morning: Morning, rows: I, tried: B, after: int = -1) -> Sequence[Deed]:
        """The ends for which a try today is the best there is, those first that lose most by waiting."""
        seen = self.seen(morning)
        slot = int(seen.slots[0]) if seen.slots.size else -1
        if slot < 0 or not rows.size or not seen.said[0] >= self.ledgers.show_chance:
            return ()
        at = self.start + timedelta(hours=morning.hour)
        held, bare = self.ledgers.costs(at, seen, rows)
        cost = self.ledgers.stock.cost[rows]
        choice, now, _ = choose(cost, held, bare, seen.days, self.ledgers.worth)
        order = np.argsort(-(choice.wait - choice.try_now), kind="stable")
        return (Deed(slot, rows[order[now[order]]]),)


@dataclass(frozen=True, eq=False)
class Careful:
    """The program with a hand on the wood before the brush, and a sheet wherever that pays.

    A notice asks for a sheet only over a coat that rather fails than holds; here it is laid as soon as what
    it saves is worth more than the laying. It keeps the rain off and changes nothing else.

    ``risk``: (morning, slot) -> share of the afternoon's members in which only a sheet saves the coat; 0
    where it is too windy for one.
    """

    name: str
    ledgers: Ledgers
    start: datetime
    care: Care
    risk: Callable[[Morning, int], float]
    slot_h: I
    in_spring: bool = True
    hand: bool = True
    _stake: dict[int, float] = field(default_factory=dict)  # of each end, what a failure costs

    def today(self, morning: Morning, rows: I, tried: B, after: int = -1) -> Sequence[Deed]:
        """The ends for which a try today, in the open or under a sheet, is the best there is."""
        seen = morning.seen
        if not rows.size or not seen.slots.size:
            return ()
        at = self.start + timedelta(hours=morning.hour)
        held, bare = self.ledgers.costs(at, seen, rows)
        cost, numbers = self.ledgers.stock.cost[rows], self.ledgers.worth
        tries, waits, slots, failed = [], [], [], []
        for k, look in enumerate((seen.open, seen.sheet)):
            days, slot, said, wet = _behind(seen, look, k, after)
            extra = np.zeros((rows.size, days.chances.days))
            extra[:, : wet.size] -= cost[:, None] * wet
            extra += self.care.sheet * k
            choice, _, _ = choose(cost, held, bare, days, numbers, extra)
            able = slot >= 0 and said >= self.ledgers.show_chance
            able = able and (k == 0 or self._calm(morning, slot))
            tries.append(choice.try_now if able else np.full(rows.size, np.inf))
            waits.append(choice.wait)
            slots.append(slot)
            failed.append(choice.failed[:, 0] - held[:, 0])
        far = np.minimum(bare, cost + held[:, -1])
        best, wait = np.argmin(tries, axis=0), np.minimum(*waits)
        now_cost = np.minimum(*tries)
        now = (now_cost < far) & (now_cost <= wait + numbers["eager"] * cost)
        order = np.argsort(-(wait - np.where(np.isfinite(now_cost), now_cost, 0.0)), kind="stable")
        order = order[now[order]]
        self._stake.update(zip(rows.tolist(), failed[0].tolist(), strict=True))
        sheet = (np.inf, self.care.brush_h)
        deeds = (Deed(slots[k], rows[order[best[order] == k]], sheet[k]) for k in (0, 1))
        return [deed for deed in deeds if deed.rows.size]

    def evening(self, morning: Morning, slot: int, rows: I) -> B:
        """Those for which what the sheet would save is worth the laying."""
        risk = self.risk(morning, slot)
        return np.array([risk * self._stake.get(int(row), 0.0) > self.care.sheet for row in rows], bool)

    def _calm(self, morning: Morning, slot: int) -> bool:
        """Whether the forecast lets a sheet be laid after the brush, and lie for a day."""
        told = morning.told
        hour = round((self.start - told.start) / HOUR + float(self.slot_h[slot]) + self.care.brush_h)
        gust = gusts_of(told)[hour : hour + 24]
        return bool(gust.size and gust[0] <= self.care.lay_ms and gust.max() <= self.care.hold_ms)


def gusts_of(told: Weather) -> F:
    """Gusts of each hour, from the wind where they are not told, (hours,)."""
    return np.asarray(
        told.wind_ms[0] * physics()["rough_wind_gust"] if told.gust_ms is None else told.gust_ms[0]
    )


def _behind(seen: Seen, look: Look, k: int, after: int) -> tuple[DayChances, int, float, F]:
    """(chances, today's slot, its chance, wet shares) when slots up to ``after`` have gone by."""
    if after < 0:
        return look.days, int(look.slots[0]), float(look.said[0]), look.wet
    left = np.flatnonzero(seen.today > after)
    if not left.size:
        return look.days, -1, 0.0, look.wet
    rows = seen.outcome[k][:, left]
    best = int(np.argmax((rows == PASS).sum(axis=0)))
    holds = look.days.chances.holds.copy()
    holds[:, 0] = np.where(rows[:, best] == UNKNOWN, np.nan, rows[:, best] == PASS)
    days = replace(look.days, chances=replace(look.days.chances, holds=holds))
    wet = np.concatenate([[0.0], look.wet[1:]])
    return days, int(seen.today[left[best]]), float(days.chances.plain()[0]), wet


@dataclass(eq=False)
class _Coats:
    """Ends coated in one slot on one day, until it is known what became of them."""

    day: int
    slot: int
    rows: I
    sheet_h: float
    done: bool = False


@dataclass(eq=False)
class _Book:
    """The state of a season while it is played."""

    stock: Stock
    slots: Slots
    truth: Truth

    def __post_init__(self) -> None:
        n = self.stock.count
        self.closed, self.tried = np.zeros(n, bool), np.zeros(n, bool)
        self.tries, self.slot_held = np.zeros(n, np.int64), np.full(n, -1, np.int64)
        self.spoiled = dict.fromkeys(CAUSES[1:], 0)
        self.coats: list[_Coats] = []
        self.sheets = self.walks = self.yes = self.asked = 0

    def open_rows(self, day: int) -> I:
        """Ends that are there and, as far as anybody knows, bare."""
        return np.flatnonzero((self.stock.day <= day) & ~self.closed)

    def coat(self, day: int, deed: Deed) -> None:
        """Brush."""
        rows = deed.rows
        self.closed[rows], self.tried[rows] = True, True
        self.tries[rows] += 1
        self.coats.append(_Coats(day, deed.slot, rows, np.inf))
        if np.isfinite(deed.sheet_h):
            self.cover(self.coats[-1], np.ones(rows.size, bool), deed.sheet_h)

    def cover(self, coats: _Coats, which: B, sheet_h: float) -> None:
        """Lay sheets where the wind allows it."""
        if not which.any() or not self.truth.lays(coats.slot, sheet_h):
            return
        if not which.all():
            self.coats.append(_Coats(coats.day, coats.slot, coats.rows[~which], coats.sheet_h))
            coats.rows = coats.rows[which]
        coats.sheet_h = sheet_h
        self.sheets += int(coats.rows.size)

    def settle(self, hour: float) -> None:
        """Open again what has been seen to be spoiled by an hour."""
        for one in self.coats:
            cause, known = self.truth.fate(one.slot, one.sheet_h)
            if not one.done and CAUSES[cause] != "held" and self.slots.hours[one.slot] + known <= hour:
                one.done = True
                self.closed[one.rows] = False
        self.coats = [one for one in self.coats if not self._counted(one)]

    def _counted(self, one: _Coats) -> bool:
        if one.done:
            self.count(one)
        return one.done

    def count(self, one: _Coats) -> None:
        """Put down what became of coats."""
        cause = CAUSES[self.truth.fate(one.slot, one.sheet_h)[0]]
        if cause == "held":
            self.slot_held[one.rows] = one.slot
        else:
            self.spoiled[cause] += int(one.rows.size)


def play(
    policy: Policy,
    mornings: Sequence[Morning],
    stock: Stock,
    slots: Slots,
    truth: Truth,
    room: int,
    minutes: float,
    darks: Sequence[int] = (),
) -> Tally:
    """Play a season: coat, and see on later mornings what became of it.

    ``darks``: the hour of each day at which sheets may be laid, as the policy wishes.
    """
    book = _Book(stock, slots, truth)
    for number, morning in enumerate(mornings):
        book.settle(morning.hour)
        book.asked += bool(book.open_rows(morning.day).size)
        book.yes += _brush(policy, book, morning, room)
        if darks:
            _before_dark(policy, book, morning, darks[number])
    for one in book.coats:
        book.count(one)
    return _tally(policy, book, minutes, mornings[-1].hour)


def _brush(policy: Policy, book: _Book, morning: Morning, room: int) -> bool:
    """The coats of a morning; whether there were any."""
    after, coated = -1, False
    while True:
        rows = book.open_rows(morning.day)
        deeds = policy.today(morning, rows, book.tried, after)
        deeds = [deed for deed in deeds if deed.slot >= 0 and deed.rows.size]
        wet = [deed for deed in deeds if policy.hand and book.truth.felt(deed.slot)]
        book.walks += bool(wet)
        for deed in deeds:
            if deed not in wet and room > 0:
                book.coat(morning.day, replace(deed, rows=deed.rows[:room]))
                room -= min(int(deed.rows.size), room)
                coated = True
        if not wet or room <= 0:
            return coated
        after = min(deed.slot for deed in wet)


def _before_dark(policy: Policy, book: _Book, morning: Morning, dark: int) -> None:
    """Sheets over the coats of today and yesterday."""
    for one in tuple(book.coats):
        sheet_h = dark - int(book.slots.hours[one.slot])
        if not one.done and not np.isfinite(one.sheet_h) and morning.day - one.day <= 1:
            sheet_h = max(sheet_h, int(np.ceil(book.truth.care.brush_h)))
            book.cover(one, policy.evening(morning, one.slot, one.rows), float(sheet_h))


def _tally(policy: Policy, book: _Book, minutes: float, last_hour: int) -> Tally:
    stock, truth, slot_held = book.stock, book.truth, book.slot_held
    done = slot_held >= 0
    rows = np.arange(stock.count)
    spring = ~done & policy.in_spring
    spring &= stock.per_cm * truth.spring_cm + stock.cost < stock.per_cm * truth.bare_cm
    lost = np.where(done, truth.lost_cm[rows, slot_held], np.where(spring, truth.spring_cm, truth.bare_cm))
    all_tries = book.tries + spring
    care = book.sheets * truth.care.sheet + book.walks * truth.care.feel
    labour = float(all_tries.sum()) * minutes / 60.0
    labour += book.sheets * truth.care.sheet_h + book.walks * truth.care.feel_h
    wood = float(lost @ stock.per_cm)
    until = np.where(done, book.slots.hours[slot_held], last_hour)
    return Tally(
        name=policy.name,
        ends=stock.count,
        coats=int(book.tries.sum()),
        spoiled=book.spoiled,
        wood_cm=float(lost.sum()),
        wood_money=wood,
        litres=float(all_tries @ stock.litres),
        hours=labour,
        cost=wood + float(all_tries @ stock.cost) + care,
        yes=book.yes,
        asked=book.asked,
        days_open=(until - stock.cut_h) / 24.0,
        left_open=int((~done).sum()),
        sheets=book.sheets,
        walks=book.walks,
    )
