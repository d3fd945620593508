"""A page of the demo yard on a fixed clock that can be moved, for the tests of the page."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from starlette.applications import Starlette

from scheduler.demo import BEFORE, MONDAY, TUESDAY, demo_entries
from scheduler.settings import YardFile, load_yard
from scheduler.sources import Forecast, forecast_of, open_register
from scheduler.web.app import create_app
from scheduler.web.desk import Desk, View

DEMO = Path(__file__).parents[1] / "demo"


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self, at: datetime = TUESDAY) -> None:
        self.at = at

    def __call__(self) -> datetime:
        return self.at

    def goes(self, **much: float) -> None:
        self.at += timedelta(**much)


def entries_of(folder: Path) -> list[Any]:
    """What stands in the record, oldest first."""
    yard = load_yard(folder / "yard.toml")
    with open_register(yard) as store:
        return list(store.entries(yard.yard.key))


def demo_yard(folder: Path, *, logs: bool = True) -> Path:
    """A copy of the demo's yard file, with its logs told on Monday or none."""
    shutil.copytree(_demo(logs), folder, dirs_exist_ok=True)
    return folder / "yard.toml"


@cache
def _demo(logs: bool) -> Path:
    """A folder of the demo's yard with its record, made once."""
    folder = Path(tempfile.mkdtemp(prefix="coatcast-page-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    for name in ("yard.toml", "weather.json"):
        shutil.copy(DEMO / name, folder / name)
    if logs:
        yard = load_yard(folder / "yard.toml")
        entries = demo_entries((DEMO / "logs.csv").read_text(encoding="utf-8"), yard, MONDAY)
        with open_register(yard) as store:
            store.append(yard.yard.key, lambda _known: entries)
    return folder


def demo_forecast(folder: Path) -> Callable[[YardFile, datetime], Forecast]:
    """The demo's stored weather, made two hours before Tuesday's notice."""

    def forecast(yard: YardFile, at: datetime) -> Forecast:
        return forecast_of(yard, at, folder / "weather.json", min(at, TUESDAY) - BEFORE)

    return forecast


def _never(_work: Callable[[], None]) -> None:
    """So that a tap is tested on the morning of before it, as a phone sees it."""


def planned(app: Starlette) -> None:
    """Do what the service does once a minute: make the reminders agree with the morning."""
    app.state.room.desk.plan()


_KNOWN: dict[Any, View] = {}


def page_app(folder: Path, clock: Clock | None = None, *, logs: bool = True, **more: Any) -> Starlette:
    """The page over the demo's yard; what runs behind its answers is left undone.

    A morning that another test has worked out already, of the same hour and the same logs, is taken over.
    """
    file, clock = demo_yard(folder, logs=logs), clock or Clock()
    given = {"forecast": demo_forecast(folder), "behind": _never} | more
    app = create_app(file, clock=clock, **given)
    desk: Desk = app.state.room.desk
    if not more:
        key = (clock.at, logs)
        if key not in _KNOWN:
            _KNOWN[key] = desk.view()
        desk._view = (desk._key(), _KNOWN[key])
    return app
