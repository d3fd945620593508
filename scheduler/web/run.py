"""Running the page: one uvicorn worker, loopback unless the Wi-Fi is asked for; the address and its code."""

from __future__ import annotations

import signal
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from io import StringIO
from pathlib import Path
from typing import Any

from scheduler.settings import load_yard
from scheduler.web.app import create_app
from scheduler.web.guard import LOCAL
from scheduler.web.keys import keys_of

__all__ = ["PORT", "addresses", "qr_lines", "run_page", "told"]

PORT = 8732
LOOPBACK = "127.0.0.1"
EVERYWHERE = "0.0.0.0"


def addresses() -> list[str]:
    """This computer's own addresses on its networks, likeliest first; nothing is sent to find them."""
    found: list[str] = []
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737): only the route is looked up
        found.append(str(probe.getsockname()[0]))
    with suppress(OSError):
        found += [str(one[4][0]) for one in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    return [one for one in dict.fromkeys(found) if not one.startswith(("127.", "0."))]


def names() -> list[str]:
    """Names by which this computer may be called."""
    name = socket.gethostname().casefold()
    short = name.partition(".")[0]
    return [name, short, f"{short}.local"]


def qr_lines(address: str) -> list[str]:
    """The address as a code for a phone's camera, in blocks of the terminal; empty without segno."""
    try:
        import segno
    except ImportError:
        return []
    out = StringIO()
    segno.make(address, error="l", micro=False).terminal(out, compact=True, border=2)
    return out.getvalue().splitlines()


def told(file: Path, port: int, lan: bool) -> list[str]:
    """What is printed at the start: the address, and on the Wi-Fi its code."""
    public = load_yard(file).page.address
    outside = [] if public is None else [f"From outside, once: {public}/in/{keys_of(file).page}"]
    if not lan:
        return [
            f"The page: http://localhost:{port}/",
            *(outside or ["Only this computer reaches it; for phones: --lan"]),
        ]
    where = addresses()
    if not where:
        return [f"No network is found; the page: http://localhost:{port}/in/{keys_of(file).page}"]
    address = f"http://{where[0]}:{port}/in/{keys_of(file).page}"
    return [
        f"The page, for phones on the same network: {address}",
        *qr_lines(address),
        "Whoever has this address can read and note. Use a network of your own: nothing is encrypted.",
        f"On this computer: http://localhost:{port}/in/{keys_of(file).page}",
        *outside,
    ]


def _said(line: str) -> None:
    print(line, flush=True)  # a service's journal shows it at once


def run_page(
    yard_file: Path,
    host: str = LOOPBACK,
    port: int = PORT,
    *,
    lan: bool = False,
    hosts: tuple[str, ...] = (),
    plans: bool = True,
    health: Callable[[], dict[str, Any]] | None = None,
    say: Callable[[str], None] = _said,
) -> None:
    """Run the page in this thread until it is stopped (Ctrl-C, SIGTERM).

    Raises
    ------
    OSError
        When the port is taken.
    """
    import uvicorn

    file = yard_file.resolve()
    here = EVERYWHERE if lan and host == LOOPBACK else host
    lan = lan or host not in LOCAL  # whoever else can reach it needs the secret
    family = socket.AF_INET6 if ":" in here else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:  # uvicorn only logs a taken port
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((here, port))
        except OSError as error:
            raise OSError(
                f"Port {port} cannot be used ({error.strerror}). Try another: --port {port + 1}"
            ) from None
    app = create_app(file, hosts=(*names(), *hosts), lan=lan, plans=plans, health=health)
    for line in told(file, port, lan):
        say(line)
    config = uvicorn.Config(
        app, host=here, port=port, log_level="warning", access_log=False, server_header=False,
        proxy_headers=False, timeout_keep_alive=20, limit_concurrency=64, h11_max_incomplete_event_size=32768,
    )  # fmt: skip
    with _signals_end_here():
        uvicorn.Server(config).run()


@contextmanager
def _signals_end_here() -> Iterator[None]:
    """The server raises a signal again once it has stopped by it: whoever runs the page is to go on."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {one: signal.signal(one, lambda *_: None) for one in (signal.SIGTERM, signal.SIGINT)}
    try:
        yield
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)
