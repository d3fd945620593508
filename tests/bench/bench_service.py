"""What the running service costs: rounds, memory, delivery, start, and how often it speaks.

Run by hand, with nothing else busy:  python tests/bench/bench_service.py [--due 5000] [--days 30]

- Rounds without and with a plan (an empty plan: reconciling and the outbox alone), on an SQLite file.
- Memory after simulated days of a round every five minutes.
- Delivery of due messages to a web receiver here, beside the plainest way to the same: a loop that
  calls ``requests.Session.post`` for each and remembers nothing. And to a file, beside the table ``queue`` of
  the plainest durable kind: ``sqlite3`` by hand, one UPDATE and commit (synchronous FULL) a message.
- From ``coatcast serve`` to its first finished round.
- Messages a week in a simulated November and January: the demo's yard, its logs, and the weather of its story
  moved along, nobody doing anything (the most that there can be to say).
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import socket
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections import Counter
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

import requests
from gathered import tell
from notice_samples import AT, Clock, Post, mornings, notice, wants, yard_of

from scheduler.demo import demo_entries
from scheduler.settings import load_yard
from scheduler.sources import forecast_of
from scheduler.tick import plan_of, tick
from scheduler.yard.store import open_store

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo"
HOUR = timedelta(hours=1)
ASKED = (2.1, 5.0, 8.0, 10.1, 12.0, 14.8)  # after 5:00 in the yard: 7:06, 10:00, 13:00, 15:06, 17:00, 19:48


def memory_mb() -> float:
    """Resident memory now."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * resource.getpagesize() / 1e6


def rounds(folder: Path) -> None:
    """Rounds a second, on a file, every commit on the disk."""
    yard = yard_of(folder)
    for name, force, count in (("without a plan", False, 500), ("with an empty plan", True, 300)):
        with open_store(f"sqlite:///{folder / f'{force}.db'}") as store:
            clock = Clock()
            tick(store, yard, clock, plan=wants(), sender=Post())
            begin = time.perf_counter()
            for _ in range(count):
                clock.goes(timedelta(seconds=1))
                tick(store, yard, clock, plan=wants(), sender=Post(), force=force)
            took = (time.perf_counter() - begin) / count
            commit = _commits(folder, count)
            print(f"rounds {name}: {1 / took:.0f} a second (as long as {took / commit:.1f} commits by hand)")
            tell(f"a round {name}", f"{took * 1000:.1f} ms", commit / took, "one commit by sqlite3 by hand")


def flat(folder: Path, days: int) -> None:
    """Memory and size of the database over simulated days, a round every five minutes."""
    yard = yard_of(folder)
    with open_store(f"sqlite:///{folder / 'flat.db'}") as store:
        clock, seen = Clock(), []
        for day in range(days):
            for _ in range(288):
                tick(store, yard, clock, plan=mornings, sender=Post())
                clock.goes(timedelta(minutes=5))
            if day in (0, days // 3, 2 * days // 3, days - 1):
                seen.append((day + 1, memory_mb()))
    print("memory by day:", ", ".join(f"{day}: {mb:.1f} MB" for day, mb in seen))
    first, last = seen[0][1], seen[-1][1]
    tell(f"memory after {days} simulated days", f"{last:.0f} MB", first / last, "after the first day")


class Web:
    """A receiver that takes everything."""

    def __enter__(self) -> Web:
        class Takes(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self) -> None:
                self.rfile.read(int(self.headers["Content-Length"]))
                self.send_response(200)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Takes)
        self.server.daemon_threads = True
        threading.Thread(target=self.server.serve_forever, daemon=True).start()
        self.url = f"http://127.0.0.1:{self.server.server_address[1]}/"
        return self

    def __exit__(self, *_: object) -> None:
        self.server.shutdown()


