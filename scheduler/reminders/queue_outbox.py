"""The outbox: what is on its way to the person, one row for each notice and channel.

An edge. ``put`` writes inside the transaction that reconciles the reminders;
``step`` writes what became of the last row and claims the next one, in one
transaction. A row is claimed by one holder until its lease runs out; who dies
in between has sent the message or not, and after the lease it is sent again
under the same key. The times come in as ``now``; a lease that runs longer than
any lease can was taken under a clock that has been set back, and is void.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from typing import Any, Literal, Protocol

import sqlalchemy as sa

from scheduler.reminders.outgoing import ToldNotice
from scheduler.yard import tables as t
from scheduler.yard.store import Store

__all__ = [
    "LONGEST_LEASE",
    "MORE_THAN_TIRED",
    "Ended",
    "Notable",
    "Row",
    "next_moment",
    "prune",
    "put",
    "rows",
    "step",
    "sweep",
    "told_notices",
    "void_ahead",
    "wait_after",
]

LONGEST_LEASE = timedelta(minutes=20)
FIRST_WAIT = timedelta(minutes=1)
LONGEST_WAIT = timedelta(hours=1)
MORE_THAN_TIRED = 60  # attempts after which a row is given up: what kills its sender cannot go on for ever
KEPT = timedelta(days=120)  # how long what has ended is kept
FAR_AHEAD = timedelta(hours=6)  # a notice put so long before its time was put under a wrong clock


class Notable(Protocol):
    """What is put: a notice of ``views.notice``."""

    @property
    def kind(self) -> str: ...  # noqa: D102
    @property
    def key(self) -> str: ...  # noqa: D102 - the same notice has the same key
    @property
    def action(self) -> str: ...  # noqa: D102 - what the person would do; another one makes it news
    @property
    def subject(self) -> str: ...  # noqa: D102
    @property
    def lines(self) -> Sequence[str]: ...  # noqa: D102
    @property
    def due(self) -> datetime: ...  # noqa: D102
    @property
    def expires(self) -> datetime: ...  # noqa: D102
    @property
    def alone(self) -> bool: ...  # noqa: D102 - it rings by itself
    @property
    def reminder_keys(self) -> Sequence[str]: ...  # noqa: D102 - reminders that ride in it


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the outbox."""

    id: int
    key: str
    notice: str
    number: int
    channel: str
    kind: str
    urgent: bool
    subject: str
    text: str
    state: str
    made_at: datetime
    not_before: datetime
    expires_at: datetime
    attempts: int
    holder: str | None
    lease_until: datetime | None
    last_error: str | None
    ended_at: datetime | None


@dataclass(frozen=True, slots=True)
class Ended:
    """What became of one try."""

    row: Row
    state: Literal["sent", "due", "failed"]
    at: datetime
    why: str = ""
    not_before: datetime | None = None  # of one that is still due


_FIELDS = tuple(f.name for f in fields(Row))
_O, _N = t.outbox.c, t.notice.c


# ------------------------------------------------------------------ putting


def put(
    connection: sa.Connection,
    yard: str,
    notices: Iterable[Notable],
    channels: Sequence[str],
    now: datetime,
    *,
    when: Callable[[Notable], datetime],
    text: Callable[[Notable], str],
) -> list[str]:
    """Put the notices that are due and new, or call for another action than when they were put.

    What of an older number is still on its way is replaced. ``when``: the
    moment from which a notice may leave (quiet hours).

    Returns
    -------
    The keys of the notices that were put.
    """
    done = []
    for one in notices:
        if not one.due <= now < one.expires:
            continue
        mine = (_N.yard == yard, _N.key == one.key)
        known = connection.execute(sa.select(_N.action, _N.number).where(*mine).with_for_update()).first()
        if known is not None and known.action == one.action:
            continue
        number = 1 if known is None else known.number + 1
        values = _notice_values(one, number, text(one), now)
        if known is None:
            connection.execute(sa.insert(t.notice).values(yard=yard, key=one.key, **values))
        else:
            connection.execute(sa.update(t.notice).where(*mine).values(**values))
            older = (_O.yard == yard, _O.notice == one.key, _O.state == "due")
            gone = {"state": "replaced", "ended_at": now, "last_error": "Replaced by a newer notice."}
            connection.execute(sa.update(t.outbox).where(*older).values(**gone))
        new = [_outbox_values(yard, one, number, name, text(one), now, when(one)) for name in channels]
        if new:
            connection.execute(sa.insert(t.outbox), new)
        done.append(one.key)
    return done


