"""One question over the wire: few and bounded tries, bounded bytes and time, nothing sent to another host.

An edge: sockets, the clock.
"""

from __future__ import annotations

import random
import time
import zlib
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from urllib.parse import urljoin, urlsplit

from scheduler.weather.fetch_errors import MEND_URL, FetchError, Passing
from scheduler.weather.fetch_files import SIZE_LIMIT, unpacked
from scheduler.weather.fetch_refusal import GOOD, refuse
from scheduler.weather.fetch_request import Request

if TYPE_CHECKING:  # requests takes a tenth of a second to import; a stored forecast does not need it
    from requests import Response, Session

__all__ = ["Manners", "Reply", "same_host", "send"]

REDIRECT = "X-Redirect-Hidden"
MOST_HOPS = 4
REASON_LIMIT = 65_536  # bytes of an error page that are read


@dataclass(frozen=True, slots=True)
class Manners:
    """How a service is asked: times in seconds, sizes in bytes; clock, sleep and chance can be replaced."""

    timeout: tuple[float, float] = (5.0, 20.0)  # to connect, and between two pieces of the answer
    total: float = 20.0  # for the head of an answer, and for the rest once that has come
    tries: int = 3
    waits: tuple[float, ...] = (2.0, 4.0)  # before another try, plus up to a second of chance
    longest_wait: float = 30.0  # a service that wants more patience is asked another time
    size_limit: int = SIZE_LIMIT  # of the unpacked answer
    sleep: Callable[[float], None] = time.sleep
    ticks: Callable[[], float] = time.monotonic
    chance: Callable[[], float] = random.random
    clock: Callable[[], datetime] = lambda: datetime.now(UTC)  # the true time, whatever a test plays


@dataclass(frozen=True, slots=True)
class Reply:
    """A good answer of a service, or "not changed" (304, without a body)."""

    url: str = field(repr=False)  # that answered in the end, after redirects
    status: int
    headers: Mapping[str, str]
    body: bytes = field(repr=False)


def send(
    session: Session,
    url: str,
    request: Request,
    headers: Mapping[str, str],
    contact: str | None,
    now: datetime,
    manners: Manners,
) -> Reply:
    """Ask one address, again where trouble may pass.

    Raises
    ------
    FetchError
        With what happened and what to do; never with a key.
    """
    tries, slept = 0, 0.0
    while True:
        tries += 1
        try:
            return _once(session, url, request, headers, contact, now, manners)
        except Passing as passing:
            trouble = passing
        step = manners.waits[min(tries, len(manners.waits)) - 1] + manners.chance()
        pause = max(step, trouble.wait or 0.0)
        if tries >= manners.tries or pause > manners.longest_wait:
            break
        manners.sleep(pause)
        slept += pause
    times = f" ({tries} tries)" if tries > 1 else ""
    retry_at = None if trouble.wait is None else now + timedelta(seconds=slept + trouble.wait)
    when = f"after {retry_at:%Y-%m-%d %H:%M} UTC" if retry_at else "later"
    raise FetchError(
        f"{request.host} {trouble}{times}. Try again {when}.",
        retry_at,
        status=trouble.status,
        hold=trouble.hold,
    )


def _once(
    session: Session,
    url: str,
    request: Request,
    headers: Mapping[str, str],
    contact: str | None,
    now: datetime,
    manners: Manners,
) -> Reply:
    conditional = "If-None-Match" in headers or "If-Modified-Since" in headers
    for _ in range(MOST_HOPS):
        with _get(session, url, request, headers, manners) as response:
            status = response.status_code
            if status in {301, 302, 303, 307, 308}:
                url = _followed(url, response.headers.get(REDIRECT, ""), request)
                continue
            if status == 304 and conditional:
                return Reply(url, status, response.headers, b"")
            body = _body(response, request, manners) if status in GOOD else _reason(response, manners)
            refuse(status, response.headers, body, request, contact, now)
            return Reply(url, status, response.headers, body)
    raise FetchError(f"{request.host} sends on from one address to the next. {MEND_URL}")


