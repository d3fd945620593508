"""What is told of a log on the command line: woods, and the options of a log as checked values."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import typer

from scheduler.commands.book import UNKNOWN, at_terminal, cm_of, moment_of
from scheduler.commands.common import Fail, Session
from scheduler.settings import Species, species_table
from scheduler.wood.species import CAREFUL, Ambiguous, Known, Unknown, explain, find, show_name

if TYPE_CHECKING:
    from scheduler.yard.book import NewEnd

__all__ = ["Wood", "answered", "ask_which", "ends_of", "fields_of", "names_of", "wood_of"]

BARE_LENGTH = (None, None)  # 2.6 or 8 alone could be metres, feet or a slip
BARE_NEEDS = ("m", None)


# ------------------------------------------------------------------ the wood


@dataclass(frozen=True, slots=True)
class Wood:
    """A wood as it was told."""

    said: str
    species: Species
    taken: str | None = None  # what was taken for granted
    word: tuple[str, str] | None = None  # asked about just now: to be remembered as (said, botanical name)

    @property
    def botanical(self) -> str | None:
        """Its key in the register; None for wood that nobody could name."""
        return None if self.species.botanical == CAREFUL else self.species.botanical

    @property
    def fields(self) -> dict[str, Any]:
        """As fields of a log."""
        return {"species": self.botanical, "species_said": " ".join(self.said.split())}

    @property
    def assumed(self) -> tuple[str, ...]:
        """In words that a later change of the wood finds; of unknown wood the register says it by itself."""
        return (f"wood: {self.taken}",) if self.taken and self.botanical is not None else ()


def wood_of(here: Session, said: str, words: Mapping[str, str]) -> Wood:
    """The wood that a word means in this yard; a double meaning is asked about at a terminal.

    Raises
    ------
    Fail
        When there is no such wood, or it could be two and nobody can be asked.
    """
    found = find(said, words, species_table())
    if isinstance(found, Unknown):
        raise Fail(str(explain(found, here.yard.yard.language)))
    if isinstance(found, Ambiguous):
        return answered(found, ask_which(here, found))
    return Wood(said, found.species, found.assumed)


def answered(found: Ambiguous, species: Species) -> Wood:
    """The wood of a word with several meanings, once it is known which; remembered unless nobody knew."""
    word = None if species.botanical == CAREFUL else (found.said, species.botanical)
    return Wood(found.said, species, None, word)


def ask_which(here: Session, found: Ambiguous) -> Species:
    """Ask at a terminal which of several woods a word means; elsewhere say how to tell them apart."""
    language = here.yard.yard.language
    if not (here.asks and at_terminal()):
        one = found.candidates[0].botanical
        raise Fail(
            f"{explain(found, language)} Give it by its botanical name, such as '{one}'; "
            f"with --species '{one}' beside the word it is remembered for this yard."
        )
    typer.echo(f"'{found.said}' is the name of more than one wood:", err=True)
    for n, one_wood in enumerate(found.candidates, start=1):
        typer.echo(f"  {n}  {show_name(one_wood, language)} ({one_wood.botanical})", err=True)
    while True:
        given = typer.prompt(
            "Which one? The number, or Enter for don't know", "", show_default=False, err=True
        )
        chosen = _chosen(given.strip(), found)
        if chosen is not None:
            return chosen
        typer.echo(f"A number from 1 to {len(found.candidates)}, please.", err=True)


def _chosen(given: str, found: Ambiguous) -> Species | None:
    table = species_table()
    if not given or given.casefold() in UNKNOWN:
        return table[CAREFUL]
    if given.isdecimal() and 1 <= int(given) <= len(found.candidates):
        return found.candidates[int(given) - 1]
    named = find(given, {}, table)
    return named.species if isinstance(named, Known) and named.species in found.candidates else None


# ------------------------------------------------------------------ the other options


def fields_of(here: Session, options: Mapping[str, str | None]) -> dict[str, Any]:
    """Options that were given, as the fields of a log; an option that says "?" gives None.

    ``options`` are named as on the command line, without the dashes.
    """
    fields: dict[str, Any] = {}
    for name, text in options.items():
        if text is None:
            continue
        if text.strip().casefold() in UNKNOWN:
            fields[_FIELD.get(name, name)] = None
            continue
        fields |= _READERS[name](here, text.strip(), f"--{name}")
    return fields


def _size(field: str, bare: tuple[str | None, str | None]) -> Callable[[Session, str, str], dict[str, Any]]:
    return lambda here, text, what: {field: cm_of(here, text, what, bare=bare)}


def _time(field: str, future: bool | None) -> Callable[[Session, str, str], dict[str, Any]]:
    return lambda here, text, what: {field: moment_of(here, text, what, future=future)}


def _words(field: str, *, low: bool = False) -> Callable[[Session, str, str], dict[str, Any]]:
    def read(_here: Session, text: str, what: str) -> dict[str, Any]:
        if not text:
            raise Fail(f"{what} needs a word after it; ? means not known")
        return {field: " ".join((text.casefold() if low else text).split())}

    return read


def _count(_here: Session, text: str, what: str) -> dict[str, Any]:
    if not text.isdecimal() or len(text) > 6:
        raise Fail(f"{what} {text}: this is no whole number; write for example {what} 3")
    return {"count": int(text)}


def _state(_here: Session, text: str, _what: str) -> dict[str, Any]:
    return {"state": "_".join(text.casefold().split())}


def _worth(here: Session, text: str, _what: str) -> dict[str, Any]:
    said = _in_a_line(here, "worth", text)
    return {"worth": said.worth} if said.worth is not None else {"lump": said.lump}


def _price(here: Session, text: str, _what: str) -> dict[str, Any]:
    return {"price_per_m3": _in_a_line(here, "price", text).price_per_m3}


def _in_a_line(here: Session, keyword: str, text: str) -> Any:
    """What follows a keyword, read as in the free line, so that both ways mean the same."""
    from scheduler.yard.spoken import SpokenError, parse_log_line

    try:
        return parse_log_line(
            ["?", keyword, *text.split()],
            at=here.at,
            zone=here.yard.zone,
            units=here.yard.yard.units,
            table=species_table(),
            own_words={},
        )
    except SpokenError as error:
        raise Fail(str(error)) from None


_FIELD = {
    "butt": "butt_cm",
    "top": "top_cm",
    "length": "length_cm",
    "needs": "needs_cm",
    "thick": "thick_cm",
    "price": "price_per_m3",
}
_READERS: dict[str, Callable[[Session, str, str], dict[str, Any]]] = {
    "butt": _size("butt_cm", ("cm", "in")),
    "top": _size("top_cm", ("cm", "in")),
    "length": _size("length_cm", BARE_LENGTH),
    "needs": _size("needs_cm", BARE_NEEDS),
    "thick": _size("thick_cm", (None, None)),
    "felled": _time("felled", None),
    "cut": _time("cut", False),
    "expected": _time("expected", True),
    "worth": _worth,
    "price": _price,
    "use": _words("use"),
    "place": _words("place"),
    "note": _words("note"),
    "state": _state,
    "face": _words("face", low=True),
    "count": _count,
}


# ------------------------------------------------------------------ ends


def names_of(text: str) -> tuple[str, ...]:
    """ "butt, top" or "butt and top" as names."""
    parts = re.split(r"[,;+/\s]+", text.strip().casefold())
    return tuple(dict.fromkeys(part for part in parts if part and part != "and"))


def ends_of(here: Session, text: str) -> tuple[NewEnd, ...]:
    """ "butt 60cm, left 40cm, right" as the ends of a fork."""
    from scheduler.yard.book import NewEnd

    ends = []
    for part in filter(None, (one.strip() for one in text.split(","))):
        name, _, size = part.partition(" ")
        across = cm_of(here, size, f"--ends {part}") if size.strip() else None
        ends.append(NewEnd(name.casefold(), across))
    if not ends:
        raise Fail("--ends names the ends, such as --ends 'butt 60cm, left 40cm, right 38cm'")
    return tuple(ends)
