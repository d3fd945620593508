"""Entries: what happened in a yard, each a fact with a time.

An entry is never changed or deleted. A correction and an undo are entries too.
The functions of this module make checked entries, one per kind; they still
lack their number, which ``numbered`` gives when the whole command is known.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any, Literal, get_args

from scheduler.yard.facts import CHECK_WORDS, Moment

__all__ = [
    "KINDS",
    "PAIL_WORDS",
    "SEEN_WORDS",
    "By",
    "Entry",
    "Kind",
    "YardError",
    "add",
    "away",
    "change",
    "coat",
    "correct",
    "cut",
    "divide",
    "gone",
    "halve",
    "leave",
    "look",
    "moment_from",
    "moment_to",
    "move",
    "numbered",
    "pail",
    "roof",
    "saw",
    "saw_first",
    "seen",
    "skip",
    "undo",
    "unroof",
    "word",
]

Kind = Literal[
    "add",
    "cut",
    "coat",
    "look",
    "roof",
    "unroof",
    "move",
    "divide",
    "halve",
    "saw",
    "leave",
    "skip",
    "saw_first",
    "gone",
    "change",
    "correct",
    "undo",
    "seen",
    "word",
    "pail",
    "away",
]
KINDS: tuple[str, ...] = get_args(Kind)
SEEN_WORDS = ("clear", "milky", "skips", "spoiled", "checks")
PAIL_WORDS = ("full", "half", "quarter", "scrapings", "empty")
FOUND_WORDS = ("clean", "still cracked")
_MICROSECOND = timedelta(microseconds=1)


class YardError(ValueError):
    """A note that cannot be taken; the text says what, where and how to mend it."""


@dataclass(frozen=True, slots=True)
class By:
    """Who writes, for which yard, and when (aware; kept in UTC)."""

    yard: str
    at: datetime
    who: str | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """One fact.

    ``number`` counts from 1 in each yard; 0 means not yet given. ``batch`` is the number of the first
    entry of the same command: undo takes a command back as a whole. ``ends`` names the ends the fact is
    about; empty means the log as a whole. ``moment`` is when it happened, ``recorded_at`` when it was
    told. ``data`` holds what only this kind needs, as JSON can hold it.
    """

    number: int
    yard: str
    kind: Kind
    moment: Moment
    recorded_at: datetime
    tag: str | None = None
    ends: tuple[str, ...] = ()
    who: str | None = None
    batch: int = 0
    data: Mapping[str, Any] = field(default_factory=dict, hash=False)

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"'{self.kind}' is no kind of entry")
        if self.recorded_at.utcoffset() != timedelta(0) or self.moment.time.utcoffset() != timedelta(0):
            raise ValueError("the times of an entry must be in UTC")

    @property
    def end(self) -> str | None:
        """The end, when the fact is about exactly one."""
        return self.ends[0] if len(self.ends) == 1 else None


# ------------------------------------------------------------------ moments as JSON


def moment_to(moment: Moment | None) -> dict[str, Any] | None:
    """A moment as JSON can hold it; ``half`` in whole microseconds, so that nothing is rounded."""
    if moment is None:
        return None
    data: dict[str, Any] = {"time": moment.time.astimezone(UTC).isoformat()}
    if moment.half:
        data["half_us"] = moment.half // _MICROSECOND
    if moment.said:
        data["said"] = moment.said
    if moment.assumed:
        data["assumed"] = True
    return data


def moment_from(data: Mapping[str, Any] | None) -> Moment | None:
    """The moment that ``moment_to`` wrote."""
    if data is None:
        return None
    return Moment(
        datetime.fromisoformat(data["time"]),
        timedelta(microseconds=data.get("half_us", 0)),
        data.get("said", ""),
        data.get("assumed", False),
    )


# ------------------------------------------------------------------ one constructor per kind


def add(by: By, tag: str, moment: Moment, log: Mapping[str, Any]) -> Entry:
    """A log comes into the register. ``log`` holds its fields, ``ends`` a list with a name in each."""
    ends = log.get("ends") or ()
    names = [str(end["name"]) for end in ends]
    if len(set(names)) != len(names):
        raise YardError(f"{tag}: an end is named twice ({', '.join(names)}). Give each end its own name.")
    return _make(by, "add", moment, tag, data=log)


def cut(
    by: By,
    tag: str,
    ends: Sequence[str],
    moment: Moment,
    *,
    size_cm: float | None = None,
    found: str | None = None,
) -> Entry:
    """A fresh cut of some ends; ``size_cm`` was taken off each, ``found`` is clean or still cracked."""
    if size_cm is not None:
        _above_zero(tag, "the piece cut off", size_cm, "cm")
    if found is not None and found not in FOUND_WORDS:
        raise YardError(f"{tag}: after a cut the face is 'clean' or 'still cracked', not '{found}'.")
    return _make(by, "cut", moment, tag, _ends(tag, ends), {"size_cm": size_cm, "found": found})


def coat(
    by: By,
    tag: str,
    ends: Sequence[str],
    moment: Moment,
    *,
    part: bool = False,
    second: bool = False,
    layers: int | None = None,
    litres: float | None = None,
) -> Entry:
    """A coat on some ends.

    ``part``: a hole was left. ``second``: said to be the second coat. ``layers``: all layers at once, for
    a log taken over with its coats. ``litres``: used for these ends together.
    """
    if litres is not None:
        _above_zero(tag, "the amount of sealer", litres, "L")
    if layers is not None and layers not in (1, 2):
        raise YardError(f"{tag}: an end carries 1 or 2 coats, not {layers}.")
    data = {"part": part, "second": second, "layers": layers, "litres": litres}
    return _make(by, "coat", moment, tag, _ends(tag, ends), data)


def look(
    by: By,
    tag: str,
    ends: Sequence[str],
    moment: Moment,
    seen: str,
    *,
    checks: str | None = None,
) -> Entry:
    """What somebody saw at some ends; with ``checks`` the word for how far they have cracked."""
    if seen not in SEEN_WORDS:
        raise YardError(f"{tag}: a look is one of {', '.join(SEEN_WORDS)}, not '{seen}'.")
    if (seen == "checks") != (checks is not None):
        raise YardError(f"{tag}: 'look checks' takes one of {', '.join(CHECK_WORDS)}.")
    if checks is not None and checks not in CHECK_WORDS:
        raise YardError(f"{tag}: checks are one of {', '.join(CHECK_WORDS)}, not '{checks}'.")
    return _make(by, "look", moment, tag, _ends(tag, ends), {"seen": seen, "checks": checks})


def roof(by: By, tag: str, moment: Moment) -> Entry:
    """A sheet or roof was put over the log by hand."""
    return _make(by, "roof", moment, tag)


def unroof(by: By, tag: str, moment: Moment) -> Entry:
    """The sheet or roof came off again."""
    return _make(by, "unroof", moment, tag)


def move(by: By, tag: str, moment: Moment, place: str | None, reach: Sequence[str] | None) -> Entry:
    """The log was moved; ``place`` None is the open yard, ``reach`` None leaves what can be reached."""
    return _make(
        by, "move", moment, tag, data={"place": place, "reach": None if reach is None else list(reach)}
    )


def divide(by: By, tag: str, moment: Moment, size_cm: float, children: Sequence[str]) -> Entry:
    """The log was cross-cut ``size_cm`` from its first end; ``children`` are the tags of the two pieces."""
    _above_zero(tag, "the length of the first piece", size_cm, "cm")
    if len(set(children)) != 2:
        raise YardError(f"{tag}: dividing gives two pieces, each with its own tag.")
    return _make(by, "divide", moment, tag, data={"size_cm": size_cm, "children": list(children)})


def halve(by: By, tag: str, moment: Moment) -> Entry:
    """The piece was split lengthwise through the pith."""
    return _make(by, "halve", moment, tag)


def saw(
    by: By,
    tag: str,
    moment: Moment,
    into: int | None = None,
    thick_cm: float | None = None,
    lost_cm: float | None = None,
) -> Entry:
    """Sawn into a pack of ``into`` pieces; ``lost_cm`` was cracked at each end. None: not told."""
    if into is not None and into < 1:
        raise YardError(f"{tag}: a pack holds at least 1 piece, not {into}.")
    if thick_cm is not None:
        _above_zero(tag, "the thickness", thick_cm, "cm")
    if lost_cm is not None:
        _between(f"{tag}: what was lost at each end", lost_cm, 0.0, 300.0, "cm")
    data: dict[str, Any] = {"into": into, "thick_cm": thick_cm}
    if lost_cm is not None:
        data["lost_cm"] = lost_cm
    return _make(by, "saw", moment, tag, data=data)


def leave(by: By, tag: str, moment: Moment, till: datetime | None = None) -> Entry:
    """The keeper leaves the log as it is, till a day or for good."""
    return _make(by, "leave", moment, tag, data={"till": None if till is None else _utc(till).isoformat()})


def skip(by: By, tag: str, moment: Moment) -> Entry:
    """The keeper wants to hear no more about sealing this log."""
    return _make(by, "skip", moment, tag)


def saw_first(by: By, tag: str, moment: Moment) -> Entry:
    """The keeper will saw this log instead of sealing it."""
    return _make(by, "saw_first", moment, tag)


def gone(by: By, tag: str, moment: Moment, why: str | None = None) -> Entry:
    """The log left the yard."""
    return _make(by, "gone", moment, tag, data={"why": why})


def change(by: By, tag: str, moment: Moment, fields: Mapping[str, Any]) -> Entry:
    """Fields of the log, as they are to read from now on."""
    if not fields:
        raise YardError(f"{tag}: nothing to change was given.")
    return _make(by, "change", moment, tag, data={"fields": dict(fields)})


def correct(by: By, tag: str | None, moment: Moment, of: int, when: Moment | None) -> Entry:
    """Entry ``of`` happened at ``when``; with None it did not happen."""
    data: dict[str, Any] = {"of": of, "drop": when is None, "when": moment_to(when)}
    return _make(by, "correct", moment, tag, data=data)


def undo(by: By, tag: str | None, moment: Moment, of: Sequence[int]) -> Entry:
    """The entries ``of`` are taken back."""
    if not of:
        raise YardError("There is nothing to take back.")
    return _make(by, "undo", moment, tag, data={"of": list(of)})


def seen(by: By, moment: Moment, what: str, value: bool | float) -> Entry:
    """What the yard saw in a night: ``frost`` or ``rain`` yes or no, or the ``min`` in °C."""
    if what in ("frost", "rain"):
        if not isinstance(value, bool):
            raise YardError(f"seen {what}: say yes or no.")
    elif what == "min":
        _between("the coldest of the night", value, -70.0, 50.0, "°C")
    else:
        raise YardError(f"'{what}' cannot be told that way; use frost, rain or min.")
    return _make(by, "seen", moment, data={"what": what, "value": value})


def word(by: By, moment: Moment, said: str, botanical: str | None) -> Entry:
    """The yard's own word for a species (None: forget it)."""
    if not said.strip():
        raise YardError("A word for a wood is needed before it can be kept.")
    return _make(by, "word", moment, data={"said": " ".join(said.split()).casefold(), "botanical": botanical})


