"""What becomes of every coat that could be brushed on, stepped through the true yard. Pure.

Not by the clocks of the program: the coupled equations are stepped for each start, with the
drying, wind, cold air and least film temperature of that season's yard.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from scheduler.coating.film import step_film
from scheduler.coating.product import Coating
from scheduler.replay.worlds import World, faces_of
from scheduler.rules.engine import BREAK, UNKNOWN, Findings, judge, series_of
from scheduler.rules.hours import Openness, openness
from scheduler.rules.rule import Rule
from scheduler.settings import YardFile, assumptions
from scheduler.weather.fine import PER_HOUR, Fine

__all__ = ["CAUSES", "Fates", "Slots", "fates_of", "felt_of", "slots_of"]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741  -- index arrays
CAUSES = ("held", "frost", "rain", "face", "slow")  # by the code in ``Fates.cause``
HELD, FROST, RAIN, FACE, SLOW = range(5)
BEFORE_D, CHUNK_D = 8, 31  # days before a start for the heat of its log; days stepped in one go


@dataclass(frozen=True, eq=False)
class Slots:
    """The hours of UTC at which a brush may begin, day by day.

    ``hours`` are hours of the record, ``day`` the number of the day of each, both (slots,).
    """

    days: tuple[date, ...]
    hours: I
    day: I

    def of(self, day: int) -> I:
        """Slots of a day."""
        return np.flatnonzero(self.day == day)


def slots_of(fine: Fine, yard: YardFile, rules: Sequence[Rule], days: Sequence[date]) -> Slots:
    """Whole hours with somebody there and light enough, by the rules that the calendar alone decides."""
    open_ = openness(fine, yard.yard, yard.zone, assumptions())
    steps = np.arange(0, fine.steps - 1, PER_HOUR, dtype=np.int64)
    fit = np.ones(steps.size, bool)
    for rule in rules:
        values = {"light_min": open_.light_min, "hands": open_.hands}.get(rule.quantity)
        if values is not None and rule.stops:
            fit &= (values[steps] >= rule.limit) if rule.below else (values[steps] <= rule.limit)
    first = days[0].toordinal()
    when = [fine.time_at(int(step)).astimezone(yard.zone).date().toordinal() - first for step in steps[fit]]
    number = np.array(when, np.int64)
    mine = (number >= 0) & (number < len(days))
    return Slots(tuple(days), steps[fit][mine] // PER_HOUR, number[mine])


@dataclass(frozen=True, eq=False)
class Fates:
    """What became of a coat begun in each slot, in each world; all (worlds, slots).

    ``cause``: index into ``CAUSES``; ``known_h``: hours after the start at which a spoiled
    coat was spoiled; ``dry_h``: hours until a coat is dry through, inf where it never is.
    ``rain_h``: hours after the start at which rain would spoil it, inf where none does;
    ``sheet_cause`` and ``sheet_known_h``: the same as the first two if a sheet kept all rain off;
    ``felt``: what a hand on the wood finds at the start: water, frost or sweat.
    """

    cause: NDArray[np.int8]
    known_h: F
    dry_h: F
    rain_h: F
    sheet_cause: NDArray[np.int8]
    sheet_known_h: F
    felt: NDArray[np.bool_]

    @classmethod
    def held_by_all(cls, worlds: int, slots: int) -> Fates:
        """All coats hold, and no face is wet."""
        shape = (worlds, slots)

        def never() -> F:
            return np.full(shape, np.inf)

        held = np.full(shape, HELD, np.int8)
        return cls(held, never(), never(), never(), held.copy(), never(), np.zeros(shape, bool))

    def held(self, world: int) -> NDArray[np.bool_]:
        """Whether each slot's coat holds, (slots,)."""
        return np.asarray(self.cause[world] == HELD)


