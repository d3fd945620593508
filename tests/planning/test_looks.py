"""How fast a yard's coats dry, from looks: which looks count, and what follows from them."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from math import exp

import numpy as np
import pytest
from command_line import fair
from reminder_samples import coat, end, local, log, register
from scipy import stats
from test_outlook import outlook
from weather_samples import START, by_day, unknown_in

from scheduler.planning.looks import Grid, Watched, _normal, dry_hours, learn_drying, watched_coats
from scheduler.settings import doubt, learning
from scheduler.yard.facts import Look, Moment

NUMBERS = learning()["drying"]
GRID = Grid.of(NUMBERS)
FILM_SD = doubt()["film"]["sd"]
COATED = START + timedelta(hours=9)


def look(seen: str, at: str, half_h: float = 0.0) -> Look:
    return Look(Moment(local(at), timedelta(hours=half_h)), seen, 9)  # type: ignore[arg-type]


def watched(*looks: Look, **facts: object):  # type: ignore[no-untyped-def]
    one = coat("2025-11-03T10:00", 2)
    ends = [replace(end(), coats=(replace(one, **facts),), looks=looks)]  # type: ignore[arg-type]
    return watched_coats(register(log("H01", *ends)))


def test_the_last_milky_look_and_the_first_clear_one_count() -> None:
    (one,) = watched(
        look("milky", "2025-11-03T14:00"),
        look("milky", "2025-11-03T20:00"),
        look("clear", "2025-11-04T10:00"),
        look("milky", "2025-11-05T10:00"),
    )
    assert (one.milky_h, one.clear_h) == (10.0, 24.0)


def test_a_coat_that_nobody_looked_at_or_that_was_spoiled_teaches_nothing() -> None:
    assert watched() == ()
    assert watched(look("checks", "2025-11-04T10:00")) == ()
    assert watched(look("clear", "2025-11-04T10:00"), spoiled=True) == ()
    assert watched(look("clear", "2025-11-04T10:00"), part=True) == ()


def test_a_look_whose_hour_is_not_known_teaches_nothing() -> None:
    assert watched(look("clear", "2025-11-04T10:00", half_h=12.0)) == ()
    assert len(watched(look("clear", "2025-11-08T10:00", half_h=12.0))) == 1


def test_ends_coated_and_seen_together_are_one_observation() -> None:
    one = coat("2025-11-03T10:00", 2)
    seen = (look("clear", "2025-11-04T10:00"),)
    logs = [log(f"H0{n}", replace(end(), coats=(one,), looks=seen)) for n in range(5)]
    assert len(watched_coats(register(*logs))) == 1


def test_a_look_after_the_second_coat_is_of_the_second() -> None:
    first, second = coat("2025-11-03T10:00", 2), coat("2025-11-05T10:00", 3, layer=2)
    looks = (look("clear", "2025-11-04T10:00"), look("milky", "2025-11-05T16:00"))
    both = watched_coats(register(log("H01", replace(end(), coats=(first, second), looks=looks))))
    assert [(one.second, one.milky_h, one.clear_h) for one in both] == [(False, 0.0, 24.0), (True, 6.0, None)]


# ------------------------------------------------------------------ the coats again


def coat_at(hour: float = 9.0, milky: float = 0.0, clear: float | None = 30.0) -> Watched:
    return Watched(None, False, False, START + timedelta(hours=hour), milky, clear)


def hours_of(*coats: Watched, **weather: object):  # type: ignore[no-untyped-def]
    here = outlook(fair(8, **weather), at=START + timedelta(hours=150))
    return dry_hours(here, coats, GRID)


def test_a_faster_factor_dries_sooner_and_a_higher_film_threshold_later() -> None:
    hours = hours_of(coat_at(), air_c=by_day(3.0, 9.0))[coat_at().key]
    table = hours.reshape(-1, 5)
    assert (np.diff(table, axis=0) <= 1e-9).all()
    assert (np.diff(table, axis=1) >= -1e-9).all()
    assert table[0, 2] > table[-1, 2] + 2.0


def test_a_coat_whose_hours_are_not_known_is_left_out() -> None:
    early = coat_at(hour=-30.0)
    assert early.key not in hours_of(early)
    late = coat_at(hour=180.0, clear=40.0)
    assert late.key not in hours_of(late)
    holed = unknown_in(fair(8), 20, 24, "air_c")
    assert not dry_hours(outlook(holed, at=START + timedelta(hours=150)), [coat_at()], GRID)


# ------------------------------------------------------------------ what follows


def learned(factor: float, looks: int, **weather: object):  # type: ignore[no-untyped-def]
    """From looks at coats that dry ``factor`` times as fast: milky a tenth before, clear a tenth after."""
    true = np.argmin(np.hypot(GRID.log_drying - np.log(factor), GRID.film_k))
    coats = [coat_at(hour=9.0 + 24.0 * n, clear=90.0) for n in range(looks)]
    found = hours_of(*coats, **weather)
    pairs = []
    for one in coats:
        hours = found.get(one.key)
        if hours is not None and np.isfinite(hours[true]):
            pairs.append((replace(one, milky_h=0.9 * hours[true], clear_h=1.1 * hours[true]), hours))
    return learn_drying(pairs, GRID, NUMBERS, FILM_SD)


@pytest.mark.parametrize("factor", [0.67, 1.0, 1.5])
def test_looks_find_the_factor_that_they_were_made_with(factor: float) -> None:
    # Mild and damp: there the air decides and not the closing of the film.
    found = learned(factor, 4, air_c=by_day(14.0, 20.0), humidity=92.0)
    assert found.coats >= 3
    assert exp(found.log_factor) == pytest.approx(factor, rel=0.2)
    assert found.log_sd < NUMBERS["prior_log_sd"]


def test_without_looks_the_prior_stands_and_more_looks_leave_less_doubt() -> None:
    none = learn_drying([], GRID, NUMBERS, FILM_SD)
    assert (none.log_factor, none.film_k, none.coats) == (pytest.approx(0.0), pytest.approx(0.0), 0)
    one = learned(1.5, 1, air_c=by_day(14.0, 24.0))
    more = learned(1.5, 4, air_c=by_day(14.0, 24.0))
    assert more.log_sd < one.log_sd < none.log_sd


def test_one_strange_look_moves_it_a_little_only() -> None:
    sane = learned(1.0, 4, air_c=by_day(14.0, 24.0))
    odd = Watched(None, False, False, COATED, 80.0, None)
    hours = np.full(GRID.log_drying.size, 5.0)
    good = [(coat_at(clear=hours_), np.full(GRID.log_drying.size, 1.0)) for hours_ in (9.0, 10.0, 11.0)]
    mixed = learn_drying([*good, (odd, hours)], GRID, NUMBERS, FILM_SD)
    assert abs(mixed.log_factor) < 0.1
    assert abs(sane.log_factor) < 0.15


def test_the_normal_distribution_is_that_of_scipy() -> None:
    z = np.linspace(-9, 9, 181)
    assert np.allclose(_normal(z), stats.norm.cdf(z), atol=2e-7)
