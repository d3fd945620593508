"""What ``reminders`` and ``calendar`` print comes from the words files, in German too."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from keeper import DEMO, WEATHER, Keeper
from pseudo import speaking_pseudo, unmarked, wood_names

DATA = [*wood_names(), "H01", "H02", "H09", "lean-to", "yard.ics"]
TUESDAY = "2025-11-04T06:00"


@pytest.fixture
def told(tmp_path: Path) -> Keeper:
    """A yard with logs that want all kinds of work."""
    text = (DEMO / "yard.toml").read_text(encoding="utf-8")
    keeper = Keeper(tmp_path, text, TUESDAY)
    for line in ("H01 cherry cut saturday", "H02 walnut cut 24.10.", "H09 lime cut sunday"):
        keeper.does("log", "add", line)
    keeper.does("note", "H09", "coat", "--when", "sunday 10:00")
    keeper.does("reminders", *WEATHER)
    return keeper


def printed(keeper: Keeper, folder: Path) -> list[str]:
    """Everything that the two commands say to a person."""
    empty = Keeper(folder, keeper.file.read_text(encoding="utf-8"), TUESDAY)
    file = str(folder / "yard.ics")
    words = [
        ("reminders", *WEATHER),
        ("reminders", "--due", *WEATHER),
        ("reminders", "later", "1"),
        ("reminders", "done", "2"),
        ("reminders", "drop", "3"),
        ("reminders", "--all"),
        ("calendar", "--view", *WEATHER),
        ("calendar", "--view"),
        ("calendar", "-o", file, *WEATHER),
        ("calendar", "--address"),
        ("calendar", "--new-address"),
    ]
    runs = [keeper.run(*one) for one in words]
    runs += [empty.run(*one) for one in (("reminders",), ("reminders", "--due"), ("calendar", "--view"))]
    assert [run.code for run in runs] == [0] * len(runs), [run.err for run in runs]
    return [f"{run.out}\n{run.err}".replace(file, "yard.ics") for run in runs]


def test_no_word_of_the_two_commands_stands_in_the_code(told: Keeper, tmp_path: Path) -> None:
    folder = tmp_path / "empty"
    folder.mkdir()
    # Why there is no forecast is told by whoever asked for it, in English so far.
    aside = re.compile(r"No forecast: the yard file names no endpoint[^\n]*|https?://\S+")
    with speaking_pseudo() as language:
        told.does("set", "language", language)
        for text in printed(told, folder):
            assert unmarked(aside.sub("", text), DATA) == [], text


def test_the_two_commands_speak_german(told: Keeper, tmp_path: Path) -> None:
    told.does("set", "language", "de")
    folder = tmp_path / "empty"
    folder.mkdir()
    said = printed(told, folder)
    assert "H01 Kirsche, Stockende: erster Anstrich." in said[0]
    assert "Später: H" in said[2]
    assert "Erledigt: H" in said[3]
    assert "Aus der Liste genommen: H" in said[4]
    assert "(erledigt)" in said[5]
    assert "Streichen 9 bis " in said[6]
    assert re.search(r"Geschrieben: yard\.ics \(\d+ Einträge\)", said[8])
    assert "Die alte Adresse gibt nichts mehr." in said[10]
    assert "Keine Erinnerungen." in said[11]
    assert "Nichts ist fällig." in said[12]
    assert "Ein leerer Tag heißt nicht ja." in said[13]


def test_a_day_and_a_text_stand_apart_however_long_the_day_is(told: Keeper) -> None:
    told.does("set", "language", "de")
    told.does("log", "add", "H30 oak cut 2025-06-12")
    line = next(line for line in told.does("reminders").splitlines() if "H30" in line)
    assert re.search(r"Do 12\. Jun H30 ", line), line


def test_json_keeps_its_keys_and_state_names_in_every_language(told: Keeper) -> None:
    english = told.run("reminders", "--all", "--json").json["reminders"]
    told.does("set", "language", "de")
    german = told.run("reminders", "--all", "--json").json["reminders"]
    assert [one.pop("text") for one in english] != [one.pop("text") for one in german]
    assert english == german