def delivered(folder: Path, count: int) -> None:
    """Due messages through web and file, beside the plainest ways."""
    many = [notice(f"look/{n}", lines=["Look at H01."]) for n in range(count)]
    with Web() as web:
        body = json.dumps({"subject": "Seal today", "text": "Look at H01."}).encode()
        with requests.Session() as session:
            session.trust_env = False
            begin = time.perf_counter()
            for n in range(count):
                session.post(web.url, data=body, headers={"Idempotency-Key": str(n)}, timeout=10)
            plain = time.perf_counter() - begin
        ours = _all_sent(folder / "web", many, f'[[channel]]\nkind = "push"\naddress = "{web.url}"')
    print(
        f"{count} by web: {ours:.1f} s, {count / ours:.0f} a second; requests in a loop {plain:.1f} s"
        f" (ours takes {ours / plain:.1f} times that)"
    )
    tell(f"{count:,} due messages by web", f"{ours:.1f} s", plain / ours, "requests in a loop, nothing kept")
    queue = _by_hand(folder, count)
    ours = _all_sent(folder / "file", many, None)
    print(
        f"{count} claimed and written down: {ours:.1f} s, {count / ours:.0f} a second; sqlite3 by hand"
        f" {queue:.1f} s (ours takes {ours / queue:.1f} times that)"
    )
    tell(
        f"{count:,} claimed and written down",
        f"{ours:.1f} s",
        queue / ours,
        "sqlite3 by hand, one commit each",
    )


def _all_sent(folder: Path, many: list[object], channel: str | None) -> float:
    folder.mkdir()
    yard = yard_of(folder, *([channel] if channel else []))
    sending = {} if channel else {"sender": Post()}
    with open_store(f"sqlite:///{folder / 'y.db'}") as store:
        tick(store, yard, Clock(), plan=wants(*many), force=True, only=())  # put, not sent
        begin = time.perf_counter()
        done = tick(store, yard, Clock(AT + timedelta(minutes=1)), plan=wants(), **sending)
        took = time.perf_counter() - begin
    assert len(done.delivered.sent) == len(many), (len(done.delivered.sent), done.delivered.waiting[:1])
    return took


def _by_hand(folder: Path, count: int) -> float:
    base = sqlite3.connect(folder / "hand.db", isolation_level=None)
    base.execute("PRAGMA journal_mode = WAL")
    base.execute("PRAGMA synchronous = FULL")
    base.execute("CREATE TABLE queue (id INTEGER PRIMARY KEY, text TEXT, state TEXT)")
    base.execute("BEGIN")
    base.executemany("INSERT INTO queue (text, state) VALUES (?, 'due')", [("Look at H01.",)] * count)
    base.execute("COMMIT")
    begin = time.perf_counter()
    while row := base.execute("SELECT id FROM queue WHERE state = 'due' ORDER BY id LIMIT 1").fetchone():
        base.execute("BEGIN IMMEDIATE")
        base.execute("UPDATE queue SET state = 'sent' WHERE id = ? AND state = 'due'", row)
        base.execute("COMMIT")
    took = time.perf_counter() - begin
    base.close()
    return took


def _commits(folder: Path, count: int) -> float:
    """Seconds for one commit that is on the disk, the plainest way."""
    base = sqlite3.connect(folder / f"commits{time.monotonic_ns()}.db", isolation_level=None)
    base.execute("PRAGMA journal_mode = WAL")
    base.execute("PRAGMA synchronous = FULL")
    base.execute("CREATE TABLE beat (at TEXT)")
    begin = time.perf_counter()
    for n in range(count):
        base.execute("BEGIN IMMEDIATE")
        base.execute("INSERT INTO beat VALUES (?)", (str(n),))
        base.execute("COMMIT")
    took = (time.perf_counter() - begin) / count
    base.close()
    return took


def many(folder: Path, logs: int = 10_000) -> None:
    """A round of a yard with very many logs: with its whole plan, on the demo's weather."""
    home = folder / "many"
    home.mkdir()
    for one in ("yard.toml", "weather.json"):
        (home / one).write_bytes((DEMO / one).read_bytes())
    yard, at = load_yard(home / "yard.toml"), datetime(2025, 11, 4, 5, tzinfo=UTC)
    head, *rows = (DEMO / "logs.csv").read_text(encoding="utf-8").splitlines()
    place = head.split(",").index("tag")
    lines = [head]
    for n in range(logs):
        cells = rows[n % len(rows)].split(",")
        cells[place] = f"L{n:05}"
        lines.append(",".join(cells))
    entries = demo_entries("\n".join(lines) + "\n", yard, datetime(2025, 11, 3, 4, tzinfo=UTC))
    with open_store(yard.store_url) as store:
        store.append(yard.yard.key, lambda _: entries)
        found = forecast_of(yard, at, home / "weather.json", at - HOUR)
        took = []
        for _ in range(2):
            begin = time.perf_counter()
            done = tick(store, yard, Clock(at), plan=plan_of(found), sender=Post(), force=True, only=["file"])
            took.append(time.perf_counter() - begin)
        count = len(done.changes.kept)
    said = f"{logs:,} logs, {count:,} reminders: first round {took[0]:.1f} s, the next {took[1]:.1f} s"
    print(f"{said}, {memory_mb():.0f} MB")


