"""One question to a service: who asks, what is known already, and the link behind an answer. An edge."""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from scheduler import __version__
from scheduler.settings import ForecastSource, Position
from scheduler.weather.fetch_errors import FetchError
from scheduler.weather.fetch_family import contact_of
from scheduler.weather.fetch_kept import Answer
from scheduler.weather.fetch_memory import forget_link, known_link, remember_link
from scheduler.weather.fetch_request import Request, masked, request_for
from scheduler.weather.fetch_session import open_session
from scheduler.weather.fetch_when import expires_at
from scheduler.weather.fetch_wire import Manners, Reply, same_host, send
from scheduler.weather.formats.nws import grid_link

if TYPE_CHECKING:
    from requests import Session

__all__ = ["ask", "notes_on"]


def _user_agent(contact: str | None) -> str:
    contact = contact_of(contact)
    return f"coatcast/{__version__}" + (f" (+{contact})" if contact else "")


def ask(
    source: ForecastSource,
    place: Position,
    *,
    now: datetime,
    session: Session | None = None,
    manners: Manners | None = None,
    known: Answer | None = None,
    folder: Path | None = None,
) -> Answer:
    """Ask the service once (with few and bounded tries); what is in the answer is not looked at.

    A service whose answer only names the address of the forecast is asked there
    too, if that is on the same host.

    Parameters
    ----------
    now
        The time, aware; becomes ``fetched``.
    session
        A ``requests`` session to use; it is not closed.
    known
        The last answer to the same question: if the service says that it still
        holds, it is given back with ``checked`` set to ``now``.
    folder
        Where the address that a service names is remembered for a week.

    Raises
    ------
    FetchError
        With what happened and what to do; never with a key.
    """
    manners = manners or Manners()
    request = request_for(source, place)
    used = session or open_session(manners.total, manners.ticks)
    desk = _Desk(used, request, source.contact, now.astimezone(UTC), manners)
    if known is not None and known.address != request.address:
        known = None
    try:
        return _through_links(desk, known, folder)
    finally:
        if session is None:
            used.close()


@dataclass(frozen=True, slots=True)
class _Desk:
    """Everything that one question needs."""

    session: Session
    request: Request
    contact: str | None
    now: datetime
    manners: Manners

    def answer(self, url: str, known: Answer | None, link: str | None = None) -> tuple[Answer, str]:
        """The answer of one address, and the address that gave it in the end."""
        link = None if link is None else masked(link)
        if known is not None and known.link != link:  # of another address than this: no word on this one
            known = None
        headers = {
            "User-Agent": _user_agent(self.contact),
            "Accept": self.request.accept,
            "Accept-Encoding": "gzip",
        }
        headers |= {} if known is None else _validators(known)
        reply = send(self.session, url, self.request, headers, self.contact, self.now, self.manners)
        if reply.status == 304 and known is not None:
            return self._still(known, reply), reply.url
        return self._new(reply, link), reply.url

    def _new(self, reply: Reply, link: str | None) -> Answer:
        return Answer(
            body=reply.body,
            address=self.request.address,
            asked=self.request.asked,
            fetched=self.now,
            status=reply.status,
            etag=reply.headers.get("ETag"),
            last_modified=reply.headers.get("Last-Modified"),
            expires=expires_at(reply.headers, self.now),
            link=link,
            notes=notes_on(self.request, reply.status),
        )

    def _still(self, known: Answer, reply: Reply) -> Answer:
        return replace(
            known,
            checked=self.now,
            expires=expires_at(reply.headers, self.now),
            etag=reply.headers.get("ETag", known.etag),
            last_modified=reply.headers.get("Last-Modified", known.last_modified),
        )


def _validators(known: Answer) -> dict[str, str]:
    """What a service is told of the answer that we have (RFC 9110, 13.1)."""
    named = {"If-None-Match": known.etag, "If-Modified-Since": known.last_modified}
    return {name: value for name, value in named.items() if value}


def notes_on(request: Request, status: int, *, second: bool = False) -> tuple[str, ...]:
    """What belongs into the provenance of an answer: by whom, and what is odd about it."""
    notes: tuple[str, ...] = (f"from the second service, {request.host}",) if second else ()
    if status == 203:
        notes += (f"{request.host} says that this kind of answer is a trial or will end (203)",)
    return notes + request.notes


def _through_links(desk: _Desk, known: Answer | None, folder: Path | None) -> Answer:
    """The forecast itself: at once, or behind the link of a first answer."""
    request = desk.request
    link = known_link(folder, request, desk.now)
    if link is not None and same_host(request.url, link, lift=True):
        try:
            return desk.answer(link, known, link)[0]
        except FetchError as error:
            if error.status != 404:
                raise
            forget_link(folder, request)  # cut anew, perhaps: look it up again
    answer, url = desk.answer(request.url, None if request.lookup else known)
    link = _link_in(answer) if request.lookup or request.family is None else None
    if link is None:
        return answer  # a forecast, or something that the reader refuses in its own words
    if not same_host(url, link):
        other = request.clean(urlsplit(link).hostname or "")
        raise FetchError(
            f"{request.host} names an address on another host, {other}; that is not asked. "
            "If it is the right one, write its address in yard.toml under [forecast]."
        )
    remember_link(folder, request, link, desk.now)
    try:
        return desk.answer(link, known, link)[0]
    except FetchError as error:
        if error.status == 404:
            forget_link(folder, request)
        raise


def _link_in(answer: Answer) -> str | None:
    if b"forecastGridData" not in answer.body:
        return None
    with suppress(ValueError, RecursionError):
        return grid_link(json.loads(answer.body))
    return None
