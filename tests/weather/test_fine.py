"""The quarter-hour grid: instants between the hours, amounts inside them, unknown as unknown."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from weather_samples import START, exactly, stacked, unknown_in, weather

from scheduler.weather.fine import fine_grid


def test_instants_run_linearly_and_a_step_stands_for_its_middle() -> None:
    fine = fine_grid(exactly(weather(4, air_c=np.array([0.0, 8.0, 8.0, 4.0]), dew_c=-5.0)))
    assert fine.steps == 16
    assert fine.air_c[0, :4].tolist() == [1.0, 3.0, 5.0, 7.0]
    assert (fine.air_c[0, 4:8] == 8.0).all()
    # The last row has no next one to run to.
    assert (fine.air_c[0, 12:] == 4.0).all()


def test_amounts_belong_to_their_whole_hour() -> None:
    fine = fine_grid(
        exactly(
            weather(3, rain=np.array([0.0, 1.2, 0.0]), sun=np.array([0, 300, 5]), gust=np.array([4, 9, 2]))
        )
    )
    assert fine.rain_mm[0].tolist() == [0.0] * 4 + [1.2] * 4 + [0.0] * 4
    assert fine.sun_wm2[0].tolist() == [0.0] * 4 + [300.0] * 4 + [5.0] * 4
    assert fine.gust_ms[0].tolist() == [4.0] * 4 + [9.0] * 4 + [2.0] * 4


def test_the_dew_point_never_stands_above_the_air() -> None:
    fine = fine_grid(exactly(weather(3, air_c=np.array([5.0, 1.0, 5.0]), dew_c=np.array([2.0, 3.0, 2.0]))))
    assert (fine.dew_point_c <= fine.air_c).all()


def test_an_unknown_hour_hides_the_steps_that_need_it_and_nothing_else() -> None:
    gap = unknown_in(weather(6), 3, 4, "wind_ms")
    fine = fine_grid(exactly(unknown_in(gap, 1, 2, "rain_mm")))
    # Instants of hour 3 are needed from hour 2 (running there) to the end of hour 3.
    assert np.flatnonzero(fine.unknown[0]).tolist() == list(range(8, 16))
    assert np.flatnonzero(fine.rain_unknown[0]).tolist() == list(range(4, 8))
    assert np.isnan(fine.rain_mm[0, 4:8]).all()


def test_members_keep_apart() -> None:
    fine = fine_grid(exactly(stacked(weather(3, air_c=5.0), weather(3, air_c=9.0))))
    assert fine.members == 2
    assert (fine.air_c[0] == 5.0).all()
    assert (fine.air_c[1] == 9.0).all()


def test_times_and_steps_are_each_others_way_back() -> None:
    fine = fine_grid(exactly(weather(30)))
    when = START + timedelta(hours=7, minutes=30)
    assert fine.step_of(when) == 30.0
    assert fine.time_at(30.0) == when
    assert fine.time_at(0.5) == START + timedelta(minutes=7, seconds=30)


def test_the_log_begins_at_the_mean_of_the_first_day_as_far_as_it_is_known() -> None:
    course = np.concatenate([np.full(12, 2.0), np.full(13, 6.0), np.full(23, 30.0)])
    fine = fine_grid(exactly(weather(48, air_c=course)))
    assert fine.first_day_mean()[0] == pytest.approx(4.0, abs=0.3)
    half = fine_grid(exactly(unknown_in(weather(48, air_c=course), 12, 24, "air_c")))
    assert half.first_day_mean()[0] == pytest.approx(2.0, abs=0.2)


def test_pressure_comes_from_the_answer_or_from_the_height() -> None:
    told = weather(3)
    assert np.all(fine_grid(exactly(told), 700.0).pressure_kpa == 100.0)
    silent = replace(told, pressure_hpa=None)
    assert fine_grid(exactly(silent), 700.0).pressure_kpa == pytest.approx(93.2, abs=0.2)


def test_a_forecast_without_drawn_members_is_refused() -> None:
    with pytest.raises(ValueError, match="drawn"):
        fine_grid(exactly(replace(weather(3), cloud=None)))
