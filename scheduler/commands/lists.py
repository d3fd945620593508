"""``reminders`` and ``calendar``: what is wanted, kept in the store and shown."""

from __future__ import annotations

import difflib
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, get_args

import typer

from scheduler.commands.book import iso, moment_of, opened
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
from scheduler.commands.loglist import weather_at_hand
from scheduler.commands.table import write_whole

if TYPE_CHECKING:
    from collections.abc import Sequence

    from scheduler.reminders.queue import Answer
    from scheduler.views.wording import Wording
    from scheduler.yard.store import ReminderRow

__all__ = ["calendar", "reminders"]

OPEN = ("planned", "sent")
SAID = {"done": "reminder.done", "drop": "reminder.drop", "later": "reminder.later"}


# ------------------------------------------------------------------ reminders


def reminders(
    words: Annotated[
        list[str] | None, typer.Argument(metavar="[done|later|drop ID...]", help="Alone: the list.")
    ] = None,
    due: Annotated[bool, typer.Option("--due", help="Only what is due now.")] = False,
    everything: Annotated[
        bool, typer.Option("--all", help="Also what is done, dropped, called off.")
    ] = False,
    until: Annotated[
        str | None, typer.Option("--until", metavar="TIME", help="later: rest till then; default a day.")
    ] = None,
    yard: YardOption = None,
    at: AtOption = None,
    forecast: ForecastOption = None,
    issued: IssuedOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the reminders; answer one: reminders done 12, reminders later 12 --until Friday."""
    from scheduler.views.reminder import reminder_text
    from scheduler.views.wording import wrapped

    here = session(yard, at)
    rows: Sequence[ReminderRow]
    if words:
        rows = _answered(here, words, until)
    else:
        if until is not None:
            raise Fail("--until goes with: coatcast reminders later ID")
        rows = _listed(here, forecast, issued, due=due, everything=everything)
    if as_json:
        print_json({"reminders": [_row_json(here, row) for row in rows]})
        return
    w = here.wording
    if words:
        verb = w.words[SAID[words[0].casefold()]]
        told = (reminder_text(row, w) for row in rows)
        lines = [w.words.say("reminder.answered", answer=verb, text=text) for text in told]
    else:
        lines = [_row_line(row, w) for row in rows]
    for line in wrapped(lines):
        say(line)
    if not rows:
        say(w.words["reminder.none_due" if due else "reminder.none"])


def _listed(
    here: Session, file: Path | None, issued: str | None, *, due: bool, everything: bool
) -> Sequence[ReminderRow]:
    from scheduler.reminders.queue import due as of_those_due
    from scheduler.service import refresh_reminders

    rows = refresh_reminders(here.yard, here.at, weather_at_hand(here, file, issued))
    if due:
        return of_those_due(rows, here.at)
    shown = rows if everything else [row for row in rows if row.state in OPEN]
    return sorted(shown, key=lambda row: (_due(row), row.id or 0))


def _answered(here: Session, words: list[str], until: str | None) -> list[ReminderRow]:
    from scheduler.reminders.queue import Answer, mark
    from scheduler.views.reminder import reminder_text

    verb, ids = words[0].casefold(), [part for word in words[1:] for part in word.split(",") if part]
    known: tuple[Answer, ...] = get_args(Answer)
    found = next((answer for answer in known if answer == verb), None)
    if found is None:
        near = difflib.get_close_matches(verb, known, 1)
        hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(known)}"
        raise Fail(f"reminders {words[0]}: {hint}")
    if not ids:
        raise Fail(f"Which one? coatcast reminders gives the numbers; then: coatcast reminders {verb} 12")
    if until is not None and found != "later":
        raise Fail("--until goes with later, not with done or drop.")
    wait = None if until is None else _wait(here, until)
    with opened(here) as store:
        key, said = here.yard.yard.key, partial(reminder_text, w=here.wording)
        return [mark(store, key, one, found, here.at, wait, said=said) for one in ids]


def _wait(here: Session, text: str) -> datetime:
    return moment_of(here, text, "--until", future=True).first


def _due(row: ReminderRow) -> datetime:
    return row.due_at if row.later_until is None else max(row.due_at, row.later_until)


def _row_json(here: Session, row: ReminderRow) -> dict[str, Any]:
    from scheduler.views.reminder import reminder_text

    return {
        "id": row.id,
        "kind": row.kind,
        "tag": row.tag,
        "end": row.end,
        "due": iso(here, _due(row)),
        "state": row.state,
        "text": reminder_text(row, here.wording),
    }


def _row_line(row: ReminderRow, w: Wording) -> str:
    """ "  12  Sat 1 Nov  H01 wild cherry, butt: first coat. ..."."""
    from scheduler.views.reminder import reminder_text, state_words

    when = "" if row.kind in ("span", "season") else f"{w.day(_due(row)):<10} "
    line, state = f"{row.id:>4}  {when}{reminder_text(row, w)}", state_words(row.state, w)
    return w.words.say("reminder.line_state", line=line, state=state) if state else line


# ------------------------------------------------------------------ calendar


def calendar(
    output: Annotated[
        Path | None, typer.Option("-o", "--output", metavar="FILE", help="Default: standard output.")
    ] = None,
    view: Annotated[bool, typer.Option("--view", help="Print it as an agenda instead.")] = False,
    address: Annotated[
        bool, typer.Option("--address", help="Only tell the secret address to subscribe to.")
    ] = False,
    new_address: Annotated[
        bool, typer.Option("--new-address", help="Give it another address; the old one is dead at once.")
    ] = False,
    yard: YardOption = None,
    at: AtOption = None,
    forecast: ForecastOption = None,
    issued: IssuedOption = None,
) -> None:
    """Write the calendar (iCalendar): when to brush, and what is due."""
    from scheduler.service import refresh_reminders
    from scheduler.views.calendar import agenda, calendar_bytes

    here = session(yard, at)
    if address or new_address:
        _tell_address(here, new_address)
        return
    found = read_forecast(here, forecast, issued)
    rows = refresh_reminders(here.yard, here.at, found)
    for trouble in (found.why, found.fallback):
        if trouble:
            typer.echo(trouble, err=True)
    y = here.yard
    if view:
        typer.echo(agenda(rows, y.zone, y.yard.units, y.feed, at=here.at, language=y.yard.language), nl=False)
        if output is None:
            return
    data = calendar_bytes(
        rows, y.yard.name, y.zone, y.yard.units, y.feed, at=here.at, language=y.yard.language
    )
    if output is None:
        typer.echo(data, nl=False)
        return
    write_whole(output, data)
    count = data.count(b"BEGIN:VEVENT")
    words = here.wording.words
    say(words.say("calendar.written_one" if count == 1 else "calendar.written", file=output, count=count))


def _tell_address(here: Session, new: bool) -> None:
    """Print the feed's address; where others reach the page, under that name."""
    from scheduler.web.keys import change_feed, keys_of

    file = here.yard.path
    if file is None:
        raise Fail("The calendar has an address only beside a yard file.")
    try:
        keys = change_feed(file.resolve()) if new else keys_of(file.resolve())
    except OSError as error:
        raise Fail(str(error), 1) from None
    words = here.wording.words
    base = here.yard.page.address or "http://localhost:8732"
    say(f"{base}/feed/{keys.feed}.ics")
    if new:
        typer.echo(words["calendar.old_dead"], err=True)
    if here.yard.page.address is None:
        typer.echo(words["calendar.only_name"], err=True)
    typer.echo(words["calendar.whoever"], err=True)
