"""The calendar feed over HTTP: its secret address, its validators, and what an address may ask for."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime, parsedate_to_datetime
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import pytest
from feed_samples import FeedYard, client_of, events, some
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from reminder_samples import DAY, HOUR, job, log, moved, span, wanted
from starlette.datastructures import Headers

from scheduler.reminders.queue import mark
from scheduler.web import feedout, keys
from scheduler.web.feedout import KINDS, Feed, matches
from scheduler.web.keys import change_feed, keys_of
from scheduler.yard.store import open_store

SECOND = timedelta(seconds=1)


@pytest.fixture
def yard(tmp_path: Path) -> FeedYard:
    return some(tmp_path)


@pytest.fixture
def client(yard: FeedYard) -> Iterator[Any]:
    with client_of(yard) as found:
        yard.clock.goes(2 * SECOND)
        found.get(yard.path)
        yard.clock.goes(2 * SECOND)
        yield found


def kinds(data: bytes) -> set[str]:
    return {str(cat) for event in events(data).values() for cat in event["CATEGORIES"].cats}


# ------------------------------------------------------------------ the address


def test_the_calendar_is_at_its_secret_address_and_nowhere_else(yard: FeedYard, client: Any) -> None:
    answer = client.get(yard.path)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    assert len(events(answer.content)) == 3
    secret = keys_of(yard.file).feed
    wrong = [
        secret[:-1],
        secret + "A",
        secret.swapcase(),
        "",
        "x" * 4000,
        "%00",
        "ä",
        "..%2F..%2Fyard.toml",
        "1",
    ]
    for guess in [*wrong, keys_of(yard.file).page, keys_of(yard.file).form]:
        refused = client.get(f"/feed/{guess}.ics")
        assert refused.status_code == 404, guess
        assert b"VCALENDAR" not in refused.content
    assert client.get("/feed/").status_code == 404
    assert client.get("/calendar.ics").status_code == 404


def test_the_secret_is_long_and_stands_in_no_answer_header_or_calendar(yard: FeedYard, client: Any) -> None:
    secret = keys_of(yard.file).feed
    assert len(secret) >= 32
    answer = client.get(yard.path)
    assert secret not in str(answer.headers)
    assert secret.encode() not in answer.content
    assert answer.headers["x-robots-tag"] == "noindex"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert secret not in repr(keys_of(yard.file))


def test_a_new_address_ends_the_old_one_at_once(yard: FeedYard, client: Any) -> None:
    old = yard.path
    kept = keys_of(yard.file)
    change_feed(yard.file)  # as the command does, beside the running page
    assert yard.path != old
    assert client.get(old).status_code == 404
    assert client.get(yard.path).status_code == 200
    now = keys_of(yard.file)
    assert (now.page, now.form) == (kept.page, kept.form), "phones stay let in"


def test_the_pages_button_gives_a_new_address(yard: FeedYard, client: Any) -> None:
    old = yard.path
    form = {"stamp": keys_of(yard.file).stamp, "once": "abcdefgh12345678", "back": "/calendar"}
    answer = client.post("/feed/new", data=form, follow_redirects=False)
    assert answer.status_code == 303
    assert client.get(old).status_code == 404
    assert client.get(yard.path).status_code == 200
    assert client.post("/feed/new", data=form | {"stamp": "guess"}).status_code == 403


def test_only_the_owner_may_read_the_file_of_the_secrets(yard: FeedYard) -> None:
    keys_of(yard.file)
    change_feed(yard.file)
    if os.name == "posix":
        assert yard.file.with_suffix(".keys").stat().st_mode & 0o077 == 0


def test_where_the_new_address_cannot_be_written_the_old_one_lives_and_it_is_said(
    yard: FeedYard, client: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = yard.path

    def refuses(*_: Any, **__: Any) -> Any:
        raise PermissionError("no")

    monkeypatch.setattr(keys.tempfile, "mkstemp", refuses)
    with pytest.raises(OSError, match="old address"):
        change_feed(yard.file)
    assert client.get(old).status_code == 200


# ------------------------------------------------------------------ validators


def test_who_has_it_already_is_told_so_by_the_tag_and_by_the_date(yard: FeedYard, client: Any) -> None:
    first = client.get(yard.path)
    tag, date = first.headers["etag"], first.headers["last-modified"]
    assert re.fullmatch(r'"[0-9a-f]{32}"', tag)
    assert parsedate_to_datetime(date) <= yard.clock()
    later = format_datetime(yard.clock() + HOUR, usegmt=True)
    for headers in (
        {"If-None-Match": tag},
        {"If-None-Match": f'"other", W/{tag}'},
        {"If-None-Match": "*"},
        {"If-None-Match": tag, "If-Modified-Since": "Mon, 01 Jan 1990 00:00:00 GMT"},
        {"If-Modified-Since": date},
        {"If-Modified-Since": later},
    ):
        same = client.get(yard.path, headers=headers)
        assert same.status_code == 304, headers
        assert same.content == b""
        for name in ("etag", "last-modified", "cache-control"):
            assert same.headers[name] == first.headers[name]
        assert "content-length" not in same.headers
    for headers in (
        {"If-None-Match": '"other"'},
        {"If-None-Match": '"other"', "If-Modified-Since": date},
        {"If-None-Match": ""},
        {"If-Modified-Since": "Mon, 01 Jan 1990 00:00:00 GMT"},
        {"If-Modified-Since": "yesterday"},
        {"If-Modified-Since": "Mon, 99 Foo 2025 99:99:99 GMT"},
        {},
    ):
        assert client.get(yard.path, headers=headers).content == first.content, headers


@pytest.mark.parametrize(
    "form",
    ["%a, %d %b %Y %H:%M:%S GMT", "%A, %d-%b-%y %H:%M:%S GMT", "%a %b %d %H:%M:%S %Y"],
    ids=["of today", "RFC 850", "asctime"],
)
def test_all_three_ways_to_write_a_date_are_read(form: str) -> None:
    # RFC 9110, 5.6.7: a recipient must accept all three.
    changed = datetime(2025, 11, 3, 5, 0, tzinfo=UTC)
    feed = Feed(b"", '"x"', changed)
    at = changed + HOUR
    assert matches(Headers({"if-modified-since": changed.strftime(form)}), feed, at)
    assert not matches(Headers({"if-modified-since": (changed - SECOND).strftime(form)}), feed, at)


def test_a_tag_in_a_second_line_of_the_header_counts(yard: FeedYard, client: Any) -> None:
    tag = client.get(yard.path).headers["etag"]
    answer = client.get(yard.path, headers=[("If-None-Match", '"other"'), ("If-None-Match", tag)])
    assert answer.status_code == 304


def test_head_tells_what_get_would(yard: FeedYard, client: Any) -> None:
    whole, head = client.get(yard.path), client.head(yard.path)
    assert head.status_code == 200
    assert head.content == b""
    assert dict(head.headers) == dict(whole.headers)
    assert head.headers["content-length"] == str(len(whole.content))
    assert client.head(yard.path, headers={"If-None-Match": whole.headers["etag"]}).status_code == 304
    assert client.put(yard.path).status_code == 405


def test_asking_again_a_day_later_finds_the_same_bytes_until_the_days_move_on(
    yard: FeedYard, client: Any
) -> None:
    first = client.get(yard.path)
    yard.wants(
        jobs=[job(), job(name="top"), job("look", why="clear or milky?")], logs=[log()], spans=[span()]
    )
    yard.clock.goes(10 * HOUR)
    again = client.get(yard.path)
    assert again.content == first.content, "a plan that changes nothing changes no byte"
    assert again.headers["last-modified"] == first.headers["last-modified"]


def test_every_change_moves_both_validators(yard: FeedYard, client: Any) -> None:
    """What moves, is called off, leaves or is answered: a client of either kind misses none of it."""
    path = f"{yard.path}?days=16"
    look, coats = job("look", why="clear or milky?"), [job(), job(name="top")]

    def answered() -> None:
        with open_store(yard.yard.store_url) as store:
            found = store.reminders(yard.yard.yard.key)
            number = next(row.id for row in found if row.kind == "look")
            assert number is not None
            mark(store, yard.yard.yard.key, number, "drop", yard.clock())

    story = {
        "moved": lambda: yard.wants(jobs=[*coats, look], spans=[moved(span(), HOUR)]),
        "called off": lambda: yard.wants(jobs=[*coats, look]),
        "answered: gone from the feed": answered,
        "an end less": lambda: yard.wants(jobs=coats[:1]),
        "back again": lambda: yard.wants(jobs=coats[:1], spans=[moved(span(), HOUR)]),
        "another name": lambda: yard.file.write_text(
            yard.file.read_text(encoding="utf-8").replace("Test yard", "Other yard"), encoding="utf-8"
        ),
        "four days later": lambda: yard.clock.goes(4 * DAY),
        "what is over has left": lambda: yard.clock.goes(20 * DAY),
    }
    client.get(path)
    yard.clock.goes(2 * SECOND)
    before = client.get(path)
    for name, happens in story.items():
        yard.clock.goes(timedelta(milliseconds=700))
        happens()
        tag, date = before.headers["etag"], before.headers["last-modified"]
        assert client.get(path, headers={"If-Modified-Since": date}).status_code == 200, name
        assert client.get(path, headers={"If-None-Match": tag}).status_code == 200, name
        yard.clock.goes(2 * SECOND)
        after = client.get(path)
        assert after.content != before.content, name
        assert after.headers["etag"] != tag, name
        assert parsedate_to_datetime(after.headers["last-modified"]) > parsedate_to_datetime(date), name
        assert parsedate_to_datetime(after.headers["last-modified"]) <= yard.clock(), name
        before = after
    assert events(before.content) == {}


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from([b"a", b"b", b"c"]), st.integers(0, 2500)), min_size=1, max_size=30)
)
def test_no_date_is_ever_told_for_two_different_calendars(steps: list[tuple[bytes, int]]) -> None:
    """Whatever changes however fast: a client that goes by the date alone never keeps an old calendar."""
    feeds, at = feedout.Feeds(), datetime(2025, 11, 3, 5, 0, tzinfo=UTC)
    told: dict[str, bytes] = {}
    for n, (data, wait) in enumerate(steps):
        at += timedelta(milliseconds=wait)
        feed = feeds._seen("", n, data, at)
        date = feed.headers(at).get("Last-Modified")
        if date is not None:
            assert told.setdefault(date, data) == data
            assert parsedate_to_datetime(date) <= at
        for seen, bytes_ in told.items():
            if matches(Headers({"if-modified-since": seen}), feed, at):
                assert bytes_ == data


def test_after_the_clock_was_set_back_no_date_is_told_until_it_is_right_again() -> None:
    feeds, at = feedout.Feeds(), datetime(2025, 11, 3, 5, 0, tzinfo=UTC)
    feeds._seen("", 1, b"a", at)
    feed = feeds._seen("", 2, b"b", at - HOUR)
    assert "Last-Modified" not in feed.headers(at - HOUR)
    since = format_datetime(at + SECOND, usegmt=True)
    assert not matches(Headers({"if-modified-since": since}), feed, at - HOUR)
    assert "Last-Modified" in feed.headers(at + 2 * SECOND)


# ------------------------------------------------------------------ moved and called off


def test_the_story_of_a_span_that_moves_and_is_called_off(yard: FeedYard, client: Any) -> None:
    def only() -> Any:
        (event,) = events(client.get(f"{yard.path}?kinds=spans").content).values()
        return event

    first = only()
    assert (first["SEQUENCE"], first["STATUS"]) == (0, "CONFIRMED")
    yard.clock.goes(HOUR)
    yard.wants(spans=[moved(span(), HOUR)])
    second = only()
    assert (second["UID"], second["SEQUENCE"]) == (first["UID"], 1)
    assert second["DTSTART"].dt - first["DTSTART"].dt == HOUR
    assert second["DTSTAMP"].dt == yard.clock()
    yard.clock.goes(HOUR)
    yard.wants()
    third = only()
    assert (third["UID"], third["SEQUENCE"], third["STATUS"]) == (first["UID"], 2, "CANCELLED")
    assert third["SUMMARY"].startswith("Called off: Brush 10 to 14")
    assert third["DTSTART"].dt == second["DTSTART"].dt
    yard.clock.goes(3 * DAY + 6 * HOUR)
    assert only()["STATUS"] == "CANCELLED", "for two days after its day"
    yard.clock.goes(DAY)
    assert events(client.get(yard.path + "?kinds=spans").content) == {}


# ------------------------------------------------------------------ choices


def test_an_address_names_the_kinds_that_it_wants(yard: FeedYard, client: Any) -> None:
    assert kinds(client.get(yard.path).content) == {"Coating", "Deadline", "Inspection"}
    assert kinds(client.get(f"{yard.path}?kinds=spans").content) == {"Coating"}
    assert len(events(client.get(f"{yard.path}?kinds=duties").content)) == 2
    assert events(client.get(f"{yard.path}?kinds=saw-by").content) == {}
    both = client.get(f"{yard.path}?kinds=spans,duties")
    assert (
        both.content == client.get(f"{yard.path}?kinds=duties,spans").content == client.get(yard.path).content
    )


def test_every_kind_of_reminder_has_its_name_in_the_address() -> None:
    from scheduler.views.feed import CATEGORIES

    assert {kind for those in KINDS.values() for kind in those} == set(CATEGORIES)


def test_times_are_utc_or_the_yards_with_its_zone(yard: FeedYard, client: Any) -> None:
    utc, zone = (client.get(f"{yard.path}?kinds=spans&times={word}").content for word in ("utc", "zone"))
    assert b"DTSTART:20251104T080000Z" in utc
    assert b"VTIMEZONE" not in utc
    assert b"DTSTART;TZID=Europe/Berlin:20251104T090000" in zone
    assert b"BEGIN:VTIMEZONE" in zone
    (one,), (other,) = events(utc).values(), events(zone).values()
    assert one["DTSTART"].dt == other["DTSTART"].dt


def test_alarms_come_when_they_are_asked_for(yard: FeedYard, client: Any) -> None:
    assert b"VALARM" not in client.get(yard.path).content
    assert b"VALARM" not in client.get(f"{yard.path}?alarms=no").content
    assert client.get(f"{yard.path}?alarms=yes").content.count(b"BEGIN:VALARM") == 1


def test_the_days_ahead_are_chosen(yard: FeedYard, client: Any) -> None:
    yard.wants(spans=[span(), moved(span(), 7 * DAY)])
    assert len(events(client.get(f"{yard.path}?kinds=spans&days=1").content)) == 0
    assert len(events(client.get(f"{yard.path}?kinds=spans").content)) == 1
    assert len(events(client.get(f"{yard.path}?kinds=spans&days=16").content)) == 2


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("kinds=spam", "'spam' is none; there are spans, duties, saw-by, season"),
        ("kinds=", "there are spans"),
        ("kinds=spans,,duties", "there are spans"),
        ("times=local", "utc or zone"),
        ("alarms=maybe", "yes or no"),
        ("days=0", "from 1 to 16"),
        ("days=17", "from 1 to 16"),
        ("days=-1", "from 1 to 16"),
        ("days=99999999999999999999", "from 1 to 16"),
        ("days=%C2%B2", "from 1 to 16"),
        ("alarm=yes", "'alarm' is no choice of the feed; there are kinds, times, alarms, days"),
    ],
)
def test_an_address_that_asks_for_what_there_is_not_is_told_what_there_is(
    yard: FeedYard, client: Any, query: str, said: str
) -> None:
    answer = client.get(f"{yard.path}?{query}")
    assert answer.status_code == 400
    assert said in answer.text
    assert client.get(f"/feed/wrong.ics?{query}").status_code == 404, "nothing is told to who has no address"


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(query=st.text(st.characters(codec="utf-8"), max_size=40))
def test_no_query_breaks_it(yard: FeedYard, client: Any, query: str) -> None:
    assert client.get(yard.path, params={"kinds": query}).status_code in (200, 400)
    assert client.get(yard.path, params={query or "x": "1"}).status_code in (200, 400)


def test_many_different_addresses_do_not_fill_the_memory(yard: FeedYard, client: Any) -> None:
    feeds = yard.app.state.room.feeds
    for n in range(100):
        client.get(
            f"{yard.path}?days={n % 16 + 1}&alarms={'yes' if n % 2 else 'no'}&times=utc{'&' * (n % 7)}"
        )
        client.get(f"{yard.path}?days=1{'&' * n}")
    assert len(feeds.kept) <= feedout.MOST_KEPT
    assert len(feeds.choices) <= feedout.MOST_KEPT


# ------------------------------------------------------------------ where it is asked from


def test_over_the_wifi_the_address_alone_is_enough(tmp_path: Path) -> None:
    yard = FeedYard(tmp_path, lan=True)
    yard.wants(spans=[span()])
    with client_of(yard) as client:
        client.cookies.clear()
        there = {"Host": "192.168.1.20:8732"}
        assert client.get(yard.path, headers=there).status_code == 200
        assert client.get("/calendar", headers=there).status_code == 403
        assert client.get(yard.path, headers={"Host": "elsewhere.example"}).status_code == 421


def test_a_yard_without_any_entry_has_an_empty_calendar(tmp_path: Path) -> None:
    yard = FeedYard(tmp_path)
    with client_of(yard) as client:
        answer = client.get(yard.path)
    assert answer.status_code == 200
    assert events(answer.content) == {}
    assert b"X-PUBLISHED-TTL:PT1H" in answer.content
    assert b"REFRESH-INTERVAL;VALUE=DURATION:PT1H" in answer.content


def test_an_unchanged_calendar_is_made_once(
    yard: FeedYard, client: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[int] = []
    real = feedout.feed_bytes
    monkeypatch.setattr(feedout, "feed_bytes", lambda *a: made.append(1) or real(*a))
    for _ in range(5):
        client.get(yard.path)
    assert made == []
    yard.wants(wanted(at=yard.clock()))
    for _ in range(5):
        client.get(yard.path)
    assert len(made) == 1


# ------------------------------------------------------------------ what people type, and what leads here


def test_markup_in_a_logs_name_is_text_in_the_calendar_and_never_a_page(tmp_path: Path) -> None:
    name = "<b onclick=x>&\"'</b><script>alert(1)</script>\r\nBEGIN:VALARM\r\nX:1"
    yard = FeedYard(tmp_path)
    yard.wants(jobs=[job("look", why=name)], logs=[log(species=None, species_said=name)])
    with client_of(yard) as client:
        answer = client.get(yard.path)
    assert answer.headers["content-type"].startswith("text/calendar")
    assert answer.headers["x-content-type-options"] == "nosniff"
    (event,) = events(answer.content).values()
    assert name.replace("\r\n", "\n") in event["SUMMARY"]
    assert not event.subcomponents
    assert not re.search(rb"^(BEGIN:VALARM|X:1)", answer.content, re.MULTILINE)


@pytest.mark.parametrize("tag", ["H01", "H05-2", "Ä1", "a/b", "H 1"])
def test_the_code_of_a_tag_opens_the_logs_page(tmp_path: Path, tag: str) -> None:
    from starlette.routing import Match

    from scheduler.views.tags import code_text
    from scheduler.web.routes import ROUTES

    path = unquote(urlsplit(code_text(tag, "http://192.168.1.20:8732")).path)
    scope = {"type": "http", "method": "GET", "path": path}
    (found,) = [
        (route, more) for route in ROUTES for match, more in [route.matches(scope)] if match is Match.FULL
    ]
    assert found[0].path.startswith("/log/{tag")
    assert found[1]["path_params"] == {"tag": tag}


def test_of_very_many_logs_on_a_day_not_all_are_named(tmp_path: Path) -> None:
    yard = FeedYard(tmp_path)
    logs = [log(f"H{n:03}") for n in range(300)]
    yard.wants(jobs=[job(tag=one.tag) for one in logs], logs=logs, spans=[span()])
    with client_of(yard) as client:
        found = client.get(f"{yard.path}?kinds=duties")
    assert len(events(found.content)) == 5
    last = max((str(event["DESCRIPTION"]) for event in events(found.content).values()), key=len)
    assert "And 295 more: " in last
    assert last.endswith("; and 275 others.")
    assert len(found.content) < 8000
