"""The pail's heat against Newton's law solved by other code; carriers' frost against recorded years.

Rates: "own estimate" and common practice, no source, where not named. Daily records
as in test_first_freeze.py (PyPI package `aquacrop`, Apache-2.0), found the same way.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from scheduler.planning.pail import follow, time_constant, transit_chance, transit_from, usual_chance
from scheduler.settings import pail_numbers
from scheduler.weather.history_read import read_daily_csv

N = pail_numbers()
FOLDER = Path(os.environ.get("COATCAST_CLIMATE") or Path(__file__).parents[3] / "shared" / "climate")
RECORDS = {"Champion": "champion_ne_daily_1982_2018.csv", "Brussels": "brussels_daily_1976_2005.csv"}
needs_records = pytest.mark.skipif(
    not FOLDER.is_dir(), reason="no daily records here: set COATCAST_CLIMATE to the folder of the two tables"
)


@pytest.mark.parametrize("tau", [0.7, 5.7, 40.0])
def test_cooling_in_changing_air_is_newtons_law_by_scipy(tau: float) -> None:
    hours = np.arange(0.0, 72.0, 0.25)
    air = (
        3.0
        + 7.0 * np.sin(hours / 24.0 * 2 * np.pi)
        + np.cumsum(np.random.default_rng(1).normal(0, 0.3, hours.size))
    )
    ours = follow(air, 0.25, tau, 18.0)[0]
    theirs = solve_ivp(
        lambda t, y: (np.interp(t, hours, air) - y) / tau,
        (0, hours[-1]),
        [18.0],
        t_eval=hours,
        max_step=0.25,
        rtol=1e-9,
        atol=1e-9,
    )
    assert np.abs(ours - theirs.y[0]).max() < 1e-5


def test_in_still_air_it_is_the_exponential_of_newton() -> None:
    """From 18 °C in 0 °C air: T = 18 exp(-t / tau)."""
    path = follow(np.zeros(97), 0.25, 6.0, 18.0)[0]
    assert path == pytest.approx(18.0 * np.exp(-np.arange(97) * 0.25 / 6.0))


@pytest.mark.parametrize(("air", "least", "most"), [(-5.0, 8.0, 10.0), (-2.0, 12.0, 15.0)])
def test_one_forgotten_night_is_enough(air: float, least: float, most: float) -> None:
    """19 L at 18 °C reach 0 °C in about 9 h at -5 °C and 13-14 h at -2 °C (own estimate of the house)."""
    path = follow(np.full(400, air), 0.1, time_constant(19.0, 19.0, N), 18.0)[0]
    assert least < 0.1 * int(np.argmax(path <= 0.0)) < most


def test_a_cold_pail_is_warm_after_a_night_in_the_room() -> None:
    """19 L from 2 to 15 °C in a room of 20 °C: 7-8 h in still air (own estimate of the house)."""
    path = follow(np.full(400, 20.0), 0.1, time_constant(19.0, 19.0, N), 2.0)[0]
    assert 6.5 < 0.1 * int(np.argmax(path >= 15.0)) < 8.5


def test_the_pail_holds_less_heat_than_water_and_more_than_wax() -> None:
    """Water at 20 °C: 4.184 kJ/(kg K) x 998.2 kg/m3 (CRC Handbook of Chemistry and Physics)."""
    assert 2.0 < N["heat_capacity"] < 4.184 * 998.2 / 1000.0


@needs_records
@pytest.mark.parametrize("name", RECORDS)
def test_frost_on_the_road_is_the_share_of_recorded_nights_counted_one_by_one(name: str) -> None:
    record = read_daily_csv((FOLDER / RECORDS[name]).read_text(encoding="utf-8"))
    chance = transit_chance(record, 2.0, 7)
    days = [day.item() for day in record.dates]
    for month, day in ((1, 15), (4, 20), (7, 15), (10, 12)):
        near = [
            low
            for when, low in zip(days, record.min_c, strict=True)
            if np.isfinite(low) and abs((when - when.replace(month=month, day=day)).days) <= 7
        ]
        counted = sum(low <= 2.0 for low in near) / len(near)
        number = when_number(month, day)
        assert chance[number] == pytest.approx(counted, abs=0.02)


def when_number(month: int, day: int) -> int:
    """Day of a year of 365 days, 1 January is 0."""
    before = (0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334)
    return before[month - 1] + day - 1


@needs_records
def test_the_frost_season_of_carriers_is_longer_on_the_high_plains_and_summers_are_free() -> None:
    ends = {}
    for name, file in RECORDS.items():
        chance = transit_chance(read_daily_csv((FOLDER / file).read_text(encoding="utf-8")), 2.0, 7)
        ends[name] = transit_from(np.roll(chance, -when_number(7, 15)), N)
    (plains, spring), (coast, mild) = ends["Champion"], ends["Brussels"]
    assert plains is not None
    assert coast is not None
    assert spring is not None
    assert mild is not None
    assert 45 < plains < coast < 130
    assert coast < mild < 320
    assert spring - plains > mild - coast


@needs_records
@pytest.mark.parametrize("name", RECORDS)
def test_the_guess_from_usual_air_is_within_some_weeks_of_the_nights_themselves(name: str) -> None:
    record = read_daily_csv((FOLDER / RECORDS[name]).read_text(encoding="utf-8"))
    number = np.array([when_number(d.item().month, min(d.item().day, 28)) for d in record.dates])
    usual = np.array(
        [np.nanmean(((record.min_c + record.max_c) / 2)[np.abs(number - k) <= 5]) for k in range(365)]
    )
    since = when_number(7, 15)
    ours = transit_from(np.roll(usual_chance(usual, 2.0, N), -since), N)[0]
    theirs = transit_from(np.roll(transit_chance(record, 2.0, 7), -since), N)[0]
    assert ours is not None
    assert theirs is not None
    assert abs(ours - theirs) <= 28
