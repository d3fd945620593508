"""How long the plan takes and how good it is, against the solver HiGHS (highspy) in the same run; and memory.

Run by hand, with nothing else busy:  python tests/bench/bench_plan.py [--quick] [--seconds 600] [--runs 5]

Two made yards of 100 logs over 16 days, both ways on one thread. "mild": every third day has a span of two to
four hours with a chance that changes by the hour, two people on two days a week, some second coats.
"hard": as the yards of the tests (chances that change every quarter hour, two places, short sessions). HiGHS
solves the same problem until it is proven, or the seconds are over: then its bound is told, and our plan
is held against that. Before that a real yard (the demo's logs, again and again) from forecast to plan. With
``--quick`` only the mild one, with ``--yard`` only the real one. Then 500 logs, ours alone, with the most
memory that Python took for it.
"""

from __future__ import annotations

import argparse
import sys
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from gathered import tell
from morning_samples import at, register, yard_of
from plan_samples import Yard, coat, day_slots, other, random_yard, rules
from week_samples import forecast

from scheduler.planning.plan import After
from scheduler.planning.plan_exact import NoSolverError, exact_plan
from scheduler.planning.planner import hands_price, make_plan
from scheduler.service import Asked, picture, week_ahead
from scheduler.yard.facts import Register

DAYS = 16


def mild_yard(logs: int, seed: int = 7) -> Yard:
    """An autumn: spans of some hours every third day or so."""
    r = np.random.default_rng(seed)
    slots = []
    for day in range(DAYS):
        people = 2 if day % 7 in (1, 5) else 1
        whole = day_slots(day, people=people, chance=None)
        if day % 3 == 1:
            first, hours = int(r.integers(9, 12)), int(r.integers(2, 5))
            by_hour = r.choice([0.4, 0.6, 0.7, 0.8, 0.9], 24)
            whole = [
                replace(s, chance={"yard": float(by_hour[s.start.hour])})
                if first <= s.start.hour < first + hours
                else s
                for s in whole
            ]
        slots += whole
    tasks = []
    for n in range(logs):
        tag, worth = f"H{n:03d}", float(r.lognormal(1.5, 0.8))
        cut = r.random() < 0.15
        kind = "cut_and_coat" if cut else "first_coat"
        minutes, people = (15.0, 2) if cut else (5.0, 1)
        for end in ("butt", "top"):
            tasks.append(coat(tag, slots, worth, end, kind, minutes=minutes, people=people, litres=0.15))
            if n % 3 == 0:
                after = (After((tag, end, kind), 20.0),)
                tasks.append(coat(tag, slots, 0.4 * worth, end, "second_coat", after=after, litres=0.1))
        if n % 5 == 0:
            tasks.append(other(tag, slots, "look", 0.2))
    return Yard(tasks, slots, rules(litres=20.0))


def seconds_of(act: Callable[[], object], runs: int) -> float:
    """The middle of the runs of one act."""
    took = []
    for _ in range(runs):
        begin = time.perf_counter()
        act()
        took.append(time.perf_counter() - begin)
    return median(took)


def against(name: str, yard: Yard, seconds: float, runs: int) -> None:
    """One yard, both ways."""
    given = (yard.tasks, yard.slots, yard.rules)
    ours = make_plan(*given)
    took = seconds_of(lambda: make_plan(*given), runs)
    prices = seconds_of(lambda: hands_price(*given), runs)
    print(f"{name}: {len(yard.tasks)} tasks, {len(yard.slots)} slots of time")
    print(f"  ours    {took:8.2f} s  keeps {ours.value:9.2f}  says: within {ours.optimal_within:.2%}")
    print(f"  prices  {prices:8.2f} s")
    begin = time.perf_counter()
    try:
        best = exact_plan(*given, seconds=seconds)
    except NoSolverError as error:
        print(f"  HiGHS   {time.perf_counter() - begin:8.2f} s  {error}")
        return
    spent = time.perf_counter() - begin
    behind = (best.value - ours.value) / best.value
    tell(f"plan of {name}", f"{took:.2f} s, {behind:.2%} behind", spent / took, "HiGHS")
    done = spent < seconds  # stopped by the clock, it proves only a bound
    proven = "proven" if done else f"not proven in the time, within {best.optimal_within:.3%}"
    print(f"  HiGHS   {spent:8.2f} s  keeps {best.value:9.2f}  {proven}")
    print(f"  ours is behind by {behind:.2%} (at most ", end="")
    print(f"{(best.bound - ours.value) / best.bound:.2%}), and {spent / took:.0f} times as fast")


def many_logs(count: int) -> Register:
    """The demo's Tuesday with so many logs: its own again and again, a little larger and smaller."""
    base = register("upland", at("upland", 3))
    logs = [log for log in base.logs if log.state == "in_yard" and not log.saw_first]
    out = []
    for n in range(count):
        scale = 0.8 + 0.4 * (n * 37 % 100) / 100
        log = logs[n % len(logs)]
        ends = tuple(replace(end, diameter_cm=(end.diameter_cm or 45.0) * scale) for end in log.ends)
        out.append(replace(log, tag=f"L{n:03d}", ends=ends))
    return replace(base, logs=tuple(out))


def of_a_yard(count: int, runs: int) -> None:
    """A morning and a week of a real yard: from logs and a forecast to the verdict, and to the plan."""
    facts, yard, told = many_logs(count), yard_of("upland"), forecast(3)
    when = at("upland", 3)
    morning = seconds_of(lambda: picture(yard, facts, told, when), runs)
    week = seconds_of(lambda: week_ahead(yard, facts, told, when, Asked(days=16)), runs)
    found = week_ahead(yard, facts, told, when, Asked(days=16))
    assert found is not None
    short = found.seen.valued is not None and found.seen.valued.hands is not None
    plan = found.week.plan
    print(
        f"{count} logs: morning {morning:.2f} s{' with a price of hands' if short else ''}, "
        f"16 days' plan {week:.2f} s, {len(found.week.work.tasks)} tasks, within {plan.optimal_within:.1%}"
    )
    tell(f"plan of {count} logs of a yard", f"{week:.2f} s", morning / week, "its morning")


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=600.0)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--quick", action="store_true", help="only the mild yard of 100 logs")
    parser.add_argument("--yard", action="store_true", help="only a real yard's morning and week")
    asked = parser.parse_args()
    for count in (16, 100, 500):
        of_a_yard(count, min(asked.runs, 3))
    if asked.yard:
        return
    against("mild, 100 logs x 16 days", mild_yard(100), asked.seconds, asked.runs)
    if not asked.quick:
        against("hard, 100 logs x 16 days", random_yard(5, logs=100, days=DAYS), asked.seconds, asked.runs)
    for name, yard in (("mild", mild_yard(500)), ("hard", random_yard(5, logs=500, days=DAYS))):
        given = (yard.tasks, yard.slots, yard.rules)
        took = seconds_of(lambda given=given: make_plan(*given), min(asked.runs, 3))
        tracemalloc.start()
        plan = make_plan(*given)
        peak = tracemalloc.get_traced_memory()[1] / 2**20
        tracemalloc.stop()
        print(f"{name}, 500 logs x 16 days: {took:.2f} s, {peak:.0f} MB, within {plan.optimal_within:.2%}")


if __name__ == "__main__":
    main()
