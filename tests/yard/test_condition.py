"""What becomes of a coat under the weather it has had, and what somebody saw of it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest
from weather_samples import (
    START,
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

from scheduler.coating.product import Coating
from scheduler.rules.rule import Rule, rules_of
from scheduler.settings import RuleChange, rule_specs
from scheduler.weather.members import Members
from scheduler.weather.series import Weather
from scheduler.yard.condition import EndState, Fate, end_state, fates_of_coats
from scheduler.yard.facts import Coat, End, Look, Moment

HOUR = timedelta(hours=1)
MORNING = START + 10 * HOUR
REACHED = 0.8


def coat(when: datetime = MORNING, layer: int = 1, **facts: Any) -> Coat:
    return Coat(Moment(when), layer, 2, **facts)


def look(seen: Any, when: datetime = MORNING + 24 * HOUR, **facts: Any) -> Look:
    return Look(Moment(when), seen, 3, **facts)


def end(*coats: Coat, looks: tuple[Look, ...] = (), **facts: Any) -> End:
    return End("butt", Moment(START), 1, diameter_cm=45.0, coats=coats, looks=looks, **facts)


def rules(coating: Coating, **changes: Any) -> tuple[Rule, ...]:
    return rules_of(rule_specs(), changes, coating, "brush")


def fate(given: Weather | Members, one: Coat | None = None, *, roofed: bool = False, **sheet: float) -> Fate:
    one = one or coat()
    coating = emulsion(**sheet)
    place = around(given, exposure(roofed=roofed))
    return fates_of_coats(place, coating, rules(coating), [one], REACHED)[one]


def state_at(hours: float, given: Weather | Members, facts: End | None = None) -> EndState:
    facts = facts or end(coat())
    last = facts.last_coat
    assert last is not None
    return end_state(facts, MORNING + hours * HOUR, fate(given, last))


# ------------------------------------------------------------------ without a coat


def test_an_end_without_a_coat_is_bare_whatever_the_weather() -> None:
    assert end_state(end(), MORNING, None) == EndState("bare")


@pytest.mark.parametrize("facts", [{"checks": "hairline"}, {"checks": "open"}, {"face": "cracked"}])
def test_an_end_without_a_coat_that_has_cracked_is_cracked(facts: dict[str, Any]) -> None:
    assert end_state(end(**facts), MORNING, None).state == "opened"


# ------------------------------------------------------------------ what the weather tells


def test_a_coat_in_mild_dry_weather_is_milky_and_then_by_the_weather_one_coat() -> None:
    mild = weather(96, air_c=12.0, humidity=55.0)
    told = fate(mild)
    assert told.touch_dry is not None
    assert told.dry is not None
    assert MORNING < told.touch_dry < told.dry
    wet, dry = state_at(0.5, mild), end_state(end(coat()), told.dry, told)
    assert (wet.state, wet.known, wet.layers) == ("wet", True, 0)
    assert (dry.state, dry.known, dry.seen, dry.layers) == ("coated", False, False, 1)


def test_the_second_coat_makes_an_end_sealed_and_until_it_is_clear_one_layer_protects() -> None:
    mild = weather(120, air_c=12.0, humidity=55.0)
    both = end(coat(START), coat(layer=2))
    wet = state_at(0.5, mild, both)
    assert (wet.state, wet.layers) == ("wet", 1)
    dry = state_at(96.0, mild, both)
    assert (dry.state, dry.layers) == ("sealed", 2)


def test_the_second_coat_is_thinner_and_dries_sooner_than_a_first_one_laid_with_it() -> None:
    mild = weather(96, air_c=10.0, humidity=70.0)
    place, coating = around(mild), emulsion()
    first, second = coat(), coat(layer=2)
    fates = fates_of_coats(place, coating, rules(coating), [first, second], REACHED)
    assert fates[second].touch_dry is not None
    assert fates[first].touch_dry is not None
    assert fates[second].touch_dry < fates[first].touch_dry


def test_coats_of_the_same_quarter_hour_share_one_fate() -> None:
    place, coating = around(weather(72)), emulsion()
    one, two = coat(), coat(MORNING + timedelta(minutes=9))
    fates = fates_of_coats(place, coating, rules(coating), [one, two], REACHED)
    assert fates[one] == fates[two]


def test_frost_before_it_is_past_frost_spoils_a_coat_and_says_when() -> None:
    cold = weather(96, air_c=by_day(-4.0, 11.0), humidity=90.0, wind=0.5, cloud=0.0)
    told = fate(cold)
    assert told.chance is not None
    assert told.chance < 0.5
    assert told.danger == "frost_on_face"
    assert told.danger_at is not None
    assert MORNING < told.danger_at < MORNING + 24 * HOUR
    before = end_state(end(coat()), told.danger_at - HOUR, told)
    after = end_state(end(coat()), told.danger_at + HOUR, told)
    assert before.state == "wet"
    assert (after.state, after.known, after.why) == ("spoiled", False, "frost_on_face")


def test_rain_before_it_takes_rain_spoils_a_coat() -> None:
    shower = weather(72, air_c=8.0, humidity=80.0, rain=at_hours(0.0, h12=1.0))
    told = fate(shower)
    assert (told.danger, told.danger_at) == ("rain_before_it_holds", START + 12 * HOUR)
    assert state_at(3.0, shower).state == "spoiled"


def test_under_a_roof_the_same_rain_does_not_reach_the_coat() -> None:
    shower = weather(72, air_c=8.0, humidity=80.0, rain=at_hours(0.0, h12=1.0))
    told = fate(shower, roofed=True)
    assert told.danger is None
    assert told.chance is not None
    assert told.chance > 0.5


def test_rain_after_the_coat_takes_rain_does_no_harm() -> None:
    late = weather(96, air_c=14.0, humidity=45.0, rain=at_hours(0.0, h60=3.0))
    assert fate(late).danger is None


def test_rain_that_fell_before_the_coat_does_no_harm() -> None:
    early = weather(96, air_c=14.0, humidity=45.0, rain=at_hours(0.0, h5=3.0))
    assert fate(early).danger is None


def test_a_yard_that_switches_the_frost_rule_off_hears_nothing_of_frost() -> None:
    cold = weather(96, air_c=by_day(-6.0, 7.0), humidity=90.0, wind=0.5, cloud=0.0)
    coating = emulsion()
    place = around(cold)
    off = rules(coating, frost_on_face=RuleChange(on=False))
    one = coat()
    assert fates_of_coats(place, coating, off, [one], REACHED)[one].danger != "frost_on_face"


def test_the_share_of_members_in_which_the_coat_is_spoiled_lowers_its_chance() -> None:
    dry = weather(72, air_c=9.0, humidity=75.0)
    wet = weather(72, air_c=9.0, humidity=75.0, rain=at_hours(0.0, h12=1.0))
    chances = [fate(exactly(stacked(*([dry] * k + [wet] * (8 - k))))).chance for k in (8, 6, 4, 2, 0)]
    assert chances == pytest.approx([8.5 / 9, 6.5 / 9, 4.5 / 9, 2.5 / 9, 0.5 / 9])


def test_a_chance_is_never_0_or_1() -> None:
    for given in (weather(72, air_c=20.0, humidity=40.0), weather(72, air_c=-10.0)):
        chance = fate(given).chance
        assert chance is not None
        assert 0.0 < chance < 1.0


# ------------------------------------------------------------------ unknown hours


@pytest.mark.parametrize("hours", [-30.0, 100.0])
def test_a_coat_outside_the_weather_at_hand_stays_milky_and_unknown(hours: float) -> None:
    facts = end(coat(START + hours * HOUR))
    told = fate(weather(72), facts.last_coat)
    assert told == Fate(None)
    state = end_state(facts, START + 200 * HOUR, told)
    assert (state.state, state.known) == ("wet", False)


@pytest.mark.parametrize("names", [("air_c",), ("dew_point_c",), ("wind_ms",), ("rain_mm",)])
def test_a_coat_whose_hours_are_unknown_stays_milky_and_unknown(names: tuple[str, ...]) -> None:
    gap = unknown_in(weather(96, air_c=10.0, humidity=70.0), 11, 15, *names)
    state = state_at(60.0, gap)
    assert (state.state, state.known) == ("wet", False)


def test_without_any_weather_a_coat_stays_milky_and_unknown() -> None:
    state = end_state(end(coat()), MORNING + 200 * HOUR, None)
    assert (state.state, state.known, state.fate) == ("wet", False, None)


def test_what_is_unknown_in_few_members_does_not_hide_the_fate() -> None:
    good = weather(72, air_c=14.0, humidity=45.0)
    members = exactly(stacked(*[good] * 20, unknown_in(good, 12, 16, "rain_mm")))
    assert fate(members).chance is not None
    half = exactly(stacked(good, unknown_in(good, 12, 16, "rain_mm")))
    assert fate(half).chance is None


# ------------------------------------------------------------------ a look beats the weather


def test_a_look_beats_the_prediction_that_it_is_spoiled() -> None:
    shower = weather(72, air_c=8.0, humidity=80.0, rain=at_hours(0.0, h12=1.0))
    assert state_at(30.0, shower).state == "spoiled"
    seen = state_at(30.0, shower, end(coat(), looks=(look("clear"),)))
    assert (seen.state, seen.known, seen.seen, seen.why) == ("coated", True, True, "seen clear")


def test_a_look_beats_the_prediction_that_it_is_clear() -> None:
    mild = weather(96, air_c=12.0, humidity=55.0)
    milky = state_at(60.0, mild, end(coat(), looks=(look("milky", MORNING + 55 * HOUR),)))
    assert (milky.state, milky.known, milky.seen) == ("wet", True, True)
    bad = state_at(60.0, mild, end(coat(), looks=(look("spoiled"),)))
    assert (bad.state, bad.known) == ("spoiled", True)


def test_seen_milky_before_the_weather_had_it_dry_it_is_dry_when_the_weather_says_so() -> None:
    mild = weather(96, air_c=12.0, humidity=55.0)
    state = state_at(80.0, mild, end(coat(), looks=(look("milky", MORNING + HOUR),)))
    assert (state.state, state.known) == ("coated", False)


def test_a_look_makes_the_unknown_known() -> None:
    facts = end(coat(), looks=(look("milky"),))
    assert end_state(facts, MORNING + 30 * HOUR, Fate(None)).known
    facts = end(coat(), looks=(look("clear"),))
    assert end_state(facts, MORNING + 30 * HOUR, None).state == "coated"


def test_a_look_before_the_coat_says_nothing_of_it() -> None:
    facts = end(coat(), looks=(look("clear", MORNING - HOUR),))
    assert end_state(facts, MORNING + HOUR, None).state == "wet"


def test_a_look_at_checks_only_says_nothing_of_the_film() -> None:
    facts = end(coat(), looks=(look("checks", checks="hairline"),))
    assert end_state(facts, MORNING + 30 * HOUR, None).state == "wet"


def test_skips_leave_the_end_coated_with_a_touch_up_due() -> None:
    for facts in (end(coat(), looks=(look("skips"),)), end(coat(part=True), looks=(look("clear"),))):
        state = end_state(facts, MORNING + 30 * HOUR, None)
        assert (state.state, state.touch_up, state.layers) == ("coated", True, 1)
    assert not end_state(end(coat(), looks=(look("clear"),)), MORNING, None).touch_up


def test_a_coat_that_was_told_in_part_wants_its_touch_up_by_the_weather_too() -> None:
    state = state_at(80.0, weather(96, air_c=12.0, humidity=55.0), end(coat(part=True)))
    assert (state.state, state.touch_up) == ("coated", True)


def test_while_a_touch_up_is_milky_the_coat_under_it_protects() -> None:
    facts = end(coat(START, part=True), coat(layer=1))
    assert state_at(0.5, weather(96), facts).layers == 1


def test_a_spoiled_second_coat_leaves_the_first_one() -> None:
    facts = end(coat(START), coat(layer=2, spoiled=True), looks=(look("spoiled"),))
    state = end_state(facts, MORNING + 30 * HOUR, None)
    assert (state.state, state.layers) == ("spoiled", 1)


def test_the_milestones_of_a_fate_come_in_the_order_of_drying() -> None:
    told = fate(weather(120, air_c=by_day(4.0, 12.0), humidity=70.0))
    assert told.touch_dry is not None
    assert told.rain_safe is not None
    assert told.frost_safe is not None
    assert told.dry is not None
    assert MORNING < told.touch_dry <= told.frost_safe <= told.dry
    assert told.rain_safe <= told.dry
    steps = np.array([(m - MORNING) / HOUR for m in (told.touch_dry, told.dry)])
    assert (steps > 0.25).all()


def test_a_data_sheet_whose_film_freezes_sooner_is_held_against_the_same_night() -> None:
    chilly = weather(96, air_c=by_day(1.5, 7.0), humidity=88.0, wind=2.0)
    assert fate(chilly).danger is None
    assert fate(chilly, freezes_at_c=2.0).danger == "frost_on_face"
