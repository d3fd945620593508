"""How the program speaks: chances, days, clock times and numbers in the person's own units and zone."""

from __future__ import annotations

import string
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.jobs import COATING_JOBS, Job
from scheduler.planning.verdict import Milestone, Reason, TimedSpan
from scheduler.rules.rule import UNITS
from scheduler.rules.spans import Examined
from scheduler.settings import rule_specs, species_table
from scheduler.views.starts import why_lines
from scheduler.views.wording import (
    JOB_WORDS,
    STATE_WORDS,
    VERDICT_WORDS,
    Wording,
    chance_words,
    first_upper,
    join,
    wrapped,
)

BERLIN = ZoneInfo("Europe/Berlin")
AT = datetime(2025, 11, 4, 5, tzinfo=UTC)  # Tuesday 4 November, 6:00 in the yard
METRIC, US = Wording(BERLIN, "metric", AT), Wording(BERLIN, "us", AT)


def local(text: str) -> datetime:
    """ "4 20:40" of that November on the yard's clock, as UTC."""
    day, clock = text.split()
    hour, minute = clock.split(":")
    return datetime(2025, 11, int(day), int(hour), int(minute), tzinfo=BERLIN).astimezone(UTC)


# ------------------------------------------------------------------ chances


@given(st.floats(0.0, 1.0))
def test_a_chance_is_told_in_whole_tenths_never_below_1_and_never_above_9(chance: float) -> None:
    words = chance_words(chance)
    assert words in {f"about {n} in 10" for n in range(1, 10)}


@pytest.mark.parametrize(
    ("chance", "n"), [(0.0, 1), (0.04, 1), (0.26, 3), (0.74, 7), (0.84, 8), (0.97, 9), (1.0, 9)]
)
def test_chances_are_rounded_to_the_nearest_tenth(chance: float, n: int) -> None:
    assert chance_words(chance) == f"about {n} in 10"


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_better_chance_is_never_told_as_a_worse_one(one: float, two: float) -> None:
    low, high = sorted((one, two))
    assert chance_words(low) <= chance_words(high)


# ------------------------------------------------------------------ days and clock times


@pytest.mark.parametrize(
    ("when", "day", "at", "stamp"),
    [
        ("4 9:40", "today", "at 9:40", "today 9:40"),
        ("5 9:40", "tomorrow", "tomorrow at 9:40", "tomorrow 9:40"),
        ("3 9:40", "yesterday", "yesterday at 9:40", "yesterday 9:40"),
        ("6 9:40", "Thu 6", "Thu at 9:40", "Thu 9:40"),
        ("10 9:40", "Mon 10", "Mon at 9:40", "Mon 9:40"),
        ("11 9:40", "Tue 11 Nov", "Tue 11 Nov at 9:40", "Tue 11 Nov 9:40"),
        ("1 9:40", "Sat 1", "Sat at 9:40", "Sat 9:40"),
    ],
)
def test_a_day_is_named_as_near_as_it_is(when: str, day: str, at: str, stamp: str) -> None:
    assert METRIC.day(local(when)) == day
    assert METRIC.at_time(local(when)) == at
    assert METRIC.when(local(when)) == stamp


def test_a_day_more_than_a_week_away_has_its_month_in_both_directions() -> None:
    assert METRIC.day(AT - timedelta(days=11)) == "Fri 24 Oct"
    assert METRIC.day(AT + timedelta(days=30)) == "Thu 4 Dec"


def test_a_day_is_one_of_the_yard_not_of_greenwich() -> None:
    just_after_midnight = datetime(2025, 11, 4, 23, 30, tzinfo=UTC)
    assert METRIC.day(just_after_midnight) == "tomorrow"
    there = Wording(ZoneInfo("Pacific/Auckland"), "metric", AT)
    assert there.day(datetime(2025, 11, 4, 11, 30, tzinfo=UTC)) == "tomorrow"


@pytest.mark.parametrize(
    ("time", "metric", "us"),
    [
        ("4 9:00", "9:00", "9 am"),
        ("4 9:07", "9:05", "9:05 am"),
        ("4 9:08", "9:10", "9:10 am"),
        ("4 12:00", "12:00", "noon"),
        ("4 13:30", "13:30", "1:30 pm"),
        ("4 23:59", "0:00", "midnight"),
    ],
)
def test_clock_times_are_rounded_to_five_minutes(time: str, metric: str, us: str) -> None:
    assert METRIC.clock(local(time)) == metric
    assert US.clock(local(time)) == us


def test_a_time_that_rounds_to_midnight_belongs_to_the_day_that_begins() -> None:
    assert METRIC.when(local("4 23:59")) == "tomorrow 0:00"
    assert METRIC.at_time(local("4 23:57")) == "at 23:55"


