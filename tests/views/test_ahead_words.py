"""Until winter, the plan, the rank, pails and scores take their words from the words files, in German too."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from ahead_samples import DATA, REGISTER, SEASONS, past_days, speaking, told, winter
from page_browser import Browser
from page_samples import DEMO, Clock, demo_forecast, demo_yard
from pseudo import speaking_pseudo, unmarked, visible
from test_words import LEFT, NEVER, TYPED, Recorder

from scheduler.service import season_ahead
from scheduler.settings import species_table, value_numbers, words_of
from scheduler.views import wording as wording_module
from scheduler.views.pail import label_words, place_words, stock_words
from scheduler.views.voice import voice_in
from scheduler.views.winter import winter_lines
from scheduler.views.wording import wrapped
from scheduler.views.words import Words
from scheduler.web import pages
from scheduler.web.app import create_app
from scheduler.yard import book as book_module
from scheduler.yard.facts import Moment, Pail

GOLDEN = Path(__file__).parent / "english_ahead.txt"
TABLES = ("ahead", "winter", "week", "plan", "rank", "pail", "sure")
ENGLISH = words_of("en")


# ------------------------------------------------------------------ sentences


def test_english_is_said_byte_for_byte_as_before_the_words_had_a_file() -> None:
    # Written by the program when the sentences still stood in its code. Where a sentence is changed on
    # purpose, the same lines here write the file anew.
    said: list[str] = []
    for name, lines in told():
        for units in ("metric", "us"):
            said += [f"== {name}, {units}", *lines(speaking("en", units))]  # type: ignore[arg-type]
    assert "\n".join(said) + "\n" == GOLDEN.read_text(encoding="utf-8")


def test_the_samples_say_every_sentence_that_no_template_and_no_command_says(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    recorder = Recorder(ENGLISH)
    monkeypatch.setattr(wording_module, "words_in", lambda _: Words("en", recorder))
    for _, lines in told():
        lines(speaking())
    elsewhere = "".join(
        file.read_text(encoding="utf-8")
        for folder, kind in (("commands", "*.py"), ("web", "pages.py"), ("web/templates", "*.html"))
        for file in (DEMO.parent / "scheduler" / folder).glob(kind)
    )
    of_pail = {"pail.indoors", "pail.no_stock", "pail.name"}  # said below
    silent = {key for key in ENGLISH if key.split(".")[0] in TABLES} - recorder.taken - of_pail
    silent = {key for key in silent if f"'{key}'" not in elsewhere and f'"{key}"' not in elsewhere}
    assert silent == set()


@pytest.mark.parametrize("units", ["metric", "us"])
def test_no_word_of_these_lists_stands_in_the_code(units: Any) -> None:
    with speaking_pseudo() as language:
        for name, lines in told():
            text = "\n".join(lines(speaking(language, units)))
            assert unmarked(text, DATA) == [], (name, text)


@pytest.mark.parametrize("units", ["metric", "us"])
def test_every_german_line_is_german_and_promises_nothing(units: Any) -> None:
    for name, lines in told():
        said = lines(speaking("de", units))
        # What is typed is the same in every language, and a name of a place is the yard's own.
        text = TYPED.sub("", " ".join(said)).replace("lean-to", "").replace("seen file SENSOR.csv", "")
        text = re.sub(r"\[site\] learn|seen min -3|\bH99 Holz, end 3|--observed FILE", "", text)
        assert not LEFT.search(text), (name, LEFT.findall(text), text)
        assert not NEVER.search(text), (name, NEVER.findall(text))
        assert not re.search(r"\d\.\d", text), f"{name}: a decimal comma"
        assert not re.search(r"{|}|None", text), name
        if name not in ("cuts", "few cuts", "scores"):
            assert max(map(len, wrapped(said)), default=0) <= 78


def test_tables_keep_their_columns_in_every_language() -> None:
    samples = dict(told())
    for language in ("en", "de"):
        head, *rows = samples["scores"](speaking(language))[:5]
        cases = head.index(speaking(language).words["sure.score.cases"]) + len(
            speaking(language).words["sure.score.cases"]
        )
        assert [row[:cases].split()[-1] for row in rows] == ["40", "3", "40", "40"]
        head, *rows = samples["cuts"](speaking(language))[:4]
        opened = head.index(speaking(language).words["rank.cuts.open"]) + len(
            speaking(language).words["rank.cuts.open"]
        )
        assert [row[:opened].split()[-1] for row in rows] == ["d", "h", "d"]
        assert max(map(len, samples["scores"](speaking(language)))) <= 110


def test_clock_times_of_a_german_plan_stand_under_one_another() -> None:
    lines = [line for line in dict(told())["week"](speaking("de")) if " Uhr  " in line]
    assert len(lines) == 9
    assert {line.index(" Uhr  ") for line in lines} == {7}


def test_a_german_plan_reads_as_one() -> None:
    said = dict(told())["week"](speaking("de"))
    assert said[:2] == ["Von Di 4. bis So 9.", "Heute, zwei Leute, streichen 9 bis 13 Uhr, etwa 9 von 10"]
    assert "Morgen, eine Person: nichts; Frost am Holz, bevor es trocknet." in said
    assert "Sa 8., 7 Leute: nichts; nicht weit genug bekannt." in said
    assert "  Nachschneiden und streichen H09 Zopfende: nicht erreichbar; nicht klettern." in said
    assert said[-2].startswith("Gegenüber allem später rettet das etwa 24 EUR; kein Plan")


def test_a_german_winter_reads_as_one() -> None:
    said = dict(told())["season, usual"](speaking("de"))
    assert said[0] == "In 9 von 10 Jahren kam nach dem 2. Dez noch ein guter Tag."
    assert said[3] == (
        "Erster starker Frost (-2 °C): in der Hälfte der Jahre bis zum 20. Dez, in manchen Jahren gar nicht."
    )


def test_why_a_night_was_set_aside_is_german_with_its_numbers() -> None:
    said = dict(told())["learned"](speaking("de"))
    assert said[2] == "beiseitegelegt: Fr 3. Okt, 27 abgelesen, -3 °C vorhergesagt: War das in °F?"
    assert "9,5 °C abgelesen, -3 °C vorhergesagt: zu weit auseinander" in said[3]


# ------------------------------------------------------------------ numbers of a yard


def test_who_lifts_a_log_alone_is_asked_of_the_numbers_of_the_yard(monkeypatch: pytest.MonkeyPatch) -> None:
    def lines() -> str:
        told = winter_lines(winter(), SEASONS["usual"], REGISTER, species_table(), speaking())
        return "\n".join(told)

    assert "(64 kg, two people or a machine)" in lines()
    assert "(18 kg)" in lines()
    low = dict(value_numbers()) | {"lift_two": 15.0}
    monkeypatch.setattr("scheduler.views.winter.value_numbers", lambda: low)
    assert "(18 kg, two people or a machine)" in lines()
    monkeypatch.setattr("scheduler.views.winter.value_numbers", lambda: low | {"lift_two": 70.0})
    assert "two people or a machine" not in lines()


def test_a_pail_is_named_placed_and_measured_in_the_yards_words() -> None:
    half = Pail("pail", 1, Moment(speaking().at), by_eye="half")
    for language, name, stock, place in (
        ("en", "pail", "half", "indoors"),
        ("de", "Eimer", "halb", "drinnen"),
    ):
        w = speaking(language)
        assert label_words("pail", w) == name
        assert label_words("B", w) == "B"
        assert stock_words(half, w) == stock
        assert place_words("indoors", w, "pail.stands") == place
        assert place_words("lean-to", w, "pail.stands").endswith("lean-to")
        voice = voice_in(w.zone, "metric", language)
        said = book_module._pail_words({"name": "pail", "by_eye": "half", "place": "indoors"}, voice)
        assert said == f"{name}, {stock}, {place}"
    nothing = Pail("B", 1, Moment(speaking().at))
    assert stock_words(nothing, speaking("de")) == "Inhalt nicht gesagt"


# ------------------------------------------------------------------ screens


def screens(
    folder: Path, language: str, monkeypatch: pytest.MonkeyPatch, *, past: bool
) -> Callable[[str], Browser]:
    """The page of the demo's yard in a language, with past years or none."""
    file = demo_yard(folder)
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("[yard]\n", f'[yard]\nlanguage = "{language}"\n', 1), encoding="utf-8")
    if past:
        days = past_days(folder)

        def ahead(*given: Any, **more: Any) -> Any:
            return season_ahead(*given, history=days, **more)

        monkeypatch.setattr(pages, "climate_known", lambda _yard: object())
        monkeypatch.setattr(pages, "season_ahead", ahead)
    app = create_app(file, clock=Clock(), forecast=demo_forecast(folder), behind=lambda _work: None)
    return Browser(app).open


