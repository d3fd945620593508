"""The quick reader gives what the store gives, and leaves everything unusual to it."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from scheduler.yard import entries as make
from scheduler.yard.entries import By
from scheduler.yard.facts import Moment
from scheduler.yard.store import open_store
from scheduler.yard.store_read import read_entries

AT = datetime(2025, 11, 3, 5, 45, tzinfo=UTC)


@pytest.fixture
def url(tmp_path: Path) -> str:
    """A store with a few entries of every shape of value."""
    address = f"sqlite:///{tmp_path / 'a yard.db'}"
    by = By("yard", AT, "Ünal")
    moment = Moment(AT - timedelta(days=2, microseconds=7), timedelta(hours=12), "sat; 'quoted'", True)
    with open_store(address) as store:
        for entry in (
            make.roof(by, "L01", moment),
            make.coat(by, "L01", ("butt", "top"), moment, litres=0.25),
            make.seen(by, moment, "frost", True),
        ):
            store.append("yard", lambda _known, entry=entry: [entry])
    return address


def test_it_gives_the_same_entries_as_the_store(url: str) -> None:
    with open_store(url) as store:
        expected = store.entries("yard")
    assert len(expected) == 3
    assert read_entries(url, "yard") == expected
    assert read_entries(url, "another") == ()


def test_it_leaves_another_revision_to_the_store(url: str) -> None:
    with sqlite3.connect(url.removeprefix("sqlite:///")) as base:
        base.execute("UPDATE alembic_version SET version_num = 'older'")
    assert read_entries(url, "yard") is None


@pytest.mark.parametrize("content", [b"", b"this is no database at all, only text" * 200])
def test_it_leaves_a_file_that_is_no_store_to_the_store(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "coatcast.db"
    file.write_bytes(content)
    assert read_entries(f"sqlite:///{file}", "yard") is None


def test_it_leaves_other_databases_and_missing_files_to_the_store(tmp_path: Path) -> None:
    assert read_entries("postgresql+psycopg://host/db", "yard") is None
    assert read_entries(f"sqlite:///{tmp_path / 'none.db'}", "yard") is None
    assert not (tmp_path / "none.db").exists()


def test_reading_does_not_load_the_database_library(url: str) -> None:
    code = (
        "import sys; from scheduler.yard.store_read import read_entries;"
        f"assert len(read_entries({url!r}, 'yard')) == 3; assert 'sqlalchemy' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
