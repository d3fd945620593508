"""The reader of CoverageJSON, on small answers made here."""

from __future__ import annotations

from copy import deepcopy
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from family_samples import BEFORE, PLACE, START, Json, array, parameter, read, refused, z
from family_samples import coverage as answer
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.weather.air import dew_point_from_humidity
from scheduler.weather.formats import coverage
from scheduler.weather.series import WeatherError

AFTER = {"measurementType": {"method": "sum", "duration": "PT0H/PT1H"}}


def row(values: Any) -> Any:
    assert values is not None
    return values[0]


def renamed(old: str, new: str, data: Json | None = None, **more: Any) -> Json:
    """The answer with a parameter under another name, and changed."""
    data = data or answer()
    data["parameters"][new] = data["parameters"].pop(old) | more
    data["ranges"][new] = data["ranges"].pop(old)
    return data


def raining(**more: Any) -> Json:
    """Three millimetres at the fourth time, whatever that time stands for."""
    data = answer()
    data["ranges"]["rr"]["values"][3] = 3.0
    data["parameters"]["rr"].pop("measurementType")
    data["parameters"]["rr"] |= more
    return data


def coarse(*hours: int) -> Json:
    """The answer at other times."""
    data = answer(len(hours))
    data["domain"]["axes"]["t"]["values"] = [z(hour) for hour in hours]
    return data


def test_a_point_series_is_read_into_the_units_of_the_house() -> None:
    weather = read(answer())
    assert (weather.start, weather.hours, weather.members) == (START, 8, 1)
    assert weather.air_c[0] == pytest.approx(8.0)
    assert weather.dew_point_c[0] == pytest.approx(2.0)
    assert weather.rain_mm[0, :7] == pytest.approx(0.0)
    assert (weather.provenance.latitude, weather.provenance.longitude) == PLACE
    assert not weather.provenance.issued_known, "a coverage does not say when it was made"


def test_null_is_unknown() -> None:
    data = answer()
    data["ranges"]["t2"]["values"][3] = None
    data["ranges"]["ff"]["values"][7] = None
    weather = coverage.read(data)
    assert np.flatnonzero(np.isnan(weather.air_c[0])).tolist() == [3]
    assert np.flatnonzero(np.isnan(weather.wind_ms[0])).tolist() == [7]


# ------------------------------------------------------------------ which hours rain stands for


@pytest.mark.parametrize(
    "said",
    [
        BEFORE,
        {"measurementType": {"method": "sum", "duration": "-PT1H"}},
        {"measurementType": {"period": "-PT60M/PT0M"}},
        {"label": {"en": "Rain in the previous hour"}},
        {"description": "sum over the preceding hour"},
        {
            "observedProperty": {
                "label": {"de": "?", "en": "Rain, past 1 hour"},
                "id": "x/precipitation_amount",
            }
        },
    ],
)
def test_rain_that_is_said_to_stand_for_the_hour_before_moves_one_row(said: Json) -> None:
    rain = read(raining(**said)).rain_mm[0]
    assert rain[:7].tolist() == [0, 0, 3, 0, 0, 0, 0]
    assert np.isnan(rain[7])


@pytest.mark.parametrize(
    "said", [AFTER, {"label": "Rain in the next hour"}, {"description": "coming 1 hours"}]
)
def test_rain_that_is_said_to_stand_for_the_hour_after_stays(said: Json) -> None:
    assert read(raining(**said)).rain_mm[0].tolist() == [0, 0, 0, 3, 0, 0, 0, 0]


def test_the_bounds_of_the_times_say_it_too() -> None:
    for shift, wet in ((-1, 2), (0, 3)):
        data = raining()
        data["domain"]["axes"]["t"]["bounds"] = [
            z(hour + side) for hour in range(8) for side in (shift, shift + 1)
        ]
        rain = read(data).rain_mm[0]
        assert np.flatnonzero(rain == 3.0).tolist() == [wet]


@pytest.mark.parametrize(
    "said",
    [
        {},
        {"measurementType": {"method": "sum", "period": "PT1H"}},
        {"measurementType": {"period": "nonsense"}},
        {"measurementType": {"period": "-PT90M/PT0M"}},
        {"label": "Rain of the hour"},
    ],
)
def test_rain_without_its_side_is_refused_and_never_guessed(said: Json) -> None:
    refused(raining(**said), "before or after its time", "-PT1H/PT0H")


