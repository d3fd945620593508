"""A log that comes into the register: what may be told of it, what is wrong with it, its entries."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any, get_args

from scheduler.yard import entries as make
from scheduler.yard.entries import By, Entry, YardError, moment_to
from scheduler.yard.facts import CHECK_WORDS, LogState, Moment, Worth
from scheduler.yard.state import GRACE
from scheduler.yard.tags import check_tag, nearest
from scheduler.yard.telling import Voice, and_list

__all__ = ["TAPER", "Fault", "NewEnd", "NewLog", "check_new", "new_entries", "settle"]

TAPER = 1.0  # cm of diameter lost per m of stem where only one diameter was told (common practice, no source)
GREATEST_CM = 300.0  # no log of a small yard is thicker; catches a slipped unit
LONGEST_CM = 6000.0
OLDEST = timedelta(days=36525)
FROM_FELLING = "cut: taken as the felling"
END_NAME = re.compile(r"^[^\W\d_][^\W_]{0,15}$")
FACES = ("wet", "dry", "cracked", "unknown")
UNREADABLE = {code: None for code in range(32) if chr(code) not in "\n\t"}


@dataclass(frozen=True, slots=True)
class NewEnd:
    """What is told of one end. ``reach`` None: by the log's ``reach``; ``cut`` None: the log's ``cut``."""

    name: str
    diameter_cm: float | None = None
    assumed_diameter: bool = False
    cut: Moment | None = None
    reach: bool | None = None
    checks: str | None = None
    face: str | None = None
    trimmed_cm: float = 0.0
    coats: int | None = None
    coated: Moment | None = None  # the last coat
    part: bool = False
    look: str | None = None  # clear, milky, skips, spoiled
    looked: Moment | None = None


@dataclass(frozen=True, slots=True)
class NewLog:
    """What is told of a new log; everything may be left out.

    ``species`` is the botanical name, ``species_said`` what the person wrote. ``reach`` None: all ends.
    ``ends`` names all ends where they are not just butt and top, or where more is told of them.
    """

    tag: str | None = None
    species: str | None = None
    species_said: str = ""
    butt_cm: float | None = None
    top_cm: float | None = None
    length_cm: float | None = None
    felled: Moment | None = None
    cut: Moment | None = None
    reach: frozenset[str] | None = None
    state: str | None = None
    needs_cm: float | None = None
    worth: str | None = None
    lump: float | None = None
    price_per_m3: float | None = None
    use: str | None = None
    place: str | None = None
    count: int | None = None
    face: str | None = None
    metal: bool | None = None
    expected: Moment | None = None
    note: str | None = None
    checks: str | None = None
    ends: tuple[NewEnd, ...] = ()
    thick_cm: float | None = None
    parent: str | None = None
    roofed: bool = False
    left_long: bool = False
    left_till: datetime | None = None
    skip: bool = False
    saw_first: bool = False
    gone_why: str | None = None
    halved: Moment | None = None
    sawn: Moment | None = None
    assumed: tuple[str, ...] = field(default=())
    complete: bool = False  # all is told: guess nothing more

    def all_ends(self) -> tuple[NewEnd, ...]:
        """Its ends, with what was told of butt and top in place."""
        given = {"butt": self.butt_cm, "top": self.top_cm}
        return tuple(
            end if given.get(end.name) is None else replace(end, diameter_cm=given[end.name])
            for end in self.ends or (NewEnd("butt"), NewEnd("top"))
        )


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that cannot be: the field it stands in, and a full sentence."""

    field: str
    text: str


# ------------------------------------------------------------------ checks


def check_new(new: NewLog, at: datetime, voice: Voice | None = None) -> list[Fault]:
    """All that is wrong with a new log, in itself (tags in use and places are the register's matter)."""
    voice = voice or Voice()
    faults: list[Fault] = []
    if new.tag is not None and (wrong := check_tag(new.tag)):
        faults.append(Fault("tag", wrong))
    faults += _check_words(new)
    faults += _check_numbers(new, voice)
    faults += _check_times(new, at, voice)
    for end in new.all_ends():
        faults += _check_end(new, end, at, voice)
    return faults


