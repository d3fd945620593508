"""The pail: what is in it and what the work needs, frost where it stands, warming it, ordering more.

Pure. A pail's warmth follows the air by Newton's law of cooling, with a time
constant from its litres: a full one lags by hours, scrapings freeze with the air.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from scheduler.coating.product import Coating, litres_for
from scheduler.planning.jobs import Job, wants_second
from scheduler.planning.normals import Normals
from scheduler.planning.outlook import Outlook
from scheduler.settings import CoatingChoice, Place, Species
from scheduler.weather.air import dew_point_from_humidity
from scheduler.weather.fine import PER_HOUR
from scheduler.yard.facts import Pail, Register

__all__ = [
    "Frost",
    "Order",
    "PailOutlook",
    "Warming",
    "Wax",
    "frost_ahead",
    "frost_weeks",
    "hours_before_brush",
    "order_of",
    "pail_outlook",
    "pails_out",
    "temperatures",
    "time_constant",
    "warming",
    "wax_of",
]

F = NDArray[np.float64]
Numbers = Mapping[str, float]
Standing = Literal["open", "roofed", "frost_free", "elsewhere", "unknown"]
DAY = timedelta(days=1)
OUTSIDE = frozenset({"yard", "outside", "outdoors", "open yard", "open"})
# What is neither one of the yard's places nor one of these may be anything: there the air calls the pail in.
INSIDE = frozenset({
    "indoors", "inside", "house", "home", "kitchen", "cellar", "basement", "bathroom", "hall", "hallway",
    "passage", "office", "bedroom", "room",
})  # fmt: skip


# ------------------------------------------------------------------ how it cools


def time_constant(litres: float, size: float, numbers: Numbers) -> float:
    """Hours in which a pail of ``size`` litres that holds ``litres`` comes 63 % nearer to the air.

    Its heat over what its surface gives away: a cylinder as tall as
    ``tallness`` times its width, filled to the share that is left.

    Raises
    ------
    ValueError
        When there is nothing in it, or more than it holds.
    """
    if not 0.0 < litres <= size * (1 + 1e-9):
        raise ValueError(f"A pail of {size:g} L cannot hold {litres:g} L.")
    radius = (size / 1000.0 / (2.0 * math.pi * numbers["tallness"])) ** (1.0 / 3.0)
    height = 2.0 * numbers["tallness"] * radius * litres / size
    surface = 2.0 * math.pi * radius * (radius + height)
    return float(litres * numbers["heat"] / (numbers["film_heat"] * surface) / 3600.0)


def temperatures(air_c: F, step_h: float, hours: float, start_c: F | float) -> F:
    """A pail's temperature at the end of each step, °C, shaped as ``air_c`` (members, steps).

    Exact for air that is even within a step: T' = (air - T) / ``hours``.
    NaN from the first unknown hour on.
    """
    kept = math.exp(-step_h / hours)
    out = np.empty_like(air_c, np.float64)
    now = np.broadcast_to(np.asarray(start_c, np.float64), air_c.shape[:1]).copy()
    for n in range(air_c.shape[1]):
        now = air_c[:, n] + (now - air_c[:, n]) * kept
        out[:, n] = now
    return out


def hours_to_warm(from_c: float, goal_c: float, room_c: float, hours: float) -> float | None:
    """Hours till a pail in a room reaches a temperature; 0 where it is there, None where it never does."""
    if from_c >= goal_c:
        return 0.0
    if room_c <= goal_c:
        return None
    return hours * math.log((room_c - from_c) / (room_c - goal_c))


# ------------------------------------------------------------------ what is in it


@dataclass(frozen=True, slots=True)
class Wax:
    """What there is and what the work needs, litres.

    ``left`` is None where nobody told of every pail; ``low`` and ``high`` hold what a
    word by eye leaves open. ``used`` is what was laid since the pails were told of.
    ``due`` is for the work that waits, ``coming`` for second coats after it and logs
    that are on their way.
    """

    left: float | None
    low: float | None
    high: float | None
    used: float
    due: float
    coming: float

    @property
    def need(self) -> float:
        """All that can be seen coming."""
        return self.due + self.coming

    def short(self, spare: float) -> float:
        """Litres to order: the need and a share to spare, less the low end of the stock; 0 if not known."""
        return 0.0 if self.low is None else max(0.0, self.need * (1.0 + spare) - self.low)


def wax_of(
    register: Register,
    jobs: Sequence[Job],
    coating: Coating,
    choice: CoatingChoice,
    species: Mapping[str, Species],
    assumed: Mapping[str, float],
    numbers: Numbers,
) -> Wax:
    """Stock and need of a yard.

    A coat takes its litres from the pail told longest ago before it, then from the next:
    what was laid before somebody looked into a pail is not in what was seen. Litres told
    with a coat go before those worked out from its ends; a coat stays laid when its face
    is cut off or its log divided.
    """
    size = choice.pail_litres or numbers["size"]
    told = [(row, pail.moment.time) for pail in register.pails if (row := _told(pail, size, numbers))]
    used = 0.0
    left = low = high = None
    if told and len(told) == len(register.pails):
        since = min(time for _, time in told)
        laid = [one for one in _laid(register, coating, assumed) if since < one[0] <= register.at]
        used = sum(litres for _, litres in laid)
        left, low, high = (_rest([(row[n], time) for row, time in told], laid) for n in range(3))
    return Wax(left, low, high, used, *_need(register, jobs, coating, choice, species, assumed))


def _rest(pails: Iterable[tuple[float, datetime]], laid: Iterable[tuple[datetime, float]]) -> float:
    """Litres that remain of pails (litres, when told) after what was laid (when, litres); never below 0."""
    rows = sorted(pails, key=lambda pail: pail[1])
    left = [litres for litres, _ in rows]
    for when, litres in laid:
        open_ = litres
        for n, (_, told) in enumerate(rows):
            if told < when:
                took = min(left[n], open_)
                left[n] -= took
                open_ -= took
    return sum(left)


def _told(pail: Pail, size: float, numbers: Numbers) -> tuple[float, float, float] | None:
    """Litres as told, with the least and the most that the words leave open."""
    if pail.litres is not None:
        return pail.litres, pail.litres, pail.litres
    if pail.by_eye is None:
        return None
    share, doubt = numbers[f"eye_{pail.by_eye}"], numbers["eye_doubt"]
    if share == 0.0:
        return 0.0, 0.0, 0.0
    return share * size, max(0.0, share - doubt) * size, min(1.0, share + doubt) * size


def _laid(register: Register, coating: Coating, assumed: Mapping[str, float]) -> list[tuple[datetime, float]]:
    """When coats were laid and the litres of each entry, oldest first; those of cut faces among them."""
    parents = {log.tag: log.parent for log in register.logs}
    told: dict[int, float] = {}
    worked: dict[int, float] = {}
    when: dict[int, datetime] = {}
    seen: set[tuple[str, str, int]] = set()
    for log in register.logs:
        root = log.tag
        while (above := parents.get(root)) is not None:
            root = above
        for end in log.ends:
            across = end.diameter_cm or assumed["butt"]
            for coat in (*(one for cut in end.cuts for one in cut.coats), *end.coats):
                mark = (root, end.name, coat.entry)
                if mark in seen:  # a piece has the coats of what it was cut from
                    continue
                seen.add(mark)
                when[coat.entry] = coat.moment.time
                if coat.litres is not None:
                    told[coat.entry] = coat.litres
                took = litres_for(coating, across, second=coat.layer >= 2, count=max(log.count, 1))
                worked[coat.entry] = worked.get(coat.entry, 0.0) + took
    return sorted((when[entry], told.get(entry, litres)) for entry, litres in worked.items())


def _need(
    register: Register,
    jobs: Sequence[Job],
    coating: Coating,
    choice: CoatingChoice,
    species: Mapping[str, Species],
    assumed: Mapping[str, float],
) -> tuple[float, float]:
    due = sum(job.litres for job in jobs if job.coats and not job.optional)
    coming = 0.0
    for job in jobs:
        wood = species.get(job.species or "")
        if job.kind in ("first_coat", "cut_and_coat") and wood and wants_second(wood, job.worth, choice):
            coming += job.litres * coating.second_share
    for log in register.logs:
        if log.state not in ("standing", "long", "expected") or log.skip:
            continue
        wood = species.get(log.species or "")
        twice = wood is not None and wants_second(wood, log.worth or "plain", choice)
        for end in log.ends:
            across = end.diameter_cm or assumed["butt"]
            one = litres_for(coating, across, count=max(log.count, 1))
            coming += one * (1.0 + (coating.second_share if twice else 0.0))
    return due, coming


# ------------------------------------------------------------------ where it stands


@dataclass(frozen=True, slots=True)
class Frost:
    """The coming night where a pail stands; °C and UTC.

    ``air_c`` and ``pail_c`` are medians of the members' lowest, ``share`` how many
    members have the pail at or below its frost; ``frost_at`` when the air comes to
    0 °C in the middle member, None where it does not.
    """

    pail: str
    place: str | None
    standing: Standing
    air_c: float | None
    pail_c: float | None
    share: float | None
    frost_at: datetime | None
    bring_in: bool


def standing_of(pail: Pail, places: Iterable[Place]) -> Standing:
    """What kind of place a pail stands in: one of the yard's, a room ("elsewhere"), or not known."""
    if pail.place is None:
        return "unknown"
    for place in places:
        if place.name.casefold() == pail.place.casefold():
            return "frost_free" if place.frost_free else "roofed" if place.roofed else "open"
    said = pail.place.casefold()
    return "open" if said in OUTSIDE else "elsewhere" if said in INSIDE else "unknown"


