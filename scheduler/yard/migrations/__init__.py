"""The revisions of the database, oldest first. Nothing here imports Alembic."""

from __future__ import annotations

__all__ = ["HEAD", "REVISIONS"]

REVISIONS = ("0001", "0002")  # a test holds this against the scripts in versions/
HEAD = REVISIONS[-1]