def _check_words(new: NewLog) -> list[Fault]:
    faults = []
    choices = {"state": get_args(LogState), "worth": get_args(Worth), "face": FACES, "checks": CHECK_WORDS}
    for name, known in choices.items():
        value = getattr(new, name)
        if value is not None and value not in known:
            faults.append(Fault(name, f"{name}: '{value}' is not one of {', '.join(known)}."))
    names = {end.name for end in new.all_ends()}
    wrong = [name for name in sorted(names) if not END_NAME.match(name)]
    faults += [Fault("ends", f"ends: '{n}' cannot name an end; use one word of letters.") for n in wrong]
    for name in sorted(new.reach or ()):
        if name not in names:
            near = nearest(name, names)
            hint = f" Did you mean {near}?" if near else f" Ends are {and_list(sorted(names))}."
            faults.append(Fault("reach", f"reach: there is no end '{name}'.{hint}"))
    return faults


def _check_numbers(new: NewLog, voice: Voice) -> list[Fault]:
    faults = []
    for name, most in (("length_cm", LONGEST_CM), ("needs_cm", LONGEST_CM), ("thick_cm", GREATEST_CM)):
        faults += _size(name, getattr(new, name), most, voice)
    for name in ("lump", "price_per_m3"):
        value = getattr(new, name)
        if value is not None and not (math.isfinite(value) and 0 <= value <= 1e9):
            faults.append(Fault(name, f"{name}: {value:g} cannot be a price. Give a sum of 0 or more."))
    if new.count is not None and not 1 <= new.count <= 10_000:
        faults.append(Fault("count", f"count: {new.count} pieces cannot be. Give 1 or more."))
    if new.needs_cm and new.length_cm and new.needs_cm > new.length_cm:
        wanted, there = voice.size(new.needs_cm), voice.size(new.length_cm)
        faults.append(Fault("needs_cm", f"needs: {wanted} cannot be had from a log of {there}."))
    return faults


def _size(name: str, value: float | None, most: float, voice: Voice) -> list[Fault]:
    if value is None or (math.isfinite(value) and 0 < value <= most):
        return []
    word = name.removesuffix("_cm")
    shown = f"{value:g} cm" if not math.isfinite(value) or value <= 0 else voice.size(value)
    text = f"{word}: {shown} cannot be; it lies between 0 and {voice.size(most)}. Look at number and unit."
    return [Fault(name, text)]


def _check_times(new: NewLog, at: datetime, voice: Voice) -> list[Fault]:
    faults = []
    for name in ("felled", "cut", "expected"):
        moment = getattr(new, name)
        if moment is not None and at - moment.time > OLDEST:
            faults.append(Fault(name, f"{name}: {voice.when(moment, at)} is more than a hundred years ago."))
    if new.cut is not None:
        faults += _check_cut("cut", new.cut, new, at, voice)
    if new.expected is not None and new.state == "in_yard" and new.expected.first > at:
        text = "expected: a log that is in the yard cannot be still to come. Leave one of the two out."
        faults.append(Fault("expected", text))
    return faults


def _check_cut(name: str, cut: Moment, new: NewLog, at: datetime, voice: Voice) -> list[Fault]:
    said = voice.when(cut, at)
    if cut.assumed:
        return []
    if cut.first > at + GRACE:
        return [Fault(name, f"{name}: {said} is still to come. A cut is noted once it is made.")]
    if new.felled is not None and cut.before(new.felled):
        felled = voice.when(new.felled, at)
        text = f"{name}: cut {said} lies before the felling ({felled}). Mend one of the two times."
        return [Fault(name, text)]
    return []


def _check_end(new: NewLog, end: NewEnd, at: datetime, voice: Voice) -> list[Fault]:
    faults = _size(f"{end.name}_cm", end.diameter_cm, GREATEST_CM, voice)
    if end.trimmed_cm and not 0 <= end.trimmed_cm <= LONGEST_CM:
        faults.append(
            Fault(f"{end.name}_trimmed_cm", f"{end.name}: {end.trimmed_cm:g} cm cannot be trimmed.")
        )
    if end.checks is not None and end.checks not in CHECK_WORDS:
        text = f"{end.name}: checks '{end.checks}' is not one of {', '.join(CHECK_WORDS)}."
        faults.append(Fault(f"{end.name}_checks", text))
    if end.face is not None and end.face not in FACES:
        text = f"{end.name}: face '{end.face}' is not one of {', '.join(FACES)}."
        faults.append(Fault(f"{end.name}_face", text))
    if end.look is not None and end.look not in make.SEEN_WORDS[:-1]:
        text = f"{end.name}: a look is {', '.join(make.SEEN_WORDS[:-1])}, not '{end.look}'."
        faults.append(Fault(f"{end.name}_look", text))
    if end.cut is not None:
        faults += _check_cut(f"{end.name}_cut", end.cut, new, at, voice)
    return faults + _check_coats(new, end, at, voice)


