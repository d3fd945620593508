"""Convection at an upright face against the ``ht`` library, a textbook example and a measurement outdoors."""

from __future__ import annotations

import fluids.atmosphere
import ht
import numpy as np
import pytest

from scheduler.coating.face import convection_forced, convection_free, nusselt_free

PASCAL = 101325.0


def test_the_textbook_example_of_the_upright_plate() -> None:
    """Incropera and DeWitt, example 9.2: Pr 0.69, Gr 2.63e9 gives Nu 147 (``ht`` is checked with it)."""
    assert nusselt_free(0.69 * 2.63e9, 0.69) == pytest.approx(147.16, abs=0.01)


@pytest.mark.parametrize("grashof", [1e3, 1e6, 1e8, 2.63e9, 1e11])
def test_free_convection_is_churchill_and_chu_as_ht_has_it(grashof: float) -> None:
    theirs = ht.conv_free_immersed.Nu_vertical_plate_Churchill(0.71, grashof)
    assert nusselt_free(0.71 * grashof) == pytest.approx(theirs, rel=1e-6)


def air_properties(celsius: float) -> tuple[float, float]:
    """Kinematic viscosity m²/s and conductivity W/mK, US Standard Atmosphere 1976 out of ``fluids``."""
    kelvin = celsius + 273.15
    atmosphere = fluids.atmosphere.ATMOSPHERE_1976
    density = PASCAL / (287.05 * kelvin)
    return atmosphere.viscosity(kelvin) / density, atmosphere.thermal_conductivity(kelvin)


@pytest.mark.parametrize("celsius", [-10.0, 0.0, 10.0, 30.0])
def test_air_is_as_viscous_and_conducting_as_in_the_standard_atmosphere(celsius: float) -> None:
    viscosity, conductivity = air_properties(celsius)
    wind, across = 1.7, 0.4
    nusselt = convection_forced(wind, across, celsius, PASCAL / 1000.0) * across / conductivity
    reynolds = wind * across / viscosity
    assert nusselt == pytest.approx(0.86 * np.sqrt(reynolds) * 0.71 ** (1 / 3), rel=0.005)


@pytest.mark.parametrize("kelvins", [0.5, 2.0, 7.0])
def test_free_convection_carries_the_right_scale(kelvins: float) -> None:
    viscosity, conductivity = air_properties(10.0)
    across = 0.5
    grashof = 9.80665 / 283.15 * kelvins * across**3 / viscosity**2
    theirs = ht.conv_free_immersed.Nu_vertical_plate_Churchill(0.71, grashof) * conductivity / across
    assert convection_free(kelvins, across, 10.0, PASCAL / 1000.0) == pytest.approx(theirs, rel=0.005)


def test_the_order_of_magnitude_is_that_measured_on_an_outdoor_wall() -> None:
    """Jayamaha et al. (1996), Building and Environment 31:399: 6 to 10 W/m²K at 0 to 4 m/s."""
    wind = np.array([0.25, 0.5, 1.0, 2.0, 3.0, 4.0])
    h = np.cbrt(convection_forced(wind, 0.5) ** 3 + convection_free(3.0, 0.5) ** 3)
    assert (np.diff(h) > 0.0).all()
    assert 3.0 < h[0] < 6.0
    assert 6.0 < float(np.mean(h)) < 10.0
    assert h[-1] < 15.0


def test_a_face_across_the_wind_is_cooled_more_than_a_plate_along_it() -> None:
    """Laminar plate along the wind: Nu = 0.664 Re^1/2 Pr^1/3 (textbook)."""
    viscosity, conductivity = air_properties(10.0)
    reynolds = 2.0 * 0.5 / viscosity
    along = 0.664 * np.sqrt(reynolds) * 0.71 ** (1 / 3) * conductivity / 0.5
    assert 1.1 < convection_forced(2.0, 0.5, 10.0) / along < 1.6
