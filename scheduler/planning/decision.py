"""The decision: coat now, or wait. An optimal-stopping problem per end, solved backwards over the days. Pure.

A try costs wax and labour ``c``; it holds with a chance ``p`` and then fixes what
the end will have lost by the horizon, ``F`` of that day; when it fails the end
stays open and may be tried again some days later. Waiting costs nothing but the
growth of ``F``. Far behind stands ``N``: what staying open costs, or whatever
else the yard can do.

    U(d) = min( wait(d), c + p(d) F(d) + (1 - p(d)) V(d) )

- ``V`` is taken over the members in which the try of that day failed: weather that
  spoils today's coat is more likely to spoil tomorrow's.
- ``wait`` weighs two views. ``U(d + 1)`` with today's chances overstates the cost of
  waiting, for tomorrow's forecast will be better; the mean over the members of the
  best choice in each understates it. The weight of the second is the share of the
  doubt that the coming day removes.

Form after Bellman (dynamic programming); the weighing of the two bounds is an own
device. Everything is vectorised over ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Chances", "Choice", "decide"]

F = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Chances:
    """How the tries of the days to come end.

    Attributes
    ----------
    holds : (members, forecast days), 1 where the day's best start passes, 0 where it breaks, NaN unknown
    later : (later days,), the chance of each day behind the forecast, from the place's history
    """

    holds: F
    later: F

    @property
    def days(self) -> int:
        """Days looked at."""
        return int(self.holds.shape[1] + self.later.size)

    @property
    def forecast_days(self) -> int:
        """Days for which there are members."""
        return int(self.holds.shape[1])

    def plain(self) -> F:
        """Chance of each day, (days,): (passing + 1/2) / (known + 1); 0 where nothing is known."""
        known = np.isfinite(self.holds)
        count, passing = known.sum(axis=0), np.nansum(self.holds, axis=0)
        told = np.where(count > 0, (passing + 0.5) / (count + 1.0), 0.0)
        told = np.where((passing == 0) | (count == 0), 0.0, told)
        return np.concatenate([told, self.later])

    def after_failing(self) -> F:
        """Chance of each day given that the try of an earlier one failed, (forecast days, days)."""
        holds, n = self.holds, self.forecast_days
        failed = (holds == 0.0).astype(float)
        known = np.isfinite(holds).astype(float)
        both = failed.T @ known
        passing = failed.T @ np.nan_to_num(holds)
        # Few members failed: their say is mixed with that of all, as much as one member would have.
        prior = self.plain()[:n][None, :]
        told = (passing + prior) / (both + 1.0)
        never = np.nansum(holds, axis=0) == 0
        told = np.where(never[None, :], 0.0, told)
        return np.concatenate([told, np.repeat(self.later[None, :], n, axis=0)], axis=1)


@dataclass(frozen=True, eq=False)
class Choice:
    """What the recursion found for each end, in the unit of the costs.

    Attributes
    ----------
    expected : (ends,) cost from now on while the yard acts well
    try_now, wait : (ends,) cost of a try on the first day, and of the best that begins later
    best_day : (ends,) day of the first try on the way that the chances of today say; -1: none
    open : (ends,) cost of never trying
    value : (ends, days) expected cost from each day on while the end is still open
    failed : (ends, forecast days) the same after a try of that day has failed
    learned : (ends, days + 1) what the days until each day will have told, as a saving; never above zero
    """

    expected: F
    try_now: F
    wait: F
    best_day: NDArray[np.int64]
    open: F
    value: F
    failed: F
    learned: F

    @property
    def now(self) -> NDArray[np.bool_]:
        """Whether to try on the first day: only where that is truly cheaper."""
        return np.asarray(self.try_now < self.wait - 1e-9)

    @property
    def of_waiting(self) -> F:
        """What it costs to let the first day go by, (ends,); never below zero."""
        return np.maximum(self.wait - np.minimum(self.try_now, self.wait), 0.0)


def decide(
    cost: F,
    held: F,
    never: F,
    chances: Chances,
    removed: F,
    *,
    retry: int = 1,
) -> Choice:
    """Solve all ends at once.

    Parameters
    ----------
    cost : (ends, days) wax and labour of a try on each day
    held : (ends, days) what the end will have cost by the horizon when a try of that day holds; inf: no try
    never : (ends,) the same when none ever holds
    removed : (days,) weight of the informed view when a day is waited for
    retry : days after a failure before the next try

    Raises
    ------
    ValueError
        For shapes that do not fit, or a retry below one day.
    """
    ends, days = held.shape
    if cost.shape != held.shape or never.shape != (ends,) or chances.days != days or removed.shape != (days,):
        raise ValueError("costs, chances and weights must be of the same days")
    if retry < 1:
        raise ValueError("a try can be repeated after a day at the earliest")
    plain = chances.plain()
    failing = _after_failing(cost, held, never, chances, removed, retry)
    informed = _informed(cost, held, never, chances, removed)
    value = np.empty((ends, days + 1))
    tried = np.empty((ends, days))
    waited = np.empty((ends, days))
    saved = np.zeros((ends, days + 1))  # by what a morning behind the forecast will tell
    value[:, days] = never
    for day in range(days - 1, -1, -1):
        told = day < chances.forecast_days
        again = failing[:, day] if told else value[:, min(day + retry, days)]
        tried[:, day] = _try(cost[:, day], held[:, day], plain[day], again)
        waited[:, day] = value[:, day + 1]
        if day + 1 < chances.forecast_days:
            waited[:, day] += removed[day] * np.minimum(informed[:, day + 1] - waited[:, day], 0.0)
        value[:, day] = np.minimum(tried[:, day], waited[:, day])
        if day and not told:
            seen = _seen(cost[:, day], held[:, day], plain[day], value[:, day + 1])
            saved[:, day] = removed[day - 1] * np.minimum(seen - value[:, day], 0.0)
            value[:, day] += saved[:, day]
    acts = tried < waited - 1e-9
    best = np.where(acts.any(axis=1), np.argmax(acts, axis=1), -1)
    learned = np.concatenate([np.zeros((ends, 1)), np.cumsum(waited - value[:, 1:], axis=1)], axis=1)
    learned[:, 1:] += np.cumsum(saved[:, :-1], axis=1)
    return Choice(
        value[:, 0],
        tried[:, 0],
        waited[:, 0],
        best,
        never,
        value[:, :days],
        failing[:, : chances.forecast_days],
        learned,
    )


def _try(cost: F, held: F, chance: float | F, again: F) -> F:
    """Cost of a try; one without any chance, or of an end that cannot be tried, is none."""
    possible = np.isfinite(held) & (np.asarray(chance) > 0.0)
    kept = np.where(np.isfinite(held), held, 0.0)
    return np.asarray(np.where(possible, cost + chance * kept + (1.0 - chance) * again, np.inf))


def _seen(cost: F, held: F, chance: F | float, later: F) -> F:
    """Expected cost where the morning itself will tell whether the day holds: tried on good days alone."""
    good = np.where(np.isfinite(held), cost + np.where(np.isfinite(held), held, 0.0), np.inf)
    return np.asarray(chance * np.minimum(good, later) + (1.0 - np.asarray(chance)) * later)


def _after_failing(cost: F, held: F, never: F, chances: Chances, removed: F, retry: int) -> F:
    """Expected cost after a try of each forecast day has failed, (ends, forecast days)."""
    days = held.shape[1]
    n = chances.forecast_days
    given = chances.after_failing()
    value = np.repeat(never[:, None, None], days + retry + 1, axis=2)
    value = np.repeat(value, n, axis=1)  # (ends, failed day, day from which on)
    for day in range(days - 1, -1, -1):
        again = value[:, :, day + retry]
        tried = _try(cost[:, None, day], held[:, None, day], given[None, :, day], again)
        value[:, :, day] = np.minimum(value[:, :, day + 1], tried)
        if day and day >= n:
            seen = _seen(cost[:, None, day], held[:, None, day], given[None, :, day], value[:, :, day + 1])
            value[:, :, day] += removed[day - 1] * np.minimum(seen - value[:, :, day], 0.0)
    return (
        np.stack([value[:, day, min(day + retry, days)] for day in range(n)], axis=1) if n else value[:, :, 0]
    )


def _informed(cost: F, held: F, never: F, chances: Chances, removed: F) -> F:
    """Mean over the members of the best choice of one who knew which it is, (ends, forecast days)."""
    ends, n = held.shape[0], chances.forecast_days
    out = np.empty((ends, n))
    if not n:
        return out
    later = _beyond(cost[:, n:], held[:, n:], never, chances.later, removed[n:])
    best = np.repeat(later[:, None], chances.holds.shape[0], axis=1)  # (ends, members)
    for day in range(n - 1, -1, -1):
        passes = chances.holds[:, day] == 1.0
        best = np.where(passes[None, :], np.minimum(best, (cost + held)[:, day, None]), best)
        out[:, day] = best.mean(axis=1)
    return out


def _beyond(cost: F, held: F, never: F, later: F, removed: F) -> F:
    """Expected cost from the first day behind the forecast on."""
    value = never
    for day in range(later.size - 1, -1, -1):
        after = value
        value = np.minimum(after, _try(cost[:, day], held[:, day], float(later[day]), after))
        seen = _seen(cost[:, day], held[:, day], float(later[day]), after)
        value = value + removed[day] * np.minimum(seen - value, 0.0)
    return value
