"""``export``, ``backup``, ``restore``: the record in hands other than the database's."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.common import AtOption, Fail, JsonOption, YardOption, print_json, say, session

__all__ = ["backup", "export", "register_commands", "restore"]

OutOption = Annotated[Path | None, typer.Option("-o", "--output", metavar="FILE", help="File to write.")]


def export(output: OutOption = None, yard: YardOption = None, at: AtOption = None) -> None:
    """Write the whole record as JSON lines: entries, reminders, notices. Default: standard output."""
    from scheduler.backup import record_lines
    from scheduler.commands.table import write_whole
    from scheduler.sources import open_register

    here = session(yard, at)
    with open_register(here.yard) as store:
        lines = record_lines(store, here.yard.yard.key, here.at)
        if output is None:
            sys.stdout.writelines(f"{line}\n" for line in lines)
            return
        whole = list(lines)
    write_whole(output, "".join(f"{line}\n" for line in whole).encode())
    say(f"Written: {output} ({len(whole) - 2} rows)")


def backup(
    output: OutOption = None, yard: YardOption = None, at: AtOption = None, as_json: JsonOption = False
) -> None:
    """Write record, yard file and kept weather into one file; secrets are in none of them."""
    from scheduler.backup import write_backup
    from scheduler.sources import open_register

    here = session(yard, at)
    local = here.at.astimezone(here.yard.zone)
    file = output or Path(f"coatcast-{here.yard.yard.key}-{local:%Y-%m-%d-%H%M}.zip")
    if output is None and file.exists():
        raise Fail(f"{file} is there already. Name another file with -o")
    try:
        with open_register(here.yard) as store:
            held = write_backup(store, here.yard, file, here.at)
    except OSError as error:
        raise Fail(
            f"{file}: cannot be written ({error.strerror or error}). Nothing was left behind.", 1
        ) from None
    if as_json:
        print_json({"file": str(file), **held})
        return
    say(f"Written: {file} ({held['rows']} rows, {held['weather']} files of weather, the yard file).")
    say("Keep it on another disk. Back again: coatcast restore FILE")


def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="What backup or export has written.")],
    replace: Annotated[
        bool, typer.Option("--replace", help="What this yard holds gives way (a copy is written first).")
    ] = False,
    yard: YardOption = None,
    at: AtOption = None,
) -> None:
    """Take a backup or an exported record back in, all or nothing."""
    from scheduler.backup import record_lines, restore_record, weather_in
    from scheduler.commands.table import write_whole
    from scheduler.sources import open_register

    if not file.is_file():
        raise Fail(f"{file}: there is no such file")
    _yard_file(file, yard)
    here = session(yard, at)
    key = here.yard.yard.key
    with open_register(here.yard) as store:
        if replace:
            before = "".join(f"{line}\n" for line in record_lines(store, key, here.at)).encode()
            folder = (here.yard.path or Path("yard.toml")).resolve().parent
            copy = folder / f"coatcast-before-restore-{here.at:%Y%m%d-%H%M%S}.jsonl"
            write_whole(copy, before)
            say(f"What was there is kept in {copy}")
        done = restore_record(store, key, file, replace=replace)
    count = weather_in(file, here.yard.cache_folder)
    say(f"Back: {done['entry']} entries, {done['reminder']} reminders, {count} files of weather.")


def _yard_file(file: Path, yard: Path | None) -> None:
    """On a computer without a yard file, the one that lies in the backup."""
    from scheduler.backup import settings_in
    from scheduler.settings import SettingsError, find_yard_file, home_yard_file

    try:
        find_yard_file(yard)
    except SettingsError:
        found = settings_in(file)
        if found is None:
            raise
        target = yard or home_yard_file()
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(found)
        say(f"Written: {target}, from the backup.")


def register_commands(app: typer.Typer) -> None:
    """Put these commands on the program."""
    app.command()(export)
    app.command()(backup)
    app.command()(restore)
