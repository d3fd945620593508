"""Members: reproducible, centred on the forecast, spread by lead, and never making up what is unknown."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest
from weather_samples import START, by_day, stacked, unknown_in, weather

from scheduler.settings import doubt, physics
from scheduler.weather.members import Beliefs, Members, cold_air, draw_members, quantiles
from scheduler.weather.series import Weather

LATITUDE, LONGITUDE = 48.0, 8.2


def drawn(
    given: Weather, *, issued: datetime = START, hollow: float = 0.0, count: int | None = None
) -> Members:
    return draw_members(
        given,
        doubt(),
        physics(),
        issued=issued,
        latitude=LATITUDE,
        longitude=LONGITUDE,
        place=Beliefs(hollow_c=hollow),
        count=count,
    )


def windy(hours: int = 24 * 10) -> Weather:
    """Overcast and windy: no cold air gathers, no dew point is cut off."""
    return weather(hours, air_c=by_day(6.0, 12.0), dew_c=-12.0, wind=6.0, cloud=1.0)


def test_the_same_forecast_gives_the_same_members() -> None:
    a, b = drawn(windy()), drawn(windy())
    for (name, left), (_, right) in zip(a.weather.arrays(), b.weather.arrays(), strict=True):
        np.testing.assert_array_equal(left, right, err_msg=name)
    for name in ("drying", "shelter", "film_k"):
        np.testing.assert_array_equal(getattr(a, name), getattr(b, name))


def test_there_are_as_many_members_as_the_configuration_says() -> None:
    assert drawn(windy()).count == int(doubt()["members"]["value"])
    assert drawn(windy(), count=7).count == 7


def test_the_mean_of_the_members_is_the_forecast_drawn_back_to_the_usual() -> None:
    """What errs by sigma in weather that varies by usual_sd is believed by sqrt(1 - (sigma / usual_sd)^2)."""
    warm = np.where(np.arange(24 * 10) >= 24 * 7, 6.0, 0.0)  # three days warmer than the week before
    given = weather(24 * 10, air_c=by_day(6.0, 12.0), dew_c=-12.0, wind=6.0, cloud=1.0)
    given = replace(given, air_c=given.air_c + warm)
    mean = drawn(given).weather.air_c.mean(axis=0)
    table = doubt()["air"]
    middle = 24 * 9 - 12
    sigma = float(np.interp(middle / 24, table["days"], table["sigma"]))
    kept = float(np.sqrt(1.0 - (sigma / table["usual_sd"]) ** 2))
    usual = float(given.air_c.mean())
    day = slice(middle - 12, middle + 12)
    wanted = given.air_c[0, day].mean() - (1.0 - kept) * (given.air_c[0, day].mean() - usual)
    assert mean[day].mean() == pytest.approx(wanted, abs=0.15)
    assert mean[day].mean() < given.air_c[0, day].mean() - 1.0


def test_a_steady_forecast_is_its_own_usual_and_stays_the_mean() -> None:
    given, members = windy(), drawn(windy())
    # A few members have a calm clear night all the same, and the doubt of its cold air is not centred.
    np.testing.assert_allclose(members.weather.air_c.mean(axis=0), given.air_c[0], atol=0.1)
    np.testing.assert_allclose(members.weather.dew_point_c.mean(axis=0), given.dew_point_c[0], atol=0.1)
    # The square root of the wind is doubted: its middle is the forecast, but where a calm cuts it off.
    root = np.sqrt(members.weather.wind_ms).mean(axis=0)
    np.testing.assert_allclose(root, np.sqrt(given.wind_ms[0]), rtol=0.02)
    for factor in (members.drying, members.shelter):
        assert np.exp(np.log(factor).mean()) == pytest.approx(1.0)
    assert members.film_k.mean() == pytest.approx(0.0, abs=1e-12)


def test_the_doubt_grows_with_the_lead_as_the_table_says() -> None:
    members = drawn(windy(), count=200)
    spread = members.weather.air_c.std(axis=0)
    table = doubt()["air"]
    for day in (1, 3, 5, 8):
        midnight = day * 24  # the sun is down here: the table is of the night minimum
        said = float(np.interp(day, table["days"], table["sigma"]))
        assert spread[midnight] == pytest.approx(said, rel=0.01)
        noon = midnight + 11
        by_day_only = float(np.interp(day + 11 / 24, table["days"], table["sigma"])) * table["day_share"]
        assert spread[noon] == pytest.approx(by_day_only, rel=0.01)


def test_a_spread_that_the_source_gives_takes_the_place_of_the_table_where_it_is_known() -> None:
    given = windy()
    sigma = np.full((1, given.hours), 0.5)
    sigma[:, 120:] = np.nan
    members = drawn(replace(given, air_sigma_k=sigma), count=200)
    spread = members.weather.air_c.std(axis=0)
    assert spread[48] == pytest.approx(np.hypot(0.5, doubt()["air"]["point_sigma"]), rel=0.01)
    assert spread[192] == pytest.approx(
        float(np.interp(8, doubt()["air"]["days"], doubt()["air"]["sigma"])), rel=0.01
    )
    assert members.weather.air_sigma_k is None


def test_an_ensemble_is_dressed_with_the_error_of_its_lead() -> None:
    # Its own spread is far too small: 0.66 K against an error of 3.16 K (Pacific Northwest 2004, 48 h).
    rows = [
        weather(240, air_c=by_day(6.0 + d, 12.0 + d), dew_c=-12.0, wind=6.0, cloud=1.0) for d in (-1, 0, 1)
    ]
    members = drawn(stacked(*rows), count=300)
    table = doubt()["air"]
    for day in (1, 5):
        said = float(np.interp(day, table["days"], table["sigma"]))
        wanted = np.hypot(said, np.std([-1.0, 0.0, 1.0]))
        assert members.weather.air_c[:, day * 24].std() == pytest.approx(wanted, rel=0.12)


def test_the_lead_counts_from_when_the_forecast_was_made() -> None:
    fresh = drawn(windy(), issued=START + timedelta(days=3))
    old = drawn(windy(), issued=START - timedelta(days=3))
    hour = 24 * 4
    assert fresh.weather.air_c[:, hour].std() < 0.6 * old.weather.air_c[:, hour].std()


def test_an_error_lasts_for_hours_and_not_for_a_week() -> None:
    members = drawn(windy(), count=200)
    miss = members.weather.air_c - members.weather.air_c.mean(axis=0)

    def linked(lag: int) -> float:
        a, b = miss[:, 48:72].ravel(), miss[:, 48 + lag : 72 + lag].ravel()
        return float(np.corrcoef(a, b)[0, 1])

    assert linked(1) > 0.9
    assert 0.25 < linked(30) < 0.5  # exp(-1)
    assert abs(linked(150)) < 0.25


def test_an_error_does_not_jump_from_hour_to_hour() -> None:
    """Else a night's lowest hour would gather the jumps, and every night be colder than its forecast."""
    members = drawn(windy(), count=200)
    miss = members.weather.air_c - members.weather.air_c.mean(axis=0)
    night = slice(24 * 4 - 5, 24 * 4 + 6)  # the sun is down: one spread
    jumps = np.diff(miss[:, night], axis=1).std() / miss[:, night].std()
    assert jumps < 0.12


