"""``log add``: a log told in one free line, by options, or asked at a terminal."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

from scheduler.commands.book import (
    UNKNOWN,
    answer,
    at_terminal,
    by_of,
    cm_of,
    moment_of,
    opened,
    places_of,
    remembering,
    voice_of,
)
from scheduler.commands.common import AtOption, Fail, JsonOption, Session, YardOption, session
from scheduler.commands.logopts import (
    ButtOption,
    CutOption,
    ExpectedOption,
    FelledOption,
    LengthOption,
    MetalOption,
    NeedsOption,
    NoteOption,
    PlaceOption,
    PriceOption,
    ReachOption,
    SpeciesOption,
    StateOption,
    Text,
    TopOption,
    UseOption,
    WorthOption,
)
from scheduler.commands.told import Wood, answered, ask_which, ends_of, fields_of, names_of, wood_of
from scheduler.settings import assumptions, species_table
from scheduler.wood.species import Known, Unknown, find

if TYPE_CHECKING:
    from scheduler.yard.book import NewLog, Written
    from scheduler.yard.entries import Entry
    from scheduler.yard.facts import Register
    from scheduler.yard.spoken import LogRequest

__all__ = ["add", "as_if_added", "taking_in", "understood"]

PLAIN = (  # what a line and the register call by the same name
    "tag",
    "butt_cm",
    "top_cm",
    "length_cm",
    "needs_cm",
    "state",
    "worth",
    "lump",
    "price_per_m3",
    "use",
    "place",
    "face",
    "metal",
    "note",
)


@dataclass(frozen=True, slots=True)
class _Told:
    """A log as it was told: its fields, how many of them, and the yard's own word to be remembered."""

    fields: dict[str, Any]
    count: int = 1
    word: tuple[str, str] | None = None
    assumed: tuple[str, ...] = ()


# ------------------------------------------------------------------ log add


