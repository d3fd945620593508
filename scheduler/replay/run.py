"""A record replayed under several seeds: set-up of the scheme, and all policies on each seed. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduler.coating.product import Coating, coating_of
from scheduler.planning.climate import Climate
from scheduler.planning.normals import Normals, normals_by_latitude, normals_of
from scheduler.replay.forecasts import Forecasts
from scheduler.replay.logs import Woods, coat_of, stock_of, true_hours, woods_of
from scheduler.replay.mornings import Morning, morning_of, risk_of
from scheduler.replay.policies import Thumb, thumbs_of
from scheduler.replay.record import Record
from scheduler.replay.season import (
    Care,
    Careful,
    Ledgers,
    Policy,
    Program,
    Rule,
    Tally,
    foresight,
    gusts_of,
    play,
    truth_table,
)
from scheduler.replay.truth import Fates, Slots, fates_of, slots_of
from scheduler.replay.worlds import Sky, World, draw_world, faces_of, learned_of
from scheduler.rules.rule import Rule as WeatherRule
from scheduler.rules.rule import rules_of
from scheduler.rules.spans import Limits
from scheduler.settings import (
    YardFile,
    assumptions,
    coating_profiles,
    grain_numbers,
    replay_scheme,
    rule_specs,
    species_table,
    thresholds,
    value_numbers,
    worth_numbers,
)
from scheduler.weather.fine import PER_HOUR
from scheduler.weather.series import HOUR, WeatherError
from scheduler.weather.sun import daylight

__all__ = [
    "CAREFUL",
    "COVERED",
    "FELT",
    "FORESIGHT",
    "LEARNED",
    "PROGRAM",
    "Case",
    "Played",
    "Replay",
    "days_of",
    "replay",
]

F = NDArray[np.float64]
PROGRAM, LEARNED, FORESIGHT = "coatcast", "coatcast, yard learned", "perfect foresight"
CAREFUL, COVERED, FELT = "coatcast, hand and sheet", "foresight, with sheets", "{rule}, hand"
TOGETHER = 4  # worlds whose mornings are worked out in one go: quick, and small enough for the caches


@dataclass(frozen=True, slots=True)
class Case:
    """A chance that was said and what came: days ahead, chance, whether the coat would have held."""

    lead: int
    said: float
    held: bool


@dataclass(frozen=True, eq=False)
class Played:
    """One seed: a tally for each policy, the chances said, the share of days on which a coat would hold."""

    seed: int
    tallies: tuple[Tally, ...]
    cases: tuple[Case, ...]
    good_days: float
    said_days: float


@dataclass(frozen=True, eq=False)
class Replay:
    """All seeds of one record and season."""

    first: date
    last: date
    hours: int
    notes: tuple[str, ...]
    thumbs: tuple[Thumb, ...]
    played: tuple[Played, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Policies in order."""
        return tuple(t.name for t in self.played[0].tallies)


def days_of(record: Record, yard: YardFile, first: date | None, last: date | None) -> list[date]:
    """The mornings of the season: those asked for, as far as the record has what they need.

    Raises
    ------
    WeatherError
        When no day of the record is left.
    """
    n = replay_scheme()
    w = record.weather
    lead, after = n["forecast"]["past"] + 1.0, n["yard"]["stepped"] / 24.0 + 1.0
    earliest = (w.start + timedelta(days=lead + 1)).astimezone(yard.zone).date()
    latest = (w.end - timedelta(days=after + 1)).astimezone(yard.zone).date()
    begin, end = max(first or earliest, earliest), min(last or latest, latest)
    if end < begin:
        raise WeatherError(
            f"The record runs from {w.start:%Y-%m-%d} to {w.end:%Y-%m-%d}; with {lead:.0f} days before "
            f"the first morning and {after:.0f} after the last one no day that was asked for is left."
        )
    return [begin + timedelta(days=k) for k in range((end - begin).days + 1)]


