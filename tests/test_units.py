"""Quantities, rough times and places as people write them."""

from __future__ import annotations

import math
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from scheduler.moments import MomentError, NoSuchTime, parse_moment
from scheduler.places import PlaceError, parse_place
from scheduler.units import (
    UnitError,
    parse_length,
    parse_speed,
    parse_temperature,
    parse_volume,
    show_clock,
    show_length,
    show_rain,
    show_speed,
    show_temperature,
    show_volume,
)

BERLIN = ZoneInfo("Europe/Berlin")
MONDAY = datetime(2025, 11, 3, 9, 0, tzinfo=BERLIN)
ZONES = [
    "Europe/Berlin",
    "America/New_York",
    "Australia/Lord_Howe",  # clock change of half an hour
    "Asia/Kathmandu",
    "Pacific/Apia",  # a whole day left out in 2011
    "Pacific/Auckland",
    "Asia/Tokyo",
    "America/St_Johns",
    "UTC",
]
PAST_WORDS = [
    "now",
    "today",
    "yesterday",
    "yesterday 16:00",
    "yesterday morning",
    "day before yesterday",
    "sat",
    "saturday",
    "wed 10:30",
    "sun evening",
    "last tue",
    "last week",
    "last month",
    "last year",
    "this week",
    "this month",
    "3 weeks ago",
    "2 days ago",
    "an hour ago",
    "half an hour ago",
    "20 minutes ago",
    "a month ago",
    "two years ago",
    "about 20 Oct",
    "20 Oct",
    "Oct 20",
    "29 feb",
    "October",
    "late feb",
    "evening",
    "last night",
    "about last week",
    "20.10.",
    "about now",
]


def read(text: str, at: datetime = MONDAY, **more: object) -> datetime:
    """The middle of the stretch, in Berlin."""
    return parse_moment(text, at=at, zone=BERLIN, **more).time.astimezone(BERLIN)  # type: ignore[arg-type]


def local(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=BERLIN)  # type: ignore[misc, arg-type]


# ---------------------------------------------------------------- quantities


@pytest.mark.parametrize(
    ("text", "cm"),
    [
        ("14 in", 35.56),
        ('14"', 35.56),
        ("14″", 35.56),
        ("14.", None),
        ("3.6 m", 360),
        ("3,6 m", 360),
        ("8ft", 243.84),
        ("8'", 243.84),
        ("8'6\"", 259.08),
        ("8' 6", 259.08),
        ("2 ft 6 in", 76.2),
        ("2 ft. 6 in.", 76.2),
        ("360 mm", 36),
        ("62cm", 62),
        ("62 CM", 62),
        ("14 1/2 in", 36.83),
        ("14½ in", 36.83),
        ("0 cm", 0),
    ],
)
def test_a_length_is_read_in_the_unit_it_was_written_in(text: str, cm: float | None) -> None:
    if cm is None:
        with pytest.raises(UnitError):
            parse_length(text)
    else:
        assert parse_length(text) == pytest.approx(cm)


