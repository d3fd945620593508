"""The command line: every command, and one place where errors become sentences and exit codes.

Exit 0 done; 1 the answer is Unknown or the work failed; 2 the input is wrong.
"""

from __future__ import annotations

import os
import sys
from importlib import import_module

import typer

from scheduler import __version__
from scheduler.commands.common import Fail, say

__all__ = ["main", "program"]

PARTS = ("setup", "weather", "rank", "plan", "sheet", "register", "running", "keep", "replay")
# What is asked every morning loads its own part alone: the others cost a tenth of a second.
MORNING = {"today": "weather", "spans": "weather", "why": "weather"}


def _version(wanted: bool) -> None:
    if wanted:
        say(f"coatcast {__version__}")
        raise typer.Exit


def options(
    version: bool = typer.Option(
        False, "--version", callback=_version, is_eager=True, help="Print the version."
    ),
) -> None:
    """When to seal log ends, which first, and why."""


def program(named: str = "") -> typer.Typer:
    """The program with all its commands; with those of one part where a command of the morning is named."""
    app = typer.Typer(
        name="coatcast",
        help="When to seal log ends, which first, and why.",
        no_args_is_help=True,
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
    )
    app.callback()(options)
    for part in (MORNING[named],) if named in MORNING else PARTS:
        import_module(f"scheduler.commands.{part}").register_commands(app)
    return app


def main() -> None:
    """Run a command; what goes wrong is said in a sentence, without a traceback."""
    try:
        program(*sys.argv[1:2])()
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
