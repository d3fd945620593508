"""Clocks and milestones: running totals over a grid of time, and when they have moved by an amount.

A clock never runs backwards, so the milestone of *every* start is one sorted
search. Times are in grid steps (fractions allowed) from the first grid point;
"never within the data" is ``inf``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["at", "first_from", "reach", "total"]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741  -- index arrays


def total(rate: F, step: float) -> F:
    """Running total of a rate (members, K) over equal steps, (members, K + 1), first value 0.

    An unknown rate (NaN) adds nothing; count those with a clock of their own.
    """
    out = np.zeros((rate.shape[0], rate.shape[1] + 1))
    np.cumsum(np.nan_to_num(rate) * step, axis=1, out=out[:, 1:])
    return out


def reach(totals: F, targets: F) -> F:
    """Time at which each member's clock first stands at its targets.

    Parameters
    ----------
    totals : (members, K + 1), never falling along the second axis
    targets : (members, S)

    Returns
    -------
    (members, S) grid steps, linear inside a step; inf when not reached or when the target is not finite.
    """
    members, points = totals.shape
    # All members in one ordered row: each is lifted above the one before, then one search serves all.
    low = totals[:, :1]
    height = float(np.max(totals[:, -1] - totals[:, 0])) + 1.0
    lift = np.arange(members)[:, None] * height
    row = (totals - low + lift).ravel()
    wanted = targets - low
    hopeless = ~(wanted <= totals[:, -1:] - low)
    wanted = np.where(hopeless, 0.0, np.maximum(wanted, 0.0))
    found = np.searchsorted(row, (wanted + lift).ravel(), side="left").reshape(wanted.shape)
    first = np.arange(members)[:, None] * points
    after = np.minimum(found, first + (points - 1))
    before = np.maximum(found - 1, first)
    flat = totals.ravel()
    a = flat.take(before)
    rise = flat.take(after) - a
    a = wanted - (a - low)
    # Where the clock stands still there is nothing to share out: the milestone is the beginning of the step.
    inside = np.divide(a, rise, out=np.zeros_like(a), where=rise > 0.0)
    when = np.asarray(before - first + inside)
    when[hopeless] = np.inf
    return when


def at(totals: F, when: F) -> F:
    """Running totals at fractional grid times (members, S); past the end: the last value."""
    members, points = totals.shape
    position = np.maximum(np.fmin(when, points - 1.0), 0.0)  # fmin: what is not a number is past the end too
    index = np.minimum(position.astype(np.int64), points - 2)
    inside = position - index
    index += np.arange(members)[:, None] * points
    flat = totals.ravel()
    a = flat.take(index)
    index += 1
    return np.asarray(a + (flat.take(index) - a) * inside)


def first_from(mask: NDArray[np.bool_]) -> I:
    """For each step k the first step >= k where the mask holds, K where there is none: (members, K)."""
    steps = mask.shape[1]
    index = np.where(mask, np.arange(steps)[None, :], steps)
    return np.minimum.accumulate(index[:, ::-1], axis=1)[:, ::-1]
