"""A frost hollow is known as one: readings against kept forecasts, through the commands of a keeper."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from command_line import Ran, columns_of, run, stored, yard_file
from weather_samples import by_day, weather

from scheduler.learning import FILE, learn, learned
from scheduler.settings import load_yard
from scheduler.sources import register_of
from scheduler.weather.fetch_kept import Answer, keep

FIRST = datetime(2025, 11, 1, tzinfo=UTC)
DAYS = 16
LAST = FIRST + timedelta(days=DAYS, hours=5)  # six on the yard's clock
WHEN = ("--at", LAST.isoformat(), "--issued", (LAST - timedelta(hours=1)).isoformat())


def answer(start: datetime, low: float = 4.0, days: int = 9) -> dict[str, Any]:
    given = weather(
        24 * days, air_c=by_day(low, 13.0), wind=0.8, cloud=0.0, humidity=70.0, start=start, sun=None
    )
    return columns_of(given)


def hollow(folder: Path, *more: str, nights: int = 12, colder: float = 4.0) -> Path:
    """A yard with a forecast kept every morning, and nights that were read ``colder`` than those had said."""
    file = yard_file(folder, *more)
    cache = load_yard(file).cache_folder
    for n in range(DAYS):
        fetched = FIRST + timedelta(days=n, hours=5)
        body = json.dumps(answer(FIRST + timedelta(days=n - 3))).encode()
        keep(Answer(body, "https://weather.example/v1", "asked", fetched), cache)
    for n in range(2, 2 + nights):
        at = FIRST + timedelta(days=n, hours=7)
        done = run("seen", "min", f"{4.0 - colder:g}", "--yard", file, "--at", at.isoformat())
        assert done.code == 0, done.err
    return file


def said(file: Path, name: str = "learned") -> str:
    checks = run("verify", "--yard", file, "--at", LAST.isoformat(), "--json").json()["checks"]
    return next(str(c["said"]) for c in checks if c["name"] == name)


def today(file: Path, low: float = 4.0) -> Ran:
    forecast = stored(file.parent, answer(LAST - timedelta(days=3, hours=5), low))
    return run("today", "--yard", file, *WHEN, "--forecast", forecast, "--json")


def test_twelve_nights_four_degrees_colder_make_a_hollow_of_it(tmp_path: Path) -> None:
    text = said(hollow(tmp_path))
    assert "colder than the forecast on clear calm nights" in text
    degrees = float(text.split(" °C colder")[0].split()[-1])
    assert degrees == pytest.approx(3.6, abs=0.7)
    assert "from 12 nights, 12 of them clear and calm" in text
    assert "off the night's lowest by 4.0 °C" in text


def test_too_few_nights_leave_the_yard_files_word_and_say_how_many_are_needed(
    tmp_path: Path,
) -> None:
    file = hollow(tmp_path, nights=3)
    text = said(file)
    assert "from 3 nights" in text
    assert "8 are needed" in text
    assert learned(load_yard(file), LAST).beliefs is None


def test_what_was_learned_changes_the_verdict_and_the_keeper_can_refuse_it(tmp_path: Path) -> None:
    """Nights of 4 °C in the forecast: the coat holds in the open field and freezes in the hollow."""
    file = hollow(tmp_path, nights=14, colder=6.0)
    run("verify", "--yard", file, "--at", LAST.isoformat())
    known = today(file).json()["span"]
    assert run("set", "learn", "no", "--yard", file).code == 0
    refused = today(file).json()["span"]
    assert refused is not None
    assert (known["chance"] if known else 0.0) < refused["chance"] - 0.1
    assert "switched off" in said(file)


def test_nothing_is_learned_before_the_time_it_was_told(tmp_path: Path) -> None:
    file = hollow(tmp_path)
    said(file)
    early = learned(load_yard(file), FIRST + timedelta(days=4, hours=12))
    assert early.offset is not None
    assert early.offset.nights == 3


def test_the_comparisons_can_be_lost_or_damaged_and_are_made_anew(tmp_path: Path) -> None:
    file = hollow(tmp_path)
    text = said(file)
    kept = load_yard(file).cache_folder / FILE
    for harm in (b"", b"{", b'{"version": 1}', b"[]", kept.read_bytes()[:200]):
        kept.write_bytes(harm)
        assert today(file).code == 0
        assert said(file) == text
    kept.unlink()
    assert said(file) == text


def test_a_reading_taken_back_is_forgotten(tmp_path: Path) -> None:
    file = hollow(tmp_path, nights=9)
    assert "from 9 nights" in said(file)
    assert run("undo", "--yard", file, "--at", LAST.isoformat()).code == 0
    assert "from 8 nights" in said(file)


def test_a_yard_that_has_moved_begins_anew(tmp_path: Path) -> None:
    file = hollow(tmp_path)
    said(file)
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("lat = 48.0", "lat = 48.9"), encoding="utf-8")
    assert learned(load_yard(file), LAST).offset is None


def test_a_loggers_file_teaches_the_same_and_a_persons_word_stands(tmp_path: Path) -> None:
    file = hollow(tmp_path, nights=1)
    rows = ["time,air_c"]
    for n in range(24 * 14):
        when = FIRST + timedelta(hours=n)
        rows.append(f"{when:%Y-%m-%dT%H:%MZ},{0.5 if when.hour == 5 else 6.0}")
    sensor = stored(tmp_path, "\n".join(rows), "sensor.csv")
    done = run("seen", "file", sensor, "--yard", file, "--at", LAST.isoformat())
    assert done.code == 0, done.err
    assert "the lowest of 12 nights" in done.out
    assert "1 told before stay" in done.out
    again = run("seen", "file", sensor, "--yard", file, "--at", LAST.isoformat())
    assert "0 nights" in again.out
    register = register_of(load_yard(file), LAST)
    assert sorted(low for _, low in register.minima_seen) == [0.0] + [0.5] * 12
    assert learn(load_yard(file), register, LAST).offset is not None


@pytest.mark.parametrize(
    ("words", "word"),
    [
        (["file"], "name one file"),
        (["file", "nowhere.csv"], "there is no file"),
        (["fle"], "did you mean file"),
    ],
)
def test_a_file_that_cannot_be_read_is_said_plainly(tmp_path: Path, words: list[str], word: str) -> None:
    done = run("seen", *words, "--yard", yard_file(tmp_path), "--at", LAST.isoformat())
    assert done.code == 2
    assert word in done.err


def test_a_logger_from_the_future_is_refused(tmp_path: Path) -> None:
    sensor = stored(tmp_path, "time,air_c\n2026-11-01T00:00,3\n", "sensor.csv")
    done = run("seen", "file", sensor, "--yard", yard_file(tmp_path), "--at", LAST.isoformat())
    assert done.code == 2
    assert "in the future" in done.err


def test_one_question_a_morning_is_put_and_not_put_again_on_another_day(tmp_path: Path) -> None:
    file = hollow(tmp_path, nights=1)
    forecast = stored(tmp_path, answer(LAST - timedelta(days=3, hours=5), 1.5))
    words = ("today", "--yard", file, "--forecast", forecast)
    one = run(*words, *WHEN)
    assert one.out.count("coatcast seen frost yes") == 1
    assert run("seen", "frost", "no", "--yard", file, "--at", LAST.isoformat()).code == 0
    assert "seen frost" not in run(*words, *WHEN).out


def test_looks_at_coats_correct_the_drying_through_the_commands(tmp_path: Path) -> None:
    """Five coats still milky two days on, in weather in which the model has them dry: they dry slower."""
    file = hollow(tmp_path, nights=1)
    for n in range(6):
        at = FIRST + timedelta(days=n, hours=9)
        look = at + timedelta(hours=44)
        for words, when in (
            (("log", "add", "oak", f"{40 + n}cm"), at),
            (("note", f"L0{n + 1}", "coat"), at),
            (("note", f"L0{n + 1}", "look", "milky"), look),
        ):
            done = run(*words, "--yard", file, "--at", when.isoformat())
            assert done.code == 0, done.err + done.out
    # The forecast at hand reaches back to the coats through the kept answers.
    register = register_of(load_yard(file), LAST)
    assert len(register.logs) == 6
    forecast = stored(tmp_path, answer(LAST - timedelta(days=3, hours=5)))
    assert run("reminders", "--yard", file, *WHEN, "--forecast", forecast).code == 0
    held = learned(load_yard(file), LAST)
    assert held.drying is not None
    assert held.drying.coats >= 5
    assert held.drying.log_factor < -0.02
    assert held.beliefs is not None
    assert "times as fast as reckoned" in said(file)
