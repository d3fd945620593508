"""Every command line of the documents, run for good on the demo's yard."""

from __future__ import annotations

import json
import math
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from command_line import run
from loopback import service
from replay_samples import hours_text
from test_readme import EVERY, found, typed

from scheduler.weather import fetch

DEMO = Path(__file__).parents[1] / "demo"
AT = "2025-11-03T05:45"  # the demo's clock
TAGS = {"L01": "H01", "L02": "H02"}  # the README's first two logs, by their tags in the demo


class Postbox:
    """Takes every letter."""

    def __init__(self) -> None:
        self.letters: list[bytes] = []

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        self.letters.append(bytes(envelope.content or b""))
        return "250 taken"


class Office(Controller):
    """A mail server on a free port."""

    def _trigger_server(self) -> None:
        assert self.server is not None
        self.port = self.server.sockets[0].getsockname()[1]
        super()._trigger_server()


@dataclass(frozen=True)
class Yard:
    """A folder with the demo's yard, its weather behind a service, and the files that the documents name."""

    folder: Path
    postbox: Postbox


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Yard]:
    folder = tmp_path_factory.mktemp("readme") / "yard"
    folder.mkdir()
    postbox = Postbox()
    office = Office(postbox, hostname="127.0.0.1", port=0)
    office.start()
    for name in ("logs.csv", "weather.json"):
        shutil.copy(DEMO / name, folder)
    with service(json.loads((DEMO / "weather.json").read_text(encoding="utf-8"))) as weather:
        text = (DEMO / "yard.toml").read_text(encoding="utf-8")
        text += f'\n[forecast]\nurl = "{weather.url}"\n'
        text += '\n[[channel]]\nkind = "email"\naddress = "me@example.org"\nhost = "127.0.0.1"\n'
        text += f'port = {office.port}\ntls = "none"\n'
        (folder / "yard.toml").write_text(text, encoding="utf-8")
        _past_days(folder / "daily.csv")
        (folder / "hours.csv").write_text(hours_text(40), encoding="utf-8")
        (folder / "more.csv").write_text("species,felled\noak,2025-11-01\n", encoding="utf-8")
        given = ("--yard", str(folder / "yard.toml"))
        assert run("log", "import", folder / "logs.csv", "--at", AT, *given).code == 0
        assert run("reminders", "--at", AT, "--forecast", folder / "weather.json", *given).code == 0
        try:
            yield Yard(folder, postbox)
        finally:
            office.stop()


def _past_days(file: Path) -> None:
    """Twelve plain years: a cosine through the year."""
    lines, day = ["date,min_c,max_c,rain_mm"], date(2013, 1, 1)
    while day < date(2025, 1, 1):
        middle = 9.0 - 10.0 * math.cos(2 * math.pi * (day.timetuple().tm_yday - 20) / 365.25)
        lines.append(
            f"{day},{middle - 5:.1f},{middle + 5:.1f},{'3.0' if day.toordinal() % 4 == 0 else '0.0'}"
        )
        day += timedelta(days=1)
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")


def words_of(line: str, folder: Path) -> list[str]:
    """The line as somebody in that folder would type it, with files that are there and the demo's clock."""
    words = [re.sub(r"L0[12]", lambda tag: TAGS[tag.group()], word) for word in typed(line)[1:]]
    kept = {
        "FILE.csv": "more.csv",
        "DAILY.csv": "daily.csv",
        "HOURS.csv": "hours.csv",
        "FILE": "kept.zip" if words[0] == "restore" else "weather.json",
    }
    words = [kept.get(word, word) for word in words]
    if words == ["season"]:  # without a file it asks the service's archive
        words += ["--history", "daily.csv"]
    if words[0] == "replay":  # five seeds take a while
        words[words.index("--seeds") + 1] = "1"
    if words == ["init"]:  # named in a sentence; the block above it has the whole line
        words += ["--place", "48.0, 8.2", "--endpoint", "free"]
    command, _ = found(words)
    options = {name for parameter in command.params for name in parameter.opts}
    return words + (["--at", AT] if "--at" in options and "--at" not in words else [])


@pytest.mark.parametrize("line", EVERY)
def test_every_command_line_of_the_documents_runs(
    line: str, yard: Yard, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    here = tmp_path / "yard"
    shutil.copytree(yard.folder, here)
    monkeypatch.chdir(here)
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("TZ", "Europe/Berlin")
    monkeypatch.delenv("COATCAST_YARD", raising=False)
    manners = fetch.Manners(waits=(), sleep=lambda _s: None)
    monkeypatch.setattr(fetch, "Manners", lambda: manners)
    served: list[Path] = []
    monkeypatch.setattr("scheduler.serve.serve", lambda file, **_: served.append(file))
    words = words_of(line, here)
    if words[0] == "init":
        monkeypatch.chdir(tmp_path)
    if words[0] == "restore":
        assert run("backup", "-o", "kept.zip").code == 0
        (here / "coatcast.db").unlink()
    sent = len(yard.postbox.letters)
    ran = run(*words)
    assert ran.code == 0, f"{line}\n{ran.out}{ran.err}"
    if words[0] == "serve":
        assert served == [(here / "yard.toml").resolve()]
    if "--send" in words:
        assert len(yard.postbox.letters) == sent + 1
