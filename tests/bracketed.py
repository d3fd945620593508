"""A language that nobody speaks, in which every text of the words files stands in brackets.

What stands outside of them was written in code or in a template, or is what a person typed.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any

import pytest

from scheduler.settings import words_of
from scheduler.views.words import Words

FIELD = re.compile(r"(\{\w+\})")
INSIDE = re.compile(r"⟦[^⟦⟧]*⟧")
SAID = ("aria-label", "title", "alt", "placeholder")  # attributes that are read out
SILENT = ("style", "script", "code")  # what a person types stands in code


def bracket(text: str) -> str:
    """Brackets round what the words file says, and not round the values put into it."""
    return "".join(f"⟦{part}⟧" if n % 2 == 0 and part else part for n, part in enumerate(FIELD.split(text)))


class Recorder(dict[str, str]):
    """Templates that remember which were taken."""

    def __init__(self, templates: Any) -> None:
        super().__init__(templates)
        self.taken: set[str] = set()

    def __getitem__(self, key: str) -> str:
        self.taken.add(key)
        return super().__getitem__(key)


class Bracketed(Words):
    """English words, each in brackets."""

    def __init__(self) -> None:
        super().__init__("en", Recorder({key: bracket(text) for key, text in words_of("en").items()}))

    @property
    def taken(self) -> set[str]:
        """Keys that were said."""
        assert isinstance(self.templates, Recorder)
        return self.templates.taken

    def told(self, text: str) -> str:
        """A text that is made below the views is translated by its own English."""
        return bracket(text)

    def rule(self, name: str | None, part: str, text: str) -> str:
        """As ``told``."""
        return bracket(text)


def speak_bracketed(patch: pytest.MonkeyPatch) -> Bracketed:
    """Give every part of the program these words, whatever its language."""
    words = Bracketed()
    for name, module in list(sys.modules.items()):
        if name.startswith("scheduler.") and hasattr(module, "words_in"):
            patch.setattr(module, "words_in", lambda _language: words)
    return words


def literals(text: str, data: re.Pattern[str]) -> list[str]:
    """Words outside the brackets that are no data."""
    return re.findall(r"[^\W\d_]+", data.sub(" ", INSIDE.sub(" ", text)))


class _Visible(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.silent = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.silent += tag in SILENT
        self.found += [value for name, value in attrs if name in SAID and value]

    def handle_endtag(self, tag: str) -> None:
        self.silent -= tag in SILENT

    def handle_data(self, data: str) -> None:
        if not self.silent:
            self.found.append(data)


def visible(html: str) -> str:
    """What a person sees of a page or hears of it."""
    page = _Visible()
    page.feed(html)
    return "\n".join(_texts(page))


def _texts(page: _Visible) -> Iterator[str]:
    return (text for text in page.found if text.strip())
