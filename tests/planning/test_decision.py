"""The decision: laws that hold whatever the numbers, and small cases solved by hand or by brute force."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from scheduler.planning.decision import Chances, Choice, decide

F = NDArray[np.float64]
NONE = np.empty(0)


def solve(
    holds: F,
    held: F,
    never: float,
    cost: float = 1.0,
    later: F = NONE,
    removed: float = 0.0,
    retry: int = 1,
) -> Choice:
    held = np.atleast_2d(np.asarray(held, float))
    return decide(
        np.full(held.shape, cost),
        held,
        np.full(held.shape[0], never),
        Chances(np.asarray(holds, float), np.asarray(later, float)),
        np.full(held.shape[1], removed),
        retry=retry,
    )


def all_ways(*shares: float, steps: int = 10) -> F:
    """Members in which the days are independent and hold with these shares: every combination, in tenths."""
    counts = [round(share * steps) for share in shares]
    columns = product(*[[1.0] * n + [0.0] * (steps - n) for n in counts])
    return np.array(list(columns))


# ------------------------------------------------------------------ by hand and by brute force


def test_a_coat_that_is_sure_to_hold_is_laid_at_once_when_waiting_costs_wood() -> None:
    found = solve(np.ones((50, 3)), [2.0, 4.0, 5.0], never=30.0)
    assert found.now[0]
    assert found.best_day[0] == 0
    assert found.expected[0] == pytest.approx(1.0 + 2.0, rel=0.1)


def test_an_end_that_is_worth_less_than_the_wax_is_left_alone() -> None:
    found = solve(np.ones((50, 3)), [0.1, 0.2, 0.3], never=0.9)
    assert not found.now[0]
    assert found.best_day[0] == -1
    assert found.expected[0] == 0.9


def test_a_doubtful_day_serves_where_nothing_better_comes_and_not_where_it_does() -> None:
    one = np.zeros((100, 4))
    one[:60, 0] = 1.0
    alone = solve(one, [2.0, 3.0, 4.0, 5.0], never=30.0)
    assert alone.now[0]
    both = one.copy()
    both[:95, 1] = 1.0
    better = solve(both, [2.0, 2.2, 4.0, 5.0], never=30.0)
    assert not better.now[0]
    assert better.best_day[0] == 1


def test_a_day_without_any_chance_is_no_try() -> None:
    found = solve(np.zeros((50, 3)), [2.0, 3.0, 4.0], never=30.0)
    assert not found.now[0]
    assert found.expected[0] == 30.0
    assert np.isinf(found.try_now[0])


def test_days_that_are_not_known_are_no_try_either() -> None:
    holds = np.full((50, 3), np.nan)
    assert solve(holds, [2.0, 3.0, 4.0], never=30.0).expected[0] == 30.0


def by_hand(shares: list[float], cost: float, held: list[float], never: float, retry: int) -> float:
    """The same recursion for one end and independent days, in plain Python."""

    def from_day(day: int) -> float:
        if day >= len(shares):
            return never
        wait = from_day(day + 1)
        p = shares[day]
        if p == 0:
            return wait
        return min(wait, cost + p * held[day] + (1 - p) * from_day(day + retry))

    return from_day(0)


@pytest.mark.parametrize("retry", [1, 2])
@pytest.mark.parametrize("shares", [(0.5, 0.9, 0.3), (0.2, 0.0, 0.7), (1.0, 0.5, 0.5), (0.4, 0.4, 0.4)])
def test_with_independent_days_it_is_the_plain_recursion(shares: tuple[float, ...], retry: int) -> None:
    held, never = [3.0, 4.0, 5.5], 20.0
    found = solve(all_ways(*shares), held, never, cost=1.5, retry=retry)
    assert found.expected[0] == pytest.approx(by_hand(list(shares), 1.5, held, never, retry), rel=0.01)


def test_days_behind_the_forecast_count_with_the_chance_of_the_place() -> None:
    found = solve(np.zeros((50, 1)), [2.0, 3.0, 4.0], never=20.0, later=np.array([0.5, 0.5]))
    assert found.expected[0] == pytest.approx(by_hand([0.0, 0.5, 0.5], 1.0, [2.0, 3.0, 4.0], 20.0, 1))


def test_weather_that_spoils_today_is_likely_to_spoil_tomorrow() -> None:
    """The same chances day by day, linked or not: after a failure the linked ones have less to hope for."""
    linked = np.zeros((100, 2))
    linked[:50] = 1.0
    free = all_ways(0.5, 0.5)
    held, never = [2.0, 2.5], 30.0
    assert solve(linked, held, never).expected[0] > solve(free, held, never).expected[0] + 1.0


def test_knowing_more_tomorrow_makes_waiting_cheaper_and_never_dearer() -> None:
    half = np.zeros((100, 3))
    half[:50, 1], half[50:, 2], half[:70, 0] = 1.0, 1.0, 1.0
    plain = solve(half, [2.0, 2.5, 3.0], never=30.0)
    wise = solve(half, [2.0, 2.5, 3.0], never=30.0, removed=0.5)
    assert wise.wait[0] < plain.wait[0]
    assert wise.try_now[0] == plain.try_now[0]


def test_ends_are_solved_apart_and_their_order_does_not_matter() -> None:
    rng = np.random.default_rng(3)
    holds = (rng.random((48, 6)) < 0.5).astype(float)
    held = np.cumsum(rng.random((7, 10)), axis=1)
    never = held[:, -1] + 5.0
    cost = np.full(held.shape, 0.8)
    later, removed = np.full(4, 0.3), np.full(10, 0.3)
    whole = decide(cost, held, never, Chances(holds, later), removed)
    for n in range(7):
        one = decide(cost[n : n + 1], held[n : n + 1], never[n : n + 1], Chances(holds, later), removed)
        assert one.expected[0] == pytest.approx(whole.expected[n])
    turned = decide(cost[::-1], held[::-1], never[::-1], Chances(holds, later), removed)
    assert np.allclose(turned.expected[::-1], whole.expected)


def test_shapes_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="same days"):
        solve(np.ones((5, 2)), [1.0, 2.0, 3.0], never=4.0)
    with pytest.raises(ValueError, match="earliest"):
        solve(np.ones((5, 2)), [1.0, 2.0], never=4.0, retry=0)


# ------------------------------------------------------------------ laws


@st.composite
def cases(draw: st.DrawFn) -> tuple[F, F, float, float, F, float]:
    days, later = draw(st.integers(2, 5)), draw(st.integers(0, 3))
    seed = draw(st.integers(0, 10_000))
    rng = np.random.default_rng(seed)
    link = rng.random((40, 1))
    holds = (0.6 * link + 0.4 * rng.random((40, days)) < rng.random(days)).astype(float)
    growth = rng.exponential(1.0, days + later)
    held = 1.0 + np.cumsum(growth)
    never = float(held[-1] + rng.exponential(4.0))
    cost = draw(st.floats(0.05, 6.0))
    return holds, held, never, cost, rng.random(later), draw(st.floats(0.0, 0.8))


@given(cases(), st.floats(1.0, 5.0))
@settings(max_examples=150, deadline=None)
def test_a_higher_price_or_rate_of_loss_never_lowers_the_wish_to_coat_now(
    case: tuple[F, F, float, float, F, float], dearer: float
) -> None:
    holds, held, never, cost, later, removed = case
    one = solve(holds, held, never, cost, later, removed)
    more = solve(holds, held * dearer, never * dearer, cost, later, removed)
    if one.now[0]:
        assert more.now[0]


@given(cases(), st.integers(1, 20))
@settings(max_examples=150, deadline=None)
def test_more_chance_today_with_the_other_days_as_they_were_never_lowers_it(
    case: tuple[F, F, float, float, F, float], more: int
) -> None:
    """Days independent, so that a better today says nothing of tomorrow."""
    holds, held, never, cost, _, removed = case
    shares = np.round(holds.mean(axis=0)[:3], 1)
    held = held[: shares.size]
    one = solve(all_ways(*shares), held, never, cost, removed=removed)
    shares[0] = min(shares[0] + more / 20, 1.0)
    better = solve(all_ways(*np.round(shares, 1)), held, never, cost, removed=removed)
    if one.now[0]:
        assert better.now[0]
    assert better.try_now[0] <= one.try_now[0] + 1e-6 * never


@given(st.integers(0, 39), st.floats(0.05, 5.0), st.floats(0.5, 20.0), st.floats(0.0, 0.9))
@settings(max_examples=100, deadline=None)
def test_a_certain_better_day_tomorrow_at_no_loss_always_waits(
    today: int, cost: float, held: float, removed: float
) -> None:
    holds = np.ones((40_000, 2))  # so many that the half member of doubt is none
    holds[1000 * today :, 0] = 0.0
    found = solve(holds, [held, held], never=held + 20.0, cost=cost, removed=removed)
    assert not found.now[0]


@given(cases())
@settings(max_examples=150, deadline=None)
def test_acting_well_never_costs_more_than_never_trying(case: tuple[F, F, float, float, F, float]) -> None:
    holds, held, never, cost, later, removed = case
    found = solve(holds, held, never, cost, later, removed)
    assert found.expected[0] <= never + 1e-9
    assert found.expected[0] >= held[0] - 1e-9
    assert (found.of_waiting >= 0.0).all()
    assert (np.diff(found.value[0]) >= -1e-9).all() or removed > 0.0
