"""Short gaps are closed and marked; nothing else is."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.weather.gaps import LONGEST_GAP, fill_gaps
from scheduler.weather.series import INSTANTS, INTERVALS, Weather

START = datetime(2025, 11, 3, tzinfo=UTC)
NAN = np.nan


def weather(**given_rows: Any) -> Weather:
    """Six quiet hours; a row, or rows of several members, may be given by name."""
    rows = {
        "air_c": [8.0] * 6,
        "dew_point_c": [-20.0] * 6,
        "wind_ms": [2.0] * 6,
        "rain_mm": [0.0] * 6,
    } | given_rows
    arrays = {name: np.atleast_2d(np.array(values, dtype=float)) for name, values in rows.items()}
    members = max(values.shape[0] for values in arrays.values())
    arrays = {name: np.broadcast_to(values, (members, 6)).copy() for name, values in arrays.items()}
    return Weather(start=START, **arrays)


def same(one: Any, other: Any) -> bool:
    return bool(np.array_equal(one, other, equal_nan=True))


@pytest.mark.parametrize("name", INSTANTS)
def test_a_gap_of_one_or_two_hours_is_closed_by_a_straight_line_and_marked(name: str) -> None:
    level = 0.1 if name == "cloud" else 1.0
    row = [level, NAN, 3 * level, NAN, NAN, 6 * level]
    filled = fill_gaps(weather(**({"air_c": [60.0] * 6} if name == "dew_point_c" else {}) | {name: row}))
    assert getattr(filled, name)[0] == pytest.approx([level * k for k in range(1, 7)])
    assert filled.filled is not None
    assert filled.filled.tolist() == [False, True, False, True, True, False]


@pytest.mark.parametrize("name", INSTANTS)
def test_a_gap_of_three_hours_stays_unknown(name: str) -> None:
    before = weather(**{name: [0.5, NAN, NAN, NAN, 0.5, 0.5]})
    after = fill_gaps(before)
    assert same(getattr(after, name), getattr(before, name))
    assert after.filled is None


@pytest.mark.parametrize("name", INSTANTS)
def test_hours_at_the_ends_stay_unknown(name: str) -> None:
    before = weather(**{name: [NAN, 0.5, 0.5, 0.5, NAN, NAN]})
    assert same(getattr(fill_gaps(before), name), getattr(before, name))


@pytest.mark.parametrize("name", INTERVALS)
def test_rain_and_what_belongs_to_the_hour_is_never_filled(name: str) -> None:
    before = weather(**{name: [0.5, NAN, 0.5, 0.5, 0.5, 0.5], "air_c": [8, NAN, 8, 8, 8, 8]})
    after = fill_gaps(before)
    assert same(getattr(after, name), getattr(before, name))
    assert np.isfinite(after.air_c).all()


def test_two_wet_hours_that_are_missing_stay_missing() -> None:
    after = fill_gaps(weather(rain_mm=[2.0, NAN, NAN, 3.0, 0.0, 0.0]))
    assert np.isnan(after.rain_mm[0]).tolist() == [False, True, True, False, False, False]
    assert after.filled is None


def test_each_member_is_filled_for_itself_and_the_hour_is_marked_for_all() -> None:
    after = fill_gaps(weather(wind_ms=[[1, NAN, 3, 3, 3, 3], [1, NAN, NAN, NAN, 3, 3], [5, 5, 5, 5, NAN, 5]]))
    assert after.wind_ms[0, 1] == 2.0
    assert np.isnan(after.wind_ms[1, 1:4]).all()
    assert after.wind_ms[2, 4] == 5.0
    assert after.filled is not None
    assert after.filled.tolist() == [False, True, False, False, True, False]


def test_a_filled_dew_point_does_not_rise_above_a_known_air() -> None:
    after = fill_gaps(weather(air_c=[8, 2, 8, 8, 8, 8], dew_point_c=[7, NAN, 7, 7, 7, 7]))
    assert after.dew_point_c[0, 1] == 2.0
    assert after.air_c[0, 1] == 2.0


def test_a_filled_air_does_not_fall_below_a_known_dew_point() -> None:
    after = fill_gaps(weather(air_c=[3, NAN, 3, 3, 3, 3], dew_point_c=[2, 6, 2, 2, 2, 2]))
    assert after.air_c[0, 1] == 6.0
    assert after.dew_point_c[0, 1] == 6.0


def test_marks_that_were_there_before_are_kept() -> None:
    marked = np.array([True, False, False, False, False, False])
    before = replace(weather(air_c=[8, 8, NAN, 8, 8, 8]), filled=marked)
    after = fill_gaps(before)
    assert after.filled is not None
    assert after.filled.tolist() == [True, False, True, False, False, False]
    assert before.filled is marked, "the weather given is not changed"


def test_weather_without_gaps_is_given_back_as_it_is() -> None:
    before = weather()
    assert fill_gaps(before) is before


def test_an_hour_of_nothing_at_all_does_no_harm() -> None:
    before = weather(wind_ms=[NAN] * 6)
    assert fill_gaps(before) is before


ROWS = st.lists(st.one_of(st.floats(-40, 40), st.just(NAN)), min_size=6, max_size=6)


@given(st.lists(ROWS, min_size=1, max_size=3))
@settings(max_examples=60, deadline=None)
def test_what_was_known_is_untouched_and_what_is_filled_lies_between_its_neighbours(
    rows: list[list[float]],
) -> None:
    before = weather(wind_ms=rows)
    after = fill_gaps(before).wind_ms
    for old, new in zip(before.wind_ms, after, strict=True):
        known = np.flatnonzero(np.isfinite(old))
        assert same(new[known], old[known])
        for row in np.flatnonzero(np.isnan(old)):
            left, right = known[known < row], known[known > row]
            inner = left.size and right.size and right[0] - left[-1] - 1 <= LONGEST_GAP
            assert np.isfinite(new[row]) == bool(inner)
            if inner:
                low, high = sorted((old[left[-1]], old[right[0]]))
                assert low - 1e-9 <= new[row] <= high + 1e-9
    assert same(fill_gaps(fill_gaps(before)).wind_ms, after), "a second time changes nothing"
