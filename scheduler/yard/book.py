"""The book: commands about logs, turned into entries and a short plain sentence.

Pure. Sizes arrive in cm and times as moments: the edge has read what the
person typed. Nothing is written here; ``store`` keeps what these functions
return.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from scheduler.settings import value_numbers
from scheduler.yard import entries as make
from scheduler.yard.changes import CHANGEABLE, change
from scheduler.yard.entries import By, Entry, YardError
from scheduler.yard.facts import INDOORS, Moment, Register
from scheduler.yard.newlog import (
    TAPER,
    Fault,
    NewEnd,
    NewLog,
    check_new,
    new_entries,
    raise_faults,
    settle,
)
from scheduler.yard.notes import NOTE_KINDS, Note, Written, known_place, note
from scheduler.yard.state import GRACE, history, holding
from scheduler.yard.tags import find_log, next_tag, parse_tags
from scheduler.yard.telling import Voice, describe, describe_all, pail_name

__all__ = [
    "CHANGEABLE",
    "NOTE_KINDS",
    "By",
    "Fault",
    "NewEnd",
    "NewLog",
    "Note",
    "Voice",
    "Written",
    "YardError",
    "add_log",
    "add_logs",
    "away",
    "change",
    "check_new",
    "correct",
    "describe",
    "find_log",
    "keep_word",
    "next_tag",
    "note",
    "pail",
    "parse_tags",
    "seen",
    "undo",
]


# ------------------------------------------------------------------ logs in


def add_log(
    request: NewLog,
    register: Register,
    by: By,
    *,
    voice: Voice | None = None,
    places: Sequence[str] | None = None,
    taper: float = TAPER,
) -> Written:
    """A new log: its entries, and what was understood, what assumed, and how to change it.

    Parameters
    ----------
    taper
        Centimetres of diameter lost per metre, where only one diameter was told.

    Raises
    ------
    YardError
        With every fault of the request, one a line.
    """
    voice = voice or Voice()
    raise_faults(_faults(request, register, by.at, voice, places, set()))
    tag = request.tag or next_tag(_tags(register))
    drafts, assumed = new_entries(_placed(request, places), tag, by, voice, taper)
    parts = [_understood(drafts, by.at, voice)]
    if assumed:
        parts.append(voice.say("answer.assumed", assumed="; ".join(voice.told(text) for text in assumed)))
    parts += [voice.told(question) for question in _odd_sizes(request)]
    parts.append(voice.say("answer.to_change", tag=tag))
    return Written(make.numbered(drafts, register.last_entry), " ".join(parts))


def add_logs(
    requests: Sequence[NewLog],
    register: Register,
    by: By,
    *,
    labels: Sequence[str] = (),
    voice: Voice | None = None,
    places: Sequence[str] | None = None,
    taper: float = TAPER,
) -> Written:
    """Many new logs at once, all or none; ``labels`` ("row 4") say where each came from."""
    voice = voice or Voice()
    tags = _tags(register)
    taken = {tag.casefold() for tag in tags}
    faults: list[str] = []
    drafts: list[Entry] = []
    given = {request.tag.casefold() for request in requests if request.tag}
    for n, request in enumerate(requests):
        label = labels[n] if n < len(labels) else f"log {n + 1}"
        found = _faults(request, register, by.at, voice, places, taken)
        faults += [f"{label}: {fault.text}" for fault in found]
        tag = request.tag or _free(tags, taken | given)
        tags.append(tag)
        taken.add(tag.casefold())
        if not found:
            drafts += new_entries(_placed(request, places), tag, by, voice, taper)[0]
    if faults:
        raise YardError("\n".join(faults) + "\nNothing was taken in.")
    if not drafts:
        raise YardError("There is no log in it.")
    added = [str(draft.tag) for draft in drafts if draft.kind == "add"]
    key = "answer.log_in" if len(added) == 1 else "answer.logs_in"
    said = [voice.say(key, count=len(added), tags=", ".join(added))]
    for tag, request in zip(added, requests, strict=False):
        said += [f"{tag}: {voice.told(question)}" for question in _odd_sizes(request)]
    return Written(make.numbered(drafts, register.last_entry), " ".join(said))


def _odd_sizes(request: NewLog) -> list[str]:
    """What to ask about sizes that can be but are odd: a slipped unit, swapped ends."""
    butt, top = request.butt_cm, request.top_cm
    numbers = value_numbers()
    sizes = [size for size in (butt, top) if size is not None]
    odd = any(not numbers["ask_below"] <= size <= numbers["ask_above"] for size in sizes)
    if not odd and (butt is None or top is None or 0.5 * butt < top <= butt):
        return []
    from scheduler.wood.volume import questions  # brings numpy; most logs do without

    return questions(butt, top, request.length_cm, numbers)


def _tags(register: Register) -> list[str]:
    return [*(log.tag for log in register.logs), *register.later_tags]


def _free(tags: list[str], taken: set[str]) -> str:
    tag = next_tag(tags)
    while tag.casefold() in taken:
        tag = next_tag([*tags, tag])
    return tag


def _faults(
    request: NewLog,
    register: Register,
    at: datetime,
    voice: Voice,
    places: Sequence[str] | None,
    taken: set[str],
) -> list[Fault]:
    faults = check_new(request, at, voice)
    in_use = taken or {tag.casefold() for tag in _tags(register)}
    if request.tag is not None and request.tag.casefold() in in_use:
        there = register.log(request.tag)
        is_there = (
            "was here and is gone" if there is not None and there.state == "gone" else "is there already"
        )
        faults.append(Fault("tag", f"{request.tag} {is_there}. Leave the tag out, or give another."))
    if request.place is not None and places is not None:
        try:
            known_place(request.place, places)
        except YardError as error:
            faults.append(Fault("place", str(error)))
    return faults


def _placed(request: NewLog, places: Sequence[str] | None) -> NewLog:
    if request.place is None:
        return request
    return replace(request, place=known_place(request.place, places))


def _understood(drafts: list[Entry], at: datetime, voice: Voice) -> str:
    """ "H17: walnut (Juglans regia), butt 56 cm, 2.44 m long, felled Fri 24 Oct, cut today." """
    data = drafts[0].data
    said, botanical = data.get("species_said"), data.get("species")
    wood = said or botanical or voice.words["log.no_wood"]
    parts = [f"{wood} ({botanical})" if said and botanical and said != botanical else wood]
    measured = [e for e in data["ends"] if e["diameter_cm"] is not None and not e["assumed_diameter"]]
    parts += [f"{voice.end(end['name'])} {voice.size(end['diameter_cm'])}" for end in measured]
    if "length_cm" in data:
        parts.append(voice.say("answer.long", size=voice.size(data["length_cm"])))
    if data["state"] != "in_yard":
        parts.append(voice.words[f"answer.state.{data['state']}"])
    times = {name: make.moment_from(data.get(name)) for name in ("felled", "expected")}
    parts += [
        voice.say("log.felled" if name == "felled" else "answer.expected", when=voice.when(moment, at))
        for name, moment in times.items()
        if moment is not None
    ]
    cuts = {end["name"]: make.moment_from(end["cut"]) for end in data["ends"]}
    parts += sorted(
        {
            voice.say("answer.cut_at", when=voice.when(cut, at))
            for cut in cuts.values()
            if cut is not None and not cut.assumed
        }
    )
    if any(not end["reach"] for end in data["ends"]):
        ends = voice.ends(e["name"] for e in data["ends"] if e["reach"])
        parts.append(voice.say("answer.in_reach", ends=ends or voice.words["answer.no_end"]))
    if data["count"] > 1:
        parts.append(voice.say("log.pieces", count=data["count"]))
    return f"{drafts[0].tag}: {', '.join(parts)}."


# ------------------------------------------------------------------ taking back and mending


def undo(entries: Sequence[Entry], by: By, *, voice: Voice | None = None) -> Written:
    """Take back the last command that still holds; called again, the one before.

    Raises
    ------
    YardError
        When nothing is left to take back.
    """
    voice = voice or Voice()
    held = _standing(entries)
    if not held:
        raise YardError("There is nothing to take back.")
    batch = held[-1].batch
    back = [entry for entry in held if entry.batch == batch]
    tags = {entry.tag for entry in back}
    draft = make.undo(by, tags.pop() if len(tags) == 1 else None, Moment(by.at), [e.number for e in back])
    last = max(entry.number for entry in entries)
    when = voice.when(back[-1].moment, by.at)
    told = "" if back[0].kind == "add" else f", {when}"
    said = voice.say("answer.taken_back", what=f"{describe_all(back, voice)}{told}")
    said = f"{said} {voice.words['answer.again']}"
    return Written(make.numbered([draft], last), said)


def _standing(entries: Sequence[Entry]) -> list[Entry]:
    """Entries that hold and are not undos, corrections among them."""
    facts = {entry.number for entry in holding(entries)}
    undone: set[int] = set()
    for entry in sorted(entries, key=lambda e: e.number, reverse=True):
        if entry.kind == "undo" and entry.number not in undone:
            undone.update(entry.data["of"])
    ordered = sorted(entries, key=lambda e: e.number)
    return [e for e in ordered if e.number in facts or (e.kind == "correct" and e.number not in undone)]


def correct(
    tag: str,
    number: int,
    register: Register,
    entries: Sequence[Entry],
    by: By,
    *,
    when: Moment | None = None,
    drop: bool = False,
    voice: Voice | None = None,
) -> Written:
    """``note TAG correct N``: entry N happened at another time, or (``drop``) not at all."""
    voice = voice or Voice()
    if (when is None) != drop:
        raise YardError("Say either --when TIME or --drop.")
    lines = {line.entry.number: line for line in history(entries, tag)}
    line = lines.get(number)
    if line is None:
        known = ", ".join(str(n) for n in lines) or "none"
        raise YardError(f"{tag} has no entry {number}. It has {known}: coatcast log show {tag}")
    entry = line.entry
    if entry.kind == "correct":
        raise YardError(f"Entry {number} is itself a mend of entry {entry.data['of']}. Mend that one.")
    if when is not None:
        _can_move(tag, entry, when, register, by, voice)
        when = settle(when, by.at)
    if not line.holds:
        raise YardError(f"Entry {number} ({describe(entry, voice)}) does not hold any more.")
    draft = make.correct(by, tag, Moment(by.at), number, when)
    what = describe(entry, voice)
    if when is None:
        said = voice.say("answer.dropped", number=number, what=what)
    else:
        now, was = voice.when(when, by.at), voice.when(line.moment, by.at)
        said = voice.say("answer.mended", number=number, what=what, now=now, was=was)
    return Written(make.numbered([draft], max(e.number for e in entries)), said)


def _can_move(tag: str, entry: Entry, when: Moment, register: Register, by: By, voice: Voice) -> None:
    if entry.kind == "add":
        raise YardError(
            f"That entry brought {tag} in. Use: coatcast log change {tag} --cut TIME or --felled TIME"
        )
    if entry.kind in ("change", "undo"):
        raise YardError(f"Entry {entry.number} has no time of its own to mend; it can be dropped.")
    if when.first > by.at + GRACE:
        raise YardError(f"{voice.when(when, by.at)} is still to come. Mend --when.")
    log = register.log(tag)
    felled = log.felled if log is not None else None
    work = entry.kind in ("cut", "coat", "divide", "halve", "saw")
    if work and felled is not None and not felled.assumed and when.before(felled):
        told = voice.when(felled, by.at)
        raise YardError(f"{tag}: {voice.when(when, by.at)} lies before the felling ({told}). Mend --when.")


# ------------------------------------------------------------------ the yard as a whole


def seen(
    what: str,
    value: bool | float,
    register: Register,
    by: By,
    *,
    night: Moment | None = None,
    voice: Voice | None = None,
) -> Written:
    """What the yard saw in a night (``night`` None: the one before now)."""
    voice = voice or Voice()
    draft = make.seen(by, night or Moment(by.at), what, value)
    said = voice.say("answer.noted", what=describe(draft, voice))
    return Written(make.numbered([draft], register.last_entry), said, plain=True)


def seen_nights(
    nights: Sequence[tuple[Moment, str, bool | float]],
    register: Register,
    by: By,
    *,
    voice: Voice | None = None,
) -> tuple[Written, int]:
    """Nights read from a thermometer's file, as one command; how many had been told by a person already.

    What a person said of a night stands: it is not written over.
    """
    told = {
        "min": {when for when, _ in register.minima_seen},
        "rain": {when for when, _ in register.rain_seen},
        "frost": {when for when, _ in register.frost_seen},
    }
    fresh = [(moment, what, value) for moment, what, value in nights if moment.time not in told[what]]
    drafts = [make.seen(by, moment, what, value) for moment, what, value in fresh]
    count = sum(what == "min" for _, what, _ in fresh)
    said = (voice or Voice()).say("answer.one_night" if count == 1 else "answer.nights", count=count)
    return Written(make.numbered(drafts, register.last_entry), said), len(nights) - len(fresh)


def keep_word(
    said: str, botanical: str | None, register: Register, by: By, *, voice: Voice | None = None
) -> Written:
    """Remember the yard's own word for a wood."""
    voice = voice or Voice()
    draft = make.word(by, Moment(by.at), said, botanical)
    kept = voice.say("answer.kept", what=describe(draft, voice))
    return Written(make.numbered([draft], register.last_entry), kept)


