"""The pail: what is left of it, what the work needs, when to order, how cold it stands."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.coating.product import coating_of
from scheduler.planning.jobs import Job
from scheduler.planning.pail import (
    Need,
    Stock,
    Use,
    around_pail,
    crossings,
    follow,
    guard_of,
    kind_of_place,
    needs_of,
    order_of,
    stock_of,
    time_constant,
    transit_from,
    warm_hours,
    warm_up,
)
from scheduler.settings import Place, coating_profiles, pail_numbers
from scheduler.yard.facts import Moment, Pail

AT = datetime(2025, 11, 3, 9, tzinfo=UTC)
N = pail_numbers()
COATING = coating_of(coating_profiles()["emulsion"])
DAY = timedelta(days=1)
NEVER = np.zeros(365)


def pail(
    litres: float | None = None, eye: str | None = None, ago: float = 10, size: float | None = None
) -> Pail:
    return Pail("pail", Moment(AT - ago * DAY), 1, litres=litres, by_eye=eye, size_l=size)  # type: ignore[arg-type]


def job(kind: str, litres: float, days: float, tag: str = "H01") -> Job:
    return Job(kind, tag, "butt", AT + days * DAY, 1, litres=litres)


def test_a_coat_takes_from_what_was_told_before_it_and_not_from_what_was_told_after() -> None:
    uses = [Use(AT - 20 * DAY, 0.5, True), Use(AT - 2 * DAY, 0.4, True)]
    stock = stock_of([pail(3.6)], uses, N)
    assert (stock.litres, stock.used, stock.beyond) == pytest.approx((3.2, 0.4, 0.0))


def test_a_pail_told_by_eye_has_its_doubt_and_one_of_known_size_less_of_it() -> None:
    some, told = stock_of([pail(eye="half")], [], N), stock_of([pail(eye="half", size=19)], [], N)
    assert some.size_assumed
    assert not told.size_assumed
    assert (told.low, told.litres, told.high) == pytest.approx((6.65, 9.5, 12.35))
    assert some.low is not None
    assert some.high is not None
    assert some.high / some.low > 1.9 * 1.9
    assert stock_of([pail(eye="empty")], [], N).high == 0.0


def test_a_stock_that_nobody_told_is_not_known_and_raises_no_alarm() -> None:
    stock = stock_of([pail()], [Use(AT, 1.0, True)], N)
    need = needs_of([job("first_coat", 2.0, 0)], COATING, stock, set())
    assert stock.litres is None
    assert need.litres == 2.0
    assert need.short_on is None
    assert order_of(AT.date(), need, stock, NEVER, 0.0, N).why == "unknown"


litres = st.floats(0, 20)


@given(
    st.lists(st.tuples(litres, st.floats(0, 30)), max_size=4), st.lists(st.tuples(litres, st.floats(0, 30)))
)
def test_litres_are_never_negative_and_none_is_lost(
    pails: list[tuple[float, float]], taken: list[tuple[float, float]]
) -> None:
    uses = sorted((Use(AT - ago * DAY, much, True) for much, ago in taken), key=lambda use: use.when)
    told = [pail(much, ago=ago) for much, ago in pails]
    stock = stock_of(told, uses, N)
    if not told:
        assert stock.litres is None
        return
    assert stock.litres is not None
    assert stock.litres >= 0
    assert stock.beyond >= 0
    assert stock.litres + stock.used == pytest.approx(sum(much for much, _ in pails))
    first = max(ago for _, ago in pails)
    assert stock.used + stock.beyond == pytest.approx(sum(much for much, ago in taken if ago < first))


@given(st.sampled_from(["full", "half", "quarter", "scrapings"]), st.lists(litres, max_size=5))
def test_least_likely_and_most_keep_their_order_as_the_pail_is_used(eye: str, taken: list[float]) -> None:
    stock = stock_of([pail(eye=eye)], [Use(AT, much, False) for much in taken], N)
    assert stock.low is not None
    assert stock.litres is not None
    assert stock.high is not None
    assert 0 <= stock.low <= stock.litres <= stock.high


def test_the_second_coat_that_will_follow_is_counted_with_the_first() -> None:
    jobs = [job("first_coat", 1.0, 0), job("second_coat", 0.5, 1, "H02"), job("look", 9.0, 0)]
    need = needs_of(jobs, COATING, Stock(1.8, 1.8, 1.8), {("H01", "butt")})
    assert need.first == 1.0
    assert need.second == pytest.approx(0.5 + COATING.second_share)
    assert need.short_on == AT + DAY
    assert need.short == pytest.approx(need.litres - 1.8)
    assert need.sure


def test_an_order_comes_before_the_work_stands_still_and_two_weeks_before_frost_on_the_road() -> None:
    frost = np.where((np.arange(365) >= 60) & (np.arange(365) < 150), 0.5, 0.0)
    short = Need(2.0, 0.0, AT + 20 * DAY, 1.0, True)
    today = AT.date()
    order = order_of(today, short, Stock(1.0, 1.0, 1.0), frost, 0.0, N)
    assert (order.by, order.why) == (today + 13 * DAY, "work")
    assert (order.frost_from, order.frost_until) == (today + 60 * DAY, today + 150 * DAY)
    spring = Need(2.0, 0.0, AT + 100 * DAY, 1.0, True)
    assert order_of(today, spring, Stock(1.0, 1.0, 1.0), frost, 0.0, N).by == today + (60 - 7 - 14) * DAY
    enough = order_of(today, Need(2.0, 0.0), Stock(5.0, 5.0, 5.0), frost, 0.0, N)
    assert (enough.by, enough.why) == (None, "none")


def test_the_pace_of_the_last_weeks_tells_how_long_the_stock_lasts() -> None:
    order = order_of(date(2025, 6, 1), Need(0.1, 0.0), Stock(3.0, 3.0, 3.0), NEVER, 0.1, N)
    assert order.days_left == pytest.approx(30.0)
    assert order.by == date(2025, 6, 24)


def test_frost_on_the_road_that_never_comes_or_never_ends_is_said_so() -> None:
    assert transit_from(NEVER, N) == (None, None)
    assert transit_from(np.ones(365), N) == (0, None)
    assert transit_from(np.full(365, np.nan), N) == (None, None)


def test_a_place_is_what_the_yard_file_says_then_what_its_word_says() -> None:
    places = [Place(name="lean-to", roofed=True), Place(name="cellar", frost_free=True, roofed=True)]
    said = {name: kind_of_place(name, places) for name in (None, "Lean-to", "cellar", "the kitchen", "ditch")}
    assert list(said.values()) == ["outside", "shed", "frost_free", "heated", "outside"]


def test_a_frost_free_place_keeps_its_least_and_a_shed_lags_the_air() -> None:
    air = np.concatenate([np.full(8, 10.0), np.full(16, -10.0)])[None, :]
    free = around_pail([(0, "frost_free")], air, 1.0, N)
    shed = around_pail([(0, "shed")], air, 1.0, N)
    assert free.min() == N["frost_free"]
    assert (shed[0, 9:] > air[0, 9:]).all()
    assert shed[0, -1] == pytest.approx(-10, abs=0.6)
    moved = around_pail([(0, "heated"), (10, "outside")], air, 1.0, N)
    assert moved[0, 9] == N["room"]
    assert moved[0, 10] == -10.0


def test_an_unknown_hour_leaves_what_comes_after_unknown() -> None:
    path = follow(np.array([[np.nan, 5.0, 5.0, np.nan, 5.0]]), 1.0, 6.0)
    assert path[0, 1:3] == pytest.approx([5.0, 5.0])
    assert np.isnan(path[0, [0, 3, 4]]).all()
    assert guard_of(path, 0, 5, 2.0, 0.2).chance is None


def test_the_guard_names_the_lowest_the_chance_and_the_first_step_at_which_enough_are_there() -> None:
    path = np.array([[5.0, 4.0, 3.0, 4.0], [5.0, 1.0, 0.0, 1.0], [5.0, 4.0, 1.5, 4.0], [5.0, 4.0, 3.0, 3.0]])
    guard = guard_of(path, 0, 4, 2.0, 0.5)
    assert (guard.lowest_c, guard.chance, guard.step) == (2.25, 0.5, 2)
    assert guard_of(path, 0, 4, 2.0, 0.2).step == 1
    assert guard_of(path, 0, 4, -5.0, 0.2).step is None


def test_a_small_rest_cools_faster_than_a_full_pail() -> None:
    taus = [time_constant(litres, 10.0, N) for litres in (0.5, 2.0, 5.0, 10.0)]
    assert taus == sorted(taus)
    assert taus[0] < taus[-1] / 3


def test_the_pail_comes_in_before_the_coat_two_days_ahead_at_most() -> None:
    assert warm_hours(20.0, 7.4, 6.0, N) == 0.0
    assert warm_hours(0.0, 30.0, 6.0, N) is None
    by = warm_up(AT, 2.0, 2.0, 4.4, 5.7, 48.0, N)
    assert by == AT - timedelta(hours=2 * 5.7 * math.log(16.0 / 10.6))
    assert warm_up(AT, 2.0, 2.0, 4.4, 500.0, 48.0, N) == AT - timedelta(hours=48)
    assert warm_up(AT, 2.0, 9.0, 4.4, 5.7, 48.0, N) is None


def test_each_fall_to_freezing_counts_once() -> None:
    assert crossings(np.array([3.0, -1.0, -2.0, 1.0, -1.0, np.nan, 2.0]), 0.0) == 2
