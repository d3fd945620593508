"""What the screens show, as plain values made of a view and the book. Reads nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from scheduler.planning.jobs import Job
from scheduler.planning.verdict import TimedSpan
from scheduler.views import today
from scheduler.views.today import Briefing, first_jobs
from scheduler.views.wording import (
    Wording,
)
from scheduler.web.desk import Book, View
from scheduler.yard.entries import Entry
from scheduler.yard.facts import Register
from scheduler.yard.reminder_row import ReminderRow

__all__ = ["Board", "Task", "ask", "board", "done_today", "tasks"]

DONE = {
    "coat": "page.was_coated",
    "cut": "page.was_cut",
}  # kinds of entries that the first screen shows with their undo
SHOWN_TASKS = 2
TO_COAT = ("seal", "touch_up", "second_coat")  # kinds of reminders that a coat answers


# ------------------------------------------------------------------ the board


@dataclass(frozen=True, slots=True)
class Board:
    """The verdict in the size it is read in."""

    verdict: str
    word: str
    hours: str
    chance: str
    why: tuple[str, ...]
    age: str
    warning: str | None
    span: TimedSpan | None
    cold: str | None


def shown_span(b: Briefing) -> TimedSpan | None:
    """The span that board and tape are about."""
    m = b.morning
    if m.verdict == "unknown":
        return None
    return m.work.span if m.verdict in ("seal", "touch_and_go") else m.work.next_span


def board(view: View) -> Board:
    """Verdict, hours, chance, reasons."""
    b, w = view.briefing, view.wording
    m, span = b.morning, shown_span(b)
    hours = chance = ""
    if span is not None and m.verdict != "leave_it":
        key = "board.brush" if w.day_of(span.start) == w.day_of(m.at) else "board.brush_on"
        hours = w.words.say(key, day=w.day(span.start), hours=w.brush(span))
        chance = w.chance(span.chance)
    told = w.words["today.brushed"].partition("{")[0]  # the tape says that
    why = [line for line in today.weather_lines(b, w) if not line.startswith(told)]
    if m.verdict == "unknown":
        why.append(w.words["page.by_eye"])
    word = w.words[f"board.{m.verdict}"]
    if m.verdict in ("seal", "touch_and_go") and (m.work.place or m.work.roofed):
        key = "page.in_place" if m.work.place else "page.under_sheet"
        word = w.words.say(key, verdict=w.words[f"verdict.{m.verdict}"], place=m.work.place)
    elif not m.due and m.verdict == "seal":
        word = w.words["page.good"]
    return Board(
        m.verdict, word, hours, chance, tuple(why), _age_line(view), _age_warning(view), span, _cold(span, w)
    )


def _age_line(view: View) -> str:
    age = view.briefing.morning.age.hours
    w = view.wording
    if age is None:
        return w.words.say("page.age_none", time=w.clock(view.at))
    return w.words.say("page.age_new" if age < 1 else "page.age", hours=f"{age:.0f}", time=w.clock(view.at))


def _age_warning(view: View) -> str | None:
    """A full sentence where the forecast is old; the small line is not enough then."""
    b, w = view.briefing, view.wording
    said = [w.words.told(b.forecast.fallback)] if b.forecast.fallback else []
    p, age = b.forecast.provenance, b.morning.age
    if age.word == "old" and age.hours is not None and p is not None and p.issued is not None:
        said.append(w.words.say("page.old", hours=f"{age.hours:.0f}", when=w.when(p.issued)))
    return " ".join(said) or None


def _cold(span: TimedSpan | None, w: Wording) -> str | None:
    reason = next((r for r in span.reasons if r.rule == "frost_on_face"), None) if span is not None else None
    if reason is None or reason.typical is None:
        return None
    return w.words.say("page.coldest", temperature=w.whole(reason.typical))


# ------------------------------------------------------------------ the list


@dataclass(frozen=True, slots=True)
class Task:
    """A line of the first screen: one log and one job, or what was done at it today."""

    tag: str
    wood: str
    job: str
    kind: str
    ends: tuple[str, ...] = ()
    two: bool = False
    done: str = ""  # "coated 9:40", empty while it is to do
    entry: int | None = None

    @property
    def button(self) -> str:
        """Key of the word on its button."""
        return "page.cut" if self.kind == "cut_and_coat" else "page.coated"

    @property
    def note(self) -> str:
        """The kind of entry that the button makes."""
        return "cut" if self.kind == "cut_and_coat" else "coat"


def wood_of(register: Register, species: Any, w: Wording, tag: str) -> str:
    """Name of a log's wood."""
    log = register.log(tag)
    if log is None:
        return w.words["word.wood"]
    return w.wood(species.get(log.species or ""), log.species_said if log.species is None else "")


