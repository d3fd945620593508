"""Every shipped rule breaks where it should and passes where it should; unknown is a third answer."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from weather_samples import (
    always_open,
    around,
    at_hours,
    by_day,
    emulsion,
    exposure,
    stacked,
    unknown_in,
    weather,
)

from scheduler.coating.face import Exposure
from scheduler.coating.film import Milestones, Surroundings, step_film
from scheduler.coating.product import Coating
from scheduler.rules.engine import BREAK, PASS, UNKNOWN, Finding, Findings, Series, judge, series_of
from scheduler.rules.hours import Openness
from scheduler.rules.rule import Rule, rules_of
from scheduler.settings import RuleChange, rule_specs
from scheduler.weather.series import Weather

START = 48  # hour at which the coat is brushed on, two days into each weather
WORDS = {PASS: "pass", BREAK: "break", UNKNOWN: "unknown"}


def findings(
    given: Weather,
    *,
    start: float = START,
    end: Exposure | None = None,
    open_: Openness | None = None,
    coat: Coating | None = None,
    method: str = "brush",
    **changes: dict[str, Any],
) -> Findings:
    place = around(given, end)
    coat = coat or emulsion()
    index = np.array([round(start * 4)])
    changed = {name: RuleChange.model_validate(change) for name, change in changes.items()}
    rules = rules_of(rule_specs(), changed, coat, method)
    run = step_film(place, coat, index)
    return judge(
        rules,
        series_of(place, open_ or always_open(place.fine.steps)),
        place,
        run.milestones,
        index,
        1,
        place.fine.rain_unknown,
    )


def told(name: str, given: Weather, **more: Any) -> str:
    """What a rule says of the first member: pass, break, unknown, or absent."""
    found = {f.rule.name: f for f in findings(given, **more).found}
    return WORDS[int(found[name].outcome[0, 0])] if name in found else "absent"


def broken_at(name: str, given: Weather, **more: Any) -> float:
    """Hours from the start to the breach."""
    found = {f.rule.name: f for f in findings(given, **more).found}
    return float(found[name].when[0, 0]) / 4.0 - START


def fair(hours: int = 120, **more: Any) -> Weather:
    return weather(hours, **more)


def open_with(**constant: float) -> Openness:
    steps = 120 * 4
    return Openness(np.full(steps, constant.get("light", 600.0)), np.full(steps, constant.get("hands", 1.0)))


# ------------------------------------------------------------------ the shipped rules, one by one


@dataclass(frozen=True)
class Sides:
    """Weathers (or other conditions) on both sides of a rule."""

    breaks: dict[str, Any]
    passes: dict[str, Any]


CASES: dict[str, Sides] = {
    "daylight": Sides({"open_": open_with(light=29.0)}, {"open_": open_with(light=31.0)}),
    "hands": Sides({"open_": open_with(hands=0.0)}, {"open_": open_with(hands=1.0)}),
    "face_wet": Sides(
        {"given": fair(rain=at_hours(0.0, h47=1.0))}, {"given": fair(rain=at_hours(0.0, h20=1.0))}
    ),
    "face_frosty": Sides({"given": fair(air_c=1.0)}, {"given": fair(air_c=4.0)}),
    "too_cold_to_brush": Sides({"given": fair(air_c=4.0)}, {"given": fair(air_c=6.0)}),
    "cold_log_sweats": Sides(
        {"given": fair(air_c=lambda h: np.where(h < 46, -5.0, 9.0), humidity=95.0)}, {"given": fair()}
    ),
    "frost_on_face": Sides(
        {"given": fair(air_c=by_day(-2.0, 9.0, 1.0), humidity=85.0, wind=1.0)},
        {"given": fair(air_c=by_day(3.0, 9.0, 1.0), humidity=85.0, wind=1.0)},
    ),
    "rain_before_it_holds": Sides(
        {"given": fair(rain=at_hours(0.0, h50=0.3))}, {"given": fair(rain=at_hours(0.0, h50=0.1, h90=5.0))}
    ),
    "storm": Sides({"given": fair(gust=17.5)}, {"given": fair(gust=17.0)}),
    "thunder": Sides({"given": fair(code=95.0)}, {"given": fair(code=82.0)}),
    "wind_for_spraying": Sides(
        {"given": fair(gust=8.5), "method": "spray"}, {"given": fair(gust=7.5), "method": "spray"}
    ),
    "dew_margin": Sides({"given": fair(humidity=93.0, wind=1.0)}, {"given": fair(humidity=60.0)}),
    "slow_to_dry": Sides(
        {"given": fair(24 * 10, air_c=3.0, humidity=92.0, wind=0.5)}, {"given": fair(24 * 10)}
    ),
    "hot_face": Sides({"given": fair(air_c=37.0, humidity=35.0)}, {"given": fair(air_c=33.0)}),
    "very_dry_air": Sides({"given": fair(humidity=18.0)}, {"given": fair(humidity=22.0)}),
}


def test_every_shipped_rule_is_tried_on_both_sides() -> None:
    assert set(CASES) == set(rule_specs())


@pytest.mark.parametrize("name", CASES)
def test_a_rule_breaks_and_passes_where_it_should(name: str) -> None:
    bad, good = ({"given": fair(), **side} for side in (CASES[name].breaks, CASES[name].passes))
    assert told(name, bad.pop("given"), **bad) == "break"
    assert told(name, good.pop("given"), **good) == "pass"


def test_in_fair_weather_every_rule_passes() -> None:
    found = findings(fair(24 * 8, code=3.0), method="spray", start=START)
    assert {f.rule.name: WORDS[int(f.outcome[0, 0])] for f in found.found} == dict.fromkeys(
        rule_specs(), "pass"
    )
    assert found.outcome()[0, 0] == PASS


def test_the_breach_is_told_with_its_hour() -> None:
    assert broken_at("rain_before_it_holds", fair(rain=at_hours(0.0, h51=1.0, h52=1.0))) == 3.0
    cold = fair(air_c=lambda h: np.where(h < 52, 8.0, -3.0), humidity=85.0, wind=1.0)
    assert 4.0 < broken_at("frost_on_face", cold) < 8.0  # the air falls in the fourth hour, the log holds on
    assert broken_at("storm", fair()) == np.inf


def test_frost_after_the_coat_is_past_it_does_no_harm() -> None:
    late = fair(air_c=lambda h: np.where(h < 56, 14.0, -6.0), humidity=50.0, wind=5.0)
    assert told("frost_on_face", late) == "pass"
    assert told("frost_on_face", late, start=54) == "break"


def test_a_clear_calm_night_freezes_a_coat_that_the_air_would_not() -> None:
    night = {"air_c": by_day(1.5, 7.0), "humidity": 80.0, "wind": 0.8}
    assert told("frost_on_face", fair(cloud=0.0, **night), start=START + 15) == "break"
    assert told("frost_on_face", fair(cloud=1.0, **night), start=START + 15) == "pass"
    assert (
        told("frost_on_face", fair(cloud=0.0, **night), start=START + 15, end=exposure(roofed=True)) == "pass"
    )


def test_the_product_moves_the_limits() -> None:
    assert told("too_cold_to_brush", fair(air_c=4.0), coat=emulsion(least_application_c=2.0)) == "pass"
    cool = fair(air_c=by_day(-2.0, 9.0, 1.0), humidity=85.0, wind=1.0)
    assert told("frost_on_face", cool) == "break"
    assert told("frost_on_face", cool, coat=emulsion(freezes_at_c=-3.0)) == "pass"


def test_a_roofed_place_ignores_rain() -> None:
    wet = fair(rain=1.0)
    assert told("rain_before_it_holds", wet) == "break"
    assert told("rain_before_it_holds", wet, end=exposure(roofed=True)) == "absent"
    assert told("face_wet", wet, end=exposure(roofed=True)) == "pass"
    assert findings(wet, end=exposure(roofed=True)).outcome()[0, 0] == PASS


def test_a_changed_rule_a_rule_switched_off_and_an_added_one_hold_in_the_engine() -> None:
    gusty = fair(gust=12.0)
    assert told("storm", gusty) == "pass"
    assert told("storm", gusty, storm={"above": 10.0}) == "break"
    assert told("storm", gusty, storm={"on": False}) == "absent"
    own = {"quantity": "cloud_pct", "above": 90.0, "stretch": "until dry", "breach": "stop"}
    assert told("grey", gusty, grey=own) == "break"
    assert told("grey", replace(gusty, cloud=gusty.cloud * 0.5), grey=own) == "pass"
    assert findings(gusty, grey=own).outcome()[0, 0] == BREAK


def test_a_doubting_rule_never_stops_a_coat() -> None:
    damp = fair(24 * 8, humidity=93.0)
    assert told("dew_margin", damp) == "break"
    assert findings(damp).outcome()[0, 0] == PASS
    assert findings(damp, dew_margin={"breach": "stop"}).outcome()[0, 0] == BREAK


def test_a_breach_in_one_member_leaves_the_others_alone() -> None:
    found = findings(stacked(fair(), fair(rain=at_hours(0.0, h50=1.0)), fair()))
    assert found.outcome()[:, 0].tolist() == [PASS, BREAK, PASS]
    rain = next(f for f in found.found if f.rule.name == "rain_before_it_holds")
    assert rain.share() == pytest.approx(1 / 3)


# ------------------------------------------------------------------ unknown


def one_rule(**change: Any) -> Rule:
    """A stopping rule made for the test: the air below 0 °C until dry, where nothing else is said."""
    shipped = rules_of(rule_specs(), {}, emulsion(), "brush")[0]
    own = {
        "name": "own",
        "quantity": "air_c",
        "limit": 0.0,
        "below": True,
        "unit": "°C",
        "stretch": "until dry",
    }
    plain = {"stops": True, "sky": False, "when_missing": "unknown", "forbids_seal": False}
    return replace(shipped, **{**own, **plain, **change})


STEPS = 96


def bench() -> Surroundings:
    """A known, dull day; the quantities are put in by hand."""
    return around(weather(24))


def asked(
    values: list[float] | np.ndarray,
    dry: float,
    start: int = 10,
    place: Surroundings | None = None,
    **rule: Any,
) -> Finding:
    place = place or bench()
    line = np.full((1, STEPS), 5.0)
    line[0, : len(values)] = values
    far = np.array([[dry]])
    return judge(
        [one_rule(**rule)],
        {"air_c": Series(line), "hours_to_dry": Series(None), "weather_code": Series(None)},
        place,
        Milestones(far, far, far, far),
        np.array([start]),
        2,
        np.zeros((1, STEPS), bool),
    ).found[0]


def line(**at: float) -> np.ndarray:
    out = np.full(STEPS, 5.0)
    for name, value in at.items():
        out[int(name.removeprefix("k"))] = value
    return out


@pytest.mark.parametrize(
    ("values", "dry", "says", "why"),
    [
        (line(), 30.0, PASS, "nothing happens"),
        (line(k20=-1.0), 30.0, BREAK, "a known breach inside"),
        (line(k20=-1.0), 20.0, PASS, "a breach at the moment of the milestone"),
        (line(k20=-1.0), 20.3, BREAK, "a breach in the step in which the milestone falls"),
        (line(k9=-1.0), 30.0, PASS, "a breach before the start"),
        (line(k20=0.0), 30.0, PASS, "the limit itself"),
        (line(k20=np.nan), 30.0, UNKNOWN, "an unknown step inside"),
        (line(k40=np.nan), 30.0, PASS, "an unknown step after the milestone"),
        (line(k20=-1.0, k25=np.nan), 30.0, BREAK, "an earlier known breach"),
        (line(k20=np.nan, k25=-1.0), 30.0, UNKNOWN, "a breach behind an unknown step"),
        (line(), np.inf, UNKNOWN, "a milestone behind the end of the data"),
        (line(k80=-1.0), np.inf, BREAK, "a breach before the end of the data"),
        (line(), 96.0, PASS, "a milestone at the last moment of the data"),
        (line(), 96.2, UNKNOWN, "a milestone just behind it"),
    ],
    ids=lambda x: x if isinstance(x, str) else "",
)
def test_a_stretch_is_pass_break_or_unknown(values: np.ndarray, dry: float, says: int, why: str) -> None:
    assert asked(values, dry).outcome[0, 0] == says, why


def test_the_stretches_that_need_no_milestone_end_by_themselves() -> None:
    assert asked(line(k11=-1.0), np.inf, stretch="at start").outcome[0, 0] == PASS
    assert asked(line(k10=-1.0), np.inf, stretch="at start").outcome[0, 0] == BREAK
    assert asked(line(k11=-1.0), np.inf, stretch="while brushing").outcome[0, 0] == BREAK
    assert asked(line(k12=-1.0), np.inf, stretch="while brushing").outcome[0, 0] == PASS
    assert asked(line(k12=np.nan), np.inf, stretch="while brushing").outcome[0, 0] == PASS
    assert asked(line(), np.inf, start=95, stretch="while brushing").outcome[0, 0] == UNKNOWN


def test_a_limit_above_is_the_other_side() -> None:
    assert asked(line(k20=7.0), 30.0, below=False, limit=6.0).outcome[0, 0] == BREAK
    assert asked(line(k20=6.0), 30.0, below=False, limit=6.0).outcome[0, 0] == PASS


@pytest.mark.parametrize(("missing", "says"), [("unknown", UNKNOWN), ("skip", None)])
def test_a_quantity_that_nobody_offers_is_unknown_or_skipped_as_the_rule_says(
    missing: str, says: int | None
) -> None:
    rule = one_rule(quantity="weather_code", when_missing=missing)
    place = bench()
    ends = np.array([[30.0]])
    found = judge(
        [rule],
        {"weather_code": Series(None)},
        place,
        Milestones(ends, ends, ends, ends),
        np.array([10]),
        1,
        np.zeros((1, STEPS), bool),
    ).found
    assert [int(f.outcome[0, 0]) for f in found] == ([] if says is None else [says])


def test_a_milestone_behind_hours_nobody_knows_is_unknown_for_every_rule() -> None:
    """The clock stood still in them: the rule's own quantity may be known, the end of the stretch is not."""
    hidden = around(unknown_in(weather(24), 4, 6, "dew_point_c"))
    assert asked(line(), 40.0, place=hidden).outcome[0, 0] == UNKNOWN
    assert asked(line(k11=-1.0), 40.0, place=hidden).outcome[0, 0] == BREAK
    assert asked(line(), 11.5, place=hidden).outcome[0, 0] == PASS
    assert asked(line(), 40.0, start=25, place=hidden).outcome[0, 0] == PASS
    # Brushing itself asks for its own quantity alone.
    assert asked(line(), 40.0, start=16, place=hidden, stretch="while brushing").outcome[0, 0] == PASS


