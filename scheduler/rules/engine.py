"""Testing every rule for every start and member at once.

For each start a rule looks at its quantity from the start to the milestone
that ends its stretch. It *breaks* where the quantity passes the limit inside
the stretch before anything unknown; it is *unknown* where the stretch touches
an unknown step or the end of the data; else it *passes*.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.clocks import first_from
from scheduler.coating.film import Milestones, Surroundings
from scheduler.rules.hours import Openness
from scheduler.rules.rule import Rule
from scheduler.weather.air import humidity

__all__ = ["BREAK", "PASS", "UNKNOWN", "Finding", "Findings", "Series", "judge", "series_of"]

F = NDArray[np.float64]
B = NDArray[np.bool_]
PASS, BREAK, UNKNOWN = 0, 1, 2
MILESTONE = {
    "until touch-dry": "touch_dry",
    "until rain-safe": "rain_safe",
    "until frost-safe": "frost_safe",
    "until dry": "dry",
}


@dataclass(frozen=True, eq=False)
class Series:
    """A quantity on the grid, (members or 1, steps), NaN where unknown; None where nobody offers it."""

    values: F | None

    @property
    def offered(self) -> bool:
        """Whether there is anything at all."""
        return self.values is not None and bool(np.isfinite(self.values).any())


def series_of(place: Surroundings, open_: Openness, film_c: F | None = None) -> dict[str, Series]:
    """Everything a rule may look at, by the name of the quantity (``hours_to_dry`` comes from milestones)."""
    fine = place.fine
    known = ~fine.unknown
    steps = fine.steps

    def here(values: F) -> Series:
        return Series(np.where(known, values, np.nan))

    film = place.wet.surface_c if film_c is None else film_c
    log_c = place.dry_node.middle()
    return {
        "air_c": Series(fine.air_c),
        "humidity_pct": here(100.0 * humidity(fine.air_c, fine.dew_point_c)),
        "wind_ms": Series(fine.wind_ms),
        "gust_ms": Series(fine.gust_ms),
        "rain_mm": Series(fine.rain_mm),
        "cloud_pct": Series(100.0 * fine.cloud),
        "weather_code": Series(fine.code),
        "bare_face_c": here(place.dry.surface_c),
        "film_c": here(film),
        "log_c": here(log_c),
        "log_over_dew_k": here(log_c - fine.dew_point_c),
        "dew_margin_k": here(place.dry.surface_c - fine.dew_point_c),
        "face_water_mm": Series(place.face_water[:, :steps]),
        "light_min": Series(open_.light_min[None, :]),
        "hands": Series(open_.hands[None, :]),
    }


@dataclass(frozen=True, eq=False)
class Finding:
    """What one rule says of all starts: outcome and grid step of the breach, each (members, starts)."""

    rule: Rule
    outcome: NDArray[np.int8]
    when: F  # inf where it does not break

    def share(self, column: int = 0) -> float:
        """Share of the known members that break at a start; 0 where none is known."""
        outcome = self.outcome[:, column]
        known = int(np.count_nonzero(outcome != UNKNOWN))
        return float(np.count_nonzero(outcome == BREAK)) / known if known else 0.0


@dataclass(frozen=True, eq=False)
class Findings:
    """All rules for some starts of one place."""

    starts: NDArray[np.int64]
    members: int
    milestones: Milestones
    found: tuple[Finding, ...]
    ends: Mapping[str, F]

    def outcome(self) -> NDArray[np.int8]:
        """Of all stopping rules together, (members, starts): a break wins over unknown, unknown over pass."""
        shape = (self.members, self.starts.size)
        broken, unknown = np.zeros(shape, bool), np.zeros(shape, bool)
        for finding in self.found:
            if finding.rule.stops:
                broken |= finding.outcome == BREAK
                unknown |= finding.outcome == UNKNOWN
        return np.where(broken, BREAK, np.where(unknown, UNKNOWN, PASS)).astype(np.int8)

    def closed(self) -> B:
        """Starts that the calendar alone forbids, (starts,)."""
        shut = np.zeros(self.starts.size, bool)
        for finding in self.found:
            if finding.rule.stops and finding.rule.fixed:
                shut |= (finding.outcome == BREAK).all(axis=0)
        return shut


def judge(
    rules: Sequence[Rule],
    series: Mapping[str, Series],
    place: Surroundings,
    milestones: Milestones,
    starts: NDArray[np.int64],
    brush_steps: int,
    rain_unknown: B,
) -> Findings:
    """Test all rules for all starts and members."""
    steps = place.fine.steps
    first = np.broadcast_to(starts.astype(float), (place.fine.members, starts.size))
    ends: dict[str, F] = {"at start": first + 1.0, "while brushing": first + brush_steps}
    ends.update({stretch: milestones.named(name) for stretch, name in MILESTONE.items()})
    known = {"rain_mm": ~rain_unknown}
    # A milestone behind an hour in which nobody knows how the film dried is itself unknown.
    hidden = place.fine.unknown if place.exposure.roofed else place.fine.unknown | rain_unknown
    gaps = first_from(hidden)[:, starts].astype(float)
    never = np.full_like(gaps, np.inf)
    found = []
    for rule in rules:
        if rule.sky and place.exposure.roofed:
            continue
        if rule.quantity == "hours_to_dry":
            found.append(_slow(rule, milestones, starts, steps, gaps))
            continue
        one = series[rule.quantity]
        if not one.offered and rule.when_missing == "skip":
            continue
        dark = gaps if rule.stretch in MILESTONE else never
        found.append(_test(rule, one, ends[rule.stretch], starts, steps, known.get(rule.quantity), dark))
    return Findings(starts, place.fine.members, milestones, tuple(found), ends)


def _test(
    rule: Rule,
    one: Series,
    end: F,
    starts: NDArray[np.int64],
    steps: int,
    known: B | None,
    gaps: F,
) -> Finding:
    """One rule: ``gaps`` (members, starts) is the first step from each start that hides the stretch's end."""
    shape = end.shape
    if one.values is None:
        return Finding(rule, np.full(shape, UNKNOWN, np.int8), np.full(shape, np.inf))
    values = one.values
    finite = np.isfinite(values) if known is None else np.isfinite(values) & known
    with np.errstate(invalid="ignore"):
        breach = (values < rule.limit) if rule.below else (values > rule.limit)
    breaks = first_from(breach & finite)[:, starts]
    unknowns = np.minimum(first_from(~finite)[:, starts], gaps)
    hit = (breaks < steps) & (breaks < end) & (breaks <= unknowns)
    # A milestone that is not reached within the data ends at the end of the data, which is unknown too.
    open_end = (unknowns < end) | ~np.isfinite(end) | (end > steps)
    outcome = np.where(hit, BREAK, np.where(open_end, UNKNOWN, PASS)).astype(np.int8)
    outcome = np.broadcast_to(outcome, shape)
    when = np.broadcast_to(np.where(hit, np.maximum(breaks, starts), np.inf), shape)
    return Finding(rule, outcome, when)


def _slow(rule: Rule, milestones: Milestones, starts: NDArray[np.int64], steps: int, gaps: F) -> Finding:
    """Hours from start to dry against the limit; unknown where the data end or stop short first."""
    limit = starts + rule.limit * 4.0
    dry = milestones.dry
    seen = np.broadcast_to(limit <= steps, dry.shape)
    clear = gaps >= np.minimum(dry, limit)
    hit = np.where(np.isfinite(dry), dry > limit, seen) & clear
    outcome = np.where(hit, BREAK, np.where(np.isfinite(dry) & clear, PASS, UNKNOWN)).astype(np.int8)
    return Finding(rule, outcome, np.where(hit, limit, np.inf))
