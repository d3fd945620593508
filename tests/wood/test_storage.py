"""How long logs keep: the clock of warmth, saw-by dates, beetles, looks."""

from __future__ import annotations

import tomllib
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from scheduler.moments import RoughTime
from scheduler.settings import Number, species_table
from scheduler.weather.history import DailyRecord
from scheduler.weather.series import Weather, WeatherError
from scheduler.wood.storage import (
    SawBy,
    Stored,
    insects,
    look_due,
    look_every,
    meant_to_spalt,
    saw_by,
    saw_by_all,
    sealed_since,
)
from scheduler.wood.storage_numbers import StainGroup, Storage
from scheduler.wood.warmth import DAYS_OF_YEAR, Warmth, usual_year, warmth_of

F = NDArray[np.float64]
CONFIG = Path(__file__).parents[2] / "config" / "storage.toml"
START = datetime(2025, 6, 2, tzinfo=UTC)
DAY = timedelta(days=1)


@lru_cache(maxsize=1)
def table() -> dict[str, Any]:
    return tomllib.loads(CONFIG.read_text(encoding="utf-8"))


N = Storage.of(table())
PALE = N.group_of("Acer saccharum")
LASTING = N.group_of("Juglans regia")


def hours(air_c: list[float] | F, start: datetime = START) -> Weather:
    """Hours of the given air; the other quantities do not matter here."""
    air = np.atleast_2d(np.asarray(air_c, float))
    other = np.zeros_like(air)
    return Weather(start, air, air - 3.0, other, other)


def days(means: list[float] | F, start: datetime = START) -> Weather:
    return hours(np.repeat(np.asarray(means, float), 24), start)


def clock(
    *pieces: Weather | DailyRecord, at: datetime = START, since: datetime = START, **more: Any
) -> Warmth:
    return warmth_of(pieces, since=since, at=at, numbers=N, **more)


def felled(when: datetime = START, half: timedelta = timedelta(0)) -> RoughTime:
    return RoughTime(when, half, "")


def told(log: Stored, warmth: Warmth, at: datetime = START) -> SawBy:
    return saw_by(log, warmth, at=at, numbers=N)


def waves(mean: float, half: float, coldest: int = 18) -> F:
    """A usual year: a cosine with its coldest day."""
    return mean - half * np.cos(2.0 * np.pi * (np.arange(DAYS_OF_YEAR) - coldest) / DAYS_OF_YEAR)


# ------------------------------------------------------------------ the clock


def test_the_clock_adds_what_the_daily_mean_lies_above_ten_degrees() -> None:
    warmth = clock(days([22.0, 4.0, 10.0, 11.5]))
    assert warmth.dose[0] == pytest.approx([0.0, 12.0, 12.0, 12.0, 13.5])
    assert warmth.ends == START + 4 * DAY


def test_a_day_counts_by_its_mean_and_not_by_its_warm_hours() -> None:
    day = [2.0] * 12 + [16.0] * 12
    assert clock(hours(day)).dose[0, -1] == 0.0


def test_days_begin_at_the_places_own_midnight() -> None:
    """12 warm hours that lie in two days of UTC and in one day of a zone ten hours ahead."""
    air = np.full(72, 10.0)
    air[20:32] = 20.0
    utc, ahead = (clock(hours(air), utc_offset_h=h) for h in (0.0, 10.0))
    assert utc.mean_c.tolist() == pytest.approx([10 + 40 / 24, 10 + 80 / 24, 10.0])
    assert ahead.mean_c[1] == pytest.approx(15.0)
    assert utc.dose[0, -1] == pytest.approx(5.0)
    assert ahead.begins == START - timedelta(hours=10)


def test_hours_that_are_not_known_add_nothing_and_are_counted() -> None:
    air = np.full(72, 22.0)
    air[30:36] = np.nan
    warmth = clock(hours(air))
    assert warmth.dose[0, -1] == pytest.approx(36.0 - 12.0 * 6 / 24)
    assert warmth.unknown[0, -1] == pytest.approx(6 / 24)


def test_a_day_with_few_known_hours_has_no_mean() -> None:
    air = np.full(48, np.nan)
    air[24:48] = 20.0
    air[10:16] = 30.0
    warmth = clock(hours(air))
    assert np.isnan(warmth.mean_c[0])
    assert warmth.unknown[0, 1] == 1.0


