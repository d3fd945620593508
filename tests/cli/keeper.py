"""A keeper at the command line: commands run in this process, as ``coatcast`` would run them."""

from __future__ import annotations

import io
import json
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

from scheduler.cli import main

MONDAY = "2025-11-03T09:40"
YARD = """\
# A yard for tests.
[yard]
name = "Test bench"       # invented
place = { lat = 48.0, lon = 8.2 }
zone = "Europe/Berlin"
units = "metric"
people = 1

[forecast]
# url = "https://..."
warn_age_h = 12

[[place]]
name = "lean-to"
roofed = true
"""
DEMO = Path(__file__).parents[2] / "demo"
WEATHER = ("--forecast", str(DEMO / "weather.json"), "--issued", "2025-11-03T04:00")


@dataclass(frozen=True)
class Done:
    """What a command left behind."""

    code: int
    out: str
    err: str
    raw: bytes

    @property
    def json(self) -> Any:
        assert self.code == 0, self.err
        return json.loads(self.out)


class Keeper:
    """Types commands for one yard at one time; ``fails`` and ``does`` say what is expected."""

    def __init__(self, folder: Path, text: str = YARD, at: str = MONDAY) -> None:
        self.file = folder / "yard.toml"
        self.file.write_text(text, encoding="utf-8")
        self.at = at

    def run(self, *words: str, at: str | None = None, typed: str | None = None) -> Done:
        """Run a command; ``typed`` is what a person at a terminal answers, None: nobody is there."""
        argv = ["coatcast", *words, "--yard", str(self.file), "--at", at or self.at]
        out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", newline="") for _ in range(2))
        stdin = io.TextIOWrapper(io.BytesIO((typed or "").encode()), "utf-8")
        with (
            patch.object(sys, "argv", argv),
            patch.object(sys, "stdin", stdin),
            patch.object(stdin, "isatty", lambda: typed is not None, create=True),
            redirect_stdout(out),
            redirect_stderr(err),
        ):
            try:
                main()
                code = 0
            except SystemExit as stop:
                code = int(stop.code or 0)
        for stream in (out, err):
            stream.flush()
        raw = out.buffer.getvalue()  # type: ignore[attr-defined]
        return Done(code, raw.decode(), err.buffer.getvalue().decode(), raw)  # type: ignore[attr-defined]

    def does(self, *words: str, **options: str) -> str:
        done = self.run(*words, **options)
        assert done.code == 0, done.err
        return done.out

    def fails(self, *words: str, code: int = 2, **options: str) -> str:
        """The message of a command that must be refused, without a traceback and with nothing on stdout."""
        done = self.run(*words, **options)
        assert done.code == code, (done.code, done.out, done.err)
        assert "Traceback" not in done.err
        assert done.out == ""
        return done.err

    def logs(self, *words: str, at: str | None = None) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = self.run("log", "list", "--json", *words, at=at).json["logs"]
        return found

    def end(self, tag: str, name: str = "butt", *words: str, at: str | None = None) -> dict[str, Any]:
        log = next(log for log in self.logs(*words, at=at) if log["tag"] == tag)
        found: dict[str, Any] = next(end for end in log["ends"] if end["end"] == name)
        return found
