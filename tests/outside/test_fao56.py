"""Moist air and sunshine against tables and worked examples of FAO-56.

Allen, Pereira, Raes, Smith (1998), Crop evapotranspiration, FAO Irrigation and
Drainage Paper 56. Table 2.3 and the examples are quoted from memory where a
comment says so; the others were read in the documentation and tests of
general-purpose libraries that repeat them.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from scheduler.coating.face import sky_emissivity
from scheduler.weather import air
from scheduler.weather.sun import clear_sky, daylight, sun_height


# Annex 2, table 2.3 (from memory; 15 and 24.5 °C read)
@pytest.mark.parametrize(
    ("celsius", "kpa"),
    [
        (1.0, 0.657),
        (5.0, 0.872),
        (10.0, 1.228),
        (15.0, 1.705),
        (20.0, 2.338),
        (24.5, 3.075),
        (25.0, 3.168),
        (30.0, 4.243),
        (40.0, 7.376),
    ],
)
def test_saturation_vapour_pressure_is_that_of_table_2_3(celsius: float, kpa: float) -> None:
    assert air.saturation_water(celsius) == pytest.approx(kpa, abs=0.001)


def test_pressure_and_psychrometric_constant_of_example_2() -> None:
    pressure = air.pressure_at(1800.0)
    assert pressure == pytest.approx(81.8, abs=0.1)
    assert air.psychrometric_constant(pressure) == pytest.approx(0.054, abs=0.001)


def test_vapour_pressure_from_a_psychrometer_of_example_4() -> None:
    pressure = air.pressure_at(1200.0)
    assert pressure == pytest.approx(87.9, abs=0.1)
    assert air.saturation_water(19.5) == pytest.approx(2.267, abs=0.001)
    e = air.psychrometric_vapour_pressure(25.6, 19.5, pressure)
    assert e == pytest.approx(1.91, abs=0.01)  # from memory


def test_the_wet_bulb_of_example_4_comes_back() -> None:
    dew = air.dew_point(1.912)
    assert air.wet_bulb(25.6, dew, 87.9) == pytest.approx(19.5, abs=0.02)


def test_vapour_pressure_from_humidity_and_the_deficit_of_examples_5_and_6() -> None:
    low, high = air.saturation_water(18.0), air.saturation_water(25.0)
    actual = (low * 0.82 + high * 0.54) / 2.0
    assert actual == pytest.approx(1.70, abs=0.01)
    assert (low + high) / 2.0 - actual == pytest.approx(0.91, abs=0.01)  # from memory


def test_dew_point_is_the_inverse_of_the_saturation_curve() -> None:
    t = np.linspace(-30.0, 45.0, 76)
    np.testing.assert_allclose(air.dew_point(air.saturation_water(t)), t, atol=1e-9)


@pytest.mark.parametrize(("water", "celsius"), [(True, 3.0), (True, 25.0), (False, -3.0), (False, -18.0)])
def test_the_slopes_are_the_derivatives_of_their_curves(water: bool, celsius: float) -> None:
    curve, slope = (
        (air.saturation_water, air.saturation_slope) if water else (air.saturation_ice, air.ice_slope)
    )
    step = 1e-3
    numeric = (curve(celsius + step) - curve(celsius - step)) / (2 * step)
    assert slope(celsius) == pytest.approx(float(numeric), rel=1e-4)


# Annex 3: 2.45 MJ/kg at 20 °C
def test_latent_heat_at_20_degrees() -> None:
    assert air.latent_heat(20.0) == pytest.approx(2.45e6, abs=0.005e6)


def test_the_clear_night_sky_loses_what_the_long_wave_formula_says() -> None:
    """Eq 39 with the numbers of example 10 under a clear sky: 59 W/m², within 15 percent."""
    ea = 2.1
    mean = (4.903e-9 * (25.1 + 273.16) ** 4 + 4.903e-9 * (19.0 + 273.16) ** 4) / 2.0  # MJ/m²d
    loss = mean * (0.34 - 0.14 * np.sqrt(ea)) * 1e6 / 86400.0
    ours = (1.0 - sky_emissivity(22.0, ea, 0.0)) * 5.670374e-8 * 295.15**4
    assert ours == pytest.approx(loss, rel=0.15)


# Extraterrestrial radiation, MJ/m²d: example 8 (20°S, 3 September: 32.2), example 18 (50.8°N, 6 July: 41.09),
# from memory; clear-sky share 0.75 + 2e-5 z (eq 37). Ours takes its shape from Haurwitz (1945).
@pytest.mark.parametrize(
    ("latitude", "month", "day", "extraterrestrial", "altitude"),
    [(-20.0, 9, 3, 32.2, 0.0), (50.8, 7, 6, 41.09, 100.0)],
)
def test_a_clear_day_brings_the_sun_of_examples_8_and_18(
    latitude: float, month: int, day: int, extraterrestrial: float, altitude: float
) -> None:
    hours = np.arange(0.0, 24.0, 0.1) + 0.05
    power = clear_sky(sun_height(datetime(2025, month, day, tzinfo=UTC), hours, latitude, 0.0))
    energy = power.sum() * 360.0 / 1e6
    assert energy == pytest.approx((0.75 + 2e-5 * altitude) * extraterrestrial, rel=0.05)


def test_daylight_hours_of_example_9() -> None:
    """11.7 h at 20°S on 3 September (from memory), without refraction and radius, which add 7 minutes."""
    sun = daylight(date(2025, 9, 3), -20.0, 0.0, ZoneInfo("UTC"))
    assert sun is not None
    assert (sun[1] - sun[0]).total_seconds() / 3600.0 == pytest.approx(11.7 + 0.12, abs=0.07)
