"""Water leaving a coat: milestones of every start by clocks, and of single starts by stepping.

A coat dries in three stages: water leaves at a constant rate until ``w_crit``
of it is left; then in proportion to what is left; meanwhile the wax particles
fuse, faster when warm and not at all under the least film temperature (form
after Vanderhoff, Croll, Keddie and Routh & Russel 1999, Langmuir 15:7762;
numbers calibrated, config/coatings.toml).

    dm/dt = -E(f) with f = min(1, w/w_crit);    dX/dt = [w <= w_crit] r(Ts)/t_coalescence

Milestones: touch-dry, nominal film w <= w_touch; frost-safe, thick spots
w <= w_frost; rain-safe, thick spots w <= w_rain and X >= dose_rain; dry,
thick spots w <= w_dry and X >= 1.

``FilmClocks`` answers for every start and member by sorted search. A wet film
cools the log behind it, so each start has a log of its own; the difference
between that log and the one the clock was built on fades exponentially and
enters the search as a correction. ``step_film`` integrates the coupled
equations; what a person is shown comes from it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler import clocks
from scheduler.coating.face import Air, Exposure, FaceState, Node, face_air, film_on_face, run_node
from scheduler.coating.product import GAS, T_SHEET, Coating
from scheduler.weather.fine import STEP_S, Fine

__all__ = [
    "FilmClocks",
    "Milestones",
    "Stepped",
    "Surroundings",
    "by_most",
    "film_rate",
    "film_series",
    "step_film",
    "surroundings",
]

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741  -- index arrays
MIX = 0.35  # share of the wet face in the temperature at which a drying film fuses, fitted to stepping
ROUNDS = 2  # corrections of a search; a third changes minutes


def film_rate(surface_c: F, coating: Coating, shift_k: F | float = 0.0) -> F:
    """Rate of film forming relative to 21 °C: Arrhenius, cut off by a ramp at the least film temperature."""
    ramp = np.clip((surface_c - coating.least_film_c - shift_k) / coating.film_ramp_k + 0.5, 0.0, 1.0)
    kelvin = np.maximum(surface_c, -60.0) + 273.15
    return np.asarray(np.exp(-coating.activation_jmol / GAS * (1.0 / kelvin - 1.0 / T_SHEET)) * ramp)


@dataclass(frozen=True, eq=False)
class Milestones:
    """Times of milestones in grid steps, each (members, starts); inf when not reached within the data."""

    touch_dry: F
    frost_safe: F
    rain_safe: F
    dry: F

    def named(self, name: str) -> F:
        """The array of a milestone by its name."""
        return np.asarray(getattr(self, name))

    def column(self, n: int) -> Milestones:
        """The milestones of one start, arrays (members, 1)."""
        one = slice(n, n + 1)
        return Milestones(
            self.touch_dry[:, one], self.frost_safe[:, one], self.rain_safe[:, one], self.dry[:, one]
        )


@dataclass(frozen=True, eq=False)
class Surroundings:
    """Faces and logs of one place under all members: what clocks, stepping and rules share."""

    fine: Fine
    exposure: Exposure
    air: Air
    dry_node: Node
    wet_node: Node
    drying_node: Node
    dry: FaceState  # a bare or dry-coated face
    wet: FaceState  # a wet film
    face_water: F  # kg/m² on a bare face at the grid points, (members, K + 1); NaN where it may have got wet
    rain_stops: NDArray[np.bool_]  # hours in which rain, known or not known, keeps a film from drying


def surroundings(
    fine: Fine, exposure: Exposure, water_held: float, drying_wetness: float, rain_hour: float
) -> Surroundings:
    """Work out faces and logs of a place, for all members and steps."""
    a = face_air(
        fine.air_c,
        fine.dew_point_c,
        fine.wind_ms,
        fine.cloud,
        fine.sun_wm2,
        exposure,
        fine.pressure_kpa,
        fine.shelter,
    )
    first = fine.first_day_mean()
    dry_node, wet_node, drying_node = run_node(a, exposure, (0.0, 1.0, drying_wetness), STEP_S, first)
    dry = film_on_face(a, dry_node.middle(), 0.0)
    wet = film_on_face(a, wet_node.middle(), 1.0)
    rain = np.zeros_like(fine.rain_mm) if exposure.roofed else fine.rain_mm
    evaporated = np.where(fine.unknown, np.nan, wet.evaporation * STEP_S)
    return Surroundings(
        fine=fine,
        exposure=exposure,
        air=a,
        dry_node=dry_node,
        wet_node=wet_node,
        drying_node=drying_node,
        dry=dry,
        wet=wet,
        face_water=_face_water(evaporated, rain / 4.0, water_held),
        rain_stops=~(rain < rain_hour),  # an unknown hour dries nothing
    )


def _face_water(evaporated: F, rain: F, held: float) -> F:
    """Water on a bare upright face: rain and dew in, evaporation out, no more than it holds.

    An unknown hour may have soaked the face or left it as it was: the water is
    unknown from there until both have come to the same.
    """
    gain = np.where(rain > 0.0, rain, -evaporated)
    hidden = ~(np.isfinite(rain) & np.isfinite(evaporated))
    least = _held(np.where(hidden, 0.0, gain), held)
    if not hidden.any():
        return least
    most = _held(np.where(hidden, held, gain), held)
    return np.where(most - least > 1e-9, np.nan, least)


def _held(gain: F, held: float) -> F:
    """Running sum of gains kept between nothing and what a face holds, (members, K + 1)."""
    members, steps = gain.shape
    out = np.zeros((steps + 1, members))  # steps first: the loop walks along whole rows
    for k, row in enumerate(np.ascontiguousarray(gain.T)):
        out[k + 1] = np.minimum(np.maximum(out[k] + row, 0.0), held)
    return np.ascontiguousarray(out.T)


@dataclass(frozen=True, eq=False)
class _Clock:
    """A running total built on a reference log, and how a warmer log behind the face would move it."""

    totals: F  # (members, K + 1), never falling
    pull: F  # (members, K + 1): all that one kelvin of difference still adds from here on
    fading: F  # (members, K + 1): running total of the decay of a difference

    def added(self, start: F, end: F) -> F:
        """What one kelvin at ``start`` adds until ``end``."""
        return self._added(clocks.at(self.pull, start), clocks.at(self.fading, start), end)

    def _added(self, pull: F, fading: F, end: F) -> F:
        until = np.exp(fading - clocks.at(self.fading, end))
        return pull - until * clocks.at(self.pull, end)

    def reach(self, start: F, difference: F, amount: F | float) -> F:
        """When the clock has moved by ``amount`` since ``start``, on a log ``difference`` K warmer."""
        wanted = clocks.at(self.totals, start) + amount
        wanted = np.where(np.isfinite(start), wanted, np.inf)
        when = clocks.reach(self.totals, wanted)
        pull, fading = clocks.at(self.pull, start), clocks.at(self.fading, start)
        for _ in range(ROUNDS):
            extra = difference * self._added(pull, fading, when)
            when = np.maximum(clocks.reach(self.totals, wanted - extra), start)
        return when


def _clock(rate: F, per_kelvin: F, decay: F, debt_held: float = 0.0) -> _Clock:
    """A clock from a rate per second; dew (a negative rate) is a debt of at most ``debt_held``."""
    fading = clocks.total(decay, STEP_S)
    keep = np.exp(-decay * STEP_S)
    pull = np.zeros(fading.shape[::-1])  # steps first: the loop walks along whole rows
    added, keep = np.ascontiguousarray(per_kelvin.T) * STEP_S, np.ascontiguousarray(keep.T)
    for k in range(added.shape[0] - 1, -1, -1):
        pull[k] = added[k] + keep[k] * pull[k + 1]
    if debt_held:
        rate = _after_debt(rate * STEP_S, debt_held) / STEP_S
    return _Clock(clocks.total(rate, STEP_S), np.ascontiguousarray(pull.T), fading)


def _after_debt(lost: F, held: float) -> F:
    """Water lost in each step once the dew that fell before has left again."""
    steps = np.array(lost.T, order="C")
    debt = np.zeros(lost.shape[0])
    for k, row in enumerate(steps):
        rest = debt - row
        steps[k] = np.maximum(-rest, 0.0)
        debt = np.minimum(np.maximum(rest, 0.0), held)
    return np.ascontiguousarray(steps.T)


class FilmClocks:
    """Milestones of a coating for any number of starts and all members by sorted search."""

    def __init__(self, place: Surroundings, coating: Coating, drying_wetness: float) -> None:
        self.place = place
        self.coating = coating
        drying = film_on_face(place.air, place.drying_node.middle(), drying_wetness)
        factor = place.fine.drying
        still = place.rain_stops

        def lost(state: FaceState, wetness: float) -> tuple[F, F]:
            """Evaporation per unit of wetness and what a kelvin of log adds; none while it rains."""
            rate = np.where(still, np.minimum(state.evaporation, 0.0), state.evaporation) * factor
            share = np.where(rate > 0.0, 1.0 / wetness, 1.0)
            more = np.where((rate > 0.0) & ~still, state.evaporation_per_core, 0.0) * factor
            return np.nan_to_num(rate * share), np.nan_to_num(more / wetness)

        held = coating.water_kgm2  # more dew than that runs off
        self.water = _clock(*lost(place.wet, 1.0), place.wet_node.decay, held)
        self.falling = _clock(*lost(drying, drying_wetness), place.drying_node.decay, held)
        wet_here = place.wet.surface_c + place.wet.per_core * (
            place.drying_node.middle() - place.wet_node.middle()
        )
        fusing_c = MIX * wet_here + (1.0 - MIX) * drying.surface_c
        self.fusing = self._dose_clock(fusing_c, drying.per_core, place.drying_node)
        self.fusing_dry = self._dose_clock(place.dry.surface_c, place.dry.per_core, place.dry_node)

    def _dose_clock(self, surface_c: F, per_core: F, node: Node) -> _Clock:
        shift = self.place.fine.film_k
        rate = film_rate(surface_c, self.coating, shift)
        warmer = film_rate(surface_c + 0.5, self.coating, shift)
        colder = film_rate(surface_c - 0.5, self.coating, shift)
        scale = 1.0 / (self.coating.coalescence_h * 3600.0)
        slope = np.nan_to_num((warmer - colder) * per_core) * scale
        return _clock(np.nan_to_num(rate) * scale, slope, node.decay)

    def milestones(self, starts: Sequence[int] | I) -> Milestones:
        """Milestones of a coat brushed on at each start.

        Parameters
        ----------
        starts : (S,) grid steps

        Returns
        -------
        Milestones with arrays (members, S).
        """
        c, place = self.coating, self.place
        index = np.asarray(starts, np.int64)
        start = np.broadcast_to(index.astype(float), (place.fine.members, index.size))
        first = place.dry_node.temperature_c[:, index]
        warmer = first - place.wet_node.temperature_c[:, index]
        thick = c.water_kgm2 * c.thick_factor
        touch = self.water.reach(start, warmer, _touch_amount(c))
        critical = self.water.reach(start, warmer, thick * (1.0 - c.w_crit))
        frost = self.water.reach(start, warmer, thick * _wet_share(c, c.w_frost))
        packed = (
            frost
            if c.w_rain == c.w_frost
            else self.water.reach(start, warmer, thick * _wet_share(c, c.w_rain))
        )
        log_c = self._log_at(start, warmer, critical)
        apart = log_c - clocks.at(place.drying_node.temperature_c, critical)
        dosed = self.fusing.reach(critical, apart, c.dose_rain)
        rain = np.maximum(packed, dosed)
        apart = self._log_at(start, warmer, packed) - clocks.at(place.drying_node.temperature_c, packed)
        left = thick * c.w_crit
        pale = self.falling.reach(packed, apart, left * np.log(c.w_rain / (2.0 * c.w_dry)))
        bone = self.falling.reach(packed, apart, left * np.log(c.w_rain / c.w_dry))
        return Milestones(touch, frost, rain, np.maximum(bone, self._fused(critical, pale, log_c)))

    def _log_at(self, start: F, warmer: F, when: F) -> F:
        """Temperature of a start's own log under its wet film at ``when``."""
        fading = np.exp(clocks.at(self.water.fading, start) - clocks.at(self.water.fading, when))
        return clocks.at(self.place.wet_node.temperature_c, when) + warmer * fading

    def _fused(self, critical: F, pale: F, log_c: F) -> F:
        """When the film has closed: on the drying face until little water is left, then on the dry one."""
        node = self.place.drying_node.temperature_c
        apart = log_c - clocks.at(node, critical)
        early = self.fusing.reach(critical, apart, 1.0)
        dose = clocks.at(self.fusing.totals, pale) - clocks.at(self.fusing.totals, critical)
        dose = dose + apart * self.fusing.added(critical, pale)
        end = clocks.at(node, pale)
        rest = np.maximum(1.0 - dose, 0.0)
        late = self.fusing_dry.reach(pale, end - clocks.at(self.place.dry_node.temperature_c, pale), rest)
        return np.where(early <= pale, early, late)


