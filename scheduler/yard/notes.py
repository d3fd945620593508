"""``note``: what was done or seen at logs that are there, turned into entries."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from scheduler.yard import entries as make
from scheduler.yard.apply import SAME_COAT
from scheduler.yard.entries import By, Entry, YardError
from scheduler.yard.facts import CHECK_WORDS, Coat, End, Log, Moment, Register
from scheduler.yard.newlog import LONGEST_CM, settle
from scheduler.yard.state import GRACE
from scheduler.yard.tags import find_ends, find_log, nearest
from scheduler.yard.telling import Voice, and_list, seen_words

__all__ = ["NOTE_KINDS", "Note", "Written", "known_place", "note"]

OPEN_YARD = ("yard", "the yard", "open yard", "the open yard", "open", "outside", "outdoors")


@dataclass(frozen=True, slots=True)
class Written:
    """Entries made from a command, and what to say to the person: what was understood and assumed.

    ``plain``: it is done as it was asked for, and there is nothing else to say of it.
    """

    entries: tuple[Entry, ...]
    said: str
    plain: bool = False


@dataclass(frozen=True, slots=True)
class Note:
    """The options of a note, sizes in cm and times as moments. ``when`` None: now."""

    ends: tuple[str, ...] = ()  # empty: all that can be reached
    when: Moment | None = None
    size_cm: float | None = None
    part: bool = False
    second: bool = False
    litres: float | None = None
    reach: frozenset[str] | None = None
    into: int | None = None
    thick_cm: float | None = None
    lost_cm: float | None = None
    till: datetime | None = None


@dataclass(slots=True)
class _Desk:
    """What one note is written with, and the remarks it gives rise to."""

    register: Register
    by: By
    words: tuple[str, ...]
    options: Note
    voice: Voice
    places: Sequence[str] | None
    moment: Moment
    remarks: list[str] = field(default_factory=list)

    @property
    def text(self) -> str:
        """The words as one text, blanks tidied."""
        return " ".join(" ".join(self.words).split())

    def when(self, moment: Moment) -> str:
        """A moment in the yard's words."""
        return self.voice.when(moment, self.by.at)

    def remark(self, key: str, **values: object) -> None:
        """Say something of it besides, in the yard's words."""
        self.remarks.append(self.voice.say(key, **values))


def note(
    tags: Sequence[str],
    kind: str,
    words: Sequence[str],
    register: Register,
    by: By,
    options: Note | None = None,
    *,
    voice: Voice | None = None,
    places: Sequence[str] | None = None,
) -> Written:
    """Entries for a note on some logs; all of them or none.

    Parameters
    ----------
    tags
        As ``parse_tags`` gives them.
    kind
        A word of ``NOTE_KINDS``.
    words
        What follows the kind and is neither a size nor an option: "clean", "checks hairline", a place.
    places
        The names of the yard's places; None: any name will do.

    Raises
    ------
    YardError
        With one sentence for each log for which the note cannot be.
    """
    writer = NOTE_KINDS.get(kind.casefold().replace("_", "-"))
    if writer is None:
        near = nearest(kind, NOTE_KINDS)
        hint = f"Did you mean {near}?" if near else f"There are {', '.join(NOTE_KINDS)}."
        raise YardError(f"'{kind}' cannot be noted. {hint}")
    left = " ".join(words)
    if left and writer not in (_cut, _look, _move, _gone):
        raise YardError(f"'{left}' after '{kind}' was not understood. Look at the tags and the options.")
    options = options or Note()
    if options.litres is not None and len(tags) > 1:
        # Said once for all of them: each entry holds its part, so that no litre is counted twice.
        options = replace(options, litres=options.litres / len(tags))
    desk = _Desk(register, by, tuple(words), options, voice or Voice(), places, _moment(by, options, voice))
    drafts: list[Entry] = []
    faults: list[str] = []
    for tag in tags:
        try:
            drafts.append(writer(desk, _here(desk, find_log(register, tag))))
        except YardError as error:
            faults.append(str(error))
    if faults:
        nothing = "\nNothing was noted." if len(tags) > 1 else ""
        raise YardError("\n".join(dict.fromkeys(faults)) + nothing)
    return Written(make.numbered(drafts, register.last_entry), _say(desk, drafts), not desk.remarks)


