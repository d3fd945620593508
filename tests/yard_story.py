"""A yard told entry by entry, for tests: each call is a command, as a person would give it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

from scheduler.yard import book
from scheduler.yard.book import By, NewLog, Note, Written
from scheduler.yard.entries import Entry
from scheduler.yard.facts import End, Log, Moment, Register
from scheduler.yard.state import fold

AT = datetime(2025, 11, 3, 9, 40, tzinfo=UTC)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


def ago(days: float = 0.0, hours: float = 0.0, half_days: float = 0.0) -> Moment:
    """A moment before ``AT``."""
    return Moment(AT - timedelta(days=days, hours=hours), timedelta(days=half_days))


class Story:
    """Entries in the making; ``at`` moves on only when told to."""

    def __init__(self, at: datetime = AT, yard: str = "yard") -> None:
        self.entries: list[Entry] = []
        self.at = at
        self.yard = yard
        self.said = ""

    @property
    def by(self) -> By:
        return By(self.yard, self.at)

    @property
    def register(self) -> Register:
        return fold(self.entries, self.at)

    def log(self, tag: str) -> Log:
        log = self.register.log(tag)
        assert log is not None
        return log

    def end(self, tag: str, name: str = "butt") -> End:
        end = self.log(tag).end(name)
        assert end is not None
        return end

    def take(self, written: Written) -> Story:
        self.entries += written.entries
        self.said = written.said
        return self

    def act(self, function: Callable[..., Written], *args: Any, **options: Any) -> Story:
        return self.take(function(*args, self.register, self.by, **options))

    def add(self, tag: str | None = None, **told: Any) -> Story:
        return self.act(book.add_log, NewLog(tag=tag, **told))

    def note(self, tags: str, kind: str, *words: str, **options: Any) -> Story:
        if "ends" in options:
            options["ends"] = tuple(options["ends"])
        listed = book.parse_tags(tags, self.register)
        return self.take(book.note(listed, kind, words, self.register, self.by, Note(**options)))

    def change(self, tag: str, /, **fields: Any) -> Story:
        return self.take(book.change(tag, fields, self.register, self.entries, self.by))

    def correct(self, tag: str, number: int, **options: Any) -> Story:
        return self.take(book.correct(tag, number, self.register, self.entries, self.by, **options))

    def undo(self) -> Story:
        return self.take(book.undo(self.entries, self.by))
