"""A replay in figures: sums and bands over the seeds, what was saved, chances against outcomes. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.replay.run import FELT, FORESIGHT, PROGRAM, Case, Replay
from scheduler.replay.season import Tally
from scheduler.replay.truth import CAUSES

__all__ = ["LEADS", "Band", "Calibrated", "Figures", "Score", "calibration", "score_of"]

F = NDArray[np.float64]
EDGES = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
THOROUGH = 0.9  # share of the ends that a rule must coat to be one that does its work
LEADS = ((0, 0), (1, 2), (3, 6))  # days ahead, both included


@dataclass(frozen=True, slots=True)
class Band:
    """10, 50 and 90 % of the seeds."""

    p10: float
    p50: float
    p90: float


@dataclass(frozen=True, eq=False)
class Figures:
    """One policy, means of a season over the seeds; ``per 100`` are shares of all its coats.

    ``cost_per_end`` counts wood, wax and labour in money; ``yes`` are mornings on which something was coated.
    """

    name: str
    coats: float
    spoiled: float
    spoiled_per_100: float
    causes_per_100: dict[str, float]
    loss_per_end_cm: float
    wood_per_end: float
    cost_per_end: float
    total_cost: float
    litres: float
    hours: float
    yes: float
    asked: float
    days_open_median: float
    coated_share: float
    cost_band: Band
    loss_band: Band
    spoiled_band: Band
    yes_band: Band
    coats_band: Band
    litres_band: Band
    hours_band: Band
    open_band: Band


@dataclass(frozen=True, slots=True)
class Calibrated:
    """Of the chances said in a band: their mean, how often it came true, how many."""

    said: float
    happened: float
    n: int


@dataclass(frozen=True, eq=False)
class Score:
    """All policies of a replay.

    ``best`` is the cheapest rule of thumb; ``avoidable`` the share of its cost that perfect foresight
    saves; ``saved`` the part of that which the program saves, None where there is nothing to save.
    """

    figures: tuple[Figures, ...]
    best: str
    avoidable: float
    saved: float | None
    calibration: tuple[Calibrated, ...]
    today: tuple[Calibrated, ...]
    by_lead: tuple[tuple[Calibrated, ...], ...]
    good_days: float
    said_days: float
    rules: frozenset[str] = frozenset()

    def of(self, name: str) -> Figures:
        """The figures of a policy."""
        return next(f for f in self.figures if f.name == name)

    @property
    def thorough(self) -> Figures | None:
        """The cheapest rule of thumb that coats nine ends in ten; None: there is none."""
        mine = [f for f in self.figures if f.name in self.rules and f.coated_share >= THOROUGH]
        return min(mine, key=lambda f: f.total_cost, default=None)

    @property
    def best_by_hand(self) -> Figures:
        """The cheapest rule of thumb with a hand on the wood first."""
        mine = {FELT.format(rule=rule) for rule in self.rules}
        return min((f for f in self.figures if f.name in mine), key=lambda f: f.total_cost)

    def saved_by(self, name: str, knew: str = FORESIGHT, rule: str | None = None) -> float | None:
        """Of what foresight saves against the best rule, the share that a policy saves; None: not told.

        ``knew`` and ``rule``: held against another bound, another rule.
        """
        cost = {f.name: f.total_cost for f in self.figures}
        best = cost[rule or self.best]
        room = best - cost[knew]
        return (best - cost[name]) / room if name in cost and room > 1e-9 else None


def score_of(replay: Replay) -> Score:
    """Figures of a replay."""
    figures = tuple(
        _figures([played.tallies[n] for played in replay.played]) for n in range(len(replay.names))
    )
    thumbs = {rule.name for rule in replay.thumbs}
    best = min((f for f in figures if f.name in thumbs), key=lambda f: f.total_cost)
    cost = {f.name: f.total_cost for f in figures}
    room = best.total_cost - cost[FORESIGHT]
    cases = [case for played in replay.played for case in played.cases]
    return Score(
        figures=figures,
        best=best.name,
        avoidable=room / best.total_cost if best.total_cost > 0.0 else 0.0,
        saved=(best.total_cost - cost[PROGRAM]) / room if room > 1e-9 else None,
        calibration=calibration(cases),
        today=calibration([case for case in cases if case.lead == 0]),
        by_lead=tuple(calibration([c for c in cases if a <= c.lead <= b]) for a, b in LEADS),
        good_days=float(np.mean([p.good_days for p in replay.played])),
        said_days=float(np.mean([p.said_days for p in replay.played])),
        rules=frozenset(thumbs),
    )


def calibration(cases: Sequence[Case]) -> tuple[Calibrated, ...]:
    """Chances in five bands against what came; empty bands are left out."""
    said = np.array([case.said for case in cases])
    held = np.array([case.held for case in cases], float)
    band = np.clip(np.searchsorted(EDGES, said, side="right") - 1, 0, len(EDGES) - 2)
    rows = []
    for n in range(len(EDGES) - 1):
        mine = band == n
        if mine.any():
            rows.append(Calibrated(float(said[mine].mean()), float(held[mine].mean()), int(mine.sum())))
    return tuple(rows)


def _figures(tallies: Sequence[Tally]) -> Figures:
    ends = np.array([t.ends for t in tallies], float)
    coats = np.array([t.coats for t in tallies], float)
    bad = np.array([t.bad for t in tallies], float)
    cost, wood_cm = np.array([t.cost for t in tallies]), np.array([t.wood_cm for t in tallies])
    whole = max(float(ends.sum()), 1.0)
    per_100 = 100.0 / max(float(coats.sum()), 1.0)
    each = 100.0 * bad / np.maximum(coats, 1.0)
    some = np.maximum(ends, 1.0)
    return Figures(
        name=tallies[0].name,
        coats=float(coats.mean()),
        spoiled=float(bad.mean()),
        spoiled_per_100=float(bad.sum()) * per_100,
        causes_per_100={c: sum(t.spoiled[c] for t in tallies) * per_100 for c in CAUSES[1:]},
        loss_per_end_cm=float(wood_cm.sum()) / whole,
        wood_per_end=sum(t.wood_money for t in tallies) / whole,
        cost_per_end=float(cost.sum()) / whole,
        total_cost=float(cost.mean()),
        litres=float(np.mean([t.litres for t in tallies])),
        hours=float(np.mean([t.hours for t in tallies])),
        yes=float(np.mean([t.yes for t in tallies])),
        asked=float(np.mean([t.asked for t in tallies])),
        days_open_median=float(np.median(np.concatenate([t.days_open for t in tallies])))
        if ends.any()
        else 0.0,
        coated_share=1.0 - sum(t.left_open for t in tallies) / whole,
        cost_band=_band(cost / some),
        loss_band=_band(wood_cm / some),
        spoiled_band=_band(each),
        yes_band=_band(np.array([t.yes for t in tallies], float)),
        coats_band=_band(coats),
        litres_band=_band(np.array([t.litres for t in tallies])),
        hours_band=_band(np.array([t.hours for t in tallies])),
        open_band=_band(np.array([np.median(t.days_open) if t.ends else 0.0 for t in tallies])),
    )


def _band(values: F) -> Band:
    low, middle, high = (float(q) for q in np.quantile(values, (0.1, 0.5, 0.9)))
    return Band(low, middle, high)
