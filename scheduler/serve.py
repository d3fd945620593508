"""The loop: a clock rings once a minute, a round is run; the page, where there is one, in the same process.

An edge. APScheduler only rings; it keeps nothing (memory store), knows nothing
of reminders, and what it forgets in a crash is nothing: every round asks the
database what is due.
"""

from __future__ import annotations

import json
import logging
import signal
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from importlib import import_module
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import Any

from scheduler.delivery import holder_name
from scheduler.health import health
from scheduler.settings import SettingsError, YardFile, load_yard
from scheduler.tick import Planner, Round, plan_of, tick
from scheduler.yard.store import Store, StoreError, open_store

__all__ = ["EVERY", "Bell", "Runner", "log_to", "run_page", "serve"]

EVERY = 60  # s between two rounds: how far off a notice may be
LOG_SIZE, LOG_COUNT = 1_000_000, 5  # bytes of a log file, and how many old ones are kept
PORT = 8732
_LOG = logging.getLogger(__name__)


def now() -> datetime:
    """The true time."""
    return datetime.now(UTC)


class Runner:
    """Runs rounds for one yard file, and lives through whatever goes wrong in one."""

    def __init__(
        self, file: Path, *, clock: Callable[[], datetime] = now, plan: Planner | None = None
    ) -> None:
        self.file = file
        self.clock = clock
        self.yard: YardFile = load_yard(file)
        self.trouble: str | None = None
        self.rounds = 0
        self._plan = plan or plan_of()
        self._seen = file.stat().st_mtime_ns
        self._store: Store | None = None
        self._me = holder_name()
        self._one_at_a_time = threading.Lock()

    def ring(self) -> Round | None:
        """One round; trouble is written down and said, never raised."""
        with self._one_at_a_time:
            try:
                self._reread()
                done = tick(self._opened(), self.yard, self.clock, plan=self._plan, holder=self._me)
            except (StoreError, OSError, ValueError) as error:
                self._tell(str(error))
                self._close()
                return None
            except Exception as error:
                self._tell(f"This round broke down ({type(error).__name__}); please report this.")
                _LOG.exception("a round broke down")
                self._close()
                return None
            self.rounds += 1
            if self.trouble is not None:
                _LOG.warning("works again")
            self.trouble = None
            return done

    def close(self) -> None:
        """Wait for the round in hand, then let go of the database."""
        with self._one_at_a_time:
            self._close()

    def health(self) -> dict[str, Any]:
        """As ``health.health``, also where the database cannot be asked."""
        try:
            with open_store(self.yard.store_url) as store:
                found = health(store, self.yard, self.clock())
        except StoreError as error:
            return {"ok": False, "trouble": str(error)}
        return found | {"ok": found["ok"] and self.trouble is None, "trouble": self.trouble}

    def _tell(self, text: str) -> None:
        if text != self.trouble:  # once, not every minute
            _LOG.error("%s", text)
        self.trouble = text

    def _opened(self) -> Store:
        if self._store is None:
            self._store = open_store(self.yard.store_url)
        return self._store

    def _close(self) -> None:
        if self._store is not None:
            self._store.close()
        self._store = None

    def _reread(self) -> None:
        """The yard file again where it has changed; one that is at fault is told, and the old one kept."""
        changed = self.file.stat().st_mtime_ns
        if changed == self._seen:
            return
        self._seen = changed
        try:
            new = load_yard(self.file)
        except SettingsError as error:
            _LOG.error("the changed yard file is not used: %s", error)
            return
        if new.store_url != self.yard.store_url:
            self._close()
        self.yard = new
        _LOG.info("%s read again", self.file)


# ------------------------------------------------------------------ the bell


