"""The feed read by ical.js, the reader inside Thunderbird and many web calendars."""

from __future__ import annotations

import json
import subprocess
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from calendar_clients import across_the_clock_change, feed_bytes, ical_js
from icalendar import Calendar

HERE = Path(__file__).parent


def read(data: bytes, folder: Path) -> Any:
    node, module = ical_js()
    file = folder / "feed.ics"
    file.write_bytes(data)
    run = [node, str(HERE / "read.mjs"), str(module), str(file)]
    done = subprocess.run(run, capture_output=True, text=True, encoding="utf-8", timeout=60)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def instant(when: datetime | date) -> str:
    if not isinstance(when, datetime):
        return when.isoformat()
    return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("times", ["utc", "zone"])
def test_ical_js_reads_what_was_written(tmp_path: Path, times: str, language: str) -> None:
    data = feed_bytes(times, language)
    found = read(data, tmp_path)
    assert found["head"] == {
        "name": "Ellerquern Bench",
        "refresh": "PT1H",
        "refreshType": "duration",
        "method": None,
        "uid": None,
    }
    events = {event["uid"]: event for event in found["events"]}
    ours = {str(event["UID"]): event for event in Calendar.from_ical(data).events}
    assert events.keys() == ours.keys()
    assert len(events) == 7
    for uid, event in ours.items():
        assert events[uid] == {
            "uid": uid,
            "start": instant(event["DTSTART"].dt),
            "end": instant(event["DTEND"].dt),
            "summary": event["SUMMARY"],
            "description": event["DESCRIPTION"],
            "sequence": event["SEQUENCE"],
            "status": event["STATUS"],
            "stamp": instant(event["DTSTAMP"].dt),
            "categories": [str(word) for word in event["CATEGORIES"].cats],
            "alarm": "-PT1H"
            if event["STATUS"] == "CONFIRMED" and isinstance(event["DTSTART"].dt, datetime)
            else None,
        }
    assert sorted({event["status"] for event in events.values()}) == ["CANCELLED", "CONFIRMED", "TENTATIVE"]


# Years ahead, where a list of dates in the VTIMEZONE would have run out; and rules that are hard to write.
@pytest.mark.parametrize(
    ("zone", "night"),
    [
        ("Europe/Berlin", "2025-10-25T22:00+02:00"),
        ("Europe/Berlin", "2033-07-02T22:00+02:00"),
        ("America/New_York", "2031-07-01T22:00-04:00"),
        ("Pacific/Auckland", "2030-04-06T22:00+13:00"),
        ("America/Santiago", "2029-12-01T22:00-03:00"),
        ("Australia/Lord_Howe", "2026-04-04T22:00+11:00"),
        ("Asia/Kathmandu", "2026-04-04T22:00+05:45"),
        ("Asia/Jerusalem", "2029-03-22T22:00+02:00"),
        ("Africa/Cairo", "2030-10-31T20:00+03:00"),
        ("America/Phoenix", "2030-07-01T22:00-07:00"),
    ],
)
def test_ical_js_has_the_right_instants_from_the_zone_in_the_file(
    tmp_path: Path, zone: str, night: str
) -> None:
    begin = datetime.fromisoformat(night)
    assert begin.utcoffset() == begin.astimezone(ZoneInfo(zone)).utcoffset()
    found = read(across_the_clock_change(ZoneInfo(zone), begin, "zone"), tmp_path)
    (event,) = found["events"]
    plain = read(across_the_clock_change(ZoneInfo(zone), begin, "utc"), tmp_path)
    assert event["start"] == instant(begin)
    assert (event["start"], event["end"]) == (plain["events"][0]["start"], plain["events"][0]["end"])
