"""``rank`` and ``season``: what waiting costs, and how long there is time."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.common import (
    AtOption,
    Fail,
    ForecastOption,
    IssuedOption,
    JsonOption,
    YardOption,
    print_json,
    read_forecast,
    say,
    session,
)
from scheduler.commands.loglist import weather_at_hand

__all__ = ["register_commands"]


def rank(
    cuts: Annotated[
        bool, typer.Option("--cuts", help="Instead: what cuts and the saw found, beside the estimates.")
    ] = False,
    yard: YardOption = None,
    at: AtOption = None,
    forecast: ForecastOption = None,
    issued: IssuedOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the ends by what waiting costs: in length and, with a price, in money."""
    from scheduler.service import estimates, picture
    from scheduler.sources import register_of
    from scheduler.views.rank import cuts_json, cuts_lines, rank_json, rank_lines
    from scheduler.views.wording import wrapped

    here = session(yard, at)
    register = register_of(here.yard, here.at)
    if cuts:
        rows, taught = estimates(here.yard, register, weather_at_hand(here, forecast, issued), here.at)
        if as_json:
            print_json(cuts_json(rows, taught))
            return
        for line in cuts_lines(rows, taught, here.wording):
            say(line)
        return
    found = read_forecast(here, forecast, issued)
    seen = picture(here.yard, register, found, here.at)
    if as_json:
        print_json(rank_json(seen.jobs, seen.worths, seen.states))
        return
    for line in wrapped(rank_lines(seen.jobs, seen.worths, register, seen.species, here.wording)):
        say(line)
    if found.why is not None:
        words = here.wording.words
        say(words.say("rank.no_forecast", why=words.told(found.why)))


def season(
    history: Annotated[
        Path | None,
        typer.Option(
            "--history", metavar="DAILY.csv", help="Past days: date,min_c,max_c,rain_mm; else the archive."
        ),
    ] = None,
    yard: YardOption = None,
    at: AtOption = None,
    forecast: ForecastOption = None,
    issued: IssuedOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say how many days for the brush are left before winter, what fits, and what to do with the rest."""
    from scheduler.service import season_ahead
    from scheduler.views.season import season_json, season_lines
    from scheduler.views.winter import winter_json, winter_lines
    from scheduler.views.wording import wrapped
    from scheduler.weather.series import WeatherError

    here = session(yard, at)
    found = read_forecast(here, forecast, issued)
    try:
        ahead = season_ahead(here.yard, here.at, found, history)
    except FileNotFoundError:
        raise Fail(f"--history {history}: there is no such file") from None
    except WeatherError as error:
        if history is not None:
            raise Fail(f"{history}: {error}") from None
        raise Fail(here.wording.words.told(str(error)), 1) from None
    if as_json:
        print_json({**season_json(ahead.season), **winter_json(ahead.winter)})
        return
    w, seen = here.wording, ahead.seen
    own = winter_lines(ahead.winter, ahead.season, seen.register, seen.species, w)
    noted = [w.words.told(text) for text in ahead.said]
    for line in wrapped([*season_lines(ahead.season, w), *noted, *own]):
        say(line)


def register_commands(app: typer.Typer) -> None:
    """Put these commands on the program."""
    app.command()(rank)
    app.command()(season)
