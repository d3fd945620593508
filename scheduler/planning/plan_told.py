"""A filled board as a plan: clock times, people, frames, and why the rest was left out. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from typing import NamedTuple

from scheduler.planning.plan import MINUTE, QUARTER, Assignment, LeftOut, Plan, SessionWork, Task
from scheduler.planning.plan_price import Prices
from scheduler.planning.plan_problem import IN_SLOT, NEVER, Problem, Session, Walk, runs_in
from scheduler.planning.plan_search import Board

__all__ = ["told"]

SET_UP, CLEAN_UP, PAIL = -1, -2, -3


class _Item(NamedTuple):
    """Something that takes people for a while; minutes from the session's beginning."""

    begin: int
    key: int  # number of the walk, or one of the names above
    minutes: int
    people: int


def told(problem: Problem, board: Board, prices: Prices, bound: float, tasks: Sequence[Task]) -> Plan:
    """The plan that a board stands for; ``bound`` as it was proven, promises included."""
    pail = _pail_time(problem, board)
    rows: list[Assignment] = []
    frames: list[SessionWork] = []
    for session in problem.sessions:
        items = _items(problem, board, session, pail)
        who = _people(session, items)
        rows += [row for item in items for row in _rows(problem, session, item, who[item.key])]
        frames += _frames(problem, session, items, who)
    value = sum(row.keeps for row in rows) - problem.frame_cost * len(frames)
    order = {task.id: n for n, task in enumerate(tasks)}
    rows.sort(key=lambda row: (row.start, order[row.task]))
    return Plan(
        assignments=tuple(rows),
        left_out=_left_out(problem, board, prices, tasks, pail_told=pail is not None),
        sessions=tuple(frames),
        hands_price=prices.by_day(problem),
        litre_price=prices.litre,
        value=value,
        # A kept promise counts in the search and in the bound, and not in what a plan keeps.
        bound=max(value, bound - (board.worth - value)),
        litres=sum(row.litres for row in rows),
    )


def _pail_time(problem: Problem, board: Board) -> tuple[int, int] | None:
    """Session and minute for warming the pail: the last that is early enough for the first brush work."""
    if problem.warm is None:
        return None
    begins = [
        problem.sessions[s].begin + min(a for a, _ in hours.values())
        for s, hours in enumerate(board.brush)
        if hours
    ]
    if not begins:
        return None
    _, first_session, first_minute = problem.warm
    task, length = problem.warm[0], ceil(problem.warm[0].minutes)
    due = min(begins) - ceil(problem.rules.numbers["warm_lead"] * 60) - length
    for session in reversed(problem.sessions):
        starts = problem.warm_starts.get(session.index, 0) & session.bits(0, due + 1)
        free = runs_in(session, _free_beside(problem, board, session.index), length) & starts
        if free and task is not None:
            return session.index, free.bit_length() - 1
    return first_session, first_minute


def _free_beside(problem: Problem, board: Board, session: int) -> int:
    """Minutes in which somebody is free beside set-up and clean-up; the pail's kept time given back."""
    levels = board.free[session]
    free = levels[0]
    for item in _frame_items(problem, board, problem.sessions[session]):
        taken = ((1 << item.minutes) - 1) << item.begin
        free = free & ~taken | (levels[1] & taken if len(levels) > 1 else 0)
    reserved = problem.reserved
    if reserved is not None and reserved[0] == session:
        free |= ((1 << reserved[2]) - 1) << reserved[1]
    return free


def _items(problem: Problem, board: Board, session: Session, pail: tuple[int, int] | None) -> list[_Item]:
    items = [
        _Item(m, n, problem.walks[n].minutes, problem.walks[n].people)
        for n, (s, m, _) in board.at.items()
        if s == session.index
    ]
    items += _frame_items(problem, board, session)
    if pail is not None and problem.warm is not None and pail[0] == session.index:
        items.append(_Item(pail[1], PAIL, ceil(problem.warm[0].minutes), 1))
    return sorted(items)


def _frame_items(problem: Problem, board: Board, session: Session) -> list[_Item]:
    """Set-up as near before the brush work as somebody is free, clean-up as soon after it."""
    hours = board.brush[session.index].values()
    if not hours:
        return []
    first, last = min(a for a, _ in hours), max(b for _, b in hours)
    free = board.free[session.index][0]
    items = [_Item(first, SET_UP, 0, 1), _Item(last, CLEAN_UP, 0, 1)]
    if problem.set_up:
        before = runs_in(session, free, problem.set_up) & (1 << max(0, first - problem.set_up + 1)) - 1
        items[0] = _Item(before.bit_length() - 1, SET_UP, problem.set_up, 1)
    if problem.clean_up:
        after = runs_in(session, free, problem.clean_up) & -(1 << last)
        items[1] = _Item((after & -after).bit_length() - 1, CLEAN_UP, problem.clean_up, 1)
    return items


