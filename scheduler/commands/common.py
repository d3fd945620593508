"""What all commands share: the yard file, the clock, how to print, how to fail."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from scheduler.settings import YardFile, find_yard_file, load_yard

if TYPE_CHECKING:
    from scheduler.sources import Forecast
    from scheduler.views.wording import Wording

__all__ = [
    "AtOption",
    "Fail",
    "ForecastOption",
    "IssuedOption",
    "JsonOption",
    "Session",
    "YardOption",
    "parse_at",
    "print_json",
    "read_forecast",
    "say",
    "session",
]

YardOption = Annotated[
    Path | None,
    typer.Option("--yard", metavar="FILE", help="Yard file (else ./yard.toml, COATCAST_YARD, your home)."),
]
AtOption = Annotated[
    str | None,
    typer.Option("--at", metavar="ISO-TIME", help="The clock to go by; default now. Naive: the yard's zone."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON for a program.")]

ForecastOption = Annotated[
    Path | None,
    typer.Option("--forecast", metavar="FILE", help="A stored answer of an open weather service."),
]
IssuedOption = Annotated[
    str | None,
    typer.Option("--issued", metavar="ISO-TIME", help="When that forecast was made, where it does not say."),
]


class Fail(Exception):  # noqa: N818 - an outcome, not a fault of the program
    """The command ends here with a sentence and an exit code: 1 the work failed, 2 the input is wrong."""

    def __init__(self, text: str, code: int = 2) -> None:
        super().__init__(text)
        self.code = code


@dataclass(frozen=True, slots=True)
class Session:
    """The yard file and the clock of one command."""

    yard: YardFile
    at: datetime
    asks: bool = True  # whether a person at a terminal may be asked; the page never asks there

    @property
    def wording(self) -> Wording:
        """How to speak to this yard."""
        from scheduler.views.wording import Wording  # brings numpy; commands that only write do without

        return Wording(self.yard.zone, self.yard.yard.units, self.at, self.yard.yard.language)


def parse_at(text: str | None, yard: YardFile, option: str = "--at") -> datetime:
    """The time of an option; a naive one is in the yard's zone; None is now."""
    if text is None:
        return datetime.now(UTC)
    try:
        when = datetime.fromisoformat(text.strip())
    except ValueError:
        raise Fail(f"{option} {text}: not a time; write it as 2026-11-03T05:45") from None
    return when.replace(tzinfo=yard.zone) if when.tzinfo is None else when


def session(yard: Path | None, at: str | None) -> Session:
    """Read the yard file and settle the clock."""
    checked = load_yard(find_yard_file(yard))
    return Session(checked, parse_at(at, checked))


def read_forecast(here: Session, file: Path | None, issued: str | None) -> Forecast:
    """The forecast of a command's options."""
    from scheduler.sources import forecast_of

    made = parse_at(issued, here.yard, "--issued") if issued is not None else None
    try:
        return forecast_of(here.yard, here.at, file, made)
    except FileNotFoundError:
        raise Fail(f"--forecast {file}: there is no such file") from None
    except IsADirectoryError:
        raise Fail(f"--forecast {file}: this is a folder, not a file") from None


def say(text: str = "") -> None:
    """Print a line for a person."""
    typer.echo(text)


def print_json(data: Any) -> None:
    """Print JSON: one document, UTF-8, stable."""
    sys.stdout.write(json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False) + "\n")
