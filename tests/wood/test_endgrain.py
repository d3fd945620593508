"""The drying of log ends: laws that hold whatever the numbers, the coat, the clock, and what cuts teach."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from reference_endgrain import Watched, endgrain_table, shipped, steady

from scheduler.settings import Number, coating_profiles, species_table
from scheduler.weather.air import dew_point_from_humidity
from scheduler.wood.endgrain import (
    Calibration,
    Cut,
    EndClock,
    Ends,
    calibrate,
    check_factor,
    coat_resistance,
    day_growth,
    default_rate,
    depth,
    depth_for,
    depth_if_coated,
    drying_rate,
    emc,
    end_clock,
    loss_cm,
    marginal,
    normal_hours,
    temperature_factor,
    uncalibrated,
    unknown_hours,
    when_reached,
)

F = NDArray[np.float64]
N = shipped()
QUICK = settings(max_examples=60, deadline=None)
ONE, TWO = (
    coating_profiles()["emulsion"].resistance_one.value,
    coating_profiles()["emulsion"].resistance_two.value,
)
HOURS = 240

# ------------------------------------------------------------------ made weather, made ends


def hours_from(seed: int, members: int = 1, hours: int = HOURS, rain: float = 0.1) -> tuple[F, F, F]:
    """Air, dew point and rain by chance, frost among it."""
    rng = np.random.default_rng(seed)
    t = rng.uniform(-6.0, 28.0, (members, hours))
    wet = np.where(rng.random((members, hours)) < rain, 1.0, 0.0)
    return t, dew_point_from_humidity(t, rng.uniform(30.0, 100.0, (members, hours))), wet


def ends_of(*rows: list[tuple[float, float, bool]], kind: int = 0) -> Ends:
    """Ends from stretches (hour, coat in m, roofed)."""
    widest = max(len(row) for row in rows)
    full = [row + [(np.inf, 0.0, False)] * (widest - len(row)) for row in rows]
    column = [[[s[k] for s in row] for row in full] for k in range(3)]
    return Ends(np.full(len(rows), kind), np.array(column[0]), np.array(column[1]), np.array(column[2], bool))


stretch = st.tuples(st.floats(0.0, HOURS), st.sampled_from([0.0, 0.01, 0.1, 0.22, 0.4]), st.booleans())
stories = st.lists(stretch, min_size=1, max_size=4).map(lambda some: sorted(some, key=lambda s: s[0]))
seeds = st.integers(0, 2**32 - 1)


# ------------------------------------------------------------------ wood and air


def test_the_wetter_the_air_the_wetter_the_wood() -> None:
    assert (np.diff(emc(np.array([-10.0, 0.0, 20.0, 40.0])[:, None], np.linspace(0.0, 1.0, 101))) > 0.0).all()
    assert emc(20.0, 0.0) == 0.0


def test_a_humidity_in_percent_is_refused() -> None:
    with pytest.raises(ValueError, match="share of 0 to 1"):
        emc(20.0, 65.0)


def test_frozen_wood_gives_off_nothing_and_thaws_on_a_ramp() -> None:
    assert temperature_factor([-30.0, -2.0], N) == pytest.approx([0.0, 0.0])
    full = temperature_factor(-1.0, shipped(frozen_below=-4.0, thawed_above=-1.0))
    assert temperature_factor(-1.0, N) == pytest.approx(0.5 * full)
    assert drying_rate(-5.0, np.nan, 0.8, N) == 0.0, "that it is frozen is enough to know"
    assert np.isnan(drying_rate(5.0, np.nan, 0.8, N))


def test_wet_wood_dries_less_deep_and_wood_below_fibre_saturation_is_taken_as_just_there() -> None:
    rates = drying_rate(18.0, 0.7, [0.2, 0.3, 0.45, 0.8, 1.5], N)
    assert rates[0] == rates[1]
    assert (np.diff(rates[1:]) < 0.0).all()


def test_nothing_dries_where_the_air_is_as_wet_as_the_wood() -> None:
    assert drying_rate(20.0, 0.98, 0.8, shipped(fibre_saturation=0.24)) == 0.0
    assert drying_rate(20.0, 1.2, 0.8, N) == drying_rate(20.0, 0.98, 0.8, N), "air is never taken as wetter"


@QUICK
@given(st.floats(-20.0, 45.0), st.floats(0.0, 1.0), st.floats(0.2, 2.5))
def test_an_end_never_takes_up_water(t: float, h: float, m: float) -> None:
    assert drying_rate(t, h, m, N) >= 0.0


# ------------------------------------------------------------------ the clock


def test_rain_stops_a_bare_end_and_no_other() -> None:
    t, _, _ = hours_from(1)
    wet = np.zeros_like(t)
    wet[:, 50:150] = 0.2
    clock = end_clock(np.abs(t), np.abs(t) - 5.0, wet, 0.8, N)
    ends = ends_of([(0.0, 0.0, False)], [(0.0, 0.0, True)])
    deep = depth(clock, ends, [50.0, 150.0, 240.0])[:, 0]
    assert deep[0, 0] == deep[0, 1] == deep[1, 0]
    assert deep[1, 1] > deep[0, 1] < deep[0, 2]


def test_less_rain_than_a_wet_hour_has_stops_nothing() -> None:
    t, dew, _ = hours_from(2)
    drizzle, dry = (end_clock(t, dew, np.full_like(t, mm), 0.8, N) for mm in (0.19, 0.0))
    np.testing.assert_array_equal(drizzle.totals, dry.totals)


def test_an_unknown_hour_moves_no_clock_and_is_counted() -> None:
    t = np.full((1, 24), 15.0)
    dew, rain = t - 6.0, np.zeros_like(t)
    dew[:, 3:5] = np.nan
    rain[:, 10] = np.nan
    clock = end_clock(t, dew, rain, 0.8, N)
    assert clock.unknown[:, 0, -1].tolist() == [3.0, 2.0], "without rain's word only the bare end is unknown"
    assert (np.diff(clock.totals[:, 0, 0]) == 0.0).sum(axis=1).tolist() == [3, 2]
    bare, coated = Ends.bare(0, 0.0), ends_of([(0.0, ONE, False)])
    assert unknown_hours(clock, bare, [4.0, 24.0])[0, 0].tolist() == [1.0, 3.0]
    assert unknown_hours(clock, coated, [24.0])[0, 0].tolist() == [2.0]


def test_what_is_frozen_or_wet_is_known_without_the_rest() -> None:
    t, dew, rain = np.array([[-9.0, 15.0]]), np.full((1, 2), np.nan), np.array([[np.nan, 3.0]])
    clock = end_clock(t, dew, rain, 0.8, N)
    assert clock.unknown[:, 0, -1].tolist() == [0.0, 1.0]


def test_hours_before_and_behind_the_clock_are_unknown() -> None:
    clock = steady(15.0, 70.0, 2)
    assert unknown_hours(clock, Ends.bare(0, -10.0), [-4.0, 20.0, 60.0])[0, 0].tolist() == [6.0, 10.0, 22.0]
    assert depth(clock, Ends.bare(0, -10.0), [20.0]) == depth(clock, Ends.bare(0, 0.0), [20.0])


def test_unknown_hours_can_go_at_the_stated_default_and_stay_counted() -> None:
    t = np.full((1, 48), np.nan)
    clock = end_clock(t, t, t, [0.8, 0.5], N, fill=True)
    for shielded in (False, True):
        rate = default_rate([0.8, 0.5], N, shielded=shielded)
        np.testing.assert_allclose(clock.totals[int(shielded), :, 0, -1], rate * 48 * 3600.0)
    assert clock.unknown[:, 0, -1].tolist() == [48.0, 48.0]
    assert default_rate(0.8, N, shielded=True) == drying_rate(N["default_air"], N["default_humidity"], 0.8, N)


def test_a_known_hour_is_not_touched_by_filling() -> None:
    t, dew, rain = hours_from(3)
    plain, filled = (end_clock(t, dew, rain, 0.8, N, fill=fill) for fill in (False, True))
    np.testing.assert_array_equal(plain.totals, filled.totals)


def test_more_members_are_the_same_for_each_of_them() -> None:
    t, dew, rain = hours_from(4, members=5)
    ends = ends_of([(3.0, 0.0, False), (70.0, ONE, False)], [(20.0, 0.0, True)])
    together = end_clock(t, dew, rain, [0.8, 0.5], N)
    for m in range(5):
        alone = end_clock(t[m : m + 1], dew[m : m + 1], rain[m : m + 1], [0.8, 0.5], N)
        np.testing.assert_array_equal(depth(together, ends, [99.5])[:, m], depth(alone, ends, [99.5])[:, 0])
        at = 0.97 * depth(alone, ends, [200.0])[:, 0, 0]  # off the hours in which the clocks stand still
        np.testing.assert_allclose(
            when_reached(together, ends, at)[:, m], when_reached(alone, ends, at)[:, 0], rtol=1e-9
        )


@pytest.mark.parametrize("moisture", [0.0, -0.3, np.nan])
def test_a_moisture_that_cannot_be_is_refused(moisture: float) -> None:
    with pytest.raises(ValueError, match="above zero"):
        steady(10.0, 80.0, 1, moisture)


def test_arrays_of_different_hours_are_refused() -> None:
    with pytest.raises(ValueError, match="same members and hours"):
        end_clock(np.zeros((1, 5)), np.zeros((1, 4)), None, 0.8, N)


def test_normals_go_round_the_year() -> None:
    months = 10.0 - 10.0 * np.cos(2 * np.pi * (np.arange(12) + 0.5) / 12)
    air_c, dew = normal_hours(months, np.full(12, 0.75), np.linspace(0.0, 1.0, 8760, endpoint=False))
    assert air_c.shape == dew.shape == (1, 8760)
    assert air_c[0, 0] == pytest.approx(air_c[0, -1], abs=0.02)
    assert air_c.max() == pytest.approx(months.max())
    uneven = np.array([2.0, 5.0, 11.0, 20.0])
    warm, damp = normal_hours(uneven, uneven / 40.0, [0.0, 0.125, 0.25, 1.0])
    assert warm[0] == pytest.approx([11.0, 2.0, 3.5, 11.0]), (
        "the year's turn lies between the last and the first"
    )
    assert damp == pytest.approx(dew_point_from_humidity(warm, 2.5 * warm))
    clock = end_clock(air_c, dew, None, 0.8, N)
    assert 0.05 < depth(clock, Ends.bare(0, 0.0), [8760.0])[0, 0, 0] < 0.2


# ------------------------------------------------------------------ the depth


@QUICK
@given(seeds, stories)
def test_the_depth_is_never_below_zero_and_never_goes_back(
    seed: int, story: list[tuple[float, float, bool]]
) -> None:
    clock = end_clock(*hours_from(seed, members=2), 0.8, N)
    deep = depth(clock, ends_of(story), np.linspace(-5.0, HOURS + 20.0, 60))
    assert (deep >= 0.0).all()
    assert (np.diff(deep, axis=2) >= -1e-15).all()
    assert (deep[:, :, np.linspace(-5.0, HOURS + 20.0, 60) <= story[0][0]] == 0.0).all()


@QUICK
@given(seeds, stories, st.floats(0.0, HOURS), st.sampled_from([0.004, 0.05, 0.22]), st.floats(0.0, 0.9))
def test_a_coat_never_makes_an_end_lose_more_than_bare(
    seed: int, story: list[tuple[float, float, bool]], hour: float, coat: float, rain: float
) -> None:
    clock = end_clock(*hours_from(seed, rain=rain), 0.8, N)
    ends = ends_of(story)
    bare = replace(ends, coat_m=np.zeros_like(ends.coat_m))
    when = np.linspace(0.0, HOURS, 25)
    assert (depth(clock, ends, when) <= depth(clock, bare, when) + 1e-15).all()
    assert (depth_if_coated(clock, bare, [hour], coat, HOURS) <= depth(clock, bare, [HOURS]) + 1e-15).all()


@QUICK
@given(seeds, st.lists(st.floats(0.0, HOURS), min_size=2, max_size=2).map(sorted), st.floats(0.01, 0.4))
def test_without_rain_an_earlier_or_thicker_coat_never_loses_more(
    seed: int, hours: list[float], coat: float
) -> None:
    clock = end_clock(*hours_from(seed, rain=0.0), 0.8, N)
    early, late = depth_if_coated(clock, Ends.bare(0, 0.0), hours, coat, HOURS)[0, 0]
    assert early <= late + 1e-15
    thick = depth_if_coated(clock, Ends.bare(0, 0.0), hours, 2.0 * coat, HOURS)[0, 0]
    assert (thick <= np.array([early, late]) + 1e-15).all()


@QUICK
@given(seeds, stories, st.floats(0.0, HOURS))
def test_splitting_the_time_in_two_gives_the_same(
    seed: int, story: list[tuple[float, float, bool]], cut_at: float
) -> None:
    clock = end_clock(*hours_from(seed, members=2), 0.8, N)
    cut_at = max(cut_at, story[0][0])
    before = [s for s in story if s[0] <= cut_at]
    split = [*before, (cut_at, *before[-1][1:]), *story[len(before) :]]
    when = np.linspace(0.0, HOURS, 25)
    np.testing.assert_allclose(
        depth(clock, ends_of(split), when), depth(clock, ends_of(story), when), rtol=1e-10, atol=1e-15
    )


@QUICK
@given(seeds, st.lists(stories, min_size=2, max_size=6))
def test_the_order_of_the_ends_is_of_no_account(
    seed: int, some: list[list[tuple[float, float, bool]]]
) -> None:
    clock = end_clock(*hours_from(seed), [0.5, 0.8, 1.2], N)
    ends = ends_of(*some)
    ends = replace(ends, kind=np.arange(len(some)) % 3)
    order = np.random.default_rng(seed).permutation(len(some))
    mixed = Ends(ends.kind[order], ends.since[order], ends.coat_m[order], ends.roofed[order])
    np.testing.assert_array_equal(
        depth(clock, mixed, [100.0, 240.0]), depth(clock, ends, [100.0, 240.0])[order]
    )
    np.testing.assert_allclose(
        when_reached(clock, mixed, 0.004), when_reached(clock, ends, 0.004)[order], rtol=1e-6
    )


def stepped(clock: EndClock, story: list[tuple[float, float, bool]], until: int) -> float:
    """The front by an hour at a time, as one would write it first; changes of the coat on whole hours."""
    deep = 0.0
    for hour in range(int(story[0][0]), until):
        _, coat, roofed = next(s for s in reversed(story) if s[0] <= hour)
        row = clock.totals[1 if coat > 0.0 or roofed else 0, 0, 0]
        d = clock.air_m + coat
        deep = -d + np.sqrt((deep + d) ** 2 + 2.0 * (row[hour + 1] - row[hour]))
    return float(deep)


def test_the_closed_form_is_what_stepping_hour_by_hour_gives() -> None:
    clock = end_clock(*hours_from(7, rain=0.1), 0.8, N)
    story = [(5.0, 0.0, False), (60.0, ONE, False), (110.0, TWO, True), (170.0, 0.0, True)]
    for until in (40, 60, 100, 169, 240):
        found = depth(clock, ends_of(story), [float(until)])[0, 0, 0]
        assert found == pytest.approx(stepped(clock, story, until), rel=1e-9)


def test_where_it_rains_all_the_time_a_coated_end_loses_no_more_than_a_bare_one() -> None:
    t = np.full((1, 500), 15.0)
    rain = np.ones_like(t)
    rain[:, ::10] = 0.0
    clock = end_clock(t, t - 5.0, rain, 0.8, N)
    latex = coating_profiles()["latex"].resistance_one.value
    deep = depth(clock, ends_of([(0.0, 0.0, False)], [(0.0, latex, False)]), [500.0])[:, 0, 0]
    assert deep[1] <= deep[0]


def test_what_if_a_coat_came_is_what_the_story_with_that_coat_gives() -> None:
    clock = end_clock(*hours_from(8, members=3), [0.8, 0.5], N)
    ends = ends_of([(3.0, 0.0, False)], [(30.0, 0.0, True), (60.0, ONE, True)], kind=1)
    hours = [10.0, 80.0, 300.0]
    found = depth_if_coated(clock, ends, hours, TWO, 200.0)
    for n, hour in enumerate(hours):
        one = ends_of([(3.0, 0.0, False), (max(hour, 3.0), TWO, False)], kind=1)
        np.testing.assert_allclose(found[0, :, n], depth(clock, one, [200.0])[0, :, 0], rtol=1e-12)
    late = ends_of([(30.0, 0.0, True), (60.0, ONE, True), (80.0, TWO, True)], kind=1)
    np.testing.assert_allclose(found[1, :, 1], depth(clock, late, [200.0])[0, :, 0], rtol=1e-12)
    at_the_cut = depth_if_coated(clock, Ends.bare(1, 30.0), [10.0], TWO, 200.0)
    np.testing.assert_allclose(
        at_the_cut, depth(clock, ends_of([(30.0, TWO, False)], kind=1), [200.0]), rtol=1e-12
    )


def test_what_a_days_wait_costs_is_the_rate_over_all_that_resists() -> None:
    clock = steady(18.0, 70.0, 60)
    ends = Ends.bare(0, 0.0)
    deep = depth(clock, ends, [960.0])
    rate = drying_rate(18.0, 0.7, 0.8, N)
    now = marginal(rate, deep, clock.air_m)
    assert float(day_growth(clock, ends, [948.0])[0, 0, 0]) == pytest.approx(float(now[0, 0, 0]), rel=1e-3)
    assert marginal(rate, 0.0, clock.air_m) > 2.0 * day_growth(clock, ends, [0.0]), (
        "the first hours are steep"
    )
    growth = day_growth(clock, ends, np.arange(0.0, 1400.0, 24.0))[0, 0]
    assert (np.diff(growth) < 0.0).all()


def test_ends_that_make_no_sense_are_refused() -> None:
    with pytest.raises(ValueError, match="follow each other"):
        ends_of([(5.0, 0.0, False), (3.0, ONE, False)])
    with pytest.raises(ValueError, match="follow each other"):
        ends_of([(np.inf, 0.0, False)])
    with pytest.raises(ValueError, match="zero or more"):
        ends_of([(5.0, -0.1, False)])
    with pytest.raises(ValueError, match="finite hours"):
        depth(steady(10.0, 70.0, 1), Ends.bare(0, 0.0), [np.nan])
    with pytest.raises(ValueError, match="above zero"):
        when_reached(steady(10.0, 70.0, 1), Ends.bare(0, 0.0), 0.0)


# ------------------------------------------------------------------ when the trim allowance is reached


@QUICK
@given(seeds, st.lists(stories, min_size=1, max_size=4), st.floats(0.0005, 0.02))
def test_at_the_hour_that_is_told_the_depth_is_there_and_before_it_was_not(
    seed: int, some: list[list[tuple[float, float, bool]]], target: float
) -> None:
    clock = end_clock(*hours_from(seed, members=2), 0.8, N)
    ends = ends_of(*some)
    hour = when_reached(clock, ends, target)
    last = depth(clock, ends, [float(HOURS)])[:, :, 0]
    assert (last[np.isinf(hour)] <= target + 1e-9).all()
    for n, m in zip(*np.nonzero(np.isfinite(hour)), strict=True):
        one = ends_of(some[n])
        there, before = depth(clock, one, [hour[n, m], hour[n, m] - 0.02])[0, m]
        assert there == pytest.approx(target, abs=1e-9)
        assert before < target


def test_a_loss_and_the_depth_it_stands_for_are_each_others_way_back() -> None:
    learned = Calibration(1.3, 0.2, 1.0, 0.4, 9, used=True)
    deep = depth_for([2.5, 10.0], [1.8, 2.05], learned)
    np.testing.assert_allclose(loss_cm(deep, [1.8, 2.05], N, learned).mid, [2.5, 10.0])


# ------------------------------------------------------------------ coats


def test_a_coat_without_skips_is_the_products_own_and_all_skips_are_no_coat() -> None:
    assert coat_resistance([0, 1, 2, 3], 0.0, ONE, TWO, N) == pytest.approx([0.0, ONE, TWO, TWO])
    assert coat_resistance([1, 2], 1.0, ONE, TWO, N).tolist() == [0.0, 0.0]
    assert coat_resistance(1, 0.999, ONE, TWO, N) == pytest.approx(0.0, abs=2e-4)
    assert coat_resistance(1, np.nan, ONE, TWO, N) == coat_resistance(1, N["skip_share"], ONE, TWO, N)


@QUICK
@given(st.sampled_from(sorted(coating_profiles())), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_coat_with_more_skips_never_resists_more_and_a_second_layer_never_less(
    name: str, a: float, b: float
) -> None:
    one, two = (coating_profiles()[name].resistance_one.value, coating_profiles()[name].resistance_two.value)
    few, many = sorted((a, b))
    first = coat_resistance(1, np.array([few, many]), one, two, N)
    second = coat_resistance(2, np.array([few, many]), one, two, N)
    assert first[0] >= first[1] - 1e-12
    assert (second >= first - 1e-12).all()
    assert (first >= 0.0).all()


def test_a_coat_with_skips_lets_more_through_than_their_share_of_the_face() -> None:
    sound, skipped = (N["air_resistance"] + coat_resistance(1, f, ONE, TWO, N) for f in (0.0, 0.05))
    assert 1.1 < sound / skipped < 2.0


# ------------------------------------------------------------------ loss and learning


def test_the_band_is_half_to_double_before_anything_was_learned() -> None:
    band = loss_cm(np.array([0.05]), 1.8, N)
    assert band.mid == pytest.approx([9.0])
    assert band.low == pytest.approx(band.mid / 2.0)
    assert band.high == pytest.approx(band.mid * 2.0)


def test_a_factor_for_each_end_goes_with_the_first_axis() -> None:
    band = loss_cm(np.ones((2, 3, 4)), [1.0, 2.0], N)
    assert band.mid[:, 0, 0].tolist() == [100.0, 200.0]
    assert band.mid.shape == (2, 3, 4)


def yard_cuts(count: int, factor: float, leak: float, seed: int = 1) -> list[Cut]:
    """Cuts as a yard of these true numbers would make them: slices of an inch until one is clean."""
    rng = np.random.default_rng(seed)
    cuts = []
    for n in range(count):
        opened, under = rng.uniform(0.005, 0.05), rng.uniform(0.005, 0.05) if n % 2 else 0.0
        true = 180.0 * factor * (opened + leak * under) * np.exp(N["end_log_sd"] * rng.standard_normal())
        slices = np.floor(true / 2.5)
        cuts.append(Cut(1.8, opened, under, above_cm=2.5 * slices, at_most_cm=2.5 * (slices + 1)))
    return cuts


@pytest.mark.parametrize(("factor", "leak"), [(1.0, 1.0), (1.6, 0.6), (0.6, 1.8)])
def test_many_cuts_find_the_yards_own_factor_and_leak(factor: float, leak: float) -> None:
    found = calibrate(yard_cuts(200, factor, leak), N)
    assert found.used
    assert found.factor == pytest.approx(factor, rel=0.12)
    assert found.leak == pytest.approx(leak, rel=0.25)
    assert found.factor_log_sd < 0.1


def test_the_doubt_covers_what_a_yard_truly_is_about_as_often_as_it_says() -> None:
    rng = np.random.default_rng(3)
    prior, inside = uncalibrated(N), 0
    for trial in range(60):
        true = float(np.exp(prior.factor_log_sd * rng.standard_normal()))
        found = calibrate(yard_cuts(12, true, 1.0, seed=trial), N)
        inside += abs(np.log(found.factor / true)) < 1.2816 * found.factor_log_sd
    assert 40 <= inside <= 57  # of 60, expected 48


def test_few_cuts_change_nothing_and_are_counted() -> None:
    few = calibrate(yard_cuts(int(N["least_cuts"]) - 1, 1.6, 1.0), N)
    assert not few.used
    assert replace(few, cuts=0) == uncalibrated(N)
    assert few.cuts == N["least_cuts"] - 1
    assert calibrate(yard_cuts(int(N["least_cuts"]), 1.6, 1.0), N).used


def test_still_cracked_says_more_and_clean_says_less() -> None:
    cracked = calibrate([Cut(1.8, 0.03, above_cm=5.4)] * 8, N)
    clean = calibrate([Cut(1.8, 0.03, at_most_cm=5.4)] * 8, N)
    assert cracked.factor > 1.1
    assert clean.factor < 0.9
    generous = calibrate([Cut(1.8, 0.03, at_most_cm=60.0)] * 8, N)
    assert generous.factor == pytest.approx(1.0, abs=0.03), "clean after far more than was lost says little"
    assert generous.factor_log_sd == pytest.approx(uncalibrated(N).factor_log_sd, rel=0.05)


def test_cuts_of_bare_ends_say_nothing_of_coats() -> None:
    found = calibrate([c for c in yard_cuts(60, 1.5, 3.0) if c.under_m == 0.0], N)
    assert found.leak == pytest.approx(1.0, abs=1e-3)
    assert found.leak_log_sd == pytest.approx(N["coat_log_sd"], rel=0.01)


def test_the_order_of_the_cuts_is_of_no_account() -> None:
    cuts = yard_cuts(20, 1.3, 1.0)
    one, other = calibrate(cuts, N), calibrate(cuts[::-1], N)
    assert one.factor == pytest.approx(other.factor, rel=1e-9)


def test_one_log_that_split_by_itself_does_not_move_the_yard() -> None:
    cuts = yard_cuts(20, 1.0, 1.0)
    split = calibrate([*cuts, Cut(1.8, 0.01, above_cm=60.0)], N)
    assert split.factor == pytest.approx(calibrate(cuts, N).factor, rel=0.05)


def test_an_end_that_should_have_lost_nothing_teaches_nothing() -> None:
    assert calibrate([Cut(1.8, 0.0001, at_most_cm=2.0)] * 20, N).cuts == 0


def test_learning_narrows_the_band_but_not_below_the_scatter_of_single_ends() -> None:
    learned = calibrate(yard_cuts(200, 1.0, 1.0), N)
    wide, narrow = loss_cm(np.array([0.05]), 1.8, N), loss_cm(np.array([0.05]), 1.8, N, learned)
    assert narrow.high / narrow.mid < wide.high / wide.mid
    assert narrow.high / narrow.mid > np.exp(1.28 * N["end_log_sd"])


@pytest.mark.parametrize(
    "wrong",
    [
        {"above_cm": 5.0, "at_most_cm": 5.0},
        {"above_cm": -1.0},
        {"at_most_cm": float("nan")},
        {"open_m": -0.01},
        {"factor": 0.0},
    ],
)
def test_a_cut_that_contradicts_itself_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="must"):
        Cut(**{"factor": 1.8, "open_m": 0.02, **wrong})


# ------------------------------------------------------------------ the shipped numbers


def test_every_number_of_the_file_has_a_unit_a_source_and_lies_in_its_range() -> None:
    for name, entry in endgrain_table().items():
        assert Number.model_validate(entry).unit, name


def test_every_number_of_the_file_is_read() -> None:
    numbers = Watched(N)
    t = np.array([[15.0, np.nan, -1.0]])
    end_clock(t, t - 5.0, np.array([[0.0, np.nan, 1.0]]), 0.8, numbers, fill=True)
    coat_resistance(1, np.nan, ONE, TWO, numbers)
    for word in ("low", "ordinary", "high"):
        check_factor(word, numbers)  # type: ignore[arg-type]
    calibrate([Cut(1.8, 0.03, at_most_cm=6.0)], numbers)
    assert set(numbers) - numbers.read == set()


# Own calibration, by wood: what the words of the table must come to within 15 percent.
OWN_FACTORS = {
    "Fraxinus americana": 1.8,
    "Fraxinus pennsylvanica": 1.8,
    "Tilia americana": 1.3,
    "Fagus grandifolia": 2.1,
    "Betula alleghaniensis": 1.8,
    "Juglans cinerea": 1.5,
    "Prunus serotina": 1.8,
    "Populus deltoides": 1.5,
    "Ulmus americana": 1.8,
    "Celtis occidentalis": 1.7,
    "Carya ovata": 2.0,
    "Carya illinoinensis": 2.0,
    "Robinia pseudoacacia": 1.9,
    "Acer saccharum": 1.9,
    "Acer rubrum": 1.7,
    "Acer saccharinum": 1.7,
    "Quercus rubra": 2.1,
    "Quercus alba": 2.1,
    "Maclura pomifera": 2.1,
    "Liquidambar styraciflua": 1.7,
    "Platanus occidentalis": 2.0,
    "Juglans nigra": 1.8,
    "Liriodendron tulipifera": 1.5,
}


@pytest.mark.parametrize(("botanical", "factor"), OWN_FACTORS.items())
def test_the_words_for_proneness_come_near_the_factor_of_each_wood(botanical: str, factor: float) -> None:
    assert check_factor(species_table()[botanical].proneness, N) == pytest.approx(factor, rel=0.15)
