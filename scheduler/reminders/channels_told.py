"""What goes through a channel and what comes of it: message, outcome, and what a channel says of itself.

The yard file declares a channel (``settings.Channel``); ``Target`` lists what of that is read here.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Literal, Protocol
from uuid import UUID, uuid5

__all__ = [
    "MOST_ATTACHMENT",
    "MOST_SUBJECT",
    "MOST_TEXT",
    "Attachment",
    "Message",
    "Outcome",
    "Target",
    "Trouble",
    "label",
    "later",
    "never",
    "one_line",
    "sent",
    "test_message",
]

MOST_SUBJECT = 60  # characters: what a phone shows of a notice without a tap
MOST_TEXT = 20_000  # characters; a notice has a few hundred
MOST_ATTACHMENT = 1_000_000  # bytes
CUT = "… cut here"
MESSAGES = UUID("6e7bb4e4-5d0a-5a5c-9a57-0c3d1c0f7b1e")  # the name space of message keys (RFC 9562, 5.5)


class Target(Protocol):
    """One [[channel]] of a yard file, as far as sending needs it."""

    @property
    def kind(self) -> str: ...  # noqa: D102 - file, screen, email, push, command, alive, apprise
    @property
    def name(self) -> str | None: ...  # noqa: D102
    @property
    def path(self) -> str | None: ...  # noqa: D102 - of a file
    @property
    def address(self) -> str | None: ...  # noqa: D102 - of a person (email), of a service (push, alive, apprise)
    @property
    def command(self) -> tuple[str, ...] | None: ...  # noqa: D102
    @property
    def host(self) -> str | None: ...  # noqa: D102 - of the mail server
    @property
    def port(self) -> int | None: ...  # noqa: D102 - None: the usual one of ``tls``
    @property
    def tls(self) -> str: ...  # noqa: D102 - starttls, tls, none
    @property
    def user(self) -> str | None: ...  # noqa: D102
    @property
    def sender(self) -> str | None: ...  # noqa: D102
    @property
    def secret_env(self) -> str | None: ...  # noqa: D102 - variable with the password or token
    @property
    def secret_file(self) -> str | None: ...  # noqa: D102 - file with it
    @property
    def ca_file(self) -> str | None: ...  # noqa: D102 - certificates of a server of one's own
    @property
    def format(self) -> str: ...  # noqa: D102 - json, text
    @property
    def method(self) -> str: ...  # noqa: D102 - GET, POST (alive)
    @property
    def headers(self) -> Mapping[str, str]: ...  # noqa: D102 - more headers of a push
    @property
    def timeout_s(self) -> float | None: ...  # noqa: D102 - None: the usual one of the kind


def label(target: Target) -> str:
    """What a channel is called in sentences."""
    return target.name or target.kind


# ------------------------------------------------------------------ what goes out


def one_line(text: str, most: int) -> str:
    """A text on one line, printable, without doubled spaces, cut to ``most`` characters.

    So no name that a person gave a log can begin a new line of a mail's or a request's head.
    """
    line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return line if len(line) <= most else line[: most - 1].rstrip() + "…"


def _plain(text: str) -> str:
    """A text whose only control characters are ends of lines, without blank ends, cut where too long."""
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\t", "    ")
    text = "".join(c if c == "\n" or c.isprintable() else " " for c in text)
    text = "\n".join(line.rstrip() for line in text.split("\n")).strip("\n")
    if len(text) <= MOST_TEXT:
        return text
    kept = text[: MOST_TEXT - len(CUT) - 1]
    return kept[: kept.rfind("\n") if "\n" in kept else len(kept)] + "\n" + CUT


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file that goes with a message, such as ``coats.ics``."""

    name: str
    data: bytes = field(repr=False)


