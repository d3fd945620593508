"""The face and the log behind it: exposure, wind, the layer's heat and ice, what an unknown hour does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from weather_samples import around, at_hours, by_day, exactly, exposure, unknown_in, weather

from scheduler.coating.face import Exposure, exposure_of, face_air, film_on_face, run_node, wind_at_face
from scheduler.settings import Place, Site, physics
from scheduler.weather.fine import STEP_S, fine_grid
from scheduler.weather.series import Weather


def nodes(given: Weather, end: Exposure, *wetness: float):  # type: ignore[no-untyped-def]
    fine = fine_grid(exactly(given))
    a = face_air(
        fine.air_c,
        fine.dew_point_c,
        fine.wind_ms,
        fine.cloud,
        fine.sun_wm2,
        end,
        fine.pressure_kpa,
        fine.shelter,
    )
    return a, run_node(a, end, wetness, STEP_S, fine.first_day_mean())


# ------------------------------------------------------------------ exposure


def test_the_wind_at_an_end_is_that_of_the_logarithmic_profile() -> None:
    """z0 0.03 m from 10 m down to 0.7 m: 0.542 of the wind (textbook), half of it in the yard's shelter."""
    assert wind_at_face(4.0, replace(exposure(), shelter=1.0)) == pytest.approx(4.0 * 0.542, rel=0.002)
    assert wind_at_face(4.0, exposure()) == pytest.approx(4.0 * 0.271, rel=0.002)
    assert wind_at_face(0.0, exposure()) == physics()["least_wind"]


def test_a_roof_takes_sky_sun_and_part_of_the_wind() -> None:
    open_end = exposure_of(Site(), physics())
    for covered in (
        exposure_of(Site(), physics(), roofed=True),
        exposure_of(Site(), physics(), Place(name="lean-to", roofed=True)),
        exposure_of(Site(), physics(), Place(name="shed", frost_free=True)),
    ):
        assert covered.roofed
        assert covered.sky_view == 0.0
        assert covered.sun_share == 0.0
        assert covered.shelter < open_end.shelter


def test_shade_takes_the_sun_alone() -> None:
    shaded = exposure_of(Site(), physics(), Place(name="north side", shaded=True))
    assert shaded.sun_share == 0.0
    assert not shaded.roofed
    assert shaded.sky_view > 0.0
    shares = [exposure_of(Site(shade=s), physics()).sun_share for s in ("open", "half", "full")]
    assert shares[0] > shares[1] > shares[2] == 0.0


def test_what_the_yard_says_of_its_site_wins() -> None:
    told = exposure_of(Site(shelter=0.9, sky_view=0.5), physics(), diameter_cm=30)
    assert (told.shelter, told.sky_view, told.diameter_m) == (0.9, 0.5, 0.3)


def test_wetter_wood_holds_more_ice() -> None:
    end = exposure()
    wet = end.with_moisture(1.2, 500.0, physics())
    assert wet.core_ice == pytest.approx(3.34e5 * 0.10 * 0.9 * 500.0)
    assert end.with_moisture(0.25, 500.0, physics()).core_ice == 0.0  # under fibre saturation nothing freezes


# ------------------------------------------------------------------ the face


def face(t: float, rh: float, wind: float, wetness: float, core: float | None = None, **more: float):  # type: ignore[no-untyped-def]
    given = weather(2, air_c=t, humidity=rh, wind=wind, **more)
    fine = fine_grid(exactly(given))
    a = face_air(
        fine.air_c, fine.dew_point_c, fine.wind_ms, fine.cloud, fine.sun_wm2, exposure(), fine.pressure_kpa
    )
    return film_on_face(a, np.full(fine.air_c.shape, t if core is None else core), wetness)


def test_a_wet_face_is_colder_than_a_drying_one_and_that_colder_than_a_dry_one() -> None:
    wet, drying, dry = (float(face(8.0, 65.0, 3.0, f).surface_c[0, 0]) for f in (1.0, 0.3, 0.0))
    assert wet < drying < dry
    assert float(face(8.0, 65.0, 3.0, 0.0).evaporation[0, 0]) == 0.0


def test_dew_falls_on_a_dry_face_as_on_a_wet_one() -> None:
    cold_log = [face(6.0, 99.0, 1.0, f, core=-2.0).evaporation[0, 0] for f in (0.0, 1.0)]
    assert cold_log[0] < 0.0
    assert cold_log[0] == pytest.approx(cold_log[1], rel=0.05)