def _notice_values(one: Notable, number: int, text: str, now: datetime) -> dict[str, Any]:
    return {
        "kind": one.kind,
        "action": one.action,
        "number": number,
        "subject": one.subject,
        "text": text,
        "reminders": list(one.reminder_keys),
        "due_at": one.due,
        "expires_at": one.expires,
        "put_at": now,
    }


def _outbox_values(
    yard: str, one: Notable, number: int, channel: str, text: str, now: datetime, free: datetime
) -> dict[str, Any]:
    return {
        "yard": yard,
        "key": f"{one.key}/{channel}/{number}",
        "notice": one.key,
        "number": number,
        "channel": channel,
        "kind": one.kind,
        "urgent": one.alone,
        "subject": one.subject,
        "text": text,
        "state": "due",
        "made_at": now,
        "not_before": max(one.due, free),
        "expires_at": one.expires,
        "attempts": 0,
    }


# ------------------------------------------------------------------ sending


def step(
    store: Store,
    yard: str,
    holder: str,
    now: datetime,
    leases: Mapping[str, timedelta],
    ended: Ended | None = None,
) -> Row | None:
    """Write what became of the last row, and claim the next that may leave through one of the channels.

    ``leases``: for each channel that may be used, how long a try can take.
    None: nothing may leave now.
    """
    if ended is None and not _any_ready(store, yard, now, leases):
        return None
    with store.writing() as connection:
        if ended is not None:
            _end(connection, yard, holder, ended)
        ready = sa.select(t.outbox).where(*_ready(yard, now, leases)).order_by(_O.not_before, _O.id).limit(1)
        # SQLite has the whole database to itself here and leaves the lock out.
        found = connection.execute(ready.with_for_update(skip_locked=True)).mappings().first()
        if found is None:
            return None
        row = _row(found)
        if row.attempts >= MORE_THAN_TIRED:
            why = row.last_error or "Every try broke off before it was done."
            gone = {"state": "failed", "ended_at": now, "last_error": f"Given up. {why}"}
            connection.execute(sa.update(t.outbox).where(_O.id == row.id).values(**gone))
            return row
        until = now + min(leases[row.channel], LONGEST_LEASE)
        taken = {"holder": holder, "lease_until": until, "attempts": row.attempts + 1}
        connection.execute(sa.update(t.outbox).where(_O.id == row.id).values(**taken))
        return row


def _any_ready(store: Store, yard: str, now: datetime, leases: Collection[str]) -> bool:
    with store.reading() as connection:
        return (
            connection.execute(sa.select(_O.id).where(*_ready(yard, now, leases)).limit(1)).first()
            is not None
        )


def _ready(yard: str, now: datetime, channels: Collection[str]) -> tuple[sa.ColumnElement[bool], ...]:
    free = sa.or_(_O.lease_until.is_(None), _O.lease_until <= now, _O.lease_until > now + LONGEST_LEASE)
    mine = (_O.yard == yard, _O.state == "due", _O.channel.in_(list(channels)))
    return (*mine, _O.not_before <= now, _O.expires_at > now, free)


def _end(connection: sa.Connection, yard: str, holder: str, ended: Ended) -> None:
    """Write what became of a try, unless somebody else has taken the row since."""
    row = ended.row
    values: dict[str, Any] = {"state": ended.state, "lease_until": None, "holder": None}
    values["last_error"] = None if ended.state == "sent" else ended.why
    if ended.state == "due":
        values["not_before"] = ended.not_before
    else:
        values["ended_at"] = ended.at
    mine = (_O.id == row.id, _O.holder == holder, _O.state == "due")
    if connection.execute(sa.update(t.outbox).where(*mine).values(**values)).rowcount != 1:
        return
    if ended.state == "sent":
        _reminders_sent(connection, yard, row)


