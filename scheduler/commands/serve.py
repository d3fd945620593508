"""``serve``: the page and the feed, until stopped."""

from __future__ import annotations

from typing import Annotated

import typer

from scheduler.commands.common import YardOption, say

__all__ = ["register_commands", "serve"]


def serve(
    lan: Annotated[
        bool, typer.Option("--lan", help="Let phones on the same network reach it, by a secret address.")
    ] = False,
    port: Annotated[int, typer.Option("--port", min=1, max=65535, help="Port of the page.")] = 8732,
    yard: YardOption = None,
) -> None:
    """Run the page and the calendar feed until stopped (Ctrl-C)."""
    from scheduler.settings import find_yard_file, load_yard
    from scheduler.web.run import run_page

    file = find_yard_file(yard)
    load_yard(file)  # a file at fault is told of as everywhere
    run_page(file, port=port, lan=lan, say=say)


def register_commands(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command()(serve)
