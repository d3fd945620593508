"""What is wanted: reminders, the calendar, the list of today's notice; under the bundled weather story."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from icalendar import Calendar
from keeper import DEMO, WEATHER, YARD, Keeper

from scheduler.service import refresh_reminders
from scheduler.settings import load_yard
from scheduler.sources import kept_forecast
from scheduler.weather.fetch_kept import Answer, keep
from scheduler.yard.store import open_store

TUESDAY = "2025-11-04T06:00"


@pytest.fixture
def demo(tmp_path: Path) -> Keeper:
    """The bundled yard with its logs, at the beginning of its Tuesday."""
    keeper = Keeper(tmp_path, at=TUESDAY)
    shutil.copy(DEMO / "yard.toml", keeper.file)
    keeper.does("log", "import", str(DEMO / "logs.csv"), at="2025-11-03T05:45")
    return keeper


def reminders(keeper: Keeper, *words: str, at: str | None = None) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = keeper.run("reminders", "--json", *words, at=at).json["reminders"]
    return found


# ------------------------------------------------------------------ reminders


def test_a_reminder_has_the_keys_of_the_contract(keeper: Keeper) -> None:
    keeper.does("log", "add", "H01 cherry cut saturday")
    rows = reminders(keeper)
    assert [list(row) for row in rows] == [["id", "kind", "tag", "end", "due", "state", "text"]] * 2
    assert {(row["kind"], row["tag"], row["state"]) for row in rows} == {("seal", "H01", "planned")}
    assert {row["end"] for row in rows} == {"butt", "top"}
    due = datetime.fromisoformat(rows[0]["due"])
    cut = datetime(2025, 11, 1, 11, tzinfo=UTC)  # the middle of that Saturday
    assert cut < due < cut + timedelta(hours=12)  # a goal of config/ after the cut
    assert due.utcoffset() == timedelta(hours=1)


def test_a_coat_that_is_noted_ends_its_reminder_and_an_undo_brings_it_back(keeper: Keeper) -> None:
    keeper.does("log", "add", "H01 cherry cut saturday")
    ids = {row["id"] for row in reminders(keeper)}
    keeper.does("note", "H01", "coat")
    assert {row["kind"] for row in reminders(keeper)} >= {"look"}
    assert "seal" not in {row["kind"] for row in reminders(keeper)}
    assert {row["state"] for row in reminders(keeper, "--all") if row["kind"] == "seal"} == {"done"}
    keeper.does("undo")
    assert {row["id"] for row in reminders(keeper) if row["kind"] == "seal"} == ids


def test_gone_ends_all_reminders(keeper: Keeper) -> None:
    keeper.does("log", "add", "H01 cherry cut saturday")
    assert reminders(keeper)
    keeper.does("note", "H01", "gone", "sold")
    assert reminders(keeper) == []
    assert keeper.does("reminders") == "No reminders.\n"


def test_reminders_are_answered_by_number(keeper: Keeper) -> None:
    keeper.does("log", "add", "2 cherry cut saturday")
    ids = [str(row["id"]) for row in reminders(keeper)]
    assert keeper.does("reminders", "done", ids[0], ids[1]).count("Done: ") == 2
    keeper.does("reminders", "drop", f"#{ids[2]}")
    later = keeper.run("reminders", "later", ids[3], "--until", "friday", "--json").json["reminders"]
    assert later[0]["due"] == "2025-11-07T00:00:00+01:00"
    assert [str(row["id"]) for row in reminders(keeper)] == [ids[3]]
    assert reminders(keeper, "--due") == []
    assert keeper.does("reminders", "--due") == "Nothing is due.\n"
    assert len(reminders(keeper, "--due", at="2025-11-07T08:00")) == 1
    assert keeper.does("reminders", "done", ids[0]).startswith("Done: ")  # a second tap does nothing


@pytest.mark.parametrize(
    ("words", "holds"),
    [
        (["dnoe", "1"], "did you mean done?"),
        (["done"], "Which one?"),
        (["done", "99"], "There is no reminder 99"),
        (["drop", "H01"], "H01 wild cherry"),
        (["done", "1", "--until", "friday"], "--until goes with later"),
        (["--until", "friday"], "--until goes with"),
        (["later", "1", "--until", "32 feb"], "There is no 32 February"),
    ],
)
def test_an_answer_that_cannot_be_is_refused(keeper: Keeper, words: list[str], holds: str) -> None:
    keeper.does("log", "add", "H01 cherry cut saturday")
    before = reminders(keeper)
    assert holds in keeper.fails("reminders", *words)
    assert reminders(keeper) == before


def test_listing_twice_changes_nothing(demo: Keeper) -> None:
    first = demo.does("reminders", *WEATHER)
    with open_store(load_yard(demo.file).store_url) as store:
        before = store.reminders("ellerquern")
    assert demo.does("reminders", *WEATHER) == first
    with open_store(load_yard(demo.file).store_url) as store:
        assert store.reminders("ellerquern") == before


def test_a_span_stands_in_the_list_and_is_not_called_off_where_the_weather_is_not_known(demo: Keeper) -> None:
    spans = [row for row in reminders(demo, *WEATHER) if row["kind"] == "span"]
    assert spans
    assert spans[0]["due"].startswith("2025-11-04T09:00:00")
    assert "brush 9 to " in spans[0]["text"]
    unknown = [row for row in reminders(demo) if row["kind"] == "span"]
    assert [row["id"] for row in unknown] == [row["id"] for row in spans]
    assert all("old forecast" in row["text"] for row in unknown)


def test_while_away_no_day_is_put_to_anybody(demo: Keeper) -> None:
    demo.does("away", "until", "8 nov")
    assert min(row["due"] for row in reminders(demo, *WEATHER) if row["kind"] == "span") >= "2025-11-08"


# ------------------------------------------------------------------ calendar


def events(data: bytes) -> list[Any]:
    return [part for part in Calendar.from_ical(data).walk() if part.name == "VEVENT"]


def test_the_calendar_holds_the_spans_and_the_jobs(demo: Keeper, tmp_path: Path) -> None:
    file = tmp_path / "yard.ics"
    said = demo.does("calendar", "-o", str(file), *WEATHER)
    found = events(file.read_bytes())
    assert said == f"Written: {file} ({len(found)} entries)\n"
    assert any(str(event["SUMMARY"]).startswith("Brush 9 to") for event in found)
    assert any(str(event["SUMMARY"]).startswith("H01 wild cherry") for event in found)
    assert demo.run("calendar", *WEATHER).raw == file.read_bytes()


def test_the_calendar_keeps_its_uids_when_it_is_written_again_the_next_day(demo: Keeper) -> None:
    def uids(at: str) -> set[str]:
        return {str(event["UID"]) for event in events(demo.run("calendar", *WEATHER, at=at).raw)}

    first = uids("2025-11-03T06:00")
    assert first & uids(TUESDAY)


def test_the_agenda_is_the_calendar_in_plain_lines(demo: Keeper) -> None:
    said = demo.does("calendar", "--view", *WEATHER)
    assert said.startswith("Tue 4 Nov\n")
    assert "Brush 9 to" in said
    assert "BEGIN:" not in said


def test_a_calendar_without_a_forecast_still_holds_the_jobs_and_says_why_there_is_no_span(
    keeper: Keeper,
) -> None:
    keeper.does("log", "add", "H01 cherry cut saturday")
    keeper.does("note", "H01", "coat")
    done = keeper.run("calendar")
    assert (done.code, done.err) == (0, "No forecast: the yard file names no endpoint ([forecast] url).\n")
    assert [str(event["SUMMARY"]) for event in events(done.raw)] == [
        "H01 wild cherry, butt and top: look, clear or milky?"
    ]


# ------------------------------------------------------------------ states under weather


def test_states_follow_the_weather_that_is_named(demo: Keeper) -> None:
    demo.does("note", "H01", "coat", "--when", "9:30", at="2025-11-04T10:00")
    assert demo.end("H01", "butt", *WEATHER, at="2025-11-04T10:00")["state"] == "wet"
    later = (*WEATHER[:2], "--issued", "2025-11-04T06:00")
    assert demo.end("H01", "butt", *later, at="2025-11-05T16:00")["state"] == "coated"
    assert demo.end("H01", "butt", at="2025-11-05T16:00")["state"] == "wet"  # nothing known, nobody looked


def test_the_clocks_of_a_milky_coat_are_shown(demo: Keeper) -> None:
    demo.does("note", "H01", "coat", "--when", "9:30", at="2025-11-04T10:00")
    said = demo.does("log", "show", "H01", *WEATHER, at="2025-11-04T10:00")
    assert "Takes rain by" in said
    assert "dry through by" in said


def keep_story(keeper: Keeper, fetched: datetime) -> None:
    yard = load_yard(keeper.file)
    body = (DEMO / "weather.json").read_bytes()
    keep(Answer(body, "https://example.org/", "asked", fetched), yard.cache_folder)


def test_the_kept_answer_is_used_without_asking_anybody(
    demo: Keeper, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep_story(demo, datetime(2025, 11, 4, 4, tzinfo=UTC))
    demo.does("set", "forecast.url", "https://nobody.invalid/forecast")

    def never(*_args: object, **_options: object) -> None:
        raise AssertionError("the network was asked")

    monkeypatch.setattr("socket.socket.connect", never)
    demo.does("note", "@first", "coat", "--when", "9:30", at="2025-11-04T10:00")
    assert any(row["kind"] == "span" for row in reminders(demo))
    assert demo.end("H01", at="2025-11-05T16:00")["state"] == "coated"


def test_an_answer_from_the_future_or_of_another_place_is_not_used(demo: Keeper) -> None:
    yard = load_yard(demo.file)
    at = datetime(2025, 11, 4, 6, tzinfo=UTC)
    assert kept_forecast(yard, at).weather is None
    keep_story(demo, datetime(2025, 11, 4, 5, tzinfo=UTC))
    assert kept_forecast(yard, at).weather is not None
    assert kept_forecast(yard, datetime(2025, 11, 4, 4, tzinfo=UTC)).weather is None
    stale = kept_forecast(yard, datetime(2025, 11, 6, 6, tzinfo=UTC))
    assert stale.why is not None
    assert "49 hours old" in stale.why
    demo.does("set", "yard.place.lat", "30")
    assert kept_forecast(load_yard(demo.file), at).weather is None


# ------------------------------------------------------------------ @first


def first_of_today(keeper: Keeper, at: str) -> list[tuple[str, str]]:
    done = keeper.run("today", *WEATHER, "--json", at=at)
    return [(row["tag"], row["end"]) for row in json.loads(done.out)["first"]]


def test_first_stands_for_the_list_of_the_notice_end_by_end(demo: Keeper) -> None:
    listed = first_of_today(demo, TUESDAY)
    assert ("H14", "top") in listed
    assert ("H14", "butt") not in listed
    done = demo.run("note", "@first", "coat", *WEATHER, "--json").json
    noted = [(entry["tag"], end) for entry in done["entries"] for end in entry["ends"]]
    assert sorted(noted) == sorted(listed)
    assert demo.end("H14", "butt", at="2025-11-04T06:30")["layers"] == 1  # not a second one
    demo.does("undo")  # one command, one undo
    assert first_of_today(demo, TUESDAY) == listed


def test_in_the_evening_first_is_the_list_of_the_morning(demo: Keeper) -> None:
    evening = "2025-11-04T19:00"
    listed = first_of_today(demo, TUESDAY)
    demo.does("log", "add", "K01 cherry 60cm cut 14:00", at="2025-11-04T14:30")  # came after the notice
    done = demo.run("note", "@first", "coat", "--when", "10:00", *WEATHER, "--json", at=evening).json
    assert sorted({entry["tag"] for entry in done["entries"]}) == sorted({tag for tag, _ in listed})


def test_first_and_a_tag_beside_it_go_together(demo: Keeper) -> None:
    done = demo.run("note", "@first,H14", "coat", *WEATHER, "--json").json
    ends = {entry["tag"]: entry["ends"] for entry in done["entries"]}
    assert ends["H14"] == ["butt", "top"]  # named by itself: all its ends
    assert "H01" in ends


def test_first_without_a_forecast_is_what_is_due(keeper: Keeper) -> None:
    keeper.does("log", "add", "H01 cherry cut saturday")
    assert "H01 butt and top" in keeper.does("note", "@first", "coat")


# ------------------------------------------------------------------ refresh


def test_reminders_of_a_roofed_place_have_its_spans(tmp_path: Path) -> None:
    keeper = Keeper(tmp_path, YARD, at=TUESDAY)
    keeper.does("log", "add", "H01 cherry cut saturday place lean-to")
    texts = [row["text"] for row in reminders(keeper, *WEATHER) if row["kind"] == "span"]
    assert any("in the lean-to" in text for text in texts)


def test_two_yards_in_one_database_keep_their_own(tmp_path: Path) -> None:
    both = f'\n[store]\nurl = "sqlite:///{tmp_path}/both.db"\n'
    keepers = []
    for key in ("a", "b"):
        (tmp_path / key).mkdir()
        keepers.append(Keeper(tmp_path / key, YARD.replace("[yard]", f'[yard]\nkey = "{key}"') + both))
    keepers[0].does("log", "add", "H01 cherry cut saturday")
    assert len(reminders(keepers[0])) == 2
    assert reminders(keepers[1]) == []
    assert keepers[1].logs() == []
    yard = load_yard(keepers[1].file)
    at = datetime(2025, 11, 3, 9, tzinfo=UTC)
    assert refresh_reminders(yard, at, kept_forecast(yard, at)) == ()
