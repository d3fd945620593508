"""A session with an end to its patience. An edge: sockets."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from requests import Session

__all__ = ["open_session"]


class _Bounded(io.RawIOBase):
    """Reads from ``raw`` until a time; then a TimeoutError, as if nothing had come any more."""

    def __init__(self, raw: io.RawIOBase, end: float, ticks: Callable[[], float]) -> None:
        super().__init__()
        self._raw, self._end, self._ticks = raw, end, ticks

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int | None:
        if self._ticks() > self._end:
            raise TimeoutError("too slow")
        return self._raw.readinto(buffer)

    def close(self) -> None:
        self._raw.close()
        super().close()


def open_session(total: float, ticks: Callable[[], float]) -> Session:
    """A session whose answers have ``total`` seconds by ``ticks`` for the head, and as many for the body.

    A read timeout of a socket holds between two bytes only: a head that came
    byte by byte would be waited for without end.
    """
    from http.client import HTTPResponse

    from requests import Session
    from requests.adapters import HTTPAdapter
    from urllib3.connection import HTTPConnection, HTTPSConnection
    from urllib3.connectionpool import HTTPConnectionPool, HTTPSConnectionPool

    class Bounded(HTTPResponse):
        def __init__(self, sock: Any, *args: Any, **more: Any) -> None:
            super().__init__(sock, *args, **more)
            end = ticks() + 2.0 * total
            self.fp.close()
            self.fp = io.BufferedReader(_Bounded(sock.makefile("rb", buffering=0), end, ticks))

    class Plain(HTTPConnection):
        response_class = Bounded

    class Secure(HTTPSConnection):
        response_class = Bounded

    class PlainPool(HTTPConnectionPool):
        ConnectionCls = Plain

    class SecurePool(HTTPSConnectionPool):
        ConnectionCls = Secure

    session = Session()
    for scheme in ("http", "https"):
        adapter = HTTPAdapter()
        adapter.poolmanager.pool_classes_by_scheme = {"http": PlainPool, "https": SecurePool}
        session.mount(f"{scheme}://", adapter)
    return session
