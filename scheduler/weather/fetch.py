"""Asking a forecast service, and the answers kept on disk. The edge: sockets, files, the environment.

What a service is promised: an honest User-Agent, few and bounded tries, no
request before its last answer has run out and none within half an hour, the
question whether anything has changed before the whole is sent again, no more
than four decimals of the place, and to be left alone for as long as it says.
What the user is promised: no key in any text, nothing sent to another host
than the one named, the last good answer when a new one cannot be had, and the
name of the service that an answer is from, if it is not the first.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from scheduler.settings import ForecastSource, Position
from scheduler.weather.fetch_ask import ask, notes_on
from scheduler.weather.fetch_errors import FetchError
from scheduler.weather.fetch_family import is_loopback
from scheduler.weather.fetch_kept import (
    Answer,
    Kept,
    keep,
    kept,
    kept_before,
    last_kept,
    newest_first,
    prune,
    renew,
)
from scheduler.weather.fetch_memory import remember_hold, respect_hold
from scheduler.weather.fetch_request import Request, masked, request_for
from scheduler.weather.fetch_when import next_fetch_minute, place_key
from scheduler.weather.fetch_wire import Manners, same_host
from scheduler.weather.formats import read_answer
from scheduler.weather.series import HOUR, Weather, WeatherError

if TYPE_CHECKING:
    from requests import Session

__all__ = [
    "Answer",
    "FetchError",
    "Kept",
    "Manners",
    "Request",
    "ask",
    "keep",
    "kept",
    "kept_before",
    "last_kept",
    "latest",
    "masked",
    "newest_first",
    "next_fetch_minute",
    "place_key",
    "prune",
    "request_for",
    "weather_of",
]

MIN_REFRESH = timedelta(minutes=30)
CLOCK_SLACK = timedelta(minutes=5)  # an answer from a little later than now: two clocks, not the future
PAST = timedelta(hours=3)  # a time farther back than this is the past: what was known then counts
OLDEST = timedelta(days=30)  # an older answer is of no use as a forecast and is not looked for


# ------------------------------------------------------------------ the newest that can be had


def weather_of(
    answer: Answer,
    place: Position | None,
    *,
    issued: datetime | None = None,
    names: Mapping[str, str] | None = None,
) -> Weather:
    """An answer as weather, its own notes in the provenance; arguments and errors as ``read_answer``."""
    weather = read_answer(
        answer.body,
        place=None if place is None else (place.lat, place.lon),
        issued=issued,
        fetched=answer.fetched,
        address=answer.address,
        names=names,
    )
    return weather.from_source(notes=(*weather.provenance.notes, *answer.notes)) if answer.notes else weather


@dataclass(frozen=True, slots=True)
class _Round:
    """Where and when an answer is wanted, and how services are asked."""

    place: Position
    folder: Path
    at: datetime
    min_refresh: timedelta
    session: Session | None
    manners: Manners
    names: Mapping[str, str]

    @property
    def is_past(self) -> bool:
        return self.at < self.manners.clock() - PAST

    def now_for(self, source: ForecastSource) -> datetime:
        """When a service is asked: truly now, whatever time is meant; one on this computer may play any."""
        true = self.manners.clock().astimezone(UTC)
        return self.at if _on_this_computer(source) or abs(self.at - true) <= CLOCK_SLACK else true

    def good(self, until: datetime, address: str | None = None) -> _Got | None:
        """The newest kept answer that is whole and can be read for this place, of one address or of any.

        Of two of the same moment, from two services, the one that was made later.
        """
        best: _Got | None = None
        for one in newest_first(self.folder, until):
            if one.fetched < (until - OLDEST if best is None else best.answer.fetched):
                break
            if address is None or one.address == address:
                with suppress(WeatherError):
                    answer = one.load()
                    got = _Got(answer, weather_of(answer, self.place, names=self.names), kept=one)
                    best = got if best is None or got.issued > best.issued else best
        return best


@dataclass(frozen=True, slots=True)
class _Got:
    """An answer that can be used, what it holds, and what is to be said of it."""

    answer: Answer
    weather: Weather
    said: str | None = None
    kept: Kept | None = None

    @property
    def issued(self) -> datetime:
        return self.weather.provenance.issued or self.answer.fetched

    def told(self) -> tuple[Answer, str | None]:
        return self.answer, self.said

    def age_h(self, at: datetime) -> float:
        return (at - self.issued) / HOUR


def latest(
    source: ForecastSource,
    place: Position,
    folder: Path,
    now: datetime,
    *,
    min_refresh: timedelta = MIN_REFRESH,
    session: Session | None = None,
    manners: Manners | None = None,
) -> tuple[Answer, str | None]:
    """The newest answer that can be had, and a sentence when it is not a new one although one was wanted.

    A kept answer to the same question is taken as it is while it is younger
    than ``min_refresh`` or has not run out by the service's own word. Otherwise
    the service is asked whether there is a newer one; it is kept only if it can
    be read as a forecast for this place, so that a web page with status 200
    never takes the place of the last good one.

    When that fails, or the forecast is older than ``source.warn_age_h``, the
    second service is asked, if one is named: one of the two is given, never a
    mixture, and the sentence says which. When that fails too, the newest kept
    answer for this place is given with the reasons.

    For a ``now`` more than 3 hours back nobody is asked: the newest answer that
    was kept by then is given. A service on this very computer is asked all the
    same, as long as nothing true is kept from then: it may play any time.

    Raises
    ------
    FetchError
        When there is neither a new nor a kept answer.
    """
    here = _Round(
        place, folder, now.astimezone(UTC), min_refresh, session, manners or Manners(), source.names
    )
    if here.is_past and not (_on_this_computer(source) and _plays(here)):
        return _as_it_was(here), None
    first = _tried(source, here)
    if source.second is None:
        return _earlier(here, source, [first]) if isinstance(first, WeatherError) else first.told()
    if isinstance(first, _Got) and first.age_h(here.at) <= source.warn_age_h:
        return first.told()
    other = _second_of(source)
    return _one_of_two(here, source, other, first, _tried(other, here, second=True))


def _tried(source: ForecastSource, here: _Round, *, second: bool = False) -> _Got | WeatherError:
    try:
        return _from_service(source, here, second=second)
    except WeatherError as trouble:
        return trouble


def _from_service(source: ForecastSource, here: _Round, *, second: bool) -> _Got:
    """A fresh kept answer of this service, else a new one, which is then kept."""
    request = request_for(source, here.place)
    now = here.now_for(source)
    known = here.good(now + CLOCK_SLACK, request.address)
    if known is not None and now < _fresh_until(known.answer, source, here.min_refresh):
        return _in_its_role(known, request, second=second)
    if here.is_past and not _on_this_computer(source):
        raise FetchError(f"{request.host} is not asked what was known in the past.")
    respect_hold(here.folder, request, source.contact, now)
    before = None if known is None else known.answer
    try:
        answer = ask(
            source,
            here.place,
            now=now,
            session=here.session,
            manners=here.manners,
            known=before,
            folder=here.folder,
        )
    except FetchError as error:
        remember_hold(here.folder, request, source.contact, now, error)
        raise
    got = _in_its_role(_Got(answer, weather_of(answer, here.place, names=here.names)), request, second=second)
    try:
        if known is not None and known.kept is not None and answer.checked is not None:
            renew(known.kept, got.answer)
        else:
            keep(got.answer, here.folder, written=here.manners.clock())
    except OSError as trouble:
        return replace(got, said=f"The new answer could not be kept in {here.folder}: {trouble.strerror}.")
    return got


def _in_its_role(got: _Got, request: Request, *, second: bool) -> _Got:
    """The same with the notes of today: a service may have been the second when its answer was kept."""
    return replace(got, answer=replace(got.answer, notes=notes_on(request, got.answer.status, second=second)))


def _fresh_until(answer: Answer, source: ForecastSource, min_refresh: timedelta) -> datetime:
    """Until when a service need not be asked again; its own word counts up to the age that is warned of."""
    seen = answer.checked or answer.fetched
    until = seen + min_refresh
    if answer.expires is None:
        return until
    return max(until, min(answer.expires, seen + timedelta(hours=source.warn_age_h)))


# ------------------------------------------------------------------ another answer than the first service's


def _second_of(source: ForecastSource) -> ForecastSource:
    """The second service as one to ask; the key of the first goes to no other host."""
    changes: dict[str, object] = {"url": source.second, "second": None}
    if not same_host(source.url or "", source.second or ""):
        changes |= {"family": None, "key_env": None, "key_file": None}
    return source.model_copy(update=changes)


def _one_of_two(
    here: _Round,
    source: ForecastSource,
    other: ForecastSource,
    first: _Got | WeatherError,
    second: _Got | WeatherError,
) -> tuple[Answer, str]:
    """The answer to go by when the first service failed or its forecast is old, and why."""
    named = f"{_host(other.url)}, the second service,"
    if isinstance(first, WeatherError):
        if isinstance(second, WeatherError):
            return _earlier(here, source, [first, second])
        return second.answer, _joined(str(first), f"{named} answered and is used.", second.said)
    old = f"The forecast of {_host(source.url)} is {first.age_h(here.at):.0f} h old."
    if isinstance(second, WeatherError):
        return first.answer, _joined(old, first.said, f"{named} did not help: {second}")
    if second.issued <= first.issued:
        return first.answer, _joined(old, first.said, f"{named} has no newer one.")
    return second.answer, _joined(old, f"{named} answered and is used.", second.said)


def _earlier(here: _Round, source: ForecastSource, troubles: list[WeatherError]) -> tuple[Answer, str]:
    """The newest kept answer for this place with the reasons for it; a FetchError when there is none."""
    why = " ".join(str(one) for one in troubles)
    older = here.good(max(here.at, here.now_for(source)) + CLOCK_SLACK)
    if older is None:
        times = [one.retry_at for one in troubles if isinstance(one, FetchError) and one.retry_at]
        raise FetchError(f"{why} No earlier answer is kept.", min(times, default=None))
    return older.answer, f"{why} The answer of {older.answer.fetched:%Y-%m-%d %H:%M} UTC is used."


def _as_it_was(here: _Round) -> Answer:
    """What was known at a time in the past."""
    then = here.good(here.at)
    if then is None:
        raise FetchError(
            f"No answer of a weather service is kept from before {here.at:%Y-%m-%d %H:%M} UTC, "
            "and today's forecast does not show what was known then. Give a stored one with --forecast."
        )
    return then.answer


def _plays(here: _Round) -> bool:
    """Whether a past time is only played: what is kept from then, if anything, was not written then."""
    then = here.good(here.at)
    if then is None or then.kept is None or then.kept.written is None:
        return then is None
    return abs(then.kept.written - then.kept.fetched) > PAST


def _on_this_computer(source: ForecastSource) -> bool:
    return is_loopback(urlsplit(source.url or "").hostname)


def _host(url: str | None) -> str:
    return urlsplit(url or "").hostname or "no host"


def _joined(*sentences: str | None) -> str:
    return " ".join(one for one in sentences if one)