def _moment(by: By, options: Note, voice: Voice | None) -> Moment:
    if options.when is None:
        return Moment(by.at)
    if options.when.first > by.at + GRACE:
        said = (voice or Voice()).when(options.when, by.at)
        raise YardError(f"{said} is still to come. Note what is done; look at --when.")
    return settle(options.when, by.at)


def _here(desk: _Desk, log: Log) -> Log:
    if log.state != "gone":
        return log
    if log.children:
        raise YardError(f"{log.tag} was divided into {and_list(log.children)}. Note it for those.")
    why = f" ({log.gone_why})" if log.gone_why else ""
    raise YardError(
        f"{log.tag} is gone{why}. If that was a slip: coatcast undo, or "
        f"coatcast note {log.tag} correct N --drop (coatcast log show {log.tag} gives N)."
    )


def _say(desk: _Desk, drafts: list[Entry]) -> str:
    """ "Coat noted, today 9:40: H01 butt and top, H06 butt." and the remarks."""
    logs = [" ".join(filter(None, (d.tag, desk.voice.ends(d.ends)))) for d in drafts]
    what = _what(desk, drafts[0]) if drafts else desk.voice.words["answer.kind.nothing"]
    head = desk.voice.say("answer.noted_at", what=what, when=desk.when(desk.moment), logs=", ".join(logs))
    return " ".join([head, *dict.fromkeys(desk.remarks)])


def _what(desk: _Desk, draft: Entry) -> str:
    """ "coat", "look milky", "cut 5 cm, clean"."""
    data, voice = draft.data, desk.voice
    kind = voice.words[f"answer.kind.{draft.kind}"]
    if draft.kind == "look":
        if data["seen"] == "checks":
            checks = data.get("checks", "")
            return voice.say("answer.look_checks", checks=voice.named(f"ends.checks.{checks}", checks))
        return voice.say("answer.look_seen", seen=seen_words(draft, voice))
    if draft.kind == "coat" and data.get("part"):
        return voice.words["answer.coat_part"]
    if draft.kind in ("cut", "divide"):
        size = f" {voice.size(data['size_cm'])}" if "size_cm" in data else ""
        found = data.get("found")
        return f"{kind}{size}" + (f", {voice.named(f'ends.found.{found}', found)}" if found else "")
    if draft.kind == "move":
        return voice.say("answer.move_to", place=data.get("place") or voice.words["answer.open_yard"])
    return kind


# ------------------------------------------------------------------ ends


def _reached(desk: _Desk, log: Log) -> tuple[str, ...]:
    """The ends named, else all in reach; an end out of reach is refused."""
    if desk.options.ends:
        names = find_ends(log, desk.options.ends)
        out = [name for name in names if not _end(log, name).reach]
        if out:
            raise YardError(
                f"{log.tag}: its {and_list(out)} cannot be reached. Do not climb: move the log, or change "
                f"its reach (coatcast log change {log.tag} --reach both)."
            )
        return names
    names = tuple(end.name for end in log.ends if end.reach)
    if not names:
        raise YardError(
            f"{log.tag}: none of its ends can be reached. Do not climb: move the log, or change its reach."
        )
    return names


def _end(log: Log, name: str) -> End:
    end = log.end(name)
    if end is None:
        raise YardError(f"{log.tag} has no end '{name}'.")
    return end


def _not_before_felling(desk: _Desk, log: Log, what: str) -> None:
    felled = log.felled
    if felled is None or felled.assumed or not desk.moment.before(felled):
        return
    if log.state == "expected" and felled.first > desk.by.at:
        desk.remark("answer.was_expected", tag=log.tag, when=desk.when(felled))
        return
    raise YardError(
        f"{log.tag}: {what} {desk.when(desk.moment)} lies before the felling ({desk.when(felled)}). "
        f"Mend --when, or the felling: coatcast log change {log.tag} --felled DATE"
    )


