"""A notice as one HTTP request, and the "I am alive" call to an outside address. An edge: sockets.

Nothing is asked twice in one go: the queue knows when to try again. A repeat
carries the same ``Idempotency-Key`` and the same bytes, by which a receiver
can drop it.
"""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urljoin, urlsplit

from scheduler import __version__
from scheduler.reminders.channels_secret import PLACE, Mask, filled, secret_of, seen_by_others
from scheduler.reminders.channels_told import (
    Message,
    Outcome,
    Target,
    Trouble,
    label,
    later,
    never,
    one_line,
    sent,
)
from scheduler.reminders.channels_wire import Patience, is_near, reached, trusted
from scheduler.weather.fetch_session import open_session
from scheduler.weather.fetch_when import retry_after
from scheduler.weather.fetch_wire import same_host

if TYPE_CHECKING:  # a tenth of a second that a run without pushing does not need
    from requests import PreparedRequest, Response, Session

__all__ = ["TOTAL", "check_push", "send_alive", "send_push"]

TIMEOUT = 10.0  # s to connect, and between two bytes
TOTAL = 2.0  # times that for one whole request
MOST_HOPS = 4
LOCATION = "X-Location-Hidden"
GOOD = frozenset({200, 201, 202, 203, 204})
# 408 and 425 by RFC 9110 and 8470, 429 by RFC 6585; 409 is what a receiver answers while it still works on
# the first request with the same key (draft-ietf-httpapi-idempotency-key-header).
PASSING = frozenset({408, 409, 425, 429})
SAME_METHOD = frozenset({307, 308})  # RFC 9110, 15.4: only these keep a POST a POST
ANY_REDIRECT = frozenset({301, 302, 303, 307, 308})
OURS = frozenset(
    {
        *("host", "content-length", "content-type", "transfer-encoding", "connection", "idempotency-key"),
        *("expect", "te", "trailer", "upgrade", "content-encoding"),
    }
)
SECRET_HEADERS = re.compile(r"authorization|token|secret|password|key|cookie", re.IGNORECASE)
_TOKEN = re.compile(r"[A-Za-z0-9!#$%&'*+.^_`|~-]+", re.ASCII)


@dataclass(frozen=True, slots=True)
class _Call:
    """One request, ready to go. ``url`` and ``headers`` may hold the secret and are in no text."""

    method: str
    url: str = field(repr=False)
    host: str
    headers: dict[str, str] = field(repr=False)
    body: bytes | None = field(repr=False, default=None)
    timeout: float = TIMEOUT
    ca_file: str | None = None


def send_push(target: Target, message: Message, yard_name: str, clock: Callable[[], datetime]) -> Outcome:
    """POST one notice as JSON or as text.

    Raises
    ------
    Trouble
        When it did not go, but for an answer of the receiver, which is an outcome.
    """
    call = _call(target, "POST")
    if target.format == "json":
        kind, body = "application/json", message.as_json(yard_name)
    else:
        kind, body = "text/plain; charset=utf-8", (message.whole + "\n").encode()
    headers = call.headers | {
        "Content-Type": kind,
        # A string of structured fields, so in quotes (draft-ietf-httpapi-idempotency-key-header, 2.1).
        "Idempotency-Key": f'"{message.uid}"',
    }
    if "urgency" not in {name.lower() for name in headers}:
        headers["Urgency"] = "high" if message.urgent else "normal"  # RFC 8030, 5.3
    return _sent(_Call("POST", call.url, call.host, headers, body, call.timeout, call.ca_file), clock)


def send_alive(target: Target, clock: Callable[[], datetime]) -> Outcome:
    """Call an outside address that rings where it is not called: it is told nothing but that we live."""
    call = _call(target, "POST" if target.method == "POST" else "GET")
    return _sent(call, clock)


# ------------------------------------------------------------------ what is asked