def _people(session: Session, items: Sequence[_Item]) -> dict[int, tuple[int, ...]]:
    """Who does what: the first who are free; nothing crosses a change in the number of people, so it fits."""
    until = [0] * max(session.people)
    who: dict[int, tuple[int, ...]] = {}
    for item in items:
        there = session.people[min(item.begin // QUARTER, session.slots - 1)]
        free = [n for n in range(there) if until[n] <= item.begin][: item.people]
        who[item.key] = tuple(free) or (0,)
        for n in free:
            until[n] = item.begin + item.minutes
    return who


def _rows(problem: Problem, session: Session, item: _Item, who: tuple[int, ...]) -> list[Assignment]:
    origin = problem.slots[session.first].start
    if item.key == PAIL and problem.warm is not None:
        task = problem.warm[0]
        return [Assignment(task.id, origin + item.begin * MINUTE, task.minutes, who, None, 0.0)]
    if item.key < 0:
        return []
    walk = problem.walks[item.key]
    slot = session.first + item.begin // QUARTER
    rows, at = [], 0.0
    for task in walk.tasks:
        there = min(slot + int(at // QUARTER), len(problem.slots) - 1)
        chance = problem.slots[there].chance.get(task.place) if task.brush else None
        start = origin + (item.begin + at) * MINUTE
        keeps = float(task.gain[there])
        moved = _moved(problem, walk, slot)
        rows.append(Assignment(task.id, start, task.minutes, who, chance, keeps, task.litres, moved))
        at += task.minutes
    return rows


def _moved(problem: Problem, walk: Walk, slot: int) -> bool:
    if walk.promised is None:
        return False
    begin = (problem.slots[slot].start - problem.slots[0].start) // MINUTE
    away = abs(begin - walk.promised // QUARTER * QUARTER)
    return away > problem.rules.numbers["promise_within"]


def _frames(
    problem: Problem, session: Session, items: Sequence[_Item], who: dict[int, tuple[int, ...]]
) -> list[SessionWork]:
    times = {item.key: item.begin for item in items if item.key in (SET_UP, CLEAN_UP)}
    if not times:
        return []
    origin = problem.slots[session.first].start
    return [
        SessionWork(
            session.day,
            origin + times[SET_UP] * MINUTE,
            who[SET_UP][0],
            origin + times[CLEAN_UP] * MINUTE,
            who[CLEAN_UP][0],
        )
    ]


# -------------------------------------------------------------------- why not


def _left_out(
    problem: Problem, board: Board, prices: Prices, tasks: Sequence[Task], pail_told: bool
) -> tuple[LeftOut, ...]:
    reasons = {row.task: row for row in problem.refused}
    for walk in problem.walks:
        if walk.index not in board.at:
            reasons |= {row.task: row for row in _why(problem, board, prices, walk)}
    if problem.warm is not None and not pail_told:
        pail = problem.warm[0].id
        reasons[pail] = LeftOut(pail, "no_brush_work", {})
    return tuple(reasons[task.id] for task in tasks if task.id in reasons)


def _why(problem: Problem, board: Board, prices: Prices, walk: Walk) -> list[LeftOut]:
    keeps, minutes = float(walk.keeps.max()), float(walk.minutes)
    waits = next((n for n, _ in walk.before if n not in board.at), None)
    if waits is not None:
        return _each(walk, "waits_for", {}, problem.walks[waits])
    if walk.litres > board.litres + 1e-9:
        return _each(walk, "no_wax", {"litres": walk.litres, "left": max(0.0, board.litres)})
    rows = []
    for slot in walk.entries.slot.tolist():
        session = problem.sessions[int(problem.session_of[slot])]
        bits = walk.starts[session.index] & IN_SLOT << (slot - session.first) * QUARTER
        rows.append((1.0, float("inf"), session.index, bits, slot))
    if board.find(walk, rows, opening=False) is not None:
        return _each(walk, "not_worth_it", {"keeps": keeps})
    for n, wait in walk.before:
        number, minute, _ = board.at[n]
        least = int(wait[problem.sessions[number].first + minute // QUARTER])
        ready = problem.sessions[number].begin + minute + problem.walks[n].minutes + least
        if not any(problem.sessions[s].bits(ready, NEVER) & bits for _, _, s, bits, _ in rows):
            hours = float("inf") if least >= NEVER else least / 60.0
            return _each(walk, "too_soon", {"hours": hours}, problem.walks[n])
    price = float(prices.asked[walk.index][int(prices.net[walk.index].argmax())])
    why = "span_full" if walk.brush else "hours_full"
    return _each(walk, why, {"minutes": minutes, "keeps": keeps, "price": price})


def _each(walk: Walk, why: str, numbers: dict[str, float], of: Walk | None = None) -> list[LeftOut]:
    about = of.tasks[0].id if of is not None else None
    return [LeftOut(task.id, why, numbers, about) for task in walk.tasks]
