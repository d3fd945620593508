"""Moist air against psychrolib: the equations of the ASHRAE Handbook, Fundamentals (2017), chapter 1.

Below 0 °C psychrolib gives the frost point where forecasts give the dew point
over water (and takes the humidity of air below 0 °C over ice); the comparison
says where that matters.
"""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest

from scheduler.weather import air

PRESSURE = 101.325  # kPa
psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize("celsius", [0.5, 5.0, 10.0, 20.0, 25.0, 35.0, 40.0])
def test_vapour_pressure_over_water_is_within_three_in_a_thousand(celsius: float) -> None:
    assert air.saturation_water(celsius) * 1000.0 == pytest.approx(
        psychrolib.GetSatVapPres(celsius), rel=0.003
    )


@pytest.mark.parametrize("celsius", [-30.0, -20.0, -10.0, -5.0, -0.5])
def test_vapour_pressure_over_ice_is_within_one_in_a_thousand(celsius: float) -> None:
    assert air.saturation_ice(celsius) * 1000.0 == pytest.approx(psychrolib.GetSatVapPres(celsius), rel=0.001)
    assert air.saturation_surface(celsius) == air.saturation_ice(celsius)


# Chapter 1, table 3, Pa
@pytest.mark.parametrize(
    ("celsius", "pascal"), [(5.0, 872.6), (25.0, 3169.7), (-5.0, 401.74), (-20.0, 103.24)]
)
def test_vapour_pressure_of_the_printed_table(celsius: float, pascal: float) -> None:
    assert air.saturation_surface(celsius) * 1000.0 == pytest.approx(pascal, rel=0.002)


CASES = [(21, 50), (25, 50), (10, 80), (7, 80), (7, 70), (2, 90), (30, 40), (35, 90), (4, 76)]


@pytest.mark.parametrize(("celsius", "humidity"), CASES)
def test_dew_point_above_zero(celsius: float, humidity: float) -> None:
    ours = air.dew_point_from_humidity(celsius, humidity)
    assert ours > 0.0
    assert ours == pytest.approx(psychrolib.GetTDewPointFromRelHum(celsius, humidity / 100.0), abs=0.03)


@pytest.mark.parametrize(("celsius", "humidity"), [(0.0, 90), (2.0, 60), (5.0, 40)])
def test_below_zero_ours_is_the_dew_point_over_water_and_lies_under_the_frost_point(
    celsius: float, humidity: float
) -> None:
    ours = air.dew_point_from_humidity(celsius, humidity)
    frost_point = psychrolib.GetTDewPointFromRelHum(celsius, humidity / 100.0)
    assert ours < frost_point < 0.0
    # The same vapour, asked over ice, gives psychrolib's answer.
    assert air.saturation_ice(frost_point) == pytest.approx(float(air.vapour_pressure(ours)), rel=0.002)


def test_dew_point_over_water_at_0_degrees_and_90_percent() -> None:
    # -1.45 °C over water (computed with a general weather library), where psychrolib says -1.27 over ice
    assert air.dew_point_from_humidity(0.0, 90.0) == pytest.approx(-1.45, abs=0.03)


@pytest.mark.parametrize(("celsius", "humidity"), [*CASES, (0, 90), (4, 75)])
def test_wet_bulb_is_the_thermodynamic_one_within_a_tenth(celsius: float, humidity: float) -> None:
    dew = air.dew_point_from_humidity(celsius, humidity)
    theirs = psychrolib.GetTWetBulbFromRelHum(celsius, humidity / 100.0, PRESSURE * 1000.0)
    ours = float(air.wet_bulb(celsius, dew, PRESSURE))
    assert 0.0 < ours - theirs < 0.1  # an aspirated wet bulb stands a little above the thermodynamic one


def test_wet_bulb_solves_its_own_equation_everywhere() -> None:
    t, rh = np.meshgrid(np.linspace(-2.0, 40.0, 43), np.linspace(5.0, 100.0, 20))
    dew = air.dew_point_from_humidity(t, rh)
    wet = air.wet_bulb(t, dew, 95.0)
    e = air.psychrometric_vapour_pressure(t, wet, 95.0)
    np.testing.assert_allclose(e, air.vapour_pressure(dew), atol=1e-9)
    assert (wet <= t + 1e-9).all()
    assert (wet >= dew - 1e-9).all()


def test_example_1_of_the_chapter() -> None:
    """40 °C dry, 20 °C thermodynamic wet bulb: dew point 7 °C, humidity 14 percent."""
    dew = 7.0
    assert air.humidity(40.0, dew) == pytest.approx(0.14, abs=0.01)
    assert air.wet_bulb(40.0, dew, PRESSURE) == pytest.approx(20.0, abs=0.35)


# 3 K above the dew point is the same rule as 80 to 83 percent humidity: arithmetic. Painters use both (common
# practice, no source).
@pytest.mark.parametrize(("celsius", "percent"), [(2, 80.5), (5, 80.9), (10, 81.6), (20, 82.9)])
def test_three_kelvin_above_the_dew_point_is_80_to_83_percent(celsius: float, percent: float) -> None:
    assert 100.0 * air.humidity(celsius, celsius - 3.0) == pytest.approx(percent, abs=0.15)


def test_density_of_dry_air_agrees() -> None:
    assert air.air_density(20.0, PRESSURE) == pytest.approx(
        psychrolib.GetDryAirDensity(20.0, PRESSURE * 1000.0), rel=1e-3
    )


def test_humidity_is_clipped_and_never_gives_a_dew_point_above_the_air() -> None:
    assert air.dew_point_from_humidity(10.0, 130.0) == pytest.approx(10.0)
    assert np.isfinite(air.dew_point_from_humidity(10.0, 0.0))
