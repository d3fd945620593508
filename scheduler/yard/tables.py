"""The tables of the database. The migrations make them; a test holds the two together."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    DateTime,
    Dialect,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
)

__all__ = [
    "OUTBOX_STATES",
    "REMINDER_STATES",
    "UtcDateTime",
    "entry",
    "lease",
    "memo",
    "metadata",
    "notice",
    "outbox",
    "reminder",
]

REMINDER_STATES = ("planned", "sent", "done", "dropped", "cancelled")
OUTBOX_STATES = ("due", "sent", "failed", "expired", "replaced")


class UtcDateTime(TypeDecorator[datetime]):
    """A time that is aware on both sides and UTC inside; a naive one is refused.

    Plain ``DateTime(timezone=True)`` on SQLite drops the offset and keeps the wall time.
    """

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """To the database: UTC, without offset where the database keeps none."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time without a zone cannot be kept")
        utc = value.astimezone(UTC)
        return utc.replace(tzinfo=None) if dialect.name == "sqlite" else utc

    def process_result_value(self, value: Any | None, dialect: Dialect) -> datetime | None:
        """From the database: aware, UTC."""
        if value is None:
            return None
        time: datetime = value
        return time.replace(tzinfo=UTC) if time.tzinfo is None else time.astimezone(UTC)


metadata = MetaData(
    naming_convention={
        "ix": "ix_%(column_0_label)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)

# What happened. Rows are only ever added. The key makes two writers notice each other on any database.
entry = Table(
    "entry",
    metadata,
    Column("yard", String(64), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("batch", Integer, nullable=False),
    Column("kind", String(16), nullable=False),
    Column("tag", String(32)),
    Column("ends", JSON, nullable=False),
    Column("time", UtcDateTime, nullable=False),
    Column("half_us", BigInteger, nullable=False),
    Column("said", Text, nullable=False),
    Column("assumed", Boolean, nullable=False),
    Column("recorded_at", UtcDateTime, nullable=False),
    Column("who", String(64)),
    Column("data", JSON, nullable=False),
    CheckConstraint("number > 0", name="number_counts_from_one"),
)

# What the program means to tell somebody, or has told. ``uid`` is made once and kept for life.
reminder = Table(
    "reminder",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("yard", String(64), nullable=False),
    Column("key", String(255), nullable=False),
    Column("uid", String(36), nullable=False, unique=True),
    Column("kind", String(32), nullable=False),
    Column("tag", String(32)),
    Column("end", String(32)),
    Column("cause_entry", Integer),
    Column("ordinal", Integer, nullable=False),
    Column("due_at", UtcDateTime, nullable=False),
    Column("state", String(16), nullable=False),
    Column("later_until", UtcDateTime),
    Column("sequence", Integer, nullable=False),
    Column("changed_at", UtcDateTime, nullable=False),
    Column("text", Text, nullable=False),
    Column("payload", JSON, nullable=False),
    UniqueConstraint("yard", "key", name="uq_reminder_yard_key"),
    CheckConstraint(
        "state IN ('planned', 'sent', 'done', 'dropped', 'cancelled')",
        name="state_known",
    ),
    Index("ix_reminder_yard_state_due_at", "yard", "state", "due_at"),
)

# What was put to the person, by its key: its number rises only when what they would do changes.
notice = Table(
    "notice",
    metadata,
    Column("yard", String(64), primary_key=True),
    Column("key", String(255), primary_key=True),
    Column("kind", String(32), nullable=False),
    Column("action", Text, nullable=False),
    Column("number", Integer, nullable=False),
    Column("subject", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("reminders", JSON, nullable=False),
    Column("due_at", UtcDateTime, nullable=False),
    Column("expires_at", UtcDateTime, nullable=False),
    Column("put_at", UtcDateTime, nullable=False),
)

# One row for each notice, its number and each channel: what is on its way, and what became of it.
outbox = Table(
    "outbox",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("yard", String(64), nullable=False),
    Column("key", String(400), nullable=False),
    Column("notice", String(255), nullable=False),
    Column("number", Integer, nullable=False),
    Column("channel", String(64), nullable=False),
    Column("kind", String(32), nullable=False),
    Column("urgent", Boolean, nullable=False),
    Column("subject", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("state", String(16), nullable=False),
    Column("made_at", UtcDateTime, nullable=False),
    Column("not_before", UtcDateTime, nullable=False),
    Column("expires_at", UtcDateTime, nullable=False),
    Column("attempts", Integer, nullable=False),
    Column("holder", String(64)),
    Column("lease_until", UtcDateTime),
    Column("last_error", Text),
    Column("ended_at", UtcDateTime),
    UniqueConstraint("yard", "key", name="uq_outbox_yard_key"),
    CheckConstraint("state IN ('due', 'sent', 'failed', 'expired', 'replaced')", name="state_known"),
    Index("ix_outbox_yard_state_not_before", "yard", "state", "not_before"),
)

# Who may do a job just now: a second process finds it taken.
lease = Table(
    "lease",
    metadata,
    Column("yard", String(64), primary_key=True),
    Column("name", String(64), primary_key=True),
    Column("holder", String(64), nullable=False),
    Column("until", UtcDateTime, nullable=False),
)

# Small things the program remembers between two runs, such as the list of today's notice.
memo = Table(
    "memo",
    metadata,
    Column("yard", String(64), primary_key=True),
    Column("name", String(64), primary_key=True),
    Column("value", JSON, nullable=False),
    Column("changed_at", UtcDateTime, nullable=False),
)