def test_a_name_with_a_bare_period_tells_the_length_only() -> None:
    data = renamed("rr", "precipitation_amount:0:sum:PT1H", raining())
    refused(data, "before or after its time")
    weather = coverage.read(data, names={"precipitation_amount:0:sum:PT1H": "rain_mm before"})
    assert weather.rain_mm[0, 2] == 3.0


@pytest.mark.parametrize(("side", "wet"), [("before", 2), ("after", 3)])
def test_the_yard_may_say_it(side: str, wet: int) -> None:
    weather = coverage.read(raining(), names={"rr": f"rain_mm {side}"})
    assert np.flatnonzero(weather.rain_mm[0] == 3.0).tolist() == [wet]


def test_sums_that_overlap_are_refused() -> None:
    refused(raining(measurementType={"period": "-PT24H/PT0H"}), "overlap")


def test_other_quantities_whose_hours_are_not_said_are_left_out_and_named() -> None:
    data = answer()
    data["parameters"]["gust"] = parameter("m/s", "wind_speed_of_gust")
    data["ranges"]["gust"] = array([9.0] * 8)
    weather = read(data)
    assert weather.gust_ms is None
    assert "gust is left out" in weather.provenance.notes[0]
    data["parameters"]["gust"]["measurementType"] = {"method": "maximum", "period": "-PT1H/PT0H"}
    assert row(read(data).gust_ms)[:7] == pytest.approx(9.0)


# ------------------------------------------------------------------ coarse steps


def test_instants_run_straight_over_steps_and_sums_are_spread_over_them() -> None:
    data = coarse(0, 1, 4, 10)
    data["ranges"]["t2"]["values"] = [280.15, 281.15, 284.15, 278.15]
    data["ranges"]["rr"]["values"] = [9.0, 0.0, 3.0, 3.0]
    data["parameters"]["rr"].pop("measurementType")
    weather = coverage.read(data, names={"rr": "rain_mm before"})
    assert weather.air_c[0] == pytest.approx([7, 8, 9, 10, 11, 10, 9, 8, 7, 6, 5])
    assert weather.rain_mm[0, :10] == pytest.approx([0, 1, 1, 1, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5])
    assert np.isnan(weather.rain_mm[0, 10]), "what fell before the first time is not of these hours"
    assert any("steps of up to 6 hours" in note for note in weather.provenance.notes)


def test_hourly_sums_at_coarse_times_leave_the_hours_between_unknown() -> None:
    rain = read(coarse(0, 3, 6)).rain_mm[0]
    assert np.flatnonzero(np.isfinite(rain)).tolist() == [2, 5]


def test_a_chance_of_several_hours_is_spread() -> None:
    data = coarse(0, 6, 12)
    data["parameters"]["pop"] = parameter("%")
    data["ranges"]["pop"] = array([None, 50, 20])
    weather = coverage.read(data, names={"pop": "rain_chance before", "rr": "rain_mm before"})
    chance = row(weather.rain_chance)
    assert 0.5 / 6 < chance[0] < 0.5
    assert chance[:6] == pytest.approx(chance[0])
    assert np.isnan(chance[12])


@given(st.lists(st.integers(0, 300).map(lambda n: n / 10), min_size=4, max_size=4))
@settings(max_examples=30, deadline=None)
def test_the_total_of_any_rain_is_kept(amounts: list[float]) -> None:
    data = coarse(0, 1, 3, 6)
    data["ranges"]["rr"]["values"] = amounts
    for side, total in (("after", sum(amounts)), ("before", sum(amounts[1:]))):
        data["parameters"]["rr"].pop("measurementType", None)
        rain = coverage.read(data, names={"rr": f"rain_mm {side}"}).rain_mm
        assert np.nansum(rain) == pytest.approx(total, abs=1e-9)


# ------------------------------------------------------------------ names and units