@dataclass(eq=False)
class _Setting:
    """What all seeds share."""

    record: Record
    yard: YardFile
    days: list[date]
    climate: Climate | None
    scheme: Mapping[str, Any] = field(default_factory=replay_scheme)

    def __post_init__(self) -> None:
        yard, n = self.yard, self.scheme["yard"]
        self.coating: Coating = coating_of(coating_profiles()[yard.coating.profile], yard.coating)
        self.rules: tuple[WeatherRule, ...] = rules_of(
            rule_specs(), yard.rules, self.coating, yard.coating.method
        )
        self.thumbs = thumbs_of(self.scheme["rule"])
        self.sky = Sky(self.scheme["cloud"], self.scheme["forecast"]["wet"])
        self.limits = Limits.of(thresholds())
        assumed = assumptions()
        self.grain, self.worth = grain_numbers(), worth_numbers()
        self.woods: Woods = woods_of(
            self.scheme["wood"],
            species_table(),
            self.coating,
            value_numbers(),
            self.grain,
            assumed,
            n["length"],
        )
        self.minutes = yard.yard.minutes.end or assumed["minutes_end"]
        given = yard.coating.price_per_litre
        self.price = n["price_per_litre"] if given is None else given
        self.wage = n["wage"] if yard.yard.wage is None else yard.yard.wage
        self.coat_m = coat_of(
            coating_profiles()[yard.coating.profile], assumed["skip_chance"], self.worth, self.grain
        )
        start = self.record.weather.start
        asks = time(int(n["asks_at"]), round(n["asks_at"] % 1 * 60))
        self.mornings = [
            int(np.ceil((datetime.combine(day, asks, yard.zone).astimezone(UTC) - start) / HOUR))
            for day in self.days
        ]
        self.normals = self._normals(start)
        zone, place = self.yard.zone, self.yard.yard.place
        suns = (daylight(day, place.lat, place.lon, zone) for day in self.days)
        before = n["sheet_before_dark"] * HOUR
        dark = [None if sun is None else sun[1] - before for sun in suns]
        # Where the sun does not set or rise, the middle of the day will do.
        self.darks = [
            hour + 6 if time_ is None else int(np.ceil((time_ - start) / HOUR))
            for time_, hour in zip(dark, self.mornings, strict=True)
        ]
        self.care = Care(
            feel=n["feel"] / 60.0 * self.wage,
            sheet=n["sheet"] / 60.0 * self.wage,
            feel_h=n["feel"] / 60.0,
            sheet_h=n["sheet"] / 60.0,
            brush_h=float(np.ceil(self.limits.brush_steps / PER_HOUR)),
            lay_ms=n["sheet_gust"],
            hold_ms=n["sheet_holds"],
        )

    def _normals(self, at: datetime) -> Normals:
        own = None if self.climate is None else normals_of(self.climate)
        place = self.yard.yard.place
        return own or normals_by_latitude(at, place.lat, place.altitude_m or 0.0, self.worth)

    def slots(self, world: World) -> Slots:
        """Hours for the brush."""
        fine = faces_of([world], self.yard, 0, self.record.hours).fine
        return slots_of(fine, self.yard, self.rules, self.days)


def replay(
    record: Record,
    yard: YardFile,
    days: Sequence[date],
    seeds: Sequence[int],
    *,
    climate: Climate | None = None,
    learned: bool = False,
) -> Replay:
    """Replay a season of a record under several seeds.

    Parameters
    ----------
    days : as ``days_of`` gives them
    climate : the place's past years, if the yard has them
    learned : also play a program that has learned its yard's offset and drying factor; takes twice as long
    """
    setting = _Setting(record, yard, list(days), climate)
    worlds = [draw_world(record, yard, seed, setting.scheme) for seed in seeds]
    slots = setting.slots(worlds[0])
    stepped = setting.scheme["yard"]["stepped"]
    fates = fates_of(worlds, yard, slots, setting.coating, setting.rules, stepped, setting.limits.brush_steps)
    played: list[Played] = []
    for first in range(0, len(worlds), TOGETHER):
        some = worlds[first : first + TOGETHER]
        forecasts = [Forecasts(world, setting.sky, setting.scheme["forecast"]) for world in some]
        for n, mornings in enumerate(_mornings(setting, some, forecasts, slots, learned)):
            played.append(_seed(setting, some[n], first + n, slots, fates, mornings, forecasts[n]))
    return Replay(days[0], days[-1], len(days) * 24, record.notes, setting.thumbs, tuple(played))


