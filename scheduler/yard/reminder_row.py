"""One row of the reminder table as a plain value, for all that reads or writes reminders."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

__all__ = ["ReminderRow"]


@dataclass(frozen=True, slots=True)
class ReminderRow:
    """One reminder as it is kept. ``id`` None: not yet; ``uid`` is made when it is kept."""

    key: str
    kind: str
    due_at: datetime
    text: str
    changed_at: datetime
    tag: str | None = None
    end: str | None = None
    cause_entry: int | None = None
    ordinal: int = 0
    state: str = "planned"
    later_until: datetime | None = None
    sequence: int = 0
    payload: Mapping[str, Any] = field(default_factory=dict, hash=False)
    id: int | None = None
    uid: str | None = None