class Bell:
    """APScheduler with one job in memory: rings at once, then every so many seconds.

    A round that comes too late is run all the same, once (``coalesce``, no
    ``misfire_grace_time``), never two at a time (``max_instances``).
    """

    def __init__(self, ring: Callable[[], object], every: float = EVERY, *, blocking: bool = True) -> None:
        from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MAX_INSTANCES
        from apscheduler.jobstores.memory import MemoryJobStore
        from apscheduler.schedulers.background import BackgroundScheduler
        from apscheduler.schedulers.blocking import BlockingScheduler

        kind = BlockingScheduler if blocking else BackgroundScheduler
        self.scheduler = kind(
            timezone=UTC,
            jobstores={"default": MemoryJobStore()},
            job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None},
        )
        self.scheduler.add_job(ring, "interval", seconds=every, id="tick", next_run_time=now())
        self.scheduler.add_listener(_heard, EVENT_JOB_ERROR | EVENT_JOB_MAX_INSTANCES)

    def start(self) -> None:
        """Ring; returns at once where the bell is not blocking, else when it is stopped."""
        self.scheduler.start()

    def stop(self) -> None:
        """Ring no more; the round in hand is finished."""
        with suppress(Exception):  # it may not have been started
            self.scheduler.shutdown(wait=True)


def _heard(event: Any) -> None:
    if getattr(event, "exception", None) is not None:
        _LOG.error("a round broke down: %s", type(event.exception).__name__)
    else:
        _LOG.warning("the last round has not ended yet; this one is left out")


# ------------------------------------------------------------------ the whole


def serve(
    file: Path, *, every: float = EVERY, host: str = "127.0.0.1", port: int = PORT, lan: bool = False
) -> None:
    """Rounds and page until somebody stops them (Ctrl-C, SIGTERM)."""
    runner = Runner(file)
    log_to(runner.yard.log_file)
    _LOG.info("started, a round every %g s", every)
    page = run_page(runner, host=host, port=port, lan=lan)
    bell = Bell(runner.ring, every, blocking=page is None)
    if page is None:
        server = _health_server(runner, host, port)
        for name in (signal.SIGTERM, signal.SIGINT):
            signal.signal(name, lambda *_: threading.Thread(target=bell.stop, daemon=True).start())
        bell.start()
        if server is not None:
            server.shutdown()
    else:
        bell.start()
        try:
            page()  # it listens to the signals itself, and comes back when one came
        finally:
            bell.stop()
    runner.close()
    _LOG.info("stopped")


def run_page(runner: Runner, *, host: str, port: int, lan: bool) -> Callable[[], None] | None:
    """What runs the page in this thread until it is stopped; None where there is no page.

    The rounds keep the reminders in step, so the page does not; and ``/health`` tells of both.
    """
    try:
        run = import_module("scheduler.web.run").run_page
        import_module("uvicorn")
    except ImportError:
        return None
    return lambda: run(runner.file, host, port, lan=lan, plans=False, health=runner.health)


def _health_server(runner: Runner, host: str, port: int) -> Any:
    """``/health`` where there is no page, for whoever watches; None where the port is taken."""
    from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

    class Answers(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            known = self.path.partition("?")[0] == "/health"
            found = runner.health() if known else {"ok": False, "trouble": "there is only /health here"}
            body = json.dumps(found).encode()
            self.send_response(404 if not known else 200 if found["ok"] else 503)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, format: str, *args: Any) -> None:
            """Says nothing."""

    try:
        server = ThreadingHTTPServer((host, port), Answers)
    except OSError as error:
        _LOG.warning("no /health: port %d cannot be used (%s)", port, error.strerror)
        return None
    server.daemon_threads = True
    threading.Thread(target=server.serve_forever, daemon=True).start()
    return server


def log_to(file: Path) -> None:
    """Write the log to a file that begins anew at a megabyte; warnings also to standard error."""
    logging.raiseExceptions = False  # a full disk must not stop the service
    root = logging.getLogger("scheduler")
    root.setLevel(logging.INFO)
    form = logging.Formatter("%(asctime)s %(levelname)s %(name)s: %(message)s")
    handlers: list[logging.Handler] = [logging.StreamHandler(sys.stderr)]
    handlers[0].setLevel(logging.WARNING)
    try:
        handlers.append(RotatingFileHandler(file, maxBytes=LOG_SIZE, backupCount=LOG_COUNT, encoding="utf-8"))
    except OSError as error:
        print(f"{file}: no log can be written there ({error.strerror}).", file=sys.stderr)
    for old in list(root.handlers):
        root.removeHandler(old)
        old.close()
    for handler in handlers:
        handler.setFormatter(form)
        root.addHandler(handler)