def _wet_share(c: Coating, left: float) -> float:
    """Evaporation of a free water film, in units of the coat's water, until ``left`` of it remains."""
    if left >= c.w_crit:
        return 1.0 - left
    return 1.0 - c.w_crit + c.w_crit * float(np.log(c.w_crit / left))


def _touch_amount(c: Coating) -> float:
    """Evaporation until touch-dry; a data sheet's slower time wins."""
    return max(c.water_kgm2 * _wet_share(c, c.w_touch), c.touch_kgm2 or 0.0)


# ---------------------------------------------------------------- stepping


@dataclass(frozen=True, eq=False)
class Stepped:
    """What stepping found: milestones and the coldest film, (members, starts)."""

    milestones: Milestones
    film_c: F  # temperature of the thick film in each step after the start, (steps, members, starts)


def step_film(
    place: Surroundings, coating: Coating, starts: Sequence[int] | I, hours: float = 96.0
) -> Stepped:
    """Integrate film, face and log together for some starts in all members.

    Quarter-hour steps; water is exact inside a step for the stage it is in.
    Nominal film and thick spots are each followed on a log of their own.
    """
    index = np.asarray(starts, np.int64)
    lanes = _Lanes(place, coating, index)
    last = min(round(hours * 4), place.fine.steps - int(index.min(initial=place.fine.steps)))
    for offset in range(last):
        if not lanes.step(offset):
            break
    return lanes.result()


