"""What the program and the rules of thumb see on each morning of a season. Pure.

A morning does not depend on what was coated before it, so it is worked out once for all policies.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduler.coating.film import FilmClocks
from scheduler.planning.chances import DayChances, Judged, chances_by_day
from scheduler.planning.climate import Climate
from scheduler.planning.decision import Chances
from scheduler.planning.outlook import Outlook
from scheduler.planning.worth import horizon_of
from scheduler.replay.policies import Thumb, slots_by
from scheduler.replay.truth import Slots, felt_of
from scheduler.rules.engine import BREAK, PASS, UNKNOWN, Findings, judge, series_of
from scheduler.rules.hours import Openness
from scheduler.settings import YardFile, doubt, thresholds, worth_numbers
from scheduler.weather.fine import PER_HOUR, fine_grid
from scheduler.weather.members import Beliefs, Members
from scheduler.weather.series import HOUR, Weather

__all__ = ["Look", "Morning", "Seen", "morning_of", "risk_of", "seen_of"]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741  -- index arrays


@dataclass(frozen=True, eq=False)
class Look:
    """The chances of the days ahead for coats in the open, or under a sheet that keeps the rain off.

    ``slots`` are the best slot of each forecast day (-1: none), ``said`` its chance, ``wet`` the share of
    the members in which a hand finds its face wet or frosty, all (forecast days,).
    """

    days: DayChances
    slots: I
    said: F
    wet: F


@dataclass(frozen=True, eq=False)
class Seen:
    """What the program makes of a forecast.

    ``ahead`` is the mean of the members, one row. ``today`` are today's slots and ``outcome`` how each
    ends in the open and under a sheet, (2, members, slots of today).
    """

    open: Look
    sheet: Look
    ahead: Weather
    today: I
    outcome: NDArray[np.int8]

    @property
    def days(self) -> DayChances:
        """Of coats in the open."""
        return self.open.days

    @property
    def slots(self) -> I:
        """Of coats in the open."""
        return self.open.slots

    @property
    def said(self) -> F:
        """Of coats in the open."""
        return self.open.said


@dataclass(frozen=True, eq=False)
class Morning:
    """One morning: its forecast, today's slots that each rule of thumb allows, what the program sees.

    ``learned`` is what it would see had it learned the yard.
    """

    day: int
    hour: int
    told: Weather
    thumbs: tuple[I, ...]
    seen: Seen
    learned: Seen | None = None


def seen_of(
    yard: YardFile,
    told: Sequence[Weather],
    at: datetime,
    slots: Slots,
    start: datetime,
    days_ahead: float,
    beliefs: Sequence[Beliefs | None] | None = None,
    climate: Climate | None = None,
) -> list[Seen]:
    """The chances of the days ahead under several forecasts of one morning, by the parts of a real morning.

    Behind the last day of ``slots`` nobody is in the yard until spring, and the yard has said so.

    Members, faces, clocks and rules are those of ``today``; all forecasts are worked out in one
    go, and only the slots are looked at instead of every quarter hour.
    """
    held = beliefs or [None] * len(told)
    outlooks = [Outlook(yard, one, at, mine) for one, mine in zip(told, held, strict=True)]
    shift = (told[0].start - start) / HOUR
    hour = (at - start) / HOUR
    local_day = at.astimezone(yard.zone).date()
    mine = np.flatnonzero((slots.hours >= hour) & (slots.hours < hour + 24.0 * days_ahead))
    steps = ((slots.hours[mine] - shift) * PER_HOUR).astype(np.int64)
    worth = worth_numbers()
    until = horizon_of(at, yard.yard.place.lat, worth).end
    where = {int(step): int(slot) for step, slot in zip(steps, mine, strict=True)}
    now = np.array([slots.days[int(day)] for day in slots.day[mine]], object) == local_day
    out = []
    for outlook, ended in zip(outlooks, _outcomes(outlooks, steps), strict=True):
        looks = []
        for rows in ended.rows:
            days = _closed_after(slots.days[-1], _chances(rows, steps, outlook, until, climate, worth))
            at_step = [round(outlook.step_of(day)) for day in days.starts[: days.told]]
            best = np.array([where.get(step, -1) for step in at_step], np.int64)
            column = np.searchsorted(steps, at_step).clip(0, max(steps.size - 1, 0))
            wet = ended.felt.mean(axis=0)[column] if steps.size else np.zeros(best.size)
            looks.append(Look(days, best, days.chances.plain()[: days.told], np.where(best >= 0, wet, 0.0)))
        open_, sheet = looks
        out.append(Seen(open_, sheet, _mean(outlook.members.weather), mine[now], ended.rows[:, :, now]))
    return out


def _chances(
    rows: NDArray[np.int8],
    steps: I,
    outlook: Outlook,
    until: datetime,
    climate: Climate | None,
    worth: Mapping[str, float],
) -> DayChances:
    """Chances by day from the outcome of each slot in each member."""
    known = (rows != UNKNOWN).sum(axis=0)
    chance = ((rows == PASS).sum(axis=0) + 0.5) / (known + 1.0)
    few = rows.shape[0] - known > outlook.limits.unknown_share * rows.shape[0]
    judged = Judged(steps, rows, np.zeros(steps.size, bool), np.where(few, np.nan, chance))
    return chances_by_day(judged, outlook, until, doubt(), climate=climate, default=worth["later_chance"])


def risk_of(yard: YardFile, told: Weather, at: datetime, hour: float) -> float:
    """The share of the members in which a coat holds under a sheet from ``at`` on, and not without.

    ``told`` is a forecast made at ``at``; ``hour`` the hour of it at which the coat was begun.
    """
    outlook = Outlook(yard, told, at)
    step = np.array([round(hour * PER_HOUR)], np.int64)
    ended = _outcomes([outlook], step)[0]
    later = ended.rain >= outlook.step_of(at)
    return float(((ended.rows[0] == BREAK) & (ended.rows[1] == PASS) & later).mean())


def _closed_after(last: date, days: DayChances) -> DayChances:
    """No chance behind the day on which the yard closes."""
    open_ = np.array([day <= last for day in days.days[days.told :]], bool)
    return replace(days, chances=Chances(days.chances.holds, np.where(open_, days.chances.later, 0.0)))


def _mean(w: Weather) -> Weather:
    keep = (w.air_c, w.dew_point_c, w.wind_ms, w.rain_mm)
    return Weather(w.start, *(values.mean(axis=0, keepdims=True) for values in keep))


@dataclass(frozen=True, eq=False)
class _Ended:
    """How coats end in the members: ``rows`` (2, members, slots) in the open and under a sheet.

    ``felt``: what a hand finds at the start; ``rain``: grid step of the rain that spoils it, inf none.
    """

    rows: NDArray[np.int8]
    felt: NDArray[np.bool_]
    rain: F


def _outcomes(outlooks: Sequence[Outlook], steps: I) -> list[_Ended]:
    """How each slot ends in each member of each outlook."""
    first = outlooks[0]
    members = [one.members for one in outlooks]
    names = [name for name, _ in members[0].weather.arrays()]
    arrays: dict[str, Any] = {n: np.concatenate([getattr(m.weather, n) for m in members]) for n in names}
    parts = (np.concatenate([getattr(m, n) for m in members]) for n in ("drying", "shelter", "film_k"))
    fine = fine_grid(
        Members(replace(members[0].weather, **arrays), *parts), first.yard.yard.place.altitude_m or 0.0
    )
    place = first.faces_under(fine)
    milestones = FilmClocks(place, first.coating, first.physics["drying_wetness"]).milestones(steps)
    always = Openness(np.full(fine.steps, 24 * 60.0), np.ones(fine.steps))
    found = judge(
        first.rules,
        series_of(place, always),
        place,
        milestones,
        steps,
        first.limits.brush_steps,
        fine.rain_unknown,
    )
    ended = _ended(found, steps + first.limits.brush_steps)
    cuts = np.cumsum([m.count for m in members])[:-1]
    parts_of = (np.split(ended.rows, cuts, axis=1), np.split(ended.felt, cuts), np.split(ended.rain, cuts))
    return [_Ended(*one) for one in zip(*parts_of, strict=True)]


def _ended(found: Findings, covered: I) -> _Ended:
    """From what the rules found; ``covered``: the step of each slot from which a sheet may lie."""
    dry = tuple(one for one in found.found if one.rule.quantity != "rain_mm")
    rain = np.full((found.members, found.starts.size), np.inf)
    for one in found.found:
        if one.rule.quantity == "rain_mm":
            rain = np.minimum(rain, np.where(one.outcome == BREAK, one.when, np.inf))
    plain, sheeted = found.outcome(), replace(found, found=dry).outcome()
    sheeted = np.where(rain < covered[None, :], plain, sheeted).astype(np.int8)
    return _Ended(np.stack([plain, sheeted]), felt_of(found), rain)


def morning_of(
    yard: YardFile,
    told: Sequence[Weather],
    day: int,
    hour: int,
    slots: Slots,
    start: datetime,
    thumbs: Sequence[Thumb],
    days_ahead: float,
    climate: Climate | None = None,
    learned: Sequence[Beliefs] | None = None,
) -> list[Morning]:
    """A morning from its forecasts, one for each world; ``learned``: what each yard has taught."""
    today = slots.of(day)
    today = today[slots.hours[today] >= hour]
    inside = np.asarray(slots.hours[today] - (told[0].start - start) / HOUR, np.float64)
    rain = thresholds().rain_hour.value
    at = start + timedelta(hours=hour)
    seen = seen_of(yard, told, at, slots, start, days_ahead, climate=climate)
    wise: list[Seen | None] = [None] * len(told)
    if learned is not None:
        wise = [*seen_of(yard, told, at, slots, start, days_ahead, learned, climate)]
    out = []
    for one, mine, more in zip(told, seen, wise, strict=True):
        found = tuple(today[slots_by(rule, one, inside, rain)] for rule in thumbs)
        out.append(Morning(day, hour, one, found, mine, more))
    return out
