"""The demo's mornings, worked out once for all the tests that read them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path

from scheduler.demo import MONDAY, Story, demo_entries, demo_story
from scheduler.planning.outlook import Outlook
from scheduler.service import brief, picture
from scheduler.settings import YardFile, load_yard
from scheduler.sources import forecast_of
from scheduler.views.today import Briefing
from scheduler.views.wording import Wording
from scheduler.yard.entries import Entry
from scheduler.yard.facts import Register
from scheduler.yard.state import fold

DEMO = Path(__file__).parents[1] / "demo"
DAY = timedelta(days=1)
FIRST = {
    # the first of sixteen mornings, 6:00 on the yard's clock
    "upland": datetime(2025, 11, 1, 5, tzinfo=UTC),
    "southern": datetime(2026, 5, 7, 18, tzinfo=UTC),
}
FILES = {"upland": ("yard.toml", "weather.json"), "southern": ("southern.toml", "southern_weather.json")}
MORNINGS = [(yard, n) for yard in FIRST for n in range(16)]


def at(yard: str, n: int) -> datetime:
    """The n-th morning of a yard."""
    return FIRST[yard] + n * DAY


@lru_cache(maxsize=2)
def yard_of(name: str) -> YardFile:
    """One of the two invented yards."""
    return load_yard(DEMO / FILES[name][0])


@lru_cache(maxsize=1)
def entries() -> tuple[Entry, ...]:
    """What was told of the upland yard's logs till its Monday."""
    return demo_entries((DEMO / "logs.csv").read_text(encoding="utf-8"), yard_of("upland"), MONDAY)


def register(yard: str, when: datetime) -> Register:
    """The register of a morning; the southern yard has none."""
    return fold(entries(), when) if yard == "upland" else Register(when)


@lru_cache(maxsize=64)
def morning(yard: str, n: int) -> tuple[Briefing, Outlook]:
    """Everything that is said of the n-th morning, and the outlook under it."""
    when = at(yard, n)
    facts = register(yard, when)
    forecast = forecast_of(yard_of(yard), when, DEMO / FILES[yard][1], when - timedelta(hours=2))
    seen = picture(yard_of(yard), facts, forecast, when)
    assert seen.outlook is not None
    return brief(yard_of(yard), when, forecast, facts, seen), seen.outlook


@lru_cache(maxsize=1)
def story() -> Story:
    """The demo, run once."""
    return demo_story()


def wording(yard: str, n: int, units: str = "metric") -> Wording:
    """How to speak of that morning."""
    return Wording(yard_of(yard).zone, "us" if units == "us" else "metric", at(yard, n))