@dataclass(frozen=True, slots=True)
class Message:
    """One notice on its way. Subject and text are cleaned when it is made.

    ``key`` is the key of its outbox row: the same message sent again has the
    same key, and receivers can drop the repeat. ``at`` is when it was written
    (aware). A subject is cut to ``MOST_SUBJECT`` characters, a text to
    ``MOST_TEXT``; an attachment over ``MOST_ATTACHMENT`` bytes is left out and
    the text says so.

    Raises
    ------
    ValueError
        Without a key, without a word, or at a time without an offset.
    """

    key: str
    subject: str
    text: str
    at: datetime
    kind: str = "notice"
    urgent: bool = False
    attachment: Attachment | None = None

    def __post_init__(self) -> None:
        if not self.key.strip():
            raise ValueError("A message needs a key: without one a repeat cannot be told from news.")
        if self.at.tzinfo is None:
            raise ValueError("The time of a message needs its offset from UTC.")
        text = _plain(self.text)
        subject = one_line(self.subject or text.partition("\n")[0], MOST_SUBJECT)
        if not subject:
            raise ValueError("A message needs a subject or a text.")
        if self.attachment is not None and len(self.attachment.data) > MOST_ATTACHMENT:
            name = one_line(self.attachment.name, 40)
            text = f"{text}\n\n{name} is left out: it is larger than {MOST_ATTACHMENT // 1_000_000} MB."
            object.__setattr__(self, "attachment", None)
        object.__setattr__(self, "subject", subject)
        object.__setattr__(self, "text", text.strip("\n") or subject)

    @property
    def uid(self) -> str:
        """The key as a name-based UUID (RFC 9562, 5.5): the same for the same key, everywhere."""
        return str(uuid5(MESSAGES, self.key.encode("utf-8", "replace").decode("utf-8")))

    @property
    def whole(self) -> str:
        """Subject and text as one text; the subject only once where the text begins with it."""
        first = self.text.partition("\n")[0].strip()
        return self.text if first == self.subject else f"{self.subject}\n\n{self.text}"

    def as_json(self, yard_name: str) -> bytes:
        """The message as one JSON object, UTF-8; the same bytes each time."""
        fields: dict[str, Any] = {
            "id": self.uid,
            "kind": self.kind,
            "yard": one_line(yard_name, 80),
            "at": self.at.isoformat(timespec="seconds"),
            "urgent": self.urgent,
            "subject": self.subject,
            "text": self.text,
        }
        return json.dumps(fields, ensure_ascii=False).encode()


def test_message(yard_name: str, at: datetime, *, subject: str, text: str) -> Message:
    """The message of ``coatcast verify --send``; ``at`` aware, in the yard's zone. Two are no repeat.

    ``subject`` with ``{clock}`` and ``text`` with ``{yard}`` and ``{when}`` are in the yard's words.
    """
    name = one_line(yard_name, 80)
    return Message(
        key=f"test/{name}/{at.astimezone(UTC).isoformat()}",
        subject=subject.format(clock=f"{at:%H:%M}"),
        text=text.format(yard=name, when=f"{at:%Y-%m-%d %H:%M}"),
        at=at,
        kind="test",
    )


# ------------------------------------------------------------------ what comes of it


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one try: sent; later, perhaps not before ``retry_at`` (UTC); or never, and why."""

    state: Literal["sent", "later", "never"]
    why: str = ""
    retry_at: datetime | None = None

    @property
    def ok(self) -> bool:
        """Whether the receiver took it."""
        return self.state == "sent"


def sent(why: str = "") -> Outcome:
    """The receiver took it."""
    return Outcome("sent", why)


def later(why: str, retry_at: datetime | None = None) -> Outcome:
    """Not now; the same message may pass another time."""
    return Outcome("later", why, retry_at)


def never(why: str) -> Outcome:
    """This message will not pass through this channel as the channel is now."""
    return Outcome("never", why)


class Trouble(Exception):  # noqa: N818 - it may pass
    """What stops a try, as a sentence without secrets; ``passing``: the same try may do another time."""

    def __init__(self, text: str, *, passing: bool = False) -> None:
        super().__init__(text)
        self.passing = passing

    @property
    def outcome(self) -> Outcome:
        """The same as an outcome."""
        return later(str(self)) if self.passing else never(str(self))