@pytest.mark.parametrize(
    ("time", "said"),
    [
        ("4 20:00", "20:00"),
        ("4 20:01", "20:30"),
        ("4 23:40", "tomorrow 0:00"),
        ("5 10:10", "tomorrow 10:30"),
        ("7 10:10", "Fri 10:30"),
    ],
)
def test_what_a_coat_reaches_is_told_by_the_half_hour_after_it(time: str, said: str) -> None:
    assert METRIC.by(local(time)) == said


@given(st.integers(0, 14 * 24 * 3600))
def test_a_milestone_is_never_told_earlier_than_it_is(seconds: int) -> None:
    when = AT + timedelta(seconds=seconds)
    half = METRIC._half(when)
    assert timedelta(0) <= half - when < timedelta(minutes=30)
    assert half.minute in (0, 30)


def test_in_a_line_about_a_day_that_day_is_not_said_again() -> None:
    thursday = METRIC.day_of(local("6 9:00"))
    assert METRIC.by_on(local("6 18:10"), thursday) == "18:30"
    assert METRIC.by_on(local("7 18:10"), thursday) == "Fri 18:30"
    assert US.by_on(local("7 18:10"), thursday) == "Fri 6:30 pm"


def test_the_hours_of_the_brush_are_told_short() -> None:
    assert METRIC.span(local("4 9:00"), local("4 13:00")) == "9 to 13"
    assert METRIC.span(local("4 10:00"), local("4 11:30")) == "10 to 11:30"
    assert US.span(local("4 9:00"), local("4 13:00")) == "9 to 1"
    assert METRIC.span(local("4 15:45"), local("4 15:45")) == "at 15:45"


def span(**facts: datetime | None) -> TimedSpan:
    none = Milestone(None, None, None, None, None)
    return TimedSpan(local("4 9:00"), local("4 15:00"), local("4 9:00"), 0.9, none, (), **facts)


def test_the_brush_is_told_the_hours_of_a_plain_yes_and_else_all_of_them() -> None:
    assert METRIC.brush(span()) == "9 to 15"
    assert METRIC.brush(span(sure_from=local("4 10:00"), sure_until=local("4 12:00"))) == "10 to 12"
    assert METRIC.brush(span(sure_from=local("4 10:00"), sure_until=local("4 10:00"))) == "9 to 15"


def test_milestones_stand_in_the_order_of_time_and_those_not_reached_are_left_out() -> None:
    reached = Milestone(local("4 13:10"), local("5 8:00"), local("4 15:00"), None, None)
    told = TimedSpan(local("4 9:00"), local("4 15:00"), local("4 9:00"), 0.9, reached, ())
    assert METRIC.milestones(told) == [
        "dry to touch by 13:30",
        "past frost by 15:00",
        "takes rain by tomorrow 8:00",
    ]


# ------------------------------------------------------------------ values


@pytest.mark.parametrize(
    ("value", "unit", "metric", "us"),
    [
        (4.4, "°C", "4.4 °C", "40 °F"),
        (-0.04, "°C", "0 °C", "31.9 °F"),
        (3.0, "K", "3.0 °C", "5.4 °F"),
        (-0.7, "K", "0.7 °C", "1.3 °F"),  # a size: which is colder stands in the sentence
        (2.6, "mm", "2.6 mm", "0.1 in"),
        (17.2, "m/s", "17 m/s", "38 mph"),
        (96.0, "h", "96 h", "96 h"),
        (30.0, "min", "30 min", "30 min"),
        (300.0, "min", "5 h", "5 h"),
        (20.4, "%", "20 %", "20 %"),
        (95.0, "code", "95", "95"),
        (None, "°C", "unknown", "unknown"),
    ],
)
def test_a_number_of_a_rule_is_told_in_the_persons_units(
    value: float | None, unit: str, metric: str, us: str
) -> None:
    assert METRIC.value(value, unit) == metric
    assert US.value(value, unit) == us


def test_every_unit_of_a_rule_can_be_told() -> None:
    for unit in set(UNITS.values()):
        for wording in (METRIC, US):
            assert wording.value(12.5, unit)


@pytest.mark.parametrize(
    ("c", "metric", "us"),
    [
        (5.2, "+5", "41"),
        (-2.4, "-2", "28"),
        (0.5, "+0.5", "32.9"),
        (-0.3, "-0.3", "31.5"),
        (0.02, "0", "32.0"),
        (-0.02, "0", "32.0"),
        (0.96, "+1", "34"),
    ],
)
def test_a_temperature_of_the_week_is_whole_but_near_freezing(c: float, metric: str, us: str) -> None:
    assert METRIC.whole(c) == metric
    assert US.whole(c) == us


def reason(name: str, **facts: object) -> Reason:
    spec = rule_specs()[name]
    limit = spec.below if spec.below is not None else spec.above
    told = {"value": 1.5, "typical": 6.5, "at": local("4 21:30"), "outcome": "break"} | facts
    return Reason(
        name,
        spec.breach,
        str(told["outcome"]),
        told["value"],  # type: ignore[arg-type]
        limit or 0.0,
        spec.unit,
        told["at"],  # type: ignore[arg-type]
        1.0,
        spec.says,
        spec.holds,
        spec.short,
        typical=told["typical"],  # type: ignore[arg-type]
    )


