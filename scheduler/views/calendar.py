"""The calendar of a yard: an iCalendar file (RFC 5545, 7986), and the same as plain text.

Pure: kept reminders in, bytes or text out. Equal rows give equal bytes on the
same day, so that a client that asks again finds nothing new.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from unicodedata import category
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from icalendar import Alarm, Calendar, Event, vDuration, vText

from scheduler import __version__
from scheduler.settings import FeedChoice
from scheduler.units import Units
from scheduler.views.custom import date_text
from scheduler.views.feed import PAST, CalendarEntry, calendar_entries
from scheduler.views.words import Words, words_in
from scheduler.views.zone_rules import vtimezone
from scheduler.yard.reminder_row import ReminderRow

__all__ = ["AgendaDay", "agenda", "agenda_days", "calendar_bytes", "empty_agenda"]

REFRESH = timedelta(hours=1)
ALARM_BEFORE = timedelta(hours=-1)


def calendar_bytes(
    rows: Sequence[ReminderRow],
    yard_name: str,
    zone: ZoneInfo,
    units: Units,
    feed: FeedChoice,
    *,
    at: datetime,
    past: timedelta = PAST,
    language: str = "en",
) -> bytes:
    """The calendar file of a yard.

    Parameters
    ----------
    rows
        All kept reminders of the yard, the cancelled ones too.
    feed
        ``times = "utc"`` writes UTC; ``"zone"`` writes the yard's clock with its VTIMEZONE.
    at
        Chooses the days that are shown; nothing else depends on it.
    language
        Of names and texts. None of them has the LANGUAGE parameter that RFC 5545 (3.2.10) allows:
        of a text with it node-ical makes an object, which programs that rest on it do not expect.

    Returns
    -------
    UTF-8, CRLF, lines of at most 75 octets.
    """
    entries = calendar_entries(rows, zone, units, feed, at, past=past, language=language)
    calendar = _frame(yard_name, zone, entries, words_in(language))
    if feed.times == "zone":
        since = min((_year(entry.start) for entry in entries), default=at.astimezone(zone).year)
        calendar.add_component(vtimezone(zone, since - 1))
    for entry in entries:
        calendar.add_component(_event(entry, zone if feed.times == "zone" else None, feed.alarms))
    data: bytes = calendar.to_ical(sorted=True)
    return data


def _year(when: date) -> int:
    return when.year


def _frame(yard_name: str, zone: ZoneInfo, entries: Sequence[CalendarEntry], words: Words) -> Calendar:
    """The calendar without its events. No METHOD: so DTSTAMP means "last revised" (RFC 5545, 3.8.7.2)."""
    calendar = Calendar()
    calendar.add("VERSION", "2.0")
    calendar.add("PRODID", f"-//Coatcast//Coatcast {__version__}//{words.language.upper()}")
    calendar.add("CALSCALE", "GREGORIAN")
    about, name = words["feed.about"], _clean(" ".join(yard_name.split())) or words["feed.yard"]
    said = {"NAME": name, "DESCRIPTION": about}
    said |= {"X-WR-CALNAME": name, "X-WR-CALDESC": about, "X-WR-TIMEZONE": zone.key}
    for key, text in said.items():
        calendar.add(key, vText(text))  # of a name that it does not know the library escapes nothing
    refresh = vDuration(REFRESH)
    refresh.params["VALUE"] = "DURATION"  # RFC 7986, 5.7 requires it
    calendar.add("REFRESH-INTERVAL", refresh)
    calendar.add("X-PUBLISHED-TTL", vText("PT1H"))
    if entries:
        calendar.add("LAST-MODIFIED", max(entry.changed_at for entry in entries).astimezone(UTC))
    return calendar


def _event(entry: CalendarEntry, zone: ZoneInfo | None, alarms: bool) -> Event:
    event = Event()
    event.add("UID", entry.uid)
    event.add("DTSTAMP", entry.changed_at.astimezone(UTC))
    event.add("LAST-MODIFIED", entry.changed_at.astimezone(UTC))
    event.add("SEQUENCE", entry.sequence)
    event.add("DTSTART", _time(entry.start, zone))
    event.add("DTEND", _time(entry.end, zone))
    event.add("SUMMARY", _clean(entry.summary))
    if entry.description:
        event.add("DESCRIPTION", _clean(entry.description))
    event.add("STATUS", entry.status)
    event.add("TRANSP", "TRANSPARENT")
    event.add("CATEGORIES", list(entry.categories))
    if alarms and entry.timed and entry.status == "CONFIRMED":
        event.add_component(_alarm(entry))
    return event


def _clean(text: str) -> str:
    """Without the control characters that RFC 5545 (3.1) forbids in a text; a line break stays."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    return "".join(c for c in lines if c in "\n\t" or category(c) not in ("Cc", "Cs"))


