"""From entries to the state of a yard.

``fold`` is pure and looks at nothing but the entries and ``at``. Corrections
and undos are settled first, in the order in which they were told; then the
facts that are left happen in the order of their own times.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from scheduler.yard.apply import SAME_COAT, LogDraft, create, play
from scheduler.yard.entries import Entry, moment_from
from scheduler.yard.facts import Moment, Pail, Register

__all__ = ["GRACE", "SAME_COAT", "HistoryLine", "fold", "history", "holding"]

GRACE = timedelta(minutes=10)  # clocks of two machines may differ by this

_Identity = tuple[int, int]  # number of the entry that made the log, and which of its children


@dataclass(frozen=True, slots=True)
class HistoryLine:
    """One entry as the history of a log shows it."""

    entry: Entry  # as it was told
    holds: bool  # neither undone nor dropped
    moment: Moment  # with corrections


def fold(entries: Iterable[Entry], at: datetime, *, same_coat: timedelta = SAME_COAT) -> Register:
    """The register as it stands at ``at``.

    What happened after ``at`` is left out; what was *told* after ``at`` is not: the register is what we
    know now about then. Whoever wants what was known then passes only the entries recorded by then.
    """
    ordered = sorted(entries, key=lambda entry: entry.number)
    owners = _owners(ordered)
    events: dict[_Identity, list[Entry]] = defaultdict(list)
    added: list[Entry] = []
    of_yard: list[Entry] = []
    later: list[str] = []
    for entry in _in_force(ordered):
        if entry.moment.time > at + GRACE:
            later += _tags_made(entry)
            continue
        if entry.kind == "add":
            added.append(entry)
        elif entry.tag is None:
            of_yard.append(entry)
        elif (owner := owners[entry.number]) is not None:
            events[owner].append(entry)
    drafts = _play_all(added, events, same_coat)
    register = Register(at, tuple(draft.done(at) for draft in drafts))
    last = ordered[-1].number if ordered else 0
    return _with_yard_facts(replace(register, last_entry=last, later_tags=tuple(later)), of_yard)


def holding(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """The entries that hold, with corrected times, in the order of their numbers; no undo, no correction."""
    return tuple(_in_force(sorted(entries, key=lambda entry: entry.number)))


def history(entries: Iterable[Entry], tag: str) -> tuple[HistoryLine, ...]:
    """All entries about a log, oldest number first, those of the logs it was divided from among them."""
    ordered = sorted(entries, key=lambda entry: entry.number)
    owners = _owners(ordered)
    wanted = _family(ordered, owners, tag)
    held = {entry.number: entry.moment for entry in _in_force(ordered)}
    back = _taken_back(ordered)[0]
    lines = []
    for entry in ordered:
        if owners[entry.number] in wanted:
            holds = entry.number not in back
            lines.append(HistoryLine(entry, holds, held.get(entry.number, entry.moment)))
    return tuple(lines)


# ------------------------------------------------------------------ what holds


def _taken_back(ordered: Sequence[Entry]) -> tuple[set[int], dict[int, Moment]]:
    """Numbers that do not hold, and corrected times.

    Going backwards, all that could take an entry back has been settled when the entry is met; so an undo
    that was itself undone takes nothing back.
    """
    back: set[int] = set()
    moved: dict[int, Moment] = {}
    for entry in reversed(ordered):
        if entry.kind not in ("undo", "correct") or entry.number in back:
            continue
        if entry.kind == "undo":
            back.update(number for number in entry.data["of"] if number < entry.number)
        elif entry.data["drop"]:
            back.add(entry.data["of"])
        elif (when := moment_from(entry.data["when"])) is not None:
            moved.setdefault(entry.data["of"], when)
    return back, moved


def _in_force(ordered: Sequence[Entry]) -> list[Entry]:
    back, moved = _taken_back(ordered)
    held = [e for e in ordered if e.number not in back and e.kind not in ("undo", "correct")]
    if not moved:
        return held
    return [replace(e, moment=moved[e.number]) if e.number in moved else e for e in held]


# ------------------------------------------------------------------ whose entry it is


def _owners(ordered: Sequence[Entry]) -> dict[int, _Identity | None]:
    """Number of each entry -> the log it is about.

    A tag means the log that bore it when the entry was told, even where the naming was taken back since;
    so a tag that is given anew does not inherit what was told of another log.
    """
    names: dict[str, _Identity] = {}
    owners: dict[int, _Identity | None] = {}
    for entry in ordered:
        if entry.tag is None:
            owners[entry.number] = None
            continue
        key = entry.tag.casefold()
        if entry.kind == "add":
            names[key] = (entry.number, 0)
        owner = owners[entry.number] = names.get(key)
        if entry.kind == "divide":
            for order, child in enumerate(entry.data["children"]):
                names[child.casefold()] = (entry.number, order)
        elif entry.kind == "change" and owner is not None and "tag" in entry.data["fields"]:
            names[entry.data["fields"]["tag"].casefold()] = owner
    return owners


def _tags_made(entry: Entry) -> list[str]:
    """The tags that an entry gives to logs."""
    if entry.kind == "divide":
        return list(entry.data["children"])
    return [str(entry.tag)] if entry.kind == "add" else []


def _family(ordered: Sequence[Entry], owners: dict[int, _Identity | None], tag: str) -> set[_Identity | None]:
    """The log of that tag and the logs it came from."""
    key = tag.casefold()
    found: _Identity | None = None
    for entry in ordered:
        if entry.kind == "divide" and key in [child.casefold() for child in entry.data["children"]]:
            found = (entry.number, [child.casefold() for child in entry.data["children"]].index(key))
        elif entry.tag is not None and (
            entry.tag.casefold() == key
            or (entry.kind == "change" and str(entry.data["fields"].get("tag", "")).casefold() == key)
        ):
            found = owners[entry.number] or found
    family: set[_Identity | None] = set()
    while found is not None and found not in family:
        family.add(found)
        maker = next((e for e in ordered if found is not None and e.number == found[0]), None)
        found = owners[maker.number] if maker is not None and maker.kind == "divide" else None
    return family


# ------------------------------------------------------------------ playing


def _play_all(
    added: list[Entry], events: dict[_Identity, list[Entry]], same_coat: timedelta
) -> list[LogDraft]:
    done: list[LogDraft] = []
    waiting: list[LogDraft] = []
    for entry in added:
        mine = events.get((entry.number, 0), [])
        mended = [e for e in mine if e.kind == "change" and "cut" in e.data["fields"]]
        waiting.append(create(entry, mended))
    while waiting:
        draft = waiting.pop()
        mine = events.get((draft.entry, draft.order), [])
        mine.sort(key=lambda entry: (entry.moment.time, entry.number))
        done.append(draft)
        waiting.extend(play(draft, mine, same_coat))
    return sorted(done, key=lambda draft: (draft.entry, draft.order))


def _with_yard_facts(register: Register, entries: list[Entry]) -> Register:
    nights: dict[str, dict[datetime, Any]] = {"frost": {}, "rain": {}, "min": {}}
    words: dict[str, str] = {}
    pails: dict[str, Pail] = {}
    away: datetime | None = None
    for entry in sorted(entries, key=lambda entry: (entry.moment.time, entry.number)):
        data = entry.data
        if entry.kind == "seen":
            place = nights[data["what"]]
            place[entry.moment.time] = data["value"]  # told again of the same night: the last word holds
        elif entry.kind == "word":
            words.pop(data["said"], None)
            if data.get("botanical"):
                words[data["said"]] = data["botanical"]
        elif entry.kind == "pail":
            pails[data["name"]] = _pail(pails.get(data["name"]), entry)
        elif entry.kind == "away":
            until = data.get("until")
            away = datetime.fromisoformat(until) if until else None
    return replace(
        register,
        frost_seen=tuple(nights["frost"].items()),
        rain_seen=tuple(nights["rain"].items()),
        minima_seen=tuple(nights["min"].items()),
        words=words,
        pails=tuple(pails.values()),
        away_until=away if away is not None and away > register.at else None,
    )


def _pail(known: Pail | None, entry: Entry) -> Pail:
    data = entry.data
    pail = known or Pail(data["name"], entry.moment, entry.number)
    if "litres" in data or "by_eye" in data:
        pail = replace(pail, moment=entry.moment, entry=entry.number)
        pail = replace(pail, litres=data.get("litres"), by_eye=data.get("by_eye"))
    if "coldest_c" in data:
        coldest = data["coldest_c"] if pail.coldest_c is None else min(pail.coldest_c, data["coldest_c"])
        pail = replace(pail, coldest_c=coldest)
    if "opened" in data:
        pail = replace(pail, opened=moment_from(data["opened"]))
    return replace(pail, place=data["place"]) if "place" in data else pail
