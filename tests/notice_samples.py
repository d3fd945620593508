"""Notices of an invented yard, a sender that remembers, and a clock that a test moves."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from scheduler.reminders.channels import Message, Outcome, sent
from scheduler.reminders.walltime import last_due, morning_of
from scheduler.reminders.wanted import Derived
from scheduler.settings import Channel, YardFile, load_yard
from scheduler.tick import Plan
from scheduler.yard.store import Store

HOUR, DAY, MINUTE = timedelta(hours=1), timedelta(days=1), timedelta(minutes=1)
AT = datetime(2025, 11, 3, 5, 0, tzinfo=UTC)  # Monday 6:00 in the yard


@dataclass(frozen=True, slots=True)
class Sample:
    """A notice."""

    kind: str
    key: str
    action: str
    subject: str
    lines: Sequence[str] = ()
    due: datetime = AT
    expires: datetime = AT + 8 * HOUR
    alone: bool = False
    reminder_keys: Sequence[str] = ()


def notice(key: str = "morning/2025-11-03", action: str = "seal 9-13", **facts: Any) -> Sample:
    told: dict[str, Any] = {"kind": key.partition("/")[0], "subject": f"Seal today, {key}"}
    return Sample(key=key, action=action, **(told | facts))


@dataclass
class Clock:
    """A clock that stands where a test puts it."""

    at: datetime = AT

    def __call__(self) -> datetime:
        return self.at

    def goes(self, by: timedelta) -> datetime:
        self.at += by
        return self.at


@dataclass
class Post:
    """A sender that remembers what it was given; ``script`` answers, the last one again and again."""

    script: list[Outcome] = field(default_factory=lambda: [sent("taken")])
    got: list[tuple[str, Message]] = field(default_factory=list)  # channel and message
    during: Callable[[Message], None] | None = None

    def __call__(
        self, target: Channel, message: Message, *, yard_name: str, clock: Callable[[], datetime]
    ) -> Outcome:
        self.got.append((target.label, message))
        if self.during is not None:
            self.during(message)
        return self.script[min(len(self.got), len(self.script)) - 1]

    @property
    def keys(self) -> list[str]:
        return [message.key.partition("/")[2] for _, message in self.got]


def wants(*notices: Sample, derived: Derived | None = None, **facts: Any) -> Callable[..., Plan]:
    """A planner that wants these, whenever it is asked."""

    def plan(_yard: YardFile, _at: datetime, store: Store) -> Plan:
        entries = store.entries(_yard.yard.key)
        last = entries[-1].number if entries else 0
        return Plan(derived or Derived(()), notices, last_entry=last, **facts)

    return plan


def mornings(yard: YardFile, at: datetime, store: Store) -> Plan:
    """A planner that wants the morning notice of every day, of use for eight hours."""
    day, moment = last_due(at, morning_of(yard.notice), yard.zone)
    one = notice(f"morning/{day}", due=moment, expires=moment + 8 * HOUR)
    return Plan(Derived(()), (one,))


def yard_of(folder: Path, *more: str, zone: str = "Europe/Berlin") -> YardFile:
    """A yard with one channel, of which a test's sender takes the place."""
    text = f"""[yard]
name = "Test yard"
place = {{ lat = 48.0, lon = 8.2 }}
zone = "{zone}"
"""
    path = folder / "yard.toml"
    channel = (
        []
        if any("[[channel]]" in m for m in more)
        else ['[[channel]]\nkind = "push"\naddress = "http://127.0.0.1:9/"']
    )
    path.write_text("\n".join([text, *more, *channel]) + "\n", encoding="utf-8")
    return load_yard(path)
