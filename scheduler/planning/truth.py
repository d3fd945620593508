"""Estimate against truth: what recorded cuts and the saw found, beside what had been reckoned. Pure.

A fresh cut that was still cracked says that the cracks went deeper, a clean one that
they did not; slices taken in one go are one cut; a loss told at the saw is a
measure. From enough of them the yard's own crack factor and the leak of its coats
follow (``wood.endgrain.calibrate``).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from scheduler.planning.worth import Ledger, resistance_of
from scheduler.wood.endgrain import Calibration, Ends, calibrate, depth, end_clock, loss_cm
from scheduler.wood.endgrain import Cut as Taught
from scheduler.yard.facts import Cut, Log

__all__ = ["Row", "rows_of", "taught"]

ONE_GO = timedelta(hours=24)  # slices within this are one cut
MEASURED = 1.25  # a loss told at the saw is right to within this factor


@dataclass(frozen=True, slots=True)
class Row:
    """One cut beside its estimate, cm: cracks went deeper than ``above``, and no deeper than ``at_most``."""

    tag: str
    end: str
    when: datetime
    days_open: float  # until its first coat, or the cut
    coated: bool
    low: float
    estimate: float
    high: float
    above: float
    at_most: float  # inf: nobody knows
    fact: Taught

    @property
    def outcome(self) -> str:
        """Whether truth lay where the estimate had said, in a word."""
        if self.above > self.high:
            return "deeper"
        return "shallower" if self.at_most < self.low else "as estimated"


def rows_of(logs: Iterable[Log], ledger: Ledger) -> tuple[Row, ...]:
    """All cuts that say something, the oldest first; estimates by the shipped numbers, not learned ones."""
    plain = replace(ledger, learned=None)
    rows = [
        row
        for log in logs
        for end in log.ends
        for group in _groups(end.cuts)
        if (row := _row(log, end.name, group, plain)) is not None
    ]
    return tuple(sorted(rows, key=lambda row: row.when))


def taught(rows: Sequence[Row], ledger: Ledger) -> Calibration:
    """What the rows say of the yard's ends."""
    return calibrate([row.fact for row in rows], ledger.grain)


def _groups(cuts: Sequence[Cut]) -> list[list[Cut]]:
    """Slices of one go together."""
    groups: list[list[Cut]] = []
    for cut in cuts:
        before = groups[-1][-1] if groups else None
        if (
            before is not None
            and before.found == "still cracked"
            and cut.moment.time - before.moment.time <= ONE_GO
        ):
            groups[-1].append(cut)
        else:
            groups.append([cut])
    return groups


def _between(group: Sequence[Cut]) -> tuple[float, float] | None:
    """Cracks went deeper than the first and no deeper than the second, cm; None where nothing is said."""
    taken = above = 0.0
    for cut in group:
        if cut.size_cm is None:
            return (above, np.inf) if above > 0.0 else None
        if cut.measured:
            return cut.size_cm / MEASURED, max(cut.size_cm * MEASURED, 0.5)
        taken += cut.size_cm
        if cut.found == "clean":
            return above, taken
        if cut.found == "still cracked":
            above = taken
    return (above, np.inf) if above > 0.0 else None


def _row(log: Log, end: str, group: Sequence[Cut], ledger: Ledger) -> Row | None:
    between, first = _between(group), group[0]
    since = first.open_since
    if between is None or since is None or since.assumed or first.moment.time <= since.time:
        return None
    wood = ledger.wood(log)
    factor = ledger.factor(wood)
    begin, cut = ledger.hour(since.time), ledger.hour(first.moment.time)
    if begin < 0.0:
        return None
    coats = [coat for coat in first.coats if not coat.spoiled and coat.moment.time > since.time]
    hours = [begin, *(ledger.hour(coat.moment.time) for coat in coats)]
    layers = [0.0, *(resistance_of(coat.layer, coat.part, ledger) for coat in coats)]
    ends = Ends(np.array([0]), np.array([hours]), np.array([layers]), np.full((1, len(hours)), log.roofed))
    air, dew, rain = ledger.hours
    clock = end_clock(air, dew, rain, np.array([wood.green_moisture]), ledger.grain, fill=True)
    coated = min(hours[1], cut) if coats else cut
    deep = depth(clock, ends, [coated, cut])[0, 0]
    band = loss_cm(deep[None, None, 1:], factor, ledger.grain)
    fact = Taught(factor, float(deep[0]), float(deep[1] - deep[0]), between[0], between[1])
    return Row(
        log.tag,
        end,
        first.moment.time,
        (coated - begin) / 24.0,
        bool(coats),
        float(band.low[0, 0, 0]),
        float(band.mid[0, 0, 0]),
        float(band.high[0, 0, 0]),
        between[0],
        between[1],
        fact,
    )