def start(folder: Path) -> None:
    """From the command to the first finished round."""
    home = folder / "start"
    home.mkdir()
    yard = yard_of(home)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    begin = time.perf_counter()
    words = [sys.executable, "-m", "scheduler.cli", "serve", "--yard", str(yard.path), "--port", str(port)]
    process = subprocess.Popen(words, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    log = home / "coatcast.log"
    try:
        while True:
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/health", timeout=1) as answer:
                    if json.load(answer)["last_round"]:
                        break
            except OSError:
                pass
            if time.perf_counter() - begin > 60 or process.poll() is not None:
                print("serve did not start:", log.read_text(encoding="utf-8") if log.exists() else "")
                return
            time.sleep(0.02)
        took = time.perf_counter() - begin
        begin = time.perf_counter()
        subprocess.run([sys.executable, "-c", "import numpy, sqlalchemy"], check=True)
        bare = time.perf_counter() - begin
        print(f"from coatcast serve to its first round: {took:.2f} s")
        tell("from serve to its first round", f"{took:.2f} s", bare / took, "importing numpy and sqlalchemy")
    finally:
        process.terminate()
        process.wait()


def weeks(folder: Path) -> None:
    """Messages a week, by kind, where nobody does anything."""
    text = (DEMO / "logs.csv").read_text(encoding="utf-8")
    for name, first, days in (
        ("November", datetime(2025, 11, 3, 4, tzinfo=UTC), 28),
        ("January", datetime(2026, 1, 5, 4, tzinfo=UTC), 28),
    ):
        home = folder / name
        home.mkdir()
        for one in ("yard.toml", "weather.json"):
            (home / one).write_bytes((DEMO / one).read_bytes())
        yard = load_yard(home / "yard.toml")
        post, clock = Post(), Clock(first)
        with open_store(yard.store_url) as store:
            entries = demo_entries(text, yard, datetime(2025, 11, 3, 4, tzinfo=UTC))
            store.append(yard.yard.key, lambda _, e=entries: e)
            for n in range(days * len(ASKED)):
                clock.at = first + timedelta(days=n // len(ASKED)) + ASKED[n % len(ASKED)] * HOUR
                file = _moved(home, clock.at, cold=name == "January")
                found = forecast_of(yard, clock.at, file, clock.at - HOUR)
                tick(store, yard, clock, plan=plan_of(found), sender=post, force=True, only=["file"])
        kinds = Counter(message.kind for _, message in post.got)
        a_week, lines = len(post.got) / (days / 7), max(m.text.count("\n") + 1 for _, m in post.got)
        print(f"{name}: {a_week:.1f} messages a week, at most {lines} lines each: {dict(kinds)}")
        tell(f"messages a week, {name}", f"{a_week:.1f}", 7 / a_week, "one every morning")


def _moved(folder: Path, at: datetime, *, cold: bool) -> Path:
    """The demo's weather as if it began yesterday; in January twelve degrees colder."""
    told = json.loads((DEMO / "weather.json").read_text(encoding="utf-8"))
    times = told["hourly"]["time"]
    first = datetime.fromisoformat(times[0]).replace(tzinfo=UTC)
    # The story of sixteen days again and again: its day of the month goes on with the clock.
    shift = timedelta(days=((at - first).days // 8) * 8)
    told["hourly"]["time"] = [f"{datetime.fromisoformat(t) + shift:%Y-%m-%dT%H:%M}" for t in times]
    if cold:
        for name in ("temperature_2m", "dew_point_2m"):
            if name in told["hourly"]:
                told["hourly"][name] = [None if v is None else v - 12 for v in told["hourly"][name]]
    file = folder / "moved.json"
    file.write_text(json.dumps(told), encoding="utf-8")
    return file


def main() -> None:
    """All of it."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--due", type=int, default=5000)
    options.add_argument("--days", type=int, default=30)
    options.add_argument("--only", nargs="*", default=["rounds", "flat", "deliver", "start", "many", "weeks"])
    given = options.parse_args()
    os.environ["NO_PROXY"] = "127.0.0.1"
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if "rounds" in given.only:
            rounds(folder)
        if "flat" in given.only:
            flat(folder, given.days)
        if "deliver" in given.only:
            delivered(folder, given.due)
        if "start" in given.only:
            start(folder)
        if "many" in given.only:
            many(folder)
        if "weeks" in given.only:
            weeks(folder)


if __name__ == "__main__":
    main()