@pytest.mark.parametrize(
    "text", ["inf m", "nan cm", "-3 in", "1e400 m", "9" * 400 + " m", "", "in", "14 parsecs"]
)
def test_a_length_that_is_none_is_refused_with_what_was_read_and_an_example(text: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_length(text)
    assert "14 in" in str(caught.value)
    assert text[:5] in str(caught.value)


def test_a_bare_number_takes_the_unit_it_is_given_and_is_refused_without() -> None:
    assert parse_length("22", "in") == pytest.approx(55.88)
    with pytest.raises(UnitError, match="no unit"):
        parse_length("22")


def test_a_number_that_reads_two_ways_is_refused() -> None:
    with pytest.raises(UnitError, match="two ways"):
        parse_length("1,200 mm")
    assert parse_length("0,120 m") == pytest.approx(12)


@given(st.one_of(st.floats(0, 125), st.floats(0, 3000)), st.sampled_from(["metric", "us"]))
def test_a_length_shown_and_read_again_stays_within_the_rounding(cm: float, units: str) -> None:
    again = parse_length(show_length(cm, units))  # type: ignore[arg-type]
    unit = 1.0 if units == "metric" else 2.54
    if cm < 10 * unit:
        allowed = 0.05 * unit
    elif cm < (99.75 if units == "metric" else 47.75 * 2.54):
        allowed = 0.25 * unit
    else:
        allowed = 0.5 * unit
    assert abs(again - cm) <= allowed + 1e-9


def test_lengths_are_shown_as_a_yard_says_them() -> None:
    assert show_length(55.88, "us") == "22 in"
    assert show_length(243.84, "us") == "8 ft"
    assert show_length(259.08, "us") == "8 ft 6 in"
    assert show_length(62.6, "metric") == "62.5 cm"
    assert show_length(265.0, "metric") == "2.65 m"
    assert show_length(240.0, "metric") == "2.4 m"
    assert show_length(math.nan, "metric") == "unknown"


@pytest.mark.parametrize(
    ("text", "default", "celsius"),
    [
        ("40 F", "C", 4.4444),
        ("40°F", "C", 4.4444),
        ("4.4 C", "F", 4.4),
        ("-3", "C", -3),
        ("−3,5 °C", "C", -3.5),
        ("minus 3", "metric", -3),
        ("32", "us", 0),
        ("+2", "C", 2),
    ],
)
def test_a_temperature_is_read(text: str, default: str, celsius: float) -> None:
    assert parse_temperature(text, default) == pytest.approx(celsius, abs=1e-3)


@pytest.mark.parametrize("text", ["warm", "", "-300 C", "4 K", "nan", "--3"])
def test_a_temperature_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(UnitError, match="write it like"):
        parse_temperature(text)


def test_a_frost_of_a_few_tenths_is_not_rounded_away() -> None:
    assert show_temperature(-0.3, "metric") == "-0.3 °C"
    assert show_temperature(-0.3, "us") == "31.5 °F"
    assert show_temperature(4.444, "us") == "40 °F"
    assert show_temperature(-0.04, "metric") == "0 °C"
    assert show_temperature(12.4, "metric") == "12 °C"


@pytest.mark.parametrize(
    ("text", "litres"),
    [
        ("3.6 L", 3.6),
        ("250ml", 0.25),
        ("1 gal", 3.785411784),
        ("1 gal US", 3.785411784),
        ("1 US gal", 3.785411784),
        ("2 qt", 1.892705892),
        ("8 fl oz", 0.2365882365),
        ("1 imperial gallon", 4.54609),
    ],
)
def test_a_volume_is_read(text: str, litres: float) -> None:
    assert parse_volume(text) == pytest.approx(litres)


def test_a_volume_that_is_none_is_refused_with_the_words_that_were_typed() -> None:
    with pytest.raises(UnitError, match="'8 fl ounce of wax' is not a volume"):
        parse_volume("8 fl ounce of wax")


def test_volumes_are_shown_in_sensible_units() -> None:
    assert show_volume(0.06, "metric") == "60 mL"
    assert show_volume(0.22, "metric") == "0.22 L"
    assert show_volume(3.6, "metric") == "3.6 L"
    assert show_volume(0.238, "us") == "8 fl oz"
    assert show_volume(18.93, "us") == "5 gal"


def test_speed_and_rain_are_read_and_shown() -> None:
    assert parse_speed("14.4 km/h") == pytest.approx(4)
    assert parse_speed("10 mph") == pytest.approx(4.4704)
    assert show_speed(4.5, "metric") == "4.5 m/s"
    assert show_speed(4.4704, "us") == "10 mph"
    assert show_rain(0.2, "metric") == "0.2 mm"
    assert show_rain(0.04, "metric") == "under 0.1 mm"
    assert show_rain(25.4, "us") == "1 in"


@pytest.mark.parametrize(
    ("clock", "metric", "us", "metric_short", "us_short"),
    [
        (time(9), "9:00", "9 am", "9", "9"),
        (time(13, 30), "13:30", "1:30 pm", "13:30", "1:30"),
        (time(0), "0:00", "midnight", "0", "12"),
        (time(12), "12:00", "noon", "12", "12"),
        (time(0, 30), "0:30", "12:30 am", "0:30", "12:30"),
    ],
)
def test_clock_times_are_shown_in_both_manners(
    clock: time, metric: str, us: str, metric_short: str, us_short: str
) -> None:
    assert show_clock(clock, "metric") == metric
    assert show_clock(clock, "us") == us
    assert show_clock(clock, "metric", short=True) == metric_short
    assert show_clock(clock, "us", short=True) == us_short


# ---------------------------------------------------------------- rough times


@pytest.mark.parametrize(
    ("text", "middle"),
    [
        ("now", (2025, 11, 3, 9, 0)),
        ("8:30", (2025, 11, 3, 8, 30)),
        ("22:30", (2025, 11, 2, 22, 30)),  # said in the morning: last evening
        ("8 am", (2025, 11, 3, 8, 0)),
        ("today", (2025, 11, 3, 4, 30)),
        ("today 8:15", (2025, 11, 3, 8, 15)),
        ("yesterday", (2025, 11, 2, 12, 0)),
        ("yesterday 16:00", (2025, 11, 2, 16, 0)),
        ("4pm yesterday", (2025, 11, 2, 16, 0)),
        ("yesterday afternoon", (2025, 11, 2, 15, 0)),
        ("sat", (2025, 11, 1, 12, 0)),
        ("Saturday", (2025, 11, 1, 12, 0)),
        ("mon", (2025, 11, 3, 4, 30)),
        ("mon 10:30", (2025, 10, 27, 10, 30)),  # not yet today: a week ago
        ("last monday", (2025, 10, 27, 12, 0)),
        ("last week", (2025, 10, 30, 12, 0)),
        ("3 weeks ago", (2025, 10, 13, 10, 0)),
        ("2 days ago", (2025, 11, 1, 12, 0)),
        ("an hour ago", (2025, 11, 3, 8, 0)),
        ("20 Oct", (2025, 10, 20, 12, 0)),
        ("about 20 Oct", (2025, 10, 20, 12, 0)),
        ("20 October 2025", (2025, 10, 20, 12, 0)),
        ("Oct 20", (2025, 10, 20, 12, 0)),
        ("Oct 20th, 2024", (2024, 10, 20, 12, 0)),
        ("8 Nov", (2024, 11, 8, 12, 0)),  # the most recent one
        ("October", (2025, 10, 16, 12, 30)),
        ("2025-10", (2025, 10, 16, 12, 30)),
        ("2025-10-20", (2025, 10, 20, 12, 0)),
        ("2025-10-20T09:30", (2025, 10, 20, 9, 30)),
        ("2025-10-20T09:30+01:00", (2025, 10, 20, 10, 30)),
        ("2025-10-20T09:30Z", (2025, 10, 20, 11, 30)),
        ("20.10.2025", (2025, 10, 20, 12, 0)),
        ("20.10.", (2025, 10, 20, 12, 0)),
        ("10/20/2025", (2025, 10, 20, 12, 0)),
        ("29 feb", (2024, 2, 29, 12, 0)),
        ("Sat 1 Nov", (2025, 11, 1, 12, 0)),
    ],
)
def test_a_rough_time_runs_from_the_middle_of_what_was_meant(text: str, middle: tuple[int, ...]) -> None:
    assert read(text) == local(*middle)


@pytest.mark.parametrize(
    ("text", "middle"),
    [
        ("next tue", (2025, 11, 4, 12, 0)),
        ("wednesday", (2025, 11, 5, 12, 0)),
        ("next mon", (2025, 11, 10, 12, 0)),
        ("mon", (2025, 11, 3, 16, 30)),
        ("tomorrow 8:00", (2025, 11, 4, 8, 0)),
        ("8:00", (2025, 11, 4, 8, 0)),
        ("8 Nov", (2025, 11, 8, 12, 0)),
        ("in 3 days", (2025, 11, 6, 12, 0)),
        ("april", (2026, 4, 16, 0, 0)),
        ("next week", (2025, 11, 13, 12, 0)),
    ],
)
def test_ahead_the_next_one_is_meant(text: str, middle: tuple[int, ...]) -> None:
    assert read(text, future=True) == local(*middle)


@pytest.mark.parametrize(
    ("text", "half"),
    [
        ("now", timedelta(0)),
        ("8:30", timedelta(0)),
        ("yesterday", timedelta(hours=12)),
        ("about yesterday 10:00", timedelta(hours=1)),
        ("about 20 Oct", timedelta(days=3.5)),
        ("last week", timedelta(days=3.5)),
        ("3 weeks ago", timedelta(days=3.5)),
        ("today", timedelta(hours=4.5)),
        ("October", timedelta(days=15, hours=12.5)),  # 31 days and the hour of the clock change
    ],
)
def test_half_is_half_the_stretch_meant(text: str, half: timedelta) -> None:
    assert parse_moment(text, at=MONDAY, zone=BERLIN).half == half


def test_what_was_said_is_kept() -> None:
    assert parse_moment("  about  20 Oct ", at=MONDAY, zone=BERLIN).said == "about 20 Oct"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("32 February", "no 32 February"),
        ("29 feb 2025", "February 2025 has 28 days"),
        ("31.4.", "April has 30 days"),
        ("25:00", "no hour 25"),
        ("10:75", "no minute 75"),
        ("13 pm", "no 13 pm"),
        ("2025-13-01", "no month 13"),
        ("1030", "out of range"),
        ("10/5/2025", "10 May 2025 or 5 October 2025"),
        ("Mon 1 Nov", "is a Saturday"),
        ("10:30", "still ahead"),
        ("today 10:30", "still ahead"),
        ("2025-10-20T09:30+25:00", "no offset"),
    ],
)
def test_a_time_that_does_not_exist_is_refused_and_says_what_does_not(text: str, says: str) -> None:
    with pytest.raises(NoSuchTime, match=says):
        read(text)