def test_members_count_by_their_mean_dose_and_not_by_the_dose_of_their_mean() -> None:
    members = np.stack([np.full(24, 4.0), np.full(24, 16.0)])
    assert clock(hours(members)).dose[0, -1] == pytest.approx(3.0)


def test_a_member_that_is_not_known_does_not_thin_the_others() -> None:
    members = np.stack([np.full(24, np.nan), np.full(24, 16.0)])
    warmth = clock(hours(members))
    assert warmth.dose[0, -1] == pytest.approx(6.0)
    assert warmth.unknown[0, -1] == 0.0


def test_a_day_is_taken_from_the_piece_that_knows_most_of_it() -> None:
    past = hours(np.full(24 + 14, 15.0))  # today only till two in the afternoon
    forecast = days([30.0, 20.0, 20.0])
    record = DailyRecord(START.date(), np.full(5, 8.0), np.full(5, 18.0), np.zeros(5))
    assert clock(past, forecast, record).mean_c.tolist() == [15.0, 20.0, 20.0, 13.0, 13.0]


def test_hours_of_a_half_known_day_are_filled_from_the_usual_year() -> None:
    air = np.full(24, 22.0)
    air[18:] = np.nan
    warmth = clock(hours(air), usual_c=np.full(DAYS_OF_YEAR, 14.0), scatter_k=0.0)
    assert warmth.dose[0, 1] == pytest.approx((12.0 * 18 + 4.0 * 6) / 24)
    assert warmth.usual[0, 1] == pytest.approx(0.25)
    assert warmth.unknown[0, -1] == 0.0


def test_the_usual_year_goes_on_behind_the_forecast_for_some_years() -> None:
    usual = waves(9.0, 9.0)
    warmth = clock(days([22.0] * 3), usual_c=usual, scatter_k=0.0)
    assert warmth.days == 3 + 3 * DAYS_OF_YEAR
    assert warmth.known_until == START + 3 * DAY
    fourth = datetime(2024, 6, 5, tzinfo=UTC).timetuple().tm_yday - 1  # a leap year's number
    assert warmth.mean_c[3] == pytest.approx(usual[fourth])


def test_after_a_february_of_28_days_the_number_of_29_february_is_left_out() -> None:
    usual = np.arange(DAYS_OF_YEAR, dtype=float)
    short = clock(
        since=datetime(2025, 2, 27, tzinfo=UTC), at=datetime(2025, 2, 27, tzinfo=UTC), usual_c=usual
    )
    leap = clock(since=datetime(2024, 2, 27, tzinfo=UTC), at=datetime(2024, 2, 27, tzinfo=UTC), usual_c=usual)
    assert short.mean_c[:4].tolist() == [57.0, 58.0, 60.0, 61.0]
    assert leap.mean_c[:4].tolist() == [57.0, 58.0, 59.0, 60.0]


def test_scattered_days_bring_warmth_before_the_usual_day_is_warm() -> None:
    cold = clock(usual_c=np.full(DAYS_OF_YEAR, 8.0), scatter_k=0.0)
    drawn = clock(usual_c=np.full(DAYS_OF_YEAR, 8.0), scatter_k=4.0)
    days_drawn = np.random.default_rng(3).normal(8.0, 4.0, 200_000)
    assert cold.dose[0, -1] == 0.0
    assert drawn.dose[0, 1] == pytest.approx(np.maximum(days_drawn - 10.0, 0.0).mean(), rel=0.02)


@pytest.mark.parametrize("usual", [np.zeros(365), np.full(DAYS_OF_YEAR, np.nan), np.zeros((DAYS_OF_YEAR, 2))])
def test_a_usual_year_that_is_not_whole_is_refused(usual: F) -> None:
    with pytest.raises(ValueError, match="each of 366 days"):
        clock(usual_c=usual)


def test_a_usual_year_is_the_mean_of_the_records_years_with_their_scatter() -> None:
    first, count = date(1991, 1, 1), 10 * 365 + 2
    dates = np.datetime64(first, "D") + np.arange(count)
    number = (dates - dates.astype("datetime64[Y]").astype("datetime64[D]")).astype(int)
    seasonal = 9.0 - 9.0 * np.cos(2.0 * np.pi * (number - 18) / 365.0)
    mean = seasonal + np.random.default_rng(5).normal(0.0, 3.0, count)
    usual, scatter = usual_year(DailyRecord(first, mean - 5.0, mean + 5.0, np.zeros(count)), N)
    assert usual == pytest.approx(waves(9.0, 9.0), abs=0.8)
    assert scatter == pytest.approx(np.full(DAYS_OF_YEAR, 3.0), abs=0.4)


