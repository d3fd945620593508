"""``log list`` and ``log show``: the register as it stands under the weather that is at hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from scheduler.commands.common import (
    AtOption,
    ForecastOption,
    IssuedOption,
    JsonOption,
    Session,
    YardOption,
    print_json,
    say,
    session,
)

if TYPE_CHECKING:
    from pathlib import Path

    from scheduler.sources import Forecast
    from scheduler.views.logs import Shelf
    from scheduler.yard.facts import Register

__all__ = ["list_logs", "show", "weather_at_hand"]


def weather_at_hand(here: Session, file: Path | None, issued: str | None) -> Forecast:
    """The forecast of the options, else the newest answer that is kept; nobody is asked."""
    from scheduler.commands.common import read_forecast
    from scheduler.sources import kept_forecast

    return kept_forecast(here.yard, here.at) if file is None else read_forecast(here, file, issued)


def _shelf(here: Session, register: Register, forecast: Forecast) -> Shelf:
    from scheduler.coating.product import coating_of
    from scheduler.service import picture
    from scheduler.settings import coating_profiles
    from scheduler.views.logs import Shelf

    seen = picture(here.yard, register, forecast, here.at)
    coating = coating_of(coating_profiles()[here.yard.coating.profile], here.yard.coating)
    keeping = seen.keeping
    return Shelf(
        register, seen.states, seen.jobs, seen.species, coating, keeping.saw_by, keeping.beetles, seen.worths
    )


def list_logs(
    gone: Annotated[bool, typer.Option("--gone", help="Also the logs that are gone.")] = False,
    yard: YardOption = None,
    at: AtOption = None,
    forecast: ForecastOption = None,
    issued: IssuedOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the logs, the state of their ends, and what comes next."""
    from scheduler.sources import register_of
    from scheduler.views.logs import list_json, list_lines
    from scheduler.views.wording import wrapped

    here = session(yard, at)
    register = register_of(here.yard, here.at)
    found = weather_at_hand(here, forecast, issued)
    shelf = _shelf(here, register, found)
    if as_json:
        print_json(list_json(shelf, here.wording, gone=gone))
        return
    for line in wrapped(list_lines(shelf, here.wording, gone=gone)):
        say(line)
    if found.why is not None and not all(state.known for state in shelf.states.values()):
        say(here.wording.words["log.no_forecast"])


def show(
    tag: Annotated[str, typer.Argument(metavar="TAG", help="The log.")],
    yard: YardOption = None,
    at: AtOption = None,
    forecast: ForecastOption = None,
    issued: IssuedOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show one log: its ends, what comes next, and its entries with their numbers."""
    from scheduler.sources import open_register, register_of, store_exists
    from scheduler.views.log_sheet import show_json, show_lines
    from scheduler.views.wording import wrapped
    from scheduler.yard.book import find_log
    from scheduler.yard.state import history

    here = session(yard, at)
    register = register_of(here.yard, here.at)
    log = find_log(register, tag)
    assert store_exists(here.yard)  # a log was found
    with open_register(here.yard) as store:
        lines = history(store.entries(here.yard.yard.key), log.tag)
    shelf = _shelf(here, register, weather_at_hand(here, forecast, issued))
    if as_json:
        print_json(show_json(shelf, log, lines, here.wording))
        return
    for line in wrapped(show_lines(shelf, log, lines, here.wording)):
        say(line)