@pytest.mark.parametrize("text", ["", "banana", "octobre", "next", "spring", "14:00 last week", "a" * 200])
def test_a_word_that_is_no_time_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(MomentError, match="3 weeks ago"):
        read(text)


def test_a_misspelt_day_names_the_nearest() -> None:
    with pytest.raises(MomentError, match="nearest: saturday"):
        read("satuday")


def test_a_date_with_strokes_is_month_first_only_for_us_units() -> None:
    assert read("10/5/2025", units="us") == local(2025, 10, 5, 12, 0)
    assert read("5/5/2025") == local(2025, 5, 5, 12, 0)


def test_a_time_in_the_hour_left_out_in_spring_is_the_first_moment_after_it() -> None:
    assert read("2025-03-30T02:30") == local(2025, 3, 30, 3, 0)
    lord_howe = ZoneInfo("Australia/Lord_Howe")  # 2:00 to 2:30 left out
    found = parse_moment("2025-10-05T02:10", at=MONDAY, zone=lord_howe).time
    assert found == datetime(2025, 10, 4, 15, 30, tzinfo=UTC)


def test_a_time_that_comes_twice_in_autumn_is_the_first() -> None:
    assert parse_moment("2025-10-26T02:30", at=MONDAY, zone=BERLIN).time == datetime(
        2025, 10, 26, 0, 30, tzinfo=UTC
    )


