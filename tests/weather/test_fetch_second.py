"""The second service, and what was known at a time in the past."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import requests
from family_samples import Json, met_norway
from fetch_server import NOW, PLACE, SECRET, Desk, Server, another, forecast, running, says
from requests import PreparedRequest
from requests.adapters import HTTPAdapter

from scheduler.settings import ForecastSource
from scheduler.weather.fetch import (
    Answer,
    FetchError,
    keep,
    kept,
    kept_before,
    latest,
    request_for,
    weather_of,
)

CONTACT = "yard@example.org"
MET = {"path": "/weatherapi/locationforecast/2.0/complete", "family": "met-norway", "contact": CONTACT}
REMOTE = "https://weather.invalid/v1/forecast"


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with running(tmp_path) as made:
        yield made


@pytest.fixture
def second() -> Iterator[Server]:
    with another() as server:
        yield server


def made_at(when: datetime, air: float = 8.0) -> bytes:
    """A forecast whose own word says when it was made."""
    data: Json = met_norway()
    data["properties"]["meta"]["updated_at"] = f"{when:%Y-%m-%dT%H:%M:%SZ}"
    data["properties"]["timeseries"][0]["data"]["instant"]["details"]["air_temperature"] = air
    return json.dumps(data).encode()


# ------------------------------------------------------------------ the second service


def test_the_second_service_is_not_asked_while_the_first_does(desk: Desk, second: Server) -> None:
    desk.server.script = [says(forecast())]
    answer, said = desk.latest(second=second.url)
    assert (answer.body, said, second.paths) == (forecast(), None, [])
    assert answer.notes == ()


@pytest.mark.parametrize("status", [500, 404, 429, 200])
def test_when_the_first_fails_the_second_is_used_and_it_is_said_which(
    desk: Desk, second: Server, status: int
) -> None:
    desk.server.script = [says(b"<html></html>", status)]
    second.script = [says(forecast(air=3.0))]
    answer, said = desk.latest(second=second.url)
    assert answer.body == forecast(air=3.0)
    assert said is not None
    assert ("web page" if status == 200 else f"answered {status}") in said
    assert said.endswith("127.0.0.1, the second service, answered and is used.")
    assert answer.address.startswith(second.base)
    weather = weather_of(answer, PLACE)
    assert weather.provenance.notes[-1] == "from the second service, 127.0.0.1"
    assert (weather.air_c == 3.0).all(), "one of the two, never a mixture"
    [one] = kept(desk.folder)
    assert one.load() == answer, "what is kept says so too"


def test_when_the_first_is_not_even_allowed_to_be_asked_the_second_is_used(
    desk: Desk, second: Server
) -> None:
    second.script = [says(forecast())]
    answer, said = desk.latest(path="/points", family="nws", second=second.url)
    assert answer.body == forecast()
    assert said is not None
    assert "no contact is named" in said
    assert desk.server.paths == []


def test_when_the_first_is_back_it_is_used_again(desk: Desk, second: Server) -> None:
    desk.server.script = [*[says(b"", 500)] * 3, says(forecast(air=1.0))]
    second.script = [says(forecast(air=2.0))]
    assert desk.latest(second=second.url)[0].body == forecast(air=2.0)
    answer, said = desk.latest(5, second=second.url)
    assert (answer.body, said, answer.notes) == (forecast(air=1.0), None, ())


def test_the_second_is_asked_no_more_often_than_the_first(desk: Desk, second: Server) -> None:
    desk.server.script = [says(b"", 500)]
    second.script = [says(forecast(), ETag='"a"'), says(b"", 304)]
    for minutes, asked in ((0, 1), (29, 1), (30, 2), (59, 2)):
        answer, said = desk.latest(minutes, second=second.url)
        assert said is not None
        assert "second service" in said
        assert answer.notes == ("from the second service, 127.0.0.1",)
        assert len(second.paths) == asked


def test_when_the_first_is_old_a_newer_second_is_used(desk: Desk, second: Server) -> None:
    desk.server.script = [says(made_at(NOW - timedelta(hours=13)))]
    second.script = [says(forecast(air=2.0))]
    answer, said = desk.latest(second=second.url, **MET)
    assert answer.body == forecast(air=2.0)
    assert said == (
        "The forecast of 127.0.0.1 is 13 h old. 127.0.0.1, the second service, answered and is used."
    )
    assert len(kept(desk.folder)) == 2


def test_up_to_the_age_that_is_warned_of_the_first_is_used(desk: Desk, second: Server) -> None:
    desk.server.script = [says(made_at(NOW - timedelta(hours=13)))]
    second.script = [says(forecast())]
    answer, said = desk.latest(second=second.url, warn_age_h=13.0, **MET)
    assert (answer.body, said, second.paths) == (made_at(NOW - timedelta(hours=13)), None, [])


def test_when_the_first_is_old_and_the_second_older_or_broken_the_first_is_used(
    desk: Desk, second: Server
) -> None:
    old = made_at(NOW - timedelta(hours=13))
    desk.server.script = [says(old)]
    second.script = [says(made_at(NOW - timedelta(hours=20), air=2.0))]
    path = "/v1/forecast"  # recognised by its shape, whatever is asked
    answer, said = desk.latest(second=second.base + path, **MET)
    assert answer.body == old
    assert said == "The forecast of 127.0.0.1 is 13 h old. 127.0.0.1, the second service, has no newer one."
    second.script = [says(b"", 500)]
    answer, said = desk.latest(45, second=second.base + path, **MET)
    assert answer.body == old
    assert said is not None
    assert "did not help: 127.0.0.1 answered 500" in said


def test_when_both_fail_the_newest_kept_answer_of_either_is_used(desk: Desk, second: Server) -> None:
    desk.server.script = [says(forecast(air=1.0)), says(b"", 500)]
    second.script = [says(b"", 503), says(b"", 503), says(b"", 503), says(forecast(air=2.0)), says(b"", 400)]
    assert desk.latest(second=second.url)[0].body == forecast(air=1.0)
    answer, said = desk.latest(45, second=second.url)
    assert answer.body == forecast(air=1.0)
    assert said is not None
    assert "answered 500" in said
    assert "answered 503" in said
    assert said.endswith("The answer of 2025-11-03 05:47 UTC is used.")
    assert desk.latest(50, second=second.url)[0].body == forecast(air=2.0)
    answer, said = desk.latest(90, second=second.url)
    assert answer.body == forecast(air=2.0)
    assert said is not None
    assert said.endswith("The answer of 2025-11-03 06:37 UTC is used.")


def test_when_both_fail_and_nothing_is_kept_both_reasons_are_told(desk: Desk, second: Server) -> None:
    desk.server.script = [says(b"", 429, Retry_After="600")]
    second.script = [says(b"", 429, Retry_After="300")]
    with pytest.raises(FetchError, match=r"429.*429.*No earlier answer is kept\.") as caught:
        desk.latest(second=second.url)
    assert caught.value.retry_at == NOW + timedelta(minutes=5)


def test_the_key_of_the_first_service_goes_to_no_other_host(
    desk: Desk, second: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("YARD_KEY", SECRET)
    desk.server.script = [says(b"", 500)]
    second.script = [says(forecast())]
    desk.latest(second=second.url, key_env="YARD_KEY")
    assert "apikey" in desk.server.paths[0]
    assert "apikey" not in second.paths[0]
    desk.server.script = [*[says(b"", 500)] * 6, says(forecast(air=2.0))]
    desk.latest(45, second=desk.server.base + "/v1/other", key_env="YARD_KEY")
    assert desk.server.query()["apikey"] == [SECRET], "to another address of the same host it does"
    assert desk.server.paths[-1].startswith("/v1/other?")


def test_a_second_service_is_asked_as_its_own_family(desk: Desk, second: Server) -> None:
    desk.server.script = [says(b"", 500)]
    second.script = [says(made_at(NOW))]
    desk.latest(family="columns", second=f"{second.base}/weatherapi/locationforecast/2.0/complete?lat=48")
    assert second.paths == ["/weatherapi/locationforecast/2.0/complete?lat=48"]


# ------------------------------------------------------------------ the past


def put(folder: Path, hours: float, air: float) -> Answer:
    """An answer of some hours after NOW, written when it came."""
    address = request_for(ForecastSource(url=REMOTE), PLACE).address
    answer = Answer(forecast(air=air), address, "asked", NOW + timedelta(hours=hours))
    keep(answer, folder, written=answer.fetched)
    return answer


class Far(HTTPAdapter):
    """A way to services elsewhere that leads nowhere, and knows who was to be asked."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: list[str] = []

    def send(self, request: PreparedRequest, *_: Any, **__: Any) -> Any:
        self.asked.append(request.url or "")
        raise requests.ConnectionError


