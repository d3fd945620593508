"""What ``season``, ``plan``, ``rank``, ``pail`` and ``verify --scores`` print comes from the words files."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from ahead_samples import DATA, past_days
from keeper import DEMO, WEATHER, Keeper
from pseudo import english_left, speaking_pseudo, unmarked

TUESDAY = "2025-11-04T06:00"
TYPED = re.compile(r"coatcast [^.;)]*|seen min -3|seen file SENSOR.csv|--observed FILE")


@pytest.fixture(scope="module")
def keeper(tmp_path_factory: pytest.TempPathFactory) -> Keeper:
    folder = tmp_path_factory.mktemp("ahead")
    found = Keeper(folder, (DEMO / "yard.toml").read_text(encoding="utf-8"), at=TUESDAY)
    found.does("log", "import", str(DEMO / "logs.csv"), at="2025-11-03T05:45")
    past_days(folder)
    return found


def asked(keeper: Keeper) -> dict[str, tuple[str, ...]]:
    """The commands that look ahead and back."""
    return {
        "season": ("season", *WEATHER, "--history", str(keeper.file.parent / "past.csv")),
        "plan": ("plan", *WEATHER),
        "what if": ("plan", *WEATHER, "--by", "wed", "--only", "H01,H03,H16"),
        "rank": ("rank", *WEATHER),
        "cuts": ("rank", "--cuts", *WEATHER),
        "pail": ("pail", *WEATHER),
        "scores": ("verify", "--scores"),
    }


def in_language(keeper: Keeper, language: str, *more: str, of: tuple[str, ...] = ()) -> dict[str, str]:
    """What the commands print in a language; ``of``: only these."""
    keeper.does("set", "language", language)
    try:
        return {
            name: keeper.does(*words, *more) for name, words in asked(keeper).items() if name in of or not of
        }
    finally:
        keeper.does("set", "language", "en")


def test_no_word_of_these_commands_stands_in_the_code(keeper: Keeper) -> None:
    with speaking_pseudo() as language:
        for name, text in in_language(keeper, language).items():
            assert unmarked(text, DATA) == [], (name, text)


def test_the_commands_speak_german(keeper: Keeper) -> None:
    said = in_language(keeper, "de")
    for name, text in said.items():
        assert english_left(TYPED.sub("", text), "de", [*DATA, "Do"]) == [], (name, text)
    assert said["plan"].startswith("Von Di 4. bis Mo 10.\nHeute, zwei Leute, streichen 9 bis ")
    assert said["what if"].startswith("Nur diese gehen bis morgen: H01 und H03. Diese nicht: H16.")
    assert "Nichts wurde geschrieben." in said["what if"]
    assert said["season"].startswith("In 9 von 10 Jahren kam nach dem ")


def test_what_a_program_reads_is_the_same_in_every_language(keeper: Keeper) -> None:
    of = ("plan", "rank", "pail")
    english, german = (in_language(keeper, language, "--json", of=of) for language in ("en", "de"))
    assert english == german
    assert "no hours in these days" in english["plan"] or "reach" in english["plan"]


def test_without_a_forecast_both_say_so_in_german(keeper: Keeper) -> None:
    keeper.does("set", "language", "de")
    try:
        failed = keeper.run("plan", "--forecast", WEATHER[1], "--issued", "2025-11-01T04:00")
        assert failed.code == 1
        assert failed.err.startswith(
            "Unbekannt: Ohne Vorhersage lässt sich nichts planen. Die Vorhersage ist "
        )
        ranked = keeper.does("rank", "--forecast", WEATHER[1], "--issued", "2025-11-01T04:00")
        assert "Ohne Vorhersage: Die Vorhersage ist " in " ".join(ranked.split())
    finally:
        keeper.does("set", "language", "en")


def test_what_is_to_be_known_of_the_record_is_german_too(keeper: Keeper, tmp_path: Path) -> None:
    rows = past_days(tmp_path).read_text(encoding="utf-8").splitlines()
    day, _, most, rain = rows[40].split(",")
    rows[40] = f"{day},,{most},{rain}"
    (tmp_path / "bare.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    keeper.does("set", "language", "de")
    try:
        said = keeper.does("season", *WEATHER, "--history", str(tmp_path / "bare.csv"))
    finally:
        keeper.does("set", "language", "en")
    assert re.search(r"1 von \d+ Tiefstwerten sind unbekannt", said)