def test_a_rule_that_breaks_is_told_with_the_value_that_breaks_it_and_when() -> None:
    frost = reason("frost_on_face", value=-2.0)
    assert METRIC.reason(frost) == "frost on the wood at 21:30, -2 °C, while the coat is still milky"
    assert US.reason(frost) == "frost on the wood at 9:30 pm, 28 °F, while the coat is still milky"
    assert METRIC.reason(frost, broken=False) == "coldest on the wood while milky 6.5 °C"
    assert METRIC.reason(reason("frost_on_face", outcome="pass")).startswith("coldest on the wood")


def test_a_log_colder_than_the_dew_point_is_told_by_how_much_without_a_sign() -> None:
    sweats = METRIC.reason(reason("cold_log_sweats", value=-1.2))
    assert sweats == "the log is 1.2 °C colder than the dew point, so it sweats"


@pytest.mark.parametrize("name", rule_specs())
@pytest.mark.parametrize("broken", [True, False])
def test_every_shipped_rule_makes_a_sentence_in_both_units(name: str, broken: bool) -> None:
    spec = rule_specs()[name]
    for template in (spec.says, spec.holds):
        fields = {field for _, field, _, _ in string.Formatter().parse(template) if field}
        assert fields <= {"value", "limit", "unit", "at"}
    for wording in (METRIC, US):
        for facts in ({}, {"value": None, "typical": None, "at": None}):
            text = wording.reason(reason(name, **facts), broken=broken)
            assert "{" not in text
            assert "None" not in text
            assert "!" not in text
            assert not text.endswith("."), "the sentence around it ends"
            assert text.count(":") - text.count(":30") <= 1, "one colon is enough"
    assert 0 < len(spec.short) <= 43, "fits behind Leave it today"


# ------------------------------------------------------------------ words


def test_every_verdict_state_and_job_has_its_word() -> None:
    assert set(VERDICT_WORDS) == {"seal", "touch_and_go", "prepare", "leave_it", "unknown"}
    assert set(STATE_WORDS) == {"bare", "opened", "wet", "coated", "sealed", "spoiled"}
    assert STATE_WORDS["wet"] == "milky"
    assert STATE_WORDS["opened"] == "cracked"
    assert set(COATING_JOBS) <= set(JOB_WORDS)


def test_a_job_is_told_with_its_ends_and_with_two_people_where_it_needs_them() -> None:
    cut = Job("cut_and_coat", "H02", "butt", AT, 1, people=2)
    assert (
        METRIC.job(cut, ["butt", "top"]) == "cut back to clean wood, coat at once, butt and top (two people)"
    )
    assert METRIC.job(Job("first_coat", "H01", "butt", AT, 1)) == "coat"


def test_wood_is_called_by_its_common_name_else_as_it_was_said() -> None:
    cherry = species_table()["Prunus avium"]
    assert METRIC.wood(cherry) == "wild cherry"
    assert METRIC.wood(None, "fruit wood") == "fruit wood"
    assert METRIC.wood(None) == "wood"


@pytest.mark.parametrize(
    ("words", "joined"), [([], ""), (["a"], "a"), (["a", "b"], "a and b"), (["a", "b", "c"], "a, b and c")]
)
def test_a_list_is_joined_as_one_says_it(words: list[str], joined: str) -> None:
    assert join(words) == joined


def test_only_the_first_letter_is_made_large() -> None:
    assert first_upper("about 9 in 10, H01") == "About 9 in 10, H01"
    assert first_upper("") == ""


@given(st.lists(st.text(st.characters(codec="ascii", categories=("L", "N", "Zs")), max_size=300), max_size=8))
def test_wrapped_lines_fit_and_lose_no_word(lines: list[str]) -> None:
    out = wrapped(lines, 78)
    assert all(len(line) <= 78 for line in out)
    assert "".join("".join(out).split()) == "".join("".join(lines).split())
    assert len(out) >= len(lines)


def test_what_goes_on_hangs_two_columns_deeper() -> None:
    out = wrapped(["  H01 " + "word " * 30], 40)
    assert out[0].startswith("  H01")
    assert all(line.startswith("    word") for line in out[1:])
    assert wrapped(["", "a"]) == ["", "a"]


def test_why_never_says_that_an_unknown_number_holds() -> None:
    # Half of the draws never dry: there is no middle number to tell, and the rule cannot be said to hold.
    spec = rule_specs()["slow_to_dry"]
    half = Reason(
        "slow_to_dry", "doubt", "pass", 80.0, 96.0, "h", AT, 0.5, spec.says, spec.holds, spec.short, False,
        False, None,
    )  # fmt: skip
    stones = Milestone(None, None, None, None, None)
    lines = why_lines(AT, Examined(0, 0.4, False, {}, (), False), stones, [half], METRIC)
    assert lines[-1] == "  doubt   slow: not dry through within 96 h (in 50 of 100 draws it breaks)"