@pytest.mark.parametrize(
    "new",
    [
        {"observedProperty": {"label": {"en": "Air temperature"}}},
        {"observedProperty": {"label": "air_temperature"}},
        {"observedProperty": {"id": "https://vocab.nerc.ac.uk/standard_name/air_temperature"}},
        {"observedProperty": {"label": {}}, "label": {"fr": "?", "en": "Air Temperature"}},
    ],
)
def test_a_parameter_is_known_by_its_standard_name_in_id_or_label(new: Json) -> None:
    data = answer()
    data["parameters"]["t2"] |= new
    assert read(data).air_c[0] == pytest.approx(8.0)


def test_a_parameter_is_known_by_its_own_name_too() -> None:
    bare = {"observedProperty": {"label": {"en": "?"}}}
    assert read(renamed("t2", "air_temperature", **bare)).air_c[0] == pytest.approx(8.0)
    assert read(renamed("t2", "air_temperature:2.0:point:PT0S", **bare)).hours == 8


def test_a_maximum_or_the_mean_of_a_day_is_not_the_air() -> None:
    for name in ("air_temperature:2.0:maximum:PT1H", "air_temperature:2.0:mean:P1D"):
        refused(renamed("t2", name), "air temperature (air_temperature)", name)


def test_two_heights_of_the_same_quantity_are_not_chosen_between() -> None:
    data = renamed("t2", "air_temperature:2.0:mean:PT1H")
    data["parameters"]["air_temperature:0.1:mean:PT1H"] = parameter("K", "air_temperature")
    data["ranges"]["air_temperature:0.1:mean:PT1H"] = array([280.15] * 8)
    refused(data, "Several parameters could be air_c", "air_temperature:0.1")
    weather = coverage.read(data, names={"air_temperature:0.1:mean:PT1H": "air_c"})
    assert weather.air_c[0] == pytest.approx(7.0)


def test_what_lacks_is_named_beside_what_is_there() -> None:
    data = answer()
    del data["parameters"]["ff"], data["ranges"]["ff"]
    refused(data, "lacks: wind (wind_speed)", "holds rr, t2, td2", "known are the names air_temperature")
    refused(renamed("ff", "WIND_10M", observedProperty={"label": {"en": "Wind"}}), "WIND_10M")


def test_names_of_the_yard_that_are_no_quantities_are_refused() -> None:
    for text in ("air", "rain_mm in_front", "rain_mm  before", ""):
        with pytest.raises(WeatherError, match="is no quantity"):
            coverage.read(answer(), names={"t2": text})
    assert coverage.read(answer(), names={"not there": "gust_ms before"}).hours == 8


def test_humidity_serves_as_the_dew_point() -> None:
    data = renamed("td2", "rh", observedProperty={"id": "x/relative_humidity"})
    data["parameters"]["rh"]["unit"]["symbol"]["value"] = "%"
    data["ranges"]["rh"]["values"] = [66.0] * 8
    assert read(data).dew_point_c[0] == pytest.approx(float(dew_point_from_humidity(8.0, 66.0)))


@pytest.mark.parametrize(
    ("name", "unit", "value", "house", "wanted"),
    [
        ("wind_speed", "km/h", 10.8, "wind_ms", 3.0),
        ("cloud_area_fraction", "%", 50.0, "cloud", 0.5),
        ("cloud_area_fraction", "1", 0.5, "cloud", 0.5),
        ("surface_air_pressure", "Pa", 95000.0, "pressure_hpa", 950.0),
        ("surface_air_pressure", "hPa", 950.0, "pressure_hpa", 950.0),
        ("air_temperature", "Cel", 8.0, "air_c", 8.0),
    ],
)
def test_units_are_converted(name: str, unit: str, value: float, house: str, wanted: float) -> None:
    data = answer()
    for old, details in list(data["parameters"].items()):
        if name in details["observedProperty"]["id"]:
            del data["parameters"][old], data["ranges"][old]
    data["parameters"]["new"] = parameter(unit, name)
    data["ranges"]["new"] = array([value] * 8)
    assert row(getattr(read(data), house)) == pytest.approx(wanted)


@pytest.mark.parametrize(
    "unit", [None, {}, {"symbol": ""}, {"symbol": "furlong"}, {"label": {"en": "kelvin"}}]
)
def test_a_parameter_without_a_known_unit_is_refused(unit: object) -> None:
    data = answer()
    data["parameters"]["t2"]["unit"] = unit
    refused(data, "unit")


