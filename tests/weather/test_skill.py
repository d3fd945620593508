"""Scores, and the yard's own record by kind and days ahead."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.settings import learning
from scheduler.weather.skill import (
    LEADS,
    TOO_FEW,
    Case,
    Kind,
    ScoreError,
    brier,
    brier_skill,
    crps_ensemble,
    crps_normal,
    dry_cases,
    event_of_count,
    event_of_normal,
    record,
    reliability,
)

AT = datetime(2025, 11, 3, 17, tzinfo=UTC)
LEAST = int(learning()["scores"]["least_cases"])
SHARE = st.floats(0.0, 1.0)
NUMBER = st.floats(-60.0, 60.0)
PAIRS = st.lists(st.tuples(SHARE, st.booleans()), min_size=1, max_size=60)
MIXED = PAIRS.filter(lambda pairs: len({came for _, came in pairs}) == 2)


def split(pairs: list[tuple[float, bool]]) -> tuple[list[float], list[bool]]:
    return [p for p, _ in pairs], [o for _, o in pairs]


def case(
    said: float,
    happened: bool,
    *,
    kind: Kind = "frost",
    lead: float = 0.5,
    lows: tuple[float | None, float | None] = (None, None),
) -> Case:
    return Case(kind, lead, said, happened, AT, *lows)


# ------------------------------------------------------------------ scores


@given(st.lists(st.booleans(), min_size=1, max_size=40))
def test_a_perfect_forecast_scores_nothing(came: list[bool]) -> None:
    said = [float(o) for o in came]
    assert brier(said, came) == 0.0
    assert brier([1.0 - p for p in said], came) == 1.0


@given(MIXED)
def test_a_perfect_forecast_has_all_the_skill_and_climatology_none(pairs: list[tuple[float, bool]]) -> None:
    _, came = split(pairs)
    share = float(np.mean(came))
    assert brier_skill(came, came, share) == 1.0
    assert brier_skill(np.full(len(came), share), came, share) == 0.0


@given(PAIRS, st.randoms())
def test_the_brier_score_lies_between_0_and_1_and_is_that_of_any_order(
    pairs: list[tuple[float, bool]], dice: object
) -> None:
    score = brier(*split(pairs))
    assert 0.0 <= score <= 1.0
    dice.shuffle(pairs)  # type: ignore[attr-defined]
    assert brier(*split(pairs)) == pytest.approx(score, rel=1e-12, abs=1e-15)


def test_a_reference_may_say_something_else_of_each_case() -> None:
    assert brier_skill([0.5, 0.5], [1, 0], [0.0, 0.0]) == pytest.approx(0.5)
    assert brier_skill([0.5, 0.5], [1, 0], [0.0, 1.0]) == pytest.approx(0.75)


def test_nothing_can_be_saved_where_the_reference_makes_no_error() -> None:
    assert np.isnan(brier_skill([0.2, 0.3], [0, 0], 0.0))


@pytest.mark.parametrize(
    ("said", "came", "why"),
    [
        ([], [], "0 chances"),
        ([0.5, 0.5], [1], "2 chances and 1 outcomes"),
        ([1.2], [1], "between 0 and 1"),
        ([float("nan")], [1], "not known"),
        ([0.5], [0.3], "0 or 1"),
        ([0.5], [float("nan")], "0 or 1"),
    ],
)
def test_what_is_no_chance_or_no_outcome_is_refused(said: list[float], came: list[float], why: str) -> None:
    for score in (brier, reliability, lambda p, o: brier_skill(p, o, 0.5)):
        with pytest.raises(ScoreError, match=why):
            score(said, came)


@given(NUMBER, NUMBER)
def test_of_an_ensemble_of_one_and_of_a_law_without_spread_it_is_the_absolute_error(
    x: float, y: float
) -> None:
    assert crps_ensemble([x], y) == pytest.approx(abs(x - y))
    assert crps_normal(x, 0.0, y) == pytest.approx(abs(x - y))


@given(st.lists(NUMBER, min_size=1, max_size=12), NUMBER, st.floats(-1000.0, 1000.0))
def test_the_sorted_sum_is_that_over_all_pairs_and_does_not_know_where_zero_lies(
    members: list[float], y: float, shift: float
) -> None:
    x = np.array(members)
    pairs = np.abs(x - y).mean() - 0.5 * np.abs(x[:, None] - x[None, :]).mean()
    assert crps_ensemble(x, y) == pytest.approx(pairs, abs=1e-9)
    assert crps_ensemble(x + shift, y + shift) == pytest.approx(pairs, abs=1e-9)
    assert crps_ensemble(x[::-1], y) >= 0.0


def test_many_ensembles_are_scored_at_once_and_the_unknown_stays_unknown() -> None:
    members = np.array([[0.0, 2.0], [1.0, np.nan], [1.0, 1.0]])
    score = crps_ensemble(members, [1.0, 1.0, np.nan])
    assert score[0] == pytest.approx(0.5)
    assert np.isnan(score[1:]).all()
    assert crps_ensemble(np.zeros((3, 4, 5)), np.ones((3, 4))).shape == (3, 4)
    assert np.isnan(
        crps_normal([0.0, np.nan, 0.0, 0.0], [1.0, 1.0, np.nan, 0.0], [np.nan, 0.0, 0.0, np.nan])
    ).all()


@pytest.mark.parametrize("members", [[], 3.0, np.zeros((4, 0))])
def test_an_ensemble_without_members_is_refused(members: object) -> None:
    with pytest.raises(ScoreError, match="at least one member"):
        crps_ensemble(members, 0.0)  # type: ignore[arg-type]


def test_a_spread_below_zero_is_refused() -> None:
    for score in (lambda: crps_normal(0.0, -1.0, 0.0), lambda: event_of_normal(0.0, [1.0, -0.1], 0.0)):
        with pytest.raises(ScoreError, match="below zero"):
            score()


def test_a_law_without_spread_has_the_event_or_not() -> None:
    assert event_of_normal([-1.0, 0.0, 0.1], 0.0, 0.0).tolist() == [1.0, 1.0, 0.0]
    assert event_of_normal(2.0, 2.0, 0.0) == pytest.approx(0.158655, abs=1e-6)
    assert np.isnan(event_of_normal(np.nan, [0.0, 1.0], 0.0)).all()


def test_a_count_of_members_is_never_certain() -> None:
    assert event_of_count([0, 5, 10], 10).tolist() == pytest.approx([0.5 / 11, 0.5, 10.5 / 11])
    with pytest.raises(ScoreError, match="between none and all"):
        event_of_count(11, 10)


# ------------------------------------------------------------------ reliability


@given(PAIRS, st.integers(1, 20))
def test_reliability_counts_every_case_once(pairs: list[tuple[float, bool]], bins: int) -> None:
    table = reliability(*split(pairs), bins)
    assert len(table) == bins
    assert (table[0].low, table[-1].high) == (0.0, 1.0)
    assert sum(row.n for row in table) == len(pairs)
    assert sum((row.happened or 0.0) * row.n for row in table) == pytest.approx(sum(o for _, o in pairs))
    for row in table:
        if row.n:
            assert row.low - 1e-12 <= row.said <= row.high + 1e-12
            assert row.band[0] <= row.happened <= row.band[1]
        else:
            assert (row.said, row.happened, row.band) == (None, None, None)


def test_a_chance_on_the_edge_of_two_bins_counts_in_the_upper_one_and_1_in_the_last() -> None:
    table = reliability([k / 10 for k in range(11)], [0] * 11)
    assert [row.n for row in table] == [1] * 9 + [2]


def test_the_band_of_few_cases_is_wide_and_stays_within_0_and_1() -> None:
    (few,), (many,) = reliability([0.7] * 5, [1] * 5, 1), reliability([0.7] * 500, [1] * 350 + [0] * 150, 1)
    assert few.band[1] == 1.0
    assert few.band[0] < 0.7
    assert many.band == pytest.approx((0.665, 0.733), abs=0.002)


# ------------------------------------------------------------------ the record


def test_fewer_cases_than_the_least_are_counted_and_not_judged() -> None:
    few = record([case(0.9, True, lows=(1.0, 2.0))] * (LEAST - 1), least=LEAST).of("frost")
    enough = record([case(0.9, True, lows=(1.0, 2.0))] * LEAST, least=LEAST).of("frost")
    assert (few.n, few.hits, few.word) == (LEAST - 1, LEAST - 1, TOO_FEW)
    assert (few.brier, few.skill, few.bias, few.error, few.reliability) == (None, None, None, None, ())
    assert enough.word == ""
    assert enough.brier == pytest.approx(0.01)
    assert (enough.bias, enough.error) == (-1.0, 1.0)


def test_said_and_come_are_counted_in_four_ways_and_one_half_is_a_yes() -> None:
    cases = [case(0.5, True)] * 3 + [case(0.49, True)] * 4 + [case(0.8, False)] * 5 + [case(0.0, False)] * 6
    found = record(cases, least=10).of("frost")
    assert (found.hits, found.misses, found.false_alarms, found.quiets, found.n) == (3, 4, 5, 6, 18)
    assert found.brier == pytest.approx((3 * 0.25 + 4 * 0.51**2 + 5 * 0.64) / 18)
    assert found.skill == pytest.approx(1.0 - found.brier / (7 / 18 * 11 / 18))
    assert sum(row.n for row in found.reliability) == 18


def test_each_kind_and_lead_is_a_group_of_its_own_and_what_lies_beyond_is_left_out() -> None:
    leads = (0.0, 0.99, 1.0, 2.5, 3.0, 4.9, 5.0, 9.9, 10.0, 14.0)
    found = record([case(0.2, False, lead=lead) for lead in leads] + [case(0.2, True, kind="rain")], least=50)
    assert [(s.kind, s.lead, s.n) for s in found.scores] == [
        ("frost", (0.0, 1.0), 2),
        ("frost", (1.0, 2.0), 1),
        ("frost", (2.0, 3.0), 1),
        ("frost", (3.0, 5.0), 2),
        ("frost", (5.0, 7.0), 1),
        ("frost", (7.0, 10.0), 1),
        ("rain", (0.0, 1.0), 1),
    ]
    assert found.of("frost", 4.0).n == 2
    assert found.of("frost", 11.0) is None
    assert found.of("rain", 3.0) is None
    assert all(before[1] == after[0] for before, after in pairwise(LEADS))


def test_where_it_never_or_always_came_there_is_no_skill_to_tell() -> None:
    for came in (False, True):
        found = record([case(0.2, came)] * 60, least=50).of("frost")
        assert found.brier is not None
        assert found.skill is None


def test_lowest_temperatures_are_judged_where_both_are_known_and_are_enough() -> None:
    known = [case(0.2, False, lows=(2.0 + k % 2, 1.0)) for k in range(50)]
    half = [case(0.2, True, lows=(2.0, None)), case(0.2, True, lows=(None, 2.0)), case(0.2, True)]
    found = record(known + half, least=50).of("frost")
    assert (found.n, found.lows) == (53, 50)
    assert (found.bias, found.error) == (1.5, 1.5)
    found = record(known[1:] + half, least=50).of("frost")
    assert (found.lows, found.bias, found.error) == (49, None, None)
    assert found.brier is not None


ONE = st.builds(
    Case,
    kind=st.sampled_from(["frost", "rain", "dry"]),
    lead_days=st.floats(0.0, 12.0),
    said=SHARE,
    happened=st.booleans(),
    at=st.just(AT),
    forecast_c=st.none() | NUMBER,
    seen_c=st.none() | NUMBER,
)


@given(st.lists(ONE, max_size=40), st.randoms(), st.sampled_from([0, 1, 3, 50]))
def test_the_order_of_cases_does_not_matter(cases: list[Case], dice: object, least: int) -> None:
    found = record(cases, least=least)
    assert sum(s.n for s in found.scores) == sum(c.kind == "dry" or c.lead_days < 10.0 for c in cases)
    for score in found.scores:
        assert score.hits + score.misses + score.false_alarms + score.quiets == score.n
    dice.shuffle(cases)  # type: ignore[attr-defined]
    assert record(cases, least=least) == found


def test_without_cases_there_is_no_score() -> None:
    assert record([], least=0).scores == ()


def test_coats_that_were_looked_at_are_one_group_whatever_the_lead() -> None:
    looks = [(AT + timedelta(days=k), 0.9, k % 10 != 0) for k in range(60)]
    found = record(dry_cases(looks), least=50).of("dry", 5.0)
    assert (found.kind, found.lead, found.n, found.hits, found.false_alarms) == ("dry", None, 60, 54, 6)
    assert found.brier == pytest.approx(0.9 * 0.01 + 0.1 * 0.81)
    assert found.reliability[9].happened == pytest.approx(0.9)


@pytest.mark.parametrize("said", [-0.1, 1.1, float("nan")])
def test_a_case_without_a_chance_is_refused(said: float) -> None:
    with pytest.raises(ScoreError, match="between 0 and 1"):
        case(said, True)
