"""Were we right? Scores of chances and spreads, and the yard's own record of what was said and what came.

Pure. The upper half are scores as forecasters know them, for arrays. The lower
half adds up the yard's own cases by kind and day ahead; ``skill_cases`` makes
them of forecasts that were kept and what was read and seen later.

References
----------
Brier 1950, Mon. Wea. Rev. 78 (its half: one of the two classes). CRPS, closed
form for a normal law: Gneiting, Raftery, Westveld, Goldman 2005, Mon. Wea. Rev.
133. CRPS of an ensemble: Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102, eq.
21, the mean distance of two members by sorting. Band of a share: Wilson 1927,
J. Am. Stat. Assoc. 22.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import erf, fsum, isfinite, pi, sqrt
from statistics import NormalDist
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from scheduler.weather.series import Array

__all__ = [
    "LEADS",
    "TOO_FEW",
    "Bin",
    "Case",
    "Kind",
    "Record",
    "Score",
    "ScoreError",
    "brier",
    "brier_skill",
    "crps_ensemble",
    "crps_normal",
    "dry_cases",
    "event_of_count",
    "event_of_normal",
    "normal_below",
    "record",
    "reliability",
]

Kind = Literal["frost", "rain", "dry"]
KINDS: tuple[Kind, ...] = ("frost", "rain", "dry")
LEADS = ((0.0, 1.0), (1.0, 2.0), (2.0, 3.0), (3.0, 5.0), (5.0, 7.0), (7.0, 10.0))  # days ahead, [from, to)
TOO_FEW = "too few to judge"
BAND = 0.9  # share of the band about a share that happened
YES = 0.5  # a chance from which on it counts as said


class ScoreError(ValueError):
    """Numbers that cannot be scored; the text says which and why."""


# ------------------------------------------------------------------ scores


def brier(p: ArrayLike, o: ArrayLike) -> float:
    """Mean square of chance said minus what happened (0 or 1): 0 is perfect, 1 the worst.

    Raises
    ------
    ScoreError
        For no case, chances outside 0 to 1, outcomes other than 0 and 1, and arrays of two lengths.
    """
    said, came = _pairs(p, o)
    return float(np.mean((said - came) ** 2))


def brier_skill(p: ArrayLike, o: ArrayLike, reference: ArrayLike) -> float:
    """Share of the reference's Brier score that is saved: 1 is perfect, 0 no better than it.

    ``reference`` is the chance that it would say, one for all cases or one for
    each. NaN where the reference makes no error, so that nothing can be saved.
    """
    said, came = _pairs(p, o)
    error = brier(np.broadcast_to(np.asarray(reference, float), said.shape), came)
    return 1.0 - brier(said, came) / error if error > 0.0 else float("nan")


def event_of_normal(mean: ArrayLike, sd: ArrayLike, threshold: ArrayLike) -> Array:
    """Chance that a normal law of this mean and standard deviation is at or below a threshold, any shape.

    Without spread it is 0 or 1.
    """
    gap, spread = np.broadcast_arrays(np.subtract(threshold, mean), _spread(sd))
    exact = np.where(np.isnan(gap), np.nan, (gap >= 0.0).astype(float))
    return np.asarray(np.where(spread > 0.0, normal_below(gap / np.where(spread > 0.0, spread, 1.0)), exact))


def event_of_count(hits: ArrayLike, members: ArrayLike) -> Array:
    """Chance from a count of members, (k + 1/2) / (n + 1): never 0 or 1, any shape."""
    k, n = np.asarray(hits, float), np.asarray(members, float)
    if not ((k >= 0) & (k <= n)).all():
        raise ScoreError("Members that have it must be between none and all of them.")
    return np.asarray((k + 0.5) / (n + 1.0))


def crps_normal(mean: ArrayLike, sd: ArrayLike, y: ArrayLike) -> Array:
    """Continuous ranked probability score of a normal law, in the unit of ``y``, any shape.

    ``sd (z (2 Phi(z) - 1) + 2 phi(z) - 1 / sqrt(pi))`` with ``z = (y - mean) / sd``;
    without spread the absolute error. Unknown (NaN) stays unknown.
    """
    miss, spread = np.broadcast_arrays(np.subtract(y, mean), _spread(sd))
    z = miss / np.where(spread > 0.0, spread, 1.0)
    density = np.exp(-0.5 * z**2) / sqrt(2.0 * pi)
    score = spread * (z * (2.0 * normal_below(z) - 1.0) + 2.0 * density - 1.0 / sqrt(pi))
    return np.asarray(np.where(spread > 0.0, score, np.where(np.isnan(spread), np.nan, np.abs(miss))))


def crps_ensemble(members: ArrayLike, y: ArrayLike) -> Array:
    """Continuous ranked probability score of an ensemble, members on the last axis, exact.

    ``mean |x_i - y| - mean |x_i - x_j| / 2`` over all pairs, a member with
    itself among them. Sorted, the mean distance is a weighted sum, so it takes
    ``n log n`` steps. Unknown (NaN) members or outcomes leave the score unknown.
    """
    x = np.asarray(members, float)
    if x.ndim == 0 or x.shape[-1] == 0:
        raise ScoreError("An ensemble has at least one member, on the last axis.")
    # Distances from the outcome, so that large values of one size do not cancel.
    apart = np.sort(x - np.asarray(y, float)[..., None], axis=-1)
    n = x.shape[-1]
    weight = (2.0 * np.arange(1, n + 1) - n - 1.0) / n**2
    score = np.abs(apart).mean(axis=-1) - apart @ weight
    return np.asarray(np.maximum(score, 0.0))  # rounding alone goes below


@dataclass(frozen=True, slots=True)
class Bin:
    """Cases with a chance in ``[low, high)`` (the last one up to 1): mean chance said, share that happened.

    ``band`` is the share's 90 % interval (Wilson). Shares are None in a bin without cases.
    """

    low: float
    high: float
    n: int
    said: float | None = None
    happened: float | None = None
    band: tuple[float, float] | None = None


def reliability(p: ArrayLike, o: ArrayLike, bins: int = 10) -> tuple[Bin, ...]:
    """Of what was said with a like chance, how much happened: ``bins`` of one width, empty ones too."""
    if bins < 1:
        raise ScoreError("A table of what was said has at least one bin.")
    said, came = _pairs(p, o)
    edges = np.arange(bins + 1) / bins
    where = np.clip(np.searchsorted(edges, said, side="right") - 1, 0, bins - 1)
    table = []
    for k in range(bins):
        mine = where == k
        n, hits = int(mine.sum()), int(came[mine].sum())
        low, high = float(edges[k]), float(edges[k + 1])
        if n:
            table.append(Bin(low, high, n, fsum(said[mine]) / n, hits / n, _wilson(hits, n)))
        else:
            table.append(Bin(low, high, 0))
    return tuple(table)


def _wilson(hits: int, n: int) -> tuple[float, float]:
    """The band of a share: all chances from which so many hits are no surprise."""
    z = NormalDist().inv_cdf(0.5 + BAND / 2.0)
    share, widen = hits / n, z**2 / n
    middle = share + widen / 2.0
    half = z * sqrt(share * (1.0 - share) / n + widen / (4.0 * n))
    low = 0.0 if hits == 0 else (middle - half) / (1.0 + widen)
    high = 1.0 if hits == n else (middle + half) / (1.0 + widen)
    return low, high


def _pairs(p: ArrayLike, o: ArrayLike) -> tuple[Array, Array]:
    said, came = np.asarray(p, float).ravel(), np.asarray(o, float).ravel()
    if said.size == 0 or said.size != came.size:
        raise ScoreError(f"{said.size} chances and {came.size} outcomes cannot be scored together.")
    if not ((said >= 0.0) & (said <= 1.0)).all():
        raise ScoreError("A chance that is to be scored lies between 0 and 1; one does not, or is not known.")
    if not ((came == 0.0) | (came == 1.0)).all():
        raise ScoreError("An outcome that is to be scored is 0 or 1 (no or yes); one is something else.")
    return said, came


def _spread(sd: ArrayLike) -> Array:
    spread = np.asarray(sd, float)
    if (spread < 0.0).any():
        raise ScoreError("A standard deviation is never below zero.")
    return spread


_ERF = np.frompyfunc(erf, 1, 1)  # numpy has none


def normal_below(z: ArrayLike) -> Array:
    """Share of the standard normal law at or below ``z``."""
    return np.asarray(0.5 * (1.0 + np.asarray(_ERF(np.asarray(z) / sqrt(2.0)), float)))


# ------------------------------------------------------------------ the yard's own record


@dataclass(frozen=True, slots=True)
class Case:
    """One thing that was said and can be judged.

    ``at`` is the beginning of the stretch it was said of (UTC; of a coat the
    time of the look), ``lead_days`` how long before that the forecast was made.
    Of a night also the lowest air that was forecast and seen, °C, where known.
    """

    kind: Kind
    lead_days: float
    said: float
    happened: bool
    at: datetime
    forecast_c: float | None = None
    seen_c: float | None = None

    def __post_init__(self) -> None:
        if not 0.0 <= self.said <= 1.0:
            raise ScoreError(f"A chance lies between 0 and 1, not at {self.said:g}.")


@dataclass(frozen=True, slots=True)
class Score:
    """Cases of one kind and lead: counts, and scores where there are enough of them.

    ``lead`` is in days, [from, to); None for drying, which is not counted by
    lead. A yes is a chance of at least one half: ``hits`` were said and came,
    ``misses`` came unsaid, ``false_alarms`` were said and did not come,
    ``quiets`` neither. ``skill`` is against always saying the cases' own share;
    None as well where all or none of them came. ``bias`` is forecast minus seen
    and ``error`` the mean absolute error of the ``lows`` nights with both, K.
    """

    kind: Kind
    lead: tuple[float, float] | None
    n: int
    hits: int
    misses: int
    false_alarms: int
    quiets: int
    lows: int
    brier: float | None = None
    skill: float | None = None
    bias: float | None = None
    error: float | None = None
    reliability: tuple[Bin, ...] = ()
    word: str = ""  # TOO_FEW where it is so


@dataclass(frozen=True, slots=True)
class Record:
    """The scores of all groups that have cases, by kind (frost, rain, dry) and lead."""

    scores: tuple[Score, ...] = ()

    def of(self, kind: Kind, lead_days: float = 0.0) -> Score | None:
        """The score of a kind at so many days ahead; None without cases."""
        for score in self.scores:
            if score.kind == kind and (score.lead is None or score.lead[0] <= lead_days < score.lead[1]):
                return score
        return None


def record(
    cases: Iterable[Case],
    *,
    least: float,
    leads: Sequence[tuple[float, float]] = LEADS,
    bins: int = 10,
) -> Record:
    """Add cases up by kind and lead; their order does not matter.

    Parameters
    ----------
    least
        Groups of fewer cases get counts and no scores; so do lowest temperatures of fewer nights.
    leads
        Days ahead, [from, to); weather cases beyond them are left out.
    """
    # Sorted, so that sums round alike whatever order they came in.
    known = sorted(cases, key=lambda case: (case.said, case.happened))
    scores = []
    for kind in KINDS:
        mine = [case for case in known if case.kind == kind]
        for lead in [None] if kind == "dry" else leads:
            group = [c for c in mine if lead is None or lead[0] <= c.lead_days < lead[1]]
            if group:
                scores.append(_score(kind, lead, group, least, bins))
    return Record(tuple(scores))


def _score(
    kind: Kind, lead: tuple[float, float] | None, group: Sequence[Case], least: float, bins: int
) -> Score:
    n = len(group)
    said, came = np.array([c.said for c in group]), np.array([c.happened for c in group])
    yes = said >= YES
    apart = [c.forecast_c - c.seen_c for c in group if c.forecast_c is not None and c.seen_c is not None]
    enough, enough_lows = n >= least, len(apart) >= max(least, 1)
    skill = brier_skill(said, came, came.mean()) if enough else float("nan")
    return Score(
        kind=kind,
        lead=lead,
        n=n,
        hits=int((yes & came).sum()),
        misses=int((~yes & came).sum()),
        false_alarms=int((yes & ~came).sum()),
        quiets=int((~yes & ~came).sum()),
        lows=len(apart),
        brier=brier(said, came) if enough else None,
        skill=skill if isfinite(skill) else None,
        bias=fsum(apart) / len(apart) if enough_lows else None,
        error=fsum(map(abs, apart)) / len(apart) if enough_lows else None,
        reliability=reliability(said, came, bins) if enough else (),
        word="" if enough else TOO_FEW,
    )


def dry_cases(coats: Iterable[tuple[datetime, float, bool]]) -> tuple[Case, ...]:
    """Cases of coats that were looked at: time of the look, chance said of being dry by then, found clear?"""
    return tuple(Case("dry", 0.0, chance, clear, when) for when, chance, clear in coats)
