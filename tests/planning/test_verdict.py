"""The weather's word and the work's word: thresholds, order, places, and what is never said as a yes."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from typing import Any

import pytest
from command_line import fair
from weather_samples import START, at_hours, by_day, unknown_in, weather

from scheduler.planning import verdict
from scheduler.planning.jobs import Job
from scheduler.planning.outlook import Outlook
from scheduler.planning.verdict import (
    Age,
    Milestone,
    Morning,
    Reason,
    TimedSpan,
    age_of,
    examine_at,
    judge_place,
    morning,
    spans_of,
    stops_of,
)
from scheduler.settings import Place, Position, Yard, YardFile
from scheduler.weather.series import Weather
from scheduler.yard.facts import Register

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
AT = START + 53 * HOUR  # Monday 3 November, 6:00 in the yard
FRESH = Age(1.0, "fresh")
PLACES = (Place(name="lean-to", roofed=True), Place(name="cellar", roofed=True, frost_free=True))


def yard(**more: Any) -> YardFile:
    here = Yard(place=Position(lat=48.0, lon=8.2, altitude_m=500.0), zone="Europe/Berlin")
    return YardFile(yard=here, place=PLACES, **more)


def outlook(given: Weather, at: datetime = AT, **more: Any) -> Outlook:
    return Outlook(yard(**more), given.from_source(issued=at - HOUR), at)


@lru_cache(maxsize=1)
def good() -> Outlook:
    return outlook(fair(10))


@lru_cache(maxsize=1)
def raining() -> Outlook:
    """Rain from the early morning to the evening, every day."""
    wet = {f"h{n}": 1.0 for n in range(240) if 3 <= n % 24 < 18}
    return outlook(weather(240, air_c=by_day(8.0, 13.0), humidity=70.0, rain=at_hours(0.0, **wet)))


def job(tag: str = "H01", **facts: Any) -> Job:
    told: dict[str, Any] = {"due": AT - HOUR, "cause": 1, "minutes": 4.0}
    return Job(facts.pop("kind", "first_coat"), tag, "butt", **(told | facts))


def judged(given: Outlook, *jobs: Job, at: datetime = AT) -> Morning:
    return morning(Register(at), jobs, given, at, FRESH)


# ------------------------------------------------------------------ how old a forecast may be


@pytest.mark.parametrize(
    ("hours", "word"),
    [(0.0, "fresh"), (12.0, "fresh"), (12.1, "old"), (36.0, "old"), (36.1, "stale"), (-3.0, "fresh")],
)
def test_a_forecast_grows_old_and_stale(hours: float, word: str) -> None:
    age = age_of(AT - hours * HOUR, AT, 12.0, 36.0)
    assert age.word == word
    assert age.hours == pytest.approx(max(hours, 0.0))


def test_without_a_time_there_is_no_age() -> None:
    assert age_of(None, AT, 12.0, 36.0) == Age(None, "none")


# ------------------------------------------------------------------ from a chance to a word


def made(begin: timedelta, chance: float, *reasons: Reason) -> TimedSpan:
    start = AT + begin
    none = Milestone(None, None, None, None, None)
    return TimedSpan(start, start + 4 * HOUR, start, chance, none, reasons)


def doubting(share: float, *, forbids: bool) -> Reason:
    return Reason("hot_face", "doubt", "break", 36.0, 35.0, "°C", None, share, "", "", forbids_seal=forbids)


def word(monkeypatch: pytest.MonkeyPatch, *spans: TimedSpan, prized: bool = False) -> str:
    monkeypatch.setattr(verdict, "spans_of", lambda *_: spans)
    return judge_place(good(), None, False, prized).verdict


@pytest.mark.parametrize(
    ("chance", "prized", "expected"),
    [
        (0.80, False, "seal"),
        (0.79, False, "touch_and_go"),
        (0.50, False, "touch_and_go"),
        (0.49, False, "leave_it"),
        (0.49, True, "touch_and_go"),
        (0.40, True, "touch_and_go"),
        (0.39, True, "leave_it"),
    ],
)
def test_the_chance_of_today_decides_between_seal_touch_and_go_and_leave_it(
    monkeypatch: pytest.MonkeyPatch, chance: float, prized: bool, expected: str
) -> None:
    assert word(monkeypatch, made(3 * HOUR, chance), prized=prized) == expected


@pytest.mark.parametrize(
    ("share", "forbids", "expected"),
    [(0.5, True, "touch_and_go"), (0.4, True, "seal"), (0.9, False, "seal")],
)
def test_a_doubt_that_forbids_it_keeps_a_good_chance_from_seal(
    monkeypatch: pytest.MonkeyPatch, share: float, forbids: bool, expected: str
) -> None:
    assert word(monkeypatch, made(3 * HOUR, 0.95, doubting(share, forbids=forbids))) == expected


@pytest.mark.parametrize(
    ("hours", "chance", "expected"),
    [
        (27.0, 0.5, "prepare"),
        (48.0, 0.9, "prepare"),
        (27.0, 0.49, "leave_it"),
        (49.0, 0.9, "leave_it"),
    ],
)
def test_prepare_is_said_when_a_fair_span_begins_within_two_days(
    monkeypatch: pytest.MonkeyPatch, hours: float, chance: float, expected: str
) -> None:
    assert word(monkeypatch, made(hours * HOUR, chance)) == expected


def test_the_word_of_today_comes_before_the_word_of_tomorrow(monkeypatch: pytest.MonkeyPatch) -> None:
    tomorrow = made(27 * HOUR, 0.9)
    assert word(monkeypatch, made(3 * HOUR, 0.9), tomorrow) == "seal"
    assert word(monkeypatch, made(3 * HOUR, 0.6), tomorrow) == "touch_and_go"
    assert word(monkeypatch, made(3 * HOUR, 0.4), tomorrow) == "prepare"


def test_of_two_spans_today_the_better_one_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(verdict, "spans_of", lambda *_: (made(3 * HOUR, 0.5), made(8 * HOUR, 0.9)))
    found = judge_place(good(), None, False, False)
    assert (found.verdict, found.span and found.span.chance) == ("seal", 0.9)


def test_a_poor_span_does_not_hide_the_one_worth_preparing_for(monkeypatch: pytest.MonkeyPatch) -> None:
    poor, fair_one = made(27 * HOUR, 0.35), made(47 * HOUR, 0.9)
    assert word(monkeypatch, poor, fair_one) == "prepare"


# ------------------------------------------------------------------ weathers


def test_mild_dry_days_are_days_to_seal_with_milestones_in_order() -> None:
    found = judge_place(good(), None, False, False)
    assert found.verdict == "seal"
    assert found.span is not None
    s = found.span.milestones
    assert s.touch_dry is not None
    assert s.rain_safe is not None
    assert s.dry is not None
    assert s.second_coat is not None
    assert found.span.best < s.touch_dry < s.rain_safe < s.dry
    assert s.second_coat >= s.rain_safe
    assert found.span.sure_from is not None
    assert found.span.sure_until is not None
    assert found.span.start <= found.span.sure_from <= found.span.sure_until <= found.span.end


def test_rain_today_and_a_fair_tomorrow_is_a_day_to_prepare() -> None:
    wet = {f"h{n}": 2.0 for n in range(53, 68)}
    found = judged(outlook(fair(10, rain=at_hours(0.0, **wet))))
    assert found.verdict == "prepare"
    assert found.work.span is None
    assert found.work.next_span is not None
    assert found.work.next_span.start > AT + 18 * HOUR
    assert max(found.work.reasons, key=lambda r: r.share).rule in ("rain_before_it_holds", "face_wet")


def test_a_long_wet_time_is_left_and_the_first_fair_day_after_it_is_named() -> None:
    wet = {f"h{n}": 2.0 for n in range(53, 140)}
    found = judged(outlook(fair(10, rain=at_hours(0.0, **wet))))
    assert found.verdict == "leave_it"
    assert found.work.next_span is not None
    assert found.work.next_span.start > START + 140 * HOUR


def test_heat_is_a_doubt_that_keeps_midday_from_seal() -> None:
    hot = weather(
        240, air_c=by_day(26.0, 38.0), humidity=30.0, cloud=0.0, sun=by_day(-700.0, 900.0), wind=1.0
    )
    hot = replace(hot, sun_wm2=hot.sun_wm2 if hot.sun_wm2 is None else hot.sun_wm2.clip(0.0))
    noon = START + 60 * HOUR
    found = judge_place(outlook(hot, noon), None, False, False)
    assert found.verdict == "touch_and_go"
    assert found.span is not None
    assert found.span.chance >= 0.8
    assert any(reason.rule == "hot_face" and reason.share >= 0.5 for reason in found.reasons)


def test_hours_that_are_unknown_make_the_day_unknown_and_never_good() -> None:
    for name in ("air_c", "dew_point_c", "wind_ms", "rain_mm"):
        dark = unknown_in(fair(10), 53, 80, name)
        found = judged(outlook(dark))
        assert (found.verdict, found.work.span) == ("unknown", None), name


def test_a_forecast_that_ends_before_the_coat_takes_rain_is_unknown() -> None:
    assert judged(outlook(fair(10).between(START, AT + 8 * HOUR))).verdict == "unknown"


def test_an_early_known_breach_is_a_no_whatever_is_unknown_after_it() -> None:
    wet = {f"h{n}": 3.0 for n in range(53, 72)}
    dark = unknown_in(fair(10, rain=at_hours(0.0, **wet)), 76, 240, "rain_mm")
    found = judged(outlook(dark))
    assert found.verdict == "leave_it"
    assert found.work.span is None


def test_without_an_outlook_the_answer_is_unknown_and_what_is_due_stays_due() -> None:
    found = morning(Register(AT), [job()], None, AT, Age(None, "none"), "no network", [("H09", "butt")])
    assert (found.verdict, found.weather.verdict, found.unknown_why) == ("unknown", "unknown", "no network")
    assert (found.work.span, found.spans, found.stopped) == (None, (), ())
    assert [j.tag for j in found.due] == ["H01"]
    assert found.wet == (("H09", "butt"),)
    assert morning(Register(AT), [], None, AT, FRESH).unknown_why


# ------------------------------------------------------------------ weather and work, said apart


def test_with_nothing_due_the_weather_alone_decides() -> None:
    found = judged(good())
    assert (found.verdict, found.weather.verdict, found.due) == ("seal", "seal", ())
    assert found.work is found.weather
    assert judged(raining()).verdict == "leave_it"


def test_what_is_due_within_twelve_hours_counts_as_due_this_morning() -> None:
    found = judged(good(), job("NOW"), job("NOON", due=AT + 12 * HOUR), job("NIGHT", due=AT + 13 * HOUR))
    assert [j.tag for j in found.due] == ["NOW", "NOON"]


def test_an_optional_coat_waits_in_the_list_and_a_look_stands_apart() -> None:
    jobs = (job("A", optional=True, kind="second_coat"), job("B", kind="look"), job("C", kind="saw"))
    found = judged(good(), *jobs)
    assert found.due == ()
    assert [j.tag for j in found.later] == ["B", "C"]
    assert found.verdict == "seal"


def test_every_place_with_work_has_an_answer_of_its_own() -> None:
    found = judged(raining(), job("OUT"), job("IN", place="lean-to"))
    words = {(p.place, p.roofed): p.verdict for p in found.places}
    assert words == {(None, False): "leave_it", ("lean-to", False): "seal"}
    assert found.verdict == "seal"
    assert found.work.place == "lean-to"
    assert found.weather.verdict == "leave_it"
    assert [j.tag for j in found.now] == ["IN"]


def test_the_better_answer_outside_does_not_count_where_no_work_lies() -> None:
    found = judged(good(), job("IN", place="lean-to"))
    assert found.work.place == "lean-to"
    assert (None, False) not in {(p.place, p.roofed) for p in found.places}


def test_a_log_roofed_by_hand_and_one_in_a_roofed_place_each_count_once() -> None:
    jobs = (
        job("SHEET", roofed=True),
        job("SHEET2", roofed=True),
        job("LEAN", place="lean-to"),
        job("BOTH", place="lean-to", roofed=True),
        job("NOWHERE", place="a place that is gone from the yard file"),
    )
    found = judged(raining(), *jobs)
    words = [((p.place, p.roofed), p.verdict) for p in found.places]
    assert dict(words) == {(None, True): "seal", ("lean-to", False): "seal", (None, False): "leave_it"}
    assert len(words) == 3
    assert {j.tag for j in found.now} == {"SHEET", "SHEET2", "LEAN", "BOTH"}


def test_the_dearness_of_a_log_moves_the_word_only_where_it_lies(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(verdict, "spans_of", lambda *_: (made(3 * HOUR, 0.45),))
    found = judged(good(), job("DEAR", worth="prized", place="lean-to"), job("PLAIN"))
    assert {p.place: p.verdict for p in found.places} == {"lean-to": "touch_and_go", None: "leave_it"}
    assert found.weather.verdict == "leave_it", "the weather is told for an ordinary end"


# ------------------------------------------------------------------ spans and single starts


def test_a_shown_span_begins_and_ends_with_light_and_hands() -> None:
    zone = yard().zone
    for span in spans_of(good()):
        begin, end = span.start.astimezone(zone), span.end.astimezone(zone)
        assert begin.hour >= 9
        assert begin.date() == end.date()
        assert end.hour < 16
        assert span.start <= span.best <= span.end
        assert 0.3 <= span.chance < 1.0


def test_every_quarter_hour_is_either_in_a_span_or_stopped_by_something() -> None:
    spans, stops = spans_of(raining(), "lean-to"), stops_of(raining(), "lean-to")
    rows = sorted([(s.start, s.end + HOUR / 4) for s in spans] + [(s.start, s.end) for s in stops])
    assert rows[0][0] == AT
    for (_, end), (begin, _) in pairwise(rows):
        assert begin == end
    assert {stop.rule for stop in stops} <= {rule.name for rule in raining().rules} | {None}


def test_a_start_is_examined_rule_by_rule_with_its_numbers() -> None:
    when = AT + 29 * HOUR
    examined, milestones, reasons = examine_at(good(), when + timedelta(minutes=7))
    assert good().time_at(examined.start) == when
    assert examined.chance is not None
    assert examined.chance >= 0.8
    assert {r.rule for r in reasons} >= {"frost_on_face", "rain_before_it_holds", "too_cold_to_brush"}
    assert all(r.outcome == "pass" for r in reasons if r.breach == "stop")
    assert milestones.second_coat is not None
    assert milestones.second_coat >= when + 2 * HOUR


def test_a_data_sheet_that_wants_more_time_moves_the_second_coat() -> None:
    slow = outlook(fair(10), coating={"recoat_h": 30.0})
    when = AT + 29 * HOUR
    assert examine_at(slow, when)[1].second_coat == when + 30 * HOUR
