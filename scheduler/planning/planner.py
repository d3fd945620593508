"""Who does what when: tasks put to slots so that most is kept. Pure.

``make_plan`` is the fast way of our own (``plan_price``, ``plan_search``);
``plan_exact.exact_plan`` solves the same problem to the proven optimum.
``hands_price`` gives the price of a day's hands alone, for whoever decides between
days: a try costs wax, labour, and its minutes at that price.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

import numpy as np

from scheduler.planning.plan import QUARTER, Plan, PlanRules, Slot, Task, TaskId
from scheduler.planning.plan_price import Prices, balance
from scheduler.planning.plan_problem import Problem, prepare
from scheduler.planning.plan_search import Board, Times, fill_board, improve, times_of
from scheduler.planning.plan_told import told
from scheduler.planning.tries import HandsPrice

__all__ = ["HandsPrice", "hands_price", "make_plan", "search"]


def make_plan(
    tasks: Sequence[Task],
    slots: Sequence[Slot],
    rules: PlanRules,
    former: Mapping[TaskId, datetime] | None = None,
) -> Plan:
    """Plan all tasks, the fast way.

    Parameters
    ----------
    tasks : what there is to do; the order settles ties
    slots : the quarter hours of the days to come, in order of time
    rules : what holds for all
    former : times that were told before; such a task moves only for more than ``promise_share``

    Raises
    ------
    PlanError
        For slots and tasks that contradict one another.
    """
    problem = prepare(tasks, slots, rules, former)
    board, prices = search(problem)
    return told(problem, board, prices, prices.bound, tasks)


def hands_price(tasks: Sequence[Task], slots: Sequence[Slot], rules: PlanRules) -> HandsPrice:
    """The prices alone, without looking for a plan. Raises ``PlanError`` as ``make_plan`` does."""
    problem = prepare(tasks, slots, rules)
    prices, _ = _priced(problem)
    return HandsPrice(prices.by_day(problem), prices.litre)


def search(problem: Problem) -> tuple[Board, Prices]:
    """The best board that was found, and the prices."""
    prices, first = _priced(problem)
    if not problem.walks:
        return first, prices
    orders = [times_of(problem, prices, share) for share in (1.0, 0.0)]
    boards = [first, *(_first(problem, prices, times) for times in orders)]
    board = max(boards, key=lambda b: b.worth)
    if prices.bound - board.worth > 1e-9 * max(prices.bound, 1.0):
        board = improve(board, prices, orders, problem.rounds("search_rounds"))
    board = _packed(_saw_first(board, orders[1]), orders[1])
    # Whoever still fits is put in: nobody may be left out for no reason.
    fill_board(board, _by_density(problem, prices), orders[1])
    return board, prices


def _priced(problem: Problem) -> tuple[Prices, Board]:
    """Prices, with a plain greedy plan to set their steps by."""
    board = Board(problem)
    if not problem.walks:
        return balance(problem, 0.0), board
    free = Prices(
        tuple(w.value for w in problem.walks), tuple(np.zeros(w.value.size) for w in problem.walks), 0, 0
    )
    fill_board(board, _by_density(problem, free), times_of(problem, free, 0.0))
    return balance(problem, max(board.worth, 0.0)), board


def _by_density(problem: Problem, prices: Prices) -> list[int]:
    key = [float(net.max()) / walk.work for net, walk in zip(prices.net, problem.walks, strict=True)]
    return sorted(range(len(key)), key=lambda n: (-key[n], n))


def _first(problem: Problem, prices: Prices, times: Times) -> Board:
    board = Board(problem)
    fill_board(board, _by_density(problem, prices), times, opening=False)
    return board


def _packed(board: Board, times: Times) -> Board:
    """Without holes that nobody asked for: each walk of a session as early as its worth stays the same."""
    for session in board.p.sessions:
        here = [n for _, n in sorted((m, n) for n, (s, m, _) in board.at.items() if s == session.index)]
        if len(here) < 2:
            continue
        other = board.copy()
        gone = [n for index in here for n in other.drop(index)]
        for n in here:
            worth = board.at[n][2]
            rows = [
                (-float(r[4]), *r[1:]) for r in times[n] if r[2] == session.index and r[1] >= 0.99 * worth
            ]
            found = other.find(board.p.walks[n], sorted(rows, key=lambda r: -r[0]), opening=False)
            if found is not None:
                other.put(board.p.walks[n], *found[:3])
        fill_board(other, gone, times)
        if other.worth >= board.worth * (1.0 - 1e-3) and set(board.at) <= set(other.at):
            board = other
    return board


def _saw_first(board: Board, times: Times) -> Board:
    """Where it costs (almost) nothing, the saw stands first in its session: rested hands."""
    for session in board.p.sessions:
        here = sorted((m, n) for n, (s, m, _) in board.at.items() if s == session.index)
        brush = [n for _, n in here if board.p.walks[n].brush or board.p.walks[n].saw]
        saws = [n for n in brush if board.p.walks[n].saw]
        if not saws or brush[: len(saws)] == saws:
            continue
        begins = next(m for m, n in here if n == brush[0]) // QUARTER + session.first
        for since in (session.first, begins):  # the first light, else when the brush had begun anyway
            other = _saws_from(board, times, session.index, [n for _, n in here], since)
            if other is not None:
                board = other
                break
    return board


def _saws_from(board: Board, times: Times, session: int, here: list[int], since: int) -> Board | None:
    """A board with the saw's jobs of a session first from a slot on; None where that costs too much."""
    problem = board.p
    saws = [n for n in here if problem.walks[n].saw]
    other = board.copy()
    gone = [n for index in here for n in other.drop(index)]
    for n in saws:
        walk = problem.walks[n]
        rows = [(-float(r[4]), *r[1:]) for r in times[n] if r[2] == session and r[4] >= since]
        found = other.find(walk, sorted(rows, key=lambda r: -r[0]), opening=False)
        if found is not None:
            other.put(walk, *found[:3])
    fill_board(other, gone, times)
    kept = sum(worth for s, _, worth in board.at.values() if s == session)
    cheap = other.worth >= board.worth - problem.rules.numbers["saw_first"] * kept
    return other if cheap and set(saws) <= set(other.at) else None
