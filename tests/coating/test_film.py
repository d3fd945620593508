"""A coat's milestones: their laws, their order, and what rain, dew and unknown hours do to them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from weather_samples import (
    around,
    at_hours,
    by_day,
    emulsion,
    exactly,
    exposure,
    stacked,
    unknown_in,
    weather,
)

from scheduler.coating.film import (
    FilmClocks,
    Milestones,
    Surroundings,
    by_most,
    film_rate,
    film_series,
    step_film,
)
from scheduler.coating.product import Coating
from scheduler.settings import physics
from scheduler.weather.series import Weather

NAMES = ("touch_dry", "frost_safe", "rain_safe", "dry")
DRYING = physics()["drying_wetness"]
SETTLE = 48
FEW = settings(max_examples=8, deadline=None, derandomize=True)
MINUTES = 0.12  # grid steps: what the two discrete times of one event may differ by


def stepped(place: Surroundings, coat: Coating, *hours: float) -> Milestones:
    return step_film(place, coat, [round(h * 4) for h in hours], 140).milestones


def by_clocks(place: Surroundings, coat: Coating, *hours: float) -> Milestones:
    return FilmClocks(place, coat, DRYING).milestones([round(h * 4) for h in hours])


WAYS = pytest.mark.parametrize("way", [stepped, by_clocks], ids=["stepping", "clocks"])


def both(*parts: Weather) -> Surroundings:
    """Several weathers side by side, as members."""
    return around(stacked(*parts))


# ------------------------------------------------------------------ the laws (tests/outside: the numbers)

conditions = st.fixed_dictionaries(
    {
        "t": st.floats(3.0, 28.0),
        "swing": st.floats(0.0, 3.0),
        "spread": st.floats(2.0, 12.0),
        "wind": st.floats(0.0, 7.0),
        "cloud": st.floats(0.5, 1.0),
        "start": st.integers(0, 20),
    }
)


def make(c: dict[str, float], **change: float) -> Weather:
    """Dew point throughout under the night's air by most of the spread, so that no dew falls."""
    c = {**c, **change}
    low = c["t"] - c["swing"]
    return weather(
        24 * 9,
        air_c=by_day(low, c["t"] + c["swing"]),
        dew_c=c.get("dew", low - c["spread"]),
        wind=c["wind"],
        cloud=c["cloud"],
    )


def ordered(first: np.ndarray, second: np.ndarray, slack: float) -> bool:
    """First not later than second; what neither reaches says nothing."""
    return bool((first[np.isfinite(second)] <= second[np.isfinite(second)] + slack).all())


@WAYS
@FEW
@given(conditions, st.floats(0.3, 4.0))
def test_more_wind_never_makes_a_coat_slower_to_touch_dry_and_frost_safe(
    way, c: dict[str, float], more: float
) -> None:
    place = both(make(c, wind=c["wind"] + more), make(c))
    assume(np.nanmin(place.wet.evaporation) > 0.0)  # no dew
    assume(np.nanmin(place.wet.surface_c) > 0.0)
    found = way(place, emulsion(), SETTLE + c["start"])
    for name in ("touch_dry", "frost_safe"):
        windy, calm = found.named(name)
        assert ordered(windy, calm, MINUTES), name


@WAYS
@FEW
@given(conditions, st.floats(0.5, 5.0))
def test_drier_air_never_makes_a_coat_slower_to_touch_dry_and_frost_safe(
    way, c: dict[str, float], less: float
) -> None:
    dew = c["t"] - c["swing"] - c["spread"]
    place = both(make(c, dew=dew - less), make(c, dew=dew))
    assume(np.nanmin(place.wet.evaporation) > 0.0)
    assume(np.nanmin(place.wet.surface_c) > 0.0)
    found = way(place, emulsion(), SETTLE + c["start"])
    for name in ("touch_dry", "frost_safe"):
        dry, damp = found.named(name)
        assert ordered(dry, damp, MINUTES), name


