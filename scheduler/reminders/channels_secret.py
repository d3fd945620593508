"""Passwords and tokens of channels: found in the environment or a file, and kept out of every text.

An edge: environment, files.
"""

from __future__ import annotations

import json
import logging
import os
from base64 import b64encode
from collections.abc import Iterable
from html import escape
from pathlib import Path
from urllib.parse import quote, quote_plus, unquote, urlsplit

from scheduler.reminders.channels_told import Target, Trouble, label, one_line

__all__ = ["HIDDEN", "PLACE", "Mask", "filled", "secret_of", "seen_by_others"]

HIDDEN = "***"
PLACE = "{secret}"  # in an address or a header: the secret goes here
MOST_SECRET = 8192  # bytes of a secret file that are read
MOST_SAID = 160  # characters of foreign words that are shown
LOGGERS = ("urllib3.connectionpool", "urllib3.util.retry", "requests", "apprise")  # they log addresses


def secret_of(target: Target) -> str | None:
    """The password or token of a channel; None where it names none.

    Raises
    ------
    Trouble
        When it is named and not there. A file may come back (a disk that is
        mounted later), a variable of this process does not.
    """
    where = f"channel {label(target)}"
    if target.secret_env:
        value = os.environ.get(target.secret_env, "").strip()
        if not value:
            raise Trouble(
                f"The secret of {where} is to be in the environment variable {target.secret_env}, "
                "and that is not set. Set it, or change secret_env in yard.toml."
            )
    elif target.secret_file:
        value = _first_bytes(target.secret_file, where)
    else:
        return None
    if not value or not value.isprintable():  # a second line is not printable either
        there = target.secret_env or target.secret_file
        raise Trouble(f"{there} should hold the secret of {where} alone, on one line of plain characters.")
    return value


def _first_bytes(name: str, where: str) -> str:
    try:
        with Path(name).expanduser().open("rb") as file:
            return file.read(MOST_SECRET).decode("utf-8-sig").strip()
    except (OSError, ValueError, RuntimeError):
        raise Trouble(
            f"The secret of {where} is to be in the file {name}, and that cannot be read. "
            "Put it there, or change secret_file in yard.toml.",
            passing=True,
        ) from None


def seen_by_others(target: Target) -> bool:
    """Whether the file of a secret may be read by every user of this computer."""
    if not target.secret_file or target.secret_env or os.name != "posix":
        return False
    try:
        return bool(Path(target.secret_file).expanduser().stat().st_mode & 0o044)
    except OSError:
        return False


def filled(text: str, secret: str | None, target: Target, *, coded: bool) -> str:
    """A text of the yard file with the secret in its place.

    In an address (``coded``) the secret is percent-coded but for slashes,
    unless the address is the secret alone.
    """
    if PLACE not in text:
        return text
    if secret is None:
        raise Trouble(
            f"Channel {label(target)} wants a secret ({PLACE}) and names none. "
            "Write secret_env or secret_file into yard.toml."
        )
    whole = text.strip() == PLACE
    return text.replace(PLACE, quote(secret, safe="/") if coded and not whole else secret)


class Mask:
    """Takes the secrets of one channel out of texts, and out of what the libraries below log.

    Whatever of an address could be a token counts as secret: user, password,
    path and query; and so does every value of a header.
    """

    def __init__(self, target: Target, secret: str | None, address: str | None = None) -> None:
        hidden = {secret or ""}
        for value in target.headers.values():
            hidden |= {value, filled(value, secret, target, coded=False) if secret else ""}
        for text in {address or "", *((target.address or "",) if target.kind != "email" else ())}:
            hidden |= _parts(text)
        if secret and target.user:
            hidden |= {f"\0{target.user}\0{secret}", f"{target.user}:{secret}"}
        self._forms = _all_forms({one for one in hidden if len(one) >= 4 or one == secret} - {PLACE})
        _quiet.learn(self._forms)

    def __call__(self, text: str | bytes) -> str:
        """A foreign text without secrets, on one line, short."""
        if isinstance(text, bytes):
            text = text.decode("utf-8", "replace")
        return one_line(_without(text, self._forms), MOST_SAID)


def _parts(address: str) -> set[str]:
    """What of an address may be a token."""
    try:
        parts = urlsplit(address)
        words = {parts.username or "", parts.password or "", parts.query}
        words |= {pair.partition("=")[2] for pair in parts.query.split("&")}
    except ValueError:
        return {address}
    return words | ({parts.path} if len(parts.path) > 1 else set())


def _all_forms(hidden: Iterable[str]) -> tuple[str, ...]:
    """Secrets as they may turn up in a text, longest first."""
    forms: set[str] = set()
    for one in filter(None, hidden):
        forms |= {one, unquote(one), quote(one, safe=""), quote(one), quote_plus(one), escape(one)}
        forms |= {json.dumps(one)[1:-1], repr(one)[1:-1], b64encode(one.encode()).decode()}
    return tuple(sorted(forms, key=len, reverse=True))


def _without(text: str, forms: Iterable[str]) -> str:
    for form in forms:
        text = text.replace(form, HIDDEN)
    return text


class _Quiet(logging.Filter):
    """Masks the records of the libraries that do the sending; it lives as long as the process."""

    def __init__(self) -> None:
        super().__init__()
        self._forms: tuple[str, ...] = ()

    def learn(self, forms: Iterable[str]) -> None:
        """From now on these are masked too."""
        known = {*self._forms, *forms}
        if len(known) > len(self._forms):
            self._forms = tuple(sorted(known, key=len, reverse=True))
        for name in LOGGERS:
            logging.getLogger(name).addFilter(self)

    def filter(self, record: logging.LogRecord) -> bool:
        """Lets every record pass, without the secrets."""
        text = record.getMessage()
        clean = _without(text, self._forms)
        if clean != text:
            record.msg, record.args = clean, None
        record.exc_info = record.exc_text = None
        return True


_quiet = _Quiet()