@pytest.mark.parametrize(
    ("dry", "says"), [(20.0, PASS), (60.0, BREAK), (np.inf, BREAK), (50.0, PASS)], ids=str
)
def test_slow_to_dry_counts_the_hours(dry: float, says: int) -> None:
    assert asked(line(), dry, quantity="hours_to_dry", below=False, limit=10.0).outcome[0, 0] == says


def test_slow_to_dry_is_unknown_where_the_data_end_or_break_off_first() -> None:
    slow = {"quantity": "hours_to_dry", "below": False, "limit": 30.0}
    assert asked(line(), np.inf, **slow).outcome[0, 0] == UNKNOWN
    hidden = around(unknown_in(weather(24), 4, 6, "wind_ms"))
    quick = {**slow, "limit": 10.0}
    assert asked(line(), 40.0, place=hidden, **quick).outcome[0, 0] == UNKNOWN
    assert asked(line(), 70.0, place=hidden, **quick).outcome[0, 0] == UNKNOWN
    assert asked(line(), 70.0, start=30, place=hidden, **quick).outcome[0, 0] == PASS


def test_two_missing_hours_of_rain_make_the_stretch_unknown_and_not_dry() -> None:
    gap = unknown_in(fair(), 50, 52, "rain_mm")
    assert told("rain_before_it_holds", gap) == "unknown"
    assert findings(gap).outcome()[0, 0] == UNKNOWN
    assert (
        told("rain_before_it_holds", unknown_in(fair(rain=at_hours(0.0, h49=1.0)), 50, 52, "rain_mm"))
        == "break"
    )
    assert told("rain_before_it_holds", unknown_in(fair(), 100, 102, "rain_mm")) == "pass"


