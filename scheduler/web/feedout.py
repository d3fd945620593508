"""The calendar feed over HTTP: a secret address, validators that hold, kinds and times by choice."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime, parsedate_to_datetime

from scheduler.settings import FeedChoice, YardFile
from scheduler.views.calendar import calendar_bytes
from scheduler.yard.reminder_row import ReminderRow

__all__ = ["KINDS", "Choice", "ChoiceError", "Feed", "choice_of", "feed_of", "matches"]

KINDS: Mapping[str, tuple[str, ...]] = {
    "spans": ("span",),
    "duties": ("seal", "touch_up", "second_coat", "look", "saw"),
    "saw-by": ("saw_by",),
    "season": ("season",),
}
YES, NO = ("1", "yes", "on"), ("0", "no", "off")
NAMES = ("kinds", "times", "alarms", "days")


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
    named = tuple(word for word in told.get("kinds", ",".join(KINDS)).split(",") if word)
    for word in named:
        if word not in KINDS:
            raise ChoiceError(f"kinds={word}: there are {', '.join(KINDS)}.")
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
        if not told["days"].isdecimal() or not 1 <= int(told["days"][:4]) <= 16:
            raise ChoiceError("days: from 1 to 16.")
        change["days"] = int(told["days"])
    return Choice(tuple(k for k in KINDS if k in named), yard.feed.model_copy(update=change))


@dataclass(frozen=True, slots=True)
class Feed:
    """The calendar as bytes, with its validators."""

    data: bytes
    etag: str
    changed: datetime | None  # None: so lately that a second change in the same second could hide behind it

    @property
    def headers(self) -> dict[str, str]:
        """Validators, and how long it may be kept."""
        out = {"ETag": self.etag, "Cache-Control": "private, max-age=300, must-revalidate"}
        if self.changed is not None:
            out["Last-Modified"] = format_datetime(self.changed, usegmt=True)
        return out


def feed_of(
    rows: Sequence[ReminderRow], yard: YardFile, choice: Choice, settled: datetime, at: datetime
) -> Feed:
    """The feed of an address.

    ``Last-Modified`` is the newest change of *any* reminder, of those that are
    done, dropped or called off too, so that what left the feed shows; it is
    never before this day's beginning (the days shown move on) nor before
    ``settled``, when the settings last changed.
    """
    wanted = {kind for name in choice.kinds for kind in KINDS[name]}
    data = calendar_bytes(
        [row for row in rows if row.kind in wanted],
        yard.yard.name,
        yard.zone,
        yard.yard.units,
        choice.feed,
        at=at,
    )
    etag = f'"{hashlib.sha256(data).hexdigest()[:32]}"'
    day = at.astimezone(yard.zone).replace(hour=0, minute=0, second=0, microsecond=0)
    last = max([*(row.changed_at for row in rows), settled, day]).astimezone(UTC)
    whole = last.replace(microsecond=0)
    return Feed(data, etag, whole if at - whole >= timedelta(seconds=2) else None)


def matches(headers: Mapping[str, str], feed: Feed) -> bool:
    """Whether a client has this feed already (RFC 9110, 13.1.2 and 13.1.3: the ETag rules over the date)."""
    told = headers.get("if-none-match")
    if told is not None:
        names = [name.strip().removeprefix("W/") for name in told.split(",")]
        return "*" in names or feed.etag in names
    since = headers.get("if-modified-since")
    if since is None or feed.changed is None:
        return False
    try:
        when = parsedate_to_datetime(since)
    except (ValueError, TypeError, OverflowError):
        return False
    if when.tzinfo is None:
        when = when.replace(tzinfo=UTC)
    return feed.changed <= when
