"""The weather's answer for each place: worked out once, the same for the same forecast."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest
from command_line import fair
from weather_samples import START, by_day, unknown_in, weather

from scheduler.planning.outlook import Outlook
from scheduler.rules.engine import BREAK
from scheduler.settings import Place, Position, SettingsError, Site, Yard, YardFile
from scheduler.weather.air import pressure_at
from scheduler.weather.series import Weather

HOUR = timedelta(hours=1)
AT = START + 53 * HOUR
PLACES = (
    Place(name="lean-to", roofed=True),
    Place(name="cellar", frost_free=True),
    Place(name="hedge", shaded=True),
)


def outlook(
    given: Weather | None = None, at: datetime = AT, altitude: float | None = 500.0, **more: Any
) -> Outlook:
    yard = Yard(place=Position(lat=48.0, lon=8.2, altitude_m=altitude), zone="Europe/Berlin")
    settings = YardFile(yard=yard, place=PLACES, **more)
    return Outlook(settings, (given or fair(6)).from_source(issued=at - HOUR), at)


def test_the_same_forecast_gives_the_same_chances() -> None:
    one, two = outlook().of(), outlook().of()
    assert np.array_equal(one.chance, two.chance, equal_nan=True)
    assert np.array_equal(one.starts, two.starts)


def test_a_place_is_worked_out_once_and_one_that_is_not_known_is_the_open_yard() -> None:
    here = outlook()
    assert here.of("lean-to") is here.of("lean-to")
    assert here.of() is here.of(None)
    assert here.of("no such place") is here.of()
    assert here.place("no such place") is None
    assert here.of("lean-to") is not here.of()
    assert here.of(None, roofed=True) is not here.of()


def test_a_sheet_over_a_log_that_stands_under_a_roof_changes_nothing() -> None:
    here = outlook()
    assert here.of("lean-to", roofed=True) is here.of("lean-to")
    assert here.faces("cellar", roofed=True) is here.faces("cellar")
    assert here.of("hedge", roofed=True) is not here.of("hedge")


def test_starts_begin_at_the_next_quarter_hour_and_end_with_ten_days_or_the_data() -> None:
    assert outlook(at=AT + timedelta(minutes=1)).now_step == outlook(at=AT).now_step + 1
    assert outlook(at=AT + timedelta(minutes=15)).now_step == outlook(at=AT).now_step + 1
    assert outlook().time_at(outlook().last_step) == fair(6).end
    long = outlook(fair(16))
    assert long.time_at(long.last_step) == AT + timedelta(days=10)
    starts = long.of().starts
    assert long.time_at(float(starts[0])) == AT
    assert long.time_at(float(starts[-1])) < AT + timedelta(days=10)


def test_past_hours_are_kept_for_the_heat_of_the_log_but_start_nothing() -> None:
    cold_before = weather(144, air_c=np.concatenate([np.full(48, -12.0), np.full(96, 9.0)]), humidity=60.0)
    warm_before = weather(144, air_c=9.0, humidity=60.0)
    at_once = START + 50 * HOUR
    cold, warm = outlook(cold_before, at_once), outlook(warm_before, at_once)
    k = cold.now_step
    assert cold.faces().dry.surface_c[:, k].mean() < warm.faces().dry.surface_c[:, k].mean() - 1.0


def test_the_mean_of_the_last_day_is_that_of_the_known_past() -> None:
    assert outlook(weather(144, air_c=8.0)).mean_air() == pytest.approx(8.0, abs=0.3)
    assert outlook(fair(6), at=START).mean_air() is None
    dark = unknown_in(weather(144, air_c=8.0), 20, 53, "air_c", "dew_point_c")
    assert outlook(dark).mean_air() is None


def test_a_frost_free_place_knows_no_frost_and_a_roof_no_rain() -> None:
    frosty = weather(240, air_c=by_day(-5.0, 9.0), humidity=80.0, wind=1.0, cloud=0.0)
    here = outlook(frosty)
    assert np.nanmax(here.of().chance) < 0.5
    assert np.nanmax(here.of("lean-to").chance) < 0.5
    cellar = here.of("cellar")
    frost = next(found for found in cellar.findings.found if found.rule.name == "frost_on_face")
    assert not (frost.outcome == BREAK).any()
    assert (
        next(f for f in here.of().findings.found if f.rule.name == "frost_on_face").outcome == BREAK
    ).any()
    wet = outlook(weather(240, air_c=10.0, humidity=70.0, rain=0.5))
    assert np.nanmax(wet.of().chance) < 0.3
    assert np.nanmax(wet.of("lean-to").chance) > 0.8


def test_the_altitude_is_the_yards_own_else_that_of_the_forecasts_cell() -> None:
    bare = replace(fair(4), pressure_hpa=None).from_source(altitude_m=1500.0)
    own, cell = outlook(bare, altitude=500.0), outlook(bare, altitude=None)
    assert own.fine.pressure_kpa == pytest.approx(float(pressure_at(500.0)))
    assert cell.fine.pressure_kpa == pytest.approx(float(pressure_at(1500.0)))


def test_a_fault_in_the_yards_rules_is_told_when_the_outlook_is_made() -> None:
    with pytest.raises(SettingsError, match="did you mean 'frost_on_face'"):
        outlook(rules={"frost_on_fase": {"below": 1.0}})


def test_the_cold_air_that_the_yard_set_reaches_the_members() -> None:
    clear = weather(144, air_c=by_day(1.0, 9.0), humidity=80.0, wind=0.5, cloud=0.0)
    flat, hollow = outlook(clear, site=Site(hollow=0.0)), outlook(clear, site=Site(hollow=-4.0))
    colder = flat.fine.air_c.min(axis=1) - hollow.fine.air_c.min(axis=1)
    assert np.median(colder) == pytest.approx(4.0, abs=0.7)
