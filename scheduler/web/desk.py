"""What the page works on: the yard file, the register, and the morning, worked out once and kept.

A tap writes an entry and is answered from the register, which is folded anew in
milliseconds; the weather's part of the page is that of the last morning, which
is worked out again in the background. An edge.
"""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

from scheduler.commands.common import Session
from scheduler.service import Picture, brief, picture, refresh_reminders
from scheduler.settings import SettingsError, YardFile, assumptions, load_yard
from scheduler.sources import Forecast, kept_forecast, open_register, store_exists
from scheduler.views.today import Briefing
from scheduler.views.wording import Wording
from scheduler.yard.entries import Entry
from scheduler.yard.facts import Register
from scheduler.yard.reminder_row import ReminderRow
from scheduler.yard.state import fold, holding
from scheduler.yard.store import Store

__all__ = ["Book", "Desk", "View", "now"]

QUARTER = timedelta(minutes=15)
TOO_OLD = timedelta(hours=2)  # a morning so old is not shown while a new one is worked out
KEPT_FORMS = 2000
_LOG = logging.getLogger(__name__)
T = TypeVar("T")


def now() -> datetime:
    """The true time."""
    return datetime.now(UTC)


@dataclass(frozen=True, eq=False)
class Book:
    """What has been told, as it stands."""

    entries: tuple[Entry, ...]
    register: Register

    @property
    def version(self) -> int:
        """Rises with every entry."""
        return self.entries[-1].number if self.entries else 0

    @cached_property
    def holding(self) -> list[Entry]:
        """The entries that still hold, as corrected."""
        return list(holding(self.entries))


@dataclass(frozen=True, eq=False)
class View:
    """A morning that was worked out, and of what."""

    at: datetime
    yard: YardFile
    forecast: Forecast
    picture: Picture
    briefing: Briefing
    book: Book

    @property
    def wording(self) -> Wording:
        """How to speak at that time."""
        return Wording(self.yard.zone, self.yard.yard.units, self.at, self.yard.yard.language)


@dataclass(slots=True)
class _Done:
    """Forms that were taken already, and where each led."""

    where: OrderedDict[str, str] = field(default_factory=OrderedDict)

    def remember(self, key: str, target: str) -> None:
        self.where[key] = target
        while len(self.where) > KEPT_FORMS:
            self.where.popitem(last=False)