@WAYS
@FEW
@given(conditions, st.floats(0.5, 5.0), st.booleans())
def test_warmth_never_makes_a_coat_slower_to_rain_safe_and_dry(
    way, c: dict[str, float], more: float, same_dew: bool
) -> None:
    """At the same dew point, and at the same distance from it."""
    dew = {"dew": c["t"] - c["swing"] - c["spread"]} if same_dew else {}
    place = both(make(c, t=c["t"] + more, **dew), make(c, **dew))
    assume(np.nanmin(place.wet.evaporation) > 0.0)
    found = way(place, emulsion(), SETTLE + c["start"])
    for name in ("rain_safe", "dry"):
        warm, cool = found.named(name)
        assert ordered(warm, cool, MINUTES), name


@WAYS
@FEW
@given(conditions, st.floats(1.05, 1.6), st.sampled_from(["film", "spots"]))
def test_a_thicker_coat_is_never_faster_in_anything(
    way, c: dict[str, float], thicker: float, how: str
) -> None:
    place = around(make(c))
    thin = emulsion()
    thick = (
        replace(thin, water_kgm2=thin.water_kgm2 * thicker)
        if how == "film"
        else replace(thin, thick_factor=thin.thick_factor * thicker)
    )
    starts = [SETTLE + c["start"] + n for n in (0.0, 0.5, 5.25)]
    a, b = way(place, thin, *starts), way(place, thick, *starts)
    for name in NAMES:
        assert ordered(a.named(name), b.named(name), MINUTES), name


@WAYS
@FEW
@given(conditions)
def test_milestones_come_in_their_order(way, c: dict[str, float]) -> None:
    starts = [SETTLE + c["start"] + n for n in range(0, 24, 5)]
    found = way(around(make(c)), emulsion(), *starts)
    begin = np.array(starts) * 4.0
    assert (found.touch_dry >= begin).all()
    assert (found.frost_safe >= found.touch_dry - MINUTES).all()
    assert (found.rain_safe >= found.frost_safe - MINUTES).all()
    # The search counts film forming before rain-safe on the damp face alone, later than stepping: late rather
    # than early, and in the cold it may say rain-safe after dry.
    if way is stepped:
        assert (found.dry >= found.rain_safe - MINUTES).all()


# ------------------------------------------------------------------ numbers worked out before

# Rate of film forming of the ordinary emulsion relative to 21 °C (arithmetic on its settings)
RATES = [(3, 0.044), (4, 0.143), (5, 0.257), (5.5, 0.321), (7, 0.360), (10, 0.452), (15, 0.653), (21, 1.0)]


@pytest.mark.parametrize(("celsius", "rate"), [*RATES, (25, 1.316), (30, 1.835), (2.4, 0.0), (-40, 0.0)])
def test_film_forming_stops_under_the_least_temperature_and_doubles_with_warmth(
    celsius: float, rate: float
) -> None:
    assert film_rate(np.array([float(celsius)]), emulsion())[0] == pytest.approx(rate, abs=0.002)


def test_a_member_may_doubt_the_least_film_temperature() -> None:
    shifted = film_rate(np.array([[5.0], [5.0]]), emulsion(), np.array([[-1.0], [1.0]]))
    assert shifted[0, 0] > shifted[1, 0] > 0.0


# Steady overcast weather, hours to touch-dry, frost-safe, rain-safe, dry: worked out when the model was made
STEADY = [
    (21, 50, 0, (3.0, 4.5, 5.7, 9.8)),
    (25, 45, 3, (1.2, 1.8, 2.8, 5.8)),
    (15, 60, 3, (2.5, 3.8, 5.8, 11.8)),
    (10, 70, 3, (4.5, 6.7, 9.3, 18.2)),
    (7, 75, 2, (7.5, 11.5, 14.5, 25.7)),
    (4, 80, 2, (12.0, 18.0, 38.0, 82.0)),
]


@pytest.mark.parametrize(("t", "rh", "wind", "hours"), STEADY)
def test_steady_weather_gives_the_hours_worked_out_before(
    t: float, rh: float, wind: float, hours: tuple[float, ...]
) -> None:
    place = around(weather(24 * 8, air_c=t, humidity=rh, wind=wind))
    found = stepped(place, emulsion(), 72)
    for name, said in zip(NAMES, hours, strict=True):
        assert (found.named(name)[0, 0] / 4.0 - 72.0) == pytest.approx(said, rel=0.1, abs=0.13), name


# ------------------------------------------------------------------ rain, dew, unknown hours


