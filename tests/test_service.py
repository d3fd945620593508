"""The running whole: the forecast to go by, the states of all ends under it, the jobs and the reminders."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from command_line import columns_of, fair, run, stored, yard_file
from family_samples import PLACE, coverage
from loopback import dead_url, service
from weather_samples import START, by_day, weather
from yard_story import Story

from scheduler.selfcheck import checks
from scheduler.service import brief, outlook_of, picture, refresh_reminders
from scheduler.settings import SettingsError, YardFile, load_yard
from scheduler.sources import Forecast, forecast_of, kept_forecast, register_of, store_exists
from scheduler.views.today import lines
from scheduler.views.wording import Wording
from scheduler.weather import fetch
from scheduler.weather.fetch_kept import Answer, keep
from scheduler.yard.facts import Moment
from scheduler.yard.state import fold
from scheduler.yard.store import open_store

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
AT = START + 53 * HOUR  # Monday 3 November, 6:00 in the yard
LEAN_TO = '[[place]]\nname = "lean-to"\nroofed = true'


@pytest.fixture
def yard(tmp_path: Path) -> YardFile:
    return load_yard(yard_file(tmp_path, LEAN_TO))


def good(tmp_path: Path) -> Path:
    return stored(tmp_path, columns_of(fair()))


def forecast(yard: YardFile, file: Path, at: datetime = AT) -> Forecast:
    return forecast_of(yard, at, file, at - HOUR)


def story(at: datetime = AT) -> Story:
    told = Story(at - HOUR)
    return told.add(
        "H01",
        species="Prunus avium",
        species_said="cherry",
        butt_cm=50.0,
        cut=Moment(at - 30 * HOUR),
        felled=Moment(at - 40 * HOUR),
    )


def keep_answer(
    yard: YardFile, fetched: datetime, body: bytes | None = None, address: str = "http://a/"
) -> Path:
    text = json.dumps(columns_of(fair())).encode() if body is None else body
    return keep(Answer(text, address, "asked a", fetched, 200, None, None), yard.cache_folder)


# ------------------------------------------------------------------ the forecast to go by


def test_a_stored_file_is_taken_as_it_is_and_its_age_is_told(yard: YardFile, tmp_path: Path) -> None:
    found = forecast_of(yard, AT, good(tmp_path), AT - 13 * HOUR)
    assert found.weather is not None
    assert (found.age.hours, found.age.word, found.why, found.fallback) == (13.0, "old", None, None)


def test_a_file_that_is_not_there_is_the_callers_mistake(yard: YardFile, tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        forecast_of(yard, AT, tmp_path / "none.json")
    with pytest.raises(IsADirectoryError):
        forecast_of(yard, AT, tmp_path)


def test_everything_else_that_is_wrong_is_an_answer_with_its_reason(yard: YardFile, tmp_path: Path) -> None:
    found = forecast_of(yard, AT, stored(tmp_path, "<html>"))
    assert found.weather is None
    assert "web page" in (found.why or "")
    assert forecast_of(yard, AT).why == "No forecast: the yard file names no endpoint ([forecast] url)."


@pytest.mark.parametrize(
    ("hours", "usable"), [(-60.0, False), (0.0, True), (100.0, True), (189.0, True), (190.5, False)]
)
def test_a_forecast_that_does_not_hold_this_hour_cannot_be_used(
    hours: float, usable: bool, yard: YardFile, tmp_path: Path
) -> None:
    at = START + hours * HOUR
    found = forecast_of(yard, at, good(tmp_path), at)
    assert (found.why is None) is usable
    assert found.weather is not None


def test_of_the_kept_answers_the_newest_that_was_there_at_the_time_is_taken(yard: YardFile) -> None:
    assert kept_forecast(yard, AT).why == "No answer of a weather service is kept here yet."
    for hours in (-20, -5, 7):
        keep_answer(yard, AT + hours * HOUR)
    found = kept_forecast(yard, AT)
    assert found.age.hours == 5.0
    assert kept_forecast(yard, AT - 10 * HOUR).age.hours == 10.0
    assert kept_forecast(yard, AT + 8 * HOUR).age.hours == 1.0


def test_a_kept_answer_that_is_damaged_or_of_another_place_gives_way_to_an_older_one(yard: YardFile) -> None:
    keep_answer(yard, AT - 6 * HOUR)
    other = json.dumps(columns_of(fair(), place=(10.0, 10.0))).encode()
    keep_answer(yard, AT - 2 * HOUR, other)
    meta = keep_answer(yard, AT - HOUR)
    meta.with_name(meta.name.replace(".meta.json", ".json.gz")).write_bytes(b"no gzip")
    assert kept_forecast(yard, AT).age.hours == 6.0


def test_asking_a_dead_service_uses_what_is_kept_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    manners = fetch.Manners(waits=(0.0,), sleep=lambda _s: None)
    monkeypatch.setattr(fetch, "Manners", lambda: manners)
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    with service(columns_of(fair())) as running:
        yard = load_yard(yard_file(tmp_path, f'[forecast]\nurl = "{running.url}"'))
        assert forecast_of(yard, AT).fallback is None
    dead = yard.model_copy(update={"forecast": yard.forecast.model_copy(update={"url": dead_url()})})
    found = forecast_of(dead, AT + 2 * HOUR)
    assert found.weather is not None
    assert found.age.hours == 2.0
    assert "could not be reached" in (found.fallback or "")


# ------------------------------------------------------------------ register and picture


def test_before_anything_is_told_the_register_is_empty_and_no_store_is_made(yard: YardFile) -> None:
    assert not store_exists(yard)
    assert register_of(yard, AT).logs == ()
    assert not store_exists(yard), "looking makes nothing"


def test_what_was_told_is_folded_as_it_stands_at_the_time(yard: YardFile) -> None:
    with open_store(yard.store_url) as store:
        store.append("yard", lambda _known: tuple(story().note("H01", "coat").entries))
    assert [log.tag for log in register_of(yard, AT).logs] == ["H01"]
    ends = register_of(yard, AT).logs[0].ends
    assert all(end.coats for end in ends)
    assert register_of(yard, AT - 50 * HOUR).logs == ()


def seen(yard: YardFile, told: Story, file: Path, at: datetime = AT) -> Any:
    return picture(yard, fold(told.entries, at), forecast(yard, file, at), at)


def test_the_states_of_all_ends_follow_from_the_weather_that_they_had(yard: YardFile, tmp_path: Path) -> None:
    told = story().note("H01", "coat", ends=["butt"], when=Moment(AT - 24 * HOUR))
    found = seen(yard, told, good(tmp_path))
    butt, top = found.states[("H01", "butt")], found.states[("H01", "top")]
    assert (butt.state, butt.known) == ("coated", False)
    assert butt.fate is not None
    assert (top.state, top.fate) == ("bare", None)
    assert {(job.kind, job.end) for job in found.jobs} >= {("first_coat", "top"), ("look", "butt")}


def test_a_coat_in_the_rain_is_spoiled_and_one_under_the_roof_is_not(yard: YardFile, tmp_path: Path) -> None:
    wet = stored(tmp_path, columns_of(weather(192, air_c=by_day(7.0, 12.0), humidity=75.0, rain=0.5)))
    coat = Moment(AT - 24 * HOUR)
    outside = seen(yard, story().note("H01", "coat", when=coat), wet)
    assert outside.states[("H01", "butt")].state == "spoiled"
    moved = story().note("H01", "move", "lean-to", when=Moment(AT - 26 * HOUR)).note("H01", "coat", when=coat)
    assert seen(yard, moved, wet).states[("H01", "butt")].state != "spoiled"
    sheet = story().note("H01", "roof", when=Moment(AT - 26 * HOUR)).note("H01", "coat", when=coat)
    assert seen(yard, sheet, wet).states[("H01", "butt")].state != "spoiled"


def test_without_a_forecast_states_rest_on_looks_and_a_coat_stays_milky_unknown(yard: YardFile) -> None:
    told = story().note("H01", "coat", when=Moment(AT - 24 * HOUR)).note("H01", "look", "clear", ends=["top"])
    found = picture(yard, fold(told.entries, AT), forecast_of(yard, AT), AT)
    assert found.outlook is None
    butt, top = found.states[("H01", "butt")], found.states[("H01", "top")]
    assert (butt.state, butt.known) == ("wet", False)
    assert (top.state, top.known) == ("coated", True)
    assert any(job.kind == "look" for job in found.jobs)


def test_a_stale_forecast_is_not_used_for_states_either(yard: YardFile, tmp_path: Path) -> None:
    told = story().note("H01", "coat", when=Moment(AT - 24 * HOUR))
    stale = forecast_of(yard, AT, good(tmp_path), AT - 40 * HOUR)
    assert picture(yard, fold(told.entries, AT), stale, AT).outlook is None


def test_a_fault_in_the_yards_rules_is_told_with_its_line(tmp_path: Path) -> None:
    yard = load_yard(yard_file(tmp_path, "[rules.frost_on_fase]\nbelow = 1.0"))
    found = forecast(yard, good(tmp_path))
    assert found.weather is not None
    with pytest.raises(SettingsError, match=r"yard\.toml, line 8: rules\.frost_on_fase"):
        outlook_of(yard, found.weather, AT)


# ------------------------------------------------------------------ the morning


def notice(yard: YardFile, told: Story, file: Path, at: datetime = AT) -> str:
    register = fold(told.entries, at)
    b = brief(yard, at, forecast(yard, file, at), register)
    return " ".join(" ".join(lines(b, Wording(yard.zone, "metric", at))).split())


def test_a_coat_of_today_is_watched_and_one_that_nobody_saw_is_asked_for(
    yard: YardFile, tmp_path: Path
) -> None:
    fresh = story().note("H01", "coat", when=Moment(AT - 2 * HOUR))
    assert "H01 is still milky. No frost on it tonight" in notice(yard, fresh, good(tmp_path))
    late = stored(tmp_path, columns_of(fair(start=START + 24 * HOUR)), "late.json")
    unseen = story().note("H01", "coat", when=Moment(AT - 29.5 * HOUR))
    text = notice(yard, unseen, late)
    assert "H01 may still be milky." in text
    assert "H01 is still milky" not in text
    assert "H01 (clear or milky?)" in text


def test_an_old_coat_that_nobody_looked_at_is_not_watched_every_night(yard: YardFile, tmp_path: Path) -> None:
    old = story(AT - 20 * DAY).note("H01", "coat", when=Moment(AT - 20 * DAY - 2 * HOUR))
    text = notice(yard, old, good(tmp_path))
    assert "milky." not in text
    assert "H01 (clear or milky?)" in text


def test_the_stock_is_told_where_every_pail_was_told_in_litres(yard: YardFile, tmp_path: Path) -> None:
    from scheduler.yard import book

    told = story()
    assert " of your " not in notice(yard, told, good(tmp_path))
    told.act(book.pail, litres=3.0)
    assert "Wax: 0.2 L of your 3 L." in notice(yard, told, good(tmp_path))
    told.act(book.pail, name="second", by_eye="half")
    assert " of your " not in notice(yard, told, good(tmp_path))


def test_minutes_of_the_yard_are_taken_for_what_fits(tmp_path: Path) -> None:
    slow = yard_file(tmp_path, "[yard.minutes]\nset_up = 200\nclean_up = 100\nend = 30")
    told = story().add("H02", species="Juglans regia", species_said="walnut", cut=Moment(AT - 30 * HOUR))
    text = notice(load_yard(slow), told, good(tmp_path))
    assert "and 3 more ends" in text


# ------------------------------------------------------------------ reminders


def told_to_store(yard: YardFile, told: Story) -> None:
    with open_store(yard.store_url) as store:
        store.append("yard", lambda _known: tuple(told.entries))


def test_reminders_are_derived_kept_and_the_same_when_asked_again(yard: YardFile, tmp_path: Path) -> None:
    told_to_store(yard, story())
    found = forecast(yard, good(tmp_path))
    rows = refresh_reminders(yard, AT, found)
    assert {(row.kind, row.tag, row.end) for row in rows} >= {("seal", "H01", "butt"), ("seal", "H01", "top")}
    assert refresh_reminders(yard, AT, found) == rows


def test_a_coat_ends_its_reminder_and_brings_the_look(yard: YardFile, tmp_path: Path) -> None:
    told = story()
    told_to_store(yard, told)
    found = forecast(yard, good(tmp_path))
    before = {row.key: row for row in refresh_reminders(yard, AT, found)}
    told.note("H01", "coat")
    with open_store(yard.store_url) as store:
        store.append("yard", lambda _known: tuple(told.entries[1:]))
    after = refresh_reminders(yard, AT + HOUR, forecast(yard, good(tmp_path), AT + HOUR))
    open_ = {row.kind for row in after if row.state == "planned" and row.tag == "H01"}
    assert any(row.kind == "seal" for row in before.values())
    assert "seal" not in open_
    assert "look" in open_
    kept = {row.key: row.uid for row in after}
    assert all(kept[key] == row.uid for key, row in before.items() if key in kept)


def test_without_a_forecast_what_is_due_is_still_put(yard: YardFile) -> None:
    told_to_store(yard, story())
    rows = refresh_reminders(yard, AT, forecast_of(yard, AT))
    assert {row.kind for row in rows} == {"seal"}


# ------------------------------------------------------------------ verify


def test_verify_says_what_was_assumed_only_where_nothing_was_said(tmp_path: Path) -> None:
    def assumed(*more: str, **options: Any) -> str:
        yard = load_yard(yard_file(tmp_path, *more, **options))
        return next(check.said for check in checks(yard, AT) if check.name == "assumed")

    usual = assumed()
    for words in ("a guess", "hours 9:00", "brush only above 4.4", "4 minutes an end, 8 a fresh cut"):
        assert words in usual
    told = assumed(
        "[site]\nhollow = -2.0",
        "[coating]\nleast_application_c = 7.0",
        '[yard.hours]\nmon = "08:00-16:00"',
        "[yard.minutes]\nend = 3",
    )
    assert told == "nothing"


def test_a_store_that_cannot_be_read_is_told_and_nothing_is_made_of_it(tmp_path: Path) -> None:
    yard = load_yard(yard_file(tmp_path))
    (tmp_path / "coatcast.db").write_bytes(b"this is no database" * 100)
    store = next(check for check in checks(yard, AT) if check.name == "store")
    assert not store.ok
    assert (tmp_path / "coatcast.db").read_bytes().startswith(b"this is no database")


def test_the_yards_own_numbers_are_told_as_from_the_sheet(tmp_path: Path) -> None:
    yard = load_yard(yard_file(tmp_path, "[coating]\nleast_application_c = 7.0"))
    said = next(check.said for check in checks(yard, AT) if check.name == "settings")
    assert "from your sheet: least application temperature 7" in said
    assert replace(checks(yard, AT)[0], ok=True) == checks(yard, AT)[0]


def test_a_services_own_parameter_names_are_read_as_the_yard_file_says(tmp_path: Path) -> None:
    """A sum without a period may be of the hour before or after its time: only the yard can say."""
    data = coverage(200)
    del data["parameters"]["rr"]["measurementType"]
    data["parameters"]["rr_1h"] = data["parameters"].pop("rr")
    data["ranges"]["rr_1h"] = data["ranges"].pop("rr")
    file = stored(tmp_path, data)
    when = ("--at", "2025-11-03T06:00+00:00", "--forecast", file, "--issued", "2025-11-03T04:00+00:00")
    bare = run("spans", "--yard", yard_file(tmp_path, place=PLACE), *when)
    assert bare.code == 1
    assert "rr_1h" in bare.err + bare.out
    named = yard_file(tmp_path, "[forecast.names]", 'rr_1h = "rain_mm before"', place=PLACE)
    told = run("spans", "--yard", named, *when, "--json")
    assert told.code == 0, told.err
    assert told.json()["spans"]
