"""A weather service on the loopback, that can also be slow, out of order, or not there."""

from __future__ import annotations

import json
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit


@dataclass
class Service:
    """What the service answers with, and what it was asked."""

    body: bytes
    status: int = 200
    headers: dict[str, str] = field(default_factory=dict)
    pause: float = 0.0  # seconds before it answers
    asked: list[dict[str, list[str]]] = field(default_factory=list)
    agents: list[str] = field(default_factory=list)
    url: str = ""

    def gives(self, answer: Any, status: int = 200, **headers: str) -> None:
        """From now on it answers so."""
        self.body = answer if isinstance(answer, bytes) else json.dumps(answer).encode()
        self.status, self.headers, self.pause = status, headers, 0.0


@contextmanager
def service(answer: Any) -> Iterator[Service]:
    """A service on a free port while the block runs."""
    state = Service(b"")
    state.gives(answer)

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            state.asked.append(parse_qs(urlsplit(self.path).query))
            state.agents.append(self.headers.get("User-Agent", ""))
            time.sleep(state.pause)
            self.send_response(state.status)
            for name, value in state.headers.items():
                self.send_header(name.replace("_", "-"), value)
            self.send_header("Content-Length", str(len(state.body)))
            self.end_headers()
            try:
                self.wfile.write(state.body)
            except OSError:  # the asker did not wait
                self.close_connection = True

        def log_message(self, format: str, *args: Any) -> None:
            """Says nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    state.url = f"http://127.0.0.1:{server.server_address[1]}/v1/forecast"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        yield state
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def dead_url() -> str:
    """An address on this machine where nobody listens."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return f"http://127.0.0.1:{free.getsockname()[1]}/v1/forecast"
