"""The state of an end under the weather it has had: from facts to milky, clear or spoiled.

A look beats the model. A coat whose hours are not in the weather at hand stays
milky-unknown until somebody looks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np

from scheduler.coating.film import Stepped, Surroundings, by_most, film_series, step_film
from scheduler.coating.product import Coating
from scheduler.rules.engine import BREAK, UNKNOWN, Series, judge
from scheduler.rules.rule import Rule
from scheduler.yard.facts import Coat, End

__all__ = ["EndState", "Fate", "StateName", "end_state", "fates_of_coats"]

StateName = Literal["bare", "opened", "wet", "coated", "sealed", "spoiled"]
CLOSING = ("until frost-safe", "until rain-safe")  # what can still happen to a coat that is on
KNOWN_SHARE = 0.9  # of the members, for a fate to be told


@dataclass(frozen=True, slots=True)
class Fate:
    """What becomes of a coat: share of members in which it holds, and when most reach a milestone."""

    chance: float | None  # None: its hours are not known
    touch_dry: datetime | None = None
    rain_safe: datetime | None = None
    frost_safe: datetime | None = None
    dry: datetime | None = None
    danger: str | None = None  # rule that most often breaks
    danger_at: datetime | None = None
    dry_now: float | None = None  # share of members in which it is dry by now; None: not asked, or not known


@dataclass(frozen=True, slots=True)
class EndState:
    """State of an end; ``known`` is false where nobody looked and the model cannot tell."""

    state: StateName
    known: bool = True
    fate: Fate | None = None
    touch_up: bool = False
    seen: bool = False  # somebody looked since the last coat
    layers: int = 0
    why: str = ""


def fates_of_coats(
    place: Surroundings,
    coating: Coating,
    rules: tuple[Rule, ...],
    coats: Sequence[Coat],
    reached: float,
    now: datetime | None = None,
) -> dict[Coat, Fate]:
    """Run coats through the weather from their starts; unknown where the weather does not reach back to them.

    ``reached`` is the share of members that must have passed a milestone. Coats
    laid in the same quarter hour share one fate.
    """
    closing = tuple(
        r for r in rules if r.stops and r.stretch in CLOSING and r.quantity in ("film_c", "rain_mm")
    )
    fates: dict[Coat, Fate] = {}
    for second in (False, True):
        film = coating.second() if second else coating
        steps = {
            c: int(np.floor(place.fine.step_of(c.moment.time))) for c in coats if (c.layer >= 2) == second
        }
        inside = sorted({step for step in steps.values() if 0 <= step < place.fine.steps})
        found: dict[int, Fate] = {}
        if inside:
            stepped = step_film(place, film, np.array(inside, np.int64))
            by = None if now is None else place.fine.step_of(now)
            found = {
                step: _fate(place, closing, stepped, n, step, reached, by) for n, step in enumerate(inside)
            }
        fates.update({coat: found.get(step, Fate(None)) for coat, step in steps.items()})
    return fates


def _fate(
    place: Surroundings,
    closing: tuple[Rule, ...],
    stepped: Stepped,
    column: int,
    step: int,
    reached: float,
    now: float | None,
) -> Fate:
    one = stepped.milestones.column(column)
    series = {
        "film_c": Series(film_series(place, stepped, column, step)),
        "rain_mm": Series(place.fine.rain_mm),
    }
    findings = judge(closing, series, place, one, np.array([step], np.int64), 1, place.fine.rain_unknown)
    outcome = findings.outcome()[:, 0]
    known = int(np.count_nonzero(outcome != UNKNOWN))
    if known < KNOWN_SHARE * outcome.size:
        return Fate(None)
    broken = outcome == BREAK
    danger, danger_at = None, None
    if broken.any():
        worst = max(findings.found, key=lambda f: int((f.outcome[:, 0] == BREAK).sum()))
        danger = worst.rule.name
        danger_at = place.fine.time_at(float(np.median(worst.when[worst.outcome[:, 0] == BREAK, 0])))
    chance = (known - int(broken.sum()) + 0.5) / (known + 1.0)

    def when(name: str) -> datetime | None:
        step_by = by_most(one.named(name)[:, 0], reached)
        return None if step_by is None else place.fine.time_at(step_by)

    dry_now = None if now is None else float(np.mean(one.dry[:, 0] <= now))
    return Fate(
        chance,
        when("touch_dry"),
        when("rain_safe"),
        when("frost_safe"),
        when("dry"),
        danger,
        danger_at,
        dry_now,
    )


def end_state(end: End, at: datetime, fate: Fate | None) -> EndState:
    """State of an end at ``at``; ``fate`` is that of its last coat, None without coat or weather."""
    coat = end.last_coat
    if coat is None:
        cracked = end.checks != "none" or end.face == "cracked"
        return EndState("opened" if cracked else "bare", seen=bool(end.looks))
    told = end.film_look
    look = told if told is not None and told.moment.time >= coat.moment.time else None
    if coat.spoiled or (look is not None and look.seen == "spoiled"):
        return EndState("spoiled", seen=True, layers=end.layers, why="seen spoiled")
    dry: StateName = "sealed" if end.layers >= 2 else "coated"
    if look is not None and look.seen != "milky":
        holes = coat.part or look.seen == "skips"
        return EndState(dry, touch_up=holes, seen=True, layers=end.layers, why=f"seen {look.seen}")
    below = end.layers_under  # what protects while this coat is milky
    seen = look is not None
    if fate is None or fate.chance is None:
        return EndState("wet", known=seen, fate=fate, seen=seen, layers=below)
    if fate.chance < 0.5 and fate.danger_at is not None and fate.danger_at <= at:
        return EndState("spoiled", known=False, fate=fate, layers=below, why=str(fate.danger))
    # Seen milky when the model had it dry: the model was wrong, so only another look makes it clear.
    if fate.dry is not None and fate.dry <= at and (look is None or look.moment.time < fate.dry):
        return EndState(
            dry, known=False, fate=fate, touch_up=coat.part, layers=end.layers, why="by the model"
        )
    return EndState("wet", fate=fate, seen=seen, layers=below)