# ------------------------------------------------------------------ cut, coat, look


def _cut(desk: _Desk, log: Log) -> Entry:
    names = _reached(desk, log)
    size = desk.options.size_cm
    if size is not None:
        _cut_fits(desk, log, size, len(names))
    _not_before_felling(desk, log, "the cut")
    older = [n for n in names if not _end(log, n).cut.assumed and desk.moment.before(_end(log, n).cut)]
    if older and log.state == "in_yard":
        since = desk.when(_end(log, older[0]).cut)
        desk.remark("answer.younger_face", tag=log.tag, ends=desk.voice.ends(older), when=since)
    return make.cut(desk.by, log.tag, names, desk.moment, size_cm=size, found=_found(desk, log))


def _found(desk: _Desk, log: Log) -> str | None:
    text = desk.text.casefold()
    if not text:
        return None
    near = nearest(text, make.FOUND_WORDS)
    if text not in make.FOUND_WORDS:
        hint = f" Did you mean '{near}'?" if near else " Say clean or still cracked."
        raise YardError(f"{log.tag}: '{text}' says nothing about the fresh face.{hint}")
    return text


def _cut_fits(desk: _Desk, log: Log, size: float, ends: int) -> None:
    taken = size * ends
    shown = desk.voice.size(size) if size > 0 else f"{size:g} cm"
    if size <= 0:
        raise YardError(f"{log.tag}: a cut takes something off; {shown} cannot be.")
    if log.length_cm is None and taken < LONGEST_CM:
        return
    if log.length_cm is None or taken >= log.length_cm:
        there = desk.voice.size(log.length_cm or LONGEST_CM)
        both = " at each end" if ends > 1 else ""
        raise YardError(
            f"{log.tag}: {shown}{both} cannot be cut off a log of {there}. Look at number and unit."
        )
    left = log.length_cm - taken
    desk.remark("answer.now_long", tag=log.tag, size=desk.voice.size(left))
    if log.needs_cm is not None and left < log.needs_cm <= log.length_cm:
        desk.remark("answer.less_than_wanted", size=desk.voice.size(log.needs_cm))


def _coat(desk: _Desk, log: Log) -> Entry:
    if log.state in ("standing", "long"):
        here = "stands" if log.state == "standing" else "was left long"
        raise YardError(f"{log.tag} {here} and has no open end to coat. Note its cut first.")
    if not log.ends:
        raise YardError(f"{log.tag} has no end to coat.")
    names = _reached(desk, log)
    _not_before_felling(desk, log, "the coat")
    _remark_on_coats(desk, log, names)
    o = desk.options
    return make.coat(desk.by, log.tag, names, desk.moment, part=o.part, second=o.second, litres=o.litres)


def _remark_on_coats(desk: _Desk, log: Log, names: tuple[str, ...]) -> None:
    second = desk.options.second
    same: dict[Coat, list[str]] = {}
    for name in names:
        end = _end(log, name)
        if not end.cut.assumed and desk.moment.before(end.cut):
            at = desk.when(end.cut)
            desk.remark("answer.before_its_cut", tag=log.tag, end=desk.voice.end(name), when=at)
        elif (coat := _same_coat(end, desk.moment, second)) is not None:
            same.setdefault(coat, []).append(name)
        elif second and not end.layers:
            desk.remark("answer.no_first_coat", tag=log.tag, end=desk.voice.end(name))
    for coat, ends in same.items():
        if coat.layer >= 2:
            key = "answer.same_coat"
        elif coat.part and not desk.options.part:
            key = "answer.same_coat_hole"
        else:
            key = "answer.same_coat_second"
        desk.remark(key, tag=log.tag, ends=desk.voice.ends(ends), when=desk.when(coat.moment))


