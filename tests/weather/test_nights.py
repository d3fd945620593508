"""The yard's own cold air: what is learned from nights, how much it is doubted, and what is not believed."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from scipy import integrate, stats
from weather_samples import by_day, weather

from scheduler.settings import doubt, learning, physics
from scheduler.weather.nights import (
    Night,
    NightForecast,
    _by_frost,
    learn_offset,
    night_forecast,
    night_of,
)

NUMBERS = learning()["offset"]
FIRST = date(2025, 10, 1)
BERLIN = ZoneInfo("Europe/Berlin")


def nights(
    count: int, *, air: float = 0.0, hollow: float = 0.0, still: float = 0.0, sd: float = 0.0, seed: int = 1
) -> list[Night]:
    rng = np.random.default_rng(seed)
    out = []
    for n in range(count):
        share = still if still >= 0 else float(n % 2)
        low = 4.0 + 3.0 * np.sin(n)
        seen = low + air + share * hollow + sd * rng.standard_normal()
        out.append(Night(FIRST + timedelta(days=n), NightForecast(low, share, 0.6), low_c=float(seen)))
    return out


def learn(some: list[Night], hollow_c: float = -1.0):  # type: ignore[no-untyped-def]
    return learn_offset(some, hollow_c, NUMBERS, doubt())


def test_without_nights_it_is_the_yard_files_word_with_the_whole_doubt() -> None:
    found = learn([])
    assert (found.air_c, found.hollow_c, found.nights) == (0.0, -1.0, 0)
    assert found.hollow_sd == NUMBERS["prior_hollow_sd"]


def test_three_kelvin_are_learned_within_fifteen_readings_that_scatter_by_two() -> None:
    errors = [learn(nights(15, air=3.0, sd=2.0, seed=seed)).air_c - 3.0 for seed in range(40)]
    assert abs(float(np.mean(errors))) < 0.5
    assert float(np.std(errors)) < 0.8


def test_the_doubt_that_is_told_is_that_of_the_result() -> None:
    # Errors of independent nights; the estimator takes them as linked, so it may only claim less.
    found = [learn(nights(30, air=-2.0, sd=1.8, seed=seed)) for seed in range(60)]
    scores = [(one.air_c + 2.0) / one.air_sd for one in found]
    assert 0.3 < float(np.std(scores)) < 1.1


def test_clear_calm_nights_and_the_rest_are_told_apart() -> None:
    found = learn(nights(40, air=0.5, hollow=-4.0, still=-1.0, sd=1.0))
    assert found.air_c == pytest.approx(0.5, abs=0.6)
    assert found.still_c == pytest.approx(-3.5, abs=0.6)
    assert (found.nights, found.still_nights) == (40, 20)


def test_windy_nights_teach_nothing_of_the_hollow() -> None:
    found = learn(nights(30, air=1.0, still=0.0))
    assert found.hollow_c == pytest.approx(-1.0)
    assert found.hollow_sd >= NUMBERS["prior_hollow_sd"]


def test_what_was_learned_is_less_off_than_the_raw_forecast() -> None:
    found = learn(nights(40, air=-3.0, sd=1.0))
    assert found.before_k is not None
    assert found.after_k is not None
    assert found.after_k < 0.6 * found.before_k


def test_old_nights_fade() -> None:
    turned = nights(40, air=3.0) + [
        Night(n.morning + timedelta(days=40), n.forecast, n.forecast.low_c - 3.0) for n in nights(40)
    ]
    assert learn(turned).air_c < -1.5


@pytest.mark.parametrize(
    ("seen", "said", "word"),
    [
        (19.0, 4.0, "shade"),
        (41.0, 5.0, "°F"),
        (-13.0, 4.0, "shade"),
    ],
)
def test_a_reading_too_far_from_the_forecast_is_asked_about(seen: float, said: float, word: str) -> None:
    some = nights(10, air=1.0)
    odd = Night(FIRST + timedelta(days=20), NightForecast(said, 0.0, 0.6), low_c=seen)
    with_it, without = learn([*some, odd]), learn(some)
    assert with_it.air_c == without.air_c
    assert with_it.nights == 10
    assert with_it.aside[0][0] == odd.morning
    assert word in with_it.aside[0][1]


def test_a_thermometer_that_was_not_reset_is_noticed() -> None:
    one = Night(FIRST, NightForecast(1.0, 0.0, 0.6), low_c=-0.5)
    same = Night(FIRST + timedelta(days=1), NightForecast(6.0, 0.0, 0.6), low_c=-0.5)
    found = learn([one, same])
    assert found.nights == 1
    assert "reset" in found.aside[0][1]
    as_cold = Night(FIRST + timedelta(days=1), NightForecast(1.5, 0.0, 0.6), low_c=-0.5)
    assert learn([one, as_cold]).nights == 2


def test_the_order_in_which_nights_are_told_does_not_matter() -> None:
    some = nights(20, air=-2.0, hollow=-2.0, still=-1.0, sd=2.0)
    assert learn(some) == learn(some[::-1])


def test_frost_seen_where_none_was_forecast_says_the_yard_is_colder_and_the_other_way_round() -> None:
    mild = [Night(FIRST + timedelta(days=n), NightForecast(4.0, 0.9, 0.6), frost=True) for n in range(6)]
    cold = [Night(FIRST + timedelta(days=n), NightForecast(-2.0, 0.9, 0.6), frost=False) for n in range(6)]
    assert learn(mild).still_c < -2.0
    assert learn(cold).still_c > 0.5


def test_frost_where_it_was_certain_teaches_next_to_nothing() -> None:
    sure = [Night(FIRST, NightForecast(-12.0, 0.9, 0.6), frost=True)]
    assert learn(sure).still_c == pytest.approx(-1.0, abs=0.02)


@pytest.mark.parametrize("frost", [True, False])
@pytest.mark.parametrize("edge", [-6.0, -1.0, 3.0])
def test_the_step_for_frost_has_the_moments_of_the_exact_posterior(frost: bool, edge: float) -> None:
    """Against numerical integration of prior times probit (scipy.integrate)."""
    sd, width = 2.0, 4.0
    spread = np.diag([sd**2, 1e-12])
    mean, after = _by_frost(np.array([0.5, 0.0]), spread, np.array([1.0, 0.0]), edge, frost, width)

    def weight(x: float) -> float:
        likely = stats.norm.cdf((edge - x) / np.sqrt(width))
        return float(stats.norm.pdf(x, 0.5, sd) * (likely if frost else 1.0 - likely))

    total, first, second = (
        integrate.quad(lambda x, k=k: weight(x) * x**k, -30, 30, limit=200)[0] for k in range(3)
    )
    assert mean[0] == pytest.approx(first / total, abs=1e-4)
    assert after[0, 0] == pytest.approx(second / total - (first / total) ** 2, abs=1e-3)


# ------------------------------------------------------------------ the night of a forecast


def said(given, morning: date = date(2025, 11, 3)):  # type: ignore[no-untyped-def]
    return night_forecast(
        given,
        morning,
        zone=BERLIN,
        latitude=48.0,
        longitude=8.25,
        physics=physics(),
        doubt=doubt(),
        numbers=NUMBERS,
    )


def test_a_clear_calm_night_shows_all_of_the_cold_air_and_a_windy_or_cloudy_one_none() -> None:
    course = by_day(1.0, 9.0)
    clear = said(weather(96, air_c=course, wind=0.5, cloud=0.0))
    windy = said(weather(96, air_c=course, wind=6.0, cloud=0.0))
    dull = said(weather(96, air_c=course, wind=0.5, cloud=1.0))
    assert clear is not None
    assert windy is not None
    assert dull is not None
    assert clear.low_c == pytest.approx(1.0, abs=0.1)
    assert clear.still > 0.95
    assert windy.still == dull.still == 0.0


def test_a_night_that_the_forecast_does_not_wholly_know_gives_nothing() -> None:
    short = weather(40, air_c=by_day(1.0, 9.0))
    assert said(short) is None
    holed = weather(96, air_c=by_day(1.0, 9.0))
    holed.air_c[0, 50] = np.nan
    assert said(holed) is None
    assert said(weather(96), date(2025, 10, 30)) is None


def test_the_lead_is_counted_from_the_time_the_forecast_was_made() -> None:
    given = weather(96, air_c=by_day(1.0, 9.0)).from_source(issued=datetime(2025, 11, 2, 3, tzinfo=UTC))
    found = said(given)
    assert found is not None
    assert found.lead_days == pytest.approx(1.0, abs=0.1)


def test_an_evening_belongs_to_the_next_mornings_night_by_the_yards_clock() -> None:
    assert night_of(datetime(2025, 11, 2, 22, tzinfo=UTC), BERLIN, 18) == date(2025, 11, 3)
    assert night_of(datetime(2025, 11, 2, 23, tzinfo=UTC), BERLIN, 18) == date(2025, 11, 3)
    assert night_of(datetime(2025, 11, 2, 16, tzinfo=UTC), BERLIN, 18) == date(2025, 11, 2)
