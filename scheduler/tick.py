"""One round of the background work: ask for the forecast, plan, reconcile, put notices, send.

An edge. ``tick`` may be run by a clock, by cron or by a test with any clock of
its own; every step may be repeated and then changes nothing. Two services on
one database do no harm to each other: one plans at a time, and a message is
claimed before it is sent.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from scheduler.delivery import Delivered, deliver, holder_name
from scheduler.health import HEARTBEAT, MORNINGS, PLANNED
from scheduler.reminders import queue_outbox as outbox
from scheduler.reminders.outgoing import composed, may_ring_now, pauses
from scheduler.reminders.queue import Changes, reconcile
from scheduler.reminders.walltime import last_due, morning_of, quiet_of
from scheduler.settings import YardFile, assumptions
from scheduler.views.words import words_in
from scheduler.yard.store import Store
from scheduler.yard.tables import entry, memo, reminder

if TYPE_CHECKING:
    from scheduler.reminders.channels import Clock
    from scheduler.reminders.wanted import Derived
    from scheduler.sources import Forecast
    from scheduler.views.today import Briefing

__all__ = ["Plan", "Planner", "Round", "plan_of", "tick"]

AGAIN = timedelta(minutes=15)  # the grid of the starts: nothing that is planned changes faster by itself
PLANNING = timedelta(minutes=5)  # how long one service may keep the others from planning
LOOKED_AT = timedelta(hours=6)  # after its time a morning counts as one on which nobody looked
ALIVE = timedelta(minutes=5)  # how often an outside address is told that we live
SET_BACK = timedelta(hours=1)  # a clock that goes back farther than this was set
MORNINGS_KEPT = 60  # days of which is known whether anybody looked
TOLD_BEFORE = timedelta(days=22)  # how far back it matters what was told
_LOG = logging.getLogger(__name__)


@dataclass(frozen=True, eq=False)
class Plan:
    """What a round wants: reminders, notices, and what it went by."""

    derived: Derived
    notices: Sequence[outbox.Notable] = ()
    away_until: datetime | None = None
    last_entry: int = 0
    forecast: Mapping[str, Any] = field(default_factory=dict)  # for the account: issued, fetched, why


Planner = Callable[[YardFile, datetime, Store], Plan]


@dataclass(frozen=True, slots=True)
class Round:
    """What one round did."""

    at: datetime
    planned: bool
    why_not: str | None = None  # why nothing was planned although it was time
    changes: Changes = field(default_factory=Changes)
    put: tuple[str, ...] = ()
    expired: int = 0
    delivered: Delivered = field(default_factory=Delivered)
    forecast: Mapping[str, Any] = field(default_factory=dict)


def tick(
    store: Store,
    yard: YardFile,
    clock: Clock,
    *,
    plan: Planner,
    holder: str | None = None,
    force: bool = False,
    **sending: Any,
) -> Round:
    """One round. ``force``: plan even though nothing has changed since the last time.

    Parameters
    ----------
    plan
        What is wanted (``plan_of``, or a test's own).
    sending
        Goes to ``delivery.deliver``.

    Raises
    ------
    StoreError
        When the database cannot be read or written; nothing is sent then.
    """
    with store.held():
        return _round(store, yard, clock, plan, holder or holder_name(), force, sending)


def _round(
    store: Store,
    yard: YardFile,
    clock: Clock,
    plan: Planner,
    me: str,
    force: bool,
    sending: Mapping[str, Any],
) -> Round:
    at, key = clock().astimezone(UTC), yard.yard.key
    beat = _recalled(store, key, PLANNED)
    back = _recalled(store, key, HEARTBEAT).get("at", at) - at
    if force or back > SET_BACK or _time_to_plan(yard, at, beat, _last_entry(store, key)):
        if store.take_lease(key, "planner", me, at, at + PLANNING):
            try:
                done = _planned(store, yard, at, plan, beat, back)
            finally:
                store.drop_lease(key, "planner", me)
        else:
            done = Round(at, False, "another service is planning just now")
    else:
        done = Round(at, False, expired=_breathe(store, key, at), forecast=beat.get("forecast", {}))
    making = {"calendar": _calendar_of(store, yard, clock)} | dict(sending)
    delivered = deliver(store, yard, clock, holder=me, **making)
    _tell_alive(store, yard, clock, sending)
    return Round(
        at, done.planned, done.why_not, done.changes, done.put, done.expired, delivered, done.forecast
    )


# ------------------------------------------------------------------ when to plan


def _recalled(store: Store, key: str, name: str) -> dict[str, Any]:
    """What the last round left: ``at`` as a time, the rest as it was written."""
    found = store.recall(key, name)
    left = dict(found[0]) if found is not None and isinstance(found[0], dict) else {}
    if "at" in left:
        left["at"] = datetime.fromisoformat(left["at"])
    return left


def _breathe(store: Store, key: str, at: datetime) -> int:
    """The heartbeat of a round without a plan; what has expired is said. One write."""
    with store.writing() as connection:
        store.remember_on(connection, key, HEARTBEAT, {"at": at.isoformat()}, at)
        return outbox.sweep(connection, key, at)


def _last_entry(store: Store, key: str) -> int:
    with store.reading() as connection:
        found = connection.execute(sa.select(sa.func.max(entry.c.number)).where(entry.c.yard == key)).scalar()
    return int(found or 0)


def _time_to_plan(yard: YardFile, at: datetime, beat: Mapping[str, Any], last_entry: int) -> bool:
    """After a change of register or settings, at the morning's time, and every quarter hour."""
    planned: datetime | None = beat.get("at")
    if planned is None or not planned <= at < planned + AGAIN:
        return True
    if beat.get("entry") != last_entry or beat.get("file") != _print_of(yard):
        return True
    return last_due(at, morning_of(yard.notice), yard.zone)[1] > planned


def _print_of(yard: YardFile) -> str:
    """What the settings were, so that a change is noticed."""
    return sha256(yard.model_dump_json().encode()).hexdigest()[:16]


# ------------------------------------------------------------------ planning


def _planned(
    store: Store, yard: YardFile, at: datetime, plan: Planner, beat: Mapping[str, Any], back: timedelta
) -> Round:
    """Plan, then reconcile and put in one transaction."""
    wanted = plan(yard, at, store)
    key = yard.yard.key
    put: list[str] = []
    expired = 0

    def also(connection: sa.Connection) -> None:
        nonlocal expired
        if back > SET_BACK:
            voided = outbox.void_ahead(connection, key, at)
            _LOG.warning("the clock was set back by %s; %d notices count as not put", back, voided)
        put[:] = _put(connection, yard, wanted, at)
        expired = outbox.sweep(connection, key, at)
        if beat.get("day") != at.date().isoformat():
            outbox.prune(connection, key, at)
        _remember(store, connection, yard, at, wanted)

    changes = reconcile(store, key, wanted.derived, at, also)
    for one in put:
        _LOG.info("%s: put", one)
    return Round(at, True, None, changes, tuple(put), expired, forecast=wanted.forecast)


def _put(connection: sa.Connection, yard: YardFile, wanted: Plan, at: datetime) -> list[str]:
    quiet = quiet_of(yard.notice, yard.zone)
    away = wanted.away_until is not None and wanted.away_until > at
    notices = [one for one in wanted.notices if not (away and pauses(one.kind))]
    numbers = _numbers(connection, yard.yard.key, notices)
    answer = words_in(yard.yard.language)["reminder.answer"]
    return outbox.put(
        connection,
        yard.yard.key,
        notices,
        [c.label for c in yard.channels if c.kind != "alive"],
        at,
        when=lambda one: quiet.free_from(max(one.due, at), danger=may_ring_now(one.kind)),
        text=lambda one: composed(one, numbers, _public(yard), answer=answer),
    )


def _numbers(
    connection: sa.Connection, key: str, notices: Sequence[outbox.Notable]
) -> dict[str, tuple[int, str]]:
    """Number and log of the reminders that ride in notices; a span asks for no answer."""
    r = reminder.c
    keys = {one_key for one in notices for one_key in one.reminder_keys}
    if not keys:
        return {}
    query = sa.select(r.key, r.id, r.tag).where(r.yard == key, r.key.in_(keys), r.kind != "span")
    return {row.key: (row.id, row.tag or "") for row in connection.execute(query)}


def _remember(store: Store, connection: sa.Connection, yard: YardFile, at: datetime, wanted: Plan) -> None:
    """The heartbeat, what was planned by, and on which mornings somebody looked."""
    key = yard.yard.key
    planned = {
        "at": at.isoformat(),
        "entry": wanted.last_entry,
        "file": _print_of(yard),
        "day": at.date().isoformat(),
        "forecast": dict(wanted.forecast),
    }
    store.remember_on(connection, key, PLANNED, planned, at)
    store.remember_on(connection, key, HEARTBEAT, {"at": at.isoformat()}, at)
    day, moment = last_due(at, morning_of(yard.notice), yard.zone)
    if at >= moment + LOOKED_AT:
        return
    found = connection.execute(
        sa.select(memo.c.value).where(memo.c.yard == key, memo.c.name == MORNINGS)
    ).scalar()
    mornings = dict(found or {})
    if day.isoformat() not in mornings:
        mornings[day.isoformat()] = at.isoformat()
        store.remember_on(connection, key, MORNINGS, dict(sorted(mornings.items())[-MORNINGS_KEPT:]), at)


def plan_of(forecast: Forecast | None = None) -> Planner:
    """The planner of a real yard; ``forecast``: go by this one instead of asking."""

    def plan(yard: YardFile, at: datetime, store: Store) -> Plan:
        from scheduler.service import brief, learn_all, picture, wanted_of
        from scheduler.sources import forecast_of
        from scheduler.yard.state import fold

        found = forecast if forecast is not None else forecast_of(yard, at)
        entries = store.entries(yard.yard.key)
        register = fold(entries, at, same_coat=timedelta(hours=assumptions()["same_coat"]))
        learn_all(yard, register, found, at)
        seen = picture(yard, register, found, at)
        derived = wanted_of(yard, seen, found, at)
        told = _notices(yard, store, brief(yard, at, found, register, seen), derived)
        last = entries[-1].number if entries else 0
        return Plan(derived, told, register.away_until, last, _account(found))

    return plan


def _notices(yard: YardFile, store: Store, briefing: Briefing, derived: Derived) -> Sequence[outbox.Notable]:
    """What there is to be said, after what was said before."""
    from scheduler.views.notice import notices
    from scheduler.views.wording import Wording

    at, key = briefing.morning.at, yard.yard.key
    return notices(
        briefing,
        Wording(yard.zone, yard.yard.units, at, yard.yard.language),
        yard.notice,
        items=derived.items,
        rows=store.reminders(key),
        told=outbox.told_notices(store, key, at - TOLD_BEFORE),
        linked=_public(yard) is not None,
    )


def _public(yard: YardFile) -> str | None:
    """The page's address as others reach it, where the keeper named one."""
    return yard.notice.public or yard.page.address


def _account(forecast: Forecast) -> dict[str, Any]:
    """What a round went by, for the heartbeat: when it was made and fetched, its age, and what is wrong."""
    known = forecast.weather.provenance if forecast.weather is not None else None

    def iso(when: datetime | None) -> str | None:
        return None if when is None else when.astimezone(UTC).isoformat()

    return {
        "issued": iso(known.issued) if known else None,
        "fetched": iso(known.fetched) if known else None,
        "age_h": forecast.age.hours,
        "why": forecast.why,
        "fallback": forecast.fallback,
    }


# ------------------------------------------------------------------ alive


def _tell_alive(store: Store, yard: YardFile, clock: Clock, sending: Mapping[str, Any]) -> None:
    """Call the outside addresses that ring when they are no longer called."""
    from scheduler.reminders.channels import alive_message, send

    at = clock().astimezone(UTC)
    for channel in yard.channels:
        if channel.kind != "alive":
            continue
        name = f"alive/{channel.label}"[:64]
        last = store.recall(yard.yard.key, name)
        if last is not None and timedelta(0) <= at - last[1] < ALIVE:
            continue
        sender = sending.get("sender", send)
        outcome = sender(channel, alive_message(at), yard_name=yard.yard.name, clock=clock)
        store.remember(yard.yard.key, name, {"state": outcome.state, "why": outcome.why}, at)
        if not outcome.ok:
            _LOG.warning("alive %s: %s", channel.label, outcome.why)


def _calendar_of(store: Store, yard: YardFile, clock: Clock) -> Callable[[], bytes] | None:
    """What makes the calendar file that goes with a mail; None where no channel wants it."""
    if not any(c.calendar for c in yard.channels):
        return None

    def made() -> bytes:
        from scheduler.views.calendar import calendar_bytes

        y = yard.yard
        kept = store.reminders(y.key)
        return calendar_bytes(kept, y.name, yard.zone, y.units, yard.feed, at=clock(), language=y.language)

    return made
