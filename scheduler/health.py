"""Whether the service lives and its messages arrive: for ``verify``, the page and whoever watches.

An edge: reads the store. Silence must never look like "nothing to do".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from scheduler.delivery import resolved
from scheduler.reminders import queue_outbox as outbox
from scheduler.reminders.channels import check
from scheduler.reminders.walltime import due_at, morning_of
from scheduler.settings import YardFile
from scheduler.views.wording import Wording
from scheduler.yard.store import Store

__all__ = [
    "HEARTBEAT",
    "MORNINGS",
    "PLANNED",
    "Found",
    "channel_checks",
    "health",
    "notice_check",
    "notice_lines",
]

HEARTBEAT, PLANNED, MORNINGS = "tick", "planned", "mornings"  # memos of the service
SILENT = timedelta(minutes=10)  # after so long without a round the service is taken to be down
DAYS = 7  # mornings that are told of
SHOWN = 3  # messages given up that are told one by one


@dataclass(frozen=True, slots=True)
class Found:
    """One thing that was looked at: whether it is well, and what was found."""

    name: str
    ok: bool
    said: str


def channel_checks(yard: YardFile, *, reach: bool = True) -> list[Found]:
    """Every channel: settings, secret, and with ``reach`` whether its server takes a connection."""
    out = []
    for channel in yard.channels:
        found = check(resolved(channel, yard), reach=reach)
        out.append(Found(f"channel {channel.label}", found.ok, found.said))
    return out


def notice_check(store: Store, yard: YardFile, at: datetime) -> Found:
    """When the last notice left, on which mornings nobody looked, and what was given up. In English."""
    lines, ok = notice_lines(store, yard, Wording(yard.zone, yard.yard.units, at))
    return Found("notices", ok, "; ".join(lines))


def notice_lines(store: Store, yard: YardFile, w: Wording) -> tuple[list[str], bool]:
    """The same as parts of a sentence in the words of a person, and whether all is well at ``w.at``."""
    key, at, say = yard.yard.key, w.at, w.words.say
    beat = _time(store, key, HEARTBEAT)
    if beat is None:
        return [say("reminder.sent.none_yet")], True
    week = outbox.rows(store, key, since=at - timedelta(days=DAYS))
    last = next(iter(outbox.rows(store, key, states=["sent"], most=1)), None)
    left = None if last is None else w.dated(last.ended_at or last.made_at)
    said = [say("reminder.sent.none_left" if left is None else "reminder.sent.last_left", when=left)]
    gone = mornings_unseen(store, yard, at)
    if gone:
        days = ", ".join(w.weekday_number(day) for day in gone)
        said.append(say("reminder.sent.asleep", count=len(gone), of=DAYS, days=days))
    said += _troubles(week, w)
    if at - beat > SILENT:
        said.append(say("reminder.sent.no_round", when=w.dated(beat)))
    bad = bool(gone) or at - beat > SILENT or any(row.state in ("failed", "expired") for row in week)
    return said, not bad


def _troubles(week: tuple[outbox.Row, ...], w: Wording) -> list[str]:
    say, said = w.words.say, []
    failed = [row for row in week if row.state == "failed"]
    for row in failed[:SHOWN]:
        told = {"when": w.dated(row.ended_at or row.made_at), "subject": row.subject}
        said.append(say("reminder.sent.given_up", channel=row.channel, error=row.last_error, **told))
    if len(failed) > SHOWN:
        said.append(say("reminder.sent.given_up_more", count=len(failed) - SHOWN))
    expired = [row for row in week if row.state == "expired"]
    if expired:
        newest = expired[0]
        told = {"channel": newest.channel, "error": str(newest.last_error)}
        said.append(say("reminder.sent.expired", count=len(expired), **told))
    for row in [row for row in week if row.state == "due" and row.attempts][:SHOWN]:
        when = w.dated(row.not_before)
        said.append(say("reminder.sent.waits", channel=row.channel, when=when, error=row.last_error))
    return said


def mornings_unseen(store: Store, yard: YardFile, at: datetime) -> list[datetime]:
    """Mornings of the last week on which no round ran within hours of the notice's time, oldest first."""
    found = store.recall(yard.yard.key, MORNINGS)
    seen = {} if found is None else dict(found[0])
    if not seen:
        return []
    first = min(seen)
    today = at.astimezone(yard.zone).date()
    days = [today - timedelta(days=n) for n in range(DAYS, -1, -1)]
    wall = morning_of(yard.notice)
    moments = [due_at(day, wall, yard.zone) for day in days]
    past = [(day, m) for day, m in zip(days, moments, strict=True) if m <= at - timedelta(minutes=5)]
    return [
        m.astimezone(yard.zone)
        for day, m in past[-DAYS:]
        if day.isoformat() not in seen and day.isoformat() >= first
    ]


def health(store: Store, yard: YardFile, at: datetime) -> dict[str, Any]:
    """For a machine that watches: ``ok``, when the last round was, what waits, what was given up."""
    key = yard.yard.key
    beat = _time(store, key, HEARTBEAT)
    planned = store.recall(key, PLANNED)
    forecast: Mapping[str, Any] = {} if planned is None else dict(planned[0]).get("forecast", {})
    week = outbox.rows(store, key, since=at - timedelta(days=DAYS))
    return {
        "ok": beat is not None and at - beat <= SILENT,
        "last_round": None if beat is None else beat.isoformat(),
        "forecast": dict(forecast),
        "waiting": sum(row.state == "due" for row in week),
        "given_up": sum(row.state in ("failed", "expired") for row in week),
    }


def _time(store: Store, key: str, name: str) -> datetime | None:
    found = store.recall(key, name)
    return None if found is None else datetime.fromisoformat(found[0]["at"])