def _call(target: Target, method: str) -> _Call:
    """The request without its message; a Trouble for an address or header that cannot or may not be used."""
    if target.format not in {"json", "text"}:
        raise Trouble(
            f"format of channel {label(target)} is json or text, not '{one_line(target.format, 20)}'."
        )
    secret = secret_of(target)
    url, host = _address(target, secret)
    Mask(target, secret, url)  # from here on no library logs the address
    headers = {"User-Agent": f"coatcast/{__version__}", "Accept": "*/*", "Accept-Encoding": "identity"}
    headers |= _own_headers(target, secret)
    placed = PLACE in (target.address or "") or any(PLACE in value for value in target.headers.values())
    if secret and not placed:
        headers.setdefault("Authorization", _authorization(target, secret))
    return _Call(method, url, host, headers, None, target.timeout_s or TIMEOUT, target.ca_file)


def _authorization(target: Target, secret: str) -> str:
    """A token as bearer (RFC 6750); with a user, user and password (RFC 7617)."""
    if target.user:
        return "Basic " + b64encode(f"{target.user}:{secret}".encode()).decode()
    if not secret.isascii():
        raise Trouble(f"The token of channel {label(target)} holds letters that cannot be sent in a header.")
    return f"Bearer {secret}"


def _address(target: Target, secret: str | None) -> tuple[str, str]:
    """Where to send, and the host of it, which may be shown."""
    where = f"channel {label(target)}"
    if not target.address:
        raise Trouble(f'C{where[1:]} names no address. Write address = "https://…" into yard.toml.')
    url = filled(target.address, secret, target, coded=True)
    try:
        parts = urlsplit(url)
        host, _ = parts.hostname, parts.port
    except ValueError:
        host = None
    if not host or parts.scheme not in {"http", "https"} or not url.isprintable() or " " in url:
        raise Trouble(
            f"The address of {where} is no web address; it begins with https://. Mend it in yard.toml."
        )
    if parts.username or parts.password:
        raise Trouble(
            f"The address of {where} holds a password. Write user, and secret_env or secret_file, instead."
        )
    if parts.scheme == "http" and not is_near(host):
        raise Trouble(
            f"The address of {where} begins with http://, and everybody on the way to {host} could read the "
            "notice. Write https://; http:// is for your own network."
        )
    return url, host


def _own_headers(target: Target, secret: str | None) -> dict[str, str]:
    """The yard's own headers: none that the request needs, none that breaks a line or bares a secret."""
    found = {}
    for name, text in target.headers.items():
        value = filled(text, secret, target, coded=False)
        where = f"headers of channel {label(target)}: {one_line(name, 40)}"
        if not _TOKEN.fullmatch(name) or not value.isascii() or not value.isprintable():
            raise Trouble(f"{where} cannot be sent. A name is one word; name and value are plain letters.")
        if name.lower() in OURS:
            raise Trouble(f"{where} is set by the program itself. Take it out of yard.toml.")
        if SECRET_HEADERS.search(name) and PLACE not in text:
            raise Trouble(
                f"{where} looks like a secret. Write {PLACE} for it, and secret_env or secret_file."
            )
        found[name] = value.strip()
    return found


# ------------------------------------------------------------------ over the wire


def _sent(call: _Call, clock: Callable[[], datetime]) -> Outcome:
    """Send, and follow where the same host sends on to the same question."""
    url = call.url
    follows = SAME_METHOD if call.method == "POST" else ANY_REDIRECT
    with Patience(TOTAL * call.timeout) as patience, open_session(0.0, patience.ticks) as session:
        for _ in range(MOST_HOPS):
            with _answer(session, url, call, patience) as response:
                status = response.status_code
                if status not in follows:
                    return _outcome(response, call, clock())
                url = _followed(url, response.headers.get(LOCATION, ""), call)
    return never(f"{call.host} sends on from one address to the next. Mend the address in yard.toml.")