def test_a_record_of_half_a_year_makes_no_usual_year() -> None:
    half = DailyRecord(date(2001, 1, 1), np.zeros(180), np.ones(180), np.zeros(180))
    with pytest.raises(WeatherError, match="does not show a whole year"):
        usual_year(half, N)


@given(st.lists(st.floats(-20.0, 35.0), min_size=3, max_size=30), st.data())
def test_a_stretch_split_in_two_has_the_same_warmth(means: list[float], data: st.DataObject) -> None:
    warmth = clock(days(means))
    last = START + len(means) * DAY
    cut = START + data.draw(st.floats(0.0, float(len(means)))) * DAY
    parts = warmth.dose_between(START, cut) + warmth.dose_between(cut, last)
    assert parts == pytest.approx(warmth.dose_between(START, last), abs=1e-6)


@given(st.lists(st.one_of(st.floats(-30.0, 40.0), st.just(float("nan"))), min_size=1, max_size=30))
def test_the_clock_never_runs_backwards(means: list[float]) -> None:
    warmth = clock(days(means))
    assert (np.diff(warmth.dose) >= 0.0).all()
    assert (np.diff(warmth.unknown) >= 0.0).all()


# ------------------------------------------------------------------ saw by


def test_a_pale_wood_at_22_degrees_wants_the_saw_after_80_of_warmth_and_goes_off_at_200() -> None:
    found = told(Stored(felled(), PALE), clock(days([22.0] * 30)), START + 3 * DAY)
    assert found.soon == START + timedelta(days=80 / 12)
    assert found.going == START + timedelta(days=200 / 12)
    assert found.by == found.soon
    assert found.dose_now == pytest.approx(36.0)
    assert found.share == pytest.approx(36.0 / 200.0)
    assert found.stage == "keeps"


def test_the_stage_follows_the_dates() -> None:
    warmth = clock(days([22.0] * 30))
    stages = [told(Stored(felled(), PALE), warmth, START + n * DAY).stage for n in (6, 7, 16, 17)]
    assert stages == ["keeps", "saw soon", "saw soon", "going off"]


def test_the_warning_comes_the_lead_before_the_date_and_never_before_the_felling() -> None:
    warmth = clock(days([22.0] * 80))
    assert told(Stored(felled(), LASTING), warmth).warn == START + (50 - N.lead) * DAY
    assert told(Stored(felled(), PALE), warmth).warn == START


def test_without_a_usual_year_the_clock_stops_at_what_is_known_and_says_so() -> None:
    found = told(Stored(felled(), LASTING), clock(days([22.0] * 5)))
    assert (found.soon, found.going, found.by, found.warn) == (None, None, None, None)
    assert "no date: it lies beyond the days whose warmth is known" in found.words
    assert found.stage == "keeps"


def test_behind_the_forecast_the_usual_year_leads_to_a_date_and_that_is_said() -> None:
    warmth = clock(days([22.0] * 5), usual_c=np.full(DAYS_OF_YEAR, 15.0), scatter_k=0.0)
    found = told(Stored(felled(), PALE), warmth)
    assert found.soon == START + timedelta(days=5 + 20 / 5)
    assert found.usual_ahead
    assert "the date goes by the usual year, a warm spell brings it forward" in found.words
    near = told(Stored(felled(), PALE), clock(days([22.0] * 10), usual_c=np.full(DAYS_OF_YEAR, 15.0)))
    assert not near.usual_ahead
    assert not any("usual" in word for word in near.words)


def test_wood_that_never_gets_warm_enough_has_no_date() -> None:
    found = told(Stored(felled(), LASTING), clock(usual_c=np.full(DAYS_OF_YEAR, 10.1), scatter_k=0.0))
    assert found.by is None
    assert any("within 3 years" in word for word in found.words)


