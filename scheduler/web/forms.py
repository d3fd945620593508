"""Reading the page's forms, and answering them: once each, with a sentence, back to a page."""

from __future__ import annotations

import hashlib
import secrets
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import parse_qsl, quote, unquote

from starlette.requests import Request

__all__ = ["Form", "FormError", "Said", "back_to", "new_once", "read_form"]

MOST_FIELDS = 12_000
LONGEST = 4000  # characters of one field
KEPT_SAYINGS = 300
PAGES = ("/", "/logs", "/catch-up", "/winter", "/pails", "/sure", "/settings", "/calendar",
         "/more", "/add", "/reminders")  # fmt: skip
INSIDE = ("/log/", "/reminder/")  # pages of one thing each


class FormError(ValueError):
    """A form that cannot be read; the text is for the person."""


@dataclass(frozen=True, slots=True)
class Form(Mapping[str, str]):
    """The fields of a form; of one with many values the first, unless ``all`` is asked."""

    fields: tuple[tuple[str, str], ...]

    def __getitem__(self, name: str) -> str:
        for key, value in self.fields:
            if key == name:
                return value
        raise KeyError(name)

    def __iter__(self):  # type: ignore[no-untyped-def]  # Iterator[str]
        return iter(dict(self.fields))

    def __len__(self) -> int:
        return len(dict(self.fields))

    def all(self, name: str) -> list[str]:
        """Every value of a field that may come many times."""
        return [value for key, value in self.fields if key == name]

    def text(self, name: str) -> str | None:
        """A field with its blanks tidied; None where it is missing or empty."""
        return " ".join(self.get(name, "").split()) or None

    @property
    def once(self) -> str:
        """The same for the same form sent twice, another for any other."""
        body = repr(sorted(self.fields)).encode("utf-8", "replace")
        return f"{self.get('once', '')}:{hashlib.sha256(body).hexdigest()}"


async def read_form(request: Request) -> Form:
    """The form of a POST.

    Raises
    ------
    FormError
        Where it is no plain form, or not whole.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().casefold()
    if kind not in ("application/x-www-form-urlencoded", ""):
        raise FormError("This page takes plain forms only; nothing was noted.")
    body = await request.body()
    try:
        pairs = parse_qsl(
            body.decode("utf-8"), keep_blank_values=True, max_num_fields=MOST_FIELDS, errors="strict"
        )
    except (ValueError, UnicodeDecodeError):
        raise FormError("That form could not be read; nothing was noted. Load the page again.") from None
    if any(len(value) > LONGEST for _, value in pairs):
        raise FormError(f"A field holds more than {LONGEST} characters; nothing was noted.")
    cleaned = (("".join(c for c in key if c.isprintable()), _clean(value)) for key, value in pairs)
    return Form(tuple(cleaned))


def _clean(value: str) -> str:
    """Without control characters: a browser sends line breaks, nothing else of them is ever meant."""
    return "".join(c if c.isprintable() else " " for c in value)


def new_once() -> str:
    """A mark for the forms of one page."""
    return secrets.token_hex(8)


def back_to(form: Form) -> str:
    """The page of ours that a form wants to lead back to, else the first."""
    wanted = form.get("back", "/")
    path = wanted.partition("?")[0]
    if path in PAGES:
        return path
    for folder in INSIDE:
        if path.startswith(folder) and len(path) < 200:
            return f"{folder}{quote(unquote(path.removeprefix(folder)), safe='')}"
    return "/"


@dataclass(slots=True)
class _Sentence:
    text: str
    batch: int | None
    plain: bool


class Said:
    """What was answered to forms, by a mark in the address: a page shows it for as long as it stands."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, _Sentence] = OrderedDict()

    def keep(self, text: str, batch: int | None = None, plain: bool = False) -> str:
        """Put a sentence by; its mark. ``plain``: where the page shows it done, it need not be said."""
        mark = secrets.token_hex(6)
        self._kept[mark] = _Sentence(text, batch, plain)
        while len(self._kept) > KEPT_SAYINGS:
            self._kept.popitem(last=False)
        return mark

    def find(self, mark: str | None) -> tuple[str, int | None, bool] | None:
        """The sentence of a mark, the command it told of, and whether it says no more, if still known."""
        found = self._kept.get(mark or "")
        return None if found is None else (found.text, found.batch, found.plain)
