"""The calendar feed over HTTP: a secret address, validators that hold, kinds and times by choice."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime, parsedate_to_datetime
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, QueryParams
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from scheduler.settings import FeedChoice, YardFile
from scheduler.views.calendar import calendar_bytes
from scheduler.web.desk import Desk
from scheduler.yard.reminder_row import ReminderRow

__all__ = ["KINDS", "Choice", "ChoiceError", "Feed", "Feeds", "choice_of", "feed_bytes", "matches"]

KINDS: Mapping[str, tuple[str, ...]] = {
    "spans": ("span",),
    "duties": ("seal", "touch_up", "second_coat", "look", "saw"),
    "saw-by": ("saw_by",),
    "season": ("season",),
}
YES, NO = ("1", "yes", "on"), ("0", "no", "off")
NAMES = ("kinds", "times", "alarms", "days")
MOST_DAYS = 16
MOST_KEPT = 64  # addresses whose calendar is kept ready
SECOND = timedelta(seconds=1)
FOR_HOW_LONG = "private, max-age=300, must-revalidate"


class ChoiceError(ValueError):
    """An address that asks for what there is not."""


@dataclass(frozen=True, slots=True)
class Choice:
    """What an address asks for; the yard file's word where it says nothing."""

    kinds: tuple[str, ...]
    feed: FeedChoice


def choice_of(query: Sequence[tuple[str, str]], yard: YardFile) -> Choice:
    """Read the address: ``?kinds=spans,duties&times=zone&alarms=yes&days=7``.

    Raises
    ------
    ChoiceError
        Naming what there is.
    """
    told = dict(query)
    unknown = [name for name in told if name not in NAMES]
    if unknown:
        raise ChoiceError(f"'{unknown[0]}' is no choice of the feed; there are {', '.join(NAMES)}.")
    named = [word.strip() for word in told.get("kinds", ",".join(KINDS)).split(",")]
    for word in named:
        if word not in KINDS:
            raise ChoiceError(f"kinds: '{word}' is none; there are {', '.join(KINDS)}.")
    change: dict[str, object] = {}
    if "times" in told:
        if told["times"] not in ("utc", "zone"):
            raise ChoiceError("times: utc or zone.")
        change["times"] = told["times"]
    if "alarms" in told:
        if told["alarms"] not in (*YES, *NO):
            raise ChoiceError("alarms: yes or no.")
        change["alarms"] = told["alarms"] in YES
    if "days" in told:
        if not told["days"].isdecimal() or not 1 <= int(told["days"][:4]) <= MOST_DAYS:
            raise ChoiceError(f"days: from 1 to {MOST_DAYS}.")
        change["days"] = int(told["days"])
    return Choice(tuple(k for k in KINDS if k in named), yard.feed.model_copy(update=change))


def feed_bytes(rows: Sequence[ReminderRow], yard: YardFile, choice: Choice, at: datetime) -> bytes:
    """The calendar of an address: the kinds that it names, the cancelled ones too."""
    wanted = {kind for name in choice.kinds for kind in KINDS[name]}
    mine = [row for row in rows if row.kind in wanted]
    y = yard.yard
    return calendar_bytes(mine, y.name, yard.zone, y.units, choice.feed, at=at, language=y.language)


@dataclass(frozen=True, slots=True)
class Feed:
    """The calendar of an address as bytes, with its validators (RFC 9110, 8.8).

    ``changed`` is a whole second at which these bytes, and no others, were served.
    """

    data: bytes
    etag: str
    changed: datetime

    def headers(self, at: datetime) -> dict[str, str]:
        """Validators, and how long it may be kept. A date to come is not told (RFC 9110, 8.8.2.1)."""
        out = {"ETag": self.etag, "Cache-Control": FOR_HOW_LONG}
        if self.changed <= at:
            out["Last-Modified"] = format_datetime(self.changed, usegmt=True)
        return out


def matches(headers: Headers, feed: Feed, at: datetime) -> bool:
    """Whether a client has this feed already (RFC 9110, 13.1.2 and 13.1.3: the ETag rules over the date)."""
    told = headers.getlist("if-none-match")
    if told:
        names = [name.strip().removeprefix("W/") for name in ",".join(told).split(",")]
        return "*" in names or feed.etag in names
    since = headers.get("if-modified-since")
    if since is None or feed.changed > at:
        return False
    try:
        when = parsedate_to_datetime(since)
    except (ValueError, TypeError, OverflowError):
        return False
    if when.tzinfo is None:
        when = when.replace(tzinfo=UTC)
    return feed.changed <= when


@dataclass(slots=True)
class Feeds:
    """The calendars of all addresses that were asked for, ready as bytes until something changes.

    ``Last-Modified`` is taken from the bytes themselves: it moves on whenever other
    bytes are found than before, whatever the reason (an entry that left, a new day,
    a changed setting, a new version of the program), and never stands still or goes
    back, so that a client that sends nothing but a date misses nothing.
    """

    kept: dict[str, tuple[Any, Feed]] = field(default_factory=dict)
    choices: dict[str, tuple[YardFile, Choice]] = field(default_factory=dict)

    def clear(self) -> None:
        """Forget all."""
        self.kept.clear()
        self.choices.clear()

    async def answer(self, request: Request, desk: Desk) -> Response:
        """The calendar, or that it has not changed."""
        yard, query, at = desk.yard(), request.url.query, desk.clock().astimezone(UTC)
        try:
            choice = self._choice(query, yard)
        except ChoiceError as error:
            return PlainTextResponse(f"{error}\n", status_code=400)
        state = (desk.stamp(), at.astimezone(yard.zone).date(), yard, choice)
        state_, feed = self.kept.get(query, (None, None))
        if feed is None or state_ != state:
            data = await run_in_threadpool(lambda: feed_bytes(desk.rows(), yard, choice, at))
            feed = self._seen(query, state, data, at)
        headers = feed.headers(at)
        if matches(request.headers, feed, at):
            return Response(status_code=304, headers=headers)
        headers |= {"Content-Disposition": 'inline; filename="coatcast.ics"'}
        if request.method == "HEAD":
            headers["Content-Length"] = str(len(feed.data))
        body = b"" if request.method == "HEAD" else feed.data
        return Response(body, media_type="text/calendar; charset=utf-8", headers=headers)

    def _choice(self, query: str, yard: YardFile) -> Choice:
        """What an address asks for, read once for each yard file."""
        found = self.choices.get(query)
        if found is None or found[0] is not yard:
            choice = choice_of(QueryParams(query).multi_items(), yard)
            found = (yard, choice)
            self.choices[query] = found
            _shorten(self.choices)
        return found[1]

    def _seen(self, query: str, state: Any, data: bytes, at: datetime) -> Feed:
        """Keep the bytes of an address; other bytes than before have a later date than any told of those."""
        etag = f'"{hashlib.sha256(data).hexdigest()[:32]}"'
        before = self.kept.pop(query, (None, None))[1]
        if before is not None and before.etag == etag:
            feed = before
        else:
            since = at if before is None else max(at, before.changed)
            feed = Feed(data, etag, since.replace(microsecond=0) + SECOND)
        self.kept[query] = (state, feed)
        _shorten(self.kept)
        return feed


def _shorten(kept: dict[str, Any]) -> None:
    while len(kept) > MOST_KEPT:
        kept.pop(next(iter(kept)))