class Desk:
    """One yard's page. Its methods may be called from several threads.

    Parameters
    ----------
    forecast
        Gives the forecast to go by without asking anybody; None: the newest kept answer.
    behind
        Runs the work that no answer waits for; default: a thread.
    plans
        Keep the reminders in step; False where a service beside the page does.
    """

    def __init__(
        self,
        file: Path,
        *,
        clock: Callable[[], datetime] = now,
        forecast: Callable[[YardFile, datetime], Forecast] | None = None,
        behind: Callable[[Callable[[], None]], None] | None = None,
        plans: bool = True,
    ) -> None:
        self.file = file
        self.clock = clock
        self.trouble: str | None = None  # the yard file's fault, where a changed one cannot be used
        self.shown: tuple[datetime, tuple[str, ...]] | None = (
            None  # rows last shown, so that they keep places
        )
        self._forecast = forecast or kept_forecast
        self._run_behind, self._plans = behind or _in_a_thread, plans
        self._yard = load_yard(file)
        self._seen = file.stat().st_mtime_ns
        self._store: Store | None = None
        self._book: tuple[Any, Book] | None = None
        self._rows: tuple[Any, tuple[ReminderRow, ...]] | None = None
        self._view: tuple[Any, View] | None = None
        self._reading, self._working, self._writing = (threading.RLock() for _ in range(3))
        self._busy = False
        self._done = _Done()
        self._parts: dict[str, tuple[Any, Any]] = {}

    # -- what stands on disk

    def yard(self) -> YardFile:
        """The yard file, read again where it has changed; a faulty one is told and not used."""
        with self._reading, suppress(OSError):
            changed = self.file.stat().st_mtime_ns
            if changed != self._seen:
                self._seen = changed
                try:
                    self._yard, self.trouble = load_yard(self.file), None
                    self._close()
                except SettingsError as error:
                    self.trouble = str(error)
        return self._yard

    @property
    def settled(self) -> datetime:
        """When the settings last changed."""
        return datetime.fromtimestamp(self._seen / 1e9, UTC)

    def here(self) -> Session:
        """Yard file and clock of one request."""
        return Session(self.yard(), self.clock(), asks=False)

    def store(self) -> Store:
        """The open store."""
        with self._reading:
            if self._store is None:
                self._store = open_register(self._yard)
            return self._store

    def _close(self) -> None:
        if self._store is not None:
            self._store.close()
        self._store = self._book = self._rows = None

    def close(self) -> None:
        """Let go of the database."""
        with self._reading:
            self._close()

    def stamp(self) -> Any:
        """Changes whenever something was written; cheap where the store is a file."""
        url = self._yard.store_url
        if not url.startswith("sqlite:///"):
            return self.clock()
        base = Path(url.removeprefix("sqlite:///"))
        out = []
        for file in (base, base.with_name(f"{base.name}-wal")):
            with suppress(OSError):
                found = file.stat()
                out.append((found.st_mtime_ns, found.st_size))
        return tuple(out)

    def book(self) -> Book:
        """Entries and register as they stand now."""
        yard, at = self.yard(), self.clock()
        key = (self.stamp(), _quarter(at))
        with self._reading:
            if self._book is not None and self._book[0] == key:
                return self._book[1]
            entries = self.store().entries(yard.yard.key) if store_exists(yard) else ()
            same = timedelta(hours=assumptions()["same_coat"])
            found = Book(entries, fold(entries, at, same_coat=same))
            self._book = (key, found)
            return found

    def rows(self) -> tuple[ReminderRow, ...]:
        """All kept reminders."""
        yard = self.yard()
        if not store_exists(yard):
            return ()
        key = self.stamp()
        with self._reading:
            if self._rows is None or self._rows[0] != key:
                self._rows = (key, self.store().reminders(yard.yard.key))
            return self._rows[1]

    # -- the morning

    def view(self) -> View:
        """The morning to show: the kept one, worked out anew where it is of another day or very old."""
        key = self._key()
        kept = self._view
        if kept is not None and kept[0] == key:
            return kept[1]
        if kept is None or not self._near(kept[1]):
            with self._working:
                if self._view is None or self._view[0] != self._key():
                    self._work()
                assert self._view is not None
                return self._view[1]
        self._start()
        return kept[1]

    def warm(self) -> None:
        """Begin to work out the morning before anybody asks for it."""
        self._start()

    def _near(self, view: View) -> bool:
        at, zone = self.clock(), view.yard.zone
        same_day = at.astimezone(zone).date() == view.at.astimezone(zone).date()
        return same_day and abs(at - view.at) < TOO_OLD

    def _key(self) -> Any:
        yard = self.yard()
        return (self.book().version, _newest(yard), _quarter(self.clock()), self._seen)

    def _work(self) -> None:
        key = self._key()
        yard, at, book = self.yard(), self.clock(), self.book()
        forecast = self._forecast(yard, at)
        seen = picture(yard, book.register, forecast, at)
        view = View(at, yard, forecast, seen, brief(yard, at, forecast, book.register, seen), book)
        self._view = (key, view)

    def _start(self) -> None:
        """Work in the background, one at a time; what changes meanwhile is seen at the next request."""
        with self._reading:
            if self._busy:
                return
            self._busy = True
        self._run_behind(self._behind)

    def _behind(self) -> None:
        try:
            with self._working:
                if self._view is None or self._view[0] != self._key():
                    self._work()
            self.plan()
        except Exception:
            _LOG.exception("the morning could not be worked out")
        finally:
            self._busy = False

    def plan(self) -> None:
        """Make the kept reminders agree with the morning; nothing where a service does that."""
        yard = self.yard()
        if self._plans and store_exists(yard):
            at = self.clock()
            refresh_reminders(yard, at, self._forecast(yard, at))

    def kept(self, name: str, make: Callable[[], T]) -> T:
        """A slow part of a page, worked out once for the morning that is shown."""
        key = self._view[0] if self._view is not None else None
        found = self._parts.get(name)
        if found is None or found[0] != key:
            found = (key, make())
            self._parts[name] = found
        value: T = found[1]
        return value

    # -- writing

    def once(self, key: str, act: Callable[[], str]) -> str:
        """Do something once for a form: the same form again leads where it led, and does nothing."""
        with self._writing:
            if key in self._done.where:
                return self._done.where[key]
            target = act()
            self._done.remember(key, target)
            return target


def _in_a_thread(work: Callable[[], None]) -> None:
    threading.Thread(target=work, name="coatcast-morning", daemon=True).start()


def _quarter(at: datetime) -> int:
    return int(at.timestamp() // QUARTER.total_seconds())


def _newest(yard: YardFile) -> tuple[str, int] | None:
    """Name and time of the newest kept answer, by the folder alone."""
    with suppress(OSError):
        names = [p for p in yard.cache_folder.iterdir() if p.name.endswith(".meta.json")]
        newest = max(names, key=lambda p: p.name, default=None)
        return None if newest is None else (newest.name, newest.stat().st_mtime_ns)
    return None
