"""The pail: what is left, what the work needs, how cold it stands, when to order. Pure.

Heat: one lump of liquid behind its skin (Newton's law of cooling), its time
constant from litres and width; the air of a shed follows the air outside in the
same way. Freezing heat is left out: what is asked is when the limit is reached,
which lies above freezing, and a pail that has reached it is to be doubted anyway.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from statistics import NormalDist
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from scheduler.coating.product import Coating, litres_for
from scheduler.planning.jobs import Job
from scheduler.settings import Place
from scheduler.weather.history import DailyRecord, numbered
from scheduler.yard.facts import Coat, Pail, Register

__all__ = [
    "Guard",
    "Need",
    "Order",
    "Stock",
    "Use",
    "around_pail",
    "crossings",
    "follow",
    "guard_of",
    "kind_of_place",
    "needs_of",
    "order_of",
    "stock_of",
    "time_constant",
    "transit_chance",
    "transit_from",
    "uses_of",
    "usual_chance",
    "warm_hours",
    "warm_up",
]

F = NDArray[np.float64]
Numbers = Mapping[str, float]
Kind = Literal["outside", "shed", "frost_free", "heated"]
INDOORS = ("house", "home", "inside", "indoors", "kitchen", "room", "cellar", "basement", "boiler")
YEAR = 365
FIRST = ("first_coat", "cut_and_coat")


# ------------------------------------------------------------------ stock


@dataclass(frozen=True, slots=True)
class Use:
    """Litres that one entry's coats took; ``told`` is False where they were worked out from the ends."""

    when: datetime
    litres: float
    told: bool


@dataclass(frozen=True, slots=True)
class Stock:
    """Litres at hand: likely, least and most. None where no pail's stock was told.

    ``used`` was taken from the pails since they were told of, ``beyond`` is what the coats
    took more than the pails held by the keeper's word (0 where all agrees).
    """

    litres: float | None = None
    low: float | None = None
    high: float | None = None
    used: float = 0.0
    beyond: float = 0.0
    by_eye: bool = False
    size_assumed: bool = False


def uses_of(register: Register, coating: Coating, assumed_cm: float) -> tuple[Use, ...]:
    """What every coat told of took, oldest first; each entry counts once.

    Parameters
    ----------
    assumed_cm : width of an end whose size nobody told
    """
    parts: dict[int, list[tuple[Coat, float]]] = {}
    seen: set[tuple[str, str, int]] = set()
    for log in register.logs:
        for end in log.ends:
            for coat in (*(c for cut in end.cuts for c in cut.coats), *end.coats):
                mark = (log.parent or log.tag, end.name, coat.entry)
                if mark in seen:  # a piece has its parent's coats: the same wax
                    continue
                seen.add(mark)
                width = end.diameter_cm or assumed_cm
                took = litres_for(coating, width, second=coat.layer > 1, count=log.count)
                parts.setdefault(coat.entry, []).append((coat, took))
    out = []
    for coats in parts.values():
        told = next((coat.litres for coat, _ in coats if coat.litres is not None), None)
        litres = told if told is not None else sum(took for _, took in coats)
        out.append(Use(coats[0][0].moment.time, litres, told is not None))
    return tuple(sorted(out, key=lambda use: use.when))


def _holds(pail: Pail, numbers: Numbers) -> tuple[float, float, float] | None:
    """Litres likely, least, most when it was told."""
    if pail.litres is not None:
        return pail.litres, pail.litres, pail.litres
    if pail.by_eye is None:
        return None
    share = 0.0 if pail.by_eye == "empty" else numbers[pail.by_eye]
    size = pail.size_l or numbers["size"]
    wide = 1.0 if pail.size_l else numbers["size_doubt"]
    eye = numbers["eye_doubt"]
    return share * size, share * (1.0 - eye) * size / wide, min(share * (1.0 + eye), 1.0) * size * wide


def stock_of(pails: Iterable[Pail], uses: Iterable[Use], numbers: Numbers) -> Stock:
    """What the pails hold now: what was told of each, less what coats took since; never below zero.

    A coat takes from the pail told longest ago, and only from pails told before it.
    """
    rows = [(pail, held) for pail in pails if (held := _holds(pail, numbers)) is not None]
    rows.sort(key=lambda row: row[0].moment.time)
    if not rows:
        return Stock()
    left = np.array([held for _, held in rows], dtype=np.float64)
    used = beyond = 0.0
    for use in uses:
        rest = np.full(3, use.litres)
        theirs = [k for k, (pail, _) in enumerate(rows) if pail.moment.time < use.when]
        if not theirs:
            continue  # taken before anybody told what was left
        for k in theirs:
            took = np.minimum(left[k], rest)
            left[k] -= took
            rest -= took
        used += use.litres - float(rest[0])
        beyond += float(rest[0])
    likely, low, high = (float(x) for x in left.sum(axis=0))
    eye = [pail for pail, _ in rows if pail.by_eye not in (None, "empty")]
    return Stock(likely, low, high, used, beyond, bool(eye), any(not pail.size_l for pail in eye))


# ------------------------------------------------------------------ need