def pail(
    by: By,
    moment: Moment,
    *,
    name: str = "pail",
    litres: float | None = None,
    by_eye: str | None = None,
    opened: Moment | None = None,
    place: str | None = None,
    coldest_c: float | None = None,
) -> Entry:
    """What is known of a pail; what is not given stays as it was."""
    if litres is not None:
        _between("the stock", litres, 0.0, 5000.0, "L")
    if by_eye is not None and by_eye not in PAIL_WORDS:
        raise YardError(f"A pail is {', '.join(PAIL_WORDS[:-1])} or {PAIL_WORDS[-1]}, not '{by_eye}'.")
    if litres is not None and by_eye is not None:
        raise YardError("Say the stock in litres or by eye, not both.")
    if coldest_c is not None:
        _between("the coldest it has met", coldest_c, -70.0, 60.0, "°C")
    data = {"litres": litres, "by_eye": by_eye, "opened": moment_to(opened)}
    data |= {"place": place, "coldest_c": coldest_c}
    told = {key: value for key, value in data.items() if value is not None}
    if not told:
        raise YardError("Nothing about the pail was given: say litres, full, half, quarter or scrapings.")
    return _make(by, "pail", moment, data={"name": name, **told})


def away(by: By, moment: Moment, until: datetime | None) -> Entry:
    """The yard rests until a time (None: it is back)."""
    return _make(by, "away", moment, data={"until": None if until is None else _utc(until).isoformat()})