def _answer(session: Session, url: str, call: _Call, patience: Patience) -> Response:
    """The head of an answer; its body is never read. No text of requests is shown: it holds the address."""
    from requests import exceptions

    try:
        return session.request(
            call.method,
            url,
            data=call.body,
            headers=call.headers,
            auth=_as_it_is,
            timeout=call.timeout,
            stream=True,
            allow_redirects=False,
            hooks={"response": _take_location_away},
            verify=_certificates(call.ca_file),
        )
    except exceptions.SSLError:
        raise Trouble(
            f"The certificate of {call.host} was not accepted. "
            "Check the name, this computer's date, or ca_file.",
            passing=True,
        ) from None
    except exceptions.Timeout:
        raise Trouble(f"{call.host} did not answer in time.", passing=True) from None
    except exceptions.ConnectionError:
        text = "did not answer in time" if patience.over else "could not be reached, or broke off"
        raise Trouble(f"{call.host} {text}.", passing=True) from None
    except (exceptions.RequestException, ValueError, OSError):
        raise Trouble(f"The address at {call.host} cannot be asked. Mend it in yard.toml.") from None


def _certificates(ca_file: str | None) -> str | bool:
    if not ca_file:
        return True
    trusted(ca_file)  # says so where it cannot be read
    return str(Path(ca_file).expanduser())


def _as_it_is(request: PreparedRequest) -> PreparedRequest:
    """Leaves a request alone. Without any, requests would take a password of its own finding (.netrc)."""
    return request


def _take_location_away(response: Response, *_: object, **__: object) -> None:
    """Hide where a redirect leads: else requests reads the whole body of it, without a limit."""
    response.headers[LOCATION] = response.headers.pop("Location", "")


def _followed(url: str, location: str, call: _Call) -> str:
    try:
        target = urljoin(url, location)
        there = urlsplit(target).hostname or "nowhere"
    except ValueError:
        target, there = "", "nowhere"
    if location and same_host(url, target, lift=True):
        return target
    raise Trouble(
        f"{call.host} sends on to another host or port ({one_line(there, 60)}); that is not followed, as the "
        "secret and the notice are for the first one. If it is right, write its address into yard.toml."
    )


def _outcome(response: Response, call: _Call, now: datetime) -> Outcome:
    """What a status means. The body is not shown: it may repeat the secret in any form."""
    status, host = response.status_code, call.host
    if status in GOOD:
        return sent(f"{host} answered {status}")
    if status in PASSING or status >= 500:
        wait = retry_after(response.headers.get("Retry-After"), now)
        retry_at = None if wait is None else (now + timedelta(seconds=wait)).astimezone(UTC)
        why = f"{host} wants fewer requests (429)" if status == 429 else f"{host} answered {status}"
        until = f"; it asks to wait until {retry_at:%Y-%m-%d %H:%M} UTC" if retry_at else ""
        return later(f"{why}{until}.", retry_at)
    if status in {401, 403, 407}:
        return never(
            f"{host} answered {status}: it does not take the secret. Check secret_env or secret_file."
        )
    if status in ANY_REDIRECT:
        return never(f"{host} answered {status}: the notice goes elsewhere. Mend the address in yard.toml.")
    if status in {404, 405, 410}:
        return never(f"{host} answered {status}: it takes no notices at this address. Mend it in yard.toml.")
    return never(f"{host} answered {status}. Check address and format in yard.toml.")


def check_push(target: Target, *, reach: bool) -> str:
    """What can be known of a web address without sending: it may be used, and its host takes a connection.

    Raises
    ------
    Trouble
        When something is wrong.
    """
    call = _call(target, "GET")
    _certificates(call.ca_file)
    parts = urlsplit(call.url)
    said = f"{call.host} is not asked"
    if reach and _proxy(call.url):
        said = f"{call.host} by the proxy of this computer, not asked"
    elif reach:
        encrypted = parts.scheme == "https"
        port = parts.port or (443 if encrypted else 80)
        reached(call.host, port, trusted(call.ca_file) if encrypted else None, call.timeout)
        said = f"{call.host} takes a connection"
    others = "; the file of the secret can be read by others (chmod 600)" if seen_by_others(target) else ""
    return f"{said}; nothing sent, which only a test can do{others}"


def _proxy(url: str) -> str | None:
    from requests.utils import get_environ_proxies, select_proxy

    return select_proxy(url, get_environ_proxies(url))