def _same_coat(end: End, moment: Moment, second: bool) -> Coat | None:
    """The coat that ``state.fold`` will take this one for, if any."""
    for coat in reversed(end.coats):
        near = abs(moment.time - coat.moment.time) <= SAME_COAT
        if near and not coat.spoiled and (not second or coat.layer >= 2):
            return coat
    last, seen = end.last_coat, end.film_look
    if second or last is None or seen is None or last.spoiled or moment.time < seen.moment.time:
        return None
    return last if seen.seen == "milky" and seen.moment.time >= last.moment.time else None


def _look(desk: _Desk, log: Log) -> Entry:
    words = desk.text.casefold().split()
    seen = words[0] if words else ""
    if seen not in make.SEEN_WORDS:
        near = nearest(seen, make.SEEN_WORDS) if seen else None
        hint = f"Did you mean {near}?" if near else f"Say one of {', '.join(make.SEEN_WORDS)}."
        raise YardError(f"'{seen}' is no look. {hint}" if seen else f"What was seen? {hint}")
    rest = " ".join(words[1:])
    if seen != "checks":
        if rest:
            raise YardError(f"'look {seen}' stands alone; '{rest}' was not understood.")
        return make.look(desk.by, log.tag, _coated_ends(desk, log, seen), desk.moment, seen)
    if rest not in CHECK_WORDS:
        near = nearest(rest, CHECK_WORDS) if rest else None
        hint = f" Did you mean '{near}'?" if near else ""
        raise YardError(f"'look checks' takes one of {', '.join(CHECK_WORDS)}.{hint}")
    return make.look(desk.by, log.tag, _seen_ends(desk, log), desk.moment, seen, checks=rest)


def _seen_ends(desk: _Desk, log: Log) -> tuple[str, ...]:
    """An end out of reach can be looked at; without a name all in reach are meant, else all."""
    if desk.options.ends:
        return find_ends(log, desk.options.ends)
    return tuple(e.name for e in log.ends if e.reach) or tuple(e.name for e in log.ends)


def _coated_ends(desk: _Desk, log: Log, seen: str) -> tuple[str, ...]:
    names = [name for name in _seen_ends(desk, log) if _end(log, name).coats]
    bare = [name for name in _seen_ends(desk, log) if not _end(log, name).coats]
    if not names or (desk.options.ends and bare):
        raise YardError(
            f"{log.tag} {and_list(bare)}: no coat is noted there that could be {seen}. Note it first: "
            f"coatcast note {log.tag} coat --when TIME"
        )
    if seen == "skips":
        desk.remark("answer.touch_up_due", tag=log.tag)
    if seen == "spoiled":
        desk.remark("answer.coat_spoiled", tag=log.tag, ends=desk.voice.ends(names))
    return tuple(names)


# ------------------------------------------------------------------ place and pieces


def _roof(desk: _Desk, log: Log) -> Entry:
    return make.roof(desk.by, log.tag, desk.moment)


def _unroof(desk: _Desk, log: Log) -> Entry:
    return make.unroof(desk.by, log.tag, desk.moment)


def _move(desk: _Desk, log: Log) -> Entry:
    place: str | None = desk.text
    if not place:
        raise YardError(f"{log.tag}: moved where to? Name a place, or 'yard' for the open yard.")
    place = known_place(place, desk.places)
    reach = desk.options.reach
    if reach is None:
        names = tuple(end.name for end in log.ends)
        if not all(end.reach for end in log.ends):
            desk.remark("answer.taken_in_reach", tag=log.tag, ends=desk.voice.ends(names))
    else:
        names = find_ends(log, sorted(reach - {"none"})) if reach - {"none"} else ()
    return make.move(desk.by, log.tag, desk.moment, place, names)


def known_place(said: str, places: Sequence[str] | None) -> str | None:
    """The place of that name, None for the open yard; an error names the nearest (``places`` None: any)."""
    if said.casefold() in OPEN_YARD:
        return None
    if places is None:
        return said
    for place in places:
        if place.casefold() == said.casefold():
            return place
    near = nearest(said, places)
    if near:
        hint = f"Did you mean {near}?"
    elif places:
        hint = f"There are {and_list(places)}, and 'yard' for the open yard."
    else:
        hint = "The yard file names none; add a [[place]] there, or say 'yard'."
    raise YardError(f"There is no place '{said}'. {hint}")


