"""What mail and push share of the network: whom to trust, near hosts, and an end to waiting.

An edge: sockets, a timer.
"""

from __future__ import annotations

import socket
import ssl
import threading
from collections.abc import Callable
from contextlib import suppress
from ipaddress import ip_address
from pathlib import Path
from types import TracebackType

from scheduler.reminders.channels_told import Trouble

__all__ = ["Patience", "hang_up", "is_near", "reached", "trusted", "why_not_reached"]

# Names that do not leave the own network: RFC 6762 (.local), RFC 8375 (.home.arpa), RFC 6761 (.localhost),
# .internal (kept for private use by ICANN, 2024); .lan is common practice.
NEAR_NAMES = (".local", ".home.arpa", ".localhost", ".internal", ".lan")


def is_near(host: str | None) -> bool:
    """Whether a host is this computer or stands in a private network, by its very name or number.

    Only there may a notice go without encryption.
    """
    host = (host or "").strip("[]").rstrip(".").lower()
    try:
        address = ip_address(host.partition("%")[0])
    except ValueError:
        if not host or ":" in host or host.isdigit() or host.startswith("0x"):  # numbers in other clothes
            return False
        return "." not in host or host.endswith(NEAR_NAMES)
    return (address.is_private or address.is_loopback or address.is_link_local) and not address.is_unspecified


def trusted(ca_file: str | None) -> ssl.SSLContext:
    """Whose certificates are taken: those of this computer, or those in a file of the yard's own.

    Raises
    ------
    Trouble
        When the file cannot be read.
    """
    if not ca_file:
        return ssl.create_default_context()
    try:
        return ssl.create_default_context(cafile=str(Path(ca_file).expanduser()))
    except (OSError, RuntimeError):
        raise Trouble(
            f"The file {ca_file} holds no certificates that can be read. Change ca_file in yard.toml."
        ) from None


class Patience:
    """An end to waiting, whatever the other side does: after ``seconds`` a function is called from a timer.

    A time-out of a socket holds between two bytes only; a server that sends
    one byte now and then would be listened to without end. A timer of the
    system, not the yard's clock, as that may be played.
    """

    def __init__(self, seconds: float, give_up: Callable[[], None] = lambda: None) -> None:
        self._over = threading.Event()
        self._passed = 0
        self._give_up = give_up
        self._timer = threading.Timer(seconds, self._end)
        self._timer.daemon = True

    @property
    def over(self) -> bool:
        """Whether the time has run out."""
        return self._over.is_set()

    def ticks(self) -> float:
        """A clock for those who compare with one: it stands at 0 before the end and runs on after it."""
        self._passed += self.over
        return float(self._passed)

    def _end(self) -> None:
        self._over.set()
        with suppress(OSError):
            self._give_up()

    def __enter__(self) -> Patience:
        self._timer.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._timer.cancel()


def hang_up(sock: socket.socket | None) -> None:
    """End a connection from another thread: who reads from it wakes up.

    Of an encrypted one too, whose own ``shutdown`` would go on in plain text.
    """
    if sock is not None:
        with suppress(OSError):
            socket.socket.shutdown(sock, socket.SHUT_RDWR)


def why_not_reached(error: OSError, host: str, port: int) -> Trouble:
    """An error of the network as a sentence; all of them may pass."""
    where = f"{host}, port {port},"
    if isinstance(error, ssl.SSLCertVerificationError):
        text = (
            f"The certificate of {host} was not accepted ({error.verify_message}). "
            "Check the name, this computer's date, or ca_file."
        )
    elif isinstance(error, ssl.SSLError):
        text = f"{where} does not speak TLS as it should. Check port and tls in yard.toml."
    elif isinstance(error, TimeoutError):
        text = f"{where} did not answer in time."
    elif isinstance(error, socket.gaierror):
        text = f"The name {host} was not found: no network, or a wrong name."
    elif isinstance(error, ConnectionRefusedError):
        text = f"{where} takes no connection."
    elif isinstance(error, (ConnectionResetError, BrokenPipeError, ConnectionAbortedError)):
        text = f"{where} broke off."
    else:
        text = f"{where} could not be reached."
    return Trouble(text, passing=True)


def reached(host: str, port: int, context: ssl.SSLContext | None, timeout: float) -> None:
    """Connect and leave again, with TLS where a context is given; nothing is asked.

    Raises
    ------
    Trouble
        In words for the person.
    """
    try:
        with socket.create_connection((host, port), timeout) as sock:
            if context is not None:
                with context.wrap_socket(sock, server_hostname=host):
                    pass
    except OSError as error:
        raise why_not_reached(error, host, port) from None
    except ValueError:  # a host name that cannot be coded
        raise Trouble(f"'{host}' is no name of a host. Mend it in yard.toml.") from None
