"""Everything there is to say of the pails of a yard at one time: stock, need, order, cold, warming. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from scheduler.coating.product import Coating
from scheduler.planning.jobs import Job
from scheduler.planning.night import suns_of
from scheduler.planning.pail import (
    FIRST,
    Guard,
    Kind,
    Need,
    Order,
    Stock,
    around_pail,
    crossings,
    follow,
    guard_of,
    kind_of_place,
    needs_of,
    order_of,
    stock_of,
    time_constant,
    uses_of,
    warm_up,
)
from scheduler.yard.facts import Pail, Register

if TYPE_CHECKING:
    from collections.abc import Mapping

    from scheduler.planning.outlook import Outlook

__all__ = ["PailNews", "PailState", "pail_news"]

F = NDArray[np.float64]
HALF_HOUR = timedelta(minutes=30)
MORNING = 12  # the guard looks ahead to noon tomorrow


@dataclass(frozen=True, slots=True)
class PailState:
    """One pail under the weather. Temperatures in °C, None where not known."""

    pail: Pail
    kind: Kind
    tau_h: float
    now_c: float | None
    guard: Guard
    bring_in: datetime | None  # by when, None: it may stand
    warm_by: datetime | None  # into a heated room by then for the next coat
    coat_at: datetime | None
    coldest_c: float | None  # told, or worked out for the hours since it stands there
    falls: int  # times it was at freezing, as told or as worked out
    doubtful: bool


@dataclass(frozen=True, slots=True)
class PailNews:
    """What is to be told of all pails."""

    stock: Stock
    need: Need
    order: Order
    pails: tuple[PailState, ...]


def pail_news(
    register: Register,
    jobs: Sequence[Job],
    coating: Coating,
    outlook: Outlook | None,
    coat_at: datetime | None,
    *,
    at: datetime,
    today: date,
    chance: F,
    twice: set[tuple[str, str | None]],
    numbers: Mapping[str, float],
    assumed: Mapping[str, float],
    warm_lead_h: float,
) -> PailNews:
    """All that is to be told of the pails.

    Parameters
    ----------
    coat_at : when the brush is next wanted; None: no coat is in sight
    chance : of a night at or below the product's least by day ahead, (365,), today first
    twice : ends that get a second coat after the first that is due
    numbers, assumed : config/pail.toml and config/assumptions.toml
    """
    uses = uses_of(register, coating, assumed["butt"])
    stock = stock_of(register.pails, uses, numbers)
    need = needs_of(jobs, coating, stock, twice)
    since = at - timedelta(days=numbers["pace_days"])
    pace = sum(use.litres for use in uses if since <= use.when <= at) / numbers["pace_days"]
    order = order_of(today, need, stock, chance, pace, numbers)
    states = tuple(
        _state(pail, uses_left, outlook, coating, coat_at, at, numbers, assumed, warm_lead_h)
        for pail, uses_left in ((one, _left(one, stock, numbers)) for one in register.pails)
    )
    return PailNews(stock, need, order, states)


def twice_of(jobs: Sequence[Job], wants: Sequence[bool]) -> set[tuple[str, str | None]]:
    """Tag and end of first coats that a second will follow."""
    return {(j.tag, j.end) for j, w in zip(jobs, wants, strict=True) if w and j.kind in FIRST}


def _left(pail: Pail, stock: Stock, numbers: Mapping[str, float]) -> float:
    """Litres in one pail, near enough for its heat."""
    size = pail.size_l or numbers["size"]
    if pail.by_eye is not None:
        told = 0.0 if pail.by_eye == "empty" else numbers[pail.by_eye] * size
    else:
        told = pail.litres if pail.litres is not None else size
    return min(told, stock.litres) if stock.litres is not None else told


def _state(
    pail: Pail,
    litres: float,
    outlook: Outlook | None,
    coating: Coating,
    coat_at: datetime | None,
    at: datetime,
    numbers: Mapping[str, float],
    assumed: Mapping[str, float],
    warm_lead_h: float,
) -> PailState:
    places = outlook.yard.place if outlook is not None else ()
    kind = kind_of_place(pail.place, places)
    tau = time_constant(litres, pail.size_l or numbers["size"], numbers)
    frozen = pail.coldest_c is not None and pail.coldest_c <= coating.freezes_at_c
    if outlook is None:
        nothing = Guard(None, None, None)
        return PailState(
            pail, kind, tau, None, nothing, None, None, coat_at, pail.coldest_c, int(frozen), frozen
        )
    path, begun = _path(pail, tau, outlook, numbers)
    now = outlook.now_step
    guard = guard_of(path, now, _noon(outlook, at), coating.pail_least_c, assumed["pail_frost_share"])
    bring = None
    if guard.step is not None and guard.chance is not None and litres > 0:
        bring = _by_daylight(outlook, at, outlook.time_at(guard.step))
    past = np.median(path[:, begun : now + 1], axis=0) if now >= begun else np.empty(0)
    known = past[np.isfinite(past)]
    lows = [c for c in (pail.coldest_c, float(known.min()) if known.size else None) if c is not None]
    falls = max(crossings(known, coating.freezes_at_c), int(frozen)) if known.size else int(frozen)
    warm = _warm(path, tau, coat_at, at, outlook, coating, warm_lead_h, numbers) if litres > 0 else None
    now_c = float(np.median(path[:, min(now, path.shape[1] - 1)]))
    return PailState(
        pail,
        kind,
        tau,
        now_c if np.isfinite(now_c) else None,
        guard,
        bring,
        warm,
        coat_at,
        min(lows) if lows else None,
        falls,
        falls > 0,
    )


def _path(pail: Pail, tau: float, outlook: Outlook, numbers: Mapping[str, float]) -> tuple[F, int]:
    """The pail's temperature (members, steps), and the step since which it is known to be in this yard.

    Before the first place that was told it is taken to have stood in a heated room: bought, or brought in.
    """
    air = outlook.fine.air_c
    step_h = (outlook.time_at(1) - outlook.time_at(0)) / timedelta(hours=1)
    places = outlook.yard.place
    if not pail.stood:
        return follow(around_pail([(0, "outside")], air, step_h, numbers), step_h, tau), outlook.now_step
    first = int(np.ceil(outlook.step_of(pail.stood[0][0].time)))
    told = [(int(np.ceil(outlook.step_of(m.time))), kind_of_place(name, places)) for m, name in pail.stood]
    around = around_pail([(0, "heated"), *told], air, step_h, numbers)
    return follow(around, step_h, tau), min(max(first, 0), outlook.now_step)


def _noon(outlook: Outlook, at: datetime) -> int:
    """Step of noon tomorrow on the yard's clock."""
    noon = at.astimezone(outlook.yard.zone).replace(hour=MORNING, minute=0, second=0, microsecond=0)
    return int(outlook.step_of(noon + timedelta(days=1)))


