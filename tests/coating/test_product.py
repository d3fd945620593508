"""The coating: a profile's numbers, and the yard's data sheet above them."""

from __future__ import annotations

import pytest
from weather_samples import emulsion

from scheduler.coating.product import SHEET_EVAPORATION, coating_of, litres_for
from scheduler.settings import CoatingChoice, coating_profiles


def test_every_shipped_profile_makes_a_coating() -> None:
    for name, profile in coating_profiles().items():
        coat = coating_of(profile)
        assert coat.title == profile.title
        assert coat.said == ()
        assert 0.0 < coat.w_dry < coat.w_rain <= coat.w_crit < 1.0, name
        assert coat.water_kgm2 > 0.0
        assert coat.freezes_at_c <= coat.least_application_c


def test_the_sheet_wins_over_the_profile_and_is_said() -> None:
    coat = emulsion(least_application_c=7.0, freezes_at_c=-1.0, solids=0.5, density_kg_m3=1000.0)
    assert coat.least_application_c == 7.0
    assert coat.freezes_at_c == -1.0
    assert coat.water_kgm2 == pytest.approx(coat.wet_film_um * 1e-6 * 1000.0 * 0.5)
    assert any("least application temperature 7" in word for word in coat.said)
    assert len(coat.said) == 4


def test_the_limits_that_rules_take_are_the_coatings_own() -> None:
    coat = emulsion(least_application_c=1.5)
    assert coat.limit("least_application_c") == 1.5
    assert coat.limit("freezes_at_c") == 0.0
    with pytest.raises(KeyError):
        coat.limit("title")


def test_a_sheets_touch_dry_is_water_lost_in_the_sheets_air() -> None:
    assert emulsion(touch_dry_h=2.0).touch_kgm2 == pytest.approx(2.0 * SHEET_EVAPORATION)
    assert emulsion().touch_kgm2 is None


def test_a_sheets_dry_sets_the_time_of_film_forming_after_touch_dry() -> None:
    assert emulsion(dry_h=24.0).coalescence_h == 24.0
    assert emulsion(dry_h=24.0, touch_dry_h=2.0).coalescence_h == 22.0
    assert emulsion(dry_h=2.0, touch_dry_h=2.0).coalescence_h == 0.5  # never nothing


def test_the_second_coat_is_thinner_in_all_that_belongs_to_its_amount() -> None:
    first = emulsion(touch_dry_h=3.0)
    second = first.second()
    share = first.second_share
    assert share == pytest.approx(0.65)
    assert second.water_kgm2 == pytest.approx(first.water_kgm2 * share)
    assert second.wet_film_um == pytest.approx(first.wet_film_um * share)
    assert second.touch_kgm2 == pytest.approx(first.touch_kgm2 * share)  # type: ignore[operator]
    assert second.coalescence_h == first.coalescence_h


def test_an_old_dry_end_drinks_part_of_the_water() -> None:
    profile = coating_profiles()["emulsion"]
    thirsty = profile.model_copy(update={"absorbed": profile.absorbed.model_copy(update={"value": 0.2})})
    assert coating_of(thirsty).water_kgm2 == pytest.approx(0.8 * coating_of(profile).water_kgm2)


def test_litres_go_with_the_area_and_the_count() -> None:
    coat = emulsion()
    assert litres_for(coat, 60.0, count=2) == pytest.approx(2.0 * litres_for(coat, 60.0))
    assert (
        3.0 < litres_for(coat, 60.0) / litres_for(coat, 30.0) < 4.0
    )  # the rim's lap is dearer on a small end
    richer = coating_of(coating_profiles()["emulsion"], CoatingChoice(spreading_rate_m2_l=1.227))
    assert litres_for(richer, 60.0) == pytest.approx(2.0 * litres_for(coat, 60.0), rel=1e-6)