def cold_spell(kelvin: float, day: int = 5) -> Weather:
    """A day and a half of other air about the evening of a day, in a fortnight that is otherwise alike."""
    hours = 24 * 14
    course = by_day(6.0, 12.0)(np.arange(hours, dtype=float))
    course = course + kelvin * (np.abs(np.arange(hours) - 24 * day - 18) < 18)
    return weather(hours, air_c=course, dew_c=-25.0, wind=6.0, cloud=1.0)


def middle_of_spell(given: Weather, day: int = 5, **more: datetime) -> float:
    return float(drawn(given, **more).weather.air_c[:, 24 * day + 18].mean() - given.air_c[0, 24 * day + 18])


def test_a_forecast_far_from_the_usual_is_not_believed_in_full() -> None:
    cold, warm = middle_of_spell(cold_spell(-10.0)), middle_of_spell(cold_spell(10.0))
    assert 1.0 < cold < 3.0
    assert -3.0 < warm < -1.0
    assert 0.0 < middle_of_spell(cold_spell(-10.0), issued=START + timedelta(days=5)) < 0.5 * cold
    assert middle_of_spell(cold_spell(0.0)) == pytest.approx(0.0, abs=0.1)


def test_what_is_past_is_not_drawn_back() -> None:
    assert middle_of_spell(cold_spell(-10.0), issued=START + timedelta(days=7)) == pytest.approx(
        0.0, abs=0.05
    )


def test_a_source_that_gives_its_own_spread_or_members_is_not_drawn_back() -> None:
    given = cold_spell(-10.0)
    own = replace(given, air_sigma_k=np.full((1, given.hours), 1.0))
    assert middle_of_spell(own) == pytest.approx(0.0, abs=0.05)
    assert middle_of_spell(stacked(given, given, given)) == pytest.approx(0.0, abs=0.05)