def test_a_dew_point_above_the_air_contradicts_itself_but_rounding_does_not() -> None:
    data = answer()
    data["ranges"]["td2"]["values"][3] = 8.4
    assert read(data).dew_point_c[0, 3] == pytest.approx(8.0)
    data["ranges"]["td2"]["values"][3] = 9.0
    refused(data, "lies above the air's", "03:00 UTC")


# ------------------------------------------------------------------ axes and ranges


def test_the_order_of_axes_and_single_axes_do_not_matter() -> None:
    data = answer()
    data["ranges"]["t2"] |= {"axisNames": ["t", "y", "x"], "shape": [8, 1, 1]}
    data["ranges"]["ff"] |= {"axisNames": ["x", "t"], "shape": [1, 8]}
    data["domain"]["axes"]["z"] = {"values": [2.0]}
    data["domain"]["axes"]["x"] = {"start": PLACE[1], "stop": PLACE[1], "num": 1}
    assert read(data).air_c[0] == pytest.approx(8.0)


def test_times_may_count_seconds_where_that_is_said() -> None:
    first = int(START.timestamp())
    data = answer()
    data["domain"]["axes"]["t"] = {"start": first, "stop": first + 7 * 3600, "num": 8}
    refused(data, "not said from when they count")
    data["domain"]["referencing"][1]["system"] = {
        "type": "TemporalCRS",
        "calendar": "Gregorian",
        "epoch": "http://www.opengis.net/def/datum/OGC/0/UnixTimeDatum",
        "id": "http://www.opengis.net/def/axis/OGC/0/seconds",
    }
    assert read(data).start == START


@pytest.mark.parametrize(
    ("axis", "word"),
    [
        ({"values": [z(0)[:-1], z(1)[:-1]]}, "with its offset"),
        ({"values": [z(0)[:10], z(24)[:10]]}, "with its offset"),
        ({"values": [z(7 - hour) for hour in range(8)]}, "not in order"),
        ({"values": [z(0), *[z(hour) for hour in range(7)]]}, "stands twice"),
        ({"values": [z(hour / 6) for hour in range(8)]}, "do not follow"),
        ({"values": [z(24 * day) for day in range(8)]}, "do not follow"),
        ({"values": [z(hour) for hour in (0, 1, 2, 5, 6, 7, 8, 9)]}, "finer ones first"),
        ({"values": []}, "no values"),
        ({"start": 0, "stop": 1, "num": 10**9}, "far too many"),
        ({"start": 0, "stop": 1}, "no values"),
        (None, "no axis t"),
        ([1], "no axis t"),
    ],
)
def test_times_that_are_not_as_they_should_be_are_refused(axis: Any, word: str) -> None:
    data = answer()
    data["domain"]["axes"]["t"] = axis
    refused(data, word)


@pytest.mark.parametrize(
    ("axes", "word"),
    [
        ({"x": {"values": [8.25, 8.5]}}, "more than one place"),
        ({"number": {"values": [0, 1, 2]}}, "more than one place, height or member"),
        ({"z": {"values": [2, 10]}}, "height"),
        (
            {"composite": {"dataType": "tuple", "coordinates": ["t", "x", "y"], "values": [[z(0), 8, 48]]}},
            "more than",
        ),
        ({"x": {"values": [3_500_000.0]}}, "not in degrees"),
        ({"y": {"values": [None]}}, "not in degrees"),
        ({"y": None}, "no axis y"),
    ],
)
def test_a_domain_that_is_no_single_place_is_refused(axes: Json, word: str) -> None:
    data = answer()
    data["domain"]["axes"] |= axes
    refused(data, word)


def test_a_place_on_a_map_grid_is_refused() -> None:
    data = answer()
    data["domain"]["referencing"][0]["system"]["type"] = "ProjectedCRS"
    refused(data, "crs=CRS84")


@pytest.mark.parametrize(
    ("given", "word"),
    [
        ("http://example.com/coverages/1/t2", "behind a link"),
        ({"type": "TiledNdArray", "tileSets": []}, "behind a link"),
        ({"type": "Range", "values": [1.0] * 8}, "not an NdArray"),
        (None, "not an NdArray"),
        (array([281.15] * 7), "7 values"),
        (array([281.15] * 8, shape=[4]), "8 values"),
        (array([281.15] * 8, shape="8"), "8 values"),
        (array(["8"] * 8, dataType="string"), "not a number"),
        (array([500.0] * 8), "contradicts nature"),
        (array([None] * 8), "lacks: air temperature"),
    ],
)
def test_values_that_cannot_be_read_are_refused(given: object, word: str) -> None:
    data = answer()
    data["ranges"]["t2"] = given
    refused(data, word)


