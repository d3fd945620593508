"""``log import`` and ``log export``: the register as a CSV table."""

from __future__ import annotations

import os
import sys
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from scheduler.commands.book import answer, by_of, moment_of, opened, places_of, voice_of
from scheduler.commands.common import AtOption, Fail, JsonOption, Session, YardOption, say, session

if TYPE_CHECKING:
    from collections.abc import Mapping

    from scheduler.yard.book import Written
    from scheduler.yard.entries import Entry
    from scheduler.yard.facts import Moment, Register
    from scheduler.yard.table_csv import TableRow

__all__ = ["export_logs", "import_logs", "write_whole"]

LARGEST = 20_000_000  # bytes: a table of logs is far smaller


def import_logs(
    file: Annotated[
        Path, typer.Argument(metavar="FILE.csv", help="A table of logs; - reads standard input.")
    ],
    yard: YardOption = None,
    at: AtOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take in a table of logs, all or none. Headings carry the unit: butt_cm or butt_in."""
    from scheduler.settings import assumptions
    from scheduler.yard.book import add_logs
    from scheduler.yard.state import fold

    here = session(yard, at)
    text = _text(file)
    with opened(here) as store:
        known = fold(store.entries(here.yard.yard.key), here.at).words
        rows = _rows(here, text, known)

        def act(register: Register, _entries: tuple[Entry, ...]) -> Written:
            return add_logs(
                [row.log for row in rows],
                register,
                by_of(here),
                labels=[row.label for row in rows],
                voice=voice_of(here),
                places=places_of(here),
                taper=assumptions()["taper"],
            )

        written = store.record(here.yard.yard.key, here.at, act)
    answer(here, written, as_json)


def _text(file: Path) -> str:
    try:
        data = sys.stdin.buffer.read(LARGEST + 1) if str(file) == "-" else _bytes(file)
    except OSError as error:
        raise Fail(f"{file}: this table cannot be read ({error.strerror or error})") from None
    if len(data) > LARGEST:
        raise Fail(f"{file}: larger than {LARGEST / 1e6:.0f} MB, which no table of logs is")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise Fail(f"{file}, row {line}: not in UTF-8. Save the table as 'CSV UTF-8'.") from None


def _bytes(file: Path) -> bytes:
    with file.open("rb") as stream:
        return stream.read(LARGEST + 1)


def _rows(here: Session, text: str, words: Mapping[str, str]) -> list[TableRow]:
    from scheduler.settings import species_table
    from scheduler.wood.species import CAREFUL, Known, explain, find
    from scheduler.yard.table_csv import read_table

    table = species_table()

    def botanical(said: str) -> str | None:
        found = find(said, words, table)
        if not isinstance(found, Known):
            raise ValueError(explain(found, here.yard.yard.language))
        return None if found.species.botanical == CAREFUL else found.species.botanical

    def moment(said: str, ahead: bool) -> Moment:
        try:
            return moment_of(here, said, "time", future=None if ahead else False)
        except Fail as error:
            raise ValueError(str(error).removeprefix("time: ")) from None

    return read_table(
        text, at=here.at, zone=here.yard.zone, moment=moment, species=botanical, voice=voice_of(here)
    )


def export_logs(
    output: Annotated[
        Path | None, typer.Option("-o", "--output", metavar="FILE", help="Default: standard output.")
    ] = None,
    yard: YardOption = None,
    at: AtOption = None,
) -> None:
    """Write all logs as a CSV table, those that are gone among them; log import reads it again."""
    from scheduler.sources import register_of
    from scheduler.yard.table_csv import write_table

    here = session(yard, at)
    register = register_of(here.yard, here.at)
    data = write_table(register, zone=here.yard.zone, units=here.yard.yard.units).encode("utf-8")
    if output is None:
        typer.echo(data, nl=False)
        return
    write_whole(output, data)
    logs = "1 log" if len(register.logs) == 1 else f"{len(register.logs)} logs"
    say(f"Written: {output} ({logs})")


def write_whole(file: Path, data: bytes) -> None:
    """Write a file whole or not at all.

    Raises
    ------
    Fail
        When the disk or the folder does not take it.
    """
    part = None
    try:
        target = file.resolve()
        if target.exists() and not target.is_file():  # a pipe or a device takes it as it comes
            target.write_bytes(data)
            return
        mode = target.stat().st_mode & 0o777 if target.exists() else None
        handle, part = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}-")
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        Path(part).chmod(_new_mode() if mode is None else mode)
        Path(part).replace(target)
    except OSError as error:
        if part is not None:
            with suppress(OSError):
                Path(part).unlink()
        raise Fail(f"{file}: cannot be written ({error.strerror or error})", 1) from None


def _new_mode() -> int:
    """What a new file gets here: mkstemp alone would hide it from everybody else."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
