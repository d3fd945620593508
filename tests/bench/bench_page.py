"""The page with 20, 500 and 5,000 logs: time and size of the screens, and of a tap with the page after it.

Run by hand, with nothing else busy:  python tests/bench/bench_page.py [--runs 9] [--quick]

Asked in this process, through the whole application (guard, routes, templates), on the demo's weather, with
the morning worked out before: it is worked out again in the background, not while a phone waits. The named
reference is the web library's own static file, the same bytes from disk, in the same run.
"""

from __future__ import annotations

import argparse
import logging
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from statistics import median

from gathered import tell
from starlette.applications import Starlette
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles
from starlette.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parents[1]))

from page_browser import Browser, client_of
from page_samples import TUESDAY, demo_forecast, demo_yard

from scheduler.settings import load_yard
from scheduler.sources import open_register
from scheduler.web.app import create_app
from scheduler.yard.book import By, add_logs
from scheduler.yard.facts import Moment, Register
from scheduler.yard.newlog import NewLog

SCREENS = ("/", "/logs", "/logs?from=475", "/catch-up", "/log/B1", "/add", "/reminders", "/calendar")
WOODS = ("Quercus robur", "Juglans regia", "Prunus avium", "Fagus sylvatica", "Fraxinus excelsior")


def milliseconds(act: Callable[[], object], runs: int) -> float:
    """The middle of the runs of one act."""
    took = []
    for _ in range(runs):
        begin = time.perf_counter()
        act()
        took.append(time.perf_counter() - begin)
    return 1e3 * median(took)


def filled(folder: Path, count: int) -> Path:
    """A yard file with so many logs, cut in the last two months, two of five coated once."""
    file = demo_yard(folder, logs=False)
    yard = load_yard(file)
    asked = [
        NewLog(
            tag=f"B{n}",
            species=WOODS[n % 5],
            butt_cm=30.0 + n % 40,
            top_cm=28.0 + n % 35,
            length_cm=200.0 + n % 7 * 50,
            cut=Moment(TUESDAY - timedelta(days=1.0 + n % 60)),
        )
        for n in range(1, count + 1)
    ]
    by = By(yard.yard.key, TUESDAY - timedelta(hours=1))
    with open_register(yard) as store:
        store.append(yard.yard.key, lambda _known: add_logs(asked, Register(by.at), by).entries)
    return file


def static(folder: Path, body: bytes) -> TestClient:
    """The named reference: the library's own static file, of the same size."""
    (folder / "page.html").write_bytes(body)
    return client_of(Starlette(routes=[Mount("/", StaticFiles(directory=folder))]))


def measured(count: int, runs: int) -> None:
    """One yard: each screen, and a tap with the page that follows."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        file = filled(folder, count)
        app = create_app(
            file, clock=lambda: TUESDAY, forecast=demo_forecast(folder), behind=lambda _work: None
        )
        desk, browser = app.state.room.desk, Browser(app)
        begin = time.perf_counter()
        desk.view()
        print(
            f"\n{count:,} logs; the morning in the background {1e3 * (time.perf_counter() - begin):,.0f} ms"
        )
        if count <= 500:
            desk.plan()
        reference = 0.0
        for path in SCREENS:
            body = browser.client.get(path).content
            took = milliseconds(lambda path=path: browser.client.get(path), runs)
            served = static(folder / "out", body) if (folder / "out").mkdir(exist_ok=True) is None else None
            assert served is not None
            reference = milliseconds(lambda served=served: served.get("/page.html"), runs)
            print(
                f"  {path:16} {took:8.1f} ms {len(body) / 1e3:7.1f} kB {took / reference:8.1f} times the file"
            )
            if path in ("/", "/logs"):
                told = f"{took:.1f} ms, {len(body) / 1e3:.0f} kB"
                tell(f"{count:,} logs, {path}", told, reference / took, "the web library's static file")
        tags = iter(range(1, count + 1))

        def tap() -> None:
            browser.open(f"/log/B{next(tags)}").tap("/note", "Coated")

        took = milliseconds(tap, min(runs, 7))
        print(f"  {'a tap':16} {took:8.1f} ms, the log's page before and after it counted in")
        tell(f"{count:,} logs, a tap", f"{took:.0f} ms", reference / took, "a static file, once")


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=9)
    parser.add_argument("--quick", action="store_true", help="without the 5,000 logs")
    options = parser.parse_args()
    logging.disable(logging.WARNING)
    for count in (20, 500) if options.quick else (20, 500, 5000):
        measured(count, options.runs)


if __name__ == "__main__":
    main()