def pails_out(pails: Sequence[Pail], places: Sequence[Place]) -> bool:
    """Whether a pail stands where frost can come, or nobody told where one stands."""
    return not pails or any(standing_of(one, places) not in ("frost_free", "elsewhere") for one in pails)


def frost_ahead(
    pail: Pail, litres: float | None, outlook: Outlook, begin: datetime, end: datetime, *,
    size: float, least_c: float, share: float, numbers: Numbers,
) -> Frost:  # fmt: skip
    """The hours between two times where a pail stands, and whether it wants to be brought in.

    A pail whose place nobody told may stand in the yard: it is called in by the air
    alone. Where it is told, so is one whose own lowest comes under ``least_c``, or whose
    members freeze in more than ``share``; one of unknown stock goes by the air.
    """
    standing = standing_of(pail, outlook.yard.place)
    if standing in ("frost_free", "elsewhere"):
        return Frost(pail.name, pail.place, standing, None, None, None, None, False)
    first, last = max(int(outlook.step_of(begin)), 0), int(outlook.step_of(end))
    air = outlook.fine.air_c[:, first:last]
    if air.size == 0 or not np.isfinite(air).all():
        return Frost(pail.name, pail.place, standing, None, None, None, None, False)
    lows = air.min(axis=1)
    middle = int(np.argsort(lows)[(lows.size - 1) // 2])
    cold = np.flatnonzero(air[middle] <= 0.0)
    at = outlook.time_at(first + int(cold[0])) if cold.size else None
    inside: F | None = None
    if litres and standing != "unknown":
        back = max(0, first - int(numbers["back_hours"] * PER_HOUR))
        before = outlook.fine.air_c[:, back:last]
        if np.isfinite(before).all():
            start = before[:, : max(first - back, 1)].mean(axis=1)
            hours = time_constant(min(litres, size), size, numbers)
            inside = temperatures(before, 1.0 / PER_HOUR, hours, start)[:, first - back :].min(axis=1)
    pailed = lows if inside is None else inside
    frozen = float((pailed <= outlook.coating.freezes_at_c).mean())
    lowest = float(np.median(pailed))
    wanted = lowest <= least_c or frozen >= share
    return Frost(
        pail.name,
        pail.place,
        standing,
        float(np.median(lows)),
        None if inside is None else lowest,
        frozen,
        at,
        wanted,
    )


# ------------------------------------------------------------------ warming it


@dataclass(frozen=True, slots=True)
class Warming:
    """A cold pail before the brush: from when in the warm, and how long by itself."""

    pail: str
    now_c: float
    hours: float
    by: datetime
    brush: datetime


def warming(
    pail: Pail, litres: float | None, outlook: Outlook, brush: datetime, *, size: float, numbers: Numbers
) -> Warming | None:
    """When a pail has to come into the warm for a start of the brush; None where it is warm, or not known.

    By Newton's law in a warm room, and so many nights before as a big cold pail wants; never later than
    its own hours ask. How warm a frost-free place is nobody told: there it is taken for warm enough.
    """
    if standing_of(pail, outlook.yard.place) not in ("open", "roofed"):
        return None
    now = outlook.now_step
    back = max(0, now - int(numbers["back_hours"] * PER_HOUR))
    air = outlook.fine.air_c[:, back : max(now, back + 1)]
    if air.size == 0 or not np.isfinite(air).all():
        return None
    constant = time_constant(min(litres or size, size), size, numbers)
    path = temperatures(air, 1.0 / PER_HOUR, constant, air.mean(axis=1))
    cold = float(np.median(path[:, -1]))
    hours = hours_to_warm(cold, numbers["warm_goal"], numbers["warm_room"], constant)
    if not hours:
        return None
    nights = timedelta(hours=max(hours, 24.0 * numbers["warm_nights"]))
    latest = brush - timedelta(hours=hours)
    return Warming(pail.name, cold, hours, min(max(outlook.at, brush - nights), latest), brush)


def hours_before_brush(pails: Sequence[Pail], outlook: Outlook, *, size: float, numbers: Numbers) -> float:
    """Hours in a warm room that the soonest pail needs before the brush, 0 where one is warm or not known."""
    least = []
    for pail in pails:
        told = _told(pail, size, numbers)
        held = None if told is None else told[0]
        if held == 0.0:
            continue
        brush = outlook.at + timedelta(days=7)
        cold = warming(pail, held, outlook, brush, size=max(size, held or 0.0), numbers=numbers)
        least.append(0.0 if cold is None else cold.hours)
    return min(least, default=0.0)


# ------------------------------------------------------------------ ordering


@dataclass(frozen=True, slots=True)
class Order:
    """Wax to order: litres, the last good day for it, and the first week in which a van may freeze it."""

    litres: float
    by: date | None
    frost: date | None
    van_may_freeze: bool


def frost_weeks(normals: Normals, numbers: Numbers) -> NDArray[np.bool_]:
    """Days of the normals' year whose week has its usual coldest night at or below 0 °C, bool.

    The usual night comes down to about the dew point: in dry air far below the day's mean,
    in damp air little (FAO Irrigation and Drainage Paper 56, 1998, estimates the one by the other).
    """
    low = dew_point_from_humidity(normals.air_c, np.asarray(normals.humidity) * 100.0)
    return np.asarray(low + numbers["night_over"] - numbers["night_spread"] <= 0.0)


def order_of(wax: Wax, normals: Normals, today: date, numbers: Numbers) -> Order | None:
    """What to order and by when; None where the stock is not known or does.

    By the delivery's days and a margin before the first frosty week, common practice;
    in frost weeks at once, with a word about the van; at a place without frost in time
    for the work, which is to say at once.
    """
    litres = wax.short(numbers["spare"])
    if litres <= 0.0:
        return None
    frosty = frost_weeks(normals, numbers)
    year = frosty.size
    first = (today - normals.begins.date()).days % year
    ahead = np.roll(frosty, -first)
    if ahead[0]:
        return Order(litres, today, today, True)
    if not ahead.any() or wax.due > (wax.low or 0.0):
        frost = today + DAY * int(np.argmax(ahead)) if ahead.any() else None
        return Order(litres, today, frost, False)
    frost = today + DAY * int(np.argmax(ahead))
    by = frost - timedelta(days=numbers["delivery"] + numbers["frost_margin"])
    return Order(litres, max(by, today), frost, frost - timedelta(days=numbers["delivery"]) <= today)


# ------------------------------------------------------------------ all of it


@dataclass(frozen=True, slots=True)
class PailOutlook:
    """All that is said of the pails at one time."""

    wax: Wax
    frost: tuple[Frost, ...]
    warming: tuple[Warming, ...]
    order: Order | None
    coldest: tuple[tuple[str, float, int], ...]  # pail, coldest it may have met, nights with frost
    doubtful: tuple[str, ...]  # pails that may have frozen
    old: tuple[str, ...]  # opened longer ago than is good

    @property
    def bring_in(self) -> tuple[Frost, ...]:
        """Pails that want to come in before dark."""
        return tuple(one for one in self.frost if one.bring_in)


def pail_outlook(
    register: Register,
    jobs: Sequence[Job],
    outlook: Outlook | None,
    coating: Coating,
    choice: CoatingChoice,
    places: Sequence[Place],
    species: Mapping[str, Species],
    normals: Normals,
    at: datetime,
    *,
    today: date,
    night: tuple[datetime, datetime] | None,
    brush: datetime | None,
    assumed: Mapping[str, float],
    numbers: Numbers,
) -> PailOutlook:
    """Everything about the pails: ``night`` from now or dusk to the morning, ``brush`` the next start."""
    size = choice.pail_litres or numbers["size"]
    wax = wax_of(register, jobs, coating, choice, species, assumed, numbers)
    pails = [pail for pail in register.pails if pail.by_eye != "empty" and pail.litres != 0.0]
    litres = {pail.name: (row[0] if (row := _told(pail, size, numbers)) else None) for pail in pails}
    frost: list[Frost] = []
    warm: list[Warming] = []
    for pail in pails if outlook is not None else ():
        assert outlook is not None
        held = litres[pail.name]
        big = max(size, held or 0.0)
        if night is not None:
            frost.append(
                frost_ahead(
                    pail, held, outlook, *night, size=big, least_c=coating.pail_least_c,
                    share=assumed["pail_frost_share"], numbers=numbers,
                )
            )  # fmt: skip
        found = None if brush is None else warming(pail, held, outlook, brush, size=big, numbers=numbers)
        if found is not None:
            warm.append(found)
    nights = [(pail.name, _met(pail, register, places, coating)) for pail in pails]
    met = tuple((name, *row) for name, row in nights if row is not None)
    return PailOutlook(
        wax,
        tuple(frost),
        tuple(warm),
        order_of(wax, normals, today, numbers),
        met,
        tuple(name for name, cold, _ in met if cold <= coating.freezes_at_c),
        tuple(
            pail.name
            for pail in pails
            if pail.opened is not None and at - pail.opened.time > timedelta(days=numbers["hangs_on"])
        ),
    )


def _met(
    pail: Pail, register: Register, places: Sequence[Place], coating: Coating
) -> tuple[float, int] | None:
    """The coldest night a pail has met, as told or read in the yard, and how many were below its frost."""
    lows = [] if pail.coldest_c is None else [pail.coldest_c]
    if standing_of(pail, places) in ("open", "roofed"):
        lows += [low for when, low in register.minima_seen if when > pail.moment.time]
    return (min(lows), sum(low <= coating.freezes_at_c for low in lows)) if lows else None
