"""The demo: its story holds, it is always the same, and it needs no network, no clock and no yard."""

from __future__ import annotations

import ast
import os
import re
import resource
import socket
import subprocess
import sys
from datetime import timedelta
from pathlib import Path
from typing import Any

import icalendar
import pytest
from morning_samples import at, morning, story, wording

from scheduler.demo import MONDAY, TUESDAY, demo_entries, demo_story
from scheduler.planning.night import days_of
from scheduler.settings import demo_folder
from scheduler.views.today import headline

ROOT = Path(__file__).parents[1]
MONTHS = re.compile(
    r"\b(january|february|march|april|june|july|august|september|october|november|december)\b", re.IGNORECASE
)


def lines() -> list[str]:
    return list(story().lines)


def part(title: str) -> list[str]:
    """The lines from a title to the next one."""
    said = lines()
    begin = next(n for n, line in enumerate(said) if line.startswith(title))
    titles = [
        n for n, line in enumerate(said) if n > begin and (line.isupper() or line.startswith("The week"))
    ]
    return said[begin : titles[0] if titles else None]


def week() -> dict[str, str]:
    return {line.split()[0]: line for line in part("The week")[1:] if line.strip()}


# ------------------------------------------------------------------ the story


def test_it_fits_a_screen_of_eighty_columns_and_some_sixty_lines() -> None:
    assert 40 <= len(lines()) <= 76
    too_long = [line for line in lines() if len(line) > 80]
    assert too_long == []


def test_the_first_line_says_what_it_is() -> None:
    assert lines()[0] == "Ellerquern Bench, an invented yard: 16 logs, a stored forecast, no network."


def test_on_monday_it_says_prepare_and_names_tomorrow() -> None:
    monday = part("MONDAY 3 NOVEMBER, 05:45")
    assert re.fullmatch(r"Prepare\. Tomorrow brush 9 to \d+(:\d\d)?, about [789] in 10\.", monday[1])
    assert monday[2].startswith("Not today: ")
    assert any(line.startswith("H09 is still milky.") for line in monday)


def test_on_tuesday_it_says_seal_with_hours_the_first_logs_and_two_people_for_the_saw() -> None:
    tuesday = part("TUESDAY 4 NOVEMBER, 06:00")
    assert re.fullmatch(r"Seal today, brush 9 to \d+(:\d\d)?\. First H02 walnut, H01 cherry\.", tuesday[1])
    text = " ".join(" ".join(tuesday).split())
    assert re.search(r"takes rain by \d\d:\d\d,", text)
    assert "rain tomorrow at 10:00" in text
    assert "About 9 in 10 that it holds." in text
    assert "H02 European walnut: cut back to clean wood, coat at once, butt and top (two people)" in text
    assert "Saw: two people, off the stack, in the light." in text
    assert "Not worth wax: H12 silver birch." in text


def test_tuesdays_coat_takes_rain_on_tuesday_and_the_rain_comes_on_wednesday() -> None:
    b, _ = morning("upland", 3)
    span = b.morning.work.span
    assert span is not None
    assert span.milestones.rain_safe is not None
    assert span.milestones.frost_safe is not None
    assert b.rain is not None
    assert span.milestones.rain_safe < b.rain
    assert span.milestones.rain_safe < at("upland", 3) + timedelta(hours=18)


@pytest.mark.parametrize(
    ("day", "what"),
    [
        ("Tue", r"brush 9 to \S+ .*takes rain by \d\d:\d\d, about [89] in 10"),
        ("Wed", r"no .*(rain|wet)"),
        ("Thu", r"no .*frost on the wood"),
        ("Fri", r"no .*(cold|frost)"),
        ("Sat", r"brush "),
    ],
)
def test_the_week_tells_the_story_day_by_day(day: str, what: str) -> None:
    assert re.search(what, week()[day])


def test_on_thursday_the_wood_freezes_while_the_forecasts_air_stays_above_zero() -> None:
    row = week()["Thu"]
    found = re.search(r"(-\d\S*) / \+(\d\S*)", row)
    assert found is not None, row
    assert float(found[1]) < -1.0
    assert float(found[2]) > 0.0
    _, ahead = morning("upland", 2)
    thursday = days_of(ahead, 4)[3]
    assert thursday.wood_c is not None
    assert thursday.forecast_c is not None
    assert thursday.wood_c < -1.0 < 0.0 < thursday.forecast_c


