"""Filling the hours: a board of free minutes, jobs put in by price, then mended. Pure.

The first plan comes from prices: walks in the order of what they keep per minute
above the price, each at the time that keeps most above the price. Mending takes some
walks out, puts them and some of those that wait in again in another order, and keeps
the result when it is not worse (and at first when it is little worse). After the
idea of large neighbourhood search, from memory: Shaw, "Using constraint programming
and local search methods to solve vehicle routing problems", 1998. The draw is
seeded: the same yard gives the same plan.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from math import exp

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.plan import QUARTER
from scheduler.planning.plan_price import Prices
from scheduler.planning.plan_problem import IN_SLOT, NEVER, Problem, Walk, runs_in

__all__ = ["Board", "Times", "fill_board", "improve", "times_of"]

# Per walk: (worth for the order, worth, session, bits of the minutes, slot), the first first.
Time = tuple[float, float, int, int, int]
Times = list[list[Time]]


class Board:
    """Which walk stands where, and what is left: minutes of people, room of spans, wax."""

    def __init__(self, problem: Problem) -> None:
        self.p = problem
        # free[session][k]: minutes in which more than k people are free.
        self.free = [
            [
                sum(IN_SLOT << n * QUARTER for n, there in enumerate(session.people) if there > k)
                for k in range(max(session.people))
            ]
            for session in problem.sessions
        ]
        self.room = [span.room for span in problem.spans]
        self.litres = float("inf") if problem.rules.litres is None else problem.rules.litres
        self.at: dict[int, tuple[int, int, float]] = {}  # walk: session, minute, worth
        self.brush: list[dict[int, tuple[int, int]]] = [{} for _ in problem.sessions]
        self.worth = 0.0
        # As plain lists: they are asked very often, one number at a time.
        self.own_span = {place: which.tolist() for place, which in problem.place_span.items()}
        self.any_span: list[int] = problem.any_span.tolist()
        self.frames: list[tuple[int, int]] = [(0, 0)] * len(problem.sessions)
        if problem.reserved is not None:
            session, minute, length = problem.reserved
            self._take(session, ((1 << length) - 1) << minute)
        for n in range(len(problem.sessions)):
            self.frames[n] = self._frame(n, self.free[n][0])

    def copy(self) -> Board:
        """A board that can go another way."""
        new = Board.__new__(Board)
        new.p, new.own_span, new.any_span = self.p, self.own_span, self.any_span
        new.free = [list(level) for level in self.free]
        new.room = list(self.room)
        new.litres = self.litres
        new.at = dict(self.at)
        new.brush = [dict(b) for b in self.brush]
        new.worth = self.worth
        new.frames = list(self.frames)
        return new

    # ---------------------------------------------------------------- one walk

    def find(
        self,
        walk: Walk,
        times: Iterable[Time],
        opening: bool = True,
        blink: Callable[[], bool] | None = None,
    ) -> tuple[float, int, int, int] | None:
        """The first time in the order at which a walk fits: worth, session, minute, slot.

        With ``opening`` the cost of set-up and clean-up counts where the session has no brush work yet;
        ``blink`` says now and then that a time is to be overlooked.
        """
        if walk.litres > self.litres + 1e-9 or any(n not in self.at for n, _ in walk.before):
            return None
        cost = self.p.frame_cost if opening and walk.brush else 0.0
        fits: dict[int, int] = {}
        spans = self.own_span[walk.place] if walk.brush else None
        full: dict[int, bool] = {}  # spans of the place
        best: tuple[float, int, int, int] | None = None
        best_key = -float("inf")
        for key, worth, session, bits, slot in times:
            if key <= best_key:
                break
            if spans is not None:
                span = spans[slot]
                if span not in full:
                    full[span] = self.crowded(walk, slot)
                if full[span]:
                    continue
            ok = fits.get(session)
            if ok is None:
                ok = fits[session] = self._fits(walk, session)
            if not ok & bits or (blink is not None and blink()):
                continue
            minute = self._minute(walk, session, ok & bits, slot)
            if minute is None:
                continue
            opens = cost if cost and not self.brush[session] else 0.0
            if worth > opens and key - opens > best_key:
                best, best_key = (worth, session, minute, slot), key - opens
                if not opens:
                    break
        return best

    def _fits(self, walk: Walk, session: int) -> int:
        """Minutes at which it may begin in a session, people, windows and order looked at."""
        starts = walk.starts.get(session, 0)
        levels = self.free[session]
        if not starts or len(levels) < walk.people:
            return 0
        here = self.p.sessions[session]
        ok = starts & runs_in(here, levels[walk.people - 1], walk.minutes)
        if ok and walk.brush:
            low, high = self.frames[session]
            ok &= (1 << max(0, high - walk.minutes + 1)) - 1 & -(1 << low)
        for earlier, wait in walk.before:
            ok &= here.bits(self._end(earlier) + self._wait(earlier, wait), NEVER)
        return ok

    def crowded(self, walk: Walk, slot: int) -> bool:
        """Whether the span of a slot has no room left for a walk."""
        least = walk.work - 1e-9
        return self.room[self.own_span[walk.place][slot]] < least or self.room[self.any_span[slot]] < least

    def _minute(self, walk: Walk, session: int, bits: int, slot: int) -> int | None:
        end = self.p.sessions[session].begin + walk.minutes
        for later in self.p.after[walk.index]:
            if later in self.at:
                wait = next(w for n, w in self.p.walks[later].before if n == walk.index)
                due = self._begin(later)
                if end + (bits & -bits).bit_length() - 1 + int(wait[slot]) > due:
                    return None
        while bits:
            minute = (bits & -bits).bit_length() - 1
            if walk.brush or not self.brush[session] or self._leaves_frame(walk, session, minute):
                return minute
            bits &= bits - 1
        return None

    def _leaves_frame(self, walk: Walk, session: int, minute: int) -> bool:
        """Whether setting up and cleaning up still have their time with the walk there."""
        taken = ((1 << walk.minutes) - 1) << minute
        levels = self.free[session]
        deeper = levels[walk.people] if walk.people < len(levels) else 0
        low, high = self._frame(session, levels[0] & ~taken | deeper & taken)
        first, last = self._brush_hours(session)
        return low <= first and high >= last

    def _frame(self, session: int, free: int) -> tuple[int, int]:
        """The first minute at which somebody can have set up, and the last from which one can clean up."""
        here = self.p.sessions[session]
        low, high = 0, here.length
        if self.p.set_up:
            found = runs_in(here, free, self.p.set_up)
            low = (found & -found).bit_length() - 1 + self.p.set_up if found else NEVER
        if self.p.clean_up:
            found = runs_in(here, free, self.p.clean_up)
            high = found.bit_length() - 1
        return (low, high) if low < NEVER else (here.length, 0)

    def _brush_hours(self, session: int) -> tuple[int, int]:
        stretches = self.brush[session].values()
        return min(a for a, _ in stretches), max(b for _, b in stretches)

    def put(self, walk: Walk, worth: float, session: int, minute: int) -> None:
        """Put a walk where ``find`` said."""
        stretch = ((1 << walk.minutes) - 1) << minute
        for _ in range(walk.people):
            self._take(session, stretch)
        self._spans(walk, session, minute, -walk.work)
        if walk.brush:
            if not self.brush[session]:
                self.worth -= self.p.frame_cost
            self.brush[session][walk.index] = (minute, minute + walk.minutes)
        self.frames[session] = self._frame(session, self.free[session][0])
        self.litres -= walk.litres
        self.at[walk.index] = (session, minute, worth)
        self.worth += worth

    def drop(self, index: int) -> list[int]:
        """Take a walk out, and those that wait for it; all that were taken out, it first."""
        if index not in self.at:
            return []
        gone = [index]
        for later in self.p.after[index]:
            gone += self.drop(later)
        walk = self.p.walks[index]
        session, minute, worth = self.at.pop(index)
        stretch = ((1 << walk.minutes) - 1) << minute
        for _ in range(walk.people):
            self._give(session, stretch)
        self._spans(walk, session, minute, walk.work)
        if walk.brush:
            del self.brush[session][index]
            if not self.brush[session]:
                self.worth += self.p.frame_cost
        self.frames[session] = self._frame(session, self.free[session][0])
        self.litres += walk.litres
        self.worth -= worth
        return gone

    def _take(self, session: int, stretch: int) -> None:
        levels = self.free[session]
        for k in range(len(levels)):
            deeper = levels[k + 1] if k + 1 < len(levels) else 0
            levels[k] = levels[k] & ~stretch | deeper & stretch

    def _give(self, session: int, stretch: int) -> None:
        levels = self.free[session]
        for k in range(len(levels) - 1, 0, -1):
            levels[k] = levels[k] & ~stretch | levels[k - 1] & stretch
        levels[0] |= stretch

    def _spans(self, walk: Walk, session: int, minute: int, work: float) -> None:
        if not walk.brush:
            return
        slot = self.p.sessions[session].first + minute // QUARTER
        for span in {self.own_span[walk.place][slot], self.any_span[slot]}:
            self.room[span] += work

    def _begin(self, index: int) -> int:
        session, minute, _ = self.at[index]
        return self.p.sessions[session].begin + minute

    def _end(self, index: int) -> int:
        return self._begin(index) + self.p.walks[index].minutes

    def _wait(self, index: int, wait: NDArray[np.int64]) -> int:
        session, minute, _ = self.at[index]
        return int(wait[self.p.sessions[session].first + minute // QUARTER])


# -------------------------------------------------------------------- orders


def times_of(problem: Problem, prices: Prices, share: float) -> Times:
    """For each walk its slots, those first that keep most above ``share`` of the price; then the earlier."""
    found: Times = []
    session_of = problem.session_of
    for walk, asked in zip(problem.walks, prices.asked, strict=True):
        key = walk.value - share * asked
        order = np.argsort(-key, kind="stable")
        slots = walk.entries.slot[order].tolist()
        rows = []
        for k, v, slot, index in zip(
            key[order].tolist(),
            walk.value[order].tolist(),
            slots,
            session_of[slots].tolist(),
            strict=True,
        ):
            low = (slot - problem.sessions[index].first) * QUARTER
            rows.append((k, v, index, walk.starts[index] & IN_SLOT << low, slot))
        found.append(rows)
    return found


def fill_board(
    board: Board,
    walks: Iterable[int],
    times: Times,
    opening: bool = True,
    blink: Callable[[], bool] | None = None,
) -> None:
    """Put walks in, in the order given; one that waits is tried again as soon as what it waits for stands."""
    problem = board.p
    todo = [n for n in walks if n not in board.at]
    tried: set[int] = set()
    while todo:
        later: list[int] = []
        for n in todo:
            tried.add(n)
            walk = problem.walks[n]
            found = board.find(walk, times[n], opening, blink)
            if found is not None:
                board.put(walk, *found[:3])
                later += [m for m in problem.after[n] if m in tried and m not in board.at]
        todo = later


def improve(
    board: Board, prices: Prices, orders: Sequence[Times], rounds: int, seed: int = 20251103
) -> Board:
    """Mend a plan by taking out and putting in; the best board met."""
    problem = board.p
    if not problem.walks or not rounds:
        return board
    return _Mending(board, prices, orders, np.random.default_rng(seed)).run(rounds)


class _Mending:
    def __init__(
        self, board: Board, prices: Prices, orders: Sequence[Times], chance: np.random.Generator
    ) -> None:
        self.p = board.p
        self.now = board
        self.best = board
        self.orders = orders
        self.chance = chance
        net = [float(n.max()) for n in prices.net]
        self.density = [n / walk.work for n, walk in zip(net, self.p.walks, strict=True)]
        self.value = [float(walk.value.max()) for walk in self.p.walks]
        self.per_minute = [v / walk.work for v, walk in zip(self.value, self.p.walks, strict=True)]
        self.scale = float(np.mean(np.abs(self.per_minute))) or 1.0
        numbers = self.p.rules.numbers
        self.clocks: dict[tuple[int, int], list[Time]] = {}
        self.waits = [walk.index for walk in self.p.walks if walk.before]
        self.overlooked, self.draws = float(numbers["search_overlook"]), list[bool]()
        self.out, self.into = int(numbers["search_out"]), int(numbers["search_in"])

    def run(self, rounds: int) -> Board:
        numbers = self.p.rules.numbers
        warm = numbers["search_heat"] * max(self.now.worth, 0.0) / max(len(self.now.at), 1)
        again = int(numbers["search_return"])
        for n in range(rounds):
            board = self.now.copy()
            gone = self._take_out(board)
            waiting = self._waiting(board)
            some = waiting[: int(self.chance.integers(len(waiting) + 1))]
            fill_board(
                board, self._order(list(dict.fromkeys(gone + some))), self._some_order(), blink=self._blink
            )
            fill_board(board, waiting, self._some_order())
            heat = warm * (1.0 - n / rounds)
            drop = self.now.worth - board.worth
            if drop <= 1e-12 or (heat > 0 and self.chance.random() < exp(-drop / heat)):
                self.now = board
                if board.worth > self.best.worth + 1e-9:
                    self.best = board
            if n % again == again - 1:
                self.now = self.best
        return self.best

    def _blink(self) -> bool:
        """One time in so many is overlooked: greed alone puts all in the same place again."""
        if not self.draws:
            self.draws = (self.chance.random(4096) < self.overlooked).tolist()
        return self.draws.pop()

    def _order(self, pool: list[int]) -> list[int]:
        way = int(self.chance.integers(6))
        noise = self.chance.normal(0.0, 0.3, len(pool))
        if way == 0:
            key = [self.density[n] + self.scale * e for n, e in zip(pool, noise, strict=True)]
        elif way == 1:
            key = [self.value[n] * exp(e) for n, e in zip(pool, noise, strict=True)]
        elif way == 2:
            key = [self.per_minute[n] * exp(e) for n, e in zip(pool, noise, strict=True)]
        elif way == 3:
            key = noise.tolist()
        else:
            key = [self.p.walks[n].work * exp(e) for n, e in zip(pool, noise, strict=True)]
        return [n for _, n in sorted(zip(key, pool, strict=True), key=lambda row: (-row[0], row[1]))]

    def _waiting(self, board: Board) -> list[int]:
        """Some of the walks that have no time, the dearest above the price more likely."""
        left = [n for n in range(len(self.p.walks)) if n not in board.at]
        key = np.array([self.density[n] for n in left]) + self.scale * self.chance.normal(0, 0.5, len(left))
        return [left[int(k)] for k in np.argsort(-key, kind="stable")[: self.into]]

    def _take_out(self, board: Board) -> list[int]:
        placed = list(board.at)
        if not placed:
            return []
        way = self.chance.random()
        if way >= 0.9 and self.waits:
            return self._for_two(board)
        if way >= 0.75:
            return self._for_one(board)
        if way >= 0.6:
            return self._in_turn(board, placed)
        if way < 0.25:
            gone = self._draw(placed)
        elif way < 0.5:
            gone = self._neighbours(board, placed)
        else:
            gone = self._session(board, placed)
        return [n for index in gone for n in board.drop(index)]

    def _draw(self, among: list[int]) -> list[int]:
        count = min(len(among), int(self.chance.integers(1, self.out + 1)))
        return [among[int(k)] for k in self.chance.choice(len(among), count, replace=False)]

    def _neighbours(self, board: Board, placed: list[int]) -> list[int]:
        """One walk and those of its session that stand nearest to it."""
        session, minute, _ = board.at[placed[int(self.chance.integers(len(placed)))]]
        same = sorted((abs(m - minute), n) for n, (s, m, _) in board.at.items() if s == session)
        return [n for _, n in same[: int(self.chance.integers(2, self.out + 1))]]

    def _session(self, board: Board, placed: list[int]) -> list[int]:
        session = board.at[placed[int(self.chance.integers(len(placed)))]][0]
        same = [n for n, (s, _, _) in board.at.items() if s == session]
        return same if len(same) <= 2 * self.out else self._draw(same)

    def _for_one(self, board: Board) -> list[int]:
        """Room for one walk, waiting or not, at one of its best times: those who stand there go."""
        waiting = self._waiting(board) or list(board.at)
        index = waiting[int(self.chance.integers(len(waiting)))]
        times = self._some_order()[index]
        time = times[int(len(times) * self.chance.random() ** 3)]
        gone = board.drop(index)
        self._force(board, index, time, gone)
        return gone

    def _for_two(self, board: Board) -> list[int]:
        """A walk that waits gets one of its best times, and what it waits for the best that leaves it."""
        index = self.waits[int(self.chance.integers(len(self.waits)))]
        walk = self.p.walks[index]
        times = self._some_order()[index]
        time = times[int(len(times) * self.chance.random() ** 3)]
        due = self.p.sessions[time[2]].begin + time[3].bit_length() - 1
        gone: list[int] = []
        for earlier, wait in walk.before:
            gone += board.drop(earlier)
            first = self.p.walks[earlier]
            fitting = [
                row
                for row in self._some_order()[earlier]
                if self._early(row) + first.minutes + int(wait[row[4]]) <= due
            ]
            if fitting:
                self._force(board, earlier, fitting[int(len(fitting) * self.chance.random() ** 4)], gone)
        gone += board.drop(index)
        self._force(board, index, time, gone)
        return gone

    def _in_turn(self, board: Board, placed: list[int]) -> list[int]:
        """A session packed again from its beginning, in the order as it stands, one more put between."""
        session = board.at[placed[int(self.chance.integers(len(placed)))]][0]
        turn = [n for _, n in sorted((m, n) for n, (s, m, _) in board.at.items() if s == session)]
        others = [n for n, walk in enumerate(self.p.walks) if session in walk.starts and n not in turn]
        if others and self.chance.random() < 0.75:
            more = others[int(self.chance.integers(len(others)))]
            turn.insert(int(self.chance.integers(len(turn) + 1)), more)
        if len(turn) > 1 and self.chance.random() < 0.5:
            turn.insert(int(self.chance.integers(len(turn))), turn.pop(int(self.chance.integers(len(turn)))))
        gone = [n for index in turn for n in board.drop(index)]
        begin = 0
        for n in turn:
            rows = [
                (k, w, s, bits >> begin << begin, slot) for k, w, s, bits, slot in self._clock(n, session)
            ]
            found = board.find(self.p.walks[n], rows, opening=False)
            if found is not None:
                board.put(self.p.walks[n], *found[:3])
                begin = found[2]
        return gone

    def _clock(self, index: int, session: int) -> list[Time]:
        """The times of a walk in a session, by the clock."""
        key = (index, session)
        if key not in self.clocks:
            rows = [(-float(r[4]), *r[1:]) for r in self.orders[-1][index] if r[2] == session]
            self.clocks[key] = sorted(rows, key=lambda r: r[4])
        return self.clocks[key]

    def _early(self, time: Time) -> int:
        return self.p.sessions[time[2]].begin + (time[3] & -time[3]).bit_length() - 1

    def _some_order(self) -> Times:
        return self.orders[int(self.chance.integers(len(self.orders)))]

    def _force(self, board: Board, index: int, time: Time, gone: list[int]) -> None:
        """Put a walk at a time; those who stand in its way go, the cheapest first."""
        walk = self.p.walks[index]
        _, worth, session, bits, slot = time
        minute = (bits & -bits).bit_length() - 1
        stands = sorted((self.per_minute[n], n, *at[:2]) for n, at in board.at.items())
        for _, n, s, m in stands:
            if s == session and m < minute + walk.minutes and minute < m + self.p.walks[n].minutes:
                gone += board.drop(n)
        for _, n, s, _m in stands:
            short = board.litres < walk.litres - 1e-9 and self.p.walks[n].litres > 0
            if short or (s == session and walk.brush and board.crowded(walk, slot)):
                gone += board.drop(n)
        found = board.find(walk, [(worth, worth, session, bits, slot)], opening=False)
        if found is not None:
            board.put(walk, *found[:3])
