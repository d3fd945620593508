"""Commands that read the weather: today, spans, why.

What brings numpy is imported inside the commands: those that only write do without.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from scheduler.commands.common import (
    AtOption,
    Fail,
    ForecastOption,
    IssuedOption,
    JsonOption,
    Session,
    YardOption,
    print_json,
    read_forecast,
    say,
    session,
)
from scheduler.moments import parse_moment

if TYPE_CHECKING:
    from scheduler.planning.outlook import Outlook
    from scheduler.sources import Forecast

__all__ = ["register_commands"]

PlaceOption = Annotated[
    str | None, typer.Option("--place", help="A place of the yard; default the open yard.")
]


def _outlook(here: Session, forecast: Forecast) -> Outlook:
    from scheduler.service import outlook_of

    if forecast.weather is None or forecast.why is not None:
        raise Fail(f"Unknown. {forecast.why or 'There is no forecast.'}", 1)
    return outlook_of(here.yard, forecast.weather, here.at)


def _known_place(here: Session, place: str | None) -> str | None:
    names = [p.name for p in here.yard.place]
    if place is None or place in names:
        return place
    raise Fail(f"--place {place}: the yard has {', '.join(names) or 'no places of its own'}")


def today(
    yard: YardOption = None,
    at: AtOption = None,
    forecast: ForecastOption = None,
    issued: IssuedOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say whether today is a day to seal, from when to when, what first, and why."""
    from scheduler.learning import remember_asked
    from scheduler.service import brief
    from scheduler.sources import register_of
    from scheduler.views.today import json_of, lines
    from scheduler.views.wording import wrapped

    here = session(yard, at)
    found = read_forecast(here, forecast, issued)
    briefing = brief(here.yard, here.at, found, register_of(here.yard, here.at))
    if as_json:
        print_json(json_of(briefing, here.wording))
    else:
        for line in wrapped(lines(briefing, here.wording)):
            say(line)
        if briefing.question is not None:
            remember_asked(here.yard, briefing.question.key, here.at)
    if briefing.morning.verdict == "unknown":
        raise typer.Exit(1)


def spans(
    yard: YardOption = None,
    at: AtOption = None,
    forecast: ForecastOption = None,
    issued: IssuedOption = None,
    place: PlaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """List every span, and between them what stops the coat."""
    from scheduler.planning.verdict import spans_of, stops_of
    from scheduler.views.starts import spans_json, spans_lines

    here = session(yard, at)
    place = _known_place(here, place)
    outlook = _outlook(here, read_forecast(here, forecast, issued))
    found, stopped = spans_of(outlook, place), stops_of(outlook, place)
    if as_json:
        print_json(spans_json(found, stopped, here.wording))
        return
    for line in spans_lines(found, stopped, here.wording, outlook.trusted_until):
        say(line)


def why(
    time: Annotated[str, typer.Argument(help='A start, such as "Thu 10:00" or 2026-11-05T10:00.')],
    yard: YardOption = None,
    at: AtOption = None,
    forecast: ForecastOption = None,
    issued: IssuedOption = None,
    place: PlaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Go through the rules for one start: value, limit, when."""
    from scheduler.planning.verdict import examine_at
    from scheduler.views.starts import why_json, why_lines

    here = session(yard, at)
    place = _known_place(here, place)
    start = parse_moment(time, at=here.at, zone=here.yard.zone, future=True).time
    outlook = _outlook(here, read_forecast(here, forecast, issued))
    w = here.wording
    last = outlook.time_at(outlook.last_step)
    if not here.at - timedelta(minutes=15) <= start < last:
        end = w.when(last)
        raise Fail(f"{time}: the start must lie between now and {end}, the end of what can be judged")
    examined, milestones, reasons = examine_at(outlook, start, place)
    shown = outlook.time_at(examined.start)
    if as_json:
        print_json(why_json(shown, examined, milestones, reasons, w))
    else:
        for line in why_lines(shown, examined, milestones, reasons, w, outlook.trusted_until):
            say(line)
    if examined.unknown:
        raise typer.Exit(1)


def register_commands(app: typer.Typer) -> None:
    """Put these commands on the program."""
    app.command()(today)
    app.command()(spans)
    app.command()(why)