def test_sun_and_a_warm_log_warm_the_face() -> None:
    plain = face(8.0, 65.0, 1.0, 0.0).surface_c[0, 0]
    assert face(8.0, 65.0, 1.0, 0.0, sun=400.0).surface_c[0, 0] > plain + 1.0
    assert face(8.0, 65.0, 1.0, 0.0, core=12.0).surface_c[0, 0] > plain + 1.0


def test_the_answer_to_a_warmer_log_is_the_slope_that_is_told() -> None:
    here, warmer = face(8.0, 65.0, 2.0, 1.0, core=8.0), face(8.0, 65.0, 2.0, 1.0, core=9.0)
    assert warmer.surface_c[0, 0] - here.surface_c[0, 0] == pytest.approx(here.per_core[0, 0], rel=0.1)
    assert warmer.evaporation[0, 0] - here.evaporation[0, 0] == pytest.approx(
        here.evaporation_per_core[0, 0], rel=0.1
    )


def test_unknown_air_makes_an_unknown_face() -> None:
    place = around(unknown_in(weather(10), 4, 5, "dew_point_c"))
    hidden = np.isnan(place.wet.surface_c[0])
    assert hidden[12:20].all()
    assert not hidden[:12].any()
    assert not hidden[20:].any()


# ------------------------------------------------------------------ the log


@pytest.mark.parametrize("wetness", [0.0, 0.3, 1.0])
def test_the_layer_follows_the_full_balance_stepped_by_the_minute(wetness: float) -> None:
    """The linear face inside the node against small Euler steps with the full balance: 0.25 K throughout."""
    given = weather(
        96,
        air_c=by_day(1.5, 11.0),
        dew_c=0.0,
        wind=by_day(0.5, 4.0),
        cloud=0.4,
        sun=by_day(-250.0, 250.0, 12.0),
    )
    given = replace(given, sun_wm2=np.maximum(given.sun_wm2, 0.0))
    end = exposure()
    a, (node,) = nodes(given, end, wetness)
    core = np.array([float(node.temperature_c[0, 0])])
    worst = 0.0
    for k in range(a.air_c.shape[1]):
        worst = max(worst, abs(float(core[0] - node.temperature_c[0, k])))
        here = a.pick((slice(None), k))
        for _ in range(5):
            state = film_on_face(here, core, wetness)
            core = core + end.core_conductance * (state.surface_c - core) / end.core_heat * (STEP_S / 5)
    assert worst < 0.25


def test_a_log_forgets_a_warm_day_within_the_time_that_its_heat_gives() -> None:
    """9 W/m²K on 0.28 MJ/m²K alone would fade to a third in 8.6 h; the air in front makes it slower."""
    given = weather(24 * 6, air_c=np.where(np.arange(24 * 6) < 48, 15.0, 5.0), dew_c=-5.0)
    _, (node,) = nodes(given, exposure(), 0.0)
    end = float(node.temperature_c[0, -1])
    left = (node.temperature_c[0] - end) / (node.temperature_c[0, 48 * 4] - end)
    third = (int(np.argmax(left[48 * 4 :] < np.exp(-1.0))) / 4.0) - 1.0  # the air falls within an hour
    assert 10.0 < third < 24.0


def test_a_frozen_log_stays_at_zero_for_days_of_mild_air() -> None:
    """9.2 MJ/m² of ice; 9 W/m²K of wood behind 8 of air pass 34 W/m² at 8 K: about three days."""
    course = np.where(np.arange(24 * 9) < 72, -8.0, 8.0)
    _, (node,) = nodes(weather(24 * 9, air_c=course, humidity=75.0), exposure(), 0.0)
    t = node.temperature_c[0, ::4]
    assert t[71] < -5.0
    plateau = np.abs(t[72:]) < 0.05
    assert 55 < plateau.sum() < 95
    assert t[-1] > 3.0
    dry_wood = exposure().with_moisture(0.3, 550.0, physics())
    _, (quick,) = nodes(weather(24 * 9, air_c=course, humidity=75.0), dry_wood, 0.0)
    assert (np.abs(quick.temperature_c[0, 72 * 4 :: 4]) < 0.05).sum() < 4


def test_a_log_freezes_as_slowly_as_it_thaws() -> None:
    course = np.where(np.arange(24 * 6) < 48, 4.0, -2.0)
    _, (node,) = nodes(weather(24 * 6, air_c=course, humidity=75.0), exposure(), 0.0)
    assert node.temperature_c[0, 80 * 4] == pytest.approx(0.0, abs=1e-6)
    assert (np.diff(node.enthalpy[0, 52 * 4 :]) < 0.0).all()


