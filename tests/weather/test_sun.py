"""Sun and daylight at the edges of days and of the world (numbers: tests/outside/test_daylight.py)."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from scheduler.weather.sun import clear_sky, daylight, sun_height, sunshine


def test_the_sun_stands_highest_at_noon_and_as_high_before_as_after() -> None:
    hours = np.arange(0.0, 24.01, 0.25)
    height = sun_height(datetime(2025, 3, 20, tzinfo=UTC), hours, 45.0, 0.0)
    noon = hours[height.argmax()]
    assert abs(noon - 12.0) <= 0.25
    transit = 12.0 + 7.4 / 60.0  # the sun is 7.4 minutes behind the clock on that day
    before, after = sun_height(datetime(2025, 3, 20, tzinfo=UTC), np.array([-3.0, 3.0]) + transit, 45.0, 0.0)
    assert before == pytest.approx(after, abs=0.15)


def test_the_south_has_its_summer_in_december() -> None:
    noon = datetime(2025, 12, 21, 12, tzinfo=UTC)
    assert sun_height(noon, 0.0, -40.0, 0.0) > 70.0
    assert sun_height(noon, 0.0, 40.0, 0.0) < 27.0


def test_any_shape_of_hours_may_be_asked() -> None:
    hours = np.arange(6.0).reshape(2, 3)
    height = sun_height(datetime(2025, 6, 1, tzinfo=UTC), hours, 48.0, 8.0)
    assert height.shape == (2, 3)
    assert clear_sky(height).shape == sunshine(height, 0.5).shape == (2, 3)


@pytest.mark.parametrize(
    ("place", "zone"),
    [((64.8, -147.7), "America/Anchorage"), ((45.0, -122.0), "UTC"), ((-41.3, 174.8), "UTC")],
)
def test_a_sunset_after_midnight_belongs_to_the_day_of_its_sunrise(
    place: tuple[float, float], zone: str
) -> None:
    """High summer in Fairbanks, and yards whose zone is not their own: no day is lost."""
    for day in (date(2025, 6, 3), date(2025, 6, 21)):
        found = daylight(day, *place, ZoneInfo(zone))
        assert found is not None
        assert found[0].astimezone(ZoneInfo(zone)).date() == day
        assert found[1].astimezone(ZoneInfo(zone)).date() == day + timedelta(days=1)
        length = found[1] - found[0]
        assert timedelta(hours=8) < length < timedelta(hours=23)


def test_daylight_is_told_in_utc_and_does_not_jump_with_the_clocks() -> None:
    zone = ZoneInfo("Europe/Berlin")
    days = [daylight(date(2025, 10, 25) + timedelta(days=n), 48.0, 8.2, zone) for n in range(3)]
    assert all(d is not None and d[0].utcoffset() == timedelta(0) for d in days)
    rises = [d[0].timestamp() % 86400.0 for d in days if d is not None]
    assert max(np.diff(rises)) < 120.0  # the clocks went back on the 26th
