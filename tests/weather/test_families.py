"""What holds for every family: the same storm is in the same hour, and nothing trips a reader."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from family_samples import (
    FAMILIES,
    PLACE,
    Json,
    brightsky,
    columns,
    coverage,
    layer,
    met_norway,
    met_part,
    nws,
    read,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.weather.formats import FAMILIES as TABLE
from scheduler.weather.formats import read_answer
from scheduler.weather.series import WeatherError

STORM = 3  # it rains 2.4 mm in the hour that begins then


def with_a_storm(family: str) -> Json:
    data = FAMILIES[family]()
    if family == "met-norway":
        met_part(data, STORM, "next_1_hours")["precipitation_amount"] = 2.4
    elif family == "nws":
        data = nws(
            quantitativePrecipitation=layer("mm", (0, "PT3H", 0.0), (3, "PT1H", 2.4), (4, "PT20H", 0.0))
        )
    elif family == "coverage":
        data["ranges"]["rr"]["values"][STORM + 1] = 2.4
    elif family == "brightsky":
        data["weather"][STORM + 1]["precipitation"] = 2.4
    else:
        data["hourly"]["precipitation"][STORM + 1] = 2.4
    return data


@pytest.mark.parametrize("family", FAMILIES)
def test_the_same_storm_is_in_the_same_hour_whatever_a_family_calls_it(family: str) -> None:
    weather = read(with_a_storm(family))
    assert weather.provenance.family == family
    rain = weather.rain_mm[0]
    assert np.flatnonzero(rain > 0.0).tolist() == [STORM]
    assert rain[STORM] == pytest.approx(2.4)
    assert weather.air_c[0, STORM] == pytest.approx(8.0)
    assert weather.wind_ms[0, STORM] == pytest.approx(3.0)
    assert weather.dew_point_c[0, STORM] == pytest.approx(2.0)


@pytest.mark.parametrize("family", FAMILIES)
def test_an_answer_is_known_by_its_own_family_alone(family: str) -> None:
    data = FAMILIES[family]()
    assert [one.name for one in TABLE if one.recognise(data)] == [family]


def test_every_family_that_is_read_has_a_sample_here() -> None:
    assert {one.name for one in TABLE if one.read is not None} == set(FAMILIES)


def places(data: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Where something stands in an answer."""
    inner = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in inner:
        yield (*path, key)
        yield from places(value, (*path, key))


SPOTS = [(family, spot) for family, make in FAMILIES.items() for spot in places(make())]
JUNK = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False)
    | st.text(max_size=8)
    | st.sampled_from(
        [10**400, -1e308, 1e999, "2025-11-03T00:00:00Z", "P5DT19H", "2025-11-03T00:00:00Z/PT1H"]
    ),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=6,
)


@given(st.sampled_from(SPOTS), st.sampled_from(["drop", "junk", "junk", "twice"]), JUNK)
@settings(max_examples=600, deadline=None)
def test_an_answer_with_one_part_spoiled_is_weather_or_a_clear_refusal(
    spot: tuple[str, tuple[Any, ...]], how: str, junk: Any
) -> None:
    family, path = spot
    data = FAMILIES[family]()
    inner = data
    for key in path[:-1]:
        inner = inner[key]
    if how == "junk":
        inner[path[-1]] = junk
    elif how == "twice" and isinstance(inner, list):
        inner.insert(path[-1], inner[path[-1]])
    else:
        del inner[path[-1]]
    try:
        weather = read_answer(json.dumps(data).encode(), place=PLACE)
        text = "."
    except WeatherError as error:
        text = str(error)
    assert text.endswith(".")
    assert len(text) < 1000
    if text != ".":
        return
    assert 2 <= weather.hours <= 960
    known = np.isfinite(weather.dew_point_c) & np.isfinite(weather.air_c)
    assert (weather.dew_point_c <= weather.air_c + 1e-9)[known].all()
    assert not (weather.rain_mm < 0.0).any()


@given(st.sampled_from(sorted(FAMILIES)), st.floats(0.0, 1.0, exclude_max=True))
@settings(max_examples=60, deadline=None)
def test_an_answer_cut_off_anywhere_is_refused(family: str, share: float) -> None:
    body = json.dumps(FAMILIES[family]()).encode()
    with pytest.raises(WeatherError, match=r"cut off|empty"):
        read_answer(body[: int(share * len(body))])


def test_a_spoiled_answer_never_becomes_drier() -> None:
    """Whatever rain is taken out of an answer becomes unknown, not none."""
    for family in FAMILIES:
        whole = read(with_a_storm(family)).rain_mm[0]
        data = with_a_storm(family)
        for path in places(data):
            inner: Any = data
            for key in path[:-1]:
                inner = inner[key]
            if inner[path[-1]] == 2.4:
                inner[path[-1]] = None
                break
        rain = read(data).rain_mm[0]
        assert np.isnan(rain[STORM]), family
        others = np.arange(rain.size) != STORM
        assert np.array_equal(rain[others], whole[others], equal_nan=True), family


def test_the_samples_are_what_they_say() -> None:
    for make in (met_norway, nws, coverage, brightsky, columns):
        assert read(make()).known_until() > read(make()).start


@pytest.mark.parametrize("family", FAMILIES)
def test_a_number_too_large_for_a_number_is_refused(family: str) -> None:
    body = json.dumps(with_a_storm(family)).replace("2.4", "1e999")
    with pytest.raises(WeatherError, match="contradicts nature"):
        read_answer(body.encode())