def pail(
    register: Register, by: By, *, when: Moment | None = None, voice: Voice | None = None, **facts: Any
) -> Written:
    """What is known of a pail; ``facts`` as ``entries.pail`` takes them."""
    voice = voice or Voice()
    draft = make.pail(by, settle(when or Moment(by.at), by.at), **facts)
    said = voice.say("answer.noted", what=_pail_words(draft.data, voice))
    return Written(make.numbered([draft], register.last_entry), said)


def _pail_words(data: Mapping[str, Any], voice: Voice) -> str:
    parts = [pail_name(str(data["name"]), voice)]
    if "litres" in data:
        parts.append(voice.number(f"{data['litres']:g} L"))
    if "by_eye" in data:
        parts.append(voice.words[f"answer.by_eye.{data['by_eye']}"])
    if "place" in data:
        inside = data["place"] == INDOORS
        words = voice.words["pail.indoors"] if inside else voice.say("answer.at_place", place=data["place"])
        parts.append(words)
    if "coldest_c" in data:
        parts.append(voice.say("answer.pail_coldest", temperature=voice.number(f"{data['coldest_c']:g} °C")))
    return ", ".join(parts)


def away(until: datetime | None, register: Register, by: By, *, voice: Voice | None = None) -> Written:
    """The yard rests until a day; None: it is back."""
    if until is not None and until <= by.at:
        raise YardError("Away until a time that lies behind: give a day still to come.")
    draft = make.away(by, Moment(by.at), until)
    voice = voice or Voice()
    if until is None:
        said = voice.words["answer.back_now"]
    else:
        said = voice.say("answer.away_until", day=voice.when(Moment(until), by.at))
    return Written(make.numbered([draft], register.last_entry), said)
