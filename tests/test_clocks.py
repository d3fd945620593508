"""Clocks and milestones: the running total, the search in it, and the way back."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from scheduler import clocks

rates = st.tuples(st.integers(1, 4), st.integers(2, 30)).flatmap(
    lambda shape: arrays(float, shape, elements=st.sampled_from([0.0, 0.0, 0.01, 0.3, 1.0, 7.5]))
)
QUICK = settings(max_examples=60, deadline=None)


@QUICK
@given(rates, st.floats(0.0, 1.0), st.floats(0.0, 20.0))
def test_at_the_time_of_a_milestone_the_clock_stands_at_its_amount(
    rate: np.ndarray, share: float, amount: float
) -> None:
    totals = clocks.total(rate, 0.5)
    start = np.full((rate.shape[0], 1), share * rate.shape[1])
    wanted = clocks.at(totals, start) + amount
    when = clocks.reach(totals, wanted)
    reached = np.isfinite(when)
    np.testing.assert_allclose(clocks.at(totals, when)[reached], wanted[reached], atol=1e-9)
    # What is not reached is more than the whole clock holds.
    last = np.broadcast_to(totals[:, -1:], wanted.shape)
    assert (wanted[~reached] > last[~reached]).all()
    # It is the first such time: a little before, the clock stood lower.
    before = clocks.at(totals, np.maximum(when - 1e-4, 0.0))
    assert (before[reached & (when > 1e-4)] < wanted[reached & (when > 1e-4)]).all()


@QUICK
@given(rates)
def test_more_of_anything_is_never_reached_earlier(rate: np.ndarray) -> None:
    totals = clocks.total(rate, 1.0)
    targets = np.broadcast_to(np.linspace(0.0, float(totals.max()) + 1.0, 25), (rate.shape[0], 25))
    when = clocks.reach(totals, targets)
    assert (when[:, 1:] >= when[:, :-1]).all()


@QUICK
@given(rates)
def test_a_clock_never_runs_backwards_and_starts_at_nothing(rate: np.ndarray) -> None:
    totals = clocks.total(rate, 0.25)
    assert totals.shape == (rate.shape[0], rate.shape[1] + 1)
    assert (totals[:, 0] == 0.0).all()
    assert (np.diff(totals, axis=1) >= 0.0).all()
    np.testing.assert_allclose(totals[:, -1], rate.sum(axis=1) * 0.25)


def test_an_unknown_hour_adds_nothing() -> None:
    totals = clocks.total(np.array([[1.0, np.nan, 2.0]]), 1.0)
    assert totals.tolist() == [[0.0, 1.0, 1.0, 3.0]]


def test_a_milestone_inside_a_step_is_linear_and_members_do_not_mix() -> None:
    totals = clocks.total(np.array([[4.0, 4.0, 4.0], [0.0, 0.0, 8.0], [0.0, 0.0, 0.0]]), 1.0)
    when = clocks.reach(totals, np.full((3, 1), 6.0))
    assert when[:, 0].tolist() == [1.5, 2.75, np.inf]


def test_a_target_without_end_is_never_reached() -> None:
    totals = clocks.total(np.ones((1, 5)), 1.0)
    when = clocks.reach(totals, np.array([[np.inf, np.nan, 5.0, 5.0001]]))
    assert when[0].tolist() == [np.inf, np.inf, 5.0, np.inf]


def test_a_clock_that_does_not_begin_at_zero_is_searched_as_well() -> None:
    totals = clocks.total(np.ones((2, 6)), 1.0) + np.array([[100.0], [-3.0]])
    assert clocks.reach(totals, np.array([[102.5], [-0.5]]))[:, 0].tolist() == [2.5, 2.5]


def test_the_value_past_the_end_is_the_last() -> None:
    totals = clocks.total(np.array([[1.0, 2.0]]), 1.0)
    assert clocks.at(totals, np.array([[0.5, 1.5, 2.0, 9.0, np.inf]]))[0].tolist() == [
        0.5,
        2.0,
        3.0,
        3.0,
        3.0,
    ]


@QUICK
@given(arrays(bool, st.tuples(st.integers(1, 3), st.integers(1, 25))))
def test_first_from_finds_the_next_hour_that_holds(mask: np.ndarray) -> None:
    found = clocks.first_from(mask)
    steps = mask.shape[1]
    for member in range(mask.shape[0]):
        for k in range(steps):
            later = [n for n in range(k, steps) if mask[member, n]]
            assert found[member, k] == (later[0] if later else steps)