def _check_coats(new: NewLog, end: NewEnd, at: datetime, voice: Voice) -> list[Fault]:
    name = f"{end.name}_coats"
    if end.coats is not None and end.coats not in (0, 1, 2):
        return [Fault(name, f"{end.name}: {end.coats} coats cannot be. Give 0, 1 or 2.")]
    if end.coats and end.coated is None:
        return [Fault(f"{end.name}_coated", f"{end.name}: say when it was coated; roughly will do.")]
    if end.coats == 0 and end.coated is not None:
        return [Fault(name, f"{end.name}: coated on a day, but with 0 coats. Mend one of the two.")]
    faults = []
    for what, moment in (("coated", end.coated), ("looked", end.looked)):
        if moment is not None and moment.first > at + GRACE:
            text = f"{end.name}: {what} {voice.when(moment, at)} is still to come."
            faults.append(Fault(f"{end.name}_{what}", text))
    face = end.cut or new.cut or new.felled
    if end.coated is not None and face is not None and end.coated.before(face) and not face.assumed:
        then, since = voice.when(end.coated, at), voice.when(face, at)
        text = f"{end.name}: coated {then} lies before its face was made ({since}). Mend one of the two."
        faults.append(Fault(f"{end.name}_coated", text))
    return faults


# ------------------------------------------------------------------ entries


def settle(moment: Moment, at: datetime) -> Moment:
    """A rough time of something past, without the part of it that is still to come."""
    if moment.last <= at or moment.half == timedelta(0):
        return moment
    first = min(moment.first, at)
    half = (at - first) / 2
    return replace(moment, time=first + half, half=half)


def new_entries(
    new: NewLog, tag: str, by: By, voice: Voice, taper: float = TAPER
) -> tuple[list[Entry], list[str]]:
    """The entries of a checked new log, and what was assumed, in the words of the day."""
    assumed = _Assumed(list(new.assumed), list(new.assumed))
    state, felled = _state(new, by.at)
    ends = new.all_ends()
    if not new.complete:
        ends = _diameters(ends, new.length_cm, voice, taper, assumed)
    if new.species is None and not new.complete:
        assumed.say("wood: not known, treated as one that cracks early")
    cuts = [_cut_of(end, new, felled, state, by.at, assumed) for end in ends]
    if new.reach is None and state == "in_yard" and all(end.reach is None for end in ends):
        assumed.say(f"reach: {'both ends' if len(ends) == 2 else 'all ends'} can be reached")
    data = _plain(new) | {"state": state, "felled": moment_to(felled), "assumed": assumed.kept}
    data["ends"] = [_end_data(end, cut, new) for end, cut in zip(ends, cuts, strict=True)]
    times = [m.time for m in (felled, *cuts) if m is not None]
    happened = Moment(min([by.at, *times]))
    drafts = [make.add(by, tag, happened, data)]
    for end in ends:
        drafts += _coats_and_looks(end, tag, by)
    if new.state == "gone":
        drafts.append(make.gone(by, tag, Moment(by.at), _text(new.gone_why)))
    return drafts, assumed.said


@dataclass(slots=True)
class _Assumed:
    """Assumptions as they are kept, and as they are said now ("today" is a word of the day)."""

    kept: list[str]
    said: list[str]

    def say(self, text: str, today: str | None = None) -> None:
        if text not in self.kept:
            self.kept.append(text)
            self.said.append(today or text)


def _state(new: NewLog, at: datetime) -> tuple[str, Moment | None]:
    felled = new.felled
    to_come = [m for m in (felled, new.expected) if m is not None and m.first > at]
    state = new.state or ("expected" if to_come else "in_yard")
    if state == "gone":
        state = "in_yard"  # it was, until the entry that tells that it went
    if state == "in_yard" and felled is not None and felled.first > at:
        state = "expected"
    if felled is not None and state not in ("expected", "standing"):
        felled = settle(felled, at)
    return state, felled


