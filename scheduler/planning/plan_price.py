"""The price of hands and of wax, and how good a plan can be at most. Pure.

Lagrange relaxation: a minute of each slot, the share of each span that may be
filled, and a litre get a price; each walk then looks for its best time alone, and
what all walks keep above the prices, plus the worth of all that is there, is a bound
that no plan passes, whatever the prices. Prices are raised where more is asked for
than there is and lowered where there is less (subgradient; step after Polyak, halved
when the bound stands still). From memory: Fisher, "The Lagrangian relaxation method
for solving integer programming problems", Management Science 1981.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.plan import MINUTE, QUARTER
from scheduler.planning.plan_problem import Problem, Walk

__all__ = ["Prices", "balance"]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741
PATIENCE = 12  # rounds without a better bound before the step is halved; 6 to 15 gave nearly the same


@dataclass(frozen=True, eq=False)
class Prices:
    """Prices that balance, in the unit of the gains.

    Attributes
    ----------
    net : for each walk, what it keeps above the prices at each of its entries
    asked : for each walk, its price at each of its entries
    litre : of a litre
    bound : no plan keeps more than this
    """

    net: tuple[F, ...]
    asked: tuple[F, ...]
    litre: float
    bound: float

    def by_day(self, problem: Problem) -> dict[date, float]:
        """What a minute of one person costs on each day, on the mean of the walks that could use it.

        The price of a walk on a day is what the prices take from the best that it could keep on it: who pays
        by the day then finds the same day as who pays by the slot.
        """
        spent: dict[date, float] = {session.day: 0.0 for session in problem.sessions}
        work: dict[date, float] = dict.fromkeys(spent, 0.0)
        for walk, net, asked in zip(problem.walks, self.net, self.asked, strict=True):
            hands_paid = net + self.litre * walk.litres
            for day, rows in _by_day(problem, walk).items():
                spent[day] += float((net + asked)[rows].max() - hands_paid[rows].max())
                work[day] += walk.work
        return {day: max(0.0, spent[day] / work[day]) if work[day] else 0.0 for day in spent}


def _by_day(problem: Problem, walk: Walk) -> Mapping[date, slice]:
    """The entries of a walk, which are in order of time, by day."""
    days = [problem.slots[int(s)].day for s in walk.entries.slot]
    cuts = [n for n in range(len(days)) if n == 0 or days[n] != days[n - 1]]
    return {days[a]: slice(a, b) for a, b in zip(cuts, [*cuts[1:], len(days)], strict=True)}


class _Rows(NamedTuple):
    """One number for each thing of which there is only so much: prices, or how much more is asked for."""

    slots: F  # minutes of one person
    spans: F  # the same; the last is none
    litre: float
    links: F  # of a walk and a session: whether there is brush work in it at all; the last is none


class _Balance:
    """All entries of all walks side by side."""

    def __init__(self, problem: Problem) -> None:
        self.p = problem
        walks = problem.walks
        sizes = [walk.entries.slot.size for walk in walks]
        self.first = np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(np.int64)
        self.walk = np.repeat(np.arange(len(walks)), sizes)
        self.slot = np.concatenate([walk.entries.slot for walk in walks])
        self.low = np.concatenate([walk.entries.low for walk in walks])
        self.high = np.concatenate([walk.entries.high for walk in walks])
        self.value = np.concatenate([walk.value for walk in walks])
        self.minutes = np.array([walk.minutes for walk in walks], np.int64)
        self.people = np.array([walk.people for walk in walks], np.int64)
        self.litres = np.array([walk.litres for walk in walks])
        self.work = (self.minutes * self.people).astype(float)
        self._shapes()
        self._spans()
        self._links()
        self._pairs()
        self.there = np.array([float(s.people * QUARTER) for s in problem.slots])
        self.there[problem.session_of < 0] = 0.0
        if problem.reserved is not None:
            session, minute, length = problem.reserved
            taken = problem.sessions[session].first * QUARTER + minute + np.arange(length)
            np.subtract.at(self.there, taken // QUARTER, 1.0)

    def _shapes(self) -> None:
        """Begins that cost the same are worked out once: slot, minutes, first and last minute in the slot."""
        minutes = self.minutes[self.walk]
        key = np.stack([self.slot, self.low, self.high, minutes])
        key = np.ravel_multi_index(tuple(key), tuple(key.max(axis=1) + 1))
        _, rows, self.shape = np.unique(key, return_index=True, return_inverse=True)
        base, length = self.slot[rows] * QUARTER, minutes[rows]
        a, b = base + self.low[rows], base + self.high[rows]
        # Within a slot the price runs straight but for where the end passes into the next slot.
        turn = np.clip(base + (-length) % QUARTER, a, b)
        self.begin = np.stack([a, turn, b])
        self.length = length

    def _spans(self) -> None:
        none = len(self.p.spans)
        own = [
            self.p.place_span[walk.place][walk.entries.slot]
            if walk.brush
            else np.full(walk.entries.slot.size, none)
            for walk in self.p.walks
        ]
        self.own_span = np.concatenate(own)
        brush = np.array([walk.brush for walk in self.p.walks])[self.walk]
        every = self.p.any_span[self.slot]
        self.any_span = np.where(brush & (self.own_span != every), every, none)
        self.room = np.array([span.room for span in self.p.spans] + [0.0])
        self.span_session = np.array([span.session for span in self.p.spans], np.int64)

    def _links(self) -> None:
        """A session in which a coat stands needs its set-up: one link for each walk and session."""
        brush = np.array([walk.brush for walk in self.p.walks])[self.walk]
        sessions = len(self.p.sessions)
        key = np.where(brush, self.walk * sessions + self.p.session_of[self.slot], -1)
        told, self.link = np.unique(key, return_inverse=True)
        self.link = self.link - int(
            told[0] == -1
        )  # the entries without a brush get the last one, which is none
        told = told[told >= 0]
        self.link_session = told % sessions
        self.link = np.where(brush, self.link, told.size)

    def _pairs(self) -> None:
        """A walk and one that waits for it: for each begin of the first, the earliest entry of the second."""
        before = [walk.before for walk in self.p.walks]
        self.roots = np.array([not b or bool(before[b[0][0]]) for b in before])
        self.second = np.flatnonzero(~self.roots)
        begin = np.array([(s.start - self.p.slots[0].start) // MINUTE for s in self.p.slots], np.int64)
        last = np.append(self.first[1:], self.slot.size)
        wide = int(max((last - self.first)[self.second], default=0))
        self.table = np.full((self.second.size, wide + 1), -1)
        pair, entry, reach = [], [], []
        for row, n in enumerate(self.second.tolist()):
            earlier, wait = before[n][0]
            own, theirs = np.arange(self.first[n], last[n]), np.arange(self.first[earlier], last[earlier])
            self.table[row, : own.size] = own
            ready = (
                begin[self.slot[theirs]] + self.low[theirs] + self.minutes[earlier] + wait[self.slot[theirs]]
            )
            reach.append(np.searchsorted(begin[self.slot[own]] + self.high[own], ready))
            pair.append(np.full(theirs.size, row))
            entry.append(theirs)
        none = np.empty(0, np.int64)
        self.pair, self.entry, self.reach = (np.concatenate([none, *x]) for x in (pair, entry, reach))
        self.reach = np.where(self.reach < wide, self.reach, wide)
        self.reach_of = np.zeros((self.second.size, self.slot.size if self.second.size else 0), np.int32)
        self.reach_of[self.pair, self.entry] = self.reach
        self.earlier = np.array([before[n][0][0] for n in self.second.tolist()], np.int64)

    # ---------------------------------------------------------------- rounds

    def run(self, value: float) -> Prices:
        """Balance; ``value`` is what a known plan keeps."""
        now = _Rows(
            np.zeros(self.there.size), np.zeros(self.room.size), 0.0, np.zeros(self.link_session.size + 1)
        )
        share, still, best, kept = 1.0, 0, np.inf, now
        for _ in range(self.p.rounds("price_rounds")):
            bound, over = self._ask(now)
            still = 0 if bound < best - 1e-4 * abs(best) or not np.isfinite(best) else still + 1
            if bound < best:
                best, kept = bound, now
            if still >= PATIENCE:
                share, still, now = share / 2.0, 0, kept
                bound, over = self._ask(now)
            moved = self._step(now, over, share * max(bound - value, 1e-6 * abs(bound)))
            if moved is None or best <= value * (1 + 1e-6) + 1e-12 or share < 1e-3:
                break
            now = moved
        price, _ = self._price(kept)
        asked = np.split(price, self.first[1:])
        net = np.split(self.value - price, self.first[1:])
        return Prices(tuple(net), tuple(asked), kept.litre, best)

    def _step(self, now: _Rows, over: _Rows, gap: float) -> _Rows | None:
        """Prices a step on; each kind in the measure of one walk, so that minutes do not drown litres."""
        work, wax = float(self.work.mean()) ** -2, float(self.litres.mean() or 1.0) ** -2
        length = (
            work * float(over.slots @ over.slots + over.spans @ over.spans)
            + wax * over.litre**2
            + float(over.links @ over.links)
        )
        if length < 1e-12:
            return None
        step = gap / length
        return _Rows(
            np.maximum(0.0, now.slots + step * work * over.slots),
            np.maximum(0.0, now.spans + step * work * over.spans),
            max(0.0, now.litre + step * wax * over.litre),
            np.maximum(0.0, now.links + step * over.links),
        )

    def _price(self, at: _Rows) -> tuple[F, I]:
        """Price of hands and wax for each entry, and the minute at which that is least."""
        total = np.concatenate([[0.0], np.cumsum(np.repeat(at.slots, QUARTER))])
        total = np.concatenate([total, np.full(int(self.length.max(initial=0)) + QUARTER, total[-1])])
        cost = total[self.begin + self.length] - total[self.begin]
        pick = np.argmin(cost, axis=0)
        least = np.take_along_axis(cost, pick[None], axis=0)[0]
        begin = np.take_along_axis(self.begin, pick[None], axis=0)[0]
        who, span = self.walk, at.spans[self.own_span] + at.spans[self.any_span]
        price = least[self.shape] * self.people[who] + span * self.work[who] + at.litre * self.litres[who]
        return price, begin[self.shape]

    def _ask(self, at: _Rows) -> tuple[float, _Rows]:
        """The bound at these prices, and how much more is asked for than there is."""
        price, begin = self._price(at)
        net = self.value - price - at.links[self.link]
        # What the best begin of the second that is still to come keeps, for each place in its table.
        later = np.where(self.table >= 0, net[self.table], -np.inf)
        ahead = np.maximum.accumulate(later[:, ::-1], axis=1)[:, ::-1]
        alone = net.copy()
        np.add.at(net, self.entry, np.maximum(ahead[self.pair, self.reach], 0.0))
        most = np.maximum.reduceat(net, self.first)
        hit = np.flatnonzero(net == most[self.walk])
        row = np.empty(most.size, np.int64)
        row[self.walk[hit[::-1]]] = hit[::-1]
        chosen = self.roots & (most > 0.0)
        bound = float(most[chosen].sum())
        rows = [row[chosen]]
        if self.second.size:
            pairs = np.flatnonzero(chosen[self.earlier])
            reach = self.reach_of[pairs, row[self.earlier[pairs]]]
            open_ = np.where(np.arange(later.shape[1]) >= reach[:, None], later[pairs], -np.inf)
            column = open_.argmax(axis=1)
            entry = self.table[pairs, column]
            rows.append(entry[(entry >= 0) & (alone[entry] > 0.0)])
        return self._balance(bound, np.concatenate(rows), begin, at)

    def _balance(self, bound: float, row: I, begin: I, at: _Rows) -> tuple[float, _Rows]:
        who = self.walk[row]
        change = np.zeros(at.slots.size * QUARTER + int(self.minutes.max(initial=0)) + 1)
        np.add.at(change, begin[row], self.people[who])
        np.add.at(change, begin[row] + self.minutes[who], -self.people[who])
        asked, linked = np.zeros(at.spans.size), np.zeros(at.links.size)
        np.add.at(asked, self.own_span[row], self.work[who])
        np.add.at(asked, self.any_span[row], self.work[who])
        np.add.at(linked, self.link[row], 1.0)
        bound += float(self.there @ at.slots)
        for session in np.unique(self.span_session).tolist():
            spans = np.flatnonzero(self.span_session == session)
            links = np.flatnonzero(self.link_session == session)
            earned = float(at.spans[spans] @ self.room[spans] + at.links[links].sum())
            gain = earned - self._frame(session, at.slots, None)
            if gain > 0.0:
                bound += gain
                asked[spans] -= self.room[spans]
                linked[links] -= 1.0
                self._frame(session, at.slots, change)
        used = np.cumsum(change)[: at.slots.size * QUARTER].reshape(-1, QUARTER).sum(axis=1)
        asked[-1] = linked[-1] = 0.0
        over_litre, stock = 0.0, self.p.rules.litres
        if stock is not None:
            bound += at.litre * stock
            over_litre = float(self.litres[who].sum()) - stock
        return bound, _Rows(used - self.there, asked, over_litre, linked)

    def _frame(self, session: int, slots: F, change: F | None) -> float:
        """Least price of set-up and clean-up in a session; with ``change``, their minutes are taken."""
        here = self.p.sessions[session]
        inside = slice(here.first, here.first + here.slots)
        total = np.concatenate([[0.0], np.cumsum(np.repeat(slots[inside], QUARTER))])
        cost = self.p.frame_cost
        for length in (self.p.set_up, self.p.clean_up):
            if 0 < length < total.size:
                window = total[length:] - total[:-length]
                best = int(np.argmin(window))
                cost += float(window[best])
                if change is not None:
                    change[here.first * QUARTER + best] += 1
                    change[here.first * QUARTER + best + length] -= 1
        return cost


def balance(problem: Problem, value: float) -> Prices:
    """Prices of hands and wax that balance what is asked for with what there is, and the bound they prove.

    ``value`` is what a known plan keeps (0: none is known); it only sets the steps.
    """
    if not problem.walks:
        return Prices((), (), 0.0, 0.0)
    return _Balance(problem).run(value)
