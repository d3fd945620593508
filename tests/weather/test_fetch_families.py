"""Each family is asked in its own way: what goes over the wire, and what is refused before."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from email.utils import parsedate_to_datetime
from http.server import BaseHTTPRequestHandler
from pathlib import Path
from urllib.parse import parse_qs, unquote, urlsplit

import pytest
from family_samples import coverage, met_norway, nws
from fetch_server import NOW, PLACE, Desk, Step, another, forecast, running, says

from scheduler import __version__
from scheduler.settings import ForecastSource, Position
from scheduler.weather.fetch import FetchError, Request, request_for, weather_of
from scheduler.weather.fetch_family import family_of
from scheduler.weather.series import WeatherError

CONTACT = "yard@example.org"
HIGH = Position(lat=48.01234567, lon=8.2, altitude_m=612.6)


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with running(tmp_path) as made:
        yield made


def made(url: str, place: Position = PLACE, **settings: str) -> Request:
    return request_for(ForecastSource(url=url, **settings), place)  # type: ignore[arg-type]


def query(url: str) -> dict[str, list[str]]:
    return parse_qs(urlsplit(url).query, keep_blank_values=True)


# ------------------------------------------------------------------ which family


@pytest.mark.parametrize(
    ("url", "said", "family"),
    [
        ("https://api.met.no/weatherapi/locationforecast/2.0/complete", None, "met-norway"),
        ("https://API.MET.NO/weatherapi/locationforecast/2.0/complete", "columns", "met-norway"),
        ("https://api.weather.gov/points", None, "nws"),
        ("https://api.open-meteo.com/v1/forecast", None, "columns"),
        ("https://example.org/some/where", "met-norway", "met-norway"),
        ("https://example.org/v1/forecast", "nws", "nws"),
        ("https://example.org/v1/forecast", None, "columns"),
        ("https://example.org/weather/v1/dwd-icon/", None, "columns"),
        ("https://example.org/v1", None, "columns"),
        ("https://example.org", None, "columns"),
        ("http://127.0.0.1:8080/v1/forecast", None, "columns"),
        ("http://127.0.0.1:8080/some/where", None, None),
        ("https://example.org/v1/forecast.json", None, None),
        ("https://example.org/forecast", None, None),
        ("https://example.org/edr/collections/icon/position?coords=POINT(8 48)", None, "coverage"),
        ("https://example.org/edr/collections/icon/instances/1/position", None, "coverage"),
        ("https://example.org/edr/collections/icon/area", None, None),
        ("https://notapi.met.no/weatherapi", None, None),
    ],
)
def test_the_family_is_known_by_the_host_of_a_listed_service_else_as_said_else_by_the_path(
    url: str, said: str | None, family: str | None
) -> None:
    assert family_of(url, said) == family


def test_an_unknown_address_is_asked_as_it_stands(desk: Desk) -> None:
    desk.server.script = [says(forecast())]
    answer = desk.ask(path="/my/weather?station=5&x=", key_name="x")
    assert desk.server.paths == ["/my/weather?station=5&x="]
    assert answer.asked == "asked 127.0.0.1 as the address stands"
    assert "json" in desk.server.headers[0]["Accept"]


def test_a_key_is_sent_to_a_service_of_any_family(tmp_path: Path) -> None:
    (tmp_path / "key").write_text("abc123")
    request = made("https://example.org/my/weather?a=1", key_file=str(tmp_path / "key"), key_name="token")
    assert query(request.url) == {"a": ["1"], "token": ["abc123"]}
    assert "abc123" not in request.address


# ------------------------------------------------------------------ who asks


@pytest.mark.parametrize(
    ("url", "name"),
    [
        ("https://api.met.no/weatherapi/locationforecast/2.0/complete", "MET Norway"),
        ("https://api.weather.gov/points", "The National Weather Service"),
    ],
)
@pytest.mark.parametrize("contact", [None, "", "   ", "äöü", "\r\n", "Joe", "@", "."])
def test_without_a_contact_a_service_that_wants_one_is_not_asked(
    url: str, name: str, contact: str | None
) -> None:
    with pytest.raises(FetchError, match=rf"^{name} wants to know who asks") as caught:
        request_for(ForecastSource(url=url, contact=contact), PLACE)
    assert 'in yard.toml under [forecast]: contact = "…".' in str(caught.value)


@pytest.mark.parametrize("contact", [CONTACT, "https://example.org/yard", "example.org"])
def test_a_mail_address_or_a_web_page_is_a_contact(contact: str) -> None:
    assert made("https://api.weather.gov/points", contact=contact).family == "nws"


def test_without_a_contact_nothing_goes_over_the_wire(desk: Desk) -> None:
    desk.server.script = [says(forecast())]
    with pytest.raises(FetchError, match="wants to know who asks"):
        desk.latest(path="/points", family="nws")
    assert desk.server.paths == []


def test_met_norway_is_asked_over_https_only_but_on_this_computer() -> None:
    with pytest.raises(FetchError, match="over https only"):
        made("http://api.met.no/weatherapi/locationforecast/2.0/complete", contact=CONTACT)
    assert made("http://localhost:1/x", family="met-norway", contact=CONTACT).family == "met-norway"
    assert made("http://[::1]:1/x", family="met-norway", contact=CONTACT).family == "met-norway"


@pytest.mark.parametrize(
    ("url", "warned"),
    [
        ("https://example.org/v1/forecast", False),
        ("http://127.0.0.1:8080/v1/forecast", False),
        ("http://192.168.1.5/v1/forecast", True),
        ("http://example.org/v1/forecast?apikey=abcdef", True),
    ],
)
def test_a_key_that_would_go_without_encryption_is_warned_of(
    url: str, warned: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if "apikey" not in url:
        monkeypatch.setenv("MY_KEY", "abcdef")
    request = made(url, **({} if "apikey" in url else {"key_env": "MY_KEY"}))
    assert bool(request.notes) is warned
    assert "abcdef" not in "".join(request.notes)
    assert made("http://example.org/v1/forecast").notes == ()


# ------------------------------------------------------------------ MET Norway


def test_met_norway_gets_four_decimals_and_whole_metres_and_who_asks(desk: Desk) -> None:
    desk.server.script = [says(json.dumps(met_norway()).encode())]
    answer = desk.ask(
        HIGH, path="/weatherapi/locationforecast/2.0/complete", family="met-norway", contact=CONTACT
    )
    assert desk.server.query() == {"lat": ["48.0123"], "lon": ["8.2"], "altitude": ["613"]}
    assert desk.server.headers[0]["User-Agent"] == f"coatcast/{__version__} (+{CONTACT})"
    assert desk.server.headers[0]["Accept-Encoding"] == "gzip"
    assert answer.asked == "asked 127.0.0.1 for its complete forecast at 48.0 N 8.2 E, 613 m"
    assert "lat=48.0123&lon=8.2&altitude=613" in answer.address
    assert weather_of(answer, PLACE).provenance.family == "met-norway"


def test_the_users_own_place_is_cut_to_what_met_norway_takes() -> None:
    base = "https://api.met.no/weatherapi/locationforecast/2.0/complete"
    request = made(f"{base}?lat=48.1234567&altitude=12.7&x=1", contact=CONTACT)
    assert query(request.url) == {"lat": ["48.1235"], "lon": ["8.2"], "altitude": ["13"], "x": ["1"]}
    odd = made(f"{base}?lat=nan&lon=here", contact=CONTACT)
    assert query(odd.url) == {"lat": ["nan"], "lon": ["here"]}


@pytest.mark.parametrize(
    ("given", "asked"), [("2.0", "2.0/complete"), ("2.0/", "2.0/complete"), ("2.0/compact", "2.0/compact")]
)
def test_the_complete_forecast_is_asked_where_the_address_names_none(given: str, asked: str) -> None:
    request = made(f"https://api.met.no/weatherapi/locationforecast/{given}", contact=CONTACT)
    assert urlsplit(request.url).path == f"/weatherapi/locationforecast/{asked}"


def test_small_and_negative_degrees_are_written_plainly() -> None:
    place = Position(lat=-0.00001, lon=-120.5)
    request = made("https://api.met.no/weatherapi/locationforecast/2.0/complete", place, contact=CONTACT)
    assert query(request.url) == {"lat": ["0"], "lon": ["-120.5"]}


# ------------------------------------------------------------------ National Weather Service


def point(link: str) -> bytes:
    return json.dumps({"type": "Feature", "properties": {"forecastGridData": link}}).encode()


GRID: bytes = json.dumps(nws()).encode()
US = {"path": "/points", "family": "nws", "contact": CONTACT}


def test_the_answer_for_a_point_is_followed_to_its_grid(desk: Desk) -> None:
    desk.server.script = [says(point(f"{desk.server.base}/gridpoints/LZK/83,73")), says(GRID)]
    answer, said = desk.latest(**US)
    assert (said, answer.body) == (None, GRID)
    assert desk.server.paths == ["/points/48.0123,8.2", "/gridpoints/LZK/83,73"]
    for headers in desk.server.headers:
        assert headers["Accept"] == "application/geo+json"
        assert CONTACT in headers["User-Agent"]
    assert answer.asked == "asked 127.0.0.1 for its forecast grid at 48.0 N 8.2 E"
    assert weather_of(answer, PLACE).provenance.family == "nws"


def test_the_grid_of_a_place_is_looked_up_once_a_week(desk: Desk) -> None:
    look_up = says(point(f"{desk.server.base}/gridpoints/LZK/83,73"))
    desk.server.script = [look_up, says(GRID)]
    day = 24 * 60
    for minutes in (0, 60, 6 * day, 7 * day - 1):
        desk.latest(minutes, **US)
    assert [path[:5] for path in desk.server.paths] == ["/poin", *["/grid"] * 4]
    desk.server.script = [*[says(GRID)] * 5, look_up, says(GRID)]
    desk.latest(7 * day + 60, **US)
    assert [path[:5] for path in desk.server.paths[-2:]] == ["/poin", "/grid"]


def test_a_grid_that_is_gone_is_looked_up_again(desk: Desk) -> None:
    base = desk.server.base
    desk.server.script = [
        says(point(f"{base}/gridpoints/LZK/83,73")),
        says(GRID),
        says(b"{}", 404),
        says(point(f"{base}/gridpoints/LZK/84,74")),
        says(GRID),
    ]
    desk.latest(**US)
    _, said = desk.latest(60, **US)
    assert said is None
    assert desk.server.paths[2:] == ["/gridpoints/LZK/83,73", "/points/48.0123,8.2", "/gridpoints/LZK/84,74"]


def test_a_grid_that_is_never_there_is_given_up_and_looked_up_the_next_time(desk: Desk) -> None:
    look_up = says(point(f"{desk.server.base}/gridpoints/LZK/83,73"))
    desk.server.script = [look_up, says(b"{}", 404), look_up, says(GRID)]
    with pytest.raises(FetchError, match=r"no data for this place; it covers the United States only"):
        desk.latest(**US)
    assert desk.latest(60, **US)[0].body == GRID
    assert len(desk.server.paths) == 4


def test_a_place_outside_the_country_is_said_to_be_so(desk: Desk) -> None:
    problem = {
        "correlationId": "1",
        "type": "x/problems/InvalidPoint",
        "title": "Data Unavailable For Requested Point",
    }
    desk.server.script = [says(json.dumps(problem).encode(), 404)]
    with pytest.raises(FetchError, match=r"Data Unavailable.*covers the United States only"):
        desk.latest(**US)


def test_a_grid_on_another_host_or_scheme_is_not_asked(desk: Desk) -> None:
    with another() as other:
        other.script = [says(GRID)]
        port = desk.server.http.server_address[1]
        for link in (
            f"{other.base}/gridpoints/X/1,1",
            f"http://localhost:{port}/g",
            f"https://127.0.0.1:{port}/g",
        ):
            desk.server.script = [says(point(link))]
            with pytest.raises(FetchError, match="names an address on another host"):
                desk.latest(**US)
        assert other.paths == []


def test_a_remembered_grid_on_another_host_is_not_asked_either(desk: Desk) -> None:
    look_up = says(point(f"{desk.server.base}/gridpoints/LZK/83,73"))
    desk.server.script = [look_up, says(GRID), look_up, says(GRID)]
    desk.latest(**US)
    [memory] = desk.folder.glob("grid-*.json")
    about = json.loads(memory.read_text())
    memory.write_text(json.dumps(about | {"link": "http://localhost:1/gridpoints/LZK/83,73"}))
    assert desk.latest(60, **US)[1] is None
    memory.write_text("[]")
    assert desk.latest(120, **US)[1] is None


def test_validators_of_one_grid_are_not_sent_for_another(desk: Desk) -> None:
    base = desk.server.base
    desk.server.script = [says(point(f"{base}/gridpoints/LZK/83,73")), says(GRID, ETag='"a"'), says(GRID)]
    desk.latest(**US)
    [memory] = desk.folder.glob("grid-*.json")
    memory.unlink()
    desk.server.script = [*[says(b"")] * 2, says(point(f"{base}/gridpoints/LZK/84,74")), says(GRID)]
    desk.latest(60, **US)
    assert not any("If-None-Match" in headers for headers in desk.server.headers)


@pytest.mark.parametrize(
    ("path", "asked"),
    [
        ("", "/points/48.0123,8.2"),
        ("/points/", "/points/48.0123,8.2"),
        ("/mirror", "/mirror/points/48.0123,8.2"),
        ("/points/41.2,-96.6", "/points/41.2,-96.6"),
        ("/gridpoints/LZK/83,73", "/gridpoints/LZK/83,73"),
    ],
)
def test_the_address_may_be_the_host_a_point_or_a_grid(path: str, asked: str) -> None:
    request = made(f"https://api.weather.gov{path}", contact=CONTACT)
    assert request.url == f"https://api.weather.gov{asked}"
    assert request.lookup is ("/points" in asked)


def test_a_point_that_names_no_grid_is_refused_in_the_readers_words(desk: Desk) -> None:
    steps: list[tuple[Step, str]] = [
        (says(json.dumps({"properties": {"forecastGridData": 5}}).encode()), "holds no weather"),
        (says(b"<html>sign in</html>"), "web page"),
    ]
    for step, words in steps:
        desk.server.script = [step]
        with pytest.raises(WeatherError, match=words):
            desk.latest(**US)


def test_a_point_at_an_unknown_address_is_followed_by_the_shape_of_its_answer(desk: Desk) -> None:
    desk.server.script = [says(point(f"{desk.server.base}/gridpoints/LZK/83,73")), says(GRID)]
    assert desk.latest(path="/mirror/points/48,8")[0].body == GRID


# ------------------------------------------------------------------ coverage


def test_a_position_query_gets_its_place_and_keeps_the_users_own_parameters(desk: Desk) -> None:
    desk.server.script = [says(json.dumps(coverage()).encode())]
    answer = desk.ask(path="/edr/collections/icon/position?parameter-name=t2m,tp&datetime=2025-11-03/..")
    assert desk.server.query() == {
        "parameter-name": ["t2m,tp"],
        "datetime": ["2025-11-03/.."],
        "coords": ["POINT(8.2 48.0123)"],
        "f": ["CoverageJSON"],
    }
    assert "coverage+json" in desk.server.headers[0]["Accept"]
    assert answer.asked == "asked 127.0.0.1 for a coverage at 48.0 N 8.2 E"
    assert "coords=POINT(8.2 48.0123)" in unquote(answer.address)


def test_the_users_own_coordinates_and_format_are_kept() -> None:
    request = made("https://example.org/edr/collections/icon/position?coords=POINT(9%2050)&f=covjson")
    assert query(request.url) == {"coords": ["POINT(9 50)"], "f": ["covjson"]}
    assert "the place of the address" in request.asked


def test_another_kind_of_coverage_query_is_asked_as_it_stands() -> None:
    request = made("https://example.org/edr/collections/icon/locations/5?f=x", family="coverage")
    assert request.url == "https://example.org/edr/collections/icon/locations/5?f=x"


def test_a_coverage_is_read_and_kept(desk: Desk) -> None:
    desk.server.script = [says(json.dumps(coverage()).encode())]
    answer, said = desk.latest(path="/edr/collections/icon/position")
    assert said is None
    assert weather_of(answer, PLACE).provenance.family == "coverage"


# ------------------------------------------------------------------ what an answer says of itself


def test_an_answer_of_a_service_on_its_way_out_is_used_with_a_note(desk: Desk) -> None:
    desk.server.script = [says(forecast(), 203)]
    answer, said = desk.latest()
    assert (answer.status, said) == (203, None)
    [note] = weather_of(answer, PLACE).provenance.notes[-1:]
    assert note == "127.0.0.1 says that this kind of answer is a trial or will end (203)"
    assert desk.latest(5)[0].notes == answer.notes, "kept with the answer"


def test_an_answer_without_notes_is_read_as_before() -> None:
    from scheduler.weather.fetch import Answer

    plain = Answer(forecast(), "https://example.org/", "asked", NOW - timedelta(hours=1))
    weather = weather_of(plain, None)
    assert weather.provenance.notes == ()
    assert weather.provenance.issued == plain.fetched
    assert weather_of(replace(plain, notes=("n",)), PLACE, issued=NOW).provenance.issued == NOW


# ------------------------------------------------------------------ recorded answers, where they are at hand

RECORDED = Path(os.environ.get("COATCAST_PAYLOADS") or Path(__file__).parents[3] / "shared" / "payloads")


def recorded(name: str) -> bytes:
    path = RECORDED / name
    if not path.is_file():
        pytest.skip("no recorded answers here: set COATCAST_PAYLOADS to their folder")
    return path.read_bytes()


def test_a_recorded_answer_and_its_headers_are_kept_until_they_run_out(desk: Desk) -> None:
    body = recorded("met-norway/london_2020-07-20_complete.json")
    headers = json.loads(recorded("met-norway/london_2020-07-20_complete.headers.json"))["headers"]
    wanted = {name: headers[name] for name in ("Date", "Expires", "Age")}
    modified = headers["Last-Modified"]

    def step(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response_only(200)
        for name, value in (wanted | {"Last-Modified": modified}).items():
            handler.send_header(name, value)
        handler.end_headers()
        handler.wfile.write(body)

    desk.server.script = [step, says(b"", 304)]
    london = Position(lat=51.5, lon=-0.1, altitude_m=25.0)
    settings = {"path": "/weatherapi/locationforecast/2.0/", "family": "met-norway", "contact": CONTACT}
    answer, _ = desk.latest(place=london, **settings)
    lifetime = parsedate_to_datetime(wanted["Expires"]) - parsedate_to_datetime(wanted["Date"])
    assert timedelta(minutes=30) < lifetime < timedelta(minutes=33)
    assert answer.expires == NOW + lifetime
    desk.latest(31, london, **settings)
    assert len(desk.server.paths) == 1
    assert desk.latest(32, london, **settings)[0].body == body
    assert desk.server.headers[1]["If-Modified-Since"] == modified


def test_the_recorded_answer_for_a_point_names_the_services_own_host(desk: Desk) -> None:
    desk.server.script = [says(recorded("nws/points_wahoo_ne.json"))]
    with pytest.raises(FetchError, match=r"names an address on another host, api\.weather\.gov"):
        desk.latest(**US)
    assert len(desk.server.paths) == 1