def film_series(place: Surroundings, stepped: Stepped, column: int, start: int) -> F:
    """Film temperature of one stepped start on the whole grid, (members, steps); the wet face outside it."""
    film = place.wet.surface_c.copy()
    trace = stepped.film_c[:, :, column][: film.shape[1] - start]
    film[:, start : start + trace.shape[0]] = trace.T
    return film


def by_most(times: F, share: float) -> float | None:
    """Time by which ``share`` of the members have reached a milestone; None when they do not."""
    ordered = np.sort(times)
    rank = min(int(np.ceil(share * ordered.size)) - 1, ordered.size - 1)
    return float(ordered[rank]) if np.isfinite(ordered[rank]) else None


class _Lanes:
    """All lanes (film, member, start) side by side."""

    def __init__(self, place: Surroundings, coating: Coating, index: I) -> None:
        self.place, self.c, self.index = place, coating, index
        members, starts = place.fine.members, index.size
        self.amount = np.array([coating.water_kgm2, coating.water_kgm2 * coating.thick_factor])[:, None, None]
        self.water = np.broadcast_to(self.amount, (2, members, starts)).copy()
        self.enthalpy = np.broadcast_to(place.dry_node.enthalpy[:, index], (2, members, starts)).copy()
        self.dose = np.zeros((2, members, starts))
        self.when = {
            n: np.full((members, starts), np.inf) for n in ("touch_dry", "frost_safe", "w_rain", "w_dry")
        }
        self.dosed = {n: np.full((members, starts), np.inf) for n in ("dose_rain", "dose_dry")}
        self.spent = np.zeros((members, starts))
        self.sheet = np.full((members, starts), 0.0 if coating.touch_kgm2 is None else np.inf)
        self.trace: list[F] = []

    def step(self, offset: int) -> bool:
        place, c = self.place, self.c
        k = self.index + offset
        inside = k < place.fine.steps
        k = np.minimum(k, place.fine.steps - 1)
        known = ~place.fine.unknown[:, k] & inside
        a = place.air.pick((slice(None), k))
        exposure = place.exposure
        warm = self.enthalpy - exposure.core_ice
        core = np.where(self.enthalpy < 0.0, self.enthalpy, np.maximum(warm, 0.0)) / exposure.core_heat
        share = np.clip(self.water / self.amount / c.w_crit, 0.0, 1.0)
        state = film_on_face(a, core, share)
        fade = exposure.core_conductance / exposure.core_heat * (1.0 - state.per_core)
        heat = exposure.core_conductance * (state.surface_c - core) * -np.expm1(-fade * STEP_S) / fade
        self.enthalpy = np.where(known, self.enthalpy + heat, self.enthalpy)
        self.trace.append(np.where(known, state.surface_c[1], np.nan))
        self._dry(state, share, place.rain_stops[:, k], known, k)
        return bool(np.any(~np.isfinite(np.maximum(self._dry_time(), self.sheet)) & inside))

    def _dry(
        self, state: FaceState, share: F, rain: NDArray[np.bool_], known: NDArray[np.bool_], k: I
    ) -> None:
        c, before = self.c, self.water
        rate = state.evaporation * self.place.fine.drying[:, :1]
        rate = np.where(rain, np.minimum(rate, 0.0), rate)
        rate = np.where(known, rate, 0.0) * STEP_S
        line = self.amount * c.w_crit
        free = np.maximum(before - line, 0.0)
        full = np.where(rate > 0.0, rate / np.maximum(share, 1e-9), 0.0)  # at full wetness
        first = np.where(free > 0.0, np.minimum(free / np.maximum(full, 1e-15), 1.0), 0.0)
        after = np.where(
            first < 1.0, np.minimum(before, line) * np.exp(-full * (1.0 - first) / line), before - full
        )
        after = np.where(rate > 0.0, after, np.minimum(before - rate, 1.5 * self.amount))
        self.water = after
        step = np.broadcast_to(k, known.shape)
        left = after / self.amount
        held = before / self.amount
        self._cross("touch_dry", held[0], left[0], c.w_touch, step)
        if c.touch_kgm2 is not None:
            self._spend(full[0], c.touch_kgm2, step)
        self._cross("frost_safe", held[1], left[1], c.w_frost, step)
        self._cross("w_rain", held[1], left[1], c.w_rain, step)
        self._cross("w_dry", held[1], left[1], c.w_dry, step)
        self._fuse(state, after, first, known, step)

    def _spend(self, full: F, wanted: float, step: I) -> None:
        """Count what a free film would have lost, towards the sheet's own touch-dry."""
        after = self.spent + full
        crossed = (after >= wanted) & ~np.isfinite(self.sheet)
        part = np.clip((wanted - self.spent) / np.maximum(full, 1e-15), 0.0, 1.0)
        self.sheet = np.where(crossed, step + part, self.sheet)
        self.spent = after

    def _cross(self, name: str, before: F, after: F, line: float, step: I) -> None:
        crossed = (after <= line) & ~np.isfinite(self.when[name])
        part = np.clip((before - line) / np.maximum(before - after, 1e-15), 0.0, 1.0)
        self.when[name] = np.where(crossed, step + part, self.when[name])

    def _fuse(self, state: FaceState, after: F, first: F, known: NDArray[np.bool_], step: I) -> None:
        c = self.c
        rate = film_rate(state.surface_c, c, self.place.fine.film_k[:, :1]) / (c.coalescence_h * 4.0)
        time = np.where(after <= self.amount * c.w_crit, 1.0 - first, 0.0)
        before = self.dose[1]
        self.dose = self.dose + np.where(known, rate * time, 0.0)
        for name, line in (("dose_rain", c.dose_rain), ("dose_dry", 1.0)):
            crossed = (self.dose[1] >= line) & ~np.isfinite(self.dosed[name])
            part = np.clip((line - before) / np.maximum(self.dose[1] - before, 1e-15), 0.0, 1.0)
            self.dosed[name] = np.where(crossed, step + part, self.dosed[name])

    def _dry_time(self) -> F:
        return np.asarray(np.maximum(self.when["w_dry"], self.dosed["dose_dry"]))

    def result(self) -> Stepped:
        milestones = Milestones(
            touch_dry=np.maximum(self.when["touch_dry"], self.sheet),
            frost_safe=self.when["frost_safe"],
            rain_safe=np.maximum(self.when["w_rain"], self.dosed["dose_rain"]),
            dry=self._dry_time(),
        )
        empty = np.empty((0, *self.spent.shape))
        return Stepped(milestones, np.stack(self.trace) if self.trace else empty)