@dataclass(frozen=True, slots=True)
class Need:
    """Litres that the open work takes, by kind, and since when what is at hand does not do."""

    first: float
    second: float
    short_on: datetime | None = None  # the job for which the likely stock does not do any more
    short: float = 0.0  # litres missing by the likely stock
    sure: bool = False  # even the most that may be there does not do

    @property
    def litres(self) -> float:
        """All together."""
        return self.first + self.second


def needs_of(jobs: Iterable[Job], coating: Coating, stock: Stock, twice: set[tuple[str, str | None]]) -> Need:
    """Litres for all coats that the jobs name, and for the second coats that will follow a first.

    Parameters
    ----------
    twice : tag and end of those that get a second coat after the first that is due
    """
    first = second = total = 0.0
    short_on = None
    for job in sorted((j for j in jobs if j.coats and not j.optional), key=lambda j: j.due):
        again = job.litres * coating.second_share if (job.tag, job.end) in twice else 0.0
        first += job.litres if job.kind in FIRST else 0.0
        second += again + (0.0 if job.kind in FIRST else job.litres)
        total += job.litres + again
        if short_on is None and stock.litres is not None and total > stock.litres + 1e-9:
            short_on = job.due
    if stock.litres is None or short_on is None:
        return Need(first, second)
    return Need(first, second, short_on, total - stock.litres, total > (stock.high or 0.0))


# ------------------------------------------------------------------ order


@dataclass(frozen=True, slots=True)
class Order:
    """By when to order, and why: ``work`` (it runs short) or ``frost`` (carriers' frost comes first)."""

    by: date | None
    why: Literal["work", "frost", "none", "unknown"]
    frost_from: date | None  # first day on which a delivery may meet frost
    frost_until: date | None  # first day after it without
    days_left: float | None  # at the pace of the last weeks


def transit_chance(record: DailyRecord, limit_c: float, days: float, shift_c: float = 0.0) -> F:
    """Share of nights at or below ``limit_c`` by day of the calendar (365,), days around taken together.

    ``shift_c`` is what the yard is colder (negative) than the record. NaN where no year says.
    """
    number = numbered(record.dates) % YEAR
    low = record.min_c + shift_c
    known = np.isfinite(low)
    count = np.bincount(number[known], minlength=YEAR).astype(np.float64)
    cold = np.bincount(number[known], (low[known] <= limit_c + 1e-9).astype(np.float64), YEAR)
    around = np.arange(-int(days), int(days) + 1)
    rows = (np.arange(YEAR)[:, None] + around) % YEAR
    seen = count[rows].sum(axis=1)
    share: F = np.divide(cold[rows].sum(axis=1), seen, out=np.full(YEAR, np.nan), where=seen > 0)
    return share


def usual_chance(usual_c: F, limit_c: float, numbers: Numbers) -> F:
    """The same from the usual air of each coming day, where no record of days is at hand."""
    nights = NormalDist(numbers["night_below"], numbers["night_spread"])
    return np.array([1.0 - nights.cdf(float(air) - limit_c) for air in usual_c])


def transit_from(chance: F, numbers: Numbers) -> tuple[int | None, int | None]:
    """Days from now to the first endangered one and to the first after it that is not; None: not in a year.

    ``chance`` by day ahead, (365,), today first.
    """
    cold = np.nan_to_num(chance) >= numbers["transit_chance"]
    if not cold.any():
        return None, None
    first = int(np.argmax(cold))
    after = np.flatnonzero(~cold[first:])
    return first, first + int(after[0]) if after.size else None


def order_of(today: date, need: Need, stock: Stock, chance: F, pace: float, numbers: Numbers) -> Order:
    """By when to order so that it comes before the work stands still and before frost on the road.

    Parameters
    ----------
    chance : of a night at or below the product's least by day ahead, (365,)
    pace : litres a day that the yard used lately
    """
    begin, end = transit_from(chance, numbers)
    starts = None if begin is None else today + timedelta(days=begin)
    until = None if end is None else today + timedelta(days=end)
    if stock.litres is None:
        return Order(None, "unknown", starts, until, None)
    left = stock.litres / pace if pace > 0 else None
    lead = timedelta(days=numbers["order_lead"])
    if need.short_on is not None:
        runs_out: date | None = max(need.short_on.date(), today)
    else:
        runs_out = today + timedelta(days=left) if left is not None and left < YEAR else None
    if runs_out is None:
        return Order(None, "none", starts, until, left)
    by, why = max(today, runs_out - lead), "work"
    if begin and starts is not None and (until is None or runs_out < until):
        road = starts - lead - timedelta(days=numbers["order_spare"])
        if road < by:
            by, why = max(today, road), "frost"
    return Order(by, "frost" if why == "frost" else "work", starts, until, left)


# ------------------------------------------------------------------ heat


