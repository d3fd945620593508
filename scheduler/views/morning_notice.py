"""The morning's notice, where there is something to say. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from scheduler.views.today import MOST_LINES, Briefing, headline, lines
from scheduler.views.wording import Wording

__all__ = ["Notice", "morning_notice"]

OF_USE = timedelta(hours=5)  # how long a morning's word is of use where no span begins before


@dataclass(frozen=True, slots=True)
class Notice:
    """What is put to a person. ``alone``: it rings by itself; else reminders ride in it."""

    kind: str
    key: str
    action: str
    subject: str
    lines: Sequence[str]
    due: datetime
    expires: datetime
    alone: bool = False
    reminder_keys: Sequence[str] = ()


def morning_notice(
    b: Briefing, w: Wording, due: datetime, reminder_keys: Sequence[str], *, daily: bool
) -> list[Notice]:
    """The notice of a morning whose time was ``due``; none where nothing is due, possible or daily wanted."""
    m = b.morning
    possible = m.verdict in ("seal", "touch_and_go", "prepare")
    if not (daily or m.due or m.later or m.wet or possible):
        return []
    span = m.work.span if m.verdict in ("seal", "touch_and_go") else None
    # Put anew only when the word or its hours change, and only before the brush begins.
    hours = "" if span is None else f" {w.brush(span)}"
    until = due + OF_USE
    if span is not None and due < span.start < until:
        until = span.start
    first = headline(b, w)
    said = [line for line in lines(b, w) if line and line != first]
    body = [first, *said[: MOST_LINES - 1]]
    action = f"{m.verdict}{hours}"
    day = w.day_of(due).isoformat()
    return [Notice("morning", f"morning/{day}", action, first, body, due, until, False, tuple(reminder_keys))]
