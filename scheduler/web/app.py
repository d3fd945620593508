"""The page and the feed as an ASGI application. Reads the yard file's own secrets; opens no socket itself."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable, Collection
from contextlib import asynccontextmanager
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.middleware import Middleware

from scheduler.settings import YardFile
from scheduler.sources import Forecast
from scheduler.web.desk import Desk, now
from scheduler.web.forms import Said
from scheduler.web.guard import Guard
from scheduler.web.keys import keys_of
from scheduler.web.routes import ROUTES, Room, problem

__all__ = ["create_app"]


@cache
def _templates() -> tuple[Environment, str, str]:
    """The templates, the style sheet that every page carries, and its digest for the policy."""
    templates = Environment(
        loader=PackageLoader("scheduler.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    templates.filters["path"] = lambda text: quote(str(text), safe="")
    style = templates.get_template("style.css").render()
    digest = hashlib.sha256(style.encode("utf-8")).digest()
    return templates, style, base64.b64encode(digest).decode("ascii")


def _public(yard: YardFile) -> list[str]:
    """The names under which the yard file says that others reach the page."""
    told = [urlsplit(address).hostname for address in (yard.page.address, yard.notice.public) if address]
    return [name for name in told if name]


def create_app(
    yard_file: Path,
    *,
    clock: Callable[[], datetime] = now,
    forecast: Callable[[YardFile, datetime], Forecast] | None = None,
    hosts: Collection[str] = (),
    lan: bool = False,
    behind: Callable[[Callable[[], None]], None] | None = None,
    plans: bool = True,
    health: Callable[[], dict[str, Any]] | None = None,
) -> Starlette:
    """The page of one yard.

    Parameters
    ----------
    yard_file
        The yard file; it is read again when it changes.
    clock
        Gives the time, UTC.
    forecast
        Gives the forecast to go by without asking a service; None: the newest kept answer.
    hosts
        Further names by which the page may be called, beside those of this computer.
    lan
        Reached from other machines: asks for the page's secret, and answers to bare IP addresses.
    behind
        Runs the work that no answer waits for; default: a thread.
    plans
        Keep the reminders in step; False where a service beside the page does.
    health
        What ``/health`` says beside the page's own state, with a key ``ok``.

    Raises
    ------
    SettingsError
        When the yard file is at fault.
    """
    file = yard_file.resolve()
    desk = Desk(file, clock=clock, forecast=forecast, behind=behind, plans=plans)
    templates, style, digest = _templates()

    @asynccontextmanager
    async def lifespan(_app: Starlette):  # type: ignore[no-untyped-def]
        desk.warm()
        yield
        desk.close()

    app = Starlette(
        routes=ROUTES,
        lifespan=lifespan,
        exception_handlers={404: problem, 405: problem, 500: problem},
        middleware=[
            Middleware(
                Guard,
                keys=lambda: keys_of(file),
                hosts=lambda: {*hosts, *_public(desk.yard())},
                lan=lan,
                style=f"'sha256-{digest}'",
            )
        ],
    )
    app.state.room = Room(desk, templates, style, Said(), file, lan, health)
    return app
