"""The hours a yard has had: joined as answers come, newest knowledge first, nothing invented between."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from weather_samples import START, unknown_in, weather

from scheduler.weather.fetch_hours import FILE, hours_had, joined, keep_hours

PLACE = "key 48.0000,8.2000"
HOUR = timedelta(hours=1)


def test_hours_before_now_are_kept_and_come_back(tmp_path: Path) -> None:
    kept = joined(None, weather(96, rain=0.4), START + 72 * HOUR)
    assert kept is not None
    assert kept.hours == 72
    keep_hours(tmp_path, PLACE, kept)
    again = hours_had(tmp_path, PLACE)
    assert again is not None
    assert again.start == START
    assert np.allclose(again.air_c, kept.air_c, atol=1e-4)
    assert np.allclose(again.rain_mm, 0.4)
    assert hours_had(tmp_path, "another place") is None


def test_what_the_newer_answer_knows_replaces_and_what_it_does_not_know_stays(tmp_path: Path) -> None:
    old = joined(None, weather(72, air_c=5.0), START + 72 * HOUR)
    new = unknown_in(weather(96, air_c=9.0, start=START + 48 * HOUR), 10, 14, "air_c")
    both = joined(old, new, START + 96 * HOUR)
    assert both is not None
    assert both.hours == 96
    air = both.air_c[0]
    assert (air[:48] == 5.0).all()
    assert (air[48:58] == 9.0).all()
    assert (air[58:62] == 5.0).all()
    assert (air[62:] == 9.0).all()


def test_hours_between_two_answers_are_unknown() -> None:
    old = joined(None, weather(24), START + 24 * HOUR)
    both = joined(old, weather(24, start=START + 40 * HOUR), START + 64 * HOUR)
    assert both is not None
    assert np.isnan(both.air_c[0, 24:40]).all()
    assert np.isfinite(both.air_c[0, 40:]).all()


def test_an_answer_without_past_hours_changes_nothing() -> None:
    old = joined(None, weather(24), START + 24 * HOUR)
    assert joined(old, weather(24, start=START + 48 * HOUR), START + 48 * HOUR) is old
    assert joined(None, weather(24), START) is None


@pytest.mark.parametrize("harm", [b"", b"PK\x03\x04", b"no zip at all", None])
def test_a_damaged_file_is_as_none(tmp_path: Path, harm: bytes | None) -> None:
    kept = joined(None, weather(48), START + 48 * HOUR)
    assert kept is not None
    keep_hours(tmp_path, PLACE, kept)
    whole = (tmp_path / FILE).read_bytes()
    (tmp_path / FILE).write_bytes(whole[: len(whole) // 2] if harm is None else harm)
    assert hours_had(tmp_path, PLACE) is None
    assert hours_had(tmp_path / "nowhere", PLACE) is None
