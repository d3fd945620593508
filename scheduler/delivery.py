"""Sending what is in the outbox: claim a row, send it, write what became of it, one after the other.

An edge. The clock is passed in; only how far apart tries are spread is left to chance.
"""

from __future__ import annotations

import logging
import random
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Protocol

from scheduler.reminders import queue_outbox as outbox
from scheduler.reminders.channels import (
    Attachment,
    Clock,
    Message,
    Outcome,
    carries_notices,
    longest,
    send,
)
from scheduler.settings import Channel, YardFile
from scheduler.yard.store import Store

__all__ = ["Delivered", "Told", "carriers", "deliver", "holder_name", "message_of", "resolved"]

SPARE = timedelta(seconds=30)  # beyond the longest try, before another may take the row
MOST = 10_000  # rows in one round
_LOG = logging.getLogger(__name__)


class _Send(Protocol):
    def __call__(self, target: Channel, message: Message, *, yard_name: str, clock: Clock) -> Outcome: ...


@dataclass(frozen=True, slots=True)
class Told:
    """One message of a round: through which channel, what it said, and what became of it."""

    key: str
    kind: str
    channel: str
    subject: str
    why: str
    again_at: datetime | None = None


@dataclass(slots=True)
class Delivered:
    """What one round sent."""

    sent: list[Told] = field(default_factory=list)
    waiting: list[Told] = field(default_factory=list)  # tried, and tried again later
    failed: list[Told] = field(default_factory=list)  # given up


def holder_name() -> str:
    """A name for this process that no other has."""
    return uuid.uuid4().hex


def resolved(channel: Channel, yard: YardFile) -> Channel:
    """A channel whose files are looked for beside the yard file, wherever the program was started."""
    folder = (yard.path or Path("yard.toml")).resolve().parent
    names = {name: getattr(channel, name) for name in ("path", "secret_file", "ca_file")}
    return channel.model_copy(
        update={name: str(folder / Path(text).expanduser()) for name, text in names.items() if text}
    )


def carriers(yard: YardFile) -> dict[str, Channel]:
    """The channels that notices go through, by what they are called."""
    return {c.label: resolved(c, yard) for c in yard.channels if carries_notices(c)}


def deliver(
    store: Store,
    yard: YardFile,
    clock: Clock,
    *,
    holder: str | None = None,
    calendar: Callable[[], bytes] | None = None,
    draw: Callable[[], float] = random.random,
    sender: _Send = send,
    only: Sequence[str] | None = None,
) -> Delivered:
    """Send everything that may leave now; a channel that has trouble rests till the next round.

    Parameters
    ----------
    clock
        Gives the time (aware). Read anew for every row.
    calendar
        Makes the calendar file for channels that want it with every notice.
    only
        Names of channels; default all that the yard file names.
    """
    me = holder or holder_name()
    channels = {n: c for n, c in carriers(yard).items() if only is None or n in only}
    leases = {name: timedelta(seconds=longest(c)) + SPARE for name, c in channels.items()}
    done, ended = Delivered(), None
    for _ in range(MOST):
        row = outbox.step(store, yard.yard.key, me, clock().astimezone(UTC), leases, ended)
        ended = None
        if row is None:
            break
        if row.attempts >= outbox.MORE_THAN_TIRED:
            done.failed.append(_told(row, "given up after too many tries"))
            continue
        target = channels[row.channel]
        outcome = sender(
            target, message_of(row, yard, target, calendar), yard_name=yard.yard.name, clock=clock
        )
        ended = _verdict(row, outcome, clock().astimezone(UTC), draw())
        _note(done, row, outcome, ended)
        if outcome.state == "later":
            leases.pop(row.channel)
    if ended is not None:
        outbox.step(store, yard.yard.key, me, clock().astimezone(UTC), leases, ended)
    return done


def message_of(
    row: outbox.Row, yard: YardFile, target: Channel, calendar: Callable[[], bytes] | None = None
) -> Message:
    """A row as a message; the same row gives the same message."""
    attachment = None
    if target.calendar and calendar is not None:
        attachment = Attachment("coatcast.ics", calendar())
    return Message(
        key=f"{yard.yard.key}/{row.key}",
        subject=row.subject,
        text=row.text,
        at=row.made_at.astimezone(yard.zone),
        kind=row.kind,
        urgent=row.urgent,
        attachment=attachment,
    )


def _verdict(row: outbox.Row, outcome: Outcome, now: datetime, draw: float) -> outbox.Ended:
    """What to write into the row: sent, given up, or when to try again."""
    if outcome.state == "sent":
        return outbox.Ended(row, "sent", now, outcome.why)
    if outcome.state == "never":
        return outbox.Ended(row, "failed", now, outcome.why)
    again = now + outbox.wait_after(row.attempts + 1, draw)
    if outcome.retry_at is not None:  # what the receiver asked for, spread a little
        again = max(again, outcome.retry_at + timedelta(seconds=30 * draw))
    return outbox.Ended(row, "due", now, outcome.why, again)


def _told(row: outbox.Row, why: str, again_at: datetime | None = None) -> Told:
    return Told(row.key, row.kind, row.channel, row.subject, why, again_at)


def _note(done: Delivered, row: outbox.Row, outcome: Outcome, ended: outbox.Ended) -> None:
    """Keep for the round's account, and for the log."""
    lists: Mapping[str, list[Told]] = {"sent": done.sent, "later": done.waiting, "never": done.failed}
    lists[outcome.state].append(_told(row, outcome.why, ended.not_before))
    if outcome.ok:
        _LOG.info("%s: sent (%s)", row.key, outcome.why)
    else:
        _LOG.warning("%s: %s, %s", row.key, outcome.state, outcome.why)
