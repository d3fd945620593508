"""How long reading an answer takes, beside ``json.loads`` of the same bytes in the same run.

Run by hand, with nothing else busy:  python tests/bench/bench_readers.py [--runs 41] [--profile NAME]

Recorded answers out of the folder that ``COATCAST_PAYLOADS`` names, else ``../shared/payloads``, as far as
they give weather (some lack a column; then a column of humidity is put in, which is said). A family without
one is timed with the sample that the tests make, two days long, which is said too. The two are timed in turn;
the best of the runs counts, as whatever else is busy only adds. What a reader remembers of earlier answers is
forgotten before each. ``--profile`` lists where the time of one file goes.
"""

from __future__ import annotations

import argparse
import cProfile
import json
import os
import pstats
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from statistics import median
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from gathered import tell
from mutations import ANSWERS, STORIES

from scheduler.weather.formats import met_norway, nws_layers, periods, read_answer
from scheduler.weather.series import WeatherError

FOLDER = Path(os.environ.get("COATCAST_PAYLOADS") or Path(__file__).parents[3] / "shared" / "payloads")
AIM = 5.0
REMEMBERED = (nws_layers._interval_hours, periods.parse_duration, periods._beginning, met_norway._code)


def with_humidity(body: bytes) -> bytes:
    """The same hourly columns with one of humidity, for answers that lack it."""
    data: Any = json.loads(body)
    data["hourly"]["relative_humidity_2m"] = [80] * len(data["hourly"]["time"])
    data["hourly_units"]["relative_humidity_2m"] = "%"
    return json.dumps(data, separators=(",", ":")).encode()


def is_read(body: bytes) -> bool:
    """Whether an answer gives weather."""
    try:
        read_answer(body)
    except WeatherError:
        return False
    return True


def answers() -> Iterator[tuple[str, bytes]]:
    """Name and bytes of everything that is timed."""
    families = set()
    for path in sorted(FOLDER.rglob("*.json")) if FOLDER.is_dir() else []:
        body = path.read_bytes()
        name = f"{path.parent.name}/{path.stem}"[:52]
        try:
            added = body if is_read(body) else with_humidity(body)
        except (ValueError, KeyError, TypeError):
            continue
        if is_read(added):
            families.add(read_answer(added).provenance.family)
            yield name + ("" if added is body else " +humidity"), added
    if not families:
        print(f"no recorded answers in {FOLDER}: set COATCAST_PAYLOADS to their folder")
    story = next(iter(STORIES.values()))
    for name, make in ANSWERS.items():
        if name not in families:
            yield f"made here: {name}, 48 hours", json.dumps(make(story), separators=(",", ":")).encode()


def forget() -> None:
    """As in a fresh process."""
    for memory in REMEMBERED:
        memory.cache_clear()


def seconds(act: Callable[[], object]) -> float:
    """Of one call."""
    begin = time.perf_counter()
    act()
    return time.perf_counter() - begin


def timed(body: bytes, runs: int) -> tuple[float, float]:
    """Best milliseconds of decoding alone and of reading, taken in turn."""
    plain, whole = [], []
    for _ in range(runs):
        plain.append(seconds(lambda: json.loads(body)))
        forget()
        whole.append(seconds(lambda: read_answer(body)))
    return 1e3 * min(plain), 1e3 * min(whole)


def profile(body: bytes) -> None:
    """Where the time of one answer goes."""
    meter = cProfile.Profile()
    meter.enable()
    for _ in range(50):
        forget()
        read_answer(body)
    meter.disable()
    pstats.Stats(meter).sort_stats("tottime").print_stats(18)


def main() -> None:
    """One table."""
    parser = argparse.ArgumentParser(description="reading an answer against json.loads")
    parser.add_argument("--runs", type=int, default=41)
    parser.add_argument("--profile", metavar="NAME", help="part of a name in the table")
    asked = parser.parse_args()
    print(f"Python {sys.version.split()[0]}, best of {asked.runs} runs in turn")
    print(f"    {'file':<64} {'kB':>6} {'json.loads ms':>14} {'read ms':>8} {'ratio':>6}")
    ratios = []
    for name, body in answers():
        if asked.profile is not None:
            if asked.profile in name:
                profile(body)
            continue
        plain, whole = timed(body, asked.runs)
        ratios.append(whole / plain)
        print(f"    {name:<64} {len(body) / 1e3:6.0f} {plain:14.2f} {whole:8.2f} {whole / plain:6.1f}")
    if ratios:
        over = sum(ratio > AIM for ratio in ratios)
        tell(
            f"{len(ratios)} answers, the middle one",
            "-",
            1.0 / median(ratios),
            "json.loads of the same bytes",
        )
        print(
            f"    median {median(ratios):.1f}, worst {max(ratios):.1f}; {over} of {len(ratios)} over {AIM:g}"
        )


if __name__ == "__main__":
    main()
