"""The register: entries, reminders, leases, memos."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

# Written out, not taken from tables.py: a revision must not change when the tables move on.
TIME = sa.DateTime(timezone=True)


def upgrade() -> None:
    op.create_table(
        "entry",
        sa.Column("yard", sa.String(64), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("batch", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("tag", sa.String(32), nullable=True),
        sa.Column("ends", sa.JSON(), nullable=False),
        sa.Column("time", TIME, nullable=False),
        sa.Column("half_us", sa.BigInteger(), nullable=False),
        sa.Column("said", sa.Text(), nullable=False),
        sa.Column("assumed", sa.Boolean(), nullable=False),
        sa.Column("recorded_at", TIME, nullable=False),
        sa.Column("who", sa.String(64), nullable=True),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.CheckConstraint("number > 0", name=op.f("ck_entry_number_counts_from_one")),
        sa.PrimaryKeyConstraint("yard", "number", name=op.f("pk_entry")),
    )
    op.create_table(
        "reminder",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("yard", sa.String(64), nullable=False),
        sa.Column("key", sa.String(255), nullable=False),
        sa.Column("uid", sa.String(36), nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("tag", sa.String(32), nullable=True),
        sa.Column("end", sa.String(32), nullable=True),
        sa.Column("cause_entry", sa.Integer(), nullable=True),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("due_at", TIME, nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("later_until", TIME, nullable=True),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("changed_at", TIME, nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("payload", sa.JSON(), nullable=False),
        sa.CheckConstraint(
            "state IN ('planned', 'sent', 'done', 'dropped', 'cancelled')",
            name=op.f("ck_reminder_state_known"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reminder")),
        sa.UniqueConstraint("uid", name=op.f("uq_reminder_uid")),
        sa.UniqueConstraint("yard", "key", name="uq_reminder_yard_key"),
    )
    op.create_index("ix_reminder_yard_state_due_at", "reminder", ["yard", "state", "due_at"])
    op.create_table(
        "lease",
        sa.Column("yard", sa.String(64), nullable=False),
        sa.Column("name", sa.String(64), nullable=False),
        sa.Column("holder", sa.String(64), nullable=False),
        sa.Column("until", TIME, nullable=False),
        sa.PrimaryKeyConstraint("yard", "name", name=op.f("pk_lease")),
    )
    op.create_table(
        "memo",
        sa.Column("yard", sa.String(64), nullable=False),
        sa.Column("name", sa.String(64), nullable=False),
        sa.Column("value", sa.JSON(), nullable=False),
        sa.Column("changed_at", TIME, nullable=False),
        sa.PrimaryKeyConstraint("yard", "name", name=op.f("pk_memo")),
    )


def downgrade() -> None:
    for name in ("memo", "lease", "reminder", "entry"):
        op.drop_table(name)
