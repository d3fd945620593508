"""The command line: every command, and one place where errors become sentences and exit codes.

Exit 0 done; 1 the answer is Unknown or the work failed; 2 the input is wrong.
"""

from __future__ import annotations

import os
import sys

import typer

from scheduler import __version__
from scheduler.commands.common import Fail, say

__all__ = ["app", "main"]

app = typer.Typer(
    name="coatcast",
    help="When to seal log ends, which first, and why.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def _version(wanted: bool) -> None:
    if wanted:
        say(f"coatcast {__version__}")
        raise typer.Exit


@app.callback()
def options(
    version: bool = typer.Option(
        False, "--version", callback=_version, is_eager=True, help="Print the version."
    ),
) -> None:
    """When to seal log ends, which first, and why."""


def _load() -> None:
    from scheduler.commands import keep, plan, rank, register, replay, running, setup, sheet, weather

    setup.register_commands(app)
    weather.register_commands(app)
    rank.register_commands(app)
    plan.register_commands(app)
    sheet.register_commands(app)
    register.register_commands(app)
    running.register_commands(app)
    keep.register_commands(app)
    replay.register_commands(app)


_load()


def main() -> None:
    """Run a command; what goes wrong is said in a sentence, without a traceback."""
    try:
        app()
    except Fail as failure:
        _complain(str(failure))
        sys.exit(failure.code)
    except BrokenPipeError:  # the reader went away, as with | head
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except KeyboardInterrupt:
        sys.exit(130)
    except ValueError as error:
        _complain(str(error))
        sys.exit(2)
    except (OSError, RuntimeError) as error:
        _complain(str(error))
        sys.exit(1)


def _complain(text: str) -> None:
    typer.echo(text, err=True)


if __name__ == "__main__":
    main()
