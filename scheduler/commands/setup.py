"""Commands that set up, check and show: init, verify, demo."""

from __future__ import annotations

import os
import sys
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import typer

from scheduler.commands.common import (
    AtOption,
    Fail,
    JsonOption,
    Session,
    YardOption,
    print_json,
    say,
    session,
)
from scheduler.places import parse_place
from scheduler.settings import (
    Endpoint,
    SettingsError,
    endpoints,
    example_yard,
    home_yard_file,
    load_yard,
)
from scheduler.views.yard_file import terms, yard_text

if TYPE_CHECKING:
    from scheduler.selfcheck import Check

__all__ = ["register_commands"]


def country_of(zone: str) -> str | None:
    """Country code of a time zone from the tz database's own table; None where it lists none."""
    table = files("tzdata") / "zoneinfo" / "zone.tab"
    for line in table.read_text(encoding="utf-8").splitlines():
        parts = line.split("\t")
        if not line.startswith("#") and len(parts) > 2 and parts[2] == zone:
            return parts[0]
    return None


def units_of(zone: str) -> str:
    """ "us" where the zone lies in the United States, else "metric"."""
    return "us" if country_of(zone) == "US" or zone.startswith("US/") else "metric"


def known_zone(zone: str) -> bool:
    """Whether the tz database has a zone of that name."""
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def computer_zone() -> str | None:
    """The computer's time zone by name: TZ, else where /etc/localtime points, else /etc/timezone."""
    named = os.environ.get("TZ", "").lstrip(":")
    link = Path("/etc/localtime")
    target = str(link.resolve()) if link.is_symlink() else ""
    file = Path("/etc/timezone")
    told = file.read_text(encoding="utf-8").strip() if file.is_file() else ""
    for zone in (named, target.partition("zoneinfo/")[2], told):
        if zone and known_zone(zone):
            return zone
    return None


def _service(given: str | None) -> tuple[str | None, Endpoint | None]:
    """Address of an endpoint by its short name or as it stands."""
    if given is None:
        return None, None
    known = endpoints()
    if given in known:
        return known[given].url, known[given]
    if "://" in given:
        return given, None
    raise Fail(f"--endpoint {given}: give a web address, or one of {', '.join(known)}")


def init(
    place: Annotated[str | None, typer.Option(help="As a map gives it: 48.0123, 8.2345")] = None,
    zone: Annotated[
        str | None, typer.Option(help="Time zone such as Europe/Berlin; default the computer's.")
    ] = None,
    endpoint: Annotated[
        str | None, typer.Option(help="Web address or short name of an open weather service.")
    ] = None,
    output: Annotated[Path | None, typer.Option("-o", "--output", help="Yard file to write.")] = None,
) -> None:
    """Write a commented yard file."""
    if place is None and sys.stdin.isatty():
        place = typer.prompt("Where is the yard? Copy the place from a map, such as 48.0123, 8.2345")
    if place is None:
        raise Fail("--place is missing: copy the yard's place from a map, such as --place 48.0123,8.2345")
    lat, lon = parse_place(place)
    if zone is not None and not known_zone(zone):
        raise Fail(f"--zone {zone}: there is no such time zone; write one such as Europe/Berlin")
    zone = zone or computer_zone() or "UTC"
    url, service = _service(endpoint)
    path = output or home_yard_file()
    if path.exists():
        raise Fail(
            f"{path} is there already. Change it with an editor or coatcast set, or name another with -o"
        )
    family = service.family if service else None
    needs = bool(service and service.contact_needed)
    text = yard_text(example_yard(), lat, lon, zone, units_of(zone), url, family, needs)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text + "\n".join(terms(endpoints())) + "\n", encoding="utf-8")
    try:
        load_yard(path)
    except SettingsError:  # an address that cannot be one: nothing half right is left behind
        path.unlink()
        raise
    say(f"Written: {path}")
    say(f"Place {lat:.4f}, {lon:.4f}; zone {zone}.")
    if url is None:
        say(
            "No weather service named yet: put its address under [forecast] url. Some are listed in the file:"
        )
        for name, one in endpoints().items():
            say(f"  {name:8} {one.title}")
    elif service is not None:
        say(f"Its terms: {service.terms}")
    if needs:
        say("It wants to know who asks: put your own address under [forecast] contact.")
    say("No message is not a yes: while this computer sleeps, nothing is looked at and nothing is sent.")
    say("Next: coatcast verify")