def _diameters(
    ends: tuple[NewEnd, ...], length: float | None, voice: Voice, taper: float, assumed: _Assumed
) -> tuple[NewEnd, ...]:
    """Where one of two diameters is not known, it follows from the other along the stem."""
    if len(ends) != 2 or sum(end.diameter_cm is None for end in ends) != 1:
        return ends
    lost = taper * (length or 0.0) / 100
    first, second = ends
    if second.diameter_cm is None and first.diameter_cm is not None:
        guess = round(max(first.diameter_cm - lost, first.diameter_cm / 3), 1)
        assumed.say(f"{second.name}: about {voice.size(guess)}, from the {first.name}")
        return first, replace(second, diameter_cm=guess, assumed_diameter=True)
    guess = round((second.diameter_cm or 0.0) + lost, 1)
    assumed.say(f"{first.name}: about {voice.size(guess)}, from the {second.name}")
    return replace(first, diameter_cm=guess, assumed_diameter=True), second


def _cut_of(
    end: NewEnd, new: NewLog, felled: Moment | None, state: str, at: datetime, assumed: _Assumed
) -> Moment:
    """The time from which the face counts: told, else the felling, else by the look of the face, else now."""
    told = end.cut or new.cut
    if told is not None:
        return told if told.assumed else settle(told, at)
    if state != "in_yard":
        return replace(felled or Moment(at), assumed=True)
    face = end.face or new.face
    if felled is not None:
        assumed.say(FROM_FELLING)
        return replace(felled, assumed=True)
    if face == "wet":
        assumed.say("cut: taken as the day before it was entered", "cut: taken as yesterday")
        return Moment(at - timedelta(days=1), timedelta(hours=12), assumed=True)
    if face in ("dry", "cracked"):
        assumed.say(f"cut: not known; the face is {face}, so a fresh cut comes first")
    else:
        assumed.say("cut: taken as the day it was entered", "cut: taken as today")
    return Moment(at, assumed=True)


def _plain(new: NewLog) -> dict[str, Any]:
    names = ("species", "length_cm", "needs_cm", "worth", "lump", "price_per_m3", "thick_cm", "metal")
    data: dict[str, Any] = {name: getattr(new, name) for name in names}
    for name in ("species_said", "use", "place", "parent", "note"):
        data[name] = _text(getattr(new, name))
    for name in ("expected", "halved", "sawn"):
        data[name] = moment_to(getattr(new, name))
    flags = [name for name in ("roofed", "left_long", "skip", "saw_first") if getattr(new, name)]
    data |= dict.fromkeys(flags, True)
    data["count"] = new.count or 1
    data["left_till"] = new.left_till.isoformat() if new.left_till else None
    return data


def _text(value: str | None) -> str | None:
    if value is None:
        return None
    return value.replace("\r\n", "\n").replace("\r", "\n").translate(UNREADABLE).strip() or None


def _end_data(end: NewEnd, cut: Moment, new: NewLog) -> dict[str, Any]:
    face = end.face or new.face or "unknown"
    checks = end.checks or new.checks or ("open" if face == "cracked" else "none")
    reach = end.reach if end.reach is not None else new.reach is None or end.name in new.reach
    data = {"name": end.name, "diameter_cm": end.diameter_cm, "reach": reach, "cut": moment_to(cut)}
    data |= {"checks": checks, "face": face, "trimmed_cm": end.trimmed_cm}
    return data | {"assumed_diameter": end.assumed_diameter}


def _coats_and_looks(end: NewEnd, tag: str, by: By) -> Iterable[Entry]:
    if end.coated is not None:
        when = settle(end.coated, by.at)
        yield make.coat(by, tag, (end.name,), when, part=end.part, layers=end.coats or 1)
    if end.look is not None:
        yield make.look(by, tag, (end.name,), settle(end.looked or Moment(by.at), by.at), end.look)


def raise_faults(faults: list[Fault]) -> None:
    """Raise one error that tells of all faults."""
    if faults:
        raise YardError("\n".join(fault.text for fault in faults))
