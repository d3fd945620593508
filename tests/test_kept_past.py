"""A coat older than the forecast's own past hours is worked out on the answers kept from then."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from scheduler.demo import demo_entries
from scheduler.service import picture
from scheduler.settings import YardFile, demo_folder, load_yard
from scheduler.sources import forecast_of
from scheduler.weather.fetch_kept import Answer, keep
from scheduler.weather.formats import read_answer
from scheduler.yard.book import note
from scheduler.yard.entries import By, Entry
from scheduler.yard.facts import Moment
from scheduler.yard.notes import Note
from scheduler.yard.state import fold

COATED = datetime(2025, 11, 4, 8, 30, tzinfo=UTC)  # the good Tuesday of the demo
LATER = datetime(2025, 11, 10, 5, 0, tzinfo=UTC)
STORY: dict[str, Any] = json.loads((demo_folder() / "weather.json").read_text(encoding="utf-8"))


def answer(start: datetime) -> bytes:
    """The demo's weather from ``start`` on, as a service would answer."""
    first = STORY["hourly"]["time"].index(f"{start:%Y-%m-%dT%H:%M}")
    return json.dumps(
        {**STORY, "hourly": {name: column[first:] for name, column in STORY["hourly"].items()}}
    ).encode()


@pytest.fixture
def yard(tmp_path: Path) -> YardFile:
    file = tmp_path / "yard.toml"
    file.write_bytes((demo_folder() / "yard.toml").read_bytes())
    return load_yard(file)


def coated(yard: YardFile) -> tuple[Entry, ...]:
    """The demo's entries with a coat on H01 on the Tuesday."""
    at = COATED - timedelta(days=1)
    entries = demo_entries((demo_folder() / "logs.csv").read_text(encoding="utf-8"), yard, at)
    by = By(yard.yard.key, COATED + timedelta(hours=1))
    written = note(("H01",), "coat", (), fold(entries, by.at), by, Note(when=Moment(COATED)))
    return (*entries, *written.entries)


def state_of(yard: YardFile, file: Path) -> tuple[str, bool]:
    register = fold(coated(yard), LATER)
    forecast = forecast_of(yard, LATER, file, LATER - timedelta(hours=1))
    assert forecast.weather is not None
    assert forecast.weather.start > COATED
    state = picture(yard, register, forecast, LATER).states[("H01", "butt")]
    return state.state, state.known


def test_without_kept_answers_an_old_coat_stays_milky_unknown(yard: YardFile, tmp_path: Path) -> None:
    file = tmp_path / "new.json"
    file.write_bytes(answer(LATER - timedelta(days=3, hours=5)))
    assert state_of(yard, file) == ("wet", False)


def test_with_the_answers_kept_since_then_it_is_known_to_have_dried(yard: YardFile, tmp_path: Path) -> None:
    for day in (4, 6):
        fetched = datetime(2025, 11, day, 5, 0, tzinfo=UTC)
        body = answer(fetched - timedelta(days=3, hours=5))
        keep(Answer(body, "https://weather.example/v1", "asked", fetched), yard.cache_folder)
    file = tmp_path / "new.json"
    file.write_bytes(answer(LATER - timedelta(days=3, hours=5)))
    assert state_of(yard, file) == ("coated", False)


def test_joining_keeps_every_hour_and_leaves_gaps_apart() -> None:
    whole = read_answer(answer(datetime(2025, 11, 1, 0, 0, tzinfo=UTC)))
    newer = read_answer(answer(datetime(2025, 11, 7, 0, 0, tzinfo=UTC)))
    joined = newer.with_past(whole)
    assert joined.start == whole.start
    assert joined.hours == whole.hours
    assert np.allclose(joined.air_c, whole.air_c)
    early = whole.between(whole.start, whole.start + timedelta(days=2))
    assert newer.with_past(early) is newer
    assert whole.with_past(newer) is whole
