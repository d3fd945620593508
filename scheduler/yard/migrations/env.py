"""Alembic's environment: runs on the connection that ``store`` hands over, inside its transaction."""

from __future__ import annotations

from alembic import context

from scheduler.yard.tables import metadata


def run() -> None:
    connection = context.config.attributes["connection"]
    context.configure(connection=connection, target_metadata=metadata, render_as_batch=True)
    with context.begin_transaction():
        context.run_migrations()


run()