@pytest.mark.parametrize("part", ["domain", "ranges"])
def test_a_coverage_in_several_pieces_is_refused(part: str) -> None:
    data = answer()
    data[part] = "http://example.com/piece"
    refused(data, "")


def test_links_behind_parameters_that_are_not_needed_do_no_harm() -> None:
    data = answer()
    data["parameters"]["extra"] = parameter("m")
    data["ranges"]["extra"] = "http://example.com/extra"
    assert read(data).hours == 8


# ------------------------------------------------------------------ collections and errors


def collection(*parts: Json, **more: Any) -> Json:
    """Coverages with their parameters and reference systems on the collection."""
    whole: Json = {"type": "CoverageCollection", "domainType": "PointSeries", "parameters": {}}
    coverages = []
    for part in deepcopy(parts):
        whole["parameters"] |= part.pop("parameters")
        whole["referencing"] = part["domain"].pop("referencing")
        coverages.append(part)
    return whole | {"coverages": coverages} | more


def alone(name: str) -> Json:
    data = answer()
    data["ranges"] = {name: data["ranges"][name]}
    return data


def test_coverages_of_one_place_are_put_together() -> None:
    weather = read(collection(alone("t2"), alone("td2"), alone("ff"), alone("rr")))
    assert weather.air_c[0] == pytest.approx(8.0)
    assert weather.wind_ms[0] == pytest.approx(3.0)


def test_parameters_may_have_times_of_their_own() -> None:
    rain = alone("rr")
    rain["domain"]["axes"]["t"]["values"] = [z(hour) for hour in (2, 5, 8)]
    rain["ranges"]["rr"] = array([6.0, 3.0, 0.6])
    rain["parameters"]["rr"].pop("measurementType")
    data = collection(alone("t2"), alone("td2"), alone("ff"), rain)
    weather = coverage.read(data, names={"rr": "rain_mm before"})
    assert weather.start == START
    assert weather.rain_mm[0, 2:8] == pytest.approx([1.0, 1.0, 1.0, 0.2, 0.2, 0.2])
    assert np.isnan(weather.rain_mm[0, [0, 1, 8]]).all()


def test_one_time_after_another_may_be_a_coverage_each() -> None:
    points = []
    for hour in range(4):
        point = answer(1)
        point["domain"]["axes"]["t"]["values"] = [z(hour)]
        point["ranges"]["t2"] = {"type": "NdArray", "dataType": "float", "values": [280.15 + hour]}
        points.append(point)
    assert read(collection(*reversed(points))).air_c[0] == pytest.approx([7, 8, 9, 10])
    refused(collection(deepcopy(points[0]), *points), "stands twice")


def test_of_several_places_the_nearest_is_taken() -> None:
    far = answer()
    far["domain"]["axes"]["y"]["values"] = [48.2]
    far["ranges"]["t2"] = array([290.15] * 8)
    data = collection(far, answer())
    assert read(data).air_c[0] == pytest.approx(8.0)
    refused(data, "not known which is meant", place=None)
    refused(data, "none of them the yard's", place=(-48.0, 8.25))


@pytest.mark.parametrize("coverages", [[], None, [5], {}])
def test_an_empty_collection_is_refused(coverages: object) -> None:
    refused({"type": "CoverageCollection", "coverages": coverages}, "holds no coverages")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"detail": "Requested point is outside of dataset bounds!"}, "outside of dataset bounds!"),
        ({"code": "NotFound", "description": "no such collection"}, "NotFound: no such collection"),
    ],
)
def test_an_error_of_such_a_service_is_quoted(data: Json, words: str) -> None:
    refused(data, "answers with an error", words)


def test_hours_of_another_time_of_day_start_where_they_start() -> None:
    data = answer()
    data["domain"]["axes"]["t"]["values"] = [z(hour + 0.5).replace("Z", "+00:00") for hour in range(8)]
    assert read(data).start == START + timedelta(minutes=30)
