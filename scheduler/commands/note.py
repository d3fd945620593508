"""``note`` and ``undo``: what was done or seen at logs that are there, and taking it back."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING, Annotated, Any

import typer

from scheduler.commands.book import WhoOption, answer, by_of, cm_of, moment_of, places_of, record, voice_of
from scheduler.commands.common import (
    AtOption,
    Fail,
    ForecastOption,
    IssuedOption,
    JsonOption,
    Session,
    YardOption,
    session,
)
from scheduler.commands.loglist import weather_at_hand
from scheduler.commands.told import names_of
from scheduler.units import UnitError, parse_length, parse_volume

if TYPE_CHECKING:
    from scheduler.sources import Forecast
    from scheduler.views.today import Briefing
    from scheduler.yard.book import Note, Written
    from scheduler.yard.entries import Entry
    from scheduler.yard.facts import Register

    Act = Callable[[Register, tuple[Entry, ...]], Written]

__all__ = ["note", "noted", "undo"]

FITS = {  # an option, and the kinds that it goes with
    "end": ("cut", "coat", "look"),
    "litres": ("coat",),
    "part": ("coat",),
    "second": ("coat",),
    "into": ("saw",),
    "thick": ("saw",),
    "lost": ("saw",),
    "till": ("leave",),
    "reach": ("move",),
    "drop": ("correct",),
}
GIVEN: dict[str, Any] = {
    "end": None, "litres": None, "part": False, "second": False, "into": None, "thick": None,
    "lost": None, "till": None, "reach": None, "drop": False,
}  # fmt: skip
FILLERS = ("about", "at", "off")  # "cut about 2in off", "divide at 2.1m"
BRUSHING = ("seal", "touch_and_go")  # verdicts with a list to work through
Text = str | None
Ends = tuple[str, ...]


def note(
    words: Annotated[
        list[str],
        typer.Argument(
            metavar="TAGS KIND [WORDS]...",
            help="TAGS: H01,H03,H05-H07 or @first. KIND: cut [SIZE] [clean | still cracked], coat, "
            "look clear|milky|skips|spoiled|checks WORD, roof, unroof, move PLACE, divide SIZE, halve, saw, "
            "leave, skip, saw-first, gone [WHY], correct N.",
        ),
    ],
    end: Annotated[
        list[str] | None, typer.Option("--end", metavar="END", help="Default all in reach; may be repeated.")
    ] = None,
    when: Annotated[
        Text, typer.Option("--when", metavar="TIME", help="Default now; 10:00, yesterday.")
    ] = None,
    who: WhoOption = None,
    litres: Annotated[
        Text, typer.Option("--litres", metavar="L", help="Sealer used, all ends together.")
    ] = None,
    part: Annotated[bool, typer.Option("--part", help="A coat with a hole: a touch-up is due.")] = False,
    second: Annotated[bool, typer.Option("--second", help="This was the second coat.")] = False,
    into: Annotated[int | None, typer.Option("--into", metavar="N", help="Sawn into N pieces.")] = None,
    thick: Annotated[
        Text, typer.Option("--thick", metavar="SIZE", help="Thickness of the pieces: 55mm.")
    ] = None,
    lost: Annotated[
        Text, typer.Option("--lost", metavar="SIZE", help="saw: cracked at each end, as found.")
    ] = None,
    till: Annotated[Text, typer.Option("--till", metavar="DATE", help="Left as it is till then.")] = None,
    reach: Annotated[
        Text, typer.Option("--reach", metavar="ENDS", help="What can be reached after a move.")
    ] = None,
    drop: Annotated[bool, typer.Option("--drop", help="correct N: it did not happen.")] = False,
    forecast: ForecastOption = None,
    issued: IssuedOption = None,
    yard: YardOption = None,
    at: AtOption = None,
    as_json: JsonOption = False,
) -> None:
    """Note what was done or seen: coatcast note H01,H03 coat --when 10:00."""
    here = session(yard, at)
    given = {
        "end": end, "litres": litres, "part": part, "second": second, "into": into, "thick": thick,
        "lost": lost, "till": till, "reach": reach, "drop": drop,
    }  # fmt: skip
    answer(
        here,
        noted(here, words, given, when, who, lambda then: weather_at_hand(then, forecast, issued)),
        as_json,
    )


def noted(
    here: Session,
    words: list[str],
    given: Mapping[str, Any],
    when: str | None = None,
    who: str | None = None,
    weather: Callable[[Session], Forecast] | None = None,
) -> Written:
    """Write a note told as on the command line: words, and options by name (``GIVEN`` where left out).

    Raises
    ------
    Fail, YardError
        With sentences for the person; nothing is written then.
    """
    given = GIVEN | dict(given)
    tags, kind, rest = _split(words)
    _options_fit(kind, given)
    if kind == "correct":
        return record(here, _correcting(here, tags, rest, when, given["drop"], who))
    size, rest = _size(here, kind, rest)
    options = _options(here, given, when, size)
    first: dict[str, Ends] = {}
    if weather is not None and "@first" in re.split(r"[,;\s]+", tags.casefold()):
        first = _first(here, weather)
    written = record(here, _noting(here, tags, kind, rest, options, first, who))
    if kind == "move" and (weights := _weights(here, written)):
        written = replace(written, said=" ".join([written.said, *weights]), plain=False)
    return written


def undo(yard: YardOption = None, at: AtOption = None, as_json: JsonOption = False) -> None:
    """Take back the last command that was written; again: the one before."""
    from scheduler.yard.book import undo as taken_back

    here = session(yard, at)
    by, voice = by_of(here), voice_of(here)
    answer(here, record(here, lambda _register, entries: taken_back(entries, by, voice=voice)), as_json)


def _weights(here: Session, written: Written) -> list[str]:
    """What the moved logs weigh green, and what that asks for: said with every lift."""
    from scheduler.planning.ledger import stick_of_log
    from scheduler.settings import species_table, value_numbers
    from scheduler.sources import register_of
    from scheduler.wood.species import careful
    from scheduler.wood.value import green_weight, lift_warning

    register, table, numbers = register_of(here.yard, here.at), species_table(), value_numbers()
    said, words = [], here.wording.words
    for tag in dict.fromkeys(str(entry.tag) for entry in written.entries):
        log = register.log(tag)
        if log is None or log.length_cm is None or not any(end.diameter_cm for end in log.ends):
            continue
        wood = table.get(log.species or "", careful(table))
        found = green_weight(stick_of_log(log).volume_m3, wood.basic_density, wood.green_moisture, numbers)
        warning = lift_warning(found.high, numbers)
        asks = words.told(warning) if warning else words["answer.one_person"]
        said.append(words.say("answer.weighs", tag=tag, weight=here.wording.weight(found.kg), warning=asks))
    return said


# ------------------------------------------------------------------ words and options


def _split(words: list[str]) -> tuple[str, str, list[str]]:
    """Tags, kind, and what follows: the kind is the first word after a tag that is one."""
    from scheduler.yard.book import NOTE_KINDS

    names = [word.casefold().replace("_", "-") for word in words]
    kinds = (*NOTE_KINDS, "correct")
    place = next((n for n in range(1, len(names)) if names[n] in kinds), 1)
    if len(words) < 2 or (names[0] in kinds and names[place] not in kinds):
        raise Fail("Say which logs and then what was done: coatcast note H01,H03 coat --when 10:00")
    kind, rest = names[place], words[place + 1 :]
    if kind == "saw" and rest and rest[0].casefold() == "first":
        kind, rest = "saw-first", rest[1:]
    return ",".join(words[:place]), kind, rest


def _options_fit(kind: str, given: Mapping[str, Any]) -> None:
    for name, kinds in FITS.items():
        if given[name] not in (None, False, []) and kind not in kinds:
            goes = kinds[0] if len(kinds) == 1 else f"{', '.join(kinds[:-1])} and {kinds[-1]}"
            raise Fail(f"--{name} goes with {goes}, not with {kind}.")


def _size(here: Session, kind: str, rest: list[str]) -> tuple[float | None, list[str]]:
    """The size that cut and divide begin with, and the words after it."""
    if kind not in ("cut", "divide"):
        return None, rest
    words = [word.strip(",;") for word in rest if word.strip(",;").casefold() not in (*FILLERS, "")]
    if not words or not re.match(r"[-+−]?[\d.,½¼¾⅛⅜⅝⅞]", words[0]):
        return None, words
    bare = "in" if here.yard.yard.units == "us" else "cm"
    default = bare if kind == "cut" else None
    for n in range(len(words), 0, -1):
        try:
            return parse_length(" ".join(words[:n]), default), words[n:]
        except UnitError:
            continue
    cm_of(here, words[0], kind, bare=(None, None) if kind == "divide" else ("cm", "in"))
    raise Fail(f"{kind}: '{' '.join(words)}' is not understood; write for example {kind} 5cm")


def _options(here: Session, given: Mapping[str, Any], when: str | None, size: float | None) -> Note:
    from scheduler.yard.book import Note

    ends = names_of(",".join(given["end"] or ()))
    reach, till, thick = given["reach"], given["till"], given["thick"]
    return Note(
        ends=("both",) if "all" in ends else ends,
        when=None if when is None else moment_of(here, when, "--when"),
        size_cm=size,
        part=given["part"],
        second=given["second"],
        litres=None if given["litres"] is None else _litres(given["litres"]),
        reach=None
        if reach is None
        else frozenset("both" if name == "all" else name for name in names_of(reach)),
        into=given["into"],
        thick_cm=None if thick is None else cm_of(here, thick, "--thick", bare=("mm", "in")),
        lost_cm=None if given["lost"] is None else cm_of(here, given["lost"], "--lost", bare=("cm", "in")),
        till=None if till is None else moment_of(here, till, "--till", future=True).first,
    )


def _litres(text: str) -> float:
    try:
        return parse_volume(text, "l")
    except UnitError as error:
        raise Fail(f"--litres: {error}") from None


# ------------------------------------------------------------------ writing


def _correcting(
    here: Session, tags: str, rest: list[str], when: str | None, drop: bool, who: str | None
) -> Act:
    from scheduler.yard.book import correct, find_log

    if len(rest) != 1 or not rest[0].lstrip("#").isdecimal() or len(rest[0]) > 9:
        raise Fail(f"Which entry is to be mended? coatcast log show {tags} gives its number N; then: "
                   f"coatcast note {tags} correct N --when TIME, or --drop")  # fmt: skip
    number = int(rest[0].lstrip("#"))
    moment = None if when is None else moment_of(here, when, "--when")
    by, voice = by_of(here, who), voice_of(here)

    def act(register: Register, entries: tuple[Entry, ...]) -> Written:
        tag = find_log(register, tags).tag
        return correct(tag, number, register, entries, by, when=moment, drop=drop, voice=voice)

    return act


def _noting(
    here: Session,
    tags: str,
    kind: str,
    rest: list[str],
    options: Note,
    first: Mapping[str, Ends],
    who: str | None,
) -> Act:
    from scheduler.yard.book import Written
    from scheduler.yard.book import note as noted
    from scheduler.yard.state import fold

    by, voice, places = by_of(here, who), voice_of(here), places_of(here)

    def act(register: Register, entries: tuple[Entry, ...]) -> Written:
        done: list[Entry] = []
        said: list[Written] = []
        for group, ends in _groups(tags, kind, options, first, register):
            now = fold((*entries, *done), here.at) if done else register
            written = noted(
                group, kind, rest, now, by, replace(options, ends=ends), voice=voice, places=places
            )
            # One command, so one batch: undo takes it back as a whole.
            done += [replace(entry, batch=(done or written.entries)[0].batch) for entry in written.entries]
            said.append(written)
        return Written(tuple(done), " ".join(one.said for one in said), len(said) == 1 and said[0].plain)

    return act


def _groups(
    tags: str, kind: str, options: Note, first: Mapping[str, Ends], register: Register
) -> list[tuple[tuple[str, ...], Ends]]:
    """The logs of a note, those with the same ends together: of @first only the ends on that list."""
    from scheduler.yard.book import parse_tags

    every = parse_tags(tags, register, tuple(first))
    if not first or options.ends or kind not in FITS["end"]:
        return [(every, options.ends)]
    named = ",".join(part for part in re.split(r"[,;\s]+", tags) if part and part.casefold() != "@first")
    plain = parse_tags(named, register) if named else ()
    groups: dict[Ends, list[str]] = {}
    for tag in every:
        log = register.log(tag)
        ends = () if tag in plain else first.get(tag, ())
        in_reach = {end.name for end in log.ends if end.reach} if log is not None else set()
        groups.setdefault(() if set(ends) == in_reach else ends, []).append(tag)
    return [(tuple(group), ends) for ends, group in groups.items()]


# ------------------------------------------------------------------ @first


def _first(here: Session, weather: Callable[[Session], Forecast]) -> dict[str, Ends]:
    """The list of today's notice: tags in its order, with their ends.

    In the evening no span is left of today: then the list of the morning's notice is meant, by the
    forecast and the register of that time.
    """
    from scheduler.views.today import first_jobs

    briefing = _brief(here, weather)
    morning = _morning_of(here)
    if briefing.morning.verdict not in BRUSHING and morning is not None:
        early = _brief(replace(here, at=morning), weather)
        if early.morning.verdict in BRUSHING:
            briefing = early
    listed: dict[str, Ends] = {}
    for job in first_jobs(briefing)[0]:
        listed[job.tag] = (*listed.get(job.tag, ()), *([job.end] if job.end else []))
    return listed


def _brief(here: Session, weather: Callable[[Session], Forecast]) -> Briefing:
    from scheduler.service import brief
    from scheduler.sources import register_of

    return brief(here.yard, here.at, weather(here), register_of(here.yard, here.at))


def _morning_of(here: Session) -> datetime | None:
    """When the morning notice of this day was due; None where that is still to come."""
    local = here.at.astimezone(here.yard.zone)
    try:
        at = time.fromisoformat(here.yard.notice.morning)
    except ValueError:
        return None
    morning = datetime.combine(local.date(), at.replace(tzinfo=None), here.yard.zone)
    return morning if here.at - morning > timedelta(0) else None
