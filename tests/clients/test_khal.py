"""The feed read by khal, a calendar client with a store and an idea of local time of its own."""

from __future__ import annotations

import subprocess
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from calendar_clients import NAME, across_the_clock_change, feed_bytes, khal

CONF = """\
[calendars]
[[yard]]
path = {folder}/calendar
type = calendar

[locale]
local_timezone = {zone}
default_timezone = {zone}
timeformat = %H:%M
dateformat = %Y-%m-%d
longdateformat = %Y-%m-%d
datetimeformat = %Y-%m-%d %H:%M
longdatetimeformat = %Y-%m-%d %H:%M

[sqlite]
path = {folder}/khal.db

[default]
default_calendar = yard
"""
LINE = "{start-date-long} {start-time} -> {end-date-long} {end-time} | {title} | {status}| {alarm-symbol}"


SHOWN = [
    "2025-11-03  -> 2025-11-03  | H09 wild cherry, butt: look, clear or milky? | CONFIRMED |",
    f"2025-11-04  -> 2025-11-04  | H01 {NAME}, butt and top: first coat | CONFIRMED |",
    "2025-11-04  -> 2025-11-04  | H09 wild cherry, butt: second coat | CONFIRMED |",
    "2025-11-04 09:00 -> 2025-11-04 13:00 | Brush 9 to 13: about 9 in 10 | CONFIRMED |  ⏰",
    "2025-11-06 22:00 -> 2025-11-07 06:00 | Brush 22 to 6: about 9 in 10 | CONFIRMED |  ⏰",
    "2025-11-08 09:00 -> 2025-11-08 11:00 | Called off: Brush 9 to 11: about 9 in 10 | CANCELLED |",
    "2025-11-12 09:00 -> 2025-11-12 13:00 | Brush 9 to 13: about 9 in 10 | TENTATIVE |",
]
GERMAN = [
    "2025-11-03  -> 2025-11-03  | H09 Kirsche, Stockende: nachsehen, klar oder milchig? | CONFIRMED |",
    f"2025-11-04  -> 2025-11-04  | H01 {NAME}, Stockende und Zopfende: erster Anstrich | CONFIRMED |",
    "2025-11-04  -> 2025-11-04  | H09 Kirsche, Stockende: zweiter Anstrich | CONFIRMED |",
    "2025-11-04 09:00 -> 2025-11-04 13:00 | Streichen 9 bis 13 Uhr: etwa 9 von 10 | CONFIRMED |  ⏰",
    "2025-11-06 22:00 -> 2025-11-07 06:00 | Streichen 22 bis 6 Uhr: etwa 9 von 10 | CONFIRMED |  ⏰",
    "2025-11-08 09:00 -> 2025-11-08 11:00 | Abgesagt: Streichen 9 bis 11 Uhr: etwa 9 von 10 | CANCELLED |",
    "2025-11-12 09:00 -> 2025-11-12 13:00 | Streichen 9 bis 13 Uhr: etwa 9 von 10 | TENTATIVE |",
]


class Khal:
    """khal with a calendar of its own in a folder."""

    def __init__(self, folder: Path, zone: str = "Europe/Berlin") -> None:
        self.program = khal()
        self.folder = folder
        (folder / "calendar").mkdir()
        (folder / "khal.conf").write_text(CONF.format(folder=folder, zone=zone), encoding="utf-8")

    def __call__(self, *words: str) -> str:
        env = {"HOME": str(self.folder), "LC_ALL": "C.UTF-8", "PATH": "/usr/bin:/bin"}
        run = [self.program, "-c", str(self.folder / "khal.conf"), *words]
        done = subprocess.run(run, capture_output=True, text=True, encoding="utf-8", env=env, timeout=60)
        assert done.returncode == 0, done.stderr
        assert "error" not in done.stderr.lower()
        return done.stdout

    def take(self, data: bytes) -> None:
        file = self.folder / "feed.ics"
        file.write_bytes(data)
        self("import", "--batch", "-a", "yard", str(file))

    def listed(self, day: str, span: str) -> list[str]:
        return [
            line.strip()
            for line in self("list", "--once", "--day-format", "", "--format", LINE, day, span).splitlines()
        ]


@pytest.mark.parametrize("times", ["utc", "zone"])
def test_khal_shows_every_entry_at_the_yards_own_hour(tmp_path: Path, times: str) -> None:
    client = Khal(tmp_path)
    client.take(feed_bytes(times))
    assert client.listed("2025-11-03", "12d") == SHOWN


@pytest.mark.parametrize("times", ["utc", "zone"])
def test_khal_shows_the_german_feed_and_takes_it_for_the_same_entries(tmp_path: Path, times: str) -> None:
    client = Khal(tmp_path)
    client.take(feed_bytes(times))
    client.take(feed_bytes(times, "de"))
    assert client.listed("2025-11-03", "12d") == GERMAN
    assert len(list((tmp_path / "calendar").glob("*.ics"))) == len(SHOWN)


def test_khal_takes_a_second_import_for_the_same_entries(tmp_path: Path) -> None:
    client = Khal(tmp_path)
    client.take(feed_bytes())
    client.take(feed_bytes())
    assert len(list((tmp_path / "calendar").glob("*.ics"))) == len(SHOWN)
    assert client.listed("2025-11-03", "12d") == SHOWN


@pytest.mark.parametrize("times", ["utc", "zone"])
@pytest.mark.parametrize(
    ("zone", "night", "said"),
    [
        ("Europe/Berlin", "2025-10-25T22:00+02:00", "2025-10-25 22:00 -> 2025-10-26 05:00"),
        ("America/New_York", "2026-03-07T22:00-05:00", "2026-03-07 22:00 -> 2026-03-08 07:00"),
        ("Australia/Lord_Howe", "2026-04-04T22:00+11:00", "2026-04-04 22:00 -> 2026-04-05 05:30"),
        ("Asia/Kolkata", "2026-04-04T22:00+05:30", "2026-04-04 22:00 -> 2026-04-05 06:00"),
    ],
)
def test_khal_has_the_right_hours_across_a_change_of_the_clock(
    tmp_path: Path, zone: str, night: str, said: str, times: str
) -> None:
    client = Khal(tmp_path, zone)
    client.take(across_the_clock_change(ZoneInfo(zone), datetime.fromisoformat(night), times))
    (line,) = client.listed(night[:10], "2d")
    assert line.startswith(said)
