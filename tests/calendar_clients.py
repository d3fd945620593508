"""Where the real calendar clients of tests/clients are, and a feed with everything in it to give them.

The environment variable COATCAST_CLIENTS names a folder prepared like this::

    python3 -m venv "$COATCAST_CLIENTS/khal"
    "$COATCAST_CLIENTS/khal/bin/pip" install khal vdirsyncer radicale
    npm install --prefix "$COATCAST_CLIENTS" ical.js node-ical

Without it programs are taken from the PATH, and what is not there is skipped.
"""

from __future__ import annotations

import os
import shutil
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

import pytest
from reminder_samples import AT, BERLIN, DAY, HOUR, coat, end, job, local, log, moved, span, wanted

from scheduler.reminders.settle import settle
from scheduler.reminders.wanted import Derived
from scheduler.settings import FeedChoice
from scheduler.views.calendar import calendar_bytes
from scheduler.yard.facts import Log
from scheduler.yard.reminder_row import ReminderRow

HERE = Path(__file__).parent
NAMES = UUID("6ba7b810-9dad-11d1-80b4-00c04fd430c8")
HOW = "set COATCAST_CLIENTS to a folder prepared as tests/calendar_clients.py says"
NAME = "Käfer-Eiche; „alt“, 50\\60 🌳"


def clients_folder() -> Path | None:
    named = os.environ.get("COATCAST_CLIENTS")
    return Path(named) if named else None


def khal() -> str:
    """The khal program, or the test is skipped."""
    return program("khal")


def vdirsyncer() -> str:
    """The vdirsyncer program, or the test is skipped."""
    return program("vdirsyncer")


def radicale() -> str:
    """The radicale program, or the test is skipped."""
    return program("radicale")


def program(name: str) -> str:
    """A program of the clients' environment, else of the PATH; or the test is skipped."""
    folder = clients_folder()
    inside = folder / "khal" / "bin" / name if folder else None
    found = str(inside) if inside is not None and inside.exists() else shutil.which(name)
    if found is None:
        pytest.skip(f"{name} is not here; {HOW}")
    return found


def ical_js() -> tuple[str, Path]:
    """Node, and the folder of the module ical.js; or the test is skipped."""
    return node_module("ical.js")


def node_ical() -> tuple[str, Path]:
    """Node, and the folder of the module node-ical; or the test is skipped."""
    return node_module("node-ical")


def node_module(name: str) -> tuple[str, Path]:
    """Node, and the folder of a module; or the test is skipped."""
    folder = clients_folder()
    module = folder / "node_modules" / name if folder else None
    node = shutil.which("node") or shutil.which("nodejs")
    if node is None or module is None or not module.is_dir():
        pytest.skip(f"node or its module {name} is not here; {HOW}")
    return node, module


def feed_log() -> Log:
    """A log with odd letters in its name."""
    return log(species=None, species_said=NAME)


def feed_derived() -> list[Derived]:
    """Two plans: spans firm, across midnight, called off, tentative; jobs, a look, odd letters."""
    odd = feed_log()
    coated = log("H09", end(coats=(coat("2025-11-02T10:00", 7),)))
    jobs = [
        job(),
        job(name="top"),
        job("second_coat", "H09", due=local("2025-11-03T18:07"), cause=7),
        job("look", "H09", due=local("2025-11-03T10:00"), cause=7, why="clear or milky?"),
    ]
    night = moved(span(), 2 * DAY + 13 * HOUR, hours=8)
    off, far = moved(span(), 3 * DAY + 24 * HOUR, hours=2), moved(span(), 8 * DAY)
    plans = ([span(), night, off, far], [span(), night, far])
    return [wanted(jobs, [odd, coated], spans) for spans in plans]


def feed_rows() -> list[ReminderRow]:
    """The rows that come of those two plans."""
    rows: dict[str, ReminderRow] = {}
    for derived in feed_derived():
        written, _ = settle(list(rows.values()), derived, AT)
        for row in written:
            rows[row.key] = replace(
                row, id=row.id or len(rows) + 1, uid=row.uid or str(uuid5(NAMES, row.key))
            )
    return list(rows.values())


def feed_bytes(times: Any = "utc", language: str = "en") -> bytes:
    """The feed of those rows; nine days, so that the tentative span is in it, with alarms."""
    feed = FeedChoice(times=times, days=10, alarms=True)
    return calendar_bytes(feed_rows(), "Ellerquern Bench", BERLIN, "metric", feed, at=AT, language=language)


def across_the_clock_change(zone: ZoneInfo, night: datetime, times: Any) -> bytes:
    """A feed with one span from 22:00 before a change of the clock to 6:00 after it (given as UTC times)."""
    begin = night.astimezone(UTC)
    at = begin - 10 * HOUR
    written, _ = settle([], wanted(spans=[span(begin, 8.0)], at=at), at)
    rows = [replace(row, id=1, uid=str(uuid5(NAMES, zone.key))) for row in written]
    feed = FeedChoice(times=times, alarms=False)
    return calendar_bytes(rows, "Night", zone, "metric", feed, at=at)
