"""What each kind of entry does to a log: the working side of ``state.fold``.

Drafts are plain mutable records that live only while a register is folded.
Entries reach them in the order in which things happened.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from copy import copy
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

from scheduler.yard.entries import Entry, moment_from
from scheduler.yard.facts import Coat, Cut, End, Log, Look, Moment

__all__ = ["SAME_COAT", "EndDraft", "LogDraft", "create", "play"]

SAME_COAT = timedelta(
    hours=12
)  # within this, a coat told again is the same coat (common practice, no source)
NOT_OPEN = ("expected", "standing", "long")  # states in which no end of a log is open


@dataclass(slots=True)
class EndDraft:
    """An end in the making."""

    name: str
    cut: Moment
    cut_entry: int
    reach: bool = True
    diameter_cm: float | None = None
    assumed_diameter: bool = False
    coats: list[Coat] = field(default_factory=list)
    told: list[Entry] = field(default_factory=list)  # coat entries since the last cut
    looks: list[Look] = field(default_factory=list)
    checks: str = "none"
    face: Any = "unknown"
    trimmed_cm: float = 0.0
    cuts: list[Cut] = field(default_factory=list)

    def done(self) -> End:
        """The end as plain frozen facts."""
        return End(
            self.name,
            self.cut,
            self.cut_entry,
            self.reach,
            self.diameter_cm,
            self.assumed_diameter,
            tuple(self.coats),
            tuple(self.looks),
            self.checks,
            self.face,
            self.trimmed_cm,
            tuple(self.cuts),
        )

    def again(self) -> EndDraft:
        """A copy that shares nothing mutable."""
        new = copy(self)
        new.coats, new.told = list(self.coats), list(self.told)
        new.looks, new.cuts = list(self.looks), list(self.cuts)
        return new


@dataclass(slots=True)
class LogDraft:
    """A log in the making. ``plain`` holds the fields of ``Log`` that are only ever set."""

    entry: int
    order: int  # which child of its entry
    tag: str
    state: Any
    felled: Moment | None
    length_cm: float | None
    ends: list[EndDraft]
    plain: dict[str, Any]
    place: str | None = None
    roofed: bool = False
    count: int = 1
    left_long: bool = False
    left_till: datetime | None = None
    assumed: list[str] = field(default_factory=list)
    is_piece: bool = False  # of a log that was divided

    def named(self, names: tuple[str, ...]) -> Iterator[EndDraft]:
        """The ends of those names; an end that is not there is passed over."""
        return (end for end in self.ends if end.name in names)

    def done(self, at: datetime) -> Log:
        """The log as plain frozen facts, as it stands at ``at``."""
        state = self.state
        if state in ("in_yard", "long") and self.felled is not None and self.felled.first > at:
            state = "expected"
        over = self.left_till is not None and self.left_till <= at
        return Log(
            tag=self.tag,
            state=state,
            felled=self.felled,
            length_cm=self.length_cm,
            ends=tuple(end.done() for end in self.ends),
            entry=self.entry,
            place=self.place,
            roofed=self.roofed,
            count=self.count,
            left_long=self.left_long and not over,
            left_till=self.left_till if self.left_long and not over else None,
            assumed=self._still_assumed(),
            **self.plain,
        )

    def _still_assumed(self) -> tuple[str, ...]:
        open_question = any(end.cut.assumed for end in self.ends)
        return tuple(a for a in self.assumed if open_question or not a.startswith("cut:"))


PLAIN = (
    "species",
    "species_said",
    "needs_cm",
    "worth",
    "lump",
    "price_per_m3",
    "use",
    "parent",
    "thick_cm",
    "skip",
    "saw_first",
    "metal",
    "gone_why",
    "note",
)
PLAIN_MOMENTS = ("expected", "halved", "sawn")
_NEVER_NONE: dict[str, Any] = {"species_said": "", "skip": False, "saw_first": False}


def create(entry: Entry, cuts: Iterable[Entry] = ()) -> LogDraft:
    """The log that an ``add`` entry tells of.

    ``cuts`` are the entries that mended the first cut afterwards, in the order of their numbers.
    """
    data = entry.data
    plain: dict[str, Any] = {key: data.get(key, _NEVER_NONE.get(key)) for key in PLAIN}
    plain |= {key: moment_from(data.get(key)) for key in PLAIN_MOMENTS}
    ends = [_new_end(entry, end) for end in data["ends"]]
    for change in cuts:
        mended = change.data["fields"]["cut"]
        for end in ends:
            if end.name in mended:
                end.cut = moment_from(mended[end.name]) or end.cut
    till = data.get("left_till")
    return LogDraft(
        entry=entry.number,
        order=0,
        tag=str(entry.tag),
        state=data.get("state", "in_yard"),
        felled=moment_from(data.get("felled")),
        length_cm=data.get("length_cm"),
        ends=ends,
        plain=plain,
        place=data.get("place"),
        roofed=data.get("roofed", False),
        count=data.get("count", 1),
        left_long=data.get("left_long", False),
        left_till=datetime.fromisoformat(till) if till else None,
        assumed=list(data.get("assumed", ())),
    )


def _new_end(entry: Entry, data: dict[str, Any]) -> EndDraft:
    return EndDraft(
        data["name"],
        moment_from(data.get("cut")) or replace(entry.moment, assumed=True),
        entry.number,
        data.get("reach", True),
        data.get("diameter_cm"),
        data.get("assumed_diameter", False),
        checks=data.get("checks", "none"),
        face=data.get("face", "unknown"),
        trimmed_cm=data.get("trimmed_cm", 0.0),
    )


def play(log: LogDraft, events: list[Entry], same_coat: timedelta = SAME_COAT) -> list[LogDraft]:
    """Let the entries of a log happen, oldest first; returns the pieces it was divided into."""
    _move_assumed_cuts(log, events)
    for event in events:
        if log.state == "gone":
            break  # what is told of a later time cannot be about this log
        if event.kind == "coat":
            _arrive(log, event)
            for end in log.named(event.ends):
                _lay(end, event, same_coat)
            if "layers" not in event.data:  # work that goes on, not a log taken over as it was
                log.left_long = False
        elif event.kind == "cut":
            _cut(log, event, same_coat)
        elif event.kind == "divide":
            return _divide(log, event)
        else:
            _ACTS[event.kind](log, event)
    return []


def _move_assumed_cuts(log: LogDraft, events: list[Entry]) -> None:
    """An assumed cut cannot be later than a coat or a look at the coat: the face was there before.

    Where the felling is known, the cut is taken from it and stays.
    """
    if log.felled is not None and not log.felled.assumed:
        return
    for end in log.ends:
        if not end.cut.assumed:
            continue
        for event in events:
            if event.kind == "cut" and end.name in event.ends:
                break
            if event.kind in ("coat", "look") and end.name in event.ends:
                if event.moment.time < end.cut.time:
                    end.cut = replace(event.moment, assumed=True)
                break


# ------------------------------------------------------------------ coats


def _lay(end: EndDraft, event: Entry, same_coat: timedelta) -> None:
    if event.moment.before(end.cut):
        return  # it went on a face that has been cut off since
    end.told.append(event)
    layers = event.data.get("layers")
    if layers:
        for layer in range(1, layers + 1):
            last = layer == layers
            when = event.moment if last else replace(event.moment, assumed=True)
            end.coats.append(
                Coat(when, layer, event.number, last and bool(event.data.get("part")), event.who)
            )
        return
    if end.coats and _is_same(end, event, same_coat):
        end.coats[-1] = _joined(end.coats[-1], event)
        return
    layer, part = _layer(end.coats, event)
    litres = event.data.get("litres")
    end.coats.append(Coat(event.moment, layer, event.number, part, event.who, litres=litres))


def _is_same(end: EndDraft, event: Entry, same_coat: timedelta) -> bool:
    """Whether a coat is the last one told again: within hours of it, or while it was seen milky."""
    last = end.coats[-1]
    if last.spoiled:
        return False
    near = event.moment.time - last.moment.time <= same_coat
    if event.data.get("second"):
        return near and last.layer >= 2
    seen = next((look for look in reversed(end.looks) if look.seen != "checks"), None)
    milky = seen is not None and seen.seen == "milky" and seen.moment.time >= last.moment.time
    return near or milky


def _joined(coat: Coat, event: Entry) -> Coat:
    """The coat with a further entry that told of it; the first told stays its cause and gives its time."""
    part = coat.part or event.data.get("part", False)  # what is told again never raises protection
    litres = coat.litres if coat.litres is not None else event.data.get("litres")
    if event.number > coat.entry:
        return replace(coat, told=tuple(sorted((*coat.told, event.number))), part=part, litres=litres)
    told = tuple(sorted((*coat.told, coat.entry)))
    return replace(coat, moment=event.moment, entry=event.number, told=told, part=part, litres=litres)


def _layer(coats: list[Coat], event: Entry) -> tuple[int, bool]:
    """Layer of a new coat, and whether it leaves a hole.

    Over a coat with a hole the hole has but one layer, unless it is said to be the second coat. A part
    coat over a whole one adds nothing that could be relied on.
    """
    part = bool(event.data.get("part"))
    sound = [coat for coat in coats if not coat.spoiled]
    if not sound:
        return 1, part
    under = sound[-1]
    if under.part:
        return (min(2, under.layer + 1) if event.data.get("second") else under.layer), part
    return (under.layer, False) if part else (min(2, under.layer + 1), False)


# ------------------------------------------------------------------ cuts


def _cut(log: LogDraft, event: Entry, same_coat: timedelta) -> None:
    _arrive(log, event)
    size = event.data.get("size_cm")
    for end in log.named(event.ends):
        if size is not None:
            end.trimmed_cm += size
            log.length_cm = None if log.length_cm is None else max(0.0, log.length_cm - size)
        if event.moment.before(end.cut) and not end.cut.assumed:
            continue  # the face that is there now is younger
        _renew(end, event, same_coat)
    log.left_long = False


def _renew(end: EndDraft, event: Entry, same_coat: timedelta) -> None:
    """A fresh face: coats, looks and checks of the old one are gone, its clock starts again."""
    found = event.data.get("found")
    size, coats = event.data.get("size_cm"), tuple(end.coats)
    end.cuts.append(Cut(event.moment, event.number, size, found, end.checks, end.cut, coats))
    # A coat told after a roughly dated cut, of the same rough time, is a coat on the new face.
    kept = [c for c in end.told if c.number > event.number and c.moment.last >= event.moment.first]
    end.cut, end.cut_entry = event.moment, event.number
    end.coats, end.told, end.looks = [], [], []
    if found == "still cracked":
        end.checks = "open" if end.checks == "none" else end.checks
        end.face = "cracked"
    else:
        end.checks, end.face = "none", "wet"
    for coat in kept:
        _lay(end, coat, same_coat)


def _arrive(log: LogDraft, event: Entry) -> None:
    """Work on a log that was expected, standing or long shows that it is here with open ends."""
    if log.state not in NOT_OPEN or (log.state != "expected" and event.kind != "cut"):
        return
    _here_with_open_ends(log, event)


def _here_with_open_ends(log: LogDraft, event: Entry) -> None:
    log.state = "in_yard"
    here = replace(event.moment, assumed=True)
    if log.felled is None or log.felled.first > event.moment.time:
        log.felled = None if log.felled is None else here
        for end in log.ends:
            if end.cut.assumed:
                end.cut = here


# ------------------------------------------------------------------ pieces


def _divide(log: LogDraft, event: Entry) -> list[LogDraft]:
    """Two pieces: the first keeps the first end, the second all others; the inner ends are fresh."""
    size = event.data["size_cm"]
    length = log.length_cm
    rest = None if length is None else max(0.0, length - size)
    first, others = log.ends[0], log.ends[1:]
    tag_a, tag_b = event.data["children"]
    across = _across(first, others, size, length)
    inner_a = _inner("top" if first.name != "top" else "butt", event, across)
    inner_b = _inner(first.name if all(e.name != first.name for e in others) else "inner", event, across)
    pieces = [
        _piece(log, event, 0, tag_a, size, [first.again(), inner_a]),
        _piece(log, event, 1, tag_b, rest, [inner_b, *(end.again() for end in others)]),
    ]
    log.state = "gone"
    log.plain |= {"gone_why": "divided", "children": (tag_a, tag_b)}
    return pieces


def _across(first: EndDraft, others: list[EndDraft], size: float, length: float | None) -> float | None:
    """Diameter at the new cut, on the straight line between two known ends."""
    far = others[0].diameter_cm if len(others) == 1 else None
    if first.diameter_cm is None or far is None or not length:
        return None
    return round(first.diameter_cm + (far - first.diameter_cm) * min(1.0, size / length), 1)


def _inner(name: str, event: Entry, diameter: float | None) -> EndDraft:
    return EndDraft(name, event.moment, event.number, True, diameter, diameter is not None, face="wet")


def _piece(
    log: LogDraft, event: Entry, order: int, tag: str, length: float | None, ends: list[EndDraft]
) -> LogDraft:
    # The finished length and the lump sum were said of the whole; nobody said them of a piece.
    plain = {**log.plain, "parent": log.tag, "needs_cm": None, "lump": None}
    state = "in_yard" if log.state in NOT_OPEN else log.state
    felled = log.felled
    if felled is not None and felled.first > event.moment.time:
        felled = replace(event.moment, assumed=True)
    return LogDraft(
        event.number,
        order,
        tag,
        state,
        felled,
        length,
        ends,
        plain,
        log.place,
        log.roofed,
        log.count,
        assumed=list(log.assumed),
        is_piece=True,
    )


def _halve(log: LogDraft, event: Entry) -> None:
    """Split through the pith: twice the pieces. The end grain is no fresher for it."""
    _arrive(log, event)
    log.count *= 2
    log.plain["halved"] = event.moment


def _saw(log: LogDraft, event: Entry) -> None:
    """One pack with one clock; its ends are due at once."""
    log.state = "in_yard"
    log.count = event.data.get("into") or log.count
    log.plain["thick_cm"] = event.data.get("thick_cm")
    log.plain["sawn"] = event.moment
    log.plain["saw_first"] = False
    log.left_long = False
    lost = event.data.get("lost_cm")
    for end in log.ends:
        if lost is not None:
            coats = tuple(end.coats)
            end.cuts.append(
                Cut(event.moment, event.number, lost, "clean", end.checks, end.cut, coats, measured=True)
            )
        end.cut, end.cut_entry, end.reach = event.moment, event.number, True
        end.coats, end.told, end.looks = [], [], []
        end.checks, end.face = "none", "wet"


# ------------------------------------------------------------------ looks, place, decisions


def _look(log: LogDraft, event: Entry) -> None:
    if event.data["seen"] != "checks":
        _arrive(log, event)
    for end in log.named(event.ends):
        if event.moment.before(end.cut):
            continue  # that face is gone
        checks = event.data.get("checks")
        end.looks.append(Look(event.moment, event.data["seen"], event.number, checks))
        if checks is not None:
            end.checks = checks
        elif end.coats:
            last, seen = end.coats[-1], event.data["seen"]
            # The last look holds: seen spoiled it protects nothing, seen otherwise later it does.
            end.coats[-1] = replace(last, spoiled=seen == "spoiled", part=last.part or seen == "skips")


def _roof(log: LogDraft, event: Entry) -> None:
    _arrive(log, event)
    log.roofed = event.kind == "roof"


def _move(log: LogDraft, event: Entry) -> None:
    _arrive(log, event)
    log.place = event.data.get("place")
    log.roofed = False  # the sheet stays where it was
    reach = event.data.get("reach")
    if reach is not None:
        for end in log.ends:
            end.reach = end.name in reach


def _leave(log: LogDraft, event: Entry) -> None:
    till = event.data.get("till")
    log.left_long, log.left_till = True, datetime.fromisoformat(till) if till else None


def _decide(log: LogDraft, event: Entry) -> None:
    log.plain[event.kind] = True


def _gone(log: LogDraft, event: Entry) -> None:
    log.state, log.plain["gone_why"] = "gone", event.data.get("why")


def _change(log: LogDraft, event: Entry) -> None:
    for name, value in event.data["fields"].items():
        if name in PLAIN:
            log.plain[name] = _NEVER_NONE.get(name) if value is None else value
        elif name in PLAIN_MOMENTS:
            log.plain[name] = moment_from(value)
        elif name == "felled":
            log.felled = moment_from(value)
        elif name == "left_till":
            log.left_till = datetime.fromisoformat(value) if value else None
        elif name == "reach":
            for end in log.ends:
                end.reach = end.name in value
        elif name == "ends":
            _change_ends(log, value)
        elif name == "cut":
            _change_cut(log, value)
        elif name != "state":
            setattr(log, name, value)
    state = event.data["fields"].get("state")
    if state == "in_yard" and log.state in NOT_OPEN:
        _here_with_open_ends(log, event)
    elif state is not None:
        log.state = state


def _change_cut(log: LogDraft, value: dict[str, dict[str, Any]]) -> None:
    if not log.is_piece:
        return  # the first cut was mended when the log was made, so that its coats could be judged by it
    for end in log.ends:
        end.cut = moment_from(value.get(end.name)) or end.cut


def _change_ends(log: LogDraft, value: dict[str, dict[str, Any]]) -> None:
    for end in log.ends:
        for key, new in value.get(end.name, {}).items():
            setattr(end, key, new)


_ACTS: dict[str, Callable[[LogDraft, Entry], None]] = {
    "look": _look,
    "roof": _roof,
    "unroof": _roof,
    "move": _move,
    "halve": _halve,
    "saw": _saw,
    "leave": _leave,
    "skip": _decide,
    "saw_first": _decide,
    "gone": _gone,
    "change": _change,
}
