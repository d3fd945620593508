"""From what is wanted and what is kept to what must be written. Pure.

``queue.reconcile`` reads, calls ``settle`` and writes in one transaction. Given
twice the same, the second time changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from scheduler.reminders.wanted import Derived, Wanted, action_of
from scheduler.yard.facts import Log, Register
from scheduler.yard.reminder_row import ReminderRow

__all__ = ["OPEN", "Changes", "settle", "span_end"]

OPEN = ("planned", "sent")
NEAR = timedelta(hours=24)  # a span that moved no farther than this is the same span
STEP = timedelta(minutes=15)  # grid of the starts; the least length of a span
QUIET = frozenset({"order"})  # changes of these are kept, but are nothing that anybody must be told
# What somebody would act on: a change raises the sequence. Anything else is wording.
MATTERS = ("action", "day", "called_off", "brush_end", "tentative", "unsure", "place", "two")
TOLD = ("brush_start", "brush_end", "sure", "day", "in_ten", "milestones")


@dataclass(frozen=True, slots=True)
class Changes:
    """Keys of the reminders, by what became of them."""

    added: tuple[str, ...] = ()
    moved: tuple[str, ...] = ()  # time, status or meaning changed: sequence + 1
    cancelled: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()  # nothing to be told
    finished: tuple[str, ...] = ()  # done by what was entered, or over
    reworded: tuple[str, ...] = ()

    @property
    def any(self) -> bool:
        """Whether anything changed that a reader of the list or the calendar sees."""
        return bool(self.added or self.moved or self.cancelled or self.finished or self.reworded)


def settle(
    known: Sequence[ReminderRow], derived: Derived, at: datetime
) -> tuple[tuple[ReminderRow, ...], Changes]:
    """What must be written so that the kept reminders are the wanted ones.

    Done and dropped reminders stay as they are, unless only an entry had made
    them done and the entry was taken back. What is no longer wanted is done
    where the register says so, else cancelled; its row stays.
    """
    tally = _Tally(at)
    tally.jobs([r for r in known if r.kind != "span"], derived)
    tally.spans([r for r in known if r.kind == "span"], derived)
    return tuple(tally.rows), tally.changes()


def span_end(row: ReminderRow) -> datetime:
    """The last time at which the brush may touch wood."""
    return _time(row, "end")


def _time(of: ReminderRow | Wanted, name: str) -> datetime:
    return datetime.fromisoformat(of.payload[name])


class _Tally:
    """Rows to write, and what to say of them."""

    def __init__(self, at: datetime) -> None:
        self.at = at
        self.rows: list[ReminderRow] = []
        self.said: dict[str, list[str]] = {}

    def changes(self) -> Changes:
        return Changes(**{word: tuple(sorted(keys)) for word, keys in self.said.items()})

    def note(self, word: str, key: str, row: ReminderRow | None = None) -> None:
        self.said.setdefault(word, []).append(key)
        if row is not None:
            self.rows.append(row)

    # -- jobs

    def jobs(self, known: Sequence[ReminderRow], derived: Derived) -> None:
        wanted = {w.key: w for w in derived.items if w.kind != "span"}
        rows = {row.key: row for row in known}
        renamed = _renamed(known, wanted, derived.register)
        for key, want in wanted.items():
            row = rows.get(key) or renamed.get(key)
            if row is None:
                self.note("added", key, _new(want, self.at))
            else:
                self.match(row, self.with_day(row, want, derived))
        matched = wanted.keys() | {row.key for row in renamed.values()}
        for row in known:
            if row.key in matched or row.state not in OPEN or row.kind in derived.unknown:
                continue
            if row.kind == "season" and _day_is_over(row, derived):
                self.over(row)
            else:
                self.withdraw(row, derived.register)

    def over(self, row: ReminderRow) -> None:
        """Over, not called off. The calendar shows it as it stood, so ``changed_at`` stays."""
        payload = dict(row.payload) | {"closed": "past"}
        self.note("finished", row.key, replace(row, state="done", payload=payload))

    def with_day(self, row: ReminderRow, want: Wanted, derived: Derived) -> Wanted:
        """The day a job stands on: put once to the person, a look or the saw waits in the list after it."""
        payload = dict(want.payload)
        was = row.payload.get("day")
        today = derived.today.isoformat() if derived.today else None
        unknown = derived.known_until is not None and derived.known_until <= self.at
        if want.kind in ("look", "saw", "saw_by"):
            put = was is not None and (today is None or was <= today)
            if put and want.due == row.due_at and row.state != "cancelled":
                payload["day"] = was
        elif payload.get("day") is None and unknown:
            payload["day"] = was
            payload["called_off"] = row.payload.get("called_off")
        elif payload.get("day") is None:
            # No span in sight any more: a day to come is called off, the job stays in the list.
            past = was is not None and today is not None and was < today
            payload["called_off"] = row.payload.get("called_off") if was is None else None if past else was
        return replace(want, payload=payload)

    def match(self, row: ReminderRow, want: Wanted) -> None:
        """One kept row against what is wanted of it."""
        closed = row.payload.get("closed")
        if row.state in ("done", "dropped") and closed not in ("entries", "past"):
            self.note("kept", row.key)
            return
        kept = row
        if closed == "past":  # the clock was set back: it was never anybody's answer
            payload = {name: value for name, value in row.payload.items() if name != "closed"}
            row = replace(row, state="planned", payload=payload)
        new = replace(row, tag=want.tag or None, due_at=want.due, text="", payload=_tidy(want.payload))
        if row.state not in OPEN or _matters(row) != _matters(new):
            new = replace(new, state="planned", sequence=row.sequence + 1, changed_at=self.at)
            self.note("moved", row.key, new)
        elif _loud(row) != _loud(new):
            self.note("reworded", row.key, replace(new, changed_at=self.at))
        else:
            self.note("kept", row.key, new if new != kept else None)

    def withdraw(self, row: ReminderRow, register: Register | None) -> None:
        done = register is not None and _was_done(row, register)
        state = "done" if done else "cancelled"
        payload = dict(row.payload) | ({"closed": "entries"} if done else {})
        new = replace(row, state=state, payload=payload, sequence=row.sequence + 1, changed_at=self.at)
        self.note("finished" if done else "cancelled", row.key, new)

    # -- spans

    def spans(self, known: Sequence[ReminderRow], derived: Derived) -> None:
        wanted = [w for w in derived.items if w.kind == "span" and _time(w, "end") > self.at]
        for row in known:
            if row.state in OPEN and span_end(row) <= self.at:
                self.over(row)
        ahead = [row for row in known if span_end(row) > self.at]
        pairs = _pairs(ahead, wanted)
        ordinal = max((row.ordinal for row in known), default=0)
        for n, want in enumerate(wanted):
            same = pairs.get(n)
            if same is None:
                ordinal += 1
                new = replace(want, ordinal=ordinal)
                self.note("added", new.key, _new(new, self.at))
            else:
                self.match(same, self.as_begun(same, want))
        matched = {row.key for row in pairs.values()}
        until = derived.known_until
        for row in ahead:
            if row.key in matched or row.state not in OPEN:
                continue
            if until is not None and (until <= self.at or _time(row, "start") >= until - STEP):
                self.doubt(row)
            else:
                self.withdraw(row, None)

    def as_begun(self, row: ReminderRow, want: Wanted) -> Wanted:
        """A span under way keeps the start it had: starts only begin at now, so it would creep along."""
        soon = self.at + STEP
        clipped = _time(row, "start") <= self.at and _time(row, "start") < _time(want, "start") <= soon
        if not clipped or row.state == "cancelled" or _time(row, "brush_start") > self.at:
            return want
        names = ["start"]
        if row.payload["sure"] and not want.payload["sure"] and _time(row, "brush_end") <= soon:
            names += TOLD  # its good hours are over, as was said; the rest of the day is no news
        elif _time(want, "brush_start") <= soon:
            names += ["brush_start", "day"]
        payload = dict(want.payload) | {name: row.payload.get(name) for name in names}
        due = datetime.fromisoformat(payload["brush_start"])
        return replace(want, due=due, payload=payload)

    def doubt(self, row: ReminderRow) -> None:
        """Nothing is known of its hours any more: neither firm nor called off."""
        payload = dict(row.payload) | {"tentative": True, "unsure": True}
        new = replace(row, payload=payload, text="")
        if new == row:
            self.note("kept", row.key)
        else:
            self.note("moved", row.key, replace(new, sequence=row.sequence + 1, changed_at=self.at))


# ------------------------------------------------------------------ rows


def _day_is_over(row: ReminderRow, derived: Derived) -> bool:
    return derived.today is not None and row.payload["day"] < derived.today.isoformat()


def _new(want: Wanted, at: datetime) -> ReminderRow:
    return ReminderRow(
        key=want.key,
        kind=want.kind,
        due_at=want.due,
        text="",  # only rows of older versions hold a sentence
        changed_at=at,
        tag=want.tag or None,
        end=want.end or None,
        cause_entry=want.cause or None,
        ordinal=want.ordinal,
        payload=_tidy(want.payload),
    )


def _tidy(payload: Mapping[str, Any]) -> dict[str, Any]:
    """Without what says nothing, so that two ways of saying nothing are the same."""
    return {name: value for name, value in payload.items() if value is not None or name == "day"}


def _matters(row: ReminderRow) -> tuple[Any, ...]:
    told = dict(row.payload) | {"action": action_of(row.payload)}
    return (row.due_at, *(told.get(name) for name in MATTERS))


def _loud(row: ReminderRow) -> tuple[Any, ...]:
    return (row.tag, row.text, {k: v for k, v in row.payload.items() if k not in QUIET})


def _renamed(
    known: Iterable[ReminderRow], wanted: Mapping[str, Wanted], register: Register | None
) -> dict[str, ReminderRow]:
    """Rows of logs that bear another tag now, by the key that is wanted: they keep key, UID and history."""
    free = [row for row in known if row.key not in wanted]
    if not free:
        return {}
    keys = {row.key for row in known}
    found: dict[str, ReminderRow] = {}
    for key, want in wanted.items():
        if key in keys:
            continue
        same = [row for row in free if _identity(row) == (want.kind, want.end, want.cause, want.ordinal)]
        same = [row for row in same if row.tag == want.tag or _gave_way(row.tag, want.tag, register)]
        if len(same) != 1:
            continue
        rivals = [w for k, w in wanted.items() if k not in keys and _same(w, want)]
        if len(rivals) == 1:
            found[key] = same[0]
    return found


def _identity(row: ReminderRow) -> tuple[str, str, int, int]:
    return (row.kind, row.end or "", row.cause_entry or 0, row.ordinal)


def _same(a: Wanted, b: Wanted) -> bool:
    return (a.kind, a.end, a.cause, a.ordinal) == (b.kind, b.end, b.cause, b.ordinal)


def _gave_way(old: str | None, new: str, register: Register | None) -> bool:
    """Whether no log bears the old tag any more, or it was divided and the new one is a piece of it."""
    if register is None or old is None:
        return False
    log = register.log(old)
    return log is None or new in log.children


# ------------------------------------------------------------------ done, or no longer wanted


def _was_done(row: ReminderRow, register: Register) -> bool:
    """Whether entries tell that the job was done; else it is withdrawn."""
    log = register.log(row.tag or "")
    if log is None:
        return False
    if log.sawn is not None and (row.kind in ("saw", "saw_by") or log.end(row.end or "") is None):
        return True
    return log.state != "gone" and _handled(row, log)


def _handled(row: ReminderRow, log: Log) -> bool:
    end = log.end(row.end or "")
    if end is None:
        return False
    cause = row.cause_entry or 0
    again = end.cut_entry > cause or any(coat.entry > cause for coat in end.coats)
    if row.kind == "look":
        return again or any(look.entry > cause for look in end.looks)
    if row.kind == "touch_up":
        return bool(end.coats)
    return again


# ------------------------------------------------------------------ which span is which


def _pairs(known: Sequence[ReminderRow], wanted: Sequence[Wanted]) -> dict[int, ReminderRow]:
    """Wanted spans (by their place in the list) and the rows that they are."""
    open_ = [row for row in known if row.state in OPEN]
    closed = [row for row in known if row.state in ("done", "dropped")]
    withdrawn = [row for row in known if row.state == "cancelled"]
    found: dict[int, ReminderRow] = {}
    _take(found, [*open_, *closed], wanted, timedelta(0))
    _take(found, open_, wanted, NEAR)
    _take(found, withdrawn, wanted, timedelta(0))
    return found


def _take(
    found: dict[int, ReminderRow], rows: Sequence[ReminderRow], wanted: Sequence[Wanted], near: timedelta
) -> None:
    """Give each wanted span that has no row yet the nearest row, the greatest overlap first."""
    offers = []
    for n, want in enumerate(wanted):
        start, end = _time(want, "start"), _time(want, "end")
        for row in rows:
            if row.payload.get("place") != want.payload.get("place"):
                continue
            gap = _gap(start, end, _time(row, "start"), span_end(row))
            if gap < timedelta(0) or (near and gap <= near):
                offers.append((gap, start, row.due_at, row.key, n, row))
    taken = {row.key for row in found.values()}
    for _, _, _, key, n, row in sorted(offers, key=lambda offer: offer[:5]):
        if n not in found and key not in taken:
            found[n] = row
            taken.add(key)


def _gap(a: datetime, a_end: datetime, b: datetime, b_end: datetime) -> timedelta:
    """Time between two spans; negative: how long they overlap."""
    return max(a, b) - min(max(a_end, a + STEP), max(b_end, b + STEP))