@WAYS
def test_no_water_leaves_a_coat_in_a_wet_hour(way) -> None:
    fair = weather(24 * 6, air_c=15.0, humidity=60.0)
    rainy = replace(fair, rain_mm=weather(24 * 6, rain=at_hours(0.0, h50=1.0, h51=1.0)).rain_mm)
    a, b = way(around(fair), emulsion(), 49), way(around(rainy), emulsion(), 49)
    late = (b.frost_safe - a.frost_safe)[0, 0] / 4.0
    assert 1.8 < late < 2.6
    drizzle = replace(fair, rain_mm=weather(24 * 6, rain=0.15).rain_mm)
    assert way(around(drizzle), emulsion(), 49).frost_safe[0, 0] == pytest.approx(a.frost_safe[0, 0])


@WAYS
def test_rain_does_not_reach_a_coat_under_a_roof(way) -> None:
    roof = exposure(roofed=True)
    fair = weather(24 * 6, air_c=15.0, humidity=60.0)
    wet = weather(24 * 6, air_c=15.0, humidity=60.0, rain=2.0)
    for name in NAMES:
        a = way(around(fair, roof), emulsion(), 49).named(name)
        b = way(around(wet, roof), emulsion(), 49).named(name)
        np.testing.assert_array_equal(a, b)


@WAYS
@pytest.mark.parametrize("hidden", [("air_c",), ("dew_point_c",), ("wind_ms",), ("rain_mm",)])
def test_unknown_hours_bring_no_milestone_nearer(way, hidden: tuple[str, ...]) -> None:
    fair = weather(24 * 6, air_c=15.0, humidity=60.0)
    place = both(fair, unknown_in(fair, 50, 54, *hidden))
    found = way(place, emulsion(), 49)
    for name in ("touch_dry", "frost_safe", "dry"):
        known, gap = found.named(name)[:, 0] / 4.0
        assert gap - known > 3.5, name
        assert np.isfinite(gap)


@WAYS
def test_what_lies_behind_the_end_of_the_data_is_never_reached(way) -> None:
    found = way(around(weather(60, air_c=10.0, humidity=70.0)), emulsion(), 50)
    assert np.isfinite(found.touch_dry[0, 0])
    assert np.isinf(found.dry[0, 0])


def dewy(cloud: float) -> Surroundings:
    """Days that dry, and nights in which dew falls under a clear sky and next to none under a closed one."""
    hour = np.arange(24 * 6) % 24
    humid = np.where((hour < 7) | (hour > 19), 97.0, 60.0)
    return around(weather(24 * 6, air_c=by_day(6.0, 11.0), humidity=humid, wind=1.5, cloud=cloud))


@WAYS
def test_dew_puts_a_coat_back(way) -> None:
    clear, closed = dewy(0.0), dewy(1.0)
    night = slice(68 * 4, 78 * 4)
    assert clear.wet.evaporation[0, night].mean() < 0.0
    assert closed.wet.evaporation[0, night].mean() > 0.0
    a, b = way(clear, emulsion(), 48 + 17), way(closed, emulsion(), 48 + 17)
    assert np.isfinite(a.frost_safe).all()
    assert a.frost_safe[0, 0] > b.frost_safe[0, 0] + 4.0


def test_dew_must_leave_before_the_water_of_the_coat_by_the_clocks_too() -> None:
    place = dewy(0.0)
    a, b = stepped(place, emulsion(), 63, 65), by_clocks(place, emulsion(), 63, 65)
    for name in ("touch_dry", "frost_safe"):
        np.testing.assert_allclose(b.named(name) / 4.0, a.named(name) / 4.0, atol=0.6)


def test_a_film_takes_no_more_dew_than_runs_off() -> None:
    """A week of fog: when it lifts, a coat holds half as much again as it had, and dries from there."""
    hours = np.arange(24 * 12)
    fog = weather(24 * 12, air_c=12.0, humidity=np.where(hours < 24 * 9, 100.0, 60.0), wind=1.0, cloud=0.0)
    place = around(fog)
    found = step_film(place, emulsion(), [24 * 4, 24 * 6 * 4], 24 * 11).milestones
    assert np.isfinite(found.dry).all()
    assert abs(float(found.frost_safe[0, 0] - found.frost_safe[0, 1])) < 1.0