def _divide(desk: _Desk, log: Log) -> Entry:
    size = desk.options.size_cm
    if size is None:
        raise YardError(f"{log.tag}: divided where? Say how long the first piece is, for example 2.1m.")
    if size <= 0 or size >= (log.length_cm or LONGEST_CM):
        there = desk.voice.size(log.length_cm or LONGEST_CM)
        shown = desk.voice.size(size) if size > 0 else f"{size:g} cm"
        raise YardError(f"{log.tag}: a log of {there} cannot be divided at {shown}.")
    _not_before_felling(desk, log, "dividing")
    children = (f"{log.tag}-1", f"{log.tag}-2")
    for child in children:
        if desk.register.log(child) is not None or child in desk.register.later_tags:
            raise YardError(f"{log.tag} cannot be divided into {child}: that tag is in use.")
    if log.length_cm is not None:
        one, other = desk.voice.size(size), desk.voice.size(log.length_cm - size)
        desk.remark("answer.pieces_long", first=children[0], long=one, second=children[1], other=other)
    else:
        desk.remark("answer.pieces", pieces=desk.voice.all_of(children))
    desk.remark("answer.inner_ends")
    return make.divide(desk.by, log.tag, desk.moment, size, children)


def _halve(desk: _Desk, log: Log) -> Entry:
    _not_before_felling(desk, log, "halving")
    desk.remark("answer.counts_pieces", tag=log.tag, count=log.count * 2)
    return make.halve(desk.by, log.tag, desk.moment)


def _saw(desk: _Desk, log: Log) -> Entry:
    o = desk.options
    if o.into is not None and not 1 <= o.into <= 10_000:
        raise YardError(f"{log.tag}: {o.into} pieces cannot be. Give 1 or more.")
    widest = max((e.diameter_cm for e in log.ends if e.diameter_cm is not None), default=None)
    if o.thick_cm is not None and (o.thick_cm <= 0 or (widest is not None and o.thick_cm > widest)):
        raise YardError(f"{log.tag}: pieces {o.thick_cm:g} cm thick cannot come from it. Look at the unit.")
    _not_before_felling(desk, log, "sawing")
    desk.remark("answer.pack_of" if o.into else "answer.pack", tag=log.tag, count=o.into)
    if o.lost_cm is not None and log.length_cm is not None and 2.0 * o.lost_cm >= log.length_cm:
        there = desk.voice.size(log.length_cm)
        raise YardError(
            f"{log.tag}: so much cannot be lost at each end of a log of {there}. Look at the unit."
        )
    return make.saw(desk.by, log.tag, desk.moment, o.into, o.thick_cm, o.lost_cm)


# ------------------------------------------------------------------ decisions


def _leave(desk: _Desk, log: Log) -> Entry:
    till = desk.options.till
    if till is not None and till <= desk.moment.time:
        raise YardError(f"{log.tag}: --till must lie ahead; {desk.when(Moment(till))} does not.")
    return make.leave(desk.by, log.tag, desk.moment, till)


def _skip(desk: _Desk, log: Log) -> Entry:
    return make.skip(desk.by, log.tag, desk.moment)


def _saw_first(desk: _Desk, log: Log) -> Entry:
    return make.saw_first(desk.by, log.tag, desk.moment)


def _gone(desk: _Desk, log: Log) -> Entry:
    desk.remark("answer.no_reminders")
    return make.gone(desk.by, log.tag, desk.moment, desk.text or None)


NOTE_KINDS: dict[str, Callable[[_Desk, Log], Entry]] = {
    "cut": _cut,
    "coat": _coat,
    "look": _look,
    "roof": _roof,
    "unroof": _unroof,
    "move": _move,
    "divide": _divide,
    "halve": _halve,
    "saw": _saw,
    "leave": _leave,
    "skip": _skip,
    "saw-first": _saw_first,
    "gone": _gone,
}
