"""Notices by way of Apprise, a library for many services; an extra that need not be installed. An edge.

It does not tell a passing trouble from a lasting one, so a failure is "later"
until the notice is of no more use.
"""

from __future__ import annotations

import threading
from importlib import import_module
from typing import Any

from scheduler.reminders.channels_secret import Mask, filled, secret_of
from scheduler.reminders.channels_told import Message, Outcome, Target, Trouble, label, later, sent

__all__ = ["TIMEOUT", "check_apprise", "send_apprise"]

TIMEOUT = 30.0  # s; Apprise bounds its own waiting, this is for what it does not bound
ABSENT = "Apprise is not installed here. Install it with: pip install 'coatcast[apprise]'"


def send_apprise(target: Target, message: Message) -> Outcome:
    """Hand one notice to the one service of this channel.

    Raises
    ------
    Trouble
        Without Apprise, or with an address that it does not know.
    """
    found = _service(target)
    done: list[bool] = []

    def work() -> None:
        try:
            done.append(bool(found.notify(title=message.subject, body=message.text, body_format="text")))
        except Exception:  # a service's own module may raise anything, with secrets in its words
            done.append(False)

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    thread.join(target.timeout_s or TIMEOUT)
    if not done:
        return later(f"The service of channel {label(target)} did not answer in time.")
    if not done[0]:
        return later(f"The service of channel {label(target)} did not take the notice; Apprise says no more.")
    return sent(f"by Apprise, channel {label(target)}")


def check_apprise(target: Target) -> str:
    """Whether Apprise is there and knows the address; nothing is asked."""
    _service(target)
    return "Apprise knows the address; nothing sent, which only a test can do"


def _service(target: Target) -> Any:
    """The sender of one service, its address not shown anywhere."""
    try:
        apprise = import_module("apprise")  # by name: the type checker need not have it either
    except ImportError:
        raise Trouble(ABSENT) from None
    if not target.address:
        raise Trouble(
            f'Channel {label(target)} names no address. Write address = "{{secret}}" into yard.toml.'
        )
    secret = secret_of(target)
    url = filled(target.address, secret, target, coded=True)
    Mask(target, secret, url)
    sender = apprise.Apprise()
    service = apprise.Apprise.instantiate(url)
    if service is None or not sender.add(service):
        raise Trouble(
            f"Apprise does not know the address of channel {label(target)}. "
            "Mend it in yard.toml, or mend the secret."
        )
    return sender
