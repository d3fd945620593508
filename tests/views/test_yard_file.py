"""The text of a new yard file, and that it is a yard file."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.settings import endpoints, example_yard, load_yard
from scheduler.views.yard_file import terms, yard_text


def text(lat: float = 48.0123, lon: float = 8.2345, **more: object) -> str:
    told: dict[str, object] = {
        "zone": "Europe/Berlin",
        "units": "metric",
        "url": None,
        "family": None,
        "contact": False,
    }
    return yard_text(example_yard(), lat, lon, **(told | more))  # type: ignore[arg-type]


def test_place_zone_and_units_stand_in_it_and_the_comments_stay() -> None:
    made = text(-45.5, 169.25, zone="Pacific/Auckland", units="us")
    yard = tomllib.loads(made)["yard"]
    assert yard["place"] == {"lat": -45.5, "lon": 169.25}
    assert (yard["zone"], yard["units"]) == ("Pacific/Auckland", "us")
    assert made.count("#") == example_yard().count("#")


def test_without_an_endpoint_the_line_stays_a_comment() -> None:
    assert "url" not in tomllib.loads(text())["forecast"]


def test_an_endpoint_and_its_family_are_written_as_they_are() -> None:
    url = r"https://example.org/v1?x=\1&y=2"
    toml_safe = url.replace("\\", "%5C")
    forecast = tomllib.loads(text(url=toml_safe, family="columns"))["forecast"]
    assert (forecast["url"], forecast["family"]) == (toml_safe, "columns")
    assert tomllib.loads(text(url="https://example.org/v1"))["forecast"]["url"] == "https://example.org/v1"


def test_a_service_that_wants_a_contact_gets_the_line_for_it() -> None:
    assert "contact" not in tomllib.loads(text(url="https://example.org"))["forecast"]
    assert tomllib.loads(text(url="https://example.org", contact=True))["forecast"]["contact"]


@given(st.floats(-90, 90), st.floats(-180, 180))
def test_any_place_makes_a_file_that_can_be_read(lat: float, lon: float) -> None:
    place = tomllib.loads(text(lat, lon))["yard"]["place"]
    assert place["lat"] == pytest.approx(lat, abs=6e-5)
    assert place["lon"] == pytest.approx(lon, abs=6e-5)


def test_the_whole_file_with_the_terms_of_the_services_is_a_yard(tmp_path: Path) -> None:
    path = tmp_path / "yard.toml"
    path.write_text(text() + "\n".join(terms(endpoints())), encoding="utf-8")
    yard = load_yard(path)
    assert (yard.yard.place.lat, yard.yard.place.lon) == (48.0123, 8.2345)
    assert yard.site.hollow_is_guess


def test_every_service_is_listed_with_address_and_terms_and_only_as_comments() -> None:
    lines = terms(endpoints())
    assert all(line.startswith("#") or not line for line in lines)
    listed = "\n".join(lines)
    for name, service in endpoints().items():
        assert f"# {name}: " in listed
        assert service.url in listed
        assert service.terms in listed
    assert "non-commercial" in listed