def test_in_frost_the_clock_stands_still_and_nothing_is_due_before_it_warms() -> None:
    winter = datetime(2026, 1, 10, tzinfo=UTC)
    frost = days([-6.0] * 14, winter)
    alone = told(Stored(felled(winter), PALE), clock(frost, since=winter, at=winter), winter)
    assert alone.by is None
    assert "cold, so it keeps: not before it warms" in alone.words
    usual = clock(frost, since=winter, at=winter, usual_c=waves(9.0, 9.0))
    found = told(Stored(felled(winter), PALE), usual, winter)
    assert found.soon is not None
    assert datetime(2026, 4, 20, tzinfo=UTC) < found.soon < datetime(2026, 6, 15, tzinfo=UTC)
    assert "cold, so it keeps: not before it warms" in found.words


def test_in_the_warmth_nobody_says_that_it_is_cold() -> None:
    assert not any("cold" in word for word in told(Stored(felled(), PALE), clock(days([22.0] * 30))).words)


def test_the_same_log_half_a_year_later_in_the_other_hemisphere_has_the_same_days() -> None:
    north, south = datetime(2025, 1, 10, tzinfo=UTC), datetime(2025, 7, 12, tzinfo=UTC)
    here = clock(since=north, at=north, usual_c=waves(9.0, 9.0, coldest=18))
    there = clock(since=south, at=south, usual_c=waves(9.0, 9.0, coldest=18 + 183))
    dates = [told(Stored(felled(t), PALE), w, t).soon for t, w in ((north, here), (south, there))]
    assert dates[0] is not None
    assert dates[1] is not None
    assert abs((dates[0] - north) - (dates[1] - south)) < 2.5 * DAY


def test_a_roughly_known_felling_gives_an_earliest_and_a_latest_date() -> None:
    since = START - 3 * DAY
    warmth = clock(days([22.0] * 40, since), since=since)
    found = told(Stored(felled(START, 3 * DAY), PALE), warmth)
    assert found.earliest is not None
    assert found.by is not None
    assert (found.by - found.earliest, found.latest) == (3 * DAY, found.by + 3 * DAY)
    assert "rough, as the day of felling is" in found.words


def test_unknown_warmth_since_the_felling_is_said_and_the_dose_names_only_what_is_known() -> None:
    later = START + 10 * DAY
    warmth = clock(days([22.0] * 20, later), at=later)
    found = told(Stored(felled(), PALE), warmth, later)
    assert found.unknown_days == pytest.approx(10.0)
    assert found.dose_now == 0.0
    assert "the warmth of 10 days is not known and counts as cold: it may be sooner" in found.words


def test_a_log_felled_before_the_clock_begins_has_unknown_days_too() -> None:
    warmth = clock(days([22.0] * 20))
    found = told(Stored(felled(START - 4 * DAY), PALE), warmth)
    assert found.unknown_days == pytest.approx(4.0)
    assert any("4 days is not known" in word for word in found.words)


def test_a_gap_ahead_of_the_date_is_said() -> None:
    found = told(Stored(felled(), PALE), clock(days([22.0, 22.0, np.nan, *[22.0] * 20])))
    assert found.by == START + timedelta(days=1 + 80 / 12)
    assert "the warmth of 1 day is not known and counts as cold: it may be sooner" in found.words


def test_where_the_usual_year_stands_for_past_days_that_is_said() -> None:
    later = START + 10 * DAY
    warmth = clock(days([22.0] * 20, later), at=later, usual_c=np.full(DAYS_OF_YEAR, 16.0), scatter_k=0.0)
    found = told(Stored(felled(), PALE), warmth, later)
    assert found.usual_days == pytest.approx(10.0)
    assert found.unknown_days == 0.0
    assert found.dose_now == pytest.approx(60.0)
    assert "for 10 days since the felling the usual warmth of the place was taken" in found.words


def test_many_logs_at_once_are_told_as_one_by_one() -> None:
    warmth = clock(days([18.0] * 40), usual_c=waves(9.0, 9.0))
    logs = [
        Stored(felled(START + n * DAY, timedelta(days=n % 3)), group, sealed, spalt=n % 4 == 0)
        for n, group in enumerate(N.groups)
        for sealed in (None, START + (n + 0.5) * DAY)
    ]
    together = saw_by_all(logs, warmth, at=START + 5 * DAY, numbers=N)
    assert list(together) == [told(log, warmth, START + 5 * DAY) for log in logs]
    assert saw_by_all([], warmth, at=START, numbers=N) == ()