def _get(
    session: Session, url: str, request: Request, headers: Mapping[str, str], manners: Manners
) -> Response:
    """The head of an answer, its body not read yet; no text of requests is shown, as it may hold the key."""
    from requests import exceptions

    try:
        return session.get(
            url,
            headers=dict(headers),
            timeout=manners.timeout,
            stream=True,
            allow_redirects=False,
            hooks={"response": _take_redirect_away},
        )
    except exceptions.SSLError:
        raise FetchError(f"The certificate of {request.host} was not accepted. {MEND_URL}") from None
    except exceptions.Timeout:
        raise Passing("did not answer in time") from None
    except exceptions.ConnectionError:
        raise Passing("could not be reached") from None
    except exceptions.RequestException:
        raise FetchError(f"The address {request.address} cannot be asked. {MEND_URL}") from None


def _take_redirect_away(response: Response, *_: object, **__: object) -> None:
    """Hide where a redirect leads: else requests reads its whole body, without a limit, and the address."""
    response.headers[REDIRECT] = response.headers.pop("Location", "")


def same_host(old_url: str, new_url: str, *, lift: bool = False) -> bool:
    """Whether two addresses have the same scheme, host and port; with ``lift`` https for http will do too.

    False for what is no web address.
    """
    try:
        (old_host, *old), (new_host, *new) = _host_of(old_url), _host_of(new_url)
    except ValueError:
        return False
    lifted = lift and (old, new) == (["http", 80], ["https", 443])
    return old_host == new_host and (old == new or lifted)


def _host_of(url: str) -> tuple[str | None, str, int]:
    parts = urlsplit(url)
    port = parts.port or {"http": 80, "https": 443}.get(parts.scheme)
    if port is None:
        raise ValueError(f"no web address: {parts.scheme}")
    return parts.hostname, parts.scheme, port


def _followed(url: str, location: str, request: Request) -> str:
    """Where a redirect leads, if that is the same host; a key and a place go nowhere else."""
    try:
        target = urljoin(url, location)
        parts = urlsplit(target)
        there = f"{parts.scheme}://{parts.hostname}" + (f":{parts.port}" if parts.port else "")
    except ValueError:
        raise FetchError(f"{request.host} sends on to an address that cannot be read. {MEND_URL}") from None
    if location and same_host(url, target, lift=True):
        return target
    raise FetchError(
        f"{request.host} sends on to another host, {request.clean(there)}; that is not followed. "
        "If it is the right one, write its address in yard.toml under [forecast]."
    )


# ------------------------------------------------------------------ the body


def _body(response: Response, request: Request, manners: Manners) -> bytes:
    """The unpacked body, read in pieces, so that neither a huge nor a dripping answer does harm."""
    from urllib3.exceptions import HTTPError

    coding = response.headers.get("Content-Encoding", "identity").strip().lower()
    if coding not in {"identity", "", "gzip", "x-gzip"}:
        raise FetchError(f"{request.host} packed its answer in a way that was not asked for. {MEND_URL}")
    try:
        return unpacked(_pieces(response, manners), manners.size_limit, packed="gzip" in coding)
    except OverflowError:
        limit = manners.size_limit / 1e6
        raise FetchError(
            f"The answer of {request.host} is larger than {limit:g} MB; it was not read. "
            "Ask for fewer quantities, models or days."
        ) from None
    except (HTTPError, OSError, EOFError, zlib.error):
        raise Passing("broke off in the middle of its answer") from None


def _pieces(response: Response, manners: Manners) -> Iterable[bytes]:
    """The body as it comes; an OverflowError for more than the limit, announced or sent."""
    announced = response.headers.get("Content-Length", "")
    if announced.isdecimal() and int(announced) > manners.size_limit:
        raise OverflowError
    # read1 gives what is there without waiting for more, so that the clock below is looked at in time.
    read = getattr(response.raw, "read1", response.raw.read)
    end, size = manners.ticks() + manners.total, 0
    while piece := read(16_384, decode_content=False):
        if manners.ticks() > end:
            raise Passing(f"was still sending after {manners.total:g} s")
        size += len(piece)
        if size > manners.size_limit:  # also of packed bytes that unpack to nothing
            raise OverflowError
        yield piece


def _reason(response: Response, manners: Manners) -> bytes:
    """The first part of an error page; what goes wrong with reading it does not matter, its status counts."""
    from urllib3.exceptions import HTTPError

    read = bytearray()
    with suppress(HTTPError, OSError, OverflowError, Passing):
        for piece in _pieces(response, manners):
            read += piece
            if len(read) >= REASON_LIMIT:
                break
    if "gzip" not in response.headers.get("Content-Encoding", "").lower():
        return bytes(read)
    with suppress(zlib.error):
        return zlib.decompressobj(31).decompress(bytes(read), REASON_LIMIT)
    return b""
