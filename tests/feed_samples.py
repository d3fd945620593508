"""A yard whose calendar is served: its reminders are put by a test, its clock is moved by a test."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from icalendar import Calendar, Event
from notice_samples import Clock, yard_of
from reminder_samples import AT, job, log, span, wanted

from scheduler.reminders.queue import Changes, reconcile
from scheduler.reminders.wanted import Derived
from scheduler.web.app import create_app
from scheduler.web.keys import keys_of
from scheduler.yard.store import Store, open_store


class FeedYard:
    """A yard in a folder, with a page."""

    def __init__(self, folder: Path, **page: Any) -> None:
        self.yard = yard_of(folder)
        assert self.yard.path is not None
        self.file = self.yard.path
        self.clock = Clock(AT)
        self.app = create_app(self.file, clock=self.clock, plans=False, **page)

    @property
    def path(self) -> str:
        """The secret address, without host."""
        return f"/feed/{keys_of(self.file).feed}.ics"

    def store(self) -> Store:
        """Its store, to be closed."""
        return open_store(self.yard.store_url)

    def wants(self, derived: Derived | None = None, **plan: Any) -> Changes:
        """Make these the kept reminders, at the time of the clock."""
        with self.store() as store:
            now = derived if derived is not None else wanted(at=self.clock(), **plan)
            return reconcile(store, self.yard.yard.key, now, self.clock())


@contextmanager
def client_of(yard: FeedYard) -> Iterator[Any]:
    """A client in this process, without a socket."""
    from starlette.testclient import TestClient

    with TestClient(yard.app, base_url="http://localhost") as client:
        yield client


def some(folder: Path) -> FeedYard:
    """A yard with one span, a coat for two ends and a look."""
    yard = FeedYard(folder)
    yard.wants(
        jobs=[job(), job(name="top"), job("look", why="clear or milky?")], logs=[log()], spans=[span()]
    )
    return yard


def events(data: bytes) -> dict[str, Event]:
    """The events by their summary's first word and day, as icalendar reads them."""
    found = Calendar.from_ical(data)
    return {str(event["UID"]): event for event in found.events}
