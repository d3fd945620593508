"""Spans: whole, right at their ends, never in a closed hour; a chance is never 0 or 1 by weather."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from weather_samples import (
    always_open,
    around,
    at_hours,
    by_day,
    emulsion,
    exactly,
    exposure,
    stacked,
    unknown_in,
    weather,
)

from scheduler.coating.face import Exposure
from scheduler.coating.film import step_film
from scheduler.planning.outlook import Outlook
from scheduler.rules.hours import Openness
from scheduler.rules.rule import rules_of
from scheduler.rules.spans import Assessment, Limits, assess
from scheduler.settings import RuleChange, demo_folder, doubt, load_yard, physics, rule_specs, thresholds
from scheduler.weather.formats import read_answer
from scheduler.weather.members import Beliefs, draw_members
from scheduler.weather.series import Weather

LIMITS = Limits.of(thresholds())
FIRST = 48 * 4  # two days for the log to settle


def assessed(
    given: Weather,
    *,
    first: int = FIRST,
    last: int | None = None,
    end: Exposure | None = None,
    open_: Openness | None = None,
    **changes: dict[str, Any],
) -> Assessment:
    place = around(given, end)
    changed = {name: RuleChange.model_validate(change) for name, change in changes.items()}
    return assess(
        place,
        emulsion(),
        rules_of(rule_specs(), changed, emulsion(), "brush"),
        open_ or always_open(place.fine.steps),
        LIMITS,
        first,
        place.fine.steps - 72 * 4 if last is None else last,
        physics()["drying_wetness"],
    )


def fair(hours: int = 24 * 7, **more: Any) -> Weather:
    return weather(hours, air_c=16.0, humidity=55.0, **more)


def wet_between(first: int, last: int) -> Weather:
    return fair(rain=lambda hour: np.where((hour >= first) & (hour < last), 1.0, 0.0))


# ------------------------------------------------------------------ chance


@pytest.mark.parametrize("passing", [0, 1, 4, 9, 10])
def test_a_chance_is_a_half_more_than_the_passing_of_one_more_than_all(passing: int) -> None:
    dry, wet = fair(), fair(rain=1.0)
    a = assessed(stacked(*[dry] * passing, *[wet] * (10 - passing)), last=FIRST + 4)
    assert a.chance[0] == pytest.approx((passing + 0.5) / 11.0)


def test_no_weather_makes_a_chance_of_nothing_or_one() -> None:
    for weather_ in (fair(), fair(rain=5.0), fair(gust=40.0), weather(24 * 7, air_c=-15.0)):
        a = assessed(stacked(*[weather_] * 40))
        assert a.chance.min() > 0.0
        assert a.chance.max() < 1.0


def test_up_to_a_tenth_of_unknown_members_are_left_out_and_more_make_it_unknown() -> None:
    known, dark = fair(), unknown_in(fair(), 60, 62, "rain_mm")
    one = assessed(stacked(*[known] * 9, dark), first=58 * 4, last=58 * 4 + 1)
    assert one.chance[0] == pytest.approx(9.5 / 10.0)
    two = assessed(stacked(*[known] * 8, dark, dark), first=58 * 4, last=58 * 4 + 1)
    assert np.isnan(two.chance[0])
    assert two.unknown().tolist() == [True]


def test_a_closed_start_has_no_chance_even_where_the_weather_is_unknown() -> None:
    given = unknown_in(fair(), 60, 80, "air_c")
    steps = 24 * 7 * 4
    shut = Openness(np.full(steps, 600.0), np.zeros(steps))
    a = assessed(given, open_=shut)
    assert (a.chance == 0.0).all()
    assert a.spans() == []


# ------------------------------------------------------------------ spans


def test_a_span_is_all_of_the_dry_stretch_and_ends_with_its_last_good_start() -> None:
    """Rain from hour 72: a coat takes rain after some hours, so the last good start lies that long before."""
    a = assessed(wet_between(72, 80), last=90 * 4)
    first, second = a.spans()
    assert first.start == FIRST
    good = ~(a.chance < LIMITS.show_chance)
    assert bool(good[first.end - FIRST])
    assert not good[first.end - FIRST + 1]
    # The last start is just in time for rain, the next is not.
    in_time = step_film(a.place, a.coating, [first.end, first.end + 2]).milestones.rain_safe[0]
    assert in_time[0] <= 72 * 4 < in_time[1]
    assert second.start > 80 * 4  # the ends have to dry first
    assert second.end == 90 * 4 - 1


@settings(max_examples=8, deadline=None, derandomize=True)
@given(st.integers(0, 2**32 - 1))
def test_spans_are_maximal_hold_no_closed_hour_and_with_the_stops_fill_the_time(seed: int) -> None:
    rng = np.random.default_rng(seed)
    hours = 24 * 7
    rain = np.where(rng.random(hours) < 0.04, 1.0, 0.0)
    parts = [weather(hours, air_c=by_day(5.0, 14.0), dew_c=3.0, rain=rain * k) for k in (0.0, 1.0, 0.0)]
    hands = np.repeat((rng.random(hours) < 0.7).astype(float), 4)
    open_ = Openness(np.full(hours * 4, 600.0), hands)
    a = assessed(stacked(*parts), open_=open_)
    spans, stops = a.spans(), a.stopped()
    good = np.nan_to_num(a.chance) >= LIMITS.show_chance
    covered = np.zeros(a.starts.size, int)
    for span in spans:
        i, j = span.start - FIRST, span.end - FIRST
        assert good[i : j + 1].all()
        assert i == 0 or not good[i - 1]
        assert j == good.size - 1 or not good[j + 1]
        assert (hands[span.start : span.end + 1] > 0).all()
        covered[i : j + 1] += 1
    for stop in stops:
        covered[stop.start - FIRST : stop.end - FIRST] += 1
    assert (covered == 1).all()


def test_one_closed_quarter_hour_parts_a_span() -> None:
    open_ = always_open(24 * 7 * 4)
    open_.hands[60 * 4] = 0.0
    before, after = assessed(fair(), open_=open_).spans()
    assert (before.start, before.end) == (FIRST, 60 * 4 - 1)
    assert after.start == 60 * 4 + 1


def test_the_best_start_has_the_greatest_chance_and_is_the_earliest_of_those() -> None:
    wet_at_first = [fair(rain=at_hours(0.0, **{f"h{n}": 1.0})) for n in (47, 49)]
    a = assessed(stacked(*wet_at_first, fair(), fair(), fair()), last=80 * 4)
    (span,) = a.spans()
    assert span.start == FIRST
    assert span.chances.size == span.end - span.start + 1
    top = span.best.start - span.start
    assert top > 4
    assert span.chances[top] == span.chances.max() == pytest.approx(5.5 / 6.0)
    assert span.chances[:top].max() < span.chances.max()


def test_the_milestones_of_a_span_are_reached_by_most_of_the_passing_members() -> None:
    parts = [weather(24 * 7, air_c=t, humidity=55.0) for t in (10.0, 12.0, 14.0, 16.0, 18.0)]
    drowned = fair(rain=1.0)
    a = assessed(stacked(*parts, drowned), last=FIRST + 1)
    span = a.spans()[0]
    own = step_film(a.place, a.coating, [span.best.start]).milestones
    for name in ("touch_dry", "frost_safe", "rain_safe", "dry"):
        ordered = np.sort(own.named(name)[:5, 0])
        assert span.best.milestones[name] == pytest.approx(ordered[3]), name  # four of five


def test_in_a_roofed_place_rain_stops_nothing() -> None:
    wet = fair(rain=1.0)
    assert assessed(wet).spans() == []
    (span,) = assessed(wet, end=exposure(roofed=True)).spans()
    assert (span.start, span.end) == (FIRST, 24 * 4 * 4 - 1)


def test_switching_a_rule_off_opens_what_it_stopped() -> None:
    gale = fair(gust=20.0)
    assert assessed(gale).spans() == []
    assert len(assessed(gale, storm={"on": False}).spans()) == 1


# ------------------------------------------------------------------ unknown


def test_two_missing_hours_of_rain_are_unknown_and_not_dry() -> None:
    """The starts whose coats would meet them, and those on ends that they may have wetted."""
    a = assessed(unknown_in(fair(wind=2.0), 72, 74, "rain_mm"), last=100 * 4)
    chance = dict(zip(a.starts.tolist(), a.chance.tolist(), strict=True))
    assert np.isnan(chance[71 * 4])
    assert np.isnan(chance[73 * 4])
    assert np.isnan(chance[74 * 4])
    assert chance[56 * 4] > 0.5
    assert chance[95 * 4] > 0.5
    for span in a.spans():
        assert not (span.start <= 73 * 4 <= span.end)
    unknown = [s for s in a.stopped() if s.rule is None]
    assert any(s.start <= 72 * 4 < s.end for s in unknown)


def test_what_needs_hours_behind_the_end_of_the_data_is_unknown() -> None:
    hours = 24 * 4
    a = assessed(fair(hours), last=hours * 4)
    assert not np.isnan(a.chance[0])
    assert np.isnan(a.chance[-4])
    assert a.spans()[0].end < hours * 4 - 8


def test_a_forecast_of_nothing_gives_no_span() -> None:
    given = unknown_in(fair(), 0, 24 * 7, "air_c", "dew_point_c", "wind_ms", "rain_mm")
    a = assessed(given)
    assert a.unknown().all()
    assert a.spans() == []
    (stop,) = a.stopped()
    assert stop.rule is None


# ------------------------------------------------------------------ one start, looked at closely


def test_looking_closely_names_the_rule_its_worst_value_and_when() -> None:
    cold = weather(24 * 7, air_c=lambda h: np.where(h < 54, 9.0, -4.0), humidity=75.0)
    seen = assessed(stacked(*[cold] * 4), last=FIRST + 1).examine([FIRST + 8])[0]
    frost = next(c for c in seen.causes if c.rule.name == "frost_on_face")
    assert frost.outcome == "break"
    assert frost.share == 1.0
    assert frost.value is not None
    assert frost.value < 0.0
    assert frost.at is not None
    assert 54 * 4 <= frost.at < 64 * 4
    assert seen.chance == pytest.approx(0.5 / 5.0)
    storm = next(c for c in seen.causes if c.rule.name == "storm")
    assert (storm.outcome, storm.share) == ("pass", 0.0)
    assert storm.value == pytest.approx(3.0 * 1.6)


def test_a_rule_breaks_for_a_start_when_it_breaks_in_most_members() -> None:
    wet, dry = fair(rain=at_hours(0.0, h50=2.0)), fair()
    for count, word in ((2, "pass"), (3, "break")):
        seen = assessed(stacked(*[wet] * count, *[dry] * (5 - count)), last=FIRST + 1).examine([FIRST + 1])[0]
        rain = next(c for c in seen.causes if c.rule.name == "rain_before_it_holds")
        assert rain.outcome == word
        assert rain.share == pytest.approx(count / 5)
        assert rain.value == 2.0  # of the members in which it breaks
        assert rain.at == 50 * 4


def test_an_unknown_start_says_so_of_its_rules() -> None:
    seen = assessed(unknown_in(fair(), 50, 52, "air_c")).examine([FIRST + 1])[0]
    assert seen.unknown
    assert seen.chance is None
    frost = next(c for c in seen.causes if c.rule.name == "frost_on_face")
    assert frost.outcome == "unknown"


def test_looking_closely_uses_the_starts_own_film_and_not_the_one_always_wet() -> None:
    """A night that a film on an ever wet, colder log would not survive, and a film on this log does."""
    night = weather(24 * 7, air_c=by_day(1.2, 8.0), humidity=65.0, wind=2.0, cloud=0.9)
    a = assessed(night, last=FIRST + 40)
    start = FIRST + 32
    seen = a.examine([start])[0]
    frost = next(c for c in seen.causes if c.rule.name == "frost_on_face")
    end = int(step_film(a.place, a.coating, [start]).milestones.frost_safe[0, 0])
    always = float(np.nanmin(a.place.wet.surface_c[0, start : end + 1]))
    assert frost.value is not None
    assert frost.value > always


# ------------------------------------------------------------------ the whole chain


def test_the_same_forecast_gives_the_same_answer() -> None:
    given = weather(24 * 8, air_c=by_day(3.0, 9.0), humidity=by_day(90.0, 70.0), wind=2.0, cloud=0.7)

    def chances() -> np.ndarray:
        members = draw_members(
            given,
            doubt(),
            physics(),
            issued=given.time_at(48),
            latitude=48.0,
            longitude=8.0,
            place=Beliefs(hollow_c=-1.0),
        )
        place = around(members)
        rules = rules_of(rule_specs(), {}, emulsion(), "brush")
        steps = place.fine.steps
        wetness = physics()["drying_wetness"]
        return assess(place, emulsion(), rules, always_open(steps), LIMITS, FIRST, steps, wetness).chance

    np.testing.assert_array_equal(chances(), chances())


def test_doubt_about_the_forecast_takes_certainty_from_a_chance() -> None:
    given = weather(24 * 8, air_c=by_day(4.0, 9.0), dew_c=1.0, wind=3.0, cloud=0.9)
    exact = assessed(stacked(*[given] * 48), last=FIRST + 60)
    members = draw_members(given, doubt(), physics(), issued=given.time_at(48), latitude=48.0, longitude=8.0)
    place = around(members)
    rules = rules_of(rule_specs(), {}, emulsion(), "brush")
    doubted = assess(
        place,
        emulsion(),
        rules,
        always_open(place.fine.steps),
        LIMITS,
        FIRST,
        FIRST + 60,
        physics()["drying_wetness"],
    )
    assert exact.chance[40] > 0.95
    assert 0.2 < doubted.chance[40] < 0.95


def test_a_member_that_dries_slowly_may_fail_where_the_others_pass() -> None:
    given = wet_between(56, 60)
    quick = exactly(stacked(*[given] * 3))
    place = around(replace(quick, drying=np.array([0.4, 1.0, 1.6])))
    a = assess(
        place,
        emulsion(),
        rules_of(rule_specs(), {}, emulsion(), "brush"),
        always_open(place.fine.steps),
        LIMITS,
        FIRST,
        FIRST + 40,
        physics()["drying_wetness"],
    )
    outcome = a.findings.outcome()
    assert (outcome[0] >= outcome[1]).all()
    assert (outcome[1] >= outcome[2]).all()
    assert (outcome[0] != outcome[2]).any()


def test_the_hours_to_dry_of_a_slow_coat_are_those_of_the_members_that_are_slow() -> None:

    folder = demo_folder()
    yard = load_yard(str(folder / "yard.toml"))
    at = datetime(2025, 11, 4, 5, 0, tzinfo=UTC)
    weather = read_answer((folder / "weather.json").read_bytes(), issued=at)
    assessment = Outlook(yard, weather, at).of()
    for examined in assessment.examine(assessment.best_starts()):
        slow = next(cause for cause in examined.causes if cause.rule.name == "slow_to_dry")
        if slow.share > 0.0:
            assert slow.value is None or slow.value > slow.rule.limit