@pytest.fixture
def far(desk: Desk) -> Far:
    adapter = Far()
    desk.session.mount("https://", adapter)
    return adapter


def asked_for(desk: Desk, hours: float, **settings: Any) -> tuple[Answer, str | None]:
    """What is known at some hours after NOW, of a service elsewhere."""
    source = ForecastSource(url=REMOTE, **settings)
    at = NOW + timedelta(hours=hours)
    return latest(source, PLACE, desk.folder, at, session=desk.session, manners=desk.manners(tries=1))


def test_for_the_past_the_answer_that_was_kept_by_then_is_given_and_nobody_is_asked(
    desk: Desk, far: Far
) -> None:
    desk.true = NOW + timedelta(days=10)
    answers = {hours: put(desk.folder, hours, 5.0 + hours) for hours in (0, 5, 12)}
    for hours, known in ((0.0, 0), (4.9, 0), (5.0, 5), (11.99, 5), (30.0, 12), (9 * 24.0, 12)):
        assert asked_for(desk, hours) == (answers[known], None)
        before = kept_before(desk.folder, NOW + timedelta(hours=hours))
        assert before == answers[known]
    assert kept_before(desk.folder, NOW - timedelta(seconds=1)) is None
    assert far.asked == []


def test_for_a_past_of_which_nothing_is_kept_there_is_no_answer(desk: Desk, far: Far) -> None:
    desk.true = NOW + timedelta(days=10)
    put(desk.folder, 0, 1.0)
    with pytest.raises(FetchError, match=r"kept from before 2025-11-03 04:47 UTC.*--forecast"):
        asked_for(desk, -1.0, second="https://other.invalid/v1/forecast")
    assert far.asked == []