# ------------------------------------------------------------------ data sheet


@WAYS
def test_a_sheets_slower_touch_dry_wins_and_a_faster_one_does_not(way) -> None:
    place = around(weather(24 * 8, air_c=21.0, humidity=50.0, wind=0.0))
    plain = way(place, emulsion(), 72).touch_dry[0, 0]
    slow = way(place, emulsion(touch_dry_h=6.0), 72).touch_dry[0, 0]
    fast = way(place, emulsion(touch_dry_h=0.5), 72).touch_dry[0, 0]
    assert fast == pytest.approx(plain)
    assert (slow - 72 * 4) / 4.0 == pytest.approx(6.0, rel=0.25)  # the sheet's panel is warmer than a log


def test_stepping_and_clocks_agree_on_a_sheets_touch_dry_inside_a_quarter_hour() -> None:
    place = around(weather(24 * 8, air_c=21.0, humidity=50.0, wind=3.0))
    coat = emulsion(touch_dry_h=4.0)
    a, b = stepped(place, coat, 100).touch_dry[0, 0], by_clocks(place, coat, 100).touch_dry[0, 0]
    assert a == pytest.approx(b, abs=0.7)
    assert a != round(a)


def test_a_slower_sheet_makes_film_forming_slower() -> None:
    place = around(weather(24 * 8, air_c=21.0, humidity=50.0))
    assert (
        stepped(place, emulsion(dry_h=24.0), 72).dry[0, 0] > stepped(place, emulsion(), 72).dry[0, 0] + 20.0
    )


def test_the_second_coat_is_faster() -> None:
    place = around(weather(24 * 8, air_c=12.0, humidity=60.0))
    first, second = (stepped(place, c, 72) for c in (emulsion(), emulsion().second()))
    for name in NAMES:
        assert second.named(name)[0, 0] < first.named(name)[0, 0]


# ------------------------------------------------------------------ shapes and helpers


def test_doubt_about_drying_spreads_the_milestones() -> None:
    members = exactly(stacked(*[weather(24 * 6)] * 3))
    members = replace(members, drying=np.array([0.7, 1.0, 1.4]))
    found = step_film(around(members), emulsion(), [49 * 4]).milestones
    slow, middle, fast = found.touch_dry[:, 0]
    assert slow > middle > fast


def test_milestones_of_many_starts_are_those_of_each_alone() -> None:
    place = both(weather(24 * 6), weather(24 * 6, air_c=8.0))
    hours = (48, 50.25, 61.5)
    for way in (stepped, by_clocks):
        together = way(place, emulsion(), *hours)
        for n, hour in enumerate(hours):
            alone = way(place, emulsion(), hour)
            for name in NAMES:
                np.testing.assert_allclose(together.named(name)[:, n], alone.named(name)[:, 0])
                assert together.named(name).shape == (2, 3)


def test_the_film_of_a_stepped_start_lies_on_the_grid() -> None:
    place = around(weather(24 * 6))
    run = step_film(place, emulsion(), [200, 230])
    film = film_series(place, run, 1, 230)
    assert film.shape == place.wet.surface_c.shape
    np.testing.assert_array_equal(film[:, :230], place.wet.surface_c[:, :230])
    # A fresh film lies on the log of a dry face, which is warmer than that under a film that was always wet.
    assert film[0, 230] > place.wet.surface_c[0, 230]
    assert np.abs(film[0, 230:330] - place.wet.surface_c[0, 230:330]).max() > 0.1


def test_the_film_of_an_unknown_hour_is_unknown() -> None:
    place = around(unknown_in(weather(24 * 6), 60, 62, "air_c"))
    film = film_series(place, step_film(place, emulsion(), [220]), 0, 220)
    assert np.isnan(film[0, 60 * 4 : 62 * 4]).all()


def test_most_means_the_share_asked_and_none_when_too_few_get_there() -> None:
    times = np.array([5.0, 1.0, 3.0, 2.0, 4.0])
    assert by_most(times, 0.8) == 4.0
    assert by_most(times, 1.0) == 5.0
    assert by_most(np.array([1.0, 2.0, np.inf, np.inf]), 0.5) == 2.0
    assert by_most(np.array([1.0, 2.0, np.inf, np.inf]), 0.8) is None
