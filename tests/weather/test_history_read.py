"""Past weather from CSV and from an archive's answer: what is read, what is refused, and in which words."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.weather.history import DailyRecord, daily_of
from scheduler.weather.history_read import (
    archive_params,
    read_daily_answer,
    read_daily_csv,
    read_history,
    read_hours_csv,
)
from scheduler.weather.series import WeatherError

DAILY = """date,min_c,max_c,rain_mm
2001-10-30,4.5,11.0,0.0
2001-10-31,-0.5,8.0,2.4
2001-11-02,-2.0,5.5,
"""


def daily(*rows: str, head: str = "date,min_c,max_c,rain_mm") -> str:
    return "\n".join([head, *rows]) + "\n"


# ---------------------------------------------------------------- daily CSV


def test_a_daily_file_is_read_and_a_day_that_lacks_is_unknown() -> None:
    found = read_daily_csv(DAILY)
    assert (found.first, found.days) == (date(2001, 10, 30), 4)
    assert np.array_equal(found.min_c, [4.5, -0.5, np.nan, -2.0], equal_nan=True)
    assert np.array_equal(found.max_c, [11.0, 8.0, np.nan, 5.5], equal_nan=True)
    assert np.array_equal(found.rain_mm, [0.0, 2.4, np.nan, np.nan], equal_nan=True)
    assert found.utc_offset_h is None
    assert "1 of 4 minima are unknown" in found.notes


def test_fahrenheit_and_inches_stand_in_the_headings() -> None:
    found = read_daily_csv(daily("2001-10-30,28,50,0.10", head="date,min_f,max_f,rain_in"))
    assert found.min_c[0] == pytest.approx(-2.2222, abs=1e-4)
    assert found.max_c[0] == pytest.approx(10.0)
    assert found.rain_mm[0] == pytest.approx(2.54)


@pytest.mark.parametrize(
    "head",
    [
        "Date,Min (°C),Max (°C),Rain (mm)",
        "date,tmin_c,tmax_c,prcp_mm",
        "day,low_c,high_c,precip_mm",
        "rain_mm,max_c,min_c,date",
        "\ufeffdate,min_c,max_c,rain_mm",
    ],
)
def test_headings_may_stand_in_any_order_and_have_the_usual_names(head: str) -> None:
    if head.startswith("day"):
        with pytest.raises(WeatherError, match=r"no column date"):
            read_daily_csv(daily("2001-10-30,-1,9,3", head=head))
        head = head.replace("day", "date")
    row = "3,9,-1,2001-10-30" if head.startswith("rain") else "2001-10-30,-1,9,3"
    found = read_daily_csv(daily(row, head=head))
    assert (found.min_c[0], found.max_c[0], found.rain_mm[0]) == (-1.0, 9.0, 3.0)


@pytest.mark.parametrize(("mark", "point"), [(";", ","), (";", "."), ("\t", ",")])
def test_semicolons_tabs_and_decimal_commas_are_read(mark: str, point: str) -> None:
    text = DAILY.replace(",", mark).replace(".", point)
    assert np.array_equal(read_daily_csv(text).min_c, read_daily_csv(DAILY).min_c, equal_nan=True)


def test_other_columns_comments_and_blank_lines_do_not_matter() -> None:
    text = daily(
        "2001-10-30,7,4,9,0",
        "",
        "# moved to the new site",
        "2001-10-31,8,5,9,0",
        head="date,et0_mm,min_c,max_c,rain_mm",
    )
    assert read_daily_csv("# from the station\n" + text).min_c.tolist() == [4.0, 5.0]


@pytest.mark.parametrize(
    "code", ["", "NA", "n/a", "NaN", "null", "M", "-", "-9999", "-999.9", "-99", "9999.9"]
)
def test_what_stations_write_for_not_measured_is_unknown(code: str) -> None:
    found = read_daily_csv(daily("2001-10-30,4,9,0", f"2001-10-31,{code},9,{code}"))
    assert np.isnan(found.min_c[1])
    assert np.isnan(found.rain_mm[1])


def test_a_missing_code_of_inches_is_no_day_of_99_inches_and_a_trace_is_no_rain() -> None:
    found = read_daily_csv(
        daily("2001-10-30,40,50,99.99", "2001-10-31,20,50,T", head="date,min_f,max_f,rain_in")
    )
    assert np.isnan(found.rain_mm[0])
    assert found.rain_mm[1] == 0.0


def test_minima_alone_are_enough_and_what_lacks_is_said() -> None:
    found = read_daily_csv("date,min_c\n20011030,4\n20011031,-3\n")
    assert found.min_c.tolist() == [4.0, -3.0]
    assert np.isnan(found.max_c).all()
    assert {"no maximum in the record", "no rain in the record"} <= set(found.notes)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "The file is empty"),
        ("date,min_c,max_c,rain_mm\n", "no rows"),
        ("min_c,max_c\n1,2\n", "no column date"),
        ("dat,min_c\n2001-10-30,2\n", "did you mean date by 'dat'"),
        ("date,max_c\n2001-10-30,2\n", "no column min_c or min_f"),
        ("date,tmin,tmax\n2001-10-30,2,3\n", "'tmin' carries no unit. Write min_c or min_f"),
        ("date,min_c,min_f\n2001-10-30,2,3\n", "Both min_c and min_f give the min"),
        ("date,min_c,min_c\n2001-10-30,2,3\n", "min_c stands twice"),
        ("date,min_c,max_f\n2001-10-30,2,43\n", "the other in °F"),
        (daily("2001-10-30,2,9"), "Line 2 has 3 cells under 4 headings"),
        (daily("30.10.2001,2,9,0"), "Line 2: '30.10.2001' is no date"),
        (daily("2001-02-30,2,9,0"), "2001-02-30 does not exist"),
        (daily("0001-02-03,2,9,0"), "of no year"),
        (daily("2001-10-30,2,9,0", "2001-10-30,2,9,0"), "Line 3: the day 2001-10-30 stands twice"),
        (daily("2001-10-30,2,9,0", "2001-10-29,2,9,0"), "2001-10-29 comes after 2001-10-30"),
        (daily("2001-10-30,two,9,0"), "Line 2, min_c: 'two' is no number"),
        (daily("2001-10-30,2 *,9,0"), "'2 \\*' is no number"),
        (daily("2001-10-30,2,9,-3"), "Line 2, rain_mm: -3 lies outside 0 to 2000 mm"),
        (daily("2001-10-30,2,75,0"), "75 lies outside -90 to 60 °C; that looks like °F"),
        (daily("2001-10-30,2,1e999,0"), "lies outside"),
        (daily("2001-10-30,,9,0"), "no known minimum"),
        ('date,min_c\n2001-10-30,"2\x00\n', "no number|cannot be read"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_place(text: str, words: str) -> None:
    with pytest.raises(WeatherError, match=words):
        read_daily_csv(text)


def cool_season(days: int, low: float, high: float, head: str = "date,min_c,max_c,rain_mm") -> str:
    first = date(2001, 1, 1)
    rows = []
    for n in range(days):
        middle = (low + high) / 2 + (high - low) / 4 * np.cos(n / 58.0)
        rows.append(
            f"{first + timedelta(n)},{middle - (high - low) / 4:.1f},{middle + (high - low) / 4:.1f},0"
        )
    return daily(*rows, head=head)


def test_a_celsius_file_that_lies_wholly_between_32_and_60_looks_like_fahrenheit() -> None:
    with pytest.raises(WeatherError, match="said to be °C; that looks like °F"):
        read_daily_csv(cool_season(90, 33.0, 58.0))
    assert read_daily_csv(cool_season(90, 33.0, 58.0, "date,min_f,max_f,rain_in")).min_c.max() < 15.0


def test_a_celsius_file_whose_year_is_warmer_than_any_place_looks_like_fahrenheit() -> None:
    with pytest.raises(WeatherError, match="looks like °F"):
        read_daily_csv(cool_season(400, 20.0, 59.9))
    read_daily_csv(cool_season(60, 20.0, 49.0))  # a desert's summer


def test_a_fahrenheit_file_that_never_gets_warm_looks_like_celsius() -> None:
    with pytest.raises(WeatherError, match="looks like °C"):
        read_daily_csv(cool_season(400, -10.0, 35.0, "date,min_f,max_f,rain_in"))


def test_a_lowest_above_its_highest_makes_the_day_unknown_and_many_such_days_are_refused() -> None:
    rows = [f"{date(2001, 1, 1) + timedelta(n)},{n % 7},{n % 7 + 8},0" for n in range(200)]
    rows[20] = "2001-01-21,9,3,0"
    found = read_daily_csv(daily(*rows))
    assert np.isnan(found.min_c[20])
    assert np.isnan(found.max_c[20])
    assert "lowest above highest on 1 days, first 2001-01-21: taken as unknown" in found.notes
    with pytest.raises(WeatherError, match="columns exchanged"):
        read_daily_csv(daily(*rows, head="date,max_c,min_c,rain_mm"))


@given(
    st.lists(
        st.tuples(
            st.integers(1, 3),
            st.integers(-300, 300),
            st.integers(0, 200),
            st.one_of(st.none(), st.integers(0, 900)),
        ),
        min_size=1,
        max_size=40,
    )
)
@settings(max_examples=100, deadline=None)
def test_what_is_written_is_what_is_read(days: list[tuple[int, int, int, int | None]]) -> None:
    day, rows, expected = date(1999, 12, 30), [], {}
    for gap, low, spread, rain in days:
        day += timedelta(gap)
        expected[day] = (low / 10, (low + spread) / 10, np.nan if rain is None else rain / 10)
        rows.append(f"{day},{low / 10},{(low + spread) / 10},{'' if rain is None else rain / 10}")
    found = read_daily_csv(daily(*rows))
    for n in range(found.days):
        here = (found.min_c[n], found.max_c[n], found.rain_mm[n])
        assert np.array_equal(here, expected.get(found.first + timedelta(n), (np.nan,) * 3), equal_nan=True)


# ---------------------------------------------------------------- hourly CSV

HOURS = """time,air_c,dew_point_c,wind_ms,rain_mm,cloud,sun_wm2,pressure_hpa
2013-11-04T06:00Z,1.0,0.5,2.0,0.0,0.4,0,1001
2013-11-04T07:00Z,0.0,-0.5,2.5,0.6,0.5,10,1000
2013-11-04T08:00Z,2.0,1.0,3.0,0.0,0.6,80,999.9
"""


def test_rain_and_sun_of_the_hour_that_ends_move_to_the_hour_that_begins() -> None:
    found = read_hours_csv(HOURS)
    assert found.start == datetime(2013, 11, 4, 6, tzinfo=UTC)
    assert found.air_c[0].tolist() == [1.0, 0.0, 2.0]
    assert np.array_equal(found.rain_mm[0], [0.6, 0.0, np.nan], equal_nan=True)
    assert found.sun_wm2 is not None
    assert np.array_equal(found.sun_wm2[0], [10.0, 80.0, np.nan], equal_nan=True)
    assert found.pressure_hpa is not None
    assert found.pressure_hpa[0, 2] == 999.9
    assert found.cloud is not None
    assert found.cloud[0].tolist() == [0.4, 0.5, 0.6]


def test_times_are_utc_with_or_without_a_mark_and_an_offset_is_taken_off() -> None:
    plain = read_hours_csv(HOURS.replace("Z", ""))
    offset = read_hours_csv(HOURS.replace("T06:00Z", "T07:00+01:00"))
    assert plain.start == offset.start == read_hours_csv(HOURS).start


def test_short_gaps_close_long_ones_stay_and_rain_is_never_made() -> None:
    rows = [f"2013-11-{4 + n // 24:02d} {n % 24:02d}:00,{n},{n - 2},2,0" for n in range(60)]
    kept = [row for n, row in enumerate(rows) if n not in (10, 11, 30, 31, 32)]
    found = read_hours_csv("time,air_c,dew_point_c,wind_ms,rain_mm\n" + "\n".join(kept))
    assert found.hours == 60
    assert found.air_c[0, 10:12].tolist() == [10.0, 11.0]
    assert np.isnan(found.air_c[0, 30:33]).all()
    assert np.flatnonzero(np.isnan(found.rain_mm[0])).tolist() == [9, 10, 29, 30, 31, 59]
    assert found.cloud is None


def test_a_dew_point_above_the_air_is_unknown_there_and_a_rounding_is_cut() -> None:
    rows = [f"2013-11-{4 + n // 24:02d} {n % 24:02d}:00,5,{5.4 if n == 3 else 4},2,0" for n in range(150)]
    rows[50] = rows[50].replace(",5,4,", ",5,9,")
    found = read_hours_csv("time,air_c,dew_point_c,wind_ms,rain_mm\n" + "\n".join(rows))
    assert found.dew_point_c[0, 3] == 5.0
    assert (
        "dew point above the air in 1 hours, first 2013-11-06 02:00: taken as unknown"
        in found.provenance.notes
    )
    assert found.dew_point_c[0, 50] == 4.0  # closed as a short gap, and marked
    assert found.filled is not None
    assert found.filled[50]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("dew_point_c", "humidity", "no column dew_point_c"),
        ("T07:00Z", "T07:30Z", "no whole hour of UTC"),
        ("2013-11-04T07:00Z", "4 Nov 7:00", "'4 Nov 7:00' is no time"),
        ("2013-11-04T07:00Z", "2013-11-31T07:00Z", "does not exist"),
        ("2013-11-04T07:00Z", "2013-11-04T07:00+25:00", "does not exist|is no time"),
        ("2013-11-04T06:00Z", "0001-01-01T00:00+14:00", "of no year"),
        ("2013-11-04T06:00Z", "1750-11-04T06:00Z", "too long for hours"),
        ("T07:00Z", "T06:00Z", "stands twice"),
        ("T07:00Z", "T05:00Z", "comes after a later one"),
        (",0.5,10,1000", ",50,10,1000", "Line 3, cloud: 50 lies outside 0 to 1 as a share of the sky"),
        ("2.5,0.6", "470,0.6", "wind_ms: 470 lies outside"),
        ("1.0,0.5", "1.0,9.5", "Are the two columns exchanged"),
    ],
)
def test_hours_that_cannot_be_read_are_refused_with_their_place(old: str, new: str, words: str) -> None:
    assert old in HOURS
    with pytest.raises(WeatherError, match=words):
        read_hours_csv(HOURS.replace(old, new, 1))


# ---------------------------------------------------------------- archive


def archive(days: int = 4, **change: Any) -> dict[str, Any]:
    first = date(2003, 11, 1)
    answer: dict[str, Any] = {
        "latitude": 48.1,
        "longitude": 8.2,
        "elevation": 700.0,
        "utc_offset_seconds": 3600,
        "daily_units": {
            "time": "iso8601",
            "temperature_2m_min": "°C",
            "temperature_2m_max": "°C",
            "precipitation_sum": "mm",
        },
        "daily": {
            "time": [str(first + timedelta(n)) for n in range(days)],
            "temperature_2m_min": [1.0 - n for n in range(days)],
            "temperature_2m_max": [9.0 - n for n in range(days)],
            "precipitation_sum": [0.0] * (days - 1) + [None],
        },
    }
    answer.update(change)
    return answer


def test_an_archives_days_are_read_with_their_offset_and_cell() -> None:
    found = read_daily_answer(archive())
    assert (found.first, found.days, found.utc_offset_h) == (date(2003, 11, 1), 4, 1.0)
    assert (found.latitude, found.longitude, found.altitude_m) == (48.1, 8.2, 700.0)
    assert found.min_c.tolist() == [1.0, 0.0, -1.0, -2.0]
    assert np.array_equal(found.rain_mm, [0.0, 0.0, 0.0, np.nan], equal_nan=True)


def test_units_and_times_are_read_as_the_answer_gives_them() -> None:
    midnight = int(datetime(2003, 11, 1, tzinfo=UTC).timestamp()) - 3600
    answer = archive()
    answer["daily"]["time"] = [midnight + n * 86400 for n in range(4)]
    answer["daily"]["temperature_2m_min"] = [32.0, 23.0, 14.0, None]
    answer["daily"]["precipitation_sum"] = [1.0, 0.0, 0.0, 0.0]
    units = {"time": "unixtime", "temperature_2m_min": "°F", "precipitation_sum": "inch"}
    answer["daily_units"].update(units)
    found = read_daily_answer(answer)
    assert found.first == date(2003, 11, 1)
    assert np.allclose(found.min_c, [0.0, -5.0, -10.0, np.nan], equal_nan=True)
    assert found.rain_mm[0] == 25.4


def test_of_several_models_the_first_with_minima_is_taken_and_said() -> None:
    answer = archive()
    for name in ("temperature_2m_min", "temperature_2m_max", "precipitation_sum"):
        values, unit = answer["daily"].pop(name), answer["daily_units"].pop(name)
        for model in ("cerra", "era5_land"):
            answer["daily"][f"{name}_{model}"] = [None] * 4 if model == "cerra" else values
            answer["daily_units"][f"{name}_{model}"] = unit
    found = read_daily_answer(answer)
    assert found.min_c.tolist() == [1.0, 0.0, -1.0, -2.0]
    assert "2 models answered; era5_land was taken" in found.notes


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"daily": None}, "no daily part"),
        ({"daily_units": {}}, "how its days are written"),
        ({"daily_units": {"time": "iso8601"}}, "unit of temperature_2m_min is 'None'"),
        ({"utc_offset_seconds": None}, "where its days begin"),
        ({"utc_offset_seconds": 10**6}, "where its days begin"),
        ({"error": True, "reason": "No data is available"}, 'an error: "No data is available"'),
        ({"daily": {"time": ["2003-11-01"], "temperature_2m_min": [None]}}, "null throughout"),
        ({"daily": {"time": ["2003-11-01"], "temperature_2m_min": [1, 2]}}, "the answer is cut"),
        ({"daily": {"time": ["2003-11-01"], "temperature_2m_min": ["1"]}}, "a text at 2003-11-01"),
        ({"daily": {"time": ["2003-11-01"], "temperature_2m_min": [99]}}, "99 lies outside"),
        ({"daily": {"time": ["2003-11-01", "2003-11-01"], "temperature_2m_min": [1, 1]}}, "stands twice"),
        ({"daily": {"time": [], "temperature_2m_min": []}}, "no minima|holds no days"),
        ({"daily": {"time": [5], "temperature_2m_min": [1]}}, "'5' is no date"),
    ],
)
def test_an_answer_that_is_no_record_is_refused(change: dict[str, Any], words: str) -> None:
    with pytest.raises(WeatherError, match=words):
        read_daily_answer(archive(**change))


def test_an_archive_is_asked_for_days_of_one_model_throughout() -> None:
    asked = archive_params(date(1991, 7, 1), date(2021, 6, 30))
    assert asked["daily"] == "temperature_2m_min,temperature_2m_max,precipitation_sum"
    assert (asked["start_date"], asked["end_date"]) == ("1991-07-01", "2021-06-30")
    assert "," not in asked["models"]


# ---------------------------------------------------------------- any file


def hourly_answer() -> dict[str, Any]:
    hours = 72
    first = datetime(2003, 11, 1)  # noqa: DTZ001 -- wall time, as the format writes it
    names = {"temperature_2m": "°C", "dew_point_2m": "°C", "wind_speed_10m": "m/s", "precipitation": "mm"}
    values = {
        "temperature_2m": [5.0 + n % 24 / 4 for n in range(hours)],
        "dew_point_2m": [2.0] * hours,
        "wind_speed_10m": [3.0] * hours,
        "precipitation": [0.1] * hours,
    }
    times = [f"{first + timedelta(hours=n):%Y-%m-%dT%H:%M}" for n in range(hours)]
    return {
        "latitude": 48.0,
        "longitude": 8.2,
        "utc_offset_seconds": 0,
        "hourly_units": {"time": "iso8601", **names},
        "hourly": {"time": times, **values},
    }


def test_a_file_is_told_by_its_look() -> None:
    assert read_history(DAILY.encode()).days == 4
    assert read_history(b"\xef\xbb\xbf" + DAILY.encode()).days == 4
    assert read_history(json.dumps(archive()).encode()).days == 4
    assert read_history(json.dumps([archive()]).encode()).days == 4
    hourly = read_history(json.dumps(hourly_answer()).encode())
    assert (hourly.days, hourly.min_c[0]) == (3, 5.0)
    rows = [f"2013-11-{4 + n // 24:02d} {n % 24:02d}:00,{n},{n - 2},2,0" for n in range(60)]
    text = "time,air_c,dew_point_c,wind_ms,rain_mm\n" + "\n".join(rows)
    assert read_history(text.encode()).days == 2
    west = read_history(text.encode(), longitude=-75.0)
    assert (west.first, west.min_c[0], west.utc_offset_h) == (date(2013, 11, 4), 5.0, -5.0)


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"", "empty"),
        (b"\xff\xfe\x00d", "no text in UTF-8"),
        (b"<html><body>503</body></html>", "a web page"),
        (b'{"daily": {', "cut off"),
        (b"[]", "not one place's record"),
        (b"[1, 2]", "not one place's record"),
        (b"{}", "no daily part"),
        (b'{"error": true, "reason": "x"}', "answers with an error"),
        (b"hello there", "no column date"),
    ],
)
def test_what_is_no_record_is_refused_in_words(body: bytes, words: str) -> None:
    with pytest.raises(WeatherError, match=words):
        read_history(body)


def outcome(read: Callable[[], object]) -> Any:
    """What a reader gives, or the words of its refusal; every other error goes through."""
    try:
        return read()
    except WeatherError as error:
        return str(error)


JUNK = st.one_of(
    st.none(),
    st.booleans(),
    st.text(max_size=5),
    st.integers(-(10**12), 10**12),
    st.floats(allow_nan=True),
    st.lists(st.none(), max_size=3),
    st.just({}),
)


@given(st.data())
@settings(max_examples=300, deadline=None)
def test_a_damaged_answer_gives_a_record_or_a_refusal_and_nothing_else(data: st.DataObject) -> None:
    answer = archive(6)
    for _ in range(data.draw(st.integers(1, 3))):
        block = data.draw(st.sampled_from(["", "daily", "daily_units"]))
        target = answer if not block else answer.get(block)
        if not isinstance(target, dict) or not target:
            continue
        key = data.draw(st.sampled_from(sorted(target)))
        if isinstance(target[key], list) and target[key] and data.draw(st.booleans()):
            target[key][data.draw(st.integers(0, len(target[key]) - 1))] = data.draw(JUNK)
        else:
            target[key] = data.draw(JUNK)
    told = outcome(lambda: read_history(json.dumps(answer).encode()))
    assert isinstance(told, DailyRecord) or told[-1] in '.?)"'


@given(st.sampled_from([DAILY, HOURS]), st.integers(0, 200), st.text(max_size=6), st.integers(0, 12))
@settings(max_examples=400, deadline=None)
def test_a_damaged_file_gives_a_record_or_a_refusal_and_nothing_else(
    text: str, at: int, put: str, cut: int
) -> None:
    damaged = text[:at] + put + text[at + cut :]
    told = outcome(lambda: read_history(damaged.encode("utf-8", "surrogatepass")))
    assert isinstance(told, DailyRecord) or len(told) > 15


@given(st.text(max_size=200))
@settings(max_examples=200, deadline=None)
def test_no_text_at_all_raises_anything_but_a_refusal(text: str) -> None:
    for read in (read_daily_csv, read_hours_csv):
        outcome(lambda read=read: read(text))


def test_days_of_the_hours_and_the_days_themselves_agree() -> None:
    rows = [f"2013-11-{4 + n // 24:02d} {n % 24:02d}:00,{n % 24},{n % 24 - 3},2,0.5" for n in range(73)]
    days = daily_of(read_hours_csv("time,air_c,dew_point_c,wind_ms,rain_mm\n" + "\n".join(rows)), 0.0)
    assert days.min_c.tolist() == [0.0] * 3
    assert days.max_c.tolist() == [23.0] * 3
    assert days.rain_mm.tolist() == [12.0] * 3
