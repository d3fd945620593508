"""The calendar feed with 20, 500 and 5,000 logs: time, size, and requests a second of who has it already.

Run by hand, with nothing else busy:  python tests/bench/bench_feed.py [--runs 9] [--quick]

Made and asked in this process through the whole application (guard, routes). The named reference of the 304
is the web library's own StaticFiles with the same bytes and an If-None-Match that fits, in the same run, both
called as ASGI applications so that no client's work is measured. In the yards every log has one end due and
a look, and a span stands on each of ten days.
"""

from __future__ import annotations

import argparse
import asyncio
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path
from statistics import median
from typing import Any

from gathered import tell

sys.path.insert(0, str(Path(__file__).parents[1]))

from feed_samples import FeedYard
from reminder_samples import AT, DAY, job, log, moved, span, wanted
from starlette.staticfiles import StaticFiles

SIZES = (20, 500, 5000)
WOODS = ("wild cherry", "walnut", "oak", "pear", "elm")


def yard_with(folder: Path, count: int) -> FeedYard:
    """A yard of so many logs, its reminders put."""
    folder.mkdir()
    yard = FeedYard(folder)
    logs = [
        log(f"H{n:04}", species=None, species_said=WOODS[n % len(WOODS)], entry=n + 1) for n in range(count)
    ]
    jobs = [job(tag=one.tag, cause=one.entry) for one in logs]
    jobs += [
        job("look", one.tag, due=AT + n % 5 * DAY, cause=one.entry, why="clear or milky?")
        for n, one in enumerate(logs)
    ]
    yard.wants(wanted(jobs, logs, [moved(span(), n * DAY) for n in range(10)]))
    return yard


async def ask(app: Any, path: str, headers: dict[str, str]) -> tuple[int, dict[str, str], bytes]:
    """One request to an ASGI application."""
    where, _, query = path.partition("?")
    said: list[Any] = []
    named = {"host": "localhost", **headers}
    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "GET", "scheme": "http",
        "path": where, "raw_path": where.encode(), "query_string": query.encode(), "root_path": "",
        "headers": [(k.encode(), v.encode()) for k, v in named.items()],
        "server": ("localhost", 80), "client": ("127.0.0.1", 1),
    }  # fmt: skip

    asked: list[bool] = []

    async def receive() -> dict[str, Any]:
        if asked:
            await asyncio.Event().wait()  # the client stays
        asked.append(True)
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        said.append(message)

    await app(scope, receive, send)
    found = {k.decode(): v.decode() for k, v in said[0]["headers"]}
    return said[0]["status"], found, b"".join(m.get("body", b"") for m in said[1:])


async def a_second(app: Any, path: str, count: int) -> float:
    """Requests a second with the tag that fits."""
    _, headers, _ = await ask(app, path, {})
    tag = {"if-none-match": headers["etag"]}
    begin = time.perf_counter()
    for _ in range(count):
        status, _, _ = await ask(app, path, tag)
        assert status == 304
    return count / (time.perf_counter() - begin)


async def measured(folder: Path, size: int, runs: int, count: int) -> None:
    """One yard: made new, given ready, and the 304 beside the static file's."""
    yard = yard_with(folder / str(size), size)
    yard.clock.goes(timedelta(seconds=5))
    room = yard.app.state.room
    new, ready = [], []
    for _ in range(runs):
        room.feeds.clear()
        begin = time.perf_counter()
        status, _, data = await ask(yard.app, yard.path, {})
        new.append(time.perf_counter() - begin)
        assert status == 200
        begin = time.perf_counter()
        await ask(yard.app, yard.path, {})
        ready.append(time.perf_counter() - begin)
    static = folder / f"static{size}"
    static.mkdir()
    (static / "feed.ics").write_bytes(data)
    files = StaticFiles(directory=static)
    ours, theirs = [], []
    for _ in range(runs):
        ours.append(await a_second(yard.app, yard.path, count))
        theirs.append(await a_second(files, "/feed.ics", count))
    mine, its = median(ours), median(theirs)
    ms = [1000 * median(times) for times in (new, ready)]
    print(
        f"{size} logs: {len(data) / 1000:.1f} kB, made new in {ms[0]:.1f} ms, given ready in {ms[1]:.2f} ms; "
        f"not changed: {mine:,.0f} a second, a static file {its:,.0f} ({mine / its:.1f} times as many)",
        flush=True,
    )
    tell(f"feed of {size} logs, 304", f"{mine:,.0f} a second", mine / its, "StaticFiles of the web library")
    room.desk.close()


def main() -> None:
    """All sizes."""
    ask_ = argparse.ArgumentParser(description=__doc__)
    ask_.add_argument("--runs", type=int, default=9)
    ask_.add_argument("--quick", action="store_true", help="fewer requests")
    given = ask_.parse_args()
    with tempfile.TemporaryDirectory() as name:
        for size in SIZES:
            asyncio.run(
                measured(Path(name), size, 3 if given.quick else given.runs, 200 if given.quick else 1000)
            )


if __name__ == "__main__":
    main()