def test_a_day_with_a_clock_change_is_as_long_as_it_was() -> None:
    assert parse_moment("26 Oct 2025", at=MONDAY, zone=BERLIN).half == timedelta(hours=12.5)


def test_a_day_that_a_zone_left_out_is_read_without_a_crash() -> None:
    apia = ZoneInfo("Pacific/Apia")
    found = parse_moment("30 Dec 2011", at=MONDAY, zone=apia)
    assert found.half == timedelta(0)


def test_the_same_word_is_the_same_day_whatever_the_offset_of_now() -> None:
    other = MONDAY.astimezone(ZoneInfo("Asia/Tokyo"))
    assert parse_moment("sat", at=other, zone=BERLIN) == parse_moment("sat", at=MONDAY, zone=BERLIN)


def test_a_clock_without_its_offset_is_a_mistake_of_the_program() -> None:
    with pytest.raises(ValueError, match="carries its offset"):
        parse_moment("now", at=datetime(2025, 11, 3, 9, 0), zone=BERLIN)  # noqa: DTZ001


moments = st.datetimes(
    datetime(1990, 1, 1),  # noqa: DTZ001
    datetime(2100, 1, 1),  # noqa: DTZ001
    timezones=st.just(UTC),
)


@given(st.sampled_from(PAST_WORDS), moments, st.sampled_from(ZONES))
@example("today", datetime(2025, 11, 2, 23, 0, tzinfo=UTC), "Europe/Berlin")
@example("yesterday", datetime(2011, 12, 31, 9, 0, tzinfo=UTC), "Pacific/Apia")
def test_a_past_word_never_ends_after_now(text: str, at: datetime, zone: str) -> None:
    found = parse_moment(text, at=at, zone=ZoneInfo(zone))
    assert found.half >= timedelta(0)
    assert found.time + found.half <= at
    assert found.time.tzinfo is UTC


