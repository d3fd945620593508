"""A page of the demo yard on a fixed clock that can be moved, for the tests of the page."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from starlette.applications import Starlette

from scheduler.demo import BEFORE, MONDAY, TUESDAY, demo_entries
from scheduler.service import Forecast, forecast_of, open_register
from scheduler.settings import YardFile, load_yard
from scheduler.web.app import create_app

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


def demo_yard(folder: Path, *, logs: bool = True, more: str = "") -> Path:
    """A copy of the demo's yard file, with its logs told on Monday or none."""
    text = (DEMO / "yard.toml").read_text(encoding="utf-8")
    file = folder / "yard.toml"
    file.write_text(text + more, encoding="utf-8")
    shutil.copy(DEMO / "weather.json", folder / "weather.json")
    if logs:
        yard = load_yard(file)
        entries = demo_entries((DEMO / "logs.csv").read_text(encoding="utf-8"), yard, MONDAY)
        with open_register(yard) as store:
            store.append(yard.yard.key, lambda _known: entries)
    return file


def demo_forecast(folder: Path) -> Callable[[YardFile, datetime], Forecast]:
    """The demo's stored weather, made two hours before Tuesday's notice."""

    def forecast(yard: YardFile, at: datetime) -> Forecast:
        return forecast_of(yard, at, folder / "weather.json", min(at, TUESDAY) - BEFORE)

    return forecast


def page_app(folder: Path, clock: Clock | None = None, *, logs: bool = True, **more: Any) -> Starlette:
    """The page over the demo's yard."""
    file = demo_yard(folder, logs=logs)
    given = {"forecast": demo_forecast(folder), "waits": True} | more
    return create_app(file, clock=clock or Clock(), hosts=("testserver",), **given)
