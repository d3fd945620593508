"""A weather service on the loopback that plays a script, and a desk that asks it; no other network."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import requests

from scheduler.settings import ForecastSource, Position
from scheduler.weather.fetch import Answer, Manners, ask, latest

NOW = datetime(2025, 11, 3, 5, 47, tzinfo=UTC)
PLACE = Position(lat=48.01234567, lon=8.2)
SECRET = "s3cr3t/key+42"
HTML = b"<!DOCTYPE html><html><head><title>x</title></head><body><h1>Hello &amp; welcome</h1></body></html>"
Step = Callable[[BaseHTTPRequestHandler], None]


def forecast(lat: float = 48.0, lon: float = 8.25, air: float = 8.0) -> bytes:
    """A small good answer."""
    hourly = {
        "time": [f"2025-11-03T{hour:02d}:00" for hour in range(24)],
        "temperature_2m": [air] * 24,
        "dew_point_2m": [1.0] * 24,
        "wind_speed_10m": [9.0] * 24,
        "precipitation": [0.0] * 24,
    }
    units = {
        "time": "iso8601",
        "temperature_2m": "°C",
        "dew_point_2m": "°C",
        "wind_speed_10m": "km/h",
        "precipitation": "mm",
    }
    top = {
        "latitude": lat,
        "longitude": lon,
        "utc_offset_seconds": 0,
        "hourly_units": units,
        "hourly": hourly,
    }
    return json.dumps(top).encode()


class Server:
    """A server that plays a script: one step for each request, the last one again and again."""

    def __init__(self) -> None:
        self.script: list[Callable[[BaseHTTPRequestHandler], None]] = []
        self.paths: list[str] = []
        self.headers: list[dict[str, str]] = []
        self.closing = threading.Event()
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                step = outer.script[min(len(outer.paths), len(outer.script) - 1)]
                outer.paths.append(self.path)
                outer.headers.append(dict(self.headers))
                try:
                    step(self)
                except OSError:
                    self.close_connection = True  # the client went away, as some tests want it to

            def log_message(self, format: str, *args: object) -> None:
                pass

        self.http = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.thread = threading.Thread(
            target=self.http.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True
        )
        self.thread.start()

    @property
    def base(self) -> str:
        return f"http://127.0.0.1:{self.http.server_address[1]}"

    @property
    def url(self) -> str:
        return f"{self.base}/v1/forecast"

    def close(self) -> None:
        self.closing.set()
        self.http.shutdown()
        self.http.server_close()
        self.thread.join()

    def query(self, n: int = -1) -> dict[str, list[str]]:
        return parse_qs(urlsplit(self.paths[n]).query)


def says(body: bytes, status: int = 200, **headers: str) -> Callable[[BaseHTTPRequestHandler], None]:
    """A step that sends one whole answer."""

    def step(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(status)
        for name, value in ({"Content_Length": str(len(body))} | headers).items():
            handler.send_header(name.replace("_", "-"), value)
        handler.end_headers()
        handler.wfile.write(body)

    return step


class Sleeps(list[float]):
    """Records how long it would have slept."""

    def __call__(self, seconds: float) -> None:
        self.append(seconds)


@dataclass
class Desk:
    """Asks one server, with a folder to keep answers in and a clock that is set."""

    server: Server
    session: requests.Session
    folder: Path
    sleeps: Sleeps = field(default_factory=Sleeps)
    true: datetime | None = None  # the true time; None: as it is

    def manners(self, **changes: Any) -> Manners:
        clock = {} if self.true is None else {"clock": lambda: self.true}
        made = Manners(timeout=(2.0, 2.0), sleep=self.sleeps, chance=lambda: 0.5, **clock)
        return replace(made, **changes)

    def source(self, url: str | None = None, path: str = "/v1/forecast", **settings: Any) -> ForecastSource:
        return ForecastSource(url=url or self.server.base + path, **settings)

    def ask(self, place: Position = PLACE, known: Answer | None = None, **settings: Any) -> Answer:
        source = self.source(**settings)
        return ask(
            source,
            place,
            now=NOW,
            session=self.session,
            manners=self.manners(),
            known=known,
            folder=self.folder,
        )

    def latest(
        self, minutes: float = 0.0, place: Position = PLACE, **settings: Any
    ) -> tuple[Answer, str | None]:
        at = NOW + timedelta(minutes=minutes)
        source = self.source(**settings)
        return latest(source, place, self.folder, at, session=self.session, manners=self.manners())


@contextmanager
def running(folder: Path) -> Iterator[Desk]:
    """A desk and its server while the block runs."""
    server = Server()
    try:
        with requests.Session() as session:
            session.trust_env = False  # no proxy of this computer
            yield Desk(server, session, folder)
    finally:
        server.close()


@contextmanager
def another() -> Iterator[Server]:
    """One more server, on another port, which is another host."""
    server = Server()
    try:
        yield server
    finally:
        server.close()