@given(
    st.sampled_from(["wed", "tomorrow", "next fri", "8:00", "october", "20 Oct"]),
    moments,
    st.sampled_from(ZONES),
)
def test_a_word_ahead_never_begins_before_now(text: str, at: datetime, zone: str) -> None:
    found = parse_moment(text, at=at, zone=ZoneInfo(zone), future=True)
    assert found.time - found.half >= at


@given(st.integers(0, 23), st.integers(0, 59), moments, st.sampled_from(ZONES))
def test_a_clock_time_of_yesterday_shows_that_clock_unless_it_was_left_out(
    hour: int, minute: int, at: datetime, zone: str
) -> None:
    place = ZoneInfo(zone)
    found = parse_moment(f"yesterday {hour}:{minute:02d}", at=at, zone=place).time.astimezone(place)
    if (found.hour, found.minute) != (hour, minute):  # left out: the second before shows another offset
        before = (found.astimezone(UTC) - timedelta(seconds=1)).astimezone(place)
        assert before.utcoffset() != found.utcoffset()


pieces = st.sampled_from(
    [
        *PAST_WORDS,
        "of",
        "31",
        "0",
        "99",
        "25:61",
        "2025",
        "-",
        "/",
        ".",
        "feb",
        "9999",
        "ago",
        "next",
        "in",
        "+01:00",
    ]
)


@given(st.one_of(st.text(max_size=40), st.lists(pieces, max_size=5).map(" ".join)), st.booleans())
def test_random_text_is_a_time_or_a_plain_refusal(text: str, future: bool) -> None:
    try:
        found = parse_moment(text, at=MONDAY, zone=BERLIN, future=future)
    except MomentError:
        return
    assert found.half >= timedelta(0)


# ---------------------------------------------------------------- places


@pytest.mark.parametrize(
    ("text", "lat", "lon"),
    [
        ("48.0123, 8.2345", 48.0123, 8.2345),
        ("48.0123 8.2345", 48.0123, 8.2345),
        ("48,0123 8,2345", 48.0123, 8.2345),
        ("48°0'N 8°12'E", 48.0, 8.2),
        ("48°00'44.3\"N 8°14'04.2\"E", 48.012306, 8.2345),
        ("48°00′44.3″N, 8°14′04.2″E", 48.012306, 8.2345),
        ("geo:48.0,8.2;u=10", 48.0, 8.2),
        ("geo:48.0,8.2,720;crs=wgs84", 48.0, 8.2),
        ("S 45.0 E 169.4", -45.0, 169.4),
        ("45.0°S 169.4°W", -45.0, -169.4),
        ("-45.0, 169.4", -45.0, 169.4),
        ("8.2E 48N", 48.0, 8.2),
        ("N 48° 0.74' E 8° 14.07'", 48.012333, 8.2345),
    ],
)
def test_a_place_copied_from_a_map_is_read(text: str, lat: float, lon: float) -> None:
    assert parse_place(text) == pytest.approx((lat, lon), abs=1e-5)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("169.4 -45", "swapped"),
        ("95 200", "latitude"),
        ("48 200", "longitude"),
        ("48°75'N 8°E", "below 60"),
        ("48N 8N", "twice"),
        ("-48 S 8 E", "both a minus and a letter"),
        ("geo:1,2;crs=foo", "another system"),
        ("here", "copy it from a map"),
        ("", "copy it from a map"),
        ("48", "copy it from a map"),
    ],
)
def test_a_place_that_is_none_is_refused(text: str, says: str) -> None:
    with pytest.raises(PlaceError, match=says):
        parse_place(text)


@given(st.floats(-90, 90), st.floats(-180, 180))
def test_every_place_on_the_globe_survives_being_copied(lat: float, lon: float) -> None:
    assert parse_place(f"{lat:.6f}, {lon:.6f}") == pytest.approx((lat, lon), abs=1e-6)


quantity_text = st.one_of(st.text(max_size=30), st.text("0123456789.,/-+ °'\"NSEWcmftinLgeo:;=", max_size=30))


@given(quantity_text)
def test_random_text_is_a_quantity_or_a_plain_refusal(text: str) -> None:
    for parse in (parse_length, parse_volume, parse_speed, parse_temperature):
        try:
            assert math.isfinite(parse(text))
        except UnitError:
            continue
    try:
        lat, lon = parse_place(text)
    except PlaceError:
        return
    assert abs(lat) <= 90
    assert abs(lon) <= 180
