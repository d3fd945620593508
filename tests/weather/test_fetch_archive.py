"""The archive of past days: asked once in the service's own words, kept for long, asked again when old."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from loopback import dead_url, service

from scheduler.settings import ForecastSource, Position
from scheduler.weather.fetch import FetchError
from scheduler.weather.fetch_archive import FILE, archive_url, past_days
from scheduler.weather.fetch_wire import Manners
from scheduler.weather.series import WeatherError

NOW = datetime(2025, 11, 3, 5, tzinfo=UTC)
PLACE = Position(lat=48.0, lon=8.25)
QUICK = Manners(timeout=(1.0, 1.0), waits=(0.0, 0.0), sleep=lambda _s: None)


def answer(days: int = 800, first: date = date(2023, 8, 1)) -> dict[str, Any]:
    dates = [(first + timedelta(days=n)).isoformat() for n in range(days)]
    return {
        "latitude": 48.0,
        "longitude": 8.25,
        "elevation": 500.0,
        "utc_offset_seconds": 3600,
        "daily_units": {
            "time": "iso8601",
            "temperature_2m_min": "°C",
            "temperature_2m_max": "°C",
            "precipitation_sum": "mm",
        },
        "daily": {
            "time": dates,
            "temperature_2m_min": [float(n % 9) for n in range(days)],
            "temperature_2m_max": [float(n % 9) + 8.0 for n in range(days)],
            "precipitation_sum": [0.0] * days,
        },
    }


def test_it_asks_for_days_of_one_model_at_the_yards_place_and_not_for_hours(tmp_path: Path) -> None:
    with service(answer()) as archive:
        source = ForecastSource(url="http://127.0.0.1:1/v1/forecast", archive=archive.url)
        record, said = past_days(source, PLACE, tmp_path, NOW, 30, manners=QUICK)
        asked = archive.asked[0]
    assert said is None
    assert record.days == 800
    assert asked["latitude"] == ["48.0000"]
    assert asked["models"] == ["era5_land"]
    assert "hourly" not in asked
    assert "forecast_days" not in asked
    assert asked["start_date"][0] < "1995"
    assert asked["end_date"] == ["2025-10-27"]


def test_it_is_asked_once_and_again_when_old_and_the_old_answer_serves_while_it_is_away(
    tmp_path: Path,
) -> None:
    with service(answer()) as archive:
        source = ForecastSource(archive=archive.url)
        for n in range(3):
            past_days(source, PLACE, tmp_path, NOW + timedelta(days=10 * n), 30, manners=QUICK)
        assert len(archive.asked) == 1
        past_days(source, PLACE, tmp_path, NOW + timedelta(days=70), 30, manners=QUICK)
        assert len(archive.asked) == 2
        archive.gives({"error": True, "reason": "no data"})
        record, said = past_days(source, PLACE, tmp_path, NOW + timedelta(days=200), 30, manners=QUICK)
    assert record.days == 800
    assert said is not None
    assert "is used" in said


def test_another_place_or_a_damaged_file_is_asked_anew(tmp_path: Path) -> None:
    with service(answer()) as archive:
        source = ForecastSource(archive=archive.url)
        past_days(source, PLACE, tmp_path, NOW, 30, manners=QUICK)
        past_days(source, Position(lat=48.1, lon=8.25), tmp_path, NOW, 30, manners=QUICK)
        assert len(archive.asked) == 2
        (tmp_path / FILE).write_bytes(b"no gzip")
        past_days(source, PLACE, tmp_path, NOW, 30, manners=QUICK)
        assert len(archive.asked) == 3


def test_without_an_archive_or_an_answer_it_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(FetchError, match="archive = "):
        past_days(ForecastSource(), PLACE, tmp_path, NOW, 30)
    with service({"error": True, "reason": "start_date is out of range"}) as archive:
        source = ForecastSource(archive=archive.url)
        with pytest.raises(WeatherError, match="out of range"):
            past_days(source, PLACE, tmp_path, NOW, 30, manners=QUICK)
    assert not (tmp_path / FILE).exists()


def test_the_archive_of_a_known_service_is_known_and_its_key_goes_nowhere_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    free = ForecastSource(url="https://api.open-meteo.com/v1/forecast")
    assert archive_url(free) == "https://archive-api.open-meteo.com/v1/archive"
    assert archive_url(ForecastSource(url="https://weather.example/v1/forecast")) is None
    monkeypatch.setenv("A_KEY", "secret-key-of-the-forecast")
    with service(answer()) as archive:
        other = ForecastSource(
            url="https://weather.example/v1/forecast", archive=archive.url, key_env="A_KEY"
        )
        past_days(other, PLACE, tmp_path, NOW, 30, manners=QUICK)
        assert "apikey" not in archive.asked[0]
        same = ForecastSource(url=archive.url, archive=archive.url, key_env="A_KEY")
        past_days(same, PLACE, tmp_path / "other", NOW, 30, manners=QUICK)
        assert archive.asked[1]["apikey"] == ["secret-key-of-the-forecast"]


def test_a_dead_archive_is_told_without_a_traceback(tmp_path: Path) -> None:
    with pytest.raises(FetchError):
        past_days(ForecastSource(archive=dead_url()), PLACE, tmp_path, NOW, 30, manners=QUICK)
