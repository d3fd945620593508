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
from scheduler.replay.policies import Thumb, assign, slots_by, thumbs_of
from scheduler.replay.season import Care, Careful, Deed, Rule, Truth, foresight, play
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
    dry = told(warm, [0.0] * 12)
    assert slots_by(rule, dry, hours, 0.2).tolist() == [2, 3, 4, 5, 6, 7]
    assert slots_by(rule, told(warm, [0.0] * 5 + [0.3] + [0.0] * 6), hours, 0.2).tolist() == [6, 7]
    assert slots_by(replace(rule, frost_free_h=12.0), dry, hours, 0.2).size == 0
    assert slots_by(Thumb("never", "", never=True), dry, hours, 0.2).size == 0
    assert slots_by(Thumb("at once", ""), told([-9.0] * 12, [9.0] * 12), hours, 0.2)[0] == 0


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

    name, in_spring, hand = "dice", True, False

    def __init__(self, seed: int, slots: Slots) -> None:
        self.rng, self.slots = np.random.default_rng(seed), slots

    def today(self, morning: Morning, rows: np.ndarray, tried: np.ndarray, after: int) -> list[Deed]:
        """Some ends in some slot of the day, some at once under a sheet."""
        mine = self.slots.of(morning.day)
        if not mine.size or not rows.size or self.rng.random() < 0.3:
            return []
        some = rows[self.rng.random(rows.size) < 0.8]
        return [Deed(int(self.rng.choice(mine)), some, 1.0 if self.rng.random() < 0.3 else np.inf)]

    def evening(self, morning: Morning, slot: int, rows: np.ndarray) -> np.ndarray:
        """Sheets over some."""
        return self.rng.random(rows.size) < 0.3


CARE = Care(feel=0.5, sheet=0.7, feel_h=0.1, sheet_h=0.05, brush_h=1.0, lay_ms=8.0, hold_ms=14.0)


def fates_with(cause: np.ndarray, known: np.ndarray) -> Fates:
    """Rain that spoils a coat could be kept off it by a sheet."""
    plain = Fates.held_by_all(*cause.shape)
    wet = cause == 2
    return replace(
        plain,
        cause=cause,
        known_h=known,
        rain_h=np.where(wet, known, np.inf),
        sheet_cause=np.where(wet, 0, cause).astype(np.int8),
        sheet_known_h=known,
    )


@given(st.integers(0, 100_000))
@settings(max_examples=60, deadline=None)
def test_nobody_does_better_than_one_who_knew(seed: int) -> None:
    rng = np.random.default_rng(seed)
    days, ends, a_day = int(rng.integers(2, 9)), int(rng.integers(1, 9)), 4
    day = np.repeat(np.arange(days), a_day)
    slots = Slots(tuple(AT.date() for _ in range(days)), np.arange(days * a_day) * 6 + 10, day)
    cause = rng.choice(4, size=(1, day.size), p=[0.4, 0.2, 0.2, 0.2]).astype(np.int8)
    fates = fates_with(cause, rng.uniform(1, 40, cause.shape))
    came = np.sort(rng.integers(0, days, ends))
    grows = np.cumsum(rng.uniform(0, 1, (ends, day.size)), axis=1)
    bare = grows[:, -1] + rng.uniform(0, 5, ends)
    gusts = rng.uniform(0.0, 16.0, days * 24 + 80)
    truth = Truth(fates, 0, grows, bare, bare - rng.uniform(0, 1, ends), slots.hours, gusts, CARE)
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
    mornings = [Morning(n, n * 24, None, (), None) for n in range(days)]  # type: ignore[arg-type]
    room = int(rng.integers(1, 5))
    darks = [n * 24 + 20 for n in range(days)]
    knew = foresight("knew", truth, stock, slots, room, darks)
    best = play(knew, mornings, stock, slots, truth, room, 5.0, darks)
    assert best.bad == 0
    bare_handed = play(foresight("x", truth, stock, slots, room), mornings, stock, slots, truth, room, 5.0)
    assert best.cost <= bare_handed.cost + 1e-9
    assert bare_handed.sheets == 0
    for other in range(4):
        tally = play(Dice(seed + other, slots), mornings, stock, slots, truth, room, 5.0, darks)
        assert tally.cost >= best.cost - 1e-9
        assert tally.coats >= tally.bad


def small(cause: list[int], felt: list[bool], gusts: list[float]) -> tuple[Stock, Slots, Truth]:
    """One end, one day, a slot for each cause, two hours apart; rain comes 12 h after the start."""
    n = len(cause)
    slots = Slots((AT.date(),), np.arange(n) * 2 + 8, np.zeros(n, np.int64))
    fates = replace(fates_with(np.array([cause], np.int8), np.full((1, n), 12.0)), felt=np.array([felt]))
    one = np.ones(1)
    stock = Stock(
        np.zeros(1, np.int64), one, np.zeros(1, np.int64), one, one, one, one, 900.0 * one, 2000.0 * one
    )
    wind = np.resize(gusts, 100)
    truth = Truth(fates, 0, np.full((1, n), 3.0), 9.0 * one, 8.0 * one, slots.hours, wind, CARE)
    return stock, slots, truth


def test_a_hand_finds_the_wet_face_and_waits_for_the_next_hour() -> None:
    stock, slots, truth = small([3, 0], [True, False], [1.0])
    morning = [Morning(0, 6, None, (np.array([0, 1]),), None)]  # type: ignore[arg-type]
    blind = play(Rule("x", 0, True, True), morning, stock, slots, truth, 4, 5.0)
    felt = play(Rule("x", 0, True, True, hand=True), morning, stock, slots, truth, 4, 5.0)
    assert (blind.coats, blind.bad, blind.walks) == (1, 1, 0)
    assert (felt.coats, felt.bad, felt.walks) == (1, 0, 1)
    assert felt.cost == pytest.approx(3.0 + 1.0 + CARE.feel)


def test_a_sheet_keeps_the_rain_off_unless_it_comes_too_late_or_the_wind_takes_it() -> None:
    for gust, sheet_h, cause in ((1.0, 4.0, 0), (1.0, 13.0, 2), (9.0, 4.0, 0)):
        _, _, truth = small([2], [False], [gust])
        assert truth.fate(0, sheet_h)[0] == cause
        assert truth.lays(0, sheet_h) is (gust <= 8.0)
    _, _, stormy = small([2], [False], [1.0] * 15 + [15.0] * 10)
    assert stormy.fate(0, 4.0)[0] == 2
    assert truth.fate(0)[0] == 2


class Sheets(Rule):
    """Coats at once, and lays its sheets as the careful program does."""

    evening = Careful.evening  # type: ignore[assignment]


def test_a_sheet_before_dark_is_laid_where_it_saves_more_than_it_costs() -> None:
    for risk, sheets in ((0.5, 1), (0.2, 0)):
        stock, slots, truth = small([2], [False], [1.0])
        morning = [Morning(0, 6, None, (np.array([0]),), None)]  # type: ignore[arg-type]
        policy = Sheets("x", 0, True, True)
        for name, value in (("risk", lambda *_, r=risk: r), ("_stake", {0: 2.0}), ("care", CARE)):
            object.__setattr__(policy, name, value)
        tally = play(policy, morning, stock, slots, truth, 4, 5.0, [14])
        assert (tally.sheets, tally.bad) == (sheets, 1 - sheets)
        assert tally.cost == pytest.approx((3.0 + 1.0 + CARE.sheet) if sheets else (8.0 + 1.0 + 1.0))
