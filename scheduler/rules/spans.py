"""From findings to spans: when the brush may touch wood, with what chance, and what stops it in between."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scheduler.coating.film import (
    FilmClocks,
    Milestones,
    Stepped,
    Surroundings,
    by_most,
    film_series,
    step_film,
)
from scheduler.coating.product import Coating
from scheduler.rules.engine import BREAK, PASS, UNKNOWN, Finding, Findings, Series, judge, series_of
from scheduler.rules.hours import Openness
from scheduler.rules.rule import Rule
from scheduler.settings import Thresholds

__all__ = ["Assessment", "Cause", "Examined", "Limits", "Span", "Stopped", "assess", "chance_of"]

F = NDArray[np.float64]
NAMES = ("touch_dry", "rain_safe", "frost_safe", "dry")


@dataclass(frozen=True, slots=True)
class Limits:
    """The thresholds as plain numbers."""

    show_chance: float
    unknown_share: float
    reached_share: float
    brush_steps: int

    @classmethod
    def of(cls, t: Thresholds) -> Limits:
        """From the checked configuration."""
        steps = max(1, int(np.ceil(t.brush_min.value / 15.0)))
        return cls(t.show_chance.value, t.unknown_share.value, t.reached_share.value, steps)


@dataclass(frozen=True, slots=True)
class Cause:
    """What one rule says of one start, in numbers (times are grid steps)."""

    rule: Rule
    outcome: str  # pass, break, unknown
    value: float | None  # worst in the stretch, of the breaking members where there are any
    typical: float | None  # the same of all members
    at: float | None  # begin of the breach, else where the worst value lies
    share: float


@dataclass(frozen=True, eq=False)
class Examined:
    """One start, worked out by stepping in all members."""

    start: int
    chance: float | None  # None: unknown
    unknown: bool
    milestones: Mapping[str, float | None]  # step by which most passing members have reached it
    causes: tuple[Cause, ...]
    closed: bool


@dataclass(frozen=True, eq=False)
class Span:
    """A run of starts with a fair chance; ``end`` is the last step at which the brush may touch wood."""

    start: int
    end: int
    best: Examined
    chances: F  # of each start by the clocks


@dataclass(frozen=True, slots=True)
class Stopped:
    """A stretch without a span and what stops it there."""

    start: int
    end: int
    rule: Rule | None  # None: the weather is unknown
    value: float | None


@dataclass(frozen=True, eq=False)
class Assessment:
    """Everything that is known of one place: chances of all starts, and the means to look closer."""

    place: Surroundings
    coating: Coating
    rules: tuple[Rule, ...]
    limits: Limits
    series: Mapping[str, Series]
    findings: Findings
    chance: F  # (starts,), NaN unknown, 0 where closed
    _examined: dict[int, Examined] = field(default_factory=dict)

    @property
    def starts(self) -> NDArray[np.int64]:
        """Grid steps of all starts."""
        return self.findings.starts

    def unknown(self) -> NDArray[np.bool_]:
        """Starts whose answer is unknown, (starts,)."""
        return np.isnan(self.chance)

    def spans(self) -> list[Span]:
        """All spans in order, each with its best start stepped (all of them in one go)."""
        examined = self.examine(self.best_starts())
        return [
            Span(int(self.starts[a]), int(self.starts[b]), best, self.chance[a : b + 1])
            for (a, b), best in zip(self._runs(), examined, strict=True)
        ]

    def best_starts(self) -> list[int]:
        """The best start of each span by the clocks: greatest chance, then earliest."""
        return [int(self.starts[a + int(np.argmax(self.chance[a : b + 1]))]) for a, b in self._runs()]

    def _runs(self) -> list[tuple[int, int]]:
        return _runs(np.nan_to_num(self.chance) >= self.limits.show_chance)

    def stopped(self) -> list[Stopped]:
        """What stops the coat between the spans, neighbours with the same cause joined."""
        good = np.nan_to_num(self.chance) >= self.limits.show_chance
        who = np.where(good, -2, self._main_cause())
        out = []
        edges = np.flatnonzero(np.diff(who)) + 1
        for part in np.split(np.arange(who.size), edges):
            cause = int(who[part[0]]) if part.size else -2
            if cause == -2:
                continue
            middle = int(part[part.size // 2])
            finding = None if cause == -1 else self.findings.found[cause]
            value = None if finding is None else self._worst(finding, middle, self.findings, self.series)[0]
            out.append(
                Stopped(
                    int(self.starts[part[0]]),
                    int(self.starts[part[-1]]) + 1,
                    finding.rule if finding else None,
                    value,
                )
            )
        return out

    def _main_cause(self) -> NDArray[np.int64]:
        """Index of the finding that stops most members at each start; -1 where unknown."""
        shares = np.zeros((len(self.findings.found), self.starts.size))
        for n, finding in enumerate(self.findings.found):
            if finding.rule.stops:
                share = (finding.outcome == BREAK).mean(axis=0)
                # The calendar comes first: no weather makes up for the dark.
                shares[n] = np.where(share >= 1.0, 3.0, share) if finding.rule.fixed else share
        main = shares.argmax(axis=0)
        return np.where((shares.max(axis=0) <= 0.0) | (self.unknown() & (shares.max(axis=0) < 3.0)), -1, main)

    def examine(self, starts: Sequence[int]) -> list[Examined]:
        """Work out some starts by stepping the coupled equations in all members."""
        new = [start for start in dict.fromkeys(starts) if start not in self._examined]
        if new:
            stepped = step_film(self.place, self.coating, np.array(new, np.int64))
            for column, start in enumerate(new):
                self._examined[start] = self._examine(stepped, column, start)
        return [self._examined[start] for start in starts]

    def _examine(self, stepped: Stepped, column: int, start: int) -> Examined:
        milestones = stepped.milestones.column(column)
        series = {**self.series, "film_c": Series(film_series(self.place, stepped, column, start))}
        findings = judge(
            self.rules,
            series,
            self.place,
            milestones,
            np.array([start], np.int64),
            self.limits.brush_steps,
            self.place.fine.rain_unknown,
        )
        chance = chance_of(findings, self.limits)[0]
        outcome = findings.outcome()[:, 0]
        return Examined(
            start=start,
            chance=None if np.isnan(chance) else float(chance),
            unknown=bool(np.isnan(chance)),
            milestones=self._reached(milestones, outcome == PASS),
            causes=tuple(self._cause(finding, findings, series) for finding in findings.found),
            closed=bool(findings.closed()[0]),
        )

    def _reached(self, milestones: Milestones, passing: NDArray[np.bool_]) -> dict[str, float | None]:
        chosen = passing if passing.any() else np.ones_like(passing)
        share = self.limits.reached_share
        return {name: by_most(milestones.named(name)[chosen, 0], share) for name in NAMES}

    def _cause(self, finding: Finding, findings: Findings, series: Mapping[str, Series]) -> Cause:
        outcome = finding.outcome[:, 0]
        broken = outcome == BREAK
        value, at = self._worst(finding, 0, findings, series)
        typical = self._worst(finding, 0, findings, series, of_all=True)[0] if broken.any() else value
        known = outcome != UNKNOWN
        enough = np.count_nonzero(~known) <= self.limits.unknown_share * outcome.size
        word = "unknown" if not enough and not broken.any() else ("break" if broken.mean() > 0.5 else "pass")
        if not enough and word == "pass":
            word = "unknown"
        if broken.any():
            at = float(np.median(finding.when[broken, 0]))
        return Cause(finding.rule, word, value, typical, at, finding.share())

    def _worst(
        self,
        finding: Finding,
        column: int,
        findings: Findings,
        series: Mapping[str, Series],
        *,
        of_all: bool = False,
    ) -> tuple[float | None, float | None]:
        """Median over members (the breaking ones, if any) of the worst value in the stretch, and its step."""
        rule = finding.rule
        start = int(findings.starts[column])
        if rule.quantity == "hours_to_dry":
            hours = (findings.milestones.dry[:, column] - start) / 4.0
            slow = finding.outcome[:, column] == BREAK
            middle = float(np.median(hours[slow] if slow.any() and not of_all else hours))
            return (middle if np.isfinite(middle) else None), None
        values = series[rule.quantity].values
        if values is None:
            return None, None
        end = findings.ends[rule.stretch][:, column]
        last = np.clip(np.where(np.isfinite(end), np.ceil(end), values.shape[1]), start + 1, values.shape[1])
        part = values[:, start : int(last.max())]
        inside = np.arange(start, start + part.shape[1])[None, :] < last[: part.shape[0], None]
        bad = np.where(inside & np.isfinite(part), part, np.inf if rule.below else -np.inf)
        worst = bad.min(axis=1) if rule.below else bad.max(axis=1)
        where = bad.argmin(axis=1) if rule.below else bad.argmax(axis=1)
        use = np.isfinite(worst)
        broken = (finding.outcome[: worst.size, column] == BREAK) & use
        use = broken if broken.any() and not of_all else use
        if not use.any():
            return None, None
        chosen = np.flatnonzero(use)
        order = chosen[np.argsort(worst[chosen])]
        middle_member = order[(order.size - 1) // 2]
        return float(worst[middle_member]), float(start + where[middle_member])


def _runs(good: NDArray[np.bool_]) -> list[tuple[int, int]]:
    padded = np.concatenate([[False], good, [False]])
    edges = np.flatnonzero(np.diff(padded.astype(np.int8)))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def chance_of(findings: Findings, limits: Limits) -> F:
    """Chance of each start: passing over known members; NaN unknown; 0 where the calendar forbids."""
    outcome = findings.outcome()
    known = (outcome != UNKNOWN).sum(axis=0)
    passing = (outcome == PASS).sum(axis=0)
    # (k + 1/2) / (n + 1): a finite set of draws proves neither certainty.
    chance = (passing + 0.5) / (known + 1.0)
    unknown = (findings.members - known) > limits.unknown_share * findings.members
    chance = np.where(unknown, np.nan, chance)
    return np.where(findings.closed(), 0.0, chance)


def assess(
    place: Surroundings,
    coating: Coating,
    rules: Sequence[Rule],
    open_: Openness,
    limits: Limits,
    first: int,
    last: int,
    drying_wetness: float,
) -> Assessment:
    """Judge every quarter-hour start from grid step ``first`` up to ``last`` in one place."""
    starts = np.arange(max(first, 0), min(last, place.fine.steps), dtype=np.int64)
    milestones = FilmClocks(place, coating, drying_wetness).milestones(starts)
    series = series_of(place, open_)
    findings = judge(rules, series, place, milestones, starts, limits.brush_steps, place.fine.rain_unknown)
    return Assessment(
        place=place,
        coating=coating,
        rules=tuple(rules),
        limits=limits,
        series=series,
        findings=findings,
        chance=chance_of(findings, limits),
    )
