"""What the screens show, as plain values made of a view and the book. Reads nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from scheduler.coating.product import coating_of
from scheduler.planning.jobs import Job
from scheduler.planning.verdict import TimedSpan
from scheduler.settings import coating_profiles
from scheduler.views import today
from scheduler.views.log_sheet import spare_of
from scheduler.views.logs import Shelf, head, job_words, state_words, voice_of
from scheduler.views.today import Briefing, first_jobs
from scheduler.views.wording import (
    JOB_WORDS,
    STATE_WORDS,
    VERDICT_WORDS,
    Wording,
    chance_words,
    first_upper,
    join,
)
from scheduler.web.desk import Book, View
from scheduler.yard.condition import EndState, end_state
from scheduler.yard.entries import Entry
from scheduler.yard.facts import End, Log, Register
from scheduler.yard.reminder_row import ReminderRow
from scheduler.yard.state import holding
from scheduler.yard.telling import describe

__all__ = ["Board", "EndRow", "LogRow", "Task", "ask", "board", "done_today", "log_rows", "shelf_of", "tasks"]

BIG = {"seal": "Seal today", "leave_it": "Leave it today", "prepare": "Prepare", "unknown": "Unknown"}
DONE = {"coat": "coated", "cut": "cut"}  # kinds of entries that the first screen shows with their undo
SHOWN_TASKS = 2
COATING = ("first_coat", "touch_up", "second_coat", "cut_and_coat")


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
    if span is not None:
        day = "" if w.day_of(span.start) == w.day_of(m.at) else f"{w.day(span.start)}: "
        hours, chance = f"{first_upper(day)}brush {w.brush(span)}", chance_words(span.chance)
        hours = first_upper(hours) if not day else hours
    why = [line for line in today.weather_lines(b, w) if not line.startswith("Brushed ")]
    if m.verdict == "unknown":
        why.append("By eye: dull dry face, and no rain or frost for two days. Else wait.")
    where = m.work.place or ("under a sheet" if m.work.roofed else "")
    word = BIG.get(m.verdict, VERDICT_WORDS[m.verdict])
    if where and m.verdict in ("seal", "touch_and_go"):
        word = f"{VERDICT_WORDS[m.verdict]} {'in the ' if m.work.place else ''}{where}"
    elif not m.due and m.verdict == "seal":
        word = "Good coating weather"
    return Board(
        m.verdict, word, hours, chance, tuple(why), _age_line(view), _age_warning(view), span, _cold(span, w)
    )


def _age_line(view: View) -> str:
    age = view.briefing.morning.age.hours
    w = view.wording
    if age is None:
        return f"no forecast, page of {w.clock(view.at)}"
    old = "under an hour" if age < 1 else f"{age:.0f} h"
    return f"forecast {old} old, page of {w.clock(view.at)}"


def _age_warning(view: View) -> str | None:
    """A full sentence where the forecast is old; the small line is not enough then."""
    b, w = view.briefing, view.wording
    said = [b.forecast.fallback] if b.forecast.fallback else []
    p, age = b.forecast.provenance, b.morning.age
    if age.word == "old" and age.hours is not None and p is not None and p.issued is not None:
        said.append(
            f"The forecast is {age.hours:.0f} hours old, of {w.when(p.issued)}. Newer weather may differ."
        )
    return " ".join(said) or None


def _cold(span: TimedSpan | None, w: Wording) -> str | None:
    reason = next((r for r in span.reasons if r.rule == "frost_on_face"), None) if span is not None else None
    if reason is None or reason.typical is None:
        return None
    return f"Coldest on the wood while milky {w.whole(reason.typical)}"


# ------------------------------------------------------------------ the list


@dataclass(frozen=True, slots=True)
class Task:
    """A line of the first screen: one log and one job, or what was done at it today."""

    tag: str
    wood: str
    job: str
    kind: str
    ends: tuple[str, ...] = ()
    cost: str = ""
    two: bool = False
    done: str = ""  # "coated 9:40", empty while it is to do
    entry: int | None = None
    mended: bool = False
    rests: str = ""  # "till tomorrow 6:00"
    reminders: tuple[int, ...] = ()

    @property
    def button(self) -> str:
        """The word on its button."""
        return "Cut" if self.kind == "cut_and_coat" else "Coated"

    @property
    def note(self) -> str:
        """The kind of entry that the button makes."""
        return "cut" if self.kind == "cut_and_coat" else "coat"


def wood_of(register: Register, species: Any, w: Wording, tag: str) -> str:
    """Name of a log's wood."""
    log = register.log(tag)
    if log is None:
        return "wood"
    return w.wood(species.get(log.species or ""), log.species_said if log.species is None else "")


