"""Recorded answers of the world's services through the command line, each with a yard at its own cell.

Each gives a verdict or a clear refusal; never a traceback, never a good day made up.
"""

from __future__ import annotations

import json
import os
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from command_line import Ran, run, yard_file

FOLDER = Path(os.environ.get("COATCAST_PAYLOADS") or Path(__file__).parents[2] / "shared" / "payloads")
COLUMNS = sorted((FOLDER / "open-meteo").glob("*.json")) if FOLDER.is_dir() else []
OTHERS = sorted(
    path
    for path in (FOLDER.glob("*/*.json") if FOLDER.is_dir() else ())
    if path.parent.name != "open-meteo" and not path.name.endswith(".headers.json")
)
pytestmark = pytest.mark.skipif(
    not FOLDER.is_dir(), reason="no recorded answers here: set COATCAST_PAYLOADS to their folder"
)
VERDICTS = {"seal", "touch_and_go", "prepare", "leave_it", "unknown"}


def cell(answer: Any) -> tuple[float, float]:
    """Where an answer says it is, else somewhere."""
    one = answer[0] if isinstance(answer, list) and answer else answer
    if isinstance(one, dict) and isinstance(one.get("latitude"), (int, float)):
        return float(one["latitude"]), float(one["longitude"])
    shape = one.get("geometry") if isinstance(one, dict) else None
    spot = shape.get("coordinates") if isinstance(shape, dict) else None
    while isinstance(spot, list) and spot and isinstance(spot[0], list):
        spot = spot[0]
    return (float(spot[1]), float(spot[0])) if isinstance(spot, list) and len(spot) > 1 else (48.0, 8.2)


def clock(answer: Any) -> datetime:
    """An hour after the first one of the hourly block; without one, any time."""
    hourly = answer.get("hourly") if isinstance(answer, dict) else None
    first = hourly["time"][0] if isinstance(hourly, dict) and hourly.get("time") else None
    if isinstance(first, (int, float)):
        return datetime.fromtimestamp(first, UTC) + timedelta(hours=1)
    if isinstance(first, str):
        offset = timedelta(seconds=answer.get("utc_offset_seconds", 0))
        return datetime.fromisoformat(first).replace(tzinfo=UTC) - offset + timedelta(hours=1)
    return datetime(2025, 11, 3, 6, tzinfo=UTC)


def asked(folder: Path, path: Path, at: datetime, *words: str) -> Ran:
    data = json.loads(path.read_bytes())
    yard = yard_file(folder, zone="UTC", place=cell(data))
    time = f"{at:%Y-%m-%dT%H:%M}Z"
    return run("today", "--yard", yard, "--at", time, "--issued", time, "--forecast", path, *words)


def assert_answered(ran: Ran) -> dict[str, Any]:
    assert ran.code in (0, 1)
    assert ran.err == ""
    data: dict[str, Any] = ran.json()
    assert data["verdict"] in VERDICTS
    assert (ran.code == 1) is (data["verdict"] == "unknown")
    assert len(data["headline"]) <= 60
    return data


def assert_plain(text: str) -> None:
    text = re.sub(r'"[^"]*"', "", text)  # what a service says in its own words
    assert not re.search(r"Traceback|\bNone\b|\bnan\b|Error:|!", text)


@pytest.mark.parametrize("path", COLUMNS, ids=lambda p: p.stem)
def test_a_recorded_answer_gives_a_verdict_or_a_clear_refusal(path: Path, tmp_path: Path) -> None:
    at = clock(json.loads(path.read_bytes()))
    data = assert_answered(asked(tmp_path, path, at, "--json"))
    text = asked(tmp_path, path, at)
    assert text.out.splitlines()[0] == data["headline"]
    assert_plain(text.out)
    if data["verdict"] == "unknown":
        assert len(text.out.splitlines()[1]) > 20, "it says why"


@pytest.mark.parametrize("path", COLUMNS, ids=lambda p: p.stem)
def test_an_answer_for_a_yard_elsewhere_is_refused(path: Path, tmp_path: Path) -> None:
    data = json.loads(path.read_bytes())
    if not isinstance(data, dict) or "latitude" not in data:
        pytest.skip("this answer does not say where it is")
    lat, lon = cell(data)
    yard = yard_file(tmp_path, zone="UTC", place=(lat, lon - 20.0 if lon > 0 else lon + 20.0))
    at = f"{clock(data):%Y-%m-%dT%H:%M}Z"
    ran = run("today", "--yard", yard, "--at", at, "--issued", at, "--forecast", path, "--json")
    assert ran.code == 1
    assert assert_answered(ran)["verdict"] == "unknown"


@pytest.mark.parametrize("path", OTHERS, ids=lambda p: f"{p.parent.name}-{p.stem}")
def test_an_answer_of_another_family_gives_a_verdict_or_a_clear_refusal(path: Path, tmp_path: Path) -> None:
    data = json.loads(path.read_bytes())
    ran = asked(tmp_path, path, clock(data), "--json")
    found = assert_answered(ran)
    text = asked(tmp_path, path, clock(data))
    assert text.out.splitlines()[0] == found["headline"]
    assert_plain(text.out)


def german() -> Path:
    found = next((path for path in COLUMNS if path.stem.startswith("germany_2026-03-02")), None)
    if found is None:
        pytest.skip("the recorded three days from Germany are not among the answers here")
    return found


def test_the_recorded_german_days_are_judged_hour_by_hour_and_beyond_them_unknown(tmp_path: Path) -> None:
    path = german()
    yard = yard_file(tmp_path, zone="Europe/Berlin", place=cell(json.loads(path.read_bytes())))
    at = "2026-03-02T06:00"
    words = ("--yard", yard, "--at", at, "--issued", at, "--forecast", path, "--json")
    spans = run("spans", *words)
    assert (spans.code, spans.err) == (0, "")
    rules = {stop["rule"] for stop in spans.json()["stopped"]}
    assert "weather_unknown" in rules, "the last day's coats would dry beyond the data"
    last = max(stop["end"] for stop in spans.json()["stopped"])
    assert last <= "2026-03-05T00:00:00+01:00"
    why = run("why", "2026-03-02T13:00", *words)
    assert why.code in (0, 1)
    assert {rule["rule"] for rule in why.json()["rules"]} >= {"frost_on_face", "face_wet"}


def test_the_recorded_german_days_hold_no_rain_and_the_rule_finds_none(tmp_path: Path) -> None:
    path = german()
    data = json.loads(path.read_bytes())
    assert sum(value or 0.0 for value in data["hourly"]["precipitation"]) == 0.0
    yard = yard_file(tmp_path, zone="Europe/Berlin", place=cell(data))
    words = ("--yard", yard, "--at", "2026-03-02T06:00", "--issued", "2026-03-02T06:00", "--forecast", path)
    why = run("why", "2026-03-02T12:00", *words, "--json").json()
    rain = next(rule for rule in why["rules"] if rule["rule"] == "rain_before_it_holds")
    assert rain["share"] < 0.5
