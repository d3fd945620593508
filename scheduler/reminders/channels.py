"""Channels: one message to one receiver, and what came of it.

An edge. Nothing here knows of the queue: who calls ``send`` keeps the outbox,
tries again, and gives up. No error of a service escapes, no secret is in what
is returned or logged, and every wait has an end (``longest``).
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import UTC, datetime
from typing import NamedTuple

from scheduler.reminders import channels_apprise, channels_mail, channels_push
from scheduler.reminders.channels_apprise import check_apprise, send_apprise
from scheduler.reminders.channels_local import (
    COMMAND_TIMEOUT,
    check_command,
    check_file,
    check_screen,
    send_command,
    send_file,
    send_screen,
)
from scheduler.reminders.channels_mail import check_mail, send_mail
from scheduler.reminders.channels_push import check_push, send_alive, send_push
from scheduler.reminders.channels_told import (
    Attachment,
    Message,
    Outcome,
    Target,
    Trouble,
    label,
    later,
    never,
    sent,
    test_message,
)

__all__ = [
    "KINDS",
    "Attachment",
    "Checked",
    "Clock",
    "Message",
    "Outcome",
    "Target",
    "alive_message",
    "carries_notices",
    "check",
    "label",
    "later",
    "longest",
    "never",
    "send",
    "sent",
    "test_message",
]

Clock = Callable[[], datetime]
KINDS = ("file", "screen", "email", "push", "command", "alive", "apprise")
_LOG = logging.getLogger(__name__)


class Checked(NamedTuple):
    """What ``check`` found."""

    ok: bool
    said: str


def send(target: Target, message: Message, *, yard_name: str, clock: Clock) -> Outcome:
    """Send one message through one channel, once.

    ``clock`` gives the true time (aware); it turns a receiver's wish to wait
    into a time. An ``alive`` channel is told nothing of the message.
    """
    try:
        return _send(target, message, yard_name, clock)
    except Trouble as trouble:
        return trouble.outcome
    except Exception as error:
        return later(_unforeseen(target, error))


def _send(target: Target, message: Message, yard_name: str, clock: Clock) -> Outcome:
    match target.kind:
        case "file":
            return send_file(target, message)
        case "screen":
            return send_screen(message)
        case "email":
            return send_mail(target, message, yard_name)
        case "push":
            return send_push(target, message, yard_name, clock)
        case "command":
            return send_command(target, message)
        case "alive":
            return send_alive(target, clock)
        case "apprise":
            return send_apprise(target, message)
    return never(f"Nothing is known of channels of kind '{target.kind}'. There are {', '.join(KINDS)}.")


def check(target: Target, *, reach: bool = True) -> Checked:
    """What can be known of a channel without sending: settings, secret, and with ``reach`` the server."""
    try:
        return Checked(True, _check(target, reach))
    except Trouble as trouble:
        return Checked(False, str(trouble))
    except Exception as error:
        return Checked(False, _unforeseen(target, error))


def _check(target: Target, reach: bool) -> str:
    match target.kind:
        case "file":
            return check_file(target)
        case "screen":
            return check_screen()
        case "email":
            return check_mail(target, reach=reach)
        case "push" | "alive":
            return check_push(target, reach=reach)
        case "command":
            return check_command(target)
        case "apprise":
            return check_apprise(target)
    raise Trouble(f"nothing is known of channels of kind '{target.kind}'; there are {', '.join(KINDS)}")


def _unforeseen(target: Target, error: Exception) -> str:
    """A fault of the program, told without the error's own words, which may hold a secret."""
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    where = f"{trace.tb_frame.f_code.co_name}:{trace.tb_lineno}" if trace else "nowhere"
    _LOG.error("channel %s: %s in %s", label(target), type(error).__name__, where)
    return f"Channel {label(target)} broke down ({type(error).__name__}); please report this."


def carries_notices(target: Target) -> bool:
    """Whether notices go through this channel; one of kind ``alive`` is only called."""
    return target.kind != "alive"


def longest(target: Target) -> float:
    """Seconds after which ``send`` has come back for sure, names of hosts being found: for a lease."""
    match target.kind:
        case "email":
            return (target.timeout_s or channels_mail.TIMEOUT) * (channels_mail.TOTAL + 2.0)
        case "push" | "alive":
            return (target.timeout_s or channels_push.TIMEOUT) * (channels_push.TOTAL + 2.0)
        case "command":
            return (target.timeout_s or COMMAND_TIMEOUT) + 5.0
        case "apprise":
            return (target.timeout_s or channels_apprise.TIMEOUT) + 5.0
    return 5.0


def alive_message(at: datetime) -> Message:
    """What is handed to ``send`` for an ``alive`` channel; nothing of it leaves this computer."""
    return Message(f"alive/{at.astimezone(UTC).isoformat()}", "I am alive", "", at, kind="alive")