def done_today(book: Book, at: datetime, w: Wording) -> list[Entry]:
    """Coats and cuts told of since this morning that still hold, newest last."""
    day = w.day_of(at)
    return [
        entry
        for entry in book.holding
        if entry.kind in DONE and entry.tag and w.day_of(entry.recorded_at) == day
    ]


def tasks(
    view: View, book: Book, rows: Sequence[ReminderRow], at: datetime, shown: tuple[str, ...]
) -> tuple[list[Task], int]:
    """Lines to show, and how many more there are: what was done today, then what comes next.

    A line that was done keeps its place for as long as it is among ``shown``,
    so that its undo stays under the thumb.
    """
    w = view.wording
    done = {str(entry.tag): entry for entry in done_today(book, at, w)}
    lines = [_done_line(view, book, entry, w) for tag, entry in done.items() if tag in shown]
    to_do = _open_jobs(view, book, rows, at, done)
    room = max(SHOWN_TASKS - sum(1 for line in lines if line.kind), 0)  # what was cut still wants its coat
    places = {tag: n for n, tag in enumerate(shown)}
    every = [*lines, *(_task(view, book, jobs) for jobs in to_do[:room])]
    every.sort(key=lambda task: places.get(task.tag, len(places)))
    return every, max(len(to_do) - room, 0)


def _done_line(view: View, book: Book, entry: Entry, w: Wording) -> Task:
    tag, when = str(entry.tag), entry.moment.time
    day = "" if w.day_of(when) == w.day_of(view.at) else f"{w.day(when)} "
    return Task(
        tag,
        wood_of(book.register, view.picture.species, w, tag).split()[-1],
        w.join([w.end(name) for name in entry.ends]),
        "first_coat" if entry.kind == "cut" else "",
        entry.ends,
        done=w.words.say(DONE[entry.kind], time=f"{day}{w.clock(when)}"),
        entry=entry.number,
    )


def _open_jobs(
    view: View, book: Book, rows: Sequence[ReminderRow], at: datetime, touched: Mapping[str, Entry]
) -> list[list[Job]]:
    """What is to do by the morning's list, a log at a time, without what was done or put off since."""
    b, resting = view.briefing, _resting(rows, at)
    groups: dict[tuple[str, str], list[Job]] = {}
    for job in dict.fromkeys([*first_jobs(b)[0], *b.morning.due]):
        groups.setdefault((job.tag, job.kind), []).append(job)
    wanted = {
        log.tag
        for log in book.register.present
        if not (log.skip or log.left_long or log.tag in touched or log.tag in resting)
    }
    return [jobs for (tag, _), jobs in groups.items() if tag in wanted]


def _task(view: View, book: Book, jobs: Sequence[Job]) -> Task:
    w, tag, kind = view.wording, jobs[0].tag, jobs[0].kind
    ends = tuple(job.end for job in jobs if job.end)
    what = w.words[f"job.{kind}"]
    if ends:
        what = w.words.say("word.at_ends", job=what, ends=w.join([w.end(end) for end in ends]))
    wood = wood_of(book.register, view.picture.species, w, tag).split()[-1]
    return Task(tag, wood, what, kind, ends, two=any(job.people > 1 for job in jobs))


def _resting(rows: Sequence[ReminderRow], at: datetime) -> set[str]:
    """Logs whose keeper said "later" to all that would have them coated."""
    waits: dict[str, bool] = {}
    for row in rows:
        if row.tag and row.kind in TO_COAT and row.state in ("planned", "sent"):
            rests = row.later_until is not None and row.later_until > at
            waits[row.tag] = waits.get(row.tag, True) and rests
    return {tag for tag, rests in waits.items() if rests}


# ------------------------------------------------------------------ the question


def ask(view: View, book: Book, at: datetime) -> dict[str, str] | None:
    """The morning's one question, None once it was answered today."""
    q = view.briefing.question
    if q is None:
        return None
    w = view.wording
    since = [e for e in book.holding if w.day_of(e.recorded_at) == w.day_of(at)]
    if q.kind == "frost":
        if any(e.kind == "seen" for e in since):
            return None
        return {"kind": "frost", "text": w.words["page.ask_frost"]}
    if any(e.kind in ("look", "coat", "cut") and e.tag == q.tag for e in since):
        return None
    text = w.words.say("page.ask_coat", tag=q.tag, end=w.end(str(q.end)))
    return {"kind": "coat", "tag": str(q.tag), "end": str(q.end), "text": text}
