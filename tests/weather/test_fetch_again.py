"""Asking again: only when the service likes it, and only for what has changed."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from http.server import BaseHTTPRequestHandler
from pathlib import Path
from typing import Any

import pytest
from family_samples import met_norway
from fetch_server import HTML, NOW, PLACE, SECRET, Desk, Step, forecast, running, says

from scheduler.settings import Position
from scheduler.weather import fetch_kept
from scheduler.weather.fetch import Answer, FetchError, ask, kept, last_kept
from scheduler.weather.fetch_session import open_session

CONTACT = "yard@example.org"
MODIFIED = "Mon, 03 Nov 2025 05:11:12 GMT"
MET = {"path": "/weatherapi/locationforecast/2.0/complete", "family": "met-norway", "contact": CONTACT}
MET_BODY = json.dumps(met_norway()).encode()


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with running(tmp_path) as made:
        yield made


def says_at(body: bytes, date: str, **headers: str) -> Step:
    """An answer that carries a clock of its own."""

    def step(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response_only(200)
        sent = {"Date": date, "Content_Length": str(len(body))} | headers
        for name, value in sent.items():
            handler.send_header(name.replace("_", "-"), value)
        handler.end_headers()
        handler.wfile.write(body)

    return step


# ------------------------------------------------------------------ has anything changed?


def test_the_second_question_is_whether_anything_has_changed(desk: Desk) -> None:
    desk.server.script = [says(forecast(), ETag='"a1"', Last_Modified=MODIFIED), says(b"", 304)]
    first, _ = desk.latest()
    again, said = desk.latest(45)
    assert "If-None-Match" not in desk.server.headers[0]
    assert desk.server.headers[1]["If-None-Match"] == '"a1"'
    assert desk.server.headers[1]["If-Modified-Since"] == MODIFIED
    assert said is None
    assert again == replace(first, checked=NOW + timedelta(minutes=45))
    assert again.fetched == NOW


def test_not_changed_renews_the_time_and_keeps_the_one_body(desk: Desk) -> None:
    desk.server.script = [says(forecast(), ETag='"a1"'), says(b"", 304, ETag='"a2"'), says(forecast(air=2.0))]
    desk.latest()
    desk.latest(45)
    [one] = kept(desk.folder)
    assert (one.fetched, one.checked, one.etag) == (NOW, NOW + timedelta(minutes=45), '"a2"')
    assert desk.latest(74)[0].body == forecast(), "half an hour is counted from when it was checked"
    assert len(desk.server.paths) == 2
    assert desk.latest(75)[0].body == forecast(air=2.0)
    assert desk.server.headers[2]["If-None-Match"] == '"a2"'
    assert len(kept(desk.folder)) == 2


def test_a_damaged_body_is_asked_for_whole(desk: Desk) -> None:
    desk.server.script = [says(forecast(), ETag='"a1"')]
    desk.latest()
    [body] = desk.folder.glob("*.json.gz")
    body.write_bytes(b"")
    assert desk.latest(45)[1] is None
    assert "If-None-Match" not in desk.server.headers[1]


def test_not_changed_without_having_asked_so_is_no_answer(desk: Desk) -> None:
    desk.server.script = [says(b"", 304)]
    with pytest.raises(FetchError, match="answered 304"):
        desk.latest()
    other = Answer(forecast(), "https://example.org/other", "asked", NOW, etag='"x"')
    with pytest.raises(FetchError, match="answered 304"):
        desk.ask(known=other)
    assert not any("If-None-Match" in headers for headers in desk.server.headers)


def test_validators_that_were_tampered_with_are_not_sent(desk: Desk) -> None:
    desk.server.script = [says(forecast(), ETag='"a1"')]
    desk.latest()
    [about] = desk.folder.glob("*.meta.json")
    about.write_text(
        json.dumps(json.loads(about.read_text()) | {"etag": "a\r\nX-Bad: 1", "last_modified": 5})
    )
    assert desk.latest(45)[1] is None
    assert not desk.server.headers[1].keys() & {"X-Bad", "If-None-Match", "If-Modified-Since"}


# ------------------------------------------------------------------ not before it has run out


def test_nobody_asks_before_the_answer_has_run_out_by_the_services_own_clock(desk: Desk) -> None:
    # The service's clock is years away from ours: the lifetime of 50 minutes counts.
    times = {"date": "Mon, 20 Jul 2020 11:20:00 GMT", "Expires": "Mon, 20 Jul 2020 12:10:00 GMT"}
    desk.server.script = [says_at(forecast(), **times), says(forecast(air=2.0))]
    first, _ = desk.latest()
    assert first.expires == NOW + timedelta(minutes=50)
    assert desk.latest(49)[0] == first
    assert len(desk.server.paths) == 1
    assert desk.latest(50)[0].body == forecast(air=2.0)


def test_the_next_process_knows_it_too_and_not_changed_brings_a_new_time(desk: Desk) -> None:
    desk.server.script = [
        says(forecast(), ETag='"a"', Cache_Control="max-age=7200"),
        says(b"", 304, Cache_Control="max-age=3600"),
        says(b"", 304),
    ]
    desk.latest()
    for minutes, asked in ((119, 1), (120, 2), (179, 2), (180, 3), (209, 3), (210, 4)):
        desk.latest(minutes)
        assert len(desk.server.paths) == asked, minutes


def test_half_an_hour_is_the_least_even_if_the_service_would_allow_less(desk: Desk) -> None:
    desk.server.script = [says(forecast(), Cache_Control="max-age=60")]
    desk.latest()
    desk.latest(29)
    assert len(desk.server.paths) == 1


def test_a_date_far_off_does_not_silence_the_program_for_longer_than_a_forecast_is_good(desk: Desk) -> None:
    desk.server.script = [says(forecast(), Cache_Control="max-age=99999999")]
    desk.latest()
    desk.latest(12 * 60 - 1)
    assert len(desk.server.paths) == 1
    desk.latest(12 * 60)
    assert len(desk.server.paths) == 2


# ------------------------------------------------------------------ left alone for as long as it says


@pytest.mark.parametrize("status", [429, 503])
def test_the_next_process_does_not_ask_before_the_time_that_was_said(desk: Desk, status: int) -> None:
    desk.server.script = [says(b"", status, Retry_After="600"), says(forecast())]
    for minutes in (0, 1, 9):
        with pytest.raises(FetchError, match="Try again after 2025-11-03 05:57 UTC") as caught:
            desk.latest(minutes)
        assert caught.value.retry_at == NOW + timedelta(minutes=10)
    assert len(desk.server.paths) == 1
    assert desk.latest(10)[0].body == forecast()


def test_the_kept_answer_is_used_meanwhile_and_the_reason_said(desk: Desk) -> None:
    body = json.dumps(
        {"error": True, "reason": "Daily API request limit exceeded. Please try again tomorrow."}
    )
    desk.server.script = [says(forecast()), says(body.encode(), 429)]
    desk.latest()
    for minutes in (40, 600):
        answer, said = desk.latest(minutes)
        assert answer.body == forecast()
        assert said is not None
        assert "Daily API request limit" in said
        assert "Try again after 2025-11-04 00:00 UTC." in said
        assert said.endswith("The answer of 2025-11-03 05:47 UTC is used.")
    assert len(desk.server.paths) == 2


def test_a_limit_by_the_minute_has_passed_before_anybody_asks_again(desk: Desk) -> None:
    reason = json.dumps({"error": True, "reason": "Minutely API request limit exceeded."}).encode()
    desk.server.script = [says(reason, 429), says(forecast())]
    with pytest.raises(FetchError):
        desk.latest()
    assert desk.latest()[0].body == forecast()


def test_a_fault_without_a_wish_is_tried_again_the_next_time(desk: Desk) -> None:
    desk.server.script = [*[says(b"", 500)] * 3, says(forecast())]
    with pytest.raises(FetchError):
        desk.latest()
    assert list(desk.folder.iterdir()) == []
    assert desk.latest()[0].body == forecast()


def test_another_service_and_another_time_are_not_held_back(desk: Desk) -> None:
    desk.server.script = [says(b"", 429, Retry_After="600"), says(forecast())]
    with pytest.raises(FetchError):
        desk.latest(10_000)
    # What was written at a time that has not come yet was played, or the clock was wrong.
    assert desk.latest(0)[0].body == forecast()


@pytest.mark.parametrize("spoil", ["[]", "{", '{"since": 5}', '{"since": "x", "until": "y"}', ""])
def test_a_damaged_memory_is_no_hindrance(desk: Desk, spoil: str) -> None:
    desk.server.script = [says(b"", 429, Retry_After="600"), says(forecast())]
    with pytest.raises(FetchError):
        desk.latest()
    [memory] = desk.folder.glob("wait-*.json")
    memory.write_text(spoil)
    assert desk.latest()[0].body == forecast()


def test_no_key_is_written_where_a_refusal_is_remembered(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("YARD_KEY", SECRET)
    desk.server.script = [says(f"too often with {SECRET}".encode(), 429, Retry_After="600")]
    for _ in range(2):
        with pytest.raises(FetchError) as caught:
            desk.latest(key_env="YARD_KEY")
        assert "s3cr3t" not in str(caught.value)
    [memory] = desk.folder.glob("wait-*.json")
    assert "s3cr3t" not in memory.read_text()


def test_a_refusal_that_cannot_be_remembered_is_told_all_the_same(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(fetch_kept.os, "fsync", full)
    desk.server.script = [says(b"", 429, Retry_After="600")]
    with pytest.raises(FetchError, match="wants fewer requests"):
        desk.latest()


# ------------------------------------------------------------------ MET Norway's terms are strict


@pytest.mark.parametrize(
    ("status", "words"), [(429, "wants fewer requests"), (403, "who does not say who asks")]
)
def test_met_norway_is_left_alone_for_a_day_after_a_refusal(desk: Desk, status: int, words: str) -> None:
    desk.server.script = [says(HTML, status, Retry_After="5"), says(MET_BODY)]
    for minutes in (0, 24 * 60 - 1):
        with pytest.raises(FetchError, match=words) as caught:
            desk.latest(minutes, **MET)
        assert caught.value.retry_at == NOW + timedelta(hours=24)
    assert (len(desk.server.paths), desk.sleeps) == (1, [])
    assert desk.latest(24 * 60, **MET)[0].body == MET_BODY


def test_another_contact_ends_a_refusal_for_want_of_one_but_not_one_for_asking_too_often(desk: Desk) -> None:
    mended = MET | {"contact": "https://example.org/yard"}
    desk.server.script = [says(HTML, 403), says(b"", 429), says(MET_BODY)]
    for settings in (MET, mended, mended, MET):
        with pytest.raises(FetchError):
            desk.latest(**settings)
    assert len(desk.server.paths) == 2


def test_met_norways_validator_is_sent_back_exactly(desk: Desk) -> None:
    odd = "Mon, 3 Nov 2025 05:11:12 +0000"  # not as RFC 9110 wants it, and not ours to mend
    desk.server.script = [says(MET_BODY, Last_Modified=odd), says(b"", 304)]
    desk.latest(**MET)
    answer, said = desk.latest(45, **MET)
    assert (answer.body, said) == (MET_BODY, None)
    assert desk.server.headers[1]["If-Modified-Since"] == odd


# ------------------------------------------------------------------ which: contact or key


@pytest.mark.parametrize(
    ("status", "settings", "words"),
    [
        (401, {}, "It wants a key"),
        (401, {"key_env": "YARD_KEY"}, "It did not take the key"),
        (403, {}, r"It may want a key \(key_env .*\), or to know who asks \(contact\)"),
        (403, {"contact": CONTACT}, "It may want a key: name key_env"),
        (403, {"key_env": "YARD_KEY"}, "The key is not good for this"),
        (403, MET, "check contact in yard.toml"),
        (403, {"family": "nws", "contact": CONTACT}, "check contact in yard.toml"),
        (404, {}, "no data for this place"),
        (422, MET, "no data for this place"),
    ],
)
def test_a_refusal_says_what_is_lacking(
    desk: Desk, status: int, settings: dict[str, Any], words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("YARD_KEY", SECRET)
    desk.server.script = [says(HTML, status)]
    with pytest.raises(FetchError, match=words) as caught:
        desk.ask(**settings)
    assert caught.value.status == status
    assert f'answered {status}: "Hello & welcome"' in str(caught.value)
    assert len(desk.server.paths) == 1


@pytest.mark.parametrize("status", [408, 425, 499, 500, 502, 503, 504, 599])
def test_trouble_that_may_pass_is_tried_three_times(desk: Desk, status: int) -> None:
    desk.server.script = [says(b"", status)]
    with pytest.raises(FetchError, match=rf"answered {status} \(3 tries\)"):
        desk.ask()
    assert (len(desk.server.paths), desk.sleeps) == (3, [2.5, 4.5])


def test_the_time_to_try_again_counts_from_the_last_try(desk: Desk) -> None:
    desk.server.script = [says(b"", 503, Retry_After="20")]
    with pytest.raises(FetchError) as caught:
        desk.ask()
    assert desk.sleeps == [20.0, 20.0]
    assert caught.value.retry_at == NOW + timedelta(seconds=60)


# ------------------------------------------------------------------ too much, too slow


def test_fifty_megabytes_are_refused_at_once_where_they_are_announced(desk: Desk) -> None:
    def step(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(200)
        handler.send_header("Content-Length", "50000000")
        handler.end_headers()
        desk.server.closing.wait(5)

    desk.server.script = [step]
    with pytest.raises(FetchError, match="larger than 5 MB"):
        desk.ask()


@pytest.mark.parametrize("status", [200, 500])
def test_fifty_megabytes_that_are_not_announced_are_not_read_to_the_end(desk: Desk, status: int) -> None:
    sent = []

    def step(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(status)
        handler.end_headers()
        for _ in range(50):
            handler.wfile.write(b" " * 1_000_000)
            sent.append(1)

    desk.server.script = [step, says(forecast())]
    if status == 200:
        with pytest.raises(FetchError, match="larger than 5 MB"):
            desk.ask()
    else:
        assert desk.ask().body == forecast()
    assert len(sent) < 20


def test_packed_bytes_that_unpack_to_nothing_are_counted_too(desk: Desk) -> None:
    def step(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(200)
        handler.send_header("Content-Encoding", "gzip")
        handler.end_headers()
        handler.wfile.write(b"\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\x03")
        for _ in range(50):  # empty stored blocks
            handler.wfile.write(b"\x00\x00\x00\xff\xff" * 200_000)

    desk.server.script = [step]
    with pytest.raises(FetchError, match="larger than 5 MB"):
        desk.ask()


def test_a_head_that_drips_is_given_up(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_PROXY", "*")

    def drip(handler: BaseHTTPRequestHandler) -> None:
        for byte in b"HTTP/1.0 200 OK\r\nX-Long: " + b"y" * 1000:
            handler.wfile.write(bytes([byte]))
            handler.wfile.flush()
            if desk.server.closing.wait(0.02):
                return

    desk.server.script = [drip]
    manners = desk.manners(total=0.1, tries=1)
    with pytest.raises(FetchError, match="did not answer in time"):
        ask(desk.source(), PLACE, now=NOW, manners=manners)


def test_a_body_that_drips_is_given_up_by_our_own_session_too(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_PROXY", "*")

    def drip(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(200)
        handler.end_headers()
        while not desk.server.closing.wait(0.02):
            handler.wfile.write(b" ")
            handler.wfile.flush()

    desk.server.script = [drip]
    with pytest.raises(FetchError, match=r"still sending after 0\.1 s"):
        ask(desk.source(), PLACE, now=NOW, manners=desk.manners(total=0.1, tries=1))


def test_our_own_session_reads_whole_answers_one_after_the_other(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_PROXY", "*")
    desk.server.script = [says(forecast(air=float(n))) for n in range(3)]
    with open_session(20.0, desk.manners().ticks) as session:
        desk.session = session
        assert [desk.ask().body for _ in range(3)] == [forecast(air=float(n)) for n in range(3)]


def test_a_web_page_with_status_200_is_no_forecast_whatever_it_calls_itself(desk: Desk) -> None:
    desk.server.script = [says(HTML, Content_Type="application/json"), says(HTML, Content_Type="text/html")]
    for _ in range(2):
        with pytest.raises(FetchError, match=r"web page.*No earlier answer is kept"):
            desk.latest()
    assert last_kept(desk.folder) is None
    desk.server.script = [says(forecast(), Content_Type="text/html")]
    assert desk.latest()[0].body == forecast(), "what it is, counts, not what it is called"


def test_every_refusal_is_a_sentence_for_the_person_who_reads_it(desk: Desk) -> None:
    for status in (*range(201, 208), *range(305, 307), *range(400, 452), *range(500, 512)):
        if status in {203, 204, 205}:
            continue
        desk.server.script = [says(b"", status)]
        with pytest.raises(FetchError) as caught:
            desk.ask(Position(lat=1, lon=1))
        text = str(caught.value)
        assert re.match(r"127\.0\.0\.1 .*\.$", text), text
        assert str(status) in text
        assert "!" not in text
