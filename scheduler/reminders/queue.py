"""The queue of reminders: what is wanted is reconciled with what is kept, and people answer.

An edge. Every change reads, decides and writes in one transaction of the store,
so that two processes at once lose nothing and double nothing.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Literal

from scheduler.reminders.codes import number_of
from scheduler.reminders.settle import OPEN, Changes, settle, span_end
from scheduler.reminders.wanted import Derived
from scheduler.yard.reminder_row import ReminderRow
from scheduler.yard.store import Store

if TYPE_CHECKING:
    import sqlalchemy as sa

__all__ = ["Answer", "Changes", "QueueError", "due", "is_due", "mark", "reconcile", "rows"]

Answer = Literal["done", "later", "drop"]
STATES = {"done": "done", "drop": "dropped", "later": "planned"}
WAIT = timedelta(days=1)  # "later" without a time


class QueueError(ValueError):
    """An answer to a reminder that cannot be taken; the text says why and what is near."""


def reconcile(
    store: Store,
    yard: str,
    wanted: Derived,
    at: datetime,
    also: Callable[[sa.Connection], None] | None = None,
) -> Changes:
    """Make the kept reminders of a yard the wanted ones; the second time changes nothing.

    ``also`` writes in the same transaction, such as notices into the outbox.
    """
    at = at.astimezone(UTC)
    changes = Changes()

    def make(known: tuple[ReminderRow, ...]) -> tuple[ReminderRow, ...]:
        nonlocal changes
        written, changes = settle(known, wanted, at)
        return written

    store.change_reminders(yard, make, also)
    return changes


def rows(store: Store, yard: str, *, states: Sequence[str] | None = None) -> tuple[ReminderRow, ...]:
    """All kept reminders of a yard, earliest first; only those in ``states`` where named."""
    return store.reminders(yard, states=states)


def is_due(row: ReminderRow, at: datetime) -> bool:
    """Whether a reminder wants something of somebody at ``at``."""
    if row.kind == "season":
        return False  # it is said, nobody has to do anything
    if row.state not in OPEN or row.due_at > at or (row.later_until is not None and row.later_until > at):
        return False
    return row.kind != "span" or span_end(row) > at


def due(all_rows: Iterable[ReminderRow], at: datetime) -> tuple[ReminderRow, ...]:
    """Those that are due."""
    return tuple(row for row in all_rows if is_due(row, at))


def mark(
    store: Store,
    yard: str,
    number: int | str,
    answer: Answer,
    at: datetime,
    until: datetime | None = None,
    *,
    said: Callable[[ReminderRow], str] = lambda row: row.text or row.key,
) -> ReminderRow:
    """Take a person's answer to a reminder; the same answer twice changes nothing.

    Parameters
    ----------
    number
        The reminder's id, as the list shows it, or its code, as a notice gives it.
    answer
        ``done`` and ``drop`` end it for good; ``later`` lets it rest until ``until`` (default: a day).
    said
        How an error names a reminder.

    Returns
    -------
    The reminder as it stands now.

    Raises
    ------
    QueueError
        When there is no such reminder (the nearest is named), or the answer does not fit it.
    """
    at = at.astimezone(UTC)
    answered: list[ReminderRow] = []

    def make(known: tuple[ReminderRow, ...]) -> tuple[ReminderRow, ...]:
        row = _find(known, number, said)
        new = _answered(row, answer, at, until, said)
        answered[:] = [new]
        return () if new == row else (new,)

    store.change_reminders(yard, make)
    return answered[0]


def _answered(
    row: ReminderRow, answer: Answer, at: datetime, until: datetime | None, said: Callable[[ReminderRow], str]
) -> ReminderRow:
    if answer not in STATES:
        raise QueueError(f"'{answer}' is no answer to a reminder; there are {', '.join(STATES)}.")
    if row.state == STATES[answer] and answer != "later":
        return row
    if row.state not in OPEN and not (answer == "done" and row.state == "dropped"):
        word = "called off" if row.state == "cancelled" else row.state
        raise QueueError(f"Reminder {row.id} is {word} already: {said(row)}")
    new = replace(row, state=STATES[answer], changed_at=at, sequence=row.sequence + 1)
    if answer != "later":
        return replace(new, payload=dict(row.payload) | {"closed": "keeper"})
    if row.kind == "span":
        raise QueueError(f"Reminder {row.id} is weather, it cannot wait; drop it instead: {said(row)}")
    wait = (until or at + WAIT).astimezone(UTC)
    if wait <= at:
        raise QueueError("'later' needs a time that is still to come, such as tomorrow.")
    return row if row.later_until == wait else replace(new, later_until=wait)


def _find(known: Sequence[ReminderRow], number: int | str, said: Callable[[ReminderRow], str]) -> ReminderRow:
    """The reminder of that number or code, or an error that names the nearest."""
    text = str(number).strip().lstrip("#")
    coded = number_of(text)
    if coded is None and text[:-1].isdecimal() and text[-1:].isalpha():
        raise QueueError(
            f"'{text}' is no code of a reminder: its letter does not fit its number. Type it again, "
            "or take the number from the list: coatcast reminders"
        )
    text = text if coded is None else str(coded)
    if text.isdecimal() and len(text) < 19:
        found = next((row for row in known if row.id == int(text)), None)
        if found is not None:
            return found
    if not known:
        raise QueueError(f"There is no reminder {text}: the list is empty.")
    near = _nearest(known, text)
    if not near:
        raise QueueError(f"'{text}' is no number of a reminder. The list: coatcast reminders")
    shown = "; ".join(f"{row.id}: {said(row)}" for row in near)
    raise QueueError(f"There is no reminder {text}. Near: {shown}")


def _nearest(known: Sequence[ReminderRow], text: str) -> list[ReminderRow]:
    """Open ones first: those of that tag, else the one whose number is nearest."""
    open_ = [row for row in known if row.state in OPEN] or list(known)
    of_tag = [row for row in open_ if row.tag is not None and row.tag.casefold() == text.casefold()]
    if of_tag:
        return of_tag[:3]
    if text.isdecimal():
        wanted = int(text)
        return [min(open_, key=lambda row: abs((row.id or 0) - wanted))]
    tags = {str(row.tag).casefold(): row for row in reversed(open_) if row.tag}
    close = difflib.get_close_matches(text.casefold(), tags, 1)
    return [tags[close[0]]] if close else []
