"""Sun and daylight against ``ephem`` (PyEphem) and ``astral``, north, south, high up and in foreign zones."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import astral
import ephem
import numpy as np
import pytest
from astral.sun import elevation

from scheduler.weather.sun import clear_sky, cloud_from_sun, daylight, sun_height, sunshine

PLACES = {
    "Black Forest": (48.0, 8.2, "Europe/Berlin"),
    "Wellington": (-41.3, 174.8, "Pacific/Auckland"),
    "Fairbanks": (64.8, -147.7, "America/Anchorage"),
    "Newark": (40.7, -74.2, "America/New_York"),
    "Ushuaia": (-54.8, -68.3, "America/Argentina/Ushuaia"),
    "Honolulu": (21.0, -157.0, "Pacific/Honolulu"),
    "Line Islands": (1.9, -157.4, "Pacific/Kiritimati"),
    "Oregon in UTC": (45.0, -122.0, "UTC"),
    "Wellington in UTC": (-41.3, 174.8, "UTC"),
}
DAYS = [date(2025, 1, 2) + timedelta(days=n) for n in range(0, 364, 26)]


def observer(latitude: float, longitude: float, when: datetime) -> ephem.Observer:
    out = ephem.Observer()
    out.lat, out.lon, out.pressure = str(latitude), str(longitude), 0
    out.horizon = "-0:50"  # 34' of refraction and 16' of radius, as almanacs take it
    out.date = when.astimezone(UTC).replace(tzinfo=None)
    return out


@pytest.mark.parametrize("place", PLACES)
def test_sunrise_and_the_sunset_after_it_are_those_of_ephem(place: str) -> None:
    latitude, longitude, name = PLACES[place]
    zone = ZoneInfo(name)
    for day in DAYS:
        found = daylight(day, latitude, longitude, zone)
        assert found is not None, day
        midnight = datetime.combine(day, time(0), zone)
        sun = ephem.Sun()
        rise = observer(latitude, longitude, midnight).next_rising(sun, use_center=True)
        fall = observer(latitude, longitude, found[0]).next_setting(sun, use_center=True)
        for ours, theirs in zip(found, (rise, fall), strict=True):
            # Two minutes; the sun of the far north creeps along the horizon.
            assert abs(ours - theirs.datetime().replace(tzinfo=UTC)) < timedelta(minutes=2), day
        assert found[0].astimezone(zone).date() == day


@pytest.mark.parametrize(("month", "up"), [(6, True), (12, False)])
def test_where_the_sun_does_not_set_or_rise_there_is_no_daylight_to_name(month: int, up: bool) -> None:
    day = date(2025, month, 21)
    assert daylight(day, 70.0, 25.0, ZoneInfo("Europe/Oslo")) is None
    height = sun_height(datetime(2025, month, 21, tzinfo=UTC), np.arange(24.0), 70.0, 25.0)
    assert bool((height > 0.0).all()) is up
    assert bool((height < 0.0).all()) is not up


@pytest.mark.parametrize("place", PLACES)
def test_the_height_of_the_sun_is_that_of_two_other_libraries(place: str) -> None:
    latitude, longitude, _ = PLACES[place]
    start = datetime(2025, 1, 1, tzinfo=UTC)
    hours = np.arange(0.0, 365 * 24.0, 24 * 13 + 5.0)
    ours = sun_height(start, hours, latitude, longitude)
    for hour, height in zip(hours, ours, strict=True):
        when = start + timedelta(hours=float(hour))
        theirs = float(ephem.Sun(observer(latitude, longitude, when)).alt) * 180.0 / np.pi
        assert height == pytest.approx(theirs, abs=0.03)
        second = elevation(astral.Observer(latitude, longitude), when, with_refraction=False)
        assert height == pytest.approx(second, abs=0.1)


def test_no_sunshine_without_sun_and_less_under_cloud() -> None:
    height = np.array([-5.0, 0.0, 5.0, 30.0, 60.0])
    clear = clear_sky(height)
    assert clear[0] == clear[1] == 0.0
    assert (np.diff(clear[1:]) > 0.0).all()
    assert clear[-1] < 1000.0
    # Kasten and Czeplak (1980): a closed cover leaves a quarter (from memory)
    np.testing.assert_allclose(sunshine(height, 1.0), 0.25 * clear)
    np.testing.assert_allclose(sunshine(height, 0.0), clear)


def test_cloud_is_read_back_from_the_sunshine_it_lets_through() -> None:
    cloud = np.array([0.3, 0.6, 0.9])
    np.testing.assert_allclose(cloud_from_sun(35.0, sunshine(35.0, cloud)), cloud, atol=1e-9)
    assert np.isnan(cloud_from_sun(5.0, 20.0))
