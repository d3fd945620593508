"""What a person types (a wood, a note, a place, the yard's name) is text in a mail and never more than that.

From the register through reminders, notice, outbox and message to the bytes of the mail, with the calendar
attached. Page, sheet, calendar and picture have such tests beside theirs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from email import policy
from email.message import EmailMessage, MIMEPart
from email.parser import BytesParser
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from icalendar import Calendar
from notice_samples import Clock, Post, yard_of
from reminder_samples import HOUR, coat, end, job, log, span, wanted
from test_notices_told import MONDAY, briefing

from scheduler.planning.jobs import Job
from scheduler.reminders import queue_outbox as outbox
from scheduler.reminders.channels import Message
from scheduler.reminders.channels_mail import mail_bytes
from scheduler.settings import YardFile
from scheduler.tick import Plan, tick
from scheduler.views.notice import notices
from scheduler.views.wording import Wording
from scheduler.yard.facts import Log
from scheduler.yard.store import Store, open_store

KEEPER = "keeper@example.org"
EMAIL = f'[[channel]]\nkind = "email"\naddress = "{KEEPER}"\nhost = "mail.example.org"\ncalendar = true'
HEAD = {"From", "To", "Subject", "Date", "Message-ID", "Auto-Submitted", "MIME-Version", "Content-Type"}
NAMES = {
    "script": "<script>alert(1)</script>",
    "image": '"><img/src=x/onerror=alert(1)>',
    "header": "x\r\nBcc: all@example.com\r\n\r\n<b>hello</b>",
    "bare line feed": "x\nBcc: all@example.com\n\nhello",
    "bare carriage return": "x\rBcc: all@example.com\r\rhello",
    "encoded word": "=?utf-8?q?=0D=0ABcc:_all@example.com?=",
    "encoded word in base64": "=?UTF-8?B?DQpCY2M6IGFsbEBleGFtcGxlLmNvbQ==?=",
    "encoded words that meet": "==?us-ascii?Q?=0ABcc:?= =?us-ascii?Q?all@example.com?=",
    "calendar lines": "x\r\nEND:VEVENT\r\nBEGIN:VALARM\r\nACTION:EMAIL\r\nATTENDEE:mailto:all@example.com",
    "folded lines": "x\r\n BEGIN:VALARM\u2028ACTION:EMAIL\u0085X:1",
    "parameters": 'x";X-EVIL="1:;,\\n\\',
    "boundary": "x\r\n--=_1\r\nContent-Type: text/html\r\n\r\n<script>1</script>",
    "control": "x\x00\x1b[31m\x07\x08y",
    "directions": "x\u202egpj.exe\u200b",
}


def derived_jobs(name: str) -> tuple[list[Job], list[Log]]:
    """A bare log and a coated one, named and noted so, with ends of that name too."""
    named: dict[str, Any] = {"species": None, "species_said": name, "note": f"noted {name}"}
    bare = log("H01", end("butt"), end(name), **named)
    coated = log("H02", end("butt", coats=(coat("2025-11-01T10:00", 7),)), **named)
    jobs = [
        job(),
        job(name=name),
        job("look", "H02", due=MONDAY - HOUR, cause=7, why="clear or milky?"),
    ]
    return jobs, [bare, coated]


def mails(folder: Path, name: str, language: str = "en") -> tuple[list[bytes], YardFile]:
    """The mails of a morning on which a yard with such names has work and good hours."""
    yard = yard_of(folder, EMAIL)
    yard = yard.model_copy(update={"yard": yard.yard.model_copy(update={"name": name, "language": language})})
    jobs, logs = derived_jobs(name)

    def plan(_yard: YardFile, at: datetime, store: Store) -> Plan:
        items = wanted(jobs, logs, [replace(span(MONDAY + 3 * HOUR))], at=at)
        assert items.register is not None
        b = briefing(at, lambda _: (9, 13), *jobs[:2])
        b = replace(b, register=items.register, yard_name=name)
        told = outbox.told_notices(store, yard.yard.key, at - 22 * 24 * HOUR)
        w = Wording(yard.zone, "metric", at, language)
        found = notices(b, w, yard.notice, items=items.items, rows=store.reminders(yard.yard.key), told=told)
        return Plan(items, found)

    post = Post()
    with open_store("sqlite://") as store:
        tick(store, yard, Clock(MONDAY), plan=plan, sender=post)
    messages: Sequence[Message] = [message for _, message in post.got]
    assert messages
    return [mail_bytes(yard.channels[0], one, yard.yard.name) for one in messages], yard


def read(data: bytes) -> EmailMessage:
    mail = BytesParser(policy=policy.default).parsebytes(data)
    assert isinstance(mail, EmailMessage)
    assert mail.defects == []
    return mail


def text_of(part: MIMEPart) -> str:
    content = part.get_content()
    return content if isinstance(content, str) else content.decode("utf-8")


def check_head(mail: EmailMessage) -> None:
    assert set(mail.keys()) == HEAD
    assert len(mail.keys()) == len(HEAD)
    assert [one.addr_spec for one in mail["To"].addresses] == [KEEPER]
    assert [one.addr_spec for one in mail["From"].addresses] == [KEEPER]
    assert mail["Subject"].isprintable()
    # Where the library encodes a part of a line it may double the blank beside it.
    assert len(" ".join(mail["Subject"].split())) <= 60


def check_parts(mail: EmailMessage) -> tuple[str, Calendar]:
    """Plain text and a calendar, nothing else; no part is shown as HTML."""
    parts = [part for part in mail.walk() if not part.is_multipart()]
    assert [part.get_content_type() for part in parts] == ["text/plain", "text/calendar"]
    assert parts[1].get_filename() == "coatcast.ics"
    text, data = (text_of(part) for part in parts)
    assert all(line.isprintable() for line in text.splitlines())
    assert len(text.split("\n")) <= 7, "five lines, one that says how to answer, and the end"
    calendar = Calendar.from_ical(data)
    assert calendar.errors == []
    return text, calendar


def check_calendar(calendar: Calendar, name: str) -> None:
    events = list(calendar.events)
    assert len(events) == 3, "a span, the coats of one log, a look"
    for event in events:
        assert event.errors == []
        assert not event.subcomponents
        assert {"ATTENDEE", "ORGANIZER", "ACTION", "ATTACH", "URL", "X-EVIL"}.isdisjoint(event)
    assert {component.name for component in calendar.walk()} == {"VCALENDAR", "VEVENT"}
    assert "METHOD" not in calendar
    kept = "".join(c for c in name.replace("\r\n", "\n").replace("\r", "\n") if c == "\n" or c >= " ")
    kept = kept.replace("\x85", "")  # a control character of the second row (C1)
    assert sum(kept in str(event["SUMMARY"]) for event in events) == 2, "as it was written, to the letter"


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("kind", NAMES)
def test_markup_in_a_name_or_note_is_text_in_the_mail(tmp_path: Path, kind: str, language: str) -> None:
    name = NAMES[kind]
    found, _ = mails(tmp_path, name, language)
    for data in found:
        assert data.isascii()
        assert b"\n" not in data.replace(b"\r\n", b"")
        mail = read(data)
        check_head(mail)
        text, calendar = check_parts(mail)
        check_calendar(calendar, name)
        assert text.splitlines()[-1].startswith("To answer (H" if language == "en" else "Antworten (H")
        assert "noted" not in text + calendar.to_ical().decode(), "a note is for the log's page alone"
        last = "".join(c if c.isprintable() else " " for c in name.split()[-1]).split()[-1]
        assert last in text, "the wood's name stands there as it was typed"


PIECES = st.one_of(
    st.sampled_from(list("<>\"'&\r\n\t\0\x0b\x1b\x85\u2028\u202e=?:;,\\-äß🌳 ")),
    st.sampled_from(["=?utf-8?q?", "=?utf-8?b?DQo=", "=0D=0A", "?=", "Bcc: x@y", "\r\n\r\n", "BEGIN:VALARM"]),
    st.characters(exclude_categories=("Cs",)),
)
TYPED = st.lists(PIECES, min_size=1, max_size=30).map("".join)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(name=TYPED.filter(lambda text: bool(text.strip())))
def test_no_name_whatever_makes_more_of_a_mail_than_its_text_and_its_calendar(
    tmp_path: Path, name: str
) -> None:
    for data in mails(tmp_path, name)[0]:
        assert data.isascii()
        mail = read(data)
        check_head(mail)
        _, calendar = check_parts(mail)
        assert {component.name for component in calendar.walk()} == {"VCALENDAR", "VEVENT"}
        assert len(list(calendar.events)) == 3
