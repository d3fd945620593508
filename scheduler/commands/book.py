"""What the commands of the register share: the store, the yard's voice, times and sizes, the answer.

Nothing here needs weather, so that what people note is written at once.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

from scheduler.commands.common import Fail, Session, print_json, say
from scheduler.moments import NoSuchTime, parse_moment
from scheduler.units import UnitError, parse_length

if TYPE_CHECKING:
    from scheduler.yard.book import By, Voice, Written
    from scheduler.yard.entries import Entry
    from scheduler.yard.facts import Moment, Register
    from scheduler.yard.store import Store

    Act = Callable[[Register, tuple[Entry, ...]], Written]

__all__ = [
    "UNKNOWN",
    "WhoOption",
    "answer",
    "at_terminal",
    "by_of",
    "cm_of",
    "iso",
    "moment_of",
    "opened",
    "places_of",
    "record",
    "remembering",
    "voice_of",
]

UNKNOWN = ("?", "unknown", "not known", "don't know", "dont know")
WhoOption = Annotated[str | None, typer.Option("--who", metavar="NAME", help="Who did it.")]


def at_terminal() -> bool:
    """Whether a person sits there who can be asked."""
    return sys.stdin.isatty()


# ------------------------------------------------------------------ the store


@contextmanager
def opened(here: Session) -> Iterator[Store]:
    """The yard's store, made where there is none yet."""
    from scheduler.yard.store import open_store

    with open_store(here.yard.store_url) as store:
        yield store


def record(here: Session, act: Act) -> Written:
    """Let ``act`` decide on the register as it stands, and write its entries, in one transaction."""
    with opened(here) as store:
        return store.record(here.yard.yard.key, here.at, act)


def remembering(
    here: Session,
    word: tuple[str, str] | None,
    register: Register,
    entries: tuple[Entry, ...],
    write: Callable[[Register], Written],
) -> Written:
    """What ``write`` writes, after the yard's own word for a wood where there is a new one.

    The word is a command of its own: an undo of the log leaves it.
    """
    from scheduler.yard.book import Written, keep_word
    from scheduler.yard.state import fold

    if word is None:
        return write(register)
    kept = keep_word(*word, register, by_of(here), voice=voice_of(here))
    then = write(fold((*entries, *kept.entries), here.at))
    return Written((*kept.entries, *then.entries), f"{then.said} {kept.said}")


def by_of(here: Session, who: str | None = None) -> By:
    """Who writes, for which yard, and when."""
    from scheduler.yard.book import By

    return By(here.yard.yard.key, here.at, who)


def voice_of(here: Session) -> Voice:
    """How this yard says times, sizes and sentences."""
    from scheduler.views.voice import voice_in

    yard = here.yard.yard
    return voice_in(here.yard.zone, yard.units, yard.language)


def places_of(here: Session) -> list[str]:
    """Names of the yard's places."""
    return [place.name for place in here.yard.place]


# ------------------------------------------------------------------ what people type


def moment_of(here: Session, text: str, what: str, *, future: bool | None = False) -> Moment:
    """A rough time; ``future`` None: of the past, unless it is plainly still to come.

    Raises
    ------
    Fail
        Naming ``what`` (the option) and how to write it.
    """
    from scheduler.yard.facts import Moment

    zone, units = here.yard.zone, here.yard.yard.units
    try:
        try:
            found = parse_moment(text, at=here.at, zone=zone, future=bool(future), units=units)
        except NoSuchTime as error:
            if future is not None or "ahead" not in str(error):
                raise
            found = parse_moment(text, at=here.at, zone=zone, future=True, units=units)
    except UnitError as error:
        raise Fail(f"{what}: {error}") from None
    return Moment(found.time, found.half, found.said)


def cm_of(
    here: Session, text: str, what: str, *, bare: tuple[str | None, str | None] = ("cm", "in")
) -> float:
    """A size in cm; ``bare`` is the unit of a number without one, in a metric and in a US yard."""
    try:
        return parse_length(text, bare[here.yard.yard.units == "us"])
    except UnitError as error:
        raise Fail(f"{what}: {error}") from None


# ------------------------------------------------------------------ the answer


def iso(here: Session, when: datetime | None) -> str | None:
    """A time as JSON says it: ISO 8601 with the yard's offset."""
    if when is None:
        return None
    return when.astimezone(here.yard.zone).replace(microsecond=0).isoformat()


def _entry_json(here: Session, entry: Entry) -> dict[str, Any]:
    return {
        "number": entry.number,
        "kind": entry.kind,
        "tag": entry.tag,
        "end": entry.end,
        "ends": list(entry.ends),
        "at": iso(here, entry.moment.time),
    }


def answer(here: Session, written: Written, as_json: bool) -> None:
    """Say what was written; the longer parts of it on lines of their own."""
    if as_json:
        print_json({"entries": [_entry_json(here, entry) for entry in written.entries], "said": written.said})
        return
    said, words = written.said, voice_of(here).words
    for key in ("answer.assumed", "answer.to_change", "answer.each_as_this", "answer.kept"):
        start = words[key].partition("{")[0]
        said = said.replace(f" {start}", f"\n{start}")
    for line in said.splitlines():
        say(line)