def test_a_gap_in_the_air_or_the_wind_draws_nothing_back_and_hides_nothing_else() -> None:
    given = unknown_in(cold_spell(-10.0), 40, 200, "air_c", "wind_ms")
    members = drawn(given).weather
    for name in ("air_c", "wind_ms"):
        hidden = np.isnan(getattr(members, name))
        assert hidden[:, 40:200].all()
        assert hidden.sum() == members.members * 160


def test_a_strong_wind_is_doubted_by_a_smaller_factor_than_a_light_one() -> None:
    given = weather(
        96, air_c=by_day(6.0, 12.0), dew_c=-12.0, cloud=1.0, wind=lambda h: 2.0 + 8.0 * (h % 24 > 11)
    )
    wind = drawn(given, count=200).weather.wind_ms
    light, strong = wind[:, 50] / wind[:, 50].mean(), wind[:, 62] / wind[:, 62].mean()
    assert strong.std() < 0.6 * light.std()
    assert wind[:, 62].mean() < 10.0  # drawn back towards the usual
    assert wind[:, 50].mean() > 2.0
    assert wind.min() >= 0.1 - 1e-12


def test_air_and_dew_point_err_together() -> None:
    members = drawn(windy(), count=200)
    a = members.weather.air_c[:, 100] - members.weather.air_c[:, 100].mean()
    d = members.weather.dew_point_c[:, 100] - members.weather.dew_point_c[:, 100].mean()
    assert np.corrcoef(a, d)[0, 1] > 0.7


def test_the_dice_belong_to_the_clock_and_not_to_the_forecast() -> None:
    """A later series draws the same errors for an hour, but for its first hours, which know no yesterday."""
    day = 24
    early = drawn(windy(24 * 10))
    given = windy(24 * 10)
    late = drawn(given.between(START + timedelta(days=1), given.end))
    for name in ("wind_ms", "cloud"):
        first = getattr(early.weather, name)[:, day + 120 :]
        second = getattr(late.weather, name)[:, 120:]
        np.testing.assert_allclose(first, second, rtol=0.01, atol=0.01)
    air = np.abs(early.weather.air_c[:, day + 150 :] - late.weather.air_c[:, 150:])
    assert air.max() < 0.15
    assert np.abs(early.weather.air_c[:, day : day + 6] - late.weather.air_c[:, :6]).max() > 0.15
    np.testing.assert_array_equal(early.drying, late.drying)


def test_an_unknown_hour_is_unknown_in_every_member() -> None:
    given = unknown_in(windy(72), 30, 33, "air_c", "rain_mm")
    members = drawn(given)
    for name in ("air_c", "rain_mm"):
        hidden = np.isnan(getattr(members.weather, name))
        assert hidden[:, 30:33].all()
        assert not hidden[:, :30].any()
        assert not hidden[:, 33:].any()


def test_a_chance_of_rain_sets_in_how_many_members_it_rains() -> None:
    given = replace(windy(72), rain_chance=np.full((1, 72), 0.4))
    members = drawn(given, count=100)
    wet = (members.weather.rain_mm[:, 24:] >= 0.2).mean(axis=0)
    assert 0.34 <= wet.mean() <= 0.46
    assert wet.min() > 0.2
    assert wet.max() < 0.6


def shower(first: int, last: int, hours: int = 240, mm: float = 0.8) -> Weather:
    """Overcast and windy, with one stretch of rain."""
    return weather(
        hours,
        air_c=by_day(6.0, 12.0),
        dew_c=-12.0,
        wind=6.0,
        cloud=1.0,
        rain=lambda hour: np.where((hour >= first) & (hour < last), mm, 0.0),
    )


def test_a_forecast_shower_is_real_as_a_whole_or_not_at_all_each_at_its_own_time() -> None:
    day = 4
    wet = drawn(shower(24 * day, 24 * day + 5), count=400).weather.rain_mm >= 0.2
    near = wet[:, 24 * day - 12 : 24 * day + 17]
    count = near.sum(axis=1)
    table = doubt()["rain"]
    hit = float(np.interp(day, table["days"], table["hit"]))
    assert (count >= 5).mean() == pytest.approx(hit, abs=0.05)
    assert ((count > 0) & (count < 5)).mean() < 0.05  # a few have another shower instead
    begins = near[count == 5].argmax(axis=1) - 12.0
    assert begins.std() == pytest.approx(np.interp(day, table["days"], table["shift_hours"]), rel=0.2)
    assert abs(begins.mean()) < 0.5


