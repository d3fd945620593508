"""Rules of thumb are data; one who knew is the bound, by an exact assignment."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from scheduler.replay.logs import Stock
from scheduler.replay.mornings import Morning
from scheduler.replay.policies import Thumb, assign, first_slot, thumbs_of
from scheduler.replay.season import Truth, foresight, play
from scheduler.replay.truth import Fates, Slots
from scheduler.settings import replay_scheme
from scheduler.weather.series import Weather

AT = datetime(2021, 11, 1, tzinfo=UTC)


def told(air: list[float], rain: list[float]) -> Weather:
    n = len(air)
    one = np.array(air)[None, :]
    return Weather(
        AT, air_c=one, dew_point_c=one - 3.0, wind_ms=np.ones((1, n)), rain_mm=np.array(rain)[None, :]
    )


def test_the_rules_of_thumb_stand_in_the_config_as_data() -> None:
    rules = thumbs_of(replay_scheme()["rule"])
    assert [rule.name for rule in rules] == ["at once", "5 °C and a dry day", "two fair days", "never"]
    assert rules[1].air_above == 5.0
    assert rules[1].dry_h == 24.0
    more = thumbs_of([*replay_scheme()["rule"], {"name": "warm", "says": "above 9 °C", "air_above": 9.0}])
    assert more[-1] == Thumb("warm", "above 9 °C", air_above=9.0)


def test_a_rule_takes_the_first_hour_at_which_all_that_it_names_holds() -> None:
    rule = Thumb("x", "x", air_above=5.0, dry_h=4.0, frost_free_h=3.0)
    hours = np.arange(8.0)
    warm = [2.0, 4.0, 6.0, 8.0, 8.0, 8.0, 8.0, 8.0, 3.0, 1.0, -1.0, -1.0]
    assert first_slot(rule, told(warm, [0.0] * 12), hours, 0.2) == 2
    assert first_slot(rule, told(warm, [0.0] * 5 + [0.3] + [0.0] * 6), hours, 0.2) == 6
    assert first_slot(replace(rule, frost_free_h=12.0), told(warm, [0.0] * 12), hours, 0.2) is None
    assert first_slot(Thumb("never", "", never=True), told(warm, [0.0] * 12), hours, 0.2) is None
    assert first_slot(Thumb("at once", ""), told([-9.0] * 12, [9.0] * 12), hours, 0.2) == 0


@given(st.integers(0, 10_000), st.integers(1, 7), st.integers(1, 6), st.integers(1, 3))
@settings(max_examples=60, deadline=None)
def test_the_assignment_is_the_cheapest_there_is(seed: int, ends: int, days: int, room: int) -> None:
    rng = np.random.default_rng(seed)
    cost = np.where(rng.random((ends, days)) < 0.3, np.inf, rng.uniform(0, 10, (ends, days)))
    otherwise = rng.uniform(0, 10, ends)
    day = assign(cost, otherwise, room)
    assert all((day == d).sum() <= room for d in range(days))
    ours = np.where(day >= 0, cost[np.arange(ends), np.maximum(day, 0)], otherwise).sum()
    table = np.concatenate(
        [np.repeat(np.where(np.isfinite(cost), cost, 1e6), room, axis=1), np.full((ends, ends), 1e6)], axis=1
    )
    table[np.arange(ends), days * room + np.arange(ends)] = otherwise
    rows, columns = linear_sum_assignment(table)
    assert ours == pytest.approx(table[rows, columns].sum())


class Dice:
    """Coats whatever a die says."""

    name, in_spring = "dice", True

    def __init__(self, seed: int, slots: Slots) -> None:
        self.rng, self.slots = np.random.default_rng(seed), slots

    def today(self, morning: Morning, rows: np.ndarray, tried: np.ndarray) -> tuple[int, np.ndarray]:
        """Some ends in some slot of the day."""
        mine = self.slots.of(morning.day)
        if not mine.size or not rows.size or self.rng.random() < 0.3:
            return -1, rows[:0]
        return int(self.rng.choice(mine)), rows[self.rng.random(rows.size) < 0.8]


@given(st.integers(0, 100_000))
@settings(max_examples=60, deadline=None)
def test_nobody_does_better_than_one_who_knew(seed: int) -> None:
    rng = np.random.default_rng(seed)
    days, ends, a_day = int(rng.integers(2, 9)), int(rng.integers(1, 9)), 4
    day = np.repeat(np.arange(days), a_day)
    slots = Slots(tuple(AT.date() for _ in range(days)), np.arange(days * a_day) * 6 + 10, day)
    cause = rng.choice(4, size=(1, day.size), p=[0.4, 0.2, 0.2, 0.2]).astype(np.int8)
    fates = Fates(cause, rng.uniform(1, 40, cause.shape), np.full(cause.shape, 30.0))
    came = np.sort(rng.integers(0, days, ends))
    grows = np.cumsum(rng.uniform(0, 1, (ends, day.size)), axis=1)
    bare = grows[:, -1] + rng.uniform(0, 5, ends)
    truth = Truth(fates, 0, grows, bare, bare - rng.uniform(0, 1, ends))
    cost = rng.uniform(0.1, 3, ends)
    stock = Stock(
        wood=np.zeros(ends, np.int64),
        cut_h=came * 24.0 - 5.0,
        day=came,
        per_cm=rng.uniform(0.2, 4, ends),
        factor=np.ones(ends),
        litres=np.full(ends, 0.1),
        cost=cost,
        until_h=np.full(ends, 900.0),
        sawn_h=np.full(ends, 2000.0),
    )
    mornings = [Morning(n, n * 24, None, np.array([-1]), None) for n in range(days)]  # type: ignore[arg-type]
    room = int(rng.integers(1, 5))
    knew = foresight("knew", truth, stock, slots, room)
    best = play(knew, mornings, stock, slots, truth, room, 5.0)
    assert best.bad == 0
    for other in range(4):
        tally = play(Dice(seed + other, slots), mornings, stock, slots, truth, room, 5.0)
        assert tally.cost >= best.cost - 1e-9
        assert tally.coats >= tally.bad