@given(st.lists(st.floats(5.0, 32.0), min_size=60, max_size=60), st.integers(0, 59), st.floats(0.0, 8.0))
def test_a_warmer_day_never_brings_a_later_date(means: list[float], day: int, more: float) -> None:
    warmer = list(means)
    warmer[day] += more
    usual = np.full(DAYS_OF_YEAR, 14.0)
    one, other = (told(Stored(felled(), PALE), clock(days(m), usual_c=usual)) for m in (means, warmer))
    assert one.soon is not None
    assert one.going is not None
    assert other.soon is not None
    assert other.going is not None
    assert other.soon <= one.soon
    assert other.going <= one.going
    assert one.soon <= one.going


@given(st.lists(st.floats(5.0, 32.0), min_size=60, max_size=60), st.floats(0.0, 20.0), st.floats(0.0, 20.0))
def test_a_log_felled_later_is_never_due_earlier(means: list[float], first: float, more: float) -> None:
    warmth = clock(days(means), usual_c=np.full(DAYS_OF_YEAR, 14.0))
    dates = [told(Stored(felled(START + n * DAY), PALE), warmth).soon for n in (first, first + more)]
    assert dates[0] is not None
    assert dates[1] is not None
    assert dates[0] <= dates[1]


# ------------------------------------------------------------------ sealed


def sealed_log(after: timedelta = timedelta(0), opened: datetime | None = None) -> Stored:
    return Stored(felled(), PALE, START + after, opened)


def test_while_sealed_warmth_counts_half() -> None:
    found = told(sealed_log(), clock(days([22.0] * 60)), START + 10 * DAY)
    assert found.soon == START + timedelta(days=160 / 12)
    assert found.dose_now == pytest.approx(60.0)


def test_before_the_coat_and_after_the_ends_were_opened_again_warmth_counts_in_full() -> None:
    warmth = clock(days([20.0] * 60))
    found = told(sealed_log(DAY / 2, START + 6.5 * DAY), warmth, START + 8 * DAY)
    assert found.dose_now == pytest.approx(5.0 + 30.0 + 15.0)
    assert found.soon == START + 11 * DAY  # 80 = 5 + 30 + 10 x 4.5


def test_a_sealed_log_has_a_date_and_a_word_about_it_at_once() -> None:
    found = told(sealed_log(), clock(days([22.0] * 60)))
    assert found.by is not None
    assert "sealed, but not kept: wax slows the stain from the ends only" in found.words
    again = told(sealed_log(opened=START + DAY), clock(days([22.0] * 60)), START + 2 * DAY)
    assert not any(word.startswith("sealed") for word in again.words)


@given(st.lists(st.floats(10.5, 32.0), min_size=90, max_size=90), st.floats(0.0, 1.0), st.floats(0.0, 40.0))
def test_sealing_never_hastens_and_never_more_than_doubles_the_warmth_a_log_can_take(
    means: list[float], after: float, stretch: float
) -> None:
    warmth = clock(days(means), usual_c=np.full(DAYS_OF_YEAR, 15.0))
    bare = told(Stored(felled(), PALE), warmth)
    sealed = told(sealed_log(after * DAY, START + (after + stretch) * DAY), warmth)
    for one, other, full in ((bare.soon, sealed.soon, PALE.soon), (bare.going, sealed.going, PALE.going)):
        assert one is not None
        assert other is not None
        assert one <= other
        assert warmth.dose_between(START, other) <= 2.0 * full + 0.1


@pytest.mark.parametrize("air", [12.0, 17.0, 26.0])
def test_in_steady_warmth_a_sealed_log_keeps_at_most_twice_as_long(air: float) -> None:
    warmth = clock(usual_c=np.full(DAYS_OF_YEAR, air), scatter_k=0.0)
    bare, sealed = told(Stored(felled(), PALE), warmth), told(sealed_log(), warmth)
    assert bare.soon is not None
    assert sealed.soon is not None
    assert sealed.soon - START <= 2 * (bare.soon - START) + timedelta(minutes=1)


def test_a_log_is_sealed_when_its_last_end_is_and_each_within_a_day_of_its_cut() -> None:
    coat = START + timedelta(hours=20)
    assert sealed_since([(START, START + timedelta(hours=1)), (START, coat)], N) == coat
    assert sealed_since([(START, coat), (START, None)], N) is None, "one end open"
    assert sealed_since([(START, coat), (START, START + timedelta(hours=24.1))], N) is None, "too long open"
    assert sealed_since([(START - 30 * DAY, START - 30 * DAY), (START, coat)], N) == coat, "a fresh cut since"
    assert sealed_since([], N) is None