def test_rain_that_falls_as_the_forecast_is_made_has_begun() -> None:
    given = shower(40, 60)
    rain = drawn(given, issued=START + timedelta(hours=48), count=200).weather.rain_mm
    assert (rain[:, :49] == given.rain_mm[0, :49]).all()
    assert (rain[:, 49] >= 0.2).mean() > 0.88
    ends = np.array([np.flatnonzero(row[:75] >= 0.2).max() for row in rain])
    assert ends.std() > 0.5


def strays(given: Weather) -> float:
    """Share of wet hours three to ten days ahead."""
    return float((drawn(given, count=200).weather.rain_mm[:, 72:] >= 0.2).mean())


def test_rain_that_nobody_forecast_is_rarer_than_rain_and_the_rarer_the_drier_the_place() -> None:
    table = doubt()["rain"]
    dry = strays(shower(0, 0))
    rainy = strays(shower(0, 60))  # one quarter of the hours, all before those that are counted
    assert 0.0 < dry < 0.5 * table["base"]
    assert rainy > 1.5 * dry


def test_rain_that_nobody_forecast_falls_from_moist_air() -> None:
    moist = weather(240, air_c=8.0, humidity=lambda hour: np.where(hour < 120, 95.0, 50.0), cloud=1.0)
    wet = drawn(moist, count=200).weather.rain_mm >= 0.2
    assert wet[:, 60:115].mean() > 3.0 * wet[:, 125:180].mean()


def test_a_forecast_amount_with_a_small_chance_and_a_chance_without_amount_are_both_heard() -> None:
    given = shower(60, 64, hours=120)
    said = np.where((np.arange(120) >= 60) & (np.arange(120) < 64), 0.0, 0.02)
    alone = (drawn(given, count=200).weather.rain_mm[:, 60:64] >= 0.2).mean()
    wet = drawn(replace(given, rain_chance=said[None, :]), count=200).weather.rain_mm >= 0.2
    assert alone > 0.4
    assert wet[:, 60:64].mean() == pytest.approx(alone / 2.0, abs=0.06)  # the truth in the middle
    sure = drawn(replace(given, rain_chance=np.full((1, 120), 1.0)), count=100).weather.rain_mm >= 0.2
    assert sure[:, 1:].all()
    never = drawn(replace(windy(120), rain_chance=np.zeros((1, 120))), count=100).weather.rain_mm
    assert (never == 0.0).all()


def test_a_chance_and_an_amount_that_agree_are_not_counted_twice() -> None:
    given = shower(60, 66, hours=120)
    said = np.where((np.arange(120) >= 60) & (np.arange(120) < 66), 0.7, 0.02)
    wet = drawn(replace(given, rain_chance=said[None, :]), count=400).weather.rain_mm >= 0.2
    assert wet[:, 60:66].mean() == pytest.approx(0.7, abs=0.06)


def test_what_rains_in_a_member_is_rain() -> None:
    members = drawn(weather(96, rain=lambda hour: np.where((hour > 30) & (hour < 40), 0.5, 0.0)))
    rain = members.weather.rain_mm
    assert (rain[rain > 0.0] >= 0.2).all()
    sure = (rain[:, 34:37] > 0.0).mean()
    assert 0.8 < sure <= 1.0
    assert (rain[:, 60:] > 0.0).mean() < 0.1


def test_a_forecast_of_no_rain_leaves_some_members_wet_and_one_of_rain_some_dry() -> None:
    dry = drawn(weather(120)).weather.rain_mm
    assert 0.0 < (dry[:, 24:] > 0.0).mean() < 0.1
    wet = drawn(weather(120, rain=lambda hour: np.where(hour % 12 == 3, 1.0, 0.0))).weather.rain_mm
    assert 0.0 < (wet[:, 99] == 0.0).mean() < 0.9


def test_rain_that_has_fallen_is_not_doubted() -> None:
    given = weather(96, rain=lambda hour: np.where(hour == 5, 0.7, 0.0))
    members = drawn(given, issued=START + timedelta(hours=40))
    assert (members.weather.rain_mm[:, :40] == given.rain_mm[0, :40]).all()


def test_members_of_an_ensemble_keep_their_own_rain_and_are_dressed_in_doubt() -> None:
    parts = [
        weather(48, air_c=t, dew_c=-12.0, wind=6.0, rain=r) for t, r in ((4.0, 0.0), (6.0, 1.0), (8.0, 0.0))
    ]
    members = drawn(stacked(*parts), count=12)
    assert [set(row) for row in members.weather.rain_mm[:3]] == [{0.0}, {1.0}, {0.0}]
    assert (members.weather.rain_mm[3:6] == members.weather.rain_mm[:3]).all()
    assert len({round(float(x), 6) for x in members.weather.air_c[:, 20]}) == 12


