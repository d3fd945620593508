"""What is remembered of a service: when it may be asked again, and where its grid is. An edge: files.

Small JSON files beside the kept answers. None is needed: what cannot be read
or written is as if it had not been.
"""

from __future__ import annotations

import json
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from scheduler.weather.fetch_errors import FetchError
from scheduler.weather.fetch_family import contact_of
from scheduler.weather.fetch_files import write_whole
from scheduler.weather.fetch_request import Request

__all__ = ["forget_link", "known_link", "remember_hold", "remember_link", "respect_hold"]

LINK_LIFE = timedelta(days=7)  # grids are cut anew now and then
CLOCK_SLACK = timedelta(minutes=5)  # two clocks that differ a little


def respect_hold(folder: Path, request: Request, contact: str | None, now: datetime) -> None:
    """Raise a FetchError with the service's own words while it does not want to be asked.

    A refusal for want of a contact ends when another contact is written.
    """
    found = _read(_hold_path(folder, request))
    if found is None:
        return
    try:
        since, until = _time(found["since"]), _time(found["until"])
        status, text = int(found["status"]), str(found["text"])
    except (KeyError, TypeError, ValueError, OverflowError):
        return
    mended = status == 403 and found.get("contact") != contact_of(contact)
    # A time before the refusal: the clock was played with, or set wrong, when it was written.
    if not mended and since - CLOCK_SLACK <= now < until:
        raise FetchError(text, until, status=status)


def remember_hold(
    folder: Path, request: Request, contact: str | None, now: datetime, error: FetchError
) -> None:
    """Write down that the service does not want to be asked before ``error.retry_at``, if it said so."""
    if not error.hold or error.retry_at is None or error.retry_at <= now:
        return
    about = {
        "host": request.host,
        "since": now.astimezone(UTC).isoformat(),
        "until": error.retry_at.astimezone(UTC).isoformat(),
        "status": error.status or 0,
        "contact": contact_of(contact),
        "text": str(error),
    }
    _write(_hold_path(folder, request), about)


def known_link(folder: Path | None, request: Request, now: datetime) -> str | None:
    """The address of the grid that the service named for this place within the last week."""
    found = None if folder is None else _read(_link_path(folder, request))
    with suppress(KeyError, TypeError, ValueError, OverflowError):
        if found is not None and -CLOCK_SLACK <= now - _time(found["fetched"]) < LINK_LIFE:
            link = found["link"]
            return link if isinstance(link, str) and found["address"] == request.address else None
    return None


def remember_link(folder: Path | None, request: Request, link: str, now: datetime) -> None:
    """Write down the address of the grid of a place."""
    if folder is not None:
        about = {"address": request.address, "link": link, "fetched": now.astimezone(UTC).isoformat()}
        _write(_link_path(folder, request), about)


def forget_link(folder: Path | None, request: Request) -> None:
    """The grid is not where it was said to be."""
    if folder is not None:
        with suppress(OSError):
            _link_path(folder, request).unlink()


def _hold_path(folder: Path, request: Request) -> Path:
    parts = urlsplit(request.url)
    return folder / f"wait-{_short(f'{parts.hostname}:{parts.port}')}.json"


def _link_path(folder: Path, request: Request) -> Path:
    return folder / f"grid-{_short(request.address)}.json"


def _short(text: str) -> str:
    return sha256(text.encode()).hexdigest()[:16]


def _time(text: Any) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)


def _read(path: Path) -> dict[str, Any] | None:
    with suppress(OSError, ValueError, RecursionError):
        data = json.loads(path.read_text(encoding="utf-8"))
        return data if isinstance(data, dict) else None
    return None


def _write(path: Path, about: dict[str, Any]) -> None:
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, json.dumps(about, indent=1, ensure_ascii=False).encode())
