"""Points in time laid on whole hours, and lines between them that keep to a stated minimum and maximum."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.weather.formats.points import between, hour_numbers, lowered, through
from scheduler.weather.series import WeatherError

START = datetime(2025, 11, 3, tzinfo=UTC)
NAN = np.nan
TEMPERATURES = st.floats(-50.0, 50.0).map(lambda value: round(value, 1))


def at(*hours: float) -> list[datetime]:
    return [START + timedelta(hours=hour) for hour in hours]


def test_hours_are_counted_from_the_first_point() -> None:
    assert hour_numbers(at(3, 4, 5, 11, 17), (1, 6)).tolist() == [0, 1, 2, 8, 14]


@pytest.mark.parametrize(
    ("hours", "word"),
    [
        ((), "no times"),
        ((0,), "one time only; two are the least"),
        ((0, 1, 1), "stands twice"),
        ((0, 2, 1), "not follow"),
        ((1, 0), "not in order"),
        ((0, 1, 3), "do not follow"),
        ((0, 0.5, 1), "do not follow"),
        ((0, 6, 7), "do not follow"),
        ((0, 12), "do not follow"),
        ((0.1, 1.1), "quarter hour"),
        (tuple(range(0, 1200, 6)), "more than 40 days"),
    ],
)
def test_points_that_do_not_follow_one_another_are_refused(hours: tuple[float, ...], word: str) -> None:
    with pytest.raises(WeatherError, match=word):
        hour_numbers(at(*hours), (1, 6))


def test_between_points_values_run_straight_and_beside_an_unknown_one_they_are_unknown() -> None:
    points = np.array([0, 1, 7, 13, 19])
    made = through(points, np.array([4.0, 6.0, NAN, 0.0, 6.0]), 22)
    assert made[[0, 1, 13, 16, 19]] == pytest.approx([4.0, 6.0, 0.0, 3.0, 6.0])
    assert np.isnan(made[2:13]).all()
    assert np.isnan(made[20:]).all()


# ------------------------------------------------------------------ six hours with their extremes


def test_without_extremes_the_line_is_straight() -> None:
    assert between(0.0, 6.0, 6, NAN, NAN) == pytest.approx(range(7))


def test_a_minimum_below_both_ends_is_reached_nearer_to_the_colder_end() -> None:
    made = between(6.0, 3.0, 6, 1.0, NAN)
    assert made.min() == pytest.approx(1.0)
    assert int(np.argmin(made)) == 4
    even = between(5.0, 5.0, 6, 2.0, NAN)
    assert even == pytest.approx([5.0, 10 / 3, 7 / 3, 2.0, 7 / 3, 10 / 3, 5.0])


def test_a_maximum_above_both_ends_is_reached_where_no_minimum_lies_below() -> None:
    assert between(5.0, 6.0, 6, 5.0, 9.0).max() == pytest.approx(9.0)
    both = between(5.0, 5.0, 6, 2.0, 9.0)
    assert (both.min(), both.max()) == (pytest.approx(2.0), pytest.approx(5.0))


def test_no_hour_between_the_ends_is_above_the_maximum() -> None:
    made = between(21.0, 17.3, 6, NAN, 19.0)
    assert made[0] == 21.0
    assert made[1:].max() == pytest.approx(19.0)


@given(TEMPERATURES, TEMPERATURES, TEMPERATURES, TEMPERATURES)
@settings(deadline=None)
def test_the_ends_stay_and_all_hours_keep_to_the_extremes(
    first: float, last: float, one: float, other: float
) -> None:
    low, high = min(one, other, first, last), max(one, other, first, last)
    made = between(first, last, 6, low, high)
    assert made[0] == pytest.approx(first)
    assert made[-1] == pytest.approx(last)
    assert made.min() == pytest.approx(low), "the lowest hour is the minimum"
    assert made.max() <= high + 1e-9
    turns = np.sign(np.diff(made))
    assert np.count_nonzero(np.diff(turns[turns != 0])) <= 1, "down and up once, no more"


# ------------------------------------------------------------------ nights


def test_a_night_is_brought_down_to_its_minimum_around_its_lowest_hour() -> None:
    night = np.array([8.0, 6.0, 4.0, 3.0, 4.0, 7.0])
    made = lowered(night, 1.0)
    assert int(np.argmin(made)) == 3
    assert made.min() == pytest.approx(1.0)
    drop = night - made
    assert (np.diff(drop[:4]) > 0).all()
    assert (np.diff(drop[3:]) < 0).all()
    assert drop[0] < 0.4, "the ends of the night hardly move"


def test_a_night_that_is_cold_enough_is_left_alone_and_an_unknown_one_too() -> None:
    night = np.array([8.0, 3.0, NAN])
    assert lowered(night, 3.0) is night
    assert lowered(night, NAN) is night
    unknown = np.array([NAN, NAN])
    assert lowered(unknown, -5.0) is unknown


@given(st.lists(TEMPERATURES, min_size=1, max_size=14), st.floats(0.01, 20.0))
@settings(deadline=None)
def test_a_lowered_night_reaches_the_minimum_and_no_hour_becomes_warmer(
    hours: list[float], drop: float
) -> None:
    night = np.array(hours)
    low = night.min() - drop
    made = lowered(night, low)
    assert made.min() == pytest.approx(low)
    assert (made <= night).all()