def test_enthalpy_and_temperature_tell_the_same() -> None:
    given = weather(24 * 6, air_c=by_day(-6.0, 6.0), humidity=70.0)
    end = exposure()
    _, (node,) = nodes(given, end, 0.0)
    h, t = node.enthalpy[0], node.temperature_c[0]
    np.testing.assert_allclose(t[h < 0.0], h[h < 0.0] / end.core_heat)
    np.testing.assert_allclose(t[h > end.core_ice], (h[h > end.core_ice] - end.core_ice) / end.core_heat)
    between = (h >= 0.0) & (h <= end.core_ice)
    assert between.any()
    assert (t[between] == 0.0).all()


@pytest.mark.parametrize(("mean", "state"), [(-5.0, "frozen"), (5.0, "thawed")])
def test_the_first_day_tells_whether_the_log_begins_frozen(mean: float, state: str) -> None:
    end = exposure()
    _, (node,) = nodes(weather(48, air_c=mean, humidity=70.0), end, 0.0)
    begin = float(node.enthalpy[0, 0])
    assert begin == pytest.approx(end.core_heat * mean + (end.core_ice if state == "thawed" else 0.0))


def test_a_log_half_frozen_at_the_first_hour_begins_at_zero_and_not_above_its_mean() -> None:
    end = exposure()
    _, (node,) = nodes(weather(48, air_c=-1.0, humidity=70.0), end, 0.0)
    assert -1.0 <= node.temperature_c[0, 0] <= 0.0


def test_the_log_stands_still_in_an_unknown_hour() -> None:
    given = unknown_in(weather(72, air_c=by_day(2.0, 12.0), dew_c=0.0), 40, 46, "air_c", "dew_point_c")
    _, (node,) = nodes(given, exposure(), 0.0)
    assert np.isfinite(node.temperature_c).all()
    assert len(set(node.temperature_c[0, 39 * 4 : 46 * 4 + 1])) == 1
    assert (node.decay[0, 39 * 4 : 46 * 4] == 0.0).all()


def test_a_log_under_a_wet_film_is_colder_than_one_under_a_dry_face() -> None:
    place = around(weather(96, air_c=10.0, humidity=60.0))
    assert (place.wet_node.temperature_c[:, 96:] < place.drying_node.temperature_c[:, 96:]).all()
    assert (place.drying_node.temperature_c[:, 96:] < place.dry_node.temperature_c[:, 96:]).all()


# ------------------------------------------------------------------ water on a bare face


def test_rain_wets_a_face_and_the_wind_dries_it() -> None:
    place = around(weather(60, air_c=12.0, humidity=60.0, wind=4.0, rain=at_hours(0.0, h20=1.0)))
    water = place.face_water[0]
    assert (water[: 20 * 4] == 0.0).all()
    assert water[21 * 4] == pytest.approx(physics()["face_water_held"])
    dry_again = int(np.argmax(water[21 * 4 :] == 0.0)) / 4.0
    assert 0.5 < dry_again < 6.0


def test_dew_wets_a_face_on_a_clear_still_night() -> None:
    place = around(weather(60, air_c=6.0, humidity=99.0, wind=0.3, cloud=0.0))
    assert place.face_water[0, -1] > 0.01


def test_under_a_roof_no_rain_falls_on_a_face() -> None:
    place = around(weather(60, rain=1.0), exposure(roofed=True))
    assert (place.face_water == 0.0).all()


def test_two_hours_of_unknown_rain_leave_the_face_unknown_until_it_would_have_dried() -> None:
    given = unknown_in(weather(60, air_c=12.0, humidity=60.0, wind=4.0), 20, 22, "rain_mm")
    water = around(given).face_water[0]
    assert (water[: 20 * 4 + 1] == 0.0).all()
    assert np.isnan(water[20 * 4 + 1 : 22 * 4 + 1]).all()
    known_again = np.flatnonzero(np.isfinite(water) & (np.arange(water.size) > 22 * 4))
    assert 22 * 4 + 2 <= known_again[0] <= 28 * 4
    assert (water[known_again[0] :] == 0.0).all()


def test_unknown_rain_does_not_matter_under_a_roof() -> None:
    given = unknown_in(weather(60), 20, 22, "rain_mm")
    place = around(given, exposure(roofed=True))
    assert (place.face_water == 0.0).all()
    assert not place.rain_stops.any()
