"""What a try with the brush is worth in every quarter hour of the days to come. Pure.

The same recursion that tells the verdict (``decision``) tells what a try on each day costs, what
comes of a failure, and what the end costs if it is left for later. Here they become the gain of a
try at a time: what the end costs without one, less what it costs with it. So the plan and the
verdict weigh the same; the price of hands is the plan's own and is not in a gain.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

__all__ = ["HandsPrice", "Tries"]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741


@dataclass(frozen=True, slots=True)
class HandsPrice:
    """What a minute of one person costs on each day, and a litre, in weighted cm; 0 where there is enough."""

    by_day: Mapping[date, float]
    litre: float = 0.0


@dataclass(frozen=True, eq=False, slots=True)
class Tries:
    """The tries of one job by day from ``first`` on; costs in the unit of the log.

    Attributes
    ----------
    hours : (days,) hour of the ledger's clock at which a try of each day begins
    held : (days,) what the end will have cost by the horizon when that try holds
    cost : wax and labour of one try
    failed : (forecast days,) expected cost after a try of that day has failed
    value : (days,) expected cost from each day on while the end is open
    learned : (days + 1,) what the days until each will have told, as a saving; never above zero
    open : cost of no try at all
    eager : what a try of the first day may be dearer than waiting and is still taken
    points : weighted cm for one of the log's unit
    """

    first: date
    hours: F
    held: F
    cost: float
    failed: F
    value: F
    learned: F
    open: float
    eager: float
    points: float

    def later(self, days: int) -> float:
        """Cost of an end that nobody tries on the first ``days`` days, and that is dealt with well then."""
        if days >= self.value.size:
            return self.open
        return float(self.value[days] + self.learned[days])

    def gains(self, hours: F, days: I, chance: F, without: float) -> F:
        """Gain in weighted cm of a try at each time, wax and labour taken off.

        Parameters
        ----------
        hours : (times,) hours of the ledger's clock
        days : (times,) their civil days, 0 for ``first``
        chance : (times,) that the coat holds; NaN: none
        without : cost without a try: ``later``, or ``open``
        """
        told = self.failed.size
        inside = (days >= 0) & (days < told) & np.isfinite(chance) & (chance > 0.0)
        n = np.clip(days, 0, max(told - 1, 0))
        held = np.interp(hours, self.hours, self.held) if self.hours.size else np.full(hours.shape, self.open)
        again = self.failed[n] if told else np.full(hours.shape, self.open)
        p = np.where(inside, chance, 0.0)
        cost = self.cost + p * held + (1.0 - p) * again + self.learned[n]
        cost = cost - np.where(days == 0, self.eager, 0.0)
        return np.asarray(np.where(inside, (without - cost) * self.points, -self.cost * self.points))
