"""When a service may be asked again: headers, words, and the minute of each yard."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.settings import Position
from scheduler.weather.fetch_when import expires_at, next_fetch_minute, place_key, retry_after

NOW = datetime(2025, 11, 3, 5, 47, tzinfo=UTC)


def test_the_minute_of_a_yard_is_always_the_same_and_never_the_full_hour() -> None:
    key = place_key(Position(lat=48.01234567, lon=8.2))
    assert key == "48.0123,8.2000"
    # The first eight bytes of the key's SHA-256 by another program (sha256sum).
    assert next_fetch_minute(key) == 1 + 0x805A4D5288A8A154 % 59


def test_many_yards_are_spread_over_the_hour() -> None:
    places = [Position(lat=40 + n / 100, lon=8 + m / 100) for n in range(60) for m in range(60)]
    counts = Counter(next_fetch_minute(place_key(place)) for place in places)
    assert set(counts) == set(range(1, 60))
    assert max(counts.values()) < 2 * len(places) / 59
    assert min(counts.values()) > 0.5 * len(places) / 59


@given(st.text())
def test_every_key_has_a_minute(key: str) -> None:
    assert 1 <= next_fetch_minute(key) <= 59


@pytest.mark.parametrize(
    ("headers", "minutes"),
    [
        ({}, None),
        ({"Cache-Control": "public, max-age=3600"}, 60),
        ({"Cache-Control": "MAX-AGE = 60, s-maxage=5"}, 1),
        ({"Cache-Control": "s-maxage=3600"}, None),
        ({"Cache-Control": "no-store, max-age=3600"}, None),
        ({"Cache-Control": "no-cache"}, None),
        ({"Cache-Control": "max-age=0", "Expires": "Mon, 03 Nov 2025 08:47:00 GMT"}, None),
        ({"Cache-Control": "max-age=120", "Expires": "Mon, 03 Nov 2025 08:47:00 GMT"}, 2),
        ({"Cache-Control": "max-age=3600", "Age": "600"}, 50),
        ({"Cache-Control": "max-age=600", "Age": "3600"}, None),
        ({"Expires": "Mon, 03 Nov 2025 06:47:00 GMT"}, 60),
        ({"Expires": "Mon, 03 Nov 2025 06:47:00 GMT", "Date": "Mon, 03 Nov 2025 06:17:00 GMT"}, 30),
        (
            {"Expires": "Mon, 20 Jul 2020 11:52:28 GMT", "Date": "Mon, 20 Jul 2020 11:20:28 GMT", "Age": "0"},
            32,
        ),
        ({"Expires": "0"}, None),
        ({"Expires": "Mon, 03 Nov 2025 04:47:00 GMT"}, None),
        ({"Expires": "Mon, 99 Nov 99999 04:47:00 GMT", "Age": "-5"}, None),
    ],
)
def test_until_when_an_answer_is_good_by_its_headers(headers: dict[str, str], minutes: int | None) -> None:
    """RFC 9111, 4.2 and 5.3: max-age before Expires, Expires against Date, Age taken off."""
    expected = None if minutes is None else NOW + timedelta(minutes=minutes)
    assert expires_at(headers, NOW) == expected


@given(st.text(max_size=60), st.text(max_size=60), st.text(max_size=20), st.text(max_size=20))
def test_no_header_can_do_harm(control: str, expires: str, date: str, age: str) -> None:
    found = expires_at({"Cache-Control": control, "Expires": expires, "Date": date, "Age": age}, NOW)
    assert found is None or NOW < found <= NOW + timedelta(days=366)
    wait = retry_after(expires, NOW)
    assert wait is None or 0.0 <= wait <= 7 * 86_400.0


@given(st.integers(-(10**9), 10**11) | st.integers(-10, 8 * 86_400))
def test_a_wait_until_a_date_is_never_negative_and_never_longer_than_a_week(seconds: int) -> None:
    date = format_datetime(NOW + timedelta(seconds=seconds), usegmt=True)
    assert retry_after(date, NOW) == min(max(seconds, 0), 7 * 86_400)


def test_a_number_of_seconds_is_taken_as_it_is() -> None:
    assert retry_after(" 120 ", NOW) == 120.0
    assert retry_after("-5", NOW) is None
    assert retry_after("١٢٠", NOW) is None, "digits of another script are no HTTP"
    assert retry_after(None, NOW) is None
