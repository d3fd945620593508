"""The same plan to the proven optimum: a mixed-integer model for the solver HiGHS, through ``highspy``. Pure.

Time runs on a grid on which every number of minutes is a multiple (the greatest
common divisor of a slot and all walks): 5 min where an end takes 5, 1 min where it
takes 4. For each walk and each grid time at which it may begin there is a variable 0
or 1. People are counted, not named: who stand side by side at any time can always be
told apart. ``highspy`` is an extra; without it the fast way of ``planner`` is there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from math import gcd
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.plan import QUARTER, Plan, PlanRules, Slot, Task, TaskId
from scheduler.planning.plan_price import balance
from scheduler.planning.plan_problem import Problem, Walk, prepare
from scheduler.planning.plan_search import Board, fill_board, times_of
from scheduler.planning.plan_told import told

__all__ = ["NoSolverError", "exact_plan", "solve_exactly"]

F = NDArray[np.float64]


class NoSolverError(ValueError):
    """The solver is not installed, or found nothing in the time given."""


def exact_plan(
    tasks: Sequence[Task],
    slots: Sequence[Slot],
    rules: PlanRules,
    former: Mapping[TaskId, datetime] | None = None,
    *,
    seconds: float = 60.0,
) -> Plan:
    """Plan all tasks to the proven optimum, or as near to it as ``seconds`` allow.

    ``Plan.optimal_within`` then comes from the solver's own bound.

    Raises
    ------
    NoSolverError
        Without ``highspy``, or when nothing was found in time.
    PlanError
        As ``planner.make_plan``.
    """
    problem = prepare(tasks, slots, rules, former)
    board, bound = solve_exactly(problem, seconds)
    prices = balance(problem, board.worth)
    if problem.walks:
        fill_board(board, range(len(problem.walks)), times_of(problem, prices, 0.0))
    return told(problem, board, prices, bound, tasks)


def solve_exactly(problem: Problem, seconds: float = 60.0) -> tuple[Board, float]:
    """The best board and the proven bound. Raises ``NoSolverError`` as ``exact_plan`` does."""
    try:
        import highspy
    except ImportError:
        raise NoSolverError(
            "The exact plan needs the solver HiGHS, which is not installed: pip install highspy. "
            "The plan without it says itself how far from the best it can be."
        ) from None
    board = Board(problem)
    if not problem.walks:
        return board, 0.0
    model = _Model(problem)
    solver = _quiet(highspy)
    solver.setOptionValue("output_flag", False)
    solver.setOptionValue("time_limit", float(seconds))
    solver.setOptionValue("mip_rel_gap", 1e-6)
    solver.setOptionValue("threads", 1)
    solver.passModel(model.lp(highspy))
    solver.run()
    info = solver.getInfo()
    chosen = np.array(solver.getSolution().col_value)
    if info.primal_solution_status != 2 or chosen.size != len(model.cost):
        raise NoSolverError(
            f"The solver found no plan within {seconds:g} seconds; give it more, or leave it out."
        )
    for column in np.flatnonzero(chosen[: len(model.begins)] > 0.5):
        walk, session, minute, worth = model.begins[int(column)]
        board.put(problem.walks[walk], worth, session, minute)
    return board, float(-info.mip_dual_bound)


def _quiet(highspy: Any) -> Any:
    """A solver that prints nothing: wiring its callbacks, which are not needed, would print a line."""

    class Quiet(highspy.Highs):  # type: ignore[misc]
        def __init__(self) -> None:
            super(highspy.Highs, self).__init__()

    return Quiet()


def _grid(problem: Problem) -> int:
    """The widest grid on which all that bounds a begin lies: then some best plan lies on it too."""
    numbers = {QUARTER, problem.set_up, problem.clean_up, *(s.begin for s in problem.sessions)}
    numbers |= set(problem.reserved[1:]) if problem.reserved is not None else set()
    for walk in problem.walks:
        numbers |= {walk.minutes, *np.unique(walk.entries.low).tolist()}
        for _, wait in walk.before:
            numbers |= set(np.unique(wait).tolist())
    return gcd(*numbers)


class _Model:
    """Columns: begins of walks; whether each session has brush work; begins of set-up and clean-up."""

    def __init__(self, problem: Problem) -> None:
        self.p = problem
        self.grid = _grid(problem)
        self.cost: list[float] = []
        self.begins: list[tuple[int, int, int, float]] = []
        self.rows: list[tuple[dict[int, float], float, float]] = []
        self.of_walk: list[list[int]] = []
        for walk in problem.walks:
            self._begins(walk)
        self.open = [self._column(-problem.frame_cost) for _ in problem.sessions]
        self.frames = [
            {
                name: {t: self._column(0.0) for t in range(0, s.length - length + 1, self.grid)}
                if length
                else {}
                for name, length in (("set_up", problem.set_up), ("clean_up", problem.clean_up))
            }
            for s in problem.sessions
        ]
        self._once()
        self._hands()
        self._brush()
        self._order()

    def _column(self, worth: float) -> int:
        self.cost.append(-worth)
        return len(self.cost) - 1

    def _begins(self, walk: Walk) -> None:
        """Variables of one walk: times between grid points are no gain, for all can be moved to the grid."""
        own = []
        for row, slot in enumerate(walk.entries.slot.tolist()):
            session = self.p.sessions[int(self.p.session_of[slot])]
            base = (slot - session.first) * QUARTER
            worth = float(walk.value[row])
            for t in range(base, base + QUARTER, self.grid):
                minutes = walk.starts[session.index] >> t & (1 << self.grid) - 1
                if minutes:
                    own.append(self._column(worth))
                    self.begins.append(
                        (walk.index, session.index, t + (minutes & -minutes).bit_length() - 1, worth)
                    )
        self.of_walk.append(own)

    def _least(self, row: dict[int, float], low: float) -> None:
        self.rows.append((row, low, float("inf")))

    def _most(self, row: dict[int, float], high: float) -> None:
        self.rows.append((row, -float("inf"), high))

    def _once(self) -> None:
        for own in self.of_walk:
            self._most(dict.fromkeys(own, 1.0), 1.0)
        if self.p.rules.litres is not None:
            row = {
                c: walk.litres
                for walk, own in zip(self.p.walks, self.of_walk, strict=True)
                if walk.litres
                for c in own
            }
            self._most(row, self.p.rules.litres)

    def _hands(self) -> None:
        """At no grid time do more work than are there."""
        use: dict[tuple[int, int], dict[int, float]] = {}
        for column, (n, session, minute, _) in enumerate(self.begins):
            walk = self.p.walks[n]
            for t in range(minute // self.grid, (minute + walk.minutes - 1) // self.grid + 1):
                use.setdefault((session, t), {})[column] = float(walk.people)
        for session, frame in enumerate(self.frames):
            for length, begins in ((self.p.set_up, frame["set_up"]), (self.p.clean_up, frame["clean_up"])):
                for minute, column in begins.items():
                    for t in range(minute // self.grid, (minute + length) // self.grid):
                        use.setdefault((session, t), {})[column] = 1.0
        reserved = self.p.reserved
        for (session, t), row in use.items():
            there = self.p.sessions[session].people[t * self.grid // QUARTER]
            if reserved is not None and reserved[0] == session:
                taken = t * self.grid < reserved[1] + reserved[2] and reserved[1] < (t + 1) * self.grid
                there -= int(taken)
            self._most(row, float(there))

    def _brush(self) -> None:
        """Spans filled no further than they may be; set-up before the brush work, clean-up after it."""
        filled: dict[int, dict[int, float]] = {}
        first: dict[tuple[int, int], dict[int, float]] = {}
        last: dict[tuple[int, int], dict[int, float]] = {}
        for column, (n, session, minute, _) in enumerate(self.begins):
            walk = self.p.walks[n]
            if not walk.brush:
                continue
            slot = self.p.sessions[session].first + minute // QUARTER
            for span in {int(self.p.place_span[walk.place][slot]), int(self.p.any_span[slot])}:
                filled.setdefault(span, {})[column] = float(walk.work)
            first.setdefault((session, minute), {})[column] = float(walk.people)
            last.setdefault((session, minute + walk.minutes), {})[column] = float(walk.people)
        for span, row in filled.items():
            there = self.p.spans[span]
            self._most({**row, self.open[there.session]: -there.room}, 0.0)
        for session, frame in enumerate(self.frames):
            for begins in frame.values():
                if begins:
                    self._least({**dict.fromkeys(begins.values(), 1.0), self.open[session]: -1.0}, 0.0)
        for rows, name in ((first, "set_up"), (last, "clean_up")):
            for (session, minute), row in rows.items():
                self._framed(row, session, minute, name)

    def _framed(self, row: dict[int, float], session: int, minute: int, name: str) -> None:
        """Whoever begins (ends) with the brush at a minute does so after set-up (before clean-up)."""
        begins, length = self.frames[session][name], getattr(self.p, name)
        people = -float(max(self.p.sessions[session].people))
        if not length:
            self._most({**row, self.open[session]: people}, 0.0)
            return
        early = {
            c: people
            for t, c in begins.items()
            if (t + length <= minute if name == "set_up" else t >= minute)
        }
        self._most({**row, **early}, 0.0)

    def _order(self) -> None:
        """A walk that waits begins after what it waits for, by the wait of the slot in which that began."""
        for walk in self.p.walks:
            for earlier, wait in walk.before:
                ready: list[tuple[int, int]] = []
                for column in self.of_walk[earlier]:
                    _, session, minute, _ = self.begins[column]
                    here = self.p.sessions[session]
                    least = int(wait[here.first + minute // QUARTER])
                    ready.append((here.begin + minute + self.p.walks[earlier].minutes + least, column))
                self._after(sorted(ready), walk)

    def _after(self, ready: Sequence[tuple[int, int]], walk: Walk) -> None:
        own = sorted(
            (self.p.sessions[session].begin + minute, column)
            for column in self.of_walk[walk.index]
            for _, session, minute, _ in [self.begins[column]]
        )
        row: dict[int, float] = {}
        at = 0
        for n, (begin, column) in enumerate(own):
            row[column] = 1.0
            while at < len(ready) and ready[at][0] <= begin:
                row[ready[at][1]] = -1.0
                at += 1
            # One row stands for all begins up to the next time at which one more would be ready.
            following = own[n + 1][0] if n + 1 < len(own) else None
            if following is None or (at < len(ready) and ready[at][0] <= following):
                self._most(dict(row), 0.0)

    def lp(self, highspy: Any) -> Any:
        """The model as the solver takes it; it looks for the least, so gains are negative."""
        n, infinite = len(self.cost), highspy.kHighsInf
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = n, len(self.rows)
        lp.col_cost_ = np.array(self.cost)
        lp.col_lower_, lp.col_upper_ = np.zeros(n), np.ones(n)
        lp.row_lower_ = np.array([max(low, -infinite) for _, low, _ in self.rows])
        lp.row_upper_ = np.array([min(high, infinite) for _, _, high in self.rows])
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.start_ = np.cumsum([0, *(len(row) for row, _, _ in self.rows)])
        lp.a_matrix_.index_ = np.array([c for row, _, _ in self.rows for c in row], np.int32)
        lp.a_matrix_.value_ = np.array([v for row, _, _ in self.rows for v in row.values()])
        lp.integrality_ = [highspy.HighsVarType.kInteger] * n
        return lp
