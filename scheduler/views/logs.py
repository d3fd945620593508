"""The register on screen and as JSON: the list of logs with their ends. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from scheduler.coating.product import Coating
from scheduler.planning.jobs import Job
from scheduler.planning.worth import EndWorth
from scheduler.settings import Species
from scheduler.views.voice import voice_in
from scheduler.views.wording import Wording
from scheduler.wood.storage import SawBy
from scheduler.yard.condition import EndState
from scheduler.yard.facts import End, Log, Register
from scheduler.yard.telling import Voice

__all__ = [
    "Shelf",
    "head",
    "iso",
    "job_words",
    "list_json",
    "list_lines",
    "log_json",
    "state_words",
    "voice_of",
]

OPEN_STATES = ("in_yard", "gone")  # of a log in any other state no end is open
END_STATES = ("bare", "opened", "wet", "coated", "sealed", "spoiled")


@dataclass(frozen=True, eq=False)
class Shelf:
    """The register under its weather, as ``service.picture`` makes it, and the yard's coating."""

    register: Register
    states: Mapping[tuple[str, str], EndState]
    jobs: Sequence[Job]
    species: Mapping[str, Species]
    coating: Coating
    saw_by: Mapping[str, SawBy] = field(default_factory=dict)
    beetles: Mapping[str, str] = field(default_factory=dict)
    worths: Mapping[tuple[str, str, str], EndWorth] = field(default_factory=dict)

    def state(self, log: Log, end: End) -> EndState | None:
        """State of an end; None for a log that is gone."""
        return self.states.get((log.tag, end.name))

    def next_job(self, log: Log, end: End) -> Job | None:
        """What comes next at an end: the earliest job that is not optional."""
        mine = [
            job
            for job in self.jobs
            if job.tag == log.tag and job.end in (end.name, None) and job.kind != "saw_by"
        ]
        return min(mine, key=lambda job: (job.optional, job.due, -job.rank), default=None)


def voice_of(w: Wording) -> Voice:
    """How the register's own words are said in this yard."""
    return voice_in(w.zone, w.units, w.language)


def iso(when: datetime | None, w: Wording) -> str | None:
    """A time with the yard's offset."""
    return None if when is None else w.local(when).replace(microsecond=0).isoformat()


def _shown(logs: Sequence[Log], *, gone: bool) -> list[Log]:
    return [log for log in logs if gone or log.state != "gone"]


# ------------------------------------------------------------------ the list


def list_json(shelf: Shelf, w: Wording, *, gone: bool = False) -> dict[str, Any]:
    """``log list --json``."""
    return {"logs": [log_json(shelf, log, w) for log in _shown(shelf.register.logs, gone=gone)]}


def log_json(shelf: Shelf, log: Log, w: Wording) -> dict[str, Any]:
    """A log of the contract."""
    return {
        "tag": log.tag,
        "species": log.species,
        "length_cm": log.length_cm,
        "state": log.state,
        "place": log.place,
        "ends": [_end_json(shelf, log, end, w) for end in log.ends],
    }


def _end_json(shelf: Shelf, log: Log, end: End, w: Wording) -> dict[str, Any]:
    state, job = shelf.state(log, end), shelf.next_job(log, end)
    return {
        "end": end.name,
        "state": None if state is None else state.state,
        "cut": iso(end.cut.time, w) if log.state in OPEN_STATES else None,
        "layers": end.layers,
        "reach": end.reach,
        "next_job": None if job is None else job.kind,
    }


def list_lines(shelf: Shelf, w: Wording, *, gone: bool = False) -> list[str]:
    """``log list``: each log, and under it its ends; those of the same state together."""
    logs = _shown(shelf.register.logs, gone=gone)
    if not logs:
        return [w.words["log.none_yet"]]
    out: list[str] = []
    for log in logs:
        out.append(head(shelf, log, w))
        out += [f"  {line}" for line in _end_lines(shelf, log, w)]
    return [*out, _sum(shelf, logs, w)]


def head(shelf: Shelf, log: Log, w: Wording) -> str:
    """ "H05 European beech, 3.1 m, lean-to"."""
    parts = [f"{log.tag} {_wood(shelf, log, w)}"]
    if log.count > 1:
        parts.append(w.words.say("log.pieces", count=log.count))
    if log.length_cm is not None:
        parts.append(w.length(log.length_cm))
    if log.place:
        parts.append(log.place)
    if log.roofed:
        parts.append(w.words["head.under_sheet"])
    if log.state != "in_yard":
        parts.append(_log_state(log, w))
    keeps = shelf.saw_by.get(log.tag)
    if keeps is not None and keeps.by is not None and not log.saw_first:
        key = "log.saw_soon" if keeps.by <= w.at else "log.saw_by"
        parts.append(w.words.say(key, day=w.month_day(keeps.by)))
    return ", ".join([*parts, *_decisions(log, w)])