def test_thursday_morning_itself_says_leave_it_because_of_the_frost_on_the_wood() -> None:
    b, _ = morning("upland", 5)
    assert headline(b, wording("upland", 5)) == "Leave it today. Frost on the wood before it dries."
    assert b.night is not None
    assert b.night.forecast_c is not None
    assert b.night.forecast_c > 0.0


def test_the_verdicts_of_the_week_are_those_of_the_story() -> None:
    verdicts = [morning("upland", n)[0].morning.verdict for n in range(2, 7)]
    assert verdicts[:4] == ["prepare", "seal", "leave_it", "leave_it"]
    assert verdicts[4] in ("prepare", "leave_it")


def test_no_day_of_frost_or_rain_is_ever_a_day_to_seal() -> None:
    for n in (*range(4, 7), *range(9, 13)):
        assert morning("upland", n)[0].morning.verdict != "seal", n


# ------------------------------------------------------------------ the other half of the earth


def test_in_the_southern_yard_autumn_is_in_may_and_the_same_logic_finds_its_days() -> None:
    verdicts = [morning("southern", n)[0].morning.verdict for n in range(16)]
    assert verdicts[3:6].count("seal") >= 2, "Monday 11 May to Wednesday"
    assert set(verdicts[3:6]) <= {"seal", "touch_and_go"}
    assert "leave_it" in verdicts
    assert all(word != "unknown" for word in verdicts)


def test_no_logic_knows_the_name_or_number_of_a_month() -> None:
    """The season is in the weather. Only what reads and writes dates for people may know months."""
    folders = ("weather", "coating", "rules", "wood", "planning", "reminders")
    paths = [path for folder in folders for path in (ROOT / "scheduler" / folder).rglob("*.py")]
    for path in (*paths, ROOT / "scheduler" / "service.py", ROOT / "scheduler" / "demo.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            assert not (isinstance(node, ast.Attribute) and node.attr == "month"), f"{path}:{node.lineno}"
        texts = [n.value for n in ast.walk(tree) if isinstance(n, ast.Constant) and isinstance(n.value, str)]
        docs = {ast.get_docstring(n, clean=False) for n in ast.walk(tree) if isinstance(n, DOCUMENTED)}
        for text in texts:
            if text not in docs:
                assert not MONTHS.search(text), f"{path}: {text[:60]}"


DOCUMENTED = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)


# ------------------------------------------------------------------ alone and always the same


def test_it_is_always_the_same_and_asks_nobody(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def refuse(*_args: Any, **_more: Any) -> Any:
        raise AssertionError("the demo went to the network")

    first = story()
    monkeypatch.chdir(tmp_path)
    for name in ("socket", "create_connection", "getaddrinfo"):
        monkeypatch.setattr(socket, name, refuse)
    again = demo_story()
    assert again.lines == first.lines
    assert dict(again.files) == dict(first.files)
    assert list(tmp_path.iterdir()) == [], "nothing is left where it was run"


def test_its_files_are_the_calendar_the_picture_and_the_yard_to_go_on_with() -> None:
    files = story().files
    assert set(files) == {"ellerquern.ics", "page.svg", "yard.toml", "weather.json", "logs.csv"}
    for name in ("yard.toml", "weather.json", "logs.csv"):
        assert files[name] == (demo_folder() / name).read_bytes()
    calendar = icalendar.Calendar.from_ical(files["ellerquern.ics"])
    events = calendar.walk("VEVENT")
    assert events
    assert len({str(event["UID"]) for event in events}) == len(events)
    assert any("H01" in str(event.get("SUMMARY", "")) + str(event.get("DESCRIPTION", "")) for event in events)
    assert b"<svg " in files["page.svg"]


def test_the_logs_of_the_demo_are_those_of_its_table() -> None:
    from morning_samples import register, yard_of

    found = register("upland", MONDAY)
    assert [log.tag for log in found.logs] == [f"H{n:02}" for n in range(1, 17)]
    assert [log.tag for log in found.logs if log.state == "expected"] == ["H16"]
    text = (demo_folder() / "logs.csv").read_text(encoding="utf-8")
    assert demo_entries(text, yard_of("upland"), MONDAY) == demo_entries(text, yard_of("upland"), MONDAY)
    assert TUESDAY > MONDAY


@pytest.mark.slow
def test_from_a_cold_start_it_takes_less_than_five_seconds_of_work(tmp_path: Path) -> None:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "http_proxy": "http://127.0.0.1:9"}
    ran = subprocess.run(
        [sys.executable, "-W", "error", "-m", "scheduler.cli", "demo", "--out", "out"],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert ran.stdout.startswith("Ellerquern Bench")
    assert after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime < 5.0