def numbered(drafts: Iterable[Entry], last: int) -> tuple[Entry, ...]:
    """The entries of one command, numbered after ``last`` and marked as one batch."""
    return tuple(replace(draft, number=last + n, batch=last + 1) for n, draft in enumerate(drafts, start=1))


# ------------------------------------------------------------------ checks


def _make(
    by: By,
    kind: Kind,
    moment: Moment,
    tag: str | None = None,
    ends: tuple[str, ...] = (),
    data: Mapping[str, Any] | None = None,
) -> Entry:
    if moment.half < timedelta(0):
        raise YardError("The doubt of a time cannot be negative.")
    kept = {key: value for key, value in (data or {}).items() if value is not None}
    json.dumps(kept, allow_nan=False)  # a fact that cannot be written is refused now, not at the store
    utc = replace(moment, time=_utc(moment.time))
    who = by.who[:64] if by.who else None
    return Entry(0, by.yard, kind, utc, _utc(by.at), tag, ends, who, 0, kept)


def _utc(time: datetime) -> datetime:
    if time.tzinfo is None:
        raise ValueError("a time without a zone cannot be kept")
    return time.astimezone(UTC)


def _ends(tag: str, ends: Sequence[str]) -> tuple[str, ...]:
    if not ends:
        raise YardError(f"{tag}: say which end is meant, for example --end butt.")
    return tuple(ends)


def _above_zero(tag: str, what: str, value: float, unit: str) -> None:
    if not math.isfinite(value) or value <= 0:
        raise YardError(f"{tag}: {what} must be more than nothing, not {value:g} {unit}.")


def _between(what: str, value: float, low: float, high: float, unit: str) -> None:
    if isinstance(value, bool) or not math.isfinite(value) or not low <= value <= high:
        raise YardError(f"{what.capitalize()} cannot be {value} {unit}; it lies from {low:g} to {high:g}.")
