"""Connections to the database: how SQLite is set, and what its errors mean in plain words."""

from __future__ import annotations

import sqlite3
import time as clock
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError
from sqlalchemy.pool import NullPool, StaticPool

__all__ = ["StoreError", "file_of", "make_engine", "plain_errors"]


class StoreError(RuntimeError):
    """The database cannot be used; the text says which, why, and what to do."""


def make_engine(url: str, wait_s: float) -> tuple[sa.Engine, str]:
    """An engine for ``url``, and the address without its password.

    Raises
    ------
    StoreError
        When the address cannot be used or the folder of the file not be made.
    """
    try:
        parsed = sa.make_url(url)
        engine = _sqlite(parsed, wait_s) if parsed.get_backend_name() == "sqlite" else _other(parsed)
    except (ArgumentError, NoSuchModuleError, ModuleNotFoundError) as error:
        raise StoreError(
            f"The database address '{_masked(url)}' cannot be used ({error}). "
            "Write it as sqlite:///PATH or postgresql+psycopg://..., under [store] in the yard file."
        ) from None
    return engine, parsed.render_as_string(hide_password=True)


def _masked(url: str) -> str:
    """An address that could not be read, without what may be a password."""
    head, at, tail = url.rpartition("@")
    return f"{head.partition('://')[0]}://...@{tail}" if at else url


def _other(url: sa.URL) -> sa.Engine:
    return sa.create_engine(url, pool_pre_ping=True)


def _sqlite(url: sa.URL, wait_s: float) -> sa.Engine:
    path = file_of(url)
    if path is None:
        pool: dict[str, Any] = {"poolclass": StaticPool if not url.database else NullPool}
    else:
        _make_folder(path.parent)
        pool = {"poolclass": NullPool}
    arguments = {"timeout": wait_s, "check_same_thread": False}
    engine = sa.create_engine(url, connect_args=arguments, **pool)
    sa.event.listen(engine, "connect", _on_connect(wait_s))
    sa.event.listen(engine, "begin", _on_begin)
    return engine


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(
            f"{folder}: this folder for the database cannot be made ({error.strerror}). "
            "Name another place under [store] in the yard file."
        ) from error


def file_of(url: sa.URL) -> Path | None:
    """The file of a SQLite database; None in memory or for a file: address with options of its own."""
    name = url.database
    if not name or name == ":memory:" or name.startswith("file:"):
        return None
    return Path(name)


def _on_connect(wait_s: float) -> Callable[[sqlite3.Connection, object], None]:
    def prepare(connection: sqlite3.Connection, _record: object) -> None:
        connection.isolation_level = None  # BEGIN is ours: see _on_begin
        cursor = connection.cursor()
        try:
            cursor.execute(f"PRAGMA busy_timeout = {int(wait_s * 1000)}")
            _write_ahead(cursor, wait_s)
            cursor.execute("PRAGMA synchronous = FULL")
            cursor.execute("PRAGMA foreign_keys = ON")
        finally:
            cursor.close()

    return prepare


def _write_ahead(cursor: sqlite3.Cursor, wait_s: float) -> None:
    """Switch to the write-ahead log; SQLite does not wait by itself when another process switches too."""
    give_up = clock.monotonic() + wait_s
    while cursor.execute("PRAGMA journal_mode").fetchone()[0] not in ("wal", "memory"):
        try:
            cursor.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorname.startswith("SQLITE_READONLY"):
                return  # it can still be read
            if not error.sqlite_errorname.startswith("SQLITE_BUSY") or clock.monotonic() > give_up:
                raise
            clock.sleep(0.02)


def _on_begin(connection: sa.Connection) -> None:
    """A writer takes the lock before it reads, so that nothing changes between reading and writing."""
    immediate = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if immediate else "BEGIN")


# ------------------------------------------------------------------ errors


@contextmanager
def plain_errors(shown: str) -> Iterator[None]:
    """Turn what the database says into a sentence."""
    try:
        yield
    except DBAPIError as error:
        raise StoreError(f"{shown}: {_reason(error.orig)}") from error
    except sqlite3.Error as error:
        raise StoreError(f"{shown}: {_reason(error)}") from error
    except OSError as error:
        raise StoreError(
            f"{shown}: its folder cannot be made or used ({error.strerror or error})."
        ) from error


_REASONS = {
    "SQLITE_FULL": "the disk is full. Make room and try again; what was written before is kept.",
    "SQLITE_READONLY": "it can be read only. Allow writing to the file and its folder.",
    "SQLITE_BUSY": "another program is writing to it. Wait a moment and try again; nothing was changed.",
    "SQLITE_LOCKED": "another program is writing to it. Wait a moment and try again; nothing was changed.",
    "SQLITE_NOTADB": "this file is no database. Name another file under [store] in the yard file.",
    "SQLITE_CORRUPT": "the database is damaged. Put a copy in its place; keep the damaged file.",
    "SQLITE_CANTOPEN": "it cannot be opened. Look at the path and at who may read and write there.",
    "SQLITE_IOERR": "the disk gives an error. Look at the disk; keep a copy of the file.",
}


def _reason(error: BaseException | None) -> str:
    name = getattr(error, "sqlite_errorname", "") or ""
    for start, text in _REASONS.items():
        if name.startswith(start):
            return text
    return (
        f"the database answers: {str(error).strip().splitlines()[0] if str(error).strip() else 'no reason'}"
    )