# ------------------------------------------------------------------ spalting, splitting


def test_meant_to_spalt_is_read_from_the_use() -> None:
    assert meant_to_spalt("bowls, Spalted", N)
    assert meant_to_spalt("gestockte Scheiben", N)
    assert not meant_to_spalt("table slabs", N)
    assert not meant_to_spalt(None, N)


def test_where_the_colour_is_wanted_the_dates_turn_round() -> None:
    warmth = clock(days([20.0] * 200))
    found = told(Stored(felled(), PALE, spalt=True), warmth, START + 30 * DAY)
    assert found.soon == START + 60 * DAY, "the colour is there"
    assert found.going == START + 160 * DAY, "soft"
    assert found.by == found.going
    assert found.warn == START + (160 - N.lead) * DAY
    assert found.stage == "spalting"
    assert not any("saw soon" in word or "going off" in word for word in found.words)
    stages = [told(Stored(felled(), PALE, spalt=True), warmth, START + n * DAY).stage for n in (70, 170)]
    assert stages == ["coloured", "going soft"]


def test_in_frost_a_log_that_is_meant_to_spalt_gets_no_colour() -> None:
    found = told(Stored(felled(), PALE, spalt=True), clock(days([-2.0] * 20)))
    assert "cold: no colour before it warms" in found.words


@pytest.mark.parametrize("air", [-5.0, 12.0])
def test_wood_that_splits_by_itself_waits_for_no_warmth_and_for_no_wax(air: float) -> None:
    gum = N.group_of("Eucalyptus nitens")
    for sealed in (None, START):
        found = told(Stored(felled(), gum, sealed), clock(days([air] * 20)))
        assert found.soon == START + 7 * DAY
        assert found.going == START + 28 * DAY
        assert not any(word.startswith("cold") for word in found.words)


def test_a_rough_felling_moves_the_days_of_splitting_wood_too() -> None:
    found = told(Stored(felled(START, DAY), N.group_of("Eucalyptus nitens")), clock(days([5.0] * 20)))
    assert (found.earliest, found.latest) == (START + 6 * DAY, START + 8 * DAY)


# ------------------------------------------------------------------ groups and numbers


def test_every_wood_of_the_table_has_a_group_by_its_name_or_genus() -> None:
    for row in species_table().values():
        if row.botanical in ("?", "Buxus sempervirens"):
            continue
        genus = row.botanical.split()[0]
        found = [g for g in N.groups if row.botanical in g.woods or genus in g.genera]
        assert found, row.botanical
        assert len([g for g in N.groups if genus in g.genera]) <= 1, row.botanical


@pytest.mark.parametrize(
    ("botanical", "group", "key"),
    [
        ("Quercus rubra", "ring-porous", "fruit_and_red_oak"),
        ("Quercus robur", "ring-porous", "coloured_heart"),
        ("Betula pendula", "white woods", "pale"),
        ("Fagus sylvatica", "white woods", "ordinary"),
        ("Robinia pseudoacacia", "ring-porous", "durable_heart"),
        ("Nyssa sylvatica", "white woods", "pale"),
        ("?", "careful hardwood", "ordinary"),
        ("", "", "ordinary"),
    ],
)
def test_a_wood_finds_its_group(botanical: str, group: str, key: str) -> None:
    assert N.group_of(botanical, group).key == key


def test_no_genus_stands_in_two_groups_and_groups_are_ordered() -> None:
    for names in ("genera", "groups", "woods"):
        listed = [name for group in N.groups for name in getattr(group, names)]
        assert len(listed) == len(set(listed))
    for group in N.groups:
        assert group.soon < group.going
        assert group.soon_days <= group.going_days
    kept = [g for g in N.groups if g.key != "splitting"]
    for one, other in pairwise(kept):
        assert one.soon < other.soon
        assert one.going < other.going


def numbers(some: dict[str, Any]) -> list[dict[str, Any]]:
    inside = [entry for value in some.values() if isinstance(value, dict) for entry in numbers(value)]
    return [some, *inside] if "value" in some else inside


def test_every_number_has_a_unit_and_a_source() -> None:
    found = numbers(table())
    assert len(found) > 20
    for number in found:
        assert len(Number.model_validate(number).source) > 3