@dataclass(eq=False)
class _Risk:
    """What the afternoon's forecast says of a wet coat that only a sheet would save."""

    s: _Setting
    forecasts: Forecasts
    slots: Slots

    def __call__(self, morning: Morning, slot: int) -> float:
        start = self.s.record.weather.start
        dark = self.s.darks[morning.day]
        told = self.forecasts.at(dark)
        hour = dark - round((told.start - start) / HOUR)
        gust = gusts_of(told)[hour : hour + 24]
        if gust[0] > self.s.care.lay_ms or gust.max() > self.s.care.hold_ms:
            return 0.0
        begun = float(self.slots.hours[slot]) - (told.start - start) / HOUR
        return risk_of(self.s.yard, told, start + dark * HOUR, begun)


def _seed(
    s: _Setting,
    world: World,
    number: int,
    slots: Slots,
    fates: Fates,
    mornings: Sequence[Morning],
    forecasts: Forecasts,
) -> Played:
    n = s.scheme["yard"]
    w = s.record.weather
    latitude = s.yard.yard.place.lat
    stock = stock_of(
        world.seed,
        [float(hour) for hour in s.mornings],
        w.start,
        s.woods,
        n,
        s.price,
        s.wage,
        s.minutes,
        latitude,
        s.worth,
    )
    count = int(np.ceil(max(stock.sawn_h.max(), stock.until_h.max()))) + 48
    truth = truth_table(
        fates,
        number,
        true_hours(world, s.normals, count),
        stock,
        slots,
        s.woods,
        s.grain,
        s.coat_m,
        gusts_of(world.weather),
        s.care,
    )
    ledgers = Ledgers(
        world.weather, s.normals, s.woods, stock, s.coat_m, s.grain, s.worth, latitude, s.limits.show_chance
    )
    room = int(n["ends_a_day"])
    policies: list[Policy] = [
        Rule(rule.name, k, rule.again, not rule.never) for k, rule in enumerate(s.thumbs)
    ]
    policies.append(Program(PROGRAM, ledgers, w.start, lambda morning: morning.seen))
    if mornings[0].learned is not None:
        policies.append(Program(LEARNED, ledgers, w.start, lambda morning: morning.learned or morning.seen))
    policies += [
        Rule(FELT.format(rule=rule.name), k, rule.again, not rule.never, hand=True)
        for k, rule in enumerate(s.thumbs)
        if not rule.never
    ]
    policies.append(Careful(CAREFUL, ledgers, w.start, s.care, _Risk(s, forecasts, slots), slots.hours))
    policies.append(foresight(FORESIGHT, truth, stock, slots, room))
    policies.append(foresight(COVERED, truth, stock, slots, room, s.darks))
    tallies = tuple(
        play(policy, mornings, stock, slots, truth, room, s.minutes, s.darks) for policy in policies
    )
    cases = tuple(_cases(mornings, truth.held))
    good = np.array([truth.held[slots.of(day)].any() for day in range(len(s.days))])
    said = np.array([m.seen.said.size and m.seen.said[0] >= 0.5 for m in mornings])
    return Played(world.seed, tallies, cases, float(good.mean()), float(said.mean()))


def _mornings(
    s: _Setting,
    worlds: Sequence[World],
    forecasts: Sequence[Forecasts],
    slots: Slots,
    learned: bool = False,
) -> list[list[Morning]]:
    """All mornings of each world; what the program makes of one is worked out for all worlds at once."""
    numbers = s.scheme["forecast"]
    start = s.record.weather.start
    out: list[list[Morning]] = [[] for _ in worlds]
    beliefs = [learned_of(world, s.scheme["learned"]) for world in worlds] if learned else None
    for day, hour in enumerate(s.mornings):
        told = [one.at(hour) for one in forecasts]
        several = morning_of(
            s.yard, told, day, hour, slots, start, s.thumbs, numbers["starts"], s.climate, beliefs
        )
        for n, morning in enumerate(several):
            out[n].append(morning)
    return out


def _cases(mornings: Sequence[Morning], held: NDArray[np.bool_]) -> Iterator[Case]:
    """The best start of each day of each forecast: what was said of it, and whether it would have held."""
    for morning in mornings:
        seen = morning.seen
        for lead, slot in enumerate(seen.slots):
            if slot >= 0 and np.isfinite(seen.said[lead]):
                yield Case(lead, float(seen.said[lead]), bool(held[slot]))
