"""Channels as a yard file declares them, messages, and a web receiver on the loopback that plays a script."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from ssl import PROTOCOL_TLS_SERVER, SSLContext
from typing import Any
from zoneinfo import ZoneInfo

import trustme

from scheduler.reminders.channels import Message, Outcome, send

AT = datetime(2025, 11, 3, 5, 47, tzinfo=ZoneInfo("Europe/Berlin"))
NOW = datetime(2025, 11, 3, 4, 47, 30, tzinfo=UTC)
SECRET = "s3cr3t/key+42 ä&"
TOKEN = "tk-5f2c/9+d1%7"
YARD = "Ellerquern"


@dataclass(frozen=True)
class Declared:
    """One [[channel]] with the defaults that the yard file has."""

    kind: str
    name: str | None = None
    path: str | None = None
    address: str | None = None
    command: tuple[str, ...] | None = None
    host: str | None = None
    port: int | None = None
    tls: str = "starttls"
    user: str | None = None
    sender: str | None = None
    secret_env: str | None = None
    secret_file: str | None = None
    ca_file: str | None = None
    format: str = "json"
    method: str = "GET"
    headers: Mapping[str, str] = field(default_factory=dict)
    timeout_s: float | None = None


def notice(key: str = "yard/morning/2025-11-03/email/0", **changes: Any) -> Message:
    """A morning notice."""
    facts: dict[str, Any] = {
        "subject": "Seal: 9 to 1, first H03 walnut butt",
        "text": "Seal: 9 to 1, first H03 walnut butt\nTakes rain by 14:30, past frost by 17:00.\n",
        "at": AT,
        "kind": "morning",
    }
    return Message(key, **(facts | changes))


def sends(channel: Declared, message: Message | None = None) -> Outcome:
    """Send through a channel at ``NOW``."""
    return send(channel, message or notice(), yard_name=YARD, clock=lambda: NOW)


class Authority:
    """An authority of this test run, what it signed for 127.0.0.1, and its certificate as a file."""

    def __init__(self, folder: Path, name: str = "127.0.0.1") -> None:
        ca = trustme.CA()
        self.file = folder / f"ca-{name}.pem"
        ca.cert_pem.write_to_path(str(self.file))
        self.server = SSLContext(PROTOCOL_TLS_SERVER)
        ca.issue_cert(name).configure_cert(self.server)


Step = Callable[[BaseHTTPRequestHandler], None]


def answers(status: int, body: bytes = b"", **headers: str) -> Step:
    """A step that answers so."""

    def step(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(status)
        for name, value in headers.items():
            handler.send_header(name.replace("_", "-"), value)
        handler.send_header("Content-Length", str(len(body)))
        handler.end_headers()
        handler.wfile.write(body)

    return step


@dataclass
class Asked:
    """One request as it came."""

    method: str
    path: str
    headers: dict[str, str]
    body: bytes


class Receiver:
    """A web receiver that plays a script: one step for each request, the last again and again."""

    def __init__(self, *script: Step, context: SSLContext | None = None) -> None:
        self.script = list(script)
        self.asked: list[Asked] = []
        self.closing = threading.Event()
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                step = outer.script[min(len(outer.asked), len(outer.script) - 1)]
                body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
                outer.asked.append(Asked(self.command, self.path, dict(self.headers), body))
                try:
                    step(self)
                except OSError:  # the sender did not wait
                    self.close_connection = True

            do_GET = do_POST  # noqa: N815

            def log_message(self, format: str, *args: object) -> None:
                pass

        class Server(ThreadingHTTPServer):
            daemon_threads = True

            def handle_error(self, *_: object) -> None:
                """A client that hangs up is what some tests want."""

        self.http = Server(("127.0.0.1", 0), Handler)
        if context is not None:
            self.http.socket = context.wrap_socket(self.http.socket, server_side=True)
        scheme = "http" if context is None else "https"
        self.base = f"{scheme}://127.0.0.1:{self.http.server_address[1]}"
        self.thread = threading.Thread(
            target=self.http.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True
        )
        self.thread.start()

    def close(self) -> None:
        """Stop it."""
        self.closing.set()
        self.http.shutdown()
        self.http.server_close()
        self.thread.join()


@contextmanager
def receiver(*script: Step, context: SSLContext | None = None) -> Iterator[Receiver]:
    """A receiver while the block runs."""
    made = Receiver(*script, context=context)
    try:
        yield made
    finally:
        made.close()
