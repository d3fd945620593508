"""The commands of the register: log, note, undo, seen, pail, away, reminders, calendar, set."""

from __future__ import annotations

import typer

from scheduler.commands import change, lists, log, loglist, note, table, yard
from scheduler.commands import set as settings

__all__ = ["register_commands"]

FREE = {"ignore_unknown_options": True}  # "-3" is a temperature, not an option


def register_commands(app: typer.Typer) -> None:
    """Put these commands on the program."""
    logs = typer.Typer(help="The logs: add, list, show, change, import, export.", no_args_is_help=True)
    logs.command("add")(log.add)
    logs.command("list")(loglist.list_logs)
    logs.command("show")(loglist.show)
    logs.command("change")(change.change)
    logs.command("import")(table.import_logs)
    logs.command("export")(table.export_logs)
    app.add_typer(logs, name="log")
    app.command()(note.note)
    app.command()(note.undo)
    app.command(context_settings=FREE)(yard.seen)
    app.command()(yard.pail)
    app.command()(yard.away)
    app.command()(lists.reminders)
    app.command()(lists.calendar)
    app.command("set", context_settings=FREE)(settings.set_value)
