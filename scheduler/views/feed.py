"""What stands in the calendar: kept reminders as plain entries, in the words of the yard.

Pure. Two rules keep it quiet: the ends of one log with the same job on the same
day are one entry, and of coats at most five logs a day have one of their own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from scheduler.reminders.wanted import MOST_LINES, action_of
from scheduler.settings import FeedChoice
from scheduler.units import Units
from scheduler.views.reminder import (
    action_words,
    exact_clock,
    hint_words,
    place_words,
    season_told,
    since_words,
    which,
    why_words,
    work_line,
)
from scheduler.views.wording import Wording, first_upper
from scheduler.yard.reminder_row import ReminderRow

__all__ = ["PAST", "CalendarEntry", "calendar_entries"]

PAST = timedelta(days=14)  # how long what is over stays
OFF_KEPT = timedelta(days=2)  # how long after its day a called-off entry stays
LEAST = timedelta(minutes=15)  # length of a span with a single start
DAY = timedelta(days=1)
MOST_NAMED = 20  # of those without an entry of their own
OPEN = ("planned", "sent")
COATS = ("seal", "touch_up")  # shown today and tomorrow only
CATEGORIES = {
    "span": ("Coating",),
    "seal": ("Coating", "Deadline"),
    "touch_up": ("Coating",),
    "second_coat": ("Coating", "Inspection"),
    "look": ("Inspection",),
    "saw": ("Deadline",),
    "saw_by": ("Deadline",),
    "season": ("Season",),
}
KINDS = tuple(CATEGORIES)
REACHED = ("touch_dry", "rain_safe", "frost_safe", "dry")


@dataclass(frozen=True, slots=True)
class CalendarEntry:
    """One entry. ``start`` and ``end`` are aware times, or dates (``end`` exclusive) for a whole day."""

    uid: str
    start: datetime | date
    end: datetime | date
    summary: str
    description: str
    status: str  # CONFIRMED, TENTATIVE, CANCELLED
    sequence: int
    changed_at: datetime
    categories: tuple[str, ...]
    kind: str
    order: tuple[int, int] = (0, 0)  # among those of a day: by kind, dearest first
    rest: str = ""  # what of its kind stands on that day without an entry of its own

    @property
    def timed(self) -> bool:
        """Whether it has hours, not only a day."""
        return isinstance(self.start, datetime)


@dataclass(frozen=True, slots=True)
class _View:
    """Whose calendar, and which days of it."""

    w: Wording
    today: date
    first: date
    end: date  # exclusive

    def shows(self, day: date, *, off: bool) -> bool:
        least = max(self.first, self.today - OFF_KEPT) if off else self.first
        return least <= day < self.end


def calendar_entries(
    rows: Sequence[ReminderRow],
    zone: ZoneInfo,
    units: Units,
    feed: FeedChoice,
    at: datetime,
    *,
    past: timedelta = PAST,
    language: str = "en",
) -> tuple[CalendarEntry, ...]:
    """The entries of a calendar, in order of time.

    Spans of the next ``feed.days`` days; first coats and touch-ups of today and
    tomorrow; second coats, looks and the saw within ``feed.days``; the season's
    days however far ahead; what is over for ``past``. ``at`` only chooses days:
    within a day equal rows give equal entries. Only the texts are of the language.
    """
    today = at.astimezone(zone).date()
    view = _View(Wording(zone, units, at, language), today, today - past, today + feed.days * DAY)
    entries = [e for row in rows if row.kind == "span" for e in _span_entry(row, view)]
    entries += [e for row in rows if row.kind == "season" for e in _season_entry(row, view)]
    entries += _job_entries([row for row in rows if row.kind not in ("span", "season")], view)
    return tuple(sorted(entries, key=lambda e: (e.start.isoformat(), e.order, e.uid)))


# ------------------------------------------------------------------ spans


def _span_entry(row: ReminderRow, view: _View) -> list[CalendarEntry]:
    start, end = (datetime.fromisoformat(row.payload[name]) for name in ("brush_start", "brush_end"))
    w = view.w
    day = w.day_of(start)
    off = row.state == "cancelled"
    if row.state == "dropped" or not view.shows(day, off=off):
        return []
    unsure = w.words["feed.unsure"] if row.payload.get("unsure") else ""
    told = w.words["feed.changed"] if off else _span_told(row, day, end, w)
    tentative = row.payload.get("tentative") or unsure
    return [
        CalendarEntry(
            uid=str(row.uid),
            start=start,
            end=max(end, start + LEAST),
            summary=_summary(_span_title(row, start, end, w), off, w),
            description="\n".join(filter(None, [unsure, told])),
            status="CANCELLED" if off else "TENTATIVE" if tentative else "CONFIRMED",
            sequence=row.sequence,
            changed_at=row.changed_at,
            categories=CATEGORIES["span"],
            kind="span",
        )
    ]


def _summary(title: str, off: bool, w: Wording) -> str:
    return w.words.say("feed.called_off", title=title) if off else title


def _span_title(row: ReminderRow, start: datetime, end: datetime, w: Wording) -> str:
    """ "Brush 9 to 1: about 9 in 10"."""
    chance = w.words.say("chance.about", tenths=row.payload["in_ten"])
    place = place_words(row.payload, w)
    return w.words.say("feed.brush", hours=w.span(start, end), place=place, chance=chance)


def _span_told(row: ReminderRow, day: date, end: datetime, w: Wording) -> str:
    say = w.words.say
    reached = row.payload.get("milestones") or {}
    known = [
        say(
            "stone.by",
            what=w.words[f"stone.{name}"],
            time=exact_clock(datetime.fromisoformat(reached[name]), w, day),
        )
        for name in REACHED
        if reached.get(name)
    ]
    far = [w.words[f"stone.{name}"] for name in REACHED if not reached.get(name)]
    lines = [say("feed.brushed", milestones=", ".join(known))] if known else []
    if row.payload.get("sure") and row.payload["brush_end"] != row.payload["end"]:
        lines.append(say("feed.stop", at=w.span(end, end)))
    if far:
        lines.append(say("feed.beyond", milestones=", ".join(far)))
    work, more = row.payload.get("work") or [], row.payload.get("more") or 0
    if work:
        lines += ["", w.words["feed.do_first"], *(work_line(one, w) for one in work)]
        lines += [*([say("feed.and_more", count=more)] if more else []), "", w.words["feed.feel"]]
    else:
        lines += ["", w.words["today.none_due"]]
    return "\n".join(lines)


# ------------------------------------------------------------------ the season


def _season_entry(row: ReminderRow, view: _View) -> list[CalendarEntry]:
    """A day of the season, however far ahead."""
    day, w = date.fromisoformat(row.payload["day"]), view.w
    off = row.state == "cancelled"
    if row.state == "dropped" or not (day >= view.end or view.shows(day, off=off)):
        return []
    return [
        CalendarEntry(
            uid=str(row.uid),
            start=day,
            end=day + DAY,
            summary=_summary(first_upper(action_words(row.payload, w)), off, w),
            description=season_told(row.payload, w, years=True),
            status="CANCELLED" if off else "CONFIRMED",
            sequence=row.sequence,
            changed_at=row.changed_at,
            categories=CATEGORIES["season"],
            kind="season",
            order=(KINDS.index("season"), 0),
        )
    ]


# ------------------------------------------------------------------ jobs


@dataclass(frozen=True, slots=True)
class _Group:
    """Rows of one log with the same job on the same day."""

    kind: str
    day: date
    rows: tuple[ReminderRow, ...]  # by id, whatever their state

    @property
    def open_rows(self) -> list[ReminderRow]:
        return [row for row in self.rows if row.state in OPEN and row.payload.get("day")]

    @property
    def off(self) -> bool:
        return not self.open_rows and all(
            row.state == "cancelled" or row.payload.get("called_off") for row in self.rows
        )

    @property
    def order(self) -> tuple[int, int]:
        return (KINDS.index(self.kind), min(row.payload.get("order", 0) for row in self.rows))

    def shown(self) -> list[ReminderRow]:
        return list(self.rows) if self.off else self.open_rows


def _job_entries(rows: Sequence[ReminderRow], view: _View) -> list[CalendarEntry]:
    groups: dict[tuple[str, str, str, date], list[ReminderRow]] = {}
    for row in sorted(rows, key=lambda row: (row.id or 0, row.key)):
        day = _shown_day(row, view)
        if day is not None and row.kind in CATEGORIES:
            name = (row.kind, row.tag or "", action_of(row.payload, row.kind), day)
            groups.setdefault(name, []).append(row)
    found = [_Group(name[0], name[3], tuple(members)) for name, members in groups.items()]
    seen = [g for g in found if (g.open_rows or g.off) and _is_near(g, view)]
    days: dict[tuple[bool, str, date], list[_Group]] = {}
    for group in sorted(seen, key=lambda g: (g.order, g.rows[0].key)):
        days.setdefault((group.off, group.kind, group.day), []).append(group)
    return [entry for groups_ in days.values() for entry in _day_entries(groups_, rows, view.w)]


def _shown_day(row: ReminderRow, view: _View) -> date | None:
    """The day a job stands on: where it was put, or as late as the person asked."""
    text = row.payload.get("day") or row.payload.get("called_off")
    if not text:
        return None
    day = date.fromisoformat(text)
    if row.later_until is not None and row.state in OPEN:
        day = max(day, view.w.day_of(row.later_until))
    return day


def _is_near(group: _Group, view: _View) -> bool:
    if not view.shows(group.day, off=group.off):
        return False
    if group.kind not in COATS:
        return True
    first = view.today - OFF_KEPT if group.off else view.today
    return first <= group.day <= view.today + DAY


def _day_entries(groups: Sequence[_Group], rows: Sequence[ReminderRow], w: Wording) -> list[CalendarEntry]:
    """Of one kind on one day: at most five entries, the last one names the rest."""
    entries = [_job_entry(group, rows, w) for group in groups[:MOST_LINES]]
    rest = groups[MOST_LINES:]
    if rest and entries:
        last = entries[-1]
        named = "; ".join(_head(group, w) for group in rest[:MOST_NAMED])
        if len(rest) > MOST_NAMED:
            named = w.words.say("feed.others", logs=named, count=len(rest) - MOST_NAMED)
        changed = max([last.changed_at, *(r.changed_at for r in rows if r.kind == last.kind)])
        more = w.words.say("feed.rest", count=len(rest), logs=named)
        told = f"{last.description}\n\n{more}".strip()
        entries[-1] = replace(last, description=told, changed_at=changed, rest=more)
    return entries


def _job_entry(group: _Group, rows: Sequence[ReminderRow], w: Wording) -> CalendarEntry:
    leader = group.rows[0]
    shown = group.shown()
    hints = dict.fromkeys(row.payload["hint"] for row in shown if row.payload.get("hint"))
    lines = [*_details(shown, w), *(hint_words(hint, w) for hint in hints)]
    tentative = any(row.payload.get("tentative") for row in shown)
    # An end that is done leaves the entry without a change of its own: the newest change of the log counts.
    kin = [row.changed_at for row in rows if (row.kind, row.tag) == (leader.kind, leader.tag)]
    return CalendarEntry(
        uid=str(leader.uid),
        start=group.day,
        end=group.day + DAY,
        summary=_summary(_title(group, w), group.off, w),
        description="\n".join(lines),
        status="CANCELLED" if group.off else "TENTATIVE" if tentative else "CONFIRMED",
        sequence=leader.sequence,
        changed_at=max(kin),
        categories=CATEGORIES[group.kind],
        kind=group.kind,
        order=group.order,
    )


def _details(rows: Sequence[ReminderRow], w: Wording) -> list[str]:
    """What is told of the ends: once where it is the same of all."""
    told = {row.end or "": _told(row, w) for row in rows}
    if len(set(told.values())) == 1:
        return [text for text in list(told.values())[:1] if text]
    return [
        w.words.say("feed.of_end", end=first_upper(w.end(end)), text=text)
        for end, text in told.items()
        if text
    ]


def _told(row: ReminderRow, w: Wording) -> str:
    why = "" if row.kind == "look" else why_words(row.payload, w)  # of a look it stands in the title
    return " ".join(filter(None, [why, since_words(row.payload, row.due_at, w)]))


def _head(group: _Group, w: Wording) -> str:
    """ "H01 wild cherry, butt and top"."""
    shown = group.shown()
    return which(shown[0].tag or "", [row.end for row in shown if row.end], shown[0].payload, w)


def _title(group: _Group, w: Wording) -> str:
    """ "H01 wild cherry, butt and top: first coat"."""
    payload, say = group.shown()[0].payload, w.words.say
    ask = why_words(payload, w, sentence=False) if group.kind == "look" else ""
    two = any(row.payload.get("two") for row in group.shown())
    action = action_words(payload, w, group.kind)
    title = say("reminder.work", which=_head(group, w), action=action, two="")
    return title + (say("feed.ask", why=ask) if ask else "") + (w.words["reminder.by_two"] if two else "")