def test_neither_a_key_nor_a_contact_is_needed_for_the_past(desk: Desk) -> None:
    desk.true = NOW + timedelta(days=10)
    answer = put(desk.folder, 0, 1.0)
    assert asked_for(desk, 1.0, family="met-norway")[0] == answer
    assert asked_for(desk, 1.0, key_env="NOT_THERE")[0] == answer


def test_a_damaged_answer_or_one_of_another_place_was_not_what_was_known(desk: Desk) -> None:
    desk.true = NOW + timedelta(days=10)
    answer = put(desk.folder, 0, 1.0)
    other = Answer(forecast(lat=10.0), "https://weather.invalid/v1", "asked", NOW + timedelta(hours=1))
    keep(other, desk.folder, written=NOW)
    put(desk.folder, 2, 2.0)
    max(desk.folder.glob("*.json.gz")).write_bytes(b"")
    assert asked_for(desk, 3.0)[0] == answer


def test_of_two_services_asked_at_once_the_later_forecast_was_gone_by(desk: Desk) -> None:
    desk.true = NOW + timedelta(days=10)
    first = Answer(made_at(NOW - timedelta(hours=13)), "https://a.invalid/", "asked", NOW)
    second = Answer(made_at(NOW - timedelta(hours=2)), "https://b.invalid/", "asked", NOW, notes=("second",))
    for answer in (first, second):
        keep(answer, desk.folder, written=NOW)
    assert asked_for(desk, 1.0)[0] == second


def test_up_to_three_hours_back_is_now(desk: Desk, far: Far) -> None:
    desk.true = NOW
    put(desk.folder, -8, 1.0)
    for hours, asked in ((-3.01, 0), (-2.99, 1)):
        said = asked_for(desk, hours)[1]
        assert (said is not None) is bool(asked)
        assert len(far.asked) == asked
    fresh = put(desk.folder, -0.25, 2.0)
    assert asked_for(desk, -2.0) == (fresh, None), "it is not asked for again within half an hour"
    assert len(far.asked) == 1


def test_a_time_to_come_is_asked_for_now(desk: Desk, far: Far) -> None:
    desk.true = NOW
    fresh = put(desk.folder, -0.25, 1.0)
    assert asked_for(desk, 40.0) == (fresh, None), "a quarter of an hour old, whatever day is meant"
    assert far.asked == []
    desk.true = NOW + timedelta(hours=1)
    answer, said = asked_for(desk, 40.0)
    assert answer == fresh
    assert said is not None
    assert "could not be reached" in said
    assert len(far.asked) == 1


def test_a_service_on_this_computer_may_play_any_time(desk: Desk) -> None:
    desk.true = NOW + timedelta(days=300)
    desk.server.script = [says(forecast(air=1.0)), says(forecast(air=2.0))]
    assert desk.latest()[0].fetched == NOW
    assert desk.latest(45)[0].body == forecast(air=2.0)


def test_but_not_where_something_true_is_kept_from_then(desk: Desk) -> None:
    desk.true = NOW + timedelta(days=300)
    answer = put(desk.folder, -1, 7.0)
    desk.server.script = [says(forecast())]
    assert desk.latest() == (answer, None)
    assert desk.server.paths == []


def test_a_second_service_elsewhere_is_not_asked_for_a_past_that_is_played(desk: Desk, far: Far) -> None:
    desk.true = NOW + timedelta(days=300)
    desk.server.script = [says(b"", 500)]
    with pytest.raises(FetchError, match=r"weather\.invalid is not asked what was known in the past"):
        desk.latest(second=REMOTE)
    assert far.asked == []
