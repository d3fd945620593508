"""What the status of an answer means, and what to do about it. Pure."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime, timedelta

from scheduler.weather.fetch_errors import MEND_URL, FetchError, Passing
from scheduler.weather.fetch_family import IDENTITY, contact_of
from scheduler.weather.fetch_request import Request
from scheduler.weather.fetch_when import is_by_the_minute, patience, retry_after

__all__ = ["GOOD", "refuse"]

GOOD = frozenset({200, 203})
PASSING = frozenset({408, 425, 499})  # and every 5xx: another try may do
STRICT = {"met-norway": timedelta(hours=24)}  # families to leave alone for so long after 403 and 429


def refuse(
    status: int,
    headers: Mapping[str, str],
    body: bytes,
    request: Request,
    contact: str | None,
    now: datetime,
) -> None:
    """Raise what a status means that is not good: ``Passing`` where another try may do, else FetchError."""
    if status in GOOD:
        return
    reason = _reason(body, request)
    said = f'answered {status}: "{reason}"' if reason else f"answered {status}"
    wait = retry_after(headers.get("Retry-After"), now)
    if status == 429:
        hold = wait is not None or not is_by_the_minute(reason)
        wait = patience(reason, now) if wait is None else wait
        if request.family in STRICT:
            hold, wait = True, max(wait, STRICT[request.family].total_seconds())
        raise Passing(f"wants fewer requests ({said})", wait, status=status, hold=hold)
    if status >= 500 or status in PASSING:
        raise Passing(said, wait, status=status, hold=wait is not None)
    text = f"{request.host} {said}. {_hint(status, request, contact)}"
    if status == 403 and request.family in STRICT:
        pause = STRICT[request.family]
        long = f"for {pause / timedelta(hours=1):g} hours, or until the contact is changed"
        raise FetchError(f"{text} It is not asked again {long}.", now + pause, status=status, hold=True)
    raise FetchError(text, status=status)


def _hint(status: int, request: Request, contact: str | None) -> str:
    """What to do about a refusal, as exactly as it can be known."""
    key = "key_env or key_file in yard.toml under [forecast]"
    if status == 401:
        return f"It did not take the key: check {key}." if request.has_key else f"It wants a key: name {key}."
    if status == 403 and request.family in IDENTITY:
        return "It refuses who does not say who asks: check contact in yard.toml under [forecast]."
    if status == 403 and request.has_key:
        return f"The key is not good for this: check {key}, and what it was given out for."
    if status == 403 and contact_of(contact):
        return f"It may want a key: name {key}."
    if status == 403:
        return f"It may want a key ({key}), or to know who asks (contact)."
    if status in {404, 422} and request.family == "nws":
        return (
            "It has no data for this place; it covers the United States only. Check the place in yard.toml."
        )
    if status in {404, 422}:
        return (
            f"It has no data for this place, or not at this address. Check the place in yard.toml. {MEND_URL}"
        )
    return MEND_URL


def _reason(body: bytes, request: Request) -> str:
    """What a service gives as its reason, as one short plain line."""
    text = body[:65_536].decode("utf-8", "replace")
    with suppress(ValueError, RecursionError):
        data = json.loads(text)
        fields = data if isinstance(data, dict) else {}
        given = (fields.get(key) for key in ("reason", "detail", "title", "message", "description", "error"))
        text = next((one for one in given if isinstance(one, str)), "")
    text = re.sub(r"(?is)<(script|style|head)\b.*?</\1\s*>|<!--.*?-->|<[^>]*>", " ", text)
    return request.clean(html.unescape(text))