def test_rain_that_all_members_of_an_ensemble_share_is_doubted_as_that_of_one_forecast() -> None:
    """As where only the control run gives rain, and it was laid under all the others."""
    parts = [
        weather(120, air_c=t, dew_c=-12.0, wind=6.0, rain=lambda h: np.where(h % 24 == 3, 1.0, 0.0))
        for t in (4.0, 6.0, 8.0)
    ]
    wet = (drawn(stacked(*parts)).weather.rain_mm > 0.0).mean(axis=0)
    assert 0.05 < wet[99] < 0.95
    assert (wet[96:102] > 0.0).sum() > 1  # at its own time in each


def test_the_dew_point_stays_under_the_air_in_every_member() -> None:
    members = drawn(weather(120, humidity=99.0, cloud=0.0, wind=0.5), hollow=-3.0)
    assert (members.weather.dew_point_c <= members.weather.air_c).all()


def test_cloud_that_nobody_told_is_drawn_with_clear_nights_among_it() -> None:
    given = replace(weather(120, humidity=60.0), cloud=None, sun_wm2=None, gust_ms=None)
    members = drawn(given)
    cloud, sun, gust = members.weather.cloud, members.weather.sun_wm2, members.weather.gust_ms
    assert cloud is not None
    assert sun is not None
    assert gust is not None
    assert cloud.min() >= 0.0
    assert cloud.max() <= 1.0
    assert (cloud < 0.3).mean() > 0.05
    assert (cloud > 0.7).mean() > 0.2
    assert (sun[:, 0] == 0.0).all()  # midnight
    assert sun[:, 11].min() > 20.0
    np.testing.assert_allclose(gust, 1.6 * members.weather.wind_ms)


def test_a_covered_or_clear_sky_that_is_forecast_may_be_otherwise_the_more_the_further_ahead() -> None:
    for told in (0.0, 1.0):
        cloud = drawn(weather(192, cloud=told), count=300).weather.cloud
        assert cloud is not None
        other = (np.abs(cloud - told) > 0.5).mean(axis=0)
        assert other[1] < 0.08
        assert 0.1 < other[150] < 0.4
        assert np.isin(cloud[:, 150], (0.0, 1.0)).mean() > 0.3  # mostly clear or covered, as skies are


def test_cloud_that_nobody_told_follows_the_air_by_day_and_little_by_night() -> None:
    dry = replace(weather(240, humidity=45.0), cloud=None, sun_wm2=None)
    damp = replace(weather(240, humidity=85.0), cloud=None, sun_wm2=None)
    clouds = [drawn(given, count=200).weather.cloud for given in (dry, damp)]
    noon = [float(cloud[:, 11::24].mean()) for cloud in clouds if cloud is not None]
    night = [float(cloud[:, ::24].mean()) for cloud in clouds if cloud is not None]
    assert noon[1] > noon[0] + 0.25
    assert night[1] < night[0] + 0.15
    assert night[1] < 0.6


def test_cold_air_gathers_on_clear_calm_nights_only() -> None:
    p = physics()
    one = np.array([[-4.0]])

    def shift(cloud: float, wind: float, height: float) -> float:
        return float(cold_air(one, np.array([[cloud]]), np.array([[wind]]), np.array([height]), p)[0, 0])

    assert shift(0.0, 0.5, -30.0) == -4.0
    assert shift(1.0, 0.5, -30.0) == 0.0  # overcast
    assert shift(0.0, 6.0, -30.0) == 0.0  # wind
    assert shift(0.0, 0.5, 25.0) == 0.0  # by day
    assert -4.0 < shift(0.5, 0.5, -30.0) < 0.0


def test_the_yards_cold_air_is_in_the_members() -> None:
    clear = weather(72, wind=0.5, cloud=0.0, dew_c=-20.0)
    plain, hollow = drawn(clear), drawn(clear, hollow=-3.0)
    night, noon = 48, 59
    gap = (hollow.weather.air_c - plain.weather.air_c).mean(axis=0)
    assert gap[night] < -1.8
    assert gap[noon] == pytest.approx(0.0, abs=1e-9)
    # How cold it runs down is doubted too.
    assert (hollow.weather.air_c - plain.weather.air_c)[:, night].std() > 0.3


def test_quantiles_are_centred_and_of_unit_spread() -> None:
    scores = quantiles(48, np.random.default_rng(3))
    assert scores.mean() == pytest.approx(0.0, abs=1e-12)
    assert scores.std() == pytest.approx(1.0, abs=0.05)
    assert len(set(scores)) == 48