def verify(
    yard: YardOption = None,
    at: AtOption = None,
    as_json: JsonOption = False,
    send: Annotated[
        str | None, typer.Option("--send", metavar="CHANNEL", help="Send a test to a channel.")
    ] = None,
    scores: Annotated[
        bool, typer.Option("--scores", help="Hold kept forecasts against what came: were we right?")
    ] = False,
    observed: Annotated[
        Path | None,
        typer.Option("--observed", metavar="FILE", help="With --scores: hours of a station or sensor."),
    ] = None,
) -> None:
    """Check settings, store, endpoint and channels, each with a plain result."""
    from scheduler.selfcheck import checks

    here = session(yard, at)
    if observed is not None and not scores:
        raise Fail("--observed goes with --scores")
    if scores:
        _say_scores(here, observed, as_json)
        return
    if send is not None:
        _send_test(here, send)
        return
    results: list[Check] = checks(here.yard, here.at)
    if as_json:
        print_json({"checks": [{"name": c.name, "ok": c.ok, "said": c.said} for c in results]})
    else:
        for check in results:
            say(f"{'ok' if check.ok else 'NO':3} {check.name}: {check.said}")
    if not all(check.ok for check in results):
        raise typer.Exit(1)


def _say_scores(here: Session, observed: Path | None, as_json: bool) -> None:
    """The yard's record of what was said and what came."""
    from scheduler.selfcheck import verified
    from scheduler.views.scores import scores_json, scores_lines
    from scheduler.weather.series import WeatherError

    try:
        body = None if observed is None else observed.expanduser().read_bytes()
        found = verified(here.yard, here.at, body)
    except FileNotFoundError:
        raise Fail(f"--observed {observed}: there is no such file") from None
    except (OSError, WeatherError) as error:
        raise Fail(f"--observed {observed}: {error}") from None
    if as_json:
        print_json(scores_json(found))
        return
    for line in scores_lines(found, here.wording):
        say(line)


def _send_test(here: Session, name: str) -> None:
    """A real test through a channel; says what came of it."""
    from datetime import UTC, datetime

    from scheduler.delivery import resolved
    from scheduler.reminders.channels import send, test_message
    from scheduler.settings import Channel

    named = [*here.yard.channels, Channel(kind="screen")]
    channel = next((c for c in named if name in (c.name, c.kind)), None)
    if channel is None:
        there = ", ".join(dict.fromkeys(c.label for c in named))
        raise Fail(f"--send {name}: the yard file has no such [[channel]]; there is {there}")
    words, at = here.wording.words, here.at.astimezone(here.yard.zone)
    subject, text = words["reminder.test_subject"], words["reminder.test"]
    message = test_message(here.yard.yard.name, at, subject=subject, text=text)
    target = resolved(channel, here.yard)
    outcome = send(target, message, yard_name=here.yard.yard.name, clock=lambda: datetime.now(UTC))
    if not outcome.ok:
        raise Fail(f"Not sent through {channel.label}. {outcome.why}", 1)
    say(f"Sent through {channel.label}: {outcome.why}.")


def demo(
    out: Annotated[Path, typer.Option("--out", help="Folder for the calendar file and the picture.")] = Path(
        "demo-out"
    ),
) -> None:
    """Show the main job on the bundled yard and weather, without any network."""
    from scheduler.demo import demo_story

    story = demo_story()
    for line in story.lines:
        say(line)
    out.mkdir(parents=True, exist_ok=True)
    for name, data in story.files.items():
        (out / name).write_bytes(data)
    entries = story.files[story.calendar].count(b"BEGIN:VEVENT")
    say()
    say(f"Written: {out / story.calendar} ({entries} entries), {out / story.picture}")
    say("Next, the frost rule in numbers:")
    say(f'  coatcast why "Thu 11:00" --yard {out / "yard.toml"} \\')
    say(f"    --forecast {out / 'weather.json'} --issued 2025-11-03T04:00 \\")
    say("    --at 2025-11-03T05:45")


def register_commands(app: typer.Typer) -> None:
    """Put these commands on the program."""
    app.command()(demo)
    app.command()(init)
    app.command()(verify)
