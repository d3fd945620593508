"""Short plain words for what was noted: times, sizes, names of ends, single entries."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

from scheduler.yard.entries import Entry
from scheduler.yard.facts import Moment

__all__ = ["Voice", "and_list", "describe", "describe_all", "metric_size"]

_ACT_WORDS = {
    "roof": "roof over",
    "unroof": "roof off",
    "halve": "halved",
    "leave": "left as it is:",
    "skip": "no more about sealing",
    "saw_first": "saw first:",
    "change": "change of",
}


def metric_size(cm: float) -> str:
    """ "56 cm", "2.44 m"."""
    return f"{cm / 100:.2f} m" if cm >= 100 else f"{cm:g} cm"


def _clock(time: datetime) -> str:
    return f"{time.hour}:{time.minute:02d}"


@dataclass(frozen=True, slots=True)
class Voice:
    """How this yard says times and sizes; the edge sets zone, units and clock form."""

    zone: tzinfo = UTC
    size: Callable[[float], str] = metric_size
    clock: Callable[[datetime], str] = _clock

    def when(self, moment: Moment, at: datetime) -> str:
        """ "today 9:40", "Sat 1 Nov", "about 16 Oct": no finer than it was meant."""
        local, now = moment.time.astimezone(self.zone), at.astimezone(self.zone)
        days = (now.date() - local.date()).days
        day = {0: "today", 1: "yesterday", -1: "tomorrow"}.get(days)
        if day is None:
            year = f" {local.year}" if abs(days) > 270 else ""
            weekday = "" if abs(days) > 27 or moment.half > timedelta(days=1) else f"{local:%a} "
            day = f"{weekday}{local.day} {local:%b}{year}"
        if moment.half > timedelta(hours=18):
            return f"about {day}"
        return day if moment.half >= timedelta(hours=2) else f"{day} {self.clock(local)}"


def and_list(words: Iterable[str]) -> str:
    """ "butt", "butt and top", "a, b and c"."""
    listed = list(words)
    if len(listed) < 2:
        return "".join(listed)
    return f"{', '.join(listed[:-1])} and {listed[-1]}"


def describe(entry: Entry, voice: Voice | None = None) -> str:
    """An entry in a few words, without its time: "coat on H01 butt and top"."""
    data, tag = entry.data, entry.tag or ""
    where = f"{tag} {and_list(entry.ends)}".strip()
    size = (voice or Voice()).size
    match entry.kind:
        case "add":
            return f"new log {tag} ({data.get('species_said') or data.get('species') or 'wood not known'})"
        case "cut":
            taken = f" of {size(data['size_cm'])}" if "size_cm" in data else ""
            return f"fresh cut{taken} on {where}" + (f", {data['found']}" if "found" in data else "")
        case "coat":
            which = "part coat" if data.get("part") else "second coat" if data.get("second") else "coat"
            return f"{which} on {where}"
        case "look":
            saw = f"checks {data['checks']}" if data["seen"] == "checks" else data["seen"]
            return f"look at {where}: {saw}"
        case "move":
            return f"{tag} moved to {data.get('place') or 'the open yard'}"
        case "divide":
            return f"{tag} divided at {size(data['size_cm'])} into {and_list(data['children'])}"
        case "saw":
            pieces = f" into {data['into']}" if "into" in data else ""
            return f"{tag} sawn{pieces}"
        case "gone":
            return f"{tag} gone" + (f" ({data['why']})" if "why" in data else "")
        case "seen":
            return _seen(data["what"], data["value"])
        case "correct":
            return f"{'dropping' if data['drop'] else 'new time for'} entry {data['of']}"
        case "undo":
            return f"undo of {and_list(str(number) for number in data['of'])}"
        case "word":
            return f"'{data['said']}' means {data.get('botanical') or 'no wood'}"
        case "pail":
            return f"stock of {data['name']}"
        case "away":
            return "away" if "until" in data else "back"
        case _:
            return f"{_ACT_WORDS[entry.kind]} {tag}"


def describe_all(entries: Sequence[Entry], voice: Voice | None = None) -> str:
    """The entries of one command in a few words: "coat on H01 butt and top, H03 butt"."""
    first, *others = [describe(entry, voice) for entry in entries]
    if not others:
        return f"{first} (entry {entries[0].number})"
    numbers = f"(entries {entries[0].number} to {entries[-1].number})"
    tags = [str(entry.tag) for entry in entries if entry.kind == "add"]
    if len(tags) > 1:
        return f"{len(tags)} new logs, {tags[0]} to {tags[-1]} {numbers}"
    if tags:
        return f"{first} {numbers}"
    more = f" and {len(others) - 4} more" if len(others) > 4 else ""
    return f"{first}, {', '.join(others[:4])}{more} {numbers}"


def _seen(what: str, value: bool | float) -> str:
    if what == "min":
        return f"coldest of the night {value:g} °C"
    return f"{what} in the night" if value else f"no {what} in the night"
