"""The whole record of a yard as JSON lines, and a backup: record, settings and weather in one file.

An edge: files, the store. The record depends on no database: what was written
from an SQLite file can be restored into PostgreSQL, and by a later program.
"""

from __future__ import annotations

import json
import os
import zipfile
from collections.abc import Iterator, Mapping
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import Any

import sqlalchemy as sa

from scheduler import __version__
from scheduler.settings import YardFile
from scheduler.yard import tables as t
from scheduler.yard.migrations import HEAD, REVISIONS
from scheduler.yard.store import Store

__all__ = [
    "BackupError",
    "Restored",
    "record_lines",
    "restore_record",
    "settings_in",
    "weather_in",
    "write_backup",
]

TABLES = (t.entry, t.reminder, t.notice, t.outbox, t.memo)  # a lease is of no use to another day
OWN_NUMBERS = ("outbox",)  # tables whose ids nobody has seen: the database gives new ones
RECORD, SETTINGS, WEATHER = "record.jsonl", "yard.toml", "coatcast-weather"
MOST = 4_000_000_000  # bytes of one file of a backup
Restored = dict[str, int]  # rows by table


class BackupError(ValueError):
    """A file that cannot be restored; the text says why and what to do."""


# ------------------------------------------------------------------ out


def record_lines(store: Store, yard: str, at: datetime) -> Iterator[str]:
    """The record, line by line: a head, every row of every table, and an end that counts them.

    One state of the database, whoever writes meanwhile.
    """
    head = {"record": "coatcast", "version": __version__, "revision": HEAD, "yard": yard}
    yield json.dumps(head | {"at": at.astimezone(UTC).isoformat()}, ensure_ascii=False)
    count = 0
    with store.reading() as connection:
        if connection.dialect.name != "sqlite":
            connection.execute(sa.text("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY"))
        for table in TABLES:
            query = sa.select(table).where(table.c.yard == yard).order_by(*table.primary_key.columns)
            for row in connection.execute(query).mappings():
                count += 1
                values = {c.name: _out(row[c.name]) for c in table.c if c.name != "yard"}
                yield json.dumps({"table": table.name, **values}, ensure_ascii=False)
    yield json.dumps({"end": count})


def _out(value: Any) -> Any:
    return value.isoformat() if isinstance(value, datetime) else value


def write_backup(store: Store, yard: YardFile, file: Path, at: datetime) -> dict[str, int]:
    """Write record, yard file and kept weather into one ZIP file, whole or not at all.

    Returns
    -------
    How many rows and how many files of weather are in it.

    Raises
    ------
    OSError
        When it cannot be written.
    """
    part = file.with_name(f".{file.name}.part")
    rows = weather = 0
    try:
        with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as packed:
            with packed.open(RECORD, "w", force_zip64=True) as out:
                for line in record_lines(store, yard.yard.key, at):
                    out.write(line.encode() + b"\n")
                    rows += 1
            if yard.path is not None:
                packed.write(yard.path, SETTINGS)
            for one in sorted(yard.cache_folder.glob("*")) if yard.cache_folder.is_dir() else ():
                if one.is_file():
                    packed.write(one, f"{WEATHER}/{one.name}")
                    weather += 1
        with part.open("rb") as done:
            os.fsync(done.fileno())
        part.replace(file)
    except BaseException:
        with suppress(OSError):
            part.unlink()
        raise
    return {"rows": rows - 2, "weather": weather}


# ------------------------------------------------------------------ back


def _opened(file: Path) -> zipfile.ZipFile | None:
    """The ZIP file of a backup; None for a record of JSON lines."""
    if not zipfile.is_zipfile(file):
        return None
    packed = zipfile.ZipFile(file)
    if RECORD not in packed.namelist():
        packed.close()
        raise BackupError(f"{file}: this is no backup of Coatcast (it holds no {RECORD}).")
    return packed


