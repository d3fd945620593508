"""``tick`` and ``serve``: the background work, one round of it or for as long as somebody lets it run."""

from __future__ import annotations

import sys
from contextlib import nullcontext, redirect_stdout
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated, Any

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
    from scheduler.delivery import Told
    from scheduler.tick import Round

__all__ = ["register_commands", "serve", "tick"]


def tick(
    yard: YardOption = None,
    at: AtOption = None,
    forecast: ForecastOption = None,
    issued: IssuedOption = None,
    as_json: JsonOption = False,
) -> None:
    """Run one round: ask for the forecast, plan, and send what is due. For cron, once a minute or an hour."""
    import scheduler.tick as rounds
    from scheduler.sources import open_register

    here = session(yard, at)
    given = read_forecast(here, forecast, issued) if forecast is not None else None

    def clock() -> datetime:
        return datetime.now(UTC) if at is None else here.at

    shown = redirect_stdout(sys.stderr) if as_json else nullcontext()  # of a notice on the screen
    with open_register(here.yard) as store, shown:
        done = rounds.tick(store, here.yard, clock, plan=rounds.plan_of(given), force=given is not None)
    if as_json:
        print_json(_json(here, done))
        return
    for line in _lines(here, done):
        typer.echo(line, err=True)  # the notice itself may be on the screen: what was done stands beside it


def _lines(here: Session, done: Round) -> list[str]:
    w = here.wording
    out = []
    why = done.forecast.get("why") or done.forecast.get("fallback")
    if why:
        out.append(str(why))
    if done.why_not:
        out.append(f"Not planned: {done.why_not}.")
    d = done.delivered
    out += [f"Sent through {one.channel}: {one.subject} ({one.why})" for one in d.sent]
    for one in d.waiting:
        again = "" if one.again_at is None else f" Again {w.when(one.again_at)}."
        out.append(f"Not sent yet through {one.channel}: {one.subject}. {one.why}{again}")
    out += [f"Given up through {one.channel}: {one.subject}. {one.why}" for one in d.failed]
    if done.expired:
        out.append(f"Of no more use and not sent: {done.expired}. coatcast verify says which.")
    return out or ["Nothing to send."]


def _json(here: Session, done: Round) -> dict[str, Any]:
    def told(one: Told) -> dict[str, Any]:
        again = None if one.again_at is None else one.again_at.astimezone(here.yard.zone).isoformat()
        shown = {"kind": one.kind, "channel": one.channel, "subject": one.subject}
        return {"key": one.key, **shown, "why": one.why, "again": again}

    changes = done.changes
    return {
        "yard": here.yard.yard.name,
        "at": done.at.astimezone(here.yard.zone).isoformat(),
        "planned": done.planned,
        "forecast": dict(done.forecast),
        "reminders": {
            "added": len(changes.added),
            "moved": len(changes.moved),
            "cancelled": len(changes.cancelled),
            "finished": len(changes.finished),
        },
        "put": list(done.put),
        "sent": [told(one) for one in done.delivered.sent],
        "waiting": [told(one) for one in done.delivered.waiting],
        "failed": [told(one) for one in done.delivered.failed],
        "expired": done.expired,
    }


def serve(
    lan: Annotated[
        bool, typer.Option("--lan", help="Let phones on the same Wi-Fi reach the page too.")
    ] = False,
    port: Annotated[int, typer.Option("--port", min=1, max=65535, help="Port of the page.")] = 8732,
    host: Annotated[
        str, typer.Option("--host", help="Address to listen on; default this computer alone.")
    ] = "127.0.0.1",
    every: Annotated[float, typer.Option("--every", min=1, max=3600, help="Seconds between rounds.")] = 60,
    yard: YardOption = None,
) -> None:
    """Run the page, the feed and the background work until stopped (Ctrl-C)."""
    from scheduler.serve import serve as run_all
    from scheduler.settings import find_yard_file

    try:
        file = find_yard_file(yard).resolve()
        say(f"Coatcast runs for {file}. Nothing is looked at or sent while this computer sleeps.")
        run_all(file, every=every, host=host, port=port, lan=lan)
    except ModuleNotFoundError as error:
        raise Fail(f"{error.name} is not installed. Install it with: pip install coatcast", 1) from None


def register_commands(app: typer.Typer) -> None:
    """Put these commands on the program."""
    app.command()(tick)
    app.command()(serve)