def main_of(page: Browser) -> str:
    """What a person sees of a screen between its top and the bar at its foot."""
    inside = re.search(r"<main.*</main>", page.html, re.DOTALL)
    assert inside is not None
    return visible(inside[0])


@pytest.mark.parametrize("past", [True, False])
def test_no_word_of_the_three_screens_stands_in_a_template(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, past: bool
) -> None:
    with speaking_pseudo() as language:
        look = screens(tmp_path, language, monkeypatch, past=past)
        for path in ("/pails", "/sure", "/winter"):
            page = look(path)
            text = main_of(page)
            assert unmarked(text, [*DATA, "coatcast season"]) == [], (path, text)
            title = re.search(r"<title>(.*?)</title>", page.html)
            assert title is not None
            assert "⟦" in title[1], path


def test_the_three_screens_are_german(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    look = screens(tmp_path, "de", monkeypatch, past=False)
    page = look("/pails")
    assert "Was darin ist" in page.text
    assert "oder Liter" in page.text
    page.tap("/pail", "halb")
    assert "Eimer: halb" in page.text
    page.tap("/pail", "drinnen")
    below = main_of(page).partition("Zurück")[2]  # the answer above names the place as it is kept
    assert "drinnen" in below
    assert "indoors" not in below
    assert "War es richtig" in look("/sure").text
    assert "Noch keine Nacht abgelesen, bis dahin gilt, was in der Datei steht" in page.text
    assert "Einmal am Rechner: coatcast season" in look("/winter").text