def done_today(book: Book, at: datetime, w: Wording) -> list[Entry]:
    """Coats and cuts told of since this morning that still hold, newest last."""
    day = w.day_of(at)
    return [
        entry
        for entry in holding(book.entries)
        if entry.kind in DONE and entry.tag and w.day_of(entry.recorded_at) == day
    ]


def tasks(
    view: View, book: Book, rows: Sequence[ReminderRow], at: datetime, shown: tuple[str, ...]
) -> tuple[list[Task], int]:
    """Lines to show, and how many more there are: what was done today, then what comes next."""
    w = view.wording
    done = done_today(book, at, w)
    lines = [_done_line(view, book, entry, w) for entry in _last_of_each(done)]
    open_ = _open_tasks(view, book, rows, at)
    resting = [task for task in open_ if task.rests]
    to_do = [task for task in open_ if not task.rests]
    keep = [task for task in (*lines, *resting) if task.tag in shown]
    every = [*keep, *to_do[:SHOWN_TASKS]]
    places = {tag: n for n, tag in enumerate(shown)}
    every.sort(key=lambda task: places.get(task.tag, len(places)))
    left = max(len(to_do) - SHOWN_TASKS, 0)
    return every, left


def _last_of_each(entries: Sequence[Entry]) -> list[Entry]:
    return list({entry.tag: entry for entry in entries}.values())


def _done_line(view: View, book: Book, entry: Entry, w: Wording) -> Task:
    tag = str(entry.tag)
    clock = w.clock(entry.moment.time)
    day = "" if w.day_of(entry.moment.time) == w.day_of(view.at) else f"{w.day(entry.moment.time)} "
    wood = wood_of(book.register, view.picture.species, w, tag)
    follows = entry.kind == "cut"
    return Task(
        tag,
        wood,
        join(list(entry.ends)),
        "first_coat" if follows else "",
        entry.ends,
        done=f"{DONE[entry.kind]} {day}{clock}",
        entry=entry.number,
    )


def _open_tasks(view: View, book: Book, rows: Sequence[ReminderRow], at: datetime) -> list[Task]:
    """What is to do by the morning's list, without what was done since."""
    w = view.wording
    touched = {entry.tag for entry in done_today(book, at, w)}
    groups: dict[tuple[str, str], list[Job]] = {}
    for job in [*first_jobs(view.briefing)[0], *view.briefing.morning.due]:
        group = groups.setdefault((job.tag, job.kind), [])
        if job not in group:
            group.append(job)
    out = []
    for (tag, kind), jobs in groups.items():
        log = book.register.log(tag)
        if tag in touched or log is None or log.state == "gone" or log.skip or log.left_long:
            continue
        ends = tuple(job.end for job in jobs if job.end)
        worths = [view.picture.worths.get((tag, end, kind)) for end in ends]
        ids, rests = _reminders(rows, tag, at, w)
        out.append(
            Task(
                tag,
                wood_of(book.register, view.picture.species, w, tag),
                f"{JOB_WORDS[kind]}{', ' + join(list(ends)) if ends else ''}",
                kind,
                ends,
                cost=today._cost_words(worths, w).strip(" ()"),
                two=any(job.people > 1 for job in jobs),
                rests=rests,
                reminders=ids,
            )
        )
    return out


def _reminders(
    rows: Sequence[ReminderRow], tag: str, at: datetime, w: Wording
) -> tuple[tuple[int, ...], str]:
    mine = [
        row
        for row in rows
        if row.tag == tag
        and row.state in ("planned", "sent")
        and row.kind in ("seal", "touch_up", "second_coat")
    ]
    waits = [row.later_until for row in mine if row.later_until is not None and row.later_until > at]
    rests = f"rests till {w.when(max(waits))}" if mine and len(waits) == len(mine) else ""
    return tuple(row.id for row in mine if row.id is not None), rests


# ------------------------------------------------------------------ the question


def ask(view: View, book: Book, at: datetime) -> dict[str, str] | None:
    """The morning's one question, None once it was answered today."""
    q = view.briefing.question
    if q is None:
        return None
    w = view.wording
    since = [e for e in holding(book.entries) if w.day_of(e.recorded_at) == w.day_of(at)]
    if q.kind == "frost":
        if any(e.kind == "seen" for e in since):
            return None
        return {"kind": "frost", "text": "White frost on the ends this morning?"}
    if any(e.kind in ("look", "coat", "cut") and e.tag == q.tag for e in since):
        return None
    wood = wood_of(book.register, view.picture.species, w, str(q.tag))
    return {
        "kind": "coat",
        "tag": str(q.tag),
        "end": str(q.end),
        "text": f"{q.tag} {wood}, {q.end}: how is it?",
    }