def time_constant(litres: float, size_l: float, numbers: Numbers) -> float:
    """Hours in which the liquid comes 63 % nearer to the air around it.

    The pail is a cylinder as wide as high; what is left stands in it to its height
    and gives off heat through floor, top and wetted wall.
    """
    size = max(size_l, litres, 0.1) * 1e-3
    volume = max(litres, 0.05) * 1e-3
    width = (4.0 * size / math.pi) ** (1.0 / 3.0)
    floor = math.pi / 4.0 * width**2
    area = 2.0 * floor + math.pi * width * (volume / floor)
    return float(numbers["heat_capacity"] * 1e6 * volume / (numbers["transfer"] * area) / 3600.0)


def follow(around_c: F, step_h: float, tau_h: float, start_c: F | float | None = None) -> F:
    """Temperature (members, n) of a lump in surroundings (members, n), linear between the steps; exact.

    Without ``start_c`` it begins at the first known surroundings of each member; unknown
    surroundings leave all that comes after unknown.
    """
    air = np.atleast_2d(np.asarray(around_c, np.float64))
    out = np.full(air.shape, np.nan)
    keep = math.exp(-step_h / tau_h) if tau_h > 0 else 0.0
    now = np.full(air.shape[0], np.nan)
    begun = np.zeros(air.shape[0], bool)
    for k in range(air.shape[1]):
        if k:
            slope = (air[:, k] - air[:, k - 1]) / step_h * tau_h
            now = air[:, k] - slope + (now - air[:, k - 1] + slope) * keep
        fresh = ~begun & np.isfinite(air[:, k])
        now = np.where(fresh, air[:, k] if start_c is None else start_c, now)
        begun |= fresh
        out[:, k] = now
    return out


def kind_of_place(name: str | None, places: Sequence[Place]) -> Kind:
    """What a place does to a pail; the yard's own places first, then the words for a heated room."""
    if name is None:
        return "outside"
    known = next((p for p in places if p.name.casefold() == name.casefold()), None)
    if known is None:
        return "heated" if any(word in name.casefold().split() for word in INDOORS) else "outside"
    if known.frost_free:
        return "frost_free"
    return "shed" if known.roofed else "outside"


def around_pail(kinds: Sequence[tuple[int, Kind]], air_c: F, step_h: float, numbers: Numbers) -> F:
    """Air around the pail (members, n): ``kinds`` are (first step, kind of place) in order."""
    shed = follow(air_c, step_h, numbers["shed_lag"])
    made = {
        "outside": air_c,
        "shed": shed,
        "frost_free": np.maximum(shed, numbers["frost_free"]),
        "heated": np.full(air_c.shape, numbers["room"]),
    }
    out = np.array(air_c, np.float64)
    for first, kind in kinds:
        out[:, max(first, 0) :] = made[kind][:, max(first, 0) :]
    return out


def crossings(path_c: F, limit_c: float) -> int:
    """How often a path has fallen to the limit and come above it again, the last fall counted too."""
    below = np.nan_to_num(path_c, nan=math.inf) <= limit_c
    return int((below & ~np.concatenate([[False], below[:-1]])).sum())


@dataclass(frozen=True, slots=True)
class Guard:
    """The pail's night: lowest (median), chance of falling to its least, and the step by which to act."""

    lowest_c: float | None
    chance: float | None  # of falling to the product's least; None: not known
    step: int | None  # first step at which ``share`` of the members are there


def guard_of(path_c: F, first: int, last: int, least_c: float, share: float) -> Guard:
    """What the steps ``first`` to ``last`` bring a pail whose temperature is ``path_c`` (members, n).

    Members that are unknown are left out; more than one in ten unknown: nothing is said.
    """
    part = path_c[:, max(first, 0) : max(last, 0)]
    known = np.isfinite(part).all(axis=1) if part.size else np.zeros(0, bool)
    if known.size == 0 or known.mean() < 0.9:
        return Guard(None, None, None)
    fallen = np.minimum.accumulate(part[known], axis=1)
    reached = (fallen <= least_c).mean(axis=0)
    hit = np.flatnonzero(reached >= share)
    step = max(first, 0) + int(hit[0]) if hit.size and reached[-1] > 0 else None
    return Guard(float(np.median(fallen[:, -1])), float(reached[-1]), step)


def warm_hours(now_c: float, target_c: float, tau_h: float, numbers: Numbers) -> float | None:
    """Hours in a heated room until the pail is at ``target_c``, margin included; None: it is too cold for that."""
    room = numbers["room"]
    if now_c >= target_c:
        return 0.0
    if target_c >= room:
        return None
    return numbers["warm_factor"] * tau_h * math.log((room - now_c) / (room - target_c))


def warm_up(
    start: datetime,
    now_c: float,
    at_start_c: float,
    least_c: float,
    tau_h: float,
    lead_h: float,
    numbers: Numbers,
) -> datetime | None:
    """When the pail must come into a heated room for a coat at ``start``; None: it is warm enough.

    Parameters
    ----------
    now_c, at_start_c : the pail now, and at the start where it stands
    least_c : least temperature for the brush
    lead_h : at most so long ahead
    """
    target = least_c + numbers["warm_spare"]
    if at_start_c >= target:
        return None
    hours = warm_hours(min(now_c, at_start_c), target, tau_h, numbers)
    return start - timedelta(hours=lead_h if hours is None else min(hours, lead_h))