def test_no_word_on_the_screen_promises_blames_or_hurries() -> None:
    said = CONFIG.read_text(encoding="utf-8").casefold()
    texts = [value for group in N.groups for value in (group.says, group.note, group.insects)]
    texts += [N.early_words, N.signs, N.wax]
    for text in texts:
        assert text[0].islower(), text
        for word in ("safe", "late", "overdue", "missed", "!"):
            assert word not in text
    assert "!" not in said


# ------------------------------------------------------------------ beetles


def heard(group: StainGroup, botanical: str, dose: float, week_c: float | None) -> str | None:
    return insects(botanical, group, dose=dose, week_c=week_c, numbers=N)


def test_in_the_cold_nothing_is_said_of_beetles() -> None:
    assert heard(PALE, "Acer saccharum", 100.0, 4.0) is None
    assert heard(PALE, "Acer saccharum", 100.0, None) is None


def test_ash_and_locust_hear_of_beetles_in_the_first_warm_week_and_maple_some_warmth_after() -> None:
    ash = N.group_of("Fraxinus excelsior")
    assert (heard(ash, "Fraxinus excelsior", 0.0, 11.0) or "").startswith(
        "beetles come to this wood in the first"
    )
    assert heard(PALE, "Acer saccharum", 0.0, 11.0) is None
    later = heard(PALE, "Acer saccharum", 40.0, 14.0) or ""
    assert later.startswith("pinhole beetles")


def test_it_is_said_that_wax_keeps_no_beetle_out() -> None:
    assert "wax on the ends keeps none of them out" in (heard(PALE, "Acer saccharum", 90.0, 18.0) or "")


# ------------------------------------------------------------------ looks


@pytest.mark.parametrize(
    ("mean", "between"),
    [(18.0, 14), (10.5, 14), (10.0, 30), (3.0, 30), (None, 30), (0.0, None), (-8.0, None)],
)
def test_looks_follow_the_warmth(mean: float | None, between: int | None) -> None:
    """Every 14 days above 10 °C, every 30 from 0 to 10 °C: common practice, no source."""
    assert look_every(mean, N) == (None if between is None else between * DAY)


def test_a_look_is_due_after_the_days_as_warm_as_they_were() -> None:
    assert look_due(START, clock(days([15.0] * 40)), N) == START + 14 * DAY
    assert look_due(START, clock(days([5.0] * 40)), N) == START + 30 * DAY
    half_and_half = clock(days([5.0] * 15 + [15.0] * 20))
    assert look_due(START, half_and_half, N) == START + 22 * DAY


def test_frost_puts_a_look_off_and_the_thaw_asks_for_one() -> None:
    warmth = clock(days([5.0] * 3 + [-4.0] * 6 + [4.0] * 30))
    assert look_due(START, warmth, N) == START + 9 * DAY
    one_night = clock(days([5.0] * 3 + [-1.0] + [5.0] * 36))
    assert look_due(START, one_night, N) == START + 31 * DAY


def test_a_look_on_the_day_of_the_thaw_is_not_asked_for_again() -> None:
    warmth = clock(days([-4.0] * 6 + [4.0] * 60))
    assert look_due(START + 6.4 * DAY, warmth, N) == START + 36.4 * DAY


def test_a_look_in_the_frost_is_followed_by_one_at_the_thaw() -> None:
    warmth = clock(days([-4.0] * 6 + [4.0] * 60))
    assert look_due(START + 5 * DAY, warmth, N) == START + 6 * DAY


def test_days_that_are_not_known_do_not_put_a_look_off() -> None:
    assert look_due(START, clock(days([float("nan")] * 60)), N) == START + 30 * DAY
    assert look_due(START, clock(days([5.0] * 10)), N) == START + 30 * DAY
    assert look_due(START - 10 * DAY, clock(days([5.0] * 60)), N) == START + 20 * DAY


def test_in_a_long_frost_the_usual_year_tells_the_look_of_the_spring() -> None:
    winter = datetime(2026, 1, 10, tzinfo=UTC)
    warmth = clock(days([-9.0] * 10, winter), since=winter, at=winter, usual_c=waves(6.0, 14.0))
    due = look_due(winter, warmth, N)
    assert due is not None
    assert datetime(2026, 3, 1, tzinfo=UTC) < due < datetime(2026, 4, 15, tzinfo=UTC)