# ------------------------------------------------------------------ logs


@dataclass(frozen=True, slots=True)
class EndRow:
    """One end in a list."""

    name: str
    state: str | None
    word: str
    words: str
    reach: bool
    next: str
    worth: float
    open_cost: str
    coatable: bool


@dataclass(frozen=True, slots=True)
class LogRow:
    """One log in a list, with its ends."""

    tag: str
    wood: str
    head: str
    state: str
    ends: tuple[EndRow, ...] = field(default_factory=tuple)

    @property
    def worth(self) -> float:
        """The dearest of its ends."""
        return max((end.worth for end in self.ends), default=0.0)


def shelf_of(view: View, book: Book) -> Shelf:
    """The register as it stands now under the view's weather: of what was touched since, by what was told."""
    seen = view.picture
    old = {log.tag: log for log in view.book.register.present}
    states: dict[tuple[str, str], EndState] = {}
    same: set[str] = set()
    for log in book.register.present:
        if old.get(log.tag) == log:
            same.add(log.tag)
        for end in log.ends:
            kept = seen.states.get((log.tag, end.name)) if log.tag in same else None
            states[(log.tag, end.name)] = kept or end_state(end, view.at, None)
    coating = coating_of(coating_profiles()[view.yard.coating.profile], view.yard.coating)
    keeping = seen.keeping
    return Shelf(
        book.register,
        states,
        [job for job in seen.jobs if job.tag in same],
        seen.species,
        coating,
        {tag: by for tag, by in keeping.saw_by.items() if tag in same},
        {tag: words for tag, words in keeping.beetles.items() if tag in same},
        {key: found for key, found in seen.worths.items() if key[0] in same},
    )


def log_rows(shelf: Shelf, w: Wording, *, gone: bool = False) -> list[LogRow]:
    """All logs, dearest first; those without a price behind, by tag."""
    rows = [log_row(shelf, log, w) for log in shelf.register.logs if gone or log.state != "gone"]
    return sorted(rows, key=lambda row: -row.worth)


def log_row(shelf: Shelf, log: Log, w: Wording) -> LogRow:
    """One log and its ends."""
    title = head(shelf, log, w)
    wood = wood_of(shelf.register, shelf.species, w, log.tag)
    ends = tuple(_end_row(shelf, log, end, w) for end in log.ends) if log.state == "in_yard" else ()
    return LogRow(log.tag, wood, title.removeprefix(log.tag).strip(), log.state, ends)


def _end_row(shelf: Shelf, log: Log, end: End, w: Wording) -> EndRow:
    state, job = shelf.state(log, end), shelf.next_job(log, end)
    worth = shelf.worths.get((log.tag, end.name, job.kind)) if job is not None else None
    cost = today._cost_words([worth], w).strip(" ()")
    return EndRow(
        end.name,
        None if state is None else state.state,
        "gone" if state is None else STATE_WORDS[state.state],
        state_words(end, state, w),
        end.reach,
        "" if job is None else job_words(job, w),
        0.0 if worth is None else worth.points,
        cost,
        end.reach and (job is None or job.kind in COATING),
    )


def spare_words(log: Log, w: Wording) -> str | None:
    """ "9 cm butt, 12 cm top"."""
    spare = spare_of(log)
    return None if spare is None else ", ".join(f"{w.length(cm)} {name}" for name, cm in spare.items())


def history_rows(lines: Sequence[Any], w: Wording) -> list[dict[str, Any]]:
    """The entries of a log, newest first, with what may be done to each."""
    out = []
    for line in reversed(lines):
        entry = line.entry
        when = entry.recorded_at if entry.kind == "add" else line.moment.time
        out.append(
            {
                "number": entry.number,
                "when": w.when(when) if entry.kind == "add" else voice_of(w).when(line.moment, w.at),
                "text": first_upper(describe(entry, voice_of(w))),
                "who": entry.who,
                "holds": line.holds,
                "mends": line.holds and entry.kind not in ("add", "correct", "undo", "change"),
            }
        )
    return out


def soon(at: datetime) -> datetime:
    """A day on: when "later" rings again."""
    return at + timedelta(days=1)
