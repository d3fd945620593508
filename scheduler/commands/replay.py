"""``replay``: a season again on recorded hours, to see what the program would have been worth."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from scheduler.commands.common import Fail, JsonOption, YardOption, print_json, say, session

__all__ = ["register_commands"]

MOST_SEEDS = 200


def replay(
    hours: Annotated[
        Path,
        typer.Argument(
            metavar="HOURS.csv",
            help="Recorded hours: time,air_c,dew_point_c,wind_ms,rain_mm (UTC; rain of the hour before).",
        ),
    ],
    seed: Annotated[int, typer.Option("--seed", help="The first seed of yards, logs and forecasts.")] = 1,
    seeds: Annotated[int, typer.Option("--seeds", help="How many seeds; bands come from them.")] = 5,
    first: Annotated[str | None, typer.Option("--from", metavar="DATE", help="First morning.")] = None,
    last: Annotated[str | None, typer.Option("--to", metavar="DATE", help="Last morning.")] = None,
    learned: Annotated[
        bool, typer.Option("--learned", help="Also play a program that has learned its yard.")
    ] = False,
    picture: Annotated[
        Path | None, typer.Option("--picture", metavar="FILE.svg", help="Write the picture there.")
    ] = None,
    yard: YardOption = None,
    as_json: JsonOption = False,
) -> None:
    """Replay a season on recorded hours: this program, rules of thumb, and one who knew."""
    from scheduler.replay.record import read_hours
    from scheduler.replay.run import days_of
    from scheduler.replay.run import replay as run
    from scheduler.replay.score import score_of
    from scheduler.settings import replay_scheme
    from scheduler.views.replay import replay_json, replay_lines, replay_svg
    from scheduler.weather.series import WeatherError

    if not 1 <= seeds <= MOST_SEEDS or seed < 0:
        raise Fail(f"--seeds {seeds} --seed {seed}: give 1 to {MOST_SEEDS} seeds, the first one 0 or more")
    here = session(yard, None)
    try:
        record = read_hours(_text(hours), replay_scheme()["yard"]["gap"])
        days = days_of(record, here.yard, _day(first, "--from"), _day(last, "--to"))
    except WeatherError as error:
        raise Fail(f"{hours}: {error}") from None
    result = run(record, here.yard, days, range(seed, seed + seeds), learned=learned)
    score = score_of(result)
    currency = here.yard.yard.currency
    if picture is not None:
        picture.write_text(replay_svg(result, score, currency), encoding="utf-8")
    if as_json:
        print_json(replay_json(result, score, currency))
        return
    for line in replay_lines(result, score, currency):
        say(line)


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise Fail(f"{file}: there is no such file") from None
    except IsADirectoryError:
        raise Fail(f"{file}: this is a folder, not a file") from None
    except UnicodeDecodeError:
        raise Fail(f"{file}: this is not a text file in UTF-8") from None


def _day(text: str | None, option: str) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise Fail(f"{option} {text}: not a date; write it as 2025-10-01") from None


def register_commands(app: typer.Typer) -> None:
    """Put this command on the program."""
    app.command()(replay)