def settings_in(file: Path) -> bytes | None:
    """The yard file that lies in a backup; None where there is none."""
    packed = _opened(file)
    if packed is None:
        return None
    with packed:
        return packed.read(SETTINGS) if SETTINGS in packed.namelist() else None


def weather_in(file: Path, folder: Path) -> int:
    """Put the weather of a backup beside what is there already; nothing is overwritten. How many files."""
    packed = _opened(file)
    if packed is None:
        return 0
    count = 0
    with packed:
        for item in packed.infolist():
            path = PurePosixPath(item.filename)
            # Two parts, the first ours, the second a plain name: no file lands anywhere else.
            if len(path.parts) != 2 or path.parts[0] != WEATHER or item.file_size > MOST:
                continue
            target = folder / path.name
            if path.name in ("..", ".") or "\\" in path.name or target.exists():
                continue
            folder.mkdir(parents=True, exist_ok=True)
            target.write_bytes(packed.read(item))
            count += 1
    return count


def restore_record(store: Store, yard: str, file: Path, *, replace: bool = False) -> Restored:
    """Write the record of a file into the database, all or nothing.

    ``replace``: what the database holds of this yard gives way; without, a yard
    that has a record already is refused.

    Raises
    ------
    BackupError
        When the file is none, is cut off, of a newer program or of another yard, or the yard has a record.
    """
    rows = _rows(file, yard)
    with store.writing() as connection:
        held = connection.execute(sa.select(sa.func.count()).where(t.entry.c.yard == yard)).scalar() or 0
        if held and not replace:
            raise BackupError(
                f"{store.shown} holds {held} entries of this yard already; nothing was changed. "
                "With --replace they give way to the backup (and are written to a file first)."
            )
        for table in reversed(TABLES):
            connection.execute(sa.delete(table).where(table.c.yard == yard))
        for table in TABLES:
            values = [_in(table, row, yard) for row in rows.get(table.name, ())]
            if values:
                connection.execute(sa.insert(table), values)
        if connection.dialect.name == "postgresql":
            top = (
                "SELECT setval(pg_get_serial_sequence('reminder', 'id'), coalesce(max(id), 1)) FROM reminder"
            )
            connection.execute(sa.text(top))
    return {table.name: len(rows.get(table.name, ())) for table in TABLES}


def _rows(file: Path, yard: str) -> dict[str, list[dict[str, Any]]]:
    """All rows of a record by table, checked to be whole and of this yard."""
    packed = _opened(file)
    if packed is None:
        text = file.read_bytes()
    else:
        with packed:
            text = packed.read(RECORD)
    try:
        lines = [json.loads(line) for line in text.splitlines()]
        head, *body, end = lines
        known = head["record"] == "coatcast"
    except (ValueError, KeyError, TypeError):
        known = False
    if not known:
        raise BackupError(f"{file}: this is no record of Coatcast, or it is damaged; nothing was changed.")
    if end.get("end") != len(body):
        raise BackupError(f"{file}: the record is cut off; nothing was changed. Take another copy.")
    if head["revision"] not in REVISIONS:
        raise BackupError(
            f"{file}: written by a newer program ({head.get('version')}); nothing was changed. Install that."
        )
    if head["yard"] != yard:
        raise BackupError(
            f"{file}: the record of yard '{head['yard']}', and this yard file is '{yard}' ([yard] key); "
            "nothing was changed."
        )
    rows: dict[str, list[dict[str, Any]]] = {}
    for row in body:
        rows.setdefault(row.pop("table"), []).append(row)
    return rows


def _in(table: sa.Table, row: Mapping[str, Any], yard: str) -> dict[str, Any]:
    """A row as the table wants it; a column that an older program did not know stays empty."""
    values: dict[str, Any] = {"yard": yard}
    for column in table.c:
        if column.name == "yard" or (column.name == "id" and table.name in OWN_NUMBERS):
            continue
        value = row.get(column.name)
        is_time = isinstance(column.type, t.UtcDateTime) and isinstance(value, str)
        values[column.name] = datetime.fromisoformat(value) if is_time else value  # type: ignore[arg-type]
    return values
