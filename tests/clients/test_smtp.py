"""Mail handed to real mail servers on the loopback: aiosmtpd, and one that breaks the rules byte by byte."""

from __future__ import annotations

import logging
import socket
import ssl
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from email import message_from_bytes, policy
from email.message import EmailMessage
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session
from channel_samples import AT, YARD, Authority, Declared, notice, sends
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.reminders import channels
from scheduler.reminders.channels import Attachment, Message, check
from scheduler.reminders.channels_mail import mail_bytes

USER, PASSWORD = "yard@example.org", "pa55-w/ord+x"
KEEPER = "keeper@example.net"
ICS = b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//y//EN\r\nEND:VCALENDAR\r\n"


class Postbox:
    """Takes mail, or answers as it is told to; it says to each step what it says."""

    def __init__(self, **replies: str) -> None:
        self.replies = replies
        self.mails: list[bytes] = []
        self.senders: list[str | None] = []
        self.encrypted: list[bool] = []
        self.pause = 0.0

    async def handle_MAIL(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        envelope.mail_from = address
        return self.replies.get("mail", "250 OK")

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        reply = self.replies.get("rcpt", "250 OK")
        if reply.startswith("250"):
            envelope.rcpt_tos.append(address)
        return reply

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        reply = self.replies.get("data", "250 taken")
        if reply.startswith("250"):
            self.mails.append(bytes(envelope.content or b""))
            self.senders.append(envelope.mail_from)
            self.encrypted.append(session.ssl is not None)
        return reply

    @property
    def read(self) -> list[EmailMessage]:
        """The mails as a mail program reads them."""
        return [message_from_bytes(one, policy=policy.default) for one in self.mails]  # type: ignore[misc]


def login(server: SMTP, session: Session, envelope: Envelope, mechanism: str, data: Any) -> AuthResult:
    known = isinstance(data, LoginPassword) and data.login == USER.encode()
    return AuthResult(success=known and data.password == PASSWORD.encode(), handled=False)


class Office(Controller):
    """aiosmtpd on a free port."""

    def _trigger_server(self) -> None:
        self.port = self.server.sockets[0].getsockname()[1]
        super()._trigger_server()


@contextmanager
def office(postbox: Postbox, **options: Any) -> Iterator[int]:
    """A mail server with this postbox; gives its port."""
    made = Office(postbox, hostname="127.0.0.1", port=0, **options)
    made.start()
    try:
        yield made.port
    finally:
        made.stop()


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Authority:
    return Authority(tmp_path_factory.mktemp("ca"))


@pytest.fixture(autouse=True)
def password(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("YARD_MAIL", PASSWORD)


def plain(port: int, **changes: Any) -> Declared:
    """A channel to a server in the own network that wants no password."""
    facts = {"address": KEEPER, "host": "127.0.0.1", "port": port, "tls": "none", "sender": USER}
    return Declared("email", **(facts | {"timeout_s": 2.0} | changes))


def secured(port: int, authority: Authority, tls: str = "starttls", **changes: Any) -> Declared:
    """A channel to a server that encrypts and wants to know who sends."""
    facts = {"tls": tls, "user": USER, "secret_env": "YARD_MAIL", "ca_file": str(authority.file)}
    return plain(port, **(facts | changes))


@contextmanager
def encrypting(postbox: Postbox, authority: Authority, tls: str = "starttls") -> Iterator[int]:
    """A server that takes mail over an encrypted line from a known user only."""
    options = {"authenticator": login, "auth_required": True}
    if tls == "starttls":
        options |= {"tls_context": authority.server, "require_starttls": True}
    else:
        options = {"authenticator": login, "auth_require_tls": False, "ssl_context": authority.server}
    with office(postbox, **options) as port:
        yield port


# ------------------------------------------------------------------ it arrives


@pytest.mark.parametrize("tls", ["starttls", "tls"])
def test_a_notice_arrives_encrypted_and_signed_in(authority: Authority, tls: str) -> None:
    postbox = Postbox()
    with encrypting(postbox, authority, tls) as port:
        outcome = sends(secured(port, authority, tls))
    assert outcome.ok, outcome.why
    (mail,) = postbox.read
    assert mail["Subject"] == "Seal: 9 to 1, first H03 walnut butt"
    assert mail["From"] == f"{YARD} <{USER}>"
    assert mail["To"] == KEEPER
    assert mail["Auto-Submitted"] == "auto-generated"  # RFC 3834, 5
    assert parsedate_to_datetime(mail["Date"]) == AT
    assert mail["Message-ID"] == f"<{notice().uid}@example.org>"
    assert mail.get_content_type() == "text/plain"
    assert "past frost by 17:00" in mail.get_content()
    assert postbox.senders == [USER]
    if tls == "starttls":
        assert postbox.encrypted == [True]


def test_the_same_message_again_is_the_same_mail_byte_by_byte(authority: Authority) -> None:
    postbox = Postbox()
    message = notice(attachment=Attachment("coats.ics", ICS))
    with office(postbox) as port:
        assert sends(plain(port), message).ok
        assert sends(plain(port), message).ok
        assert sends(plain(port), notice("yard/morning/2025-11-04/email/0")).ok
    first, again, other = postbox.mails
    assert first == again
    assert message_from_bytes(first)["Message-ID"] != message_from_bytes(other)["Message-ID"]


@pytest.mark.parametrize("method", [None, "PUBLISH"])
def test_the_text_stands_first_and_the_calendar_after_it(method: str | None) -> None:
    calendar = ICS if method is None else ICS.replace(b"PRODID", b"METHOD:PUBLISH\r\nPRODID")
    postbox = Postbox()
    with office(postbox) as port:
        assert sends(plain(port), notice(attachment=Attachment("cö ats\r\nX: y.ics", calendar))).ok
    text, attached = postbox.read[0].iter_parts()
    assert text.get_content_type() == "text/plain"
    assert attached.get_content_type() == "text/calendar"  # RFC 5545, 8.1
    assert attached.get_param("charset") == "utf-8"
    assert attached.get_param("method") == method  # the same in head and body: RFC 6047, 2.4
    assert attached.get_filename() == "c-ats-X-y.ics"
    assert attached.get_payload(decode=True) == calendar


@pytest.mark.parametrize("tail", ["ä" * 3000, "x" * 3000, "Nuß, 9 °C", "end"])
def test_words_of_every_script_arrive_and_only_seven_bits_go_out(tail: str) -> None:
    postbox = Postbox()
    text = f"H03: 9 to 1\n.\n..a line that begins with dots\nFrom here on\n{tail}"
    with office(postbox) as port:
        assert sends(plain(port), notice(subject="Nußbaum 🌳 H03", text=text)).ok
    assert max(postbox.mails[0]) < 128
    assert max(len(line) for line in postbox.mails[0].split(b"\r\n")) <= 998  # RFC 5322, 2.1.1
    assert postbox.read[0]["Subject"] == "Nußbaum 🌳 H03"
    assert postbox.read[0].get_content().replace("\r\n", "\n") == text + "\n"


def test_what_is_urgent_says_so() -> None:
    channel = plain(25)
    assert b"\r\nImportance: high\r\n" in mail_bytes(channel, notice(urgent=True), YARD)
    assert b"Importance" not in mail_bytes(channel, notice(), YARD)


def test_without_a_sender_the_mail_is_from_the_user_or_from_the_keeper_to_the_keeper() -> None:
    read = message_from_bytes(mail_bytes(plain(25, sender=None), notice(), YARD), policy=policy.default)
    assert read["From"].addresses[0].addr_spec == KEEPER
    named = message_from_bytes(
        mail_bytes(plain(25, sender=None, user=USER), notice(), YARD), policy=policy.default
    )
    assert named["From"].addresses[0].addr_spec == USER


HOSTILE = st.text(
    st.one_of(st.sampled_from('\r\n\t\0:<>@",;=?äß🌳\u2028\u202e\ud800 '), st.characters()), min_size=1
)


@given(subject=HOSTILE, text=HOSTILE, yard=HOSTILE, key=st.text(min_size=1), name=HOSTILE)
@settings(max_examples=60, deadline=None)
def test_no_name_of_a_log_or_yard_makes_a_line_of_the_head(
    subject: str, text: str, yard: str, key: str, name: str
) -> None:
    try:
        message = Message(key, subject, text, AT, attachment=Attachment(name, ICS))
    except ValueError:
        return  # nothing to say
    data = mail_bytes(plain(25), message, yard)
    head = data.partition(b"\r\n\r\n")[0]
    names = [line.partition(b":")[0] for line in head.split(b"\r\n") if line[:1] not in b" \t"]
    assert sorted(names) == sorted(
        [
            *(b"From", b"To", b"Subject", b"Date", b"Message-ID", b"Auto-Submitted"),
            *(b"MIME-Version", b"Content-Type"),
        ]
    )
    assert b"\n" not in data.replace(b"\r\n", b"")
    read = message_from_bytes(data, policy=policy.default)
    assert read["To"] == KEEPER
    assert read["From"].addresses[0].addr_spec == USER
    assert len(read["Subject"]) <= 60


def test_a_forged_line_in_a_subject_stays_a_part_of_the_subject() -> None:
    postbox = Postbox()
    with office(postbox) as port:
        assert sends(plain(port), notice(subject="Seal H03\r\nBcc: all@example.com\r\n\r\nHello")).ok
    (mail,) = postbox.read
    assert mail["Subject"] == "Seal H03 Bcc: all@example.com Hello"
    assert "Bcc" not in mail


# ------------------------------------------------------------------ it is refused


@pytest.mark.parametrize(
    ("step", "reply", "state"),
    [
        ("rcpt", "450 4.2.0 greylisted, come back in five minutes", "later"),
        ("rcpt", "452 4.2.2 mailbox full", "later"),
        ("rcpt", "550 5.1.1 no such user", "never"),
        ("mail", "451 4.3.0 not now", "later"),
        ("mail", "553 5.1.8 sender not allowed", "never"),
        ("data", "451 4.7.1 try again", "later"),
        ("data", "554 5.7.1 not wanted", "never"),
        ("data", "421 4.3.2 going down", "later"),
    ],
)
def test_4xx_is_later_and_5xx_is_never(step: str, reply: str, state: str) -> None:  # RFC 5321, 4.2.1
    postbox = Postbox(**{step: reply})
    with office(postbox) as port:
        outcome = sends(plain(port))
    assert outcome.state == state
    assert f'127.0.0.1 answered {reply[:3]} "{reply[4:]}"' in outcome.why
    assert postbox.mails == []


def test_greylisting_passes_at_the_second_try_with_the_same_message_id() -> None:
    postbox = Postbox(rcpt="451 4.7.1 greylisted")
    with office(postbox) as port:
        assert sends(plain(port)).state == "later"
        postbox.replies.clear()
        assert sends(plain(port)).ok
    assert postbox.read[0]["Message-ID"] == f"<{notice().uid}@example.org>"


def test_a_server_that_takes_less_than_the_mail_has_refuses_it() -> None:
    postbox = Postbox()
    with office(postbox, data_size_limit=2000) as port:
        outcome = sends(plain(port), notice(text="long\n" * 2000))
    assert outcome.state == "never"
    assert "552" in outcome.why
    assert "exceeds fixed maximum" in outcome.why  # said to SIZE (RFC 1870), before the mail is sent


def test_a_wrong_password_is_said_and_never_shown(
    authority: Authority, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setenv("YARD_MAIL", "wr0ng-pass/word")
    with caplog.at_level(logging.DEBUG), encrypting(Postbox(), authority) as port:
        outcome = sends(secured(port, authority))
        found = check(secured(port, authority))
    assert outcome.state == "never"
    assert "does not take user and password (535" in outcome.why
    assert not found.ok
    assert found.said == outcome.why
    assert "wr0ng" not in outcome.why + repr(outcome) + "".join(
        r.getMessage() for r in caplog.records if r.name.startswith("scheduler")
    )


def test_a_server_that_repeats_the_password_does_not_get_it_shown() -> None:
    reply = f"550 you said {PASSWORD} and AHlhcmRA and {'x' * 200}"
    with office(Postbox(mail=reply), authenticator=login, auth_require_tls=False) as port:
        outcome = sends(plain(port, user=USER, secret_env="YARD_MAIL"))
    assert outcome.state == "never"
    assert PASSWORD not in outcome.why
    assert "you said ***" in outcome.why
    assert len(outcome.why) < 220


def test_a_password_that_the_server_cannot_take_is_said_without_it(
    authority: Authority, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("YARD_MAIL", "schlüssel-ä")
    with encrypting(Postbox(), authority) as port:
        outcome = sends(secured(port, authority))
    assert outcome.state == "never"
    assert "letters that cannot be sent" in outcome.why
    assert "schl" not in outcome.why


# ------------------------------------------------------------------ encryption


def test_without_starttls_nothing_is_sent(authority: Authority) -> None:
    postbox = Postbox()
    with office(postbox) as port:
        outcome = sends(secured(port, authority))
    assert outcome.state == "never"
    assert "offers no encryption" in outcome.why
    assert postbox.mails == []


@pytest.mark.parametrize("tls", ["starttls", "tls"])
def test_a_certificate_of_nobody_known_or_of_another_name_is_not_taken(
    authority: Authority, tmp_path: Path, tls: str
) -> None:
    other = Authority(tmp_path, "mail.example.org")
    postbox = Postbox()
    with encrypting(postbox, authority, tls) as port:
        unknown = sends(secured(port, other, tls))
    with encrypting(postbox, other, tls) as port:
        misnamed = sends(secured(port, other, tls))
    for outcome in (unknown, misnamed):
        assert outcome.state == "later"
        assert "The certificate of 127.0.0.1 was not accepted" in outcome.why
    assert postbox.mails == []


def test_tls_to_a_port_that_does_not_speak_it_is_said(authority: Authority) -> None:
    with office(Postbox()) as port:
        outcome = sends(secured(port, authority, "tls"))
    assert outcome.state == "later"
    assert "does not speak TLS" in outcome.why


def test_a_far_host_is_never_written_to_without_encryption() -> None:
    outcome = sends(plain(25, host="mail.example.org"))
    assert outcome.state == "never"
    assert "without encryption" in outcome.why


# ------------------------------------------------------------------ it breaks


class Rude:
    """A server on a socket that plays lines, one for each line it hears; ``None`` hangs up."""

    def __init__(self, *says: bytes | None, drip: float = 0.0) -> None:
        self.says, self.drip = says, drip
        self.heard: list[bytes] = []
        self.closing = threading.Event()
        self.door = socket.create_server(("127.0.0.1", 0))
        self.port = self.door.getsockname()[1]
        self.thread = threading.Thread(target=self._serve, daemon=True)
        self.thread.start()

    def _serve(self) -> None:
        try:
            line, _ = self.door.accept()
        except OSError:
            return
        with line, line.makefile("rb") as ear:
            try:
                self._talk(line, ear)
            except OSError:
                return

    def _talk(self, line: socket.socket, ear: Any) -> None:
        for said in self.says:
            if said is None:
                return
            while self.drip and not self.closing.is_set():  # never a whole line
                line.sendall(said)
                time.sleep(self.drip)
            line.sendall(said)
            if said.startswith(b"354"):
                while (heard := ear.readline()) not in {b"", b".\r\n"}:
                    self.heard.append(heard)
            else:
                self.heard.append(ear.readline())
        self.closing.wait(5.0)

    def close(self) -> None:
        self.closing.set()
        self.door.close()
        self.thread.join()


@contextmanager
def rude(*says: bytes | None, drip: float = 0.0) -> Iterator[Rude]:
    made = Rude(*says, drip=drip)
    try:
        yield made
    finally:
        made.close()


HELLO = (b"220 hello\r\n", b"250 hello\r\n", b"250 ok\r\n", b"250 ok\r\n")


@pytest.mark.parametrize(
    "says",
    [(None,), (b"220 hello\r\n", None), (*HELLO[:3], None), (*HELLO, None), (*HELLO, b"354 go\r\n", None)],
)
def test_a_line_that_breaks_anywhere_is_later(says: tuple[bytes | None, ...]) -> None:
    with rude(*says) as server:
        outcome = sends(plain(server.port))
    assert outcome.state == "later"
    assert "broke off" in outcome.why


def test_a_mail_that_was_taken_is_sent_even_if_the_server_then_hangs_up() -> None:
    with rude(*HELLO, b"354 go\r\n", b"250 taken\r\n", None) as server:
        outcome = sends(plain(server.port))
        assert outcome.ok
        assert any(line.startswith(b"Message-ID:") for line in server.heard)


@pytest.mark.parametrize(
    ("greeting", "state"),
    [(b"421 busy\r\n", "later"), (b"554 no service here\r\n", "never"), (b"HTTP/1.1 400 Bad\r\n", "later")],
)
def test_a_greeting_that_is_none_decides_at_once(greeting: bytes, state: str) -> None:
    with rude(greeting, None) as server:
        assert sends(plain(server.port)).state == state


def test_a_silent_server_is_left_in_time() -> None:
    began = time.monotonic()
    with rude(b"") as server:
        outcome = sends(plain(server.port, timeout_s=0.2))
    assert outcome.state == "later"
    assert "did not answer in time" in outcome.why
    assert time.monotonic() - began < 1.0


@pytest.mark.parametrize("piece", [b"2", b"220-and so on\r\n"])
def test_a_server_that_drips_without_end_is_left_in_time(piece: bytes) -> None:
    channel = plain(0, timeout_s=0.1)
    began = time.monotonic()
    with rude(piece, drip=0.02) as server:
        outcome = sends(plain(server.port, timeout_s=0.1))
    assert outcome.state == "later"
    assert "did not answer in time" in outcome.why
    assert time.monotonic() - began < channels.longest(channel) + 0.4


def test_a_server_that_drips_inside_tls_is_left_in_time(authority: Authority) -> None:
    stop = threading.Event()

    def serve(door: socket.socket) -> None:
        with ExitStack() as stack:
            line = stack.enter_context(door.accept()[0])
            safe = stack.enter_context(authority.server.wrap_socket(line, server_side=True))
            while not stop.wait(0.02):
                try:
                    safe.sendall(b"220-on\r\n")
                except (OSError, ssl.SSLError):
                    return

    with socket.create_server(("127.0.0.1", 0)) as door:
        thread = threading.Thread(target=serve, args=(door,), daemon=True)
        thread.start()
        outcome = sends(secured(door.getsockname()[1], authority, "tls", timeout_s=0.1))
        stop.set()
        thread.join()
    assert outcome.state == "later"
    assert "did not answer in time" in outcome.why


def test_nobody_there_is_later() -> None:
    with socket.create_server(("127.0.0.1", 0)) as door:
        port = door.getsockname()[1]
    outcome = sends(plain(port))
    assert outcome.state == "later"
    assert "takes no connection" in outcome.why


def test_a_name_that_is_not_found_is_later(monkeypatch: pytest.MonkeyPatch) -> None:
    def lost(*_: Any, **__: Any) -> Any:
        raise socket.gaierror(-2, "Name or service not known")

    monkeypatch.setattr(socket, "getaddrinfo", lost)
    outcome = sends(plain(25, host="mail.example.org", tls="tls"))
    assert outcome.state == "later"
    assert "no network, or a wrong name" in outcome.why


# ------------------------------------------------------------------ the check without sending


@pytest.mark.parametrize("tls", ["starttls", "tls"])
def test_a_check_signs_in_and_sends_nothing(authority: Authority, tls: str) -> None:
    postbox = Postbox()
    with encrypting(postbox, authority, tls) as port:
        found = check(secured(port, authority, tls))
    assert found.ok, found.said
    assert "signed in" in found.said
    assert PASSWORD not in found.said
    assert postbox.mails == []


def test_a_check_without_the_network_says_so() -> None:
    found = check(plain(1), reach=False)
    assert found.ok
    assert "not asked" in found.said


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"host": None}, "names no mail server"),
        ({"host": "mail example"}, "no name of a mail server"),
        ({"address": None}, "names nobody"),
        ({"address": "a@example.org, b@example.org"}, "Make a [[channel]] for each"),
        ({"address": "keeper"}, "no e-mail address"),
        ({"address": "k@example.org\r\nRCPT TO:<x@example.org>"}, "no e-mail address"),
        ({"address": "k@example.org>"}, "no e-mail address"),
        ({"address": "a..b@example.org"}, "no e-mail address"),
        ({"sender": "käthe@example.org"}, "no e-mail address"),
        ({"tls": "ssl"}, "starttls, tls or none"),
        ({"user": USER}, "no password"),
        ({"secret_env": "YARD_MAIL"}, "no user"),
        ({"user": USER, "secret_env": "NOT_SET_HERE"}, "NOT_SET_HERE, and that is not set"),
        ({"ca_file": "/nowhere/ca.pem"}, "no certificates"),
    ],
)
def test_a_channel_that_cannot_work_says_what_to_mend(changes: dict[str, Any], said: str) -> None:
    channel = plain(1, **changes)
    outcome, found = sends(channel), check(channel)
    assert outcome.state == "never"
    assert said in outcome.why
    assert found == (False, outcome.why)
