"""Reading a yard's entries from an SQLite file without the database library.

A fifth of a second of imports saved on every command that only reads. Anything
out of the ordinary (another database, another revision, a file that cannot be
opened) is left to ``store``, which says what is wrong.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import quote

from scheduler.yard.entries import Entry
from scheduler.yard.facts import Moment
from scheduler.yard.migrations import HEAD

__all__ = ["UNREAD", "read_entries", "read_memo"]

UNREAD = object()  # the full store has to be asked

COLUMNS = "number, yard, kind, time, half_us, said, assumed, recorded_at, tag, ends, who, batch, data"


def read_entries(url: str, yard: str) -> tuple[Entry, ...] | None:
    """All entries of a yard by number; None where the full store has to be asked."""
    if not url.startswith("sqlite:///") or "?" in url:
        return None
    file = Path(url.removeprefix("sqlite:///"))
    if not file.is_file():
        return None
    try:
        with closing(sqlite3.connect(f"file:{quote(str(file))}?mode=ro", uri=True, timeout=5.0)) as base:
            if base.execute("SELECT version_num FROM alembic_version").fetchall() != [(HEAD,)]:
                return None
            query = f"SELECT {COLUMNS} FROM entry WHERE yard = ? ORDER BY number"
            return tuple(_entry(row) for row in base.execute(query, (yard,)))
    except (sqlite3.Error, ValueError):
        return None


def read_memo(url: str, yard: str, name: str) -> object:
    """The value kept under a name, None: there is none; ``UNREAD``: the full store has to be asked."""
    if not url.startswith("sqlite:///") or "?" in url:
        return UNREAD
    file = Path(url.removeprefix("sqlite:///"))
    if not file.is_file():
        return UNREAD
    try:
        with closing(sqlite3.connect(f"file:{quote(str(file))}?mode=ro", uri=True, timeout=5.0)) as base:
            if base.execute("SELECT version_num FROM alembic_version").fetchall() != [(HEAD,)]:
                return UNREAD
            query = "SELECT value FROM memo WHERE yard = ? AND name = ?"
            row = base.execute(query, (yard, name)).fetchone()
            return None if row is None or row[0] is None else json.loads(str(row[0]))
    except (sqlite3.Error, ValueError):
        return UNREAD


def _entry(row: tuple[object, ...]) -> Entry:
    number, yard, kind, time, half_us, said, assumed, recorded, tag, ends, who, batch, data = row
    half = timedelta(microseconds=int(str(half_us)))
    moment = Moment(_utc(time), half, str(said), bool(assumed))
    return Entry(
        int(str(number)),
        str(yard),
        kind,  # type: ignore[arg-type]  # a kind of the table's own
        moment,
        _utc(recorded),
        None if tag is None else str(tag),
        tuple(json.loads(str(ends))),
        None if who is None else str(who),
        int(str(batch)),
        json.loads(str(data)),
    )


def _utc(text: object) -> datetime:
    """The store keeps UTC without an offset."""
    return datetime.fromisoformat(str(text)).replace(tzinfo=UTC)
