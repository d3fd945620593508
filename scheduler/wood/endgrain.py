"""How deep a log end has dried and cracked: a front in closed form, driven by the hours since the cut. Pure.

The figures of loss are CALIBRATED TO RULES OF THUMB, NOT MEASURED (config/endgrain.toml). Say so
wherever they are shown, with their band: half to double.

An end dries from its face. Behind a front at depth ``s`` the wood is green; before it the moisture
runs straight from fibre saturation ``Mf`` down to the equilibrium ``Me`` with the air. What flows out
moves the front:

    ds/dt = A / (s + delta),   A = D (Mf - Me) / ((M0 - Mf) + (Mf - Me) / 2)

(the quasi-steady form of Stefan's problem). ``D`` is the diffusion along the grain, ``M0`` the green
moisture and ``delta`` the resistance of air and coat, told as so much extra end grain. While ``delta``
stands,

    (s + delta)^2 = (s0 + delta)^2 + 2 * integral of A dt

so the depth at any time is one root of a running total (scheduler/clocks.py), and the hour at which a
depth is reached is one search in it. Nothing steps through the hours of an end.

Cracks run ahead of the dry zone: loss = factor * s, the factor by how early the wood cracks.

What it leaves out: sun and wind on the single end, the log's own temperature (the air's is taken), the
rise of sap in sapwood, drying through bark and side, rain that soaks in, cracks from growth stress. A
crack that has once opened is not held by a coat; the front is. Against a finite-volume solution a bare end
of heartwood is within 8 % from the second day on in mild air, too deep by up to a quarter in very wet wood
in cold damp air (half a millimetre then), and too deep by a fifth to twice where sap follows freely. Under
an unbroken coat that solution dries far less: the coats' resistance stands for flaws. A coat put on late
lets the dry zone even out, which carries its edge on; the front leaves that out and is a quarter short in
dry woods (ash, locust), about right from a green moisture of 0.8 on (tests/outside).

Names: ``kinds`` are different green moistures, ``ends`` point to a kind. Hours count from the first
hour of the clock, fractions allowed. Depths and resistances in m, moistures in kg/kg, temperatures in °C.

References
----------
Wood Handbook, FPL-GTR-190, ch. 4, eq 4-5 and table 4-2 (equilibrium moisture), p. 4-2 (fibre saturation);
Crank (1975), The Mathematics of Diffusion (moving fronts). Numbers: config/endgrain.toml.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import log, sqrt
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scheduler import clocks
from scheduler.weather import air

__all__ = [
    "Band",
    "Calibration",
    "Cut",
    "EndClock",
    "Ends",
    "Numbers",
    "calibrate",
    "check_factor",
    "coat_resistance",
    "day_growth",
    "default_rate",
    "depth",
    "depth_for",
    "depth_if_coated",
    "drying_rate",
    "emc",
    "end_clock",
    "loss_cm",
    "marginal",
    "normal_hours",
    "temperature_factor",
    "uncalibrated",
    "unknown_hours",
    "when_reached",
]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741  -- index arrays
B = NDArray[np.bool_]
Numbers = Mapping[str, float]  # config/endgrain.toml, with fibre_saturation (physics.toml) and rain_hour (mm)
HOUR_S, DAY_S = 3600.0, 86400.0
BLOCK = 1 << 15  # depths worked out at a time: they stay in the processor's cache, and memory stays small
Z80 = (
    1.2815515655446004  # eight draws of ten from a normal distribution lie within so many standard deviations
)


# ------------------------------------------------------------------ wood and air


def emc(temperature_c: ArrayLike, humidity: ArrayLike) -> F:
    """Equilibrium moisture of wood with air, kg/kg (Wood Handbook eq 4-5, one value for all woods).

    Parameters
    ----------
    humidity : relative, share 0..1; NaN gives NaN

    Raises
    ------
    ValueError
        For a humidity outside 0..1: most likely percent.
    """
    t, h = np.asarray(temperature_c, np.float64), np.asarray(humidity, np.float64)
    if np.any((h < 0.0) | (h > 1.0)):
        raise ValueError("relative humidity is a share of 0 to 1 here; divide percent by 100")
    w = 349.0 + 1.29 * t + 0.0135 * t * t
    kh = (0.805 + 0.000736 * t - 0.00000273 * t * t) * h
    once = (6.27 - 0.00938 * t - 0.000303 * t * t) * kh  # water bound in the first hydrate
    twice = once * (1.91 + 0.0407 * t - 0.000293 * t * t) * kh  # and in the second
    return np.asarray(18.0 / w * (kh / (1.0 - kh) + (once + 2.0 * twice) / (1.0 + once + twice)))


def temperature_factor(temperature_c: ArrayLike, numbers: Numbers) -> F:
    """Diffusion at a temperature over that at 20 °C; falls to nothing as the sap freezes.

    Along the grain vapour in the cell lumens carries the moisture, so it goes as
    saturation pressure times the absolute temperature to the power 3/4.
    """
    t = np.asarray(temperature_c, np.float64)
    vapour = air.saturation_water(t) * (t + 273.15) ** 0.75
    frozen, thawed = numbers["frozen_below"], numbers["thawed_above"]
    ramp = np.clip((t - frozen) / (thawed - frozen), 0.0, 1.0)
    return np.asarray(ramp * vapour / (air.saturation_water(20.0) * 293.15**0.75))


def drying_rate(temperature_c: ArrayLike, humidity: ArrayLike, moisture: ArrayLike, numbers: Numbers) -> F:
    """The front's ``A``, m²/s: half the growth of the squared depth of a bare end that no rain wets.

    Broadcasts. ``humidity`` as a share, capped near saturation; ``moisture`` is the
    green wood's, and wood below fibre saturation counts as just there. NaN where the
    air is unknown, but nothing at all where it is known to be frozen.
    """
    pace, gap = _pull(np.asarray(temperature_c, np.float64), np.asarray(humidity, np.float64), numbers)
    return _rate(pace, gap, np.asarray(moisture, np.float64), numbers)


def _pull(temperature_c: F, humidity: F, numbers: Numbers) -> tuple[F, F]:
    """What does not depend on the wood: diffusion (m²/s, 0 where nothing dries) and Mf - Me (kg/kg)."""
    factor = temperature_factor(temperature_c, numbers)
    damp = np.clip(humidity, 0.0, numbers["humidity_cap"])
    gap = numbers["fibre_saturation"] - emc(temperature_c, damp)
    still = (factor == 0.0) | (gap <= numbers["least_gap"])
    # The gap of a still hour is of no account: 1 keeps it from dividing by nothing, or from being unknown.
    return np.where(still, 0.0, numbers["diffusion"] * factor), np.where(still, 1.0, gap)


def _rate(pace: F, gap: F, moisture: F, numbers: Numbers) -> F:
    free = np.maximum(moisture - numbers["fibre_saturation"], 0.0)
    return np.asarray(pace * gap / (free + 0.5 * gap))


def default_rate(moisture: ArrayLike, numbers: Numbers, *, shielded: bool) -> F:
    """``A`` (m²/s) under the stated default air, for hours of which nothing is known.

    A bare end (not ``shielded`` by a coat or a roof) stands still in the default share of hours with rain.
    """
    dry = drying_rate(numbers["default_air"], numbers["default_humidity"], moisture, numbers)
    return dry if shielded else np.asarray(dry * (1.0 - numbers["default_wet"]))


def normal_hours(air_c: ArrayLike, humidity: ArrayLike, year_share: ArrayLike) -> tuple[F, F]:
    """Hours out of a place's normals, as a driver for ``end_clock``: air and dew point, each (1, hours).

    Of bare wood at Newark in 2013, means by the day came within 2 % of the hours and means by the month
    within 12 % (too deep in winter, where frozen nights hide in a mean above zero): tests/outside.

    Parameters
    ----------
    air_c, humidity : (n,) means of n equal stretches of the year (12 months, 365 days); share 0..1
    year_share : (hours,) how much of the year has gone by, 0..1
    """
    t, h = np.asarray(air_c, np.float64), np.asarray(humidity, np.float64)
    middle = (np.arange(t.size) + 0.5) / t.size
    when = np.asarray(year_share, np.float64)
    warm = np.interp(when, middle, t, period=1.0)[None, :]
    damp = np.interp(when, middle, h, period=1.0)[None, :]
    return warm, air.dew_point_from_humidity(warm, 100.0 * damp)


# ------------------------------------------------------------------ the clock


@dataclass(frozen=True, eq=False)
class EndClock:
    """Running totals of ``A`` for every kind of wood and member.

    Attributes
    ----------
    totals : (2, kinds, members, hours + 1) m²; [0] bare ends that rain wets, [1] under a coat or roof
    unknown : (2, members, hours + 1) hours so far of which it is not known how much they dried
    moisture : (kinds,) green moisture
    air_m : resistance of the air at a face, m
    """

    totals: F
    unknown: F
    moisture: F
    air_m: float

    @property
    def hours(self) -> int:
        """Length of the clock."""
        return int(self.totals.shape[-1]) - 1


def end_clock(
    air_c: F, dew_point_c: F, rain_mm: F | None, moisture: ArrayLike, numbers: Numbers, *, fill: bool = False
) -> EndClock:
    """The clock of ends under given hours: a forecast, a record, normals, or any of them joined.

    A bare end stands still in an hour with rain. An unknown hour moves nothing, or with
    ``fill`` goes at the stated default; it is counted as unknown either way. Hours before
    a record begins are NaN in front of it.

    Parameters
    ----------
    air_c, dew_point_c, rain_mm : (members, hours), NaN unknown; rain None: there is none
    moisture : (kinds,) green moisture, kg/kg

    Raises
    ------
    ValueError
        For a green moisture that is not above zero, or arrays of different shapes.
    """
    kinds = np.atleast_1d(np.asarray(moisture, np.float64))
    rain = np.zeros_like(air_c) if rain_mm is None else rain_mm
    if air_c.ndim != 2 or not air_c.shape == dew_point_c.shape == rain.shape:
        raise ValueError("air, dew point and rain must be arrays of the same members and hours")
    if not np.all(kinds > 0.0):
        raise ValueError("the green moisture of a wood must be above zero, in kg water per kg dry wood")
    pace, gap = _pull(air_c, air.humidity(air_c, dew_point_c), numbers)
    flow = pace * gap  # as any wood's rate, it is nothing or unknown
    share = np.where(
        np.isnan(rain), np.nan, rain < numbers["rain_hour"]
    )  # of the hour in which a bare end dries
    unknown = np.stack([np.isnan(_product(flow, share)), np.isnan(flow)]).astype(np.float64)
    if fill:
        share = np.where(np.isnan(share), 1.0 - numbers["default_wet"], share)
    totals = np.empty((2, kinds.size, air_c.shape[0], air_c.shape[1] + 1))
    for k, green in enumerate(kinds):  # a kind at a time: the arrays between stay small
        rate = _rate(pace, gap, green, numbers)
        if fill:
            rate = np.where(np.isnan(flow), default_rate(green, numbers, shielded=True), rate)
        totals[0, k] = clocks.total(_product(rate, share), HOUR_S)
        totals[1, k] = clocks.total(rate, HOUR_S)
    counted = np.stack([clocks.total(one, 1.0) for one in unknown])
    return EndClock(totals, counted, kinds, numbers["air_resistance"])


def _product(rate: F, share: F) -> F:
    """Nothing times unknown is nothing: a frozen hour with unknown rain, a wet one with unknown air."""
    return np.where((rate == 0.0) | (share == 0.0), 0.0, rate * share)


# ------------------------------------------------------------------ the ends


@dataclass(frozen=True, eq=False)
class Ends:
    """What happened to each end since its last cut, as stretches in which nothing changed.

    Attributes
    ----------
    kind : (ends,) row of the clock's moisture
    since : (ends, stretches) hour at which each stretch begins, rising; the first is the cut. inf: none
    coat_m : (ends, stretches) resistance of the coat from then on (``coat_resistance``), 0 for a bare end
    roofed : (ends, stretches) no rain comes to the face
    """

    kind: I
    since: F
    coat_m: F
    roofed: B

    def __post_init__(self) -> None:
        if self.since.ndim != 2 or self.kind.shape != self.since.shape[:1]:
            raise ValueError("ends need a kind each, and the hours of their stretches in rows")
        if not self.since.shape == self.coat_m.shape == self.roofed.shape:
            raise ValueError("each stretch of an end needs its hour, its coat and whether it is roofed")
        if not np.all(np.isfinite(self.since[:, 0])) or np.any(self.since[:, 1:] < self.since[:, :-1]):
            raise ValueError("the stretches of an end begin with its cut and follow each other in time")
        if not np.all(self.coat_m >= 0.0):
            raise ValueError("the resistance of a coat is zero or more")

    @classmethod
    def bare(cls, kind: ArrayLike, cut_hour: ArrayLike, *, roofed: bool = False) -> Ends:
        """Ends that stayed bare since the cut."""
        rows, cut = np.broadcast_arrays(np.asarray(kind, np.int64), np.asarray(cut_hour, np.float64))
        since = np.atleast_1d(cut)[:, None].copy()
        return cls(np.atleast_1d(rows).copy(), since, np.zeros_like(since), np.full(since.shape, roofed))

    def __getitem__(self, rows: slice) -> Ends:
        """Some of the ends."""
        return Ends(self.kind[rows], self.since[rows], self.coat_m[rows], self.roofed[rows])

    def uncoated(self) -> Ends:
        """The same ends as if no coat had ever been put on."""
        changes = np.isfinite(self.since) & (self.roofed != self.roofed[:, :1])
        keep = slice(None) if changes.any() else slice(1)  # one stretch is less to walk
        since, roofed = self.since[:, keep], self.roofed[:, keep]
        return Ends(self.kind, since, np.zeros_like(since), roofed)

    def stretches(self) -> Iterable[tuple[F, F, F, I]]:
        """Begin, end and coat, each (ends, 1, 1), and which clock drives it (0 bare, 1 shielded), (ends,)."""
        finish = np.concatenate([self.since[:, 1:], np.full((self.kind.size, 1), np.inf)], axis=1)
        for j in range(self.since.shape[1]):
            coat = self.coat_m[:, j]
            which = ((coat > 0.0) | self.roofed[:, j]).astype(np.int64)
            yield self.since[:, j, None, None], finish[:, j, None, None], coat[:, None, None], which


def coat_resistance(layers: ArrayLike, skips: ArrayLike, one_m: float, two_m: float, numbers: Numbers) -> F:
    """Resistance of a coat with skips, as extra end grain over that of the air, m.

    Coated and bare area lie side by side and let moisture through as conductances do,
    each with its share of the face. What leaves by a small skip has to come together in
    the wood first: it meets ``skip_reach`` besides, which fades as ``(1 - sqrt(share))^1.5``
    (constriction in a flux tube, from memory) so that a coat that is all skips is none.

    Parameters
    ----------
    layers : 0, 1, 2 (more count as 2)
    skips : share of the face that the coat misses, 0..1; NaN where somebody said "skips" and no share
    one_m, two_m : a sound coat of one and of two layers (config/coatings.toml)
    """
    film = np.choose(np.clip(np.asarray(layers, np.int64), 0, 2), [0.0, one_m, two_m])
    told = np.asarray(skips, np.float64)
    share = np.clip(np.where(np.isnan(told), numbers["skip_share"], told), 0.0, 1.0)
    face = numbers["air_resistance"]
    sound = face + film
    spot = np.minimum(face + numbers["skip_reach"] * (1.0 - np.sqrt(share)) ** 1.5, sound)
    both = 1.0 / ((1.0 - share) / sound + share / spot) - face
    # Exactly 0 without a coat: a bare end is told by it, and rounding must not make a coat of nothing.
    return np.where((film > 0.0) & (share < 1.0), np.maximum(both, 0.0), 0.0)


def depth(clock: EndClock, ends: Ends, at: ArrayLike) -> F:
    """Depth of the dry zone, m: (ends, members, times). 0 before the cut; hours off the clock add nothing.

    A coat also keeps the rain off. Where it rains so much that the model would have a coated
    end dry deeper than a bare one, the bare one's depth counts: wet wood does not crack, and
    no coat does harm.

    Parameters
    ----------
    at : hours, (times,) for all ends alike or (ends, times) or (ends, 1)
    """
    when = _times(ends, at)
    deep = np.empty((ends.kind.size, clock.totals.shape[2], when.shape[2]))
    block = max(1, BLOCK // max(1, deep[:1].size))
    for first in range(0, ends.kind.size, block):
        rows = slice(first, first + block)
        some = ends[rows]
        deep[rows] = _path(clock, some, when[rows])
        if some.coat_m.any():
            deep[rows] = np.minimum(deep[rows], _path(clock, some.uncoated(), when[rows]))
    return deep


def depth_if_coated(clock: EndClock, ends: Ends, hours: ArrayLike, coat_m: ArrayLike, at: ArrayLike) -> F:
    """Depth (m) at hour ``at`` if each end got a coat at each of ``hours``: (ends, members, hours).

    What was done up to then counts, what was done later does not.

    Parameters
    ----------
    hours : (hours,) or (ends, hours); one before the cut is taken as the cut
    coat_m : resistance from then on, scalar or (ends,)
    at : scalar or (ends,)
    """
    when = np.maximum(_times(ends, hours), ends.since[:, :1, None])
    coat = np.broadcast_to(np.asarray(coat_m, np.float64), ends.kind.shape)[:, None, None]
    until = np.broadcast_to(np.asarray(at, np.float64), ends.kind.shape)[:, None, None]
    start = np.minimum(when, until)
    before = _path(clock, ends, start)
    shielded = np.ones_like(ends.kind)
    gain = _stands(clock, shielded, ends.kind, until) - _stands(clock, shielded, ends.kind, start)
    under = _deeper(before, clock.air_m + coat, gain)
    return np.minimum(under, _path(clock, ends.uncoated(), until))


def day_growth(clock: EndClock, ends: Ends, at: ArrayLike) -> F:
    """How much deeper an end will be a day after ``at``, m: the price of a wait. (ends, members, times)."""
    when = np.asarray(at, np.float64)
    return depth(clock, ends, when + 24.0) - depth(clock, ends, when)


def marginal(rate: ArrayLike, depth_m: ArrayLike, resistance_m: ArrayLike) -> F:
    """Growth of the depth at this moment, m a day: A / (s + delta), with A = ``rate`` in m²/s.

    Overstates a whole day's wait of a fresh bare end, which slows down within the hour: see ``day_growth``.
    ``resistance_m`` is that of air and coat together.
    """
    return np.asarray(np.asarray(rate) * DAY_S / (np.asarray(depth_m) + np.asarray(resistance_m)))


def unknown_hours(clock: EndClock, ends: Ends, at: ArrayLike) -> F:
    """Hours from the cut to ``at`` that are unknown or lie off the clock: (ends, members, times)."""
    when = _times(ends, at)
    members = clock.unknown.shape[1]
    counted = np.zeros((ends.kind.size, members, when.shape[2]))
    seen = EndClock(clock.unknown[:, None], clock.unknown, clock.moisture[:1], clock.air_m)
    row = np.zeros_like(ends.kind)
    for begin, finish, _, which in ends.stretches():
        start, stop = np.minimum(begin, when), np.minimum(when, finish)
        on = np.clip(stop, 0.0, clock.hours) - np.clip(start, 0.0, clock.hours)
        counted += _stands(seen, which, row, stop) - _stands(seen, which, row, start) + (stop - start - on)
    return counted


def when_reached(clock: EndClock, ends: Ends, depth_m: ArrayLike) -> F:
    """First hour at which each end is dry to a depth (``depth_for`` a loss), (ends, members).

    inf where the clock does not go so far.

    Parameters
    ----------
    depth_m : scalar or (ends,), above zero
    """
    target = np.broadcast_to(np.asarray(depth_m, np.float64), ends.kind.shape)[:, None]
    if not np.all(target > 0.0):
        raise ValueError("the depth to be reached must be above zero")
    hour = _reached(clock, ends, target)
    if ends.coat_m.any():  # the lesser of two depths is there when both are
        hour = np.maximum(hour, _reached(clock, ends.uncoated(), target))
    return hour


def _times(ends: Ends, at: ArrayLike) -> F:
    when = np.asarray(at, np.float64)
    if not np.all(np.isfinite(when)):
        raise ValueError("ends are looked at at finite hours")
    when = np.broadcast_to(when, (ends.kind.size, when.shape[-1] if when.ndim else 1))
    return when[:, None, :]


def _path(clock: EndClock, ends: Ends, when: F) -> F:
    """Depth along the stretches as they are, (ends, members, times)."""
    deep = np.zeros((ends.kind.size, clock.totals.shape[2], when.shape[2]))
    for begin, finish, coat, which in ends.stretches():
        start, stop = np.minimum(begin, when), np.minimum(when, finish)
        gain = _stands(clock, which, ends.kind, stop) - _stands(clock, which, ends.kind, start)
        deep = _deeper(deep, clock.air_m + coat, gain)
    return deep


def _deeper(deep: F, resistance: F, gain: F) -> F:
    """(s + d)^2 = (s0 + d)^2 + 2 gain, solved so that rounding does not eat a small gain under a coat."""
    twice = 2.0 * gain
    whole = np.sqrt((deep + resistance) ** 2 + twice)
    return np.asarray((deep * (deep + 2.0 * resistance) + twice) / (whole + resistance))


def _stands(clock: EndClock, which: I, kind: I, when: F) -> F:
    """What the clocks of the ends stand at, (ends, members, times), at hours that broadcast to it."""
    _, kinds, members, points = clock.totals.shape
    row = ((which * kinds + kind) * members)[:, None] + np.arange(members)[None, :]
    position = np.clip(when, 0.0, points - 1.0)
    index = np.minimum(position.astype(np.int64), points - 2)
    inside = position - index
    place = row[:, :, None] * points + index
    flat = clock.totals.reshape(-1)
    low = flat.take(place)
    return np.asarray(low + (flat.take(place + 1) - low) * inside)


def _reached(clock: EndClock, ends: Ends, target: F) -> F:
    """First hour at which the path of ``_path`` is as deep as ``target`` (ends, 1), (ends, members)."""
    deep = np.zeros((ends.kind.size, clock.totals.shape[2]))
    found = np.full(deep.shape, np.inf)
    for begin, finish, coat, which in ends.stretches():
        resistance = clock.air_m + coat[:, :, 0]
        start = _stands(clock, which, ends.kind, begin)[:, :, 0]
        needed = start + 0.5 * (target - deep) * (target + deep + 2.0 * resistance)
        hour = np.maximum(_search(clock, which, ends.kind, needed), begin[:, :, 0])
        found = np.where((hour <= finish[:, :, 0]) & np.isinf(found), hour, found)
        gain = _stands(clock, which, ends.kind, finish)[:, :, 0] - start
        deep = _deeper(deep, resistance, gain)
    return found


def _search(clock: EndClock, which: I, kind: I, needed: F) -> F:
    """Hours at which the clocks of the ends stand at ``needed`` (ends, members); one search for each kind."""
    hour = np.empty_like(needed)
    row = which * clock.moisture.size + kind
    for one in np.unique(row):
        those = row == one
        totals = clock.totals[one // clock.moisture.size, one % clock.moisture.size]
        hour[those] = clocks.reach(totals, needed[those].T).T
    return hour


# ------------------------------------------------------------------ loss, and what the saw teaches


@dataclass(frozen=True, eq=False)
class Band:
    """A figure and what 8 of 10 ends lie between."""

    low: F
    mid: F
    high: F


@dataclass(frozen=True, slots=True)
class Calibration:
    """What recorded cuts say of a yard's ends, against the shipped numbers.

    Attributes
    ----------
    factor : multiplier on the crack factor; on factor * sqrt(diffusion), the two cannot be told apart
    factor_log_sd : its doubt, standard deviation of the logarithm
    leak : how much more a coat lets through; divide the resistance of coats by it
    leak_log_sd : its doubt
    cuts : recorded cuts that taught something
    used : whether they were enough; if not, factor and leak are 1 and the doubt is the general one
    """

    factor: float
    factor_log_sd: float
    leak: float
    leak_log_sd: float
    cuts: int = 0
    used: bool = False


@dataclass(frozen=True, slots=True)
class Cut:
    """What one fresh cut says of the cracks of one end.

    All slices taken off in one go are one cut: "an inch, still cracked, another inch, clean" lies above
    2.5 and at most 5 cm. A crack measured at x cm lies above 0.8 x and at most 1.25 x.

    Attributes
    ----------
    factor : crack factor of the wood, shipped
    open_m : predicted depth of the dry zone when the end was coated, or at the cut if it never was
    under_m : what it is predicted to have gained under the coat
    above_cm : cracks went deeper than this (cut so far and still cracked); 0 nothing known
    at_most_cm : cracks went no deeper (cut so far and clean); inf nothing known
    """

    factor: float
    open_m: float
    under_m: float = 0.0
    above_cm: float = 0.0
    at_most_cm: float = np.inf

    def __post_init__(self) -> None:
        if not 0.0 <= self.above_cm < self.at_most_cm:
            raise ValueError("a cut that was clean must have gone deeper than the one that was still cracked")
        if not (self.factor > 0.0 and self.open_m >= 0.0 and self.under_m >= 0.0):
            raise ValueError("the crack factor of a cut must be above zero and its depths zero or more")


def check_factor(proneness: Literal["low", "ordinary", "high"], numbers: Numbers) -> float:
    """Cracks over dry depth, by how early the wood cracks."""
    return numbers[f"factor_{proneness}"]


def uncalibrated(numbers: Numbers) -> Calibration:
    """The shipped numbers with their general doubt: with the scatter of single ends it makes up the band."""
    whole = log(numbers["band"]) / Z80
    own = sqrt(max(whole**2 - numbers["end_log_sd"] ** 2, 0.0025))
    return Calibration(1.0, own, 1.0, numbers["coat_log_sd"])


def loss_cm(depth_m: F, factor: ArrayLike, numbers: Numbers, learned: Calibration | None = None) -> Band:
    """Length of wood lost at an end, cm, with its band; calibrated to rules of thumb, not measured.

    Parameters
    ----------
    depth_m : (ends, ...) depth of the dry zone
    factor : ``check_factor``, scalar or (ends,)
    """
    learned = learned or uncalibrated(numbers)
    each = np.asarray(factor, np.float64)
    each = each.reshape(each.shape + (1,) * (depth_m.ndim - 1)) if each.ndim else each
    mid = np.asarray(100.0 * learned.factor * each * depth_m)
    wide = np.exp(Z80 * sqrt(learned.factor_log_sd**2 + numbers["end_log_sd"] ** 2))
    return Band(mid / wide, mid, mid * wide)


def depth_for(loss: ArrayLike, factor: ArrayLike, learned: Calibration | None = None) -> F:
    """Depth of the dry zone (m) at which the estimated loss is ``loss`` cm: for ``when_reached``."""
    own = 1.0 if learned is None else learned.factor
    return np.asarray(np.asarray(loss, np.float64) / (100.0 * own * np.asarray(factor, np.float64)))


def calibrate(cuts: Iterable[Cut], numbers: Numbers) -> Calibration:
    """What the yard's recorded cuts say of crack factor and coats, on a grid of both.

    Bayes with log-normal priors (``uncalibrated``). The loss of an end scatters about
    ``factor * (open + leak * under)`` by ``end_log_sd``; a cut tells only between which
    sizes it lies. A small share of cuts is taken as telling nothing, so that one log that
    split by growth stress does not move a yard. A coat's leak acts in proportion, right
    while the coat resists more than the dry wood behind it.

    Cuts of ends that stood in the same weather share its error: many of one day say
    less than the doubt that is given back.
    """
    prior = uncalibrated(numbers)
    x = np.linspace(-4.0, 4.0, 81)[:, None] * prior.factor_log_sd
    y = np.linspace(-4.0, 4.0, 81)[None, :] * prior.leak_log_sd
    weight = -0.5 * ((x / prior.factor_log_sd) ** 2 + (y / prior.leak_log_sd) ** 2)
    taught = 0
    for cut in cuts:
        if 100.0 * cut.factor * (cut.open_m + cut.under_m) < numbers["least_loss"]:
            continue
        expected = np.log(100.0 * cut.factor * (cut.open_m + np.exp(y) * cut.under_m)) + x
        between = _below(cut.at_most_cm, expected, numbers) - _below(cut.above_cm, expected, numbers)
        odd = numbers["odd_share"]
        weight = weight + np.log(np.maximum((1.0 - odd) * between + odd * 0.5, 1e-300))
        taught += 1
    if taught < numbers["least_cuts"]:
        return Calibration(1.0, prior.factor_log_sd, 1.0, prior.leak_log_sd, taught)
    share = np.exp(weight - weight.max())
    share /= share.sum()
    (a, a_sd), (b, b_sd) = _moments(x[:, 0], share.sum(axis=1)), _moments(y[0], share.sum(axis=0))
    return Calibration(float(np.exp(a)), a_sd, float(np.exp(b)), b_sd, taught, used=True)


def _below(size_cm: float, expected: F, numbers: Numbers) -> F:
    """Chance that the loss of an end is at most ``size_cm``, given the logarithm of the expected one."""
    if size_cm <= 0.0:
        return np.zeros_like(expected)
    return _normal((log(size_cm) - expected) / numbers["end_log_sd"])


def _normal(z: F) -> F:
    """Normal distribution function, Abramowitz & Stegun 7.1.26, to 1e-7: erf is not in numpy."""
    a = np.abs(z) / sqrt(2.0)
    t = 1.0 / (1.0 + 0.3275911 * a)
    tail = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
    return np.asarray(0.5 + 0.5 * np.sign(z) * (1.0 - tail * np.exp(-a * a)))


def _moments(values: F, share: F) -> tuple[float, float]:
    mean = float(np.sum(share * values))
    return mean, sqrt(float(np.sum(share * (values - mean) ** 2)))
