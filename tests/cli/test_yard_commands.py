"""What is told of the yard as a whole: last night, the pail, days away."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from keeper import YARD, Keeper

from scheduler.settings import load_yard
from scheduler.sources import register_of
from scheduler.yard.facts import Register

US = YARD.replace('"Europe/Berlin"', '"America/New_York"').replace('"metric"', '"us"')
BERLIN = ZoneInfo("Europe/Berlin")


def register(keeper: Keeper, at: str | None = None) -> Register:
    yard = load_yard(keeper.file)
    return register_of(yard, datetime.fromisoformat(at or keeper.at).replace(tzinfo=yard.zone))


def test_the_last_word_about_a_night_holds_whatever_the_hour_it_is_told(keeper: Keeper) -> None:
    said = keeper.does("seen", "frost", "yes", at="2025-11-03T06:10")
    assert said == "Noted: frost in the night to Mon 3 Nov.\n"
    keeper.does("seen", "frost", "no", at="2025-11-03T21:00")
    keeper.does("seen", "rain", "yes", at="2025-11-03T06:10")
    night = datetime(2025, 11, 3, tzinfo=BERLIN)
    seen = register(keeper, "2025-11-03T22:00")
    assert seen.frost_seen == ((night, False),)
    assert seen.rain_seen == ((night, True),)


@pytest.mark.parametrize(
    ("words", "us", "celsius"),
    [
        (["-3"], False, -3.0),
        (["-3.5", "C"], False, -3.5),
        (["minus", "3"], False, -3.0),
        (["26", "F"], False, -10 / 3),
        (["26"], True, -10 / 3),
        (["-3C"], True, -3.0),
    ],
)
def test_the_coldest_of_the_night_is_in_the_yards_units_or_with_one(
    tmp_path: Path, words: list[str], us: bool, celsius: float
) -> None:
    keeper = Keeper(tmp_path, US if us else YARD)
    keeper.does("seen", "min", *words)
    assert register(keeper).minima_seen[0][1] == pytest.approx(celsius)


@pytest.mark.parametrize(
    ("words", "holds"),
    [
        (["frost", "maybe"], "say yes or no"),
        (["frost"], "say yes or no"),
        (["frots", "yes"], "did you mean frost?"),
        (["min"], "how cold was it?"),
        (["min", "cold"], "not a temperature"),
        (["min", "-99"], "lies from -70 to 50"),
    ],
)
def test_what_cannot_have_been_seen_is_refused(keeper: Keeper, words: list[str], holds: str) -> None:
    assert holds in keeper.fails("seen", *words)


def test_the_pail_is_told_by_litres_or_by_eye_and_what_is_not_told_stays(keeper: Keeper) -> None:
    assert "No pail told of yet" in keeper.does("pail")
    keeper.does("pail", "3.6", "L", "--opened", "3 weeks ago", "--where", "LEAN-TO", "--coldest", "-2")
    keeper.does("pail", "half", "--coldest", "1")
    (pail,) = keeper.run("pail", "--json").json["pails"]
    assert (pail["litres"], pail["by_eye"], pail["place"], pail["coldest_c"]) == (
        None,
        "half",
        "lean-to",
        -2.0,
    )
    assert "half, told today 9:40" in keeper.does("pail")
    keeper.does("pail", "quarter", "--name", "old one")
    assert len(keeper.run("pail", "--json").json["pails"]) == 2


def test_a_us_yard_means_gallons_and_hears_gallons(tmp_path: Path) -> None:
    keeper = Keeper(tmp_path, US)
    assert keeper.does("pail", "1") == "Noted: pail, 1 gal.\n"
    assert keeper.run("pail", "--json").json["pails"][0]["litres"] == pytest.approx(3.785411784)


@pytest.mark.parametrize(
    ("words", "holds"),
    [
        (["hlaf"], "did you mean half?"),
        (["3.6", "buckets"], "not a volume"),
        (["--coldest", "warm"], "--coldest: 'warm' is not a temperature"),
        (["--opened", "32 feb"], "There is no 32 February"),
        (["--where", " "], "--where needs a place"),
        (["9999999"], "lies from 0 to 5000"),
    ],
)
def test_a_pail_that_cannot_be_is_refused(keeper: Keeper, words: list[str], holds: str) -> None:
    assert holds in keeper.fails("pail", *words)


def test_away_until_a_day_ends_with_its_first_moment_or_by_a_word(keeper: Keeper) -> None:
    assert keeper.does("away") == "Not away. To rest: coatcast away until DATE\n"
    said = keeper.does("away", "until", "20", "March")
    assert said == "Away until Fri 20 Mar 2026. Only the pail is told of till then.\n"
    assert register(keeper).away_until == datetime(2026, 3, 20, tzinfo=BERLIN)
    assert keeper.run("away", "--json").json == {"away_until": "2026-03-20T00:00:00+01:00"}
    assert keeper.run("away", "--json", at="2026-03-20T00:00").json == {"away_until": None}
    keeper.does("away", "back")
    assert register(keeper).away_until is None


@pytest.mark.parametrize("words", [["until"], ["until", "yesterday"], ["until", "32 feb"], ["for", "ever"]])
def test_an_absence_without_a_day_to_come_is_refused(keeper: Keeper, words: list[str]) -> None:
    keeper.fails("away", *words)
    assert keeper.run("away", "--json").json == {"away_until": None}


def test_litres_told_for_several_logs_are_told_once(keeper: Keeper) -> None:
    for tag in ("H01", "H02"):
        keeper.does("log", "add", tag, "oak", "50cm", "cut", "friday")
    keeper.does("pail", "3.6", "L", at="2025-11-03T08:00")
    keeper.does("note", "H01,H02", "coat", "--litres", "1.0", "--when", "9:00")
    assert "Left: 2.6 L" in keeper.does("pail")
    keeper.does("note", "H01", "cut", "5cm", at="2025-11-03T12:00")
    assert "Left: 2.6 L" in keeper.does("pail", at="2025-11-03T12:10")
