"""E-mail: one person, one message, by a mail server of the yard's choice. An edge: sockets.

What a server answers decides (RFC 5321, 4.2.1): 2xx it is sent, 4xx later,
5xx never. A connection that breaks after the message went out and before the
answer came is "later", so that a repeat can arrive; it has the same
Message-ID and the same bytes, by which mail programs drop it.
"""

from __future__ import annotations

import re
import smtplib
import ssl
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from email import policy
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import format_datetime

from scheduler.reminders.channels_secret import Mask, secret_of, seen_by_others
from scheduler.reminders.channels_told import (
    MOST_SUBJECT,
    Attachment,
    Message,
    Outcome,
    Target,
    Trouble,
    label,
    one_line,
    sent,
)
from scheduler.reminders.channels_wire import Patience, hang_up, is_near, trusted, why_not_reached

__all__ = ["TOTAL", "check_mail", "mail_bytes", "send_mail"]

TIMEOUT = 20.0  # s between two bytes; mail servers look at a message before they answer
TOTAL = 3.0  # times that for one whole session
PORTS = {"starttls": 587, "tls": 465, "none": 25}  # RFC 6409, RFC 8314, RFC 5321
WRITE = "Write {} into yard.toml under this [[channel]]."
# Everything goes out in seven bits, as not every server takes eight.
POLICY = policy.SMTP.clone(cte_type="7bit")
_ADDRESS = re.compile(r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*", re.ASCII)
_METHOD = re.compile(rb"(?mi)^METHOD:([A-Z]+)\r?$")
_HOST = re.compile(r"[A-Za-z0-9.-]+|\[?[0-9a-fA-F:.]+\]?", re.ASCII)


# ------------------------------------------------------------------ the message


def mail_bytes(target: Target, message: Message, yard_name: str) -> bytes:
    """The mail as it goes over the wire; the same bytes for the same message.

    Plain text first, a calendar as ``text/calendar`` after it (RFC 5545, 8.1).
    ``Auto-Submitted`` keeps answering machines quiet (RFC 3834, 5). The
    Message-ID follows from the key (RFC 5322, 3.6.4).

    Raises
    ------
    Trouble
        When the channel names nobody that a mail can go to.
    """
    to, sender = _to(target), _sender(target)
    mail = EmailMessage(policy=POLICY)
    mail["From"] = Address(display_name=_literal(yard_name, 60), addr_spec=sender)
    mail["To"] = Address(addr_spec=to)
    mail["Subject"] = _literal(message.subject, MOST_SUBJECT)
    mail["Date"] = format_datetime(message.at)
    mail["Message-ID"] = f"<{message.uid}@{sender.rpartition('@')[2]}>"
    mail["Auto-Submitted"] = "auto-generated"
    if message.urgent:
        mail["Importance"] = "high"  # RFC 4021, 2.1.19
    mail.set_content(message.text + "\n")
    if message.attachment is not None:
        _attach(mail, message.attachment)
        mail.set_boundary(f"=_{message.uid}")
    return mail.as_bytes()


def _literal(text: str, most: int) -> str:
    """A text on one line in which no encoded word begins (RFC 2047, 2), cut to ``most`` characters.

    The library would decode one that a person typed, line breaks and all, and write what comes of it
    into the head: so a name could add a line to it.
    """
    return one_line(one_line(text, most).replace("=?", "= ?"), most)


def _attach(mail: EmailMessage, attachment: Attachment) -> None:
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", attachment.name)[-60:].strip(".-") or "file"
    kind, params = ("application", "octet-stream"), {}
    if name.lower().endswith(".ics"):
        kind, params = ("text", "calendar"), {"charset": "utf-8"}
        if method := _METHOD.search(attachment.data):  # must be the same in head and body (RFC 6047, 2.4)
            params["method"] = method[1].decode().upper()
    mail.add_attachment(attachment.data, maintype=kind[0], subtype=kind[1], filename=name, params=params)


def _to(target: Target) -> str:
    where = f"channel {label(target)}"
    if not target.address:
        raise Trouble(f"E-mail {where} names nobody. {WRITE.format('address')}")
    if "," in target.address or ";" in target.address:
        raise Trouble(
            f"E-mail {where} names more than one person. Make a [[channel]] for each, so that each is told "
            "even where another's mailbox is full."
        )
    return _address(target.address, f"address of {where}")


def _sender(target: Target) -> str:
    """Who a mail is from: the sender named, else the user if that is an address, else whom it goes to."""
    if target.sender:
        return _address(target.sender, f"sender of channel {label(target)}")
    if target.user and _ADDRESS.fullmatch(target.user):
        return target.user
    return _to(target)


def _address(text: str, what: str) -> str:
    local = text.partition("@")[0]
    if not _ADDRESS.fullmatch(text) or local.startswith(".") or local.endswith(".") or ".." in local:
        raise Trouble(
            f"'{one_line(text, 60)}', the {what}, is no e-mail address; write it as name@example.org, "
            "in plain letters."
        )
    return text


# ------------------------------------------------------------------ the server


class _Session(smtplib.SMTP):
    """A session that can be hung up from its first byte on: it connects when told to, not when made."""

    def __init__(self, host: str, timeout: float) -> None:
        # Without a name of its own smtplib asks the network for one, which may take long and tells too much.
        super().__init__(local_hostname="[127.0.0.1]", timeout=timeout)
        self._host = host  # the name that a certificate must have


class _Encrypted(smtplib.SMTP_SSL):
    """The same, encrypted from its first byte on (RFC 8314)."""

    def __init__(self, host: str, timeout: float, context: ssl.SSLContext) -> None:
        super().__init__(local_hostname="[127.0.0.1]", timeout=timeout, context=context)
        self._host = host


def _server(target: Target) -> tuple[str, int]:
    """Host and port, once it is clear that the notice may go there in this way."""
    where = f"E-mail channel {label(target)}"
    if not target.host:
        raise Trouble(f"{where} names no mail server. {WRITE.format('host')}")
    if not _HOST.fullmatch(target.host):
        raise Trouble(f"'{one_line(target.host, 60)}' is no name of a mail server. Mend host in yard.toml.")
    if target.tls not in PORTS:
        raise Trouble(f"tls of {where} is starttls, tls or none, not '{one_line(target.tls, 20)}'.")
    if target.tls == "none" and not is_near(target.host):
        raise Trouble(
            f"{where} would send to {target.host} without encryption; that is done in your own network only. "
            'Write tls = "starttls" or "tls".'
        )
    return target.host.strip("[]"), target.port or PORTS[target.tls]


def _password(target: Target) -> str | None:
    """The password, which goes with a user as a user goes with it; None for a server that wants neither."""
    secret = secret_of(target)
    if target.user and not secret:
        text = f"E-mail channel {label(target)} names a user and no password."
        raise Trouble(f"{text} {WRITE.format('secret_env or secret_file')}")
    if secret and not target.user:
        raise Trouble(f"E-mail channel {label(target)} names a password and no user. {WRITE.format('user')}")
    return secret


@contextmanager
def _signed_in(target: Target, secret: str | None, mask: Mask) -> Iterator[smtplib.SMTP]:
    """A session with a mail server, encrypted and signed in as the channel says; trouble as ``Trouble``."""
    host, port = _server(target)
    timeout = target.timeout_s or TIMEOUT
    context = trusted(target.ca_file)
    session = _Encrypted(host, timeout, context) if target.tls == "tls" else _Session(host, timeout)
    with Patience(TOTAL * timeout, lambda: hang_up(session.sock)) as patience:
        try:
            code, words = session.connect(host, port)
            if code != 220:
                raise smtplib.SMTPConnectError(code, words)
            session.ehlo_or_helo_if_needed()
            if target.tls == "starttls":
                session.starttls(context=context)
                session.ehlo()
            if target.user and secret:
                session.login(target.user, secret)
            yield session
        except (
            OSError,
            ValueError,
        ) as error:  # smtplib's own errors are of OSError, coding errors of ValueError
            raise _trouble(error, host, port, mask, late=patience.over) from None
        finally:
            session.close()


def _trouble(error: Exception, host: str, port: int, mask: Mask, *, late: bool) -> Trouble:
    """What an error of a session means, as a sentence."""
    if late or isinstance(error.__context__, TimeoutError):
        return why_not_reached(TimeoutError(), host, port)
    if isinstance(error, smtplib.SMTPResponseException):
        return _answered(error, host, mask)
    if isinstance(error, smtplib.SMTPServerDisconnected):
        return why_not_reached(ConnectionResetError(), host, port)
    if isinstance(error, smtplib.SMTPNotSupportedError) and "STARTTLS" in str(error):
        return Trouble(f'{host} offers no encryption on port {port}; nothing was sent. Try tls = "tls".')
    if isinstance(error, smtplib.SMTPException):
        return Trouble(
            f"{host} offers no way to sign in on port {port}. Check port, tls and user in yard.toml."
        )
    if isinstance(error, OSError):
        return why_not_reached(error, host, port)
    return Trouble(f"User or password for {host} hold letters that cannot be sent there.")


def _answered(error: smtplib.SMTPResponseException, host: str, mask: Mask) -> Trouble:
    """A refusal: 4xx may pass; 5xx stays, whatever it is about; what is no answer at all may pass."""
    code, words = error.smtp_code, error.smtp_error
    said = mask(words if isinstance(words, bytes) else str(words))
    if isinstance(error, smtplib.SMTPAuthenticationError) and code >= 500:
        return Trouble(
            f'{host} does not take user and password ({code} "{said}"). Check user and the secret.'
        )
    if not 400 <= code <= 599:
        return Trouble(f"{host} answers in a way that is no mail server's.", passing=True)
    return Trouble(f'{host} answered {code} "{said}".', passing=code < 500)


def _expect(answer: tuple[int, bytes], good: tuple[int, ...]) -> None:
    if answer[0] not in good:
        raise smtplib.SMTPResponseException(*answer)


def send_mail(target: Target, message: Message, yard_name: str) -> Outcome:
    """Send one mail.

    Raises
    ------
    Trouble
        When it did not go.
    """
    secret = _password(target)
    mask = Mask(target, secret)
    data = mail_bytes(target, message, yard_name)
    with _signed_in(target, secret, mask) as session:
        size = [f"SIZE={len(data)}"] if session.has_extn("size") else []
        _expect(session.mail(_sender(target), size), (250,))
        _expect(session.rcpt(_to(target)), (250, 251))
        _expect(session.data(data), (250,))
        with suppress(OSError):  # it is sent, however the server says goodbye
            session.quit()
    return sent(f"to {target.address} by {target.host}")


def check_mail(target: Target, *, reach: bool) -> str:
    """What can be known of a mail channel without sending: the server is there, encrypts, and knows the user.

    Raises
    ------
    Trouble
        When something is wrong.
    """
    secret = _password(target)
    mask = Mask(target, secret)
    to, _ = _to(target), _sender(target)
    host, port = _server(target)
    if reach:
        with _signed_in(target, secret, mask) as session:
            _expect(session.noop(), (250,))
            with suppress(OSError):
                session.quit()
    how = {"starttls": "with STARTTLS", "tls": "with TLS", "none": "without encryption"}[target.tls]
    done = ("signed in" if secret else "answered") if reach else "not asked"
    others = "; the file of the password can be read by others (chmod 600)" if seen_by_others(target) else ""
    return f"mail to {to} by {host}, port {port}, {how}: {done}{others}"