def add(
    words: Annotated[
        list[str] | None, typer.Argument(metavar="[TAG] [WORDS]...", help="walnut 22in 8ft cut saturday")
    ] = None,
    species: SpeciesOption = None,
    butt: ButtOption = None,
    top: TopOption = None,
    length: LengthOption = None,
    felled: FelledOption = None,
    cut: CutOption = None,
    reach: ReachOption = None,
    price: PriceOption = None,
    worth: WorthOption = None,
    needs: NeedsOption = None,
    use: UseOption = None,
    place: PlaceOption = None,
    state: StateOption = None,
    expected: ExpectedOption = None,
    face: Annotated[Text, typer.Option("--face", help="How the ends look: wet, dry or cracked.")] = None,
    ends: Annotated[
        Text,
        typer.Option("--ends", help="Where they are not butt and top: 'butt 60cm, left 40cm, right 38cm'."),
    ] = None,
    metal: MetalOption = None,
    note: NoteOption = None,
    yard: YardOption = None,
    at: AtOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take in a log: coatcast log add walnut 22in 8ft cut saturday. Only the wood is needed."""
    from scheduler.yard.state import fold

    here = session(yard, at)
    told = {
        "butt": butt, "top": top, "length": length, "felled": felled, "cut": cut, "price": price,
        "worth": worth, "needs": needs, "use": use, "place": place, "state": state,
        "expected": expected, "face": face, "note": note,
    }  # fmt: skip
    fields = {name: value for name, value in fields_of(here, told).items() if value is not None}
    if metal is not None:
        fields["metal"] = metal
    if ends is not None:
        fields["ends"] = ends_of(here, ends)
    if reach is not None:
        fields["reach"] = _reach(reach, fields)
    with opened(here) as store:
        known = fold(store.entries(here.yard.yard.key), here.at).words
        log = understood(here, [w for w in words or () if w.strip()], species, fields, known)
        written = store.record(here.yard.yard.key, here.at, taking_in(here, log))
    answer(here, written, as_json)


def as_if_added(here: Session, words: list[str], entries: tuple[Entry, ...]) -> tuple[Entry, ...]:
    """All entries as they would stand after ``log add WORDS``; nothing is written."""
    from scheduler.yard.state import fold

    register = fold(entries, here.at)
    told = understood(here, [w for w in words if w.strip()], None, {}, register.words)
    return (*entries, *taking_in(here, told)(register, entries).entries)


def _reach(text: str, fields: Mapping[str, Any]) -> frozenset[str]:
    there = [end.name for end in fields.get("ends", ())] or ["butt", "top"]
    names = names_of(text)
    if names in (("both",), ("all",)):
        return frozenset(there)
    return frozenset() if names == ("none",) else frozenset(names)


def understood(
    here: Session, words: list[str], species: str | None, fields: dict[str, Any], known: Mapping[str, str]
) -> _Told:
    """What line and options say together."""
    if not words and species is None and not fields:
        if not (here.asks and at_terminal()):
            raise Fail("Say at least the wood, such as: coatcast log add walnut 22in 8ft cut saturday")
        return _asked(here, known)
    if species is not None and len(words) <= 1 and not (words and _is_wood(words[0], known)):
        tag = {"tag": words[0].strip("[]")} if words else {}
        wood = wood_of(here, species, known)
        _top_fits(here, fields)
        return _Told(fields | tag | wood.fields, 1, wood.word, wood.assumed)
    if not words:
        raise Fail('Which wood is it? Add --species walnut, or --species "don\'t know"')
    return _line(here, words, species, fields, known)


def _is_wood(word: str, known: Mapping[str, str]) -> bool:
    return not isinstance(find(word, known, species_table()), Unknown)


# -- the free line


def _line(
    here: Session, words: list[str], species: str | None, fields: dict[str, Any], known: Mapping[str, str]
) -> _Told:
    line = _parsed(here, words, species, known)
    wood = _wood_of_line(here, line, species, known)
    said = _fields_of_line(line)
    twice = said.keys() & fields.keys()
    if {"worth", "lump"} <= said.keys() | fields.keys():
        twice |= {"worth"}
    if twice:
        name = min(twice).removesuffix("_cm")
        raise Fail(f"The line and --{name} both tell the {name}; say it once.")
    together = said | fields | wood.fields
    _top_fits(here, together)
    others = tuple(text for text in line.assumed if text != wood.taken)
    return _Told(together, line.count, wood.word, (*wood.assumed, *others))


def _parsed(here: Session, words: list[str], species: str | None, known: Mapping[str, str]) -> LogRequest:
    """The line as it is read; where it names no wood, with --species in the place of the wood."""
    from scheduler.yard.spoken import SpokenError, parse_log_line

    def parse(line: list[str]) -> LogRequest:
        return parse_log_line(
            line,
            at=here.at,
            zone=here.yard.zone,
            units=here.yard.yard.units,
            table=species_table(),
            own_words=known,
            over_bark=assumptions()["over_bark"],
        )

    try:
        return parse(words)
    except SpokenError:
        if species is None:
            raise
        for head in range(min(len(words), 2), -1, -1):  # behind a tag and a count, or first of all
            with suppress(SpokenError):
                return parse([*words[:head], *species.split(), *words[head:]])
        raise


def _wood_of_line(here: Session, line: LogRequest, species: str | None, known: Mapping[str, str]) -> Wood:
    """The wood of a line; --species beside it says which of two is meant."""
    other = None if species is None else wood_of(here, species, known)
    if isinstance(line.wood, Known):
        if other is not None and other.species != line.wood.species:
            raise Fail(
                f"The line says {line.species_said}, --species says {species}; which of the two is it?"
            )
        return Wood(line.species_said, line.wood.species, line.wood.assumed)
    if other is None:
        return answered(line.wood, ask_which(here, line.wood))
    if other.species not in line.wood.candidates and other.botanical is not None:
        raise Fail(f"'{line.species_said}' is not a name of {species}; write one of the two.")
    return answered(line.wood, other.species)


def _fields_of_line(line: LogRequest) -> dict[str, Any]:
    from scheduler.yard.facts import Moment

    said = {name: getattr(line, name) for name in PLAIN}
    for name in ("felled", "cut", "expected"):
        when = getattr(line, name)
        said[name] = None if when is None else Moment(when.time, when.half, when.said)
    if line.reach is not None:
        ends = {"both": ("butt", "top"), "none": ()}.get(line.reach, (line.reach,))
        said["reach"] = frozenset(ends)
    return {name: value for name, value in said.items() if value is not None}


def _top_fits(here: Session, fields: Mapping[str, Any]) -> None:
    butt, top = fields.get("butt_cm"), fields.get("top_cm")
    if butt is not None and top is not None and top > butt:
        size = voice_of(here).size
        raise Fail(f"The top is larger than the butt (top {size(top)}, butt {size(butt)}); are they swapped?")


# -- four questions


def _asked(here: Session, known: Mapping[str, str]) -> _Told:
    """The four questions; Enter takes the default."""
    size = "22in" if here.yard.yard.units == "us" else "56cm"
    long = "8ft" if here.yard.yard.units == "us" else "2.6m"
    wood = _ask("Which wood? (Enter: don't know)", lambda text: wood_of(here, text, known))
    wood = wood or replace(wood_of(here, "?", known), said="don't know")
    fields: dict[str, Any] = dict(wood.fields)
    fields["butt_cm"] = _ask(
        f"How thick is the butt, such as {size}? (Enter: don't know)", lambda t: cm_of(here, t, "The butt")
    )
    fields["length_cm"] = _ask(
        f"How long, such as {long}? (Enter: don't know)",
        lambda t: cm_of(here, t, "The length", bare=(None, None)),
    )
    cut = "When was it cut, or how do the ends look: wet, dry, cracked? (Enter: today)"
    fields |= _ask(cut, lambda t: _asked_cut(here, t)) or {}
    told = {name: value for name, value in fields.items() if value is not None}
    return _Told(told, 1, wood.word, wood.assumed)


def _ask(question: str, read: Callable[[str], Any]) -> Any:
    """Put a question until the answer can be read; None for Enter or "don't know"."""
    while True:
        given = str(typer.prompt(question, "", show_default=False, err=True)).strip()
        if not given or given.casefold() in UNKNOWN:
            return None
        try:
            return read(given)
        except (Fail, ValueError) as trouble:
            typer.echo(str(trouble), err=True)


def _asked_cut(here: Session, text: str) -> dict[str, Any]:
    if text.casefold() in ("wet", "dry", "cracked"):
        return {"face": text.casefold()}
    return {"cut": moment_of(here, re.sub(r"^cut\s+", "", text), "Cut")}


# -- writing


def taking_in(here: Session, told: _Told) -> Callable[[Register, tuple[Entry, ...]], Written]:
    """What is written for it: first the remembered word, if any, then the logs."""
    from scheduler.yard.book import NewLog

    log = NewLog(**told.fields, assumed=told.assumed)

    def act(register: Register, entries: tuple[Entry, ...]) -> Written:
        return remembering(
            here, told.word, register, entries, lambda known: _logs(here, log, told.count, known)
        )

    return act


def _logs(here: Session, log: NewLog, count: int, register: Register) -> Written:
    """One log, or several alike: each a log of its own."""
    from scheduler.yard.book import Written, add_log, add_logs

    by, voice, places, taper = by_of(here), voice_of(here), places_of(here), assumptions()["taper"]
    first = add_log(log, register, by, voice=voice, places=places, taper=taper)
    if count == 1:
        return first
    alike: Sequence[NewLog] = [log, *[replace(log, tag=None)] * (count - 1)]
    all_of_them = add_logs(alike, register, by, voice=voice, places=places, taper=taper)
    alike_said = voice.say("answer.each_as_this", said=first.said)
    return Written(all_of_them.entries, f"{all_of_them.said} {alike_said}")