def fates_of(
    worlds: Sequence[World],
    yard: YardFile,
    slots: Slots,
    coating: Coating,
    rules: Sequence[Rule],
    stepped_h: float,
    brush_steps: int,
) -> Fates:
    """Step a coat of every slot in every world."""
    fates = Fates.held_by_all(len(worlds), slots.hours.size)
    for begin in range(0, len(slots.days), CHUNK_D):
        mine = np.flatnonzero((slots.day >= begin) & (slots.day < begin + CHUNK_D))
        if mine.size:
            _step(fates, worlds, yard, slots.hours[mine], mine, coating, rules, stepped_h, brush_steps)
    return fates


def _step(
    fates: Fates,
    worlds: Sequence[World],
    yard: YardFile,
    hours: I,
    mine: I,
    coating: Coating,
    rules: Sequence[Rule],
    stepped_h: float,
    brush_steps: int,
) -> None:
    first = max(int(hours[0]) - BEFORE_D * 24, 0)
    last = min(int(hours[-1]) + round(stepped_h) + 24, worlds[0].weather.hours)
    place = faces_of(worlds, yard, first, last)
    starts = (hours - first) * PER_HOUR
    film = step_film(place, coating, starts, stepped_h)
    always = Openness(np.full(place.fine.steps, 24 * 60.0), np.ones(place.fine.steps))
    weather_rules = [r for r in rules if r.stops and r.name != "frost_on_face"]
    found = judge(
        weather_rules,
        series_of(place, always),
        place,
        film.milestones,
        starts,
        brush_steps,
        place.fine.rain_unknown,
    )
    step = starts[None, None, :] + np.arange(film.film_c.shape[0])[:, None, None]
    with np.errstate(invalid="ignore"):
        icy = (step < film.milestones.frost_safe[None]) & (film.film_c < coating.freezes_at_c)
    frozen = icy.any(axis=0)
    ice = np.where(frozen, starts[None, :] + np.argmax(icy, axis=0), np.inf)
    rain = np.full(ice.shape, np.inf)
    for finding in found.found:
        if finding.rule.quantity == "rain_mm":
            rain = np.minimum(rain, np.where(finding.outcome == BREAK, finding.when, np.inf))
    end = starts[None, :] + stepped_h * PER_HOUR
    fates.felt[:, mine] = felt_of(found)
    for sheet, causes, known in (
        (False, fates.cause, fates.known_h),
        (True, fates.sheet_cause, fates.sheet_known_h),
    ):
        cause, when = _ended(ice, found, sheet)
        causes[:, mine] = cause
        known[:, mine] = (np.where(cause == SLOW, end, when) - starts[None, :]) / PER_HOUR
    fates.rain_h[:, mine] = (rain - starts[None, :]) / PER_HOUR
    fates.dry_h[:, mine] = (film.milestones.dry - starts[None, :]) / PER_HOUR


def felt_of(found: Findings) -> NDArray[np.bool_]:
    """Where a hand finds the wood wet, frosty or sweating when the brush would begin, (members, starts)."""
    felt = np.zeros((found.members, found.starts.size), bool)
    for one in found.found:
        rule = one.rule
        if rule.stops and (rule.stretch == "at start" or rule.quantity == "log_over_dew_k"):
            felt |= (one.outcome == BREAK) & (one.when <= found.starts[None, :])
    return felt


def _ended(ice: F, found: Findings, sheet: bool) -> tuple[NDArray[np.int8], F]:
    """What ends each coat first and when (grid steps); ``sheet``: no rain reaches it."""
    when = ice
    cause = np.where(np.isfinite(ice), FROST, HELD).astype(np.int8)
    unknown = np.zeros(cause.shape, bool)
    for finding in found.found:
        wet = finding.rule.quantity == "rain_mm"
        if wet and sheet:
            continue
        earlier = (finding.outcome == BREAK) & (finding.when < when)
        cause = np.where(earlier, RAIN if wet else FACE, cause).astype(np.int8)
        when = np.where(earlier, finding.when, when)
        unknown |= finding.outcome == UNKNOWN
    return np.where((cause == HELD) & unknown, SLOW, cause).astype(np.int8), when