def _reminders_sent(connection: sa.Connection, yard: str, row: Row) -> None:
    """The reminders that rode in a notice have been told; no news for the calendar, so changed_at stays."""
    mine = (_N.yard == yard, _N.key == row.notice)
    keys = connection.execute(sa.select(_N.reminders).where(*mine)).scalar() or []
    r = t.reminder.c
    if keys:
        told = (r.yard == yard, r.key.in_(list(keys)), r.state == "planned")
        connection.execute(sa.update(t.reminder).where(*told).values(state="sent"))


def wait_after(attempts: int, draw: float) -> timedelta:
    """How long to wait after so many tries: from a minute to an hour, spread by ``draw`` (0 to 1)."""
    wait = min(FIRST_WAIT * 2.0 ** min(attempts - 1, 12), LONGEST_WAIT)
    return wait * (0.75 + 0.5 * draw)


# ------------------------------------------------------------------ looking after it


def sweep(connection: sa.Connection, yard: str, now: datetime) -> int:
    """Let what is of no more use expire, and say so in its row. How many."""
    over = (_O.yard == yard, _O.state == "due", _O.expires_at <= now)
    free = sa.or_(_O.lease_until.is_(None), _O.lease_until <= now)
    never = "It could not leave before it was of no more use: nobody was awake to send it."
    said = sa.func.coalesce(_O.last_error, never)
    gone = {"state": "expired", "ended_at": now, "last_error": said}
    return int(connection.execute(sa.update(t.outbox).where(*over, free).values(**gone)).rowcount)


def void_ahead(connection: sa.Connection, yard: str, now: datetime) -> int:
    """After the clock was set back: what was put far before its time counts as not put. How many."""
    ahead = (_N.yard == yard, _N.due_at > now + FAR_AHEAD, _N.put_at > now)
    return int(connection.execute(sa.update(t.notice).where(*ahead).values(action="")).rowcount)


def prune(connection: sa.Connection, yard: str, now: datetime) -> None:
    """Forget what ended long ago, so that the database does not grow for ever."""
    old = now - KEPT
    connection.execute(sa.delete(t.outbox).where(_O.yard == yard, _O.state != "due", _O.made_at < old))
    connection.execute(sa.delete(t.notice).where(_N.yard == yard, _N.put_at < old, _N.expires_at < now))


def rows(
    store: Store,
    yard: str,
    *,
    states: Collection[str] | None = None,
    since: datetime | None = None,
    most: int | None = None,
) -> tuple[Row, ...]:
    """Rows of the outbox, newest first; only those of some states, or made since a time."""
    query = sa.select(t.outbox).where(_O.yard == yard)
    if states is not None:
        query = query.where(_O.state.in_(list(states)))
    if since is not None:
        query = query.where(_O.made_at >= since)
    query = query.order_by(_O.made_at.desc(), _O.id.desc())
    with store.reading() as connection:
        found = connection.execute(query if most is None else query.limit(most)).mappings().all()
    return tuple(_row(one) for one in found)


def told_notices(store: Store, yard: str, since: datetime) -> tuple[ToldNotice, ...]:
    """The notices put since a time, oldest first; without those taken back by ``void_ahead``."""
    gone = sa.exists().where(_O.yard == _N.yard, _O.notice == _N.key, _O.state == "sent")
    query = (
        sa.select(_N.key, _N.kind, _N.action, _N.number, _N.put_at, _N.reminders, gone.label("sent"))
        .where(_N.yard == yard, _N.put_at >= since, _N.action != "")
        .order_by(_N.put_at, _N.key)
    )
    with store.reading() as connection:
        found = connection.execute(query).all()
    return tuple(
        ToldNotice(r.key, r.kind, r.action, r.number, r.put_at, bool(r.sent), tuple(r.reminders or ()))
        for r in found
    )


def next_moment(store: Store, yard: str) -> datetime | None:
    """When the next row may leave; None where nothing waits."""
    query = sa.select(sa.func.min(_O.not_before)).where(_O.yard == yard, _O.state == "due")
    with store.reading() as connection:
        found: datetime | None = connection.execute(query).scalar()
    return found


def _row(found: sa.RowMapping) -> Row:
    return Row(**{name: found[name] for name in _FIELDS})
