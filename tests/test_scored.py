"""Were we right? The table of what was said and what came, through the command as a keeper asks for it."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command_line import columns_of, run, stored, yard_file
from weather_samples import weather

from scheduler.settings import load_yard
from scheduler.weather.fetch_kept import Answer, keep

FIRST = datetime(2025, 9, 1, tzinfo=UTC)
NIGHTS = 60
LAST = FIRST + timedelta(days=NIGHTS + 1, hours=8)
HOUR = timedelta(hours=1)
RNG = np.random.default_rng(5)
LOWS = 2.0 + 4.0 * np.sin(np.arange(NIGHTS + 12) / 3.0)


def truth(hours: int) -> np.ndarray:
    hour = np.arange(hours)
    return LOWS[np.minimum(hour // 24, LOWS.size - 1)] + 5.0 * (1.0 - np.cos((hour - 5) / 24 * 2 * np.pi))


def answer(start: datetime, miss: float) -> dict[str, Any]:
    first = int((start - FIRST) / HOUR)
    air = truth(24 * (NIGHTS + 11))[first : first + 24 * 5] + miss
    wet = (np.arange(air.size) + first) // 24 % 4 == 0
    given = weather(air.size, air_c=air, dew_c=air - 3.0, wind=5.0, rain=np.where(wet, 0.8, 0.0), start=start)
    return columns_of(given)


def yard_with_a_past(folder: Path) -> Path:
    file = yard_file(folder)
    cache = load_yard(file).cache_folder
    for n in range(NIGHTS):
        start = FIRST + timedelta(days=n)
        body = json.dumps(answer(start, float(RNG.normal(0.5, 1.0)))).encode()
        keep(Answer(body, "https://weather.example/v1", "asked", start + 5 * HOUR), cache)
    return file


def hours_csv(folder: Path) -> Path:
    rows = ["time,air_c,dew_point_c,wind_ms,rain_mm"]
    air = truth(24 * NIGHTS)
    for n, value in enumerate(air):
        wet = (n - 1) // 24 % 4 == 0
        when = FIRST + n * HOUR
        rows.append(f"{when:%Y-%m-%dT%H:%MZ},{value:.2f},{value - 3:.2f},5.0,{0.8 if wet else 0.0}")
    return stored(folder, "\n".join(rows), "hours.csv")


@pytest.fixture(scope="module")
def past(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return yard_with_a_past(tmp_path_factory.mktemp("past"))


def scores(file: Path, *more: str | Path) -> list[dict[str, Any]]:
    done = run("verify", "--scores", "--yard", file, "--at", LAST.isoformat(), "--json", *more)
    assert done.code == 0, done.err
    found: list[dict[str, Any]] = done.json()["scores"]
    return found


def test_hours_of_a_station_give_hits_misses_brier_and_bias_by_days_ahead(past: Path) -> None:
    found = scores(past, "--observed", hours_csv(past.parent))
    frost = [one for one in found if one["kind"] == "frost"]
    assert [one["days_ahead"] for one in frost][:3] == [[0.0, 1.0], [1.0, 2.0], [2.0, 3.0]]
    near = frost[0]
    assert near["cases"] >= 50
    assert near["hits"] + near["misses"] + near["false_alarms"] + near["quiets"] == near["cases"]
    assert near["hits"] > 3 * near["misses"]
    assert near["brier"] < 0.15
    assert near["skill"] > 0.4
    assert near["bias_k"] == pytest.approx(0.5, abs=0.4)
    assert sum(one["n"] for one in near["reliability"]) == near["cases"]
    rain = next(one for one in found if one["kind"] == "rain" and one["days_ahead"] == [0.0, 1.0])
    assert rain["brier"] < 0.1


def test_the_table_can_be_read_on_a_screen(past: Path) -> None:
    done = run(
        "verify", "--scores", "--yard", past, "--at", LAST.isoformat(), "--observed", hours_csv(past.parent)
    )
    assert done.code == 0
    rows = done.out.splitlines()
    assert rows[0].split()[:2] == ["days", "ahead"]
    assert any(row.startswith("frost in the night") and row.rstrip().endswith("%") for row in rows)
    assert any("°C too warm" in row for row in rows)
    assert any(row.startswith("came of those said") for row in rows)
    assert max(map(len, rows)) <= 92


def test_a_few_nights_of_the_keepers_own_are_too_few_to_judge(past: Path, tmp_path: Path) -> None:
    file = yard_with_a_past(tmp_path)
    for n in range(5, 11):
        at = FIRST + timedelta(days=n, hours=7)
        assert run("seen", "min", f"{LOWS[n]:.1f}", "--yard", file, "--at", at.isoformat()).code == 0
    found = scores(file)
    near = next(one for one in found if one["kind"] == "frost" and one["days_ahead"] == [0.0, 1.0])
    assert near["cases"] == 6
    assert near["word"] == "too few to judge"
    assert near["brier"] is None
    text = run("verify", "--scores", "--yard", file, "--at", LAST.isoformat()).out
    assert "too few to judge" in text


def test_a_station_of_readings_at_odd_minutes_is_taken_to_the_hour(past: Path, tmp_path: Path) -> None:
    rows = ["time,air_c"]
    for n, value in enumerate(truth(24 * NIGHTS)):
        rows.append(f"{FIRST + n * HOUR - timedelta(minutes=7):%Y-%m-%dT%H:%MZ},{value:.2f}")
    found = scores(past, "--observed", stored(tmp_path, "\n".join(rows), "sensor.csv"))
    assert next(one for one in found if one["kind"] == "frost")["cases"] >= 50
    assert not [one for one in found if one["kind"] == "rain"]


def test_without_anything_to_judge_by_it_says_what_to_tell(tmp_path: Path) -> None:
    done = run("verify", "--scores", "--yard", yard_file(tmp_path), "--at", LAST.isoformat())
    assert done.code == 0
    assert "coatcast seen frost no" in done.out


def test_a_file_that_is_not_there_or_no_record_is_said_plainly(tmp_path: Path) -> None:
    file = yard_file(tmp_path)
    none = run("verify", "--scores", "--observed", tmp_path / "no.csv", "--yard", file)
    assert (none.code, "no such file" in none.err) == (2, True)
    odd = run("verify", "--scores", "--observed", stored(tmp_path, "hello", "odd.csv"), "--yard", file)
    assert odd.code == 2
    assert "odd.csv" in odd.err
    alone = run("verify", "--observed", tmp_path / "no.csv", "--yard", file)
    assert (alone.code, "--scores" in alone.err) == (2, True)
