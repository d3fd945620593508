"""``log change``: other values for what was told of a log."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields as dataclass_fields
from dataclasses import replace
from typing import Any

from scheduler.yard import entries as make
from scheduler.yard.entries import By, Entry, YardError, moment_to
from scheduler.yard.facts import Log, Moment, Register
from scheduler.yard.newlog import FROM_FELLING, Fault, NewEnd, NewLog, check_new, raise_faults, settle
from scheduler.yard.notes import Written, known_place
from scheduler.yard.tags import check_tag, find_ends, find_log, nearest
from scheduler.yard.telling import Voice

__all__ = ["CHANGEABLE", "change"]

CHANGEABLE = (
    "tag",
    "species",
    "species_said",
    "butt_cm",
    "top_cm",
    "length_cm",
    "needs_cm",
    "felled",
    "cut",
    "reach",
    "worth",
    "lump",
    "price_per_m3",
    "use",
    "place",
    "count",
    "thick_cm",
    "metal",
    "expected",
    "note",
    "state",
    "roofed",
    "left_long",
    "skip",
    "saw_first",
    "diameters",
)
_NEEDED = ("tag", "count", "state", "reach", "cut", "roofed", "left_long", "skip", "saw_first")
_PLAIN = ("length_cm", "needs_cm", "worth", "lump", "price_per_m3", "use", "count", "thick_cm", "metal")
_FLAGS = ("roofed", "left_long", "skip", "saw_first")
# What was assumed is no longer so once it is told: field -> how the assumption begins.
_TOPICS = {"species": "wood:", "cut": "cut:", "reach": "reach:", "butt_cm": "butt:", "top_cm": "top:"}


def change(
    tag: str,
    fields: Mapping[str, Any],
    register: Register,
    entries: Sequence[Entry],
    by: By,
    *,
    voice: Voice | None = None,
    places: Sequence[str] | None = None,
) -> Written:
    """Entries that give a log other values.

    Parameters
    ----------
    fields
        Names of ``CHANGEABLE`` with their new values, as ``NewLog`` has them; None: not known any more.
        ``diameters`` is a mapping from the name of an end to cm, for logs with other ends than two.

    Raises
    ------
    YardError
        With every fault, one a line.
    """
    voice = voice or Voice()
    log = find_log(register, tag)
    if log.state == "gone":
        raise YardError(f"{log.tag} is gone ({log.gone_why or 'no reason told'}) and stays as it was.")
    if not fields:
        raise YardError(f"Nothing to change was given for {log.tag}. It can be {', '.join(CHANGEABLE)}.")
    for name in fields:
        _known_field(name)
    given = _with_ends(log, fields)
    raise_faults(_faults(log, given, register, by, voice))
    data = _as_data(log, given, entries, by, voice, places)
    draft = make.change(by, log.tag, Moment(by.at), data)
    said = voice.say("answer.changed", tag=log.tag, what=_say(log, fields, by, voice))
    return Written(make.numbered([draft], register.last_entry), said)


def _known_field(name: str) -> None:
    if name not in CHANGEABLE:
        near = nearest(name, CHANGEABLE)
        raise YardError(f"'{name}' cannot be changed." + (f" Did you mean {near}?" if near else ""))


def _with_ends(log: Log, fields: Mapping[str, Any]) -> dict[str, Any]:
    """Diameters gathered by end, and names of ends checked."""
    given = dict(fields)
    diameters = dict(given.pop("diameters", None) or {})
    for name in ("butt", "top"):
        if f"{name}_cm" in given:
            diameters[name] = given.pop(f"{name}_cm")
    if diameters:
        names = find_ends(log, list(diameters))
        given["diameters"] = dict(zip(names, diameters.values(), strict=True))
    if given.get("reach") is not None:
        reach = sorted(set(given["reach"]) - {"none"})
        given["reach"] = frozenset(find_ends(log, reach)) if reach else frozenset()
    return given


def _faults(log: Log, given: dict[str, Any], register: Register, by: By, voice: Voice) -> list[Fault]:
    faults = [
        Fault(name, f"{name}: this cannot be unknown; give a value.")
        for name in given
        if name in _NEEDED and given[name] is None
    ]
    if given.get("state") == "gone":
        faults.append(Fault("state", f"Say why it is gone instead: coatcast note {log.tag} gone sold"))
    tag = given.get("tag")
    if tag is not None:
        wrong = check_tag(tag)
        there = register.log(tag)
        later = tag.casefold() in {used.casefold() for used in register.later_tags}
        if later or (there is not None and there.tag != log.tag):
            wrong = f"{tag} is in use."
        faults += [Fault("tag", wrong)] if wrong else []
    if faults:
        return faults
    return [fault for fault in check_new(_as_new(log, given), by.at, voice) if _concerns(fault, given)]


def _concerns(fault: Fault, given: dict[str, Any]) -> bool:
    """Only what is given now is judged; what was taken in before is not brought up again."""
    name = fault.field
    if name.endswith("_cut"):
        return "felled" in given
    return name in given or (
        "diameters" in given and name.endswith("_cm") and name[:-3] in given["diameters"]
    )


def _as_new(log: Log, given: dict[str, Any]) -> NewLog:
    """The log with its new values, as if it came in now: so the same checks hold."""
    names = {f.name for f in dataclass_fields(NewLog)} & {f.name for f in dataclass_fields(Log)} - {"ends"}
    values = {name: getattr(log, name) for name in names} | {"tag": None}
    values |= {
        name: value for name, value in given.items() if name not in ("diameters", "tag", "reach", "place")
    }
    diameters = given.get("diameters", {})
    ends = tuple(
        NewEnd(end.name, diameters.get(end.name), cut=None if end.cut.assumed else end.cut)
        for end in log.ends
    )
    return NewLog(**values, ends=ends)


def _as_data(
    log: Log,
    given: dict[str, Any],
    entries: Sequence[Entry],
    by: By,
    voice: Voice,
    places: Sequence[str] | None,
) -> dict[str, Any]:
    data: dict[str, Any] = {name: given[name] for name in (*_PLAIN, *_FLAGS, "state") if name in given}
    data |= {name: given[name] for name in ("tag", "species", "species_said", "note") if name in given}
    if "expected" in given:
        data["expected"] = moment_to(given["expected"])
    if "place" in given:
        data["place"] = None if given["place"] is None else known_place(given["place"], places)
    if "reach" in given:
        data["reach"] = sorted(given["reach"])
    if "diameters" in given:
        data["ends"] = {
            name: {"diameter_cm": cm, "assumed_diameter": False} for name, cm in given["diameters"].items()
        }
    data |= _felled_and_cut(log, given, entries, by, voice)
    told = {f"{name}_cm" for name in given.get("diameters", ())} | set(given)
    gone = tuple(topic for name, topic in _TOPICS.items() if name in told)
    kept = [text for text in log.assumed if not text.startswith(gone)] if gone else list(log.assumed)
    if "felled" in given and "cut" in data and "cut" not in given:
        kept = [FROM_FELLING if text.startswith("cut:") else text for text in kept]
    if kept != list(log.assumed):
        data["assumed"] = kept
    return data


def _felled_and_cut(
    log: Log, given: dict[str, Any], entries: Sequence[Entry], by: By, voice: Voice
) -> dict[str, Any]:
    data: dict[str, Any] = {}
    state = given.get("state", log.state)
    cut = given.get("cut")
    if "felled" in given:
        felled = given["felled"]
        if felled is not None and state not in ("expected", "standing"):
            felled = settle(felled, by.at)
        data["felled"] = moment_to(felled)
        if cut is None and felled is not None:  # a cut that nobody told follows the felling
            ends = [end.name for end in log.ends if end.cut.assumed]
            data["cut"] = {name: moment_to(replace(felled, assumed=True)) for name in ends}
    if cut is not None:
        _cut_was_told_with_the_log(log, entries, by, voice)
        data["cut"] = {end.name: moment_to(settle(cut, by.at)) for end in log.ends}
    return {name: value for name, value in data.items() if name != "cut" or value}


def _cut_was_told_with_the_log(log: Log, entries: Sequence[Entry], by: By, voice: Voice) -> None:
    kinds = {entry.number: entry.kind for entry in entries}
    for end in log.ends:
        if kinds.get(end.cut_entry) != "add":
            raise YardError(
                f"{log.tag} {end.name}: its face is of {voice.when(end.cut, by.at)}, by entry "
                f"{end.cut_entry}. Mend that: coatcast note {log.tag} correct {end.cut_entry} --when TIME"
            )


def _say(log: Log, fields: Mapping[str, Any], by: By, voice: Voice) -> str:
    return ", ".join(_one(log, name, value, by, voice) for name, value in fields.items())


def _one(log: Log, name: str, value: Any, by: By, voice: Voice) -> str:
    if name == "diameters":
        return ", ".join(f"{voice.end(end)} {voice.size(cm)}" for end, cm in value.items())
    label = voice.words[f"answer.field.{name}"]
    if name in ("butt_cm", "top_cm"):
        end = log.end(name[:-3])
        was: Any = end.diameter_cm if end is not None else None
    else:
        was = getattr(log, name, None)
    now = f"{label} {_shown(name, value, by, voice)}"
    if was in (None, "") or was == value:
        return now
    return voice.say("answer.was", now=now, was=_shown(name, was, by, voice))


def _shown(name: str, value: Any, by: By, voice: Voice) -> str:
    if value is None:
        return voice.words["answer.not_known"]
    if isinstance(value, Moment):
        return voice.when(value, by.at)
    if isinstance(value, bool):
        return voice.words["answer.yes" if value else "answer.no"]
    if isinstance(value, frozenset | set):
        return voice.ends(sorted(value)) or voice.words["answer.none"]
    if name == "worth":
        return voice.named(f"log.worth.{value}", value)
    if name == "state":
        return voice.named(f"answer.state.{value}", value)
    return voice.size(value) if name.endswith("_cm") else f"{value}"
