"""What stands before every route: who may ask, how much may be sent, and what the browser must not do."""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Callable, Collection
from http.cookies import CookieError, SimpleCookie
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from scheduler.web.keys import Keys, same

__all__ = ["COOKIE", "LOCAL", "MOST_BYTES", "Guard", "host_of", "is_address"]

MOST_BYTES = 64 * 1024  # of a form; the catch-up of some hundred ends fits
LOCAL = frozenset({"localhost", "127.0.0.1", "::1"})
COOKIE = "coatcast"
READS = ("GET", "HEAD")
OPEN = ("/health",)  # needs no secret
OWN_SECRET = ("/feed/", "/in/")  # carries its own in the address
RELAYED = (
    "forwarded",
    "x-forwarded-for",
    "x-real-ip",
    "via",
)  # it came from elsewhere
FRAME = "default-src 'none'; img-src data:; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"


def host_of(value: str) -> str | None:
    """The host of a Host header without its port, None where it is no host."""
    if not re.fullmatch(r"[A-Za-z0-9.\-]{1,253}(:\d{1,5})?|\[[0-9A-Fa-f:.]{2,45}\](:\d{1,5})?", value):
        return None
    host = value.rpartition("]")[0].lstrip("[") if value.startswith("[") else value.partition(":")[0]
    return host.rstrip(".").casefold()


def is_address(host: str) -> bool:
    """Whether a host is a bare IP address: no foreign name can be made to point here by it."""
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


class Guard:
    """ASGI middleware.

    Parameters
    ----------
    hosts
        Further names by which the page may be called, beside ``LOCAL``; those who use them need the secret.
    lan
        Whether it may be called by any bare IP address too, and always asks for the page's secret.
    style
        The CSP source of the page's style sheet.
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        keys: Callable[[], Keys],
        hosts: Callable[[], Collection[str]],
        lan: bool,
        style: str,
    ) -> None:
        self.app = app
        self.keys = keys
        self.hosts = hosts
        self.lan = lan
        self.policy = f"{FRAME}; style-src {style}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on what may pass; answer the rest in one plain sentence."""
        if scope["type"] != "http":
            if scope["type"] != "websocket":
                await self.app(scope, receive, send)
            return
        sender = self._with_headers(scope["path"], send)
        refused = self._refused(scope)
        if refused is None and scope["method"] not in READS:
            body = await _body(Headers(scope=scope), receive)
            if body is None:
                refused = _plain(413, "This is more than a form of this page can hold; nothing was noted.")
            else:
                receive = _again(body, receive)
        await (refused or self.app)(scope, receive, sender)

    def _refused(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        host = host_of(headers.get("host", ""))
        if host is None or not self._ours(host):
            return _plain(421, "This page is not called by that name.")
        if scope["method"] not in (*READS, "POST"):
            return _plain(405, "This page only reads and takes forms.", {"Allow": "GET, HEAD, POST"})
        if scope["method"] == "POST" and not _same_site(headers):
            return _plain(403, "That form came from another site; nothing was noted.")
        path: str = scope["path"]
        asks = self.lan or host not in LOCAL or any(name in headers for name in RELAYED)
        if asks and path not in OPEN and not path.startswith(OWN_SECRET) and not self._knows(headers):
            return _plain(
                403, "Open the page once by the address or the code that coatcast serve --lan shows."
            )
        return None

    def _ours(self, host: str) -> bool:
        named = host in LOCAL or host in {name.casefold() for name in self.hosts()}
        return named or (self.lan and is_address(host))

    def _knows(self, headers: Headers) -> bool:
        cookies: SimpleCookie = SimpleCookie()
        try:
            cookies.load(headers.get("cookie", ""))
        except CookieError:
            return False
        found = cookies.get(COOKIE)
        return found is not None and same(found.value, self.keys().pass_word)

    def _with_headers(self, path: str, send: Send) -> Send:
        async def sender(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers["Content-Security-Policy"] = self.policy
                headers["X-Content-Type-Options"] = "nosniff"
                headers["Referrer-Policy"] = "same-origin"  # with none, a form would have no Origin
                headers["X-Frame-Options"] = "DENY"
                headers["X-Robots-Tag"] = "noindex"
                headers["Cross-Origin-Resource-Policy"] = "same-origin"
                if "cache-control" not in headers:
                    headers["Cache-Control"] = "no-store"
            await send(message)

        return sender


def _plain(status: int, text: str, headers: dict[str, str] | None = None) -> Response:
    return PlainTextResponse(text + "\n", status_code=status, headers=headers)


def _same_site(headers: Headers) -> bool:
    """Whether the browser says that a form is the page's own; a request of no browser says nothing."""
    site = headers.get("sec-fetch-site")
    if site is not None and site not in ("same-origin", "none"):
        return False
    origin = headers.get("origin")
    if origin is None:
        return True
    # A page without referrer may send "null" with its own forms: then the browser's other word is needed.
    return (
        site == "same-origin" if origin == "null" else _netloc(origin) == headers.get("host", "").casefold()
    )


def _netloc(origin: str) -> str | None:
    try:
        return urlsplit(origin).netloc.casefold()
    except ValueError:
        return None


async def _body(headers: Headers, receive: Receive) -> bytes | None:
    """The whole body, None where it is too long; what was announced too long is not read at all."""
    said = headers.get("content-length", "")
    if said.isdecimal() and (len(said) > 12 or int(said) > MOST_BYTES):
        return None
    body = bytearray()
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            return bytes(body)
        body += message.get("body", b"")
        if len(body) > MOST_BYTES:
            return None
        if not message.get("more_body", False):
            return bytes(body)


def _again(body: bytes, receive: Receive) -> Receive:
    """A receiver that gives the body that was read already, then what comes."""
    given = False

    async def receiver() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return receiver
