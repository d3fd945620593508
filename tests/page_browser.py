"""What a phone's browser without scripts does with a page: reads it, fills forms in, presses buttons."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

from starlette.testclient import TestClient
from starlette.types import ASGIApp

HOST = "http://localhost"
Pair = tuple[str, str]
Fill = dict[str, str | list[str]]


def client_of(app: ASGIApp, host: str = HOST, **headers: str) -> TestClient:
    """A client that raises nothing and goes where it is sent."""
    return TestClient(app, base_url=host, raise_server_exceptions=False, headers=headers)


@dataclass
class PageForm:
    """A form of a page: where it goes, what it sends untouched, and its buttons by their words."""

    action: str
    method: str
    fields: list[Pair] = field(default_factory=list)
    choices: list[Pair] = field(default_factory=list)  # boxes and radios that are not ticked
    texts: list[str] = field(default_factory=list)
    buttons: dict[str, Pair | None] = field(default_factory=dict)


class Reader(HTMLParser):
    """Collects forms, links and visible text of a page; fails where tags do not match."""

    VOID = frozenset({"meta", "link", "input", "br", "path", "rect", "circle"})

    def __init__(self, html: str) -> None:
        super().__init__()
        self.forms: list[PageForm] = []
        self.links: list[str] = []
        self.ids: list[str] = []
        self.text = ""
        self._open: list[str] = []
        self._button: tuple[Pair | None, str] | None = None
        self.feed(html)
        self.close()
        assert not self._open, f"not closed: {self._open}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        had = {name: value or "" for name, value in attrs}
        if tag not in self.VOID:
            self._open.append(tag)
        if "id" in had:
            self.ids.append(had["id"])
        if tag == "a":
            self.links.append(had["href"])
        elif tag == "form":
            self.forms.append(PageForm(had["action"], had.get("method", "get")))
        elif tag in ("input", "select", "button") and self.forms:
            self._field(tag, had)

    def _field(self, tag: str, had: dict[str, str]) -> None:
        form, pair = self.forms[-1], (had.get("name", ""), had.get("value", ""))
        if tag == "button":
            self._button = (pair if pair[0] else None, "")
        elif tag == "select":
            form.fields.append((pair[0], ""))
        elif had["type"] in ("radio", "checkbox"):
            ticked = (pair[0], pair[1] if "value" in had else "on")
            (form.fields if "checked" in had else form.choices).append(ticked)
        else:
            form.fields.append(pair)
            if had["type"] != "hidden":
                form.texts.append(pair[0])

    def handle_endtag(self, tag: str) -> None:
        if tag in self.VOID:
            return
        assert self._open.pop() == tag, f"</{tag}> closes something else"
        if tag == "button" and self._button is not None and self.forms:
            self.forms[-1].buttons[self._button[1].strip()] = self._button[0]
            self._button = None

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        self.handle_endtag(tag)

    def handle_data(self, data: str) -> None:
        if self._button is not None:
            self._button = (self._button[0], self._button[1] + data)
        if "style" not in self._open:
            self.text += data


class Browser:
    """Reads pages and sends their forms."""

    def __init__(self, app: ASGIApp, host: str = HOST) -> None:
        self.app, self.host = app, host
        self.client = client_of(app, host)
        self.status = 0
        self.path = "/"
        self.html = ""
        self.page = Reader("")

    def another(self) -> Browser:
        """A second phone on the same page."""
        return Browser(self.app, self.host)

    def open(self, path: str) -> Browser:
        return self._took(self.client.get(path))

    def _took(self, answer: Any) -> Browser:
        self.status, self.html, self.path = answer.status_code, answer.text, answer.url.path
        self.page = Reader(self.html)
        return self

    @property
    def text(self) -> str:
        return " ".join(self.page.text.split())

    def form(self, action: str, button: str, **has: str) -> PageForm:
        """The first form that goes there, has that button, and holds those values."""
        for one in self.page.forms:
            if one.action == action and button in one.buttons and has.items() <= dict(one.fields).items():
                return one
        raise AssertionError(f"no form to {action} with a button {button!r} and {has}")

    def tap(self, action: str, button: str, fill: Fill | None = None, **has: str) -> Browser:
        """Fill a form in and press one of its buttons."""
        return self.send(action, self.filled(action, button, fill, **has))

    def filled(self, action: str, button: str, fill: Fill | None = None, **has: str) -> list[Pair]:
        """What that would send."""
        form, given = self.form(action, button, **has), fill or {}
        pairs = [(name, value) for name, value in form.fields if name not in given]
        for name, value in given.items():
            pairs += [(name, one) for one in ([value] if isinstance(value, str) else value)]
        pressed = form.buttons[button]
        return [*pairs, pressed] if pressed else pairs

    def send(self, action: str, pairs: list[Pair]) -> Browser:
        data: dict[str, list[str]] = {}
        for name, value in pairs:
            data.setdefault(name, []).append(value)
        return self._took(self.client.post(action, data=data, headers={"Origin": self.host}))
