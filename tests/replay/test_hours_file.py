"""The file of recorded hours: what is read, what is closed and said, what is refused and in which words."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from open_hours import HEADING, PLACES, has, hours_csv
from replay_samples import START, hours_text

from scheduler.replay.record import read_hours
from scheduler.weather.series import WeatherError

GAP = 6.0


def lines() -> list[str]:
    return hours_text(25).splitlines()


def text_of(rows: list[str]) -> str:
    return "\n".join(rows) + "\n"


def test_rain_moves_to_the_hour_in_which_it_fell_and_air_stays_at_its_time() -> None:
    rows = lines()
    rows[3] = "2021-10-01T02:00,7.5,4.0,2.0,1.2"
    weather = read_hours(text_of(rows), GAP).weather
    assert weather.start == START
    assert weather.rain_mm[0, 1] == 1.2
    assert weather.rain_mm[0, 2] == 0.0
    assert weather.air_c[0, 2] == 7.5
    assert weather.hours == 25 * 24


def test_a_time_with_an_offset_is_turned_to_utc() -> None:
    rows = [row.replace("T", " ", 1) + "" if n == 0 else row for n, row in enumerate(lines())]
    rows[0] = lines()[0]
    shifted = [rows[0], *(f"{row[:16]}+02:00{row[16:]}" for row in rows[1:])]
    assert read_hours(text_of(shifted), GAP).weather.start == datetime(2021, 9, 30, 22, tzinfo=UTC)


def test_a_short_gap_is_closed_and_said() -> None:
    rows = lines()
    del rows[100:103]
    found = read_hours(text_of(rows), GAP)
    assert np.isfinite(found.weather.air_c).all()
    assert "3 hours without air_c were closed by straight lines." in found.notes
    assert "3 hours without a word on rain count as dry." in found.notes


def test_a_long_gap_is_refused_with_its_beginning() -> None:
    rows = lines()
    del rows[101:121]
    with pytest.raises(
        WeatherError, match=r"no air_c for 20 hours from 2021-10-05 04:00 UTC on.*cut the file"
    ):
        read_hours(text_of(rows), GAP)


@pytest.mark.parametrize(
    ("line", "cells", "says"),
    [
        (
            5,
            "yesterday,7,4,2,0",
            r"Line 5, time: 'yesterday' is no time; write it as 2025-10-01T06:00, in UTC",
        ),
        (5, "2021-10-01T03:30,7,4,2,0", r"Line 5, time: .* is no whole hour of UTC"),
        (5, "2021-10-01T01:00,7,4,2,0", r"Line 5: 2021-10-01 01:00 does not come after the line before"),
        (5, "2021-10-01T03:00,warm,4,2,0", r"Line 5, air_c: 'warm' is no number"),
        (5, "2021-10-01T03:00,7,4,2", r"Line 5 has 4 cells under 5 headings; it is cut"),
        (
            5,
            "2021-10-01T03:00,7,14,2,0",
            r"Line 5: the dew point lies above the air; are the columns swapped",
        ),
        (5, "2021-10-01T03:00,7,4,2,999", r"Line 5, rain_mm: 999 lies outside 0 to 300 mm"),
    ],
)
def test_a_wrong_line_is_named_with_its_number(line: int, cells: str, says: str) -> None:
    rows = lines()
    rows[line - 1] = cells
    with pytest.raises(WeatherError, match=says):
        read_hours(text_of(rows), GAP)


def test_a_missing_heading_and_a_short_record_are_told() -> None:
    rows = lines()
    with pytest.raises(WeatherError, match=r"no column rain_mm.*A record has the columns time,air_c"):
        read_hours(text_of([row.rsplit(",", 1)[0] for row in rows]), GAP)
    with pytest.raises(WeatherError, match="holds 2 days; a replay needs 20 or more"):
        read_hours(hours_text(2), GAP)
    with pytest.raises(WeatherError, match="empty"):
        read_hours("", GAP)


@pytest.mark.parametrize("place", sorted(PLACES))
def test_the_open_records_are_read_whole(place: str) -> None:
    if not has(place):
        pytest.skip(f"the package {PLACES[place].package} is not installed: its hours are left out")
    text = hours_csv(place)
    assert text.startswith(",".join(HEADING))
    weather = read_hours(text, GAP).weather
    assert 360 * 24 <= weather.hours <= 366 * 24
    # Known yearly sums of rain (mm): EWR 43.9 in less the last day; TMY3; London 2012, a wet year.
    low, high = {"newark": (1100, 1130), "london": (810, 830)}.get(place, (820, 840))
    assert low < float(weather.rain_mm.sum()) < high
    warmest = int(np.argmax(np.convolve(weather.air_c[0], np.ones(720), "valid"))) / 720
    assert (5 < warmest < 8) if place != "south" else not 3 < warmest < 10
    assert float(weather.wind_ms.max()) < 40.0
