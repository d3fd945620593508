"""``sheet`` and ``tags``: paper for the wall and for the logs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from scheduler.commands.common import (
    AtOption,
    Fail,
    ForecastOption,
    IssuedOption,
    Session,
    YardOption,
    read_forecast,
    say,
    session,
)
from scheduler.commands.table import write_whole

if TYPE_CHECKING:
    from scheduler.views.paper import PaperName

__all__ = ["register_commands"]

OutputOption = Annotated[
    Path | None, typer.Option("-o", "--output", metavar="FILE", help="Default: standard output.")
]
PaperOption = Annotated[
    str | None, typer.Option("--paper", metavar="a4|letter", help="Default: letter where units are US.")
]


def sheet(
    output: OutputOption = None,
    week: Annotated[bool, typer.Option("--week", help="The whole week instead of the day.")] = False,
    paper: PaperOption = None,
    with_tags: Annotated[
        bool, typer.Option("--tags", help="Instead: a tag for every log, as coatcast tags.")
    ] = False,
    yard: YardOption = None,
    at: AtOption = None,
    forecast: ForecastOption = None,
    issued: IssuedOption = None,
) -> None:
    """Write the wall sheet: one page (HTML) with the day's work and boxes to tick."""
    here = session(yard, at)
    size = _paper(here, paper)
    if with_tags:
        if week:
            raise Fail("--week goes with the sheet, not with the tags.")
        _tags(here, None, size, output)
        return
    from scheduler.planning.night import days_of
    from scheduler.service import brief, picture
    from scheduler.sources import register_of
    from scheduler.views.sheet import sheet_html

    found = read_forecast(here, forecast, issued)
    register = register_of(here.yard, here.at)
    seen = picture(here.yard, register, found, here.at)
    briefing = brief(here.yard, here.at, found, register, seen)
    for trouble in (found.why, found.fallback):
        if trouble:
            typer.echo(trouble, err=True)
    days = days_of(seen.outlook, 7) if week and seen.outlook is not None else []
    _written(
        output, sheet_html(briefing, here.wording, size, week=week, days=days, jobs=seen.jobs if week else ())
    )


def tags(
    which: Annotated[
        str | None, typer.Argument(metavar="[TAGS]", help="H01,H03,H05-H07; none: every log.")
    ] = None,
    output: OutputOption = None,
    paper: PaperOption = None,
    yard: YardOption = None,
    at: AtOption = None,
) -> None:
    """Write log tags (HTML): the tag in big letters with a QR code, eight to a page."""
    here = session(yard, at)
    _tags(here, which, _paper(here, paper), output)


def _paper(here: Session, said: str | None) -> PaperName:
    from scheduler.views.paper import PAPERS

    if said is None:
        return "letter" if here.yard.yard.units == "us" else "a4"
    for name in PAPERS:
        if said.strip().casefold() == name:
            return name
    raise Fail(f"--paper {said}: there are {' and '.join(PAPERS)}")


def _tags(here: Session, which: str | None, size: PaperName, output: Path | None) -> None:
    from scheduler.settings import species_table
    from scheduler.sources import register_of
    from scheduler.views.tags import tags_html
    from scheduler.yard.tags import parse_tags

    register = register_of(here.yard, here.at)
    if which is None:
        logs = register.present
    else:
        found = (register.log(tag) for tag in parse_tags(which, register))
        logs = tuple(log for log in found if log is not None)
    if not logs:
        raise Fail("No logs yet, so there is nothing to tag. Add one with: coatcast log add walnut 22in")
    y = here.yard
    address, words = y.page.address, here.wording.words
    _written(output, tags_html(logs, species_table(), here.wording, y.yard.name, address, size))
    if output is not None:
        say(words["tags.carries"] if address is None else words.say("tags.opens", address=address))


def _written(output: Path | None, html: str) -> None:
    data = html.encode("utf-8")
    if output is None:
        typer.echo(data, nl=False)
        return
    write_whole(output, data)
    say(f"Written: {output} (open it in a browser and print it)")


def register_commands(app: typer.Typer) -> None:
    """Put these commands on the program."""
    app.command()(sheet)
    app.command()(tags)
