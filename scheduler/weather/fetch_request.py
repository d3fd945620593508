"""What a forecast service is asked: the full address, what may be shown of it, and a sentence about it.

An edge: a key is taken from the environment or a file.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import SplitResult, parse_qsl, quote, unquote, urlencode, urlsplit, urlunsplit

from scheduler.settings import ForecastSource, Position
from scheduler.weather.fetch_errors import MEND_URL, FetchError
from scheduler.weather.fetch_family import family_of, is_loopback, plan_for, refuse_without_manners

__all__ = ["HIDDEN", "MEND_URL", "FetchError", "Request", "masked", "request_for"]

HIDDEN = "***"

# Names of query parameters whose values may be shown; every other value could be a key.
SHOWN = frozenset(
    (
        *("latitude", "longitude", "elevation", "cell_selection", "models", "run", "format"),
        *("hourly", "daily", "current", "minutely_15", "timezone", "timeformat"),
        *("forecast_days", "past_days", "forecast_hours", "past_hours"),
        *("start_date", "end_date", "start_hour", "end_hour"),
        *("temperature_unit", "wind_speed_unit", "windspeed_unit", "precipitation_unit"),
        *("lat", "lon", "altitude", "date", "last_date", "tz", "units"),
        *("coords", "parameter-name", "datetime", "f", "crs", "z"),
    )
)


@dataclass(frozen=True, slots=True)
class Request:
    """What is going to be asked. ``url`` holds the key and is in no text; ``address`` is the same, masked."""

    url: str = field(repr=False)
    host: str
    address: str
    asked: str  # a sentence
    secrets: tuple[str, ...] = field(repr=False, default=())
    family: str | None = None
    accept: str = "application/json"
    lookup: bool = False  # the answer only names the address of the forecast, which is to be followed
    has_key: bool = False
    notes: tuple[str, ...] = ()  # what the user should know of this way of asking

    def clean(self, text: str) -> str:
        """A foreign text without our secrets, on one line, printable, short."""
        for secret in self.secrets:
            text = text.replace(secret, HIDDEN)
        line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
        return line if len(line) <= 160 else line[:159] + "…"


def masked(url: str, key_name: str | None = None) -> str:
    """The address as it may be shown: no user, no password, and no query value that could be a key.

    Only the values of parameters known to be harmless are shown, and never that of ``key_name``.
    """
    try:
        parts = urlsplit(url)
        pairs = parse_qsl(parts.query, keep_blank_values=True)
    except ValueError:
        return "(an address that cannot be read)"
    user, at, host = parts.netloc.rpartition("@")
    shown = []
    for name, value in pairs:
        if name.lower() in SHOWN and name != key_name:
            shown.append(f"{quote(name)}={quote(value, safe=',:/')}")
        else:
            shown.append(f"{quote(name)}={HIDDEN}" if value else HIDDEN)  # a lone word may be the key itself
    return urlunsplit((parts.scheme, (HIDDEN + at if user else "") + host, parts.path, "&".join(shown), ""))


def request_for(source: ForecastSource, place: Position) -> Request:
    """The full request: the user's own parameters, and what is missing of the family's.

    Raises
    ------
    FetchError
        Without an address, for a family that nobody knows, without the contact
        or the encryption that the service wants, and when a named key cannot be
        found.
    """
    if source.url is None:
        raise FetchError("No forecast service is named. Write its address in yard.toml: [forecast] url = …")
    parts = urlsplit(source.url)
    family = family_of(source.url, source.family)
    refuse_without_manners(family, parts, source.contact)
    own = parse_qsl(parts.query, keep_blank_values=True)
    kept_key = [(name, value) for name, value in own if name == source.key_name]
    key = _key(source)
    plan = plan_for(family, parts, [pair for pair in own if pair[0] != source.key_name], place)
    pairs = plan.pairs + ([(source.key_name, key)] if key else kept_key)
    query = urlencode(pairs, safe=",:", quote_via=quote)
    url = urlunsplit((parts.scheme, parts.netloc, plan.path, query, ""))
    hidden = [value for name, value in pairs if name.lower() not in SHOWN or name == source.key_name]
    return Request(
        url=url,
        host=parts.hostname or "",
        address=masked(url, source.key_name),
        asked=plan.asked,
        secrets=_all_forms([*hidden, parts.username or "", parts.password or ""]),
        family=family,
        accept=plan.accept,
        lookup=plan.lookup,
        has_key=bool(key or kept_key),
        notes=_open_key(parts, secret=bool(key or kept_key or parts.password)),
    )


def _open_key(parts: SplitResult, *, secret: bool) -> tuple[str, ...]:
    if not secret or parts.scheme == "https" or is_loopback(parts.hostname):
        return ()
    return (
        f"the key goes to {parts.hostname} without encryption, and everybody on the way can read it: "
        "https:// in the address would hide it",
    )


def _key(source: ForecastSource) -> str | None:
    """The key from the environment or a file, or None when none is named."""
    if source.key_env:
        value = os.environ.get(source.key_env, "").strip()
        if not value:
            raise FetchError(
                f"The key is to be in the environment variable {source.key_env}, and that is not set. "
                "Set it, or change key_env in yard.toml."
            )
        return value
    if source.key_file:
        try:
            value = Path(source.key_file).expanduser().read_text(encoding="utf-8").strip()
        except (OSError, UnicodeDecodeError):
            raise FetchError(
                f"The key is to be in the file {source.key_file}, and that cannot be read. "
                "Put it there, or change key_file in yard.toml."
            ) from None
        if not value or len(value.split()) > 1:
            raise FetchError(f"The file {source.key_file} should hold the key alone, on one line.")
        return value
    return None


def _all_forms(hidden: Iterable[str]) -> tuple[str, ...]:
    """Secret values as they may turn up in a text: plain and percent-coded, longest first."""
    plain = {form for value in hidden for form in (value, unquote(value)) if len(form) >= 4}
    return tuple(sorted(plain | {quote(form, safe="") for form in plain}, key=len, reverse=True))
