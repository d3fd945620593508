"""From the outbox to a real mail server and a web receiver that follow a script, and no secret on the way."""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import timedelta
from email import message_from_bytes, policy
from pathlib import Path

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session
from channel_samples import Receiver, Step, answers, receiver
from command_line import run
from notice_samples import AT, Clock, notice, wants, yard_of
from reminder_samples import job, wanted

from scheduler.backup import record_lines
from scheduler.delivery import Delivered
from scheduler.health import channel_checks, health, notice_check
from scheduler.reminders import queue_outbox as outbox
from scheduler.settings import YardFile
from scheduler.tick import tick
from scheduler.yard.store import Store, open_store

TOKEN = "tk-5f2c9d17aa"


class Postbox:
    """A mail server that answers by a script, then takes what comes."""

    def __init__(self, *replies: str) -> None:
        self.replies = list(replies)
        self.mails: list[bytes] = []

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        self.mails.append(bytes(envelope.content or b""))
        return self.replies.pop(0) if self.replies else "250 taken"


class Office(Controller):
    """aiosmtpd on a free port."""

    def _trigger_server(self) -> None:
        assert self.server is not None
        self.port = self.server.sockets[0].getsockname()[1]
        super()._trigger_server()


@pytest.fixture(autouse=True)
def _no_proxy(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.setenv("YARD_TOKEN", TOKEN)


@pytest.fixture
def store() -> Iterator[Store]:
    with open_store("sqlite://") as opened:
        yield opened


def push_to(folder: Path, to: Receiver, *more: str) -> YardFile:
    channel = f'[[channel]]\nkind = "push"\naddress = "{to.base}/{{secret}}"\nsecret_env = "YARD_TOKEN"'
    return yard_of(folder, channel, *more)


def goes_on(store: Store, yard: YardFile, clock: Clock, hours: float, every: int = 5) -> list[Delivered]:
    """Rounds for some hours."""
    done = []
    for _ in range(int(hours * 60 / every)):
        done.append(tick(store, yard, clock, plan=wants(notice()), draw=lambda: 0.5).delivered)
        clock.goes(timedelta(minutes=every))
    return done


@pytest.mark.parametrize(
    "script",
    [
        [answers(503), answers(200)],
        [answers(429, Retry_After="600"), answers(202)],
        [answers(408), answers(425), answers(500), answers(204)],
    ],
)
def test_a_receiver_in_trouble_gets_the_same_notice_later_under_the_same_key(
    store: Store, tmp_path: Path, script: list[Step]
) -> None:
    with receiver(*script) as to:
        goes_on(store, push_to(tmp_path, to), Clock(), 1)
        assert len(to.asked) == len(script)
        assert len({one.headers["Idempotency-Key"] for one in to.asked}) == 1
        assert len({one.body for one in to.asked}) == 1
    assert [row.state for row in outbox.rows(store, "yard")] == ["sent"]


def test_a_receiver_that_refuses_is_not_asked_again_and_the_refusal_is_told(
    store: Store, tmp_path: Path
) -> None:
    with receiver(answers(410)) as to:
        yard, clock = push_to(tmp_path, to), Clock()
        goes_on(store, yard, clock, 2)
        assert len(to.asked) == 1
    assert "answered 410" in notice_check(store, yard, clock.at).said
    assert health(store, yard, clock.at)["given_up"] == 1


def test_a_mail_server_that_greylists_takes_the_mail_at_a_later_round(store: Store, tmp_path: Path) -> None:
    postbox = Postbox("451 come back", "421 busy", "250 taken")
    office = Office(postbox, hostname="127.0.0.1", port=0)
    office.start()
    try:
        mail = f"""[[channel]]
kind = "email"
address = "keeper@example.net"
host = "127.0.0.1"
port = {office.port}
tls = "none"
calendar = true"""
        yard = yard_of(tmp_path, mail)
        clock = Clock()
        plan = wants(notice(), derived=wanted([job()]))
        tick(store, yard, clock, plan=plan, draw=lambda: 0.5)
        goes_on(store, yard, clock, 1)
    finally:
        office.stop()
    mails = [message_from_bytes(one, policy=policy.default) for one in postbox.mails]
    assert len(mails) == 3
    assert len({one["Message-ID"] for one in mails}) == 1
    assert mails[-1]["Subject"] == notice().subject
    [calendar] = mails[-1].iter_attachments()  # type: ignore[attr-defined]
    assert calendar.get_content_type() == "text/calendar"
    assert "BEGIN:VCALENDAR" in calendar.get_content()
    assert [row.state for row in outbox.rows(store, "yard")] == ["sent"]


def test_no_secret_is_in_the_database_the_log_the_record_or_what_is_said(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    with receiver(answers(500, body=TOKEN.encode()), answers(401), answers(200)) as to:
        yard, clock = push_to(tmp_path, to), Clock()
        with open_store(yard.store_url) as store:
            goes_on(store, yard, clock, 0.5)
            assert TOKEN in to.asked[0].path, "the receiver did get it"
            said = [
                notice_check(store, yard, clock.at).said,
                str(health(store, yard, clock.at)),
                *(one.said for one in channel_checks(yard)),
                *record_lines(store, "yard", AT),
                caplog.text,
                yard.model_dump_json(),
            ]
        told = run("verify", "--send", "push", "--yard", str(yard.path))
    assert told.code == 0
    for text in (*said, told.out, told.err):
        assert TOKEN not in text
    with closing(sqlite3.connect(tmp_path / "coatcast.db")) as base:
        assert TOKEN not in "\n".join(base.iterdump())
    assert TOKEN.encode() not in (tmp_path / "coatcast.db").read_bytes()


def test_an_outside_watch_is_called_every_few_minutes_and_not_when_the_database_cannot_be_written(
    store: Store, tmp_path: Path
) -> None:
    with receiver(answers(200)) as to:
        yard = yard_of(
            tmp_path, f'[[channel]]\nkind = "alive"\naddress = "{to.base}/ping"\n[[channel]]\nkind = "screen"'
        )
        clock = Clock()
        for _ in range(20):
            tick(store, yard, clock, plan=wants())
            clock.goes(timedelta(minutes=1))
        assert [one.method for one in to.asked] == ["GET"] * 4
        with store.engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA query_only = 1")
        with pytest.raises(Exception, match="only"):
            tick(store, yard, clock, plan=wants())
        assert len(to.asked) == 4
