"""Where a yard's entries and reminders are kept: SQL through SQLAlchemy Core.

An edge of the program. A write reads, decides and writes in one transaction, so
that two processes lose nothing and no number is given twice. SQLite by default
(write-ahead log, every commit on the disk before it counts); any other database
by its URL. Alembic is loaded only when the stored revision is not the program's.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import fields, replace
from datetime import datetime, timedelta
from pathlib import Path
from types import TracebackType
from typing import Any, Protocol, TypeVar

import sqlalchemy as sa
from sqlalchemy.exc import IntegrityError

from scheduler.yard import tables as t
from scheduler.yard.entries import Entry
from scheduler.yard.facts import Moment, Register
from scheduler.yard.migrations import HEAD, REVISIONS
from scheduler.yard.reminder_row import ReminderRow
from scheduler.yard.state import fold
from scheduler.yard.store_engine import StoreError, file_of, make_engine, plain_errors

__all__ = ["ReminderRow", "Store", "StoreError", "open_store"]

TRIES = 20  # a writer that lost the race reads again and decides anew
_MICROSECOND = timedelta(microseconds=1)


class _Written(Protocol):
    @property
    def entries(self) -> tuple[Entry, ...]: ...


W = TypeVar("W", bound=_Written)


_REMINDER_FIELDS = tuple(f.name for f in fields(ReminderRow))


# ------------------------------------------------------------------ opening


def open_store(url: str, *, migrate: bool = True, wait_s: float = 10.0) -> Store:
    """Open the database at ``url``, making or upgrading it where needed.

    Parameters
    ----------
    url
        As SQLAlchemy writes them: ``sqlite:////home/me/yard.db``, ``postgresql+psycopg://...``.
    migrate
        False: a database that is not of this program's revision is refused instead of changed.
    wait_s
        How long to wait for another writer, in seconds (SQLite).

    Raises
    ------
    StoreError
        When it cannot be opened, is no database, is another program's, or newer than this program.
    """
    engine, shown = make_engine(url, wait_s)
    store = Store(engine, shown)
    try:
        _bring_up_to_date(store, migrate)
    except BaseException:
        store.close()
        raise
    return store


# ------------------------------------------------------------------ revisions


def _bring_up_to_date(store: Store, migrate: bool) -> None:
    stored = store.revision()
    if stored == HEAD:
        return
    _refuse_foreign(store, stored)
    if not migrate:
        raise StoreError(f"{store.shown}: the database is of revision {stored or 'none'}, not {HEAD}.")
    if stored is not None:
        _copy_before_upgrade(store)
    with store.writing() as connection:
        if store.revision_on(connection) != HEAD:  # nobody else did it meanwhile
            _upgrade(connection)


def _refuse_foreign(store: Store, stored: str | None) -> None:
    if stored is not None and stored not in REVISIONS:
        raise StoreError(
            f"{store.shown}: written by a newer program (revision {stored}; this one knows up to {HEAD}). "
            "Install the newer program again; nothing was changed."
        )
    if stored is None:
        with store.reading() as connection:
            found = store.revision_on(connection)
            names = set(sa.inspect(connection).get_table_names())
        if found is not None:  # made by another process since it was looked at
            _refuse_foreign(store, found)
        elif names - {"alembic_version"}:
            raise StoreError(
                f"{store.shown}: a database of something else (it holds the table {sorted(names)[0]}). "
                "Name another file under [store] in the yard file; nothing was changed."
            )


def _upgrade(connection: sa.Connection) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def _copy_before_upgrade(store: Store) -> None:
    path = file_of(store.engine.url) if store.engine.dialect.name == "sqlite" else None
    if path is None:
        return
    copies = (
        path.with_name(f"{path.name}.before-{HEAD}{end}") for end in ("", *(f"-{n}" for n in range(2, 99)))
    )
    target = next(copy for copy in copies if not copy.exists())
    with plain_errors(store.shown), store.engine.connect() as connection:
        raw = connection.connection.driver_connection
        assert raw is not None
        raw.execute("VACUUM INTO ?", (str(target),))


# ------------------------------------------------------------------ the store


class Store:
    """An open database. Made by ``open_store``; usable as a context manager."""

    def __init__(self, engine: sa.Engine, shown: str) -> None:
        self.engine = engine
        self.shown = shown  # its address without password

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """A connection that sees one state of the database."""
        with plain_errors(self.shown), self.engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """A transaction that nobody else writes into; committed at the end, taken back on an error."""
        with plain_errors(self.shown), self.engine.connect() as connection:
            connection = connection.execution_options(writes=True)
            with connection.begin():
                yield connection

    @contextmanager
    def held(self) -> Iterator[None]:
        """Keep one connection open meanwhile: when the last one closes, SQLite tidies up for long."""
        with plain_errors(self.shown), self.engine.connect() as connection:
            connection.rollback()  # open, and in no transaction
            yield

    # -- revision

    def revision(self) -> str | None:
        """The revision of the stored tables, None for an empty database."""
        with self.reading() as connection:
            return self.revision_on(connection)

    @staticmethod
    def revision_on(connection: sa.Connection) -> str | None:
        """The same on an open connection."""
        if not sa.inspect(connection).has_table("alembic_version"):
            return None
        found = connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar()
        return None if found is None else str(found)

    # -- entries

    def entries(self, yard: str) -> tuple[Entry, ...]:
        """All entries of a yard, by number."""
        with self.reading() as connection:
            return _entries(connection, yard)

    def append(self, yard: str, make: Callable[[tuple[Entry, ...]], Iterable[Entry]]) -> list[Entry]:
        """Read all entries, let ``make`` decide on new ones, write them: one transaction.

        ``make`` may be called again when another writer was faster, so it must have no effects of its
        own. Its entries carry no number (0) or the numbers that follow the entries it was given.

        Returns
        -------
        The entries as written, numbered.
        """
        for last_try in (False,) * (TRIES - 1) + (True,):
            try:
                with self.writing() as connection:
                    known = _entries(connection, yard)
                    new = _numbered(list(make(known)), yard, known[-1].number if known else 0)
                    if new:
                        connection.execute(sa.insert(t.entry), [_entry_row(entry) for entry in new])
                return new
            except StoreError as error:
                if last_try or not isinstance(error.__cause__, IntegrityError):
                    raise
        raise AssertionError("not reached")

    def record(self, yard: str, at: datetime, act: Callable[[Register, tuple[Entry, ...]], W]) -> W:
        """Fold the register at ``at``, let ``act`` decide (a function of ``book``), write its entries.

        Returns
        -------
        What ``act`` returned.
        """
        result: list[W] = []

        def make(known: tuple[Entry, ...]) -> tuple[Entry, ...]:
            written = act(fold(known, at), known)
            result[:] = [written]
            return written.entries

        self.append(yard, make)
        return result[0]

    # -- reminders

    def reminders(
        self, yard: str, *, states: Sequence[str] | None = None, due_by: datetime | None = None
    ) -> tuple[ReminderRow, ...]:
        """Reminders of a yard, earliest first; only those in ``states``, only those due by a time."""
        with self.reading() as connection:
            return _reminders(connection, yard, states, due_by)

    def change_reminders(
        self,
        yard: str,
        make: Callable[[tuple[ReminderRow, ...]], Iterable[ReminderRow]],
        also: Callable[[sa.Connection], None] | None = None,
    ) -> list[ReminderRow]:
        """Read all reminders, let ``make`` decide, write what it returns: one transaction.

        A row without ``id`` is new, unless its key is there already (then it is passed over); one with
        an ``id`` takes the place of that row, where it has changed. Nothing else is touched, but for what
        ``also`` writes in the same transaction; it too may be called again.

        Returns
        -------
        The rows that were written.
        """
        for last_try in (False,) * (TRIES - 1) + (True,):
            try:
                with self.writing() as connection:
                    # SQLite has the whole database to itself here; elsewhere the rows are held, so that
                    # two services that reconcile at once do so one after the other.
                    held = sa.select(t.reminder.c.id).where(t.reminder.c.yard == yard)
                    connection.execute(held.order_by(t.reminder.c.id).with_for_update()).all()
                    known = _reminders(connection, yard, None, None)
                    written = _put_reminders(connection, yard, known, make(known))
                    if also is not None:
                        also(connection)
                    return written
            except StoreError as error:
                if last_try or not isinstance(error.__cause__, IntegrityError):
                    raise
        raise AssertionError("not reached")

    def update_reminder(
        self, yard: str, reminder_id: int, *, if_state: str, if_sequence: int, **changes: Any
    ) -> bool:
        """Change a reminder only while it is in that state with that sequence; True if it was."""
        wrong = set(changes) - set(_REMINDER_FIELDS) | set(changes) & {"id", "uid", "key"}
        if wrong or not changes:
            raise TypeError(
                f"what cannot change in a reminder: {', '.join(sorted(wrong)) or 'nothing given'}"
            )
        r = t.reminder.c
        guard = (r.yard == yard, r.id == reminder_id, r.state == if_state, r.sequence == if_sequence)
        with self.writing() as connection:
            return connection.execute(sa.update(t.reminder).where(*guard).values(**changes)).rowcount == 1

    # -- leases and memos

    def take_lease(self, yard: str, name: str, holder: str, now: datetime, until: datetime) -> bool:
        """Take or prolong a lease; False when another holder has it still.

        One that runs far longer than is asked for now is from a clock that has been set back since.
        """
        c = t.lease.c
        mine = (c.yard == yard, c.name == name)
        free = sa.or_(c.until <= now, c.until > until + (until - now), c.holder == holder)
        try:
            with self.writing() as connection:
                taken = sa.update(t.lease).where(*mine, free).values(holder=holder, until=until)
                if connection.execute(taken).rowcount == 1:
                    return True
                if connection.execute(sa.select(c.holder).where(*mine)).first() is not None:
                    return False
                row = {"yard": yard, "name": name, "holder": holder, "until": until}
                connection.execute(sa.insert(t.lease), [row])
                return True
        except StoreError as error:
            if isinstance(error.__cause__, IntegrityError):
                return False  # another process made the row at the same moment
            raise

    def drop_lease(self, yard: str, name: str, holder: str) -> None:
        """Give a lease back, if it is held by ``holder``."""
        c = t.lease.c
        with self.writing() as connection:
            mine = (c.yard == yard, c.name == name, c.holder == holder)
            connection.execute(sa.delete(t.lease).where(*mine))

    def remember(self, yard: str, name: str, value: Any, at: datetime) -> None:
        """Keep a small value (anything JSON can hold) under a name."""
        with self.writing() as connection:
            self.remember_on(connection, yard, name, value, at)

    @staticmethod
    def remember_on(connection: sa.Connection, yard: str, name: str, value: Any, at: datetime) -> None:
        """The same inside a transaction that is open."""
        c = t.memo.c
        values = {"value": value, "changed_at": at}
        changed = sa.update(t.memo).where(c.yard == yard, c.name == name).values(**values)
        if connection.execute(changed).rowcount == 0:
            connection.execute(sa.insert(t.memo), [{"yard": yard, "name": name, **values}])

    def recall(self, yard: str, name: str) -> tuple[Any, datetime] | None:
        """The value kept under a name and since when, or None."""
        c = t.memo.c
        with self.reading() as connection:
            found = connection.execute(
                sa.select(c.value, c.changed_at).where(c.yard == yard, c.name == name)
            ).first()
        return None if found is None else (found[0], found[1])


# ------------------------------------------------------------------ rows


def _entries(connection: sa.Connection, yard: str) -> tuple[Entry, ...]:
    query = sa.select(t.entry).where(t.entry.c.yard == yard).order_by(t.entry.c.number)
    return tuple(_entry(row) for row in connection.execute(query))


def _entry(row: sa.Row[Any]) -> Entry:
    moment = Moment(row.time, timedelta(microseconds=row.half_us), row.said, row.assumed)
    return Entry(
        row.number,
        row.yard,
        row.kind,
        moment,
        row.recorded_at,
        row.tag,
        tuple(row.ends),
        row.who,
        row.batch,
        row.data,
    )


def _entry_row(entry: Entry) -> dict[str, Any]:
    return {
        "yard": entry.yard,
        "number": entry.number,
        "batch": entry.batch,
        "kind": entry.kind,
        "tag": entry.tag,
        "ends": list(entry.ends),
        "time": entry.moment.time,
        "half_us": entry.moment.half // _MICROSECOND,
        "said": entry.moment.said,
        "assumed": entry.moment.assumed,
        "recorded_at": entry.recorded_at,
        "who": entry.who,
        "data": dict(entry.data),
    }


def _numbered(new: list[Entry], yard: str, last: int) -> list[Entry]:
    """The new entries with the numbers that follow; what was made from an older book is refused."""
    done = []
    for number, entry in enumerate(new, start=last + 1):
        if entry.yard != yard:
            raise ValueError(f"an entry of yard '{entry.yard}' cannot be kept under '{yard}'")
        if entry.number not in (0, number):
            raise ValueError(f"entry {entry.number} was made from other entries than those given to it")
        done.append(replace(entry, number=number, batch=entry.batch or last + 1))
    return done


def _reminders(
    connection: sa.Connection, yard: str, states: Sequence[str] | None, due_by: datetime | None
) -> tuple[ReminderRow, ...]:
    r = t.reminder.c
    query = sa.select(t.reminder).where(r.yard == yard)
    if states is not None:
        query = query.where(r.state.in_(states))
    if due_by is not None:
        query = query.where(r.due_at <= due_by)
    rows = connection.execute(query.order_by(r.due_at, r.id)).mappings()
    return tuple(ReminderRow(**{name: row[name] for name in _REMINDER_FIELDS}) for row in rows)


def _put_reminders(
    connection: sa.Connection, yard: str, known: Sequence[ReminderRow], wanted: Iterable[ReminderRow]
) -> list[ReminderRow]:
    keys = {row.key for row in known}
    by_id = {row.id: row for row in known}
    written = []
    for row in wanted:
        if row.id is None and row.key not in keys:
            written.append(_insert_reminder(connection, yard, row))
        elif row.id is not None and by_id.get(row.id) != row:
            _replace_reminder(connection, yard, by_id.get(row.id), row)
            written.append(row)
        keys.add(row.key)
    return written


def _reminder_values(row: ReminderRow) -> dict[str, Any]:
    values = {name: getattr(row, name) for name in _REMINDER_FIELDS if name not in ("id", "uid")}
    return values | {"payload": dict(row.payload)}


def _insert_reminder(connection: sa.Connection, yard: str, row: ReminderRow) -> ReminderRow:
    uid = row.uid or str(uuid.uuid4())
    done = connection.execute(sa.insert(t.reminder).values(yard=yard, uid=uid, **_reminder_values(row)))
    assert done.inserted_primary_key is not None
    return replace(row, id=int(done.inserted_primary_key[0]), uid=uid)


def _replace_reminder(
    connection: sa.Connection, yard: str, old: ReminderRow | None, row: ReminderRow
) -> None:
    if old is None:
        raise ValueError(f"there is no reminder {row.id} in yard '{yard}'")
    if (old.key, old.uid) != (row.key, row.uid):
        raise ValueError("a reminder keeps its key and its UID for life")
    r = t.reminder.c
    new = sa.update(t.reminder).where(r.yard == yard, r.id == row.id).values(**_reminder_values(row))
    connection.execute(new)
