"""What stands in the calendar: kept reminders as plain entries, in the words of the yard.

Pure. Two rules keep it quiet: the ends of one log with the same job on the same
day are one entry, and of coats at most five logs a day have one of their own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from scheduler.reminders.wanted import MOST_LINES
from scheduler.settings import FeedChoice
from scheduler.units import Units, show_clock
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
REACHED = (
    ("touch_dry", "dry to touch by"),
    ("rain_safe", "takes rain by"),
    ("frost_safe", "past frost by"),
    ("dry", "dry through by"),
)
FEEL = "Feel the ends first: dull and dry, or wait an hour."


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

    zone: ZoneInfo
    units: Units
    today: date
    first: date
    end: date  # exclusive

    def shows(self, day: date, *, off: bool) -> bool:
        least = max(self.first, self.today - OFF_KEPT) if off else self.first
        return least <= day < self.end

    def by(self, when: datetime, beside: date) -> str:
        """ "20:00", "Wed 9:30", "8 pm": the day where it is another."""
        local = when.astimezone(self.zone)
        clock = show_clock(local, self.units)
        return clock if local.date() == beside else f"{local:%a} {clock}"


def calendar_entries(
    rows: Sequence[ReminderRow],
    zone: ZoneInfo,
    units: Units,
    feed: FeedChoice,
    at: datetime,
    *,
    past: timedelta = PAST,
) -> tuple[CalendarEntry, ...]:
    """The entries of a calendar, in order of time.

    Spans of the next ``feed.days`` days; first coats and touch-ups of today and
    tomorrow; second coats, looks and the saw within ``feed.days``; the season's
    days however far ahead; what is over for ``past``. ``at`` only chooses days:
    within a day equal rows give equal entries.
    """
    today = at.astimezone(zone).date()
    view = _View(zone, units, today, today - past, today + feed.days * DAY)
    entries = [e for row in rows if row.kind == "span" for e in _span_entry(row, view)]
    entries += [e for row in rows if row.kind == "season" for e in _season_entry(row, view)]
    entries += _job_entries([row for row in rows if row.kind not in ("span", "season")], view)
    return tuple(sorted(entries, key=lambda e: (e.start.isoformat(), e.order, e.uid)))


# ------------------------------------------------------------------ spans


def _span_entry(row: ReminderRow, view: _View) -> list[CalendarEntry]:
    start, end = (datetime.fromisoformat(row.payload[name]) for name in ("brush_start", "brush_end"))
    day = start.astimezone(view.zone).date()
    off = row.state == "cancelled"
    if row.state == "dropped" or not view.shows(day, off=off):
        return []
    title = _span_title(row, start, end, view)
    unsure = "No fresh forecast: these hours are from an older one." if row.payload.get("unsure") else ""
    told = "The forecast has changed: no span here any more." if off else _span_told(row, day, view)
    tentative = row.payload.get("tentative") or unsure
    return [
        CalendarEntry(
            uid=str(row.uid),
            start=start,
            end=max(end, start + LEAST),
            summary=f"Called off: {title}" if off else title,
            description="\n".join(filter(None, [unsure, told])),
            status="CANCELLED" if off else "TENTATIVE" if tentative else "CONFIRMED",
            sequence=row.sequence,
            changed_at=row.changed_at,
            categories=CATEGORIES["span"],
            kind="span",
        )
    ]


def _span_title(row: ReminderRow, start: datetime, end: datetime, view: _View) -> str:
    """ "Brush 9 to 1: about 9 in 10"."""
    a, b = (show_clock(t.astimezone(view.zone), view.units, short=True) for t in (start, end))
    place = row.payload.get("place")
    where = f" {place}" if place == "under a roof" else f" in the {place}" if place else ""
    hours = f"at {a}" if start == end else f"{a} to {b}"
    return f"Brush {hours}{where}: about {row.payload['in_ten']} in 10"


def _span_told(row: ReminderRow, day: date, view: _View) -> str:
    reached = row.payload.get("milestones") or {}
    known = [
        f"{words} {view.by(datetime.fromisoformat(reached[name]), day)}"
        for name, words in REACHED
        if reached.get(name)
    ]
    far = [words.removesuffix(" by") for name, words in REACHED if not reached.get(name)]
    lines = [f"A coat brushed then: {', '.join(known)}."] if known else []
    if row.payload.get("sure") and row.payload["brush_end"] != row.payload["end"]:
        lines.append(f"Stop at {row.payload['to']}: after that the chance falls.")
    if far:
        lines.append(f"Beyond this forecast: {', '.join(far)}.")
    work, more = row.payload.get("work") or [], row.payload.get("more") or 0
    if work:
        lines += ["", "Do first:", *work, *([f"and {more} more"] if more else []), "", FEEL]
    else:
        lines += ["", "No end is due."]
    return "\n".join(lines)


# ------------------------------------------------------------------ the season


def _season_entry(row: ReminderRow, view: _View) -> list[CalendarEntry]:
    """A day of the season, however far ahead."""
    day = date.fromisoformat(row.payload["day"])
    off = row.state == "cancelled"
    if row.state == "dropped" or not (day >= view.end or view.shows(day, off=off)):
        return []
    title = row.payload["action"][0].upper() + row.payload["action"][1:]
    return [
        CalendarEntry(
            uid=str(row.uid),
            start=day,
            end=day + DAY,
            summary=f"Called off: {title}" if off else title,
            description=row.payload["detail"],
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
            name = (row.kind, row.tag or "", row.payload.get("action", row.kind), day)
            groups.setdefault(name, []).append(row)
    found = [_Group(name[0], name[3], tuple(members)) for name, members in groups.items()]
    seen = [g for g in found if (g.open_rows or g.off) and _is_near(g, view)]
    days: dict[tuple[bool, str, date], list[_Group]] = {}
    for group in sorted(seen, key=lambda g: (g.order, g.rows[0].key)):
        days.setdefault((group.off, group.kind, group.day), []).append(group)
    return [entry for groups_ in days.values() for entry in _day_entries(groups_, rows)]


def _shown_day(row: ReminderRow, view: _View) -> date | None:
    """The day a job stands on: where it was put, or as late as the person asked."""
    text = row.payload.get("day") or row.payload.get("called_off")
    if not text:
        return None
    day = date.fromisoformat(text)
    if row.later_until is not None and row.state in OPEN:
        day = max(day, row.later_until.astimezone(view.zone).date())
    return day


def _is_near(group: _Group, view: _View) -> bool:
    if not view.shows(group.day, off=group.off):
        return False
    if group.kind not in COATS:
        return True
    first = view.today - OFF_KEPT if group.off else view.today
    return first <= group.day <= view.today + DAY


def _day_entries(groups: Sequence[_Group], rows: Sequence[ReminderRow]) -> list[CalendarEntry]:
    """Of one kind on one day: at most five entries, the last one names the rest."""
    entries = [_job_entry(group, rows) for group in groups[:MOST_LINES]]
    rest = groups[MOST_LINES:]
    if rest and entries:
        last = entries[-1]
        named = "; ".join(_head(group) for group in rest[:MOST_NAMED])
        named += f"; and {len(rest) - MOST_NAMED} others" if len(rest) > MOST_NAMED else ""
        changed = max([last.changed_at, *(r.changed_at for r in rows if r.kind == last.kind)])
        more = f"And {len(rest)} more: {named}."
        told = f"{last.description}\n\n{more}".strip()
        entries[-1] = replace(last, description=told, changed_at=changed, rest=more)
    return entries


def _job_entry(group: _Group, rows: Sequence[ReminderRow]) -> CalendarEntry:
    leader = group.rows[0]
    shown = group.shown()
    hints = dict.fromkeys(row.payload["hint"] for row in shown if row.payload.get("hint"))
    lines = [*_details(shown), *(f"{hint[0].upper()}{hint[1:]}." for hint in hints)]
    tentative = any(row.payload.get("tentative") for row in shown)
    # An end that is done leaves the entry without a change of its own: the newest change of the log counts.
    kin = [row.changed_at for row in rows if (row.kind, row.tag) == (leader.kind, leader.tag)]
    return CalendarEntry(
        uid=str(leader.uid),
        start=group.day,
        end=group.day + DAY,
        summary=f"Called off: {_title(group)}" if group.off else _title(group),
        description="\n".join(lines),
        status="CANCELLED" if group.off else "TENTATIVE" if tentative else "CONFIRMED",
        sequence=leader.sequence,
        changed_at=max(kin),
        categories=CATEGORIES[group.kind],
        kind=group.kind,
        order=group.order,
    )


def _details(rows: Sequence[ReminderRow]) -> list[str]:
    """What is told of the ends: once where it is the same of all."""
    told = {row.end or "": _told(row) for row in rows}
    if len(set(told.values())) == 1:
        return [text for text in list(told.values())[:1] if text]
    return [f"{end.capitalize()}: {text}" for end, text in told.items() if text]


def _told(row: ReminderRow) -> str:
    why = "" if row.kind == "look" else row.payload.get("why")  # of a look it stands in the title
    return " ".join(filter(None, [why, row.payload.get("detail")]))


def _head(group: _Group) -> str:
    """ "H01 wild cherry, butt and top"."""
    shown = group.shown()
    ends = " and ".join(row.end for row in shown if row.end)
    wood = shown[0].payload.get("wood")
    return f"{shown[0].tag}{f' {wood}' if wood else ''}{f', {ends}' if ends else ''}"


def _title(group: _Group) -> str:
    """ "H01 wild cherry, butt and top: first coat"."""
    payload = group.shown()[0].payload
    ask = payload.get("why") if group.kind == "look" else ""
    who = " (two people)" if any(row.payload.get("two") for row in group.shown()) else ""
    return f"{_head(group)}: {payload.get('action', group.kind)}{f', {_lower(ask)}' if ask else ''}{who}"


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