def _time(when: date, zone: ZoneInfo | None) -> date:
    if not isinstance(when, datetime):
        return when
    if zone is None:
        return when.astimezone(UTC)
    local = when.astimezone(zone)
    # The second pass of an hour that the clock repeats has no name in a zone: it stays in UTC.
    return when.astimezone(UTC) if local.fold else local


def _alarm(entry: CalendarEntry) -> Alarm:
    alarm = Alarm()
    alarm.add("UID", str(uuid5(UUID(entry.uid), "alarm")))
    alarm.add("ACTION", "DISPLAY")
    alarm.add("DESCRIPTION", _clean(entry.summary))
    alarm.add("TRIGGER", ALARM_BEFORE)
    return alarm


# ------------------------------------------------------------------ as text


@dataclass(frozen=True, slots=True)
class AgendaDay:
    """A day of the agenda: its name, and its entries, each with what is told of it."""

    day: date
    name: str
    entries: tuple[tuple[str, tuple[str, ...]], ...]


def agenda(
    rows: Sequence[ReminderRow],
    zone: ZoneInfo,
    units: Units,
    feed: FeedChoice,
    *,
    at: datetime,
    language: str = "en",
) -> str:
    """The calendar from today on as a plain list by day."""
    days = agenda_days(rows, zone, units, feed, at=at, language=language)
    if not days:
        return f"{empty_agenda(feed, language)}\n"
    return "\n".join(_day_text(day) for day in days)


def empty_agenda(feed: FeedChoice, language: str) -> str:
    """What is said where nothing stands in the calendar."""
    return words_in(language).say("agenda.nothing", days=feed.days)


def agenda_days(
    rows: Sequence[ReminderRow],
    zone: ZoneInfo,
    units: Units,
    feed: FeedChoice,
    *,
    at: datetime,
    language: str,
) -> list[AgendaDay]:
    """The days of the calendar from today on that have something."""
    today, words = at.astimezone(zone).date(), words_in(language)
    days: dict[date, list[CalendarEntry]] = {}
    for entry in calendar_entries(rows, zone, units, feed, at, language=language):
        day = entry.start.astimezone(zone).date() if isinstance(entry.start, datetime) else entry.start
        if day >= today:
            days.setdefault(day, []).append(entry)
    return [_agenda_day(day, found, words) for day, found in sorted(days.items())]


def _reading_order(entry: CalendarEntry) -> tuple[bool, str, bool, tuple[int, int], str]:
    off = entry.status == "CANCELLED"
    return (not entry.timed, entry.start.isoformat(), off, entry.order, entry.summary)


def _agenda_day(day: date, entries: Sequence[CalendarEntry], words: Words) -> AgendaDay:
    lines: list[tuple[str, tuple[str, ...]]] = []
    for entry in sorted(entries, key=_reading_order):
        unsure = entry.status == "TENTATIVE"
        name = words.say("agenda.not_firm", entry=entry.summary) if unsure else entry.summary
        first = entry.description.partition("\n\n")[0]  # the work of the span has lines of its own
        lines.append((name, tuple(first.splitlines()) if entry.timed else ()))
        if entry.rest:
            lines.append((entry.rest, ()))
    name = date_text(datetime.combine(day, time(12), UTC), words["reminder.date"], words.language)
    return AgendaDay(day, name, tuple(lines))


def _day_text(day: AgendaDay) -> str:
    lines = [day.name]
    for entry, told in day.entries:
        lines += [f"  {entry}", *(f"    {line}" for line in told)]
    return "\n".join(lines) + "\n"