def test_a_face_that_may_have_been_rained_on_is_unknown_at_start() -> None:
    gap = unknown_in(fair(wind=1.0, humidity=80.0), START - 2, START, "rain_mm")
    assert told("face_wet", gap) == "unknown"
    assert findings(gap).outcome()[0, 0] == UNKNOWN
    long_ago = unknown_in(fair(wind=4.0), 10, 12, "rain_mm")
    assert told("face_wet", long_ago) == "pass"


@pytest.mark.parametrize("name", ["air_c", "dew_point_c", "wind_ms"])
def test_unknown_air_makes_the_frost_rule_unknown(name: str) -> None:
    gap = unknown_in(fair(), 50, 53, name)
    assert told("frost_on_face", gap) == "unknown"
    assert findings(gap).outcome()[0, 0] == UNKNOWN


# ------------------------------------------------------------------ all rules together


def test_a_break_wins_over_unknown_and_unknown_over_pass() -> None:
    place = bench()
    ends = np.full((1, 3), 30.0)
    values = np.full((1, STEPS), 5.0)
    values[0, 40:42] = np.nan
    rules = [
        one_rule(name="a"),
        one_rule(name="b", limit=6.0, stretch="at start"),
        one_rule(name="c", stops=False),
    ]
    out = judge(
        [rules[0], rules[2]],
        {"air_c": Series(values)},
        place,
        Milestones(ends, ends, ends, ends + 20.0),
        np.array([10, 20, 45]),
        1,
        np.zeros((1, STEPS), bool),
    )
    assert out.outcome()[0].tolist() == [UNKNOWN, UNKNOWN, PASS]
    both = judge(
        rules[:2],
        {"air_c": Series(values)},
        place,
        Milestones(ends, ends, ends, ends + 20.0),
        np.array([10, 20, 45]),
        1,
        np.zeros((1, STEPS), bool),
    )
    assert both.outcome()[0].tolist() == [BREAK, BREAK, BREAK]


def test_only_the_calendar_closes_a_start() -> None:
    assert findings(fair(), open_=open_with(hands=0.0)).closed().tolist() == [True]
    assert findings(fair(), open_=open_with(light=5.0)).closed().tolist() == [True]
    assert findings(fair(rain=3.0)).closed().tolist() == [False]
    assert findings(fair(), hands={"breach": "doubt"}, open_=open_with(hands=0.0)).closed().tolist() == [
        False
    ]
