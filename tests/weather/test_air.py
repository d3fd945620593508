"""Moist air: shapes, limits, and what must hold between its quantities (numbers: tests/outside)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.weather import air

QUICK = settings(max_examples=50, deadline=None)


@QUICK
@given(st.floats(-25.0, 40.0), st.floats(2.0, 100.0), st.floats(75.0, 104.0))
def test_the_wet_bulb_lies_between_dew_point_and_air(t: float, rh: float, pressure: float) -> None:
    dew = float(air.dew_point_from_humidity(t, rh))
    wet = float(air.wet_bulb(t, dew, pressure))
    assert dew - 1e-6 <= wet <= t + 1e-6


@QUICK
@given(st.floats(-25.0, 40.0), st.floats(2.0, 100.0))
def test_humidity_and_dew_point_are_each_others_way_back(t: float, rh: float) -> None:
    dew = air.dew_point_from_humidity(t, rh)
    assert 100.0 * air.humidity(t, dew) == pytest.approx(rh, rel=1e-9)


def test_below_zero_a_surface_holds_less_vapour_than_water_would() -> None:
    t = np.array([-15.0, -5.0, -0.1, 0.0, 5.0])
    surface, water = air.saturation_surface(t), air.saturation_water(t)
    assert (surface[:2] < water[:2]).all()
    assert (surface[3:] == water[3:]).all()
    assert surface[2] == pytest.approx(float(water[2]), rel=2e-3)  # no jump worth the name at zero


def test_thinner_air_cools_a_wet_bulb_more() -> None:
    assert air.wet_bulb(20.0, 8.0, 80.0) < air.wet_bulb(20.0, 8.0, 101.3)


def test_unknown_stays_unknown_and_shapes_are_kept() -> None:
    t = np.array([[10.0, np.nan], [0.0, 20.0]])
    for values in (
        air.saturation_water(t),
        air.dew_point_from_humidity(t, 60.0),
        air.wet_bulb(t, t - 3.0, 100.0),
        air.latent_heat(t),
        air.air_density(t, 100.0),
    ):
        assert values.shape == t.shape
        assert np.isnan(values[0, 1])
        assert np.isfinite(values[np.isfinite(t)]).all()


def test_pressure_falls_with_height() -> None:
    assert air.pressure_at(0.0) == pytest.approx(101.3)
    assert air.pressure_at(720.0) == pytest.approx(93.0, abs=0.3)
