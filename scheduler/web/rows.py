"""Lists of logs and of a log's entries, as plain values made of a view and the book. Reads nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import Any

from scheduler.coating.product import coating_of
from scheduler.settings import coating_profiles
from scheduler.views.logs import Shelf, head, job_words, state_words, voice_of
from scheduler.views.today import cost_words
from scheduler.views.wording import Wording, first_upper
from scheduler.web.desk import Book, View
from scheduler.web.screens import wood_of
from scheduler.yard.condition import EndState, end_state
from scheduler.yard.facts import End, Log
from scheduler.yard.telling import describe

__all__ = ["EndRow", "LogRow", "dearest", "history_rows", "log_row", "shelf_of"]

FRESH = timedelta(hours=1)  # no coat is clear so soon: forming a film takes 2 h at least
FIXED = ("add", "correct", "undo", "change")  # entries that are mended in another way


@dataclass(frozen=True, slots=True)
class EndRow:
    """One end in a list."""

    name: str
    said: str  # its name in the yard's language
    state: str | None
    words: str
    reach: bool
    next: str
    cost: str


@dataclass(frozen=True, slots=True)
class LogRow:
    """One log in a list, with its ends."""

    tag: str
    wood: str
    head: str
    state: str
    ends: tuple[EndRow, ...] = field(default_factory=tuple)


def shelf_of(view: View, book: Book) -> Shelf:
    """The register as it stands now under the view's weather: of what was touched since, by what was told."""
    seen = view.picture
    coating = coating_of(coating_profiles()[view.yard.coating.profile], view.yard.coating)
    saw_by, beetles, worths = seen.keeping.saw_by, seen.keeping.beetles, seen.worths
    if view.book.version == book.version:
        jobs = list(seen.jobs)
        return Shelf(book.register, dict(seen.states), jobs, seen.species, coating, saw_by, beetles, worths)
    old = {log.tag: log for log in view.book.register.present}
    states: dict[tuple[str, str], EndState] = {}
    same: set[str] = set()
    for log in book.register.present:
        if old.get(log.tag) == log:
            same.add(log.tag)
        for end in log.ends:
            kept = seen.states.get((log.tag, end.name)) if log.tag in same else None
            states[(log.tag, end.name)] = kept or _by_what_was_told(end, view)
    return Shelf(
        book.register,
        states,
        [job for job in seen.jobs if job.tag in same],
        seen.species,
        coating,
        {tag: by for tag, by in saw_by.items() if tag in same},
        {tag: words for tag, words in beetles.items() if tag in same},
        {key: found for key, found in worths.items() if key[0] in same},
    )


def _by_what_was_told(end: End, view: View) -> EndState:
    """State of an end that was touched since the weather was worked out; a coat of just now is milky."""
    found = end_state(end, view.at, None)
    new = end.last_coat is not None and end.last_coat.moment.time > view.at - FRESH
    return replace(found, known=True) if found.state == "wet" and new else found


def dearest(shelf: Shelf, *, gone: bool = False) -> list[Log]:
    """All logs, dearest first; those without a price behind, in the order in which they came."""
    best: dict[str, float] = {}
    for (tag, _, _), found in shelf.worths.items():
        best[tag] = max(best.get(tag, 0.0), found.points)
    logs = [log for log in shelf.register.logs if gone or log.state != "gone"]
    return sorted(logs, key=lambda log: -best.get(log.tag, 0.0))


def log_row(shelf: Shelf, log: Log, w: Wording) -> LogRow:
    """One log and its ends."""
    title = head(shelf, log, w)
    wood = wood_of(shelf.register, shelf.species, w, log.tag)
    ends = tuple(_end_row(shelf, log, end, w) for end in log.ends) if log.state == "in_yard" else ()
    return LogRow(log.tag, wood, title.removeprefix(log.tag).strip(), log.state, ends)


def _end_row(shelf: Shelf, log: Log, end: End, w: Wording) -> EndRow:
    state, job = shelf.state(log, end), shelf.next_job(log, end)
    worth = shelf.worths.get((log.tag, end.name, job.kind)) if job is not None else None
    return EndRow(
        end.name,
        w.end(end.name),
        None if state is None else state.state,
        state_words(end, state, w),
        end.reach,
        "" if job is None else job_words(job, w),
        cost_words([worth], w).strip(" ()") if end.reach else "",
    )


def history_rows(lines: Sequence[Any], w: Wording) -> list[dict[str, Any]]:
    """The entries of a log, newest first, with what may be done to each."""
    out = []
    for line in reversed(lines):
        entry = line.entry
        when = w.when(entry.recorded_at) if entry.kind == "add" else voice_of(w).when(line.moment, w.at)
        out.append(
            {
                "number": entry.number,
                "when": when,
                "text": first_upper(describe(entry, voice_of(w))),
                "who": entry.who,
                "holds": line.holds,
                "mends": line.holds and entry.kind not in FIXED,
            }
        )
    return out