def _wood(shelf: Shelf, log: Log, w: Wording) -> str:
    row = shelf.species.get(log.species or "")
    return w.wood(row, log.species_said) if row else w.words["log.no_wood"]


def _log_state(log: Log, w: Wording) -> str:
    if log.state == "gone":
        gone = w.words["log.state.gone"]
        if log.children:
            return f"{gone} ({w.words.say('log.divided', pieces=w.join(log.children))})"
        why = voice_of(w).named(f"log.gone_why.{log.gone_why}", log.gone_why or "")
        return f"{gone} ({why})" if why else gone
    comes = log.expected or (log.felled if log.state == "expected" else None)
    when = f" {voice_of(w).when(comes, w.at)}" if comes is not None else ""
    return w.words[f"log.state.{log.state}"] + when


def _decisions(log: Log, w: Wording) -> list[str]:
    """What the keeper decided; it stands above the tool's word and stays visible."""
    out = []
    if log.left_long and log.left_till is not None:
        out.append(w.words.say("log.left_till", day=w.day(log.left_till)))
    elif log.left_long:
        out.append(w.words["log.left"])
    if log.skip:
        out.append(w.words["log.skip"])
    if log.saw_first:
        out.append(w.words["log.saw_first"])
    return out


def _end_lines(shelf: Shelf, log: Log, w: Wording) -> list[str]:
    if log.state != "in_yard":
        return []
    same: dict[str, list[str]] = {}
    for end in log.ends:
        same.setdefault(_end_words(shelf, log, end, w), []).append(w.end(end.name))
    return [f"{w.join(names)}: {words}" for words, names in same.items()]


def _end_words(shelf: Shelf, log: Log, end: End, w: Wording) -> str:
    """ "bare, open since Sat 1 Nov. Next: coat"."""
    state, job = shelf.state(log, end), shelf.next_job(log, end)
    words = state_words(end, state, w)
    if not end.reach:
        return f"{words}. {w.words['ends.out_of_reach']}"
    return words if job is None else f"{words}. {w.words.say('ends.next', job=job_words(job, w))}"


def state_words(end: End, state: EndState | None, w: Wording) -> str:
    """The state of an end in words, and since when."""
    if state is None:
        return w.words["log.state.gone"]
    voice, coat = voice_of(w), end.last_coat
    word = w.words[f"state.{state.state}"]
    if state.state in ("bare", "opened") or coat is None:
        if state.state == "opened" and end.checks != "none":
            word = f"{word} ({voice.named(f'ends.checks.{end.checks}', end.checks)})"
        key = "ends.cut_taken" if end.cut.assumed else "ends.open_since"
        return w.words.say(key, state=word, when=voice.when(end.cut, w.at))
    when = voice.when(coat.moment, w.at)
    if state.state == "wet":
        known = state.known or (state.fate and state.fate.chance is not None)
        return w.words.say("ends.coated_at" if known else "ends.wet_or_clear", state=word, when=when)
    key = {"sealed": "ends.sealed_at", "coated": "ends.coat_of"}.get(state.state, "ends.coated_at")
    more = [
        w.words[key]
        for key, so in (("ends.touch_up_due", state.touch_up), ("ends.not_looked", not state.known))
        if so
    ]
    return ", ".join([w.words.say(key, state=word, when=when), *more])


def job_words(job: Job, w: Wording) -> str:
    """What to do, and from when where that is not today."""
    if job.due > w.at + timedelta(hours=12):
        return w.words.say("ends.from_day", job=w.job(job), day=w.day(job.due))
    return w.job(job)


def _sum(shelf: Shelf, logs: Sequence[Log], w: Wording) -> str:
    """ "5 logs; ends: 6 bare, 2 milky, 2 sealed"."""
    counts: dict[str, int] = {}
    for log in logs:
        for end in log.ends if log.state == "in_yard" else ():
            state = shelf.state(log, end)
            if state is not None:
                counts[state.state] = counts.get(state.state, 0) + 1
    named = [f"{counts[code]} {w.words[f'ends.count.{code}']}" for code in END_STATES if code in counts]
    told = w.words.say("log.count_one" if len(logs) == 1 else "log.count", count=len(logs))
    return f"{w.words.say('log.sum', logs=told, ends=', '.join(named))}" if named else f"{told}."
