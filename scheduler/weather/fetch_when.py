"""When a service may be asked again: by its headers, its words, and the minute of each yard. Pure."""

from __future__ import annotations

import re
from collections.abc import Mapping
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from hashlib import sha256

from scheduler.settings import Position

__all__ = ["expires_at", "is_by_the_minute", "next_fetch_minute", "patience", "place_key", "retry_after"]

LONGEST_WAIT = 7 * 86_400.0  # s; what asks for more is a mistake of the service


def retry_after(value: str | None, now: datetime) -> float | None:
    """Seconds of a Retry-After header, as seconds or as a date (RFC 9110, 10.2.3); None when unreadable."""
    if value is None:
        return None
    value = value.strip()
    if re.fullmatch(r"\d{1,9}", value, re.ASCII):
        return min(float(value), LONGEST_WAIT)
    date = _http_date(value)
    return None if date is None else min(max(0.0, (date - now).total_seconds()), LONGEST_WAIT)


def patience(reason: str, now: datetime) -> float:
    """Seconds to wait by the words of a refusal: a daily limit ends at midnight UTC, others sooner."""
    midnight = (now + timedelta(days=1)).replace(hour=0, minute=0, second=0, microsecond=0)
    if re.search(r"daily|tomorrow", reason, re.IGNORECASE):
        return (midnight - now).total_seconds()
    return 3600.0 if re.search(r"hour", reason, re.IGNORECASE) else 60.0


def is_by_the_minute(reason: str) -> bool:
    """Whether a refusal speaks of a limit by the minute, which has passed before anybody asks again."""
    return re.search(r"minute", reason, re.IGNORECASE) is not None


def expires_at(headers: Mapping[str, str], now: datetime) -> datetime | None:
    """Until when an answer need not be asked for again, by its own headers (RFC 9111, 4.2); None: not said.

    The lifetime is counted from the service's own clock (``Date``), so that
    another clock here does not matter; time spent in a cache on the way
    (``Age``) is taken off. An answer that is not to be stored says nothing.
    """
    control = headers.get("Cache-Control", "").lower()
    if re.search(r"\bno-(cache|store)\b", control):
        return None
    lifetime = None
    if match := re.search(r"\bmax-age\s*=\s*\"?(\d{1,9})", control):
        lifetime = float(match[1])
    elif (expires := _http_date(headers.get("Expires", ""))) is not None:
        made = _http_date(headers.get("Date", "")) or now
        lifetime = (expires - made).total_seconds()
    if lifetime is None:
        return None
    age = headers.get("Age", "").strip()
    lifetime -= float(age) if re.fullmatch(r"\d{1,9}", age, re.ASCII) else 0.0
    return now + timedelta(seconds=min(lifetime, 366 * 86_400.0)) if lifetime > 0.0 else None


def _http_date(value: str) -> datetime | None:
    with suppress(ValueError, TypeError, OverflowError):
        date = parsedate_to_datetime(value)
        return (date if date.tzinfo else date.replace(tzinfo=UTC)).astimezone(UTC)
    return None


def next_fetch_minute(key: str) -> int:
    """The minute of the hour, 1 to 59, at which the yard of that key asks its service.

    The same for the same key on every computer, and spread evenly over many
    keys, so that not all yards ask at once; never the full hour, when everybody
    else does. ``place_key`` makes the key of a yard.
    """
    return 1 + int.from_bytes(sha256(key.encode()).digest()[:8], "big") % 59


def place_key(place: Position) -> str:
    """The key of a yard by its place, to four decimals (11 m)."""
    return f"{place.lat:.4f},{place.lon:.4f}"