def _by_daylight(outlook: Outlook, at: datetime, reached: datetime) -> datetime:
    """The last half hour before the limit is reached, not in the dark where there is still light."""
    suns = suns_of(outlook, 1)
    by = reached
    if suns and at < suns[0][1] - HALF_HOUR:
        by = min(by, suns[0][1] - HALF_HOUR)
    seconds = (by - datetime(1970, 1, 1, tzinfo=by.tzinfo)).total_seconds()
    return max(by - timedelta(seconds=seconds % 1800), at)


def _warm(
    path: F,
    tau: float,
    coat_at: datetime | None,
    at: datetime,
    outlook: Outlook,
    coating: Coating,
    lead_h: float,
    numbers: Mapping[str, float],
) -> datetime | None:
    if coat_at is None or not at <= coat_at <= at + timedelta(hours=lead_h) * 2:
        return None
    step = int(outlook.step_of(coat_at))
    now = outlook.now_step
    if step >= path.shape[1]:
        return None
    now_c, then_c = float(np.median(path[:, now])), float(np.median(path[:, step]))
    if not np.isfinite(now_c) or not np.isfinite(then_c):
        return None
    by = warm_up(coat_at, now_c, then_c, coating.least_application_c, tau, lead_h, numbers)
    return None if by is None else max(by, at)
