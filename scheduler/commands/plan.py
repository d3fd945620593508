"""``plan``: who does what when, and what if. It writes nothing, unless ``--keep`` is said."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
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

if TYPE_CHECKING:
    from scheduler.service import Asked, WeekAhead
    from scheduler.sources import Forecast
    from scheduler.views.week import Board
    from scheduler.yard.facts import Register

__all__ = ["register_commands"]

MOST_PEOPLE = 20
LONGEST = 16  # days: no forecast reaches further


def plan(
    days: Annotated[
        int, typer.Option("--days", min=1, max=LONGEST, help="How many days, today among them.")
    ] = 7,
    by: Annotated[
        str | None, typer.Option("--by", metavar="DAY", help="What if: can it be done by then? fri, 7 Nov.")
    ] = None,
    people: Annotated[
        int | None,
        typer.Option("--people", min=1, max=MOST_PEOPLE, help="What if: so many people every day."),
    ] = None,
    litres: Annotated[
        str | None, typer.Option("--litres", metavar="L", help="What if: so much wax, such as 2 or 2L.")
    ] = None,
    only: Annotated[
        str | None, typer.Option("--only", metavar="TAGS", help="What if: these logs alone, H01,H03,H05-H07.")
    ] = None,
    also: Annotated[
        list[str] | None,
        typer.Option("--also", metavar="LOGS", help='What if I buy: --also "3 elm 20in"; as in log add.'),
    ] = None,
    exact: Annotated[
        bool, typer.Option("--exact", help="To the proven optimum, by the solver HiGHS.")
    ] = False,
    keep: Annotated[
        bool, typer.Option("--keep", help="Hold to these times: later plans move them only for a gain.")
    ] = False,
    yard: YardOption = None,
    at: AtOption = None,
    forecast: ForecastOption = None,
    issued: IssuedOption = None,
    as_json: JsonOption = False,
) -> None:
    """Plan the week: who does what when, and what is left out. With a what-if: whether it fits."""
    from scheduler.service import Asked, former_plan, keep_plan, week_ahead
    from scheduler.sources import register_of

    here = session(yard, at)
    what_if = any(x is not None for x in (by, people, litres, only)) or bool(also)
    if keep and what_if:
        raise Fail("--keep keeps the plan as it is; a what-if writes nothing. Leave out one of the two.")
    found = read_forecast(here, forecast, issued)
    register = register_of(here.yard, here.at)
    bought: tuple[str, ...] = ()
    if also:
        register, bought = _with_logs(here, also)
    about = None if only is None else frozenset(_tags(only, register))
    ask = Asked(
        days=days,
        until=None if by is None else _until(here, by),
        people=people,
        litres=None if litres is None else _litres(litres),
        only=None if about is None else about | frozenset(bought),
        about=frozenset(bought) or about,
        what_if=what_if,
        anyway=by is not None or bool(also),
        exact=exact,
    )
    ahead = week_ahead(here.yard, register, found, here.at, ask, former_plan(here.yard, here.at))
    if ahead is None:
        words = here.wording.words
        raise Fail(words.say("plan.unknown", why=words.told(found.why or "")).strip(), 1)
    if keep:
        keep_plan(here.yard, ahead.week.plan, here.at)
    pushed = _pushed(here, found, ask, ahead, bought) if bought else ()
    _tell(here, ahead, what_if, ask, pushed, by, as_json)


def _tell(
    here: Session,
    ahead: WeekAhead,
    what_if: bool,
    ask: Asked,
    pushed: tuple[str, ...],
    by: str | None,
    as_json: bool,
) -> None:
    from scheduler.views.week import week_json, week_lines, what_if_json, what_if_lines
    from scheduler.views.wording import wrapped

    board, w = _board(ahead), here.wording
    tags = sorted(ask.about) if ask.about is not None else None
    if what_if and as_json:
        print_json(what_if_json(ahead.week, board, w, ahead.helps, tags=tags, pushed=pushed))
    elif as_json:
        print_json(week_json(ahead.week, board, w))
    elif what_if:
        lines = what_if_lines(ahead.week, board, w, ahead.helps, tags=tags, pushed=pushed, until_said=by)
        for line in wrapped(lines):
            say(line)
    else:
        for line in wrapped(week_lines(ahead.week, board, w)):
            say(line)


def _board(ahead: WeekAhead) -> Board:
    from scheduler.planning.verdict import spans_of, stops_of
    from scheduler.views.week import Board

    seen = ahead.seen
    outlook, valued = seen.outlook, seen.valued
    assert outlook is not None
    money = None
    if valued is not None and valued.ledger.money_per_point:
        money = (outlook.yard.yard.currency, valued.ledger.money_per_point)
    return Board(
        register=seen.register,
        species=seen.species,
        spans=spans_of(outlook),
        stopped=stops_of(outlook),
        worths=seen.worths,
        saw_by=seen.keeping.saw_by,
        stock=ahead.setting.litres,
        money=money,
        trusted_until=outlook.trusted_until,
    )


# ------------------------------------------------------------------ what is asked


def _until(here: Session, text: str) -> datetime:
    """The end of the day that is named."""
    from scheduler.commands.book import moment_of

    zone = here.yard.zone
    day = moment_of(here, text, "--by", future=True).time.astimezone(zone).date()
    until = datetime.combine(day + timedelta(days=1), time(), zone).astimezone(UTC)
    if until <= here.at:
        raise Fail(f"--by {text}: that day is over; name one to come")
    if until > here.at + timedelta(days=LONGEST + 1):
        raise Fail(f"--by {text}: no forecast reaches so far; name a day of the next {LONGEST}")
    return until


def _litres(text: str) -> float:
    from scheduler.units import UnitError, parse_volume

    try:
        return parse_volume(text, "l")
    except UnitError as error:
        raise Fail(f"--litres: {error}") from None


def _tags(text: str, register: Register) -> tuple[str, ...]:
    from scheduler.yard.tags import parse_tags

    return parse_tags(text, register)


def _with_logs(here: Session, lines: list[str]) -> tuple[Register, tuple[str, ...]]:
    """The register as if some logs had just come in, and their tags; nothing is written."""
    from scheduler.commands.log import as_if_added
    from scheduler.sources import entries_of
    from scheduler.yard.state import fold

    entries = entries_of(here.yard)
    before = {log.tag for log in fold(entries, here.at).logs}
    for line in lines:
        try:
            entries = as_if_added(here, line.split(), entries)
        except (Fail, ValueError) as error:
            raise Fail(f'--also "{line}": {error}') from None
    register = fold(entries, here.at)
    return register, tuple(log.tag for log in register.logs if log.tag not in before)


def _pushed(
    here: Session, found: Forecast, ask: Asked, ahead: WeekAhead, bought: tuple[str, ...]
) -> tuple[str, ...]:
    """Tags of the yard's own logs that had their hours without the new ones, and have none with them."""
    from dataclasses import replace

    from scheduler.planning.week import fits
    from scheduler.service import week_ahead
    from scheduler.sources import register_of

    alone = replace(ask, what_if=False, about=None)
    without = week_ahead(here.yard, register_of(here.yard, here.at), found, here.at, alone)
    if without is None:
        return ()
    left = set(fits(ahead.week)[1])
    return tuple(tag for tag in fits(without.week)[0] if tag in left and tag not in bought)


def register_commands(app: typer.Typer) -> None:
    """Put this command on the program."""
    app.command()(plan)
