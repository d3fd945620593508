"""The outbox: notices that were put, and a row for each channel they go through."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

# Written out, not taken from tables.py: a revision must not change when the tables move on.
TIME = sa.DateTime(timezone=True)


def upgrade() -> None:
    op.create_table(
        "notice",
        sa.Column("yard", sa.String(64), nullable=False),
        sa.Column("key", sa.String(255), nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("action", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("reminders", sa.JSON(), nullable=False),
        sa.Column("due_at", TIME, nullable=False),
        sa.Column("expires_at", TIME, nullable=False),
        sa.Column("put_at", TIME, nullable=False),
        sa.PrimaryKeyConstraint("yard", "key", name=op.f("pk_notice")),
    )
    op.create_table(
        "outbox",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("yard", sa.String(64), nullable=False),
        sa.Column("key", sa.String(400), nullable=False),
        sa.Column("notice", sa.String(255), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("channel", sa.String(64), nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("urgent", sa.Boolean(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("made_at", TIME, nullable=False),
        sa.Column("not_before", TIME, nullable=False),
        sa.Column("expires_at", TIME, nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("holder", sa.String(64), nullable=True),
        sa.Column("lease_until", TIME, nullable=True),
        sa.Column("last_error", sa.Text(), nullable=True),
        sa.Column("ended_at", TIME, nullable=True),
        sa.CheckConstraint(
            "state IN ('due', 'sent', 'failed', 'expired', 'replaced')",
            name=op.f("ck_outbox_state_known"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outbox")),
        sa.UniqueConstraint("yard", "key", name="uq_outbox_yard_key"),
    )
    op.create_index("ix_outbox_yard_state_not_before", "outbox", ["yard", "state", "not_before"])


def downgrade() -> None:
    for name in ("outbox", "notice"):
        op.drop_table(name)
