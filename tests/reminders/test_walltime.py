"""Wall times and quiet hours: one moment for each day, whatever the clocks do."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz
from hypothesis import given
from hypothesis import strategies as st

from scheduler.reminders.walltime import Quiet, due_at, last_due, quiet_of
from scheduler.settings import NoticeTimes

# With both changes of the clocks; Lord Howe changes by half an hour, Havana at midnight.
ZONES = (
    *("Europe/Berlin", "Europe/London", "America/New_York", "America/Havana"),
    *("Australia/Lord_Howe", "America/Santiago", "Asia/Beirut", "Pacific/Auckland"),
)
BERLIN = ZoneInfo("Europe/Berlin")


def at(text: str, zone: ZoneInfo = BERLIN) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=zone)


@pytest.mark.parametrize(
    ("zone", "day", "wall", "utc"),
    [
        ("Europe/Berlin", "2026-03-29", "02:30", "2026-03-29T01:00"),  # missing: 2:00 to 3:00
        ("Europe/Berlin", "2026-10-25", "02:30", "2026-10-25T00:30"),  # twice: the first
        ("Europe/Berlin", "2026-03-29", "06:00", "2026-03-29T04:00"),
        ("Europe/Berlin", "2026-10-25", "06:00", "2026-10-25T05:00"),
        ("America/Havana", "2026-03-08", "00:30", "2026-03-08T05:00"),  # missing: midnight to 1:00
        ("America/Havana", "2026-11-01", "00:30", "2026-11-01T04:30"),  # twice
        ("Australia/Lord_Howe", "2026-10-04", "02:15", "2026-10-03T15:30"),  # missing: 2:00 to 2:30
        ("Australia/Lord_Howe", "2026-04-05", "01:45", "2026-04-04T14:45"),  # twice
    ],
)
def test_a_time_that_is_missing_is_the_end_of_the_gap_and_one_that_comes_twice_the_first(
    zone: str, day: str, wall: str, utc: str
) -> None:
    found = due_at(date.fromisoformat(day), time.fromisoformat(wall), ZoneInfo(zone))
    assert found == datetime.fromisoformat(utc).replace(tzinfo=UTC)


@given(
    st.sampled_from(ZONES),
    st.dates(date(2024, 1, 1), date(2029, 12, 31)),
    st.times().map(lambda t: t.replace(second=0, microsecond=0, fold=0)),
)
def test_a_day_has_one_moment_of_a_wall_time_and_another_reader_of_zones_agrees(
    zone: str, day: date, wall: time
) -> None:
    # dateutil reads the zone files by itself: an independent oracle for gaps, folds and offsets.
    other = tz.gettz(zone)
    assert other is not None
    local = datetime.combine(day, wall, tzinfo=other)
    expected = tz.resolve_imaginary(local).astimezone(UTC) if tz.datetime_exists(local) else None
    found = due_at(day, wall, ZoneInfo(zone))
    if expected is not None:
        assert found == expected
    else:
        before = (found - timedelta(seconds=1)).astimezone(other).replace(tzinfo=None)
        after = found.astimezone(other).replace(tzinfo=None)
        naive = datetime.combine(day, wall)
        assert before < naive < after
        assert found.second == 0


@given(st.sampled_from(ZONES), st.integers(0, 3 * 365 * 24 * 60))
def test_the_last_morning_is_never_ahead_and_never_more_than_a_day_old(zone: str, minutes: int) -> None:
    now = datetime(2025, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
    day, moment = last_due(now, time(6), ZoneInfo(zone))
    assert moment <= now < due_at(day + timedelta(days=1), time(6), ZoneInfo(zone))


QUIET = Quiet(BERLIN, (time(20), time(5, 30)), (time(9), time(12)))


@pytest.mark.parametrize(
    ("now", "free"),
    [
        ("2025-11-03T06:00", "2025-11-03T06:00"),
        ("2025-11-03T19:59", "2025-11-03T19:59"),
        ("2025-11-03T20:00", "2025-11-04T05:30"),
        ("2025-11-03T02:00", "2025-11-03T05:30"),
        ("2025-11-03T09:00", "2025-11-03T12:00"),
        ("2026-03-29T01:30", "2026-03-29T05:30"),  # the night in which an hour is missing
    ],
)
def test_nothing_leaves_in_the_night_nor_while_the_saw_runs(now: str, free: str) -> None:
    assert QUIET.free_from(at(now)) == at(free)


def test_a_coat_in_danger_rings_while_the_saw_runs_but_not_at_night() -> None:
    assert QUIET.free_from(at("2025-11-03T10:00"), danger=True) == at("2025-11-03T10:00")
    assert QUIET.free_from(at("2025-11-03T23:00"), danger=True) == at("2025-11-04T05:30")


def test_the_end_of_one_stretch_may_be_the_beginning_of_the_next() -> None:
    quiet = Quiet(BERLIN, (time(20), time(7)), (time(6), time(12)))
    assert quiet.free_from(at("2025-11-03T23:00")) == at("2025-11-04T12:00")


def test_a_yard_may_have_no_quiet_hours_at_all() -> None:
    quiet = quiet_of(NoticeTimes(quiet="no"), BERLIN)
    assert quiet.free_from(at("2025-11-03T23:00")) == at("2025-11-03T23:00")


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("morning", "6 am", "no time of the day"),
        ("morning", "24:00", "no time of the day"),
        ("quiet", "20:00", "no stretch of hours"),
        ("quiet", "20:00-20:00", "whole day"),
        ("work", "9-12", "no time of the day"),
        ("public", "my shed", "no web address"),
    ],
)
def test_hours_that_cannot_be_read_are_refused_with_the_right_form(key: str, value: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        NoticeTimes.model_validate({key: value})
